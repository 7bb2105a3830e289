/* push: everything that waits, now. One of the two commands that need the network's libraries. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/clock.h"
#include "rig/cmd.h"
#include "rig/push.h"

#define PUSH_TRIES_MOST 8

static void
sleep_us(int64_t us)
{
    struct timespec left = {
            .tv_sec = (time_t)(us / FSP_US_PER_S), .tv_nsec = (long)(us % FSP_US_PER_S) * 1000};

    /* A signal ends the program or is ours to ignore; an early wake only tries earlier. */
    (void)nanosleep(&left, NULL);
}

/* Rounds until nothing is pending or patience ends. */
static enum fsp_rc
push_all(struct fsp_push *push, struct fsp_push_report *report, int64_t patience_us,
        struct fsp_err *err)
{
    const struct fsp_env *env = fsp_env_system();
    int64_t deadline_us = env->monotonic_us(env->ctx) + patience_us;
    struct fsp_sync_action next;

    for (;;) {
        enum fsp_rc rc = fsp_push_round(push, report, &next, err);

        if (rc != FSP_OK || next.kind == FSP_SYNC_REST)
            return rc;
        if (report->hopeless || report->tries >= PUSH_TRIES_MOST || next.until_us > deadline_us)
            return fsp_err_set(err, FSP_EUNAVAIL,
                    "%.300s; nothing is lost, it is sent with the next push or carry",
                    report->why);
        sleep_us(next.until_us - env->monotonic_us(env->ctx));
    }
}

static void
report_push(const struct fsp_push_report *report, const struct fsp_journal_progress *progress,
        bool json, struct fsp_buf *out)
{
    uint64_t size = progress->size;
    uint64_t pending = size - report->held + progress->older;

    if (json) {
        fsp_buf_printf(out,
                "{\"bundles\":%" PRIu64 ",\"bytes\":%" PRIu64 ",\"held\":%" PRIu64
                ",\"pending\":%" PRIu64 ",\"records\":%" PRIu64 ",\"went_back\":%s}\n",
                report->bundles, report->bytes, report->held, pending, report->records,
                report->went_back ? "true" : "false");
        return;
    }
    if (report->bundles == 0 && pending == 0)
        fsp_buf_printf(out, "nothing pending; office holds %" PRIu64 "\n", report->held);
    else
        fsp_buf_printf(out,
                "pushed %" PRIu64 " record%s in %" PRIu64 " bundle%s, %" PRIu64
                " bytes; office holds %" PRIu64 " of %" PRIu64 "\n",
                report->records, fsp_cmd_plural(report->records), report->bundles,
                fsp_cmd_plural(report->bundles), report->bytes, report->held, size);
    if (report->went_back)
        fsp_buf_add_text(out, "office went back: it held less than it had receipted\n");
}

static enum fsp_rc
push(struct fsp_args *args, struct fsp_buf *out, struct fsp_err *err)
{
    const struct fsp_rig *rig = fsp_args_ctx(args);
    uint64_t patience_s = (uint64_t)fsp_conf_int(rig->conf, "rig", "patience-s");
    struct fsp_push_options options = {.plan = NULL};
    struct fsp_push_report report = {.records = 0};
    struct fsp_journal_progress progress;
    struct fsp_journal *journal = NULL;
    struct fsp_push *pusher = NULL;
    enum fsp_rc rc;

    rc = fsp_args_u64(args, "patience", 0, 86400, &patience_s, err);
    if (rc == FSP_OK)
        rc = fsp_cmd_open(args, FSP_JOURNAL_WRITE, &journal, err);
    if (rc == FSP_OK)
        fsp_cmd_tend_reserve(journal);
    options.link.quiet_s = (long)patience_s;
    fsp_cmd_budget(args, &options.budget);
    if (rc == FSP_OK)
        rc = fsp_link_global(err);
    if (rc == FSP_OK)
        rc = fsp_push_new(journal, &options, &pusher, err);
    if (rc == FSP_OK)
        rc = push_all(pusher, &report, (int64_t)patience_s * FSP_US_PER_S, err);
    if (rc == FSP_OK || report.bundles > 0) {
        enum fsp_rc looked =
                fsp_journal_progress(journal, &progress, rc == FSP_OK ? err : NULL);

        if (looked == FSP_OK)
            report_push(&report, &progress, fsp_args_has(args, "json"), out);
        else if (rc == FSP_OK)
            rc = looked;
    }
    if (report.words > 0 && !fsp_args_has(args, "json"))
        fsp_buf_printf(out,
                "%" PRIu64 " instruction%s from the office; see: farspool-rig line\n",
                report.words, fsp_cmd_plural(report.words));
    if (report.words_ignored > 0)
        fsp_cmd_warn("%" PRIu64 " instruction%s ignored: %s", report.words_ignored,
                fsp_cmd_plural(report.words_ignored), report.word_why);
    fsp_push_free(pusher);
    fsp_journal_close(journal);
    return rc;
}

int
fsp_cmd_push(struct fsp_args *args)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf out;
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, &err);
    int status;

    fsp_buf_init(&out, FSP_OUT_MAX);
    if (rc == FSP_OK)
        rc = push(args, &out, &err);
    /* What was receipted before a failure is said too. */
    status = fsp_cmd_out(&out, 0);
    return rc == FSP_OK ? status : fsp_cmd_fail(&err, rc);
}
