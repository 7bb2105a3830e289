/* hand-back: everything held of one rig, for the rig that lost it. confirm: a keeper looked at a
 * renewal. readmit: an invitation of ours that was forgotten with a backup. */
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/mem.h"
#include "base/text.h"
#include "office/chain.h"
#include "office/cmd.h"
#include "office/keys.h"
#include "proof/register.h"
#include "proof/tree.h"
#include "wire/handback.h"
#include "wire/invitation.h"

/* ---- hand-back --------------------------------------------------------------------------- */

struct giving {
    struct fsp_shelf *shelf;
    struct fsp_chain_log *logs;
    size_t n;
    struct fsp_buf out;  /* the file */
    struct fsp_buf rest; /* of it, behind the manifest */
    struct fsp_buf part; /* one register */
};

static enum fsp_rc
write_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct giving *giving = ctx;

    (void)index;
    fsp_register_write_entry(bytes, len, &giving->part);
    return fsp_buf_check(&giving->part, "a register", err);
}

static enum fsp_rc
add_register(struct giving *giving, const struct fsp_chain_log *log, struct fsp_err *err)
{
    struct fsp_shelf *shelf = giving->shelf;
    struct fsp_register_top top;
    struct fsp_range range;
    struct fsp_buf head;
    uint64_t within[2] = {0, 0};
    enum fsp_rc rc;

    memset(&top, 0, sizeof(top));
    fsp_buf_init(&head, FSP_NOTE_MAX);
    rc = shelf->ops->head_below(shelf->ctx, log->log.id, UINT64_MAX, &range, &head, err);
    if (rc == FSP_OK) {
        memcpy(top.origin, log->log.origin, sizeof(top.origin));
        fsp_range_init(&top.range);
        top.to = range.size;
        top.to_head = fsp_buf_peek(&head);
        top.to_head_len = head.len;
        within[1] = range.size;
        fsp_buf_reset(&giving->part);
        fsp_register_write_top(&top, &giving->part);
        rc = shelf->ops->scan(shelf->ctx, log->log.id, within, write_entry, giving, err);
    }
    if (rc == FSP_OK) {
        fsp_register_write_end(&giving->part);
        rc = fsp_buf_check(&giving->part, "a register", err);
    }
    if (rc == FSP_OK)
        fsp_handback_add_register(&giving->rest, giving->part.data, giving->part.len);
    fsp_buf_fini(&head);
    return rc;
}

static enum fsp_rc
add_heads(struct giving *giving, const struct fsp_chain_log *log, struct fsp_err *err)
{
    struct fsp_shelf *shelf = giving->shelf;
    struct fsp_range range = {.size = 0};
    struct fsp_buf head;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&head, FSP_NOTE_MAX);
    while (rc == FSP_OK) {
        rc = shelf->ops->head_covering(shelf->ctx, log->log.id, range.size, &range, &head, err);
        if (rc == FSP_OK)
            fsp_handback_add_head(&giving->rest, head.data, head.len);
    }
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = fsp_buf_check(&giving->rest, "the hand-back", err);
    }
    fsp_buf_fini(&head);
    return rc;
}

/* Size and root of each log, as the manifest names them. */
static enum fsp_rc
describe(struct giving *giving, struct fsp_handback *back, struct fsp_err *err)
{
    struct fsp_shelf *shelf = giving->shelf;
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < giving->n; i++) {
        const struct fsp_shelf_log *log = &giving->logs[i].log;
        struct fsp_range range;

        rc = shelf->ops->tip(shelf->ctx, log->id, &range, err);
        if (rc == FSP_OK)
            rc = fsp_vkey_make(&back->logs[i].vkey, log->origin, FSP_KEY_NOTE, log->pub, err);
        back->logs[i].size = range.size;
        fsp_range_root(&range, back->logs[i].root);
    }
    return rc;
}

static enum fsp_rc
give(struct giving *giving, const char *rig, const struct fsp_office_keys *keys,
        struct fsp_err *err)
{
    struct fsp_shelf *shelf = giving->shelf;
    struct fsp_handback back = {.n = 0};
    enum fsp_rc rc = fsp_chain_load(shelf, rig, &giving->logs, &giving->n, err);

    if (rc == FSP_OK && giving->n == 0)
        rc = fsp_err_set(err, FSP_ENOTFOUND,
                "%s: nothing is held of such a rig; see: farspool-office fleet", rig);
    if (rc == FSP_OK)
        rc = shelf->ops->fleet(shelf->ctx, back.fleet, err);
    if (rc != FSP_OK)
        return rc;
    memcpy(back.rig, giving->logs[0].log.rig, sizeof(back.rig));
    back.n = giving->n;
    back.logs = fsp_mem_array(back.n, sizeof(*back.logs));
    if (back.logs == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = describe(giving, &back, err);
    for (size_t i = 0; rc == FSP_OK && i < giving->n; i++) {
        if (back.logs[i].size == 0)
            continue;
        rc = add_register(giving, &giving->logs[i], err);
        if (rc == FSP_OK)
            rc = add_heads(giving, &giving->logs[i], err);
    }
    if (rc == FSP_OK)
        rc = fsp_handback_write(&giving->out, &back, &giving->rest, keys->instructions, err);
    fsp_handback_fini(&back);
    return rc;
}

static int
say_given(const struct giving *giving, const char *path)
{
    struct fsp_buf out;
    int status;

    fsp_buf_init(&out, FSP_OFFICE_OUTPUT);
    fsp_buf_printf(&out,
            "%s: %zu log%s, %zu bytes; take it to the rig, then there: farspool-rig renew "
            "--hand-back FILE --why TEXT\n",
            path, giving->n, giving->n == 1 ? "" : "s", giving->out.len);
    status = fsp_cmd_print(&out);
    fsp_buf_fini(&out);
    return status;
}

int
fsp_cmd_hand_back(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct fsp_office_keys keys = {0};
    struct giving giving = {.n = 0};
    const char *path = fsp_args_get(args, "out");
    const char *store = NULL;
    int status;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, 1, &err);

    fsp_buf_init(&giving.out, FSP_HANDBACK_MAX);
    fsp_buf_init(&giving.rest, FSP_HANDBACK_MAX);
    fsp_buf_init(&giving.part, FSP_HANDBACK_MAX);
    if (rc == FSP_OK && path == NULL)
        rc = fsp_err_set(&err, FSP_EINVAL, "--out FILE is needed: where to write it");
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, &err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, FSP_SHELF_READ, &giving.shelf, &err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&keys, store, &err);
    if (rc == FSP_OK)
        rc = giving.shelf->ops->begin(giving.shelf->ctx, false, &err);
    if (rc == FSP_OK) {
        rc = give(&giving, fsp_args_rest(args, 0), &keys, &err);
        giving.shelf->ops->rollback(giving.shelf->ctx);
    }
    if (rc == FSP_OK) /* the rig's records: for nobody else's eyes */
        rc = fsp_file_write(path, giving.out.data, giving.out.len, 0600, &err);
    status = rc == FSP_OK ? say_given(&giving, path) : fsp_cmd_fail(rc, &err);
    fsp_office_keys_fini(&keys);
    fsp_shelf_close(giving.shelf);
    free(giving.logs);
    fsp_buf_fini(&giving.part);
    fsp_buf_fini(&giving.rest);
    fsp_buf_fini(&giving.out);
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
