/* What the ledger keeps so that a rig can be flagged: changes of the machine, gaps, low factors. */
#include "unit/line/book.h"

#include "support/test.h"
#include "unit/line/near.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"

#define CUT "length=90ft|slipped=90ft|reason=goal"

static int64_t
seconds(const char *text)
{
    struct fsp_err err = {0};
    int64_t at_s = 0;

    assert_ok(fsp_time_parse(text, NULL, &at_s, &err), &err);
    return at_s;
}

/* An inspection that closes a defect with these words. */
static void
closed(struct book *book, const char *at, const char *words)
{
    char members[400];

    (void)snprintf(members, sizeof(members),
            "fleet=lantern-basin|rig=heron|reel=R-1|inspector=An Inspector|scope=monthly|"
            "decision=run|defects=[{\"place\":\"fast-line sheave\",\"what\":\"worn\","
            "\"closed\":\"%s\"}]",
            words);
    book_put(book, "inspection", at, members);
}

static void
another_drum_or_sheave_diameter_is_a_change_and_a_first_one_is_not(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "rig", "2026-04-01T00:00:00Z",
            "mast=142ft|drum=30in|block=47000lb|sheave=60in");
    assert_int_equal(book_view(book)->changed_s, 0);
    book_put(book, "rig", "2026-04-02T00:00:00Z", "mast=143ft|drum=762mm|block=48000lb");
    assert_int_equal(book_view(book)->changed_s, 0);
    book_put(book, "rig", "2026-04-03T00:00:00Z", "mast=142ft|drum=762.9mm|block=47000lb");
    assert_int_equal(book_view(book)->changed_s, 0); /* within a millimetre */
    book_put(book, "rig", "2026-04-04T00:00:00Z", "mast=142ft|drum=32in|block=47000lb");
    assert_int_equal(book_view(book)->changed_s, seconds("2026-04-04T00:00:00Z"));
    book_put(book, "rig", "2026-04-05T00:00:00Z",
            "mast=142ft|drum=32in|block=47000lb|sheave=66in");
    assert_int_equal(book_view(book)->changed_s, seconds("2026-04-05T00:00:00Z"));
    book_put(book, "cut", "2026-04-06T00:00:00Z", CUT);
    assert_int_equal(book_view(book)->changed_s, 0);
    assert_true(fsp_ledger_cut(book->ledger, 0)->changed);
    book_put(book, "cut", "2026-04-07T00:00:00Z", CUT);
    assert_false(fsp_ledger_cut(book_fold(book), 1)->changed);
    book_free(book);
}

static void
a_closed_defect_is_a_change_when_it_says_that_sheave_or_drum_was_changed(void **state)
{
    static const struct {
        const char *words;
        bool changed;
    } rows[] = {{"Sheave CHANGED 4 April", true}, {"new drum lagging", true},
            {"groove regrooved", true}, {"drum shell renewed", true},
            {"fast-line sheave replaced", true}, {"cut off", false}, {"line changed", false},
            {"sheave greased", false}, {"renewed", false}};
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct book *book = book_new();

        book_open(book);
        closed(book, "2026-04-04T00:00:00Z", rows[i].words);
        if ((book_view(book)->changed_s != 0) != rows[i].changed)
            fail_msg("%s", rows[i].words);
        book_free(book);
    }
}

static void
a_gap_says_since_when_and_which_entry_showed_the_newest(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    assert_int_equal(book_view(book)->gap_s, 0);
    book_put(book, "tour", "2026-04-01T00:00:00Z", "tour=day|complete=no");
    book_put(book, "tour", "2026-04-02T00:00:00Z", "tour=day|complete=no");
    book_put(book, "tour", "2026-04-03T00:00:00Z", "tour=day|complete=yes");
    view = book_view(book);
    assert_true(view->incomplete);
    assert_int_equal(view->gap_s, seconds("2026-04-01T00:00:00Z"));
    assert_int_equal(view->gap_index, 5);
    book_put(book, "cut", "2026-04-04T00:00:00Z", CUT);
    view = book_view(book);
    assert_false(view->incomplete);
    assert_int_equal(view->gap_s, 0);
    book_put(book, "tour", "2026-04-05T00:00:00Z", "tour=day|complete=no");
    assert_int_equal(book_view(book)->gap_s, seconds("2026-04-05T00:00:00Z"));
    book_free(book);
}

/* 192,000 lb at 12.3 % of the hook load: factor 3 is 519 klb, 2 is 779 klb (trade's arithmetic). */
static void
an_operation_below_the_minimum_waits_for_a_thorough_inspection_of_that_line(void **state)
{
    static const char seen[] = "fleet=lantern-basin|rig=heron|reel=R-1|inspector=An Inspector|"
                               "decision=run";
    struct book *book = book_new();
    const struct fsp_ledger_view *view;
    char members[300];

    (void)state;
    book_open(book);
    book_put(
            book, "work", "2026-04-01T00:00:00Z", "op=round-trip|depth=5000ft|hookload=500klb");
    assert_int_equal(book_view(book)->low_unseen, 0);
    book_put(
            book, "work", "2026-04-02T00:00:00Z", "op=round-trip|depth=5000ft|hookload=540klb");
    book_put(book, "work", "2026-04-03T00:00:00Z",
            "op=round-trip|depth=5000ft|hookload=300klb|pull=560klb");
    view = book_view(book);
    assert_int_equal(view->low_unseen, 2);
    assert_int_equal(view->low_s, seconds("2026-04-02T00:00:00Z"));
    assert_int_equal(view->low_index, 6);
    book_put(book, "cut", "2026-04-04T00:00:00Z", CUT); /* the rest of the line bore it too */
    assert_int_equal(book_view(book)->low_unseen, 2);
    (void)snprintf(members, sizeof(members), "%s|scope=tour", seen);
    book_put(book, "inspection", "2026-04-05T00:00:00Z", members);
    assert_int_equal(book_view(book)->low_unseen, 2);
    (void)snprintf(members, sizeof(members), "%s|scope=after-event", seen);
    book_put(book, "inspection", "2026-04-06T00:00:00Z", members);
    view = book_view(book);
    assert_int_equal(view->low_unseen, 0);
    assert_int_equal(view->low_s, 0);
    book_free(book);
}

static void
hand_and_sensor_are_compared_by_motion(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    book_put(book, "program", "2026-03-01T00:04:00Z",
            "cut=90ft|first-goal=1500ton-miles|later-goal=1300ton-miles|slips=3|basis=counted");
    book_put(book, "work", "2026-04-01T00:00:00Z",
            "op=counted|begin=2026-03-31T00:00:00Z|end=2026-04-01T00:00:00Z|ton-miles=100|"
            "source=block-position sensor");
    book_put(book, "work", "2026-04-01T01:00:00Z",
            "op=drilling|from=5000ft|to=6000ft|drive=kelly|reams=1");
    view = book_view(book);
    assert_near(ton_miles(view->motion_j), 100, 1e-9);
    assert_true(view->check_j > view->check_motion_j);
    assert_true(view->check_motion_j > 0);
    book_put(book, "cut", "2026-04-04T00:00:00Z", CUT);
    view = book_view(book);
    assert_near(view->motion_j, 0, 0);
    assert_near(view->check_motion_j, 0, 0);
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(
                    another_drum_or_sheave_diameter_is_a_change_and_a_first_one_is_not),
            cmocka_unit_test(
                    a_closed_defect_is_a_change_when_it_says_that_sheave_or_drum_was_changed),
            cmocka_unit_test(a_gap_says_since_when_and_which_entry_showed_the_newest),
            cmocka_unit_test(
                    an_operation_below_the_minimum_waits_for_a_thorough_inspection_of_that_line),
            cmocka_unit_test(hand_and_sensor_are_compared_by_motion),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
