/*
 * Which keys of the office count for this rig.
 *
 * First those of its invitation, then each that an instruction about keys in its log names, by the
 * word of a key that counted then. Keys that were followed by others go on counting, so that older
 * receipts and instructions stay good. A later invitation (renew --invitation) starts anew: what
 * counted before vouches for entries of the log alone, and for no new answer.
 *
 * Ownership: a value without pointers.
 * Threads: as the journal.
 * Errors: those of the store; FSP_ECORRUPT.
 */
#ifndef FSP_RIG_TRUST_H
#define FSP_RIG_TRUST_H

#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "proof/attest.h"
#include "proof/key.h"
#include "proof/newkeys.h"
#include "proof/note.h"
#include "rig/journal.h"
#include "wire/invitation.h"

struct fsp_trust {
    struct fsp_vkey cosigners[FSP_ATTEST_KEYS_MAX]; /* their receipts count; the newest last */
    size_t n_cosigners;
    struct fsp_vkey instructions[FSP_ATTEST_KEYS_MAX]; /* their answers count */
    size_t n_instructions;
    struct fsp_vkey ever[FSP_ATTEST_KEYS_MAX]; /* instructions keys for what is in the log */
    size_t n_ever;
    struct fsp_vkey cosigners_ever[FSP_ATTEST_KEYS_MAX]; /* for receipts that are stored */
    size_t n_cosigners_ever;
    uint8_t box_pub[32]; /* what bundles are sealed for */
};

enum fsp_rc fsp_trust_load(struct fsp_journal *journal, struct fsp_trust *trust,
        struct fsp_err *err) FSP_MUST_CHECK;

/* FSP_OK when one of the cosigners signed and no line of any of them is bad: *cosigner is the first,
 * *time_s its time. FSP_EVERIFY, with the reason. */
enum fsp_rc fsp_trust_cosigned(const struct fsp_trust *trust, const struct fsp_note *note,
        const struct fsp_vkey **cosigner, uint64_t *time_s, struct fsp_err *err) FSP_MUST_CHECK;

/* The same for a stored head: any cosigner that ever counted. */
enum fsp_rc fsp_trust_was_cosigned(const struct fsp_trust *trust, const struct fsp_note *note,
        const struct fsp_vkey **cosigner, struct fsp_err *err) FSP_MUST_CHECK;

/* Inside a transaction: these count from now on. */
enum fsp_rc fsp_trust_add(struct fsp_journal *journal, const struct fsp_new_keys *keys,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Inside a transaction: these and no others count for answers from now on. */
enum fsp_rc fsp_trust_invited(struct fsp_journal *journal,
        const struct fsp_invitation *invitation, struct fsp_err *err) FSP_MUST_CHECK;

#endif
