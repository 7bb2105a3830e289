#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "proof/request.h"
#include "support/mutate.h"
#include "support/signedlog.h"

#define MUTATIONS 10000

/* A request from 3 to 9 entries. */
static struct signedlog log_of_nine;
static struct fsp_buf whole;
static struct fsp_request request;
static uint8_t old_root[FSP_HASH_LEN];

static int
set_up(void **state)
{
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    size_t n = 0;

    (void)state;
    signedlog_make(&log_of_nine);
    for (int i = 0; i < 9; i++)
        (void)signedlog_inspect(&log_of_nine, NULL, "ada", "2026-03-01T02:00:00Z");
    fsp_buf_init(&whole, FSP_REQUEST_MAX);
    fsp_range_root(&log_of_nine.range[3], old_root);
    fsp_tree_consistency((const uint8_t(*)[FSP_HASH_LEN])log_of_nine.leaf, 9, 3, path, &n);
    fsp_request_write(&whole, 3, (const uint8_t(*)[FSP_HASH_LEN])path, n,
            fsp_buf_peek(&log_of_nine.head[9]), log_of_nine.head[9].len);
    return 0;
}

static int
tear_down(void **state)
{
    (void)state;
    fsp_buf_fini(&whole);
    signedlog_free(&log_of_nine);
    return 0;
}

static void
what_is_written_is_read_and_holds(void **state)
{
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_request_parse(&request, fsp_buf_peek(&whole), whole.len, &err), &err);
    assert_int_equal(request.old, 3);
    assert_int_equal(request.head.size, 9);
    assert_ok(fsp_request_verify(&request, old_root, &err), &err);
    old_root[5] ^= 1u;
    assert_int_equal(fsp_request_verify(&request, old_root, &err), FSP_EVERIFY);
    old_root[5] ^= 1u;
}

static void
every_truncation_is_refused_or_lacks_the_logs_signature(void **state)
{
    static struct fsp_note note;

    (void)state;
    for (size_t len = 0; len < whole.len; len++) {
        if (fsp_request_parse(&request, fsp_buf_peek(&whole), len, NULL) != FSP_OK)
            continue;
        /* Cut behind a whole signature line: then only other keys' lines are gone. */
        if (fsp_note_parse(&note, request.note, request.note_len, NULL) != FSP_OK ||
                fsp_note_verify(&note, fsp_skey_vkey(log_of_nine.log), NULL, NULL) != FSP_OK)
            fail_msg("cut to %zu of %zu bytes: accepted", len, whole.len);
    }
}

static void
lines_that_make_no_sense_are_refused(void **state)
{
    static const char *const bad[] = {"", "old\n", "old 01\n\n", "old -1\n\n", "new 3\n\n",
            "old 3\nAAAA\n\n", "old 3\n\n", "old 99999999999999999999\n\n"};
    struct fsp_buf text;
    struct fsp_err err;

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
        assert_int_not_equal(fsp_request_parse(&request, bad[i], strlen(bad[i]), &err), FSP_OK);
    fsp_buf_init(&text, 2 * FSP_REQUEST_MAX);
    fsp_request_write(
            &text, 10, NULL, 0, fsp_buf_peek(&log_of_nine.head[9]), log_of_nine.head[9].len);
    assert_int_equal(
            fsp_request_parse(&request, fsp_buf_peek(&text), text.len, &err), FSP_EFORMAT);
    fsp_buf_reset(&text);
    fsp_buf_add_text(&text, "old 3\n");
    for (int i = 0; i < 64; i++)
        fsp_buf_add_text(&text, "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\n");
    fsp_buf_add_text(&text, "\n");
    assert_int_equal(
            fsp_request_parse(&request, fsp_buf_peek(&text), text.len, &err), FSP_ELIMIT);
    fsp_buf_fini(&text);
}

static void
ten_thousand_mutated_requests_continue_no_other_log(void **state)
{
    static struct fsp_note note;
    struct seeded seeded = {.state = 45};
    struct fsp_buf other;
    struct fsp_buf spare;

    (void)state;
    fsp_buf_init(&other, 4 * FSP_REQUEST_MAX);
    fsp_buf_init(&spare, 4 * FSP_REQUEST_MAX);
    for (size_t i = 0; i < MUTATIONS; i++) {
        mutate(&other, &spare, &whole, &seeded);
        if (fsp_request_parse(&request, fsp_buf_peek(&other), other.len, NULL) != FSP_OK ||
                request.old != 3 || fsp_request_verify(&request, old_root, NULL) != FSP_OK ||
                fsp_note_parse(&note, request.note, request.note_len, NULL) != FSP_OK ||
                fsp_note_verify(&note, fsp_skey_vkey(log_of_nine.log), NULL, NULL) != FSP_OK)
            continue;
        if (request.head.size != 9 || strcmp(request.head.origin, EVIDENCE_ORIGIN) != 0)
            fail_msg("mutation %zu asks for another head", i);
    }
    fsp_buf_fini(&other);
    fsp_buf_fini(&spare);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(what_is_written_is_read_and_holds),
            cmocka_unit_test(every_truncation_is_refused_or_lacks_the_logs_signature),
            cmocka_unit_test(lines_that_make_no_sense_are_refused),
            cmocka_unit_test(ten_thousand_mutated_requests_continue_no_other_log),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
