/*
 * Stored states of the ledger: derived data, kept to start a fold from and thrown away freely.
 *
 * A state holds the fold up to the end of a minute. After it only the entries of later minutes need
 * to be folded, and the result is the same to the bit as that of a full fold. What may be stored:
 * the end of any fold, and each cut of it (fsp_ledger_on_cut).
 *
 * How to use one: make a new ledger, restore into it, add every entry whose own `at` is at or after
 * `from_s`, every amendment however old, and every entry that arrived since (index at or above its
 * log's size in the state); more does no harm. Then fold. FSP_EAGAIN means that something new
 * belongs before the state: take an older one, or none. The signatures' states are part of a
 * state: throw states away when the roster changes or a countersignature arrives.
 *
 * Ownership: the bytes are borrowed for the call.
 * Units: seconds since 1970, bytes.
 * Threads: one ledger, one thread.
 * Errors: FSP_EFORMAT for bytes of another version, other rules or damaged: fold everything;
 * FSP_EAGAIN from save: not storable here (an amendment waits for its entry, an amended time
 * crosses this point), so skip this one.
 */
#ifndef FSP_LINE_STATE_H
#define FSP_LINE_STATE_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"

struct fsp_ledger;

#define FSP_STATE_VERSION 4
#define FSP_STATE_LOGS    16 /* renewals beyond that are folded in full */
#define FSP_STATE_MAX     ((size_t)8 * 1024 * 1024) /* bytes of a state; house figure */

struct fsp_state_about {
    int64_t from_s;                /* entries at or after it are not in the state */
    size_t logs;                   /* in the rig's chain of renewals */
    uint64_t size[FSP_STATE_LOGS]; /* entries of each log that had arrived */
    uint64_t cuts;                 /* cuts folded */
};

/* Append the state of the last fold, or, inside the function given to fsp_ledger_on_cut, of the fold
 * so far. */
enum fsp_rc fsp_ledger_save(const struct fsp_ledger *ledger, struct fsp_buf *buf,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Start a ledger, new and still empty, from a state. Unchanged on failure. */
enum fsp_rc fsp_ledger_restore(struct fsp_ledger *ledger, const uint8_t *bytes, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
/* What a state says of itself, the whole checked but not restored. */
enum fsp_rc fsp_ledger_state_about(const uint8_t *bytes, size_t len,
        struct fsp_state_about *about, struct fsp_err *err) FSP_MUST_CHECK;

/* Call fn during each fold at the end of every minute that holds a cut; NULL: no more. A failure of
 * fn fails the fold. */
typedef enum fsp_rc (*fsp_ledger_cut_fn)(
        void *ctx, const struct fsp_ledger *ledger, struct fsp_err *err);
void fsp_ledger_on_cut(struct fsp_ledger *ledger, fsp_ledger_cut_fn fn, void *ctx);

#endif
