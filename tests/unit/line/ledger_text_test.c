#include "unit/line/book.h"

#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"

#define SCREEN_LINES 24
#define SCREEN_WIDE  80
#define TRAILER_LINES                                                                          \
    4 /* newest inspection, whose line, the office, the link: the program's own */

static int64_t
seconds(const char *text)
{
    struct fsp_err err = {0};
    int64_t at_s = 0;

    assert_ok(fsp_time_parse(text, NULL, &at_s, &err), &err);
    return at_s;
}

/* The screen as of a time; the caller frees the buffer. */
static const char *
screen(struct book *book, const char *as_of, struct fsp_buf *buf)
{
    struct fsp_err err = {0};

    (void)book_fold(book);
    assert_ok(fsp_ledger_fold(book->ledger, seconds(as_of), &err), &err);
    fsp_buf_init(buf, 100000);
    fsp_ledger_text(book->ledger, buf);
    return fsp_buf_peek(buf);
}

static size_t
lines_of(const char *text)
{
    size_t n = 0;

    for (; *text != 0; text++)
        n += *text == '\n' ? 1 : 0;
    return n;
}

static size_t
widest(const char *text)
{
    size_t most = 0, now = 0;

    for (; *text != 0; text++) {
        now = *text == '\n' ? 0 : now + 1;
        most = now > most ? now : most;
    }
    return most;
}

/* Ten days of 60 ton-miles on the ordinary rig, a hook rating, a crown-saver test. */
static struct book *
ordinary(void)
{
    struct book *book = book_new();
    char at[32];
    int i;

    book_open(book);
    book_put(book, "rig", "2026-03-01T12:00:00Z",
            "mast=142ft|drum=30in|block=47000lb|bearing=roller|ratings="
            "[{\"part\":\"hook\",\"load\":\"350klb\"}]");
    book_put(book, "well", "2026-03-01T13:00:00Z", "well=LB-1");
    book_put(book, "state", "2026-03-01T14:00:00Z", "state=working");
    for (i = 2; i <= 11; i++) {
        (void)snprintf(at, sizeof(at), "2026-03-%02dT12:00:00Z", i);
        book_put(book, "work", at,
                "op=stated|ton-miles=60ton-miles|basis=day sheet|hookload=311klb");
    }
    book_put(book, "slip", "2026-03-09T18:00:00Z",
            "length=30ft|checks=[{\"item\":\"crown-saver\",\"result\":\"good\"}]");
    book_put(book, "check", "2026-03-10T18:00:00Z", "item=anchor|result=good");
    book_put(book, "inspection", "2026-03-09T20:00:00Z",
            "fleet=lantern-basin|rig=heron|reel=R-1|inspector=An Inspector|scope=slip-cut|"
            "decision=run|places=[{\"place\":\"anchor\",\"baseline\":\"1.40in\"}]");
    return book;
}

static void
with_nothing_wrong_it_is_one_screen_and_begins_with_the_answer(void **state)
{
    struct book *book = ordinary();
    struct fsp_buf buf;
    const char *text = screen(book, "2026-03-11T13:00:00Z", &buf);

    (void)state;
    /* 10 x 60 of 1,500, the factor at 5: 900 left at 60 a day. */
    assert_ptr_equal(
            strstr(text, "CUT      NOT YET: 900 of 1,500 ton-miles left; estimate 03-26"),
            text);
    assert_non_null(strstr(text, "\nSLIP     NOT YET: "));
    assert_non_null(strstr(
            text, "HOW MUCH cut 90 ft by tape (10.96 laps of 8.2 ft), slip 30 ft, 1 of"));
    assert_non_null(strstr(text, "Points   table 11.5 laps, 94.5 ft; the check of the critical "
                                 "points needs crown,\n         pick-low, pick-high, wraps-low "
                                 "of the rig\n"));
    assert_non_null(strstr(text, "LIFT     311,458 lb at factor 5, 519,097 lb at 3: the line's "
                                 "limit, never the\n         rig's; lowest rating given: hook, "
                                 "350,000 lb; the rest not checked\n"));
    assert_non_null(strstr(text, "Handover line R-1: cut not yet, 900 ton-miles left"));
    assert_non_null(strstr(text, "Visual inspection overrides the count, always;"));
    assert_null(strstr(text, "OVERDUE"));
    assert_true(lines_of(text) <= SCREEN_LINES - TRAILER_LINES);
    assert_true(widest(text) <= SCREEN_WIDE);
    fsp_buf_fini(&buf);
    book_free(book);
}

/* The same rig with its geometry known. */
static void
with_the_geometry_known_the_best_lengths_stand_on_the_same_screen(void **state)
{
    struct book *book = ordinary();
    struct fsp_buf buf;
    const char *text;

    (void)state;
    book_put(book, "rig", "2026-03-01T15:00:00Z",
            "mast=142ft|drum=30in|block=47000lb|crown=145ft|pick-low=6ft|pick-high=98ft|"
            "wraps-low=14|laps-per-layer=38|sheave=54in|crossovers=1");
    text = screen(book, "2026-03-11T13:00:00Z", &buf);
    assert_non_null(strstr(text,
            "Points   table 11.5 laps, 94.5 ft; best where this line lay; what "
            "each leaves\n         (sheave on sheave, crossover on crossover, slips "
            "back):\n         1. "));
    /* 30 ft are slipped; two slips are to be made: (94.46 - 30) / 2. */
    assert_non_null(strstr(text, ". 11.5 laps 94.5 ft, slip 2 x 32.2 ft: "));
    assert_true(lines_of(text) <= SCREEN_LINES - TRAILER_LINES);
    assert_true(widest(text) <= SCREEN_WIDE);
    fsp_buf_fini(&buf);
    book_free(book);
}

static void
a_finding_takes_the_lift_away_and_says_what_lifts_it(void **state)
{
    struct book *book = ordinary();
    struct fsp_buf buf;
    const char *text;

    (void)state;
    book_put(book, "inspection", "2026-03-11T14:00:00Z",
            "fleet=lantern-basin|rig=heron|reel=R-1|inspector=An Inspector|scope=after-event|"
            "decision=out-of-service|defects=[{\"place\":\"crossover\",\"what\":\"crushed\"}]");
    text = screen(book, "2026-03-11T15:00:00Z", &buf);
    assert_ptr_equal(strstr(text, "CUT      OUT OF SERVICE: inspection of 2026-03-11"), text);
    assert_non_null(strstr(text, "SLIP     OUT OF SERVICE: as for the cut\n"));
    assert_non_null(strstr(text, "LIFT     no figure while a finding is open"));
    assert_non_null(strstr(text, "FINDING  crossover: crushed"));
    assert_null(strstr(text, "at design factor"));
    assert_non_null(strstr(text, "2 findings open"));
    fsp_buf_fini(&buf);
    book_free(book);
}

static void
without_ratings_it_says_what_was_not_checked(void **state)
{
    struct book *book = book_new();
    struct fsp_buf buf;
    const char *text;

    (void)state;
    book_open(book);
    text = screen(book, "2026-03-02T00:00:00Z", &buf);
    assert_non_null(
            strstr(text, "line only; mast, block, anchor, drawworks and pipe not checked\n"));
    fsp_buf_fini(&buf);
    book_free(book);
}

static void
no_line_hung_is_said_plainly(void **state)
{
    struct book *book = book_new();
    struct fsp_buf buf;
    const char *text;

    (void)state;
    book_put(book, "rig", "2026-03-01T00:00:00Z", "mast=142ft|drum=30in|block=47000lb");
    text = screen(book, "2026-03-02T00:00:00Z", &buf);
    assert_ptr_equal(strstr(text, "CUT      UNKNOWN: no line hung\n"), text);
    assert_null(strstr(text, "LIFT"));
    assert_null(strstr(text, "Handover"));
    fsp_buf_fini(&buf);
    book_free(book);
}

static void
an_overdue_duty_and_an_incomplete_count_are_read_out_at_the_handover(void **state)
{
    struct book *book = ordinary();
    struct fsp_buf buf;
    const char *text, *handover;

    (void)state;
    book_put(book, "tour", "2026-03-11T18:00:00Z", "tour=day|complete=no");
    book_put(book, "adverse", "2026-03-11T19:00:00Z", "what=jarring|state=begins");
    text = screen(book, "2026-03-12T19:00:00Z", &buf);
    assert_non_null(strstr(text, "INCOMPLETE"));
    assert_non_null(strstr(text, "thorough inspection OVERDUE since 03-12 07:00Z: jarring"));
    handover = strstr(text, "Handover ");
    assert_non_null(handover);
    assert_non_null(strstr(handover, "incomplete count"));
    assert_non_null(strstr(handover, "overdue: thorough inspection"));
    fsp_buf_fini(&buf);
    book_free(book);
}

static void
names_from_outside_cannot_break_the_screen(void **state)
{
    struct book *book = book_new();
    struct fsp_buf buf;
    const char *text;

    (void)state;
    book_put(book, "rig", "2026-03-01T00:00:00Z", "mast=142ft|drum=30in|block=47000lb");
    book_put(book, "reel", "2026-03-01T00:01:00Z",
            "reel=R-1 <b>CUT NOT YET</b>|rope=1-3/8in|grade=EIPS|received=5000ft|strung=1400ft|"
            "lines=10");
    text = screen(book, "2026-03-02T00:00:00Z", &buf);
    assert_ptr_equal(strstr(text, "CUT      UNKNOWN: no approved goal"), text);
    fsp_buf_fini(&buf);
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(with_nothing_wrong_it_is_one_screen_and_begins_with_the_answer),
            cmocka_unit_test(with_the_geometry_known_the_best_lengths_stand_on_the_same_screen),
            cmocka_unit_test(a_finding_takes_the_lift_away_and_says_what_lifts_it),
            cmocka_unit_test(without_ratings_it_says_what_was_not_checked),
            cmocka_unit_test(no_line_hung_is_said_plainly),
            cmocka_unit_test(
                    an_overdue_duty_and_an_incomplete_count_are_read_out_at_the_handover),
            cmocka_unit_test(names_from_outside_cannot_break_the_screen),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
