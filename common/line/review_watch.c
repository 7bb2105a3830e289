/* The last eligible cuts of a rig, and the exact binomial tail they are judged by. */
#include <string.h>

#include "line/review_priv.h"

/* p to the n-th by multiplication: the same bits everywhere. */
static double
power(double p, size_t n)
{
    double value = 1;

    while (n-- > 0)
        value *= p;
    return value;
}

double
fsp_review_tail(size_t n, size_t k, double p)
{
    double sum = 0, ways = 1;
    size_t i;

    if (k == 0)
        return 1; /* the sum below is one or two units in the last place beside it */
    /* From the rarest case down, so that small terms are not lost; C(n, n) = 1. */
    for (i = n + 1; i-- > k;) {
        sum += ways * power(p, i) * power(1 - p, n - i);
        ways = ways * (double)i / (double)(n - i + 1);
    }
    return sum > 1 ? 1 : sum;
}

static bool
is_good(const struct fsp_cut_row *row)
{
    return !row->early && !row->low;
}

void
fsp_review_watch_cut(struct fsp_review_watch *watch, const struct fsp_cut_row *row)
{
    size_t i;

    for (i = FSP_REVIEW_MOST - 1; i > 0; i--)
        watch->cuts[i] = watch->cuts[i - 1];
    watch->cuts[0] = row;
    watch->have++;
    if (row->early)
        watch->good = 0;
    else if (is_good(row))
        watch->good++;
}

void
fsp_review_watch_change(struct fsp_review_watch *watch)
{
    memset(watch, 0, sizeof(*watch));
}

static size_t
held(const struct fsp_review_watch *watch)
{
    return watch->have < FSP_REVIEW_MOST ? watch->have : FSP_REVIEW_MOST;
}

bool
fsp_review_watch_close(struct fsp_review_watch *watch)
{
    size_t keep = 0, good = 0;

    if (!watch->open || watch->good < FSP_REVIEW_CLOSING)
        return false;
    watch->open = false;
    while (keep < held(watch) && good < FSP_REVIEW_CLOSING)
        good += is_good(watch->cuts[keep++]) ? 1 : 0;
    watch->have = keep;
    return true;
}

bool
fsp_review_watch_worth(const struct fsp_review_watch *watch)
{
    size_t early = 0, i;

    for (i = 0; i < held(watch); i++)
        early += watch->cuts[i]->early ? 1 : 0;
    return watch->have >= FSP_REVIEW_LEAST && early >= FSP_REVIEW_EARLY;
}

struct fsp_review_window
fsp_review_watch_pick(const struct fsp_review_watch *watch, double rate)
{
    struct fsp_review_window best = {0, 0, 1};
    size_t early = 0, i;

    for (i = 0; i < held(watch); i++) {
        double tail;

        early += watch->cuts[i]->early ? 1 : 0;
        if (i + 1 < FSP_REVIEW_LEAST)
            continue;
        tail = fsp_review_tail(i + 1, early, rate);
        if (best.cuts == 0 || tail < best.tail)
            best = (struct fsp_review_window){i + 1, early, tail};
    }
    return best;
}

bool
fsp_review_window_says(const struct fsp_review_window *window, size_t year)
{
    return window->early >= FSP_REVIEW_EARLY && window->tail <= FSP_REVIEW_TAIL &&
           window->tail * (double)year <= FSP_REVIEW_YEARLY;
}
