/* What the shelf holds of a rig, at a glance: its logs, its forks, whether anything
 * changed; and moments within a transaction to come back to. */
#include <string.h>

#include "office/shelf_sqlite_priv.h"

const char fsp_shelf_look_sql[] = "CREATE INDEX rig_log_rig ON rig_log(rig, id);";

#define SQL_NEXT_LOG_OF                                                                        \
    "SELECT id, rig, origin, pub, mark, enrolled_s, heard_s FROM rig_log "                     \
    "WHERE rig = ?1 AND id > ?2 ORDER BY id LIMIT 1"
#define SQL_FORKS_OF "SELECT count(*) FROM fork WHERE log = ?1"
/* One row a rig; LEFT JOIN, so that a rig that was only invited is there. */
#define SQL_STAMPS                                                                             \
    "SELECT r.name, count(l.id), coalesce(sum(t.size), 0), coalesce(max(l.heard_s), 0),"       \
    " coalesce(sum((SELECT count(*) FROM fork f WHERE f.log = l.id)), 0),"                     \
    " coalesce(sum((SELECT count(*) FROM renewal_confirmed c WHERE c.log = l.id)), 0)"         \
    " FROM rig r LEFT JOIN rig_log l ON l.rig = r.name LEFT JOIN tip t ON t.log = l.id"
#define SQL_ALL_STAMPS SQL_STAMPS " GROUP BY r.name ORDER BY r.name"
#define SQL_ONE_STAMP  SQL_STAMPS " WHERE r.name = ?1 GROUP BY r.name"
#define SQL_VERSION    "PRAGMA data_version"
#define SQL_SAVE       "SAVEPOINT moment"
#define SQL_UNDO       "ROLLBACK TO moment"
#define SQL_UNSAVE     "RELEASE moment"

enum fsp_rc
fsp_shelf_next_log_of(void *ctx, const char *rig, int64_t after, struct fsp_shelf_log *out,
        struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_NEXT_LOG_OF, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, rig);
    fsp_stmt_bind_int(stmt, 2, after);
    return fsp_shelf_read_log(stmt, out, err);
}

enum fsp_rc
fsp_shelf_forks_of(void *ctx, int64_t log, size_t *n, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_FORKS_OF, &stmt, err);

    *n = 0;
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row)
        *n = (size_t)fsp_stmt_int(stmt, 0);
    fsp_stmt_reset(stmt);
    return rc;
}

static enum fsp_rc
read_stamp(struct fsp_stmt *stmt, struct fsp_shelf_stamp *out, struct fsp_err *err)
{
    const char *name = fsp_stmt_text(stmt, 0);
    size_t len = name == NULL ? sizeof(out->rig) : strlen(name);

    if (len >= sizeof(out->rig))
        return fsp_err_set(err, FSP_ECORRUPT, "the store holds a name that is too long");
    memset(out, 0, sizeof(*out));
    memcpy(out->rig, name, len + 1);
    out->logs = (uint64_t)fsp_stmt_int(stmt, 1);
    out->entries = (uint64_t)fsp_stmt_int(stmt, 2);
    out->heard_s = fsp_stmt_int(stmt, 3);
    out->forks = (uint64_t)fsp_stmt_int(stmt, 4);
    out->confirmed = (uint64_t)fsp_stmt_int(stmt, 5);
    return FSP_OK;
}

enum fsp_rc
fsp_shelf_stamp(void *ctx, const char *rig, struct fsp_shelf_stamp *out, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_ONE_STAMP, &stmt, err);

    memset(out, 0, sizeof(*out));
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, rig);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "%s: no such rig", rig);
    if (rc == FSP_OK)
        rc = read_stamp(stmt, out, err);
    fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_shelf_stamps(void *ctx, fsp_shelf_stamp_visit *visit, void *visit_ctx, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = true;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_ALL_STAMPS, &stmt, err);

    while (rc == FSP_OK && row) {
        struct fsp_shelf_stamp stamp;

        rc = fsp_stmt_step(stmt, &row, err);
        if (rc != FSP_OK || !row)
            break;
        rc = read_stamp(stmt, &stamp, err);
        if (rc == FSP_OK)
            rc = visit(visit_ctx, &stamp, err);
    }
    if (stmt != NULL)
        fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_shelf_version(void *ctx, uint64_t *version, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_VERSION, &stmt, err);

    *version = 0;
    if (rc == FSP_OK)
        rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row)
        *version = (uint64_t)fsp_stmt_int(stmt, 0);
    if (stmt != NULL)
        fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_shelf_save(void *ctx, struct fsp_err *err)
{
    const struct sqlite_shelf *shelf = ctx;

    return fsp_db_run(shelf->db, SQL_SAVE, err);
}

enum fsp_rc
fsp_shelf_undo(void *ctx, struct fsp_err *err)
{
    const struct sqlite_shelf *shelf = ctx;

    return fsp_db_run(shelf->db, SQL_UNDO, err);
}

enum fsp_rc
fsp_shelf_unsave(void *ctx, struct fsp_err *err)
{
    const struct sqlite_shelf *shelf = ctx;

    return fsp_db_run(shelf->db, SQL_UNSAVE, err);
}
