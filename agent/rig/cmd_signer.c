/* Persons' keys: made, shown, put under another passphrase. No store is needed. */
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/limits.h"
#include "proof/roster.h"
#include "proof/signer.h"
#include "rig/cmd.h"
#include "rig/passphrase.h"

static void
report_key(const struct fsp_vkey *vkey, bool json, struct fsp_buf *out)
{
    char fleet[FSP_NAME_MAX + 1];
    char fingerprint[65];
    const char *name = NULL;

    (void)fsp_signer_key_parts(vkey, fleet, &name); /* was checked when it was read */
    fsp_vkey_fingerprint(vkey, fingerprint);
    if (json) {
        fsp_buf_add_text(out, "{\"fingerprint\":");
        fsp_cmd_json_text(out, fingerprint);
        fsp_buf_add_text(out, ",\"fleet\":");
        fsp_cmd_json_text(out, fleet);
        fsp_buf_add_text(out, ",\"signer\":");
        fsp_cmd_json_text(out, name != NULL ? name : "");
        fsp_buf_add_text(out, ",\"verifier_key\":\"");
        fsp_vkey_write(vkey, out); /* neither quote nor backslash: names of a-z, 0-9, - */
        fsp_buf_add_text(out, "\"}\n");
        return;
    }
    fsp_buf_printf(
            out, "signer       %s, fleet %s\nverifier key ", name != NULL ? name : "", fleet);
    fsp_vkey_write(vkey, out);
    fsp_buf_printf(out, "\nfingerprint  %s\n", fingerprint);
}

static enum fsp_rc
make(struct fsp_args *args, struct fsp_buf *out, struct fsp_err *err)
{
    const char *fleet = fsp_args_get(args, "fleet");
    const char *path = fsp_args_get(args, "out");
    const struct fsp_passphrase_wish wish = {.from = fsp_args_get(args, "passphrase-from"),
            .option = "passphrase-from",
            .prompt = "a passphrase for the new key: ",
            .twice = true};
    char key_name[FSP_KEY_NAME_MAX + 1];
    char *passphrase = NULL;
    struct fsp_skey *skey = NULL;
    enum fsp_rc rc;

    if (fleet == NULL || path == NULL)
        return fsp_err_set(err, FSP_EINVAL,
                "--fleet FLEET and --out FILE are needed: signer new NAME --fleet FLEET --out "
                "FILE");
    rc = fsp_signer_key_name(fleet, fsp_args_rest(args, 1), key_name, err);
    if (rc == FSP_OK && fsp_file_exists(path))
        rc = fsp_err_set(err, FSP_EINVAL, "%s: exists already; it is not replaced", path);
    if (rc == FSP_OK)
        rc = fsp_passphrase_get(&wish, &passphrase, err);
    if (rc == FSP_OK)
        rc = fsp_skey_new(&skey, key_name, FSP_KEY_NOTE, fsp_env_system(), err);
    if (rc == FSP_OK)
        rc = fsp_signer_save(skey, path, passphrase, NULL, fsp_env_system(), err);
    if (rc == FSP_OK) {
        bool json = fsp_args_has(args, "json");

        report_key(fsp_skey_vkey(skey), json, out);
        if (!json)
            fsp_buf_add_text(out,
                    "hand the verifier key to the office for the roster, and have the "
                    "fingerprint compared by telephone\n"
                    "a forgotten passphrase cannot be had back: then a new key is made and put "
                    "on the roster\n");
    }
    fsp_skey_free(skey);
    fsp_passphrase_free(passphrase);
    return rc;
}

static enum fsp_rc
show(struct fsp_args *args, struct fsp_buf *out, struct fsp_err *err)
{
    struct fsp_vkey vkey;
    enum fsp_rc rc = fsp_signer_peek(&vkey, fsp_args_rest(args, 1), err);

    if (rc == FSP_OK)
        report_key(&vkey, fsp_args_has(args, "json"), out);
    return rc;
}

static enum fsp_rc
change_passphrase(struct fsp_args *args, struct fsp_buf *out, struct fsp_err *err)
{
    const char *path = fsp_args_rest(args, 1);
    const struct fsp_passphrase_wish old = {.from = fsp_args_get(args, "passphrase-from"),
            .option = "passphrase-from",
            .prompt = "the passphrase until now: ",
            .twice = false};
    const struct fsp_passphrase_wish new = {.from = fsp_args_get(args, "new-passphrase-from"),
            .option = "new-passphrase-from",
            .prompt = "the new passphrase: ",
            .twice = true};
    char *passphrase = NULL;
    char *fresh = NULL;
    struct fsp_skey *skey = NULL;
    enum fsp_rc rc = fsp_passphrase_get(&old, &passphrase, err);

    if (rc == FSP_OK)
        rc = fsp_signer_load(&skey, path, passphrase, err);
    if (rc == FSP_OK)
        rc = fsp_passphrase_get(&new, &fresh, err);
    if (rc == FSP_OK)
        rc = fsp_signer_replace(skey, path, fresh, NULL, fsp_env_system(), err);
    if (rc == FSP_OK)
        fsp_buf_printf(out, "%s: the new passphrase holds\n", path);
    fsp_skey_free(skey);
    fsp_passphrase_free(passphrase);
    fsp_passphrase_free(fresh);
    return rc;
}

int
fsp_cmd_signer(struct fsp_args *args)
{
    static const struct {
        const char *word;
        enum fsp_rc (*run)(struct fsp_args *args, struct fsp_buf *out, struct fsp_err *err);
    } verbs[] = {{"new", make}, {"show", show}, {"passphrase", change_passphrase}};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf out;
    enum fsp_rc rc = fsp_args_rest_within(args, 2, 2, &err);
    const char *word = fsp_args_rest(args, 0);
    size_t verb = 0;

    fsp_buf_init(&out, FSP_OUT_MAX);
    if (rc == FSP_OK) {
        while (verb < sizeof(verbs) / sizeof(verbs[0]) && strcmp(word, verbs[verb].word) != 0)
            verb++;
        rc = verb < sizeof(verbs) / sizeof(verbs[0])
                     ? verbs[verb].run(args, &out, &err)
                     : fsp_err_set(&err, FSP_EINVAL,
                               "'%.60s': signer takes new, show or passphrase", word);
    }
    if (rc != FSP_OK) {
        fsp_buf_fini(&out);
        return fsp_cmd_fail(&err, rc);
    }
    return fsp_cmd_out(&out, 0);
}
