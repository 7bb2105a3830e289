/*
 * What is remembered of a rig's entries beside the ledger's states, so that not all need to be read
 * again: the inspections, countersignatures and amendments, and every signature's state once it was
 * verified. Derived data, thrown away freely.
 *
 * They hold for a prefix of each log of the rig's chain. A log is known again by the store's name
 * for it and by the leaf of the last entry, so that marks of another history are not believed.
 *
 * Ownership: init/fini in the caller's storage.
 * Units: entries; seconds since 1970.
 * Threads: one fsp_marks, one thread.
 * Errors: FSP_EFORMAT for bytes of another form, of other rules, or damaged: read everything;
 * FSP_ENOMEM.
 */
#ifndef FSP_FOLD_MARKS_H
#define FSP_FOLD_MARKS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "line/state.h"
#include "proof/tree.h"
#include "record/sigstate.h"

#define FSP_MARKS_VERSION 1
#define FSP_MARKS_MAX     ((size_t)8 * 1024 * 1024) /* bytes written; house figure */
#define FSP_BASIS_LEN     16

enum fsp_mark_kind {
    FSP_MARK_INSPECTION = 0,
    FSP_MARK_COUNTERSIGN,
    FSP_MARK_AMEND,
    FSP_MARK_OTHER, /* any other kind, when a countersignature names it */
};

struct fsp_mark {
    uint32_t log; /* ordinal in the chain */
    uint64_t index;
    enum fsp_mark_kind kind;
    enum fsp_sig_state sig;
    int64_t at_s;  /* as entered */
    bool voids;    /* an amendment that voids */
    bool aimed;    /* an amendment or countersignature whose entry is known */
    bool personal; /* aimed at an inspection or a countersignature */
    uint32_t to_log;
    uint64_t to_index;
};

struct fsp_marks_log {
    int64_t id;                 /* the store's own name for the log */
    uint64_t size;              /* entries seen */
    uint8_t last[FSP_HASH_LEN]; /* leaf of the last of them; zeros when size is 0 */
};

struct fsp_marks {
    uint8_t about[FSP_HASH_LEN];  /* rules, fleet, rig and keys they were made under */
    uint8_t roster[FSP_HASH_LEN]; /* of the roster in force; zeros when there is none */
    bool has_roster;              /* and the entry that brought it */
    uint32_t roster_log;
    uint64_t roster_index;
    uint64_t unreadable; /* entries */
    struct fsp_marks_log logs[FSP_STATE_LOGS];
    size_t n_logs;
    struct fsp_mark *items; /* by log, then index */
    size_t n, cap;
};

void fsp_marks_init(struct fsp_marks *marks);
void fsp_marks_fini(struct fsp_marks *marks);
enum fsp_rc fsp_marks_add(struct fsp_marks *marks, const struct fsp_mark *mark,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Back into their order after additions. */
void fsp_marks_sort(struct fsp_marks *marks);
/* NULL when the entry has none. Peek, until the next addition. */
struct fsp_mark *fsp_marks_find(const struct fsp_marks *marks, uint32_t log, uint64_t index);

/* Stored form, closed by a sum of SHA-256. Reading into marks that are new. */
void fsp_marks_write(const struct fsp_marks *marks, struct fsp_buf *buf);
enum fsp_rc fsp_marks_read(struct fsp_marks *marks, const uint8_t *bytes, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
/* What a state stored beside them must have been made under. */
void fsp_marks_basis(const struct fsp_marks *marks, uint8_t basis[FSP_BASIS_LEN]);

/* Append the sum of what stands from `start` on; whether the last bytes are such a sum. */
#define FSP_SUM_LEN 8
void fsp_sum_close(struct fsp_buf *buf, size_t start);
bool fsp_sum_holds(const uint8_t *bytes, size_t len);

#endif
