/*
 * The tables a log lives in, the same on rig and office: entries, heads, compact ranges.
 *
 * log: a small integer, the store's own name for one log (one incarnation of a rig).
 * entry(log, idx, bytes) is append-only: triggers refuse UPDATE and DELETE. tip(log, size, range) is
 * the compact range over all entries, moved in the same transaction as every append.
 * head(log, size, note, time) keeps every signed head: on the rig its own, and with the receipt's
 * cosignature once it came; in the office every cosigned head.
 *
 * Ownership: outputs go to the caller's buffers.
 * Units: size and index count entries; time in seconds since 1970.
 * Transactions: every function that writes must run inside fsp_db_begin()..commit().
 * Errors: those of db.h; FSP_ENOTFOUND; FSP_ECORRUPT when stored bytes and range contradict.
 */
#ifndef FSP_STORE_LOGTABLE_H
#define FSP_STORE_LOGTABLE_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "proof/tree.h"
#include "store/db.h"

/* SQL of the tables and triggers: the first migration step of both stores begins with it. */
extern const char fsp_logtable_sql[];

/* The compact range over all entries of the log; the empty range for a new log. */
enum fsp_rc fsp_logtable_tip(struct fsp_db *db, int64_t log, struct fsp_range *range,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Append one entry at range->size and grow range (in memory). Call fsp_logtable_set_tip() once
 * before commit. */
enum fsp_rc fsp_logtable_append(struct fsp_db *db, int64_t log, struct fsp_range *range,
        const void *bytes, size_t len, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_logtable_set_tip(struct fsp_db *db, int64_t log, const struct fsp_range *range,
        struct fsp_err *err) FSP_MUST_CHECK;

enum fsp_rc fsp_logtable_get(struct fsp_db *db, int64_t log, uint64_t index,
        struct fsp_buf *out, struct fsp_err *err) FSP_MUST_CHECK;
/* Call visit for entries from .. to - 1 in order; bytes are borrowed for the call. Stops at the
 * first result that is not FSP_OK and returns it. A missing entry is FSP_ECORRUPT. */
enum fsp_rc fsp_logtable_scan(struct fsp_db *db, int64_t log, uint64_t from, uint64_t to,
        enum fsp_rc (*visit)(void *ctx, uint64_t index, const uint8_t *bytes, size_t len,
                struct fsp_err *err),
        void *ctx, struct fsp_err *err) FSP_MUST_CHECK;
/* Leaf hashes of the first `size` entries, recomputed from the stored bytes; the caller frees. */
enum fsp_rc fsp_logtable_leaves(struct fsp_db *db, int64_t log, uint64_t size,
        uint8_t (**leaves)[FSP_HASH_LEN], struct fsp_err *err) FSP_MUST_CHECK;

/* Keep a signed head with the compact range it was signed over. An equal (log, size) is left as it
 * is when its note is the same, else its note is replaced by the longer one (a receipt adds a line).
 * FSP_ECORRUPT when the range kept at that size is another one. */
enum fsp_rc fsp_logtable_add_head(struct fsp_db *db, int64_t log, const struct fsp_range *range,
        const void *note, size_t len, int64_t time_s, struct fsp_err *err) FSP_MUST_CHECK;
/* The newest head at or below `size` (UINT64_MAX: the newest of all). */
enum fsp_rc fsp_logtable_head_below(struct fsp_db *db, int64_t log, uint64_t size,
        struct fsp_range *range, struct fsp_buf *note, struct fsp_err *err) FSP_MUST_CHECK;
/* The smallest head whose size is above `index`: the earliest that covers the entry. */
enum fsp_rc fsp_logtable_head_covering(struct fsp_db *db, int64_t log, uint64_t index,
        struct fsp_range *range, struct fsp_buf *note, struct fsp_err *err) FSP_MUST_CHECK;

/* Recompute the compact range of all entries and compare with the tip and with every head's root.
 * FSP_ECORRUPT names the first that differs. *size entries were read. Sees one moment of the store,
 * inside a transaction or without one. */
enum fsp_rc fsp_logtable_verify(
        struct fsp_db *db, int64_t log, uint64_t *size, struct fsp_err *err) FSP_MUST_CHECK;

#endif
