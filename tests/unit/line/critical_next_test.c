#include "support/test.h"
#include "unit/line/near.h"

#include <math.h>
#include <string.h>

#include "line/critical.h"
#include "unit/line/reeved.h"

#define PLACES_MAX ((size_t)60)

/* A line as it was slipped, cut and strung up again, and a rope reeved the same way beside it. */
struct story {
    struct fsp_geometry g; /* of now; the rope looks at it */
    struct rope rope;
    struct fsp_line_place places[PLACES_MAX];
    struct marks marks[PLACES_MAX];
    size_t n;
    struct fsp_next next;
};

static void
remember(struct story *story)
{
    struct fsp_line_place *place = &story->places[story->n];
    const struct fsp_line_place *last = story->n > 0 ? place - 1 : place;

    assert_true(story->n < PLACES_MAX);
    if (story->n > 0)
        *place = *last;
    place->lines = story->g.lines;
    reeved_mark_sheaves(&story->rope, &story->marks[story->n]);
    story->n++;
}

static void
hang(struct story *story, struct fsp_geometry g)
{
    memset(story, 0, sizeof(*story));
    story->g = g;
    reeved_reeve(&story->rope, &story->g);
    remember(story);
}

static void
slip(struct story *story, double length_m)
{
    story->rope.held += length_m;
    story->next.slipped_m += length_m;
    story->next.slips_made++;
    remember(story);
    story->places[story->n - 1].anchor_m += length_m;
}

static void
cut(struct story *story, double length_m)
{
    story->rope.held -= length_m;
    story->rope.clamp_y += length_m;
    story->next.slipped_m = 0;
    story->next.slips_made = 0;
    remember(story);
    story->places[story->n - 1].clamp_m += length_m;
}

/* More lines draw rope from the reel, fewer give it back; the drum keeps what it had. */
static void
string_up(struct story *story, int more)
{
    double leg = story->g.crown_m + PI * story->g.sheave_m / 2;

    story->g.lines += more;
    story->rope.held += more * leg;
    remember(story);
    story->places[story->n - 1].anchor_m += more * leg;
}

static void
tell(struct story *story, int moves)
{
    int i;

    story->next.slips = (int)reeved_between(1, 5);
    for (i = 0; i < moves; i++) {
        double dice = reeved_between(0, 1);

        if (dice < 0.12 && story->g.lines < 14)
            string_up(story, 2);
        else if (dice < 0.2 && story->g.lines > 4)
            string_up(story, -2);
        else if (dice < 0.5 && story->next.slipped_m > 0)
            cut(story, story->next.slipped_m);
        else if (story->next.slipped_m < 25)
            slip(story, reeved_between(3, 14));
    }
}

/* What comes next, seen from where the line lies. */
static const struct fsp_next *
lying(struct story *story)
{
    story->next.places = story->places;
    story->next.n_places = story->n;
    return &story->next;
}

static bool
moved(const struct story *story, size_t i)
{
    return story->places[i].lines != story->places[i - 1].lines ||
           fabs(story->places[i].anchor_m - story->places[i - 1].anchor_m) > 1e-6;
}

/* What the slips of a candidate meet, from the rope alone. */
static void
meet_sheaves(const struct story *story, const struct fsp_candidate *one, int *met)
{
    static struct marks trial[PLACES_MAX];
    struct rope rope = story->rope;
    bool anchor = story->g.dead_m > 0;
    int made, before, ago;
    size_t i;

    for (made = 1; made <= one->moves; made++) {
        rope.held += one->slip_m;
        reeved_mark_sheaves(&rope, &trial[made]);
        for (before = 1; before < made; before++)
            met[before] += reeved_meetings(&trial[made], &trial[made - before], anchor);
        ago = made;
        for (i = story->n; i-- > 0;) {
            if (i + 1 < story->n && !moved(story, i + 1))
                continue;
            met[ago++] += reeved_meetings(&trial[made], &story->marks[i], anchor);
        }
    }
}

/* The drum after the cut against the one after each cut before it, and the first. */
static void
meet_drums(const struct story *story, const struct fsp_candidate *one, int *met)
{
    struct drum nominal, now, old;
    struct rope rope = story->rope;
    int ago = one->moves;
    size_t i;

    rope.held -= story->next.slipped_m;
    reeved_mark_drum(&rope, one->cut_m, &nominal);
    now = nominal;
    now.first_y += one->cut_m;
    for (i = story->n; i-- > 0;) {
        double back = story->places[i].clamp_m - rope.clamp_y;

        ago += i + 1 < story->n && moved(story, i + 1) ? 1 : 0;
        if (i > 0 && fabs(story->places[i].clamp_m - story->places[i - 1].clamp_m) < 1e-6)
            continue;
        old = nominal;
        old.first_y += back;
        old.rise_y += old.rise_y > 0 ? back : 0;
        met[ago > 0 ? ago : 1] += reeved_drum_meetings(&now, &old);
    }
}

static void
check_candidate(const struct story *story, const struct fsp_candidate *one)
{
    int met[2 * PLACES_MAX] = {0}, ago;

    meet_sheaves(story, one, met);
    meet_drums(story, one, met);
    for (ago = 1; ago < (int)(2 * PLACES_MAX); ago++) {
        if (met[ago] != one->by_move[ago - 1])
            fail_msg("%d lines, %zu places, %.2f laps in %d slips, %d ago: met %d, said %d",
                    story->g.lines, story->n, one->laps, one->moves, ago, met[ago],
                    one->by_move[ago - 1]);
    }
}

static void
the_next_cut_of_a_line_slipped_and_strung_numerically_meets_what_was_said(void **state)
{
    static struct fsp_candidate list[FSP_CRITICAL_CANDIDATES];
    static struct story story;
    struct fsp_err err = {0};
    int run, tried = 0;
    size_t n, i;

    (void)state;
    for (run = 0; run < 100; run++) {
        struct fsp_geometry first = reeved_random_rig();

        hang(&story, first);
        tell(&story, run % 30);
        story.next.laps = floor(reeved_between(40, 60)) / 4;
        /* A drum that would hold more layers than any does is refused, not reckoned. */
        if (fsp_critical_next(&first, lying(&story), list, &n, &err) != FSP_OK) {
            assert_non_null(strstr(err.text, "layers of"));
            continue;
        }
        for (i = 0; i < n; i++)
            check_candidate(&story, &list[i]);
        tried += (int)n;
    }
    assert_true(tried > 700);
}

/* By hand, 10 lines: the line was slipped by 31.5 ft twice; the third slip is still to be made. */
static void
what_was_slipped_already_is_taken_off_the_length(void **state)
{
    static struct fsp_candidate list[FSP_CRITICAL_CANDIDATES];
    static struct story story;
    struct fsp_err err = {0};
    size_t n, i;

    (void)state;
    hang(&story, reeved_heron());
    story.next.slips = 3;
    story.next.laps = 11.5;
    slip(&story, FT(31.5));
    slip(&story, FT(31.5));
    assert_ok(fsp_critical_next(&story.g, lying(&story), list, &n, &err), &err);
    assert_int_equal(n, 13);
    for (i = 0; i < n; i++) {
        assert_int_equal(list[i].moves, 1);
        assert_near(list[i].slip_m, list[i].cut_m - FT(63), 1e-9);
    }
    /* All slipped and more: the shorter candidates are gone, those left need little or no slip. */
    slip(&story, FT(31.5));
    assert_ok(fsp_critical_next(&story.g, lying(&story), list, &n, &err), &err);
    assert_int_equal(n, 7); /* 11.5 (94.46 of 94.5 ft) to 13.5 */
    for (i = 0; i < n; i++) {
        assert_true(list[i].laps >= 11.5);
        assert_int_equal(list[i].moves, list[i].laps > 11.5 ? 1 : 0);
    }
    slip(&story, FT(31.5));
    assert_ok(fsp_critical_next(&story.g, lying(&story), list, &n, &err), &err);
    assert_int_equal(n, 0);
}

/* A slip of exactly the rope between two sheaves' spots brings one onto the other. */
static void
the_record_decides_not_the_programme(void **state)
{
    static struct fsp_candidate fresh[FSP_CRITICAL_CANDIDATES], worn[FSP_CRITICAL_CANDIDATES];
    static struct story story;
    struct fsp_err err = {0};
    size_t n, i;
    double meets;

    (void)state;
    hang(&story, reeved_heron());
    story.next = (struct fsp_next){.laps = 11.5, .slips = 1};
    assert_ok(fsp_critical_next(&story.g, lying(&story), fresh, &n, &err), &err);
    for (i = 0; i < n && fresh[i].sheaves > 0; i++)
        ;
    assert_true(i < n); /* some length meets nothing on a new line */
    meets = fresh[i].cut_m;
    /* An odd slip, cut at once, that leaves the line where that length would meet its old places. */
    slip(&story, FT(1));
    cut(&story, FT(1));
    slip(&story, story.g.lines * (story.g.pick_m[1] - story.g.pick_m[0]) - meets - FT(1));
    cut(&story, story.next.slipped_m);
    assert_ok(fsp_critical_next(&story.g, lying(&story), worn, &n, &err), &err);
    for (i = 0; i < n; i++) {
        if (fabs(worn[i].cut_m - meets) < 1e-6)
            assert_true(worn[i].sheaves > 0);
    }
}

static void
candidates_without_a_difference_are_told_apart_by_their_repetition(void **state)
{
    static struct fsp_candidate list[FSP_CRITICAL_CANDIDATES];
    static struct story story;
    struct fsp_err err = {0};
    size_t n, i;

    (void)state;
    hang(&story, reeved_heron());
    story.next = (struct fsp_next){.laps = 11.5, .slips = 3};
    assert_ok(fsp_critical_next(&story.g, lying(&story), list, &n, &err), &err);
    for (i = 1; i < n; i++) {
        if (memcmp(list[i].by_move, list[i - 1].by_move, sizeof(list[i].by_move)) == 0) {
            assert_true(list[i].again_after > 0);
            assert_true(list[i - 1].again_after >= list[i].again_after);
        }
        assert_true(list[i].again > 0); /* nothing clears everything for ever */
    }
}

static void
bad_places_are_refused(void **state)
{
    static struct fsp_candidate list[FSP_CRITICAL_CANDIDATES];
    struct fsp_geometry g = reeved_heron();
    struct fsp_line_place place = {0, 0, 9};
    struct fsp_next next = {&place, 1, 11.5, 3, 0, 0};
    struct fsp_err err = {0};
    size_t n = 1;

    (void)state;
    assert_int_equal(fsp_critical_next(&g, &next, list, &n, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "lines: found 9; allowed: an even number"));
    assert_int_equal(n, 0);
    next.n_places = 0;
    assert_int_equal(fsp_critical_next(&g, &next, list, &n, &err), FSP_EINVAL);
    next.n_places = 1;
    place.lines = 10;
    next.laps = (double)NAN;
    assert_int_equal(fsp_critical_next(&g, &next, list, &n, &err), FSP_EINVAL);
    next.laps = 11.5;
    next.slips = 0;
    assert_int_equal(fsp_critical_next(&g, &next, list, &n, &err), FSP_EINVAL);
    assert_non_null(strstr(err.text, "laps: found 11.5 in 0 slips"));
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(
                    the_next_cut_of_a_line_slipped_and_strung_numerically_meets_what_was_said),
            cmocka_unit_test(what_was_slipped_already_is_taken_off_the_length),
            cmocka_unit_test(the_record_decides_not_the_programme),
            cmocka_unit_test(
                    candidates_without_a_difference_are_told_apart_by_their_repetition),
            cmocka_unit_test(bad_places_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
