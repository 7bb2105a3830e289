/* The shelf's renewals: which log continues which, since when it is closed, and who confirmed it. */
#include <string.h>

#include "office/shelf_sqlite_priv.h"

const char fsp_shelf_renewal_sql[] =
        "CREATE TABLE renewal("
        " log INTEGER PRIMARY KEY REFERENCES rig_log(id),"
        " from_log INTEGER REFERENCES rig_log(id)," /* NULL: unfit */
        " from_size INTEGER NOT NULL,"
        " from_root BLOB NOT NULL CHECK(length(from_root) = 32),"
        " closed_size INTEGER NOT NULL,"
        " how INTEGER NOT NULL CHECK(how IN (0, 1, 2)),"
        " proof BLOB CHECK(proof IS NULL OR length(proof) = 64),"
        " seen_s INTEGER NOT NULL) STRICT;"
        "CREATE INDEX renewal_from ON renewal(from_log);"
        "CREATE TABLE renewal_confirmed("
        " log INTEGER PRIMARY KEY REFERENCES renewal(log),"
        " by TEXT NOT NULL,"
        " at_s INTEGER NOT NULL) STRICT;"
        "CREATE TRIGGER renewal_keeps BEFORE UPDATE ON renewal BEGIN"
        " SELECT RAISE(ABORT, 'renewals are append-only'); END;"
        "CREATE TRIGGER renewal_stays BEFORE DELETE ON renewal BEGIN"
        " SELECT RAISE(ABORT, 'renewals are append-only'); END;"
        "CREATE TRIGGER renewal_confirmed_keeps BEFORE UPDATE ON renewal_confirmed BEGIN"
        " SELECT RAISE(ABORT, 'confirmations are append-only'); END;"
        "CREATE TRIGGER renewal_confirmed_stays BEFORE DELETE ON renewal_confirmed BEGIN"
        " SELECT RAISE(ABORT, 'confirmations are append-only'); END;";

#define SQL_ADD                                                                                \
    "INSERT INTO renewal(log, from_log, from_size, from_root, closed_size, how, proof, "       \
    "seen_s)"                                                                                  \
    " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)"
#define SQL_GET                                                                                \
    "SELECT r.log, r.from_log, r.from_size, r.from_root, r.closed_size, r.how, r.proof,"       \
    " r.seen_s, c.by, c.at_s FROM renewal r LEFT JOIN renewal_confirmed c ON c.log = r.log "
#define SQL_OF        SQL_GET "WHERE r.log = ?1"
#define SQL_CONTINUED SQL_GET "WHERE r.from_log = ?1 AND r.log > ?2 ORDER BY r.log LIMIT 1"
#define SQL_CONFIRM                                                                            \
    "INSERT INTO renewal_confirmed(log, by, at_s) VALUES(?1, ?2, ?3) ON CONFLICT DO NOTHING"

enum fsp_rc
fsp_shelf_add_renewal(void *ctx, const struct fsp_shelf_renewal *renewal, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_ADD, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, renewal->log);
    if (renewal->from != 0)
        fsp_stmt_bind_int(stmt, 2, renewal->from);
    fsp_stmt_bind_int(stmt, 3, (int64_t)renewal->from_size);
    fsp_stmt_bind_blob(stmt, 4, renewal->from_root, sizeof(renewal->from_root));
    fsp_stmt_bind_int(stmt, 5, (int64_t)renewal->closed_size);
    fsp_stmt_bind_int(stmt, 6, (int64_t)renewal->how);
    if (renewal->how == FSP_RENEWAL_PROVED)
        fsp_stmt_bind_blob(stmt, 7, renewal->proof, sizeof(renewal->proof));
    fsp_stmt_bind_int(stmt, 8, renewal->seen_s);
    return fsp_stmt_run(stmt, err);
}

/* A blob of exactly that size. */
static enum fsp_rc
copy(const struct fsp_stmt *stmt, int column, uint8_t *out, size_t size, struct fsp_err *err)
{
    size_t len = 0;
    const uint8_t *bytes = fsp_stmt_blob(stmt, column, &len);

    if (bytes == NULL || len != size)
        return fsp_err_set(err, FSP_ECORRUPT, "the store holds a damaged renewal");
    memcpy(out, bytes, size);
    return FSP_OK;
}

static enum fsp_rc
read_row(const struct fsp_stmt *stmt, struct fsp_shelf_renewal *out, struct fsp_err *err)
{
    const char *by = fsp_stmt_text(stmt, 8);
    enum fsp_rc rc = copy(stmt, 3, out->from_root, sizeof(out->from_root), err);

    out->log = fsp_stmt_int(stmt, 0);
    out->from = fsp_stmt_is_null(stmt, 1) ? 0 : fsp_stmt_int(stmt, 1);
    out->from_size = (uint64_t)fsp_stmt_int(stmt, 2);
    out->closed_size = (uint64_t)fsp_stmt_int(stmt, 4);
    out->how = (enum fsp_renewal_how)fsp_stmt_int(stmt, 5);
    out->seen_s = fsp_stmt_int(stmt, 7);
    if (rc == FSP_OK && out->how == FSP_RENEWAL_PROVED)
        rc = copy(stmt, 6, out->proof, sizeof(out->proof), err);
    out->confirmed = by != NULL;
    if (by == NULL || rc != FSP_OK)
        return rc;
    if (strlen(by) >= sizeof(out->confirmed_by))
        return fsp_err_set(err, FSP_ECORRUPT, "the store holds a name that is too long");
    memcpy(out->confirmed_by, by, strlen(by) + 1);
    out->confirmed_s = fsp_stmt_int(stmt, 9);
    return FSP_OK;
}

static enum fsp_rc
read_one(struct fsp_stmt *stmt, struct fsp_shelf_renewal *out, struct fsp_err *err)
{
    bool row = false;
    enum fsp_rc rc = fsp_stmt_step(stmt, &row, err);

    memset(out, 0, sizeof(*out));
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "no such renewal");
    if (rc == FSP_OK)
        rc = read_row(stmt, out, err);
    fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_shelf_renewal(void *ctx, int64_t log, struct fsp_shelf_renewal *out, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_OF, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    return read_one(stmt, out, err);
}

enum fsp_rc
fsp_shelf_continued(void *ctx, int64_t from, int64_t after, struct fsp_shelf_renewal *out,
        struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_CONTINUED, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, from);
    fsp_stmt_bind_int(stmt, 2, after);
    return read_one(stmt, out, err);
}

enum fsp_rc
fsp_shelf_confirm_renewal(
        void *ctx, int64_t log, const char *by, int64_t at_s, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_shelf_renewal renewal;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_shelf_renewal(ctx, log, &renewal, err);

    if (rc == FSP_OK)
        rc = fsp_stmt_get(shelf->db, SQL_CONFIRM, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_text(stmt, 2, by);
    fsp_stmt_bind_int(stmt, 3, at_s);
    return fsp_stmt_run(stmt, err);
}
