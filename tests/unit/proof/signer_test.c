#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <sodium.h>

#include "base/file.h"
#include "base/text.h"
#include "proof/roster.h"
#include "proof/signer.h"
#include "support/evidence.h"

#define PASSPHRASE "three wet ropes on a drum"

/*
 * Argon2id is by its nature slow. Where a test opens a file many hundred times to see what bends
 * it, a quick stand-in hashes the same inputs; everything else runs the real one.
 */
static bool quick;
static size_t hashed;

int __real_crypto_pwhash(unsigned char *const out, unsigned long long outlen,
        const char *const passwd, unsigned long long passwdlen, const unsigned char *const salt,
        unsigned long long opslimit, size_t memlimit, int alg);
int __wrap_crypto_pwhash(unsigned char *const out, unsigned long long outlen,
        const char *const passwd, unsigned long long passwdlen, const unsigned char *const salt,
        unsigned long long opslimit, size_t memlimit, int alg);

/* libsodium's own list of parameters. */
int /* NOLINTNEXTLINE(readability-function-size) */
__wrap_crypto_pwhash(unsigned char *const out, unsigned long long outlen,
        const char *const passwd, unsigned long long passwdlen, const unsigned char *const salt,
        unsigned long long opslimit, size_t memlimit, int alg)
{
    crypto_generichash_state state;

    hashed++;
    if (!quick)
        return __real_crypto_pwhash(
                out, outlen, passwd, passwdlen, salt, opslimit, memlimit, alg);
    (void)crypto_generichash_init(&state, salt, 16, (size_t)outlen);
    (void)crypto_generichash_update(&state, (const unsigned char *)passwd, passwdlen);
    (void)crypto_generichash_update(&state, (const unsigned char *)&opslimit, sizeof(opslimit));
    (void)crypto_generichash_update(&state, (const unsigned char *)&memlimit, sizeof(memlimit));
    (void)crypto_generichash_final(&state, out, (size_t)outlen);
    return 0;
}

static const struct fsp_signer_cost cheapest = {
        .ops = crypto_pwhash_OPSLIMIT_INTERACTIVE, .mem = crypto_pwhash_MEMLIMIT_INTERACTIVE};

struct place {
    char folder[64];
    char *path;
    struct fsp_skey *ada; /* seed 40 41 .. 5f */
};

static void
put_down(struct place *place)
{
    struct counting counting = {0x40};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_err err;

    (void)snprintf(place->folder, sizeof(place->folder), "/tmp/fsp-signer-XXXXXX");
    assert_non_null(mkdtemp(place->folder));
    place->path = fsp_file_join(place->folder, "ada.signer");
    assert_non_null(place->path);
    assert_ok(fsp_skey_new(&place->ada, "lantern-basin/signer:ada", FSP_KEY_NOTE, &env, &err),
            &err);
}

static void
take_up(struct place *place)
{
    (void)unlink(place->path);
    assert_int_equal(rmdir(place->folder), 0); /* nothing is left beside it */
    free(place->path);
    fsp_skey_free(place->ada);
}

static void
save(const struct place *place, const char *passphrase)
{
    struct counting counting = {0xa0}; /* the salt */
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_err err;

    assert_ok(
            fsp_signer_save(place->ada, place->path, passphrase, &cheapest, &env, &err), &err);
}

static char *
read_text(const char *path, size_t *len)
{
    char *text = calloc(1, 4096);
    FILE *file = fopen(path, "rb");

    assert_non_null(text);
    assert_non_null(file);
    *len = fread(text, 1, 4095, file);
    assert_int_equal(fclose(file), 0);
    return text;
}

static void
write_text(const char *path, const char *text, size_t len)
{
    FILE *file = fopen(path, "wb");

    assert_non_null(file);
    assert_int_equal(fwrite(text, 1, len, file), len);
    assert_int_equal(fclose(file), 0);
    assert_int_equal(chmod(path, 0600), 0);
}

/* libsodium's test/default/pwhash_argon2id.c, first row, and its expected output. */
static void
the_hash_is_argon2id_of_libsodiums_own_vector(void **state)
{
    uint8_t passphrase[127];
    uint8_t salt[32];
    uint8_t got[155];
    char hex[2 * sizeof(got) + 1];

    (void)state;
    assert_int_equal(
            fsp_text_unhex(passphrase, sizeof(passphrase),
                    "a347ae92bce9f80f6f595a4480fc9c2fe7e7d7148d371e9487d75f5c23008ffae0"
                    "65577a928febd9b1973a5a95073acdbeb6a030cfc0d79caa2dc5cd011cef02c08d"
                    "a232d76d52dfbca38ca8dcbd665b17d1665f7cf5fe59772ec909733b24de97d6f5"
                    "8d220b20c60d7c07ec1fd93c52c31020300c6c1facd77937a597c7a6"),
            FSP_OK);
    assert_int_equal(
            fsp_text_unhex(salt, sizeof(salt),
                    "5541fbc995d5c197ba290346d2c559dedf405cf97e5f95482143202f9e74f5c2"),
            FSP_OK);
    assert_int_equal(
            crypto_pwhash(got, sizeof(got), (const char *)passphrase, sizeof(passphrase), salt,
                    5, 7256678, crypto_pwhash_ALG_ARGON2ID13),
            0);
    fsp_text_hex(hex, got, sizeof(got));
    assert_string_equal(hex,
            "18acec5d6507739f203d1f5d9f1d862f7c2cdac4f19d2bdff64487e60d969e3ced615337b9eec6ac"
            "4461c6ca07f0939741e57c24d0005c7ea171a0ee1e7348249d135b38f222e4dad7b9a033ed83f5ca"
            "27277393e316582033c74affe2566a2bea47f91f0fd9fe49ece7e1f79f3ad6e9b23e0277c8ecc4b3"
            "13225748dd2a80f5679534a0700e246a79a49b3f74eb89ec6205fe1eeb941c73b1fcf1");
}

/* The vectors of docs/formats.md, made by another Ed25519 (OpenSSL's). */
#define VKEY "lantern-basin/signer:ada+4d09b0e6+ASVDuS/xCVURR2rcg2nbbdyTNmWhGXjdoUBO4QZsqVWd"
#define SIG                                                                                    \
    "gEbXy+jx939kKGTFWWVQIU0fyP0D9apcAdQYx2HPYFAiHh1NrDJTFeZwCYXa8TDtu63HT8rLLCJGNLcSsr6uBw=="
static const char inspection[] =
        "{\"at\":\"2026-03-01T06:30:00Z\",\"by\":\"clerk\",\"decision\":\"run\",\"fleet\":"
        "\"lantern-basin\",\"inspector\":\"ada\",\"kind\":\"inspection\",\"noted\":\"2026-03-"
        "01T06:40:00Z\",\"places\":[{\"broken-wires\":2,\"place\":\"crossover\"}],\"reel\":"
        "\"R-1\",\"rig\":\"heron\",\"scope\":\"monthly\",\"sig\":\"" SIG "\",\"v\":1}";

static void
assert_signs_to(const struct fsp_skey *key, const struct fsp_buf *message, const char *want)
{
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_buf text;

    assert_int_equal(fsp_skey_sign(key, message->data, message->len, sig, NULL), FSP_OK);
    assert_int_equal(
            fsp_vkey_verify(fsp_skey_vkey(key), message->data, message->len, sig), FSP_OK);
    fsp_buf_init(&text, 128);
    fsp_base64(&text, sig, sizeof(sig));
    assert_string_equal(fsp_buf_peek(&text), want);
    fsp_buf_fini(&text);
}

static void
the_messages_of_the_formats_page_have_its_signatures(void **state)
{
    uint8_t leaf[FSP_HASH_LEN];
    char hex[2 * FSP_HASH_LEN + 1];
    struct place place;
    struct fsp_buf buf;
    struct fsp_err err;

    (void)state;
    put_down(&place);
    fsp_buf_init(&buf, FSP_ENTRY_MAX);
    fsp_vkey_write(fsp_skey_vkey(place.ada), &buf);
    assert_string_equal(fsp_buf_peek(&buf), VKEY);
    fsp_buf_reset(&buf);
    assert_ok(fsp_inspection_message(inspection, strlen(inspection), &buf, &err), &err);
    assert_int_equal(buf.len, 245);
    assert_signs_to(place.ada, &buf, SIG);
    fsp_leaf_hash(inspection, strlen(inspection), leaf);
    fsp_text_hex(hex, leaf, sizeof(leaf));
    assert_string_equal(
            hex, "6ae8b5e6ea3d3100c51359d75ad87e9fc0116e071aad7e1b349ad6cc35485249");
    fsp_buf_reset(&buf);
    fsp_countersign_message(leaf, &buf);
    assert_int_equal(buf.len, 56);
    assert_signs_to(place.ada, &buf,
            "Sq/BrPu5jwolUDmoFaSSD7FZdPejJXU9JsMdsIqJPWjnFANPuieaOLIkhVw7sQylVaUkZjuQUnBN8ndJ"
            "/Pe8Dw==");
    fsp_buf_fini(&buf);
    take_up(&place);
}

static void
a_message_of_what_is_not_canonical_is_refused(void **state)
{
    struct fsp_buf buf;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&buf, FSP_ENTRY_MAX);
    fsp_buf_add_text(&buf, "before");
    assert_int_equal(fsp_inspection_message("{\"v\": 1}", 8, &buf, &err), FSP_EFORMAT);
    assert_string_equal(fsp_buf_peek(&buf), "before");
    fsp_buf_fini(&buf);
}

static void
a_key_comes_back_with_its_passphrase_only(void **state)
{
    struct place place;
    struct fsp_skey *back = NULL;
    struct fsp_vkey peeked;
    struct fsp_err err;
    struct stat st;
    uint8_t sig[2][FSP_SIG_LEN];

    (void)state;
    put_down(&place);
    save(&place, PASSPHRASE);
    assert_int_equal(stat(place.path, &st), 0);
    assert_int_equal(st.st_mode & 07777, 0600);
    assert_ok(fsp_signer_peek(&peeked, place.path, &err), &err);
    assert_true(fsp_vkey_equal(&peeked, fsp_skey_vkey(place.ada)));
    assert_ok(fsp_signer_load(&back, place.path, PASSPHRASE, &err), &err);
    assert_true(fsp_vkey_equal(fsp_skey_vkey(back), fsp_skey_vkey(place.ada)));
    assert_int_equal(fsp_skey_sign(place.ada, "m", 1, sig[0], &err), FSP_OK);
    assert_int_equal(fsp_skey_sign(back, "m", 1, sig[1], &err), FSP_OK);
    assert_memory_equal(sig[0], sig[1], FSP_SIG_LEN);
    fsp_skey_free(back);
    assert_int_equal(
            fsp_signer_load(&back, place.path, "three wet ropes on a Drum", &err), FSP_EVERIFY);
    assert_null(back);
    assert_non_null(strstr(err.text, "ada.signer: the passphrase is wrong"));
    assert_null(strstr(err.text, "Drum"));
    assert_int_equal(fsp_signer_load(&back, place.path, "", &err), FSP_EVERIFY);
    take_up(&place);
}

/* The key file of docs/formats.md: this seed, this passphrase, salt a0 a1 .. af. Opened once by
 * hand with another Argon2id (libgcrypt 1.10) and another XSalsa20-Poly1305. */
static void
a_key_file_is_the_one_of_the_formats_page(void **state)
{
    struct place place;
    size_t len = 0;
    char *text;

    (void)state;
    put_down(&place);
    save(&place, PASSPHRASE);
    text = read_text(place.path, &len);
    assert_string_equal(text,
            "farspool-signer/v1 " VKEY " 2 65536 oKGio6SlpqeoqaqrrK2urw== "
            "yFKY6nZTN4qcOkZEfRKj47BcfwIOLEN3b3RxQHG/AwGDF0UfNrvo2/o8VKW0PKRL\n");
    free(text);
    take_up(&place);
}

static void
an_existing_file_is_never_replaced_by_a_new_key(void **state)
{
    struct place place;
    struct fsp_err err;
    size_t len = 0;
    char *text;

    (void)state;
    put_down(&place);
    write_text(place.path, "mine", 4);
    quick = true;
    assert_int_equal(fsp_signer_save(place.ada, place.path, PASSPHRASE, &cheapest,
                             fsp_env_system(), &err),
            FSP_EINVAL);
    assert_non_null(strstr(err.text, "exists already"));
    text = read_text(place.path, &len);
    assert_string_equal(text, "mine");
    free(text);
    quick = false;
    take_up(&place);
}

static void
another_passphrase_takes_the_place_of_the_old_one(void **state)
{
    struct place place;
    struct fsp_skey *back = NULL;
    struct fsp_err err;
    struct stat st;
    size_t len[2] = {0, 0};
    char *text[2];

    (void)state;
    put_down(&place);
    quick = true;
    save(&place, PASSPHRASE);
    text[0] = read_text(place.path, &len[0]);
    assert_ok(fsp_signer_replace(place.ada, place.path, "four dry ropes in a shed", &cheapest,
                      fsp_env_system(), &err),
            &err);
    text[1] = read_text(place.path, &len[1]);
    assert_string_not_equal(text[0], text[1]);
    assert_int_equal(stat(place.path, &st), 0);
    assert_int_equal(st.st_mode & 07777, 0600);
    assert_int_equal(fsp_signer_load(&back, place.path, PASSPHRASE, &err), FSP_EVERIFY);
    assert_ok(fsp_signer_load(&back, place.path, "four dry ropes in a shed", &err), &err);
    assert_true(fsp_vkey_equal(fsp_skey_vkey(back), fsp_skey_vkey(place.ada)));
    fsp_skey_free(back);
    /* The same passphrase again: another salt, so another file. */
    assert_ok(fsp_signer_replace(place.ada, place.path, "four dry ropes in a shed", &cheapest,
                      fsp_env_system(), &err),
            &err);
    free(text[0]);
    text[0] = read_text(place.path, &len[0]);
    assert_string_not_equal(text[0], text[1]);
    free(text[0]);
    free(text[1]);
    quick = false;
    take_up(&place);
}

static void
a_passphrase_has_a_least_and_a_most_length(void **state)
{
    char longest[FSP_PASSPHRASE_MOST + 2];
    struct place place;
    struct fsp_skey *back = NULL;
    struct fsp_err err;
    const struct fsp_env *env = fsp_env_system();

    (void)state;
    put_down(&place);
    quick = true;
    assert_int_equal(fsp_signer_save(place.ada, place.path, "123456789", &cheapest, env, &err),
            FSP_EINVAL);
    assert_int_equal(
            fsp_signer_save(place.ada, place.path, "", &cheapest, env, &err), FSP_EINVAL);
    assert_false(fsp_file_exists(place.path));
    assert_ok(fsp_signer_save(place.ada, place.path, "1234567890", &cheapest, env, &err), &err);
    assert_int_equal(unlink(place.path), 0);
    memset(longest, 'x', sizeof(longest));
    longest[FSP_PASSPHRASE_MOST + 1] = '\0';
    assert_int_equal(
            fsp_signer_save(place.ada, place.path, longest, &cheapest, env, &err), FSP_ELIMIT);
    longest[FSP_PASSPHRASE_MOST] = '\0';
    assert_ok(fsp_signer_save(place.ada, place.path, longest, &cheapest, env, &err), &err);
    assert_ok(fsp_signer_load(&back, place.path, longest, &err), &err);
    fsp_skey_free(back);
    longest[FSP_PASSPHRASE_MOST] = 'x';
    assert_int_equal(fsp_signer_load(&back, place.path, longest, &err), FSP_ELIMIT);
    quick = false;
    take_up(&place);
}

static void
a_cost_outside_its_bounds_is_neither_written_nor_read(void **state)
{
    static const struct fsp_signer_cost bad[] = {
            {1, 67108864}, {2, 67107840}, {17, 67108864}, {2, 1073742848}, {2, 67108865}};
    static const char *const words[] = {"1 65536", "2 65535", "17 65536", "2 1048577",
            "02 65536", "2 065536", "2 18446744073709551615", "18446744073709551615 65536",
            "-2 65536", "2 6e4", "2 0", "0 65536"};
    struct place place;
    struct fsp_skey *back = NULL;
    struct fsp_err err;

    (void)state;
    put_down(&place);
    quick = true;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
        assert_int_equal(fsp_signer_save(place.ada, place.path, PASSPHRASE, &bad[i],
                                 fsp_env_system(), &err),
                FSP_EINVAL);
    hashed = 0;
    for (size_t i = 0; i < sizeof(words) / sizeof(words[0]); i++) {
        struct fsp_buf text;
        enum fsp_rc rc;

        fsp_buf_init(&text, 1024);
        fsp_buf_printf(
                &text, "farspool-signer/v1 %s %s oKGio6SlpqeoqaqrrK2urw== ", VKEY, words[i]);
        for (int j = 0; j < 64; j++)
            fsp_buf_add_byte(&text, 'A');
        fsp_buf_add_byte(&text, '\n');
        write_text(place.path, fsp_buf_peek(&text), text.len);
        rc = fsp_signer_load(&back, place.path, PASSPHRASE, &err);
        assert_true(rc == FSP_EFORMAT || rc == FSP_ELIMIT);
        fsp_buf_fini(&text);
    }
    assert_int_equal(hashed, 0); /* refused before any memory was asked for */
    quick = false;
    take_up(&place);
}

static void
the_usual_cost_is_three_passes_over_64_mib(void **state)
{
    struct place place;
    struct fsp_err err;
    size_t len = 0;
    char *text;

    (void)state;
    put_down(&place);
    quick = true;
    assert_ok(fsp_signer_save(place.ada, place.path, PASSPHRASE, NULL, fsp_env_system(), &err),
            &err);
    text = read_text(place.path, &len);
    assert_non_null(strstr(text, " 3 65536 "));
    free(text);
    quick = false;
    take_up(&place);
}

static void
a_key_that_is_no_signers_is_not_saved_nor_loaded(void **state)
{
    static const char *const names[] = {"lantern-basin/heron/5e1f3a90c2d47b86", "ada",
            "lantern-basin/instructions", "lantern-basin/signer:", "/signer:ada",
            "lantern-basin/x/signer:ada", "Lantern/signer:ada"};
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    struct place place;
    struct fsp_err err;

    (void)state;
    put_down(&place);
    quick = true;
    for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
        struct fsp_skey *key = NULL;

        assert_ok(fsp_skey_new(&key, names[i], FSP_KEY_NOTE, &env, &err), &err);
        assert_int_equal(fsp_signer_save(key, place.path, PASSPHRASE, &cheapest, &env, &err),
                FSP_EINVAL);
        fsp_skey_free(key);
    }
    quick = false;
    take_up(&place);
}

static void
a_file_that_others_may_read_is_refused(void **state)
{
    static const mode_t modes[] = {0640, 0604, 0660, 0644, 0601, 0610};
    struct place place;
    struct fsp_skey *back = NULL;
    struct fsp_err err;

    (void)state;
    put_down(&place);
    quick = true;
    save(&place, PASSPHRASE);
    for (size_t i = 0; i < sizeof(modes) / sizeof(modes[0]); i++) {
        assert_int_equal(chmod(place.path, modes[i]), 0);
        assert_int_equal(fsp_signer_load(&back, place.path, PASSPHRASE, &err), FSP_EIO);
        assert_non_null(strstr(err.text, "chmod 600"));
    }
    assert_int_equal(chmod(place.path, 0400), 0);
    assert_ok(fsp_signer_load(&back, place.path, PASSPHRASE, &err), &err);
    fsp_skey_free(back);
    quick = false;
    take_up(&place);
}

static void
every_flipped_bit_and_truncation_of_a_key_file_is_refused(void **state)
{
    struct place place;
    struct fsp_skey *back = NULL;
    struct fsp_err err;
    size_t len = 0;
    char *text;

    (void)state;
    put_down(&place);
    quick = true;
    save(&place, PASSPHRASE);
    text = read_text(place.path, &len);
    hashed = 0;
    for (size_t bit = 0; bit < 8 * len; bit++) {
        text[bit / 8] = (char)(text[bit / 8] ^ (1 << (bit % 8)));
        write_text(place.path, text, len);
        if (fsp_signer_load(&back, place.path, PASSPHRASE, &err) == FSP_OK)
            fail_msg("bit %zu flipped and taken", bit);
        assert_null(back);
        assert_true(fsp_text_printable(err.text, strlen(err.text)));
        text[bit / 8] = (char)(text[bit / 8] ^ (1 << (bit % 8)));
    }
    assert_true(hashed > 300); /* many of them only the box can tell */
    for (size_t n = 0; n < len; n++) {
        write_text(place.path, text, n);
        assert_int_equal(fsp_signer_load(&back, place.path, PASSPHRASE, &err), FSP_EFORMAT);
    }
    free(text);
    quick = false;
    take_up(&place);
}

static void
what_is_no_key_file_is_refused_and_shown_safely(void **state)
{
    static const char *const bad[] = {"\n", "farspool-key/v1 a b\n",
            "farspool-signer/v2 a b c d e\n",
            "farspool-signer/v1 \x1b[2J+00000000+AAAA 2 65536 a b\n",
            "farspool-signer/v1  2 65536 a b\n", "\x1b]0;owned\x07\n"};
    struct place place;
    struct fsp_skey *back = NULL;
    struct fsp_vkey vkey;
    struct fsp_err err;
    char *large = malloc(1025);

    (void)state;
    assert_non_null(large);
    put_down(&place);
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        write_text(place.path, bad[i], strlen(bad[i]));
        assert_int_equal(fsp_signer_load(&back, place.path, PASSPHRASE, &err), FSP_EFORMAT);
        assert_true(fsp_text_printable(err.text, strlen(err.text)));
        assert_int_equal(fsp_signer_peek(&vkey, place.path, &err), FSP_EFORMAT);
        assert_string_equal(vkey.name, "");
    }
    memset(large, 'a', 1025);
    write_text(place.path, large, 1025);
    assert_int_equal(fsp_signer_load(&back, place.path, PASSPHRASE, &err), FSP_ELIMIT);
    free(large);
    assert_int_equal(unlink(place.path), 0);
    assert_int_equal(fsp_signer_load(&back, place.path, PASSPHRASE, &err), FSP_ENOTFOUND);
    assert_int_equal(fsp_signer_peek(&vkey, place.path, &err), FSP_ENOTFOUND);
    take_up(&place);
}

/* Somebody who can write the file puts another name before the box: the box does not know, the
 * key does. */
static void
a_secret_under_anothers_verifier_key_is_refused(void **state)
{
    struct counting counting = {0x60};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_skey *eve = NULL;
    struct fsp_skey *back = NULL;
    struct place place;
    struct fsp_buf other;
    struct fsp_err err;
    size_t len = 0;
    char *text;

    (void)state;
    put_down(&place);
    quick = true;
    save(&place, PASSPHRASE);
    text = read_text(place.path, &len);
    assert_ok(fsp_skey_new(&eve, "lantern-basin/signer:eve", FSP_KEY_NOTE, &env, &err), &err);
    fsp_buf_init(&other, 1024);
    fsp_buf_add_text(&other, "farspool-signer/v1 ");
    fsp_vkey_write(fsp_skey_vkey(eve), &other);
    fsp_buf_add_text(&other, strchr(text + strlen("farspool-signer/v1 "), ' '));
    write_text(place.path, fsp_buf_peek(&other), other.len);
    assert_int_equal(fsp_signer_load(&back, place.path, PASSPHRASE, &err), FSP_EVERIFY);
    assert_non_null(strstr(err.text, "altered"));
    fsp_buf_fini(&other);
    fsp_skey_free(eve);
    free(text);
    quick = false;
    take_up(&place);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_hash_is_argon2id_of_libsodiums_own_vector),
            cmocka_unit_test(the_messages_of_the_formats_page_have_its_signatures),
            cmocka_unit_test(a_message_of_what_is_not_canonical_is_refused),
            cmocka_unit_test(a_key_comes_back_with_its_passphrase_only),
            cmocka_unit_test(a_key_file_is_the_one_of_the_formats_page),
            cmocka_unit_test(an_existing_file_is_never_replaced_by_a_new_key),
            cmocka_unit_test(another_passphrase_takes_the_place_of_the_old_one),
            cmocka_unit_test(a_passphrase_has_a_least_and_a_most_length),
            cmocka_unit_test(a_cost_outside_its_bounds_is_neither_written_nor_read),
            cmocka_unit_test(the_usual_cost_is_three_passes_over_64_mib),
            cmocka_unit_test(a_key_that_is_no_signers_is_not_saved_nor_loaded),
            cmocka_unit_test(a_file_that_others_may_read_is_refused),
            cmocka_unit_test(every_flipped_bit_and_truncation_of_a_key_file_is_refused),
            cmocka_unit_test(what_is_no_key_file_is_refused_and_shown_safely),
            cmocka_unit_test(a_secret_under_anothers_verifier_key_is_refused),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests_name("signer", tests, NULL, NULL);
}
