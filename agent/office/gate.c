#include "office/gate.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

#define BUSY_RETRY_S 5
#define FORM_MAX     ((size_t)8 * 1024)
#define PLACE_MAX    400
#define FRESH_S      3600 /* a log-in page is good for so long */

struct fsp_gate {
    const struct fsp_env *env;
    pthread_mutex_t mutex; /* the desk */
    struct fsp_desk *desk;
    pthread_mutex_t turn; /* hashing */
    pthread_cond_t freed;
    unsigned hashing;
};

enum fsp_rc
fsp_gate_new(const char *store, const struct fsp_env *env, struct fsp_gate **out,
        struct fsp_err *err)
{
    struct fsp_gate *gate = calloc(1, sizeof(*gate));
    enum fsp_rc rc = FSP_OK;

    *out = NULL;
    if (gate == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    gate->env = env;
    rc = fsp_desk_open(store, true, &gate->desk, err);
    if (rc != FSP_OK) {
        free(gate);
        return rc;
    }
    (void)pthread_mutex_init(&gate->mutex, NULL);
    (void)pthread_mutex_init(&gate->turn, NULL);
    (void)pthread_cond_init(&gate->freed, NULL);
    *out = gate;
    return FSP_OK;
}

void
fsp_gate_free(struct fsp_gate *gate)
{
    if (gate == NULL)
        return;
    fsp_desk_close(gate->desk);
    (void)pthread_mutex_destroy(&gate->mutex);
    (void)pthread_mutex_destroy(&gate->turn);
    (void)pthread_cond_destroy(&gate->freed);
    free(gate);
}

struct fsp_desk *
fsp_gate_take_desk(struct fsp_gate *gate)
{
    (void)pthread_mutex_lock(&gate->mutex);
    return gate->desk;
}

void
fsp_gate_give_desk(struct fsp_gate *gate)
{
    (void)pthread_mutex_unlock(&gate->mutex);
}

int64_t
fsp_gate_now_s(const struct fsp_gate *gate)
{
    return gate->env->utc_us(gate->env->ctx) / FSP_US_PER_S;
}

/* --- where pages may be served ---------------------------------------------------------------- */

/* "127.0.0.1:8464", "[::1]:8464" */
static bool
is_loopback(const char *address)
{
    const char *colon = strrchr(address, ':');
    char host[64];
    struct in_addr four;
    struct in6_addr six;
    size_t len = colon == NULL ? strlen(address) : (size_t)(colon - address);

    if (len > 1 && address[0] == '[' && address[len - 1] == ']') {
        address++;
        len -= 2;
    }
    if (len >= sizeof(host))
        return false;
    memcpy(host, address, len);
    host[len] = '\0';
    if (inet_pton(AF_INET, host, &four) == 1)
        return ntohl(four.s_addr) >> 24 == IN_LOOPBACKNET;
    return inet_pton(AF_INET6, host, &six) == 1 && IN6_IS_ADDR_LOOPBACK(&six);
}

enum fsp_rc
fsp_gate_may_listen(const char *address, bool tls, bool behind_proxy, struct fsp_err *err)
{
    if (tls || behind_proxy || is_loopback(address))
        return FSP_OK;
    return fsp_err_set(err, FSP_EINVAL,
            "%s: pages are not served to other machines without TLS, since passwords and "
            "sessions could be read on the way; write https://%s, or serve them on 127.0.0.1 "
            "behind a proxy that adds TLS (docs/office.md)",
            address, address);
}

/* --- cookies ---------------------------------------------------------------------------------- */

/* The prefix __Host- binds a cookie to this host and to TLS; browsers enforce it. */
static const char *
session_name(const struct fsp_http_request *request)
{
    return request->secure ? "__Host-farspool" : "farspool";
}

static const char *
browser_name(const struct fsp_http_request *request)
{
    return request->secure ? "__Host-farspool-known" : "farspool-known";
}

static const char *
fresh_name(const struct fsp_http_request *request)
{
    return request->secure ? "__Host-farspool-form" : "farspool-form";
}

static bool
read_token(const struct fsp_http_request *request, const char *name,
        char token[static FSP_TOKEN_TEXT_LEN + 1])
{
    return fsp_http_cookie(request, name, token, FSP_TOKEN_TEXT_LEN + 1) &&
           strlen(token) == FSP_TOKEN_TEXT_LEN;
}

/* --- passing ---------------------------------------------------------------------------------- */

static bool
is_get(const struct fsp_http_request *request)
{
    return strcmp(request->method, "GET") == 0 || strcmp(request->method, "HEAD") == 0;
}

static void
refuse_busy(struct fsp_http_answer *answer)
{
    fsp_http_refuse(answer, 503, "the accounts cannot be read now; try again");
    answer->retry_after_s = BUSY_RETRY_S;
}

/* As one value of a query. */
static void
add_encoded(char *out, size_t size, const char *text)
{
    static const char plain[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
                                "0123456789-._~/";
    size_t len = strlen(out);

    for (; *text != '\0' && len + 4 < size; text++) {
        if (strchr(plain, *text) != NULL) {
            out[len++] = *text;
        } else {
            (void)snprintf(out + len, 4, "%%%02X", (unsigned)(uint8_t)*text);
            len += 3;
        }
    }
    out[len] = '\0';
}

/* To the log-in, and from there back to where they wanted to go. */
static void
send_to_log_in(const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    char place[FSP_HTTP_LOCATION_MAX] = "/log-in?to=";

    if (!is_get(request)) {
        fsp_http_refuse(answer, 403,
                "your session has ended and nothing was changed; log in again in another tab, "
                "then go back and send this once more");
        return;
    }
    if (strlen(request->path) + strlen(request->query) + 1 < PLACE_MAX / 4) {
        add_encoded(place, sizeof(place), request->path);
        if (request->query[0] != '\0') {
            add_encoded(place, sizeof(place), "?");
            add_encoded(place, sizeof(place), request->query);
        }
    }
    fsp_http_see_other(answer, place);
}

static const char *
lacking(enum fsp_right right)
{
    switch (right) {
    case FSP_RIGHT_READ:
        break;
    case FSP_RIGHT_EVIDENCE:
        return "evidence is for auditors, engineers and keepers";
    case FSP_RIGHT_TRAIL:
        return "the trail is for auditors and keepers";
    case FSP_RIGHT_ACKNOWLEDGE:
        return "flags are acknowledged by engineers and keepers; nothing was changed";
    case FSP_RIGHT_INSTRUCT:
        return "instructions are written by engineers and keepers; nothing was changed";
    case FSP_RIGHT_KEEP:
        return "accounts are kept by keepers; nothing was changed";
    }
    return "this is not for your role";
}

/* A browser says where a request comes from; one of another site is not ours, whatever it bears. */
static bool
from_elsewhere(const struct fsp_http_request *request)
{
    const char *site = fsp_http_header(request, "Sec-Fetch-Site");

    return site != NULL && !is_get(request) && strcmp(site, "same-origin") != 0 &&
           strcmp(site, "none") != 0;
}

static enum fsp_rc
find_viewer(struct fsp_gate *gate, const struct fsp_http_request *request,
        struct fsp_viewer *viewer, struct fsp_err *err)
{
    char token[FSP_TOKEN_TEXT_LEN + 1];
    bool any = true;
    enum fsp_rc rc;

    memset(viewer, 0, sizeof(*viewer));
    (void)fsp_gate_take_desk(gate);
    rc = fsp_people_any(gate->desk, &any, err);
    if (rc == FSP_OK && !any)
        viewer->open = true;
    else if (rc == FSP_OK && read_token(request, session_name(request), token))
        rc = fsp_people_viewer(gate->desk, token, fsp_gate_now_s(gate), gate->env, viewer, err);
    else if (rc == FSP_OK)
        rc = fsp_err_set(err, FSP_EVERIFY, "no session");
    fsp_gate_give_desk(gate);
    fsp_secret_wipe(token, sizeof(token));
    return rc;
}

bool
fsp_gate_look(struct fsp_gate *gate, const struct fsp_http_request *request,
        enum fsp_right right, struct fsp_viewer *viewer, struct fsp_http_answer *answer)
{
    struct fsp_err err = {0};
    const enum fsp_rc rc = find_viewer(gate, request, viewer, &err);

    if (rc == FSP_EVERIFY) {
        send_to_log_in(request, answer);
    } else if (rc != FSP_OK) {
        refuse_busy(answer);
    } else if (viewer->open) {
        if (is_get(request) && (right == FSP_RIGHT_READ || right == FSP_RIGHT_EVIDENCE))
            return true;
        fsp_http_refuse(answer, 403,
                "there is no account yet, so nothing can be changed here; make the first one "
                "with: farspool-office user add NAME --role keeper");
    } else if (!fsp_role_may(viewer->role, right)) {
        fsp_http_refuse(answer, 403, lacking(right));
    } else {
        return true;
    }
    return false;
}

bool
fsp_gate_form_good(const struct fsp_http_request *request, const struct fsp_viewer *viewer)
{
    return !from_elsewhere(request) &&
           fsp_people_form_good(viewer, fsp_http_value(request, "form"));
}

bool
fsp_gate_pass(struct fsp_gate *gate, const struct fsp_http_request *request,
        enum fsp_right right, struct fsp_viewer *viewer, struct fsp_http_answer *answer)
{
    if (!fsp_gate_look(gate, request, right, viewer, answer))
        return false;
    if (is_get(request))
        return true;
    if (fsp_gate_form_good(request, viewer))
        return true;
    fsp_http_refuse(answer, 403,
            "this form is not of your session and nothing was changed; open the page again and "
            "send it from there");
    return false;
}

enum fsp_rc
fsp_gate_trail(struct fsp_gate *gate, const struct fsp_viewer *viewer, const char *did,
        const char *what, struct fsp_err *err)
{
    const struct fsp_by by = {.name = viewer->name, .now_s = fsp_gate_now_s(gate)};
    enum fsp_rc rc;

    (void)fsp_gate_take_desk(gate);
    rc = fsp_people_trail_add(gate->desk, &by, did, what, err);
    fsp_gate_give_desk(gate);
    return rc;
}

/* --- passwords -------------------------------------------------------------------------------- */

static void
begin_hash(struct fsp_gate *gate)
{
    (void)pthread_mutex_lock(&gate->turn);
    while (gate->hashing >= FSP_GATE_HASHES)
        (void)pthread_cond_wait(&gate->freed, &gate->turn);
    gate->hashing++;
    (void)pthread_mutex_unlock(&gate->turn);
}

static void
end_hash(struct fsp_gate *gate)
{
    (void)pthread_mutex_lock(&gate->turn);
    gate->hashing--;
    (void)pthread_cond_signal(&gate->freed);
    (void)pthread_mutex_unlock(&gate->turn);
}

enum fsp_rc
fsp_gate_hash(struct fsp_gate *gate, const char *password,
        char stored[static FSP_PASSWORD_STORED], struct fsp_err *err)
{
    enum fsp_rc rc;

    begin_hash(gate);
    rc = fsp_password_hash(password, stored, err);
    end_hash(gate);
    return rc;
}

/* Count the try, check the password; the rest is the caller's. */
static enum fsp_rc
try_password(struct fsp_gate *gate, struct fsp_login *login, const char *password, bool *good,
        struct fsp_err *err)
{
    int64_t wait_s = 0;
    enum fsp_rc rc;

    *good = false;
    (void)fsp_gate_take_desk(gate);
    rc = fsp_people_try(gate->desk, login, &wait_s, err);
    fsp_gate_give_desk(gate);
    if (rc != FSP_OK)
        return rc;
    begin_hash(gate);
    rc = fsp_password_verify(login->exists ? login->stored : NULL, password, err);
    end_hash(gate);
    *good = rc == FSP_OK;
    return rc == FSP_EVERIFY ? FSP_OK : rc;
}

enum fsp_rc
fsp_gate_check_password(struct fsp_gate *gate, const struct fsp_http_request *request,
        const struct fsp_viewer *viewer, const char *password, struct fsp_err *err)
{
    char browser[FSP_TOKEN_TEXT_LEN + 1];
    struct fsp_login login = {.name = viewer->name,
            .client = request->client,
            .browser = read_token(request, browser_name(request), browser) ? browser : NULL,
            .now_s = fsp_gate_now_s(gate)};
    bool good = false;
    enum fsp_rc rc = try_password(gate, &login, password, &good, err);

    if (rc == FSP_OK) {
        (void)fsp_gate_take_desk(gate);
        rc = fsp_people_tried_again(gate->desk, &login, good, err);
        fsp_gate_give_desk(gate);
    }
    fsp_secret_wipe(&login, sizeof(login));
    return rc == FSP_EVERIFY ? fsp_err_set(err, FSP_EVERIFY, "wrong password") : rc;
}

/* --- log-in and log-out ----------------------------------------------------------------------- */

/* The page; `fault` says why the last try did not do. Its form bears a token that its cookie bears,
 * too: nobody is logged in from another site, to an account that is not theirs. */
static void
show_log_in(struct fsp_gate *gate, const struct fsp_http_request *request, const char *fault,
        struct fsp_http_answer *answer)
{
    const struct fsp_html_control name = {.name = "name",
            .label = "Name",
            .value = is_get(request) ? NULL : fsp_http_value(request, "name"),
            .autocomplete = "username",
            .max = FSP_NAME_MAX,
            .needed = true,
            .first = true};
    const struct fsp_html_control password = {.name = "password",
            .label = "Password",
            .type = "password",
            .autocomplete = "current-password",
            .max = FSP_PASSWORD_MAX,
            .needed = true};
    const char *to = fsp_http_value(request, "to");
    char token[FSP_TOKEN_TEXT_LEN + 1];
    struct fsp_html html;

    if (!read_token(request, fresh_name(request), token))
        fsp_token_new(gate->env, token);
    fsp_http_set_cookie(answer, request, fresh_name(request), token, FRESH_S);
    answer->type = "text/html; charset=utf-8";
    fsp_html_begin(&html, &answer->body);
    fsp_gate_page_begin(&html, NULL, "Log in");
    if (fault != NULL)
        fsp_gate_page_fault(&html, fault);
    fsp_html_form(&html, "/log-in", token);
    if (to != NULL)
        fsp_html_hidden(&html, "to", to);
    fsp_html_input(&html, &name);
    fsp_html_input(&html, &password);
    fsp_html_button(&html, "Log in", NULL, NULL);
    fsp_html_close(&html);
    fsp_html_element(&html, "p", "hint",
            "Whoever has forgotten a password asks a keeper for a new one.");
    fsp_gate_page_end(&html);
    fsp_html_end(&html);
}

static void
handle_log_in_page(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_gate *gate = ctx;
    struct fsp_viewer viewer;
    struct fsp_err err = {0};
    const enum fsp_rc rc = find_viewer(gate, request, &viewer, &err);

    if (rc == FSP_OK) /* in already, or no account to log in to */
        fsp_http_see_other(answer, "/");
    else if (rc == FSP_EVERIFY)
        show_log_in(gate, request, NULL, answer);
    else
        refuse_busy(answer);
}

static bool
fresh_form(const struct fsp_http_request *request)
{
    const char *sent = fsp_http_value(request, "form");
    char token[FSP_TOKEN_TEXT_LEN + 1];

    return !from_elsewhere(request) && sent != NULL && strlen(sent) == FSP_TOKEN_TEXT_LEN &&
           read_token(request, fresh_name(request), token) &&
           fsp_secret_equal(sent, token, FSP_TOKEN_TEXT_LEN);
}

/* In: a new session in a new cookie, whatever the browser brought; the one it brought ends. */
static void
let_in(struct fsp_gate *gate, const struct fsp_http_request *request,
        const struct fsp_login_tokens *tokens, struct fsp_http_answer *answer)
{
    const char *to = fsp_http_value(request, "to");
    char old[FSP_TOKEN_TEXT_LEN + 1];
    struct fsp_err err = {0};

    if (read_token(request, session_name(request), old)) {
        (void)fsp_gate_take_desk(gate);
        if (fsp_people_log_out(gate->desk, old, fsp_gate_now_s(gate), &err) != FSP_OK)
            err.rc = FSP_OK; /* it ends by its age; this log-in stands */
        fsp_gate_give_desk(gate);
    }
    fsp_http_see_other(answer, to != NULL ? to : "/");
    fsp_http_set_cookie(
            answer, request, session_name(request), tokens->session, FSP_SESSION_MAX_S);
    if (tokens->browser[0] != '\0')
        fsp_http_set_cookie(
                answer, request, browser_name(request), tokens->browser, FSP_BROWSER_MAX_S);
}

static void
handle_log_in(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_gate *gate = ctx;
    const char *name = fsp_http_value(request, "name");
    const char *password = fsp_http_value(request, "password");
    char browser[FSP_TOKEN_TEXT_LEN + 1];
    struct fsp_login login = {.name = name != NULL ? name : "",
            .client = request->client,
            .browser = read_token(request, browser_name(request), browser) ? browser : NULL,
            .now_s = fsp_gate_now_s(gate)};
    struct fsp_login_tokens tokens;
    struct fsp_err err = {0};
    bool good = false;
    enum fsp_rc rc;

    if (!fresh_form(request)) {
        show_log_in(gate, request, "This page was open for long; please log in again.", answer);
        answer->status = 403;
        return;
    }
    if (name == NULL || password == NULL) {
        show_log_in(gate, request, "Give a name and a password.", answer);
        answer->status = 403;
        return;
    }
    rc = try_password(gate, &login, password, &good, &err);
    if (rc == FSP_OK) {
        (void)fsp_gate_take_desk(gate);
        rc = fsp_people_tried(gate->desk, &login, good, gate->env, &tokens, &err);
        fsp_gate_give_desk(gate);
    }
    if (rc == FSP_OK) {
        let_in(gate, request, &tokens, answer);
        fsp_secret_wipe(&tokens, sizeof(tokens));
    } else if (rc == FSP_EVERIFY) {
        show_log_in(gate, request, "Wrong name or password.", answer);
        answer->status = 403;
    } else if (rc == FSP_EAGAIN) {
        show_log_in(gate, request,
                "Too many log-ins failed. Wait a quarter of an hour, or ask a keeper for a new "
                "password.",
                answer);
        answer->status = 429;
        answer->retry_after_s = FSP_LOGIN_WAIT_MAX_S;
    } else {
        refuse_busy(answer);
    }
    fsp_secret_wipe(&login, sizeof(login));
}

static void
handle_log_out(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_gate *gate = ctx;
    struct fsp_viewer viewer;
    struct fsp_err err = {0};
    char token[FSP_TOKEN_TEXT_LEN + 1];
    enum fsp_rc rc = FSP_OK;

    if (!fsp_gate_pass(gate, request, FSP_RIGHT_READ, &viewer, answer))
        return;
    if (read_token(request, session_name(request), token)) {
        (void)fsp_gate_take_desk(gate);
        rc = fsp_people_log_out(gate->desk, token, fsp_gate_now_s(gate), &err);
        fsp_gate_give_desk(gate);
    }
    if (rc != FSP_OK) {
        refuse_busy(answer);
        return;
    }
    fsp_http_see_other(answer, "/log-in");
    fsp_http_set_cookie(answer, request, session_name(request), "", 0);
}

const struct fsp_http_route *
fsp_gate_routes(void)
{
    static const struct fsp_form_field page_fields[] = {
            {.name = "to", .max = PLACE_MAX},
            {.name = NULL},
    };
    static const struct fsp_form_field log_in_fields[] = {
            FSP_GATE_FIELD,
            {.name = "name", .max = FSP_NAME_MAX},
            {.name = "password", .max = FSP_PASSWORD_MAX},
            {.name = "to", .max = PLACE_MAX},
            {.name = NULL},
    };
    static const struct fsp_form_field log_out_fields[] = {FSP_GATE_FIELD, {.name = NULL}};
    static const struct fsp_http_route routes[] = {
            {.method = "GET",
                    .path = "/log-in",
                    .handle = handle_log_in_page,
                    .fields = page_fields},
            {.method = "POST",
                    .path = "/log-in",
                    .body_max = FORM_MAX,
                    .handle = handle_log_in,
                    .fields = log_in_fields},
            {.method = "POST",
                    .path = "/log-out",
                    .body_max = FORM_MAX,
                    .handle = handle_log_out,
                    .fields = log_out_fields},
            {.path = NULL},
    };

    return routes;
}
