/*
 * What the station's pages share: a visit (one request with the journal open), and the frame.
 *
 * station.c starts, stops, lets in and frames; station_now.c is the line now; station_ahead.c the jobs
 * ahead and the drawing; station_enter.c the forms; station_entries.c the entries and the tour's sheet.
 */
#ifndef FSP_RIG_STATION_PRIV_H
#define FSP_RIG_STATION_PRIV_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "line/ledger.h"
#include "record/kind.h"
#include "rig/account.h"
#include "rig/journal.h"
#include "rig/station.h"
#include "web/html.h"
#include "web/http.h"

#define FSP_STATION_PAGE_MAX  ((size_t)2 * 1024 * 1024)
#define FSP_STATION_KINDS_MAX 24
#define FSP_STATION_TOKEN_LEN 32 /* hex */
#define FSP_STATION_PATH_MAX  48
#define FSP_STATION_VALUE_MAX ((size_t)8192) /* bytes of one field of a form */
#define FSP_STATION_SHOWN     40             /* newest entries on a page */

/* The form of one kind of record: its route and the fields it takes. */
struct fsp_station_kind {
    const struct fsp_kind *kind;
    char path[FSP_STATION_PATH_MAX];
    struct fsp_form_field fields[FSP_FORM_FIELDS_MAX + 1];
};

struct fsp_station {
    struct fsp_station_about about;
    struct fsp_http *http;
    char token[FSP_STATION_TOKEN_LEN + 1];
    struct fsp_station_kind kinds[FSP_STATION_KINDS_MAX];
    size_t n_kinds;
    struct fsp_http_route *routes;
};

/* One request. */
struct fsp_visit {
    struct fsp_station *station;
    const struct fsp_http_request *request;
    struct fsp_http_answer *answer;
    struct fsp_journal *journal;
    struct fsp_account *account; /* NULL where the page asks for none */
    const struct fsp_ledger *ledger;
    int64_t now_s;
    int zone_minutes; /* of the rig */
    bool has_zone;
    struct fsp_html html;
};

enum fsp_station_need {
    FSP_STATION_JOURNAL, /* to read */
    FSP_STATION_ACCOUNT, /* to read, with the account of now */
    FSP_STATION_WRITE,
};

/* Let the request in and open what the page needs; false: the answer is made. End every visit with
 * fsp_visit_end(), whatever came back. */
bool fsp_visit_begin(struct fsp_visit *visit, struct fsp_station *station,
        const struct fsp_http_request *request, struct fsp_http_answer *answer,
        enum fsp_station_need need);
void fsp_visit_end(struct fsp_visit *visit);
/* Down to the open <main> with its heading, and from its end on. `here`: the path of this page. */
void fsp_visit_page(struct fsp_visit *visit, const char *title, const char *here);
void fsp_visit_page_end(struct fsp_visit *visit);
/* A time in the rig's zone, in UTC where the rig has named none: "2026-03-02 06:00 +01:00". */
void fsp_visit_time(const struct fsp_visit *visit, int64_t utc_s, struct fsp_buf *out);

/* <div class="row"><dt>…</dt><dd>…</dd></div> of a list of facts. */
void fsp_visit_fact(struct fsp_visit *visit, const char *what, const char *text);
/* Lines of text as they are, in a <pre>. */
void fsp_visit_lines(struct fsp_visit *visit, const char *text, size_t len);
enum fsp_units fsp_visit_units(const struct fsp_visit *visit);

/* The pages; ctx is the station. */
void fsp_station_now(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer);
void fsp_station_ahead(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer);
void fsp_station_drawing(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer);
void fsp_station_choose(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer);
void fsp_station_form(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer);
void fsp_station_send(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer);
void fsp_station_entries(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer);
void fsp_station_tour(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer);

extern const struct fsp_form_field fsp_station_ahead_fields[];
extern const struct fsp_form_field fsp_station_entries_fields[];

#endif
