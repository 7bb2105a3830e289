#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "wire/invitation.h"

struct fixture {
    struct fsp_skey *instructions;
    struct fsp_invitation sample;
};

static int
setup(void **state)
{
    struct fixture *f = calloc(1, sizeof(*f));
    struct fsp_skey *cosigner = NULL;
    struct fsp_err err;

    assert_ok(fsp_proof_init(&err), &err);
    assert_ok(fsp_skey_new(&f->instructions, "basin/instructions", FSP_KEY_NOTE,
                      fsp_env_system(), &err),
            &err);
    assert_ok(fsp_skey_new(&cosigner, "basin/office", FSP_KEY_COSIGNER, fsp_env_system(), &err),
            &err);
    (void)snprintf(f->sample.fleet, sizeof(f->sample.fleet), "basin");
    (void)snprintf(f->sample.rig, sizeof(f->sample.rig), "heron");
    (void)snprintf(f->sample.url, sizeof(f->sample.url), "http://127.0.0.1:8463");
    f->sample.cosigner = *fsp_skey_vkey(cosigner);
    f->sample.instructions = *fsp_skey_vkey(f->instructions);
    memset(f->sample.box_pub, 5, sizeof(f->sample.box_pub));
    memset(f->sample.token, 6, sizeof(f->sample.token));
    fsp_skey_free(cosigner);
    *state = f;
    return 0;
}

static int
teardown(void **state)
{
    struct fixture *f = *state;

    fsp_skey_free(f->instructions);
    free(f);
    return 0;
}

static void
an_invitation_reads_back_as_it_was_written(void **state)
{
    struct fixture *f = *state;
    struct fsp_invitation got;
    struct fsp_buf buf;
    struct fsp_err err;

    for (int courier_only = 0; courier_only < 2; courier_only++) {
        if (courier_only == 1)
            f->sample.url[0] = '\0';
        fsp_buf_init(&buf, FSP_INVITATION_MAX);
        assert_ok(fsp_invitation_sign(&buf, &f->sample, f->instructions, &err), &err);
        assert_ok(fsp_invitation_read(&got, buf.data, buf.len, &err), &err);
        assert_string_equal(got.fleet, "basin");
        assert_string_equal(got.rig, "heron");
        assert_string_equal(got.url, f->sample.url);
        assert_true(fsp_vkey_equal(&got.cosigner, &f->sample.cosigner));
        assert_true(fsp_vkey_equal(&got.instructions, &f->sample.instructions));
        assert_memory_equal(got.box_pub, f->sample.box_pub, sizeof(got.box_pub));
        assert_memory_equal(got.token, f->sample.token, sizeof(got.token));
        fsp_buf_fini(&buf);
    }
}

static void
give_pins(struct fixture *f)
{
    f->sample.has_pins = true;
    memset(f->sample.pins[0], 7, FSP_PIN_LEN);
    memset(f->sample.pins[1], 8, FSP_PIN_LEN);
}

static void
pins_travel_with_either_kind_of_address(void **state)
{
    static const char *const urls[] = {"https://office.example:8463", "http://127.0.0.1:1", ""};
    struct fixture *f = *state;
    struct fsp_invitation got;
    struct fsp_buf buf;
    struct fsp_err err;

    give_pins(f);
    for (size_t i = 0; i < 3; i++) {
        (void)snprintf(f->sample.url, sizeof(f->sample.url), "%s", urls[i]);
        fsp_buf_init(&buf, FSP_INVITATION_MAX);
        assert_ok(fsp_invitation_sign(&buf, &f->sample, f->instructions, &err), &err);
        assert_non_null(strstr(fsp_buf_peek(&buf),
                "\npin BwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwc=\n"
                "pin CAgICAgICAgICAgICAgICAgICAgICAgICAgICAgICAg=\n"));
        assert_ok(fsp_invitation_read(&got, buf.data, buf.len, &err), &err);
        assert_true(got.has_pins);
        assert_memory_equal(got.pins, f->sample.pins, sizeof(got.pins));
        fsp_buf_fini(&buf);
    }
}

static void
an_https_address_without_two_pins_is_not_written(void **state)
{
    struct fixture *f = *state;
    struct fsp_buf buf;
    struct fsp_err err;

    fsp_buf_init(&buf, FSP_INVITATION_MAX);
    (void)snprintf(f->sample.url, sizeof(f->sample.url), "https://office.example");
    assert_int_equal(fsp_invitation_sign(&buf, &f->sample, f->instructions, &err), FSP_EINVAL);
    give_pins(f);
    memcpy(f->sample.pins[1], f->sample.pins[0], FSP_PIN_LEN);
    assert_int_equal(fsp_invitation_sign(&buf, &f->sample, f->instructions, &err), FSP_EINVAL);
    assert_int_equal(buf.len, 0);
    fsp_buf_fini(&buf);
}

/* Sign the sample's text with lines put in place of its pin lines. */
static enum fsp_rc
read_with(struct fixture *f, const char *url, const char *pins)
{
    struct fsp_invitation got;
    struct fsp_note note;
    struct fsp_buf buf;
    struct fsp_buf text;
    struct fsp_err err;
    const char *at;
    const char *end;
    enum fsp_rc rc;

    (void)snprintf(f->sample.url, sizeof(f->sample.url), "http://office.example");
    fsp_buf_init(&buf, FSP_INVITATION_MAX);
    fsp_buf_init(&text, FSP_INVITATION_MAX);
    f->sample.has_pins = false;
    assert_ok(fsp_invitation_sign(&buf, &f->sample, f->instructions, &err), &err);
    assert_ok(fsp_note_parse(&note, buf.data, buf.len, &err), &err);
    at = strstr(note.text, "url ");
    assert_non_null(at);
    end = strchr(at, '\n');
    fsp_buf_add(&text, note.text, (size_t)(at - note.text));
    fsp_buf_printf(&text, "url %s", url);
    fsp_buf_add(&text, end, note.text_len - (size_t)(end - note.text));
    fsp_buf_add_text(&text, pins);
    fsp_buf_reset(&buf);
    assert_ok(fsp_note_sign(&buf, text.data, text.len, f->instructions, &err), &err);
    rc = fsp_invitation_read(&got, buf.data, buf.len, &err);
    fsp_buf_fini(&text);
    fsp_buf_fini(&buf);
    return rc;
}

#define PIN_A "pin BwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwc=\n"
#define PIN_B "pin CAgICAgICAgICAgICAgICAgICAgICAgICAgICAgICAg=\n"

static void
pins_that_are_missing_odd_or_too_many_are_refused(void **state)
{
    static const char https[] = "https://office.example";
    static const char http[] = "http://office.example";
    static const char short_pin[] = PIN_A "pin CAgICA==\n";
    static const char three[] = PIN_A PIN_B PIN_A;
    static const char lax[] = PIN_A "pin CAgICAgICAgICAgICAgICAgICAgICAgICAgICAgICAh=\n";
    struct fixture *f = *state;

    assert_int_equal(read_with(f, https, PIN_A PIN_B), FSP_OK);
    assert_int_equal(read_with(f, http, PIN_A PIN_B), FSP_OK);
    assert_int_equal(read_with(f, http, ""), FSP_OK);
    assert_int_equal(read_with(f, https, ""), FSP_EFORMAT);
    assert_int_equal(read_with(f, https, PIN_A), FSP_EFORMAT);
    assert_int_equal(read_with(f, http, PIN_A), FSP_EFORMAT);
    assert_int_equal(read_with(f, https, PIN_A PIN_A), FSP_EFORMAT);
    assert_int_equal(read_with(f, https, three), FSP_EFORMAT);
    assert_int_equal(read_with(f, https, short_pin), FSP_EFORMAT);
    assert_int_equal(read_with(f, https, lax), FSP_EFORMAT);
}

static void
every_flipped_bit_and_truncation_is_refused(void **state)
{
    struct fixture *f = *state;
    struct fsp_invitation got;
    struct fsp_buf buf;
    struct fsp_err err;

    give_pins(f);
    fsp_buf_init(&buf, FSP_INVITATION_MAX);
    assert_ok(fsp_invitation_sign(&buf, &f->sample, f->instructions, &err), &err);
    for (size_t bit = 0; bit < 8 * buf.len; bit++) {
        buf.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
        if (fsp_invitation_read(&got, buf.data, buf.len, &err) == FSP_OK)
            fail_msg("bit %zu", bit);
        assert_int_equal(got.fleet[0], 0);
        buf.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
    }
    for (size_t cut = 0; cut < buf.len; cut++)
        assert_int_not_equal(fsp_invitation_read(&got, buf.data, cut, &err), FSP_OK);
    fsp_buf_fini(&buf);
}

static void
odd_names_and_addresses_are_refused(void **state)
{
    static const char *const urls[] = {"ftp://a", "http://", "http:///x", "http://a b",
            "http://user@host", "127.0.0.1:80", "http://a\"b", "javascript:x"};
    struct fixture *f = *state;
    struct fsp_buf buf;
    struct fsp_err err;

    fsp_buf_init(&buf, FSP_INVITATION_MAX);
    for (size_t i = 0; i < sizeof(urls) / sizeof(urls[0]); i++) {
        (void)snprintf(f->sample.url, sizeof(f->sample.url), "%s", urls[i]);
        assert_int_equal(
                fsp_invitation_sign(&buf, &f->sample, f->instructions, &err), FSP_EINVAL);
    }
    f->sample.url[0] = '\0';
    (void)snprintf(f->sample.rig, sizeof(f->sample.rig), "He Ron");
    assert_int_equal(fsp_invitation_sign(&buf, &f->sample, f->instructions, &err), FSP_EINVAL);
    fsp_buf_fini(&buf);
}

static void
keys_of_another_fleet_are_refused(void **state)
{
    struct fixture *f = *state;
    struct fsp_invitation got;
    struct fsp_buf buf;
    struct fsp_err err;

    fsp_buf_init(&buf, FSP_INVITATION_MAX);
    (void)snprintf(f->sample.fleet, sizeof(f->sample.fleet), "plain");
    assert_int_equal(fsp_invitation_sign(&buf, &f->sample, f->instructions, &err), FSP_EINVAL);
    assert_int_equal(buf.len, 0);
    (void)snprintf(f->sample.fleet, sizeof(f->sample.fleet), "basin");
    assert_ok(fsp_invitation_sign(&buf, &f->sample, f->instructions, &err), &err);
    assert_ok(fsp_invitation_read(&got, buf.data, buf.len, &err), &err);
    fsp_buf_fini(&buf);
}

static void
lines_of_later_versions_are_passed_over_and_missing_ones_named(void **state)
{
    struct fixture *f = *state;
    struct fsp_invitation got;
    struct fsp_note note;
    struct fsp_buf buf;
    struct fsp_buf text;
    struct fsp_buf again;
    struct fsp_err err;

    fsp_buf_init(&buf, FSP_INVITATION_MAX);
    fsp_buf_init(&text, FSP_INVITATION_MAX);
    fsp_buf_init(&again, FSP_INVITATION_MAX);
    assert_ok(fsp_invitation_sign(&buf, &f->sample, f->instructions, &err), &err);
    assert_ok(fsp_note_parse(&note, buf.data, buf.len, &err), &err);
    fsp_buf_add(&text, note.text, note.text_len);
    fsp_buf_add_text(&text, "courier later\n");
    assert_ok(fsp_note_sign(&again, text.data, text.len, f->instructions, &err), &err);
    assert_ok(fsp_invitation_read(&got, again.data, again.len, &err), &err);
    fsp_buf_reset(&text);
    fsp_buf_reset(&again);
    fsp_buf_add_text(&text, "farspool-invitation/v1\nfleet basin\n");
    assert_ok(fsp_note_sign(&again, text.data, text.len, f->instructions, &err), &err);
    assert_int_equal(fsp_invitation_read(&got, again.data, again.len, &err), FSP_EFORMAT);
    assert_non_null(strstr(err.text, "not complete"));
    fsp_buf_fini(&buf);
    fsp_buf_fini(&text);
    fsp_buf_fini(&again);
}

int
main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
            T(an_invitation_reads_back_as_it_was_written),
            T(pins_travel_with_either_kind_of_address),
            T(an_https_address_without_two_pins_is_not_written),
            T(pins_that_are_missing_odd_or_too_many_are_refused),
            T(every_flipped_bit_and_truncation_is_refused),
            T(odd_names_and_addresses_are_refused),
            T(keys_of_another_fleet_are_refused),
            T(lines_of_later_versions_are_passed_over_and_missing_ones_named),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
