/*
 * The service goal between two cuts: a suggestion, and what a design factor does to it.
 *
 * The goal is a company's setting; this only suggests a start, the lower of two sources: ton-miles
 * per foot by size (from memory, low confidence, verify against your copy of API RP 9B) and a rope
 * maker's light-duty sheet (published). Above 1-3/8 in there is none. Later cuts 200 ton-miles
 * less (common practice), 100 less for 1-1/8 in and smaller (from memory). Curve: 4 = 80 % is
 * common practice; 3 = 58 %, 2 = 30 %, 6 = 115 %, 7 = 125 % are from memory. Formation scale:
 * house starting values, no source; edit them in goal.c.
 *
 * Units: metres, joules; shares are fractions. Threads: pure. Errors: FSP_EINVAL.
 */
#ifndef FSP_LINE_GOAL_H
#define FSP_LINE_GOAL_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"

#define FSP_CURVE_MAX 16

enum fsp_formation {
    FSP_FORMATION_UNSAID = 0,
    FSP_FORMATION_SOFT,
    FSP_FORMATION_NORMAL,
    FSP_FORMATION_HARD,
};

/* Service against design factor; points by rising factor. n 0: the built-in curve. */
struct fsp_curve {
    size_t n;
    double factor[FSP_CURVE_MAX];
    double share[FSP_CURVE_MAX];
};

struct fsp_goal {
    double per_metre_j; /* at factor 5 */
    double first_j;     /* the first cut of a new line, at factor 5 */
    double later_j;
    bool by_sheet; /* the maker's sheet was the lower one */
};

/* Put points into order; refuses fewer than 2, doubles, and shares that are not above 0. */
enum fsp_rc fsp_goal_curve_sort(struct fsp_curve *curve, struct fsp_err *err) FSP_MUST_CHECK;
/* Straight lines between the points; the end's share beyond them, with *beyond set. curve NULL:
 * the built-in one. */
double fsp_goal_curve(const struct fsp_curve *curve, double factor, bool *beyond);

double fsp_goal_formation(enum fsp_formation formation);
/* Suggest for a rope and a length of cut. */
enum fsp_rc fsp_goal_suggest(double rope_m, double cut_m, enum fsp_formation formation,
        struct fsp_goal *out, struct fsp_err *err) FSP_MUST_CHECK;

/* How a suggestion comes about, with its numbers; share: of the curve, as applied at factor. */
void fsp_goal_formula(const struct fsp_goal *goal, double cut_m, double factor, double share,
        struct fsp_buf *buf);

#endif
