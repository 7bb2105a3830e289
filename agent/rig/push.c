#include "rig/push.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/file.h"
#include "rig/head.h"
#include "rig/pack.h"
#include "rig/receipt.h"
#include "rig/turn.h"
#include "rig/urgent.h"
#include "store/logtable.h"
#include "wire/answer.h"

/* An answer's usual length and a request's headers: for the reckoning before they are known. */
#define ANSWER_USUAL 700
#define REQUEST_HEAD 80

struct fsp_push {
    struct fsp_journal *journal;
    struct fsp_skey *skey;
    struct fsp_link *link; /* NULL with another carrier */
    struct fsp_carrier carrier;
    struct fsp_sync sync;
    struct fsp_packed packed;
    struct fsp_link_reply reply;
    struct fsp_push_options options;
    struct fsp_linkstate kept; /* as in the store */
    bool connected;            /* the last exchange went well: its connection is there */
    bool tls;
    bool gives_way; /* somebody waits for the link: between two bundles it is theirs */
    bool plain;     /* 400 came: the bundle is made anew, as receipt.h has it */
    bool enrol;     /* 403 came: the office may have lost this log */
    struct fsp_journal_log log; /* the one that is sent: the closed ones first */
    /* Entries looked at for urgency, from .. to - 1, and past the newest urgent one of them. */
    uint64_t seen_from;
    uint64_t seen_to;
    uint64_t urgent;
};

static enum fsp_rc
post_by_link(void *ctx, const void *bytes, size_t len, struct fsp_link_reply *reply,
        struct fsp_err *err)
{
    return fsp_link_post(ctx, bytes, len, reply, err);
}

enum fsp_rc
fsp_push_new(struct fsp_journal *journal, const struct fsp_push_options *options,
        struct fsp_push **out, struct fsp_err *err)
{
    const struct fsp_env *env = fsp_journal_env(journal);
    const struct fsp_journal_about *about = fsp_journal_about(journal);
    struct fsp_push *push = calloc(1, sizeof(*push));
    uint64_t seed;
    enum fsp_rc rc = FSP_OK;

    *out = NULL;
    if (push == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    env->random(env->ctx, &seed, sizeof(seed));
    push->journal = journal;
    push->options = *options;
    push->options.link.env = env;
    push->options.link.has_pins = about->has_pins;
    memcpy(push->options.link.pins, about->pins, sizeof(about->pins));
    push->tls = strncmp(about->url, "https://", 8) == 0;
    fsp_sync_init(&push->sync, seed, options->plan);
    fsp_packed_init(&push->packed);
    fsp_buf_init(&push->reply.body, FSP_LINK_REPLY_MAX);
    if (options->carrier == NULL)
        rc = fsp_link_new(&push->link, about->url, &push->options.link, err);
    push->carrier = options->carrier != NULL
                            ? *options->carrier
                            : (struct fsp_carrier){.post = post_by_link, .ctx = push->link};
    if (rc == FSP_OK)
        rc = fsp_journal_key(journal, &push->skey, err);
    /* Of 2 MB by default: what a round reads is read once. */
    if (rc == FSP_OK)
        rc = fsp_db_run(fsp_journal_db(journal), "PRAGMA cache_size = -512", err);
    if (rc == FSP_OK)
        rc = fsp_linkstate_read(journal, &push->kept, err);
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
    return fsp_turn_take(fsp_journal_folder(journal), 0, fd, err);
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
account(struct fsp_push *push, struct fsp_push_report *report,
        const struct fsp_verdict *verdict)
{
    const struct fsp_packed *packed = &push->packed;

    report->hopeless = verdict->kind == FSP_VERDICT_REFUSED;
    (void)snprintf(report->why, sizeof(report->why), "%s", verdict->why);
    (void)snprintf(push->kept.why, sizeof(push->kept.why), "%s", verdict->why);
    if (verdict->kind == FSP_VERDICT_TAKEN) {
        report->bundles += packed->size > packed->old_size ? 1 : 0; /* else a poll */
        report->records += packed->size - packed->old_size;
        report->tries = 0;
    } else {
        report->tries++;
    }
    report->went_back = report->went_back || verdict->went_back;
    report->words += verdict->words;
    report->words_ignored += verdict->words_ignored;
    if (verdict->words_ignored > 0)
        (void)snprintf(report->word_why, sizeof(report->word_why), "%s", verdict->word_why);
}

/* ---- what it costs ----------------------------------------------------------------------- */

/* Today's count, from the store: another process may have used some. */
static enum fsp_rc
read_used(struct fsp_push *push, struct fsp_push_report *report, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_linkstate_read(push->journal, &push->kept, err);

    if (rc == FSP_OK)
        report->used = push->kept.bytes;
    return rc;
}

/* The cost of the bundle, reckoned high, is kept before it leaves. */
static enum fsp_rc
pay_ahead(struct fsp_push *push, uint64_t *paid, struct fsp_err *err)
{
    struct fsp_exchange exchange = {.sent = push->packed.bundle.len + REQUEST_HEAD,
            .received = ANSWER_USUAL,
            .connects = !push->connected,
            .tls = push->tls};
    enum fsp_rc rc = fsp_linkstate_read(push->journal, &push->kept, err);

    *paid = fsp_linkstate_exchange(&exchange);
    push->kept.bytes += *paid;
    if (rc == FSP_OK)
        rc = fsp_linkstate_write(push->journal, &push->kept, err);
    return rc;
}

/* What it did cost; kept with the end of the round. A try that failed is counted as sent whole. */
static void
settle(struct fsp_push *push, uint64_t paid, bool answered, struct fsp_push_report *report)
{
    struct fsp_exchange exchange = {.sent = push->packed.bundle.len + REQUEST_HEAD,
            .received = answered ? push->reply.body.len + push->reply.head : 0,
            .connects = push->reply.connects,
            .tls = push->tls};
    uint64_t cost = fsp_linkstate_exchange(&exchange) + push->reply.probes;

    push->connected = answered;
    push->kept.bytes = push->kept.bytes > paid ? push->kept.bytes - paid + cost : cost;
    report->used = push->kept.bytes;
}

/* Keep what the round came to, when that is anything new. */
static enum fsp_rc
keep_state(struct fsp_push *push, const struct fsp_sync_action *next, struct fsp_err *err)
{
    const struct fsp_env *env = fsp_journal_env(push->journal);
    struct fsp_linkstate state = push->kept;
    struct fsp_linkstate stored;
    enum fsp_rc rc;

    state.wait = next->kind == FSP_SYNC_WAIT ? next->wait : FSP_SYNC_FOR_NOTHING;
    state.next_s = 0;
    if (next->kind == FSP_SYNC_WAIT)
        state.next_s = (env->utc_us(env->ctx) + next->until_us - env->monotonic_us(env->ctx) +
                               FSP_US_PER_S / 2) /
                       FSP_US_PER_S;
    rc = fsp_linkstate_read(push->journal, &stored, err);
    if (rc != FSP_OK)
        return rc;
    /* The clocks' own difference wavers by less than a second or two. */
    if (stored.wait == state.wait && stored.bytes == state.bytes && stored.day == state.day &&
            stored.next_s - state.next_s <= 2 && state.next_s - stored.next_s <= 2 &&
            strcmp(stored.why, state.why) == 0)
        return FSP_OK;
    push->kept = state;
    return fsp_linkstate_write(push->journal, &state, err);
}

/* ---- one exchange ------------------------------------------------------------------------ */

/* The bundle packed last is what the engine asks for: a try again costs no new head. */
static bool
is_packed(const struct fsp_push *push, const struct fsp_sync_action *action, uint64_t size)
{
    const struct fsp_packed *packed = &push->packed;
    uint64_t to = action->to < size ? action->to : size;

    return packed->bundle.len > 0 && packed->log == push->log.id &&
           packed->old_size == action->old && packed->size == to && to > action->old &&
           packed->enrolment >= push->enrol && !push->plain &&
           (packed->bundle.len <= action->payload || to - action->old == 1);
}

static enum fsp_rc
pack(struct fsp_push *push, const struct fsp_sync_action *action, uint64_t size,
        struct fsp_err *err)
{
    struct fsp_pack_want want = {.log = &push->log,
            .old = action->old,
            .to = action->to,
            .payload = action->payload,
            .enrol = push->enrol,
            .online = true};

    if (is_packed(push, action, size))
        return FSP_OK;
    push->plain = false;
    return fsp_pack(push->journal, push->skey, &want, &push->packed, err);
}

/* One bundle there and its answer back; the answer as an event. */
static enum fsp_rc
send_one(struct fsp_push *push, const struct fsp_sync_action *action,
        struct fsp_sync_event *event, struct fsp_push_report *report, struct fsp_err *err)
{
    struct fsp_answer answer = {.sent = &push->packed};
    struct fsp_verdict verdict = {.kind = FSP_VERDICT_DELAY};
    struct fsp_err down = {.rc = FSP_OK};
    uint64_t paid = 0;
    enum fsp_rc rc;

    rc = pack(push, action, event->size, err);
    if (rc == FSP_OK)
        rc = pay_ahead(push, &paid, err);
    if (rc != FSP_OK)
        return rc;
    report->bytes += push->packed.bundle.len;
    rc = push->carrier.post(push->carrier.ctx, push->packed.bundle.data,
            push->packed.bundle.len, &push->reply, &down);
    if (rc == FSP_ENOMEM)
        return fsp_err_set(err, rc, "%s", down.text);
    settle(push, paid, rc == FSP_OK, report);
    if (rc != FSP_OK) {
        (void)snprintf(verdict.why, sizeof(verdict.why), "%.300s", down.text);
    } else {
        answer.status = push->reply.status;
        answer.bytes = fsp_buf_peek(&push->reply.body);
        answer.len = push->reply.body.len;
        rc = fsp_receipt_judge(push->journal, &answer, &verdict, err);
        if (rc != FSP_OK)
            return rc;
        if (answer.status == FSP_ANSWER_REFUSED)
            push->enrol = true;
        push->plain = push->plain || answer.status == 400;
    }
    if (verdict.kind == FSP_VERDICT_TAKEN)
        push->enrol = false;
    account(push, report, &verdict);
    event->kind = event_of(verdict.kind);
    event->held = verdict.held;
    event->after_us = push->reply.after_us;
    return FSP_OK;
}

/* ---- what is pending --------------------------------------------------------------------- */

static enum fsp_rc
see(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct fsp_push *push = ctx;

    (void)err;
    if (index >= push->urgent && fsp_urgent(bytes, len))
        push->urgent = index + 1;
    return FSP_OK;
}

/* Look at entries not seen yet for urgent ones. */
static enum fsp_rc
find_urgent(struct fsp_push *push, uint64_t held, uint64_t size, struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(push->journal);
    enum fsp_rc rc = FSP_OK;

    if (push->seen_to <= held || push->seen_to > size || held < push->seen_from) {
        push->seen_from = held;
        push->seen_to = held;
        push->urgent = 0;
    }
    if (push->seen_to < size)
        rc = fsp_logtable_scan(db, push->log.id, push->seen_to, size, see, push, err);
    if (rc == FSP_OK)
        push->seen_to = size;
    return rc;
}

/* The engine's next event is about the log as it is now. */
static enum fsp_rc
look(struct fsp_push *push, struct fsp_sync_event *event, struct fsp_push_report *report,
        struct fsp_err *err)
{
    struct fsp_journal_progress progress;
    int64_t before = push->log.id;
    enum fsp_rc rc = fsp_journal_progress(push->journal, &progress, err);

    if (rc == FSP_OK)
        rc = fsp_journal_sending(push->journal, &push->log, err);
    if (rc != FSP_OK)
        return rc;
    if (push->log.id != before)
        push->seen_to = push->seen_from = push->urgent = 0;
    event->now_us = now_us(push);
    event->size = push->log.size;
    report->held = progress.held;
    /* What the answer moved is in the store; after the last of a closed log the next one is sent. */
    event->held = push->log.held;
    if (push->options.plan != NULL)
        rc = find_urgent(push, push->log.held, push->log.size, err);
    event->urgent = push->urgent;
    fsp_linkstate_left(
            &push->kept, &push->options.budget, fsp_journal_env(push->journal), event);
    report->used_up = fsp_linkstate_used_up(&push->kept, &push->options.budget);
    return rc;
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
    const struct fsp_link_options *link = &push->options.link;

    return (link->stop != NULL && link->stop(link->ctx)) ||
           (push->options.pause != NULL && push->options.pause(link->ctx));
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
        event = (struct fsp_sync_event){.kind = FSP_SYNC_TICK, .size = event.size};
        if (next->kind == FSP_SYNC_STOP)
            return may_send(push, err);
        if (next->kind != FSP_SYNC_SEND)
            break;
        if (is_stopped(push)) {
            push->sync.state = FSP_SYNC_IDLE;
            *next = (struct fsp_sync_action){.kind = FSP_SYNC_REST};
            break;
        }
        if (fsp_turn_wanted(fsp_journal_folder(push->journal))) {
            push->sync.state = FSP_SYNC_IDLE;
            push->gives_way = true;
            break;
        }
        rc = send_one(push, next, &event, report, err);
    }
    return rc;
}

/* Another process may have renewed the log: its key is another one then. */
static enum fsp_rc
renew_key(struct fsp_push *push, struct fsp_err *err)
{
    struct fsp_skey *skey = NULL;
    enum fsp_rc rc;

    if (fsp_vkey_equal(fsp_skey_vkey(push->skey), &fsp_journal_about(push->journal)->vkey))
        return FSP_OK;
    rc = fsp_journal_key(push->journal, &skey, err);
    if (rc != FSP_OK)
        return rc;
    fsp_skey_free(push->skey);
    push->skey = skey;
    return FSP_OK;
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
    do {
        if (push->gives_way) /* another process may do anything meanwhile */
            rc = fsp_turn_give(fsp_journal_folder(push->journal), &lock, err);
        push->gives_way = false;
        if (rc == FSP_OK)
            rc = fsp_journal_rejudge(push->journal, err);
        if (rc == FSP_OK)
            rc = may_send(push, err);
        if (rc == FSP_OK)
            rc = renew_key(push, err);
        if (rc == FSP_OK)
            rc = read_used(push, report, err);
        if (rc == FSP_OK)
            rc = rounds(push, report, next, err);
    } while (rc == FSP_OK && push->gives_way);
    if (rc == FSP_OK)
        rc = keep_state(push, next, err);
    if (push->link != NULL)
        push->connected = fsp_link_rest(push->link) && push->connected;
    /* A failure of ours between SEND and answer leaves the engine waiting for one. */
    if (rc != FSP_OK && push->sync.state == FSP_SYNC_SENDING)
        push->sync.state = FSP_SYNC_IDLE;
    fsp_file_unlock(lock);
    return rc;
}
