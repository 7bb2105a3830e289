/*
 * Every sync of the script is taken out in turn, and a power cut must then break what the script
 * promises: a sync that could go unnoticed would go unnoticed in the program, too. Those that may
 * rightly go are few, and each says why.
 */
#include "fault/crash.h"

#include "support/test.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#define GARBLED      4 /* seeds of each moment; with FSP_LONG=1 the second number */
#define GARBLED_LONG 24
#define GARBLED_MOST 100 /* where none of these showed it */
#define ACTIONS_ON   2   /* so many actions later it must have shown */

static struct crash crash;

static int
setup(void **state)
{
    (void)state;
    crash_record(&crash);
    return 0;
}

static int
teardown(void **state)
{
    (void)state;
    crash_end(&crash);
    return 0;
}

static bool
is_end(size_t at)
{
    for (size_t i = 0; i < script_actions(); i++)
        if (crash.done[i] == at)
            return true;
    return false;
}

static bool
breaks(size_t sync, size_t at, uint64_t seeds, char *wrong, size_t size)
{
    struct crashvfs_cut cut = {.at = at, .unsync = sync, .way = CRASHVFS_DROP};

    if (!crash_holds(&crash, &cut, crash_action(&crash, at), wrong, size))
        return true;
    cut.way = CRASHVFS_GARBLE;
    for (cut.seed = 1; cut.seed <= seeds; cut.seed++)
        if (!crash_holds(&crash, &cut, crash_action(&crash, at), wrong, size))
            return true;
    return false;
}

/* Whether some power cut shows that the sync is not there. Behind the next sync of the same thing it
 * cannot show any more. */
static bool
shows(size_t sync, size_t again, uint64_t seeds, char *wrong, size_t size)
{
    size_t action = crash_action(&crash, sync);
    size_t to = crashvfs_events();

    if (action + ACTIONS_ON < script_actions())
        to = crash.done[action + ACTIONS_ON];
    if (again < to)
        to = again;
    /* The acknowledgement of its own action first: it shows most of them. */
    if (crash.done[action] <= to && breaks(sync, crash.done[action], seeds, wrong, size))
        return true;
    for (size_t at = sync + 1; at <= to; at++)
        if (at != crash.done[action] &&
                (is_end(at) || crashvfs_event(at)->kind == CRASHVFS_SYNC) &&
                breaks(sync, at, seeds, wrong, size))
            return true;
    /* What only a later action needs: the script is played to its end. */
    if (crash.done[action] <= to) {
        struct crashvfs_cut cut = {
                .at = crash.done[action], .unsync = sync, .way = CRASHVFS_DROP};

        return !crash_holds(&crash, &cut, script_actions() - 1, wrong, size);
    }
    return false;
}

/* Syncs that nothing acknowledged hangs on. */
static const struct {
    const char *in;   /* part of its path */
    const char *what; /* how the path ends */
    const char *why;
} idle[] = {
        {".new-", ".db-journal", "the store is not in its place yet; a half one is made anew"},
        {"inbox/march.csv.", "", "the sheet is its sender's until it is taken"},
        {"heron/inbox", "heron/inbox", "likewise its name"},
};

/* The last transaction of taking a receipt keeps what the office can read, for the next bundle. */
static const char hint[] = "it is a hint, and said again with the next answer";

static const char *
excuse(size_t sync)
{
    const char *said;
    size_t action = crash_action(&crash, sync);
    size_t next = sync + 1;

    while (next < crashvfs_events() && crashvfs_event(next)->kind != CRASHVFS_SYNC)
        next++;
    if (strstr(script_name(action), " receipt") != NULL && next >= crash.done[action])
        return hint;
    said = crashvfs_say(sync);
    for (size_t i = 0; i < sizeof(idle) / sizeof(idle[0]); i++) {
        size_t len = strlen(idle[i].what);

        if (strstr(said, idle[i].in) != NULL && strlen(said) >= len &&
                strcmp(said + strlen(said) - len, idle[i].what) == 0)
            return idle[i].why;
    }
    return NULL;
}

static void
a_sync_that_is_taken_out_is_missed(void **state)
{
    size_t all = 0;
    size_t missed = 0;
    size_t empty = 0;
    size_t twice = 0;
    size_t excused = 0;
    size_t unmissed = 0;

    (void)state;
    for (size_t i = 0; i < crashvfs_events(); i++) {
        size_t again;
        char wrong[600];

        if (crashvfs_event(i)->kind != CRASHVFS_SYNC ||
                (script_is_repeat(crash_action(&crash, i)) && !crash_long()))
            continue;
        all++;
        if (!crashvfs_was_needed(i)) { /* the disk is the same with and without */
            empty++;
            continue;
        }
        again = crashvfs_synced_again(i);
        if (shows(i, again, crash_long() ? GARBLED_LONG : GARBLED, wrong, sizeof(wrong)) ||
                (again > crash.done[crash_action(&crash, i)] && excuse(i) == NULL &&
                        shows(i, again, GARBLED_MOST, wrong, sizeof(wrong)))) {
            missed++;
            print_message("missed: %zu %s in '%s': %s\n", i, crashvfs_say(i),
                    script_name(crash_action(&crash, i)), wrong);
        } else if (again < crash.done[crash_action(&crash, i)]) {
            twice++;
        } else if (excuse(i) != NULL) {
            excused++;
        } else {
            unmissed++;
            print_error("%zu: %s in '%s' can be taken out, and nothing shows it\n", i,
                    crashvfs_say(i), script_name(crash_action(&crash, i)));
        }
    }
    print_message(
            "%zu syncs: %zu are missed when taken out, %zu had nothing to do, %zu are done "
            "again before the acknowledgement, %zu are excused; %" PRIu64 " cuts\n",
            all, missed, empty, twice, excused, crash.cuts);
    assert_int_equal(unmissed, 0);
    assert_true(missed > all / 4);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_sync_that_is_taken_out_is_missed),
    };

    return cmocka_run_group_tests(tests, setup, teardown);
}
