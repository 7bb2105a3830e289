#include "support/test.h"

#include <string.h>

#include "record/sigstate.h"

static void
every_state_has_words_of_its_own(void **state)
{
    (void)state;
    for (int i = FSP_SIG_NONE; i <= FSP_SIG_OUT_OF_DATE; i++) {
        const char *text = fsp_sig_state_text((enum fsp_sig_state)i);

        assert_true(strlen(text) >= 6);
        for (int j = FSP_SIG_NONE; j < i; j++)
            assert_string_not_equal(text, fsp_sig_state_text((enum fsp_sig_state)j));
    }
}

static void
only_a_good_signature_is_called_signed(void **state)
{
    (void)state;
    assert_string_equal(fsp_sig_state_text(FSP_SIG_GOOD), "signed");
    assert_string_equal(fsp_sig_state_text(FSP_SIG_NONE), "unsigned");
    assert_string_equal(fsp_sig_state_text(FSP_SIG_BAD), "signature does not hold");
    assert_string_equal(fsp_sig_state_text(FSP_SIG_OFF_ROSTER), "signer not on the roster");
    assert_string_equal(
            fsp_sig_state_text(FSP_SIG_OUT_OF_DATE), "signed outside the roster's period");
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(every_state_has_words_of_its_own),
            cmocka_unit_test(only_a_good_signature_is_called_signed),
    };

    return cmocka_run_group_tests_name("sigstate", tests, NULL, NULL);
}
