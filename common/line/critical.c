#include "line/critical.h"

#include <math.h>
#include <string.h>

#include "line/critical_priv.h"
#include "line/cutlength.h"
#include "line/hoist.h"
#include "record/quantity.h"

#define AROUND 2.0 /* laps on each side of the table's */

static int
crossovers(const struct fsp_geometry *g)
{
    return g->crossovers == 2 ? 2 : 1;
}

double
fsp_critical_lap(const struct fsp_geometry *geometry)
{
    return fsp_cutlength_lap(geometry->drum_m, geometry->rope_m);
}

double
fsp_critical_spacing(const struct fsp_geometry *g)
{
    return fsp_critical_lap(g) / crossovers(g);
}

/* Rope on the drum with the block at its upper pick-up and that much slipped onto it. */
double
fsp_critical_drum_rope(const struct fsp_geometry *g, double slipped_m)
{
    return g->wraps_low * fsp_critical_lap(g) + g->lines * g->pick_m[1] + slipped_m;
}

/* The end of what is known of the drum: its first layer, or all that is ever on it. */
double
fsp_critical_first_layer(const struct fsp_geometry *g, double slipped_m)
{
    double rope = fsp_critical_drum_rope(g, slipped_m),
           layer = g->laps_per_layer * fsp_critical_lap(g);

    return layer > 0 && layer < rope ? layer : rope;
}

/* ---- checks ---- */

static enum fsp_rc
within(const char *field, double value, double least, double most, struct fsp_err *err)
{
    if (value >= least && value <= most)
        return FSP_OK;
    return fsp_err_set(err, FSP_EINVAL, "%s: found %.4g; allowed: %.4g to %.4g", field, value,
            least, most);
}

static enum fsp_rc
check_heights(const struct fsp_geometry *g, struct fsp_err *err)
{
    if (!(g->crown_m >= 5 && g->crown_m <= 110))
        return fsp_err_set(err, FSP_EINVAL,
                "crown: %.4g m above the block's lowest place; allowed: 5 m to 110 m",
                g->crown_m);
    if (!(g->pick_m[0] >= 0 && g->pick_m[1] >= g->pick_m[0] && g->pick_m[1] < g->crown_m))
        return fsp_err_set(err, FSP_EINVAL,
                "pick-high: %.4g m, pick-low: %.4g m above the block's lowest place; allowed: "
                "lower not above upper, both below the crown (%.4g m)",
                g->pick_m[1], g->pick_m[0], g->crown_m);
    return FSP_OK;
}

static enum fsp_rc
check_drum(const struct fsp_geometry *g, double cut_m, struct fsp_err *err)
{
    double lap = fsp_critical_lap(g), most = g->laps_per_layer * FSP_CRITICAL_LAYERS, wraps;

    if (within("wraps-low", g->wraps_low, 0, 200, err) != FSP_OK ||
            within("laps-per-layer", g->laps_per_layer, 0, 100, err) != FSP_OK)
        return FSP_EINVAL;
    wraps = fsp_critical_drum_rope(g, cut_m) / lap;
    if (most > 0 && wraps > most)
        return fsp_err_set(err, FSP_EINVAL,
                "wraps-low: with the block at pick-high and the line slipped %.1f laps lie on "
                "the drum; allowed: %.1f, %d layers of %.4g",
                wraps, most, FSP_CRITICAL_LAYERS, g->laps_per_layer);
    return FSP_OK;
}

enum fsp_rc
fsp_critical_check(const struct fsp_geometry *geometry, double cut_m, struct fsp_err *err)
{
    const struct fsp_geometry *g = geometry;

    if (g->lines < 2 || g->lines > FSP_HOIST_LINES_MAX || g->lines % 2 != 0)
        return fsp_err_set(err, FSP_EINVAL, "lines: found %d; allowed: an even number, 2 to %d",
                g->lines, FSP_HOIST_LINES_MAX);
    if (within("crossovers", g->crossovers, 0, 2, err) != FSP_OK ||
            within("drum in metres", g->drum_m, 0.15, 3, err) != FSP_OK ||
            within("rope in metres", g->rope_m, 0, 0.1, err) != FSP_OK ||
            within("sheave in metres", g->sheave_m, 0, 3, err) != FSP_OK ||
            within("cut in metres", cut_m, 0.5, 500, err) != FSP_OK ||
            check_heights(g, err) != FSP_OK)
        return FSP_EINVAL;
    if (within("fast-line in metres", g->fast_m, 1, 200, err) != FSP_OK ||
            within("dead-line in metres", g->dead_m, 0, 200, err) != FSP_OK)
        return FSP_EINVAL;
    return check_drum(g, cut_m, err);
}

/* ---- points ---- */

/* The sheave passed as the n-th from the drum, 0 the crown's fast sheave, at block height z. */
static double
sheave_x(const struct fsp_geometry *g, int n, double z)
{
    double h = g->crown_m + HALF_GIRTH * g->sheave_m;

    return g->wraps_low * fsp_critical_lap(g) + g->fast_m + n * h + (g->lines - n) * z;
}

size_t
fsp_critical_points(
        const struct fsp_geometry *geometry, struct fsp_point out[static FSP_CRITICAL_POINTS])
{
    const struct fsp_geometry *g = geometry;
    bool one_height = g->pick_m[1] - g->pick_m[0] < EPSILON;
    size_t count = 0;
    int n, pick;

    for (n = 0; n <= g->lines; n++) {
        bool same = one_height || n == g->lines;

        for (pick = 0; pick < (same ? 1 : 2); pick++)
            out[count++] = (struct fsp_point){
                    .kind = n % 2 == 0 ? FSP_POINT_CROWN : FSP_POINT_BLOCK,
                    .number = (n + 1) / 2,
                    .pick = same ? -1 : pick,
                    .x_m = sheave_x(g, n, g->pick_m[pick]),
            };
    }
    if (g->dead_m > 0)
        out[count++] = (struct fsp_point){
                .kind = FSP_POINT_ANCHOR,
                .pick = -1,
                .x_m = sheave_x(g, g->lines, 0) + HALF_GIRTH * g->sheave_m + g->dead_m,
        };
    return count;
}

/* ---- the test ---- */

void
fsp_critical_judge(struct fsp_candidate *out, const struct fsp_overlap *overlap)
{
    size_t i;

    if (overlap->slips_ago > FSP_CRITICAL_MOVES)
        return;
    out->by_move[overlap->slips_ago - 1]++;
    /* Kept by age; the sheaves have been tried before the drum. */
    if (out->n_left < FSP_CRITICAL_LEFT)
        out->n_left++;
    else if (out->left[FSP_CRITICAL_LEFT - 1].slips_ago <= overlap->slips_ago)
        return;
    for (i = out->n_left - 1; i > 0 && out->left[i - 1].slips_ago > overlap->slips_ago; i--)
        out->left[i] = out->left[i - 1];
    out->left[i] = *overlap;
}

/* Every sheave point after a move against every one as it was that many slips before. */
static void
try_sheaves(const struct fsp_geometry *g, struct fsp_candidate *out)
{
    struct fsp_point points[FSP_CRITICAL_POINTS] = {{.x_m = 0}};
    size_t n = fsp_critical_points(g, points), i, j;
    double span = points[n - 1].x_m - points[0].x_m + FSP_CRITICAL_NEAR_M;
    int ago;

    for (ago = 1; ago <= FSP_CRITICAL_MOVES && ago * out->slip_m <= span; ago++) {
        out->tested = ago;
        for (i = 0; i < n; i++) {
            for (j = 0; j < n; j++) {
                double apart = points[i].x_m + ago * out->slip_m - points[j].x_m;
                struct fsp_overlap overlap = {points[i], points[j], ago, apart};

                if (points[i].kind == FSP_POINT_ANCHOR || fabs(apart) > FSP_CRITICAL_NEAR_M)
                    continue;
                out->sheaves++;
                fsp_critical_judge(out, &overlap);
            }
        }
    }
}

/* How far x lies from the nearest crossover. */
static double
off_crossover(const struct fsp_geometry *g, double x_m)
{
    double every = fsp_critical_spacing(g);

    return x_m - round(x_m / every) * every;
}

static void
judge_drum(const struct fsp_geometry *g, struct fsp_candidate *out, enum fsp_point_kind now,
        enum fsp_point_kind before, int slips_ago, double apart_m)
{
    struct fsp_overlap overlap = {
            {.kind = now, .pick = -1}, {.kind = before, .pick = -1}, slips_ago, apart_m};

    if (fabs(apart_m) > fsp_critical_spacing(g) / FSP_CRITICAL_SHARE + EPSILON)
        return;
    out->crossovers++;
    fsp_critical_judge(out, &overlap);
}

/* All crossovers of a drum meet the old ones together or not at all: they count as one. */
void
fsp_critical_meet_drum(
        const struct fsp_geometry *g, struct fsp_candidate *out, double moved_m, int slips_ago)
{
    double end = fsp_critical_first_layer(g, out->cut_m), every = fsp_critical_spacing(g);
    double rise = g->laps_per_layer * fsp_critical_lap(g);
    bool rises = rise > 0 && rise < fsp_critical_drum_rope(g, out->cut_m);

    /* Something old must still lie where the first crossover of the drum is, or beyond. */
    if (1 + round(moved_m / every) <= floor(end / every + EPSILON))
        judge_drum(g, out, FSP_POINT_CROSSOVER, FSP_POINT_CROSSOVER, slips_ago,
                off_crossover(g, moved_m));
    /* The rise ends the layer: old crossovers never reach it, but a crossover can come to lie
     * where the rise was. */
    if (rises && round((rise - moved_m) / every) >= 1)
        judge_drum(g, out, FSP_POINT_CROSSOVER, FSP_POINT_RISE, slips_ago,
                off_crossover(g, rise - moved_m));
}

/* The drum's points after a cut against those of each cut before it that are still strung. */
static void
try_drum(const struct fsp_geometry *g, int slips, struct fsp_candidate *out)
{
    double end = fsp_critical_first_layer(g, out->cut_m);
    int cuts;

    for (cuts = 1; cuts * out->cut_m <= end && cuts * slips <= FSP_CRITICAL_MOVES; cuts++)
        fsp_critical_meet_drum(g, out, cuts * out->cut_m, cuts * slips);
}

/* Spots that lie on a sheave at a pick-up and, with the block up, on a crossover of the drum, with
 * so much slipped since the cut. */
void
fsp_critical_mix(const struct fsp_geometry *g, struct fsp_candidate *out, double slipped_m)
{
    struct fsp_point points[FSP_CRITICAL_POINTS] = {{.x_m = 0}};
    size_t n = fsp_critical_points(g, points), i;
    double end = fsp_critical_first_layer(g, slipped_m);

    for (i = 0; i < n; i++) {
        double x = points[i].x_m + slipped_m;

        if (x <= end &&
                fabs(off_crossover(g, x)) <= fsp_critical_spacing(g) / FSP_CRITICAL_SHARE)
            out->mixed++;
    }
}

static void
try_mixed(const struct fsp_geometry *g, int slips, struct fsp_candidate *out)
{
    int slip;

    for (slip = 1; slip <= slips; slip++)
        fsp_critical_mix(g, out, slip * out->slip_m);
}

void
fsp_critical_try(
        const struct fsp_geometry *geometry, double laps, int slips, struct fsp_candidate *out)
{
    memset(out, 0, sizeof(*out));
    out->laps = laps;
    out->cut_m = laps * fsp_critical_lap(geometry);
    out->slip_m = out->cut_m / slips;
    out->moves = slips;
    try_sheaves(geometry, out);
    try_drum(geometry, slips, out);
    try_mixed(geometry, slips, out);
}

/* Slips to the first overlap, none being the farthest. */
static int
again_after(const struct fsp_candidate *one)
{
    return one->again_after > 0 ? one->again_after : FSP_CRITICAL_MOVES + 1;
}

static bool
better(const struct fsp_candidate *a, const struct fsp_candidate *b, double laps)
{
    int i, judged = a->sheaves + a->crossovers - b->sheaves - b->crossovers;

    for (i = 0; i < FSP_CRITICAL_MOVES; i++) {
        if (a->by_move[i] != b->by_move[i])
            return a->by_move[i] < b->by_move[i];
    }
    if (judged != 0)
        return judged < 0;
    if (again_after(a) != again_after(b))
        return again_after(a) > again_after(b);
    if (a->again != b->again)
        return a->again < b->again;
    if (a->mixed != b->mixed)
        return a->mixed < b->mixed;
    return fabs(a->laps - laps) < fabs(b->laps - laps) - EPSILON;
}

void
fsp_critical_place(const struct fsp_candidate *one, double laps,
        struct fsp_candidate out[static FSP_CRITICAL_CANDIDATES], size_t *n)
{
    size_t i;

    for (i = *n; i > 0 && better(one, &out[i - 1], laps); i--)
        out[i] = out[i - 1];
    out[i] = *one;
    (*n)++;
}

int
fsp_critical_quarters(double laps, int out[static FSP_CRITICAL_CANDIDATES])
{
    int quarter, last = (int)floor((laps + AROUND) * 4), n = 0;

    for (quarter = (int)ceil((laps - AROUND) * 4); quarter <= last; quarter++) {
        /* Whole laps leave every crossover where one was. */
        if (quarter > 0 && quarter % 4 != 0 && n < FSP_CRITICAL_CANDIDATES)
            out[n++] = quarter;
    }
    return n;
}

enum fsp_rc
fsp_critical_check_laps(
        const struct fsp_geometry *geometry, double laps, int slips, struct fsp_err *err)
{
    if (!(laps > 0 && laps <= 200) || slips < 1)
        return fsp_err_set(err, FSP_EINVAL,
                "laps: found %.4g in %d slips; allowed: to 200, "
                "in 1 slip or more",
                laps, slips);
    return fsp_critical_check(geometry, (laps + AROUND) * fsp_critical_lap(geometry), err);
}

enum fsp_rc
fsp_critical_rank(const struct fsp_geometry *geometry, double laps, int slips,
        struct fsp_candidate out[static FSP_CRITICAL_CANDIDATES], size_t *n,
        struct fsp_err *err)
{
    enum fsp_rc rc = fsp_critical_check_laps(geometry, laps, slips, err);
    int quarters[FSP_CRITICAL_CANDIDATES], count, i;
    struct fsp_candidate one;

    *n = 0;
    if (rc != FSP_OK)
        return rc;
    count = fsp_critical_quarters(laps, quarters);
    for (i = 0; i < count; i++) {
        fsp_critical_try(geometry, quarters[i] / 4.0, slips, &one);
        fsp_critical_place(&one, laps, out, n);
    }
    return FSP_OK;
}
