/* take: bundles that came as files; the answers go back as a file. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "office/cmd.h"
#include "office/intake.h"
#include "office/keys.h"
#include "wire/answer.h"

#define ANSWERS_MAX ((size_t)64 * 1024 * 1024)
#define BAD_BUNDLE  400

struct taking {
    struct fsp_shelf *shelf;
    struct fsp_office_keys keys;
    struct fsp_intake *intake;
    struct fsp_buf answers; /* the .receipt file */
    struct fsp_buf answer;
    int status; /* exit status so far */
};

static void
worse(struct taking *taking, int status)
{
    if (taking->status == 0 || (taking->status == 1 && status != 0))
        taking->status = status;
}

/* Say on standard error why a bundle was not taken. */
static void
report(struct taking *taking, const char *path, size_t number, int status)
{
    const struct fsp_buf *answer = &taking->answer;
    struct fsp_refusal refusal;

    if (status == FSP_ANSWER_TAKEN)
        return;
    worse(taking, status == FSP_ANSWER_FORK ? 2 : 1);
    if ((status != FSP_ANSWER_GAP && status != FSP_ANSWER_FORK) ||
            fsp_refusal_read(&refusal, answer->data, answer->len,
                    fsp_skey_vkey(taking->keys.instructions), NULL) != FSP_OK) {
        fsp_cmd_warn(
                "%s: bundle %zu refused (%d): %s", path, number, status, fsp_buf_peek(answer));
        return;
    }
    if (status == FSP_ANSWER_GAP)
        fsp_cmd_warn("%s: bundle %zu of %s begins above the %llu entries held here (409): take "
                     "the receipt to the rig and carry again",
                path, number, refusal.origin, (unsigned long long)refusal.size);
    else if (refusal.has_renewed)
        fsp_cmd_warn("%s: bundle %zu of %s comes after that log was closed, %s continues it "
                     "(422): another PC has its key, see docs/keys.md; the head is kept, keep "
                     "this file too",
                path, number, refusal.origin, refusal.renewed.name);
    else
        fsp_cmd_warn("%s: bundle %zu of %s contradicts what is held here (422): both heads are "
                     "kept, nothing was overwritten; take the receipt to the rig",
                path, number, refusal.origin);
}

static void
cut_short(struct taking *taking, const char *path, size_t number, const struct fsp_err *err)
{
    static const char line[] = "not a whole bundle; carry it again";

    fsp_cmd_warn("%s: bundle %zu: %s", path, number, err->text);
    fsp_answers_add(&taking->answers, BAD_BUNDLE, line, sizeof(line) - 1);
    worse(taking, 1);
}

static enum fsp_rc
take_file(struct taking *taking, const char *path, struct fsp_err *err)
{
    uint8_t *bytes = NULL;
    size_t len = 0;
    size_t pos = 0;
    size_t taken = 0;
    size_t number = 0;
    enum fsp_rc rc = fsp_file_read(path, FSP_COURIER_MAX, &bytes, &len, err);

    while (rc == FSP_OK && (pos < len || number == 0)) {
        size_t whole = 0;
        int status = 0;

        number++;
        if (fsp_bundle_length(bytes + pos, len - pos, &whole, err) != FSP_OK) {
            cut_short(taking, path, number, err);
            break; /* where the next one begins is not known */
        }
        rc = fsp_intake_take(taking->intake, bytes + pos, whole, &status, &taking->answer, err);
        if (rc != FSP_OK) {
            rc = fsp_err_wrap(err, rc, "%s: bundle %zu", path, number);
            break;
        }
        fsp_answers_add_whole(
                &taking->answers, status, taking->answer.data, taking->answer.len);
        taken += status == FSP_ANSWER_TAKEN ? 1 : 0;
        report(taking, path, number, status);
        pos += whole;
    }
    if (rc == FSP_OK)
        (void)printf("%s: %zu of %zu %s taken\n", path, taken, number,
                number == 1 ? "bundle" : "bundles");
    free(bytes);
    return rc;
}

static enum fsp_rc
open_all(struct fsp_args *args, struct taking *taking, struct fsp_err *err)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    const char *store = NULL;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, SIZE_MAX, err);

    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, FSP_SHELF_WRITE, &taking->shelf, err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&taking->keys, store, err);
    if (rc == FSP_OK)
        rc = fsp_intake_new(taking->shelf, &taking->keys, office->env, &taking->intake, err);
    return rc;
}

int
fsp_cmd_take(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct fsp_err written = {0};
    struct taking taking = {0};
    const char *receipt = fsp_args_get(args, "receipt");
    size_t head = 0;
    enum fsp_rc rc;

    fsp_buf_init(&taking.answers, ANSWERS_MAX);
    fsp_buf_init(&taking.answer, 2 * FSP_NOTE_MAX);
    rc = open_all(args, &taking, &err);
    if (rc == FSP_OK) {
        fsp_answers_begin(&taking.answers);
        head = taking.answers.len;
    }
    for (size_t i = 0; rc == FSP_OK && i < fsp_args_rest_count(args); i++)
        rc = take_file(&taking, fsp_args_rest(args, i), &err);
    if (rc != FSP_OK)
        taking.status = fsp_cmd_fail(rc, &err);
    /* Also after a failure: what was taken has its receipt. Without an answer there is none. */
    if (taking.answers.len > head && receipt != NULL) {
        rc = fsp_buf_check(&taking.answers, receipt, &written);
        if (rc == FSP_OK)
            rc = fsp_file_write(
                    receipt, taking.answers.data, taking.answers.len, 0644, &written);
        if (rc != FSP_OK)
            worse(&taking, fsp_cmd_fail(rc, &written));
    }
    fsp_intake_free(taking.intake);
    fsp_office_keys_fini(&taking.keys);
    fsp_shelf_close(taking.shelf);
    fsp_buf_fini(&taking.answer);
    fsp_buf_fini(&taking.answers);
    return taking.status;
}
