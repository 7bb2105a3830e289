#include "sim/sim.h"

#include <inttypes.h>
#include <string.h>

#include "proof/tree.h"
#include "rig/journal_sql.h"
#include "rig/receipt.h"
#include "store/logtable.h"

void
sim_progress(struct sim_rig *rig, struct fsp_journal_progress *progress)
{
    struct fsp_err err = {.rc = FSP_OK};

    sim_must(rig->sim, fsp_journal_progress(rig->journal, progress, &err), &err, "progress");
}

static bool
differ(const struct sim_rig *rig, uint64_t n)
{
    return n > 0 && memcmp(rig->leaf, rig->sim->office.leaf, (size_t)n * sizeof(sim_leaf)) != 0;
}

bool
sim_contradicts(const struct sim_rig *rig)
{
    uint64_t held = rig->sim->office.n;

    return held > rig->n || differ(rig, held);
}

/* ---- a store that stops --------------------------------------------------------------------- */

static void
check_evidence(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    struct fsp_shelf *shelf = sim->office.shelf;
    struct fsp_shelf_fork fork;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_stmt *stmt = NULL;
    struct fsp_buf store;
    bool row = false;

    sim_must(sim, fsp_stmt_get(fsp_journal_db(rig->journal), FSP_SQL_FORK_FIRST, &stmt, &err),
            &err, "forks");
    fsp_stmt_bind_int(stmt, 1, fsp_journal_current(rig->journal));
    sim_must(sim, fsp_stmt_step(stmt, &row, &err), &err, "forks");
    if (!row)
        return; /* signed-size told it: nothing came from outside */
    if (strcmp(fsp_stmt_text(stmt, 0), "forked") != 0) {
        fsp_stmt_reset(stmt);
        return; /* the head beyond ours is in the row */
    }
    fsp_stmt_reset(stmt);
    fsp_buf_init(&store, (size_t)1024 * 1024);
    sim_must(sim, shelf->ops->fork_at(shelf->ctx, 0, &fork, &store, &err), &err,
            "the office kept no evidence of the fork");
    if (fork.held_len == 0 || fork.came_len == 0)
        sim_fail(sim, "the office did not keep both heads of the fork");
    fsp_buf_fini(&store);
}

void
sim_check_stop(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    struct fsp_err err = {.rc = FSP_OK};

    if (sim->history != SIM_RESTORED && sim->history != SIM_CLONED)
        sim_fail(sim, "rig%zu: stopped without a reason: %s", rig->which,
                fsp_journal_state_why(rig->journal));
    /* It stays so, and says why. A bundle may be on its way: the journal is the push's. */
    sim_must(sim, fsp_journal_rejudge(rig->journal, &err), &err, "rejudge");
    if (fsp_journal_state(rig->journal) == FSP_JOURNAL_SOUND ||
            fsp_journal_state_why(rig->journal)[0] == '\0')
        sim_fail(sim, "rig%zu: stopped, but its store is sound", rig->which);
    sim_say(sim, "rig%zu: STOPPED: %s", rig->which, fsp_journal_state_why(rig->journal));
    check_evidence(rig);
    rig->stopped = true;
    rig->must_stop = false;
    sim->stops++;
}

/* ---- after each round ----------------------------------------------------------------------- */

static void
check_held(struct sim_rig *rig, const struct fsp_journal_progress *progress)
{
    struct sim *sim = rig->sim;

    if (progress->size != rig->n)
        sim_fail(sim, "rig%zu: holds %" PRIu64 " records, %" PRIu64 " were acknowledged",
                rig->which, progress->size, rig->n);
    if (progress->held > progress->size)
        sim_fail(sim, "rig%zu: the office holds more than the rig", rig->which);
    if (!sim->office.rolled_back && progress->held > sim->office.n)
        sim_fail(sim,
                "rig%zu: believes that the office holds %" PRIu64 ", but it holds %" PRIu64,
                rig->which, progress->held, sim->office.n);
    if (!sim->office.rolled_back && progress->held < rig->acked)
        sim_fail(sim, "rig%zu: what was receipted (%" PRIu64 ") is forgotten (%" PRIu64 ")",
                rig->which, rig->acked, progress->held);
    rig->acked = progress->held;
}

/* Records lie there: something must be wanted, at a finite time. */
static void
check_alive(struct sim_rig *rig, const struct fsp_journal_progress *progress,
        const struct fsp_push_report *report, const struct fsp_sync_action *next)
{
    struct sim *sim = rig->sim;
    int64_t most = next->wait == FSP_SYNC_FOR_LINK  ? FSP_SYNC_CEILING_US
                   : next->wait == FSP_SYNC_FOR_DAY ? SIM_DAY
                                                    : rig->plan.old_us;

    if (next->kind == FSP_SYNC_REST || next->wait == FSP_SYNC_FOR_POLL) {
        if (progress->held < progress->size)
            sim_fail(sim, "rig%zu: rests while records wait", rig->which);
        if (next->kind == FSP_SYNC_WAIT && next->until_us > sim->now_us + SIM_DAY)
            sim_fail(sim, "rig%zu: does not ask the office for its word", rig->which);
        return;
    }
    if (next->kind != FSP_SYNC_WAIT || next->wait == FSP_SYNC_FOR_NOTHING)
        sim_fail(sim, "rig%zu: a round ends in action %d", rig->which, (int)next->kind);
    if (next->until_us > sim->now_us + most)
        sim_fail(sim, "rig%zu: waits %" PRId64 " s", rig->which,
                (next->until_us - sim->now_us) / SIM_S);
    if (next->wait == FSP_SYNC_FOR_LINK && report->tries > 0 && report->why[0] == '\0')
        sim_fail(sim, "rig%zu: waits and does not say why", rig->which);
}

/* A link that is paid by the byte is not hammered. */
static void
check_patience(struct sim_rig *rig, const struct fsp_push_report *report)
{
    struct sim *sim = rig->sim;

    if (report->bundles > 0 || sim->now_us - rig->hour_us > SIM_HOUR) {
        rig->hour_us = sim->now_us;
        rig->tries = 0;
    }
    rig->tries += (unsigned)report->tries;
    if (rig->tries > SIM_TRIES)
        sim_fail(sim, "rig%zu: %u tries in vain within an hour", rig->which, rig->tries);
}

void
sim_check_round(struct sim_rig *rig, enum fsp_rc rc, const struct fsp_push_report *report,
        const struct fsp_sync_action *next, const struct fsp_err *err)
{
    struct sim *sim = rig->sim;
    struct fsp_journal_progress progress;
    bool must_go_back = rig->must_go_back;

    rig->must_go_back = false;
    if (rc == FSP_EFORK) {
        sim_check_stop(rig);
        return;
    }
    sim_must(sim, rc, err, "push");
    if (rig->must_stop)
        sim_fail(sim, "rig%zu: the office's answer contradicts this store, and it goes on",
                rig->which);
    sim_progress(rig, &progress);
    sim->receipts += report->bundles;
    check_held(rig, &progress);
    check_alive(rig, &progress, report, next);
    check_patience(rig, report);
    if (must_go_back) {
        sim->gaps++;
        if (!report->went_back && !progress.went_back)
            sim_fail(sim, "rig%zu: the office went back, and it is not said", rig->which);
    }
    sim_say(sim, "rig%zu: round: %s, office holds %" PRIu64 " of %" PRIu64 " %s", rig->which,
            next->kind == FSP_SYNC_REST ? "rest" : "wait", progress.held, progress.size,
            report->why);
}

/* ---- the end -------------------------------------------------------------------------------- */

bool
sim_check_waits(struct sim *sim)
{
    for (size_t i = 0; i < SIM_RIGS; i++) {
        struct sim_rig *rig = &sim->rigs[i];
        struct fsp_journal_progress progress;

        if (!rig->there || rig->stopped)
            continue;
        sim_progress(rig, &progress);
        if (progress.held < progress.size)
            return true;
    }
    return false;
}

struct reader {
    struct sim *sim;
    const struct sim_rig *rig;
    const char *whose;
};

static enum fsp_rc
compare(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    const struct reader *reader = ctx;
    sim_leaf leaf;

    (void)err;
    fsp_leaf_hash(bytes, len, leaf);
    if (memcmp(leaf, reader->rig->leaf[index], sizeof(leaf)) != 0)
        sim_fail(reader->sim, "%s: entry %" PRIu64 " is not the one acknowledged",
                reader->whose, index);
    return FSP_OK;
}

/* Every acknowledged entry is there, once, as it was, in the rig's own store. */
static bool
has(const struct sim_rig *rig, uint32_t id)
{
    for (uint64_t i = 0; i < rig->n; i++)
        if (rig->id[i] == id)
            return true;
    return false;
}

/* Every word of the office reached the log; once is what absorbing them saw to. */
static void
check_words(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;

    /* What a shelf lost before it was sent is lost. */
    for (uint32_t i = 0; i < sim->n_words && !sim->office.rolled_back; i++)
        if (!has(rig, SIM_WORDS + i))
            sim_fail(sim, "rig%zu: instruction %u never came", rig->which, i);
}

static void
check_rig(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    struct fsp_db *db = fsp_journal_db(rig->journal);
    struct reader reader = {.sim = sim, .rig = rig, .whose = "rig"};
    struct fsp_err err = {.rc = FSP_OK};
    uint64_t size = 0;

    sim_must(sim, fsp_logtable_verify(db, fsp_journal_current(rig->journal), &size, &err), &err,
            "the rig's log");
    if (size != rig->n)
        sim_fail(sim, "rig%zu: %" PRIu64 " entries, %" PRIu64 " acknowledged", rig->which, size,
                rig->n);
    sim_must(sim,
            fsp_logtable_scan(
                    db, fsp_journal_current(rig->journal), 0, size, compare, &reader, &err),
            &err, "scan");
    for (uint64_t i = 0; i < rig->n; i++)
        for (uint64_t k = 0; k < i; k++)
            if (rig->id[i] == rig->id[k])
                sim_fail(sim, "rig%zu: record %u is doubled", rig->which, rig->id[i]);
}

/* And in the office's. */
static void
check_office(struct sim *sim, const struct sim_rig *rig)
{
    struct fsp_shelf *shelf = sim->office.shelf;
    struct reader reader = {.sim = sim, .rig = rig, .whose = "office"};
    uint64_t within[2] = {0, rig->n};
    struct fsp_shelf_log log;
    struct fsp_err err = {.rc = FSP_OK};
    uint64_t size = 0;

    sim_must(sim, shelf->ops->find_log(shelf->ctx, sim->origin, &log, &err), &err, "find_log");
    sim_must(sim, shelf->ops->verify(shelf->ctx, log.id, &size, &err), &err, "verify");
    if (size != rig->n)
        sim_fail(sim, "the office holds %" PRIu64 " of rig%zu's %" PRIu64, size, rig->which,
                rig->n);
    sim_must(sim, shelf->ops->scan(shelf->ctx, log.id, within, compare, &reader, &err), &err,
            "scan");
}

void
sim_check_end(struct sim *sim)
{
    for (size_t i = 0; i < SIM_RIGS; i++) {
        struct sim_rig *rig = &sim->rigs[i];

        if (!rig->there)
            continue;
        sim_rig_reboot(rig);
        check_rig(rig);
        if (!rig->stopped) {
            check_office(sim, rig);
            check_words(rig);
            continue;
        }
        if (fsp_journal_state(rig->journal) == FSP_JOURNAL_SOUND)
            sim_fail(sim, "rig%zu: a restart forgets that the store must stop", rig->which);
        check_evidence(rig);
    }
}
