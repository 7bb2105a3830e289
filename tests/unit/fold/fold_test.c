#include "unit/fold/shelved.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "fold/marks.h"

#define START_S   INT64_C(1772323200) /* 2026-03-01T00:00:00Z */
#define HISTORIES 24
#define STEPS     90

static uint32_t seed_now;

static uint32_t
dice(uint32_t sides)
{
    seed_now ^= seed_now << 13;
    seed_now ^= seed_now >> 17;
    seed_now ^= seed_now << 5;
    return seed_now % sides;
}

/* ---- random arrivals: every kind that counts, late, amended, signed, over several logs ---- */

static void
any_entry(const struct shelved *shelved, size_t *log, size_t *index)
{
    *log = dice((uint32_t)shelved->n_logs);
    if (shelved->n[*log] == 0)
        *log = 0;
    *index = dice((uint32_t)shelved->n[*log]);
    if (dice(5) != 0 && shelved->n[*log] > 12) /* mostly of late */
        *index = shelved->n[*log] - 1 - dice(12);
}

static void
random_amend(struct shelved *shelved, int64_t at_s)
{
    static const char *const sets[] = {"void", "\"note\":\"mended\"",
            "\"at\":\"2026-03-02T07:00:00Z\"", "\"at\":\"2026-03-20T07:00:00Z\""};
    size_t log;
    size_t index;

    any_entry(shelved, &log, &index);
    (void)shelved_amend(shelved, at_s, log, index, sets[dice(12) == 0 ? 2 + dice(2) : dice(2)]);
}

static void
random_inspection(struct shelved *shelved, int64_t at_s)
{
    static const char *const decisions[] = {"run", "run", "watch", "slip", "out-of-service"};
    const struct fsp_skey *keys[] = {NULL, shelved->inspector, shelved->second};

    (void)shelved_inspect(shelved, at_s, decisions[dice(5)], dice(3) == 0 ? "b-fell" : "k-ode",
            keys[dice(3)]);
}

static void
random_work(struct shelved *shelved, int64_t at_s)
{
    char members[200];

    if (dice(3) == 0)
        (void)snprintf(members, sizeof(members),
                "\"op\":\"drilling\",\"from\":\"%uft\",\"to\":\"%uft\"", 5000 + dice(9) * 100,
                6000 + dice(9) * 100);
    else
        (void)snprintf(members, sizeof(members),
                "\"op\":\"round-trip\",\"depth\":\"%uft\",\"pull\":\"%uklb\"%s",
                3000 + dice(60) * 100, 200 + dice(300),
                dice(3) == 0 ? ",\"when\":\"before\"" : "");
    (void)shelved_put(shelved, "work", at_s, members);
}

static void
random_other(struct shelved *shelved, int64_t at_s)
{
    static const char *const lists[][2] = {
            {"state", "\"state\":\"stacked\""},
            {"state", "\"state\":\"working\""},
            {"well", "\"well\":\"LB-1\",\"formation\":\"hard\""},
            {"tour", "\"tour\":\"day\",\"complete\":\"yes\",\"bit-depth\":\"6000ft\""},
            {"tour", "\"tour\":\"night\",\"complete\":\"no\""},
            {"adverse", "\"what\":\"deviation\",\"state\":\"begins\",\"derate\":\"80%\""},
            {"adverse", "\"what\":\"deviation\",\"state\":\"ends\""},
            {"check", "\"item\":\"crown-saver\",\"result\":\"good\""},
            {"string-up", "\"lines\":12,\"drawn\":\"280ft\""},
            {"program", "\"cut\":\"95ft\",\"first-goal\":\"1600\",\"later-goal\":\"1400\""},
            {"slip", "\"length\":\"30ft\""},
            {"slip", "\"length\":\"30ft\""},
            {"cut", "\"length\":\"90ft\",\"slipped\":\"30ft\",\"reason\":\"goal\""},
            {"cut", "\"length\":\"90ft\",\"slipped\":\"60ft\",\"reason\":\"broken-wires\","
                    "\"condition\":\"worn-out\""},
            {"cut", "\"length\":\"80ft\",\"slipped\":\"60ft\",\"reason\":\"goal\","
                    "\"condition\":\"wear-left\""},
    };
    uint32_t pick = dice((uint32_t)(sizeof(lists) / sizeof(lists[0])));

    (void)shelved_put(shelved, lists[pick][0], at_s, lists[pick][1]);
}

static void
random_arrival(struct shelved *shelved, int64_t at_s)
{
    uint32_t pick = dice(100);
    size_t log;
    size_t index;

    if (pick < 40) {
        random_work(shelved, at_s);
    } else if (pick < 75) {
        random_other(shelved, at_s);
    } else if (pick < 83) {
        random_amend(shelved, at_s);
    } else if (pick < 92) {
        random_inspection(shelved, at_s);
    } else if (pick < 96) {
        any_entry(shelved, &log, &index);
        (void)shelved_countersign(
                shelved, at_s, log, index, dice(2) == 0 ? shelved->inspector : shelved->second);
    } else if (pick < 97) {
        (void)shelved_roster(shelved, at_s, dice(2) == 0);
    } else if (pick < 99) {
        char bytes[32];

        (void)snprintf(bytes, sizeof(bytes), "not readable %u", dice(1000000));
        (void)shelved_bytes(shelved, bytes, strlen(bytes));
    } else if (shelved->n_logs < SHELVED_LOGS && dice(2) == 0) {
        shelved_renew(shelved);
        (void)shelved_put(shelved, "check", at_s, "\"item\":\"anchor\",\"result\":\"good\"");
    }
}

static void
same(uint32_t seed, size_t step, const struct fsp_fold *got, const struct fsp_fold *want)
{
    struct fsp_buf a;
    struct fsp_buf b;
    size_t i = 0;

    shelved_says(got, &a);
    shelved_says(want, &b);
    while (i < a.len && i < b.len && a.data[i] == b.data[i])
        i++;
    if (a.len != b.len || i != a.len)
        fail_msg("seed %u, step %zu: from byte %zu\n%.400s\n---- instead of\n%.400s",
                (unsigned)seed, step, i, (const char *)a.data + (i > 200 ? i - 200 : 0),
                (const char *)b.data + (i > 200 ? i - 200 : 0));
    fsp_buf_fini(&a);
    fsp_buf_fini(&b);
}

/* A flipped bit, a truncation, or garbage somewhere in what is derived. */
static void
damage(struct shelved *shelved)
{
    struct fsp_buf *buf = &shelved->marks;

    if (shelved->n_states > 0 && dice(4) != 0)
        buf = &shelved->states[dice((uint32_t)shelved->n_states)].bytes;
    if (buf->len == 0)
        return;
    if (dice(8) == 0)
        buf->len -= 1 + dice((uint32_t)buf->len);
    else
        buf->data[dice((uint32_t)buf->len)] ^= (uint8_t)(1U << dice(8));
}

static void
whatever_arrives_and_is_kept_the_fold_equals_a_whole_one_to_the_bit(void **state)
{
    size_t saved = 0; /* entries not read */

    (void)state;
    for (uint32_t seed = 1; seed <= HISTORIES; seed++) {
        struct shelved *shelved = shelved_new(seed);
        int64_t now_s = START_S + 86400;

        seed_now = seed * 2654435761U + 1;
        shelved_open(shelved, START_S);
        for (size_t step = 0; step < STEPS; step++) {
            size_t n = 1 + dice(4);
            struct fsp_fold *fold;
            struct fsp_fold *whole;

            while (n-- > 0) {
                now_s += (int64_t)dice(6) * 1200;
                random_arrival(
                        shelved, dice(40) == 0 ? START_S + 300 + dice(20 * 86400) : now_s);
            }
            if (seed % 4 == 0 && dice(6) == 0)
                damage(shelved);
            fold = shelved_fold(shelved, NULL, false, 5);
            whole = shelved_fold(shelved, NULL, true, 5);
            same(seed, step, fold, whole);
            if (fsp_fold_read(fold) < fsp_fold_entries(fold))
                saved += fsp_fold_entries(fold) - fsp_fold_read(fold);
            if (dice(3) != 0)
                shelved_keep(shelved, fold);
            assert_true(shelved->n_states < 80);
            fsp_fold_free(fold);
            fsp_fold_free(whole);
        }
        shelved_free(shelved);
    }
    assert_true(saved > (size_t)HISTORIES * STEPS * 20);
}

/* ---- what is read ---- */

/* Days of trips, a slip each third and a cut each seventh. */
static int64_t
add_days(struct shelved *shelved, int64_t at_s, int days)
{
    for (int day = 0; day < days; day++) {
        for (int trip = 0; trip < 4; trip++)
            (void)shelved_put(shelved, "work", at_s + (int64_t)trip * 7200,
                    "\"op\":\"round-trip\",\"depth\":\"6000ft\"");
        if (day % 3 == 2)
            (void)shelved_put(shelved, "slip", at_s + 50000, "\"length\":\"30ft\"");
        if (day % 7 == 6)
            (void)shelved_put(shelved, "cut", at_s + 60000,
                    "\"length\":\"90ft\",\"slipped\":\"30ft\",\"reason\":\"goal\"");
        at_s += 86400;
    }
    return at_s;
}

static size_t
fold_and_keep(struct shelved *shelved)
{
    struct fsp_fold *fold = shelved_fold(shelved, NULL, false, 3);
    struct fsp_fold *whole = shelved_fold(shelved, NULL, true, 3);
    size_t read = fsp_fold_read(fold);

    same(0, shelved->n[0], fold, whole);
    shelved_keep(shelved, fold);
    fsp_fold_free(fold);
    fsp_fold_free(whole);
    return read;
}

static void
one_more_record_needs_itself_and_the_last_one(void **state)
{
    struct shelved *shelved = shelved_new(1);
    int64_t at_s = START_S + 86400;

    (void)state;
    shelved_open(shelved, START_S);
    at_s = add_days(shelved, at_s, 60);
    assert_int_equal(fold_and_keep(shelved), shelved->n[0]);
    (void)shelved_put(shelved, "work", at_s, "\"op\":\"round-trip\",\"depth\":\"6000ft\"");
    assert_in_range(fold_and_keep(shelved), 1, 3);
    /* And what was read by the fold before needs nothing but its last one. */
    assert_in_range(fold_and_keep(shelved), 0, 2);
    shelved_free(shelved);
}

static void
a_late_amendment_needs_what_came_since_the_last_state_before_it(void **state)
{
    struct shelved *shelved = shelved_new(1);
    int64_t at_s = START_S + 86400;
    size_t total;

    (void)state;
    shelved_open(shelved, START_S);
    at_s = add_days(shelved, at_s, 140);
    (void)fold_and_keep(shelved);
    total = shelved->n[0];
    (void)shelved_amend(shelved, at_s, 0, total - 60, "\"depth\":\"6100ft\"");
    assert_in_range(fold_and_keep(shelved), 60, 60 + 4 * 7 * 6);
    /* A late entry likewise. */
    (void)shelved_put(shelved, "work", at_s - INT64_C(20) * 86400,
            "\"op\":\"round-trip\",\"depth\":\"6000ft\"");
    assert_in_range(fold_and_keep(shelved), 60, 20 * 5 + 4 * 7 * 6);
    shelved_free(shelved);
}

struct told {
    size_t n;
    double served_j;
    int64_t since_s;
};

static void
tell(void *ctx, const struct fsp_ledger_step *step)
{
    struct told *told = ctx;

    if (step == NULL) {
        told->n = 0;
        told->served_j = 0;
    } else if (step->at_s >= told->since_s) {
        told->n++;
        told->served_j += step->served_j;
    }
}

static struct fsp_fold *
fold_told(struct shelved *shelved, bool whole, struct told *told)
{
    const struct fsp_fold_log log = {shelved->ids[0], shelved->n[0]};
    const struct fsp_fold_about about = {.fleet = FLEET,
            .rig = RIG,
            .keys = fsp_skey_vkey(shelved->office),
            .n_keys = 1,
            .logs = &log,
            .n_logs = 1,
            .as_of_s = AS_OF,
            .whole = whole,
            .worth = SIZE_MAX,
            .on_step = tell,
            .on_step_ctx = told,
            .reach = true,
            .since_s = told->since_s};
    struct fsp_fold_store store;
    struct fsp_fold *fold = NULL;
    struct fsp_err err = {0};

    shelved_store(shelved, &store);
    assert_ok(fsp_fold_new(&store, &about, &fold, &err), &err);
    return fold;
}

static void
a_fold_that_reaches_back_tells_every_step_since(void **state)
{
    struct shelved *shelved = shelved_new(1);
    int64_t at_s = START_S + 86400;
    struct told some = {.n = 0};
    struct told all = {.n = 0};
    struct fsp_fold *fold;
    struct fsp_fold *whole;

    (void)state;
    shelved_open(shelved, START_S);
    at_s = add_days(shelved, at_s, 140);
    (void)fold_and_keep(shelved);
    some.since_s = all.since_s = at_s - INT64_C(30) * 86400;
    fold = fold_told(shelved, false, &some);
    whole = fold_told(shelved, true, &all);
    same(0, shelved->n[0], fold, whole);
    assert_int_equal(some.n, all.n);
    assert_true(some.n > 100);
    assert_true(some.served_j > 0 && some.served_j - all.served_j < 1 &&
                all.served_j - some.served_j < 1);
    assert_true(fsp_fold_read(fold) < shelved->n[0] / 2);
    fsp_fold_free(fold);
    fsp_fold_free(whole);
    shelved_free(shelved);
}

static void
states_are_thinned_out_with_age(void **state)
{
    struct shelved *shelved = shelved_new(1);
    int64_t at_s = START_S + 86400;

    (void)state;
    shelved_open(shelved, START_S);
    for (int i = 0; i < 4; i++) {
        at_s = add_days(shelved, at_s, 70);
        (void)fold_and_keep(shelved);
    }
    /* 40 cuts: 8 of the newest, 8 of every second, and of the rest every fourth; and the end. */
    assert_in_range(shelved->n_states, 19, 22);
    shelved_free(shelved);
}

/* ---- signatures ---- */

static enum fsp_sig_state
newest_sig(struct shelved *shelved, bool keep)
{
    struct fsp_fold *fold = shelved_fold(shelved, NULL, false, 1);
    struct fsp_fold *whole = shelved_fold(shelved, NULL, true, 1);
    enum fsp_sig_state sig;

    same(0, shelved->n[0], fold, whole);
    assert_non_null(fsp_fold_inspection(fold, 0));
    sig = fsp_fold_inspection(fold, 0)->sig;
    if (keep)
        shelved_keep(shelved, fold);
    fsp_fold_free(fold);
    fsp_fold_free(whole);
    return sig;
}

static void
another_roster_judges_every_inspection_again(void **state)
{
    struct shelved *shelved = shelved_new(3);

    (void)state;
    shelved_open(shelved, START_S);
    (void)shelved_inspect(shelved, START_S + 9000, "run", "b-fell", shelved->second);
    assert_int_equal(newest_sig(shelved, true), FSP_SIG_OFF_ROSTER);
    (void)shelved_roster(shelved, START_S + 10000, false);
    assert_int_equal(newest_sig(shelved, true), FSP_SIG_OFF_ROSTER);
    (void)shelved_roster(shelved, START_S + 11000, true);
    assert_int_equal(newest_sig(shelved, true), FSP_SIG_GOOD);
    (void)shelved_put(
            shelved, "check", START_S + 12000, "\"item\":\"anchor\",\"result\":\"good\"");
    assert_int_equal(newest_sig(shelved, true), FSP_SIG_GOOD);
    (void)shelved_inspect(shelved, START_S + 13000, "run", "k-ode", shelved->second);
    assert_int_equal(newest_sig(shelved, true), FSP_SIG_BAD);
    (void)shelved_inspect(shelved, START_S + 14000, "run", "k-ode", NULL);
    assert_int_equal(newest_sig(shelved, true), FSP_SIG_NONE);
    shelved_free(shelved);
}

/* A line that an inspection took out of service, and that a signed `run` lifts. */
static enum fsp_due
due(struct shelved *shelved)
{
    struct fsp_fold *fold = shelved_fold(shelved, NULL, false, 2);
    struct fsp_fold *whole = shelved_fold(shelved, NULL, true, 2);
    enum fsp_due due = fsp_ledger_peek(fsp_fold_ledger(fold))->cut_due;

    same(0, shelved->n[0], fold, whole);
    shelved_keep(shelved, fold);
    fsp_fold_free(fold);
    fsp_fold_free(whole);
    return due;
}

static void
only_a_signed_run_lifts_a_stop_and_a_countersigned_void_too(void **state)
{
    struct shelved *shelved = shelved_new(4);
    size_t stop;
    size_t amend;
    struct fsp_fold *fold;
    struct fsp_buf words;

    (void)state;
    shelved_open(shelved, START_S);
    (void)shelved_roster(shelved, START_S + 1000, true);
    stop = shelved_inspect(shelved, START_S + 2000, "out-of-service", "k-ode", NULL);
    assert_int_equal(due(shelved), FSP_DUE_OUT_OF_SERVICE);
    (void)shelved_inspect(shelved, START_S + 3000, "run", "k-ode", NULL);
    assert_int_equal(due(shelved), FSP_DUE_OUT_OF_SERVICE);
    /* Voided without a signature: disputed. */
    amend = shelved_amend(shelved, START_S + 4000, 0, stop, "void");
    assert_int_equal(due(shelved), FSP_DUE_OUT_OF_SERVICE);
    fold = shelved_fold(shelved, NULL, false, 2);
    assert_int_equal(fsp_fold_inspection(fold, 1)->index, stop);
    assert_int_equal(fsp_fold_inspection(fold, 1)->voided, FSP_DISPUTED);
    fsp_fold_free(fold);
    /* The amendment is countersigned later: everything is judged again. */
    (void)shelved_countersign(shelved, START_S + 5000, 0, amend, shelved->second);
    assert_int_not_equal(due(shelved), FSP_DUE_OUT_OF_SERVICE);
    fold = shelved_fold(shelved, NULL, false, 2);
    assert_int_equal(fsp_fold_inspection(fold, 1)->voided, FSP_VOIDED);
    fsp_fold_free(fold);
    /* Without a signature nobody takes back what was voided with one. */
    (void)shelved_amend(shelved, START_S + 6000, 0, amend, "void");
    assert_int_not_equal(due(shelved), FSP_DUE_OUT_OF_SERVICE);
    fold = shelved_fold(shelved, NULL, false, 2);
    assert_int_equal(fsp_fold_inspection(fold, 1)->voided, FSP_VOIDED);
    fsp_fold_free(fold);
    (void)shelved_inspect(shelved, START_S + 6000, "out-of-service", "k-ode", NULL);
    assert_int_equal(due(shelved), FSP_DUE_OUT_OF_SERVICE);
    stop = shelved_inspect(shelved, START_S + 7000, "run", "k-ode", shelved->inspector);
    assert_int_not_equal(due(shelved), FSP_DUE_OUT_OF_SERVICE);
    (void)shelved_countersign(shelved, START_S + 8000, 0, stop, shelved->second);
    fold = shelved_fold(shelved, NULL, false, 1);
    assert_int_equal(fsp_fold_inspection(fold, 0)->n_by, 1);
    fsp_buf_init(&words, 400);
    fsp_fold_say_signed(fsp_fold_inspection(fold, 0), &words);
    assert_string_equal(fsp_buf_peek(&words), "signed, countersigned by b-fell (signed)");
    fsp_buf_fini(&words);
    fsp_fold_free(fold);
    shelved_free(shelved);
}

static void
a_finding_shows_the_state_of_its_inspections_signature(void **state)
{
    struct shelved *shelved = shelved_new(5);
    enum fsp_sig_state sig = FSP_SIG_GOOD;
    struct fsp_fold *fold;

    (void)state;
    shelved_open(shelved, START_S);
    (void)shelved_inspect(
            shelved, START_S + 2000, "out-of-service", "k-ode", shelved->inspector);
    fold = shelved_fold(shelved, NULL, false, 0);
    assert_true(fsp_fold_finding_sig(fold, 0, &sig));
    assert_int_equal(sig, FSP_SIG_OFF_ROSTER);
    assert_false(fsp_fold_finding_sig(fold, 1, &sig));
    fsp_fold_free(fold);
    (void)shelved_roster(shelved, START_S + 3000, false);
    fold = shelved_fold(shelved, NULL, false, 0);
    assert_true(fsp_fold_finding_sig(fold, 0, &sig));
    assert_int_equal(sig, FSP_SIG_GOOD);
    fsp_fold_free(fold);
    shelved_free(shelved);
}

/* ---- another history, other rules ---- */

static void
what_refers_to_an_entry_is_found_from_it(void **state)
{
    struct shelved *shelved = shelved_new(4);
    struct fsp_fold_reference reference;
    enum fsp_sig_state sig;
    struct fsp_fold *fold;
    size_t inspection;
    size_t work;
    size_t amend;

    (void)state;
    shelved_open(shelved, START_S);
    (void)shelved_roster(shelved, START_S + 1000, true);
    inspection = shelved_inspect(shelved, START_S + 2000, "run", "k-ode", shelved->inspector);
    work = shelved_put(
            shelved, "work", START_S + 3000, "\"op\":\"round-trip\",\"depth\":\"6000ft\"");
    (void)shelved_countersign(shelved, START_S + 4000, 0, inspection, shelved->second);
    amend = shelved_amend(shelved, START_S + 5000, 0, work, "\"depth\":\"6100ft\"");
    (void)shelved_amend(shelved, START_S + 6000, 0, work, "void");
    fold = shelved_fold(shelved, NULL, false, 0);
    assert_true(fsp_fold_entry_sig(fold, 0, inspection, &sig));
    assert_int_equal(sig, FSP_SIG_GOOD);
    assert_false(fsp_fold_entry_sig(fold, 0, work, &sig));
    assert_true(fsp_fold_reference(fold, 0, inspection, 0, &reference));
    assert_int_equal(reference.how, FSP_REFERS_COUNTERSIGNS);
    assert_int_equal(reference.sig, FSP_SIG_GOOD);
    assert_false(fsp_fold_reference(fold, 0, inspection, 1, &reference));
    assert_true(fsp_fold_reference(fold, 0, work, 0, &reference));
    assert_int_equal(reference.how, FSP_REFERS_AMENDS);
    assert_int_equal(reference.index, amend);
    assert_true(fsp_fold_reference(fold, 0, work, 1, &reference));
    assert_int_equal(reference.how, FSP_REFERS_VOIDS);
    assert_false(fsp_fold_reference(fold, 0, work, 2, &reference));
    assert_false(fsp_fold_reference(fold, 1, work, 0, &reference));
    fsp_fold_free(fold);
    shelved_free(shelved);
}

static void
marks_of_another_history_or_another_chain_are_left_aside(void **state)
{
    struct shelved *one = shelved_new(6);
    struct shelved *two = shelved_new(6);
    struct fsp_fold *fold;

    (void)state;
    shelved_open(one, START_S);
    (void)add_days(one, START_S + 86400, 20);
    (void)fold_and_keep(one);
    shelved_open(two, START_S);
    (void)add_days(two, START_S + 90000, 20);
    fsp_buf_add(&two->marks, one->marks.data, one->marks.len);
    while (two->n_states < one->n_states) {
        struct fsp_buf *into = &two->states[two->n_states].bytes;

        two->states[two->n_states].cuts = one->states[two->n_states].cuts;
        two->states[two->n_states].from_s = one->states[two->n_states].from_s;
        fsp_buf_init(into, (size_t)1024 * 1024);
        fsp_buf_add(into, one->states[two->n_states].bytes.data,
                one->states[two->n_states].bytes.len);
        two->n_states++;
    }
    assert_true(fold_and_keep(two) >= two->n[0]);
    /* The same entries under another name of the log. */
    one->ids[0] = 99;
    assert_true(fold_and_keep(one) >= one->n[0]);
    /* Less than was marked: a log that was closed at a smaller size. */
    fold = shelved_fold(one, (const size_t[]){20, 0, 0, 0}, false, 0);
    assert_int_equal(fsp_fold_entries(fold), 20);
    assert_in_range(fsp_fold_read(fold), 20, 22);
    fsp_fold_free(fold);
    shelved_free(one);
    shelved_free(two);
}

static void
what_another_process_kept_of_more_entries_stays(void **state)
{
    struct shelved *shelved = shelved_new(7);
    struct fsp_fold *slow;
    int64_t at_s;

    (void)state;
    shelved_open(shelved, START_S);
    at_s = add_days(shelved, START_S + 86400, 20);
    slow = shelved_fold(shelved, NULL, false, 0);
    (void)add_days(shelved, at_s, 20);
    (void)fold_and_keep(shelved);
    shelved_keep(shelved, slow);
    assert_in_range(fold_and_keep(shelved), 0, 2);
    fsp_fold_free(slow);
    shelved_free(shelved);
}

/* ---- check ---- */

static void
check(struct shelved *shelved, struct fsp_fold_checked *checked)
{
    struct fsp_fold_log log = {shelved->ids[0], shelved->n[0]};
    struct fsp_fold_about about = {.fleet = FLEET,
            .rig = RIG,
            .keys = fsp_skey_vkey(shelved->office),
            .n_keys = 1,
            .logs = &log,
            .n_logs = 1,
            .as_of_s = AS_OF};
    struct fsp_fold_store store;
    struct fsp_err err = {0};

    shelved_store(shelved, &store);
    assert_ok(fsp_fold_check(&store, &about, checked, &err), &err);
}

static void
check_tells_damaged_states_from_those_that_would_give_another_number(void **state)
{
    struct shelved *shelved = shelved_new(8);
    struct fsp_fold_checked checked;
    struct fsp_fold_store store;
    struct fsp_err err = {0};

    (void)state;
    shelved_open(shelved, START_S);
    (void)add_days(shelved, START_S + 86400, 30);
    (void)fold_and_keep(shelved);
    check(shelved, &checked);
    assert_int_equal(checked.states, shelved->n_states);
    assert_int_equal(checked.damaged, 0);
    assert_int_equal(checked.differ, 0);
    shelved->states[0].bytes.data[100] ^= 1;
    check(shelved, &checked);
    assert_int_equal(checked.damaged, 1);
    assert_int_equal(checked.differ, 0);
    shelved->states[0].bytes.data[100] ^= 1;
    /* An entry whose bytes changed under what is kept: that a state no longer fits is seen. */
    fsp_buf_reset(&shelved->entries[0][20].bytes);
    fsp_buf_add_text(&shelved->entries[0][20].bytes, "nothing of it can be read");
    check(shelved, &checked);
    assert_true(checked.differ > 0);
    shelved_store(shelved, &store);
    assert_ok(fsp_fold_forget(&store, &err), &err);
    assert_int_equal(shelved->n_states, 0);
    check(shelved, &checked);
    assert_int_equal(checked.states + checked.damaged + checked.differ, 0);
    shelved_free(shelved);
}

static void
every_flipped_bit_of_the_marks_is_refused(void **state)
{
    struct shelved *shelved = shelved_new(9);
    struct fsp_marks marks;
    struct fsp_err err = {0};

    (void)state;
    shelved_open(shelved, START_S);
    (void)shelved_roster(shelved, START_S + 1000, true);
    for (int i = 0; i < 5; i++) {
        size_t index = shelved_inspect(
                shelved, START_S + 2000 + i, "run", "k-ode", shelved->inspector);

        (void)shelved_countersign(shelved, START_S + 9000 + i, 0, index, shelved->second);
    }
    (void)fold_and_keep(shelved);
    fsp_marks_init(&marks);
    for (size_t bit = 0; bit < 8 * shelved->marks.len; bit++) {
        shelved->marks.data[bit / 8] ^= (uint8_t)(1U << bit % 8);
        assert_int_equal(fsp_marks_read(&marks, shelved->marks.data, shelved->marks.len, &err),
                FSP_EFORMAT);
        shelved->marks.data[bit / 8] ^= (uint8_t)(1U << bit % 8);
    }
    for (size_t len = 0; len < shelved->marks.len; len++)
        assert_int_equal(fsp_marks_read(&marks, shelved->marks.data, len, &err), FSP_EFORMAT);
    assert_ok(fsp_marks_read(&marks, shelved->marks.data, shelved->marks.len, &err), &err);
    assert_int_equal(marks.n, 10);
    fsp_marks_fini(&marks);
    shelved_free(shelved);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(
                    whatever_arrives_and_is_kept_the_fold_equals_a_whole_one_to_the_bit),
            cmocka_unit_test(one_more_record_needs_itself_and_the_last_one),
            cmocka_unit_test(a_late_amendment_needs_what_came_since_the_last_state_before_it),
            cmocka_unit_test(a_fold_that_reaches_back_tells_every_step_since),
            cmocka_unit_test(states_are_thinned_out_with_age),
            cmocka_unit_test(another_roster_judges_every_inspection_again),
            cmocka_unit_test(only_a_signed_run_lifts_a_stop_and_a_countersigned_void_too),
            cmocka_unit_test(a_finding_shows_the_state_of_its_inspections_signature),
            cmocka_unit_test(what_refers_to_an_entry_is_found_from_it),
            cmocka_unit_test(marks_of_another_history_or_another_chain_are_left_aside),
            cmocka_unit_test(what_another_process_kept_of_more_entries_stays),
            cmocka_unit_test(
                    check_tells_damaged_states_from_those_that_would_give_another_number),
            cmocka_unit_test(every_flipped_bit_of_the_marks_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
