#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "store/db_priv.h"

#define BUSY_TIMEOUT_MS 5000

enum fsp_rc
fsp_db_fail(struct fsp_db *db, int sqlite_rc, const char *doing, struct fsp_err *err)
{
    int primary = sqlite_rc & 0xff;
    const char *words =
            db->handle != NULL ? sqlite3_errmsg(db->handle) : sqlite3_errstr(sqlite_rc);

    switch (primary) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return fsp_err_set(err, FSP_EBUSY, "%s: %s: another process is using it; try again",
                db->path, doing);
    case SQLITE_FULL:
        return fsp_err_set(err, FSP_EIO,
                "%s: %s: disk full: nothing was kept; free space and try again", db->path,
                doing);
    case SQLITE_CORRUPT:
        db->broken = true;
        return fsp_err_set(err, FSP_ECORRUPT,
                "%s: %s: the database is damaged (%s); stop, copy the folder aside, see "
                "docs/durability.md",
                db->path, doing, words);
    case SQLITE_NOTADB:
        return fsp_err_set(err, FSP_EFORMAT, "%s: this is no database", db->path);
    case SQLITE_NOMEM:
        return fsp_err_set(err, FSP_ENOMEM, "%s: %s: out of memory", db->path, doing);
    case SQLITE_TOOBIG:
        return fsp_err_set(err, FSP_ELIMIT, "%s: %s: too large", db->path, doing);
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_CANTOPEN:
        return fsp_err_set(err, FSP_EIO,
                "%s: %s: %s; look at owner, mode and mount of the folder", db->path, doing,
                words);
    case SQLITE_IOERR:
        /* After a failed sync the kernel may forget the pages: nothing here can be trusted. */
        db->broken = true;
        return fsp_err_set(err, FSP_EIO,
                "%s: %s: the disk failed (%s); nothing is acknowledged, run check", db->path,
                doing, words);
    default:
        return fsp_err_set(err, FSP_EIO, "%s: %s: %s", db->path, doing, words);
    }
}

static enum fsp_rc
refuse_broken(const struct fsp_db *db, struct fsp_err *err)
{
    return fsp_err_set(err, FSP_EIO,
            "%s: closed after a failed write; open it again and run check", db->path);
}

enum fsp_rc
fsp_db_run(struct fsp_db *db, const char *sql, struct fsp_err *err)
{
    int rc;

    if (db->broken)
        return refuse_broken(db, err);
    rc = sqlite3_exec(db->handle, sql, NULL, NULL, NULL);
    return rc == SQLITE_OK ? FSP_OK : fsp_db_fail(db, rc, "write", err);
}

/* Run a pragma that answers with one text; line breaks in it become spaces. */
static enum fsp_rc
pragma_text(struct fsp_db *db, const char *sql, char *out, size_t size, struct fsp_err *err)
{
    sqlite3_stmt *stmt = NULL;
    enum fsp_rc result = FSP_OK;
    const char *got = NULL;
    int rc = sqlite3_prepare_v2(db->handle, sql, -1, &stmt, NULL);

    if (rc == SQLITE_OK)
        rc = sqlite3_step(stmt);
    if (rc == SQLITE_ROW)
        got = (const char *)sqlite3_column_text(stmt, 0);
    else
        result = fsp_db_fail(db, rc, sql, err);
    (void)snprintf(out, size, "%s", got == NULL ? "nothing" : got);
    for (char *c = out; *c != '\0'; c++)
        if (*c == '\n')
            *c = ' ';
    (void)sqlite3_finalize(stmt);
    return result;
}

/* What was set must also be in force. */
static enum fsp_rc
pragma_is(struct fsp_db *db, const char *sql, const char *want, struct fsp_err *err)
{
    char got[64];
    enum fsp_rc rc = pragma_text(db, sql, got, sizeof(got), err);

    if (rc == FSP_OK && strcmp(got, want) != 0)
        rc = fsp_err_set(
                err, FSP_EIO, "%s: %s: in force is %s, not %s", db->path, sql, got, want);
    return rc;
}

/* A checkpoint needs the store's lock, which nobody holds at closing. */
static enum fsp_rc
no_checkpoint_on_close(struct fsp_db *db, struct fsp_err *err)
{
    if (db->mode != FSP_DB_RIG &&
            sqlite3_db_config(db->handle, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL) !=
                    SQLITE_OK)
        return fsp_err_set(err, FSP_EIO, "%s: checkpoint on close stays on", db->path);
    return FSP_OK;
}

static enum fsp_rc
set_mode(struct fsp_db *db, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    switch (db->mode) {
    case FSP_DB_RIG:
        rc = pragma_is(db, "PRAGMA journal_mode=DELETE", "delete", err);
        if (rc == FSP_OK)
            rc = fsp_db_run(db, "PRAGMA synchronous=EXTRA", err);
        if (rc == FSP_OK)
            rc = pragma_is(db, "PRAGMA synchronous", "3", err);
        break;
    case FSP_DB_OFFICE:
        rc = pragma_is(db, "PRAGMA journal_mode=WAL", "wal", err);
        if (rc == FSP_OK)
            rc = fsp_db_run(db, "PRAGMA synchronous=FULL", err);
        if (rc == FSP_OK)
            rc = pragma_is(db, "PRAGMA synchronous", "2", err);
        if (rc == FSP_OK)
            rc = pragma_is(db, "PRAGMA wal_autocheckpoint=0", "0", err);
        break;
    case FSP_DB_READ:
        rc = fsp_db_run(db, "PRAGMA query_only=ON", err);
        break;
    }
    /* Without recursive triggers INSERT OR REPLACE deletes past the triggers that forbid it. */
    if (rc == FSP_OK)
        rc = fsp_db_run(db, "PRAGMA foreign_keys=ON; PRAGMA recursive_triggers=ON", err);
    return rc;
}

enum fsp_rc
fsp_db_open(const char *path, enum fsp_db_mode mode, bool create,
        const struct fsp_db_schema *schema, struct fsp_db **out, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    struct fsp_db *db = calloc(1, sizeof(*db));
    int64_t version = 0;
    int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX | (create ? SQLITE_OPEN_CREATE : 0);
    int sqlite_rc;

    *out = NULL;
    if (db == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "%s: out of memory", path);
    db->mode = mode;
    db->path = strdup(path);
    if (db->path == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "%s: out of memory", path);
        goto out;
    }
    sqlite_rc = sqlite3_open_v2(path, &db->handle, flags, NULL);
    if (sqlite_rc != SQLITE_OK) {
        rc = fsp_db_fail(db, sqlite_rc, "open", err);
        goto out;
    }
    (void)sqlite3_extended_result_codes(db->handle, 1);
    (void)sqlite3_busy_timeout(db->handle, BUSY_TIMEOUT_MS);
    rc = no_checkpoint_on_close(db, err);
    /* Setting the mode writes to the file: only once it is known to be ours. */
    if (rc == FSP_OK)
        rc = fsp_db_identify(db, schema, create, &version, err);
    if (rc == FSP_OK)
        rc = set_mode(db, err);
    if (rc == FSP_OK)
        rc = fsp_db_migrate(db, schema, version, err);
    if (rc != FSP_OK) {
        rc = fsp_err_wrap(err, rc, "%s", schema->what);
        goto out;
    }
    *out = db;
    db = NULL;
out:
    fsp_db_close(db);
    return rc;
}

void
fsp_db_close(struct fsp_db *db)
{
    int rc;

    if (db == NULL)
        return;
    for (size_t i = 0; i < db->stmts; i++)
        (void)sqlite3_finalize(db->stmt[i].handle);
    rc = sqlite3_close(db->handle);
    assert(rc == SQLITE_OK); /* a statement or backup left open is our own bug */
    free(db->path);
    free(db);
}

bool
fsp_db_broken(const struct fsp_db *db)
{
    return db->broken;
}

enum fsp_rc
fsp_db_begin(struct fsp_db *db, struct fsp_err *err)
{
    return fsp_db_run(db, "BEGIN IMMEDIATE", err);
}

enum fsp_rc
fsp_db_begin_read(struct fsp_db *db, struct fsp_err *err)
{
    return fsp_db_run(db, "BEGIN", err);
}

enum fsp_rc
fsp_db_commit(struct fsp_db *db, struct fsp_err *err)
{
    int rc;

    if (db->broken)
        return refuse_broken(db, err);
    rc = sqlite3_exec(db->handle, "COMMIT", NULL, NULL, NULL);
    if (rc == SQLITE_OK)
        return FSP_OK;
    /* Busy leaves the transaction open and sound; anything else may have reached the disk half. */
    if ((rc & 0xff) != SQLITE_BUSY)
        db->broken = true;
    return fsp_db_fail(db, rc, "commit", err);
}

void
fsp_db_rollback(struct fsp_db *db)
{
    for (size_t i = 0; i < db->stmts; i++)
        (void)sqlite3_reset(db->stmt[i].handle);
    if (sqlite3_get_autocommit(db->handle) == 0 &&
            sqlite3_exec(db->handle, "ROLLBACK", NULL, NULL, NULL) != SQLITE_OK)
        db->broken = true;
}

enum fsp_rc
fsp_db_check(struct fsp_db *db, struct fsp_err *err)
{
    sqlite3_stmt *stmt = NULL;
    char complaint[200];
    enum fsp_rc rc =
            pragma_text(db, "PRAGMA integrity_check(1)", complaint, sizeof(complaint), err);
    int sqlite_rc;

    if (rc != FSP_OK)
        return rc;
    if (strcmp(complaint, "ok") != 0)
        return fsp_err_set(err, FSP_ECORRUPT,
                "%s: the database is damaged (%s); stop, copy the folder aside, see "
                "docs/durability.md",
                db->path, complaint);
    sqlite_rc = sqlite3_prepare_v2(db->handle, "PRAGMA foreign_key_check", -1, &stmt, NULL);
    if (sqlite_rc == SQLITE_OK)
        sqlite_rc = sqlite3_step(stmt);
    if (sqlite_rc == SQLITE_ROW)
        rc = fsp_err_set(err, FSP_ECORRUPT, "%s: a row of %s points to none", db->path,
                (const char *)sqlite3_column_text(stmt, 0));
    else if (sqlite_rc != SQLITE_DONE)
        rc = fsp_db_fail(db, sqlite_rc, "check", err);
    (void)sqlite3_finalize(stmt);
    return rc;
}

enum fsp_rc
fsp_db_checkpoint(struct fsp_db *db, struct fsp_err *err)
{
    int rc;

    if (db->broken)
        return refuse_broken(db, err);
    /* Never wait for a reader under the store's lock: what can be folded in is, the rest next time. */
    (void)sqlite3_busy_timeout(db->handle, 0);
    rc = sqlite3_wal_checkpoint_v2(db->handle, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
    (void)sqlite3_busy_timeout(db->handle, BUSY_TIMEOUT_MS);
    return rc == SQLITE_OK ? FSP_OK : fsp_db_fail(db, rc, "checkpoint", err);
}

static struct fsp_stmt *
cached(struct fsp_db *db, const char *sql)
{
    for (size_t i = 0; i < db->stmts; i++)
        if (db->stmt[i].sql == sql)
            return &db->stmt[i];
    for (size_t i = 0; i < db->stmts; i++)
        if (strcmp(db->stmt[i].sql, sql) == 0)
            return &db->stmt[i];
    return NULL;
}

enum fsp_rc
fsp_stmt_get(struct fsp_db *db, const char *sql, struct fsp_stmt **out, struct fsp_err *err)
{
    struct fsp_stmt *stmt = cached(db, sql);
    int rc;

    *out = NULL;
    if (db->broken)
        return refuse_broken(db, err);
    if (stmt == NULL) {
        assert(db->stmts < FSP_STMT_CACHE);
        stmt = &db->stmt[db->stmts];
        rc = sqlite3_prepare_v3(
                db->handle, sql, -1, SQLITE_PREPARE_PERSISTENT, &stmt->handle, NULL);
        if (rc != SQLITE_OK)
            return fsp_db_fail(db, rc, "prepare a statement", err);
        stmt->db = db;
        stmt->sql = sql;
        db->stmts++;
    }
    (void)sqlite3_reset(stmt->handle);
    (void)sqlite3_clear_bindings(stmt->handle);
    stmt->bind_rc = SQLITE_OK;
    *out = stmt;
    return FSP_OK;
}

static void
note_bind(struct fsp_stmt *stmt, int rc)
{
    if (rc != SQLITE_OK && stmt->bind_rc == SQLITE_OK)
        stmt->bind_rc = rc;
}

void
fsp_stmt_bind_int(struct fsp_stmt *stmt, int i, int64_t value)
{
    note_bind(stmt, sqlite3_bind_int64(stmt->handle, i, value));
}

/* Bound bytes are borrowed until the statement is run or reset: callers bind and step at once. */
void
fsp_stmt_bind_text(struct fsp_stmt *stmt, int i, const char *text)
{
    note_bind(stmt, text == NULL ? sqlite3_bind_null(stmt->handle, i)
                                 : sqlite3_bind_text(stmt->handle, i, text, -1, SQLITE_STATIC));
}

void
fsp_stmt_bind_blob(struct fsp_stmt *stmt, int i, const void *bytes, size_t len)
{
    if (len == 0)
        note_bind(stmt, sqlite3_bind_zeroblob(stmt->handle, i, 0));
    else
        note_bind(stmt, sqlite3_bind_blob64(stmt->handle, i, bytes, len, SQLITE_STATIC));
}

enum fsp_rc
fsp_stmt_step(struct fsp_stmt *stmt, bool *row, struct fsp_err *err)
{
    int rc;

    *row = false;
    if (stmt->db->broken)
        return refuse_broken(stmt->db, err);
    if (stmt->bind_rc != SQLITE_OK)
        return fsp_db_fail(stmt->db, stmt->bind_rc, "bind a value", err);
    rc = sqlite3_step(stmt->handle);
    if (rc == SQLITE_ROW) {
        *row = true;
        return FSP_OK;
    }
    (void)sqlite3_reset(stmt->handle);
    return rc == SQLITE_DONE ? FSP_OK : fsp_db_fail(stmt->db, rc, "read or write", err);
}

enum fsp_rc
fsp_stmt_run(struct fsp_stmt *stmt, struct fsp_err *err)
{
    bool row = false;
    enum fsp_rc rc = fsp_stmt_step(stmt, &row, err);

    (void)sqlite3_reset(stmt->handle);
    return rc;
}

void
fsp_stmt_reset(struct fsp_stmt *stmt)
{
    if (stmt != NULL)
        (void)sqlite3_reset(stmt->handle);
}

int64_t
fsp_stmt_int(const struct fsp_stmt *stmt, int i)
{
    return sqlite3_column_int64(stmt->handle, i);
}

const char *
fsp_stmt_text(const struct fsp_stmt *stmt, int i)
{
    return (const char *)sqlite3_column_text(stmt->handle, i);
}

const uint8_t *
fsp_stmt_blob(const struct fsp_stmt *stmt, int i, size_t *len)
{
    const uint8_t *bytes = sqlite3_column_blob(stmt->handle, i);

    *len = (size_t)sqlite3_column_bytes(stmt->handle, i);
    return bytes;
}

bool
fsp_stmt_is_null(const struct fsp_stmt *stmt, int i)
{
    return sqlite3_column_type(stmt->handle, i) == SQLITE_NULL;
}

int64_t
fsp_db_last_id(const struct fsp_db *db)
{
    return sqlite3_last_insert_rowid(db->handle);
}
