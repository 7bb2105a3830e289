#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "wire/answer.h"

static int
setup(void **state)
{
    struct fsp_skey *key = NULL;
    struct fsp_err err;

    assert_ok(fsp_proof_init(&err), &err);
    assert_ok(fsp_skey_new(&key, "basin/instructions", FSP_KEY_NOTE, fsp_env_system(), &err),
            &err);
    *state = key;
    return 0;
}

static int
teardown(void **state)
{
    fsp_skey_free(*state);
    return 0;
}

static const char held[] =
        "basin/heron/0011\n12\nAAAA\n\n\xE2\x80\x94 basin/heron/0011 AAAAAAAA\n";

static struct fsp_refusal
sample(void)
{
    struct fsp_refusal refusal = {.status = FSP_ANSWER_FORK,
            .origin = "basin/heron/0011",
            .size = 12,
            .has_differs = true,
            .differs = 3,
            .held = held,
            .held_len = sizeof(held) - 1};

    for (size_t i = 0; i < sizeof(refusal.bundle); i++)
        refusal.bundle[i] = (uint8_t)(i * 7);
    return refusal;
}

static void
a_refusal_reads_back_as_it_was_signed(void **state)
{
    struct fsp_refusal want = sample();
    struct fsp_refusal got;
    struct fsp_buf buf;
    struct fsp_err err;

    for (int variant = 0; variant < 2; variant++) {
        if (variant == 1) {
            want.status = FSP_ANSWER_GAP;
            want.has_differs = false;
            want.held = NULL;
            want.held_len = 0;
            want.size = 0;
        }
        fsp_buf_init(&buf, FSP_NOTE_MAX);
        assert_ok(fsp_refusal_sign(&buf, &want, *state, &err), &err);
        assert_ok(fsp_refusal_read(&got, buf.data, buf.len, fsp_skey_vkey(*state), &err), &err);
        assert_int_equal(got.status, want.status);
        assert_string_equal(got.origin, want.origin);
        assert_int_equal(got.size, want.size);
        assert_int_equal(got.has_differs, want.has_differs);
        assert_int_equal(got.differs, variant == 0 ? 3 : 0);
        assert_memory_equal(got.bundle, want.bundle, sizeof(want.bundle));
        assert_int_equal(got.held_len, want.held_len);
        if (want.held != NULL)
            assert_memory_equal(got.held, want.held, want.held_len);
        fsp_buf_fini(&buf);
    }
}

static void
every_flipped_bit_and_truncation_of_a_refusal_is_refused(void **state)
{
    struct fsp_refusal want = sample();
    struct fsp_refusal got;
    struct fsp_buf buf;
    struct fsp_err err;

    fsp_buf_init(&buf, FSP_NOTE_MAX);
    assert_ok(fsp_refusal_sign(&buf, &want, *state, &err), &err);
    for (size_t bit = 0; bit < 8 * buf.len; bit++) {
        buf.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
        assert_int_not_equal(
                fsp_refusal_read(&got, buf.data, buf.len, fsp_skey_vkey(*state), &err), FSP_OK);
        assert_int_equal(got.status, 0);
        buf.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
    }
    for (size_t cut = 0; cut < buf.len; cut++)
        assert_int_not_equal(
                fsp_refusal_read(&got, buf.data, cut, fsp_skey_vkey(*state), &err), FSP_OK);
    fsp_buf_fini(&buf);
}

static void
another_key_or_another_text_is_no_answer(void **state)
{
    static const char *const texts[] = {"hello\n", "farspool-answer/v1\n",
            "farspool-answer/v1\nstatus 200\nbundle 00\norigin a\nsize 1\n",
            "farspool-answer/v1\nstatus 409\nstatus 409\nsize 1\n"};
    struct fsp_refusal want = sample();
    struct fsp_skey *other = NULL;
    struct fsp_refusal got;
    struct fsp_buf buf;
    struct fsp_err err;

    fsp_buf_init(&buf, FSP_NOTE_MAX);
    assert_ok(fsp_skey_new(&other, "basin/instructions", FSP_KEY_NOTE, fsp_env_system(), &err),
            &err);
    assert_ok(fsp_refusal_sign(&buf, &want, other, &err), &err);
    assert_int_equal(fsp_refusal_read(&got, buf.data, buf.len, fsp_skey_vkey(*state), &err),
            FSP_EVERIFY);
    for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
        fsp_buf_reset(&buf);
        assert_ok(fsp_note_sign(&buf, texts[i], strlen(texts[i]), *state, &err), &err);
        assert_int_equal(fsp_refusal_read(&got, buf.data, buf.len, fsp_skey_vkey(*state), &err),
                FSP_EFORMAT);
    }
    fsp_buf_fini(&buf);
    fsp_skey_free(other);
}

static void
a_file_of_answers_gives_them_back_in_order(void **state)
{
    struct fsp_answers_cursor cursor;
    const uint8_t *bytes;
    struct fsp_buf buf;
    struct fsp_err err;
    size_t len;
    int status;

    (void)state;
    fsp_buf_init(&buf, 10000);
    fsp_answers_begin(&buf);
    fsp_answers_add(&buf, 200, "first\nwith lines\n", 17);
    fsp_answers_add(&buf, 403, "", 0);
    fsp_answers_add(&buf, 409, "third", 5);
    assert_ok(fsp_answers_open(&cursor, buf.data, buf.len, &err), &err);
    assert_ok(fsp_answers_next(&cursor, &status, &bytes, &len, &err), &err);
    assert_int_equal(status, 200);
    assert_int_equal(len, 17);
    assert_ok(fsp_answers_next(&cursor, &status, &bytes, &len, &err), &err);
    assert_int_equal(status, 403);
    assert_ok(fsp_answers_next(&cursor, &status, &bytes, &len, &err), &err);
    assert_memory_equal(bytes, "third", 5);
    assert_int_equal(fsp_answers_next(&cursor, &status, &bytes, &len, &err), FSP_ENOTFOUND);
    for (size_t cut = 1; cut < buf.len; cut++) {
        enum fsp_rc rc = fsp_answers_open(&cursor, buf.data, cut, &err);

        while (rc == FSP_OK)
            rc = fsp_answers_next(&cursor, &status, &bytes, &len, &err);
        assert_true(rc == FSP_EFORMAT || rc == FSP_ENOTFOUND);
    }
    fsp_buf_fini(&buf);
}

static void
a_closed_log_is_told_what_continues_it(void **state)
{
    struct fsp_refusal want = sample();
    struct fsp_refusal got;
    struct fsp_buf buf;
    struct fsp_err err;

    want.has_differs = false;
    want.has_renewed = true;
    want.renewed = *fsp_skey_vkey(*state);
    want.renewal.from.size = 9;
    memset(want.renewal.from.root, 0x5A, sizeof(want.renewal.from.root));
    memset(want.renewal.proof, 0x6B, sizeof(want.renewal.proof));
    for (int proved = 0; proved < 2; proved++) {
        want.renewal.has_proof = proved == 1;
        fsp_buf_init(&buf, FSP_NOTE_MAX);
        assert_ok(fsp_refusal_sign(&buf, &want, *state, &err), &err);
        assert_ok(fsp_refusal_read(&got, buf.data, buf.len, fsp_skey_vkey(*state), &err), &err);
        assert_true(got.has_renewed);
        assert_true(fsp_vkey_equal(&got.renewed, &want.renewed));
        assert_string_equal(got.renewal.from.origin, want.origin);
        assert_int_equal(got.renewal.from.size, 9);
        assert_memory_equal(got.renewal.from.root, want.renewal.from.root, FSP_HASH_LEN);
        assert_int_equal(got.renewal.has_proof, proved == 1);
        if (proved == 1)
            assert_memory_equal(got.renewal.proof, want.renewal.proof, FSP_SIG_LEN);
        assert_int_equal(got.held_len, want.held_len);
        fsp_buf_fini(&buf);
    }
}

int
main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_closed_log_is_told_what_continues_it),
            T(a_refusal_reads_back_as_it_was_signed),
            T(every_flipped_bit_and_truncation_of_a_refusal_is_refused),
            T(another_key_or_another_text_is_no_answer),
            T(a_file_of_answers_gives_them_back_in_order),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
