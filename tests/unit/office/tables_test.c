#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "office/tables.h"

static void
every_column_has_a_name_of_its_own_and_says_what_it_means(void **state)
{
    const struct fsp_tables_def *def;

    (void)state;
    for (size_t t = 0; (def = fsp_tables_at(t)) != NULL; t++)
        for (size_t i = 0; i < def->n; i++) {
            const char *name = def->columns[i].name;

            assert_int_equal(
                    strspn(name, "abcdefghijklmnopqrstuvwxyz_0123456789"), strlen(name));
            assert_non_null(def->columns[i].meaning);
            assert_null(strchr(def->columns[i].meaning, '|'));
            for (size_t k = 0; k < i; k++)
                assert_string_not_equal(name, def->columns[k].name);
        }
    assert_true(fsp_tables_at(0)->n > 10);
}

static void
every_table_begins_with_the_rig(void **state)
{
    (void)state;
    for (size_t t = 0; fsp_tables_at(t) != NULL; t++)
        assert_string_equal(fsp_tables_at(t)->columns[0].name, "rig");
}

static void
a_table_that_is_none_is_told_with_those_there_are(void **state)
{
    const struct fsp_tables_def *def = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    (void)state;
    assert_int_equal(fsp_tables_find("cuts", &def, &err), FSP_OK);
    assert_string_equal(def->name, "cuts");
    assert_int_equal(fsp_tables_find("cut", &def, &err), FSP_ENOTFOUND);
    assert_null(def);
    assert_non_null(strstr(err.text, "cuts, early"));
}

static void
an_empty_fleet_gives_headers_alone(void **state)
{
    const struct fsp_fleet fleet = {.name = "lantern-basin"};
    const struct fsp_tables_from from = {.fleet = &fleet};
    const struct fsp_tables_def *def;

    (void)state;
    for (size_t t = 0; (def = fsp_tables_at(t)) != NULL; t++) {
        struct fsp_err err = {.rc = FSP_OK};
        struct fsp_buf buf;

        fsp_buf_init(&buf, 65536);
        assert_ok(fsp_tables_write(def, FSP_TABLE_CSV, &from, &buf, &err), &err);
        assert_int_equal(strncmp(fsp_buf_peek(&buf), "rig,", 4), 0);
        assert_string_equal(strchr(fsp_buf_peek(&buf), '\n'), "\n");
        fsp_buf_fini(&buf);
    }
}

static void
the_document_is_what_the_columns_say(void **state)
{
    static const char path[] = FSP_SOURCE_DIR "/docs/columns.md";
    struct fsp_buf buf;
    struct fsp_err err;
    uint8_t *bytes = NULL;
    size_t len = 0;

    (void)state;
    fsp_buf_init(&buf, 1 << 20);
    fsp_tables_markdown(&buf);
    assert_ok(fsp_buf_check(&buf, "document", &err), &err);
    if (getenv("FSP_WRITE_DOCS") != NULL) /* NOLINT(concurrency-mt-unsafe): one thread */
        assert_ok(fsp_file_write(path, buf.data, buf.len, 0644, &err), &err);
    assert_ok(fsp_file_read(path, 1 << 20, &bytes, &len, &err), &err);
    if (len != buf.len || memcmp(bytes, buf.data, len) != 0)
        fail_msg("docs/columns.md is out of date: run this test with FSP_WRITE_DOCS=1");
    free(bytes);
    fsp_buf_fini(&buf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(every_column_has_a_name_of_its_own_and_says_what_it_means),
            cmocka_unit_test(every_table_begins_with_the_rig),
            cmocka_unit_test(a_table_that_is_none_is_told_with_those_there_are),
            cmocka_unit_test(an_empty_fleet_gives_headers_alone),
            cmocka_unit_test(the_document_is_what_the_columns_say),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
