/*
 * The line's account from the journal: all logs of the chain, folded at a time, from what an earlier
 * fold left in the store where that helps (fold/fold.h). The result never depends on it.
 *
 * What a fold found worth keeping is written after it, in a transaction of its own on a connection
 * of its own: not at all when the store cannot be written or somebody else is writing.
 *
 * Ownership: new/free; ledger and fold are the account's.
 * Units: as_of in seconds since 1970.
 * Threads: as the journal.
 * Errors: those of store/logtable.h and line/ledger.h. An entry that cannot be read is counted.
 */
#ifndef FSP_RIG_ACCOUNT_H
#define FSP_RIG_ACCOUNT_H

#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "fold/fold.h"
#include "line/ledger.h"
#include "rig/journal.h"

struct fsp_account; /* opaque */

/* What a fold of this store is about; the caller frees logs, whatever comes back, and the keys with
 * them: they stand in the same block. */
enum fsp_rc fsp_account_about(struct fsp_journal *journal, int64_t as_of_s,
        struct fsp_fold_about *about, struct fsp_fold_log **logs,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_account_new(struct fsp_journal *journal, int64_t as_of_s,
        struct fsp_account **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_account_free(struct fsp_account *account);
const struct fsp_ledger *fsp_account_ledger(const struct fsp_account *account); /* peek */
const struct fsp_fold *fsp_account_fold(const struct fsp_account *account);     /* peek */

/* Who signed the newest inspection and those behind open findings: lines for a person, and members
 * of a JSON object ("findings":[…],"inspections":[…], the newest alone). */
void fsp_account_signed_text(const struct fsp_account *account, struct fsp_buf *buf);
void fsp_account_signed_json(const struct fsp_account *account, struct fsp_buf *buf);

/* Hold what is kept in the store against a fold of every entry; throw it away when any of it is
 * damaged or differs. */
enum fsp_rc fsp_account_check(struct fsp_journal *journal, struct fsp_fold_checked *checked,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
