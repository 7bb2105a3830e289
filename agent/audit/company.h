/*
 * Records that lie together and what they say of one another: who signed, who countersigned, what
 * amends what. Signatures by persons are judged here, by the roster beside the evidence or in it.
 *
 * Use: new; add() every record that was verified; then judge() each.
 *
 * Ownership: new/free; what it needs of records is copied. The job is borrowed.
 * Threads: one company, one thread.
 * Errors: FSP_ENOMEM, FSP_ELIMIT; FSP_EVERIFY, FSP_EFORMAT for a roster or key beside it that does
 * not hold.
 */
#ifndef FSP_AUDIT_COMPANY_H
#define FSP_AUDIT_COMPANY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "audit/trust.h"
#include "base/err.h"
#include "base/limits.h"
#include "proof/attest.h"
#include "record/record.h"
#include "record/sigstate.h"

#define FSP_COMPANY_RIGS_MAX      16
#define FSP_COMPANY_RECORDS_MAX   4096
#define FSP_COMPANY_RELATIONS_MAX 16

struct fsp_verdict;

/* What is known of a person's signature on a record. */
struct fsp_audit_signature {
    bool asked; /* the record is of a kind that a person signs, or one that was countersigned */
    bool judged; /* there was a roster to judge by */
    enum fsp_sig_state state;
    char name[FSP_NAME_MAX + 1]; /* the signer, as the record says, cut; not made safe */
    char fingerprint[65];        /* of the key that it holds for; "": none */
    uint64_t version;            /* of the roster */
    int64_t made_s;
    enum fsp_trust trust;    /* in the roster's key */
    bool seen_after_revoked; /* the office first saw the entry after that key was revoked */
    int64_t revoked_s;
};

enum fsp_relation {
    FSP_COUNTERSIGNED_BY,
    FSP_AMENDED_BY,
    FSP_VOIDED_BY,
    FSP_NAMES, /* the record itself countersigns or amends that one */
};

struct fsp_audit_relation {
    enum fsp_relation how;
    uint64_t index; /* of the other one */
    char origin[FSP_ORIGIN_MAX + 1];
    char name[FSP_NAME_MAX + 1]; /* who countersigned; not made safe */
    bool judged;
    enum fsp_sig_state state; /* of the countersignature */
};

/* "countersigned by", "amended by", "voided by", "names". Static. */
const char *fsp_relation_text(enum fsp_relation how);

struct fsp_company; /* opaque */

enum fsp_rc fsp_company_new(struct fsp_company **out, const struct fsp_audit_job *job,
        bool is_folder, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_company_free(struct fsp_company *company);
/* The office's keys and roster; peek. */
const struct fsp_audit_office *fsp_company_office(const struct fsp_company *company);
/* A verified record joins. */
enum fsp_rc fsp_company_add(struct fsp_company *company, const struct fsp_verdict *verdict,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Fill in signature and relations of a verified record. Its rc becomes FSP_EVERIFY, and err says
 * why, when a signature does not hold, or when one is needed and is not good. */
void fsp_company_judge(struct fsp_company *company, struct fsp_verdict *verdict,
        const struct fsp_audit_job *job);

/* The fleet and rig of an origin <fleet>/<rig>/<incarnation>; false when it is not of that form. */
bool fsp_origin_parts(
        const char *origin, char fleet[FSP_NAME_MAX + 1], char rig[FSP_NAME_MAX + 1]);
/* The attest of a log by the office's keys and the roster beside it; *out NULL when the origin is
 * not of the usual form. `names` holds fleet and rig and must outlive it. */
enum fsp_rc fsp_audit_attest(struct fsp_attest **out, char names[2][FSP_NAME_MAX + 1],
        const char *origin, const struct fsp_audit_office *office,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Judge one entry's own signature. cosigned_s: when the office first saw it, 0: unknown. */
void fsp_audit_sign(struct fsp_audit_signature *out, struct fsp_attest *attest,
        const struct fsp_attest_entry *entry, const struct fsp_audit_office *office,
        uint64_t cosigned_s);

#endif
