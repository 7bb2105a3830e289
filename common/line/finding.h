/*
 * Which inspection an open finding of the ledger rests on.
 *
 * Threads: as the ledger. Errors: none.
 */
#ifndef FSP_LINE_FINDING_H
#define FSP_LINE_FINDING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct fsp_ledger;

/* The inspection behind the i-th finding (fsp_ledger_finding), by its time and its number in its
 * log; false past the end. */
bool fsp_ledger_finding_entry(
        const struct fsp_ledger *ledger, size_t i, int64_t *at_s, uint64_t *index);

#endif
