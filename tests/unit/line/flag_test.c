/* What a rig's account is flagged for, at its limits, and what must raise nothing. */
#include "line/flag.h"

#include "support/test.h"
#include "unit/line/book.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "line/duty.h"

#define SEEN                                                                                   \
    "fleet=lantern-basin|rig=heron|reel=R-1|inspector=An Inspector|decision=run|scope=monthly"
#define CUT                                                                                    \
    "length=90ft|slipped=90ft|reason=goal|checks=[{\"item\":\"crown-saver\",\"result\":"       \
    "\"good\"}]"

static int64_t
seconds(const char *text)
{
    struct fsp_err err = {0};
    int64_t at_s = 0;

    assert_ok(fsp_time_parse(text, NULL, &at_s, &err), &err);
    return at_s;
}

struct flags {
    struct fsp_line_flag list[FSP_LINE_FLAGS_MAX];
    size_t n;
};

static const struct fsp_line_flag *
find(const struct flags *flags, enum fsp_line_flag_kind kind)
{
    size_t i;

    for (i = 0; i < flags->n; i++)
        if (flags->list[i].kind == kind)
            return &flags->list[i];
    return NULL;
}

/* The flag of that kind, which must be there. */
static const struct fsp_line_flag *
raised(const struct flags *flags, enum fsp_line_flag_kind kind)
{
    const struct fsp_line_flag *flag = find(flags, kind);

    if (flag == NULL) {
        fail_msg("no flag of kind %d", (int)kind);
        abort();
    }
    return flag;
}

static struct flags *
flags_of(const struct fsp_ledger *ledger, const struct fsp_cut_row *const *rows, size_t n)
{
    struct flags *flags = calloc(1, sizeof(*flags));
    struct fsp_advice advice[FSP_ADVICE_MAX];
    struct fsp_review review;
    struct fsp_line_flags_about about = {ledger, rows, n, &review, advice, 0};

    assert_non_null(flags);
    fsp_review_judge(rows, n,
            &(struct fsp_review_about){.changed = fsp_ledger_peek(ledger)->changed_s != 0},
            &review);
    about.n_advice = fsp_review_advise(rows, n, &review, advice);
    flags->n = fsp_line_flags(&about, flags->list);
    return flags;
}

/* Of a book, as of a time. */
static struct flags *
as_of(struct book *book, const char *at)
{
    const struct fsp_cut_row *rows[64];
    struct fsp_err err = {0};
    size_t n = 0;

    (void)book_fold(book);
    assert_ok(fsp_ledger_fold(book->ledger, seconds(at), &err), &err);
    while (n < 64 && (rows[n] = fsp_ledger_cut(book->ledger, n)) != NULL)
        n++;
    return flags_of(book->ledger, rows, n);
}

static size_t
count_as_of(struct book *book, const char *at, enum fsp_line_flag_kind kind)
{
    struct flags *flags = as_of(book, at);
    size_t n = 0, i;

    for (i = 0; i < flags->n; i++)
        n += flags->list[i].kind == kind ? 1 : 0;
    free(flags);
    return n;
}

/* A ledger without a line, and rows of these letters: E early for wear at a place, g good, l wear left,
 * p planned, k kink, c crush, s spooling; ! the next one comes after a change of sheave or drum. */
static struct flags *
flags_of_cuts(const char *cuts)
{
    struct book *book = book_new();
    struct fsp_cut_row rows[32];
    const struct fsp_cut_row *list[32];
    struct flags *flags;
    bool changed = false;
    size_t n = 0;

    memset(rows, 0, sizeof(rows));
    for (; *cuts != 0; cuts++) {
        struct fsp_cut_row *row = &rows[n];

        if (*cuts == '!') {
            changed = true;
            continue;
        }
        list[n] = row;
        row->index = 100 + n;
        row->log = 2;
        row->at_s = (int64_t)(1 + n) * FSP_S_PER_DAY;
        row->length_m = 27;
        row->served_j = 1e9;
        row->eligible = *cuts != 'p';
        row->planned = *cuts == 'p';
        row->early = *cuts == 'E';
        row->low = row->early;
        row->place = row->early ? "crossover" : NULL;
        row->reason = *cuts == 'k'   ? "kink"
                      : *cuts == 'c' ? "crush"
                      : *cuts == 's' ? "spooling"
                      : *cuts == 'E' ? "broken-wires"
                                     : "goal";
        row->condition = *cuts == 'l' ? "wear-left" : NULL;
        row->changed = changed;
        changed = false;
        n++;
    }
    flags = flags_of(book_fold(book), list, n);
    book_free(book);
    return flags;
}

static bool
says(const char *cuts, enum fsp_line_flag_kind kind)
{
    struct flags *flags = flags_of_cuts(cuts);
    bool found = find(flags, kind) != NULL;

    free(flags);
    return found;
}

static void
repeated_early_cuts_name_their_evidence_and_the_newest_cut(void **state)
{
    struct flags *flags = flags_of_cuts("ggEEpE");
    const struct fsp_line_flag *flag = raised(flags, FSP_LINE_EARLY_WEAR);

    (void)state;
    assert_string_equal(flag->what, "2.105");
    assert_int_equal(flag->n_cuts, 4);
    assert_int_equal(flag->cuts[0], 1);
    assert_int_equal(flag->cuts[2], 3);
    assert_int_equal(flag->cuts[3], 5);
    assert_int_equal(flag->since_s, 6 * FSP_S_PER_DAY);
    assert_non_null(strstr(flag->text, "3 of the last 4 eligible cuts"));
    assert_int_equal(flags->n, 1);
    free(flags);
    /* A good cut is nothing new, another early one is. */
    flags = flags_of_cuts("ggEEpEg");
    flag = raised(flags, FSP_LINE_EARLY_WEAR);
    assert_string_equal(flag->what, "2.105");
    assert_int_equal(flag->cuts[flag->n_cuts - 1], 6);
    free(flags);
    flags = flags_of_cuts("ggEEpEgE");
    assert_string_equal(raised(flags, FSP_LINE_EARLY_WEAR)->what, "2.107");
    free(flags);
}

static void
damage_is_repeated_by_two_of_a_kind_or_three_of_any(void **state)
{
    struct flags *flags = flags_of_cuts("gkgck");
    const struct fsp_line_flag *flag = raised(flags, FSP_LINE_DAMAGE);

    (void)state;
    assert_string_equal(flag->text, "3 of the last 5 cuts for damage: kink 2 times, crush; no "
                                    "goal helps against it: look "
                                    "at how the line is spooled, reeved and handled");
    assert_string_equal(flag->what, "2.104");
    assert_int_equal(flag->n_cuts, 3);
    assert_int_equal(flag->since_s, 2 * FSP_S_PER_DAY);
    free(flags);
    assert_true(says("kk", FSP_LINE_DAMAGE));
    assert_true(says("kgggk", FSP_LINE_DAMAGE));
    assert_true(says("kggggk", FSP_LINE_DAMAGE)); /* first and last of 6 */
    assert_false(says("kgggggk", FSP_LINE_DAMAGE));
    assert_true(says("kcs", FSP_LINE_DAMAGE));
    assert_false(says("kc", FSP_LINE_DAMAGE));
    assert_false(says("k", FSP_LINE_DAMAGE));
    assert_false(says("", FSP_LINE_DAMAGE));
    assert_true(says("kkgg", FSP_LINE_DAMAGE));
    assert_false(says("kkggg", FSP_LINE_DAMAGE)); /* closed by 3 others */
    assert_false(says("k!k", FSP_LINE_DAMAGE));
    assert_true(says("k!kk", FSP_LINE_DAMAGE));
}

static void
wear_left_and_planned_cuts_repeat_from_the_third_on(void **state)
{
    struct flags *flags = flags_of_cuts("glplpl");
    const struct fsp_line_flag *flag = raised(flags, FSP_LINE_WEAR_LEFT);

    (void)state;
    assert_int_equal(flag->n_cuts, 3);
    assert_int_equal(flag->cuts[0], 1);
    assert_int_equal(flag->cuts[1], 3);
    assert_int_equal(flag->cuts[2], 5);
    assert_string_equal(flag->what, "2.105");
    assert_int_equal(flag->since_s, 2 * FSP_S_PER_DAY);
    free(flags);
    assert_false(says("gll", FSP_LINE_WEAR_LEFT));
    assert_false(says("gpp", FSP_LINE_PLANNED));
    flags = flags_of_cuts("gppp");
    assert_int_equal(raised(flags, FSP_LINE_PLANNED)->n_cuts, 3);
    assert_int_equal(flags->n, 1); /* planned cuts are never early */
    free(flags);
}

static void
cuts_that_scatter_are_erratic(void **state)
{
    struct flags *flags = flags_of_cuts("ElElg");
    const struct fsp_line_flag *flag = raised(flags, FSP_LINE_ERRATIC);

    (void)state;
    assert_int_equal(flag->n_cuts, 5);
    assert_string_equal(flag->what, "2.104");
    assert_non_null(strstr(flag->text, "erratic"));
    free(flags);
    assert_false(says("ggggg", FSP_LINE_ERRATIC));
}

static void
a_first_or_a_single_early_cut_raises_nothing(void **state)
{
    struct flags *flags = flags_of_cuts("E");

    (void)state;
    assert_int_equal(flags->n, 0);
    free(flags);
    flags = flags_of_cuts("gEgg");
    assert_int_equal(flags->n, 0);
    free(flags);
}

static void
a_low_factor_waits_twelve_hours_for_its_inspection(void **state)
{
    struct book *book = book_new();
    struct flags *flags;

    (void)state;
    book_open(book);
    book_put(
            book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=5000ft|hookload=540klb");
    assert_int_equal(count_as_of(book, "2026-03-02T12:00:00Z", FSP_LINE_LOW_FACTOR), 0);
    flags = as_of(book, "2026-03-02T12:00:01Z");
    assert_string_equal(raised(flags, FSP_LINE_LOW_FACTOR)->what, "0.4");
    assert_non_null(strstr(raised(flags, FSP_LINE_LOW_FACTOR)->text,
            "1 operation below the minimum design factor since 2026-03-02"));
    free(flags);
    book_put(
            book, "work", "2026-03-03T00:00:00Z", "op=round-trip|depth=5000ft|hookload=540klb");
    flags = as_of(book, "2026-03-03T00:00:00Z");
    assert_string_equal(raised(flags, FSP_LINE_LOW_FACTOR)->what, "0.5"); /* a new occurrence */
    free(flags);
    book_put(book, "state", "2026-03-03T01:00:00Z", "state=stacked");
    assert_int_equal(count_as_of(book, "2026-03-04T00:00:00Z", FSP_LINE_LOW_FACTOR), 1);
    book_put(book, "inspection", "2026-03-03T02:00:00Z", SEEN);
    assert_int_equal(count_as_of(book, "2026-03-04T00:00:00Z", FSP_LINE_LOW_FACTOR), 0);
    book_free(book);
}

static void
what_is_overdue_rests_while_the_rig_is_stacked(void **state)
{
    struct book *book = book_new();
    struct flags *flags;
    char what[FSP_LINE_FLAG_WHAT_MAX];

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z",
            "op=stated|basis=log|hookload=300000lb|ton-miles=1650");
    assert_int_equal(count_as_of(book, "2026-03-02T01:00:00Z", FSP_LINE_OVERDUE_CUT), 0);
    book_put(book, "work", "2026-03-02T00:01:00Z",
            "op=stated|basis=log|hookload=300000lb|ton-miles=1");
    flags = as_of(book, "2026-03-02T01:00:00Z");
    assert_non_null(strstr(raised(flags, FSP_LINE_OVERDUE_CUT)->text, "cut overdue: 1,651"));
    assert_non_null(find(flags, FSP_LINE_OVERDUE_SLIP));
    (void)snprintf(what, sizeof(what), "%s", raised(flags, FSP_LINE_OVERDUE_CUT)->what);
    free(flags);
    book_put(book, "state", "2026-03-02T02:00:00Z", "state=stacked");
    assert_int_equal(count_as_of(book, "2026-06-02T00:00:00Z", FSP_LINE_OVERDUE_CUT), 0);
    assert_int_equal(count_as_of(book, "2026-06-02T00:00:00Z", FSP_LINE_OVERDUE_SLIP), 0);
    book_put(book, "state", "2026-03-02T03:00:00Z", "state=working");
    flags = as_of(book, "2026-03-02T04:00:00Z");
    assert_string_equal(raised(flags, FSP_LINE_OVERDUE_CUT)->what, what);
    free(flags);
    /* The same again after a cut is another occurrence. */
    book_put(book, "cut", "2026-03-03T00:00:00Z", CUT);
    book_put(book, "work", "2026-03-04T00:00:00Z",
            "op=stated|basis=log|hookload=300000lb|ton-miles=1651");
    flags = as_of(book, "2026-03-04T00:00:00Z");
    assert_string_not_equal(raised(flags, FSP_LINE_OVERDUE_CUT)->what, what);
    free(flags);
    book_free(book);
}

static void
a_duty_is_missed_when_a_record_is_a_day_later_than_it_was_due(void **state)
{
    struct book *book = book_new();
    struct flags *flags;

    (void)state;
    book_open(book); /* hung 2026-03-01T00:01 */
    book_put(book, "check", "2026-03-30T00:00:00Z", "item=crown-saver|result=good");
    assert_int_equal(count_as_of(book, "2026-03-31T00:00:00Z", FSP_LINE_DUTY), 0);
    /* Long after, but nothing newer has come: paper that is late misses nothing. */
    assert_int_equal(count_as_of(book, "2026-06-01T00:00:00Z", FSP_LINE_DUTY), 0);
    book_put(book, "well", "2026-04-01T00:01:00Z", "well=LB-1");
    assert_int_equal(count_as_of(book, "2026-06-01T00:00:00Z", FSP_LINE_DUTY), 0);
    book_put(book, "well", "2026-04-01T00:01:01Z", "well=LB-1");
    flags = as_of(book, "2026-06-01T00:00:00Z");
    assert_int_equal(flags->n, 1);
    assert_non_null(strstr(raised(flags, FSP_LINE_DUTY)->text,
            "thorough inspection missed, due since 2026-03-31: every 30 days"));
    assert_memory_equal(flags->list[0].what, "monthly.", 8);
    free(flags);
    book_put(book, "state", "2026-04-01T00:02:00Z", "state=stacked");
    book_put(book, "well", "2026-05-20T00:00:00Z", "well=LB-1");
    assert_int_equal(count_as_of(book, "2026-06-01T00:00:00Z", FSP_LINE_DUTY), 0);
    book_put(book, "state", "2026-05-21T00:00:00Z", "state=working");
    assert_int_equal(count_as_of(book, "2026-06-01T00:00:00Z", FSP_LINE_DUTY), 2);
    book_put(book, "inspection", "2026-05-21T12:00:00Z", SEEN);
    book_put(book, "check", "2026-05-21T13:00:00Z", "item=crown-saver|result=good");
    assert_int_equal(count_as_of(book, "2026-05-22T00:00:00Z", FSP_LINE_DUTY), 0);
    book_free(book);
}

/* Counted in force against hand-entered work, in ton-miles. */
static bool
are_apart(const char *counted, const char *moves)
{
    struct book *book = book_new();
    char members[300];
    bool apart;

    book_open(book);
    book_put(book, "program", "2026-03-01T00:04:00Z",
            "cut=90ft|first-goal=1500ton-miles|later-goal=1300ton-miles|slips=3|basis=counted");
    (void)snprintf(members, sizeof(members),
            "op=counted|begin=2026-03-02T00:00:00Z|end=2026-03-02T06:00:00Z|ton-miles=%s|"
            "source=block-position sensor",
            counted);
    book_put(book, "work", "2026-03-02T06:00:00Z", members);
    /* n x 100 ft x 528,000 lb = n x 5 ton-miles. */
    (void)snprintf(members, sizeof(members),
            "op=moves|count=%s|stroke=100ft|up=264000lb|down=264000lb", moves);
    book_put(book, "work", "2026-03-02T07:00:00Z", members);
    apart = count_as_of(book, "2026-03-02T08:00:00Z", FSP_LINE_COUNTS_APART) > 0;
    book_free(book);
    return apart;
}

static void
hand_and_sensor_are_apart_above_fifteen_percent(void **state)
{
    (void)state;
    assert_false(are_apart("100", "23")); /* 115 */
    assert_true(are_apart("100", "24"));
    assert_false(are_apart("100", "17")); /* 85 */
    assert_true(are_apart("100", "16"));
    assert_false(are_apart("49", "24")); /* too little work to tell */
    assert_true(are_apart("50", "24"));
    assert_false(are_apart("100", "9"));
    assert_true(are_apart("100", "10"));
}

static void
gaps_are_told_when_they_are_a_day_old_and_by_the_newest(void **state)
{
    struct book *book = book_new();
    struct flags *flags;

    (void)state;
    book_open(book);
    book_put(book, "tour", "2026-03-02T00:00:00Z", "tour=day|complete=no");
    book_put(book, "tour", "2026-03-03T00:00:00Z", "tour=day|complete=yes");
    assert_int_equal(count_as_of(book, "2026-03-20T00:00:00Z", FSP_LINE_INCOMPLETE), 0);
    book_put(book, "tour", "2026-03-03T00:00:01Z", "tour=night|complete=yes");
    flags = as_of(book, "2026-03-03T01:00:00Z");
    assert_string_equal(raised(flags, FSP_LINE_INCOMPLETE)->what, "0.4");
    assert_int_equal(
            raised(flags, FSP_LINE_INCOMPLETE)->since_s, seconds("2026-03-02T00:00:00Z"));
    free(flags);
    book_put(book, "tour", "2026-03-03T02:00:00Z", "tour=day|complete=no");
    flags = as_of(book, "2026-03-03T03:00:00Z");
    assert_string_equal(raised(flags, FSP_LINE_INCOMPLETE)->what, "0.7");
    free(flags);
    book_put(book, "cut", "2026-03-03T04:00:00Z", CUT);
    assert_int_equal(count_as_of(book, "2026-03-03T05:00:00Z", FSP_LINE_INCOMPLETE), 0);
    book_free(book);
}

static void
paper_that_comes_weeks_late_raises_nothing(void **state)
{
    struct book *book = book_new();
    struct flags *flags;
    size_t i;

    (void)state;
    book_open(book);
    book_put(book, "check", "2026-03-03T00:00:00Z", "item=crown-saver|result=good");
    book_put(
            book, "work", "2026-03-03T12:00:00Z", "op=round-trip|depth=5000ft|hookload=300klb");
    for (i = 0; i < book->n; i++)
        book_noted(book, i, "2026-04-20T00:00:00Z");
    flags = as_of(book, "2026-04-20T00:00:01Z");
    assert_true(fsp_ledger_peek(book->ledger)->late_entries > 0);
    assert_int_equal(flags->n, 0);
    free(flags);
    book_free(book);
}

static void
no_more_flags_than_there_is_room_for(void **state)
{
    struct book *book = book_new();
    struct flags *flags;

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z",
            "op=moves|count=10|stroke=100ft|up=800klb|down=500klb");
    book_put(book, "adverse", "2026-03-02T01:00:00Z", "what=other|state=begins");
    book_put(book, "turn", "2026-03-02T02:00:00Z", "reel=R-1");
    book_put(book, "state", "2026-03-02T03:00:00Z", "state=mast-raising");
    book_put(book, "state", "2026-04-30T03:00:00Z", "state=working");
    book_put(book, "work", "2026-05-01T00:00:00Z",
            "op=stated|basis=log|hookload=800klb|ton-miles=9000");
    book_put(book, "slip", "2026-05-02T00:00:00Z", "length=30ft");
    book_put(book, "work", "2026-05-02T01:00:00Z",
            "op=stated|basis=log|hookload=300klb|ton-miles=9000");
    book_put(book, "tour", "2026-05-02T02:00:00Z", "tour=day|complete=no");
    book_put(book, "tour", "2026-05-20T02:00:00Z", "tour=day|complete=yes");
    flags = as_of(book, "2026-06-01T00:00:00Z");
    assert_true(flags->n >= 12);
    assert_true(flags->n <= FSP_LINE_FLAGS_MAX);
    assert_int_equal(count_as_of(book, "2026-06-01T00:00:00Z", FSP_LINE_DUTY), 9);
    free(flags);
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(repeated_early_cuts_name_their_evidence_and_the_newest_cut),
            cmocka_unit_test(damage_is_repeated_by_two_of_a_kind_or_three_of_any),
            cmocka_unit_test(wear_left_and_planned_cuts_repeat_from_the_third_on),
            cmocka_unit_test(cuts_that_scatter_are_erratic),
            cmocka_unit_test(a_first_or_a_single_early_cut_raises_nothing),
            cmocka_unit_test(a_low_factor_waits_twelve_hours_for_its_inspection),
            cmocka_unit_test(what_is_overdue_rests_while_the_rig_is_stacked),
            cmocka_unit_test(a_duty_is_missed_when_a_record_is_a_day_later_than_it_was_due),
            cmocka_unit_test(hand_and_sensor_are_apart_above_fifteen_percent),
            cmocka_unit_test(gaps_are_told_when_they_are_a_day_old_and_by_the_newest),
            cmocka_unit_test(paper_that_comes_weeks_late_raises_nothing),
            cmocka_unit_test(no_more_flags_than_there_is_room_for),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
