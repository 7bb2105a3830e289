/*
 * The auditor's judgement of a register: a log, or a stretch of one between two heads, complete.
 *
 * The file is read twice: once for the roster and the countersignatures in it, once to verify. Both
 * times line by line: memory does not grow with the log. What is listed is bounded; what is counted
 * is all.
 *
 * Ownership: init/fini; a book owns what it points to, the job's texts are borrowed.
 * Threads: one book, one thread.
 * Errors: in the book, as in verify.h.
 */
#ifndef FSP_AUDIT_REGISTER_H
#define FSP_AUDIT_REGISTER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "audit/company.h"
#include "audit/trust.h"
#include "base/buf.h"
#include "base/err.h"
#include "proof/evidence.h"

#define FSP_BOOK_LISTED_MAX      1000  /* inspections */
#define FSP_BOOK_AMENDS_MAX      4096  /* amendments that are related to them */
#define FSP_BOOK_COUNTERSIGN_MAX 20000 /* countersignatures that are related to entries */
#define FSP_BOOK_TEXT_MAX        48    /* bytes of a field that is listed */

/* An inspection of the register. */
struct fsp_book_line {
    uint64_t index;
    uint8_t leaf[FSP_HASH_LEN];
    int64_t at_s;
    char inspector[FSP_NAME_MAX + 1]; /* not made safe, like the others */
    char reel[FSP_BOOK_TEXT_MAX];
    char decision[FSP_BOOK_TEXT_MAX];
    struct fsp_audit_signature signature;
    enum fsp_sig_state countersigned; /* FSP_SIG_NONE: by nobody */
    size_t amended;                   /* how many amendments name it */
    uint64_t amended_by;              /* the last of them */
};

struct fsp_book {
    enum fsp_rc rc;
    struct fsp_err err;
    enum fsp_trust trust;
    struct fsp_policy *policy;
    struct fsp_audit_office office;
    bool complete; /* the log is what the heads say, whatever rc says of signatures */
    bool has_from;
    struct fsp_statement from; /* the head before the first entry, when has_from */
    struct fsp_statement to;
    uint64_t held_back;
    uint64_t inspections;
    uint64_t by_state[5]; /* inspections, by enum fsp_sig_state */
    uint64_t unjudged;    /* inspections that are signed, without a roster to judge by */
    struct fsp_book_line *line;
    size_t lines; /* listed: the first FSP_BOOK_LISTED_MAX */
    uint64_t amends;
    uint64_t countersigns;
    uint64_t roster_version; /* 0: none */
    int64_t roster_made_s;
    bool fields_checked;
    uint64_t odd; /* entries whose fields are not right, when they were checked */
    uint64_t first_odd;
    char odd_why[FSP_ERR_TEXT_MAX];
};

void fsp_book_init(struct fsp_book *book);
void fsp_book_fini(struct fsp_book *book);
/* Judge; the result is in the book (and returned). */
enum fsp_rc fsp_audit_register(struct fsp_book *book, const struct fsp_audit_job *job);
/* True when the file begins as a register does. */
bool fsp_audit_is_register(const char *path);

/* The report of a verified register. */
void fsp_book_text(
        const struct fsp_book *book, const struct fsp_audit_job *job, struct fsp_buf *buf);
/* Any book as one line of JSON. */
void fsp_book_json(
        const struct fsp_book *book, const struct fsp_audit_job *job, struct fsp_buf *buf);

#endif
