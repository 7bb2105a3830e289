#include "rig_fixture.h"

#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "rig/account.h"
#include "rig/journal_priv.h"
#include "store/db.h"

#define AS_OF   (FIXTURE_NOW_S + 86400)
#define OUT_MAX ((size_t)1024 * 1024)
#define DAMAGE                                                                                 \
    "UPDATE folded SET state = CAST(substr(state, 1, 200) || x'77' || substr(state, 202)"      \
    " AS BLOB)"

/* The account, and how many entries it had to read. */
static size_t
account(struct fixture *fixture, struct fsp_buf *says)
{
    struct fsp_account *account = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    size_t read;

    assert_ok(fsp_account_new(fixture->journal, AS_OF, &account, &err), &err);
    read = fsp_fold_read(fsp_account_fold(account));
    if (says != NULL) {
        fsp_buf_reset(says);
        fsp_ledger_json(fsp_account_ledger(account), says);
        fsp_account_signed_json(account, says);
        fsp_account_signed_text(account, says);
    }
    fsp_account_free(account);
    return read;
}

static void
run(struct fixture *fixture, const char *sql)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_db *db = NULL;
    char path[200];

    (void)snprintf(path, sizeof(path), "%s/" FSP_JOURNAL_DB, fixture->folder);
    assert_ok(fsp_db_open(path, FSP_DB_RIG, false, &fsp_journal_schema, &db, &err), &err);
    assert_ok(fsp_db_run(db, sql, &err), &err);
    fsp_db_close(db);
}

static void
what_a_fold_leaves_spares_the_next_its_reading(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf before;
    struct fsp_buf after;

    fsp_buf_init(&before, OUT_MAX);
    fsp_buf_init(&after, OUT_MAX);
    fixture_fill(fixture, 100);
    assert_int_equal(account(fixture, &before), 100);
    assert_in_range(account(fixture, &after), 0, 2);
    assert_string_equal(fsp_buf_peek(&before), fsp_buf_peek(&after));
    assert_ok(
            fixture_take(fixture, HEADER ROW("00", "4000ft", "1"), false, &added, &err), &err);
    assert_in_range(account(fixture, &after), 1, 3);
    assert_string_not_equal(fsp_buf_peek(&before), fsp_buf_peek(&after));
    run(fixture, "DELETE FROM folded; DELETE FROM marked");
    assert_int_equal(account(fixture, &before), 101);
    assert_string_equal(fsp_buf_peek(&before), fsp_buf_peek(&after));
    fsp_buf_fini(&before);
    fsp_buf_fini(&after);
}

static void
few_entries_are_not_worth_a_write(void **state)
{
    struct fixture *fixture = *state;

    fixture_fill(fixture, 10);
    assert_int_equal(account(fixture, NULL), 10);
    assert_int_equal(account(fixture, NULL), 10);
}

static void
a_damaged_state_changes_no_number_and_is_found_by_check(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_fold_checked checked;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf before;
    struct fsp_buf after;

    fsp_buf_init(&before, OUT_MAX);
    fsp_buf_init(&after, OUT_MAX);
    fixture_fill(fixture, 80);
    (void)account(fixture, &before);
    assert_ok(fsp_account_check(fixture->journal, &checked, &err), &err);
    assert_int_equal(checked.states, 1);
    assert_int_equal(checked.damaged, 0);
    run(fixture, DAMAGE);
    assert_in_range(account(fixture, &after), 80, 82);
    assert_string_equal(fsp_buf_peek(&before), fsp_buf_peek(&after));
    run(fixture, DAMAGE);
    assert_ok(fsp_account_check(fixture->journal, &checked, &err), &err);
    assert_int_equal(checked.damaged, 1);
    assert_int_equal(checked.differ, 0);
    /* It was thrown away. */
    assert_ok(fsp_account_check(fixture->journal, &checked, &err), &err);
    assert_int_equal(checked.states + checked.damaged, 0);
    fsp_buf_fini(&before);
    fsp_buf_fini(&after);
}

static void
while_somebody_else_writes_the_fold_keeps_nothing_and_waits_for_nobody(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_db *db = NULL;
    char path[200];

    fixture_fill(fixture, 80);
    (void)snprintf(path, sizeof(path), "%s/" FSP_JOURNAL_DB, fixture->folder);
    assert_ok(fsp_db_open(path, FSP_DB_RIG, false, &fsp_journal_schema, &db, &err), &err);
    assert_ok(fsp_db_begin(db, &err), &err);
    assert_int_equal(account(fixture, NULL), 80);
    fsp_db_rollback(db);
    fsp_db_close(db);
    assert_int_equal(account(fixture, NULL), 80);
    assert_in_range(account(fixture, NULL), 0, 2);
}

static void
a_store_that_cannot_be_written_is_folded_all_the_same(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_err err = {.rc = FSP_OK};
    char path[200];

    fixture_fill(fixture, 80);
    /* A table that refuses: as a full disk would, also for root. */
    run(fixture, "CREATE TRIGGER full BEFORE INSERT ON marked"
                 " BEGIN SELECT RAISE(ABORT, 'full'); END");
    assert_int_equal(account(fixture, NULL), 80);
    assert_int_equal(account(fixture, NULL), 80);
    run(fixture, "DROP TRIGGER full");
    fsp_journal_close(fixture->journal);
    fixture->journal = NULL;
    (void)snprintf(path, sizeof(path), "%s/" FSP_JOURNAL_DB, fixture->folder);
    assert_int_equal(chmod(path, 0400), 0);
    assert_ok(fsp_journal_open(fixture->folder, FSP_JOURNAL_READ, &fixture->env,
                      &fixture->journal, &err),
            &err);
    assert_int_equal(account(fixture, NULL), 80);
    assert_int_equal(chmod(path, 0600), 0);
}

static void
an_unsigned_inspection_is_shown_as_unsigned(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf says;

    fsp_buf_init(&says, OUT_MAX);
    assert_ok(
            fixture_take(fixture,
                    "kind,at,by,reel,rope,grade,received,strung,lines,fleet,rig,inspector,"
                    "scope,decision\n"
                    "reel,2026-02-01T00:00:00Z,clerk,R-1,1-3/8in,EIPS,5000ft,1200ft,10,,,,,\n"
                    "inspection,2026-02-02T00:00:00Z,clerk,R-1,,,,,,lantern-basin,heron,k-ode,"
                    "monthly,out-of-service\n",
                    false, &added, &err),
            &err);
    (void)account(fixture, &says);
    assert_non_null(strstr(fsp_buf_peek(&says), "open finding, unsigned: inspection of"));
    assert_non_null(strstr(fsp_buf_peek(&says),
            "newest inspection: 2026-02-02 by k-ode says out-of-service; unsigned\n"));
    assert_non_null(strstr(fsp_buf_peek(&says), "\"findings\":[{\"signature\":\"unsigned\""));
    fsp_buf_fini(&says);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test_setup_teardown(what_a_fold_leaves_spares_the_next_its_reading,
                    fixture_setup, fixture_teardown),
            cmocka_unit_test_setup_teardown(
                    few_entries_are_not_worth_a_write, fixture_setup, fixture_teardown),
            cmocka_unit_test_setup_teardown(
                    a_damaged_state_changes_no_number_and_is_found_by_check, fixture_setup,
                    fixture_teardown),
            cmocka_unit_test_setup_teardown(
                    while_somebody_else_writes_the_fold_keeps_nothing_and_waits_for_nobody,
                    fixture_setup, fixture_teardown),
            cmocka_unit_test_setup_teardown(
                    a_store_that_cannot_be_written_is_folded_all_the_same, fixture_setup,
                    fixture_teardown),
            cmocka_unit_test_setup_teardown(an_unsigned_inspection_is_shown_as_unsigned,
                    fixture_setup, fixture_teardown),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
