/* The next slip-and-cut of a line as it hangs, against where it lay before. */
#include <math.h>
#include <string.h>

#include "line/critical_priv.h"
#include "line/hoist.h"

#define SAME_M 0.001 /* two places nearer than this are one */
#define LESS_M 0.3   /* a cut may be so much shorter than what was slipped: house figure */

/* Sheave points by their distance from the anchor, one list a number of lines. */
struct spots {
    bool known;
    size_t n;
    struct fsp_point point[FSP_CRITICAL_POINTS];
};

struct trial {
    const struct fsp_geometry *geometry; /* with the lines of now */
    const struct fsp_next *next;
    struct spots spots[FSP_HOIST_LINES_MAX / 2 + 1];
};

static const struct spots *
spots_of(struct trial *trial, int lines)
{
    struct spots *spots = &trial->spots[lines / 2];
    struct fsp_geometry g = *trial->geometry;
    double anchor;
    size_t i;

    if (spots->known)
        return spots;
    g.lines = lines;
    spots->n = fsp_critical_points(&g, spots->point);
    anchor = spots->point[spots->n - 1].x_m;
    if (!(g.dead_m > 0)) /* the last one is the dead-line sheave */
        anchor += HALF_GIRTH * g.sheave_m;
    for (i = 0; i < spots->n; i++)
        spots->point[i].x_m -= anchor;
    spots->known = true;
    return spots;
}

/* Every sheave point as it lies now against every one as it lay there. */
static void
meet(const struct spots *now, const struct spots *before, double moved_m, int ago,
        struct fsp_candidate *out)
{
    double first = now->point[0].x_m, last = before->point[before->n - 1].x_m;
    size_t i, j;

    for (i = 0; i < now->n; i++)
        first = now->point[i].x_m < first ? now->point[i].x_m : first;
    if (first + moved_m > last + FSP_CRITICAL_NEAR_M)
        return; /* it has all moved past */
    if (ago > out->tested)
        out->tested = ago;
    for (i = 0; i < now->n; i++) {
        for (j = 0; j < before->n && now->point[i].kind != FSP_POINT_ANCHOR; j++) {
            double apart = now->point[i].x_m + moved_m - before->point[j].x_m;
            struct fsp_overlap overlap = {now->point[i], before->point[j], ago, apart};

            if (fabs(apart) > FSP_CRITICAL_NEAR_M)
                continue;
            out->sheaves++;
            fsp_critical_judge(out, &overlap);
        }
    }
}

static bool
same_reeving(const struct fsp_line_place *a, const struct fsp_line_place *b)
{
    return a->lines == b->lines && fabs(a->anchor_m - b->anchor_m) < SAME_M;
}

/* One slip still to be made, with the anchor so far along, `made` slips after where the line lies. */
static void
try_slip(struct trial *trial, double anchor_m, int made, struct fsp_candidate *out)
{
    const struct fsp_line_place *places = trial->next->places,
                                *last = &places[trial->next->n_places - 1];
    const struct spots *now = spots_of(trial, last->lines);
    int ago = made, before;
    size_t i;

    for (before = 1; before < made; before++)
        meet(now, now, before * out->slip_m, before, out);
    for (i = trial->next->n_places; i-- > 0;) {
        if (i + 1 < trial->next->n_places) {
            if (same_reeving(&places[i], &places[i + 1]))
                continue;
            ago++;
        }
        meet(now, spots_of(trial, places[i].lines), anchor_m - places[i].anchor_m, ago, out);
    }
}

/* The drum after the cut against each drum that lay there after a cut before. */
static void
try_cut(const struct trial *trial, struct fsp_candidate *out)
{
    const struct fsp_line_place *places = trial->next->places,
                                *last = &places[trial->next->n_places - 1];
    double clamp = last->clamp_m + out->cut_m;
    int ago = out->moves;
    size_t i;

    for (i = trial->next->n_places; i-- > 0;) {
        bool newest = i + 1 == trial->next->n_places;

        if (!newest && !same_reeving(&places[i], &places[i + 1]))
            ago++;
        /* A place is a drum's first when the clamp lay elsewhere before it. */
        if (i > 0 && fabs(places[i].clamp_m - places[i - 1].clamp_m) < SAME_M)
            continue;
        fsp_critical_meet_drum(
                trial->geometry, out, clamp - places[i].clamp_m, ago > 0 ? ago : 1);
    }
}

static void
repeat(const struct trial *trial, struct fsp_candidate *out)
{
    struct fsp_candidate again;
    int i;

    fsp_critical_try(trial->geometry, out->laps, trial->next->slips, &again);
    out->again = again.sheaves + again.crossovers;
    for (i = 0; i < FSP_CRITICAL_MOVES && out->again_after == 0; i++) {
        if (again.by_move[i] > 0)
            out->again_after = i + 1;
    }
}

static void
try_next(struct trial *trial, double laps, struct fsp_candidate *out)
{
    const struct fsp_next *next = trial->next;
    const struct fsp_line_place *last = &trial->next->places[trial->next->n_places - 1];
    double rest;
    int slip;

    memset(out, 0, sizeof(*out));
    out->laps = laps;
    out->cut_m = laps * fsp_critical_lap(trial->geometry);
    rest = out->cut_m - next->slipped_m;
    if (rest > LESS_M) {
        out->moves = next->slips > next->slips_made ? next->slips - next->slips_made : 1;
        out->slip_m = rest / out->moves;
    }
    for (slip = 1; slip <= out->moves; slip++) {
        try_slip(trial, last->anchor_m + slip * out->slip_m, slip, out);
        fsp_critical_mix(trial->geometry, out, next->slipped_m + slip * out->slip_m);
    }
    try_cut(trial, out);
    repeat(trial, out);
}

static enum fsp_rc
check_places(const struct fsp_line_place *places, size_t n, struct fsp_err *err)
{
    size_t i;

    for (i = 0; i < n; i++) {
        if (places[i].lines < 2 || places[i].lines > FSP_HOIST_LINES_MAX ||
                places[i].lines % 2 != 0)
            return fsp_err_set(err, FSP_EINVAL,
                    "lines: found %d; allowed: an even number, 2 to %d", places[i].lines,
                    FSP_HOIST_LINES_MAX);
    }
    if (n == 0)
        return fsp_err_set(err, FSP_EINVAL, "places: none; the line must hang somewhere");
    return FSP_OK;
}

enum fsp_rc
fsp_critical_next(const struct fsp_geometry *geometry, const struct fsp_next *next,
        struct fsp_candidate out[static FSP_CRITICAL_CANDIDATES], size_t *n,
        struct fsp_err *err)
{
    struct fsp_geometry now = *geometry;
    struct trial trial = {&now, next, {{.known = false}}};
    int quarters[FSP_CRITICAL_CANDIDATES], count, i;
    struct fsp_candidate one;
    enum fsp_rc rc = check_places(next->places, next->n_places, err);

    *n = 0;
    if (rc == FSP_OK) {
        now.lines = next->places[next->n_places - 1].lines;
        rc = fsp_critical_check_laps(&now, next->laps, next->slips, err);
    }
    if (rc != FSP_OK)
        return rc;
    count = fsp_critical_quarters(next->laps, quarters);
    for (i = 0; i < count; i++) {
        if (quarters[i] / 4.0 * fsp_critical_lap(&now) < next->slipped_m - LESS_M)
            continue;
        try_next(&trial, quarters[i] / 4.0, &one);
        fsp_critical_place(&one, next->laps, out, n);
    }
    return FSP_OK;
}
