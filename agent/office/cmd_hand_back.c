/* hand-back: everything held of one rig, for the rig that lost it. confirm: a keeper looked at a
 * renewal. readmit: an invitation of ours that was forgotten with a backup. */
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/mem.h"
#include "base/text.h"
#include "office/chain.h"
#include "office/cmd.h"
#include "office/hand_back.h"
#include "office/keys.h"
#include "proof/register.h"
#include "proof/tree.h"
#include "wire/handback.h"
#include "wire/invitation.h"

/* ---- hand-back --------------------------------------------------------------------------- */

static int
say_given(size_t logs, size_t len, const char *path)
{
    struct fsp_buf out;
    int status;

    fsp_buf_init(&out, FSP_OFFICE_OUTPUT);
    fsp_buf_printf(&out,
            "%s: %zu log%s, %zu bytes; take it to the rig, then there: farspool-rig renew "
            "--hand-back FILE --why TEXT\n",
            path, logs, logs == 1 ? "" : "s", len);
    status = fsp_cmd_print(&out);
    fsp_buf_fini(&out);
    return status;
}

int
fsp_cmd_hand_back(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct fsp_office_keys keys = {0};
    struct fsp_shelf *shelf = NULL;
    struct fsp_buf out;
    const char *path = fsp_args_get(args, "out");
    const char *store = NULL;
    size_t logs = 0;
    int status;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, 1, &err);

    fsp_buf_init(&out, FSP_HANDBACK_MAX);
    if (rc == FSP_OK && path == NULL)
        rc = fsp_err_set(&err, FSP_EINVAL, "--out FILE is needed: where to write it");
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, &err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, FSP_SHELF_READ, &shelf, &err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&keys, store, &err);
    if (rc == FSP_OK)
        rc = fsp_hand_back(shelf, &keys, fsp_args_rest(args, 0), &out, &logs, &err);
    if (rc == FSP_OK) /* the rig's records: for nobody else's eyes */
        rc = fsp_file_write(path, out.data, out.len, 0600, &err);
    status = rc == FSP_OK ? say_given(logs, out.len, path) : fsp_cmd_fail(rc, &err);
    fsp_office_keys_fini(&keys);
    fsp_shelf_close(shelf);
    fsp_buf_fini(&out);
    return status;
}

/* ---- confirm ----------------------------------------------------------------------------- */

/* The logs of the rig that began by a renewal and wait for a keeper; with --log that one alone. */
static enum fsp_rc
confirm(struct fsp_args *args, struct fsp_shelf *shelf, struct fsp_buf *out,
        struct fsp_err *err)
{
    const char *rig = fsp_args_rest(args, 0);
    const char *only = fsp_args_get(args, "log");
    const char *by = fsp_args_get(args, "by");
    struct fsp_chain_log *logs = NULL;
    size_t n = 0;
    size_t done = 0;
    enum fsp_rc rc = fsp_chain_load(shelf, rig, &logs, &n, err);

    for (size_t i = 0; rc == FSP_OK && i < n; i++) {
        if (!logs[i].renewed || logs[i].renewal.confirmed ||
                (only != NULL && strcmp(only, logs[i].log.origin) != 0))
            continue;
        rc = shelf->ops->confirm_renewal(
                shelf->ctx, logs[i].log.id, by, fsp_cmd_now_s(args), err);
        fsp_buf_printf(out, "confirmed by %s: %s continues the record of %s%s\n", by,
                logs[i].log.origin, rig,
                logs[i].renewal.how == FSP_RENEWAL_PROVED ? ""
                                                          : " (not proved by the old key)");
        done++;
    }
    if (rc == FSP_OK && done == 0)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "%s: no renewal waits to be confirmed%s%s", rig,
                only == NULL ? "" : " with the log ", only == NULL ? "" : only);
    free(logs);
    return rc;
}

int
fsp_cmd_confirm(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct fsp_shelf *shelf = NULL;
    const char *by = fsp_args_get(args, "by");
    struct fsp_buf out;
    int status;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, 1, &err);

    fsp_buf_init(&out, FSP_OFFICE_OUTPUT);
    if (rc == FSP_OK && (by == NULL || !fsp_text_name(by)))
        rc = fsp_err_set(&err, FSP_EINVAL,
                "--by NAME is needed: who looked at it (1 to %zu of a-z, 0-9 and inner "
                "hyphens)",
                FSP_NAME_MAX);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, FSP_SHELF_WRITE, &shelf, &err);
    if (rc == FSP_OK)
        rc = shelf->ops->begin(shelf->ctx, true, &err);
    if (rc == FSP_OK) {
        rc = confirm(args, shelf, &out, &err);
        if (rc == FSP_OK)
            rc = shelf->ops->commit(shelf->ctx, &err);
        else
            shelf->ops->rollback(shelf->ctx);
    }
    status = rc == FSP_OK ? fsp_cmd_print(&out) : fsp_cmd_fail(rc, &err);
    fsp_shelf_close(shelf);
    fsp_buf_fini(&out);
    return status;
}

/* ---- readmit ----------------------------------------------------------------------------- */

/* The invitation is this office's own word: its signature holds, by the key of today. */
static enum fsp_rc
read_own(const char *path, const struct fsp_office_keys *keys,
        struct fsp_invitation *invitation, struct fsp_err *err)
{
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc = fsp_file_read(path, FSP_INVITATION_MAX, &bytes, &len, err);

    if (rc == FSP_OK) {
        rc = fsp_invitation_read(invitation, bytes, len, err);
        if (rc == FSP_OK &&
                !fsp_vkey_equal(&invitation->instructions, fsp_skey_vkey(keys->instructions)))
            rc = fsp_err_set(err, FSP_EVERIFY, "not an invitation of this office");
        if (rc != FSP_OK)
            rc = fsp_err_wrap(err, rc, "%s", path);
    }
    free(bytes);
    return rc;
}

static enum fsp_rc
readmit(struct fsp_args *args, struct fsp_shelf *shelf, const struct fsp_invitation *invitation,
        struct fsp_buf *out, struct fsp_err *err)
{
    struct fsp_shelf_invitation known;
    uint8_t mark[FSP_MARK_LEN];
    enum fsp_rc rc;

    fsp_leaf_hash(invitation->token, sizeof(invitation->token), mark);
    rc = shelf->ops->invitation(shelf->ctx, mark, &known, err);
    if (rc == FSP_OK) {
        fsp_buf_printf(out, "this invitation of %s is known here already\n", invitation->rig);
        return rc;
    }
    if (rc != FSP_ENOTFOUND)
        return rc;
    fsp_err_clear(err);
    rc = shelf->ops->invite(shelf->ctx, invitation->rig, mark, fsp_cmd_now_s(args), err);
    fsp_buf_printf(out, "%s: its log enrols again with its next bundle\n", invitation->rig);
    return rc;
}

int
fsp_cmd_readmit(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct fsp_office_keys keys = {0};
    struct fsp_invitation invitation;
    struct fsp_shelf *shelf = NULL;
    const char *store = NULL;
    struct fsp_buf out;
    int status;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, 1, &err);

    fsp_buf_init(&out, FSP_OFFICE_OUTPUT);
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, &err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&keys, store, &err);
    if (rc == FSP_OK)
        rc = read_own(fsp_args_rest(args, 0), &keys, &invitation, &err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, FSP_SHELF_WRITE, &shelf, &err);
    if (rc == FSP_OK)
        rc = shelf->ops->begin(shelf->ctx, true, &err);
    if (rc == FSP_OK) {
        rc = readmit(args, shelf, &invitation, &out, &err);
        if (rc == FSP_OK)
            rc = shelf->ops->commit(shelf->ctx, &err);
        else
            shelf->ops->rollback(shelf->ctx);
    }
    status = rc == FSP_OK ? fsp_cmd_print(&out) : fsp_cmd_fail(rc, &err);
    fsp_office_keys_fini(&keys);
    fsp_shelf_close(shelf);
    fsp_buf_fini(&out);
    return status;
}
