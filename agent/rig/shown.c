#include "rig/shown.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "fold/fold_db.h"
#include "line/ledger.h"
#include "line/shown.h"
#include "record/kind.h"
#include "rig/account.h"

/* A store that has the new records behind the entries of its last log. */
struct trial {
    struct fsp_fold_store store, real;
    int64_t log;      /* the last one */
    uint32_t ordinal; /* in the chain */
    uint64_t size;    /* of its real entries */
    struct fsp_record *const *records;
    size_t n;
    struct fsp_shown *shown; /* NULL: nobody asks */
};

/* ---- the store ---- */

static enum fsp_rc
visit_new(const struct trial *trial, uint64_t from, uint64_t to, fsp_fold_visit *visit,
        void *visit_ctx, struct fsp_err *err)
{
    struct fsp_buf bytes;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    for (uint64_t i = from; rc == FSP_OK && i < to; i++) {
        fsp_buf_reset(&bytes);
        fsp_record_write(trial->records[i - trial->size], &bytes);
        rc = fsp_buf_check(&bytes, "a record", err);
        if (rc == FSP_OK)
            rc = visit(visit_ctx, i, bytes.data, bytes.len, err);
    }
    fsp_buf_fini(&bytes);
    return rc;
}

static enum fsp_rc
scan(void *ctx, int64_t log, const uint64_t within[2], fsp_fold_visit *visit, void *visit_ctx,
        struct fsp_err *err)
{
    const struct trial *trial = ctx;
    bool last = log == trial->log;
    uint64_t real[2] = {within[0], within[1]};
    enum fsp_rc rc = FSP_OK;

    if (last && real[1] > trial->size)
        real[1] = trial->size;
    if (real[0] < real[1])
        rc = trial->real.scan(trial->real.ctx, log, real, visit, visit_ctx, err);
    if (rc == FSP_OK && last && within[1] > trial->size)
        rc = visit_new(trial, within[0] > trial->size ? within[0] : trial->size, within[1],
                visit, visit_ctx, err);
    return rc;
}

static enum fsp_rc
marks(void *ctx, const char *owner, struct fsp_buf *out, struct fsp_err *err)
{
    const struct trial *trial = ctx;

    return trial->real.marks(trial->real.ctx, owner, out, err);
}

static enum fsp_rc
state(void *ctx, const char *owner, int64_t cuts, struct fsp_buf *out, struct fsp_err *err)
{
    const struct trial *trial = ctx;

    return trial->real.state(trial->real.ctx, owner, cuts, out, err);
}

static enum fsp_rc
states(void *ctx, const char *owner, fsp_fold_each *each, void *each_ctx, struct fsp_err *err)
{
    const struct trial *trial = ctx;

    return trial->real.states(trial->real.ctx, owner, each, each_ctx, err);
}

/* ---- what was reckoned, into the record ---- */

/* A figure with 2 decimals, when the field may hold it. */
static void
put(struct fsp_record *record, const char *name, double value, double si)
{
    const struct fsp_field *field = fsp_kind_field(fsp_kind_find("work"), name);
    char text[384];

    if (!isfinite(value) || si < field->least || si > field->most)
        return;
    (void)snprintf(text, sizeof(text), "%.2f", value);
    if (fsp_record_set_text(record, name, text, NULL) != FSP_OK)
        return; /* without it the entry is right too */
}

/* The formula's steps, one a line. */
static void
say_formula(const struct fsp_ledger_work *work, struct fsp_buf *text)
{
    struct fsp_buf formula;
    const char *step, *end;

    fsp_buf_init(&formula, text->max);
    fsp_work_formula(work->in, work->out, work->units, &formula);
    for (step = fsp_buf_peek(&formula); (end = strstr(step, "; ")) != NULL; step = end + 2) {
        fsp_buf_add(text, step, (size_t)(end - step));
        fsp_buf_add_byte(text, '\n');
    }
    fsp_buf_printf(text, "%s\n", step);
    fsp_buf_fini(&formula);
}

static void
say(const struct fsp_ledger_work *work, struct fsp_buf *text)
{
    fsp_buf_reset(text);
    if (work->why != NULL) {
        fsp_buf_printf(text, "not counted: %s\n", work->why);
        return;
    }
    say_formula(work, text);
    if (work->factor > 0)
        fsp_buf_printf(text, "lowest design factor on the fast line: %.2f\n", work->factor);
}

/* The fold may be made more than once; the last one counts. */
static void
look(void *ctx, const struct fsp_ledger_work *work)
{
    struct trial *trial = ctx;
    struct fsp_record *record;
    char rules[24];

    if (work->log != trial->ordinal || work->index < trial->size ||
            work->index - trial->size >= trial->n)
        return;
    record = trial->records[work->index - trial->size];
    if (trial->shown != NULL)
        say(work, &trial->shown->text);
    if (work->why != NULL)
        return;
    if (work->in->op != FSP_OP_COUNTED && work->in->op != FSP_OP_STATED)
        put(record, "ton-miles", work->work_j / FSP_TON_MILE_J, work->work_j);
    if (work->factor > 0)
        put(record, "factor", work->factor, work->factor);
    (void)snprintf(rules, sizeof(rules), "%d", FSP_LEDGER_RULES);
    if (fsp_record_set_text(record, "rules", rules, NULL) != FSP_OK)
        return;
}

/* The account's notes about the last of the records: "TIME entry 12[ of log 1]: WORDS". */
static void
take_notes(const struct trial *trial, const struct fsp_ledger *ledger)
{
    char about[80], log[40] = "";
    const char *note;

    if (trial->ordinal > 0)
        (void)snprintf(log, sizeof(log), " of log %u", (unsigned)trial->ordinal);
    (void)snprintf(about, sizeof(about),
            " entry %llu%s: ", (unsigned long long)(trial->size + trial->n - 1), log);
    for (size_t i = 0; (note = fsp_ledger_note(ledger, i)) != NULL; i++) {
        const char *words = strstr(note, about);

        if (words == note + FSP_TIME_TEXT_LEN)
            fsp_buf_printf(&trial->shown->notes, "%s\n", words + strlen(about));
    }
}

static bool
any_work(struct fsp_record *const *records, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        const char *kind = fsp_record_text(records[i], "kind");

        if (kind != NULL && strcmp(kind, "work") == 0)
            return true;
    }
    return false;
}

void
fsp_shown_fill(
        struct fsp_journal *journal, void *ctx, struct fsp_record *const *records, size_t n)
{
    struct trial trial = {.records = records, .n = n, .shown = ctx};
    struct fsp_fold_about about;
    struct fsp_fold_log *logs = NULL;
    struct fsp_fold *fold = NULL;

    if (trial.shown == NULL && !any_work(records, n))
        return;
    if (fsp_account_about(journal, 0, &about, &logs, NULL) != FSP_OK)
        goto out;
    fsp_fold_store_db(fsp_journal_db(journal), "", &trial.real);
    trial.store = trial.real;
    trial.store.ctx = &trial;
    trial.store.scan = scan;
    trial.store.marks = marks;
    trial.store.state = state;
    trial.store.states = states;
    trial.ordinal = (uint32_t)(about.n_logs - 1);
    trial.log = logs[trial.ordinal].id;
    trial.size = logs[trial.ordinal].size;
    logs[trial.ordinal].size += n;
    about.inspections = 0;
    about.worth = SIZE_MAX; /* nothing of this is kept */
    about.on_work = look;
    about.on_work_ctx = &trial;
    if (fsp_fold_new(&trial.store, &about, &fold, NULL) == FSP_OK && trial.shown != NULL) {
        trial.shown->read = fsp_fold_read(fold);
        take_notes(&trial, fsp_fold_ledger(fold));
    }
out:
    fsp_fold_free(fold);
    free(logs);
}
