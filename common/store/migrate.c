#include <stdio.h>

#include "store/db_priv.h"

static enum fsp_rc
pragma_int(struct fsp_db *db, const char *sql, int64_t *out, struct fsp_err *err)
{
    sqlite3_stmt *stmt = NULL;
    int rc = sqlite3_prepare_v2(db->handle, sql, -1, &stmt, NULL);

    *out = 0;
    if (rc == SQLITE_OK)
        rc = sqlite3_step(stmt);
    if (rc == SQLITE_ROW)
        *out = sqlite3_column_int64(stmt, 0);
    (void)sqlite3_finalize(stmt);
    return rc == SQLITE_ROW ? FSP_OK : fsp_db_fail(db, rc, "read its version", err);
}

static enum fsp_rc
set_versions(struct fsp_db *db, const struct fsp_db_schema *schema, struct fsp_err *err)
{
    char sql[96];

    (void)snprintf(sql, sizeof(sql), "PRAGMA application_id=%ld; PRAGMA user_version=%d;",
            (long)schema->application_id, schema->n);
    return fsp_db_run(db, sql, err);
}

enum fsp_rc
fsp_db_identify(struct fsp_db *db, const struct fsp_db_schema *schema, bool create,
        int64_t *version, struct fsp_err *err)
{
    int64_t application = 0;
    int64_t tables = 0;
    enum fsp_rc rc = pragma_int(db, "PRAGMA application_id", &application, err);

    *version = 0;
    if (rc == FSP_OK)
        rc = pragma_int(db, "PRAGMA user_version", version, err);
    if (rc == FSP_OK)
        rc = pragma_int(db, "SELECT count(*) FROM sqlite_schema", &tables, err);
    if (rc != FSP_OK)
        return rc;
    if (application == 0 && *version == 0 && tables == 0) {
        if (create)
            return FSP_OK;
        return fsp_err_set(err, FSP_EFORMAT, "this is no %s: the file is empty", schema->what);
    }
    if (application != schema->application_id)
        return fsp_err_set(err, FSP_EFORMAT,
                "this is no %s but another program's database; nothing was changed",
                schema->what);
    if (*version > schema->n)
        return fsp_err_set(err, FSP_EFORMAT,
                "this %s was made by a newer version of Farspool (schema %lld, this one knows "
                "%d); use the newer program, nothing was changed",
                schema->what, (long long)*version, schema->n);
    if (*version < schema->n && db->mode == FSP_DB_READ)
        return fsp_err_set(err, FSP_EFORMAT,
                "this %s was made by an older version of Farspool (schema %lld of %d); run a "
                "command that writes to bring it up to date",
                schema->what, (long long)*version, schema->n);
    return FSP_OK;
}

enum fsp_rc
fsp_db_migrate(struct fsp_db *db, const struct fsp_db_schema *schema, int64_t version,
        struct fsp_err *err)
{
    enum fsp_rc rc;

    if (version == schema->n)
        return FSP_OK;
    rc = fsp_db_begin(db, err);
    if (rc != FSP_OK)
        return rc;
    /* Another process, perhaps of another version, may have been here since the first look. */
    rc = fsp_db_identify(db, schema, true, &version, err);
    for (int i = (int)version; rc == FSP_OK && i < schema->n; i++) {
        rc = fsp_db_run(db, schema->steps[i].sql, err);
        if (rc != FSP_OK)
            rc = fsp_err_wrap(err, rc, "migration step %d", i + 1);
    }
    if (rc == FSP_OK)
        rc = set_versions(db, schema, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
    return rc;
}
