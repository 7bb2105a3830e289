#include "web/http.h"

#include <assert.h>
#include <errno.h>
#include <microhttpd.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <pthread.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include "base/text.h"

#define DEADLINE_MS_USUAL 60000u
#define IDLE_S            30u /* between requests of one connection; below the usual deadline */
#define STOP_S            5
#define US_PER_MS         1000
/* Bodies up to this many times the route's maximum are read and thrown away, so that the sender
 * gets to see the 413; beyond it the connection is closed at once. */
#define TLS_PRIORITIES "SECURE128:-VERS-ALL:+VERS-TLS1.3:%NO_TICKETS"
#define DRAIN_TIMES    4
#define DRAIN_LEAST    ((size_t)64 * 1024)

/* One open connection, kept in a list for the thread that cuts the slow ones. */
struct conn {
    struct conn *next;
    struct conn **link; /* what points here */
    int fd;
    bool handling; /* the handler runs: the clock stands */
    int64_t since_us;
    uint64_t bytes; /* what earns time: body taken in, or answer to be sent */
};

/* One request. Freed by request_completed() alone. */
struct request {
    const struct fsp_http_route *route; /* NULL: refused before reading */
    int refused;                        /* status, 0 while good */
    const char *allow;                  /* for 405 */
    size_t discarded;
    struct fsp_buf body;
};

struct fsp_http {
    struct fsp_http_options options;
    struct MHD_Daemon *daemon;
    char *url;
    pthread_t cutter;
    bool has_cutter;
    pthread_mutex_t mutex; /* all below */
    pthread_cond_t changed;
    struct conn *conns;
    size_t running; /* requests between headers and completion */
    bool stopping;
};

static int64_t
now_us(const struct fsp_http *http)
{
    return http->options.env->monotonic_us(http->options.env->ctx);
}

static void
lock(struct fsp_http *http)
{
    int rc = pthread_mutex_lock(&http->mutex);

    assert(rc == 0);
    (void)rc;
}

static void
unlock(struct fsp_http *http)
{
    int rc = pthread_mutex_unlock(&http->mutex);

    assert(rc == 0);
    (void)rc;
}

/* --- connections and their deadline --------------------------------------------------------- */

static void
connection_changed(void *cls, struct MHD_Connection *connection, void **socket_context,
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
        lock(http);
        conn->next = http->conns;
        conn->link = &http->conns;
        if (conn->next != NULL)
            conn->next->link = &conn->next;
        http->conns = conn;
        unlock(http);
    } else if (conn != NULL) {
        lock(http); /* libmicrohttpd closes the descriptor after this call, not before */
        if (conn->link != NULL) {
            *conn->link = conn->next;
            if (conn->next != NULL)
                conn->next->link = conn->link;
        }
        unlock(http);
        free(conn);
        *socket_context = NULL;
    }
}

static void
conn_mark(
        struct fsp_http *http, struct MHD_Connection *connection, bool handling, uint64_t bytes)
{
    const union MHD_ConnectionInfo *info =
            MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    struct conn *conn = info == NULL ? NULL : info->socket_context;

    if (conn == NULL)
        return;
    lock(http);
    conn->handling = handling;
    conn->since_us = now_us(http);
    conn->bytes = bytes;
    unlock(http);
}

static void
conn_earn(struct fsp_http *http, struct MHD_Connection *connection, size_t bytes)
{
    const union MHD_ConnectionInfo *info =
            MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    struct conn *conn = info == NULL ? NULL : info->socket_context;

    if (conn == NULL)
        return;
    lock(http);
    conn->bytes += bytes;
    unlock(http);
}

static void *
cut_slow(void *cls)
{
    struct fsp_http *http = cls;
    long tick_ms = (long)http->options.deadline_ms / 4;

    if (tick_ms > 250)
        tick_ms = 250;
    if (tick_ms < 5)
        tick_ms = 5;
    lock(http);
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
            int64_t allowed = (int64_t)http->options.deadline_ms * US_PER_MS +
                              (int64_t)(conn->bytes / FSP_HTTP_RATE_MIN) * FSP_US_PER_S;

            if (!conn->handling && now - conn->since_us > allowed)
                (void)shutdown(conn->fd, SHUT_RDWR);
        }
    }
    unlock(http);
    return NULL;
}

/* --- answers --------------------------------------------------------------------------------- */

void
fsp_http_refuse(struct fsp_http_answer *answer, int status, const char *line)
{
    answer->status = status;
    answer->type = "text/plain; charset=utf-8";
    fsp_buf_reset(&answer->body);
    fsp_text_show(&answer->body, line, strlen(line));
    fsp_buf_add_byte(&answer->body, '\n');
}

static enum MHD_Result
add_headers(const struct fsp_http *http, struct MHD_Response *response,
        const struct fsp_http_answer *answer, const char *allow)
{
    static const char *const always[][2] = {
            {MHD_HTTP_HEADER_CACHE_CONTROL, "no-store"},
            {"Content-Security-Policy",
                    "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; "
                    "base-uri 'none'; frame-ancestors 'none'"},
            {"Cross-Origin-Opener-Policy", "same-origin"},
            {"Cross-Origin-Resource-Policy", "same-origin"},
            {"Referrer-Policy", "no-referrer"},
            {"X-Content-Type-Options", "nosniff"},
    };
    enum MHD_Result ok = MHD_YES;
    char retry[16];

    if (!http->options.bare)
        ok = MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, answer->type);
    for (size_t i = 0;
            !http->options.bare && i < sizeof(always) / sizeof(always[0]) && ok == MHD_YES; i++)
        ok = MHD_add_response_header(response, always[i][0], always[i][1]);
    if (ok == MHD_YES && allow != NULL)
        ok = MHD_add_response_header(response, MHD_HTTP_HEADER_ALLOW, allow);
    if (ok == MHD_YES && answer->retry_after_s > 0) {
        (void)snprintf(retry, sizeof(retry), "%u", answer->retry_after_s);
        ok = MHD_add_response_header(response, MHD_HTTP_HEADER_RETRY_AFTER, retry);
    }
    return ok;
}

static enum MHD_Result
queue(struct fsp_http *http, struct MHD_Connection *connection, struct fsp_http_answer *answer,
        const char *allow)
{
    enum MHD_Result result = MHD_NO;
    struct MHD_Response *response = NULL;
    size_t len = 0;
    uint8_t *bytes = NULL;

    if (answer->body.rc != FSP_OK)
        fsp_http_refuse(answer, MHD_HTTP_INTERNAL_SERVER_ERROR, "the answer could not be made");
    bytes = fsp_buf_steal(&answer->body, &len);
    response = MHD_create_response_from_buffer(
            len, bytes, bytes == NULL ? MHD_RESPMEM_PERSISTENT : MHD_RESPMEM_MUST_FREE);
    if (response == NULL) {
        free(bytes);
        goto out;
    }
    if (add_headers(http, response, answer, allow) != MHD_YES)
        goto out;
    conn_mark(http, connection, false, len);
    result = MHD_queue_response(connection, (unsigned)answer->status, response);
out:
    if (response != NULL)
        MHD_destroy_response(response);
    return result;
}

static const char *
refusal_line(int status)
{
    switch (status) {
    case MHD_HTTP_NOT_FOUND:
        return "nothing is served under this address";
    case MHD_HTTP_METHOD_NOT_ALLOWED:
        return "this address does not take that method";
    case MHD_HTTP_LENGTH_REQUIRED:
        return "a body needs a Content-Length";
    case MHD_HTTP_CONTENT_TOO_LARGE:
        return "the body is larger than this address takes";
    default:
        return "the request was not understood";
    }
}

static enum MHD_Result
queue_refusal(
        struct fsp_http *http, struct MHD_Connection *connection, const struct request *request)
{
    struct fsp_http_answer answer = {0};
    enum MHD_Result result;

    fsp_buf_init(&answer.body, FSP_HTTP_ANSWER_MAX);
    fsp_http_refuse(&answer, request->refused, refusal_line(request->refused));
    result = queue(http, connection, &answer, request->allow);
    fsp_buf_fini(&answer.body);
    return result;
}

/* --- requests -------------------------------------------------------------------------------- */

const char *
fsp_http_query(const struct fsp_http_request *request, const char *name)
{
    return MHD_lookup_connection_value(request->connection, MHD_GET_ARGUMENT_KIND, name);
}

/* The route, or the status that refuses. */
static void
find_route(const struct fsp_http *http, const char *method, const char *path,
        struct request *request)
{
    const char *wanted =
            strcmp(method, MHD_HTTP_METHOD_HEAD) == 0 ? MHD_HTTP_METHOD_GET : method;

    request->refused = MHD_HTTP_NOT_FOUND;
    for (const struct fsp_http_route *route = http->options.routes; route->path != NULL;
            route++) {
        if (strcmp(route->path, path) != 0)
            continue;
        if (strcmp(route->method, wanted) == 0) {
            request->route = route;
            request->refused = 0;
            request->allow = NULL;
            return;
        }
        request->refused = MHD_HTTP_METHOD_NOT_ALLOWED;
        request->allow =
                strcmp(route->method, MHD_HTTP_METHOD_GET) == 0 ? "GET, HEAD" : route->method;
    }
}

/* What the headers say of the body. *hopeless: too much even to throw away. */
static void
judge_length(
        struct MHD_Connection *connection, struct request *request, size_t max, bool *hopeless)
{
    const char *length = MHD_lookup_connection_value(
            connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_CONTENT_LENGTH);
    const char *coding = MHD_lookup_connection_value(
            connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_TRANSFER_ENCODING);
    size_t drain = max * DRAIN_TIMES < DRAIN_LEAST ? DRAIN_LEAST : max * DRAIN_TIMES;
    uint64_t bytes = 0;

    *hopeless = false;
    if (coding != NULL || (length == NULL && max > 0)) {
        if (request->refused == 0)
            request->refused = MHD_HTTP_LENGTH_REQUIRED;
        *hopeless = true;
        return;
    }
    if (length == NULL)
        return;
    if (fsp_text_u64(length, strlen(length), &bytes) != FSP_OK)
        bytes = UINT64_MAX; /* libmicrohttpd refuses such a header itself */
    if (bytes > max && request->refused == 0)
        request->refused = MHD_HTTP_CONTENT_TOO_LARGE;
    *hopeless = bytes > drain;
}

static enum MHD_Result
begin_request(struct fsp_http *http, struct MHD_Connection *connection, const char *path,
        const char *method, void **con_cls)
{
    struct request *request = calloc(1, sizeof(*request));
    size_t max;
    bool hopeless;

    if (request == NULL)
        return MHD_NO;
    *con_cls = request;
    lock(http);
    http->running++;
    unlock(http);
    find_route(http, method, path, request);
    max = request->route == NULL ? 0 : request->route->body_max;
    fsp_buf_init(&request->body, max);
    judge_length(connection, request, max, &hopeless);
    conn_mark(http, connection, false, 0);
    if (hopeless)
        return queue_refusal(http, connection, request);
    return MHD_YES;
}

static void
take_body(struct fsp_http *http, struct MHD_Connection *connection, struct request *request,
        const char *data, size_t len)
{
    if (request->refused == 0) {
        fsp_buf_add(&request->body, data, len);
        if (request->body.rc == FSP_ELIMIT)
            request->refused = MHD_HTTP_CONTENT_TOO_LARGE;
        else if (request->body.rc != FSP_OK)
            request->refused = MHD_HTTP_INTERNAL_SERVER_ERROR;
    }
    if (request->refused == 0)
        conn_earn(http, connection, len);
    else
        request->discarded += len; /* earns nothing */
}

static enum MHD_Result
handle(struct fsp_http *http, struct MHD_Connection *connection, const char *method,
        struct request *request)
{
    struct fsp_http_request seen = {.method = method,
            .path = request->route->path,
            .body = request->body.data,
            .len = request->body.len,
            .connection = connection};
    struct fsp_http_answer answer = {
            .status = MHD_HTTP_OK, .type = "text/plain; charset=utf-8"};
    enum MHD_Result result;

    fsp_buf_init(&answer.body, FSP_HTTP_ANSWER_MAX);
    conn_mark(http, connection, true, 0);
    request->route->handle(http->options.ctx, &seen, &answer);
    result = queue(http, connection, &answer, NULL);
    fsp_buf_fini(&answer.body);
    return result;
}

static enum MHD_Result
/* NOLINTNEXTLINE(readability-function-size): libmicrohttpd's own signature */
access_request(void *cls, struct MHD_Connection *connection, const char *path,
        const char *method, const char *version, const char *upload, size_t *upload_len,
        void **con_cls)
{
    struct fsp_http *http = cls;
    struct request *request = *con_cls;

    (void)version;
    if (request == NULL)
        return begin_request(http, connection, path, method, con_cls);
    if (*upload_len > 0) {
        take_body(http, connection, request, upload, *upload_len);
        *upload_len = 0;
        return MHD_YES;
    }
    if (request->refused != 0)
        return queue_refusal(http, connection, request);
    return handle(http, connection, method, request);
}

static void
request_completed(void *cls, struct MHD_Connection *connection, void **con_cls,
        enum MHD_RequestTerminationCode code)
{
    struct fsp_http *http = cls;
    struct request *request = *con_cls;

    (void)code;
    conn_mark(http, connection, false, 0);
    if (request == NULL)
        return;
    fsp_buf_fini(&request->body);
    free(request);
    *con_cls = NULL;
    lock(http);
    http->running--;
    (void)pthread_cond_broadcast(&http->changed);
    unlock(http);
}

/* --- start and stop -------------------------------------------------------------------------- */

/* Split "host:port" or "[host]:port" into two terminated texts in `copy`. */
static enum fsp_rc
split_address(char *copy, char **host, char **port)
{
    char *colon = strrchr(copy, ':');
    uint64_t number = 0;

    if (colon == NULL || fsp_text_u64(colon + 1, strlen(colon + 1), &number) != FSP_OK ||
            number > UINT16_MAX) /* getaddrinfo() would take it modulo 65,536 */
        return FSP_EINVAL;
    *colon = '\0';
    *port = colon + 1;
    *host = copy;
    if (copy[0] == '[') {
        if (colon[-1] != ']')
            return FSP_EINVAL;
        colon[-1] = '\0';
        *host = copy + 1;
    }
    return (*host)[0] == '\0' ? FSP_EINVAL : FSP_OK;
}

static enum fsp_rc
open_socket(const char *address, int *fd, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    struct addrinfo hints = {.ai_socktype = SOCK_STREAM,
            .ai_flags = AI_NUMERICHOST | AI_NUMERICSERV | AI_PASSIVE};
    struct addrinfo *found = NULL;
    char *copy = strdup(address);
    char *host = NULL;
    char *port = NULL;
    const int on = 1;
    const int off = 0;

    *fd = -1;
    if (copy == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    if (split_address(copy, &host, &port) != FSP_OK ||
            getaddrinfo(host, port, &hints, &found) != 0 || found == NULL) {
        rc = fsp_err_set(err, FSP_EINVAL,
                "%s: not an address and port; write for example 127.0.0.1:8463 or [::1]:8463",
                address);
        goto out;
    }
    *fd = socket(found->ai_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    /* The second is inherited by connections: a request is acknowledged with its answer, where that
     * comes soon, and not before it. Somebody pays for the bytes. */
    if (*fd < 0 || setsockopt(*fd, IPPROTO_TCP, TCP_QUICKACK, &off, sizeof(off)) != 0 ||
            setsockopt(*fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof(on)) != 0 ||
            bind(*fd, found->ai_addr, found->ai_addrlen) != 0 || listen(*fd, 1024) != 0)
        rc = fsp_err_sys(err, FSP_EUNAVAIL, errno, "cannot listen on %s", address);
out:
    if (rc != FSP_OK && *fd >= 0) {
        (void)close(*fd);
        *fd = -1;
    }
    if (found != NULL)
        freeaddrinfo(found);
    free(copy);
    return rc;
}

static enum fsp_rc
make_url(struct fsp_http *http, int fd, struct fsp_err *err)
{
    struct sockaddr_storage name;
    socklen_t len = sizeof(name);
    char host[64];
    char port[8];
    char url[96];
    bool six;

    memset(&name, 0, sizeof(name));
    if (getsockname(fd, (struct sockaddr *)&name, &len) != 0 ||
            getnameinfo((struct sockaddr *)&name, len, host, sizeof(host), port, sizeof(port),
                    NI_NUMERICHOST | NI_NUMERICSERV) != 0)
        return fsp_err_set(err, FSP_EUNAVAIL, "cannot tell the port that was opened");
    six = name.ss_family == AF_INET6;
    (void)snprintf(url, sizeof(url), "http%s://%s%s%s:%s", http->options.tls != NULL ? "s" : "",
            six ? "[" : "", host, six ? "]" : "", port);
    http->url = strdup(url);
    return http->url == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory") : FSP_OK;
}

/* libmicrohttpd takes its texts without const, and only reads them. */
static void *
unconst(const char *text)
{
    const union {
        const char *text;
        void *any;
    } both = {.text = text};

    return both.any;
}

static enum fsp_rc
start_daemon(struct fsp_http *http, int fd, struct fsp_err *err)
{
    const struct fsp_http_tls *tls = http->options.tls;
    struct MHD_OptionItem more[4] = {{MHD_OPTION_END, 0, NULL}, {MHD_OPTION_END, 0, NULL},
            {MHD_OPTION_END, 0, NULL}, {MHD_OPTION_END, 0, NULL}};
    unsigned flags = MHD_USE_EPOLL_INTERNAL_THREAD | MHD_USE_ITC;
    unsigned threads = http->options.threads == 0 ? 2 : http->options.threads;

    if (tls != NULL) { /* an option list that ends at once when there is no TLS */
        more[0] = (struct MHD_OptionItem){MHD_OPTION_HTTPS_MEM_KEY, 0, unconst(tls->key)};
        more[1] = (struct MHD_OptionItem){MHD_OPTION_HTTPS_MEM_CERT, 0, unconst(tls->cert)};
        more[2] = (struct MHD_OptionItem){
                MHD_OPTION_HTTPS_PRIORITIES, 0, unconst(TLS_PRIORITIES)};
        flags |= MHD_USE_TLS;
    }
    if (http->options.bare)
        flags |= MHD_USE_SUPPRESS_DATE_NO_CLOCK;
    http->daemon = MHD_start_daemon(flags, 0, NULL, NULL, access_request, http,
            MHD_OPTION_LISTEN_SOCKET, fd, MHD_OPTION_THREAD_POOL_SIZE, threads,
            MHD_OPTION_CONNECTION_LIMIT, FSP_HTTP_CONNECTIONS_MAX,
            MHD_OPTION_CONNECTION_TIMEOUT, IDLE_S, MHD_OPTION_CONNECTION_MEMORY_LIMIT,
            FSP_HTTP_HEADERS_MAX, MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_NOTIFY_CONNECTION,
            connection_changed, http, MHD_OPTION_NOTIFY_COMPLETED, request_completed, http,
            MHD_OPTION_ARRAY, more, MHD_OPTION_END);
    if (http->daemon == NULL)
        return fsp_err_set(err, FSP_EUNAVAIL, "%s: the server did not start%s",
                http->options.listen, tls != NULL ? "; is the TLS key sound?" : "");
    return FSP_OK;
}

enum fsp_rc
fsp_http_start(
        const struct fsp_http_options *options, struct fsp_http **out, struct fsp_err *err)
{
    enum fsp_rc rc;
    struct fsp_http *http = calloc(1, sizeof(*http));
    int fd = -1;

    *out = NULL;
    if (http == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    http->options = *options;
    if (http->options.deadline_ms == 0)
        http->options.deadline_ms = DEADLINE_MS_USUAL;
    (void)pthread_mutex_init(&http->mutex, NULL);
    (void)pthread_cond_init(&http->changed, NULL);
    rc = open_socket(options->listen, &fd, err);
    if (rc == FSP_OK)
        rc = make_url(http, fd, err);
    if (rc != FSP_OK)
        goto out;
    if (pthread_create(&http->cutter, NULL, cut_slow, http) != 0) {
        rc = fsp_err_set(err, FSP_ENOMEM, "cannot start a thread");
        goto out;
    }
    http->has_cutter = true;
    rc = start_daemon(http, fd, err);
    if (rc != FSP_OK)
        goto out;
    http->options.tls = NULL; /* libmicrohttpd has its own copy */
    fd = -1;                  /* the daemon closes it */
    *out = http;
    http = NULL;
out:
    if (fd >= 0)
        (void)close(fd);
    fsp_http_stop(http);
    return rc;
}

static void
wait_for_requests(struct fsp_http *http)
{
    struct timespec until;

    (void)clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += STOP_S;
    lock(http);
    while (http->running > 0) {
        if (pthread_cond_timedwait(&http->changed, &http->mutex, &until) != 0)
            break;
    }
    unlock(http);
}

void
fsp_http_stop(struct fsp_http *http)
{
    if (http == NULL)
        return;
    if (http->daemon != NULL) {
        int fd = MHD_quiesce_daemon(http->daemon);

        wait_for_requests(http);
        MHD_stop_daemon(http->daemon);
        if (fd != MHD_INVALID_SOCKET)
            (void)close(fd);
    }
    if (http->has_cutter) {
        lock(http);
        http->stopping = true;
        (void)pthread_cond_broadcast(&http->changed);
        unlock(http);
        (void)pthread_join(http->cutter, NULL);
    }
    (void)pthread_cond_destroy(&http->changed);
    (void)pthread_mutex_destroy(&http->mutex);
    free(http->url);
    free(http);
}

const char *
fsp_http_url(const struct fsp_http *http)
{
    return http->url;
}
