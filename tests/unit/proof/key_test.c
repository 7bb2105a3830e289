#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "proof/key.h"
#include "support/evidence.h"

/* An fsp_env whose randomness is the bytes at ctx: a key from a known seed. */
static void
give_seed(void *ctx, void *out, size_t len)
{
    assert_int_equal(len, 32);
    memcpy(out, ctx, len);
}

static struct fsp_skey *
key_from_seed(const uint8_t seed[32], const char *name, enum fsp_key_type type)
{
    uint8_t copy[32];
    const struct fsp_env env = {.random = give_seed, .ctx = copy};
    struct fsp_skey *skey = NULL;
    struct fsp_err err;

    memcpy(copy, seed, sizeof(copy));
    assert_ok(fsp_skey_new(&skey, name, type, &env, &err), &err);
    return skey;
}

/* RFC 8032 section 7.1, TEST 1 to TEST 3. */
static const struct {
    const char *seed, *pub, *message, *sig;
} rfc8032[] = {
        {"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
                "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
                "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
                "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
        {"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
                "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
                "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
                "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
        {"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
                "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
                "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
                "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"},
};

static void
the_vectors_of_rfc_8032_sign_and_verify(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof(rfc8032) / sizeof(rfc8032[0]); i++) {
        uint8_t seed[32];
        uint8_t message[2];
        uint8_t want[FSP_SIG_LEN];
        uint8_t sig[FSP_SIG_LEN];
        size_t len = strlen(rfc8032[i].message) / 2;
        char pub[65];
        struct fsp_skey *skey;
        const struct fsp_vkey *vkey;

        assert_int_equal(fsp_text_unhex(seed, 32, rfc8032[i].seed), FSP_OK);
        assert_int_equal(fsp_text_unhex(message, len, rfc8032[i].message), FSP_OK);
        assert_int_equal(fsp_text_unhex(want, FSP_SIG_LEN, rfc8032[i].sig), FSP_OK);
        skey = key_from_seed(seed, "example", FSP_KEY_NOTE);
        vkey = fsp_skey_vkey(skey);
        fsp_text_hex(pub, vkey->pub, 32);
        assert_string_equal(pub, rfc8032[i].pub);
        assert_int_equal(fsp_skey_sign(skey, message, len, sig, NULL), FSP_OK);
        assert_memory_equal(sig, want, FSP_SIG_LEN);
        assert_int_equal(fsp_vkey_verify(vkey, message, len, want), FSP_OK);
        for (size_t bit = 0; bit < 8 * (size_t)FSP_SIG_LEN; bit++) {
            sig[bit / 8] ^= (uint8_t)(1u << (bit % 8));
            assert_int_equal(fsp_vkey_verify(vkey, message, len, sig), FSP_EVERIFY);
            sig[bit / 8] ^= (uint8_t)(1u << (bit % 8));
        }
        fsp_skey_free(skey);
    }
}

static void
base64_is_that_of_rfc_4648_and_nothing_else(void **state)
{
    /* RFC 4648 section 10. */
    static const char *const good[][2] = {{"", ""}, {"f", "Zg=="}, {"fo", "Zm8="},
            {"foo", "Zm9v"}, {"foob", "Zm9vYg=="}, {"fooba", "Zm9vYmE="},
            {"foobar", "Zm9vYmFy"}};
    static const char *const bad[] = {"Z", "Zg", "Zg=", "Zg===", "Zg==\n",
            " Zg==", "Zg= =", "Zh==", "Zm9=", "Zm9w=", "Zm9vYg==Zm9v", "Zm-_",
            "====", "=Zg=", "Z===", "Zm8=====", "Zm8\n", "Zm8\xc3\xa9"};
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, 100);
    for (size_t i = 0; i < sizeof(good) / sizeof(good[0]); i++) {
        uint8_t exact[8];

        fsp_buf_reset(&buf);
        fsp_base64(&buf, good[i][0], strlen(good[i][0]));
        assert_string_equal(fsp_buf_peek(&buf), good[i][1]);
        fsp_buf_reset(&buf);
        assert_int_equal(fsp_unbase64(good[i][1], strlen(good[i][1]), &buf), FSP_OK);
        assert_string_equal(fsp_buf_peek(&buf), good[i][0]);
        for (size_t len = 0; len < sizeof(exact); len++)
            assert_int_equal(fsp_unbase64_exact(good[i][1], strlen(good[i][1]), exact, len),
                    len == strlen(good[i][0]) ? FSP_OK : FSP_EFORMAT);
    }
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        uint8_t exact[8];

        fsp_buf_reset(&buf);
        assert_int_equal(fsp_unbase64(bad[i], strlen(bad[i]), &buf), FSP_EFORMAT);
        assert_int_equal(buf.len, 0);
        for (size_t len = 0; len < sizeof(exact); len++)
            assert_int_equal(
                    fsp_unbase64_exact(bad[i], strlen(bad[i]), exact, len), FSP_EFORMAT);
    }
    assert_int_equal(fsp_unbase64("Zg==\0Zg=", 8, &buf), FSP_EFORMAT);
    for (unsigned byte = 0; byte < 256; byte++) {
        static const char alphabet[] =
                "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
        const char text[4] = {(char)byte, 'A', 'A', 'A'};
        bool letter = byte != 0 && strchr(alphabet, (int)byte) != NULL;

        fsp_buf_reset(&buf);
        assert_int_equal(fsp_unbase64(text, 4, &buf), letter ? FSP_OK : FSP_EFORMAT);
    }
    fsp_buf_fini(&buf);
    fsp_buf_init(&buf, 3);
    fsp_base64(&buf, "foo", 3);
    assert_int_equal(buf.rc, FSP_ELIMIT);
    fsp_buf_reset(&buf);
    assert_int_equal(fsp_unbase64("Zm9vYg==", 8, &buf), FSP_ELIMIT);
    fsp_buf_fini(&buf);
}

/* The example of the C2SP signed-note specification. */
#define SPEC_VKEY "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k"

static void
the_specification_s_verifier_key_reads_and_writes_back(void **state)
{
    struct fsp_vkey vkey;
    struct fsp_err err;
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, FSP_VKEY_MAX);
    assert_ok(fsp_vkey_parse(&vkey, SPEC_VKEY, strlen(SPEC_VKEY), &err), &err);
    assert_string_equal(vkey.name, "example.com/foo");
    assert_int_equal(vkey.type, FSP_KEY_NOTE);
    fsp_vkey_write(&vkey, &buf);
    assert_string_equal(fsp_buf_peek(&buf), SPEC_VKEY);
    fsp_buf_fini(&buf);
}

static void
a_fingerprint_is_the_sha256_of_the_verifier_key_s_text(void **state)
{
    struct fsp_vkey vkey;
    char hex[65];

    (void)state;
    assert_int_equal(fsp_vkey_parse(&vkey, SPEC_VKEY, strlen(SPEC_VKEY), NULL), FSP_OK);
    fsp_vkey_fingerprint(&vkey, hex);
    /* printf %s VKEY | sha256sum */
    assert_string_equal(
            hex, "a05425c8f5f4739a4a96992c9dbd587dbe22ea38733b16167f399d44efb9d9f0");
}

static void
every_flipped_bit_and_every_cut_of_a_verifier_key_is_refused(void **state)
{
    char text[] = SPEC_VKEY;
    struct fsp_vkey vkey;

    (void)state;
    for (size_t len = 0; len < strlen(text); len++)
        assert_int_not_equal(fsp_vkey_parse(&vkey, text, len, NULL), FSP_OK);
    for (size_t bit = 0; bit < 8 * strlen(SPEC_VKEY); bit++) {
        text[bit / 8] = (char)(text[bit / 8] ^ (1 << (bit % 8)));
        if (fsp_vkey_parse(&vkey, text, strlen(SPEC_VKEY), NULL) == FSP_OK)
            fail_msg("bit %zu", bit);
        text[bit / 8] = (char)(text[bit / 8] ^ (1 << (bit % 8)));
    }
}

static void
malformed_verifier_keys_are_refused(void **state)
{
    static const char *const bad[] = {"", "+", "++", "a+b+c",
            "+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k",
            "example.com/foo+530D903A+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k",
            "example.com/foo+530d903+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k",
            "example.com/foo +530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k",
            (SPEC_VKEY " "), (SPEC_VKEY "\n"), (SPEC_VKEY "="), (" " SPEC_VKEY)};
    char text[FSP_VKEY_MAX + 2];
    struct fsp_vkey vkey;
    struct fsp_err err;

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        assert_int_equal(fsp_vkey_parse(&vkey, bad[i], strlen(bad[i]), &err), FSP_EFORMAT);
        assert_non_null(strstr(err.text, "verifier key"));
        assert_string_equal(vkey.name, "");
    }
    memset(text, 'a', sizeof(text));
    assert_int_equal(fsp_vkey_parse(&vkey, text, sizeof(text), &err), FSP_ELIMIT);
}

static void
key_names_are_printable_words_without_plus(void **state)
{
    /* Spaces of Unicode and controls, as UTF-8, each between letters. */
    static const char *const bad[] = {"", " ", "a b", "a+b", "a\tb", "a\n", "a\x7f", "\xff",
            "z\xc2\xa0z", "z\xe2\x80\x83z", "z\xe3\x80\x80z", "z\xe2\x80\xaez", "z\xc2\x85z",
            "z\xe1\x9a\x80z", "\xe2\x80\xa8"};
    static const char *const good[] = {"a", "example.com/foo", "lantern-basin/heron/00ff",
            "\xc3\xa9l\xc3\xa9ment", "a=b:c,d"};
    char longest[FSP_KEY_NAME_MAX + 1];

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
        if (fsp_key_name_ok(bad[i], strlen(bad[i])))
            fail_msg("name %zu taken", i);
    for (size_t i = 0; i < sizeof(good) / sizeof(good[0]); i++)
        assert_true(fsp_key_name_ok(good[i], strlen(good[i])));
    memset(longest, 'a', sizeof(longest));
    assert_true(fsp_key_name_ok(longest, FSP_KEY_NAME_MAX));
    assert_false(fsp_key_name_ok(longest, FSP_KEY_NAME_MAX + 1));
    assert_false(fsp_key_name_ok("a\0b", 3));
}

static void
keys_of_small_order_or_odd_encoding_are_refused(void **state)
{
    /* The points of order 1, 2, 4 and 8 on edwards25519, and encodings with y >= p. */
    static const char *const bad[] = {
            "0100000000000000000000000000000000000000000000000000000000000000",
            "0100000000000000000000000000000000000000000000000000000000000080",
            "ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
            "0000000000000000000000000000000000000000000000000000000000000000",
            "0000000000000000000000000000000000000000000000000000000000000080",
            "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a",
            "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac03fa",
            "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
            "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc85",
            "edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
            "eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
            "ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff",
            "0200000000000000000000000000000000000000000000000000000000000000",
    };
    struct fsp_vkey vkey;

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        uint8_t pub[32];

        assert_int_equal(fsp_text_unhex(pub, 32, bad[i]), FSP_OK);
        if (fsp_vkey_make(&vkey, "a", FSP_KEY_NOTE, pub, NULL) != FSP_EFORMAT)
            fail_msg("key %s taken", bad[i]);
    }
}

struct folder {
    char path[64];
    char file[96];
};

static int
make_folder(void **state)
{
    struct folder *folder = calloc(1, sizeof(*folder));

    if (folder == NULL)
        return -1;
    (void)snprintf(folder->path, sizeof(folder->path), "/tmp/fsp-key-XXXXXX");
    if (mkdtemp(folder->path) == NULL)
        return -1;
    (void)snprintf(folder->file, sizeof(folder->file), "%s/rig.key", folder->path);
    *state = folder;
    return 0;
}

static int
drop_folder(void **state)
{
    struct folder *folder = *state;

    (void)unlink(folder->file);
    (void)rmdir(folder->path);
    free(folder);
    return 0;
}

static void
a_saved_key_is_private_and_loads_as_the_same_key(void **state)
{
    const struct folder *folder = *state;
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_skey *skey = NULL;
    struct fsp_skey *back = NULL;
    struct fsp_err err;
    struct stat st;
    uint8_t sig[2][FSP_SIG_LEN];

    assert_ok(fsp_skey_new(&skey, EVIDENCE_ORIGIN, FSP_KEY_NOTE, &env, &err), &err);
    assert_ok(fsp_skey_save(skey, folder->file, &err), &err);
    assert_int_equal(stat(folder->file, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
    assert_int_equal(fsp_skey_save(skey, folder->file, &err), FSP_EINVAL);
    assert_ok(fsp_skey_load(&back, folder->file, &err), &err);
    assert_true(fsp_vkey_equal(fsp_skey_vkey(skey), fsp_skey_vkey(back)));
    assert_int_equal(fsp_skey_sign(skey, "m", 1, sig[0], NULL), FSP_OK);
    assert_int_equal(fsp_skey_sign(back, "m", 1, sig[1], NULL), FSP_OK);
    assert_memory_equal(sig[0], sig[1], FSP_SIG_LEN);
    fsp_skey_free(skey);
    fsp_skey_free(back);
}

static void
a_key_file_that_others_may_read_is_refused_with_advice(void **state)
{
    const struct folder *folder = *state;
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_skey *skey = NULL;
    struct fsp_skey *back = NULL;
    struct fsp_err err;

    assert_ok(fsp_skey_new(&skey, "a", FSP_KEY_COSIGNER, &env, &err), &err);
    assert_ok(fsp_skey_save(skey, folder->file, &err), &err);
    assert_int_equal(chmod(folder->file, 0640), 0);
    assert_int_equal(fsp_skey_load(&back, folder->file, &err), FSP_EIO);
    assert_null(back);
    assert_non_null(strstr(err.text, "chmod 600"));
    assert_non_null(strstr(err.text, folder->file));
    assert_int_equal(chmod(folder->file, 0400), 0);
    assert_ok(fsp_skey_load(&back, folder->file, &err), &err);
    fsp_skey_free(back);
    fsp_skey_free(skey);
}

static void
an_altered_key_file_is_refused_and_a_missing_one_named(void **state)
{
    const struct folder *folder = *state;
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_skey *skey = NULL;
    struct fsp_skey *back = NULL;
    struct fsp_err err;
    uint8_t *bytes = NULL;
    size_t len = 0;

    assert_int_equal(fsp_skey_load(&back, folder->file, &err), FSP_ENOTFOUND);
    assert_non_null(strstr(err.text, folder->file));
    assert_ok(fsp_skey_new(&skey, "a", FSP_KEY_NOTE, &env, &err), &err);
    assert_ok(fsp_skey_save(skey, folder->file, &err), &err);
    fsp_skey_free(skey);
    assert_ok(fsp_file_read(folder->file, 1024, &bytes, &len, &err), &err);
    for (size_t i = 0; i < len; i += 3) {
        bytes[i] ^= 0x01u;
        assert_ok(fsp_file_write(folder->file, bytes, len, 0600, &err), &err);
        if (fsp_skey_load(&back, folder->file, &err) == FSP_OK)
            fail_msg("byte %zu altered and taken", i);
        assert_null(back);
        bytes[i] ^= 0x01u;
    }
    for (size_t cut = 0; cut < len; cut += 5) {
        assert_ok(fsp_file_write(folder->file, bytes, cut, 0600, &err), &err);
        assert_int_not_equal(fsp_skey_load(&back, folder->file, &err), FSP_OK);
    }
    free(bytes);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_vectors_of_rfc_8032_sign_and_verify),
            cmocka_unit_test(base64_is_that_of_rfc_4648_and_nothing_else),
            cmocka_unit_test(the_specification_s_verifier_key_reads_and_writes_back),
            cmocka_unit_test(a_fingerprint_is_the_sha256_of_the_verifier_key_s_text),
            cmocka_unit_test(every_flipped_bit_and_every_cut_of_a_verifier_key_is_refused),
            cmocka_unit_test(malformed_verifier_keys_are_refused),
            cmocka_unit_test(key_names_are_printable_words_without_plus),
            cmocka_unit_test(keys_of_small_order_or_odd_encoding_are_refused),
            cmocka_unit_test_setup_teardown(
                    a_saved_key_is_private_and_loads_as_the_same_key, make_folder, drop_folder),
            cmocka_unit_test_setup_teardown(
                    a_key_file_that_others_may_read_is_refused_with_advice, make_folder,
                    drop_folder),
            cmocka_unit_test_setup_teardown(
                    an_altered_key_file_is_refused_and_a_missing_one_named, make_folder,
                    drop_folder),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
