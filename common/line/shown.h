/*
 * What an entry of work shows: its ton-miles, lowest design factor and formula, as the ledger
 * reckons them at the entry's own place in the order of the records.
 *
 * To know what a new entry would show, add it to a ledger of the log and fold: the entry is then
 * reckoned under the drill string, the particulars and the string-up in force at its own time, new
 * ones of the same file included.
 *
 * Ownership: everything in struct fsp_ledger_work is borrowed for the call.
 * Units: joules; factors are plain. Threads: as the ledger. Errors: none; `why` says what is missing.
 */
#ifndef FSP_LINE_SHOWN_H
#define FSP_LINE_SHOWN_H

#include <stdint.h>

#include "base/buf.h"
#include "line/work.h"

struct fsp_ledger;

struct fsp_ledger_work {
    uint32_t log;
    uint64_t index;
    const char *why; /* why it could not be reckoned; NULL when it was */
    double work_j;
    double factor; /* lowest of the operation on the fast line; 0 unknown */
    const struct fsp_work_in *in;
    const struct fsp_work_out *out;
    enum fsp_units units;
};

/* Called during each fold for every entry of work that is folded; NULL: no more. */
typedef void (*fsp_ledger_work_fn)(void *ctx, const struct fsp_ledger_work *work);
void fsp_ledger_on_work(struct fsp_ledger *ledger, fsp_ledger_work_fn fn, void *ctx);

#endif
