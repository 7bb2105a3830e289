/* prove: the evidence for one entry, as three files. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "line/say.h"
#include "office/cmd.h"
#include "office/keys.h"
#include "proof/evidence.h"

struct evidence {
    struct fsp_shelf *shelf;
    struct fsp_office_keys keys;
    struct fsp_shelf_log log;
    uint64_t index;
    struct fsp_range range; /* of the earliest head that covers the entry */
    struct fsp_buf note;
    struct fsp_buf record;
    struct fsp_buf proof;
    struct fsp_buf policy;
};

/* The log that was asked for, or the rig's newest. */
static enum fsp_rc
find_log(struct evidence *evidence, const char *rig, const char *origin, struct fsp_err *err)
{
    struct fsp_shelf *shelf = evidence->shelf;
    struct fsp_shelf_log log = {0};
    enum fsp_rc rc = FSP_OK;

    while (rc == FSP_OK) {
        rc = shelf->ops->next_log(shelf->ctx, log.id, &log, err);
        if (rc == FSP_OK && strcmp(log.rig, rig) == 0 &&
                (origin == NULL || strcmp(log.origin, origin) == 0))
            evidence->log = log;
    }
    if (rc != FSP_ENOTFOUND)
        return rc;
    if (evidence->log.id == 0)
        return fsp_err_set(err, FSP_ENOTFOUND, "%s: no log of this rig%s%s is held here", rig,
                origin == NULL ? "" : " named ", origin == NULL ? "" : origin);
    return FSP_OK;
}

static enum fsp_rc
load(struct evidence *evidence, struct fsp_err *err)
{
    struct fsp_shelf *shelf = evidence->shelf;
    struct fsp_range tip;
    enum fsp_rc rc = shelf->ops->tip(shelf->ctx, evidence->log.id, &tip, err);

    if (rc == FSP_OK && evidence->index >= tip.size)
        return fsp_err_set(err, FSP_ENOTFOUND,
                "%s holds %llu entries, counted from 0: no entry %llu", evidence->log.origin,
                (unsigned long long)tip.size, (unsigned long long)evidence->index);
    if (rc == FSP_OK)
        rc = shelf->ops->entry(
                shelf->ctx, evidence->log.id, evidence->index, &evidence->record, err);
    if (rc == FSP_OK)
        rc = shelf->ops->head_covering(shelf->ctx, evidence->log.id, evidence->index,
                &evidence->range, &evidence->note, err);
    return rc;
}

static enum fsp_rc
build(struct evidence *evidence, struct fsp_err *err)
{
    struct fsp_shelf *shelf = evidence->shelf;
    uint8_t(*leaves)[FSP_HASH_LEN] = NULL;
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    size_t n = 0;
    struct fsp_vkey vkey;
    enum fsp_rc rc = shelf->ops->leaves(
            shelf->ctx, evidence->log.id, evidence->range.size, &leaves, err);

    if (rc == FSP_OK)
        rc = fsp_vkey_make(&vkey, evidence->log.origin, FSP_KEY_NOTE, evidence->log.pub, err);
    if (rc == FSP_OK) {
        fsp_tree_inclusion((const uint8_t(*)[FSP_HASH_LEN])leaves, evidence->range.size,
                evidence->index, path, &n);
        fsp_proof_write(&evidence->proof, evidence->index, (const uint8_t(*)[FSP_HASH_LEN])path,
                n, fsp_buf_peek(&evidence->note), evidence->note.len);
        fsp_policy_write(&evidence->policy, &vkey, fsp_skey_vkey(evidence->keys.cosigner));
        rc = fsp_buf_check(&evidence->proof, "proof", err);
    }
    if (rc == FSP_OK)
        rc = fsp_buf_check(&evidence->policy, "policy", err);
    free(leaves);
    return rc;
}

/* What is handed out must verify: a store that rotted is found here and not by the auditor. */
static enum fsp_rc
try_it(const struct evidence *evidence, struct fsp_err *err)
{
    struct fsp_policy *policy = NULL;
    struct fsp_proof_file proof;
    struct fsp_statement *statement = calloc(1, sizeof(*statement));
    enum fsp_rc rc = statement == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory") : FSP_OK;

    if (rc == FSP_OK)
        rc = fsp_policy_parse(
                &policy, fsp_buf_peek(&evidence->policy), evidence->policy.len, err);
    if (rc == FSP_OK)
        rc = fsp_proof_parse(&proof, fsp_buf_peek(&evidence->proof), evidence->proof.len, err);
    if (rc == FSP_OK)
        rc = fsp_evidence_verify(
                policy, evidence->record.data, evidence->record.len, &proof, statement, err);
    fsp_policy_free(policy);
    free(statement);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, FSP_ECORRUPT, "the evidence does not verify");
}

static enum fsp_rc
write_one(
        const char *folder, const char *name, const struct fsp_buf *bytes, struct fsp_err *err)
{
    char *path = fsp_file_join(folder, name);
    enum fsp_rc rc = path == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                                  : fsp_file_write(path, bytes->data, bytes->len, 0644, err);

    free(path);
    return rc;
}

static enum fsp_rc
write_all(const struct evidence *evidence, const char *folder, struct fsp_err *err)
{
    char name[64];
    enum fsp_rc rc = fsp_file_folder(folder, 0755, err);

    (void)snprintf(name, sizeof(name), "%llu.record.json", (unsigned long long)evidence->index);
    if (rc == FSP_OK)
        rc = write_one(folder, name, &evidence->record, err);
    (void)snprintf(name, sizeof(name), "%llu.tlog-proof", (unsigned long long)evidence->index);
    if (rc == FSP_OK)
        rc = write_one(folder, name, &evidence->proof, err);
    if (rc == FSP_OK)
        rc = write_one(folder, "trust.tlog-policy", &evidence->policy, err);
    return rc;
}

static int
say(const struct evidence *evidence, const char *folder, bool json)
{
    struct fsp_buf out;
    bool first = true;
    int status;

    fsp_buf_init(&out, 8192);
    if (json) {
        fsp_buf_add_byte(&out, '{');
        fsp_say_member_text(&out, &first, "origin", evidence->log.origin);
        fsp_say_member_count(&out, &first, "index", evidence->index);
        fsp_say_member_count(&out, &first, "size", evidence->range.size);
        fsp_say_member_text(&out, &first, "folder", folder);
        fsp_buf_add_text(&out, "}\n");
    } else {
        fsp_buf_printf(&out,
                "%s/%llu.record.json, .tlog-proof and trust.tlog-policy: entry %llu of %s in "
                "its head of %llu\n",
                folder, (unsigned long long)evidence->index,
                (unsigned long long)evidence->index, evidence->log.origin,
                (unsigned long long)evidence->range.size);
    }
    status = fsp_cmd_print(&out);
    fsp_buf_fini(&out);
    return status;
}

static enum fsp_rc
prove(struct fsp_args *args, struct evidence *evidence, struct fsp_err *err)
{
    const char *number = fsp_args_rest(args, 1);
    const char *folder = fsp_args_get(args, "out");
    const char *store = NULL;
    enum fsp_rc rc = fsp_args_rest_within(args, 2, 2, err);

    if (rc != FSP_OK)
        return rc;
    if (folder == NULL)
        return fsp_err_set(err, FSP_EINVAL, "--out DIR is needed");
    if (fsp_text_u64(number, strlen(number), &evidence->index) != FSP_OK)
        return fsp_err_set(
                err, FSP_EINVAL, "%s: an entry's number is needed, counted from 0", number);
    rc = fsp_cmd_store(args, &store, err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, FSP_SHELF_READ, &evidence->shelf, err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&evidence->keys, store, err);
    if (rc == FSP_OK)
        rc = evidence->shelf->ops->begin(evidence->shelf->ctx, false, err);
    if (rc == FSP_OK)
        rc = find_log(evidence, fsp_args_rest(args, 0), fsp_args_get(args, "log"), err);
    if (rc == FSP_OK)
        rc = load(evidence, err);
    if (rc == FSP_OK)
        rc = build(evidence, err);
    if (rc == FSP_OK)
        rc = try_it(evidence, err);
    return rc == FSP_OK ? write_all(evidence, folder, err) : rc;
}

int
fsp_cmd_prove(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct evidence *evidence = calloc(1, sizeof(*evidence));
    enum fsp_rc rc;
    int status;

    if (evidence == NULL)
        return fsp_cmd_fail(fsp_err_set(&err, FSP_ENOMEM, "out of memory"), &err);
    fsp_buf_init(&evidence->note, FSP_NOTE_MAX);
    fsp_buf_init(&evidence->record, FSP_ENTRY_MAX);
    fsp_buf_init(&evidence->proof, FSP_NOTE_MAX);
    fsp_buf_init(&evidence->policy, FSP_NOTE_MAX);
    rc = prove(args, evidence, &err);
    status = rc == FSP_OK ? say(evidence, fsp_args_get(args, "out"), fsp_args_has(args, "json"))
                          : fsp_cmd_fail(rc, &err);
    fsp_shelf_close(evidence->shelf);
    fsp_office_keys_fini(&evidence->keys);
    fsp_buf_fini(&evidence->note);
    fsp_buf_fini(&evidence->record);
    fsp_buf_fini(&evidence->proof);
    fsp_buf_fini(&evidence->policy);
    free(evidence);
    return status;
}
