#include "support/test.h"
#include "unit/line/near.h"

#include <math.h>
#include <string.h>

#include "line/cutlength.h"
#include "line/goal.h"
#include "record/quantity.h"

#define FT(x)   ((x)*FSP_FT_M)
#define INCH(x) ((x)*FSP_IN_M)
#define TM(j)   ((j) / FSP_TON_MILE_J)

static struct fsp_cutlength
found(double mast_ft, double drum_in, double rope_in, int crossovers)
{
    struct fsp_cutlength cut;
    struct fsp_err err = {0};

    assert_ok(fsp_cutlength_find(
                      FT(mast_ft), INCH(drum_in), INCH(rope_in), crossovers, &cut, &err),
            &err);
    return cut;
}

/* Common practice: 142 ft and 30 in: 11 1/2 laps, a 94-in lap, about 90 ft (90.3); by the centre
 * of a 1 3/8 rope 94.5 ft. */
static void
a_142_ft_mast_with_a_30_in_drum_cuts_11_and_a_half_laps(void **state)
{
    struct fsp_cutlength cut = found(142, 30, 0, 0);

    (void)state;
    assert_near(cut.laps, 11.5, 0);
    assert_near(cut.lap_m / FSP_IN_M, 94.25, 0.005);
    assert_near(cut.cut_m / FSP_FT_M, 90.3, 0.05);
    assert_false(cut.derived);
    cut = found(142, 30, 1.375, 0);
    assert_near(cut.cut_m / FSP_FT_M, 94.5, 0.05);
    assert_near(cut.drum_cut_m / FSP_FT_M, 90.3, 0.05);
    assert_near(cut.cut_m / cut.drum_cut_m, 1.046, 0.0005);
}

/* API RP 9B table, from memory: written out a second time, by drum. */
static void
every_cell_of_the_table_is_as_written(void **state)
{
    static const struct {
        double mast_ft, drum_in, laps;
    } cells[] = {{72, 11, 12.5}, {72, 13, 11.5}, {73, 11, 17.5}, {90, 13, 14.5}, {80, 14, 12.5},
            {80, 16, 11.5}, {91, 14, 19.5}, {119, 16, 17.5}, {100, 18, 14.5}, {100, 20, 12.5},
            {100, 22, 11.5}, {100, 24, 11.5}, {120, 18, 17.5}, {132, 20, 15.5}, {125, 22, 14.5},
            {125, 24, 12.5}, {125, 26, 12.5}, {125, 28, 11.5}, {133, 22, 15.5}, {140, 24, 14.5},
            {136, 26, 12.5}, {136, 28, 11.5}, {136, 30, 11.5}, {141, 26, 13.5}, {150, 28, 12.5},
            {147, 30, 11.5}, {147, 32, 11.5}, {151, 28, 15.5}, {187, 30, 14.5}, {160, 32, 13.5},
            {160, 34, 12.5}, {160, 36, 11.5}};
    size_t i, r, c, filled = 0;

    (void)state;
    for (i = 0; i < sizeof(cells) / sizeof(cells[0]); i++) {
        struct fsp_cutlength cut = found(cells[i].mast_ft, cells[i].drum_in, 0, 1);

        assert_near(cut.laps, cells[i].laps, 0);
        assert_false(cut.derived);
    }
    for (r = 0; r < FSP_CUT_ROWS; r++) {
        for (c = 0; c < FSP_CUT_COLUMNS; c++)
            filled += fsp_cutlength_band(r)->laps[c] > 0 ? 1 : 0;
    }
    assert_int_equal(filled, sizeof(cells) / sizeof(cells[0]));
}

/* Half-open bands: a mast between two bands takes the higher row. */
static void
a_mast_between_two_bands_takes_the_higher_row(void **state)
{
    static const struct {
        double ft;
        size_t row;
    } masts[] = {{72, 0}, {72.01, 1}, {72.99, 1}, {90, 1}, {90.01, 2}, {119, 2}, {119.75, 3},
            {132, 3}, {132.5, 4}, {140, 4}, {140.001, 5}, {150, 5}, {150.5, 6}, {200, 6}};
    size_t i;
    struct fsp_cutlength cut;
    struct fsp_err err = {0};

    (void)state;
    for (i = 0; i < sizeof(masts) / sizeof(masts[0]); i++)
        assert_int_equal(found(masts[i].ft, 24, 0, 0).row, masts[i].row);
    /* 36.5 m is 119.75 ft; 762 mm is 30.0 in. */
    assert_ok(fsp_cutlength_find(36.5, 0.762, 0.035, 1, &cut, &err), &err);
    assert_int_equal(cut.row, 3);
    assert_true(cut.derived);
}

static void
drums_between_the_columns_get_the_rows_length_in_proper_half_laps(void **state)
{
    struct fsp_cutlength cut;
    int i;

    (void)state;
    for (i = 0; i < 29; i++) {
        cut = found(145, 20 + 0.7 * i, 0, 0);
        assert_near(cut.laps - floor(cut.laps), 0.5, 0);
        if (cut.derived)
            assert_near(cut.cut_m, FT(92.5), cut.lap_m / 2 + 0.05);
    }
    cut = found(145, 25, 0, 0); /* 92.5 ft / 6.54 ft a lap = 14.1 */
    assert_true(cut.derived);
    assert_near(cut.laps, 14.5, 0);
    cut = found(145, 22, 0, 0); /* a blank cell of the row */
    assert_true(cut.derived);
    assert_near(cut.laps, 16.5, 0);
}

static void
two_crossovers_a_lap_get_quarter_laps(void **state)
{
    struct fsp_cutlength cut = found(142, 30, 0, 2);
    double quarter;
    int i;

    (void)state;
    assert_true(cut.derived);
    assert_near(cut.laps, 11.75, 0);
    for (i = 0; i < 17; i++) {
        quarter = found(145, 18 + 1.3 * i, 0, 2).laps;
        quarter -= floor(quarter);
        assert_true(fabs(quarter - 0.25) < 1e-12 || fabs(quarter - 0.75) < 1e-12);
    }
}

static void
masts_drums_and_crossovers_out_of_range_are_refused(void **state)
{
    struct fsp_cutlength cut;
    struct fsp_err err = {0};

    (void)state;
    assert_int_equal(fsp_cutlength_find(0, 0.7, 0, 0, &cut, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "mast"));
    assert_int_equal(fsp_cutlength_find(142, 0.7, 0, 0, &cut, &err), FSP_EINVAL);
    assert_int_equal(fsp_cutlength_find(43, -0.7, 0, 0, &cut, &err), FSP_EINVAL);
    assert_int_equal(fsp_cutlength_find(43, 30, 0, 0, &cut, &err), FSP_EINVAL);
    assert_int_equal(fsp_cutlength_find((double)NAN, 0.7, 0, 0, &cut, &err), FSP_EINVAL);
    assert_int_equal(fsp_cutlength_find(43, 0.7, 0, 3, &cut, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "crossovers"));
}

/* Lyons, Standard Handbook, vol. 1, from RP 9B: 80 ft per 800 ton-miles = 20 ft per 200, cut on
 * the 4th slip. Common practice: 90 ft cut on the third slip = 30 ft a slip. */
static void
slips_add_up_to_the_cut(void **state)
{
    (void)state;
    assert_near(80.0 / 4, 20, 0);
    assert_near(800.0 / 4, 200, 0);
    assert_near(90.0 / 3, 30, 0);
}

/* ---- goal ---- */

static struct fsp_goal
suggested(double rope_in, double cut_ft, enum fsp_formation formation)
{
    struct fsp_goal goal;
    struct fsp_err err = {0};

    assert_ok(fsp_goal_suggest(INCH(rope_in), FT(cut_ft), formation, &goal, &err), &err);
    return goal;
}

static void
the_suggestion_is_the_lower_of_the_two_sources(void **state)
{
    static const struct {
        double rope_in, per_foot, sheet_tm, sheet_m;
    } rows[] = {{0.875, 6, 350, 18}, {1, 8, 500, 18}, {1.125, 12, 800, 24},
            {1.25, 16, 1200, 30}, {1.375, 20, 2000, 35}};
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        double sheet = rows[i].sheet_tm / (rows[i].sheet_m / FSP_FT_M);
        double lower = sheet < rows[i].per_foot ? sheet : rows[i].per_foot;
        struct fsp_goal goal = suggested(rows[i].rope_in, 90, FSP_FORMATION_NORMAL);

        assert_near(TM(goal.first_j), lower * 90, 1e-6);
        assert_int_equal(goal.by_sheet, sheet < rows[i].per_foot);
        assert_near(TM(goal.later_j), lower * 90 - (rows[i].rope_in < 1.2 ? 100 : 200), 1e-6);
    }
}

static void
there_is_no_suggestion_above_one_and_three_eighths(void **state)
{
    struct fsp_goal goal;
    struct fsp_err err = {0};

    (void)state;
    assert_int_equal(
            fsp_goal_suggest(INCH(1.5), FT(90), FSP_FORMATION_NORMAL, &goal, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "set the goal by a program"));
    assert_int_equal(
            fsp_goal_suggest(INCH(1.375), 0, FSP_FORMATION_NORMAL, &goal, &err), FSP_EINVAL);
    assert_int_equal(fsp_goal_suggest(INCH(1.375), FT(9000), FSP_FORMATION_NORMAL, &goal, &err),
            FSP_EINVAL);
}

static void
formations_scale_and_a_later_goal_never_falls_below_half(void **state)
{
    (void)state;
    assert_true(suggested(1.375, 90, FSP_FORMATION_HARD).first_j <
                suggested(1.375, 90, FSP_FORMATION_NORMAL).first_j);
    assert_true(suggested(1.375, 90, FSP_FORMATION_SOFT).first_j >
                suggested(1.375, 90, FSP_FORMATION_NORMAL).first_j);
    assert_near(suggested(1.375, 90, FSP_FORMATION_UNSAID).first_j,
            suggested(1.375, 90, FSP_FORMATION_NORMAL).first_j, 0);
    assert_near(suggested(1.375, 5, FSP_FORMATION_NORMAL).later_j,
            suggested(1.375, 5, FSP_FORMATION_NORMAL).first_j / 2, 1e-6);
}

/* 4 = 80 % is common practice; 3 = 58 %, 2 = 30 %, 6 = 115 %, 7 = 125 % from memory. */
static void
the_curve_is_right_at_between_and_beyond_its_points(void **state)
{
    static const struct {
        double factor, share;
        bool beyond;
    } rows[] = {{2, .30, false}, {3, .58, false}, {4, .80, false}, {5, 1, false},
            {6, 1.15, false}, {7, 1.25, false}, {2.5, .44, false}, {3.5, .69, false},
            {4.5, .90, false}, {5.5, 1.075, false}, {6.5, 1.20, false}, {1.99, .30, true},
            {0.1, .30, true}, {7.01, 1.25, true}, {100, 1.25, true}};
    size_t i;
    bool beyond;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        assert_near(fsp_goal_curve(NULL, rows[i].factor, &beyond), rows[i].share, 1e-12);
        assert_int_equal(beyond, rows[i].beyond);
    }
}

static void
a_companys_curve_is_sorted_and_checked(void **state)
{
    struct fsp_curve curve = {.n = 3, .factor = {6, 2, 4}, .share = {1.1, 0.4, 0.9}};
    struct fsp_curve twice = {.n = 2, .factor = {3, 3}, .share = {1, 1}};
    struct fsp_curve zero = {.n = 2, .factor = {3, 4}, .share = {0, 1}};
    struct fsp_curve one = {.n = 1, .factor = {3}, .share = {1}};
    struct fsp_err err = {0};

    (void)state;
    assert_ok(fsp_goal_curve_sort(&curve, &err), &err);
    assert_near(fsp_goal_curve(&curve, 3, NULL), 0.65, 1e-12);
    assert_near(fsp_goal_curve(&curve, 5, NULL), 1.0, 1e-12);
    assert_int_equal(fsp_goal_curve_sort(&twice, &err), FSP_EINVAL);
    assert_int_equal(fsp_goal_curve_sort(&zero, &err), FSP_EINVAL);
    assert_int_equal(fsp_goal_curve_sort(&one, &err), FSP_EINVAL);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_142_ft_mast_with_a_30_in_drum_cuts_11_and_a_half_laps),
            cmocka_unit_test(every_cell_of_the_table_is_as_written),
            cmocka_unit_test(a_mast_between_two_bands_takes_the_higher_row),
            cmocka_unit_test(drums_between_the_columns_get_the_rows_length_in_proper_half_laps),
            cmocka_unit_test(two_crossovers_a_lap_get_quarter_laps),
            cmocka_unit_test(masts_drums_and_crossovers_out_of_range_are_refused),
            cmocka_unit_test(slips_add_up_to_the_cut),
            cmocka_unit_test(the_suggestion_is_the_lower_of_the_two_sources),
            cmocka_unit_test(there_is_no_suggestion_above_one_and_three_eighths),
            cmocka_unit_test(formations_scale_and_a_later_goal_never_falls_below_half),
            cmocka_unit_test(the_curve_is_right_at_between_and_beyond_its_points),
            cmocka_unit_test(a_companys_curve_is_sorted_and_checked),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
