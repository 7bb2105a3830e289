/* prove: evidence for what this rig has receipts for, into a folder. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "exhibit/exhibit.h"
#include "rig/cmd.h"
#include "rig/trust.h"
#include "store/logtable.h"

/* The journal as a source of evidence. */
struct proving {
    struct fsp_journal *journal;
    struct fsp_trust trust;
    struct fsp_vkey office[FSP_ATTEST_KEYS_MAX]; /* the newest first */
    struct fsp_exhibit_log *log;
    size_t logs;
    struct fsp_exhibit_source source;
    struct fsp_exhibit_wish wish;
    struct fsp_exhibit_result result;
};

/* --- the journal as a source ------------------------------------------------------------------ */

static enum fsp_rc
scan(void *ctx, int64_t log, const uint64_t within[2], fsp_exhibit_visit *visit,
        void *visit_ctx, struct fsp_err *err)
{
    return fsp_logtable_scan(ctx, log, within[0], within[1], visit, visit_ctx, err);
}

static enum fsp_rc
leaves(void *ctx, int64_t log, uint64_t size, uint8_t (**out)[FSP_HASH_LEN],
        struct fsp_err *err)
{
    return fsp_logtable_leaves(ctx, log, size, out, err);
}

static enum fsp_rc
head_covering(void *ctx, int64_t log, uint64_t index, struct fsp_range *range,
        struct fsp_buf *note, struct fsp_err *err)
{
    fsp_buf_reset(note);
    return fsp_logtable_head_covering(ctx, log, index, range, note, err);
}

static enum fsp_rc
head_below(void *ctx, int64_t log, uint64_t size, struct fsp_range *range, struct fsp_buf *note,
        struct fsp_err *err)
{
    fsp_buf_reset(note);
    return fsp_logtable_head_below(ctx, log, size, range, note, err);
}

static enum fsp_rc
load_logs(struct proving *it, const struct fsp_journal_log *chosen, struct fsp_err *err)
{
    struct fsp_journal_log *logs = NULL;
    enum fsp_rc rc = fsp_journal_logs(it->journal, &logs, &it->logs, err);

    if (rc == FSP_OK) {
        it->log = calloc(it->logs, sizeof(*it->log));
        if (it->log == NULL) {
            free(logs);
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        }
    }
    for (size_t i = 0; rc == FSP_OK && i < it->logs; i++) {
        it->log[i].id = logs[i].id;
        memcpy(it->log[i].origin, logs[i].origin, sizeof(it->log[i].origin));
        it->log[i].vkey = logs[i].vkey;
        it->log[i].size = logs[i].size;
        if (logs[i].id == chosen->id)
            it->source.chosen = i;
    }
    free(logs);
    return rc;
}

static void
fill_source(struct proving *it)
{
    const struct fsp_journal_about *about = fsp_journal_about(it->journal);
    struct fsp_exhibit_source *source = &it->source;
    const size_t n = it->trust.n_cosigners_ever;

    for (size_t i = 0; i < n; i++)
        it->office[i] = it->trust.cosigners_ever[n - 1 - i];
    source->ctx = fsp_journal_db(it->journal);
    source->fleet = about->fleet;
    source->rig = about->rig;
    source->log = it->log;
    source->logs = it->logs;
    source->office = it->office;
    source->offices = n;
    source->instructions = it->trust.ever;
    source->n_instructions = it->trust.n_ever;
    source->need = 1;
    source->office_alone = true;
    source->scan = scan;
    source->leaves = leaves;
    source->head_covering = head_covering;
    source->head_below = head_below;
}

static enum fsp_rc
prove(struct fsp_args *args, struct proving *it, struct fsp_err *err)
{
    const struct fsp_exhibit_words words = {.numbers = fsp_args_rest(args, 0),
            .folder = fsp_args_get(args, "out"),
            .from = fsp_args_get(args, "from"),
            .to = fsp_args_get(args, "to"),
            .inspections = fsp_args_has(args, "inspections"),
            .whole = fsp_args_has(args, "whole"),
            .hold_back = fsp_args_has(args, "hold-back")};
    struct fsp_journal_log chosen;
    struct fsp_db *db;
    enum fsp_rc rc = fsp_exhibit_words(&it->wish, &words, err);

    if (rc == FSP_OK)
        rc = fsp_cmd_open(args, FSP_JOURNAL_READ, &it->journal, err);
    if (rc == FSP_OK)
        rc = fsp_cmd_log(args, it->journal, &chosen, err);
    if (rc == FSP_OK)
        rc = fsp_trust_load(it->journal, &it->trust, err);
    if (rc == FSP_OK)
        rc = load_logs(it, &chosen, err);
    if (rc != FSP_OK)
        return rc;
    db = fsp_journal_db(it->journal);
    rc = fsp_db_begin_read(db, err);
    if (rc != FSP_OK)
        return rc;
    fill_source(it);
    rc = fsp_exhibit_write(&it->source, &it->wish, &it->result, err);
    fsp_db_rollback(db); /* nothing was written */
    return rc;
}

static void
say(const struct proving *it, bool json, struct fsp_buf *out)
{
    const struct fsp_exhibit_result *result = &it->result;
    const char *folder = it->wish.folder;

    if (json) {
        if (it->wish.what == FSP_EXHIBIT_ENTRY)
            fsp_buf_printf(out, "{\"index\":%" PRIu64 ",", it->wish.first);
        else
            fsp_buf_printf(out, "{\"from\":%" PRIu64 ",", result->from);
        fsp_buf_printf(out,
                "\"size\":%" PRIu64 ",\"entries\":%" PRIu64 ",\"held_back\":%" PRIu64
                ",\"inspections\":%" PRIu64 ",\"companions\":%zu,\"file\":",
                result->size, result->entries, result->held_back, result->inspections,
                result->pairs);
        fsp_cmd_json_text(out, result->file);
        fsp_buf_add_text(out, ",\"out\":");
        fsp_cmd_json_text(out, folder);
        fsp_buf_add_text(out, "}\n");
    } else if (it->wish.what == FSP_EXHIBIT_ENTRY) {
        fsp_buf_printf(out,
                "%s/%" PRIu64 ".record.json\n%s/%" PRIu64 ".tlog-proof\n%s/trust.tlog-policy\n",
                folder, it->wish.first, folder, it->wish.first, folder);
        if (result->pairs > 0)
            fsp_buf_printf(
                    out, "and %zu entries that amend or countersign it\n", result->pairs);
        fsp_buf_printf(out, "%s/summary.txt and summary.html say what is proved\n", folder);
    } else {
        fsp_buf_printf(out,
                "%s/%s\n%s/trust.tlog-policy\n%" PRIu64 " entries, complete, %" PRIu64
                " held back\n%s/summary.txt and summary.html say what is proved\n",
                folder, result->file, folder, result->entries, result->held_back, folder);
    }
}

int
fsp_cmd_prove(struct fsp_args *args)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct proving *it = calloc(1, sizeof(*it));
    struct fsp_buf out;
    enum fsp_rc rc;

    if (it == NULL)
        return fsp_cmd_fail(&err, fsp_err_set(&err, FSP_ENOMEM, "out of memory"));
    fsp_buf_init(&out, FSP_OUT_MAX);
    rc = fsp_args_rest_within(args, 0, 1, &err);
    if (rc == FSP_OK)
        rc = prove(args, it, &err);
    if (rc == FSP_OK)
        say(it, fsp_args_has(args, "json"), &out);
    fsp_journal_close(it->journal);
    free(it->log);
    free(it);
    if (rc != FSP_OK) {
        fsp_buf_fini(&out);
        return fsp_cmd_fail(&err, rc);
    }
    return fsp_cmd_out(&out, 0);
}
