#include "rig/link.h"

#include <curl/curl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

#include "base/limits.h"
#include "base/text.h"

/* A probe that is not answered is repeated this often and this soon; then the connection is dead,
 * and the next post opens another at once instead of waiting for a limit. */
#define PROBE_AGAIN_S 20
#define PROBES_LOST   3

/* "sha256//" and 44 characters of base64, twice, and the ';' between. */
#define PINS_MAX ((size_t)120)

/* What one rig's connection needs. Offering less makes the first flight smaller. */
#define CIPHERS "TLS_AES_128_GCM_SHA256:TLS_CHACHA20_POLY1305_SHA256"
#define CURVES  "X25519:prime256v1"

struct fsp_link {
    CURL *easy; /* NULL while there is no connection to keep */
    bool tls;
    int64_t quiet_since_us; /* when the last post ended; there is a connection when easy is */
    size_t probes;          /* bytes of probes not yet told */
    char pins[PINS_MAX];
    struct curl_slist *headers;
    struct fsp_link_options options;
    char url[FSP_URL_MAX + sizeof(FSP_LINK_PATH)];
    char error[CURL_ERROR_SIZE];
};

enum fsp_rc
fsp_link_global(struct fsp_err *err)
{
    if (curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK)
        return fsp_err_set(err, FSP_EIO, "libcurl does not start");
    return FSP_OK;
}

enum fsp_rc
fsp_link_url_ok(const char *url, struct fsp_err *err)
{
    if (url[0] == '\0')
        return fsp_err_set(err, FSP_EINVAL,
                "the invitation names no URL: this rig has only the courier; use: carry");
    if (strncmp(url, "http://", 7) != 0 && strncmp(url, "https://", 8) != 0)
        return fsp_err_set(err, FSP_EINVAL,
                "%s: neither an http:// nor an https:// address; ask for a new invitation",
                url);
    return FSP_OK;
}

static size_t
on_body(char *data, size_t size, size_t n, void *ctx)
{
    struct fsp_link_reply *reply = ctx;
    size_t left = reply->body.max - reply->body.len;
    size_t len = size * n;

    /* Keep what fits and let the rest pass: an error here would look like a broken link. */
    if (len > left) {
        reply->cut = true;
        len = left;
    }
    fsp_buf_add(&reply->body, data, len);
    return size * n;
}

static int
on_progress(void *ctx, curl_off_t down, curl_off_t done, curl_off_t up, curl_off_t sent)
{
    const struct fsp_link *link = ctx;

    (void)down;
    (void)up;
    (void)sent;
    /* A page without end is broken off, whatever it says. */
    if (done > (curl_off_t)(FSP_LINK_REPLY_MAX * 4))
        return 1;
    return link->options.stop != NULL && link->options.stop(link->options.ctx) ? 1 : 0;
}

/* Seconds that an idle connection is kept: the rule of link.h. */
static long
hold_s(const struct fsp_link *link)
{
    long bytes = FSP_LINK_OPEN_BYTES + (link->tls ? FSP_LINK_TLS_BYTES : 0);

    return bytes / FSP_LINK_PROBE_BYTES * FSP_LINK_PROBE_S;
}

static int64_t
now_us(const struct fsp_link *link)
{
    return link->options.env->monotonic_us(link->options.env->ctx);
}

/* libcurl sets the first two of these by options of its own, but not when to give up. */
static int
on_socket(void *ctx, curl_socket_t fd, curlsocktype purpose)
{
    /* What we close we are done with: one segment says so where closing in turn takes three. */
    const struct linger at_once = {.l_onoff = 1, .l_linger = 0};
    static const struct {
        int level;
        int name;
        int value;
    } options[] = {
            {SOL_SOCKET, SO_KEEPALIVE, 1}, {IPPROTO_TCP, TCP_KEEPIDLE, FSP_LINK_PROBE_S},
            {IPPROTO_TCP, TCP_KEEPINTVL, PROBE_AGAIN_S},
            {IPPROTO_TCP, TCP_KEEPCNT, PROBES_LOST},
            {IPPROTO_TCP, TCP_QUICKACK, 0}, /* acknowledge with what is sent anyway */
    };

    (void)ctx;
    (void)purpose;
    for (size_t i = 0; i < sizeof(options) / sizeof(options[0]); i++)
        if (setsockopt(fd, options[i].level, options[i].name, &options[i].value,
                    sizeof(options[i].value)) != 0)
            return CURL_SOCKOPT_ERROR;
    return setsockopt(fd, SOL_SOCKET, SO_LINGER, &at_once, sizeof(at_once)) == 0
                   ? CURL_SOCKOPT_OK
                   : CURL_SOCKOPT_ERROR;
}

/* TLS 1.3, trusted by pin alone. */
static CURLcode
set_tls(struct fsp_link *link)
{
    const struct {
        CURLoption option;
        long value;
    } longs[] = {
            {CURLOPT_SSL_VERIFYPEER, 0}, /* no authority, no dates, no names: */
            {CURLOPT_SSL_VERIFYHOST, 0}, /* the pins below are the trust */
            {CURLOPT_SSLVERSION,
                    (long)CURL_SSLVERSION_TLSv1_3 | (long)CURL_SSLVERSION_MAX_TLSv1_3},
            {CURLOPT_SSL_ENABLE_ALPN, 0},
            {CURLOPT_SSL_SESSIONID_CACHE, 0},
    };
    const struct {
        CURLoption option;
        const char *value;
    } texts[] = {
            {CURLOPT_PINNEDPUBLICKEY, link->pins},
            {CURLOPT_CAINFO, NULL}, /* nothing is loaded that is not used */
            {CURLOPT_CAPATH, NULL},
            {CURLOPT_TLS13_CIPHERS, CIPHERS},
            {CURLOPT_SSL_EC_CURVES, CURVES},
    };
    CURLcode code = CURLE_OK;

    for (size_t i = 0; code == CURLE_OK && i < sizeof(longs) / sizeof(longs[0]); i++)
        code = curl_easy_setopt(link->easy, longs[i].option, longs[i].value);
    for (size_t i = 0; code == CURLE_OK && i < sizeof(texts) / sizeof(texts[0]); i++)
        code = curl_easy_setopt(link->easy, texts[i].option, texts[i].value);
    return code;
}

/* Every option at once; libcurl's own error codes are summed up in one. */
static CURLcode
set_options(struct fsp_link *link)
{
    const struct {
        CURLoption option;
        long value;
    } longs[] = {
            {CURLOPT_POST, 1},
            {CURLOPT_NOSIGNAL, 1},
            {CURLOPT_FOLLOWLOCATION, 0},
            {CURLOPT_NOPROGRESS, 0},
            {CURLOPT_CONNECTTIMEOUT, link->options.quiet_s},
            {CURLOPT_LOW_SPEED_LIMIT, 1},
            {CURLOPT_LOW_SPEED_TIME, link->options.quiet_s},
            {CURLOPT_HTTP_VERSION, CURL_HTTP_VERSION_1_1},
            {CURLOPT_TCP_NODELAY, 1},
            {CURLOPT_MAXAGE_CONN, hold_s(link)},
            /* A post that is broken off does not wait for a name server that does not answer. */
            {CURLOPT_QUICK_EXIT, 1},
    };
    CURLcode code = CURLE_OK;

    for (size_t i = 0; code == CURLE_OK && i < sizeof(longs) / sizeof(longs[0]); i++)
        code = curl_easy_setopt(link->easy, longs[i].option, longs[i].value);
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_URL, link->url);
    if (code == CURLE_OK)
        code = curl_easy_setopt(
                link->easy, CURLOPT_PROTOCOLS_STR, link->tls ? "https" : "http");
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_PROXY, "");
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_HTTPHEADER, link->headers);
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_WRITEFUNCTION, on_body);
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_XFERINFOFUNCTION, on_progress);
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_XFERINFODATA, link);
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_SOCKOPTFUNCTION, on_socket);
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_ERRORBUFFER, link->error);
    if (code == CURLE_OK && link->tls)
        code = set_tls(link);
    return code;
}

static enum fsp_rc
set_headers(struct fsp_link *link, struct fsp_err *err)
{
    /* A header without a value takes libcurl's own away. */
    static const char *const without[] = {"Expect:", "Accept:", "Content-Type:", NULL};

    for (size_t i = 0; without[i] != NULL; i++) {
        struct curl_slist *more = curl_slist_append(link->headers, without[i]);

        if (more == NULL)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        link->headers = more;
    }
    return FSP_OK;
}

/* The form that libcurl takes them in. */
static enum fsp_rc
write_pins(struct fsp_link *link, struct fsp_err *err)
{
    struct fsp_buf text;
    enum fsp_rc rc;

    if (!link->options.has_pins)
        return fsp_err_set(err, FSP_EINVAL,
                "the invitation has an https:// address and no pins: ask for a new one");
    fsp_buf_init(&text, PINS_MAX);
    for (size_t i = 0; i < FSP_PINS; i++) {
        fsp_buf_add_text(&text, i == 0 ? "sha256//" : ";sha256//");
        fsp_base64(&text, link->options.pins[i], FSP_PIN_LEN);
    }
    rc = fsp_buf_check(&text, "pins", err);
    if (rc == FSP_OK)
        memcpy(link->pins, fsp_buf_peek(&text), text.len + 1);
    fsp_buf_fini(&text);
    return rc;
}

static enum fsp_rc
open_handle(struct fsp_link *link, struct fsp_err *err)
{
    link->easy = curl_easy_init();
    if (link->easy == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "libcurl: out of memory");
    if (set_options(link) != CURLE_OK)
        return fsp_err_set(err, FSP_EIO, "libcurl refuses an option; is it older than 7.87?");
    return FSP_OK;
}

static void
close_handle(struct fsp_link *link)
{
    curl_easy_cleanup(link->easy); /* closes its connection, too */
    link->easy = NULL;
}

enum fsp_rc
fsp_link_new(struct fsp_link **out, const char *url, const struct fsp_link_options *options,
        struct fsp_err *err)
{
    struct fsp_link *link = NULL;
    size_t len = strlen(url);
    enum fsp_rc rc;

    *out = NULL;
    rc = fsp_link_url_ok(url, err);
    if (rc != FSP_OK)
        return rc;
    if (len > FSP_URL_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "the office's URL is over %zu bytes", FSP_URL_MAX);
    link = calloc(1, sizeof(*link));
    if (link == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    while (len > 0 && url[len - 1] == '/')
        len--;
    memcpy(link->url, url, len);
    memcpy(link->url + len, FSP_LINK_PATH, sizeof(FSP_LINK_PATH));
    link->tls = strncmp(url, "https://", 8) == 0;
    link->options = *options;
    if (link->options.env == NULL)
        link->options.env = fsp_env_system();
    if (link->options.quiet_s < FSP_LINK_QUIET_S)
        link->options.quiet_s = FSP_LINK_QUIET_S;
    if (link->options.quiet_s > FSP_LINK_CONNECT_S)
        link->options.quiet_s = FSP_LINK_CONNECT_S;
    if (link->tls)
        rc = write_pins(link, err);
    if (rc == FSP_OK)
        rc = set_headers(link, err);
    if (rc == FSP_OK)
        rc = open_handle(link, err);
    if (rc != FSP_OK)
        goto out;
    close_handle(link); /* its options are good; a post opens it again */
    *out = link;
    link = NULL;
out:
    fsp_link_free(link);
    return rc;
}

void
fsp_link_free(struct fsp_link *link)
{
    if (link == NULL)
        return;
    curl_easy_cleanup(link->easy);
    curl_slist_free_all(link->headers);
    free(link);
}

/* What keeping an idle connection has cost since the last post. */
static size_t
probe_bytes(const struct fsp_link *link)
{
    int64_t idle_s = (now_us(link) - link->quiet_since_us) / FSP_US_PER_S;

    if (link->easy == NULL || idle_s < 0)
        return 0;
    if (idle_s > hold_s(link))
        idle_s = hold_s(link);
    return (size_t)(idle_s / FSP_LINK_PROBE_S) * FSP_LINK_PROBE_BYTES;
}

bool
fsp_link_rest(struct fsp_link *link)
{
    if (link->easy == NULL)
        return false;
    if (now_us(link) - link->quiet_since_us < (int64_t)hold_s(link) * FSP_US_PER_S)
        return true;
    link->probes += probe_bytes(link);
    close_handle(link);
    return false;
}

/* What the exchange cost, whether it was answered or not. */
static void
read_cost(struct fsp_link *link, struct fsp_link_reply *reply)
{
    long connects = 0;
    long head = 0;

    if (curl_easy_getinfo(link->easy, CURLINFO_NUM_CONNECTS, &connects) == CURLE_OK)
        reply->connects = connects > 0;
    if (curl_easy_getinfo(link->easy, CURLINFO_HEADER_SIZE, &head) == CURLE_OK && head > 0)
        reply->head = (size_t)head;
}

/* A connection that failed is not kept; why it did, in one line. */
static enum fsp_rc
no_answer(struct fsp_link *link, CURLcode code, struct fsp_err *err)
{
    const char *why = link->error[0] != '\0' ? link->error : curl_easy_strerror(code);

    close_handle(link);
    if (code == CURLE_SSL_PINNEDPUBKEYNOTMATCH)
        return fsp_err_set(err, FSP_EUNAVAIL,
                "%s: the key there is not the office's: neither of the invitation's two pins "
                "fits. Somebody is in between, or the office has new keys: ask it by telephone",
                link->url);
    return fsp_err_set(err, FSP_EUNAVAIL, "%s: %s", link->url, why);
}

enum fsp_rc
fsp_link_post(struct fsp_link *link, const void *bytes, size_t len,
        struct fsp_link_reply *reply, struct fsp_err *err)
{
    long total_s = 2L * FSP_LINK_CONNECT_S + (long)(len / FSP_LINK_RATE_LEAST);
    curl_off_t after_s = 0;
    CURLcode code;
    enum fsp_rc rc;

    reply->status = 0;
    reply->after_us = 0;
    reply->cut = false;
    reply->connects = false;
    reply->head = 0;
    fsp_buf_reset(&reply->body);
    reply->probes = link->probes + probe_bytes(link);
    link->probes = 0;
    link->error[0] = '\0';
    if (link->easy == NULL) {
        rc = open_handle(link, err);
        if (rc != FSP_OK)
            return rc;
    }
    code = curl_easy_setopt(link->easy, CURLOPT_POSTFIELDS, bytes);
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)len);
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_WRITEDATA, reply);
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_TIMEOUT, total_s);
    if (code == CURLE_OK)
        code = curl_easy_perform(link->easy);
    read_cost(link, reply);
    link->quiet_since_us = now_us(link);
    if (code != CURLE_OK)
        return no_answer(link, code, err);
    if (curl_easy_getinfo(link->easy, CURLINFO_RESPONSE_CODE, &reply->status) != CURLE_OK)
        reply->status = 0;
    if (curl_easy_getinfo(link->easy, CURLINFO_RETRY_AFTER, &after_s) == CURLE_OK &&
            after_s > 0 && after_s < 86400)
        reply->after_us = (int64_t)after_s * FSP_US_PER_S;
    return fsp_buf_check(&reply->body, "the office's answer", err);
}
