#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "proof/note.h"
#include "record/check.h"
#include "rig/pack.h"
#include "rig/receipt.h"
#include "rig/trust.h"
#include "rig/word.h"
#include "store/logtable.h"
#include "unit/rig/rig_fixture.h"
#include "wire/answer.h"

/* A signed instruction to heron, unless `rig` says otherwise; id counts by `n`. */
struct wanted {
    const char *rig;
    enum fsp_instruction_about about;
    const char *body;
    const struct fsp_skey *by;
    uint8_t n;
};

static void
sign(struct fixture *fixture, const struct wanted *want, struct fsp_buf *note)
{
    const struct fsp_skey *by = want->by != NULL ? want->by : fixture->instructions;
    const char *slash = strchr(fsp_skey_vkey(by)->name, '/');
    struct fsp_instruction instruction = {.made_s = FIXTURE_NOW_S - 60,
            .about = want->about,
            .body = want->body,
            .body_len = strlen(want->body)};
    struct fsp_err err = {.rc = FSP_OK};

    memcpy(instruction.fleet, fsp_skey_vkey(by)->name,
            (size_t)(slash - fsp_skey_vkey(by)->name));
    (void)snprintf(instruction.rig, sizeof(instruction.rig), "%s",
            want->rig != NULL ? want->rig : fixture->invitation.rig);
    instruction.id[7] = want->n;
    assert_ok(fsp_instruction_sign(note, &instruction, by, &err), &err);
}

static struct fsp_word
take(struct fixture *fixture, const struct wanted *want)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_word word;
    struct fsp_buf note;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    sign(fixture, want, &note);
    assert_ok(fsp_word_take(fixture->journal, note.data, note.len, &word, &err), &err);
    fsp_buf_fini(&note);
    return word;
}

static struct fsp_skey *
new_key(struct fixture *fixture, const char *name, enum fsp_key_type type)
{
    struct fsp_skey *key = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_skey_new(&key, name, type, &fixture->env, &err), &err);
    return key;
}

static const char *
office_name(struct fixture *fixture, const char *end)
{
    static char name[128];

    (void)snprintf(name, sizeof(name), "%s/%s", fixture->invitation.fleet, end);
    return name;
}

static void
an_instruction_becomes_one_entry_however_often_it_comes(void **state)
{
    struct fixture *fixture = *state;
    const struct wanted want = {.about = FSP_ABOUT_MESSAGE, .body = "slow down\n", .n = 1};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_record *record = NULL;
    struct fsp_instruction got;
    struct fsp_word word;
    struct fsp_buf bytes;
    struct fsp_buf note;

    fixture_fill(fixture, 2);
    word = take(fixture, &want);
    assert_int_equal(word.outcome, FSP_WORD_TAKEN);
    assert_int_equal(word.index, 2);
    assert_int_equal(fixture_size(fixture), 3);
    fixture->now_us += 3600 * FSP_US_PER_S;
    assert_int_equal(take(fixture, &want).outcome, FSP_WORD_KNOWN);
    fixture_reopen(fixture);
    assert_int_equal(take(fixture, &want).outcome, FSP_WORD_KNOWN);
    assert_int_equal(fixture_size(fixture), 3);
    /* The entry is a record like any other, and holds the note. */
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    assert_ok(fsp_logtable_get(fsp_journal_db(fixture->journal), FSP_RIG_LOG, 2, &bytes, &err),
            &err);
    assert_ok(fsp_check_stored(bytes.data, bytes.len, &record, &err), &err);
    assert_string_equal(fsp_record_text(record, "by"), "office");
    assert_string_equal(fsp_record_text(record, "at"), "2026-03-01T00:00:00Z");
    assert_ok(fsp_instruction_of_record(
                      &got, record, fsp_skey_vkey(fixture->instructions), 1, &note, &err),
            &err);
    assert_memory_equal(got.body, "slow down\n", 10);
    fsp_record_free(record);
    fsp_buf_fini(&note);
    fsp_buf_fini(&bytes);
}

static void
what_does_not_hold_is_ignored_and_says_why(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_skey *stranger =
            new_key(fixture, office_name(fixture, "instructions"), FSP_KEY_NOTE);
    struct fsp_skey *neighbour = new_key(fixture, "other-fleet/instructions", FSP_KEY_NOTE);
    const struct wanted bad[] = {
            {.about = FSP_ABOUT_MESSAGE, .body = "forged\n", .by = stranger, .n = 1},
            {.about = FSP_ABOUT_MESSAGE, .body = "another fleet's\n", .by = neighbour, .n = 2},
            {.rig = "plover", .about = FSP_ABOUT_MESSAGE, .body = "another rig's\n", .n = 3},
    };
    static const char *const notes[] = {"", "\n", "no note", "farspool-instruction/v1\n\n"};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_word word;

    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        word = take(fixture, &bad[i]);
        assert_int_equal(word.outcome, FSP_WORD_IGNORED);
        assert_true(strlen(word.why) > 10);
    }
    for (size_t i = 0; i < sizeof(notes) / sizeof(notes[0]); i++) {
        assert_ok(
                fsp_word_take(fixture->journal, notes[i], strlen(notes[i]), &word, &err), &err);
        assert_int_equal(word.outcome, FSP_WORD_IGNORED);
    }
    assert_int_equal(fixture_size(fixture), 0);
    fsp_skey_free(stranger);
    fsp_skey_free(neighbour);
}

/* A cosigned head over all that is stored, and behind it the notes, as one HTTP body. */
static void
make_answer(struct fixture *fixture, const struct fsp_skey *const *cosigners, size_t n,
        const struct fsp_buf *notes, size_t n_notes, struct fsp_buf *answer)
{
    const struct fsp_journal_about *about = fsp_journal_about(fixture->journal);
    struct fsp_checkpoint head = {.size = fixture_size(fixture)};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_skey *rig = NULL;
    struct fsp_range range;
    struct fsp_buf text;
    struct fsp_buf note;

    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    memcpy(head.origin, about->origin, sizeof(about->origin));
    assert_ok(fsp_logtable_tip(fsp_journal_db(fixture->journal), FSP_RIG_LOG, &range, &err),
            &err);
    fsp_range_root(&range, head.root);
    fsp_checkpoint_write(&head, &text);
    assert_ok(fsp_journal_key(fixture->journal, &rig, &err), &err);
    assert_ok(fsp_note_sign(&note, text.data, text.len, rig, &err), &err);
    for (size_t i = 0; i < n; i++) {
        uint8_t cosignature[8 + FSP_SIG_LEN];

        assert_ok(fsp_cosign(&head, cosigners[i], (uint64_t)FIXTURE_NOW_S, cosignature, &err),
                &err);
        fsp_note_add_line(&note, fsp_skey_vkey(cosigners[i]), cosignature, sizeof(cosignature));
    }
    if (n_notes == 0) {
        fsp_buf_add(answer, note.data, note.len);
    } else {
        fsp_answers_begin(answer);
        fsp_answers_add(answer, 200, note.data, note.len);
        for (size_t i = 0; i < n_notes; i++)
            fsp_answers_add_instruction(answer, notes[i].data, notes[i].len);
    }
    fsp_skey_free(rig);
    fsp_buf_fini(&text);
    fsp_buf_fini(&note);
}

static struct fsp_verdict
judge(struct fixture *fixture, const void *bytes, size_t len)
{
    struct fsp_answer answer = {.status = 200, .bytes = bytes, .len = len};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_verdict verdict;

    assert_ok(fsp_receipt_judge(fixture->journal, &answer, &verdict, &err), &err);
    return verdict;
}

static void
instructions_come_behind_a_receipt_and_never_stand_in_its_way(void **state)
{
    struct fixture *fixture = *state;
    const struct fsp_skey *cosigner = fixture->cosigner;
    struct fsp_verdict verdict;
    struct fsp_buf answer;
    struct fsp_buf notes[3];

    fixture_fill(fixture, 2);
    fsp_buf_init(&answer, FSP_NOTE_MAX);
    for (size_t i = 0; i < 3; i++)
        fsp_buf_init(&notes[i], FSP_NOTE_MAX);
    sign(fixture, &(struct wanted){.about = FSP_ABOUT_MESSAGE, .body = "a\n", .n = 1},
            &notes[0]);
    sign(fixture,
            &(struct wanted){
                    .rig = "plover", .about = FSP_ABOUT_MESSAGE, .body = "b\n", .n = 2},
            &notes[1]);
    sign(fixture, &(struct wanted){.about = FSP_ABOUT_MESSAGE, .body = "c\n", .n = 3},
            &notes[2]);
    make_answer(fixture, &cosigner, 1, notes, 3, &answer);
    /* Cut anywhere: never more than what was whole, and the receipt when it was whole. */
    for (size_t cut = 0; cut < answer.len; cut++) {
        uint8_t *copy = malloc(cut + 1);

        assert_non_null(copy);
        memcpy(copy, answer.data, cut);
        verdict = judge(fixture, copy, cut);
        assert_true(verdict.kind == FSP_VERDICT_TAKEN || verdict.kind == FSP_VERDICT_DELAY);
        assert_true(verdict.words + verdict.words_ignored <= 3);
        free(copy);
    }
    /* Its last byte was missing: the third alone is new. */
    assert_int_equal(fixture_size(fixture), 3);
    verdict = judge(fixture, answer.data, answer.len);
    assert_int_equal(verdict.kind, FSP_VERDICT_TAKEN);
    assert_int_equal(verdict.held, 2);
    assert_int_equal(verdict.words, 1);
    assert_int_equal(verdict.words_ignored, 1);
    assert_non_null(strstr(verdict.word_why, "another rig"));
    assert_int_equal(fixture_size(fixture), 4);
    verdict = judge(fixture, answer.data, answer.len);
    assert_int_equal(verdict.kind, FSP_VERDICT_TAKEN);
    assert_int_equal(verdict.words, 0);
    assert_int_equal(fixture_size(fixture), 4);
    for (size_t i = 0; i < 3; i++)
        fsp_buf_fini(&notes[i]);
    fsp_buf_fini(&answer);
}

static void
an_instruction_behind_a_doubtful_receipt_is_judged_on_its_own(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_skey *stranger =
            new_key(fixture, office_name(fixture, "office"), FSP_KEY_COSIGNER);
    const struct fsp_skey *cosigner = stranger;
    struct fsp_verdict verdict;
    struct fsp_buf answer;
    struct fsp_buf note;

    fixture_fill(fixture, 1);
    fsp_buf_init(&answer, FSP_NOTE_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    sign(fixture, &(struct wanted){.about = FSP_ABOUT_MESSAGE, .body = "a\n", .n = 1}, &note);
    make_answer(fixture, &cosigner, 1, &note, 1, &answer);
    verdict = judge(fixture, answer.data, answer.len);
    /* The receipt proves nothing; the instruction is verified on its own all the same. */
    assert_int_equal(verdict.kind, FSP_VERDICT_DELAY);
    assert_int_equal(verdict.words, 1);
    /* A file of answers that does not begin with a receipt. */
    fsp_buf_reset(&answer);
    fsp_answers_begin(&answer);
    fsp_answers_add_instruction(&answer, note.data, note.len);
    verdict = judge(fixture, answer.data, answer.len);
    assert_int_equal(verdict.kind, FSP_VERDICT_DELAY);
    assert_int_equal(verdict.words, 0);
    fsp_skey_free(stranger);
    fsp_buf_fini(&note);
    fsp_buf_fini(&answer);
}

static void
a_thousand_frames_add_each_instruction_once(void **state)
{
    struct fixture *fixture = *state;
    const struct fsp_skey *cosigner = fixture->cosigner;
    struct fsp_buf *notes = calloc(1000, sizeof(*notes));
    struct fsp_verdict verdict;
    struct fsp_buf answer;

    assert_non_null(notes);
    fixture_fill(fixture, 1);
    fsp_buf_init(&answer, (size_t)1024 * 1024);
    for (size_t i = 0; i < 1000; i++) {
        fsp_buf_init(&notes[i], FSP_NOTE_MAX);
        sign(fixture,
                &(struct wanted){
                        .about = FSP_ABOUT_MESSAGE, .body = "a\n", .n = (uint8_t)(i % 20)},
                &notes[i]);
    }
    make_answer(fixture, &cosigner, 1, notes, 1000, &answer);
    verdict = judge(fixture, answer.data, answer.len);
    assert_int_equal(verdict.kind, FSP_VERDICT_TAKEN);
    assert_int_equal(verdict.words, 20);
    assert_int_equal(verdict.words_ignored, 0);
    assert_int_equal(fixture_size(fixture), 21);
    for (size_t i = 0; i < 1000; i++)
        fsp_buf_fini(&notes[i]);
    free(notes);
    fsp_buf_fini(&answer);
}

/* The header of the bundle with everything from 0. */
static struct fsp_bundle_head
packed_head(struct fixture *fixture, const struct fsp_box_key *box)
{
    struct fsp_pack_want want = {.to = UINT64_MAX, .payload = 100000};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_bundle *bundle = NULL;
    struct fsp_bundle_head head;
    struct fsp_packed packed;
    struct fsp_skey *rig = NULL;

    fsp_packed_init(&packed);
    assert_ok(fsp_journal_key(fixture->journal, &rig, &err), &err);
    assert_ok(fsp_pack(fixture->journal, rig, &want, &packed, &err), &err);
    assert_ok(fsp_bundle_open(packed.bundle.data, packed.bundle.len, box, 1, &bundle, &err),
            &err);
    head = *fsp_bundle_peek_head(bundle);
    fsp_bundle_free(bundle);
    fsp_packed_fini(&packed);
    fsp_skey_free(rig);
    return head;
}

static void
a_bundle_names_the_newest_instruction_of_the_log(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_bundle_head head;

    fixture_fill(fixture, 1);
    assert_false(packed_head(fixture, &fixture->box).has_newest);
    (void)take(fixture, &(struct wanted){.about = FSP_ABOUT_MESSAGE, .body = "a\n", .n = 200});
    (void)take(fixture, &(struct wanted){.about = FSP_ABOUT_MESSAGE, .body = "b\n", .n = 3});
    head = packed_head(fixture, &fixture->box);
    assert_true(head.has_newest);
    assert_int_equal(head.newest[7], 3);
}

static void
a_log_that_is_not_sound_takes_none(void **state)
{
    struct fixture *fixture = *state;
    char path[256];
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_word word;

    fixture_fill(fixture, 1);
    (void)packed_head(fixture, &fixture->box);
    (void)snprintf(path, sizeof(path), "%s/signed-size", fixture->folder);
    assert_int_equal(remove(path), 0);
    fixture_reopen(fixture);
    assert_int_not_equal(fsp_journal_state(fixture->journal), FSP_JOURNAL_SOUND);
    word = take(fixture, &(struct wanted){.about = FSP_ABOUT_MESSAGE, .body = "a\n", .n = 1});
    assert_int_equal(word.outcome, FSP_WORD_IGNORED);
    assert_non_null(strstr(word.why, "history incomplete"));
    assert_int_equal(fixture_size(fixture), 1);
    (void)err;
}

/* ---- keys -------------------------------------------------------------------------------- */

static struct fsp_word
announce(struct fixture *fixture, const struct fsp_new_keys *keys, uint8_t n)
{
    struct fsp_word word;
    struct fsp_buf body;

    fsp_buf_init(&body, 4096);
    fsp_new_keys_write(keys, &body);
    word = take(fixture,
            &(struct wanted){.about = FSP_ABOUT_KEYS, .body = fsp_buf_peek(&body), .n = n});
    fsp_buf_fini(&body);
    return word;
}

static enum fsp_verdict_kind
receipt_by(struct fixture *fixture, const struct fsp_skey *const *cosigners, size_t n)
{
    struct fsp_verdict verdict;
    struct fsp_buf answer;

    fsp_buf_init(&answer, FSP_NOTE_MAX);
    make_answer(fixture, cosigners, n, NULL, 0, &answer);
    verdict = judge(fixture, answer.data, answer.len);
    fsp_buf_fini(&answer);
    return verdict.kind;
}

static void
a_cosigner_counts_from_the_instruction_on_that_names_it(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_skey *next = new_key(fixture, office_name(fixture, "office"), FSP_KEY_COSIGNER);
    const struct fsp_skey *both[2] = {fixture->cosigner, next};
    struct fsp_new_keys keys = {.has_cosigner = true, .cosigner = *fsp_skey_vkey(next)};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_range range;
    struct fsp_buf note;

    fixture_fill(fixture, 1);
    assert_int_equal(receipt_by(fixture, both + 1, 1), FSP_VERDICT_DELAY);
    assert_int_equal(receipt_by(fixture, both, 2), FSP_VERDICT_TAKEN);
    assert_int_equal(announce(fixture, &keys, 1).outcome, FSP_WORD_TAKEN);
    fixture_reopen(fixture);
    assert_int_equal(receipt_by(fixture, both + 1, 1), FSP_VERDICT_TAKEN);
    assert_int_equal(receipt_by(fixture, both, 1), FSP_VERDICT_TAKEN);
    fixture_fill(fixture, 1);
    assert_int_equal(receipt_by(fixture, both, 2), FSP_VERDICT_TAKEN);
    /* The stored head keeps the lines of both. */
    fsp_buf_init(&note, FSP_NOTE_MAX);
    assert_ok(fsp_logtable_head_below(
                      fsp_journal_db(fixture->journal), FSP_RIG_LOG, 3, &range, &note, &err),
            &err);
    for (size_t i = 0; i < 2; i++) {
        struct fsp_note parsed;

        assert_ok(fsp_note_parse(&parsed, note.data, note.len, &err), &err);
        assert_ok(fsp_note_verify(&parsed, fsp_skey_vkey(both[i]), NULL, &err), &err);
    }
    fsp_buf_fini(&note);
    fsp_skey_free(next);
}

static void
an_instructions_key_hands_over_to_the_next(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_skey *next =
            new_key(fixture, office_name(fixture, "instructions"), FSP_KEY_NOTE);
    struct fsp_skey *third =
            new_key(fixture, office_name(fixture, "instructions"), FSP_KEY_NOTE);
    struct fsp_new_keys keys = {.has_instructions = true, .instructions = *fsp_skey_vkey(next)};
    struct wanted by_next = {.about = FSP_ABOUT_MESSAGE, .body = "a\n", .by = next, .n = 1};
    struct wanted by_third = {.about = FSP_ABOUT_MESSAGE, .body = "b\n", .by = third, .n = 2};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_trust trust;

    assert_int_equal(take(fixture, &by_next).outcome, FSP_WORD_IGNORED);
    assert_int_equal(announce(fixture, &keys, 10).outcome, FSP_WORD_TAKEN);
    assert_int_equal(take(fixture, &by_next).outcome, FSP_WORD_TAKEN);
    assert_int_equal(take(fixture, &by_third).outcome, FSP_WORD_IGNORED);
    /* The old one still counts: what waits was signed by it. */
    assert_int_equal(
            take(fixture, &(struct wanted){.about = FSP_ABOUT_MESSAGE, .body = "c\n", .n = 4})
                    .outcome,
            FSP_WORD_TAKEN);
    assert_ok(fsp_trust_load(fixture->journal, &trust, &err), &err);
    assert_int_equal(trust.n_ever, 2);
    assert_true(fsp_vkey_equal(&trust.ever[0], fsp_skey_vkey(fixture->instructions)));
    assert_true(fsp_vkey_equal(&trust.ever[1], fsp_skey_vkey(next)));
    fsp_skey_free(next);
    fsp_skey_free(third);
}

static void
bundles_are_sealed_for_the_new_box_key(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_new_keys keys = {.has_box = true};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_box_key box;

    assert_ok(fsp_box_key_make(&box, &fixture->env, &err), &err);
    memcpy(keys.box_pub, box.pub, sizeof(keys.box_pub));
    assert_int_equal(announce(fixture, &keys, 1).outcome, FSP_WORD_TAKEN);
    assert_true(packed_head(fixture, &box).has_newest);
}

static void
keys_of_another_fleet_in_an_instruction_change_nothing(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_skey *foreign = new_key(fixture, "other-fleet/office", FSP_KEY_COSIGNER);
    struct fsp_new_keys keys = {.has_cosigner = true, .cosigner = *fsp_skey_vkey(foreign)};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_trust trust;

    assert_int_equal(announce(fixture, &keys, 1).outcome, FSP_WORD_TAKEN);
    assert_ok(fsp_trust_load(fixture->journal, &trust, &err), &err);
    assert_int_equal(trust.n_cosigners, 1);
    fsp_skey_free(foreign);
}

static void
a_new_invitation_ends_the_older_keys(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_skey *next = new_key(fixture, office_name(fixture, "office"), FSP_KEY_COSIGNER);
    struct fsp_skey *speaks =
            new_key(fixture, office_name(fixture, "instructions"), FSP_KEY_NOTE);
    const struct fsp_skey *both[2] = {fixture->cosigner, next};
    struct fsp_invitation invitation = fixture->invitation;
    struct fsp_db *db = fsp_journal_db(fixture->journal);
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_trust trust;

    fixture_fill(fixture, 1);
    invitation.cosigner = *fsp_skey_vkey(next);
    invitation.instructions = *fsp_skey_vkey(speaks);
    assert_ok(fsp_db_begin(db, &err), &err);
    assert_ok(fsp_trust_invited(fixture->journal, &invitation, &err), &err);
    assert_ok(fsp_db_commit(db, &err), &err);
    assert_int_equal(receipt_by(fixture, both, 1), FSP_VERDICT_DELAY);
    assert_int_equal(receipt_by(fixture, both + 1, 1), FSP_VERDICT_TAKEN);
    assert_int_equal(
            take(fixture, &(struct wanted){.about = FSP_ABOUT_MESSAGE, .body = "a\n", .n = 1})
                    .outcome,
            FSP_WORD_IGNORED);
    assert_ok(fsp_trust_load(fixture->journal, &trust, &err), &err);
    assert_int_equal(trust.n_instructions, 1);
    assert_int_equal(trust.n_ever, 2); /* what is in the log stays good */
    fsp_skey_free(next);
    fsp_skey_free(speaks);
}

/* ---- answering --------------------------------------------------------------------------- */

static void
enter(struct fixture *fixture, const char *kind, const struct fsp_typed *members, size_t n)
{
    struct fsp_check_context context;
    struct fsp_record *record = NULL;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_journal_context(fixture->journal, &context, &err), &err);
    assert_ok(fsp_check_typed(kind, members, n, &context, &record, &err), &err);
    assert_ok(fsp_journal_enter(fixture->journal, record, NULL, false, &added, &err), &err);
    fsp_record_free(record);
}

/* Which of the instructions wait, as a text of their bodies' first letters. */
static const char *
that_wait(struct fixture *fixture)
{
    static char letters[32];
    struct fsp_word_entry entry = {.ordinal = -1};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf buf;
    size_t n = 0;

    fsp_buf_init(&buf, FSP_NOTE_MAX);
    while (fsp_word_next(fixture->journal, &entry, &buf, &err) == FSP_OK)
        if (entry.waits && n + 1 < sizeof(letters))
            letters[n++] = entry.instruction.body[0];
    assert_int_equal(err.rc, FSP_ENOTFOUND);
    letters[n] = '\0';
    fsp_buf_fini(&buf);
    return letters;
}

static void
instructions_wait_until_they_are_answered(void **state)
{
    struct fixture *fixture = *state;
    static const char program[] =
            "{\"cut\":\"90 ft\",\"first-goal\":\"1500 ton-mile\",\"later-goal\":"
            "\"1400 ton-mile\"}\n";
    const struct fsp_typed done[] = {{"at", "2026-03-01T00:00:00Z"}, {"by", "driller"},
            {"entry", "1"}, {"answer", "looked at it"}};
    const struct fsp_typed entered[] = {{"at", "2026-03-01T00:00:00Z"}, {"by", "driller"},
            {"cut", "90 ft"}, {"first-goal", "1500 ton-mile"}, {"later-goal", "1400 ton-mile"},
            {"instruction", "2"}};

    (void)take(fixture, &(struct wanted){.about = FSP_ABOUT_ROSTER, .body = "r\n", .n = 1});
    (void)take(fixture, &(struct wanted){.about = FSP_ABOUT_MESSAGE, .body = "m\n", .n = 2});
    (void)take(fixture, &(struct wanted){.about = FSP_ABOUT_PROGRAM, .body = program, .n = 3});
    assert_string_equal(that_wait(fixture), "m{");
    enter(fixture, "done", done, 4);
    assert_string_equal(that_wait(fixture), "{");
    enter(fixture, "program", entered, 6);
    assert_string_equal(that_wait(fixture), "");
    fixture_reopen(fixture);
    assert_string_equal(that_wait(fixture), "");
}

static void
a_program_is_proposed_as_a_command_that_a_shell_takes(void **state)
{
    static const struct {
        const char *body;
        const char *command; /* NULL: refused */
    } rows[] = {
            {"{\"cut\":\"90 ft\",\"slips\":3}\n",
                    "farspool-rig enter program at=TIME by=NAME cut='90 ft' slips=3 "
                    "instruction=7"},
            {"{\"approved\":\"O'Hara; rm -rf $(x) `y` \\\\ \\\"z\\\"\",\"cut\":\"27m\"}\n",
                    "farspool-rig enter program at=TIME by=NAME approved='O'\\''Hara; rm -rf "
                    "$(x) `y` \\ \"z\"' cut=27m instruction=7"},
            {"{\"curve\":[{\"factor\":\"5\",\"service\":\"1\"},{\"factor\":\"3,}\",\"service\":"
             "\"0.6\"}],\"cut\":\"27m\"}\n",
                    "farspool-rig enter program at=TIME by=NAME curve='[{\"factor\":\"5\","
                    "\"service\":\"1\"},{\"factor\":\"3,}\",\"service\":\"0.6\"}]' cut=27m "
                    "instruction=7"},
            {"{\"cut\": \"27m\"}\n", NULL},
            {"cut=27m\n", NULL},
            {"{}\n{}\n", NULL},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_instruction instruction = {.about = FSP_ABOUT_PROGRAM,
                .body = rows[i].body,
                .body_len = strlen(rows[i].body)};
        struct fsp_err err = {.rc = FSP_OK};
        struct fsp_buf out;
        enum fsp_rc rc;

        fsp_buf_init(&out, FSP_ENTRY_MAX);
        rc = fsp_word_program_command(&instruction, "7", &out, &err);
        if (rows[i].command == NULL)
            assert_int_equal(rc, FSP_EFORMAT);
        else
            assert_string_equal(fsp_buf_peek(&out), rows[i].command);
        fsp_buf_fini(&out);
    }
}

int
main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, fixture_setup, fixture_teardown)
    const struct CMUnitTest tests[] = {
            T(an_instruction_becomes_one_entry_however_often_it_comes),
            T(what_does_not_hold_is_ignored_and_says_why),
            T(instructions_come_behind_a_receipt_and_never_stand_in_its_way),
            T(an_instruction_behind_a_doubtful_receipt_is_judged_on_its_own),
            T(a_thousand_frames_add_each_instruction_once),
            T(a_bundle_names_the_newest_instruction_of_the_log),
            T(a_log_that_is_not_sound_takes_none),
            T(a_cosigner_counts_from_the_instruction_on_that_names_it),
            T(an_instructions_key_hands_over_to_the_next),
            T(bundles_are_sealed_for_the_new_box_key),
            T(keys_of_another_fleet_in_an_instruction_change_nothing),
            T(a_new_invitation_ends_the_older_keys),
            T(instructions_wait_until_they_are_answered),
            T(a_program_is_proposed_as_a_command_that_a_shell_takes),
    };

    return cmocka_run_group_tests_name("word", tests, NULL, NULL);
}
