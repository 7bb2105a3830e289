/*
 * Heads: signing them, and the file that remembers how far we ever signed.
 *
 * No signature leaves before its head is committed and signed-size is on disk. Roots are computed
 * from stored bytes, those above the nearest stored head on that head's compact range.
 *
 * Ownership: everything goes into the caller's storage.
 * Units: sizes count entries.
 * Threads: as the journal. The caller of fsp_head_sign() holds link.lock.
 * Errors: FSP_ECORRUPT when stored bytes and tip contradict, FSP_EFORK when this store may not
 * sign, those of store/db.h and base/file.h.
 */
#ifndef FSP_RIG_HEAD_H
#define FSP_RIG_HEAD_H

#include <stdint.h>

#include "base/err.h"
#include "proof/key.h"
#include "proof/note.h"
#include "proof/tree.h"
#include "rig/journal.h"

/* The signed-size file of a log: one line, "origin size root". Its name is signed-size and the
 * log's tail: "" for a store's first log, "-INCARNATION" for later ones. */
enum fsp_rc fsp_signed_size_read(const char *folder, const char *tail,
        struct fsp_checkpoint *out, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_signed_size_write(const char *folder, const char *tail,
        const struct fsp_checkpoint *head, struct fsp_err *err) FSP_MUST_CHECK;

/* The compact range over the first `size` entries of a log. FSP_ECORRUPT when they are not all
 * there. */
enum fsp_rc fsp_head_range(struct fsp_db *db, int64_t log, uint64_t size,
        struct fsp_range *range, struct fsp_err *err) FSP_MUST_CHECK;

/* Recompute the tip from the stored bytes above the newest head; once before signing begins. */
enum fsp_rc fsp_head_confirm_tip(
        struct fsp_journal *journal, struct fsp_err *err) FSP_MUST_CHECK;

/* Sign the head over the first `size` entries (1 .. size of the log). When this returns FSP_OK
 * the head is durable twice, in the database and in signed-size, and the signature may leave. */
enum fsp_rc fsp_head_sign(struct fsp_journal *journal, const struct fsp_skey *skey,
        uint64_t size, struct fsp_checkpoint *head, uint8_t sig[FSP_SIG_LEN],
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
