/*
 * Evidence for an auditor, written into a folder: entries with their proofs, or a register of a
 * stretch of the log; policy, roster and keys; and a summary to read.
 *
 *     one entry     N.record.json, N.tlog-proof, and a pair for every entry that amends or
 *                   countersigns it; roster.note and instructions.vkey when persons sign there
 *     a register    FIRST-LAST.register between two cosigned heads, roster.note, instructions.vkey
 *     always        trust.tlog-policy, summary.txt, summary.html
 *
 * Everything is verified again before the folder counts as written.
 *
 * Ownership: the source and the wish are borrowed for the call.
 * Units: entries; seconds since 1970.
 * Threads: as the source.
 * Errors: those of the source; FSP_ENOTFOUND (no such entry, no head that the witnesses cosigned),
 * FSP_EINVAL (the folder holds evidence by another policy), FSP_ELIMIT, FSP_EIO, FSP_ECORRUPT (what
 * was read does not verify).
 */
#ifndef FSP_EXHIBIT_EXHIBIT_H
#define FSP_EXHIBIT_EXHIBIT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "base/limits.h"
#include "proof/key.h"
#include "proof/tree.h"

#define FSP_EXHIBIT_PAIRS_MAX   200 /* entries of one folder that refer to one another */
#define FSP_EXHIBIT_WITNESS_MAX 8   /* besides the office */

/* One log as the store holds it; a rig has several, one after the other. */
struct fsp_exhibit_log {
    int64_t id; /* the store's own name for it */
    char origin[FSP_ORIGIN_MAX + 1];
    struct fsp_vkey vkey;
    uint64_t size; /* entries that count */
};

typedef enum fsp_rc fsp_exhibit_visit(
        void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err);

/* Somebody else who cosigns heads: a client, a regulator. The name is a word of the policy. */
struct fsp_exhibit_witness {
    const char *name;
    struct fsp_vkey vkey;
};

/* What a store must tell. Every function sees one moment: the caller holds a transaction. */
struct fsp_exhibit_source {
    void *ctx;
    const char *fleet;
    const char *rig;
    const struct fsp_exhibit_log *log; /* in the order of renewals */
    size_t logs;
    size_t chosen;                 /* whose entries are asked for */
    const struct fsp_vkey *office; /* its cosigners, the present one first */
    size_t offices;
    const struct fsp_vkey *instructions;
    size_t n_instructions;
    const struct fsp_exhibit_witness *witness; /* besides the office */
    size_t witnesses;
    size_t need; /* how many of office and witnesses must have cosigned, 1 to 1 + witnesses */
    bool office_alone; /* the policy names the office and no other */

    enum fsp_rc (*scan)(void *ctx, int64_t log, const uint64_t within[2],
            fsp_exhibit_visit *visit, void *visit_ctx, struct fsp_err *err);
    enum fsp_rc (*leaves)(void *ctx, int64_t log, uint64_t size,
            uint8_t (**leaves)[FSP_HASH_LEN], struct fsp_err *err);
    /* The smallest head above `index`, the largest at or below `size`; FSP_ENOTFOUND. The note comes
     * with every cosignature that is kept for it; the buffer is emptied first. */
    enum fsp_rc (*head_covering)(void *ctx, int64_t log, uint64_t index,
            struct fsp_range *range, struct fsp_buf *note, struct fsp_err *err);
    enum fsp_rc (*head_below)(void *ctx, int64_t log, uint64_t size, struct fsp_range *range,
            struct fsp_buf *note, struct fsp_err *err);
};

enum fsp_exhibit_what {
    FSP_EXHIBIT_ENTRY,       /* `first` */
    FSP_EXHIBIT_RANGE,       /* `first` to `last` */
    FSP_EXHIBIT_INSPECTIONS, /* of a period */
    FSP_EXHIBIT_WHOLE,
};

struct fsp_exhibit_wish {
    enum fsp_exhibit_what what;
    uint64_t first;
    uint64_t last;
    bool has_from; /* FSP_EXHIBIT_INSPECTIONS */
    bool has_to;
    int64_t from_s;
    int64_t to_s;
    bool hold_back; /* what was not asked for stands there as its leaf only */
    const char *folder;
};

/* The words of a command, NULL and false where they were not given; FSP_EINVAL says what is wrong. */
struct fsp_exhibit_words {
    const char *numbers; /* N or FROM-TO */
    const char *folder;
    const char *from;
    const char *to;
    bool inspections;
    bool whole;
    bool hold_back;
};
enum fsp_rc fsp_exhibit_words(struct fsp_exhibit_wish *wish,
        const struct fsp_exhibit_words *words, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_exhibit_numbers(
        struct fsp_exhibit_wish *wish, const char *word, struct fsp_err *err) FSP_MUST_CHECK;

/* What was written. */
struct fsp_exhibit_result {
    char file[64]; /* the record or the register */
    uint64_t from; /* a register: entries below it are not there */
    uint64_t size; /* of the head that proves */
    uint64_t entries;
    uint64_t held_back;
    uint64_t inspections;
    size_t pairs;    /* entries that came along */
    bool has_roster; /* roster.note was written */
};

enum fsp_rc fsp_exhibit_write(const struct fsp_exhibit_source *source,
        const struct fsp_exhibit_wish *wish, struct fsp_exhibit_result *result,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
