#include "support/test.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "wire/bundle.h"
#include "wire/bundle_priv.h"
#include "wire/seal.h"

#define ENTRIES 5

static struct fsp_box_key
new_box_key(void)
{
    struct fsp_box_key key;

    if (crypto_box_keypair(key.pub, key.secret) != 0)
        abort();
    fsp_box_key_id(key.pub, key.id);
    return key;
}

static const struct fsp_entry_bytes entries[ENTRIES] = {
        {(const uint8_t *)"{\"a\":1}", 7},
        {(const uint8_t *)"{\"b\":22}", 8},
        {(const uint8_t *)"x", 1},
        {(const uint8_t *)"bytes that are no JSON \xff\x00\x01", 26},
        {(const uint8_t *)"{\"c\":\"333\"}", 11},
};

static struct fsp_bundle_head
sample_head(bool enrolment)
{
    struct fsp_bundle_head head = {.head = {.origin = "basin/heron/0011", .size = 12},
            .old_size = 7,
            .enrolment = enrolment};

    memset(head.head.root, 0xA1, sizeof(head.head.root));
    memset(head.sig, 0xB2, sizeof(head.sig));
    memset(head.rig_pub, 0xC3, sizeof(head.rig_pub));
    memset(head.token, 0xD4, sizeof(head.token));
    return head;
}

static void
seal_sample(struct fsp_buf *out, bool enrolment, const struct fsp_box_key *key)
{
    struct fsp_bundle_head head = sample_head(enrolment);
    struct fsp_err err;

    fsp_buf_init(out, FSP_BUNDLE_MAX);
    assert_ok(fsp_bundle_seal(out, &head, entries, ENTRIES, key->pub, &err), &err);
}

static void
a_bundle_opens_to_what_was_sealed(void **state)
{
    struct fsp_box_key keys[2] = {new_box_key(), new_box_key()};

    (void)state;
    for (int enrolment = 0; enrolment < 2; enrolment++) {
        const struct fsp_bundle_head *head;
        const struct fsp_entry_bytes *got;
        struct fsp_bundle_head want = sample_head(enrolment == 1);
        struct fsp_bundle *bundle;
        struct fsp_buf sealed;
        struct fsp_err err;
        size_t whole;
        size_t n;

        seal_sample(&sealed, enrolment == 1, &keys[1]);
        assert_ok(fsp_bundle_length(sealed.data, sealed.len, &whole, &err), &err);
        assert_int_equal(whole, sealed.len);
        assert_ok(fsp_bundle_open(sealed.data, sealed.len, keys, 2, &bundle, &err), &err);
        head = fsp_bundle_peek_head(bundle);
        assert_string_equal(head->head.origin, want.head.origin);
        assert_int_equal(head->head.size, 12);
        assert_int_equal(head->old_size, 7);
        assert_memory_equal(head->head.root, want.head.root, sizeof(want.head.root));
        assert_memory_equal(head->sig, want.sig, sizeof(want.sig));
        assert_int_equal(head->enrolment, enrolment == 1);
        if (enrolment == 1) {
            assert_memory_equal(head->rig_pub, want.rig_pub, sizeof(want.rig_pub));
            assert_memory_equal(head->token, want.token, sizeof(want.token));
        }
        got = fsp_bundle_peek_entries(bundle, &n);
        assert_int_equal(n, ENTRIES);
        for (size_t i = 0; i < n; i++) {
            assert_int_equal(got[i].len, entries[i].len);
            assert_memory_equal(got[i].bytes, entries[i].bytes, entries[i].len);
        }
        fsp_bundle_free(bundle);
        fsp_buf_fini(&sealed);
    }
}

static void
every_flipped_bit_and_every_truncation_is_refused(void **state)
{
    struct fsp_box_key key = new_box_key();
    struct fsp_bundle *bundle;
    struct fsp_buf sealed;
    struct fsp_err err;

    (void)state;
    seal_sample(&sealed, true, &key);
    for (size_t bit = 0; bit < 8 * sealed.len; bit++) {
        sealed.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
        err.text[0] = '\0';
        assert_int_not_equal(
                fsp_bundle_open(sealed.data, sealed.len, &key, 1, &bundle, &err), FSP_OK);
        assert_null(bundle);
        assert_true(strlen(err.text) > 10);
        sealed.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
    }
    for (size_t cut = 0; cut < sealed.len; cut++)
        assert_int_equal(
                fsp_bundle_open(sealed.data, cut, &key, 1, &bundle, &err), FSP_EFORMAT);
    fsp_buf_add_byte(&sealed, 0);
    assert_int_equal(
            fsp_bundle_open(sealed.data, sealed.len, &key, 1, &bundle, &err), FSP_EFORMAT);
    fsp_buf_fini(&sealed);
}

static void
a_length_outside_the_limits_is_refused_before_anything_is_read(void **state)
{
    static const struct {
        uint32_t rest;
        enum fsp_rc rc;
    } lengths[] = {
            {0, FSP_EFORMAT},
            {FSP_SEAL_OVERHEAD + 7, FSP_EFORMAT},
            {FSP_SEAL_OVERHEAD + 8, FSP_OK},
            {FSP_BUNDLE_MAX - 8, FSP_OK},
            {FSP_BUNDLE_MAX - 7, FSP_ELIMIT},
            {UINT32_MAX, FSP_ELIMIT},
    };
    static const uint8_t magic[4] = {'F', 'S', 'B', '1'};
    uint8_t *bytes = calloc(1, 2 * FSP_BUNDLE_MAX);

    (void)state;
    for (size_t k = 0; k < sizeof(magic); k++)
        bytes[k] = magic[k];
    for (size_t i = 0; i < sizeof(lengths) / sizeof(lengths[0]); i++) {
        struct fsp_err err;
        size_t whole = 0;

        for (size_t k = 0; k < 4; k++)
            bytes[4 + k] = (uint8_t)(lengths[i].rest >> (8 * k));
        assert_int_equal(
                fsp_bundle_length(bytes, 2 * FSP_BUNDLE_MAX, &whole, &err), lengths[i].rc);
        assert_int_equal(whole, lengths[i].rc == FSP_OK ? lengths[i].rest + 8 : 0);
    }
    free(bytes);
}

static void
a_bundle_for_another_office_is_told_apart_from_a_damaged_one(void **state)
{
    struct fsp_box_key ours = new_box_key();
    struct fsp_box_key theirs = new_box_key();
    struct fsp_bundle *bundle;
    struct fsp_buf sealed;
    struct fsp_err err;

    (void)state;
    seal_sample(&sealed, false, &theirs);
    assert_int_equal(
            fsp_bundle_open(sealed.data, sealed.len, &ours, 1, &bundle, &err), FSP_ENOTFOUND);
    assert_non_null(strstr(err.text, "another office"));
    fsp_buf_fini(&sealed);
}

static void
what_cannot_be_carried_is_refused_before_sealing(void **state)
{
    static const struct fsp_entry_bytes broken[] = {
            {(const uint8_t *)"a\nb", 3}, {(const uint8_t *)"", 0}};
    struct fsp_bundle_head head = sample_head(false);
    struct fsp_box_key key = new_box_key();
    struct fsp_entry_bytes *many = calloc(FSP_BUNDLE_ENTRIES + 1, sizeof(*many));
    struct fsp_buf out;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&out, FSP_BUNDLE_MAX);
    assert_int_equal(fsp_bundle_seal(&out, &head, entries, 4, key.pub, &err), FSP_EINVAL);
    head.head.size = head.old_size + 1;
    for (size_t i = 0; i < 2; i++)
        assert_int_equal(
                fsp_bundle_seal(&out, &head, &broken[i], 1, key.pub, &err), FSP_EINVAL);
    for (size_t i = 0; i <= FSP_BUNDLE_ENTRIES; i++)
        many[i] = entries[0];
    head.head.size = head.old_size + FSP_BUNDLE_ENTRIES + 1;
    assert_int_equal(fsp_bundle_seal(&out, &head, many, FSP_BUNDLE_ENTRIES + 1, key.pub, &err),
            FSP_ELIMIT);
    head.head.size--;
    assert_ok(fsp_bundle_seal(&out, &head, many, FSP_BUNDLE_ENTRIES, key.pub, &err), &err);
    fsp_buf_fini(&out);
    free(many);
}

/* Inside the box nothing is trusted either: every truncation, and every byte changed to 16 others. */
static void
the_inside_is_parsed_strictly(void **state)
{
    struct fsp_box_key key = new_box_key();
    struct fsp_bundle *bundle;
    struct fsp_buf sealed;
    struct fsp_buf inner;
    struct fsp_err err;

    (void)state;
    seal_sample(&sealed, true, &key);
    fsp_buf_init(&inner, FSP_BUNDLE_MAX);
    assert_ok(fsp_unseal(&inner, sealed.data + FSP_BUNDLE_OUTER_LEN,
                      sealed.len - FSP_BUNDLE_OUTER_LEN, key.pub, key.secret, &err),
            &err);
    for (size_t cut = 0; cut < inner.len; cut++)
        assert_int_not_equal(fsp_bundle_parse_inner(inner.data, cut, &bundle, &err), FSP_OK);
    for (size_t i = 0; i < inner.len; i++) {
        uint8_t kept = inner.data[i];

        for (unsigned step = 1; step < 256; step += 15) {
            inner.data[i] = (uint8_t)(kept + step);
            if (fsp_bundle_parse_inner(inner.data, inner.len, &bundle, &err) == FSP_OK)
                assert_true(fsp_bundle_peek_head(bundle)->head.size >= 5);
            fsp_bundle_free(bundle);
        }
        inner.data[i] = kept;
    }
    assert_ok(fsp_bundle_parse_inner(inner.data, inner.len, &bundle, &err), &err);
    fsp_bundle_free(bundle);
    fsp_buf_fini(&sealed);
    fsp_buf_fini(&inner);
}

static void
a_box_key_is_completed_from_its_secret(void **state)
{
    struct fsp_box_key key;
    struct fsp_box_key again;
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_box_key_make(&key, fsp_env_system(), &err), &err);
    memset(&again, 0, sizeof(again));
    memcpy(again.secret, key.secret, sizeof(again.secret));
    assert_ok(fsp_box_key_complete(&again, &err), &err);
    assert_memory_equal(&again, &key, sizeof(key));
    fsp_box_key_wipe(&key);
    for (size_t i = 0; i < sizeof(key.secret); i++)
        assert_int_equal(key.secret[i], 0);
}

/* Source: FIPS 180-4's example message, SHA-256("abc"). */
static void
the_digest_of_a_bundle_is_sha_256(void **state)
{
    static const uint8_t want[4] = {0xba, 0x78, 0x16, 0xbf};
    uint8_t got[32];

    (void)state;
    fsp_bundle_digest("abc", 3, got);
    assert_memory_equal(got, want, sizeof(want));
}

static void
a_renewal_carries_the_new_key_and_never_a_token_too(void **state)
{
    struct fsp_box_key key = new_box_key();
    struct fsp_bundle_head head = sample_head(false);
    const struct fsp_bundle_head *got;
    struct fsp_bundle *bundle = NULL;
    struct fsp_buf sealed;
    struct fsp_err err;

    (void)state;
    head.renewal = true;
    fsp_buf_init(&sealed, FSP_BUNDLE_MAX);
    assert_ok(fsp_bundle_seal(&sealed, &head, entries, ENTRIES, key.pub, &err), &err);
    assert_ok(fsp_bundle_open(sealed.data, sealed.len, &key, 1, &bundle, &err), &err);
    got = fsp_bundle_peek_head(bundle);
    assert_true(got->renewal);
    assert_false(got->enrolment);
    assert_memory_equal(got->rig_pub, head.rig_pub, sizeof(head.rig_pub));
    fsp_bundle_free(bundle);
    head.enrolment = true;
    assert_int_equal(
            fsp_bundle_seal(&sealed, &head, entries, ENTRIES, key.pub, &err), FSP_EINVAL);
    fsp_buf_fini(&sealed);
}

/* With every other flag; without any instruction the bytes before sealing are as they ever were. */
static void
the_newest_instruction_is_named_beside_every_other_flag(void **state)
{
    struct fsp_box_key key = new_box_key();
    struct fsp_err err;

    (void)state;
    for (int with = 0; with < 6; with++) {
        struct fsp_bundle_head head = sample_head(with % 3 == 1);
        const struct fsp_bundle_head *got;
        struct fsp_bundle *bundle = NULL;
        struct fsp_buf sealed;

        head.renewal = with % 3 == 2;
        head.has_newest = with >= 3;
        memcpy(head.newest, "\xff\xee\xdd\xcc\xbb\xaa\x99\x88", sizeof(head.newest));
        fsp_buf_init(&sealed, FSP_BUNDLE_MAX);
        assert_ok(fsp_bundle_seal(&sealed, &head, entries, ENTRIES, key.pub, &err), &err);
        assert_ok(fsp_bundle_open(sealed.data, sealed.len, &key, 1, &bundle, &err), &err);
        got = fsp_bundle_peek_head(bundle);
        assert_int_equal(got->has_newest, head.has_newest);
        assert_int_equal(got->enrolment, head.enrolment);
        assert_int_equal(got->renewal, head.renewal);
        if (head.has_newest)
            assert_memory_equal(got->newest, head.newest, sizeof(head.newest));
        if (head.enrolment)
            assert_memory_equal(got->token, head.token, sizeof(head.token));
        if (head.renewal)
            assert_memory_equal(got->rig_pub, head.rig_pub, sizeof(head.rig_pub));
        fsp_bundle_free(bundle);
        fsp_buf_fini(&sealed);
    }
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_newest_instruction_is_named_beside_every_other_flag),
            cmocka_unit_test(a_renewal_carries_the_new_key_and_never_a_token_too),
            cmocka_unit_test(a_box_key_is_completed_from_its_secret),
            cmocka_unit_test(the_digest_of_a_bundle_is_sha_256),
            cmocka_unit_test(a_bundle_opens_to_what_was_sealed),
            cmocka_unit_test(every_flipped_bit_and_every_truncation_is_refused),
            cmocka_unit_test(a_length_outside_the_limits_is_refused_before_anything_is_read),
            cmocka_unit_test(a_bundle_for_another_office_is_told_apart_from_a_damaged_one),
            cmocka_unit_test(what_cannot_be_carried_is_refused_before_sealing),
            cmocka_unit_test(the_inside_is_parsed_strictly),
    };

    if (sodium_init() < 0)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
