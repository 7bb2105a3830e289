/*
 * The fleet as the shelf holds it: the logs of each rig merged, folded and reviewed.
 *
 * A rig's logs are one chain in the order of enrolment. Every entry that reads goes to the ledger,
 * every other is counted; nothing is dropped. The base rate for repeated early cuts is taken
 * from the other rigs' eligible cuts of the last twelve months on rope of the same size (the
 * review never uses less than 3 %).
 *
 * Ownership: load/free; everything inside is the fleet's.
 * Units: times in seconds since 1970; sizes count entries. The ledger's view is SI.
 * Threads: one fleet, one thread.
 * Errors: FSP_ENOMEM, FSP_EIO, FSP_ECORRUPT, FSP_ENOTFOUND (no such rig).
 */
#ifndef FSP_OFFICE_FLEET_H
#define FSP_OFFICE_FLEET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "line/ledger.h"
#include "line/review.h"
#include "office/shelf.h"
#include "record/record.h"

#define FSP_FLEET_RATE_DAYS 365 /* the twelve months of the base rate */

struct fsp_fleet_log {
    struct fsp_shelf_log log;
    uint64_t size;
    uint8_t root[FSP_HASH_LEN];
    size_t forks; /* heads that contradict it, kept as evidence */
};

/* What needs attention first, in this order. */
enum fsp_attention {
    FSP_ATTENTION_OUT_OF_SERVICE = 0,
    FSP_ATTENTION_FORK,
    FSP_ATTENTION_OVERDUE,
    FSP_ATTENTION_DUE,
    FSP_ATTENTION_EARLY_CUTS,
    FSP_ATTENTION_OTHER_FLAG,
    FSP_ATTENTION_SOON,
    FSP_ATTENTION_UNKNOWN,
    FSP_ATTENTION_NONE,
};

struct fsp_fleet_rig {
    char name[FSP_NAME_MAX + 1];
    struct fsp_fleet_log *logs; /* [n_logs - 1] is the current one */
    size_t n_logs;
    struct fsp_record **records;
    size_t n_records;
    size_t cap_records;
    struct fsp_ledger *ledger; /* folded at the fleet's as_of */
    const struct fsp_cut_row **cuts;
    size_t n_cuts;
    struct fsp_review review;
    uint64_t entries;
    uint64_t unreadable;
    size_t forks;
    int64_t heard_s; /* newest cosignature of any of its logs; 0: never heard */
    enum fsp_attention attention;
};

struct fsp_fleet {
    char name[FSP_NAME_MAX + 1];
    int64_t as_of_s;
    struct fsp_fleet_rig *rigs; /* by name */
    size_t n;
};

/* Read, merge and fold everything in one read transaction. */
enum fsp_rc fsp_fleet_load(struct fsp_shelf *shelf, int64_t as_of_s, struct fsp_fleet **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_fleet_free(struct fsp_fleet *fleet);

/* NULL when there is no such rig. Peek. */
const struct fsp_fleet_rig *fsp_fleet_find(const struct fsp_fleet *fleet, const char *name);
/* Put pointers to all rigs into order: what needs attention first, then by name. out holds n. */
void fsp_fleet_by_attention(const struct fsp_fleet *fleet, const struct fsp_fleet_rig **out);
/* The current log, NULL before the first one is enrolled. Peek. */
const struct fsp_fleet_log *fsp_fleet_current(const struct fsp_fleet_rig *rig);
/* Why the rig stands where it does, besides the due state: forks, flags. "" when nothing. */
void fsp_fleet_flag_text(const struct fsp_fleet_rig *rig, struct fsp_buf *buf);

#endif
