#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "record/kind.h"

/* The words of a space-separated list, one after the other; false past the end. */
static bool
next_word(const char **p, char *out, size_t size)
{
    size_t n = strcspn(*p, " ");

    if (n == 0)
        return false;
    assert_true(n < size);
    memcpy(out, *p, n);
    out[n] = '\0';
    *p += n;
    *p += strspn(*p, " ");
    return true;
}

static void
every_kind_of_the_contract_is_there(void **state)
{
    const char *p =
            "rig reel unhang turn string-up well state tour drill-string work slip cut "
            "check inspection countersign adverse program amend renewal instruction done";
    char word[40];
    size_t n = 0;

    (void)state;
    while (next_word(&p, word, sizeof(word))) {
        const struct fsp_kind *kind = fsp_kind_find(word);

        assert_non_null(kind);
        assert_string_equal(kind->name, word);
        n++;
    }
    assert_non_null(fsp_kind_at(n - 1));
    assert_null(fsp_kind_at(n));
    assert_null(fsp_kind_find("tally"));
}

struct contract {
    const char *kind;
    const char *required;
    const char *optional;
};

/* The table of the records' contract, written down a second time. */
static const struct contract contract[] = {
        {"rig", "mast drum block",
                "drum-at crossovers laps-per-layer wraps-low dead-wraps sheave bearing rolling "
                "crown fast-line dead-line block-low pick-low pick-high drive stand indicator "
                "zone tours ratings"},
        {"reel", "reel rope grade received strung lines",
                "build class core lay certificate strength test-break state from-rig "
                "carried-total carried-cut carried-since-cut carried-since-slip "
                "slipped-since-cut carried-basis baseline"},
        {"unhang", "reel", "left scrapped stored to-rig reason"},
        {"turn", "reel", ""},
        {"string-up", "lines", "drawn returned cropped wraps-low"},
        {"well", "well", "formation shape"},
        {"state", "state", ""},
        {"tour", "tour complete", "bit-depth hole-depth driller"},
        {"drill-string", "pipe stand bha-weight bha-length mud", ""},
        {"work", "op",
                "from to depth drive reams passes casing joint sections landing-string "
                "liner-length count stroke up down multiplier begin end source gaps basis pipe "
                "stand "
                "bha-weight bha-length mud hookload pull service when ton-miles factor rules"},
        {"slip", "length", "laps dead-wraps checks supervisor"},
        {"cut", "length reason",
                "laps measured slipped place condition because dead-wraps checks supervisor"},
        {"check", "item result", "value after"},
        {"inspection", "fleet rig reel inspector scope decision",
                "places event extent limits cut-to defects qualification employer sig"},
        {"countersign", "entry signer sig", ""},
        {"adverse", "what state", "derate"},
        {"program", "cut first-goal later-goal",
                "slips per-foot curve credit-above limits basis approved instruction"},
        {"amend", "entry reason", "set void"},
        {"renewal", "from why", "proof"},
        {"instruction", "bytes sig", ""},
        {"done", "entry answer", ""},
};

static size_t
assert_fields(const struct fsp_kind *kind, const char *names, bool required)
{
    char word[40];
    size_t n = 0;

    for (; next_word(&names, word, sizeof(word)); n++) {
        const struct fsp_field *field = fsp_kind_field(kind, word);

        if (field == NULL)
            fail_msg("%s has no %s", kind->name, word);
        else if (((field->flags & FSP_REQUIRED) != 0) != required)
            fail_msg("%s.%s: required or not", kind->name, word);
    }
    return n;
}

static void
every_field_of_the_contract_is_there_and_no_other(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof(contract) / sizeof(contract[0]); i++) {
        const struct fsp_kind *kind = fsp_kind_find(contract[i].kind);
        size_t n = assert_fields(kind, contract[i].required, true) +
                   assert_fields(kind, contract[i].optional, false);

        for (const struct fsp_field *f = kind->fields; f->name != NULL; f++) {
            assert_true(n > 0);
            n--;
        }
        assert_int_equal(n, 0);
    }
}

static void
operations_name_fields_that_work_has(void **state)
{
    const struct fsp_kind *work = fsp_kind_find("work");
    const struct fsp_field *op_field = fsp_kind_field(work, "op");
    const char *p = op_field->words;
    char word[40];
    size_t n = 0;

    (void)state;
    while (next_word(&p, word, sizeof(word))) {
        const struct fsp_op *op = fsp_op_at(n++);
        const char *lists[2];

        assert_non_null(op);
        assert_string_equal(op->name, word);
        lists[0] = op->required;
        lists[1] = op->optional;
        for (size_t k = 0; k < 2; k++) {
            char name[40];

            while (next_word(&lists[k], name, sizeof(name)))
                assert_non_null(fsp_kind_field(work, name));
        }
    }
    assert_null(fsp_op_at(n));
}

static void
operations_take_their_own_fields_and_those_of_all_work(void **state)
{
    const struct fsp_op *op = fsp_op_find("drilling");

    (void)state;
    assert_true(fsp_op_needs(op, "from"));
    assert_false(fsp_op_needs(op, "reams"));
    assert_false(fsp_op_needs(NULL, "reams"));
    assert_true(fsp_op_takes(op, "reams"));
    assert_true(fsp_op_takes(op, "mud"));
    assert_false(fsp_op_takes(op, "depth"));
    assert_null(fsp_op_find("fishing"));
}

static void
every_row_of_the_table_is_well_formed(void **state)
{
    const struct fsp_kind *kind;

    (void)state;
    for (size_t i = 0; (kind = fsp_kind_at(i)) != NULL; i++) {
        for (const struct fsp_field *f = kind->fields; f->name != NULL; f++) {
            assert_non_null(f->says);
            assert_int_equal(f->type == FSP_WORD, f->words != NULL);
            if (f->type == FSP_LIST)
                assert_non_null(f->sub);
            if (f->type == FSP_QUANTITY || f->type == FSP_COUNT || f->type == FSP_NUMBER)
                assert_true(f->least < f->most);
            if (f->type == FSP_QUANTITY)
                assert_true(f->dim != FSP_DIM_NONE);
        }
    }
}

static void
the_nearest_field_is_found(void **state)
{
    (void)state;
    assert_string_equal(fsp_field_nearest(NULL, "bha-lengt"), "bha-length");
    assert_string_equal(fsp_field_nearest(fsp_kind_find("rig"), "masst"), "mast");
    assert_null(fsp_field_nearest(NULL, "xyzzyxyzzy"));
    assert_true(fsp_field_known("noted"));
    assert_true(fsp_field_known("hookload"));
    assert_false(fsp_field_known("hook-load"));
}

static void
a_template_is_the_header_of_a_day_sheet(void **state)
{
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, 4096);
    fsp_kind_template(fsp_kind_find("slip"), &buf);
    assert_string_equal(fsp_buf_peek(&buf),
            "kind,at,by,tour,row,note,length,laps,dead-wraps,checks,supervisor\r\n");
    fsp_buf_reset(&buf);
    fsp_kind_template(fsp_kind_find("tour"), &buf);
    assert_string_equal(fsp_buf_peek(&buf),
            "kind,at,by,row,note,tour,complete,bit-depth,hole-depth,driller\r\n");
    fsp_buf_reset(&buf);
    fsp_kind_template(fsp_kind_find("work"), &buf);
    assert_non_null(strstr(fsp_buf_peek(&buf), ",ton-miles\r\n"));
    assert_null(strstr(fsp_buf_peek(&buf), "factor"));
    assert_null(strstr(fsp_buf_peek(&buf), "noted"));
    fsp_buf_fini(&buf);
}

static void
help_names_fields_forms_and_operations(void **state)
{
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, 65536);
    fsp_kind_help(fsp_kind_find("work"), &buf);
    assert_int_equal(buf.rc, FSP_OK);
    assert_non_null(strstr(fsp_buf_peek(&buf), "op*"));
    assert_non_null(strstr(fsp_buf_peek(&buf), "round-trip"));
    assert_non_null(strstr(fsp_buf_peek(&buf), "one of before, after"));
    assert_null(strstr(fsp_buf_peek(&buf), "noted"));
    fsp_buf_fini(&buf);
}

static void
the_document_is_what_the_table_says(void **state)
{
    static const char path[] = FSP_SOURCE_DIR "/docs/records.md";
    struct fsp_buf buf;
    struct fsp_err err;
    uint8_t *bytes = NULL;
    size_t len = 0;

    (void)state;
    fsp_buf_init(&buf, 1 << 20);
    fsp_kind_markdown(&buf);
    assert_ok(fsp_buf_check(&buf, "document", &err), &err);
    if (getenv("FSP_WRITE_DOCS") != NULL) /* NOLINT(concurrency-mt-unsafe): one thread */
        assert_ok(fsp_file_write(path, buf.data, buf.len, 0644, &err), &err);
    assert_ok(fsp_file_read(path, 1 << 20, &bytes, &len, &err), &err);
    if (len != buf.len || memcmp(bytes, buf.data, len) != 0)
        fail_msg("docs/records.md is out of date: run this test with FSP_WRITE_DOCS=1");
    free(bytes);
    fsp_buf_fini(&buf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(every_kind_of_the_contract_is_there),
            cmocka_unit_test(every_field_of_the_contract_is_there_and_no_other),
            cmocka_unit_test(operations_name_fields_that_work_has),
            cmocka_unit_test(operations_take_their_own_fields_and_those_of_all_work),
            cmocka_unit_test(every_row_of_the_table_is_well_formed),
            cmocka_unit_test(the_nearest_field_is_found),
            cmocka_unit_test(a_template_is_the_header_of_a_day_sheet),
            cmocka_unit_test(help_names_fields_forms_and_operations),
            cmocka_unit_test(the_document_is_what_the_table_says),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
