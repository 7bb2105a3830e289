#include "rig/verify.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "proof/note.h"
#include "record/check.h"
#include "rig/head.h"
#include "rig/journal_priv.h"
#include "rig/journal_sql.h"
#include "rig/trust.h"
#include "store/logtable.h"

struct pass {
    struct fsp_journal *journal;
    struct fsp_verify_report *report;
    const struct fsp_journal_log *log;
    struct fsp_range range; /* over the entries seen so far */
    struct fsp_range head;  /* the next head to compare with */
    bool has_head;
    struct fsp_buf note;
    struct fsp_trust trust; /* whose receipts ever counted */
};

static void problem(struct fsp_verify_report *report, const char *fmt, ...) FSP_PRINTF(2, 3);

static void
problem(struct fsp_verify_report *report, const char *fmt, ...)
{
    char text[FSP_ERR_TEXT_MAX];
    va_list args;

    report->problems++;
    va_start(args, fmt);
    (void)vsnprintf(text, sizeof(text), fmt, args);
    va_end(args);
    if (report->say != NULL)
        report->say(report->ctx, text);
}

/* The head that follows `size`; none is fine. */
static enum fsp_rc
next_head(struct pass *pass, uint64_t size, struct fsp_err *err)
{
    enum fsp_rc rc;

    fsp_buf_reset(&pass->note);
    rc = fsp_logtable_head_covering(
            fsp_journal_db(pass->journal), pass->log->id, size, &pass->head, &pass->note, err);
    pass->has_head = rc == FSP_OK;
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        return FSP_OK;
    }
    return rc;
}

static enum fsp_rc
is_receipted(struct fsp_db *db, int64_t log, uint64_t size, bool *has, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(db, FSP_SQL_RECEIPT_HAS, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_int(stmt, 2, (int64_t)size);
    rc = fsp_stmt_step(stmt, has, err);
    if (rc == FSP_OK)
        fsp_stmt_reset(stmt);
    return rc;
}

/* The head's note: ours, over what is stored, cosigned when there is a receipt for it. */
static enum fsp_rc
check_head(struct pass *pass, struct fsp_err *err)
{
    struct fsp_verify_report *report = pass->report;
    unsigned long long size = (unsigned long long)pass->head.size;
    const struct fsp_vkey *cosigner = NULL;
    struct fsp_checkpoint head;
    struct fsp_note note;
    struct fsp_err why = {.rc = FSP_OK};
    uint8_t root[FSP_HASH_LEN];
    bool receipted = false;
    enum fsp_rc rc;

    report->heads++;
    fsp_range_root(&pass->range, root);
    rc = fsp_note_parse(&note, pass->note.data, pass->note.len, &why);
    if (rc == FSP_OK)
        rc = fsp_checkpoint_parse(&head, note.text, note.text_len, &why);
    if (rc == FSP_OK)
        rc = fsp_note_verify(&note, &pass->log->vkey, NULL, &why);
    if (rc != FSP_OK) {
        problem(report, "head %llu: %.300s", size, why.text);
        return FSP_OK;
    }
    if (head.size != pass->head.size || strcmp(head.origin, pass->log->origin) != 0)
        problem(report, "head %llu: its note is about another log or size", size);
    else if (memcmp(head.root, root, sizeof(root)) != 0)
        problem(report, "head %llu: the stored entries give another root", size);
    rc = is_receipted(
            fsp_journal_db(pass->journal), pass->log->id, pass->head.size, &receipted, err);
    if (rc != FSP_OK || !receipted)
        return rc;
    if (fsp_trust_was_cosigned(&pass->trust, &note, &cosigner, &why) == FSP_OK)
        report->receipts++;
    else
        problem(report, "receipt %llu: no good cosignature: %.300s", size, why.text);
    return FSP_OK;
}

static enum fsp_rc
check_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct pass *pass = ctx;
    struct fsp_record *record = NULL;
    enum fsp_rc rc = FSP_OK;

    if (pass->range.size != index)
        return fsp_err_set(
                err, FSP_ECORRUPT, "entry %llu is out of order", (unsigned long long)index);
    if (fsp_check_stored(bytes, len, &record, NULL) != FSP_OK)
        pass->report->unreadable++;
    fsp_record_free(record);
    fsp_range_append(&pass->range, bytes, len);
    if (pass->has_head && pass->head.size == pass->range.size) {
        rc = check_head(pass, err);
        if (rc == FSP_OK)
            rc = next_head(pass, pass->range.size, err);
    }
    return rc;
}

/* Everything stored of one log, against its tip and its heads. */
static enum fsp_rc
check_entries(struct pass *pass, struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(pass->journal);
    struct fsp_verify_report *report = pass->report;
    struct fsp_range tip;
    uint8_t root[FSP_HASH_LEN];
    uint8_t want[FSP_HASH_LEN];
    enum fsp_rc rc;

    fsp_range_init(&pass->range);
    rc = fsp_logtable_tip(db, pass->log->id, &tip, err);
    if (rc == FSP_OK)
        rc = next_head(pass, 0, err);
    if (rc == FSP_OK)
        rc = fsp_logtable_scan(db, pass->log->id, 0, tip.size, check_entry, pass, err);
    if (rc == FSP_ECORRUPT && err != NULL) {
        problem(report, "%s", err->text);
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    if (rc != FSP_OK)
        return rc;
    fsp_range_root(&pass->range, root);
    if (pass->log->current) {
        report->size = pass->range.size;
        memcpy(report->root, root, sizeof(root));
    }
    fsp_range_root(&tip, want);
    if (pass->range.size != tip.size || memcmp(root, want, sizeof(want)) != 0)
        problem(report, "the stored entries do not give the stored root over %llu records",
                (unsigned long long)tip.size);
    if (pass->log->size > pass->range.size)
        problem(report, "%llu records of %.200s should be there, but only %llu are",
                (unsigned long long)pass->log->size, pass->log->origin,
                (unsigned long long)pass->range.size);
    if (pass->has_head)
        problem(report, "a head over %llu records is stored, but only %llu records are",
                (unsigned long long)pass->head.size, (unsigned long long)pass->range.size);
    return FSP_OK;
}

static enum fsp_rc
check_logs(struct pass *pass, struct fsp_err *err)
{
    struct fsp_journal_log *logs = NULL;
    size_t n = 0;
    enum fsp_rc rc = fsp_journal_logs(pass->journal, &logs, &n, err);

    for (size_t i = 0; rc == FSP_OK && i < n; i++) {
        pass->log = &logs[i];
        rc = check_entries(pass, err);
    }
    pass->report->closed = n == 0 ? 0 : n - 1;
    free(logs);
    return rc;
}

static enum fsp_rc
check_progress(
        struct fsp_journal *journal, struct fsp_verify_report *report, struct fsp_err *err)
{
    struct fsp_journal_progress progress;
    struct fsp_checkpoint last;
    struct fsp_err why = {.rc = FSP_OK};
    enum fsp_rc rc = fsp_journal_progress(journal, &progress, err);

    if (rc != FSP_OK)
        return rc;
    if (progress.receipted && progress.receipt_size > progress.size)
        problem(report, "a receipt over %llu records is stored, but only %llu records are",
                (unsigned long long)progress.receipt_size, (unsigned long long)progress.size);
    if (fsp_signed_size_read(fsp_journal_folder(journal), journal->tail, &last, &why) != FSP_OK)
        problem(report, "%.400s", why.text);
    return FSP_OK;
}

enum fsp_rc
fsp_verify(struct fsp_journal *journal, struct fsp_verify_report *report, struct fsp_err *err)
{
    struct pass pass = {.journal = journal, .report = report};
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_err own = {.rc = FSP_OK};
    enum fsp_rc rc;

    fsp_buf_init(&pass.note, FSP_NOTE_MAX);
    rc = fsp_db_check(db, &own);
    if (rc == FSP_ECORRUPT) {
        problem(report, "%.400s", own.text);
        rc = FSP_OK;
    }
    if (rc == FSP_OK)
        rc = fsp_trust_load(journal, &pass.trust, &own);
    if (rc == FSP_OK)
        rc = check_logs(&pass, &own);
    if (rc == FSP_OK)
        rc = check_progress(journal, report, &own);
    if (rc == FSP_OK)
        rc = fsp_journal_rejudge(journal, &own);
    if (rc == FSP_OK && fsp_journal_state(journal) != FSP_JOURNAL_SOUND)
        problem(report, "history incomplete: %.400s", fsp_journal_state_why(journal));
    fsp_buf_fini(&pass.note);
    return rc == FSP_OK ? rc : fsp_err_set(err, rc, "%s", own.text);
}
