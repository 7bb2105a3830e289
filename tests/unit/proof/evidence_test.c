#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "proof/evidence.h"
#include "support/evidence.h"

/* Big values that every test needs one of. */
static struct evidence evidence;
static struct fsp_proof_file proof;
static struct fsp_statement statement;

static int
set_up(void **state)
{
    static const struct evidence_plan plan = {
            .size = 13, .index = 9, .witnesses = 1, .time_s = EVIDENCE_TIME_S};
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);

    (void)state;
    evidence_init(&evidence);
    return evidence_make(&evidence, &plan, &env, NULL) == FSP_OK ? 0 : -1;
}

static int
tear_down(void **state)
{
    (void)state;
    evidence_fini(&evidence);
    return 0;
}

/* Any of the three may be replaced. */
static enum fsp_rc
judge_parts(const struct fsp_buf *record, const struct fsp_buf *proof_bytes,
        const struct fsp_buf *policy_bytes, struct fsp_err *err)
{
    struct fsp_policy *policy = NULL;
    enum fsp_rc rc =
            fsp_policy_parse(&policy, fsp_buf_peek(policy_bytes), policy_bytes->len, err);

    if (rc == FSP_OK)
        rc = fsp_proof_parse(&proof, fsp_buf_peek(proof_bytes), proof_bytes->len, err);
    if (rc == FSP_OK)
        rc = fsp_evidence_verify(
                policy, fsp_buf_peek(record), record->len, &proof, &statement, err);
    fsp_policy_free(policy);
    return rc;
}

static enum fsp_rc
judge(struct fsp_err *err)
{
    return judge_parts(&evidence.record, &evidence.proof, &evidence.policy, err);
}

static void
good_evidence_states_what_was_proved(void **state)
{
    struct fsp_err err;
    uint8_t leaf[FSP_HASH_LEN];

    (void)state;
    assert_ok(judge(&err), &err);
    assert_int_equal(statement.index, 9);
    assert_int_equal(statement.head.size, 13);
    assert_string_equal(statement.head.origin, EVIDENCE_ORIGIN);
    assert_memory_equal(statement.head.root, evidence.head.root, FSP_HASH_LEN);
    assert_true(fsp_vkey_equal(&statement.log, fsp_skey_vkey(evidence.log)));
    assert_int_equal(statement.cosigned, 1);
    assert_string_equal(statement.cosigner[0].name, "lantern-basin/office");
    assert_true(statement.cosigned_s[0] == EVIDENCE_TIME_S);
    fsp_leaf_hash(evidence.record.data, evidence.record.len, leaf);
    assert_memory_equal(statement.leaf, leaf, FSP_HASH_LEN);
}

static void
every_flipped_bit_of_record_and_proof_is_refused(void **state)
{
    struct fsp_buf *const parts[] = {&evidence.record, &evidence.proof};

    (void)state;
    for (size_t part = 0; part < 2; part++) {
        for (size_t bit = 0; bit < 8 * parts[part]->len; bit++) {
            parts[part]->data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
            if (judge(NULL) == FSP_OK)
                fail_msg("part %zu, bit %zu", part, bit);
            parts[part]->data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
        }
    }
    assert_int_equal(judge(NULL), FSP_OK);
}

static void
every_cut_of_record_proof_and_policy_is_refused(void **state)
{
    struct fsp_buf *const parts[] = {&evidence.record, &evidence.proof, &evidence.policy};

    (void)state;
    for (size_t part = 0; part < 3; part++) {
        const size_t whole = parts[part]->len;

        for (size_t len = 0; len < whole; len++) {
            parts[part]->len = len;
            if (judge(NULL) == FSP_OK)
                fail_msg("part %zu, cut at %zu", part, len);
        }
        parts[part]->len = whole;
    }
    assert_int_equal(judge(NULL), FSP_OK);
}

static void
every_byte_put_behind_record_or_proof_is_refused(void **state)
{
    (void)state;
    for (unsigned byte = 0; byte < 256; byte++) {
        fsp_buf_add_byte(&evidence.record, (uint8_t)byte);
        assert_int_not_equal(judge(NULL), FSP_OK);
        evidence.record.len--;
        fsp_buf_add_byte(&evidence.proof, (uint8_t)byte);
        assert_int_not_equal(judge(NULL), FSP_OK);
        evidence.proof.len--;
    }
}

/* The n-th line of a text with its LF. */
static const char *
nth_line(const char *text, size_t n, size_t *len)
{
    for (;; n--) {
        const char *end = strchr(text, '\n');

        assert_non_null(end);
        if (n == 0) {
            *len = (size_t)(end - text) + 1;
            return text;
        }
        text = end + 1;
    }
}

static size_t
count_lines(const char *text)
{
    size_t n = 0;

    for (; *text != '\0'; text++)
        n += *text == '\n' ? 1 : 0;
    return n;
}

/* The text with line `drop` left out, or with two lines changed round. */
static void
without_line(struct fsp_buf *out, const char *text, size_t drop)
{
    fsp_buf_reset(out);
    for (size_t i = 0; i < count_lines(text); i++) {
        size_t len;
        const char *line = nth_line(text, i, &len);

        if (i != drop)
            fsp_buf_add(out, line, len);
    }
}

/* False when the lines are the same. */
static bool
with_lines_swapped(struct fsp_buf *out, const char *text, size_t a, size_t b)
{
    size_t len_a;
    size_t len_b;
    const char *line_a = nth_line(text, a, &len_a);
    const char *line_b = nth_line(text, b, &len_b);

    if (len_a == len_b && memcmp(line_a, line_b, len_a) == 0)
        return false;
    fsp_buf_reset(out);
    for (size_t i = 0; i < count_lines(text); i++) {
        size_t len;
        const char *line = nth_line(text, i == a ? b : i == b ? a : i, &len);

        fsp_buf_add(out, line, len);
    }
    return true;
}

static enum fsp_rc
judge_proof(const struct fsp_buf *other)
{
    return judge_parts(&evidence.record, other, &evidence.policy, NULL);
}

static void
a_proof_with_a_line_dropped_is_refused(void **state)
{
    const char *text = fsp_buf_peek(&evidence.proof);
    struct fsp_buf other;

    (void)state;
    fsp_buf_init(&other, FSP_NOTE_MAX);
    for (size_t i = 0; i < count_lines(text); i++) {
        without_line(&other, text, i);
        if (judge_proof(&other) == FSP_OK)
            fail_msg("line %zu dropped", i);
    }
    fsp_buf_fini(&other);
}

static void
a_proof_with_lines_swapped_is_refused_or_says_the_same(void **state)
{
    const char *text = fsp_buf_peek(&evidence.proof);
    const size_t n = count_lines(text);
    struct fsp_buf other;

    (void)state;
    fsp_buf_init(&other, FSP_NOTE_MAX);
    for (size_t a = 0; a < n; a++) {
        for (size_t b = a + 1; b < n; b++) {
            enum fsp_rc rc;

            if (!with_lines_swapped(&other, text, a, b))
                continue;
            rc = judge_proof(&other);
            /* Only the two signature lines may change places. */
            if ((rc == FSP_OK) != (a == n - 2 && b == n - 1))
                fail_msg("lines %zu and %zu swapped", a, b);
            if (rc != FSP_OK)
                continue;
            assert_int_equal(statement.index, 9);
            assert_int_equal(statement.cosigned, 1);
            assert_true(statement.cosigned_s[0] == EVIDENCE_TIME_S);
        }
    }
    fsp_buf_fini(&other);
}

static void
the_record_of_another_index_is_refused(void **state)
{
    struct fsp_buf other;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&other, FSP_ENTRY_MAX);
    for (size_t i = 0; i < 13; i++) {
        fsp_buf_reset(&other);
        evidence_record(&other, i, false);
        assert_int_equal(
                judge_parts(&other, &evidence.proof, &evidence.policy, &err), FSP_EVERIFY);
        assert_non_null(strstr(err.text, "not entry 9"));
    }
    fsp_buf_fini(&other);
}

static void
a_policy_that_requires_more_or_others_is_not_met(void **state)
{
    struct seeded seeded = {.state = 3};
    struct fsp_env env = evidence_seeded_env(&seeded);
    struct fsp_skey *stranger = NULL;
    struct fsp_skey *strange_log = NULL;
    struct fsp_buf policy;
    struct fsp_buf key[4];
    struct fsp_err err;
    static const struct {
        const char *form; /* 0 our log, 1 our witness, 2 a stranger, 3 a strange log */
        enum fsp_rc rc;
    } cases[] = {
            {"log 0\nwitness a 1\nquorum a\n", FSP_OK},
            {"log 0\nwitness a 1\nwitness b 2\nquorum b\n", FSP_EVERIFY},
            {"log 0\nwitness a 1\nwitness b 2\ngroup g all a b\nquorum g\n", FSP_EVERIFY},
            {"log 0\nwitness a 1\nwitness b 2\ngroup g 2 a b\nquorum g\n", FSP_EVERIFY},
            {"log 0\nwitness a 1\nwitness b 2\ngroup g any a b\nquorum g\n", FSP_OK},
            {"log 0\nwitness a 1\nwitness b 2\ngroup g any a\ngroup h all g b\nquorum h\n",
                    FSP_EVERIFY},
            {"log 0\nwitness a 1\nwitness b 2\ngroup g any a\ngroup h 1 g b\nquorum h\n",
                    FSP_OK},
            {"log 0\nquorum none\n", FSP_OK},
            {"log 0\nwitness b 2\nquorum none\n", FSP_OK},
            {"log 3\nlog 0\nwitness a 1\nquorum a\n", FSP_OK},
            {"log 3\nwitness a 1\nquorum a\n", FSP_EVERIFY},
            {"witness a 1\nquorum a\n", FSP_EVERIFY},
    };

    (void)state;
    fsp_buf_init(&policy, FSP_NOTE_MAX);
    assert_ok(fsp_skey_new(&stranger, "stranger", FSP_KEY_COSIGNER, &env, &err), &err);
    assert_ok(fsp_skey_new(&strange_log, EVIDENCE_ORIGIN, FSP_KEY_NOTE, &env, &err), &err);
    for (size_t i = 0; i < 4; i++)
        fsp_buf_init(&key[i], FSP_VKEY_MAX);
    fsp_vkey_write(fsp_skey_vkey(evidence.log), &key[0]);
    fsp_vkey_write(fsp_skey_vkey(evidence.witness[0]), &key[1]);
    fsp_vkey_write(fsp_skey_vkey(stranger), &key[2]);
    fsp_vkey_write(fsp_skey_vkey(strange_log), &key[3]);
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        fsp_buf_reset(&policy);
        for (const char *c = cases[i].form; *c != '\0'; c++) {
            bool is_key = *c >= '0' && *c <= '3' && (c[1] == '\n');

            if (is_key)
                fsp_buf_add(&policy, key[*c - '0'].data, key[*c - '0'].len);
            else
                fsp_buf_add_byte(&policy, (uint8_t)*c);
        }
        if (judge_parts(&evidence.record, &evidence.proof, &policy, &err) != cases[i].rc)
            fail_msg("case %zu: %s", i, err.text);
    }
    for (size_t i = 0; i < 4; i++)
        fsp_buf_fini(&key[i]);
    fsp_skey_free(stranger);
    fsp_skey_free(strange_log);
    fsp_buf_fini(&policy);
}

static void
a_known_witness_s_bad_line_is_fatal_even_where_none_is_required(void **state)
{
    uint8_t line[8 + FSP_SIG_LEN] = {0};
    struct fsp_buf policy;
    struct fsp_err err;

    (void)state;
    fsp_note_add_line(&evidence.proof, fsp_skey_vkey(evidence.witness[0]), line, sizeof(line));
    fsp_buf_init(&policy, FSP_NOTE_MAX);
    fsp_buf_add_text(&policy, "log ");
    fsp_vkey_write(fsp_skey_vkey(evidence.log), &policy);
    fsp_buf_add_text(&policy, "\nwitness a ");
    fsp_vkey_write(fsp_skey_vkey(evidence.witness[0]), &policy);
    fsp_buf_add_text(&policy, "\nquorum none\n");
    assert_int_equal(
            judge_parts(&evidence.record, &evidence.proof, &policy, &err), FSP_EVERIFY);
    fsp_buf_fini(&policy);
}

static void
a_head_signed_under_another_name_than_its_origin_is_refused(void **state)
{
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_skey *other = NULL;
    struct fsp_buf text;
    struct fsp_buf note;
    struct fsp_buf policy;
    struct fsp_buf bytes;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    fsp_buf_init(&policy, FSP_NOTE_MAX);
    fsp_buf_init(&bytes, FSP_NOTE_MAX);
    assert_ok(fsp_skey_new(&other, "lantern-basin/plover/1", FSP_KEY_NOTE, &env, &err), &err);
    fsp_checkpoint_write(&evidence.head, &text);
    assert_ok(fsp_note_sign(&note, text.data, text.len, other, &err), &err);
    assert_ok(fsp_proof_parse(&proof, fsp_buf_peek(&evidence.proof), evidence.proof.len, &err),
            &err);
    fsp_proof_write(&bytes, proof.index, (const uint8_t(*)[FSP_HASH_LEN])proof.path, proof.n,
            fsp_buf_peek(&note), note.len);
    fsp_buf_add_text(&policy, "log ");
    fsp_vkey_write(fsp_skey_vkey(other), &policy);
    fsp_buf_add_text(&policy, "\nquorum none\n");
    assert_int_equal(judge_parts(&evidence.record, &bytes, &policy, &err), FSP_EVERIFY);
    assert_non_null(strstr(err.text, "not signed by a log of that name"));
    fsp_skey_free(other);
    fsp_buf_fini(&text);
    fsp_buf_fini(&note);
    fsp_buf_fini(&policy);
    fsp_buf_fini(&bytes);
}

static void
an_extra_line_is_checked_for_its_form_and_proves_nothing(void **state)
{
    static const struct {
        const char *line;
        bool good;
    } cases[] = {{"extra Zm9v\n", true}, {"extra \n", false}, {"extra\n", false},
            {"extra Zm9\n", false}, {"extra Zh==\n", false}, {"Extra Zm9v\n", false},
            {"extra Zm9v\nextra Zm9v\n", false}};
    const char *text = fsp_buf_peek(&evidence.proof);
    size_t first;
    struct fsp_buf other;

    (void)state;
    fsp_buf_init(&other, FSP_NOTE_MAX);
    (void)nth_line(text, 0, &first);
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        fsp_buf_reset(&other);
        fsp_buf_add(&other, text, first);
        fsp_buf_add_text(&other, cases[i].line);
        fsp_buf_add_text(&other, text + first);
        if ((judge_proof(&other) == FSP_OK) != cases[i].good)
            fail_msg("case %zu", i);
    }
    fsp_buf_fini(&other);
}

static void
a_proof_of_more_than_64_hashes_or_64_kB_is_refused(void **state)
{
    uint8_t path[FSP_TREE_LEVELS + 1][FSP_HASH_LEN] = {{0}};
    struct fsp_buf other;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&other, 2 * FSP_NOTE_MAX);
    for (size_t n = FSP_TREE_LEVELS; n <= FSP_TREE_LEVELS + 1; n++) {
        fsp_buf_reset(&other);
        fsp_proof_write(&other, 1, (const uint8_t(*)[FSP_HASH_LEN])path, n, "x\n", 2);
        assert_int_equal(fsp_proof_parse(&proof, fsp_buf_peek(&other), other.len, &err),
                n == FSP_TREE_LEVELS ? FSP_OK : FSP_ELIMIT);
    }
    while (other.len <= FSP_NOTE_MAX)
        fsp_buf_add_text(&other, "\n");
    assert_int_equal(
            fsp_proof_parse(&proof, fsp_buf_peek(&other), other.len, &err), FSP_ELIMIT);
    fsp_buf_fini(&other);
}

static void
check_size_and_index(size_t size, size_t index)
{
    const struct evidence_plan plan = {
            .size = size, .index = index, .witnesses = 1 + size % 3, .time_s = EVIDENCE_TIME_S};
    struct seeded seeded = {.state = 100 * size + index + 1};
    struct fsp_env env = evidence_seeded_env(&seeded);
    struct fsp_err err;

    evidence_fini(&evidence);
    assert_ok(evidence_make(&evidence, &plan, &env, &err), &err);
    assert_ok(judge(&err), &err);
    assert_int_equal(statement.cosigned, plan.witnesses);
}

static void
evidence_holds_at_every_size_and_index_up_to_20(void **state)
{
    (void)state;
    for (size_t size = 1; size <= 20; size++)
        for (size_t index = 0; index < size; index++)
            check_size_and_index(size, index);
}

/* The values of docs/formats.md section 10: our published vectors. */
static void
the_worked_example_of_the_formats_stays_true(void **state)
{
    static const char sig_hex[] =
            "0fddd9ff34c76f71241568eee0068a379132feba5cb93eed5c4609cca1ec2676"
            "dabe7d07ac480faa71ab30df1e8cabcaab3d99981ea0e7ddc9d2e2151d31a802";
    static const char message[] = "cosignature/v1\n"
                                  "time 1772352000\n"
                                  "lantern-basin/heron/5e1f3a90c2d47b86\n"
                                  "3\n"
                                  "g6AOH0/p7ceim0TooMWJkBQCdf7ZuNmcYepif7cVbSU=\n";
    static const char witness[] =
            "lantern-basin/office+8d7f48cc+BCmsuuFBvMrwsi4alNNNC8c2HlJtC/4SyJeUvJMilm3X";
    static const char proof_text[] =
            "c2sp.org/tlog-proof@v1\n"
            "index 1\n"
            "C+1hrpfhjMEg99Eg+i3wfXF2q0xv4K4KhQr5qDOPiXA=\n"
            "HvuKpGG5Qf+ltaHU4ZNVHzRKT32T10wkC/WX/TJUvMs=\n"
            "\n"
            "lantern-basin/heron/5e1f3a90c2d47b86\n"
            "3\n"
            "g6AOH0/p7ceim0TooMWJkBQCdf7ZuNmcYepif7cVbSU=\n"
            "\n"
            "\xe2\x80\x94 lantern-basin/heron/5e1f3a90c2d47b86 "
            "5f8T+EwTqB2c/Z33J3Tp7C7oCbe9E036uwF"
            "uGsE+3VTPLzugMJKM6ncAVNLBJRiafyHo2NSXBykoLtUQEQ2pQgAxCwg=\n"
            "\xe2\x80\x94 lantern-basin/office "
            "jX9IzAAAAABpo/IAD93Z/zTHb3EkFWju4AaKN5Ey/rpcuT7tXEY"
            "JzKHsJnbavn0HrEgPqnGrMN8ejKvKqz2ZmB6g593J0uIVHTGoAg==\n";
    struct fsp_vkey vkey;
    struct fsp_err err;
    uint8_t sig[FSP_SIG_LEN];
    size_t index = 0;

    (void)state;
    assert_ok(fsp_vkey_parse(&vkey, witness, strlen(witness), &err), &err);
    assert_int_equal(fsp_text_unhex(sig, sizeof(sig), sig_hex), FSP_OK);
    assert_int_equal(fsp_vkey_verify(&vkey, message, strlen(message), sig), FSP_OK);
    evidence_fini(&evidence);
    assert_ok(evidence_example(&evidence, &index, &err), &err);
    assert_int_equal(index, 1);
    assert_true(fsp_vkey_equal(&vkey, fsp_skey_vkey(evidence.witness[0])));
    assert_string_equal(fsp_buf_peek(&evidence.proof), proof_text);
    assert_string_equal(fsp_buf_peek(&evidence.record),
            "{\"at\":\"2026-03-01T06:00:00Z\",\"by\":\"clerk\",\"complete\":\"yes\","
            "\"kind\":\"tour\",\"noted\":\"2026-03-01T06:05:00Z\",\"tour\":\"night\",\"v\":1}");
    assert_ok(judge(&err), &err);
}

int
main(void)
{
#define WITH_EVIDENCE(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
            WITH_EVIDENCE(good_evidence_states_what_was_proved),
            WITH_EVIDENCE(every_flipped_bit_of_record_and_proof_is_refused),
            WITH_EVIDENCE(every_cut_of_record_proof_and_policy_is_refused),
            WITH_EVIDENCE(every_byte_put_behind_record_or_proof_is_refused),
            WITH_EVIDENCE(a_proof_with_a_line_dropped_is_refused),
            WITH_EVIDENCE(a_proof_with_lines_swapped_is_refused_or_says_the_same),
            WITH_EVIDENCE(the_record_of_another_index_is_refused),
            WITH_EVIDENCE(a_policy_that_requires_more_or_others_is_not_met),
            WITH_EVIDENCE(a_known_witness_s_bad_line_is_fatal_even_where_none_is_required),
            WITH_EVIDENCE(a_head_signed_under_another_name_than_its_origin_is_refused),
            WITH_EVIDENCE(an_extra_line_is_checked_for_its_form_and_proves_nothing),
            WITH_EVIDENCE(a_proof_of_more_than_64_hashes_or_64_kB_is_refused),
            WITH_EVIDENCE(evidence_holds_at_every_size_and_index_up_to_20),
            WITH_EVIDENCE(the_worked_example_of_the_formats_stays_true),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
