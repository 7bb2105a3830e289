#include "support/test.h"

#include <errno.h>
#include <string.h>

#include "base/err.h"

static void
set_records_code_and_text(void **state)
{
    struct fsp_err err;

    (void)state;
    fsp_err_clear(&err);
    assert_int_equal(fsp_err_set(&err, FSP_EFORMAT, "line %d", 7), FSP_EFORMAT);
    assert_int_equal(err.rc, FSP_EFORMAT);
    assert_string_equal(err.text, "line 7");
}

static void
wrap_puts_the_noun_in_front_and_keeps_the_code(void **state)
{
    struct fsp_err err;

    (void)state;
    (void)fsp_err_set(&err, FSP_EVERIFY, "signature fails");
    assert_int_equal(fsp_err_wrap(&err, FSP_EIO, "%s", "a.note"), FSP_EVERIFY);
    assert_string_equal(err.text, "a.note: signature fails");
}

static void
every_call_accepts_no_error_struct(void **state)
{
    (void)state;
    assert_int_equal(fsp_err_set(NULL, FSP_EIO, "x"), FSP_EIO);
    assert_int_equal(fsp_err_sys(NULL, FSP_EIO, ENOSPC, "x"), FSP_EIO);
    assert_int_equal(fsp_err_wrap(NULL, FSP_EIO, "x"), FSP_EIO);
    fsp_err_clear(NULL);
}

static void
system_errors_carry_the_number_and_its_words(void **state)
{
    struct fsp_err err;

    (void)state;
    (void)fsp_err_sys(&err, FSP_EIO, ENOSPC, "journal.db");
    assert_int_equal(err.os_errno, ENOSPC);
    assert_non_null(strstr(err.text, "journal.db: No space left"));
}

static void
a_long_text_is_cut_at_a_character(void **state)
{
    char text[FSP_ERR_TEXT_MAX + 8];
    struct fsp_err err;

    (void)state;
    /* Two-byte characters at every alignment: the cut must never leave half of one. */
    for (size_t pad = 0; pad < 2; pad++) {
        size_t n = pad;

        memset(text, 'x', sizeof(text));
        while (n + 2 < sizeof(text)) {
            text[n++] = '\xC3';
            text[n++] = '\xA9';
        }
        text[n] = '\0';
        (void)fsp_err_set(&err, FSP_EIO, "%s", text);
        n = strlen(err.text);
        assert_true(n < FSP_ERR_TEXT_MAX);
        assert_int_equal((n - pad) % 2, 0);
    }
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(set_records_code_and_text),
            cmocka_unit_test(wrap_puts_the_noun_in_front_and_keeps_the_code),
            cmocka_unit_test(every_call_accepts_no_error_struct),
            cmocka_unit_test(system_errors_carry_the_number_and_its_words),
            cmocka_unit_test(a_long_text_is_cut_at_a_character),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
