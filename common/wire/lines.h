/*
 * Text lines of answers and invitations: "key value" LF, read strictly one by one.
 *
 * Ownership: lines borrow the text.
 */
#ifndef FSP_WIRE_LINES_H
#define FSP_WIRE_LINES_H

#include <stdbool.h>
#include <stddef.h>

#include "base/err.h"

struct fsp_lines {
    const char *text;
    size_t len;
    size_t pos;
};

struct fsp_line {
    const char *key;
    size_t key_len;
    const char *value; /* what stands behind the first space; empty when there is none */
    size_t value_len;
};

/* The next line without its LF; FSP_ENOTFOUND at the end, FSP_EFORMAT without an LF, over 2,000
 * bytes, or with text that is not printable. */
enum fsp_rc fsp_lines_next(struct fsp_lines *lines, struct fsp_line *line) FSP_MUST_CHECK;
bool fsp_line_is(const struct fsp_line *line, const char *key);
/* Copy the value with a NUL; FSP_ELIMIT when it does not fit. */
enum fsp_rc fsp_line_copy(const struct fsp_line *line, char *out, size_t size) FSP_MUST_CHECK;

#endif
