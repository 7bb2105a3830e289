/*
 * How values spread: least, quarters, most, and which stand apart.
 *
 * Quantiles by straight lines between the ordered values (the common default: Hyndman and Fan 1996,
 * type 7). A value stands apart when it is more than one and a half times the middle half's width
 * beyond it (Tukey 1977); nothing is said of fewer than FSP_SPREAD_LEAST values.
 *
 * Ownership: values are the caller's and are put into order.
 * Units: as the values. Threads: pure. Errors: none.
 */
#ifndef FSP_LINE_SPREAD_H
#define FSP_LINE_SPREAD_H

#include <stddef.h>

#define FSP_SPREAD_LEAST ((size_t)5)

struct fsp_spread {
    size_t n; /* 0: all others are 0 */
    double least;
    double low; /* a quarter lies below */
    double middle;
    double high; /* a quarter lies above */
    double most;
};

/* Values that are not finite are left out. */
void fsp_spread(double *values, size_t n, struct fsp_spread *out);
/* -1: stands apart below, 1: above, 0: neither, or too few to say. */
int fsp_spread_apart(const struct fsp_spread *spread, double value);

#endif
