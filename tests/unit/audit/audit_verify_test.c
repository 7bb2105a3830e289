#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "audit/verify.h"
#include "base/file.h"
#include "base/text.h"
#include "support/evidence.h"

/* A folder with evidence in it. */
struct scene {
    char folder[64];
    char record[96];
    char proof[96];
    char policy[96];
    struct evidence evidence;
    struct fsp_verdict verdict;
    struct fsp_audit_job job;
    struct fsp_pins pins;
};

static void
save(const char *path, const struct fsp_buf *buf)
{
    struct fsp_err err;

    assert_ok(fsp_file_write(path, fsp_buf_peek(buf), buf->len, 0644, &err), &err);
}

static void
save_all(const struct scene *scene)
{
    save(scene->record, &scene->evidence.record);
    save(scene->proof, &scene->evidence.proof);
    save(scene->policy, &scene->evidence.policy);
}

static int
set_up(void **state)
{
    static const struct evidence_plan plan = {
            .size = 6, .index = 4, .witnesses = 1, .time_s = EVIDENCE_TIME_S};
    struct scene *scene = calloc(1, sizeof(*scene));
    struct counting counting = {0};
    const struct fsp_env env = evidence_counting_env(&counting);

    if (scene == NULL)
        return -1;
    (void)snprintf(scene->folder, sizeof(scene->folder), "/tmp/fsp-audit-XXXXXX");
    evidence_init(&scene->evidence);
    fsp_audit_init(&scene->verdict);
    if (mkdtemp(scene->folder) == NULL ||
            evidence_make(&scene->evidence, &plan, &env, NULL) != FSP_OK)
        return -1;
    (void)snprintf(scene->record, sizeof(scene->record), "%s/4.record.json", scene->folder);
    (void)snprintf(scene->proof, sizeof(scene->proof), "%s/4.tlog-proof", scene->folder);
    (void)snprintf(scene->policy, sizeof(scene->policy), "%s/trust.tlog-policy", scene->folder);
    scene->job.file = scene->record;
    scene->job.pins = &scene->pins;
    save_all(scene);
    *state = scene;
    return 0;
}

static int
tear_down(void **state)
{
    struct scene *scene = *state;

    (void)unlink(scene->record);
    (void)unlink(scene->proof);
    (void)unlink(scene->policy);
    (void)rmdir(scene->folder);
    fsp_audit_fini(&scene->verdict);
    evidence_fini(&scene->evidence);
    free(scene);
    return 0;
}

static enum fsp_rc
judge(struct scene *scene)
{
    fsp_audit_fini(&scene->verdict);
    return fsp_audit_verify(&scene->verdict, &scene->job);
}

static bool
text_says(const struct scene *scene, const char *words)
{
    struct fsp_buf buf;
    bool found;

    fsp_buf_init(&buf, 100000);
    fsp_audit_text(&scene->verdict, &scene->job, &buf);
    assert_int_equal(buf.rc, FSP_OK);
    found = strstr(fsp_buf_peek(&buf), words) != NULL;
    fsp_buf_fini(&buf);
    return found;
}

static bool
json_says(const struct scene *scene, const char *words)
{
    struct fsp_buf buf;
    bool found;

    fsp_buf_init(&buf, 100000);
    fsp_audit_json(&scene->verdict, &scene->job, &buf);
    assert_int_equal(buf.rc, FSP_OK);
    found = strstr(fsp_buf_peek(&buf), words) != NULL;
    fsp_buf_fini(&buf);
    return found;
}

static void
proof_and_policy_are_found_beside_the_record(void **state)
{
    struct scene *scene = *state;

    assert_ok(judge(scene), &scene->verdict.err);
    assert_int_equal(scene->verdict.trust, FSP_TRUST_ENCLOSED);
    assert_int_equal(scene->verdict.statement.index, 4);
    assert_non_null(scene->verdict.record);
    assert_int_equal(scene->verdict.doubts, 0);
    scene->job.file = scene->proof; /* the proof named instead of the record */
    assert_ok(judge(scene), &scene->verdict.err);
}

static void
the_report_tells_record_head_cosigner_and_what_is_not_proved(void **state)
{
    struct scene *scene = *state;
    char fingerprint[65];

    assert_ok(judge(scene), &scene->verdict.err);
    assert_true(text_says(scene, "VERIFIED"));
    assert_true(text_says(scene, "kind       inspection"));
    assert_true(text_says(scene, "by         clerk"));
    assert_true(text_says(scene, "inspector  A. Rope-Hand"));
    assert_true(text_says(scene, "decision   run"));
    assert_true(text_says(scene, EVIDENCE_ORIGIN));
    assert_true(text_says(scene, "6 entries, root "));
    assert_true(text_says(scene, "2026-03-01T08:00:00Z by lantern-basin/office"));
    assert_true(text_says(scene, "only a second witness excludes that"));
    assert_true(text_says(scene, "unsigned"));
    assert_true(text_says(scene, "the rig's own clock"));
    fsp_vkey_fingerprint(fsp_skey_vkey(scene->evidence.witness[0]), fingerprint);
    assert_true(text_says(scene, fingerprint));
    assert_true(json_says(scene, "\"verified\":true"));
    assert_true(json_says(scene, "\"trust\":\"enclosed\""));
    assert_true(json_says(scene, fingerprint));
}

static void
the_last_line_says_where_the_keys_came_from(void **state)
{
    struct scene *scene = *state;
    char list[2 * 65 + 1];

    assert_ok(judge(scene), &scene->verdict.err);
    assert_true(text_says(scene, "The keys came with the evidence; compare"));
    scene->job.trust = scene->policy;
    assert_ok(judge(scene), &scene->verdict.err);
    assert_true(text_says(scene, "The keys are those of "));
    assert_true(json_says(scene, "\"trust\":\"given\""));
    scene->job.trust = NULL;
    fsp_vkey_fingerprint(fsp_skey_vkey(scene->evidence.log), list);
    list[64] = ',';
    fsp_vkey_fingerprint(fsp_skey_vkey(scene->evidence.witness[0]), list + 65);
    assert_ok(fsp_pins_add(&scene->pins, list, &scene->verdict.err), &scene->verdict.err);
    assert_ok(judge(scene), &scene->verdict.err);
    assert_true(text_says(scene, "given with --pin"));
    assert_true(json_says(scene, "\"trust\":\"pinned\""));
}

static void
a_key_without_a_pin_is_refused_and_its_fingerprint_named(void **state)
{
    struct scene *scene = *state;
    char fingerprint[65];

    fsp_vkey_fingerprint(fsp_skey_vkey(scene->evidence.log), fingerprint);
    assert_ok(fsp_pins_add(&scene->pins, fingerprint, NULL), &scene->verdict.err);
    assert_int_equal(judge(scene), FSP_EVERIFY);
    fsp_vkey_fingerprint(fsp_skey_vkey(scene->evidence.witness[0]), fingerprint);
    assert_non_null(strstr(scene->verdict.err.text, fingerprint));
    assert_true(json_says(scene, "\"verified\":false"));
    assert_true(json_says(scene, fingerprint));
}

static void
pins_that_are_no_fingerprints_are_refused(void **state)
{
    static const char hex[] =
            "00112233445566778899AABBCCDDEEFF00112233445566778899aabbccddeeff";
    char text[200];
    struct fsp_pins pins = {.n = 0};

    (void)state;
    assert_int_equal(fsp_pins_add(&pins, hex, NULL), FSP_OK);
    (void)snprintf(text, sizeof(text), "%s,%s", hex, hex);
    assert_int_equal(fsp_pins_add(&pins, text, NULL), FSP_OK);
    assert_int_equal(pins.n, 3);
    assert_int_equal(fsp_pins_add(&pins, "", NULL), FSP_EINVAL);
    assert_int_equal(fsp_pins_add(&pins, hex + 1, NULL), FSP_EINVAL);
    (void)snprintf(text, sizeof(text), "%s,", hex);
    assert_int_equal(fsp_pins_add(&pins, text, NULL), FSP_EINVAL);
    (void)snprintf(text, sizeof(text), "%s", hex);
    text[5] = 'g';
    assert_int_equal(fsp_pins_add(&pins, text, NULL), FSP_EINVAL);
    pins.n = FSP_AUDIT_PINS_MAX;
    assert_int_equal(fsp_pins_add(&pins, hex, NULL), FSP_EINVAL);
}

static void
what_is_missing_is_named_and_not_taken_for_bad(void **state)
{
    struct scene *scene = *state;
    const char *const files[] = {scene->policy, scene->proof, scene->record};

    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(unlink(files[i]), 0);
        assert_int_equal(judge(scene), FSP_ENOTFOUND);
        assert_non_null(strstr(scene->verdict.err.text, files[i]));
    }
    scene->job.file = "record.json.txt";
    assert_int_equal(judge(scene), FSP_EINVAL);
    scene->job.file = ".record.json"; /* no number */
    assert_int_equal(judge(scene), FSP_EINVAL);
}

static void
every_changed_byte_of_the_record_is_refused(void **state)
{
    struct scene *scene = *state;

    for (size_t i = 0; i < scene->evidence.record.len; i += 7) {
        scene->evidence.record.data[i] ^= 0x04u;
        save(scene->record, &scene->evidence.record);
        assert_int_equal(judge(scene), FSP_EVERIFY);
        assert_non_null(strstr(scene->verdict.err.text, "was changed or belongs elsewhere"));
        assert_null(scene->verdict.record);
        scene->evidence.record.data[i] ^= 0x04u;
    }
}

static void
a_newline_at_the_record_s_end_is_pointed_out(void **state)
{
    struct scene *scene = *state;

    fsp_buf_add_byte(&scene->evidence.record, '\n');
    save(scene->record, &scene->evidence.record);
    assert_int_equal(judge(scene), FSP_EVERIFY);
    assert_non_null(strstr(scene->verdict.err.text, "ends in a newline"));
}

static void
a_record_too_large_is_refused_as_bad(void **state)
{
    struct scene *scene = *state;
    struct fsp_buf big;

    fsp_buf_init(&big, 2 * FSP_ENTRY_MAX);
    while (big.len <= FSP_ENTRY_MAX)
        fsp_buf_add_byte(&big, 'x');
    save(scene->record, &big);
    assert_int_equal(judge(scene), FSP_ELIMIT);
    fsp_buf_fini(&big);
}

/* Evidence for an entry of the caller's making. */
static void
prove_instead(struct scene *scene, const char *entry, size_t witnesses)
{
    const char *const entries[] = {entry};
    const struct evidence_plan plan = {
            .entries = entries, .size = 1, .witnesses = witnesses, .time_s = EVIDENCE_TIME_S};
    struct counting counting = {0};
    const struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_err err;

    evidence_fini(&scene->evidence);
    assert_ok(evidence_make(&scene->evidence, &plan, &env, &err), &err);
    save_all(scene);
}

static void
an_entry_that_is_no_record_is_proved_as_bytes(void **state)
{
    struct scene *scene = *state;

    prove_instead(scene, "no \x1b[31mrecord", 1);
    assert_ok(judge(scene), &scene->verdict.err);
    assert_null(scene->verdict.record);
    assert_true(text_says(scene, "no record that this program can read"));
    assert_false(text_says(scene, "\x1b"));
    assert_true(json_says(scene, "\"unread\":"));
}

static void
an_inspection_of_another_rig_or_fleet_raises_a_doubt(void **state)
{
    struct scene *scene = *state;

    prove_instead(scene,
            "{\"at\":\"2026-03-01T06:00:00Z\",\"by\":\"clerk\",\"fleet\":\"lantern-basin\","
            "\"kind\":\"inspection\",\"rig\":\"plover\",\"v\":1}",
            1);
    assert_ok(judge(scene), &scene->verdict.err);
    assert_int_equal(scene->verdict.doubts, 1);
    assert_true(text_says(scene, "Doubt\n  the inspection names rig plover"));
    assert_true(json_says(scene, "names rig plover"));
    prove_instead(scene,
            "{\"at\":\"2026-03-05T06:00:00Z\",\"by\":\"clerk\",\"kind\":\"state\",\"v\":1}", 1);
    assert_ok(judge(scene), &scene->verdict.err);
    assert_true(text_says(scene, "a clock was wrong"));
}

static void
two_witnesses_are_both_told_and_the_collusion_caution_falls(void **state)
{
    struct scene *scene = *state;

    prove_instead(scene,
            "{\"at\":\"2026-03-01T06:00:00Z\",\"by\":\"clerk\",\"kind\":\"state\",\"v\":1}", 2);
    assert_ok(judge(scene), &scene->verdict.err);
    assert_true(text_says(scene, "by witness-1.example"));
    assert_false(text_says(scene, "second witness"));
    assert_false(text_says(scene, "roster"));
}

int
main(void)
{
#define IN_SCENE(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
            IN_SCENE(proof_and_policy_are_found_beside_the_record),
            IN_SCENE(the_report_tells_record_head_cosigner_and_what_is_not_proved),
            IN_SCENE(the_last_line_says_where_the_keys_came_from),
            IN_SCENE(a_key_without_a_pin_is_refused_and_its_fingerprint_named),
            IN_SCENE(what_is_missing_is_named_and_not_taken_for_bad),
            IN_SCENE(every_changed_byte_of_the_record_is_refused),
            IN_SCENE(a_newline_at_the_record_s_end_is_pointed_out),
            IN_SCENE(a_record_too_large_is_refused_as_bad),
            IN_SCENE(an_entry_that_is_no_record_is_proved_as_bytes),
            IN_SCENE(an_inspection_of_another_rig_or_fleet_raises_a_doubt),
            IN_SCENE(two_witnesses_are_both_told_and_the_collusion_caution_falls),
            cmocka_unit_test(pins_that_are_no_fingerprints_are_refused),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
