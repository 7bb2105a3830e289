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

/* ---- advice on the programme ----
 *
 * Only on consistent evidence: 3 cuts in a row under the same goal that say the same thing; one
 * observation teaches nothing (common practice, no source). The step is one tenth of the goal, a
 * house figure. A goal is never raised on counts with gaps, on cuts made before the goal was
 * served, or within 3 cuts of a change between hand-counted and counted work. */
enum fsp_advice_kind {
    FSP_ADVICE_REBASE =
            0,          /* the basis of the count changed: no other step before 3 cuts on it */
    FSP_ADVICE_ERRATIC, /* the cuts scatter: no step, look for the reason */
    FSP_ADVICE_RAISE,   /* wear left */
    FSP_ADVICE_SERVE,   /* wear left, but the goal was never served */
    FSP_ADVICE_COUNT,   /* wear left, but the count has gaps */
    FSP_ADVICE_INSPECT, /* early or long for wear: inspect first, then lower */
};

#define FSP_ADVICE_MAX      4
#define FSP_ADVICE_TEXT_MAX 480
#define FSP_ADVICE_STEP     0.10
#define FSP_ADVICE_CUTS     ((size_t)3)
#define FSP_ADVICE_SCATTER                                                                     \
    0.25 /* standard deviation over mean of ton-miles a foot; house figure */

enum fsp_followed {
    FSP_FOLLOWED_UNKNOWN = 0, /* one reel only: it cannot be told */
    FSP_FOLLOWED_RIG,         /* on several reels */
    FSP_FOLLOWED_REEL,        /* on one, while another on this rig was good */
};

struct fsp_advice {
    enum fsp_advice_kind kind;
    enum fsp_followed followed;
    size_t cuts;                    /* the evidence */
    double goal_j;                  /* in force at the newest of them */
    double step_j;                  /* the goal advised; 0 when none is */
    char text[FSP_ADVICE_TEXT_MAX]; /* evidence, step, what to inspect first: one line */
};

/* Advice from one rig's cuts, oldest first, into out; how many. review: of the same rows. */
size_t fsp_review_advise(const struct fsp_cut_row *const *rows, size_t n,
        const struct fsp_review *review, struct fsp_advice out[static FSP_ADVICE_MAX]);
/* "re-base", "erratic", "raise", "serve first", "count first", "inspect first". Static. */
const char *fsp_advice_text(enum fsp_advice_kind kind);
/* "the rig", "the reel", "unknown". Static. */
const char *fsp_followed_text(enum fsp_followed followed);
/* [{"cuts":3,"kind":"raise",…}] */
void fsp_review_advice_json(const struct fsp_advice *advice, size_t n, struct fsp_buf *buf);

const char *fsp_review_state_text(enum fsp_review_state state);

#endif
