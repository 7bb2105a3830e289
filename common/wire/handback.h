/*
 * The hand-back: everything the office holds of one rig, as one file, for a rig that lost records or
 * whose history was forked.
 *
 *     farspool-hand-back/v1
 *     manifest <bytes>
 *     <note signed by the instructions key>
 *     then for each log of the manifest whose size is not 0, in order:
 *       register <bytes>
 *       <register from 0 (proof/register.h), <bytes> bytes>
 *       head <bytes>               every signed head kept of it, smallest first
 *       <the head, <bytes> bytes>
 *     end
 *
 * The manifest's text:
 *
 *     farspool-hand-back/v1
 *     fleet <name>
 *     rig <name>
 *     rest <lower-case hex SHA-256 of all bytes behind the manifest>
 *     log <verifier key> <size> <base64 of the root>     in the order of the ledger (office/chain.h)
 *
 * Ownership: a read file borrows the bytes; its list of logs is freed by fsp_handback_fini().
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_EVERIFY (not signed by that key).
 */
#ifndef FSP_WIRE_HANDBACK_H
#define FSP_WIRE_HANDBACK_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "base/limits.h"
#include "proof/key.h"
#include "proof/tree.h"

#define FSP_HANDBACK_MAX  ((size_t)1024 * 1024 * 1024)
#define FSP_HANDBACK_LOGS ((size_t)256)

struct fsp_handback_log {
    struct fsp_vkey vkey; /* its name is the origin */
    uint64_t size;
    uint8_t root[FSP_HASH_LEN];
    const uint8_t *reg; /* reading: the register; NULL when size is 0 */
    size_t reg_len;
    const uint8_t *heads; /* reading: frames for fsp_handback_head() */
    size_t heads_len;
};

struct fsp_handback {
    char fleet[FSP_NAME_MAX + 1];
    char rig[FSP_NAME_MAX + 1];
    struct fsp_handback_log *logs;
    size_t n;
    uint8_t rest[32]; /* SHA-256 of what follows the manifest */
};

/* Split and check the form and the manifest's signature. What registers and heads say is judged by
 * the reader, against size and root of the manifest. */
enum fsp_rc fsp_handback_read(struct fsp_handback *back, const void *bytes, size_t len,
        const struct fsp_vkey *instructions, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_handback_fini(struct fsp_handback *back);
/* The head at *pos of log->heads; FSP_ENOTFOUND at the end. */
enum fsp_rc fsp_handback_head(const struct fsp_handback_log *log, size_t *pos,
        const uint8_t **note, size_t *len) FSP_MUST_CHECK;

/* Writing: per log its register and heads into `rest`; then the whole file, which names its digest. */
void fsp_handback_add_register(struct fsp_buf *rest, const void *reg, size_t len);
void fsp_handback_add_head(struct fsp_buf *rest, const void *note, size_t len);
enum fsp_rc fsp_handback_write(struct fsp_buf *out, struct fsp_handback *back,
        struct fsp_buf *rest, const struct fsp_skey *instructions,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
