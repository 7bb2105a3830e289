#include "support/test.h"

#include "office/table.h"

static const struct fsp_column columns[] = {{"RIG", "rig", false}, {"WORK", "work", true}};

static void
text_is_aligned_by_characters(void **state)
{
    struct fsp_table table;
    struct fsp_buf buf;

    (void)state;
    fsp_table_init(&table, columns, 2);
    fsp_buf_init(&buf, 4096);
    fsp_table_add(&table, "h\xc3\xa9ron");
    fsp_table_number(&table, true, 1234.5, 1);
    fsp_table_add(&table, "x");
    fsp_table_number(&table, false, 0.0, 1);
    fsp_table_text(&table, &buf);
    assert_string_equal(fsp_buf_peek(&buf), "RIG       WORK\n"
                                            "h\xc3\xa9ron  1,234.5\n"
                                            "x            -\n");
    fsp_buf_fini(&buf);
    fsp_table_fini(&table);
}

static void
csv_follows_rfc_4180(void **state)
{
    struct fsp_table table;
    struct fsp_buf buf;

    (void)state;
    fsp_table_init(&table, columns, 2);
    fsp_buf_init(&buf, 4096);
    fsp_table_add(&table, "a, \"b\"\nc");
    fsp_table_number(&table, true, 1234.5, 1);
    fsp_table_add(&table, NULL);
    fsp_table_number(&table, false, 0.0, 1);
    fsp_table_csv(&table, &buf);
    assert_string_equal(fsp_buf_peek(&buf), "rig,work\r\n"
                                            "\"a, \"\"b\"\"\nc\",1234.5\r\n"
                                            ",\r\n");
    fsp_buf_fini(&buf);
    fsp_table_fini(&table);
}

static void
times_are_shown_by_the_minute_and_written_whole(void **state)
{
    struct fsp_table table;
    struct fsp_buf buf;

    (void)state;
    fsp_table_init(&table, columns, 2);
    fsp_buf_init(&buf, 4096);
    fsp_table_time(&table, 1772323200);
    fsp_table_time(&table, 0);
    fsp_table_text(&table, &buf);
    assert_string_equal(fsp_buf_peek(&buf), "RIG                WORK\n"
                                            "2026-03-01 00:00Z     -\n");
    fsp_buf_reset(&buf);
    fsp_table_csv(&table, &buf);
    assert_string_equal(fsp_buf_peek(&buf), "rig,work\r\n2026-03-01T00:00:00Z,\r\n");
    fsp_buf_fini(&buf);
    fsp_table_fini(&table);
}

static void
hostile_text_reaches_the_terminal_as_bytes_shown(void **state)
{
    struct fsp_table table;
    struct fsp_buf buf;

    (void)state;
    fsp_table_init(&table, columns, 2);
    fsp_buf_init(&buf, 4096);
    fsp_table_add(&table, "\x1b[2J");
    fsp_table_add(&table, "y");
    fsp_table_text(&table, &buf);
    for (size_t i = 0; i < buf.len; i++)
        assert_true(buf.data[i] >= ' ' || buf.data[i] == '\n');
    fsp_buf_fini(&buf);
    fsp_table_fini(&table);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(text_is_aligned_by_characters),
            cmocka_unit_test(csv_follows_rfc_4180),
            cmocka_unit_test(times_are_shown_by_the_minute_and_written_whole),
            cmocka_unit_test(hostile_text_reaches_the_terminal_as_bytes_shown),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
