/* GET /: every rig, what needs attention first; filtered by flag and by text, in pages. */
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "line/say.h"
#include "office/board_priv.h"

/* --- which rigs ------------------------------------------------------------------------------ */

static int
lower(char c)
{
    return c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c;
}

static bool
holds(const char *text, const char *find)
{
    size_t len = strlen(find);

    for (; text != NULL && *text != '\0'; text++) {
        size_t i = 0;

        while (i < len && lower(text[i]) == lower(find[i]))
            i++;
        if (i == len)
            return true;
    }
    return false;
}

static bool
has_flag(const struct fsp_fleet_rig *rig, const char *word)
{
    for (size_t i = 0; i < rig->n_flags; i++)
        if (strcmp(fsp_flag_kind_word(rig->flags[i].kind), word) == 0)
            return true;
    return false;
}

static bool
asked_for(const struct fsp_fleet_rig *rig, const struct fsp_board_fleet_ask *ask)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(rig->ledger);

    if (ask->flag != NULL && !has_flag(rig, ask->flag))
        return false;
    return ask->find == NULL || holds(rig->name, ask->find) || holds(view->reel, ask->find) ||
           holds(view->well, ask->find);
}

/* --- a row ----------------------------------------------------------------------------------- */

static void
rig_cell(struct fsp_board_table *table, const struct fsp_fleet_rig *rig)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(rig->ledger);
    char href[FSP_BOARD_LINK_MAX];

    fsp_board_rig_href(rig->name, href);
    fsp_board_cell_begin(table);
    fsp_board_link(table->html, rig->name, href);
    if (view->rig_state != NULL)
        fsp_html_element(table->html, "span", "why", view->rig_state);
    fsp_board_cell_end(table);
}

static void
due_cell(struct fsp_board_table *table, const struct fsp_ledger_view *view)
{
    fsp_board_cell_begin(table);
    fsp_board_due(table->html, view->cut_due, view->cut_due_why);
    if (view->slip_due == FSP_DUE_NOW || view->slip_due == FSP_DUE_OVERDUE) {
        fsp_html_open(table->html, "span");
        fsp_html_attr(table->html, "class", "why");
        fsp_html_text(table->html, "Slip ");
        fsp_html_text(table->html, fsp_due_text(view->slip_due));
        fsp_html_text(table->html, ": ");
        fsp_html_text(table->html, view->slip_due_why);
        fsp_html_close(table->html);
    }
    fsp_board_cell_end(table);
}

static void
line_cell(struct fsp_board_table *table, const struct fsp_ledger_view *view)
{
    struct fsp_buf text;

    fsp_board_cell_begin(table);
    if (view->reel == NULL) {
        fsp_html_text(table->html, "\xe2\x80\x93");
        fsp_board_cell_end(table);
        return;
    }
    fsp_buf_init(&text, 256);
    fsp_say_number(&text, view->in_service_m / FSP_FT_M, 0);
    fsp_html_text(table->html, fsp_buf_peek(&text));
    fsp_buf_reset(&text);
    fsp_board_rope(view->rope_m, view->grade, &text);
    fsp_html_element(table->html, "span", "why", fsp_buf_peek(&text));
    fsp_buf_reset(&text);
    fsp_say_number(&text, view->on_reel_m / FSP_FT_M, 0);
    fsp_buf_add_text(&text, " on the reel");
    fsp_html_element(table->html, "span", "why", fsp_buf_peek(&text));
    fsp_buf_fini(&text);
    fsp_board_cell_end(table);
}

static void
factor_cell(struct fsp_board_table *table, const struct fsp_ledger_view *view)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 64);
    fsp_board_cell_begin(table);
    if (view->min_factor > 0.0)
        fsp_say_number(&text, view->min_factor, 2);
    else
        fsp_buf_add_text(&text, "\xe2\x80\x93");
    fsp_html_text(table->html, fsp_buf_peek(&text));
    if (view->below_minimum > 0) {
        fsp_buf_reset(&text);
        fsp_buf_printf(&text, "%d below minimum", view->below_minimum);
        fsp_html_element(table->html, "span", "state stop", fsp_buf_peek(&text));
    }
    fsp_board_cell_end(table);
    fsp_buf_fini(&text);
}

static void
heard_cell(struct fsp_board_table *table, const struct fsp_board_page *page,
        const struct fsp_fleet_rig *rig)
{
    struct fsp_buf text;

    fsp_board_cell_begin(table);
    if (rig->heard_s == 0) {
        fsp_html_text(table->html, "never");
    } else {
        fsp_buf_init(&text, 64);
        fsp_board_age(page->fleet->as_of_s - rig->heard_s, &text);
        fsp_buf_add_text(&text, " ago");
        fsp_html_text(table->html, fsp_buf_peek(&text));
        fsp_html_open(table->html, "span");
        fsp_html_attr(table->html, "class", "why");
        fsp_board_time(table->html, rig->heard_s);
        fsp_html_close(table->html);
        fsp_buf_fini(&text);
    }
    fsp_board_cell_end(table);
}

static void
rig_row(struct fsp_board_table *table, const struct fsp_board_page *page,
        const struct fsp_fleet_rig *rig)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(rig->ledger);

    fsp_board_row(table);
    rig_cell(table, rig);
    due_cell(table, view);
    fsp_board_cell_begin(table);
    fsp_board_served(table->html, view);
    fsp_board_cell_end(table);
    line_cell(table, view);
    factor_cell(table, view);
    fsp_board_cell_begin(table);
    fsp_board_rig_flags(table->html, page, rig);
    fsp_board_cell_end(table);
    heard_cell(table, page, rig);
    fsp_board_row_end(table);
}

/* --- the page -------------------------------------------------------------------------------- */

static void
filter(struct fsp_html *html, const struct fsp_board_fleet_ask *ask)
{
    struct fsp_html_choice choices[FSP_FLAG_KINDS + 1] = {{"", "all rigs"}};
    const struct fsp_html_control kind = {.name = "flag", .label = "Flag", .value = ask->flag};
    const struct fsp_html_control find = {.name = "find",
            .label = "Rig, reel or well",
            .value = ask->find,
            .type = "search",
            .max = FSP_BOARD_FIND_MAX};

    for (int i = 0; i < FSP_FLAG_KINDS; i++) {
        choices[i + 1].value = fsp_flag_kind_word((enum fsp_flag_kind)i);
        choices[i + 1].text = fsp_flag_kind_text((enum fsp_flag_kind)i);
    }
    fsp_html_search(html, "/");
    fsp_html_attr(html, "role", "search");
    fsp_html_select(html, &kind, choices, FSP_FLAG_KINDS + 1);
    fsp_html_input(html, &find);
    fsp_html_button(html, "Show", NULL, NULL);
    if (ask->flag != NULL || ask->find != NULL)
        fsp_board_link(html, "Show all", "/");
    fsp_html_close(html);
}

static void
page_link(struct fsp_html *html, const char *text, const struct fsp_board_fleet_ask *ask,
        size_t page)
{
    struct fsp_buf href;

    fsp_buf_init(&href, 1024);
    fsp_buf_printf(&href, "/?page=%zu", page);
    fsp_board_query(&href, "flag", ask->flag);
    fsp_board_query(&href, "find", ask->find);
    fsp_html_open(html, "li");
    fsp_board_link(html, text, fsp_buf_peek(&href));
    fsp_html_close(html);
    fsp_buf_fini(&href);
}

static void
page_links(struct fsp_html *html, const struct fsp_board_fleet_ask *ask, size_t first, size_t n)
{
    if (n <= FSP_BOARD_FLEET_PAGE)
        return;
    fsp_html_open(html, "nav");
    fsp_html_attr(html, "class", "pages");
    fsp_html_attr(html, "aria-label", "Pages of rigs");
    fsp_html_open(html, "ul");
    if (ask->page > 1)
        page_link(html, "Rigs before these", ask, ask->page - 1);
    if (first + FSP_BOARD_FLEET_PAGE < n)
        page_link(html, "Rigs after these", ask, ask->page + 1);
    fsp_html_close(html);
    fsp_html_close(html);
}

/* How many stand how, of the whole fleet. */
static void
summary(struct fsp_html *html, const struct fsp_fleet *fleet)
{
    size_t by_due[FSP_DUE_OUT_OF_SERVICE + 1] = {0};
    size_t flagged = 0;

    for (size_t i = 0; i < fleet->n; i++) {
        by_due[fsp_ledger_peek(fleet->rigs[i]->ledger)->cut_due]++;
        flagged += fleet->rigs[i]->n_flags > 0 ? 1 : 0;
    }
    fsp_board_para(html,
            "%zu %s: out of service %zu, cut overdue %zu, due %zu, soon %zu, not yet %zu, "
            "unknown %zu; with flags %zu.",
            fleet->n, fleet->n == 1 ? "rig" : "rigs", by_due[FSP_DUE_OUT_OF_SERVICE],
            by_due[FSP_DUE_OVERDUE], by_due[FSP_DUE_NOW], by_due[FSP_DUE_SOON],
            by_due[FSP_DUE_NOT_YET], by_due[FSP_DUE_UNKNOWN], flagged);
}

static void
rigs(struct fsp_html *html, const struct fsp_board_page *page,
        const struct fsp_board_fleet_ask *ask, const struct fsp_fleet_rig **order, size_t n)
{
    static const struct fsp_board_column columns[] = {
            {"Rig", NULL},
            {"Cut due", NULL},
            {"Served of goal", NULL},
            {"Line in service, ft", "n"},
            {"Lowest design factor since cut", "n"},
            {"Flags", NULL},
            {"Last heard", "t"},
    };
    struct fsp_board_table table = {.cards = true};
    const size_t first = (ask->page - 1) * FSP_BOARD_FLEET_PAGE;
    const size_t end = first + FSP_BOARD_FLEET_PAGE < n ? first + FSP_BOARD_FLEET_PAGE : n;

    if (page->fleet->n == 0) {
        fsp_board_para(
                html, "No rig yet. Invite the first one with farspool-office invite RIG.");
        return;
    }
    if (first >= n) {
        fsp_board_para(html, "No rig is like that.");
        return;
    }
    fsp_board_para(
            html, "Rigs %zu to %zu of %zu, what needs attention first.", first + 1, end, n);
    fsp_board_table_begin(&table, html, "Rigs", columns, sizeof(columns) / sizeof(columns[0]));
    for (size_t i = first; i < end; i++)
        rig_row(&table, page, order[i]);
    fsp_board_table_end(&table);
    page_links(html, ask, first, n);
}

void
fsp_board_fleet(const struct fsp_board_page *page, const struct fsp_board_fleet_ask *ask,
        struct fsp_buf *buf)
{
    const struct fsp_fleet *fleet = page->fleet;
    const struct fsp_fleet_rig **order =
            fsp_mem_array(fleet->n, sizeof(const struct fsp_fleet_rig *));
    struct fsp_html html;
    size_t n = 0;

    if (order == NULL) {
        buf->rc = FSP_ENOMEM;
        return;
    }
    fsp_fleet_by_attention(fleet, order);
    for (size_t i = 0; i < fleet->n; i++)
        if (asked_for(order[i], ask))
            order[n++] = order[i];
    fsp_html_begin(&html, buf);
    fsp_board_begin(&html, page);
    fsp_board_caution(&html);
    summary(&html, fleet);
    filter(&html, ask);
    rigs(&html, page, ask, order, n);
    fsp_board_end(&html);
    fsp_html_end(&html);
    free((void *)order);
}
