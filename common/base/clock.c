#include "base/clock.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>

static int64_t
read_clock(clockid_t id)
{
    struct timespec now = {0, 0};

    if (clock_gettime(id, &now) != 0)
        return 0;
    return (int64_t)now.tv_sec * FSP_US_PER_S + now.tv_nsec / 1000;
}

static int64_t
system_utc_us(void *ctx)
{
    (void)ctx;
    return read_clock(CLOCK_REALTIME);
}

static int64_t
system_monotonic_us(void *ctx)
{
    (void)ctx;
    return read_clock(CLOCK_MONOTONIC);
}

/* getrandom() on a started system does not fail; without randomness no key may be made. */
static void
system_random(void *ctx, void *out, size_t len)
{
    uint8_t *bytes = out;
    size_t done = 0;

    (void)ctx;
    while (done < len) {
        ssize_t n = getrandom(bytes + done, len - done, 0);

        if (n <= 0)
            abort();
        done += (size_t)n;
    }
}

const struct fsp_env *
fsp_env_system(void)
{
    static const struct fsp_env env = {system_utc_us, system_monotonic_us, system_random, NULL};

    return &env;
}

/* Days since 1970-01-01 of a proleptic Gregorian date (era arithmetic of 400 years). */
static int64_t
days_of_date(int64_t year, int64_t month, int64_t day)
{
    int64_t y = month <= 2 ? year - 1 : year;
    int64_t era = (y >= 0 ? y : y - 399) / 400;
    int64_t year_of_era = y - era * 400;
    int64_t day_of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    int64_t day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;

    return era * 146097 + day_of_era - 719468;
}

static void
date_of_days(int64_t days, int64_t *year, int64_t *month, int64_t *day)
{
    int64_t z = days + 719468;
    int64_t era = (z >= 0 ? z : z - 146096) / 146097;
    int64_t doe = z - era * 146097;
    int64_t yoe = (doe - doe / 1460 + doe / 36524 - doe / 146096) / 365;
    int64_t doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    int64_t mp = (5 * doy + 2) / 153;

    *day = doy - (153 * mp + 2) / 5 + 1;
    *month = mp < 10 ? mp + 3 : mp - 9;
    *year = yoe + era * 400 + (*month <= 2 ? 1 : 0);
}

void
fsp_time_text(int64_t utc_s, char *out)
{
    int64_t least = days_of_date(0, 1, 1) * FSP_S_PER_DAY;
    int64_t most = days_of_date(10000, 1, 1) * FSP_S_PER_DAY - 1;
    int64_t s = utc_s < least ? least : utc_s > most ? most : utc_s;
    int64_t days = s / FSP_S_PER_DAY - (s % FSP_S_PER_DAY < 0 ? 1 : 0);
    int64_t rest = s - days * FSP_S_PER_DAY;
    int64_t year;
    int64_t month;
    int64_t day;

    date_of_days(days, &year, &month, &day);
    char text[96];

    (void)snprintf(text, sizeof(text), "%04d-%02d-%02dT%02d:%02d:%02dZ", (int)year, (int)month,
            (int)day, (int)(rest / 3600), (int)(rest / 60 % 60), (int)(rest % 60));
    memcpy(out, text, FSP_TIME_TEXT_LEN);
    out[FSP_TIME_TEXT_LEN] = '\0';
}

/* `n` digits at *text; moves past them. -1 when they are not there. */
static int
digits(const char **text, int n)
{
    int value = 0;

    for (int i = 0; i < n; i++) {
        char c = (*text)[i];

        if (c < '0' || c > '9')
            return -1;
        value = value * 10 + (c - '0');
    }
    *text += n;
    return value;
}

static bool
take_char(const char **text, char c)
{
    if (**text != c)
        return false;
    (*text)++;
    return true;
}

enum fsp_rc
fsp_time_zone(const char *text, int *zone_minutes, struct fsp_err *err)
{
    const char *p = text;
    int sign = 1;
    int hours;
    int minutes;

    *zone_minutes = 0;
    if (strcmp(text, "Z") == 0 || strcmp(text, "z") == 0 || strcmp(text, "UTC") == 0)
        return FSP_OK;
    if (take_char(&p, '-'))
        sign = -1;
    else if (!take_char(&p, '+'))
        return fsp_err_set(err, FSP_EFORMAT,
                "'%.40s' is not an offset from UTC; write Z, +01:00 or -03:30", text);
    hours = digits(&p, 2);
    (void)take_char(&p, ':');
    minutes = hours < 0 ? -1 : digits(&p, 2);
    if (hours < 0 || minutes < 0 || minutes > 59 || *p != '\0' || hours * 60 + minutes > 840)
        return fsp_err_set(err, FSP_EFORMAT,
                "'%.40s' is not an offset from UTC; write Z, +01:00 or -03:30, at most 14 h",
                text);
    *zone_minutes = sign * (hours * 60 + minutes);
    return FSP_OK;
}

static int
month_days(int year, int month)
{
    static const int days[12] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;

    return month == 2 && leap ? 29 : days[month - 1];
}

static bool
parse_date(const char **p, int64_t *days)
{
    int year = digits(p, 4);
    int month = year >= 0 && take_char(p, '-') ? digits(p, 2) : -1;
    int day = month >= 1 && month <= 12 && take_char(p, '-') ? digits(p, 2) : -1;

    if (day < 1 || day > month_days(year, month))
        return false;
    *days = days_of_date(year, month, day);
    return true;
}

static bool
parse_clock(const char **p, int64_t *seconds)
{
    int hour = digits(p, 2);
    int minute = hour >= 0 && hour <= 23 && take_char(p, ':') ? digits(p, 2) : -1;
    int second = 0;

    if (minute < 0 || minute > 59)
        return false;
    if (take_char(p, ':'))
        second = digits(p, 2);
    if (second < 0 || second > 59)
        return false;
    *seconds = (int64_t)hour * 3600 + (int64_t)minute * 60 + second;
    return true;
}

enum fsp_rc
fsp_time_parse(const char *text, const int *zone_minutes, int64_t *utc_s, struct fsp_err *err)
{
    const char *p = text;
    int64_t days = 0;
    int64_t seconds = 0;
    int zone = 0;
    enum fsp_rc rc;

    *utc_s = 0;
    if (!parse_date(&p, &days) || !(take_char(&p, 'T') || take_char(&p, ' ')) ||
            !parse_clock(&p, &seconds))
        return fsp_err_set(err, FSP_EFORMAT,
                "'%.40s' is not a time; write 2026-03-01T14:05:00Z or with an offset, +01:00",
                text);
    if (*p == '.')
        return fsp_err_set(
                err, FSP_EFORMAT, "'%.40s' has a fraction of a second; leave it out", text);
    if (*p == '\0') {
        if (zone_minutes == NULL)
            return fsp_err_set(err, FSP_EFORMAT,
                    "'%.40s' has no offset and the rig's zone is not known; add Z or +01:00",
                    text);
        zone = *zone_minutes;
    } else {
        rc = fsp_time_zone(p, &zone, err);
        if (rc != FSP_OK)
            return fsp_err_wrap(err, rc, "time '%.40s'", text);
    }
    *utc_s = days * FSP_S_PER_DAY + seconds - (int64_t)zone * 60;
    return FSP_OK;
}
