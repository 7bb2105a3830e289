#include "support/test.h"

#include <string.h>

#include "proof/renewal.h"

/* Our own vector: old seed 00 01 .. 1f, new seed 20 21 .. 3f (docs/formats.md, section 10, has the
 * first one's public key). Ed25519 is deterministic, so the proof is a golden value; the Python
 * verifier of the tests computes the message from docs/formats.md alone. */
#define ENTRY                                                                                  \
    "{\"at\":\"2026-03-02T00:00:00Z\",\"by\":\"clerk\",\"from\":{\"origin\":"                  \
    "\"lantern-basin/heron/5e1f3a90c2d47b86\",\"root\":"                                       \
    "\"g6AOH0/p7ceim0TooMWJkBQCdf7ZuNmcYepif7cVbSU=\",\"size\":3},\"kind\":\"renewal\","       \
    "\"noted\":\"2026-03-02T00:00:00Z\",\"v\":1,\"why\":\"rotation\"}"

static uint8_t first_byte;

static int64_t
no_clock(void *ctx)
{
    (void)ctx;
    return 0;
}

static void
counting(void *ctx, void *out, size_t len)
{
    uint8_t *bytes = out;

    (void)ctx;
    for (size_t i = 0; i < len; i++)
        bytes[i] = (uint8_t)(first_byte + i);
}

static struct fsp_skey *
key_from(uint8_t first, const char *name)
{
    const struct fsp_env env = {
            .utc_us = no_clock, .monotonic_us = no_clock, .random = counting};
    struct fsp_skey *skey = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    first_byte = first;
    assert_ok(fsp_skey_new(&skey, name, FSP_KEY_NOTE, &env, &err), &err);
    return skey;
}

#define OLD_NAME "lantern-basin/heron/5e1f3a90c2d47b86"
#define NEW_NAME "lantern-basin/heron/0011223344556677"

static void
a_proof_holds_for_exactly_what_was_signed(void **state)
{
    struct fsp_skey *old_key = key_from(0x00, OLD_NAME);
    struct fsp_skey *new_key = key_from(0x20, NEW_NAME);
    struct fsp_renewal renewal;
    struct fsp_renewal other;
    struct fsp_vkey key;
    struct fsp_err err = {.rc = FSP_OK};

    (void)state;
    assert_ok(fsp_renewal_read(&renewal, ENTRY, strlen(ENTRY), &err), &err);
    assert_false(renewal.has_proof);
    assert_string_equal(renewal.from.origin, OLD_NAME);
    assert_int_equal(renewal.from.size, 3);
    assert_int_equal(
            fsp_renewal_verify(&renewal, fsp_skey_vkey(old_key), fsp_skey_vkey(new_key), &err),
            FSP_EVERIFY);
    assert_ok(fsp_renewal_sign(&renewal, old_key, fsp_skey_vkey(new_key), &err), &err);
    assert_ok(
            fsp_renewal_verify(&renewal, fsp_skey_vkey(old_key), fsp_skey_vkey(new_key), &err),
            &err);
    /* Every part counts. */
    other = renewal;
    other.from.size++;
    assert_int_equal(
            fsp_renewal_verify(&other, fsp_skey_vkey(old_key), fsp_skey_vkey(new_key), &err),
            FSP_EVERIFY);
    other = renewal;
    other.from.root[31] ^= 1u;
    assert_int_equal(
            fsp_renewal_verify(&other, fsp_skey_vkey(old_key), fsp_skey_vkey(new_key), &err),
            FSP_EVERIFY);
    other = renewal;
    other.proof[0] ^= 1u;
    assert_int_equal(
            fsp_renewal_verify(&other, fsp_skey_vkey(old_key), fsp_skey_vkey(new_key), &err),
            FSP_EVERIFY);
    key = *fsp_skey_vkey(new_key);
    key.pub[3] ^= 1u;
    assert_int_equal(
            fsp_renewal_verify(&renewal, fsp_skey_vkey(old_key), &key, &err), FSP_EVERIFY);
    assert_int_equal(
            fsp_renewal_verify(&renewal, fsp_skey_vkey(new_key), fsp_skey_vkey(new_key), &err),
            FSP_EVERIFY);
    assert_int_equal(
            fsp_renewal_sign(&renewal, new_key, fsp_skey_vkey(new_key), &err), FSP_EINVAL);
    fsp_skey_free(old_key);
    fsp_skey_free(new_key);
}

static void
the_signed_message_is_the_documented_one(void **state)
{
    static const char message[] = "farspool-renewal/v1\n" OLD_NAME
                                  "\n3\ng6AOH0/p7ceim0TooMWJkBQCdf7ZuNmcYepif7cVbSU=\n";
    struct fsp_skey *old_key = key_from(0x00, OLD_NAME);
    struct fsp_skey *new_key = key_from(0x20, NEW_NAME);
    struct fsp_renewal renewal;
    struct fsp_buf text;
    struct fsp_err err = {.rc = FSP_OK};

    (void)state;
    assert_ok(fsp_renewal_read(&renewal, ENTRY, strlen(ENTRY), &err), &err);
    assert_ok(fsp_renewal_sign(&renewal, old_key, fsp_skey_vkey(new_key), &err), &err);
    fsp_buf_init(&text, 2048);
    fsp_buf_add_text(&text, message);
    fsp_vkey_write(fsp_skey_vkey(new_key), &text);
    fsp_buf_add_byte(&text, '\n');
    assert_int_equal(
            fsp_vkey_verify(fsp_skey_vkey(old_key), text.data, text.len, renewal.proof),
            FSP_OK);
    fsp_buf_fini(&text);
    fsp_skey_free(old_key);
    fsp_skey_free(new_key);
}

static void
what_is_no_renewal_is_refused(void **state)
{
    static const char *const bad[] = {
            "",
            "{}",
            "no json",
            "{\"at\":\"2026-03-01T07:00:00Z\",\"by\":\"clerk\",\"kind\":\"slip\",\"length\":"
            "\"30 "
            "ft\",\"noted\":\"2026-03-01T07:10:00Z\",\"v\":1}",
    };
    struct fsp_renewal renewal;
    char cut[512];

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
        assert_int_equal(fsp_renewal_read(&renewal, bad[i], strlen(bad[i]), NULL), FSP_EFORMAT);
    for (size_t n = 0; n < strlen(ENTRY); n++) {
        memcpy(cut, ENTRY, n);
        assert_int_equal(fsp_renewal_read(&renewal, cut, n, NULL), FSP_EFORMAT);
    }
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_proof_holds_for_exactly_what_was_signed),
            cmocka_unit_test(the_signed_message_is_the_documented_one),
            cmocka_unit_test(what_is_no_renewal_is_refused),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
