#include "support/test.h"

#include <errno.h>
#include <netinet/in.h>
#include <poll.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "web/gzip.h"
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
    const char *who = fsp_http_value(request, "who");
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

/* Everything that a handler can ask and say. */
static void
form(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fixture *f = ctx;
    char cookie[64];

    f->handled++;
    assert_int_equal(request->len, 0);
    fsp_http_see_other(answer, fsp_http_value(request, "to"));
    fsp_http_set_cookie(answer, request, "one", "v-1", 60);
    fsp_http_set_cookie(answer, request, "two", "", 0);
    fsp_buf_printf(&answer->body, "client=%s secure=%d cookie=%s agent=%s note=%s",
            request->client, request->secure,
            fsp_http_cookie(request, "farspool", cookie, sizeof(cookie)) ? cookie : "none",
            fsp_http_header(request, "User-Agent"), fsp_http_value(request, "note"));
}

static void
page(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    (void)ctx;
    (void)request;
    answer->type = "text/html; charset=utf-8";
    for (int i = 0; i < 500; i++)
        fsp_buf_printf(&answer->body, "<p>row %d of the page</p>", i % 10);
    fsp_http_attach(answer, "../rigs \"1\".html");
}

#define SCRIPT "console.log('one line of a script of our own');\n"
static struct fsp_http_asset script = {
        .type = "text/javascript; charset=utf-8", .bytes = SCRIPT, .len = sizeof(SCRIPT) - 1};

static void
asset(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    (void)ctx;
    (void)request;
    fsp_http_serve(answer, &script);
}

static const struct fsp_form_field who_fields[] = {{.name = "who", .max = 40}, {.name = NULL}};
static const struct fsp_form_field form_fields[] = {{.name = "to", .max = 300},
        {.name = "note", .max = 20, .is = FSP_FIELD_TEXT}, {.name = NULL}};

static const struct fsp_http_route routes[] = {
        {.method = "GET", .path = "/", .handle = hello, .fields = who_fields},
        {.method = "GET", .path = "/form", .handle = hello, .fields = who_fields},
        {.method = "POST",
                .path = "/form",
                .body_max = BODY_MAX,
                .handle = form,
                .fields = form_fields},
        {.method = "GET", .path = "/page", .handle = page},
        {.method = "GET", .path = "/script.js", .handle = asset},
        {.method = "POST", .path = "/bundle", .body_max = BODY_MAX, .handle = echo},
        {.method = "GET", .path = "/stuck", .handle = stuck},
        {.method = "GET", .path = "/too-much", .handle = too_much},
        {.path = NULL},
};

static void
start_with(struct fixture *f, struct fsp_http_options options)
{
    struct fsp_err err = {0};

    memset(f, 0, sizeof(*f));
    options.listen = "127.0.0.1:0";
    options.routes = routes;
    options.ctx = f;
    options.env = fsp_env_system();
    assert_ok(fsp_http_start(&options, &f->http, &err), &err);
    f->port = (unsigned)strtoul(strrchr(fsp_http_url(f->http), ':') + 1, NULL, 10);
    assert_true(f->port > 0);
}

static void
start(struct fixture *f, unsigned deadline_ms)
{
    start_with(f, (struct fsp_http_options){.deadline_ms = deadline_ms});
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

/* Post a form; `headers` are whole lines. */
static void
post_form(
        const struct fixture *f, const char *headers, const char *body, char *got, size_t size)
{
    char request[4096];

    (void)snprintf(request, sizeof(request),
            "POST /form HTTP/1.1\r\n" HOST
            "Content-Type: application/x-www-form-urlencoded\r\n%sContent-Length: "
            "%zu\r\n\r\n%s",
            headers, strlen(body), body);
    ask(f, request, got, size);
}

static void
a_form_is_read_by_its_table(void **state)
{
    struct fixture f;
    char got[4096];

    (void)state;
    start(&f, 0);
    post_form(&f, "User-Agent: crew\r\nCookie: a=1; farspool=tok-_1\r\n",
            "to=%2Frig%3Fname%3Dheron&note=one%0D%0Atwo+%C3%A9", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 303 "));
    assert_non_null(strstr(got, "\r\nLocation: /rig?name=heron\r\n"));
    assert_non_null(strstr(
            got, "\r\nSet-Cookie: one=v-1; Path=/; Max-Age=60; HttpOnly; SameSite=Strict\r\n"));
    assert_non_null(strstr(
            got, "\r\nSet-Cookie: two=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict\r\n"));
    assert_non_null(strstr(
            got, "client=127.0.0.1 secure=0 cookie=tok-_1 agent=crew note=one\ntwo \xc3\xa9"));
    assert_int_equal(f.handled, 1);
    fsp_http_stop(f.http);
}

static void
places_that_are_not_ours_are_not_led_to(void **state)
{
    static const char *const rows[] = {"https%3A%2F%2Fexample.com%2F", "%2F%2Fexample.com",
            "%2F%5Cexample.com", "x", "%2Fa%20b", "%2F%3Cscript%3E"};
    struct fixture f;
    char body[200];
    char got[4096];

    (void)state;
    start(&f, 0);
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        (void)snprintf(body, sizeof(body), "to=%s", rows[i]);
        post_form(&f, "", body, got, sizeof(got));
        if (strstr(got, "\r\nLocation: /\r\n") == NULL)
            fail_msg("%s: %.200s", rows[i], got);
    }
    fsp_http_stop(f.http);
}

static void
fields_that_are_not_taken_are_told_and_nothing_is_done(void **state)
{
    static const struct {
        const char *body;
        const char *line;
    } rows[] = {
            {"to=/&other=1", "'other': this address takes no such field"},
            {"to=/&to=/", "to: is given twice"},
            {"to=/&note=123456789012345678901", "note: is longer than 20 bytes"},
            {"to=/&note=%ff", "note: holds a control or invisible character, or is not UTF-8"},
            {"to=/&note=%e2%80%ae", "note: holds a control"},
            {"to=/&note=%1b", "note: holds a control"},
            {"to=/&note=%00", "note: is not encoded as a form is"},
            {"to=/&note=%4", "note: is not encoded as a form is"},
            {"to=/&note=%zz", "note: is not encoded as a form is"},
    };
    struct fixture f;
    char got[4096];

    (void)state;
    start(&f, 0);
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        post_form(&f, "", rows[i].body, got, sizeof(got));
        if (strstr(got, "HTTP/1.1 400 ") == NULL || strstr(got, rows[i].line) == NULL)
            fail_msg("%s: %.600s", rows[i].body, got);
    }
    ask(&f, "GET /?who=a&who=b HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 400 "));
    ask(&f, "GET /page?x=1 HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 400 "));
    ask(&f,
            "POST /form?to=/ HTTP/1.1\r\n" HOST
            "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 0\r\n\r\n",
            got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 400 "));
    ask(&f,
            "POST /form HTTP/1.1\r\n" HOST
            "Content-Type: multipart/form-data\r\nContent-Length: 3\r\n\r\nto=",
            got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 415 "));
    ask(&f, "PUT /form HTTP/1.1\r\n" HOST "Content-Length: 0\r\n\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 405 "));
    assert_non_null(strstr(got, "\r\nAllow: GET, HEAD, POST\r\n"));
    assert_int_equal(f.handled, 0);
    fsp_http_stop(f.http);
}

static void
a_proxy_on_this_machine_is_believed_only_where_one_is_expected(void **state)
{
    static const char headers[] = "X-Forwarded-For: 10.0.0.9\r\n"
                                  "X-Forwarded-For: 10.0.0.9, 192.0.2.7\r\n";
    struct fixture f;
    char got[4096];

    (void)state;
    start(&f, 0);
    post_form(&f, headers, "to=/", got, sizeof(got));
    assert_non_null(strstr(got, "client=127.0.0.1 secure=0 "));
    assert_null(strstr(got, "; Secure"));
    fsp_http_stop(f.http);
    start_with(&f, (struct fsp_http_options){.behind_proxy = true});
    post_form(&f, headers, "to=/", got, sizeof(got));
    assert_non_null(strstr(got, "client=192.0.2.7 secure=1 "));
    assert_non_null(strstr(got, "SameSite=Strict; Secure\r\n"));
    post_form(&f, "X-Forwarded-For: nonsense\r\n", "to=/", got, sizeof(got));
    assert_non_null(strstr(got, "client=127.0.0.1 secure=1 "));
    fsp_http_stop(f.http);
}

static size_t
content_length(const char *got)
{
    const char *at = strstr(got, "\r\nContent-Length: ");

    assert_non_null(at);
    return strtoul(at + 18, NULL, 10);
}

static void
pages_are_sent_gzipped_to_whoever_takes_it(void **state)
{
    struct fixture f;
    struct fsp_buf back;
    struct fsp_err err = {0};
    static char got[32768];
    size_t plain;
    size_t coded;
    const char *body;

    (void)state;
    start(&f, 0);
    ask(&f, "GET /page HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_null(strstr(got, "Content-Encoding"));
    assert_non_null(strstr(got, "\r\nVary: Accept-Encoding\r\n"));
    assert_non_null(strstr(
            got, "\r\nContent-Disposition: attachment; filename=\"-.-rigs--1-.html\"\r\n"));
    plain = content_length(got);
    ask(&f, "GET /page HTTP/1.1\r\n" HOST "Accept-Encoding: br, gzip;q=0.5\r\n\r\n", got,
            sizeof(got));
    assert_non_null(strstr(got, "\r\nContent-Encoding: gzip\r\n"));
    coded = content_length(got);
    assert_true(coded < plain / 4);
    body = strstr(got, "\r\n\r\n");
    assert_non_null(body);
    fsp_buf_init(&back, 65536);
    assert_ok(fsp_gunzip(&back, body + 4, coded, &err), &err);
    assert_int_equal(back.len, plain);
    assert_memory_equal(back.data, "<p>row 0 of the page</p><p>row 1", 32);
    fsp_buf_fini(&back);
    ask(&f, "GET /page HTTP/1.1\r\n" HOST "Accept-Encoding: gzip;q=0\r\n\r\n", got,
            sizeof(got));
    assert_null(strstr(got, "Content-Encoding"));
    fsp_http_stop(f.http);
}

static void
an_asset_is_kept_by_its_tag_and_its_coding(void **state)
{
    struct fixture f;
    struct fsp_buf member;
    struct fsp_err err = {0};
    char request[512];
    char got[4096];
    char etag[64];
    const char *at;

    (void)state;
    start(&f, 0);
    fsp_buf_init(&member, 4096);
    assert_ok(fsp_gzip(&member, SCRIPT, sizeof(SCRIPT) - 1, &err), &err);
    for (int stored = 0; stored < 2; stored++) {
        script = (struct fsp_http_asset){.type = "text/javascript; charset=utf-8",
                .bytes = stored == 0 ? (const void *)SCRIPT : member.data,
                .len = stored == 0 ? sizeof(SCRIPT) - 1 : member.len,
                .gzip = stored == 1,
                .max_age_s = stored == 1 ? 3600 : 0};
        ask(&f, "GET /script.js HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
        assert_non_null(strstr(got, SCRIPT));
        assert_non_null(strstr(got, "script-src 'self'"));
        assert_non_null(strstr(got, stored == 0 ? "\r\nCache-Control: no-cache\r\n"
                                                : "\r\nCache-Control: max-age=3600\r\n"));
        ask(&f, "GET /script.js HTTP/1.1\r\n" HOST "Accept-Encoding: gzip\r\n\r\n", got,
                sizeof(got));
        assert_int_equal(strstr(got, "\r\nContent-Encoding: gzip\r\n") != NULL, stored == 1);
        assert_int_equal(strstr(got, SCRIPT) != NULL, stored == 0);
        at = strstr(got, "\r\nETag: ");
        assert_non_null(at);
        (void)snprintf(etag, sizeof(etag), "%.40s", at + 8);
        etag[strcspn(etag, "\r")] = '\0';
        (void)snprintf(request, sizeof(request),
                "GET /script.js HTTP/1.1\r\n" HOST
                "Accept-Encoding: gzip\r\nIf-None-Match: \"x\", W/%s\r\n\r\n",
                etag);
        ask(&f, request, got, sizeof(got));
        assert_non_null(strstr(got, "HTTP/1.1 304 "));
        assert_null(strstr(got, "Content-Encoding"));
    }
    fsp_buf_fini(&member);
    fsp_http_stop(f.http);
}

static void
huge_headers_are_refused_and_the_next_client_is_served(void **state)
{
    struct fixture f;
    struct fsp_buf request;
    char got[4096];

    (void)state;
    start(&f, 0);
    fsp_buf_init(&request, (size_t)256 * 1024);
    fsp_buf_add_text(&request, "GET / HTTP/1.1\r\n" HOST "X-Long: ");
    for (size_t i = 0; i < 2 * FSP_HTTP_HEADERS_MAX; i++)
        fsp_buf_add_byte(&request, 'x');
    fsp_buf_add_text(&request, "\r\n\r\n");
    ask(&f, fsp_buf_peek(&request), got, sizeof(got));
    assert_true(got[0] == '\0' || strstr(got, "HTTP/1.1 4") != NULL);
    assert_int_equal(f.handled, 0);
    ask(&f, "GET / HTTP/1.1\r\n" HOST "\r\n", got, sizeof(got));
    assert_non_null(strstr(got, "HTTP/1.1 200 "));
    fsp_buf_fini(&request);
    fsp_http_stop(f.http);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_form_is_read_by_its_table),
            cmocka_unit_test(places_that_are_not_ours_are_not_led_to),
            cmocka_unit_test(fields_that_are_not_taken_are_told_and_nothing_is_done),
            cmocka_unit_test(a_proxy_on_this_machine_is_believed_only_where_one_is_expected),
            cmocka_unit_test(pages_are_sent_gzipped_to_whoever_takes_it),
            cmocka_unit_test(an_asset_is_kept_by_its_tag_and_its_coding),
            cmocka_unit_test(huge_headers_are_refused_and_the_next_client_is_served),
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
