#include "unit/line/book.h"

#include "support/test.h"
#include "unit/line/near.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "line/forecast.h"
#include "record/check.h"

#define DAY_S INT64_C(86400)

static int64_t
seconds(const char *text)
{
    struct fsp_err err = {0};
    int64_t at_s = 0;

    assert_ok(fsp_time_parse(text, NULL, &at_s, &err), &err);
    return at_s;
}

/* Stated ton-miles at noon of March's day; at factor 5 they count as they are. */
static void
day(struct book *book, int march, int ton_miles_done)
{
    char at[32], members[120];

    (void)snprintf(at, sizeof(at), "2026-03-%02dT12:00:00Z", march);
    (void)snprintf(members, sizeof(members), "op=stated|ton-miles=%dton-miles|basis=day sheet",
            ton_miles_done);
    book_put(book, "work", at, members);
}

static const struct fsp_forecast *
forecast(struct book *book)
{
    return fsp_ledger_forecast(book_fold(book));
}

static void
fewer_than_five_whole_days_give_no_forecast(void **state)
{
    struct book *book = book_new();
    int i;

    (void)state;
    book_open(book);
    assert_false(forecast(book)->known);
    for (i = 2; i <= 6; i++)
        day(book, i, 40);
    assert_false(forecast(book)->known); /* the fifth still runs */
    assert_string_equal(forecast(book)->why, "fewer than 5 whole days on record");
    day(book, 7, 40);
    assert_true(forecast(book)->known);
    book_free(book);
}

static void
the_day_of_the_next_cut_follows_from_the_pace(void **state)
{
    struct book *book = book_new();
    const struct fsp_forecast *f;
    int i;

    (void)state;
    book_open(book);
    for (i = 2; i <= 12; i++)
        day(book, i, 50);
    f = forecast(book);
    assert_near(ton_miles(f->pace_j), 50, 1e-9);
    assert_near(ton_miles(f->slow_j), 50, 1e-9);
    /* 11 days x 50 = 550 of 1,500: 950 left, 19 days; the slip at 500 is past. */
    assert_int_equal(f->cut.likely_s, seconds("2026-03-12T12:00:00Z") + 19 * DAY_S);
    assert_int_equal(f->cut.earliest_s, f->cut.likely_s);
    assert_int_equal(f->cut.latest_s, f->cut.likely_s);
    assert_int_equal(f->slip.likely_s, seconds("2026-03-12T12:00:00Z"));
    /* 3,600 ft on the reel: 40 cuts of 90 ft; the 41st falls 40 x 1,300 after the next. */
    assert_int_equal(f->cuts_left, 40);
    assert_int_equal(f->reel.likely_s, f->cut.likely_s + DAY_S * 26 * 40);
    book_free(book);
}

static void
the_range_is_that_of_the_slowest_and_the_fastest_week(void **state)
{
    struct book *book = book_new();
    const struct fsp_forecast *f;
    int i;

    (void)state;
    book_open(book);
    for (i = 2; i <= 16; i++)
        day(book, i, i <= 8 ? 20 : 60);
    f = forecast(book); /* days 2 to 15 are whole: 7 at 20, 7 at 60 */
    assert_int_equal(f->days, 14);
    assert_near(ton_miles(f->pace_j), 40, 1e-9);
    assert_near(ton_miles(f->slow_j), 20, 1e-9);
    assert_near(ton_miles(f->fast_j), 60, 1e-9);
    assert_true(f->cut.earliest_s < f->cut.likely_s);
    assert_true(f->cut.likely_s < f->cut.latest_s);
    book_free(book);
}

static void
stacked_days_do_not_count_and_idle_ones_do(void **state)
{
    struct book *book = book_new();
    const struct fsp_forecast *f;
    int i;

    (void)state;
    book_open(book);
    for (i = 2; i <= 6; i++)
        day(book, i, 50);
    book_put(book, "state", "2026-03-06T18:00:00Z", "state=stacked");
    book_put(book, "state", "2026-03-20T06:00:00Z", "state=working");
    day(book, 20, 50);
    day(book, 23, 50); /* 21 and 22: working, nothing done */
    f = forecast(book);
    assert_int_equal(f->days, 8);
    assert_near(ton_miles(f->pace_j), 300.0 / 8, 1e-9);
    book_put(book, "state", "2026-03-24T00:00:00Z", "state=stacked");
    f = forecast(book);
    assert_false(f->known);
    assert_string_equal(f->why, "the rig is stacked");
    assert_near(ton_miles(f->pace_j), 350.0 / 9, 1e-9);
    book_free(book);
}

static void
a_week_without_work_has_no_latest_day(void **state)
{
    struct book *book = book_new();
    const struct fsp_forecast *f;

    (void)state;
    book_open(book);
    day(book, 2, 50);
    day(book, 15, 50);
    day(book, 16, 50);
    f = forecast(book);
    assert_true(f->known);
    assert_int_equal(f->cut.latest_s, FSP_FORECAST_NONE);
    assert_true(f->cut.likely_s > 0);
    book_free(book);
}

/* ---- will it make it? ---- */

struct jobs {
    struct fsp_record *records[4];
    size_t n;
};

static void
add_job(struct jobs *jobs, const char *name, const char *value, const char *op)
{
    const struct fsp_typed typed[] = {{"at", "2026-04-01T00:00:00Z"}, {"by", "plan"},
            {"op", op}, {name, value}, {"basis", "plan"}};
    static const int zone = 0;
    const struct fsp_check_context context = {&zone, INT64_C(4000000000), NULL, NULL};
    struct fsp_err err = {0};

    assert_ok(fsp_check_typed("work", typed, strcmp(op, "stated") == 0 ? 5 : 4, &context,
                      &jobs->records[jobs->n++], &err),
            &err);
}

static enum fsp_rc
plan_of(struct book *book, const struct jobs *jobs, struct fsp_job_row *rows,
        struct fsp_plan *plan, struct fsp_err *err)
{
    const struct fsp_record *list[4];
    size_t i;

    for (i = 0; i < jobs->n; i++)
        list[i] = jobs->records[i];
    return fsp_forecast_jobs(book_fold(book), list, jobs->n, rows, plan, err);
}

static void
free_jobs(struct jobs *jobs)
{
    while (jobs->n > 0)
        fsp_record_free(jobs->records[--jobs->n]);
}

static void
jobs_that_fit_need_no_cut_and_the_ledger_is_left_alone(void **state)
{
    struct book *book = book_new();
    struct jobs jobs = {.n = 0};
    struct fsp_job_row rows[4];
    struct fsp_plan plan;
    struct fsp_err err = {0};
    double before;

    (void)state;
    book_open(book);
    day(book, 2, 1000);
    before = book_view(book)->served_j;
    add_job(&jobs, "ton-miles", "200", "stated");
    add_job(&jobs, "ton-miles", "300", "stated");
    assert_ok(plan_of(book, &jobs, rows, &plan, &err), &err);
    assert_true(plan.will_make_it);
    assert_int_equal(plan.covered, 2);
    assert_int_equal(plan.cuts, 0);
    assert_near(ton_miles(plan.left_j), 500, 1e-6);
    assert_near(ton_miles(rows[1].after_j), 1500, 1e-6);
    assert_near(fsp_ledger_peek(book->ledger)->served_j, before, 0);
    assert_non_null(strstr(plan.text, "yes: 2 jobs fit into the 500"));
    free_jobs(&jobs);
    book_free(book);
}

static void
the_best_cut_is_before_the_first_job_that_does_not_fit(void **state)
{
    struct book *book = book_new();
    struct jobs jobs = {.n = 0};
    struct fsp_job_row rows[4];
    struct fsp_plan plan;
    struct fsp_err err = {0};
    struct fsp_buf buf;

    (void)state;
    book_open(book);
    day(book, 2, 800);
    add_job(&jobs, "ton-miles", "150", "stated");
    add_job(&jobs, "depth", "12000ft", "round-trip");
    add_job(&jobs, "ton-miles", "400", "stated");
    add_job(&jobs, "ton-miles", "1350", "stated");
    assert_ok(plan_of(book, &jobs, rows, &plan, &err), &err);
    assert_false(plan.will_make_it);
    assert_true(ton_miles(rows[1].work_j) > 300 && ton_miles(rows[1].work_j) < 550);
    assert_true(rows[1].served_j >= rows[1].work_j); /* below factor 5 counts for more */
    assert_int_equal(plan.first_cut, plan.covered);
    assert_true(rows[plan.first_cut].cut_before);
    assert_true(plan.first_slip >= 2 && plan.first_slip <= 3);
    assert_true(rows[3].more_than_a_goal);
    assert_true(rows[3].cut_before);
    assert_int_equal(plan.cuts, 2);
    fsp_buf_init(&buf, (size_t)1 << 16);
    fsp_forecast_jobs_json(&plan, rows, jobs.n, &buf);
    assert_non_null(strstr(fsp_buf_peek(&buf), "\"will_make_it\":false"));
    fsp_forecast_jobs_text(&plan, rows, jobs.n, &buf);
    assert_non_null(strstr(fsp_buf_peek(&buf), "-- cut here --"));
    fsp_buf_fini(&buf);
    free_jobs(&jobs);
    book_free(book);
}

static void
without_a_goal_a_line_or_a_sound_line_nothing_is_promised(void **state)
{
    struct book *book = book_new();
    struct jobs jobs = {.n = 0};
    struct fsp_job_row rows[4];
    struct fsp_plan plan;
    struct fsp_err err = {0};

    (void)state;
    add_job(&jobs, "ton-miles", "150", "stated");
    book_put(book, "rig", "2026-03-01T00:00:00Z", "mast=142ft|drum=30in|block=47000lb");
    assert_int_equal(plan_of(book, &jobs, rows, &plan, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "no line is hung"));
    book_put(book, "reel", "2026-03-01T00:01:00Z",
            "reel=R-1|rope=1-3/8in|grade=EIPS|received=5000ft|strung=1400ft|lines=10");
    assert_int_equal(plan_of(book, &jobs, rows, &plan, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "no approved goal"));
    book_put(book, "program", "2026-03-01T00:03:00Z",
            "cut=90ft|first-goal=1500ton-miles|later-goal=1300ton-miles");
    book_put(book, "inspection", "2026-03-02T00:00:00Z",
            "fleet=lantern-basin|rig=heron|reel=R-1|inspector=An "
            "Inspector|scope=monthly|decision=cut");
    assert_int_equal(plan_of(book, &jobs, rows, &plan, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "out of service"));
    free_jobs(&jobs);
    book_free(book);
}

static void
a_job_that_cannot_be_reckoned_is_named(void **state)
{
    struct book *book = book_new();
    struct jobs jobs = {.n = 0};
    struct fsp_job_row rows[4];
    struct fsp_plan plan;
    struct fsp_err err = {0};

    (void)state;
    book_open(book);
    add_job(&jobs, "ton-miles", "150", "stated");
    add_job(&jobs, "depth", "500ft", "round-trip"); /* less than the assembly */
    assert_int_equal(plan_of(book, &jobs, rows, &plan, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "job 2: "));
    free_jobs(&jobs);
    assert_int_equal(plan_of(book, &jobs, rows, &plan, &err), FSP_EINVAL);
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(fewer_than_five_whole_days_give_no_forecast),
            cmocka_unit_test(the_day_of_the_next_cut_follows_from_the_pace),
            cmocka_unit_test(the_range_is_that_of_the_slowest_and_the_fastest_week),
            cmocka_unit_test(stacked_days_do_not_count_and_idle_ones_do),
            cmocka_unit_test(a_week_without_work_has_no_latest_day),
            cmocka_unit_test(jobs_that_fit_need_no_cut_and_the_ledger_is_left_alone),
            cmocka_unit_test(the_best_cut_is_before_the_first_job_that_does_not_fit),
            cmocka_unit_test(without_a_goal_a_line_or_a_sound_line_nothing_is_promised),
            cmocka_unit_test(a_job_that_cannot_be_reckoned_is_named),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
