#include "unit/line/book.h"

#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "line/duty.h"

static const struct fsp_duty *
find(const struct fsp_ledger *ledger, enum fsp_duty_kind kind)
{
    const struct fsp_duty *duty;
    size_t i;

    for (i = 0; (duty = fsp_ledger_duty(ledger, i)) != NULL; i++) {
        if (duty->kind == kind)
            return duty;
    }
    return NULL;
}

/* The same, where it must be owed. */
static const struct fsp_duty *
owed(const struct fsp_ledger *ledger, enum fsp_duty_kind kind)
{
    const struct fsp_duty *duty = find(ledger, kind);

    if (duty == NULL) {
        fail_msg("duty %d is not owed", (int)kind);
        abort();
    }
    return duty;
}

static int64_t
seconds(const char *text)
{
    struct fsp_err err = {0};
    int64_t at_s = 0;

    assert_ok(fsp_time_parse(text, NULL, &at_s, &err), &err);
    return at_s;
}

/* Fold, as of a time. */
static const struct fsp_ledger *
as_of(struct book *book, const char *at)
{
    struct fsp_err err = {0};

    (void)book_fold(book);
    assert_ok(fsp_ledger_fold(book->ledger, seconds(at), &err), &err);
    return book->ledger;
}

static void
inspect(struct book *book, const char *at, const char *more)
{
    char members[400];

    (void)snprintf(members, sizeof(members),
            "fleet=lantern-basin|rig=heron|reel=R-1|inspector=An Inspector|decision=run%s",
            more);
    book_put(book, "inspection", at, members);
}

static void
a_new_line_owes_a_monthly_inspection_and_a_weekly_test_from_when_it_was_hung(void **state)
{
    struct book *book = book_new();
    const struct fsp_duty *duty;

    (void)state;
    book_open(book);
    duty = owed(as_of(book, "2026-03-31T00:00:59Z"), FSP_DUTY_MONTHLY);
    assert_non_null(duty);
    assert_false(duty->overdue);
    assert_int_equal(duty->due_s, seconds("2026-03-31T00:01:00Z"));
    assert_true(owed(as_of(book, "2026-03-31T00:01:01Z"), FSP_DUTY_MONTHLY)->overdue);
    assert_true(owed(book->ledger, FSP_DUTY_CROWN_SAVER)->overdue);
    assert_int_equal(
            owed(book->ledger, FSP_DUTY_CROWN_SAVER)->due_s, seconds("2026-03-08T00:01:00Z"));
    inspect(book, "2026-03-20T00:00:00Z", "|scope=monthly");
    duty = owed(as_of(book, "2026-03-31T00:01:01Z"), FSP_DUTY_MONTHLY);
    assert_false(duty->overdue);
    assert_int_equal(duty->due_s, seconds("2026-04-19T00:00:00Z"));
    book_free(book);
}

static void
a_look_by_eye_at_the_tour_is_no_thorough_inspection(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    inspect(book, "2026-03-20T00:00:00Z", "|scope=tour");
    assert_true(owed(as_of(book, "2026-04-02T00:00:00Z"), FSP_DUTY_MONTHLY)->overdue);
    book_free(book);
}

static void
each_event_calls_for_an_inspection_and_one_closes_them_all(void **state)
{
    static const struct {
        const char *kind, *members;
        enum fsp_duty_kind duty;
    } events[] = {
            {"adverse", "what=jarring|state=begins", FSP_DUTY_JARRING},
            {"work", "op=moves|count=10|stroke=10ft|up=200klb|down=150klb", FSP_DUTY_JARRING},
            {"work", "op=stated|ton-miles=5ton-miles|basis=note|hookload=400klb|pull=720klb",
                    FSP_DUTY_LOW_FACTOR},
            {"adverse", "what=other|state=begins|note=block strike", FSP_DUTY_SHOCK},
            {"state", "state=mast-raising", FSP_DUTY_MAST_RAISING},
            {"turn", "reel=R-1", FSP_DUTY_TURN},
    };
    const struct fsp_duty *duty;
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(events) / sizeof(events[0]); i++) {
        struct book *book = book_new();

        book_open(book);
        assert_null(find(as_of(book, "2026-03-02T06:00:00Z"), events[i].duty));
        book_put(book, events[i].kind, "2026-03-02T00:00:00Z", events[i].members);
        duty = owed(as_of(book, "2026-03-02T06:00:00Z"), events[i].duty);
        assert_non_null(duty);
        assert_string_equal(duty->name, "thorough inspection");
        assert_non_null(strstr(duty->why, "(entry 4)"));
        assert_false(duty->overdue);
        assert_true(owed(as_of(book, "2026-03-02T12:00:01Z"), events[i].duty)->overdue);
        inspect(book, "2026-03-02T13:00:00Z", "|scope=after-event|event=as noted");
        assert_null(find(as_of(book, "2026-03-02T14:00:00Z"), events[i].duty));
        book_free(book);
    }
}

static void
a_pull_is_near_factor_2_within_a_tenth_and_not_above(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    /* 1-3/8 EIPS on 10 lines: 778,600 lb leaves factor 2; 2.2 is at about 707,800 lb. */
    book_put(book, "work", "2026-03-02T00:00:00Z",
            "op=stated|ton-miles=5ton-miles|basis=note|hookload=400klb|pull=700klb");
    assert_null(find(book_fold(book), FSP_DUTY_LOW_FACTOR));
    book_put(book, "work", "2026-03-03T00:00:00Z",
            "op=stated|ton-miles=5ton-miles|basis=note|hookload=400klb|pull=710klb");
    assert_non_null(find(book_fold(book), FSP_DUTY_LOW_FACTOR));
    book_free(book);
}

static void
work_after_a_month_of_nothing_calls_for_an_inspection(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=9000ft");
    book_put(book, "work", "2026-03-31T00:00:00Z", "op=round-trip|depth=9000ft");
    assert_null(find(as_of(book, "2026-03-31T01:00:00Z"), FSP_DUTY_IDLE));
    book_put(book, "work", "2026-04-30T00:00:00Z", "op=round-trip|depth=9000ft");
    assert_non_null(find(as_of(book, "2026-04-30T01:00:00Z"), FSP_DUTY_IDLE));
    inspect(book, "2026-04-30T02:00:00Z", "|scope=before-use");
    assert_null(find(as_of(book, "2026-04-30T03:00:00Z"), FSP_DUTY_IDLE));
    /* Idle now: named, but not overdue. */
    assert_non_null(find(as_of(book, "2026-06-01T00:00:00Z"), FSP_DUTY_IDLE));
    assert_false(owed(book->ledger, FSP_DUTY_IDLE)->overdue);
    book_free(book);
}

static void
a_slip_owes_a_crown_saver_test_and_an_anchor_check(void **state)
{
    struct book *book = book_new();
    const struct fsp_duty *duty;

    (void)state;
    book_open(book);
    book_put(book, "slip", "2026-03-02T00:00:00Z", "length=30ft");
    duty = owed(as_of(book, "2026-03-02T01:00:00Z"), FSP_DUTY_ANCHOR);
    assert_non_null(duty);
    assert_int_equal(duty->due_s, 0);
    assert_true(owed(book->ledger, FSP_DUTY_CROWN_SAVER)->overdue);
    book_put(book, "check", "2026-03-02T02:00:00Z", "item=crown-saver|result=failed");
    assert_true(owed(as_of(book, "2026-03-02T03:00:00Z"), FSP_DUTY_CROWN_SAVER)->overdue);
    book_put(book, "check", "2026-03-02T03:00:00Z", "item=crown-saver|result=good");
    assert_false(owed(as_of(book, "2026-03-02T04:00:00Z"), FSP_DUTY_CROWN_SAVER)->overdue);
    book_put(book, "work", "2026-03-02T05:00:00Z", "op=round-trip|depth=9000ft");
    duty = owed(as_of(book, "2026-03-02T07:00:01Z"), FSP_DUTY_ANCHOR);
    assert_int_equal(duty->due_s, seconds("2026-03-02T07:00:00Z"));
    assert_true(duty->overdue);
    book_put(book, "check", "2026-03-02T08:00:00Z", "item=anchor|result=torque right");
    assert_null(find(as_of(book, "2026-03-02T09:00:00Z"), FSP_DUTY_ANCHOR));
    book_put(book, "cut", "2026-03-03T00:00:00Z",
            "length=30ft|reason=goal|checks=[{\"item\":\"crown-saver\",\"result\":\"good\"}]");
    assert_false(owed(as_of(book, "2026-03-03T01:00:00Z"), FSP_DUTY_CROWN_SAVER)->overdue);
    assert_non_null(find(book->ledger, FSP_DUTY_ANCHOR));
    book_free(book);
}

static void
a_stacked_rig_rests_its_weekly_and_monthly_duties(void **state)
{
    struct book *book = book_new();
    const struct fsp_duty *duty;

    (void)state;
    book_open(book);
    book_put(book, "state", "2026-03-02T00:00:00Z", "state=stacked");
    duty = owed(as_of(book, "2026-06-01T00:00:00Z"), FSP_DUTY_MONTHLY);
    assert_true(duty->suspended);
    assert_false(duty->overdue);
    assert_true(owed(book->ledger, FSP_DUTY_CROWN_SAVER)->suspended);
    assert_int_equal(fsp_ledger_peek(book->ledger)->duties_overdue, 0);
    book_put(book, "state", "2026-06-02T00:00:00Z", "state=working");
    assert_true(owed(as_of(book, "2026-06-03T00:00:00Z"), FSP_DUTY_MONTHLY)->overdue);
    assert_non_null(find(book->ledger, FSP_DUTY_IDLE));
    book_free(book);
}

static void
a_new_line_owes_a_baseline_after_its_first_work(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    assert_null(find(book_fold(book), FSP_DUTY_BASELINE));
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=9000ft");
    assert_false(owed(as_of(book, "2026-03-08T00:00:00Z"), FSP_DUTY_BASELINE)->overdue);
    assert_true(owed(as_of(book, "2026-03-10T00:00:00Z"), FSP_DUTY_BASELINE)->overdue);
    inspect(book, "2026-03-11T00:00:00Z",
            "|scope=tour|places=[{\"place\":\"fast-line sheave\",\"baseline\":\"1.41in\"}]");
    assert_null(find(book_fold(book), FSP_DUTY_BASELINE));
    book_free(book);
}

static void
no_line_no_duties_and_another_reels_inspection_closes_nothing(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_put(book, "rig", "2026-03-01T00:00:00Z", "mast=142ft|drum=30in|block=47000lb");
    assert_null(fsp_ledger_duty(book_fold(book), 0));
    book_free(book);
    book = book_new();
    book_open(book);
    book_put(book, "adverse", "2026-03-02T00:00:00Z", "what=jarring|state=begins");
    book_put(book, "inspection", "2026-03-03T00:00:00Z",
            "fleet=lantern-basin|rig=heron|reel=R-2|inspector=An Inspector|decision=run|"
            "scope=after-event");
    assert_non_null(find(book_fold(book), FSP_DUTY_JARRING));
    book_free(book);
}

static void
what_is_overdue_comes_first_and_the_json_lists_every_duty(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger *ledger;
    struct fsp_buf buf;

    (void)state;
    book_open(book);
    book_put(book, "adverse", "2026-03-04T00:00:00Z", "what=jarring|state=begins");
    ledger = as_of(book, "2026-03-05T00:00:00Z");
    assert_int_equal(fsp_ledger_duty(ledger, 0)->kind, FSP_DUTY_JARRING);
    assert_int_equal(fsp_ledger_duty(ledger, 1)->kind, FSP_DUTY_CROWN_SAVER);
    assert_int_equal(fsp_ledger_duty(ledger, 2)->kind, FSP_DUTY_MONTHLY);
    assert_null(fsp_ledger_duty(ledger, 3));
    fsp_buf_init(&buf, (size_t)1 << 20);
    fsp_ledger_json(ledger, &buf);
    assert_non_null(strstr(fsp_buf_peek(&buf), "\"kind\":\"after-jarring\""));
    assert_non_null(strstr(fsp_buf_peek(&buf), "\"duties_overdue\":1"));
    fsp_buf_fini(&buf);
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(
                    a_new_line_owes_a_monthly_inspection_and_a_weekly_test_from_when_it_was_hung),
            cmocka_unit_test(a_look_by_eye_at_the_tour_is_no_thorough_inspection),
            cmocka_unit_test(each_event_calls_for_an_inspection_and_one_closes_them_all),
            cmocka_unit_test(a_pull_is_near_factor_2_within_a_tenth_and_not_above),
            cmocka_unit_test(work_after_a_month_of_nothing_calls_for_an_inspection),
            cmocka_unit_test(a_slip_owes_a_crown_saver_test_and_an_anchor_check),
            cmocka_unit_test(a_stacked_rig_rests_its_weekly_and_monthly_duties),
            cmocka_unit_test(a_new_line_owes_a_baseline_after_its_first_work),
            cmocka_unit_test(no_line_no_duties_and_another_reels_inspection_closes_nothing),
            cmocka_unit_test(what_is_overdue_comes_first_and_the_json_lists_every_duty),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
