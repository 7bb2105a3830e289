#include "support/test.h"

#include <sqlite3.h>
#include <string.h>

#include "proof/note.h"
#include "store/logtable.h"
#include "support/tempdir.h"

#define N 300

static const struct fsp_migration steps[] = {{fsp_logtable_sql}};
static const struct fsp_db_schema schema = {0x46737056, "test log", steps, 1};

struct fixture {
    struct tempdir dir;
    struct fsp_db *db;
    struct fsp_skey *key;
};

static void
reopen(struct fixture *f)
{
    struct fsp_err err;

    fsp_db_close(f->db);
    assert_ok(fsp_db_open(tempdir_file(&f->dir, "log.db"), FSP_DB_OFFICE, true, &schema, &f->db,
                      &err),
            &err);
}

static int
setup(void **state)
{
    struct fixture *f = calloc(1, sizeof(*f));
    struct fsp_err err;

    assert_ok(fsp_proof_init(&err), &err);
    tempdir_make(&f->dir);
    reopen(f);
    assert_ok(fsp_skey_new(&f->key, "basin/heron/0001", FSP_KEY_NOTE, fsp_env_system(), &err),
            &err);
    *state = f;
    return 0;
}

static int
teardown(void **state)
{
    struct fixture *f = *state;

    fsp_db_close(f->db);
    fsp_skey_free(f->key);
    tempdir_remove(&f->dir);
    free(f);
    return 0;
}

static size_t
entry_text(char *out, size_t size, uint64_t i)
{
    return (size_t)snprintf(out, size, "{\"entry\":%llu}", (unsigned long long)i);
}

/* Append entries from..to-1 in one transaction and keep a signed head over them. */
static void
fill(struct fixture *f, int64_t log, uint64_t from, uint64_t to)
{
    struct fsp_checkpoint head = {.origin = "basin/heron/0001"};
    struct fsp_range range;
    struct fsp_buf text;
    struct fsp_buf note;
    struct fsp_err err;
    char entry[64];

    assert_ok(fsp_db_begin(f->db, &err), &err);
    assert_ok(fsp_logtable_tip(f->db, log, &range, &err), &err);
    assert_true(range.size == from);
    for (uint64_t i = from; i < to; i++) {
        size_t len = entry_text(entry, sizeof(entry), i);

        assert_ok(fsp_logtable_append(f->db, log, &range, entry, len, &err), &err);
    }
    assert_ok(fsp_logtable_set_tip(f->db, log, &range, &err), &err);
    fsp_buf_init(&text, 1000);
    fsp_buf_init(&note, 1000);
    head.size = range.size;
    fsp_range_root(&range, head.root);
    fsp_checkpoint_write(&head, &text);
    assert_ok(fsp_note_sign(&note, text.data, text.len, f->key, &err), &err);
    assert_ok(fsp_logtable_add_head(f->db, log, &range, note.data, note.len, 1000, &err), &err);
    assert_ok(fsp_db_commit(f->db, &err), &err);
    fsp_buf_fini(&text);
    fsp_buf_fini(&note);
}

static void
entries_come_back_as_they_were_and_the_log_verifies(void **state)
{
    struct fixture *f = *state;
    struct fsp_buf got;
    struct fsp_err err;
    uint64_t size;
    char want[64];

    fill(f, 1, 0, 7);
    fill(f, 1, 7, N);
    fill(f, 2, 0, 5); /* another log beside it */
    reopen(f);
    fsp_buf_init(&got, FSP_ENTRY_MAX);
    for (uint64_t i = 0; i < N; i++) {
        size_t len = entry_text(want, sizeof(want), i);

        fsp_buf_reset(&got);
        assert_ok(fsp_logtable_get(f->db, 1, i, &got, &err), &err);
        assert_int_equal(got.len, len);
        assert_memory_equal(got.data, want, len);
    }
    assert_int_equal(fsp_logtable_get(f->db, 1, N, &got, &err), FSP_ENOTFOUND);
    fsp_buf_fini(&got);
    assert_ok(fsp_logtable_verify(f->db, 1, &size, &err), &err);
    assert_int_equal(size, N);
    assert_ok(fsp_logtable_verify(f->db, 2, &size, &err), &err);
    assert_int_equal(size, 5);
    assert_ok(fsp_logtable_verify(f->db, 3, &size, &err), &err);
    assert_int_equal(size, 0);
}

static void
leaves_and_range_give_the_same_root(void **state)
{
    struct fixture *f = *state;
    uint8_t(*leaves)[FSP_HASH_LEN] = NULL;
    uint8_t root[FSP_HASH_LEN];
    uint8_t tip_root[FSP_HASH_LEN];
    struct fsp_range range;
    struct fsp_range tip;
    struct fsp_err err;

    fill(f, 1, 0, N);
    assert_ok(fsp_logtable_leaves(f->db, 1, N, &leaves, &err), &err);
    fsp_range_init(&range);
    for (size_t i = 0; i < N; i++)
        fsp_range_append_leaf(&range, leaves[i]);
    free(leaves);
    fsp_range_root(&range, root);
    assert_ok(fsp_logtable_tip(f->db, 1, &tip, &err), &err);
    fsp_range_root(&tip, tip_root);
    assert_memory_equal(root, tip_root, sizeof(root));
    assert_int_equal(fsp_logtable_leaves(f->db, 1, N + 1, &leaves, &err), FSP_ECORRUPT);
    assert_null(leaves);
}

static void
entries_cannot_be_changed_or_deleted(void **state)
{
    struct fixture *f = *state;
    struct fsp_err err;

    fill(f, 1, 0, 3);
    assert_int_not_equal(fsp_db_run(f->db, "UPDATE entry SET bytes=x'00'", &err), FSP_OK);
    assert_non_null(strstr(err.text, "append-only"));
    assert_int_not_equal(fsp_db_run(f->db, "DELETE FROM entry", &err), FSP_OK);
    assert_int_not_equal(fsp_db_run(f->db, "DELETE FROM head", &err), FSP_OK);
    assert_int_not_equal(
            fsp_db_run(f->db, "INSERT OR REPLACE INTO entry VALUES(1, 1, x'00')", &err),
            FSP_OK);
    assert_non_null(strstr(err.text, "append-only"));
}

/* Two heads of one size over different entries: a fork inside one store. */
static void
a_second_head_of_a_size_must_stand_for_the_same_entries(void **state)
{
    struct fixture *f = *state;
    struct fsp_range range;
    struct fsp_buf note;
    struct fsp_err err;
    size_t len;

    fill(f, 1, 0, 1);
    fsp_buf_init(&note, 2000);
    assert_ok(fsp_logtable_head_below(f->db, 1, 1, &range, &note, &err), &err);
    len = note.len;
    fsp_buf_add_text(&note, "\xE2\x80\x94 basin/office AAAAAAA=\n");
    fsp_range_init(&range);
    fsp_range_append(&range, (const uint8_t *)"other", 5);
    assert_int_equal(fsp_logtable_add_head(f->db, 1, &range, note.data, note.len, 1, &err),
            FSP_ECORRUPT);
    assert_int_equal(
            fsp_logtable_add_head(f->db, 1, &range, note.data, len, 1, &err), FSP_ECORRUPT);
    assert_non_null(strstr(err.text, "size 1"));
    fsp_buf_fini(&note);
}

/* The handle behind the store that was opened last. */
static sqlite3 *newest_connection;

static int
note_connection(sqlite3 *db, const char **message, const struct sqlite3_api_routines *api)
{
    (void)message;
    (void)api;
    newest_connection = db;
    return SQLITE_OK;
}

struct beside {
    struct fixture *writer;
    uint64_t at;
    int wrote;
};

/* SQLite calls this now and then inside a long read: somebody else appends meanwhile. */
static int
append_meanwhile(void *ctx)
{
    struct beside *beside = ctx;

    if (beside->wrote++ == 0)
        fill(beside->writer, 1, beside->at, beside->at + 50);
    return 0;
}

static void
a_log_that_grows_while_it_is_verified_is_no_tampering(void **state)
{
    struct fixture *f = *state;
    struct fixture writer = {.dir = f->dir, .key = f->key};
    struct beside beside = {&writer, 2000, 0};
    sqlite3 *verifier;
    struct fsp_err err;
    uint64_t size;

    reopen(f);
    verifier = newest_connection;
    fill(f, 1, 0, 2000);
    reopen(&writer);
    for (int within = 0; within < 2; within++) {
        beside.wrote = 0;
        beside.at = 2000 + 50 * (uint64_t)within;
        if (within == 1)
            assert_ok(fsp_db_begin_read(f->db, &err), &err);
        sqlite3_progress_handler(verifier, 500, append_meanwhile, &beside);
        assert_ok(fsp_logtable_verify(f->db, 1, &size, &err), &err);
        sqlite3_progress_handler(verifier, 0, NULL, NULL);
        fsp_db_rollback(f->db);
        assert_true(beside.wrote > 0);
        assert_int_equal(size, beside.at);
    }
    fsp_db_close(writer.db);
}

/* Change the file behind the program's back, as a person with a database tool would. */
static void
tamper(struct fixture *f, const char *sql)
{
    sqlite3 *raw = NULL;

    fsp_db_close(f->db);
    f->db = NULL;
    assert_int_equal(sqlite3_open(tempdir_file(&f->dir, "log.db"), &raw), SQLITE_OK);
    assert_int_equal(
            sqlite3_exec(raw,
                    "DROP TRIGGER entry_never_updated; DROP TRIGGER entry_never_deleted;"
                    "DROP TRIGGER head_never_deleted;",
                    NULL, NULL, NULL),
            SQLITE_OK);
    assert_int_equal(sqlite3_exec(raw, sql, NULL, NULL, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_close(raw), SQLITE_OK);
    reopen(f);
}

static void
every_way_of_tampering_is_found(void **state)
{
    static const char swapped[] = "UPDATE entry SET idx=1000 WHERE log=1 AND idx=5;"
                                  "UPDATE entry SET idx=5 WHERE log=1 AND idx=6;"
                                  "UPDATE entry SET idx=6 WHERE log=1 AND idx=1000";
    static const char another_note[] =
            "UPDATE head SET note=(SELECT note FROM head WHERE log=1 AND size=40)"
            " WHERE log=1 AND size=20";
    static const char *const ways[] = {
            "UPDATE entry SET bytes=x'7b7d' WHERE log=1 AND idx=3",
            "DELETE FROM entry WHERE log=1 AND idx=0",
            "DELETE FROM entry WHERE log=1 AND idx=39",
            "DELETE FROM entry WHERE log=1 AND idx>=30",
            "INSERT INTO entry VALUES(1, 40, x'7b7d')",
            "UPDATE entry SET idx=40 WHERE log=1 AND idx=5",
            swapped,
            "UPDATE tip SET size=39 WHERE log=1",
            "UPDATE tip SET range=zeroblob(length(range)) WHERE log=1",
            "UPDATE head SET range=zeroblob(length(range)) WHERE log=1 AND size=20",
            "UPDATE head SET size=21 WHERE log=1 AND size=20",
            another_note,
            "UPDATE head SET note=x'00' WHERE log=1 AND size=40",
    };

    (void)state;
    for (size_t i = 0; i < sizeof(ways) / sizeof(ways[0]); i++) {
        void *own = NULL;
        struct fixture *f;
        struct fsp_err err;
        uint64_t size;

        (void)setup(&own);
        f = own;
        fill(f, 1, 0, 20);
        fill(f, 1, 20, 40);
        assert_ok(fsp_logtable_verify(f->db, 1, &size, &err), &err);
        tamper(f, ways[i]);
        if (fsp_logtable_verify(f->db, 1, &size, &err) != FSP_ECORRUPT)
            fail_msg("not found: %s", ways[i]);
        assert_true(strlen(err.text) > 10);
        (void)teardown(&own);
    }
}

static void
heads_are_found_below_and_covering(void **state)
{
    struct fixture *f = *state;
    struct fsp_range range;
    struct fsp_buf note;
    struct fsp_err err;

    fill(f, 1, 0, 10);
    fill(f, 1, 10, 20);
    fsp_buf_init(&note, 1000);
    assert_ok(fsp_logtable_head_below(f->db, 1, UINT64_MAX, &range, &note, &err), &err);
    assert_int_equal(range.size, 20);
    fsp_buf_reset(&note);
    assert_ok(fsp_logtable_head_below(f->db, 1, 19, &range, &note, &err), &err);
    assert_int_equal(range.size, 10);
    assert_int_equal(fsp_logtable_head_below(f->db, 1, 9, &range, &note, &err), FSP_ENOTFOUND);
    fsp_buf_reset(&note);
    assert_ok(fsp_logtable_head_covering(f->db, 1, 9, &range, &note, &err), &err);
    assert_int_equal(range.size, 10);
    fsp_buf_reset(&note);
    assert_ok(fsp_logtable_head_covering(f->db, 1, 10, &range, &note, &err), &err);
    assert_int_equal(range.size, 20);
    assert_int_equal(
            fsp_logtable_head_covering(f->db, 1, 20, &range, &note, &err), FSP_ENOTFOUND);
    fsp_buf_fini(&note);
}

static void
a_receipt_replaces_the_shorter_note_and_never_the_other_way(void **state)
{
    struct fixture *f = *state;
    struct fsp_range range;
    struct fsp_buf note;
    struct fsp_buf got;
    struct fsp_err err;
    size_t plain;

    fill(f, 1, 0, 10);
    fsp_buf_init(&note, 2000);
    fsp_buf_init(&got, 2000);
    assert_ok(fsp_logtable_head_below(f->db, 1, 10, &range, &note, &err), &err);
    plain = note.len;
    fsp_buf_add_text(&note, "\xE2\x80\x94 basin/office AAAAAAA=\n");
    assert_ok(fsp_logtable_add_head(f->db, 1, &range, note.data, note.len, 2000, &err), &err);
    assert_ok(fsp_logtable_add_head(f->db, 1, &range, note.data, plain, 3000, &err), &err);
    assert_ok(fsp_logtable_head_below(f->db, 1, 10, &range, &got, &err), &err);
    assert_int_equal(got.len, note.len);
    fsp_buf_fini(&note);
    fsp_buf_fini(&got);
}

static void
entries_outside_their_limits_are_refused(void **state)
{
    struct fixture *f = *state;
    char *big = calloc(1, FSP_ENTRY_MAX + 1);
    struct fsp_range range;
    struct fsp_err err;

    fsp_range_init(&range);
    memset(big, 'x', FSP_ENTRY_MAX + 1);
    assert_ok(fsp_db_begin(f->db, &err), &err);
    assert_int_equal(fsp_logtable_append(f->db, 1, &range, "", 0, &err), FSP_ELIMIT);
    assert_int_equal(
            fsp_logtable_append(f->db, 1, &range, big, FSP_ENTRY_MAX + 1, &err), FSP_ELIMIT);
    assert_int_equal(range.size, 0);
    assert_ok(fsp_logtable_append(f->db, 1, &range, big, FSP_ENTRY_MAX, &err), &err);
    fsp_db_rollback(f->db);
    free(big);
}

int
main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
            T(entries_come_back_as_they_were_and_the_log_verifies),
            T(leaves_and_range_give_the_same_root),
            T(entries_cannot_be_changed_or_deleted),
            T(a_second_head_of_a_size_must_stand_for_the_same_entries),
            T(a_log_that_grows_while_it_is_verified_is_no_tampering),
            cmocka_unit_test(every_way_of_tampering_is_found),
            T(heads_are_found_below_and_covering),
            T(a_receipt_replaces_the_shorter_note_and_never_the_other_way),
            T(entries_outside_their_limits_are_refused),
    };

    if (sqlite3_auto_extension((void (*)(void))note_connection) != SQLITE_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
