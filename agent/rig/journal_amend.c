/* What an amendment makes of an entry of this log: checked before it is appended, and remembered so
 * that a day sheet with the corrected row is known. The ledger does its own amending; nothing here
 * feeds a number. */
#include <string.h>

#include "base/text.h"
#include "proof/tree.h"
#include "rig/journal_priv.h"
#include "rig/journal_sql.h"
#include "rig/reel.h"
#include "store/logtable.h"

/* The entry's latest form: as the last amendment left it, else as it was written. */
static enum fsp_rc
latest_form(struct fsp_journal *journal, const struct fsp_place *target,
        struct fsp_record **out, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    struct fsp_buf bytes;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(journal->db, FSP_SQL_CORRECTED_LAST, &stmt, err);

    *out = NULL;
    if (rc != FSP_OK)
        return rc;
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_stmt_bind_int(stmt, 1, target->log);
    fsp_stmt_bind_int(stmt, 2, (int64_t)target->index);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row) {
        size_t len = 0;
        const uint8_t *form = fsp_stmt_blob(stmt, 0, &len);

        fsp_buf_add(&bytes, form, len);
    }
    fsp_stmt_reset(stmt);
    if (rc == FSP_OK && !row)
        rc = fsp_logtable_get(journal->db, target->log, target->index, &bytes, err);
    if (rc == FSP_OK)
        rc = fsp_buf_check(&bytes, "an entry", err);
    if (rc == FSP_OK)
        rc = fsp_record_parse(bytes.data, bytes.len, out, err);
    fsp_buf_fini(&bytes);
    return rc;
}

static enum fsp_rc
keep_form(struct fsp_journal *journal, const struct fsp_place *target,
        const struct fsp_place *by, const struct fsp_record *form, struct fsp_err *err)
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
        rc = fsp_reel_check(form, err);
    if (rc == FSP_OK)
        rc = fsp_journal_ident(form, &ident, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(journal->db, FSP_SQL_CORRECTED_ADD, &stmt, err);
    if (rc == FSP_OK) {
        fsp_stmt_bind_int(stmt, 1, target->log);
        fsp_stmt_bind_int(stmt, 2, (int64_t)target->index);
        fsp_stmt_bind_int(stmt, 3, by->log);
        fsp_stmt_bind_int(stmt, 4, (int64_t)by->index);
        fsp_stmt_bind_text(stmt, 5, ident.key);
        fsp_stmt_bind_blob(stmt, 6, ident.hash, sizeof(ident.hash));
        fsp_stmt_bind_blob(stmt, 7, bytes.data, bytes.len);
        rc = fsp_stmt_run(stmt, err);
    }
    fsp_record_free(checked);
    fsp_buf_fini(&bytes);
    return rc;
}

/* A voided amendment takes back its form, and those that later ones built on it. */
static enum fsp_rc
take_back(struct fsp_journal *journal, const struct fsp_place *amendment, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(journal->db, FSP_SQL_CORRECTED_DROP, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, amendment->log);
    fsp_stmt_bind_int(stmt, 2, (int64_t)amendment->index);
    return fsp_stmt_run(stmt, err);
}

/* ---- which entry an amendment names ------------------------------------------------------- */

/* Is this the entry with that leaf? */
static bool
has_leaf(struct fsp_db *db, const struct fsp_place *place, const uint8_t leaf[FSP_HASH_LEN])
{
    uint8_t found[FSP_HASH_LEN];
    struct fsp_buf bytes;
    bool same = false;

    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    if (fsp_logtable_get(db, place->log, place->index, &bytes, NULL) == FSP_OK) {
        fsp_leaf_hash(bytes.data, bytes.len, found);
        same = memcmp(found, leaf, sizeof(found)) == 0;
    }
    fsp_buf_fini(&bytes);
    return same;
}

/* An entry of a history that was set aside stands elsewhere now. */
static enum fsp_rc
find_moved(struct fsp_db *db, const uint8_t leaf[FSP_HASH_LEN], struct fsp_place *place,
        bool *found, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(db, FSP_SQL_MOVED_GET, &stmt, err);

    *found = false;
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_blob(stmt, 1, leaf, FSP_HASH_LEN);
    rc = fsp_stmt_step(stmt, found, err);
    if (rc == FSP_OK && *found) {
        place->log = fsp_stmt_int(stmt, 0);
        place->index = (uint64_t)fsp_stmt_int(stmt, 1);
    }
    fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_journal_find_entry(struct fsp_journal *journal, const struct fsp_record *entry,
        struct fsp_place *place, bool *found, struct fsp_err *err)
{
    const char *log_name = fsp_record_text(entry, "log");
    const char *leaf_text = fsp_record_text(entry, "leaf");
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_journal_log log;
    int64_t index = 0;
    enum fsp_rc rc;

    *found = false;
    if (log_name == NULL || leaf_text == NULL || !fsp_record_int(entry, "index", &index) ||
            index < 0 ||
            fsp_unbase64_exact(leaf_text, strlen(leaf_text), leaf, sizeof(leaf)) != FSP_OK)
        return FSP_OK;
    rc = fsp_journal_log(journal, log_name, &log, err);
    if (rc == FSP_OK && (uint64_t)index < log.size) {
        place->log = log.id;
        place->index = (uint64_t)index;
        *found = has_leaf(journal->db, place, leaf);
    }
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    return rc == FSP_OK && !*found ? find_moved(journal->db, leaf, place, found, err) : rc;
}

static enum fsp_rc
note(struct fsp_journal *journal, const struct fsp_record *record,
        const struct fsp_place *target, const struct fsp_place *place, struct fsp_err *err)
{
    const struct fsp_record *set = fsp_record_object(record, "set");
    struct fsp_record *form = NULL;
    const char *target_kind;
    enum fsp_rc rc = latest_form(journal, target, &form, err);

    if (rc != FSP_OK)
        goto out;
    target_kind = fsp_record_text(form, "kind");
    if (set == NULL) {
        if (target_kind != NULL && strcmp(target_kind, "amend") == 0)
            rc = take_back(journal, target, err);
        goto out;
    }
    if (target_kind != NULL && strcmp(target_kind, "inspection") == 0) {
        rc = fsp_err_set(err, FSP_EFORMAT,
                "entry %llu is an inspection, which is never changed; enter what was seen as "
                "an "
                "inspection of its own",
                (unsigned long long)target->index);
        goto out;
    }
    rc = fsp_record_amend(form, set, err);
    if (rc == FSP_OK)
        rc = keep_form(journal, target, place, form, err);
    if (rc == FSP_OK)
        rc = fsp_journal_keep_zone(journal->db, form, err);
out:
    fsp_record_free(form);
    return rc == FSP_OK ? rc
                        : fsp_err_wrap(err, rc, "amendment of entry %llu",
                                  (unsigned long long)target->index);
}

enum fsp_rc
fsp_journal_note_amendment(struct fsp_journal *journal, const struct fsp_record *record,
        const struct fsp_place *place, struct fsp_err *err)
{
    const char *kind = fsp_record_text(record, "kind");
    const struct fsp_record *entry = fsp_record_object(record, "entry");
    struct fsp_place target = {.log = 0};
    bool found = false;
    enum fsp_rc rc;

    if (kind == NULL || strcmp(kind, "amend") != 0 || entry == NULL)
        return FSP_OK;
    rc = fsp_journal_find_entry(journal, entry, &target, &found, err);
    /* Not of this store, or not yet: held until its target is known. */
    return rc == FSP_OK && found ? note(journal, record, &target, place, err) : rc;
}
