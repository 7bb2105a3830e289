/*
 * Named Ed25519 keys in C2SP form: verifier keys (vkey text), key ids, secret keys in files.
 *
 * Source: C2SP signed-note and tlog-cosignature; Ed25519 by libsodium (the strict side).
 *
 * Ownership: fsp_vkey is a value. fsp_skey is opaque, its secret lives in sodium_malloc memory,
 * read-only after load, wiped by free.
 * Threads: sodium_init() must have been called by the program (fsp_proof_init()).
 * Errors: FSP_EFORMAT, FSP_EIO, FSP_ENOMEM, FSP_EVERIFY.
 */
#ifndef FSP_PROOF_KEY_H
#define FSP_PROOF_KEY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/clock.h"
#include "base/err.h"
#include "base/limits.h"

#define FSP_KEY_NAME_MAX 255
#define FSP_SIG_LEN      64

enum fsp_key_type {
    FSP_KEY_NOTE = 0x01,     /* Ed25519 note signature */
    FSP_KEY_COSIGNER = 0x04, /* Ed25519 timestamped cosignature */
};

struct fsp_vkey {
    char name[FSP_KEY_NAME_MAX + 1];
    enum fsp_key_type type;
    uint8_t id[4];
    uint8_t pub[32];
};

struct fsp_skey;

/* sodium_init(); call once at start of every program and test. */
enum fsp_rc fsp_proof_init(struct fsp_err *err) FSP_MUST_CHECK;

/* Standard base64 with padding, strict: no white space, canonical trailing bits. */
void fsp_base64(struct fsp_buf *buf, const void *bytes, size_t len);
enum fsp_rc fsp_unbase64(const char *text, size_t len, struct fsp_buf *out) FSP_MUST_CHECK;
/* Exactly out_len bytes. */
enum fsp_rc fsp_unbase64_exact(
        const char *text, size_t len, uint8_t *out, size_t out_len) FSP_MUST_CHECK;

/* Not empty, no Unicode space, no '+', printable, at most FSP_KEY_NAME_MAX. */
bool fsp_key_name_ok(const char *name, size_t len);
enum fsp_rc fsp_vkey_make(struct fsp_vkey *vkey, const char *name, enum fsp_key_type type,
        const uint8_t pub[32], struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_vkey_parse(struct fsp_vkey *vkey, const char *text, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_vkey_write(const struct fsp_vkey *vkey, struct fsp_buf *buf);
bool fsp_vkey_equal(const struct fsp_vkey *a, const struct fsp_vkey *b);
/* SHA-256 of the vkey text as lower-case hex, to be read aloud and compared. 65 bytes. */
void fsp_vkey_fingerprint(const struct fsp_vkey *vkey, char *out);

/* A new key pair; randomness from env (tests seed it). */
enum fsp_rc fsp_skey_new(struct fsp_skey **out, const char *name, enum fsp_key_type type,
        const struct fsp_env *env, struct fsp_err *err) FSP_MUST_CHECK;
/* Key files hold one text line, "farspool-key/v1 <vkey> <base64 seed>"; mode 0600, created never
 * replaced; a file readable by others is refused with advice. */
enum fsp_rc fsp_skey_save(
        const struct fsp_skey *skey, const char *path, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_skey_load(
        struct fsp_skey **out, const char *path, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_skey_free(struct fsp_skey *skey);
const struct fsp_vkey *fsp_skey_vkey(const struct fsp_skey *skey); /* peek */
enum fsp_rc fsp_skey_sign(const struct fsp_skey *skey, const void *message, size_t len,
        uint8_t sig[FSP_SIG_LEN], struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_vkey_verify(const struct fsp_vkey *vkey, const void *message, size_t len,
        const uint8_t sig[FSP_SIG_LEN]) FSP_MUST_CHECK;

#endif
