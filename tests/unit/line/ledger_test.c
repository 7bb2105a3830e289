#include "unit/line/book.h"

#include "support/test.h"
#include "unit/line/near.h"

#include <stdlib.h>
#include <string.h>

#include "line/work.h"

/* Work of so many ton-miles at a hook load that leaves a factor above 5 on the ordinary rig. */
static size_t
stated(struct book *book, const char *at, const char *work)
{
    char members[200];

    (void)snprintf(members, sizeof(members),
            "op=stated|basis=log|hookload=300000lb|ton-miles=%s", work);
    return book_put(book, "work", at, members);
}

/* A cut at the end of each month from April on, after work of so many ton-miles. */
static void
month(struct book *book, int number, const char *work, const char *cut)
{
    char at[32];

    (void)snprintf(at, sizeof(at), "2026-%02d-10T00:00:00Z", number);
    stated(book, at, work);
    (void)snprintf(at, sizeof(at), "2026-%02d-20T00:00:00Z", number);
    book_put(book, "cut", at, cut);
}

static void
an_empty_book_has_no_line_and_no_answer(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view = book_view(book);

    (void)state;
    assert_null(view->reel);
    assert_int_equal(view->cut_due, FSP_DUE_UNKNOWN);
    assert_string_equal(view->cut_due_why, "no line hung");
    book_free(book);
}

static void
work_is_counted_from_the_defaults_of_rig_and_string(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;
    struct fsp_work_in in = {.op = FSP_OP_ROUND_TRIP};
    struct fsp_work_out out;
    struct fsp_err err = {0};

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=9000ft");
    view = book_view(book);
    in.string.pipe_nm = 19.5 * FSP_LBF_FT_NM;
    in.string.stand_m = 93 * FSP_FT_M;
    in.string.bha_n = 60000 * FSP_LBF_N;
    in.string.bha_m = 600 * FSP_FT_M;
    in.string.mud_kgm3 = 10 * 0.45359237 / 0.003785411784;
    in.string.block_n = 47000 * FSP_LBF_N;
    in.depth_m = 9000 * FSP_FT_M;
    assert_ok(fsp_work_reckon(&in, &out, &err), &err);
    assert_near(view->work_since_cut_j, out.joules, out.joules * 1e-12);
    assert_near(view->work_line_j, out.joules, out.joules * 1e-12);
    /* Without hookload: the buoyed string at its deepest plus block, marked estimated. */
    assert_true(view->estimated);
    assert_near(view->min_factor, 192000 * FSP_LBF_N / (out.hookload_n * 0.12329094433),
            view->min_factor * 1e-8);
    assert_int_equal(view->cut_due, FSP_DUE_NOT_YET);
    assert_non_null(fsp_ledger_assumed(book->ledger, 0));
    book_free(book);
}

static void
a_works_own_fields_come_before_the_drill_string(void **state)
{
    struct book *book = book_new();
    double plain, air;

    (void)state;
    book_open(book);
    book_put(
            book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=9000ft|hookload=250klb");
    plain = book_view(book)->work_since_cut_j;
    assert_false(book_view(book)->estimated);
    book_put(book, "work", "2026-03-03T00:00:00Z",
            "op=round-trip|depth=9000ft|mud=air|hookload=250klb");
    air = book_view(book)->work_since_cut_j - plain;
    assert_true(air > 1.05 * plain);
    book_free(book);
}

static void
service_is_work_over_the_curve_without_credit_above_100(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;
    size_t easy, hard;

    (void)state;
    book_open(book);
    easy = book_put(book, "work", "2026-03-02T00:00:00Z",
            "op=stated|basis=log|ton-miles=100|hookload=200000lb");
    view = book_view(book);
    assert_true(view->min_factor > 7);
    assert_near(ton_miles(view->served_j), 100, 1e-9);
    /* 389,323 lb leaves exactly 4 on the fast line: 80 %. */
    hard = book_put(book, "work", "2026-03-03T00:00:00Z",
            "op=stated|basis=log|ton-miles=100|hookload=389323lb");
    view = book_view(book);
    assert_near(ton_miles(view->served_j), 100 + 125, 0.01);
    assert_near(ton_miles(view->work_since_cut_j), 200, 1e-9);
    assert_true(easy < hard);
    book_put(book, "program", "2026-03-01T12:00:00Z",
            "cut=90ft|first-goal=1500ton-miles|later-goal=1300ton-miles|credit-above=on");
    view = book_view(book);
    assert_near(ton_miles(view->served_j), 100 / 1.25 + 125, 0.01);
    assert_true(book_note(book->ledger, "beyond the ends of the service curve"));
    book_free(book);
}

static void
a_companys_curve_replaces_the_built_in_one(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    book_put(book, "program", "2026-03-01T12:00:00Z",
            "cut=90ft|first-goal=1500ton-miles|later-goal=1300ton-miles|"
            "curve=[{\"factor\":\"2\",\"share\":\"20%\"},{\"factor\":\"10\",\"share\":\"60%\"}"
            "]");
    book_put(book, "work", "2026-03-03T00:00:00Z",
            "op=stated|basis=log|ton-miles=100|hookload=389323lb");
    assert_near(ton_miles(book_view(book)->served_j), 100 / 0.3, 0.01);
    book_free(book);
}

static void
adverse_conditions_derate_while_they_last(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    book_put(book, "adverse", "2026-03-02T00:00:00Z",
            "what=bit-chatter|state=begins|derate=80%");
    stated(book, "2026-03-03T00:00:00Z", "100");
    view = book_view(book);
    assert_near(view->derate, 0.8, 1e-12);
    assert_near(ton_miles(view->served_j), 125, 1e-9);
    book_put(book, "adverse", "2026-03-04T00:00:00Z", "what=bit-chatter|state=ends");
    stated(book, "2026-03-05T00:00:00Z", "100");
    view = book_view(book);
    assert_near(view->derate, 1, 0);
    assert_near(ton_miles(view->served_j), 225, 1e-9);
    book_put(book, "adverse", "2026-03-06T00:00:00Z", "what=deviation|state=ends");
    assert_true(book_note(book_fold(book), "deviation ends that had not begun"));
    book_free(book);
}

static void
due_states_follow_the_share_served(void **state)
{
    static const struct {
        const char *work;
        enum fsp_due due;
    } rows[] = {{"1199.9", FSP_DUE_NOT_YET}, {"1200", FSP_DUE_SOON}, {"1499", FSP_DUE_SOON},
            {"1500", FSP_DUE_NOW}, {"1650", FSP_DUE_NOW}, {"1651", FSP_DUE_OVERDUE}};
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct book *book = book_new();

        book_open(book);
        stated(book, "2026-03-02T00:00:00Z", rows[i].work);
        assert_int_equal(book_view(book)->cut_due, rows[i].due);
        book_free(book);
    }
}

static void
a_slip_resets_the_slip_only_and_a_cut_resets_the_cut(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    stated(book, "2026-03-02T00:00:00Z", "450");
    view = book_view(book);
    assert_int_equal(view->slip_due, FSP_DUE_SOON); /* 450 of 1,500 / 3 */
    assert_int_equal(view->cut_due, FSP_DUE_NOT_YET);
    book_put(book, "slip", "2026-03-03T00:00:00Z", "length=30ft");
    stated(book, "2026-03-04T00:00:00Z", "50");
    view = book_view(book);
    assert_near(ton_miles(view->work_since_slip_j), 50, 1e-9);
    assert_near(ton_miles(view->work_since_cut_j), 500, 1e-9);
    assert_near(feet(view->slipped_since_cut_m), 30, 1e-9);
    assert_near(feet(view->in_service_m), 1430, 1e-9);
    assert_near(feet(view->on_reel_m), 3570, 1e-9);
    book_put(book, "cut", "2026-03-05T00:00:00Z", "length=90ft|slipped=60ft|reason=goal");
    view = book_view(book);
    assert_near(ton_miles(view->work_since_slip_j), 0, 0);
    assert_near(ton_miles(view->work_since_cut_j), 0, 0);
    assert_near(ton_miles(view->work_line_j), 500, 1e-9);
    assert_near(view->served_j, 0, 0);
    assert_near(view->slipped_since_cut_m, 0, 0);
    assert_near(feet(view->in_service_m), 1400, 1e-9);
    assert_near(feet(view->on_reel_m), 3510, 1e-9);
    assert_near(feet(view->present_m), 4910, 1e-9);
    assert_near(feet(view->feet_cut_line_m), 90, 1e-9);
    assert_int_equal(view->cuts, 1);
    assert_false(fsp_ledger_cut(book->ledger, 0)->beyond_slipped);
    book_free(book);
}

/* in service = strung + drawn + slipped - returned - cropped - cut; and the other two. */
static void
lengths_hold_through_a_change_of_string_up(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;
    double before, after;

    (void)state;
    book_open(book);
    stated(book, "2026-03-02T00:00:00Z", "100");
    before = book_view(book)->min_factor;
    book_put(book, "string-up", "2026-03-03T00:00:00Z",
            "lines=12|drawn=280ft|returned=20ft|cropped=15ft");
    stated(book, "2026-03-04T00:00:00Z", "100");
    view = book_view(book);
    assert_int_equal(view->lines, 12);
    assert_near(feet(view->in_service_m), 1400 + 280 - 20 - 15, 1e-9);
    assert_near(feet(view->on_reel_m), 5000 - 1400 - 280 + 20, 1e-9);
    assert_near(feet(view->present_m), 5000 - 15, 1e-9);
    assert_near(ton_miles(view->work_since_cut_j), 200, 1e-9); /* the count carries on */
    assert_near(view->min_factor, before, 0);
    book_put(book, "cut", "2026-03-05T00:00:00Z", "length=90ft|slipped=90ft|reason=goal");
    stated(book, "2026-03-06T00:00:00Z", "100");
    after = book_view(book)->min_factor;
    assert_true(after > before);
    book_free(book);
}

static void
a_cut_beyond_what_was_slipped_is_flagged(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger *ledger;

    (void)state;
    book_open(book);
    book_put(book, "slip", "2026-03-03T00:00:00Z", "length=30ft");
    book_put(book, "cut", "2026-03-05T00:00:00Z", "length=90ft|slipped=30ft|reason=goal");
    ledger = book_fold(book);
    assert_true(fsp_ledger_cut(ledger, 0)->beyond_slipped);
    assert_true(book_note(
            ledger, "more is cut than was slipped since the cut before: 90 ft of 60 ft"));
    book_free(book);
}

static void
laps_and_tape_half_a_lap_apart_are_told_and_tape_wins(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger *ledger;

    (void)state;
    book_open(book);
    book_put(book, "cut", "2026-03-05T00:00:00Z",
            "length=90ft|slipped=95ft|reason=goal|laps=11.5|measured=tape");
    ledger = book_fold(book);
    assert_true(book_note(ledger, "more than half a lap apart"));
    assert_near(feet(fsp_ledger_cut(ledger, 0)->length_m), 90, 1e-9);
    book_put(book, "cut", "2026-04-05T00:00:00Z",
            "length=94ft|slipped=95ft|reason=goal|laps=11.5|measured=laps");
    ledger = book_fold(book);
    assert_near(feet(fsp_ledger_cut(ledger, 1)->length_m), 94.46, 0.01);
    book_free(book);
}

static void
the_first_cut_of_a_new_line_has_the_first_goal_later_ones_the_later(void **state)
{
    struct book *book = book_new();

    (void)state;
    book_open(book);
    assert_near(ton_miles(book_view(book)->goal_j), 1500, 1e-9);
    month(book, 4, "1000", "length=90ft|slipped=90ft|reason=goal");
    assert_near(ton_miles(book_view(book)->goal_j), 1300, 1e-9);
    assert_near(ton_miles(fsp_ledger_cut(book->ledger, 0)->goal_j), 1500, 1e-9);
    assert_true(fsp_ledger_cut(book->ledger, 0)->first_of_line);
    book_free(book);
}

static void
a_used_line_has_no_first_cut_allowance_and_carries_its_count(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    book_put(book, "unhang", "2026-03-10T00:00:00Z", "reel=R-1");
    assert_null(book_view(book)->reel);
    book_put(book, "reel", "2026-03-11T00:00:00Z",
            "reel=R-2|rope=1-3/"
            "8in|grade=EIPS|received=3000ft|strung=1400ft|lines=10|state=used|"
            "carried-total=9000ton-miles|carried-cut=600ft|carried-since-cut=400ton-miles|"
            "carried-since-slip=100ton-miles|slipped-since-cut=60ft|carried-basis=estimate");
    view = book_view(book);
    assert_true(view->estimated);
    assert_near(ton_miles(view->goal_j), 1300, 1e-9);
    assert_near(ton_miles(view->work_line_j), 9000, 1e-9);
    assert_near(ton_miles(view->work_since_cut_j), 400, 1e-9);
    assert_near(ton_miles(view->served_j), 400, 1e-9);
    assert_near(ton_miles(view->work_since_slip_j), 100, 1e-9);
    assert_near(feet(view->slipped_since_cut_m), 60, 1e-9);
    assert_near(feet(view->feet_cut_line_m), 600, 1e-9);
    month(book, 4, "900", "length=90ft|slipped=30ft|reason=goal");
    view = book_view(book);
    assert_false(view->estimated);
    assert_false(fsp_ledger_cut(book->ledger, 0)->eligible);
    assert_non_null(strstr(fsp_ledger_cut(book->ledger, 0)->why, "used or estimated"));
    assert_false(fsp_ledger_cut(book->ledger, 0)->beyond_slipped);
    book_free(book);
}

/* Early: served per foot cut below 90 % of goal per programme foot, for wear. 1,300 / 90 ft x 0.9
 * = 13 ton-miles a foot. */
static void
early_is_judged_per_foot_and_for_wear_only(void **state)
{
    static const struct {
        const char *work, *cut;
        bool early, eligible, long_cut;
    } rows[] = {
            {"1160", "length=90ft|slipped=200ft|reason=broken-wires", true, true, false},
            {"1180", "length=90ft|slipped=200ft|reason=broken-wires", false, true, false},
            {"1160", "length=89ft|slipped=200ft|reason=diameter", false, true, false},
            {"1180", "length=95ft|slipped=200ft|reason=crossover", true, true, false},
            {"500", "length=90ft|slipped=200ft|reason=goal", false, true, false},
            {"500", "length=90ft|slipped=200ft|reason=planned-casing", false, false, false},
            {"500", "length=90ft|slipped=200ft|reason=planned-shoe", false, false, false},
            {"500", "length=90ft|slipped=200ft|reason=planned-move", false, false, false},
            {"500", "length=90ft|slipped=200ft|reason=planned-section", false, false, false},
            {"500", "length=90ft|slipped=200ft|reason=kink", false, true, false},
            {"500", "length=90ft|slipped=200ft|reason=shock", false, true, false},
            {"500", "length=90ft|slipped=200ft|reason=low-dead-wraps", false, true, false},
            {"1300", "length=112ft|slipped=200ft|reason=diameter", true, true, false},
            {"1500", "length=112.6ft|slipped=200ft|reason=diameter", false, true, true},
            {"1500", "length=150ft|slipped=200ft|reason=goal", false, true, false},
    };
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct book *book = book_new();
        const struct fsp_cut_row *row;

        book_open(book);
        month(book, 4, "1500", "length=90ft|slipped=90ft|reason=goal");
        month(book, 5, rows[i].work, rows[i].cut);
        row = fsp_ledger_cut(book_fold(book), 1);
        if (row->early != rows[i].early || row->eligible != rows[i].eligible ||
                row->long_cut != rows[i].long_cut)
            fail_msg("row %zu: early %d eligible %d long %d: %s", i, row->early, row->eligible,
                    row->long_cut, row->why);
        book_free(book);
    }
}

static void
cuts_that_may_not_be_judged_say_why(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger *ledger;

    (void)state;
    book_open(book);
    month(book, 4, "500", "length=90ft|slipped=90ft|reason=diameter"); /* first of the line */
    book_put(book, "program", "2026-05-01T00:00:00Z",
            "cut=90ft|first-goal=1600ton-miles|later-goal=1400ton-miles|slips=3");
    month(book, 5, "500",
            "length=90ft|slipped=90ft|reason=diameter"); /* first after a change */
    book_put(
            book, "adverse", "2026-06-01T00:00:00Z", "what=stuck-pipe|state=begins|derate=90%");
    book_put(book, "adverse", "2026-06-02T00:00:00Z", "what=stuck-pipe|state=ends");
    month(book, 6, "500", "length=90ft|slipped=90ft|reason=diameter"); /* derated since */
    book_put(book, "tour", "2026-07-01T00:00:00Z", "tour=day|complete=no");
    month(book, 7, "500", "length=90ft|slipped=90ft|reason=diameter"); /* incomplete */
    month(book, 8, "500", "length=90ft|slipped=90ft|reason=diameter|place=fast-line sheave");
    ledger = book_fold(book);
    assert_non_null(strstr(fsp_ledger_cut(ledger, 0)->why, "first cut of the line"));
    assert_non_null(strstr(fsp_ledger_cut(ledger, 1)->why, "after the goal changed"));
    assert_non_null(strstr(fsp_ledger_cut(ledger, 2)->why, "derated"));
    assert_non_null(strstr(fsp_ledger_cut(ledger, 3)->why, "gap"));
    assert_true(fsp_ledger_cut(ledger, 3)->incomplete);
    assert_false(fsp_ledger_cut(ledger, 3)->early);
    assert_true(fsp_ledger_cut(ledger, 4)->eligible);
    assert_true(fsp_ledger_cut(ledger, 4)->early);
    assert_non_null(strstr(fsp_ledger_cut(ledger, 4)->why, "5.56 ton-miles per foot served"));
    assert_null(fsp_ledger_cut(ledger, 5));
    book_free(book);
}

static void
without_a_programme_there_is_only_a_suggestion(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    book->n--; /* without the programme */
    fsp_record_free(book->records[book->n]);
    stated(book, "2026-03-02T00:00:00Z", "100");
    view = book_view(book);
    assert_int_equal(view->cut_due, FSP_DUE_UNKNOWN);
    assert_int_equal(view->slip_due, FSP_DUE_UNKNOWN);
    assert_non_null(strstr(view->cut_due_why, "no approved goal; suggestion 1,645 ton-miles"));
    assert_near(ton_miles(view->suggested_j), 17.417142857 * feet(view->table_cut_m), 0.01);
    assert_near(feet(view->table_cut_m), 94.46, 0.01);
    assert_near(view->table_laps, 11.5, 0);
    book_free(book);
}

static void
a_metric_rig_is_told_its_figures_in_metres(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;
    struct fsp_buf buf;

    (void)state;
    book_put(
            book, "rig", "2026-03-01T00:00:00Z", "mast=43.3m|drum=762mm|block=21.3t|stand=28m");
    book_put(book, "reel", "2026-03-01T00:01:00Z",
            "reel=R-1|rope=35mm|grade=1960|received=1500m|strung=430m|lines=10");
    book_put(book, "drill-string", "2026-03-01T00:02:00Z",
            "pipe=29kg/m|stand=28m|bha-weight=27t|bha-length=180m|mud=1.2SG");
    book_put(book, "program", "2026-03-01T00:03:00Z",
            "cut=28m|first-goal=2190t-km|later-goal=1900t-km");
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=2800m");
    book_put(book, "work", "2026-03-03T00:00:00Z", "op=pull-out|from=1200m|to=0m");
    view = book_view(book);
    assert_true(view->metric);
    assert_near(view->strength_n, 854756, 1);
    assert_near(view->goal_j / FSP_TONNE_KM_J, 2190, 1e-9);
    assert_true(book_note(book->ledger,
            "last entry left the bit at 2,800.0 m, this one starts at 1,200.0 m"));
    fsp_buf_init(&buf, 100000);
    fsp_ledger_text(book->ledger, &buf);
    assert_non_null(strstr(fsp_buf_peek(&buf), "35.0 mm 1960, 10 lines"));
    assert_non_null(strstr(fsp_buf_peek(&buf), "t-km"));
    assert_null(strstr(fsp_buf_peek(&buf), "ton-mile"));
    fsp_buf_fini(&buf);
    book_free(book);
}

static void
the_text_gives_the_answer_first_and_the_cautions(void **state)
{
    struct book *book = book_new();
    struct fsp_buf buf;
    const char *text, *cut;

    (void)state;
    book_open(book);
    stated(book, "2026-03-02T00:00:00Z", "1250");
    fsp_buf_init(&buf, 100000);
    fsp_ledger_text(book_fold(book), &buf);
    text = fsp_buf_peek(&buf);
    cut = strstr(text, "CUT      SOON: 250 of 1,500 ton-miles left");
    assert_ptr_equal(cut, text);
    assert_true(strstr(text, "\nSLIP ") < strstr(text, "\nHOW MUCH "));
    assert_true(strstr(text, "\nHOW MUCH ") < strstr(text, "\nLIFT "));
    assert_true(strstr(text, "\nLIFT ") < strstr(text, "\nLengths "));
    assert_non_null(strstr(text, "the line's limit, never"));
    assert_non_null(strstr(text, "mast, block, anchor, drawworks and pipe"));
    assert_null(strstr(text, "allowed"));
    fsp_buf_fini(&buf);
    book_free(book);
}

static void
the_json_has_its_keys_and_no_nan(void **state)
{
    struct book *book = book_new();
    struct fsp_buf buf;
    const char *text;

    (void)state;
    book_open(book);
    month(book, 4, "1000", "length=90ft|slipped=90ft|reason=other|note=x|place=drum \"end\"");
    fsp_buf_init(&buf, 100000);
    fsp_ledger_json(book_fold(book), &buf);
    text = fsp_buf_peek(&buf);
    assert_non_null(strstr(text, "\"ton_miles_since_cut\":0,"));
    assert_non_null(strstr(text, "\"goal_ton_miles\":1300"));
    assert_non_null(strstr(text, "\"place\":\"drum \\\"end\\\"\""));
    assert_non_null(strstr(text, "\"rules\":2"));
    assert_null(strstr(text, "nan"));
    assert_null(strstr(text, "inf"));
    fsp_buf_fini(&buf);
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(an_empty_book_has_no_line_and_no_answer),
            cmocka_unit_test(work_is_counted_from_the_defaults_of_rig_and_string),
            cmocka_unit_test(a_works_own_fields_come_before_the_drill_string),
            cmocka_unit_test(service_is_work_over_the_curve_without_credit_above_100),
            cmocka_unit_test(a_companys_curve_replaces_the_built_in_one),
            cmocka_unit_test(adverse_conditions_derate_while_they_last),
            cmocka_unit_test(due_states_follow_the_share_served),
            cmocka_unit_test(a_slip_resets_the_slip_only_and_a_cut_resets_the_cut),
            cmocka_unit_test(lengths_hold_through_a_change_of_string_up),
            cmocka_unit_test(a_cut_beyond_what_was_slipped_is_flagged),
            cmocka_unit_test(laps_and_tape_half_a_lap_apart_are_told_and_tape_wins),
            cmocka_unit_test(
                    the_first_cut_of_a_new_line_has_the_first_goal_later_ones_the_later),
            cmocka_unit_test(a_used_line_has_no_first_cut_allowance_and_carries_its_count),
            cmocka_unit_test(early_is_judged_per_foot_and_for_wear_only),
            cmocka_unit_test(cuts_that_may_not_be_judged_say_why),
            cmocka_unit_test(without_a_programme_there_is_only_a_suggestion),
            cmocka_unit_test(a_metric_rig_is_told_its_figures_in_metres),
            cmocka_unit_test(the_text_gives_the_answer_first_and_the_cautions),
            cmocka_unit_test(the_json_has_its_keys_and_no_nan),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
