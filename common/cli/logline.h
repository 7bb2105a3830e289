/*
 * A service's log lines: one for each event, level=LEVEL event=EVENT, then key=value pairs; and how
 * often a kind of line may be said.
 *
 * A text stands bare when it is plain, else in double quotes with \" and \\ inside; what is not
 * printable is shown (base/text.h), so that a line is always one line.
 *
 * Ownership: the buffer is the caller's; fsp_lograte is the caller's storage and holds no pointers.
 * Units: _us microseconds of a monotonic clock.
 * Threads: values; any.
 * Errors: those of the buffer stick to it.
 */
#ifndef FSP_CLI_LOGLINE_H
#define FSP_CLI_LOGLINE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/buf.h"

#define FSP_LOGLINE_MAX      ((size_t)4096)
#define FSP_LOGLINE_TEXT_MAX ((size_t)400) /* bytes of one text; more is cut */

/* Begin a line; buf is emptied. */
void fsp_logline_begin(struct fsp_buf *buf, const char *level, const char *event);
void fsp_logline_text(struct fsp_buf *buf, const char *key, const char *text);
void fsp_logline_u64(struct fsp_buf *buf, const char *key, uint64_t value);

/* How often: `most` lines at once, then one more every every_us. Zeroed but for these two it begins
 * full. */
struct fsp_lograte {
    uint64_t most;
    int64_t every_us;
    uint64_t used;
    int64_t since_us; /* the oldest of those used is given back every_us after it */
};

/* True when a line may be said now; it is counted. */
bool fsp_lograte_may(struct fsp_lograte *rate, int64_t now_us);

#endif
