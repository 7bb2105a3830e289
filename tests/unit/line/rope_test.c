#include "support/test.h"
#include "unit/line/near.h"

#include <math.h>
#include <string.h>

#include "line/hoist.h"
#include "line/rope.h"
#include "record/quantity.h"

#define INCH(x) ((x)*FSP_IN_M)

static void
check_cell(const struct fsp_rope_size *size, const char *grade, int column)
{
    struct fsp_err err = {0};
    struct fsp_rope rope;

    assert_ok(fsp_rope_find(size->diameter_m, grade, 0, &rope, &err), &err);
    assert_near(rope.strength_n, size->strength_n[column], 1e-6);
    assert_near(rope.linear_nm, size->linear_nm, 1e-9);
    assert_int_equal(rope.source, FSP_ROPE_TABLE);
    assert_false(rope.matched_metric);
}

static void
every_size_of_the_table_is_found_with_its_three_strengths(void **state)
{
    static const char *const grades[] = {"IPS", "EIPS", "EEIPS"};
    const struct fsp_rope_size *size;
    size_t i;
    int g;

    (void)state;
    for (i = 0; (size = fsp_rope_size_at(i)) != NULL; i++) {
        for (g = 0; g < 3; g++)
            check_cell(size, grades[g], g);
        assert_true(size->strength_n[0] < size->strength_n[1]);
        assert_true(size->strength_n[1] < size->strength_n[2]);
    }
    assert_int_equal(i, 10);
}

/* API RP 9B, 14th edition, addendum 1 prints 192,000 lb for 1-3/8 EIPS. */
static void
one_and_three_eighths_eips_holds_192000_lb(void **state)
{
    struct fsp_err err = {0};
    struct fsp_rope rope;

    (void)state;
    assert_ok(fsp_rope_find(INCH(1.375), "EIPS", 0, &rope, &err), &err);
    assert_near(rope.strength_n / FSP_LBF_N, 192000, 1e-6);
    assert_near(rope.linear_nm / FSP_LBF_FT_NM, 3.5, 1e-9);
    assert_ok(fsp_rope_find(INCH(1.375), "xip", 0, &rope, &err), &err);
    assert_near(rope.strength_n / FSP_LBF_N, 192000, 1e-6);
}

/* 0.356 d^2 R, ISO 2408 (from memory): 35 mm 1960 gives 855 kN = 192,157 lb. */
static void
metric_rope_goes_by_the_rule_even_near_a_table_size(void **state)
{
    struct fsp_err err = {0};
    struct fsp_rope rope;

    (void)state;
    assert_ok(fsp_rope_find(0.035, "1960", 0, &rope, &err), &err);
    assert_int_equal(rope.source, FSP_ROPE_RULE);
    assert_near(rope.strength_n, 854756, 0.5);
    assert_near(rope.strength_n / FSP_LBF_N, 192157, 1);
    assert_null(rope.size);
    assert_ok(fsp_rope_find(0.032, "1770 N/mm2", 0, &rope, &err), &err);
    assert_near(rope.strength_n, 0.356 * 32 * 32 * 1770, 1e-6);
}

static void
millimetres_match_a_table_size_only_within_0_2_mm_and_say_so(void **state)
{
    struct fsp_err err = {0};
    struct fsp_rope rope;

    (void)state;
    assert_ok(fsp_rope_find(0.035, "EIPS", 0, &rope, &err), &err);
    assert_string_equal(rope.size->name, "1-3/8");
    assert_true(rope.matched_metric);
    assert_int_equal(fsp_rope_find(0.032, "EIPS", 0, &rope, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "no table size within 0.2 mm of 32 mm"));
    assert_int_equal(fsp_rope_find(INCH(1.375) + 0.00021, "EIPS", 0, &rope, &err), FSP_EINVAL);
}

static void
the_certificates_minimum_overrides_and_warns_above_three_per_cent(void **state)
{
    struct fsp_err err = {0};
    struct fsp_rope rope;

    (void)state;
    assert_ok(
            fsp_rope_find(INCH(1.375), "EIPS", 192000 * FSP_LBF_N * 1.0299, &rope, &err), &err);
    assert_int_equal(rope.source, FSP_ROPE_CERTIFICATE);
    assert_false(rope.over_listed);
    assert_ok(
            fsp_rope_find(INCH(1.375), "EIPS", 192000 * FSP_LBF_N * 1.0301, &rope, &err), &err);
    assert_true(rope.over_listed);
    assert_near(rope.listed_n / FSP_LBF_N, 192000, 1e-6);
    assert_ok(fsp_rope_find(0.033, "own grade", 700e3, &rope, &err), &err);
    assert_near(rope.strength_n, 700e3, 0);
    assert_near(rope.listed_n, 0, 0);
    assert_ok(fsp_rope_find(0.033, NULL, 700e3, &rope, &err), &err);
}

/* House limit: from 10 % on it is no minimum of that grade. */
static void
a_certificate_ten_per_cent_above_is_refused(void **state)
{
    static const struct {
        double m;
        const char *grade;
        double kilonewtons;
        enum fsp_rc rc;
    } rows[] = {
            {INCH(1.375), "EIPS", 192 * FSP_LBF_N * 1.0999, FSP_OK},
            {INCH(1.375), "EIPS", 192 * FSP_LBF_N * 1.1, FSP_EINVAL},
            {INCH(1.375), "EIPS", 192 * FSP_LBF_N * 1.5, FSP_EINVAL},
            {INCH(1.375), "EIPS", 192 * FSP_LBF_N * 4.448, FSP_EINVAL},
            {INCH(1.375), "EIPS", 0, FSP_OK},
            {0.033, "own grade", 700, FSP_OK},
            {0.035, "1960", 940, FSP_OK},
            {0.035, "1960", 941, FSP_EINVAL},
    };
    struct fsp_err err = {0};
    struct fsp_rope rope;
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        assert_int_equal(fsp_rope_find(rows[i].m, rows[i].grade, rows[i].kilonewtons * 1000,
                                 &rope, &err),
                FSP_OK);
        assert_int_equal(fsp_rope_check_certificate(&rope, &err), rows[i].rc);
        if (rows[i].rc != FSP_OK)
            assert_non_null(strstr(err.text, "allowed: less than 10 % above"));
    }
    assert_non_null(strstr(err.text, "strength: 941.0 kN (211545 lb) is 10 % above the 854.8"));
}

static void
unknown_ropes_and_grades_are_refused_with_what_to_do(void **state)
{
    static const struct {
        double m;
        const char *grade;
        double certificate_n;
        const char *says;
    } rows[] = {
            {INCH(1.375), "best", 0, "\"best\" is not known"},
            {INCH(1.375), "", 0, "not known"},
            {INCH(1.375), NULL, 0, "not known"},
            {INCH(1.375), "196", 0, "not known"},
            {INCH(1.375), "19600", 0, "not known"},
            {INCH(1.375), "9999", 0, "not known"},
            {INCH(1.375), "1960 psi", 0, "not known"},
            {0.0, "EIPS", 0, "no drilling line"},
            {-0.03, "EIPS", 0, "no drilling line"},
            {1.375, "EIPS", 0, "no drilling line"},
            {INCH(1.375), "EIPS", -1, "no breaking force"},
            {INCH(1.375), "EIPS", 1e9, "no breaking force"},
    };
    struct fsp_err err;
    struct fsp_rope rope;
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        fsp_err_clear(&err);
        assert_int_equal(
                fsp_rope_find(rows[i].m, rows[i].grade, rows[i].certificate_n, &rope, &err),
                FSP_EINVAL);
        assert_non_null(strstr(err.text, rows[i].says));
    }
    assert_int_equal(fsp_rope_find((double)NAN, "EIPS", 0, &rope, &err), FSP_EINVAL);
}

static struct fsp_reeving
reeved(int lines, double k)
{
    struct fsp_reeving reeving = {lines, 0, k};

    return reeving;
}

/* API RP 9B, figure 1: fast-line factors, rounded to three places. */
static void
fast_line_factors_agree_with_the_published_table(void **state)
{
    static const struct {
        int lines;
        double roller, plain;
    } rows[] = {{6, .191, .223}, {8, .149, .181}, {10, .123, .156}, {12, .107, .140},
            {14, .095, .128}};
    struct fsp_hoist hoist;
    struct fsp_reeving reeving;
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        reeving = reeved(rows[i].lines, FSP_HOIST_K_ROLLER);
        fsp_hoist_load(&reeving, 1e6, 0, &hoist);
        assert_near(hoist.fast_factor, rows[i].roller, 0.0006);
        reeving = reeved(rows[i].lines, FSP_HOIST_K_PLAIN);
        fsp_hoist_load(&reeving, 1e6, 0, &hoist);
        assert_near(hoist.fast_factor, rows[i].plain, 0.0006);
    }
    /* K = 1.04 gives .782 and .755 for 12 and 14 lines. */
    reeving = reeved(12, FSP_HOIST_K_ROLLER);
    assert_near(fsp_hoist_efficiency(&reeving), 0.782, 0.0005);
    reeving = reeved(14, FSP_HOIST_K_ROLLER);
    assert_near(fsp_hoist_efficiency(&reeving), 0.755, 0.0006);
}

/* API RP 9B, 14th edition, addendum 1: 1-3/8 EIPS, 10 lines, 400,000 lb, factor .123: 3.9. */
static void
design_factor_of_the_published_example_is_3_9(void **state)
{
    struct fsp_reeving reeving = reeved(10, FSP_HOIST_K_ROLLER);
    struct fsp_hoist hoist;

    (void)state;
    fsp_hoist_load(&reeving, 400000 * FSP_LBF_N, 192000 * FSP_LBF_N, &hoist);
    assert_near(192000 / (400000 * 0.123), 3.902, 0.0005);
    assert_near(hoist.design_factor, 3.893, 0.0005);
    assert_near(hoist.design_factor_static, 4.8, 1e-9);
    assert_near(hoist.dead_line_n * hoist.design_factor, 192000 * FSP_LBF_N / 1.4802442849, 1);
}

/* University notes: 400,000 lb on 10 lines, no friction: 480,000 lb. */
static void
derrick_load_of_the_published_example_is_480000_lb(void **state)
{
    struct fsp_reeving reeving = reeved(10, FSP_HOIST_K_ROLLER);
    struct fsp_hoist hoist;

    (void)state;
    fsp_hoist_load(&reeving, 400000 * FSP_LBF_N, 0, &hoist);
    assert_near(hoist.derrick_static_n / FSP_LBF_N, 480000, 1e-6);
    assert_true(hoist.derrick_n > hoist.derrick_static_n);
    assert_near(hoist.design_factor, 0, 0);
}

/* Pipeline Rules of Thumb Handbook: 4 parts, sheave efficiency .917: advantage 3.25 printed
 * (rounded), 3.236 recomputed. */
static void
block_and_tackle_of_the_handbook_has_an_advantage_of_3_24(void **state)
{
    struct fsp_reeving reeving = reeved(4, 1 / 0.917);
    struct fsp_hoist hoist;

    (void)state;
    fsp_hoist_load(&reeving, 3250, 0, &hoist);
    assert_near(1 / hoist.fast_factor, 3.236, 0.001);
    assert_near(1 / hoist.fast_factor, 3.25, 0.02);
}

/* 1-3/8 EIPS on 10 lines at factor 2 is 778,600 lb. */
static void
loads_at_a_factor_invert_the_factor(void **state)
{
    struct fsp_reeving reeving = reeved(10, FSP_HOIST_K_ROLLER);
    double strength = 192000 * FSP_LBF_N, load = fsp_hoist_load_at(&reeving, strength, 2);
    struct fsp_hoist hoist;

    (void)state;
    assert_near(load / FSP_LBF_N, 778646, 50);
    fsp_hoist_load(&reeving, load, strength, &hoist);
    assert_near(hoist.design_factor, 2, 1e-12);
}

static void
lines_needed_are_the_fewest_that_keep_the_factor(void **state)
{
    struct fsp_reeving reeving = reeved(10, FSP_HOIST_K_ROLLER);
    double strength = 192000 * FSP_LBF_N, edge = fsp_hoist_load_at(&reeving, strength, 3);

    (void)state;
    assert_int_equal(fsp_hoist_lines_needed(&reeving, edge * 0.999999, strength, 3), 10);
    assert_int_equal(fsp_hoist_lines_needed(&reeving, edge * 1.000001, strength, 3), 12);
    assert_int_equal(fsp_hoist_lines_needed(&reeving, 1, strength, 3), 2);
    assert_int_equal(fsp_hoist_lines_needed(&reeving, 1e9, strength, 3), 0);
}

static void
odd_and_absurd_string_ups_are_refused(void **state)
{
    static const struct fsp_reeving bad[] = {{9, 0, 1.04}, {0, 0, 1.04}, {-2, 0, 1.04},
            {26, 0, 1.04}, {10, -1, 1.04}, {10, 13, 1.04}, {10, 0, 1.0}, {10, 0, 2.5}};
    static const struct fsp_reeving good[] = {{2, 0, 1.04}, {24, 0, 1.09}, {10, 9, 1.04}};
    struct fsp_err err = {0};
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
        assert_int_equal(fsp_hoist_check(&bad[i], &err), FSP_EINVAL);
    for (i = 0; i < sizeof(good) / sizeof(good[0]); i++)
        assert_ok(fsp_hoist_check(&good[i], &err), &err);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(every_size_of_the_table_is_found_with_its_three_strengths),
            cmocka_unit_test(one_and_three_eighths_eips_holds_192000_lb),
            cmocka_unit_test(metric_rope_goes_by_the_rule_even_near_a_table_size),
            cmocka_unit_test(millimetres_match_a_table_size_only_within_0_2_mm_and_say_so),
            cmocka_unit_test(the_certificates_minimum_overrides_and_warns_above_three_per_cent),
            cmocka_unit_test(a_certificate_ten_per_cent_above_is_refused),
            cmocka_unit_test(unknown_ropes_and_grades_are_refused_with_what_to_do),
            cmocka_unit_test(fast_line_factors_agree_with_the_published_table),
            cmocka_unit_test(design_factor_of_the_published_example_is_3_9),
            cmocka_unit_test(derrick_load_of_the_published_example_is_480000_lb),
            cmocka_unit_test(block_and_tackle_of_the_handbook_has_an_advantage_of_3_24),
            cmocka_unit_test(loads_at_a_factor_invert_the_factor),
            cmocka_unit_test(lines_needed_are_the_fewest_that_keep_the_factor),
            cmocka_unit_test(odd_and_absurd_string_ups_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
