#include "proof/tree.h"

#include <assert.h>
#include <stdbool.h>
#include <string.h>

#include <sodium.h>

/* RFC 6962 section 2.1: one byte before what is hashed keeps leaves and nodes apart. */
#define LEAF_PREFIX 0x00u
#define NODE_PREFIX 0x01u

static void
hash_parts(uint8_t prefix, const void *first, size_t first_len, const void *second,
        size_t second_len, uint8_t out[FSP_HASH_LEN])
{
    crypto_hash_sha256_state state;

    (void)crypto_hash_sha256_init(&state);
    (void)crypto_hash_sha256_update(&state, &prefix, 1);
    if (first_len > 0)
        (void)crypto_hash_sha256_update(&state, first, first_len);
    if (second_len > 0)
        (void)crypto_hash_sha256_update(&state, second, second_len);
    (void)crypto_hash_sha256_final(&state, out);
}

void
fsp_leaf_hash(const void *entry, size_t len, uint8_t leaf[FSP_HASH_LEN])
{
    hash_parts(LEAF_PREFIX, entry, len, NULL, 0, leaf);
}

void
fsp_node_hash(const uint8_t left[FSP_HASH_LEN], const uint8_t right[FSP_HASH_LEN],
        uint8_t node[FSP_HASH_LEN])
{
    hash_parts(NODE_PREFIX, left, FSP_HASH_LEN, right, FSP_HASH_LEN, node);
}

/* How many full subtrees a tree of this size has: the ones in its binary form. */
static size_t
subtrees(uint64_t size)
{
    size_t n = 0;

    for (; size != 0; size &= size - 1)
        n++;
    return n;
}

/* The largest power of two below size; size > 1. */
static uint64_t
split(uint64_t size)
{
    uint64_t k = 1;

    while (k < size - k)
        k *= 2;
    return k;
}

void
fsp_range_init(struct fsp_range *range)
{
    memset(range, 0, sizeof(*range));
}

void
fsp_range_append_leaf(struct fsp_range *range, const uint8_t leaf[FSP_HASH_LEN])
{
    uint8_t hash[FSP_HASH_LEN];
    size_t n = subtrees(range->size);

    assert(range->size < UINT64_MAX);
    memcpy(hash, leaf, sizeof(hash));
    for (uint64_t rest = range->size; (rest & 1) != 0; rest >>= 1) {
        n--;
        fsp_node_hash(range->root[n], hash, hash);
    }
    memcpy(range->root[n], hash, sizeof(hash));
    range->size++;
}

void
fsp_range_append(struct fsp_range *range, const void *entry, size_t len)
{
    uint8_t leaf[FSP_HASH_LEN];

    fsp_leaf_hash(entry, len, leaf);
    fsp_range_append_leaf(range, leaf);
}

void
fsp_range_root(const struct fsp_range *range, uint8_t root[FSP_HASH_LEN])
{
    size_t n = subtrees(range->size);

    if (n == 0) {
        (void)crypto_hash_sha256(root, NULL, 0);
        return;
    }
    memcpy(root, range->root[n - 1], FSP_HASH_LEN);
    for (size_t i = n - 1; i > 0; i--)
        fsp_node_hash(range->root[i - 1], root, root);
}

void
fsp_range_write(const struct fsp_range *range, struct fsp_buf *buf)
{
    fsp_buf_add_u64be(buf, range->size);
    fsp_buf_add(buf, range->root, subtrees(range->size) * FSP_HASH_LEN);
}

enum fsp_rc
fsp_range_read(struct fsp_range *range, const uint8_t *bytes, size_t len)
{
    struct fsp_cursor cursor = {.data = bytes, .len = len};
    uint64_t size;

    fsp_range_init(range);
    if (fsp_cursor_u64be(&cursor, &size) != FSP_OK)
        return FSP_EFORMAT;
    if (len - cursor.pos != subtrees(size) * FSP_HASH_LEN)
        return FSP_EFORMAT;
    range->size = size;
    if (size > 0)
        memcpy(range->root, bytes + cursor.pos, len - cursor.pos);
    return FSP_OK;
}

/* The root of leaves[from .. to - 1]. */
static void
slice_root(const uint8_t (*leaves)[FSP_HASH_LEN], uint64_t from, uint64_t to,
        uint8_t root[FSP_HASH_LEN])
{
    struct fsp_range range;

    fsp_range_init(&range);
    for (uint64_t i = from; i < to; i++)
        fsp_range_append_leaf(&range, leaves[i]);
    fsp_range_root(&range, root);
}

static void
turn_round(uint8_t path[][FSP_HASH_LEN], size_t n)
{
    for (size_t i = 0; i < n / 2; i++) {
        uint8_t kept[FSP_HASH_LEN];

        memcpy(kept, path[i], FSP_HASH_LEN);
        memcpy(path[i], path[n - 1 - i], FSP_HASH_LEN);
        memcpy(path[n - 1 - i], kept, FSP_HASH_LEN);
    }
}

/* RFC 6962 section 2.1.1, from the root down, then turned round. */
void
fsp_tree_inclusion(const uint8_t (*leaves)[FSP_HASH_LEN], uint64_t size, uint64_t index,
        uint8_t path[][FSP_HASH_LEN], size_t *n)
{
    uint64_t from = 0;
    uint64_t to = size;
    size_t done = 0;

    assert(index < size);
    while (to - from > 1) {
        uint64_t middle = from + split(to - from);

        if (index < middle) {
            slice_root(leaves, middle, to, path[done]);
            to = middle;
        } else {
            slice_root(leaves, from, middle, path[done]);
            from = middle;
        }
        done++;
    }
    turn_round(path, done);
    *n = done;
}

/* RFC 6962 section 2.1.2: SUBPROOF unrolled, from the root down, then turned round. */
void
fsp_tree_consistency(const uint8_t (*leaves)[FSP_HASH_LEN], uint64_t size, uint64_t old_size,
        uint8_t path[][FSP_HASH_LEN], size_t *n)
{
    uint64_t from = 0;
    uint64_t to = size;
    size_t done = 0;

    assert(old_size > 0 && old_size <= size);
    while (to != old_size) {
        uint64_t middle = from + split(to - from);

        if (old_size <= middle) {
            slice_root(leaves, middle, to, path[done]);
            to = middle;
        } else {
            slice_root(leaves, from, middle, path[done]);
            from = middle;
        }
        done++;
    }
    /* The old tree's own root is known to whoever checks; a right part of it is not. */
    if (from > 0) {
        slice_root(leaves, from, to, path[done]);
        done++;
    }
    turn_round(path, done);
    *n = done;
}

/* RFC 9162 section 2.1.3.2, with its names. */
enum fsp_rc
fsp_tree_verify_inclusion(uint64_t index, uint64_t size, const uint8_t leaf[FSP_HASH_LEN],
        const uint8_t (*path)[FSP_HASH_LEN], size_t n, const uint8_t root[FSP_HASH_LEN])
{
    uint64_t fn = index;
    uint64_t sn = size - 1;
    uint8_t r[FSP_HASH_LEN];

    if (index >= size)
        return FSP_EVERIFY;
    memcpy(r, leaf, sizeof(r));
    for (size_t i = 0; i < n; i++) {
        if (sn == 0)
            return FSP_EVERIFY;
        if ((fn & 1) != 0 || fn == sn) {
            fsp_node_hash(path[i], r, r);
            while ((fn & 1) == 0 && fn != 0) {
                fn >>= 1;
                sn >>= 1;
            }
        } else {
            fsp_node_hash(r, path[i], r);
        }
        fn >>= 1;
        sn >>= 1;
    }
    return sn == 0 && sodium_memcmp(r, root, sizeof(r)) == 0 ? FSP_OK : FSP_EVERIFY;
}

/* RFC 9162 section 2.1.4.2, with its names; old_size < size, the path not empty. */
static enum fsp_rc
verify_growth(const struct fsp_consistency *proof)
{
    uint64_t fn = proof->old_size - 1;
    uint64_t sn = proof->size - 1;
    uint8_t fr[FSP_HASH_LEN];
    uint8_t sr[FSP_HASH_LEN];
    bool whole = (proof->old_size & (proof->old_size - 1)) == 0;

    while ((fn & 1) != 0) {
        fn >>= 1;
        sn >>= 1;
    }
    memcpy(fr, whole ? proof->old_root : proof->path[0], sizeof(fr));
    memcpy(sr, fr, sizeof(sr));
    for (size_t i = whole ? 0 : 1; i < proof->n; i++) {
        if (sn == 0)
            return FSP_EVERIFY;
        if ((fn & 1) != 0 || fn == sn) {
            fsp_node_hash(proof->path[i], fr, fr);
            fsp_node_hash(proof->path[i], sr, sr);
            while ((fn & 1) == 0 && fn != 0) {
                fn >>= 1;
                sn >>= 1;
            }
        } else {
            fsp_node_hash(sr, proof->path[i], sr);
        }
        fn >>= 1;
        sn >>= 1;
    }
    if (sn != 0 || sodium_memcmp(fr, proof->old_root, sizeof(fr)) != 0)
        return FSP_EVERIFY;
    return sodium_memcmp(sr, proof->root, sizeof(sr)) == 0 ? FSP_OK : FSP_EVERIFY;
}

enum fsp_rc
fsp_tree_verify_consistency(const struct fsp_consistency *proof)
{
    if (proof->old_size == 0 || proof->old_size > proof->size)
        return FSP_EVERIFY;
    if (proof->old_size == proof->size) {
        bool same = sodium_memcmp(proof->old_root, proof->root, FSP_HASH_LEN) == 0;

        return proof->n == 0 && same ? FSP_OK : FSP_EVERIFY;
    }
    return proof->n == 0 ? FSP_EVERIFY : verify_growth(proof);
}
