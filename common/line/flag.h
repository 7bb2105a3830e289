/*
 * What a rig's account says that somebody should look at, each with its reason and its evidence.
 *
 * Repeated early cuts, wear left and planned cuts are review.h's, scattering cuts review_advice's.
 * House figures, all of them this project's own:
 *   damage     at least 3 of the last 6 cuts for damage (kink, crush, corrosion, shock, spooling,
 *              jarring), or 2 for the same; until 3 cuts in a row for something else, or until a
 *              sheave or the drum is changed
 *   low factor an operation below the minimum of its service, and 12 h later no thorough inspection
 *              of that line; a cut does not answer it, since the rest of the line bore it too
 *   counts     hand and sensor more than 15 % of the count in force apart since the cut, both by
 *              motion, each 50 ton-miles at least, and no gap in the count
 * What time alone brings (a cut or slip overdue, duties missed) rests while the rig is stacked.
 * Paper that comes late raises nothing: a duty is missed, and a gap is one, when the newest record
 * is more than 24 h later than the duty was due or the gap was shown.
 *
 * `what` names the occurrence: its newest evidence, by entry or by time. It stays the same as long as
 * nothing new of its kind happens, and changes when something does.
 *
 * Ownership: everything is in the struct; the ledger, rows and review are borrowed for the call.
 * Units: seconds since 1970. Threads: pure. Errors: none.
 */
#ifndef FSP_LINE_FLAG_H
#define FSP_LINE_FLAG_H

#include <stddef.h>
#include <stdint.h>

#include "line/review.h"

#define FSP_LINE_FLAGS_MAX     20
#define FSP_LINE_FLAG_TEXT_MAX 320
#define FSP_LINE_FLAG_WHAT_MAX 64
#define FSP_LINE_FLAG_CUTS     8 /* the newest of the evidence */

#define FSP_FLAG_DAMAGE_CUTS  6
#define FSP_FLAG_DAMAGE_ANY   3
#define FSP_FLAG_DAMAGE_SAME  2
#define FSP_FLAG_DAMAGE_CLOSE 3
#define FSP_FLAG_APART        0.15
#define FSP_FLAG_APART_LEAST  50.0           /* ton-miles */
#define FSP_FLAG_LATE_S       INT64_C(86400) /* paper later than this is late */

enum fsp_line_flag_kind {
    FSP_LINE_EARLY_WEAR = 0,
    FSP_LINE_DAMAGE,
    FSP_LINE_LOW_FACTOR,
    FSP_LINE_OVERDUE_CUT,
    FSP_LINE_OVERDUE_SLIP,
    FSP_LINE_DUTY,
    FSP_LINE_COUNTS_APART,
    FSP_LINE_INCOMPLETE,
    FSP_LINE_WEAR_LEFT,
    FSP_LINE_PLANNED,
    FSP_LINE_ERRATIC,
};

struct fsp_line_flag {
    enum fsp_line_flag_kind kind;
    int64_t since_s;                   /* 0: unknown */
    char what[FSP_LINE_FLAG_WHAT_MAX]; /* [a-z0-9.-] */
    char text[FSP_LINE_FLAG_TEXT_MAX]; /* one line; may hold what crews wrote */
    size_t cuts[FSP_LINE_FLAG_CUTS];   /* rows of the evidence, newest last */
    size_t n_cuts;
};

struct fsp_line_flags_about {
    const struct fsp_ledger *ledger; /* at the time asked for */
    const struct fsp_cut_row *const *rows;
    size_t n;
    const struct fsp_review *review; /* of the rows */
    const struct fsp_advice *advice;
    size_t n_advice;
};

/* How many; in the order of the kinds. */
size_t fsp_line_flags(const struct fsp_line_flags_about *about,
        struct fsp_line_flag out[static FSP_LINE_FLAGS_MAX]);

#endif
