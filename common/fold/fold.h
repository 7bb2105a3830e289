/*
 * A rig's account from its logs: folded from a stored state where one helps, with every signature's
 * state, the same on both ends. It is the one place that decides which entries need reading.
 *
 * A store keeps states of the ledger (line/state.h) at cuts and at the end, and marks (marks.h).
 * All of it is derived: damaged, of other rules, of another roster or another history it is left
 * aside, and every entry is folded. A result never depends on what was stored.
 *
 * Which entries are read from a state on. Each is kept with the lowest index, per log, of an entry
 * whose `at` is at or after its from_s: from there on every entry is read, and so is every
 * amendment that may count, since it stands behind its entry in the log. Amendments in later logs
 * of the chain are read by their marks as soon as anything of an earlier log is.
 *
 * Signatures. The roster in force is a part of every state: another roster, or a countersignature
 * of anything but an inspection, throws all away. A signature is verified once and remembered in
 * the marks.
 *
 * Ownership: new/free; the store and the texts of `about` are borrowed for the call. The ledger
 * borrows the fold's records.
 * Units: seconds since 1970, entries.
 * Transactions: fsp_fold_new() and fsp_fold_check() must see one moment of the store; the caller
 * opens a read transaction around them. fsp_fold_keep() runs inside a write transaction of the
 * caller's, which it may throw away.
 * Threads: one fold, one thread.
 * Errors: the store's; FSP_ENOMEM, FSP_ELIMIT. An entry that cannot be read is counted.
 */
#ifndef FSP_FOLD_FOLD_H
#define FSP_FOLD_FOLD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "line/ledger.h"
#include "line/shown.h"
#include "line/steps.h"
#include "proof/key.h"
#include "record/record.h"
#include "record/sigstate.h"

/* A fold that read at least so many entries is worth keeping; below it reading them again costs
 * less than writing. House figure. */
#define FSP_FOLD_WORTH ((size_t)64)
#define FSP_FOLD_END   INT64_C(-1) /* `cuts` of the state at the end */

typedef enum fsp_rc fsp_fold_visit(
        void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err);
typedef enum fsp_rc fsp_fold_each(void *ctx, int64_t cuts, int64_t from_s, struct fsp_err *err);

/* Where entries and what is derived of them are kept; owner: one rig. */
struct fsp_fold_store {
    void *ctx;
    const char *owner;
    /* Entries within[0] .. within[1] - 1 of a log, in order. */
    enum fsp_rc (*scan)(void *ctx, int64_t log, const uint64_t within[2], fsp_fold_visit *visit,
            void *visit_ctx, struct fsp_err *err);
    /* Derived: FSP_ENOTFOUND when there is none. Bytes are appended. */
    enum fsp_rc (*marks)(
            void *ctx, const char *owner, struct fsp_buf *out, struct fsp_err *err);
    enum fsp_rc (*state)(void *ctx, const char *owner, int64_t cuts, struct fsp_buf *out,
            struct fsp_err *err);
    /* Every state there is, the latest first. */
    enum fsp_rc (*states)(void *ctx, const char *owner, fsp_fold_each *each, void *each_ctx,
            struct fsp_err *err);
    /* Writing; a state of the same number of cuts is replaced. */
    enum fsp_rc (*keep_marks)(
            void *ctx, const char *owner, const struct fsp_buf *bytes, struct fsp_err *err);
    enum fsp_rc (*keep_state)(void *ctx, const char *owner, const int64_t cuts_from[2],
            const struct fsp_buf *bytes, struct fsp_err *err);
    enum fsp_rc (*drop_state)(void *ctx, const char *owner, int64_t cuts, struct fsp_err *err);
};

/* One log of the chain of renewals, oldest first; its place is its ordinal. */
struct fsp_fold_log {
    int64_t id;    /* the store's own name */
    uint64_t size; /* entries that count */
};

struct fsp_fold_about {
    const char *fleet;
    const char *rig;
    const struct fsp_vkey *keys; /* instructions keys that count (proof/attest.h) */
    size_t n_keys;
    const struct fsp_fold_log *logs;
    size_t n_logs;
    int64_t as_of_s;
    size_t inspections;         /* so many of the newest are wanted */
    bool whole;                 /* leave stored states and marks aside */
    size_t worth;               /* keeping is worth while from so many on; 0: FSP_FOLD_WORTH */
    fsp_ledger_work_fn on_work; /* told of each entry of work that was read (line/shown.h) */
    void *on_work_ctx;
    /* Told of each entry that was folded (line/steps.h); of NULL first: what was told before a NULL
     * counts no more. */
    fsp_ledger_step_fn on_step;
    void *on_step_ctx;
    bool reach;      /* begin at or before since_s, so that on_step is told of all after it */
    int64_t since_s; /* what was folded before it may be told as well */
};

struct fsp_fold; /* opaque */

enum fsp_rc fsp_fold_new(const struct fsp_fold_store *store, const struct fsp_fold_about *about,
        struct fsp_fold **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_fold_free(struct fsp_fold *fold);
const struct fsp_ledger *fsp_fold_ledger(const struct fsp_fold *fold); /* peek */
uint64_t fsp_fold_entries(const struct fsp_fold *fold);                /* of all logs */
uint64_t fsp_fold_unreadable(const struct fsp_fold *fold);
size_t fsp_fold_read(const struct fsp_fold *fold); /* entries that had to be read */
/* Version of the roster in force; 0 when none came. */
uint64_t fsp_fold_roster(const struct fsp_fold *fold);

/* Keeping is worth while: something new would be kept. */
bool fsp_fold_worth(const struct fsp_fold *fold);
/* Keep marks and states, thin out old ones. Nothing is kept when the store has newer ones. */
enum fsp_rc fsp_fold_keep(const struct fsp_fold *fold, const struct fsp_fold_store *store,
        struct fsp_err *err) FSP_MUST_CHECK;

/* ---- inspections and who signed them ---- */

/* What a void of an inspection came to. */
enum fsp_fold_void {
    FSP_NOT_VOIDED = 0,
    FSP_VOIDED,   /* by an amendment that was countersigned by somebody on the roster */
    FSP_DISPUTED, /* by one that was not: the inspection still counts */
};

struct fsp_fold_countersign {
    uint32_t log;
    uint64_t index;
    const char *signer; /* peek */
    int64_t at_s;
    enum fsp_sig_state sig;
};

struct fsp_fold_inspection {
    uint32_t log;
    uint64_t index;
    int64_t at_s;
    enum fsp_sig_state sig;
    enum fsp_fold_void voided;
    const char *inspector; /* peek, NULL when it cannot be read; so the others */
    const char *reel;
    const char *scope;
    const char *decision;
    struct fsp_fold_countersign *by;
    size_t n_by;
};

/* i-th of the newest inspections, as many as were wanted, newest first; NULL past the end. Peek. */
const struct fsp_fold_inspection *fsp_fold_inspection(const struct fsp_fold *fold, size_t i);
size_t fsp_fold_inspections(const struct fsp_fold *fold); /* of the rig, wanted or not */
/* State of the signature of the inspection behind the ledger's i-th finding; false past the end. */
bool fsp_fold_finding_sig(const struct fsp_fold *fold, size_t i, enum fsp_sig_state *sig);

/* ---- what the logs say of one entry ---- */

enum fsp_fold_refers {
    FSP_REFERS_AMENDS = 0,
    FSP_REFERS_VOIDS,
    FSP_REFERS_COUNTERSIGNS,
};

/* An entry that names another one. */
struct fsp_fold_reference {
    enum fsp_fold_refers how;
    uint32_t log;
    uint64_t index;
    int64_t at_s;
    enum fsp_sig_state sig;
};

/* State of the entry's signature; false when its kind bears none. */
bool fsp_fold_entry_sig(
        const struct fsp_fold *fold, uint32_t log, uint64_t index, enum fsp_sig_state *sig);
/* The i-th entry that amends, voids or countersigns this one, in the order of the logs; false past the
 * end. */
bool fsp_fold_reference(const struct fsp_fold *fold, uint32_t log, uint64_t index, size_t i,
        struct fsp_fold_reference *out);

/* "signed by K. Ode" is not said here: only "signed, countersigned by K. Ode (signed)". One line,
 * appended, safe to show. */
void fsp_fold_say_signed(const struct fsp_fold_inspection *inspection, struct fsp_buf *buf);
/* [{"at":…,"countersigned":[…],"decision":…,"index":…,…},…] */
void fsp_fold_inspections_json(const struct fsp_fold *fold, struct fsp_buf *buf);
/* [{"signature":…,"text":…},…]: the ledger's open findings. */
void fsp_fold_findings_json(const struct fsp_fold *fold, struct fsp_buf *buf);
/* "voided", "disputed"; NULL when neither. Static. */
const char *fsp_fold_void_text(enum fsp_fold_void voided);

/* ---- check ---- */

struct fsp_fold_checked {
    size_t states;  /* held against a fold of every entry */
    size_t damaged; /* not to be read, of other rules, or no longer fitting */
    size_t differ;  /* to be read, yet with another result: a number could have been wrong */
};

/* Hold every stored state against a fold of every entry. Changes nothing. */
enum fsp_rc fsp_fold_check(const struct fsp_fold_store *store,
        const struct fsp_fold_about *about, struct fsp_fold_checked *checked,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Throw away everything kept of the owner; inside a write transaction. */
enum fsp_rc fsp_fold_forget(
        const struct fsp_fold_store *store, struct fsp_err *err) FSP_MUST_CHECK;

#endif
