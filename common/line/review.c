#include "line/review.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "line/say.h"

#define CLOSING_RUN  3 /* good cuts that close a flag */
#define EARLY_LEAST  3
#define WEAR_LEFT    3
#define PLANNED_MOST 2

const char *
fsp_review_state_text(enum fsp_review_state state)
{
    switch (state) {
    case FSP_REVIEW_WATCHING:
        return "watching";
    case FSP_REVIEW_CLEAR:
        return "clear";
    case FSP_REVIEW_FLAGGED:
        return "flagged";
    case FSP_REVIEW_CLOSED:
        return "closed";
    }
    return "?";
}

void
fsp_review_tally(const struct fsp_cut_row *const *rows, size_t n, int64_t from_s,
        size_t *eligible, size_t *early)
{
    size_t i;

    for (i = 0; i < n; i++) {
        if (!rows[i]->eligible || rows[i]->at_s < from_s)
            continue;
        *eligible += 1;
        *early += rows[i]->early ? 1 : 0;
    }
}

/* p to the n-th by multiplication: the same bits everywhere. */
static double
power(double p, size_t n)
{
    double value = 1;

    while (n-- > 0)
        value *= p;
    return value;
}

double
fsp_review_tail(size_t n, size_t k, double p)
{
    double sum = 0, ways = 1;
    size_t i;

    /* From the rarest case down, so that small terms are not lost; C(n, n) = 1. */
    for (i = n + 1; i-- > k;) {
        sum += ways * power(p, i) * power(1 - p, n - i);
        ways = ways * (double)i / (double)(n - i + 1);
    }
    return sum > 1 ? 1 : sum;
}

/* The newest eligible cuts, newest first. */
static size_t
newest(const struct fsp_cut_row *const *rows, size_t n, const struct fsp_cut_row **out)
{
    size_t have = 0, i;

    for (i = n; i-- > 0 && have < FSP_REVIEW_MOST;) {
        if (rows[i]->eligible)
            out[have++] = rows[i];
    }
    return have;
}

/* The window of 4 to 6 that chance explains least. */
static void
pick_window(const struct fsp_cut_row *const *cuts, size_t have, struct fsp_review *out)
{
    size_t early = 0, i;

    for (i = 0; i < have; i++) {
        double tail;

        early += cuts[i]->early ? 1 : 0;
        if (i + 1 < FSP_REVIEW_LEAST)
            continue;
        tail = fsp_review_tail(i + 1, early, out->rate);
        if (out->window == 0 || tail < out->tail) {
            out->window = i + 1;
            out->early = early;
            out->tail = tail;
        }
    }
}

static const char *
common_place(const struct fsp_cut_row *const *cuts, const struct fsp_review *out)
{
    const char *best = NULL;
    size_t most = 0, i, j;

    for (i = 0; i < out->window && cuts[i] != NULL; i++) {
        size_t same = 0;

        if (!cuts[i]->early || cuts[i]->place == NULL)
            continue;
        for (j = 0; j < out->window && cuts[j] != NULL; j++) {
            if (cuts[j]->early && cuts[j]->place != NULL &&
                    strcmp(cuts[j]->place, cuts[i]->place) == 0)
                same++;
        }
        if (same > most) {
            most = same;
            best = cuts[i]->place;
        }
    }
    return 2 * most > out->early ? best : NULL;
}

/* "1 in 2,000": at most three figures that matter, rounded down so as not to overstate. */
static double
one_in(double tail)
{
    double value = 1 / tail, step = 1;

    while (value / step >= 100)
        step *= 10;
    return floor(value / step + 1e-9) * step;
}

static void
say(const struct fsp_cut_row *const *cuts, size_t have, struct fsp_review *out)
{
    struct fsp_buf buf;
    size_t i, early = 0;

    fsp_buf_init(&buf, FSP_REVIEW_TEXT_MAX - 1);
    if (out->state == FSP_REVIEW_WATCHING) {
        for (i = 0; i < have; i++)
            early += cuts[i]->early ? 1 : 0;
        fsp_buf_printf(&buf, "watching: %zu eligible cut%s so far, %zu early; judged from 4 on",
                have, have == 1 ? "" : "s", early);
    } else {
        fsp_buf_printf(&buf,
                "%zu of the last %zu eligible cuts below 90 %% of goal per foot, for wear",
                out->early, out->window);
        if (out->place != NULL && strlen(out->place) < 80) {
            fsp_buf_add_text(&buf, ", at the ");
            fsp_buf_add_text(
                    &buf, strncmp(out->place, "the ", 4) == 0 ? out->place + 4 : out->place);
        }
        if (out->early > 0) {
            fsp_buf_add_text(&buf, "; chance alone 1 in ");
            fsp_say_number(&buf, one_in(out->tail), 0);
        }
        if (out->state == FSP_REVIEW_CLOSED)
            fsp_buf_add_text(&buf, "; closed by 3 good cuts");
    }
    (void)snprintf(out->text, sizeof(out->text), "%s", fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
}

static void
judge_early(const struct fsp_cut_row *const *rows, size_t n, struct fsp_review *out)
{
    const struct fsp_cut_row *cuts[FSP_REVIEW_MOST] = {NULL};
    size_t have = newest(rows, n, cuts), good = 0, i;

    pick_window(cuts, have, out);
    for (i = 0; i < out->window && cuts[i] != NULL && out->last == NULL; i++)
        out->last = cuts[i]->early ? cuts[i] : NULL;
    while (good < have && cuts[good] != NULL && !cuts[good]->early)
        good++;
    if (have < FSP_REVIEW_LEAST)
        out->state = FSP_REVIEW_WATCHING;
    else if (out->early < EARLY_LEAST || out->tail > FSP_REVIEW_TAIL)
        out->state = FSP_REVIEW_CLEAR;
    else
        out->state = good >= CLOSING_RUN ? FSP_REVIEW_CLOSED : FSP_REVIEW_FLAGGED;
    out->place = common_place(cuts, out);
    say(cuts, have, out);
}

static bool
has_condition(const struct fsp_cut_row *row, const char *condition)
{
    return row->condition != NULL && strcmp(row->condition, condition) == 0;
}

/* Planned cuts leave wear by design: they neither count nor break the run. */
static void
judge_wear_left(const struct fsp_cut_row *const *rows, size_t n, struct fsp_review *out)
{
    size_t i;

    for (i = n; i-- > 0;) {
        if (rows[i]->planned)
            continue;
        if (!has_condition(rows[i], "wear-left") || rows[i]->incomplete)
            break;
        out->wear_left_run++;
    }
    out->wear_left = out->wear_left_run >= WEAR_LEFT;
    if (out->wear_left)
        (void)snprintf(out->wear_left_text, sizeof(out->wear_left_text),
                "wear left at the last %zu cuts in a row: the goal may be too low; look at the "
                "line cut before changing it",
                out->wear_left_run);
}

static void
judge_planned(const struct fsp_cut_row *const *rows, size_t n, struct fsp_review *out)
{
    bool worn = false;
    size_t i;

    for (i = n; i-- > 0 && rows[i]->planned;) {
        out->planned_run++;
        worn = worn || has_condition(rows[i], "worn-out");
    }
    out->planned_repeat = out->planned_run > PLANNED_MOST || worn;
    if (out->planned_repeat)
        (void)snprintf(out->planned_text, sizeof(out->planned_text),
                "%zu planned cut%s running%s", out->planned_run,
                out->planned_run == 1 ? "" : "s", worn ? ", with the line worn out" : "");
}

void
fsp_review_cuts(const struct fsp_cut_row *const *rows, size_t n, double fleet_rate,
        struct fsp_review *out)
{
    memset(out, 0, sizeof(*out));
    out->tail = 1;
    out->rate = fleet_rate > FSP_REVIEW_RATE_FLOOR ? fleet_rate : FSP_REVIEW_RATE_FLOOR;
    if (out->rate > 1)
        out->rate = 1;
    fsp_review_tally(rows, n, INT64_MIN, &out->eligible, &(size_t){0});
    judge_early(rows, n, out);
    judge_wear_left(rows, n, out);
    judge_planned(rows, n, out);
}
