#include "office_support.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "proof/tree.h"

/* Witnesses and their cosignatures on the shelf, for every backend. */

static const struct fsp_shelf_ops *const backends[] = {&fsp_shelf_sqlite};

struct fixture {
    char folder[64];
    const struct fsp_shelf_ops *ops;
    struct fsp_shelf *shelf;
    int64_t log;
    struct fsp_err err;
};

static void
start(struct fixture *f, const struct fsp_shelf_ops *ops)
{
    struct fsp_shelf_log log;

    memset(f, 0, sizeof(*f));
    memset(&log, 0, sizeof(log));
    (void)snprintf(f->folder, sizeof(f->folder), "/tmp/fsp-shelf-XXXXXX");
    assert_non_null(mkdtemp(f->folder));
    f->ops = ops;
    assert_ok(fsp_shelf_open(ops, f->folder, FSP_SHELF_CREATE, &f->shelf, &f->err), &f->err);
    (void)snprintf(log.rig, sizeof(log.rig), "heron");
    (void)snprintf(log.origin, sizeof(log.origin), "lantern-basin/heron/0011223344556677");
    memset(log.pub, 7, sizeof(log.pub));
    memset(log.mark, 7, sizeof(log.mark));
    assert_ok(ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    assert_ok(ops->invite(f->shelf->ctx, "heron", log.mark, START_S, &f->err), &f->err);
    assert_ok(ops->enrol(f->shelf->ctx, &log, &f->err), &f->err);
    f->log = log.id;
}

static void
stop(struct fixture *f)
{
    fsp_shelf_close(f->shelf);
    remove_folder(f->folder);
}

static enum fsp_rc
add(struct fixture *f, const char *name, const char *vkey)
{
    struct fsp_shelf_witness witness = {.added_s = START_S};

    (void)snprintf(witness.name, sizeof(witness.name), "%s", name);
    (void)snprintf(witness.vkey, sizeof(witness.vkey), "%s", vkey);
    return f->ops->add_witness(f->shelf->ctx, &witness, &f->err);
}

static void
witnesses_are_listed_by_name_and_known_once(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof(backends) / sizeof(backends[0]); i++) {
        struct fsp_shelf_witness got = {.added_s = 0};
        struct fixture f;

        start(&f, backends[i]);
        assert_ok(add(&f, "regulator", "key r"), &f.err);
        assert_ok(add(&f, "client", "key c"), &f.err);
        assert_int_equal(add(&f, "client", "another key"), FSP_EINVAL);
        assert_int_equal(add(&f, "another", "key r"), FSP_EINVAL);
        assert_ok(f.ops->next_witness(f.shelf->ctx, "", &got, &f.err), &f.err);
        assert_string_equal(got.name, "client");
        assert_string_equal(got.vkey, "key c");
        assert_int_equal(got.added_s, START_S);
        assert_ok(f.ops->next_witness(f.shelf->ctx, got.name, &got, &f.err), &f.err);
        assert_string_equal(got.name, "regulator");
        assert_int_equal(
                f.ops->next_witness(f.shelf->ctx, got.name, &got, &f.err), FSP_ENOTFOUND);
        stop(&f);
    }
}

static void
keep(struct fixture *f, uint64_t size, const char *line)
{
    const struct fsp_shelf_cosignature one = {
            .log = f->log, .size = size, .witness = "client", .line = line, .taken_s = START_S};

    assert_ok(f->ops->add_cosignature(f->shelf->ctx, &one, &f->err), &f->err);
}

static void
newest_is(struct fixture *f, uint64_t want)
{
    uint64_t size = 99;

    assert_ok(f->ops->cosigned(f->shelf->ctx, f->log, "client", &size, &f->err), &f->err);
    assert_int_equal(size, want);
}

static void
lines_are(struct fixture *f, uint64_t size, const char *want)
{
    struct fsp_buf lines;

    fsp_buf_init(&lines, 4096);
    fsp_buf_add_text(&lines, "head\n");
    assert_ok(f->ops->cosignatures(f->shelf->ctx, f->log, size, &lines, &f->err), &f->err);
    assert_string_equal(fsp_buf_peek(&lines), want);
    fsp_buf_fini(&lines);
}

static void
a_cosignature_is_kept_once_for_its_head_and_survives_a_reopening(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof(backends) / sizeof(backends[0]); i++) {
        struct fixture f;

        start(&f, backends[i]);
        assert_ok(add(&f, "client", "key c"), &f.err);
        newest_is(&f, 0);
        keep(&f, 4, "line of 4\n");
        keep(&f, 4, "another line of 4\n");
        keep(&f, 9, "line of 9\n");
        assert_ok(f.ops->commit(f.shelf->ctx, &f.err), &f.err);
        fsp_shelf_close(f.shelf);
        assert_ok(fsp_shelf_open(f.ops, f.folder, FSP_SHELF_READ, &f.shelf, &f.err), &f.err);
        newest_is(&f, 9);
        lines_are(&f, 4, "head\nline of 4\n");
        lines_are(&f, 5, "head\n");
        stop(&f);
    }
}

static void
a_cosignature_of_nobody_who_is_known_is_refused(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof(backends) / sizeof(backends[0]); i++) {
        struct fsp_shelf_cosignature one = {
                .size = 4, .witness = "stranger", .line = "x\n", .taken_s = START_S};
        struct fixture f;

        start(&f, backends[i]);
        one.log = f.log;
        assert_int_not_equal(f.ops->add_cosignature(f.shelf->ctx, &one, &f.err), FSP_OK);
        stop(&f);
    }
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(witnesses_are_listed_by_name_and_known_once),
            cmocka_unit_test(a_cosignature_is_kept_once_for_its_head_and_survives_a_reopening),
            cmocka_unit_test(a_cosignature_of_nobody_who_is_known_is_refused),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
