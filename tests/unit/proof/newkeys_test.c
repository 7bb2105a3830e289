#include "support/test.h"

#include <string.h>

#include "proof/newkeys.h"
#include "support/evidence.h"

static struct fsp_new_keys all; /* one of each, two pins */
static struct fsp_vkey foreign[4];

static int
set_up(void **state)
{
    static const struct {
        const char *name;
        enum fsp_key_type type;
    } keys[] = {{"lantern-basin/office", FSP_KEY_COSIGNER},
            {"lantern-basin/instructions", FSP_KEY_NOTE},
            {"port-sallow/office", FSP_KEY_COSIGNER}, {"lantern-basin/office", FSP_KEY_NOTE},
            {"port-sallow/instructions", FSP_KEY_NOTE},
            {"lantern-basin/instructions", FSP_KEY_COSIGNER}};
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);

    (void)state;
    memset(&all, 0, sizeof(all));
    for (size_t i = 0; i < 6; i++) {
        struct fsp_skey *key = NULL;
        struct fsp_vkey *into =
                i == 0 ? &all.cosigner : (i == 1 ? &all.instructions : &foreign[i - 2]);

        if (fsp_skey_new(&key, keys[i].name, keys[i].type, &env, NULL) != FSP_OK)
            return -1;
        *into = *fsp_skey_vkey(key);
        fsp_skey_free(key);
    }
    all.has_cosigner = all.has_instructions = all.has_box = true;
    memset(all.box_pub, 0x42, sizeof(all.box_pub));
    all.n_pins = 2;
    memset(all.pins[0], 0x11, sizeof(all.pins[0]));
    memset(all.pins[1], 0x22, sizeof(all.pins[1]));
    return 0;
}

static enum fsp_rc
read_text(struct fsp_new_keys *out, const char *text)
{
    return fsp_new_keys_read(out, "lantern-basin", text, strlen(text), NULL);
}

static void
new_keys_are_read_as_they_were_written(void **state)
{
    (void)state;
    for (unsigned some = 1; some < 16; some++) {
        struct fsp_new_keys want = all;
        struct fsp_new_keys got;
        struct fsp_buf text;
        struct fsp_err err;

        want.has_cosigner = (some & 1u) != 0;
        want.has_instructions = (some & 2u) != 0;
        want.has_box = (some & 4u) != 0;
        want.n_pins = (some & 8u) != 0 ? 2 : 0;
        fsp_buf_init(&text, 4096);
        fsp_new_keys_write(&want, &text);
        assert_ok(fsp_new_keys_read(
                          &got, "lantern-basin", (const char *)text.data, text.len, &err),
                &err);
        assert_int_equal(got.has_cosigner, want.has_cosigner);
        assert_int_equal(got.has_instructions, want.has_instructions);
        assert_int_equal(got.has_box, want.has_box);
        assert_int_equal(got.n_pins, want.n_pins);
        if (got.has_cosigner)
            assert_true(fsp_vkey_equal(&got.cosigner, &want.cosigner));
        if (got.has_instructions)
            assert_true(fsp_vkey_equal(&got.instructions, &want.instructions));
        if (got.has_box)
            assert_memory_equal(got.box_pub, want.box_pub, sizeof(got.box_pub));
        if (got.n_pins > 0)
            assert_memory_equal(got.pins, want.pins, 2 * sizeof(got.pins[0]));
        for (size_t cut = 0; cut < text.len; cut++)
            if (cut == 0 || text.data[cut - 1] != '\n')
                assert_int_equal(fsp_new_keys_read(&got, "lantern-basin",
                                         (const char *)text.data, cut, NULL),
                        FSP_EFORMAT);
        fsp_buf_fini(&text);
    }
}

static void
keys_of_others_are_refused(void **state)
{
    static const char *const words[] = {"cosigner", "cosigner", "instructions", "instructions"};

    (void)state;
    for (size_t i = 0; i < 4; i++) {
        struct fsp_new_keys got;
        struct fsp_buf text;

        fsp_buf_init(&text, 4096);
        fsp_buf_printf(&text, "%s ", words[i]);
        fsp_vkey_write(&foreign[i], &text);
        fsp_buf_add_byte(&text, '\n');
        assert_int_equal(read_text(&got, fsp_buf_peek(&text)), FSP_EFORMAT);
        assert_false(got.has_cosigner || got.has_instructions);
        fsp_buf_fini(&text);
    }
}

#define B32 "QkJCQkJCQkJCQkJCQkJCQkJCQkJCQkJCQkJCQkJCQkI="

static void
lines_out_of_form_are_refused_and_unknown_words_passed_over(void **state)
{
    static const char *const bad[] = {"", "weather fine\n", "box\n", "box \n", "box " B32,
            "box " B32 "\nbox " B32 "\n", "box " B32 " \n", "box QkI=\n", "pin x\n",
            "pin " B32 "\npin " B32 "\npin " B32 "\npin " B32 "\npin " B32 "\n", "cosigner x\n",
            "instructions lantern-basin/instructions\n"};
    struct fsp_new_keys got;

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
        if (read_text(&got, bad[i]) != FSP_EFORMAT)
            fail_msg("taken: %s", bad[i]);
    assert_int_equal(read_text(&got, "weather fine\nbox " B32 "\n\nboxes 3\n"), FSP_OK);
    assert_true(got.has_box);
    assert_int_equal(
            read_text(&got, "pin " B32 "\npin " B32 "\npin " B32 "\npin " B32 "\n"), FSP_OK);
    assert_int_equal(got.n_pins, 4);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(new_keys_are_read_as_they_were_written),
            cmocka_unit_test(keys_of_others_are_refused),
            cmocka_unit_test(lines_out_of_form_are_refused_and_unknown_words_passed_over),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests_name("newkeys", tests, set_up, NULL);
}
