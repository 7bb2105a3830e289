#include "support/test.h"
#include "unit/line/near.h"

#include <math.h>
#include <string.h>

#include "line/critical.h"
#include "unit/line/reeved.h"

#define MOVES_MAX 400

static void
the_points_lie_where_a_reeved_rope_has_them(void **state)
{
    struct fsp_geometry g = reeved_heron();
    struct fsp_point points[FSP_CRITICAL_POINTS];
    struct marks marks;
    struct rope rope;
    size_t n, i, j, found = 0;
    int move;

    (void)state;
    n = fsp_critical_points(&g, points);
    assert_int_equal(n, 22); /* 10 sheaves twice, the dead-line sheave, the anchor */
    reeved_reeve(&rope, &g);
    for (move = 0; move < 7; move++) {
        double slipped = move * 9.5;

        reeved_mark_sheaves(&rope, &marks);
        assert_int_equal(marks.n, n - 1);
        /* y = x at the start + all slipped, whatever was cut. */
        for (i = 0; i + 1 < n; i++) {
            for (j = 0; j < marks.n; j++)
                found += fabs(points[i].x_m + slipped - marks.y[j]) < 1e-9 ? 1 : 0;
        }
        assert_near(marks.anchor_y, points[n - 1].x_m + slipped, 1e-9);
        rope.held += 9.5;
        if (move % 3 == 2) {
            rope.held -= 28.5;
            rope.clamp_y += 28.5;
        }
    }
    assert_int_equal(found, 7 * (n - 1));
    /* After cuts the drum holds what it held, slips since the last cut apart. */
    assert_near(reeved_on_drum(&rope, 0), 14 * PI * INCH(31.375) + 9.5, 1e-9);
}

/* By hand: S = 14 x pi x 31.375 / 12 = 114.99 ft, F = 150 ft; H = 142 + pi x 4.5 / 2 = 149.07. */
static void
points_worked_by_hand_agree(void **state)
{
    struct fsp_geometry g = reeved_heron();
    struct fsp_point points[FSP_CRITICAL_POINTS];
    double s = 114.9951, h = 149.0686;
    size_t n = fsp_critical_points(&g, points);

    (void)state;
    assert_near(points[0].x_m / FSP_FT_M, s + 150 + 60, 0.001);
    assert_int_equal(points[0].kind, FSP_POINT_CROWN);
    assert_near(points[1].x_m / FSP_FT_M, s + 150 + 970, 0.001);
    assert_near(points[2].x_m / FSP_FT_M, s + 150 + h + 9 * 6, 0.001);
    assert_int_equal(points[2].kind, FSP_POINT_BLOCK);
    assert_int_equal(points[2].number, 1);
    assert_near(points[n - 2].x_m / FSP_FT_M, s + 150 + 10 * h, 0.002);
    assert_int_equal(points[n - 2].number, 5);
    assert_int_equal(points[n - 2].pick, -1);
    assert_int_equal(points[n - 1].kind, FSP_POINT_ANCHOR);
}

/* Slip and cut a reeved rope for years, remember every spot that lay on a sheave or a crossover,
 * and count what meets; the library must have said so. */
static void
one_programme(const struct fsp_geometry *g, double laps, int slips)
{
    static struct marks marks[MOVES_MAX + 1];
    static struct drum drums[MOVES_MAX + 1];
    static struct fsp_candidate said;
    struct rope rope;
    int moves, cuts = 0, ago, met;

    fsp_critical_try(g, laps, slips, &said);
    reeved_reeve(&rope, g);
    moves = slips * (1 + (said.tested + 200) / slips);
    assert_true(moves <= MOVES_MAX);
    reeved_mark_sheaves(&rope, &marks[0]);
    reeved_mark_drum(&rope, said.cut_m, &drums[0]);
    for (ago = 1; ago <= moves; ago++) {
        rope.held += said.slip_m;
        reeved_mark_sheaves(&rope, &marks[ago]);
        if (ago % slips != 0)
            continue;
        rope.held -= said.cut_m;
        rope.clamp_y += said.cut_m;
        reeved_mark_drum(&rope, said.cut_m, &drums[++cuts]);
    }
    for (ago = 1; ago <= moves && ago <= FSP_CRITICAL_MOVES; ago++) {
        met = reeved_meetings(&marks[moves], &marks[moves - ago], g->dead_m > 0);
        if (ago % slips == 0)
            met += reeved_drum_meetings(&drums[cuts], &drums[cuts - ago / slips]);
        if (met != said.by_move[ago - 1])
            fail_msg("%d lines, %.2f laps in %d slips, %d ago: met %d, said %d", g->lines, laps,
                    slips, ago, met, said.by_move[ago - 1]);
    }
}

static void
a_rope_slipped_and_cut_numerically_meets_what_was_said(void **state)
{
    int run;

    (void)state;
    for (run = 0; run < 60; run++) {
        struct fsp_geometry g = reeved_random_rig();

        one_programme(&g, floor(reeved_between(36, 70)) / 4, 1 + run % 4);
    }
}

static int
sum(const struct fsp_candidate *one)
{
    int i, all = 0;

    for (i = 0; i < FSP_CRITICAL_MOVES; i++)
        all += one->by_move[i];
    return all;
}

static void
check_order(const struct fsp_candidate *a, const struct fsp_candidate *b)
{
    int i;

    for (i = 0; i < FSP_CRITICAL_MOVES && a->by_move[i] == b->by_move[i]; i++)
        ;
    if (i < FSP_CRITICAL_MOVES)
        assert_true(a->by_move[i] < b->by_move[i]);
    assert_int_equal(sum(a), a->sheaves + a->crossovers);
}

static void
candidates_are_ranked_latest_move_first(void **state)
{
    static struct fsp_candidate list[FSP_CRITICAL_CANDIDATES];
    struct fsp_geometry g = reeved_heron();
    struct fsp_err err = {0};
    size_t n, i, j;

    (void)state;
    assert_ok(fsp_critical_rank(&g, 11.5, 3, list, &n, &err), &err);
    assert_int_equal(n, 13); /* 9.5 to 13.5 in quarters without the whole laps */
    for (i = 0; i < n; i++) {
        assert_true(fabs(list[i].laps - 11.5) <= 2);
        assert_true(fabs(list[i].laps - round(list[i].laps)) > 0.2);
        assert_near(list[i].slip_m * 3, list[i].cut_m, 1e-9);
        if (i > 0)
            check_order(&list[i - 1], &list[i]);
        for (j = 1; j < list[i].n_left; j++)
            assert_true(list[i].left[j - 1].slips_ago <= list[i].left[j].slips_ago);
        assert_true(list[i].n_left > 0); /* nothing clears everything for ever */
    }
}

/* Half laps clear the last cut and meet the one before; two crossovers a lap need a quarter. */
static void
half_and_quarter_laps_do_what_they_are_for(void **state)
{
    static const struct {
        double laps;
        int crossovers, first_cut;
    } rows[] = {{11.5, 1, 2}, {11.25, 1, 4}, {11.0, 1, 1}, {11.5, 2, 1}, {11.25, 2, 2}};
    struct fsp_geometry g = reeved_heron();
    static struct fsp_candidate one;
    size_t i, k;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        int first = 0;

        g.crossovers = rows[i].crossovers;
        g.laps_per_layer = 0;
        g.pick_m[1] = FT(70);
        fsp_critical_try(&g, rows[i].laps, 1, &one);
        for (k = 0; k < one.n_left && first == 0; k++)
            first = one.left[k].now.kind == FSP_POINT_CROSSOVER ? one.left[k].slips_ago : 0;
        if (first != rows[i].first_cut && one.n_left < FSP_CRITICAL_LEFT)
            fail_msg("%.2f laps: %d cuts ago", rows[i].laps, first);
    }
}

static void
what_lies_on_the_drum_and_on_a_sheave_is_told(void **state)
{
    static struct fsp_candidate one;
    struct fsp_geometry g = reeved_heron();

    (void)state;
    g.laps_per_layer = 0;
    /* The fast-line sheave's spot on a crossover: x + the slip = 52 laps. */
    g.fast_m = 40.5 * fsp_critical_lap(&g) - g.wraps_low * fsp_critical_lap(&g) -
               g.lines * g.pick_m[0];
    fsp_critical_try(&g, 11.5, 1, &one);
    assert_true(one.mixed >= 1);
    g.laps_per_layer = 5; /* of which nothing reaches the sheaves */
    fsp_critical_try(&g, 11.5, 1, &one);
    assert_int_equal(one.mixed, 0);
}

static void
bad_geometry_is_refused_with_the_fields_name(void **state)
{
    static const struct {
        size_t offset;
        double value;
        const char *says;
    } rows[] = {
            {offsetof(struct fsp_geometry, drum_m), 0, "drum"},
            {offsetof(struct fsp_geometry, drum_m), 30, "drum in metres: found 30; allowed"},
            {offsetof(struct fsp_geometry, rope_m), -1, "rope"},
            {offsetof(struct fsp_geometry, wraps_low), -1, "wraps-low"},
            {offsetof(struct fsp_geometry, wraps_low), 180,
                    "laps lie on the drum; allowed: 228"},
            {offsetof(struct fsp_geometry, laps_per_layer), 12,
                    "allowed: 72.0, 6 layers of 12"},
            {offsetof(struct fsp_geometry, laps_per_layer), -1, "laps-per-layer"},
            {offsetof(struct fsp_geometry, fast_m), 0, "fast-line"},
            {offsetof(struct fsp_geometry, dead_m), -1, "dead-line"},
            {offsetof(struct fsp_geometry, crown_m), 2, "crown"},
            {offsetof(struct fsp_geometry, crown_m), 20, "pick-high"},
            {offsetof(struct fsp_geometry, pick_m), -1, "pick-low"},
            {offsetof(struct fsp_geometry, pick_m), 40, "lower not above upper"},
            {offsetof(struct fsp_geometry, sheave_m), 9, "sheave"},
    };
    struct fsp_err err = {0};
    struct fsp_geometry g;
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        g = reeved_heron();
        assert_int_equal(fsp_critical_check(&g, 28, &err), FSP_OK);
        memcpy((char *)&g + rows[i].offset, &rows[i].value, sizeof(double));
        assert_int_equal(fsp_critical_check(&g, 28, &err), FSP_EINVAL);
        if (strstr(err.text, rows[i].says) == NULL)
            fail_msg("row %zu: %s", i, err.text);
        g = reeved_heron();
        memcpy((char *)&g + rows[i].offset, &(double){(double)NAN}, sizeof(double));
        assert_int_equal(fsp_critical_check(&g, 28, &err), FSP_EINVAL);
    }
    g = reeved_heron();
    g.lines = 9;
    assert_int_equal(fsp_critical_check(&g, 28, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "lines: found 9; allowed: an even number"));
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_points_lie_where_a_reeved_rope_has_them),
            cmocka_unit_test(points_worked_by_hand_agree),
            cmocka_unit_test(a_rope_slipped_and_cut_numerically_meets_what_was_said),
            cmocka_unit_test(candidates_are_ranked_latest_move_first),
            cmocka_unit_test(half_and_quarter_laps_do_what_they_are_for),
            cmocka_unit_test(what_lies_on_the_drum_and_on_a_sheave_is_told),
            cmocka_unit_test(bad_geometry_is_refused_with_the_fields_name),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
