#include "support/test.h"

#include <string.h>

#include "proof/evidence.h"
#include "support/evidence.h"
#include "support/mutate.h"

#define MUTATIONS 10000

static struct evidence evidence;
static struct fsp_proof_file proof;
static struct fsp_statement statement;
static struct fsp_statement truth;
static struct fsp_note note;

static enum fsp_rc
judge_parts(const struct fsp_buf *proof_bytes, const struct fsp_buf *policy_bytes)
{
    struct fsp_policy *policy = NULL;
    enum fsp_rc rc =
            fsp_policy_parse(&policy, fsp_buf_peek(policy_bytes), policy_bytes->len, NULL);

    if (rc == FSP_OK)
        rc = fsp_proof_parse(&proof, fsp_buf_peek(proof_bytes), proof_bytes->len, NULL);
    if (rc == FSP_OK)
        rc = fsp_evidence_verify(
                policy, evidence.record.data, evidence.record.len, &proof, &statement, NULL);
    fsp_policy_free(policy);
    return rc;
}

static int
set_up(void **state)
{
    static const struct evidence_plan plan = {
            .size = 13, .index = 9, .witnesses = 3, .time_s = EVIDENCE_TIME_S};
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);

    (void)state;
    evidence_init(&evidence);
    if (evidence_make(&evidence, &plan, &env, NULL) != FSP_OK ||
            judge_parts(&evidence.proof, &evidence.policy) != FSP_OK)
        return -1;
    truth = statement;
    return 0;
}

static int
tear_down(void **state)
{
    (void)state;
    evidence_fini(&evidence);
    return 0;
}

static bool
says_the_same(void)
{
    return statement.index == truth.index && statement.head.size == truth.head.size &&
           strcmp(statement.head.origin, truth.head.origin) == 0 &&
           memcmp(statement.head.root, truth.head.root, FSP_HASH_LEN) == 0 &&
           memcmp(statement.leaf, truth.leaf, FSP_HASH_LEN) == 0 &&
           fsp_vkey_equal(&statement.log, &truth.log);
}

static void
mutated_proofs_or_policies(bool is_policy, uint64_t seed)
{
    const struct fsp_buf *whole = is_policy ? &evidence.policy : &evidence.proof;
    struct seeded seeded = {.state = seed};
    struct fsp_buf other;
    struct fsp_buf spare;

    fsp_buf_init(&other, 2 * FSP_NOTE_MAX);
    fsp_buf_init(&spare, 2 * FSP_NOTE_MAX);
    for (size_t i = 0; i < MUTATIONS; i++) {
        enum fsp_rc rc;

        mutate(&other, &spare, whole, &seeded);
        rc = judge_parts(
                is_policy ? &evidence.proof : &other, is_policy ? &other : &evidence.policy);
        if (rc == FSP_OK && !says_the_same())
            fail_msg("mutation %zu proves something else", i);
        /* The policy asks for two of three: a proof never does with fewer. */
        if (rc == FSP_OK && !is_policy && statement.cosigned < 2)
            fail_msg("mutation %zu passes below the quorum", i);
    }
    fsp_buf_fini(&other);
    fsp_buf_fini(&spare);
}

static void
ten_thousand_mutated_proofs_prove_nothing_else(void **state)
{
    (void)state;
    mutated_proofs_or_policies(false, 41);
}

static void
ten_thousand_mutated_policies_prove_nothing_else(void **state)
{
    (void)state;
    mutated_proofs_or_policies(true, 42);
}

static void
ten_thousand_mutated_notes_say_nothing_else(void **state)
{
    const char *text = fsp_buf_peek(&evidence.note);
    const size_t text_len = (size_t)(strstr(text, "\n\n") - text) + 1;
    struct seeded seeded = {.state = 43};
    struct fsp_buf other;
    struct fsp_buf spare;

    (void)state;
    fsp_buf_init(&other, 2 * FSP_NOTE_MAX);
    fsp_buf_init(&spare, 2 * FSP_NOTE_MAX);
    for (size_t i = 0; i < MUTATIONS; i++) {
        mutate(&other, &spare, &evidence.note, &seeded);
        if (fsp_note_parse(&note, other.data, other.len, NULL) != FSP_OK ||
                fsp_note_verify(&note, fsp_skey_vkey(evidence.log), NULL, NULL) != FSP_OK)
            continue;
        if (note.text_len != text_len || memcmp(note.text, text, text_len) != 0)
            fail_msg("mutation %zu is a good note of another text", i);
    }
    fsp_buf_fini(&other);
    fsp_buf_fini(&spare);
}

static void
a_proof_with_a_thousand_signature_lines_is_refused(void **state)
{
    struct fsp_buf other;

    (void)state;
    fsp_buf_init(&other, 2 * FSP_NOTE_MAX);
    fsp_buf_add(&other, evidence.proof.data, evidence.proof.len);
    for (int i = 0; i < 1000; i++)
        fsp_buf_add_text(&other, "\xe2\x80\x94 a AAAAAAAA\n");
    assert_true(other.len <= FSP_NOTE_MAX);
    assert_int_not_equal(judge_parts(&other, &evidence.policy), FSP_OK);
    fsp_buf_fini(&other);
}

static void
a_line_longer_than_any_file_or_key_is_refused(void **state)
{
    struct fsp_buf other;

    (void)state;
    fsp_buf_init(&other, 2 * FSP_NOTE_MAX);
    fsp_buf_add(&other, evidence.proof.data, evidence.proof.len);
    fsp_buf_add_text(&other, "\xe2\x80\x94 ");
    for (int i = 0; i < 60000; i++)
        fsp_buf_add_byte(&other, 'a');
    fsp_buf_add_text(&other, " AAAAAAAA\n");
    assert_int_not_equal(judge_parts(&other, &evidence.policy), FSP_OK);
    fsp_buf_reset(&other);
    fsp_buf_add_text(&other, "log ");
    for (int i = 0; i < 60000; i++)
        fsp_buf_add_byte(&other, 'a');
    fsp_buf_add_text(&other, "\n");
    fsp_buf_add(&other, evidence.policy.data, evidence.policy.len);
    assert_int_not_equal(judge_parts(&evidence.proof, &other), FSP_OK);
    fsp_buf_fini(&other);
}

int
main(void)
{
#define WITH_EVIDENCE(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
            WITH_EVIDENCE(ten_thousand_mutated_proofs_prove_nothing_else),
            WITH_EVIDENCE(ten_thousand_mutated_policies_prove_nothing_else),
            WITH_EVIDENCE(ten_thousand_mutated_notes_say_nothing_else),
            WITH_EVIDENCE(a_proof_with_a_thousand_signature_lines_is_refused),
            WITH_EVIDENCE(a_line_longer_than_any_file_or_key_is_refused),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
