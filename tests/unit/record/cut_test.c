#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "record/cut.h"
#include "record/record.h"

static const char *const signed_names[] = {"noted", "sig"};

/* Canonical records: members first, last, alone, look-alikes, nested namesakes, escapes. */
static const struct {
    const char *entry;
    const char *left; /* without noted and sig */
} cases[] = {
        {"{}", "{}"},
        {"{\"sig\":\"x\"}", "{}"},
        {"{\"noted\":1,\"sig\":[]}", "{}"},
        {"{\"a\":1,\"noted\":2}", "{\"a\":1}"},
        {"{\"noted\":2,\"z\":3}", "{\"z\":3}"},
        {"{\"a\":1,\"noted\":2,\"o\":3,\"sig\":4,\"z\":5}", "{\"a\":1,\"o\":3,\"z\":5}"},
        {"{\"a\":{\"noted\":1,\"sig\":2},\"b\":[{\"sig\":3}],\"sig\":{\"sig\":{}}}",
                "{\"a\":{\"noted\":1,\"sig\":2},\"b\":[{\"sig\":3}]}"},
        {"{\"note\":1,\"noted\":2,\"noted2\":3,\"si\":4,\"sig\":5,\"signer\":6}",
                "{\"note\":1,\"noted2\":3,\"si\":4,\"signer\":6}"},
        {"{\"a\":\"\\\",\\\"sig\\\":1,\\\\\",\"b\":\"}]\",\"sig\":\"{[\\\\\\\"\"}",
                "{\"a\":\"\\\",\\\"sig\\\":1,\\\\\",\"b\":\"}]\"}"},
        {"{\"\\\\\":1,\"noted\":\"\\\\\",\"z\":\"\xC3\xA9/\xE2\x82\xAC\"}",
                "{\"\\\\\":1,\"z\":\"\xC3\xA9/\xE2\x82\xAC\"}"},
        {"{\"a\":true,\"b\":false,\"c\":-1,\"d\":9007199254740991,\"sig\":[[[[[[0]]]]]]}",
                "{\"a\":true,\"b\":false,\"c\":-1,\"d\":9007199254740991}"},
        {"{\"at\":\"2026-03-01T07:00:00Z\",\"by\":\"clerk\",\"kind\":\"slip\",\"length\":\"30 "
         "ft\",\"noted\":\"2026-03-01T07:10:00Z\",\"v\":1}",
                "{\"at\":\"2026-03-01T07:00:00Z\",\"by\":\"clerk\",\"kind\":\"slip\","
                "\"length\":\"30 ft\",\"v\":1}"},
};
#define CASES (sizeof(cases) / sizeof(cases[0]))

static enum fsp_rc
cut(const char *entry, size_t len, struct fsp_buf *out)
{
    struct fsp_err err;

    return fsp_record_cut(entry, len, signed_names, 2, out, &err);
}

static void
members_are_cut_and_the_rest_stays_byte_for_byte(void **state)
{
    struct fsp_buf out;

    (void)state;
    fsp_buf_init(&out, FSP_ENTRY_MAX);
    for (size_t i = 0; i < CASES; i++) {
        fsp_buf_reset(&out);
        fsp_buf_add_text(&out, "before");
        assert_int_equal(cut(cases[i].entry, strlen(cases[i].entry), &out), FSP_OK);
        assert_memory_equal(fsp_buf_peek(&out), "before", 6);
        assert_string_equal(fsp_buf_peek(&out) + 6, cases[i].left);
    }
    fsp_buf_fini(&out);
}

static void
what_was_cut_once_stays_as_it_is(void **state)
{
    struct fsp_buf out;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&out, FSP_ENTRY_MAX);
    for (size_t i = 0; i < CASES; i++) {
        fsp_buf_reset(&out);
        assert_int_equal(cut(cases[i].left, strlen(cases[i].left), &out), FSP_OK);
        assert_string_equal(fsp_buf_peek(&out), cases[i].left);
        fsp_buf_reset(&out);
        assert_ok(fsp_record_cut(cases[i].entry, strlen(cases[i].entry), NULL, 0, &out, &err),
                &err);
        assert_string_equal(fsp_buf_peek(&out), cases[i].entry);
    }
    fsp_buf_fini(&out);
}

/* Outside check: jq, another JSON parser and writer. */
static void
jq_finds_the_same_bytes(void **state)
{
    char path[] = "/tmp/fsp-cut-XXXXXX";
    char command[128];
    int fd;
    FILE *file;

    (void)state;
    if (system("jq --version >/dev/null 2>&1") != 0) { /* NOLINT(concurrency-mt-unsafe) */
        print_message("jq is not installed: cutting is not checked against it\n");
        return;
    }
    fd = mkstemp(path);
    assert_true(fd >= 0);
    file = fdopen(fd, "w");
    assert_non_null(file);
    for (size_t i = 0; i < CASES; i++)
        assert_true(fprintf(file, "%s\n", cases[i].entry) > 0);
    assert_int_equal(fclose(file), 0);
    (void)snprintf(command, sizeof(command), "jq -cS 'del(.noted,.sig)' %s", path);
    file = popen(command, "r"); /* rows of our own table */
    assert_non_null(file);
    for (size_t i = 0; i < CASES; i++) {
        char line[512] = "";

        assert_non_null(fgets(line, sizeof(line), file));
        line[strcspn(line, "\n")] = '\0';
        assert_string_equal(line, cases[i].left);
    }
    assert_int_equal(pclose(file), 0);
    assert_int_equal(remove(path), 0);
}

static void
what_is_not_canonical_json_of_one_object_is_refused(void **state)
{
    static const char *const bad[] = {"", " ", "{", "}", "[]", "1", "\"sig\"", "null", "{} ",
            " {}", "{}\n", "{}{}", "{ }", "{\"a\": 1}", "{\"a\":1 }", "{\"b\":1,\"a\":2}",
            "{\"a\":1,\"a\":1}", "{\"a\":1.5}", "{\"a\":1e2}", "{\"a\":-0}", "{\"a\":01}",
            "{\"a\":null}", "{\"a\":9007199254740992}", "{\"a\":\"\\u0041\"}",
            "{\"a\":\"\\/\"}", "{\"a\":\"\t\"}", "{\"a\":\"\\n\"}", "{\"a\":\"\xFF\"}",
            "{\"a\":\"\xC0\x80\"}", "{\"\":1}", "{\"\xC3\xA9\":1}", "{a:1}", "{\"a\":1,}",
            "{\"a\"}", "{\"sig\":\"\\\"}", "{\"a\":[[[[[[[[0]]]]]]]]}"};
    struct fsp_buf out;

    (void)state;
    fsp_buf_init(&out, FSP_ENTRY_MAX);
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        enum fsp_rc rc = cut(bad[i], strlen(bad[i]), &out);

        if (rc != FSP_EFORMAT && rc != FSP_ELIMIT)
            fail_msg("'%s' gives %d", bad[i], (int)rc);
        assert_int_equal(out.len, 0);
    }
    assert_int_equal(cut("{\"a\":\"\0\"}", 9, &out), FSP_EFORMAT);
    fsp_buf_fini(&out);
}

static void
every_truncation_is_refused(void **state)
{
    struct fsp_buf out;

    (void)state;
    fsp_buf_init(&out, FSP_ENTRY_MAX);
    for (size_t i = 0; i < CASES; i++) {
        size_t len = strlen(cases[i].entry);

        for (size_t n = 0; n < len; n++) {
            char *part = malloc(n + 1); /* of its own, so that a sanitizer sees the end */

            assert_non_null(part);
            memcpy(part, cases[i].entry, n);
            assert_int_not_equal(cut(part, n, &out), FSP_OK);
            free(part);
        }
    }
    fsp_buf_fini(&out);
}

static void
limits_hold_and_a_small_buffer_keeps_what_it_had(void **state)
{
    struct fsp_buf entry;
    struct fsp_buf out;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&entry, FSP_ENTRY_MAX + 1);
    fsp_buf_add_text(&entry, "{\"a\":\"");
    while (entry.len < FSP_ENTRY_MAX - 2)
        fsp_buf_add_byte(&entry, 'x');
    fsp_buf_add_text(&entry, "\"}");
    fsp_buf_init(&out, FSP_ENTRY_MAX + 6);
    fsp_buf_add_text(&out, "before");
    assert_int_equal(cut(fsp_buf_peek(&entry), entry.len, &out), FSP_OK);
    assert_int_equal(out.len, FSP_ENTRY_MAX + 6);
    entry.len -= 2;
    fsp_buf_add_text(&entry, "x\"}");
    assert_int_equal(entry.len, FSP_ENTRY_MAX + 1);
    assert_int_equal(cut(fsp_buf_peek(&entry), entry.len, &out), FSP_ELIMIT);
    fsp_buf_fini(&out);
    fsp_buf_fini(&entry);

    fsp_buf_init(&out, 20);
    fsp_buf_add_text(&out, "before");
    assert_int_equal(
            fsp_record_cut("{\"abcdefgh\":12345}", 18, NULL, 0, &out, &err), FSP_ELIMIT);
    assert_string_equal(fsp_buf_peek(&out), "before");
    fsp_buf_fini(&out);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(members_are_cut_and_the_rest_stays_byte_for_byte),
            cmocka_unit_test(what_was_cut_once_stays_as_it_is),
            cmocka_unit_test(jq_finds_the_same_bytes),
            cmocka_unit_test(what_is_not_canonical_json_of_one_object_is_refused),
            cmocka_unit_test(every_truncation_is_refused),
            cmocka_unit_test(limits_hold_and_a_small_buffer_keeps_what_it_had),
    };

    return cmocka_run_group_tests_name("cut", tests, NULL, NULL);
}
