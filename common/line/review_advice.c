/* Advice on the programme, from what several cuts in a row say. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "line/review.h"
#include "line/say.h"
#include "record/quantity.h"

#define LOOK ((size_t)6) /* newest cuts looked at for scatter */

const char *
fsp_advice_text(enum fsp_advice_kind kind)
{
    switch (kind) {
    case FSP_ADVICE_REBASE:
        return "re-base";
    case FSP_ADVICE_ERRATIC:
        return "erratic";
    case FSP_ADVICE_RAISE:
        return "raise";
    case FSP_ADVICE_SERVE:
        return "serve first";
    case FSP_ADVICE_COUNT:
        return "count first";
    case FSP_ADVICE_INSPECT:
        return "inspect first";
    }
    return "?";
}

const char *
fsp_followed_text(enum fsp_followed followed)
{
    switch (followed) {
    case FSP_FOLLOWED_UNKNOWN:
        return "unknown";
    case FSP_FOLLOWED_RIG:
        return "the rig";
    case FSP_FOLLOWED_REEL:
        return "the reel";
    }
    return "?";
}

static bool
says(const struct fsp_cut_row *row, const char *condition)
{
    return row->condition != NULL && strcmp(row->condition, condition) == 0;
}

static bool
differ(const char *a, const char *b)
{
    return a != NULL && b != NULL && strcmp(a, b) != 0;
}

static void
say_goal(struct fsp_buf *buf, double goal_j)
{
    fsp_say_number(buf, goal_j / FSP_TON_MILE_J, 0);
    fsp_buf_add_text(buf, " ton-miles");
}

static struct fsp_advice *
start(struct fsp_advice *out, size_t *n, enum fsp_advice_kind kind, struct fsp_buf *buf)
{
    struct fsp_advice *advice = &out[(*n)++];

    memset(advice, 0, sizeof(*advice));
    advice->kind = kind;
    fsp_buf_init(buf, FSP_ADVICE_TEXT_MAX - 1);
    return advice;
}

static void
finish(struct fsp_advice *advice, struct fsp_buf *buf)
{
    (void)snprintf(advice->text, sizeof(advice->text), "%s", fsp_buf_peek(buf));
    fsp_buf_fini(buf);
}

/* ---- the basis changed ---- */

/* Cuts since the basis of the count changed; n when it never did. */
static size_t
since_basis(const struct fsp_cut_row *const *rows, size_t n)
{
    const char *now = NULL;
    size_t i;

    for (i = n; i-- > 0;) {
        if (now == NULL)
            now = rows[i]->basis;
        else if (differ(now, rows[i]->basis))
            return n - 1 - i;
    }
    return n;
}

static bool
advise_rebase(
        const struct fsp_cut_row *const *rows, size_t n, struct fsp_advice *out, size_t *have)
{
    size_t since = since_basis(rows, n);
    struct fsp_advice *advice;
    struct fsp_buf buf;

    if (since >= FSP_ADVICE_CUTS)
        return false;
    if (since == n)
        return false;
    advice = start(out, have, FSP_ADVICE_REBASE, &buf);
    advice->cuts = since;
    advice->goal_j = rows[n - 1]->goal_j;
    fsp_buf_printf(&buf,
            "the count changed to %s %zu cut%s ago: re-base the goal on inspected cuts of the "
            "new "
            "count; it may go either way, and until 3 such cuts no step is advised",
            rows[n - 1]->basis == NULL ? "another basis" : rows[n - 1]->basis, since,
            since == 1 ? "" : "s");
    finish(advice, &buf);
    return true;
}

/* ---- the cuts scatter ---- */

static double
scatter(const struct fsp_cut_row *const *cuts, size_t n)
{
    double sum = 0, square = 0, mean;
    size_t i;

    for (i = 0; i < n; i++)
        sum += cuts[i]->served_j / cuts[i]->length_m;
    mean = sum / (double)n;
    for (i = 0; i < n; i++) {
        double off = cuts[i]->served_j / cuts[i]->length_m - mean;

        square += off * off;
    }
    return mean > 0 ? sqrt(square / (double)n) / mean : 0;
}

/* Both too soon and too late among the newest: no goal would have been right for all. */
static bool
advise_erratic(
        const struct fsp_cut_row *const *rows, size_t n, struct fsp_advice *out, size_t *have)
{
    const struct fsp_cut_row *cuts[LOOK];
    size_t seen = 0, early = 0, left = 0, i;
    struct fsp_advice *advice;
    struct fsp_buf buf;

    for (i = n; i-- > 0 && seen < LOOK;) {
        if (!rows[i]->eligible || !(rows[i]->length_m > 0))
            continue;
        early += rows[i]->early || says(rows[i], "worn-out") ? 1 : 0;
        left += says(rows[i], "wear-left") ? 1 : 0;
        cuts[seen++] = rows[i];
    }
    if (seen < FSP_REVIEW_LEAST || early < 2 || left < 1 || early == seen)
        return false;
    if (left < 2 && scatter(cuts, seen) < FSP_ADVICE_SCATTER)
        return false;
    advice = start(out, have, FSP_ADVICE_ERRATIC, &buf);
    advice->cuts = seen;
    advice->goal_j = cuts[0]->goal_j;
    fsp_buf_printf(&buf,
            "erratic: of the last %zu cuts %zu were early or worn out and %zu had wear left; "
            "leave "
            "the goal, inspect the counting first, then spooling, sheaves and drum",
            seen, early, left);
    finish(advice, &buf);
    return true;
}

/* ---- wear left ---- */

struct run {
    size_t cuts;
    size_t incomplete;
    size_t served; /* at least 90 % of the goal */
    double goal_j;
    const char *basis;
};

/* The newest cuts in a row with wear left under one goal; planned ones neither count nor break it. */
static struct run
wear_left(const struct fsp_cut_row *const *rows, size_t n)
{
    struct run run = {0, 0, 0, 0, NULL};
    size_t i;

    for (i = n; i-- > 0;) {
        const struct fsp_cut_row *row = rows[i];

        if (row->planned)
            continue;
        if (!says(row, "wear-left") || row->under_derate ||
                (run.cuts > 0 && differ(run.basis, row->basis)))
            break;
        run.basis = row->basis != NULL ? row->basis : run.basis;
        if (run.cuts == 0)
            run.goal_j = row->goal_j;
        run.cuts++;
        run.incomplete += row->incomplete ? 1 : 0;
        run.served += row->served_j >= 0.9 * row->goal_j ? 1 : 0;
        if (row->first_after_goal_change)
            break;
    }
    return run;
}

static void
advise_wear_left(
        const struct fsp_cut_row *const *rows, size_t n, struct fsp_advice *out, size_t *have)
{
    struct run run = wear_left(rows, n);
    enum fsp_advice_kind kind = FSP_ADVICE_RAISE;
    struct fsp_advice *advice;
    struct fsp_buf buf;

    if (run.cuts < FSP_ADVICE_CUTS || !(run.goal_j > 0))
        return;
    if (run.incomplete > 0)
        kind = FSP_ADVICE_COUNT;
    else if (run.served < run.cuts)
        kind = FSP_ADVICE_SERVE;
    advice = start(out, have, kind, &buf);
    advice->cuts = run.cuts;
    advice->goal_j = run.goal_j;
    fsp_buf_printf(&buf, "wear left at the last %zu cuts in a row: ", run.cuts);
    if (kind == FSP_ADVICE_COUNT) {
        fsp_buf_printf(&buf,
                "but the count of %zu of them has gaps; mend the counting first, the goal is "
                "not "
                "raised on it",
                run.incomplete);
    } else if (kind == FSP_ADVICE_SERVE) {
        fsp_buf_printf(&buf,
                "but %zu of them were cut before 90 %% of the goal was served; serve the goal "
                "of ",
                run.cuts - run.served);
        say_goal(&buf, run.goal_j);
        fsp_buf_add_text(&buf, " out before changing it");
    } else {
        advice->step_j = run.goal_j * (1 + FSP_ADVICE_STEP);
        fsp_buf_add_text(&buf, "raise the goal by one tenth, from ");
        say_goal(&buf, run.goal_j);
        fsp_buf_add_text(&buf, " to ");
        say_goal(&buf, advice->step_j);
        fsp_buf_add_text(&buf, ", and look at the next 3 cuts; first check the counting and "
                               "the line cut off, at "
                               "its crossovers and sheave points");
    }
    finish(advice, &buf);
}

/* ---- early or long for wear ---- */

static bool
troubled(const struct fsp_cut_row *row)
{
    return row->early || row->long_cut;
}

/* Whether the trouble stayed with the rig through a change of reel, or with one reel. */
static enum fsp_followed
followed(const struct fsp_cut_row *const *rows, size_t n)
{
    const char *reel = NULL;
    size_t good = 0, i;

    for (i = n; i-- > 0;) {
        if (!troubled(rows[i]) || rows[i]->reel == NULL)
            continue;
        if (reel == NULL)
            reel = rows[i]->reel;
        else if (strcmp(reel, rows[i]->reel) != 0)
            return FSP_FOLLOWED_RIG;
    }
    for (i = 0; i < n && reel != NULL; i++)
        good += rows[i]->eligible && differ(rows[i]->reel, reel) ? 1 : 0;
    return good >= 2 ? FSP_FOLLOWED_REEL : FSP_FOLLOWED_UNKNOWN;
}

static size_t
long_run(const struct fsp_cut_row *const *rows, size_t n)
{
    size_t run = 0, i;

    for (i = n; i-- > 0;) {
        if (rows[i]->planned)
            continue;
        if (!troubled(rows[i]) || rows[i]->incomplete || rows[i]->under_derate)
            break;
        run++;
    }
    return run;
}

static void
advise_inspect(const struct fsp_cut_row *const *rows, size_t n, const struct fsp_review *review,
        struct fsp_advice *out, size_t *have)
{
    size_t run = long_run(rows, n);
    bool flagged = review->state == FSP_REVIEW_FLAGGED;
    struct fsp_advice *advice;
    struct fsp_buf buf;

    if (!flagged && run < FSP_ADVICE_CUTS)
        return;
    advice = start(out, have, FSP_ADVICE_INSPECT, &buf);
    advice->cuts = flagged && review->early > run ? review->early : run;
    advice->goal_j = rows[n - 1]->goal_j;
    advice->step_j = advice->goal_j * (1 - FSP_ADVICE_STEP);
    advice->followed = followed(rows, n);
    fsp_buf_printf(&buf, "%zu cuts early or long for wear", advice->cuts);
    if (review->place != NULL && strlen(review->place) < 60)
        fsp_buf_printf(&buf, ", mostly at the %s",
                strncmp(review->place, "the ", 4) == 0 ? review->place + 4 : review->place);
    if (advice->followed == FSP_FOLLOWED_RIG)
        fsp_buf_add_text(&buf,
                ", on more than one reel: it followed the rig; inspect sheaves and "
                "drum first, then the counting");
    else if (advice->followed == FSP_FOLLOWED_REEL)
        fsp_buf_add_text(&buf,
                ", on one reel while another here was good: it followed the reel; "
                "inspect the rope and its certificate first, then the counting");
    else
        fsp_buf_add_text(&buf,
                ", all on one reel, so rig or reel cannot be told: inspect sheaves, "
                "drum, then the counting first");
    fsp_buf_add_text(&buf, "; if they are sound, lower the goal by one tenth, to ");
    say_goal(&buf, advice->step_j);
    finish(advice, &buf);
}

size_t
fsp_review_advise(const struct fsp_cut_row *const *rows, size_t n,
        const struct fsp_review *review, struct fsp_advice out[static FSP_ADVICE_MAX])
{
    size_t have = 0;

    if (n == 0 || advise_rebase(rows, n, out, &have) || advise_erratic(rows, n, out, &have))
        return have;
    advise_wear_left(rows, n, out, &have);
    advise_inspect(rows, n, review, out, &have);
    return have;
}

void
fsp_review_advice_json(const struct fsp_advice *advice, size_t n, struct fsp_buf *buf)
{
    size_t i;

    fsp_buf_add_byte(buf, '[');
    for (i = 0; i < n; i++) {
        bool first = true;

        fsp_buf_add_text(buf, i > 0 ? ",{" : "{");
        fsp_say_member_count(buf, &first, "cuts", advice[i].cuts);
        fsp_say_member_text(buf, &first, "followed", fsp_followed_text(advice[i].followed));
        fsp_say_member(buf, &first, "goal_ton_miles", advice[i].goal_j / FSP_TON_MILE_J);
        fsp_say_member_text(buf, &first, "kind", fsp_advice_text(advice[i].kind));
        fsp_say_member(buf, &first, "step_ton_miles",
                advice[i].step_j > 0 ? advice[i].step_j / FSP_TON_MILE_J : (double)NAN);
        fsp_say_member_text(buf, &first, "text", advice[i].text);
        fsp_buf_add_byte(buf, '}');
    }
    fsp_buf_add_byte(buf, ']');
}
