#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "proof/attest.h"
#include "proof/instruction.h"
#include "proof/signer.h"
#include "support/evidence.h"

#define AT(day, hour) "2026-03-" day "T" hour ":00:00Z"
#define ENTRIES       64

/* One entry of an invented log, as the programs hold it. */
struct stored {
    struct fsp_buf bytes;
    struct fsp_record *record;
    uint8_t leaf[FSP_HASH_LEN];
};

/* A log, its office and its signers. */
struct scene {
    struct fsp_skey *office[2];
    struct fsp_skey *ada;
    struct fsp_skey *ben;
    struct fsp_vkey keys[2];
    struct stored log[ENTRIES];
    size_t n;
};

static int
set_up(void **state)
{
    struct scene *scene = calloc(1, sizeof(*scene));
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);

    assert_non_null(scene);
    assert_int_equal(fsp_skey_new(&scene->office[0], "lantern-basin/instructions", FSP_KEY_NOTE,
                             &env, NULL),
            FSP_OK);
    assert_int_equal(fsp_skey_new(&scene->office[1], "lantern-basin/instructions", FSP_KEY_NOTE,
                             &env, NULL),
            FSP_OK);
    assert_int_equal(
            fsp_skey_new(&scene->ada, "lantern-basin/signer:ada", FSP_KEY_NOTE, &env, NULL),
            FSP_OK);
    assert_int_equal(
            fsp_skey_new(&scene->ben, "lantern-basin/signer:ben", FSP_KEY_NOTE, &env, NULL),
            FSP_OK);
    scene->keys[0] = *fsp_skey_vkey(scene->office[0]);
    scene->keys[1] = *fsp_skey_vkey(scene->office[1]);
    *state = scene;
    return 0;
}

static int
tear_down(void **state)
{
    struct scene *scene = *state;

    for (size_t i = 0; i < scene->n; i++) {
        fsp_record_free(scene->log[i].record);
        fsp_buf_fini(&scene->log[i].bytes);
    }
    for (size_t i = 0; i < 2; i++)
        fsp_skey_free(scene->office[i]);
    fsp_skey_free(scene->ada);
    fsp_skey_free(scene->ben);
    free(scene);
    return 0;
}

/* Append the canonical bytes of this JSON; its number. */
static size_t
put(struct scene *scene, const char *json)
{
    struct stored *entry = &scene->log[scene->n];
    struct fsp_record *record = NULL;
    struct fsp_err err;

    assert_true(scene->n < ENTRIES);
    assert_ok(fsp_record_parse((const uint8_t *)json, strlen(json), &record, &err), &err);
    fsp_buf_init(&entry->bytes, FSP_ENTRY_MAX);
    fsp_record_write(record, &entry->bytes);
    assert_ok(fsp_buf_check(&entry->bytes, "an entry", &err), &err);
    fsp_record_free(record);
    assert_ok(
            fsp_record_parse(entry->bytes.data, entry->bytes.len, &entry->record, &err), &err);
    fsp_leaf_hash(entry->bytes.data, entry->bytes.len, entry->leaf);
    return scene->n++;
}

static void
sign_text(const struct fsp_skey *key, const struct fsp_buf *message, struct fsp_buf *text)
{
    uint8_t sig[FSP_SIG_LEN];

    assert_int_equal(fsp_skey_sign(key, message->data, message->len, sig, NULL), FSP_OK);
    fsp_buf_init(text, 128);
    fsp_base64(text, sig, sizeof(sig));
}

struct seen {
    const struct fsp_skey *key; /* NULL: unsigned */
    const char *inspector;
    const char *at;
    const char *noted;
    const char *fleet; /* NULL: lantern-basin */
    const char *rig;   /* NULL: heron */
};

static size_t
put_inspection(struct scene *scene, const struct seen *seen)
{
    struct fsp_buf json;
    struct fsp_buf sig;
    struct fsp_buf message;
    struct fsp_err err;
    size_t index;

    fsp_buf_init(&json, FSP_ENTRY_MAX);
    fsp_buf_init(&message, FSP_ENTRY_MAX);
    fsp_buf_printf(&json,
            "{\"at\":\"%s\",\"by\":\"clerk\",\"decision\":\"run\",\"fleet\":\"%s\","
            "\"inspector\":\"%s\",\"kind\":\"inspection\",\"reel\":\"R-1\",\"rig\":\"%s\","
            "\"scope\":\"tour\",\"v\":1}",
            seen->at, seen->fleet != NULL ? seen->fleet : "lantern-basin", seen->inspector,
            seen->rig != NULL ? seen->rig : "heron");
    assert_ok(fsp_inspection_message(json.data, json.len, &message, &err), &err);
    json.len--; /* the brace */
    if (seen->key != NULL) {
        sign_text(seen->key, &message, &sig);
        fsp_buf_printf(&json, ",\"sig\":\"%s\"", fsp_buf_peek(&sig));
        fsp_buf_fini(&sig);
    }
    if (seen->noted != NULL)
        fsp_buf_printf(&json, ",\"noted\":\"%s\"", seen->noted);
    fsp_buf_add_byte(&json, '}');
    index = put(scene, fsp_buf_peek(&json));
    fsp_buf_fini(&json);
    fsp_buf_fini(&message);
    return index;
}

static size_t
put_countersign(struct scene *scene, size_t of, const struct fsp_skey *key, const char *signer,
        const char *at)
{
    struct fsp_buf json;
    struct fsp_buf leaf;
    struct fsp_buf sig;
    struct fsp_buf message;
    size_t index;

    fsp_buf_init(&json, FSP_ENTRY_MAX);
    fsp_buf_init(&leaf, 64);
    fsp_buf_init(&message, 64);
    fsp_base64(&leaf, scene->log[of].leaf, FSP_HASH_LEN);
    fsp_countersign_message(scene->log[of].leaf, &message);
    sign_text(key, &message, &sig);
    fsp_buf_printf(&json,
            "{\"at\":\"%s\",\"by\":\"clerk\",\"entry\":{\"index\":%zu,\"leaf\":\"%s\",\"log\":"
            "\"5e1f3a90c2d47b86\"},\"kind\":\"countersign\",\"sig\":\"%s\",\"signer\":\"%s\","
            "\"v\":1}",
            at, of, fsp_buf_peek(&leaf), fsp_buf_peek(&sig), signer);
    index = put(scene, fsp_buf_peek(&json));
    fsp_buf_fini(&json);
    fsp_buf_fini(&leaf);
    fsp_buf_fini(&sig);
    fsp_buf_fini(&message);
    return index;
}

struct listed {
    const struct fsp_skey *key;
    const char *rest;
};

/* The signed note of a roster of these signers. */
static void
make_roster(struct scene *scene, size_t office, int version, const char *made,
        const struct listed *listed, struct fsp_buf *note)
{
    struct fsp_buf text;
    struct fsp_err err;

    fsp_buf_init(&text, FSP_ROSTER_TEXT_MAX);
    fsp_buf_init(note, FSP_NOTE_MAX);
    fsp_buf_printf(&text, "farspool-roster/v1\nfleet lantern-basin\nversion %d\nmade %s\n",
            version, made);
    for (; listed != NULL && listed->key != NULL; listed++) {
        fsp_buf_add_text(&text, "signer ");
        fsp_vkey_write(fsp_skey_vkey(listed->key), &text);
        fsp_buf_printf(&text, " %s\n", listed->rest);
    }
    assert_ok(fsp_note_sign(note, text.data, text.len, scene->office[office], &err), &err);
    fsp_buf_fini(&text);
}

/* An instruction entry of this body. */
static size_t
put_instruction(struct scene *scene, size_t office, const char *rig,
        enum fsp_instruction_about about, const struct fsp_buf *body)
{
    struct fsp_instruction instruction = {.made_s = 1772352000,
            .about = about,
            .body = fsp_buf_peek(body),
            .body_len = body->len,
            .fleet = "lantern-basin"};
    struct fsp_note note;
    struct fsp_buf whole;
    struct fsp_buf json;
    struct fsp_err err;
    size_t index;

    (void)snprintf(instruction.rig, sizeof(instruction.rig), "%s", rig);
    fsp_buf_init(&whole, FSP_NOTE_MAX);
    fsp_buf_init(&json, FSP_ENTRY_MAX);
    assert_ok(fsp_instruction_sign(&whole, &instruction, scene->office[office], &err), &err);
    assert_ok(fsp_note_parse(&note, whole.data, whole.len, &err), &err);
    fsp_buf_add_text(&json, "{\"at\":\"2026-03-01T08:00:00Z\",\"by\":\"office\",\"bytes\":\"");
    fsp_base64(&json, note.text, note.text_len);
    fsp_buf_add_text(&json, "\",\"kind\":\"instruction\",\"sig\":\"");
    fsp_base64(&json, note.line[0].sig, note.line[0].sig_len);
    fsp_buf_add_text(&json, "\",\"v\":1}");
    index = put(scene, fsp_buf_peek(&json));
    fsp_buf_fini(&whole);
    fsp_buf_fini(&json);
    return index;
}

static size_t
put_roster(struct scene *scene, int version, const struct listed *listed)
{
    struct fsp_buf note;
    size_t index;

    make_roster(scene, 0, version, "2026-03-01T07:00:00Z", listed, &note);
    index = put_instruction(scene, 0, "heron", FSP_ABOUT_ROSTER, &note);
    fsp_buf_fini(&note);
    return index;
}

static struct fsp_attest_entry
entry_of(const struct stored *stored)
{
    return (struct fsp_attest_entry){.record = stored->record,
            .bytes = stored->bytes.data,
            .len = stored->bytes.len,
            .leaf = stored->leaf};
}

/* All entries noted, backwards when asked: the order must not matter. */
static struct fsp_attest *
attest(struct scene *scene, size_t n_keys, bool backwards)
{
    const struct fsp_attest_about about = {
            .fleet = "lantern-basin", .rig = "heron", .keys = scene->keys, .n_keys = n_keys};
    struct fsp_attest *attest = NULL;
    struct fsp_err err;

    assert_ok(fsp_attest_new(&attest, &about, &err), &err);
    for (size_t i = 0; i < scene->n; i++) {
        struct fsp_attest_entry entry = entry_of(&scene->log[backwards ? scene->n - 1 - i : i]);

        assert_ok(fsp_attest_note(attest, &entry, &err), &err);
    }
    return attest;
}

static void
assert_state(struct scene *scene, size_t index, enum fsp_sig_state want)
{
    struct fsp_attest_entry entry = entry_of(&scene->log[index]);

    for (int backwards = 0; backwards < 2; backwards++) {
        struct fsp_attest *found = attest(scene, 2, backwards == 1);
        enum fsp_sig_state got = fsp_attest_state(found, &entry);

        if (got != want)
            fail_msg("entry %zu: %s, not %s", index, fsp_sig_state_text(got),
                    fsp_sig_state_text(want));
        fsp_attest_free(found);
    }
}

#define BOTH "2026-03-01 - inspect,countersign"

static void
inspections_have_the_state_of_their_own_signature(void **state)
{
    struct scene *scene = *state;
    const struct listed listed[] = {{scene->ada, "2026-03-02 2026-03-20 inspect revoked "
                                                 "2026-03-15T00:00:00Z"},
            {NULL, NULL}};
    const struct {
        struct seen seen;
        enum fsp_sig_state want;
    } rows[] = {
            {{NULL, "ada", AT("05", "06"), NULL, NULL, NULL}, FSP_SIG_NONE},
            {{scene->ada, "ada", AT("05", "06"), NULL, NULL, NULL}, FSP_SIG_GOOD},
            {{scene->ada, "ada", AT("05", "06"), AT("05", "07"), NULL, NULL}, FSP_SIG_GOOD},
            {{scene->ben, "ada", AT("05", "06"), NULL, NULL, NULL}, FSP_SIG_BAD},
            {{scene->ada, "ben", AT("05", "06"), NULL, NULL, NULL}, FSP_SIG_OFF_ROSTER},
            {{scene->ben, "ben", AT("05", "06"), NULL, NULL, NULL}, FSP_SIG_OFF_ROSTER},
            {{scene->ada, "ada", AT("01", "23"), NULL, NULL, NULL}, FSP_SIG_OUT_OF_DATE},
            {{scene->ada, "ada", AT("21", "00"), NULL, NULL, NULL}, FSP_SIG_OUT_OF_DATE},
            {{scene->ada, "ada", AT("16", "00"), NULL, NULL, NULL}, FSP_SIG_OUT_OF_DATE},
            {{scene->ada, "ada", AT("05", "06"), AT("15", "00"), NULL, NULL},
                    FSP_SIG_OUT_OF_DATE},
            {{scene->ada, "ada", AT("05", "06"), NULL, "plover-bay", NULL}, FSP_SIG_BAD},
            {{scene->ada, "ada", AT("05", "06"), NULL, NULL, "plover"}, FSP_SIG_BAD},
            {{scene->ada, "Ada L.", AT("05", "06"), NULL, NULL, NULL}, FSP_SIG_OFF_ROSTER},
            {{scene->ada, "\xC3\xA9t\xC3\xA9", AT("05", "06"), NULL, NULL, NULL},
                    FSP_SIG_OFF_ROSTER},
    };

    (void)put_roster(scene, 1, listed);
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        assert_state(scene, put_inspection(scene, &rows[i].seen), rows[i].want);
}

static void
without_a_roster_every_signature_is_off_it(void **state)
{
    struct scene *scene = *state;
    const struct seen seen = {scene->ada, "ada", AT("05", "06"), NULL, NULL, NULL};
    const struct seen none = {NULL, "ada", AT("05", "06"), NULL, NULL, NULL};
    size_t with_sig = put_inspection(scene, &seen);
    size_t without = put_inspection(scene, &none);
    struct fsp_attest *found = attest(scene, 2, false);
    size_t len = 1;

    assert_state(scene, with_sig, FSP_SIG_OFF_ROSTER);
    assert_state(scene, without, FSP_SIG_NONE);
    assert_null(fsp_attest_roster(found));
    assert_null(fsp_attest_roster_note(found, &len));
    assert_int_equal(len, 0);
    fsp_attest_free(found);
}

/* Whatever is changed in a signed inspection beyond `noted`: the signature does not hold. */
static void
any_change_of_a_signed_inspection_shows(void **state)
{
    struct scene *scene = *state;
    const struct listed listed[] = {{scene->ada, BOTH}, {NULL, NULL}};
    const struct seen seen = {scene->ada, "ada", AT("05", "06"), AT("05", "07"), NULL, NULL};
    static const char *const changes[][2] = {{"\"run\"", "\"cut\""}, {"clerk", "clark"},
            {"T06:00", "T05:00"}, {"R-1", "R-2"}, {"\"tour\"", "\"monthly\""},
            {"\"v\":1", "\"v\":2"}, {"\"by\"", "\"bx\""}};
    struct fsp_buf changed;
    const char *whole;
    size_t good;

    (void)put_roster(scene, 1, listed);
    good = put_inspection(scene, &seen);
    assert_state(scene, good, FSP_SIG_GOOD);
    whole = fsp_buf_peek(&scene->log[good].bytes);
    fsp_buf_init(&changed, FSP_ENTRY_MAX);
    for (size_t i = 0; i < sizeof(changes) / sizeof(changes[0]); i++) {
        const char *at = strstr(whole, changes[i][0]);

        assert_non_null(at);
        fsp_buf_reset(&changed);
        fsp_buf_add(&changed, whole, (size_t)(at - whole));
        fsp_buf_add_text(&changed, changes[i][1]);
        fsp_buf_add_text(&changed, at + strlen(changes[i][0]));
        assert_state(scene, put(scene, fsp_buf_peek(&changed)), FSP_SIG_BAD);
    }
    fsp_buf_fini(&changed);
}

static void
bytes_that_are_not_canonical_and_signatures_of_another_length_do_not_hold(void **state)
{
    struct scene *scene = *state;
    const struct listed listed[] = {{scene->ada, BOTH}, {NULL, NULL}};
    const struct seen seen = {scene->ada, "ada", AT("05", "06"), NULL, NULL, NULL};
    static const char *const sigs[] = {
            "\"\"", "\"AAAA\"", "\"x\"", "7", "{}", "[]", "true", "\"\xE2\x82\xAC\""};
    struct fsp_attest_entry entry;
    struct fsp_attest *found;
    struct fsp_buf spaced;
    size_t good;

    (void)put_roster(scene, 1, listed);
    good = put_inspection(scene, &seen);
    for (size_t i = 0; i < sizeof(sigs) / sizeof(sigs[0]); i++) {
        struct fsp_buf json;

        fsp_buf_init(&json, FSP_ENTRY_MAX);
        fsp_buf_printf(&json,
                "{\"at\":\"2026-03-05T06:00:00Z\",\"fleet\":\"lantern-basin\",\"inspector\":"
                "\"ada\",\"kind\":\"inspection\",\"rig\":\"heron\",\"sig\":%s}",
                sigs[i]);
        assert_state(scene, put(scene, fsp_buf_peek(&json)), FSP_SIG_BAD);
        fsp_buf_fini(&json);
    }
    found = attest(scene, 2, false);
    fsp_buf_init(&spaced, FSP_ENTRY_MAX);
    fsp_buf_add_text(&spaced, "{ ");
    fsp_buf_add_text(&spaced, fsp_buf_peek(&scene->log[good].bytes) + 1);
    entry = entry_of(&scene->log[good]);
    assert_int_equal(fsp_attest_state(found, &entry), FSP_SIG_GOOD);
    entry.bytes = spaced.data;
    entry.len = spaced.len;
    assert_int_equal(fsp_attest_state(found, &entry), FSP_SIG_BAD);
    fsp_buf_fini(&spaced);
    fsp_attest_free(found);
}

static void
other_entries_have_the_best_of_their_countersignatures(void **state)
{
    struct scene *scene = *state;
    const struct listed listed[] = {{scene->ada, BOTH},
            {scene->ben, "2026-03-01 2026-03-09 countersign"}, {NULL, NULL}};
    size_t amend = put(scene, "{\"at\":\"2026-03-05T06:00:00Z\",\"by\":\"clerk\",\"kind\":"
                              "\"amend\",\"reason\":\"typing\",\"v\":1,\"void\":\"yes\"}");
    size_t other = put(scene, "{\"at\":\"2026-03-05T07:00:00Z\",\"by\":\"clerk\",\"kind\":"
                              "\"slip\",\"v\":1}");
    size_t countersign;

    (void)put_roster(scene, 1, listed);
    assert_state(scene, amend, FSP_SIG_NONE);
    /* Each better than all before it, and later worse ones take nothing away. */
    countersign = put_countersign(scene, amend, scene->ben, "ada", AT("06", "06"));
    assert_state(scene, countersign, FSP_SIG_BAD);
    assert_state(scene, amend, FSP_SIG_BAD);
    countersign = put_countersign(scene, amend, scene->ada, "cleo", AT("06", "06"));
    assert_state(scene, countersign, FSP_SIG_OFF_ROSTER);
    assert_state(scene, amend, FSP_SIG_OFF_ROSTER);
    countersign = put_countersign(scene, amend, scene->ben, "ben", AT("10", "00"));
    assert_state(scene, countersign, FSP_SIG_OUT_OF_DATE);
    assert_state(scene, amend, FSP_SIG_OUT_OF_DATE);
    countersign = put_countersign(scene, amend, scene->ben, "ben", AT("06", "06"));
    assert_state(scene, countersign, FSP_SIG_GOOD);
    assert_state(scene, amend, FSP_SIG_GOOD);
    (void)put_countersign(scene, amend, scene->ada, "cleo", AT("06", "06"));
    assert_state(scene, amend, FSP_SIG_GOOD);
    assert_state(scene, other, FSP_SIG_NONE);
    /* Others of them do not meet on one leaf. */
    (void)put_countersign(scene, other, scene->ada, "ada", AT("06", "06"));
    assert_state(scene, other, FSP_SIG_GOOD);
    assert_state(scene, countersign, FSP_SIG_GOOD);
}

static void
a_countersignature_lends_an_inspection_nothing(void **state)
{
    struct scene *scene = *state;
    const struct listed listed[] = {{scene->ada, BOTH}, {NULL, NULL}};
    const struct seen none = {NULL, "ada", AT("05", "06"), NULL, NULL, NULL};
    size_t inspection;

    (void)put_roster(scene, 1, listed);
    inspection = put_inspection(scene, &none);
    (void)put_countersign(scene, inspection, scene->ada, "ada", AT("06", "06"));
    assert_state(scene, inspection, FSP_SIG_NONE);
}

static void
who_may_only_inspect_does_not_countersign(void **state)
{
    struct scene *scene = *state;
    const struct listed listed[] = {{scene->ada, "2026-03-01 - inspect"}, {NULL, NULL}};
    size_t amend = put(scene, "{\"at\":\"2026-03-05T06:00:00Z\",\"kind\":\"amend\",\"v\":1}");

    (void)put_roster(scene, 1, listed);
    assert_state(scene, put_countersign(scene, amend, scene->ada, "ada", AT("06", "06")),
            FSP_SIG_OFF_ROSTER);
    assert_state(scene, amend, FSP_SIG_OFF_ROSTER);
}

static void
odd_countersignatures_are_states_not_errors(void **state)
{
    struct scene *scene = *state;
    static const char no_sig[] = "{\"entry\":{\"leaf\":"
                                 "\"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\"},\"kind\":"
                                 "\"countersign\",\"sig\":\"AAAA\",\"signer\":\"ada\"}";
    static const char *const odd[] = {"{\"kind\":\"countersign\"}",
            "{\"entry\":{\"leaf\":\"AAAA\"},\"kind\":\"countersign\",\"signer\":\"ada\"}",
            "{\"entry\":{\"leaf\":7},\"kind\":\"countersign\",\"signer\":\"ada\"}",
            "{\"entry\":7,\"kind\":\"countersign\",\"signer\":\"ada\"}", no_sig};

    for (size_t i = 0; i < sizeof(odd) / sizeof(odd[0]); i++)
        assert_state(scene, put(scene, odd[i]), FSP_SIG_BAD);
}

static void
an_unreadable_entry_is_unsigned(void **state)
{
    struct scene *scene = *state;
    struct fsp_attest *found = attest(scene, 1, false);
    const uint8_t leaf[FSP_HASH_LEN] = {0};
    const struct fsp_attest_entry entry = {
            .bytes = (const uint8_t *)"?", .len = 1, .leaf = leaf};
    struct fsp_err err;

    assert_ok(fsp_attest_note(found, &entry, &err), &err);
    assert_int_equal(fsp_attest_state(found, &entry), FSP_SIG_NONE);
    fsp_attest_free(found);
}

static void
the_roster_with_the_highest_version_is_in_force(void **state)
{
    struct scene *scene = *state;
    const struct listed ada[] = {{scene->ada, BOTH}, {NULL, NULL}};
    const struct seen seen = {scene->ada, "ada", AT("05", "06"), NULL, NULL, NULL};
    size_t inspection = put_inspection(scene, &seen);
    struct fsp_attest *found;
    struct fsp_roster *again = NULL;
    struct fsp_err err;
    const char *note;
    size_t len = 0;

    assert_state(scene, inspection, FSP_SIG_OFF_ROSTER);
    (void)put_roster(scene, 2, ada);
    assert_state(scene, inspection, FSP_SIG_GOOD);
    (void)put_roster(scene, 1, NULL);
    assert_state(scene, inspection, FSP_SIG_GOOD);
    (void)put_roster(scene, 7, NULL);
    assert_state(scene, inspection, FSP_SIG_OFF_ROSTER);
    (void)put_roster(scene, 6, ada);
    assert_state(scene, inspection, FSP_SIG_OFF_ROSTER);
    (void)put_roster(scene, 8, ada);
    assert_state(scene, inspection, FSP_SIG_GOOD);
    found = attest(scene, 2, false);
    assert_int_equal(fsp_attest_roster(found)->version, 8);
    note = fsp_attest_roster_note(found, &len);
    assert_ok(fsp_roster_read(&again, note, len, &scene->keys[0], &err), &err);
    assert_int_equal(again->version, 8);
    fsp_roster_free(again);
    fsp_attest_free(found);
}

static void
one_version_given_twice_counts_the_same_in_any_order(void **state)
{
    struct scene *scene = *state;
    const struct listed ada[] = {{scene->ada, BOTH}, {NULL, NULL}};
    const struct listed ben[] = {{scene->ben, BOTH}, {NULL, NULL}};
    const struct seen by_ada = {scene->ada, "ada", AT("05", "06"), NULL, NULL, NULL};
    const struct seen by_ben = {scene->ben, "ben", AT("05", "06"), NULL, NULL, NULL};
    size_t first = put_inspection(scene, &by_ada);
    size_t second = put_inspection(scene, &by_ben);
    struct fsp_buf note;

    make_roster(scene, 0, 3, "2026-03-01T07:00:01Z", ada, &note);
    (void)put_instruction(scene, 0, "heron", FSP_ABOUT_ROSTER, &note);
    fsp_buf_fini(&note);
    make_roster(scene, 0, 3, "2026-03-01T07:00:00Z", ben, &note);
    (void)put_instruction(scene, 0, "heron", FSP_ABOUT_ROSTER, &note);
    fsp_buf_fini(&note);
    assert_state(scene, first, FSP_SIG_GOOD);
    assert_state(scene, second, FSP_SIG_OFF_ROSTER);
    /* The same version and time: the greater text. "ben" is greater than "ada". */
    make_roster(scene, 0, 3, "2026-03-01T07:00:01Z", ben, &note);
    (void)put_instruction(scene, 0, "heron", FSP_ABOUT_ROSTER, &note);
    fsp_buf_fini(&note);
    assert_state(scene, first, FSP_SIG_OFF_ROSTER);
    assert_state(scene, second, FSP_SIG_GOOD);
}

static void
instructions_that_do_not_count_bring_no_roster(void **state)
{
    struct scene *scene = *state;
    const struct listed ada[] = {{scene->ada, BOTH}, {NULL, NULL}};
    const struct seen seen = {scene->ada, "ada", AT("05", "06"), NULL, NULL, NULL};
    size_t inspection = put_inspection(scene, &seen);
    struct fsp_attest_entry entry = entry_of(&scene->log[inspection]);
    struct fsp_attest *found;
    struct fsp_buf note;

    make_roster(scene, 0, 1, "2026-03-01T07:00:00Z", ada, &note);
    (void)put_instruction(scene, 0, "plover", FSP_ABOUT_ROSTER, &note);
    assert_state(scene, inspection, FSP_SIG_OFF_ROSTER);
    (void)put_instruction(scene, 0, "heron", FSP_ABOUT_MESSAGE, &note);
    assert_state(scene, inspection, FSP_SIG_OFF_ROSTER);
    note.data[30] ^= 1;
    (void)put_instruction(scene, 0, "heron", FSP_ABOUT_ROSTER, &note);
    assert_state(scene, inspection, FSP_SIG_OFF_ROSTER);
    note.data[30] ^= 1;
    /* By a key that the office handed over to: counts only for who knows that key. */
    (void)put_instruction(scene, 1, "heron", FSP_ABOUT_ROSTER, &note);
    found = attest(scene, 1, false);
    assert_int_equal(fsp_attest_state(found, &entry), FSP_SIG_OFF_ROSTER);
    fsp_attest_free(found);
    found = attest(scene, 0, false);
    assert_int_equal(fsp_attest_state(found, &entry), FSP_SIG_OFF_ROSTER);
    fsp_attest_free(found);
    assert_state(scene, inspection, FSP_SIG_GOOD);
    fsp_buf_fini(&note);
}

/* The version of the roster that this entry alone brings; 0 when it brings none. */
static uint64_t
version_from(const struct fsp_attest_about *about, const struct fsp_attest_entry *entry)
{
    struct fsp_attest *found = NULL;
    struct fsp_err err;
    uint64_t version = 0;

    assert_ok(fsp_attest_new(&found, about, &err), &err);
    assert_ok(fsp_attest_note(found, entry, &err), &err);
    if (fsp_attest_roster(found) != NULL)
        version = fsp_attest_roster(found)->version;
    fsp_attest_free(found);
    return version;
}

static void
every_flipped_bit_of_an_instruction_entry_brings_no_other_roster(void **state)
{
    struct scene *scene = *state;
    const struct listed ada[] = {{scene->ada, BOTH}, {NULL, NULL}};
    struct stored *stored = &scene->log[put_roster(scene, 1, ada)];
    const struct fsp_attest_about about = {
            .fleet = "lantern-basin", .rig = "heron", .keys = scene->keys, .n_keys = 2};
    struct fsp_attest_entry entry = entry_of(stored);
    size_t without = 0;

    assert_int_equal(version_from(&about, &entry), 1);
    for (size_t bit = 0; bit < 8 * stored->bytes.len; bit++) {
        struct fsp_record *record = NULL;

        stored->bytes.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
        if (fsp_record_parse(stored->bytes.data, stored->bytes.len, &record, NULL) == FSP_OK) {
            uint64_t version;

            entry.record = record;
            version = version_from(&about, &entry);
            /* `at`, `by` and `v` are the rig's; the office's word is whole or not there. */
            assert_true(version <= 1);
            if (version == 0)
                without++;
        }
        fsp_record_free(record);
        stored->bytes.data[bit / 8] ^= (uint8_t)(1u << (bit % 8));
    }
    assert_true(without > 1000);
}

static void
there_is_a_most_of_instructions_keys(void **state)
{
    struct scene *scene = *state;
    struct fsp_vkey many[FSP_ATTEST_KEYS_MAX + 1];
    struct fsp_attest_about about = {
            .fleet = "f", .rig = "r", .keys = many, .n_keys = FSP_ATTEST_KEYS_MAX};
    struct fsp_attest *found = NULL;
    struct fsp_err err;

    for (size_t i = 0; i <= FSP_ATTEST_KEYS_MAX; i++)
        many[i] = scene->keys[0];
    assert_ok(fsp_attest_new(&found, &about, &err), &err);
    fsp_attest_free(found);
    about.n_keys++;
    assert_int_equal(fsp_attest_new(&found, &about, &err), FSP_ELIMIT);
    assert_null(found);
    fsp_attest_free(NULL);
}

int
main(void)
{
#define WITH_SCENE(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
            WITH_SCENE(inspections_have_the_state_of_their_own_signature),
            WITH_SCENE(without_a_roster_every_signature_is_off_it),
            WITH_SCENE(any_change_of_a_signed_inspection_shows),
            WITH_SCENE(
                    bytes_that_are_not_canonical_and_signatures_of_another_length_do_not_hold),
            WITH_SCENE(other_entries_have_the_best_of_their_countersignatures),
            WITH_SCENE(a_countersignature_lends_an_inspection_nothing),
            WITH_SCENE(who_may_only_inspect_does_not_countersign),
            WITH_SCENE(odd_countersignatures_are_states_not_errors),
            WITH_SCENE(an_unreadable_entry_is_unsigned),
            WITH_SCENE(the_roster_with_the_highest_version_is_in_force),
            WITH_SCENE(one_version_given_twice_counts_the_same_in_any_order),
            WITH_SCENE(instructions_that_do_not_count_bring_no_roster),
            WITH_SCENE(every_flipped_bit_of_an_instruction_entry_brings_no_other_roster),
            WITH_SCENE(there_is_a_most_of_instructions_keys),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests_name("attest", tests, NULL, NULL);
}
