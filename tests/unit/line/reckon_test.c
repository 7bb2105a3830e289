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

static void
faults_name_field_found_and_allowed(void **state)
{
    static const struct {
        const char *line, *says;
    } rows[] = {
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
            {"round-trip depth=3000000ft " BOOK, "depth: out of range"},
            {"round-trip depth=200ft " BOOK, "less than the assembly's length"},
            {"round-trip depth=nanft " BOOK, "depth"},
            {"round-trip depth=4,5ft " BOOK, "depth"},
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
            {"moves count=0 stroke=1ft up=1lb down=1lb", "count: out of range"},
            {"casing depth=4000ft casing=40lb/ft joint=40ft block=15000lb mud=air "
             "landing-string=500ft",
                    "pipe: missing"},
    };
    struct fsp_err err;
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        if (*reckoned(rows[i].line, true, &err) != 0 || strstr(err.text, rows[i].says) == NULL)
            fail_msg("row %zu: \"%s\" lacks \"%s\"", i, err.text, rows[i].says);
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
    assert_int_equal(i, 14);
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
            cmocka_unit_test(faults_name_field_found_and_allowed),
            cmocka_unit_test(every_subject_names_its_fields),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
