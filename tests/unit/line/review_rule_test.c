/* When repeated early cuts are flagged, by which rate, and what closes the flag. */
#include "support/test.h"
#include "unit/line/near.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "line/review.h"

#define MOST      200
#define INCH_M    0.0254
#define ROPE_M    (1.375 * INCH_M)
#define EPOCH_DAY 19000

/* A rig's cuts: E early for wear, g good, d low for another reason, c the next cut comes after a sheave
 * or drum change, . not eligible. */
struct rig {
    struct fsp_cut_row rows[MOST];
    const struct fsp_cut_row *list[MOST];
    size_t n;
};

static struct rig *
cut_every(const char *cuts, int first_day, int days, double rope_m)
{
    struct rig *rig = calloc(1, sizeof(*rig));
    bool changed = false;

    assert_non_null(rig);
    for (; *cuts != 0; cuts++) {
        struct fsp_cut_row *row = &rig->rows[rig->n];

        if (*cuts == 'c') {
            changed = true;
            continue;
        }
        assert_true(rig->n < MOST);
        row->at_s = (EPOCH_DAY + first_day + days * (int64_t)rig->n) * FSP_S_PER_DAY;
        row->rope_m = rope_m;
        row->eligible = *cuts != '.';
        row->early = *cuts == 'E';
        row->low = *cuts == 'E' || *cuts == 'd';
        row->changed = changed;
        changed = false;
        rig->list[rig->n++] = row;
    }
    return rig;
}

static struct fsp_review
judged(const char *cuts, const struct fsp_review_about *about)
{
    struct rig *rig = cut_every(cuts, 0, 20, ROPE_M);
    struct fsp_review review;

    fsp_review_judge(rig->list, rig->n, about, &review);
    review.last = NULL; /* not valid any longer */
    review.place = NULL;
    free(rig);
    return review;
}

static enum fsp_review_state
state_of(const char *cuts)
{
    return judged(cuts, &(struct fsp_review_about){.changed = false}).state;
}

static struct fsp_review_rates *
fleet_of(struct rig **rigs, size_t n)
{
    struct fsp_review_rates *rates = NULL;
    struct fsp_err err = {0};
    size_t i;

    assert_ok(fsp_review_rates_new(&rates, &err), &err);
    for (i = 0; i < n; i++)
        assert_ok(fsp_review_rates_add(rates, rigs[i]->list, rigs[i]->n, &err), &err);
    fsp_review_rates_close(rates);
    return rates;
}

static void
three_of_four_at_one_in_twenty_is_one_in_two_thousand(void **state)
{
    struct fsp_review review = judged("EgEE", &(struct fsp_review_about){.rate = 0.05});

    (void)state;
    assert_int_equal(review.state, FSP_REVIEW_FLAGGED);
    assert_string_equal(review.text, "3 of the last 4 eligible cuts below 90 % of goal per "
                                     "foot, for wear; chance alone 1 in "
                                     "2,000");
}

static void
the_tail_may_be_one_in_a_thousand_and_no_more(void **state)
{
    /* 4 p^3 (1 - p) + p^4 is 0.00099825 at p = 0.064 and 0.00100291 at 0.0641. */
    (void)state;
    assert_int_equal(judged("EgEE", &(struct fsp_review_about){.rate = 0.064}).state,
            FSP_REVIEW_FLAGGED);
    assert_int_equal(
            judged("EgEE", &(struct fsp_review_about){.rate = 0.0641}).state, FSP_REVIEW_CLEAR);
}

/* At 3 % 3 of 6 is 1 in 1,980, so up to 19 cuts a year; 3 of 5 is 1 in 3,872, up to 38. */
static void
a_rig_that_cuts_often_needs_more_to_be_flagged(void **state)
{
    struct fsp_review_about plain = {.plain = true}, whole = {.plain = false};
    struct rig *rig = cut_every("ggggggggggggggEggEgE", 0, 18, ROPE_M);
    struct fsp_review review;

    (void)state;
    /* 20 cuts within a year, the newest 6 hold 3: 20 / 1,980 is above 1 %. */
    fsp_review_judge(rig->list, rig->n, &plain, &review);
    assert_int_equal(review.state, FSP_REVIEW_FLAGGED);
    fsp_review_judge(rig->list, rig->n, &whole, &review);
    assert_int_equal(review.state, FSP_REVIEW_CLEAR);
    /* Without the oldest it is 19. */
    fsp_review_judge(rig->list + 1, rig->n - 1, &whole, &review);
    assert_int_equal(review.state, FSP_REVIEW_FLAGGED);
    free(rig);
}

static void
a_flag_stays_until_three_good_cuts_in_a_row(void **state)
{
    struct fsp_review review = judged("EEEEgEg", &(struct fsp_review_about){.rate = 0.06});

    (void)state;
    assert_int_equal(state_of("EEEgEgg"), FSP_REVIEW_FLAGGED);
    assert_int_equal(state_of("EEEgEggg"), FSP_REVIEW_CLOSED);
    assert_int_equal(state_of("EEEggEggEgg"), FSP_REVIEW_FLAGGED);
    assert_int_equal(review.state, FSP_REVIEW_FLAGGED);
    assert_int_equal(review.good, 1);
    assert_int_equal(review.flagged_s, (EPOCH_DAY + 60) * FSP_S_PER_DAY);
    assert_string_equal(judged("EEEgg", &(struct fsp_review_about){.rate = 0.06}).text,
            "3 of the 4 eligible cuts up to 2022-03-09 below 90 % of goal per foot, for wear; "
            "chance alone 1 in 1,200; 2 good in a row since, 3 close it");
}

static void
what_was_closed_is_not_held_against_the_rig_again(void **state)
{
    (void)state;
    assert_int_equal(state_of("EEEgggE"), FSP_REVIEW_CLEAR);
    assert_int_equal(state_of("EEEgggEE"), FSP_REVIEW_CLEAR);
    assert_int_equal(
            state_of("EEEgggEEE"), FSP_REVIEW_FLAGGED); /* the good ones count: 3 of 6 */
}

static void
a_cut_that_is_low_for_another_reason_is_neither_early_nor_good(void **state)
{
    (void)state;
    assert_int_equal(state_of("EEEd"), FSP_REVIEW_FLAGGED);
    assert_int_equal(state_of("ddddd"), FSP_REVIEW_CLEAR);
    assert_int_equal(state_of("EEEgddg"), FSP_REVIEW_FLAGGED);
    assert_int_equal(state_of("EEEgddgg"), FSP_REVIEW_CLEAR); /* closed, and 5 cuts count */
}

static void
a_change_of_sheave_or_drum_closes_and_begins_anew(void **state)
{
    struct fsp_review_about changed = {.changed = true};

    (void)state;
    assert_int_equal(judged("EEEE", &changed).state, FSP_REVIEW_CLOSED);
    assert_non_null(
            strstr(judged("EEEE", &changed).text, "closed by a change of sheave or drum"));
    assert_int_equal(state_of("EEEEcE"), FSP_REVIEW_CLOSED);
    assert_int_equal(state_of("EEEEcEEE"), FSP_REVIEW_CLOSED);
    assert_int_equal(state_of("EEEEcEEEE"), FSP_REVIEW_FLAGGED);
    assert_int_equal(state_of("EEEEc.gggg"), FSP_REVIEW_CLEAR);
    assert_int_equal(state_of("EEcE"), FSP_REVIEW_WATCHING);
    assert_int_equal(state_of("ggggcg"), FSP_REVIEW_WATCHING);
    assert_int_equal(judged("gggg", &changed).state, FSP_REVIEW_WATCHING);
    assert_int_equal(state_of("EEEEggggcg"), FSP_REVIEW_WATCHING);
}

static void
fewer_than_twenty_cuts_of_others_say_nothing(void **state)
{
    struct rig *worn = cut_every("gEEE", 100, 20, ROPE_M);
    struct rig *other = cut_every("EggggggggggggggggggE", 10, 5, ROPE_M);
    struct rig *both[] = {worn, other};
    struct fsp_review_rates *rates;
    struct fsp_review review;

    (void)state;
    other->n = 19; /* 1 of 19 */
    rates = fleet_of(both, 2);
    fsp_review_judge(worn->list, worn->n, &(struct fsp_review_about){.rates = rates}, &review);
    assert_int_equal(review.rate_cuts, 0);
    assert_near(review.rate, 0.03, 0);
    assert_int_equal(review.state, FSP_REVIEW_FLAGGED);
    fsp_review_rates_free(rates);
    other->n = 20; /* 2 of 20: a tenth */
    rates = fleet_of(both, 2);
    fsp_review_judge(worn->list, worn->n, &(struct fsp_review_about){.rates = rates}, &review);
    assert_int_equal(review.rate_cuts, 20);
    assert_near(review.rate, 0.1, 1e-15);
    assert_int_equal(review.state, FSP_REVIEW_CLEAR);
    fsp_review_rates_free(rates);
    free(worn);
    free(other);
}

static void
the_rate_is_of_the_year_up_to_the_cut_on_that_rope_by_other_rigs(void **state)
{
    struct rig *mine = cut_every("EEgEEg", 0, 1, ROPE_M);
    struct rig *old = cut_every("Egg", 0, 1, ROPE_M);
    struct rig *thick = cut_every("Eggg", 0, 1, 1.5 * INCH_M);
    struct rig *near = cut_every("gg", 0, 1, ROPE_M + 0.0001);
    struct rig *all[] = {mine, old, thick, near};
    struct fsp_review_rates *rates = fleet_of(all, 4);
    const int64_t day0 = EPOCH_DAY * FSP_S_PER_DAY;
    struct fsp_review_rate rate;

    (void)state;
    rate = fsp_review_rates_at(rates, ROPE_M, day0, mine->list, mine->n);
    assert_int_equal(rate.eligible, 2); /* what is cut later does not count yet */
    assert_int_equal(rate.early, 1);
    rate = fsp_review_rates_at(rates, ROPE_M, day0 + 364 * FSP_S_PER_DAY, mine->list, mine->n);
    assert_int_equal(rate.eligible, 5);
    assert_int_equal(rate.early, 1);
    rate = fsp_review_rates_at(rates, ROPE_M, day0 + 365 * FSP_S_PER_DAY, mine->list, mine->n);
    assert_int_equal(rate.eligible, 3);
    assert_int_equal(rate.early, 0);
    rate = fsp_review_rates_at(rates, ROPE_M, day0 + 4000 * FSP_S_PER_DAY, mine->list, mine->n);
    assert_int_equal(rate.eligible, 0);
    rate = fsp_review_rates_at(rates, 1.5 * INCH_M, day0 + 3 * FSP_S_PER_DAY, NULL, 0);
    assert_int_equal(rate.eligible, 4);
    rate = fsp_review_rates_at(rates, 2 * INCH_M, day0, NULL, 0);
    assert_int_equal(rate.eligible, 0);
    rate = fsp_review_rates_at(rates, ROPE_M, INT64_MIN, mine->list, mine->n);
    assert_int_equal(rate.eligible, 0);
    fsp_review_rates_free(rates);
    free(mine);
    free(old);
    free(thick);
    free(near);
}

static void
worn_rigs_do_not_hide_each_other(void **state)
{
    struct rig *sound = cut_every("gggggggggggggggggggggggggggggg", 0, 10, ROPE_M);
    struct rig *worn[4], *all[5] = {sound};
    struct fsp_review_rates *rates;
    struct fsp_review_rate rate;
    struct fsp_review review;
    size_t i;

    (void)state;
    for (i = 0; i < 4; i++)
        all[1 + i] = worn[i] = cut_every("EEEgEEEEgEEE", 0, 20, ROPE_M);
    rates = fleet_of(all, 5);
    for (i = 0; i < 4; i++) {
        fsp_review_judge(
                worn[i]->list, worn[i]->n, &(struct fsp_review_about){.rates = rates}, &review);
        assert_int_equal(review.state, FSP_REVIEW_FLAGGED);
        assert_near(review.rate, 0.03, 0);
    }
    /* Up to the day before they are flagged they count, and from then on they do not. */
    rate = fsp_review_rates_at(
            rates, ROPE_M, (EPOCH_DAY + 59) * FSP_S_PER_DAY, worn[0]->list, worn[0]->n);
    assert_int_equal(rate.early, 9);
    rate = fsp_review_rates_at(
            rates, ROPE_M, (EPOCH_DAY + 60) * FSP_S_PER_DAY, worn[0]->list, worn[0]->n);
    assert_int_equal(rate.early, 0);
    assert_int_equal(rate.eligible, 7);
    /* The year they would have counted for leaves nothing behind. */
    rate = fsp_review_rates_at(
            rates, ROPE_M, (EPOCH_DAY + 420) * FSP_S_PER_DAY, sound->list, sound->n);
    assert_int_equal(rate.eligible, 0);
    assert_int_equal(rate.early, 0);
    fsp_review_rates_free(rates);
    for (i = 0; i < 5; i++)
        free(all[i]);
}

static void
nothing_changes_between_cuts(void **state)
{
    struct rig *worn = cut_every("gEEE", 0, 20, ROPE_M);
    struct rig *before = cut_every("ggggggggggggggggggggg", 0, 2, ROPE_M);
    struct rig *after = cut_every("EggEggEggEggEggEggEggEgg", 61, 1, ROPE_M);
    struct rig *all[] = {worn, before, after};
    struct fsp_review_rates *few = fleet_of(all, 2), *many = fleet_of(all, 3);
    struct fsp_review first, second;

    (void)state;
    fsp_review_judge(worn->list, worn->n, &(struct fsp_review_about){.rates = few}, &first);
    fsp_review_judge(worn->list, worn->n, &(struct fsp_review_about){.rates = many}, &second);
    assert_int_equal(first.state, FSP_REVIEW_FLAGGED);
    assert_int_equal(second.state, FSP_REVIEW_FLAGGED);
    assert_string_equal(first.text, second.text);
    assert_int_equal(first.rate_cuts, second.rate_cuts);
    fsp_review_rates_free(few);
    fsp_review_rates_free(many);
    free(worn);
    free(before);
    free(after);
}

static void
a_time_out_of_this_world_is_no_trouble(void **state)
{
    struct rig *rig = cut_every("gE", 0, 1, ROPE_M);
    struct rig *all[] = {rig};
    struct fsp_review_rates *rates;
    struct fsp_review_rate rate;

    (void)state;
    rig->rows[0].at_s = INT64_MIN;
    rig->rows[1].at_s = INT64_MAX;
    rates = fleet_of(all, 1);
    rate = fsp_review_rates_at(rates, ROPE_M, INT64_MAX, NULL, 0);
    assert_int_equal(rate.early, 1);
    fsp_review_rates_free(rates);
    free(rig);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(three_of_four_at_one_in_twenty_is_one_in_two_thousand),
            cmocka_unit_test(the_tail_may_be_one_in_a_thousand_and_no_more),
            cmocka_unit_test(a_rig_that_cuts_often_needs_more_to_be_flagged),
            cmocka_unit_test(a_flag_stays_until_three_good_cuts_in_a_row),
            cmocka_unit_test(what_was_closed_is_not_held_against_the_rig_again),
            cmocka_unit_test(a_cut_that_is_low_for_another_reason_is_neither_early_nor_good),
            cmocka_unit_test(a_change_of_sheave_or_drum_closes_and_begins_anew),
            cmocka_unit_test(fewer_than_twenty_cuts_of_others_say_nothing),
            cmocka_unit_test(the_rate_is_of_the_year_up_to_the_cut_on_that_rope_by_other_rigs),
            cmocka_unit_test(worn_rigs_do_not_hide_each_other),
            cmocka_unit_test(nothing_changes_between_cuts),
            cmocka_unit_test(a_time_out_of_this_world_is_no_trouble),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
