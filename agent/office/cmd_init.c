/* init makes a store, invite hands out a place for one log. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "office/cmd.h"
#include "office/keys.h"
#include "office/rosters.h"
#include "office/tls.h"
#include "proof/tree.h"
#include "wire/invitation.h"

/* The fingerprints that rigs and auditors compare by another way than the invitation's. */
static int
print_keys(const char *made, const struct fsp_office_keys *keys)
{
    const struct fsp_vkey *const vkeys[] = {
            fsp_skey_vkey(keys->cosigner), fsp_skey_vkey(keys->instructions)};
    char fingerprint[65];
    struct fsp_buf out;
    int status;

    fsp_buf_init(&out, FSP_OFFICE_OUTPUT);
    fsp_buf_printf(&out, "made %s; this office's keys, to be compared by telephone:\n", made);
    for (size_t i = 0; i < 2; i++) {
        fsp_vkey_fingerprint(vkeys[i], fingerprint);
        fsp_buf_printf(&out, "  %s %s\n", fingerprint, vkeys[i]->name);
    }
    status = fsp_cmd_print(&out);
    fsp_buf_fini(&out);
    return status;
}

/* --- init ------------------------------------------------------------------------------------ */

static enum fsp_rc
fill_store(struct fsp_args *args, const char *folder, const char *fleet, struct fsp_err *err)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    struct fsp_office_keys keys = {0};
    struct fsp_office_tls tls = {.cert = {0}};
    struct fsp_shelf *shelf = NULL;
    bool made;
    enum fsp_rc rc = fsp_office_keys_make(&keys, fleet, office->env, err);

    if (rc == FSP_OK)
        rc = fsp_office_keys_save(&keys, folder, err);
    if (rc == FSP_OK)
        rc = fsp_office_tls_make(&tls, folder, &made, err);
    if (rc == FSP_OK)
        rc = fsp_shelf_open(&fsp_shelf_sqlite, folder, FSP_SHELF_CREATE, &shelf, err);
    if (rc == FSP_OK)
        rc = shelf->ops->begin(shelf->ctx, true, err);
    if (rc == FSP_OK)
        rc = shelf->ops->set_fleet(shelf->ctx, fleet, err);
    if (rc == FSP_OK)
        rc = shelf->ops->commit(shelf->ctx, err);
    if (rc == FSP_OK)
        rc = shelf->ops->tidy(shelf->ctx, true, err);
    fsp_shelf_close(shelf);
    fsp_office_tls_fini(&tls);
    fsp_office_keys_fini(&keys);
    return rc;
}

/* The folder that holds `path`, in new memory. */
static char *
parent_of(const char *path)
{
    const char *slash = strrchr(path, '/');

    if (slash == NULL)
        return strdup(".");
    return slash == path ? strdup("/") : strndup(path, (size_t)(slash - path));
}

/* The store is made beside its place and moved there whole: a failed init leaves no half store
 * under the name. */
static enum fsp_rc
make_store(struct fsp_args *args, const char *store, const char *fleet, struct fsp_err *err)
{
    enum fsp_rc rc;
    char *place = strdup(store);
    char *beside = NULL;
    char *parent = NULL;
    size_t len = strlen(store);

    while (place != NULL && len > 1 && place[len - 1] == '/')
        place[--len] = '\0';
    if (place != NULL) {
        parent = parent_of(place);
        beside = malloc(len + sizeof(".new-XXXXXX"));
    }
    if (place == NULL || beside == NULL || parent == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    memcpy(beside, place, len);
    memcpy(beside + len, ".new-XXXXXX", sizeof(".new-XXXXXX"));
    if (mkdtemp(beside) == NULL) {
        rc = fsp_err_sys(err, FSP_EIO, errno,
                "%s: cannot make a folder beside it; name a folder inside one that you may "
                "write to",
                store);
        goto out;
    }
    rc = fill_store(args, beside, fleet, err);
    if (rc != FSP_OK) {
        rc = fsp_err_wrap(err, rc, "%s (left behind, remove it)", beside);
        goto out;
    }
    if (rename(beside, place) != 0) { /* over an empty folder at most */
        int failed = errno;

        rc = fsp_err_sys(err, failed == ENOTEMPTY || failed == EEXIST ? FSP_EINVAL : FSP_EIO,
                failed, "%s: there is something already; the new store is in %s", store,
                beside);
        goto out;
    }
    rc = fsp_file_sync_folder(parent, err);
out:
    free(parent);
    free(beside);
    free(place);
    return rc;
}

int
fsp_cmd_init(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct fsp_office_keys keys = {0};
    const char *fleet = fsp_args_get(args, "fleet");
    const char *store = NULL;
    char *shelf = NULL;
    int status;
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, &err);

    if (rc == FSP_OK && fleet == NULL)
        rc = fsp_err_set(&err, FSP_EINVAL, "--fleet NAME is needed");
    if (rc == FSP_OK && !fsp_text_name(fleet))
        rc = fsp_err_set(&err, FSP_EINVAL,
                "--fleet %s: a name is 1 to %zu of a-z, 0-9 and inner hyphens", fleet,
                FSP_NAME_MAX);
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, &err);
    if (rc == FSP_OK) {
        shelf = fsp_file_join(store, "shelf.db");
        if (shelf == NULL)
            rc = fsp_err_set(&err, FSP_ENOMEM, "out of memory");
        else if (fsp_file_exists(shelf))
            rc = fsp_err_set(&err, FSP_EINVAL, "%s: there is a store already", store);
    }
    if (rc == FSP_OK)
        rc = make_store(args, store, fleet, &err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&keys, store, &err);
    status = rc == FSP_OK ? print_keys(store, &keys) : fsp_cmd_fail(rc, &err);
    fsp_office_keys_fini(&keys);
    free(shelf);
    return status;
}

/* --- invite ---------------------------------------------------------------------------------- */

static enum fsp_rc
check_url(const char *url, struct fsp_err *err)
{
    size_t len = strlen(url);

    if (len > FSP_URL_MAX)
        return fsp_err_set(err, FSP_EINVAL, "--url: longer than %zu characters", FSP_URL_MAX);
    if ((strncmp(url, "http://", 7) != 0 || len == 7) &&
            (strncmp(url, "https://", 8) != 0 || len == 8))
        return fsp_err_set(err, FSP_EINVAL,
                "--url %s: begins with http:// or https:// and names a host", url);
    for (size_t i = 0; i < len; i++)
        if (url[i] <= ' ' || url[i] > '~')
            return fsp_err_set(err, FSP_EINVAL, "--url: no spaces, ASCII only");
    return FSP_OK;
}

/* The pins of the TLS keys: an https:// address needs them, any other invitation takes them along
 * when they are there. */
static enum fsp_rc
add_pins(struct fsp_invitation *invitation, const char *store, struct fsp_err *err)
{
    const bool needed = strncmp(invitation->url, "https://", 8) == 0;
    struct fsp_office_tls tls;
    bool made = false;
    enum fsp_rc rc = needed ? fsp_office_tls_make(&tls, store, &made, err)
                            : fsp_office_tls_load(&tls, store, err);

    if (rc == FSP_ENOTFOUND && !needed)
        return FSP_OK;
    if (rc != FSP_OK)
        return rc;
    if (made)
        fsp_cmd_warn("made the office's TLS key and its spare in %s/keys; serve them with: "
                     "serve --listen https://ADDR:PORT",
                store);
    memcpy(invitation->pins, tls.pins, sizeof(invitation->pins));
    invitation->has_pins = true;
    fsp_office_tls_fini(&tls);
    return FSP_OK;
}

static enum fsp_rc
write_invitation(struct fsp_args *args, const struct fsp_office_keys *keys,
        struct fsp_shelf *shelf, struct fsp_buf *out, struct fsp_err *err)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    const char *url = fsp_args_get(args, "url");
    const char *rig = fsp_args_rest(args, 0);
    const char *store = NULL;
    struct fsp_invitation invitation;
    uint8_t mark[FSP_MARK_LEN];
    enum fsp_rc rc = fsp_cmd_store(args, &store, err);

    if (rc != FSP_OK)
        return rc;

    memset(&invitation, 0, sizeof(invitation));
    memcpy(invitation.rig, rig, strlen(rig));
    if (url != NULL)
        memcpy(invitation.url, url, strlen(url));
    invitation.cosigner = *fsp_skey_vkey(keys->cosigner);
    invitation.instructions = *fsp_skey_vkey(keys->instructions);
    memcpy(invitation.box_pub, keys->box[0].pub, sizeof(invitation.box_pub));
    office->env->random(office->env->ctx, invitation.token, sizeof(invitation.token));
    fsp_leaf_hash(invitation.token, sizeof(invitation.token), mark);
    rc = add_pins(&invitation, store, err);
    if (rc != FSP_OK)
        return rc;
    rc = shelf->ops->begin(shelf->ctx, true, err);
    if (rc == FSP_OK)
        rc = shelf->ops->fleet(shelf->ctx, invitation.fleet, err);
    if (rc == FSP_OK)
        rc = fsp_invitation_sign(out, &invitation, keys->instructions, err);
    if (rc == FSP_OK)
        rc = shelf->ops->invite(shelf->ctx, rig, mark, fsp_cmd_now_s(args), err);
    if (rc == FSP_OK)
        rc = fsp_rosters_send(shelf, keys, office->env, rig, err);
    if (rc == FSP_OK)
        rc = shelf->ops->commit(shelf->ctx, err);
    else
        shelf->ops->rollback(shelf->ctx);
    return rc;
}

int
fsp_cmd_invite(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct fsp_office_keys keys = {0};
    struct fsp_shelf *shelf = NULL;
    struct fsp_buf out;
    const char *path = fsp_args_get(args, "out");
    const char *url = fsp_args_get(args, "url");
    const char *store = NULL;
    int status;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, 1, &err);

    fsp_buf_init(&out, FSP_INVITATION_MAX);
    if (rc == FSP_OK && !fsp_text_name(fsp_args_rest(args, 0)))
        rc = fsp_err_set(&err, FSP_EINVAL,
                "%s: a rig's name is 1 to %zu of a-z, 0-9 and inner hyphens",
                fsp_args_rest(args, 0), FSP_NAME_MAX);
    if (rc == FSP_OK && path == NULL)
        rc = fsp_err_set(&err, FSP_EINVAL, "--out FILE is needed");
    if (rc == FSP_OK && url != NULL)
        rc = check_url(url, &err);
    if (rc == FSP_OK && fsp_file_exists(path))
        rc = fsp_err_set(&err, FSP_EINVAL, "%s: there is a file already", path);
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, &err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, FSP_SHELF_WRITE, &shelf, &err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&keys, store, &err);
    if (rc == FSP_OK)
        rc = write_invitation(args, &keys, shelf, &out, &err);
    if (rc == FSP_OK) /* its token enrols a log: for nobody else's eyes */
        rc = fsp_file_create(path, out.data, out.len, 0600, &err);
    status = rc == FSP_OK ? print_keys(path, &keys) : fsp_cmd_fail(rc, &err);
    fsp_office_keys_fini(&keys);
    fsp_shelf_close(shelf);
    fsp_buf_fini(&out);
    return status;
}
