/*
 * Signatures by persons: what is signed, and the key file a person keeps under a passphrase.
 *
 *     inspection   "farspool-inspection/v1" LF, then the entry's canonical bytes with the top-level
 *                  members `noted` and `sig` cut out
 *     countersign  "farspool-countersign/v1" LF, then the 32-byte leaf hash of the entry agreed with
 *
 * The messages are made from the bytes as they were received, by cutting, never by encoding again.
 *
 * Key file, one line, mode 0600: "farspool-signer/v1 <verifier key> <ops> <mem> <salt> <box>" LF; the
 * box is a crypto_secretbox of the seed under Argon2id (libsodium's crypto_pwhash, RFC 9106) of the
 * passphrase; ops passes, mem KiB. docs/formats.md has the bytes.
 *
 * Ownership: fsp_skey as in key.h: the secret lives in locked memory.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_EVERIFY (wrong passphrase or altered file), FSP_EIO,
 * FSP_EINVAL (a passphrase that is too short), FSP_ENOMEM.
 */
#ifndef FSP_PROOF_SIGNER_H
#define FSP_PROOF_SIGNER_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/clock.h"
#include "base/err.h"
#include "proof/key.h"
#include "proof/tree.h"

#define FSP_PASSPHRASE_LEAST 10 /* bytes; house figure */
#define FSP_PASSPHRASE_MOST  1024

/* Append the message that an inspection's signature covers. entry: an entry's canonical bytes, with
 * or without `noted` and `sig`. */
enum fsp_rc fsp_inspection_message(
        const void *entry, size_t len, struct fsp_buf *buf, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_countersign_message(const uint8_t leaf[FSP_HASH_LEN], struct fsp_buf *buf);

/* Cost of the passphrase's hash. NULL where a cost is asked for: the interactive one of libsodium
 * is the least that is read or written, and the default is its moderate one. */
struct fsp_signer_cost {
    unsigned long long ops;
    size_t mem; /* bytes, whole KiB */
};
enum fsp_rc fsp_signer_save(const struct fsp_skey *skey, const char *path,
        const char *passphrase, const struct fsp_signer_cost *cost, const struct fsp_env *env,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_signer_load(struct fsp_skey **out, const char *path, const char *passphrase,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The verifier key of a key file, without the passphrase. */
enum fsp_rc fsp_signer_peek(
        struct fsp_vkey *out, const char *path, struct fsp_err *err) FSP_MUST_CHECK;

#endif
