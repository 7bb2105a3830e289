/*
 * When the next slip and cut fall due at the recent pace, how long the reel lasts, and whether the
 * next jobs can be done before the cut.
 *
 * Estimates, never more: the pace is the service counted a day over the last 14 days on which the
 * rig was not stacked (days without work included), the range is that of the slowest and the
 * fastest week among the last 30 of them. Nothing is said from fewer than 5 such days. Days are
 * those of UTC; the forecast starts at the newest record. All house figures, derived here.
 *
 * Ownership: values are copied out; texts of struct fsp_job_row are in the struct.
 * Units: seconds since 1970, joules a day. Threads: one ledger, one thread.
 * Errors: FSP_EINVAL with the job named, FSP_ENOMEM.
 */
#ifndef FSP_LINE_FORECAST_H
#define FSP_LINE_FORECAST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "record/record.h"

#define FSP_PACE_DAYS     30
#define FSP_PACE_RECENT   14
#define FSP_PACE_LEAST    5
#define FSP_JOBS_MAX      100
#define FSP_JOB_TEXT_MAX  160
#define FSP_FORECAST_NONE INT64_C(0)

/* A day with its range; 0 where it cannot be said (no goal; a week without work has no end). */
struct fsp_forecast_day {
    int64_t likely_s;
    int64_t earliest_s;
    int64_t latest_s;
};

struct fsp_forecast {
    bool known;      /* enough days, and a line at work */
    const char *why; /* why not; NULL when known. Static */
    size_t days;     /* the pace rests on */
    double pace_j;   /* service counted a day */
    double slow_j;   /* slowest week */
    double fast_j;   /* fastest week */
    double month_j;  /* over all days kept, at most 30 */
    bool stacked;    /* the pace is that of the days before */
    struct fsp_forecast_day cut;
    struct fsp_forecast_day slip;
    struct fsp_forecast_day reel; /* the cut that the line on the reel no longer gives */
    int cuts_left;                /* full programme cuts on the reel; -1 unknown */
};

/* One job of a plan. */
struct fsp_job_row {
    double work_j;
    double served_j;       /* this job */
    double after_j;        /* served since the last cut once it is done, planned cuts made */
    double factor;         /* usual fast-line design factor; 0 unknown */
    int slip_before;       /* slips of the programme that fall due with it */
    bool covered;          /* by what is left of the goal now */
    bool cut_before;       /* best place of a cut: before this job */
    bool more_than_a_goal; /* alone more than a whole goal: a cut falls within it */
    char text[FSP_JOB_TEXT_MAX];
};

struct fsp_plan {
    double left_j;     /* of the goal, before the first job */
    double goal_j;     /* of the cut after the next */
    size_t covered;    /* so many jobs from the first on need no cut */
    size_t cuts;       /* cuts the whole plan needs */
    size_t first_cut;  /* before this job (n: after the last) */
    int first_slip;    /* and at this slip since the last cut, counted from 1; 0 unknown */
    bool will_make_it; /* all jobs before the cut */
    char text[256];
};

struct fsp_ledger;

/* The forecast of the last fold. Peek. */
const struct fsp_forecast *fsp_ledger_forecast(const struct fsp_ledger *ledger);

/* Will it make it? jobs are work records (checked; `at` and `by` may be anything) in the order they
 * are to be done; rows n of the caller's. The ledger is not changed. Refused without a line, a goal
 * in force, or while the line is out of service: the text says which. */
enum fsp_rc fsp_forecast_jobs(const struct fsp_ledger *ledger,
        const struct fsp_record *const *jobs, size_t n, struct fsp_job_row *rows,
        struct fsp_plan *plan, struct fsp_err *err) FSP_MUST_CHECK;

/* The same as JSON: {"covered":…,"jobs":[…],…}, and as lines for a person. */
void fsp_forecast_jobs_json(const struct fsp_plan *plan, const struct fsp_job_row *rows,
        size_t n, struct fsp_buf *buf);
void fsp_forecast_jobs_text(const struct fsp_plan *plan, const struct fsp_job_row *rows,
        size_t n, struct fsp_buf *buf);

#endif
