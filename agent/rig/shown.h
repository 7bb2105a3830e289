/*
 * What new entries of work show: ton-miles, factor and rules, put into them before they are appended.
 *
 * The rule is docs/account.md's: each is reckoned at its own place in the order of the records, as
 * if all of them stood in the log already. They are what the crew saw, never an input.
 *
 * Ownership: records stay the caller's. Units: ton-miles with 2 decimals.
 * Threads: as the journal. Errors: none that would keep a record out of the log: what cannot be
 * reckoned, or cannot be read now, is left out of it.
 */
#ifndef FSP_RIG_SHOWN_H
#define FSP_RIG_SHOWN_H

#include "base/buf.h"
#include "record/record.h"
#include "rig/journal.h"

/* What came of it besides. */
struct fsp_shown {
    struct fsp_buf text; /* the formula of the last work, or why there is none, one line each */
    struct fsp_buf notes; /* what the account notes about the last of the records */
    size_t read;          /* entries that had to be read for it */
};

/* So many entries read call for a stored state. House figure. */
#define FSP_SHOWN_MANY ((size_t)1000)

/* For fsp_journal_on_new(), inside its transaction. ctx: a struct fsp_shown whose buffers are
 * begun; NULL: nobody asks. */
void fsp_shown_fill(
        struct fsp_journal *journal, void *ctx, struct fsp_record *const *records, size_t n);

#endif
