#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "wire/handback.h"

#define REGISTER "farspool-register/v1\nwhatever a register holds\nend\n"
#define HEAD     "a head\n\n\xE2\x80\x94 somebody AAAA\n"

struct keys {
    struct fsp_skey *instructions;
    struct fsp_skey *other;
    struct fsp_skey *log[2];
};

static int
setup(void **state)
{
    static struct keys keys;
    struct fsp_err err;

    assert_ok(fsp_proof_init(&err), &err);
    assert_ok(fsp_skey_new(&keys.instructions, "basin/instructions", FSP_KEY_NOTE,
                      fsp_env_system(), &err),
            &err);
    assert_ok(fsp_skey_new(
                      &keys.other, "basin/instructions", FSP_KEY_NOTE, fsp_env_system(), &err),
            &err);
    for (size_t i = 0; i < 2; i++)
        assert_ok(fsp_skey_new(&keys.log[i], i == 0 ? "basin/heron/a1" : "basin/heron/b2",
                          FSP_KEY_NOTE, fsp_env_system(), &err),
                &err);
    *state = &keys;
    return 0;
}

static int
teardown(void **state)
{
    struct keys *keys = *state;

    fsp_skey_free(keys->instructions);
    fsp_skey_free(keys->other);
    fsp_skey_free(keys->log[0]);
    fsp_skey_free(keys->log[1]);
    return 0;
}

/* Two logs, the second one empty. */
static void
write_sample(const struct keys *keys, struct fsp_buf *out)
{
    struct fsp_handback_log logs[2];
    struct fsp_handback back = {.fleet = "basin", .rig = "heron", .logs = logs, .n = 2};
    struct fsp_buf rest;
    struct fsp_err err;

    memset(logs, 0, sizeof(logs));
    for (size_t i = 0; i < 2; i++) {
        logs[i].vkey = *fsp_skey_vkey(keys->log[i]);
        memset(logs[i].root, (int)(0x30 + i), sizeof(logs[i].root));
    }
    logs[0].size = 7;
    fsp_buf_init(&rest, 65536);
    fsp_buf_init(out, 65536);
    fsp_handback_add_register(&rest, REGISTER, strlen(REGISTER));
    fsp_handback_add_head(&rest, HEAD, strlen(HEAD));
    fsp_handback_add_head(&rest, HEAD "x", strlen(HEAD) + 1);
    assert_ok(fsp_handback_write(out, &back, &rest, keys->instructions, &err), &err);
    fsp_buf_fini(&rest);
}

static void
a_hand_back_reads_as_it_was_written(void **state)
{
    const struct keys *keys = *state;
    struct fsp_handback back;
    struct fsp_buf file;
    struct fsp_err err;
    const uint8_t *note;
    size_t pos = 0;
    size_t len;

    write_sample(keys, &file);
    assert_ok(fsp_handback_read(
                      &back, file.data, file.len, fsp_skey_vkey(keys->instructions), &err),
            &err);
    assert_string_equal(back.fleet, "basin");
    assert_string_equal(back.rig, "heron");
    assert_int_equal(back.n, 2);
    assert_true(fsp_vkey_equal(&back.logs[0].vkey, fsp_skey_vkey(keys->log[0])));
    assert_int_equal(back.logs[0].size, 7);
    assert_int_equal(back.logs[0].reg_len, strlen(REGISTER));
    assert_memory_equal(back.logs[0].reg, REGISTER, strlen(REGISTER));
    assert_int_equal(fsp_handback_head(&back.logs[0], &pos, &note, &len), FSP_OK);
    assert_int_equal(len, strlen(HEAD));
    assert_int_equal(fsp_handback_head(&back.logs[0], &pos, &note, &len), FSP_OK);
    assert_int_equal(len, strlen(HEAD) + 1);
    assert_int_equal(fsp_handback_head(&back.logs[0], &pos, &note, &len), FSP_ENOTFOUND);
    assert_int_equal(back.logs[1].size, 0);
    assert_null(back.logs[1].reg);
    pos = 0;
    assert_int_equal(fsp_handback_head(&back.logs[1], &pos, &note, &len), FSP_ENOTFOUND);
    fsp_handback_fini(&back);
    fsp_handback_fini(&back);
    fsp_buf_fini(&file);
}

static void
another_office_s_hand_back_is_refused(void **state)
{
    const struct keys *keys = *state;
    struct fsp_handback back;
    struct fsp_buf file;
    struct fsp_err err;

    write_sample(keys, &file);
    assert_int_equal(
            fsp_handback_read(&back, file.data, file.len, fsp_skey_vkey(keys->other), &err),
            FSP_EVERIFY);
    assert_null(back.logs);
    fsp_buf_fini(&file);
}

/* Exhaustively: no changed bit and no shorter or longer file is taken. */
static void
whatever_is_changed_or_cut_is_refused(void **state)
{
    const struct keys *keys = *state;
    const struct fsp_vkey *instructions = fsp_skey_vkey(keys->instructions);
    struct fsp_handback back;
    struct fsp_buf file;
    uint8_t *copy;

    write_sample(keys, &file);
    copy = malloc(file.len + 1);
    assert_non_null(copy);
    for (size_t i = 0; i < file.len; i++) {
        for (int bit = 0; bit < 8; bit++) {
            memcpy(copy, file.data, file.len);
            copy[i] ^= (uint8_t)(1u << bit);
            assert_int_not_equal(
                    fsp_handback_read(&back, copy, file.len, instructions, NULL), FSP_OK);
        }
        assert_int_not_equal(fsp_handback_read(&back, copy, i, instructions, NULL), FSP_OK);
    }
    memcpy(copy, file.data, file.len);
    copy[file.len] = '\n';
    assert_int_not_equal(
            fsp_handback_read(&back, copy, file.len + 1, instructions, NULL), FSP_OK);
    free(copy);
    fsp_buf_fini(&file);
}

/* Signed by the office and still no hand-back: form is checked behind the signature too. */
static void
a_signed_file_of_another_form_is_refused(void **state)
{
    static const char *const rests[] = {
            "end\n",                                   /* the register is missing */
            "register 3\nabcend\n",                    /* fine, see below */
            "register 0\nend\n",                       /* nothing in it */
            "register 99999999999999999999\nabcend\n", /* more than a number holds */
            "register 4000000000\nabcend\n",           /* more than is there */
            "register 3\nabchead 2\nab",               /* no end */
            "register 3\nabcregister 3\nabcend\n",     /* one too many */
            "head 2\nabregister 3\nabcend\n",          /* another order */
            "register 3\nabcend\nend\n",               /* bytes behind it */
            "register  3\nabcend\n",
            "register -3\nabcend\n",
    };
    const struct keys *keys = *state;

    for (size_t i = 0; i < sizeof(rests) / sizeof(rests[0]); i++) {
        struct fsp_handback_log log = {.vkey = *fsp_skey_vkey(keys->log[0]), .size = 1};
        struct fsp_handback back = {.fleet = "basin", .rig = "heron", .logs = &log, .n = 1};
        struct fsp_handback got;
        struct fsp_buf out;
        struct fsp_buf rest;
        struct fsp_err err;
        enum fsp_rc rc;

        fsp_buf_init(&out, 65536);
        fsp_buf_init(&rest, 65536);
        /* fsp_handback_write() adds "end" itself: take it away where the row has its own. */
        fsp_buf_add(&rest, rests[i], strlen(rests[i]));
        if (rest.len >= 4 && memcmp(rest.data + rest.len - 4, "end\n", 4) == 0)
            rest.len -= 4;
        else
            fsp_buf_add_text(&rest, "x");
        assert_ok(fsp_handback_write(&out, &back, &rest, keys->instructions, &err), &err);
        rc = fsp_handback_read(
                &got, out.data, out.len, fsp_skey_vkey(keys->instructions), NULL);
        if (i == 1)
            assert_int_equal(rc, FSP_OK);
        else
            assert_int_not_equal(rc, FSP_OK);
        fsp_handback_fini(&got);
        fsp_buf_fini(&rest);
        fsp_buf_fini(&out);
    }
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_hand_back_reads_as_it_was_written),
            cmocka_unit_test(another_office_s_hand_back_is_refused),
            cmocka_unit_test(whatever_is_changed_or_cut_is_refused),
            cmocka_unit_test(a_signed_file_of_another_form_is_refused),
    };

    return cmocka_run_group_tests(tests, setup, teardown);
}
