#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "proof/note.h"
#include "proof/tree.h"
#include "rig/head.h"
#include "rig/inbox.h"
#include "rig/journal.h"
#include "rig/verify.h"
#include "store/logtable.h"
#include "unit/rig/rig_fixture.h"

static enum fsp_rc
enter(struct fixture *fixture, int at, const char *depth, const char *once,
        struct fsp_journal_added *added, struct fsp_err *err)
{
    struct fsp_record *record = fixture_record(fixture, at, depth);
    enum fsp_rc rc = fsp_journal_enter(fixture->journal, record, once, false, added, err);

    fsp_record_free(record);
    return rc;
}

/* ---- making and opening ------------------------------------------------------------------ */

static void
a_new_store_is_empty_private_and_sound(void **state)
{
    struct fixture *fixture = *state;
    const struct fsp_journal_about *about = fsp_journal_about(fixture->journal);
    struct fsp_checkpoint head;
    struct fsp_err err = {.rc = FSP_OK};
    char path[256];
    struct stat st;

    assert_int_equal(fixture_size(fixture), 0);
    assert_int_equal(fsp_journal_state(fixture->journal), FSP_JOURNAL_SOUND);
    assert_string_equal(about->rig, "heron");
    assert_int_equal(strlen(about->incarnation), FSP_INCARNATION_LEN);
    assert_memory_equal(about->origin, "lantern-basin/heron/", 20);
    assert_string_equal(about->vkey.name, about->origin);
    assert_int_equal(stat(fixture->folder, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0700);
    (void)snprintf(path, sizeof(path), "%s/rig.key", fixture->folder);
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
    assert_ok(fsp_signed_size_read(fixture->folder, "", &head, &err), &err);
    assert_int_equal(head.size, 0);
    assert_string_equal(head.origin, about->origin);
}

static void
a_store_is_never_made_over_another(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_err err = {.rc = FSP_OK};

    fixture_fill(fixture, 1);
    assert_int_equal(
            fsp_journal_create(fixture->folder, &fixture->invitation, &fixture->env, &err),
            FSP_EINVAL);
    assert_non_null(strstr(err.text, "not empty"));
    fixture_reopen(fixture);
    assert_int_equal(fixture_size(fixture), 1);
}

static void
a_folder_without_a_store_says_how_to_make_one(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal *journal = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    assert_int_equal(
            fsp_journal_open(fixture->parent, FSP_JOURNAL_READ, &fixture->env, &journal, &err),
            FSP_ENOTFOUND);
    assert_null(journal);
    assert_non_null(strstr(err.text, "farspool-rig init"));
}

static void
a_store_of_a_newer_version_is_refused(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal *journal = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(
            fsp_db_run(fsp_journal_db(fixture->journal), "PRAGMA user_version=99", &err), &err);
    assert_int_equal(
            fsp_journal_open(fixture->folder, FSP_JOURNAL_WRITE, &fixture->env, &journal, &err),
            FSP_EFORMAT);
    assert_non_null(strstr(err.text, "newer"));
}

static void
an_entry_is_the_record_with_noted_and_nothing_else(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf bytes;

    fixture_fill(fixture, 1);
    fixture_reopen(fixture);
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    assert_ok(fsp_logtable_get(fsp_journal_db(fixture->journal), FSP_RIG_LOG, 0, &bytes, &err),
            &err);
    assert_string_equal(fsp_buf_peek(&bytes),
            "{\"at\":\"2026-02-01T00:00:00Z\",\"by\":\"clerk\",\"depth\":\"4000ft\","
            "\"kind\":\"work\",\"noted\":\"2026-03-01T00:00:00Z\",\"op\":\"round-trip\","
            "\"v\":1}");
    fsp_buf_fini(&bytes);
}

static void
entries_survive_a_crash_before_close_and_uncommitted_ones_do_not(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal *other = NULL;
    struct fsp_journal_progress progress;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_range range;

    fixture_fill(fixture, 3);
    /* A writer that dies inside its transaction: its connection is dropped without commit. */
    assert_ok(fsp_journal_open(fixture->folder, FSP_JOURNAL_WRITE, &fixture->env, &other, &err),
            &err);
    assert_ok(fsp_db_begin(fsp_journal_db(other), &err), &err);
    assert_ok(fsp_logtable_tip(fsp_journal_db(other), FSP_RIG_LOG, &range, &err), &err);
    assert_ok(fsp_logtable_append(fsp_journal_db(other), FSP_RIG_LOG, &range, "half", 4, &err),
            &err);
    fsp_journal_close(other);
    assert_ok(fsp_journal_open(fixture->folder, FSP_JOURNAL_READ, &fixture->env, &other, &err),
            &err);
    assert_ok(fsp_journal_progress(other, &progress, &err), &err);
    fsp_journal_close(other);
    assert_int_equal(progress.size, 3);
    assert_true(progress.has_oldest);
    assert_int_equal(progress.oldest_noted_s, FIXTURE_NOW_S);
}

static void
two_writers_share_one_log(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal *other = NULL;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_record *record;

    assert_ok(fsp_journal_open(fixture->folder, FSP_JOURNAL_WRITE, &fixture->env, &other, &err),
            &err);
    for (int i = 0; i < 6; i++) {
        record = fixture_record(fixture, i, "4000ft");
        assert_ok(fsp_journal_enter(i % 2 == 0 ? fixture->journal : other, record, NULL, false,
                          &added, &err),
                &err);
        assert_int_equal(added.first, i);
        fsp_record_free(record);
    }
    fsp_journal_close(other);
    assert_int_equal(fixture_size(fixture), 6);
}

/* ---- enter ------------------------------------------------------------------------------- */

static void
a_once_token_adds_once(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(enter(fixture, 1, "4000ft", "form-17", &added, &err), &err);
    assert_int_equal(added.added, 1);
    fixture->now_us += 5 * FSP_US_PER_S;
    assert_ok(enter(fixture, 1, "4000ft", "form-17", &added, &err), &err);
    assert_true(added.known);
    assert_int_equal(added.added, 0);
    assert_int_equal(added.first, 0);
    assert_int_equal(fixture_size(fixture), 1);
}

static void
a_once_token_for_another_record_is_refused(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(enter(fixture, 1, "4000ft", "form-17", &added, &err), &err);
    assert_int_equal(enter(fixture, 2, "4000ft", "form-17", &added, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "entry 0"));
    assert_int_equal(enter(fixture, 2, "4000ft", "", &added, &err), FSP_EINVAL);
    assert_int_equal(fixture_size(fixture), 1);
}

static void
an_identical_record_entered_twice_is_added_and_named(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(enter(fixture, 1, "4000ft", NULL, &added, &err), &err);
    assert_false(added.has_twin);
    assert_ok(enter(fixture, 1, "4000ft", NULL, &added, &err), &err);
    assert_true(added.has_twin);
    assert_int_equal(added.twin, 0);
    assert_int_equal(added.first, 1);
    assert_int_equal(fixture_size(fixture), 2);
}

static void
the_same_time_kind_and_op_with_other_content_is_refused_unless_also(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_record *record;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(enter(fixture, 1, "4000ft", NULL, &added, &err), &err);
    assert_int_equal(enter(fixture, 1, "4100ft", NULL, &added, &err), FSP_EFORMAT);
    assert_non_null(strstr(err.text, "amend entry=0"));
    assert_int_equal(fixture_size(fixture), 1);
    record = fixture_record(fixture, 1, "4100ft");
    assert_ok(fsp_journal_enter(fixture->journal, record, NULL, true, &added, &err), &err);
    fsp_record_free(record);
    assert_int_equal(fixture_size(fixture), 2);
}

static void
a_clock_that_fell_back_is_accepted_and_flagged(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    int64_t present_s;

    fixture_fill(fixture, 1);
    fixture->now_us = INT64_C(1000000000) * FSP_US_PER_S; /* 2001-09-09 */
    assert_ok(enter(fixture, 2, "4000ft", NULL, &added, &err), &err);
    assert_true(added.clock_doubtful);
    /* The entry before is no longer the last one; the present must not fall back with it. */
    assert_ok(enter(fixture, 3, "4000ft", NULL, &added, &err), &err);
    assert_true(added.clock_doubtful);
    assert_ok(fsp_journal_present(fixture->journal, &present_s, &err), &err);
    assert_int_equal(present_s, FIXTURE_NOW_S);
}

static void
an_amendment_names_its_entry_by_number(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_check_context context;
    struct fsp_record *record = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_typed members[] = {
            {"at", "2026-02-01T12:00:00Z"},
            {"by", "clerk"},
            {"entry", "1"},
            {"reason", "typing"},
            {"set", "{\"depth\":\"4100 ft\"}"},
    };
    const struct fsp_record *entry;
    struct fsp_buf bytes;
    struct fsp_buf leaf64;
    uint8_t leaf[FSP_HASH_LEN];
    int64_t index = 0;

    fixture_fill(fixture, 2);
    assert_ok(fsp_journal_context(fixture->journal, &context, &err), &err);
    assert_ok(fsp_check_typed("amend", members, 5, &context, &record, &err), &err);
    entry = fsp_record_object(record, "entry");
    assert_non_null(entry);
    assert_true(fsp_record_int(entry, "index", &index));
    assert_int_equal(index, 1);
    assert_string_equal(
            fsp_record_text(entry, "log"), fsp_journal_about(fixture->journal)->incarnation);
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_buf_init(&leaf64, 64);
    assert_ok(fsp_logtable_get(fsp_journal_db(fixture->journal), FSP_RIG_LOG, 1, &bytes, &err),
            &err);
    fsp_leaf_hash(bytes.data, bytes.len, leaf);
    fsp_base64(&leaf64, leaf, sizeof(leaf));
    assert_string_equal(fsp_record_text(entry, "leaf"), fsp_buf_peek(&leaf64));
    fsp_buf_fini(&leaf64);
    fsp_buf_fini(&bytes);
    fsp_record_free(record);
    members[2].value = "2";
    assert_int_not_equal(fsp_check_typed("amend", members, 5, &context, &record, &err), FSP_OK);
    assert_non_null(strstr(err.text, "no entry 2"));
}

/* ---- day sheets as multisets -------------------------------------------------------------- */

static void
the_same_sheet_twice_adds_nothing_the_second_time(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    const char *text = HEADER ROW("00", "4000ft", "") ROW("10", "4000ft", "");

    assert_ok(fixture_take(fixture, text, false, &added, &err), &err);
    assert_int_equal(added.added, 2);
    fixture->now_us += 3600 * FSP_US_PER_S;
    assert_ok(fixture_take(fixture, text, false, &added, &err), &err);
    assert_int_equal(added.added, 0);
    assert_int_equal(added.skipped, 2);
    assert_int_equal(fixture_size(fixture), 2);
}

static void
yesterdays_sheet_plus_rows_adds_only_the_rows(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fixture_take(fixture, HEADER ROW("00", "4000ft", "") ROW("10", "4000ft", ""),
                      false, &added, &err),
            &err);
    assert_ok(fixture_take(fixture,
                      HEADER ROW("00", "4000ft", "") ROW("05", "4000ft", "")
                              ROW("10", "4000ft", "") ROW("20", "4000ft", ""),
                      false, &added, &err),
            &err);
    assert_int_equal(added.added, 2);
    assert_int_equal(added.skipped, 2);
    assert_int_equal(added.first, 2);
}

static void
two_identical_rows_are_two_trips_and_stay_two(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    const char *two = HEADER ROW("00", "4000ft", "") ROW("00", "4000ft", "");
    const char *three =
            HEADER ROW("00", "4000ft", "") ROW("00", "4000ft", "") ROW("00", "4000ft", "");

    assert_ok(fixture_take(fixture, two, false, &added, &err), &err);
    assert_int_equal(added.added, 2);
    assert_ok(fixture_take(fixture, two, false, &added, &err), &err);
    assert_int_equal(added.added, 0);
    assert_ok(fixture_take(fixture, three, false, &added, &err), &err);
    assert_int_equal(added.added, 1);
    assert_int_equal(added.skipped, 2);
    assert_ok(fixture_take(fixture, HEADER ROW("00", "4000ft", ""), false, &added, &err), &err);
    assert_int_equal(added.skipped, 1);
    assert_int_equal(fixture_size(fixture), 3);
}

static void
a_corrected_row_refuses_the_whole_sheet_and_names_the_entry(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fixture_take(fixture, HEADER ROW("00", "4000ft", "") ROW("10", "4000ft", ""),
                      false, &added, &err),
            &err);
    assert_int_equal(fixture_take(fixture,
                             HEADER ROW("00", "4000ft", "") ROW("10", "4100ft", "")
                                     ROW("20", "4000ft", ""),
                             false, &added, &err),
            FSP_EFORMAT);
    assert_non_null(strstr(err.text, "line 3"));
    assert_non_null(strstr(err.text, "entry 1"));
    assert_int_equal(fixture_size(fixture), 2);
}

static void
rows_of_one_sheet_are_told_apart_by_row(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_int_equal(
            fixture_take(fixture, HEADER ROW("00", "4000ft", "") ROW("00", "4100ft", ""), false,
                    &added, &err),
            FSP_EFORMAT);
    assert_non_null(strstr(err.text, "lines 2 and 3"));
    assert_int_equal(fixture_size(fixture), 0);
    assert_ok(fixture_take(fixture, HEADER ROW("00", "4000ft", "1") ROW("00", "4100ft", "2"),
                      false, &added, &err),
            &err);
    assert_int_equal(added.added, 2);
    /* The sheet grows by another of the same minute. */
    assert_ok(fixture_take(fixture,
                      HEADER ROW("00", "4000ft", "1") ROW("00", "4100ft", "2")
                              ROW("00", "4200ft", "3"),
                      false, &added, &err),
            &err);
    assert_int_equal(added.added, 1);
    /* Renumbered rows would be counted twice: refused. */
    assert_int_equal(
            fixture_take(fixture, HEADER ROW("00", "4000ft", "7"), false, &added, &err),
            FSP_EFORMAT);
    assert_int_equal(fixture_size(fixture), 3);
}

static void
one_bad_row_keeps_the_whole_sheet_out(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    static const char *const bad[] = {
            HEADER ROW("00", "4000ft", "") ROW("10", "4000 furlongs", ""),
            HEADER ROW("00", "4000ft", "") ROW("10", "-4000ft", ""),
            HEADER ROW("00", "4000ft", "") ROW("10", "", ""),
            HEADER ROW("00", "4000ft", "") "work,2036-01-01T00:00:00Z,clerk,round-trip,1ft,\n",
            HEADER,
            "",
            "kind,at,by,op,depth,colour\n" ROW("00", "4000ft", "red"),
    };

    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        enum fsp_rc rc = fixture_take(fixture, bad[i], false, &added, &err);

        if (rc != FSP_EFORMAT && rc != FSP_ELIMIT)
            fail_msg("sheet %zu: rc %d", i, (int)rc);
        assert_int_equal(fixture_size(fixture), 0);
    }
}

/* ---- heads and restored copies ------------------------------------------------------------ */

static void
sign(struct fixture *fixture, uint64_t size)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_checkpoint head;
    struct fsp_skey *skey = NULL;
    uint8_t sig[FSP_SIG_LEN];

    assert_ok(fsp_journal_key(fixture->journal, &skey, &err), &err);
    assert_ok(fsp_head_sign(fixture->journal, skey, size, &head, sig, &err), &err);
    assert_int_equal(head.size, size);
    fsp_skey_free(skey);
}

static void
a_signed_head_is_in_the_database_and_in_signed_size(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_checkpoint last;
    struct fsp_range range;
    struct fsp_buf note;
    struct fsp_note parsed;

    fixture_fill(fixture, 5);
    sign(fixture, 5);
    sign(fixture, 3);
    assert_ok(fsp_signed_size_read(fixture->folder, "", &last, &err), &err);
    assert_int_equal(last.size, 5); /* never goes down */
    fsp_buf_init(&note, FSP_NOTE_MAX);
    for (uint64_t size = 3; size <= 5; size += 2) {
        fsp_buf_reset(&note);
        assert_ok(fsp_logtable_head_below(fsp_journal_db(fixture->journal), FSP_RIG_LOG, size,
                          &range, &note, &err),
                &err);
        assert_int_equal(range.size, size);
        assert_ok(fsp_note_parse(&parsed, note.data, note.len, &err), &err);
        assert_ok(fsp_note_verify(
                          &parsed, &fsp_journal_about(fixture->journal)->vkey, NULL, &err),
                &err);
    }
    fsp_buf_fini(&note);
}

static void
copy_file(const char *from, const char *to)
{
    struct fsp_err err = {.rc = FSP_OK};
    uint8_t *bytes = NULL;
    size_t len;

    assert_ok(fsp_file_read(from, 1U << 26, &bytes, &len, &err), &err);
    assert_ok(fsp_file_write(to, bytes, len, 0600, &err), &err);
    free(bytes);
}

static void
a_restored_copy_reads_but_neither_signs_nor_appends(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_journal_added added;
    struct fsp_checkpoint head;
    struct fsp_skey *skey = NULL;
    uint8_t sig[FSP_SIG_LEN];
    char db[256];
    char copy[256];

    (void)snprintf(db, sizeof(db), "%s/journal.db", fixture->folder);
    (void)snprintf(copy, sizeof(copy), "%s/backup", fixture->parent);
    fixture_fill(fixture, 2);
    fsp_journal_close(fixture->journal);
    fixture->journal = NULL;
    copy_file(db, copy);
    fixture_reopen(fixture);
    fixture_fill(fixture, 2);
    sign(fixture, 4);
    fsp_journal_close(fixture->journal);
    fixture->journal = NULL;
    copy_file(copy, db);
    fixture_reopen(fixture);
    assert_int_equal(fsp_journal_state(fixture->journal), FSP_JOURNAL_RESTORED);
    assert_non_null(strstr(fsp_journal_state_why(fixture->journal), "restored copy"));
    assert_int_equal(fixture_size(fixture), 2);
    assert_int_equal(enter(fixture, 9, "4000ft", NULL, &added, &err), FSP_EFORK);
    assert_non_null(strstr(err.text, "history incomplete"));
    assert_ok(fsp_journal_key(fixture->journal, &skey, &err), &err);
    assert_int_equal(fsp_head_sign(fixture->journal, skey, 2, &head, sig, &err), FSP_EFORK);
    fsp_skey_free(skey);
}

static void
a_missing_or_foreign_signed_size_stops_signing(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_checkpoint foreign = {.origin = "lantern-basin/plover/0011223344556677"};
    char path[256];

    (void)snprintf(path, sizeof(path), "%s/signed-size", fixture->folder);
    assert_int_equal(unlink(path), 0);
    fixture_reopen(fixture);
    assert_int_equal(fsp_journal_state(fixture->journal), FSP_JOURNAL_RESTORED);
    assert_ok(fsp_signed_size_write(fixture->folder, "", &foreign, &err), &err);
    fixture_reopen(fixture);
    assert_int_equal(fsp_journal_state(fixture->journal), FSP_JOURNAL_RESTORED);
}

static void
check_finds_nothing_in_a_good_store_and_the_altered_byte_in_a_bad_one(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_db *db = fsp_journal_db(fixture->journal);
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_verify_report report = {.size = 0};

    fixture_fill(fixture, 20);
    sign(fixture, 7);
    sign(fixture, 20);
    assert_ok(fsp_verify(fixture->journal, &report, &err), &err);
    assert_int_equal(report.problems, 0);
    assert_int_equal(report.size, 20);
    assert_int_equal(report.heads, 2);
    assert_int_equal(report.unreadable, 0);

    /* Past the triggers, as somebody with an editor would. */
    assert_ok(fsp_db_run(db, "DROP TRIGGER entry_never_updated", &err), &err);
    assert_ok(fsp_db_run(db,
                      "UPDATE entry SET bytes = CAST(replace(CAST(bytes AS TEXT), '4000ft',"
                      " '4001ft') AS BLOB) WHERE idx = 3",
                      &err),
            &err);
    report = (struct fsp_verify_report){.size = 0};
    assert_ok(fsp_verify(fixture->journal, &report, &err), &err);
    assert_true(report.problems >= 3); /* both heads and the tip */
}

static void
nothing_is_signed_over_an_entry_that_was_altered(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_db *db = fsp_journal_db(fixture->journal);
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_checkpoint head;
    struct fsp_skey *skey = NULL;
    uint8_t sig[FSP_SIG_LEN];

    fixture_fill(fixture, 4);
    assert_ok(fsp_db_run(db, "DROP TRIGGER entry_never_updated", &err), &err);
    assert_ok(fsp_db_run(db, "UPDATE entry SET bytes = x'00' WHERE idx = 2", &err), &err);
    assert_int_equal(fsp_head_confirm_tip(fixture->journal, &err), FSP_ECORRUPT);
    assert_ok(fsp_journal_key(fixture->journal, &skey, &err), &err);
    assert_int_equal(fsp_head_sign(fixture->journal, skey, 4, &head, sig, &err), FSP_ECORRUPT);
    fsp_skey_free(skey);
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)

int
main(void)
{
    const struct CMUnitTest tests[] = {
            CASE(a_new_store_is_empty_private_and_sound),
            CASE(a_store_is_never_made_over_another),
            CASE(a_folder_without_a_store_says_how_to_make_one),
            CASE(a_store_of_a_newer_version_is_refused),
            CASE(an_entry_is_the_record_with_noted_and_nothing_else),
            CASE(entries_survive_a_crash_before_close_and_uncommitted_ones_do_not),
            CASE(two_writers_share_one_log),
            CASE(a_once_token_adds_once),
            CASE(a_once_token_for_another_record_is_refused),
            CASE(an_identical_record_entered_twice_is_added_and_named),
            CASE(the_same_time_kind_and_op_with_other_content_is_refused_unless_also),
            CASE(a_clock_that_fell_back_is_accepted_and_flagged),
            CASE(an_amendment_names_its_entry_by_number),
            CASE(the_same_sheet_twice_adds_nothing_the_second_time),
            CASE(yesterdays_sheet_plus_rows_adds_only_the_rows),
            CASE(two_identical_rows_are_two_trips_and_stay_two),
            CASE(a_corrected_row_refuses_the_whole_sheet_and_names_the_entry),
            CASE(rows_of_one_sheet_are_told_apart_by_row),
            CASE(one_bad_row_keeps_the_whole_sheet_out),
            CASE(a_signed_head_is_in_the_database_and_in_signed_size),
            CASE(a_restored_copy_reads_but_neither_signs_nor_appends),
            CASE(a_missing_or_foreign_signed_size_stops_signing),
            CASE(check_finds_nothing_in_a_good_store_and_the_altered_byte_in_a_bad_one),
            CASE(nothing_is_signed_over_an_entry_that_was_altered),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
