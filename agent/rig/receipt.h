/*
 * Judging the office's answers: what is verified is acted upon, everything else only delays.
 *
 * Ownership: the verdict is a value.
 * Units: sizes count entries; times are seconds since 1970.
 * Threads: as the journal, which is changed: a receipt is kept, or evidence of a fork.
 * Errors: only our own (database, memory). A bad answer is a verdict, never an error.
 */
#ifndef FSP_RIG_RECEIPT_H
#define FSP_RIG_RECEIPT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "rig/journal.h"
#include "rig/pack.h"

enum fsp_verdict_kind {
    FSP_VERDICT_TAKEN,      /* the office holds `held`, cosigned */
    FSP_VERDICT_GAP,        /* fresh 409: go on from `held` */
    FSP_VERDICT_DELAY,      /* proves nothing: try later */
    FSP_VERDICT_TOO_LARGE,  /* proves nothing: try less, later */
    FSP_VERDICT_REFUSED,    /* proves nothing, but a person should look; try much later */
    FSP_VERDICT_CONTRADICT, /* a fork, or this is a restored copy: evidence kept, stop */
};

struct fsp_answer {
    long status;
    const void *bytes; /* borrowed */
    size_t len;
    const struct fsp_packed *sent; /* the bundle just sent; NULL: it came by courier */
};

struct fsp_verdict {
    enum fsp_verdict_kind kind;
    uint64_t held;
    int64_t time_s; /* TAKEN: the cosignature's */
    bool went_back; /* GAP: below the last receipt */
    char why[320];  /* one line for a person; "" when TAKEN */
    /* Instructions behind a receipt; whatever they are, the verdict is the receipt's alone. */
    size_t words;         /* new entries of the log now */
    size_t words_ignored; /* did not hold */
    char word_why[256];   /* of the last ignored one */
};

enum fsp_rc fsp_receipt_judge(struct fsp_journal *journal, const struct fsp_answer *answer,
        struct fsp_verdict *verdict, struct fsp_err *err) FSP_MUST_CHECK;

/* The same for an instruction that stands behind an answer in a file: counted in *verdict. */
enum fsp_rc fsp_receipt_word(struct fsp_journal *journal, const void *note, size_t len,
        struct fsp_verdict *verdict, struct fsp_err *err) FSP_MUST_CHECK;

/* A bundle was handed to a courier: its answer will be fresh until a receipt covers it. */
enum fsp_rc fsp_receipt_sent_of(struct fsp_journal *journal, const struct fsp_packed *packed,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The same of the current log. */
enum fsp_rc fsp_receipt_sent(struct fsp_journal *journal, const uint8_t hash[32], uint64_t old,
        uint64_t size, struct fsp_err *err) FSP_MUST_CHECK;

#endif
