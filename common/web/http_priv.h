/*
 * What http.c (requests, start and stop), http_answer.c (answers), http_conn.c (connections and their time),
 * http_queue.c (handlers apart from the event loops) and http_listen.c share.
 *
 * Lock order: one mutex, fsp_http.mutex. No call of libmicrohttpd is made with it held but
 * MHD_resume_connection(), which takes none of ours.
 */
#ifndef FSP_WEB_HTTP_PRIV_H
#define FSP_WEB_HTTP_PRIV_H

#include <microhttpd.h>
#include <pthread.h>
#include <stdbool.h>

#include "web/http.h"

#define FSP_HTTP_WORKERS_MAX 16u

/* Where a connection stands, and with it how long it may stay there. */
enum conn_phase {
    CONN_FRESH,     /* accepted: TLS and the first headers */
    CONN_READING,   /* a body comes in */
    CONN_HANDLING,  /* it waits for its handler, or that runs: the clock stands */
    CONN_ANSWERING, /* the answer goes out */
    CONN_IDLE,      /* between requests */
};

/* One open connection, in a list. */
struct conn {
    struct conn *next;
    struct conn **link; /* what points here */
    int fd;
    enum conn_phase phase;
    bool shut; /* by us; it leaves the list when libmicrohttpd closes it */
    int64_t since_us;
    uint64_t bytes; /* what earns time: body taken in, or answer to be sent */
};

enum request_stage {
    REQUEST_NEW, /* its first line came */
    REQUEST_READING,
    REQUEST_QUEUED,
    REQUEST_HANDLED, /* its answer waits to be sent */
};

#define FSP_HTTP_TOO_MANY 429 /* RFC 6585, section 4 */

/* One request. Freed by request_completed() alone. */
struct request {
    const struct fsp_http_route *route; /* NULL: refused before reading */
    void *ctx;                          /* of the route's table */
    int refused;                        /* status, 0 while good */
    char allow[64];                     /* for 405 */
    struct fsp_buf query;               /* as it came */
    struct fsp_form form;
    char client[FSP_CLIENT_MAX];
    struct fsp_buf body;
    size_t counted; /* of stats.body_bytes */
    enum request_stage stage;
    struct fsp_http_request seen;
    struct fsp_http_answer answer; /* of a queued one */
    struct request *next;          /* in the queue */
};

struct fsp_http {
    struct fsp_http_options options;
    bool tls; /* options.tls does not outlive start */
    struct MHD_Daemon *daemon;
    char *url;
    pthread_t cutter;
    bool has_cutter;
    pthread_t workers[FSP_HTTP_WORKERS_MAX];
    unsigned n_workers;
    pthread_mutex_t mutex;  /* all below */
    pthread_cond_t changed; /* a request ended, or stopping */
    pthread_cond_t work;    /* something was queued, or stopping */
    struct conn *conns;
    size_t running; /* requests between headers and completion */
    struct request *first;
    struct request **last;
    bool stopping; /* the threads end; from stats.stopping on what is queued is refused */
    struct fsp_http_stats stats;
};

void fsp_http_lock(struct fsp_http *http);
void fsp_http_unlock(struct fsp_http *http);

/* http_answer.c */
/* Hand the request's answer, or what refuses it, to libmicrohttpd. */
enum MHD_Result fsp_http_queue_answer(
        struct fsp_http *http, struct MHD_Connection *connection, struct request *request);
enum MHD_Result fsp_http_queue_refusal(struct fsp_http *http, struct MHD_Connection *connection,
        const struct request *request);
/* Fill in request->seen.client and .secure. */
void fsp_http_see_client(
        struct fsp_http *http, struct MHD_Connection *connection, struct request *request);

/* http_conn.c */
void fsp_http_conn_changed(void *cls, struct MHD_Connection *connection, void **socket_context,
        enum MHD_ConnectionNotificationCode code);
void fsp_http_conn_phase(struct fsp_http *http, struct MHD_Connection *connection,
        enum conn_phase phase, uint64_t bytes);
void fsp_http_conn_earn(struct fsp_http *http, struct MHD_Connection *connection, size_t bytes);
/* The thread that cuts the slow ones. */
void *fsp_http_cut_slow(void *cls);

/* http_queue.c */
/* Suspend the connection and queue its request; false when the queue is full. */
bool fsp_http_queue_add(
        struct fsp_http *http, struct MHD_Connection *connection, struct request *request);
void *fsp_http_work(void *cls);
/* Seconds after which somebody refused should come back: spread, so that they do not come together. */
unsigned fsp_http_retry_after(struct fsp_http *http);

/* http_listen.c */
enum fsp_rc fsp_http_open_socket(
        const char *address, int *fd, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_http_make_url(
        struct fsp_http *http, int fd, struct fsp_err *err) FSP_MUST_CHECK;

#endif
