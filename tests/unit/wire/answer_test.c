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

/* The next frame is an answer with that status and those bytes. */
static void
expect_answer(struct fsp_answers_cursor *cursor, int status, const char *bytes)
{
    struct fsp_answers_frame frame;
    struct fsp_err err;

    assert_ok(fsp_answers_next(cursor, &frame, &err), &err);
    assert_int_equal(frame.kind, FSP_FRAME_ANSWER);
    assert_int_equal(frame.status, status);
    assert_int_equal(frame.len, strlen(bytes));
    assert_memory_equal(frame.bytes, bytes, frame.len);
}

static void
expect_instruction(struct fsp_answers_cursor *cursor, const char *bytes)
{
    struct fsp_answers_frame frame;
    struct fsp_err err;

    assert_ok(fsp_answers_next(cursor, &frame, &err), &err);
    assert_int_equal(frame.kind, FSP_FRAME_INSTRUCTION);
    assert_int_equal(frame.status, 0);
    assert_int_equal(frame.len, strlen(bytes));
    assert_memory_equal(frame.bytes, bytes, frame.len);
}

/* Read to the end or the first fault: how it ends, and how many frames came. */
static enum fsp_rc
read_all(const void *bytes, size_t len, size_t *n)
{
    struct fsp_answers_cursor cursor;
    struct fsp_answers_frame frame;
    enum fsp_rc rc = fsp_answers_open(&cursor, bytes, len, NULL);

    *n = 0;
    while (rc == FSP_OK) {
        rc = fsp_answers_next(&cursor, &frame, NULL);
        *n += rc == FSP_OK;
    }
    return rc;
}

static void
a_file_of_answers_gives_them_back_in_order(void **state)
{
    struct fsp_answers_cursor cursor;
    struct fsp_answers_frame frame;
    struct fsp_buf buf;
    struct fsp_err err;
    size_t n;

    (void)state;
    fsp_buf_init(&buf, 10000);
    fsp_answers_begin(&buf);
    fsp_answers_add(&buf, 200, "first\nwith lines\n", 17);
    fsp_answers_add_instruction(&buf, "slip\n", 5);
    fsp_answers_add_instruction(&buf, "cut\n", 4);
    fsp_answers_add(&buf, 403, "", 0);
    fsp_answers_add(&buf, 409, "third", 5);
    assert_true(fsp_answers_are(buf.data, buf.len));
    assert_ok(fsp_answers_open(&cursor, buf.data, buf.len, &err), &err);
    expect_answer(&cursor, 200, "first\nwith lines\n");
    expect_instruction(&cursor, "slip\n");
    expect_instruction(&cursor, "cut\n");
    expect_answer(&cursor, 403, "");
    expect_answer(&cursor, 409, "third");
    assert_int_equal(fsp_answers_next(&cursor, &frame, &err), FSP_ENOTFOUND);
    assert_int_equal(frame.kind, FSP_FRAME_UNKNOWN);
    assert_null(frame.bytes);
    for (size_t cut = 1; cut < buf.len; cut++) {
        enum fsp_rc rc = read_all(buf.data, cut, &n);

        assert_true(n < 5);
        assert_true(rc == FSP_EFORMAT || rc == FSP_ENOTFOUND);
    }
    fsp_buf_fini(&buf);
}

/* As the office's `take` joins the answers of many bundles. */
static void
an_answer_that_is_a_file_itself_goes_in_as_its_frames(void **state)
{
    struct fsp_answers_cursor cursor;
    struct fsp_answers_frame frame;
    struct fsp_buf http;
    struct fsp_buf file;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&http, 1000);
    fsp_buf_init(&file, 1000);
    fsp_answers_begin(&http);
    fsp_answers_add(&http, 200, "receipt", 7);
    fsp_answers_add_instruction(&http, "slip\n", 5);
    fsp_answers_begin(&file);
    fsp_answers_add_whole(&file, 200, "alone", 5);
    fsp_answers_add_whole(&file, 200, http.data, http.len);
    fsp_answers_add_whole(&file, 403, http.data, http.len); /* plain text, whatever it says */
    assert_ok(fsp_answers_open(&cursor, file.data, file.len, &err), &err);
    expect_answer(&cursor, 200, "alone");
    expect_answer(&cursor, 200, "receipt");
    expect_instruction(&cursor, "slip\n");
    expect_answer(&cursor, 403, fsp_buf_peek(&http));
    assert_int_equal(fsp_answers_next(&cursor, &frame, &err), FSP_ENOTFOUND);
    fsp_buf_fini(&http);
    fsp_buf_fini(&file);
}

static void
frames_of_a_later_version_are_passed_over(void **state)
{
    static const char file[] = "farspool-answers/v1\nweather 5\nrain\nanswer 200 2\nok"
                               "map 3 of 4 6\nanswerinstruction 1\nxnothing 0\nlast 1\n ";
    struct fsp_answers_cursor cursor;
    struct fsp_answers_frame frame;
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_answers_open(&cursor, file, strlen(file), &err), &err);
    expect_answer(&cursor, 200, "ok");
    expect_instruction(&cursor, "x");
    assert_int_equal(fsp_answers_next(&cursor, &frame, &err), FSP_ENOTFOUND);
}

static void
frames_out_of_form_are_refused(void **state)
{
    static const char *const bad[] = {"answer 200\n", "answer  0\n", "answer 200 \n",
            "answer 99 0\n", "answer 600 0\n", "answer 0200 0\n", "answer 200 00\n",
            "answer 200 -1\n", "answer 200 1\n", "answer 200 65537\n", "answer 2 0 0 0\n",
            "instruction\n", "instruction \n", "instruction 1 0\n", "instruction 65537\n",
            "instruction 1\n", "weather\n", "weather many\n", "weather 65537\n", " 0\n", "\n",
            "0\n", "answer 200 0", "weather 18446744073709551616\n"};
    struct fsp_buf buf;
    size_t n;

    (void)state;
    fsp_buf_init(&buf, 1000);
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        fsp_buf_reset(&buf);
        fsp_answers_begin(&buf);
        fsp_buf_add_text(&buf, bad[i]);
        if (read_all(buf.data, buf.len, &n) != FSP_EFORMAT || n != 0)
            fail_msg("taken: %s", bad[i]);
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
            T(a_closed_log_is_told_what_continues_it),
            T(a_refusal_reads_back_as_it_was_signed),
            T(every_flipped_bit_and_truncation_of_a_refusal_is_refused),
            T(another_key_or_another_text_is_no_answer),
            T(a_file_of_answers_gives_them_back_in_order),
            cmocka_unit_test(an_answer_that_is_a_file_itself_goes_in_as_its_frames),
            cmocka_unit_test(frames_of_a_later_version_are_passed_over),
            cmocka_unit_test(frames_out_of_form_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
