#include "line/review.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "line/review_priv.h"
#include "line/say.h"

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

/* ---- the verdict, cut by cut ---- */

struct judging {
    const struct fsp_cut_row *const *rows;
    size_t n;
    const struct fsp_review_about *about;
    struct fsp_review *out;
    struct fsp_review_watch watch;
    const struct fsp_cut_row *window[FSP_REVIEW_MOST]; /* judged, newest first */
};

/* Eligible cuts of the year up to and with row i. */
static size_t
year_of(const struct judging *j, size_t i)
{
    int64_t from_s = j->rows[i]->at_s - FSP_REVIEW_RATE_DAYS * FSP_S_PER_DAY;
    size_t year = 0, k;

    for (k = i + 1; k-- > 0 && j->rows[k]->at_s > from_s;)
        year += j->rows[k]->eligible ? 1 : 0;
    return year;
}

/* The fleet's rate at row i and the number of cuts it rests on. */
static double
rate_at(const struct judging *j, size_t i, size_t *cuts)
{
    struct fsp_review_rate rate;
    double value = j->about->rate;

    if (j->about->rates != NULL) {
        rate = fsp_review_rates_at(
                j->about->rates, j->rows[i]->rope_m, j->rows[i]->at_s, j->rows, j->n);
        *cuts = rate.eligible < FSP_REVIEW_RATE_CUTS ? 0 : rate.eligible;
        value = *cuts == 0 ? 0 : (double)rate.early / (double)rate.eligible;
    }
    value = value > FSP_REVIEW_RATE_FLOOR ? value : FSP_REVIEW_RATE_FLOOR;
    return value > 1 ? 1 : value;
}

/* Row i is the newest cut of the watch. What raised a flag is told until something newer does. */
static void
judge_row(struct judging *j, size_t i, bool newest)
{
    struct fsp_review *out = j->out;
    struct fsp_review_window window;
    double rate = FSP_REVIEW_RATE_FLOOR;
    size_t cuts = 0;
    bool says;

    if (j->watch.have < FSP_REVIEW_LEAST)
        return;
    out->closed = FSP_REVIEW_BY_NOTHING;
    if (newest || fsp_review_watch_worth(&j->watch))
        rate = rate_at(j, i, &cuts);
    window = fsp_review_watch_pick(&j->watch, rate);
    says = fsp_review_window_says(&window, j->about->plain ? 0 : year_of(j, i));
    if (j->watch.open && !says)
        return;
    if (says && !j->watch.open)
        out->flagged_s = j->rows[i]->at_s;
    j->watch.open = says;
    out->window = window.cuts;
    out->early = window.early;
    out->tail = window.tail;
    out->rate = rate;
    out->rate_cuts = cuts;
    out->judged = i;
    out->since = 0;
    memcpy(j->window, j->watch.cuts, sizeof(j->window));
}

static void
machine_changed(struct judging *j)
{
    if (j->watch.open)
        j->out->closed = FSP_REVIEW_BY_CHANGE;
    fsp_review_watch_change(&j->watch);
    j->out->last = NULL;
}

static void
walk(struct judging *j)
{
    struct fsp_review *out = j->out;
    size_t newest = j->n, i;

    for (i = 0; i < j->n; i++)
        newest = j->rows[i]->eligible ? i : newest;
    for (i = 0; i < j->n; i++) {
        const struct fsp_cut_row *row = j->rows[i];

        if (row->changed)
            machine_changed(j);
        if (!row->eligible)
            continue;
        out->since++;
        fsp_review_watch_cut(&j->watch, row);
        out->last = row->early ? row : out->last;
        if (fsp_review_watch_close(&j->watch))
            out->closed = FSP_REVIEW_BY_CUTS;
        judge_row(j, i, i == newest);
    }
    if (j->about->changed)
        machine_changed(j);
}

static const char *
common_place(const struct judging *j)
{
    const struct fsp_cut_row *const *cuts = j->window;
    const char *best = NULL;
    size_t most = 0, i, k;

    for (i = 0; i < j->out->window && cuts[i] != NULL; i++) {
        size_t same = 0;

        if (!cuts[i]->early || cuts[i]->place == NULL)
            continue;
        for (k = 0; k < j->out->window && cuts[k] != NULL; k++) {
            if (cuts[k]->early && cuts[k]->place != NULL &&
                    strcmp(cuts[k]->place, cuts[i]->place) == 0)
                same++;
        }
        if (same > most) {
            most = same;
            best = cuts[i]->place;
        }
    }
    return 2 * most > j->out->early ? best : NULL;
}

/* "1 in 2,000": two figures that matter, rounded down so as not to overstate. */
static double
one_in(double tail)
{
    double value = 1 / tail, step = 1;

    while (value / step >= 100)
        step *= 10;
    return floor(value / step + 1e-9) * step;
}

static void
say_window(const struct fsp_review *out, const struct judging *j, struct fsp_buf *buf)
{
    char day[FSP_TIME_TEXT_LEN + 1] = "";

    if (out->since == 0 && out->state != FSP_REVIEW_CLOSED) {
        fsp_buf_printf(buf, "%zu of the last %zu eligible cuts", out->early, out->window);
    } else {
        fsp_time_text(j->rows[out->judged]->at_s, day);
        fsp_buf_printf(
                buf, "%zu of the %zu eligible cuts up to %.10s", out->early, out->window, day);
    }
    fsp_buf_add_text(buf, " below 90 % of goal per foot, for wear");
    if (out->place != NULL && strlen(out->place) < 80) {
        fsp_buf_add_text(buf, ", at the ");
        fsp_buf_add_text(
                buf, strncmp(out->place, "the ", 4) == 0 ? out->place + 4 : out->place);
    }
    if (out->early > 0) {
        fsp_buf_add_text(buf, "; chance alone 1 in ");
        fsp_say_number(buf, one_in(out->tail), 0);
    }
}

static void
say(const struct judging *j)
{
    struct fsp_review *out = j->out;
    struct fsp_buf buf;
    size_t early = 0, i;

    fsp_buf_init(&buf, FSP_REVIEW_TEXT_MAX - 1);
    switch (out->state) {
    case FSP_REVIEW_WATCHING:
        for (i = 0; i < j->watch.have && j->watch.cuts[i] != NULL; i++)
            early += j->watch.cuts[i]->early ? 1 : 0;
        fsp_buf_printf(&buf, "watching: %zu eligible cut%s so far, %zu early; judged from 4 on",
                j->watch.have, j->watch.have == 1 ? "" : "s", early);
        break;
    case FSP_REVIEW_CLEAR:
        say_window(out, j, &buf);
        break;
    case FSP_REVIEW_FLAGGED:
        say_window(out, j, &buf);
        if (out->since > 0)
            fsp_buf_printf(&buf, "; %zu good in a row since, 3 close it", out->good);
        break;
    case FSP_REVIEW_CLOSED:
        say_window(out, j, &buf);
        fsp_buf_add_text(&buf, out->closed == FSP_REVIEW_BY_CUTS
                                       ? "; closed by 3 good cuts"
                                       : "; closed by a change of sheave or drum");
        break;
    }
    (void)snprintf(out->text, sizeof(out->text), "%s", fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
}

static void
judge_early(struct judging *j)
{
    struct fsp_review *out = j->out;

    walk(j);
    out->good = j->watch.good;
    if (j->watch.open)
        out->state = FSP_REVIEW_FLAGGED;
    else if (j->watch.have >= FSP_REVIEW_LEAST)
        out->state = FSP_REVIEW_CLEAR;
    else if (out->closed != FSP_REVIEW_BY_NOTHING)
        out->state = FSP_REVIEW_CLOSED;
    if (out->state != FSP_REVIEW_FLAGGED)
        out->flagged_s = 0;
    if (out->state == FSP_REVIEW_WATCHING) {
        out->window = 0;
        out->early = 0;
        out->tail = 1;
    }
    out->place = common_place(j);
    say(j);
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
fsp_review_judge(const struct fsp_cut_row *const *rows, size_t n,
        const struct fsp_review_about *about, struct fsp_review *out)
{
    struct judging j;

    memset(&j, 0, sizeof(j));
    memset(out, 0, sizeof(*out));
    j.rows = rows;
    j.n = n;
    j.about = about;
    j.out = out;
    out->tail = 1;
    out->rate = FSP_REVIEW_RATE_FLOOR;
    fsp_review_tally(rows, n, INT64_MIN, &out->eligible, &(size_t){0});
    judge_early(&j);
    judge_wear_left(rows, n, out);
    judge_planned(rows, n, out);
}

void
fsp_review_cuts(const struct fsp_cut_row *const *rows, size_t n, double fleet_rate,
        struct fsp_review *out)
{
    fsp_review_judge(rows, n, &(struct fsp_review_about){.rate = fleet_rate}, out);
}
