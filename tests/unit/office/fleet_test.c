#include "office_support.h"

#include <stdlib.h>
#include <string.h>

#include "line/ledger.h"
#include "office/fleet.h"
#include "office/show.h"
#include "record/check.h"
#include "record/record.h"

#define OUT_MAX ((size_t)4 * 1024 * 1024)

/* One record by its JSON, made canonical the way a rig does. */
static void
add_json(struct rig *rig, const char *json)
{
    struct fsp_check_context context = {.present_s = START_S + 400 * FSP_S_PER_DAY};
    struct fsp_record *record = NULL;
    struct fsp_buf bytes;
    struct fsp_err err = {0};

    assert_ok(fsp_check_json(json, strlen(json), &context, &record, &err), &err);
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_record_write(record, &bytes);
    rig_add(rig, fsp_buf_peek(&bytes));
    fsp_buf_fini(&bytes);
    fsp_record_free(record);
}

static void
add_start(struct rig *rig)
{
    add_json(rig, "{\"kind\":\"rig\",\"at\":\"2026-03-01T00:00:00Z\",\"by\":\"clerk\","
                  "\"mast\":\"142ft\",\"drum\":\"30in\",\"block\":\"47000lb\"}");
    add_json(rig, "{\"kind\":\"reel\",\"at\":\"2026-03-01T01:00:00Z\",\"by\":\"clerk\","
                  "\"reel\":\"<b>R-1</b>\",\"rope\":\"1-3/8in\",\"grade\":\"EIPS\","
                  "\"received\":\"5000ft\",\"strung\":\"1200ft\",\"lines\":10}");
    add_json(rig, "{\"kind\":\"program\",\"at\":\"2026-03-01T02:00:00Z\",\"by\":\"engineer\","
                  "\"cut\":\"90ft\",\"first-goal\":\"1800\",\"later-goal\":\"1600\"}");
    add_json(rig, "{\"kind\":\"drill-string\",\"at\":\"2026-03-01T03:00:00Z\",\"by\":\"clerk\","
                  "\"pipe\":\"19.5lb/ft\",\"stand\":\"90ft\",\"bha-weight\":\"50000lb\","
                  "\"bha-length\":\"600ft\",\"mud\":\"10ppg\"}");
}

static void
add_trip(struct rig *rig, int day)
{
    char json[256];

    (void)snprintf(json, sizeof(json),
            "{\"kind\":\"work\",\"at\":\"2026-03-%02dT12:00:00Z\",\"by\":\"clerk\","
            "\"op\":\"round-trip\",\"depth\":\"8000ft\"}",
            day);
    add_json(rig, json);
}

static void
send_all(struct rig *rig, struct office *office)
{
    assert_int_equal(rig_send(rig, office, (const uint64_t[2]){0, rig->n}, true, NULL), 200);
}

static void
load(struct office *office, struct fsp_fleet **fleet)
{
    const struct fsp_fleet_about about = {.as_of_s = START_S + 60 * FSP_S_PER_DAY,
            .keys = fsp_skey_vkey(office->keys.instructions),
            .n_keys = 1,
            .rig = "heron",
            .inspections = 10};
    struct fsp_err err = {0};

    assert_ok(fsp_fleet_load(office->shelf, &about, fleet, &err), &err);
}

/* The ledger of the same records made by hand, as a rig with both logs at home would make it. */
static void
ledger_by_hand(const struct rig *const *logs, size_t n, struct fsp_buf *out)
{
    struct fsp_ledger *ledger = NULL;
    struct fsp_record *records[2 * ENTRIES_MAX];
    size_t used = 0;
    struct fsp_err err = {0};

    assert_ok(fsp_ledger_new(&ledger, &err), &err);
    for (size_t l = n; l-- > 0;) /* the other way round: the order must not matter */
        for (size_t i = 0; i < logs[l]->n; i++) {
            struct fsp_ledger_entry entry = {.log = (uint32_t)l, .index = i};
            const uint8_t *bytes = (const uint8_t *)logs[l]->entries[i];
            size_t len = strlen(logs[l]->entries[i]);

            assert_ok(fsp_check_stored(bytes, len, &records[used], &err), &err);
            entry.record = records[used++];
            fsp_leaf_hash(bytes, len, entry.leaf);
            assert_ok(fsp_ledger_add(ledger, &entry, &err), &err);
        }
    assert_ok(fsp_ledger_fold(ledger, START_S + 60 * FSP_S_PER_DAY, &err), &err);
    fsp_ledger_json(ledger, out);
    fsp_ledger_free(ledger);
    for (size_t i = 0; i < used; i++)
        fsp_record_free(records[i]);
}

static void
two_logs_of_a_rig_are_one_account(void **state)
{
    struct office office;
    struct rig one;
    struct rig two;
    const struct rig *const both[] = {&one, &two};
    struct fsp_fleet *fleet = NULL;
    const struct fsp_fleet_rig *rig;
    struct fsp_buf theirs;
    struct fsp_buf ours;

    (void)state;
    office_start(&office);
    rig_start(&one, &office, "heron", "a1");
    rig_start(&two, &office, "heron", "b2");
    add_start(&one);
    add_trip(&one, 2);
    add_trip(&two, 3);
    add_trip(&two, 4);
    send_all(&one, &office);
    office.now_us += 7 * FSP_US_PER_S;
    send_all(&two, &office);
    load(&office, &fleet);
    assert_int_equal(fleet->n, 1);
    rig = fsp_fleet_find(fleet, "heron");
    assert_non_null(rig);
    assert_int_equal(rig->n_logs, 2);
    assert_string_equal(fsp_fleet_current(rig)->log.origin, FLEET "/heron/b2");
    assert_int_equal(rig->entries, one.n + two.n);
    assert_int_equal(rig->unreadable, 0);
    assert_int_equal(rig->heard_s, START_S + 7);
    fsp_buf_init(&ours, OUT_MAX);
    fsp_buf_init(&theirs, OUT_MAX);
    fsp_ledger_json(rig->ledger, &ours);
    ledger_by_hand(both, 2, &theirs);
    assert_string_equal(fsp_buf_peek(&ours), fsp_buf_peek(&theirs));
    fsp_buf_reset(&ours);
    fsp_show_rig_json(fleet, rig, &ours);
    assert_non_null(strstr(fsp_buf_peek(&ours), fsp_buf_peek(&theirs)));
    fsp_buf_fini(&ours);
    fsp_buf_fini(&theirs);
    fsp_fleet_free(fleet);
    rig_stop(&one);
    rig_stop(&two);
    office_stop(&office);
}

static void
a_rig_never_heard_is_listed(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_fleet *fleet = NULL;
    struct fsp_buf out;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "plover", "a1");
    load(&office, &fleet);
    assert_int_equal(fleet->n, 1);
    assert_null(fsp_fleet_current(fleet->rigs[0]));
    assert_null(fsp_fleet_find(fleet, "heron"));
    fsp_buf_init(&out, OUT_MAX);
    fsp_show_fleet(fleet, &out);
    assert_non_null(strstr(fsp_buf_peek(&out), "never heard"));
    fsp_buf_reset(&out);
    fsp_show_rig(fleet, fleet->rigs[0], &out);
    fsp_show_rig_json(fleet, fleet->rigs[0], &out);
    fsp_show_early(fleet, &out);
    assert_int_equal(out.rc, FSP_OK);
    fsp_buf_fini(&out);
    fsp_fleet_free(fleet);
    rig_stop(&rig);
    office_stop(&office);
}

static void
what_needs_attention_comes_first(void **state)
{
    static const char *const names[] = {"dunlin", "heron", "plover", "whimbrel"};
    static const char *const want[] = {"plover", "whimbrel", "heron", "dunlin"};
    struct office office;
    struct rig rigs[4];
    struct fsp_fleet *fleet = NULL;
    const struct fsp_fleet_rig *order[4];

    (void)state;
    office_start(&office);
    office.now_us = (START_S + 59 * FSP_S_PER_DAY) * FSP_US_PER_S; /* nobody is quiet */
    for (size_t i = 0; i < 4; i++) {
        rig_start(&rigs[i], &office, names[i], "a1");
        add_start(&rigs[i]);
        add_trip(&rigs[i], 2);
    }
    rig_add(&rigs[1], "unreadable"); /* heron: a flag */
    for (int day = 3; day < 12; day++)
        add_trip(&rigs[3], day); /* whimbrel: overdue */
    add_json(&rigs[2],
            "{\"kind\":\"inspection\",\"at\":\"2026-03-03T00:00:00Z\",\"by\":\"inspector\","
            "\"fleet\":\"lantern-basin\",\"rig\":\"plover\",\"reel\":\"<b>R-1</b>\","
            "\"inspector\":\"inspector\",\"scope\":\"monthly\",\"decision\":\"out-of-"
            "service\"}");
    for (size_t i = 0; i < 4; i++)
        send_all(&rigs[i], &office);
    load(&office, &fleet);
    assert_int_equal(fleet->n, 4);
    fsp_fleet_by_attention(fleet, order);
    for (size_t i = 0; i < 4; i++)
        assert_string_equal(order[i]->name, want[i]);
    fsp_fleet_free(fleet);
    for (size_t i = 0; i < 4; i++)
        rig_stop(&rigs[i]);
    office_stop(&office);
}

/* A rig that cuts at about a sixth of its goal, n times. */
static void
add_cuts(struct rig *rig, int n, const char *reason)
{
    char json[384];

    for (int i = 0; i < n; i++) {
        add_trip(rig, 2 + 2 * i);
        (void)snprintf(json, sizeof(json),
                "{\"kind\":\"slip\",\"at\":\"2026-03-%02dT13:00:00Z\",\"by\":\"clerk\","
                "\"length\":\"90ft\"}",
                2 + 2 * i);
        add_json(rig, json);
        (void)snprintf(json, sizeof(json),
                "{\"kind\":\"cut\",\"at\":\"2026-03-%02dT14:00:00Z\",\"by\":\"clerk\","
                "\"length\":\"90ft\",\"reason\":\"%s\",\"place\":\"crossover\","
                "\"condition\":\"worn-out\"}",
                2 + 2 * i, reason);
        add_json(rig, json);
    }
}

static void
add_early_cuts(struct rig *rig, int n)
{
    add_cuts(rig, n, "broken-wires");
}

static void
the_rig_that_keeps_cutting_early_is_flagged_and_no_other(void **state)
{
    struct office office;
    struct rig early;
    struct rig usual;
    struct fsp_fleet *fleet = NULL;
    struct fsp_buf out;

    (void)state;
    office_start(&office);
    rig_start(&early, &office, "heron", "a1");
    rig_start(&usual, &office, "plover", "a1");
    add_start(&early);
    add_early_cuts(&early, 7);
    add_start(&usual);
    add_trip(&usual, 2);
    send_all(&early, &office);
    send_all(&usual, &office);
    load(&office, &fleet);
    assert_int_equal(fsp_fleet_find(fleet, "heron")->review.state, FSP_REVIEW_FLAGGED);
    assert_int_not_equal(fsp_fleet_find(fleet, "plover")->review.state, FSP_REVIEW_FLAGGED);
    fsp_buf_init(&out, OUT_MAX);
    fsp_show_early_json(fleet, &out);
    assert_non_null(strstr(fsp_buf_peek(&out), "\"rig\":\"heron\""));
    assert_null(strstr(fsp_buf_peek(&out), "\"rig\":\"plover\""));
    assert_non_null(strstr(fsp_buf_peek(&out), "\"cuts\":["));
    fsp_buf_reset(&out);
    fsp_show_early(fleet, &out);
    assert_non_null(strstr(fsp_buf_peek(&out), "broken-wires"));
    fsp_buf_fini(&out);
    fsp_fleet_free(fleet);
    rig_stop(&early);
    rig_stop(&usual);
    office_stop(&office);
}

/* Accounts of all rigs that were given, by name. */
static void
read_accounts(struct office *office, const char *const *names, size_t n,
        struct fsp_fleet_account **accounts)
{
    const struct fsp_fleet_about about = {.as_of_s = START_S + 60 * FSP_S_PER_DAY};
    struct fsp_err err = {0};

    assert_ok(office->shelf->ops->begin(office->shelf->ctx, false, &err), &err);
    for (size_t i = 0; i < n; i++)
        assert_ok(fsp_fleet_read(office->shelf, &about, FLEET, names[i], &accounts[i], &err),
                &err);
    office->shelf->ops->rollback(office->shelf->ctx);
}

static struct fsp_fleet *
judge(struct fsp_fleet_account *const *accounts, size_t n, const struct fsp_fleet *before)
{
    const struct fsp_fleet_judging what = {.name = FLEET,
            .as_of_s = START_S + 60 * FSP_S_PER_DAY,
            .accounts = accounts,
            .n = n,
            .before = before};
    struct fsp_fleet *fleet = NULL;
    struct fsp_err err = {0};

    assert_ok(fsp_fleet_judge(&what, &fleet, &err), &err);
    return fleet;
}

static void
rigs_are_shared_until_they_or_their_base_rate_change(void **state)
{
    static const char *const names[] = {"dunlin", "heron", "plover"};
    struct office office;
    struct rig rigs[3];
    struct fsp_fleet_account *accounts[3];
    struct fsp_fleet_account *again[1];
    struct fsp_fleet *first;
    struct fsp_fleet *second;
    struct fsp_fleet *third;

    (void)state;
    office_start(&office);
    for (size_t i = 0; i < 3; i++) {
        rig_start(&rigs[i], &office, names[i], "a1");
        add_start(&rigs[i]);
        send_all(&rigs[i], &office);
    }
    read_accounts(&office, names, 3, accounts);
    first = judge(accounts, 3, NULL);
    add_trip(&rigs[1], 2); /* heron works: nobody's base rate changes */
    assert_int_equal(rig_send(&rigs[1], &office, (const uint64_t[2]){4, 5}, false, NULL), 200);
    read_accounts(&office, names + 1, 1, again);
    fsp_fleet_release(accounts[1]);
    accounts[1] = again[0];
    second = judge(accounts, 3, first);
    assert_ptr_equal(second->rigs[0], first->rigs[0]);
    assert_ptr_not_equal(second->rigs[1], first->rigs[1]);
    assert_ptr_equal(second->rigs[2], first->rigs[2]);
    assert_int_equal(first->rigs[1]->entries, 4); /* the held one stays as it was */
    assert_int_equal(second->rigs[1]->entries, 5);

    add_early_cuts(&rigs[1], 7); /* and now it cuts early */
    assert_int_equal(
            rig_send(&rigs[1], &office, (const uint64_t[2]){5, rigs[1].n}, false, NULL), 200);
    read_accounts(&office, names + 1, 1, again);
    fsp_fleet_release(accounts[1]);
    accounts[1] = again[0];
    third = judge(accounts, 3, second);
    assert_ptr_not_equal(third->rigs[0], second->rigs[0]);
    assert_ptr_not_equal(third->rigs[2], second->rigs[2]);
    assert_int_equal(third->rigs[1]->review.state, FSP_REVIEW_FLAGGED);
    fsp_fleet_free(second);
    fsp_fleet_free(first);
    assert_ptr_equal(third->rigs[0]->account, accounts[0]);
    for (size_t i = 0; i < 3; i++)
        fsp_fleet_release(accounts[i]);
    assert_string_equal(third->rigs[2]->name, "plover"); /* held by the fleet */
    assert_ptr_equal(fsp_fleet_hold(third), third);
    fsp_fleet_free(third);
    assert_string_equal(third->rigs[0]->name, "dunlin");
    fsp_fleet_free(third);
    for (size_t i = 0; i < 3; i++)
        rig_stop(&rigs[i]);
    office_stop(&office);
}

/* A rig on this rope that begins, and cuts 7 times. */
static void
start_on_rope(struct rig *rig, const char *rope, const char *reason)
{
    char json[384];

    add_start(rig);
    (void)snprintf(json, sizeof(json),
            "{\"kind\":\"reel\",\"at\":\"2026-03-01T04:00:00Z\",\"by\":\"clerk\","
            "\"reel\":\"R-2\",\"rope\":\"%s\",\"grade\":\"EIPS\","
            "\"received\":\"5000ft\",\"strung\":\"1200ft\",\"lines\":10}",
            rope);
    add_json(rig, json);
    add_cuts(rig, 7, reason);
}

/* 6 of each rig's 7 cuts are eligible: 4 others make 24, 3 make 18, which is too few. */
static void
the_base_rate_is_that_of_the_other_rigs_on_the_same_rope(void **state)
{
    static const char *const names[] = {
            "avocet", "curlew", "dunlin", "heron", "knot", "plover"};
    static const char *const ropes[] = {
            "1-3/8in", "1-3/8in", "1-3/8in", "1-3/8in", "1-3/8in", "1-1/4in"};
    struct office office;
    struct rig rigs[6];
    struct fsp_fleet *fleet = NULL;

    (void)state;
    office_start(&office);
    for (size_t i = 0; i < 6; i++) {
        rig_start(&rigs[i], &office, names[i], "a1");
        start_on_rope(&rigs[i], ropes[i], i == 3 ? "diameter" : "goal");
        send_all(&rigs[i], &office);
    }
    load(&office, &fleet);
    assert_int_equal(fleet->rigs[3]->review.state, FSP_REVIEW_FLAGGED);
    assert_int_equal(fleet->rigs[3]->review.rate_cuts, 24);
    assert_int_equal(fleet->rigs[0]->review.state, FSP_REVIEW_CLEAR);
    assert_int_equal(fleet->rigs[0]->review.rate_cuts, 0); /* heron stands flagged */
    assert_int_equal(fleet->rigs[5]->review.rate_cuts, 0); /* alone on its rope */
    fsp_fleet_free(fleet);
    for (size_t i = 0; i < 6; i++)
        rig_stop(&rigs[i]);
    office_stop(&office);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(two_logs_of_a_rig_are_one_account),
            cmocka_unit_test(a_rig_never_heard_is_listed),
            cmocka_unit_test(what_needs_attention_comes_first),
            cmocka_unit_test(the_rig_that_keeps_cutting_early_is_flagged_and_no_other),
            cmocka_unit_test(rigs_are_shared_until_they_or_their_base_rate_change),
            cmocka_unit_test(the_base_rate_is_that_of_the_other_rigs_on_the_same_rope),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
