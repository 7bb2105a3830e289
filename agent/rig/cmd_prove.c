#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "proof/evidence.h"
#include "proof/note.h"
#include "proof/tree.h"
#include "rig/cmd.h"
#include "store/logtable.h"

#define PROOF_MAX (FSP_NOTE_MAX * 2)

/* The three files of one record's evidence. */
struct evidence {
    struct fsp_buf record;
    struct fsp_buf proof;
    struct fsp_buf policy;
};

/* The earliest head over the entry that the office cosigned. */
static enum fsp_rc
cosigned_head(struct fsp_journal *journal, const struct fsp_journal_log *log, uint64_t index,
        struct fsp_range *range, struct fsp_buf *note, struct fsp_err *err)
{
    const struct fsp_journal_about *about = fsp_journal_about(journal);
    uint64_t above = index;

    for (;;) {
        struct fsp_note parsed;
        enum fsp_rc rc;

        fsp_buf_reset(note);
        rc = fsp_logtable_head_covering(
                fsp_journal_db(journal), log->id, above, range, note, err);
        if (rc == FSP_ENOTFOUND)
            return fsp_err_set(err, FSP_ENOTFOUND,
                    "entry %" PRIu64 " has no receipt yet; push or carry first, then prove",
                    index);
        if (rc != FSP_OK)
            return rc;
        if (fsp_note_parse(&parsed, note->data, note->len, NULL) == FSP_OK &&
                fsp_note_verify(&parsed, &about->cosigner, NULL, NULL) == FSP_OK)
            return FSP_OK;
        above = range->size;
    }
}

static enum fsp_rc
gather(struct fsp_journal *journal, const struct fsp_journal_log *log, uint64_t index,
        struct evidence *evidence, struct fsp_err *err)
{
    const struct fsp_journal_about *about = fsp_journal_about(journal);
    struct fsp_db *db = fsp_journal_db(journal);
    uint8_t(*leaves)[FSP_HASH_LEN] = NULL;
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    struct fsp_range range;
    struct fsp_buf note;
    size_t n = 0;
    enum fsp_rc rc;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = cosigned_head(journal, log, index, &range, &note, err);
    if (rc == FSP_OK)
        rc = fsp_logtable_get(db, log->id, index, &evidence->record, err);
    if (rc == FSP_OK)
        rc = fsp_logtable_leaves(db, log->id, range.size, &leaves, err);
    if (rc != FSP_OK)
        goto out;
    fsp_tree_inclusion((const uint8_t(*)[FSP_HASH_LEN])leaves, range.size, index, path, &n);
    fsp_proof_write(&evidence->proof, index, (const uint8_t(*)[FSP_HASH_LEN])path, n,
            fsp_buf_peek(&note), note.len);
    fsp_policy_write(&evidence->policy, &log->vkey, &about->cosigner);
    rc = fsp_buf_check(&evidence->proof, "the proof", err);
    if (rc == FSP_OK)
        rc = fsp_buf_check(&evidence->policy, "the policy", err);
out:
    free(leaves);
    fsp_buf_fini(&note);
    return rc;
}

/* What leaves is what verifies: the files' own bytes are judged before they are written. */
static enum fsp_rc
judge(const struct evidence *evidence, struct fsp_err *err)
{
    struct fsp_statement statement;
    struct fsp_policy *policy = NULL;
    struct fsp_proof_file proof;
    enum fsp_rc rc;

    rc = fsp_policy_parse(&policy, fsp_buf_peek(&evidence->policy), evidence->policy.len, err);
    if (rc == FSP_OK)
        rc = fsp_proof_parse(&proof, fsp_buf_peek(&evidence->proof), evidence->proof.len, err);
    if (rc == FSP_OK)
        rc = fsp_evidence_verify(
                policy, evidence->record.data, evidence->record.len, &proof, &statement, err);
    fsp_policy_free(policy);
    return rc;
}

static enum fsp_rc
write_one(
        const char *folder, const char *name, const struct fsp_buf *bytes, struct fsp_err *err)
{
    char *path = fsp_file_join(folder, name);
    enum fsp_rc rc;

    if (path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_file_write(path, bytes->data, bytes->len, 0644, err);
    free(path);
    return rc;
}

static enum fsp_rc
write_all(const char *folder, uint64_t index, const struct evidence *evidence,
        struct fsp_err *err)
{
    char name[64];
    enum fsp_rc rc = fsp_file_folder(folder, 0755, err);

    (void)snprintf(name, sizeof(name), "%" PRIu64 ".record.json", index);
    if (rc == FSP_OK)
        rc = write_one(folder, name, &evidence->record, err);
    (void)snprintf(name, sizeof(name), "%" PRIu64 ".tlog-proof", index);
    if (rc == FSP_OK)
        rc = write_one(folder, name, &evidence->proof, err);
    if (rc == FSP_OK)
        rc = write_one(folder, "trust.tlog-policy", &evidence->policy, err);
    return rc;
}

static enum fsp_rc
prove(struct fsp_args *args, struct fsp_buf *out, struct fsp_err *err)
{
    const char *folder = fsp_args_get(args, "out");
    const char *word = fsp_args_rest(args, 0);
    struct fsp_journal *journal = NULL;
    struct fsp_journal_log log;
    struct evidence evidence;
    uint64_t index = 0;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&evidence.record, FSP_ENTRY_MAX);
    fsp_buf_init(&evidence.proof, PROOF_MAX);
    fsp_buf_init(&evidence.policy, FSP_NOTE_MAX);
    if (folder == NULL)
        rc = fsp_err_set(err, FSP_EINVAL, "--out DIR is needed: where to write the evidence");
    else if (fsp_text_u64(word, strlen(word), &index) != FSP_OK)
        rc = fsp_err_set(err, FSP_EINVAL, "'%.40s': expected an entry's number", word);
    if (rc == FSP_OK)
        rc = fsp_cmd_open(args, FSP_JOURNAL_READ, &journal, err);
    if (rc == FSP_OK)
        rc = fsp_cmd_log(args, journal, &log, err);
    if (rc == FSP_OK)
        rc = gather(journal, &log, index, &evidence, err);
    if (rc == FSP_OK)
        rc = judge(&evidence, err);
    if (rc == FSP_OK)
        rc = write_all(folder, index, &evidence, err);
    if (rc == FSP_OK && fsp_args_has(args, "json")) {
        fsp_buf_printf(out, "{\"index\":%" PRIu64 ",\"out\":", index);
        fsp_cmd_json_text(out, folder);
        fsp_buf_add_text(out, "}\n");
    } else if (rc == FSP_OK) {
        fsp_buf_printf(out,
                "%s/%" PRIu64 ".record.json\n%s/%" PRIu64 ".tlog-proof\n%s/trust.tlog-policy\n",
                folder, index, folder, index, folder);
    }
    fsp_buf_fini(&evidence.policy);
    fsp_buf_fini(&evidence.proof);
    fsp_buf_fini(&evidence.record);
    fsp_journal_close(journal);
    return rc;
}

int
fsp_cmd_prove(struct fsp_args *args)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf out;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, 1, &err);

    fsp_buf_init(&out, FSP_OUT_MAX);
    if (rc == FSP_OK)
        rc = prove(args, &out, &err);
    if (rc != FSP_OK) {
        fsp_buf_fini(&out);
        return fsp_cmd_fail(&err, rc);
    }
    return fsp_cmd_out(&out, 0);
}
