/*
 * What the parts of an exhibit share: the heads that count, the pieces written, what is told of
 * them.
 */
#ifndef FSP_EXHIBIT_EXHIBIT_PRIV_H
#define FSP_EXHIBIT_EXHIBIT_PRIV_H

#include "exhibit/exhibit.h"
#include "proof/attest.h"
#include "proof/evidence.h"
#include "proof/note.h"
#include "record/record.h"
#include "record/sigstate.h"

#define FSP_EXHIBIT_LISTED_MAX 500 /* inspections that a summary lists */

/* A head and who cosigned it. */
struct fsp_exhibit_head {
    struct fsp_range range; /* size 0: the beginning of the log */
    struct fsp_buf note;
    size_t office;  /* which of the office's keys */
    int64_t seen_s; /* when the office cosigned it */
    size_t agreed;  /* office and witnesses that did */
};

void fsp_exhibit_head_init(struct fsp_exhibit_head *head);
void fsp_exhibit_head_fini(struct fsp_exhibit_head *head);
/* The earliest head above `index` that enough cosigned; FSP_ENOTFOUND says whose word lacks. */
enum fsp_rc fsp_exhibit_head_above(const struct fsp_exhibit_source *source, size_t log,
        uint64_t index, struct fsp_exhibit_head *head, struct fsp_err *err) FSP_MUST_CHECK;
/* The newest at or below `size` that enough cosigned, at `by_s` or before (INT64_MAX: whenever);
 * the beginning of the log when there is none. */
enum fsp_rc fsp_exhibit_head_below(const struct fsp_exhibit_source *source, uint64_t size,
        int64_t by_s, struct fsp_exhibit_head *head, struct fsp_err *err) FSP_MUST_CHECK;
/* The earliest that enough cosigned at `from_s` or later; the newest when there is none (*late
 * false). */
enum fsp_rc fsp_exhibit_head_since(const struct fsp_exhibit_source *source, int64_t from_s,
        struct fsp_exhibit_head *head, bool *late, struct fsp_err *err) FSP_MUST_CHECK;

/* An inspection or an entry with its proof, as the summary tells it. */
struct fsp_exhibit_piece {
    size_t log;
    uint64_t index;
    uint8_t leaf[FSP_HASH_LEN];
    int64_t seen_s; /* 0: not told */
    char stem[64];  /* of its files; "" in a register */
    char kind[24];
    char at[FSP_TIME_TEXT_LEN + 1];
    char noted[FSP_TIME_TEXT_LEN + 1];
    char by[64];
    char name[64]; /* inspector, signer */
    char reel[48];
    char decision[48];
    char names[64]; /* the entry that it amends or countersigns */
    bool voids;
    bool is_signed_kind; /* an inspection or a countersign */
    enum fsp_sig_state sig;
    enum fsp_sig_state countersigned;
};

/* Everything that is being made. */
struct fsp_exhibit {
    const struct fsp_exhibit_source *source;
    const struct fsp_exhibit_wish *wish;
    struct fsp_exhibit_result *result;
    struct fsp_attest *attest;
    struct fsp_exhibit_piece *piece; /* pieces[0] is what was asked for, when it is one entry */
    size_t pieces;
    size_t cap;
    uint64_t more; /* inspections that are not listed */
    struct fsp_exhibit_head from;
    struct fsp_exhibit_head to;
    bool seen_after; /* a period: the last head is of its end or later */
    bool used_log[64];
    bool used_office[FSP_ATTEST_KEYS_MAX];
    struct fsp_buf policy;
    uint64_t unseen; /* entries that amend or countersign and are under no head yet */
};

/* Fill in what a piece tells of its record. */
void fsp_exhibit_tell(struct fsp_exhibit *exhibit, struct fsp_exhibit_piece *piece,
        const struct fsp_attest_entry *entry);
/* Let the attest know what of the logs it must. */
enum fsp_rc fsp_exhibit_attest(struct fsp_exhibit *exhibit, struct fsp_err *err) FSP_MUST_CHECK;
/* Text of the policy, from the logs and office keys that were used; and the policy itself. */
enum fsp_rc fsp_exhibit_policy(struct fsp_exhibit *exhibit, struct fsp_policy **out,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Refuse a folder that holds evidence by another policy; make it when it is not there. */
enum fsp_rc fsp_exhibit_folder(
        const struct fsp_exhibit *exhibit, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_exhibit_save(const struct fsp_exhibit *exhibit, const char *name,
        const struct fsp_buf *bytes, struct fsp_err *err) FSP_MUST_CHECK;

enum fsp_rc fsp_exhibit_records(
        struct fsp_exhibit *exhibit, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_exhibit_roll(struct fsp_exhibit *exhibit, struct fsp_err *err) FSP_MUST_CHECK;
/* summary.txt and summary.html. */
enum fsp_rc fsp_exhibit_summary(
        struct fsp_exhibit *exhibit, struct fsp_err *err) FSP_MUST_CHECK;

#endif
