#include "office/shelf.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

#include "base/file.h"
#include "office/shelf_sql.h"
#include "office/shelf_sqlite_priv.h"
#include "store/copy.h"
#include "store/db.h"
#include "store/logtable.h"
#include "store/statetable.h"

#define SHELF_FILE     "shelf.db"
#define SHELF_WAL      "shelf.db-wal"
#define LOCK_FILE      "store.lock"
#define APPLICATION_ID 0x4653504F /* "FSPO" */
#define LOCK_TRIES     300        /* 5 s together, as SQLite's own wait: */
#define LOCK_SHORT     50         /* so many of a millisecond, for who holds it briefly, */
#define LOCK_WAIT_MS   20         /* then of so many */
#define TIDY_BYTES     (INT64_C(4) * 1024 * 1024) /* of write-ahead log before it is folded in */

static const struct fsp_migration migrations[] = {{fsp_logtable_sql}, {shelf_schema_sql},
        {fsp_shelf_renewal_sql}, {fsp_shelf_instruct_sql}, {fsp_statetable_sql},
        {fsp_shelf_witness_sql}, {fsp_shelf_look_sql}, {fsp_shelf_views_sql},
        {fsp_shelf_views_more_sql}};
const struct fsp_db_schema fsp_shelf_schema = {.application_id = APPLICATION_ID,
        .what = "office store",
        .steps = migrations,
        .n = sizeof(migrations) / sizeof(migrations[0])};

/* --- open, close, transactions --------------------------------------------------------------- */

/* Every writer of every process holds this lock, so no two connections ever write or checkpoint at
 * once. Polled, so that a stuck holder ends in FSP_EBUSY and not in a hang. */
static enum fsp_rc
take_lock(struct sqlite_shelf *shelf, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_EBUSY;

    if (shelf->lock >= 0)
        return fsp_err_set(err, FSP_EINVAL, "a write transaction is open already");
    for (int i = 0; i < LOCK_TRIES && rc == FSP_EBUSY; i++) {
        const long wait_ms = i < LOCK_SHORT ? 1 : LOCK_WAIT_MS;
        const struct timespec wait = {.tv_nsec = wait_ms * 1000000L};

        rc = fsp_file_lock(shelf->lock_path, false, &shelf->lock, err);
        if (rc == FSP_EBUSY)
            (void)nanosleep(&wait, NULL);
    }
    return rc;
}

static void
drop_lock(struct sqlite_shelf *shelf)
{
    fsp_file_unlock(shelf->lock);
    shelf->lock = -1;
}

static void
shelf_close(void *ctx)
{
    struct sqlite_shelf *shelf = ctx;

    if (shelf == NULL)
        return;
    if (shelf->db != NULL)
        fsp_db_rollback(shelf->db);
    fsp_db_close(shelf->db);
    drop_lock(shelf);
    free(shelf->path);
    free(shelf->lock_path);
    free(shelf->wal_path);
    free(shelf);
}

static enum fsp_rc
shelf_open(const char *store, enum fsp_shelf_access access, void **ctx, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    struct sqlite_shelf *shelf = calloc(1, sizeof(*shelf));
    const char *path = NULL;

    *ctx = NULL;
    if (shelf != NULL) {
        shelf->lock = -1;
        shelf->path = fsp_file_join(store, SHELF_FILE);
        path = shelf->path;
        shelf->lock_path = fsp_file_join(store, LOCK_FILE);
        shelf->wal_path = fsp_file_join(store, SHELF_WAL);
    }
    if (shelf == NULL || path == NULL || shelf->lock_path == NULL || shelf->wal_path == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    if (access == FSP_SHELF_CREATE && fsp_file_exists(path)) {
        rc = fsp_err_set(err, FSP_EINVAL, "%s: there is a store already", store);
        goto out;
    }
    if (access != FSP_SHELF_CREATE && !fsp_file_exists(path)) {
        rc = fsp_err_set(err, FSP_ENOTFOUND,
                "%s: no office store here; make one with farspool-office init", store);
        goto out;
    }
    if (access != FSP_SHELF_READ) { /* opening may migrate: that is writing */
        rc = take_lock(shelf, err);
        if (rc != FSP_OK)
            goto out;
    }
    rc = fsp_db_open(path, access == FSP_SHELF_READ ? FSP_DB_READ : FSP_DB_OFFICE,
            access == FSP_SHELF_CREATE, &fsp_shelf_schema, &shelf->db, err);
    drop_lock(shelf);
    if (rc == FSP_OK) /* moments to come back to need no temporary file */
        rc = fsp_db_run(shelf->db, "PRAGMA temp_store=MEMORY", err);
    if (rc != FSP_OK)
        goto out;
    *ctx = shelf;
    shelf = NULL;
out:
    shelf_close(shelf);
    return rc;
}

static bool
shelf_broken(const void *ctx)
{
    const struct sqlite_shelf *shelf = ctx;

    return fsp_db_broken(shelf->db);
}

static enum fsp_rc
shelf_begin(void *ctx, bool write, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    enum fsp_rc rc;

    if (!write)
        return fsp_db_begin_read(shelf->db, err);
    rc = take_lock(shelf, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_db_begin(shelf->db, err);
    if (rc != FSP_OK)
        drop_lock(shelf);
    return rc;
}

static enum fsp_rc
shelf_commit(void *ctx, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    enum fsp_rc rc = fsp_db_commit(shelf->db, err);

    if (rc != FSP_OK)
        fsp_db_rollback(shelf->db);
    drop_lock(shelf);
    return rc;
}

static void
shelf_rollback(void *ctx)
{
    struct sqlite_shelf *shelf = ctx;

    fsp_db_rollback(shelf->db);
    drop_lock(shelf);
}

static enum fsp_rc
shelf_tidy(void *ctx, bool whole, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    enum fsp_rc rc;
    struct stat st;

    if (stat(shelf->wal_path, &st) != 0 || (!whole && st.st_size < TIDY_BYTES))
        return FSP_OK;
    rc = take_lock(shelf, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_db_checkpoint(shelf->db, err);
    drop_lock(shelf);
    return rc == FSP_EBUSY && !whole ? FSP_OK : rc; /* a reader is there: next time */
}

static enum fsp_rc
shelf_copy(void *ctx, const char *folder, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    char *path = fsp_file_join(folder, SHELF_FILE);
    enum fsp_rc rc = path == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                                  : fsp_db_copy(shelf->db, path, err);

    free(path);
    return rc;
}

static enum fsp_rc
shelf_check(void *ctx, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    enum fsp_rc rc;

    rc = fsp_db_check(shelf->db, err);
    return rc == FSP_OK ? fsp_shelf_views_check(shelf->db, err) : rc;
}

/* --- fleet, rigs, invitations, logs ---------------------------------------------------------- */

static enum fsp_rc
copy_text(const struct fsp_stmt *stmt, int column, char *out, size_t size, struct fsp_err *err)
{
    const char *text = fsp_stmt_text(stmt, column);
    size_t len = text == NULL ? size : strlen(text);

    if (len >= size)
        return fsp_err_set(err, FSP_ECORRUPT, "the store holds a name that is too long");
    memcpy(out, text, len + 1);
    return FSP_OK;
}

static enum fsp_rc
copy_bytes(
        const struct fsp_stmt *stmt, int column, uint8_t *out, size_t size, struct fsp_err *err)
{
    size_t len = 0;
    const uint8_t *bytes = fsp_stmt_blob(stmt, column, &len);

    if (bytes == NULL || len != size)
        return fsp_err_set(err, FSP_ECORRUPT, "the store holds a key of the wrong length");
    memcpy(out, bytes, size);
    return FSP_OK;
}

static enum fsp_rc
shelf_set_fleet(void *ctx, const char *fleet, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_SET_FLEET, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, fleet);
    return fsp_stmt_run(stmt, err);
}

/* Run a query for one short text; FSP_ENOTFOUND without a word when there is no row. */
static enum fsp_rc
one_name(struct sqlite_shelf *shelf, const char *sql, const char *bind, char *out,
        struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, sql, &stmt, err);

    out[0] = '\0';
    if (rc != FSP_OK)
        return rc;
    if (bind != NULL)
        fsp_stmt_bind_text(stmt, 1, bind);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "not in the store");
    if (rc == FSP_OK)
        rc = copy_text(stmt, 0, out, FSP_NAME_MAX + 1, err);
    fsp_stmt_reset(stmt);
    return rc;
}

static enum fsp_rc
shelf_fleet(void *ctx, char fleet[FSP_NAME_MAX + 1], struct fsp_err *err)
{
    return one_name(ctx, SQL_FLEET, NULL, fleet, err);
}

static enum fsp_rc
shelf_next_rig(void *ctx, const char *after, char rig[FSP_NAME_MAX + 1], struct fsp_err *err)
{
    char from[FSP_NAME_MAX + 1]; /* after and rig may be the same array */

    (void)strncpy(from, after, FSP_NAME_MAX);
    from[FSP_NAME_MAX] = '\0';
    return one_name(ctx, SQL_NEXT_RIG, from, rig, err);
}

static enum fsp_rc
shelf_invite(void *ctx, const char *rig, const uint8_t mark[FSP_MARK_LEN], int64_t issued_s,
        struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_ADD_RIG, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, rig);
    rc = fsp_stmt_run(stmt, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(shelf->db, SQL_INVITE, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_blob(stmt, 1, mark, FSP_MARK_LEN);
    fsp_stmt_bind_text(stmt, 2, rig);
    fsp_stmt_bind_int(stmt, 3, issued_s);
    return fsp_stmt_run(stmt, err);
}

static enum fsp_rc
shelf_invitation(void *ctx, const uint8_t mark[FSP_MARK_LEN], struct fsp_shelf_invitation *out,
        struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_INVITATION, &stmt, err);

    memset(out, 0, sizeof(*out));
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_blob(stmt, 1, mark, FSP_MARK_LEN);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "no such invitation");
    if (rc == FSP_OK)
        rc = copy_text(stmt, 0, out->rig, sizeof(out->rig), err);
    if (rc == FSP_OK) {
        out->issued_s = fsp_stmt_int(stmt, 1);
        out->used = !fsp_stmt_is_null(stmt, 2);
    }
    fsp_stmt_reset(stmt);
    return rc;
}

static enum fsp_rc
is_taken(struct sqlite_shelf *shelf, const struct fsp_shelf_log *log, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_TAKEN, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, log->origin);
    fsp_stmt_bind_blob(stmt, 2, log->pub, sizeof(log->pub));
    fsp_stmt_bind_blob(stmt, 3, log->mark, sizeof(log->mark));
    rc = fsp_stmt_step(stmt, &row, err);
    fsp_stmt_reset(stmt);
    if (rc == FSP_OK && row)
        rc = fsp_err_set(err, FSP_EINVAL, "this invitation, log or key is enrolled already");
    return rc;
}

static enum fsp_rc
shelf_enrol(void *ctx, struct fsp_shelf_log *log, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_shelf_invitation invitation;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = shelf_invitation(ctx, log->mark, &invitation, err);

    if (rc == FSP_OK && strcmp(invitation.rig, log->rig) != 0)
        rc = fsp_err_set(err, FSP_EINVAL, "this invitation is for another rig");
    if (rc == FSP_OK)
        rc = is_taken(shelf, log, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(shelf->db, SQL_ENROL, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, log->rig);
    fsp_stmt_bind_text(stmt, 2, log->origin);
    fsp_stmt_bind_blob(stmt, 3, log->pub, sizeof(log->pub));
    fsp_stmt_bind_blob(stmt, 4, log->mark, sizeof(log->mark));
    fsp_stmt_bind_int(stmt, 5, log->enrolled_s);
    rc = fsp_stmt_run(stmt, err);
    if (rc == FSP_OK)
        log->id = fsp_db_last_id(shelf->db);
    return rc;
}

enum fsp_rc
fsp_shelf_read_log(struct fsp_stmt *stmt, struct fsp_shelf_log *out, struct fsp_err *err)
{
    bool row = false;
    enum fsp_rc rc = fsp_stmt_step(stmt, &row, err);

    memset(out, 0, sizeof(*out));
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "no such log");
    if (rc == FSP_OK)
        rc = copy_text(stmt, 1, out->rig, sizeof(out->rig), err);
    if (rc == FSP_OK)
        rc = copy_text(stmt, 2, out->origin, sizeof(out->origin), err);
    if (rc == FSP_OK)
        rc = copy_bytes(stmt, 3, out->pub, sizeof(out->pub), err);
    if (rc == FSP_OK)
        rc = copy_bytes(stmt, 4, out->mark, sizeof(out->mark), err);
    if (rc == FSP_OK) {
        out->id = fsp_stmt_int(stmt, 0);
        out->enrolled_s = fsp_stmt_int(stmt, 5);
        out->heard_s = fsp_stmt_int(stmt, 6);
    }
    fsp_stmt_reset(stmt);
    return rc;
}

static enum fsp_rc
shelf_find_log(void *ctx, const char *origin, struct fsp_shelf_log *out, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_FIND_LOG, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, origin);
    return fsp_shelf_read_log(stmt, out, err);
}

static enum fsp_rc
shelf_next_log(void *ctx, int64_t after, struct fsp_shelf_log *out, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_NEXT_LOG, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, after);
    return fsp_shelf_read_log(stmt, out, err);
}

/* --- entries and heads ----------------------------------------------------------------------- */

static enum fsp_rc
shelf_tip(void *ctx, int64_t log, struct fsp_range *range, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;

    return fsp_logtable_tip(shelf->db, log, range, err);
}

static enum fsp_rc
shelf_append(void *ctx, int64_t log, struct fsp_range *range,
        const struct fsp_entry_bytes *entries, size_t n, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; i < n && rc == FSP_OK; i++)
        rc = fsp_logtable_append(shelf->db, log, range, entries[i].bytes, entries[i].len, err);
    return rc == FSP_OK ? fsp_logtable_set_tip(shelf->db, log, range, err) : rc;
}

static enum fsp_rc
shelf_entry(void *ctx, int64_t log, uint64_t index, struct fsp_buf *out, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;

    fsp_buf_reset(out);
    return fsp_logtable_get(shelf->db, log, index, out, err);
}

static enum fsp_rc
shelf_scan(void *ctx, int64_t log, const uint64_t within[2], fsp_shelf_visit *visit,
        void *visit_ctx, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;

    return fsp_logtable_scan(shelf->db, log, within[0], within[1], visit, visit_ctx, err);
}

static enum fsp_rc
shelf_leaves(void *ctx, int64_t log, uint64_t size, uint8_t (**leaves)[FSP_HASH_LEN],
        struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;

    return fsp_logtable_leaves(shelf->db, log, size, leaves, err);
}

static enum fsp_rc
shelf_add_head(void *ctx, int64_t log, const struct fsp_range *range,
        const struct fsp_buf *note, int64_t cosigned_s, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_logtable_add_head(
            shelf->db, log, range, note->data, note->len, cosigned_s, err);

    if (rc == FSP_OK)
        rc = fsp_stmt_get(shelf->db, SQL_HEARD, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_int(stmt, 2, cosigned_s);
    return fsp_stmt_run(stmt, err);
}

static enum fsp_rc
shelf_head_below(void *ctx, int64_t log, uint64_t size, struct fsp_range *range,
        struct fsp_buf *note, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;

    fsp_buf_reset(note);
    return fsp_logtable_head_below(shelf->db, log, size, range, note, err);
}

static enum fsp_rc
shelf_head_covering(void *ctx, int64_t log, uint64_t index, struct fsp_range *range,
        struct fsp_buf *note, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;

    fsp_buf_reset(note);
    return fsp_logtable_head_covering(shelf->db, log, index, range, note, err);
}

static enum fsp_rc
shelf_verify(void *ctx, int64_t log, uint64_t *size, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;

    return fsp_logtable_verify(shelf->db, log, size, err);
}

/* --- forks ----------------------------------------------------------------------------------- */

static enum fsp_rc
shelf_add_fork(void *ctx, const struct fsp_shelf_fork *fork, struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_ADD_FORK, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, fork->log);
    fsp_stmt_bind_int(stmt, 2, fork->seen_s);
    fsp_stmt_bind_int(stmt, 3, (int64_t)fork->size);
    if (fork->has_differs)
        fsp_stmt_bind_int(stmt, 4, (int64_t)fork->differs);
    fsp_stmt_bind_blob(stmt, 5, fork->held, fork->held_len);
    fsp_stmt_bind_blob(stmt, 6, fork->came, fork->came_len);
    if (fork->entry != NULL)
        fsp_stmt_bind_blob(stmt, 7, fork->entry, fork->entry_len);
    return fsp_stmt_run(stmt, err);
}

static enum fsp_rc
shelf_fork_at(void *ctx, uint64_t i, struct fsp_shelf_fork *out, struct fsp_buf *store,
        struct fsp_err *err)
{
    struct sqlite_shelf *shelf = ctx;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    size_t len[3] = {0, 0, 0};
    enum fsp_rc rc = fsp_stmt_get(shelf->db, SQL_FORK_AT, &stmt, err);

    memset(out, 0, sizeof(*out));
    fsp_buf_reset(store);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, (int64_t)i);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "no more forks");
    if (rc != FSP_OK)
        goto out;
    out->log = fsp_stmt_int(stmt, 0);
    out->seen_s = fsp_stmt_int(stmt, 1);
    out->size = (uint64_t)fsp_stmt_int(stmt, 2);
    out->has_differs = !fsp_stmt_is_null(stmt, 3);
    out->differs = out->has_differs ? (uint64_t)fsp_stmt_int(stmt, 3) : 0;
    for (int column = 0; column < 3; column++) {
        const uint8_t *bytes = fsp_stmt_blob(stmt, 4 + column, &len[column]);

        fsp_buf_add(store, bytes, bytes == NULL ? 0 : len[column]);
    }
    rc = fsp_buf_check(store, "fork", err);
    if (rc != FSP_OK)
        goto out;
    out->held = (const char *)store->data;
    out->held_len = len[0];
    out->came = out->held + len[0];
    out->came_len = len[1];
    out->entry = fsp_stmt_is_null(stmt, 6) ? NULL : store->data + len[0] + len[1];
    out->entry_len = len[2];
out:
    fsp_stmt_reset(stmt);
    return rc;
}

const struct fsp_shelf_ops fsp_shelf_sqlite = {
        .version = FSP_SHELF_VERSION,
        .name = "sqlite",
        .open = shelf_open,
        .close = shelf_close,
        .broken = shelf_broken,
        .begin = shelf_begin,
        .commit = shelf_commit,
        .rollback = shelf_rollback,
        .save = fsp_shelf_save,
        .undo = fsp_shelf_undo,
        .unsave = fsp_shelf_unsave,
        .tidy = shelf_tidy,
        .copy = shelf_copy,
        .check = shelf_check,
        .set_fleet = shelf_set_fleet,
        .fleet = shelf_fleet,
        .next_rig = shelf_next_rig,
        .invite = shelf_invite,
        .invitation = shelf_invitation,
        .enrol = shelf_enrol,
        .find_log = shelf_find_log,
        .next_log = shelf_next_log,
        .next_log_of = fsp_shelf_next_log_of,
        .stamp = fsp_shelf_stamp,
        .stamps = fsp_shelf_stamps,
        .version_now = fsp_shelf_version,
        .add_renewal = fsp_shelf_add_renewal,
        .renewal = fsp_shelf_renewal,
        .continued = fsp_shelf_continued,
        .confirm_renewal = fsp_shelf_confirm_renewal,
        .add_instruction = fsp_shelf_add_instruction,
        .next_instruction = fsp_shelf_next_instruction,
        .find_instruction = fsp_shelf_find_instruction,
        .waiting_instruction = fsp_shelf_waiting_instruction,
        .add_instruction_place = fsp_shelf_add_instruction_place,
        .instruction_place = fsp_shelf_instruction_place,
        .next_instruction_place = fsp_shelf_next_instruction_place,
        .add_roster = fsp_shelf_add_roster,
        .roster = fsp_shelf_roster,
        .add_witness = fsp_shelf_add_witness,
        .next_witness = fsp_shelf_next_witness,
        .add_cosignature = fsp_shelf_add_cosignature,
        .cosignatures = fsp_shelf_cosignatures,
        .cosigned = fsp_shelf_cosigned,
        .tip = shelf_tip,
        .append = shelf_append,
        .entry = shelf_entry,
        .scan = shelf_scan,
        .leaves = shelf_leaves,
        .add_head = shelf_add_head,
        .head_below = shelf_head_below,
        .head_covering = shelf_head_covering,
        .heard = fsp_shelf_heard,
        .verify = shelf_verify,
        .add_fork = shelf_add_fork,
        .forks_of = fsp_shelf_forks_of,
        .fork_at = shelf_fork_at,
        .fold_store = fsp_shelf_fold_store,
        .keep_fold = fsp_shelf_keep_fold,
};
