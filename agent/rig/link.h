/*
 * One POST over HTTP or HTTPS by libcurl: the only place of the rig that knows it.
 *
 * No `Expect`, no redirects, slim headers, no signals, no proxy from the environment; time limits
 * from size.
 *
 * Over TLS (1.3 alone) the invitation's two pins are the trust and nothing else is: no certificate
 * authority is loaded, the certificate's names and dates do not matter, and neither does the rig's
 * clock. The pin is held against the key before the first byte of a request leaves.
 *
 * An idle connection is kept alive by a probe a minute, which also keeps its place in the NATs on
 * the way, and is kept for as long as the probes have cost no more than opening it anew: whenever
 * the next record comes, this costs at most twice what a rig would pay that knew. At 104 bytes a
 * probe, there and back, that is 2 minutes without TLS (224 bytes to open and close) and 15 with it
 * (1,624). fsp_link_rest() closes it then.
 *
 * Ownership: new/free; options are copied, but env and ctx are borrowed; the reply's body is the
 * caller's buffer.
 * Units: _us microseconds, _s seconds, bytes.
 * Threads: one link, one thread; fsp_link_global() before the first link and any thread, only where
 * something is sent: it costs more than most commands.
 * Errors: FSP_EINVAL for a URL we do not speak; FSP_EUNAVAIL when no whole answer came.
 */
#ifndef FSP_RIG_LINK_H
#define FSP_RIG_LINK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/clock.h"
#include "base/err.h"
#include "wire/invitation.h"

#define FSP_LINK_REPLY_MAX  ((size_t)64 * 1024) /* more is a portal's page, not an answer */
#define FSP_LINK_RATE_LEAST 250                 /* bytes a second the total time allows for */
#define FSP_LINK_CONNECT_S  60                  /* DNS, TCP and TLS on a bad satellite link */
#define FSP_LINK_QUIET_S    5                   /* no limit is shorter */
#define FSP_LINK_PATH       "/bundle"

/* Bytes on the IP level, both ways, as tests/bench/link_bench.py measures them. */
#define FSP_LINK_PROBE_S     60
#define FSP_LINK_PROBE_BYTES 104
#define FSP_LINK_OPEN_BYTES  224  /* SYN, SYN-ACK, an acknowledgement, RST to close */
#define FSP_LINK_TLS_BYTES   1400 /* more, by TLS: our certificate, our choice of ciphers */

struct fsp_link; /* opaque */

struct fsp_link_reply {
    long status;         /* HTTP status */
    int64_t after_us;    /* Retry-After in seconds, as microseconds; 0 without one */
    struct fsp_buf body; /* init with FSP_LINK_REPLY_MAX; longer bodies are cut there */
    bool cut;            /* the body was longer */
    bool connects;       /* a new connection was opened, answered or not */
    size_t head;         /* bytes of the answer's headers */
    size_t probes;       /* bytes that keeping the connection has cost since the last post */
};

enum fsp_rc fsp_link_global(struct fsp_err *err) FSP_MUST_CHECK;

struct fsp_link_options {
    long quiet_s; /* how long to wait for a connection, or for any byte to move
                                (FSP_LINK_QUIET_S .. FSP_LINK_CONNECT_S) */
    bool (*stop)(
            void *ctx); /* may be NULL; when it returns true a running post is broken off */
    void *ctx;
    const struct fsp_env *env; /* its monotonic clock alone is used; NULL: the system's */
    bool has_pins;
    uint8_t pins[FSP_PINS][FSP_PIN_LEN]; /* as the invitation brought them; for https:// */
};

/* url is the office's, without the path. https:// without pins is FSP_EINVAL. */
enum fsp_rc fsp_link_new(struct fsp_link **out, const char *url,
        const struct fsp_link_options *options, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_link_free(struct fsp_link *link);

enum fsp_rc fsp_link_post(struct fsp_link *link, const void *bytes, size_t len,
        struct fsp_link_reply *reply, struct fsp_err *err) FSP_MUST_CHECK;

/* Close the connection if it has been idle for as long as it pays to keep it. Call it now and then
 * while there is nothing to send. Returns whether there is a connection to keep. */
bool fsp_link_rest(struct fsp_link *link);

/* FSP_OK when the URL is one this version can push to; else FSP_EINVAL with advice. */
enum fsp_rc fsp_link_url_ok(const char *url, struct fsp_err *err) FSP_MUST_CHECK;

#endif
