#include "rig/push.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/file.h"
#include "rig/head.h"
#include "rig/pack.h"
#include "rig/receipt.h"

struct fsp_push {
    struct fsp_journal *journal;
    struct fsp_skey *skey;
    struct fsp_link *link;
    struct fsp_sync sync;
    struct fsp_packed packed;
    struct fsp_link_reply reply;
    struct fsp_link_options options;
};

enum fsp_rc
fsp_push_new(struct fsp_journal *journal, const struct fsp_link_options *options,
        struct fsp_push **out, struct fsp_err *err)
{
    const struct fsp_env *env = fsp_journal_env(journal);
    struct fsp_push *push = calloc(1, sizeof(*push));
    uint64_t seed;
    enum fsp_rc rc;

    *out = NULL;
    if (push == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    env->random(env->ctx, &seed, sizeof(seed));
    push->journal = journal;
    push->options = *options;
    fsp_sync_init(&push->sync, seed);
    fsp_packed_init(&push->packed);
    fsp_buf_init(&push->reply.body, FSP_LINK_REPLY_MAX);
    rc = fsp_link_new(&push->link, fsp_journal_about(journal)->url, options, err);
    if (rc == FSP_OK)
        rc = fsp_journal_key(journal, &push->skey, err);
    if (rc != FSP_OK) {
        fsp_push_free(push);
        return rc;
    }
    *out = push;
    return FSP_OK;
}

void
fsp_push_free(struct fsp_push *push)
{
    if (push == NULL)
        return;
    fsp_link_free(push->link);
    fsp_skey_free(push->skey);
    fsp_packed_fini(&push->packed);
    fsp_buf_fini(&push->reply.body);
    free(push);
}

enum fsp_rc
fsp_push_lock(const struct fsp_journal *journal, int *fd, struct fsp_err *err)
{
    char *path = fsp_file_join(fsp_journal_folder(journal), "link.lock");
    enum fsp_rc rc;

    *fd = -1;
    if (path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_file_lock(path, false, fd, err);
    if (rc == FSP_EBUSY)
        rc = fsp_err_set(err, FSP_EBUSY,
                "%s: another process is sending or signing for this rig; try again later",
                fsp_journal_folder(journal));
    free(path);
    return rc;
}

static int64_t
now_us(const struct fsp_push *push)
{
    const struct fsp_env *env = fsp_journal_env(push->journal);

    return env->monotonic_us(env->ctx);
}

/* What a verdict is to the engine. */
static enum fsp_sync_event_kind
event_of(enum fsp_verdict_kind kind)
{
    switch (kind) {
    case FSP_VERDICT_TAKEN:
        return FSP_SYNC_TAKEN;
    case FSP_VERDICT_GAP:
        return FSP_SYNC_GAP;
    case FSP_VERDICT_DELAY:
        return FSP_SYNC_DELAY;
    case FSP_VERDICT_TOO_LARGE:
        return FSP_SYNC_TOO_LARGE;
    case FSP_VERDICT_REFUSED:
        return FSP_SYNC_REFUSED;
    case FSP_VERDICT_CONTRADICT:
        return FSP_SYNC_CONTRADICT;
    }
    return FSP_SYNC_DELAY;
}

static void
account(struct fsp_push_report *report, const struct fsp_verdict *verdict,
        const struct fsp_packed *packed)
{
    report->hopeless = verdict->kind == FSP_VERDICT_REFUSED;
    (void)snprintf(report->why, sizeof(report->why), "%s", verdict->why);
    if (verdict->kind == FSP_VERDICT_TAKEN) {
        report->bundles++;
        report->records += packed->size - packed->old_size;
        report->tries = 0;
    } else {
        report->tries++;
    }
    report->went_back = report->went_back || verdict->went_back;
}

/* One bundle there and its answer back; the answer as an event. */
static enum fsp_rc
send_one(struct fsp_push *push, const struct fsp_sync_action *action,
        struct fsp_sync_event *event, struct fsp_push_report *report, struct fsp_err *err)
{
    struct fsp_answer answer = {.bundle = push->packed.hash};
    struct fsp_verdict verdict = {.kind = FSP_VERDICT_DELAY};
    struct fsp_err down = {.rc = FSP_OK};
    enum fsp_rc rc;

    rc = fsp_pack(push->journal, push->skey, action->old, action->payload, &push->packed, err);
    if (rc != FSP_OK)
        return rc;
    report->bytes += push->packed.bundle.len;
    rc = fsp_link_post(
            push->link, push->packed.bundle.data, push->packed.bundle.len, &push->reply, &down);
    if (rc == FSP_ENOMEM)
        return fsp_err_set(err, rc, "%s", down.text);
    if (rc != FSP_OK) {
        (void)snprintf(verdict.why, sizeof(verdict.why), "%.300s", down.text);
    } else {
        answer.status = push->reply.status;
        answer.bytes = fsp_buf_peek(&push->reply.body);
        answer.len = push->reply.body.len;
        answer.sent_size = push->packed.size;
        rc = fsp_receipt_judge(push->journal, &answer, &verdict, err);
        if (rc != FSP_OK)
            return rc;
    }
    account(report, &verdict, &push->packed);
    event->kind = event_of(verdict.kind);
    event->held = verdict.held;
    event->after_us = push->reply.after_us;
    return FSP_OK;
}

/* The engine's next event is about the log as it is now. */
static enum fsp_rc
look(struct fsp_push *push, struct fsp_sync_event *event, struct fsp_push_report *report,
        struct fsp_err *err)
{
    struct fsp_journal_progress progress;
    enum fsp_rc rc = fsp_journal_progress(push->journal, &progress, err);

    if (rc != FSP_OK)
        return rc;
    event->now_us = now_us(push);
    event->size = progress.size;
    report->held = progress.held;
    if (event->kind == FSP_SYNC_TICK)
        event->held = progress.held;
    return FSP_OK;
}

static enum fsp_rc
may_send(const struct fsp_push *push, struct fsp_err *err)
{
    if (fsp_journal_state(push->journal) == FSP_JOURNAL_SOUND)
        return FSP_OK;
    return fsp_err_set(err, FSP_EFORK,
            "%s: history incomplete: %s; nothing is sent, ask the office",
            fsp_journal_folder(push->journal), fsp_journal_state_why(push->journal));
}

static bool
is_stopped(const struct fsp_push *push)
{
    return push->options.stop != NULL && push->options.stop(push->options.ctx);
}

static enum fsp_rc
rounds(struct fsp_push *push, struct fsp_push_report *report, struct fsp_sync_action *next,
        struct fsp_err *err)
{
    struct fsp_sync_event event = {.kind = FSP_SYNC_TICK};
    enum fsp_rc rc = fsp_head_confirm_tip(push->journal, err);

    while (rc == FSP_OK) {
        rc = look(push, &event, report, err);
        if (rc != FSP_OK)
            break;
        *next = fsp_sync_step(&push->sync, &event);
        event = (struct fsp_sync_event){.kind = FSP_SYNC_TICK};
        if (next->kind == FSP_SYNC_STOP)
            return may_send(push, err);
        if (next->kind != FSP_SYNC_SEND)
            break;
        if (is_stopped(push)) {
            push->sync.state = FSP_SYNC_IDLE;
            *next = (struct fsp_sync_action){.kind = FSP_SYNC_REST};
            break;
        }
        rc = send_one(push, next, &event, report, err);
    }
    return rc;
}

enum fsp_rc
fsp_push_round(struct fsp_push *push, struct fsp_push_report *report,
        struct fsp_sync_action *next, struct fsp_err *err)
{
    enum fsp_rc rc;
    int lock = -1;

    *next = (struct fsp_sync_action){.kind = FSP_SYNC_REST};
    rc = fsp_push_lock(push->journal, &lock, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_journal_rejudge(push->journal, err);
    if (rc == FSP_OK)
        rc = may_send(push, err);
    if (rc == FSP_OK)
        rc = rounds(push, report, next, err);
    /* A failure of ours between SEND and answer leaves the engine waiting for one. */
    if (rc != FSP_OK && push->sync.state == FSP_SYNC_SENDING)
        push->sync.state = FSP_SYNC_IDLE;
    fsp_file_unlock(lock);
    return rc;
}
