#include "support/test.h"

#include <string.h>

#include "rig/journal.h"
#include "unit/rig/rig_fixture.h"

/* ---- amendments and day sheets ------------------------------------------------------------ */

static enum fsp_rc
amend(struct fixture *fixture, const char *minute, const char *entry, const char *change,
        struct fsp_err *err)
{
    struct fsp_check_context context;
    struct fsp_journal_added added;
    struct fsp_record *record = NULL;
    char text[300];
    int len = snprintf(text, sizeof(text),
            "{\"kind\":\"amend\",\"at\":\"2026-02-03T10:%s:00Z\",\"by\":\"clerk\",\"entry\":%s,"
            "\"reason\":\"typing\",%s}",
            minute, entry, change);
    enum fsp_rc rc = fsp_journal_context(fixture->journal, &context, err);

    if (rc == FSP_OK)
        rc = fsp_check_json(text, (size_t)len, &context, &record, err);
    if (rc == FSP_OK)
        rc = fsp_journal_enter(fixture->journal, record, NULL, false, &added, err);
    fsp_record_free(record);
    return rc;
}

static void
a_corrected_sheet_is_known_once_its_entry_was_amended(void **state)
{
    static const char first[] = HEADER ROW("01", "9300ft", "1") ROW("02", "9400ft", "2");
    static const char corrected[] = HEADER ROW("01", "9300ft", "1") ROW("02", "9450ft", "2");
    static const char grown[] =
            HEADER ROW("01", "9300ft", "1") ROW("02", "9450ft", "2") ROW("03", "9500ft", "3");
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fixture_take(fixture, first, false, &added, &err), &err);
    assert_int_equal(fixture_take(fixture, corrected, false, &added, &err), FSP_EFORMAT);
    assert_non_null(strstr(err.text, "entry 1"));
    assert_ok(amend(fixture, "01", "1", "\"set\":{\"depth\":\"9450ft\"}", &err), &err);
    assert_ok(fixture_take(fixture, corrected, false, &added, &err), &err);
    assert_int_equal(added.skipped, 2);
    assert_ok(fixture_take(fixture, grown, false, &added, &err), &err);
    assert_int_equal(added.skipped, 2);
    assert_int_equal(added.added, 1);
    /* the sheet as it was first is known too */
    assert_ok(fixture_take(fixture, first, false, &added, &err), &err);
    assert_int_equal(added.added, 0);
    assert_int_equal(fixture_size(fixture), 4);
}

static void
one_entry_stands_for_one_row_in_whichever_form(void **state)
{
    static const char first[] = HEADER ROW("02", "9400ft", "2");
    static const char both[] = HEADER ROW("02", "9400ft", "2") ROW("02", "9450ft", "2");
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fixture_take(fixture, first, false, &added, &err), &err);
    assert_ok(amend(fixture, "01", "0", "\"set\":{\"depth\":\"9450ft\"}", &err), &err);
    assert_int_equal(fixture_take(fixture, both, false, &added, &err), FSP_EFORMAT);
    assert_ok(fixture_take(fixture, both, true, &added, &err), &err);
    assert_int_equal(added.added, 1);
    assert_int_equal(added.skipped, 1);
}

static void
a_voided_amendment_takes_its_form_back(void **state)
{
    static const char first[] = HEADER ROW("02", "9400ft", "2");
    static const char corrected[] = HEADER ROW("02", "9450ft", "2");
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fixture_take(fixture, first, false, &added, &err), &err);
    assert_ok(amend(fixture, "01", "0", "\"set\":{\"depth\":\"9450ft\"}", &err), &err);
    assert_ok(amend(fixture, "02", "0", "\"set\":{\"mud\":\"10ppg\"}", &err), &err);
    assert_ok(amend(fixture, "03", "1", "\"void\":\"yes\"", &err), &err);
    assert_int_equal(fixture_take(fixture, corrected, false, &added, &err), FSP_EFORMAT);
    assert_ok(fixture_take(fixture, first, false, &added, &err), &err);
    assert_int_equal(added.skipped, 1);
}

static void
an_amendment_that_makes_no_record_is_refused(void **state)
{
    static const char first[] = HEADER ROW("02", "9400ft", "2");
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    uint64_t size;

    assert_ok(fixture_take(fixture, first, false, &added, &err), &err);
    size = fixture_size(fixture);
    /* length is no field of a round trip, and a kind never changes */
    assert_int_not_equal(
            amend(fixture, "01", "0", "\"set\":{\"length\":\"90ft\"}", &err), FSP_OK);
    assert_non_null(strstr(err.text, "length"));
    assert_int_not_equal(amend(fixture, "01", "0", "\"set\":{\"kind\":\"cut\"}", &err), FSP_OK);
    assert_int_equal(fixture_size(fixture), size);
}

/* ---- the rig's zone ------------------------------------------------------------------------ */

static enum fsp_rc
enter_text(struct fixture *fixture, const char *text, struct fsp_record **record,
        struct fsp_err *err)
{
    struct fsp_check_context context;
    struct fsp_journal_added added;
    enum fsp_rc rc = fsp_journal_context(fixture->journal, &context, err);

    *record = NULL;
    if (rc == FSP_OK)
        rc = fsp_check_json(text, strlen(text), &context, record, err);
    if (rc == FSP_OK)
        rc = fsp_journal_enter(fixture->journal, *record, NULL, false, &added, err);
    return rc;
}

static void
times_without_an_offset_are_in_the_zone_of_the_rigs_record(void **state)
{
    static const char slip[] = "{\"kind\":\"slip\",\"at\":\"2026-02-02 "
                               "10:00\",\"by\":\"clerk\",\"length\":\"30ft\"}";
    struct fixture *fixture = *state;
    struct fsp_record *record;
    struct fsp_err err = {.rc = FSP_OK};

    assert_int_equal(enter_text(fixture, slip, &record, &err), FSP_EFORMAT);
    assert_non_null(strstr(err.text, "zone"));
    fsp_record_free(record);
    assert_ok(enter_text(fixture,
                      "{\"kind\":\"rig\",\"at\":\"2026-02-01T00:00:00Z\",\"by\":\"clerk\","
                      "\"mast\":\"142ft\",\"drum\":\"30in\",\"block\":\"47000lb\","
                      "\"zone\":\"-03:00\"}",
                      &record, &err),
            &err);
    fsp_record_free(record);
    assert_ok(enter_text(fixture, slip, &record, &err), &err);
    assert_string_equal(fsp_record_text(record, "at"), "2026-02-02T13:00:00Z");
    fsp_record_free(record);
    assert_ok(amend(fixture, "01", "0", "\"set\":{\"zone\":\"+02:00\"}", &err), &err);
    assert_ok(enter_text(fixture, slip, &record, &err), &err);
    assert_string_equal(fsp_record_text(record, "at"), "2026-02-02T08:00:00Z");
    fsp_record_free(record);
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)

int
main(void)
{
    const struct CMUnitTest tests[] = {
            CASE(a_corrected_sheet_is_known_once_its_entry_was_amended),
            CASE(one_entry_stands_for_one_row_in_whichever_form),
            CASE(a_voided_amendment_takes_its_form_back),
            CASE(an_amendment_that_makes_no_record_is_refused),
            CASE(times_without_an_offset_are_in_the_zone_of_the_rigs_record),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
