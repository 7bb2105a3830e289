/*
 * `check`: everything a store says about itself, verified again from its bytes.
 *
 * Of every log of the chain: the
 * database's own integrity; every entry against the tip and every head's root; our signature on
 * every head, the office's cosignature on every receipted one; signed-size; the form of every
 * record.
 *
 * Ownership: problem lines are borrowed for the length of the call to `say`.
 * Units: sizes count entries.
 * Threads: as the journal.
 * Errors: FSP_OK also when problems were found: they are counted and said. Else our own.
 */
#ifndef FSP_RIG_VERIFY_H
#define FSP_RIG_VERIFY_H

#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "proof/tree.h"
#include "rig/journal.h"

struct fsp_verify_report {
    uint64_t size;              /* of the current log */
    uint64_t closed;            /* logs before it, verified as well */
    uint8_t root[FSP_HASH_LEN]; /* recomputed from the stored bytes */
    uint64_t heads;
    uint64_t receipts;   /* heads with a good cosignature */
    uint64_t unreadable; /* entries this version cannot read: flagged, no problem */
    uint64_t problems;
    void (*say)(void *ctx, const char *problem); /* set by the caller; may be NULL */
    void *ctx;
};

enum fsp_rc fsp_verify(struct fsp_journal *journal, struct fsp_verify_report *report,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
