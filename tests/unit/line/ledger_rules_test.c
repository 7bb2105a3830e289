#include "unit/line/book.h"

#include "support/test.h"
#include "unit/line/near.h"

#include <stdlib.h>
#include <string.h>

/* ---- gaps ---- */

static void
a_jump_of_the_bit_makes_the_count_incomplete_until_the_next_cut(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=drilling|from=9000ft|to=9300ft");
    assert_false(book_view(book)->incomplete);
    book_put(book, "work", "2026-03-03T00:00:00Z", "op=pull-out|from=4100ft|to=0ft");
    view = book_view(book);
    assert_true(view->incomplete);
    assert_true(book_note(
            book->ledger, "last entry left the bit at 9,300 ft, this one starts at 4,100 ft"));
    assert_non_null(strstr(view->cut_due_why, "incomplete"));
    book_put(book, "cut", "2026-03-04T00:00:00Z", "length=90ft|slipped=90ft|reason=goal");
    assert_false(book_view(book)->incomplete);
    assert_true(fsp_ledger_cut(book->ledger, 0)->incomplete);
    book_free(book);
}

static void
a_chain_of_operations_that_meets_has_no_gap(void **state)
{
    static const char *const chain[] = {"op=run-in|from=0ft|to=9000ft",
            "op=drilling|from=9000ft|to=9300ft", "op=short-trip|from=8000ft|to=9300ft",
            "op=reaming|from=9200ft|to=9300ft", "op=round-trip|depth=9300ft",
            "op=moves|count=10|stroke=10ft|up=200klb|down=150klb",
            "op=coring|from=9300ft|to=9330ft", "op=half-trip|depth=9330ft",
            "op=casing|depth=9330ft|casing=40lb/ft|joint=40ft", "op=half-trip|depth=9330ft",
            "op=pull-out|from=9330ft|to=5000ft", "op=pull-out|from=5000ft|to=0ft",
            "op=liner|depth=9330ft|casing=29lb/ft|joint=40ft|liner-length=3000ft",
            "op=pull-out|from=6330ft|to=0ft"};
    struct book *book = book_new();
    char at[32];
    size_t i;

    (void)state;
    book_open(book);
    for (i = 0; i < sizeof(chain) / sizeof(chain[0]); i++) {
        (void)snprintf(at, sizeof(at), "2026-03-%02dT00:00:00Z", (int)i + 2);
        book_put(book, "work", at, chain[i]);
    }
    if (book_view(book)->incomplete || fsp_ledger_note(book->ledger, 0) != NULL)
        fail_msg("%s", fsp_ledger_note(book->ledger, 0));
    book_free(book);
}

static void
casing_with_the_string_still_in_the_hole_is_a_gap(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=drilling|from=9000ft|to=9300ft");
    book_put(book, "work", "2026-03-03T00:00:00Z",
            "op=casing|depth=9300ft|casing=40lb/ft|joint=40ft");
    assert_true(book_view(book)->incomplete);
    book_free(book);
}

static void
a_tours_bit_depth_and_an_incomplete_tour_are_gaps(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=drilling|from=9000ft|to=9300ft");
    book_put(book, "tour", "2026-03-02T18:00:00Z", "tour=day|complete=yes|bit-depth=9300ft");
    assert_false(book_view(book)->incomplete);
    book_put(book, "tour", "2026-03-03T06:00:00Z", "tour=night|complete=yes|bit-depth=9100ft");
    assert_true(book_view(book)->incomplete);
    assert_true(book_note(book->ledger, "the tour ends with it at 9,100 ft"));
    book_put(book, "cut", "2026-03-04T00:00:00Z", "length=90ft|slipped=90ft|reason=goal");
    book_put(book, "tour", "2026-03-05T06:00:00Z", "tour=night|complete=no");
    assert_true(book_view(book)->incomplete);
    assert_true(book_note(book->ledger, "not complete"));
    book_free(book);
}

static void
another_well_starts_with_an_unknown_bit(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "well", "2026-03-02T00:00:00Z", "well=LB-1");
    book_put(book, "work", "2026-03-03T00:00:00Z", "op=drilling|from=9000ft|to=9300ft");
    book_put(book, "well", "2026-03-04T00:00:00Z", "well=LB-2");
    book_put(book, "work", "2026-03-05T00:00:00Z", "op=drilling|from=1000ft|to=1300ft");
    assert_false(book_view(book)->incomplete);
    assert_string_equal(book_view(book)->well, "LB-2");
    book_free(book);
}

static void
work_that_cannot_be_reckoned_is_told_and_never_silently_zero(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    /* 500 ft is less than the drill string's assembly of 600 ft. */
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=500ft");
    view = book_view(book);
    assert_true(view->incomplete);
    assert_true(book_note(book->ledger, "work not counted, count incomplete: depth: 500 ft"));
    book_free(book);

    book = book_new();
    book_put(book, "rig", "2026-03-01T00:00:00Z", "mast=142ft|drum=30in|block=47000lb");
    book_put(book, "reel", "2026-03-01T00:01:00Z",
            "reel=R-1|rope=1-3/8in|grade=EIPS|received=5000ft|strung=1400ft|lines=10");
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=5000ft");
    assert_true(book_view(book)->incomplete);
    assert_true(book_note(book->ledger, "no drill string before it"));
    book_free(book);
}

static void
work_before_the_first_reel_is_a_note(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-02-02T00:00:00Z",
            "op=moves|count=1|stroke=10ft|up=1klb|down=1klb");
    assert_near(book_view(book)->work_line_j, 0, 0);
    assert_true(book_note(book->ledger, "work with no line hung"));
    book_free(book);
}

static void
minutes_without_data_make_counted_work_incomplete(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T06:00:00Z",
            "op=counted|begin=2026-03-02T00:00:00Z|end=2026-03-02T06:00:00Z|ton-miles=40|gaps="
            "12");
    assert_near(ton_miles(book_view(book)->work_since_cut_j), 40, 1e-9);
    assert_true(book_view(book)->incomplete);
    book_free(book);
}

static void
only_the_basis_in_force_feeds_the_goal(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T06:00:00Z",
            "op=counted|begin=2026-03-02T00:00:00Z|end=2026-03-02T06:00:00Z|ton-miles=40");
    book_put(book, "work", "2026-03-02T07:00:00Z",
            "op=moves|count=528|stroke=10ft|up=100klb|down=100klb");
    view = book_view(book); /* no basis in force: both count, and that is told */
    assert_near(ton_miles(view->work_since_cut_j), 140, 1e-9);
    assert_true(book_note(book->ledger, "no basis in force"));
    book_put(book, "program", "2026-03-01T12:00:00Z",
            "cut=90ft|first-goal=1500ton-miles|later-goal=1300ton-miles|basis=hand");
    view = book_view(book);
    assert_near(ton_miles(view->work_since_cut_j), 100, 1e-9);
    assert_near(ton_miles(view->check_j), 40, 1e-9);
    book_put(book, "program", "2026-03-01T13:00:00Z",
            "cut=90ft|first-goal=1500ton-miles|later-goal=1300ton-miles|basis=counted");
    view = book_view(book);
    assert_near(ton_miles(view->work_since_cut_j), 40, 1e-9);
    assert_near(ton_miles(view->check_j), 100, 1e-9);
    assert_true(book_note(book->ledger, "must be re-based"));
    book_free(book);
}

/* ---- the same minute ---- */

static void
work_in_the_minute_of_a_cut_goes_before_or_after_as_it_says(void **state)
{
    static const struct {
        const char *when;
        double since_cut, at_cut;
        bool told;
    } rows[] = {{"|when=before", 0, 100, false}, {"|when=after", 100, 0, false},
            {"", 0, 100, true}};
    size_t i, cut_first;

    (void)state;
    for (i = 0; i < 6; i++) {
        struct book *book = book_new();
        char work[200];

        cut_first = i % 2;
        book_open(book);
        (void)snprintf(work, sizeof(work), "op=stated|basis=x|ton-miles=100|hookload=300klb%s",
                rows[i / 2].when);
        if (cut_first != 0)
            book_put(book, "cut", "2026-03-05T00:00:10Z",
                    "length=90ft|slipped=90ft|reason=goal");
        book_put(book, "work", "2026-03-05T00:00:20Z", work);
        if (cut_first == 0)
            book_put(book, "cut", "2026-03-05T00:00:40Z",
                    "length=90ft|slipped=90ft|reason=goal");
        (void)book_fold(book);
        if (i / 2 < 2) {
            assert_near(ton_miles(fsp_ledger_peek(book->ledger)->work_since_cut_j),
                    rows[i / 2].since_cut, 1e-9);
            assert_near(ton_miles(fsp_ledger_cut(book->ledger, 0)->ton_miles_j),
                    rows[i / 2].at_cut, 1e-9);
        }
        assert_int_equal(
                book_note(book->ledger, "does not say before or after"), rows[i / 2].told);
        book_free(book);
    }
}

/* ---- inspections ---- */

#define SEEN "fleet=lantern-basin|rig=heron|inspector=A. Example|scope=monthly|reel="

static void
a_decision_against_the_line_stops_it_at_once_signed_or_not(void **state)
{
    static const char *const decisions[] = {"cut", "replace", "out-of-service"};
    size_t i;
    int sig;

    (void)state;
    for (i = 0; i < 3; i++) {
        for (sig = FSP_SIG_NONE; sig <= FSP_SIG_OUT_OF_DATE; sig++) {
            struct book *book = book_new();
            char members[200];

            book_open(book);
            (void)snprintf(members, sizeof(members), SEEN "R-1|decision=%s", decisions[i]);
            book_put_signed(book, "inspection", "2026-03-05T00:00:00Z", members,
                    (enum fsp_sig_state)sig);
            assert_int_equal(book_view(book)->cut_due, FSP_DUE_OUT_OF_SERVICE);
            assert_int_equal(book_view(book)->slip_due, FSP_DUE_OUT_OF_SERVICE);
            assert_non_null(strstr(book_view(book)->cut_due_why, decisions[i]));
            book_free(book);
        }
    }
}

static void
only_a_cut_a_reel_or_a_signed_run_lifts_it(void **state)
{
    static const struct {
        const char *kind, *members;
        enum fsp_sig_state sig;
        bool lifts;
    } rows[] = {
            {"inspection", SEEN "R-1|decision=run", FSP_SIG_NONE, false},
            {"inspection", SEEN "R-1|decision=run", FSP_SIG_BAD, false},
            {"inspection", SEEN "R-1|decision=run", FSP_SIG_OFF_ROSTER, false},
            {"inspection", SEEN "R-1|decision=run", FSP_SIG_OUT_OF_DATE, false},
            {"inspection", SEEN "R-9|decision=run", FSP_SIG_GOOD, false},
            {"inspection", SEEN "R-1|decision=watch", FSP_SIG_GOOD, false},
            {"inspection", SEEN "R-1|decision=run", FSP_SIG_GOOD, true},
            {"slip", "length=30ft", FSP_SIG_NONE, false},
            {"cut", "length=90ft|slipped=90ft|reason=broken-wires", FSP_SIG_NONE, true},
            {"reel", "reel=R-2|rope=1-3/8in|grade=EIPS|received=5000ft|strung=1400ft|lines=10",
                    FSP_SIG_NONE, true},
    };
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct book *book = book_new();

        book_open(book);
        book_put(book, "inspection", "2026-03-05T00:00:00Z", SEEN "R-1|decision=cut");
        book_put_signed(
                book, rows[i].kind, "2026-03-06T00:00:00Z", rows[i].members, rows[i].sig);
        if ((book_view(book)->cut_due != FSP_DUE_OUT_OF_SERVICE) != rows[i].lifts)
            fail_msg("row %zu: %s", i, book_view(book)->cut_due_why);
        book_free(book);
        /* What came before the finding never lifts it. */
        book = book_new();
        book_open(book);
        book_put_signed(
                book, rows[i].kind, "2026-03-04T00:00:00Z", rows[i].members, rows[i].sig);
        book_put(book, "inspection", "2026-03-05T00:00:00Z",
                strcmp(rows[i].kind, "reel") == 0 ? SEEN "R-2|decision=cut"
                                                  : SEEN "R-1|decision=cut");
        assert_int_equal(book_view(book)->cut_due, FSP_DUE_OUT_OF_SERVICE);
        book_free(book);
    }
}

static void
a_decision_to_slip_makes_a_slip_due_until_it_is_done(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "inspection", "2026-03-05T00:00:00Z", SEEN "R-1|decision=slip");
    assert_int_equal(book_view(book)->slip_due, FSP_DUE_NOW);
    assert_int_equal(book_view(book)->cut_due, FSP_DUE_NOT_YET);
    book_put(book, "slip", "2026-03-06T00:00:00Z", "length=30ft");
    assert_int_equal(book_view(book)->slip_due, FSP_DUE_NOT_YET);
    book_free(book);
}

static void
an_inspection_of_another_reel_is_told_and_stops_nothing(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "inspection", "2026-03-05T00:00:00Z", SEEN "R-7|decision=cut");
    assert_int_equal(book_view(book)->cut_due, FSP_DUE_NOT_YET);
    assert_true(book_note(book->ledger, "inspection of reel R-7 says cut, but R-1 is hung"));
    book_free(book);
}

/* ---- amendments ---- */

static void
the_last_amendment_of_a_field_wins_and_one_can_be_voided(void **state)
{
    struct book *book = book_new();
    char text[200];
    size_t work, first, second;

    (void)state;
    book_open(book);
    work = book_put(book, "work", "2026-03-02T00:00:00Z",
            "op=stated|basis=log|ton-miles=100|hookload=300klb");
    (void)snprintf(
            text, sizeof(text), "entry=%zu|reason=typo|set={\"ton-miles\":\"200\"}", work);
    first = book_put(book, "amend", "2026-03-03T00:00:00Z", text);
    assert_near(ton_miles(book_view(book)->work_since_cut_j), 200, 1e-9);
    assert_int_equal(book_view(book)->amended, 1);
    (void)snprintf(
            text, sizeof(text), "entry=%zu|reason=again|set={\"ton-miles\":\"300\"}", work);
    second = book_put(book, "amend", "2026-03-01T00:00:00Z", text); /* log order, not time */
    assert_near(ton_miles(book_view(book)->work_since_cut_j), 300, 1e-9);
    (void)snprintf(text, sizeof(text), "entry=%zu|reason=no|void=yes", second);
    second = book_put(book, "amend", "2026-03-05T00:00:00Z", text);
    assert_near(ton_miles(book_view(book)->work_since_cut_j), 200, 1e-9);
    (void)snprintf(text, sizeof(text), "entry=%zu|reason=no|void=yes", first);
    book_put(book, "amend", "2026-03-06T00:00:00Z", text);
    assert_near(ton_miles(book_view(book)->work_since_cut_j), 100, 1e-9);
    assert_int_equal(book_view(book)->amended, 0);
    (void)snprintf(text, sizeof(text), "entry=%zu|reason=yes after all|void=yes", second);
    book_put(book, "amend", "2026-03-07T00:00:00Z", text); /* the void is void: 300 is back */
    assert_near(ton_miles(book_view(book)->work_since_cut_j), 300, 1e-9);
    (void)snprintf(text, sizeof(text), "entry=%zu|reason=gone|void=yes", work);
    book_put(book, "amend", "2026-03-08T00:00:00Z", text);
    assert_near(ton_miles(book_view(book)->work_since_cut_j), 0, 0);
    book_free(book);
}

static void
an_amended_time_moves_the_entry_before_ordering(void **state)
{
    struct book *book = book_new();
    char text[200];
    size_t work;

    (void)state;
    book_open(book);
    work = book_put(book, "work", "2026-03-02T00:00:00Z",
            "op=stated|basis=log|ton-miles=100|hookload=300klb");
    book_put(book, "cut", "2026-03-04T00:00:00Z", "length=90ft|slipped=90ft|reason=goal");
    assert_near(book_view(book)->work_since_cut_j, 0, 0);
    (void)snprintf(text, sizeof(text),
            "entry=%zu|reason=date|set={\"at\":\"2026-03-05T00:00:00Z\"}", work);
    book_put(book, "amend", "2026-03-06T00:00:00Z", text);
    assert_near(ton_miles(book_view(book)->work_since_cut_j), 100, 1e-9);
    /* Folding twice gives the same. */
    book_view(book);
    assert_near(ton_miles(book_view(book)->work_since_cut_j), 100, 1e-9);
    book_free(book);
}

static void
an_amendment_whose_entry_has_not_arrived_is_held_and_told(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "amend", "2026-03-06T00:00:00Z", "entry=77|reason=x|void=yes");
    assert_int_equal(book_view(book)->amended, 0);
    assert_true(
            book_note(book->ledger, "amendment held: the entry it names (77) has not arrived"));
    book_free(book);
}

static void
inspections_are_not_changed_and_voided_only_with_a_signature(void **state)
{
    struct book *book = book_new();
    size_t seen;
    char text[200];

    (void)state;
    book_open(book);
    seen = book_put(book, "inspection", "2026-03-05T00:00:00Z", SEEN "R-1|decision=cut");
    (void)snprintf(text, sizeof(text), "entry=%zu|reason=x|set={\"decision\":\"run\"}", seen);
    book_put_signed(book, "amend", "2026-03-06T00:00:00Z", text, FSP_SIG_GOOD);
    assert_int_equal(book_view(book)->cut_due, FSP_DUE_OUT_OF_SERVICE);
    assert_true(book_note(book->ledger, "cannot change an inspection"));
    (void)snprintf(text, sizeof(text), "entry=%zu|reason=x|void=yes", seen);
    book_put(book, "amend", "2026-03-07T00:00:00Z", text);
    assert_int_equal(book_view(book)->cut_due, FSP_DUE_OUT_OF_SERVICE);
    assert_true(book_note(book->ledger, "disputed: voiding an inspection"));
    book_put_signed(book, "amend", "2026-03-08T00:00:00Z", text, FSP_SIG_GOOD);
    assert_int_equal(book_view(book)->cut_due, FSP_DUE_NOT_YET);
    book_free(book);
}

static void
adverse_conditions_are_ended_not_voided_without_a_signature(void **state)
{
    struct book *book = book_new();
    size_t adverse;
    char text[200];

    (void)state;
    book_open(book);
    adverse = book_put(
            book, "adverse", "2026-03-02T00:00:00Z", "what=stuck-pipe|state=begins|derate=50%");
    (void)snprintf(text, sizeof(text), "entry=%zu|reason=x|void=yes", adverse);
    book_put(book, "amend", "2026-03-03T00:00:00Z", text);
    assert_near(book_view(book)->derate, 0.5, 1e-12);
    book_put_signed(book, "amend", "2026-03-04T00:00:00Z", text, FSP_SIG_GOOD);
    assert_near(book_view(book)->derate, 1, 0);
    book_free(book);
}

/* ---- clocks, unreadable entries, limits ---- */

static void
late_entries_and_doubtful_clocks_are_counted(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    book_noted(book, 0, "2026-03-01T00:05:00Z");
    book_noted(book, 1, "2026-03-02T00:01:00Z"); /* 24 h exactly: not late */
    book_noted(book, 2, "2026-03-02T00:02:01Z"); /* a second more */
    book_noted(book, 3, "2001-01-01T00:00:00Z"); /* behind those before */
    view = book_view(book);
    assert_int_equal(view->late_entries, 1);
    assert_int_equal(view->doubtful_clock, 1);
    book_free(book);
}

static void
each_log_has_a_clock_of_its_own(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_noted(book, 0, "2026-03-01T10:05:00Z");
    book_noted(book, 3, "2026-03-01T09:05:00Z"); /* an hour before, on another machine */
    assert_int_equal(book_view(book)->doubtful_clock, 1);
    book->entries[3].log = 1;
    book->entries[3].index = 0;
    assert_int_equal(book_view(book)->doubtful_clock, 0);
    book_free(book);
}

static void
an_entry_that_cannot_be_read_is_kept_told_and_leaves_the_count_in_doubt(void **state)
{
    struct book *book = book_new();
    char text[200];

    (void)state;
    book_open(book);
    memset(&book->entries[book->n], 0, sizeof(book->entries[0]));
    book->entries[book->n].index = book->n;
    book->entries[book->n].leaf[2] = (uint8_t)book->n;
    book->n++;
    assert_int_equal(book_view(book)->unreadable, 1);
    assert_int_equal(book_view(book)->entries, 5);
    assert_true(book_view(book)->incomplete);
    (void)snprintf(text, sizeof(text), "entry=%zu|reason=junk|void=yes", book->n - 1);
    book_put(book, "amend", "2026-03-06T00:00:00Z", text);
    assert_int_equal(book_view(book)->unreadable, 0);
    assert_false(book_view(book)->incomplete);
    book_free(book);
}

static void
low_factors_are_told_by_the_service_they_belong_to(void **state)
{
    struct book *book = book_new();
    double usual;

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z",
            "op=stated|basis=x|ton-miles=1|hookload=300klb");
    usual = book_view(book)->served_j;
    /* A pull never re-rates the work but serves the limits. 600,000 lb leave 2.6. */
    book_put(book, "work", "2026-03-03T00:00:00Z",
            "op=stated|basis=x|ton-miles=1|hookload=300klb|pull=600klb|service=stuck-pipe");
    assert_near(book_view(book)->served_j, 2 * usual, usual * 1e-9);
    assert_near(book_view(book)->min_factor, 2.595, 0.001);
    assert_false(book_note(book->ledger, "below the minimum"));
    book_put(book, "work", "2026-03-04T00:00:00Z",
            "op=stated|basis=x|ton-miles=1|hookload=300klb|pull=600klb");
    assert_true(book_note(book_fold(book), "below the minimum of 3 for drilling"));
    book_put(book, "work", "2026-03-05T00:00:00Z",
            "op=stated|basis=x|ton-miles=1|hookload=300klb|pull=900klb|service=casing");
    assert_true(book_note(book_fold(book), "below the minimum of 2 for casing"));
    book_free(book);
}

/* The agent writes what it showed into the entry; a person cannot. */
static void
shown(struct book *book, size_t index, const char *work)
{
    struct fsp_err err = {0};

    assert_ok(fsp_record_set_text(book->records[index], "ton-miles", work, &err), &err);
}

static void
what_the_crew_saw_is_compared_never_used(void **state)
{
    static const char moves[] = "op=moves|count=528|stroke=10ft|up=100klb|down=100klb";
    struct book *book = book_new();
    double plain;

    (void)state;
    book_open(book);
    shown(book, book_put(book, "work", "2026-03-02T00:00:00Z", moves), "100.00");
    plain = book_view(book)->work_since_cut_j;
    assert_near(ton_miles(plain), 100, 1e-9);
    assert_false(book_note(book->ledger, "shown on entry"));
    shown(book, book_put(book, "work", "2026-03-03T00:00:00Z", moves), "90.00 ton-miles");
    assert_near(book_view(book)->work_since_cut_j, 2 * plain, plain * 1e-12);
    assert_true(book_note(book->ledger,
            "90.00 ton-miles were shown on entry, the rules in force give 100.00"));
    book_free(book);
}

static void
certificates_sizes_and_lengths_that_look_wrong_are_told(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger *ledger;

    (void)state;
    book_open(book);
    book_put(book, "reel", "2026-03-02T00:00:00Z",
            "reel=R-2|rope=35mm|grade=EIPS|received=1000ft|strung=1400ft|lines=10|"
            "strength=215000lb");
    book_put(book, "reel", "2026-03-03T00:00:00Z",
            "reel=R-3|rope=35mm|grade=EIPS|received=4000ft|strung=1400ft|lines=10");
    book_put(book, "reel", "2026-03-04T00:00:00Z",
            "reel=R-4|rope=33mm|grade=EIPS|received=1500ft|strung=1400ft|lines=10");
    book_put(book, "slip", "2026-03-05T00:00:00Z", "length=120ft");
    book_put(book, "unhang", "2026-03-06T00:00:00Z", "reel=R-9");
    book_put(book, "slip", "2026-03-07T00:00:00Z", "length=20ft");
    ledger = book_fold(book);
    assert_true(book_note(ledger, "a line is hung while reel R-1 was still hung"));
    assert_true(book_note(ledger, "12.0 % above the table"));
    assert_true(book_note(ledger, "more line strung than received"));
    assert_true(book_note(ledger, "35.0 mm rope taken for the 1-3/8 in of the table"));
    assert_true(book_note(ledger, "strength unknown, no design factor"));
    assert_true(book_note(ledger, "more line slipped than the reel held"));
    assert_true(book_note(ledger, "reel R-9 comes off, but R-4 is hung"));
    assert_true(book_note(ledger, "slip with no line hung"));
    book_free(book);
}

/* ---- any order of arrival ---- */

static uint32_t seed = 41;

static unsigned
below(unsigned n)
{
    seed = seed * 1664525U + 1013904223U;
    return (seed >> 8) % n;
}

/* Invented days of every kind, many sharing their minute, with amendments of earlier entries. */
static void
fill(struct book *book, size_t n)
{
    static const struct {
        const char *kind, *members;
    } rows[] = {{"work", "op=round-trip|depth=9000ft"},
            {"work", "op=drilling|from=9000ft|to=9100ft"},
            {"work", "op=pull-out|from=9000ft|to=100ft|when=before"},
            {"work", "op=stated|basis=x|ton-miles=60|hookload=350klb|when=after"},
            {"work", "op=casing|depth=5000ft|casing=40lb/ft|joint=40ft|tour=day|row=3"},
            {"slip", "length=30ft"},
            {"cut", "length=90ft|slipped=30ft|reason=diameter|place=anchor"},
            {"cut", "length=80ft|slipped=80ft|reason=goal"},
            {"tour", "tour=day|complete=yes|bit-depth=9000ft"},
            {"tour", "tour=night|complete=no"},
            {"adverse", "what=jarring|state=begins|derate=90%"},
            {"adverse", "what=jarring|state=ends"}, {"well", "well=LB-3|formation=hard"},
            {"inspection", SEEN "R-1|decision=cut"}, {"inspection", SEEN "R-1|decision=run"},
            {"string-up", "lines=12|drawn=200ft"}, {"string-up", "lines=10|returned=200ft"},
            {"program", "cut=95ft|first-goal=1400ton-miles|later-goal=1200ton-miles|slips=2"},
            {"check", "item=anchor|result=good"}, {"state", "state=stacked"},
            {"turn", "reel=R-1"},
            {"reel",
                    "reel=R-1|rope=1-3/8in|grade=EIPS|received=4000ft|strung=1400ft|lines=10"}};
    char at[64], text[200];

    book_open(book);
    while (book->n < n) {
        unsigned row = below(26);
        enum fsp_sig_state sig = (enum fsp_sig_state)below(3);

        (void)snprintf(at, sizeof(at), "2026-%02u-%02uT00:%02u:00Z", 3 + below(6),
                1 + below(28), below(4));
        if (row < sizeof(rows) / sizeof(rows[0])) {
            book_put_signed(book, rows[row].kind, at, rows[row].members, sig);
        } else {
            (void)snprintf(text, sizeof(text), "entry=%u|reason=r|%s", below((unsigned)book->n),
                    row % 2 == 0 ? "void=yes" : "set={\"at\":\"2026-05-05T00:01:00Z\"}");
            book_put_signed(book, "amend", at, text, sig);
        }
    }
}

static void
any_order_of_arrival_gives_the_same_bytes(void **state)
{
    size_t order[800], n = 400, i;
    struct book *book = book_new();
    struct fsp_buf first, other;
    int run;

    (void)state;
    fsp_buf_init(&first, (size_t)1 << 20);
    fsp_buf_init(&other, (size_t)1 << 20);
    fill(book, n);
    fsp_ledger_json(book_fold(book), &first);
    fsp_ledger_text(book->ledger, &first);
    assert_int_equal(first.rc, FSP_OK);
    for (run = 0; run < 25; run++) {
        for (i = 0; i < 2 * n; i++)
            order[i] = i % n; /* in odd runs every entry arrives twice */
        for (i = n; i-- > 1;) {
            size_t j = below((unsigned)(i + 1)), keep = order[i];

            order[i] = order[j];
            order[j] = keep;
        }
        fsp_buf_reset(&other);
        fsp_ledger_json(book_fold_in(book, order, run % 2 == 0 ? n : 2 * n), &other);
        fsp_ledger_text(book->ledger, &other);
        assert_int_equal(other.len, first.len);
        assert_memory_equal(other.data, first.data, first.len);
    }
    fsp_buf_fini(&first);
    fsp_buf_fini(&other);
    book_free(book);
}

static void
the_log_of_a_renewal_orders_after_the_old_one(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "cut", "2026-03-05T00:00:00Z", "length=90ft|slipped=90ft|reason=goal");
    book->entries[book->n - 1].log = 1;
    book_put(book, "work", "2026-03-05T00:00:00Z",
            "op=stated|basis=x|ton-miles=10|hookload=300klb");
    (void)book_fold(book);
    assert_near(ton_miles(fsp_ledger_cut(book->ledger, 0)->ton_miles_j), 10, 1e-9);
    assert_true(book_note(book->ledger, "does not say before or after"));
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_jump_of_the_bit_makes_the_count_incomplete_until_the_next_cut),
            cmocka_unit_test(a_chain_of_operations_that_meets_has_no_gap),
            cmocka_unit_test(casing_with_the_string_still_in_the_hole_is_a_gap),
            cmocka_unit_test(a_tours_bit_depth_and_an_incomplete_tour_are_gaps),
            cmocka_unit_test(another_well_starts_with_an_unknown_bit),
            cmocka_unit_test(work_that_cannot_be_reckoned_is_told_and_never_silently_zero),
            cmocka_unit_test(work_before_the_first_reel_is_a_note),
            cmocka_unit_test(minutes_without_data_make_counted_work_incomplete),
            cmocka_unit_test(only_the_basis_in_force_feeds_the_goal),
            cmocka_unit_test(work_in_the_minute_of_a_cut_goes_before_or_after_as_it_says),
            cmocka_unit_test(a_decision_against_the_line_stops_it_at_once_signed_or_not),
            cmocka_unit_test(only_a_cut_a_reel_or_a_signed_run_lifts_it),
            cmocka_unit_test(a_decision_to_slip_makes_a_slip_due_until_it_is_done),
            cmocka_unit_test(an_inspection_of_another_reel_is_told_and_stops_nothing),
            cmocka_unit_test(the_last_amendment_of_a_field_wins_and_one_can_be_voided),
            cmocka_unit_test(an_amended_time_moves_the_entry_before_ordering),
            cmocka_unit_test(an_amendment_whose_entry_has_not_arrived_is_held_and_told),
            cmocka_unit_test(inspections_are_not_changed_and_voided_only_with_a_signature),
            cmocka_unit_test(adverse_conditions_are_ended_not_voided_without_a_signature),
            cmocka_unit_test(late_entries_and_doubtful_clocks_are_counted),
            cmocka_unit_test(each_log_has_a_clock_of_its_own),
            cmocka_unit_test(
                    an_entry_that_cannot_be_read_is_kept_told_and_leaves_the_count_in_doubt),
            cmocka_unit_test(low_factors_are_told_by_the_service_they_belong_to),
            cmocka_unit_test(what_the_crew_saw_is_compared_never_used),
            cmocka_unit_test(certificates_sizes_and_lengths_that_look_wrong_are_told),
            cmocka_unit_test(any_order_of_arrival_gives_the_same_bytes),
            cmocka_unit_test(the_log_of_a_renewal_orders_after_the_old_one),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
