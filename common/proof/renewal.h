/*
 * Renewals: a new log with a new key that continues an old one.
 *
 * The first entry of the new log is a `renewal` record that names the old log, the size and root it
 * continues from, and why. Its proof is the old key's signature over
 *
 *     farspool-renewal/v1
 *     <old origin>
 *     <size>
 *     <base64 of the root>
 *     <verifier key of the new log>
 *
 * with an LF behind every line. A renewal without a proof (the old key is lost) needs an invitation.
 *
 * Ownership: values. Threads: pure.
 * Errors: FSP_EFORMAT, FSP_EVERIFY, FSP_ENOMEM.
 */
#ifndef FSP_PROOF_RENEWAL_H
#define FSP_PROOF_RENEWAL_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"
#include "proof/key.h"
#include "proof/note.h"

struct fsp_renewal {
    struct fsp_checkpoint from; /* the old log and the size and root it is continued from */
    bool has_proof;
    uint8_t proof[FSP_SIG_LEN];
};

/* Fill in the proof with the old log's key; its name must be from.origin. */
enum fsp_rc fsp_renewal_sign(struct fsp_renewal *renewal, const struct fsp_skey *old_key,
        const struct fsp_vkey *new_key, struct fsp_err *err) FSP_MUST_CHECK;
/* FSP_EVERIFY when the proof is missing or not that of the old key for exactly this. */
enum fsp_rc fsp_renewal_verify(const struct fsp_renewal *renewal,
        const struct fsp_vkey *old_key, const struct fsp_vkey *new_key,
        struct fsp_err *err) FSP_MUST_CHECK;

/* The members `from` and `proof` of a `renewal` entry; FSP_EFORMAT when it is none. */
enum fsp_rc fsp_renewal_read(struct fsp_renewal *renewal, const void *entry, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The value of `from` as JSON text. */
void fsp_renewal_write_from(const struct fsp_renewal *renewal, struct fsp_buf *buf);

#endif
