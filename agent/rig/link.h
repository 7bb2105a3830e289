/*
 * One POST over HTTP by libcurl: the only place of the rig that knows it.
 *
 * No `Expect`, no redirects, slim headers, no signals, no proxy from the environment; time limits
 * from size. The connection is kept between posts.
 *
 * Ownership: new/free; the reply's body is the caller's buffer.
 * Units: _us microseconds, _s seconds, bytes.
 * Threads: one link, one thread; fsp_link_global() once at program start, before any thread.
 * Errors: FSP_EINVAL for a URL we do not speak; FSP_EUNAVAIL when no whole answer came.
 */
#ifndef FSP_RIG_LINK_H
#define FSP_RIG_LINK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"

#define FSP_LINK_REPLY_MAX  ((size_t)64 * 1024) /* more is a portal's page, not an answer */
#define FSP_LINK_RATE_LEAST 250                 /* bytes a second the total time allows for */
#define FSP_LINK_CONNECT_S  60                  /* DNS, TCP and TLS on a bad satellite link */
#define FSP_LINK_QUIET_S    5                   /* no limit is shorter */
#define FSP_LINK_PATH       "/bundle"

struct fsp_link; /* opaque */

struct fsp_link_reply {
    long status;         /* HTTP status */
    int64_t after_us;    /* Retry-After in seconds, as microseconds; 0 without one */
    struct fsp_buf body; /* init with FSP_LINK_REPLY_MAX; longer bodies are cut there */
    bool cut;            /* the body was longer */
    bool connects;       /* a new connection was opened, answered or not */
    size_t head;         /* bytes of the answer's headers */
};

enum fsp_rc fsp_link_global(struct fsp_err *err) FSP_MUST_CHECK;

struct fsp_link_options {
    long quiet_s; /* how long to wait for a connection, or for any byte to move
                                (FSP_LINK_QUIET_S .. FSP_LINK_CONNECT_S) */
    bool (*stop)(
            void *ctx); /* may be NULL; when it returns true a running post is broken off */
    void *ctx;
};

/* url is the office's, without the path. */
enum fsp_rc fsp_link_new(struct fsp_link **out, const char *url,
        const struct fsp_link_options *options, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_link_free(struct fsp_link *link);

enum fsp_rc fsp_link_post(struct fsp_link *link, const void *bytes, size_t len,
        struct fsp_link_reply *reply, struct fsp_err *err) FSP_MUST_CHECK;

/* FSP_OK when the URL is one this version can push to; else FSP_EINVAL with advice. */
enum fsp_rc fsp_link_url_ok(const char *url, struct fsp_err *err) FSP_MUST_CHECK;

#endif
