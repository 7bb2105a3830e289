#include "support/test.h"

#include <errno.h>
#include <netinet/in.h>
#include <poll.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "web/http.h"

/* Real sockets on the loopback address, a port the system picks, a client made of send and recv. */

#define BODY_MAX 1000

struct fixture {
    struct fsp_http *http;
    unsigned port;
    int handled;
};

static void
hello(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    const char *who = fsp_http_query(request, "who");
    struct fixture *f = ctx;

    f->handled++;
    fsp_buf_add_text(&answer->body, "hello ");
    fsp_buf_add_text(&answer->body, who == NULL ? "nobody" : who);
}

static void
echo(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fixture *f = ctx;

    f->handled++;
    fsp_buf_add(&answer->body, request->body, request->len);
}

static void
stuck(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    (void)ctx;
    (void)request;
    fsp_http_refuse(answer, 503, "busy, try again");
    answer->retry_after_s = 7;
}

static void
too_much(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    (void)ctx;
    (void)request;
    answer->body.rc = FSP_ELIMIT;
}

static const struct fsp_http_route routes[] = {
        {"GET", "/", 0, hello},
        {"POST", "/bundle", BODY_MAX, echo},
        {"GET", "/stuck", 0, stuck},
        {"GET", "/too-much", 0, too_much},
        {NULL, NULL, 0, NULL},
};

static void
start(struct fixture *f, unsigned deadline_ms)
{
    struct fsp_err err = {0};
    struct fsp_http_options options = {.listen = "127.0.0.1:0",
            .routes = routes,
            .ctx = f,
            .env = fsp_env_system(),
            .deadline_ms = deadline_ms};

    memset(f, 0, sizeof(*f));
    assert_ok(fsp_http_start(&options, &f->http, &err), &err);
    f->port = (unsigned)strtoul(strrchr(fsp_http_url(f->http), ':') + 1, NULL, 10);
    assert_true(f->port > 0);
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
say(int fd, const char *text, size_t len)
{
    while (len > 0) {
        ssize_t n = send(fd, text, len, MSG_NOSIGNAL);

        if (n <= 0)
            return; /* the server may have closed: the answer tells */
        text += n;
        len -= (size_t)n;
    }
}

/* Everything until the server closes. */
static void
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
}

static void
ask(const struct fixture *f, const char *request, char *out, size_t size)
{
    int fd = dial(f);

    say(fd, request, strlen(request));
    hear(fd, out, size);
    (void)close(fd);
}

#define HOST "Host: x\r\nConnection: close\r\n"

static void
a_get_is_answered_with_security_headers(void **state)
{
    struct fixture f;
    char got[4096];

    (void)state;
    start(&f, 0);
    ask(&f, "GET /?who=crew HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 200 "));
    assert_non_null(strstr(got, "hello crew"));
    assert_non_null(strstr(got, "Content-Security-Policy: default-src 'none'"));
    assert_non_null(strstr(got, "X-Content-Type-Options: nosniff"));
    assert_non_null(strstr(got, "Referrer-Policy: no-referrer"));
    ask(&f, "HEAD / HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 200 "));
    assert_null(strstr(got, "hello"));
    fsp_http_stop(f.http);
}

static void
wrong_paths_and_methods_are_refused(void **state)
{
    struct fixture f;
    char got[4096];

    (void)state;
    start(&f, 0);
    ask(&f, "GET /nothing HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 404 "));
    ask(&f, "GET /bundle HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 405 "));
    assert_non_null(strstr(got, "Allow: POST"));
    ask(&f, "POST / HTTP/1.1\r\n" HOST "Content-Length: 3\r\n\r\nabc", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 405 "));
    assert_non_null(strstr(got, "Allow: GET, HEAD"));
    ask(&f, "DELETE / HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 405 "));
    assert_int_equal(f.handled, 0);
    fsp_http_stop(f.http);
}

static void
post_body(const struct fixture *f, size_t len, char *got, size_t size)
{
    char head[128];
    char *body = malloc(len + 1);
    int fd = dial(f);

    assert_non_null(body);
    memset(body, 'b', len);
    (void)snprintf(head, sizeof(head),
            "POST /bundle HTTP/1.1\r\n" HOST "Content-Length: %zu\r\n\r\n", len);
    say(fd, head, strlen(head));
    say(fd, body, len);
    hear(fd, got, size);
    (void)close(fd);
    free(body);
}

static void
bodies_up_to_the_maximum_are_taken_and_no_more(void **state)
{
    static const struct {
        size_t len;
        const char *status;
    } rows[] = {
            {0, "HTTP/1.1 200 "},
            {1, "HTTP/1.1 200 "},
            {BODY_MAX, "HTTP/1.1 200 "},
            {BODY_MAX + 1, "HTTP/1.1 413 "},
            {(size_t)20 * BODY_MAX, "HTTP/1.1 413 "},
    };
    struct fixture f;
    char got[8192];

    (void)state;
    start(&f, 0);
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        post_body(&f, rows[i].len, got, sizeof(got));
        if (strstr(got, rows[i].status) == NULL)
            fail_msg("%zu bytes: %.60s", rows[i].len, got);
    }
    assert_int_equal(f.handled, 3);
    fsp_http_stop(f.http);
}

static void
a_hopeless_body_is_refused_without_reading_it(void **state)
{
    struct fixture f;
    char got[4096];

    (void)state;
    start(&f, 0);
    ask(&f, "POST /bundle HTTP/1.1\r\n" HOST "Content-Length: 99999999999\r\n\r\n", got,
            sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 413 "));
    fsp_http_stop(f.http);
}

static void
a_body_without_length_is_refused(void **state)
{
    struct fixture f;
    char got[4096];

    (void)state;
    start(&f, 0);
    ask(&f,
            "POST /bundle HTTP/1.1\r\n" HOST
            "Transfer-Encoding: chunked\r\n\r\n3\r\nabc\r\n0\r\n\r\n",
            got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 411 "));
    ask(&f, "POST /bundle HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 411 "));
    assert_int_equal(f.handled, 0);
    fsp_http_stop(f.http);
}

static void
a_stuck_writer_says_when_to_come_back(void **state)
{
    struct fixture f;
    char got[4096];

    (void)state;
    start(&f, 0);
    ask(&f, "GET /stuck HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 503 "));
    assert_non_null(strstr(got, "Retry-After: 7"));
    assert_non_null(strstr(got, "busy, try again\n"));
    fsp_http_stop(f.http);
}

static void
an_answer_that_failed_is_500(void **state)
{
    struct fixture f;
    char got[4096];

    (void)state;
    start(&f, 0);
    ask(&f, "GET /too-much HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 500 "));
    fsp_http_stop(f.http);
}

/* Feed one byte whenever 5 ms pass without news, until the server hangs up. */
static void
drip_until_cut(int fd)
{
    for (;;) {
        struct pollfd poller = {.fd = fd, .events = POLLIN};
        char byte;

        if (poll(&poller, 1, 5) > 0) {
            if (recv(fd, &byte, 1, 0) <= 0)
                return;
            continue;
        }
        if (send(fd, "x", 1, MSG_NOSIGNAL) < 0)
            return;
    }
}

static void
a_slow_drip_of_headers_is_cut_by_the_deadline(void **state)
{
    static const char begin[] = "GET / HTTP/1.1\r\nX-Slow: ";
    struct fixture f;
    int fd;

    (void)state;
    start(&f, 60);
    fd = dial(&f);
    say(fd, begin, sizeof(begin) - 1);
    drip_until_cut(fd);
    (void)close(fd);
    assert_int_equal(f.handled, 0);
    fsp_http_stop(f.http);
}

static void
a_slow_drip_of_a_body_is_cut_by_the_deadline(void **state)
{
    static const char begin[] =
            "POST /bundle HTTP/1.1\r\nHost: x\r\nContent-Length: 999\r\n\r\n";
    struct fixture f;
    int fd;

    (void)state;
    start(&f, 60);
    fd = dial(&f);
    say(fd, begin, sizeof(begin) - 1);
    drip_until_cut(fd);
    (void)close(fd);
    assert_int_equal(f.handled, 0);
    fsp_http_stop(f.http);
}

static void
a_request_cut_short_is_forgotten(void **state)
{
    static const char begin[] =
            "POST /bundle HTTP/1.1\r\nHost: x\r\nContent-Length: 999\r\n\r\nab";
    struct fixture f;
    char got[4096];
    int fd;

    (void)state;
    start(&f, 0);
    fd = dial(&f);
    say(fd, begin, sizeof(begin) - 1);
    (void)close(fd);
    ask(&f, "GET / HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 200 "));
    assert_int_equal(f.handled, 1);
    fsp_http_stop(f.http);
}

static void
several_requests_share_a_connection(void **state)
{
    static const char two[] = "GET /?who=one HTTP/1.1\r\nHost: x\r\n\r\n"
                              "GET /?who=two HTTP/1.1\r\n" HOST "\r\n";
    struct fixture f;
    char got[8192];

    (void)state;
    start(&f, 0);
    ask(&f, two, got, sizeof(got));
    assert_non_null(strstr(got, "hello one"));
    assert_non_null(strstr(got, "hello two"));
    fsp_http_stop(f.http);
}

static void
addresses_that_are_none_are_refused(void **state)
{
    static const char *const rows[] = {"", "8463", "127.0.0.1", "127.0.0.1:", ":8463",
            "localhost:8463", "127.0.0.1:x", "[::1:8463", "300.1.1.1:80", "127.0.0.1:65536",
            "127.0.0.1:-1"};
    struct fsp_err err = {0};

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_http_options options = {
                .listen = rows[i], .routes = routes, .env = fsp_env_system()};
        struct fsp_http *http = NULL;

        if (fsp_http_start(&options, &http, &err) != FSP_EINVAL)
            fail_msg("%s was taken", rows[i]);
        assert_null(http);
    }
}

static void
a_port_in_use_is_unavailable(void **state)
{
    struct fixture f;
    struct fsp_err err = {0};
    struct fsp_http *http = NULL;
    char address[32];
    struct fsp_http_options options = {
            .listen = address, .routes = routes, .env = fsp_env_system()};

    (void)state;
    start(&f, 0);
    (void)snprintf(address, sizeof(address), "127.0.0.1:%u", f.port);
    assert_int_equal(fsp_http_start(&options, &http, &err), FSP_EUNAVAIL);
    assert_null(http);
    fsp_http_stop(f.http);
    fsp_http_stop(NULL);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_get_is_answered_with_security_headers),
            cmocka_unit_test(wrong_paths_and_methods_are_refused),
            cmocka_unit_test(bodies_up_to_the_maximum_are_taken_and_no_more),
            cmocka_unit_test(a_hopeless_body_is_refused_without_reading_it),
            cmocka_unit_test(a_body_without_length_is_refused),
            cmocka_unit_test(a_stuck_writer_says_when_to_come_back),
            cmocka_unit_test(an_answer_that_failed_is_500),
            cmocka_unit_test(a_slow_drip_of_headers_is_cut_by_the_deadline),
            cmocka_unit_test(a_slow_drip_of_a_body_is_cut_by_the_deadline),
            cmocka_unit_test(a_request_cut_short_is_forgotten),
            cmocka_unit_test(several_requests_share_a_connection),
            cmocka_unit_test(addresses_that_are_none_are_refused),
            cmocka_unit_test(a_port_in_use_is_unavailable),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
