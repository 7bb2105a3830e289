#include "sim/sim.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/mem.h"
#include "office/hand_back.h"
#include "proof/tree.h"
#include "rig/renew.h"
#include "store/logtable.h"
#include "wire/handback.h"

#define ROUNDS_MOST 200

/* ---- what is where -------------------------------------------------------------------------- */

/* Leaves of a log, or of a chain of them. */
struct leaves {
    struct sim *sim;
    sim_leaf *leaf;
    size_t n;
    size_t cap;
};

static enum fsp_rc
add_leaf(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct leaves *leaves = ctx;

    (void)index;
    (void)err;
    if (fsp_mem_grow((void **)&leaves->leaf, &leaves->cap, leaves->n + 1,
                sizeof(*leaves->leaf)) != 0)
        sim_fail(leaves->sim, "out of memory");
    fsp_leaf_hash(bytes, len, leaves->leaf[leaves->n++]);
    return FSP_OK;
}

static bool
is_in(const struct leaves *leaves, const sim_leaf leaf)
{
    for (size_t i = 0; i < leaves->n; i++)
        if (memcmp(leaves->leaf[i], leaf, sizeof(sim_leaf)) == 0)
            return true;
    return false;
}

/* The office's log of that origin. */
static void
read_office(struct sim *sim, const char *origin, struct leaves *leaves)
{
    struct fsp_shelf *shelf = sim->office.shelf;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_shelf_log log;
    struct fsp_range range;
    uint64_t within[2] = {0, 0};

    sim_must(sim, shelf->ops->find_log(shelf->ctx, origin, &log, &err), &err, origin);
    sim_must(sim, shelf->ops->tip(shelf->ctx, log.id, &range, &err), &err, "tip");
    within[1] = range.size;
    sim_must(sim, shelf->ops->scan(shelf->ctx, log.id, within, add_leaf, leaves, &err), &err,
            "scan");
    sim_must(sim, shelf->ops->verify(shelf->ctx, log.id, &within[1], &err), &err, "verify");
}

/* Each log of the chain is the same at both ends; all of its entries that count go to `all`. */
static void
compare_chain(struct sim_rig *rig, struct leaves *all)
{
    struct sim *sim = rig->sim;
    struct fsp_journal_log *logs = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    size_t n = 0;

    sim_must(sim, fsp_journal_logs(rig->journal, &logs, &n, &err), &err, "logs");
    for (size_t i = 0; i < n; i++) {
        struct leaves held = {.sim = sim};
        size_t from = all->n;

        sim_must(sim,
                fsp_logtable_scan(fsp_journal_db(rig->journal), logs[i].id, 0, logs[i].size,
                        add_leaf, all, &err),
                &err, "scan");
        read_office(sim, logs[i].origin, &held);
        if (held.n < logs[i].size ||
                (logs[i].size > 0 && memcmp(all->leaf + from, held.leaf,
                                             (size_t)logs[i].size * sizeof(sim_leaf)) != 0))
            sim_fail(sim, "%s: %zu entries in the office, %" PRIu64 " count at the rig",
                    logs[i].origin, held.n, logs[i].size);
        free(held.leaf);
    }
    free(logs);
}

/* ---- renewing ------------------------------------------------------------------------------- */

static void
renew(struct sim_rig *rig, struct fsp_renew_report *report)
{
    struct sim *sim = rig->sim;
    const struct fsp_journal_about *about = fsp_journal_about(rig->journal);
    struct fsp_renew_options options = {.why = "simulated", .by = "clerk"};
    struct fsp_handback back = {.n = 0};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf file;
    size_t logs = 0;
    int lock = -1;

    fsp_buf_init(&file, FSP_HANDBACK_MAX);
    if (rig->stopped) {
        sim_must(sim,
                fsp_hand_back(
                        sim->office.shelf, &sim->office.keys, "heron", &file, &logs, &err),
                &err, "hand-back");
        sim_must(sim, fsp_handback_read(&back, file.data, file.len, &about->instructions, &err),
                &err, "read the hand-back");
        options.back = &back;
    }
    sim_must(sim, fsp_push_lock(rig->journal, &lock, &err), &err, "link.lock");
    sim_must(sim, fsp_renew(rig->journal, &options, report, &err), &err, "renew");
    fsp_file_unlock(lock);
    sim_say(sim,
            "rig%zu: RENEWED from %" PRIu64 ": %" PRIu64 " taken back, %" PRIu64
            " again, %" PRIu64 " typed again",
            rig->which, report->from_size, report->taken_back, report->again,
            report->typed_again);
    if (options.back != NULL)
        fsp_handback_fini(&back);
    fsp_buf_fini(&file);
}

/* By hand, on a good link, until nothing is pending. */
static void
push_all(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    struct fsp_push_options options = {.carrier = &rig->carrier};
    struct fsp_push *push = NULL;
    struct fsp_sync_action next = {.kind = FSP_SYNC_WAIT};
    struct fsp_err err = {.rc = FSP_OK};

    sim_must(sim, fsp_push_new(rig->journal, &options, &push, &err), &err, "push");
    for (int i = 0; i < ROUNDS_MOST && next.kind != FSP_SYNC_REST; i++) {
        struct fsp_push_report report = {.records = 0};

        rig->posts = 0;
        sim_must(sim, fsp_push_round(push, &report, &next, &err), &err, "push the new log");
        if (next.kind == FSP_SYNC_WAIT && next.until_us > sim->now_us)
            sim->now_us = next.until_us;
        sim_say(sim, "rig%zu: %s %s", rig->which, next.kind == FSP_SYNC_REST ? "rest" : "wait",
                report.why);
    }
    if (next.kind != FSP_SYNC_REST)
        sim_fail(sim, "rig%zu: the renewed log does not arrive", rig->which);
    fsp_push_free(push);
}

/* ---- the history after the history ---------------------------------------------------------- */

void
sim_renew(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    struct fsp_renew_report report = {.again = 0};
    struct leaves all = {.sim = sim};
    uint64_t missing = 0;

    sim->renewed = true; /* the model of one log ends here */
    renew(rig, &report);
    sim_rig_reboot(rig);
    rig->busy = true; /* no other round of the rig's */
    push_all(rig);
    compare_chain(rig, &all);
    /* Nothing the crew was told is lost: it counts, or it was typed again by somebody. */
    for (uint64_t i = 0; i < rig->n; i++)
        missing += !is_in(&all, rig->leaf[i]);
    if (missing > report.typed_again)
        sim_fail(sim, "rig%zu: after the renewal %" PRIu64 " acknowledged entries are missing",
                rig->which, missing);
    /* Nor what the office had receipted, and nothing counts twice. */
    for (uint64_t i = 0; i < sim->office.n; i++)
        if (!is_in(&all, sim->office.leaf[i]))
            sim_fail(sim, "rig%zu: the office's entry %" PRIu64 " was not taken back",
                    rig->which, i);
    for (size_t i = 0; i < all.n; i++)
        for (size_t k = 0; k < i; k++)
            if (memcmp(all.leaf[i], all.leaf[k], sizeof(sim_leaf)) == 0)
                sim_fail(sim, "rig%zu: an entry counts twice after the renewal", rig->which);
    sim->renewals++;
    free(all.leaf);
}
