/*
 * The tables of what is derived from the logs: stored states of the ledger, and marks beside them
 * (fold/fold.h says what they hold). Thrown away freely: no trigger guards them, and every reader
 * checks what it reads.
 *
 * folded(owner, cuts, from_s, state): one row a state, named by the number of cuts in it, -1 for the
 * one at the end. marked(owner, marks): one row. owner is a rig's name, "" where there is one rig.
 *
 * Ownership: outputs go to the caller's buffers.
 * Transactions: those that write must run inside fsp_db_begin()..commit().
 * Errors: those of db.h; FSP_ENOTFOUND; FSP_ELIMIT (larger than the buffer's maximum).
 */
#ifndef FSP_STORE_STATETABLE_H
#define FSP_STORE_STATETABLE_H

#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "store/db.h"

/* SQL of the tables: a migration step of both stores. */
extern const char fsp_statetable_sql[];

enum fsp_rc fsp_statetable_marks(struct fsp_db *db, const char *owner, struct fsp_buf *out,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_statetable_state(struct fsp_db *db, const char *owner, int64_t cuts,
        struct fsp_buf *out, struct fsp_err *err) FSP_MUST_CHECK;
/* The latest first. The callback must not use these tables. */
enum fsp_rc fsp_statetable_states(struct fsp_db *db, const char *owner,
        enum fsp_rc (*each)(void *ctx, int64_t cuts, int64_t from_s, struct fsp_err *err),
        void *ctx, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_statetable_keep_marks(struct fsp_db *db, const char *owner,
        const struct fsp_buf *bytes, struct fsp_err *err) FSP_MUST_CHECK;
/* cuts_from: cuts, from_s. */
enum fsp_rc fsp_statetable_keep_state(struct fsp_db *db, const char *owner,
        const int64_t cuts_from[2], const struct fsp_buf *bytes,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_statetable_drop_state(
        struct fsp_db *db, const char *owner, int64_t cuts, struct fsp_err *err) FSP_MUST_CHECK;

#endif
