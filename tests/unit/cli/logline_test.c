#include "support/test.h"

#include <string.h>

#include "cli/logline.h"

static void
a_line_is_its_level_its_event_and_pairs(void **state)
{
    struct fsp_buf line;

    (void)state;
    fsp_buf_init(&line, FSP_LOGLINE_MAX);
    fsp_logline_begin(&line, "info", "pushed");
    fsp_logline_u64(&line, "records", UINT64_MAX);
    fsp_logline_text(&line, "file", "day.csv");
    assert_string_equal(fsp_buf_peek(&line),
            "level=info event=pushed records=18446744073709551615 file=day.csv");
    fsp_logline_begin(&line, "warn", "refused");
    assert_string_equal(fsp_buf_peek(&line), "level=warn event=refused");
    fsp_buf_fini(&line);
}

static void
a_text_that_is_not_plain_is_quoted_and_shown(void **state)
{
    static const struct {
        const char *text;
        const char *want;
    } cases[] = {
            {"day.csv", " f=day.csv"},
            {"", " f=\"\""},
            {"day 1.csv", " f=\"day 1.csv\""},
            {"a=b", " f=\"a=b\""},
            {"a\"b\\", " f=\"a\\\"b\\\\\""},
            {"a\nlevel=err", " f=\"a\\x0alevel=err\""},
            {"\x1b[31m", " f=\"\\x1b[31m\""},
            {"Tagesbericht-\xc3\xa4", " f=Tagesbericht-\xc3\xa4"},
            {"\xff", " f=\"\\xff\""},
    };
    struct fsp_buf line;

    (void)state;
    fsp_buf_init(&line, FSP_LOGLINE_MAX);
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        fsp_buf_reset(&line);
        fsp_logline_text(&line, "f", cases[i].text);
        assert_string_equal(fsp_buf_peek(&line), cases[i].want);
    }
    fsp_buf_fini(&line);
}

static void
a_long_text_is_cut_between_characters(void **state)
{
    char text[FSP_LOGLINE_TEXT_MAX + 20];
    struct fsp_buf line;

    (void)state;
    fsp_buf_init(&line, FSP_LOGLINE_MAX);
    memset(text, 'x', sizeof(text));
    text[sizeof(text) - 1] = '\0';
    fsp_logline_text(&line, "f", text);
    assert_int_equal(line.len, FSP_LOGLINE_TEXT_MAX + 3);
    fsp_buf_reset(&line);
    memcpy(text + FSP_LOGLINE_TEXT_MAX - 1, "\xc3\xa4", 2);
    fsp_logline_text(&line, "f", text);
    assert_int_equal(line.len, FSP_LOGLINE_TEXT_MAX - 1 + 3);
    fsp_buf_fini(&line);
}

static void
so_many_lines_at_once_and_then_one_each_time(void **state)
{
    struct fsp_lograte rate = {.most = 3, .every_us = 100};
    int64_t now_us = 5000;

    (void)state;
    for (int i = 0; i < 3; i++)
        assert_true(fsp_lograte_may(&rate, now_us));
    assert_false(fsp_lograte_may(&rate, now_us));
    assert_false(fsp_lograte_may(&rate, now_us + 99));
    assert_true(fsp_lograte_may(&rate, now_us + 100));
    assert_false(fsp_lograte_may(&rate, now_us + 199));
    assert_true(fsp_lograte_may(&rate, now_us + 200));
}

static void
after_a_quiet_time_there_are_as_many_as_at_first_and_no_more(void **state)
{
    struct fsp_lograte rate = {.most = 3, .every_us = 100};
    unsigned said = 0;

    (void)state;
    while (fsp_lograte_may(&rate, 10))
        said++;
    assert_int_equal(said, 3);
    for (said = 0; fsp_lograte_may(&rate, 1000000); said++)
        assert_true(said < 10);
    assert_int_equal(said, 3);
    /* A whole day of asking each microsecond of it would give the same rate. */
    said = 0;
    for (int64_t t = 1000001; t <= 1010000; t++)
        said += fsp_lograte_may(&rate, t);
    assert_int_equal(said, 100);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_line_is_its_level_its_event_and_pairs),
            cmocka_unit_test(a_text_that_is_not_plain_is_quoted_and_shown),
            cmocka_unit_test(a_long_text_is_cut_between_characters),
            cmocka_unit_test(so_many_lines_at_once_and_then_one_each_time),
            cmocka_unit_test(after_a_quiet_time_there_are_as_many_as_at_first_and_no_more),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
