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
 * passphrase; ops passes, mem KiB. docs/formats.md has the bytes. The key's name is
 * <fleet>/signer:<name>.
 *
 * Ownership: fsp_skey as in key.h: the secret lives in locked memory.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_EVERIFY (wrong passphrase or altered file), FSP_EIO (a file
 * that others may read too), FSP_EINVAL (a passphrase that is too short), FSP_ENOMEM.
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

/* Locked memory of FSP_PASSPHRASE_MOST + 2 bytes, zeros, for a passphrase; NULL when there is none.
 * Free wipes it and accepts NULL. */
char *fsp_passphrase_new(void);
void fsp_passphrase_free(char *passphrase);

/* Append the message that an inspection's signature covers. entry: an entry's canonical bytes, with
 * or without `noted` and `sig`. */
enum fsp_rc fsp_inspection_message(
        const void *entry, size_t len, struct fsp_buf *buf, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_countersign_message(const uint8_t leaf[FSP_HASH_LEN], struct fsp_buf *buf);

/*
 * Cost of the passphrase's hash. NULL where a cost is asked for: RFC 9106 section 4's second
 * recommended option, for machines short of memory (3 passes over 64 MiB; libsodium has one lane
 * where the RFC has four), since an inspector signs on the rig's own PC. Least that is read or
 * written: libsodium's interactive figures (2 passes, 64 MiB). Most: 16 passes, 1 GiB (libsodium's
 * sensitive memory).
 */
struct fsp_signer_cost {
    unsigned long long ops;
    size_t mem; /* bytes, whole KiB */
};
/* A new file, mode 0600; an existing one is never replaced. */
enum fsp_rc fsp_signer_save(const struct fsp_skey *skey, const char *path,
        const char *passphrase, const struct fsp_signer_cost *cost, const struct fsp_env *env,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The same under another passphrase in place of the old file, at once or not at all. */
enum fsp_rc fsp_signer_replace(const struct fsp_skey *skey, const char *path,
        const char *passphrase, const struct fsp_signer_cost *cost, const struct fsp_env *env,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_signer_load(struct fsp_skey **out, const char *path, const char *passphrase,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The verifier key of a key file, without the passphrase. */
enum fsp_rc fsp_signer_peek(
        struct fsp_vkey *out, const char *path, struct fsp_err *err) FSP_MUST_CHECK;
/* The same of a key file's bytes. */
enum fsp_rc fsp_signer_parse(struct fsp_vkey *out, const void *bytes, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
