#include "line/say.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "record/quantity.h"

void
fsp_say_number(struct fsp_buf *buf, double value, int decimals)
{
    char text[384];
    size_t len, whole, i;
    int places = decimals < 0 ? 0 : decimals > 9 ? 9 : decimals;

    if (!isfinite(value) || fabs(value) > 1e18) {
        fsp_buf_add_text(buf, "unknown");
        return;
    }
    (void)snprintf(text, sizeof(text), "%.*f", places, fabs(value));
    len = strlen(text);
    whole = strcspn(text, ".");
    /* No sign before a number that rounds to zero. */
    if (value < 0 && strspn(text, "0.") != len)
        fsp_buf_add_byte(buf, '-');
    for (i = 0; i < len; i++) {
        if (i > 0 && i < whole && (whole - i) % 3 == 0)
            fsp_buf_add_byte(buf, ',');
        fsp_buf_add_byte(buf, (uint8_t)text[i]);
    }
}

void
fsp_say_length(struct fsp_buf *buf, double metres, enum fsp_units units)
{
    double feet = metres / FSP_FT_M;
    bool whole = fabs(feet - round(feet)) < 0.05;

    if (units == FSP_UNITS_METRIC) {
        fsp_say_number(buf, metres, fabs(metres) >= 100 ? 1 : 2);
        fsp_buf_add_text(buf, " m");
        return;
    }
    fsp_say_number(buf, feet, fabs(feet) >= 100 || whole ? 0 : 1);
    fsp_buf_add_text(buf, " ft");
}

void
fsp_say_laps(struct fsp_buf *buf, double laps)
{
    bool tenths = fabs(laps * 10 - round(laps * 10)) < 1e-6;

    fsp_say_number(buf, laps, tenths ? 1 : 2);
}

void
fsp_say_load(struct fsp_buf *buf, double newtons, enum fsp_units units)
{
    if (units == FSP_UNITS_METRIC) {
        fsp_say_number(buf, newtons / 1000, 1);
        fsp_buf_add_text(buf, " kN");
        return;
    }
    fsp_say_number(buf, newtons / FSP_LBF_N, 0);
    fsp_buf_add_text(buf, " lb");
}

void
fsp_say_work(struct fsp_buf *buf, double joules, enum fsp_units units)
{
    double value = joules / (units == FSP_UNITS_METRIC ? FSP_TONNE_KM_J : FSP_TON_MILE_J);

    fsp_say_number(buf, value, fabs(value) >= 1000 ? 0 : 2);
    fsp_buf_add_text(buf, units == FSP_UNITS_METRIC ? " t-km" : " ton-miles");
}

void
fsp_say_json_number(struct fsp_buf *buf, double value)
{
    char text[40];
    double back;
    int digits;

    if (!isfinite(value)) {
        fsp_buf_add_text(buf, "null");
        return;
    }
    if (!(value < 0) && !(value > 0)) {
        fsp_buf_add_text(buf, "0"); /* never "-0" */
        return;
    }
    for (digits = 15; digits <= 17; digits++) {
        (void)snprintf(text, sizeof(text), "%.*g", digits, value);
        back = strtod(text, NULL);
        if (!(back < value) && !(back > value))
            break;
    }
    fsp_buf_add_text(buf, text);
}

void
fsp_say_json_piece(struct fsp_buf *buf, const char *text, size_t len)
{
    size_t i;

    fsp_buf_add_byte(buf, '"');
    for (i = 0; i < len; i++) {
        uint8_t c = (uint8_t)text[i];

        if (c < 0x20) {
            fsp_buf_printf(buf, "\\u%04x", (unsigned)c);
            continue;
        }
        if (c == '"' || c == '\\')
            fsp_buf_add_byte(buf, '\\');
        fsp_buf_add_byte(buf, c);
    }
    fsp_buf_add_byte(buf, '"');
}

void
fsp_say_json_text(struct fsp_buf *buf, const char *text)
{
    if (text == NULL)
        fsp_buf_add_text(buf, "null");
    else
        fsp_say_json_piece(buf, text, strlen(text));
}

void
fsp_say_key(struct fsp_buf *buf, bool *first, const char *key)
{
    if (!*first)
        fsp_buf_add_byte(buf, ',');
    *first = false;
    fsp_say_json_text(buf, key);
    fsp_buf_add_byte(buf, ':');
}

void
fsp_say_member(struct fsp_buf *buf, bool *first, const char *key, double value)
{
    fsp_say_key(buf, first, key);
    fsp_say_json_number(buf, value);
}

void
fsp_say_member_text(struct fsp_buf *buf, bool *first, const char *key, const char *text)
{
    fsp_say_key(buf, first, key);
    fsp_say_json_text(buf, text);
}

void
fsp_say_member_time(struct fsp_buf *buf, bool *first, const char *key, int64_t utc_s)
{
    char text[FSP_TIME_TEXT_LEN + 1];

    if (utc_s != 0)
        fsp_time_text(utc_s, text);
    fsp_say_member_text(buf, first, key, utc_s == 0 ? NULL : text);
}

void
fsp_say_member_bool(struct fsp_buf *buf, bool *first, const char *key, bool value)
{
    fsp_say_key(buf, first, key);
    fsp_buf_add_text(buf, value ? "true" : "false");
}

void
fsp_say_member_count(struct fsp_buf *buf, bool *first, const char *key, uint64_t value)
{
    fsp_say_key(buf, first, key);
    fsp_buf_printf(buf, "%" PRIu64, value);
}
