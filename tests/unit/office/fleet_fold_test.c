/* The fleet from stored states; what is said of signatures, advice and renewals. */
#include "office_support.h"

#include "unit/fold/shelved.h"

#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "board_support.h"
#include "office/check.h"
#include "office/fleet.h"
#include "office/show.h"
#include "office/tables.h"

#define OUT_MAX ((size_t)8 * 1024 * 1024)

struct both {
    struct office office;
    struct shelved *shelved; /* entries and signatures are made here */
    struct rig rig;
    size_t copied;
    int64_t at_s;
};

static void
start(struct both *both)
{
    office_start(&both->office);
    both->shelved = shelved_new(11);
    fsp_skey_free(both->shelved->office);
    both->shelved->office = both->office.keys.instructions; /* one office */
    rig_start(&both->rig, &both->office, RIG, "a1");
    both->copied = 0;
    shelved_open(both->shelved, START_S);
    both->at_s = START_S + 86400;
}

static void
stop(struct both *both)
{
    both->shelved->office = NULL;
    shelved_free(both->shelved);
    rig_stop(&both->rig);
    office_stop(&both->office);
}

/* What the rig has and the office lacks, in one bundle. */
static void
send(struct both *both)
{
    uint64_t within[2] = {both->copied, both->shelved->n[0]};

    for (; both->copied < both->shelved->n[0]; both->copied++)
        rig_add(&both->rig, fsp_buf_peek(&both->shelved->entries[0][both->copied].bytes));
    both->office.now_us += 7 * FSP_US_PER_S;
    assert_int_equal(rig_send(&both->rig, &both->office, within, within[0] == 0, NULL), 200);
}

static void
trips(struct both *both, int n)
{
    for (int i = 0; i < n; i++) {
        (void)shelved_put(both->shelved, "work", both->at_s,
                "\"op\":\"round-trip\",\"depth\":\"6000ft\"");
        both->at_s += 7200;
    }
}

static struct fsp_fleet *
load_from(struct both *both, struct fsp_shelf *shelf, bool whole)
{
    const struct fsp_fleet_about about = {.as_of_s = START_S + 60 * FSP_S_PER_DAY,
            .keys = fsp_skey_vkey(both->office.keys.instructions),
            .n_keys = 1,
            .rig = RIG,
            .inspections = 10,
            .whole = whole};
    struct fsp_fleet *fleet = NULL;
    struct fsp_err err = {0};

    assert_ok(fsp_fleet_load(shelf, &about, &fleet, &err), &err);
    return fleet;
}

/* How many entries a load reads; it must say what a load of everything says. */
static size_t
load(struct both *both)
{
    struct fsp_fleet *fleet = load_from(both, both->office.shelf, false);
    struct fsp_fleet *whole = load_from(both, both->office.shelf, true);
    size_t read = fsp_fold_read(fleet->rigs[0]->fold);
    const struct fsp_board_page page = board_open_page(fleet);
    const struct fsp_board_page whole_page = board_open_page(whole);
    struct fsp_buf a;
    struct fsp_buf b;

    fsp_buf_init(&a, OUT_MAX);
    fsp_buf_init(&b, OUT_MAX);
    fsp_show_rig_json(fleet, fleet->rigs[0], &a);
    fsp_board_rig(&page, fleet->rigs[0], NULL, &a);
    fsp_board_fleet(&page, &board_all_rigs, &a);
    fsp_show_rig_json(whole, whole->rigs[0], &b);
    fsp_board_rig(&whole_page, whole->rigs[0], NULL, &b);
    fsp_board_fleet(&whole_page, &board_all_rigs, &b);
    assert_string_equal(fsp_buf_peek(&a), fsp_buf_peek(&b));
    fsp_buf_fini(&a);
    fsp_buf_fini(&b);
    fsp_fleet_free(fleet);
    fsp_fleet_free(whole);
    return read;
}

/* The rig as text, JSON, CSV of inspections, and page, one after the other. */
static void
says(struct both *both, struct fsp_buf *out)
{
    struct fsp_fleet *fleet = load_from(both, both->office.shelf, false);
    const struct fsp_board_page page = board_open_page(fleet);
    const struct fsp_tables_from from = {.fleet = fleet, .rig = fleet->rigs[0]};
    const struct fsp_tables_def *table = NULL;
    struct fsp_err err = {0};

    fsp_buf_init(out, OUT_MAX);
    fsp_show_rig(fleet, fleet->rigs[0], out);
    fsp_show_rig_json(fleet, fleet->rigs[0], out);
    assert_ok(fsp_tables_find("inspections", &table, &err), &err);
    assert_ok(fsp_tables_write(table, FSP_TABLE_CSV, &from, out, &err), &err);
    fsp_board_rig(&page, fleet->rigs[0], NULL, out);
    assert_int_equal(out->rc, FSP_OK);
    fsp_fleet_free(fleet);
}

static void
has(const struct fsp_buf *out, const char *text)
{
    if (strstr(fsp_buf_peek(out), text) == NULL)
        fail_msg("'%s' is not in:\n%.6000s", text, fsp_buf_peek(out));
}

/* ---- stored states ---- */

static void
a_page_view_after_one_new_record_reads_that_record(void **state)
{
    struct both both;

    (void)state;
    start(&both);
    trips(&both, 100);
    send(&both);
    assert_int_equal(load(&both), 104);
    assert_in_range(load(&both), 0, 2);
    trips(&both, 1);
    send(&both);
    assert_in_range(load(&both), 1, 3);
    stop(&both);
}

static void
while_intake_writes_nothing_is_kept_and_nobody_waits(void **state)
{
    struct both both;
    struct fsp_err err = {0};
    const struct fsp_shelf_ops *ops;
    struct fsp_shelf *reader = NULL;

    (void)state;
    start(&both);
    trips(&both, 100);
    send(&both);
    assert_ok(fsp_shelf_open(
                      &fsp_shelf_sqlite, both.office.folder, FSP_SHELF_READ, &reader, &err),
            &err);
    ops = both.office.shelf->ops;
    assert_ok(ops->begin(both.office.shelf->ctx, true, &err), &err);
    fsp_fleet_free(load_from(&both, reader, false));
    ops->rollback(both.office.shelf->ctx);
    assert_int_equal(load(&both), 104); /* nothing had been kept */
    assert_in_range(load(&both), 0, 2);
    fsp_shelf_close(reader);
    stop(&both);
}

static void
a_reader_sees_one_moment_whatever_intake_and_other_readers_do(void **state)
{
    struct both both;
    struct fsp_err err = {0};
    struct fsp_shelf *reader = NULL;
    struct fsp_fold_store store;
    struct fsp_fold_log log = {.id = 1};
    struct fsp_fold_about about = {.fleet = FLEET,
            .rig = RIG,
            .n_keys = 1,
            .logs = &log,
            .n_logs = 1,
            .as_of_s = START_S + 60 * FSP_S_PER_DAY};
    struct fsp_fold *before = NULL;
    struct fsp_fold *after = NULL;
    struct fsp_range range;
    struct fsp_buf a;
    struct fsp_buf b;

    (void)state;
    start(&both);
    about.keys = fsp_skey_vkey(both.office.keys.instructions);
    trips(&both, 100);
    send(&both);
    (void)load(&both);
    assert_ok(fsp_shelf_open(
                      &fsp_shelf_sqlite, both.office.folder, FSP_SHELF_READ, &reader, &err),
            &err);
    assert_ok(reader->ops->begin(reader->ctx, false, &err), &err);
    assert_ok(reader->ops->tip(reader->ctx, 1, &range, &err), &err);
    log.size = range.size;
    reader->ops->fold_store(reader->ctx, RIG, &store);
    assert_ok(fsp_fold_new(&store, &about, &before, &err), &err);
    trips(&both, 100); /* intake, and a fold that keeps more */
    send(&both);
    (void)load(&both);
    assert_ok(fsp_fold_new(&store, &about, &after, &err), &err);
    assert_int_equal(fsp_fold_entries(after), 104);
    fsp_buf_init(&a, OUT_MAX);
    fsp_buf_init(&b, OUT_MAX);
    fsp_ledger_json(fsp_fold_ledger(before), &a);
    fsp_ledger_json(fsp_fold_ledger(after), &b);
    assert_string_equal(fsp_buf_peek(&a), fsp_buf_peek(&b));
    reader->ops->rollback(reader->ctx);
    /* What that reader folded late takes nothing of the newer away. */
    reader->ops->keep_fold(reader->ctx, RIG, before);
    assert_in_range(load(&both), 0, 2);
    fsp_buf_fini(&a);
    fsp_buf_fini(&b);
    fsp_fold_free(before);
    fsp_fold_free(after);
    fsp_shelf_close(reader);
    stop(&both);
}

static void
check_holds_stored_states_against_all_entries(void **state)
{
    struct both both;
    struct fsp_check_report report;
    struct fsp_err err = {0};

    (void)state;
    start(&both);
    trips(&both, 100);
    send(&both);
    (void)load(&both);
    fsp_check_report_init(&report);
    assert_ok(fsp_check_store(both.office.shelf, &both.office.keys, &report, &err), &err);
    assert_int_equal(report.problems, 0);
    assert_int_equal(report.states.states, 1);
    assert_int_equal(report.states.damaged, 0);
    fsp_check_report_fini(&report);
    stop(&both);
}

/* ---- signatures ---- */

static void
inspections_are_marked_as_what_they_are(void **state)
{
    struct both both;
    struct fsp_buf out;
    size_t index;

    (void)state;
    start(&both);
    (void)shelved_inspect(both.shelved, both.at_s, "run", "k-ode", both.shelved->inspector);
    send(&both);
    says(&both, &out);
    has(&out, "signer not on the roster");
    has(&out, "No roster of inspectors is in this rig&#39;s log");
    fsp_buf_fini(&out);
    (void)shelved_roster(both.shelved, both.at_s + 100, true);
    index = shelved_inspect(
            both.shelved, both.at_s + 200, "out-of-service", "k-ode", both.shelved->inspector);
    (void)shelved_countersign(both.shelved, both.at_s + 300, 0, index, both.shelved->second);
    (void)shelved_inspect(both.shelved, both.at_s + 400, "run", "k-ode", NULL);
    (void)shelved_inspect(both.shelved, both.at_s + 500, "run", "k-ode", both.shelved->second);
    send(&both);
    says(&both, &out);
    has(&out, "open finding          signed: inspection of 2026-03-02T00:03:20Z");
    has(&out, "\"countersigned\":[{");
    has(&out, "\"signature\":\"signed\",\"signer\":\"b-fell\"");
    has(&out, "\"roster\":1");
    has(&out, ",R-1,monthly,run,k-ode,signature does not hold,,\r\n");
    has(&out, ",R-1,monthly,run,k-ode,unsigned,,\r\n");
    has(&out, "out-of-service,k-ode,signed,b-fell (signed),\r\n");
    has(&out, "<span class=\"state stop\">signature does not hold</span>");
    has(&out, "<span class=\"state plain\">unsigned</span>");
    has(&out, "4 of 4 inspections, judged by version 1 of the roster");
    has(&out, "2026-03-02 00:08Z"); /* the table for people */
    fsp_buf_fini(&out);
    stop(&both);
}

/* ---- advice ---- */

static void
early_cuts_for_wear_bring_advice_with_its_evidence(void **state)
{
    struct both both;
    struct fsp_buf out;

    (void)state;
    start(&both);
    for (int i = 0; i < 7; i++) {
        trips(&both, 2);
        (void)shelved_put(both.shelved, "cut", both.at_s,
                "\"length\":\"90ft\",\"slipped\":\"90ft\",\"reason\":\"broken-wires\","
                "\"place\":\"crossover\",\"condition\":\"worn-out\"");
        both.at_s += 86400;
    }
    send(&both);
    says(&both, &out);
    has(&out, "advice                inspect first: ");
    has(&out, "\"advice\":[{\"cuts\":");
    has(&out, "\"kind\":\"inspect first\"");
    has(&out, "Advice on the programme");
    has(&out, "advice: inspect first");
    fsp_buf_fini(&out);
    stop(&both);
}

/* ---- renewals ---- */

static void
add_renewal(struct office *office, const struct fsp_shelf_renewal *renewal)
{
    struct fsp_err err = {0};

    assert_ok(office->shelf->ops->begin(office->shelf->ctx, true, &err), &err);
    assert_ok(office->shelf->ops->add_renewal(office->shelf->ctx, renewal, &err), &err);
    assert_ok(office->shelf->ops->commit(office->shelf->ctx, &err), &err);
}

static void
a_renewal_is_flagged_until_a_keeper_confirms_and_two_continuations_always(void **state)
{
    struct both both;
    struct rig later[2];
    struct fsp_shelf_renewal renewal = {
            .log = 2, .from = 1, .from_size = 4, .how = FSP_RENEWAL_INVITED, .seen_s = START_S};
    struct fsp_err err = {0};
    struct fsp_fleet *fleet;
    struct fsp_buf out;

    (void)state;
    start(&both);
    send(&both);
    rig_start(&later[0], &both.office, RIG, "b2");
    rig_start(&later[1], &both.office, RIG, "c3");
    for (size_t i = 0; i < 2; i++) {
        rig_add_many(&later[i], 2);
        assert_int_equal(
                rig_send(&later[i], &both.office, (const uint64_t[2]){0, 2}, true, NULL), 200);
    }
    add_renewal(&both.office, &renewal);
    says(&both, &out);
    has(&out, "/heron/b2, 2 entries");
    has(&out,
            "continues " FLEET "/heron/a1 from entry 4 on, renewal not confirmed, not proved");
    has(&out, "\"renewal\":{\"confirmed\":false,\"confirmed_by\":null,\"from\":\"" FLEET
              "/heron/a1\",\"from_size\":4,\"how\":\"invited\",\"second\":false");
    has(&out, "<td>renewal not confirmed, not proved by the old key</td>");
    fsp_buf_fini(&out);
    assert_ok(both.office.shelf->ops->begin(both.office.shelf->ctx, true, &err), &err);
    assert_ok(both.office.shelf->ops->confirm_renewal(
                      both.office.shelf->ctx, 2, "keeper", START_S + 9, &err),
            &err);
    assert_ok(both.office.shelf->ops->commit(both.office.shelf->ctx, &err), &err);
    fleet = load_from(&both, both.office.shelf, false);
    assert_int_equal(fleet->rigs[0]->renewals, 0);
    fsp_buf_init(&out, OUT_MAX);
    fsp_show_rig(fleet, fleet->rigs[0], &out);
    has(&out, "confirmed by keeper");
    fsp_buf_fini(&out);
    fsp_fleet_free(fleet);
    renewal.log = 3;
    renewal.how = FSP_RENEWAL_PROVED;
    add_renewal(&both.office, &renewal);
    fleet = load_from(&both, both.office.shelf, false);
    assert_int_equal(fleet->rigs[0]->renewals, 1);
    assert_true(fleet->rigs[0]->renewals_odd);
    assert_int_equal(fleet->rigs[0]->attention, FSP_ATTENTION_FORK);
    fsp_buf_init(&out, OUT_MAX);
    fsp_fleet_flag_text(fleet->rigs[0], &out);
    has(&out, "another log continues the same one");
    fsp_buf_fini(&out);
    fsp_fleet_free(fleet);
    (void)load(&both);
    rig_stop(&later[0]);
    rig_stop(&later[1]);
    stop(&both);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_page_view_after_one_new_record_reads_that_record),
            cmocka_unit_test(while_intake_writes_nothing_is_kept_and_nobody_waits),
            cmocka_unit_test(a_reader_sees_one_moment_whatever_intake_and_other_readers_do),
            cmocka_unit_test(check_holds_stored_states_against_all_entries),
            cmocka_unit_test(inspections_are_marked_as_what_they_are),
            cmocka_unit_test(early_cuts_for_wear_bring_advice_with_its_evidence),
            cmocka_unit_test(
                    a_renewal_is_flagged_until_a_keeper_confirms_and_two_continuations_always),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
