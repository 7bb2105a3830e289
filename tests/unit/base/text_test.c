#include "support/test.h"

#include <string.h>

#include "base/text.h"

static void
printable_takes_text_and_refuses_what_could_move_a_terminal(void **state)
{
    static const char *good[] = {"", "plain", "d\xC3\xA9j\xC3\xA0 vu", "\xE2\x82\xAC 5",
            "\xF0\x9F\x9B\xA0", "tab-free"};
    static const char *bad[] = {"\x1B[31m", "a\nb", "a\tb", "\x7F", "\xC2\x85", "\xC0\xAF",
            "\xED\xA0\x80", "\xF4\x90\x80\x80", "\xE2\x80\xAE", "\xE2\x81\xA6", "\xE2\x80\xA8",
            "\xEF\xBB\xBF", "\xC3", "\xE2\x82", "\xF0\x9F\x9B", "\xFF", "\x80"};

    (void)state;
    for (size_t i = 0; i < sizeof(good) / sizeof(good[0]); i++)
        assert_true(fsp_text_printable(good[i], strlen(good[i])));
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
        assert_false(fsp_text_printable(bad[i], strlen(bad[i])));
}

static void
shown_text_is_printable_whatever_went_in(void **state)
{
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, 1 << 20);
    /* Every pair of bytes. */
    for (unsigned a = 0; a < 256; a++) {
        for (unsigned b = 0; b < 256; b++) {
            uint8_t pair[2] = {(uint8_t)a, (uint8_t)b};

            fsp_buf_reset(&buf);
            fsp_text_show(&buf, pair, 2);
            assert_true(fsp_text_printable(buf.data, buf.len));
        }
    }
    fsp_buf_reset(&buf);
    fsp_text_show(&buf, "a\x1B[0m", 5);
    assert_string_equal(fsp_buf_peek(&buf), "a\\x1b[0m");
    fsp_buf_fini(&buf);
}

static void
hexadecimal_round_trips_and_refuses_other_text(void **state)
{
    uint8_t bytes[256];
    uint8_t back[256];
    char text[513];

    (void)state;
    for (size_t i = 0; i < 256; i++)
        bytes[i] = (uint8_t)i;
    fsp_text_hex(text, bytes, 256);
    assert_int_equal(fsp_text_unhex(back, 256, text), FSP_OK);
    assert_memory_equal(bytes, back, 256);
    assert_int_equal(fsp_text_unhex(back, 2, "00f"), FSP_EFORMAT);
    assert_int_equal(fsp_text_unhex(back, 2, "00fg"), FSP_EFORMAT);
}

static void
names_are_short_lower_case_words(void **state)
{
    char longest[65];

    (void)state;
    memset(longest, 'a', 64);
    longest[64] = '\0';
    assert_false(fsp_text_name(longest));
    longest[63] = '\0';
    assert_true(fsp_text_name(longest));
    assert_true(fsp_text_name("lantern-basin"));
    assert_false(fsp_text_name(""));
    assert_false(fsp_text_name("-a"));
    assert_false(fsp_text_name("a-"));
    assert_false(fsp_text_name("A"));
    assert_false(fsp_text_name("a/b"));
    assert_false(fsp_text_name("a b"));
}

static void
whole_numbers_end_at_the_largest(void **state)
{
    uint64_t value = 1;

    (void)state;
    assert_int_equal(fsp_text_u64("18446744073709551615", 20, &value), FSP_OK);
    assert_true(value == UINT64_MAX);
    assert_int_equal(fsp_text_u64("18446744073709551616", 20, &value), FSP_EFORMAT);
    assert_int_equal(fsp_text_u64("0", 1, &value), FSP_OK);
    assert_int_equal(fsp_text_u64("00", 2, &value), FSP_EFORMAT);
    assert_int_equal(fsp_text_u64("", 0, &value), FSP_EFORMAT);
    assert_int_equal(fsp_text_u64("-1", 2, &value), FSP_EFORMAT);
    assert_int_equal(fsp_text_u64("1a", 2, &value), FSP_EFORMAT);
}

static void
the_nearest_word_is_offered_only_when_it_is_near(void **state)
{
    static const char *const words[] = {"depth", "stand", "hookload", "mud"};

    (void)state;
    assert_string_equal(fsp_text_nearest("dept", words, 4), "depth");
    assert_string_equal(fsp_text_nearest("hook-load", words, 4), "hookload");
    assert_string_equal(fsp_text_nearest("mdu", words, 4), "mud");
    assert_null(fsp_text_nearest("colour", words, 4));
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(printable_takes_text_and_refuses_what_could_move_a_terminal),
            cmocka_unit_test(shown_text_is_printable_whatever_went_in),
            cmocka_unit_test(hexadecimal_round_trips_and_refuses_other_text),
            cmocka_unit_test(names_are_short_lower_case_words),
            cmocka_unit_test(whole_numbers_end_at_the_largest),
            cmocka_unit_test(the_nearest_word_is_offered_only_when_it_is_near),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
