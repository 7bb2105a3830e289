#include "support/test.h"

#include <sqlite3.h>
#include <stdbool.h>
#include <string.h>

#include "store/db.h"
#include "support/tempdir.h"

static const struct fsp_migration steps[] = {
        {"CREATE TABLE thing(id INTEGER PRIMARY KEY, name TEXT NOT NULL) STRICT;"},
        {"ALTER TABLE thing ADD COLUMN size INTEGER NOT NULL DEFAULT 7;"},
};
static const struct fsp_db_schema first = {0x46737054, "test store", steps, 1};
static const struct fsp_db_schema second = {0x46737054, "test store", steps, 2};
static const struct fsp_db_schema other = {0x46737055, "other store", steps, 1};

static int
setup(void **state)
{
    struct tempdir *dir = calloc(1, sizeof(*dir));

    tempdir_make(dir);
    (void)tempdir_file(dir, "a.db");
    *state = dir;
    return 0;
}

static int
teardown(void **state)
{
    struct tempdir *dir = *state;

    tempdir_remove(dir);
    free(dir);
    return 0;
}

static struct fsp_db *
open_store(struct tempdir *dir, enum fsp_db_mode mode, const struct fsp_db_schema *schema)
{
    struct fsp_db *db = NULL;
    struct fsp_err err;

    assert_ok(fsp_db_open(tempdir_file(dir, "a.db"), mode, true, schema, &db, &err), &err);
    return db;
}

static void
add_thing(struct fsp_db *db, int64_t id, const char *name)
{
    struct fsp_stmt *stmt;
    struct fsp_err err;

    assert_ok(
            fsp_stmt_get(db, "INSERT INTO thing(id, name) VALUES(?1, ?2)", &stmt, &err), &err);
    fsp_stmt_bind_int(stmt, 1, id);
    fsp_stmt_bind_text(stmt, 2, name);
    assert_ok(fsp_stmt_run(stmt, &err), &err);
}

static int64_t
count_things(struct fsp_db *db)
{
    struct fsp_stmt *stmt;
    struct fsp_err err;
    bool row;
    int64_t n;

    assert_ok(fsp_stmt_get(db, "SELECT count(*) FROM thing", &stmt, &err), &err);
    assert_ok(fsp_stmt_step(stmt, &row, &err), &err);
    assert_true(row);
    n = fsp_stmt_int(stmt, 0);
    fsp_stmt_reset(stmt);
    return n;
}

static void
committed_rows_stay_and_rolled_back_ones_do_not(void **state)
{
    struct fsp_db *db = open_store(*state, FSP_DB_RIG, &first);
    struct fsp_err err;

    assert_ok(fsp_db_begin(db, &err), &err);
    add_thing(db, 1, "kept");
    assert_ok(fsp_db_commit(db, &err), &err);
    assert_ok(fsp_db_begin(db, &err), &err);
    add_thing(db, 2, "dropped");
    fsp_db_rollback(db);
    fsp_db_rollback(db);
    fsp_db_close(db);
    db = open_store(*state, FSP_DB_RIG, &first);
    assert_int_equal(count_things(db), 1);
    assert_ok(fsp_db_check(db, &err), &err);
    fsp_db_close(db);
    fsp_db_close(NULL);
}

static void
an_older_store_is_brought_up_to_date_and_a_newer_one_refused(void **state)
{
    struct fsp_db *db = open_store(*state, FSP_DB_RIG, &first);
    struct fsp_err err;

    add_thing(db, 1, "old");
    fsp_db_close(db);
    db = open_store(*state, FSP_DB_RIG, &second);
    assert_int_equal(count_things(db), 1);
    assert_ok(fsp_db_run(db, "UPDATE thing SET size=8", &err), &err);
    fsp_db_close(db);
    assert_int_equal(
            fsp_db_open(tempdir_file(*state, "a.db"), FSP_DB_RIG, true, &first, &db, &err),
            FSP_EFORMAT);
    assert_non_null(strstr(err.text, "newer version"));
    assert_null(db);
}

static void
what_is_not_ours_is_refused(void **state)
{
    struct fsp_db *db = open_store(*state, FSP_DB_RIG, &first);
    struct fsp_err err;
    FILE *junk;

    fsp_db_close(db);
    assert_int_equal(
            fsp_db_open(tempdir_file(*state, "a.db"), FSP_DB_RIG, true, &other, &db, &err),
            FSP_EFORMAT);
    assert_non_null(strstr(err.text, "another program"));
    assert_int_equal(
            fsp_db_open(tempdir_file(*state, "none.db"), FSP_DB_RIG, false, &first, &db, &err),
            FSP_EIO);
    junk = fopen(tempdir_file(*state, "junk.db"), "w");
    assert_non_null(junk);
    for (int i = 0; i < 2000; i++)
        (void)fputs("no database ", junk);
    (void)fclose(junk);
    assert_int_equal(
            fsp_db_open(tempdir_file(*state, "junk.db"), FSP_DB_RIG, true, &first, &db, &err),
            FSP_EFORMAT);
    assert_non_null(strstr(err.text, "no database"));
}

static size_t
read_whole(const char *path, char *out, size_t size)
{
    FILE *file = fopen(path, "r");
    size_t len;

    assert_non_null(file);
    len = fread(out, 1, size, file);
    (void)fclose(file);
    assert_true(len > 0 && len < size);
    return len;
}

static void
what_is_refused_is_left_as_it_was(void **state)
{
    static const enum fsp_db_mode modes[] = {FSP_DB_RIG, FSP_DB_OFFICE, FSP_DB_READ};
    static char before[1 << 16];
    static char after[1 << 16];
    char path[400];
    struct fsp_db *db = NULL;
    struct fsp_err err;

    (void)snprintf(path, sizeof(path), "%s", tempdir_file(*state, "a.db"));
    assert_ok(fsp_db_open(path, FSP_DB_RIG, true, &second, &db, &err), &err);
    fsp_db_close(db);
    for (size_t i = 0; i < 3; i++) {
        size_t len = read_whole(path, before, sizeof(before));
        FILE *wal;

        /* other: another program's; first: an older program that meets a newer store */
        assert_int_equal(fsp_db_open(path, modes[i], true, &other, &db, &err), FSP_EFORMAT);
        assert_int_equal(fsp_db_open(path, modes[i], true, &first, &db, &err), FSP_EFORMAT);
        assert_int_equal(read_whole(path, after, sizeof(after)), len);
        assert_memory_equal(before, after, len);
        wal = fopen(tempdir_file(*state, "a.db-wal"), "r");
        assert_null(wal);
    }
}

static void
an_empty_file_is_no_store_unless_one_is_to_be_made(void **state)
{
    struct fsp_db *db = NULL;
    struct fsp_err err;
    FILE *file = fopen(tempdir_file(*state, "empty.db"), "w");

    assert_non_null(file);
    (void)fclose(file);
    assert_int_equal(fsp_db_open(tempdir_file(*state, "empty.db"), FSP_DB_OFFICE, false, &first,
                             &db, &err),
            FSP_EFORMAT);
    assert_non_null(strstr(err.text, "empty"));
    assert_ok(fsp_db_open(
                      tempdir_file(*state, "empty.db"), FSP_DB_OFFICE, true, &first, &db, &err),
            &err);
    fsp_db_close(db);
}

static void
a_migration_that_fails_leaves_the_old_store(void **state)
{
    static const struct fsp_migration bad_steps[] = {
            {"CREATE TABLE thing(id INTEGER PRIMARY KEY, name TEXT NOT NULL) STRICT;"},
            {"ALTER TABLE thing ADD COLUMN size INTEGER; INSERT INTO nowhere VALUES(1);"},
    };
    static const struct fsp_db_schema bad = {0x46737054, "test store", bad_steps, 2};
    struct fsp_db *db = open_store(*state, FSP_DB_RIG, &first);
    struct fsp_err err;

    add_thing(db, 1, "old");
    fsp_db_close(db);
    assert_int_equal(
            fsp_db_open(tempdir_file(*state, "a.db"), FSP_DB_RIG, false, &bad, &db, &err),
            FSP_EIO);
    assert_non_null(strstr(err.text, "migration step 2"));
    db = open_store(*state, FSP_DB_RIG, &first);
    assert_int_equal(count_things(db), 1);
    assert_int_not_equal(fsp_db_run(db, "SELECT size FROM thing", &err), FSP_OK);
    fsp_db_close(db);
}

static void
a_full_store_says_so_keeps_nothing_and_goes_on(void **state)
{
    struct fsp_db *db = open_store(*state, FSP_DB_RIG, &first);
    struct fsp_err err;
    char name[4000];
    enum fsp_rc rc = FSP_OK;

    memset(name, 'x', sizeof(name));
    name[sizeof(name) - 1] = '\0';
    assert_ok(fsp_db_run(db, "PRAGMA max_page_count=12", &err), &err);
    assert_ok(fsp_db_begin(db, &err), &err);
    for (int64_t i = 1; rc == FSP_OK && i < 100; i++) {
        struct fsp_stmt *stmt;

        assert_ok(fsp_stmt_get(db, "INSERT INTO thing(id, name) VALUES(?1, ?2)", &stmt, &err),
                &err);
        fsp_stmt_bind_int(stmt, 1, i);
        fsp_stmt_bind_text(stmt, 2, name);
        rc = fsp_stmt_run(stmt, &err);
    }
    assert_int_equal(rc, FSP_EIO);
    assert_non_null(strstr(err.text, "disk full"));
    fsp_db_rollback(db);
    assert_int_equal(count_things(db), 0);
    assert_false(fsp_db_broken(db));
    assert_ok(fsp_db_run(db, "PRAGMA max_page_count=1000", &err), &err);
    add_thing(db, 1, name);
    fsp_db_close(db);
}

/* What a pragma answers, as text; valid until the next call. */
static const char *
ask(struct fsp_db *db, const char *sql)
{
    static char answer[40];
    struct fsp_stmt *stmt;
    struct fsp_err err;
    bool row;

    assert_ok(fsp_stmt_get(db, sql, &stmt, &err), &err);
    assert_ok(fsp_stmt_step(stmt, &row, &err), &err);
    assert_true(row);
    (void)snprintf(answer, sizeof(answer), "%s", fsp_stmt_text(stmt, 0));
    fsp_stmt_reset(stmt);
    return answer;
}

static void
the_durability_asked_for_is_in_force(void **state)
{
    static const struct {
        enum fsp_db_mode mode;
        const char *file;
        const char *synchronous;
        const char *journal;
    } modes[] = {
            {FSP_DB_RIG, "rig.db", "3", "delete"}, {FSP_DB_OFFICE, "office.db", "2", "wal"}};

    /* A store that was left in the other mode is brought back: set at every open. */
    for (size_t i = 0; i < 4; i++) {
        struct fsp_db *db = NULL;
        struct fsp_err err;

        assert_ok(fsp_db_open(tempdir_file(*state, modes[i / 2].file), modes[i % 2].mode, true,
                          &first, &db, &err),
                &err);
        assert_string_equal(ask(db, "PRAGMA synchronous"), modes[i % 2].synchronous);
        assert_string_equal(ask(db, "PRAGMA journal_mode"), modes[i % 2].journal);
        fsp_db_close(db);
    }
}

static void
a_second_writer_is_told_that_the_store_is_busy(void **state)
{
    struct fsp_db *db = open_store(*state, FSP_DB_RIG, &first);
    sqlite3 *rival = NULL;
    struct fsp_err err;

    assert_ok(fsp_db_begin(db, &err), &err);
    add_thing(db, 1, "mine");
    assert_int_equal(sqlite3_open(tempdir_file(*state, "a.db"), &rival), SQLITE_OK);
    assert_int_equal(
            sqlite3_exec(rival, "INSERT INTO thing VALUES(2, 'theirs')", NULL, NULL, NULL),
            SQLITE_BUSY);
    assert_ok(fsp_db_commit(db, &err), &err);
    assert_int_equal(sqlite3_exec(rival, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
    assert_ok(fsp_db_run(db, "PRAGMA busy_timeout=10", &err), &err);
    assert_int_equal(fsp_db_begin(db, &err), FSP_EBUSY);
    assert_int_equal(sqlite3_close(rival), SQLITE_OK);
    fsp_db_close(db);
}

static void
a_reading_connection_cannot_write(void **state)
{
    struct fsp_db *db = open_store(*state, FSP_DB_OFFICE, &first);
    struct fsp_err err;

    add_thing(db, 1, "one");
    fsp_db_close(db);
    db = open_store(*state, FSP_DB_READ, &first);
    assert_int_equal(count_things(db), 1);
    assert_int_not_equal(fsp_db_run(db, "DELETE FROM thing", &err), FSP_OK);
    fsp_db_close(db);
}

static void
a_flipped_page_is_found_by_check(void **state)
{
    struct fsp_db *db = open_store(*state, FSP_DB_RIG, &first);
    struct fsp_err err;
    FILE *file;

    for (int64_t i = 1; i < 400; i++)
        add_thing(db, i, "a row that fills some pages of the store");
    fsp_db_close(db);
    file = fopen(tempdir_file(*state, "a.db"), "r+");
    assert_non_null(file);
    assert_int_equal(fseek(file, 2L * 4096, SEEK_SET), 0);
    for (int i = 0; i < 64; i++)
        (void)fputc(0xA5, file);
    (void)fclose(file);
    db = open_store(*state, FSP_DB_RIG, &first);
    assert_int_equal(fsp_db_check(db, &err), FSP_ECORRUPT);
    assert_int_equal(err.rc, FSP_ECORRUPT);
    fsp_db_close(db);
}

int
main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
            T(committed_rows_stay_and_rolled_back_ones_do_not),
            T(an_older_store_is_brought_up_to_date_and_a_newer_one_refused),
            T(what_is_not_ours_is_refused),
            T(what_is_refused_is_left_as_it_was),
            T(an_empty_file_is_no_store_unless_one_is_to_be_made),
            T(a_migration_that_fails_leaves_the_old_store),
            T(a_full_store_says_so_keeps_nothing_and_goes_on),
            T(the_durability_asked_for_is_in_force),
            T(a_second_writer_is_told_that_the_store_is_busy),
            T(a_reading_connection_cannot_write),
            T(a_flipped_page_is_found_by_check),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
