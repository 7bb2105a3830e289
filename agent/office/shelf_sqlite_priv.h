/*
 * The SQLite shelf's own struct, and the operations that live in files of their own.
 */
#ifndef FSP_OFFICE_SHELF_SQLITE_PRIV_H
#define FSP_OFFICE_SHELF_SQLITE_PRIV_H

#include "office/shelf.h"
#include "store/db.h"

struct sqlite_shelf {
    struct fsp_db *db;
    char *lock_path;
    char *wal_path;
    int lock; /* -1: not held */
};

/* shelf_renewal.c */
extern const char fsp_shelf_renewal_sql[]; /* its migration step */
enum fsp_rc fsp_shelf_add_renewal(
        void *ctx, const struct fsp_shelf_renewal *renewal, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_renewal(void *ctx, int64_t log, struct fsp_shelf_renewal *out,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_continued(void *ctx, int64_t from, int64_t after,
        struct fsp_shelf_renewal *out, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_confirm_renewal(void *ctx, int64_t log, const char *by, int64_t at_s,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
