/* The shelf's other witnesses: who may cosign besides the office, and the cosignatures they gave. */
#include <string.h>

#include "office/shelf_sqlite_priv.h"

const char fsp_shelf_witness_sql[] =
        "CREATE TABLE witness("
        " name TEXT PRIMARY KEY,"
        " vkey TEXT NOT NULL UNIQUE,"
        " added_s INTEGER NOT NULL) STRICT, WITHOUT ROWID;"
        "CREATE TABLE cosignature("
        " log INTEGER NOT NULL REFERENCES rig_log(id),"
        " size INTEGER NOT NULL CHECK(size >= 0),"
        " witness TEXT NOT NULL REFERENCES witness(name),"
        " line TEXT NOT NULL,"
        " taken_s INTEGER NOT NULL,"
        " PRIMARY KEY(log, size, witness)) STRICT, WITHOUT ROWID;"
        "CREATE TRIGGER witness_keeps BEFORE UPDATE ON witness BEGIN"
        " SELECT RAISE(ABORT, 'witnesses are append-only'); END;"
        "CREATE TRIGGER witness_stays BEFORE DELETE ON witness BEGIN"
        " SELECT RAISE(ABORT, 'witnesses are append-only'); END;"
        "CREATE TRIGGER cosignature_keeps BEFORE UPDATE ON cosignature BEGIN"
        " SELECT RAISE(ABORT, 'cosignatures are append-only'); END;"
        "CREATE TRIGGER cosignature_stays BEFORE DELETE ON cosignature BEGIN"
        " SELECT RAISE(ABORT, 'cosignatures are append-only'); END;";

#define SQL_TAKEN "SELECT 1 FROM witness WHERE name = ?1 OR vkey = ?2"
#define SQL_ADD   "INSERT INTO witness(name, vkey, added_s) VALUES(?1, ?2, ?3)"
#define SQL_NEXT  "SELECT name, vkey, added_s FROM witness WHERE name > ?1 ORDER BY name LIMIT 1"
#define SQL_KEEP                                                                               \
    "INSERT INTO cosignature(log, size, witness, line, taken_s) VALUES(?1, ?2, ?3, ?4, ?5) "   \
    "ON CONFLICT DO NOTHING"
#define SQL_LINES "SELECT line FROM cosignature WHERE log = ?1 AND size = ?2 ORDER BY witness"
#define SQL_NEWEST                                                                             \
    "SELECT ifnull(max(size), 0) FROM cosignature WHERE log = ?1 AND witness = ?2"

static enum fsp_rc
copy_text(const struct fsp_stmt *stmt, int column, char *out, size_t size, struct fsp_err *err)
{
    const char *text = fsp_stmt_text(stmt, column);
    const size_t len = text == NULL ? size : strlen(text);

    if (len >= size)
        return fsp_err_set(err, FSP_ECORRUPT, "the store holds a name or key that is too long");
    memcpy(out, text, len + 1);
    return FSP_OK;
}

enum fsp_rc
fsp_shelf_add_witness(void *ctx, const struct fsp_shelf_witness *witness, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_TAKEN, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, witness->name);
    fsp_stmt_bind_text(stmt, 2, witness->vkey);
    rc = fsp_stmt_step(stmt, &row, err);
    fsp_stmt_reset(stmt);
    if (rc == FSP_OK && row)
        rc = fsp_err_set(err, FSP_EINVAL, "%s: a witness of that name or key is known already",
                witness->name);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(shelf->db, SQL_ADD, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, witness->name);
    fsp_stmt_bind_text(stmt, 2, witness->vkey);
    fsp_stmt_bind_int(stmt, 3, witness->added_s);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_shelf_next_witness(
        void *ctx, const char *after, struct fsp_shelf_witness *out, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_NEXT, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, after);
    rc = fsp_stmt_step(stmt, &row, err);
    memset(out, 0, sizeof(*out)); /* after may lie in it: bound by now */
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "no more witnesses");
    if (rc == FSP_OK)
        rc = copy_text(stmt, 0, out->name, sizeof(out->name), err);
    if (rc == FSP_OK)
        rc = copy_text(stmt, 1, out->vkey, sizeof(out->vkey), err);
    if (rc == FSP_OK)
        out->added_s = fsp_stmt_int(stmt, 2);
    fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_shelf_add_cosignature(
        void *ctx, const struct fsp_shelf_cosignature *cosignature, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_KEEP, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, cosignature->log);
    fsp_stmt_bind_int(stmt, 2, (int64_t)cosignature->size);
    fsp_stmt_bind_text(stmt, 3, cosignature->witness);
    fsp_stmt_bind_text(stmt, 4, cosignature->line);
    fsp_stmt_bind_int(stmt, 5, cosignature->taken_s);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_shelf_cosignatures(
        void *ctx, int64_t log, uint64_t size, struct fsp_buf *out, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = true;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_LINES, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_int(stmt, 2, (int64_t)size);
    while (rc == FSP_OK && row) {
        rc = fsp_stmt_step(stmt, &row, err);
        if (rc == FSP_OK && row)
            fsp_buf_add_text(out, fsp_stmt_text(stmt, 0));
    }
    fsp_stmt_reset(stmt);
    return rc == FSP_OK ? fsp_buf_check(out, "the cosignatures", err) : rc;
}

enum fsp_rc
fsp_shelf_cosigned(
        void *ctx, int64_t log, const char *witness, uint64_t *size, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_NEWEST, &stmt, err);

    *size = 0;
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_text(stmt, 2, witness);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row)
        *size = (uint64_t)fsp_stmt_int(stmt, 0);
    fsp_stmt_reset(stmt);
    return rc;
}
