#include "support/test.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "wire/dictionary.h"
#include "wire/terse.h"

/* A writer and a reader side by side. */
struct pair {
    struct fsp_terse *writer;
    struct fsp_terse *reader;
    struct fsp_buf line;
    struct fsp_buf entry;
};

static void
pair_init(struct pair *pair, bool preset)
{
    struct fsp_err err = {.rc = FSP_OK};
    size_t len;
    const uint8_t *bytes = fsp_dictionary(FSP_DICTIONARY_TERSE, &len);

    if (!preset)
        len = 0;
    assert_ok(fsp_terse_new(bytes, len, &pair->writer, &err), &err);
    assert_ok(fsp_terse_new(bytes, len, &pair->reader, &err), &err);
    fsp_buf_init(&pair->line, FSP_ENTRY_MAX + 2);
    fsp_buf_init(&pair->entry, FSP_ENTRY_MAX + 1);
}

static void
pair_fini(struct pair *pair)
{
    fsp_terse_free(pair->writer);
    fsp_terse_free(pair->reader);
    fsp_buf_fini(&pair->line);
    fsp_buf_fini(&pair->entry);
}

/* Write the entry, read it again; the line without its LF is in pair->line as text. */
static const char *
through(struct pair *pair, const char *entry, size_t len)
{
    struct fsp_err err = {.rc = FSP_OK};

    fsp_buf_reset(&pair->line);
    fsp_buf_reset(&pair->entry);
    fsp_terse_write(pair->writer, (const uint8_t *)entry, len, &pair->line);
    assert_ok(fsp_buf_check(&pair->line, "line", &err), &err);
    assert_int_equal(pair->line.data[pair->line.len - 1], '\n');
    pair->line.data[--pair->line.len] = '\0';
    assert_null(memchr(pair->line.data, '\n', pair->line.len));
    assert_ok(fsp_terse_read(pair->reader, pair->line.data, pair->line.len, &pair->entry, &err),
            &err);
    assert_int_equal(pair->entry.len, len + 1);
    assert_memory_equal(pair->entry.data, entry, len);
    assert_int_equal(pair->entry.data[len], '\n');
    return (const char *)pair->line.data;
}

static const char *
text_through(struct pair *pair, const char *entry)
{
    return through(pair, entry, strlen(entry));
}

/* The lines of docs/formats.md, section 23, as it shows them. */
static void
the_lines_of_the_page_are_written(void **state)
{
    static const char *const lines[][2] = {
            {"{\"at\":\"2026-03-01T06:00:00Z\",\"from\":\"0ft\",\"kind\":\"work\","
             "\"noted\":\"2026-03-01T07:10:00Z\",\"op\":\"run-in\",\"to\":\"4327ft\",\"v\":1}",
                    NULL},
            {"{\"at\":\"2026-03-01T09:30:00Z\",\"from\":\"4327ft\",\"kind\":\"work\","
             "\"noted\":\"2026-03-01T09:31:05Z\",\"op\":\"run-in\",\"to\":\"4425ft\",\"v\":1}",
                    " \002210\001\00465\00298"},
            {"{\"at\":\"2026-03-01T09:20:00Z\",\"from\":\"4425ft\",\"kind\":\"work\","
             "\"noted\":\"2026-03-01T09:31:05Z\",\"op\":\"run-in\",\"to\":\"4425.5ft\",\"v\":"
             "2}",
                    " \00310\001\001\0014425.5ft\0021"},
    };
    struct pair pair;

    (void)state;
    pair_init(&pair, false);
    assert_int_equal(text_through(&pair, lines[0][0])[0], 1);
    for (size_t i = 1; i < sizeof(lines) / sizeof(lines[0]); i++)
        assert_string_equal(text_through(&pair, lines[i][0]), lines[i][1]);
    pair_fini(&pair);
}

static void
a_number_follows_only_one_of_its_own_shape(void **state)
{
    static const char *const values[][2] = {
            {"9.98", "\0019.98"},
            {"10.02", "\0024"},
            {"0.02", "\0031000"},
            {"0.2", "\0010.2"},
            {"0.1", "\0031"},
            {"0.1ft", "\0010.1ft"},
            {"0.0ft", "\0031"},
            {"00.1ft", "\00100.1ft"},
            {"999999999999999", "\001999999999999999"},
            {"1000000000000000", "\0011000000000000000"},
            {"", "\006"},
            {"", "\006"},
    };
    struct pair pair;
    char entry[80];

    (void)state;
    pair_init(&pair, false);
    (void)text_through(&pair, "{\"n\":\"x\"}");
    for (size_t i = 0; i < sizeof(values) / sizeof(values[0]); i++) {
        (void)snprintf(entry, sizeof(entry), "{\"n\":\"%s\"}", values[i][0]);
        assert_string_equal(text_through(&pair, entry) + 1, values[i][1]);
    }
    pair_fini(&pair);
}

static void
any_bytes_come_back(void **state)
{
    static const char *const entries[] = {"x", "{}", "{", "{\"a\":1}}", "{\"a\":\"1}",
            "{\"a\":}", "{\"b\":1,\"a\":1}", "{\"a\":1,\"a\":1}", "{\"kind\":1}", "\001",
            "\0025", " ", "{\"a\":[\"]\",{\"b\":\"\\\"\"}]}",
            "{\"a\":[\"]\",{\"b\":\"\\\"\"}]}", "{\"at\":\"9999-12-31T23:59:59Z\"}",
            "{\"at\":\"0000-01-01T00:00:00Z\"}", "{\"at\":\"9999-12-31T23:59:59Z\"}"};
    struct pair pair;
    char *whole = malloc(FSP_ENTRY_MAX);

    (void)state;
    for (int preset = 0; preset < 2; preset++) {
        pair_init(&pair, preset == 1);
        for (size_t i = 0; i < 2 * sizeof(entries) / sizeof(entries[0]); i++)
            (void)text_through(&pair, entries[i % (sizeof(entries) / sizeof(entries[0]))]);
        (void)through(&pair, "nul \0 \r\t", 8);
        memset(whole, 'y', FSP_ENTRY_MAX);
        (void)through(&pair, whole, FSP_ENTRY_MAX);
        pair_fini(&pair);
    }
    free(whole);
}

/* 224 forms; the next ones go as they are, for ever, and nothing is lost. */
static void
forms_beyond_the_limit_go_as_they_are(void **state)
{
    struct pair pair;
    char entry[80];

    (void)state;
    pair_init(&pair, false);
    for (int round = 0; round < 2; round++)
        for (int i = 0; i < 230; i++) {
            (void)snprintf(entry, sizeof(entry), "{\"kind\":\"k%d\",\"n\":%d}", i, round);
            assert_int_equal((uint8_t)text_through(&pair, entry)[0],
                    round == 0 || i >= 224 ? 1 : 0x20 + i);
        }
    pair_fini(&pair);
}

static void
a_line_out_of_form_is_refused(void **state)
{
    static const struct {
        const char *bytes;
        size_t len;
    } lines[] = {
            {"", 0}, {"\001", 1}, {"\002", 1}, {"\037", 1}, /* no form */
            {"!", 1}, {"\377", 1},                          /* one that is not there */
            {" \001\001\001", 4},                           /* more values than members */
            {" x", 2}, {" \007", 2}, {" \0", 2},            /* no mark */
            {" \002", 2}, {" \00201", 4}, {" \002x", 3}, {" \002-1", 4}, {" \0041", 3},
            {" \0051", 3},                    /* seconds on what is no time */
            {" \0036", 3},                    /* below zero */
            {" \0021000000000000000", 18},    /* 16 digits */
            {" \006x", 3}, {" \001\0021", 4}, /* nothing before to add to */
    };
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf out;

    (void)state;
    for (size_t i = 0; i < sizeof(lines) / sizeof(lines[0]); i++) {
        static const char first[] = "\001{\"n\":\"5\",\"t\":\"x\"}";
        struct fsp_terse *terse = NULL;

        fsp_buf_init(&out, 1000);
        assert_ok(fsp_terse_new(NULL, 0, &terse, &err), &err);
        assert_ok(fsp_terse_read(terse, (const uint8_t *)first, sizeof(first) - 1, &out, &err),
                &err);
        assert_int_equal(fsp_terse_read(terse, (const uint8_t *)lines[i].bytes, lines[i].len,
                                 &out, &err),
                FSP_EFORMAT);
        assert_non_null(strstr(err.text, "out of form"));
        fsp_terse_free(terse);
        fsp_buf_fini(&out);
    }
}

/* A short line may stand for a long entry: the buffer's maximum holds. */
static void
lines_expand_no_further_than_the_cap(void **state)
{
    static const char first[] =
            "\001{\"n\":\"12345678901234567890123456789012345678901234567890\"}";
    struct fsp_terse *terse = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf out;
    enum fsp_rc rc = FSP_OK;
    int n = 0;

    (void)state;
    fsp_buf_init(&out, 1000);
    assert_ok(fsp_terse_new(NULL, 0, &terse, &err), &err);
    assert_ok(
            fsp_terse_read(terse, (const uint8_t *)first, sizeof(first) - 1, &out, &err), &err);
    for (; rc == FSP_OK && n < 100; n++)
        rc = fsp_terse_read(terse, (const uint8_t *)" ", 1, &out, &err);
    assert_int_equal(rc, FSP_ELIMIT);
    assert_in_range(n, 10, 20);
    assert_true(out.len <= 1000);
    fsp_terse_free(terse);
    fsp_buf_fini(&out);
}

/* The dictionary itself is lines; what it begins with is what reader and writer know. */
static void
the_dictionary_reads_and_its_forms_are_known(void **state)
{
    static const char tour[] =
            "{\"at\":\"2025-03-01T21:00:00Z\",\"bit-depth\":\"4508ft\",\"by\":\"clerk\","
            "\"complete\":\"yes\",\"driller\":\"driller-a\",\"hole-depth\":\"4508ft\","
            "\"kind\":\"tour\",\"noted\":\"2025-03-01T22:34:45Z\",\"tour\":\"day\",\"v\":1}";
    struct pair pair;

    (void)state;
    pair_init(&pair, true);
    assert_true((uint8_t)text_through(&pair, tour)[0] >= 0x20);
    assert_true(pair.line.len * 4 < sizeof(tour));
    pair_fini(&pair);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_lines_of_the_page_are_written),
            cmocka_unit_test(a_number_follows_only_one_of_its_own_shape),
            cmocka_unit_test(any_bytes_come_back),
            cmocka_unit_test(forms_beyond_the_limit_go_as_they_are),
            cmocka_unit_test(a_line_out_of_form_is_refused),
            cmocka_unit_test(lines_expand_no_further_than_the_cap),
            cmocka_unit_test(the_dictionary_reads_and_its_forms_are_known),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
