#include "line/ledger.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "line/ledger_priv.h"

#define TEXT_MAX 1024

enum fsp_rc
fsp_ledger_new(struct fsp_ledger **out, struct fsp_err *err)
{
    *out = fsp_mem_array(1, sizeof(**out));
    if (*out == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "ledger");
    return FSP_OK;
}

/* Back to what was added: amended copies freed, links and marks cleared. */
static void
clear_fold(struct fsp_ledger *ledger)
{
    size_t i;

    for (i = 0; i < ledger->n_items; i++) {
        struct item *item = &ledger->items[i];

        if (item->own != NULL) {
            fsp_record_free(item->own);
            item->own = NULL;
            item->record = item->original;
            fsp_ledger_decode(item);
        }
        item->voided = false;
        item->touched = false;
        item->amends = NULL;
        item->amends_last = NULL;
        item->next_amend = NULL;
    }
    for (i = 0; i < ledger->n_texts; i++)
        free(ledger->texts[i]);
    ledger->n_texts = 0;
    ledger->n_notes = 0;
    ledger->notes_from = 0;
    free(ledger->order);
    ledger->order = NULL;
    ledger->n_order = 0;
    memset(&ledger->fold, 0, sizeof(ledger->fold));
    memset(&ledger->view, 0, sizeof(ledger->view));
    ledger->rc = FSP_OK;
}

void
fsp_ledger_free(struct fsp_ledger *ledger)
{
    if (ledger == NULL)
        return;
    clear_fold(ledger);
    free(ledger->items);
    free(ledger->texts);
    free(ledger->notes);
    free(ledger->cuts);
    free(ledger);
}

enum fsp_rc
fsp_ledger_add(
        struct fsp_ledger *ledger, const struct fsp_ledger_entry *entry, struct fsp_err *err)
{
    void *items = ledger->items;
    struct item *item;

    if (fsp_mem_grow(&items, &ledger->cap_items, ledger->n_items + 1, sizeof(*item)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "ledger of %zu entries", ledger->n_items);
    ledger->items = items;
    item = &ledger->items[ledger->n_items];
    memset(item, 0, sizeof(*item));
    item->record = entry->record;
    item->original = entry->record;
    item->log = entry->log;
    item->index = entry->index;
    item->sig = entry->sig;
    memcpy(item->leaf, entry->leaf, sizeof(item->leaf));
    fsp_ledger_decode(item);
    ledger->n_items++;
    return FSP_OK;
}

const char *
fsp_ledger_keep(struct fsp_ledger *ledger, const char *fmt, ...)
{
    void *texts = ledger->texts;
    char line[TEXT_MAX];
    char *copy;
    va_list args;

    va_start(args, fmt);
    (void)vsnprintf(line, sizeof(line), fmt, args);
    va_end(args);
    copy = fsp_mem_text(line, strlen(line));
    if (copy == NULL || fsp_mem_grow(&texts, &ledger->cap_texts, ledger->n_texts + 1,
                                sizeof(char *)) != 0) {
        free(copy);
        ledger->rc = FSP_ENOMEM;
        return "";
    }
    ledger->texts = texts;
    ledger->texts[ledger->n_texts++] = copy;
    return copy;
}

void
fsp_ledger_say(struct fsp_ledger *ledger, const struct item *item, const char *fmt, ...)
{
    void *notes = (void *)ledger->notes;
    char line[TEXT_MAX], at[FSP_TIME_TEXT_LEN + 1], log[32] = "";
    const char *kept;
    va_list args;

    if (ledger->mute)
        return;
    va_start(args, fmt);
    (void)vsnprintf(line, sizeof(line), fmt, args);
    va_end(args);
    if (item == NULL) {
        kept = fsp_ledger_keep(ledger, "%s", line);
    } else {
        if (item->log > 0)
            (void)snprintf(log, sizeof(log), " of log %u", (unsigned)item->log);
        fsp_time_text(item->has_at ? item->at_s : 0, at);
        kept = fsp_ledger_keep(ledger, "%s entry %llu%s: %s", item->has_at ? at : "(no time)",
                (unsigned long long)item->index, log, line);
    }
    if (fsp_mem_grow(&notes, &ledger->cap_notes, ledger->n_notes + 1, sizeof(char *)) != 0) {
        ledger->rc = FSP_ENOMEM;
        return;
    }
    ledger->notes = (const char **)notes;
    ledger->notes[ledger->n_notes++] = kept;
}

enum fsp_units
fsp_ledger_units(const struct fsp_ledger *ledger)
{
    return ledger->fold.rig.metric ? FSP_UNITS_METRIC : FSP_UNITS_FIELD;
}

/* at, tour, row, log, index, leaf: a total order. */
static int
by_time(const void *left, const void *right)
{
    const struct item *a = *(struct item *const *)left, *b = *(struct item *const *)right;
    int order = (a->at_s > b->at_s) - (a->at_s < b->at_s);

    if (order == 0)
        order = strcmp(a->tour == NULL ? "" : a->tour, b->tour == NULL ? "" : b->tour);
    if (order == 0)
        order = (a->row > b->row) - (a->row < b->row);
    if (order == 0)
        order = (a->log > b->log) - (a->log < b->log);
    if (order == 0)
        order = (a->index > b->index) - (a->index < b->index);
    return order != 0 ? order : memcmp(a->leaf, b->leaf, sizeof(a->leaf));
}

static bool
is_slip_or_cut(const struct item *item)
{
    return item->kind == ITEM_SLIP || item->kind == ITEM_CUT;
}

/* Move item `from` to position `to`, those between shift by one. */
static void
move(struct item **list, size_t from, size_t to)
{
    struct item *item = list[from];

    if (from < to)
        memmove(&list[from], &list[from + 1], (to - from) * sizeof(struct item *));
    else
        memmove(&list[to + 1], &list[to], (from - to) * sizeof(struct item *));
    list[to] = item;
}

/* Within one minute: work that says `before` goes before the first slip or cut, `after` behind
 * the last; work that says neither is told. n is a minute's records: small, but a hostile log may
 * fill a minute, so only the first MINUTE_MAX are looked at. */
#define MINUTE_MAX 512

static void
arrange_minute(struct fsp_ledger *ledger, struct item **list, size_t n)
{
    size_t first = n, last = 0, i;

    for (i = 0; i < n; i++) {
        if (is_slip_or_cut(list[i])) {
            first = i < first ? i : first;
            last = i;
        }
    }
    if (first == n)
        return;
    for (i = first + 1; i < n; i++) {
        if (list[i]->kind == ITEM_WORK && list[i]->u.work.when == WHEN_BEFORE) {
            last += i > last ? 1 : 0;
            move(list, i, first++);
        }
    }
    for (i = last; i-- > 0;) {
        if (list[i]->kind == ITEM_WORK && list[i]->u.work.when == WHEN_AFTER)
            move(list, i, last--);
    }
    for (i = 0; i < n; i++) {
        if (list[i]->kind == ITEM_WORK && list[i]->u.work.when == WHEN_UNSAID)
            fsp_ledger_say(ledger, list[i],
                    "work shares a minute with a slip or cut and does not say before or after; "
                    "taken in the order of the log");
    }
}

static int64_t
minute_of(const struct item *item)
{
    int64_t minute = item->at_s / 60;

    return item->at_s % 60 < 0 ? minute - 1 : minute;
}

static void
arrange(struct fsp_ledger *ledger)
{
    size_t begin = 0, end;

    while (begin < ledger->n_order) {
        bool marked = is_slip_or_cut(ledger->order[begin]);

        for (end = begin + 1; end < ledger->n_order && end - begin < MINUTE_MAX &&
                              minute_of(ledger->order[end]) == minute_of(ledger->order[begin]);
                end++)
            marked = marked || is_slip_or_cut(ledger->order[end]);
        if (marked && end - begin > 1)
            arrange_minute(ledger, &ledger->order[begin], end - begin);
        begin = end;
    }
}

enum fsp_rc
fsp_ledger_fold(struct fsp_ledger *ledger, int64_t as_of_s, struct fsp_err *err)
{
    size_t i;

    clear_fold(ledger);
    fsp_ledger_amend(ledger);
    if (ledger->rc == FSP_OK) {
        qsort(ledger->order, ledger->n_order, sizeof(struct item *), by_time);
        arrange(ledger);
        for (i = 0; i < ledger->n_order; i++)
            fsp_ledger_apply(ledger, ledger->order[i]);
        fsp_ledger_close(ledger, as_of_s);
    }
    if (ledger->rc != FSP_OK)
        return fsp_err_set(err, ledger->rc, "ledger of %zu entries", ledger->n_items);
    return FSP_OK;
}

const struct fsp_ledger_view *
fsp_ledger_peek(const struct fsp_ledger *ledger)
{
    return &ledger->view;
}

const struct fsp_cut_row *
fsp_ledger_cut(const struct fsp_ledger *ledger, size_t i)
{
    return i < ledger->view.cuts ? &ledger->cuts[i] : NULL;
}

const char *
fsp_ledger_note(const struct fsp_ledger *ledger, size_t i)
{
    if (i >= ledger->n_notes - ledger->notes_from)
        return NULL;
    return ledger->notes[ledger->notes_from + i];
}

const char *
fsp_ledger_assumed(const struct fsp_ledger *ledger, size_t i)
{
    static const char *const texts[] = {
            "bearing roller (the rig's particulars do not say)",
            "drive kelly (neither the work nor the rig's particulars say)",
            "reams 1 (the work does not say)",
            "passes 1 (the work does not say)",
            "hookload: string or casing at its deepest point plus block (estimated)",
            "slips 1 a cut (the programme does not say)",
            "design factor of work without a hook load: the lowest since the cut, else 5",
            "formation normal (for the suggested goal)",
    };
    size_t bit;

    for (bit = 0; bit < sizeof(texts) / sizeof(texts[0]); bit++) {
        if ((ledger->fold.assumed >> bit & 1U) == 0)
            continue;
        if (i-- == 0)
            return texts[bit];
    }
    return NULL;
}

const char *
fsp_due_text(enum fsp_due due)
{
    switch (due) {
    case FSP_DUE_UNKNOWN:
        return "unknown";
    case FSP_DUE_NOT_YET:
        return "not yet";
    case FSP_DUE_SOON:
        return "soon";
    case FSP_DUE_NOW:
        return "due";
    case FSP_DUE_OVERDUE:
        return "overdue";
    case FSP_DUE_OUT_OF_SERVICE:
        return "out of service";
    }
    return "?";
}
