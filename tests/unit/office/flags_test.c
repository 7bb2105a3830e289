/* What a rig is flagged for in the office, and what acknowledging does and does not hide. */
#include "office/flags.h"

#include "office_support.h"

#include <stdlib.h>
#include <string.h>

#include "office/desk.h"
#include "office/fleet.h"
#include "office/people.h"
#include "office/show.h"
#include "record/check.h"
#include "record/record.h"

#define DAY FSP_S_PER_DAY

static void
add(struct rig *rig, const char *json)
{
    struct fsp_check_context context = {.present_s = START_S + 4000 * DAY};
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
add_state(struct rig *rig, const char *at, const char *state)
{
    char json[200];

    (void)snprintf(json, sizeof(json),
            "{\"kind\":\"state\",\"at\":\"%s\",\"by\":\"clerk\",\"state\":\"%s\"}", at, state);
    add(rig, json);
}

/* Send what the office lacks, at this time. */
static void
send_at(struct rig *rig, struct office *office, int64_t at_s)
{
    uint64_t from = office_size(office, rig);
    bool first = from == UINT64_MAX;

    office->now_us = at_s * FSP_US_PER_S;
    assert_int_equal(
            rig_send(rig, office, (const uint64_t[2]){first ? 0 : from, rig->n}, first, NULL),
            200);
}

static struct fsp_fleet *
load(struct office *office, int64_t as_of_s)
{
    const struct fsp_fleet_about about = {.as_of_s = as_of_s};
    struct fsp_fleet *fleet = NULL;
    struct fsp_err err = {0};

    assert_ok(fsp_fleet_load(office->shelf, &about, &fleet, &err), &err);
    return fleet;
}

static const struct fsp_flag *
find(const struct fsp_fleet_rig *rig, enum fsp_flag_kind kind)
{
    for (size_t i = 0; i < rig->n_flags; i++)
        if (rig->flags[i].kind == kind)
            return &rig->flags[i];
    return NULL;
}

/* The same, which must be there. */
static const struct fsp_flag *
raised(const struct fsp_fleet_rig *rig, enum fsp_flag_kind kind)
{
    const struct fsp_flag *flag = find(rig, kind);

    if (flag == NULL) {
        fail_msg("no flag of kind %s", fsp_flag_kind_word(kind));
        abort();
    }
    return flag;
}

static bool
quiet(struct office *office, int64_t as_of_s)
{
    struct fsp_fleet *fleet = load(office, as_of_s);
    bool found = find(fleet->rigs[0], FSP_FLAG_QUIET) != NULL;

    fsp_fleet_free(fleet);
    return found;
}

static void
the_rhythm_is_the_second_longest_silence(void **state)
{
    static const int64_t daily[] = {10 * DAY, 9 * DAY, 8 * DAY, 3 * DAY, 2 * DAY};
    static const int64_t at_once[] = {100, 100, 100};

    (void)state;
    assert_int_equal(fsp_flags_rhythm(daily, 5), DAY);
    assert_int_equal(fsp_flags_rhythm(daily + 1, 3), DAY); /* 1 and 5 days */
    assert_int_equal(fsp_flags_rhythm(daily, 2), 0);
    assert_int_equal(fsp_flags_rhythm(daily, 0), 0);
    assert_int_equal(fsp_flags_rhythm(at_once, 3), 1);
    assert_int_equal(fsp_flags_patience(0), 7 * DAY);
    assert_int_equal(fsp_flags_patience(1), 3 * DAY);
    assert_int_equal(fsp_flags_patience(3 * DAY / 2), 3 * DAY);
    assert_int_equal(fsp_flags_patience(3 * DAY / 2 + 1), 3 * DAY + 2);
    assert_int_equal(fsp_flags_patience(7 * DAY), 14 * DAY);
}

static void
a_rig_is_quiet_by_its_own_rhythm_and_never_while_stacked(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_fleet *fleet;
    char mark[FSP_FLAG_MARK_MAX];

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    assert_false(quiet(&office, START_S + 100 * DAY)); /* invited, never heard */
    add_state(&rig, "2026-03-01T00:00:00Z", "working");
    send_at(&rig, &office, START_S);
    assert_false(quiet(&office, START_S + 7 * DAY));
    assert_true(quiet(&office, START_S + 7 * DAY + 1));
    /* Every 5 days: 10 days are its patience. */
    for (int i = 1; i <= 4; i++) {
        add_state(&rig, "2026-03-01T00:00:00Z", i % 2 == 0 ? "working" : "moving");
        send_at(&rig, &office, START_S + DAY * 5 * i);
    }
    assert_false(quiet(&office, START_S + 30 * DAY));
    fleet = load(&office, START_S + 30 * DAY + 3601);
    assert_int_equal(fleet->rigs[0]->rhythm_s, 5 * DAY);
    assert_string_equal(raised(fleet->rigs[0], FSP_FLAG_QUIET)->text,
            "nothing heard for 10 days; it is seldom silent for longer than 5 days");
    memcpy(mark, raised(fleet->rigs[0], FSP_FLAG_QUIET)->mark, sizeof(mark));
    fsp_fleet_free(fleet);
    /* The same silence on another day is the same occurrence. */
    fleet = load(&office, START_S + 33 * DAY);
    assert_string_equal(raised(fleet->rigs[0], FSP_FLAG_QUIET)->mark, mark);
    fsp_fleet_free(fleet);
    add_state(&rig, "2026-04-03T00:00:00Z", "stacked");
    send_at(&rig, &office, START_S + 33 * DAY);
    assert_false(quiet(&office, START_S + 1000 * DAY));
    add_state(&rig, "2026-04-04T00:00:00Z", "working");
    send_at(&rig, &office, START_S + 34 * DAY);
    fleet = load(&office, START_S + 1000 * DAY);
    assert_string_not_equal(raised(fleet->rigs[0], FSP_FLAG_QUIET)->mark, mark);
    fsp_fleet_free(fleet);
    rig_stop(&rig);
    office_stop(&office);
}

static void
a_fork_and_an_unreadable_entry_are_flagged_the_gravest_first(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_fleet *fleet;
    struct fsp_buf out;

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    add_state(&rig, "2026-03-01T00:00:00Z", "working");
    rig_add(&rig, "unreadable");
    send_at(&rig, &office, START_S);
    fleet = load(&office, START_S);
    assert_int_equal(fleet->rigs[0]->n_flags, 2); /* an unreadable entry may be of any line */
    assert_string_equal(fleet->rigs[0]->flags[0].mark, "incomplete:untimed");
    assert_string_equal(fleet->rigs[0]->flags[1].mark, "unreadable:1");
    assert_string_equal(fleet->rigs[0]->flags[1].text, "1 entry this office cannot read");
    fsp_fleet_free(fleet);

    free(rig.entries[1]); /* another history */
    rig.entries[1] = NULL;
    rig.n = 1;
    rig_add(&rig, "something else");
    rig_add(&rig, "and more");
    assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){0, 3}, false, NULL), 422);
    fleet = load(&office, START_S);
    assert_int_equal(fleet->rigs[0]->n_flags, 3);
    assert_int_equal(fleet->rigs[0]->flags[0].kind, FSP_FLAG_FORK);
    assert_int_equal(fleet->rigs[0]->flags[0].weight, FSP_FLAG_STOP);
    fsp_buf_init(&out, 10000);
    fsp_flags_json(fleet->rigs[0], fleet->rigs[0]->flags, 3, &out);
    assert_non_null(strstr(fsp_buf_peek(&out), "{\"acknowledged\":null,\"cuts\":[],\"kind\":"
                                               "\"unreadable\",\"mark\":\"unreadable:1\","
                                               "\"since\":null,\"text\":\"1 entry this office "
                                               "cannot read\",\"weight\":\"warn\"}"));
    fsp_buf_reset(&out);
    fsp_fleet_flag_text(fleet->rigs[0], &out);
    assert_non_null(strstr(fsp_buf_peek(&out), "two histories for one log"));
    assert_non_null(strstr(fsp_buf_peek(&out), "; 1 entry this office cannot read"));
    fsp_buf_fini(&out);
    fsp_fleet_free(fleet);
    rig_stop(&rig);
    office_stop(&office);
}

/* ---- acknowledged ---- */

struct desk {
    char folder[64];
    struct fsp_desk *desk;
    struct fsp_err err;
};

static void
desk_start(struct desk *desk)
{
    memset(desk, 0, sizeof(*desk));
    (void)snprintf(desk->folder, sizeof(desk->folder), "/tmp/farspool-flags-XXXXXX");
    assert_non_null(mkdtemp(desk->folder));
    assert_ok(fsp_desk_open(desk->folder, true, &desk->desk, &desk->err), &desk->err);
}

static void
desk_stop(struct desk *desk)
{
    fsp_desk_close(desk->desk);
    remove_folder(desk->folder);
}

static struct fsp_flag
flag_with(const char *mark)
{
    struct fsp_flag flag;

    memset(&flag, 0, sizeof(flag));
    (void)snprintf(flag.mark, sizeof(flag.mark), "%s", mark);
    (void)snprintf(flag.text, sizeof(flag.text), "3 of the last 4");
    return flag;
}

static void
an_acknowledgement_answers_one_occurrence_of_one_rig(void **state)
{
    struct desk desk;
    struct fsp_flag flags[3] = {flag_with("early-wear:0.12"), flag_with("early-wear:0.15"),
            flag_with("quiet:1772323200")};
    struct fsp_buf out;

    (void)state;
    desk_start(&desk);
    assert_ok(fsp_flags_acknowledge(desk.desk, "heron", "early-wear:0.12", "ada",
                      "sheave ordered", START_S, &desk.err),
            &desk.err);
    assert_ok(fsp_flags_acknowledged(desk.desk, "heron", flags, 3, &desk.err), &desk.err);
    assert_true(flags[0].acknowledged);
    assert_string_equal(flags[0].acknowledged_by, "ada");
    assert_string_equal(flags[0].note, "sheave ordered");
    assert_int_equal(flags[0].acknowledged_s, START_S);
    assert_false(flags[1].acknowledged); /* a new occurrence is not hidden */
    assert_false(flags[2].acknowledged);
    fsp_buf_init(&out, 10000);
    fsp_flags_text(flags, 2, &out);
    assert_string_equal(fsp_buf_peek(&out),
            "3 of the last 4 (seen by ada, 2026-03-01: sheave ordered); 3 of the last 4");
    fsp_buf_fini(&out);
    flags[0] = flag_with("early-wear:0.12");
    assert_ok(fsp_flags_acknowledged(desk.desk, "plover", flags, 1, &desk.err), &desk.err);
    assert_false(flags[0].acknowledged);
    desk_stop(&desk);
}

static void
commands_show_who_has_looked(void **state)
{
    struct office office;
    struct rig rig;
    struct fsp_desk *desk = NULL;
    struct fsp_fleet *fleet;
    struct fsp_buf out;
    struct fsp_err err = {0};

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add(&rig, "unreadable");
    send_at(&rig, &office, START_S);
    assert_ok(fsp_desk_open(office.folder, true, &desk, &err), &err);
    assert_ok(fsp_flags_acknowledge(
                      desk, "heron", "unreadable:1", "ada", "a test entry", START_S, &err),
            &err);
    fleet = load(&office, START_S);
    assert_ok(fsp_fleet_seen(fleet, desk, &err), &err);
    fsp_buf_init(&out, 1000000);
    fsp_show_rig(fleet, fleet->rigs[0], &out);
    assert_non_null(strstr(fsp_buf_peek(&out),
            "1 entry this office cannot read (seen by ada, 2026-03-01: a test entry)"));
    fsp_buf_reset(&out);
    fsp_show_rig_json(fleet, fleet->rigs[0], &out);
    assert_non_null(strstr(fsp_buf_peek(&out), "{\"acknowledged\":{\"at\":\"2026-03-01T00:00:"
                                               "00Z\",\"by\":\"ada\",\"note\":\"a test "
                                               "entry\"},\"cuts\":[],\"kind\":\"unreadable\""));
    fsp_buf_fini(&out);
    fsp_fleet_free(fleet);
    rig_add(&rig, "another"); /* is not hidden by it */
    send_at(&rig, &office, START_S + 60);
    fleet = load(&office, START_S + 60);
    assert_ok(fsp_fleet_seen(fleet, desk, &err), &err);
    assert_false(raised(fleet->rigs[0], FSP_FLAG_UNREADABLE)->acknowledged);
    fsp_fleet_free(fleet);
    fsp_desk_close(desk);
    rig_stop(&rig);
    office_stop(&office);
}

static void
a_second_note_replaces_the_first_and_both_stand_in_the_trail(void **state)
{
    struct desk desk;
    struct fsp_flag flag = flag_with("damage:0.3");
    struct fsp_trail_line line;

    (void)state;
    desk_start(&desk);
    assert_ok(fsp_flags_acknowledge(
                      desk.desk, "heron", "damage:0.3", "ada", "asked the rig", 10, &desk.err),
            &desk.err);
    assert_ok(fsp_flags_acknowledge(
                      desk.desk, "heron", "damage:0.3", "bo", "drum guard bent", 20, &desk.err),
            &desk.err);
    fsp_desk_close(desk.desk); /* it is kept */
    desk.desk = NULL;
    assert_ok(fsp_desk_open(desk.folder, false, &desk.desk, &desk.err), &desk.err);
    assert_ok(fsp_flags_acknowledged(desk.desk, "heron", &flag, 1, &desk.err), &desk.err);
    assert_string_equal(flag.note, "drum guard bent");
    assert_string_equal(flag.acknowledged_by, "bo");
    assert_ok(fsp_people_trail_next(desk.desk, 0, &line, &desk.err), &desk.err);
    assert_string_equal(line.what, "heron damage:0.3: drum guard bent");
    assert_string_equal(line.did, "acknowledged");
    assert_ok(fsp_people_trail_next(desk.desk, line.id, &line, &desk.err), &desk.err);
    assert_string_equal(line.what, "heron damage:0.3: asked the rig");
    assert_string_equal(line.by, "ada");
    desk_stop(&desk);
}

static void
what_cannot_be_an_acknowledgement_is_refused_and_leaves_nothing(void **state)
{
    static const struct {
        const char *rig, *mark, *by, *note;
    } rows[] = {{"heron", "early-wear:0.1", "ada", ""},
            {"heron", "early-wear:0.1", "ada", "  "},
            {"heron", "early-wear:0.1", "ada", "two\nlines"},
            {"heron", "early-wear:0.1", "ada", "turned \xe2\x80\xae round"},
            {"heron", "early-wear:0.1", "ada", "\xff"}, {"heron", "early-wear:0.1", "", "x"},
            {"heron", "early-wear", "ada", "x"}, {"heron", "early-wear:", "ada", "x"},
            {"heron", ":0.1", "ada", "x"}, {"heron", "nosuch:0.1", "ada", "x"},
            {"heron", "early-wear:a b", "ada", "x"}, {"heron", "early-wear:<b>", "ada", "x"},
            {"he ron", "early-wear:0.1", "ada", "x"}, {"", "early-wear:0.1", "ada", "x"}};
    char note[FSP_FLAG_NOTE_MAX + 2];
    struct desk desk;
    struct fsp_trail_line line;

    (void)state;
    desk_start(&desk);
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        if (fsp_flags_acknowledge(desk.desk, rows[i].rig, rows[i].mark, rows[i].by,
                    rows[i].note, 1, &desk.err) != FSP_EINVAL)
            fail_msg("row %zu is taken", i);
    memset(note, 'x', sizeof(note));
    note[FSP_FLAG_NOTE_MAX + 1] = '\0';
    assert_int_equal(fsp_flags_acknowledge(
                             desk.desk, "heron", "early-wear:0.1", "ada", note, 1, &desk.err),
            FSP_EINVAL);
    assert_int_equal(fsp_people_trail_next(desk.desk, 0, &line, &desk.err), FSP_ENOTFOUND);
    fsp_err_clear(&desk.err);
    note[FSP_FLAG_NOTE_MAX] = '\0';
    assert_ok(fsp_flags_acknowledge(
                      desk.desk, "heron", "early-wear:0.1", "ada", note, 1, &desk.err),
            &desk.err);
    desk_stop(&desk);
}

static void
one_line_of_many_flags_has_an_end(void **state)
{
    struct fsp_flag flags[FSP_FLAGS_MAX];
    struct fsp_buf out;

    (void)state;
    for (size_t i = 0; i < FSP_FLAGS_MAX; i++) {
        flags[i] = flag_with("duty:x");
        memset(flags[i].text, 'x', FSP_FLAG_TEXT_MAX - 1);
        memset(flags[i].note, 'y', FSP_FLAG_NOTE_MAX);
        memset(flags[i].acknowledged_by, 'z', FSP_NAME_MAX);
        flags[i].acknowledged = true;
    }
    fsp_buf_init(&out, 4000);
    fsp_flags_text(flags, FSP_FLAGS_MAX, &out);
    assert_int_equal(out.rc, FSP_OK);
    assert_non_null(strstr(fsp_buf_peek(&out), "; and 20 more"));
    fsp_buf_fini(&out);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_rhythm_is_the_second_longest_silence),
            cmocka_unit_test(a_rig_is_quiet_by_its_own_rhythm_and_never_while_stacked),
            cmocka_unit_test(a_fork_and_an_unreadable_entry_are_flagged_the_gravest_first),
            cmocka_unit_test(an_acknowledgement_answers_one_occurrence_of_one_rig),
            cmocka_unit_test(commands_show_who_has_looked),
            cmocka_unit_test(a_second_note_replaces_the_first_and_both_stand_in_the_trail),
            cmocka_unit_test(what_cannot_be_an_acknowledgement_is_refused_and_leaves_nothing),
            cmocka_unit_test(one_line_of_many_flags_has_an_end),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
