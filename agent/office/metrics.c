#include "office/metrics.h"

#include <inttypes.h>

static const char *const status_names[FSP_METRICS_STATUSES] = {
        "200", "400", "403", "409", "413", "422", "503", "other"};

enum fsp_metrics_status
fsp_metrics_status(int status)
{
    static const int statuses[] = {200, 400, 403, 409, 413, 422, 503};

    for (unsigned i = 0; i < sizeof(statuses) / sizeof(statuses[0]); i++)
        if (statuses[i] == status)
            return (enum fsp_metrics_status)i;
    return FSP_METRICS_OTHER;
}

/* The lines before a family's samples. */
static void
family(struct fsp_buf *out, const char *name, const char *type, const char *unit,
        const char *help)
{
    fsp_buf_printf(out, "# TYPE %s %s\n", name, type);
    if (unit != NULL)
        fsp_buf_printf(out, "# UNIT %s %s\n", name, unit);
    fsp_buf_printf(out, "# HELP %s %s\n", name, help);
}

/* One family with a sample for each listener. */
static void
both(struct fsp_buf *out, const char *name, const char *unit, const char *help,
        const uint64_t values[2])
{
    static const char *const listeners[2] = {"intake", "pages"};

    family(out, name, "counter", unit, help);
    for (unsigned i = 0; i < 2; i++)
        fsp_buf_printf(
                out, "%s_total{listener=\"%s\"} %" PRIu64 "\n", name, listeners[i], values[i]);
}

static void
gauges(struct fsp_buf *out, const struct fsp_metrics *m)
{
    family(out, "farspool_connections", "gauge", NULL, "Connections open now.");
    fsp_buf_printf(
            out, "farspool_connections{listener=\"intake\"} %zu\n", m->intake.connections);
    fsp_buf_printf(out, "farspool_connections{listener=\"pages\"} %zu\n", m->pages.connections);
    family(out, "farspool_queued_bundles", "gauge", NULL,
            "Bundles that are whole and wait for their turn.");
    fsp_buf_printf(out, "farspool_queued_bundles %zu\n", m->intake.queued);
    family(out, "farspool_held_bytes", "gauge", "bytes",
            "Bytes of bundles held in memory now.");
    fsp_buf_printf(out, "farspool_held_bytes %zu\n", m->intake.body_bytes);
    family(out, "farspool_up_seconds", "gauge", "seconds", "Time since the service started.");
    fsp_buf_printf(out, "farspool_up_seconds %" PRId64 "\n", m->up_s);
    family(out, "farspool_lagging_records", "gauge", NULL,
            "Records committed and not on the pages yet.");
    fsp_buf_printf(out, "farspool_lagging_records %" PRIu64 "\n", m->lag.entries);
    family(out, "farspool_lagging_rigs", "gauge", NULL,
            "Rigs with something that is not on the pages yet.");
    fsp_buf_printf(out, "farspool_lagging_rigs %zu\n", m->lag.rigs);
    family(out, "farspool_lag_age_seconds", "gauge", "seconds",
            "Since when the oldest of them waits; 0 when nothing does.");
    fsp_buf_printf(out, "farspool_lag_age_seconds %" PRId64 "\n", m->lag_age_s);
    family(out, "farspool_shown_rigs", "gauge", NULL, "Rigs on the pages.");
    fsp_buf_printf(out, "farspool_shown_rigs %zu\n", m->lag.rigs_read);
    family(out, "farspool_reading_failed", "gauge", NULL,
            "1 when the store could not be read for the pages, which are older than it then.");
    fsp_buf_printf(out, "farspool_reading_failed %d\n", m->lag.failed ? 1 : 0);
    if (!m->has_commit)
        return;
    family(out, "farspool_commit_age_seconds", "gauge", "seconds",
            "Time since records were last committed; not there before the first.");
    fsp_buf_printf(out, "farspool_commit_age_seconds %" PRId64 "\n", m->commit_age_s);
}

/* One family with a sample for each rig that has the time. */
static void
ages(struct fsp_buf *out, const struct fsp_metrics *m, const char *name, const char *help,
        int64_t (*at)(const struct fsp_fleet_rig *rig))
{
    family(out, name, "gauge", "seconds", help);
    for (size_t i = 0; i < m->fleet->n; i++) {
        const struct fsp_fleet_rig *rig = m->fleet->rigs[i];
        int64_t age_s = m->utc_s - at(rig);

        if (at(rig) != 0)
            fsp_buf_printf(out, "%s{rig=\"%s\"} %" PRId64 "\n", name, rig->name,
                    age_s > 0 ? age_s : 0);
    }
}

static int64_t
heard_at(const struct fsp_fleet_rig *rig)
{
    return rig->heard_s;
}

static int64_t
newest_at(const struct fsp_fleet_rig *rig)
{
    return fsp_ledger_peek(rig->ledger)->last_at_s;
}

static void
rigs(struct fsp_buf *out, const struct fsp_metrics *m)
{
    ages(out, m, "farspool_rig_heard_age_seconds",
            "Time since a rig's newest receipt. What it has not sent is not known here: that "
            "is in "
            "farspool-rig line.",
            heard_at);
    ages(out, m, "farspool_rig_newest_record_age_seconds",
            "Age of the newest record held of a rig, by its own time.", newest_at);
    family(out, "farspool_rig_entries", "gauge", NULL, "Entries held of a rig.");
    for (size_t i = 0; i < m->fleet->n; i++)
        fsp_buf_printf(out, "farspool_rig_entries{rig=\"%s\"} %" PRIu64 "\n",
                m->fleet->rigs[i]->name, m->fleet->rigs[i]->entries);
}

void
fsp_metrics_text(const struct fsp_metrics *m, struct fsp_buf *out)
{
    const struct fsp_http_stats *a = &m->intake;
    const struct fsp_http_stats *b = &m->pages;

    family(out, "farspool_bundles", "counter", NULL,
            "Bundles answered, by HTTP status; 429 is counted as a refused request.");
    for (unsigned i = 0; i < FSP_METRICS_STATUSES; i++)
        fsp_buf_printf(out, "farspool_bundles_total{status=\"%s\"} %" PRIu64 "\n",
                status_names[i], m->bundles[i]);
    family(out, "farspool_records", "counter", NULL, "New records committed.");
    fsp_buf_printf(out, "farspool_records_total %" PRIu64 "\n", m->records);
    both(out, "farspool_requests", NULL, "Requests answered.",
            (const uint64_t[2]){a->requests, b->requests});
    both(out, "farspool_refused_requests", NULL, "Requests refused with 429: too many at once.",
            (const uint64_t[2]){a->refused, b->refused});
    both(out, "farspool_accepted_connections", NULL, "Connections accepted.",
            (const uint64_t[2]){a->accepted, b->accepted});
    both(out, "farspool_cut_connections", NULL,
            "Connections cut because a request took too long.",
            (const uint64_t[2]){a->cut, b->cut});
    both(out, "farspool_evicted_connections", NULL,
            "Connections closed to make room for others.",
            (const uint64_t[2]){a->evicted, b->evicted});
    both(out, "farspool_received_bytes", "bytes", "Bytes of request bodies taken in.",
            (const uint64_t[2]){a->bytes_in, b->bytes_in});
    both(out, "farspool_sent_bytes", "bytes", "Bytes of answers, without their headers.",
            (const uint64_t[2]){a->bytes_out, b->bytes_out});
    gauges(out, m);
    if (m->fleet != NULL)
        rigs(out, m);
    fsp_buf_add_text(out, "# EOF\n");
}
