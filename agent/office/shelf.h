/*
 * The shelf: what the office keeps of its fleet, behind a small struct of functions.
 *
 * rigs, invitations, logs, their entries and cosigned heads, and the evidence of forks. Entries,
 * heads and forks are append-only. One contract test (tests/unit/office/shelf_test.c) holds for
 * every backend; SQLite is the embedded default.
 *
 * Ownership: new by fsp_shelf_open(), free by fsp_shelf_close(); outputs go to the caller; output
 * buffers are emptied first.
 * Units: sizes and indexes count entries; times are seconds since 1970.
 * Threads: one shelf, one thread at a time; any number of shelves and processes on one store.
 * Transactions: functions marked W must run between begin(write) and commit. begin(write) takes
 * the store's lock, commit and rollback release it.
 * Errors: FSP_ENOTFOUND where said; FSP_EBUSY when another writer does not end within 5 s; FSP_EIO;
 * FSP_ECORRUPT; FSP_EFORMAT (no store, or made by a newer version); FSP_ENOMEM. After a failed commit
 * broken() is true: fsp_shelf_reopen() and verify before going on.
 */
#ifndef FSP_OFFICE_SHELF_H
#define FSP_OFFICE_SHELF_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "base/limits.h"
#include "fold/fold.h"
#include "proof/instruction.h"
#include "proof/tree.h"
#include "wire/bundle.h"

#define FSP_SHELF_VERSION 10u
#define FSP_MARK_LEN      32 /* of an invitation's token: its hash, so that the shelf cannot enrol */

enum fsp_shelf_access {
    FSP_SHELF_CREATE, /* refuses a store that is there */
    FSP_SHELF_WRITE,
    FSP_SHELF_READ,
};

struct fsp_shelf_invitation {
    char rig[FSP_NAME_MAX + 1];
    int64_t issued_s;
    bool used;
};

struct fsp_shelf_log {
    int64_t id; /* rises in the order of enrolment */
    char rig[FSP_NAME_MAX + 1];
    char origin[FSP_ORIGIN_MAX + 1];
    uint8_t pub[32];
    uint8_t mark[FSP_MARK_LEN]; /* of the token it enrolled with */
    int64_t enrolled_s;
    int64_t heard_s; /* newest cosignature, 0: none */
};

/* Two histories for one log: what we held and what came. */
struct fsp_shelf_fork {
    int64_t log;
    int64_t seen_s;
    uint64_t size; /* of the head that came */
    bool has_differs;
    uint64_t differs; /* first index whose bytes differ */
    const char *held; /* notes and entry; borrowed by fork_add, in `store` after fork_next */
    size_t held_len;
    const char *came;
    size_t came_len;
    const uint8_t *entry; /* the entry that came at `differs` */
    size_t entry_len;
};

/* How a renewal was taken. */
enum fsp_renewal_how {
    FSP_RENEWAL_PROVED = 0,  /* by the old key's signature */
    FSP_RENEWAL_INVITED = 1, /* by an invitation: not proved by the old key */
    FSP_RENEWAL_UNFIT = 2,   /* by an invitation, but what it names is not what is held here */
};

/* A log that continues another one of its rig. */
struct fsp_shelf_renewal {
    int64_t log;  /* the new one */
    int64_t from; /* the old one, closed since; 0: unfit */
    uint64_t from_size;
    uint8_t from_root[FSP_HASH_LEN];
    uint64_t
            closed_size; /* entries of the old one that were held then: no more are added to it */
    enum fsp_renewal_how how;
    uint8_t proof[FSP_SIG_LEN]; /* when proved */
    int64_t seen_s;
    bool confirmed; /* a keeper looked at it and said that it is right */
    int64_t confirmed_s;
    char confirmed_by[FSP_NAME_MAX + 1];
};

/* What was written to a rig. */
struct fsp_shelf_instruction {
    int64_t seq; /* the office's own order; set by the shelf */
    char rig[FSP_NAME_MAX + 1];
    uint8_t id[FSP_INSTRUCTION_ID_LEN];
    enum fsp_instruction_about about;
    int64_t made_s;
    const char *note; /* the signed note; into the caller's store */
    size_t note_len;
};

/* Which entry of a rig's log is an instruction, by its id; derived from the entries. */
struct fsp_shelf_instruction_place {
    int64_t seq; /* in the order they came; set by the shelf */
    int64_t log;
    uint64_t index;
    uint8_t id[FSP_INSTRUCTION_ID_LEN];
};

/* What is asked for of those that a rig lacks: the next behind `after` (0: the first). */
struct fsp_shelf_wait {
    const char *rig;
    const uint8_t *newest; /* id of the newest in its log by its own word; NULL: none */
    int64_t after;
};

/* Somebody else who cosigns heads: a client, a regulator. */
struct fsp_shelf_witness {
    char name[FSP_NAME_MAX + 1]; /* a word of the policies */
    char vkey[FSP_VKEY_MAX];
    int64_t added_s;
};

/* Its signature line for a kept head, with its final LF. */
struct fsp_shelf_cosignature {
    int64_t log;
    uint64_t size;
    const char *witness; /* borrowed */
    const char *line;    /* borrowed */
    int64_t taken_s;
};

/* What is held of a rig, so that it differs whenever the rig must be read again. */
struct fsp_shelf_stamp {
    char rig[FSP_NAME_MAX + 1];
    uint64_t logs;
    uint64_t entries; /* of all logs */
    uint64_t forks;
    uint64_t confirmed; /* renewals */
    int64_t heard_s;
};

typedef enum fsp_rc fsp_shelf_stamp_visit(
        void *ctx, const struct fsp_shelf_stamp *stamp, struct fsp_err *err);
typedef enum fsp_rc fsp_shelf_visit(
        void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err);

struct fsp_shelf_ops {
    uint32_t version;
    const char *name;

    enum fsp_rc (*open)(
            const char *store, enum fsp_shelf_access access, void **ctx, struct fsp_err *err);
    void (*close)(void *ctx);
    bool (*broken)(const void *ctx);
    enum fsp_rc (*begin)(void *ctx, bool write, struct fsp_err *err);
    enum fsp_rc (*commit)(void *ctx, struct fsp_err *err);
    void (*rollback)(void *ctx); /* no-op outside a transaction */
    /* W. Remember this moment; go back to it, which stays remembered; forget it, keeping what was
     * written. One moment at a time. A failure of any: the transaction is lost, roll back. */
    enum fsp_rc (*save)(void *ctx, struct fsp_err *err);
    enum fsp_rc (*undo)(void *ctx, struct fsp_err *err);
    enum fsp_rc (*unsave)(void *ctx, struct fsp_err *err);
    /* Fold what was written into the main file when it is worth while, or all of it when `whole`.
     * Outside a transaction. */
    enum fsp_rc (*tidy)(void *ctx, bool whole, struct fsp_err *err);
    /* Put a copy of the whole store as it stands, a store of its own, into this folder (which holds
     * none). Waits for no writer and keeps none waiting. Outside a transaction. */
    enum fsp_rc (*copy)(void *ctx, const char *folder, struct fsp_err *err);
    /* The backend's own integrity check. */
    enum fsp_rc (*check)(void *ctx, struct fsp_err *err);

    /* W. The fleet's name is set once. */
    enum fsp_rc (*set_fleet)(void *ctx, const char *fleet, struct fsp_err *err);
    enum fsp_rc (*fleet)(void *ctx, char fleet[FSP_NAME_MAX + 1], struct fsp_err *err);
    /* The first rig by name after `after` ("" for the first of all); FSP_ENOTFOUND at the end. */
    enum fsp_rc (*next_rig)(
            void *ctx, const char *after, char rig[FSP_NAME_MAX + 1], struct fsp_err *err);

    /* W. Adds the rig when it is new. */
    enum fsp_rc (*invite)(void *ctx, const char *rig, const uint8_t mark[FSP_MARK_LEN],
            int64_t issued_s, struct fsp_err *err);
    enum fsp_rc (*invitation)(void *ctx, const uint8_t mark[FSP_MARK_LEN],
            struct fsp_shelf_invitation *out, struct fsp_err *err);
    /* W. Binds log->mark (which must be invited and unused) to log->origin and log->pub for ever;
     * fills in id. FSP_EINVAL when mark, origin or key are used already. */
    enum fsp_rc (*enrol)(void *ctx, struct fsp_shelf_log *log, struct fsp_err *err);
    enum fsp_rc (*find_log)(
            void *ctx, const char *origin, struct fsp_shelf_log *out, struct fsp_err *err);
    /* The first log enrolled after log `after` (0 for the first); FSP_ENOTFOUND at the end. */
    enum fsp_rc (*next_log)(
            void *ctx, int64_t after, struct fsp_shelf_log *out, struct fsp_err *err);

    /* The same of one rig's logs. */
    enum fsp_rc (*next_log_of)(void *ctx, const char *rig, int64_t after,
            struct fsp_shelf_log *out, struct fsp_err *err);
    /* FSP_ENOTFOUND when there is no such rig. */
    enum fsp_rc (*stamp)(
            void *ctx, const char *rig, struct fsp_shelf_stamp *out, struct fsp_err *err);
    /* Of every rig, by name. */
    enum fsp_rc (*stamps)(
            void *ctx, fsp_shelf_stamp_visit *visit, void *visit_ctx, struct fsp_err *err);
    /* Another number than before when somebody else committed since; outside a transaction. */
    enum fsp_rc (*version_now)(void *ctx, uint64_t *version, struct fsp_err *err);

    /* W. Once per new log; the rig's own enrolment comes first (enrol). */
    enum fsp_rc (*add_renewal)(
            void *ctx, const struct fsp_shelf_renewal *renewal, struct fsp_err *err);
    /* How this log began; FSP_ENOTFOUND when it continues none. */
    enum fsp_rc (*renewal)(
            void *ctx, int64_t log, struct fsp_shelf_renewal *out, struct fsp_err *err);
    /* The first log enrolled after `after` (0 for the first) that continues log `from`: when there is
     * one, `from` is closed. FSP_ENOTFOUND. */
    enum fsp_rc (*continued)(void *ctx, int64_t from, int64_t after,
            struct fsp_shelf_renewal *out, struct fsp_err *err);
    /* W. A second time changes nothing. FSP_ENOTFOUND when the log continues none. */
    enum fsp_rc (*confirm_renewal)(
            void *ctx, int64_t log, const char *by, int64_t at_s, struct fsp_err *err);

    /* W. FSP_ENOTFOUND when there is no such rig. */
    enum fsp_rc (*add_instruction)(
            void *ctx, const struct fsp_shelf_instruction *instruction, struct fsp_err *err);
    /* In order of seq; the note is put into `store`. FSP_ENOTFOUND at the end. */
    enum fsp_rc (*next_instruction)(void *ctx, const char *rig, int64_t after,
            struct fsp_shelf_instruction *out, struct fsp_buf *store, struct fsp_err *err);
    enum fsp_rc (*find_instruction)(void *ctx, const uint8_t *id,
            struct fsp_shelf_instruction *out, struct fsp_buf *store, struct fsp_err *err);
    /* Those in no log of the rig that is held here, and not before the one the rig named; an id
     * that is not known here counts as none. FSP_ENOTFOUND at the end. */
    enum fsp_rc (*waiting_instruction)(void *ctx, const struct fsp_shelf_wait *wait,
            struct fsp_shelf_instruction *out, struct fsp_buf *store, struct fsp_err *err);
    /* W. A second time changes nothing. */
    enum fsp_rc (*add_instruction_place)(
            void *ctx, const struct fsp_shelf_instruction_place *place, struct fsp_err *err);
    /* Where a rig's log holds it, the rig's newest log first; FSP_ENOTFOUND. */
    enum fsp_rc (*instruction_place)(void *ctx, const char *rig, const uint8_t *id,
            struct fsp_shelf_instruction_place *out, struct fsp_err *err);
    /* All places of all rigs, as they came; FSP_ENOTFOUND at the end. */
    enum fsp_rc (*next_instruction_place)(void *ctx, int64_t after,
            struct fsp_shelf_instruction_place *out, struct fsp_err *err);
    /* W. The signed roster of a version; each once. */
    enum fsp_rc (*add_roster)(void *ctx, uint64_t version, int64_t made_s,
            const struct fsp_buf *note, struct fsp_err *err);
    /* That version's, or the newest (0); FSP_ENOTFOUND. */
    enum fsp_rc (*roster)(
            void *ctx, uint64_t version, struct fsp_buf *note, struct fsp_err *err);

    /* W. FSP_EINVAL when its name or key is known already. */
    enum fsp_rc (*add_witness)(
            void *ctx, const struct fsp_shelf_witness *witness, struct fsp_err *err);
    /* The first by name after `after` ("" for the first of all); FSP_ENOTFOUND at the end. */
    enum fsp_rc (*next_witness)(
            void *ctx, const char *after, struct fsp_shelf_witness *out, struct fsp_err *err);
    /* W. A second one of that witness for that head changes nothing. */
    enum fsp_rc (*add_cosignature)(
            void *ctx, const struct fsp_shelf_cosignature *cosignature, struct fsp_err *err);
    /* Append the lines that are kept for the head of this size, by the witnesses' names. */
    enum fsp_rc (*cosignatures)(
            void *ctx, int64_t log, uint64_t size, struct fsp_buf *out, struct fsp_err *err);
    /* The newest size that this witness cosigned, 0: none. */
    enum fsp_rc (*cosigned)(
            void *ctx, int64_t log, const char *witness, uint64_t *size, struct fsp_err *err);

    /* The compact range over all entries of the log. */
    enum fsp_rc (*tip)(void *ctx, int64_t log, struct fsp_range *range, struct fsp_err *err);
    /* W. Append n entries at range->size, grow range, move the tip. */
    enum fsp_rc (*append)(void *ctx, int64_t log, struct fsp_range *range,
            const struct fsp_entry_bytes *entries, size_t n, struct fsp_err *err);
    enum fsp_rc (*entry)(
            void *ctx, int64_t log, uint64_t index, struct fsp_buf *out, struct fsp_err *err);
    enum fsp_rc (*scan)(void *ctx, int64_t log, const uint64_t within[2],
            fsp_shelf_visit *visit, void *visit_ctx, struct fsp_err *err);
    /* Leaf hashes of the first `size` entries from the stored bytes; the caller frees. */
    enum fsp_rc (*leaves)(void *ctx, int64_t log, uint64_t size,
            uint8_t (**leaves)[FSP_HASH_LEN], struct fsp_err *err);

    /* W. Keep a cosigned head: the note, its range, and the cosignature's time as heard_s. */
    enum fsp_rc (*add_head)(void *ctx, int64_t log, const struct fsp_range *range,
            const struct fsp_buf *note, int64_t cosigned_s, struct fsp_err *err);
    /* The newest head at or below size (UINT64_MAX: of all); FSP_ENOTFOUND. */
    enum fsp_rc (*head_below)(void *ctx, int64_t log, uint64_t size, struct fsp_range *range,
            struct fsp_buf *note, struct fsp_err *err);
    /* The earliest head that covers the entry; FSP_ENOTFOUND. */
    enum fsp_rc (*head_covering)(void *ctx, int64_t log, uint64_t index,
            struct fsp_range *range, struct fsp_buf *note, struct fsp_err *err);
    /* When the log's newest heads were cosigned, the newest first; at most so many. */
    enum fsp_rc (*heard)(void *ctx, int64_t log, int64_t *times_s, size_t most, size_t *n,
            struct fsp_err *err);
    /* Recompute the tree from stored bytes; compare with tip and heads. */
    enum fsp_rc (*verify)(void *ctx, int64_t log, uint64_t *size, struct fsp_err *err);

    /* W. The same head that came twice is kept once. */
    enum fsp_rc (*add_fork)(void *ctx, const struct fsp_shelf_fork *fork, struct fsp_err *err);
    enum fsp_rc (*forks_of)(void *ctx, int64_t log, size_t *n, struct fsp_err *err);
    /* The i-th fork seen, oldest first; its bytes are put into `store`. FSP_ENOTFOUND at the end. */
    enum fsp_rc (*fork_at)(void *ctx, uint64_t i, struct fsp_shelf_fork *out,
            struct fsp_buf *store, struct fsp_err *err);

    /* Where a rig's entries and what is derived of them are, for a fold (fold/fold.h) within a
     * transaction. `rig` is borrowed as long as it is used. */
    void (*fold_store)(void *ctx, const char *rig, struct fsp_fold_store *out);
    /* Keep what a fold found worth it; NULL: throw away all that is kept of the rig. Outside a
     * transaction; on a connection of its own, so that a shelf for reading can do it. Best effort:
     * what cannot be kept is not kept. It waits for nobody: false when somebody else writes. */
    bool (*keep_fold)(void *ctx, const char *rig, const struct fsp_fold *fold);
};

struct fsp_shelf {
    const struct fsp_shelf_ops *ops;
    void *ctx;
    char *store;
    enum fsp_shelf_access access;
};

extern const struct fsp_shelf_ops fsp_shelf_sqlite;

/* Open the store with a backend; refuses one built for another version of the struct. */
enum fsp_rc fsp_shelf_open(const struct fsp_shelf_ops *ops, const char *store,
        enum fsp_shelf_access access, struct fsp_shelf **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_shelf_close(struct fsp_shelf *shelf);
/* After a broken commit: close, open, run check() and verify() of every log. */
enum fsp_rc fsp_shelf_reopen(struct fsp_shelf *shelf, struct fsp_err *err) FSP_MUST_CHECK;

#endif
