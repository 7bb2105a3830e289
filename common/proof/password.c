#include "proof/password.h"

#include <string.h>

#include <sodium.h>

#include "base/text.h"

#define PASSES 3

_Static_assert(FSP_PASSWORD_STORED == crypto_pwhash_STRBYTES, "a stored password");
_Static_assert(FSP_MARK_LEN == crypto_hash_sha256_BYTES, "a mark");

/* Of 32 random bytes that nobody kept, at the same cost as any other. */
static const char decoy[] = "$argon2id$v=19$m=65536,t=3,p=1$GoqM3Qg5rFvVhno1t1yX+w$"
                            "cXAGqj1zYFm04n4P7F2WdmdFezYs8jmMtbAEcBW2QgI";

enum fsp_rc
fsp_password_check(const char *password, struct fsp_err *err)
{
    const size_t len = strlen(password);
    size_t characters = 0;

    if (len > FSP_PASSWORD_MAX)
        return fsp_err_set(
                err, FSP_EINVAL, "a password has at most %d bytes", FSP_PASSWORD_MAX);
    if (!fsp_text_printable(password, len))
        return fsp_err_set(err, FSP_EINVAL,
                "the password holds a control or invisible character, or is not UTF-8");
    for (size_t i = 0; i < len; i++)
        characters += ((uint8_t)password[i] & 0xc0u) != 0x80u;
    if (characters < FSP_PASSWORD_MIN)
        return fsp_err_set(err, FSP_EINVAL,
                "a password has at least %d characters; several words are easier to keep than "
                "one hard one",
                FSP_PASSWORD_MIN);
    return FSP_OK;
}

static enum fsp_rc
no_memory(struct fsp_err *err)
{
    return fsp_err_set(err, FSP_ENOMEM,
            "checking a password needs %zu MiB of memory for a moment, which cannot be had now",
            FSP_PASSWORD_MEMORY / 1024 / 1024);
}

enum fsp_rc
fsp_password_hash(
        const char *password, char stored[static FSP_PASSWORD_STORED], struct fsp_err *err)
{
    enum fsp_rc rc = fsp_password_check(password, err);

    memset(stored, 0, FSP_PASSWORD_STORED);
    if (rc == FSP_OK && crypto_pwhash_str(stored, password, strlen(password), PASSES,
                                FSP_PASSWORD_MEMORY) != 0)
        rc = no_memory(err);
    return rc;
}

enum fsp_rc
fsp_password_verify(const char *stored, const char *password, struct fsp_err *err)
{
    char known[FSP_PASSWORD_STORED] = {0};
    const char *from = stored != NULL ? stored : decoy;
    const size_t len = strlen(from);
    size_t typed = strlen(password);
    bool good = stored != NULL;

    if (len >= sizeof(known))
        return fsp_err_set(err, FSP_ECORRUPT, "a stored password that is none");
    memcpy(known, from, len);
    if (typed >
            FSP_PASSWORD_MAX) { /* no such password: the work is the same, the answer known */
        typed = FSP_PASSWORD_MAX;
        good = false;
    }
    if (crypto_pwhash_str_verify(known, password, typed) != 0)
        good = false;
    return good ? FSP_OK : fsp_err_set(err, FSP_EVERIFY, "wrong name or password");
}

void
fsp_token_write(
        const uint8_t bytes[static FSP_TOKEN_BYTES], char token[static FSP_TOKEN_TEXT_LEN + 1])
{
    (void)sodium_bin2base64(token, FSP_TOKEN_TEXT_LEN + 1, bytes, FSP_TOKEN_BYTES,
            sodium_base64_VARIANT_URLSAFE_NO_PADDING);
}

bool
fsp_token_read(const char *token, uint8_t bytes[static FSP_TOKEN_BYTES])
{
    char again[FSP_TOKEN_TEXT_LEN + 1];
    size_t len = 0;

    memset(bytes, 0, FSP_TOKEN_BYTES);
    if (strlen(token) != FSP_TOKEN_TEXT_LEN ||
            sodium_base642bin(bytes, FSP_TOKEN_BYTES, token, FSP_TOKEN_TEXT_LEN, NULL, &len,
                    NULL, sodium_base64_VARIANT_URLSAFE_NO_PADDING) != 0 ||
            len != FSP_TOKEN_BYTES)
        return false;
    fsp_token_write(bytes, again); /* libsodium's decoder takes spare bits; we do not */
    return sodium_memcmp(again, token, FSP_TOKEN_TEXT_LEN) == 0;
}

void
fsp_token_new(const struct fsp_env *env, char token[static FSP_TOKEN_TEXT_LEN + 1])
{
    uint8_t bytes[FSP_TOKEN_BYTES];

    env->random(env->ctx, bytes, sizeof(bytes));
    fsp_token_write(bytes, token);
    sodium_memzero(bytes, sizeof(bytes));
}

void
fsp_token_mark(const char *token, uint8_t mark[static FSP_MARK_LEN])
{
    (void)crypto_hash_sha256(mark, (const unsigned char *)token, strlen(token));
}

bool
fsp_secret_equal(const void *a, const void *b, size_t len)
{
    return sodium_memcmp(a, b, len) == 0;
}

void
fsp_secret_wipe(void *bytes, size_t len)
{
    sodium_memzero(bytes, len);
}
