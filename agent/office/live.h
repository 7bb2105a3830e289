/*
 * The fleet as it stands now, kept in memory: read and folded behind the receipts, by one thread.
 *
 * A commit of the intake only says which log grew; the thread folds that rig again from its stored
 * state, reviews it against the fleet, works out its flags and puts a new view in place. Pages read
 * views and never wait for a fold, so that a page's cost does not depend on how long the rigs'
 * histories are. What other processes write (`take`, `instruct`, `roster`) is noticed by looking at
 * the store every FSP_LIVE_LOOK_MS. Every rig is folded again at least every FSP_LIVE_AGE_S, since what is
 * due depends on the day.
 *
 * Ownership: new/free; what `about` points to is borrowed until free. A view is counted: hold and
 * release; it and all inside it stay as they are while held.
 * Threads: any thread may call grew, hold, release and lag; new and free belong to one.
 * Errors: FSP_EIO, FSP_ECORRUPT, FSP_ENOMEM from new. Later failures are kept: lag says the newest,
 * the view before it stays.
 */
#ifndef FSP_OFFICE_LIVE_H
#define FSP_OFFICE_LIVE_H

#include <stddef.h>
#include <stdint.h>

#include "base/clock.h"
#include "base/err.h"
#include "office/fleet.h"
#include "office/shelf.h"

#define FSP_LIVE_LOOK_MS 2000
#define FSP_LIVE_AGE_S   600

struct fsp_live;

struct fsp_live_about {
    const struct fsp_shelf_ops *ops;
    const char *store;
    const struct fsp_env *env;
    const struct fsp_vkey *keys; /* the office's instructions keys; copied */
    size_t n_keys;
};

/* Starts the thread; the first view holds every rig that was folded by then and fills up. */
enum fsp_rc fsp_live_new(const struct fsp_live_about *about, struct fsp_live **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_live_free(struct fsp_live *live);

/* Entries of this rig were committed. Never waits for a fold. */
void fsp_live_grew(struct fsp_live *live, const char *rig, uint64_t entries);

/* The newest view. Never NULL. */
const struct fsp_fleet *fsp_live_hold(struct fsp_live *live);
void fsp_live_release(struct fsp_live *live, const struct fsp_fleet *fleet);

/* How far reading and folding is behind the receipts. */
struct fsp_live_lag {
    uint64_t entries;  /* committed, not yet in the view */
    size_t rigs;       /* that wait for a fold */
    int64_t oldest_us; /* since when the first of them waits, monotonic; 0: nothing waits */
    bool failed;       /* the newest fold failed; the view is older than the store */
    char failure[256]; /* its message */
};
void fsp_live_lag(struct fsp_live *live, struct fsp_live_lag *lag);

#endif
