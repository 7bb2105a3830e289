/*
 * Renewal: a new key and a new log in the same store, continuing the old one.
 *
 * Rotation, a key that others may know, a lost key, a restored copy, a cloned disk, an edited
 * database and a replaced PC are all this one thing. The old log is closed and kept. With a hand-back
 * the office's version of every log takes its place in the chain; what of ours it does not have is
 * appended again, byte for byte, in the new log, except what a person typed again there already.
 * Nothing is removed: a history of ours that the office does not hold is set aside, with its heads.
 *
 * One transaction: a failure leaves the store as it was (at most with a key file nobody names). The
 * old key stays where it is until a person destroys it.
 *
 * Ownership: options are borrowed. Units: counts of entries.
 * Threads: as the journal. The caller holds link.lock.
 * Errors: FSP_EFORK (a hand-back is needed), FSP_EINVAL (an invitation is needed), FSP_EVERIFY,
 * FSP_EFORMAT (the hand-back is not good), those of the store.
 */
#ifndef FSP_RIG_RENEW_H
#define FSP_RIG_RENEW_H

#include <stdbool.h>
#include <stdint.h>

#include "base/err.h"
#include "rig/journal.h"
#include "wire/handback.h"
#include "wire/invitation.h"

struct fsp_renew_options {
    const char *why; /* for the record */
    const char *by;
    const struct fsp_invitation *invitation; /* NULL: the old key proves it */
    const struct fsp_handback *back;         /* NULL: the store is whole */
};

struct fsp_renew_report {
    char from[FSP_ORIGIN_MAX + 1]; /* the log that is continued */
    uint64_t from_size;
    bool proved;          /* by the old key */
    uint64_t taken_back;  /* entries of the office's that were not here */
    uint64_t again;       /* entries of ours appended again */
    uint64_t first_again; /* the first of them in the new log */
    uint64_t doubtful;    /* of them: they share time, kind and op with an entry that counts */
    uint64_t typed_again; /* entries of ours that the office had already: kept aside */
    bool set_aside;       /* a history of ours is kept as evidence */
};

enum fsp_rc fsp_renew(struct fsp_journal *journal, const struct fsp_renew_options *options,
        struct fsp_renew_report *report, struct fsp_err *err) FSP_MUST_CHECK;

#endif
