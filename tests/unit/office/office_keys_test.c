#include "office_support.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "wire/seal.h"

struct fixture {
    char folder[64];
    struct fsp_office_keys keys;
    struct fsp_err err;
};

static void
start(struct fixture *f)
{
    memset(f, 0, sizeof(*f));
    (void)snprintf(f->folder, sizeof(f->folder), "/tmp/fsp-keys-XXXXXX");
    assert_non_null(mkdtemp(f->folder));
    assert_ok(fsp_proof_init(&f->err), &f->err);
    assert_ok(fsp_office_keys_make(&f->keys, FLEET, fsp_env_system(), &f->err), &f->err);
    assert_ok(fsp_office_keys_save(&f->keys, f->folder, &f->err), &f->err);
}

static void
stop(struct fixture *f)
{
    fsp_office_keys_fini(&f->keys);
    remove_folder(f->folder);
}

static void
keys_load_as_they_were_saved(void **state)
{
    struct fixture f;
    struct fsp_office_keys loaded;

    (void)state;
    start(&f);
    assert_ok(fsp_office_keys_load(&loaded, f.folder, &f.err), &f.err);
    assert_true(fsp_vkey_equal(fsp_skey_vkey(loaded.cosigner), fsp_skey_vkey(f.keys.cosigner)));
    assert_string_equal(fsp_skey_vkey(loaded.cosigner)->name, FLEET "/office");
    assert_int_equal(fsp_skey_vkey(loaded.cosigner)->type, FSP_KEY_COSIGNER);
    assert_string_equal(fsp_skey_vkey(loaded.instructions)->name, FLEET "/instructions");
    assert_int_equal(fsp_skey_vkey(loaded.instructions)->type, FSP_KEY_NOTE);
    assert_int_equal(loaded.n_box, 1);
    assert_memory_equal(&loaded.box[0], &f.keys.box[0], sizeof(loaded.box[0]));
    fsp_office_keys_fini(&loaded);
    stop(&f);
}

static void
what_is_sealed_for_the_box_key_opens_with_it(void **state)
{
    struct fixture f;
    struct fsp_buf sealed;
    struct fsp_buf opened;

    (void)state;
    start(&f);
    fsp_buf_init(&sealed, 1024);
    fsp_buf_init(&opened, 1024);
    assert_ok(fsp_seal(&sealed, (const uint8_t *)"day sheet", 9, f.keys.box[0].pub, &f.err),
            &f.err);
    assert_ok(fsp_unseal(&opened, sealed.data, sealed.len, f.keys.box[0].pub,
                      f.keys.box[0].secret, &f.err),
            &f.err);
    assert_string_equal(fsp_buf_peek(&opened), "day sheet");
    fsp_buf_fini(&sealed);
    fsp_buf_fini(&opened);
    stop(&f);
}

static void
files_are_for_the_owner_alone_and_never_replaced(void **state)
{
    static const char *const names[] = {
            "keys/office.key", "keys/instructions.key", "keys/box.key"};
    struct fixture f;

    (void)state;
    start(&f);
    for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
        char *path = fsp_file_join(f.folder, names[i]);
        struct stat st;

        assert_non_null(path);
        assert_int_equal(stat(path, &st), 0);
        assert_int_equal(st.st_mode & 0777u, 0600);
        free(path);
    }
    assert_int_not_equal(fsp_office_keys_save(&f.keys, f.folder, &f.err), FSP_OK);
    stop(&f);
}

static void
a_box_key_others_may_read_or_that_is_spoilt_is_refused(void **state)
{
    static const char bad[] = "farspool-box-key/v1 AAAA BBBB\n";
    struct fixture f;
    struct fsp_office_keys loaded;
    char *path;

    (void)state;
    start(&f);
    path = fsp_file_join(f.folder, "keys/box.key");
    assert_non_null(path);
    assert_int_equal(chmod(path, 0644), 0);
    assert_int_equal(fsp_office_keys_load(&loaded, f.folder, &f.err), FSP_EFORMAT);
    assert_non_null(strstr(f.err.text, "chmod 600"));
    assert_ok(fsp_file_write(path, bad, sizeof(bad) - 1, 0600, &f.err), &f.err);
    assert_int_equal(fsp_office_keys_load(&loaded, f.folder, &f.err), FSP_EFORMAT);
    free(path);
    stop(&f);
}

static void
older_box_keys_still_open(void **state)
{
    struct fixture f;
    struct fsp_office_keys loaded;
    char *from;
    char *to;
    uint8_t *text = NULL;
    size_t len = 0;

    (void)state;
    start(&f);
    from = fsp_file_join(f.folder, "keys/box.key");
    to = fsp_file_join(f.folder, "keys/box-2025.key");
    assert_non_null(from);
    assert_non_null(to);
    assert_ok(fsp_file_read(from, 4096, &text, &len, &f.err), &f.err);
    assert_ok(fsp_file_create(to, text, len, 0600, &f.err), &f.err);
    assert_ok(fsp_office_keys_load(&loaded, f.folder, &f.err), &f.err);
    assert_int_equal(loaded.n_box, 2);
    fsp_office_keys_fini(&loaded);
    free(text);
    free(from);
    free(to);
    stop(&f);
}

static struct fsp_vkey
renewed(struct fixture *f, enum fsp_office_key which)
{
    struct fsp_office_next next;
    struct fsp_vkey vkey;

    assert_ok(
            fsp_office_keys_next(&f->keys, f->folder, which, fsp_env_system(), &next, &f->err),
            &f->err);
    vkey = *fsp_skey_vkey(next.skey);
    fsp_office_next_fini(&next);
    assert_ok(fsp_office_keys_change(f->folder, which, &f->err), &f->err);
    fsp_office_keys_fini(&f->keys);
    assert_ok(fsp_office_keys_load(&f->keys, f->folder, &f->err), &f->err);
    return vkey;
}

static void
a_key_that_follows_leaves_the_older_ones_in_order(void **state)
{
    struct fsp_vkey cosigner[3];
    struct fsp_vkey instructions[3];
    struct fixture f;

    (void)state;
    start(&f);
    cosigner[0] = *fsp_skey_vkey(f.keys.cosigner);
    instructions[0] = *fsp_skey_vkey(f.keys.instructions);
    for (size_t i = 1; i < 3; i++) {
        cosigner[i] = renewed(&f, FSP_OFFICE_COSIGNER);
        instructions[i] = renewed(&f, FSP_OFFICE_INSTRUCTIONS);
        assert_false(fsp_vkey_equal(&cosigner[i], &cosigner[i - 1]));
        assert_string_equal(cosigner[i].name, cosigner[0].name);
    }
    assert_int_equal(f.keys.n_cosigner_before, 2);
    assert_int_equal(f.keys.n_instructions_before, 2);
    assert_int_equal(f.keys.n_instructions_ever, 3);
    for (size_t i = 0; i < 2; i++) {
        assert_true(fsp_vkey_equal(fsp_skey_vkey(f.keys.cosigner_before[i]), &cosigner[i]));
        assert_true(
                fsp_vkey_equal(fsp_skey_vkey(f.keys.instructions_before[i]), &instructions[i]));
        assert_true(fsp_vkey_equal(&f.keys.instructions_ever[i], &instructions[i]));
    }
    assert_true(fsp_vkey_equal(fsp_skey_vkey(f.keys.cosigner), &cosigner[2]));
    assert_true(fsp_vkey_equal(fsp_skey_vkey(f.keys.instructions), &instructions[2]));
    assert_true(fsp_vkey_equal(&f.keys.instructions_ever[2], &instructions[2]));
    stop(&f);
}

/* At every moment there is a key of today's, and what was begun is gone on with. */
static void
an_interrupted_change_of_keys_is_done_again(void **state)
{
    struct fsp_office_next first;
    struct fsp_office_next again;
    struct fsp_vkey old;
    struct fsp_vkey new;
    struct fixture f;
    char *today;
    char *older;

    (void)state;
    start(&f);
    old = *fsp_skey_vkey(f.keys.cosigner);
    assert_ok(fsp_office_keys_next(
                      &f.keys, f.folder, FSP_OFFICE_COSIGNER, fsp_env_system(), &first, &f.err),
            &f.err);
    assert_ok(fsp_office_keys_next(
                      &f.keys, f.folder, FSP_OFFICE_COSIGNER, fsp_env_system(), &again, &f.err),
            &f.err);
    new = *fsp_skey_vkey(first.skey);
    assert_true(fsp_vkey_equal(&new, fsp_skey_vkey(again.skey)));
    fsp_office_next_fini(&first);
    fsp_office_next_fini(&again);
    /* Stopped between the second name and the change: */
    today = fsp_file_join(f.folder, "keys/office.key");
    older = fsp_file_join(f.folder, "keys/office-1.key");
    assert_int_equal(link(today, older), 0);
    fsp_office_keys_fini(&f.keys);
    assert_ok(fsp_office_keys_load(&f.keys, f.folder, &f.err), &f.err);
    assert_true(fsp_vkey_equal(fsp_skey_vkey(f.keys.cosigner), &old));
    assert_int_equal(f.keys.n_cosigner_before, 0);
    for (int i = 0; i < 2; i++) { /* and once more, when it was done */
        assert_ok(fsp_office_keys_change(f.folder, FSP_OFFICE_COSIGNER, &f.err), &f.err);
        fsp_office_keys_fini(&f.keys);
        assert_ok(fsp_office_keys_load(&f.keys, f.folder, &f.err), &f.err);
        assert_true(fsp_vkey_equal(fsp_skey_vkey(f.keys.cosigner), &new));
        assert_int_equal(f.keys.n_cosigner_before, 1);
        assert_true(fsp_vkey_equal(fsp_skey_vkey(f.keys.cosigner_before[0]), &old));
    }
    free(today);
    free(older);
    stop(&f);
}

static void
a_box_key_that_follows_is_the_one_that_is_named(void **state)
{
    struct fsp_office_next next;
    struct fsp_box_key old;
    struct fixture f;

    (void)state;
    start(&f);
    old = f.keys.box[0];
    assert_ok(fsp_office_keys_next(
                      &f.keys, f.folder, FSP_OFFICE_BOX, fsp_env_system(), &next, &f.err),
            &f.err);
    assert_null(next.skey);
    assert_ok(fsp_office_keys_change(f.folder, FSP_OFFICE_BOX, &f.err), &f.err);
    fsp_office_keys_fini(&f.keys);
    assert_ok(fsp_office_keys_load(&f.keys, f.folder, &f.err), &f.err);
    assert_int_equal(f.keys.n_box, 2);
    assert_memory_equal(&f.keys.box[0], &next.box, sizeof(next.box));
    assert_memory_equal(&f.keys.box[1], &old, sizeof(old));
    fsp_office_next_fini(&next);
    stop(&f);
}

static void
only_so_many_keys_follow_one_another(void **state)
{
    struct fsp_office_next next;
    struct fixture f;

    (void)state;
    start(&f);
    for (size_t i = 0; i < FSP_KEYS_BEFORE_MAX; i++)
        (void)renewed(&f, FSP_OFFICE_INSTRUCTIONS);
    assert_int_equal(f.keys.n_instructions_ever, FSP_KEYS_BEFORE_MAX + 1);
    assert_int_equal(fsp_office_keys_next(&f.keys, f.folder, FSP_OFFICE_INSTRUCTIONS,
                             fsp_env_system(), &next, &f.err),
            FSP_ELIMIT);
    assert_null(next.skey);
    stop(&f);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(keys_load_as_they_were_saved),
            cmocka_unit_test(what_is_sealed_for_the_box_key_opens_with_it),
            cmocka_unit_test(files_are_for_the_owner_alone_and_never_replaced),
            cmocka_unit_test(a_box_key_others_may_read_or_that_is_spoilt_is_refused),
            cmocka_unit_test(older_box_keys_still_open),
            cmocka_unit_test(a_key_that_follows_leaves_the_older_ones_in_order),
            cmocka_unit_test(an_interrupted_change_of_keys_is_done_again),
            cmocka_unit_test(a_box_key_that_follows_is_the_one_that_is_named),
            cmocka_unit_test(only_so_many_keys_follow_one_another),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
