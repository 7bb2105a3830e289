#include "store/logtable.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "proof/note.h"

const char fsp_logtable_sql[] =
        "CREATE TABLE entry(log INTEGER NOT NULL, idx INTEGER NOT NULL, bytes BLOB NOT NULL,"
        " PRIMARY KEY(log, idx)) STRICT, WITHOUT ROWID;"
        "CREATE TRIGGER entry_never_updated BEFORE UPDATE ON entry"
        " BEGIN SELECT RAISE(ABORT, 'entries are append-only'); END;"
        "CREATE TRIGGER entry_never_deleted BEFORE DELETE ON entry"
        " BEGIN SELECT RAISE(ABORT, 'entries are append-only'); END;"
        "CREATE TABLE tip(log INTEGER PRIMARY KEY, size INTEGER NOT NULL, range BLOB NOT NULL)"
        " STRICT;"
        "CREATE TABLE head(log INTEGER NOT NULL, size INTEGER NOT NULL, range BLOB NOT NULL,"
        " note BLOB NOT NULL, time_s INTEGER NOT NULL, PRIMARY KEY(log, size))"
        " STRICT, WITHOUT ROWID;"
        "CREATE TRIGGER head_never_deleted BEFORE DELETE ON head"
        " BEGIN SELECT RAISE(ABORT, 'heads are kept'); END;";

static int64_t
as_key(uint64_t size)
{
    return size > INT64_MAX ? INT64_MAX : (int64_t)size;
}

static enum fsp_rc
read_range(const struct fsp_stmt *stmt, int column, struct fsp_range *range, const char *what,
        struct fsp_err *err)
{
    size_t len = 0;
    const uint8_t *bytes = fsp_stmt_blob(stmt, column, &len);

    if (bytes == NULL || fsp_range_read(range, bytes, len) != FSP_OK)
        return fsp_err_set(
                err, FSP_ECORRUPT, "the stored compact range of %s cannot be read", what);
    return FSP_OK;
}

enum fsp_rc
fsp_logtable_tip(struct fsp_db *db, int64_t log, struct fsp_range *range, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc;

    fsp_range_init(range);
    rc = fsp_stmt_get(db, "SELECT range, size FROM tip WHERE log=?1", &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row) {
        rc = read_range(stmt, 0, range, "the tip", err);
        if (rc == FSP_OK && (int64_t)range->size != fsp_stmt_int(stmt, 1))
            rc = fsp_err_set(err, FSP_ECORRUPT, "the tip's size and compact range differ");
    }
    fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_logtable_append(struct fsp_db *db, int64_t log, struct fsp_range *range, const void *bytes,
        size_t len, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;

    if (len == 0 || len > FSP_ENTRY_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "an entry has %zu bytes; 1 to %zu are allowed", len,
                FSP_ENTRY_MAX);
    rc = fsp_stmt_get(db, "INSERT INTO entry(log, idx, bytes) VALUES(?1, ?2, ?3)", &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_int(stmt, 2, as_key(range->size));
    fsp_stmt_bind_blob(stmt, 3, bytes, len);
    rc = fsp_stmt_run(stmt, err);
    if (rc == FSP_OK)
        fsp_range_append(range, bytes, len);
    return rc;
}

enum fsp_rc
fsp_logtable_set_tip(
        struct fsp_db *db, int64_t log, const struct fsp_range *range, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    struct fsp_buf buf;
    enum fsp_rc rc;

    fsp_buf_init(&buf, FSP_RANGE_MAX_LEN);
    fsp_range_write(range, &buf);
    rc = fsp_buf_check(&buf, "a compact range", err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(db,
                "INSERT INTO tip(log, size, range) VALUES(?1, ?2, ?3)"
                " ON CONFLICT(log) DO UPDATE SET size=excluded.size, range=excluded.range",
                &stmt, err);
    if (rc == FSP_OK) {
        fsp_stmt_bind_int(stmt, 1, log);
        fsp_stmt_bind_int(stmt, 2, as_key(range->size));
        fsp_stmt_bind_blob(stmt, 3, buf.data, buf.len);
        rc = fsp_stmt_run(stmt, err);
    }
    fsp_buf_fini(&buf);
    return rc;
}

enum fsp_rc
fsp_logtable_get(struct fsp_db *db, int64_t log, uint64_t index, struct fsp_buf *out,
        struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc =
            fsp_stmt_get(db, "SELECT bytes FROM entry WHERE log=?1 AND idx=?2", &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_int(stmt, 2, as_key(index));
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(
                err, FSP_ENOTFOUND, "there is no entry %llu", (unsigned long long)index);
    if (rc == FSP_OK) {
        size_t len = 0;
        const uint8_t *bytes = fsp_stmt_blob(stmt, 0, &len);

        fsp_buf_add(out, bytes, len);
        rc = fsp_buf_check(out, "an entry", err);
    }
    fsp_stmt_reset(stmt);
    return rc;
}

/* Seven parameters: a range and a callback with its context. */
enum fsp_rc /* NOLINTNEXTLINE(readability-function-size) */
fsp_logtable_scan(struct fsp_db *db, int64_t log, uint64_t from, uint64_t to,
        enum fsp_rc (*visit)(void *ctx, uint64_t index, const uint8_t *bytes, size_t len,
                struct fsp_err *err),
        void *ctx, struct fsp_err *err)
{
    static const char sql[] = "SELECT idx, bytes FROM entry WHERE log=?1 AND idx>=?2 AND idx<?3"
                              " ORDER BY idx";
    struct fsp_stmt *stmt = NULL;
    uint64_t next = from;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(db, sql, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_int(stmt, 2, as_key(from));
    fsp_stmt_bind_int(stmt, 3, as_key(to));
    rc = fsp_stmt_step(stmt, &row, err);
    while (rc == FSP_OK && row) {
        size_t len = 0;
        const uint8_t *bytes = fsp_stmt_blob(stmt, 1, &len);

        if (fsp_stmt_int(stmt, 0) != as_key(next)) {
            rc = fsp_err_set(
                    err, FSP_ECORRUPT, "entry %llu is missing", (unsigned long long)next);
            break;
        }
        rc = visit(ctx, next, bytes, len, err);
        if (rc != FSP_OK)
            break;
        next++;
        rc = fsp_stmt_step(stmt, &row, err);
    }
    fsp_stmt_reset(stmt);
    if (rc == FSP_OK && next < to)
        rc = fsp_err_set(err, FSP_ECORRUPT, "entry %llu is missing", (unsigned long long)next);
    return rc;
}

static enum fsp_rc
keep_leaf(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    uint8_t(**next)[FSP_HASH_LEN] = ctx;

    (void)index;
    (void)err;
    fsp_leaf_hash(bytes, len, **next);
    (*next)++;
    return FSP_OK;
}

enum fsp_rc
fsp_logtable_leaves(struct fsp_db *db, int64_t log, uint64_t size,
        uint8_t (**leaves)[FSP_HASH_LEN], struct fsp_err *err)
{
    uint8_t(*all)[FSP_HASH_LEN] = NULL;
    uint8_t(*next)[FSP_HASH_LEN];
    enum fsp_rc rc;

    *leaves = NULL;
    if (size < SIZE_MAX / FSP_HASH_LEN)
        all = fsp_mem_array((size_t)size, FSP_HASH_LEN);
    if (all == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory for %llu leaf hashes",
                (unsigned long long)size);
    next = all;
    rc = fsp_logtable_scan(db, log, 0, size, keep_leaf, &next, err);
    if (rc == FSP_OK)
        *leaves = all;
    else
        free(all);
    return rc;
}

/* Length of the note kept at this size, 0 when there is none. Two heads of one size must stand for
 * the same entries. */
static enum fsp_rc
look_at_kept(struct fsp_db *db, int64_t log, uint64_t size, const struct fsp_buf *range,
        size_t *kept_len, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(
            db, "SELECT length(note), range FROM head WHERE log=?1 AND size=?2", &stmt, err);

    *kept_len = 0;
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_int(stmt, 2, as_key(size));
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row) {
        size_t len = 0;
        const uint8_t *kept = fsp_stmt_blob(stmt, 1, &len);

        *kept_len = (size_t)fsp_stmt_int(stmt, 0);
        if (len != range->len || (len > 0 && memcmp(kept, range->data, len) != 0))
            rc = fsp_err_set(err, FSP_ECORRUPT,
                    "another head of size %llu is kept already: the entries were altered",
                    (unsigned long long)size);
    }
    fsp_stmt_reset(stmt);
    return rc;
}

/* Seven parameters: a head is its range, its note and its time. */
enum fsp_rc /* NOLINTNEXTLINE(readability-function-size) */
fsp_logtable_add_head(struct fsp_db *db, int64_t log, const struct fsp_range *range,
        const void *note, size_t len, int64_t time_s, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    struct fsp_buf buf;
    size_t kept = 0;
    enum fsp_rc rc;

    fsp_buf_init(&buf, FSP_RANGE_MAX_LEN);
    fsp_range_write(range, &buf);
    rc = fsp_buf_check(&buf, "a compact range", err);
    if (rc == FSP_OK)
        rc = look_at_kept(db, log, range->size, &buf, &kept, err);
    if (rc != FSP_OK || kept >= len)
        goto out;
    rc = fsp_stmt_get(db,
            "INSERT INTO head(log, size, range, note, time_s) VALUES(?1, ?2, ?3, ?4, ?5)"
            " ON CONFLICT(log, size) DO UPDATE SET note=excluded.note, time_s=excluded.time_s",
            &stmt, err);
    if (rc != FSP_OK)
        goto out;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_int(stmt, 2, as_key(range->size));
    fsp_stmt_bind_blob(stmt, 3, buf.data, buf.len);
    fsp_stmt_bind_blob(stmt, 4, note, len);
    fsp_stmt_bind_int(stmt, 5, time_s);
    rc = fsp_stmt_run(stmt, err);
out:
    fsp_buf_fini(&buf);
    return rc;
}

static enum fsp_rc
find_head(struct fsp_db *db, const char *sql, int64_t log, uint64_t key, struct fsp_stmt **stmt,
        struct fsp_err *err)
{
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(db, sql, stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(*stmt, 1, log);
    fsp_stmt_bind_int(*stmt, 2, as_key(key));
    rc = fsp_stmt_step(*stmt, &row, err);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "no signed head there yet");
    return rc;
}

/* Copy the row that find_head() found, if it did, and let the statement go. */
static enum fsp_rc
copy_head(enum fsp_rc found, struct fsp_stmt *stmt, struct fsp_range *range,
        struct fsp_buf *note, struct fsp_err *err)
{
    enum fsp_rc rc = found;

    fsp_range_init(range);
    if (rc == FSP_OK)
        rc = read_range(stmt, 0, range, "a head", err);
    if (rc == FSP_OK) {
        size_t len = 0;
        const uint8_t *bytes = fsp_stmt_blob(stmt, 1, &len);

        fsp_buf_add(note, bytes, len);
        rc = fsp_buf_check(note, "a head", err);
    }
    if (stmt != NULL)
        fsp_stmt_reset(stmt);
    return rc;
}

enum fsp_rc
fsp_logtable_head_below(struct fsp_db *db, int64_t log, uint64_t size, struct fsp_range *range,
        struct fsp_buf *note, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = find_head(db,
            "SELECT range, note FROM head WHERE log=?1 AND size<=?2 ORDER BY size DESC LIMIT 1",
            log, size, &stmt, err);

    return copy_head(rc, stmt, range, note, err);
}

enum fsp_rc
fsp_logtable_head_covering(struct fsp_db *db, int64_t log, uint64_t index,
        struct fsp_range *range, struct fsp_buf *note, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = find_head(db,
            "SELECT range, note FROM head WHERE log=?1 AND size>?2 ORDER BY size LIMIT 1", log,
            index, &stmt, err);

    return copy_head(rc, stmt, range, note, err);
}

/* Walks heads and entries side by side: `heads` stands at the head that comes next. */
struct verify {
    struct fsp_db *db;
    int64_t log;
    struct fsp_range range;
    struct fsp_stmt *heads;
    bool more;
};

static enum fsp_rc
next_head(struct verify *verify, struct fsp_err *err)
{
    return fsp_stmt_step(verify->heads, &verify->more, err);
}

static enum fsp_rc
check_head(struct verify *verify, struct fsp_err *err)
{
    uint8_t root[FSP_HASH_LEN];
    uint8_t stored_root[FSP_HASH_LEN];
    struct fsp_checkpoint head;
    struct fsp_range stored;
    struct fsp_note note;
    size_t len = 0;
    const uint8_t *bytes;
    enum fsp_rc rc;

    while (verify->more && fsp_stmt_int(verify->heads, 0) == as_key(verify->range.size)) {
        fsp_range_root(&verify->range, root);
        rc = read_range(verify->heads, 1, &stored, "a head", err);
        if (rc != FSP_OK)
            return rc;
        fsp_range_root(&stored, stored_root);
        bytes = fsp_stmt_blob(verify->heads, 2, &len);
        rc = fsp_note_parse(&note, bytes, len, err);
        if (rc == FSP_OK)
            rc = fsp_checkpoint_parse(&head, note.text, note.text_len, err);
        if (rc != FSP_OK || memcmp(root, stored_root, sizeof(root)) != 0 ||
                head.size != verify->range.size || memcmp(root, head.root, sizeof(root)) != 0)
            return fsp_err_set(err, FSP_ECORRUPT,
                    "the signed head of size %llu does not fit the entries: they were altered",
                    (unsigned long long)verify->range.size);
        rc = next_head(verify, err);
        if (rc != FSP_OK)
            return rc;
    }
    return FSP_OK;
}

static enum fsp_rc
grow(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct verify *verify = ctx;

    (void)index;
    fsp_range_append(&verify->range, bytes, len);
    return check_head(verify, err);
}

static enum fsp_rc
count_entries(struct fsp_db *db, int64_t log, uint64_t *size, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(db, "SELECT count(*) FROM entry WHERE log=?1", &stmt, err);

    *size = 0;
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row)
        *size = (uint64_t)fsp_stmt_int(stmt, 0);
    fsp_stmt_reset(stmt);
    return rc;
}

static enum fsp_rc
verify_all(struct fsp_db *db, int64_t log, uint64_t *size, struct fsp_err *err)
{
    uint8_t root[FSP_HASH_LEN];
    uint8_t tip_root[FSP_HASH_LEN];
    struct fsp_range tip;
    struct verify verify = {.db = db, .log = log};
    enum fsp_rc rc = count_entries(db, log, size, err);

    fsp_range_init(&verify.range);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(db, "SELECT size, range, note FROM head WHERE log=?1 ORDER BY size",
                &verify.heads, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(verify.heads, 1, log);
    rc = next_head(&verify, err);
    if (rc == FSP_OK)
        rc = check_head(&verify, err); /* a head over the empty log */
    if (rc == FSP_OK)
        rc = fsp_logtable_scan(db, log, 0, *size, grow, &verify, err);
    if (rc == FSP_OK && verify.more)
        rc = fsp_err_set(err, FSP_ECORRUPT,
                "a head of size %lld is signed, but there are only %llu entries",
                (long long)fsp_stmt_int(verify.heads, 0), (unsigned long long)*size);
    fsp_stmt_reset(verify.heads);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_logtable_tip(db, log, &tip, err);
    if (rc != FSP_OK)
        return rc;
    fsp_range_root(&verify.range, root);
    fsp_range_root(&tip, tip_root);
    if (tip.size != verify.range.size || memcmp(root, tip_root, sizeof(root)) != 0)
        return fsp_err_set(err, FSP_ECORRUPT,
                "the kept compact range does not fit the entries: they were altered");
    return FSP_OK;
}

/* A savepoint is a read transaction of its own, or part of the one that is open: entries, heads and
 * tip are of one moment even while another process appends. */
enum fsp_rc
fsp_logtable_verify(struct fsp_db *db, int64_t log, uint64_t *size, struct fsp_err *err)
{
    struct fsp_err release_err = {.rc = FSP_OK};
    enum fsp_rc released;
    enum fsp_rc rc = fsp_db_run(db, "SAVEPOINT verify", err);

    *size = 0;
    if (rc != FSP_OK)
        return rc;
    rc = verify_all(db, log, size, err);
    released = fsp_db_run(db, "RELEASE verify", &release_err);
    if (rc == FSP_OK && released != FSP_OK)
        rc = fsp_err_set(err, released, "%s", release_err.text);
    return rc;
}
