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

static void
clear_item(struct item *item)
{
    if (item->own != NULL) {
        fsp_record_free(item->own);
        item->own = NULL;
        item->record = item->original;
        fsp_ledger_decode(item);
    }
    item->voided = false;
    item->touched = false;
    item->old = false;
    item->covered = false;
    item->target = NULL;
    item->amends = NULL;
    item->amends_last = NULL;
    item->next_amend = NULL;
}

/* Back to what was added: amended copies freed, links and marks cleared. */
static void
clear_fold(struct fsp_ledger *ledger)
{
    size_t i;

    for (i = 0; i < ledger->n_items; i++)
        clear_item(&ledger->items[i]);
    for (i = 0; i < ledger->n_texts; i++)
        free(ledger->texts[i]);
    ledger->n_texts = 0;
    ledger->n_notes = 0;
    ledger->n_early = 0;
    ledger->n_moves = 0;
    ledger->held = false;
    free(ledger->shown);
    ledger->shown = NULL;
    ledger->n_shown = 0;
    free(ledger->order);
    ledger->order = NULL;
    ledger->n_order = 0;
    memset(&ledger->view, 0, sizeof(ledger->view));
    ledger->rc = FSP_OK;
}

/* Begin where the state restored ends, or at nothing. */
static void
begin_fold(struct fsp_ledger *ledger)
{
    const struct base *base = &ledger->base;
    void *cuts = ledger->cuts, *notes = (void *)ledger->notes, *early = ledger->early;

    ledger->fold = base->fold;
    ledger->tally = base->tally;
    ledger->arrived = base->arrived;
    ledger->notes_dropped = base->notes_dropped;
    if (fsp_mem_grow(&cuts, &ledger->cap_cuts, base->n_cuts, sizeof(*ledger->cuts)) != 0 ||
            fsp_mem_grow(&notes, &ledger->cap_notes, base->n_notes, sizeof(char *)) != 0 ||
            fsp_mem_grow(&early, &ledger->cap_early, base->n_early, sizeof(*ledger->early)) !=
                    0)
        ledger->rc = FSP_ENOMEM;
    ledger->cuts = cuts;
    ledger->notes = (const char **)notes;
    ledger->early = early;
    if (ledger->rc != FSP_OK || !base->set)
        return;
    if (base->n_cuts > 0)
        memcpy(ledger->cuts, base->cuts, base->n_cuts * sizeof(*ledger->cuts));
    if (base->n_notes > 0)
        memcpy((void *)ledger->notes, (const void *)base->notes,
                base->n_notes * sizeof(char *));
    if (base->n_early > 0)
        memcpy(ledger->early, base->early, base->n_early * sizeof(*ledger->early));
    ledger->view.cuts = base->n_cuts;
    ledger->n_notes = base->n_notes;
    ledger->n_early = base->n_early;
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
    free(ledger->early);
    free(ledger->cuts);
    fsp_ledger_base_free(&ledger->base);
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
    item->added_at_s = item->at_s;
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

static void
push_early(struct fsp_ledger *ledger, const struct item *item, const char *text)
{
    void *early = ledger->early;
    struct note *note;

    if (fsp_mem_grow(&early, &ledger->cap_early, ledger->n_early + 1, sizeof(*note)) != 0) {
        ledger->rc = FSP_ENOMEM;
        return;
    }
    ledger->early = early;
    note = &ledger->early[ledger->n_early++];
    *note = (struct note){text, item, 0, item->log, item->index};
}

static void
push_note(struct fsp_ledger *ledger, const char *text)
{
    void *notes = (void *)ledger->notes;

    if (fsp_mem_grow(&notes, &ledger->cap_notes, ledger->n_notes + 1, sizeof(char *)) != 0) {
        ledger->rc = FSP_ENOMEM;
        return;
    }
    ledger->notes = (const char **)notes;
    ledger->notes[ledger->n_notes++] = text;
}

void
fsp_ledger_say(struct fsp_ledger *ledger, const struct item *item, const char *fmt, ...)
{
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
    if (ledger->amending && item != NULL)
        push_early(ledger, item, kept);
    else
        push_note(ledger, kept);
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
    return !item->voided && (item->kind == ITEM_SLIP || item->kind == ITEM_CUT);
}

static bool
is_work(const struct item *item, enum when when)
{
    return !item->voided && item->kind == ITEM_WORK && item->u.work.when == when;
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
        if (is_work(list[i], WHEN_BEFORE)) {
            last += i > last ? 1 : 0;
            move(list, i, first++);
        }
    }
    for (i = last; i-- > 0;) {
        if (is_work(list[i], WHEN_AFTER))
            move(list, i, last--);
    }
    for (i = 0; i < n; i++) {
        if (is_work(list[i], WHEN_UNSAID))
            fsp_ledger_say(ledger, list[i],
                    "work shares a minute with a slip or cut and does not say before or after; "
                    "taken in the order of the log");
    }
}

int64_t
fsp_ledger_minute(int64_t at_s)
{
    int64_t minute = at_s / 60;

    return at_s % 60 < 0 ? minute - 1 : minute;
}

static int64_t
minute_of(const struct item *item)
{
    return fsp_ledger_minute(item->at_s);
}

static void
arrange(struct fsp_ledger *ledger, struct item **list, size_t n)
{
    while (n > 1) {
        size_t part = n < MINUTE_MAX ? n : MINUTE_MAX, i;
        bool marked = false;

        for (i = 0; i < part; i++)
            marked = marked || is_slip_or_cut(list[i]);
        if (marked && part > 1)
            arrange_minute(ledger, list, part);
        list += part;
        n -= part;
    }
}

/* The ascending run is kept, what breaks it is sorted apart, both are merged: an entry that comes late
 * costs no sort of the rest. */
enum fsp_rc
fsp_ledger_sort(
        struct item **list, size_t n, int (*compare)(const void *left, const void *right))
{
    struct item **strays, **kept;
    size_t n_strays = 0, n_kept = 0, i, from = 0, at = 0;

    for (i = 1; i < n && compare(&list[i - 1], &list[i]) <= 0; i++)
        ;
    if (i >= n)
        return FSP_OK;
    strays = fsp_mem_array(2 * n, sizeof(struct item *));
    if (strays == NULL)
        return FSP_ENOMEM;
    kept = strays + n;
    for (i = 0; i < n; i++) {
        if (n_kept == 0 || compare(&kept[n_kept - 1], &list[i]) <= 0)
            kept[n_kept++] = list[i];
        else
            strays[n_strays++] = list[i];
    }
    qsort(strays, n_strays, sizeof(struct item *), compare);
    for (i = 0; i < n; i++) {
        bool stray = at < n_strays && (from == n_kept || compare(&strays[at], &kept[from]) < 0);

        list[i] = stray ? strays[at++] : kept[from++];
    }
    free(strays);
    return FSP_OK;
}

void
fsp_ledger_on_step(struct fsp_ledger *ledger, fsp_ledger_step_fn fn, void *ctx)
{
    ledger->on_step = fn;
    ledger->on_step_ctx = ctx;
}

/* Only work adds to the counts; whatever else moves them (a cut, a reel) begins them anew. */
static void
apply_and_tell(struct fsp_ledger *ledger, const struct item *item)
{
    const struct fold *fold = &ledger->fold;
    const double line_j = fold->count.line_j;
    const double served_j = fold->count.served_j;
    struct fsp_ledger_step step = {.log = item->log,
            .index = item->index,
            .at_s = item->at_s,
            .record = item->kind == ITEM_UNREADABLE ? NULL : item->record};

    fsp_ledger_apply(ledger, item);
    if (item->kind == ITEM_WORK) {
        step.work_j = fold->count.line_j - line_j;
        step.served_j = fold->count.served_j - served_j;
    }
    step.since_cut_j = fold->count.served_j;
    step.goal_j = fsp_ledger_goal(fold);
    step.hung = fold->line.hung;
    step.reel = fold->line.reel;
    step.well = fold->well;
    step.formation = fold->formation;
    ledger->on_step(ledger->on_step_ctx, &step);
}

static void
step(struct fsp_ledger *ledger, const struct item *item)
{
    if (item->kind != ITEM_AMEND && item->touched)
        ledger->tally.amended++;
    if (item->voided)
        return;
    if (item->kind == ITEM_UNREADABLE)
        ledger->tally.unreadable++;
    ledger->tally.last_at_s = item->at_s;
    if (ledger->on_step == NULL)
        fsp_ledger_apply(ledger, item);
    else
        apply_and_tell(ledger, item);
}

/* Minute by minute; a minute that holds a cut is a place where a state may be stored. */
static enum fsp_rc
fold_all(struct fsp_ledger *ledger, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    size_t i = 0;

    ledger->folding = true;
    while (i < ledger->n_order && rc == FSP_OK) {
        int64_t minute = minute_of(ledger->order[i]);
        bool cut = false;
        size_t end = i + 1;

        while (end < ledger->n_order && minute_of(ledger->order[end]) == minute)
            end++;
        arrange(ledger, &ledger->order[i], end - i);
        for (; i < end; i++) {
            step(ledger, ledger->order[i]);
            cut = cut || (!ledger->order[i]->voided && ledger->order[i]->kind == ITEM_CUT);
        }
        ledger->tally.minute = minute;
        ledger->tally.begun = true;
        if (cut && ledger->on_cut != NULL && ledger->rc == FSP_OK)
            rc = ledger->on_cut(ledger->on_cut_ctx, ledger, err);
    }
    ledger->folding = false;
    return rc;
}

enum fsp_rc
fsp_ledger_fold(struct fsp_ledger *ledger, int64_t as_of_s, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    clear_fold(ledger);
    begin_fold(ledger);
    if (ledger->rc == FSP_OK) {
        ledger->amending = true;
        fsp_ledger_amend(ledger);
        ledger->amending = false;
    }
    if (ledger->rc == FSP_OK)
        ledger->rc = fsp_ledger_sort(ledger->order, ledger->n_order, by_time);
    if (ledger->rc == FSP_OK) {
        rc = fold_all(ledger, err);
        fsp_ledger_close(ledger, as_of_s);
    }
    if (ledger->rc == FSP_EAGAIN)
        return fsp_err_set(err, FSP_EAGAIN,
                "the stored state is too young for what is new: take an older one, or fold "
                "all");
    if (ledger->rc != FSP_OK)
        return fsp_err_set(err, ledger->rc, "ledger of %zu entries", ledger->n_items);
    return rc;
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
    return i < ledger->n_shown ? ledger->shown[i] : NULL;
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
            "multiplier 1 of block moves (the work does not say): common practice, no source",
    };
    size_t bit;

    for (bit = 0; bit < sizeof(texts) / sizeof(texts[0]); bit++) {
        if ((ledger->assumed >> bit & 1U) == 0)
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
