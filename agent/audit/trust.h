/*
 * Whose keys count: the policy, the pins, and the office's instructions keys and roster that stand
 * beside evidence.
 *
 * Reads files, writes none.
 * Ownership: fsp_audit_office by init/fini; the job's texts are borrowed.
 * Errors: FSP_EVERIFY, FSP_EFORMAT, FSP_ELIMIT: not good; FSP_EIO, FSP_ENOTFOUND: cannot be read;
 * FSP_EINVAL: usage.
 */
#ifndef FSP_AUDIT_TRUST_H
#define FSP_AUDIT_TRUST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "proof/attest.h"
#include "proof/evidence.h"
#include "proof/key.h"

#define FSP_AUDIT_PINS_MAX 64
#define FSP_AUDIT_PATH_MAX ((size_t)8192)

#define FSP_AUDIT_POLICY       "trust.tlog-policy"
#define FSP_AUDIT_ROSTER       "roster.note"
#define FSP_AUDIT_INSTRUCTIONS "instructions.vkey"

/* Where keys came from. */
enum fsp_trust {
    FSP_TRUST_ENCLOSED, /* beside the evidence: nothing but their fingerprints to go by */
    FSP_TRUST_GIVEN,    /* from a file that the auditor named */
    FSP_TRUST_PINNED,   /* every one has a fingerprint that the auditor named */
};

struct fsp_pins {
    uint8_t pin[FSP_AUDIT_PINS_MAX][32];
    size_t n;
};

/* What to verify and by whose word. */
struct fsp_audit_job {
    const char *file;  /* N.record.json, N.tlog-proof, a register, or a folder of them */
    const char *trust; /* policy file, or NULL for trust.tlog-policy beside it */
    const struct fsp_pins *pins;
    const char
            *instructions; /* verifier key or a file of them, or NULL for instructions.vkey */
    bool need_signature;   /* what a person should have signed and did not is not verified */
    bool fields;           /* of a register: check every record's fields too */
};

/* Add the fingerprints of a comma list (64 hexadecimal digits each). */
enum fsp_rc fsp_pins_add(
        struct fsp_pins *pins, const char *list, struct fsp_err *err) FSP_MUST_CHECK;
bool fsp_pins_have(const struct fsp_pins *pins, const struct fsp_vkey *vkey);

/* "name" in the folder of `file`, or in `file` itself when it is a folder, into path. */
void fsp_audit_beside(const char *file, bool is_folder, const char *name, struct fsp_buf *path);

enum fsp_trust fsp_audit_trust(const struct fsp_audit_job *job);
/* The job's policy, every key of it pinned when there are pins. */
enum fsp_rc fsp_audit_policy(struct fsp_policy **out, const struct fsp_audit_job *job,
        bool is_folder, struct fsp_err *err) FSP_MUST_CHECK;

/* The office's word about persons, as far as it is there. */
struct fsp_audit_office {
    struct fsp_vkey key[FSP_ATTEST_KEYS_MAX];
    size_t n; /* 0: none is known, no roster can be read */
    enum fsp_trust trust;
    uint8_t *roster; /* bytes of roster.note, not judged yet; NULL: none */
    size_t roster_len;
};

void fsp_audit_office_init(struct fsp_audit_office *office);
void fsp_audit_office_fini(struct fsp_audit_office *office);
enum fsp_rc fsp_audit_office_load(struct fsp_audit_office *office,
        const struct fsp_audit_job *job, bool is_folder, struct fsp_err *err) FSP_MUST_CHECK;

/* "enclosed", "given", "pinned". Static. */
const char *fsp_trust_word(enum fsp_trust trust);

#endif
