#include "office_support.h"

#include <stdlib.h>
#include <string.h>

#include "office/chain.h"
#include "proof/renewal.h"

#define ALL(rig) ((const uint64_t[2]){0, (rig)->n})

/* The root of the rig's first `size` entries. */
static void
root_of(const struct rig *rig, uint64_t size, uint8_t root[FSP_HASH_LEN])
{
    struct fsp_range range;

    fsp_range_init(&range);
    for (size_t i = 0; i < size; i++)
        fsp_range_append(&range, rig->entries[i], strlen(rig->entries[i]));
    fsp_range_root(&range, root);
}

/* The new log's first entry: it continues `old` from `size` on, proved by `prover` (NULL: not). */
static void
add_renewal(struct rig *fresh, const struct rig *old, uint64_t size, const struct rig *prover)
{
    struct fsp_renewal renewal = {.has_proof = false};
    struct fsp_err err = {0};
    struct fsp_buf entry;

    memcpy(renewal.from.origin, old->origin, sizeof(old->origin));
    renewal.from.size = size;
    root_of(old, size, renewal.from.root);
    if (prover != NULL) {
        memcpy(renewal.from.origin, prover->origin, sizeof(prover->origin));
        assert_ok(fsp_renewal_sign(&renewal, prover->skey, fsp_skey_vkey(fresh->skey), &err),
                &err);
        memcpy(renewal.from.origin, old->origin, sizeof(old->origin));
    }
    fsp_buf_init(&entry, FSP_ENTRY_MAX);
    fsp_buf_add_text(&entry, "{\"at\":\"2026-03-02T00:00:00Z\",\"by\":\"clerk\",\"from\":");
    fsp_renewal_write_from(&renewal, &entry);
    fsp_buf_add_text(&entry, ",\"kind\":\"renewal\",\"noted\":\"2026-03-02T00:00:00Z\"");
    if (renewal.has_proof) {
        fsp_buf_add_text(&entry, ",\"proof\":\"");
        fsp_base64(&entry, renewal.proof, sizeof(renewal.proof));
        fsp_buf_add_byte(&entry, '"');
    }
    fsp_buf_add_text(&entry, ",\"v\":1,\"why\":\"rotation\"}");
    rig_add(fresh, fsp_buf_peek(&entry));
    fsp_buf_fini(&entry);
}

/* An old log of 5 entries, of which the office holds `held`, and a new one of the same rig. */
struct pair {
    struct office office;
    struct rig old;
    struct rig fresh;
    struct fsp_buf answer;
};

static void
pair_start(struct pair *pair, uint64_t held)
{
    office_start(&pair->office);
    rig_start(&pair->old, &pair->office, "heron", "a1");
    rig_start(&pair->fresh, &pair->office, "heron", "b2");
    fsp_buf_init(&pair->answer, FSP_NOTE_MAX);
    rig_add_many(&pair->old, 5);
    if (held > 0)
        assert_int_equal(
                rig_send(&pair->old, &pair->office, (const uint64_t[2]){0, held}, true, NULL),
                200);
    pair->fresh.by_renewal = true;
}

static void
pair_stop(struct pair *pair)
{
    fsp_buf_fini(&pair->answer);
    rig_stop(&pair->old);
    rig_stop(&pair->fresh);
    office_stop(&pair->office);
}

static int
send_fresh(struct pair *pair)
{
    return rig_send(&pair->fresh, &pair->office, ALL(&pair->fresh), true, &pair->answer);
}

static void
read_refusal(struct pair *pair, struct fsp_refusal *refusal)
{
    struct fsp_err err = {0};

    assert_ok(fsp_refusal_read(refusal, pair->answer.data, pair->answer.len,
                      fsp_skey_vkey(pair->office.keys.instructions), &err),
            &err);
}

static struct fsp_chain_log *
chain(struct pair *pair, size_t want)
{
    struct fsp_chain_log *logs = NULL;
    struct fsp_err err = {0};
    size_t n = 0;

    assert_ok(fsp_chain_load(pair->office.shelf, "heron", &logs, &n, &err), &err);
    assert_int_equal(n, want);
    return logs;
}

static void
a_proved_renewal_enrols_without_a_token(void **state)
{
    struct fsp_chain_log *logs;
    struct pair pair;

    (void)state;
    pair_start(&pair, 5);
    add_renewal(&pair.fresh, &pair.old, 5, &pair.old);
    rig_add_many(&pair.fresh, 2);
    assert_int_equal(send_fresh(&pair), 200);
    assert_int_equal(receipt_size(&pair.answer, &pair.fresh, &pair.office, NULL), 3);
    assert_int_equal(send_fresh(&pair), 200); /* its answer was lost */
    logs = chain(&pair, 2);
    assert_string_equal(logs[0].log.origin, pair.old.origin);
    assert_true(logs[0].closed);
    assert_int_equal(logs[0].closed_size, 5);
    assert_true(logs[1].renewed);
    assert_int_equal(logs[1].renewal.how, FSP_RENEWAL_PROVED);
    assert_int_equal(logs[1].renewal.from_size, 5);
    assert_false(logs[1].renewal.confirmed);
    assert_false(logs[1].second);
    free(logs);
    pair_stop(&pair);
}

static void
a_renewal_by_another_key_or_over_another_history_is_403(void **state)
{
    struct pair pair;
    struct rig thief;

    (void)state;
    pair_start(&pair, 5);
    rig_start(&thief, &pair.office, "heron", "c3");
    add_renewal(&pair.fresh, &pair.old, 5, &thief);
    assert_int_equal(send_fresh(&pair), 403);
    rig_stop(&pair.fresh);

    rig_start(&pair.fresh, &pair.office, "heron", "d4"); /* no proof at all */
    pair.fresh.by_renewal = true;
    add_renewal(&pair.fresh, &pair.old, 5, NULL);
    assert_int_equal(send_fresh(&pair), 403);
    rig_stop(&pair.fresh);

    rig_start(&pair.fresh, &pair.office, "heron", "e5"); /* proved, but another root */
    pair.fresh.by_renewal = true;
    free(pair.old.entries[2]);
    pair.old.entries[2] = strdup("{\"other\":1}");
    add_renewal(&pair.fresh, &pair.old, 5, &pair.old);
    assert_int_equal(send_fresh(&pair), 403);
    rig_stop(&pair.fresh);

    rig_start(&pair.fresh, &pair.office, "heron", "f6"); /* no renewal to begin with */
    pair.fresh.by_renewal = true;
    rig_add_many(&pair.fresh, 2);
    assert_int_equal(send_fresh(&pair), 403);
    free(chain(&pair, 1));
    rig_stop(&thief);
    pair_stop(&pair);
}

static void
a_renewal_of_another_rig_is_403(void **state)
{
    struct pair pair;

    (void)state;
    pair_start(&pair, 5);
    rig_stop(&pair.fresh);
    rig_start(&pair.fresh, &pair.office, "plover", "b2");
    pair.fresh.by_renewal = true;
    add_renewal(&pair.fresh, &pair.old, 5, &pair.old);
    assert_int_equal(send_fresh(&pair), 403);
    pair_stop(&pair);
}

static void
the_old_log_is_wanted_first(void **state)
{
    struct fsp_refusal refusal;
    struct pair pair;

    (void)state;
    pair_start(&pair, 3); /* the office lacks two entries of it */
    add_renewal(&pair.fresh, &pair.old, 5, &pair.old);
    assert_int_equal(send_fresh(&pair), 409);
    read_refusal(&pair, &refusal);
    assert_string_equal(refusal.origin, pair.old.origin);
    assert_int_equal(refusal.size, 3);
    free(chain(&pair, 1));
    assert_int_equal(
            rig_send(&pair.old, &pair.office, (const uint64_t[2]){3, 5}, false, NULL), 200);
    assert_int_equal(send_fresh(&pair), 200);
    pair_stop(&pair);

    pair_start(&pair, 0); /* it was restored to a day before the old log came */
    add_renewal(&pair.fresh, &pair.old, 5, &pair.old);
    assert_int_equal(send_fresh(&pair), 409);
    read_refusal(&pair, &refusal);
    assert_string_equal(refusal.origin, pair.old.origin);
    assert_int_equal(refusal.size, 0);
    pair_stop(&pair);
}

static void
an_office_that_lost_a_log_says_so_in_its_own_name(void **state)
{
    struct fsp_refusal refusal;
    struct pair pair;

    (void)state;
    pair_start(&pair, 0);
    assert_int_equal(
            rig_send(&pair.old, &pair.office, (const uint64_t[2]){3, 5}, false, &pair.answer),
            409);
    read_refusal(&pair, &refusal);
    assert_string_equal(refusal.origin, pair.old.origin);
    assert_int_equal(refusal.size, 0);
    assert_null(refusal.held);
    assert_int_equal(rig_send(&pair.old, &pair.office, ALL(&pair.old), true, NULL), 200);
    pair_stop(&pair);
}

static void
a_closed_log_grows_no_more(void **state)
{
    struct fsp_refusal refusal;
    struct fsp_shelf_fork fork;
    struct fsp_buf store;
    struct pair pair;
    struct fsp_err err = {0};

    (void)state;
    pair_start(&pair, 5);
    add_renewal(&pair.fresh, &pair.old, 5, &pair.old);
    assert_int_equal(send_fresh(&pair), 200);
    /* What was there is receipted as ever; another copy that goes on is seen. */
    assert_int_equal(rig_send(&pair.old, &pair.office, ALL(&pair.old), false, NULL), 200);
    rig_add_many(&pair.old, 2);
    assert_int_equal(
            rig_send(&pair.old, &pair.office, (const uint64_t[2]){5, 7}, false, &pair.answer),
            422);
    read_refusal(&pair, &refusal);
    assert_true(refusal.has_renewed);
    assert_false(refusal.has_differs);
    assert_int_equal(refusal.size, 5);
    assert_ok(fsp_renewal_verify(
                      &refusal.renewal, fsp_skey_vkey(pair.old.skey), &refusal.renewed, &err),
            &err);
    assert_string_equal(refusal.renewed.name, pair.fresh.origin);
    assert_int_equal(office_size(&pair.office, &pair.old), 5);
    fsp_buf_init(&store, 65536);
    assert_ok(pair.office.shelf->ops->fork_at(pair.office.shelf->ctx, 0, &fork, &store, &err),
            &err);
    assert_int_equal(fork.size, 7);
    assert_int_equal(fork.differs, 5);
    assert_memory_equal(fork.entry, pair.old.entries[5], fork.entry_len);
    fsp_buf_fini(&store);
    pair_stop(&pair);
}

static void
a_renewal_by_invitation_is_marked_as_not_proved(void **state)
{
    struct fsp_chain_log *logs;
    struct fsp_buf flag;
    struct pair pair;

    (void)state;
    pair_start(&pair, 5);
    pair.fresh.by_renewal = false;
    add_renewal(&pair.fresh, &pair.old, 5, NULL);
    assert_int_equal(send_fresh(&pair), 200);
    logs = chain(&pair, 2);
    assert_int_equal(logs[1].renewal.how, FSP_RENEWAL_INVITED);
    assert_true(logs[0].closed);
    fsp_buf_init(&flag, 1024);
    fsp_chain_flag_text(&logs[1], &flag);
    assert_string_equal(
            fsp_buf_peek(&flag), "renewal not confirmed, not proved by the old key");
    fsp_buf_fini(&flag);
    free(logs);
    pair_stop(&pair);
}

static void
an_invited_renewal_of_what_is_not_held_is_kept_and_marked(void **state)
{
    struct fsp_chain_log *logs;
    struct pair pair;

    (void)state;
    pair_start(&pair, 5);
    pair.fresh.by_renewal = false;
    free(pair.old.entries[2]);
    pair.old.entries[2] = strdup("{\"other\":1}");
    add_renewal(&pair.fresh, &pair.old, 5, NULL);
    assert_int_equal(send_fresh(&pair), 200);
    logs = chain(&pair, 2);
    assert_int_equal(logs[1].renewal.how, FSP_RENEWAL_UNFIT);
    assert_int_equal(logs[1].renewal.from, 0);
    assert_false(logs[0].closed);
    free(logs);
    pair_stop(&pair);
}

static void
a_log_whose_predecessor_never_signed_anything_is_taken(void **state)
{
    struct fsp_chain_log *logs;
    struct pair pair;

    (void)state;
    pair_start(&pair, 0); /* the key was lost before the first contact */
    pair.fresh.by_renewal = false;
    add_renewal(&pair.fresh, &pair.old, 0, NULL);
    rig_add_many(&pair.fresh, 2);
    assert_int_equal(send_fresh(&pair), 200);
    logs = chain(&pair, 1);
    assert_int_equal(logs[0].renewal.how, FSP_RENEWAL_UNFIT);
    free(logs);
    pair_stop(&pair);
}

static void
two_logs_that_continue_the_same_one_are_both_kept(void **state)
{
    struct fsp_chain_log *logs;
    struct pair pair;
    struct rig second;
    struct rig third;

    (void)state;
    pair_start(&pair, 5);
    add_renewal(&pair.fresh, &pair.old, 5, &pair.old);
    assert_int_equal(send_fresh(&pair), 200);
    rig_start(&second, &pair.office, "heron", "c3");
    second.by_renewal = true;
    add_renewal(&second, &pair.old, 5, &pair.old);
    assert_int_equal(rig_send(&second, &pair.office, ALL(&second), true, NULL), 200);
    rig_start(&third, &pair.office, "heron", "d4");
    third.by_renewal = true;
    add_renewal(&third, &pair.fresh, 1, &pair.fresh);
    assert_int_equal(rig_send(&third, &pair.office, ALL(&third), true, NULL), 200);
    logs = chain(&pair, 4);
    assert_string_equal(logs[0].log.origin, pair.old.origin);
    assert_string_equal(logs[1].log.origin, pair.fresh.origin);
    assert_string_equal(logs[2].log.origin, third.origin); /* continues the one before it */
    assert_string_equal(logs[3].log.origin, second.origin);
    assert_false(logs[1].second);
    assert_true(logs[3].second);
    free(logs);
    rig_stop(&second);
    rig_stop(&third);
    pair_stop(&pair);
}

static void
a_keeper_confirms_once(void **state)
{
    struct fsp_shelf_renewal renewal;
    struct fsp_chain_log *logs;
    struct fsp_buf flag;
    struct pair pair;
    struct fsp_shelf *shelf;
    struct fsp_err err = {0};

    (void)state;
    pair_start(&pair, 5);
    add_renewal(&pair.fresh, &pair.old, 5, &pair.old);
    assert_int_equal(send_fresh(&pair), 200);
    logs = chain(&pair, 2);
    shelf = pair.office.shelf;
    assert_ok(shelf->ops->begin(shelf->ctx, true, &err), &err);
    assert_ok(
            shelf->ops->confirm_renewal(shelf->ctx, logs[1].log.id, "keeper", 77, &err), &err);
    assert_ok(shelf->ops->confirm_renewal(shelf->ctx, logs[1].log.id, "other", 99, &err), &err);
    assert_int_equal(
            shelf->ops->confirm_renewal(shelf->ctx, logs[0].log.id, "keeper", 77, &err),
            FSP_ENOTFOUND);
    assert_ok(shelf->ops->commit(shelf->ctx, &err), &err);
    assert_ok(shelf->ops->renewal(shelf->ctx, logs[1].log.id, &renewal, &err), &err);
    assert_true(renewal.confirmed);
    assert_string_equal(renewal.confirmed_by, "keeper");
    assert_int_equal(renewal.confirmed_s, 77);
    free(logs);
    logs = chain(&pair, 2);
    fsp_buf_init(&flag, 1024);
    fsp_chain_flag_text(&logs[1], &flag);
    assert_string_equal(fsp_buf_peek(&flag), "");
    fsp_buf_fini(&flag);
    free(logs);
    pair_stop(&pair);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_proved_renewal_enrols_without_a_token),
            cmocka_unit_test(a_renewal_by_another_key_or_over_another_history_is_403),
            cmocka_unit_test(a_renewal_of_another_rig_is_403),
            cmocka_unit_test(the_old_log_is_wanted_first),
            cmocka_unit_test(an_office_that_lost_a_log_says_so_in_its_own_name),
            cmocka_unit_test(a_closed_log_grows_no_more),
            cmocka_unit_test(a_renewal_by_invitation_is_marked_as_not_proved),
            cmocka_unit_test(an_invited_renewal_of_what_is_not_held_is_kept_and_marked),
            cmocka_unit_test(a_log_whose_predecessor_never_signed_anything_is_taken),
            cmocka_unit_test(two_logs_that_continue_the_same_one_are_both_kept),
            cmocka_unit_test(a_keeper_confirms_once),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
