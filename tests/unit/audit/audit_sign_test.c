#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "audit/company.h"
#include "audit/verify.h"
#include "base/file.h"
#include "support/signedlog.h"
#include "support/tempdir.h"

/* Signatures by persons on records that lie in a folder with the roster. */
struct scene {
    struct tempdir dir;
    struct signedlog log;
    struct fsp_verdict verdict;
    struct fsp_pins pins;
    struct fsp_audit_job job;
    char path[256];
};

static int
set_up(void **state)
{
    struct scene *scene = calloc(1, sizeof(*scene));

    if (scene == NULL)
        return -1;
    tempdir_make(&scene->dir);
    signedlog_make(&scene->log);
    (void)signedlog_roster(&scene->log, 1, "");
    fsp_audit_init(&scene->verdict);
    scene->job.pins = &scene->pins;
    *state = scene;
    return 0;
}

static int
tear_down(void **state)
{
    struct scene *scene = *state;
    char command[300];

    fsp_audit_fini(&scene->verdict);
    signedlog_free(&scene->log);
    (void)snprintf(command, sizeof(command), "rm -rf '%s'", scene->dir.path);
    if (system(command) != 0) /* NOLINT: a folder this test made */
        return -1;
    free(scene);
    return 0;
}

/* Save entry and trust, then judge the record alone. */
static enum fsp_rc
judge(struct scene *scene, size_t index, bool roster)
{
    signedlog_save_trust(&scene->log, scene->dir.path, roster);
    signedlog_save_pair(&scene->log, scene->dir.path, index);
    (void)snprintf(
            scene->path, sizeof(scene->path), "%s/%zu.record.json", scene->dir.path, index);
    scene->job.file = scene->path;
    fsp_audit_fini(&scene->verdict);
    return fsp_audit_verify(&scene->verdict, &scene->job);
}

static bool
says(struct scene *scene, bool json, const char *words)
{
    struct fsp_buf buf;
    bool found;

    fsp_buf_init(&buf, 200000);
    if (json)
        fsp_audit_json(&scene->verdict, &scene->job, &buf);
    else
        fsp_audit_text(&scene->verdict, &scene->job, &buf);
    assert_int_equal(buf.rc, FSP_OK);
    found = strstr(fsp_buf_peek(&buf), words) != NULL;
    if (!found)
        print_message("%s\n", fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
    return found;
}

static void
a_signed_inspection_is_told_with_its_key_and_the_roster(void **state)
{
    struct scene *scene = *state;
    const size_t i =
            signedlog_inspect(&scene->log, scene->log.ada, "ada", "2026-03-01T02:00:00Z");
    char fingerprint[65];

    assert_ok(judge(scene, i, true), &scene->verdict.err);
    assert_true(scene->verdict.signature.judged);
    assert_int_equal(scene->verdict.signature.state, FSP_SIG_GOOD);
    fsp_vkey_fingerprint(fsp_skey_vkey(scene->log.ada), fingerprint);
    assert_true(says(scene, false, fingerprint));
    assert_true(says(scene, false, "state      signed"));
    assert_true(says(scene, false, "roster     version 1 of 2026-02-28T09:00:00Z"));
    assert_true(says(scene, false, "that this roster is the newest"));
    assert_true(says(scene, false, "The roster's key came with the evidence too"));
    assert_true(says(scene, true, "\"signature\":{\"state\":\"signed\",\"signer\":\"ada\""));
    scene->job.need_signature = true;
    assert_ok(judge(scene, i, true), &scene->verdict.err);
}

static void
unsigned_off_roster_and_out_of_date_are_verified_as_what_they_are(void **state)
{
    struct scene *scene = *state;
    const size_t entry[] = {
            signedlog_inspect(&scene->log, NULL, "ada", "2026-03-01T02:00:00Z"),
            signedlog_inspect(&scene->log, scene->log.eve, "eve", "2026-03-01T02:01:00Z"),
            signedlog_inspect(&scene->log, scene->log.ben, "ben", "2026-03-01T02:02:00Z"),
            signedlog_inspect(&scene->log, scene->log.ada, "ada", "2026-02-27T02:00:00Z"),
    };
    static const enum fsp_sig_state want[] = {
            FSP_SIG_NONE, FSP_SIG_OFF_ROSTER, FSP_SIG_OFF_ROSTER, FSP_SIG_OUT_OF_DATE};

    for (size_t i = 0; i < sizeof(want) / sizeof(want[0]); i++) {
        scene->job.need_signature = false;
        assert_ok(judge(scene, entry[i], true), &scene->verdict.err);
        assert_int_equal(scene->verdict.signature.state, want[i]);
        assert_true(says(scene, false, fsp_sig_state_text(want[i])));
        assert_true(says(scene, false, "no signature counts"));
        scene->job.need_signature = true;
        assert_int_equal(judge(scene, entry[i], true), FSP_EVERIFY);
        assert_true(scene->verdict.entry_verified);
        assert_non_null(strstr(scene->verdict.err.text, "a signature is needed"));
        assert_true(says(scene, false, "ENTRY VERIFIED, SIGNATURE NOT"));
        assert_true(says(scene, true, "\"verified\":false"));
        assert_true(says(scene, true, "\"entry_verified\":true"));
    }
}

static void
a_signature_that_does_not_hold_is_no_verdict_but_the_entry_is(void **state)
{
    struct scene *scene = *state;
    const size_t i = signedlog_inspect_badly(&scene->log);

    assert_int_equal(judge(scene, i, true), FSP_EVERIFY);
    assert_true(scene->verdict.entry_verified);
    assert_non_null(strstr(scene->verdict.err.text, "inspector's signature does not hold"));
    assert_non_null(strstr(scene->verdict.err.text, "the record itself is entry 1"));
    assert_true(says(scene, false, "ENTRY VERIFIED, SIGNATURE NOT"));
}

static void
without_a_roster_a_signature_is_not_judged(void **state)
{
    struct scene *scene = *state;
    const size_t i =
            signedlog_inspect(&scene->log, scene->log.ada, "ada", "2026-03-01T02:00:00Z");

    assert_ok(judge(scene, i, false), &scene->verdict.err);
    assert_false(scene->verdict.signature.judged);
    assert_true(says(scene, false, "not judged without a roster"));
    assert_true(says(scene, true, "\"state\":\"not judged\""));
    scene->job.need_signature = true;
    assert_int_equal(judge(scene, i, false), FSP_EVERIFY);
}

static void
a_roster_by_another_key_or_altered_is_refused(void **state)
{
    struct scene *scene = *state;
    const size_t i =
            signedlog_inspect(&scene->log, scene->log.ada, "ada", "2026-03-01T02:00:00Z");
    struct fsp_buf stranger;

    fsp_buf_init(&stranger, FSP_VKEY_MAX);
    fsp_vkey_write(fsp_skey_vkey(scene->log.eve), &stranger);
    scene->job.instructions = fsp_buf_peek(&stranger);
    assert_int_equal(judge(scene, i, true), FSP_EVERIFY);
    assert_non_null(strstr(scene->verdict.err.text, "roster"));
    fsp_buf_reset(&stranger);
    fsp_vkey_write(fsp_skey_vkey(scene->log.instructions), &stranger);
    assert_ok(judge(scene, i, true), &scene->verdict.err);
    assert_int_equal(scene->verdict.signature.trust, FSP_TRUST_GIVEN);
    assert_true(says(scene, false, "given with --instructions"));
    fsp_buf_fini(&stranger);
    scene->job.instructions = NULL;
    for (size_t byte = 0; byte < scene->log.roster.len; byte++) {
        enum fsp_rc rc;

        scene->log.roster.data[byte] ^= 1u;
        rc = judge(scene, i, true);
        scene->log.roster.data[byte] ^= 1u;
        if (rc == FSP_OK)
            fail_msg("a bit of byte %zu of the roster flipped: accepted", byte);
    }
}

static void
every_truncation_of_the_roster_is_refused(void **state)
{
    struct scene *scene = *state;
    const size_t i =
            signedlog_inspect(&scene->log, scene->log.ada, "ada", "2026-03-01T02:00:00Z");
    const size_t whole = scene->log.roster.len;

    for (size_t len = 0; len < whole; len++) {
        scene->log.roster.len = len;
        if (judge(scene, i, true) == FSP_OK)
            fail_msg("a roster cut to %zu of %zu bytes: accepted", len, whole);
    }
    scene->log.roster.len = whole;
    assert_ok(judge(scene, i, true), &scene->verdict.err);
}

static void
an_entry_first_seen_after_its_key_was_revoked_is_said_to_be(void **state)
{
    struct scene *scene = *state;
    struct signedlog *log = &scene->log;
    struct fsp_buf more;
    size_t i;

    /* eve's key is revoked at 07:00, the office sees the log at 08:00. */
    fsp_buf_init(&more, 1000);
    fsp_buf_add_text(&more, "\nsigner ");
    fsp_vkey_write(fsp_skey_vkey(log->eve), &more);
    fsp_buf_add_text(&more, " 2026-03-01 - inspect revoked 2026-03-01T07:00:00Z");
    (void)signedlog_roster(log, 2, fsp_buf_peek(&more));
    fsp_buf_fini(&more);
    i = signedlog_inspect(log, log->eve, "eve", "2026-03-01T06:30:00Z");
    assert_ok(judge(scene, i, true), &scene->verdict.err);
    assert_int_equal(scene->verdict.signature.state, FSP_SIG_GOOD);
    assert_true(scene->verdict.signature.seen_after_revoked);
    assert_true(says(scene, false, "revoked from 2026-03-01T07:00:00Z on"));
    i = signedlog_inspect(log, log->eve, "eve", "2026-03-01T07:30:00Z");
    assert_ok(judge(scene, i, true), &scene->verdict.err);
    assert_int_equal(scene->verdict.signature.state, FSP_SIG_OUT_OF_DATE);
}

static void
pin(struct scene *scene, const struct fsp_skey *key)
{
    char fingerprint[65];
    struct fsp_err err;

    fsp_vkey_fingerprint(fsp_skey_vkey(key), fingerprint);
    assert_ok(fsp_pins_add(&scene->pins, fingerprint, &err), &err);
}

static void
keys_of_the_roster_may_be_pinned_like_the_others(void **state)
{
    struct scene *scene = *state;
    const size_t i =
            signedlog_inspect(&scene->log, scene->log.ada, "ada", "2026-03-01T02:00:00Z");

    pin(scene, scene->log.log);
    pin(scene, scene->log.office);
    assert_ok(judge(scene, i, true), &scene->verdict.err);
    assert_int_equal(scene->verdict.signature.trust, FSP_TRUST_ENCLOSED);
    pin(scene, scene->log.instructions);
    assert_ok(judge(scene, i, true), &scene->verdict.err);
    assert_int_equal(scene->verdict.signature.trust, FSP_TRUST_PINNED);
    assert_int_equal(scene->verdict.trust, FSP_TRUST_PINNED);
}

/* Every one of these entries, saved and joined. */
static struct fsp_company *
gathered(struct scene *scene, const size_t *entries, size_t n)
{
    struct fsp_company *company = NULL;
    struct fsp_err err;

    assert_ok(judge(scene, entries[0], true), &scene->verdict.err);
    assert_ok(fsp_company_new(&company, &scene->job, false, &err), &err);
    for (size_t i = 0; i < n; i++)
        if (judge(scene, entries[i], true) != FSP_OK ||
                fsp_company_add(company, &scene->verdict, &err) != FSP_OK)
            fail_msg("entry %zu does not join", entries[i]);
    return company;
}

static void
judge_among(struct scene *scene, struct fsp_company *company, size_t index)
{
    assert_ok(judge(scene, index, true), &scene->verdict.err);
    fsp_company_judge(company, &scene->verdict, &scene->job);
    assert_ok(scene->verdict.rc, &scene->verdict.err);
}

static void
records_of_a_folder_tell_what_they_say_of_one_another(void **state)
{
    struct scene *scene = *state;
    struct signedlog *log = &scene->log;
    const size_t seen = signedlog_inspect(log, log->ada, "ada", "2026-03-01T02:00:00Z");
    const size_t good = signedlog_countersign(log, log->ben, "ben", seen);
    const size_t stranger = signedlog_countersign(log, log->eve, "eve", seen);
    const size_t amended = signedlog_amend(log, seen, false);
    const size_t voided = signedlog_amend(log, seen, true);
    const size_t all[] = {seen, good, stranger, amended, voided};
    struct fsp_company *company = gathered(scene, all, sizeof(all) / sizeof(all[0]));

    judge_among(scene, company, seen);
    assert_int_equal(scene->verdict.relations, 4);
    assert_true(says(scene, false, "countersigned by entry 2, by ben: signed"));
    assert_true(
            says(scene, false, "countersigned by entry 3, by eve: signer not on the roster"));
    assert_true(says(scene, false, "amended by entry 4"));
    assert_true(says(scene, false, "voided by entry 5"));
    assert_true(says(scene, true, "{\"is\":\"voided by\",\"index\":5"));
    judge_among(scene, company, good);
    assert_true(says(scene, false, "names entry 1"));
    fsp_company_free(company);
}

int
main(void)
{
#define IN_A_SCENE(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)
    const struct CMUnitTest tests[] = {
            IN_A_SCENE(a_signed_inspection_is_told_with_its_key_and_the_roster),
            IN_A_SCENE(unsigned_off_roster_and_out_of_date_are_verified_as_what_they_are),
            IN_A_SCENE(a_signature_that_does_not_hold_is_no_verdict_but_the_entry_is),
            IN_A_SCENE(without_a_roster_a_signature_is_not_judged),
            IN_A_SCENE(a_roster_by_another_key_or_altered_is_refused),
            IN_A_SCENE(every_truncation_of_the_roster_is_refused),
            IN_A_SCENE(an_entry_first_seen_after_its_key_was_revoked_is_said_to_be),
            IN_A_SCENE(keys_of_the_roster_may_be_pinned_like_the_others),
            IN_A_SCENE(records_of_a_folder_tell_what_they_say_of_one_another),
    };

    if (fsp_proof_init(NULL) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
