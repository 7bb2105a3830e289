#include "support/test.h"
#include "unit/line/near.h"

#include <math.h>
#include <string.h>

#include "line/review.h"
#include "line/say.h"

#define MOST 12

/* E early for wear, g good, . not eligible, l wear left (eligible, good), p planned, w planned with
 * worn-out line, i wear left but incomplete; oldest first. */
static struct fsp_review
reviewed(const char *cuts, double rate)
{
    static struct fsp_cut_row rows[MOST];
    const struct fsp_cut_row *list[MOST];
    struct fsp_review review;
    size_t n = strlen(cuts), i;

    assert_true(n <= MOST);
    memset(rows, 0, sizeof(rows));
    for (i = 0; i < n; i++) {
        struct fsp_cut_row *row = &rows[i];

        list[i] = row;
        row->at_s = (int64_t)i;
        row->planned = cuts[i] == 'p' || cuts[i] == 'w';
        row->incomplete = cuts[i] == 'i';
        row->eligible = strchr("Egl", cuts[i]) != NULL;
        row->early = cuts[i] == 'E';
        row->place = row->early ? "fast-line sheave" : NULL;
        if (cuts[i] == 'l' || cuts[i] == 'i')
            row->condition = "wear-left";
        else if (cuts[i] == 'w')
            row->condition = "worn-out";
    }
    fsp_review_cuts(list, n, rate, &review);
    return review;
}

/* By hand, in whole numbers: at p = 3/100, P(X >= 3 of 4) = (4 x 27 x 97 + 81) / 10^8
 * = 10,557 / 10^8; at p = 1/10, P(X >= 4 of 6) = (15 x 81 + 6 x 9 + 1) / 10^6 = 1,270 / 10^6;
 * at p = 1/2, P(X >= 2 of 5) = 26/32; P(X >= 0) = 1. */
static void
the_binomial_tail_equals_exact_rationals(void **state)
{
    (void)state;
    assert_near(fsp_review_tail(4, 3, 0.03), 10557e-8, 1e-18);
    assert_near(fsp_review_tail(6, 4, 0.1), 1270e-6, 1e-17);
    assert_near(fsp_review_tail(5, 2, 0.5), 26.0 / 32, 1e-15);
    assert_near(fsp_review_tail(6, 6, 0.03), 729e-12, 1e-22);
    assert_near(fsp_review_tail(6, 0, 0.3), 1, 1e-12);
    assert_near(fsp_review_tail(4, 5, 0.3), 0, 0);
    assert_near(fsp_review_tail(4, 4, 1.0), 1, 0);
}

static void
three_early_of_the_last_four_are_flagged_in_words(void **state)
{
    struct fsp_review review = reviewed("ggEEgE", 0);

    (void)state;
    assert_int_equal(review.state, FSP_REVIEW_FLAGGED);
    assert_int_equal(review.early, 3);
    assert_int_equal(review.window, 4);
    assert_near(review.rate, 0.03, 0);
    assert_string_equal(review.text,
            "3 of the last 4 eligible cuts below 90 % of goal per foot, for wear, at the "
            "fast-line sheave; chance alone 1 in 9,400");
}

static void
fewer_than_four_eligible_cuts_are_only_watched(void **state)
{
    struct fsp_review review = reviewed("EE.E", 0);

    (void)state;
    assert_int_equal(review.state, FSP_REVIEW_WATCHING);
    assert_string_equal(
            review.text, "watching: 3 eligible cuts so far, 3 early; judged from 4 on");
    assert_int_equal(reviewed("", 0).state, FSP_REVIEW_WATCHING);
}

static void
one_or_two_early_cuts_are_never_flagged(void **state)
{
    static const char *const clear[] = {"gggg", "Eggg", "gggE", "EEgg", "EggE", "gEgEgg",
            "EEgggggg", "EE....gg", "EEEgggggg"};
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(clear) / sizeof(clear[0]); i++)
        assert_int_not_equal(reviewed(clear[i], 0).state, FSP_REVIEW_FLAGGED);
}

/* At 10 % 3 of 4 is 0.0037 and 4 of 6 is 0.00127: no flag; 4 of 4 is 0.0001: flag. */
static void
a_fleet_that_often_cuts_early_raises_the_bar(void **state)
{
    (void)state;
    assert_int_equal(reviewed("EEgE", 0.1).state, FSP_REVIEW_CLEAR);
    assert_int_equal(reviewed("EgEgEE", 0.1).state, FSP_REVIEW_CLEAR);
    assert_int_equal(reviewed("EEEE", 0.1).state, FSP_REVIEW_FLAGGED);
    assert_int_equal(reviewed("EEEE", 5).state, FSP_REVIEW_CLEAR);
    assert_int_equal(reviewed("EEgE", 0.001).state, FSP_REVIEW_FLAGGED);
}

static void
three_good_cuts_close_a_flag(void **state)
{
    (void)state;
    assert_int_equal(reviewed("EEEgg", 0).state, FSP_REVIEW_FLAGGED);
    assert_int_equal(reviewed("EEEggg", 0).state, FSP_REVIEW_CLOSED);
    assert_int_equal(reviewed("EEEgggg", 0).state, FSP_REVIEW_CLEAR);
}

static void
cuts_that_are_not_eligible_are_passed_over(void **state)
{
    struct fsp_review review = reviewed("E.E..gpE", 0);

    (void)state;
    assert_int_equal(review.state, FSP_REVIEW_FLAGGED);
    assert_int_equal(review.eligible, 4);
}

static void
wear_left_three_cuts_in_a_row_is_told(void **state)
{
    (void)state;
    assert_true(reviewed("glll", 0).wear_left);
    assert_true(reviewed("llpl", 0).wear_left);
    assert_int_equal(reviewed("llllp", 0).wear_left_run, 4);
    assert_false(reviewed("llgl", 0).wear_left);
    assert_false(reviewed("lil", 0).wear_left);
    assert_false(reviewed("ll", 0).wear_left);
}

static void
planned_cuts_more_than_twice_running_or_worn_out_are_told(void **state)
{
    (void)state;
    assert_false(reviewed("gpp", 0).planned_repeat);
    assert_true(reviewed("gppp", 0).planned_repeat);
    assert_true(reviewed("gw", 0).planned_repeat);
    assert_false(reviewed("pppg", 0).planned_repeat);
}

static void
the_tally_counts_eligible_and_early_since_a_day(void **state)
{
    struct fsp_cut_row rows[3] = {{.at_s = 1, .eligible = true, .early = true},
            {.at_s = 2, .early = true}, {.at_s = 3, .eligible = true}};
    const struct fsp_cut_row *list[] = {&rows[0], &rows[1], &rows[2]};
    size_t eligible = 0, early = 0;

    (void)state;
    fsp_review_tally(list, 3, 0, &eligible, &early);
    assert_int_equal(eligible, 2);
    assert_int_equal(early, 1);
    fsp_review_tally(list, 3, 2, &eligible, &early);
    assert_int_equal(eligible, 3);
    assert_int_equal(early, 1);
}

static void
numbers_are_said_as_people_and_json_read_them(void **state)
{
    static const struct {
        double value;
        int decimals;
        const char *text;
    } rows[] = {{0, 0, "0"}, {-0.0, 2, "0.00"}, {-0.001, 2, "0.00"}, {999, 0, "999"},
            {1000, 0, "1,000"}, {-1234567.891, 2, "-1,234,567.89"},
            {(double)INFINITY, 0, "unknown"}, {(double)NAN, 0, "unknown"}};
    static const struct {
        double value;
        const char *text;
    } json[] = {{0, "0"}, {-0.0, "0"}, {0.1, "0.1"}, {1.0 / 3, "0.3333333333333333"},
            {5e-324, "4.94065645841247e-324"}, {1e300, "1e+300"}, {(double)NAN, "null"},
            {(double)INFINITY, "null"}};
    struct fsp_buf buf;
    size_t i;

    (void)state;
    fsp_buf_init(&buf, 1000);
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        fsp_buf_reset(&buf);
        fsp_say_number(&buf, rows[i].value, rows[i].decimals);
        assert_string_equal(fsp_buf_peek(&buf), rows[i].text);
    }
    for (i = 0; i < sizeof(json) / sizeof(json[0]); i++) {
        fsp_buf_reset(&buf);
        fsp_say_json_number(&buf, json[i].value);
        assert_string_equal(fsp_buf_peek(&buf), json[i].text);
    }
    fsp_buf_reset(&buf);
    fsp_say_json_text(&buf, "a\"b\\c\n\x01<\xc3\xa9");
    assert_string_equal(fsp_buf_peek(&buf), "\"a\\\"b\\\\c\\u000a\\u0001<\xc3\xa9\"");
    fsp_buf_fini(&buf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_binomial_tail_equals_exact_rationals),
            cmocka_unit_test(three_early_of_the_last_four_are_flagged_in_words),
            cmocka_unit_test(fewer_than_four_eligible_cuts_are_only_watched),
            cmocka_unit_test(one_or_two_early_cuts_are_never_flagged),
            cmocka_unit_test(a_fleet_that_often_cuts_early_raises_the_bar),
            cmocka_unit_test(three_good_cuts_close_a_flag),
            cmocka_unit_test(cuts_that_are_not_eligible_are_passed_over),
            cmocka_unit_test(wear_left_three_cuts_in_a_row_is_told),
            cmocka_unit_test(planned_cuts_more_than_twice_running_or_worn_out_are_told),
            cmocka_unit_test(the_tally_counts_eligible_and_early_since_a_day),
            cmocka_unit_test(numbers_are_said_as_people_and_json_read_them),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
