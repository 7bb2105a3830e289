/*
 * Time as text and number, and the environment that hands out clock and randomness.
 *
 * Wall time is int64_t utc_us (microseconds since 1970-01-01T00:00:00Z, no leap seconds);
 * records hold whole seconds. Nothing under common/ reads a clock: programs pass an fsp_env.
 * Source of the text form: RFC 3339, section 5.6.
 */
#ifndef FSP_BASE_CLOCK_H
#define FSP_BASE_CLOCK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"

#define FSP_TIME_TEXT_LEN 20 /* "2026-03-01T00:00:00Z" */
#define FSP_US_PER_S      INT64_C(1000000)
#define FSP_S_PER_DAY     INT64_C(86400)

/* Clock and randomness as functions, so that tests can seed both. */
struct fsp_env {
    int64_t (*utc_us)(void *ctx);       /* wall clock */
    int64_t (*monotonic_us)(void *ctx); /* for intervals only */
    void (*random)(void *ctx, void *out, size_t len);
    void *ctx;
};

/* The machine's own clock and getrandom(); valid for ever. */
const struct fsp_env *fsp_env_system(void);

/* Write seconds since 1970 as RFC 3339 with Z into out (FSP_TIME_TEXT_LEN + 1 bytes).
 * Years 0000 to 9999; beyond them the nearest is written. */
void fsp_time_text(int64_t utc_s, char *out);

/* Parse a date-time. "2026-03-01T14:05:00+01:00", "...Z", a space for the T, seconds optional
 * (then :00), a fraction is refused. Without an offset the rig's zone (minutes east of UTC) is
 * used when zone is not NULL, else it is refused. */
enum fsp_rc fsp_time_parse(const char *text, const int *zone_minutes, int64_t *utc_s,
        struct fsp_err *err) FSP_MUST_CHECK;

/* "Z", "+01:00", "-0330", "UTC": minutes east of UTC, within +-14 h. */
enum fsp_rc fsp_time_zone(
        const char *text, int *zone_minutes, struct fsp_err *err) FSP_MUST_CHECK;

#endif
