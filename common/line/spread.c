#include "line/spread.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FENCE 1.5

static int
rising(const void *left, const void *right)
{
    const double *a = left;
    const double *b = right;

    return (*a > *b) - (*a < *b);
}

static double
quantile(const double *values, size_t n, double share)
{
    double place = share * (double)(n - 1);
    size_t below = (size_t)place;

    if (below + 1 >= n)
        return values[n - 1];
    return values[below] + (place - (double)below) * (values[below + 1] - values[below]);
}

void
fsp_spread(double *values, size_t n, struct fsp_spread *out)
{
    size_t kept = 0;

    memset(out, 0, sizeof(*out));
    for (size_t i = 0; i < n; i++)
        if (isfinite(values[i]))
            values[kept++] = values[i];
    if (kept == 0)
        return;
    qsort(values, kept, sizeof(values[0]), rising);
    out->n = kept;
    out->least = values[0];
    out->low = quantile(values, kept, 0.25);
    out->middle = quantile(values, kept, 0.50);
    out->high = quantile(values, kept, 0.75);
    out->most = values[kept - 1];
}

int
fsp_spread_apart(const struct fsp_spread *spread, double value)
{
    double width = spread->high - spread->low;

    if (spread->n < FSP_SPREAD_LEAST || !isfinite(value))
        return 0;
    if (value < spread->low - FENCE * width)
        return -1;
    return value > spread->high + FENCE * width ? 1 : 0;
}
