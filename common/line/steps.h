/*
 * The account step by step: what each entry left behind, in the order of the fold.
 *
 * For what must be drawn or summed over time: service counted since the cut, work by well, the drill
 * strings and programmes in force. Numbers are the fold's own, after the entry was applied;
 * nothing is reckoned here. A fold begun from a stored state tells only of the entries after it.
 *
 * Ownership: everything in struct fsp_ledger_step is borrowed for the call.
 * Units: seconds since 1970, joules. Threads: as the ledger. Errors: none.
 */
#ifndef FSP_LINE_STEPS_H
#define FSP_LINE_STEPS_H

#include <stdbool.h>
#include <stdint.h>

#include "record/record.h"

struct fsp_ledger;

struct fsp_ledger_step {
    uint32_t log;
    uint64_t index;
    int64_t at_s;
    const struct fsp_record *record; /* as it counts, amended; NULL: cannot be read */
    double work_j;                   /* work this entry added to the line */
    double served_j;                 /* service this entry added */
    double since_cut_j;              /* service counted since the cut, after this entry */
    double goal_j;                   /* in force after it; 0 when none is */
    bool hung;                       /* a line is hung after it */
    const char *reel;                /* NULL when none */
    const char *well;                /* NULL when not known; so the formation */
    const char *formation;
};

/* Called during each fold for every entry that counts; NULL: no more. */
typedef void (*fsp_ledger_step_fn)(void *ctx, const struct fsp_ledger_step *step);
void fsp_ledger_on_step(struct fsp_ledger *ledger, fsp_ledger_step_fn fn, void *ctx);

#endif
