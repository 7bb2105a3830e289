#include "support/test.h"

#include <string.h>
#include <time.h>

#include "base/clock.h"

/* Source: the examples of RFC 3339 section 5.8 (whole seconds; its leap second is refused here). */
static void
the_examples_of_rfc_3339_are_read(void **state)
{
    struct fsp_err err;
    int64_t got;

    (void)state;
    assert_ok(fsp_time_parse("1996-12-19T16:39:57-08:00", NULL, &got, &err), &err);
    assert_int_equal(got, 851042397);
    assert_ok(fsp_time_parse("1937-01-01T12:00:27+00:20", NULL, &got, &err), &err);
    assert_int_equal(got, -1041337173);
    assert_int_equal(fsp_time_parse("1985-04-12T23:20:50.52Z", NULL, &got, &err), FSP_EFORMAT);
    assert_int_equal(fsp_time_parse("1990-12-31T23:59:60Z", NULL, &got, &err), FSP_EFORMAT);
}

static void
text_agrees_with_the_c_library_over_the_calendar(void **state)
{
    char text[FSP_TIME_TEXT_LEN + 1];
    char want[96];
    int64_t back;

    (void)state;
    for (int64_t s = INT64_C(-60000000000); s < INT64_C(250000000000); s += 8640007) {
        time_t t = (time_t)s;
        struct tm tm;

        assert_non_null(gmtime_r(&t, &tm));
        (void)snprintf(want, sizeof(want), "%04d-%02d-%02dT%02d:%02d:%02dZ", tm.tm_year + 1900,
                tm.tm_mon + 1, tm.tm_mday, tm.tm_hour, tm.tm_min, tm.tm_sec);
        fsp_time_text(s, text);
        assert_string_equal(text, want);
        assert_int_equal(fsp_time_parse(text, NULL, &back, NULL), FSP_OK);
        assert_int_equal(back, s);
    }
}

static void
times_beyond_four_digit_years_are_clamped(void **state)
{
    char text[FSP_TIME_TEXT_LEN + 1];

    (void)state;
    fsp_time_text(INT64_MAX / 2, text);
    assert_string_equal(text, "9999-12-31T23:59:59Z");
    fsp_time_text(INT64_MIN / 2, text);
    assert_string_equal(text, "0000-01-01T00:00:00Z");
}

static void
the_rigs_zone_fills_in_for_a_missing_offset(void **state)
{
    int zone = 120;
    struct fsp_err err;
    int64_t got;
    int64_t want;

    (void)state;
    assert_ok(fsp_time_parse("2026-03-01T00:30:00Z", NULL, &want, &err), &err);
    assert_ok(fsp_time_parse("2026-03-01 02:30", &zone, &got, &err), &err);
    assert_int_equal(got, want);
    assert_int_equal(fsp_time_parse("2026-03-01 02:30", NULL, &got, &err), FSP_EFORMAT);
    assert_non_null(strstr(err.text, "zone"));
}

static void
impossible_dates_and_clocks_are_refused(void **state)
{
    static const char *bad[] = {"", "2026", "2026-02-29T00:00Z", "2026-13-01T00:00Z",
            "2026-00-10T00:00Z", "2026-04-31T00:00Z", "2026-01-01T24:00Z", "2026-01-01T10:60Z",
            "2026-1-1T10:00Z", "2026-01-01T10:00+15:00", "2026-01-01T10:00Zjunk",
            "2026-01-01T10:00:0Z", "01.03.2026 10:00", "1900-02-29T00:00Z"};
    int64_t got;

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        struct fsp_err err;

        assert_int_equal(fsp_time_parse(bad[i], NULL, &got, &err), FSP_EFORMAT);
        assert_true(strlen(err.text) > 10);
    }
    assert_int_equal(fsp_time_parse("2000-02-29T00:00Z", NULL, &got, NULL), FSP_OK);
}

static void
the_system_clock_and_randomness_move(void **state)
{
    const struct fsp_env *env = fsp_env_system();
    uint8_t a[32] = {0};
    uint8_t b[32] = {0};

    (void)state;
    assert_true(env->utc_us(env->ctx) > INT64_C(1700000000) * FSP_US_PER_S);
    assert_true(env->monotonic_us(env->ctx) > 0);
    env->random(env->ctx, a, sizeof(a));
    env->random(env->ctx, b, sizeof(b));
    assert_memory_not_equal(a, b, sizeof(a));
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_examples_of_rfc_3339_are_read),
            cmocka_unit_test(text_agrees_with_the_c_library_over_the_calendar),
            cmocka_unit_test(times_beyond_four_digit_years_are_clamped),
            cmocka_unit_test(the_rigs_zone_fills_in_for_a_missing_offset),
            cmocka_unit_test(impossible_dates_and_clocks_are_refused),
            cmocka_unit_test(the_system_clock_and_randomness_move),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
