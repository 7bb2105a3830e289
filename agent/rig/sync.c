/*
 * Invariants
 *  1. At most one bundle is out.
 *  2. Every SEND is from the office's position: `held` of the last TAKEN or GAP, or the store's.
 *  3. While something is pending the machine is SENDING, STOPPED, or waits (GATHERING, SAVING,
 *     WAITING) until a finite time; nothing is ever given up or dropped. Whoever has no patience
 *     stops asking.
 *  4. Only CONTRADICT stops, and it is only ever made from verified words.
 *  5. A wait for the link is at most the ceiling from now, whatever the office asked for; a wait for
 *     more records at most plan.old_us; a wait for the day ends with the day.
 *  6. Entries go in order, so what lies below an urgent entry goes with it. Nothing above it goes
 *     from the reserve.
 *  7. Urgent entries wait for more records never, for the budget never longer than the ceiling: when
 *     the reserve is used up, too, one bundle goes each ceiling (15 min).
 *  8. A poll goes only with nothing pending, within the routine budget, and is no reason to hurry: in
 *     vain, the next one waits for twice as long, from the ceiling up to plan.poll_us.
 *
 * State      event                what is done                                    next (function)
 * IDLE       TICK, none pending   rest, or wait for the next poll                 IDLE        (rest)
 *            a poll is due        send no entries from held                       SENDING     (rest)
 * IDLE       TICK, pending        send, gather or save, as decided                below      (go_on)
 *            urgent, ripe or once begun: in the budget: send from held            SENDING    (pay)
 *            routine, not ripe: wait until it is old enough                       GATHERING  (go_on)
 *            budget used up: routine waits for the day, urgent takes the reserve  SAVING     (pay)
 * GATHERING  TICK                 decided anew                                    as IDLE    (go_on)
 * SAVING     TICK                 decided anew                                    as IDLE    (go_on)
 * WAITING    TICK, too early      wait                                            WAITING    (tick)
 * WAITING    TICK, time is up     decided anew                                    as IDLE    (go_on)
 * SENDING    TAKEN                held up, backoff forgotten, payload may grow    as IDLE    (taken)
 * SENDING    GAP                  held as the office says; after 4 in a row wait  as IDLE    (gap)
 * SENDING    DELAY                payload halved, full-jitter backoff             WAITING (back_off)
 * SENDING    TOO_LARGE            payload halved, full-jitter backoff             WAITING (back_off)
 * SENDING    REFUSED              wait at the ceiling                             WAITING  (refused)
 * SENDING    a poll in vain       the next one later                              as IDLE (in_vain)
 * any        CONTRADICT           stop                                            STOPPED
 * STOPPED    any                  stop                                            STOPPED
 */
#include "rig/sync.h"

#include <string.h>

/* splitmix64 (Steele, Lea, Flood 2014; constants from memory, only jitter hangs on them). */
static uint64_t
next_random(struct fsp_sync *sync)
{
    uint64_t z;

    sync->random += UINT64_C(0x9e3779b97f4a7c15);
    z = sync->random;
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

void
fsp_sync_init(struct fsp_sync *sync, uint64_t seed, const struct fsp_sync_plan *plan)
{
    memset(sync, 0, sizeof(*sync));
    sync->state = FSP_SYNC_IDLE;
    sync->random = seed;
    sync->payload = FSP_SYNC_PAYLOAD_FIRST;
    sync->by_hand = plan == NULL;
    if (plan != NULL)
        sync->plan = *plan;
    /* How long what is pending has waited before the start is not known: it goes. */
    sync->draining = true;
}

static struct fsp_sync_action
wait_until(struct fsp_sync *sync, enum fsp_sync_wait wait, int64_t until_us)
{
    switch (wait) {
    case FSP_SYNC_FOR_MORE:
        sync->state = FSP_SYNC_GATHERING;
        break;
    case FSP_SYNC_FOR_DAY:
        sync->state = FSP_SYNC_SAVING;
        break;
    case FSP_SYNC_FOR_LINK:
    case FSP_SYNC_FOR_NOTHING:
        sync->state = FSP_SYNC_WAITING;
        break;
    case FSP_SYNC_FOR_POLL:
        sync->state = FSP_SYNC_IDLE;
        break;
    }
    sync->until_us = until_us;
    return (struct fsp_sync_action){.kind = FSP_SYNC_WAIT, .wait = wait, .until_us = until_us};
}

static struct fsp_sync_action
send_to(struct fsp_sync *sync, const struct fsp_sync_event *event, uint64_t to, uint64_t left)
{
    size_t payload = sync->payload;

    /* The bundle's own overhead is in BUDGET_LEAST; one entry always goes, whatever its size. */
    if (left != FSP_SYNC_NO_BUDGET && left < payload + FSP_SYNC_BUDGET_LEAST)
        payload = left > FSP_SYNC_BUDGET_LEAST ? (size_t)(left - FSP_SYNC_BUDGET_LEAST) : 1;
    sync->state = FSP_SYNC_SENDING;
    sync->polls = to <= sync->held;
    sync->sent_us = event->now_us;
    return (struct fsp_sync_action){
            .kind = FSP_SYNC_SEND, .old = sync->held, .to = to, .payload = payload};
}

static bool
used_up(uint64_t left)
{
    return left < FSP_SYNC_BUDGET_LEAST;
}

/* Send within what the day still has; else wait. */
static struct fsp_sync_action
pay(struct fsp_sync *sync, const struct fsp_sync_event *event, bool urgent)
{
    int64_t until_us;

    if (!used_up(event->left)) {
        sync->over = false;
        return send_to(sync, event, event->size, event->left);
    }
    if (!urgent)
        return wait_until(sync, FSP_SYNC_FOR_DAY, event->day_ends_us);
    if (!used_up(event->left_urgent))
        return send_to(sync, event, event->urgent, event->left_urgent);
    until_us = sync->over_us + FSP_SYNC_CEILING_US;
    if (sync->over && event->now_us < until_us)
        return wait_until(sync, FSP_SYNC_FOR_DAY,
                until_us < event->day_ends_us ? until_us : event->day_ends_us);
    sync->over = true;
    sync->over_us = event->now_us;
    return send_to(sync, event, event->urgent, FSP_SYNC_NO_BUDGET);
}

/* ---- nothing pending ---------------------------------------------------------------------- */

/* least .. least + more, evenly. */
static int64_t
spread(struct fsp_sync *sync, int64_t least, int64_t more)
{
    return least + (int64_t)(next_random(sync) % ((uint64_t)more + 1));
}

/* The office was heard: the next poll is as far as it gets, and a fleet's do not fall together. */
static void
heard(struct fsp_sync *sync, int64_t now_us)
{
    int64_t quarter = sync->plan.poll_us / 4;

    sync->unheard = 0;
    sync->poll_set = true;
    sync->poll_us = now_us + spread(sync, sync->plan.poll_us - quarter, quarter);
}

static struct fsp_sync_action
rest(struct fsp_sync *sync, const struct fsp_sync_event *event)
{
    sync->state = FSP_SYNC_IDLE;
    sync->draining = false;
    sync->waits = false;
    if (sync->by_hand || sync->plan.poll_us == 0 || event->size == 0 ||
            sync->held != event->size)
        return (struct fsp_sync_action){.kind = FSP_SYNC_REST};
    /* At the start, and when a clock jumped, soon but not at once: a PC may start many times. */
    if (!sync->poll_set || sync->poll_us - event->now_us > sync->plan.poll_us) {
        sync->poll_set = true;
        sync->poll_us = event->now_us + spread(sync, 0, sync->plan.poll_us / 8);
    }
    if (event->now_us < sync->poll_us)
        return wait_until(sync, FSP_SYNC_FOR_POLL, sync->poll_us);
    if (used_up(event->left))
        return wait_until(sync, FSP_SYNC_FOR_POLL, event->day_ends_us);
    return send_to(sync, event, event->size, event->left);
}

/* Something or nothing is pending: what now? */
static struct fsp_sync_action
go_on(struct fsp_sync *sync, const struct fsp_sync_event *event)
{
    bool urgent = event->urgent > sync->held;

    if (sync->held >= event->size)
        return rest(sync, event);
    if (sync->by_hand)
        return send_to(sync, event, event->size, FSP_SYNC_NO_BUDGET);
    if (!sync->waits || event->now_us < sync->since_us) {
        sync->waits = true;
        sync->since_us = event->now_us;
    }
    if (event->size - sync->held >= sync->plan.enough ||
            event->now_us - sync->since_us >= sync->plan.old_us)
        sync->draining = true;
    if (!sync->draining && !urgent)
        return wait_until(sync, FSP_SYNC_FOR_MORE, sync->since_us + sync->plan.old_us);
    return pay(sync, event, urgent);
}

static struct fsp_sync_action
tick(struct fsp_sync *sync, const struct fsp_sync_event *event)
{
    /* Another process may have brought news of the office meanwhile. */
    sync->held = event->held;
    if (sync->state == FSP_SYNC_WAITING && event->now_us < sync->until_us &&
            event->held < event->size) {
        /* A clock that jumped must not make a wait longer than the ceiling. */
        if (sync->until_us - event->now_us > FSP_SYNC_CEILING_US)
            sync->until_us = event->now_us + FSP_SYNC_CEILING_US;
        return wait_until(sync, FSP_SYNC_FOR_LINK, sync->until_us);
    }
    return go_on(sync, event);
}

static struct fsp_sync_action
taken(struct fsp_sync *sync, const struct fsp_sync_event *event)
{
    size_t most = event->now_us - sync->sent_us <= FSP_SYNC_QUICK_US ? FSP_SYNC_PAYLOAD_MOST
                                                                     : FSP_SYNC_PAYLOAD_GOOD;

    sync->held = event->held;
    sync->failures = 0;
    sync->gaps = 0;
    heard(sync, event->now_us);
    if (!sync->polls && sync->payload < most)
        sync->payload = sync->payload * 2 < most ? sync->payload * 2 : most;
    return go_on(sync, event);
}

static void
shrink(struct fsp_sync *sync)
{
    sync->payload /= 2;
    if (sync->payload < FSP_SYNC_PAYLOAD_LEAST)
        sync->payload = FSP_SYNC_PAYLOAD_LEAST;
}

/* Nobody waits for a poll: the next one is later each time, and what became pending meanwhile goes by
 * the rules of a try in vain. */
static struct fsp_sync_action
in_vain(struct fsp_sync *sync, const struct fsp_sync_event *event)
{
    int64_t bound = sync->plan.poll_us;
    int64_t wait;

    if (sync->unheard < 10 && FSP_SYNC_CEILING_US << sync->unheard < bound)
        bound = FSP_SYNC_CEILING_US << sync->unheard;
    if (sync->unheard < 1000)
        sync->unheard++;
    wait = spread(sync, bound / 2, bound / 2);
    if (wait < event->after_us)
        wait = event->after_us < sync->plan.poll_us ? event->after_us : sync->plan.poll_us;
    sync->poll_set = true;
    sync->poll_us = event->now_us + wait;
    return rest(sync, event);
}

/* Full jitter: anything from nothing to the doubled bound, never above the ceiling. */
static struct fsp_sync_action
back_off(struct fsp_sync *sync, const struct fsp_sync_event *event)
{
    int64_t bound = FSP_SYNC_CEILING_US;
    int64_t wait;

    if (sync->failures < 10)
        bound = FSP_SYNC_BACKOFF_US << sync->failures;
    if (bound > FSP_SYNC_CEILING_US)
        bound = FSP_SYNC_CEILING_US;
    if (sync->failures < 1000)
        sync->failures++;
    wait = (int64_t)(next_random(sync) % ((uint64_t)bound + 1));
    if (wait < event->after_us)
        wait = event->after_us;
    if (wait > FSP_SYNC_CEILING_US)
        wait = FSP_SYNC_CEILING_US;
    return wait_until(sync, FSP_SYNC_FOR_LINK, event->now_us + wait);
}

static struct fsp_sync_action
gap(struct fsp_sync *sync, const struct fsp_sync_event *event)
{
    sync->held = event->held;
    sync->gaps++;
    if (sync->gaps >= FSP_SYNC_GAPS_MOST)
        return back_off(sync, event);
    return go_on(sync, event);
}

static struct fsp_sync_action
refused(struct fsp_sync *sync, const struct fsp_sync_event *event)
{
    int64_t half = FSP_SYNC_CEILING_US / 2;

    /* Upper half of the ceiling, so that a fleet does not come back as one. */
    if (sync->failures < 1000)
        sync->failures++;
    return wait_until(sync, FSP_SYNC_FOR_LINK,
            event->now_us + half + (int64_t)(next_random(sync) % (uint64_t)half));
}

struct fsp_sync_action
fsp_sync_step(struct fsp_sync *sync, const struct fsp_sync_event *event)
{
    enum fsp_sync_event_kind kind = event->kind;

    if (kind == FSP_SYNC_CONTRADICT || sync->state == FSP_SYNC_STOPPED) {
        sync->state = FSP_SYNC_STOPPED;
        return (struct fsp_sync_action){.kind = FSP_SYNC_STOP};
    }
    if (sync->state != FSP_SYNC_SENDING && kind != FSP_SYNC_TICK) {
        struct fsp_sync_event late = *event;

        late.kind = FSP_SYNC_TICK;
        late.held = sync->held;
        return tick(sync, &late);
    }
    if (sync->polls && sync->held >= event->size &&
            (kind == FSP_SYNC_DELAY || kind == FSP_SYNC_TOO_LARGE || kind == FSP_SYNC_REFUSED))
        return in_vain(sync, event);
    switch (kind) {
    case FSP_SYNC_TICK:
        return tick(sync, event);
    case FSP_SYNC_TAKEN:
        return taken(sync, event);
    case FSP_SYNC_GAP:
        return gap(sync, event);
    case FSP_SYNC_DELAY:
    case FSP_SYNC_TOO_LARGE:
        shrink(sync);
        return back_off(sync, event);
    case FSP_SYNC_REFUSED:
        return refused(sync, event);
    case FSP_SYNC_CONTRADICT:
        break;
    }
    return (struct fsp_sync_action){.kind = FSP_SYNC_STOP};
}
