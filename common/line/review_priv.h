/*
 * What the files of the review share: a rig's eligible cuts one after the other, and whether what they
 * say is more than chance.
 */
#ifndef FSP_LINE_REVIEW_PRIV_H
#define FSP_LINE_REVIEW_PRIV_H

#include "line/review.h"

#define FSP_REVIEW_CLOSING 3 /* good cuts in a row that close a flag */
#define FSP_REVIEW_EARLY   3 /* of a window, at the least */

/* Starts as zeroes. */
struct fsp_review_watch {
    const struct fsp_cut_row *cuts[FSP_REVIEW_MOST]; /* newest first */
    size_t have; /* eligible cuts that count, also those the list no longer holds */
    size_t good; /* in a row, the newest */
    bool open;   /* flagged */
};

struct fsp_review_window {
    size_t cuts;
    size_t early;
    double tail;
};

/* The next eligible cut. */
void fsp_review_watch_cut(struct fsp_review_watch *watch, const struct fsp_cut_row *row);
/* A sheave or the drum is another one: nothing before counts. */
void fsp_review_watch_change(struct fsp_review_watch *watch);
/* Close the flag when the newest cuts do; whether they did. The good ones go on counting. */
bool fsp_review_watch_close(struct fsp_review_watch *watch);
/* Whether there may be anything to say at all, whatever the rate. */
bool fsp_review_watch_worth(const struct fsp_review_watch *watch);
/* The window of 4 to 6 that chance at this rate explains least; 0 cuts when there are too few. */
struct fsp_review_window fsp_review_watch_pick(
        const struct fsp_review_watch *watch, double rate);
/* Whether that raises a flag; year: eligible cuts of the year up to then, 0: no yearly limit. */
bool fsp_review_window_says(const struct fsp_review_window *window, size_t year);

#endif
