/*
 * The auditor's judgement of one record: find the proof and the policy beside it, verify, and say
 * what is proved and what is not.
 *
 * Reads files, writes none; knows no store and no network.
 * Ownership: fsp_audit_init/fini; a verdict owns what it points to, the job's texts are borrowed.
 * Threads: one verdict, one thread.
 * Errors: in the verdict. FSP_EVERIFY, FSP_EFORMAT, FSP_ELIMIT: the evidence is not good; FSP_EIO,
 * FSP_ENOTFOUND: a file could not be read; FSP_EINVAL: usage.
 */
#ifndef FSP_AUDIT_VERIFY_H
#define FSP_AUDIT_VERIFY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "proof/evidence.h"
#include "record/record.h"

#define FSP_AUDIT_PINS_MAX   64
#define FSP_AUDIT_DOUBTS_MAX 4

/* Where the keys came from. */
enum fsp_trust {
    FSP_TRUST_ENCLOSED, /* beside the evidence: nothing but their fingerprints to go by */
    FSP_TRUST_GIVEN,    /* from a file that the auditor named */
    FSP_TRUST_PINNED,   /* every one has a fingerprint that the auditor named */
};

struct fsp_pins {
    uint8_t pin[FSP_AUDIT_PINS_MAX][32];
    size_t n;
};

struct fsp_audit_job {
    const char *file;  /* N.record.json or N.tlog-proof */
    const char *trust; /* policy file, or NULL for trust.tlog-policy beside it */
    const struct fsp_pins *pins;
};

struct fsp_verdict {
    enum fsp_rc rc; /* FSP_OK: verified */
    struct fsp_err err;
    enum fsp_trust trust;
    struct fsp_statement statement; /* when verified */
    struct fsp_policy *policy;      /* when it could be read, else NULL */
    struct fsp_record *record;      /* when verified and readable, else NULL */
    char unread[FSP_ERR_TEXT_MAX];  /* why not, when verified but no record we can read */
    char doubt[FSP_AUDIT_DOUBTS_MAX][FSP_ERR_TEXT_MAX];
    size_t doubts; /* verified, yet an auditor should ask */
};

/* Add the fingerprints of a comma list (64 hexadecimal digits each). */
enum fsp_rc fsp_pins_add(
        struct fsp_pins *pins, const char *list, struct fsp_err *err) FSP_MUST_CHECK;

void fsp_audit_init(struct fsp_verdict *verdict);
void fsp_audit_fini(struct fsp_verdict *verdict);
/* Judge; the result is in the verdict (and returned). */
enum fsp_rc fsp_audit_verify(struct fsp_verdict *verdict, const struct fsp_audit_job *job);

/* The verdict of a verified record as one screen of text. */
void fsp_audit_text(const struct fsp_verdict *verdict, const struct fsp_audit_job *job,
        struct fsp_buf *buf);
/* Any verdict as one line of JSON. */
void fsp_audit_json(const struct fsp_verdict *verdict, const struct fsp_audit_job *job,
        struct fsp_buf *buf);
/* What the proof leaves open, sentence i; NULL past the end. */
const char *fsp_audit_not_proved(const struct fsp_verdict *verdict, size_t i);

#endif
