/*
 * The rig's journal: the store folder, and everything that is ever appended to it.
 *
 * A store is one folder (mode 0700): journal.db, rig.key (0600), signed-size, link.lock, inbox/. It
 * holds a chain of logs: the current one, and those that renewals (renew.h) closed. Key and size
 * file of a later log are rig-INCARNATION.key and signed-size-INCARNATION.
 *
 * Appending needs no key and no lock: any process of the group may append at the same time.
 * journal.c opens with the invariants and the state table.
 *
 * Ownership: new/free by create, open and close; peeked values live until close.
 * Units: sizes and indices count entries; times are seconds since 1970 unless named _us.
 * Threads: one journal, one thread.
 * Errors: those of store/db.h; FSP_EFORMAT for a row that may not be added; FSP_EFORK when this
 * store is a restored copy or a fork of its log and may not be appended to.
 */
#ifndef FSP_RIG_JOURNAL_H
#define FSP_RIG_JOURNAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/clock.h"
#include "base/err.h"
#include "base/limits.h"
#include "proof/key.h"
#include "record/check.h"
#include "record/record.h"
#include "store/db.h"
#include "wire/invitation.h"

#define FSP_RIG_LOG         1 /* the store's own name for its first log */
#define FSP_INCARNATION_LEN 16
#define FSP_ONCE_MAX        128 /* bytes of a --once token */

enum fsp_journal_use {
    FSP_JOURNAL_READ,
    FSP_JOURNAL_WRITE,
};

enum fsp_journal_state {
    FSP_JOURNAL_SOUND,
    FSP_JOURNAL_RESTORED, /* less is stored than was once signed, or than the office holds */
    FSP_JOURNAL_FORKED,   /* a head signed by our key contradicts what is stored */
};

/* Who the current log is, and whom it answers. */
struct fsp_journal_about {
    char fleet[FSP_NAME_MAX + 1];
    char rig[FSP_NAME_MAX + 1];
    char incarnation[FSP_INCARNATION_LEN + 1];
    char origin[FSP_ORIGIN_MAX + 1];
    char url[FSP_URL_MAX + 1]; /* "" when there is only the courier */
    struct fsp_vkey vkey;      /* our own */
    struct fsp_vkey cosigner;
    struct fsp_vkey instructions;
    uint8_t box_pub[32];
    bool has_token; /* false: the log enrols by its renewal */
    uint8_t token[FSP_TOKEN_LEN];
    bool has_pins; /* of the office's TLS keys; meta "pin" and "pin-spare", hex */
    uint8_t pins[FSP_PINS][FSP_PIN_LEN];
};

struct fsp_journal; /* opaque */

/* Make a new store with a new key and a new incarnation. All of it or nothing: it is built beside
 * and renamed. An existing folder must be empty. */
enum fsp_rc fsp_journal_create(const char *folder, const struct fsp_invitation *invitation,
        const struct fsp_env *env, struct fsp_err *err) FSP_MUST_CHECK;
/* The same, and `more` does the rest before the store is moved to its place. */
typedef enum fsp_rc fsp_journal_fill(
        struct fsp_journal *journal, void *ctx, struct fsp_err *err);
enum fsp_rc fsp_journal_create_filled(const char *folder,
        const struct fsp_invitation *invitation, const struct fsp_env *env,
        fsp_journal_fill *more, void *ctx, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_journal_open(const char *folder, enum fsp_journal_use use,
        const struct fsp_env *env, struct fsp_journal **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_journal_close(struct fsp_journal *journal);

/* Peek; a renewal by another process changes what it says at the next append or head. */
const struct fsp_journal_about *fsp_journal_about(const struct fsp_journal *journal);

/* The logs of this store, the current one last. Readers that count (account, identity, ledger) go
 * over all of them: entries below size, ledger ordinal = place in the list. */
struct fsp_journal_log {
    int64_t id; /* for store/logtable.h */
    size_t ordinal;
    char origin[FSP_ORIGIN_MAX + 1];
    char incarnation[FSP_INCARNATION_LEN + 1]; /* `log` of an entry's name */
    struct fsp_vkey vkey;
    uint64_t size; /* entries that count; of a closed log more may be stored */
    uint64_t held; /* what the office holds of it, by its last verified word */
    bool current;
    bool went_back;
    char token[2 * FSP_TOKEN_LEN + 1]; /* hex; "": it enrols by its renewal */
};
/* *out has *n logs, at least one; the caller frees it. */
enum fsp_rc fsp_journal_logs(struct fsp_journal *journal, struct fsp_journal_log **out,
        size_t *n, struct fsp_err *err) FSP_MUST_CHECK;
/* The log with this origin or incarnation; FSP_ENOTFOUND. */
enum fsp_rc fsp_journal_log(struct fsp_journal *journal, const char *name,
        struct fsp_journal_log *out, struct fsp_err *err) FSP_MUST_CHECK;
/* The current log's id. */
int64_t fsp_journal_current(const struct fsp_journal *journal);

enum fsp_journal_state fsp_journal_state(const struct fsp_journal *journal);
/* One line that says why the state is not sound; "" when it is. Peek. */
const char *fsp_journal_state_why(const struct fsp_journal *journal);
/* "sound", "restored", "forked". Static. */
const char *fsp_journal_state_text(enum fsp_journal_state state);
/* Judge the state again from signed-size and the fork table (after a head or an answer). */
enum fsp_rc fsp_journal_rejudge(
        struct fsp_journal *journal, struct fsp_err *err) FSP_MUST_CHECK;

/* For the modules of this folder. Peek. */
struct fsp_db *fsp_journal_db(const struct fsp_journal *journal);
const struct fsp_env *fsp_journal_env(const struct fsp_journal *journal);
const char *fsp_journal_folder(const struct fsp_journal *journal);
/* The rig's secret key; the caller frees it. Only the signing side asks for it. */
enum fsp_rc fsp_journal_key(const struct fsp_journal *journal, struct fsp_skey **out,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Times typed without an offset are in the zone of the last `rig` record entered that names one;
 * this one (minutes east of UTC) is used instead. */
void fsp_journal_set_zone(struct fsp_journal *journal, int zone_minutes);
/* The zone of the last `rig` record entered; FSP_ENOTFOUND when none names one. */
enum fsp_rc fsp_journal_rig_zone(
        struct fsp_journal *journal, int *zone_minutes, struct fsp_err *err) FSP_MUST_CHECK;
/* What a check of typed records needs; borrows the journal. */
enum fsp_rc fsp_journal_context(struct fsp_journal *journal, struct fsp_check_context *context,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Called inside the transaction with the records that are new, in their order, before they are
 * appended; it may add computed fields, which are no part of a record's identity. NULL: nothing. */
typedef void fsp_journal_new(
        struct fsp_journal *journal, void *ctx, struct fsp_record *const *records, size_t n);
void fsp_journal_on_new(struct fsp_journal *journal, fsp_journal_new *fn, void *ctx);

/* How a row came in, and what became of it. */
struct fsp_journal_row {
    struct fsp_record *record; /* `noted` is set in it; stays the caller's */
    size_t line;               /* of its file, for messages; 0: not from a file */
};
struct fsp_journal_added {
    size_t added;
    size_t skipped;      /* already there: the k-th identical row is the k-th identical entry */
    uint64_t first;      /* index of the first added, in the current log */
    bool known;          /* enter: this --once token was used before; first is its entry */
    bool has_twin;       /* enter: an identical entry was there before */
    uint64_t twin;       /* its index */
    bool clock_doubtful; /* the clock is behind the last receipt or the last `noted` */
};

/* Add the rows of one file, all or none. A row that equals an entry in kind, at and op but differs
 * otherwise refuses the file, unless `also` is true or the file holds that entry's row too; two
 * rows of the file that share kind, at and op must differ in `tour` or `row`. */
enum fsp_rc fsp_journal_take(struct fsp_journal *journal, const struct fsp_journal_row *rows,
        size_t n, bool also, struct fsp_journal_added *added,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Add one record. `once` (may be NULL) adds it a single time however often it is sent. */
enum fsp_rc fsp_journal_enter(struct fsp_journal *journal, struct fsp_record *record,
        const char *once, bool also, struct fsp_journal_added *added,
        struct fsp_err *err) FSP_MUST_CHECK;
/* All that fsp_journal_enter() does, and nothing is kept: what would come of the record. */
enum fsp_rc fsp_journal_try(struct fsp_journal *journal, struct fsp_record *record,
        const char *once, bool also, struct fsp_journal_added *added,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Where the current log and the office stand. */
struct fsp_journal_progress {
    uint64_t size;  /* of the current log */
    uint64_t held;  /* what the office holds of it, by its last verified word */
    uint64_t older; /* entries of closed logs that the office lacks: they go first */
    bool receipted; /* at least one receipt came */
    uint64_t receipt_size;
    int64_t receipt_time_s; /* the newest cosignature's time; 0 without one */
    bool has_oldest;
    int64_t oldest_noted_s; /* of the oldest entry the office lacks */
    bool went_back;         /* the office once said it holds less than it had receipted */
};
enum fsp_rc fsp_journal_progress(struct fsp_journal *journal,
        struct fsp_journal_progress *progress, struct fsp_err *err) FSP_MUST_CHECK;
/* The same of one log of the chain; older is 0. */
enum fsp_rc fsp_journal_progress_of(struct fsp_journal *journal,
        const struct fsp_journal_log *log, struct fsp_journal_progress *progress,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The log to send from: the first closed one that the office lacks entries of, else the current. */
enum fsp_rc fsp_journal_sending(struct fsp_journal *journal, struct fsp_journal_log *out,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Inside a transaction: what the office holds of a log, and whether it once held more. */
enum fsp_rc fsp_journal_set_held(struct fsp_journal *journal, int64_t log, uint64_t held,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_journal_set_went_back(struct fsp_journal *journal, int64_t log, bool back,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Latest of clock, last noted, last receipt. */
enum fsp_rc fsp_journal_present(
        struct fsp_journal *journal, int64_t *present_s, struct fsp_err *err) FSP_MUST_CHECK;

/* A value of the meta table into out (appended); FSP_ENOTFOUND. Set runs inside a transaction. */
enum fsp_rc fsp_journal_meta(struct fsp_db *db, const char *key, struct fsp_buf *out,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_journal_set_meta(struct fsp_db *db, const char *key, const char *value,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_journal_set_meta_u64(
        struct fsp_db *db, const char *key, uint64_t value, struct fsp_err *err) FSP_MUST_CHECK;

#endif
