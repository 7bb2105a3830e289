#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/buf.h"

static int allocations_left = -1;

void *__real_realloc(void *p, size_t size);
void *__wrap_realloc(void *p, size_t size);

void *
__wrap_realloc(void *p, size_t size)
{
    if (allocations_left == 0)
        return NULL;
    if (allocations_left > 0)
        allocations_left--;
    return __real_realloc(p, size);
}

static void
a_buffer_never_grows_over_its_maximum(void **state)
{
    (void)state;
    for (size_t max = 0; max < 600; max += 37) {
        struct fsp_buf buf;
        struct fsp_err err;

        fsp_buf_init(&buf, max);
        for (size_t i = 0; i < max; i++)
            fsp_buf_add_byte(&buf, 'a');
        assert_ok(fsp_buf_check(&buf, "test", &err), &err);
        assert_int_equal(buf.len, max);
        fsp_buf_add_byte(&buf, 'b');
        assert_int_equal(fsp_buf_check(&buf, "test", &err), FSP_ELIMIT);
        fsp_buf_add_text(&buf, "more");
        assert_int_equal(buf.len, max);
        fsp_buf_fini(&buf);
    }
}

static void
out_of_memory_sticks_and_keeps_what_was_there(void **state)
{
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, 100000);
    fsp_buf_add_text(&buf, "kept");
    allocations_left = 0;
    for (size_t i = 0; i < 1000; i++)
        fsp_buf_printf(&buf, "%zu,", i);
    allocations_left = -1;
    assert_int_equal(fsp_buf_check(&buf, "test", NULL), FSP_ENOMEM);
    assert_memory_equal(buf.data, "kept", 4);
    fsp_buf_reset(&buf);
    fsp_buf_add_text(&buf, "again");
    assert_string_equal(fsp_buf_peek(&buf), "again");
    fsp_buf_fini(&buf);
}

static void
text_is_terminated_at_every_length(void **state)
{
    struct fsp_buf buf;

    (void)state;
    fsp_buf_init(&buf, 2000);
    assert_string_equal(fsp_buf_peek(&buf), "");
    for (size_t i = 1; i <= 1500; i++) {
        fsp_buf_add_byte(&buf, 'x');
        assert_int_equal(strlen(fsp_buf_peek(&buf)), i);
    }
    fsp_buf_fini(&buf);
}

static void
varints_round_trip_at_their_boundaries(void **state)
{
    static const uint64_t values[] = {
            0, 1, 127, 128, 16383, 16384, UINT32_MAX, UINT64_MAX / 2, UINT64_MAX};

    (void)state;
    for (size_t i = 0; i < sizeof(values) / sizeof(values[0]); i++) {
        struct fsp_cursor cursor = {0};
        struct fsp_buf buf;
        uint64_t got = 0;

        fsp_buf_init(&buf, 16);
        fsp_buf_add_varint(&buf, values[i]);
        cursor.data = buf.data;
        cursor.len = buf.len;
        assert_int_equal(fsp_cursor_varint(&cursor, &got), FSP_OK);
        assert_true(got == values[i]);
        assert_int_equal(cursor.pos, buf.len);
        for (size_t cut = 0; cut < buf.len; cut++) {
            struct fsp_cursor shorter = {buf.data, cut, 0};

            assert_int_equal(fsp_cursor_varint(&shorter, &got), FSP_EFORMAT);
        }
        fsp_buf_fini(&buf);
    }
}

static void
padded_and_oversized_varints_are_refused(void **state)
{
    static const uint8_t padded[] = {0x81, 0x00};
    static const uint8_t over[] = {0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x02};
    struct fsp_cursor a = {padded, sizeof(padded), 0};
    struct fsp_cursor b = {over, sizeof(over), 0};
    uint64_t got;

    (void)state;
    assert_int_equal(fsp_cursor_varint(&a, &got), FSP_EFORMAT);
    assert_int_equal(fsp_cursor_varint(&b, &got), FSP_EFORMAT);
}

static void
fixed_width_integers_have_their_byte_order(void **state)
{
    static const uint8_t want[] = {
            0x04, 0x03, 0x02, 0x01, 0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x08};
    struct fsp_cursor cursor;
    struct fsp_buf buf;
    uint32_t small = 0;
    uint64_t large = 0;

    (void)state;
    fsp_buf_init(&buf, 64);
    fsp_buf_add_u32le(&buf, 0x01020304u);
    fsp_buf_add_u64be(&buf, 0x0102030405060708u);
    assert_int_equal(buf.len, sizeof(want));
    assert_memory_equal(buf.data, want, sizeof(want));
    cursor = (struct fsp_cursor){buf.data, buf.len, 0};
    assert_int_equal(fsp_cursor_u32le(&cursor, &small), FSP_OK);
    assert_int_equal(fsp_cursor_u64be(&cursor, &large), FSP_OK);
    assert_true(small == 0x01020304u && large == 0x0102030405060708u);
    assert_int_equal(fsp_cursor_u32le(&cursor, &small), FSP_EFORMAT);
    fsp_buf_fini(&buf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_buffer_never_grows_over_its_maximum),
            cmocka_unit_test(out_of_memory_sticks_and_keeps_what_was_there),
            cmocka_unit_test(text_is_terminated_at_every_length),
            cmocka_unit_test(varints_round_trip_at_their_boundaries),
            cmocka_unit_test(padded_and_oversized_varints_are_refused),
            cmocka_unit_test(fixed_width_integers_have_their_byte_order),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
