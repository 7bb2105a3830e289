/*
 * Proof files and trust files: C2SP tlog-proof and tlog-policy (drafts at commit 5ba5ee8), and the
 * judgement of a record against both.
 *
 * Ownership: parsed values hold no borrowed pointers except where said.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_EVERIFY with a sentence for a report.
 */
#ifndef FSP_PROOF_EVIDENCE_H
#define FSP_PROOF_EVIDENCE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "proof/key.h"
#include "proof/note.h"
#include "proof/tree.h"

#define FSP_POLICY_KEYS_MAX   32
#define FSP_POLICY_GROUPS_MAX 32

struct fsp_proof_file {
    uint64_t index;
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    size_t n;
    const char
            *note; /* the checkpoint with its signature lines; borrowed from the parsed bytes */
    size_t note_len;
};

void fsp_proof_write(struct fsp_buf *buf, uint64_t index, const uint8_t (*path)[FSP_HASH_LEN],
        size_t n, const char *note, size_t note_len);
/* A line `extra` is checked for its form and ignored: nothing vouches for it. */
enum fsp_rc fsp_proof_parse(struct fsp_proof_file *proof, const char *bytes, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;

struct fsp_policy; /* opaque */
enum fsp_rc fsp_policy_parse(struct fsp_policy **out, const char *bytes, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_policy_free(struct fsp_policy *policy);
/* Keys of a policy for showing: logs first, then witnesses; NULL past the end. Peek. */
const struct fsp_vkey *fsp_policy_key(const struct fsp_policy *policy, size_t i);
/* A policy of one log (type 0x01) and one witness (type 0x04) that must cosign. */
void fsp_policy_write(
        struct fsp_buf *buf, const struct fsp_vkey *log, const struct fsp_vkey *witness);

/* What was proved. */
struct fsp_statement {
    struct fsp_checkpoint head;
    uint64_t index;
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_vkey log;
    size_t cosigned; /* how many witnesses of the policy cosigned */
    struct fsp_vkey cosigner[FSP_POLICY_KEYS_MAX];
    uint64_t cosigned_s[FSP_POLICY_KEYS_MAX]; /* POSIX seconds, per cosigner */
};

/* Judge a head alone: signed by a log of the policy whose name is the origin, cosigned by the
 * quorum, no known key's signature fails. index and leaf stay 0. */
enum fsp_rc fsp_head_verify(const struct fsp_policy *policy, const void *note, size_t len,
        struct fsp_statement *statement, struct fsp_err *err) FSP_MUST_CHECK;
/* Judge: the note is signed by a log of the policy whose name is the origin, the quorum cosigned
 * it, no known key's signature fails, and the record is entry `index` of that tree. */
enum fsp_rc fsp_evidence_verify(const struct fsp_policy *policy, const void *record,
        size_t record_len, const struct fsp_proof_file *proof, struct fsp_statement *statement,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
