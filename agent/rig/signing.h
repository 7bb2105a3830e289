/*
 * An inspection or countersignature as it is entered: what the store knows is filled in, what
 * contradicts it is refused, and a person's key signs it.
 *
 * Filled when not given: fleet and rig (the store's), reel (the line hung now, by the ledger),
 * inspector or signer (the key's name). Refused, signed or not: another fleet or rig, a reel that
 * the log does not know (unless the scope is before-use, since it may not be hung yet), an inspector
 * who is not the key's owner.
 *
 * Ownership: new/free; typed members point into it and into `typed` until both are freed.
 * Threads: one; the terminal may be asked for a passphrase.
 * Errors: FSP_EINVAL, FSP_EVERIFY (wrong passphrase), those of proof/signer.h and the journal.
 */
#ifndef FSP_RIG_SIGNING_H
#define FSP_RIG_SIGNING_H

#include "base/err.h"
#include "record/record.h"
#include "rig/cmd.h"

struct fsp_signing; /* opaque */

/* Fill and judge the typed members of `kind`; nothing to do for other kinds, but --signer is
 * refused there. The key file is read, its passphrase is not asked for yet. */
enum fsp_rc fsp_signing_new(struct fsp_args *args, const char *kind,
        struct fsp_journal *journal, struct fsp_cmd_typed *typed, struct fsp_signing **out,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Sign the checked record; leaves it as it is when no key was given. */
enum fsp_rc fsp_signing_sign(struct fsp_signing *signing, struct fsp_args *args,
        struct fsp_record *record, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_signing_free(struct fsp_signing *signing);

/* One warning when an inspection was entered unsigned, or when what was signed does not count by the
 * roster that this store has. `index`: of the entry just added to the current log. */
void fsp_signing_tell(
        struct fsp_journal *journal, uint64_t index, const struct fsp_record *record);

#endif
