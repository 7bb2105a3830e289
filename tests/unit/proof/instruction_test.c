#include "support/test.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "proof/instruction.h"
#include "support/evidence.h"

#define MADE_S    INT64_C(1772355600) /* 2026-03-01T09:00:00Z */
#define MUTATIONS 10000

static struct fsp_skey *office;     /* lantern-basin/instructions */
static struct fsp_skey *successor;  /* the same name, a newer key */
static struct fsp_skey *neighbour;  /* another fleet's */
static struct fsp_skey *cosigner;   /* lantern-basin/office */
static struct fsp_vkey known[2];    /* office, successor */
static struct fsp_instruction good; /* what the tests begin with */
static struct fsp_buf note;         /* good, signed by office */

static int
set_up(void **state)
{
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);

    (void)state;
    fsp_buf_init(&note, FSP_NOTE_MAX);
    if (fsp_skey_new(&office, "lantern-basin/instructions", FSP_KEY_NOTE, &env, NULL) !=
                    FSP_OK ||
            fsp_skey_new(&successor, "lantern-basin/instructions", FSP_KEY_NOTE, &env, NULL) !=
                    FSP_OK ||
            fsp_skey_new(&neighbour, "port-sallow/instructions", FSP_KEY_NOTE, &env, NULL) !=
                    FSP_OK ||
            fsp_skey_new(&cosigner, "lantern-basin/office", FSP_KEY_COSIGNER, &env, NULL) !=
                    FSP_OK)
        return -1;
    known[0] = *fsp_skey_vkey(office);
    known[1] = *fsp_skey_vkey(successor);
    memset(&good, 0, sizeof(good));
    (void)snprintf(good.fleet, sizeof(good.fleet), "lantern-basin");
    (void)snprintf(good.rig, sizeof(good.rig), "heron");
    memcpy(good.id, "\x01\x23\x45\x67\x89\xab\xcd\xef", sizeof(good.id));
    good.made_s = MADE_S;
    good.about = FSP_ABOUT_MESSAGE;
    good.body = "Watch the fast-line sheave.\n\nCall the office.\n";
    good.body_len = strlen(good.body);
    return fsp_instruction_sign(&note, &good, office, NULL) == FSP_OK ? 0 : -1;
}

static int
tear_down(void **state)
{
    (void)state;
    fsp_skey_free(office);
    fsp_skey_free(successor);
    fsp_skey_free(neighbour);
    fsp_skey_free(cosigner);
    fsp_buf_fini(&note);
    return 0;
}

static enum fsp_rc
read_note(struct fsp_instruction *out, const struct fsp_buf *bytes)
{
    struct fsp_err err = {.rc = FSP_OK};
    enum fsp_rc rc = fsp_instruction_read(out, bytes->data, bytes->len, known, 2, &err);

    if (rc != FSP_OK) {
        assert_true(err.text[0] != '\0' && strchr(err.text, '\n') == NULL);
        assert_true(out->body == NULL && out->fleet[0] == '\0');
    }
    return rc;
}

static void
an_instruction_is_read_as_it_was_signed(void **state)
{
    static const char text[] =
            "farspool-instruction/v1\nfleet lantern-basin\nrig heron\nid 0123456789abcdef\n"
            "made 2026-03-01T09:00:00Z\nabout message\n\nWatch the fast-line sheave.\n\n"
            "Call the office.\n";
    struct fsp_instruction got;

    (void)state;
    assert_int_equal(read_note(&got, &note), FSP_OK);
    assert_string_equal(got.fleet, "lantern-basin");
    assert_string_equal(got.rig, "heron");
    assert_memory_equal(got.id, good.id, sizeof(got.id));
    assert_int_equal(got.made_s, MADE_S);
    assert_int_equal(got.about, FSP_ABOUT_MESSAGE);
    assert_int_equal(got.body_len, good.body_len);
    assert_memory_equal(got.body, good.body, got.body_len);
    assert_int_equal(got.text_len, strlen(text));
    assert_memory_equal(got.text, text, got.text_len);
    assert_int_equal(fsp_vkey_verify(&known[0], text, strlen(text), got.sig), FSP_OK);
}

/* The record that a rig keeps of a note. */
static struct fsp_record *
record_of(const struct fsp_instruction *got)
{
    struct fsp_record *record = NULL;
    struct fsp_buf json;
    struct fsp_err err;

    fsp_buf_init(&json, FSP_ENTRY_MAX);
    fsp_buf_add_text(&json, "{\"at\":\"2026-03-01T10:00:00Z\",\"by\":\"office\",\"bytes\":\"");
    fsp_base64(&json, got->text, got->text_len);
    fsp_buf_add_text(&json, "\",\"kind\":\"instruction\",\"sig\":\"");
    fsp_base64(&json, got->sig, sizeof(got->sig));
    fsp_buf_add_text(&json, "\",\"v\":1}");
    assert_ok(fsp_buf_check(&json, "a record", &err), &err);
    assert_ok(fsp_record_parse(json.data, json.len, &record, &err), &err);
    fsp_buf_fini(&json);
    return record;
}

static void
the_note_is_rebuilt_from_the_record_byte_for_byte(void **state)
{
    struct fsp_instruction got;
    struct fsp_instruction again;
    struct fsp_record *record;
    struct fsp_buf rebuilt;
    struct fsp_err err;

    (void)state;
    assert_int_equal(read_note(&got, &note), FSP_OK);
    record = record_of(&got);
    fsp_buf_init(&rebuilt, FSP_NOTE_MAX);
    assert_ok(fsp_instruction_of_record(&again, record, known, 2, &rebuilt, &err), &err);
    assert_int_equal(rebuilt.len, note.len);
    assert_memory_equal(rebuilt.data, note.data, note.len);
    assert_memory_equal(again.id, good.id, sizeof(again.id));
    assert_memory_equal(again.sig, got.sig, sizeof(again.sig));
    /* Signed by a key that does not count. */
    assert_int_equal(fsp_instruction_of_record(&again, record, &known[1], 1, &rebuilt, &err),
            FSP_EVERIFY);
    assert_int_equal(
            fsp_instruction_of_record(&again, record, NULL, 0, &rebuilt, &err), FSP_EVERIFY);
    assert_null(again.body);
    fsp_buf_fini(&rebuilt);
    fsp_record_free(record);
}

static void
records_that_are_no_instruction_are_refused(void **state)
{
    static const char *const bad[] = {
            "{\"bytes\":\"YQ==\",\"kind\":\"done\",\"sig\":\"YQ==\"}",
            "{\"kind\":\"instruction\",\"sig\":\"YQ==\"}",
            "{\"bytes\":\"YQ==\",\"kind\":\"instruction\"}",
            "{\"bytes\":7,\"kind\":\"instruction\",\"sig\":\"YQ==\"}",
            "{\"bytes\":\"YR==\",\"kind\":\"instruction\",\"sig\":\"YQ==\"}",
            "{\"bytes\":\"YQ==\",\"kind\":\"instruction\",\"sig\":\"YQ==\"}",
            "{\"bytes\":\"\",\"kind\":\"instruction\",\"sig\":\"\"}",
            "{}",
    };

    (void)state;
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        struct fsp_instruction got;
        struct fsp_record *record = NULL;
        struct fsp_buf buf;
        struct fsp_err err;

        fsp_buf_init(&buf, FSP_NOTE_MAX);
        assert_ok(
                fsp_record_parse((const uint8_t *)bad[i], strlen(bad[i]), &record, &err), &err);
        assert_int_equal(
                fsp_instruction_of_record(&got, record, known, 2, &buf, &err), FSP_EFORMAT);
        assert_null(got.body);
        fsp_record_free(record);
        fsp_buf_fini(&buf);
    }
}

static void
texts_out_of_form_are_refused(void **state)
{
    static const struct {
        const char *what;
        const char *instead;
    } bad[] = {
            {"farspool-instruction/v1", "farspool-instruction/v2"},
            {"farspool-instruction/v1\n", "farspool-instruction/v1 \n"},
            {"fleet lantern-basin", "fleet Lantern"},
            {"fleet lantern-basin\n", "fleet \n"},
            {"fleet lantern-basin", "fleet  lantern-basin"},
            {"rig heron\n", ""},
            {"rig heron", "rig -heron"},
            {"rig heron", "rig heron "},
            {"id 0123456789abcdef", "id 0123456789ABCDEF"},
            {"id 0123456789abcdef", "id 0123456789abcde"},
            {"id 0123456789abcdef", "id 0123456789abcdef0"},
            {"id 0123456789abcdef", "id 0123456789abcdeg"},
            {"2026-03-01T09:00:00Z", "2026-03-01 09:00:00Z"},
            {"2026-03-01T09:00:00Z", "2026-03-01T09:00:00+00:00"},
            {"2026-03-01T09:00:00Z", "2026-02-29T09:00:00Z"},
            {"2026-03-01T09:00:00Z", "2026-03-01T09:00Z"},
            {"about message", "about"},
            {"about message", "about "},
            {"about message", "About message"},
            {"message\n\n", "message\nurgent yes\n\n"},
            {"message\n\n", "message\n"},
            {"office.\n", "office."},
            {"office.\n", "\x1b[31moffice.\n"},
            {"office.\n", "\xe2\x80\xae\n"},
            {"office.\n", "\xff\n"},
            {"about message\n\nWatch the fast-line sheave.\n\nCall the office.\n",
                    "about message\n\n"},
            {"about message\n\nWatch the fast-line sheave.\n\nCall the office.\n",
                    "about message\n"},
    };
    struct fsp_buf text;

    (void)state;
    fsp_buf_init(&text, FSP_NOTE_MAX);
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        struct fsp_instruction got;
        const char *at;
        struct fsp_buf whole;

        fsp_buf_init(&whole, FSP_NOTE_MAX);
        fsp_buf_reset(&text);
        fsp_instruction_write(&good, &whole);
        at = strstr(fsp_buf_peek(&whole), bad[i].what);
        assert_non_null(at);
        fsp_buf_add(&text, whole.data, (size_t)(at - (const char *)whole.data));
        fsp_buf_add_text(&text, bad[i].instead);
        fsp_buf_add_text(&text, at + strlen(bad[i].what));
        if (fsp_instruction_parse(&got, fsp_buf_peek(&text), text.len, NULL) != FSP_EFORMAT)
            fail_msg("taken: %s", bad[i].instead);
        assert_null(got.body);
        fsp_buf_fini(&whole);
    }
    fsp_buf_fini(&text);
}

static void
an_instruction_about_something_newer_is_kept_as_other(void **state)
{
    static const char text[] =
            "farspool-instruction/v1\nfleet lantern-basin\nrig heron\nid 0123456789abcdef\n"
            "made 2026-03-01T09:00:00Z\nabout weather\n\nrain\n";
    struct fsp_instruction got;
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_instruction_parse(&got, text, strlen(text), &err), &err);
    assert_int_equal(got.about, FSP_ABOUT_OTHER);
    assert_string_equal(fsp_instruction_about_text(got.about), "other");
    assert_int_equal(got.body_len, 5);
}

static void
the_text_may_have_11000_bytes_and_no_more(void **state)
{
    static char body[FSP_INSTRUCTION_TEXT_MAX];
    struct fsp_instruction big = good;
    struct fsp_instruction got;
    struct fsp_buf text;
    struct fsp_buf out;
    size_t header;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&text, 2 * FSP_INSTRUCTION_TEXT_MAX);
    fsp_buf_init(&out, FSP_NOTE_MAX);
    big.body_len = 0;
    fsp_instruction_write(&big, &text);
    header = text.len;
    memset(body, 'x', sizeof(body));
    big.body = body;
    big.body_len = FSP_INSTRUCTION_TEXT_MAX - header;
    body[big.body_len - 1] = '\n';
    assert_ok(fsp_instruction_sign(&out, &big, office, &err), &err);
    assert_int_equal(read_note(&got, &out), FSP_OK);
    assert_int_equal(got.text_len, FSP_INSTRUCTION_TEXT_MAX);
    fsp_buf_reset(&out);
    body[big.body_len - 1] = 'x';
    big.body_len++;
    body[big.body_len - 1] = '\n';
    assert_int_equal(fsp_instruction_sign(&out, &big, office, &err), FSP_ELIMIT);
    assert_int_equal(out.len, 0);
    fsp_buf_fini(&text);
    fsp_buf_fini(&out);
}

static void
only_the_fleets_own_instructions_key_may_sign(void **state)
{
    const struct fsp_skey *const wrong[] = {neighbour, cosigner};
    struct fsp_instruction got;
    struct fsp_buf out;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&out, FSP_NOTE_MAX);
    for (size_t i = 0; i < 2; i++)
        assert_int_equal(fsp_instruction_sign(&out, &good, wrong[i], &err), FSP_EINVAL);
    assert_int_equal(out.len, 0);
    /* Another fleet's office signs the very text: its key is no help even when it is known. */
    assert_ok(fsp_instruction_read(&got, note.data, note.len, known, 1, &err), &err);
    assert_ok(fsp_note_sign(&out, got.text, got.text_len, neighbour, &err), &err);
    assert_int_equal(
            fsp_instruction_read(&got, out.data, out.len, fsp_skey_vkey(neighbour), 1, &err),
            FSP_EVERIFY);
    assert_int_equal(read_note(&got, &out), FSP_EVERIFY);
    fsp_buf_fini(&out);
}

static void
a_successor_counts_beside_the_old_key(void **state)
{
    struct fsp_instruction got;
    struct fsp_buf out;
    struct fsp_err err;

    (void)state;
    fsp_buf_init(&out, FSP_NOTE_MAX);
    assert_ok(fsp_instruction_sign(&out, &good, successor, &err), &err);
    assert_int_equal(read_note(&got, &out), FSP_OK);
    assert_int_equal(
            fsp_instruction_read(&got, out.data, out.len, known, 1, &err), FSP_EVERIFY);
    assert_int_equal(fsp_instruction_read(&got, out.data, out.len, NULL, 0, &err), FSP_EVERIFY);
    fsp_buf_fini(&out);
}

/* A line of a known key that does not hold spoils the note, whoever else signed it. */
static void
a_bad_line_of_a_known_key_spoils_the_note(void **state)
{
    static const uint8_t nothing[FSP_SIG_LEN];
    struct fsp_instruction got;
    struct fsp_buf out;

    (void)state;
    fsp_buf_init(&out, FSP_NOTE_MAX);
    fsp_buf_add(&out, note.data, note.len);
    fsp_note_add_line(&out, &known[1], nothing, sizeof(nothing));
    assert_int_equal(read_note(&got, &out), FSP_EVERIFY);
    fsp_buf_fini(&out);
}

static void
every_flipped_bit_and_every_cut_is_refused(void **state)
{
    struct fsp_instruction got;
    struct fsp_buf out;

    (void)state;
    fsp_buf_init(&out, FSP_NOTE_MAX);
    for (size_t len = 0; len < note.len; len++) {
        fsp_buf_reset(&out);
        fsp_buf_add(&out, note.data, len);
        assert_int_not_equal(
                fsp_instruction_read(&got, fsp_buf_peek(&out), len, known, 2, NULL), FSP_OK);
    }
    for (size_t bit = 0; bit < 8 * note.len; bit++) {
        fsp_buf_reset(&out);
        fsp_buf_add(&out, note.data, note.len);
        out.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
        if (read_note(&got, &out) == FSP_OK)
            fail_msg("bit %zu", bit);
    }
    fsp_buf_fini(&out);
}

/* Whatever is made of the note, either it is refused or it says the very same. */
static void
ten_thousand_mutated_notes_say_the_same_or_nothing(void **state)
{
    static const char useful[] = "\n\t +=-0129azAZ/\x1b\x7f\x80\xe2\xff";
    struct seeded seeded = {.state = 20260301};
    struct fsp_buf out;
    size_t taken = 0;

    (void)state;
    fsp_buf_init(&out, FSP_NOTE_MAX);
    for (size_t round = 0; round < MUTATIONS; round++) {
        const size_t at = (size_t)(evidence_random(&seeded) % note.len);
        const size_t n = (size_t)(evidence_random(&seeded) % (note.len - at));
        const size_t to = (size_t)(evidence_random(&seeded) % note.len);
        struct fsp_instruction got;

        fsp_buf_reset(&out);
        fsp_buf_add(&out, note.data, at);
        switch (evidence_random(&seeded) % 4) {
        case 0:
            fsp_buf_add(&out, note.data + at + n, note.len - at - n);
            break;
        case 1:
            fsp_buf_add_byte(
                    &out, (uint8_t)useful[evidence_random(&seeded) % (sizeof(useful) - 1)]);
            fsp_buf_add(&out, note.data + at, note.len - at);
            break;
        case 2:
            fsp_buf_add(&out, note.data + to, note.len - to);
            break;
        default:
            fsp_buf_add(&out, note.data + at, n);
            fsp_buf_add(&out, note.data + at, note.len - at);
            break;
        }
        if (fsp_instruction_read(&got, fsp_buf_peek(&out), out.len, known, 2, NULL) != FSP_OK)
            continue;
        taken++;
        assert_memory_equal(got.id, good.id, sizeof(got.id));
        assert_int_equal(got.body_len, good.body_len);
        assert_memory_equal(got.body, good.body, good.body_len);
        assert_string_equal(got.rig, good.rig);
    }
    assert_true(taken < MUTATIONS / 4);
    fsp_buf_fini(&out);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(an_instruction_is_read_as_it_was_signed),
            cmocka_unit_test(the_note_is_rebuilt_from_the_record_byte_for_byte),
            cmocka_unit_test(records_that_are_no_instruction_are_refused),
            cmocka_unit_test(texts_out_of_form_are_refused),
            cmocka_unit_test(an_instruction_about_something_newer_is_kept_as_other),
            cmocka_unit_test(the_text_may_have_11000_bytes_and_no_more),
            cmocka_unit_test(only_the_fleets_own_instructions_key_may_sign),
            cmocka_unit_test(a_successor_counts_beside_the_old_key),
            cmocka_unit_test(a_bad_line_of_a_known_key_spoils_the_note),
            cmocka_unit_test(every_flipped_bit_and_every_cut_is_refused),
            cmocka_unit_test(ten_thousand_mutated_notes_say_the_same_or_nothing),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests_name("instruction", tests, set_up, tear_down);
}
