/*
 * A little HTTP server in a child process on a free port of 127.0.0.1: one connection at a time,
 * each request answered by a function of the test.
 *
 * The child ends with the test: it is killed by its own id. It inherits the test's memory as it was
 * at the start, so its answers cannot be told anything later.
 */
#ifndef FSP_TESTS_UNIT_RIG_LOOPBACK_H
#define FSP_TESTS_UNIT_RIG_LOOPBACK_H

#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

#include "base/buf.h"

/* The n-th request (from 0): headers as text, body as bytes. Append the whole HTTP response to
 * out; appending nothing closes the connection without an answer. */
typedef void loopback_reply(void *ctx, unsigned n, const char *headers, const uint8_t *body,
        size_t len, struct fsp_buf *out);

struct loopback {
    pid_t pid;
    char url[64];
};

void loopback_start(struct loopback *loopback, loopback_reply *reply, void *ctx);
void loopback_stop(struct loopback *loopback);
/* A whole response with this status line ("200 OK"), extra header lines and body. */
void loopback_write(struct fsp_buf *out, const char *status, const char *headers,
        const void *body, size_t len);

#endif
