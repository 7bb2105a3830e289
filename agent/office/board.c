#include "office/board.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "line/say.h"
#include "office/board_priv.h"
#include "office/board_style.h"

#define READING_RETRY_S 2

struct fsp_board {
    struct fsp_board_about about;
};

/* --- cells ----------------------------------------------------------------------------------- */

const char *
fsp_board_state_class(enum fsp_due due)
{
    switch (due) {
    case FSP_DUE_OUT_OF_SERVICE:
    case FSP_DUE_OVERDUE:
        return "state stop";
    case FSP_DUE_NOW:
    case FSP_DUE_SOON:
        return "state warn";
    case FSP_DUE_NOT_YET:
        return "state good";
    case FSP_DUE_UNKNOWN:
        break;
    }
    return "state plain";
}

/* A number by fsp_say_number(), or what to read when it is not known. */
void
fsp_board_number(struct fsp_html *html, bool known, double value, int decimals)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 64);
    if (known)
        fsp_say_number(&text, value, decimals);
    else
        fsp_buf_add_text(&text, "unknown");
    fsp_html_element(html, "td", "n", fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

void
fsp_board_time(struct fsp_html *html, int64_t utc_s)
{
    char text[FSP_TIME_TEXT_LEN + 1];

    fsp_html_open(html, "td");
    fsp_html_attr(html, "class", "t");
    if (utc_s == 0) {
        fsp_html_text(html, "never");
    } else {
        fsp_time_text(utc_s, text);
        fsp_html_open(html, "time");
        fsp_html_attr(html, "datetime", text);
        text[10] = ' ';
        fsp_html_text_n(html, text, 16);
        fsp_html_text(html, " UTC");
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

static void
due_cell(struct fsp_html *html, const struct fsp_ledger_view *view)
{
    fsp_html_open(html, "td");
    fsp_html_element(
            html, "span", fsp_board_state_class(view->cut_due), fsp_due_text(view->cut_due));
    if (view->cut_due_why != NULL && view->cut_due_why[0] != '\0')
        fsp_html_element(html, "span", "why", view->cut_due_why);
    if (view->slip_due == FSP_DUE_NOW || view->slip_due == FSP_DUE_OVERDUE) {
        fsp_html_open(html, "span");
        fsp_html_attr(html, "class", "why");
        fsp_html_text(html, "Slip ");
        fsp_html_text(html, fsp_due_text(view->slip_due));
        fsp_html_text(html, ": ");
        fsp_html_text(html, view->slip_due_why);
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

static void
served_cell(struct fsp_html *html, const struct fsp_ledger_view *view)
{
    double percent = view->goal_j > 0.0 ? 100.0 * view->served_j / view->goal_j : 0.0;
    struct fsp_buf text;
    struct fsp_buf value;

    if (!(view->goal_j > 0.0)) {
        fsp_html_element(html, "td", "n", "no goal");
        return;
    }
    fsp_buf_init(&text, 64);
    fsp_say_number(&text, percent, 1);
    fsp_buf_add_text(&text, " %");
    fsp_buf_init(&value, 64);
    fsp_buf_printf(&value, "%.1f", percent < 100.0 ? percent : 100.0);
    fsp_html_open(html, "td");
    fsp_html_attr(html, "class", "n");
    fsp_html_text(html, fsp_buf_peek(&text));
    fsp_html_open(html, "progress");
    fsp_html_attr(html, "class", "bar");
    fsp_html_attr(html, "max", "100");
    fsp_html_attr(html, "value", fsp_buf_peek(&value));
    fsp_html_attr(html, "aria-hidden", "true");
    fsp_html_close(html);
    fsp_html_close(html);
    fsp_buf_fini(&value);
    fsp_buf_fini(&text);
}

static void
flag_item(struct fsp_html *html, const char *class_name, const char *text)
{
    fsp_html_open(html, "li");
    fsp_html_element(html, "span", class_name, text);
    fsp_html_close(html);
}

void
fsp_board_flags(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(rig->ledger);
    struct fsp_buf text;

    fsp_buf_init(&text, 1024);
    fsp_html_open(html, "ul");
    if (rig->n_logs == 0)
        flag_item(html, "state plain", "Invited, never heard");
    if (rig->open_forks > 0)
        flag_item(html, "state stop", "Two histories for one log: both are kept, ask the rig");
    for (size_t i = 0; i < rig->n_logs; i++) {
        if (!fsp_fleet_renewal_open(&rig->logs[i]))
            continue;
        fsp_buf_reset(&text);
        fsp_chain_flag_text(&rig->logs[i].chain, &text);
        flag_item(html, rig->renewals_odd ? "state stop" : "state warn", fsp_buf_peek(&text));
    }
    if (rig->review.state == FSP_REVIEW_FLAGGED)
        flag_item(html, "state warn", rig->review.text);
    if (rig->review.wear_left)
        flag_item(html, "state plain", rig->review.wear_left_text);
    if (rig->review.planned_repeat)
        flag_item(html, "state plain", rig->review.planned_text);
    for (size_t i = 0; i < rig->n_advice; i++) {
        fsp_buf_reset(&text);
        fsp_buf_printf(&text, "Advice: %s", fsp_advice_text(rig->advice[i].kind));
        flag_item(html, "state plain", fsp_buf_peek(&text));
    }
    if (view->incomplete)
        flag_item(html, "state plain", "The count since the cut has a gap");
    if (rig->unreadable > 0) {
        fsp_buf_reset(&text);
        fsp_buf_printf(&text, "%llu entries this office cannot read",
                (unsigned long long)rig->unreadable);
        flag_item(html, "state plain", fsp_buf_peek(&text));
    }
    fsp_html_close(html);
    fsp_buf_fini(&text);
}

/* --- the page -------------------------------------------------------------------------------- */

/* A rig's name is of a-z, 0-9 and hyphens. */
static void
rig_link(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    char address[FSP_NAME_MAX + 16];

    (void)snprintf(address, sizeof(address), "/rig?name=%s", rig->name);
    fsp_html_open(html, "a");
    fsp_html_attr(html, "href", address);
    fsp_html_text(html, rig->name);
    fsp_html_close(html);
}

static void
rig_row(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(rig->ledger);
    bool hung = view->reel != NULL;

    fsp_html_open(html, "tr");
    fsp_html_open(html, "th");
    fsp_html_attr(html, "scope", "row");
    rig_link(html, rig);
    fsp_html_close(html);
    due_cell(html, view);
    served_cell(html, view);
    fsp_board_number(html, hung, view->work_since_cut_j / FSP_TON_MILE_J, 0);
    fsp_board_number(html, view->goal_j > 0.0, view->goal_j / FSP_TON_MILE_J, 0);
    fsp_board_number(html, hung, view->in_service_m / FSP_FT_M, 0);
    fsp_board_number(html, view->min_factor > 0.0, view->min_factor, 2);
    fsp_html_open(html, "td");
    fsp_html_attr(html, "class", "flags");
    fsp_board_flags(html, rig);
    fsp_html_close(html);
    fsp_board_time(html, view->last_at_s);
    fsp_board_time(html, rig->heard_s);
    fsp_html_close(html);
}

static void
head(struct fsp_html *html, const char *fleet, const char *of)
{
    fsp_html_open(html, "head");
    fsp_html_void(html, "meta");
    fsp_html_attr(html, "charset", "utf-8");
    fsp_html_void(html, "meta");
    fsp_html_attr(html, "name", "viewport");
    fsp_html_attr(html, "content", "width=device-width, initial-scale=1");
    fsp_html_open(html, "title");
    fsp_html_text(html, "Farspool \xc2\xb7 ");
    fsp_html_text(html, fleet);
    if (of != NULL) {
        fsp_html_text(html, " \xc2\xb7 ");
        fsp_html_text(html, of);
    }
    fsp_html_close(html);
    fsp_html_void(html, "link");
    fsp_html_attr(html, "rel", "stylesheet");
    fsp_html_attr(html, "href", "/style.css");
    fsp_html_void(html, "link");
    fsp_html_attr(html, "rel", "icon");
    fsp_html_attr(html, "href", "/farspool.svg");
    fsp_html_close(html);
}

static void
page_top(struct fsp_html *html, const struct fsp_fleet *fleet, const char *of)
{
    char text[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(fleet->as_of_s, text);
    text[10] = ' ';
    fsp_html_open(html, "header");
    fsp_html_open(html, "h1");
    fsp_html_text(html, "Farspool \xc2\xb7 ");
    if (of != NULL) {
        fsp_html_open(html, "a");
        fsp_html_attr(html, "href", "/");
        fsp_html_text(html, fleet->name);
        fsp_html_close(html);
        fsp_html_text(html, " \xc2\xb7 ");
    }
    fsp_html_element(html, "span", NULL, of != NULL ? of : fleet->name);
    fsp_html_close(html);
    fsp_html_open(html, "p");
    fsp_html_text(html, "As of ");
    fsp_html_text_n(html, text, 16);
    fsp_html_text(html, " UTC");
    fsp_html_close(html);
    fsp_html_close(html);
    if (fleet->waiting > 0) {
        char filling[96];

        (void)snprintf(filling, sizeof(filling),
                "Still reading: %zu of %zu rigs are not on this page yet.", fleet->waiting,
                fleet->waiting + fleet->n);
        fsp_html_element(html, "p", "caution", filling);
    }
}

void
fsp_board_table(struct fsp_html *html, const char *caption,
        const struct fsp_board_column *columns, size_t n)
{
    fsp_html_open(html, "div");
    fsp_html_attr(html, "class", "scroll");
    fsp_html_attr(html, "tabindex", "0");
    fsp_html_attr(html, "role", "region");
    fsp_html_attr(html, "aria-label", caption);
    fsp_html_open(html, "table");
    fsp_html_element(html, "caption", NULL, caption);
    fsp_html_open(html, "thead");
    fsp_html_open(html, "tr");
    for (size_t i = 0; i < n; i++) {
        fsp_html_open(html, "th");
        fsp_html_attr(html, "scope", "col");
        if (columns[i].class_name != NULL)
            fsp_html_attr(html, "class", columns[i].class_name);
        fsp_html_text(html, columns[i].title);
        fsp_html_close(html);
    }
    fsp_html_close(html);
    fsp_html_close(html);
    fsp_html_open(html, "tbody");
}

void
fsp_board_table_end(struct fsp_html *html)
{
    fsp_html_close(html); /* tbody */
    fsp_html_close(html);
    fsp_html_close(html);
}

static void
fleet_table(struct fsp_html *html, const struct fsp_fleet *fleet,
        const struct fsp_fleet_rig *const *order)
{
    static const struct fsp_board_column columns[] = {
            {"Rig", NULL},
            {"Cut due", NULL},
            {"Served of goal", "n"},
            {"Ton-miles since cut", "n"},
            {"Goal, ton-miles", "n"},
            {"Line in service, ft", "n"},
            {"Lowest design factor since cut", "n"},
            {"Flags", NULL},
            {"Last record", NULL},
            {"Last heard", NULL},
    };

    fsp_board_table(html, "Rigs that need attention first", columns,
            sizeof(columns) / sizeof(columns[0]));
    for (size_t i = 0; i < fleet->n; i++)
        rig_row(html, order[i]);
    fsp_board_table_end(html);
    if (fleet->n == 0)
        fsp_html_element(html, "p", NULL,
                "No rig yet. Invite the first one with farspool-office invite.");
}

void
fsp_board_begin(struct fsp_html *html, const struct fsp_fleet *fleet, const char *of)
{
    fsp_html_open(html, "html");
    fsp_html_attr(html, "lang", "en");
    head(html, fleet->name, of);
    fsp_html_open(html, "body");
    page_top(html, fleet, of);
    fsp_html_open(html, "main");
    fsp_html_element(html, "p", "caution",
            "What is said here is the line's limit, never the rig's. An inspection overrules "
            "every count. The makers' figures, local codes and licensed practice come first.");
}

void
fsp_board_end(struct fsp_html *html)
{
    fsp_html_close(html); /* main */
    fsp_html_element(html, "footer", NULL,
            "Counted from the rigs' signed records as the office holds them. Design factors "
            "and goals hold for sound line only; mast, block, anchor, drawworks and pipe are "
            "not checked here.");
    fsp_html_close(html);
    fsp_html_close(html);
}

void
fsp_board_fleet(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    struct fsp_html html;
    const struct fsp_fleet_rig **order =
            fsp_mem_array(fleet->n, sizeof(const struct fsp_fleet_rig *));

    if (order == NULL) {
        buf->rc = FSP_ENOMEM;
        return;
    }
    fsp_fleet_by_attention(fleet, order);
    fsp_html_begin(&html, buf);
    fsp_board_begin(&html, fleet, NULL);
    fleet_table(&html, fleet, order);
    fsp_board_end(&html);
    fsp_html_end(&html);
    free(order);
}

/* --- routes ---------------------------------------------------------------------------------- */

static void
handle_fleet(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    const struct fsp_board *board = ctx;
    const struct fsp_fleet *fleet = fsp_live_hold(board->about.live);

    (void)request;
    answer->type = "text/html; charset=utf-8";
    fsp_board_fleet(fleet, &answer->body);
    fsp_live_release(board->about.live, fleet);
}

static void
handle_rig(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    const struct fsp_board *board = ctx;
    const char *name = fsp_http_value(request, "name");
    const struct fsp_fleet *fleet = fsp_live_hold(board->about.live);
    const struct fsp_fleet_rig *rig = name == NULL ? NULL : fsp_fleet_find(fleet, name);

    if (rig != NULL) {
        answer->type = "text/html; charset=utf-8";
        fsp_board_rig(fleet, rig, &answer->body);
    } else if (name != NULL && fsp_live_knows(board->about.live, name)) {
        fsp_http_refuse(answer, 503, "this rig's records are still being read; try again");
        answer->retry_after_s = READING_RETRY_S;
    } else {
        fsp_http_refuse(answer, 404, "no such rig in this fleet");
    }
    fsp_live_release(board->about.live, fleet);
}

static void
handle_style(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    (void)ctx;
    (void)request;
    answer->type = "text/css; charset=utf-8";
    fsp_buf_add_text(&answer->body, board_css);
}

static void
handle_picture(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    (void)ctx;
    (void)request;
    answer->type = "image/svg+xml";
    fsp_buf_add_text(&answer->body, board_picture);
}

static void
handle_health(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    (void)ctx;
    (void)request;
    fsp_buf_add_text(&answer->body, "good\n");
}

const struct fsp_http_route *
fsp_board_routes(void)
{
    static const struct fsp_form_field rig_fields[] = {
            {.name = "name", .max = FSP_NAME_MAX, .is = FSP_FIELD_NAME},
            {.name = NULL},
    };
    static const struct fsp_http_route routes[] = {
            {.method = "GET", .path = "/", .handle = handle_fleet},
            {.method = "GET", .path = "/rig", .handle = handle_rig, .fields = rig_fields},
            {.method = "GET", .path = "/style.css", .handle = handle_style},
            {.method = "GET", .path = "/farspool.svg", .handle = handle_picture},
            {.method = "GET", .path = "/health", .handle = handle_health},
            {.path = NULL},
    };

    return routes;
}

enum fsp_rc
fsp_board_new(const struct fsp_board_about *about, struct fsp_board **out, struct fsp_err *err)
{
    struct fsp_board *board = calloc(1, sizeof(*board));

    *out = NULL;
    if (board == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    board->about = *about;
    *out = board;
    return FSP_OK;
}

void
fsp_board_free(struct fsp_board *board)
{
    free(board);
}
