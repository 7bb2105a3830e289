/* What is remembered of an entry beside its bytes: its identity, and the zone it sets. */
#include <string.h>

#include "proof/tree.h"
#include "rig/journal_priv.h"
#include "rig/journal_sql.h"

enum fsp_rc
fsp_journal_ident(const struct fsp_record *record, struct fsp_ident *ident, struct fsp_err *err)
{
    const char *op = fsp_record_text(record, "op");
    uint8_t hash[FSP_HASH_LEN];
    struct fsp_buf buf;
    enum fsp_rc rc;

    fsp_buf_init(&buf, FSP_ENTRY_MAX);
    fsp_buf_printf(&buf, "%s %s%s%s", fsp_record_text(record, "at"),
            fsp_record_text(record, "kind"), op == NULL ? "" : " ", op == NULL ? "" : op);
    rc = buf.len > FSP_IDENT_KEY_MAX
                 ? fsp_err_set(err, FSP_ELIMIT, "the record's key is too long")
                 : fsp_buf_check(&buf, "a record", err);
    if (rc == FSP_OK) {
        memcpy(ident->key, fsp_buf_peek(&buf), buf.len + 1);
        fsp_buf_reset(&buf);
        fsp_record_write_identity(record, &buf);
        rc = fsp_buf_check(&buf, "a record", err);
    }
    if (rc == FSP_OK) {
        fsp_leaf_hash(buf.data, buf.len, hash);
        memcpy(ident->hash, hash, FSP_IDENT_LEN);
    }
    fsp_buf_fini(&buf);
    return rc;
}

enum fsp_rc
fsp_journal_keep_ident(struct fsp_db *db, const struct fsp_place *place, const char *key,
        const uint8_t hash[FSP_IDENT_LEN], struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(db, FSP_SQL_IDENT_ADD, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, key);
    fsp_stmt_bind_int(stmt, 2, place->log);
    fsp_stmt_bind_int(stmt, 3, (int64_t)place->index);
    fsp_stmt_bind_blob(stmt, 4, hash, FSP_IDENT_LEN);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_journal_keep_zone(struct fsp_db *db, const struct fsp_record *record, struct fsp_err *err)
{
    const char *kind = fsp_record_text(record, "kind");
    const char *zone = fsp_record_text(record, "zone");

    if (kind == NULL || strcmp(kind, "rig") != 0 || zone == NULL)
        return FSP_OK;
    return fsp_journal_set_meta(db, "zone", zone, err);
}
