#include "support/test.h"
#include "unit/line/near.h"

#include <stdlib.h>
#include <string.h>

#include "rig/reckon.h"

#define MEMBERS_MAX 40

/* "what name=value name=value": the output, "" on failure with err set. */
static const char *
reckoned(const char *line, bool json, struct fsp_err *err)
{
    static char copy[2000], kept[65000];
    struct fsp_typed members[MEMBERS_MAX];
    struct fsp_buf out;
    size_t n = 0;
    char *rest;

    fsp_err_clear(err);
    fsp_buf_init(&out, sizeof(kept) - 1);
    (void)snprintf(copy, sizeof(copy), "%s", line);
    rest = copy + strcspn(copy, " ");
    while (*rest != 0) {
        char *equals;

        *rest++ = 0;
        equals = strchr(rest, '=');
        assert_non_null(equals);
        assert_true(n < MEMBERS_MAX);
        members[n].name = rest;
        members[n++].value = equals + 1;
        rest += strcspn(rest, " ");
        *equals = 0;
    }
    if (fsp_reckon_run(copy, members, n, json, &out, err) != FSP_OK)
        assert_int_equal(out.len, 0);
    (void)snprintf(kept, sizeof(kept), "%s", fsp_buf_peek(&out));
    fsp_buf_fini(&out);
    return kept;
}

static double
number(const char *line, const char *key)
{
    struct fsp_err err;
    const char *json = reckoned(line, true, &err), *at;
    char quoted[80];

    (void)snprintf(quoted, sizeof(quoted), "\"%s\":", key);
    at = strstr(json, quoted);
    if (at == NULL)
        fail_msg("no %s in %s (%s)", key, json, err.text);
    return at == NULL ? 0 : strtod(at + strlen(quoted), NULL);
}

#define BOOK                                                                                   \
    "stand=60ft pipe=13.3lb/ft bha-weight=24900lb bha-length=300ft block=15000lb mud=9.6ppg"

/* Lapeyrouse, 2nd edition, p. 44: 53.7 ton-miles; recomputed 53.702. */
static void
the_books_round_trip_is_reckoned(void **state)
{
    static const char line[] = "round-trip depth=4000ft " BOOK;

    (void)state;
    assert_near(number(line, "ton_miles"), 53.702, 0.0005);
    assert_near(number(line, "tonne_km"), 53.70244 * 1.459972, 0.0005);
    assert_near(number(line, "megajoules"), 53.70244 * 14.31744, 0.005);
    assert_near(number(line, "buoyancy"), 0.853435, 0.000001);
    assert_near(number("half-trip depth=4000ft " BOOK, "ton_miles"), 53.702 / 2, 0.0005);
    assert_near(number("pull-out from=4000ft to=0ft " BOOK, "ton_miles"), 53.702 / 2, 0.0005);
}

/* Same book, p. 45, unrounded chain to 4,600 ft: 33.07. */
static void
the_books_drilling_is_reckoned_with_its_multiplier(void **state)
{
    static const char line[] = "drilling from=4000ft to=4600ft drive=kelly reams=1 " BOOK;

    (void)state;
    assert_near(number(line, "ton_miles"), 33.07, 0.05);
    assert_near(number(line, "k"), 3, 0);
    assert_true(number(line, "motion_ton_miles") < 33);
    assert_near(
            number("drilling from=4000ft to=4600ft drive=top-drive reams=0 " BOOK, "k"), 1, 0);
    assert_near(number("coring from=4000ft to=4600ft " BOOK, "ton_miles"),
            2 * number("short-trip from=4600ft to=4000ft " BOOK, "ton_miles"), 1e-9);
    assert_near(number("reaming from=4000ft to=4600ft passes=2 " BOOK, "ton_miles"),
            2 * number("short-trip from=4000ft to=4600ft " BOOK, "ton_miles"), 1e-9);
    assert_near(number("run-in from=4000ft to=4600ft " BOOK, "ton_miles"),
            number("short-trip from=4000ft to=4600ft " BOOK, "ton_miles") / 2, 1e-9);
}

/* The same trip typed in metres and kilograms. */
static void
both_unit_systems_give_the_same(void **state)
{
    (void)state;
    assert_near(
            number("round-trip depth=1219.2m stand=18.288m pipe=19.79263kg/m "
                   "bha-weight=11.29445t bha-length=91.44m block=6.803886t mud=1150.33kg/m3",
                    "ton_miles"),
            53.7024, 0.001);
}

/* API RP 9B, 14th edition, addendum 1: 3.9 (3.893 unrounded); derrick 480,000 lb (university
 * notes). */
static void
the_published_lift_is_reckoned(void **state)
{
    static const char line[] =
            "lift hookload=400000lb lines=10 rope=1-3/8in grade=EIPS bearing=roller";
    struct fsp_err err;

    (void)state;
    assert_near(number(line, "design_factor"), 3.893, 0.0005);
    assert_near(number(line, "design_factor_static"), 4.8, 1e-9);
    assert_near(number(line, "derrick_load_static_lbf"), 480000, 1e-6);
    assert_near(number(line, "fast_line_lbf"), 49316.4, 0.05);
    assert_near(number(line, "dead_line_lbf"), 33316.4, 0.05);
    assert_near(number(line, "efficiency"), 0.8111, 0.00005);
    assert_near(number(line, "lines_needed"), 8, 0);
    assert_non_null(strstr(reckoned(line, true, &err),
            "line only; mast, block, anchor, drawworks and pipe not checked"));
    assert_null(strstr(reckoned(line, true, &err), "load_at_2_lbf"));
    assert_null(strstr(reckoned(line, false, &err), "allowed"));
    assert_non_null(
            strstr(reckoned("lift hookload=300klb lines=10 rope=35mm grade=1960", true, &err),
                    "bearing roller (not given)"));
}

static void
below_factor_3_is_shown_only_for_a_chosen_service(void **state)
{
    static const char line[] = "lift hookload=600klb lines=10 rope=1-3/8in grade=EIPS";
    struct fsp_err err;
    char chosen[200];

    (void)state;
    assert_string_equal(reckoned(line, true, &err), "");
    assert_non_null(strstr(err.text, "service"));
    (void)snprintf(chosen, sizeof(chosen), "%s service=drilling", line);
    assert_string_equal(reckoned(chosen, true, &err), "");
    (void)snprintf(chosen, sizeof(chosen), "%s service=stuck-pipe", line);
    assert_near(number(chosen, "design_factor"), 2.595, 0.001);
    assert_near(number(chosen, "load_at_2_lbf"), 778646, 50);
    assert_non_null(strstr(reckoned(chosen, false, &err), "the toolpusher decides"));
    assert_non_null(strstr(
            reckoned("lift hookload=900klb lines=10 rope=1-3/8in grade=EIPS service=casing",
                    false, &err),
            "BELOW 2"));
}

#define PULL "lift hookload=400klb lines=10 rope=1-3/8in grade=EIPS bearing=roller rolling=10"

static void
has(const char *line, bool json, const char *text)
{
    struct fsp_err err;
    const char *got = reckoned(line, json, &err);

    if (strstr(got, text) == NULL)
        fail_msg("%s: \"%s\" lacks \"%s\" (%s)", line, got, text, err.text);
}

static void
a_refused_lift_says_what_would_do(void **state)
{
    struct fsp_err err;

    (void)state;
    /* 192,000 / 3 x 10 x .8111 = 519,097 lb; on 12 lines 600,000 lb leave 3.00. */
    assert_string_equal(
            reckoned("lift hookload=600klb lines=10 rope=1-3/8in grade=EIPS", false, &err), "");
    assert_non_null(strstr(err.text, "keeps 3 to 519,097 lb; 12 lines would keep 3"));
    assert_string_equal(reckoned(PULL " factor=2.5", false, &err), "");
    assert_non_null(strstr(err.text, "factor: found 2.5; allowed: 3 to 20"));
}

static void
the_lines_for_a_wanted_factor_are_reckoned(void **state)
{
    (void)state;
    assert_near(number(PULL " factor=5", "lines_needed"), 14, 0);
    assert_near(number(PULL " factor=5", "lines_needed_for"), 5, 0);
    assert_near(number(PULL " factor=3.893", "lines_needed"), 10, 0);
    assert_near(number(PULL " factor=3.894", "lines_needed"), 12, 0);
    has(PULL " factor=9", true, "\"lines_needed\":null");
    has(PULL " factor=9", false, "No number of lines up to 24 leaves factor 9");
    has(PULL " factor=4", false, ", at 4: 389,323 lb");
}

/* By hand for 10 lines, roller: crown 1 + .12329 + .08329 = 1.20658 of the hook load; fast line
 * .12329 of it; dead line at rest a tenth. A mast of 12 lines on 10: x (14/12) / (12/10). */
static void
ratings_are_brought_to_the_hook_and_the_lowest_is_named(void **state)
{
    (void)state;
    has(PULL " rating-hook=1000klb rating-block=1000klb rating-mast=550klb", true,
            "\"lowest_rating\":\"mast\"");
    assert_near(number(PULL " rating-crown=900klb", "lowest_rating_lbf"), 745909, 1);
    assert_near(number(PULL " rating-drawworks=60klb", "lowest_rating_lbf"), 486653, 1);
    assert_near(number(PULL " rating-anchor=60klb", "lowest_rating_lbf"), 600000, 1e-6);
    assert_near(number(PULL " rating-mast=600klb rating-mast-lines=12", "lowest_rating_lbf"),
            600000.0 * 14 / 12 / 1.2, 1e-6);
    assert_near(number(PULL " rating-mast=600klb rating-mast-lines=8", "lowest_rating_lbf"),
            600000, 1e-6);
    has(PULL " rating-mast=600klb", true, "\"not_checked\":[\"crown\",\"block\",\"hook\"");
    has(PULL " rating-mast=600klb", true, "rating-mast-lines 10");
    has(PULL " rating-mast=600klb", false, "more lines never raise it");
    has(PULL " rating-mast=390klb", false, "ABOVE THE RATING of the mast");
    has(PULL " rating-mast=500klb", false, "The mast comes before the line");
    has(PULL, true, "\"lowest_rating\":null");
}

static void
a_pull_creates_its_duties(void **state)
{
    (void)state;
    has(PULL, true, "\"duties\":[]");
    has(PULL " service=casing", true, "\"duties\":[]");
    has("lift hookload=600klb lines=10 rope=1-3/8in grade=EIPS service=casing", true,
            "\"duties\":[\"a pull below factor 3");
    has("lift hookload=770klb lines=10 rope=1-3/8in grade=EIPS service=stuck-pipe", false,
            "Duty: a pull near factor 2: thorough inspection");
    has("lift hookload=770klb lines=10 rope=1-3/8in grade=EIPS service=stuck-pipe", false,
            "Duty: after jarring");
}

static void
strength_says_where_it_comes_from(void **state)
{
    (void)state;
    has(PULL, true, "\"strength_source\":\"table\"");
    has("lift hookload=1200kN lines=10 rope=35mm grade=1960", true,
            "\"strength_source\":\"rule\"");
    assert_near(number("lift hookload=1200kN lines=10 rope=35mm grade=1960", "strength_lbf"),
            192157, 1);
    has(PULL " strength=190klb", true, "\"strength_source\":\"certificate\"");
    has(PULL " strength=198klb", false, "more than 3 % above the table");
}

static void
cut_and_goal_are_reckoned(void **state)
{
    struct fsp_err err;

    (void)state;
    assert_near(number("cut mast=142ft drum=30in slips=3", "laps"), 11.5, 0);
    assert_near(number("cut mast=142ft drum=30in slips=3", "lap_ft"), 94.25 / 12, 0.001);
    assert_near(number("cut mast=142ft drum=30in slips=3", "cut_ft"), 90.3, 0.05);
    assert_near(number("cut mast=142ft drum=30in slips=3", "slip_ft"), 30.1, 0.05);
    assert_near(number("cut mast=142ft drum=30in rope=1-3/8in", "cut_ft"), 94.5, 0.05);
    assert_near(number("cut mast=142ft drum=30in rope=1-3/8in", "cut_by_drum_ft"), 90.3, 0.05);
    assert_near(number("goal rope=1-3/8in cut=90ft factor=4", "curve"), 0.8, 1e-12);
    assert_near(number("goal rope=1-3/8in cut=90ft factor=4", "first_ton_miles"),
            0.8 * 90 * 2000 / (35 / 0.3048), 0.001);
    assert_near(number("goal rope=1-3/8in cut=90ft factor=4", "later_ton_miles"),
            0.8 * (90 * 2000 / (35 / 0.3048) - 200), 0.001);
    assert_near(number("goal rope=1-3/8in cut=90ft factor=6", "curve"), 1.15, 1e-12);
    assert_near(number("goal rope=1-3/8in cut=90ft factor=6", "curve_applied"), 1, 0);
    assert_non_null(strstr(reckoned("goal rope=1in cut=60ft", true, &err),
            "\"formation normal (not given)\",\"factor 5 (not given)\""));
}

#define CUT      "cut mast=142ft drum=30in rope=1-3/8in slips=3"
#define GEOMETRY " lines=10 crown=145ft pick-low=6ft pick-high=98ft wraps-low=14"

static void
a_cut_without_geometry_says_what_the_check_would_need(void **state)
{
    (void)state;
    has(CUT, true,
            "\"check_needs\":[\"lines\",\"crown\",\"pick-low\",\"pick-high\",\"wraps-low\"],"
            "\"candidates\":[]");
    has(CUT " lines=10 crown=145ft", true,
            "\"check_needs\":[\"pick-low\",\"pick-high\",\"wraps-low\"]");
    has(CUT " lines=10", false,
            "The check of the critical points would need crown, pick-low, pick-high, "
            "wraps-low");
}

static void
a_cut_with_geometry_ranks_the_lengths_and_names_what_each_leaves(void **state)
{
    (void)state;
    has(CUT GEOMETRY, true, "\"check_needs\":[],\"candidates\":[{\"crossover_on_crossover\":");
    has(CUT GEOMETRY, true, "\"leaves\":[{\"apart_ft\":");
    has(CUT GEOMETRY, true, "\"before\":\"fast-line sheave at pick-high\"");
    has(CUT GEOMETRY, true, "\"before\":\"dead-line sheave\"");
    has(CUT GEOMETRY, true, "\"before\":\"anchor\"");
    has(CUT GEOMETRY, true, "laps-per-layer not given");
    has(CUT GEOMETRY, false, "Lengths by critical points, best first");
    has(CUT GEOMETRY, false, "Nothing clears every class for ever");
    /* The table's answer stays what it is. */
    assert_near(number(CUT GEOMETRY, "lap_ft"), 98.57 / 12, 0.001);
}

static void
casing_liner_and_moves_are_reckoned(void **state)
{
    (void)state;
    /* 1/2 [D(Lcs + D)Wcm/10,560,000 + D M/2,640,000] by hand, in air. */
    assert_near(number("casing depth=4000ft casing=40lb/ft joint=40ft block=15000lb mud=air",
                        "ton_miles"),
            (4000.0 * 4040 * 40 / 10560000 + 4000.0 * 15000 / 2640000) / 2, 1e-6);
    assert_near(number("moves count=30 stroke=10ft up=200klb down=100klb", "ton_miles"),
            30 * 10 * 300000 / 10560000.0, 1e-9);
    assert_true(number("liner depth=9000ft liner-length=3000ft casing=29lb/ft joint=40ft "
                       "stand=60ft pipe=13.3lb/ft block=15000lb mud=9.6ppg",
                        "ton_miles") > 0);
    assert_true(number("casing depth=4000ft casing=40lb/ft joint=40ft block=15000lb mud=air "
                       "landing-string=500ft pipe=20lb/ft",
                        "ton_miles") > 0);
}

/* Every published row, as printed and as recomputed. */
static void
the_published_rows_come_out_of_reckon(void **state)
{
    static const struct {
        const char *line, *key;
        double want, within;
    } rows[] = {
            /* Lapeyrouse, 2nd edition, p. 44 and p. 45; coring and short trip after it. */
            {"round-trip depth=4000ft " BOOK, "ton_miles", 53.702, 0.0005},
            {"trips deep=64.6 shallow=53.7 drive=kelly reams=1", "drilling_ton_miles", 32.7,
                    1e-9},
            {"trips deep=200 shallow=190", "coring_ton_miles", 20, 1e-9},
            {"trips deep=200 shallow=190", "short_trip_ton_miles", 10, 1e-9},
            /* API RP 9B, 14th edition, addendum 1; university notes without friction. */
            {PULL, "design_factor", 3.893, 0.0005},
            {PULL, "fast_line_factor", 0.123, 0.0005},
            {PULL, "derrick_load_static_lbf", 480000, 1e-6},
            /* Pipeline Rules of Thumb Handbook: printed 3.25, rounded. */
            {"lift hookload=3250lb lines=4 rope=1in grade=IPS sheave-efficiency=0.917",
                    "mechanical_advantage", 3.236, 0.0005},
            /* Lyons, Standard Handbook, vol. 1, from RP 9B: 20 ft per 200 ton-miles. */
            {"slips cut=80ft goal=800 slips=4", "slip_ft", 20, 1e-9},
            {"slips cut=80ft goal=800 slips=4", "slip_ton_miles", 200, 1e-9},
            {"slips cut=80ft goal=800 slips=4", "ton_miles_per_ft", 10, 1e-9},
            /* Common practice. */
            {"cut mast=142ft drum=30in", "laps", 11.5, 0},
            {"cut mast=142ft drum=30in", "cut_ft", 90.3, 0.05},
            {"goal rope=1-3/8in cut=90ft factor=4", "curve", 0.8, 1e-12},
    };
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        assert_near(number(rows[i].line, rows[i].key), rows[i].want, rows[i].within);
}

#define SI_BOOK                                                                                \
    "stand=18.288m pipe=19.79258045kg/m bha-weight=11294.45001kg bha-length=91.44m "           \
    "block=6803.88555kg mud=1150.333702kg/m3"
#define US_PIPE "stand=60ft pipe=13.3lb/ft block=15000lb mud=9.6ppg"
#define SI_PIPE "stand=18.288m pipe=19.79258045kg/m block=66.72332423kN mud=1150.333702kg/m3"

/* The figure that the formula ends with, whatever its unit. */
static double
last_figure(const char *line, const char *unit)
{
    struct fsp_err err;
    const char *text = reckoned(line, false, &err), *end, *at;
    char digits[40] = "";
    size_t n = 0;

    end = strstr(text, "\n");
    assert_non_null(end);
    end = strchr(end + 1, '\n'); /* of the formula's line */
    assert_non_null(end);
    for (at = end; at > text && strncmp(at, " = ", 3) != 0; at--)
        ;
    assert_non_null(strstr(at, unit));
    for (at += 3; (*at >= '0' && *at <= '9') || *at == ',' || *at == '.'; at++) {
        if (*at != ',' && n + 1 < sizeof(digits))
            digits[n++] = *at;
    }
    return strtod(digits, NULL);
}

static void
every_operation_is_the_same_in_both_systems_and_ends_in_its_figure(void **state)
{
    static const struct {
        const char *american, *metric;
    } rows[] = {
            {"round-trip depth=4000ft " BOOK, "round-trip depth=1219.2m " SI_BOOK},
            {"half-trip depth=4000ft " BOOK, "half-trip depth=1219.2m " SI_BOOK},
            {"pull-out from=4000ft to=1000ft " BOOK,
                    "pull-out from=1219.2m to=304.8m " SI_BOOK},
            {"run-in from=1000ft to=4000ft " BOOK, "run-in from=304.8m to=1219.2m " SI_BOOK},
            {"short-trip from=4000ft to=1000ft " BOOK,
                    "short-trip from=1219.2m to=304.8m " SI_BOOK},
            {"coring from=3900ft to=4000ft " BOOK, "coring from=1188.72m to=1219.2m " SI_BOOK},
            {"drilling from=3000ft to=4000ft drive=top-drive reams=2 " BOOK,
                    "drilling from=914.4m to=1219.2m drive=top-drive reams=2 " SI_BOOK},
            {"reaming from=3000ft to=4000ft passes=2 " BOOK,
                    "reaming from=914.4m to=1219.2m passes=2 " SI_BOOK},
            {"casing depth=4000ft casing=40lb/ft joint=40ft block=15000lb mud=air",
                    "casing depth=1219.2m casing=59.52655774kg/m joint=12.192m "
                    "block=6803.88555kg "
                    "mud=air"},
            {"casing depth=4000ft joint=40ft landing-string=500ft "
             "sections=[{\"casing\":\"47lb/ft\",\"length\":\"1500ft\"},"
             "{\"casing\":\"40lb/ft\",\"length\":\"2000ft\"}] " US_PIPE,
                    "casing depth=1219.2m joint=12.192m landing-string=152.4m "
                    "sections=[{\"casing\":\"69.94370535kg/m\",\"length\":\"457.2m\"},"
                    "{\"casing\":\"59.52655774kg/m\",\"length\":\"609.6m\"}] " SI_PIPE},
            {"liner depth=9000ft liner-length=3000ft casing=29lb/ft joint=40ft " US_PIPE,
                    "liner depth=2743.2m liner-length=914.4m casing=43.15675436kg/m "
                    "joint=12.192m " SI_PIPE},
            {"moves count=30 stroke=10ft up=200klb down=100klb multiplier=1.5",
                    "moves count=30 stroke=3.048m up=889.64432305kN down=444.82216153kN "
                    "multiplier=1.5"},
            {"counted ton-miles=120", "counted ton-miles=175.196678t-km"},
            {"stated ton-miles=120ton-miles", "stated ton-miles=1718.09250MJ"},
    };
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        double tm = number(rows[i].american, "ton_miles");
        bool drilling = strncmp(rows[i].american, "drilling", 8) == 0;

        assert_near(number(rows[i].metric, "ton_miles") / tm, 1, 1e-6);
        if (drilling)
            continue; /* its line goes on with the figure by motion */
        assert_near(last_figure(rows[i].american, " ton-miles"), tm, 0.00501);
        assert_near(last_figure(rows[i].metric, " t-km"), number(rows[i].metric, "tonne_km"),
                0.00501);
    }
}

static void
drilling_shows_its_figure_by_motion_beside_the_convention(void **state)
{
    static const char line[] = "drilling from=4000ft to=4600ft drive=kelly reams=1 " BOOK;
    struct fsp_err err;

    (void)state;
    /* By hand: trips 64.665 and 53.702; 3 x 10.963 = 32.89 by convention; motion 2.5 x 10.963
     * less 2 x 15,000 x 600 / 10,560,000 = 25.70. */
    has(line, false, "; by motion 25.");
    assert_non_null(strstr(reckoned(line, false, &err), "only the figure by motion"));
    assert_near(number(line, "motion_ton_miles"),
            2.5 * number(line, "ton_miles") / 3 - 2 * 15000.0 * 600 / 10560000, 1e-9);
}

/* Casing in two weights by hand, in air: 1,500 ft of 47 lb/ft, then 2,000 ft of 40 lb/ft. */
static void
sections_are_run_under_what_hangs_already(void **state)
{
    static const char line[] = "casing depth=3500ft joint=40ft block=15000lb mud=air "
                               "sections=[{\"casing\":\"47lb/ft\",\"length\":\"1500ft\"},"
                               "{\"casing\":\"40lb/ft\",\"length\":\"2000ft\"}]";
    double first = 1500.0 * 1540 * 47 / 2 + 2 * 1500.0 * 15000;
    double second = 2000.0 * 1500 * 47 + 2000.0 * 2040 * 40 / 2 + 2 * 2000.0 * 15000;

    (void)state;
    assert_near(number(line, "ton_miles"), (first + second) / 10560000, 1e-6);
    has(line, false, "[1,500 x 0 + 1,500 x (40 + 1,500) x 47 / 2 + 2 x 1,500 x 15,000]");
    has(line, false, "[2,000 x 70,500 + 2,000 x (40 + 2,000) x 40 / 2 + 2 x 2,000 x 15,000]");
}

static void
jarring_is_a_duty_and_carries_the_houses_multiplier(void **state)
{
    (void)state;
    assert_near(number("moves count=30 stroke=10ft up=200klb down=100klb multiplier=2",
                        "ton_miles"),
            2 * 30 * 10 * 300000 / 10560000.0, 1e-9);
    has("moves count=30 stroke=10ft up=200klb down=100klb", true,
            "\"duties\":[\"after jarring: the line inspected");
    has("moves count=30 stroke=10ft up=200klb down=100klb", true,
            "multiplier 1 (the house's for jarring, not given)");
}

static void
odd_but_right_input_is_taken(void **state)
{
    static const char *const lines[] = {
            "round-trip depth=4000ft bha-weight=0lb bha-length=0ft " US_PIPE,
            "round-trip depth=4000ft bha-weight=1000lb bha-length=900ft " US_PIPE,
            "round-trip depth=4000ft stand=60ft pipe=13.3lb/ft block=15000lb mud=air",
            "pull-out from=4000ft to=0ft " BOOK,
            "round-trip depth=300ft " BOOK,
            "drilling from=4000ft to=4600ft reams=0 " BOOK,
            "moves count=1 stroke=10ft up=200klb down=0lb",
    };
    struct fsp_err err;
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(lines) / sizeof(lines[0]); i++) {
        assert_true(number(lines[i], "ton_miles") > 0);
        assert_null(strstr(reckoned(lines[i], true, &err), "nan"));
        assert_null(strstr(reckoned(lines[i], false, &err), "unknown"));
    }
}

static const struct {
    const char *line, *says;
} faults[] = {
        {"trip depth=4000ft", "trip: cannot be reckoned; allowed: round-trip"},
        {"round-trip dept=4000ft", "did you mean depth?"},
        {"round-trip depth=4000ft " BOOK " mast=40m", "does not take this field"},
        {"round-trip depth=4000ft", "stand: missing"},
        {"round-trip " BOOK, "depth: missing"},
        {"round-trip depth= " BOOK, "depth: missing"},
        {"round-trip depth=4000 " BOOK, "depth"},
        {"round-trip depth=4000lb " BOOK, "depth"},
        {"round-trip depth=-4000ft " BOOK, "depth: found \"-4000ft\""},
        {"round-trip depth=4000ft depth=4000ft " BOOK, "depth: given twice"},
        {"round-trip depth=3000000ft " BOOK, "depth: found 914400 m (3000000 ft); allowed"},
        {"round-trip depth=200ft " BOOK, "less than the assembly's length"},
        {"round-trip depth=nanft " BOOK, "depth"},
        {"round-trip depth=4,5ft " BOOK, "depth"},
        {"round-trip depth=4000ft stand=0ft pipe=13.3lb/ft block=1lb mud=air",
                "stand: found 0 m (0 ft); allowed: above 0"},
        {"round-trip depth=4000ft stand=60ft pipe=0lb/ft block=1lb mud=air",
                "pipe: found 0 kg/m (0 lb/ft)"},
        {"round-trip depth=4000ft stand=60ft pipe=13.3lb/ft block=0lb mud=air",
                "block: found 0 kN (0 lb); allowed: above 0"},
        {"round-trip depth=4000ft stand=60ft pipe=13.3lb/ft block=15000lb mud=0ppg",
                "mud: found \"0ppg\"; allowed: air, or a density above 0"},
        {"round-trip depth=4000ft stand=60ft pipe=13.3lb/ft block=15000lb mud=65ppg",
                "allowed: air, or to 3,600 kg/m3 (30 ppg)"},
        {"round-trip depth=4000ft bha-weight=9000lb " US_PIPE, "bha-length: missing"},
        {"round-trip depth=4000ft bha-length=300ft " US_PIPE, "bha-weight: missing"},
        {"round-trip depth=4000ft bha-weight=-1lb bha-length=300ft " US_PIPE, "bha-weight"},
        {"moves count=3 stroke=1ft up=1lb down=1lb multiplier=0", "multiplier: found \"0\""},
        {"moves count=3 stroke=1ft up=1lb down=1lb multiplier=11", "multiplier: found 11"},
        {"moves count=3 stroke=1ft up=0lb down=0lb", "up: found 0 kN"},
        {"reaming from=4000ft to=4600ft passes=0 " BOOK, "passes: found \"0\""},
        {"casing depth=4000ft joint=40ft block=15000lb mud=air", "casing: missing"},
        {"casing depth=4000ft joint=40ft block=15000lb mud=air casing=40lb/ft sections=[]",
                "casing: given with sections"},
        {"casing depth=4000ft joint=40ft block=15000lb mud=air sections=[]",
                "sections: found 0; allowed: a list of 1 to 32"},
        {"casing depth=4000ft joint=40ft block=15000lb mud=air sections=47lb/ft", "sections: "},
        {"casing depth=4000ft joint=40ft block=15000lb mud=air "
         "sections=[{\"casing\":\"47lb\",\"length\":\"4000ft\"}]",
                "sections: number 1 has no casing"},
        {"casing depth=4000ft joint=40ft block=15000lb mud=air "
         "sections=[{\"casing\":\"47lb/ft\",\"length\":\"4000ft\",\"joint\":\"1ft\"}]",
                "number 1: found joint; allowed: casing, length"},
        {"casing depth=4000ft joint=40ft block=15000lb mud=air "
         "sections=[{\"casing\":\"47lb/ft\",\"length\":\"3000ft\"}]",
                "sections: they add up to 3000 ft, 4000 ft are run"},
        {"casing depth=0ft casing=40lb/ft joint=40ft block=15000lb mud=air",
                "depth: found 0 m (0 ft); allowed: above 0"},
        {"trips deep=53.7 shallow=64.6", "deep: found 53.7, less than shallow (64.6)"},
        {"trips deep=5e7 shallow=64.6", "deep"},
        {"trips deep=50000000 shallow=64.6", "deep: found 50000000; allowed: 0 to 1,000,000"},
        {"trips deep=64.6 shallow=53.7 reams=10", "reams: found 10; allowed: 0 to 9"},
        {"slips cut=0ft goal=800 slips=4", "cut: found 0ft; allowed: above 0"},
        {"slips cut=80ft goal=0 slips=4", "goal: found 0; allowed: above 0"},
        {"slips cut=80ft goal=800 slips=0", "slips: found 0; allowed: 1 to 50"},
        {"slips cut=80lb goal=800 slips=1", "cut"},
        {"lift hookload=1klb lines=8 rope=1in grade=IPS sheave-efficiency=1",
                "sheave-efficiency: found 1; allowed: above 0.5"},
        {PULL " sheave-efficiency=0.96", "bearing: given with sheave-efficiency"},
        {"stated ton-miles=-5", "ton-miles"},
        {"stated ton-miles=5000000000", "ton-miles: found"},
        {"counted ton-miles=5ft", "ton-miles"},
        {PULL " rolling=0", "rolling: given twice"},
        {"lift hookload=1klb lines=8 rope=1in grade=IPS rolling=0", "rolling: found \"0\""},
        {"drilling from=4000ft to=4600ft reams=1.5 " BOOK, "reams: found \"1.5\""},
        {"drilling from=4000ft to=4600ft reams=99 " BOOK, "reams: found 99"},
        {"drilling from=4000ft to=4600ft drive=motor " BOOK, "allowed: kelly top-drive"},
        {"lift hookload=400klb lines=9 rope=1in grade=IPS", "lines: found 9"},
        {"lift hookload=0lb lines=8 rope=1in grade=IPS", "hookload: found 0lb"},
        {"lift hookload=1klb lines=8", "rope: missing"},
        {"lift hookload=1klb lines=8 rope=1in", "rope: missing"},
        {"lift hookload=1klb lines=8 rope=32mm grade=EIPS", "rope: no table size"},
        {"lift hookload=1klb lines=8 rope=1in grade=STRONG", "grade: \"STRONG\""},
        {"lift hookload=1klb lines=8 strength=0lb", "strength: 0lb"},
        {PULL " strength=211200lb", "strength: 939.5 kN (211200 lb) is 10 % above"},
        {PULL " strength=940kN", "allowed: less than 10 % above"},
        {PULL " rating-drawworks=600klb", "rating-drawworks: found 600klb, more than the"},
        {PULL " rating-anchor=600klb", "allowed: the pull on the dead line at rest"},
        {PULL " rating-mast=0lb", "rating-mast: found 0lb; allowed: above 0"},
        {PULL " rating-mast=600klb rating-mast-lines=9", "rating-mast-lines: found 9"},
        {PULL " rating-mast-lines=10", "rating-mast: missing"},
        {PULL " factor=21", "factor: found 21; allowed: 3 to 20"},
        {"lift hookload=1klb lines=8 rope=1in grade=IPS service=fishing", "service"},
        {"cut mast=142ft drum=30ft", "drum"},
        {"cut mast=142ft drum=30in slips=0", "slips: found 0"},
        {"cut mast=142ft drum=30in crossovers=3", "crossovers: found 3"},
        {CUT GEOMETRY " dead-wraps=15",
                "wraps-low: found 14; allowed: at least the dead wraps"},
        {CUT GEOMETRY " laps-per-layer=8", "allowed: 48.0, 6 layers of 8"},
        {"cut mast=142ft drum=30in lines=9", "lines: found 9; allowed: an even number"},
        {"cut mast=142ft drum=30in lines=0", "lines: found 0; allowed: an even number"},
        {"cut mast=142ft drum=30in lines=9 crown=145ft pick-low=6ft pick-high=98ft "
         "wraps-low=14",
                "lines: found 9; allowed: an even number"},
        {"cut mast=142ft drum=30in lines=8 crown=145ft pick-low=98ft pick-high=6ft "
         "wraps-low=14",
                "pick-high"},
        {CUT " wraps-low=14wraps", "wraps-low"},
        {CUT " crown=145lb", "crown"},
        {"goal rope=2in cut=90ft", "rope: no suggestion"},
        {"goal rope=1in cut=90ft factor=0", "factor: found 0"},
        {"goal rope=1in cut=90ft formation=chalk", "allowed: soft normal hard"},
        {"moves count=0 stroke=1ft up=1lb down=1lb", "count: found 0; allowed"},
        {"casing depth=4000ft casing=40lb/ft joint=40ft block=15000lb mud=air "
         "landing-string=500ft",
                "pipe: missing"},
};

static void
faults_name_field_found_and_allowed(void **state)
{
    struct fsp_err err;
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(faults) / sizeof(faults[0]); i++) {
        if (*reckoned(faults[i].line, true, &err) != 0 ||
                strstr(err.text, faults[i].says) == NULL)
            fail_msg("row %zu: \"%s\" lacks \"%s\"", i, err.text, faults[i].says);
        if (strchr(err.text, '\n') != NULL)
            fail_msg("row %zu is not one line", i);
    }
}

static void
every_subject_names_its_fields(void **state)
{
    const char *what;
    size_t i;

    (void)state;
    for (i = 0; (what = fsp_reckon_what(i)) != NULL; i++)
        assert_non_null(fsp_reckon_fields(what));
    assert_int_equal(i, 18);
    assert_null(fsp_reckon_fields("trip"));
    assert_null(fsp_reckon_fields(NULL));
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_books_round_trip_is_reckoned),
            cmocka_unit_test(the_books_drilling_is_reckoned_with_its_multiplier),
            cmocka_unit_test(both_unit_systems_give_the_same),
            cmocka_unit_test(the_published_lift_is_reckoned),
            cmocka_unit_test(below_factor_3_is_shown_only_for_a_chosen_service),
            cmocka_unit_test(a_refused_lift_says_what_would_do),
            cmocka_unit_test(the_lines_for_a_wanted_factor_are_reckoned),
            cmocka_unit_test(ratings_are_brought_to_the_hook_and_the_lowest_is_named),
            cmocka_unit_test(a_pull_creates_its_duties),
            cmocka_unit_test(strength_says_where_it_comes_from),
            cmocka_unit_test(cut_and_goal_are_reckoned),
            cmocka_unit_test(a_cut_without_geometry_says_what_the_check_would_need),
            cmocka_unit_test(a_cut_with_geometry_ranks_the_lengths_and_names_what_each_leaves),
            cmocka_unit_test(casing_liner_and_moves_are_reckoned),
            cmocka_unit_test(the_published_rows_come_out_of_reckon),
            cmocka_unit_test(
                    every_operation_is_the_same_in_both_systems_and_ends_in_its_figure),
            cmocka_unit_test(drilling_shows_its_figure_by_motion_beside_the_convention),
            cmocka_unit_test(sections_are_run_under_what_hangs_already),
            cmocka_unit_test(jarring_is_a_duty_and_carries_the_houses_multiplier),
            cmocka_unit_test(odd_but_right_input_is_taken),
            cmocka_unit_test(faults_name_field_found_and_allowed),
            cmocka_unit_test(every_subject_names_its_fields),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
