#include "support/test.h"

#include <string.h>

#include "rig/linkstate.h"
#include "rig/urgent.h"
#include "unit/rig/rig_fixture.h"

static void
an_exchange_counts_segments_answers_and_the_opening(void **state)
{
    struct fsp_exchange exchange = {.sent = 1448, .received = 500};

    (void)state;
    /* 1,448 + 52 and its answer 52; 500 + 52 and its answer 52. */
    assert_int_equal(fsp_linkstate_exchange(&exchange), 1552 + 604);
    exchange.received = 0;
    assert_int_equal(fsp_linkstate_exchange(&exchange), 1552);
    /* Three segments are answered twice. */
    exchange.sent = 1448 * 2 + 1;
    assert_int_equal(fsp_linkstate_exchange(&exchange), 2897 + 5 * 52);
    exchange.sent = 1448;
    exchange.connects = true;
    assert_int_equal(fsp_linkstate_exchange(&exchange), 1552 + 2 * 60 + 2 * 52);
    exchange.tls = true;
    assert_int_equal(fsp_linkstate_exchange(&exchange), 1470 + 3 * 52 + 224 + 1400);
}

static void
what_was_kept_is_read_back_and_another_days_bytes_are_none(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_linkstate kept;
    struct fsp_linkstate read;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_linkstate_read(fixture->journal, &kept, &err), &err);
    assert_int_equal(kept.day, FIXTURE_NOW_S / 86400);
    assert_int_equal(kept.bytes + (uint64_t)kept.next_s + kept.wait, 0);
    assert_string_equal(kept.why, "");
    kept.bytes = 12345;
    kept.wait = FSP_SYNC_FOR_LINK;
    kept.next_s = FIXTURE_NOW_S + 7;
    (void)snprintf(kept.why, sizeof(kept.why), "503: later");
    assert_ok(fsp_linkstate_write(fixture->journal, &kept, &err), &err);
    fixture_reopen(fixture);
    assert_ok(fsp_linkstate_read(fixture->journal, &read, &err), &err);
    assert_int_equal(read.bytes, 12345);
    assert_int_equal(read.wait, FSP_SYNC_FOR_LINK);
    assert_int_equal(read.next_s, FIXTURE_NOW_S + 7);
    assert_string_equal(read.why, "503: later");
    /* The day changes at midnight of UTC, and a clock that went back is another day, too. */
    fixture->now_us = (FIXTURE_NOW_S + 86399) * FSP_US_PER_S;
    assert_ok(fsp_linkstate_read(fixture->journal, &read, &err), &err);
    assert_int_equal(read.bytes, 12345);
    fixture->now_us = (FIXTURE_NOW_S + 86400) * FSP_US_PER_S;
    assert_ok(fsp_linkstate_read(fixture->journal, &read, &err), &err);
    assert_int_equal(read.bytes, 0);
    fixture->now_us = (FIXTURE_NOW_S - 1) * FSP_US_PER_S;
    assert_ok(fsp_linkstate_read(fixture->journal, &read, &err), &err);
    assert_int_equal(read.bytes, 0);
    assert_string_equal(read.why, "503: later");
}

static void
put_raw(struct fsp_db *db, const char *value)
{
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_db_begin(db, &err), &err);
    assert_ok(fsp_journal_set_meta(db, "link-bytes", value, &err), &err);
    assert_ok(fsp_journal_set_meta(db, "link-next", value, &err), &err);
    assert_ok(fsp_db_commit(db, &err), &err);
}

static void
a_value_that_does_not_read_counts_as_nothing(void **state)
{
    static const char *const bad[] = {"", "1", "x y", "20513 -1", "20513 1e3", " "};
    struct fixture *fixture = *state;
    struct fsp_linkstate read;
    struct fsp_err err = {.rc = FSP_OK};

    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        put_raw(fsp_journal_db(fixture->journal), bad[i]);
        assert_ok(fsp_linkstate_read(fixture->journal, &read, &err), &err);
        assert_int_equal(read.bytes, 0);
        assert_int_equal(read.wait, FSP_SYNC_FOR_NOTHING);
    }
}

static void
left_of(struct fixture *fixture, uint64_t used, struct fsp_sync_event *event)
{
    struct fsp_linkstate state = {.bytes = used};
    struct fsp_budget budget = {.day_bytes = 10000, .reserve_percent = 20};

    event->now_us = 5;
    fsp_linkstate_left(&state, &budget, &fixture->env, event);
}

static void
the_reserve_is_kept_from_what_is_left(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_linkstate none = {.bytes = 1};
    struct fsp_budget no_budget = {.day_bytes = 0, .reserve_percent = 20};
    struct fsp_sync_event event;

    left_of(fixture, 0, &event);
    assert_int_equal(event.left, 8000);
    assert_int_equal(event.left_urgent, 10000);
    left_of(fixture, 7000, &event);
    assert_int_equal(event.left, 1000);
    assert_int_equal(event.left_urgent, 3000);
    left_of(fixture, 9999, &event);
    assert_int_equal(event.left, 0);
    assert_int_equal(event.left_urgent, 1);
    left_of(fixture, UINT64_MAX, &event);
    assert_int_equal(event.left + event.left_urgent, 0);
    fsp_linkstate_left(&none, &no_budget, &fixture->env, &event);
    assert_true(event.left == FSP_SYNC_NO_BUDGET && event.left_urgent == FSP_SYNC_NO_BUDGET);
}

static void
the_day_ends_at_midnight_of_utc_before_1970_too(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_sync_event event;

    fixture->now_us = FIXTURE_NOW_S * FSP_US_PER_S;
    left_of(fixture, 0, &event);
    assert_int_equal(event.day_ends_us, 5 + 86400 * FSP_US_PER_S);
    fixture->now_us += 86399 * FSP_US_PER_S;
    left_of(fixture, 0, &event);
    assert_int_equal(event.day_ends_us, 5 + FSP_US_PER_S);
    fixture->now_us = -3 * FSP_US_PER_S;
    left_of(fixture, 0, &event);
    assert_int_equal(event.day_ends_us, 5 + 3 * FSP_US_PER_S);
}

static void
a_person_sees_bytes_budget_and_the_next_try(void **state)
{
    struct fsp_linkstate link = {
            .bytes = 9000, .wait = FSP_SYNC_FOR_LINK, .next_s = FIXTURE_NOW_S, .why = "no\a"};
    struct fsp_budget budget = {.day_bytes = 10000, .reserve_percent = 20};
    struct fsp_buf out;

    (void)state;
    fsp_buf_init(&out, 4096);
    fsp_linkstate_text(&link, &budget, FIXTURE_NOW_S - 1, &out);
    assert_string_equal(fsp_buf_peek(&out),
            "link: 9000 bytes used today (UTC) of 10000, 2000 of them only for urgent records\n"
            "day's bytes used up: routine records wait for the next day, urgent ones go on\n"
            "next try: 2026-03-01T00:00:00Z\n"
            "last try: no\\x07\n");
    fsp_buf_reset(&out);
    budget.day_bytes = 0;
    fsp_linkstate_text(&link, &budget, FIXTURE_NOW_S, &out);
    assert_non_null(strstr(fsp_buf_peek(&out), "next try: due now"));
    assert_null(strstr(fsp_buf_peek(&out), "used up"));
    fsp_buf_fini(&out);
}

/* ---- urgent.h ------------------------------------------------------------------------------ */

static bool
is_urgent(const char *record)
{
    return fsp_urgent((const uint8_t *)record, strlen(record));
}

static void
cuts_findings_and_low_factors_are_urgent(void **state)
{
    (void)state;
    assert_true(is_urgent("{\"kind\":\"cut\",\"length\":\"90ft\"}"));
    assert_true(is_urgent("{\"decision\":\"out-of-service\",\"kind\":\"inspection\"}"));
    assert_true(is_urgent("{\"decision\":\"watch\",\"kind\":\"inspection\"}"));
    assert_true(is_urgent("{\"factor\":\"2.99\",\"kind\":\"work\",\"op\":\"round-trip\"}"));
    assert_true(is_urgent("{\"factor\":\"1.99\",\"kind\":\"work\",\"op\":\"casing\"}"));
    assert_true(is_urgent("{\"factor\":\"2.5\",\"kind\":\"work\",\"op\":\"casing\",\"service\":"
                          "\"drilling\"}"));
}

static void
everything_else_is_routine(void **state)
{
    (void)state;
    assert_false(is_urgent(""));
    assert_false(is_urgent("{"));
    assert_false(is_urgent("no record at all: \"cut\""));
    assert_false(is_urgent("{\"decision\":\"run\",\"kind\":\"inspection\"}"));
    assert_false(is_urgent("{\"kind\":\"slip\",\"note\":\"cut\"}"));
    assert_false(is_urgent("{\"factor\":\"3\",\"kind\":\"work\",\"op\":\"round-trip\"}"));
    assert_false(is_urgent("{\"factor\":\"2\",\"kind\":\"work\",\"op\":\"liner\"}"));
    assert_false(is_urgent("{\"factor\":\"2.5\",\"kind\":\"work\",\"op\":\"moves\",\"service\":"
                           "\"stuck-pipe\"}"));
    assert_false(is_urgent("{\"kind\":\"work\",\"op\":\"round-trip\"}"));
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(an_exchange_counts_segments_answers_and_the_opening),
            CASE(what_was_kept_is_read_back_and_another_days_bytes_are_none),
            CASE(a_value_that_does_not_read_counts_as_nothing),
            CASE(the_reserve_is_kept_from_what_is_left),
            CASE(the_day_ends_at_midnight_of_utc_before_1970_too),
            cmocka_unit_test(a_person_sees_bytes_budget_and_the_next_try),
            cmocka_unit_test(cuts_findings_and_low_factors_are_urgent),
            cmocka_unit_test(everything_else_is_routine),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
