#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "audit/cosign.h"
#include "base/file.h"
#include "proof/request.h"
#include "support/signedlog.h"
#include "support/tempdir.h"

#define NOW_S 1772400000

struct scene {
    struct tempdir dir;
    char state[256];
    struct signedlog log;
    struct fsp_skey *witness;
    struct fsp_witness_job job;
    struct fsp_buf request;
    struct fsp_buf out;
    struct fsp_checkpoint head;
    struct fsp_err err;
};

static int
set_up(void **state)
{
    struct scene *scene = calloc(1, sizeof(*scene));
    struct counting counting = {.next = 200};
    const struct fsp_env env = evidence_counting_env(&counting);

    if (scene == NULL)
        return -1;
    tempdir_make(&scene->dir);
    (void)snprintf(scene->state, sizeof(scene->state), "%s/state", scene->dir.path);
    signedlog_make(&scene->log);
    for (int i = 0; i < 9; i++)
        (void)signedlog_inspect(&scene->log, NULL, "ada", "2026-03-01T02:00:00Z");
    fsp_buf_init(&scene->request, FSP_REQUEST_MAX);
    fsp_buf_init(&scene->out, 2 * FSP_NOTE_MAX);
    if (fsp_skey_new(&scene->witness, "client.example/witness", FSP_KEY_COSIGNER, &env,
                &scene->err) != FSP_OK)
        return -1;
    scene->job.state = scene->state;
    scene->job.key = scene->witness;
    scene->job.now_s = NOW_S;
    *state = scene;
    return 0;
}

static int
tear_down(void **state)
{
    struct scene *scene = *state;
    char command[300];

    signedlog_free(&scene->log);
    fsp_skey_free(scene->witness);
    fsp_buf_fini(&scene->request);
    fsp_buf_fini(&scene->out);
    (void)snprintf(command, sizeof(command), "rm -rf '%s'", scene->dir.path);
    if (system(command) != 0) /* NOLINT: a folder this test made */
        return -1;
    free(scene);
    return 0;
}

static void
make_request(struct scene *scene, size_t old, size_t size)
{
    uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
    size_t n = 0;

    if (old > 0 && old < size)
        fsp_tree_consistency(
                (const uint8_t(*)[FSP_HASH_LEN])scene->log.leaf, size, old, path, &n);
    fsp_buf_reset(&scene->request);
    fsp_request_write(&scene->request, old, (const uint8_t(*)[FSP_HASH_LEN])path, n,
            fsp_buf_peek(&scene->log.head[size]), scene->log.head[size].len);
}

static enum fsp_rc
cosign_bytes(struct scene *scene)
{
    fsp_buf_reset(&scene->out);
    return fsp_witness_cosign(&scene->job, fsp_buf_peek(&scene->request), scene->request.len,
            &scene->out, &scene->head, &scene->err);
}

static enum fsp_rc
cosign(struct scene *scene, size_t old, size_t size)
{
    make_request(scene, old, size);
    return cosign_bytes(scene);
}

static void
list_log(struct scene *scene)
{
    assert_ok(fsp_witness_add_log(scene->state, fsp_skey_vkey(scene->log.log), &scene->err),
            &scene->err);
}

/* The output is the head with its lines and a good one of the witness. */
static uint64_t
cosigned_at(const struct scene *scene)
{
    static struct fsp_note note;
    uint64_t time_s = 0;
    struct fsp_err err;

    assert_ok(fsp_note_parse(&note, scene->out.data, scene->out.len, &err), &err);
    assert_ok(fsp_note_verify(&note, fsp_skey_vkey(scene->log.log), NULL, &err), &err);
    assert_ok(fsp_note_verify(&note, fsp_skey_vkey(scene->witness), &time_s, &err), &err);
    return time_s;
}

static void
a_log_is_cosigned_as_it_grows_and_never_earlier_than_before(void **state)
{
    struct scene *scene = *state;

    list_log(scene);
    assert_ok(cosign(scene, 0, 3), &scene->err);
    assert_int_equal(cosigned_at(scene), NOW_S);
    assert_int_equal(scene->head.size, 3);
    scene->job.now_s = NOW_S - 500; /* a clock put back */
    assert_ok(cosign(scene, 3, 7), &scene->err);
    assert_int_equal(cosigned_at(scene), NOW_S);
    scene->job.now_s = NOW_S + 500;
    assert_ok(cosign(scene, 7, 7), &scene->err); /* the answer was lost: again */
    assert_int_equal(cosigned_at(scene), NOW_S + 500);
    assert_ok(cosign(scene, 7, 9), &scene->err);
}

static void
an_unlisted_log_is_refused_and_leaves_no_state(void **state)
{
    struct scene *scene = *state;

    assert_int_equal(cosign(scene, 0, 3), FSP_ENOTFOUND);
    assert_non_null(strstr(scene->err.text, "not among those"));
    assert_int_equal(scene->out.len, 0);
    list_log(scene);
    list_log(scene); /* twice is once */
    assert_ok(cosign(scene, 0, 3), &scene->err);
}

static void
another_key_for_a_listed_log_is_refused(void **state)
{
    struct scene *scene = *state;
    struct counting counting = {.next = 90};
    const struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_skey *other = NULL;

    list_log(scene);
    assert_ok(fsp_skey_new(&other, EVIDENCE_ORIGIN, FSP_KEY_NOTE, &env, &scene->err),
            &scene->err);
    assert_int_equal(
            fsp_witness_add_log(scene->state, fsp_skey_vkey(other), &scene->err), FSP_EVERIFY);
    assert_int_equal(
            fsp_witness_add_log(scene->state, fsp_skey_vkey(scene->witness), &scene->err),
            FSP_EINVAL);
    fsp_skey_free(other);
}

static void
rollback_two_histories_and_a_false_proof_are_refused(void **state)
{
    struct scene *scene = *state;
    struct signedlog fork;

    list_log(scene);
    assert_ok(cosign(scene, 0, 5), &scene->err);
    assert_int_equal(cosign(scene, 0, 3), FSP_EVERIFY);
    assert_non_null(strstr(scene->err.text, "rollback"));
    assert_int_equal(cosign(scene, 3, 7), FSP_EAGAIN);
    assert_non_null(strstr(scene->err.text, "--old 5"));
    make_request(scene, 5, 9);
    scene->request.data[8] = scene->request.data[8] == 'A' ? 'B' : 'A'; /* a hash */
    assert_int_not_equal(cosign_bytes(scene), FSP_OK);
    /* The same keys sign another history. */
    signedlog_make(&fork);
    for (int i = 0; i < 9; i++)
        (void)signedlog_inspect(&fork, NULL, "eve", "2026-03-01T02:00:00Z");
    fsp_buf_reset(&scene->request);
    fsp_request_write(
            &scene->request, 5, NULL, 0, fsp_buf_peek(&fork.head[5]), fork.head[5].len);
    assert_int_equal(cosign_bytes(scene), FSP_EFORK);
    assert_non_null(strstr(scene->err.text, "two histories"));
    make_request(scene, 5, 9);
    {
        uint8_t path[FSP_TREE_LEVELS][FSP_HASH_LEN];
        size_t n = 0;

        fsp_tree_consistency((const uint8_t(*)[FSP_HASH_LEN])fork.leaf, 9, 5, path, &n);
        fsp_buf_reset(&scene->request);
        fsp_request_write(&scene->request, 5, (const uint8_t(*)[FSP_HASH_LEN])path, n,
                fsp_buf_peek(&fork.head[9]), fork.head[9].len);
    }
    assert_int_equal(cosign_bytes(scene), FSP_EVERIFY);
    assert_non_null(strstr(scene->err.text, "does not continue"));
    assert_int_equal(scene->out.len, 0);
    signedlog_free(&fork);
    assert_ok(cosign(scene, 5, 9), &scene->err); /* the true one goes on */
}

static void
a_head_that_its_log_did_not_sign_is_refused(void **state)
{
    struct scene *scene = *state;

    list_log(scene);
    make_request(scene, 0, 3);
    for (size_t i = 0; i < scene->request.len * 8; i++) {
        enum fsp_rc rc;

        scene->request.data[i / 8] ^= (uint8_t)(1u << (i % 8));
        rc = cosign_bytes(scene);
        scene->request.data[i / 8] ^= (uint8_t)(1u << (i % 8));
        /* A flipped bit in the office's own line is no business of this witness. */
        if (rc == FSP_OK && scene->head.size != 3)
            fail_msg("bit %zu flipped: another head was cosigned", i);
        if (rc == FSP_OK)
            assert_true(cosigned_at(scene) == NOW_S);
    }
}

static void
a_state_that_cannot_be_read_stops_the_witness(void **state)
{
    struct scene *scene = *state;
    static const char foreign[] = "farspool-witness-state/v1\norigin x\nsize 5\nroot "
                                  "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\ntime 1\n";
    static const char *const bad[] = {"", "farspool-witness-state/v1\n", foreign};
    char path[400];
    uint8_t hash[FSP_HASH_LEN];
    char hex[2 * FSP_HASH_LEN + 1];

    list_log(scene);
    assert_ok(cosign(scene, 0, 5), &scene->err);
    fsp_leaf_hash(EVIDENCE_ORIGIN, strlen(EVIDENCE_ORIGIN), hash);
    for (size_t i = 0; i < sizeof(hash); i++)
        (void)snprintf(hex + 2 * i, 3, "%02x", hash[i]);
    (void)snprintf(path, sizeof(path), "%s/%s.head", scene->state, hex);
    assert_true(fsp_file_exists(path));
    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        assert_ok(fsp_file_write(path, bad[i], strlen(bad[i]), 0600, &scene->err), &scene->err);
        assert_int_equal(cosign(scene, 0, 3), FSP_ECORRUPT);
        assert_int_equal(cosign(scene, 5, 9), FSP_ECORRUPT);
        assert_int_equal(scene->out.len, 0);
    }
}

static void
a_state_that_cannot_be_written_gives_no_cosignature(void **state)
{
    struct scene *scene = *state;
    char path[400];
    uint8_t hash[FSP_HASH_LEN];
    char hex[2 * FSP_HASH_LEN + 1];

    list_log(scene);
    fsp_leaf_hash(EVIDENCE_ORIGIN, strlen(EVIDENCE_ORIGIN), hash);
    for (size_t i = 0; i < sizeof(hash); i++)
        (void)snprintf(hex + 2 * i, 3, "%02x", hash[i]);
    (void)snprintf(path, sizeof(path), "%s/%s.head", scene->state, hex);
    assert_int_equal(mkdir(path, 0700), 0); /* nothing can take its place */
    assert_int_not_equal(cosign(scene, 0, 3), FSP_OK);
    assert_int_equal(scene->out.len, 0);
}

int
main(void)
{
#define IN_A_SCENE(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
            IN_A_SCENE(a_log_is_cosigned_as_it_grows_and_never_earlier_than_before),
            IN_A_SCENE(an_unlisted_log_is_refused_and_leaves_no_state),
            IN_A_SCENE(another_key_for_a_listed_log_is_refused),
            IN_A_SCENE(rollback_two_histories_and_a_false_proof_are_refused),
            IN_A_SCENE(a_head_that_its_log_did_not_sign_is_refused),
            IN_A_SCENE(a_state_that_cannot_be_read_stops_the_witness),
            IN_A_SCENE(a_state_that_cannot_be_written_gives_no_cosignature),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
