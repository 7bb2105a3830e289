/*
 * What several cuts in a row say: repeated early cuts, wear left over, planned cuts that repeat.
 *
 * One early cut teaches nothing. Repeated early cuts are flagged when at least 3 of the last 4 to
 * 6 eligible cuts were early for wear and so many would come by chance, at the fleet's own rate
 * (never below 3 %), in at most 1 of 1,000 cases: the exact binomial tail. The rule is this
 * project's own, derived.
 *
 * Ownership: rows are borrowed for the call; texts are in the struct.
 * Threads: pure.
 */
#ifndef FSP_LINE_REVIEW_H
#define FSP_LINE_REVIEW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "line/ledger.h"

#define FSP_REVIEW_TEXT_MAX   256
#define FSP_REVIEW_RATE_FLOOR 0.03
#define FSP_REVIEW_TAIL       0.001
#define FSP_REVIEW_LEAST      4
#define FSP_REVIEW_MOST       6

enum fsp_review_state {
    FSP_REVIEW_WATCHING = 0, /* fewer than 4 eligible cuts */
    FSP_REVIEW_CLEAR,
    FSP_REVIEW_FLAGGED,
    FSP_REVIEW_CLOSED, /* would be flagged, but the last 3 eligible cuts were good */
};

struct fsp_review {
    enum fsp_review_state state;    /* repeated early cuts */
    size_t eligible;                /* of all rows */
    size_t early;                   /* of the window, for wear */
    size_t window;                  /* eligible cuts looked at */
    double rate;                    /* base rate used, floor included */
    double tail;                    /* chance alone; 1 when nothing was judged */
    const struct fsp_cut_row *last; /* newest early cut of the window, NULL when none. peek */
    const char *place; /* where most of the early cuts were; NULL unless more than half */
    char text[FSP_REVIEW_TEXT_MAX];

    bool wear_left; /* at least 3 cuts in a row, none incomplete */
    size_t wear_left_run;
    char wear_left_text[FSP_REVIEW_TEXT_MAX];

    bool planned_repeat; /* planned more than twice running, or planned with worn-out line */
    size_t planned_run;
    char planned_text[FSP_REVIEW_TEXT_MAX];
};

/* Eligible cuts and the early among them, of rows at or after from_s: what a fleet's base rate is
 * made of. Adds to the counts. */
void fsp_review_tally(const struct fsp_cut_row *const *rows, size_t n, int64_t from_s,
        size_t *eligible, size_t *early);

/* P(X >= k) for n draws at rate p. */
double fsp_review_tail(size_t n, size_t k, double p);

/* Judge one rig's cuts, oldest first. fleet_rate: early per eligible cut of the other rigs, 0
 * when unknown. */
void fsp_review_cuts(const struct fsp_cut_row *const *rows, size_t n, double fleet_rate,
        struct fsp_review *out);

const char *fsp_review_state_text(enum fsp_review_state state);

#endif
