#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "proof/evidence.h"
#include "support/evidence.h"

/* Verifier keys of a log and of witnesses, as text, from counted seeds. */
#define KEYS 40
static char log_key[KEYS][FSP_VKEY_MAX];
static char witness_key[KEYS][FSP_VKEY_MAX];

static int
make_keys(void **state)
{
    struct seeded seeded = {.state = 7};
    struct fsp_env env = evidence_seeded_env(&seeded);

    (void)state;
    for (size_t i = 0; i < 2 * (size_t)KEYS; i++) {
        char name[32];
        struct fsp_skey *skey = NULL;
        struct fsp_buf buf;

        (void)snprintf(name, sizeof(name), "%s-%zu", i < KEYS ? "log" : "witness", i % KEYS);
        if (fsp_skey_new(&skey, name, i < KEYS ? FSP_KEY_NOTE : FSP_KEY_COSIGNER, &env, NULL) !=
                FSP_OK)
            return -1;
        fsp_buf_init(&buf, FSP_VKEY_MAX);
        fsp_vkey_write(fsp_skey_vkey(skey), &buf);
        (void)snprintf(i < KEYS ? log_key[i] : witness_key[i - KEYS], FSP_VKEY_MAX, "%s",
                fsp_buf_peek(&buf));
        fsp_buf_fini(&buf);
        fsp_skey_free(skey);
    }
    return 0;
}

/* Write a policy in which L0, L1 … stand for log keys and W0, W1 … for witness keys. */
static void
expand(struct fsp_buf *buf, const char *text)
{
    fsp_buf_reset(buf);
    for (; *text != '\0'; text++) {
        bool at_word = buf->len == 0 || strchr(" \t\n", buf->data[buf->len - 1]) != NULL;

        if (at_word && (*text == 'L' || *text == 'W') && text[1] >= '0' && text[1] <= '9') {
            fsp_buf_add_text(
                    buf, *text == 'L' ? log_key[text[1] - '0'] : witness_key[text[1] - '0']);
            text++;
        } else {
            fsp_buf_add_byte(buf, (uint8_t)*text);
        }
    }
}

static enum fsp_rc
parse(const char *text, struct fsp_err *err)
{
    struct fsp_policy *policy = NULL;
    struct fsp_buf buf;
    enum fsp_rc rc;

    fsp_buf_init(&buf, FSP_NOTE_MAX);
    expand(&buf, text);
    rc = fsp_policy_parse(&policy, fsp_buf_peek(&buf), buf.len, err);
    assert_true((rc == FSP_OK) == (policy != NULL));
    fsp_policy_free(policy);
    fsp_buf_fini(&buf);
    return rc;
}

/* The shape of the specification's own example. */
#define TWO_LEVELS                                                                             \
    ("log L0\nwitness a W0\nwitness b W1\nwitness c W2\ngroup x 2 a b c\n"                     \
     "witness d W3\nwitness e W4\ngroup y any d e\ngroup z all x y\nquorum z\n")

static void
policies_of_the_specification_s_forms_are_read(void **state)
{
    static const char *const good[] = {"quorum none\n", "log L0\nquorum none\n",
            "log L0 https://log.example/\nwitness a W0 https://w.example/\nquorum a\n",
            "# comment\n\n  \t\n\t# another \xc3\xa9\nlog L0\nquorum none\n",
            "  log\tL0  \n\tquorum   none\t\n",
            "log L0\nlog L1\nwitness a W0\nwitness b W1\ngroup g any a b\nquorum g\n",
            TWO_LEVELS, "log L0\nwitness a W0\nquorum a\nwitness b W1\n",
            "witness \xc3\xa9 W0\ngroup \xe2\x84\xaa 1 \xc3\xa9\nquorum \xe2\x84\xaa\n"};
    struct fsp_err err;

    (void)state;
    for (size_t i = 0; i < sizeof(good) / sizeof(good[0]); i++)
        assert_ok(parse(good[i], &err), &err);
}

static void
policies_with_a_fault_are_refused_with_the_line_named(void **state)
{
    static const struct {
        const char *text, *says;
    } bad[] = {
            {"", "no quorum"},
            {"log L0\n", "no quorum"},
            {"log L0\nquorum none", "line 2"},
            {"quorum none\nquorum none\n", "second quorum"},
            {"quorum\n", "line 1"},
            {"quorum a\n", "not named"},
            {"quorum a\nwitness a W0\n", "not named"},
            {"quorum none none\n", "line 1"},
            {"log\nquorum none\n", "log VKEY"},
            {"log L0 url more\nquorum none\n", "log VKEY"},
            {"log W0\nquorum none\n", "0x01"},
            {"log L0\nwitness a L1\nquorum a\n", "0x04"},
            {"log L0\nlog L0\nquorum none\n", "second time"},
            {"witness a W0\nwitness b W0\nquorum a\n", "second time"},
            {"witness a W0\nwitness a W1\nquorum a\n", "taken"},
            {"witness none W0\nquorum none\n", "taken"},
            {"witness a\nquorum none\n", "witness NAME VKEY"},
            {"witness a W0 url more\nquorum a\n", "witness NAME VKEY"},
            {"log rubbish\nquorum none\n", "verifier key"},
            {"witness a W0\ngroup a any a\nquorum a\n", "taken"},
            {"witness a W0\ngroup none any a\nquorum none\n", "taken"},
            {"witness a W0\ngroup g any a a\nquorum g\n", "in a group already"},
            {"witness a W0\nwitness b W1\ngroup g any a\ngroup h any a b\nquorum h\n",
                    "in a group already"},
            {"witness a W0\ngroup g 0 a\nquorum g\n", "from 1"},
            {"witness a W0\ngroup g 2 a\nquorum g\n", "from 1"},
            {"witness a W0\ngroup g 01 a\nquorum g\n", "from 1"},
            {"witness a W0\ngroup g -1 a\nquorum g\n", "from 1"},
            {"witness a W0\ngroup g ALL a\nquorum g\n", "from 1"},
            {"witness a W0\ngroup g 18446744073709551617 a\nquorum g\n", "from 1"},
            {"group g any\nquorum g\n", "group NAME"},
            {"group g any none\nquorum g\n", "not named"},
            {"group g any g\nquorum g\n", "not named"},
            {"group g any a\nwitness a W0\nquorum g\n", "not named"},
            {"Log L0\nquorum none\n", "begins with none"},
            {"log L0\r\nquorum none\n", "control"},
            {"log L0\x7f\nquorum none\n", "control"},
            {"# \x01\nquorum none\n", "control"},
            {"log\vL0\nquorum none\n", "control"},
            {"log\xc2\xa0 L0\nquorum none\n", "begins with none"},
    };
    struct fsp_err err;

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        if (parse(bad[i].text, &err) != FSP_EFORMAT)
            fail_msg("case %zu taken: %s", i, bad[i].text);
        if (strstr(err.text, bad[i].says) == NULL || strncmp(err.text, "policy: ", 8) != 0)
            fail_msg("case %zu says: %s", i, err.text);
    }
    {
        struct fsp_policy *policy = NULL;

        assert_int_equal(fsp_policy_parse(&policy, "quorum none\0\n", 13, &err), FSP_EFORMAT);
    }
}

/* A policy of so many logs, witnesses and (chained) groups; at least one of each. */
static enum fsp_rc
parse_many(size_t logs, size_t witnesses, size_t groups)
{
    struct fsp_policy *policy = NULL;
    struct fsp_buf buf;
    enum fsp_rc rc;

    fsp_buf_init(&buf, FSP_NOTE_MAX);
    for (size_t i = 0; i < logs; i++)
        fsp_buf_printf(&buf, "log %s\n", log_key[i]);
    for (size_t i = 0; i < witnesses; i++)
        fsp_buf_printf(&buf, "witness w%zu %s\n", i, witness_key[i]);
    fsp_buf_add_text(&buf, "group g0 any w0\n");
    for (size_t i = 1; i < groups; i++)
        fsp_buf_printf(&buf, "group g%zu 1 g%zu\n", i, i - 1);
    fsp_buf_printf(&buf, "quorum g%zu\n", groups - 1);
    rc = fsp_policy_parse(&policy, fsp_buf_peek(&buf), buf.len, NULL);
    fsp_policy_free(policy);
    fsp_buf_fini(&buf);
    return rc;
}

static void
thirty_two_of_each_are_taken_and_one_more_is_not(void **state)
{
    (void)state;
    assert_int_equal(parse_many(32, 32, 32), FSP_OK);
    assert_int_equal(parse_many(33, 32, 32), FSP_ELIMIT);
    assert_int_equal(parse_many(32, 33, 32), FSP_ELIMIT);
    assert_int_equal(parse_many(32, 32, 33), FSP_ELIMIT);
}

static void
keys_are_shown_logs_first(void **state)
{
    struct fsp_policy *policy = NULL;
    struct fsp_buf buf;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&buf, FSP_NOTE_MAX);
    expand(&buf, "witness a W0\nlog L0\nwitness b W1\nlog L1\nquorum none\n");
    assert_ok(fsp_policy_parse(&policy, fsp_buf_peek(&buf), buf.len, &err), &err);
    assert_string_equal(fsp_policy_key(policy, 0)->name, "log-0");
    assert_string_equal(fsp_policy_key(policy, 1)->name, "log-1");
    assert_string_equal(fsp_policy_key(policy, 2)->name, "witness-0");
    assert_string_equal(fsp_policy_key(policy, 3)->name, "witness-1");
    assert_null(fsp_policy_key(policy, 4));
    fsp_policy_free(policy);
    fsp_buf_fini(&buf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(policies_of_the_specification_s_forms_are_read),
            cmocka_unit_test(policies_with_a_fault_are_refused_with_the_line_named),
            cmocka_unit_test(thirty_two_of_each_are_taken_and_one_more_is_not),
            cmocka_unit_test(keys_are_shown_logs_first),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, make_keys, NULL);
}
