#include "office/fleet.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "line/rope.h"
#include "record/check.h"

/* --- reading one log ------------------------------------------------------------------------- */

struct reading {
    struct fsp_fleet_rig *rig;
    uint32_t ordinal;
};

static enum fsp_rc
read_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct reading *reading = ctx;
    struct fsp_fleet_rig *rig = reading->rig;
    struct fsp_ledger_entry entry = {.log = reading->ordinal, .index = index};
    struct fsp_record *record = NULL;
    enum fsp_rc rc = fsp_check_stored(bytes, len, &record, NULL);

    if (rc == FSP_ENOMEM)
        return fsp_err_set(err, rc, "out of memory");
    rig->entries++;
    if (rc != FSP_OK) {
        rig->unreadable++;
        record = NULL;
    } else {
        if (fsp_mem_grow((void **)&rig->records, &rig->cap_records, rig->n_records + 1,
                    sizeof(void *)) != 0) {
            fsp_record_free(record);
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        }
        rig->records[rig->n_records++] = record;
    }
    entry.record = record;
    entry.sig = FSP_SIG_NONE; /* the roster of inspectors is what will tell more */
    fsp_leaf_hash(bytes, len, entry.leaf);
    return fsp_ledger_add(rig->ledger, &entry, err);
}

static enum fsp_rc
read_log(struct fsp_shelf *shelf, struct fsp_fleet_rig *rig, const struct fsp_shelf_log *log,
        struct fsp_err *err)
{
    struct fsp_fleet_log *logs;
    struct fsp_fleet_log *mine;
    struct fsp_range range;
    struct reading reading = {.rig = rig, .ordinal = (uint32_t)rig->n_logs};
    uint64_t within[2] = {0, 0};
    enum fsp_rc rc;

    logs = realloc(rig->logs, (rig->n_logs + 1) * sizeof(*logs));
    if (logs == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rig->logs = logs;
    mine = &logs[rig->n_logs++];
    memset(mine, 0, sizeof(*mine));
    mine->log = *log;
    rc = shelf->ops->tip(shelf->ctx, log->id, &range, err);
    if (rc != FSP_OK)
        return rc;
    mine->size = range.size;
    fsp_range_root(&range, mine->root);
    if (log->heard_s > rig->heard_s)
        rig->heard_s = log->heard_s;
    within[1] = range.size;
    if (range.size == 0)
        return FSP_OK;
    rc = shelf->ops->scan(shelf->ctx, log->id, within, read_entry, &reading, err);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", log->origin);
}

/* --- the whole fleet ------------------------------------------------------------------------- */

static struct fsp_fleet_rig *
find_rig(struct fsp_fleet *fleet, const char *name)
{
    for (size_t i = 0; i < fleet->n; i++)
        if (strcmp(fleet->rigs[i].name, name) == 0)
            return &fleet->rigs[i];
    return NULL;
}

static enum fsp_rc
read_rigs(struct fsp_shelf *shelf, struct fsp_fleet *fleet, struct fsp_err *err)
{
    char name[FSP_NAME_MAX + 1] = "";
    enum fsp_rc rc;

    for (;;) {
        struct fsp_fleet_rig *rigs;
        struct fsp_fleet_rig *rig;

        rc = shelf->ops->next_rig(shelf->ctx, name, name, err);
        if (rc == FSP_ENOTFOUND)
            return FSP_OK;
        if (rc != FSP_OK)
            return rc;
        rigs = realloc(fleet->rigs, (fleet->n + 1) * sizeof(*rigs));
        if (rigs == NULL)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        fleet->rigs = rigs;
        rig = &rigs[fleet->n++];
        memset(rig, 0, sizeof(*rig));
        memcpy(rig->name, name, sizeof(name));
        rc = fsp_ledger_new(&rig->ledger, err);
        if (rc != FSP_OK)
            return rc;
    }
}

static enum fsp_rc
read_logs(struct fsp_shelf *shelf, struct fsp_fleet *fleet, struct fsp_err *err)
{
    struct fsp_shelf_log log = {0};

    for (;;) {
        struct fsp_fleet_rig *rig;
        enum fsp_rc rc = shelf->ops->next_log(shelf->ctx, log.id, &log, err);

        if (rc == FSP_ENOTFOUND)
            return FSP_OK;
        if (rc != FSP_OK)
            return rc;
        rig = find_rig(fleet, log.rig);
        if (rig == NULL)
            return fsp_err_set(err, FSP_ECORRUPT, "%s: a log without its rig", log.origin);
        rc = read_log(shelf, rig, &log, err);
        if (rc != FSP_OK)
            return rc;
    }
}

static enum fsp_rc
read_forks(struct fsp_shelf *shelf, struct fsp_fleet *fleet, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    struct fsp_buf store;

    fsp_buf_init(&store, 2 * FSP_NOTE_MAX + FSP_ENTRY_MAX);
    for (uint64_t i = 0; rc == FSP_OK; i++) {
        struct fsp_shelf_fork fork;

        rc = shelf->ops->fork_at(shelf->ctx, i, &fork, &store, err);
        if (rc != FSP_OK)
            break;
        for (size_t r = 0; r < fleet->n; r++)
            for (size_t l = 0; l < fleet->rigs[r].n_logs; l++)
                if (fleet->rigs[r].logs[l].log.id == fork.log) {
                    fleet->rigs[r].logs[l].forks++;
                    fleet->rigs[r].forks++;
                }
    }
    fsp_buf_fini(&store);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static enum fsp_rc
read_all(struct fsp_shelf *shelf, struct fsp_fleet *fleet, struct fsp_err *err)
{
    enum fsp_rc rc = shelf->ops->begin(shelf->ctx, false, err);

    if (rc != FSP_OK)
        return rc;
    rc = shelf->ops->fleet(shelf->ctx, fleet->name, err);
    if (rc == FSP_OK)
        rc = read_rigs(shelf, fleet, err);
    if (rc == FSP_OK)
        rc = read_logs(shelf, fleet, err);
    if (rc == FSP_OK)
        rc = read_forks(shelf, fleet, err);
    shelf->ops->rollback(shelf->ctx); /* nothing was written */
    return rc;
}

static enum fsp_rc
fold_rig(struct fsp_fleet_rig *rig, int64_t as_of_s, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_ledger_fold(rig->ledger, as_of_s, err);

    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "%s", rig->name);
    rig->n_cuts = fsp_ledger_peek(rig->ledger)->cuts;
    rig->cuts = fsp_mem_array(rig->n_cuts, sizeof(void *));
    if (rig->cuts == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; i < rig->n_cuts; i++)
        rig->cuts[i] = fsp_ledger_cut(rig->ledger, i);
    return FSP_OK;
}

static bool
same_rope(const struct fsp_fleet_rig *a, const struct fsp_fleet_rig *b)
{
    double apart = fsp_ledger_peek(a->ledger)->rope_m - fsp_ledger_peek(b->ledger)->rope_m;

    return apart <= FSP_ROPE_MATCH_M && -apart <= FSP_ROPE_MATCH_M;
}

/* Early per eligible cut of the other rigs on this size of rope; 0 when there is none. */
static double
base_rate(const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig)
{
    size_t eligible = 0;
    size_t early = 0;

    for (size_t i = 0; i < fleet->n; i++) {
        const struct fsp_fleet_rig *other = &fleet->rigs[i];

        if (other != rig && same_rope(other, rig))
            fsp_review_tally(other->cuts, other->n_cuts,
                    fleet->as_of_s - FSP_FLEET_RATE_DAYS * FSP_S_PER_DAY, &eligible, &early);
    }
    return eligible == 0 ? 0.0 : (double)early / (double)eligible;
}

static enum fsp_attention
attention(const struct fsp_fleet_rig *rig)
{
    enum fsp_due due = fsp_ledger_peek(rig->ledger)->cut_due;
    enum fsp_due slip = fsp_ledger_peek(rig->ledger)->slip_due;

    if (due == FSP_DUE_OUT_OF_SERVICE)
        return FSP_ATTENTION_OUT_OF_SERVICE;
    if (rig->forks > 0)
        return FSP_ATTENTION_FORK;
    if (due == FSP_DUE_OVERDUE)
        return FSP_ATTENTION_OVERDUE;
    if (due == FSP_DUE_NOW || slip == FSP_DUE_NOW || slip == FSP_DUE_OVERDUE)
        return FSP_ATTENTION_DUE;
    if (rig->review.state == FSP_REVIEW_FLAGGED)
        return FSP_ATTENTION_EARLY_CUTS;
    if (rig->review.wear_left || rig->review.planned_repeat || rig->unreadable > 0)
        return FSP_ATTENTION_OTHER_FLAG;
    if (due == FSP_DUE_SOON)
        return FSP_ATTENTION_SOON;
    return due == FSP_DUE_UNKNOWN ? FSP_ATTENTION_UNKNOWN : FSP_ATTENTION_NONE;
}

enum fsp_rc
fsp_fleet_load(
        struct fsp_shelf *shelf, int64_t as_of_s, struct fsp_fleet **out, struct fsp_err *err)
{
    enum fsp_rc rc;
    struct fsp_fleet *fleet = calloc(1, sizeof(*fleet));

    *out = NULL;
    if (fleet == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    fleet->as_of_s = as_of_s;
    rc = read_all(shelf, fleet, err);
    for (size_t i = 0; i < fleet->n && rc == FSP_OK; i++)
        rc = fold_rig(&fleet->rigs[i], as_of_s, err);
    if (rc != FSP_OK) {
        fsp_fleet_free(fleet);
        return rc;
    }
    for (size_t i = 0; i < fleet->n; i++) {
        struct fsp_fleet_rig *rig = &fleet->rigs[i];

        fsp_review_cuts(rig->cuts, rig->n_cuts, base_rate(fleet, rig), &rig->review);
        rig->attention = attention(rig);
    }
    *out = fleet;
    return FSP_OK;
}

void
fsp_fleet_free(struct fsp_fleet *fleet)
{
    if (fleet == NULL)
        return;
    for (size_t i = 0; i < fleet->n; i++) {
        struct fsp_fleet_rig *rig = &fleet->rigs[i];

        fsp_ledger_free(rig->ledger);
        for (size_t r = 0; r < rig->n_records; r++)
            fsp_record_free(rig->records[r]);
        free(rig->records);
        free(rig->cuts);
        free(rig->logs);
    }
    free(fleet->rigs);
    free(fleet);
}

const struct fsp_fleet_rig *
fsp_fleet_find(const struct fsp_fleet *fleet, const char *name)
{
    for (size_t i = 0; i < fleet->n; i++)
        if (strcmp(fleet->rigs[i].name, name) == 0)
            return &fleet->rigs[i];
    return NULL;
}

static int
compare_attention(const void *a, const void *b)
{
    const struct fsp_fleet_rig *const *x = a;
    const struct fsp_fleet_rig *const *y = b;

    if ((*x)->attention != (*y)->attention)
        return (*x)->attention < (*y)->attention ? -1 : 1;
    return strcmp((*x)->name, (*y)->name);
}

void
fsp_fleet_by_attention(const struct fsp_fleet *fleet, const struct fsp_fleet_rig **out)
{
    for (size_t i = 0; i < fleet->n; i++)
        out[i] = &fleet->rigs[i];
    qsort(out, fleet->n, sizeof(const struct fsp_fleet_rig *), compare_attention);
}

const struct fsp_fleet_log *
fsp_fleet_current(const struct fsp_fleet_rig *rig)
{
    return rig->n_logs == 0 ? NULL : &rig->logs[rig->n_logs - 1];
}

static void
add_flag(struct fsp_buf *buf, size_t start, const char *text)
{
    if (buf->len > start)
        fsp_buf_add_text(buf, "; ");
    fsp_buf_add_text(buf, text);
}

void
fsp_fleet_flag_text(const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    size_t start = buf->len;

    if (rig->n_logs == 0)
        add_flag(buf, start, "invited, never heard");
    if (rig->forks > 0)
        add_flag(buf, start, "two histories for one log: keep both, ask the rig");
    if (rig->review.state == FSP_REVIEW_FLAGGED)
        add_flag(buf, start, rig->review.text);
    if (rig->review.wear_left)
        add_flag(buf, start, rig->review.wear_left_text);
    if (rig->review.planned_repeat)
        add_flag(buf, start, rig->review.planned_text);
    if (rig->unreadable > 0) {
        add_flag(buf, start, "");
        fsp_buf_printf(buf, "%llu entries this office cannot read",
                (unsigned long long)rig->unreadable);
    }
}
