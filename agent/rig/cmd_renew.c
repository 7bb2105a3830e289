/* renew: a new key and a new log, continuing the old one. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/file.h"
#include "rig/cmd.h"
#include "rig/renew.h"
#include "rig/trust.h"

struct files {
    uint8_t *invitation_bytes;
    size_t invitation_len;
    struct fsp_invitation invitation;
    uint8_t *back_bytes;
    struct fsp_handback back;
};

static enum fsp_rc
read_invitation(const char *path, struct files *files, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_file_read(
            path, FSP_INVITATION_MAX, &files->invitation_bytes, &files->invitation_len, err);

    if (rc != FSP_OK)
        return rc;
    rc = fsp_invitation_read(
            &files->invitation, files->invitation_bytes, files->invitation_len, err);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", path);
}

static enum fsp_rc
read_back(
        const char *path, struct fsp_journal *journal, struct files *files, struct fsp_err *err)
{
    struct fsp_trust trust;
    size_t len = 0;
    enum fsp_rc rc = fsp_trust_load(journal, &trust, err);

    /* A new invitation's key is the newest there is. */
    if (rc == FSP_OK && files->invitation_bytes != NULL)
        trust.instructions[trust.n_instructions < FSP_ATTEST_KEYS_MAX ? trust.n_instructions++
                                                                      : 0] =
                files->invitation.instructions;
    if (rc == FSP_OK)
        rc = fsp_file_read(path, FSP_HANDBACK_MAX, &files->back_bytes, &len, err);
    if (rc != FSP_OK)
        return rc;
    rc = FSP_EVERIFY;
    for (size_t i = trust.n_instructions; rc == FSP_EVERIFY && i-- > 0;)
        rc = fsp_handback_read(
                &files->back, files->back_bytes, len, &trust.instructions[i], err);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", path);
}

static void
say(const struct fsp_journal *journal, const struct fsp_renew_report *report,
        struct fsp_buf *out)
{
    char fingerprint[65];
    const struct fsp_journal_about *about = fsp_journal_about(journal);

    fsp_buf_printf(out, "new log %s\ncontinues %s from record %" PRIu64 "%s\n", about->origin,
            report->from, report->from_size,
            report->proved ? ", proved by its key"
                           : ", not proved by its key: the office will ask about it");
    if (report->taken_back > 0)
        fsp_buf_printf(out, "%" PRIu64 " record%s taken back from the office\n",
                report->taken_back, fsp_cmd_plural(report->taken_back));
    if (report->again > 0)
        fsp_buf_printf(out,
                "%" PRIu64 " record%s of this rig that the office lacks: added again, from "
                "number %" PRIu64 " on; look at each (print %" PRIu64 ")\n",
                report->again, fsp_cmd_plural(report->again), report->first_again,
                report->first_again);
    if (report->doubtful > 0)
        fsp_buf_printf(out,
                "%" PRIu64 " of them share%s time, kind and op with another record: the same "
                "work twice? void the wrong one (enter amend entry=N reason=... void=yes)\n",
                report->doubtful, report->doubtful == 1 ? "s" : "");
    if (report->typed_again > 0)
        fsp_buf_printf(out,
                "%" PRIu64 " record%s of this rig that the office has from another hand: not "
                "counted twice, kept aside\n",
                report->typed_again, fsp_cmd_plural(report->typed_again));
    fsp_vkey_fingerprint(&about->vkey, fingerprint);
    fsp_buf_printf(out, "new key; read it to the office by telephone and compare:\n  %s %s\n",
            fingerprint, about->vkey.name);
    fsp_buf_add_text(out,
            "now push or carry; when the first receipt has come, destroy the old key file\n");
}

static void
say_json(const struct fsp_journal *journal, const struct fsp_renew_report *report,
        struct fsp_buf *out)
{
    fsp_buf_printf(out, "{\"again\":%" PRIu64 ",\"first_again\":", report->again);
    if (report->again > 0)
        fsp_buf_printf(out, "%" PRIu64, report->first_again);
    else
        fsp_buf_add_text(out, "null");
    fsp_buf_add_text(out, ",\"from\":");
    fsp_cmd_json_text(out, report->from);
    fsp_buf_printf(out, ",\"from_size\":%" PRIu64 ",\"origin\":", report->from_size);
    fsp_cmd_json_text(out, fsp_journal_about(journal)->origin);
    fsp_buf_printf(out,
            ",\"doubtful\":%" PRIu64 ",\"proved\":%s,\"set_aside\":%s,\"taken_back\":%" PRIu64
            ",\"typed_again\":%" PRIu64 "}\n",
            report->doubtful, report->proved ? "true" : "false",
            report->set_aside ? "true" : "false", report->taken_back, report->typed_again);
}

static enum fsp_rc
renew_locked(struct fsp_args *args, struct fsp_journal *journal, struct files *files,
        struct fsp_buf *out, struct fsp_err *err)
{
    const char *by = fsp_args_get(args, "by");
    struct fsp_renew_options options = {.why = fsp_args_get(args, "why"),
            .by = by == NULL ? "farspool-rig renew" : by,
            .invitation = files->invitation_bytes == NULL ? NULL : &files->invitation,
            .back = files->back_bytes == NULL ? NULL : &files->back};
    struct fsp_renew_report report;
    int lock = -1;
    enum fsp_rc rc = fsp_cmd_turn(args, journal, &lock, err);

    if (rc == FSP_OK)
        rc = fsp_renew(journal, &options, &report, err);
    if (rc == FSP_OK && files->invitation_bytes != NULL)
        rc = fsp_cmd_keep_invitation(
                journal, files->invitation_bytes, files->invitation_len, err);
    fsp_file_unlock(lock);
    if (rc == FSP_OK && fsp_args_has(args, "json"))
        say_json(journal, &report, out);
    else if (rc == FSP_OK)
        say(journal, &report, out);
    return rc;
}

int
fsp_cmd_renew(struct fsp_args *args)
{
    const char *invitation = fsp_args_get(args, "invitation");
    const char *back = fsp_args_get(args, "hand-back");
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_journal *journal = NULL;
    struct files files = {.back_bytes = NULL};
    struct fsp_buf out;
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, &err);

    fsp_buf_init(&out, FSP_OUT_MAX);
    if (rc == FSP_OK && fsp_args_get(args, "why") == NULL)
        rc = fsp_err_set(
                &err, FSP_EINVAL, "--why TEXT is needed: why a new log begins, for the record");
    if (rc == FSP_OK)
        rc = fsp_cmd_open(args, FSP_JOURNAL_WRITE, &journal, &err);
    if (rc == FSP_OK && invitation != NULL)
        rc = read_invitation(invitation, &files, &err);
    if (rc == FSP_OK && back != NULL)
        rc = read_back(back, journal, &files, &err);
    if (rc == FSP_OK)
        rc = renew_locked(args, journal, &files, &out, &err);
    fsp_journal_close(journal);
    if (files.back.logs != NULL)
        fsp_handback_fini(&files.back);
    free(files.back_bytes);
    free(files.invitation_bytes);
    if (rc != FSP_OK) {
        fsp_buf_fini(&out);
        return fsp_cmd_fail(&err, rc);
    }
    return fsp_cmd_out(&out, 0);
}
