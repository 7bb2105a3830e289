#include "rig/link.h"

#include <curl/curl.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/limits.h"

struct fsp_link {
    CURL *easy;
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
    if (strncmp(url, "https://", 8) == 0)
        return fsp_err_set(err, FSP_EINVAL,
                "%s: this version cannot push over https yet; use carry, or ask for an "
                "invitation with an http:// address (bundles are sealed and signed either way)",
                url);
    if (strncmp(url, "http://", 7) != 0)
        return fsp_err_set(
                err, FSP_EINVAL, "%s: not an http:// address; ask for a new invitation", url);
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
    };
    CURLcode code = CURLE_OK;

    for (size_t i = 0; code == CURLE_OK && i < sizeof(longs) / sizeof(longs[0]); i++)
        code = curl_easy_setopt(link->easy, longs[i].option, longs[i].value);
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_URL, link->url);
    if (code == CURLE_OK)
        code = curl_easy_setopt(link->easy, CURLOPT_PROTOCOLS_STR, "http");
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
        code = curl_easy_setopt(link->easy, CURLOPT_ERRORBUFFER, link->error);
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
    link->options = *options;
    if (link->options.quiet_s < FSP_LINK_QUIET_S)
        link->options.quiet_s = FSP_LINK_QUIET_S;
    if (link->options.quiet_s > FSP_LINK_CONNECT_S)
        link->options.quiet_s = FSP_LINK_CONNECT_S;
    link->easy = curl_easy_init();
    if (link->easy == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "libcurl: out of memory");
        goto out;
    }
    rc = set_headers(link, err);
    if (rc == FSP_OK && set_options(link) != CURLE_OK)
        rc = fsp_err_set(err, FSP_EIO, "libcurl refuses an option; is it older than 7.85?");
    if (rc != FSP_OK)
        goto out;
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

enum fsp_rc
fsp_link_post(struct fsp_link *link, const void *bytes, size_t len,
        struct fsp_link_reply *reply, struct fsp_err *err)
{
    long total_s = 2L * FSP_LINK_CONNECT_S + (long)(len / FSP_LINK_RATE_LEAST);
    curl_off_t after_s = 0;
    CURLcode code;

    reply->status = 0;
    reply->after_us = 0;
    reply->cut = false;
    reply->connects = false;
    reply->head = 0;
    fsp_buf_reset(&reply->body);
    link->error[0] = '\0';
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
    if (code != CURLE_OK)
        return fsp_err_set(err, FSP_EUNAVAIL, "%s: %s", link->url,
                link->error[0] != '\0' ? link->error : curl_easy_strerror(code));
    if (curl_easy_getinfo(link->easy, CURLINFO_RESPONSE_CODE, &reply->status) != CURLE_OK)
        reply->status = 0;
    if (curl_easy_getinfo(link->easy, CURLINFO_RETRY_AFTER, &after_s) == CURLE_OK &&
            after_s > 0 && after_s < 86400)
        reply->after_us = (int64_t)after_s * FSP_US_PER_S;
    return fsp_buf_check(&reply->body, "the office's answer", err);
}
