/*
 * What several cuts in a row say: repeated early cuts, wear left over, planned cuts that repeat.
 *
 * One early cut teaches nothing. Repeated early cuts are judged when a cut is made, never between
 * cuts, over the last 4 to 6 eligible ones. They are flagged when at least 3 of them were early for
 * wear and chance alone, at the fleet's own rate and never below 3 %, would give so many
 *   - in at most 1 of 1,000 such rows of cuts: the exact binomial tail, and
 *   - to this rig at most once in a hundred years: the tail times the eligible cuts that it made
 *     in the year up to then is at most 1 %. A rig that cuts often is looked at often.
 * A flag stays until 3 good cuts in a row or a recorded change of a sheave or the drum; the
 * cuts before that are not held against the rig again, the good ones count for it.
 *
 * The fleet's rate at a cut is that of the other rigs' eligible cuts on the same size of rope in the
 * 365 days up to that day. A rig that would stand flagged itself by the 3 % is left out of it for that
 * time, with its cuts of the year before: else a few worn rigs hide each other. With fewer than 20
 * such cuts there is too little to go by, and 3 % are used.
 *
 * A good cut reached 90 % of the goal per foot. A cut below that for another reason than wear is
 * neither early nor good. All of it is this project's own, derived; tests/bench/flags_bench.c has
 * what it finds and what it raises falsely.
 *
 * Ownership: rows are borrowed for the call, by the rates too; texts are in the struct.
 * Units: seconds since 1970; a rate is early cuts per eligible cut.
 * Threads: pure. Rates are read by any thread once they are closed.
 * Errors: FSP_ENOMEM from rates_new and rates_add.
 */
#ifndef FSP_LINE_REVIEW_H
#define FSP_LINE_REVIEW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "line/ledger.h"

#define FSP_REVIEW_TEXT_MAX   256
#define FSP_REVIEW_RATE_FLOOR 0.03
#define FSP_REVIEW_TAIL       0.001
#define FSP_REVIEW_YEARLY     0.01 /* of chance flags a rig and year */
#define FSP_REVIEW_LEAST      4
#define FSP_REVIEW_MOST       6
#define FSP_REVIEW_RATE_DAYS  365
#define FSP_REVIEW_RATE_CUTS  20 /* fewer say nothing: house figure */
#define FSP_REVIEW_ROPES      32 /* sizes a fleet is told apart by; further ones have the floor */

enum fsp_review_state {
    FSP_REVIEW_WATCHING = 0, /* fewer than 4 eligible cuts */
    FSP_REVIEW_CLEAR,
    FSP_REVIEW_FLAGGED,
    FSP_REVIEW_CLOSED, /* was flagged and is no more; fewer than 4 eligible cuts since then */
};

enum fsp_review_closed {
    FSP_REVIEW_BY_NOTHING = 0,
    FSP_REVIEW_BY_CUTS,   /* 3 good ones in a row */
    FSP_REVIEW_BY_CHANGE, /* of a sheave or the drum */
};

struct fsp_review {
    enum fsp_review_state state;   /* repeated early cuts */
    enum fsp_review_closed closed; /* what closed the newest flag */
    size_t eligible;               /* of all rows */
    size_t early;                  /* of the window, for wear */
    size_t window;                 /* eligible cuts looked at: the newest up to `judged` */
    size_t judged;     /* row of the newest of these; meaningless while window is 0 */
    size_t since;      /* eligible cuts after that one */
    size_t good;       /* good cuts in a row, the newest */
    int64_t flagged_s; /* the cut that raised the flag; 0 when none stands */
    double rate;       /* base rate used, floor included */
    size_t rate_cuts;  /* the fleet's cuts it rests on; 0: too few, the floor alone */
    double tail;       /* chance alone; 1 when nothing was judged */
    const struct fsp_cut_row *last; /* newest early cut that counts, NULL when none. peek */
    const char *place; /* where most of the early cuts were; NULL unless more than half */
    char text[FSP_REVIEW_TEXT_MAX];

    bool wear_left; /* at least 3 cuts in a row, none incomplete */
    size_t wear_left_run;
    char wear_left_text[FSP_REVIEW_TEXT_MAX];

    bool planned_repeat; /* planned more than twice running, or planned with worn-out line */
    size_t planned_run;
    char planned_text[FSP_REVIEW_TEXT_MAX];
};

/* Eligible cuts and the early among them, of rows at or after from_s. Adds to the counts. */
void fsp_review_tally(const struct fsp_cut_row *const *rows, size_t n, int64_t from_s,
        size_t *eligible, size_t *early);

/* P(X >= k) for n draws at rate p. */
double fsp_review_tail(size_t n, size_t k, double p);

/* ---- the fleet's rate, on every day ---- */

struct fsp_review_rates; /* opaque */

struct fsp_review_rate {
    size_t eligible;
    size_t early;
};

enum fsp_rc fsp_review_rates_new(
        struct fsp_review_rates **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_review_rates_free(struct fsp_review_rates *rates);
/* Add one rig's cuts, oldest first, each rig once. */
enum fsp_rc fsp_review_rates_add(struct fsp_review_rates *rates,
        const struct fsp_cut_row *const *rows, size_t n, struct fsp_err *err) FSP_MUST_CHECK;
/* After the last rig, before the first question. */
void fsp_review_rates_close(struct fsp_review_rates *rates);
/* Of the year up to at_s, of all rigs but the one whose rows these are (n 0: of all). */
struct fsp_review_rate fsp_review_rates_at(const struct fsp_review_rates *rates, double rope_m,
        int64_t at_s, const struct fsp_cut_row *const *rows, size_t n);

/* ---- one rig ---- */

struct fsp_review_about {
    const struct fsp_review_rates *rates; /* of a fleet that this rig is part of; may be NULL */
    double rate;  /* then this one at every cut; the floor holds for both */
    bool changed; /* a sheave or the drum was changed after the newest row */
    bool plain;   /* without the yearly limit: to compare rules by */
};

/* Judge one rig's cuts, oldest first. */
void fsp_review_judge(const struct fsp_cut_row *const *rows, size_t n,
        const struct fsp_review_about *about, struct fsp_review *out);
/* The same by one rate. */
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
