#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "base/text.h"
#include "wire/terse_priv.h"

#define DIGITS_MOST 15 /* of a number that is added to */

static bool
is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* A time in exactly the one form that is written again. */
static bool
read_time(const char *text, size_t len, int64_t *utc_s)
{
    char copy[FSP_TIME_TEXT_LEN + 1];
    char again[FSP_TIME_TEXT_LEN + 1];

    if (len != FSP_TIME_TEXT_LEN || memchr(text, '\0', len) != NULL)
        return false;
    memcpy(copy, text, len);
    copy[len] = '\0';
    if (fsp_time_parse(copy, NULL, utc_s, NULL) != FSP_OK)
        return false;
    fsp_time_text(*utc_s, again);
    return memcmp(copy, again, sizeof(copy)) == 0;
}

/* Digits before and behind a point, and what follows. */
struct number {
    int64_t digits; /* as one integer */
    size_t behind;  /* of them behind the point */
    const char *rest;
    size_t rest_len;
};

static bool
read_number(const char *text, size_t len, struct number *out)
{
    size_t i = 0;
    size_t whole;

    *out = (struct number){.behind = 0};
    while (i < len && is_digit(text[i]))
        i++;
    whole = i;
    if (whole == 0 || (whole > 1 && text[0] == '0'))
        return false;
    if (i + 1 < len && text[i] == '.' && is_digit(text[i + 1])) {
        i++;
        while (i < len && is_digit(text[i]))
            i++;
        out->behind = i - whole - 1;
    }
    if (whole + out->behind > DIGITS_MOST || (i < len && text[i] == '.'))
        return false;
    for (size_t k = 0; k < i; k++)
        if (k != whole)
            out->digits = out->digits * 10 + (text[k] - '0');
    out->rest = text + i;
    out->rest_len = len - i;
    return true;
}

static void
write_number(const struct number *number, struct fsp_buf *out)
{
    char digits[2 * DIGITS_MOST];
    size_t at = sizeof(digits);
    int64_t left = number->digits;

    /* From the last digit on; at least one stands before the point. */
    for (size_t n = 0; left > 0 || n <= number->behind; n++) {
        digits[--at] = (char)('0' + left % 10);
        left /= 10;
    }
    fsp_buf_add(out, digits + at, sizeof(digits) - at - number->behind);
    if (number->behind > 0) {
        fsp_buf_add_byte(out, '.');
        fsp_buf_add(out, digits + sizeof(digits) - number->behind, number->behind);
    }
    fsp_buf_add(out, number->rest, number->rest_len);
}

/* ---- writing ------------------------------------------------------------------------------ */

/* "mark number" into out (DIGITS_MOST + 9 bytes); its length, 0 when the value does not follow. */
static size_t
step(const struct terse_text *value, const struct terse_value *base, char *out, size_t size)
{
    struct number from;
    struct number to;
    int64_t time = 0;
    int64_t diff;
    int mark = TERSE_UP;
    int len;

    if (base == NULL)
        return 0;
    if (read_time(base->text, base->len, &time)) {
        if (!read_time(value->text, value->len, &diff))
            return 0;
        diff -= time;
        if (diff % 60 == 0)
            diff /= 60;
        else
            mark = TERSE_SECONDS_UP;
    } else {
        if (!read_number(base->text, base->len, &from) ||
                !read_number(value->text, value->len, &to) || from.behind != to.behind ||
                from.rest_len != to.rest_len || memcmp(from.rest, to.rest, to.rest_len) != 0)
            return 0;
        diff = to.digits - from.digits;
    }
    len = snprintf(out, size, "%c%lld", diff < 0 ? mark + 1 : mark,
            (long long)(diff < 0 ? -diff : diff));
    return (size_t)len;
}

static bool
equals(const struct terse_value *base, const struct terse_text *value)
{
    return base != NULL && base->len == value->len &&
           memcmp(base->text, value->text, value->len) == 0;
}

void
fsp_terse_token(
        const struct terse_text *value, const struct terse_bases *bases, struct fsp_buf *out)
{
    char token[DIGITS_MOST + 9];
    size_t len;

    if (value->len == 0) {
        fsp_buf_add_byte(out, TERSE_EMPTY);
        return;
    }
    if (equals(bases->same, value)) {
        fsp_buf_add_byte(out, TERSE_SAME);
        return;
    }
    len = step(value, bases->by, token, sizeof(token));
    if (len > 0 && len <= value->len + 1) {
        fsp_buf_add(out, token, len);
        return;
    }
    fsp_buf_add_byte(out, TERSE_SAME);
    fsp_buf_add(out, value->text, value->len);
}

/* ---- reading ------------------------------------------------------------------------------ */

static enum fsp_rc
add_time(int64_t time, uint8_t mark, int64_t n, struct fsp_buf *out)
{
    char text[FSP_TIME_TEXT_LEN + 1];
    int64_t again = 0;

    if (mark == TERSE_UP || mark == TERSE_DOWN)
        n *= 60;
    time += mark == TERSE_UP || mark == TERSE_SECONDS_UP ? n : -n;
    fsp_time_text(time, text);
    /* Beyond the years that have four digits another time is written. */
    if (!read_time(text, FSP_TIME_TEXT_LEN, &again) || again != time)
        return FSP_EFORMAT;
    fsp_buf_add(out, text, FSP_TIME_TEXT_LEN);
    return FSP_OK;
}

static enum fsp_rc
add_number(const struct terse_value *base, uint8_t mark, int64_t n, struct fsp_buf *out)
{
    struct number number;

    if (mark > TERSE_DOWN || !read_number(base->text, base->len, &number))
        return FSP_EFORMAT;
    number.digits += mark == TERSE_UP ? n : -n;
    if (number.digits < 0)
        return FSP_EFORMAT;
    write_number(&number, out);
    return FSP_OK;
}

enum fsp_rc
fsp_terse_value(uint8_t mark, const struct terse_text *rest, const struct terse_bases *bases,
        struct fsp_buf *out)
{
    uint64_t n = 0;
    int64_t time = 0;

    if (mark == TERSE_EMPTY)
        return rest->len == 0 ? FSP_OK : FSP_EFORMAT;
    if (mark == TERSE_SAME && rest->len > 0) {
        fsp_buf_add(out, rest->text, rest->len);
        return FSP_OK;
    }
    if (mark == TERSE_SAME) {
        if (bases->same == NULL)
            return FSP_EFORMAT;
        fsp_buf_add(out, bases->same->text, bases->same->len);
        return FSP_OK;
    }
    if (bases->by == NULL || rest->len > DIGITS_MOST ||
            fsp_text_u64(rest->text, rest->len, &n) != FSP_OK)
        return FSP_EFORMAT;
    if (read_time(bases->by->text, bases->by->len, &time))
        return add_time(time, mark, (int64_t)n, out);
    return add_number(bases->by, mark, (int64_t)n, out);
}
