#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "proof/note.h"
#include "proof/register.h"
#include "record/check.h"
#include "rig/head.h"
#include "rig/pack.h"
#include "rig/renew.h"
#include "rig/verify.h"
#include "store/logtable.h"
#include "unit/rig/rig_fixture.h"

#define ENTRIES_MOST 32

/* ---- what the office would hand back ------------------------------------------------------- */

struct held {
    char *entry[ENTRIES_MOST];
    size_t n;
};

static void
held_free(struct held *held)
{
    for (size_t i = 0; i < held->n; i++)
        free(held->entry[i]);
    held->n = 0;
}

/* The first n entries of the current log, as an office that took them holds them. */
static void
hold(struct fixture *fixture, size_t n, struct held *held)
{
    for (size_t i = 0; i < n; i++) {
        struct fsp_err err = {.rc = FSP_OK};
        struct fsp_buf bytes;

        fsp_buf_init(&bytes, FSP_ENTRY_MAX);
        assert_ok(fsp_logtable_get(fsp_journal_db(fixture->journal),
                          fsp_journal_current(fixture->journal), i, &bytes, &err),
                &err);
        held->entry[held->n++] = strdup(fsp_buf_peek(&bytes));
        fsp_buf_fini(&bytes);
    }
}

/* The round trip of a sheet's row, noted at another time: typed again by another hand. */
static void
hold_trip(struct held *held, const char *minute, const char *depth, const char *noted)
{
    char text[512];

    (void)snprintf(text, sizeof(text),
            "{\"at\":\"2026-02-02T10:%s:00Z\",\"by\":\"clerk\",\"depth\":\"%s\",\"kind\":"
            "\"work\","
            "\"noted\":\"%s\",\"op\":\"round-trip\",\"row\":1,\"v\":1}",
            minute, depth, noted);
    held->entry[held->n++] = strdup(text);
}

static void
sign_head(const struct fixture *fixture, const struct fsp_skey *rig,
        const struct fsp_range *range, struct fsp_buf *note)
{
    struct fsp_checkpoint head = {.size = range->size};
    uint8_t cosignature[8 + FSP_SIG_LEN];
    struct fsp_buf text;
    struct fsp_err err = {.rc = FSP_OK};

    (void)snprintf(head.origin, sizeof(head.origin), "%s", fsp_skey_vkey(rig)->name);
    fsp_range_root(range, head.root);
    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_checkpoint_write(&head, &text);
    assert_ok(fsp_note_sign(note, text.data, text.len, rig, &err), &err);
    assert_ok(fsp_cosign(&head, fixture->cosigner, 1772000000, cosignature, &err), &err);
    fsp_note_add_line(note, fsp_skey_vkey(fixture->cosigner), cosignature, sizeof(cosignature));
    fsp_buf_fini(&text);
}

/* The file's bytes; the caller frees file. */
static void
hand_back(struct fixture *fixture, const struct held *held, struct fsp_buf *file)
{
    struct fsp_handback_log log = {.size = held->n};
    struct fsp_handback back = {.fleet = "lantern-basin", .rig = "heron", .logs = &log, .n = 1};
    struct fsp_register_top top = {.to = held->n};
    struct fsp_skey *rig = NULL;
    struct fsp_range range;
    struct fsp_buf note;
    struct fsp_buf reg;
    struct fsp_buf rest;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_journal_key(fixture->journal, &rig, &err), &err);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    fsp_buf_init(&reg, (size_t)1 << 20);
    fsp_buf_init(&rest, (size_t)1 << 20);
    fsp_buf_init(file, (size_t)1 << 20);
    fsp_range_init(&range);
    for (size_t i = 0; i < held->n; i++)
        fsp_range_append(&range, held->entry[i], strlen(held->entry[i]));
    fsp_range_root(&range, log.root);
    log.vkey = *fsp_skey_vkey(rig);
    sign_head(fixture, rig, &range, &note);
    (void)snprintf(top.origin, sizeof(top.origin), "%s", log.vkey.name);
    fsp_range_init(&top.range);
    top.to_head = fsp_buf_peek(&note);
    top.to_head_len = note.len;
    fsp_register_write_top(&top, &reg);
    for (size_t i = 0; i < held->n; i++)
        fsp_register_write_entry(held->entry[i], strlen(held->entry[i]), &reg);
    fsp_register_write_end(&reg);
    fsp_handback_add_register(&rest, reg.data, reg.len);
    fsp_handback_add_head(&rest, note.data, note.len);
    assert_ok(fsp_handback_write(file, &back, &rest, fixture->instructions, &err), &err);
    fsp_skey_free(rig);
    fsp_buf_fini(&rest);
    fsp_buf_fini(&reg);
    fsp_buf_fini(&note);
}

static enum fsp_rc
renew_with(struct fixture *fixture, const struct held *held, struct fsp_renew_report *report,
        struct fsp_err *err)
{
    struct fsp_renew_options options = {.why = "a test", .by = "clerk"};
    struct fsp_handback back = {.n = 0};
    struct fsp_buf file;
    enum fsp_rc rc;

    fsp_buf_init(&file, 1);
    if (held != NULL) {
        hand_back(fixture, held, &file);
        assert_ok(fsp_handback_read(&back, file.data, file.len,
                          fsp_skey_vkey(fixture->instructions), err),
                err);
        options.back = &back;
    }
    rc = fsp_renew(fixture->journal, &options, report, err);
    fsp_handback_fini(&back);
    fsp_buf_fini(&file);
    return rc;
}

static void
check_sound(struct fixture *fixture)
{
    struct fsp_verify_report report = {.say = NULL};
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_verify(fixture->journal, &report, &err), &err);
    assert_int_equal(report.problems, 0);
    assert_int_equal(fsp_journal_state(fixture->journal), FSP_JOURNAL_SOUND);
}

/* ---- rotation ------------------------------------------------------------------------------ */

#define THREE HEADER ROW("01", "4100ft", "1") ROW("02", "4200ft", "1") ROW("03", "4300ft", "1")

static void
a_rotation_closes_the_old_log_and_keeps_everything(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_log *logs = NULL;
    struct fsp_renew_report report;
    struct fsp_journal_added added;
    struct fsp_packed packed;
    struct fsp_pack_want want = {.to = UINT64_MAX, .payload = 65536};
    struct fsp_err err = {.rc = FSP_OK};
    char path[256];
    size_t n = 0;

    assert_ok(fixture_take(fixture, THREE, false, &added, &err), &err);
    assert_ok(renew_with(fixture, NULL, &report, &err), &err);
    assert_true(report.proved);
    assert_int_equal(report.from_size, 3);
    assert_int_equal(report.again, 0);
    check_sound(fixture);
    assert_ok(fsp_journal_logs(fixture->journal, &logs, &n, &err), &err);
    assert_int_equal(n, 2);
    assert_int_equal(logs[0].size, 3);
    assert_false(logs[0].current);
    assert_int_equal(logs[1].size, 1);
    assert_true(logs[1].current);
    assert_string_equal(logs[1].token, ""); /* it enrols by its renewal */
    /* The old key stays until a person destroys it, and is not needed to send the old log. */
    (void)snprintf(path, sizeof(path), "%s/rig.key", fixture->folder);
    assert_int_equal(unlink(path), 0);
    fsp_packed_init(&packed);
    want.log = &logs[0];
    assert_ok(fsp_pack(fixture->journal, NULL, &want, &packed, &err), &err);
    assert_int_equal(packed.size, 3);
    fsp_packed_fini(&packed);
    /* The sheet that was taken before adds nothing, its next row one entry. */
    assert_ok(fixture_take(fixture, THREE ROW("04", "4400ft", "1"), false, &added, &err), &err);
    assert_int_equal(added.skipped, 3);
    assert_int_equal(added.added, 1);
    assert_int_equal(added.first, 1);
    free(logs);
}

static void
a_process_that_was_there_before_writes_to_the_new_log(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal *other = NULL;
    struct fsp_renew_report report;
    struct fsp_journal_added added;
    struct fsp_checkpoint head;
    struct fsp_skey *skey = NULL;
    struct fsp_record *record;
    struct fsp_err err = {.rc = FSP_OK};
    uint8_t sig[FSP_SIG_LEN];

    fixture_fill(fixture, 3);
    assert_ok(fsp_journal_open(fixture->folder, FSP_JOURNAL_WRITE, &fixture->env, &other, &err),
            &err);
    assert_ok(fsp_journal_key(other, &skey, &err), &err);
    assert_ok(renew_with(fixture, NULL, &report, &err), &err);
    record = fixture_record(fixture, 100, "5000ft");
    assert_ok(fsp_journal_enter(other, record, NULL, false, &added, &err), &err);
    fsp_record_free(record);
    assert_int_equal(added.first, 1); /* behind the renewal */
    assert_string_equal(
            fsp_journal_about(other)->origin, fsp_journal_about(fixture->journal)->origin);
    /* and signs nothing with the key it had loaded */
    assert_int_equal(fsp_head_sign(other, skey, 1, &head, sig, &err), FSP_EBUSY);
    fsp_skey_free(skey);
    fsp_journal_close(other);
    check_sound(fixture);
}

static void
nothing_changes_when_a_renewal_cannot_be_proved(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_renew_report report;
    struct fsp_err err = {.rc = FSP_OK};
    char path[256];
    char origin[FSP_ORIGIN_MAX + 1];

    fixture_fill(fixture, 3);
    (void)snprintf(origin, sizeof(origin), "%s", fsp_journal_about(fixture->journal)->origin);
    (void)snprintf(path, sizeof(path), "%s/rig.key", fixture->folder);
    assert_int_equal(unlink(path), 0);
    assert_int_equal(renew_with(fixture, NULL, &report, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "--invitation"));
    assert_string_equal(fsp_journal_about(fixture->journal)->origin, origin);
    assert_int_equal(fixture_size(fixture), 3);
    fixture_reopen(fixture);
    assert_string_equal(fsp_journal_about(fixture->journal)->origin, origin);
    fixture_fill(fixture, 1); /* it is in use as before */
}

/* ---- histories that went apart ------------------------------------------------------------- */

static void
the_kth_identical_of_ours_meets_the_kth_of_the_office_s(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_renew_report report;
    struct fsp_journal_added added;
    struct held held = {.n = 0};
    struct fsp_err err = {.rc = FSP_OK};

    /* Common: one trip. Ours above it: the same trip twice, another one, one more. */
    assert_ok(
            fixture_take(fixture, HEADER ROW("01", "4100ft", "1"), false, &added, &err), &err);
    hold(fixture, 1, &held);
    assert_ok(fixture_take(fixture,
                      HEADER ROW("02", "4200ft", "1") ROW("02", "4200ft", "1")
                              ROW("03", "4300ft", "1") ROW("04", "4400ft", "1"),
                      false, &added, &err),
            &err);
    assert_int_equal(added.added, 4);
    /* The office's above it: the trip of minute 2 once, that of minute 4 three times. */
    hold_trip(&held, "02", "4200ft", "2026-02-28T01:00:00Z");
    hold_trip(&held, "04", "4400ft", "2026-02-28T01:00:00Z");
    hold_trip(&held, "04", "4400ft", "2026-02-28T02:00:00Z");
    hold_trip(&held, "04", "4400ft", "2026-02-28T03:00:00Z");
    assert_ok(renew_with(fixture, &held, &report, &err), &err);
    assert_int_equal(report.from_size, 1);
    assert_int_equal(report.taken_back, 4);
    assert_int_equal(report.typed_again, 2); /* one of minute 2, one of minute 4 */
    assert_int_equal(report.again, 2);       /* the other of minute 2, and minute 3 */
    assert_int_equal(report.first_again, 1);
    assert_int_equal(report.doubtful, 1); /* minute 2 is there in both */
    assert_true(report.set_aside);
    assert_int_equal(fixture_size(fixture), 3);
    check_sound(fixture);
    /* What both lists say is known now: two of minute 2, one of 3, three of 4. */
    assert_ok(fixture_take(fixture,
                      HEADER ROW("01", "4100ft", "1") ROW("02", "4200ft", "1") ROW("02",
                              "4200ft", "1") ROW("03", "4300ft", "1") ROW("04", "4400ft", "1")
                              ROW("04", "4400ft", "1") ROW("04", "4400ft", "1"),
                      false, &added, &err),
            &err);
    assert_int_equal(added.added, 0);
    assert_int_equal(added.skipped, 7);
    held_free(&held);
}

static void
an_amendment_and_a_token_find_their_entry_where_it_stands_now(void **state)
{
    static const char corrected[] = HEADER ROW("02", "4250ft", "1");
    struct fixture *fixture = *state;
    struct fsp_check_context context;
    struct fsp_renew_report report;
    struct fsp_journal_added added;
    struct fsp_record *record = NULL;
    struct held held = {.n = 0};
    struct fsp_err err = {.rc = FSP_OK};
    static const char amend[] =
            "{\"kind\":\"amend\",\"at\":\"2026-02-03T10:00:00Z\",\"by\":\"clerk\",\"entry\":1,"
            "\"reason\":\"typing\",\"set\":{\"depth\":\"4250ft\"}}";

    assert_ok(
            fixture_take(fixture, HEADER ROW("01", "4100ft", "1"), false, &added, &err), &err);
    hold(fixture, 1, &held);
    hold_trip(&held, "30", "4900ft", "2026-02-28T01:00:00Z");
    assert_ok(
            fixture_take(fixture, HEADER ROW("02", "4200ft", "1"), false, &added, &err), &err);
    assert_ok(fsp_journal_context(fixture->journal, &context, &err), &err);
    assert_ok(fsp_check_json(amend, strlen(amend), &context, &record, &err), &err);
    assert_ok(
            fsp_journal_enter(fixture->journal, record, "token-1", false, &added, &err), &err);
    assert_int_equal(added.first, 2);
    assert_ok(renew_with(fixture, &held, &report, &err), &err);
    assert_int_equal(report.again, 2);
    /* The corrected row is known, and so is the one as it was typed first. */
    assert_ok(fixture_take(fixture, corrected, false, &added, &err), &err);
    assert_int_equal(added.added, 0);
    /* The token names the amendment's new number. */
    assert_ok(
            fsp_journal_enter(fixture->journal, record, "token-1", false, &added, &err), &err);
    assert_true(added.known);
    assert_int_equal(added.first, 2);
    fsp_record_free(record);
    held_free(&held);
    check_sound(fixture);
}

static void
a_copy_that_is_only_behind_sets_nothing_aside(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_log *logs = NULL;
    struct fsp_renew_report report;
    struct held held = {.n = 0};
    struct fsp_err err = {.rc = FSP_OK};
    size_t n = 0;

    fixture_fill(fixture, 2);
    hold(fixture, 2, &held);
    hold_trip(&held, "30", "4900ft", "2026-02-28T01:00:00Z");
    assert_ok(renew_with(fixture, &held, &report, &err), &err);
    assert_false(report.set_aside);
    assert_int_equal(report.taken_back, 1);
    assert_int_equal(report.again, 0);
    assert_int_equal(report.from_size, 2);
    assert_ok(fsp_journal_logs(fixture->journal, &logs, &n, &err), &err);
    assert_int_equal(n, 2);
    assert_int_equal(logs[0].size, 3);
    assert_int_equal(logs[0].held, 3); /* nothing of it is pending */
    free(logs);
    held_free(&held);
    check_sound(fixture);
}

static void
an_office_that_holds_less_takes_nothing_away(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_renew_report report;
    struct held held = {.n = 0};
    struct fsp_err err = {.rc = FSP_OK};

    fixture_fill(fixture, 5);
    hold(fixture, 3, &held);
    assert_ok(renew_with(fixture, &held, &report, &err), &err);
    assert_int_equal(report.from_size, 5); /* the store is whole: all of it is continued */
    assert_int_equal(report.taken_back, 0);
    assert_int_equal(report.again, 0);
    held_free(&held);
    check_sound(fixture);
}

static void
a_log_that_continues_another_history_is_set_aside_too(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_renew_options options = {.why = "a test", .by = "clerk"};
    struct fsp_journal_log *logs = NULL;
    struct fsp_renew_report report;
    struct fsp_journal_added added;
    struct fsp_handback back;
    struct held held = {.n = 0};
    struct fsp_buf file;
    struct fsp_err err = {.rc = FSP_OK};
    size_t n = 0;

    /* The office has another second entry; the rig renews before it hears of that. */
    assert_ok(
            fixture_take(fixture, HEADER ROW("01", "4100ft", "1"), false, &added, &err), &err);
    hold(fixture, 1, &held);
    hold_trip(&held, "30", "4900ft", "2026-02-28T01:00:00Z");
    assert_ok(
            fixture_take(fixture, HEADER ROW("02", "4200ft", "1"), false, &added, &err), &err);
    hand_back(fixture, &held, &file);
    assert_ok(renew_with(fixture, NULL, &report, &err), &err);
    assert_ok(
            fixture_take(fixture, HEADER ROW("03", "4300ft", "1"), false, &added, &err), &err);
    assert_ok(fsp_handback_read(
                      &back, file.data, file.len, fsp_skey_vkey(fixture->instructions), &err),
            &err);
    options.back = &back;
    assert_ok(fsp_renew(fixture->journal, &options, &report, &err), &err);
    fsp_handback_fini(&back);
    fsp_buf_fini(&file);
    assert_true(report.proved); /* by the first log's key, which is still in the folder */
    assert_int_equal(report.from_size, 1);
    assert_int_equal(report.taken_back, 1);
    assert_int_equal(
            report.again, 2); /* minutes 2 and 3; the renewal between is not repeated */
    assert_ok(fsp_journal_logs(fixture->journal, &logs, &n, &err), &err);
    assert_int_equal(n, 2);
    assert_int_equal(logs[0].size, 2);
    assert_int_equal(logs[1].size, 3);
    free(logs);
    held_free(&held);
    check_sound(fixture);
}

static void
bytes_that_are_no_record_are_taken_back_too(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_renew_report report;
    struct held held = {.n = 0};
    struct fsp_err err = {.rc = FSP_OK};

    fixture_fill(fixture, 1);
    hold(fixture, 1, &held);
    held.entry[held.n++] = strdup("no record at all");
    held.entry[held.n++] = strdup("{\"kind\":\"of a later version\"}");
    assert_ok(renew_with(fixture, &held, &report, &err), &err);
    assert_int_equal(report.taken_back, 2);
    held_free(&held);
    check_sound(fixture);
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)

int
main(void)
{
    const struct CMUnitTest tests[] = {
            CASE(a_rotation_closes_the_old_log_and_keeps_everything),
            CASE(a_process_that_was_there_before_writes_to_the_new_log),
            CASE(nothing_changes_when_a_renewal_cannot_be_proved),
            CASE(the_kth_identical_of_ours_meets_the_kth_of_the_office_s),
            CASE(an_amendment_and_a_token_find_their_entry_where_it_stands_now),
            CASE(a_copy_that_is_only_behind_sets_nothing_aside),
            CASE(an_office_that_holds_less_takes_nothing_away),
            CASE(a_log_that_continues_another_history_is_set_aside_too),
            CASE(bytes_that_are_no_record_are_taken_back_too),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
