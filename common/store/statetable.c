#include "store/statetable.h"

const char fsp_statetable_sql[] =
        "CREATE TABLE folded(owner TEXT NOT NULL, cuts INTEGER NOT NULL,"
        " from_s INTEGER NOT NULL, state BLOB NOT NULL, UNIQUE(owner, cuts)) STRICT;"
        "CREATE TABLE marked(owner TEXT PRIMARY KEY, marks BLOB NOT NULL) STRICT;";

/* One blob of one row, appended. */
static enum fsp_rc
one_blob(struct fsp_stmt *stmt, struct fsp_buf *out, struct fsp_err *err)
{
    bool row = false;
    enum fsp_rc rc = fsp_stmt_step(stmt, &row, err);

    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "nothing of it is kept");
    if (rc == FSP_OK) {
        size_t len = 0;
        const uint8_t *bytes = fsp_stmt_blob(stmt, 0, &len);

        fsp_buf_add(out, bytes, len);
        rc = fsp_buf_check(out, "what is kept of it", err);
    }
    fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_statetable_marks(
        struct fsp_db *db, const char *owner, struct fsp_buf *out, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(db, "SELECT marks FROM marked WHERE owner=?1", &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, owner);
    return one_blob(stmt, out, err);
}

enum fsp_rc
fsp_statetable_state(struct fsp_db *db, const char *owner, int64_t cuts, struct fsp_buf *out,
        struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc =
            fsp_stmt_get(db, "SELECT state FROM folded WHERE owner=?1 AND cuts=?2", &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, owner);
    fsp_stmt_bind_int(stmt, 2, cuts);
    return one_blob(stmt, out, err);
}

enum fsp_rc
fsp_statetable_states(struct fsp_db *db, const char *owner,
        enum fsp_rc (*each)(void *ctx, int64_t cuts, int64_t from_s, struct fsp_err *err),
        void *ctx, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(db,
            "SELECT cuts, from_s FROM folded WHERE owner=?1 ORDER BY from_s DESC, cuts", &stmt,
            err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, owner);
    rc = fsp_stmt_step(stmt, &row, err);
    while (rc == FSP_OK && row) {
        rc = each(ctx, fsp_stmt_int(stmt, 0), fsp_stmt_int(stmt, 1), err);
        if (rc == FSP_OK)
            rc = fsp_stmt_step(stmt, &row, err);
    }
    fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_statetable_keep_marks(
        struct fsp_db *db, const char *owner, const struct fsp_buf *bytes, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(db,
            "INSERT INTO marked(owner, marks) VALUES(?1, ?2)"
            " ON CONFLICT(owner) DO UPDATE SET marks=excluded.marks",
            &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, owner);
    fsp_stmt_bind_blob(stmt, 2, bytes->data, bytes->len);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_statetable_keep_state(struct fsp_db *db, const char *owner, const int64_t cuts_from[2],
        const struct fsp_buf *bytes, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(db,
            "INSERT INTO folded(owner, cuts, from_s, state) VALUES(?1, ?2, ?3, ?4)"
            " ON CONFLICT(owner, cuts) DO UPDATE SET from_s=excluded.from_s,"
            " state=excluded.state",
            &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, owner);
    fsp_stmt_bind_int(stmt, 2, cuts_from[0]);
    fsp_stmt_bind_int(stmt, 3, cuts_from[1]);
    fsp_stmt_bind_blob(stmt, 4, bytes->data, bytes->len);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_statetable_drop_state(
        struct fsp_db *db, const char *owner, int64_t cuts, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc =
            fsp_stmt_get(db, "DELETE FROM folded WHERE owner=?1 AND cuts=?2", &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, owner);
    fsp_stmt_bind_int(stmt, 2, cuts);
    return fsp_stmt_run(stmt, err);
}
