#include "support/test.h"

#include <sqlite3.h>
#include <stdbool.h>
#include <string.h>

#include "store/db.h"
#include "support/tempdir.h"

/*
 * A file layer over SQLite's own that counts syncs and fails one when told to. It replaces the
 * methods of a file after the layer below has opened it; below, one table serves many files.
 */
struct methods {
    const sqlite3_io_methods *below;
    sqlite3_io_methods ours;
};

static struct {
    sqlite3_vfs *below;
    sqlite3_vfs vfs;
    struct methods table[8];
    size_t tables;
    int syncs;
    int folder_syncs;
    int fail_sync; /* this many more succeed, then one fails; negative: none */
    bool fail_writes;
} layer;

static const sqlite3_io_methods *
below(const sqlite3_file *file)
{
    for (size_t i = 0; i < layer.tables; i++)
        if (file->pMethods == &layer.table[i].ours)
            return layer.table[i].below;
    abort();
}

static int
layer_sync(sqlite3_file *file, int flags)
{
    layer.syncs++;
    if (layer.fail_sync >= 0 && layer.fail_sync-- == 0)
        return SQLITE_IOERR_FSYNC;
    return below(file)->xSync(file, flags);
}

static int
layer_write(sqlite3_file *file, const void *bytes, int n, sqlite3_int64 offset)
{
    if (layer.fail_writes)
        return SQLITE_FULL;
    return below(file)->xWrite(file, bytes, n, offset);
}

static int
layer_open(
        sqlite3_vfs *vfs, sqlite3_filename name, sqlite3_file *file, int flags, int *out_flags)
{
    int rc = layer.below->xOpen(layer.below, name, file, flags, out_flags);
    size_t i = 0;

    (void)vfs;
    if (rc != SQLITE_OK || file->pMethods == NULL)
        return rc;
    while (i < layer.tables && layer.table[i].below != file->pMethods)
        i++;
    if (i == layer.tables) {
        assert_true(layer.tables < sizeof(layer.table) / sizeof(layer.table[0]));
        layer.table[i].below = file->pMethods;
        layer.table[i].ours = *file->pMethods;
        layer.table[i].ours.xSync = layer_sync;
        layer.table[i].ours.xWrite = layer_write;
        layer.tables++;
    }
    file->pMethods = &layer.table[i].ours;
    return rc;
}

static int
layer_delete(sqlite3_vfs *vfs, const char *name, int sync_folder)
{
    (void)vfs;
    if (sync_folder != 0)
        layer.folder_syncs++;
    return layer.below->xDelete(layer.below, name, sync_folder);
}

static const struct fsp_migration steps[] = {
        {"CREATE TABLE thing(id INTEGER PRIMARY KEY, name TEXT NOT NULL) STRICT;"},
};
static const struct fsp_db_schema schema = {0x46737057, "test store", steps, 1};

static int
setup(void **state)
{
    struct tempdir *dir = calloc(1, sizeof(*dir));

    tempdir_make(dir);
    layer.fail_sync = -1;
    layer.fail_writes = false;
    *state = dir;
    return 0;
}

static int
teardown(void **state)
{
    struct tempdir *dir = *state;

    layer.fail_sync = -1;
    layer.fail_writes = false;
    tempdir_remove(dir);
    free(dir);
    return 0;
}

static struct fsp_db *
open_store(struct tempdir *dir, enum fsp_db_mode mode)
{
    struct fsp_db *db = NULL;
    struct fsp_err err;

    assert_ok(fsp_db_open(tempdir_file(dir, "a.db"), mode, true, &schema, &db, &err), &err);
    return db;
}

/* One row in one transaction; the result is that of the first step that fails. */
static enum fsp_rc
add(struct fsp_db *db, int64_t id, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_db_begin(db, err);

    if (rc == FSP_OK)
        rc = fsp_stmt_get(db, "INSERT INTO thing(id, name) VALUES(?1, 'x')", &stmt, err);
    if (rc == FSP_OK) {
        fsp_stmt_bind_int(stmt, 1, id);
        rc = fsp_stmt_run(stmt, err);
    }
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
    return rc;
}

static int64_t
count(struct fsp_db *db)
{
    struct fsp_stmt *stmt;
    struct fsp_err err;
    bool row;
    int64_t n;

    assert_ok(fsp_stmt_get(db, "SELECT count(*) FROM thing", &stmt, &err), &err);
    assert_ok(fsp_stmt_step(stmt, &row, &err), &err);
    n = fsp_stmt_int(stmt, 0);
    fsp_stmt_reset(stmt);
    return n;
}

/* Source: design.md's choice of DELETE with EXTRA: the journal, the database, and the folder after
 * the journal is gone. */
static void
a_commit_on_the_rig_syncs_journal_database_and_folder(void **state)
{
    struct fsp_db *db = open_store(*state, FSP_DB_RIG);
    struct fsp_err err;

    layer.syncs = 0;
    layer.folder_syncs = 0;
    assert_ok(add(db, 1, &err), &err);
    assert_true(layer.syncs >= 2);
    assert_true(layer.folder_syncs >= 1);
    fsp_db_close(db);
}

static void
every_commit_in_the_office_syncs_the_log(void **state)
{
    struct fsp_db *db = open_store(*state, FSP_DB_OFFICE);
    struct fsp_err err;

    for (int64_t i = 1; i <= 5; i++) {
        layer.syncs = 0;
        assert_ok(add(db, i, &err), &err);
        assert_true(layer.syncs >= 1);
    }
    fsp_db_close(db);
}

/* A store with one row, a second one whose n-th sync fails: true when that was noticed. */
static bool
fail_one_sync(struct tempdir *dir, enum fsp_db_mode mode, int n)
{
    struct fsp_db *db = open_store(dir, mode);
    struct fsp_err err;
    enum fsp_rc rc;

    assert_ok(add(db, 1, &err), &err);
    layer.fail_sync = n;
    rc = add(db, 2, &err);
    layer.fail_sync = -1;
    if (rc != FSP_OK) {
        assert_int_equal(rc, FSP_EIO);
        assert_non_null(strstr(err.text, "disk failed"));
        assert_true(fsp_db_broken(db));
        assert_int_equal(add(db, 3, &err), FSP_EIO);
        assert_non_null(strstr(err.text, "open it again"));
        assert_int_equal(fsp_db_run(db, "DELETE FROM thing", &err), FSP_EIO);
    }
    fsp_db_close(db);
    return rc != FSP_OK;
}

static void
after_any_failed_sync_nothing_more_is_done_until_reopened(void **state)
{
    static const enum fsp_db_mode modes[] = {FSP_DB_RIG, FSP_DB_OFFICE};
    struct tempdir *dir = *state;
    int failed[2] = {0, 0};

    for (int i = 0; i < 8; i++) {
        struct fsp_err err;
        struct fsp_db *db;

        tempdir_remove(dir);
        tempdir_make(dir);
        failed[i % 2] += fail_one_sync(dir, modes[i % 2], i / 2) ? 1 : 0;
        db = open_store(dir, modes[i % 2]);
        assert_true(count(db) >= 1);
        assert_ok(fsp_db_check(db, &err), &err);
        assert_ok(add(db, 4, &err), &err);
        fsp_db_close(db);
    }
    assert_true(failed[0] >= 2 && failed[1] >= 1);
}

static void
a_commit_on_a_full_disk_keeps_nothing_and_says_what_to_do(void **state)
{
    static const enum fsp_db_mode modes[] = {FSP_DB_RIG, FSP_DB_OFFICE};

    for (size_t m = 0; m < 2; m++) {
        struct tempdir *dir = *state;
        struct fsp_err err;
        struct fsp_db *db;

        tempdir_remove(dir);
        tempdir_make(dir);
        db = open_store(dir, modes[m]);
        assert_ok(add(db, 1, &err), &err);
        layer.fail_writes = true;
        assert_int_equal(add(db, 2, &err), FSP_EIO);
        layer.fail_writes = false;
        assert_non_null(strstr(err.text, "disk full: nothing was kept"));
        fsp_db_close(db);
        db = open_store(dir, modes[m]);
        assert_int_equal(count(db), 1);
        assert_ok(add(db, 2, &err), &err);
        fsp_db_close(db);
    }
}

int
main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
            T(a_commit_on_the_rig_syncs_journal_database_and_folder),
            T(every_commit_in_the_office_syncs_the_log),
            T(after_any_failed_sync_nothing_more_is_done_until_reopened),
            T(a_commit_on_a_full_disk_keeps_nothing_and_says_what_to_do),
    };

    layer.below = sqlite3_vfs_find(NULL);
    if (layer.below == NULL)
        return 1;
    layer.vfs = *layer.below;
    layer.vfs.zName = "failing";
    layer.vfs.pNext = NULL;
    layer.vfs.xOpen = layer_open;
    layer.vfs.xDelete = layer_delete;
    if (sqlite3_vfs_register(&layer.vfs, 1) != SQLITE_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
