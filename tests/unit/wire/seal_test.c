#include "support/test.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "base/limits.h"
#include "wire/dictionary.h"
#include "wire/seal.h"

static void
there_and_back(unsigned dictionary, const uint8_t *bytes, size_t len)
{
    struct fsp_buf packed;
    struct fsp_buf back;
    struct fsp_err err;

    fsp_buf_init(&packed, 300000);
    fsp_buf_init(&back, len); /* the cap is exact */
    assert_ok(fsp_deflate(&packed, dictionary, bytes, len, &err), &err);
    assert_ok(fsp_inflate(&back, dictionary, packed.data, packed.len, &err), &err);
    assert_int_equal(back.len, len);
    assert_memory_equal(fsp_buf_peek(&back), bytes, len);
    fsp_buf_fini(&packed);
    fsp_buf_fini(&back);
}

static void
deflate_and_inflate_are_each_others_inverse_at_every_size(void **state)
{
    static const size_t sizes[] = {0, 1, 2, 63, 64, 65535, 65536, 65537, 200000};
    uint8_t *bytes = malloc(200000);

    (void)state;
    for (size_t i = 0; i < 200000; i++)
        bytes[i] = (uint8_t)(i * i >> 7);
    for (unsigned dictionary = 0; dictionary <= FSP_DICTIONARY_NEWEST; dictionary++)
        for (size_t i = 0; i < sizeof(sizes) / sizeof(sizes[0]); i++)
            there_and_back(dictionary, bytes, sizes[i]);
    free(bytes);
}

/* Outside check: zlib's own inflate, called plainly as RFC 1951 raw deflate, reads what we write. */
static void
the_stream_is_plain_raw_deflate(void **state)
{
    static const char text[] = "round-trip round-trip round-trip";
    uint8_t back[100];
    z_stream stream = {0};
    struct fsp_buf packed;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&packed, 1000);
    assert_ok(fsp_deflate(&packed, 0, (const uint8_t *)text, sizeof(text), &err), &err);
    assert_int_equal(inflateInit2(&stream, -15), Z_OK);
    stream.next_in = packed.data;
    stream.avail_in = (uInt)packed.len;
    stream.next_out = back;
    stream.avail_out = sizeof(back);
    assert_int_equal(inflate(&stream, Z_FINISH), Z_STREAM_END);
    assert_int_equal(stream.total_out, sizeof(text));
    assert_memory_equal(back, text, sizeof(text));
    assert_int_equal(inflateEnd(&stream), Z_OK);
    fsp_buf_fini(&packed);
}

static void
a_stream_that_would_grow_over_the_cap_is_stopped(void **state)
{
    size_t len = (size_t)4 * 1024 * 1024;
    uint8_t *zeros = calloc(1, len);
    struct fsp_buf packed;
    struct fsp_buf back;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&packed, 2 * len);
    fsp_buf_init(&back, 100000);
    assert_ok(fsp_deflate(&packed, 1, zeros, len, &err), &err);
    assert_true(packed.len < 10000);
    assert_int_equal(fsp_inflate(&back, 1, packed.data, packed.len, &err), FSP_ELIMIT);
    assert_true(back.len <= 100000);
    fsp_buf_fini(&packed);
    fsp_buf_fini(&back);
    free(zeros);
}

static void
cut_and_lengthened_streams_are_refused(void **state)
{
    uint8_t bytes[3000];
    struct fsp_buf packed;
    struct fsp_err err;

    (void)state;
    randombytes_buf_deterministic(bytes, sizeof(bytes), (const unsigned char[32]){1});
    for (size_t i = 0; i < sizeof(bytes); i++)
        bytes[i] &= 0x0f;
    fsp_buf_init(&packed, 10000);
    assert_ok(fsp_deflate(&packed, 1, bytes, sizeof(bytes), &err), &err);
    for (size_t cut = 0; cut < packed.len; cut++) {
        struct fsp_buf back;

        fsp_buf_init(&back, 10000);
        assert_int_equal(fsp_inflate(&back, 1, packed.data, cut, &err), FSP_EFORMAT);
        fsp_buf_fini(&back);
    }
    fsp_buf_add_byte(&packed, 0);
    {
        struct fsp_buf back;

        fsp_buf_init(&back, 10000);
        assert_int_equal(fsp_inflate(&back, 1, packed.data, packed.len, &err), FSP_EFORMAT);
        fsp_buf_fini(&back);
    }
    fsp_buf_fini(&packed);
}

static void
an_unknown_dictionary_is_named(void **state)
{
    struct fsp_buf out;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&out, 100);
    assert_int_equal(
            fsp_inflate(&out, FSP_DICTIONARY_NEWEST + 1, (const uint8_t *)"\x03", 1, &err),
            FSP_EFORMAT);
    assert_non_null(strstr(err.text, "dictionary"));
    fsp_buf_fini(&out);
}

static void
a_box_opens_only_unchanged_and_only_with_its_key(void **state)
{
    uint8_t pub[32];
    uint8_t secret[32];
    uint8_t other_pub[32];
    uint8_t other_secret[32];
    struct fsp_buf box;
    struct fsp_buf back;
    struct fsp_err err;

    (void)state;
    assert_int_equal(crypto_box_keypair(pub, secret), 0);
    assert_int_equal(crypto_box_keypair(other_pub, other_secret), 0);
    fsp_buf_init(&box, 1000);
    fsp_buf_init(&back, 1000);
    assert_ok(fsp_seal(&box, (const uint8_t *)"ton-miles", 9, pub, &err), &err);
    assert_int_equal(box.len, 9 + FSP_SEAL_OVERHEAD);
    assert_ok(fsp_unseal(&back, box.data, box.len, pub, secret, &err), &err);
    assert_memory_equal(back.data, "ton-miles", 9);
    assert_int_equal(
            fsp_unseal(&back, box.data, box.len, other_pub, other_secret, &err), FSP_EFORMAT);
    for (size_t bit = 0; bit < 8 * box.len; bit++) {
        box.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
        assert_int_equal(fsp_unseal(&back, box.data, box.len, pub, secret, &err), FSP_EFORMAT);
        box.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
    }
    for (size_t cut = 0; cut < box.len; cut++)
        assert_int_equal(fsp_unseal(&back, box.data, cut, pub, secret, &err), FSP_EFORMAT);
    fsp_buf_fini(&box);
    fsp_buf_fini(&back);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(deflate_and_inflate_are_each_others_inverse_at_every_size),
            cmocka_unit_test(the_stream_is_plain_raw_deflate),
            cmocka_unit_test(a_stream_that_would_grow_over_the_cap_is_stopped),
            cmocka_unit_test(cut_and_lengthened_streams_are_refused),
            cmocka_unit_test(an_unknown_dictionary_is_named),
            cmocka_unit_test(a_box_opens_only_unchanged_and_only_with_its_key),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
