#include "unit/line/book.h"

#include "support/test.h"
#include "unit/line/near.h"

#include <string.h>

#include "line/steps.h"

#define SEEN_MAX 64

struct seen {
    size_t n;
    struct {
        char kind[24];
        uint64_t index;
        double work_j, served_j, since_cut_j, goal_j;
        char well[24], formation[24];
    } at[SEEN_MAX];
};

static void
text_to(char *out, size_t len, const char *text)
{
    (void)snprintf(out, len, "%s", text == NULL ? "" : text);
}

static void
look(void *ctx, const struct fsp_ledger_step *step)
{
    struct seen *seen = ctx;

    assert_true(seen->n < SEEN_MAX);
    text_to(seen->at[seen->n].kind, sizeof(seen->at[0].kind),
            fsp_record_text(step->record, "kind"));
    seen->at[seen->n].index = step->index;
    seen->at[seen->n].work_j = step->work_j;
    seen->at[seen->n].served_j = step->served_j;
    seen->at[seen->n].since_cut_j = step->since_cut_j;
    seen->at[seen->n].goal_j = step->goal_j;
    text_to(seen->at[seen->n].well, sizeof(seen->at[0].well), step->well);
    text_to(seen->at[seen->n].formation, sizeof(seen->at[0].formation), step->formation);
    seen->n++;
}

static void
see(struct book *book, struct seen *seen)
{
    struct fsp_err err = {0};

    memset(seen, 0, sizeof(*seen));
    (void)book_fold(book);
    fsp_ledger_on_step(book->ledger, look, seen);
    assert_ok(fsp_ledger_fold(book->ledger, INT64_C(1800000000), &err), &err);
    fsp_ledger_on_step(book->ledger, NULL, NULL);
}

static void
two_wells_and_a_cut(struct book *book)
{
    book_open(book);
    book_put(book, "well", "2026-03-02T00:00:00Z", "well=LB-1|formation=hard");
    book_put(book, "work", "2026-03-03T00:00:00Z", "op=round-trip|depth=9000ft");
    book_put(book, "work", "2026-03-04T00:00:00Z", "op=round-trip|depth=9500ft");
    book_put(book, "slip", "2026-03-05T00:00:00Z", "length=90ft");
    book_put(book, "cut", "2026-03-05T01:00:00Z", "length=90ft|reason=goal");
    book_put(book, "well", "2026-03-06T00:00:00Z", "well=LB-2");
    book_put(book, "work", "2026-03-07T00:00:00Z", "op=round-trip|depth=8000ft");
}

static void
steps_say_what_the_account_says(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger_view *view;
    const struct fsp_cut_row *cut;
    struct seen seen;
    double work_j = 0;
    double served_j = 0;

    (void)state;
    two_wells_and_a_cut(book);
    see(book, &seen);
    view = fsp_ledger_peek(book->ledger);
    cut = fsp_ledger_cut(book->ledger, 0);
    assert_int_equal(seen.n, book->n);
    for (size_t i = 0; i < seen.n; i++) {
        work_j += seen.at[i].work_j;
        served_j += seen.at[i].served_j;
        if (strcmp(seen.at[i].kind, "cut") != 0)
            continue;
        assert_near(seen.at[i].since_cut_j, 0.0, 1e-6);
        assert_near(seen.at[i - 1].since_cut_j, cut->served_j, 1e-6);
        assert_near(served_j, cut->served_j, 1e-6);
        assert_near(seen.at[i - 1].goal_j, cut->goal_j, 1e-6);
        assert_near(seen.at[i].goal_j, view->goal_j, 1e-6);
        served_j = 0;
    }
    assert_near(work_j, view->work_line_j, 1e-6);
    assert_near(served_j, view->served_j, 1e-6);
    assert_near(seen.at[seen.n - 1].since_cut_j, view->served_j, 1e-6);
    book_free(book);
}

static void
steps_name_the_well_and_count_amendments(void **state)
{
    struct book *book = book_new();
    struct seen before;
    struct seen after;
    size_t work;

    (void)state;
    two_wells_and_a_cut(book);
    see(book, &before);
    work = book->n - 1;
    assert_string_equal(before.at[work].well, "LB-2");
    assert_string_equal(before.at[work].formation, "");
    assert_string_equal(before.at[work - 4].well, "LB-1");
    assert_string_equal(before.at[work - 4].formation, "hard");
    book_free(book);
    book = book_new();
    two_wells_and_a_cut(book);
    book_put(book, "tour", "2026-03-08T00:00:00Z", "tour=day|complete=yes");
    see(book, &after);
    assert_int_equal(after.n, before.n + 1);
    assert_near(after.at[after.n - 1].work_j, 0.0, 1e-6);
    assert_near(after.at[after.n - 1].since_cut_j, before.at[work].since_cut_j, 1e-6);
    book_free(book);
}

static void
a_cut_says_what_line_it_was_and_where(void **state)
{
    struct book *book = book_new();
    const struct fsp_ledger *ledger;
    const struct fsp_cut_row *cut;

    (void)state;
    book_open(book);
    book_put(book, "reel", "2026-03-01T12:00:00Z",
            "reel=R-9|rope=1-3/8in|grade=EIPS|received=4000ft|strung=1400ft|lines=10|"
            "build=6x26WS|class=6x19|core=IWRC");
    book_put(book, "well", "2026-03-02T00:00:00Z", "well=LB-1|formation=soft");
    book_put(book, "slip", "2026-03-05T00:00:00Z", "length=90ft");
    book_put(book, "cut", "2026-03-05T01:00:00Z", "length=90ft|reason=goal");
    book_put(book, "reel", "2026-03-06T00:00:00Z",
            "reel=R-10|rope=1-3/8in|grade=EIPS|received=4000ft|strung=1400ft|lines=10");
    book_put(book, "well", "2026-03-06T01:00:00Z", "well=LB-2");
    book_put(book, "slip", "2026-03-07T00:00:00Z", "length=90ft");
    book_put(book, "cut", "2026-03-07T01:00:00Z", "length=90ft|reason=goal");
    ledger = book_fold(book);
    cut = fsp_ledger_cut(ledger, 0);
    assert_string_equal(cut->formation, "soft");
    assert_string_equal(cut->build, "6x26WS");
    assert_string_equal(cut->rope_class, "6x19");
    assert_string_equal(cut->core, "IWRC");
    cut = fsp_ledger_cut(ledger, 1);
    assert_null(cut->formation);
    assert_null(cut->build);
    assert_null(cut->rope_class);
    assert_null(cut->core);
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(steps_say_what_the_account_says),
            cmocka_unit_test(steps_name_the_well_and_count_amendments),
            cmocka_unit_test(a_cut_says_what_line_it_was_and_where),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
