#include "support/test.h"
#include "unit/line/near.h"

#include <string.h>

#include "line/review.h"
#include "line/say.h"
#include "record/quantity.h"

#define MOST 12

static struct fsp_advice advice[FSP_ADVICE_MAX];
static struct fsp_cut_row rows[MOST];

/* One cut a letter, oldest first: E early for wear, L long for wear, g good, l wear left, s wear
 * left with the goal not served, i wear left and incomplete, p planned, d wear left under a derate,
 * w worn out. */
static size_t
set(const char *cuts)
{
    size_t n = strlen(cuts), i;

    assert_true(n <= MOST);
    memset(rows, 0, sizeof(rows));
    for (i = 0; i < n; i++) {
        struct fsp_cut_row *row = &rows[i];
        char c = cuts[i];

        row->at_s = (int64_t)i;
        row->reel = "R-1";
        row->length_m = 90 * FSP_FT_M;
        row->goal_j = 1300 * FSP_TON_MILE_J;
        row->served_j = (c == 'E' || c == 's' ? 0.7 : 1.0) * row->goal_j;
        row->planned = c == 'p';
        row->incomplete = c == 'i';
        row->under_derate = c == 'd';
        row->eligible = strchr("EgLlsw", c) != NULL;
        row->early = c == 'E';
        row->long_cut = c == 'L';
        row->place = row->early ? "fast-line sheave" : NULL;
        row->condition = strchr("lsid", c) != NULL ? "wear-left" : c == 'w' ? "worn-out" : NULL;
    }
    return n;
}

static size_t
advise(size_t n)
{
    const struct fsp_cut_row *list[MOST];
    struct fsp_review review;
    size_t i;

    for (i = 0; i < n; i++)
        list[i] = &rows[i];
    fsp_review_cuts(list, n, 0, &review);
    return fsp_review_advise(list, n, &review, advice);
}

static void
one_or_two_observations_teach_nothing(void **state)
{
    static const char *const quiet[] = {
            "", "l", "ll", "E", "EE", "gggg", "lgl", "lplg", "EgEg", "LgL", "ggE", "lld"};
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(quiet) / sizeof(quiet[0]); i++) {
        if (advise(set(quiet[i])) != 0)
            fail_msg("%s: %s", quiet[i], advice[0].text);
    }
}

static void
wear_left_three_times_in_a_row_advises_one_tenth_more(void **state)
{
    (void)state;
    assert_int_equal(advise(set("gllpl")), 1);
    assert_int_equal(advice[0].kind, FSP_ADVICE_RAISE);
    assert_int_equal(advice[0].cuts, 3);
    assert_near(advice[0].step_j / FSP_TON_MILE_J, 1430, 1e-6);
    assert_string_equal(advice[0].text,
            "wear left at the last 3 cuts in a row: raise the goal by one tenth, from 1,300 "
            "ton-miles to 1,430 ton-miles, and look at the next 3 cuts; first check the "
            "counting "
            "and the line cut off, at its crossovers and sheave points");
}

static void
a_goal_is_never_raised_on_gaps_or_before_it_was_served(void **state)
{
    (void)state;
    assert_int_equal(advise(set("lil")), 1);
    assert_int_equal(advice[0].kind, FSP_ADVICE_COUNT);
    assert_near(advice[0].step_j, 0, 0);
    assert_int_equal(advise(set("lsl")), 1);
    assert_int_equal(advice[0].kind, FSP_ADVICE_SERVE);
    assert_near(advice[0].step_j, 0, 0);
    assert_non_null(strstr(advice[0].text, "1 of them were cut before 90 %"));
}

static void
the_run_starts_again_where_the_goal_changed(void **state)
{
    size_t n = set("llll");

    (void)state;
    rows[2].first_after_goal_change = true;
    assert_int_equal(advise(n), 0);
    n = set("lllll");
    rows[2].first_after_goal_change = true;
    assert_int_equal(advise(n), 1);
    assert_int_equal(advice[0].cuts, 3);
}

static void
repeated_early_or_long_cuts_advise_inspection_first(void **state)
{
    (void)state;
    assert_int_equal(advise(set("gEEE")), 1);
    assert_int_equal(advice[0].kind, FSP_ADVICE_INSPECT);
    assert_int_equal(advice[0].followed, FSP_FOLLOWED_UNKNOWN);
    assert_near(advice[0].step_j / FSP_TON_MILE_J, 1170, 1e-6);
    assert_non_null(strstr(advice[0].text, "mostly at the fast-line sheave"));
    assert_non_null(strstr(advice[0].text, "inspect sheaves, drum, then the counting first"));
    assert_int_equal(advise(set("LpLL")), 1);
    assert_int_equal(advice[0].cuts, 3);
}

static void
trouble_on_two_reels_followed_the_rig_on_one_the_reel(void **state)
{
    size_t n = set("EEEE");

    (void)state;
    rows[2].reel = rows[3].reel = "R-2";
    assert_int_equal(advise(n), 1);
    assert_int_equal(advice[0].followed, FSP_FOLLOWED_RIG);
    assert_non_null(strstr(advice[0].text, "it followed the rig"));
    n = set("ggEEEE");
    rows[0].reel = rows[1].reel = "R-0";
    assert_int_equal(advise(n), 1);
    assert_int_equal(advice[0].followed, FSP_FOLLOWED_REEL);
    assert_non_null(strstr(advice[0].text, "it followed the reel"));
}

static void
cuts_that_scatter_are_called_erratic_and_no_step_is_advised(void **state)
{
    size_t n;

    (void)state;
    assert_int_equal(advise(set("ElElE")), 1);
    assert_int_equal(advice[0].kind, FSP_ADVICE_ERRATIC);
    assert_near(advice[0].step_j, 0, 0);
    assert_non_null(strstr(advice[0].text, "erratic"));
    n = set("EgEl");
    rows[0].served_j *= 0.4;
    rows[3].served_j *= 1.3;
    assert_int_equal(advise(n), 1);
    assert_int_equal(advice[0].kind, FSP_ADVICE_ERRATIC);
}

static void
a_changed_basis_asks_for_re_basing_and_nothing_else(void **state)
{
    size_t n = set("llll");

    (void)state;
    rows[0].basis = rows[1].basis = "hand";
    rows[2].basis = rows[3].basis = "counted";
    assert_int_equal(advise(n), 1);
    assert_int_equal(advice[0].kind, FSP_ADVICE_REBASE);
    assert_non_null(strstr(advice[0].text, "changed to counted 2 cuts ago"));
    n = set("lllll");
    rows[0].basis = "hand";
    rows[2].basis = rows[3].basis = rows[4].basis = "counted";
    rows[1].basis = "hand";
    assert_int_equal(advise(n), 1);
    assert_int_equal(advice[0].kind, FSP_ADVICE_RAISE);
    assert_int_equal(advice[0].cuts, 3);
}

static void
advice_is_json_too(void **state)
{
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, 10000);
    fsp_review_advice_json(advice, advise(set("lll")), &buf);
    assert_non_null(strstr(fsp_buf_peek(&buf), "[{\"cuts\":3,\"followed\":\"unknown\","));
    assert_non_null(strstr(fsp_buf_peek(&buf), "\"kind\":\"raise\""));
    fsp_buf_fini(&buf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(one_or_two_observations_teach_nothing),
            cmocka_unit_test(wear_left_three_times_in_a_row_advises_one_tenth_more),
            cmocka_unit_test(a_goal_is_never_raised_on_gaps_or_before_it_was_served),
            cmocka_unit_test(the_run_starts_again_where_the_goal_changed),
            cmocka_unit_test(repeated_early_or_long_cuts_advise_inspection_first),
            cmocka_unit_test(trouble_on_two_reels_followed_the_rig_on_one_the_reel),
            cmocka_unit_test(cuts_that_scatter_are_called_erratic_and_no_step_is_advised),
            cmocka_unit_test(a_changed_basis_asks_for_re_basing_and_nothing_else),
            cmocka_unit_test(advice_is_json_too),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
