#include <errno.h>
#include <inttypes.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "cli/daemon.h"
#include "rig/cmd.h"
#include "rig/head.h"
#include "rig/inbox.h"
#include "rig/push.h"

/*
 * The loop: inbox, push, wait. A failure of one round is said and the next round tries again; after
 * a failed commit the store is reopened and its tip confirmed before anything is appended.
 */
struct loop {
    struct fsp_args *args;
    struct fsp_journal *journal;
    struct fsp_push *push;
    struct fsp_signals signals;
    struct fsp_sync_plan plan;
    struct fsp_budget budget;
    const char *notify;          /* NOTIFY_SOCKET */
    enum fsp_sync_wait waits;    /* for what, when the last round ended in a wait */
    bool used_up;                /* the day's bytes, as last said */
    bool once;                   /* one round: its failure is said when the command ends */
    char last[FSP_ERR_TEXT_MAX]; /* the last failure said, so that it is said once */
};

static bool
stop_asked(void *ctx)
{
    struct loop *loop = ctx;

    fsp_signals_take(&loop->signals);
    return loop->signals.stop;
}

static void
notify(const struct loop *loop, const char *state)
{
    struct fsp_err err = {.rc = FSP_OK};

    if (fsp_daemon_notify(loop->notify, state, &err) != FSP_OK)
        fsp_cmd_warn("%.400s", err.text);
}

/* Say a failure when it is not the one said last. */
static void
say_once(struct loop *loop, const char *text)
{
    if (strcmp(loop->last, text) == 0)
        return;
    (void)snprintf(loop->last, sizeof(loop->last), "%s", text);
    if (!loop->once)
        fsp_cmd_warn("%.480s", text);
}

static void
on_file(void *ctx, const char *name, const struct fsp_journal_added *added,
        const struct fsp_err *failed)
{
    (void)ctx;
    if (failed != NULL)
        fsp_cmd_warn("refused %.60s: %.400s", name, failed->text);
    else
        (void)printf(
                "took %s: %zu added, %zu already there\n", name, added->added, added->skipped);
    (void)fflush(stdout);
}

static enum fsp_rc
reopen(struct loop *loop, struct fsp_err *err)
{
    enum fsp_rc rc;

    fsp_push_free(loop->push);
    loop->push = NULL;
    fsp_journal_close(loop->journal);
    rc = fsp_cmd_open(loop->args, FSP_JOURNAL_WRITE, &loop->journal, err);
    if (rc == FSP_OK)
        rc = fsp_head_confirm_tip(loop->journal, err);
    return rc;
}

static bool
has_url(const struct loop *loop)
{
    return fsp_journal_about(loop->journal)->url[0] != '\0';
}

/* Say once that the day's bytes are used up, and once that there are some again. */
static void
say_used_up(struct loop *loop, const struct fsp_push_report *report)
{
    if (report->used_up == loop->used_up)
        return;
    loop->used_up = report->used_up;
    if (report->used_up)
        fsp_cmd_warn("%" PRIu64
                     " bytes used today (UTC): routine records wait for the next day, "
                     "urgent ones go on",
                report->used);
    else
        (void)printf("a new day's bytes: routine records go again\n");
    (void)fflush(stdout);
}

/* One push; what it says. *until_us is when it wants to be asked again, 0 when it does not care. */
static enum fsp_rc
push_round(struct loop *loop, int64_t *until_us, struct fsp_err *err)
{
    struct fsp_push_options options = {
            .link = {.quiet_s = FSP_LINK_CONNECT_S, .stop = stop_asked, .ctx = loop},
            .plan = &loop->plan,
            .budget = loop->budget};
    struct fsp_push_report report = {.records = 0};
    struct fsp_sync_action next = {.kind = FSP_SYNC_REST};
    enum fsp_rc rc = FSP_OK;

    *until_us = 0;
    if (loop->push == NULL)
        rc = fsp_link_global(err);
    if (rc == FSP_OK && loop->push == NULL)
        rc = fsp_push_new(loop->journal, &options, &loop->push, err);
    if (rc == FSP_OK)
        rc = fsp_push_round(loop->push, &report, &next, err);
    if (report.bundles > 0) {
        (void)printf("pushed %" PRIu64 " record%s in %" PRIu64 " bundle%s, %" PRIu64 " bytes\n",
                report.records, fsp_cmd_plural(report.records), report.bundles,
                fsp_cmd_plural(report.bundles), report.bytes);
        (void)fflush(stdout);
        loop->last[0] = '\0';
    }
    if (report.words > 0) {
        (void)printf("%" PRIu64 " instruction%s from the office; see: farspool-rig line\n",
                report.words, fsp_cmd_plural(report.words));
        (void)fflush(stdout);
    }
    if (report.words_ignored > 0)
        fsp_cmd_warn("%" PRIu64 " instruction%s ignored: %s", report.words_ignored,
                fsp_cmd_plural(report.words_ignored), report.word_why);
    if (report.went_back)
        fsp_cmd_warn("office went back: it held less than it had receipted");
    if (rc == FSP_OK)
        say_used_up(loop, &report);
    if (rc == FSP_OK && next.kind == FSP_SYNC_WAIT) {
        *until_us = next.until_us;
        loop->waits = next.wait;
        if (report.why[0] != '\0')
            say_once(loop, report.why);
    }
    return rc;
}

/* Inbox, then push. The first failure is returned, but the push is tried all the same. */
static enum fsp_rc
one_round(struct loop *loop, bool once, int64_t *until_us, struct fsp_err *err)
{
    struct fsp_inbox_listener listener = {.said = on_file, .ctx = loop};
    struct fsp_err push_err = {.rc = FSP_OK};
    enum fsp_rc pushed = FSP_OK;
    enum fsp_rc rc = FSP_OK;

    *until_us = 0;
    if (fsp_db_broken(fsp_journal_db(loop->journal)))
        rc = reopen(loop, err);
    if (loop->journal == NULL || rc != FSP_OK)
        return rc;
    rc = fsp_inbox_round(loop->journal, once, &listener, err);
    if (has_url(loop) && !fsp_db_broken(fsp_journal_db(loop->journal)))
        pushed = push_round(loop, until_us, &push_err);
    if (rc == FSP_OK && pushed != FSP_OK)
        rc = fsp_err_set(err, pushed, "%s", push_err.text);
    return rc;
}

static void
wait_for(struct loop *loop, int64_t ms)
{
    struct pollfd fd = {.fd = loop->signals.fd, .events = POLLIN};

    if (ms < 0)
        ms = 0;
    if (ms > INT32_MAX)
        ms = INT32_MAX;
    if (poll(&fd, 1, (int)ms) < 0 && errno != EINTR)
        fsp_cmd_warn("poll: %s", "failed");
    fsp_signals_take(&loop->signals);
}

static enum fsp_rc
run_loop(struct loop *loop, uint64_t every_s, struct fsp_err *err)
{
    const struct fsp_env *env = fsp_env_system();

    notify(loop, "READY=1");
    while (!loop->signals.stop) {
        int64_t until_us = 0;
        int64_t wait_ms = (int64_t)every_s * 1000;
        int64_t left_ms;
        struct fsp_err failed = {.rc = FSP_OK};
        enum fsp_rc rc = one_round(loop, false, &until_us, &failed);

        if (loop->journal == NULL)
            return fsp_err_set(err, rc, "%s", failed.text);
        if (rc != FSP_OK)
            say_once(loop, failed.text);
        notify(loop, "WATCHDOG=1");
        left_ms = (until_us - env->monotonic_us(env->ctx)) / 1000 + 1;
        if (until_us != 0 && left_ms < wait_ms)
            wait_ms = left_ms;
        wait_for(loop, wait_ms);
        loop->signals.reload = false;
    }
    notify(loop, "STOPPING=1");
    return FSP_OK;
}

static enum fsp_rc
run(struct loop *loop, struct fsp_err *err)
{
    const struct fsp_rig *rig = fsp_args_ctx(loop->args);
    uint64_t every_s = (uint64_t)fsp_conf_int(rig->conf, "rig", "every-s");
    int64_t until_us;
    enum fsp_rc rc = fsp_args_u64(loop->args, "every", 1, 86400, &every_s, err);

    if (rc == FSP_OK)
        rc = fsp_cmd_open(loop->args, FSP_JOURNAL_WRITE, &loop->journal, err);
    if (rc != FSP_OK)
        return rc;
    loop->once = fsp_args_has(loop->args, "once");
    loop->plan = (struct fsp_sync_plan){
            .enough = (uint64_t)fsp_conf_int(rig->conf, "link", "enough-records"),
            .old_us = fsp_conf_int(rig->conf, "link", "old-s") * FSP_US_PER_S};
    fsp_cmd_budget(loop->args, &loop->budget);
    if (!loop->once)
        return run_loop(loop, every_s, err);
    rc = one_round(loop, true, &until_us, err);
    if (rc == FSP_OK && until_us != 0 && loop->waits == FSP_SYNC_FOR_DAY)
        rc = fsp_err_set(err, FSP_EBUSY,
                "records wait for the next day's bytes; nothing is lost, push sends them now");
    else if (rc == FSP_OK && until_us != 0 && loop->waits == FSP_SYNC_FOR_LINK)
        rc = fsp_err_set(err, FSP_EUNAVAIL,
                "%.300s; nothing is lost, it is sent with the next push or carry", loop->last);
    return rc;
}

int
fsp_cmd_run(struct fsp_args *args)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct loop loop = {.args = args};
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, &err);

    if (rc != FSP_OK)
        return fsp_cmd_fail(&err, rc);
    /* Read before any thread is started. */
    loop.notify = getenv("NOTIFY_SOCKET"); // NOLINT(concurrency-mt-unsafe)
    rc = fsp_signals_init(&loop.signals, &err);
    if (rc != FSP_OK)
        return fsp_cmd_fail(&err, rc);
    rc = run(&loop, &err);
    fsp_push_free(loop.push);
    fsp_journal_close(loop.journal);
    fsp_signals_fini(&loop.signals);
    return rc == FSP_OK ? 0 : fsp_cmd_fail(&err, rc);
}
