/*
 * Answers: headers, codings, and what a handler may ask of the request's headers.
 */
#include <arpa/inet.h>
#include <assert.h>
#include <netdb.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>

#include <zlib.h>

#include "base/text.h"
#include "web/gzip.h"
#include "web/http_priv.h"

#define GZIP_LEAST ((size_t)1024) /* smaller answers fit in a packet as they are */
#define ETAG_MAX   48

/* --- what a handler fills in ------------------------------------------------------------------ */

void
fsp_http_refuse(struct fsp_http_answer *answer, int status, const char *line)
{
    answer->status = status;
    answer->type = "text/plain; charset=utf-8";
    answer->asset = NULL;
    fsp_buf_reset(&answer->body);
    fsp_text_show(&answer->body, line, strlen(line));
    fsp_buf_add_byte(&answer->body, '\n');
}

/* A place of our own: "/…" of the characters that an address has without being encoded. */
static bool
own_place(const char *location)
{
    static const char good[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
                               "0123456789-._~/?=&%#+";

    return location[0] == '/' && location[1] != '/' &&
           strlen(location) < FSP_HTTP_LOCATION_MAX &&
           strspn(location, good) == strlen(location);
}

void
fsp_http_see_other(struct fsp_http_answer *answer, const char *location)
{
    fsp_http_refuse(answer, MHD_HTTP_SEE_OTHER, "see the page this leads to");
    (void)snprintf(answer->location, sizeof(answer->location), "%s",
            own_place(location) ? location : "/");
}

static bool
is_token(const char *text)
{
    return strspn(text, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") ==
           strlen(text);
}

void
fsp_http_set_cookie(struct fsp_http_answer *answer, const struct fsp_http_request *request,
        const char *name, const char *value, unsigned max_age_s)
{
    size_t i = 0;
    int len;

    assert(is_token(name) && is_token(value));
    while (i < FSP_HTTP_COOKIES_MAX && answer->cookies[i][0] != '\0')
        i++;
    assert(i < FSP_HTTP_COOKIES_MAX);
    len = snprintf(answer->cookies[i], FSP_HTTP_COOKIE_MAX,
            "%s=%s; Path=/; Max-Age=%u; HttpOnly; SameSite=Strict%s", name, value, max_age_s,
            request->secure ? "; Secure" : "");
    assert(len > 0 && len < FSP_HTTP_COOKIE_MAX);
    (void)len;
}

void
fsp_http_attach(struct fsp_http_answer *answer, const char *file)
{
    size_t n = 0;

    for (; file[n] != '\0' && n + 1 < sizeof(answer->attachment); n++) {
        const char one[2] = {file[n], '\0'};

        if (is_token(one) || (file[n] == '.' && n > 0))
            answer->attachment[n] = file[n];
        else
            answer->attachment[n] = '-';
    }
    answer->attachment[n] = '\0';
}

void
fsp_http_serve(struct fsp_http_answer *answer, const struct fsp_http_asset *asset)
{
    answer->type = asset->type;
    answer->asset = asset;
}

/* --- what a handler may ask ------------------------------------------------------------------- */

const char *
fsp_http_value(const struct fsp_http_request *request, const char *name)
{
    return fsp_form_value(request->form, name);
}

const char *
fsp_http_header(const struct fsp_http_request *request, const char *name)
{
    return MHD_lookup_connection_value(request->connection, MHD_HEADER_KIND, name);
}

bool
fsp_http_cookie(
        const struct fsp_http_request *request, const char *name, char *out, size_t size)
{
    return fsp_cookie_find(fsp_http_header(request, MHD_HTTP_HEADER_COOKIE), name, out, size);
}

/* The peer's address as text, an IPv4 one in IPv6 clothes as IPv4; whether it is this machine. */
static bool
see_peer(struct MHD_Connection *connection, char out[static FSP_CLIENT_MAX])
{
    const union MHD_ConnectionInfo *info =
            MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    struct in_addr four;
    struct in6_addr six;

    (void)snprintf(out, FSP_CLIENT_MAX, "unknown");
    if (info == NULL || info->client_addr == NULL ||
            (info->client_addr->sa_family != AF_INET &&
                    info->client_addr->sa_family != AF_INET6) ||
            getnameinfo(info->client_addr,
                    info->client_addr->sa_family == AF_INET ? sizeof(struct sockaddr_in)
                                                            : sizeof(struct sockaddr_in6),
                    out, FSP_CLIENT_MAX, NULL, 0, NI_NUMERICHOST) != 0)
        return false;
    if (strncmp(out, "::ffff:", 7) == 0 && strchr(out, '.') != NULL)
        memmove(out, out + 7, strlen(out + 7) + 1);
    if (inet_pton(AF_INET, out, &four) == 1)
        return ntohl(four.s_addr) >> 24 == IN_LOOPBACKNET;
    return inet_pton(AF_INET6, out, &six) == 1 && IN6_IS_ADDR_LOOPBACK(&six);
}

/* Where a header came more than once, the last: the nearest proxy's. */
static enum MHD_Result
keep_forwarded(void *cls, enum MHD_ValueKind kind, const char *key, const char *value)
{
    const char **last = cls;

    (void)kind;
    if (strcasecmp(key, "X-Forwarded-For") == 0)
        *last = value;
    return MHD_YES;
}

void
fsp_http_see_client(
        struct fsp_http *http, struct MHD_Connection *connection, struct request *request)
{
    char forwarded[FSP_CLIENT_MAX];
    const char *header = NULL;
    const bool local = see_peer(connection, request->client);

    request->seen.secure = http->tls || http->options.behind_proxy;
    if (local && http->options.behind_proxy) {
        (void)MHD_get_connection_values(connection, MHD_HEADER_KIND, keep_forwarded, &header);
        if (fsp_forwarded_for(header, forwarded))
            memcpy(request->client, forwarded, sizeof(forwarded));
    }
    request->seen.client = request->client;
}

/* --- on the way out --------------------------------------------------------------------------- */

/* What one answer is made of, once that is settled. */
struct parcel {
    const uint8_t *fixed; /* static bytes; or else: */
    struct fsp_buf bytes;
    size_t len;
    bool coded;          /* the bytes are gzip */
    bool varies;         /* they might have been, for another client */
    char etag[ETAG_MAX]; /* "": none */
};

static bool
worth_coding(const char *type)
{
    static const char *const types[] = {"text/html", "text/csv", "text/css", "text/javascript",
            "application/json", "image/svg+xml"};

    for (size_t i = 0; i < sizeof(types) / sizeof(types[0]); i++)
        if (strncmp(type, types[i], strlen(types[i])) == 0)
            return true;
    return false;
}

/* The asset as this client takes it, or 304. */
static void
pack_asset(struct parcel *parcel, struct fsp_http_answer *answer, bool takes_gzip,
        const char *none_match)
{
    const struct fsp_http_asset *asset = answer->asset;
    const bool undo = asset->gzip && !takes_gzip;

    parcel->varies = asset->gzip;
    parcel->coded = asset->gzip && takes_gzip;
    (void)snprintf(parcel->etag, sizeof(parcel->etag), "%08lx-%zx%s",
            crc32(0, asset->bytes, (unsigned)asset->len), asset->len, undo ? "-p" : "");
    if (answer->status == MHD_HTTP_OK && fsp_names_etag(none_match, parcel->etag)) {
        answer->status = MHD_HTTP_NOT_MODIFIED;
        parcel->coded = false;
        return;
    }
    if (!undo) {
        parcel->fixed = asset->bytes;
        parcel->len = asset->len;
        return;
    }
    if (fsp_gunzip(&parcel->bytes, asset->bytes, asset->len, NULL) == FSP_OK)
        return;
    answer->asset = NULL;
    parcel->etag[0] = '\0';
    fsp_http_refuse(answer, MHD_HTTP_INTERNAL_SERVER_ERROR, "the answer could not be made");
    fsp_buf_fini(&parcel->bytes);
    parcel->bytes = answer->body;
    fsp_buf_init(&answer->body, FSP_HTTP_ANSWER_MAX);
}

/* gzip takes at most as much memory again as the answer itself; where that is not to be had, it goes as
 * it is. */
static void
pack_body(const struct fsp_http *http, struct parcel *parcel, struct fsp_http_answer *answer,
        bool takes_gzip)
{
    struct fsp_buf coded;

    if (answer->body.rc != FSP_OK)
        fsp_http_refuse(answer, MHD_HTTP_INTERNAL_SERVER_ERROR, "the answer could not be made");
    fsp_buf_fini(&parcel->bytes);
    parcel->bytes = answer->body;
    fsp_buf_init(&answer->body, FSP_HTTP_ANSWER_MAX);
    parcel->varies = !http->options.bare && worth_coding(answer->type);
    if (!parcel->varies || !takes_gzip || parcel->bytes.len < GZIP_LEAST)
        return;
    fsp_buf_init(&coded, parcel->bytes.len);
    if (fsp_gzip(&coded, parcel->bytes.data, parcel->bytes.len, NULL) == FSP_OK) {
        fsp_buf_fini(&parcel->bytes);
        parcel->bytes = coded;
        parcel->coded = true;
    } else {
        fsp_buf_fini(&coded);
    }
}

static void
header(struct MHD_Response *response, enum MHD_Result *ok, const char *name, const char *value)
{
    if (*ok == MHD_YES)
        *ok = MHD_add_response_header(response, name, value);
}

/* For browsers: what they may do with the answer. */
static void
strict_headers(struct MHD_Response *response, enum MHD_Result *ok)
{
    static const char *const always[][2] = {
            {"Content-Security-Policy",
                    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
                    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"},
            {"Cross-Origin-Opener-Policy", "same-origin"},
            {"Cross-Origin-Resource-Policy", "same-origin"},
            {"Referrer-Policy", "no-referrer"},
            {"X-Content-Type-Options", "nosniff"},
    };

    for (size_t i = 0; i < sizeof(always) / sizeof(always[0]); i++)
        header(response, ok, always[i][0], always[i][1]);
}

static enum MHD_Result
add_headers(const struct fsp_http *http, struct MHD_Response *response,
        const struct fsp_http_answer *answer, const struct parcel *parcel)
{
    enum MHD_Result ok = MHD_YES;
    char text[FSP_HTTP_FILE_MAX + 40];

    if (!http->options.bare) {
        header(response, &ok, MHD_HTTP_HEADER_CONTENT_TYPE, answer->type);
        (void)snprintf(
                text, sizeof(text), "%s", answer->asset == NULL ? "no-store" : "no-cache");
        if (answer->asset != NULL && answer->asset->max_age_s > 0)
            (void)snprintf(text, sizeof(text), "max-age=%u", answer->asset->max_age_s);
        header(response, &ok, MHD_HTTP_HEADER_CACHE_CONTROL, text);
        strict_headers(response, &ok);
    }
    if (answer->location[0] != '\0')
        header(response, &ok, MHD_HTTP_HEADER_LOCATION, answer->location);
    for (size_t i = 0; i < FSP_HTTP_COOKIES_MAX && answer->cookies[i][0] != '\0'; i++)
        header(response, &ok, MHD_HTTP_HEADER_SET_COOKIE, answer->cookies[i]);
    if (answer->attachment[0] != '\0' && answer->status == MHD_HTTP_OK) {
        (void)snprintf(text, sizeof(text), "attachment; filename=\"%s\"", answer->attachment);
        header(response, &ok, MHD_HTTP_HEADER_CONTENT_DISPOSITION, text);
    }
    if (parcel->coded)
        header(response, &ok, MHD_HTTP_HEADER_CONTENT_ENCODING, "gzip");
    if (parcel->varies)
        header(response, &ok, MHD_HTTP_HEADER_VARY, MHD_HTTP_HEADER_ACCEPT_ENCODING);
    if (parcel->etag[0] != '\0') {
        (void)snprintf(text, sizeof(text), "\"%s\"", parcel->etag);
        header(response, &ok, MHD_HTTP_HEADER_ETAG, text);
    }
    if (answer->retry_after_s > 0) {
        (void)snprintf(text, sizeof(text), "%u", answer->retry_after_s);
        header(response, &ok, MHD_HTTP_HEADER_RETRY_AFTER, text);
    }
    return ok;
}

static struct MHD_Response *
make_response(struct parcel *parcel)
{
    struct MHD_Response *response;
    uint8_t *bytes;

    if (parcel->fixed != NULL) {
        const union {
            const uint8_t *bytes;
            void *any;
        } fixed = {.bytes = parcel->fixed}; /* libmicrohttpd only reads it */

        return MHD_create_response_from_buffer(parcel->len, fixed.any, MHD_RESPMEM_PERSISTENT);
    }
    bytes = fsp_buf_steal(&parcel->bytes, &parcel->len);
    response = MHD_create_response_from_buffer(
            parcel->len, bytes, bytes == NULL ? MHD_RESPMEM_PERSISTENT : MHD_RESPMEM_MUST_FREE);
    if (response == NULL)
        free(bytes);
    return response;
}

static enum MHD_Result
queue(struct fsp_http *http, struct MHD_Connection *connection, struct fsp_http_answer *answer,
        const char *allow)
{
    const char *coding = MHD_lookup_connection_value(
            connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_ACCEPT_ENCODING);
    struct parcel parcel = {.len = 0};
    enum MHD_Result result = MHD_NO;
    struct MHD_Response *response;

    fsp_buf_init(&parcel.bytes, FSP_HTTP_ANSWER_MAX);
    if (answer->asset != NULL)
        pack_asset(&parcel, answer, fsp_accepts_gzip(coding),
                MHD_lookup_connection_value(
                        connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_IF_NONE_MATCH));
    else
        pack_body(http, &parcel, answer, fsp_accepts_gzip(coding));
    response = make_response(&parcel);
    if (response == NULL || add_headers(http, response, answer, &parcel) != MHD_YES)
        goto out;
    if (allow[0] != '\0' &&
            MHD_add_response_header(response, MHD_HTTP_HEADER_ALLOW, allow) != MHD_YES)
        goto out;
    fsp_http_lock(http);
    http->stats.requests++;
    http->stats.refused += answer->status == FSP_HTTP_TOO_MANY;
    http->stats.bytes_out += parcel.len;
    fsp_http_unlock(http);
    fsp_http_conn_phase(http, connection, CONN_ANSWERING, parcel.len);
    result = MHD_queue_response(connection, (unsigned)answer->status, response);
out:
    if (response != NULL)
        MHD_destroy_response(response);
    fsp_buf_fini(&parcel.bytes);
    return result;
}

enum MHD_Result
fsp_http_queue_answer(
        struct fsp_http *http, struct MHD_Connection *connection, struct request *request)
{
    return queue(http, connection, &request->answer, "");
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
    case FSP_HTTP_TOO_MANY:
        return "too many at once; keep it and come back later";
    default:
        return "the request was not understood";
    }
}

enum MHD_Result
fsp_http_queue_refusal(
        struct fsp_http *http, struct MHD_Connection *connection, const struct request *request)
{
    struct fsp_http_answer answer = {0};
    enum MHD_Result result;

    fsp_buf_init(&answer.body, FSP_HTTP_ANSWER_MAX);
    fsp_http_refuse(&answer, request->refused, refusal_line(request->refused));
    if (request->refused == FSP_HTTP_TOO_MANY)
        answer.retry_after_s = fsp_http_retry_after(http);
    result = queue(http, connection, &answer, request->allow);
    fsp_buf_fini(&answer.body);
    return result;
}
