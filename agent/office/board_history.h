/*
 * What a rig's page tells of the past: service day by day, work by well, drill strings, programmes.
 * All of it from one fold of the rig's own logs that reaches back so far as is asked for; the
 * numbers are the fold's (line/steps.h).
 *
 * Ownership: load/free; texts are the history's. The shelf is borrowed for the call.
 * Units: seconds since 1970, joules, metres.
 * Threads: one shelf, one thread.
 * Errors: the shelf's, the fold's; FSP_ENOTFOUND (the rig has no log).
 */
#ifndef FSP_OFFICE_BOARD_HISTORY_H
#define FSP_OFFICE_BOARD_HISTORY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "fold/fold.h"
#include "office/shelf.h"

#define FSP_HISTORY_CUTS 6 /* without asking for more, it reaches back over so many */

/* How the count stood at the end of a day, or just before a cut. */
struct fsp_history_point {
    int64_t at_s;
    uint32_t log; /* the entry after which it stood so */
    uint64_t index;
    double since_cut_j;
    double goal_j; /* 0: none */
    bool cut;      /* the cut itself: since_cut_j is what was served at it */
};

/* A stretch of one well, in the order of time. */
struct fsp_history_well {
    const char *name; /* NULL: not given */
    const char *formation;
    int64_t from_s, to_s;
    uint64_t entries; /* of work */
    double work_j;
    double served_j;
    size_t cuts;
    double cut_m;
};

/* An entry with some of its fields as they count. */
#define FSP_HISTORY_TEXTS 7
struct fsp_history_entry {
    uint32_t log;
    uint64_t index;
    int64_t at_s;
    const char *texts[FSP_HISTORY_TEXTS]; /* NULL: not given */
    size_t cuts;                          /* made under it (programmes) */
};

struct fsp_history {
    int64_t since_s; /* points, wells and drill strings begin here; INT64_MIN: at the beginning */
    struct fsp_history_point *points;
    size_t n_points;
    struct fsp_history_well *wells;
    size_t n_wells;
    struct fsp_history_entry *strings; /* pipe, stand, bha-weight, bha-length, mud */
    size_t n_strings;
    /* cut, first-goal, later-goal, slips, basis, approved, credit-above; those in force at a cut and
     * those since since_s, oldest first */
    struct fsp_history_entry *programs;
    size_t n_programs;
    struct fsp_fold *fold; /* with its inspections */
    size_t cap_points, cap_wells, cap_strings, cap_programs;
    char **kept;
    size_t n_kept, cap_kept;
    enum fsp_rc rc;
};

struct fsp_history_about {
    const char *fleet;
    const char *rig;
    const struct fsp_vkey *keys;
    size_t n_keys;
    int64_t as_of_s;
    int64_t since_s; /* INT64_MIN: from the beginning */
    size_t inspections;
};

/* In one read transaction of its own. */
enum fsp_rc fsp_history_load(struct fsp_shelf *shelf, const struct fsp_history_about *about,
        struct fsp_history **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_history_free(struct fsp_history *history);
/* When the n-th last cut was made; INT64_MIN when there are fewer. */
int64_t fsp_history_since(const struct fsp_ledger *ledger, size_t cuts);

#endif
