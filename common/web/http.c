#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>
#include <unistd.h>

#include "base/text.h"
#include "web/http_priv.h"

#define DEADLINE_MS_USUAL 60000u
#define IDLE_MS_USUAL     30000u
#define CONNECTIONS_USUAL 256u
#define QUEUE_USUAL       256u
#define THREADS_USUAL     2u
#define STOP_S            5
/* Bodies up to this many times the route's maximum are read and thrown away, so that the sender
 * gets to see the 413; beyond it the connection is closed at once. */
#define DRAIN_TIMES    4
#define DRAIN_LEAST    ((size_t)64 * 1024)
#define TLS_PRIORITIES "SECURE128:-VERS-ALL:+VERS-TLS1.3:%NO_TICKETS"

/* --- requests -------------------------------------------------------------------------------- */

/* One more method for 405. */
static void
allow(struct request *request, const char *method)
{
    const size_t len = strlen(request->allow);

    (void)snprintf(request->allow + len, sizeof(request->allow) - len, "%s%s%s",
            len > 0 ? ", " : "", method,
            strcmp(method, MHD_HTTP_METHOD_GET) == 0 ? ", HEAD" : "");
}

/* The route in one table, or the status that refuses. */
static bool
find_in(const struct fsp_http_route *routes, const char *method, const char *path,
        struct request *request)
{
    for (const struct fsp_http_route *route = routes; route != NULL && route->path != NULL;
            route++) {
        if (strcmp(route->path, path) != 0)
            continue;
        if (strcmp(route->method, method) == 0) {
            request->route = route;
            request->refused = 0;
            request->allow[0] = '\0';
            return true;
        }
        request->refused = MHD_HTTP_METHOD_NOT_ALLOWED;
        allow(request, route->method);
    }
    return false;
}

static void
find_route(const struct fsp_http *http, const char *method, const char *path,
        struct request *request)
{
    const struct fsp_http_options *options = &http->options;
    const char *wanted =
            strcmp(method, MHD_HTTP_METHOD_HEAD) == 0 ? MHD_HTTP_METHOD_GET : method;

    request->refused = MHD_HTTP_NOT_FOUND;
    request->ctx = options->ctx;
    if (find_in(options->routes, wanted, path, request))
        return;
    request->ctx = options->more_ctx;
    if (find_in(options->more_routes, wanted, path, request))
        return;
    for (size_t i = 0; i < options->n_tables; i++) {
        request->ctx = options->tables[i].ctx;
        if (find_in(options->tables[i].routes, wanted, path, request))
            return;
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

/* A route that takes a body is refused before its body is sent, when it would be in vain. */
static void
judge_load(struct fsp_http *http, struct request *request)
{
    fsp_http_lock(http);
    if (request->refused == 0 && request->route->body_max > 0 &&
            (http->stats.queued >= http->options.queue_max ||
                    http->stats.body_bytes >= http->options.bodies_max))
        request->refused = FSP_HTTP_TOO_MANY;
    fsp_http_unlock(http);
}

/* The first that is heard of a request: its line as it came, before anything is decoded. NULL: out of
 * memory. */
static void *
see_request_line(void *cls, const char *uri, struct MHD_Connection *connection)
{
    struct fsp_http *http = cls;
    struct request *request = calloc(1, sizeof(*request));
    const char *query = strchr(uri, '?');

    (void)connection;
    if (request == NULL)
        return NULL;
    fsp_form_init(&request->form, NULL);
    fsp_buf_init(&request->query, FSP_HTTP_HEADERS_MAX);
    fsp_buf_init(&request->body, 0);
    fsp_buf_init(&request->answer.body, FSP_HTTP_ANSWER_MAX);
    if (query != NULL)
        fsp_buf_add_text(&request->query, query + 1);
    fsp_http_lock(http);
    http->running++;
    fsp_http_unlock(http);
    return request;
}

static enum MHD_Result
begin_request(struct fsp_http *http, struct MHD_Connection *connection, const char *path,
        const char *method, struct request *request)
{
    size_t max;
    bool hopeless;

    request->stage = REQUEST_READING;
    find_route(http, method, path, request);
    judge_load(http, request);
    max = request->route == NULL ? 0 : request->route->body_max;
    fsp_buf_init(&request->body, max);
    judge_length(connection, request, max, &hopeless);
    fsp_http_conn_phase(http, connection, CONN_READING, 0);
    if (hopeless)
        return fsp_http_queue_refusal(http, connection, request);
    return MHD_YES;
}

/* Count what is held for this body; false when all bodies together would be too much. */
static bool
hold_body(struct fsp_http *http, struct request *request, size_t len)
{
    bool fits;

    fsp_http_lock(http);
    fits = len <= http->options.bodies_max &&
           http->stats.body_bytes <= http->options.bodies_max - len;
    if (fits) {
        http->stats.body_bytes += len;
        http->stats.bytes_in += len;
        request->counted += len;
    }
    fsp_http_unlock(http);
    return fits;
}

static void
free_body(struct fsp_http *http, struct request *request)
{
    if (request->body.data != NULL) /* it may be a password's */
        explicit_bzero(request->body.data, request->body.cap);
    fsp_buf_fini(&request->body);
    fsp_http_lock(http);
    http->stats.body_bytes -= request->counted;
    request->counted = 0;
    fsp_http_unlock(http);
}

static void
take_body(struct fsp_http *http, struct MHD_Connection *connection, struct request *request,
        const char *data, size_t len)
{
    if (request->refused != 0)
        return; /* thrown away; it earns nothing */
    if (!hold_body(http, request, len)) {
        request->refused = FSP_HTTP_TOO_MANY;
    } else {
        fsp_buf_add(&request->body, data, len);
        if (request->body.rc == FSP_ELIMIT)
            request->refused = MHD_HTTP_CONTENT_TOO_LARGE;
        else if (request->body.rc != FSP_OK)
            request->refused = MHD_HTTP_INTERNAL_SERVER_ERROR;
    }
    if (request->refused == 0)
        fsp_http_conn_earn(http, connection, len);
    else
        free_body(http, request);
}

/* Query and form into checked fields. False: refused, the answer is made. */
static bool
read_fields(struct MHD_Connection *connection, struct request *request)
{
    static const char urlencoded[] = "application/x-www-form-urlencoded";
    const bool is_form = request->route->body_max > 0 && request->route->fields != NULL;
    const char *type = MHD_lookup_connection_value(
            connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_CONTENT_TYPE);
    struct fsp_err err = {0};
    enum fsp_rc rc;

    if (is_form &&
            (type == NULL || strncasecmp(type, urlencoded, sizeof(urlencoded) - 1) != 0)) {
        fsp_http_refuse(&request->answer, MHD_HTTP_UNSUPPORTED_MEDIA_TYPE,
                "send the form as application/x-www-form-urlencoded");
        return false;
    }
    request->form.fields = is_form ? NULL : request->route->fields;
    rc = fsp_buf_check(&request->query, "a query", &err);
    if (rc == FSP_OK)
        rc = fsp_form_read(&request->form, request->query.data, request->query.len, &err);
    if (rc == FSP_OK && is_form) {
        fsp_form_fini(&request->form);
        fsp_form_init(&request->form, request->route->fields);
        rc = fsp_form_read(&request->form, request->body.data, request->body.len, &err);
    }
    if (rc == FSP_OK)
        return true;
    if (rc == FSP_ENOMEM)
        fsp_http_refuse(&request->answer, MHD_HTTP_SERVICE_UNAVAILABLE, "out of memory");
    else
        fsp_http_refuse(&request->answer, MHD_HTTP_BAD_REQUEST, err.text);
    return false;
}

/* The request is whole: hand it to its handler, here or on a worker. */
static enum MHD_Result
handle(struct fsp_http *http, struct MHD_Connection *connection, const char *method,
        struct request *request)
{
    const bool is_form = request->route->body_max > 0 && request->route->fields != NULL;

    request->answer.status = MHD_HTTP_OK;
    request->answer.type = "text/plain; charset=utf-8";
    if (!read_fields(connection, request)) {
        request->stage = REQUEST_HANDLED;
        return fsp_http_queue_answer(http, connection, request);
    }
    fsp_http_see_client(http, connection, request);
    request->seen.method = method;
    request->seen.path = request->route->path;
    request->seen.query = fsp_buf_peek(&request->query);
    request->seen.body = is_form ? NULL : request->body.data;
    request->seen.len = is_form ? 0 : request->body.len;
    request->seen.form = &request->form;
    request->seen.connection = connection;
    fsp_http_conn_phase(http, connection, CONN_HANDLING, 0);
    if (request->route->body_max == 0) {
        request->route->handle(request->ctx, &request->seen, &request->answer);
        return fsp_http_queue_answer(http, connection, request);
    }
    if (fsp_http_queue_add(http, connection, request))
        return MHD_YES; /* suspended; resumed with the answer */
    request->refused = FSP_HTTP_TOO_MANY;
    return fsp_http_queue_refusal(http, connection, request);
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
        return MHD_NO; /* there was no memory for it */
    if (request->stage == REQUEST_NEW)
        return begin_request(http, connection, path, method, request);
    if (*upload_len > 0) {
        take_body(http, connection, request, upload, *upload_len);
        *upload_len = 0;
        return MHD_YES;
    }
    if (request->refused != 0)
        return fsp_http_queue_refusal(http, connection, request);
    if (request->stage == REQUEST_READING)
        return handle(http, connection, method, request);
    free_body(http, request);
    return fsp_http_queue_answer(http, connection, request);
}

static void
request_completed(void *cls, struct MHD_Connection *connection, void **con_cls,
        enum MHD_RequestTerminationCode code)
{
    struct fsp_http *http = cls;
    struct request *request = *con_cls;

    (void)code;
    fsp_http_conn_phase(http, connection, CONN_IDLE, 0);
    if (request == NULL)
        return;
    free_body(http, request);
    fsp_form_fini(&request->form);
    fsp_buf_fini(&request->query);
    fsp_buf_fini(&request->answer.body);
    free(request);
    *con_cls = NULL;
    fsp_http_lock(http);
    http->running--;
    (void)pthread_cond_broadcast(&http->changed);
    fsp_http_unlock(http);
}

/* --- start and stop -------------------------------------------------------------------------- */

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
    unsigned flags = MHD_USE_EPOLL_INTERNAL_THREAD | MHD_USE_ITC | MHD_ALLOW_SUSPEND_RESUME;

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
            MHD_OPTION_LISTEN_SOCKET, fd, MHD_OPTION_THREAD_POOL_SIZE, http->options.threads,
            MHD_OPTION_CONNECTION_LIMIT, http->options.connections,
            MHD_OPTION_CONNECTION_TIMEOUT, 0u, MHD_OPTION_CONNECTION_MEMORY_LIMIT,
            FSP_HTTP_HEADERS_MAX, MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_NOTIFY_CONNECTION,
            fsp_http_conn_changed, http, MHD_OPTION_NOTIFY_COMPLETED, request_completed, http,
            MHD_OPTION_URI_LOG_CALLBACK, see_request_line, http, MHD_OPTION_ARRAY, more,
            MHD_OPTION_END);
    if (http->daemon == NULL)
        return fsp_err_set(err, FSP_EUNAVAIL, "%s: the server did not start%s",
                http->options.listen, tls != NULL ? "; is the TLS key sound?" : "");
    return FSP_OK;
}

static enum fsp_rc
start_threads(struct fsp_http *http, struct fsp_err *err)
{
    if (pthread_create(&http->cutter, NULL, fsp_http_cut_slow, http) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "cannot start a thread");
    http->has_cutter = true;
    while (http->n_workers < http->options.workers) {
        if (pthread_create(&http->workers[http->n_workers], NULL, fsp_http_work, http) != 0)
            return fsp_err_set(err, FSP_ENOMEM, "cannot start a thread");
        http->n_workers++;
    }
    return FSP_OK;
}

static unsigned
or_usual(unsigned value, unsigned usual, unsigned most)
{
    if (value == 0)
        return usual;
    return value < most ? value : most;
}

static void
set_usual(struct fsp_http_options *options)
{
    options->deadline_ms = or_usual(options->deadline_ms, DEADLINE_MS_USUAL, UINT32_MAX);
    options->idle_ms = or_usual(options->idle_ms, IDLE_MS_USUAL, UINT32_MAX);
    options->threads = or_usual(options->threads, THREADS_USUAL, FSP_HTTP_WORKERS_MAX);
    options->workers = or_usual(options->workers, 1, FSP_HTTP_WORKERS_MAX);
    options->connections =
            or_usual(options->connections, CONNECTIONS_USUAL, FSP_HTTP_CONNECTIONS_MAX);
    options->queue_max = or_usual(options->queue_max, QUEUE_USUAL, FSP_HTTP_QUEUE_MAX);
    if (options->bodies_max == 0)
        options->bodies_max = FSP_HTTP_BODIES_MAX;
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
    http->last = &http->first;
    set_usual(&http->options);
    (void)pthread_mutex_init(&http->mutex, NULL);
    (void)pthread_cond_init(&http->changed, NULL);
    (void)pthread_cond_init(&http->work, NULL);
    rc = fsp_http_open_socket(options->listen, &fd, err);
    if (rc == FSP_OK)
        rc = fsp_http_make_url(http, fd, err);
    if (rc == FSP_OK)
        rc = start_threads(http, err);
    if (rc == FSP_OK)
        rc = start_daemon(http, fd, err);
    if (rc != FSP_OK)
        goto out;
    http->tls = http->options.tls != NULL;
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

/* Refuse what waits in the queue, let the rest end. */
static void
wait_for_requests(struct fsp_http *http)
{
    struct timespec until;

    (void)clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += STOP_S;
    fsp_http_lock(http);
    http->stats.stopping = true;
    while (http->running > 0) {
        if (pthread_cond_timedwait(&http->changed, &http->mutex, &until) != 0)
            break;
    }
    fsp_http_unlock(http);
}

/* After this no handler runs and no connection is suspended. */
static void
stop_threads(struct fsp_http *http)
{
    fsp_http_lock(http);
    http->stats.stopping = true;
    http->stopping = true;
    (void)pthread_cond_broadcast(&http->changed);
    (void)pthread_cond_broadcast(&http->work);
    fsp_http_unlock(http);
    if (http->has_cutter)
        (void)pthread_join(http->cutter, NULL);
    while (http->n_workers > 0)
        (void)pthread_join(http->workers[--http->n_workers], NULL);
}

void
fsp_http_stop(struct fsp_http *http)
{
    int fd = MHD_INVALID_SOCKET;

    if (http == NULL)
        return;
    if (http->daemon != NULL) {
        fd = MHD_quiesce_daemon(http->daemon);
        wait_for_requests(http);
    }
    stop_threads(http);
    if (http->daemon != NULL)
        MHD_stop_daemon(http->daemon);
    if (fd != MHD_INVALID_SOCKET)
        (void)close(fd);
    (void)pthread_cond_destroy(&http->work);
    (void)pthread_cond_destroy(&http->changed);
    (void)pthread_mutex_destroy(&http->mutex);
    free(http->url);
    free(http);
}

void
fsp_http_set_deadline(struct fsp_http *http, unsigned deadline_ms)
{
    fsp_http_lock(http);
    http->options.deadline_ms = deadline_ms;
    fsp_http_unlock(http);
}

void
fsp_http_stats(struct fsp_http *http, struct fsp_http_stats *stats)
{
    fsp_http_lock(http);
    *stats = http->stats;
    for (const struct conn *conn = http->conns; conn != NULL; conn = conn->next)
        stats->idle += conn->phase == CONN_IDLE;
    fsp_http_unlock(http);
}

const char *
fsp_http_url(const struct fsp_http *http)
{
    return http->url;
}
