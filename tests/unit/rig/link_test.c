/* The link over TLS, and how long it keeps a connection. Over HTTP see push_test.c. */
#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "rig/link.h"
#include "unit/rig/loopback.h"
#include "web/cert.h"
#include "web/http.h"

struct fixture {
    struct fsp_buf key;
    struct fsp_buf cert;
    struct fsp_http *http; /* over TLS, with that key */
    unsigned handled;
    int64_t later_us; /* how far the link's clock is ahead */
    struct fsp_env env;
    struct fsp_link_options options;
    struct fsp_link_reply reply;
    struct fsp_err err;
};

static void
answer(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *out)
{
    struct fixture *f = ctx;

    f->handled++;
    fsp_buf_printf(&out->body, "took %zu", request->len);
}

static const struct fsp_http_route routes[] = {
        {.method = "POST", .path = FSP_LINK_PATH, .body_max = 100000, .handle = answer},
        {.path = NULL},
};

static int64_t
monotonic_us(void *ctx)
{
    const struct fixture *f = ctx;

    return INT64_C(1000000000) + f->later_us;
}

static int
setup(void **state)
{
    struct fixture *f = calloc(1, sizeof(*f));
    struct fsp_http_options options = {.listen = "127.0.0.1:0",
            .bare = true,
            .routes = routes,
            .ctx = f,
            .env = fsp_env_system()};
    struct fsp_http_tls tls;

    assert_non_null(f);
    fsp_buf_init(&f->key, FSP_CERT_PEM_MAX);
    fsp_buf_init(&f->cert, FSP_CERT_PEM_MAX);
    fsp_buf_init(&f->reply.body, FSP_LINK_REPLY_MAX);
    assert_ok(fsp_cert_key_new(&f->key, &f->err), &f->err);
    assert_ok(fsp_cert_issue(&f->cert, fsp_buf_peek(&f->key), &f->err), &f->err);
    tls.key = fsp_buf_peek(&f->key);
    tls.cert = fsp_buf_peek(&f->cert);
    options.tls = &tls;
    assert_ok(fsp_http_start(&options, &f->http, &f->err), &f->err);
    f->env = *fsp_env_system();
    f->env.monotonic_us = monotonic_us;
    f->env.ctx = f;
    f->options = (struct fsp_link_options){.quiet_s = 5, .env = &f->env, .has_pins = true};
    memset(f->options.pins[1], 9, FSP_PIN_LEN);
    assert_ok(fsp_cert_pin(f->options.pins[0], fsp_buf_peek(&f->key), &f->err), &f->err);
    *state = f;
    return 0;
}

static int
teardown(void **state)
{
    struct fixture *f = *state;

    fsp_http_stop(f->http);
    fsp_buf_fini(&f->key);
    fsp_buf_fini(&f->cert);
    fsp_buf_fini(&f->reply.body);
    free(f);
    return 0;
}

static struct fsp_link *
link_to(struct fixture *f, const char *url)
{
    struct fsp_link *link = NULL;

    assert_ok(fsp_link_new(&link, url, &f->options, &f->err), &f->err);
    return link;
}

static void
post_well(struct fixture *f, struct fsp_link *link)
{
    assert_ok(fsp_link_post(link, "bundle", 6, &f->reply, &f->err), &f->err);
    assert_int_equal(f->reply.status, 200);
}

static void
either_pin_opens_the_link(void **state)
{
    struct fixture *f = *state;

    for (unsigned i = 0; i < 2; i++) {
        struct fsp_link *link = link_to(f, fsp_http_url(f->http));

        assert_memory_equal(fsp_http_url(f->http), "https://", 8);
        post_well(f, link);
        assert_true(f->reply.connects);
        assert_string_equal(fsp_buf_peek(&f->reply.body), "took 6");
        post_well(f, link);
        assert_false(f->reply.connects);
        fsp_link_free(link);
        /* The same key as the spare. */
        memcpy(f->options.pins[1], f->options.pins[0], FSP_PIN_LEN);
        memset(f->options.pins[0], 9, FSP_PIN_LEN);
    }
    assert_int_equal(f->handled, 4);
}

static void
another_key_is_refused_before_a_byte_of_the_bundle_leaves(void **state)
{
    struct fixture *f = *state;
    struct fsp_link *link;

    f->options.pins[0][31] ^= 1;
    link = link_to(f, fsp_http_url(f->http));
    for (unsigned i = 0; i < 2; i++) { /* the second does not fare better */
        assert_int_equal(fsp_link_post(link, "bundle", 6, &f->reply, &f->err), FSP_EUNAVAIL);
        assert_non_null(strstr(f->err.text, "not the office's"));
        assert_null(strchr(f->err.text, '\n'));
        assert_int_equal(f->reply.status, 0);
        assert_int_equal(f->reply.body.len, 0);
    }
    fsp_link_free(link);
    assert_int_equal(f->handled, 0);
}

static void
https_without_pins_is_refused(void **state)
{
    struct fixture *f = *state;
    struct fsp_link *link = NULL;

    f->options.has_pins = false;
    assert_int_equal(
            fsp_link_new(&link, fsp_http_url(f->http), &f->options, &f->err), FSP_EINVAL);
    assert_non_null(strstr(f->err.text, "ask for a new one"));
    assert_null(link);
}

static void
plain(void *ctx, unsigned n, const char *headers, const uint8_t *body, size_t len,
        struct fsp_buf *out)
{
    (void)ctx;
    (void)n;
    (void)headers;
    (void)body;
    (void)len;
    loopback_write(out, "200 OK", "", "yes", 3);
}

static void
a_server_without_tls_is_no_office_under_an_https_address(void **state)
{
    struct fixture *f = *state;
    struct loopback loopback;
    struct fsp_link *link;
    char url[80];

    loopback_start(&loopback, plain, NULL);
    (void)snprintf(url, sizeof(url), "https%s", loopback.url + 4);
    link = link_to(f, url);
    assert_int_equal(fsp_link_post(link, "bundle", 6, &f->reply, &f->err), FSP_EUNAVAIL);
    assert_int_equal(f->reply.body.len, 0);
    fsp_link_free(link);
    loopback_stop(&loopback);
}

/* The rule of link.h: as many probes as opening costs. */
static void
keep_for(struct fixture *f, const char *url, unsigned probes)
{
    struct fsp_link *link = link_to(f, url);
    const int64_t minute_us = 60 * FSP_US_PER_S;

    assert_false(fsp_link_rest(link)); /* nothing to keep yet */
    post_well(f, link);
    assert_int_equal(f->reply.probes, 0);
    f->later_us += probes * minute_us - 1;
    assert_true(fsp_link_rest(link));
    post_well(f, link);
    assert_false(f->reply.connects);
    assert_int_equal(f->reply.probes, (probes - 1) * 104);
    f->later_us += probes * minute_us;
    assert_false(fsp_link_rest(link));
    assert_false(fsp_link_rest(link));
    f->later_us += 100 * minute_us; /* closed: these cost nothing */
    post_well(f, link);
    assert_true(f->reply.connects);
    assert_int_equal(f->reply.probes, probes * 104);
    post_well(f, link);
    assert_int_equal(f->reply.probes, 0);
    fsp_link_free(link);
}

static void
a_tls_connection_is_kept_for_15_probes(void **state)
{
    struct fixture *f = *state;

    keep_for(f, fsp_http_url(f->http), (1400 + 224) / 104);
}

static void
a_plain_connection_is_kept_for_2_probes(void **state)
{
    struct fixture *f = *state;
    struct loopback loopback;

    loopback_start(&loopback, plain, NULL);
    keep_for(f, loopback.url, 224 / 104);
    loopback_stop(&loopback);
}

int
main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
            T(either_pin_opens_the_link),
            T(another_key_is_refused_before_a_byte_of_the_bundle_leaves),
            T(https_without_pins_is_refused),
            T(a_server_without_tls_is_no_office_under_an_https_address),
            T(a_tls_connection_is_kept_for_15_probes),
            T(a_plain_connection_is_kept_for_2_probes),
    };
    struct fsp_err err = {.rc = FSP_OK};

    if (fsp_link_global(&err) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
