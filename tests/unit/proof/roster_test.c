#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "proof/note.h"
#include "proof/roster.h"
#include "support/evidence.h"

#define DAY(n) (INT64_C(1772323200) + (n)*INT64_C(86400)) /* 2026-03-01 is DAY(0) */

static struct fsp_skey *instructions;
static struct fsp_skey *stranger;
static struct fsp_skey *ada[2];
static struct fsp_skey *ben;

static int
set_up(void **state)
{
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    const struct {
        struct fsp_skey **key;
        const char *name;
    } keys[] = {{&instructions, "lantern-basin/instructions"},
            {&stranger, "lantern-basin/instructions"}, {&ada[0], "lantern-basin/signer:ada"},
            {&ada[1], "lantern-basin/signer:ada"}, {&ben, "lantern-basin/signer:ben"}};

    (void)state;
    for (size_t i = 0; i < sizeof(keys) / sizeof(keys[0]); i++)
        if (fsp_skey_new(keys[i].key, keys[i].name, FSP_KEY_NOTE, &env, NULL) != FSP_OK)
            return -1;
    return 0;
}

static int
tear_down(void **state)
{
    (void)state;
    fsp_skey_free(instructions);
    fsp_skey_free(stranger);
    fsp_skey_free(ada[0]);
    fsp_skey_free(ada[1]);
    fsp_skey_free(ben);
    return 0;
}

static void
add_signer(struct fsp_buf *text, const struct fsp_skey *key, const char *rest)
{
    fsp_buf_add_text(text, "signer ");
    fsp_vkey_write(fsp_skey_vkey(key), text);
    fsp_buf_printf(text, " %s\n", rest);
}

/* Ada has two keys one after the other, the first was revoked; Ben only countersigns. */
static void
make_text(struct fsp_buf *text)
{
    fsp_buf_init(text, 4 * FSP_ROSTER_TEXT_MAX);
    fsp_buf_add_text(text, "farspool-roster/v1\nfleet lantern-basin\nversion 3\n"
                           "made 2026-04-15T12:30:00Z\n");
    add_signer(text, ada[0],
            "2026-03-01 2026-03-31 inspect,countersign revoked 2026-03-20T06:00:00Z");
    add_signer(text, ada[1], "2026-04-01 - inspect");
    add_signer(text, ben, "2026-03-01 2026-03-01 countersign");
}

static struct fsp_roster *
parse(const struct fsp_buf *text)
{
    struct fsp_roster *roster = NULL;
    struct fsp_err err;

    assert_ok(fsp_roster_parse(&roster, fsp_buf_peek(text), text->len, &err), &err);
    return roster;
}

static void
a_roster_is_read_and_written_as_it_was(void **state)
{
    struct fsp_buf text;
    struct fsp_buf again;
    struct fsp_roster *roster;

    (void)state;
    make_text(&text);
    roster = parse(&text);
    assert_string_equal(roster->fleet, "lantern-basin");
    assert_int_equal(roster->version, 3);
    assert_int_equal(roster->made_s, DAY(45) + 45000);
    assert_int_equal(roster->n, 3);
    assert_string_equal(roster->signer[0].name, "ada");
    assert_int_equal(roster->signer[0].from_s, DAY(0));
    assert_int_equal(roster->signer[0].until_s, DAY(31));
    assert_int_equal(roster->signer[0].may, FSP_MAY_INSPECT | FSP_MAY_COUNTERSIGN);
    assert_true(roster->signer[0].revoked);
    assert_int_equal(roster->signer[0].revoked_s, DAY(19) + 21600);
    assert_int_equal(roster->signer[1].until_s, INT64_MAX);
    assert_int_equal(roster->signer[1].may, FSP_MAY_INSPECT);
    assert_false(roster->signer[1].revoked);
    assert_int_equal(roster->signer[2].until_s, DAY(1));
    assert_int_equal(roster->signer[2].may, FSP_MAY_COUNTERSIGN);
    fsp_buf_init(&again, FSP_ROSTER_TEXT_MAX);
    fsp_roster_write(roster, &again);
    assert_string_equal(fsp_buf_peek(&again), fsp_buf_peek(&text));
    fsp_roster_free(roster);
    fsp_buf_fini(&text);
    fsp_buf_fini(&again);
}

/* The example of docs/formats.md, made by another Ed25519 (OpenSSL's). */
static void
the_roster_of_the_formats_page_is_read_and_signed_the_same(void **state)
{
    static const char note[] =
            "farspool-roster/v1\nfleet lantern-basin\nversion 1\nmade 2026-02-28T09:00:00Z\n"
            "signer lantern-basin/signer:ada+4d09b0e6+"
            "ASVDuS/xCVURR2rcg2nbbdyTNmWhGXjdoUBO4QZsqVWd 2026-03-01 - inspect,countersign\n\n"
            "\xe2\x80\x94 lantern-basin/instructions "
            "lmb63+"
            "gUQ9VYCXW80vvYp45CrYyrMkTxglGKLp1wWAroJNvz99hO7ODoeJ8noDqoN3RdfyIy6D7rT78f0ZeY"
            "EscatAE=\n";
    struct counting counting = {0x60};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_skey *office = NULL;
    struct fsp_roster *roster = NULL;
    struct fsp_buf text;
    struct fsp_buf again;
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_skey_new(&office, "lantern-basin/instructions", FSP_KEY_NOTE, &env, &err),
            &err);
    assert_ok(fsp_roster_read(&roster, note, strlen(note), fsp_skey_vkey(office), &err), &err);
    assert_int_equal(roster->n, 1);
    assert_string_equal(roster->signer[0].name, "ada");
    fsp_buf_init(&text, FSP_ROSTER_TEXT_MAX);
    fsp_buf_init(&again, FSP_NOTE_MAX);
    fsp_roster_write(roster, &text);
    assert_ok(fsp_note_sign(&again, text.data, text.len, office, &err), &err);
    assert_string_equal(fsp_buf_peek(&again), note);
    fsp_roster_free(roster);
    fsp_skey_free(office);
    fsp_buf_fini(&text);
    fsp_buf_fini(&again);
}

static void
a_roster_without_signers_is_one(void **state)
{
    struct fsp_buf text;
    struct fsp_roster *roster;

    (void)state;
    fsp_buf_init(&text, FSP_ROSTER_TEXT_MAX);
    fsp_buf_add_text(&text, "farspool-roster/v1\nfleet a\nversion 18446744073709551615\n"
                            "made 2026-04-15T12:30:00Z\n");
    roster = parse(&text);
    assert_int_equal(roster->n, 0);
    assert_true(roster->version == UINT64_MAX);
    fsp_roster_free(roster);
    fsp_buf_fini(&text);
}

/* Replace `from` by `to` once and expect a refusal that says `says`. */
static void
assert_refused(const char *from, const char *to, const char *says)
{
    struct fsp_buf text;
    struct fsp_buf other;
    struct fsp_roster *roster = NULL;
    struct fsp_err err;
    const char *at;
    enum fsp_rc rc;

    make_text(&text);
    fsp_buf_init(&other, 4 * FSP_ROSTER_TEXT_MAX);
    at = strstr(fsp_buf_peek(&text), from);
    assert_non_null(at);
    fsp_buf_add(&other, fsp_buf_peek(&text), (size_t)(at - fsp_buf_peek(&text)));
    fsp_buf_add_text(&other, to);
    fsp_buf_add_text(&other, at + strlen(from));
    rc = fsp_roster_parse(&roster, fsp_buf_peek(&other), other.len, &err);
    if (rc != FSP_EFORMAT && rc != FSP_ELIMIT)
        fail_msg("'%s' for '%s' gives %d", to, from, (int)rc);
    assert_null(roster);
    if (strstr(err.text, says) == NULL)
        fail_msg("'%s' for '%s': %s", to, from, err.text);
    if (!fsp_text_printable(err.text, strlen(err.text)))
        fail_msg("'%s' for '%s' is shown raw", to, from);
    fsp_buf_fini(&text);
    fsp_buf_fini(&other);
}

static void
what_is_no_roster_is_refused_with_line_and_reason(void **state)
{
    (void)state;
    assert_refused("roster/v1", "roster/v2", "line 1: no roster");
    assert_refused("farspool", "", "line 1");
    assert_refused("fleet lantern", "fleet  lantern", "line 2: not words");
    assert_refused("fleet lantern-basin", "fleet Lantern", "line 2");
    assert_refused("fleet lantern-basin", "fleet", "line 2");
    assert_refused("fleet lantern-basin", "fleet plover", "line 5: the key is not of type");
    assert_refused("version 3", "version 0", "line 3");
    assert_refused("version 3", "version 03", "line 3");
    assert_refused("version 3", "version -3", "line 3");
    assert_refused("version 3", "version 18446744073709551616", "line 3");
    assert_refused("version 3\n", "", "line 3");
    assert_refused("version 3\n", "version 3\nversion 3\n", "line 4");
    assert_refused("made 2026-04-15T12:30:00Z", "made 2026-04-15T12:30:00+00:00", "line 4");
    assert_refused("made 2026-04-15T12:30:00Z", "made 2026-04-15 12:30:00Z", "line 4");
    assert_refused("made 2026-04-15T12:30:00Z", "made 2026-02-29T12:30:00Z", "line 4");
    assert_refused("made 2026-04-15T12:30:00Z", "made 2026-04-15T12:30:60Z", "line 4");
    assert_refused("made 2026-04-15T12:30:00Z\n", "\n", "line 4");
    assert_refused("signer lantern", "singer lantern", "line 5: not of the form");
    assert_refused("signer lantern", "signer\tlantern", "line 5 has characters");
}

static void
signer_lines_that_are_not_right_are_refused(void **state)
{
    (void)state;
    assert_refused("2026-03-01 2026-03-31", "2026-03-01 2026-02-28", "before the first");
    assert_refused("2026-03-01 2026-03-31", "2026-3-1 2026-03-31", "first day");
    assert_refused("2026-03-01 2026-03-31", "- 2026-03-31", "first day");
    assert_refused("2026-03-01 2026-03-31", "2026-02-29 2026-03-31", "first day");
    assert_refused("2026-03-01 2026-03-31", "2026-03-01 2026-04-31", "last day");
    assert_refused("2026-03-01 2026-03-31", "2026-03-01 2026-03-31T00:00:00Z", "last day");
    assert_refused("2026-03-01 2026-03-31", "2026-03-01", "line 5");
    assert_refused("inspect,countersign", "countersign,inspect", "may 'inspect'");
    assert_refused("inspect,countersign", "inspect,inspect", "may 'inspect'");
    assert_refused("inspect,countersign", "inspect,", "may 'inspect'");
    assert_refused("inspect,countersign", "approve", "may 'inspect'");
    assert_refused(" revoked 2026", " 2026", "line 5: not of the form");
    assert_refused(" revoked 2026", " removed 2026", "line 5: not of the form");
    assert_refused("revoked 2026-03-20T06:00:00Z", "revoked 2026-03-20", "no time");
    assert_refused("revoked 2026-03-20T06:00:00Z", "revoked", "line 5: not of the form");
    assert_refused("06:00:00Z\n", "06:00:00Z x\n", "line 5: not words");
    assert_refused(" - inspect\n", " - inspect \n", "line 6: not words");
    assert_refused(" - inspect\n", " - inspect\r\n", "line 6");
    assert_refused(" - inspect\n", " - inspect\n\n", "line 7");
    assert_refused(" 2026-03-01 countersign\n", " 2026-03-01 countersign", "line 7");
    assert_refused("signer:ada+", "signer:Ada+", "line 5");
}

static void
keys_of_another_fleet_type_or_form_are_refused(void **state)
{
    static const char *const names[] = {"plover-basin/signer:ada",
            "lantern-basin/signer:", "lantern-basin/signer:-ada", "lantern-basin/signer:a.b",
            "lantern-basin/signer:a/b", "lantern-basin/inspector:ada", "lantern-basin/signer",
            "lantern-basin"};
    uint8_t pub[32];
    struct fsp_err err;

    (void)state;
    memcpy(pub, fsp_skey_vkey(stranger)->pub, sizeof(pub));
    for (size_t i = 0; i <= sizeof(names) / sizeof(names[0]); i++) {
        bool typed = i == sizeof(names) / sizeof(names[0]);
        const char *name = typed ? "lantern-basin/signer:ada" : names[i];
        struct fsp_roster *roster = NULL;
        struct fsp_vkey vkey;
        struct fsp_buf text;

        make_text(&text);
        assert_ok(
                fsp_vkey_make(&vkey, name, typed ? FSP_KEY_COSIGNER : FSP_KEY_NOTE, pub, &err),
                &err);
        fsp_buf_add_text(&text, "signer ");
        fsp_vkey_write(&vkey, &text);
        fsp_buf_add_text(&text, " 2026-03-01 - inspect\n");
        assert_int_equal(
                fsp_roster_parse(&roster, fsp_buf_peek(&text), text.len, &err), FSP_EFORMAT);
        assert_non_null(strstr(err.text, "line 8: the key is not of type 0x01"));
        fsp_buf_fini(&text);
    }
}

/* A key of small order verifies forged signatures; libsodium's own list begins with these. */
static void
keys_of_small_order_and_bent_encodings_are_refused(void **state)
{
    static const char *const keys[] = {
            "0100000000000000000000000000000000000000000000000000000000000000",
            "0000000000000000000000000000000000000000000000000000000000000000",
            "0000000000000000000000000000000000000000000000000000000000000080",
            "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
            "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac03fa",
            "ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
            "edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
            "eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f"};
    struct fsp_err err;

    (void)state;
    for (size_t i = 0; i < sizeof(keys) / sizeof(keys[0]); i++) {
        struct fsp_vkey vkey = {.name = "lantern-basin/signer:eve", .type = FSP_KEY_NOTE};
        struct fsp_roster *roster = NULL;
        struct fsp_buf text;

        assert_int_equal(fsp_text_unhex(vkey.pub, 32, keys[i]), FSP_OK);
        assert_int_equal(
                fsp_vkey_make(&vkey, "lantern-basin/signer:eve", FSP_KEY_NOTE, vkey.pub, &err),
                FSP_EFORMAT);
        make_text(&text);
        fsp_buf_printf(&text, "signer lantern-basin/signer:eve+00000000+");
        {
            uint8_t typed[33] = {FSP_KEY_NOTE};

            assert_int_equal(fsp_text_unhex(typed + 1, 32, keys[i]), FSP_OK);
            fsp_base64(&text, typed, sizeof(typed));
        }
        fsp_buf_add_text(&text, " 2026-03-01 - inspect\n");
        assert_int_equal(
                fsp_roster_parse(&roster, fsp_buf_peek(&text), text.len, &err), FSP_EFORMAT);
        assert_non_null(strstr(err.text, "no sound Ed25519 key"));
        fsp_buf_fini(&text);
    }
}

static void
a_key_on_the_roster_twice_is_refused(void **state)
{
    struct fsp_vkey vkey;
    struct fsp_buf text;
    struct fsp_roster *roster = NULL;
    struct fsp_err err;

    (void)state;
    make_text(&text);
    add_signer(&text, ben, "2026-05-01 - countersign");
    assert_int_equal(
            fsp_roster_parse(&roster, fsp_buf_peek(&text), text.len, &err), FSP_EFORMAT);
    assert_non_null(strstr(err.text, "line 8: the key is on the roster twice"));
    fsp_buf_fini(&text);
    /* Under another person's name no less. */
    make_text(&text);
    assert_ok(fsp_vkey_make(&vkey, "lantern-basin/signer:cleo", FSP_KEY_NOTE,
                      fsp_skey_vkey(ben)->pub, &err),
            &err);
    fsp_buf_add_text(&text, "signer ");
    fsp_vkey_write(&vkey, &text);
    fsp_buf_add_text(&text, " 2026-05-01 - countersign\n");
    assert_int_equal(
            fsp_roster_parse(&roster, fsp_buf_peek(&text), text.len, &err), FSP_EFORMAT);
    fsp_buf_fini(&text);
}

static void
text_and_signers_have_limits(void **state)
{
    struct seeded seeded = {.state = 7};
    struct fsp_env env = evidence_seeded_env(&seeded);
    struct fsp_roster *roster = NULL;
    struct fsp_buf text;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&text, 4 * FSP_ROSTER_TEXT_MAX);
    fsp_buf_add_text(
            &text, "farspool-roster/v1\nfleet f\nversion 3\nmade 2026-04-15T12:30:00Z\n");
    for (int i = 0; i <= FSP_ROSTER_SIGNERS_MAX; i++) {
        struct fsp_skey *key = NULL;

        roster = parse(&text);
        assert_int_equal(roster->n, i);
        fsp_roster_free(roster);
        assert_ok(fsp_skey_new(&key, "f/signer:a", FSP_KEY_NOTE, &env, &err), &err);
        add_signer(&text, key, "2026-03-01 - inspect");
        fsp_skey_free(key);
    }
    assert_true(text.len < FSP_ROSTER_TEXT_MAX);
    assert_int_equal(
            fsp_roster_parse(&roster, fsp_buf_peek(&text), text.len, &err), FSP_ELIMIT);
    assert_non_null(strstr(err.text, "more than 64 signers"));
    fsp_buf_reset(&text);
    while (text.len <= FSP_ROSTER_TEXT_MAX)
        fsp_buf_add_text(&text, "farspool-roster/v1\n");
    assert_int_equal(
            fsp_roster_parse(&roster, fsp_buf_peek(&text), text.len, &err), FSP_ELIMIT);
    fsp_buf_fini(&text);
}

static void
every_truncation_but_at_a_signers_end_is_refused(void **state)
{
    struct fsp_buf text;
    size_t taken = 0;

    (void)state;
    make_text(&text);
    for (size_t n = 0; n < text.len; n++) {
        struct fsp_roster *roster = NULL;
        char *part = malloc(n + 1);

        assert_non_null(part);
        memcpy(part, text.data, n);
        if (fsp_roster_parse(&roster, part, n, NULL) == FSP_OK)
            taken++;
        fsp_roster_free(roster);
        free(part);
    }
    assert_int_equal(taken, 3); /* with 0, 1 and 2 whole signers */
    fsp_buf_fini(&text);
}

/* The signature is what guards the list: every bit of it, every cut. */
static void
every_flipped_bit_and_truncation_of_the_signed_roster_is_refused(void **state)
{
    struct fsp_buf text;
    struct fsp_buf note;
    struct fsp_roster *roster = NULL;
    struct fsp_err err;

    (void)state;
    make_text(&text);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    assert_ok(fsp_note_sign(&note, text.data, text.len, instructions, &err), &err);
    assert_ok(fsp_roster_read(&roster, note.data, note.len, fsp_skey_vkey(instructions), &err),
            &err);
    assert_int_equal(roster->n, 3);
    fsp_roster_free(roster);
    for (size_t bit = 0; bit < 8 * note.len; bit++) {
        note.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
        if (fsp_roster_read(&roster, note.data, note.len, fsp_skey_vkey(instructions), &err) ==
                FSP_OK)
            fail_msg("bit %zu flipped and taken", bit);
        assert_null(roster);
        note.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
    }
    for (size_t n = 0; n < note.len; n++)
        assert_int_not_equal(
                fsp_roster_read(&roster, note.data, n, fsp_skey_vkey(instructions), &err),
                FSP_OK);
    fsp_buf_fini(&text);
    fsp_buf_fini(&note);
}

static void
only_the_instructions_key_of_the_fleet_signs_a_roster(void **state)
{
    static const char *const names[] = {
            "plover-basin/instructions", "lantern-basin/office", "lantern-basin/signer:ada"};
    struct counting counting = {100};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_roster *roster = NULL;
    struct fsp_buf text;
    struct fsp_buf note;
    struct fsp_err err;

    (void)state;
    make_text(&text);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    assert_ok(fsp_note_sign(&note, text.data, text.len, stranger, &err), &err);
    assert_int_equal(
            fsp_roster_read(&roster, note.data, note.len, fsp_skey_vkey(instructions), &err),
            FSP_EVERIFY);
    for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
        struct fsp_skey *key = NULL;

        assert_ok(fsp_skey_new(&key, names[i], FSP_KEY_NOTE, &env, &err), &err);
        fsp_buf_reset(&note);
        assert_ok(fsp_note_sign(&note, text.data, text.len, key, &err), &err);
        assert_int_equal(
                fsp_roster_read(&roster, note.data, note.len, fsp_skey_vkey(key), &err),
                FSP_EVERIFY);
        assert_null(roster);
        fsp_skey_free(key);
    }
    fsp_buf_fini(&text);
    fsp_buf_fini(&note);
}

static void
a_signers_name_makes_the_keys(void **state)
{
    char made[FSP_KEY_NAME_MAX + 1];
    char longest[65];
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_signer_key_name("lantern-basin", "ada", made, &err), &err);
    assert_string_equal(made, "lantern-basin/signer:ada");
    memset(longest, 'a', sizeof(longest));
    longest[63] = '\0';
    assert_ok(fsp_signer_key_name(longest, longest, made, &err), &err);
    assert_int_equal(strlen(made), 63 + 8 + 63);
    longest[63] = 'a';
    longest[64] = '\0';
    assert_int_equal(fsp_signer_key_name(longest, "ada", made, &err), FSP_EINVAL);
    assert_int_equal(fsp_signer_key_name("lantern-basin", longest, made, &err), FSP_EINVAL);
    assert_int_equal(fsp_signer_key_name("lantern-basin", "", made, &err), FSP_EINVAL);
    assert_int_equal(fsp_signer_key_name("lantern-basin", "a+b", made, &err), FSP_EINVAL);
    assert_int_equal(fsp_signer_key_name("lantern-basin", "a b", made, &err), FSP_EINVAL);
    assert_int_equal(fsp_signer_key_name("lantern-basin", "\x1b[2J", made, &err), FSP_EINVAL);
    assert_int_equal(fsp_signer_key_name("lantern basin", "ada", made, &err), FSP_EINVAL);
    assert_string_equal(made, "");
}

struct judged {
    const struct fsp_skey *key;
    const char *name;
    int64_t at_s;
    int64_t noted_s;
    unsigned may;
    enum fsp_sig_state want;
};

static void
assert_judged(const struct fsp_roster *roster, const struct judged *row, size_t i)
{
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_signed what = {.name = row->name,
            .may = row->may,
            .at_s = row->at_s,
            .noted_s = row->noted_s,
            .message = "looked at",
            .len = 9,
            .sig = sig};
    const struct fsp_roster_signer *who = NULL;
    enum fsp_sig_state got;

    assert_int_equal(fsp_skey_sign(row->key, "looked at", 9, sig, NULL), FSP_OK);
    got = fsp_roster_judge(roster, &what, &who);
    if (got != row->want)
        fail_msg("row %zu: %s, not %s", i, fsp_sig_state_text(got),
                fsp_sig_state_text(row->want));
    if (who != NULL)
        assert_memory_equal(who->vkey.pub, fsp_skey_vkey(row->key)->pub, 32);
    assert_true((who != NULL) ==
                (roster != NULL && got != FSP_SIG_BAD && strcmp(row->name, "cleo") != 0));
    assert_int_equal(fsp_roster_judge(roster, &what, NULL), row->want);
    /* One bit of message or signature more or less holds for nobody. */
    what.message = "looked_at";
    got = fsp_roster_judge(roster, &what, &who);
    assert_true(got == FSP_SIG_BAD || got == FSP_SIG_OFF_ROSTER);
    assert_null(who);
    what.message = "looked at";
    sig[40] ^= 1;
    got = fsp_roster_judge(roster, &what, &who);
    assert_true(got == FSP_SIG_BAD || got == FSP_SIG_OFF_ROSTER);
}

static void
a_signature_is_judged_by_name_key_leave_and_day(void **state)
{
    const struct judged rows[] = {
            /* Ada's first key: days both included, revoked on the 20th at 06:00. */
            {ada[0], "ada", DAY(0), DAY(0), FSP_MAY_INSPECT, FSP_SIG_GOOD},
            {ada[0], "ada", DAY(0) - 1, DAY(0), FSP_MAY_INSPECT, FSP_SIG_OUT_OF_DATE},
            {ada[0], "ada", DAY(9), DAY(9), FSP_MAY_COUNTERSIGN, FSP_SIG_GOOD},
            {ada[0], "ada", DAY(19) + 21599, DAY(19) + 21599, FSP_MAY_INSPECT, FSP_SIG_GOOD},
            {ada[0], "ada", DAY(19) + 21600, DAY(19) + 21600, FSP_MAY_INSPECT,
                    FSP_SIG_OUT_OF_DATE},
            /* Dated before the key was revoked, noted after it. */
            {ada[0], "ada", DAY(9), DAY(19) + 21600, FSP_MAY_INSPECT, FSP_SIG_OUT_OF_DATE},
            /* A clock that runs behind does not help either. */
            {ada[0], "ada", DAY(20), DAY(1), FSP_MAY_INSPECT, FSP_SIG_OUT_OF_DATE},
            /* Her second key: from April on, inspections only. */
            {ada[1], "ada", DAY(31), DAY(31), FSP_MAY_INSPECT, FSP_SIG_GOOD},
            {ada[1], "ada", DAY(9999), DAY(9999), FSP_MAY_INSPECT, FSP_SIG_GOOD},
            {ada[1], "ada", DAY(31) - 1, DAY(31), FSP_MAY_INSPECT, FSP_SIG_OUT_OF_DATE},
            {ada[1], "ada", DAY(31), DAY(31), FSP_MAY_COUNTERSIGN, FSP_SIG_OFF_ROSTER},
            /* Ben, one day, countersignatures; a late entry of that day is his all the same. */
            {ben, "ben", DAY(1) - 1, DAY(5), FSP_MAY_COUNTERSIGN, FSP_SIG_GOOD},
            {ben, "ben", DAY(1), DAY(5), FSP_MAY_COUNTERSIGN, FSP_SIG_OUT_OF_DATE},
            {ben, "ben", DAY(0), DAY(0), FSP_MAY_INSPECT, FSP_SIG_OFF_ROSTER},
            /* Another's name, nobody's name, nobody's key. */
            {ben, "ada", DAY(0), DAY(0), FSP_MAY_COUNTERSIGN, FSP_SIG_BAD},
            {ben, "cleo", DAY(0), DAY(0), FSP_MAY_COUNTERSIGN, FSP_SIG_OFF_ROSTER},
            {stranger, "ada", DAY(0), DAY(0), FSP_MAY_INSPECT, FSP_SIG_BAD},
    };
    struct fsp_buf text;
    struct fsp_roster *roster;

    (void)state;
    make_text(&text);
    roster = parse(&text);
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct judged unknown = rows[i];

        assert_judged(roster, &rows[i], i);
        unknown.want = FSP_SIG_OFF_ROSTER;
        assert_judged(NULL, &unknown, i);
    }
    fsp_roster_free(roster);
    fsp_buf_fini(&text);
}

int
main(void)
{
#define WITH_KEYS(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
            WITH_KEYS(a_roster_is_read_and_written_as_it_was),
            WITH_KEYS(the_roster_of_the_formats_page_is_read_and_signed_the_same),
            WITH_KEYS(a_roster_without_signers_is_one),
            WITH_KEYS(what_is_no_roster_is_refused_with_line_and_reason),
            WITH_KEYS(signer_lines_that_are_not_right_are_refused),
            WITH_KEYS(keys_of_another_fleet_type_or_form_are_refused),
            WITH_KEYS(keys_of_small_order_and_bent_encodings_are_refused),
            WITH_KEYS(a_key_on_the_roster_twice_is_refused),
            WITH_KEYS(text_and_signers_have_limits),
            WITH_KEYS(every_truncation_but_at_a_signers_end_is_refused),
            WITH_KEYS(every_flipped_bit_and_truncation_of_the_signed_roster_is_refused),
            WITH_KEYS(only_the_instructions_key_of_the_fleet_signs_a_roster),
            WITH_KEYS(a_signers_name_makes_the_keys),
            WITH_KEYS(a_signature_is_judged_by_name_key_leave_and_day),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests_name("roster", tests, NULL, NULL);
}
