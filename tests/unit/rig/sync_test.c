#include "support/test.h"

#include <string.h>

#include "rig/sync.h"

#define S INT64_C(1000000)

static struct fsp_sync_action
tick(struct fsp_sync *sync, int64_t now_us, uint64_t held, uint64_t size)
{
    struct fsp_sync_event event = {
            .kind = FSP_SYNC_TICK, .now_us = now_us, .held = held, .size = size};

    return fsp_sync_step(sync, &event);
}

static struct fsp_sync_action
answer(struct fsp_sync *sync, enum fsp_sync_event_kind kind, int64_t now_us, uint64_t held,
        uint64_t size)
{
    struct fsp_sync_event event = {.kind = kind, .now_us = now_us, .held = held, .size = size};

    return fsp_sync_step(sync, &event);
}

static void
nothing_pending_rests(void **state)
{
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, NULL);
    assert_int_equal(tick(&sync, 0, 0, 0).kind, FSP_SYNC_REST);
    assert_int_equal(tick(&sync, 0, 9, 9).kind, FSP_SYNC_REST);
    assert_int_equal(sync.state, FSP_SYNC_IDLE);
}

static void
what_is_pending_is_sent_from_the_offices_position_until_all_is_taken(void **state)
{
    struct fsp_sync_action action;
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, NULL);
    action = tick(&sync, 0, 3, 10);
    assert_int_equal(action.kind, FSP_SYNC_SEND);
    assert_int_equal(action.old, 3);
    assert_int_equal(action.payload, FSP_SYNC_PAYLOAD_FIRST);
    action = answer(&sync, FSP_SYNC_TAKEN, S, 7, 10);
    assert_int_equal(action.kind, FSP_SYNC_SEND);
    assert_int_equal(action.old, 7);
    assert_int_equal(answer(&sync, FSP_SYNC_TAKEN, 2 * S, 10, 10).kind, FSP_SYNC_REST);
    /* The log grew while the bundle was out. */
    assert_int_equal(tick(&sync, 3 * S, 10, 11).old, 10);
}

static void
bundles_grow_on_a_good_link_and_shrink_on_a_bad_one(void **state)
{
    struct fsp_sync_action action;
    struct fsp_sync sync;
    uint64_t held = 0;

    (void)state;
    fsp_sync_init(&sync, 1, NULL);
    action = tick(&sync, 0, 0, 1000);
    for (int i = 0; i < 10; i++)
        action = answer(&sync, FSP_SYNC_TAKEN, 0, ++held, 1000);
    assert_int_equal(action.payload, FSP_SYNC_PAYLOAD_MOST);
    for (int i = 0; i < 12; i++) {
        action = answer(&sync, FSP_SYNC_DELAY, 0, 0, 1000);
        assert_int_equal(action.kind, FSP_SYNC_WAIT);
        action = tick(&sync, action.until_us, held, 1000);
        assert_int_equal(action.kind, FSP_SYNC_SEND);
        sync.sent_us = 0;
    }
    assert_int_equal(action.payload, FSP_SYNC_PAYLOAD_LEAST);
    /* Slow answers let them grow to 56 kB and no further. */
    for (int i = 0; i < 12; i++) {
        sync.sent_us = 0;
        action = answer(&sync, FSP_SYNC_TAKEN, FSP_SYNC_QUICK_US + 1, ++held, 1000);
    }
    assert_int_equal(action.payload, FSP_SYNC_PAYLOAD_GOOD);
}

static void
backoff_doubles_its_bound_is_jittered_and_never_passes_the_ceiling(void **state)
{
    struct fsp_sync_action action;
    struct fsp_sync sync;
    int64_t now = 0;
    int64_t longest = 0;

    (void)state;
    for (uint64_t seed = 1; seed <= 50; seed++) {
        fsp_sync_init(&sync, seed, NULL);
        (void)tick(&sync, now, 0, 1);
        for (int i = 0; i < 40; i++) {
            int64_t bound = i < 10 ? FSP_SYNC_BACKOFF_US << i : FSP_SYNC_CEILING_US;

            if (bound > FSP_SYNC_CEILING_US)
                bound = FSP_SYNC_CEILING_US;
            action = answer(&sync, FSP_SYNC_DELAY, now, 0, 1);
            assert_int_equal(action.kind, FSP_SYNC_WAIT);
            assert_true(action.until_us >= now);
            assert_true(action.until_us - now <= bound);
            if (action.until_us - now > longest)
                longest = action.until_us - now;
            now = action.until_us;
            assert_int_equal(tick(&sync, now, 0, 1).kind, FSP_SYNC_SEND);
        }
    }
    assert_true(longest > FSP_SYNC_CEILING_US / 2);
}

static void
the_same_seed_waits_the_same(void **state)
{
    struct fsp_sync a;
    struct fsp_sync b;

    (void)state;
    fsp_sync_init(&a, 42, NULL);
    fsp_sync_init(&b, 42, NULL);
    for (int i = 0; i < 20; i++) {
        (void)tick(&a, 900 * S * i, 0, 1);
        (void)tick(&b, 900 * S * i, 0, 1);
        assert_int_equal(answer(&a, FSP_SYNC_DELAY, 900 * S * i, 0, 1).until_us,
                answer(&b, FSP_SYNC_DELAY, 900 * S * i, 0, 1).until_us);
    }
}

static void
a_wait_the_office_asks_for_is_kept_up_to_the_ceiling(void **state)
{
    struct fsp_sync_event event = {
            .kind = FSP_SYNC_DELAY, .now_us = 0, .size = 1, .after_us = 60 * S};
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, NULL);
    (void)tick(&sync, 0, 0, 1);
    assert_int_equal(fsp_sync_step(&sync, &event).until_us, 60 * S);
    (void)tick(&sync, 60 * S, 0, 1);
    event.now_us = 60 * S;
    event.after_us = 86400 * S;
    assert_int_equal(fsp_sync_step(&sync, &event).until_us, 60 * S + FSP_SYNC_CEILING_US);
}

static void
too_early_ticks_only_wait_and_never_lengthen_the_wait(void **state)
{
    struct fsp_sync_action action;
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, NULL);
    (void)tick(&sync, 0, 0, 1);
    action = answer(&sync, FSP_SYNC_REFUSED, 0, 0, 1);
    assert_int_equal(action.kind, FSP_SYNC_WAIT);
    assert_true(action.until_us >= FSP_SYNC_CEILING_US / 2);
    assert_true(action.until_us <= FSP_SYNC_CEILING_US);
    assert_int_equal(tick(&sync, 1, 0, 5).until_us, action.until_us);
    /* A courier brought the receipt meanwhile. */
    assert_int_equal(tick(&sync, 2, 5, 5).kind, FSP_SYNC_REST);
}

static void
a_gap_goes_back_and_a_run_of_gaps_only_delays(void **state)
{
    struct fsp_sync_action action;
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, NULL);
    (void)tick(&sync, 0, 50, 60);
    action = answer(&sync, FSP_SYNC_GAP, 0, 20, 60);
    assert_int_equal(action.kind, FSP_SYNC_SEND);
    assert_int_equal(action.old, 20);
    for (int i = 2; i < FSP_SYNC_GAPS_MOST; i++)
        assert_int_equal(answer(&sync, FSP_SYNC_GAP, 0, 20, 60).kind, FSP_SYNC_SEND);
    assert_int_equal(answer(&sync, FSP_SYNC_GAP, 0, 20, 60).kind, FSP_SYNC_WAIT);
}

static void
a_contradiction_stops_for_good(void **state)
{
    static const enum fsp_sync_event_kind kinds[] = {FSP_SYNC_TICK, FSP_SYNC_TAKEN,
            FSP_SYNC_GAP, FSP_SYNC_DELAY, FSP_SYNC_TOO_LARGE, FSP_SYNC_REFUSED};
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, NULL);
    (void)tick(&sync, 0, 0, 1);
    assert_int_equal(answer(&sync, FSP_SYNC_CONTRADICT, 0, 0, 1).kind, FSP_SYNC_STOP);
    for (size_t i = 0; i < sizeof(kinds) / sizeof(kinds[0]); i++)
        assert_int_equal(answer(&sync, kinds[i], S, 0, 9).kind, FSP_SYNC_STOP);
}

static void
nothing_short_of_a_contradiction_ever_gives_up(void **state)
{
    static const enum fsp_sync_event_kind kinds[] = {
            FSP_SYNC_GAP, FSP_SYNC_DELAY, FSP_SYNC_TOO_LARGE, FSP_SYNC_REFUSED};
    struct fsp_sync sync;
    int64_t now = 0;
    uint64_t random = 3;

    (void)state;
    fsp_sync_init(&sync, 9, NULL);
    (void)tick(&sync, now, 0, 100);
    for (int i = 0; i < 5000; i++) {
        struct fsp_sync_action action;

        random = random * UINT64_C(6364136223846793005) + 1;
        action = answer(&sync, kinds[random >> 62], now, 0, 100);
        if (action.kind == FSP_SYNC_WAIT) {
            assert_true(action.until_us - now <= FSP_SYNC_CEILING_US);
            now = action.until_us;
            action = tick(&sync, now, 0, 100);
        }
        assert_int_equal(action.kind, FSP_SYNC_SEND);
        assert_in_range(action.payload, FSP_SYNC_PAYLOAD_LEAST, FSP_SYNC_PAYLOAD_MOST);
    }
}

static void
an_answer_nobody_waits_for_changes_nothing(void **state)
{
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, NULL);
    assert_int_equal(tick(&sync, 0, 5, 5).kind, FSP_SYNC_REST);
    assert_int_equal(answer(&sync, FSP_SYNC_GAP, 0, 0, 5).kind, FSP_SYNC_REST);
    assert_int_equal(sync.held, 5);
}

/* ---- classes and the day's budget ---------------------------------------------------------- */

#define OLD    (600 * S)
#define ENOUGH 5
#define DAY    (86400 * S)

static const struct fsp_sync_plan plan = {.enough = ENOUGH, .old_us = OLD};

/* An event of run: no budget unless one is set. */
static struct fsp_sync_event
of_run(int64_t now_us, uint64_t held, uint64_t size)
{
    return (struct fsp_sync_event){.kind = FSP_SYNC_TICK,
            .now_us = now_us,
            .held = held,
            .size = size,
            .left = FSP_SYNC_NO_BUDGET,
            .left_urgent = FSP_SYNC_NO_BUDGET,
            .day_ends_us = DAY};
}

/* A machine that has nothing pending. */
static void
at_rest(struct fsp_sync *sync)
{
    struct fsp_sync_event event = of_run(0, 10, 10);

    fsp_sync_init(sync, 1, &plan);
    assert_int_equal(fsp_sync_step(sync, &event).kind, FSP_SYNC_REST);
}

static void
what_waits_at_the_start_goes_at_once(void **state)
{
    struct fsp_sync_event event = of_run(0, 10, 11);
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, &plan);
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_SEND);
}

static void
routine_records_wait_until_they_are_old_enough(void **state)
{
    struct fsp_sync_event event = of_run(S, 10, 11);
    struct fsp_sync_action action;
    struct fsp_sync sync;

    (void)state;
    at_rest(&sync);
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_WAIT);
    assert_int_equal(action.wait, FSP_SYNC_FOR_MORE);
    assert_int_equal(action.until_us, S + OLD);
    /* One more does not begin the wait anew. */
    event = of_run(OLD, 10, 12);
    assert_int_equal(fsp_sync_step(&sync, &event).until_us, S + OLD);
    event.now_us = S + OLD - 1;
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_WAIT);
    event.now_us = S + OLD;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_SEND);
    assert_int_equal(action.old, 10);
    assert_int_equal(action.to, 12);
}

static void
enough_routine_records_go_at_once_and_then_all_that_came_meanwhile(void **state)
{
    struct fsp_sync_event event = of_run(S, 10, 10 + ENOUGH - 1);
    struct fsp_sync sync;

    (void)state;
    at_rest(&sync);
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_WAIT);
    event.size++;
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_SEND);
    event = of_run(2 * S, 10 + ENOUGH, 10 + ENOUGH + 1);
    event.kind = FSP_SYNC_TAKEN;
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_SEND);
    event.held++;
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_REST);
    /* The next one waits again. */
    event = of_run(3 * S, event.held, event.size + 1);
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_WAIT);
}

static void
an_urgent_record_goes_at_once_with_what_lies_below_it(void **state)
{
    struct fsp_sync_event event = of_run(S, 10, 12);
    struct fsp_sync_action action;
    struct fsp_sync sync;

    (void)state;
    at_rest(&sync);
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_WAIT);
    event.urgent = 12;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_SEND);
    assert_int_equal(action.old, 10);
    /* What is receipted is not urgent any more. */
    at_rest(&sync);
    event = of_run(S, 12, 13);
    event.urgent = 12;
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_WAIT);
}

static void
an_urgent_record_does_not_break_into_a_wait_for_the_link(void **state)
{
    struct fsp_sync_event event = of_run(0, 0, 1);
    struct fsp_sync_action action;
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, &plan);
    (void)fsp_sync_step(&sync, &event);
    event.kind = FSP_SYNC_REFUSED;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.wait, FSP_SYNC_FOR_LINK);
    event = of_run(S, 0, 2);
    event.urgent = 2;
    assert_int_equal(fsp_sync_step(&sync, &event).until_us, action.until_us);
}

static void
a_used_up_day_makes_routine_records_wait_for_the_next(void **state)
{
    struct fsp_sync_event event = of_run(0, 0, 100);
    struct fsp_sync_action action;
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, &plan);
    event.left = FSP_SYNC_BUDGET_LEAST - 1;
    event.left_urgent = 50000;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_WAIT);
    assert_int_equal(action.wait, FSP_SYNC_FOR_DAY);
    assert_int_equal(action.until_us, DAY);
    assert_int_equal(sync.state, FSP_SYNC_SAVING);
    /* The new day's bytes, however early they come. */
    event = of_run(S, 0, 100);
    event.left = 50000;
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_SEND);
}

static void
a_bundle_is_no_larger_than_what_the_day_has_left(void **state)
{
    struct fsp_sync_event event = of_run(0, 0, 100);
    struct fsp_sync_action action;
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, &plan);
    event.left = FSP_SYNC_BUDGET_LEAST + 5000;
    event.left_urgent = FSP_SYNC_BUDGET_LEAST + 9000;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_SEND);
    assert_int_equal(action.payload, 5000);
    fsp_sync_init(&sync, 1, &plan);
    event.left = FSP_SYNC_BUDGET_LEAST;
    assert_int_equal(fsp_sync_step(&sync, &event).payload, 1);
}

static void
the_reserve_carries_the_urgent_record_and_nothing_above_it(void **state)
{
    struct fsp_sync_event event = of_run(0, 10, 100);
    struct fsp_sync_action action;
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, &plan);
    event.left = 0;
    event.left_urgent = 50000;
    event.urgent = 40;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_SEND);
    assert_int_equal(action.to, 40);
    event.kind = FSP_SYNC_TAKEN;
    event.held = 40;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_WAIT);
    assert_int_equal(action.wait, FSP_SYNC_FOR_DAY);
}

static void
beyond_the_reserve_urgent_records_go_once_a_ceiling(void **state)
{
    struct fsp_sync_event event = of_run(0, 10, 100);
    struct fsp_sync_action action;
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, &plan);
    event.left = 0;
    event.left_urgent = 0;
    event.urgent = 40;
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_SEND);
    event.kind = FSP_SYNC_TAKEN;
    event.held = 20;
    event.now_us = S;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.wait, FSP_SYNC_FOR_DAY);
    assert_int_equal(action.until_us, FSP_SYNC_CEILING_US);
    event.kind = FSP_SYNC_TICK;
    event.now_us = FSP_SYNC_CEILING_US;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_SEND);
    assert_int_equal(action.old, 20);
}

static void
by_hand_everything_goes_now_and_no_budget_holds(void **state)
{
    struct fsp_sync_event event = of_run(0, 10, 11);
    struct fsp_sync_action action;
    struct fsp_sync sync;

    (void)state;
    fsp_sync_init(&sync, 1, NULL);
    event.held = 11;
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_REST);
    event.held = 10;
    event.left = 0;
    event.left_urgent = 0;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_SEND);
    assert_int_equal(action.payload, FSP_SYNC_PAYLOAD_FIRST);
}

#define POLL (INT64_C(21600) * S)

static const struct fsp_sync_plan polling = {.enough = ENOUGH, .old_us = OLD, .poll_us = POLL};

/* A machine that polls, and when its first poll goes. */
static int64_t
first_poll(struct fsp_sync *sync)
{
    struct fsp_sync_event event = of_run(0, 10, 10);
    struct fsp_sync_action action;

    fsp_sync_init(sync, 1, &polling);
    action = fsp_sync_step(sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_WAIT);
    assert_int_equal(action.wait, FSP_SYNC_FOR_POLL);
    assert_in_range(action.until_us, 0, POLL / 8);
    return action.until_us;
}

static void
with_nothing_pending_the_office_is_asked_at_a_slow_pace(void **state)
{
    struct fsp_sync sync;
    int64_t at_us = first_poll(&sync);

    (void)state;
    for (int i = 0; i < 20; i++) {
        struct fsp_sync_event event = of_run(at_us - 1, 10, 10);
        struct fsp_sync_action action = fsp_sync_step(&sync, &event);

        assert_int_equal(action.until_us, at_us);
        event.now_us = at_us;
        action = fsp_sync_step(&sync, &event);
        assert_int_equal(action.kind, FSP_SYNC_SEND);
        assert_int_equal(action.old, 10);
        assert_int_equal(action.to, 10);
        event.kind = FSP_SYNC_TAKEN;
        action = fsp_sync_step(&sync, &event);
        assert_int_equal(action.wait, FSP_SYNC_FOR_POLL);
        assert_in_range(action.until_us, at_us + POLL - POLL / 4, at_us + POLL);
        assert_int_equal(sync.payload, FSP_SYNC_PAYLOAD_FIRST);
        at_us = action.until_us;
    }
}

static void
a_poll_in_vain_is_repeated_later_each_time_and_hurries_nobody(void **state)
{
    static const enum fsp_sync_event_kind in_vain[] = {
            FSP_SYNC_DELAY, FSP_SYNC_REFUSED, FSP_SYNC_TOO_LARGE};
    struct fsp_sync sync;
    int64_t at_us = first_poll(&sync);
    int64_t bound = FSP_SYNC_CEILING_US;

    (void)state;
    for (int i = 0; i < 10; i++) {
        struct fsp_sync_event event = of_run(at_us, 10, 10);
        struct fsp_sync_action action = fsp_sync_step(&sync, &event);

        assert_int_equal(action.kind, FSP_SYNC_SEND);
        event.kind = in_vain[i % 3];
        action = fsp_sync_step(&sync, &event);
        assert_int_equal(action.wait, FSP_SYNC_FOR_POLL);
        assert_in_range(action.until_us, at_us + bound / 2, at_us + bound);
        at_us = action.until_us;
        bound = bound * 2 < POLL ? bound * 2 : POLL;
    }
}

/* What comes up while a poll is out goes by its own rules: urgent ones wait for the link only. */
static void
a_poll_gives_way_to_records_and_to_the_budget(void **state)
{
    struct fsp_sync sync;
    int64_t at_us = first_poll(&sync);
    struct fsp_sync_event event = of_run(at_us, 10, 10);
    struct fsp_sync_action action;

    (void)state;
    event.left = FSP_SYNC_BUDGET_LEAST - 1;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.wait, FSP_SYNC_FOR_POLL);
    assert_int_equal(action.until_us, DAY);
    event.left = FSP_SYNC_NO_BUDGET;
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_SEND);
    event.kind = FSP_SYNC_DELAY;
    event.size = 11;
    event.urgent = 11;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.wait, FSP_SYNC_FOR_LINK);
    event.kind = FSP_SYNC_TICK;
    event.now_us = action.until_us;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_SEND);
    assert_int_equal(action.to, 11);
    /* A poll finds that the office went back: what it lacks goes. */
    event = of_run(action.until_us + POLL, 10, 10);
    fsp_sync_init(&sync, 1, &polling);
    event.now_us = first_poll(&sync);
    assert_int_equal(fsp_sync_step(&sync, &event).kind, FSP_SYNC_SEND);
    event.kind = FSP_SYNC_GAP;
    event.held = 4;
    sync.draining = true;
    action = fsp_sync_step(&sync, &event);
    assert_int_equal(action.kind, FSP_SYNC_SEND);
    assert_int_equal(action.old, 4);
}

static void
pending_records_always_have_a_finite_wait_or_are_on_their_way(void **state)
{
    struct fsp_sync sync;
    struct fsp_sync_action action = {.kind = FSP_SYNC_REST};
    uint64_t random = 11;
    uint64_t held = 0;
    int64_t now = 0;

    (void)state;
    fsp_sync_init(&sync, 3, &plan);
    for (int i = 0; i < 20000; i++) {
        struct fsp_sync_event event = of_run(now, held, held + (random >> 60));

        random = random * UINT64_C(6364136223846793005) + 1442695040888963407U;
        event.urgent = (random >> 40) % 4 == 0 ? event.size : 0;
        event.left = (random >> 42) % 3 == 0 ? 0 : (random >> 30) % 100000;
        event.left_urgent = event.left + (random >> 33) % 5000;
        event.day_ends_us = (now / DAY + 1) * DAY;
        if (action.kind == FSP_SYNC_SEND) {
            event.kind = (enum fsp_sync_event_kind)(1 + (random >> 50) % 5);
            if (event.kind == FSP_SYNC_TAKEN && held < event.size)
                event.held = ++held;
        }
        action = fsp_sync_step(&sync, &event);
        if (action.kind == FSP_SYNC_SEND)
            assert_true(
                    action.to > action.old && action.to <= event.size && action.payload > 0);
        else if (action.kind == FSP_SYNC_WAIT)
            assert_true(action.until_us >= now && action.until_us <= now + DAY &&
                        action.wait != FSP_SYNC_FOR_NOTHING);
        else
            assert_true(action.kind == FSP_SYNC_REST && sync.held >= event.size);
        now = action.kind == FSP_SYNC_WAIT ? action.until_us : now + S;
    }
    assert_true(held > 100);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(nothing_pending_rests),
            cmocka_unit_test(
                    what_is_pending_is_sent_from_the_offices_position_until_all_is_taken),
            cmocka_unit_test(bundles_grow_on_a_good_link_and_shrink_on_a_bad_one),
            cmocka_unit_test(
                    backoff_doubles_its_bound_is_jittered_and_never_passes_the_ceiling),
            cmocka_unit_test(the_same_seed_waits_the_same),
            cmocka_unit_test(a_wait_the_office_asks_for_is_kept_up_to_the_ceiling),
            cmocka_unit_test(too_early_ticks_only_wait_and_never_lengthen_the_wait),
            cmocka_unit_test(a_gap_goes_back_and_a_run_of_gaps_only_delays),
            cmocka_unit_test(a_contradiction_stops_for_good),
            cmocka_unit_test(nothing_short_of_a_contradiction_ever_gives_up),
            cmocka_unit_test(an_answer_nobody_waits_for_changes_nothing),
            cmocka_unit_test(what_waits_at_the_start_goes_at_once),
            cmocka_unit_test(routine_records_wait_until_they_are_old_enough),
            cmocka_unit_test(
                    enough_routine_records_go_at_once_and_then_all_that_came_meanwhile),
            cmocka_unit_test(an_urgent_record_goes_at_once_with_what_lies_below_it),
            cmocka_unit_test(an_urgent_record_does_not_break_into_a_wait_for_the_link),
            cmocka_unit_test(a_used_up_day_makes_routine_records_wait_for_the_next),
            cmocka_unit_test(a_bundle_is_no_larger_than_what_the_day_has_left),
            cmocka_unit_test(the_reserve_carries_the_urgent_record_and_nothing_above_it),
            cmocka_unit_test(beyond_the_reserve_urgent_records_go_once_a_ceiling),
            cmocka_unit_test(by_hand_everything_goes_now_and_no_budget_holds),
            cmocka_unit_test(with_nothing_pending_the_office_is_asked_at_a_slow_pace),
            cmocka_unit_test(a_poll_in_vain_is_repeated_later_each_time_and_hurries_nobody),
            cmocka_unit_test(a_poll_gives_way_to_records_and_to_the_budget),
            cmocka_unit_test(pending_records_always_have_a_finite_wait_or_are_on_their_way),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
