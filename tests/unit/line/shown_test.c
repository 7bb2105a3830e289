#include "unit/line/book.h"

#include "support/test.h"
#include "unit/line/near.h"

#include <string.h>

#include "line/hoist.h"
#include "line/shown.h"

#define SEEN_MAX 16

/* What was told of each entry of work, in the order of the fold. */
struct seen {
    size_t n;
    uint64_t index[SEEN_MAX];
    double ton_miles[SEEN_MAX], factor[SEEN_MAX], multiplier[SEEN_MAX];
    char why[SEEN_MAX][200];
};

static void
look(void *ctx, const struct fsp_ledger_work *work)
{
    struct seen *seen = ctx;

    assert_true(seen->n < SEEN_MAX);
    seen->index[seen->n] = work->index;
    seen->ton_miles[seen->n] = work->work_j / FSP_TON_MILE_J;
    seen->factor[seen->n] = work->factor;
    seen->multiplier[seen->n] = work->in->multiplier;
    (void)snprintf(
            seen->why[seen->n], sizeof(seen->why[0]), "%s", work->why == NULL ? "" : work->why);
    seen->n++;
}

static void
see(struct book *book, struct seen *seen)
{
    struct fsp_err err = {0};

    memset(seen, 0, sizeof(*seen));
    (void)book_fold(book);
    fsp_ledger_on_work(book->ledger, look, seen);
    assert_ok(fsp_ledger_fold(book->ledger, INT64_C(1800000000), &err), &err);
}

/* 10 lines of 1 3/8 EIPS: a factor of 192,000 x 10 x 0.81109 / load. */
static void
work_shows_what_was_in_force_at_its_own_time(void **state)
{
    struct book *book = book_new();
    struct seen seen;

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-03T00:00:00Z",
            "op=round-trip|depth=9000ft|hookload=300klb|pull=500klb");
    book_put(
            book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=9000ft|hookload=300klb");
    /* Entered last, but in force between the two. */
    book_put(book, "drill-string", "2026-03-02T12:00:00Z",
            "pipe=16.6lb/ft|stand=93ft|bha-weight=0lb|bha-length=0ft|mud=air");
    see(book, &seen);
    assert_int_equal(seen.n, 2);
    assert_int_equal(seen.index[0], 5);
    assert_int_equal(seen.index[1], 4);
    /* Wm = 19.5 x 0.847328 = 16.5229, C = (60,000 - 11,700) x 0.847328 = 40,926:
     * 9,000 x 9,093 x 16.5229 / 10,560,000 + 9,000 x (47,000 + 20,463) / 2,640,000. */
    assert_near(seen.ton_miles[0], 128.0478 + 229.9874, 0.001);
    /* In air without an assembly: 9,000 x 9,093 x 16.6 / 10,560,000 + 9,000 x 47,000 / 2,640,000. */
    assert_near(seen.ton_miles[1], 128.644 + 160.227, 0.01);
    assert_near(seen.factor[0], 5.191, 0.001);
    assert_near(seen.factor[1], 3.1146, 0.001); /* the highest pull's */
    book_free(book);
}

static void
what_cannot_be_reckoned_says_why(void **state)
{
    struct book *book = book_new();
    struct seen seen;

    (void)state;
    book_put(book, "work", "2026-02-01T00:00:00Z", "op=round-trip|depth=9000ft");
    book_put(book, "rig", "2026-03-01T00:00:00Z", "mast=142ft|drum=30in|block=47000lb");
    book_put(book, "reel", "2026-03-01T00:01:00Z",
            "reel=R-1|rope=1-3/8in|grade=EIPS|received=5000ft|strung=1400ft|lines=10");
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=9000ft");
    book_put(book, "work", "2026-03-02T01:00:00Z", "op=stated|ton-miles=30|basis=old book");
    see(book, &seen);
    assert_int_equal(seen.n, 3);
    assert_string_equal(seen.why[0], "no line is hung");
    assert_non_null(strstr(seen.why[1], "pipe, mud: no drill string before it"));
    assert_string_equal(seen.why[2], "");
    assert_near(seen.ton_miles[2], 30, 1e-9);
    assert_true(!(seen.factor[2] > 0)); /* no load, no factor */
    book_free(book);
}

static void
jarring_counts_with_the_houses_multiplier(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger *ledger;
    struct seen seen;
    size_t i, named = 0;

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z",
            "op=moves|count=60|stroke=8ft|up=150klb|down=60klb");
    book_put(book, "work", "2026-03-02T01:00:00Z",
            "op=moves|count=60|stroke=8ft|up=150klb|down=60klb|multiplier=1.5");
    see(book, &seen);
    /* 60 x 8 x 210,000 / 10,560,000. */
    assert_near(seen.ton_miles[0], 9.5455, 1e-4);
    assert_near(seen.ton_miles[1], 14.3182, 1e-4);
    assert_near(ton_miles(fsp_ledger_peek(book->ledger)->work_since_cut_j), 23.8636, 1e-4);
    ledger = book_fold(book);
    for (i = 0; fsp_ledger_assumed(ledger, i) != NULL; i++)
        named += strstr(fsp_ledger_assumed(ledger, i), "multiplier 1 of block moves") != NULL;
    assert_int_equal(named, 1);
    book_free(book);
}

static void
set(struct book *book, size_t entry, const char *field, const char *text)
{
    struct fsp_err err = {0};

    assert_ok(fsp_record_set_text(book->records[entry], field, text, &err), &err);
}

static void
what_was_shown_is_never_an_input_and_a_difference_is_listed(void **state)
{
    struct book *book = book_new();
    double is;
    size_t work;

    (void)state;
    book_open(book);
    work = book_put(
            book, "work", "2026-03-03T00:00:00Z", "op=round-trip|depth=9000ft|hookload=300klb");
    is = ton_miles(book_view(book)->work_since_cut_j); /* 358.0352 */
    set(book, work, "ton-miles", "358.04");
    set(book, work, "factor", "5.19");
    set(book, work, "rules", "2");
    assert_near(ton_miles(book_view(book)->work_since_cut_j), is, 0);
    assert_false(book_note(book->ledger, "shown on entry"));
    set(book, work, "ton-miles", "358.38"); /* 0.098 % */
    (void)book_fold(book);
    assert_false(book_note(book->ledger, "shown on entry"));
    set(book, work, "ton-miles", "358.40"); /* 0.103 % */
    (void)book_fold(book);
    assert_true(book_note(book->ledger,
            "358.40 ton-miles were shown on entry, the rules in force give 358.04"));
    set(book, work, "factor", "5.15");
    (void)book_fold(book);
    assert_true(book_note(book->ledger,
            "design factor 5.15 was shown on entry, the rules in force give 5.19"));
    assert_near(ton_miles(book_view(book)->work_since_cut_j), is, 0);
    book_free(book);
}

/* ---- certificates ---- */

static double
strength_lb(const char *strength, struct book *book)
{
    char members[200];

    (void)snprintf(members, sizeof(members),
            "reel=R-2|rope=1-3/8in|grade=EIPS|received=5000ft|strung=1400ft|lines=10|"
            "strength=%s",
            strength);
    book_put(book, "rig", "2026-03-01T00:00:00Z", "mast=142ft|drum=30in|block=47000lb");
    book_put(book, "reel", "2026-03-01T00:01:00Z", members);
    return book_view(book)->strength_n / FSP_LBF_N;
}

static void
a_certificate_that_entering_refuses_never_makes_the_line_look_better(void **state)
{
    static const struct {
        const char *strength, *note;
        double lb;
    } rows[] = {
            {"190klb", NULL, 190000},
            {"197klb", NULL, 197000},
            {"200klb", "4.2 % above the table: is it the minimum breaking force?", 200000},
            {"211klb", "9.9 % above the table", 211000},
            {"211.2klb", "10.0 % above the table, where less than 10 % is allowed", 192000},
            {"260klb", "35.4 % above the table, where less than 10 %", 192000},
    };
    size_t i;

    (void)state;
    for (i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct book *book = book_new();

        assert_near(strength_lb(rows[i].strength, book), rows[i].lb, 1e-6);
        assert_true(
                book_note(book->ledger, rows[i].note == NULL ? "certificate" : rows[i].note) ==
                (rows[i].note != NULL));
        book_free(book);
    }
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(work_shows_what_was_in_force_at_its_own_time),
            cmocka_unit_test(what_cannot_be_reckoned_says_why),
            cmocka_unit_test(jarring_counts_with_the_houses_multiplier),
            cmocka_unit_test(what_was_shown_is_never_an_input_and_a_difference_is_listed),
            cmocka_unit_test(
                    a_certificate_that_entering_refuses_never_makes_the_line_look_better),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
