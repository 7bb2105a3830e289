#include "support/test.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "web/form.h"
#include "web/gzip.h"

static bool
is_even(const char *value)
{
    return (value[strlen(value) - 1] - '0') % 2 == 0;
}

static const char *const words[] = {"reader", "keeper", NULL};
static const struct fsp_form_field fields[] = {
        {.name = "rig", .max = 63, .is = FSP_FIELD_NAME},
        {.name = "n",
                .max = 20,
                .is = FSP_FIELD_COUNT,
                .good = is_even,
                .wants = "is not even"},
        {.name = "token", .max = 8, .is = FSP_FIELD_TOKEN},
        {.name = "role", .max = 10, .is = FSP_FIELD_WORD, .words = words},
        {.name = "line", .max = 5},
        {.name = "text", .max = 5, .is = FSP_FIELD_TEXT},
        {.name = NULL},
};

struct row {
    const char *sent;
    enum fsp_rc rc;
    const char *name; /* the value asked for afterwards */
    const char *value;
};

static void
check(const struct row *row)
{
    struct fsp_form form;
    struct fsp_err err = {0};
    enum fsp_rc rc;

    fsp_form_init(&form, fields);
    rc = fsp_form_read(&form, row->sent, strlen(row->sent), &err);
    if (rc != row->rc)
        fail_msg("%s: rc %d: %s", row->sent, (int)rc, err.text);
    if (rc == FSP_OK) {
        const char *value = fsp_form_value(&form, row->name);

        if ((value == NULL) != (row->value == NULL) ||
                (value != NULL && strcmp(value, row->value) != 0))
            fail_msg("%s: %s", row->sent, value == NULL ? "no value" : value);
    } else if (strchr(err.text, '\n') != NULL || err.text[0] == '\0') {
        fail_msg("%s: not one line: %s", row->sent, err.text);
    }
    fsp_form_fini(&form);
}

static void
fields_are_what_the_table_says_or_refused(void **state)
{
    static const struct row rows[] = {
            {"", FSP_OK, "rig", NULL},
            {"&&", FSP_OK, "rig", NULL},
            {"rig=heron", FSP_OK, "rig", "heron"},
            {"rig", FSP_OK, "rig", NULL},
            {"rig=", FSP_OK, "rig", NULL},
            {"rig=&rig=heron", FSP_EFORMAT, NULL, NULL},
            {"%72ig=her%6fn&", FSP_OK, "rig", "heron"},
            {"rig=Heron", FSP_EFORMAT, NULL, NULL},
            {"rig=../heron", FSP_EFORMAT, NULL, NULL},
            {"RIG=heron", FSP_EFORMAT, NULL, NULL},
            {"=heron", FSP_EFORMAT, NULL, NULL},
            {"rig=her=on", FSP_EFORMAT, NULL, NULL},
            {"n=12", FSP_OK, "n", "12"},
            {"n=13", FSP_EFORMAT, NULL, NULL},
            {"n=012", FSP_EFORMAT, NULL, NULL},
            {"n=-2", FSP_EFORMAT, NULL, NULL},
            {"n=99999999999999999998", FSP_EFORMAT, NULL, NULL},
            {"token=aZ0-_", FSP_OK, "token", "aZ0-_"},
            {"token=12345678", FSP_OK, "token", "12345678"},
            {"token=123456789", FSP_ELIMIT, NULL, NULL},
            {"token=a.b", FSP_EFORMAT, NULL, NULL},
            {"role=keeper", FSP_OK, "role", "keeper"},
            {"role=keep", FSP_EFORMAT, NULL, NULL},
            {"line=a+b%2Bc", FSP_OK, "line", "a b+c"},
            {"line=%C3%A9%C3%A9x", FSP_OK, "line", "\xc3\xa9\xc3\xa9x"},
            {"line=%C3%A9%C3%A9%C3%A9", FSP_ELIMIT, NULL, NULL},
            {"line=%C3", FSP_EFORMAT, NULL, NULL},
            {"line=%C0%80", FSP_EFORMAT, NULL, NULL},
            {"line=a%0Ab", FSP_EFORMAT, NULL, NULL},
            {"line=%", FSP_EFORMAT, NULL, NULL},
            {"line=%a", FSP_EFORMAT, NULL, NULL},
            {"line=%g0", FSP_EFORMAT, NULL, NULL},
            {"text=a%0D%0Ab%0Dc", FSP_OK, "text", "a\nb\nc"},
            {"text=%0D%0A%0D%0Aabc", FSP_OK, "text", "\n\nabc"},
            {"text=a%09b", FSP_OK, "text", "a b"},
            {"text=a%0Bb", FSP_EFORMAT, NULL, NULL},
            {"text=a%0A%E2%80%AE", FSP_EFORMAT, NULL, NULL},
            {"line=%E2%80%AE", FSP_EFORMAT, NULL, NULL},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        check(&rows[i]);
}

static void
a_form_up_to_its_maximum_is_read_and_no_more(void **state)
{
    static const struct fsp_form_field one[] = {
            {.name = "a", .max = FSP_FORM_MAX}, {.name = NULL}};
    struct fsp_err err = {0};
    char *sent = malloc(FSP_FORM_MAX + 2);

    (void)state;
    assert_non_null(sent);
    memset(sent, 'x', FSP_FORM_MAX + 2);
    sent[0] = 'a';
    sent[1] = '=';
    for (size_t over = 0; over < 2; over++) {
        struct fsp_form form;
        enum fsp_rc rc;

        fsp_form_init(&form, one);
        rc = fsp_form_read(&form, sent, FSP_FORM_MAX + over, &err);
        assert_int_equal(rc, over == 0 ? FSP_OK : FSP_ELIMIT);
        if (rc == FSP_OK)
            assert_int_equal(strlen(fsp_form_value(&form, "a")), FSP_FORM_MAX - 2);
        fsp_form_fini(&form);
    }
    free(sent);
}

static void
no_table_takes_no_field(void **state)
{
    struct fsp_form form;
    struct fsp_err err = {0};

    (void)state;
    fsp_form_init(&form, NULL);
    assert_ok(fsp_form_read(&form, NULL, 0, &err), &err);
    assert_int_equal(fsp_form_read(&form, "a", 1, &err), FSP_EFORMAT);
    fsp_form_fini(&form);
}

static void
a_cookie_counts_only_when_it_is_there_once(void **state)
{
    static const struct {
        const char *header;
        const char *value;
    } rows[] = {
            {NULL, NULL},
            {"", NULL},
            {"s=abc", "abc"},
            {"a=1; s=abc; b=2", "abc"},
            {"a=1;s=abc", "abc"},
            {"xs=abc", NULL},
            {"s=abc; s=def", NULL},
            {"s=abc; s=abc", NULL},
            {"s=", NULL},
            {"s", NULL},
            {"s=a b", NULL},
            {"s=\"abc\"", NULL},
            {"s=a%20b", NULL},
            {"s=1234567", "1234567"},
            {"s=12345678", NULL},
            {";;; s=abc;", "abc"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        char out[8];
        bool there = fsp_cookie_find(rows[i].header, "s", out, sizeof(out));

        if (there != (rows[i].value != NULL) || (there && strcmp(out, rows[i].value) != 0))
            fail_msg("%s: %d %s", rows[i].header, there, out);
    }
}

static void
codings_and_tags_are_found_in_their_lists(void **state)
{
    static const struct {
        const char *header;
        bool takes;
    } rows[] = {{NULL, false}, {"", false}, {"gzip", true}, {"br, gzip", true}, {"GZIP", true},
            {"gzip;q=0", false}, {"gzip; q=0.000", false}, {"gzip;q=0.001", true},
            {"x-gzip", false}, {"gzipped", false}, {"br;q=0, gzip;q=1.0", true},
            {"identity", false}};

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        if (fsp_accepts_gzip(rows[i].header) != rows[i].takes)
            fail_msg("%s", rows[i].header);
    assert_true(fsp_names_etag("\"a\"", "a"));
    assert_true(fsp_names_etag("\"b\" , W/\"a\"", "a"));
    assert_true(fsp_names_etag("*", "a"));
    assert_false(fsp_names_etag("a", "a"));
    assert_false(fsp_names_etag("\"ab\"", "a"));
    assert_false(fsp_names_etag(NULL, "a"));
}

static void
the_last_forwarded_address_is_the_one(void **state)
{
    static const struct {
        const char *header;
        const char *client;
    } rows[] = {{"192.0.2.1", "192.0.2.1"}, {"10.0.0.1, 192.0.2.1 ", "192.0.2.1"},
            {"192.0.2.1, 2001:db8::7", "2001:db8::7"}, {"192.0.2.1, unknown", NULL},
            {"192.0.2.1,", NULL}, {"", NULL}, {NULL, NULL}, {"192.0.2.1:80", NULL},
            {"192.0.2.1; x", NULL}};

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        char out[FSP_CLIENT_MAX];
        bool there = fsp_forwarded_for(rows[i].header, out);

        if (there != (rows[i].client != NULL) || (there && strcmp(out, rows[i].client) != 0))
            fail_msg("%s: %d %s", rows[i].header, there, out);
    }
}

static void
gzip_comes_back_whole_and_what_is_none_is_refused(void **state)
{
    struct fsp_buf member;
    struct fsp_buf back;
    struct fsp_err err = {0};
    char *text = malloc(100000);

    (void)state;
    assert_non_null(text);
    for (size_t i = 0; i < 100000; i++)
        text[i] = (char)('a' + (i * i / 7) % 26);
    fsp_buf_init(&member, 200000);
    fsp_buf_init(&back, 100001);
    assert_ok(fsp_gzip(&member, text, 100000, &err), &err);
    assert_ok(fsp_gunzip(&back, member.data, member.len, &err), &err);
    assert_int_equal(back.len, 100000);
    assert_memory_equal(back.data, text, 100000);
    fsp_buf_reset(&back);
    assert_int_equal(fsp_gunzip(&back, member.data, member.len - 1, &err), FSP_EFORMAT);
    fsp_buf_reset(&back);
    assert_int_equal(fsp_gunzip(&back, "no gzip at all", 14, &err), FSP_EFORMAT);
    fsp_buf_reset(&back);
    member.data[member.len / 2] ^= 1;
    assert_int_equal(fsp_gunzip(&back, member.data, member.len, &err), FSP_EFORMAT);
    fsp_buf_fini(&back);
    fsp_buf_init(&back, 99999);
    member.data[member.len / 2] ^= 1;
    assert_int_equal(fsp_gunzip(&back, member.data, member.len, &err), FSP_ELIMIT);
    fsp_buf_fini(&back);
    fsp_buf_fini(&member);
    free(text);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(fields_are_what_the_table_says_or_refused),
            cmocka_unit_test(a_form_up_to_its_maximum_is_read_and_no_more),
            cmocka_unit_test(no_table_takes_no_field),
            cmocka_unit_test(a_cookie_counts_only_when_it_is_there_once),
            cmocka_unit_test(codings_and_tags_are_found_in_their_lists),
            cmocka_unit_test(the_last_forwarded_address_is_the_one),
            cmocka_unit_test(gzip_comes_back_whole_and_what_is_none_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
