#include "office_support.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "office/tls.h"

struct fixture {
    char folder[64];
    struct fsp_office_tls tls;
    struct fsp_err err;
};

static char *
place(const struct fixture *f, const char *name)
{
    char *path = fsp_file_join(f->folder, name);

    assert_non_null(path);
    return path;
}

static int
setup(void **state)
{
    struct fixture *f = calloc(1, sizeof(*f));
    char *keys;
    bool made = false;

    assert_non_null(f);
    (void)snprintf(f->folder, sizeof(f->folder), "/tmp/fsp-tls-XXXXXX");
    assert_non_null(mkdtemp(f->folder));
    keys = place(f, "keys");
    assert_int_equal(mkdir(keys, 0700), 0);
    free(keys);
    assert_ok(fsp_office_tls_make(&f->tls, f->folder, &made, &f->err), &f->err);
    assert_true(made);
    *state = f;
    return 0;
}

static int
teardown(void **state)
{
    struct fixture *f = *state;

    fsp_office_tls_fini(&f->tls);
    remove_folder(f->folder);
    free(f);
    return 0;
}

static void
keys_are_for_nobody_else_and_load_again(void **state)
{
    static const char *const names[] = {"keys/tls.key", "keys/tls-spare.key"};
    struct fixture *f = *state;
    struct fsp_office_tls again;
    bool made = true;

    for (size_t i = 0; i < 2; i++) {
        char *path = place(f, names[i]);
        struct stat st;

        assert_int_equal(stat(path, &st), 0);
        assert_int_equal(st.st_mode & 0777, 0600);
        free(path);
    }
    assert_memory_not_equal(f->tls.pins[0], f->tls.pins[1], FSP_CERT_PIN_LEN);
    assert_ok(fsp_office_tls_load(&again, f->folder, &f->err), &f->err);
    assert_memory_equal(again.pins, f->tls.pins, sizeof(again.pins));
    assert_string_equal(fsp_buf_peek(&again.key), fsp_buf_peek(&f->tls.key));
    assert_string_equal(fsp_buf_peek(&again.cert), fsp_buf_peek(&f->tls.cert));
    fsp_office_tls_fini(&again);
    assert_ok(fsp_office_tls_make(&again, f->folder, &made, &f->err), &f->err);
    assert_false(made);
    assert_memory_equal(again.pins, f->tls.pins, sizeof(again.pins));
    fsp_office_tls_fini(&again);
}

static void
a_lost_or_foreign_certificate_is_made_anew_and_the_pins_stay(void **state)
{
    static const char junk[] = "-----BEGIN CERTIFICATE-----\nMIIB\n-----END CERTIFICATE-----\n";
    struct fixture *f = *state;
    char *path = place(f, "keys/tls.crt");

    for (int round = 0; round < 3; round++) {
        struct fsp_office_tls again;

        if (round == 0)
            assert_int_equal(unlink(path), 0);
        else
            assert_ok(fsp_file_write(
                              path, junk, round == 1 ? 0 : sizeof(junk) - 1, 0600, &f->err),
                    &f->err);
        assert_ok(fsp_office_tls_load(&again, f->folder, &f->err), &f->err);
        assert_memory_equal(again.pins, f->tls.pins, sizeof(again.pins));
        assert_ok(
                fsp_cert_belongs(fsp_buf_peek(&again.cert), fsp_buf_peek(&f->tls.key), &f->err),
                &f->err);
        fsp_office_tls_fini(&again);
    }
    free(path);
}

static void
the_spare_key_takes_over_by_a_rename(void **state)
{
    struct fixture *f = *state;
    char *key = place(f, "keys/tls.key");
    char *spare = place(f, "keys/tls-spare.key");
    struct fsp_office_tls again;
    bool made = false;

    /* A lost key is not replaced behind a person's back: the spare's pin is with every rig. */
    assert_int_equal(unlink(key), 0);
    assert_int_equal(fsp_office_tls_make(&again, f->folder, &made, &f->err), FSP_EINVAL);
    assert_non_null(strstr(f->err.text, "rename"));
    assert_false(fsp_file_exists(key));
    assert_int_equal(rename(spare, key), 0);
    assert_ok(fsp_office_tls_load(&again, f->folder, &f->err), &f->err);
    assert_memory_equal(again.pins[0], f->tls.pins[1], FSP_CERT_PIN_LEN);
    assert_memory_not_equal(again.pins[1], f->tls.pins[0], FSP_CERT_PIN_LEN);
    assert_ok(fsp_cert_belongs(fsp_buf_peek(&again.cert), fsp_buf_peek(&again.key), &f->err),
            &f->err);
    fsp_office_tls_fini(&again);
    free(spare);
    free(key);
}

static void
keys_that_others_may_read_or_that_are_one_and_the_same_are_refused(void **state)
{
    struct fixture *f = *state;
    char *key = place(f, "keys/tls.key");
    char *spare = place(f, "keys/tls-spare.key");
    struct fsp_office_tls again;

    assert_int_equal(chmod(key, 0640), 0);
    assert_int_equal(fsp_office_tls_load(&again, f->folder, &f->err), FSP_EFORMAT);
    assert_non_null(strstr(f->err.text, "chmod 600"));
    assert_int_equal(chmod(key, 0600), 0);
    assert_ok(fsp_file_write(spare, f->tls.key.data, f->tls.key.len, 0600, &f->err), &f->err);
    assert_int_equal(fsp_office_tls_load(&again, f->folder, &f->err), FSP_EFORMAT);
    assert_ok(fsp_file_write(spare, "x\n", 2, 0600, &f->err), &f->err);
    assert_int_equal(fsp_office_tls_load(&again, f->folder, &f->err), FSP_EFORMAT);
    free(spare);
    free(key);
}

static void
a_store_without_tls_keys_says_how_to_get_them(void **state)
{
    struct fixture *f = *state;
    char *key = place(f, "keys/tls.key");
    char *spare = place(f, "keys/tls-spare.key");
    struct fsp_office_tls again;

    assert_int_equal(unlink(key), 0);
    assert_int_equal(unlink(spare), 0);
    assert_int_equal(fsp_office_tls_load(&again, f->folder, &f->err), FSP_ENOTFOUND);
    assert_false(fsp_file_exists(key));
    free(spare);
    free(key);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test_setup_teardown(
                    keys_are_for_nobody_else_and_load_again, setup, teardown),
            cmocka_unit_test_setup_teardown(
                    a_lost_or_foreign_certificate_is_made_anew_and_the_pins_stay, setup,
                    teardown),
            cmocka_unit_test_setup_teardown(
                    the_spare_key_takes_over_by_a_rename, setup, teardown),
            cmocka_unit_test_setup_teardown(
                    keys_that_others_may_read_or_that_are_one_and_the_same_are_refused, setup,
                    teardown),
            cmocka_unit_test_setup_teardown(
                    a_store_without_tls_keys_says_how_to_get_them, setup, teardown),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
