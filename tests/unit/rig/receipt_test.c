#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "proof/note.h"
#include "rig/knows.h"
#include "rig/pack.h"
#include "rig/receipt.h"
#include "store/logtable.h"
#include "unit/rig/rig_fixture.h"
#include "wire/answer.h"
#include "wire/dictionary.h"

/* What the office would do with a bundle, by the wire's public functions. */
struct office {
    struct fsp_buf answer;
    struct fsp_packed packed;
    struct fsp_skey *rig; /* the rig's key, to make heads it never signed here */
};

static void
office_init(struct office *office, struct fixture *fixture)
{
    struct fsp_err err = {.rc = FSP_OK};

    fsp_buf_init(&office->answer, FSP_NOTE_MAX);
    fsp_packed_init(&office->packed);
    assert_ok(fsp_journal_key(fixture->journal, &office->rig, &err), &err);
}

static void
office_fini(struct office *office)
{
    fsp_buf_fini(&office->answer);
    fsp_packed_fini(&office->packed);
    fsp_skey_free(office->rig);
}

static void
pack(struct fixture *fixture, struct office *office, uint64_t old, size_t payload)
{
    struct fsp_pack_want want = {.old = old, .to = UINT64_MAX, .payload = payload};
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_pack(fixture->journal, office->rig, &want, &office->packed, &err), &err);
}

static void
open_bundle(struct fixture *fixture, struct office *office, struct fsp_bundle **bundle)
{
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_bundle_open(office->packed.bundle.data, office->packed.bundle.len,
                      &fixture->box, 1, bundle, &err),
            &err);
}

/* A cosigned note over this head, signed by `rig`. */
static void
cosign(struct fixture *fixture, struct office *office, const struct fsp_checkpoint *head,
        const struct fsp_skey *rig, uint64_t time_s)
{
    struct fsp_err err = {.rc = FSP_OK};
    uint8_t cosignature[8 + FSP_SIG_LEN];
    struct fsp_buf text;

    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_checkpoint_write(head, &text);
    fsp_buf_reset(&office->answer);
    assert_ok(fsp_note_sign(&office->answer, text.data, text.len, rig, &err), &err);
    assert_ok(fsp_cosign(head, fixture->cosigner, time_s, cosignature, &err), &err);
    fsp_note_add_line(&office->answer, fsp_skey_vkey(fixture->cosigner), cosignature,
            sizeof(cosignature));
    fsp_buf_fini(&text);
}

static void
cosign_bundle(struct fixture *fixture, struct office *office, uint64_t time_s)
{
    struct fsp_bundle *bundle = NULL;

    open_bundle(fixture, office, &bundle);
    cosign(fixture, office, &fsp_bundle_peek_head(bundle)->head, office->rig, time_s);
    fsp_bundle_free(bundle);
}

static struct fsp_verdict
judge(struct fixture *fixture, struct office *office, long status, bool by_link)
{
    struct fsp_answer answer = {.status = status,
            .bytes = fsp_buf_peek(&office->answer),
            .len = office->answer.len,
            .sent = by_link ? &office->packed : NULL};
    struct fsp_verdict verdict;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_receipt_judge(fixture->journal, &answer, &verdict, &err), &err);
    return verdict;
}

static struct fsp_journal_progress
progress_of(struct fixture *fixture)
{
    struct fsp_journal_progress progress;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_journal_progress(fixture->journal, &progress, &err), &err);
    return progress;
}

static void
refuse(struct fixture *fixture, struct office *office, int status, uint64_t size,
        const struct fsp_buf *held)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_refusal refusal = {.status = status, .size = size};

    memcpy(refusal.bundle, office->packed.hash, sizeof(refusal.bundle));
    (void)snprintf(refusal.origin, sizeof(refusal.origin), "%s",
            fsp_journal_about(fixture->journal)->origin);
    if (held != NULL) {
        refusal.held = fsp_buf_peek(held);
        refusal.held_len = held->len;
    }
    fsp_buf_reset(&office->answer);
    assert_ok(fsp_refusal_sign(&office->answer, &refusal, fixture->instructions, &err), &err);
}

/* A head signed by `rig` over any size and root. */
static void
sign_head(struct fixture *fixture, const struct fsp_skey *rig, uint64_t size, uint8_t fill,
        struct fsp_buf *note)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_checkpoint head = {.size = size};
    struct fsp_buf text;

    (void)snprintf(head.origin, sizeof(head.origin), "%s",
            fsp_journal_about(fixture->journal)->origin);
    memset(head.root, fill, sizeof(head.root));
    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_checkpoint_write(&head, &text);
    assert_ok(fsp_note_sign(note, text.data, text.len, rig, &err), &err);
    fsp_buf_fini(&text);
}

/* ---- bundles ----------------------------------------------------------------------------- */

static void
a_bundle_opens_to_exactly_the_stored_entries_under_our_signature(void **state)
{
    struct fixture *fixture = *state;
    const struct fsp_journal_about *about = fsp_journal_about(fixture->journal);
    const struct fsp_entry_bytes *entries;
    struct fsp_bundle *bundle = NULL;
    struct office office;
    struct fsp_range range;
    uint8_t root[FSP_HASH_LEN];
    size_t n;

    office_init(&office, fixture);
    fixture_fill(fixture, 12);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    open_bundle(fixture, &office, &bundle);
    entries = fsp_bundle_peek_entries(bundle, &n);
    assert_int_equal(n, 12);
    fsp_range_init(&range);
    for (size_t i = 0; i < n; i++)
        fsp_range_append(&range, entries[i].bytes, entries[i].len);
    fsp_range_root(&range, root);
    assert_memory_equal(root, fsp_bundle_peek_head(bundle)->head.root, sizeof(root));
    assert_true(fsp_bundle_peek_head(bundle)->enrolment);
    assert_memory_equal(fsp_bundle_peek_head(bundle)->rig_pub, about->vkey.pub, 32);
    assert_memory_equal(fsp_bundle_peek_head(bundle)->token, about->token, FSP_TOKEN_LEN);
    fsp_bundle_free(bundle);
    office_fini(&office);
}

static void
a_small_payload_still_carries_one_record_and_a_large_one_all(void **state)
{
    struct fixture *fixture = *state;
    struct office office;
    uint64_t old = 0;
    size_t bundles = 0;

    office_init(&office, fixture);
    fixture_fill(fixture, 60);
    pack(fixture, &office, 0, 1);
    assert_int_equal(office.packed.size, 1);
    while (old < 60) {
        pack(fixture, &office, old, 200);
        assert_int_equal(office.packed.old_size, old);
        assert_true(office.packed.size > old);
        old = office.packed.size;
        bundles++;
    }
    assert_true(bundles > 1 && bundles < 30);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    assert_int_equal(office.packed.size, 60);
    office_fini(&office);
}

/* ---- receipts ----------------------------------------------------------------------------- */

static void
a_receipt_moves_the_office_up_and_ends_enrolment(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_progress progress;
    struct fsp_bundle *bundle = NULL;
    struct fsp_verdict verdict;
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 4);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    cosign_bundle(fixture, &office, (uint64_t)FIXTURE_NOW_S + 9);
    verdict = judge(fixture, &office, 200, true);
    assert_int_equal(verdict.kind, FSP_VERDICT_TAKEN);
    assert_int_equal(verdict.held, 4);
    fixture_reopen(fixture);
    progress = progress_of(fixture);
    assert_int_equal(progress.held, 4);
    assert_true(progress.receipted);
    assert_int_equal(progress.receipt_time_s, FIXTURE_NOW_S + 9);
    assert_false(progress.has_oldest);
    fixture_fill(fixture, 1);
    pack(fixture, &office, 4, FSP_PACK_PAYLOAD_MOST);
    open_bundle(fixture, &office, &bundle);
    assert_false(fsp_bundle_peek_head(bundle)->enrolment);
    fsp_bundle_free(bundle);
    office_fini(&office);
}

static void
the_same_receipt_again_changes_nothing(void **state)
{
    struct fixture *fixture = *state;
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 4);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    cosign_bundle(fixture, &office, 5);
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_TAKEN);
    assert_int_equal(judge(fixture, &office, 200, false).kind, FSP_VERDICT_TAKEN);
    assert_int_equal(progress_of(fixture).held, 4);
    office_fini(&office);
}

static void
an_old_receipt_by_courier_does_not_take_the_office_back(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_buf old;
    struct office office;

    office_init(&office, fixture);
    fsp_buf_init(&old, FSP_NOTE_MAX);
    fixture_fill(fixture, 2);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    cosign_bundle(fixture, &office, 5);
    fsp_buf_add(&old, office.answer.data, office.answer.len);
    fixture_fill(fixture, 2);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    cosign_bundle(fixture, &office, 6);
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_TAKEN);
    fsp_buf_reset(&office.answer);
    fsp_buf_add(&office.answer, old.data, old.len);
    assert_int_equal(judge(fixture, &office, 200, false).kind, FSP_VERDICT_TAKEN);
    assert_int_equal(progress_of(fixture).held, 4);
    /* Over the link it did not answer what was sent. */
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_DELAY);
    fsp_buf_fini(&old);
    office_fini(&office);
}

static void
every_flipped_byte_of_a_receipt_only_delays(void **state)
{
    struct fixture *fixture = *state;
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 3);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    cosign_bundle(fixture, &office, 5);
    for (size_t i = 0; i < office.answer.len; i++) {
        office.answer.data[i] ^= 1;
        assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_DELAY);
        office.answer.data[i] ^= 1;
    }
    assert_int_equal(progress_of(fixture).held, 0);
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_TAKEN);
    office_fini(&office);
}

static void
a_receipt_without_our_signature_only_delays(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_bundle *bundle = NULL;
    struct fsp_skey *stranger = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 3);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    assert_ok(fsp_skey_new(&stranger, fsp_journal_about(fixture->journal)->origin, FSP_KEY_NOTE,
                      &fixture->env, &err),
            &err);
    open_bundle(fixture, &office, &bundle);
    cosign(fixture, &office, &fsp_bundle_peek_head(bundle)->head, stranger, 5);
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_DELAY);
    fsp_bundle_free(bundle);
    fsp_skey_free(stranger);
    office_fini(&office);
}

static void
unsigned_answers_only_delay(void **state)
{
    static const struct {
        long status;
        enum fsp_verdict_kind kind;
    } rows[] = {
            {200, FSP_VERDICT_DELAY},
            {204, FSP_VERDICT_REFUSED},
            {301, FSP_VERDICT_DELAY},
            {302, FSP_VERDICT_DELAY},
            {400, FSP_VERDICT_REFUSED},
            {403, FSP_VERDICT_REFUSED},
            {404, FSP_VERDICT_REFUSED},
            {408, FSP_VERDICT_DELAY},
            {409, FSP_VERDICT_DELAY},
            {413, FSP_VERDICT_TOO_LARGE},
            {422, FSP_VERDICT_DELAY},
            {429, FSP_VERDICT_DELAY},
            {500, FSP_VERDICT_DELAY},
            {503, FSP_VERDICT_DELAY},
            {599, FSP_VERDICT_DELAY},
            {999, FSP_VERDICT_REFUSED},
    };
    struct fixture *fixture = *state;
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 1);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    fsp_buf_add_text(
            &office.answer, "<html><body>Welcome to the lodge's network</body></html>");
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_verdict verdict = judge(fixture, &office, rows[i].status, true);

        assert_int_equal(verdict.kind, rows[i].kind);
        assert_true(verdict.why[0] != '\0');
    }
    assert_int_equal(fsp_journal_state(fixture->journal), FSP_JOURNAL_SOUND);
    office_fini(&office);
}

/* ---- 409 --------------------------------------------------------------------------------- */

static void
a_fresh_409_goes_back_and_is_flagged_and_a_stale_one_is_not_heard(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_verdict verdict;
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 6);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    cosign_bundle(fixture, &office, 5);
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_TAKEN);
    fixture_fill(fixture, 1);
    pack(fixture, &office, 6, FSP_PACK_PAYLOAD_MOST);

    office.packed.hash[0] ^= 1;
    refuse(fixture, &office, 409, 2, NULL);
    office.packed.hash[0] ^= 1;
    assert_int_equal(judge(fixture, &office, 409, true).kind, FSP_VERDICT_DELAY);
    assert_int_equal(progress_of(fixture).held, 6);

    refuse(fixture, &office, 409, 2, NULL);
    /* By courier it is fresh only when such a bundle was handed to one. */
    assert_int_equal(judge(fixture, &office, 409, false).kind, FSP_VERDICT_DELAY);
    verdict = judge(fixture, &office, 409, true);
    assert_int_equal(verdict.kind, FSP_VERDICT_GAP);
    assert_int_equal(verdict.held, 2);
    assert_true(verdict.went_back);
    assert_int_equal(progress_of(fixture).held, 2);
    assert_true(progress_of(fixture).went_back);

    /* Refilled: the flag goes. */
    pack(fixture, &office, 2, FSP_PACK_PAYLOAD_MOST);
    cosign_bundle(fixture, &office, 7);
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_TAKEN);
    assert_int_equal(progress_of(fixture).held, 7);
    assert_false(progress_of(fixture).went_back);
    office_fini(&office);
}

static void
a_couriers_409_is_fresh_when_its_bundle_was_carried(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_err err = {.rc = FSP_OK};
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 6);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    cosign_bundle(fixture, &office, 5);
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_TAKEN);
    fixture_fill(fixture, 1);
    pack(fixture, &office, 6, FSP_PACK_PAYLOAD_MOST);
    assert_ok(fsp_receipt_sent(fixture->journal, office.packed.hash, 6, 7, &err), &err);
    refuse(fixture, &office, 409, 0, NULL);
    assert_int_equal(judge(fixture, &office, 409, false).kind, FSP_VERDICT_GAP);
    assert_int_equal(progress_of(fixture).held, 0);
    office_fini(&office);
}

static void
a_409_never_moves_the_office_up(void **state)
{
    struct fixture *fixture = *state;
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 6);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    refuse(fixture, &office, 409, 5, NULL);
    assert_int_equal(judge(fixture, &office, 409, true).kind, FSP_VERDICT_DELAY);
    refuse(fixture, &office, 409, 99, NULL);
    assert_int_equal(judge(fixture, &office, 409, true).kind, FSP_VERDICT_DELAY);
    assert_int_equal(progress_of(fixture).held, 0);
    office_fini(&office);
}

static void
a_refusal_for_another_status_or_log_is_not_heard(void **state)
{
    struct fixture *fixture = *state;
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 2);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    refuse(fixture, &office, 409, 0, NULL);
    assert_int_equal(judge(fixture, &office, 422, true).kind, FSP_VERDICT_DELAY);
    for (size_t i = 0; i < office.answer.len; i++) {
        office.answer.data[i] ^= 1;
        assert_int_equal(judge(fixture, &office, 409, true).kind, FSP_VERDICT_DELAY);
        office.answer.data[i] ^= 1;
    }
    office_fini(&office);
}

/* ---- 422 and forks ------------------------------------------------------------------------ */

static void
a_422_with_our_contradicting_head_is_a_fork_and_is_kept(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_pack_want want = {.to = UINT64_MAX, .payload = 1000};
    struct fsp_packed again;
    struct fsp_err err = {.rc = FSP_OK};
    struct office office;
    struct fsp_buf held;

    office_init(&office, fixture);
    fsp_buf_init(&held, FSP_NOTE_MAX);
    fixture_fill(fixture, 5);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    sign_head(fixture, office.rig, 3, 0x55, &held);
    refuse(fixture, &office, 422, 3, &held);
    assert_int_equal(judge(fixture, &office, 422, true).kind, FSP_VERDICT_CONTRADICT);
    assert_int_equal(fsp_journal_state(fixture->journal), FSP_JOURNAL_FORKED);
    fixture_reopen(fixture);
    assert_int_equal(fsp_journal_state(fixture->journal), FSP_JOURNAL_FORKED);
    fsp_packed_init(&again);
    assert_int_equal(fsp_pack(fixture->journal, office.rig, &want, &again, &err), FSP_EFORK);
    fsp_packed_fini(&again);
    fsp_buf_fini(&held);
    office_fini(&office);
}

static void
a_422_with_a_strangers_or_an_agreeing_head_stops_nothing(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_skey *stranger = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    struct office office;
    struct fsp_range range;
    struct fsp_buf held;

    office_init(&office, fixture);
    fsp_buf_init(&held, FSP_NOTE_MAX);
    fixture_fill(fixture, 5);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    assert_ok(fsp_skey_new(&stranger, fsp_journal_about(fixture->journal)->origin, FSP_KEY_NOTE,
                      &fixture->env, &err),
            &err);
    sign_head(fixture, stranger, 3, 0x55, &held);
    refuse(fixture, &office, 422, 3, &held);
    assert_int_equal(judge(fixture, &office, 422, true).kind, FSP_VERDICT_DELAY);
    fsp_buf_reset(&held);
    assert_ok(fsp_logtable_head_below(
                      fsp_journal_db(fixture->journal), FSP_RIG_LOG, 5, &range, &held, &err),
            &err);
    refuse(fixture, &office, 422, 5, &held);
    assert_int_equal(judge(fixture, &office, 422, true).kind, FSP_VERDICT_REFUSED);
    refuse(fixture, &office, 422, 5, NULL);
    assert_int_equal(judge(fixture, &office, 422, true).kind, FSP_VERDICT_REFUSED);
    assert_int_equal(fsp_journal_state(fixture->journal), FSP_JOURNAL_SOUND);
    fsp_skey_free(stranger);
    fsp_buf_fini(&held);
    office_fini(&office);
}

static void
a_receipt_for_more_than_is_stored_means_a_restored_copy(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_checkpoint head = {.size = 50};
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_record *record;
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 5);
    pack(fixture, &office, 0, FSP_PACK_PAYLOAD_MOST);
    (void)snprintf(head.origin, sizeof(head.origin), "%s",
            fsp_journal_about(fixture->journal)->origin);
    cosign(fixture, &office, &head, office.rig, 5);
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_CONTRADICT);
    assert_int_equal(fsp_journal_state(fixture->journal), FSP_JOURNAL_RESTORED);
    record = fixture_record(fixture, 80, "4000ft");
    assert_int_equal(
            fsp_journal_enter(fixture->journal, record, NULL, false, &added, &err), FSP_EFORK);
    fsp_record_free(record);
    office_fini(&office);
}

/* ---- what the office knows ---------------------------------------------------------------- */

/* The receipt as the office sends it to a rig that it thinks was not told. */
static void
tell(struct fixture *fixture, struct office *office, uint64_t time_s)
{
    struct fsp_buf note;

    cosign_bundle(fixture, office, time_s);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    fsp_buf_add(&note, office->answer.data, office->answer.len);
    fsp_buf_reset(&office->answer);
    fsp_answers_begin(&office->answer);
    fsp_answers_add(&office->answer, 200, note.data, note.len);
    fsp_answers_add_knows(&office->answer);
    fsp_buf_fini(&note);
}

/* Dictionary and short flag of the next bundle, online or by courier. */
static void
assert_form(struct fixture *fixture, struct office *office, bool online, unsigned dictionary,
        bool short_receipt)
{
    struct fsp_pack_want want = {
            .old = 0, .to = UINT64_MAX, .payload = 10000, .online = online};
    struct fsp_bundle *bundle = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_pack(fixture->journal, office->rig, &want, &office->packed, &err), &err);
    open_bundle(fixture, office, &bundle);
    assert_int_equal(fsp_bundle_peek_head(bundle)->dictionary, dictionary);
    assert_int_equal(fsp_bundle_peek_head(bundle)->short_receipt, short_receipt);
    fsp_bundle_free(bundle);
}

static void
what_the_office_knows_is_used_until_a_400_and_couriers_get_whole_receipts(void **state)
{
    struct fixture *fixture = *state;
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 3);
    assert_form(fixture, &office, true, FSP_DICTIONARY_FIRST, false);
    tell(fixture, &office, (uint64_t)FIXTURE_NOW_S + 9);
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_TAKEN);
    assert_form(fixture, &office, false, FSP_DICTIONARY_NEWEST, false);
    assert_form(fixture, &office, true, FSP_DICTIONARY_NEWEST, true);
    fsp_buf_reset(&office.answer);
    assert_int_equal(judge(fixture, &office, 400, true).kind, FSP_VERDICT_DELAY);
    assert_form(fixture, &office, true, FSP_DICTIONARY_FIRST, false);
    assert_int_equal(judge(fixture, &office, 400, true).kind, FSP_VERDICT_REFUSED);
    office_fini(&office);
}

/* Unsigned words are heard only with a receipt that holds, and never beyond what this program knows. */
static void
what_an_office_says_it_knows_counts_only_with_its_receipt(void **state)
{
    static const char later[] = "farspool-answers/v1\n"
                                "knows 27\nmore to come\ndictionary 99\n"
                                "knows 13\ndictionary x\n";
    struct fixture *fixture = *state;
    struct fsp_office_knows knows;
    struct fsp_err err = {.rc = FSP_OK};
    struct office office;

    office_init(&office, fixture);
    fixture_fill(fixture, 3);
    pack(fixture, &office, 0, 10000);
    tell(fixture, &office, (uint64_t)FIXTURE_NOW_S + 9);
    office.answer.data[office.answer.len / 2] ^= 1;
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_DELAY);
    assert_form(fixture, &office, true, FSP_DICTIONARY_FIRST, false);
    assert_ok(fsp_knows_hear(fixture->journal, later, sizeof(later) - 1, &err), &err);
    assert_ok(fsp_knows_read(fixture->journal, &knows, &err), &err);
    assert_int_equal(knows.dictionary, FSP_DICTIONARY_NEWEST);
    assert_false(knows.short_receipt);
    office_fini(&office);
}

/* Leave of the receipt what stands behind the head and its line. */
static void
shorten(struct office *office)
{
    const char *text = fsp_buf_peek(&office->answer);
    const char *last = text + office->answer.len - 1;
    size_t len;

    while (last[-1] != '\n')
        last--;
    len = office->answer.len - (size_t)(last - text);
    memmove(office->answer.data, last, len);
    office->answer.len = len;
}

static void
a_short_receipt_counts_for_the_head_just_sent_and_no_other(void **state)
{
    struct fixture *fixture = *state;
    struct office office;
    struct office other;

    office_init(&office, fixture);
    office_init(&other, fixture);
    fixture_fill(fixture, 3);
    pack(fixture, &other, 0, 10000);
    fixture_fill(fixture, 2);
    pack(fixture, &office, 0, 10000);
    cosign_bundle(fixture, &other, (uint64_t)FIXTURE_NOW_S + 9);
    shorten(&other);
    fsp_buf_reset(&office.answer);
    fsp_buf_add(&office.answer, other.answer.data, other.answer.len);
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_DELAY);
    assert_int_equal(progress_of(fixture).held, 0);
    cosign_bundle(fixture, &office, (uint64_t)FIXTURE_NOW_S + 10);
    shorten(&office);
    assert_int_equal(judge(fixture, &office, 200, false).kind, FSP_VERDICT_DELAY);
    assert_int_equal(progress_of(fixture).held, 0);
    for (size_t i = 0; i < office.answer.len; i += 7) {
        office.answer.data[i] ^= 1;
        assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_DELAY);
        office.answer.data[i] ^= 1;
    }
    assert_int_equal(judge(fixture, &office, 200, true).kind, FSP_VERDICT_TAKEN);
    assert_int_equal(progress_of(fixture).held, 5);
    assert_true(progress_of(fixture).receipted);
    office_fini(&other);
    office_fini(&office);
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)

int
main(void)
{
    const struct CMUnitTest tests[] = {
            CASE(a_bundle_opens_to_exactly_the_stored_entries_under_our_signature),
            CASE(a_small_payload_still_carries_one_record_and_a_large_one_all),
            CASE(a_receipt_moves_the_office_up_and_ends_enrolment),
            CASE(the_same_receipt_again_changes_nothing),
            CASE(an_old_receipt_by_courier_does_not_take_the_office_back),
            CASE(every_flipped_byte_of_a_receipt_only_delays),
            CASE(a_receipt_without_our_signature_only_delays),
            CASE(unsigned_answers_only_delay),
            CASE(a_fresh_409_goes_back_and_is_flagged_and_a_stale_one_is_not_heard),
            CASE(a_couriers_409_is_fresh_when_its_bundle_was_carried),
            CASE(a_409_never_moves_the_office_up),
            CASE(a_refusal_for_another_status_or_log_is_not_heard),
            CASE(a_422_with_our_contradicting_head_is_a_fork_and_is_kept),
            CASE(a_422_with_a_strangers_or_an_agreeing_head_stops_nothing),
            CASE(what_the_office_knows_is_used_until_a_400_and_couriers_get_whole_receipts),
            CASE(what_an_office_says_it_knows_counts_only_with_its_receipt),
            CASE(a_short_receipt_counts_for_the_head_just_sent_and_no_other),
            CASE(a_receipt_for_more_than_is_stored_means_a_restored_copy),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
