/*
 * What the office said that it knows beyond what every office does: dictionaries, short receipts. Kept
 * in the store, so that what is sent needs no more bytes than it must.
 *
 * It is not signed: believed wrongly, it costs one try. A 400 makes the rig forget it (receipt.c), and
 * the next answer to a plain bundle says it again.
 *
 * Ownership: values. Threads: as the journal. Errors: those of store/db.h.
 */
#ifndef FSP_RIG_KNOWS_H
#define FSP_RIG_KNOWS_H

#include <stddef.h>

#include "base/err.h"
#include "rig/journal.h"
#include "wire/answer.h"

/* As kept, no more than this program knows, too; dictionary is 1 at least. */
enum fsp_rc fsp_knows_read(struct fsp_journal *journal, struct fsp_office_knows *out,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Keep it, in a transaction of its own when it is news. NULL: forget. */
enum fsp_rc fsp_knows_keep(struct fsp_journal *journal, const struct fsp_office_knows *knows,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Keep what a file of answers says of it, if it does. */
enum fsp_rc fsp_knows_hear(struct fsp_journal *journal, const void *answers, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
