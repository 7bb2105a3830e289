/*
 * A witness without a network: judges a request (proof/request.h) by what it cosigned before, keeps
 * the new head, and only then cosigns.
 *
 * The state is a folder: `logs`, the verifier keys of the logs that may be cosigned, one a line; and
 * for every log a small text file, replaced at once or not at all and synced before a cosignature
 * leaves:
 *
 *     farspool-witness-state/v1
 *     origin <origin>
 *     size <n>
 *     root <base64>
 *     time <seconds since 1970>
 *
 * named by the lower-case hexadecimal of SHA-256 over a zero byte and the origin, with ".head"
 * behind. A lock file keeps two witnesses of one state apart.
 *
 * Ownership: the caller's buffers. Threads: one at a time; other processes wait for none.
 * Errors: FSP_EVERIFY (not the log's signature, rollback, no proof of growth), FSP_EFORK (another
 * root at a size that was cosigned), FSP_ENOTFOUND (a log that is not listed), FSP_EAGAIN (asked from
 * another size than was cosigned last), FSP_EBUSY, FSP_EFORMAT, FSP_ELIMIT, FSP_EIO.
 */
#ifndef FSP_AUDIT_COSIGN_H
#define FSP_AUDIT_COSIGN_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "proof/key.h"
#include "proof/note.h"

#define FSP_WITNESS_LOGS_MAX 1024

struct fsp_witness_job {
    const char *state; /* folder; made when it is not there */
    const struct fsp_skey *key;
    int64_t now_s;
};

/* Append the checkpoint with its lines and ours last. *head: what was cosigned. */
enum fsp_rc fsp_witness_cosign(const struct fsp_witness_job *job, const char *request,
        size_t len, struct fsp_buf *out, struct fsp_checkpoint *head,
        struct fsp_err *err) FSP_MUST_CHECK;
/* List a log: from now on it may be cosigned. Done twice it changes nothing. */
enum fsp_rc fsp_witness_add_log(
        const char *state, const struct fsp_vkey *log, struct fsp_err *err) FSP_MUST_CHECK;

#endif
