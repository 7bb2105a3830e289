/*
 * What terse.c (state, reading and writing lines) and terse_value.c (one value) share.
 */
#ifndef FSP_WIRE_TERSE_PRIV_H
#define FSP_WIRE_TERSE_PRIV_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"

#define TERSE_VALUE 63 /* bytes of a value that is remembered */

/* What a value's text begins with. */
enum terse_mark {
    TERSE_SAME = 1, /* nothing behind it: as the base; else verbatim */
    TERSE_UP,       /* a number more than the base; for times minutes */
    TERSE_DOWN,
    TERSE_SECONDS_UP, /* for times */
    TERSE_SECONDS_DOWN,
    TERSE_EMPTY, /* no bytes */
};

/* A remembered value. */
struct terse_value {
    bool there;
    uint8_t len;
    char text[TERSE_VALUE];
};

struct terse_text {
    const char *text;
    size_t len;
};

/* What a value is held against; NULL: nothing. */
struct terse_bases {
    const struct terse_value *same;
    const struct terse_value *by; /* that a number is added to */
};

/* Append the token of a value. */
void fsp_terse_token(
        const struct terse_text *value, const struct terse_bases *bases, struct fsp_buf *out);
/* The value of a token (without its mark), appended. */
enum fsp_rc fsp_terse_value(uint8_t mark, const struct terse_text *rest,
        const struct terse_bases *bases, struct fsp_buf *out) FSP_MUST_CHECK;

#endif
