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

#include "audit/company.h"
#include "audit/trust.h"
#include "base/buf.h"
#include "base/err.h"
#include "proof/evidence.h"
#include "record/record.h"

#define FSP_AUDIT_DOUBTS_MAX 4

struct fsp_verdict {
    enum fsp_rc rc; /* FSP_OK: verified */
    struct fsp_err err;
    enum fsp_trust trust;
    struct fsp_statement statement; /* when verified */
    struct fsp_policy *policy;      /* when it could be read, else NULL */
    struct fsp_record *record;      /* when verified and readable, else NULL */
    char unread[FSP_ERR_TEXT_MAX];  /* why not, when verified but no record we can read */
    char doubt[FSP_AUDIT_DOUBTS_MAX][FSP_ERR_TEXT_MAX];
    size_t doubts;       /* verified, yet an auditor should ask */
    bool entry_verified; /* the record is that entry of the log, whatever rc says of signatures */
    uint8_t *entry;      /* its bytes, when verified */
    size_t entry_len;
    struct fsp_audit_signature signature; /* filled in by the company, as what follows */
    struct fsp_audit_relation relation[FSP_COMPANY_RELATIONS_MAX];
    size_t relations;
    size_t more_relations;
    bool has_roster_file;
    struct fsp_audit_office office; /* its keys, without the roster's bytes */
};

void fsp_audit_init(struct fsp_verdict *verdict);
void fsp_audit_fini(struct fsp_verdict *verdict);
/* Judge the proof; the result is in the verdict (and returned). */
enum fsp_rc fsp_audit_prove(struct fsp_verdict *verdict, const struct fsp_audit_job *job);
/* The same, and the record's signature, by the roster beside it. */
enum fsp_rc fsp_audit_verify(struct fsp_verdict *verdict, const struct fsp_audit_job *job);

/* The verdict of a record whose entry is verified, as one screen of text. */
void fsp_audit_text(const struct fsp_verdict *verdict, const struct fsp_audit_job *job,
        struct fsp_buf *buf);
/* Any verdict as one line of JSON. */
void fsp_audit_json(const struct fsp_verdict *verdict, const struct fsp_audit_job *job,
        struct fsp_buf *buf);
/* What the proof leaves open, sentence i; NULL past the end. */
const char *fsp_audit_not_proved(const struct fsp_verdict *verdict, size_t i);

#endif
