#include "office/fleet.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "line/rope.h"

/* --- one rig --------------------------------------------------------------------------------- */

static enum fsp_rc
read_log(struct fsp_shelf *shelf, struct fsp_fleet_rig *rig, const struct fsp_chain_log *chain,
        struct fsp_fold_log *fold, struct fsp_err *err)
{
    struct fsp_fleet_log *mine = &rig->logs[rig->n_logs];
    struct fsp_range range;
    enum fsp_rc rc = shelf->ops->tip(shelf->ctx, chain->log.id, &range, err);

    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "%s", chain->log.origin);
    mine->log = chain->log;
    mine->chain = *chain;
    mine->size = range.size;
    fsp_range_root(&range, mine->root);
    if (chain->log.heard_s > rig->heard_s)
        rig->heard_s = chain->log.heard_s;
    if (fsp_fleet_renewal_open(mine)) {
        rig->renewals++;
        rig->renewals_odd =
                rig->renewals_odd || chain->second || chain->renewal.how == FSP_RENEWAL_UNFIT;
    }
    *fold = (struct fsp_fold_log){chain->log.id, range.size};
    rig->n_logs++;
    return FSP_OK;
}

static enum fsp_rc
read_logs(struct fsp_shelf *shelf, struct fsp_fleet_rig *rig, struct fsp_fold_log **out,
        struct fsp_err *err)
{
    struct fsp_chain_log *chain = NULL;
    size_t n = 0;
    enum fsp_rc rc = fsp_chain_load(shelf, rig->name, &chain, &n, err);

    *out = NULL;
    if (rc != FSP_OK)
        return rc;
    rig->logs = fsp_mem_array(n, sizeof(*rig->logs));
    *out = fsp_mem_array(n, sizeof(**out));
    if (rig->logs == NULL || *out == NULL)
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; rc == FSP_OK && i < n; i++)
        rc = read_log(shelf, rig, &chain[i], &(*out)[i], err);
    free(chain);
    return rc;
}

static enum fsp_rc
list_cuts(struct fsp_fleet_rig *rig, struct fsp_err *err)
{
    rig->ledger = fsp_fold_ledger(rig->fold);
    rig->entries = fsp_fold_entries(rig->fold);
    rig->unreadable = fsp_fold_unreadable(rig->fold);
    rig->n_cuts = fsp_ledger_peek(rig->ledger)->cuts;
    rig->cuts = fsp_mem_array(rig->n_cuts, sizeof(void *));
    if (rig->cuts == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; i < rig->n_cuts; i++)
        rig->cuts[i] = fsp_ledger_cut(rig->ledger, i);
    return FSP_OK;
}

static enum fsp_rc
read_rig(struct fsp_shelf *shelf, const struct fsp_fleet *fleet,
        const struct fsp_fleet_about *about, struct fsp_fleet_rig *rig, struct fsp_err *err)
{
    struct fsp_fold_about what = {.fleet = fleet->name,
            .rig = rig->name,
            .keys = about->keys,
            .n_keys = about->n_keys,
            .as_of_s = about->as_of_s,
            .whole = about->whole};
    struct fsp_fold_store store;
    struct fsp_fold_log *logs = NULL;
    enum fsp_rc rc = read_logs(shelf, rig, &logs, err);

    what.logs = logs;
    what.n_logs = rig->n_logs;
    if (about->rig != NULL && strcmp(about->rig, rig->name) == 0)
        what.inspections = about->inspections;
    shelf->ops->fold_store(shelf->ctx, rig->name, &store);
    if (rc == FSP_OK)
        rc = fsp_fold_new(&store, &what, &rig->fold, err);
    if (rc == FSP_OK)
        rc = list_cuts(rig, err);
    free(logs);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", rig->name);
}

/* --- the whole fleet ------------------------------------------------------------------------- */

static enum fsp_rc
read_rigs(struct fsp_shelf *shelf, struct fsp_fleet *fleet, const struct fsp_fleet_about *about,
        struct fsp_err *err)
{
    char name[FSP_NAME_MAX + 1] = "";
    enum fsp_rc rc;

    for (;;) {
        struct fsp_fleet_rig *rigs;

        rc = shelf->ops->next_rig(shelf->ctx, name, name, err);
        if (rc != FSP_OK)
            break;
        rigs = realloc(fleet->rigs, (fleet->n + 1) * sizeof(*rigs));
        if (rigs == NULL)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        fleet->rigs = rigs;
        memset(&rigs[fleet->n], 0, sizeof(*rigs));
        memcpy(rigs[fleet->n++].name, name, sizeof(name));
    }
    if (rc != FSP_ENOTFOUND)
        return rc;
    fsp_err_clear(err);
    rc = FSP_OK;
    for (size_t i = 0; rc == FSP_OK && i < fleet->n; i++)
        rc = read_rig(shelf, fleet, about, &fleet->rigs[i], err);
    return rc;
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
                    if (!fleet->rigs[r].logs[l].chain.closed)
                        fleet->rigs[r].open_forks++;
                }
    }
    fsp_buf_fini(&store);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static enum fsp_rc
read_all(struct fsp_shelf *shelf, struct fsp_fleet *fleet, const struct fsp_fleet_about *about,
        struct fsp_err *err)
{
    enum fsp_rc rc = shelf->ops->begin(shelf->ctx, false, err);

    if (rc != FSP_OK)
        return rc;
    rc = shelf->ops->fleet(shelf->ctx, fleet->name, err);
    if (rc == FSP_OK)
        rc = read_rigs(shelf, fleet, about, err);
    if (rc == FSP_OK)
        rc = read_forks(shelf, fleet, err);
    shelf->ops->rollback(shelf->ctx); /* nothing was written */
    return rc;
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
    if (rig->open_forks > 0 || rig->renewals_odd)
        return FSP_ATTENTION_FORK;
    if (due == FSP_DUE_OVERDUE)
        return FSP_ATTENTION_OVERDUE;
    if (due == FSP_DUE_NOW || slip == FSP_DUE_NOW || slip == FSP_DUE_OVERDUE)
        return FSP_ATTENTION_DUE;
    if (rig->review.state == FSP_REVIEW_FLAGGED)
        return FSP_ATTENTION_EARLY_CUTS;
    if (rig->review.wear_left || rig->review.planned_repeat || rig->unreadable > 0 ||
            rig->renewals > 0 || rig->n_advice > 0)
        return FSP_ATTENTION_OTHER_FLAG;
    if (due == FSP_DUE_SOON)
        return FSP_ATTENTION_SOON;
    return due == FSP_DUE_UNKNOWN ? FSP_ATTENTION_UNKNOWN : FSP_ATTENTION_NONE;
}

/* Best effort, one rig at a time, so that intake never waits long. */
static void
keep(struct fsp_shelf *shelf, const struct fsp_fleet *fleet)
{
    for (size_t i = 0; i < fleet->n; i++)
        if (fsp_fold_worth(fleet->rigs[i].fold))
            shelf->ops->keep_fold(shelf->ctx, fleet->rigs[i].name, fleet->rigs[i].fold);
}

enum fsp_rc
fsp_fleet_load(struct fsp_shelf *shelf, const struct fsp_fleet_about *about,
        struct fsp_fleet **out, struct fsp_err *err)
{
    enum fsp_rc rc;
    struct fsp_fleet *fleet = calloc(1, sizeof(*fleet));

    *out = NULL;
    if (fleet == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    fleet->as_of_s = about->as_of_s;
    rc = read_all(shelf, fleet, about, err);
    if (rc != FSP_OK) {
        fsp_fleet_free(fleet);
        return rc;
    }
    keep(shelf, fleet);
    for (size_t i = 0; i < fleet->n; i++) {
        struct fsp_fleet_rig *rig = &fleet->rigs[i];

        fsp_review_cuts(rig->cuts, rig->n_cuts, base_rate(fleet, rig), &rig->review);
        rig->n_advice = fsp_review_advise(rig->cuts, rig->n_cuts, &rig->review, rig->advice);
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

        fsp_fold_free(rig->fold);
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

bool
fsp_fleet_renewal_open(const struct fsp_fleet_log *log)
{
    return log->chain.renewed && (!log->chain.renewal.confirmed || log->chain.second ||
                                         log->chain.renewal.how == FSP_RENEWAL_UNFIT);
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
    if (rig->open_forks > 0)
        add_flag(buf, start, "two histories for one log: keep both, ask the rig");
    for (size_t i = 0; i < rig->n_logs; i++)
        if (fsp_fleet_renewal_open(&rig->logs[i])) {
            add_flag(buf, start, "");
            fsp_chain_flag_text(&rig->logs[i].chain, buf);
        }
    if (rig->review.state == FSP_REVIEW_FLAGGED)
        add_flag(buf, start, rig->review.text);
    if (rig->review.wear_left)
        add_flag(buf, start, rig->review.wear_left_text);
    if (rig->review.planned_repeat)
        add_flag(buf, start, rig->review.planned_text);
    for (size_t i = 0; i < rig->n_advice; i++) {
        add_flag(buf, start, "advice: ");
        fsp_buf_add_text(buf, fsp_advice_text(rig->advice[i].kind));
    }
    if (rig->unreadable > 0) {
        add_flag(buf, start, "");
        fsp_buf_printf(buf, "%llu entries this office cannot read",
                (unsigned long long)rig->unreadable);
    }
}
