/*
 * A small HTTP/1.1 server: routes as a table, bodies with a maximum, requests with a deadline.
 * The only place that knows libmicrohttpd.
 *
 * A request is cut (the connection shut down) when it takes longer than deadline_ms plus one
 * second for every FSP_HTTP_RATE_MIN bytes of body or answer: a client that drips bytes cannot hold
 * a connection, a slow but honest link can. The time a handler takes, or waits for its turn, is not
 * counted. Idle connections are kept for idle_ms, and are the first to go when places get short.
 * Refusals made here: 404, 405 (with Allow), 411 (a body without Content-Length), 413, 429 (the
 * queue or the memory for bodies is full; with Retry-After), 500, 503 (stopping). Each has a body of
 * one plain line. And 400 for a query or form that holds what the route's table of fields does not
 * take (web/form.h), 415 for a form in another encoding.
 *
 * Pages, tables and drawings are sent gzip'd where the client takes it, within the memory of the
 * answer itself; every answer of a server that is not bare bears the strict headers for browsers.
 *
 * Over TLS there is version 1.3 alone, one certificate and no session tickets: a rig's connection
 * lasts longer than what a ticket of some 200 bytes saves.
 *
 * Ownership: new/free by start/stop; tables, contexts and env are borrowed until stop returns. A request
 * and an answer live for one call of the handler.
 * Threads: handlers run in several threads at once; those that take a body in `workers` threads of
 * their own. start and stop belong to one thread; stats may be asked from any.
 * Errors: FSP_EINVAL (an address that is none), FSP_EUNAVAIL (cannot listen there), FSP_ENOMEM.
 */
#ifndef FSP_WEB_HTTP_H
#define FSP_WEB_HTTP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/clock.h"
#include "base/err.h"
#include "web/form.h"

#define FSP_HTTP_RATE_MIN        256 /* bytes a second a link must do at least; house figure */
#define FSP_HTTP_HEADERS_MAX     ((size_t)32 * 1024)
#define FSP_HTTP_CONNECTIONS_MAX 4096u
#define FSP_HTTP_QUEUE_MAX       4096u
#define FSP_HTTP_BODIES_MAX      ((size_t)64 * 1024 * 1024) /* held for all requests together */
#define FSP_HTTP_ANSWER_MAX      ((size_t)16 * 1024 * 1024)

#define FSP_HTTP_LOCATION_MAX 256
#define FSP_HTTP_COOKIES_MAX  2   /* that one answer sets */
#define FSP_HTTP_COOKIE_MAX   192 /* a whole Set-Cookie */
#define FSP_HTTP_FILE_MAX     96  /* a file's name for a download */

struct fsp_http_request {
    const char *method;
    const char *path;
    const char *query;   /* as it came, "" without one */
    const uint8_t *body; /* whole; borrowed for the call; empty where it was a form */
    size_t len;
    bool secure;                 /* over TLS, to us or to the proxy before us */
    const char *client;          /* who asks: an address as text, as far as can be told */
    const struct fsp_form *form; /* the fields of query or body, checked */
    void *connection;            /* for fsp_http_header() */
};

/* What the handler fills in. It starts as 200, text/plain, empty. */
struct fsp_http_answer {
    int status;
    const char *type;       /* static */
    unsigned retry_after_s; /* 0: no Retry-After */
    struct fsp_buf body;
    char location[FSP_HTTP_LOCATION_MAX];                    /* fsp_http_see_other() */
    char cookies[FSP_HTTP_COOKIES_MAX][FSP_HTTP_COOKIE_MAX]; /* fsp_http_set_cookie() */
    char attachment[FSP_HTTP_FILE_MAX];                      /* fsp_http_attach() */
    const struct fsp_http_asset *asset;                      /* instead of a body */
};

/* A file of our own that stays the same: a stylesheet, a script, a picture. */
struct fsp_http_asset {
    const char *type; /* "text/javascript; charset=utf-8" */
    const void *bytes;
    size_t len;
    bool gzip;          /* the bytes are one gzip member; it is undone for whoever takes none */
    unsigned max_age_s; /* may be used so long without asking; 0: asks each time by its ETag */
};

struct fsp_http_route {
    const char *method; /* GET answers HEAD too */
    const char *path;   /* exact; NULL ends the table */
    size_t body_max;    /* 0: takes no body; else its handler may wait, and runs on a worker */
    void (*handle)(
            void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer);
    /* What it takes: of the query for GET; of the body, which must then be a form, for a route with a
     * body. Ends with a NULL name. NULL takes no field, and a body as it comes. */
    const struct fsp_form_field *fields;
};

/* One more table, with a context of its own. */
struct fsp_http_routes {
    const struct fsp_http_route *routes;
    void *ctx;
};

/* TLS 1.3 with this key and certificate, as NUL-terminated PEM. */
struct fsp_http_tls {
    const char *key;
    const char *cert;
};

struct fsp_http_options {
    const char *listen; /* "127.0.0.1:8463", "[::1]:8463"; port 0 picks a free one */
    const struct fsp_http_tls *tls; /* NULL: plain HTTP; borrowed for the call of start */
    bool bare;                      /* for programs: no headers that only browsers read */
    /* A proxy takes the browsers' connections over TLS, so that all counts as secure; of what comes
     * from this machine the last X-Forwarded-For is the client. Nothing else is believed. */
    bool behind_proxy;
    const struct fsp_http_route *routes;
    void *ctx;
    const struct fsp_http_route *more_routes; /* asked after those; may be NULL */
    void *more_ctx;
    const struct fsp_http_routes *tables; /* and these after both; n_tables of them */
    size_t n_tables;
    const struct fsp_env *env; /* its monotonic clock and its random bytes */
    unsigned deadline_ms;      /* 0: 60,000 */
    unsigned idle_ms;          /* 0: 30,000 */
    unsigned threads;          /* of the event loops; 0: 2 */
    unsigned workers;          /* for routes that take a body; 0: 1 */
    unsigned connections;      /* at once; 0: 256; at most FSP_HTTP_CONNECTIONS_MAX */
    unsigned queue_max;        /* requests that wait for a worker; 0: 256 */
    size_t bodies_max;         /* bytes held for all bodies; 0: FSP_HTTP_BODIES_MAX */
};

/* Counted since start; the first four as they are now. */
struct fsp_http_stats {
    size_t connections;
    size_t idle; /* of them, between requests */
    size_t queued;
    size_t body_bytes;
    uint64_t accepted; /* connections */
    uint64_t cut;      /* connections that took too long over a request */
    uint64_t evicted;  /* connections pushed out when places were short */
    uint64_t refused;  /* requests answered with 429 */
    uint64_t requests; /* answered, whatever the status */
    uint64_t bytes_in; /* of bodies */
    uint64_t bytes_out;
    bool stopping;
};

struct fsp_http;

enum fsp_rc fsp_http_start(const struct fsp_http_options *options, struct fsp_http **out,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Take no more connections, let running requests end (at most 5 s), close. Accepts NULL. */
void fsp_http_stop(struct fsp_http *http);
/* "http://127.0.0.1:8463", with the port that was picked; https:// over TLS. Peek, until stop. */
const char *fsp_http_url(const struct fsp_http *http);

/* Change the deadline of requests, those under way included. */
void fsp_http_set_deadline(struct fsp_http *http, unsigned deadline_ms);
void fsp_http_stats(struct fsp_http *http, struct fsp_http_stats *stats);

/* The value of a field of the route's table; NULL when it was not given or is empty. Peek, for the
 * handler's call. A name that is not in the table is our own bug (assert). */
const char *fsp_http_value(const struct fsp_http_request *request, const char *name);
/* A header as it came, NULL when absent. Peek, for the handler's call. */
const char *fsp_http_header(const struct fsp_http_request *request, const char *name);
/* A cookie's value, copied; false when absent, twice there, too long or no token. */
bool fsp_http_cookie(
        const struct fsp_http_request *request, const char *name, char *out, size_t size);

/* Fill in a refusal: status and one plain line. */
void fsp_http_refuse(struct fsp_http_answer *answer, int status, const char *line);
/* 303 to a page of our own, "/…": after a POST that was done. Any other place becomes "/". */
void fsp_http_see_other(struct fsp_http_answer *answer, const char *location);
/* Set a cookie for the whole site: HttpOnly, SameSite=Strict, Secure where the request came so. Name
 * and value are tokens (assert). max_age_s 0 takes it away. */
void fsp_http_set_cookie(struct fsp_http_answer *answer, const struct fsp_http_request *request,
        const char *name, const char *value, unsigned max_age_s);
/* To be saved as a file of this name; characters but A-Z a-z 0-9 . - _ become '-'. */
void fsp_http_attach(struct fsp_http_answer *answer, const char *file);
/* The asset as the answer, or 304 where the client has it. It must stay where it is (static). */
void fsp_http_serve(struct fsp_http_answer *answer, const struct fsp_http_asset *asset);

#endif
