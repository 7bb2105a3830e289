/* run: the inbox and the link, until a signal. */
#include <errno.h>
#include <inttypes.h>
#include <malloc.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/clock.h"
#include "base/file.h"
#include "cli/daemon.h"
#include "rig/cmd.h"
#include "rig/head.h"
#include "rig/inbox.h"
#include "rig/push.h"
#include "rig/reserve.h"
#include "rig/runlog.h"
#include "rig/station.h"

#define BUSY_US      (INT64_C(5) * FSP_US_PER_S)
#define UNWATCHED_MS 3600000u /* between two wakes without a watchdog that asks for more */

/*
 * The loop: inbox, push, wait. A failure of one round is said and the next round tries again; after
 * a failed commit the store is reopened and its tip confirmed before anything is appended.
 *
 * run.lock is held from start to end: one run a store. The watchdog is fed where something moves:
 * between two files, in a running post (libcurl asks at least once a second, and a post has an end),
 * and while waiting.
 */
struct loop {
    struct fsp_args *args;
    struct fsp_journal *journal;
    struct fsp_push *push;
    struct fsp_signals signals;
    struct fsp_sync_plan plan;
    struct fsp_budget budget;
    struct fsp_runlog log;
    const char *notify; /* NOTIFY_SOCKET */
    unsigned watchdog_ms;
    int64_t fed_us;
    bool stopping; /* said */
    uint64_t every_s;
    int64_t round_us;         /* when the round began */
    bool took;                /* a file in this round */
    bool paused;              /* its push, with more to send */
    enum fsp_sync_wait waits; /* for what, when the last round ended in a wait */
    bool once;                /* one round: its failure is said when the command ends */
};

static int64_t
now_us(void)
{
    const struct fsp_env *env = fsp_env_system();

    return env->monotonic_us(env->ctx);
}

static void
notify(struct loop *loop, const char *state)
{
    struct fsp_err err = {.rc = FSP_OK};

    if (fsp_daemon_notify(loop->notify, state, &err) != FSP_OK)
        fsp_runlog_failure(&loop->log, "notify", err.text, now_us());
}

/* Take the signals, feed the watchdog; true: to be stopped. */
static bool
beat(void *ctx)
{
    struct loop *loop = ctx;
    const int64_t at_us = now_us();

    fsp_signals_take(&loop->signals);
    if (loop->signals.stop && !loop->stopping) {
        loop->stopping = true;
        notify(loop, "STOPPING=1");
    }
    if (at_us - loop->fed_us >= (int64_t)loop->watchdog_ms * 1000) {
        loop->fed_us = at_us;
        notify(loop, "WATCHDOG=1");
    }
    return loop->signals.stop;
}

/* A backlog may take hours: the inbox and SIGHUP do not wait for its end. */
static bool
pause_push(void *ctx)
{
    struct loop *loop = ctx;

    loop->paused = !loop->once &&
                   (loop->signals.reload ||
                           now_us() - loop->round_us >= (int64_t)loop->every_s * FSP_US_PER_S);
    return loop->paused;
}

static void
on_file(void *ctx, const char *name, const struct fsp_journal_added *added,
        const struct fsp_err *failed)
{
    struct loop *loop = ctx;

    loop->took = true;
    fsp_runlog_file(&loop->log, name, added, failed);
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

/* One push; what it says. *until_us is when it wants to be asked again, 0 when it does not care. */
static enum fsp_rc
push_round(struct loop *loop, int64_t *until_us, struct fsp_err *err)
{
    struct fsp_push_options options = {
            .link = {.quiet_s = FSP_LINK_CONNECT_S, .stop = beat, .ctx = loop},
            .pause = pause_push,
            .plan = &loop->plan,
            .budget = loop->budget};
    struct fsp_push_report report = {.records = 0};
    struct fsp_sync_action next = {.kind = FSP_SYNC_REST};
    enum fsp_rc rc = FSP_OK;

    *until_us = 0;
    loop->paused = false;
    if (loop->push == NULL)
        rc = fsp_link_global(err);
    if (rc == FSP_OK && loop->push == NULL)
        rc = fsp_push_new(loop->journal, &options, &loop->push, err);
    (void)fsp_reserve_tend(fsp_journal_folder(loop->journal));
    if (rc == FSP_OK)
        rc = fsp_push_round(loop->push, &report, &next, err);
    /* A post that a stop broke off says nothing of the link. */
    fsp_runlog_push(
            &loop->log, &report, rc == FSP_OK && !loop->signals.stop ? &next : NULL, now_us());
    if (rc == FSP_OK && next.kind == FSP_SYNC_WAIT) {
        *until_us = next.until_us;
        loop->waits = next.wait;
    } else if (loop->paused) {
        *until_us = now_us();
    } else if (rc == FSP_EBUSY && !loop->once) { /* another process sends: so much the better */
        *until_us = now_us() + BUSY_US;
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    return rc;
}

/* Inbox, then push. The first failure is returned, but the push is tried all the same. */
static enum fsp_rc
one_round(struct loop *loop, int64_t *until_us, struct fsp_err *err)
{
    struct fsp_inbox_listener listener = {.said = on_file, .stop = beat, .ctx = loop};
    struct fsp_err push_err = {.rc = FSP_OK};
    enum fsp_rc pushed = FSP_OK;
    enum fsp_rc rc = FSP_OK;

    *until_us = 0;
    if (fsp_db_broken(fsp_journal_db(loop->journal)))
        rc = reopen(loop, err);
    if (loop->journal == NULL || rc != FSP_OK)
        return rc;
    rc = fsp_inbox_round(loop->journal, loop->once, &listener, err);
    if (has_url(loop) && !beat(loop) && !fsp_db_broken(fsp_journal_db(loop->journal)))
        pushed = push_round(loop, until_us, &push_err);
    if (rc == FSP_OK && pushed != FSP_OK)
        rc = fsp_err_set(err, pushed, "%s", push_err.text);
    return rc;
}

/* Until then, a signal, or the watchdog's next turn, whichever comes first. */
static void
wait_until(struct loop *loop, int64_t until_us)
{
    struct pollfd fd = {.fd = loop->signals.fd, .events = POLLIN};

    while (!beat(loop) && !loop->signals.reload) {
        int64_t ms = (until_us - now_us() + 999) / 1000;

        if (ms <= 0)
            return;
        if (ms > (int64_t)loop->watchdog_ms)
            ms = (int64_t)loop->watchdog_ms;
        if (poll(&fd, 1, (int)ms) < 0 && errno != EINTR)
            return;
    }
}

static void
read_conf(struct loop *loop)
{
    const struct fsp_rig *rig = fsp_args_ctx(loop->args);

    if (!fsp_args_has(loop->args, "every"))
        loop->every_s = (uint64_t)fsp_conf_int(rig->conf, "rig", "every-s");
    loop->plan = (struct fsp_sync_plan){
            .enough = (uint64_t)fsp_conf_int(rig->conf, "link", "enough-records"),
            .old_us = fsp_conf_int(rig->conf, "link", "old-s") * FSP_US_PER_S,
            .poll_us = fsp_conf_int(rig->conf, "link", "poll-s") * FSP_US_PER_S};
    fsp_cmd_budget(loop->args, &loop->budget);
}

/* SIGHUP: the live keys are taken over, the rest holds from the next start. All or nothing. */
static void
reload(struct loop *loop)
{
    const struct fsp_rig *rig = fsp_args_ctx(loop->args);
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf taken;
    struct fsp_buf held;

    if (fsp_daemon_reloading(loop->notify, now_us(), &err) != FSP_OK)
        fsp_runlog_failure(&loop->log, "notify", err.text, now_us());
    fsp_buf_init(&taken, FSP_CONF_MAX);
    fsp_buf_init(&held, FSP_CONF_MAX);
    if (fsp_conf_reload(rig->conf, rig->conf_path, rig->live_keys, &taken, &held, &err) ==
            FSP_OK) {
        read_conf(loop);
        if (strstr(fsp_buf_peek(&taken), "link.") != NULL) { /* made anew with them */
            fsp_push_free(loop->push);
            loop->push = NULL;
        }
        fsp_runlog_reload(rig->conf_path, fsp_buf_peek(&taken), fsp_buf_peek(&held), NULL);
    } else {
        fsp_runlog_reload(rig->conf_path, "", "", err.text);
    }
    fsp_buf_fini(&taken);
    fsp_buf_fini(&held);
    notify(loop, "READY=1");
}

static enum fsp_rc
run_loop(struct loop *loop, struct fsp_err *err)
{
    struct fsp_journal_progress progress;
    enum fsp_rc rc = fsp_journal_progress(loop->journal, &progress, err);

    if (rc != FSP_OK)
        return rc;
    fsp_runlog_start(fsp_journal_about(loop->journal)->origin, &progress, loop->every_s);
    notify(loop, "READY=1");
    while (!beat(loop)) {
        int64_t until_us = 0;
        int64_t next_us;
        struct fsp_err failed = {.rc = FSP_OK};

        if (loop->signals.reload) {
            loop->signals.reload = false;
            reload(loop);
        }
        loop->round_us = now_us();
        loop->took = false;
        rc = one_round(loop, &until_us, &failed);
        if (loop->took) /* a fold may have needed much: what runs for years gives it back */
            (void)malloc_trim(0);
        if (loop->journal == NULL)
            return fsp_err_set(err, rc, "%s", failed.text);
        if (rc == FSP_OK)
            fsp_runlog_good(&loop->log, now_us());
        else
            fsp_runlog_failure(&loop->log, "round", failed.text, now_us());
        next_us = now_us() + (int64_t)loop->every_s * FSP_US_PER_S;
        wait_until(loop, until_us != 0 && until_us < next_us ? until_us : next_us);
    }
    fsp_runlog_stop(&loop->log);
    return FSP_OK;
}

static enum fsp_rc
run_once(struct loop *loop, struct fsp_err *err)
{
    int64_t until_us;
    enum fsp_rc rc = one_round(loop, &until_us, err);

    if (rc == FSP_OK && until_us != 0 && loop->waits == FSP_SYNC_FOR_DAY)
        rc = fsp_err_set(err, FSP_EBUSY,
                "records wait for the next day's bytes; nothing is lost, push sends them now");
    else if (rc == FSP_OK && until_us != 0 && loop->waits == FSP_SYNC_FOR_LINK)
        rc = fsp_err_set(err, FSP_EUNAVAIL,
                "%.300s; nothing is lost, it is sent with the next push or carry",
                fsp_runlog_why(&loop->log));
    return rc;
}

/* One run a store; the kernel lets go of it, whatever ends this process. */
static enum fsp_rc
lock_run(const struct loop *loop, int *fd, struct fsp_err *err)
{
    const char *folder = fsp_journal_folder(loop->journal);
    char *path = fsp_file_join(folder, "run.lock");
    enum fsp_rc rc = path == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                                  : fsp_file_lock(path, false, fd, err);

    if (rc == FSP_EBUSY)
        rc = fsp_err_set(err, FSP_EBUSY,
                "%s: a run is at work for this store already; one is enough", folder);
    free(path);
    return rc;
}

/* The crew's page where one is asked for. Without it the record is kept and sent all the same. */
static struct fsp_station *
open_station(struct loop *loop)
{
    const struct fsp_rig *rig = fsp_args_ctx(loop->args);
    const char *asked = fsp_args_get(loop->args, "pages");
    const struct fsp_station_about about = {
            .store = fsp_journal_folder(loop->journal),
            .listen = asked != NULL ? asked : fsp_conf_text(rig->conf, "station", "pages"),
            .env = fsp_env_system(),
            .budget = loop->budget,
    };
    struct fsp_station *station = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    if (about.listen[0] == '\0')
        return NULL;
    if (fsp_station_start(&about, &station, &err) != FSP_OK)
        fsp_runlog_failure(&loop->log, "pages", err.text, now_us());
    else
        fsp_cmd_warn("level=info event=pages url=%s", fsp_station_url(station));
    return station;
}

static enum fsp_rc
run_for_ever(struct loop *loop, struct fsp_err *err)
{
    struct fsp_station *station = open_station(loop);
    const enum fsp_rc rc = run_loop(loop, err);

    fsp_station_stop(station);
    return rc;
}

static enum fsp_rc
run(struct loop *loop, struct fsp_err *err)
{
    int lock = -1;
    enum fsp_rc rc;

    read_conf(loop);
    rc = fsp_args_u64(loop->args, "every", 1, 86400, &loop->every_s, err);
    if (rc == FSP_OK)
        rc = fsp_cmd_open(loop->args, FSP_JOURNAL_WRITE, &loop->journal, err);
    if (rc == FSP_OK)
        rc = lock_run(loop, &lock, err);
    if (rc == FSP_OK)
        rc = loop->once ? run_once(loop, err) : run_for_ever(loop, err);
    fsp_push_free(loop->push);
    fsp_journal_close(loop->journal);
    fsp_file_unlock(lock);
    return rc;
}

/* What the service manager says; before any thread is started. */
static void
read_environment(struct loop *loop)
{
    loop->notify = getenv("NOTIFY_SOCKET"); // NOLINT(concurrency-mt-unsafe)
    loop->watchdog_ms =
            fsp_daemon_watchdog_ms(getenv("WATCHDOG_USEC"), // NOLINT(concurrency-mt-unsafe)
                    getenv("WATCHDOG_PID"),                 // NOLINT(concurrency-mt-unsafe)
                    (uint64_t)getpid(), UNWATCHED_MS);
}

int
fsp_cmd_run(struct fsp_args *args)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct loop loop = {.args = args, .once = fsp_args_has(args, "once"), .fed_us = now_us()};
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, &err);

    if (rc != FSP_OK)
        return fsp_cmd_fail(&err, rc);
    read_environment(&loop);
    fsp_runlog_init(&loop.log, loop.once);
    rc = fsp_signals_init(&loop.signals, &err);
    if (rc != FSP_OK)
        return fsp_cmd_fail(&err, rc);
    rc = run(&loop, &err);
    fsp_signals_fini(&loop.signals);
    return rc == FSP_OK ? 0 : fsp_cmd_fail(&err, rc);
}
