/*
 * The SQLite shelf's own struct, and the operations that live in files of their own.
 */
#ifndef FSP_OFFICE_SHELF_SQLITE_PRIV_H
#define FSP_OFFICE_SHELF_SQLITE_PRIV_H

#include "office/shelf.h"
#include "store/db.h"

struct sqlite_shelf {
    struct fsp_db *db;
    char *path;
    char *lock_path;
    char *wal_path;
    int lock; /* -1: not held */
};

extern const struct fsp_db_schema fsp_shelf_schema;

/* shelf_state.c */
void fsp_shelf_fold_store(void *ctx, const char *rig, struct fsp_fold_store *out);
bool fsp_shelf_keep_fold(void *ctx, const char *rig, const struct fsp_fold *fold);

/* shelf_sqlite.c: step and read one log */
enum fsp_rc fsp_shelf_read_log(
        struct fsp_stmt *stmt, struct fsp_shelf_log *out, struct fsp_err *err) FSP_MUST_CHECK;

/* shelf_heard.c */
enum fsp_rc fsp_shelf_heard(void *ctx, int64_t log, int64_t *times_s, size_t most, size_t *n,
        struct fsp_err *err) FSP_MUST_CHECK;

/* shelf_look.c */
extern const char fsp_shelf_look_sql[];
enum fsp_rc fsp_shelf_next_log_of(void *ctx, const char *rig, int64_t after,
        struct fsp_shelf_log *out, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_forks_of(
        void *ctx, int64_t log, size_t *n, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_stamp(void *ctx, const char *rig, struct fsp_shelf_stamp *out,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_stamps(void *ctx, fsp_shelf_stamp_visit *visit, void *visit_ctx,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_save(void *ctx, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_undo(void *ctx, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_unsave(void *ctx, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_version(void *ctx, uint64_t *version, struct fsp_err *err) FSP_MUST_CHECK;

/* shelf_views.c */
extern const char fsp_shelf_views_sql[];
extern const char fsp_shelf_views_more_sql[];
enum fsp_rc fsp_shelf_views_check(struct fsp_db *db, struct fsp_err *err) FSP_MUST_CHECK;

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

/* shelf_instruct.c */
extern const char fsp_shelf_instruct_sql[];
enum fsp_rc fsp_shelf_add_instruction(void *ctx,
        const struct fsp_shelf_instruction *instruction, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_next_instruction(void *ctx, const char *rig, int64_t after,
        struct fsp_shelf_instruction *out, struct fsp_buf *store,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_find_instruction(void *ctx, const uint8_t *id,
        struct fsp_shelf_instruction *out, struct fsp_buf *store,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_waiting_instruction(void *ctx, const struct fsp_shelf_wait *wait,
        struct fsp_shelf_instruction *out, struct fsp_buf *store,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_add_instruction_place(void *ctx,
        const struct fsp_shelf_instruction_place *place, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_instruction_place(void *ctx, const char *rig, const uint8_t *id,
        struct fsp_shelf_instruction_place *out, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_next_instruction_place(void *ctx, int64_t after,
        struct fsp_shelf_instruction_place *out, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_add_roster(void *ctx, uint64_t version, int64_t made_s,
        const struct fsp_buf *note, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_roster(
        void *ctx, uint64_t version, struct fsp_buf *note, struct fsp_err *err) FSP_MUST_CHECK;

/* shelf_witness.c */
extern const char fsp_shelf_witness_sql[];
enum fsp_rc fsp_shelf_add_witness(
        void *ctx, const struct fsp_shelf_witness *witness, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_next_witness(void *ctx, const char *after, struct fsp_shelf_witness *out,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_add_cosignature(void *ctx,
        const struct fsp_shelf_cosignature *cosignature, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_cosignatures(void *ctx, int64_t log, uint64_t size, struct fsp_buf *out,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_shelf_cosigned(void *ctx, int64_t log, const char *witness, uint64_t *size,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
