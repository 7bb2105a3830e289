#include "line/goal.h"

#include <math.h>
#include <string.h>

#include "line/rope.h"
#include "record/quantity.h"

/* House starting values, common practice, no source: edit here. */
#define SCALE_SOFT   1.10
#define SCALE_NORMAL 1.00
#define SCALE_HARD   0.85

#define LATER_LESS       200.0 /* ton-miles; common practice, no source */
#define LATER_LESS_SMALL 100.0 /* 1-1/8 in and smaller; from memory, verify against your copy */
#define SMALL_M          (1.125 * FSP_IN_M)
#define LEAST_LATER      0.5 /* house figure: a later goal is never below half the first */

/* Ton-miles per foot cut at factor 5: from memory of API RP 9B, low confidence, verify. Sheet: a
 * rope maker's light-duty sheet, ton-miles for a cut in metres. */
static const struct {
    double inches, per_foot, sheet_ton_miles, sheet_m;
} starts[] = {
        {0.875, 6, 350, 18},
        {1.0, 8, 500, 18},
        {1.125, 12, 800, 24},
        {1.25, 16, 1200, 30},
        {1.375, 20, 2000, 35},
};

static const struct fsp_curve built_in = {
        .n = 6,
        .factor = {2, 3, 4, 5, 6, 7},
        .share = {0.30, 0.58, 0.80, 1.00, 1.15, 1.25},
};

double
fsp_goal_curve(const struct fsp_curve *curve, double factor, bool *beyond)
{
    const struct fsp_curve *c = curve == NULL || curve->n == 0 ? &built_in : curve;
    size_t i;

    if (beyond != NULL)
        *beyond = factor < c->factor[0] || factor > c->factor[c->n - 1];
    if (!(factor > c->factor[0]))
        return c->share[0];
    for (i = 1; i < c->n; i++) {
        if (factor <= c->factor[i]) {
            double part = (factor - c->factor[i - 1]) / (c->factor[i] - c->factor[i - 1]);

            return c->share[i - 1] + part * (c->share[i] - c->share[i - 1]);
        }
    }
    return c->share[c->n - 1];
}

enum fsp_rc
fsp_goal_curve_sort(struct fsp_curve *curve, struct fsp_err *err)
{
    size_t i, j;

    for (i = 1; i < curve->n; i++) {
        double factor = curve->factor[i], share = curve->share[i];

        for (j = i; j > 0 && curve->factor[j - 1] > factor; j--) {
            curve->factor[j] = curve->factor[j - 1];
            curve->share[j] = curve->share[j - 1];
        }
        curve->factor[j] = factor;
        curve->share[j] = share;
    }
    if (curve->n < 2)
        return fsp_err_set(err, FSP_EINVAL, "curve: found %zu points; allowed: 2 to %d",
                curve->n, FSP_CURVE_MAX);
    for (i = 0; i < curve->n; i++) {
        if (!(curve->share[i] > 0) || (i > 0 && !(curve->factor[i] > curve->factor[i - 1])))
            return fsp_err_set(err, FSP_EINVAL,
                    "curve: each factor once, each share above 0 %%; look at factor %.4g",
                    curve->factor[i]);
    }
    return FSP_OK;
}

double
fsp_goal_formation(enum fsp_formation formation)
{
    switch (formation) {
    case FSP_FORMATION_SOFT:
        return SCALE_SOFT;
    case FSP_FORMATION_HARD:
        return SCALE_HARD;
    case FSP_FORMATION_UNSAID:
    case FSP_FORMATION_NORMAL:
        break;
    }
    return SCALE_NORMAL;
}

enum fsp_rc
fsp_goal_suggest(double rope_m, double cut_m, enum fsp_formation formation,
        struct fsp_goal *out, struct fsp_err *err)
{
    size_t i;
    double table, sheet, less;

    memset(out, 0, sizeof(*out));
    if (!(cut_m > 0 && cut_m <= 500))
        return fsp_err_set(err, FSP_EINVAL,
                "cut: %.4g ft is out of range; allowed: above 0, to 500 m (1,640 ft)",
                cut_m / FSP_FT_M);
    for (i = 0; i < sizeof(starts) / sizeof(starts[0]); i++) {
        if (fabs(starts[i].inches * FSP_IN_M - rope_m) <= FSP_ROPE_MATCH_M)
            break;
    }
    if (i == sizeof(starts) / sizeof(starts[0]))
        return fsp_err_set(err, FSP_EINVAL,
                "rope: no suggestion for %.4g mm (%.4g in); there is one for 7/8 to 1-3/8 in; "
                "set the goal by a program",
                rope_m * 1000, rope_m / FSP_IN_M);
    table = starts[i].per_foot * FSP_TON_MILE_J / FSP_FT_M;
    sheet = starts[i].sheet_ton_miles * FSP_TON_MILE_J / starts[i].sheet_m;
    out->by_sheet = sheet < table;
    out->per_metre_j = (out->by_sheet ? sheet : table) * fsp_goal_formation(formation);
    out->first_j = out->per_metre_j * cut_m;
    less = (rope_m <= SMALL_M + FSP_ROPE_MATCH_M ? LATER_LESS_SMALL : LATER_LESS) *
           FSP_TON_MILE_J;
    out->later_j = out->first_j - less;
    if (out->later_j < out->first_j * LEAST_LATER)
        out->later_j = out->first_j * LEAST_LATER;
    return FSP_OK;
}
