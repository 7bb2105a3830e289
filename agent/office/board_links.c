/* GET /links: how old, how far behind and how complete what each rig sent is; forks and renewals. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "office/board_priv.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* Never heard first, then the longest silence. */
static int
by_silence(const void *left, const void *right)
{
    const struct fsp_fleet_rig *const *a = left;
    const struct fsp_fleet_rig *const *b = right;

    if ((*a)->heard_s != (*b)->heard_s)
        return (*a)->heard_s < (*b)->heard_s ? -1 : 1;
    return strcmp((*a)->name, (*b)->name);
}

static void
age_cell(struct fsp_board_table *table, int64_t now_s, int64_t then_s, bool quiet)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 64);
    fsp_board_cell_begin(table);
    if (then_s == 0) {
        fsp_html_text(table->html, "never");
    } else {
        fsp_board_age(now_s - then_s, &text);
        fsp_html_text(table->html, fsp_buf_peek(&text));
        fsp_html_open(table->html, "span");
        fsp_html_attr(table->html, "class", "why");
        fsp_board_time(table->html, then_s);
        fsp_html_close(table->html);
    }
    if (quiet)
        fsp_html_element(table->html, "span", "state warn", "quiet");
    fsp_board_cell_end(table);
    fsp_buf_fini(&text);
}

static const struct fsp_flag *
flag_of(const struct fsp_fleet_rig *rig, enum fsp_flag_kind kind)
{
    for (size_t i = 0; i < rig->n_flags; i++)
        if (rig->flags[i].kind == kind)
            return &rig->flags[i];
    return NULL;
}

static void
flag_cell(struct fsp_board_table *table, const struct fsp_fleet_rig *rig,
        const enum fsp_flag_kind *kinds, size_t n)
{
    bool any = false;

    fsp_board_cell_begin(table);
    for (size_t i = 0; i < n; i++) {
        const struct fsp_flag *flag = flag_of(rig, kinds[i]);

        if (flag == NULL)
            continue;
        fsp_board_flag(table->html, flag);
        any = true;
    }
    if (!any)
        fsp_html_text(table->html, "\xe2\x80\x93");
    fsp_board_cell_end(table);
}

static void
row(struct fsp_board_table *table, const struct fsp_board_page *page,
        const struct fsp_fleet_rig *rig)
{
    static const enum fsp_flag_kind gaps[] = {FSP_FLAG_INCOMPLETE, FSP_FLAG_UNREADABLE};
    static const enum fsp_flag_kind doubts[] = {FSP_FLAG_FORK, FSP_FLAG_RENEWAL};
    const struct fsp_ledger_view *view = fsp_ledger_peek(rig->ledger);
    const struct fsp_fleet_log *log = fsp_fleet_current(rig);
    char href[FSP_BOARD_LINK_MAX];

    fsp_board_rig_href(rig->name, href);
    fsp_board_row(table);
    fsp_board_cell_link(table, rig->name, href);
    age_cell(table, page->fleet->as_of_s, rig->heard_s, flag_of(rig, FSP_FLAG_QUIET) != NULL);
    age_cell(table, page->fleet->as_of_s, view->last_at_s, false);
    fsp_board_cell_number(table, true, (double)rig->entries, 0, NULL);
    if (log != NULL && log->size > 0) {
        fsp_board_entry_href(rig->name, (uint32_t)(rig->n_logs - 1), log->size - 1, href);
        fsp_board_cell_number(table, true, (double)(log->size - 1), 0, href);
    } else {
        fsp_board_cell(table, NULL);
    }
    fsp_board_cell_number(table, true, (double)view->late_entries, 0, NULL);
    flag_cell(table, rig, gaps, COUNT(gaps));
    flag_cell(table, rig, doubts, COUNT(doubts));
    fsp_board_row_end(table);
}

static void
behind(struct fsp_html *html, const struct fsp_board_page *page)
{
    if (page->lag == NULL)
        return;
    fsp_board_para(html,
            "Received and not counted yet: %llu entries of %zu rigs. Receipts do not wait for "
            "counting.",
            (unsigned long long)page->lag->entries, page->lag->rigs);
}

void
fsp_board_links(const struct fsp_board_page *page, struct fsp_buf *buf)
{
    static const struct fsp_board_column columns[] = {{"Rig", NULL},
            {"Last heard, how long ago", "t"}, {"Newest record, how old", "t"},
            {"Entries held", "n"}, {"Newest entry", "n"}, {"Late entries", "n"}, {"Gaps", NULL},
            {"Forks and renewals", NULL}};
    const struct fsp_fleet *fleet = page->fleet;
    const struct fsp_fleet_rig **order =
            fsp_mem_array(fleet->n, sizeof(const struct fsp_fleet_rig *));
    struct fsp_board_table table = {.cards = true};
    struct fsp_html html;

    if (order == NULL) {
        buf->rc = FSP_ENOMEM;
        return;
    }
    for (size_t i = 0; i < fleet->n; i++)
        order[i] = fleet->rigs[i];
    if (fleet->n > 1)
        qsort((void *)order, fleet->n, sizeof(void *), by_silence);
    fsp_html_begin(&html, buf);
    fsp_board_begin(&html, page);
    fsp_board_para(&html,
            "What a rig has not sent is known to the rig alone: its farspool-rig check says "
            "how much waits there. What the office knows is how long it has heard nothing and "
            "how old the newest record is.");
    behind(&html, page);
    fsp_board_table_begin(
            &table, &html, "Rigs, the longest unheard first", columns, COUNT(columns));
    for (size_t i = 0; i < fleet->n; i++)
        row(&table, page, order[i]);
    fsp_board_table_end(&table);
    fsp_board_end(&html);
    fsp_html_end(&html);
    free((void *)order);
}
