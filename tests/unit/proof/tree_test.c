#include "support/test.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include <jansson.h>

#include "base/text.h"
#include "proof/key.h"
#include "proof/tree.h"

#define TREES 70

/* The well-known leaves of RFC 6962 test suites, and the roots of the trees of 0 to 8 of them. */
static const char *const known_leaves[8] = {"", "00", "10", "2021", "3031", "40414243",
        "5051525354555657", "606162636465666768696a6b6c6d6e6f"};
static const char *const known_roots[9] = {
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
        "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
        "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
        "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"};

static void
the_roots_of_the_well_known_leaves_are_those_published(void **state)
{
    struct fsp_range range;

    (void)state;
    fsp_range_init(&range);
    for (size_t n = 0; n <= 8; n++) {
        uint8_t root[FSP_HASH_LEN];
        char hex[2 * FSP_HASH_LEN + 1];
        uint8_t entry[16];

        fsp_range_root(&range, root);
        fsp_text_hex(hex, root, sizeof(root));
        assert_string_equal(hex, known_roots[n]);
        assert_int_equal(range.size, n);
        if (n == 8)
            break;
        assert_int_equal(
                fsp_text_unhex(entry, strlen(known_leaves[n]) / 2, known_leaves[n]), FSP_OK);
        fsp_range_append(&range, entry, strlen(known_leaves[n]) / 2);
    }
}

/* The definition of RFC 6962 section 2.1, with no cleverness, over leaf hashes. */
static void // NOLINTNEXTLINE(misc-no-recursion): the definition is recursive
plain_root(const uint8_t (*leaves)[FSP_HASH_LEN], uint64_t from, uint64_t to,
        uint8_t root[FSP_HASH_LEN])
{
    uint8_t left[FSP_HASH_LEN];
    uint8_t right[FSP_HASH_LEN];
    uint64_t k = 1;

    if (to - from == 1) {
        memcpy(root, leaves[from], FSP_HASH_LEN);
        return;
    }
    while (2 * k < to - from)
        k *= 2;
    plain_root(leaves, from, from + k, left);
    plain_root(leaves, from + k, to, right);
    fsp_node_hash(left, right, root);
}

struct forest {
    uint8_t leaves[TREES][FSP_HASH_LEN];
    uint8_t root[TREES + 1][FSP_HASH_LEN]; /* by size; [0] unused */
};

static struct forest *
grow_forest(void)
{
    struct forest *forest = calloc(1, sizeof(*forest));

    assert_non_null(forest);
    for (size_t i = 0; i < TREES; i++) {
        char entry[32];

        (void)snprintf(entry, sizeof(entry), "entry %zu", i);
        fsp_leaf_hash(entry, strlen(entry), forest->leaves[i]);
        plain_root(
                (const uint8_t(*)[FSP_HASH_LEN])forest->leaves, 0, i + 1, forest->root[i + 1]);
    }
    return forest;
}

static void
a_range_grows_to_the_roots_of_the_plain_definition(void **state)
{
    struct forest *forest = grow_forest();
    struct fsp_range range;

    (void)state;
    fsp_range_init(&range);
    for (size_t i = 0; i < TREES; i++) {
        uint8_t root[FSP_HASH_LEN];

        fsp_range_append_leaf(&range, forest->leaves[i]);
        fsp_range_root(&range, root);
        assert_memory_equal(root, forest->root[i + 1], FSP_HASH_LEN);
    }
    free(forest);
}

static void
a_range_survives_being_stored_at_every_size(void **state)
{
    struct forest *forest = grow_forest();
    struct fsp_range range;
    struct fsp_buf buf;

    (void)state;
    fsp_range_init(&range);
    fsp_buf_init(&buf, FSP_RANGE_MAX_LEN);
    for (size_t i = 0; i < TREES; i++) {
        struct fsp_range back;

        fsp_buf_reset(&buf);
        fsp_range_write(&range, &buf);
        assert_int_equal(buf.rc, FSP_OK);
        assert_int_equal(fsp_range_read(&back, buf.data, buf.len), FSP_OK);
        fsp_range_append_leaf(&range, forest->leaves[i]);
        fsp_range_append_leaf(&back, forest->leaves[i]);
        assert_int_equal(range.size, back.size);
        for (size_t cut = 0; cut < buf.len; cut++)
            assert_int_equal(fsp_range_read(&back, buf.data, cut), FSP_EFORMAT);
        fsp_buf_add_byte(&buf, 0);
        if (i + 1 < TREES)
            assert_int_equal(fsp_range_read(&back, buf.data, buf.len), FSP_EFORMAT);
    }
    fsp_buf_fini(&buf);
    free(forest);
}

static void
a_range_of_the_largest_size_has_64_subtrees(void **state)
{
    uint8_t bytes[FSP_RANGE_MAX_LEN];
    struct fsp_range range;

    (void)state;
    memset(bytes, 0xFF, sizeof(bytes));
    assert_int_equal(fsp_range_read(&range, bytes, sizeof(bytes)), FSP_OK);
    assert_true(range.size == UINT64_MAX);
    assert_int_equal(fsp_range_read(&range, bytes, sizeof(bytes) - 1), FSP_EFORMAT);
    assert_int_equal(range.size, 0);
}

static enum fsp_rc
check_inclusion(const struct forest *forest, uint64_t index, uint64_t size,
        const uint8_t (*path)[FSP_HASH_LEN], size_t n)
{
    return fsp_tree_verify_inclusion(
            index, size, forest->leaves[index], path, n, forest->root[size]);
}

static void
every_inclusion_proof_up_to_70_holds_and_no_altered_one_does(void **state)
{
    struct forest *forest = grow_forest();
    const uint8_t(*leaves)[FSP_HASH_LEN] = (const uint8_t(*)[FSP_HASH_LEN])forest->leaves;

    (void)state;
    for (uint64_t size = 1; size <= TREES; size++) {
        for (uint64_t index = 0; index < size; index++) {
            uint8_t room[FSP_TREE_LEVELS + 1][FSP_HASH_LEN] = {{0}};
            const uint8_t(*path)[FSP_HASH_LEN] = (const uint8_t(*)[FSP_HASH_LEN])room;
            size_t n = 99;

            fsp_tree_inclusion(leaves, size, index, room, &n);
            assert_int_equal(check_inclusion(forest, index, size, path, n), FSP_OK);
            assert_int_equal(check_inclusion(forest, index, size, path, n + 1), FSP_EVERIFY);
            if (n > 0) {
                assert_int_equal(
                        check_inclusion(forest, index, size, path, n - 1), FSP_EVERIFY);
                room[(index + size) % n][index % FSP_HASH_LEN] ^= (uint8_t)(1u << (size % 8));
                assert_int_equal(check_inclusion(forest, index, size, path, n), FSP_EVERIFY);
                room[(index + size) % n][index % FSP_HASH_LEN] ^= (uint8_t)(1u << (size % 8));
            }
            for (uint64_t other = 0; other <= size; other++) {
                enum fsp_rc rc = fsp_tree_verify_inclusion(
                        other, size, leaves[index], path, n, forest->root[size]);

                assert_int_equal(rc, other == index ? FSP_OK : FSP_EVERIFY);
            }
        }
    }
    free(forest);
}

static void
every_consistency_proof_up_to_70_holds_and_no_altered_one_does(void **state)
{
    struct forest *forest = grow_forest();
    const uint8_t(*leaves)[FSP_HASH_LEN] = (const uint8_t(*)[FSP_HASH_LEN])forest->leaves;

    (void)state;
    for (uint64_t size = 1; size <= TREES; size++) {
        for (uint64_t old = 1; old <= size; old++) {
            uint8_t room[FSP_TREE_LEVELS + 1][FSP_HASH_LEN] = {{0}};
            struct fsp_consistency proof = {.old_size = old,
                    .size = size,
                    .old_root = forest->root[old],
                    .root = forest->root[size],
                    .path = (const uint8_t(*)[FSP_HASH_LEN])room};

            fsp_tree_consistency(leaves, size, old, room, &proof.n);
            assert_int_equal(fsp_tree_verify_consistency(&proof), FSP_OK);
            assert_true((proof.n == 0) == (old == size));
            proof.n++;
            assert_int_equal(fsp_tree_verify_consistency(&proof), FSP_EVERIFY);
            proof.n--;
            if (proof.n > 0) {
                room[(old + size) % proof.n][old % FSP_HASH_LEN] ^= 0x10u;
                assert_int_equal(fsp_tree_verify_consistency(&proof), FSP_EVERIFY);
                room[(old + size) % proof.n][old % FSP_HASH_LEN] ^= 0x10u;
                proof.n--;
                assert_int_equal(fsp_tree_verify_consistency(&proof), FSP_EVERIFY);
                proof.n++;
            }
            proof.old_root = forest->root[old % TREES + 1];
            assert_int_equal(fsp_tree_verify_consistency(&proof), FSP_EVERIFY);
            proof.old_root = forest->root[old];
            proof.root = forest->root[size % TREES + 1];
            assert_int_equal(fsp_tree_verify_consistency(&proof), FSP_EVERIFY);
        }
    }
    free(forest);
}

static void
proofs_for_impossible_sizes_are_refused(void **state)
{
    struct forest *forest = grow_forest();
    uint8_t room[FSP_TREE_LEVELS][FSP_HASH_LEN] = {{0}};
    const uint8_t(*path)[FSP_HASH_LEN] = (const uint8_t(*)[FSP_HASH_LEN])room;
    struct fsp_consistency proof = {.old_size = 0,
            .size = 8,
            .old_root = forest->root[1],
            .root = forest->root[8],
            .path = path};

    (void)state;
    assert_int_equal(fsp_tree_verify_consistency(&proof), FSP_EVERIFY);
    proof.old_size = 9;
    assert_int_equal(fsp_tree_verify_consistency(&proof), FSP_EVERIFY);
    proof.old_size = UINT64_MAX;
    proof.size = UINT64_MAX;
    assert_int_equal(fsp_tree_verify_consistency(&proof), FSP_EVERIFY);
    proof.old_size = 1;
    proof.n = FSP_TREE_LEVELS;
    assert_int_equal(fsp_tree_verify_consistency(&proof), FSP_EVERIFY);
    for (size_t n = 0; n <= FSP_TREE_LEVELS; n++) {
        assert_int_equal(
                fsp_tree_verify_inclusion(0, 0, forest->leaves[0], path, n, forest->root[1]),
                FSP_EVERIFY);
        assert_int_equal(fsp_tree_verify_inclusion(UINT64_MAX, UINT64_MAX, forest->leaves[0],
                                 path, n, forest->root[1]),
                FSP_EVERIFY);
        assert_int_equal(fsp_tree_verify_inclusion(UINT64_MAX - 1, UINT64_MAX,
                                 forest->leaves[0], path, n, forest->root[1]),
                FSP_EVERIFY);
    }
    free(forest);
}

/* The outside vectors: transparency-dev/merkle, commit 417fb0c, testdata/. Skipped when absent. */
static json_t *
load_vectors(const char *name)
{
    const char *folder = getenv("FSP_VECTORS"); // NOLINT(concurrency-mt-unsafe): one thread
    char path[4096];
    json_error_t error;
    json_t *cases;
    FILE *fp;

    if (folder == NULL)
        folder = FSP_SOURCE_DIR "/../shared/vectors";
    (void)snprintf(path, sizeof(path), "%s/%s", folder, name);
    fp = fopen(path, "r");
    if (fp == NULL) {
        print_message("skipped: no %s (set FSP_VECTORS to the folder that has it)\n", path);
        skip();
        return NULL;
    }
    cases = json_loadf(fp, JSON_DECODE_INT_AS_REAL, &error);
    (void)fclose(fp);
    if (cases == NULL || !json_is_array(cases))
        fail_msg("%s: %s", path, error.text);
    return cases;
}

/* Sizes up to 2^64 - 1 do not fit jansson's integers; all of them are either exact as a double
 * or just below 2^64. */
static uint64_t
case_number(const json_t *item, const char *member)
{
    double value = json_number_value(json_object_get(item, member));

    return value >= 18446744073709551615.0 ? UINT64_MAX : (uint64_t)value;
}

static bool
case_hash(const json_t *text, uint8_t hash[FSP_HASH_LEN])
{
    const char *base64 = json_string_value(text);

    return base64 != NULL &&
           fsp_unbase64_exact(base64, strlen(base64), hash, FSP_HASH_LEN) == FSP_OK;
}

static bool
case_path(const json_t *item, uint8_t path[][FSP_HASH_LEN], size_t *n)
{
    const json_t *list = json_object_get(item, "proof");

    *n = json_array_size(list);
    if (*n > FSP_TREE_LEVELS)
        return false;
    for (size_t i = 0; i < *n; i++)
        if (!case_hash(json_array_get(list, i), path[i]))
            return false;
    return true;
}

static bool
inclusion_case_holds(const json_t *item)
{
    uint8_t root[FSP_HASH_LEN];
    uint8_t leaf[FSP_HASH_LEN];
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    size_t n;

    if (!case_hash(json_object_get(item, "root"), root) ||
            !case_hash(json_object_get(item, "leafHash"), leaf) || !case_path(item, path, &n))
        return false;
    return fsp_tree_verify_inclusion(case_number(item, "leafIdx"),
                   case_number(item, "treeSize"), leaf, (const uint8_t(*)[FSP_HASH_LEN])path, n,
                   root) == FSP_OK;
}

static bool
consistency_case_holds(const json_t *item)
{
    uint8_t old_root[FSP_HASH_LEN];
    uint8_t root[FSP_HASH_LEN];
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    struct fsp_consistency proof = {.old_size = case_number(item, "size1"),
            .size = case_number(item, "size2"),
            .old_root = old_root,
            .root = root,
            .path = (const uint8_t(*)[FSP_HASH_LEN])path};

    if (!case_hash(json_object_get(item, "root1"), old_root) ||
            !case_hash(json_object_get(item, "root2"), root) ||
            !case_path(item, path, &proof.n))
        return false;
    return fsp_tree_verify_consistency(&proof) == FSP_OK;
}

static void
run_vectors(const char *name, bool (*holds)(const json_t *item))
{
    json_t *cases = load_vectors(name);
    size_t good = 0;

    if (cases == NULL)
        return;
    for (size_t i = 0; i < json_array_size(cases); i++) {
        const json_t *item = json_array_get(cases, i);
        bool want = json_is_false(json_object_get(item, "wantErr"));

        if (holds(item) != want)
            fail_msg("%s: %s (%s)", name, json_string_value(json_object_get(item, "name")),
                    json_string_value(json_object_get(item, "desc")));
        good += want ? 1 : 0;
    }
    print_message("%s: %zu cases, %zu of them good\n", name, json_array_size(cases), good);
    assert_true(good > 0);
    json_decref(cases);
}

static void
the_outside_inclusion_vectors_come_out_as_published(void **state)
{
    (void)state;
    run_vectors("merkle-inclusion.json", inclusion_case_holds);
}

static void
the_outside_consistency_vectors_come_out_as_published(void **state)
{
    (void)state;
    run_vectors("merkle-consistency.json", consistency_case_holds);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_roots_of_the_well_known_leaves_are_those_published),
            cmocka_unit_test(a_range_grows_to_the_roots_of_the_plain_definition),
            cmocka_unit_test(a_range_survives_being_stored_at_every_size),
            cmocka_unit_test(a_range_of_the_largest_size_has_64_subtrees),
            cmocka_unit_test(every_inclusion_proof_up_to_70_holds_and_no_altered_one_does),
            cmocka_unit_test(every_consistency_proof_up_to_70_holds_and_no_altered_one_does),
            cmocka_unit_test(proofs_for_impossible_sizes_are_refused),
            cmocka_unit_test(the_outside_inclusion_vectors_come_out_as_published),
            cmocka_unit_test(the_outside_consistency_vectors_come_out_as_published),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
