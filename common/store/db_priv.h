/*
 * What db.c and migrate.c share; nobody else includes it.
 */
#ifndef FSP_STORE_DB_PRIV_H
#define FSP_STORE_DB_PRIV_H

#include <sqlite3.h>

#include "store/db.h"

#define FSP_STMT_CACHE 96

struct fsp_stmt {
    struct fsp_db *db;
    sqlite3_stmt *handle;
    const char *sql;
    int bind_rc; /* first failed bind, or SQLITE_OK */
};

struct fsp_db {
    sqlite3 *handle;
    char *path;
    enum fsp_db_mode mode;
    bool broken;
    struct fsp_stmt stmt[FSP_STMT_CACHE];
    size_t stmts;
};

/* Turn SQLite's result into ours, with a text for a person; marks the connection broken when the
 * failure means that what is in memory and on disk may differ. */
enum fsp_rc fsp_db_fail(
        struct fsp_db *db, int sqlite_rc, const char *doing, struct fsp_err *err);

/* Read application_id and user_version and refuse what is not ours, newer, or older in a reader.
 * Writes nothing. An empty file has version 0 and is refused unless create. */
enum fsp_rc fsp_db_identify(struct fsp_db *db, const struct fsp_db_schema *schema, bool create,
        int64_t *version, struct fsp_err *err) FSP_MUST_CHECK;

/* Bring a store of this version up to date, in one transaction. */
enum fsp_rc fsp_db_migrate(struct fsp_db *db, const struct fsp_db_schema *schema,
        int64_t version, struct fsp_err *err) FSP_MUST_CHECK;

#endif
