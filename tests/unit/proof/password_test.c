#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "proof/key.h"
#include "proof/password.h"

static void
a_password_is_known_again_and_no_other(void **state)
{
    char stored[FSP_PASSWORD_STORED];
    char longest[FSP_PASSWORD_MAX + 2];
    struct fsp_err err = {0};

    (void)state;
    memset(longest, 'p', sizeof(longest));
    longest[FSP_PASSWORD_MAX] = '\0';
    assert_ok(fsp_password_hash(longest, stored, &err), &err);
    assert_memory_equal(stored, "$argon2id$v=19$m=65536,t=3,p=1$", 31);
    assert_ok(fsp_password_verify(stored, longest, &err), &err);
    longest[FSP_PASSWORD_MAX] = 'p'; /* one byte more than the longest is another one */
    longest[FSP_PASSWORD_MAX + 1] = '\0';
    assert_int_equal(fsp_password_verify(stored, longest, &err), FSP_EVERIFY);
    assert_int_equal(fsp_password_verify(NULL, "any password", &err), FSP_EVERIFY);
    assert_string_equal(err.text, "wrong name or password");
}

static void
passwords_that_are_too_short_or_unprintable_are_not_taken(void **state)
{
    static const struct {
        const char *password;
        enum fsp_rc rc;
    } rows[] = {
            {"", FSP_EINVAL},
            {"123456789", FSP_EINVAL},
            {"1234567890", FSP_OK},
            {"\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9",
                    FSP_EINVAL}, /* five characters, ten bytes */
            {"\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9",
                    FSP_OK},
            {"12345\t7890", FSP_EINVAL},
            {"1234567\xff"
             "90",
                    FSP_EINVAL},
    };
    struct fsp_err err = {0};

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        if (fsp_password_check(rows[i].password, &err) != rows[i].rc)
            fail_msg("%s", rows[i].password);
}

/* Source: RFC 6234's SHA-256 of "abc"; RFC 4648 section 5. */
static void
tokens_are_base64url_and_their_mark_is_sha256(void **state)
{
    static const uint8_t abc[FSP_MARK_LEN] = {0xba, 0x78, 0x16, 0xbf, 0x8f, 0x01, 0xcf, 0xea,
            0x41, 0x41, 0x40, 0xde, 0x5d, 0xae, 0x22, 0x23, 0xb0, 0x03, 0x61, 0xa3, 0x96, 0x17,
            0x7a, 0x9c, 0xb4, 0x10, 0xff, 0x61, 0xf2, 0x00, 0x15, 0xad};
    uint8_t bytes[FSP_TOKEN_BYTES];
    uint8_t back[FSP_TOKEN_BYTES];
    char token[FSP_TOKEN_TEXT_LEN + 1];
    char other[FSP_TOKEN_TEXT_LEN + 1];

    (void)state;
    fsp_token_mark("abc", bytes);
    assert_memory_equal(bytes, abc, sizeof(abc));
    memset(bytes, 0xff, sizeof(bytes));
    fsp_token_write(bytes, token);
    assert_string_equal(token, "__________________________________________8");
    assert_true(fsp_token_read(token, back));
    assert_memory_equal(back, bytes, sizeof(bytes));
    token[FSP_TOKEN_TEXT_LEN - 1] = '9'; /* a spare bit set */
    assert_false(fsp_token_read(token, back));
    assert_false(fsp_token_read("", back));
    assert_false(fsp_token_read("short", back));
    fsp_token_new(fsp_env_system(), token);
    fsp_token_new(fsp_env_system(), other);
    assert_int_not_equal(strcmp(token, other), 0);
    assert_true(fsp_token_read(token, back));
    assert_true(fsp_secret_equal(token, token, FSP_TOKEN_TEXT_LEN));
    assert_false(fsp_secret_equal(token, other, FSP_TOKEN_TEXT_LEN));
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_password_is_known_again_and_no_other),
            cmocka_unit_test(passwords_that_are_too_short_or_unprintable_are_not_taken),
            cmocka_unit_test(tokens_are_base64url_and_their_mark_is_sha256),
    };
    struct fsp_err err = {0};

    if (fsp_proof_init(&err) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
