#include "proof/renewal.h"

#include <stdlib.h>
#include <string.h>

#include "record/check.h"
#include "record/record.h"

#define TITLE       "farspool-renewal/v1"
#define MESSAGE_MAX ((size_t)2048)

static void
write_message(
        struct fsp_buf *buf, const struct fsp_checkpoint *from, const struct fsp_vkey *new_key)
{
    fsp_buf_add_text(buf, TITLE "\n");
    fsp_checkpoint_write(from, buf);
    fsp_vkey_write(new_key, buf);
    fsp_buf_add_byte(buf, '\n');
}

enum fsp_rc
fsp_renewal_sign(struct fsp_renewal *renewal, const struct fsp_skey *old_key,
        const struct fsp_vkey *new_key, struct fsp_err *err)
{
    struct fsp_buf message;
    enum fsp_rc rc;

    renewal->has_proof = false;
    if (strcmp(fsp_skey_vkey(old_key)->name, renewal->from.origin) != 0)
        return fsp_err_set(err, FSP_EINVAL, "the key of %s cannot prove a renewal of %s",
                fsp_skey_vkey(old_key)->name, renewal->from.origin);
    fsp_buf_init(&message, MESSAGE_MAX);
    write_message(&message, &renewal->from, new_key);
    rc = fsp_buf_check(&message, "a renewal", err);
    if (rc == FSP_OK)
        rc = fsp_skey_sign(old_key, message.data, message.len, renewal->proof, err);
    renewal->has_proof = rc == FSP_OK;
    fsp_buf_fini(&message);
    return rc;
}

enum fsp_rc
fsp_renewal_verify(const struct fsp_renewal *renewal, const struct fsp_vkey *old_key,
        const struct fsp_vkey *new_key, struct fsp_err *err)
{
    struct fsp_buf message;
    enum fsp_rc rc;

    if (!renewal->has_proof)
        return fsp_err_set(err, FSP_EVERIFY, "the renewal is not proved by the old key");
    if (old_key->type != FSP_KEY_NOTE || strcmp(old_key->name, renewal->from.origin) != 0)
        return fsp_err_set(err, FSP_EVERIFY, "the renewal is of another log");
    fsp_buf_init(&message, MESSAGE_MAX);
    write_message(&message, &renewal->from, new_key);
    rc = fsp_buf_check(&message, "a renewal", err);
    if (rc == FSP_OK &&
            fsp_vkey_verify(old_key, message.data, message.len, renewal->proof) != FSP_OK)
        rc = fsp_err_set(
                err, FSP_EVERIFY, "the renewal's proof is not the old key's signature over it");
    fsp_buf_fini(&message);
    return rc;
}

static bool
read_from(struct fsp_checkpoint *from, const struct fsp_record *record)
{
    const struct fsp_record *object = fsp_record_object(record, "from");
    const char *origin = object == NULL ? NULL : fsp_record_text(object, "origin");
    const char *root = object == NULL ? NULL : fsp_record_text(object, "root");
    int64_t size = -1;

    if (origin == NULL || root == NULL || !fsp_record_int(object, "size", &size) || size < 0 ||
            !fsp_key_name_ok(origin, strlen(origin)))
        return false;
    memcpy(from->origin, origin, strlen(origin) + 1); /* a key name fits */
    from->size = (uint64_t)size;
    return fsp_unbase64_exact(root, strlen(root), from->root, sizeof(from->root)) == FSP_OK;
}

enum fsp_rc
fsp_renewal_read(
        struct fsp_renewal *renewal, const void *entry, size_t len, struct fsp_err *err)
{
    struct fsp_record *record = NULL;
    const char *kind;
    const char *proof;
    enum fsp_rc rc;

    memset(renewal, 0, sizeof(*renewal));
    rc = fsp_check_stored(entry, len, &record, err);
    if (rc != FSP_OK)
        goto out;
    kind = fsp_record_text(record, "kind");
    proof = fsp_record_text(record, "proof");
    if (kind == NULL || strcmp(kind, "renewal") != 0 || !read_from(&renewal->from, record)) {
        rc = fsp_err_set(err, FSP_EFORMAT, "the entry is no renewal");
        goto out;
    }
    renewal->has_proof = proof != NULL;
    if (proof != NULL && fsp_unbase64_exact(proof, strlen(proof), renewal->proof,
                                 sizeof(renewal->proof)) != FSP_OK)
        rc = fsp_err_set(err, FSP_EFORMAT, "the renewal's proof is no signature");
out:
    fsp_record_free(record);
    if (rc != FSP_OK)
        memset(renewal, 0, sizeof(*renewal));
    return rc == FSP_ENOMEM || rc == FSP_OK ? rc : FSP_EFORMAT;
}

void
fsp_renewal_write_from(const struct fsp_renewal *renewal, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "{\"origin\":\"%s\",\"root\":\"", renewal->from.origin);
    fsp_base64(buf, renewal->from.root, sizeof(renewal->from.root));
    fsp_buf_printf(buf, "\",\"size\":%llu}", (unsigned long long)renewal->from.size);
}
