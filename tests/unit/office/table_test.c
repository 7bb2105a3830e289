#include "support/test.h"

#include <math.h>

#include "office/table.h"

static const struct fsp_column columns[] = {
        {"RIG", "rig", FSP_CELL_TEXT, 0, NULL, NULL},
        {"WORK", "work", FSP_CELL_NUMBER, 1, "ton-miles", NULL},
        {NULL, "n", FSP_CELL_COUNT, 0, NULL, NULL},
        {"AT", "at", FSP_CELL_TIME, 0, NULL, NULL},
        {NULL, "early", FSP_CELL_YES, 0, NULL, NULL},
};

static void
row(struct fsp_table *table, const char *rig, double work, int64_t at_s)
{
    fsp_table_text(table, "rig", rig);
    fsp_table_number(table, "work", work > 0.0, work);
    fsp_table_count(table, "n", work > 0.0, 12345);
    fsp_table_time(table, "at", at_s);
    fsp_table_yes(table, "early", work > 0.0);
}

static void
write(enum fsp_table_form form, const char *rig, struct fsp_buf *buf)
{
    struct fsp_table table;

    fsp_buf_init(buf, 4096);
    fsp_table_begin(&table, columns, 5, form, buf);
    row(&table, rig, 1234.56, 1772323200);
    row(&table, NULL, 0.0, 0);
    fsp_table_end(&table);
    assert_int_equal(buf->rc, FSP_OK);
}

static void
text_is_aligned_by_characters_rounded_and_leaves_columns_without_a_title_out(void **state)
{
    struct fsp_buf buf;

    (void)state;
    write(FSP_TABLE_TEXT, "h\xc3\xa9ron", &buf);
    assert_string_equal(fsp_buf_peek(&buf), "RIG       WORK  AT\n"
                                            "h\xc3\xa9ron  1,234.6  2026-03-01 00:00Z\n"
                                            "-            -  -\n");
    fsp_buf_fini(&buf);
}

static void
csv_follows_rfc_4180_and_rounds_nothing(void **state)
{
    struct fsp_buf buf;

    (void)state;
    write(FSP_TABLE_CSV, "a, \"b\"\nc", &buf);
    assert_string_equal(fsp_buf_peek(&buf),
            "rig,work,n,at,early\r\n"
            "\"a, \"\"b\"\"\nc\",1234.56,12345,2026-03-01T00:00:00Z,yes\r\n"
            ",,,,no\r\n");
    fsp_buf_fini(&buf);
}

static void
json_has_the_same_names_and_null_where_nothing_is_known(void **state)
{
    struct fsp_buf buf;

    (void)state;
    write(FSP_TABLE_JSON, "a\"b", &buf);
    assert_string_equal(fsp_buf_peek(&buf),
            "[{\"rig\":\"a\\\"b\",\"work\":1234.56,\"n\":12345,"
            "\"at\":\"2026-03-01T00:00:00Z\",\"early\":true},\n"
            " {\"rig\":null,\"work\":null,\"n\":null,\"at\":null,\"early\":false}]\n");
    fsp_buf_fini(&buf);
}

static void
an_empty_table_is_a_header_or_an_empty_list(void **state)
{
    static const char *const whole[] = {"RIG  WORK  AT\n", "rig,work,n,at,early\r\n", "[]\n"};

    (void)state;
    for (int form = 0; form < 3; form++) {
        struct fsp_table table;
        struct fsp_buf buf;

        fsp_buf_init(&buf, 4096);
        fsp_table_begin(&table, columns, 5, (enum fsp_table_form)form, &buf);
        fsp_table_end(&table);
        assert_string_equal(fsp_buf_peek(&buf), whole[form]);
        fsp_buf_fini(&buf);
    }
}

static void
members_stand_within_an_object_of_the_callers(void **state)
{
    struct fsp_table table;
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, 4096);
    fsp_table_begin(&table, columns, 5, FSP_TABLE_MEMBERS, &buf);
    row(&table, "x", 0.0, 0);
    fsp_table_end(&table);
    assert_string_equal(fsp_buf_peek(&buf),
            "\"rig\":\"x\",\"work\":null,\"n\":null,\"at\":null,\"early\":false");
    fsp_buf_fini(&buf);
}

/* The CSV of a single cell of text. */
static void
one_cell(const char *text, struct fsp_buf *buf)
{
    static const struct fsp_column note[] = {FSP_COLUMN_TEXT("NOTE", "note")};
    struct fsp_table table;

    fsp_buf_init(buf, 4096);
    fsp_table_begin(&table, note, 1, FSP_TABLE_CSV, buf);
    fsp_table_text(&table, "note", text);
    fsp_table_end(&table);
}

static void
text_that_looks_like_a_formula_gets_one_apostrophe_that_can_be_taken_off(void **state)
{
    static const char *const odd[][2] = {{"=1+1", "'=1+1"}, {"+1", "'+1"}, {"-1", "'-1"},
            {"@SUM(A1)", "'@SUM(A1)"}, {"'quoted", "''quoted"}, {"''", "'''"}, {"\tx", "'\tx"},
            {"\r", "\"'\r\""}, {"\n=1", "\"'\n=1\""},
            {"\xef\xbc\x9d"
             "1",
                    "'\xef\xbc\x9d"
                    "1"},
            {"\xef\xbc\x8b", "'\xef\xbc\x8b"}, {"\xef\xbc\x8d", "'\xef\xbc\x8d"},
            {"\xef\xbc\xa0", "'\xef\xbc\xa0"}, {"=a,b", "\"'=a,b\""}, {"a=1", "a=1"}, {"", ""},
            {" =1", " =1"}, {"\xef\xbc\x9e", "\xef\xbc\x9e"}};
    char want[64];

    (void)state;
    for (size_t i = 0; i < sizeof(odd) / sizeof(odd[0]); i++) {
        struct fsp_buf buf;

        one_cell(odd[i][0], &buf);
        (void)snprintf(want, sizeof(want), "note\r\n%s\r\n", odd[i][1]);
        assert_string_equal(fsp_buf_peek(&buf), want);
        fsp_buf_fini(&buf);
    }
}

static void
negative_numbers_stay_numbers_and_none_that_is_not_finite_is_written(void **state)
{
    static const double values[] = {-12.5, (double)NAN, (double)INFINITY, 0.1};
    struct fsp_table table;
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, 4096);
    fsp_table_begin(&table, columns + 1, 1, FSP_TABLE_CSV, &buf);
    for (size_t i = 0; i < 4; i++)
        fsp_table_number(&table, "work", true, values[i]);
    fsp_table_end(&table);
    assert_string_equal(fsp_buf_peek(&buf), "work\r\n-12.5\r\n\r\n\r\n0.1\r\n");
    fsp_buf_fini(&buf);
}

static void
hostile_text_reaches_the_terminal_as_bytes_shown(void **state)
{
    struct fsp_buf buf;

    (void)state;
    write(FSP_TABLE_TEXT, "\x1b[2J", &buf);
    for (size_t i = 0; i < buf.len; i++)
        assert_true(buf.data[i] >= ' ' || buf.data[i] == '\n');
    fsp_buf_fini(&buf);
}

static void
a_table_over_its_limit_is_reported_once(void **state)
{
    struct fsp_table table;
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, 16);
    fsp_table_begin(&table, columns, 5, FSP_TABLE_CSV, &buf);
    row(&table, "x", 1.0, 0);
    fsp_table_end(&table);
    assert_int_equal(buf.rc, FSP_ELIMIT);
    fsp_buf_fini(&buf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(
                    text_is_aligned_by_characters_rounded_and_leaves_columns_without_a_title_out),
            cmocka_unit_test(csv_follows_rfc_4180_and_rounds_nothing),
            cmocka_unit_test(json_has_the_same_names_and_null_where_nothing_is_known),
            cmocka_unit_test(an_empty_table_is_a_header_or_an_empty_list),
            cmocka_unit_test(members_stand_within_an_object_of_the_callers),
            cmocka_unit_test(
                    text_that_looks_like_a_formula_gets_one_apostrophe_that_can_be_taken_off),
            cmocka_unit_test(
                    negative_numbers_stay_numbers_and_none_that_is_not_finite_is_written),
            cmocka_unit_test(hostile_text_reaches_the_terminal_as_bytes_shown),
            cmocka_unit_test(a_table_over_its_limit_is_reported_once),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
