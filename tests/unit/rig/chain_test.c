#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "rig/journal_sql.h"
#include "rig/verify.h"
#include "store/logtable.h"
#include "unit/rig/rig_fixture.h"

#define RIG_APPLICATION 0x46535052

/* The tables of a store before it could hold more than one log. */
static const struct fsp_migration old_steps[] = {{fsp_logtable_sql}, {FSP_RIG_TABLES}};
static const struct fsp_db_schema old_schema = {
        .application_id = RIG_APPLICATION, .what = "rig store", .steps = old_steps, .n = 2};

static void
put(struct fsp_db *db, const char *key, const char *value)
{
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_journal_set_meta(db, key, value, &err), &err);
}

static void
put_vkey(struct fsp_db *db, const char *key, const struct fsp_vkey *vkey)
{
    struct fsp_buf text;

    fsp_buf_init(&text, FSP_VKEY_MAX);
    fsp_vkey_write(vkey, &text);
    put(db, key, fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

static void
put_hex(struct fsp_db *db, const char *key, const uint8_t *bytes, size_t len)
{
    char hex[65];

    fsp_text_hex(hex, bytes, len);
    put(db, key, hex);
}

static void
put_meta(struct fsp_db *db, const struct fsp_journal_about *about)
{
    put(db, "fleet", about->fleet);
    put(db, "rig", about->rig);
    put(db, "incarnation", about->incarnation);
    put(db, "origin", about->origin);
    put(db, "url", about->url);
    put(db, "held", "2");
    put(db, "went-back", "1");
    put_vkey(db, "vkey", &about->vkey);
    put_vkey(db, "cosigner", &about->cosigner);
    put_vkey(db, "instructions", &about->instructions);
    put_hex(db, "box", about->box_pub, sizeof(about->box_pub));
    put_hex(db, "token", about->token, sizeof(about->token));
}

/* The rows of one entry as the earlier version wrote them. */
static void
put_entry(struct fsp_db *db, struct fsp_range *range, const char *bytes, const char *key,
        const uint8_t *hash)
{
    struct fsp_stmt *stmt = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_stmt_get(
                      db, "INSERT INTO ident(key, idx, hash) VALUES(?1, ?2, ?3)", &stmt, &err),
            &err);
    fsp_stmt_bind_text(stmt, 1, key);
    fsp_stmt_bind_int(stmt, 2, (int64_t)range->size);
    fsp_stmt_bind_blob(stmt, 3, hash, 16);
    assert_ok(fsp_stmt_run(stmt, &err), &err);
    assert_ok(fsp_logtable_append(db, FSP_RIG_LOG, range, bytes, strlen(bytes), &err), &err);
    assert_ok(fsp_logtable_set_tip(db, FSP_RIG_LOG, range, &err), &err);
}

#define SHEET HEADER ROW("00", "4000ft", "1") ROW("01", "4100ft", "2") ROW("02", "4200ft", "3")

struct old_row {
    char key[128];
    uint8_t hash[16];
    char bytes[1024];
};

static void
read_rows(struct fsp_db *db, struct old_row *rows, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        struct fsp_stmt *stmt = NULL;
        struct fsp_err err = {.rc = FSP_OK};
        struct fsp_buf bytes;
        bool row = false;
        size_t len;

        assert_ok(fsp_stmt_get(db, "SELECT key, hash FROM ident WHERE idx = ?1", &stmt, &err),
                &err);
        fsp_stmt_bind_int(stmt, 1, (int64_t)i);
        assert_ok(fsp_stmt_step(stmt, &row, &err), &err);
        assert_true(row);
        (void)snprintf(rows[i].key, sizeof(rows[i].key), "%s", fsp_stmt_text(stmt, 0));
        memcpy(rows[i].hash, fsp_stmt_blob(stmt, 1, &len), 16);
        fsp_stmt_reset(stmt);
        fsp_buf_init(&bytes, FSP_ENTRY_MAX);
        assert_ok(fsp_logtable_get(db, FSP_RIG_LOG, i, &bytes, &err), &err);
        (void)snprintf(rows[i].bytes, sizeof(rows[i].bytes), "%s", fsp_buf_peek(&bytes));
        fsp_buf_fini(&bytes);
    }
}

/* The store's three entries again, in the tables of the earlier version. */
static void
make_old_store(struct fixture *fixture, struct fsp_journal_about *about)
{
    struct fsp_journal_added added;
    struct old_row rows[3];
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_db *db = NULL;
    struct fsp_range range;
    char path[128];

    assert_ok(fixture_take(fixture, SHEET, false, &added, &err), &err);
    read_rows(fsp_journal_db(fixture->journal), rows, 3);
    *about = *fsp_journal_about(fixture->journal);
    fsp_journal_close(fixture->journal);
    fixture->journal = NULL;
    (void)snprintf(path, sizeof(path), "%s/journal.db", fixture->folder);
    assert_int_equal(unlink(path), 0);
    assert_ok(fsp_db_open(path, FSP_DB_RIG, true, &old_schema, &db, &err), &err);
    assert_ok(fsp_db_begin(db, &err), &err);
    put_meta(db, about);
    fsp_range_init(&range);
    for (size_t i = 0; i < 3; i++)
        put_entry(db, &range, rows[i].bytes, rows[i].key, rows[i].hash);
    assert_ok(fsp_db_run(db, "INSERT INTO receipt VALUES(2, 1772000000, 1772000001)", &err),
            &err);
    assert_ok(fsp_db_commit(db, &err), &err);
    fsp_db_close(db);
}

static void
a_store_of_the_earlier_schema_is_brought_up_to_date(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_verify_report report = {.say = NULL};
    struct fsp_journal_progress progress;
    struct fsp_journal_added added;
    struct fsp_journal_about about;
    struct fsp_journal_log log;
    struct fsp_err err = {.rc = FSP_OK};

    make_old_store(fixture, &about);
    fixture_reopen(fixture);
    assert_string_equal(fsp_journal_about(fixture->journal)->origin, about.origin);
    assert_memory_equal(fsp_journal_about(fixture->journal)->token, about.token, 16);
    assert_ok(fsp_journal_progress(fixture->journal, &progress, &err), &err);
    assert_int_equal(progress.size, 3);
    assert_int_equal(progress.held, 2);
    assert_int_equal(progress.receipt_time_s, 1772000000);
    assert_true(progress.went_back);
    assert_ok(fsp_journal_log(fixture->journal, about.incarnation, &log, &err), &err);
    assert_true(log.current);
    assert_int_equal(log.size, 3);
    /* The sheet taken before adds nothing now. */
    assert_ok(fixture_take(fixture, SHEET, false, &added, &err), &err);
    assert_int_equal(added.added, 0);
    assert_int_equal(added.skipped, 3);
    assert_ok(fixture_take(fixture, SHEET ROW("03", "4300ft", "4"), false, &added, &err), &err);
    assert_int_equal(added.added, 1);
    assert_int_equal(added.first, 3);
    assert_ok(fsp_verify(fixture->journal, &report, &err), &err);
    assert_int_equal(report.size, 4);
}

static void
a_new_store_is_a_chain_of_one_log(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_log *logs = NULL;
    struct fsp_journal_log log;
    struct fsp_err err = {.rc = FSP_OK};
    size_t n = 0;

    fixture_fill(fixture, 2);
    assert_ok(fsp_journal_logs(fixture->journal, &logs, &n, &err), &err);
    assert_int_equal(n, 1);
    assert_int_equal(logs[0].id, fsp_journal_current(fixture->journal));
    assert_int_equal(logs[0].ordinal, 0);
    assert_int_equal(logs[0].size, 2);
    assert_int_equal(logs[0].held, 0);
    assert_true(logs[0].current);
    free(logs);
    assert_int_equal(
            fsp_journal_log(fixture->journal, "no-such-log", &log, &err), FSP_ENOTFOUND);
}

static void
a_closed_log_takes_no_entry(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_db *db = fsp_journal_db(fixture->journal);
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_range range;

    fixture_fill(fixture, 2);
    assert_ok(fsp_db_begin(db, &err), &err);
    assert_ok(fsp_db_run(db, "UPDATE chain SET upto = 2", &err), &err);
    assert_ok(fsp_logtable_tip(db, FSP_RIG_LOG, &range, &err), &err);
    assert_int_not_equal(fsp_logtable_append(db, FSP_RIG_LOG, &range, "{}", 2, &err), FSP_OK);
    fsp_db_rollback(db);
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)

int
main(void)
{
    const struct CMUnitTest tests[] = {
            CASE(a_store_of_the_earlier_schema_is_brought_up_to_date),
            CASE(a_new_store_is_a_chain_of_one_log),
            CASE(a_closed_log_takes_no_entry),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
