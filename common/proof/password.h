/*
 * Passwords and session tokens of people who use the office's pages.
 *
 * A password is kept as the text that libsodium's crypto_pwhash_str() makes: Argon2id, its cost and salt
 * inside. Checking one takes FSP_PASSWORD_MEMORY and about a tenth of a second of one core, on purpose;
 * who calls it bounds how many run at once. A token is 32 random bytes as base64url; what is stored of
 * it is its mark, the SHA-256 of the text: who reads the store cannot take over a session.
 *
 * Ownership: outputs are the caller's storage; passwords and tokens are wiped by who holds them.
 * Threads: any.
 * Errors: FSP_EVERIFY (another password), FSP_EINVAL (one that is too short or too long), FSP_ENOMEM.
 * Source: RFC 9106, section 4, second recommended option (3 passes, 64 MiB; libsodium has one lane
 * where the RFC has four); RFC 4648, section 5 (base64url).
 */
#ifndef FSP_PROOF_PASSWORD_H
#define FSP_PROOF_PASSWORD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/clock.h"
#include "base/err.h"

#define FSP_PASSWORD_MIN    10  /* characters; house figure */
#define FSP_PASSWORD_MAX    256 /* bytes */
#define FSP_PASSWORD_STORED 128 /* with the NUL */
#define FSP_PASSWORD_MEMORY ((size_t)64 * 1024 * 1024)
#define FSP_TOKEN_TEXT_LEN  43 /* base64url of 32 bytes, without padding */
#define FSP_TOKEN_BYTES     32
#define FSP_MARK_LEN        32

/* Whether it may be a new password: long enough, printable, not over the maximum. */
enum fsp_rc fsp_password_check(const char *password, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_password_hash(const char *password, char stored[static FSP_PASSWORD_STORED],
        struct fsp_err *err) FSP_MUST_CHECK;
/* FSP_EVERIFY unless it is this one. `stored` NULL: the same work, for a name that is not known, and
 * FSP_EVERIFY. */
enum fsp_rc fsp_password_verify(
        const char *stored, const char *password, struct fsp_err *err) FSP_MUST_CHECK;

/* A new token. */
void fsp_token_new(const struct fsp_env *env, char token[static FSP_TOKEN_TEXT_LEN + 1]);
/* What is kept of a token, or of any other text. */
void fsp_token_mark(const char *token, uint8_t mark[static FSP_MARK_LEN]);
/* 32 bytes as a token's text, and back: false when it is none. */
void fsp_token_write(
        const uint8_t bytes[static FSP_TOKEN_BYTES], char token[static FSP_TOKEN_TEXT_LEN + 1]);
bool fsp_token_read(const char *token, uint8_t bytes[static FSP_TOKEN_BYTES]);
/* In a time that does not tell where they differ. */
bool fsp_secret_equal(const void *a, const void *b, size_t len);
void fsp_secret_wipe(void *bytes, size_t len);

#endif
