#include "office_support.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

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

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(keys_load_as_they_were_saved),
            cmocka_unit_test(what_is_sealed_for_the_box_key_opens_with_it),
            cmocka_unit_test(files_are_for_the_owner_alone_and_never_replaced),
            cmocka_unit_test(a_box_key_others_may_read_or_that_is_spoilt_is_refused),
            cmocka_unit_test(older_box_keys_still_open),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
