/*
 * The logs of one rig in the order the ledger reads them.
 *
 * A log that continues another one stands behind it; logs that continue none stand in the order of
 * their enrolment. Where two logs claim to continue the same one, both are kept, in the order of
 * their enrolment, and the second is flagged. The ledger's ordinal of a log is its place here.
 *
 * Ownership: the list is the caller's, free() it.
 * Threads: as the shelf. Call inside a transaction when it must be of one moment.
 * Errors: those of the shelf. FSP_ENOMEM.
 */
#ifndef FSP_OFFICE_CHAIN_H
#define FSP_OFFICE_CHAIN_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"
#include "office/shelf.h"

struct fsp_chain_log {
    struct fsp_shelf_log log;
    bool renewed;                     /* it began by a renewal: */
    struct fsp_shelf_renewal renewal; /* this one */
    bool second;                      /* another log continued the same one before */
    bool closed;                      /* a later log continues this one */
    uint64_t closed_size;             /* entries it had when it was closed */
};

/* Logs of the rig; *n may be 0. */
enum fsp_rc fsp_chain_load(struct fsp_shelf *shelf, const char *rig, struct fsp_chain_log **out,
        size_t *n, struct fsp_err *err) FSP_MUST_CHECK;
/* What a keeper should look at: a renewal not confirmed, not proved, unfit, or a second one.
 * Appends nothing when there is nothing. One line without a newline. */
void fsp_chain_flag_text(const struct fsp_chain_log *log, struct fsp_buf *buf);

#endif
