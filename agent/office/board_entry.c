#include "office/board_entry.h"

#include <stdlib.h>
#include <string.h>

#include "proof/evidence.h"
#include "proof/note.h"
#include "record/check.h"

#define COSIGNATURE_LEN 72 /* time and signature, behind the key's id */

static void
read_cosigners(struct fsp_board_entry *entry)
{
    struct fsp_note *note = malloc(sizeof(*note));

    if (note != NULL &&
            fsp_note_parse(note, fsp_buf_peek(&entry->note), entry->note.len, NULL) == FSP_OK)
        for (size_t i = 0; i < note->lines && entry->n_cosigned < FSP_ENTRY_COSIGNERS; i++) {
            const struct fsp_note_line *line = &note->line[i];
            uint64_t at_s = 0;

            if (line->sig_len != COSIGNATURE_LEN || line->name_len > FSP_ORIGIN_MAX)
                continue;
            for (size_t k = 0; k < 8; k++)
                at_s = at_s << 8 | line->sig[k];
            memcpy(entry->cosigned[entry->n_cosigned].name, line->name, line->name_len);
            entry->cosigned[entry->n_cosigned++].at_s =
                    at_s > INT32_MAX * UINT64_C(64) ? 0 : (int64_t)at_s;
        }
    free(note);
}

static enum fsp_rc
read_head(struct fsp_shelf *shelf, int64_t log, struct fsp_board_entry *entry,
        struct fsp_err *err)
{
    struct fsp_range range;
    enum fsp_rc rc =
            shelf->ops->head_covering(shelf->ctx, log, entry->index, &range, &entry->note, err);

    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        return FSP_OK;
    }
    if (rc == FSP_OK)
        rc = shelf->ops->cosignatures(shelf->ctx, log, range.size, &entry->note, err);
    if (rc != FSP_OK)
        return rc;
    entry->covered = true;
    entry->head_size = range.size;
    fsp_range_root(&range, entry->head_root);
    read_cosigners(entry);
    return FSP_OK;
}

static enum fsp_rc
load(struct fsp_shelf *shelf, int64_t log, struct fsp_board_entry *entry, struct fsp_err *err)
{
    enum fsp_rc rc = shelf->ops->entry(shelf->ctx, log, entry->index, &entry->bytes, err);

    if (rc != FSP_OK)
        return rc;
    fsp_leaf_hash(entry->bytes.data, entry->bytes.len, entry->leaf);
    rc = fsp_check_stored(entry->bytes.data, entry->bytes.len, &entry->record, NULL);
    if (rc == FSP_ENOMEM)
        return fsp_err_set(err, rc, "out of memory");
    if (rc != FSP_OK) {
        fsp_record_free(entry->record);
        entry->record = NULL;
    }
    return read_head(shelf, log, entry, err);
}

enum fsp_rc
fsp_board_entry_load(struct fsp_shelf *shelf, const struct fsp_fleet_rig *rig,
        const uint64_t log_index[2], struct fsp_board_entry **out, struct fsp_err *err)
{
    struct fsp_board_entry *entry;
    enum fsp_rc rc;

    *out = NULL;
    if (log_index[0] >= rig->n_logs)
        return fsp_err_set(err, FSP_ENOTFOUND, "%s: no such log", rig->name);
    entry = calloc(1, sizeof(*entry));
    if (entry == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    entry->log = (uint32_t)log_index[0];
    entry->index = log_index[1];
    fsp_buf_init(&entry->bytes, FSP_ENTRY_MAX);
    fsp_buf_init(&entry->note, (size_t)64 * 1024);
    rc = shelf->ops->begin(shelf->ctx, false, err);
    if (rc == FSP_OK) {
        rc = load(shelf, rig->logs[entry->log].log.id, entry, err);
        shelf->ops->rollback(shelf->ctx); /* nothing was written */
    }
    if (rc != FSP_OK) {
        fsp_board_entry_free(entry);
        return fsp_err_wrap(err, rc, "%s", rig->name);
    }
    *out = entry;
    return FSP_OK;
}

void
fsp_board_entry_free(struct fsp_board_entry *entry)
{
    if (entry == NULL)
        return;
    fsp_record_free(entry->record);
    fsp_buf_fini(&entry->bytes);
    fsp_buf_fini(&entry->note);
    free(entry);
}

enum fsp_rc
fsp_board_entry_prove(struct fsp_shelf *shelf, const struct fsp_fleet_rig *rig,
        const struct fsp_board_entry *entry, struct fsp_buf *out, struct fsp_err *err)
{
    uint8_t(*leaves)[FSP_HASH_LEN] = NULL;
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    size_t n = 0;
    enum fsp_rc rc;

    if (!entry->covered)
        return fsp_err_set(err, FSP_ENOTFOUND, "no receipt covers the entry yet");
    rc = shelf->ops->begin(shelf->ctx, false, err);
    if (rc != FSP_OK)
        return rc;
    rc = shelf->ops->leaves(
            shelf->ctx, rig->logs[entry->log].log.id, entry->head_size, &leaves, err);
    shelf->ops->rollback(shelf->ctx); /* nothing was written */
    if (rc != FSP_OK)
        return rc;
    fsp_tree_inclusion(
            (const uint8_t(*)[FSP_HASH_LEN])leaves, entry->head_size, entry->index, path, &n);
    rc = fsp_tree_verify_inclusion(entry->index, entry->head_size, entry->leaf,
            (const uint8_t(*)[FSP_HASH_LEN])path, n, entry->head_root);
    free(leaves);
    if (rc != FSP_OK)
        return fsp_err_set(err, FSP_ECORRUPT,
                "the log's stored entries do not give its signed head: run farspool-office "
                "check");
    fsp_proof_write(out, entry->index, (const uint8_t(*)[FSP_HASH_LEN])path, n,
            fsp_buf_peek(&entry->note), entry->note.len);
    return fsp_buf_check(out, "the proof", err);
}
