#include "unit/line/book.h"

#include "support/test.h"
#include "unit/line/near.h"

#include <stdlib.h>
#include <string.h>

#define SEEN "fleet=lantern-basin|rig=heron|reel=R-1|inspector=An Inspector|scope=monthly|"

static void
the_lift_is_the_lines_beside_the_lowest_rating_given(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    view = book_view(book);
    /* 1-3/8 EIPS, 10 lines, roller: 192,000 lb over the fast-line factor 0.1233 (API RP 9B). */
    assert_near(view->load_at_5_n / FSP_LBF_N, 311450, 100);
    assert_near(view->load_at_3_n / FSP_LBF_N, 519080, 100);
    assert_null(view->lowest_rating);
    book_put(book, "rig", "2026-03-02T00:00:00Z",
            "mast=142ft|drum=30in|block=47000lb|ratings="
            "[{\"part\":\"mast\",\"load\":\"500klb\",\"lines\":10},"
            "{\"part\":\"mast\",\"load\":\"400klb\",\"lines\":8},"
            "{\"part\":\"hook\",\"load\":\"350klb\"}]");
    view = book_view(book);
    assert_string_equal(view->lowest_rating, "hook");
    assert_near(view->lowest_rating_n / FSP_LBF_N, 350000, 1e-6);
    /* Newer particulars that say nothing of ratings leave them. */
    book_put(book, "rig", "2026-03-03T00:00:00Z", "mast=142ft|drum=30in|block=47000lb");
    assert_string_equal(book_view(book)->lowest_rating, "hook");
    book_put(book, "rig", "2026-03-04T00:00:00Z",
            "mast=142ft|drum=30in|block=47000lb|ratings="
            "[{\"part\":\"mast\",\"load\":\"400klb\",\"lines\":8},"
            "{\"part\":\"mast\",\"load\":\"500klb\",\"lines\":10}]");
    view = book_view(book);
    assert_string_equal(view->lowest_rating, "mast");
    assert_near(view->lowest_rating_n / FSP_LBF_N, 500000, 1e-6);
    book_free(book);
}

static void
no_lift_while_a_finding_is_open_and_each_finding_is_listed(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    book_put(book, "inspection", "2026-03-02T00:00:00Z",
            SEEN "decision=run|defects=[{\"place\":\"anchor\",\"what\":\"worn insert\","
                 "\"by-date\":\"2026-03-10\",\"by\":\"mechanic\"}]");
    view = book_view(book);
    assert_int_equal(view->findings, 1);
    assert_non_null(strstr(fsp_ledger_finding(book->ledger, 0),
            "anchor: worn insert (inspection of 2026-03-02, entry 4); to be mended by "
            "2026-03-10; by mechanic"));
    assert_near(view->load_at_3_n, 0, 0);
    book_put(book, "inspection", "2026-03-03T00:00:00Z", SEEN "decision=out-of-service");
    view = book_view(book);
    assert_int_equal(view->findings, 2);
    assert_non_null(strstr(fsp_ledger_finding(book->ledger, 0), "says out-of-service"));
    book_put(book, "cut", "2026-03-04T00:00:00Z", "length=90ft|slipped=90ft|reason=crush");
    assert_true(fsp_ledger_cut(book_fold(book), 0)->out_of_service);
    assert_int_equal(fsp_ledger_peek(book->ledger)->findings, 1);
    book_put(book, "inspection", "2026-03-05T00:00:00Z",
            SEEN "decision=run|defects=[{\"place\":\"anchor\",\"what\":\"worn insert\","
                 "\"closed\":\"insert changed\"}]");
    view = book_view(book);
    assert_int_equal(view->findings, 0);
    assert_null(fsp_ledger_finding(book->ledger, 0));
    assert_true(view->load_at_3_n > 0);
    book_free(book);
}

static void
the_log_says_which_rules_applied_to_which_cut(void **state)
{
    struct book *book = book_new();
    const struct fsp_cut_row *row;
    struct fsp_buf buf;

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z",
            "op=stated|ton-miles=100ton-miles|basis=note|hookload=560klb");
    book_put(book, "slip", "2026-03-03T00:00:00Z", "length=30ft");
    book_put(book, "cut", "2026-03-04T00:00:00Z", "length=90ft|slipped=60ft|reason=goal");
    book_put(book, "program", "2026-03-05T00:00:00Z",
            "cut=100ft|first-goal=1600ton-miles|later-goal=1400ton-miles|slips=2|basis=hand|"
            "credit-above=on|curve=[{\"factor\":\"3\",\"share\":\"0.5\"},"
            "{\"factor\":\"7\",\"share\":\"1.2\"}]");
    book_put(book, "cut", "2026-03-06T00:00:00Z", "length=100ft|slipped=100ft|reason=goal");
    (void)book_fold(book);
    row = fsp_ledger_cut(book->ledger, 0);
    assert_true(row->has_program);
    assert_int_equal(row->program_index, 3);
    assert_string_equal(row->goal_kind, "first");
    assert_string_equal(row->curve, "built-in");
    assert_null(row->basis);
    assert_false(row->credit);
    assert_int_equal(row->slips, 2);
    assert_int_equal(row->below_minimum, 1); /* 560,000 lb leaves 2.78 */
    row = fsp_ledger_cut(book->ledger, 1);
    assert_int_equal(row->program_index, 7);
    assert_string_equal(row->goal_kind, "later");
    assert_string_equal(row->curve, "programme");
    assert_string_equal(row->basis, "hand");
    assert_true(row->credit);
    assert_int_equal(row->below_minimum, 0);
    fsp_buf_init(&buf, (size_t)1 << 20);
    fsp_ledger_json(book->ledger, &buf);
    assert_non_null(strstr(fsp_buf_peek(&buf), "\"program\":{\"index\":7,\"log\":0}"));
    assert_non_null(strstr(fsp_buf_peek(&buf), "\"goal_kind\":\"first\""));
    fsp_buf_fini(&buf);
    book_free(book);
}

static void
each_doubt_has_its_words(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger *ledger;
    size_t i, late;
    struct fsp_buf doubts;
    const char *all;

    (void)state;
    book_put(book, "rig", "2026-03-01T00:00:00Z", "mast=142ft|drum=30in|block=47000lb");
    book_put(book, "reel", "2026-03-01T00:01:00Z",
            "reel=R-1|rope=1-3/8in|grade=EIPS|received=5000ft|strung=1400ft|lines=10|"
            "state=used|carried-basis=estimate|carried-total=900ton-miles");
    book_put(book, "drill-string", "2026-03-01T00:02:00Z",
            "pipe=19.5lb/ft|stand=93ft|bha-weight=60000lb|bha-length=600ft|mud=10ppg");
    book_put(book, "adverse", "2026-03-01T12:00:00Z", "what=deviation|state=begins|derate=80%");
    late = book_put(book, "work", "2026-03-02T00:00:00Z", "op=drilling|from=9000ft|to=9300ft");
    book_noted(book, late, "2026-03-09T00:00:00Z");
    book_put(book, "work", "2026-03-03T00:00:00Z", "op=pull-out|from=4100ft|to=0ft");
    book->entries[book->n].index = book->n;
    book->entries[book->n++].leaf[0] = 9; /* no record: cannot be read */
    ledger = book_fold(book);
    fsp_buf_init(&doubts, 4000);
    for (i = 0; fsp_ledger_doubt(ledger, i) != NULL; i++)
        fsp_buf_printf(&doubts, "%s\n", fsp_ledger_doubt(ledger, i));
    all = fsp_buf_peek(&doubts);
    assert_non_null(strstr(all, "INCOMPLETE: "));
    assert_non_null(strstr(all, "estimated: the line came used"));
    assert_non_null(strstr(all, "estimated: hook loads not entered"));
    assert_non_null(strstr(all, "late: 1 entry made more than 24 h after"));
    assert_non_null(strstr(all, "unreadable: 1 entry"));
    assert_non_null(strstr(all, "leave 80 % of the goal"));
    fsp_buf_fini(&doubts);
    book_free(book);
}

static void
a_used_line_gets_no_first_goal_and_its_history_is_carried(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;

    (void)state;
    book_open(book);
    book_put(book, "unhang", "2026-03-02T00:00:00Z", "reel=R-1|left=5000ft");
    assert_null(book_view(book)->reel);
    assert_near(book_view(book)->in_service_m, 0, 0);
    book_put(book, "reel", "2026-03-03T00:00:00Z",
            "reel=R-2|rope=1-3/8in|grade=EIPS|received=4000ft|strung=1400ft|lines=10|"
            "state=used|carried-total=2000ton-miles|carried-since-cut=300ton-miles|"
            "carried-since-slip=100ton-miles|slipped-since-cut=60ft|carried-cut=900ft|"
            "carried-basis=records");
    view = book_view(book);
    assert_near(ton_miles(view->goal_j), 1300, 1e-9);
    assert_true(view->estimated);
    assert_near(ton_miles(view->work_line_j), 2000, 1e-9);
    assert_near(ton_miles(view->served_j), 300, 1e-9);
    assert_near(ton_miles(view->served_since_slip_j), 100, 1e-9);
    assert_near(feet(view->slipped_since_cut_m), 60, 1e-9);
    assert_near(feet(view->feet_cut_line_m), 900, 1e-9);
    assert_near(feet(view->present_m), 4000, 1e-9);
    book_free(book);
}

static void
turning_the_line_changes_no_length_and_no_count(void **state)
{
    struct book *book = book_new();
    struct fsp_ledger_view before;
    const struct fsp_ledger_view *after;

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=9000ft");
    book_put(book, "slip", "2026-03-03T00:00:00Z", "length=30ft");
    before = *book_view(book);
    book_put(book, "turn", "2026-03-04T00:00:00Z", "reel=R-1");
    after = book_view(book);
    assert_near(after->in_service_m, before.in_service_m, 0);
    assert_near(after->on_reel_m, before.on_reel_m, 0);
    assert_near(after->served_j, before.served_j, 0);
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_lift_is_the_lines_beside_the_lowest_rating_given),
            cmocka_unit_test(no_lift_while_a_finding_is_open_and_each_finding_is_listed),
            cmocka_unit_test(the_log_says_which_rules_applied_to_which_cut),
            cmocka_unit_test(each_doubt_has_its_words),
            cmocka_unit_test(a_used_line_gets_no_first_goal_and_its_history_is_carried),
            cmocka_unit_test(turning_the_line_changes_no_length_and_no_count),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
