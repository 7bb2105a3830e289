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

static enum fsp_rc
apply(struct fsp_db *db, const struct fsp_db_schema *schema, int from, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_db_begin(db, err);
    int64_t now = 0;

    if (rc != FSP_OK)
        return rc;
    /* Another process may have migrated between the look and the lock. */
    rc = pragma_int(db, "PRAGMA user_version", &now, err);
    if (rc == FSP_OK && now > from)
        from = (int)now;
    for (int i = from; rc == FSP_OK && i < schema->n; i++) {
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

enum fsp_rc
fsp_db_migrate(
        struct fsp_db *db, const struct fsp_db_schema *schema, bool create, struct fsp_err *err)
{
    int64_t application = 0;
    int64_t version = 0;
    int64_t tables = 0;
    enum fsp_rc rc = pragma_int(db, "PRAGMA application_id", &application, err);

    if (rc == FSP_OK)
        rc = pragma_int(db, "PRAGMA user_version", &version, err);
    if (rc == FSP_OK)
        rc = pragma_int(db, "SELECT count(*) FROM sqlite_schema", &tables, err);
    if (rc != FSP_OK)
        return rc;
    if (application == 0 && version == 0 && tables == 0) {
        if (!create)
            return fsp_err_set(
                    err, FSP_EFORMAT, "this is not a %s (the file is empty)", schema->what);
        return apply(db, schema, 0, err);
    }
    if (application != schema->application_id)
        return fsp_err_set(err, FSP_EFORMAT, "this is not a %s but another program's database",
                schema->what);
    if (version > schema->n)
        return fsp_err_set(err, FSP_EFORMAT,
                "this %s was made by a newer version of Farspool (schema %lld, this one knows "
                "%d); use the newer program, nothing was changed",
                schema->what, (long long)version, schema->n);
    if (version < schema->n && db->mode == FSP_DB_READ)
        return fsp_err_set(err, FSP_EFORMAT,
                "this %s was made by an older version of Farspool (schema %lld of %d); run a "
                "command that writes to bring it up to date",
                schema->what, (long long)version, schema->n);
    return version < schema->n ? apply(db, schema, (int)version, err) : FSP_OK;
}
