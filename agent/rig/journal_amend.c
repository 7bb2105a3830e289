/* What an amendment makes of an entry of this log: checked before it is appended, and remembered so
 * that a day sheet with the corrected row is known. The ledger does its own amending; nothing here
 * feeds a number. */
#include <string.h>

#include "rig/journal_priv.h"
#include "rig/journal_sql.h"
#include "store/logtable.h"

/* The entry's latest form: as the last amendment left it, else as it was written. */
static enum fsp_rc
latest_form(struct fsp_journal *journal, uint64_t target, struct fsp_record **out,
        struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    struct fsp_buf bytes;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(journal->db, FSP_SQL_CORRECTED_LAST, &stmt, err);

    *out = NULL;
    if (rc != FSP_OK)
        return rc;
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_stmt_bind_int(stmt, 1, (int64_t)target);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row) {
        size_t len = 0;
        const uint8_t *form = fsp_stmt_blob(stmt, 0, &len);

        fsp_buf_add(&bytes, form, len);
    }
    fsp_stmt_reset(stmt);
    if (rc == FSP_OK && !row)
        rc = fsp_logtable_get(journal->db, FSP_RIG_LOG, target, &bytes, err);
    if (rc == FSP_OK)
        rc = fsp_buf_check(&bytes, "an entry", err);
    if (rc == FSP_OK)
        rc = fsp_record_parse(bytes.data, bytes.len, out, err);
    fsp_buf_fini(&bytes);
    return rc;
}

static enum fsp_rc
keep_form(struct fsp_journal *journal, uint64_t target, uint64_t index,
        const struct fsp_record *form, struct fsp_err *err)
{
    struct fsp_record *checked = NULL;
    struct fsp_stmt *stmt = NULL;
    struct fsp_ident ident;
    struct fsp_buf bytes;
    enum fsp_rc rc;

    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_record_write(form, &bytes);
    rc = fsp_buf_check(&bytes, "the amended record", err);
    if (rc == FSP_OK)
        rc = fsp_check_stored(bytes.data, bytes.len, &checked, err);
    if (rc == FSP_OK)
        rc = fsp_journal_ident(form, &ident, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(journal->db, FSP_SQL_CORRECTED_ADD, &stmt, err);
    if (rc == FSP_OK) {
        fsp_stmt_bind_int(stmt, 1, (int64_t)target);
        fsp_stmt_bind_int(stmt, 2, (int64_t)index);
        fsp_stmt_bind_text(stmt, 3, ident.key);
        fsp_stmt_bind_blob(stmt, 4, ident.hash, sizeof(ident.hash));
        fsp_stmt_bind_blob(stmt, 5, bytes.data, bytes.len);
        rc = fsp_stmt_run(stmt, err);
    }
    fsp_record_free(checked);
    fsp_buf_fini(&bytes);
    return rc;
}

/* A voided amendment takes back its form, and those that later ones built on it. */
static enum fsp_rc
take_back(struct fsp_journal *journal, uint64_t amendment, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(journal->db, FSP_SQL_CORRECTED_DROP, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, (int64_t)amendment);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_journal_note_amendment(struct fsp_journal *journal, const struct fsp_record *record,
        uint64_t index, struct fsp_err *err)
{
    const char *kind = fsp_record_text(record, "kind");
    const struct fsp_record *entry = fsp_record_object(record, "entry");
    const struct fsp_record *set = fsp_record_object(record, "set");
    struct fsp_record *form = NULL;
    const char *log = entry == NULL ? NULL : fsp_record_text(entry, "log");
    const char *target_kind;
    int64_t target = 0;
    enum fsp_rc rc;

    if (kind == NULL || strcmp(kind, "amend") != 0 || log == NULL ||
            strcmp(log, journal->about.incarnation) != 0 ||
            !fsp_record_int(entry, "index", &target) || target < 0 || (uint64_t)target >= index)
        return FSP_OK; /* not of this log: held until its target is known */
    rc = latest_form(journal, (uint64_t)target, &form, err);
    if (rc != FSP_OK)
        goto out;
    target_kind = fsp_record_text(form, "kind");
    if (set == NULL) {
        if (target_kind != NULL && strcmp(target_kind, "amend") == 0)
            rc = take_back(journal, (uint64_t)target, err);
        goto out;
    }
    if (target_kind != NULL && strcmp(target_kind, "inspection") == 0) {
        rc = fsp_err_set(err, FSP_EFORMAT,
                "entry %lld is an inspection, which is never changed; enter what was seen as "
                "an "
                "inspection of its own",
                (long long)target);
        goto out;
    }
    rc = fsp_record_amend(form, set, err);
    if (rc == FSP_OK)
        rc = keep_form(journal, (uint64_t)target, index, form, err);
    if (rc == FSP_OK)
        rc = fsp_journal_keep_zone(journal->db, form, err);
out:
    fsp_record_free(form);
    return rc == FSP_OK ? rc
                        : fsp_err_wrap(err, rc, "amendment of entry %lld", (long long)target);
}
