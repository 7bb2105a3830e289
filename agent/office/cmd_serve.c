/* serve: the intake and the pages, until a signal. */
#include <poll.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#include "cli/daemon.h"
#include "office/board.h"
#include "office/board_forms.h"
#include "office/cmd.h"
#include "office/intake.h"
#include "office/keywatch.h"
#include "office/metrics.h"
#include "office/tls.h"
#include "web/http.h"

#define STUCK_RETRY_S 30
/* A fleet of a thousand rigs keeps its connections, and comes back at once after an outage. */
#define INTAKE_CONNECTIONS 2048u
#define INTAKE_QUEUE       1024u
#define INTAKE_WORKERS     16u            /* so many bundles at most are committed together */
#define PAGES_WORKERS      4u             /* for forms; two of them may check a password */
#define INTAKE_IDLE_MS     (1800u * 1000) /* twice as long as a rig keeps its connection */
#define FILES_NEEDED       4096           /* descriptors: those, the pages', the store's */
#define WATCHDOG_MS        15000u /* at most between two messages to the service manager */
#define STILL_MS           120000 /* a queue that has not moved for so long is stuck */

struct service {
    struct fsp_signals signals;
    bool has_signals;
    const char *notify; /* NOTIFY_SOCKET */
    struct fsp_shelf *shelf;
    struct fsp_keywatch *keys;
    bool keys_failed; /* said */
    struct fsp_intake *intake;
    struct fsp_live *live;
    struct fsp_gate *gate;
    struct fsp_board *board;
    struct fsp_forms *forms;
    struct fsp_http_routes page_tables[4]; /* besides the board's */
    struct fsp_http *intake_http;
    struct fsp_http *pages_http;
    const struct fsp_env *env;
    int64_t started_us;
    unsigned watchdog_ms;
    uint64_t moved_requests; /* answered when the queue was last seen to move */
    int64_t moved_us;
    bool stuck;
    _Atomic uint64_t bundles[FSP_METRICS_STATUSES];
};

static void
handle_bundle(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct service *service = ctx;
    struct fsp_err err = {0};
    char line[256];
    int status = 0;
    enum fsp_rc rc = fsp_intake_take(
            service->intake, request->body, request->len, &status, &answer->body, &err);

    atomic_fetch_add(&service->bundles[fsp_metrics_status(rc == FSP_OK ? status : 503)], 1);

    if (rc != FSP_OK) {
        fsp_cmd_warn("level=err event=bundle status=503 %s", err.text);
        fsp_http_refuse(
                answer, 503, "the office cannot take bundles now; keep them and try again");
        answer->retry_after_s = STUCK_RETRY_S;
        return;
    }
    answer->status = status;
    if (status == 200 || status == 409 || status == 422)
        return; /* a signed note, as it is */
    (void)snprintf(line, sizeof(line), "%s", fsp_buf_peek(&answer->body));
    fsp_cmd_warn("level=warn event=bundle status=%d %s", status, line);
    fsp_http_refuse(answer, status, line);
}

static void
handle_health(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    (void)ctx;
    (void)request;
    fsp_buf_add_text(&answer->body, "good\n");
}

static void
handle_metrics(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct service *service = ctx;
    struct fsp_metrics metrics = {.has_commit = false};
    struct fsp_intake_stats stats;
    const int64_t now_us = service->env->monotonic_us(service->env->ctx);

    (void)request;
    fsp_http_stats(service->intake_http, &metrics.intake);
    if (service->pages_http != NULL) /* asked in the moment it starts */
        fsp_http_stats(service->pages_http, &metrics.pages);
    for (unsigned i = 0; i < FSP_METRICS_STATUSES; i++)
        metrics.bundles[i] = atomic_load(&service->bundles[i]);
    fsp_intake_stats(service->intake, &stats);
    metrics.records = stats.records;
    metrics.has_commit = stats.commit_us != 0;
    metrics.commit_age_s = (now_us - stats.commit_us) / FSP_US_PER_S;
    fsp_live_lag(service->live, &metrics.lag);
    if (metrics.lag.oldest_us != 0)
        metrics.lag_age_s = (now_us - metrics.lag.oldest_us) / FSP_US_PER_S;
    metrics.up_s = (now_us - service->started_us) / FSP_US_PER_S;
    metrics.fleet = fsp_live_hold(service->live);
    metrics.utc_s = service->env->utc_us(service->env->ctx) / FSP_US_PER_S;
    answer->type = FSP_METRICS_TYPE;
    fsp_metrics_text(&metrics, &answer->body);
    fsp_live_release(service->live, metrics.fleet);
}

static const struct fsp_http_route metrics_routes[] = {
        {.method = "GET", .path = "/metrics", .handle = handle_metrics},
        {.path = NULL},
};

static const struct fsp_http_route intake_routes[] = {
        {.method = "POST",
                .path = "/bundle",
                .body_max = FSP_BUNDLE_MAX,
                .handle = handle_bundle},
        {.method = "GET", .path = "/health", .handle = handle_health},
        {.path = NULL},
};

static void
notify(const struct service *service, const char *state)
{
    struct fsp_err err = {0};

    if (fsp_daemon_notify(service->notify, state, &err) != FSP_OK)
        fsp_cmd_warn("level=warn event=notify %s", err.text);
}

/* Listen at "ADDR:PORT" or "https://ADDR:PORT" ("http://" may be said, too). */
static enum fsp_rc
listen_at(struct fsp_http_options *options, const char *address, const char *store,
        struct fsp_http **out, struct fsp_err *err)
{
    struct fsp_office_tls tls = {.cert = {0}};
    struct fsp_http_tls pem = {.key = NULL};
    bool made = false;
    enum fsp_rc rc = FSP_OK;

    options->tls = NULL;
    options->listen = address;
    if (strncmp(address, "http://", 7) == 0) {
        options->listen = address + 7;
    } else if (strncmp(address, "https://", 8) == 0) {
        options->listen = address + 8;
        rc = fsp_office_tls_make(&tls, store, &made, err);
        if (made)
            fsp_cmd_warn("level=info event=tls made the office's TLS key and its spare in "
                         "%s/keys; rigs need an invitation with an https:// address",
                    store);
        if (rc == FSP_OK) {
            pem.key = fsp_buf_peek(&tls.key);
            pem.cert = fsp_buf_peek(&tls.cert);
            options->tls = &pem;
        }
    }
    if (rc == FSP_OK)
        rc = fsp_http_start(options, out, err);
    options->tls = NULL;
    fsp_office_tls_fini(&tls);
    return rc;
}

static enum fsp_rc
start_pages(
        struct fsp_args *args, struct service *service, const char *store, struct fsp_err *err)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    const char *given = fsp_args_get(args, "pages");
    const char *pages = given != NULL ? given : fsp_conf_text(office->conf, "serve", "pages");
    struct fsp_http_options options = {.env = office->env,
            .routes = fsp_board_routes(),
            .ctx = service->board,
            .more_routes = metrics_routes,
            .more_ctx = service,
            .tables = service->page_tables,
            .n_tables = sizeof(service->page_tables) / sizeof(service->page_tables[0]),
            .workers = PAGES_WORKERS,
            .behind_proxy = fsp_conf_bool(office->conf, "serve", "behind-proxy")};
    const char *plain = strncmp(pages, "http://", 7) == 0 ? pages + 7 : pages;
    enum fsp_rc rc = fsp_gate_may_listen(
            plain, strncmp(pages, "https://", 8) == 0, options.behind_proxy, err);

    options.deadline_ms = (unsigned)fsp_conf_int(office->conf, "serve", "deadline-s") * 1000u;
    service->page_tables[0] = (struct fsp_http_routes){fsp_gate_routes(), service->gate};
    service->page_tables[1] = (struct fsp_http_routes){fsp_board_form_routes(), service->forms};
    service->page_tables[2] =
            (struct fsp_http_routes){fsp_board_people_routes(), service->forms};
    service->page_tables[3] =
            (struct fsp_http_routes){fsp_board_instruct_routes(), service->forms};
    if (rc == FSP_OK)
        rc = listen_at(&options, pages, store, &service->pages_http, err);
    return rc;
}

static enum fsp_rc
start_http(struct fsp_args *args, struct service *service, struct fsp_err *err)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    const char *listen = fsp_args_get(args, "listen");
    const char *store = NULL;
    struct fsp_http_options options = {.env = office->env};
    enum fsp_rc rc = fsp_cmd_conf(args, err);

    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, err);
    if (rc != FSP_OK)
        return rc;
    options.deadline_ms = (unsigned)fsp_conf_int(office->conf, "serve", "deadline-s") * 1000u;
    options.routes = intake_routes;
    options.ctx = service;
    options.bare = true;
    options.connections = INTAKE_CONNECTIONS;
    options.queue_max = INTAKE_QUEUE;
    options.workers = INTAKE_WORKERS;
    options.idle_ms = INTAKE_IDLE_MS;
    rc = listen_at(&options,
            listen != NULL ? listen : fsp_conf_text(office->conf, "serve", "listen"), store,
            &service->intake_http, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "--listen");
    rc = start_pages(args, service, store, err);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "--pages");
}

/* The usual soft limit of 1,024 is less than the intake's places. */
static void
raise_files(void)
{
    struct rlimit files;

    if (getrlimit(RLIMIT_NOFILE, &files) != 0 || files.rlim_cur >= FILES_NEEDED)
        return;
    files.rlim_cur = files.rlim_max < FILES_NEEDED ? files.rlim_max : FILES_NEEDED;
    if (setrlimit(RLIMIT_NOFILE, &files) != 0 || files.rlim_cur < FILES_NEEDED)
        fsp_cmd_warn("level=warn event=limit only %llu files may be open; the intake wants %d",
                (unsigned long long)files.rlim_cur, FILES_NEEDED);
}

static void
tell_live(void *ctx, const char *rig, uint64_t entries)
{
    fsp_live_grew(ctx, rig, entries);
}

static enum fsp_rc
start_live(struct service *service, const char *store, struct fsp_err *err)
{
    const struct fsp_office_keys *keys = fsp_keywatch_keys(service->keys);
    const struct fsp_live_about about = {.ops = &fsp_shelf_sqlite,
            .store = store,
            .env = service->env,
            .keys = keys->instructions_ever,
            .n_keys = keys->n_instructions_ever};
    enum fsp_rc rc = fsp_live_new(&about, &service->live, err);

    if (rc == FSP_OK)
        fsp_intake_tell(service->intake, tell_live, service->live);
    return rc;
}

static enum fsp_rc
start(struct fsp_args *args, struct service *service, struct fsp_err *err)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    const char *store = NULL;
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, err);

    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, err);
    if (rc == FSP_OK) {
        rc = fsp_signals_init(&service->signals, err);
        service->has_signals = rc == FSP_OK;
    }
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, FSP_SHELF_WRITE, &service->shelf, err);
    if (rc == FSP_OK)
        rc = fsp_keywatch_new(store, &service->keys, err);
    if (rc == FSP_OK)
        rc = fsp_intake_new(service->shelf, fsp_keywatch_keys(service->keys), office->env,
                &service->intake, err);
    if (rc == FSP_OK)
        rc = start_live(service, store, err);
    if (rc == FSP_OK)
        rc = fsp_gate_new(store, office->env, &service->gate, err);
    if (rc == FSP_OK)
        rc = fsp_cmd_conf(args, err);
    if (rc == FSP_OK) {
        const struct fsp_board_about about = {.ops = &fsp_shelf_sqlite,
                .store = store,
                .env = office->env,
                .live = service->live,
                .gate = service->gate,
                .prices = fsp_conf_text(office->conf, "prices", "per-ft"),
                .currency = fsp_conf_text(office->conf, "prices", "currency")};
        const struct fsp_forms_about forms = {.ops = &fsp_shelf_sqlite,
                .store = store,
                .env = office->env,
                .gate = service->gate,
                .live = service->live};

        rc = fsp_board_new(&about, &service->board, err);
        if (rc == FSP_OK)
            rc = fsp_forms_new(&forms, &service->forms, err);
    }
    raise_files();
    if (rc == FSP_OK)
        rc = start_http(args, service, err);
    return rc;
}

/* Another process may have let a key follow another: sign with it from now on. */
static void
look_at_keys(struct service *service)
{
    const struct fsp_office_keys *keys;
    struct fsp_err err = {0};
    bool changed = false;

    if (fsp_keywatch_look(service->keys, &changed, &err) != FSP_OK) {
        if (!service->keys_failed)
            fsp_cmd_warn("level=err event=keys %s; the keys read before hold", err.text);
        service->keys_failed = true;
        return;
    }
    service->keys_failed = false;
    if (!changed)
        return;
    keys = fsp_keywatch_keys(service->keys);
    fsp_intake_keys(service->intake, keys);
    fsp_live_keys(service->live, keys->instructions_ever, keys->n_instructions_ever);
    fsp_cmd_warn(
            "level=info event=keys cosigner=%zu instructions=%zu box=%zu; signing with the "
            "newest of each",
            keys->n_cosigner_before + 1, keys->n_instructions_ever, keys->n_box);
}

/* SIGHUP: the deadline is taken over, the rest holds from the next start. All or nothing. */
static void
reload(struct fsp_args *args, struct service *service)
{
    struct fsp_office *office = fsp_args_ctx(args);
    struct fsp_err err = {0};
    struct fsp_conf *before = office->conf;
    unsigned deadline_ms;

    if (fsp_daemon_reloading(
                service->notify, service->env->monotonic_us(service->env->ctx), &err) != FSP_OK)
        fsp_cmd_warn("level=warn event=notify %s", err.text);
    office->conf = NULL;
    if (fsp_cmd_conf(args, &err) != FSP_OK) {
        fsp_cmd_warn("level=err event=reload %s; the old configuration holds", err.text);
    } else {
        deadline_ms = (unsigned)fsp_conf_int(office->conf, "serve", "deadline-s") * 1000u;
        fsp_http_set_deadline(service->intake_http, deadline_ms);
        fsp_http_set_deadline(service->pages_http, deadline_ms);
        fsp_cmd_warn("level=info event=reload deadline-s=%u; addresses and store hold from the "
                     "next start",
                deadline_ms / 1000);
    }
    fsp_conf_free(office->conf);
    office->conf = before; /* its texts are in use */
    notify(service, "READY=1");
}

/* Fed while bundles that wait are answered: a service that takes none is better started again. */
static void
feed_watchdog(struct service *service)
{
    const int64_t now_us = service->env->monotonic_us(service->env->ctx);
    struct fsp_http_stats stats;

    fsp_http_stats(service->intake_http, &stats);
    if (stats.queued == 0 || stats.requests != service->moved_requests) {
        service->moved_requests = stats.requests;
        service->moved_us = now_us;
        service->stuck = false;
    }
    if (now_us - service->moved_us <= (int64_t)STILL_MS * 1000) {
        notify(service, "WATCHDOG=1");
        return;
    }
    if (!service->stuck)
        fsp_cmd_warn("level=err event=stuck queued=%zu; no bundle was answered for %d s",
                stats.queued, STILL_MS / 1000);
    service->stuck = true;
}

static void
run(struct fsp_args *args, struct service *service)
{
    struct pollfd wait = {.fd = service->signals.fd, .events = POLLIN};
    const unsigned look_ms = service->watchdog_ms < FSP_KEYWATCH_LOOK_MS ? service->watchdog_ms
                                                                         : FSP_KEYWATCH_LOOK_MS;

    while (!service->signals.stop) {
        (void)poll(&wait, 1, (int)look_ms);
        fsp_signals_take(&service->signals);
        if (service->signals.reload && !service->signals.stop)
            reload(args, service);
        service->signals.reload = false;
        look_at_keys(service);
        feed_watchdog(service);
    }
}

static void
stop(struct service *service)
{
    fsp_http_stop(service->pages_http);
    fsp_http_stop(service->intake_http);
    fsp_forms_free(service->forms);
    fsp_board_free(service->board);
    fsp_gate_free(service->gate);
    fsp_intake_free(service->intake);
    fsp_live_free(service->live);
    if (service->shelf != NULL && service->shelf->ctx != NULL) /* else the next start does it */
        (void)service->shelf->ops->tidy(service->shelf->ctx, true, NULL);
    fsp_keywatch_free(service->keys);
    fsp_shelf_close(service->shelf);
    if (service->has_signals)
        fsp_signals_fini(&service->signals);
}

/* What the service manager says; before any thread is started. */
static void
read_environment(struct service *service)
{
    service->notify = getenv("NOTIFY_SOCKET"); /* NOLINT(concurrency-mt-unsafe) */
    service->watchdog_ms =
            fsp_daemon_watchdog_ms(getenv("WATCHDOG_USEC"), /* NOLINT(concurrency-mt-unsafe) */
                    getenv("WATCHDOG_PID"),                 /* NOLINT(concurrency-mt-unsafe) */
                    (uint64_t)getpid(), WATCHDOG_MS);
}

int
fsp_cmd_serve(struct fsp_args *args)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    struct fsp_err err = {0};
    struct service service = {0};
    struct fsp_buf line;
    int status;
    enum fsp_rc rc;

    fsp_buf_init(&line, 512);
    read_environment(&service);
    service.env = office->env;
    service.started_us = office->env->monotonic_us(office->env->ctx);
    rc = start(args, &service, &err);
    if (rc != FSP_OK) {
        status = fsp_cmd_fail(rc, &err);
        goto out;
    }
    fsp_buf_printf(&line, "intake on %s, pages on %s\n", fsp_http_url(service.intake_http),
            fsp_http_url(service.pages_http));
    status = fsp_cmd_print(&line);
    if (status == 0) {
        notify(&service, "READY=1");
        run(args, &service);
        notify(&service, "STOPPING=1");
    }
out:
    stop(&service);
    fsp_buf_fini(&line);
    return status;
}
