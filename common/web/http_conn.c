/*
 * Connections: how long each may stay, and which go first when places get short.
 *
 * The library's own timeout is one of inactivity: a client that drips bytes has none. Here a
 * connection has a time for each phase, and bytes that came or are to go lengthen it at the least
 * rate. When fewer than an eighth of the places are free, a new connection pushes out the one that
 * has been idle longest, or else the one that has longest failed to finish its first headers.
 */
#include <assert.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <time.h>

#include "web/http_priv.h"

#define US_PER_MS INT64_C(1000)
/* A fresh connection younger than this is not pushed out: TLS takes three round trips of a
 * satellite link, and a lost segment a few more. */
#define FRESH_GRACE_US (10 * FSP_US_PER_S)

void
fsp_http_lock(struct fsp_http *http)
{
    int rc = pthread_mutex_lock(&http->mutex);

    assert(rc == 0);
    (void)rc;
}

void
fsp_http_unlock(struct fsp_http *http)
{
    int rc = pthread_mutex_unlock(&http->mutex);

    assert(rc == 0);
    (void)rc;
}

static int64_t
now_us(const struct fsp_http *http)
{
    return http->options.env->monotonic_us(http->options.env->ctx);
}

static void
shut(struct conn *conn)
{
    (void)shutdown(conn->fd, SHUT_RDWR);
    conn->shut = true;
}

/* Locked. Whether `conn` is a better one to push out than `than` (may be NULL). */
static bool
goes_before(const struct conn *conn, const struct conn *than, int64_t now)
{
    const bool idle = conn->phase == CONN_IDLE;
    const bool stale = conn->phase == CONN_FRESH && now - conn->since_us > FRESH_GRACE_US;

    if (conn->shut || (!idle && !stale))
        return false;
    if (than == NULL || (idle && than->phase != CONN_IDLE))
        return true;
    return (idle || than->phase != CONN_IDLE) && conn->since_us < than->since_us;
}

/* Locked. Make room when places get short. */
static void
make_room(struct fsp_http *http)
{
    const size_t spare = http->options.connections / 8;
    const int64_t now = now_us(http);
    struct conn *first = NULL;

    if (http->stats.connections + spare < http->options.connections)
        return;
    for (struct conn *conn = http->conns; conn != NULL; conn = conn->next)
        if (goes_before(conn, first, now))
            first = conn;
    if (first == NULL)
        return;
    shut(first);
    http->stats.evicted++;
}

static void
add(struct fsp_http *http, struct conn *conn)
{
    fsp_http_lock(http);
    make_room(http);
    conn->next = http->conns;
    conn->link = &http->conns;
    if (conn->next != NULL)
        conn->next->link = &conn->next;
    http->conns = conn;
    http->stats.connections++;
    http->stats.accepted++;
    fsp_http_unlock(http);
}

static void
drop(struct fsp_http *http, struct conn *conn)
{
    fsp_http_lock(http); /* libmicrohttpd closes the descriptor after this call, not before */
    if (conn->link != NULL) {
        *conn->link = conn->next;
        if (conn->next != NULL)
            conn->next->link = conn->link;
        http->stats.connections--;
    }
    fsp_http_unlock(http);
    free(conn);
}

void
fsp_http_conn_changed(void *cls, struct MHD_Connection *connection, void **socket_context,
        enum MHD_ConnectionNotificationCode code)
{
    struct fsp_http *http = cls;
    struct conn *conn = *socket_context;

    if (code == MHD_CONNECTION_NOTIFY_STARTED) {
        const union MHD_ConnectionInfo *info =
                MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);

        conn = calloc(1, sizeof(*conn));
        *socket_context = conn;
        if (info == NULL)
            return;
        if (conn == NULL) { /* without its place in the list it would have no deadline */
            (void)shutdown(info->connect_fd, SHUT_RDWR);
            return;
        }
        conn->fd = info->connect_fd;
        conn->since_us = now_us(http);
        add(http, conn);
    } else if (conn != NULL) {
        drop(http, conn);
        *socket_context = NULL;
    }
}

static struct conn *
conn_of(struct MHD_Connection *connection)
{
    const union MHD_ConnectionInfo *info =
            MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);

    return info == NULL ? NULL : info->socket_context;
}

void
fsp_http_conn_phase(struct fsp_http *http, struct MHD_Connection *connection,
        enum conn_phase phase, uint64_t bytes)
{
    struct conn *conn = conn_of(connection);

    if (conn == NULL)
        return;
    fsp_http_lock(http);
    conn->phase = phase;
    conn->since_us = now_us(http);
    conn->bytes = bytes;
    fsp_http_unlock(http);
}

void
fsp_http_conn_earn(struct fsp_http *http, struct MHD_Connection *connection, size_t bytes)
{
    struct conn *conn = conn_of(connection);

    if (conn == NULL)
        return;
    fsp_http_lock(http);
    conn->bytes += bytes;
    fsp_http_unlock(http);
}

/* Locked. Whether its time is over. */
static bool
too_slow(const struct fsp_http *http, const struct conn *conn, int64_t now)
{
    int64_t allowed = (int64_t)http->options.deadline_ms * US_PER_MS +
                      (int64_t)(conn->bytes / FSP_HTTP_RATE_MIN) * FSP_US_PER_S;

    switch (conn->phase) {
    case CONN_FRESH:
    case CONN_READING:
    case CONN_ANSWERING:
        break;
    case CONN_HANDLING:
        return false;
    case CONN_IDLE:
        allowed = (int64_t)http->options.idle_ms * US_PER_MS;
        break;
    }
    return !conn->shut && now - conn->since_us > allowed;
}

void *
fsp_http_cut_slow(void *cls)
{
    struct fsp_http *http = cls;
    long tick_ms = (long)http->options.deadline_ms / 4;

    if (tick_ms > 250)
        tick_ms = 250;
    if (tick_ms < 5)
        tick_ms = 5;
    fsp_http_lock(http);
    while (!http->stopping) {
        struct timespec until;
        int64_t now;

        (void)clock_gettime(CLOCK_REALTIME, &until);
        until.tv_nsec += tick_ms * 1000000L;
        if (until.tv_nsec >= 1000000000L) {
            until.tv_nsec -= 1000000000L;
            until.tv_sec++;
        }
        (void)pthread_cond_timedwait(&http->changed, &http->mutex, &until);
        now = now_us(http);
        for (struct conn *conn = http->conns; conn != NULL; conn = conn->next) {
            if (!too_slow(http, conn, now))
                continue;
            if (conn->phase != CONN_IDLE)
                http->stats.cut++;
            shut(conn);
        }
    }
    fsp_http_unlock(http);
    return NULL;
}
