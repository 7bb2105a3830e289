#include "support/test.h"

#include <string.h>

#include "rig/journal.h"
#include "rig/shown.h"
#include "store/logtable.h"
#include "unit/rig/rig_fixture.h"

#define START                                                                                  \
    "kind,at,by,mast,drum,block,reel,rope,grade,received,strung,lines,pipe,stand,bha-weight,"  \
    "bha-length,mud,op,depth,hookload,ton-miles,basis\n"                                       \
    "rig,2026-02-01T00:00:00Z,clerk,142ft,30in,47000lb,,,,,,,,,,,,,,,,\n"                      \
    "reel,2026-02-01T00:01:00Z,clerk,,,,LB-1,1-3/8in,EIPS,5000ft,1850ft,10,,,,,,,,,,\n"        \
    "drill-string,2026-02-01T00:02:00Z,clerk,,,,,,,,,,19.5lb/ft,93ft,60000lb,600ft,10ppg,,,,," \
    "\n"
#define WORK(at, rest) "work,2026-02-0" at ":00Z,clerk,,,,,,,,,,,,,,," rest "\n"

static const char *
entry(struct fixture *fixture, uint64_t index)
{
    static struct fsp_buf bytes;
    struct fsp_err err = {.rc = FSP_OK};

    fsp_buf_fini(&bytes);
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    assert_ok(fsp_logtable_get(
                      fsp_journal_db(fixture->journal), FSP_RIG_LOG, index, &bytes, &err),
            &err);
    return fsp_buf_peek(&bytes);
}

static int
setup(void **state)
{
    int rc = fixture_setup(state);
    struct fixture *fixture = *state;

    fsp_journal_on_new(fixture->journal, fsp_shown_fill, NULL);
    return rc;
}

static void
each_row_shows_what_is_in_force_at_its_own_place(void **state)
{
    /* The second drill string stands behind both trips in the file, but between them in time. */
    static const char sheet[] = START WORK("3T06:00", "round-trip,9000ft,300klb,,") WORK(
            "2T06:00", "round-trip,9000ft,,,")
            WORK("3T07:00", "stated,,,30,old book") "drill-string,2026-02-02T12:00:00Z,clerk,,,"
                                                    ",,,,,,,16.6lb/ft,93ft,0lb,0ft,air,,"
                                                    ",,,\n";
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fixture_take(fixture, sheet, false, &added, &err), &err);
    assert_int_equal(added.added, 7);
    /* 9,000 x 9,093 x 16.6 / 10,560,000 + 9,000 x 47,000 / 2,640,000; 192,000 x 8.1109 / 300,000. */
    assert_non_null(strstr(entry(fixture, 3), "\"factor\":\"5.19\""));
    assert_non_null(strstr(entry(fixture, 3), "\"ton-miles\":\"288.87\""));
    assert_non_null(strstr(entry(fixture, 3), "\"rules\":\"2\""));
    /* 128.048 + 229.987; without a hook load 9,000 x 16.5229 + 40,926 + 47,000 lb. */
    assert_non_null(strstr(entry(fixture, 4), "\"ton-miles\":\"358.04\""));
    assert_non_null(strstr(entry(fixture, 4), "\"factor\":\"6.58\""));
    assert_non_null(strstr(entry(fixture, 5), "\"ton-miles\":\"30\"")); /* an input, as typed */
    assert_null(strstr(entry(fixture, 5), "factor"));
    /* They are no part of the rows: the same file is known. */
    assert_ok(fixture_take(fixture, sheet, false, &added, &err), &err);
    assert_int_equal(added.added, 0);
    assert_int_equal(added.skipped, 7);
}

/* The row that is known is not reckoned again, nor does it stand twice in what is. */
static void
what_is_known_already_is_not_put_in_again(void **state)
{
    static const char first[] = START;
    static const char grown[] = START WORK("2T06:00", "round-trip,9000ft,300klb,,");
    static const char amend[] = "kind,at,by,entry,reason,set\n"
                                "amend,2026-02-01T10:00:00Z,clerk,2,typing,\"{\"\"pipe\"\":"
                                "\"\"16.6lb/ft\"\",\"\"bha-"
                                "weight\"\":\"\"0lb\"\",\"\"bha-length\"\":\"\"0ft\"\","
                                "\"\"mud\"\":\"\"air\"\"}\"\n";
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fixture_take(fixture, first, false, &added, &err), &err);
    assert_ok(fixture_take(fixture, amend, false, &added, &err), &err);
    assert_ok(fixture_take(fixture, grown, false, &added, &err), &err);
    assert_int_equal(added.skipped, 3);
    assert_non_null(strstr(entry(fixture, 4), "\"ton-miles\":\"288.87\""));
}

static void
what_cannot_be_reckoned_shows_nothing_and_says_why(void **state)
{
    static const char sheet[] = HEADER ROW("01", "9300ft", "1");
    struct fixture *fixture = *state;
    struct fsp_shown shown = {.read = 0};
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    fsp_buf_init(&shown.text, 4000);
    fsp_buf_init(&shown.notes, 4000);
    fsp_journal_on_new(fixture->journal, fsp_shown_fill, &shown);
    assert_ok(fixture_take(fixture, sheet, false, &added, &err), &err);
    assert_null(strstr(entry(fixture, 0), "ton-miles"));
    assert_null(strstr(entry(fixture, 0), "rules"));
    assert_string_equal(fsp_buf_peek(&shown.text), "not counted: no line is hung\n");
    assert_string_equal(
            fsp_buf_peek(&shown.notes), "work with no line hung: not counted on any line\n");
    fsp_buf_fini(&shown.text);
    fsp_buf_fini(&shown.notes);
}

/* An entry whose figures a record may not hold stays readable: it shows none. */
static void
figures_out_of_bounds_are_left_out(void **state)
{
    static const char text[] =
            "{\"kind\":\"work\",\"at\":\"2026-02-03T10:00:00Z\",\"by\":\"clerk\",\"op\":"
            "\"moves\","
            "\"count\":1000000,\"stroke\":\"50m\",\"up\":\"20MN\",\"down\":\"20MN\"}";
    struct fixture *fixture = *state;
    struct fsp_check_context context;
    struct fsp_journal_added added;
    struct fsp_record *record = NULL, *back = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    const char *bytes;

    assert_ok(fixture_take(fixture, START, false, &added, &err), &err);
    assert_ok(fsp_journal_context(fixture->journal, &context, &err), &err);
    assert_ok(fsp_check_json(text, strlen(text), &context, &record, &err), &err);
    assert_ok(fsp_journal_enter(fixture->journal, record, NULL, false, &added, &err), &err);
    bytes = entry(fixture, 3);
    assert_null(strstr(bytes, "ton-miles"));
    assert_non_null(strstr(bytes, "\"factor\":\"0.35\""));
    assert_ok(fsp_check_stored((const uint8_t *)bytes, strlen(bytes), &back, &err), &err);
    fsp_record_free(back);
    fsp_record_free(record);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test_setup_teardown(
                    each_row_shows_what_is_in_force_at_its_own_place, setup, fixture_teardown),
            cmocka_unit_test_setup_teardown(
                    what_is_known_already_is_not_put_in_again, setup, fixture_teardown),
            cmocka_unit_test_setup_teardown(what_cannot_be_reckoned_shows_nothing_and_says_why,
                    setup, fixture_teardown),
            cmocka_unit_test_setup_teardown(
                    figures_out_of_bounds_are_left_out, setup, fixture_teardown),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
