#include "audit/trust.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"

#define VKEY_FILE_MAX ((size_t)(FSP_ATTEST_KEYS_MAX * (FSP_VKEY_MAX + 1)))

const char *
fsp_trust_word(enum fsp_trust trust)
{
    switch (trust) {
    case FSP_TRUST_ENCLOSED:
        return "enclosed";
    case FSP_TRUST_GIVEN:
        return "given";
    case FSP_TRUST_PINNED:
        return "pinned";
    }
    return "enclosed";
}

/* --- pins ------------------------------------------------------------------------------------ */

enum fsp_rc
fsp_pins_add(struct fsp_pins *pins, const char *list, struct fsp_err *err)
{
    const char *pos = list;

    for (;;) {
        size_t len = strcspn(pos, ",");
        char hex[65];

        if (len != 64)
            return fsp_err_set(err, FSP_EINVAL,
                    "--pin: a fingerprint has 64 hexadecimal digits, this one has %zu", len);
        if (pins->n == FSP_AUDIT_PINS_MAX)
            return fsp_err_set(
                    err, FSP_EINVAL, "--pin: at most %d fingerprints", FSP_AUDIT_PINS_MAX);
        memcpy(hex, pos, 64);
        hex[64] = '\0';
        if (fsp_text_unhex(pins->pin[pins->n], 32, hex) != FSP_OK)
            return fsp_err_set(
                    err, FSP_EINVAL, "--pin: a fingerprint has only digits and a to f");
        pins->n++;
        if (pos[len] == '\0')
            return FSP_OK;
        pos += len + 1;
    }
}

bool
fsp_pins_have(const struct fsp_pins *pins, const struct fsp_vkey *vkey)
{
    char fingerprint[65];
    uint8_t hash[32];

    fsp_vkey_fingerprint(vkey, fingerprint);
    if (fsp_text_unhex(hash, sizeof(hash), fingerprint) != FSP_OK)
        return false;
    for (size_t i = 0; i < pins->n; i++)
        if (memcmp(pins->pin[i], hash, sizeof(hash)) == 0)
            return true;
    return false;
}

/* Every key of the policy must have a pin, else an unpinned one could be the one that counts. */
static enum fsp_rc
check_pins(const struct fsp_policy *policy, const struct fsp_pins *pins, struct fsp_err *err)
{
    for (size_t i = 0; fsp_policy_key(policy, i) != NULL; i++) {
        const struct fsp_vkey *vkey = fsp_policy_key(policy, i);
        char fingerprint[65];

        if (fsp_pins_have(pins, vkey))
            continue;
        fsp_vkey_fingerprint(vkey, fingerprint);
        return fsp_err_set(err, FSP_EVERIFY,
                "the key of %s in the policy has fingerprint %s, which is none of those "
                "given with --pin",
                vkey->name, fingerprint);
    }
    return FSP_OK;
}

/* --- files beside the evidence --------------------------------------------------------------- */

void
fsp_audit_beside(const char *file, bool is_folder, const char *name, struct fsp_buf *path)
{
    const char *slash = strrchr(file, '/');

    if (is_folder) {
        fsp_buf_add_text(path, file);
        if (slash == NULL || slash[1] != '\0')
            fsp_buf_add_byte(path, '/');
    } else if (slash != NULL) {
        fsp_buf_add(path, file, (size_t)(slash - file) + 1);
    }
    fsp_buf_add_text(path, name);
}

static bool
has_pins(const struct fsp_audit_job *job)
{
    return job->pins != NULL && job->pins->n > 0;
}

enum fsp_trust
fsp_audit_trust(const struct fsp_audit_job *job)
{
    return has_pins(job)        ? FSP_TRUST_PINNED
           : job->trust != NULL ? FSP_TRUST_GIVEN
                                : FSP_TRUST_ENCLOSED;
}

enum fsp_rc
fsp_audit_policy(struct fsp_policy **out, const struct fsp_audit_job *job, bool is_folder,
        struct fsp_err *err)
{
    struct fsp_buf path;
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc;

    *out = NULL;
    fsp_buf_init(&path, FSP_AUDIT_PATH_MAX);
    if (job->trust != NULL)
        fsp_buf_add_text(&path, job->trust);
    else
        fsp_audit_beside(job->file, is_folder, FSP_AUDIT_POLICY, &path);
    rc = fsp_buf_check(&path, "a path", err);
    if (rc != FSP_OK)
        goto out;
    rc = fsp_file_read(fsp_buf_peek(&path), FSP_NOTE_MAX, &bytes, &len, err);
    if (rc != FSP_OK) {
        rc = fsp_err_wrap(err, rc, "the policy (which keys to trust) cannot be read");
        goto out;
    }
    rc = fsp_policy_parse(out, (const char *)bytes, len, err);
    if (rc == FSP_OK && has_pins(job))
        rc = check_pins(*out, job->pins, err);
    if (rc != FSP_OK) {
        fsp_policy_free(*out);
        *out = NULL;
    }
out:
    free(bytes);
    fsp_buf_fini(&path);
    return rc;
}

/* --- the office's word about persons --------------------------------------------------------- */

void
fsp_audit_office_init(struct fsp_audit_office *office)
{
    memset(office, 0, sizeof(*office));
}

void
fsp_audit_office_fini(struct fsp_audit_office *office)
{
    free(office->roster);
    fsp_audit_office_init(office);
}

/* One verifier key a line, of type 0x01: the office's first and those it handed over to. */
static enum fsp_rc
take_keys(struct fsp_audit_office *office, const char *text, size_t len, struct fsp_err *err)
{
    size_t pos = 0;

    while (pos < len) {
        const char *end = memchr(text + pos, '\n', len - pos);
        const size_t line = (end == NULL ? len : (size_t)(end - text)) - pos;
        enum fsp_rc rc;

        if (office->n == FSP_ATTEST_KEYS_MAX)
            return fsp_err_set(
                    err, FSP_ELIMIT, "more than %d instructions keys", FSP_ATTEST_KEYS_MAX);
        rc = fsp_vkey_parse(&office->key[office->n], text + pos, line, err);
        if (rc != FSP_OK)
            return rc;
        if (office->key[office->n].type != FSP_KEY_NOTE)
            return fsp_err_set(
                    err, FSP_EFORMAT, "not a key of type 0x01, as an instructions key is");
        office->n++;
        pos += line + 1;
    }
    if (office->n == 0)
        return fsp_err_set(err, FSP_EFORMAT, "holds no verifier key");
    return FSP_OK;
}

static enum fsp_rc
read_beside(const struct fsp_audit_job *job, bool is_folder, const char *name, uint8_t **out,
        size_t *len, struct fsp_err *err)
{
    struct fsp_buf path;
    enum fsp_rc rc;

    fsp_buf_init(&path, FSP_AUDIT_PATH_MAX);
    fsp_audit_beside(job->file, is_folder, name, &path);
    rc = fsp_buf_check(&path, "a path", err);
    if (rc == FSP_OK)
        rc = fsp_file_read(fsp_buf_peek(&path), FSP_NOTE_MAX, out, len, err);
    fsp_buf_fini(&path);
    return rc;
}

static enum fsp_rc
load_keys(struct fsp_audit_office *office, const struct fsp_audit_job *job, bool is_folder,
        struct fsp_err *err)
{
    struct fsp_vkey vkey;
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc;

    if (job->instructions != NULL &&
            fsp_vkey_parse(&vkey, job->instructions, strlen(job->instructions), NULL) == FSP_OK)
        return take_keys(office, job->instructions, strlen(job->instructions), err);
    rc = job->instructions != NULL
                 ? fsp_file_read(job->instructions, VKEY_FILE_MAX, &bytes, &len, err)
                 : read_beside(job, is_folder, FSP_AUDIT_INSTRUCTIONS, &bytes, &len, err);
    if (rc == FSP_ENOTFOUND && job->instructions == NULL)
        return FSP_OK;
    if (rc == FSP_OK)
        rc = take_keys(office, (const char *)bytes, len, err);
    free(bytes);
    return rc == FSP_OK ? rc
                        : fsp_err_wrap(err, rc, "the office's instructions key (%s)",
                                  job->instructions != NULL ? "--instructions"
                                                            : FSP_AUDIT_INSTRUCTIONS);
}

enum fsp_rc
fsp_audit_office_load(struct fsp_audit_office *office, const struct fsp_audit_job *job,
        bool is_folder, struct fsp_err *err)
{
    bool pinned = has_pins(job);
    enum fsp_rc rc = load_keys(office, job, is_folder, err);

    if (rc != FSP_OK)
        return rc;
    for (size_t i = 0; i < office->n; i++)
        pinned = pinned && fsp_pins_have(job->pins, &office->key[i]);
    office->trust = job->instructions != NULL ? FSP_TRUST_GIVEN
                    : pinned                  ? FSP_TRUST_PINNED
                                              : FSP_TRUST_ENCLOSED;
    rc = read_beside(
            job, is_folder, FSP_AUDIT_ROSTER, &office->roster, &office->roster_len, err);
    if (rc == FSP_ENOTFOUND)
        return FSP_OK;
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "the roster beside it");
}
