/*
 * What `run` says: one line for each event (cli/logline.h), good news to standard output, the rest to
 * standard error.
 *
 *   start       log, size, pending, every-s
 *   took        file, added, there (rows that were in the log already)
 *   refused     file, why
 *   pushed      records, bundles, bytes, held (what the office holds now)
 *   instructions          n; instructions-ignored: n, why
 *   link        state=down, why, tries, next-s; state=up, down-s, tries
 *   day         state=used-up, bytes; state=new
 *   went-back   held: the office held less than it had receipted
 *   failed      what, why: ours; the next round tries again. state=good when it is over
 *   reload      file, taken, held; or file and why nothing was taken
 *   stop        sums since the start: records, bundles, bytes, files
 *
 * On the link's path a flapping link could say something every second: 20 lines at once, then one in
 * 5 minutes. What is not said is counted, and the next line has the sums and `unsaid`. A failure of
 * ours is said again when it is another one, or after an hour, and as often at most. No line holds a
 * key, a token, or what records say.
 *
 * Ownership: the caller's storage; holds no pointers.
 * Units: _us monotonic microseconds, _s seconds, bytes.
 * Threads: one.
 */
#ifndef FSP_RIG_RUNLOG_H
#define FSP_RIG_RUNLOG_H

#include <stdbool.h>
#include <stdint.h>

#include "base/err.h"
#include "cli/logline.h"
#include "rig/journal.h"
#include "rig/push.h"

struct fsp_runlog_sums {
    uint64_t records;
    uint64_t bundles;
    uint64_t bytes;
};

struct fsp_runlog {
    bool once;               /* one round: its failure is the command's, said at its end */
    struct fsp_lograte rate; /* of the link's path */
    uint64_t unsaid;         /* lines of it since the last one said */
    struct fsp_runlog_sums waiting; /* pushed, and not said yet */
    struct fsp_runlog_sums all;
    uint64_t files;
    uint64_t held;
    bool down; /* as last said or left out */
    bool said; /* that it is down */
    bool used_up;
    int64_t down_us;
    uint64_t tries; /* since it is down */
    char why[400];  /* of the last try */
    struct fsp_lograte failures;
    char failed[FSP_ERR_TEXT_MAX]; /* as last said; "" when all is well */
    int64_t failed_us;
};

void fsp_runlog_init(struct fsp_runlog *log, bool once);
void fsp_runlog_start(
        const char *origin, const struct fsp_journal_progress *progress, uint64_t every_s);
/* As the inbox's listener. */
void fsp_runlog_file(struct fsp_runlog *log, const char *name,
        const struct fsp_journal_added *added, const struct fsp_err *failed);
/* A round of the push: next NULL when it failed. */
void fsp_runlog_push(struct fsp_runlog *log, const struct fsp_push_report *report,
        const struct fsp_sync_action *next, int64_t now_us);
/* A failure of ours; and a round without one. */
void fsp_runlog_failure(
        struct fsp_runlog *log, const char *what, const char *why, int64_t now_us);
void fsp_runlog_good(struct fsp_runlog *log, int64_t now_us);
/* why NULL: it went well. */
void fsp_runlog_reload(const char *path, const char *taken, const char *held, const char *why);
void fsp_runlog_stop(const struct fsp_runlog *log);
/* Why the last try brought no receipt. Peek. */
const char *fsp_runlog_why(const struct fsp_runlog *log);

#endif
