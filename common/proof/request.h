/*
 * What a log's keeper asks of a witness: C2SP tlog-witness, the body of an add-checkpoint request
 * (commit 5ba5ee8 of the specification repository).
 *
 *     old <size that the witness cosigned last>
 *     <base64 of a hash of the consistency proof>      none when old is 0 or the size itself
 *                                                      (empty line)
 *     <the checkpoint with the log's signature>
 *
 * Ownership: a parsed request borrows its bytes.
 * Errors: FSP_EFORMAT, FSP_ELIMIT; FSP_EVERIFY when the proof does not hold.
 */
#ifndef FSP_PROOF_REQUEST_H
#define FSP_PROOF_REQUEST_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "proof/note.h"
#include "proof/tree.h"

#define FSP_REQUEST_HASHES_MAX 63 /* as the specification says */
#define FSP_REQUEST_MAX        (FSP_NOTE_MAX + (size_t)4096)

struct fsp_request {
    uint64_t old;
    uint8_t path[FSP_REQUEST_HASHES_MAX][FSP_HASH_LEN];
    size_t n;
    const char *note; /* borrowed */
    size_t note_len;
    struct fsp_checkpoint
            head; /* what the note's text says; its signatures are not looked at */
};

void fsp_request_write(struct fsp_buf *buf, uint64_t old, const uint8_t (*path)[FSP_HASH_LEN],
        size_t n, const char *note, size_t note_len);
/* old above the size, and hashes that cannot be right, are refused. */
enum fsp_rc fsp_request_parse(struct fsp_request *request, const char *bytes, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The tree of `old` entries with this root is the beginning of the request's. */
enum fsp_rc fsp_request_verify(const struct fsp_request *request,
        const uint8_t old_root[FSP_HASH_LEN], struct fsp_err *err) FSP_MUST_CHECK;

#endif
