#include "office/board_history.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "office/chain.h"
#include "record/check.h"

static const char *const string_fields[FSP_HISTORY_TEXTS] = {
        "pipe", "stand", "bha-weight", "bha-length", "mud"};
static const char *const program_fields[FSP_HISTORY_TEXTS] = {
        "cut", "first-goal", "later-goal", NULL, "basis", "approved", "credit-above"};

/* --- growing --------------------------------------------------------------------------------- */

/* NULL when out of memory, which sticks. */
static void *
grow(struct fsp_history *history, void **list, size_t *cap, size_t *n, size_t size)
{
    if (history->rc == FSP_OK && fsp_mem_grow(list, cap, *n + 1, size) != 0)
        history->rc = FSP_ENOMEM;
    if (history->rc != FSP_OK)
        return NULL;
    return (char *)*list + size * (*n)++;
}

static const char *
keep(struct fsp_history *history, const char *text)
{
    void *list = history->kept;
    char *copy;
    char **place;

    if (text == NULL || history->rc != FSP_OK)
        return NULL;
    copy = fsp_mem_text(text, strlen(text));
    if (copy == NULL) {
        history->rc = FSP_ENOMEM;
        return NULL;
    }
    place = grow(history, &list, &history->cap_kept, &history->n_kept, sizeof(*place));
    history->kept = list;
    if (place == NULL) {
        free(copy);
        return NULL;
    }
    *place = copy;
    return copy;
}

/* --- telling --------------------------------------------------------------------------------- */

static bool
same(const char *a, const char *b)
{
    return a == b || (a != NULL && b != NULL && strcmp(a, b) == 0);
}

static bool
is_kind(const struct fsp_ledger_step *step, const char *kind)
{
    const char *is = step->record == NULL ? NULL : fsp_record_text(step->record, "kind");

    return is != NULL && strcmp(is, kind) == 0;
}

static void
add_point(struct fsp_history *history, const struct fsp_ledger_step *step, bool cut)
{
    struct fsp_history_point *last =
            history->n_points == 0 ? NULL : &history->points[history->n_points - 1];
    void *list = history->points;

    if (last == NULL || last->cut || cut ||
            last->at_s / FSP_S_PER_DAY != step->at_s / FSP_S_PER_DAY) {
        last = grow(history, &list, &history->cap_points, &history->n_points, sizeof(*last));
        history->points = list;
    }
    if (last == NULL)
        return;
    *last = (struct fsp_history_point){
            step->at_s, step->log, step->index, step->since_cut_j, step->goal_j, cut};
}

static struct fsp_history_well *
well_of(struct fsp_history *history, const struct fsp_ledger_step *step)
{
    struct fsp_history_well *last =
            history->n_wells == 0 ? NULL : &history->wells[history->n_wells - 1];
    void *list = history->wells;

    if (last != NULL && same(last->name, step->well) && same(last->formation, step->formation))
        return last;
    last = grow(history, &list, &history->cap_wells, &history->n_wells, sizeof(*last));
    history->wells = list;
    if (last != NULL)
        *last = (struct fsp_history_well){.name = keep(history, step->well),
                .formation = keep(history, step->formation),
                .from_s = step->at_s};
    return last;
}

static void
fill_texts(struct fsp_history *history, struct fsp_history_entry *entry,
        const struct fsp_record *record, const char *const *fields)
{
    for (size_t i = 0; i < FSP_HISTORY_TEXTS; i++) {
        int64_t number;
        char text[24];

        if (fields[i] != NULL) {
            entry->texts[i] = keep(history, fsp_record_text(record, fields[i]));
        } else if (fields == program_fields && fsp_record_int(record, "slips", &number)) {
            (void)snprintf(text, sizeof(text), "%lld", (long long)number);
            entry->texts[i] = keep(history, text);
        }
    }
}

static void
add_entry(struct fsp_history *history, const struct fsp_ledger_step *step, bool program)
{
    void *list = program ? history->programs : history->strings;
    struct fsp_history_entry *entry =
            grow(history, &list, program ? &history->cap_programs : &history->cap_strings,
                    program ? &history->n_programs : &history->n_strings, sizeof(*entry));

    if (program)
        history->programs = list;
    else
        history->strings = list;
    if (entry == NULL)
        return;
    *entry = (struct fsp_history_entry){
            .log = step->log, .index = step->index, .at_s = step->at_s};
    fill_texts(history, entry, step->record, program ? program_fields : string_fields);
}

static void
begin(struct fsp_history *history)
{
    history->n_points = history->n_wells = history->n_strings = history->n_programs = 0;
}

static void
tell(void *ctx, const struct fsp_ledger_step *step)
{
    struct fsp_history *history = ctx;
    struct fsp_history_well *well;

    if (step == NULL) {
        begin(history);
        return;
    }
    if (step->at_s < history->since_s)
        return;
    if (is_kind(step, "drill-string"))
        add_entry(history, step, false);
    else if (is_kind(step, "program"))
        add_entry(history, step, true);
    if (is_kind(step, "cut")) {
        add_point(history, step, true); /* what was served at it comes from its row */
    } else if (is_kind(step, "work") || is_kind(step, "reel")) {
        add_point(history, step, false);
    } else {
        return;
    }
    well = is_kind(step, "reel") ? NULL : well_of(history, step);
    if (well == NULL)
        return;
    well->to_s = step->at_s;
    well->work_j += step->work_j;
    well->served_j += step->served_j;
    well->entries += is_kind(step, "work") ? 1 : 0;
}

/* --- what the cuts know ---------------------------------------------------------------------- */

static struct fsp_history_entry *
find_program(struct fsp_history *history, uint32_t log, uint64_t index)
{
    for (size_t i = 0; i < history->n_programs; i++)
        if (history->programs[i].log == log && history->programs[i].index == index)
            return &history->programs[i];
    return NULL;
}

/* A programme that was entered before since_s, as it was entered. */
static enum fsp_rc
read_program(struct fsp_history *history, struct fsp_shelf *shelf,
        const struct fsp_fold_log *log, const struct fsp_cut_row *cut, struct fsp_err *err)
{
    struct fsp_ledger_step step = {.log = cut->program_log, .index = cut->program_index};
    struct fsp_record *record = NULL;
    struct fsp_buf bytes;
    enum fsp_rc rc;

    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    rc = shelf->ops->entry(shelf->ctx, log->id, cut->program_index, &bytes, err);
    if (rc == FSP_OK)
        rc = fsp_check_stored(bytes.data, bytes.len, &record, err);
    if (rc == FSP_OK) {
        step.record = record;
        (void)fsp_record_time(record, "at", &step.at_s);
        add_entry(history, &step, true);
        rc = history->rc;
    }
    fsp_record_free(record);
    fsp_buf_fini(&bytes);
    return rc;
}

static int
by_time(const void *left, const void *right)
{
    const struct fsp_history_entry *a = left;
    const struct fsp_history_entry *b = right;

    return (a->at_s > b->at_s) - (a->at_s < b->at_s);
}

static void
fill_point(struct fsp_history *history, const struct fsp_cut_row *cut)
{
    for (size_t i = history->n_points; i-- > 0;) {
        struct fsp_history_point *point = &history->points[i];

        if (point->at_s < cut->at_s)
            return;
        if (point->cut && point->log == cut->log && point->index == cut->index) {
            point->since_cut_j = cut->served_j;
            point->goal_j = cut->goal_j;
            return;
        }
    }
}

static void
fill_well(struct fsp_history *history, const struct fsp_cut_row *cut)
{
    for (size_t w = 0; w < history->n_wells; w++) {
        struct fsp_history_well *well = &history->wells[w];

        if (cut->at_s >= well->from_s && cut->at_s <= well->to_s &&
                same(cut->well, well->name)) {
            well->cuts++;
            well->cut_m += cut->length_m;
            return;
        }
    }
}

static enum fsp_rc
look_at_cuts(struct fsp_history *history, struct fsp_shelf *shelf,
        const struct fsp_fold_log *logs, size_t n_logs, struct fsp_err *err)
{
    const struct fsp_ledger *ledger = fsp_fold_ledger(history->fold);
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < fsp_ledger_peek(ledger)->cuts; i++) {
        const struct fsp_cut_row *cut = fsp_ledger_cut(ledger, i);
        struct fsp_history_entry *program;

        if (cut->at_s >= history->since_s) {
            fill_point(history, cut);
            fill_well(history, cut);
        }
        if (!cut->has_program || logs == NULL || cut->program_log >= n_logs)
            continue;
        program = find_program(history, cut->program_log, cut->program_index);
        if (program == NULL)
            rc = read_program(history, shelf, &logs[cut->program_log], cut, err);
        program = find_program(history, cut->program_log, cut->program_index);
        if (program != NULL)
            program->cuts++;
    }
    if (history->n_programs > 1)
        qsort(history->programs, history->n_programs, sizeof(history->programs[0]), by_time);
    return rc;
}

/* --- loading --------------------------------------------------------------------------------- */

int64_t
fsp_history_since(const struct fsp_ledger *ledger, size_t cuts)
{
    const size_t n = fsp_ledger_peek(ledger)->cuts;

    return n < cuts || cuts == 0 ? INT64_MIN : fsp_ledger_cut(ledger, n - cuts)->at_s;
}

static enum fsp_rc
read_logs(struct fsp_shelf *shelf, const char *rig, struct fsp_fold_log **out, size_t *n,
        struct fsp_err *err)
{
    struct fsp_chain_log *chain = NULL;
    struct fsp_fold_log *logs = NULL;
    enum fsp_rc rc = fsp_chain_load(shelf, rig, &chain, n, err);

    *out = NULL;
    if (rc != FSP_OK)
        return rc;
    if (*n == 0) {
        free(chain);
        return fsp_err_set(err, FSP_ENOTFOUND, "%s: no log", rig);
    }
    logs = fsp_mem_array(*n, sizeof(*logs));
    if (logs == NULL) {
        free(chain);
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    }
    for (size_t i = 0; rc == FSP_OK && i < *n; i++) {
        struct fsp_range range;

        rc = shelf->ops->tip(shelf->ctx, chain[i].log.id, &range, err);
        if (rc == FSP_OK)
            logs[i] = (struct fsp_fold_log){chain[i].log.id, range.size};
    }
    free(chain);
    *out = logs;
    return rc;
}

static enum fsp_rc
load(struct fsp_shelf *shelf, const struct fsp_history_about *about,
        struct fsp_history *history, struct fsp_err *err)
{
    struct fsp_fold_about what = {.fleet = about->fleet,
            .rig = about->rig,
            .keys = about->keys,
            .n_keys = about->n_keys,
            .as_of_s = about->as_of_s,
            .inspections = about->inspections,
            .worth = SIZE_MAX,
            .on_step = tell,
            .on_step_ctx = history,
            .reach = true,
            .since_s = about->since_s};
    struct fsp_fold_log *logs = NULL;
    struct fsp_fold_store store;
    enum fsp_rc rc = read_logs(shelf, about->rig, &logs, &what.n_logs, err);

    what.logs = logs;
    shelf->ops->fold_store(shelf->ctx, about->rig, &store);
    if (rc == FSP_OK)
        rc = fsp_fold_new(&store, &what, &history->fold, err);
    if (rc == FSP_OK)
        rc = look_at_cuts(history, shelf, logs, what.n_logs, err);
    if (rc == FSP_OK && history->rc != FSP_OK)
        rc = fsp_err_set(err, history->rc, "out of memory");
    free(logs);
    return rc;
}

enum fsp_rc
fsp_history_load(struct fsp_shelf *shelf, const struct fsp_history_about *about,
        struct fsp_history **out, struct fsp_err *err)
{
    struct fsp_history *history = calloc(1, sizeof(*history));
    enum fsp_rc rc;

    *out = NULL;
    if (history == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    history->since_s = about->since_s;
    rc = shelf->ops->begin(shelf->ctx, false, err);
    if (rc == FSP_OK) {
        rc = load(shelf, about, history, err);
        shelf->ops->rollback(shelf->ctx); /* nothing was written */
    }
    if (rc != FSP_OK) {
        fsp_history_free(history);
        return fsp_err_wrap(err, rc, "%s", about->rig);
    }
    *out = history;
    return FSP_OK;
}

void
fsp_history_free(struct fsp_history *history)
{
    if (history == NULL)
        return;
    fsp_fold_free(history->fold);
    for (size_t i = 0; i < history->n_kept; i++)
        free(history->kept[i]);
    free((void *)history->kept);
    free(history->points);
    free(history->wells);
    free(history->strings);
    free(history->programs);
    free(history);
}
