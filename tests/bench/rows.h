/*
 * The records of an invented rig, twenty a day: trips, drilling, tours, slips, a cut each week, an
 * inspection each day that an inspector of the roster signed.
 */
#ifndef FSP_TESTS_BENCH_ROWS_H
#define FSP_TESTS_BENCH_ROWS_H

#include <stdint.h>

#include "base/buf.h"
#include "proof/key.h"

#define ROWS_FLEET   "lantern-basin"
#define ROWS_PER_DAY 20
#define ROWS_BEGIN_S INT64_C(1451606400) /* 2016-01-01T00:00:00Z */

struct rows {
    const char *rig;
    const struct fsp_skey *office; /* instructions */
    struct fsp_skey *inspector;
};

/* The keys; the office's stays the caller's. */
void rows_init(struct rows *rows, const char *rig, const struct fsp_skey *office);
void rows_fini(struct rows *rows);
/* The i-th entry's bytes into out (emptied first). */
void rows_make(const struct rows *rows, size_t i, struct fsp_buf *out);

#endif
