#include "rig/station_priv.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"
#include "rig/station_style.h"

#define WORKERS       2u
#define CONNECTIONS   32u
#define TRY_AGAIN_S   5
#define ROUTES_BEYOND 8 /* besides two for each kind */

static const char page_type[] = "text/html; charset=utf-8";

static const struct fsp_http_asset style_asset = {.type = "text/css; charset=utf-8",
        .bytes = station_css,
        .len = sizeof(station_css) - 1,
        .max_age_s = 0};

/* --- let in ----------------------------------------------------------------------------------- */

/* A Host header that names this machine, with any port. A page elsewhere whose name was made to point here
 * sends its own name. */
static bool
names_this_machine(const char *host)
{
    static const char *const names[] = {"localhost", "127.0.0.1", "[::1]"};

    for (size_t i = 0; host != NULL && i < sizeof(names) / sizeof(names[0]); i++) {
        const size_t len = strlen(names[i]);

        if (strncmp(host, names[i], len) == 0 && (host[len] == '\0' || host[len] == ':'))
            return true;
    }
    return false;
}

/* All of it is compared, wherever it differs. */
static bool
same_token(const char *token, const char *given)
{
    unsigned differs = 0;

    if (given == NULL || strlen(given) != FSP_STATION_TOKEN_LEN)
        return false;
    for (size_t i = 0; i < FSP_STATION_TOKEN_LEN; i++)
        differs |= (unsigned char)token[i] ^ (unsigned char)given[i];
    return differs == 0;
}

static bool
let_in(const struct fsp_station *station, const struct fsp_http_request *request,
        struct fsp_http_answer *answer)
{
    if (!names_this_machine(fsp_http_header(request, "Host"))) {
        fsp_http_refuse(answer, 403, "this page is for this PC alone: open it as 127.0.0.1");
        return false;
    }
    if (strcmp(request->method, "POST") == 0 &&
            !same_token(station->token, fsp_http_value(request, "form"))) {
        fsp_http_refuse(answer, 403,
                "this form is of an earlier start of the program, or not one of its own; open "
                "it again, nothing was added");
        return false;
    }
    return true;
}

static bool
fail(struct fsp_visit *visit, const struct fsp_err *err)
{
    fsp_http_refuse(visit->answer, 503, err->text);
    visit->answer->retry_after_s = TRY_AGAIN_S;
    return false;
}

/* No number is shown of a history that is not whole. */
static bool
whole(struct fsp_visit *visit)
{
    char line[512];

    if (fsp_journal_state(visit->journal) == FSP_JOURNAL_SOUND)
        return true;
    (void)snprintf(line, sizeof(line),
            "history incomplete: %s; no count is given: count by hand, on the safe side, keep "
            "the day sheets, and see docs/keys.md",
            fsp_journal_state_why(visit->journal));
    fsp_http_refuse(visit->answer, 503, line);
    return false;
}

bool
fsp_visit_begin(struct fsp_visit *visit, struct fsp_station *station,
        const struct fsp_http_request *request, struct fsp_http_answer *answer,
        enum fsp_station_need need)
{
    struct fsp_check_context context;
    struct fsp_err err = {.rc = FSP_OK};
    enum fsp_rc rc;

    *visit = (struct fsp_visit){.station = station, .request = request, .answer = answer};
    if (!let_in(station, request, answer))
        return false;
    rc = fsp_journal_open(station->about.store,
            need == FSP_STATION_WRITE ? FSP_JOURNAL_WRITE : FSP_JOURNAL_READ,
            station->about.env, &visit->journal, &err);
    if (rc == FSP_OK)
        rc = fsp_journal_context(visit->journal, &context, &err);
    if (rc != FSP_OK)
        return fail(visit, &err);
    visit->now_s = context.present_s;
    visit->has_zone = context.zone_minutes != NULL;
    visit->zone_minutes = visit->has_zone ? *context.zone_minutes : 0;
    if (!whole(visit))
        return false;
    if (need == FSP_STATION_ACCOUNT) {
        rc = fsp_account_new(visit->journal, visit->now_s, &visit->account, &err);
        if (rc != FSP_OK)
            return fail(visit, &err);
        visit->ledger = fsp_account_ledger(visit->account);
    }
    return true;
}

void
fsp_visit_end(struct fsp_visit *visit)
{
    fsp_account_free(visit->account);
    fsp_journal_close(visit->journal);
}

/* --- the frame -------------------------------------------------------------------------------- */

static void
head(struct fsp_html *html, const char *rig, const char *title)
{
    fsp_html_open(html, "head");
    fsp_html_void(html, "meta");
    fsp_html_attr(html, "charset", "utf-8");
    fsp_html_void(html, "meta");
    fsp_html_attr(html, "name", "viewport");
    fsp_html_attr(html, "content", "width=device-width, initial-scale=1");
    fsp_html_open(html, "title");
    fsp_html_text(html, title);
    fsp_html_text(html, " \xc2\xb7 ");
    fsp_html_text(html, rig);
    fsp_html_close(html);
    fsp_html_void(html, "link");
    fsp_html_attr(html, "rel", "stylesheet");
    fsp_html_attr(html, "href", "/station.css");
    fsp_html_close(html);
}

static void
nav(struct fsp_html *html, const char *here)
{
    static const char *const places[][2] = {{"/", "The line now"}, {"/enter", "Enter"},
            {"/entries", "Entries"}, {"/ahead", "Jobs ahead"}, {"/drawing", "String-up"},
            {"/tour", "Tour sheet"}};

    fsp_html_open(html, "nav");
    fsp_html_attr(html, "aria-label", "Pages");
    fsp_html_open(html, "ul");
    for (size_t i = 0; i < sizeof(places) / sizeof(places[0]); i++) {
        fsp_html_open(html, "li");
        fsp_html_open(html, "a");
        fsp_html_attr(html, "href", places[i][0]);
        if (strcmp(places[i][0], here) == 0)
            fsp_html_attr(html, "aria-current", "page");
        fsp_html_text(html, places[i][1]);
        fsp_html_close(html);
        fsp_html_close(html);
    }
    fsp_html_close(html);
    fsp_html_close(html);
}

void
fsp_visit_page(struct fsp_visit *visit, const char *title, const char *here)
{
    struct fsp_html *html = &visit->html;
    const char *rig = fsp_journal_about(visit->journal)->rig;

    visit->answer->type = page_type;
    fsp_html_begin(html, &visit->answer->body);
    fsp_html_open(html, "html");
    fsp_html_attr(html, "lang", "en");
    head(html, rig, title);
    fsp_html_open(html, "body");
    nav(html, here);
    fsp_html_open(html, "main");
    fsp_html_open(html, "h1");
    fsp_html_text(html, title);
    fsp_html_text(html, " \xc2\xb7 ");
    fsp_html_text(html, rig);
    fsp_html_close(html);
}

void
fsp_visit_page_end(struct fsp_visit *visit)
{
    struct fsp_html *html = &visit->html;
    struct fsp_buf now;

    fsp_buf_init(&now, 64);
    fsp_visit_time(visit, visit->now_s, &now);
    fsp_html_close(html);
    fsp_html_open(html, "footer");
    fsp_html_element(html, "p", NULL,
            "What is shown of a lift is the line's limit, never the rig's. Looking at the line "
            "overrules every count. Local codes, the makers' figures and licensed practice "
            "come first.");
    fsp_html_open(html, "p");
    fsp_html_text(html, "As of ");
    fsp_html_text(html, fsp_buf_peek(&now));
    fsp_html_close(html);
    fsp_html_close(html);
    fsp_html_close(html);
    fsp_html_close(html);
    fsp_html_end(html);
    fsp_buf_fini(&now);
}

void
fsp_visit_time(const struct fsp_visit *visit, int64_t utc_s, struct fsp_buf *out)
{
    const int zone = visit->zone_minutes;
    char text[FSP_TIME_TEXT_LEN + 1];

    if (utc_s == 0) {
        fsp_buf_add_text(out, "not known");
        return;
    }
    fsp_time_text(utc_s + (int64_t)zone * 60, text);
    text[10] = ' ';
    fsp_buf_add(out, text, 16);
    if (!visit->has_zone || zone == 0)
        fsp_buf_add_text(out, " UTC");
    else
        fsp_buf_printf(
                out, " %c%02d:%02d", zone < 0 ? '-' : '+', abs(zone) / 60, abs(zone) % 60);
}

void
fsp_visit_fact(struct fsp_visit *visit, const char *what, const char *text)
{
    fsp_html_open(&visit->html, "div");
    fsp_html_attr(&visit->html, "class", "row");
    fsp_html_element(&visit->html, "dt", NULL, what);
    fsp_html_element(&visit->html, "dd", NULL, text);
    fsp_html_close(&visit->html);
}

void
fsp_visit_lines(struct fsp_visit *visit, const char *text, size_t len)
{
    fsp_html_open(&visit->html, "pre");
    while (len > 0) {
        const char *end = memchr(text, '\n', len);
        const size_t line = end == NULL ? len : (size_t)(end - text);

        fsp_html_text_n(&visit->html, text, line);
        if (end == NULL)
            break;
        fsp_html_line(&visit->html);
        text += line + 1;
        len -= line + 1;
    }
    fsp_html_close(&visit->html);
}

enum fsp_units
fsp_visit_units(const struct fsp_visit *visit)
{
    return fsp_ledger_peek(visit->ledger)->metric ? FSP_UNITS_METRIC : FSP_UNITS_FIELD;
}

/* --- start and stop --------------------------------------------------------------------------- */

static void
serve_style(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    (void)ctx;
    (void)request;
    fsp_http_serve(answer, &style_asset);
}

/* Kinds that only the program itself writes. */
static bool
is_for_people(const struct fsp_kind *kind)
{
    return strcmp(kind->name, "renewal") != 0 && strcmp(kind->name, "instruction") != 0 &&
           strcmp(kind->name, "countersign") != 0;
}

static size_t
add_fields(struct fsp_form_field *out, size_t n, const struct fsp_field *fields)
{
    for (; fields->name != NULL; fields++) {
        if ((fields->flags & (FSP_AGENT | FSP_COMPUTED)) != 0 ||
                strcmp(fields->name, "v") == 0 || strcmp(fields->name, "kind") == 0 ||
                fields->type == FSP_BYTES)
            continue;
        assert(n < FSP_FORM_FIELDS_MAX);
        out[n++] = (struct fsp_form_field){.name = fields->name,
                .max = FSP_STATION_VALUE_MAX,
                .is = strcmp(fields->name, "note") == 0 ? FSP_FIELD_TEXT : FSP_FIELD_LINE};
    }
    return n;
}

static const struct fsp_form_field own_fields[] = {
        {.name = "form", .max = FSP_STATION_TOKEN_LEN, .is = FSP_FIELD_TOKEN},
        {.name = "once", .max = FSP_STATION_TOKEN_LEN, .is = FSP_FIELD_TOKEN},
        {.name = "do", .max = 8, .is = FSP_FIELD_TOKEN},
        {.name = "also", .max = 3, .is = FSP_FIELD_TOKEN},
        {.name = "sure", .max = 3, .is = FSP_FIELD_TOKEN},
        {.name = "amends", .max = 20, .is = FSP_FIELD_COUNT},
        {.name = "amend-reason", .max = 200, .is = FSP_FIELD_LINE},
};

static void
list_kinds(struct fsp_station *station)
{
    const size_t n_own = sizeof(own_fields) / sizeof(own_fields[0]);
    const struct fsp_kind *kind;

    for (size_t i = 0; (kind = fsp_kind_at(i)) != NULL; i++) {
        struct fsp_station_kind *one = &station->kinds[station->n_kinds];
        size_t n;

        if (!is_for_people(kind) || station->n_kinds == FSP_STATION_KINDS_MAX)
            continue;
        one->kind = kind;
        (void)snprintf(one->path, sizeof(one->path), "/enter/%s", kind->name);
        memcpy(one->fields, own_fields, sizeof(own_fields));
        n = add_fields(one->fields, n_own, fsp_common_fields());
        (void)add_fields(one->fields, n, kind->fields);
        station->n_kinds++;
    }
}

static enum fsp_rc
list_routes(struct fsp_station *station, struct fsp_err *err)
{
    static const struct fsp_http_route pages[] = {
            {"GET", "/", 0, fsp_station_now, NULL},
            {"GET", "/station.css", 0, serve_style, NULL},
            {"GET", "/enter", 0, fsp_station_choose, NULL},
            {"GET", "/entries", 0, fsp_station_entries, fsp_station_entries_fields},
            {"GET", "/ahead", 0, fsp_station_ahead, fsp_station_ahead_fields},
            {"GET", "/drawing", 0, fsp_station_drawing, NULL},
            {"GET", "/tour", 0, fsp_station_tour, NULL},
    };
    size_t n = sizeof(pages) / sizeof(pages[0]);

    station->routes =
            fsp_mem_array(2 * station->n_kinds + ROUTES_BEYOND, sizeof(*station->routes));
    if (station->routes == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    memcpy(station->routes, pages, sizeof(pages));
    for (size_t i = 0; i < station->n_kinds; i++) {
        const struct fsp_station_kind *kind = &station->kinds[i];

        station->routes[n++] =
                (struct fsp_http_route){"GET", kind->path, 0, fsp_station_form, kind->fields};
        station->routes[n++] = (struct fsp_http_route){
                "POST", kind->path, FSP_FORM_MAX, fsp_station_send, kind->fields};
    }
    return FSP_OK;
}

enum fsp_rc
fsp_station_start(
        const struct fsp_station_about *about, struct fsp_station **out, struct fsp_err *err)
{
    struct fsp_station *station = calloc(1, sizeof(*station));
    struct fsp_http_options options = {.listen = about->listen,
            .env = about->env,
            .workers = WORKERS,
            .connections = CONNECTIONS};
    uint8_t random[FSP_STATION_TOKEN_LEN / 2];
    enum fsp_rc rc;

    *out = NULL;
    if (station == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    station->about = *about;
    about->env->random(about->env->ctx, random, sizeof(random));
    fsp_text_hex(station->token, random, sizeof(random));
    list_kinds(station);
    rc = names_this_machine(about->listen)
                 ? list_routes(station, err)
                 : fsp_err_set(err, FSP_EINVAL,
                           "%.80s: the crew's page is served on this PC alone, as "
                           "127.0.0.1:8465",
                           about->listen);
    if (rc == FSP_OK) {
        options.routes = station->routes;
        options.ctx = station;
        rc = fsp_http_start(&options, &station->http, err);
    }
    if (rc != FSP_OK) {
        fsp_station_stop(station);
        return rc;
    }
    *out = station;
    return FSP_OK;
}

void
fsp_station_stop(struct fsp_station *station)
{
    if (station == NULL)
        return;
    fsp_http_stop(station->http);
    free(station->routes);
    free(station);
}

const char *
fsp_station_url(const struct fsp_station *station)
{
    return fsp_http_url(station->http);
}
