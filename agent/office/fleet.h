/*
 * The fleet as the shelf holds it: the logs of each rig merged, folded and reviewed.
 *
 * A rig's logs are one chain (chain.h). Every entry that reads counts in the ledger, every other is
 * counted as such; nothing is dropped. Each rig is folded from what an earlier fold left on the
 * shelf where that helps (fold/fold.h); what is worth keeping is kept afterwards. Repeated early
 * cuts are judged by the other rigs' cuts on rope of the same size (line/review.h).
 *
 * A fleet is made in two steps: each rig's account alone, which costs a fold, then all accounts
 * judged beside each other, which costs next to nothing. Accounts and judged rigs are shared between
 * fleets and counted; once made they never change.
 *
 * Ownership: load, judge and read give one hold to the caller; free and release let go of one.
 * Everything inside lives as long as the fleet. What `about` points to is borrowed for the call.
 * Units: times in seconds since 1970; sizes count entries. The ledger's view is SI.
 * Threads: what is made is read by any thread; hold, free and release from any thread. Reading an
 * account takes a shelf of one's own.
 * Errors: FSP_ENOMEM, FSP_EIO, FSP_ECORRUPT, FSP_ENOTFOUND (no such rig).
 */
#ifndef FSP_OFFICE_FLEET_H
#define FSP_OFFICE_FLEET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "fold/fold.h"
#include "line/ledger.h"
#include "line/review.h"
#include "office/chain.h"
#include "office/shelf.h"
#include "proof/key.h"

struct fsp_fleet_log {
    struct fsp_shelf_log log;
    struct fsp_chain_log chain; /* what it continues, what continues it */
    uint64_t size;
    uint8_t root[FSP_HASH_LEN];
    size_t forks; /* heads that contradict it, kept as evidence */
};

/* What is wanted. */
struct fsp_fleet_about {
    int64_t as_of_s;
    const struct fsp_vkey *keys; /* the office's instructions keys (proof/attest.h) */
    size_t n_keys;
    const char *rig;    /* whose inspections are wanted; NULL: every rig's */
    size_t inspections; /* so many of a rig, the newest first; 0: none */
    bool whole;         /* leave aside what earlier folds left */
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

struct fsp_flag; /* office/flags.h */

struct fsp_fleet_rig {
    char name[FSP_NAME_MAX + 1];
    int64_t as_of_s;            /* its account's, at or before the fleet's */
    struct fsp_fleet_log *logs; /* [n_logs - 1] is the current one */
    size_t n_logs;
    struct fsp_fold *fold;
    const struct fsp_ledger *ledger; /* the fold's, at as_of_s */
    const struct fsp_cut_row **cuts;
    size_t n_cuts;
    uint64_t cuts_sum;        /* differs whenever a review of its cuts may */
    struct fsp_review review; /* judged beside the others from here on */
    struct fsp_advice advice[FSP_ADVICE_MAX];
    size_t n_advice;
    uint64_t entries;
    uint64_t unreadable;
    size_t forks;      /* of all its logs */
    size_t open_forks; /* of those that no renewal closed */
    size_t renewals;   /* that a keeper should look at */
    bool renewals_odd; /* one of them is a second one, or names what is not held */
    int64_t heard_s;   /* newest cosignature of any of its logs; 0: never heard */
    int64_t rhythm_s;  /* its usual longest silence (flags.h); 0: not known */
    enum fsp_attention attention;
    const struct fsp_flag *flags; /* the gravest first, none acknowledged */
    size_t n_flags;
    struct fsp_fleet_account *account;
    struct fsp_fleet_judged *judged; /* this one's own count */
};

struct fsp_fleet {
    char name[FSP_NAME_MAX + 1];
    int64_t as_of_s;
    const struct fsp_fleet_rig **rigs; /* by name */
    size_t n;
    size_t waiting; /* rigs of this fleet that were not read yet: it is still filling */
    struct fsp_fleet_counted *counted;
};

/* Read, merge and fold everything in one read transaction; then keep what is worth it. */
enum fsp_rc fsp_fleet_load(struct fsp_shelf *shelf, const struct fsp_fleet_about *about,
        struct fsp_fleet **out, struct fsp_err *err) FSP_MUST_CHECK;
/* Another hold on it; free lets go of one. */
const struct fsp_fleet *fsp_fleet_hold(const struct fsp_fleet *fleet);
void fsp_fleet_free(const struct fsp_fleet *fleet);

/* One rig alone, within the caller's read transaction. about->rig does not choose it. */
enum fsp_rc fsp_fleet_read(struct fsp_shelf *shelf, const struct fsp_fleet_about *about,
        const char *fleet, const char *rig, struct fsp_fleet_account **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_fleet_release(struct fsp_fleet_account *account);
/* The rig as far as it goes without the others. Peek. */
const struct fsp_fleet_rig *fsp_fleet_peek(const struct fsp_fleet_account *account);
/* Keep what is worth it; outside a transaction. Best effort; false: somebody else writes just now. */
bool fsp_fleet_keep(struct fsp_shelf *shelf, const struct fsp_fleet_account *account);

/* Accounts judged beside each other. Rigs that `before` (may be NULL) judged the same are shared. */
struct fsp_fleet_judging {
    const char *name;
    int64_t as_of_s;
    struct fsp_fleet_account *const *accounts; /* by name; each is held by the fleet too */
    size_t n;
    const struct fsp_fleet *before;
};
enum fsp_rc fsp_fleet_judge(const struct fsp_fleet_judging *what, struct fsp_fleet **out,
        struct fsp_err *err) FSP_MUST_CHECK;

struct fsp_desk; /* office/desk.h */

/* Fill in who acknowledged the rigs' flags. Only before anybody else holds the fleet or its rigs. */
enum fsp_rc fsp_fleet_seen(
        struct fsp_fleet *fleet, struct fsp_desk *desk, struct fsp_err *err) FSP_MUST_CHECK;

/* NULL when there is no such rig. Peek. */
const struct fsp_fleet_rig *fsp_fleet_find(const struct fsp_fleet *fleet, const char *name);
/* Put pointers to all rigs into order: what needs attention first, then by name. out holds n. */
void fsp_fleet_by_attention(const struct fsp_fleet *fleet, const struct fsp_fleet_rig **out);
/* The current log, NULL before the first one is enrolled. Peek. */
const struct fsp_fleet_log *fsp_fleet_current(const struct fsp_fleet_rig *rig);
/* Whether a keeper should look at the log's renewal: not confirmed, unfit, or a second one. */
bool fsp_fleet_renewal_open(const struct fsp_fleet_log *log);
/* Why the rig stands where it does, besides the due state: forks, flags. "" when nothing. */
void fsp_fleet_flag_text(const struct fsp_fleet_rig *rig, struct fsp_buf *buf);

#endif
