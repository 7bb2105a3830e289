/*
 * The bundle: what a rig sends, the same over HTTP and in a courier file.
 *
 *   outer:  "FSB1"  u32le length of all that follows  8-byte box key id  sealed box
 *   sealed: header (raw)  deflated entries (raw deflate, preset dictionary)
 *   header: u8 dictionary version, u8 flags, varint origin length, origin,
 *           varint old size, varint new size, 32-byte root, 64-byte head signature,
 *           [1, enrolment: 32-byte public key of the rig, 16-byte token]
 *           [2, newest: 8-byte id of the newest instruction in the rig's log]
 *           [4, renewal: 32-byte public key of the rig]
 *           (flag 8, short: the rig takes the cosignature's line alone as the receipt)
 *   entries: each entry's bytes and LF, in order: old size .. new size - 1; from dictionary 2 on
 *           as terse lines (terse.h)
 * The header's root and signature stand for the signed head: the note is rebuilt from them exactly.
 * docs/formats.md is the full description.
 *
 * Ownership: new/free; entries of an opened bundle are borrowed until it is freed.
 * Errors: FSP_EFORMAT (no bundle, truncated, altered), FSP_ELIMIT, FSP_ENOTFOUND (sealed for a box
 * key that is not ours), FSP_ENOMEM.
 */
#ifndef FSP_WIRE_BUNDLE_H
#define FSP_WIRE_BUNDLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/clock.h"
#include "base/err.h"
#include "base/limits.h"
#include "proof/instruction.h"
#include "proof/key.h"
#include "proof/note.h"

#define FSP_BUNDLE_OUTER_LEN 16 /* magic, length, box key id */
#define FSP_TOKEN_LEN        16

struct fsp_entry_bytes {
    const uint8_t *bytes;
    size_t len;
};

struct fsp_bundle_head {
    struct fsp_checkpoint head; /* origin, new size, root */
    uint64_t old_size;
    uint8_t sig[FSP_SIG_LEN]; /* the rig's note signature over the head */
    bool enrolment;
    bool renewal;                 /* it enrols by its first entry, a proved renewal */
    uint8_t rig_pub[32];          /* only with enrolment or renewal; never both */
    uint8_t token[FSP_TOKEN_LEN]; /* only with enrolment */
    bool has_newest; /* instructions are in the rig's log; this is the newest there */
    uint8_t newest[FSP_INSTRUCTION_ID_LEN];
    bool short_receipt; /* the rig rebuilds a receipt from the cosignature's line */
    uint8_t dictionary; /* sealing: 0 is the first, which every office knows */
};

/* Seal a bundle into out (appended). entries: old_size .. head.size - 1. */
enum fsp_rc fsp_bundle_seal(struct fsp_buf *out, const struct fsp_bundle_head *head,
        const struct fsp_entry_bytes *entries, size_t n, const uint8_t box_pub[32],
        struct fsp_err *err) FSP_MUST_CHECK;
/* Bytes that the deflated entries alone take: for the bench and for sizing bundles. */
enum fsp_rc fsp_bundle_payload_size(unsigned dictionary, const struct fsp_entry_bytes *entries,
        size_t n, size_t *out, struct fsp_err *err) FSP_MUST_CHECK;

/* A box key pair of the office. */
struct fsp_box_key {
    uint8_t id[8]; /* first 8 bytes of SHA-256("farspool-box/v1" LF, public key) */
    uint8_t pub[32];
    uint8_t secret[32];
};
void fsp_box_key_id(const uint8_t pub[32], uint8_t id[8]);
/* A new pair from env's randomness; wipe the secret with fsp_box_key_wipe() when it is of no use. */
enum fsp_rc fsp_box_key_make(
        struct fsp_box_key *key, const struct fsp_env *env, struct fsp_err *err) FSP_MUST_CHECK;
/* Fill in public key and id from the secret, as read back from a file. */
enum fsp_rc fsp_box_key_complete(struct fsp_box_key *key, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_box_key_wipe(struct fsp_box_key *key);

/* SHA-256 of the whole bundle: how an answer names it. */
void fsp_bundle_digest(const void *bytes, size_t len, uint8_t digest[32]);

struct fsp_bundle; /* opened */
/* Length of the whole bundle at bytes from its outer header; FSP_EFORMAT when cut short. */
enum fsp_rc fsp_bundle_length(
        const uint8_t *bytes, size_t len, size_t *whole, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_bundle_open(const uint8_t *bytes, size_t len, const struct fsp_box_key *keys,
        size_t n_keys, struct fsp_bundle **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_bundle_free(struct fsp_bundle *bundle);
const struct fsp_bundle_head *fsp_bundle_peek_head(const struct fsp_bundle *bundle);
/* n entries, head.size - old_size of them. */
const struct fsp_entry_bytes *fsp_bundle_peek_entries(
        const struct fsp_bundle *bundle, size_t *n);

#endif
