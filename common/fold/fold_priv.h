/*
 * The fold's insides, shared by fold.c (which way), fold_read.c (entries, signatures, marks),
 * fold_state.c (states stored) and fold_show.c (inspections).
 */
#ifndef FSP_FOLD_FOLD_PRIV_H
#define FSP_FOLD_FOLD_PRIV_H

#include "fold/fold.h"
#include "fold/marks.h"
#include "line/state.h"
#include "proof/attest.h"

#define FSP_FOLD_TRIES 4 /* states tried before every entry is read */

/* An entry that was read. */
struct fsp_seen {
    struct fsp_record *record; /* NULL: cannot be read */
    uint8_t *bytes;            /* of those that are signed, until they were judged */
    size_t len;
    int64_t at_s;
    uint64_t index;
    enum fsp_sig_state sig;
    bool has_at;
    uint8_t leaf[FSP_HASH_LEN];
};

/* Entries of one log that were read: those from `first` on, and single ones below it. */
struct fsp_part {
    uint64_t first, size;
    uint64_t marked;        /* entries that were marked before */
    struct fsp_seen *items; /* first .. size - 1 */
    size_t n, cap;
    struct fsp_seen *single;
    size_t n_single, cap_single;
};

/* A state on its way to the store. */
struct fsp_kept {
    int64_t cuts, from_s;
    struct fsp_buf state;
    uint64_t low[FSP_STATE_LOGS];
};

struct fsp_fold {
    struct fsp_fold_about about;
    struct fsp_fold_log *logs; /* own copy */
    size_t n_logs;
    struct fsp_part *parts; /* one a log */
    struct fsp_ledger *ledger;
    struct fsp_attest *attest;
    struct fsp_marks marks;
    struct fsp_marks before;    /* signatures verified once, when all is read again */
    uint8_t hash[FSP_HASH_LEN]; /* of rules, fleet, rig, keys */
    int64_t base_from_s;        /* of the state begun from; INT64_MIN: none */
    uint64_t roster_version;
    size_t read;  /* entries */
    size_t fresh; /* of them not marked before */
    bool reset;   /* what is stored fits no more */
    bool storing;
    bool lean; /* nothing is kept of this fold */
    struct fsp_kept *kept;
    size_t n_kept, cap_kept;
    size_t n_inspections;
    struct fsp_fold_inspection *inspections;
    size_t n_shown;
};

/* ---- fold_read.c ---- */

/* The hash of what marks and states are made under. */
void fsp_fold_hash(struct fsp_fold *fold);
/* Marks that are there and fit these logs; else new ones. */
enum fsp_rc fsp_fold_load_marks(struct fsp_fold *fold, const struct fsp_fold_store *store,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Read what is not marked, judge its signatures, mark it. FSP_EAGAIN: the roster changed, or an
 * older entry was countersigned: begin anew. */
enum fsp_rc fsp_fold_read_news(struct fsp_fold *fold, const struct fsp_fold_store *store,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Read marked entries of a log from `low` on. */
enum fsp_rc fsp_fold_read_down(struct fsp_fold *fold, const struct fsp_fold_store *store,
        uint32_t log, uint64_t low, struct fsp_err *err) FSP_MUST_CHECK;
/* One entry: from what was read, else from the store. Peek; NULL in *out when there is none. */
enum fsp_rc fsp_fold_read_one(struct fsp_fold *fold, const struct fsp_fold_store *store,
        uint32_t log, uint64_t index, struct fsp_seen **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_fold_parts_free(struct fsp_fold *fold);
/* The entry that a record names in `entry`: false when it names none. */
bool fsp_fold_named(const struct fsp_record *record, uint64_t *index, uint8_t leaf[32]);

/* ---- fold_state.c ---- */

/* From the newest stored state that fits, else from nothing. */
enum fsp_rc fsp_fold_best(struct fsp_fold *fold, const struct fsp_fold_store *store,
        struct fsp_err *err) FSP_MUST_CHECK;
/* A ledger begun from one stored state, over what was read from its lows on. FSP_EFORMAT: not to be
 * used; FSP_EAGAIN: an older one. */
enum fsp_rc fsp_fold_from(struct fsp_fold *fold, const struct fsp_fold_store *store,
        int64_t cuts, struct fsp_ledger **out, struct fsp_err *err) FSP_MUST_CHECK;

/* ---- fold_show.c ---- */

enum fsp_rc fsp_fold_collect(struct fsp_fold *fold, const struct fsp_fold_store *store,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_fold_shown_free(struct fsp_fold *fold);

#endif
