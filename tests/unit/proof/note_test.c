#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "proof/note.h"
#include "support/evidence.h"

#define DASH "\xe2\x80\x94 "

/* The example of the C2SP signed-note specification. */
#define SPEC_VKEY "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k"
#define SPEC_LINE                                                                              \
    DASH "example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYj"    \
         "OBH3mFXmRKuwHjG1Yu72IneyaQM=\n"
#define SPEC_NOTE "This is an example message.\n\n" SPEC_LINE
/* A well-formed line of a key nobody knows. */
#define OTHER_LINE DASH "example.com/other AAAAAAAAAAAA\n"

static struct fsp_note note; /* 10 kB; one test at a time */

static struct fsp_vkey
spec_vkey(void)
{
    struct fsp_vkey vkey;
    struct fsp_err err;

    assert_ok(fsp_vkey_parse(&vkey, SPEC_VKEY, strlen(SPEC_VKEY), &err), &err);
    return vkey;
}

static enum fsp_rc
judge(const char *bytes, size_t len)
{
    const struct fsp_vkey vkey = spec_vkey();
    enum fsp_rc rc = fsp_note_parse(&note, bytes, len, NULL);

    return rc == FSP_OK ? fsp_note_verify(&note, &vkey, NULL, NULL) : rc;
}

static void
the_specification_s_example_verifies(void **state)
{
    (void)state;
    assert_int_equal(judge(SPEC_NOTE, strlen(SPEC_NOTE)), FSP_OK);
    assert_int_equal(note.text_len, strlen("This is an example message.\n"));
}

static void
every_flipped_bit_and_every_cut_of_a_note_is_refused(void **state)
{
    char text[] = SPEC_NOTE;
    const size_t len = strlen(text);

    (void)state;
    for (size_t cut = 0; cut < len; cut++)
        assert_int_not_equal(judge(text, cut), FSP_OK);
    for (size_t bit = 0; bit < 8 * len; bit++) {
        text[bit / 8] = (char)(text[bit / 8] ^ (1 << (bit % 8)));
        if (judge(text, len) == FSP_OK)
            fail_msg("bit %zu", bit);
        text[bit / 8] = (char)(text[bit / 8] ^ (1 << (bit % 8)));
    }
}

static void
lines_of_unknown_keys_are_ignored_in_any_place(void **state)
{
    static const char *const good[] = {
            "This is an example message.\n\n" OTHER_LINE SPEC_LINE,
            "This is an example message.\n\n" SPEC_LINE OTHER_LINE,
            "This is an example message.\n\n" SPEC_LINE SPEC_LINE,
            /* The known name with another id is an unknown key. */
            "This is an example message.\n\n" DASH "example.com/foo AAAAAAAAAAAA\n" SPEC_LINE,
    };

    (void)state;
    for (size_t i = 0; i < sizeof(good) / sizeof(good[0]); i++)
        assert_int_equal(judge(good[i], strlen(good[i])), FSP_OK);
    assert_int_equal(judge("This is an example message.\n\n" OTHER_LINE,
                             strlen("This is an example message.\n\n" OTHER_LINE)),
            FSP_ENOTFOUND);
}

static void
a_bad_signature_of_a_known_key_is_fatal_beside_a_good_one(void **state)
{
    static const char *const bad[] = {
            "This is an example message.\n\n" SPEC_LINE DASH
            "example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYj"
            "OBH3mFXmRKuwHjG1Yu72IneyaQI=\n",
            /* One byte short, and none at all but one. */
            "This is an example message.\n\n" SPEC_LINE DASH
            "example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYj"
            "OBH3mFXmRKuwHjG1Yu72Ineyaa==\n",
            "This is an example message.\n\n" SPEC_LINE DASH "example.com/foo Uw2QOgA=\n",
    };

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
        assert_int_not_equal(judge(bad[i], strlen(bad[i])), FSP_OK);
}

static void
what_is_no_note_is_refused(void **state)
{
    static const char *const bad[] = {"", "\n", "\n\n", "text\n", "text\n\n", "text\n\n\n",
            "This is an example message.\n" SPEC_LINE,
            "This is an example message.\n\n" SPEC_LINE "\n",
            "This is an example message.\n\nrubbish\n" SPEC_LINE,
            "This is an example message.\n\n" SPEC_LINE "rubbish\n",
            "This is an example message.\r\n\n" SPEC_LINE, "tab\there\n\n" SPEC_LINE,
            "\xff\n\n" SPEC_LINE,
            "del\x7f"
            "\n\n" SPEC_LINE,
            "text\n\n\xe2\x80\x94"
            "example.com/foo AAAAAAAAAAAA\n",
            "text\n\n\xe2\x80\x94  AAAAAAAAAAAA\n", "text\n\n" DASH "a+b AAAAAAAAAAAA\n",
            "text\n\n" DASH "a AAAAAAAAAAAA \n", "text\n\n" DASH "a  AAAAAAAAAAAA\n",
            "text\n\n" DASH "a AAAAAAAAAAA\n", "text\n\n" DASH "a AAAAAB==\n",
            "text\n\n" DASH "a AAAAAA==\n", "text\n\n" DASH "a \n", "text\n\n" DASH "a\n",
            "text\n\n- a AAAAAAAAAAAA\n"};
    struct fsp_err err;

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        if (fsp_note_parse(&note, bad[i], strlen(bad[i]), &err) != FSP_EFORMAT)
            fail_msg("case %zu", i);
        assert_non_null(strstr(err.text, "signed note"));
    }
    assert_int_equal(fsp_note_parse(&note, "a\0b\n\n" OTHER_LINE,
                             sizeof("a\0b\n\n" OTHER_LINE) - 1, &err),
            FSP_EFORMAT);
}

static void
signature_lines_are_capped_in_number_and_size(void **state)
{
    struct fsp_buf buf;
    struct fsp_err err;
    uint8_t big[9000] = {0};

    (void)state;
    fsp_buf_init(&buf, 2 * FSP_NOTE_MAX);
    fsp_buf_add_text(&buf, "text\n\n");
    for (size_t i = 0; i < FSP_NOTE_LINES_MAX; i++)
        fsp_buf_add_text(&buf, OTHER_LINE);
    assert_ok(fsp_note_parse(&note, buf.data, buf.len, &err), &err);
    assert_int_equal(note.lines, FSP_NOTE_LINES_MAX);
    fsp_buf_add_text(&buf, OTHER_LINE);
    assert_int_equal(fsp_note_parse(&note, buf.data, buf.len, &err), FSP_ELIMIT);
    /* A signature of 2,428 bytes (as of other, longer algorithms) is skipped, 9,000 are not. */
    for (size_t len = 2428; len <= 9000; len += 9000 - 2428) {
        fsp_buf_reset(&buf);
        fsp_buf_add_text(&buf, "This is an example message.\n\n" DASH "pq.example ");
        fsp_base64(&buf, big, len);
        fsp_buf_add_text(&buf, "\n" SPEC_LINE);
        assert_int_equal(
                judge((const char *)buf.data, buf.len), len == 2428 ? FSP_OK : FSP_ELIMIT);
    }
    fsp_buf_reset(&buf);
    while (buf.len <= FSP_NOTE_MAX)
        fsp_buf_add_text(&buf, "line\n");
    fsp_buf_add_text(&buf, "\n" SPEC_LINE);
    assert_int_equal(fsp_note_parse(&note, buf.data, buf.len, &err), FSP_ELIMIT);
    fsp_buf_fini(&buf);
}

static void
a_note_may_hold_a_whole_note_in_its_text(void **state)
{
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_skey *skey = NULL;
    struct fsp_buf buf;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&buf, FSP_NOTE_MAX);
    assert_ok(fsp_skey_new(&skey, "outer", FSP_KEY_NOTE, &env, &err), &err);
    assert_ok(fsp_note_sign(
                      &buf, "answer\n\n" SPEC_NOTE, strlen("answer\n\n" SPEC_NOTE), skey, &err),
            &err);
    assert_ok(fsp_note_parse(&note, buf.data, buf.len, &err), &err);
    assert_int_equal(note.text_len, strlen("answer\n\n" SPEC_NOTE));
    assert_int_equal(note.lines, 1);
    assert_ok(fsp_note_verify(&note, fsp_skey_vkey(skey), NULL, &err), &err);
    fsp_skey_free(skey);
    fsp_buf_fini(&buf);
}

static void
text_that_no_reader_would_take_is_not_signed(void **state)
{
    static const char *const bad[] = {"", "no end", "tab\there\n", "bell\a\n", "\xff\n"};
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_skey *signer = NULL;
    struct fsp_skey *cosigner = NULL;
    struct fsp_checkpoint head = {.origin = "a", .size = 1};
    uint8_t line[8 + FSP_SIG_LEN];
    struct fsp_buf buf;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&buf, FSP_NOTE_MAX);
    assert_ok(fsp_skey_new(&signer, "a", FSP_KEY_NOTE, &env, &err), &err);
    assert_ok(fsp_skey_new(&cosigner, "b", FSP_KEY_COSIGNER, &env, &err), &err);
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
        assert_int_equal(fsp_note_sign(&buf, bad[i], strlen(bad[i]), signer, &err), FSP_EINVAL);
    assert_int_equal(fsp_note_sign(&buf, "text\n", 5, cosigner, &err), FSP_EINVAL);
    assert_int_equal(fsp_cosign(&head, signer, 1, line, &err), FSP_EINVAL);
    assert_int_equal(
            fsp_cosign(&head, cosigner, (uint64_t)INT64_MAX + 1, line, &err), FSP_EINVAL);
    assert_int_equal(buf.len, 0);
    fsp_skey_free(signer);
    fsp_skey_free(cosigner);
    fsp_buf_fini(&buf);
}

static void
checkpoints_are_exactly_three_lines(void **state)
{
#define ROOT "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=" /* SHA-256 of nothing */
    static const char *const bad[] = {"", "a\n", "a\n0\n", "a\n0\n" ROOT, "a\n0\n" ROOT "\nx\n",
            "\n0\n" ROOT "\n", "a b\n0\n" ROOT "\n", "a+b\n0\n" ROOT "\n", "a\n\n" ROOT "\n",
            "a\n00\n" ROOT "\n", "a\n01\n" ROOT "\n", "a\n-1\n" ROOT "\n", "a\n+1\n" ROOT "\n",
            "a\n 1\n" ROOT "\n", "a\n1 \n" ROOT "\n", "a\n0x1\n" ROOT "\n",
            "a\n18446744073709551616\n" ROOT "\n", "a\n0\n" ROOT "=\n",
            "a\n0\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFV=\n",
            "a\n0\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuA==\n", "a\n0\n" ROOT "\n\n"};
    struct fsp_checkpoint head;
    struct fsp_buf buf;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&buf, 1000);
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        if (fsp_checkpoint_parse(&head, bad[i], strlen(bad[i]), &err) != FSP_EFORMAT)
            fail_msg("case %zu", i);
        assert_non_null(strstr(err.text, "checkpoint"));
    }
    assert_ok(fsp_checkpoint_parse(&head, "a\n18446744073709551615\n" ROOT "\n",
                      strlen("a\n18446744073709551615\n" ROOT "\n"), &err),
            &err);
    assert_true(head.size == UINT64_MAX);
    fsp_checkpoint_write(&head, &buf);
    assert_string_equal(fsp_buf_peek(&buf), "a\n18446744073709551615\n" ROOT "\n");
    fsp_buf_fini(&buf);
#undef ROOT
}

static void
a_cosigner_s_earliest_time_counts_and_only_a_true_one(void **state)
{
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    const struct evidence_plan plan = {.size = 5, .index = 2, .witnesses = 1, .time_s = 1000};
    struct evidence evidence;
    uint8_t line[8 + FSP_SIG_LEN];
    uint64_t time_s = 0;
    size_t before;
    struct fsp_err err;

    (void)state;
    evidence_init(&evidence);
    assert_ok(evidence_make(&evidence, &plan, &env, &err), &err);
    assert_ok(fsp_cosign(&evidence.head, evidence.witness[0], 900, line, &err), &err);
    before = evidence.note.len;
    fsp_note_add_line(&evidence.note, fsp_skey_vkey(evidence.witness[0]), line, sizeof(line));
    assert_ok(fsp_note_parse(&note, evidence.note.data, evidence.note.len, &err), &err);
    assert_ok(fsp_note_verify(&note, fsp_skey_vkey(evidence.witness[0]), &time_s, &err), &err);
    assert_int_equal(time_s, 900);
    /* The same signature under another time. */
    evidence.note.len = before;
    line[7]++;
    fsp_note_add_line(&evidence.note, fsp_skey_vkey(evidence.witness[0]), line, sizeof(line));
    assert_ok(fsp_note_parse(&note, evidence.note.data, evidence.note.len, &err), &err);
    assert_int_equal(fsp_note_verify(&note, fsp_skey_vkey(evidence.witness[0]), &time_s, &err),
            FSP_EVERIFY);
    assert_non_null(strstr(err.text, "lantern-basin/office"));
    evidence_fini(&evidence);
}

static void
a_cosignature_of_what_is_no_checkpoint_is_refused(void **state)
{
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_skey *cosigner = NULL;
    struct fsp_buf buf;
    struct fsp_err err;
    uint8_t line[8 + FSP_SIG_LEN] = {0};

    (void)state;
    fsp_buf_init(&buf, FSP_NOTE_MAX);
    assert_ok(fsp_skey_new(&cosigner, "b", FSP_KEY_COSIGNER, &env, &err), &err);
    assert_ok(fsp_skey_sign(cosigner, "cosignature/v1\ntime 0\ntext\n", 27, line + 8, &err),
            &err);
    fsp_buf_add_text(&buf, "text\n\n");
    fsp_note_add_line(&buf, fsp_skey_vkey(cosigner), line, sizeof(line));
    assert_ok(fsp_note_parse(&note, buf.data, buf.len, &err), &err);
    assert_int_not_equal(fsp_note_verify(&note, fsp_skey_vkey(cosigner), NULL, &err), FSP_OK);
    fsp_skey_free(cosigner);
    fsp_buf_fini(&buf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_specification_s_example_verifies),
            cmocka_unit_test(every_flipped_bit_and_every_cut_of_a_note_is_refused),
            cmocka_unit_test(lines_of_unknown_keys_are_ignored_in_any_place),
            cmocka_unit_test(a_bad_signature_of_a_known_key_is_fatal_beside_a_good_one),
            cmocka_unit_test(what_is_no_note_is_refused),
            cmocka_unit_test(signature_lines_are_capped_in_number_and_size),
            cmocka_unit_test(a_note_may_hold_a_whole_note_in_its_text),
            cmocka_unit_test(text_that_no_reader_would_take_is_not_signed),
            cmocka_unit_test(checkpoints_are_exactly_three_lines),
            cmocka_unit_test(a_cosigner_s_earliest_time_counts_and_only_a_true_one),
            cmocka_unit_test(a_cosignature_of_what_is_no_checkpoint_is_refused),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
