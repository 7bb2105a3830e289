#include "office/board.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "line/say.h"
#include "office/board_style.h"
#include "web/html.h"

#define BUSY_RETRY_S 10

struct fsp_board {
    const struct fsp_shelf_ops *ops;
    const char *store;
    const struct fsp_env *env;
    pthread_mutex_t mutex;   /* one page at a time */
    struct fsp_shelf *shelf; /* reading; opened again after a failure */
};

/* --- cells ----------------------------------------------------------------------------------- */

static const char *
state_class(enum fsp_due due)
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
static void
number_cell(struct fsp_html *html, bool known, double value, int decimals)
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

static void
time_cell(struct fsp_html *html, int64_t utc_s)
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
    fsp_html_element(html, "span", state_class(view->cut_due), fsp_due_text(view->cut_due));
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

static void
flags_cell(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(rig->ledger);
    struct fsp_buf text;

    fsp_html_open(html, "td");
    fsp_html_attr(html, "class", "flags");
    fsp_html_open(html, "ul");
    if (rig->n_logs == 0)
        flag_item(html, "state plain", "Invited, never heard");
    if (rig->forks > 0)
        flag_item(html, "state stop", "Two histories for one log: both are kept, ask the rig");
    if (rig->review.state == FSP_REVIEW_FLAGGED)
        flag_item(html, "state warn", rig->review.text);
    if (rig->review.wear_left)
        flag_item(html, "state plain", rig->review.wear_left_text);
    if (rig->review.planned_repeat)
        flag_item(html, "state plain", rig->review.planned_text);
    if (view->incomplete)
        flag_item(html, "state plain", "The count since the cut has a gap");
    if (rig->unreadable > 0) {
        fsp_buf_init(&text, 128);
        fsp_buf_printf(&text, "%llu entries this office cannot read",
                (unsigned long long)rig->unreadable);
        flag_item(html, "state plain", fsp_buf_peek(&text));
        fsp_buf_fini(&text);
    }
    fsp_html_close(html);
    fsp_html_close(html);
}

/* --- the page -------------------------------------------------------------------------------- */

static void
rig_row(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(rig->ledger);
    bool hung = view->reel != NULL;

    fsp_html_open(html, "tr");
    fsp_html_open(html, "th");
    fsp_html_attr(html, "scope", "row");
    fsp_html_text(html, rig->name);
    fsp_html_close(html);
    due_cell(html, view);
    served_cell(html, view);
    number_cell(html, hung, view->work_since_cut_j / FSP_TON_MILE_J, 0);
    number_cell(html, view->goal_j > 0.0, view->goal_j / FSP_TON_MILE_J, 0);
    number_cell(html, hung, view->in_service_m / FSP_FT_M, 0);
    number_cell(html, view->min_factor > 0.0, view->min_factor, 2);
    flags_cell(html, rig);
    time_cell(html, view->last_at_s);
    time_cell(html, rig->heard_s);
    fsp_html_close(html);
}

static void
head(struct fsp_html *html, const char *fleet)
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
page_top(struct fsp_html *html, const struct fsp_fleet *fleet)
{
    char text[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(fleet->as_of_s, text);
    text[10] = ' ';
    fsp_html_open(html, "header");
    fsp_html_open(html, "h1");
    fsp_html_text(html, "Farspool \xc2\xb7 ");
    fsp_html_element(html, "span", NULL, fleet->name);
    fsp_html_close(html);
    fsp_html_open(html, "p");
    fsp_html_text(html, "As of ");
    fsp_html_text_n(html, text, 16);
    fsp_html_text(html, " UTC");
    fsp_html_close(html);
    fsp_html_close(html);
}

static void
table_head(struct fsp_html *html)
{
    static const struct {
        const char *title;
        const char *class_name;
    } columns[] = {
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

    fsp_html_open(html, "thead");
    fsp_html_open(html, "tr");
    for (size_t i = 0; i < sizeof(columns) / sizeof(columns[0]); i++) {
        fsp_html_open(html, "th");
        fsp_html_attr(html, "scope", "col");
        if (columns[i].class_name != NULL)
            fsp_html_attr(html, "class", columns[i].class_name);
        fsp_html_text(html, columns[i].title);
        fsp_html_close(html);
    }
    fsp_html_close(html);
    fsp_html_close(html);
}

static void
fleet_table(struct fsp_html *html, const struct fsp_fleet *fleet,
        const struct fsp_fleet_rig *const *order)
{
    fsp_html_open(html, "div");
    fsp_html_attr(html, "class", "scroll");
    fsp_html_attr(html, "tabindex", "0");
    fsp_html_attr(html, "role", "region");
    fsp_html_attr(html, "aria-label", "The fleet");
    fsp_html_open(html, "table");
    fsp_html_element(html, "caption", NULL, "Rigs that need attention first");
    table_head(html);
    fsp_html_open(html, "tbody");
    for (size_t i = 0; i < fleet->n; i++)
        rig_row(html, order[i]);
    fsp_html_close(html);
    fsp_html_close(html);
    fsp_html_close(html);
    if (fleet->n == 0)
        fsp_html_element(html, "p", NULL,
                "No rig yet. Invite the first one with farspool-office invite.");
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
    fsp_html_open(&html, "html");
    fsp_html_attr(&html, "lang", "en");
    head(&html, fleet->name);
    fsp_html_open(&html, "body");
    page_top(&html, fleet);
    fsp_html_open(&html, "main");
    fsp_html_element(&html, "p", "caution",
            "What is said here is the line's limit, never the rig's. An inspection overrules "
            "every "
            "count. The makers' figures, local codes and licensed practice come first.");
    fleet_table(&html, fleet, order);
    fsp_html_close(&html);
    fsp_html_element(&html, "footer", NULL,
            "Counted from the rigs' signed records as the office holds them. Design factors "
            "and goals "
            "hold for sound line only; mast, block, anchor, drawworks and pipe are not checked "
            "here.");
    fsp_html_close(&html);
    fsp_html_close(&html);
    fsp_html_end(&html);
    free(order);
}

/* --- routes ---------------------------------------------------------------------------------- */

static enum fsp_rc
load(struct fsp_board *board, struct fsp_fleet **fleet, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    if (board->shelf == NULL)
        rc = fsp_shelf_open(board->ops, board->store, FSP_SHELF_READ, &board->shelf, err);
    if (rc == FSP_OK)
        rc = fsp_fleet_load(
                board->shelf, board->env->utc_us(board->env->ctx) / FSP_US_PER_S, fleet, err);
    if (rc != FSP_OK) {
        fsp_shelf_close(board->shelf);
        board->shelf = NULL;
    }
    return rc;
}

static void
handle_fleet(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_board *board = ctx;
    struct fsp_fleet *fleet = NULL;
    enum fsp_rc rc;

    (void)request;
    (void)pthread_mutex_lock(&board->mutex);
    rc = load(board, &fleet, NULL);
    (void)pthread_mutex_unlock(&board->mutex);
    if (rc != FSP_OK) {
        fsp_http_refuse(answer, 503, "the store cannot be read now; try again");
        answer->retry_after_s = BUSY_RETRY_S;
        return;
    }
    answer->type = "text/html; charset=utf-8";
    fsp_board_fleet(fleet, &answer->body);
    fsp_fleet_free(fleet);
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
    static const struct fsp_http_route routes[] = {
            {"GET", "/", 0, handle_fleet},
            {"GET", "/style.css", 0, handle_style},
            {"GET", "/farspool.svg", 0, handle_picture},
            {"GET", "/health", 0, handle_health},
            {NULL, NULL, 0, NULL},
    };

    return routes;
}

enum fsp_rc
fsp_board_new(const struct fsp_shelf_ops *ops, const char *store, const struct fsp_env *env,
        struct fsp_board **out, struct fsp_err *err)
{
    struct fsp_board *board = calloc(1, sizeof(*board));

    *out = NULL;
    if (board == NULL || pthread_mutex_init(&board->mutex, NULL) != 0) {
        free(board);
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    }
    board->ops = ops;
    board->store = store;
    board->env = env;
    *out = board;
    return FSP_OK;
}

void
fsp_board_free(struct fsp_board *board)
{
    if (board == NULL)
        return;
    fsp_shelf_close(board->shelf);
    (void)pthread_mutex_destroy(&board->mutex);
    free(board);
}
