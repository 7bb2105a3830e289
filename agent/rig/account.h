/*
 * The line's account from the journal: every entry, folded at a time.
 *
 * Ownership: new/free; the ledger borrows the account's records.
 * Units: as_of in seconds since 1970.
 * Threads: as the journal.
 * Errors: those of store/logtable.h and line/ledger.h. An entry that cannot be read is counted.
 */
#ifndef FSP_RIG_ACCOUNT_H
#define FSP_RIG_ACCOUNT_H

#include <stdint.h>

#include "base/err.h"
#include "line/ledger.h"
#include "rig/journal.h"

struct fsp_account; /* opaque */

enum fsp_rc fsp_account_new(struct fsp_journal *journal, int64_t as_of_s,
        struct fsp_account **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_account_free(struct fsp_account *account);
const struct fsp_ledger *fsp_account_ledger(const struct fsp_account *account); /* peek */

#endif
