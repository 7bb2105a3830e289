/*
 * The Merkle tree over a log's entries (RFC 6962 section 2.1; verification as in RFC 9162
 * sections 2.1.3.2 and 2.1.4.2), SHA-256.
 *
 * A range is the compact form of a tree: the roots of its full subtrees, at most 64. Appending
 * entries in order yields the same root on the rig, in the office and in the verifier.
 *
 * Ownership: fsp_range lives in the caller's storage and holds no pointers. Entry bytes are
 * borrowed for the length of the call.
 * Units: size and index count entries; len is in bytes.
 * Threads: one range, one thread.
 * Errors: FSP_EVERIFY when a proof does not hold, FSP_EFORMAT for bytes that are no range.
 */
#ifndef FSP_PROOF_TREE_H
#define FSP_PROOF_TREE_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "base/limits.h"

#define FSP_HASH_LEN      32
#define FSP_RANGE_MAX_LEN (8 + FSP_TREE_LEVELS * FSP_HASH_LEN)

struct fsp_range {
    uint64_t size;
    uint8_t root[FSP_TREE_LEVELS][FSP_HASH_LEN]; /* [0] is the largest (leftmost) subtree */
};

void fsp_leaf_hash(const void *entry, size_t len, uint8_t leaf[FSP_HASH_LEN]);
void fsp_node_hash(const uint8_t left[FSP_HASH_LEN], const uint8_t right[FSP_HASH_LEN],
        uint8_t node[FSP_HASH_LEN]);

/* Start at the empty tree. */
void fsp_range_init(struct fsp_range *range);
/* Append one entry, or one leaf hash. */
void fsp_range_append(struct fsp_range *range, const void *entry, size_t len);
void fsp_range_append_leaf(struct fsp_range *range, const uint8_t leaf[FSP_HASH_LEN]);
/* The root of all entries so far. */
void fsp_range_root(const struct fsp_range *range, uint8_t root[FSP_HASH_LEN]);
/* Stored form: u64 big-endian size, then its subtree roots. */
void fsp_range_write(const struct fsp_range *range, struct fsp_buf *buf);
enum fsp_rc fsp_range_read(
        struct fsp_range *range, const uint8_t *bytes, size_t len) FSP_MUST_CHECK;

/* Proofs from the leaf hashes of the whole tree, leaf's sibling first. path holds at most 64
 * hashes; *n is how many were written. index < size; old_size in 1..size for consistency. */
void fsp_tree_inclusion(const uint8_t (*leaves)[FSP_HASH_LEN], uint64_t size, uint64_t index,
        uint8_t path[][FSP_HASH_LEN], size_t *n);
void fsp_tree_consistency(const uint8_t (*leaves)[FSP_HASH_LEN], uint64_t size,
        uint64_t old_size, uint8_t path[][FSP_HASH_LEN], size_t *n);

enum fsp_rc fsp_tree_verify_inclusion(uint64_t index, uint64_t size,
        const uint8_t leaf[FSP_HASH_LEN], const uint8_t (*path)[FSP_HASH_LEN], size_t n,
        const uint8_t root[FSP_HASH_LEN]) FSP_MUST_CHECK;

struct fsp_consistency {
    uint64_t old_size;
    uint64_t size;
    const uint8_t *old_root; /* FSP_HASH_LEN each */
    const uint8_t *root;
    const uint8_t (*path)[FSP_HASH_LEN];
    size_t n;
};
enum fsp_rc fsp_tree_verify_consistency(const struct fsp_consistency *proof) FSP_MUST_CHECK;

#endif
