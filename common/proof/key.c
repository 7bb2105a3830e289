#include "proof/key.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include <sodium.h>

#include "base/file.h"
#include "base/text.h"
#include "proof/key_priv.h"

#define PUB_LEN      ((size_t)32)
#define ID_HEX_LEN   ((size_t)8)
#define KEY_FILE_TAG "farspool-key/v1 "
#define KEY_FILE_MAX ((size_t)1024)

struct fsp_skey {
    struct fsp_vkey vkey;
    uint8_t *secret; /* sodium_malloc, crypto_sign_SECRETKEYBYTES, read-only */
};

enum fsp_rc
fsp_proof_init(struct fsp_err *err)
{
    if (sodium_init() < 0)
        return fsp_err_set(err, FSP_EIO, "libsodium could not be started");
    return FSP_OK;
}

void
fsp_base64(struct fsp_buf *buf, const void *bytes, size_t len)
{
    size_t text_len = sodium_base64_ENCODED_LEN(len, sodium_base64_VARIANT_ORIGINAL);
    uint8_t *room;

    if (len == 0)
        return;
    if (len > buf->max) { /* also keeps the length above from wrapping */
        (void)fsp_buf_room(buf, len);
        return;
    }
    room = fsp_buf_room(buf, text_len - 1); /* the buffer has room for a NUL of its own */
    if (room == NULL)
        return;
    (void)sodium_bin2base64((char *)room, text_len, bytes, len, sodium_base64_VARIANT_ORIGINAL);
    buf->len += text_len - 1;
}

/* libsodium 1.0.18 takes some bytes above 0x7F for letters of the alphabet: look first. */
static bool
is_base64_char(char c)
{
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') ||
           c == '+' || c == '/' || c == '=';
}

static enum fsp_rc
decode(const char *text, size_t len, uint8_t *out, size_t most, size_t *out_len)
{
    const char *end = NULL;

    *out_len = 0;
    if (len % 4 != 0)
        return FSP_EFORMAT;
    if (len == 0)
        return FSP_OK;
    for (size_t i = 0; i < len; i++)
        if (!is_base64_char(text[i]))
            return FSP_EFORMAT;
    /* Refuses missing or superfluous padding and trailing bits that are not zero. */
    if (sodium_base642bin(out, most, text, len, NULL, out_len, &end,
                sodium_base64_VARIANT_ORIGINAL) != 0 ||
            end != text + len)
        return FSP_EFORMAT;
    return FSP_OK;
}

enum fsp_rc
fsp_unbase64(const char *text, size_t len, struct fsp_buf *out)
{
    size_t most = len / 4 * 3;
    size_t got = 0;
    uint8_t *room;
    enum fsp_rc rc;

    if (len % 4 != 0)
        return FSP_EFORMAT;
    if (len >= 1 && text[len - 1] == '=')
        most--;
    if (len >= 2 && text[len - 2] == '=')
        most--;
    room = fsp_buf_room(out, most);
    if (room == NULL)
        return out->rc;
    rc = decode(text, len, room, most, &got);
    if (rc == FSP_OK)
        out->len += got;
    out->data[out->len] = 0;
    return rc;
}

enum fsp_rc
fsp_unbase64_exact(const char *text, size_t len, uint8_t *out, size_t out_len)
{
    size_t got = 0;

    if (len != (out_len + 2) / 3 * 4 || decode(text, len, out, out_len, &got) != FSP_OK)
        return FSP_EFORMAT;
    return got == out_len ? FSP_OK : FSP_EFORMAT;
}

/* Unicode's White_Space characters beyond those that are not printable anyway, as UTF-8. */
static bool
has_space(const char *name, size_t len)
{
    static const char *const spaces[] = {" ", "\u00a0", "\u1680", "\u2000", "\u2001", "\u2002",
            "\u2003", "\u2004", "\u2005", "\u2006", "\u2007", "\u2008", "\u2009", "\u200a",
            "\u202f", "\u205f", "\u3000"};

    for (size_t pos = 0; pos < len; pos++) {
        for (size_t i = 0; i < sizeof(spaces) / sizeof(spaces[0]); i++) {
            size_t n = strlen(spaces[i]);

            if (n <= len - pos && memcmp(name + pos, spaces[i], n) == 0)
                return true;
        }
    }
    return false;
}

bool
fsp_key_name_ok(const char *name, size_t len)
{
    if (len == 0 || len > FSP_KEY_NAME_MAX || memchr(name, '+', len) != NULL)
        return false;
    return fsp_text_printable(name, len) && !has_space(name, len);
}

static void
make_id(struct fsp_vkey *vkey)
{
    crypto_hash_sha256_state state;
    uint8_t hash[crypto_hash_sha256_BYTES];
    const uint8_t tail[2] = {'\n', (uint8_t)vkey->type};

    (void)crypto_hash_sha256_init(&state);
    (void)crypto_hash_sha256_update(
            &state, (const unsigned char *)vkey->name, strlen(vkey->name));
    (void)crypto_hash_sha256_update(&state, tail, sizeof(tail));
    (void)crypto_hash_sha256_update(&state, vkey->pub, sizeof(vkey->pub));
    (void)crypto_hash_sha256_final(&state, hash);
    memcpy(vkey->id, hash, sizeof(vkey->id));
}

static enum fsp_rc
vkey_make(struct fsp_vkey *vkey, const char *name, size_t name_len, const uint8_t *typed_pub,
        struct fsp_err *err)
{
    const uint8_t *pub = typed_pub + 1;

    if (!fsp_key_name_ok(name, name_len))
        return fsp_err_set(err, FSP_EFORMAT,
                "the key's name is empty, too long or has a space, plus or control character");
    if (typed_pub[0] != FSP_KEY_NOTE && typed_pub[0] != FSP_KEY_COSIGNER)
        return fsp_err_set(err, FSP_EFORMAT, "key type 0x%02x is not known here (0x01 or 0x04)",
                (unsigned)typed_pub[0]);
    /* Canonical, of the prime-order subgroup, not of small order: true of every honest key. */
    if (crypto_core_ed25519_is_valid_point(pub) != 1)
        return fsp_err_set(err, FSP_EFORMAT, "the public key is no sound Ed25519 key");
    memcpy(vkey->name, name, name_len);
    vkey->type = typed_pub[0] == FSP_KEY_NOTE ? FSP_KEY_NOTE : FSP_KEY_COSIGNER;
    memcpy(vkey->pub, pub, sizeof(vkey->pub));
    make_id(vkey);
    return FSP_OK;
}

enum fsp_rc
fsp_vkey_make(struct fsp_vkey *vkey, const char *name, enum fsp_key_type type,
        const uint8_t pub[32], struct fsp_err *err)
{
    uint8_t typed_pub[1 + PUB_LEN];

    memset(vkey, 0, sizeof(*vkey));
    typed_pub[0] = (uint8_t)type;
    memcpy(typed_pub + 1, pub, PUB_LEN);
    return vkey_make(vkey, name, strlen(name), typed_pub, err);
}

static enum fsp_rc
vkey_parse(struct fsp_vkey *vkey, const char *text, size_t len, struct fsp_err *err)
{
    const char *plus = memchr(text, '+', len);
    const char *end = text + len;
    uint8_t typed_pub[1 + PUB_LEN];
    char id[2 * sizeof(vkey->id) + 1];
    enum fsp_rc rc;

    if (plus == NULL || (size_t)(end - plus) < 1 + ID_HEX_LEN + 1 ||
            plus[1 + ID_HEX_LEN] != '+')
        return fsp_err_set(err, FSP_EFORMAT, "not of the form name+id+key");
    if (fsp_unbase64_exact(plus + 2 + ID_HEX_LEN, (size_t)(end - plus) - 2 - ID_HEX_LEN,
                typed_pub, sizeof(typed_pub)) != FSP_OK)
        return fsp_err_set(err, FSP_EFORMAT, "its last part is not the base64 of 33 bytes");
    rc = vkey_make(vkey, text, (size_t)(plus - text), typed_pub, err);
    if (rc != FSP_OK)
        return rc;
    fsp_text_hex(id, vkey->id, sizeof(vkey->id));
    if (memcmp(id, plus + 1, ID_HEX_LEN) != 0)
        return fsp_err_set(err, FSP_EFORMAT,
                "its id does not belong to its name and key (a typing error?)");
    return FSP_OK;
}

enum fsp_rc
fsp_vkey_parse(struct fsp_vkey *vkey, const char *text, size_t len, struct fsp_err *err)
{
    enum fsp_rc rc;

    memset(vkey, 0, sizeof(*vkey));
    rc = len == 0              ? fsp_err_set(err, FSP_EFORMAT, "empty")
         : len >= FSP_VKEY_MAX ? fsp_err_set(err, FSP_ELIMIT, "too long")
                               : vkey_parse(vkey, text, len, err);
    if (rc == FSP_OK)
        return rc;
    memset(vkey, 0, sizeof(*vkey));
    return fsp_err_wrap(err, rc, "verifier key");
}

void
fsp_vkey_write(const struct fsp_vkey *vkey, struct fsp_buf *buf)
{
    uint8_t typed_pub[1 + PUB_LEN];
    char id[2 * sizeof(vkey->id) + 1];

    typed_pub[0] = (uint8_t)vkey->type;
    memcpy(typed_pub + 1, vkey->pub, PUB_LEN);
    fsp_text_hex(id, vkey->id, sizeof(vkey->id));
    fsp_buf_printf(buf, "%s+%s+", vkey->name, id);
    fsp_base64(buf, typed_pub, sizeof(typed_pub));
}

bool
fsp_vkey_equal(const struct fsp_vkey *a, const struct fsp_vkey *b)
{
    return a->type == b->type && strcmp(a->name, b->name) == 0 &&
           memcmp(a->pub, b->pub, sizeof(a->pub)) == 0;
}

/* The vkey text in the caller's array; FSP_VKEY_MAX always suffices. */
static size_t
vkey_text(const struct fsp_vkey *vkey, char out[FSP_VKEY_MAX])
{
    uint8_t typed_pub[1 + PUB_LEN];
    char id[2 * sizeof(vkey->id) + 1];
    char pub[sodium_base64_ENCODED_LEN(sizeof(typed_pub), sodium_base64_VARIANT_ORIGINAL)];
    int n;

    typed_pub[0] = (uint8_t)vkey->type;
    memcpy(typed_pub + 1, vkey->pub, PUB_LEN);
    fsp_text_hex(id, vkey->id, sizeof(vkey->id));
    (void)sodium_bin2base64(
            pub, sizeof(pub), typed_pub, sizeof(typed_pub), sodium_base64_VARIANT_ORIGINAL);
    n = snprintf(out, FSP_VKEY_MAX, "%s+%s+%s", vkey->name, id, pub);
    return n < 0 ? 0 : (size_t)n;
}

void
fsp_vkey_fingerprint(const struct fsp_vkey *vkey, char *out)
{
    char text[FSP_VKEY_MAX];
    uint8_t hash[crypto_hash_sha256_BYTES];

    (void)crypto_hash_sha256(hash, (const unsigned char *)text, vkey_text(vkey, text));
    fsp_text_hex(out, hash, sizeof(hash));
}

enum fsp_rc
fsp_skey_from_seed(struct fsp_skey **out, const char *name, enum fsp_key_type type,
        const uint8_t seed[FSP_SEED_LEN], struct fsp_err *err)
{
    struct fsp_skey *skey = calloc(1, sizeof(*skey));
    uint8_t pub[crypto_sign_PUBLICKEYBYTES];
    enum fsp_rc rc = FSP_OK;

    *out = NULL;
    if (skey != NULL)
        skey->secret = sodium_malloc(crypto_sign_SECRETKEYBYTES);
    if (skey == NULL || skey->secret == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of (lockable) memory for a secret key");
        goto out;
    }
    (void)crypto_sign_seed_keypair(pub, skey->secret, seed);
    (void)sodium_mprotect_readonly(skey->secret);
    rc = fsp_vkey_make(&skey->vkey, name, type, pub, err);
    if (rc != FSP_OK)
        goto out;
    *out = skey;
    skey = NULL;
out:
    fsp_skey_free(skey);
    return rc;
}

void
fsp_skey_seed(const struct fsp_skey *skey, uint8_t seed[FSP_SEED_LEN])
{
    (void)crypto_sign_ed25519_sk_to_seed(seed, skey->secret);
}

enum fsp_rc
fsp_skey_new(struct fsp_skey **out, const char *name, enum fsp_key_type type,
        const struct fsp_env *env, struct fsp_err *err)
{
    uint8_t *seed = sodium_malloc(FSP_SEED_LEN);
    enum fsp_rc rc;

    *out = NULL;
    if (seed == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of (lockable) memory for a secret key");
    env->random(env->ctx, seed, FSP_SEED_LEN);
    rc = fsp_skey_from_seed(out, name, type, seed, err);
    sodium_free(seed);
    return rc;
}

enum fsp_rc
fsp_skey_save(const struct fsp_skey *skey, const char *path, struct fsp_err *err)
{
    char *line = sodium_malloc(KEY_FILE_MAX);
    uint8_t *seed = sodium_malloc(FSP_SEED_LEN);
    enum fsp_rc rc = FSP_OK;
    size_t len = sizeof(KEY_FILE_TAG) - 1;

    if (line == NULL || seed == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "%s: out of (lockable) memory", path);
        goto out;
    }
    memcpy(line, KEY_FILE_TAG, len);
    len += vkey_text(&skey->vkey, line + len);
    line[len++] = ' ';
    fsp_skey_seed(skey, seed);
    (void)sodium_bin2base64(
            line + len, KEY_FILE_MAX - len, seed, FSP_SEED_LEN, sodium_base64_VARIANT_ORIGINAL);
    len += strlen(line + len);
    line[len++] = '\n';
    rc = fsp_file_create(path, line, len, 0600, err);
out:
    sodium_free(line);
    sodium_free(seed);
    return rc;
}

static enum fsp_rc
skey_parse(struct fsp_skey **out, const char *text, size_t len, struct fsp_err *err)
{
    static const char advice[] = "no key file of the form \"" KEY_FILE_TAG "VKEY SEED\"";
    const size_t tag_len = sizeof(KEY_FILE_TAG) - 1;
    uint8_t *seed = NULL;
    struct fsp_skey *skey = NULL;
    struct fsp_vkey vkey;
    enum fsp_rc rc = FSP_OK;
    const char *space;

    if (len <= tag_len || memcmp(text, KEY_FILE_TAG, tag_len) != 0 || text[len - 1] != '\n')
        return fsp_err_set(err, FSP_EFORMAT, "%s", advice);
    text += tag_len;
    len -= tag_len + 1;
    space = memchr(text, ' ', len);
    if (space == NULL)
        return fsp_err_set(err, FSP_EFORMAT, "%s", advice);
    rc = fsp_vkey_parse(&vkey, text, (size_t)(space - text), err);
    if (rc != FSP_OK)
        return rc;
    seed = sodium_malloc(FSP_SEED_LEN);
    if (seed == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of (lockable) memory for a secret key");
    len -= (size_t)(space + 1 - text);
    if (fsp_unbase64_exact(space + 1, len, seed, FSP_SEED_LEN) != FSP_OK) {
        rc = fsp_err_set(err, FSP_EFORMAT, "%s", advice);
        goto out;
    }
    rc = fsp_skey_from_seed(&skey, vkey.name, vkey.type, seed, err);
    if (rc == FSP_OK && skey != NULL && !fsp_vkey_equal(&skey->vkey, &vkey))
        rc = fsp_err_set(err, FSP_EFORMAT, "its seed does not belong to its verifier key");
    if (rc != FSP_OK)
        goto out;
    *out = skey;
    skey = NULL;
out:
    fsp_skey_free(skey);
    sodium_free(seed);
    return rc;
}

enum fsp_rc
fsp_key_file_check_mode(const char *path, struct fsp_err *err)
{
    struct stat st;

    if (stat(path, &st) == 0 && (st.st_mode & (S_IRWXG | S_IRWXO)) != 0)
        return fsp_err_set(err, FSP_EIO,
                "%s: a secret key that others may read (mode %03o); make it private with "
                "chmod 600, and renew the key if somebody may have read it",
                path, (unsigned)(st.st_mode & 0777));
    return FSP_OK;
}

enum fsp_rc
fsp_skey_load(struct fsp_skey **out, const char *path, struct fsp_err *err)
{
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc;

    *out = NULL;
    rc = fsp_key_file_check_mode(path, err);
    if (rc == FSP_OK)
        rc = fsp_file_read(path, KEY_FILE_MAX, &bytes, &len, err);
    if (rc != FSP_OK)
        return rc;
    rc = skey_parse(out, (const char *)bytes, len, err);
    sodium_memzero(bytes, len);
    free(bytes);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", path);
}

void
fsp_skey_free(struct fsp_skey *skey)
{
    if (skey == NULL)
        return;
    sodium_free(skey->secret); /* wipes it */
    free(skey);
}

const struct fsp_vkey *
fsp_skey_vkey(const struct fsp_skey *skey)
{
    return &skey->vkey;
}

enum fsp_rc
fsp_skey_sign(const struct fsp_skey *skey, const void *message, size_t len,
        uint8_t sig[FSP_SIG_LEN], struct fsp_err *err)
{
    if (crypto_sign_detached(sig, NULL, message, len, skey->secret) != 0)
        return fsp_err_set(err, FSP_EIO, "%s could not sign", skey->vkey.name);
    return FSP_OK;
}

enum fsp_rc
fsp_vkey_verify(const struct fsp_vkey *vkey, const void *message, size_t len,
        const uint8_t sig[FSP_SIG_LEN])
{
    return crypto_sign_verify_detached(sig, message, len, vkey->pub) == 0 ? FSP_OK
                                                                          : FSP_EVERIFY;
}
