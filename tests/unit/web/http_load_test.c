/* The server under load and abuse: nobody can hold up the rest. Real sockets, a clock that the test
 * moves, a handler that waits at a gate the test opens. */
#include "support/test.h"

#include <netinet/in.h>
#include <poll.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <unistd.h>

#include "web/http.h"

#define BODY_MAX 1000
#define MANY     1000

struct fixture {
    struct fsp_http *http;
    struct fsp_env env;
    unsigned port;
    _Atomic int64_t later_us; /* how far the server's clock is ahead */
    pthread_mutex_t mutex;
    pthread_cond_t changed;
    bool open;        /* the gate */
    unsigned waiting; /* at it */
    unsigned handled;
};

static int64_t
monotonic_us(void *ctx)
{
    struct fixture *f = ctx;

    return INT64_C(1000000000) + atomic_load(&f->later_us);
}

static void
some_bytes(void *ctx, void *out, size_t len)
{
    fsp_env_system()->random(ctx, out, len);
}

static void
at_gate(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fixture *f = ctx;

    (void)pthread_mutex_lock(&f->mutex);
    f->waiting++;
    (void)pthread_cond_broadcast(&f->changed);
    while (!f->open)
        (void)pthread_cond_wait(&f->changed, &f->mutex);
    f->waiting--;
    f->handled++;
    (void)pthread_mutex_unlock(&f->mutex);
    fsp_buf_printf(&answer->body, "took %zu", request->len);
}

static void
hello(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    (void)ctx;
    (void)request;
    fsp_buf_add_text(&answer->body, "hello");
}

static const struct fsp_http_route routes[] = {
        {.method = "GET", .path = "/", .handle = hello},
        {.method = "POST", .path = "/bundle", .body_max = BODY_MAX, .handle = at_gate},
        {.path = NULL},
};

static const struct fsp_http_route more[] = {
        {.method = "GET", .path = "/more", .handle = hello},
        {.path = NULL},
};

static int
setup(void **state)
{
    struct fixture *f = calloc(1, sizeof(*f));

    assert_non_null(f);
    assert_int_equal(pthread_mutex_init(&f->mutex, NULL), 0);
    assert_int_equal(pthread_cond_init(&f->changed, NULL), 0);
    f->env = *fsp_env_system();
    f->env.monotonic_us = monotonic_us;
    f->env.random = some_bytes;
    f->env.ctx = f;
    *state = f;
    return 0;
}

static void
set_gate(struct fixture *f, bool open)
{
    (void)pthread_mutex_lock(&f->mutex);
    f->open = open;
    (void)pthread_cond_broadcast(&f->changed);
    (void)pthread_mutex_unlock(&f->mutex);
}

static int
teardown(void **state)
{
    struct fixture *f = *state;

    set_gate(f, true);
    fsp_http_stop(f->http);
    (void)pthread_cond_destroy(&f->changed);
    (void)pthread_mutex_destroy(&f->mutex);
    free(f);
    return 0;
}

static void
start(struct fixture *f, struct fsp_http_options options)
{
    struct fsp_err err = {0};

    options.listen = "127.0.0.1:0";
    options.routes = routes;
    options.ctx = f;
    options.more_routes = more;
    options.env = &f->env;
    assert_ok(fsp_http_start(&options, &f->http, &err), &err);
    f->port = (unsigned)strtoul(strrchr(fsp_http_url(f->http), ':') + 1, NULL, 10);
}

static int
dial(const struct fixture *f)
{
    struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons((uint16_t)f->port)};
    int fd = socket(AF_INET, SOCK_STREAM, 0);

    to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    assert_true(fd >= 0);
    assert_int_equal(connect(fd, (struct sockaddr *)&to, sizeof(to)), 0);
    return fd;
}

static void
say(int fd, const char *text)
{
    size_t len = strlen(text);

    while (len > 0) {
        ssize_t n = send(fd, text, len, MSG_NOSIGNAL);

        if (n <= 0)
            return; /* the server may have closed: the answer tells */
        text += n;
        len -= (size_t)n;
    }
}

static void
say_post(int fd, size_t len)
{
    char text[128 + BODY_MAX];
    int head = snprintf(text, sizeof(text),
            "POST /bundle HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Length: "
            "%zu\r\n\r\n",
            len);

    assert_in_range(head, 1, 127);
    memset(text + head, 'b', len);
    text[(size_t)head + len] = '\0';
    say(fd, text);
}

/* The status of one answer, 0 when there is none; the connection is closed. */
static int
hear(int fd, char *out, size_t size)
{
    size_t len = 0;

    for (;;) {
        ssize_t n = recv(fd, out + len, size - 1 - len, 0);

        if (n <= 0)
            break;
        len += (size_t)n;
    }
    out[len] = '\0';
    (void)close(fd);
    return len > 12 ? (int)strtoul(out + 9, NULL, 10) : 0;
}

static int
status_of(int fd)
{
    char text[2048];

    return hear(fd, text, sizeof(text));
}

static int
get(const struct fixture *f, const char *path)
{
    char text[128];
    int fd = dial(f);

    (void)snprintf(text, sizeof(text),
            "GET %s HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n", path);
    say(fd, text);
    return status_of(fd);
}

static void
wait_at_gate(struct fixture *f, unsigned n)
{
    (void)pthread_mutex_lock(&f->mutex);
    while (f->waiting < n)
        (void)pthread_cond_wait(&f->changed, &f->mutex);
    (void)pthread_mutex_unlock(&f->mutex);
}

/* Until a count is reached; the test's own time limit ends a wait in vain. */
static void
wait_queued(struct fixture *f, size_t n)
{
    struct fsp_http_stats stats;

    do {
        (void)poll(NULL, 0, 1);
        fsp_http_stats(f->http, &stats);
    } while (stats.queued != n);
}

/* Move the server's clock, and wait until it has looked for slow connections at the new time: a silent
 * connection that was there before is cut. */
static void
pass(struct fixture *f, int64_t seconds)
{
    struct fsp_http_stats before;
    struct fsp_http_stats stats;
    int fd;
    char byte;

    fsp_http_stats(f->http, &before);
    fd = dial(f);
    do {
        (void)poll(NULL, 0, 1);
        fsp_http_stats(f->http, &stats);
    } while (stats.accepted == before.accepted);
    atomic_fetch_add(&f->later_us, seconds * FSP_US_PER_S);
    assert_int_equal(recv(fd, &byte, 1, 0), 0);
    (void)close(fd);
}

/* Until so many connections are between requests: an answer that was heard may still be going out. */
static void
wait_idle(struct fixture *f, size_t n)
{
    struct fsp_http_stats stats;

    do {
        (void)poll(NULL, 0, 1);
        fsp_http_stats(f->http, &stats);
    } while (stats.idle != n);
}

static void
a_handler_that_waits_holds_up_nobody_else(void **state)
{
    struct fixture *f = *state;
    int fd;

    start(f, (struct fsp_http_options){.threads = 1});
    fd = dial(f);
    say_post(fd, 10);
    wait_at_gate(f, 1);
    for (int i = 0; i < 3; i++)
        assert_int_equal(get(f, "/"), 200);
    assert_int_equal(get(f, "/more"), 200);
    assert_int_equal(get(f, "/none"), 404);
    set_gate(f, true);
    assert_int_equal(status_of(fd), 200);
}

static void
the_clock_stands_while_a_request_waits_for_its_turn(void **state)
{
    struct fixture *f = *state;
    int first;
    int second;

    start(f, (struct fsp_http_options){.deadline_ms = 1000});
    first = dial(f);
    say_post(first, 10);
    wait_at_gate(f, 1);
    second = dial(f);
    say_post(second, 10);
    wait_queued(f, 1);
    pass(f, 3600);
    set_gate(f, true);
    assert_int_equal(status_of(first), 200);
    assert_int_equal(status_of(second), 200);
}

static void
a_full_queue_says_when_to_come_back(void **state)
{
    struct fixture *f = *state;
    struct fsp_http_stats stats;
    char text[2048];
    const char *after;
    int fds[3];
    int fd;

    start(f, (struct fsp_http_options){.queue_max = 2});
    fds[0] = dial(f);
    say_post(fds[0], 10);
    wait_at_gate(f, 1);
    for (int i = 1; i < 3; i++) {
        fds[i] = dial(f);
        say_post(fds[i], 10);
        wait_queued(f, (size_t)i);
    }
    fd = dial(f);
    say_post(fd, 10);
    assert_int_equal(hear(fd, text, sizeof(text)), 429);
    after = strstr(text, "\r\nRetry-After: ");
    assert_non_null(after);
    assert_in_range(strtoul(after + 15, NULL, 10), 2, 32);
    set_gate(f, true);
    for (int i = 0; i < 3; i++)
        assert_int_equal(status_of(fds[i]), 200);
    assert_int_equal(f->handled, 3);
    fsp_http_stats(f->http, &stats);
    assert_int_equal(stats.refused, 1);
    assert_int_equal(stats.queued, 0);
}

static void
bodies_are_held_up_to_a_maximum_for_all_together(void **state)
{
    struct fixture *f = *state;
    struct fsp_http_stats stats;
    int first;
    int fd;

    start(f, (struct fsp_http_options){.bodies_max = 2 * BODY_MAX - 1});
    first = dial(f);
    say_post(first, BODY_MAX);
    wait_at_gate(f, 1);
    fd = dial(f);
    say_post(fd, BODY_MAX); /* one byte too many */
    assert_int_equal(status_of(fd), 429);
    fd = dial(f);
    say_post(fd, BODY_MAX - 1); /* the refused one gave back what it held */
    wait_queued(f, 1);
    set_gate(f, true);
    assert_int_equal(status_of(first), 200);
    assert_int_equal(status_of(fd), 200);
    fsp_http_stats(f->http, &stats);
    assert_int_equal(stats.body_bytes, 0);
}

/* Half-open: connected, and then silence. */
static void
a_thousand_half_open_connections_do_not_keep_one_out(void **state)
{
    struct fixture *f = *state;
    struct fsp_http_stats stats;
    int silent[MANY];
    struct pollfd honest = {.events = POLLIN};

    start(f, (struct fsp_http_options){.connections = 64});
    for (size_t i = 0; i < MANY; i++)
        silent[i] = dial(f);
    honest.fd = dial(f);
    say(honest.fd, "GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n");
    while (poll(&honest, 1, 5) == 0) /* each minute of the server's clock frees the places */
        atomic_fetch_add(&f->later_us, 61 * FSP_US_PER_S);
    assert_int_equal(status_of(honest.fd), 200);
    fsp_http_stats(f->http, &stats);
    assert_true(stats.cut + stats.evicted >= MANY - 64);
    for (size_t i = 0; i < MANY; i++)
        (void)close(silent[i]);
}

static void
say_get_and_hear(int fd)
{
    char text[2048];
    size_t len = 0;

    say(fd, "GET / HTTP/1.1\r\nHost: x\r\n\r\n");
    do {
        ssize_t n = recv(fd, text + len, sizeof(text) - 1 - len, 0);

        assert_true(n > 0);
        len += (size_t)n;
        text[len] = '\0';
    } while (strstr(text, "hello") == NULL);
}

static void
the_connection_idle_longest_goes_when_places_get_short(void **state)
{
    enum {
        PLACES = 32
    };
    struct fixture *f = *state;
    struct fsp_http_stats stats;
    int fds[PLACES];
    char byte;

    start(f, (struct fsp_http_options){
                     .connections = PLACES, .threads = 1, .idle_ms = 3600 * 1000});
    for (size_t i = 0; i < PLACES - 4; i++) { /* up to an eighth */
        fds[i] = dial(f);
        say_get_and_hear(fds[i]);
        wait_idle(f, i + 1);
        atomic_fetch_add(&f->later_us, FSP_US_PER_S);
    }
    fsp_http_stats(f->http, &stats);
    assert_int_equal(stats.evicted, 0);
    fds[PLACES - 4] = dial(f);
    say_get_and_hear(fds[PLACES - 4]);
    assert_int_equal(recv(fds[0], &byte, 1, 0), 0); /* the first was idle longest */
    say_get_and_hear(fds[1]);
    fsp_http_stats(f->http, &stats);
    assert_int_equal(stats.evicted, 1);
    assert_int_equal(stats.cut, 0);
    for (size_t i = 0; i <= PLACES - 4; i++)
        (void)close(fds[i]);
}

static void
an_idle_connection_is_closed_in_its_time(void **state)
{
    struct fixture *f = *state;
    struct fsp_http_stats stats;
    char byte;
    int fd;

    start(f, (struct fsp_http_options){.idle_ms = 900 * 1000, .deadline_ms = 1000});
    fd = dial(f);
    say_get_and_hear(fd);
    wait_idle(f, 1);
    pass(f, 800);
    say_get_and_hear(fd); /* longer than the deadline, and still there */
    wait_idle(f, 1);
    atomic_fetch_add(&f->later_us, 901 * FSP_US_PER_S);
    assert_int_equal(recv(fd, &byte, 1, 0), 0);
    (void)close(fd);
    fsp_http_stats(f->http, &stats);
    assert_int_equal(stats.cut, 1); /* the silent one of pass() */
}

/* A fleet that comes back at once: whoever is refused comes again, and nobody fails for good. */
static void
a_thousand_at_once_are_all_served_in_the_end(void **state)
{
    struct fixture *f = *state;
    struct fsp_http_stats stats;
    int fds[MANY];
    unsigned served = 0;
    unsigned refused = 0;
    char text[2048];

    start(f, (struct fsp_http_options){.connections = 2048, .queue_max = 256, .workers = 4});
    for (size_t i = 0; i < MANY; i++) {
        fds[i] = dial(f);
        say_post(fds[i], 100);
    }
    wait_at_gate(f, 4);
    wait_queued(f, 256);
    set_gate(f, true);
    for (size_t i = 0; i < MANY; i++) {
        int status = hear(fds[i], text, sizeof(text));

        if (status == 429) {
            refused++;
            fds[i] = dial(f);
            say_post(fds[i], 100);
            status = hear(fds[i], text, sizeof(text));
        }
        assert_int_equal(status, 200);
        served++;
    }
    assert_int_equal(served, MANY);
    assert_int_equal(f->handled, MANY);
    fsp_http_stats(f->http, &stats);
    assert_int_equal(stats.refused, refused);
    assert_int_equal(stats.body_bytes, 0);
}

/* The gate opens when the server is already stopping. */
static void *
open_soon(void *ctx)
{
    struct fixture *f = ctx;
    struct fsp_http_stats stats;

    do {
        (void)poll(NULL, 0, 1);
        fsp_http_stats(f->http, &stats);
    } while (!stats.stopping);
    set_gate(f, true);
    return NULL;
}

static void
stopping_ends_what_runs_and_refuses_what_waits(void **state)
{
    struct fixture *f = *state;
    pthread_t opener;
    int running;
    int waiting;

    start(f, (struct fsp_http_options){.threads = 1});
    running = dial(f);
    say_post(running, 10);
    wait_at_gate(f, 1);
    waiting = dial(f);
    say_post(waiting, 10);
    wait_queued(f, 1);
    assert_int_equal(pthread_create(&opener, NULL, open_soon, f), 0);
    fsp_http_stop(f->http);
    f->http = NULL;
    assert_int_equal(pthread_join(opener, NULL), 0);
    assert_int_equal(status_of(running), 200);
    assert_int_equal(status_of(waiting), 503);
    assert_int_equal(f->handled, 1);
}

int
main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
            T(a_handler_that_waits_holds_up_nobody_else),
            T(the_clock_stands_while_a_request_waits_for_its_turn),
            T(a_full_queue_says_when_to_come_back),
            T(bodies_are_held_up_to_a_maximum_for_all_together),
            T(a_thousand_half_open_connections_do_not_keep_one_out),
            T(the_connection_idle_longest_goes_when_places_get_short),
            T(an_idle_connection_is_closed_in_its_time),
            T(a_thousand_at_once_are_all_served_in_the_end),
            T(stopping_ends_what_runs_and_refuses_what_waits),
    };
    struct rlimit files;

    /* Both ends of a thousand connections are in this process. */
    if (getrlimit(RLIMIT_NOFILE, &files) == 0 && files.rlim_cur < 4096) {
        files.rlim_cur = files.rlim_max < 4096 ? files.rlim_max : 4096;
        (void)setrlimit(RLIMIT_NOFILE, &files);
    }
    return cmocka_run_group_tests(tests, NULL, NULL);
}
