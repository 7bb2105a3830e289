#include "proof/signer.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include <sodium.h>

#include "base/file.h"
#include "base/limits.h"
#include "base/text.h"
#include "proof/key_priv.h"
#include "proof/roster.h"
#include "record/cut.h"

#define INSPECTION_TITLE  "farspool-inspection/v1\n"
#define COUNTERSIGN_TITLE "farspool-countersign/v1\n"

#define FILE_TAG "farspool-signer/v1"
#define FILE_MAX ((size_t)1024)
#define WORDS    ((size_t)6) /* tag, key, ops, mem, salt, box */
#define KIB      ((size_t)1024)
#define SALT_LEN ((size_t)crypto_pwhash_argon2id_SALTBYTES)
#define BOX_LEN  (FSP_SEED_LEN + crypto_secretbox_MACBYTES)

static const struct fsp_signer_cost usual = {.ops = 3, .mem = 64 * KIB * KIB};
static const struct fsp_signer_cost least = {.ops = crypto_pwhash_argon2id_OPSLIMIT_INTERACTIVE,
        .mem = crypto_pwhash_argon2id_MEMLIMIT_INTERACTIVE};
static const struct fsp_signer_cost most = {
        .ops = 16, .mem = crypto_pwhash_argon2id_MEMLIMIT_SENSITIVE};

/* A key file taken apart. */
struct signer_file {
    struct fsp_vkey vkey;
    struct fsp_signer_cost cost;
    uint8_t salt[SALT_LEN];
    uint8_t box[BOX_LEN];
};

/* In locked memory. */
struct secrets {
    uint8_t key[crypto_secretbox_KEYBYTES];
    uint8_t seed[FSP_SEED_LEN];
};

char *
fsp_passphrase_new(void)
{
    char *passphrase = sodium_malloc(FSP_PASSPHRASE_MOST + 2);

    if (passphrase != NULL)
        memset(passphrase, 0, FSP_PASSPHRASE_MOST + 2);
    return passphrase;
}

void
fsp_passphrase_free(char *passphrase)
{
    sodium_free(passphrase); /* wipes it */
}

enum fsp_rc
fsp_inspection_message(const void *entry, size_t len, struct fsp_buf *buf, struct fsp_err *err)
{
    static const char *const names[] = {"noted", "sig"};
    size_t before = buf->len;
    enum fsp_rc rc;

    fsp_buf_add_text(buf, INSPECTION_TITLE);
    rc = fsp_record_cut(entry, len, names, sizeof(names) / sizeof(names[0]), buf, err);
    if (rc != FSP_OK && buf->len > before) {
        buf->len = before;
        buf->data[before] = 0;
    }
    return rc;
}

void
fsp_countersign_message(const uint8_t leaf[FSP_HASH_LEN], struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, COUNTERSIGN_TITLE);
    fsp_buf_add(buf, leaf, FSP_HASH_LEN);
}

/* The key file's secretbox has a nonce of zeros: its key is used once, the salt is new each time. */
static const uint8_t no_nonce[crypto_secretbox_NONCEBYTES];

static enum fsp_rc
hash_passphrase(struct secrets *secrets, const struct signer_file *file, const char *passphrase,
        struct fsp_err *err)
{
    if (crypto_pwhash(secrets->key, sizeof(secrets->key), passphrase, strlen(passphrase),
                file->salt, file->cost.ops, file->cost.mem, crypto_pwhash_ALG_ARGON2ID13) != 0)
        return fsp_err_set(err, FSP_ENOMEM,
                "the passphrase's hash needs %zu MiB of memory for a moment, which cannot be "
                "had now; end other programs and try again",
                file->cost.mem / KIB / KIB);
    return FSP_OK;
}

static enum fsp_rc
check_new_passphrase(const char *passphrase, struct fsp_err *err)
{
    size_t len = strlen(passphrase);

    if (len < FSP_PASSPHRASE_LEAST)
        return fsp_err_set(err, FSP_EINVAL,
                "a passphrase has at least %d characters; several words are easier to keep "
                "than "
                "one hard one",
                FSP_PASSPHRASE_LEAST);
    if (len > FSP_PASSPHRASE_MOST)
        return fsp_err_set(
                err, FSP_ELIMIT, "a passphrase has at most %d bytes", FSP_PASSPHRASE_MOST);
    return FSP_OK;
}

static bool
cost_ok(const struct fsp_signer_cost *cost)
{
    return cost->ops >= least.ops && cost->ops <= most.ops && cost->mem >= least.mem &&
           cost->mem <= most.mem && cost->mem % KIB == 0;
}

static void
write_file(const struct signer_file *file, struct fsp_buf *line)
{
    fsp_buf_add_text(line, FILE_TAG " ");
    fsp_vkey_write(&file->vkey, line);
    fsp_buf_printf(line, " %llu %zu ", file->cost.ops, file->cost.mem / KIB);
    fsp_base64(line, file->salt, sizeof(file->salt));
    fsp_buf_add_byte(line, ' ');
    fsp_base64(line, file->box, sizeof(file->box));
    fsp_buf_add_byte(line, '\n');
}

/* The file's line for a key under a passphrase. */
static enum fsp_rc
make_line(struct fsp_buf *line, const struct fsp_skey *skey, const char *passphrase,
        const struct fsp_signer_cost *cost, const struct fsp_env *env, struct fsp_err *err)
{
    char fleet[FSP_NAME_MAX + 1];
    const char *name = NULL;
    struct secrets *secrets = NULL;
    struct signer_file file = {.vkey = *fsp_skey_vkey(skey)};
    enum fsp_rc rc = check_new_passphrase(passphrase, err);

    file.cost = cost != NULL ? *cost : usual;
    if (rc != FSP_OK)
        return rc;
    if (!fsp_signer_key_parts(&file.vkey, fleet, &name))
        return fsp_err_set(err, FSP_EINVAL, "%s is no signer's key", file.vkey.name);
    if (!cost_ok(&file.cost))
        return fsp_err_set(err, FSP_EINVAL, "a cost that is not allowed for a key file");
    secrets = sodium_malloc(sizeof(*secrets));
    if (secrets == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of (lockable) memory");
    env->random(env->ctx, file.salt, sizeof(file.salt));
    rc = hash_passphrase(secrets, &file, passphrase, err);
    if (rc == FSP_OK) {
        fsp_skey_seed(skey, secrets->seed);
        (void)crypto_secretbox_easy(
                file.box, secrets->seed, sizeof(secrets->seed), no_nonce, secrets->key);
        write_file(&file, line);
        rc = fsp_buf_check(line, "a key file", err);
    }
    sodium_free(secrets); /* wipes it */
    return rc;
}

enum fsp_rc
fsp_signer_save(const struct fsp_skey *skey, const char *path, const char *passphrase,
        const struct fsp_signer_cost *cost, const struct fsp_env *env, struct fsp_err *err)
{
    struct fsp_buf line;
    enum fsp_rc rc;

    fsp_buf_init(&line, FILE_MAX);
    rc = make_line(&line, skey, passphrase, cost, env, err);
    if (rc == FSP_OK)
        rc = fsp_file_create(path, line.data, line.len, 0600, err);
    fsp_buf_fini(&line);
    return rc;
}

enum fsp_rc
fsp_signer_replace(const struct fsp_skey *skey, const char *path, const char *passphrase,
        const struct fsp_signer_cost *cost, const struct fsp_env *env, struct fsp_err *err)
{
    struct fsp_buf line;
    enum fsp_rc rc;

    fsp_buf_init(&line, FILE_MAX);
    rc = make_line(&line, skey, passphrase, cost, env, err);
    if (rc == FSP_OK)
        rc = fsp_file_write(path, line.data, line.len, 0600, err);
    fsp_buf_fini(&line);
    return rc;
}

/* Cut the line at its spaces; false unless there are exactly WORDS. */
static bool
cut_words(const char *text, size_t len, const char **word, size_t *word_len)
{
    const char *end = text + len;
    size_t n = 0;

    for (;;) {
        const char *space = memchr(text, ' ', (size_t)(end - text));

        if (n == WORDS)
            return false;
        word[n] = text;
        word_len[n++] = (size_t)((space != NULL ? space : end) - text);
        if (space == NULL)
            return n == WORDS;
        text = space + 1;
    }
}

static enum fsp_rc
parse_file(struct signer_file *file, const char *text, size_t len, struct fsp_err *err)
{
    static const char form[] = "no key file of the form \"" FILE_TAG " VKEY OPS MEM SALT BOX\"";
    char fleet[FSP_NAME_MAX + 1];
    const char *word[WORDS];
    const char *name = NULL;
    size_t word_len[WORDS];
    uint64_t ops = 0;
    uint64_t mem = 0;
    enum fsp_rc rc;

    memset(file, 0, sizeof(*file));
    if (len == 0 || text[len - 1] != '\n' || !cut_words(text, len - 1, word, word_len) ||
            word_len[0] != sizeof(FILE_TAG) - 1 || memcmp(word[0], FILE_TAG, word_len[0]) != 0)
        return fsp_err_set(err, FSP_EFORMAT, "%s", form);
    rc = fsp_vkey_parse(&file->vkey, word[1], word_len[1], err);
    if (rc != FSP_OK)
        return rc;
    if (!fsp_signer_key_parts(&file->vkey, fleet, &name))
        return fsp_err_set(err, FSP_EFORMAT, "%s is no signer's key", file->vkey.name);
    if (fsp_text_u64(word[2], word_len[2], &ops) != FSP_OK ||
            fsp_text_u64(word[3], word_len[3], &mem) != FSP_OK ||
            fsp_unbase64_exact(word[4], word_len[4], file->salt, SALT_LEN) != FSP_OK ||
            fsp_unbase64_exact(word[5], word_len[5], file->box, BOX_LEN) != FSP_OK)
        return fsp_err_set(err, FSP_EFORMAT, "%s", form);
    if (mem > most.mem / KIB || ops > most.ops)
        return fsp_err_set(err, FSP_ELIMIT,
                "a key file that asks for more than %zu MiB or %llu passes is not opened",
                most.mem / KIB / KIB, most.ops);
    file->cost.ops = ops;
    file->cost.mem = (size_t)mem * KIB;
    if (!cost_ok(&file->cost))
        return fsp_err_set(err, FSP_EFORMAT,
                "a key file that asks for less than %zu MiB or %llu passes is not opened",
                least.mem / KIB / KIB, least.ops);
    return FSP_OK;
}

static enum fsp_rc
read_file(struct signer_file *file, const char *path, struct fsp_err *err)
{
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc = fsp_file_read(path, FILE_MAX, &bytes, &len, err);

    if (rc != FSP_OK)
        return rc; /* names the path */
    rc = parse_file(file, (const char *)bytes, len, err);
    free(bytes);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", path);
}

static enum fsp_rc
open_file(struct fsp_skey **out, const struct signer_file *file, const char *passphrase,
        struct fsp_err *err)
{
    static const char wrong[] = "the passphrase is wrong, or the key file was altered";
    struct secrets *secrets = sodium_malloc(sizeof(*secrets));
    struct fsp_skey *skey = NULL;
    enum fsp_rc rc;

    if (secrets == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of (lockable) memory");
    rc = hash_passphrase(secrets, file, passphrase, err);
    if (rc != FSP_OK)
        goto out;
    if (crypto_secretbox_open_easy(
                secrets->seed, file->box, sizeof(file->box), no_nonce, secrets->key) != 0) {
        rc = fsp_err_set(err, FSP_EVERIFY, "%s", wrong);
        goto out;
    }
    rc = fsp_skey_from_seed(&skey, file->vkey.name, file->vkey.type, secrets->seed, err);
    if (rc == FSP_OK && !fsp_vkey_equal(fsp_skey_vkey(skey), &file->vkey))
        rc = fsp_err_set(err, FSP_EVERIFY,
                "the key file was altered: its secret does not belong to its verifier key");
    if (rc != FSP_OK)
        goto out;
    *out = skey;
    skey = NULL;
out:
    fsp_skey_free(skey);
    sodium_free(secrets); /* wipes it */
    return rc;
}

enum fsp_rc
fsp_signer_load(
        struct fsp_skey **out, const char *path, const char *passphrase, struct fsp_err *err)
{
    struct signer_file file = {.salt = {0}};
    enum fsp_rc rc;

    *out = NULL;
    rc = fsp_key_file_check_mode(path, err);
    if (rc == FSP_OK)
        rc = read_file(&file, path, err);
    if (rc != FSP_OK)
        return rc;
    if (strlen(passphrase) > FSP_PASSPHRASE_MOST)
        rc = fsp_err_set(
                err, FSP_ELIMIT, "a passphrase has at most %d bytes", FSP_PASSPHRASE_MOST);
    else
        rc = open_file(out, &file, passphrase, err);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", path);
}

enum fsp_rc
fsp_signer_peek(struct fsp_vkey *out, const char *path, struct fsp_err *err)
{
    struct signer_file file = {.salt = {0}};
    enum fsp_rc rc = read_file(&file, path, err);

    *out = file.vkey;
    if (rc != FSP_OK)
        memset(out, 0, sizeof(*out));
    return rc;
}

enum fsp_rc
fsp_signer_parse(struct fsp_vkey *out, const void *bytes, size_t len, struct fsp_err *err)
{
    struct signer_file file = {.salt = {0}};
    enum fsp_rc rc = len > FILE_MAX ? fsp_err_set(err, FSP_ELIMIT, "over %zu bytes", FILE_MAX)
                                    : parse_file(&file, bytes, len, err);

    *out = file.vkey;
    if (rc != FSP_OK)
        memset(out, 0, sizeof(*out));
    return rc;
}
