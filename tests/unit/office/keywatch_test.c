#include "office_support.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "office/keywatch.h"

struct fixture {
    char folder[64];
    struct fsp_keywatch *watch;
    struct fsp_err err;
};

static int
start(void **state)
{
    static struct fixture f;
    struct fsp_office_keys keys;

    memset(&f, 0, sizeof(f));
    (void)snprintf(f.folder, sizeof(f.folder), "/tmp/fsp-watch-XXXXXX");
    assert_non_null(mkdtemp(f.folder));
    assert_ok(fsp_proof_init(&f.err), &f.err);
    assert_ok(fsp_office_keys_make(&keys, FLEET, fsp_env_system(), &f.err), &f.err);
    assert_ok(fsp_office_keys_save(&keys, f.folder, &f.err), &f.err);
    fsp_office_keys_fini(&keys);
    assert_ok(fsp_keywatch_new(f.folder, &f.watch, &f.err), &f.err);
    *state = &f;
    return 0;
}

static int
stop(void **state)
{
    struct fixture *f = *state;

    fsp_keywatch_free(f->watch);
    remove_folder(f->folder);
    return 0;
}

static bool
look(struct fixture *f)
{
    bool changed = false;

    assert_ok(fsp_keywatch_look(f->watch, &changed, &f->err), &f->err);
    return changed;
}

/* As `keys renew` of another process does it. */
static void
renew(struct fixture *f, enum fsp_office_key which)
{
    struct fsp_office_keys keys;
    struct fsp_office_next next;

    assert_ok(fsp_office_keys_load(&keys, f->folder, &f->err), &f->err);
    assert_ok(fsp_office_keys_next(&keys, f->folder, which, fsp_env_system(), &next, &f->err),
            &f->err);
    assert_ok(fsp_office_keys_change(f->folder, which, &f->err), &f->err);
    fsp_office_next_fini(&next);
    fsp_office_keys_fini(&keys);
}

static void
nothing_changes_by_looking(void **state)
{
    struct fixture *f = *state;
    const struct fsp_office_keys *keys = fsp_keywatch_keys(f->watch);

    for (int i = 0; i < 5; i++)
        assert_false(look(f));
    assert_ptr_equal(fsp_keywatch_keys(f->watch), keys);
}

static void
each_kind_of_key_that_follows_another_is_seen_at_the_next_look(void **state)
{
    static const enum fsp_office_key kinds[] = {
            FSP_OFFICE_COSIGNER, FSP_OFFICE_INSTRUCTIONS, FSP_OFFICE_BOX};
    struct fixture *f = *state;
    const struct fsp_office_keys *first = fsp_keywatch_keys(f->watch);
    struct fsp_vkey cosigner = *fsp_skey_vkey(first->cosigner);
    const struct fsp_office_keys *last;

    for (size_t i = 0; i < 3; i++) {
        const struct fsp_office_keys *before = fsp_keywatch_keys(f->watch);

        renew(f, kinds[i]);
        assert_true(look(f));
        assert_ptr_not_equal(fsp_keywatch_keys(f->watch), before);
        assert_false(look(f));
    }
    last = fsp_keywatch_keys(f->watch);
    assert_int_equal(last->n_cosigner_before, 1);
    assert_int_equal(last->n_instructions_ever, 2);
    assert_int_equal(last->n_box, 2);
    assert_false(fsp_vkey_equal(fsp_skey_vkey(last->cosigner), &cosigner));
    /* Who holds the first set may go on signing with it. */
    assert_true(fsp_vkey_equal(fsp_skey_vkey(first->cosigner), &cosigner));
    assert_int_equal(first->n_box, 1);
}

static void
a_set_that_is_not_whole_changes_nothing_until_it_is(void **state)
{
    struct fixture *f = *state;
    const struct fsp_office_keys *keys = fsp_keywatch_keys(f->watch);
    char path[128];
    char away[128];
    bool changed = true;

    renew(f, FSP_OFFICE_COSIGNER);
    (void)snprintf(path, sizeof(path), "%s/keys/instructions.key", f->folder);
    (void)snprintf(away, sizeof(away), "%s/keys/instructions.away", f->folder);
    assert_int_equal(rename(path, away), 0);
    for (int i = 0; i < 4; i++) {
        assert_int_equal(fsp_keywatch_look(f->watch, &changed, &f->err), FSP_ENOTFOUND);
        assert_false(changed);
        assert_ptr_equal(fsp_keywatch_keys(f->watch), keys);
    }
    assert_int_equal(rename(away, path), 0);
    assert_true(look(f));
    assert_int_equal(fsp_keywatch_keys(f->watch)->n_cosigner_before, 1);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test_setup_teardown(nothing_changes_by_looking, start, stop),
            cmocka_unit_test_setup_teardown(
                    each_kind_of_key_that_follows_another_is_seen_at_the_next_look, start,
                    stop),
            cmocka_unit_test_setup_teardown(
                    a_set_that_is_not_whole_changes_nothing_until_it_is, start, stop),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
