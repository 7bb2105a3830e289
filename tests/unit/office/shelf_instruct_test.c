#include "office_support.h"

#include <stdlib.h>
#include <string.h>

/* The contract of the shelf's instructions, as shelf_test.c for the rest of it. */

static const struct fsp_shelf_ops *const backends[] = {&fsp_shelf_sqlite};

struct fixture {
    char folder[64];
    const struct fsp_shelf_ops *ops;
    struct fsp_shelf *shelf;
    struct fsp_shelf_log heron;
    struct fsp_shelf_log plover;
    struct fsp_buf store;
    struct fsp_err err;
};

static struct fsp_shelf_log
enrolled(struct fixture *f, const char *rig, const char *origin, uint8_t seed)
{
    struct fsp_shelf_log log;

    memset(&log, 0, sizeof(log));
    (void)snprintf(log.rig, sizeof(log.rig), "%s", rig);
    (void)snprintf(log.origin, sizeof(log.origin), "%s", origin);
    memset(log.pub, seed, sizeof(log.pub));
    memset(log.mark, seed, sizeof(log.mark));
    log.enrolled_s = START_S;
    assert_ok(f->ops->invite(f->shelf->ctx, rig, log.mark, START_S, &f->err), &f->err);
    assert_ok(f->ops->enrol(f->shelf->ctx, &log, &f->err), &f->err);
    return log;
}

/* Two rigs with a log each, in an open write transaction. */
static void
start(struct fixture *f, const struct fsp_shelf_ops *ops)
{
    memset(f, 0, sizeof(*f));
    (void)snprintf(f->folder, sizeof(f->folder), "/tmp/fsp-shelf-XXXXXX");
    assert_non_null(mkdtemp(f->folder));
    f->ops = ops;
    fsp_buf_init(&f->store, FSP_NOTE_MAX);
    assert_ok(fsp_shelf_open(ops, f->folder, FSP_SHELF_CREATE, &f->shelf, &f->err), &f->err);
    assert_ok(ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    f->heron = enrolled(f, "heron", FLEET "/heron/a1", 1);
    f->plover = enrolled(f, "plover", FLEET "/plover/b1", 2);
}

static void
stop(struct fixture *f)
{
    fsp_shelf_close(f->shelf);
    remove_folder(f->folder);
    fsp_buf_fini(&f->store);
}

static void
id_of(uint8_t id[FSP_INSTRUCTION_ID_LEN], uint8_t n)
{
    memset(id, 0, FSP_INSTRUCTION_ID_LEN);
    id[0] = n;
}

static enum fsp_rc
add(struct fixture *f, const char *rig, uint8_t n)
{
    struct fsp_shelf_instruction instruction = {.about = FSP_ABOUT_MESSAGE,
            .made_s = START_S + n,
            .note = "a note\n",
            .note_len = 7};

    (void)snprintf(instruction.rig, sizeof(instruction.rig), "%s", rig);
    id_of(instruction.id, n);
    return f->ops->add_instruction(f->shelf->ctx, &instruction, &f->err);
}

static void
place(struct fixture *f, int64_t log, uint64_t index, uint8_t n)
{
    struct fsp_shelf_instruction_place at = {.log = log, .index = index};

    id_of(at.id, n);
    assert_ok(f->ops->add_instruction_place(f->shelf->ctx, &at, &f->err), &f->err);
}

/* The ids that heron lacks, as digits; newest 0: it named none. */
static const char *
waiting(struct fixture *f, uint8_t newest)
{
    static char digits[16];
    uint8_t id[FSP_INSTRUCTION_ID_LEN];
    struct fsp_shelf_wait wait = {.rig = "heron", .newest = newest == 0 ? NULL : id};
    struct fsp_shelf_instruction got;
    size_t n = 0;

    id_of(id, newest);
    while (n + 1 < sizeof(digits) && f->ops->waiting_instruction(f->shelf->ctx, &wait, &got,
                                             &f->store, &f->err) == FSP_OK) {
        digits[n++] = (char)('0' + got.id[0]);
        wait.after = got.seq;
    }
    digits[n] = '\0';
    return digits;
}

/* The one behind `after` for the rig, or the one with id `n` when rig is NULL. */
static struct fsp_shelf_instruction
get(struct fixture *f, const char *rig, int64_t after, uint8_t n, enum fsp_rc want)
{
    struct fsp_shelf_instruction got;
    uint8_t id[FSP_INSTRUCTION_ID_LEN];
    enum fsp_rc rc;

    id_of(id, n);
    rc = rig == NULL ? f->ops->find_instruction(f->shelf->ctx, id, &got, &f->store, &f->err)
                     : f->ops->next_instruction(
                               f->shelf->ctx, rig, after, &got, &f->store, &f->err);
    assert_int_equal(rc, want);
    return got;
}

static void
instructions_are_kept_in_order_for_the_rig_they_are_for(void **state)
{
    (void)state;
    for (size_t b = 0; b < sizeof(backends) / sizeof(backends[0]); b++) {
        struct fsp_shelf_instruction got;
        struct fixture f;

        start(&f, backends[b]);
        assert_int_equal(add(&f, "heron", 3), FSP_OK);
        assert_int_equal(add(&f, "plover", 4), FSP_OK);
        assert_int_equal(add(&f, "heron", 1), FSP_OK);
        assert_int_equal(add(&f, "dunlin", 5), FSP_ENOTFOUND);
        assert_non_null(strstr(f.err.text, "dunlin"));
        got = get(&f, "heron", 0, 0, FSP_OK);
        assert_int_equal(got.id[0], 3);
        assert_string_equal(got.rig, "heron");
        assert_int_equal(got.about, FSP_ABOUT_MESSAGE);
        assert_int_equal(got.made_s, START_S + 3);
        assert_int_equal(got.note_len, 7);
        assert_memory_equal(got.note, "a note\n", 7);
        got = get(&f, "heron", got.seq, 0, FSP_OK);
        assert_int_equal(got.id[0], 1);
        (void)get(&f, "heron", got.seq, 0, FSP_ENOTFOUND);
        assert_string_equal(get(&f, NULL, 0, 4, FSP_OK).rig, "plover");
        (void)get(&f, NULL, 0, 9, FSP_ENOTFOUND);
        stop(&f);
    }
}

static void
what_a_rig_lacks_follows_from_its_log_and_its_own_word(void **state)
{
    (void)state;
    for (size_t b = 0; b < sizeof(backends) / sizeof(backends[0]); b++) {
        struct fixture f;

        start(&f, backends[b]);
        for (uint8_t n = 1; n <= 4; n++)
            assert_ok(add(&f, "heron", n), &f.err);
        assert_ok(add(&f, "plover", 5), &f.err);
        assert_string_equal(waiting(&f, 0), "1234");
        /* It says that it has 2: its entries are on their way. */
        assert_string_equal(waiting(&f, 2), "34");
        assert_string_equal(waiting(&f, 4), "");
        /* An id from before the office went back, or another rig's: all of them. */
        assert_string_equal(waiting(&f, 9), "1234");
        assert_string_equal(waiting(&f, 5), "1234");
        /* Another rig's log says nothing of this one's. */
        place(&f, f.plover.id, 0, 1);
        assert_string_equal(waiting(&f, 0), "1234");
        place(&f, f.heron.id, 7, 1);
        place(&f, f.heron.id, 7, 1);
        place(&f, f.heron.id, 9, 3);
        assert_string_equal(waiting(&f, 0), "24");
        /* 3 is here with its entry, so 2 is known to be missing. */
        assert_string_equal(waiting(&f, 3), "24");
        assert_string_equal(waiting(&f, 4), "");
        stop(&f);
    }
}

static void
places_are_found_in_the_rigs_newest_log(void **state)
{
    (void)state;
    for (size_t b = 0; b < sizeof(backends) / sizeof(backends[0]); b++) {
        struct fsp_shelf_instruction_place got;
        struct fsp_shelf_log next;
        struct fixture f;
        uint8_t id[FSP_INSTRUCTION_ID_LEN];

        start(&f, backends[b]);
        next = enrolled(&f, "heron", FLEET "/heron/a2", 3);
        id_of(id, 1);
        assert_int_equal(f.ops->instruction_place(f.shelf->ctx, "heron", id, &got, &f.err),
                FSP_ENOTFOUND);
        place(&f, f.heron.id, 7, 1);
        assert_ok(f.ops->instruction_place(f.shelf->ctx, "heron", id, &got, &f.err), &f.err);
        assert_int_equal(got.log, f.heron.id);
        assert_int_equal(got.index, 7);
        place(&f, next.id, 2, 1);
        assert_ok(f.ops->instruction_place(f.shelf->ctx, "heron", id, &got, &f.err), &f.err);
        assert_int_equal(got.log, next.id);
        assert_int_equal(got.index, 2);
        assert_ok(f.ops->next_instruction_place(f.shelf->ctx, 0, &got, &f.err), &f.err);
        assert_int_equal(got.log, f.heron.id);
        assert_memory_equal(got.id, id, sizeof(id));
        assert_ok(f.ops->next_instruction_place(f.shelf->ctx, got.seq, &got, &f.err), &f.err);
        assert_int_equal(got.log, next.id);
        assert_int_equal(f.ops->next_instruction_place(f.shelf->ctx, got.seq, &got, &f.err),
                FSP_ENOTFOUND);
        stop(&f);
    }
}

/* The roster of a version as it is kept; "" when there is none. */
static const char *
kept(struct fixture *f, uint64_t version)
{
    enum fsp_rc rc = f->ops->roster(f->shelf->ctx, version, &f->store, &f->err);

    assert_true(rc == FSP_OK || rc == FSP_ENOTFOUND);
    return rc == FSP_OK ? fsp_buf_peek(&f->store) : "";
}

static enum fsp_rc
add_roster(struct fixture *f, uint64_t version)
{
    fsp_buf_reset(&f->store);
    fsp_buf_printf(&f->store, "roster %d\n", (int)version);
    return f->ops->add_roster(f->shelf->ctx, version, START_S, &f->store, &f->err);
}

static void
rosters_are_kept_by_version(void **state)
{
    (void)state;
    for (size_t b = 0; b < sizeof(backends) / sizeof(backends[0]); b++) {
        struct fixture f;

        start(&f, backends[b]);
        assert_string_equal(kept(&f, 0), "");
        assert_ok(add_roster(&f, 1), &f.err);
        assert_ok(add_roster(&f, 2), &f.err);
        assert_ok(add_roster(&f, 3), &f.err);
        assert_int_not_equal(add_roster(&f, 3), FSP_OK);
        assert_string_equal(kept(&f, 0), "roster 3\n");
        assert_string_equal(kept(&f, 2), "roster 2\n");
        assert_string_equal(kept(&f, 4), "");
        stop(&f);
    }
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(instructions_are_kept_in_order_for_the_rig_they_are_for),
            cmocka_unit_test(what_a_rig_lacks_follows_from_its_log_and_its_own_word),
            cmocka_unit_test(places_are_found_in_the_rigs_newest_log),
            cmocka_unit_test(rosters_are_kept_by_version),
    };

    return cmocka_run_group_tests_name("shelf_instruct", tests, NULL, NULL);
}
