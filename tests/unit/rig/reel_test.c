#include "support/test.h"

#include <string.h>

#include "rig/journal.h"
#include "rig/reel.h"
#include "unit/rig/rig_fixture.h"

/* 1 3/8 EIPS: 192,000 lb by the table. */
#define REEL(minute, strength)                                                                 \
    "{\"kind\":\"reel\",\"at\":\"2026-02-03T10:" minute                                        \
    ":00Z\",\"by\":\"clerk\",\"reel\":\"LB-1\",\"rope\":\"1-3/8in\",\"grade\":\"EIPS\","       \
    "\"received\":\"5000ft\",\"strung\":\"1850ft\",\"lines\":10,\"strength\":\"" strength      \
    "\"}"

static enum fsp_rc
enter(struct fixture *fixture, const char *text, struct fsp_err *err)
{
    struct fsp_check_context context;
    struct fsp_journal_added added;
    struct fsp_record *record = NULL;
    enum fsp_rc rc = fsp_journal_context(fixture->journal, &context, err);

    if (rc == FSP_OK)
        rc = fsp_check_json(text, strlen(text), &context, &record, err);
    if (rc == FSP_OK)
        rc = fsp_journal_enter(fixture->journal, record, NULL, false, &added, err);
    fsp_record_free(record);
    return rc;
}

static void
a_certificate_ten_per_cent_above_the_table_is_not_entered(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_err err = {.rc = FSP_OK};

    assert_int_equal(enter(fixture, REEL("00", "211.2klb"), &err), FSP_EINVAL);
    assert_ptr_equal(strstr(err.text, "field strength: found '211.2klb': "), err.text);
    assert_non_null(strstr(err.text, "10 % above the 854.1 kN (192000 lb)"));
    assert_non_null(strstr(err.text, "allowed: less than 10 % above"));
    assert_int_equal(enter(fixture, REEL("01", "940 kN"), &err), FSP_EINVAL);
    assert_int_equal(fixture_size(fixture), 0);
    assert_ok(enter(fixture, REEL("02", "211.1klb"), &err), &err);
    assert_ok(enter(fixture, REEL("03", "190klb"), &err), &err);
    assert_int_equal(fixture_size(fixture), 2);
}

static void
nor_taken_with_a_sheet_nor_made_by_an_amendment(void **state)
{
    static const char sheet[] =
            "kind,at,by,reel,rope,grade,received,strung,lines,strength\n"
            "reel,2026-02-03T11:00:00Z,clerk,LB-1,1-3/8in,EIPS,5000ft,1850ft,10,190klb\n"
            "reel,2026-02-03T12:00:00Z,clerk,LB-2,35mm,1960,5000ft,1850ft,10,941kN\n";
    static const char amend[] =
            "{\"kind\":\"amend\",\"at\":\"2026-02-03T10:30:00Z\",\"by\":\"clerk\",\"entry\":0,"
            "\"reason\":\"typing\",\"set\":{\"strength\":\"250klb\"}}";
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_int_equal(fixture_take(fixture, sheet, false, &added, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "line 3: field strength: found '941kN'"));
    assert_int_equal(fixture_size(fixture), 0);
    assert_ok(enter(fixture, REEL("02", "190klb"), &err), &err);
    assert_int_equal(enter(fixture, amend, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "amendment of entry 0: field strength: found '250klb'"));
    assert_int_equal(fixture_size(fixture), 1);
}

#define ROPE(rope, strung, rest)                                                               \
    "{\"kind\":\"reel\",\"at\":\"2026-02-03T10:00:00Z\",\"by\":\"clerk\",\"reel\":\"LB-1\","   \
    "\"rope\":\"" rope "\",\"grade\":\"EIPS\",\"received\":\"5000ft\",\"strung\":\"" strung    \
    "\",\"lines\":10" rest "}"

static void
an_unknown_rope_needs_its_certificate_and_no_more_is_strung_than_received(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_err err = {.rc = FSP_OK};

    assert_int_equal(enter(fixture, ROPE("1.4in", "1850ft", ""), &err), FSP_EINVAL);
    assert_ptr_equal(
            strstr(err.text, "field rope: found '1.4in': rope: no table size"), err.text);
    assert_non_null(
            strstr(err.text, "or the certificate's minimum breaking force as strength"));
    assert_int_equal(enter(fixture, ROPE("1-3/8in", "5001ft", ""), &err), FSP_EINVAL);
    assert_string_equal(err.text,
            "field strung: found '5001ft'; allowed: at most what was received ('5000ft')");
    assert_int_equal(fixture_size(fixture), 0);
    assert_ok(enter(fixture, ROPE("1.4in", "5000ft", ",\"strength\":\"199klb\""), &err), &err);
}

static void
three_per_cent_above_is_told(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_check_context context;
    struct fsp_record *record = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    const char *text = REEL("00", "200klb");

    assert_ok(fsp_journal_context(fixture->journal, &context, &err), &err);
    assert_ok(fsp_check_json(text, strlen(text), &context, &record, &err), &err);
    assert_ok(fsp_reel_check(record, &err), &err);
    assert_true(fsp_reel_above(record) > 4.16 && fsp_reel_above(record) < 4.17);
    assert_ok(fsp_record_set_text(record, "strength", "197.7klb", &err), &err);
    assert_true(!(fsp_reel_above(record) > 0));
    fsp_record_free(record);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test_setup_teardown(
                    a_certificate_ten_per_cent_above_the_table_is_not_entered, fixture_setup,
                    fixture_teardown),
            cmocka_unit_test_setup_teardown(nor_taken_with_a_sheet_nor_made_by_an_amendment,
                    fixture_setup, fixture_teardown),
            cmocka_unit_test_setup_teardown(
                    an_unknown_rope_needs_its_certificate_and_no_more_is_strung_than_received,
                    fixture_setup, fixture_teardown),
            cmocka_unit_test_setup_teardown(
                    three_per_cent_above_is_told, fixture_setup, fixture_teardown),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
