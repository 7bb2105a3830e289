/*
 * What renew.c and renew_import.c share.
 */
#ifndef FSP_RIG_RENEW_PRIV_H
#define FSP_RIG_RENEW_PRIV_H

#include "rig/journal_priv.h"
#include "rig/renew.h"

/* Entries of one of our logs that are to be appended again. */
struct fsp_own {
    int64_t log;
    uint64_t from;
    uint64_t to;
};

/* An entry that the office has above the last common one, by its identity. */
struct fsp_theirs {
    uint8_t hash[FSP_IDENT_LEN];
    struct fsp_place place;
    bool met;
};

struct fsp_renewing {
    struct fsp_journal *journal;
    const struct fsp_renew_options *options;
    struct fsp_renew_report *report;
    /* The chain as it will be, without the new log. */
    struct fsp_journal_log *chain;
    size_t n_chain;
    size_t cap_chain;
    struct fsp_own *own;
    size_t n_own;
    size_t cap_own;
    struct fsp_theirs *theirs;
    size_t n_theirs;
    size_t cap_theirs;
    struct fsp_checkpoint
            from;      /* what the renewal names: the last log, and by a hand-back the size */
    int64_t first_new; /* logs from this id on came with the hand-back */
};

/* Take the hand-back into the chain, inside the open transaction: the office's version of each log,
 * verified; our own entries that it lacks into own; from when the last log is the office's. */
enum fsp_rc fsp_renew_import(struct fsp_renewing *renewing, struct fsp_err *err) FSP_MUST_CHECK;

/* Once all are there and before the first is met. */
void fsp_renew_sort(struct fsp_renewing *renewing);
/* The place of an entry of theirs with this identity that no entry of ours met yet. */
bool fsp_renew_meet(struct fsp_renewing *renewing, const uint8_t hash[FSP_IDENT_LEN],
        struct fsp_place *place);
/* The identity of an entry's bytes; of bytes that are no record, their leaf's beginning. key may be
 * "" then. */
enum fsp_rc fsp_renew_ident(const uint8_t *bytes, size_t len, struct fsp_ident *ident,
        struct fsp_record **record, struct fsp_err *err) FSP_MUST_CHECK;
/* What the journal remembers of an entry beside its identity: amended forms, the zone. The chain's
 * rows must be there. */
enum fsp_rc fsp_renew_forms(struct fsp_journal *journal, const struct fsp_place *place,
        const uint8_t *bytes, size_t len, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_renew_add_own(struct fsp_renewing *renewing, int64_t log, uint64_t from,
        uint64_t to, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_renew_add_chain(struct fsp_renewing *renewing,
        const struct fsp_journal_log *log, struct fsp_err *err) FSP_MUST_CHECK;

#endif
