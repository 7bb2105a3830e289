#include <stdio.h>
#include <stdlib.h>

#include "base/file.h"
#include "rig/cmd.h"
#include "rig/renew.h"
#include "wire/invitation.h"

static void
add_key(struct fsp_buf *out, const struct fsp_vkey *vkey)
{
    char fingerprint[65];

    fsp_vkey_fingerprint(vkey, fingerprint);
    fsp_buf_printf(out, "  %s %s\n", fingerprint, vkey->name);
}

/* What is in the store before it is moved to its place. */
struct filling {
    const void *invitation; /* the file's bytes */
    size_t invitation_len;
    const struct fsp_renew_options *options; /* NULL without a hand-back */
};

/* The invitation, for an office that is put back to a day before it made it; then, on a new PC for a
 * rig that has a record, what the office holds of it. */
static enum fsp_rc
fill(struct fsp_journal *journal, void *ctx, struct fsp_err *err)
{
    const struct filling *filling = ctx;
    struct fsp_renew_report report;
    enum fsp_rc rc =
            fsp_cmd_keep_invitation(journal, filling->invitation, filling->invitation_len, err);

    if (rc == FSP_OK && filling->options != NULL)
        rc = fsp_renew(journal, filling->options, &report, err);
    return rc;
}

static enum fsp_rc
create(struct fsp_args *args, const char *folder, const struct fsp_invitation *invitation,
        struct filling *filling, struct fsp_err *err)
{
    const char *path = fsp_args_get(args, "hand-back");
    const char *why = fsp_args_get(args, "why");
    struct fsp_handback back = {.n = 0};
    struct fsp_renew_options options = {.why = why == NULL ? "a new store for this rig" : why,
            .by = "farspool-rig init",
            .invitation = invitation,
            .back = &back};
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc = FSP_OK;

    if (path != NULL)
        rc = fsp_file_read(path, FSP_HANDBACK_MAX, &bytes, &len, err);
    if (rc == FSP_OK && path != NULL) {
        filling->options = &options;
        rc = fsp_handback_read(&back, bytes, len, &invitation->instructions, err);
        if (rc != FSP_OK)
            rc = fsp_err_wrap(err, rc, "%s", path);
    }
    if (rc == FSP_OK)
        rc = fsp_journal_create_filled(
                folder, invitation, fsp_env_system(), fill, filling, err);
    filling->options = NULL;
    fsp_handback_fini(&back);
    free(bytes);
    return rc;
}

static enum fsp_rc
make(struct fsp_args *args, struct fsp_buf *out, struct fsp_err *err)
{
    const char *path = fsp_args_get(args, "invitation");
    struct fsp_invitation invitation;
    struct filling filling = {.options = NULL};
    const struct fsp_journal_about *about;
    struct fsp_journal *journal = NULL;
    const char *folder;
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc;

    if (path == NULL)
        return fsp_err_set(err, FSP_EINVAL,
                "--invitation FILE is needed; the office makes it with: farspool-office invite "
                "RIG");
    rc = fsp_cmd_folder(args, &folder, err);
    if (rc == FSP_OK)
        rc = fsp_file_read(path, FSP_INVITATION_MAX, &bytes, &len, err);
    if (rc != FSP_OK)
        goto out;
    rc = fsp_invitation_read(&invitation, bytes, len, err);
    if (rc != FSP_OK) {
        rc = fsp_err_wrap(err, rc, "%s", path);
        goto out;
    }
    filling.invitation = bytes;
    filling.invitation_len = len;
    rc = create(args, folder, &invitation, &filling, err);
    if (rc == FSP_OK)
        rc = fsp_journal_open(folder, FSP_JOURNAL_READ, fsp_env_system(), &journal, err);
    if (rc != FSP_OK)
        goto out;
    about = fsp_journal_about(journal);
    fsp_buf_printf(out, "made %s for rig %s of fleet %s\n", folder, about->rig, about->fleet);
    fsp_buf_add_text(out, "keys; read them to the office by telephone and compare:\n");
    add_key(out, &about->cosigner);
    add_key(out, &about->instructions);
    add_key(out, &about->vkey);
    fsp_buf_printf(out, "%s%s\n", about->url[0] == '\0' ? "no URL: use carry" : "push goes to ",
            about->url);
out:
    fsp_journal_close(journal);
    free(bytes);
    return rc;
}

int
fsp_cmd_init(struct fsp_args *args)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf out;
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, &err);

    fsp_buf_init(&out, FSP_OUT_MAX);
    if (rc == FSP_OK)
        rc = make(args, &out, &err);
    if (rc != FSP_OK) {
        fsp_buf_fini(&out);
        return fsp_cmd_fail(&err, rc);
    }
    return fsp_cmd_out(&out, 0);
}
