#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include <jansson.h>

#include "audit/show.h"
#include "audit/verify.h"
#include "base/text.h"
#include "support/evidence.h"

static struct evidence evidence;

static int
set_up(void **state)
{
    size_t index = 0;

    (void)state;
    evidence_init(&evidence);
    return evidence_example(&evidence, &index, NULL) == FSP_OK ? 0 : -1;
}

static int
tear_down(void **state)
{
    (void)state;
    evidence_fini(&evidence);
    return 0;
}

/* What show says of these bytes, checked to be harmless line by line. */
static void
show(struct fsp_buf *out, const void *bytes, size_t len)
{
    const char *line;

    fsp_buf_reset(out);
    fsp_show(out, bytes, len);
    assert_int_equal(out->rc, FSP_OK);
    assert_int_equal(strlen(fsp_buf_peek(out)), out->len);
    for (line = fsp_buf_peek(out); *line != '\0';) {
        size_t line_len = strcspn(line, "\n");

        assert_true(fsp_text_printable(line, line_len));
        line += line_len + (line[line_len] == '\n' ? 1 : 0);
    }
}

static void
each_file_of_evidence_is_named_for_what_it_is(void **state)
{
    const struct {
        const struct fsp_buf *bytes;
        const char *says;
    } cases[] = {{&evidence.record, "a record, leaf hash 67c0c264"},
            {&evidence.proof, "a proof for entry 1, 2 hashes"},
            {&evidence.proof, "cosigned 2026-03-01T08:00:00Z"}, {&evidence.policy, "a policy"},
            {&evidence.policy, "witness key of lantern-basin"},
            {&evidence.note, "with 3 entries"}};
    struct fsp_buf out;

    (void)state;
    fsp_buf_init(&out, 100000);
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        show(&out, cases[i].bytes->data, cases[i].bytes->len);
        if (strstr(fsp_buf_peek(&out), cases[i].says) == NULL)
            fail_msg("%s not in: %s", cases[i].says, fsp_buf_peek(&out));
        assert_non_null(strstr(fsp_buf_peek(&out), "nothing of this was verified"));
    }
    fsp_buf_fini(&out);
}

static void
a_verifier_key_shows_its_fingerprint(void **state)
{
    struct fsp_buf text;
    struct fsp_buf out;
    char fingerprint[65];

    (void)state;
    fsp_buf_init(&text, FSP_VKEY_MAX);
    fsp_buf_init(&out, 100000);
    fsp_vkey_write(fsp_skey_vkey(evidence.log), &text);
    fsp_buf_add_byte(&text, '\n');
    fsp_vkey_fingerprint(fsp_skey_vkey(evidence.log), fingerprint);
    show(&out, text.data, text.len);
    assert_non_null(strstr(fsp_buf_peek(&out), fingerprint));
    fsp_buf_fini(&text);
    fsp_buf_fini(&out);
}

static void
the_seed_of_a_secret_key_is_not_shown(void **state)
{
    static const char seed[] = "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=";
    struct fsp_buf text;
    struct fsp_buf out;

    (void)state;
    fsp_buf_init(&text, 1000);
    fsp_buf_init(&out, 100000);
    fsp_buf_add_text(&text, "farspool-key/v1 ");
    fsp_vkey_write(fsp_skey_vkey(evidence.log), &text);
    fsp_buf_printf(&text, " %s\n", seed);
    show(&out, text.data, text.len);
    assert_non_null(strstr(fsp_buf_peek(&out), "SECRET"));
    assert_non_null(strstr(fsp_buf_peek(&out), EVIDENCE_ORIGIN));
    assert_null(strstr(fsp_buf_peek(&out), seed));
    fsp_buf_reset(&text);
    fsp_buf_printf(&text, "farspool-box-key/v1 %s %s\n", seed, seed);
    show(&out, text.data, text.len);
    assert_non_null(strstr(fsp_buf_peek(&out), "SECRET"));
    assert_null(strstr(fsp_buf_peek(&out), seed));
    fsp_buf_fini(&text);
    fsp_buf_fini(&out);
}

static void
any_bytes_are_shown_without_harm(void **state)
{
    struct seeded seeded = {.state = 20260301};
    uint8_t bytes[700];
    struct fsp_buf out;

    (void)state;
    fsp_buf_init(&out, 100000);
    show(&out, "", 0);
    assert_non_null(strstr(fsp_buf_peek(&out), "(empty)"));
    show(&out,
            "\x1b]0;title\a\x1b[2J\0\r\n\xe2\x80\xae"
            "abc",
            22);
    assert_non_null(strstr(fsp_buf_peek(&out), "\\x1b]0;title\\x07"));
    for (size_t turn = 0; turn < 300; turn++) {
        for (size_t i = 0; i < sizeof(bytes); i++)
            bytes[i] = (uint8_t)(evidence_random(&seeded) >> 17);
        show(&out, bytes, (size_t)(evidence_random(&seeded) % (sizeof(bytes) + 1)));
    }
    fsp_buf_fini(&out);
}

static void
altered_evidence_is_shown_without_harm(void **state)
{
    struct fsp_buf *const parts[] = {&evidence.record, &evidence.proof, &evidence.policy};
    struct fsp_buf out;

    (void)state;
    fsp_buf_init(&out, 100000);
    for (size_t part = 0; part < 3; part++) {
        for (size_t i = 0; i < parts[part]->len; i++) {
            const uint8_t kept = parts[part]->data[i];

            parts[part]->data[i] = i % 3 == 0 ? 0x1B : (uint8_t)(kept ^ 0x80u);
            show(&out, parts[part]->data, parts[part]->len);
            parts[part]->data[i] = kept;
        }
    }
    fsp_buf_fini(&out);
}

static void
the_json_of_a_failure_is_json_whatever_the_file_s_name(void **state)
{
    struct fsp_verdict verdict;
    const struct fsp_audit_job job = {.file = "no \"such\"\n\x1b\xff\\ file.record.json"};
    struct fsp_buf out;
    json_t *json;

    (void)state;
    fsp_buf_init(&out, 100000);
    fsp_audit_init(&verdict);
    assert_int_equal(fsp_audit_verify(&verdict, &job), FSP_ENOTFOUND);
    fsp_audit_json(&verdict, &job, &out);
    json = json_loads(fsp_buf_peek(&out), 0, NULL);
    assert_non_null(json);
    assert_true(json_is_false(json_object_get(json, "verified")));
    assert_non_null(json_string_value(json_object_get(json, "why")));
    json_decref(json);
    fsp_audit_fini(&verdict);
    fsp_buf_fini(&out);
}

int
main(void)
{
#define WITH_EVIDENCE(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
            WITH_EVIDENCE(each_file_of_evidence_is_named_for_what_it_is),
            WITH_EVIDENCE(a_verifier_key_shows_its_fingerprint),
            WITH_EVIDENCE(the_seed_of_a_secret_key_is_not_shown),
            WITH_EVIDENCE(altered_evidence_is_shown_without_harm),
            cmocka_unit_test(any_bytes_are_shown_without_harm),
            cmocka_unit_test(the_json_of_a_failure_is_json_whatever_the_file_s_name),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
