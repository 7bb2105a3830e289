/*
 * Who signed what in a rig's records: the state of every signature, from the records alone.
 *
 * The roster travels to the rig as an instruction and is kept in its log, so both ends and an
 * auditor find the same states from the same entries. In force is the roster with the highest
 * version among the instructions whose office signature holds, wherever in the log it stands.
 *
 *     inspection   its own `sig`, by `inspector`; FSP_SIG_NONE without one. Fleet and rig in it must
 *                  be the log's, else FSP_SIG_BAD
 *     countersign  its own `sig`, by `signer`, over the leaf it names
 *     others       the best state among the countersignatures that name the entry, FSP_SIG_NONE
 *                  without any (so that voiding an inspection can be signed)
 *
 * Use: note() every entry, in any order; then state() of each. Nothing is verified in note() but
 * instructions.
 *
 * Ownership: new/free; what it needs of records is copied.
 * Threads: one attest, one thread.
 * Errors: FSP_ENOMEM. Odd records are states, never errors.
 */
#ifndef FSP_PROOF_ATTEST_H
#define FSP_PROOF_ATTEST_H

#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "proof/key.h"
#include "proof/roster.h"
#include "proof/tree.h"
#include "record/record.h"
#include "record/sigstate.h"

#define FSP_ATTEST_KEYS_MAX 8 /* instructions keys of an office, one after the other */

struct fsp_attest; /* opaque */

/* Whose log it is; instructions keys that count, the first and those it handed over to. */
struct fsp_attest_about {
    const char *fleet; /* borrowed until free */
    const char *rig;   /* borrowed until free */
    const struct fsp_vkey *keys;
    size_t n_keys;
};

struct fsp_attest_entry {
    const struct fsp_record *record; /* as stored, before any amendment; NULL: not readable */
    const uint8_t *bytes;            /* the entry as stored */
    size_t len;
    const uint8_t *leaf; /* FSP_HASH_LEN */
};

enum fsp_rc fsp_attest_new(struct fsp_attest **out, const struct fsp_attest_about *about,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_attest_free(struct fsp_attest *attest);
enum fsp_rc fsp_attest_note(struct fsp_attest *attest, const struct fsp_attest_entry *entry,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_sig_state fsp_attest_state(
        struct fsp_attest *attest, const struct fsp_attest_entry *entry);
/* The same; *who is the roster's line that decided about the entry's own signature, NULL when none
 * did. Peek. */
enum fsp_sig_state fsp_attest_judge(struct fsp_attest *attest,
        const struct fsp_attest_entry *entry, const struct fsp_roster_signer **who);
/* The best state among the countersignatures that name the leaf, also when the entry is an inspection
 * with a signature of its own; FSP_SIG_NONE without any. */
enum fsp_sig_state fsp_attest_countersigned(
        struct fsp_attest *attest, const uint8_t leaf[FSP_HASH_LEN]);
/* A roster that came beside evidence counts like one from the log. FSP_EVERIFY when it is by no key
 * that counts, or another fleet's. */
enum fsp_rc fsp_attest_take_roster(struct fsp_attest *attest, const char *note, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
/* In force; NULL when none came. Peek. */
const struct fsp_roster *fsp_attest_roster(const struct fsp_attest *attest);
/* The signed note of that roster, as the instruction carried it; NULL when none came. Peek. */
const char *fsp_attest_roster_note(const struct fsp_attest *attest, size_t *len);

#endif
