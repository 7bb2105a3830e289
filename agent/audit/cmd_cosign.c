/* cosign: the witness's side, offline. */
#include "audit/cmd_cosign.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audit/cosign.h"
#include "base/clock.h"
#include "base/file.h"
#include "base/text.h"
#include "proof/request.h"

static enum fsp_rc
new_key(const struct fsp_args *args, struct fsp_buf *said, struct fsp_err *err)
{
    const char *name = fsp_args_get(args, "new-key");
    const char *out = fsp_args_get(args, "out");
    struct fsp_skey *key = NULL;
    char fingerprint[65];
    enum fsp_rc rc = out == NULL ? fsp_err_set(err, FSP_EINVAL, "--out FILE is needed")
                                 : fsp_args_rest_within(args, 0, 0, err);

    if (rc == FSP_OK)
        rc = fsp_skey_new(&key, name, FSP_KEY_COSIGNER, fsp_env_system(), err);
    if (rc == FSP_OK)
        rc = fsp_skey_save(key, out, err);
    if (rc == FSP_OK) {
        fsp_vkey_fingerprint(fsp_skey_vkey(key), fingerprint);
        fsp_vkey_write(fsp_skey_vkey(key), said);
        fsp_buf_printf(said, "\nfingerprint %s\n", fingerprint);
    }
    fsp_skey_free(key);
    return rc;
}

/* A verifier key as it stands, or the first line of a file. */
static enum fsp_rc
read_vkey(const char *word, struct fsp_vkey *vkey, struct fsp_err *err)
{
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc;

    if (fsp_vkey_parse(vkey, word, strlen(word), NULL) == FSP_OK)
        return FSP_OK;
    rc = fsp_file_read(word, FSP_VKEY_MAX, &bytes, &len, err);
    if (rc == FSP_OK) {
        if (len > 0 && bytes[len - 1] == '\n')
            len--;
        rc = fsp_vkey_parse(vkey, (const char *)bytes, len, err);
        if (rc != FSP_OK)
            (void)fsp_err_wrap(err, rc, "%s", word);
    }
    free(bytes);
    return rc;
}

static enum fsp_rc
add_log(const struct fsp_args *args, struct fsp_buf *said, struct fsp_err *err)
{
    const char *state = fsp_args_get(args, "state");
    struct fsp_vkey vkey;
    char fingerprint[65];
    enum fsp_rc rc = state == NULL ? fsp_err_set(err, FSP_EINVAL, "--state DIR is needed")
                                   : fsp_args_rest_within(args, 0, 0, err);

    if (rc == FSP_OK)
        rc = read_vkey(fsp_args_get(args, "add-log"), &vkey, err);
    if (rc == FSP_OK)
        rc = fsp_witness_add_log(state, &vkey, err);
    if (rc == FSP_OK) {
        fsp_vkey_fingerprint(&vkey, fingerprint);
        fsp_buf_printf(
                said, "%s may be cosigned now; fingerprint %s\n", vkey.name, fingerprint);
    }
    return rc;
}

static enum fsp_rc
cosign(const struct fsp_args *args, struct fsp_buf *said, struct fsp_err *err)
{
    const char *out = fsp_args_get(args, "out");
    const char *key = fsp_args_get(args, "key");
    struct fsp_witness_job job = {.state = fsp_args_get(args, "state"),
            .now_s = fsp_env_system()->utc_us(fsp_env_system()->ctx) / FSP_US_PER_S};
    struct fsp_skey *skey = NULL;
    struct fsp_checkpoint head;
    struct fsp_buf note;
    uint8_t *request = NULL;
    size_t len = 0;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, 1, err);

    if (rc != FSP_OK)
        return rc;
    if (out == NULL || key == NULL || job.state == NULL)
        return fsp_err_set(
                err, FSP_EINVAL, "--state DIR, --key FILE and --out FILE are needed");
    fsp_buf_init(&note, 2 * FSP_NOTE_MAX);
    if (rc == FSP_OK)
        rc = fsp_file_read(fsp_args_rest(args, 0), FSP_REQUEST_MAX, &request, &len, err);
    if (rc == FSP_OK)
        rc = fsp_skey_load(&skey, key, err);
    job.key = skey;
    if (rc == FSP_OK)
        rc = fsp_witness_cosign(&job, (const char *)request, len, &note, &head, err);
    if (rc == FSP_OK)
        rc = fsp_file_write(out, note.data, note.len, 0644, err);
    if (rc == FSP_OK) {
        fsp_text_show(said, out, strlen(out));
        fsp_buf_printf(said, ": %s with %" PRIu64 " entries, cosigned by %s\n", head.origin,
                head.size, fsp_skey_vkey(skey)->name);
    }
    fsp_skey_free(skey);
    free(request);
    fsp_buf_fini(&note);
    return rc;
}

enum fsp_rc
fsp_cmd_cosign(const struct fsp_args *args, struct fsp_buf *said, struct fsp_err *err)
{
    if (fsp_args_has(args, "new-key"))
        return new_key(args, said, err);
    return fsp_args_has(args, "add-log") ? add_log(args, said, err) : cosign(args, said, err);
}
