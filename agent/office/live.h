/*
 * The fleet as it stands now, kept in memory: read and folded behind the receipts, by one thread.
 *
 * A commit of the intake only says which log grew; the thread folds that rig again from its stored
 * state, judges all rigs beside each other and puts a new view in place. Pages read views and never
 * wait for a fold, so that a page's cost does not depend on how long the rigs' histories are.
 * What other processes write (`take`, `invite`, `roster`) is noticed by looking at the store every
 * FSP_LIVE_LOOK_MS. Every rig is folded again at least every FSP_LIVE_AGE_S, since what is due
 * depends on the day.
 *
 * The first view is there at once and fills up: fleet->waiting says how many rigs are not in it.
 *
 * Ownership: new/free; what `about` points to is borrowed until free. A view is counted: hold and
 * release; it and all inside it stay as they are while held, also after free.
 * Threads: any thread may call grew, hold, release, knows, settle and lag; new and free belong to
 * one.
 * Errors: FSP_EIO, FSP_ECORRUPT, FSP_ENOMEM from new. Later failures are kept: lag says the newest,
 * the view before it stays, and the rig is tried again at the next look.
 */
#ifndef FSP_OFFICE_LIVE_H
#define FSP_OFFICE_LIVE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/clock.h"
#include "base/err.h"
#include "office/fleet.h"
#include "office/shelf.h"

#define FSP_LIVE_LOOK_MS     2000
#define FSP_LIVE_AGE_S       600
#define FSP_LIVE_INSPECTIONS ((size_t)50) /* of every rig, the newest */

struct fsp_live;

struct fsp_live_about {
    const struct fsp_shelf_ops *ops;
    const char *store;
    const struct fsp_env *env;
    const struct fsp_vkey *keys; /* the office's instructions keys; copied */
    size_t n_keys;
    size_t inspections; /* of every rig, the newest; 0: FSP_LIVE_INSPECTIONS */
};

/* Starts the thread; the first view holds no rig yet and fills up. */
enum fsp_rc fsp_live_new(const struct fsp_live_about *about, struct fsp_live **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_live_free(struct fsp_live *live);

/* One more instructions key followed: keys are all there were, as at new, with those at the end. Every
 * rig is folded again: what a newer key signed counted for nothing before. */
void fsp_live_keys(struct fsp_live *live, const struct fsp_vkey *keys, size_t n_keys);
/* The keys that count now; they stay where they are, more may follow behind them. Peek. */
const struct fsp_vkey *fsp_live_known(const struct fsp_live *live, size_t *n_keys);

/* Entries of this rig were committed. Never waits for a fold. */
void fsp_live_grew(struct fsp_live *live, const char *rig, uint64_t entries);

/* The newest view. Never NULL. */
const struct fsp_fleet *fsp_live_hold(struct fsp_live *live);
void fsp_live_release(struct fsp_live *live, const struct fsp_fleet *fleet);
/* The store has a rig of this name, be it in the view already or not. */
bool fsp_live_knows(struct fsp_live *live, const char *rig);

/* How far reading and folding is behind the receipts. */
struct fsp_live_lag {
    uint64_t entries;  /* committed, not yet in the view */
    size_t rigs;       /* that wait for a fold */
    size_t rigs_read;  /* in the view */
    int64_t oldest_us; /* since when the first of them waits, monotonic; 0: nothing waits */
    bool failed;       /* the newest fold failed; the view is older than the store */
    char failure[FSP_ERR_TEXT_MAX]; /* its message, one line */
};
void fsp_live_lag(struct fsp_live *live, struct fsp_live_lag *lag);

/* Look at the store now, and wait until nothing waits any more, or what does has failed. For tests,
 * measurements, and whoever must see his own writing. */
void fsp_live_settle(struct fsp_live *live);

#endif
