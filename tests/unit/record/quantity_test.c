#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "record/quantity.h"

struct row {
    const char *text;
    enum fsp_dim dim;
    double si;
};

static void
quantities_convert_to_si(void **state)
{
    /* Factors: NIST SP 811 (2008), appendix B. */
    static const struct row rows[] = {
            {"142ft", FSP_DIM_LENGTH, 43.2816},
            {"142 ft", FSP_DIM_LENGTH, 43.2816},
            {"1-3/8in", FSP_DIM_LENGTH, 0.034925},
            {"1-3/8 in", FSP_DIM_LENGTH, 0.034925},
            {"7/8in", FSP_DIM_LENGTH, 0.022225},
            {"35mm", FSP_DIM_LENGTH, 0.035},
            {"35 MM", FSP_DIM_LENGTH, 0.035},
            {"0.5m", FSP_DIM_LENGTH, 0.5},
            {"-3.25m", FSP_DIM_LENGTH, -3.25},
            {"47000lb", FSP_DIM_LOAD, 209066.41591725},
            {"400klbf", FSP_DIM_LOAD, 1779288.6461042},
            {"2MN", FSP_DIM_LOAD, 2e6},
            {"150kdaN", FSP_DIM_LOAD, 1.5e6},
            {"10t", FSP_DIM_LOAD, 98066.5},
            {"13.3lb/ft", FSP_DIM_LINEAR, 194.098908},
            {"9.6ppg", FSP_DIM_DENSITY, 1150.333702},
            {"1.15SG", FSP_DIM_DENSITY, 1150.0},
            {"1.15 sg", FSP_DIM_DENSITY, 1150.0},
            {"air", FSP_DIM_DENSITY, 0.0},
            {"800", FSP_DIM_WORK, 800 * 14317437.53437959},
            {"800 ton-miles", FSP_DIM_WORK, 800 * 14317437.53437959},
            {"12 MJ", FSP_DIM_WORK, 12e6},
            {"80%", FSP_DIM_SHARE, 0.8},
            {"0.8", FSP_DIM_SHARE, 0.8},
            {"11 Nm", FSP_DIM_TORQUE, 11.0},
            {"11-1/2", FSP_DIM_NONE, 11.5},
    };
    struct fsp_err err;

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        double si = 0.0;

        assert_ok(fsp_quantity_parse(rows[i].text, rows[i].dim, &si, NULL, &err), &err);
        assert_near(si, rows[i].si, 1e-6 * (1.0 + (rows[i].si < 0 ? -rows[i].si : rows[i].si)));
    }
}

struct bad {
    const char *text;
    enum fsp_dim dim;
    const char *says; /* part of the message */
};

static void
faults_say_what_was_found_and_what_is_allowed(void **state)
{
    static const struct bad rows[] = {
            {"4000", FSP_DIM_LENGTH,
                    "'4000' has no unit; write it with one of ft, in, m, cm, mm, km"},
            {"1,5m", FSP_DIM_LENGTH, "'1,5m' has a comma; write a point"},
            {"9,300 ft", FSP_DIM_LENGTH, "has a comma"},
            {"4000lb", FSP_DIM_LENGTH, "'4000lb' is a load, a length is wanted"},
            {"4000 feet", FSP_DIM_LENGTH, "not known here ('feet')"},
            {"90  ft", FSP_DIM_LENGTH, "not known here"},
            {" 90ft", FSP_DIM_LENGTH, "does not begin with a number"},
            {"", FSP_DIM_LENGTH, "does not begin"},
            {"ft", FSP_DIM_LENGTH, "does not begin"},
            {".5m", FSP_DIM_LENGTH, "does not begin"},
            {"5.m", FSP_DIM_LENGTH, "does not begin"},
            {"+5m", FSP_DIM_LENGTH, "does not begin"},
            {"--5m", FSP_DIM_LENGTH, "does not begin"},
            {"1e3m", FSP_DIM_LENGTH, "not known here"},
            {"0x10m", FSP_DIM_LENGTH, "not known here"},
            {"nan", FSP_DIM_LENGTH, "does not begin"},
            {"inf m", FSP_DIM_LENGTH, "does not begin"},
            {"1-9/8in", FSP_DIM_LENGTH, "does not begin"},
            {"1/0in", FSP_DIM_LENGTH, "does not begin"},
            {"-3/8in", FSP_DIM_LENGTH, "does not begin"},
            {"-1-3/8in", FSP_DIM_LENGTH, "does not begin"},
            {"1-3in", FSP_DIM_LENGTH, "does not begin"},
            {"1234567890123456m", FSP_DIM_LENGTH, "does not begin"},
            {"000000000000000000000000000000001m", FSP_DIM_LENGTH, "longer than 32"},
            {"2mN", FSP_DIM_LOAD, "not known here ('mN')"},
            {"2mj", FSP_DIM_WORK, "not known here"},
            {"2ft", FSP_DIM_LOAD, "is a length, a load is wanted"},
            {"2lb", FSP_DIM_LINEAR, "is a load, a weight per length is wanted"},
            {"water", FSP_DIM_DENSITY, "does not begin"},
            {"11.5 laps", FSP_DIM_NONE, "is not a bare number"},
            {"5\n", FSP_DIM_NONE, "5\\x0a"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_err err = {FSP_OK, 0, ""};
        double si = 7.0;

        if (fsp_quantity_parse(rows[i].text, rows[i].dim, &si, NULL, &err) != FSP_EFORMAT)
            fail_msg("'%s' is taken", rows[i].text);
        if (strstr(err.text, rows[i].says) == NULL)
            fail_msg("'%s': %s", rows[i].text, err.text);
        assert_near(si, 0.0, 0.0);
    }
}

static void
decimals_are_read_to_the_last_bit(void **state)
{
    static const char *const texts[] = {
            "0.1", "0.3", "8.345", "142.57", "99999.9999999999", "0.00000000000001"};
    struct fsp_err err;

    (void)state;
    for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
        double value = 0.0;

        assert_ok(fsp_number_parse(texts[i], &value, &err), &err);
        assert_near(value, strtod(texts[i], NULL), 0.0);
    }
}

static void
the_unit_used_is_told(void **state)
{
    const struct fsp_unit *unit = NULL;
    struct fsp_err err;
    double si;

    (void)state;
    assert_ok(fsp_quantity_parse("35mm", FSP_DIM_LENGTH, &si, &unit, &err), &err);
    assert_string_equal(unit->name, "mm");
    assert_ok(fsp_quantity_parse("air", FSP_DIM_DENSITY, &si, &unit, &err), &err);
    assert_null(unit);
}

static void
one_ton_mile_is_what_its_definition_says(void **state)
{
    (void)state;
    /* 2,000 lbf x 5,280 ft; lbf and ft exact, NIST SP 811 B.8. 1.459972 tonne-km, 14.31744 MJ:
     * the printed values of the trade. */
    assert_near(FSP_TON_MILE_J, 2000.0 * 0.45359237 * 9.80665 * 1609.344, 1e-6);
    assert_near(FSP_TON_MILE_J / FSP_TONNE_KM_J, 1.459972, 5e-7);
    assert_near(FSP_TON_MILE_J / 1e6, 14.31744, 5e-6);
}

static const char *
si_of(enum fsp_dim dim)
{
    switch (dim) {
    case FSP_DIM_LENGTH:
        return "m";
    case FSP_DIM_LOAD:
        return "N";
    case FSP_DIM_LINEAR:
        return "N/m";
    case FSP_DIM_DENSITY:
        return "kg/m^3";
    case FSP_DIM_WORK:
        return "J";
    case FSP_DIM_TORQUE:
        return "N m";
    case FSP_DIM_NONE:
    case FSP_DIM_SHARE:
        return "1";
    }
    return "1";
}

/* Outside check: GNU units, from its own definitions file. */
static void
every_factor_agrees_with_gnu_units(void **state)
{
    size_t n = 0;

    (void)state;
    /* NOLINTNEXTLINE(concurrency-mt-unsafe): one thread, the distribution's program */
    if (system("units --version >/dev/null 2>&1") != 0) {
        print_message("GNU units is not installed: factors not checked against it\n");
        skip();
    }
    for (const struct fsp_unit *unit = fsp_unit_at(0); unit != NULL; unit = fsp_unit_at(++n)) {
        char command[160];
        char line[80] = "";
        double factor;
        FILE *pipe;

        (void)snprintf(command, sizeof(command), "units -t -o %%.17g -- '1 %s' '%s'", unit->gnu,
                si_of(unit->dim));
        pipe = popen(command, "r"); /* rows of our own table */
        assert_non_null(pipe);
        if (fgets(line, sizeof(line), pipe) == NULL)
            fail_msg("%s: no answer", command);
        assert_int_equal(pclose(pipe), 0);
        factor = strtod(line, NULL);
        if (!(unit->to_si - factor <= factor * 1e-14 && factor - unit->to_si <= factor * 1e-14))
            fail_msg("%s: %.17g here, %.17g there", unit->name, unit->to_si, factor);
    }
    assert_true(n > 40);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(quantities_convert_to_si),
            cmocka_unit_test(faults_say_what_was_found_and_what_is_allowed),
            cmocka_unit_test(decimals_are_read_to_the_last_bit),
            cmocka_unit_test(the_unit_used_is_told),
            cmocka_unit_test(one_ton_mile_is_what_its_definition_says),
            cmocka_unit_test(every_factor_agrees_with_gnu_units),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
