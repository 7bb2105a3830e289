/* The pages as functions: what they say, where their numbers lead, who is offered what. */
#include "office_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "board_support.h"
#include "office/board_entry.h"
#include "office/board_history.h"
#include "proof/evidence.h"
#include "record/check.h"
#include "record/record.h"

#define OUT_MAX ((size_t)8 * 1024 * 1024)

struct scene {
    struct office office;
    struct rig rig;
    struct fsp_fleet *fleet;
    struct fsp_buf out;
};

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
add_day(struct rig *rig, const char *kind, int day, int hour, const char *members)
{
    char json[512];

    (void)snprintf(json, sizeof(json),
            "{\"kind\":\"%s\",\"at\":\"2026-03-%02dT%02d:00:00Z\",\"by\":\"clerk\",%s}", kind,
            day, hour, members);
    add_json(rig, json);
}

static void
start(struct scene *scene)
{
    memset(scene, 0, sizeof(*scene));
    office_start(&scene->office);
    rig_start(&scene->rig, &scene->office, "heron", "a1");
    add_day(&scene->rig, "rig", 1, 0,
            "\"mast\":\"142ft\",\"drum\":\"30in\",\"block\":\"47000lb\"");
    add_day(&scene->rig, "reel", 1, 1,
            "\"reel\":\"<b>R-1</b>\",\"rope\":\"1-3/8in\",\"grade\":\"EIPS\","
            "\"received\":\"5000ft\",\"strung\":\"1200ft\",\"lines\":10,\"class\":\"6x19\"");
    add_day(&scene->rig, "program", 1, 2,
            "\"cut\":\"90ft\",\"first-goal\":\"1800\",\"later-goal\":\"1600\"");
    add_day(&scene->rig, "drill-string", 1, 3,
            "\"pipe\":\"19.5lb/ft\",\"stand\":\"90ft\",\"bha-weight\":\"50000lb\","
            "\"bha-length\":\"600ft\",\"mud\":\"10ppg\"");
    add_day(&scene->rig, "well", 1, 4, "\"well\":\"LB-1\",\"formation\":\"hard\"");
}

/* n cuts at about a sixth of the goal, each on a day of its own. */
static void
cuts(struct scene *scene, int n, const char *condition)
{
    char members[200];

    for (int i = 0; i < n; i++) {
        add_day(&scene->rig, "work", 2 + 2 * i, 12,
                "\"op\":\"round-trip\",\"depth\":\"8000ft\"");
        add_day(&scene->rig, "slip", 2 + 2 * i, 13, "\"length\":\"90ft\"");
        (void)snprintf(members, sizeof(members),
                "\"length\":\"90ft\",\"reason\":\"broken-wires\",\"place\":\"crossover\","
                "\"condition\":\"%s\"",
                condition);
        add_day(&scene->rig, "cut", 2 + 2 * i, 14, members);
    }
}

static void
show(struct scene *scene)
{
    const struct fsp_fleet_about about = {.as_of_s = START_S + 30 * FSP_S_PER_DAY,
            .keys = fsp_skey_vkey(scene->office.keys.instructions),
            .n_keys = 1,
            .inspections = 10};
    struct fsp_err err = {0};

    if (scene->rig.n > 0)
        assert_int_equal(rig_send(&scene->rig, &scene->office,
                                 (const uint64_t[2]){0, scene->rig.n}, true, NULL),
                200);
    assert_ok(fsp_fleet_load(scene->office.shelf, &about, &scene->fleet, &err), &err);
    fsp_buf_init(&scene->out, OUT_MAX);
}

static void
stop(struct scene *scene)
{
    fsp_buf_fini(&scene->out);
    fsp_fleet_free(scene->fleet);
    rig_stop(&scene->rig);
    office_stop(&scene->office);
}

static void
has(const struct scene *scene, const char *text)
{
    assert_int_equal(scene->out.rc, FSP_OK);
    if (strstr(fsp_buf_peek(&scene->out), text) == NULL)
        fail_msg("'%s' is not in:\n%.8000s", text, fsp_buf_peek(&scene->out));
}

static void
has_not(const struct scene *scene, const char *text)
{
    assert_int_equal(scene->out.rc, FSP_OK);
    assert_null(strstr(fsp_buf_peek(&scene->out), text));
}

static struct fsp_history *
history_of(struct scene *scene, int64_t since_s)
{
    const struct fsp_history_about about = {.fleet = FLEET,
            .rig = "heron",
            .keys = fsp_skey_vkey(scene->office.keys.instructions),
            .n_keys = 1,
            .as_of_s = scene->fleet->as_of_s,
            .since_s = since_s,
            .inspections = 10};
    struct fsp_history *history = NULL;
    struct fsp_err err = {0};

    assert_ok(fsp_history_load(scene->office.shelf, &about, &history, &err), &err);
    return history;
}

/* --- fleet ------------------------------------------------------------------------------------- */

static void
the_fleet_says_whose_limit_it_is_and_escapes_what_rigs_send(void **state)
{
    struct scene scene;
    struct fsp_board_page page;

    (void)state;
    start(&scene);
    cuts(&scene, 7, "worn-out");
    rig_add(&scene.rig, "<script>alert(1)</script>");
    show(&scene);
    page = board_open_page(scene.fleet);
    fsp_board_fleet(&page, &board_all_rigs, &scene.out);
    has(&scene, "<title>Page \xc2\xb7 " FLEET " \xc2\xb7 Farspool</title>");
    has(&scene, "the line&#39;s limit, never the rig&#39;s");
    has(&scene, "<a href=\"/rig?name=heron\">heron</a>");
    has(&scene, "Open: no account exists");
    has_not(&scene, "<script");
    has_not(&scene, "<b>R-1");
    stop(&scene);
}

static void
the_fleet_is_filtered_by_text_and_by_flag(void **state)
{
    struct fsp_board_fleet_ask ask = {.page = 1, .find = "r-1<"};
    struct scene scene;
    struct fsp_board_page page;

    (void)state;
    start(&scene);
    cuts(&scene, 7, "worn-out");
    show(&scene);
    page = board_open_page(scene.fleet);
    fsp_board_fleet(&page, &ask, &scene.out);
    has(&scene, "Rigs 1 to 1 of 1"); /* by its reel, whatever the case */
    ask.find = "lb-2";
    fsp_buf_reset(&scene.out);
    fsp_board_fleet(&page, &ask, &scene.out);
    has(&scene, "No rig is like that.");
    ask.find = NULL;
    ask.flag = fsp_flag_kind_word(FSP_FLAG_EARLY_WEAR);
    fsp_buf_reset(&scene.out);
    fsp_board_fleet(&page, &ask, &scene.out);
    has(&scene, "Rigs 1 to 1 of 1");
    ask.flag = fsp_flag_kind_word(FSP_FLAG_FORK);
    fsp_buf_reset(&scene.out);
    fsp_board_fleet(&page, &ask, &scene.out);
    has(&scene, "No rig is like that.");
    stop(&scene);
}

static void
a_hundred_rigs_are_one_page_and_the_next_one_begins_another(void **state)
{
    struct fsp_board_fleet_ask ask = {.page = 1};
    struct scene scene;
    struct fsp_board_page page;
    uint8_t token[FSP_TOKEN_LEN];
    char name[16];

    (void)state;
    memset(&scene, 0, sizeof(scene));
    office_start(&scene.office);
    for (int i = 0; i < 101; i++) {
        (void)snprintf(name, sizeof(name), "rig-%03d", i);
        office_invite(&scene.office, name, token);
    }
    show(&scene);
    page = board_open_page(scene.fleet);
    fsp_board_fleet(&page, &ask, &scene.out);
    has(&scene, "Rigs 1 to 100 of 101");
    has(&scene, "href=\"/?page=2\"");
    has_not(&scene, "rig-100");
    assert_true(scene.out.len < (size_t)300 * 1024);
    ask.page = 2;
    fsp_buf_reset(&scene.out);
    fsp_board_fleet(&page, &ask, &scene.out);
    has(&scene, "Rigs 101 to 101 of 101");
    has(&scene, "rig-100");
    has(&scene, "invited, never heard");
    ask.page = 3;
    fsp_buf_reset(&scene.out);
    fsp_board_fleet(&page, &ask, &scene.out);
    has(&scene, "No rig is like that.");
    fsp_buf_fini(&scene.out);
    fsp_fleet_free(scene.fleet);
    office_stop(&scene.office);
}

/* --- a rig ------------------------------------------------------------------------------------- */

static void
a_rigs_history_says_what_the_account_says(void **state)
{
    struct scene scene;
    struct fsp_board_page page;
    struct fsp_history *history;
    struct fsp_history *late;
    size_t seen = 0;

    (void)state;
    start(&scene);
    cuts(&scene, 4, "worn-out");
    add_day(&scene.rig, "well", 20, 1, "\"well\":\"LB-2\"");
    add_day(&scene.rig, "work", 20, 2, "\"op\":\"round-trip\",\"depth\":\"8000ft\"");
    show(&scene);
    history = history_of(&scene, INT64_MIN);
    for (size_t i = 0; i < history->n_points; i++) {
        const struct fsp_history_point *point = &history->points[i];

        if (!point->cut)
            continue;
        assert_int_equal(point->index, scene.fleet->rigs[0]->cuts[seen]->index);
        assert_memory_equal(&point->since_cut_j, &scene.fleet->rigs[0]->cuts[seen]->served_j,
                sizeof(double));
        seen++;
    }
    assert_int_equal(seen, 4);
    assert_memory_equal(&history->points[history->n_points - 1].since_cut_j,
            &fsp_ledger_peek(scene.fleet->rigs[0]->ledger)->served_j, sizeof(double));
    assert_int_equal(history->n_wells, 2);
    assert_string_equal(history->wells[0].name, "LB-1");
    assert_int_equal(history->wells[0].cuts, 4);
    assert_int_equal(history->wells[0].entries, 4);
    assert_string_equal(history->wells[1].name, "LB-2");
    assert_int_equal(history->wells[1].cuts, 0);
    assert_int_equal(history->n_programs, 1);
    assert_int_equal(history->programs[0].cuts, 4);
    assert_string_equal(history->programs[0].texts[0], "90ft");
    assert_int_equal(history->n_strings, 1);
    page = board_open_page(scene.fleet);
    fsp_board_rig(&page, scene.fleet->rigs[0], history, &scene.out);
    has(&scene, "<a href=\"/entry?rig=heron&amp;log=0&amp;n=2\">entry 2, later goal</a>");
    has(&scene, "/entry?rig=heron&amp;log=0&amp;n=7"); /* the first cut */
    has(&scene, "data-series=\"served\"");
    has_not(&scene, "acknowledge");
    /* From a cut on: the programme of before is read all the same. */
    late = history_of(&scene, fsp_history_since(scene.fleet->rigs[0]->ledger, 2));
    assert_true(late->n_points < history->n_points);
    assert_int_equal(late->n_programs, 1);
    assert_int_equal(late->programs[0].cuts, 4);
    assert_memory_equal(&late->points[late->n_points - 1].since_cut_j,
            &history->points[history->n_points - 1].since_cut_j, sizeof(double));
    assert_int_equal(fsp_history_since(scene.fleet->rigs[0]->ledger, 9), INT64_MIN);
    fsp_history_free(history);
    fsp_history_free(late);
    stop(&scene);
}

static void
what_is_offered_goes_by_the_role(void **state)
{
    struct fsp_viewer viewer = {.name = "ines", .role = FSP_ROLE_ENGINEER, .form_token = "tok"};
    struct scene scene;
    struct fsp_board_page page;

    (void)state;
    start(&scene);
    cuts(&scene, 7, "worn-out");
    show(&scene);
    page = board_open_page(scene.fleet);
    page.viewer = &viewer;
    fsp_board_rig(&page, scene.fleet->rigs[0], NULL, &scene.out);
    has(&scene, "action=\"/acknowledge\"");
    has(&scene, "/instruct?rig=heron");
    has(&scene, "action=\"/log-out\"");
    has(&scene, "value=\"tok\"");
    has_not(&scene, "Open: no account");
    viewer.role = FSP_ROLE_READER;
    fsp_buf_reset(&scene.out);
    fsp_board_rig(&page, scene.fleet->rigs[0], NULL, &scene.out);
    has_not(&scene, "action=\"/acknowledge\"");
    has_not(&scene, "/instruct?rig=heron");
    has(&scene, "action=\"/log-out\"");
    stop(&scene);
}

/* --- the other pages --------------------------------------------------------------------------- */

static void
early_cuts_come_with_their_evidence(void **state)
{
    struct scene scene;
    struct fsp_board_page page;

    (void)state;
    start(&scene);
    cuts(&scene, 7, "worn-out");
    show(&scene);
    page = board_open_page(scene.fleet);
    fsp_board_early(&page, &scene.out);
    has(&scene, "1 of 1 rigs keeps cutting early for wear");
    has(&scene, "What to look at first");
    has(&scene, "crossover");
    has(&scene, "/entry?rig=heron&amp;log=0&amp;n=25");
    has_not(&scene, "not judged: first cut of the line");
    stop(&scene);
}

static void
line_life_counts_feet_and_money_of_what_was_cut_with_wear_left(void **state)
{
    const struct fsp_board_life_ask ask = {
            .days = 0, .prices = "1-1/4=4.10 1-3/8=5.50", .currency = "USD"};
    const struct fsp_board_life_ask unpriced = {.days = 0, .prices = "1-3/8x=5.50"};
    const struct fsp_board_life_ask short_time = {.days = 1};
    struct scene scene;
    struct fsp_board_page page;

    (void)state;
    start(&scene);
    cuts(&scene, 3, "wear-left");
    show(&scene);
    page = board_open_page(scene.fleet);
    fsp_board_life(&page, &ask, &scene.out);
    has(&scene, "3 cuts; 0 more are left out");
    has(&scene, "270 ft were cut with wear left");
    has(&scene, "1,485 USD"); /* 270 ft at 5.50 */
    has(&scene, "<td>hard</td>");
    has(&scene, "<td>6x19</td>");
    has(&scene, "names no maker");
    fsp_buf_reset(&scene.out);
    fsp_board_life(&page, &unpriced, &scene.out);
    has(&scene, "No price of a foot");
    fsp_buf_reset(&scene.out);
    fsp_board_life(&page, &short_time, &scene.out);
    has(&scene, "No cut with a whole count in this time.");
    stop(&scene);
}

static void
a_price_that_is_none_is_named(void **state)
{
    static const char *const bad[] = {"1-3/8", "1-3/8=", "1-3/8=x", "1-3/8=-1", "1-3/8=0",
            "7=5", "=5", "1-3/8=5.20 1-1/4", "1-3/8=5.20,", "1-3/8=nan"};
    struct fsp_err err = {0};

    (void)state;
    assert_ok(fsp_board_prices(NULL, &err), &err);
    assert_ok(fsp_board_prices("", &err), &err);
    assert_ok(fsp_board_prices("1-1/4=4.10  1-3/8=5.20", &err), &err);
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
        assert_int_equal(fsp_board_prices(bad[i], &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "1-3/8=nan"));
}

static void
inspect(struct scene *scene, int day, const char *decision)
{
    char members[256];

    (void)snprintf(members, sizeof(members),
            "\"fleet\":\"lantern-basin\",\"rig\":\"heron\",\"reel\":\"<b>R-1</b>\","
            "\"inspector\":\"K. Ode\",\"scope\":\"monthly\",\"decision\":\"%s\"",
            decision);
    add_day(&scene->rig, "inspection", day, 9, members);
}

static void
the_register_is_filtered_and_names_the_command_for_evidence(void **state)
{
    struct fsp_board_inspections_ask ask = {.page = 1};
    struct fsp_viewer viewer = {.name = "ada", .role = FSP_ROLE_READER};
    struct scene scene;
    struct fsp_board_page page;

    (void)state;
    start(&scene);
    inspect(&scene, 3, "run");
    inspect(&scene, 4, "slip");
    inspect(&scene, 5, "watch");
    show(&scene);
    page = board_open_page(scene.fleet);
    page.viewer = &viewer;
    fsp_board_inspections(&page, &ask, NULL, &scene.out);
    has(&scene, "Inspections 1 to 3 of 3");
    has(&scene, "farspool-office prove heron 6 --out FOLDER");
    has_not(&scene, "/evidence?");
    ask.decision = "slip";
    fsp_buf_reset(&scene.out);
    fsp_board_inspections(&page, &ask, NULL, &scene.out);
    has(&scene, "Inspections 1 to 1 of 1");
    ask.decision = NULL;
    ask.signature = "good";
    fsp_buf_reset(&scene.out);
    fsp_board_inspections(&page, &ask, NULL, &scene.out);
    has(&scene, "No inspection is like that.");
    ask.signature = "none";
    ask.from_s = ask.to_s = START_S + 4 * FSP_S_PER_DAY; /* 5 March, both days included */
    viewer.role = FSP_ROLE_AUDITOR;
    fsp_buf_reset(&scene.out);
    fsp_board_inspections(&page, &ask, scene.fleet->rigs[0], &scene.out);
    has(&scene, "Inspections 1 to 1 of 1");
    has(&scene, "watch");
    has(&scene, "/evidence?rig=heron&amp;log=0&amp;n=7&amp;file=proof");
    stop(&scene);
}

static void
links_say_how_long_a_rig_was_not_heard(void **state)
{
    const struct fsp_live_lag lag = {.entries = 12, .rigs = 1};
    struct scene scene;
    struct fsp_board_page page;

    (void)state;
    start(&scene);
    show(&scene);
    page = board_open_page(scene.fleet);
    page.lag = &lag;
    page.lag_s = 60;
    fsp_board_links(&page, &scene.out);
    has(&scene, "30 days");
    has(&scene, "Received and not counted yet: 12 entries of 1 rigs");
    has(&scene, "the first of them for 60 s"); /* the banner */
    stop(&scene);
}

/* --- an entry ---------------------------------------------------------------------------------- */

static void
an_entry_is_shown_byte_for_byte_and_proved(void **state)
{
    static const char evil[] = "{\"x\":\"\xe2\x80\xae<i>\x1b[31m\"}";
    struct scene scene;
    struct fsp_board_page page;
    struct fsp_board_entry *entry = NULL;
    struct fsp_proof_file proof;
    const struct fsp_fleet_rig *rig;
    struct fsp_err err = {0};

    (void)state;
    start(&scene);
    inspect(&scene, 3, "run");
    rig_add(&scene.rig, evil);
    show(&scene);
    rig = scene.fleet->rigs[0];
    page = board_open_page(scene.fleet);
    assert_ok(fsp_board_entry_load(
                      scene.office.shelf, rig, (const uint64_t[2]){0, 5}, &entry, &err),
            &err);
    assert_string_equal(fsp_buf_peek(&entry->bytes), scene.rig.entries[5]);
    assert_true(entry->covered);
    assert_int_equal(entry->head_size, scene.rig.n);
    assert_int_equal(entry->n_cosigned, 1);
    assert_int_equal(entry->cosigned[0].at_s, START_S);
    fsp_board_entry(&page, rig, entry, &scene.out);
    has(&scene, "K. Ode");
    has(&scene, "<span class=\"state plain\">unsigned</span>");
    has(&scene, "farspool-office prove heron 5 --out FOLDER");
    fsp_buf_reset(&scene.out);
    assert_ok(fsp_board_entry_prove(scene.office.shelf, rig, entry, &scene.out, &err), &err);
    assert_ok(fsp_proof_parse(&proof, fsp_buf_peek(&scene.out), scene.out.len, &err), &err);
    assert_int_equal(proof.index, 5);
    assert_int_equal(
            fsp_tree_verify_inclusion(5, entry->head_size, entry->leaf,
                    (const uint8_t(*)[FSP_HASH_LEN])proof.path, proof.n, rig->logs[0].root),
            FSP_OK);
    fsp_board_entry_free(entry);
    assert_ok(fsp_board_entry_load(
                      scene.office.shelf, rig, (const uint64_t[2]){0, 6}, &entry, &err),
            &err);
    fsp_buf_reset(&scene.out);
    fsp_board_entry(&page, rig, entry, &scene.out);
    has(&scene, "This office cannot read the entry.");
    has(&scene, "&lt;i&gt;");
    has_not(&scene, "\x1b");
    has_not(&scene, "\xe2\x80\xae");
    fsp_board_entry_free(entry);
    assert_int_equal(fsp_board_entry_load(
                             scene.office.shelf, rig, (const uint64_t[2]){0, 7}, &entry, &err),
            FSP_ENOTFOUND);
    assert_int_equal(fsp_board_entry_load(
                             scene.office.shelf, rig, (const uint64_t[2]){1, 0}, &entry, &err),
            FSP_ENOTFOUND);
    assert_null(entry);
    stop(&scene);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_fleet_says_whose_limit_it_is_and_escapes_what_rigs_send),
            cmocka_unit_test(the_fleet_is_filtered_by_text_and_by_flag),
            cmocka_unit_test(a_hundred_rigs_are_one_page_and_the_next_one_begins_another),
            cmocka_unit_test(a_rigs_history_says_what_the_account_says),
            cmocka_unit_test(what_is_offered_goes_by_the_role),
            cmocka_unit_test(early_cuts_come_with_their_evidence),
            cmocka_unit_test(line_life_counts_feet_and_money_of_what_was_cut_with_wear_left),
            cmocka_unit_test(a_price_that_is_none_is_named),
            cmocka_unit_test(the_register_is_filtered_and_names_the_command_for_evidence),
            cmocka_unit_test(links_say_how_long_a_rig_was_not_heard),
            cmocka_unit_test(an_entry_is_shown_byte_for_byte_and_proved),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
