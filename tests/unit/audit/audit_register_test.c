#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "audit/register.h"
#include "base/file.h"
#include "support/signedlog.h"
#include "support/tempdir.h"

struct scene {
    struct tempdir dir;
    struct signedlog log;
    struct fsp_book book;
    struct fsp_audit_job job;
    struct fsp_pins pins;
    struct fsp_buf file;
    char path[256];
    size_t good;
    size_t unsigned_one;
};

static int
set_up(void **state)
{
    struct scene *scene = calloc(1, sizeof(*scene));
    struct signedlog *log;

    if (scene == NULL)
        return -1;
    log = &scene->log;
    tempdir_make(&scene->dir);
    signedlog_make(log);
    fsp_book_init(&scene->book);
    fsp_buf_init(&scene->file, (size_t)1 << 20);
    (void)snprintf(scene->path, sizeof(scene->path), "%s/heron.register", scene->dir.path);
    scene->job.file = scene->path;
    scene->job.pins = &scene->pins;
    (void)signedlog_put(log, "{\"at\":\"2026-03-01T00:00:00Z\",\"by\":\"clerk\",\"kind\":"
                             "\"state\",\"state\":\"working\",\"v\":1}");
    scene->good = signedlog_inspect(log, log->ada, "ada", "2026-03-01T02:00:00Z");
    (void)signedlog_countersign(log, log->ben, "ben", scene->good);
    scene->unsigned_one = signedlog_inspect(log, NULL, "ada", "2026-03-01T04:00:00Z");
    (void)signedlog_amend(log, scene->unsigned_one, true);
    (void)signedlog_roster(log, 1, ""); /* behind what it judges: order decides nothing */
    *state = scene;
    return 0;
}

static int
tear_down(void **state)
{
    struct scene *scene = *state;
    char command[300];

    fsp_book_fini(&scene->book);
    fsp_buf_fini(&scene->file);
    signedlog_free(&scene->log);
    (void)snprintf(command, sizeof(command), "rm -rf '%s'", scene->dir.path);
    if (system(command) != 0) /* NOLINT: a folder this test made */
        return -1;
    free(scene);
    return 0;
}

static enum fsp_rc
judge(struct scene *scene)
{
    signedlog_save(scene->dir.path, "heron.register", &scene->file);
    fsp_book_fini(&scene->book);
    return fsp_audit_register(&scene->book, &scene->job);
}

static enum fsp_rc
judge_range(struct scene *scene, size_t from, size_t to, uint64_t held_back, bool roster)
{
    signedlog_save_trust(&scene->log, scene->dir.path, roster);
    fsp_buf_reset(&scene->file);
    signedlog_register(&scene->log, from, to, held_back, &scene->file);
    return judge(scene);
}

static bool
says(struct scene *scene, bool json, const char *words)
{
    struct fsp_buf buf;
    bool found;

    fsp_buf_init(&buf, 200000);
    if (json)
        fsp_book_json(&scene->book, &scene->job, &buf);
    else
        fsp_book_text(&scene->book, &scene->job, &buf);
    assert_int_equal(buf.rc, FSP_OK);
    found = strstr(fsp_buf_peek(&buf), words) != NULL;
    if (!found)
        print_message("%s\n", fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
    return found;
}

static void
a_whole_log_tells_every_inspection_by_the_roster_in_it(void **state)
{
    struct scene *scene = *state;
    struct fsp_buf key;

    fsp_buf_init(&key, FSP_VKEY_MAX);
    fsp_vkey_write(fsp_skey_vkey(scene->log.instructions), &key);
    scene->job.instructions = fsp_buf_peek(&key); /* no roster beside it: the one in the log */
    assert_ok(judge_range(scene, 0, scene->log.n, 0, false), &scene->book.err);
    assert_true(scene->book.complete);
    assert_int_equal(scene->book.inspections, 2);
    assert_int_equal(scene->book.by_state[FSP_SIG_GOOD], 1);
    assert_int_equal(scene->book.by_state[FSP_SIG_NONE], 1);
    assert_int_equal(scene->book.roster_version, 1);
    assert_true(says(scene, false, "from       the beginning of the log"));
    assert_true(says(scene, false, "by ada: signed; countersigned: signed"));
    assert_true(says(scene, false, "by ada: unsigned; amended or voided by entry 4"));
    assert_true(says(scene, false, "all that this stretch of the log holds"));
    assert_true(says(scene, true, "\"inspections\":2"));
    assert_true(says(scene, true, "\"amended_by\":4"));
    fsp_buf_fini(&key);
}

static void
entries_held_back_are_counted_and_said_to_be_possible_inspections(void **state)
{
    struct scene *scene = *state;

    assert_ok(judge_range(scene, 1, 5, 1u << 3, true), &scene->book.err);
    assert_int_equal(scene->book.held_back, 1);
    assert_int_equal(scene->book.inspections, 1);
    assert_true(says(scene, false, "1 of them held back"));
    assert_true(says(scene, false, "any of them could be"));
    assert_true(says(scene, false, "between those two heads, up to the head of 5"));
    assert_true(says(scene, false, "from       the head of 1 entries"));
    assert_true(says(scene, true, "\"held_back\":1"));
}

static void
needing_signatures_or_finding_one_that_does_not_hold_ends_in_no_verdict(void **state)
{
    struct scene *scene = *state;

    scene->job.need_signature = true;
    assert_int_equal(judge_range(scene, 0, scene->log.n, 0, true), FSP_EVERIFY);
    assert_true(scene->book.complete);
    assert_non_null(strstr(scene->book.err.text, "1 of 2 inspections have none that counts"));
    assert_ok(judge_range(scene, 0, 3, 0, true), &scene->book.err);
    scene->job.need_signature = false;
    (void)signedlog_inspect_badly(&scene->log);
    assert_int_equal(judge_range(scene, 0, scene->log.n, 0, true), FSP_EVERIFY);
    assert_true(scene->book.complete);
    assert_non_null(strstr(scene->book.err.text, "inspector's signature of entry 6"));
    assert_true(says(scene, false, "LOG VERIFIED, A SIGNATURE NOT"));
}

static void
fields_are_checked_when_asked_for(void **state)
{
    struct scene *scene = *state;

    assert_ok(judge_range(scene, 0, 1, 0, true), &scene->book.err);
    assert_true(says(scene, false, "--fields checks it"));
    scene->job.fields = true;
    assert_ok(judge_range(scene, 0, 1, 0, true), &scene->book.err);
    assert_true(says(scene, false, "every record here has the fields of its kind"));
    (void)signedlog_put(&scene->log, "{\"kind\":\"dance\"}");
    assert_ok(judge_range(scene, 0, scene->log.n, 0, true), &scene->book.err);
    assert_int_equal(scene->book.odd, 1);
    assert_int_equal(scene->book.first_odd, 6);
    assert_true(says(scene, false, "1 entries are no records as this program knows them"));
}

static void
every_byte_changed_is_refused_in_a_sentence(void **state)
{
    struct scene *scene = *state;

    assert_ok(judge_range(scene, 2, 5, 1u << 3, true), &scene->book.err);
    for (size_t i = 0; i < scene->file.len; i++) {
        enum fsp_rc rc;

        scene->file.data[i] ^= 2u;
        rc = judge(scene);
        scene->file.data[i] ^= 2u;
        if (rc == FSP_OK || scene->book.complete || scene->book.err.text[0] == '\0')
            fail_msg("a bit of byte %zu flipped: accepted", i);
    }
}

static void
a_policy_of_other_keys_refuses_the_heads(void **state)
{
    struct scene *scene = *state;
    struct fsp_buf policy;
    char name[] = "other.tlog-policy";
    char path[280];

    assert_ok(judge_range(scene, 0, 3, 0, true), &scene->book.err);
    fsp_buf_init(&policy, FSP_NOTE_MAX);
    fsp_policy_write(&policy, fsp_skey_vkey(scene->log.eve), fsp_skey_vkey(scene->log.office));
    signedlog_save(scene->dir.path, name, &policy);
    (void)snprintf(path, sizeof(path), "%s/%s", scene->dir.path, name);
    scene->job.trust = path;
    assert_int_equal(judge(scene), FSP_EVERIFY);
    assert_non_null(strstr(scene->book.err.text, "the head of 3"));
    assert_false(scene->book.complete);
    fsp_buf_fini(&policy);
}

static void
an_inspection_cannot_hide_behind_odd_json(void **state)
{
    struct scene *scene = *state;
    static const char *const odd[] = {
            "entry {\"kind\" : \"inspection\",\"inspector\":\"x\"}\n",
            "entry {\"x\":{\"kind\":\"state\"},\"kind\":\"inspection\"}\n",
            "entry {\"a\":\"\\u006b\",\"\\u006bind\":\"inspection\"}\n",
    };

    for (size_t i = 0; i < sizeof(odd) / sizeof(odd[0]); i++) {
        struct signedlog *log = &scene->log;
        const char *json = odd[i] + strlen("entry ");
        const size_t n = log->n;

        /* The bytes as they are, not made canonical: an entry may be any line. */
        (void)signedlog_put(log, "{\"kind\":\"dance\"}");
        fsp_buf_reset(&log->entry[n]);
        fsp_buf_add(&log->entry[n], json, strlen(json) - 1);
        fsp_leaf_hash(log->entry[n].data, log->entry[n].len, log->leaf[n]);
        log->range[n + 1] = log->range[n];
        fsp_range_append_leaf(&log->range[n + 1], log->leaf[n]);
        fsp_buf_fini(&log->head[n + 1]);
        signedlog_sign(log, n + 1);
        (void)judge_range(scene, n, n + 1, 0, true);
        assert_true(scene->book.complete);
        assert_int_equal(scene->book.inspections, 1);
    }
}

int
main(void)
{
#define IN_A_SCENE(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
            IN_A_SCENE(a_whole_log_tells_every_inspection_by_the_roster_in_it),
            IN_A_SCENE(entries_held_back_are_counted_and_said_to_be_possible_inspections),
            IN_A_SCENE(needing_signatures_or_finding_one_that_does_not_hold_ends_in_no_verdict),
            IN_A_SCENE(fields_are_checked_when_asked_for),
            IN_A_SCENE(every_byte_changed_is_refused_in_a_sentence),
            IN_A_SCENE(a_policy_of_other_keys_refuses_the_heads),
            IN_A_SCENE(an_inspection_cannot_hide_behind_odd_json),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
