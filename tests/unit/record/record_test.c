#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "record/record.h"

static struct fsp_record *
parse(const char *text)
{
    struct fsp_record *record = NULL;
    struct fsp_err err;

    assert_ok(fsp_record_parse((const uint8_t *)text, strlen(text), &record, &err), &err);
    assert_non_null(record);
    return record;
}

static void
assert_written(const struct fsp_record *record, const char *want)
{
    struct fsp_buf buf;
    struct fsp_err err;

    fsp_buf_init(&buf, FSP_ENTRY_MAX);
    fsp_record_write(record, &buf);
    assert_ok(fsp_buf_check(&buf, "record", &err), &err);
    assert_string_equal(fsp_buf_peek(&buf), want);
    fsp_buf_fini(&buf);
}

static void
members_are_written_sorted_and_without_blanks(void **state)
{
    struct fsp_record *record =
            parse("{ \"v\" : 1, \"b\":[ {\"z\":2, \"a\":true} ],\n\"a\":\"x\" }");

    (void)state;
    assert_written(record, "{\"a\":\"x\",\"b\":[{\"a\":true,\"z\":2}],\"v\":1}");
    fsp_record_free(record);
}

static void
texts_are_escaped_as_rfc_8785_says(void **state)
{
    /* RFC 8785, 3.2.2.2: quote and backslash get a backslash, what JSON lets stand stands; the
     * characters of the example in 3.2.2 that are not controls: euro sign, slash, ", \. */
    struct fsp_record *record =
            parse("{\"string\":\"\\u20ac$A'\\u0042\\u0022\\u005c\\\\\\\"\\/\"}");

    (void)state;
    assert_written(record, "{\"string\":\"\xE2\x82\xAC$A'B\\\"\\\\\\\\\\\"/\"}");
    assert_string_equal(fsp_record_text(record, "string"), "\xE2\x82\xAC$A'B\"\\\\\"/");
    fsp_record_free(record);
}

static void
bytes_that_are_no_record_are_refused(void **state)
{
    static const char *const rows[][2] = {
            {"", "not JSON"},
            {"{", "not JSON"},
            {"{}x", "not JSON"},
            {"[1]", "one JSON object"},
            {"\"a\"", "one JSON object"},
            {"1", "one JSON object"},
            {"{\"a\":1.5}", "number with decimals"},
            {"{\"a\":1e3}", "number with decimals"},
            {"{\"a\":null}", "null"},
            {"{\"a\":1,\"a\":1}", "not JSON"},
            {"{\"a\":{\"b\":1,\"b\":2}}", "not JSON"},
            {"{\"a\":\"\\u0000\"}", "not JSON"},
            {"{\"a\":\"\\u001f\"}", "control"},
            {"{\"a\":\"\\n\"}", "control"},
            {"{\"a\":\"\x7F\"}", "control"},
            {"{\"a\":\"\\u0085\"}", "control"},
            {"{\"a\":\"\\u202e\"}", "invisible"},
            {"{\"a\":\"\xC3\"}", "not JSON"},
            {"{\"a\":\"\\ud800\"}", "not JSON"},
            {"{\"\xC3\xA9\":1}", "ASCII"},
            {"{\"a b\":1}", "ASCII"},
            {"{\"\":1}", "a name of 0"},
            {"{\"a\":9007199254740992}", "beyond 2^53"},
            {"{\"a\":-9007199254740992}", "beyond 2^53"},
            {"{\"a\":99999999999999999999}", "not JSON"},
            {"{\"a\":[[[[[[[[1]]]]]]]]}", "nested deeper"},
            {"{\"a\":[\"x\",null]}", "null"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_record *record = NULL;
        struct fsp_err err = {FSP_OK, 0, ""};
        enum fsp_rc rc = fsp_record_parse(
                (const uint8_t *)rows[i][0], strlen(rows[i][0]), &record, &err);

        if (rc != FSP_EFORMAT && rc != FSP_ELIMIT)
            fail_msg("%s: rc %d", rows[i][0], (int)rc);
        if (strstr(err.text, rows[i][1]) == NULL)
            fail_msg("%s: %s", rows[i][0], err.text);
        assert_null(record);
    }
}

static void
errors_of_a_parse_show_nothing_unprintable(void **state)
{
    static const char text[] = "{\"a\":\x1b[31m}";
    struct fsp_record *record = NULL;
    struct fsp_err err = {FSP_OK, 0, ""};

    (void)state;
    assert_int_equal(
            fsp_record_parse((const uint8_t *)text, strlen(text), &record, &err), FSP_EFORMAT);
    assert_null(strchr(err.text, '\x1b'));
}

/* {"a":"xxx..."} of that many bytes. */
static enum fsp_rc
parse_of_size(size_t size, struct fsp_err *err)
{
    struct fsp_record *record = NULL;
    struct fsp_buf buf;
    enum fsp_rc rc;

    fsp_buf_init(&buf, size);
    fsp_buf_add_text(&buf, "{\"a\":\"");
    while (buf.len + 2 < size)
        fsp_buf_add_byte(&buf, 'x');
    fsp_buf_add_text(&buf, "\"}");
    assert_int_equal(buf.len, size);
    rc = fsp_record_parse(buf.data, buf.len, &record, err);
    fsp_record_free(record);
    fsp_buf_fini(&buf);
    return rc;
}

static void
the_size_limit_is_exact(void **state)
{
    struct fsp_err err;

    (void)state;
    assert_ok(parse_of_size(FSP_ENTRY_MAX, &err), &err);
    assert_int_equal(parse_of_size(FSP_ENTRY_MAX + 1, &err), FSP_ELIMIT);
}

static void
accessors_read_what_is_there_and_only_that(void **state)
{
    struct fsp_record *record =
            parse("{\"at\":\"2026-03-01T00:00:00Z\",\"laps\":\"11-1/"
                  "2\",\"lines\":10,\"mast\":\"142ft\","
                  "\"loose\":\"2026-03-01 "
                  "00:00:00Z\",\"list\":[{\"part\":\"mast\"},{\"part\":\"hook\"},3],"
                  "\"entry\":{\"index\":7}}");
    int64_t number = -1;
    double value = 0.0;

    (void)state;
    assert_true(fsp_record_time(record, "at", &number));
    assert_int_equal(number, 1772323200);
    assert_false(fsp_record_time(record, "loose", &number));
    assert_true(fsp_record_int(record, "lines", &number));
    assert_int_equal(number, 10);
    assert_false(fsp_record_int(record, "mast", &number));
    assert_true(fsp_record_si(record, "mast", FSP_DIM_LENGTH, &value));
    assert_near(value, 43.2816, 1e-12);
    assert_false(fsp_record_si(record, "mast", FSP_DIM_LOAD, &value));
    assert_true(fsp_record_number(record, "laps", &value));
    assert_near(value, 11.5, 0.0);
    assert_null(fsp_record_text(record, "lines"));
    assert_null(fsp_record_text(record, "nothing"));
    assert_false(fsp_record_has(record, "nothing"));
    assert_int_equal(fsp_record_count(record, "list"), 3);
    assert_string_equal(fsp_record_text(fsp_record_item(record, "list", 1), "part"), "hook");
    assert_null(fsp_record_item(record, "list", 2));
    assert_null(fsp_record_item(record, "list", 3));
    assert_int_equal(fsp_record_count(record, "mast"), 0);
    assert_true(fsp_record_int(fsp_record_object(record, "entry"), "index", &number));
    assert_null(fsp_record_object(record, "mast"));
    fsp_record_free(record);
}

static void
members_are_named_in_canonical_order(void **state)
{
    struct fsp_record *record = parse("{\"v\":1,\"by\":\"x\",\"at\":\"y\"}");

    (void)state;
    assert_string_equal(fsp_record_member(record, 0), "at");
    assert_string_equal(fsp_record_member(record, 1), "by");
    assert_string_equal(fsp_record_member(record, 2), "v");
    assert_null(fsp_record_member(record, 3));
    fsp_record_free(record);
}

static void
assert_identity(const char *text, const char *want)
{
    struct fsp_record *record = parse(text);
    struct fsp_buf buf;

    fsp_buf_init(&buf, FSP_ENTRY_MAX);
    fsp_record_write_identity(record, &buf);
    assert_string_equal(fsp_buf_peek(&buf), want);
    fsp_buf_fini(&buf);
    assert_written(record, text);
    fsp_record_free(record);
}

static void
identity_leaves_out_noted_and_what_was_worked_out(void **state)
{
    (void)state;
    assert_identity(
            "{\"at\":\"t\",\"depth\":\"4000ft\",\"factor\":\"3.90\",\"kind\":\"work\","
            "\"noted\":\"n\",\"op\":\"round-trip\",\"rules\":\"1\",\"ton-miles\":\"53.70\"}",
            "{\"at\":\"t\",\"depth\":\"4000ft\",\"kind\":\"work\",\"op\":\"round-trip\"}");
    assert_identity("{\"basis\":\"log\",\"factor\":\"3.90\",\"kind\":\"work\",\"noted\":\"n\","
                    "\"op\":\"stated\",\"ton-miles\":\"53\"}",
            "{\"basis\":\"log\",\"kind\":\"work\",\"op\":\"stated\",\"ton-miles\":\"53\"}");
    assert_identity("{\"factor\":\"1\",\"kind\":\"other\",\"noted\":\"n\"}",
            "{\"factor\":\"1\",\"kind\":\"other\"}");
}

static void
an_amendment_changes_a_copy_only(void **state)
{
    struct fsp_record *record = parse("{\"depth\":\"4000ft\",\"kind\":\"work\",\"v\":1}");
    struct fsp_record *fields = parse("{\"depth\":\"4100ft\",\"note\":\"misread\"}");
    struct fsp_record *kind = parse("{\"kind\":\"slip\"}");
    struct fsp_record *copy = NULL;
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_record_copy(record, &copy, &err), &err);
    assert_ok(fsp_record_amend(copy, fields, &err), &err);
    fsp_record_free(fields);
    assert_written(
            copy, "{\"depth\":\"4100ft\",\"kind\":\"work\",\"note\":\"misread\",\"v\":1}");
    assert_written(record, "{\"depth\":\"4000ft\",\"kind\":\"work\",\"v\":1}");
    assert_int_equal(fsp_record_amend(copy, kind, &err), FSP_EINVAL);
    fsp_record_free(kind);
    fsp_record_free(copy);
    fsp_record_free(record);
}

static void
a_text_can_be_set_if_it_is_printable(void **state)
{
    struct fsp_record *record = parse("{\"v\":1}");
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_record_set_text(record, "noted", "2026-03-01T00:00:00Z", &err), &err);
    assert_int_equal(fsp_record_set_text(record, "note", "a\nb", &err), FSP_EFORMAT);
    assert_written(record, "{\"noted\":\"2026-03-01T00:00:00Z\",\"v\":1}");
    fsp_record_free(record);
    fsp_record_free(NULL);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(members_are_written_sorted_and_without_blanks),
            cmocka_unit_test(texts_are_escaped_as_rfc_8785_says),
            cmocka_unit_test(bytes_that_are_no_record_are_refused),
            cmocka_unit_test(errors_of_a_parse_show_nothing_unprintable),
            cmocka_unit_test(the_size_limit_is_exact),
            cmocka_unit_test(accessors_read_what_is_there_and_only_that),
            cmocka_unit_test(members_are_named_in_canonical_order),
            cmocka_unit_test(identity_leaves_out_noted_and_what_was_worked_out),
            cmocka_unit_test(an_amendment_changes_a_copy_only),
            cmocka_unit_test(a_text_can_be_set_if_it_is_printable),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
