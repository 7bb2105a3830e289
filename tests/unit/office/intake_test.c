#include "office_support.h"

#include <stdlib.h>
#include <string.h>

#include "office/check.h"
#include "office/fleet.h"
#include "wire/dictionary.h"

#define ALL(rig) ((const uint64_t[2]){0, (rig)->n})

static struct fsp_buf
new_answer(void)
{
    struct fsp_buf answer;

    fsp_buf_init(&answer, FSP_NOTE_MAX);
    return answer;
}

static void
a_first_bundle_enrols_and_is_receipted(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_buf answer = new_answer();
    uint64_t time_s = 0;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 7);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, &answer), 200);
    assert_int_equal(receipt_size(&answer, &rig, &office, &time_s), 7);
    assert_int_equal(time_s, START_S);
    assert_int_equal(office_size(&office, &rig), 7);
    fsp_buf_fini(&answer);
    rig_stop(&rig);
    office_stop(&office);
}

static void
the_same_bundle_again_gets_the_same_receipt(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_buf first = new_answer();
    struct fsp_buf again = new_answer();

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 3);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, &first), 200); /* answer lost */
    office.now_us += 3600 * FSP_US_PER_S;
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, &again), 200);
    assert_int_equal(first.len, again.len);
    assert_memory_equal(first.data, again.data, first.len);
    fsp_buf_fini(&first);
    fsp_buf_fini(&again);
    rig_stop(&rig);
    office_stop(&office);
}

static void
overlaps_are_taken_once_whatever_the_order(void **state)
{
    static const struct {
        uint64_t within[2];
        uint64_t receipt; /* size of the head in the answer */
    } rows[] = {
            {{0, 4}, 4},
            {{2, 6}, 6},   /* overlaps */
            {{6, 10}, 10}, /* follows */
            {{0, 10}, 10}, /* wholly known */
            {{3, 5}, 10},  /* inside: the newest head comes along */
            {{0, 4}, 10},
            {{5, 12}, 12},
            {{12, 12}, 12}, /* nothing in it */
            {{0, 20}, 20},
    };
    struct office office;
    struct rig rig;
    struct fsp_buf answer = new_answer();

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 20);
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        assert_int_equal(rig_send(&rig, &office, rows[i].within, i == 0, &answer), 200);
        assert_int_equal(receipt_size(&answer, &rig, &office, NULL), rows[i].receipt);
        assert_int_equal(office_size(&office, &rig), rows[i].receipt);
    }
    fsp_buf_fini(&answer);
    rig_stop(&rig);
    office_stop(&office);
}

static void
an_empty_log_is_enrolled_and_receipted(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_buf answer = new_answer();

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, &answer), 200);
    assert_int_equal(receipt_size(&answer, &rig, &office, NULL), 0);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), false, &answer), 200);
    rig_add_many(&rig, 2);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), false, &answer), 200);
    assert_int_equal(receipt_size(&answer, &rig, &office, NULL), 2);
    fsp_buf_fini(&answer);
    rig_stop(&rig);
    office_stop(&office);
}

/* A signed refusal must verify, name this bundle's origin, and show what is held. */
static void
check_refusal(const struct fsp_buf *answer, const struct office *office, const struct rig *rig,
        int status, struct fsp_refusal *refusal)
{
    struct fsp_err err = {0};

    assert_ok(fsp_refusal_read(refusal, answer->data, answer->len,
                      fsp_skey_vkey(office->keys.instructions), &err),
            &err);
    assert_int_equal(refusal->status, status);
    assert_string_equal(refusal->origin, rig->origin);
}

static void
a_gap_is_answered_409_and_changes_nothing(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_buf answer = new_answer();
    struct fsp_buf bundle;
    struct fsp_refusal refusal;
    struct fsp_err err = {0};
    uint8_t digest[32];
    int status = 0;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 9);
    assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){0, 4}, true, NULL), 200);
    fsp_buf_init(&bundle, FSP_BUNDLE_MAX);
    rig_bundle(&rig, &office, 5, 9, false, &bundle);
    assert_ok(fsp_intake_take(office.intake, bundle.data, bundle.len, &status, &answer, &err),
            &err);
    assert_int_equal(status, 409);
    check_refusal(&answer, &office, &rig, 409, &refusal);
    assert_int_equal(refusal.size, 4);
    assert_false(refusal.has_differs);
    fsp_bundle_digest(bundle.data, bundle.len, digest);
    assert_memory_equal(refusal.bundle, digest, sizeof(digest));
    assert_non_null(refusal.held);
    assert_int_equal(office_size(&office, &rig), 4);
    /* from the held size on it goes well */
    assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){4, 9}, false, NULL), 200);
    fsp_buf_fini(&bundle);
    fsp_buf_fini(&answer);
    rig_stop(&rig);
    office_stop(&office);
}

static void
a_gap_in_the_first_bundle_does_not_enrol(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_buf answer = new_answer();
    struct fsp_refusal refusal;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 5);
    assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){2, 5}, true, &answer), 409);
    check_refusal(&answer, &office, &rig, 409, &refusal);
    assert_int_equal(refusal.size, 0);
    assert_null(refusal.held);
    assert_int_equal(office_size(&office, &rig), UINT64_MAX);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, NULL), 200);
    fsp_buf_fini(&answer);
    rig_stop(&rig);
    office_stop(&office);
}

static size_t
count_forks(struct office *office)
{
    struct fsp_shelf_fork fork;
    struct fsp_buf store;
    struct fsp_err err = {0};
    size_t n = 0;

    fsp_buf_init(&store, 4 * FSP_NOTE_MAX);
    while (office->shelf->ops->fork_at(office->shelf->ctx, n, &fork, &store, &err) == FSP_OK)
        n++;
    fsp_buf_fini(&store);
    return n;
}

static void
change_entry(struct rig *rig, size_t index, const char *entry)
{
    free(rig->entries[index]);
    rig->entries[index] = strdup(entry);
    assert_non_null(rig->entries[index]);
}

static void
a_differing_entry_is_answered_422_and_both_heads_are_kept(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_buf answer = new_answer();
    struct fsp_buf store;
    struct fsp_refusal refusal;
    struct fsp_shelf_fork fork;
    struct fsp_err err = {0};

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 8);
    assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){0, 6}, true, NULL), 200);
    change_entry(&rig, 4, "{\"another\":\"history\"}");
    assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){2, 8}, false, &answer), 422);
    check_refusal(&answer, &office, &rig, 422, &refusal);
    assert_true(refusal.has_differs);
    assert_int_equal(refusal.differs, 4);
    assert_int_equal(refusal.size, 6);
    assert_non_null(refusal.held);
    assert_int_equal(office_size(&office, &rig), 6);

    fsp_buf_init(&store, 4 * FSP_NOTE_MAX);
    assert_ok(office.shelf->ops->fork_at(office.shelf->ctx, 0, &fork, &store, &err), &err);
    assert_int_equal(fork.size, 8);
    assert_int_equal(fork.differs, 4);
    assert_int_equal(fork.entry_len, strlen(rig.entries[4]));
    assert_memory_equal(fork.entry, rig.entries[4], fork.entry_len);
    assert_true(fork.held_len > 0 && fork.came_len > 0);
    /* again: answered again, kept once */
    assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){2, 8}, false, &answer), 422);
    assert_int_equal(count_forks(&office), 1);
    fsp_buf_fini(&store);
    fsp_buf_fini(&answer);
    rig_stop(&rig);
    office_stop(&office);
}

static void
bytes_that_are_not_those_of_an_honest_head_are_no_fork(void **state)
{
    static const uint64_t rows[][2] = {{0, 6}, {2, 5}, {2, 8}};
    struct office office;
    struct rig rig;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 8);
    assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){0, 6}, true, NULL), 200);
    rig.instead = "{\"garbled\":1}";
    rig.at = 3;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        assert_int_equal(rig_send(&rig, &office, rows[i], false, NULL), 400);
    assert_int_equal(count_forks(&office), 0);
    assert_int_equal(office_size(&office, &rig), 6);
    rig.instead = NULL;
    assert_int_equal(rig_send(&rig, &office, rows[2], false, NULL), 200);
    rig_stop(&rig);
    office_stop(&office);
}

static void
a_differing_root_below_the_bundle_is_a_fork_too(void **state)
{
    static const uint64_t rows[][2] = {
            {6, 8}, /* above ours */
            {6, 6}, /* the same size */
            {5, 6}, /* inside */
            {3, 4}, /* below ours */
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct office office;
        struct rig rig;
        struct fsp_buf answer = new_answer();
        struct fsp_refusal refusal;

        office_start(&office);
        rig_start(&rig, &office, "heron", "a1");
        rig_add_many(&rig, 8);
        assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){0, 6}, true, NULL), 200);
        change_entry(&rig, 1, "{\"another\":\"history\"}");
        assert_int_equal(rig_send(&rig, &office, rows[i], false, &answer), 422);
        check_refusal(&answer, &office, &rig, 422, &refusal);
        assert_false(refusal.has_differs);
        assert_int_equal(office_size(&office, &rig), 6);
        assert_int_equal(count_forks(&office), 1);
        fsp_buf_fini(&answer);
        rig_stop(&rig);
        office_stop(&office);
    }
}

static void
a_used_invitation_takes_no_other_key_and_no_other_log(void **state)
{
    struct office office;
    struct rig rig;
    struct rig thief;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 2);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, NULL), 200);

    rig_start(&thief, &office, "heron", "a1"); /* same log, its own key */
    rig_add_many(&thief, 2);
    memcpy(thief.token, rig.token, sizeof(thief.token));
    assert_int_equal(rig_send(&thief, &office, ALL(&thief), true, NULL), 403);
    assert_int_equal(rig_send(&thief, &office, ALL(&thief), false, NULL), 403);
    rig_stop(&thief);

    rig_start(&thief, &office, "heron", "b2"); /* another log with the used token */
    rig_add_many(&thief, 2);
    memcpy(thief.token, rig.token, sizeof(thief.token));
    assert_int_equal(rig_send(&thief, &office, ALL(&thief), true, NULL), 403);
    assert_int_equal(office_size(&office, &thief), UINT64_MAX);
    rig_stop(&thief);
    rig_stop(&rig);
    office_stop(&office);
}

static void
unknown_logs_tokens_and_foreign_origins_are_403(void **state)
{
    struct office office;
    struct rig rig;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 2);
    rig.token[3] ^= 1u;
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, NULL), 403); /* no such token */
    rig.token[3] ^= 1u;
    rig_stop(&rig);

    rig_start(&rig, &office, "plover", "a1");
    rig_add_many(&rig, 2);
    office_invite(&office, "heron", rig.token); /* a token of another rig */
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, NULL), 403);
    rig_stop(&rig);

    rig_start(&rig, &office, "heron", "a/b"); /* an incarnation with a slash */
    rig_add_many(&rig, 2);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, NULL), 403);
    rig_stop(&rig);
    office_stop(&office);
}

static void
several_logs_of_a_rig_each_need_their_invitation(void **state)
{
    struct office office;
    struct rig one;
    struct rig two;

    (void)state;
    office_start(&office);
    rig_start(&one, &office, "heron", "a1");
    rig_start(&two, &office, "heron", "b2");
    rig_add_many(&one, 3);
    rig_add_many(&two, 4);
    assert_int_equal(rig_send(&one, &office, ALL(&one), true, NULL), 200);
    assert_int_equal(rig_send(&two, &office, ALL(&two), true, NULL), 200);
    assert_int_equal(office_size(&office, &one), 3);
    assert_int_equal(office_size(&office, &two), 4);
    rig_stop(&one);
    rig_stop(&two);
    office_stop(&office);
}

static void
a_bundle_for_another_office_is_403(void **state)
{
    struct office office;
    struct office other;
    struct rig rig;
    struct fsp_buf bundle;
    struct fsp_buf answer = new_answer();
    struct fsp_err err = {0};
    int status = 0;

    (void)state;
    office_start(&office);
    office_start(&other);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 2);
    fsp_buf_init(&bundle, FSP_BUNDLE_MAX);
    rig_bundle(&rig, &other, 0, 2, true, &bundle);
    assert_ok(fsp_intake_take(office.intake, bundle.data, bundle.len, &status, &answer, &err),
            &err);
    assert_int_equal(status, 403);
    assert_non_null(strstr(fsp_buf_peek(&answer), "another office"));
    fsp_buf_fini(&bundle);
    fsp_buf_fini(&answer);
    rig_stop(&rig);
    office_stop(&other);
    office_stop(&office);
}

static void
no_flipped_bit_and_no_cut_gets_in(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_buf bundle;
    struct fsp_buf answer = new_answer();
    struct fsp_err err = {0};
    int status = 0;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 3);
    fsp_buf_init(&bundle, FSP_BUNDLE_MAX);
    rig_bundle(&rig, &office, 0, 3, true, &bundle);
    for (size_t i = 0; i < bundle.len; i++) {
        bundle.data[i] ^= (uint8_t)(1u << (i % 8));
        assert_ok(
                fsp_intake_take(office.intake, bundle.data, bundle.len, &status, &answer, &err),
                &err);
        if (status != 400 && status != 403 && status != 413)
            fail_msg("byte %zu flipped: %d", i, status);
        bundle.data[i] ^= (uint8_t)(1u << (i % 8));
    }
    for (size_t len = 0; len < bundle.len; len++) {
        assert_ok(
                fsp_intake_take(office.intake, bundle.data, len, &status, &answer, &err), &err);
        assert_int_equal(status, 400);
    }
    assert_int_equal(office_size(&office, &rig), UINT64_MAX);
    assert_ok(fsp_intake_take(office.intake, bundle.data, bundle.len, &status, &answer, &err),
            &err);
    assert_int_equal(status, 200);
    fsp_buf_fini(&bundle);
    fsp_buf_fini(&answer);
    rig_stop(&rig);
    office_stop(&office);
}

static void
a_head_signed_by_another_key_is_403(void **state)
{
    struct office office;
    struct rig rig;
    struct rig other;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 2);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, NULL), 200);
    rig_start(&other, &office, "heron", "a1");
    rig_add_many(&other, 3);
    assert_int_equal(rig_send(&other, &office, ALL(&other), false, NULL), 403);
    assert_int_equal(office_size(&office, &rig), 2);
    rig_stop(&other);
    rig_stop(&rig);
    office_stop(&office);
}

static void
entries_nobody_can_read_are_kept_and_receipted(void **state)
{
    static const char *const rows[] = {"not json",
            "{\"kind\":\"from-a-later-version\",\"v\":9}", "\x01\xff\xfe", "{}", "["};
    struct office office;
    struct rig rig;
    struct fsp_fleet *fleet = NULL;
    struct fsp_check_report report;
    struct fsp_err err = {0};

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        rig_add(&rig, rows[i]);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, NULL), 200);
    assert_int_equal(office_size(&office, &rig), 5);
    assert_ok(fsp_fleet_load(office.shelf, &(struct fsp_fleet_about){.as_of_s = START_S},
                      &fleet, &err),
            &err);
    assert_int_equal(fleet->rigs[0]->unreadable, 5);
    assert_int_equal(fleet->rigs[0]->entries, 5);
    fsp_fleet_free(fleet);
    fsp_check_report_init(&report);
    assert_ok(fsp_check_store(office.shelf, &office.keys, &report, &err), &err);
    assert_int_equal(report.problems, 0);
    assert_int_equal(report.logs[0].unreadable, 5);
    assert_int_equal(report.heads, 1);
    fsp_check_report_fini(&report);
    rig_stop(&rig);
    office_stop(&office);
}

static void
the_cosignature_never_goes_back_in_time(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_buf answer = new_answer();
    uint64_t first = 0;
    uint64_t second = 0;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 1);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, &answer), 200);
    (void)receipt_size(&answer, &rig, &office, &first);
    office.now_us = INT64_C(978307200) * FSP_US_PER_S; /* the clock fell to 2001 */
    rig_add_many(&rig, 1);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), false, &answer), 200);
    assert_int_equal(receipt_size(&answer, &rig, &office, &second), 2);
    assert_int_equal(second, first);
    fsp_buf_fini(&answer);
    rig_stop(&rig);
    office_stop(&office);
}

static void
a_key_of_one_log_is_not_taken_for_another(void **state)
{
    struct office office;
    struct rig rig;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add_many(&rig, 2);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, NULL), 200);
    (void)snprintf(rig.origin, sizeof(rig.origin), FLEET "/heron/b2");
    office_invite(&office, "heron", rig.token);
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, NULL), 403);
    rig_stop(&rig);
    office_stop(&office);
}

/* A rig that was not told what the office knows is told with its receipt, each time until it shows it. */
static void
what_the_office_knows_is_said_until_the_rig_uses_it(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_buf answer = new_answer();
    struct fsp_answers_cursor cursor;
    struct fsp_answers_frame frame;
    struct fsp_office_knows knows;
    struct fsp_err err = {0};

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "0a");
    rig_add_many(&rig, 3);
    rig.untold = true;
    for (int i = 0; i < 2; i++) {
        assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, &answer), 200);
        assert_ok(fsp_answers_open(&cursor, answer.data, answer.len, &err), &err);
        assert_ok(fsp_answers_next(&cursor, &frame, &err), &err);
        assert_int_equal(frame.kind, FSP_FRAME_ANSWER);
        assert_int_equal(frame.status, 200);
        assert_int_equal(fsp_answers_next(&cursor, &frame, &err), FSP_ENOTFOUND);
        assert_true(fsp_answers_knows(answer.data, answer.len, &knows));
        assert_int_equal(knows.dictionary, FSP_DICTIONARY_NEWEST);
        assert_true(knows.short_receipt);
    }
    rig.untold = false;
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, &answer), 200);
    assert_int_equal(receipt_size(&answer, &rig, &office, NULL), 3);
    fsp_buf_fini(&answer);
    rig_stop(&rig);
    office_stop(&office);
}

/* The cosignature's line alone, when it is asked for and stands under the head just sent. */
static void
a_short_receipt_is_the_end_of_the_whole_one(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_buf whole = new_answer();
    struct fsp_buf alone = new_answer();

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "0a");
    rig_add_many(&rig, 5);
    rig.short_receipt = true;
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, &alone), 200);
    assert_true(fsp_cosignatures_are(alone.data, alone.len));
    rig.short_receipt = false;
    assert_int_equal(rig_send(&rig, &office, ALL(&rig), true, &whole), 200);
    assert_int_equal(receipt_size(&whole, &rig, &office, NULL), 5);
    assert_true(alone.len < 150 && whole.len > alone.len + 150);
    assert_memory_equal(whole.data + whole.len - alone.len, alone.data, alone.len);
    /* The newest head is another than the one sent: whole. */
    rig.short_receipt = true;
    assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){0, 4}, false, &whole), 200);
    assert_int_equal(receipt_size(&whole, &rig, &office, NULL), 5);
    /* Nothing new, no entry at all: an idle poll. */
    assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){5, 5}, false, &whole), 200);
    assert_int_equal(whole.len, alone.len);
    assert_memory_equal(whole.data, alone.data, alone.len);
    fsp_buf_fini(&whole);
    fsp_buf_fini(&alone);
    rig_stop(&rig);
    office_stop(&office);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(what_the_office_knows_is_said_until_the_rig_uses_it),
            cmocka_unit_test(a_short_receipt_is_the_end_of_the_whole_one),
            cmocka_unit_test(a_first_bundle_enrols_and_is_receipted),
            cmocka_unit_test(the_same_bundle_again_gets_the_same_receipt),
            cmocka_unit_test(overlaps_are_taken_once_whatever_the_order),
            cmocka_unit_test(an_empty_log_is_enrolled_and_receipted),
            cmocka_unit_test(a_gap_is_answered_409_and_changes_nothing),
            cmocka_unit_test(a_gap_in_the_first_bundle_does_not_enrol),
            cmocka_unit_test(a_differing_entry_is_answered_422_and_both_heads_are_kept),
            cmocka_unit_test(bytes_that_are_not_those_of_an_honest_head_are_no_fork),
            cmocka_unit_test(a_differing_root_below_the_bundle_is_a_fork_too),
            cmocka_unit_test(a_used_invitation_takes_no_other_key_and_no_other_log),
            cmocka_unit_test(unknown_logs_tokens_and_foreign_origins_are_403),
            cmocka_unit_test(several_logs_of_a_rig_each_need_their_invitation),
            cmocka_unit_test(a_bundle_for_another_office_is_403),
            cmocka_unit_test(no_flipped_bit_and_no_cut_gets_in),
            cmocka_unit_test(a_head_signed_by_another_key_is_403),
            cmocka_unit_test(entries_nobody_can_read_are_kept_and_receipted),
            cmocka_unit_test(the_cosignature_never_goes_back_in_time),
            cmocka_unit_test(a_key_of_one_log_is_not_taken_for_another),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
