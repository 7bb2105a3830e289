/* When a log was heard: the times of its newest cosignatures. */
#include "office/shelf_sqlite_priv.h"

#define SQL_HEARD_AT "SELECT time_s FROM head WHERE log = ?1 ORDER BY size DESC LIMIT ?2"

enum fsp_rc
fsp_shelf_heard(
        void *ctx, int64_t log, int64_t *times_s, size_t most, size_t *n, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = true;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_HEARD_AT, &stmt, err);

    *n = 0;
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_int(stmt, 2, (int64_t)most);
    while (rc == FSP_OK && row && *n < most) {
        rc = fsp_stmt_step(stmt, &row, err);
        if (rc == FSP_OK && row)
            times_s[(*n)++] = fsp_stmt_int(stmt, 0);
    }
    fsp_stmt_reset(stmt);
    return rc;
}
