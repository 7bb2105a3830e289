/*
 * What the office's service counts, as OpenMetrics text for GET /metrics (docs/protocol.md, 9).
 *
 * Ownership: values; the text is appended to the caller's buffer.
 * Units: in each name; counts since the service was started.
 * Threads: any.
 * Source: OpenMetrics 1.0.0 (names, types, units, the line that ends the text).
 */
#ifndef FSP_OFFICE_METRICS_H
#define FSP_OFFICE_METRICS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/buf.h"
#include "office/live.h"
#include "web/http.h"

#define FSP_METRICS_TYPE "application/openmetrics-text; version=1.0.0; charset=utf-8"

/* The statuses of answers to bundles; 429 comes from the server before the intake sees it. */
enum fsp_metrics_status {
    FSP_METRICS_200,
    FSP_METRICS_400,
    FSP_METRICS_403,
    FSP_METRICS_409,
    FSP_METRICS_413,
    FSP_METRICS_422,
    FSP_METRICS_503,
    FSP_METRICS_OTHER,
    FSP_METRICS_STATUSES,
};

struct fsp_metrics {
    struct fsp_http_stats intake;
    struct fsp_http_stats pages;
    uint64_t bundles[FSP_METRICS_STATUSES];
    uint64_t records;     /* new ones, committed */
    bool has_commit;      /* since the service was started */
    int64_t commit_age_s; /* of the last one */
    int64_t up_s;
    struct fsp_live_lag lag;       /* of the pages behind the receipts */
    int64_t lag_age_s;             /* of the oldest that waits */
    const struct fsp_fleet *fleet; /* its rigs one by one; NULL: not there yet */
    int64_t utc_s;                 /* now: what their ages are reckoned from */
};

enum fsp_metrics_status fsp_metrics_status(int status);
void fsp_metrics_text(const struct fsp_metrics *m, struct fsp_buf *out);

#endif
