/*
 * SQLite, wrapped once: open with the durability that was asked for, statements, transactions,
 * migrations. The only folder that knows sqlite3.
 *
 * Ownership: new/free; one owner and one thread per connection. Column pointers are borrowed until
 * the next step or reset.
 * Errors: FSP_EIO (disk, full: text says so), FSP_EBUSY (another writer after 5 s), FSP_ECORRUPT,
 * FSP_EFORMAT (no store, another program's, or made by a newer version), FSP_ENOMEM. After a failed
 * commit or sync the connection is broken: every later call fails with FSP_EIO until it is reopened.
 * A busy commit is no failure of that kind: the transaction stays open, commit again or roll back.
 * A disk that is full before the commit is none either: roll back, free space, try again.
 */
#ifndef FSP_STORE_DB_H
#define FSP_STORE_DB_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"

enum fsp_db_mode {
    FSP_DB_RIG,    /* rollback journal, synchronous EXTRA */
    FSP_DB_OFFICE, /* WAL, synchronous FULL, no automatic checkpoint, none on close */
    FSP_DB_READ,   /* query only */
};

struct fsp_db;
struct fsp_stmt;

/* One step of a schema; steps run in order from user_version on, all in one transaction. */
struct fsp_migration {
    const char *sql;
};

struct fsp_db_schema {
    int32_t application_id;
    const char *what; /* "rig store", for messages */
    const struct fsp_migration *steps;
    int n;
};

/* Open (create when asked), check application_id and user_version, set the mode and read it back,
 * migrate. Another program's file and a newer version are refused before anything is written. */
enum fsp_rc fsp_db_open(const char *path, enum fsp_db_mode mode, bool create,
        const struct fsp_db_schema *schema, struct fsp_db **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_db_close(struct fsp_db *db);
/* True after a failed commit, sync or a corrupt page: reopen and verify before going on. */
bool fsp_db_broken(const struct fsp_db *db);

enum fsp_rc fsp_db_begin(struct fsp_db *db, struct fsp_err *err) FSP_MUST_CHECK; /* IMMEDIATE */
enum fsp_rc fsp_db_begin_read(struct fsp_db *db, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_db_commit(struct fsp_db *db, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_db_rollback(struct fsp_db *db); /* no-op outside a transaction */
enum fsp_rc fsp_db_run(struct fsp_db *db, const char *sql, struct fsp_err *err) FSP_MUST_CHECK;
/* PRAGMA integrity_check and foreign keys; FSP_ECORRUPT with the first complaint. */
enum fsp_rc fsp_db_check(struct fsp_db *db, struct fsp_err *err) FSP_MUST_CHECK;
/* WAL checkpoint (TRUNCATE); the caller holds the store's lock. Waits for nobody: FSP_EBUSY when a
 * reader keeps part of it from being folded in; nothing is lost, try again later. */
enum fsp_rc fsp_db_checkpoint(struct fsp_db *db, struct fsp_err *err) FSP_MUST_CHECK;

/* Statements: prepared lazily by SQL text and cached in the connection until it closes; the text
 * must be static. Get resets and clears it; parameters count from 1, columns from 0. */
enum fsp_rc fsp_stmt_get(struct fsp_db *db, const char *sql, struct fsp_stmt **out,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Texts and blobs are borrowed until the statement was stepped or run. */
void fsp_stmt_bind_int(struct fsp_stmt *stmt, int i, int64_t value);
void fsp_stmt_bind_text(struct fsp_stmt *stmt, int i, const char *text); /* NULL binds NULL */
void fsp_stmt_bind_blob(struct fsp_stmt *stmt, int i, const void *bytes, size_t len);
/* *row true: a row is there; false: done (and reset). Failed binds are reported here. */
enum fsp_rc fsp_stmt_step(struct fsp_stmt *stmt, bool *row, struct fsp_err *err) FSP_MUST_CHECK;
/* Step a statement that returns no row, then reset it. */
enum fsp_rc fsp_stmt_run(struct fsp_stmt *stmt, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_stmt_reset(struct fsp_stmt *stmt); /* accepts NULL, which a failed get leaves */
int64_t fsp_stmt_int(const struct fsp_stmt *stmt, int i);
const char *fsp_stmt_text(const struct fsp_stmt *stmt, int i); /* NULL when NULL */
const uint8_t *fsp_stmt_blob(const struct fsp_stmt *stmt, int i, size_t *len);
bool fsp_stmt_is_null(const struct fsp_stmt *stmt, int i);
int64_t fsp_db_last_id(const struct fsp_db *db);

#endif
