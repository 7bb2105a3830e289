#include "support/test.h"
#include "unit/line/near.h"

#include <math.h>
#include <string.h>

#include "line/work.h"
#include "record/quantity.h"

#define TM(j)    ((j) / FSP_TON_MILE_J)
#define FT(x)    ((x)*FSP_FT_M)
#define LB(x)    ((x)*FSP_LBF_N)
#define LB_FT(x) ((x)*FSP_LBF_FT_NM)
#define PPG(x)   ((x)*0.45359237 / 0.003785411784)
#define RELATIVE 1e-9

/* Lapeyrouse, Formulas and Calculations, 2nd edition, p. 44. */
static struct fsp_work_in
lapeyrouse(enum fsp_op_code op)
{
    struct fsp_work_in in = {.op = op, .reams = -1};

    in.string.pipe_nm = LB_FT(13.3);
    in.string.stand_m = FT(60);
    in.string.bha_n = LB(24900);
    in.string.bha_m = FT(300);
    in.string.mud_kgm3 = PPG(9.6);
    in.string.block_n = LB(15000);
    in.depth_m = FT(4000);
    return in;
}

static struct fsp_work_out
reckoned(const struct fsp_work_in *in)
{
    struct fsp_work_out out;
    struct fsp_err err = {0};

    assert_ok(fsp_work_reckon(in, &out, &err), &err);
    return out;
}

/* Published 53.7, recomputed 53.702. */
static void
round_trip_of_the_book_is_53_7_ton_miles(void **state)
{
    struct fsp_work_in in = lapeyrouse(FSP_OP_ROUND_TRIP);

    (void)state;
    assert_near(TM(reckoned(&in).joules), 53.702, 0.0005);
    in.op = FSP_OP_HALF_TRIP;
    assert_near(TM(reckoned(&in).joules), 53.702 / 2, 0.0005);
}

/* Same book p. 45: T 64.6 and 53.7, k 3: 32.7 printed; unrounded chain 33.07 to 4,600 ft. */
static void
drilling_of_the_book_is_32_7_and_the_unrounded_chain_33_07(void **state)
{
    struct fsp_work_in in = lapeyrouse(FSP_OP_DRILLING);

    (void)state;
    assert_near(fsp_work_drilling_j(53.7, 64.6, 3), 32.7, 1e-9);
    in.from_m = FT(4000);
    in.to_m = FT(4600);
    in.drive = FSP_DRIVE_KELLY;
    in.reams = 1;
    assert_near(TM(reckoned(&in).deep_j), 64.6, 0.15);
    assert_near(TM(reckoned(&in).joules), 33.07, 0.05);
}

/* After the same book: T 200 and 190: coring 20, short trip 10. */
static void
coring_and_short_trip_of_the_book_are_20_and_10(void **state)
{
    (void)state;
    assert_near(fsp_work_coring_j(190, 200), 20, 1e-12);
    assert_near(fsp_work_short_trip_j(190, 200), 10, 1e-12);
    assert_near(fsp_work_short_trip_j(200, 190), 10, 1e-12);
}

/* Both printed forms of the buoyancy factor, (65.5 - ppg)/65.5 and 1 - SG/7.85. */
static void
buoyancy_forms_differ_by_less_than_0_0002(void **state)
{
    int tenths;

    (void)state;
    assert_near(fsp_work_buoyancy(PPG(9.6)), (65.5 - 9.6) / 65.5, 1e-12);
    assert_near(fsp_work_buoyancy(0), 1, 0);
    for (tenths = 0; tenths <= 25; tenths++)
        assert_near(fsp_work_buoyancy(100.0 * tenths), 1 - tenths / 78.5, 0.0002);
}

/* 1 ton-mile = 1.459972 tonne-km = 14.31744 MJ; t-km = [D(Ls + D)Wm + 4D(M + C/2)]/10^6. */
static void
the_metric_form_gives_the_same_work(void **state)
{
    struct fsp_work_in in = lapeyrouse(FSP_OP_ROUND_TRIP);
    struct fsp_work_out out = reckoned(&in);
    double d = FT(4000), s = FT(60), w = out.pipe_nm / FSP_G_MS2, c = out.extra_n / FSP_G_MS2,
           m = LB(15000) / FSP_G_MS2;
    double tkm = (d * (s + d) * w + 4 * d * (m + c / 2)) / 1e6;

    (void)state;
    assert_near(FSP_TON_MILE_J / FSP_TONNE_KM_J, 1.459972, 0.0000005);
    assert_near(FSP_TON_MILE_J / 1e6, 14.31744, 0.00001);
    assert_near(out.joules / FSP_TONNE_KM_J, tkm, tkm * 1e-12);
    assert_near(out.joules / 1e6, 9.80665 * tkm, tkm * 1e-11);
}

/* ---- by motion: hook load x |block travel|, stand by stand ---- */

/* Pull (and, mirrored, run) from `from` to `to` with the assembly as a point load at the bit. */
static double
one_way_by_motion(
        const struct fsp_work_in *in, const struct fsp_work_out *out, double from, double to)
{
    double joules = 0, depth = from, stand = in->string.stand_m;

    while (depth > to + stand / 2) {
        joules += (out->pipe_nm * depth + out->extra_n + in->string.block_n) * stand;
        joules += in->string.block_n * stand; /* the empty block comes down for the next */
        depth -= stand;
    }
    return joules;
}

static uint32_t seed = 20260301;

static double
between(double least, double most)
{
    seed = seed * 1664525U + 1013904223U;
    return least + (most - least) * (double)(seed >> 8) / 16777216.0;
}

static struct fsp_work_in
random_string(enum fsp_op_code op)
{
    struct fsp_work_in in = {.op = op, .reams = 0};

    in.string.pipe_nm = between(100, 700);
    in.string.stand_m = between(9, 38);
    in.string.bha_n = between(0, 400e3);
    in.string.bha_m = between(0, 200);
    in.string.mud_kgm3 = between(0, 2300);
    in.string.block_n = between(30e3, 400e3);
    return in;
}

static void
trips_by_motion_agree_with_the_formulas_to_1e_9(void **state)
{
    int run;

    (void)state;
    for (run = 0; run < 200; run++) {
        struct fsp_work_in in = random_string(FSP_OP_ROUND_TRIP);
        struct fsp_work_out out;
        int stands = (int)between(30, 200), up = (int)between(10, 29);
        double way;

        in.depth_m = in.string.stand_m * stands;
        in.string.bha_m = fmin(in.string.bha_m, in.string.stand_m * up);
        in.string.bha_m = fmin(in.string.bha_m, in.string.stand_m * 5);
        out = reckoned(&in);
        way = one_way_by_motion(&in, &out, in.depth_m, 0);
        assert_near(out.joules / (2 * way), 1, RELATIVE);
        in.op = FSP_OP_HALF_TRIP;
        assert_near(reckoned(&in).joules / way, 1, RELATIVE);
        in.op = FSP_OP_PULL_OUT;
        in.from_m = in.depth_m;
        in.to_m = in.string.stand_m * up;
        way = one_way_by_motion(&in, &out, in.from_m, in.to_m);
        assert_near(reckoned(&in).joules / way, 1, RELATIVE);
        in.op = FSP_OP_SHORT_TRIP;
        assert_near(reckoned(&in).joules / (2 * way), 1, RELATIVE);
        in.op = FSP_OP_RUN_IN;
        in.from_m = in.to_m;
        in.to_m = in.depth_m;
        assert_near(reckoned(&in).joules / way, 1, RELATIVE);
    }
}

/* With a real assembly of length B the formula is high by at most C x B / 10,560,000 each way. */
static void
a_real_assembly_makes_the_formula_high_by_at_most_c_times_b(void **state)
{
    struct fsp_work_in in = lapeyrouse(FSP_OP_HALF_TRIP);
    struct fsp_work_out out = reckoned(&in);
    double way = 0, step = in.string.stand_m / 1000;
    int steps = (int)(in.depth_m / step + 0.5);

    (void)state;
    for (; steps > 0; steps--) {
        double depth = steps * step, assembly = fmin(depth / in.string.bha_m, 1);

        /* What hangs: pipe over all of it, and the assembly's excess as far as it hangs. */
        way += (out.pipe_nm * (depth + in.string.stand_m / 2 - step / 2) +
                       out.extra_n * assembly + 2 * in.string.block_n) *
               step;
    }
    assert_true(out.joules > way);
    assert_true(out.joules - way <= out.extra_n * in.string.bha_m);
    assert_near((out.joules - way) / out.joules, 0.008, 0.004);
}

/* The hook load with the bit at a depth, from what really hangs in the hole: assembly joints of
 * even weight below, pipe above. Shares nothing with Wm and C. */
static double
really_hanging(const struct fsp_work_in *in, double depth)
{
    const struct fsp_work_string *s = &in->string;
    double assembly = s->bha_m > 0 ? fmin(depth, s->bha_m) / s->bha_m * s->bha_n : 0;

    return (assembly + s->pipe_nm * fmax(depth - s->bha_m, 0)) *
           (1 - s->mud_kgm3 / FSP_MUD_LIMIT_KGM3);
}

/* hook load x |block travel| of a pull from one number of stands to another. */
static double
real_way(const struct fsp_work_in *in, int from, int to)
{
    double stand = in->string.stand_m, joules = 0;

    for (; from > to; from--)
        joules += (really_hanging(in, from * stand) + 2 * in->string.block_n) * stand;
    return joules;
}

/* Stand by stand with a real assembly of whole stands: exact while all of it hangs, and over the
 * whole way off by no more than C x B each way, on the side of C. */
static void
a_real_assembly_stand_by_stand_stays_within_c_times_b(void **state)
{
    int run;

    (void)state;
    for (run = 0; run < 200; run++) {
        struct fsp_work_in in = random_string(FSP_OP_HALF_TRIP);
        int stands = (int)between(30, 200), bottom = 1 + run % 8, shoe = (int)between(8, 29);
        struct fsp_work_out out;
        double way, excess, bound;

        in.string.bha_m = in.string.stand_m * bottom;
        in.depth_m = in.string.stand_m * stands;
        out = reckoned(&in);
        way = real_way(&in, stands, 0);
        excess = out.joules - way;
        bound = out.extra_n * in.string.bha_m;
        assert_true(fabs(excess) <= fabs(bound) + 1e-9 * way);
        assert_true(excess * bound >= -1e-9 * way * fabs(bound));
        /* The sum itself: half of C x (B - Ls). */
        assert_near(excess / way, out.extra_n * (in.string.bha_m - in.string.stand_m) / 2 / way,
                RELATIVE);
        in.op = FSP_OP_ROUND_TRIP;
        assert_near((reckoned(&in).joules - 2 * way) / way, 2 * excess / way, RELATIVE);
        in.op = FSP_OP_PULL_OUT;
        in.from_m = in.depth_m;
        in.to_m = in.string.stand_m * shoe;
        assert_near(reckoned(&in).joules / real_way(&in, stands, shoe), 1, RELATIVE);
    }
}

/* Lapeyrouse's string in 67 stands: the formula is 0.8 % high. */
static void
the_books_string_by_motion_is_0_8_per_cent_below_the_formula(void **state)
{
    struct fsp_work_in in = lapeyrouse(FSP_OP_ROUND_TRIP);
    double formula;

    (void)state;
    in.depth_m = FT(67 * 60);
    formula = reckoned(&in).joules;
    assert_near((formula - 2 * real_way(&in, 67, 0)) / formula, 0.008, 0.0006);
}

static void
casing_by_motion_agrees_with_the_formula_to_1e_9(void **state)
{
    int run, i;

    (void)state;
    for (run = 0; run < 100; run++) {
        struct fsp_work_in in = {.op = FSP_OP_CASING};
        int joints = (int)between(20, 300);
        double way = 0, buoyancy;

        in.joint_m = between(9, 13);
        in.casing_nm = between(200, 1500);
        in.string.mud_kgm3 = between(0, 2000);
        in.string.block_n = between(30e3, 400e3);
        in.depth_m = in.joint_m * joints;
        buoyancy = fsp_work_buoyancy(in.string.mud_kgm3);
        for (i = 1; i <= joints; i++)
            way += (in.casing_nm * buoyancy * in.joint_m * i + 2 * in.string.block_n) *
                   in.joint_m;
        assert_near(reckoned(&in).joules / way, 1, RELATIVE);
    }
}

static void
casing_sections_of_one_weight_equal_plain_casing(void **state)
{
    struct fsp_work_section sections[3];
    struct fsp_work_in in = {.op = FSP_OP_CASING};
    double plain, heavy_low, heavy_high;

    (void)state;
    in.joint_m = 12;
    in.casing_nm = 500;
    in.string.mud_kgm3 = 1200;
    in.string.block_n = 150e3;
    in.depth_m = 2400;
    plain = reckoned(&in).joules;
    sections[0] = (struct fsp_work_section){500, 600};
    sections[1] = (struct fsp_work_section){500, 1200};
    sections[2] = (struct fsp_work_section){500, 600};
    in.sections = sections;
    in.n_sections = 3;
    assert_near(reckoned(&in).joules / plain, 1, RELATIVE);
    sections[0].linear_nm = 800;
    heavy_low = reckoned(&in).joules;
    sections[0].linear_nm = 500;
    sections[2].linear_nm = 800;
    heavy_high = reckoned(&in).joules;
    assert_true(heavy_low > heavy_high && heavy_high > plain);
}

/* A landing string of the casing's own weight and joint is just more casing. */
static void
a_landing_string_is_run_under_the_whole_casing(void **state)
{
    struct fsp_work_in in = {.op = FSP_OP_CASING};
    double plain;

    (void)state;
    in.joint_m = 12;
    in.casing_nm = 500;
    in.string.block_n = 150e3;
    in.depth_m = 2400;
    plain = reckoned(&in).joules;
    in.string.pipe_nm = 500;
    in.string.stand_m = 12;
    in.landing_m = 240;
    assert_near(reckoned(&in).joules / plain, 1, RELATIVE);
    assert_near(reckoned(&in).hookload_n, 500 * 2400 + 150e3, 1e-6);
    in.string.pipe_nm = 300;
    assert_true(reckoned(&in).joules < plain);
}

/* Motion: liner joints to the liner's length, then stands of pipe with all of the liner below. */
static void
a_liner_by_motion_agrees_to_1e_9(void **state)
{
    struct fsp_work_in in = {.op = FSP_OP_LINER};
    double way = 0, weight = 0, buoyancy;
    int i;

    (void)state;
    in.joint_m = 12;
    in.casing_nm = 430;
    in.liner_m = 12 * 60;
    in.string.stand_m = 28;
    in.string.pipe_nm = 285;
    in.string.mud_kgm3 = 1300;
    in.string.block_n = 200e3;
    in.depth_m = in.liner_m + 28 * 75;
    buoyancy = fsp_work_buoyancy(1300);
    for (i = 0; i < 60; i++) {
        weight += in.casing_nm * buoyancy * 12;
        way += (weight + 2 * in.string.block_n) * 12;
    }
    for (i = 0; i < 75; i++) {
        weight += in.string.pipe_nm * buoyancy * 28;
        way += (weight + 2 * in.string.block_n) * 28;
    }
    assert_near(reckoned(&in).joules / way, 1, RELATIVE);
    assert_near(reckoned(&in).hookload_n, weight + in.string.block_n, 1e-3);
}

/* By motion 0.50, 1.32, 2.14 of one trip's difference on a top drive, 1.50, 2.32, 3.13 with a
 * kelly where the string is 3.48 times the block (derived); by convention 1, 2, 3 and 2, 3, 4. */
static void
drilling_knows_its_convention_and_its_motion(void **state)
{
    static const struct {
        enum fsp_drive drive;
        int reams;
        double k, motion;
    } rows[] = {{FSP_DRIVE_TOP, 0, 1, 0.50}, {FSP_DRIVE_TOP, 1, 2, 1.32},
            {FSP_DRIVE_TOP, 2, 3, 2.14}, {FSP_DRIVE_KELLY, 0, 2, 1.50},
            {FSP_DRIVE_KELLY, 1, 3, 2.32}, {FSP_DRIVE_KELLY, 2, 4, 3.13}};
    struct fsp_work_in in = {.op = FSP_OP_DRILLING};
    struct fsp_work_out out;
    size_t i;

    (void)state;
    in.string.pipe_nm = 285;
    in.string.stand_m = FT(93);
    in.from_m = FT(9300);
    in.to_m = FT(10230);
    in.string.block_n = 285 * FT(9765 + 46.5) / 3.48;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        in.drive = rows[i].drive;
        in.reams = rows[i].reams;
        out = reckoned(&in);
        assert_near(out.k, rows[i].k, 0);
        assert_near(out.joules / (out.deep_j - out.shallow_j), rows[i].k, 1e-12);
        assert_near(out.motion_j / (out.deep_j - out.shallow_j), rows[i].motion, 0.006);
        assert_true(out.motion_j < out.joules);
    }
}

static void
what_is_left_unsaid_gets_a_named_default(void **state)
{
    struct fsp_work_in in = lapeyrouse(FSP_OP_DRILLING);
    struct fsp_buf assumed;

    (void)state;
    fsp_buf_init(&assumed, 1000);
    fsp_work_assume(&in, &assumed);
    assert_int_equal(in.drive, FSP_DRIVE_KELLY);
    assert_int_equal(in.reams, 1);
    assert_string_equal(
            fsp_buf_peek(&assumed), "drive kelly (not given)\nreams 1 (not given)\n");
    fsp_buf_reset(&assumed);
    in.op = FSP_OP_REAMING;
    fsp_work_assume(&in, &assumed);
    assert_int_equal(in.passes, 1);
    fsp_buf_reset(&assumed);
    fsp_work_assume(&in, &assumed);
    assert_string_equal(fsp_buf_peek(&assumed), "");
    fsp_buf_fini(&assumed);
}

static void
reaming_and_moves_count_each_pass_and_each_move(void **state)
{
    struct fsp_work_in in = lapeyrouse(FSP_OP_REAMING);
    struct fsp_work_in moves = {.op = FSP_OP_MOVES};
    double once;

    (void)state;
    in.from_m = FT(3000);
    in.to_m = FT(4000);
    once = reckoned(&in).joules;
    in.passes = 3;
    assert_near(reckoned(&in).joules, 3 * once, once * 1e-12);
    moves.count = 30;
    moves.stroke_m = FT(10);
    moves.up_n = LB(200000);
    moves.down_n = LB(100000);
    assert_near(TM(reckoned(&moves).joules), 30 * 10 * 300000 / 10560000.0, 1e-9);
    assert_near(reckoned(&moves).hookload_n, LB(200000), 1e-9);
    moves.multiplier = 1.5;
    assert_near(TM(reckoned(&moves).joules), 45 * 10 * 300000 / 10560000.0, 1e-9);
}

static void
odd_but_right_strings_are_taken(void **state)
{
    struct fsp_work_in in = lapeyrouse(FSP_OP_ROUND_TRIP);

    (void)state;
    in.string.bha_n = 0;
    in.string.bha_m = 0;
    assert_true(reckoned(&in).joules > 0); /* open-ended */
    in.string.bha_m = FT(300);
    assert_true(reckoned(&in).extra_n < 0); /* lighter than the pipe it replaces */
    in.string.mud_kgm3 = 0;
    assert_near(reckoned(&in).buoyancy, 1, 0); /* air */
    in.depth_m = 0;
    assert_near(reckoned(&in).joules, 0, 0); /* out of the hole */
    in.depth_m = FT(300);
    assert_true(reckoned(&in).joules > 0); /* just the assembly */
}

static void
set(struct fsp_work_in *in, size_t offset, double value)
{
    memcpy((char *)in + offset, &value, sizeof(value));
}

#define AT(member) offsetof(struct fsp_work_in, member)

static void
nonsense_is_refused_with_the_fields_name(void **state)
{
    static const struct {
        enum fsp_op_code op;
        size_t offset;
        double value;
        const char *says;
    } rows[] = {
            {FSP_OP_ROUND_TRIP, AT(depth_m), 200 * FSP_FT_M, "depth: 200 ft is less than"},
            {FSP_OP_ROUND_TRIP, AT(depth_m), -1, "depth: found -1 m (-3.28084 ft)"},
            {FSP_OP_ROUND_TRIP, AT(depth_m), 914400,
                    "depth: found 914400 m (3000000 ft); allowed: 0 to 15,000 m"},
            {FSP_OP_HALF_TRIP, AT(string.stand_m), 0,
                    "stand: found 0 m (0 ft); allowed: above 0"},
            {FSP_OP_HALF_TRIP, AT(string.stand_m), -18, "stand: found -18 m"},
            {FSP_OP_ROUND_TRIP, AT(string.pipe_nm), 0,
                    "pipe: found 0 kg/m (0 lb/ft); allowed: above 0"},
            {FSP_OP_ROUND_TRIP, AT(string.mud_kgm3), 9000,
                    "mud: found 9000 kg/m3 (75.10864 ppg)"},
            {FSP_OP_ROUND_TRIP, AT(string.mud_kgm3), -1, "mud: found -1"},
            {FSP_OP_ROUND_TRIP, AT(string.block_n), 0, "block: found 0 kN"},
            {FSP_OP_MOVES, AT(multiplier), 11, "multiplier: found 11; allowed: above 0, to 10"},
            {FSP_OP_ROUND_TRIP, AT(string.block_n), -1, "block: found -0.001 kN"},
            {FSP_OP_ROUND_TRIP, AT(string.bha_n), 1e9, "bha-weight: found 1000000 kN"},
            {FSP_OP_PULL_OUT, AT(to_m), 2000, "from: a pull-out starts at the deeper"},
            {FSP_OP_DRILLING, AT(from_m), 2000, "from: drilling ends at the deeper"},
            {FSP_OP_CORING, AT(from_m), 50, "from: 164 ft is less than"},
            {FSP_OP_CASING, AT(joint_m), 0, "joint: found 0 m"},
            {FSP_OP_CASING, AT(casing_nm), 0, "casing: found 0 kg/m"},
            {FSP_OP_CASING, AT(landing_m), 5000, "landing-string: found 5000 m (16404.2"},
            {FSP_OP_LINER, AT(liner_m), 5000, "liner-length: found 5000 m (16404.2"},
            {FSP_OP_MOVES, AT(count), 0, "count: found 0; allowed: 1 to"},
            {FSP_OP_MOVES, AT(stroke_m), 0, "stroke: found 0 m"},
            {FSP_OP_MOVES, AT(up_n), -5, "up: found -0.005 kN"},
            {FSP_OP_STATED, AT(given_j), -5, "ton-miles: found -"},
    };
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_work_in in = lapeyrouse(rows[i].op);
        struct fsp_err err = {0};
        struct fsp_work_out out;

        in.from_m = FT(4000);
        in.to_m = FT(4000);
        in.casing_nm = 500;
        in.joint_m = 12;
        in.liner_m = 500;
        in.count = 1;
        in.stroke_m = 1;
        in.up_n = 1e5;
        assert_ok(fsp_work_reckon(&in, &out, &err), &err);
        set(&in, rows[i].offset, rows[i].value);
        assert_int_equal(fsp_work_reckon(&in, &out, &err), FSP_EINVAL);
        if (strstr(err.text, rows[i].says) == NULL)
            fail_msg("row %zu: %s", i, err.text);
        assert_near(out.joules, 0, 0);
        set(&in, rows[i].offset, (double)NAN);
        assert_int_equal(fsp_work_reckon(&in, &out, &err), FSP_EINVAL);
    }
}

static void
the_formula_shows_its_numbers_in_both_systems(void **state)
{
    struct fsp_work_in in = lapeyrouse(FSP_OP_ROUND_TRIP);
    struct fsp_work_out out = reckoned(&in);
    struct fsp_buf buf;
    int op;

    (void)state;
    fsp_buf_init(&buf, 4000);
    fsp_work_formula(&in, &out, FSP_UNITS_FIELD, &buf);
    assert_non_null(strstr(fsp_buf_peek(&buf),
            "4,000 x (60 + 4,000) x 11.3507 / 10,560,000 + 4,000 x (15,000 + 17,845.3 / 2) / "
            "2,640,000 = 53.702 = 53.70 ton-miles"));
    fsp_buf_reset(&buf);
    fsp_work_formula(&in, &out, FSP_UNITS_METRIC, &buf);
    assert_non_null(strstr(fsp_buf_peek(&buf), "/ 1,000,000 = 78.404 = 78.40 t-km"));
    for (op = FSP_OP_ROUND_TRIP; op <= FSP_OP_STATED; op++) {
        in = lapeyrouse((enum fsp_op_code)op);
        in.from_m = in.to_m = FT(4000);
        in.casing_nm = 500;
        in.joint_m = 12;
        in.liner_m = 500;
        in.count = in.stroke_m = 1;
        in.up_n = 1e5;
        out = reckoned(&in);
        fsp_buf_reset(&buf);
        fsp_work_formula(&in, &out, FSP_UNITS_FIELD, &buf);
        assert_non_null(strstr(fsp_buf_peek(&buf), "ton-miles"));
        assert_int_equal(fsp_work_op(fsp_work_op_name((enum fsp_op_code)op)), op);
    }
    assert_int_equal(fsp_work_op("trip"), FSP_OP_NONE);
    assert_int_equal(fsp_work_op(NULL), FSP_OP_NONE);
    fsp_buf_fini(&buf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(round_trip_of_the_book_is_53_7_ton_miles),
            cmocka_unit_test(drilling_of_the_book_is_32_7_and_the_unrounded_chain_33_07),
            cmocka_unit_test(coring_and_short_trip_of_the_book_are_20_and_10),
            cmocka_unit_test(buoyancy_forms_differ_by_less_than_0_0002),
            cmocka_unit_test(the_metric_form_gives_the_same_work),
            cmocka_unit_test(trips_by_motion_agree_with_the_formulas_to_1e_9),
            cmocka_unit_test(a_real_assembly_makes_the_formula_high_by_at_most_c_times_b),
            cmocka_unit_test(a_real_assembly_stand_by_stand_stays_within_c_times_b),
            cmocka_unit_test(the_books_string_by_motion_is_0_8_per_cent_below_the_formula),
            cmocka_unit_test(casing_by_motion_agrees_with_the_formula_to_1e_9),
            cmocka_unit_test(casing_sections_of_one_weight_equal_plain_casing),
            cmocka_unit_test(a_landing_string_is_run_under_the_whole_casing),
            cmocka_unit_test(a_liner_by_motion_agrees_to_1e_9),
            cmocka_unit_test(drilling_knows_its_convention_and_its_motion),
            cmocka_unit_test(what_is_left_unsaid_gets_a_named_default),
            cmocka_unit_test(reaming_and_moves_count_each_pass_and_each_move),
            cmocka_unit_test(odd_but_right_strings_are_taken),
            cmocka_unit_test(nonsense_is_refused_with_the_fields_name),
            cmocka_unit_test(the_formula_shows_its_numbers_in_both_systems),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
