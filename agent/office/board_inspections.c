/* GET /inspections: the register of the fleet, with each signature's state. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "office/board_priv.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

struct found {
    const struct fsp_fleet_rig *rig;
    const struct fsp_fold_inspection *one;
};

struct list {
    struct found *items;
    size_t n, cap;
    bool no_memory;
};

const char *const fsp_board_decisions[] = {
        "run", "watch", "slip", "cut", "out-of-service", "replace", NULL};
const char *const fsp_board_signatures[] = {
        "none", "good", "bad", "off-roster", "out-of-date", NULL};

static const char *
signature_word(enum fsp_sig_state sig)
{
    switch (sig) {
    case FSP_SIG_GOOD:
        return "good";
    case FSP_SIG_BAD:
        return "bad";
    case FSP_SIG_OFF_ROSTER:
        return "off-roster";
    case FSP_SIG_OUT_OF_DATE:
        return "out-of-date";
    case FSP_SIG_NONE:
        break;
    }
    return "none";
}

static bool
asked_for(const struct fsp_fold_inspection *one, const struct fsp_board_inspections_ask *ask)
{
    if (ask->decision != NULL &&
            (one->decision == NULL || strcmp(one->decision, ask->decision) != 0))
        return false;
    if (ask->signature != NULL && strcmp(signature_word(one->sig), ask->signature) != 0)
        return false;
    return (ask->from_s == 0 || one->at_s >= ask->from_s) &&
           (ask->to_s == 0 || one->at_s < ask->to_s + FSP_S_PER_DAY);
}

static void
collect(struct list *list, const struct fsp_fleet_rig *rig,
        const struct fsp_board_inspections_ask *ask)
{
    const struct fsp_fold_inspection *one;

    for (size_t i = 0; (one = fsp_fold_inspection(rig->fold, i)) != NULL; i++) {
        void *items = list->items;

        if (!asked_for(one, ask))
            continue;
        if (fsp_mem_grow(&items, &list->cap, list->n + 1, sizeof(list->items[0])) != 0) {
            list->no_memory = true;
            return;
        }
        list->items = items;
        list->items[list->n++] = (struct found){rig, one};
    }
}

/* Newest first, then by rig. */
static int
by_time(const void *left, const void *right)
{
    const struct found *a = left;
    const struct found *b = right;

    if (a->one->at_s != b->one->at_s)
        return a->one->at_s > b->one->at_s ? -1 : 1;
    return strcmp(a->rig->name, b->rig->name);
}

static void
day_control(struct fsp_html *html, const char *name, const char *label, int64_t day_s)
{
    char text[FSP_TIME_TEXT_LEN + 1] = "";
    struct fsp_html_control control = {
            .name = name, .label = label, .type = "date", .value = text};

    if (day_s != 0) {
        fsp_time_text(day_s, text);
        text[10] = '\0';
    }
    fsp_html_input(html, &control);
}

static void
word_control(
        struct fsp_html *html, const struct fsp_html_control *control, const char *const *words)
{
    struct fsp_html_choice choices[8] = {{"", "any"}};
    size_t n = 1;

    for (; words[n - 1] != NULL && n < COUNT(choices); n++)
        choices[n] = (struct fsp_html_choice){words[n - 1], NULL};
    fsp_html_select(html, control, choices, n);
}

static void
filter(struct fsp_html *html, const struct fsp_board_inspections_ask *ask)
{
    const struct fsp_html_control rig = {
            .name = "rig", .label = "Rig", .value = ask->rig, .max = FSP_NAME_MAX};
    const struct fsp_html_control decision = {
            .name = "decision", .label = "Decision", .value = ask->decision};
    const struct fsp_html_control signature = {
            .name = "signature", .label = "Signature", .value = ask->signature};

    fsp_html_search(html, "/inspections");
    fsp_html_attr(html, "role", "search");
    fsp_html_input(html, &rig);
    word_control(html, &decision, fsp_board_decisions);
    word_control(html, &signature, fsp_board_signatures);
    day_control(html, "from", "From day", ask->from_s);
    day_control(html, "to", "To day", ask->to_s);
    fsp_html_button(html, "Show", NULL, NULL);
    fsp_board_link(html, "Show all", "/inspections");
    fsp_html_close(html);
}

void
fsp_board_evidence_links(struct fsp_html *html, const struct fsp_board_page *page,
        const char *rig, uint32_t log, uint64_t index)
{
    char href[FSP_BOARD_LINK_MAX];

    if (!page->viewer->open && !fsp_role_may(page->viewer->role, FSP_RIGHT_EVIDENCE))
        return;
    (void)snprintf(href, sizeof(href), "/evidence?rig=%.128s&log=%lu&n=%llu&file=record", rig,
            (unsigned long)log, (unsigned long long)index);
    fsp_board_link(html, "record", href);
    fsp_html_text(html, " ");
    (void)snprintf(href, sizeof(href), "/evidence?rig=%.128s&log=%lu&n=%llu&file=proof", rig,
            (unsigned long)log, (unsigned long long)index);
    fsp_board_link(html, "proof", href);
}

static void
row(struct fsp_board_table *table, const struct fsp_board_page *page, const struct found *found)
{
    char href[FSP_BOARD_LINK_MAX];

    fsp_board_rig_href(found->rig->name, href);
    fsp_board_row(table);
    fsp_board_cell_link(table, found->rig->name, href);
    fsp_board_inspection_cells(table, found->rig->name, found->one);
    fsp_board_cell_begin(table);
    fsp_board_prove(table->html, found->rig, found->one->log, found->one->index);
    fsp_html_text(table->html, " ");
    fsp_board_evidence_links(
            table->html, page, found->rig->name, found->one->log, found->one->index);
    fsp_board_cell_end(table);
    fsp_board_row_end(table);
}

static void
page_links(struct fsp_html *html, const struct fsp_board_inspections_ask *ask, size_t page)
{
    char day[2][FSP_TIME_TEXT_LEN + 1] = {"", ""};
    const int64_t days[2] = {ask->from_s, ask->to_s};
    struct fsp_buf href;

    for (size_t i = 0; i < 2; i++)
        if (days[i] != 0) {
            fsp_time_text(days[i], day[i]);
            day[i][10] = '\0';
        }
    fsp_buf_init(&href, 1024);
    fsp_buf_printf(&href, "/inspections?page=%zu", page);
    fsp_board_query(&href, "rig", ask->rig);
    fsp_board_query(&href, "decision", ask->decision);
    fsp_board_query(&href, "signature", ask->signature);
    fsp_board_query(&href, "from", day[0]);
    fsp_board_query(&href, "to", day[1]);
    fsp_html_open(html, "p");
    fsp_board_link(html, page > ask->page ? "Older ones" : "Newer ones", fsp_buf_peek(&href));
    fsp_html_close(html);
    fsp_buf_fini(&href);
}

static void
rows(struct fsp_html *html, const struct fsp_board_page *page,
        const struct fsp_board_inspections_ask *ask, const struct list *list)
{
    static const struct fsp_board_column columns[] = {{"Rig", NULL}, {"Inspected", "t"},
            {"Reel", NULL}, {"Scope", NULL}, {"Decision", NULL}, {"Inspector", NULL},
            {"Signature", NULL}, {"Countersigned by", NULL}, {"Evidence", NULL}};
    struct fsp_board_table table = {.cards = false};
    const size_t first = (ask->page - 1) * FSP_BOARD_INSPECTIONS_PAGE;
    const size_t end = first + FSP_BOARD_INSPECTIONS_PAGE < list->n
                               ? first + FSP_BOARD_INSPECTIONS_PAGE
                               : list->n;

    if (first >= list->n) {
        fsp_board_para(html, "No inspection is like that.");
        return;
    }
    fsp_board_para(
            html, "Inspections %zu to %zu of %zu, the newest first.", first + 1, end, list->n);
    fsp_board_table_begin(&table, html,
            "Inspections; the time leads to the entry, the command writes the evidence into a "
            "folder",
            columns, COUNT(columns));
    for (size_t i = first; i < end; i++)
        row(&table, page, &list->items[i]);
    fsp_board_table_end(&table);
    if (ask->page > 1)
        page_links(html, ask, ask->page - 1);
    if (end < list->n)
        page_links(html, ask, ask->page + 1);
}

void
fsp_board_inspections(const struct fsp_board_page *page,
        const struct fsp_board_inspections_ask *ask, const struct fsp_fleet_rig *rig,
        struct fsp_buf *buf)
{
    struct list list = {.items = NULL};
    struct fsp_html html;
    size_t held = 0;
    size_t known = 0;

    for (size_t i = 0; i < page->fleet->n; i++) {
        const struct fsp_fleet_rig *one = rig != NULL ? rig : page->fleet->rigs[i];

        if (rig != NULL && i > 0)
            break;
        collect(&list, one, ask);
        held += fsp_fold_inspections(one->fold);
        for (size_t k = 0; fsp_fold_inspection(one->fold, k) != NULL; k++)
            known++;
    }
    if (list.no_memory)
        buf->rc = FSP_ENOMEM;
    if (list.n > 1)
        qsort(list.items, list.n, sizeof(list.items[0]), by_time);
    fsp_html_begin(&html, buf);
    fsp_board_begin(&html, page);
    fsp_board_caution(&html);
    filter(&html, ask);
    if (known < held)
        fsp_board_para(&html,
                "%zu inspections are held; the newest %zu of them are listed and filtered "
                "here. All of one rig: name the rig, or farspool-office rig NAME --csv.",
                held, known);
    rows(&html, page, ask, &list);
    fsp_board_para(&html,
            "A decision to cut, replace or take out of service counts at once, whoever entered "
            "it, signed or not.");
    fsp_board_end(&html);
    fsp_html_end(&html);
    free(list.items);
}
