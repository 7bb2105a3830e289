/* The power goes at every sync of the script, and after every acknowledgement, in three ways. */
#include "fault/crash.h"

#include "support/test.h"

#include <inttypes.h>
#include <stdlib.h>

#define GARBLED      2 /* of each moment; with FSP_LONG=1 the second number */
#define GARBLED_LONG 8
#define WHOLE_EVERY  19 /* this often the script is played to its end, not just this action */
#define WHOLE_LONG   5  /* likewise */

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

static void
cut(size_t at, enum crashvfs_way way, uint64_t seed)
{
    static const char *const ways[] = {"dropped", "kept", "garbled"};
    struct crashvfs_cut cut = {.at = at, .unsync = CRASHVFS_NONE, .way = way, .seed = seed};
    size_t action = crash_action(&crash, at);
    size_t last = script_actions() - 1;
    uint64_t every = crash_long() ? WHOLE_LONG : WHOLE_EVERY;
    size_t to = action < last && crash.cuts % every != 0 ? action : last;
    char wrong[600];

    if (!crash_holds(&crash, &cut, to, wrong, sizeof(wrong)))
        fail_msg("power cut before event %zu (%s), in '%s', unsynced writes %s, seed %" PRIu64
                 ": %s",
                at, at < crashvfs_events() ? crashvfs_say(at) : "the end",
                action <= last ? script_name(action) : "nothing", ways[way], seed, wrong);
}

/* Before every sync, and right after every acknowledgement. */
static bool
is_moment(size_t at)
{
    for (size_t i = 0; i < script_actions(); i++)
        if (crash.done[i] == at)
            return true;
    return at < crashvfs_events() &&
           (crash_long() || crashvfs_event(at)->kind == CRASHVFS_SYNC);
}

static void
whatever_is_unsynced_when_the_power_goes_nothing_acknowledged_is_lost(void **state)
{
    const uint64_t seeds = crash_long() ? GARBLED_LONG : GARBLED;
    size_t moments = 0;

    (void)state;
    for (size_t at = 0; at <= crashvfs_events(); at++) {
        if (!is_moment(at))
            continue;
        moments++;
        cut(at, CRASHVFS_DROP, 0);
        cut(at, CRASHVFS_KEEP, 0);
        for (uint64_t seed = 1; seed <= seeds; seed++)
            cut(at, CRASHVFS_GARBLE, seed * 1000003 + at);
    }
    print_message("%zu moments, %" PRIu64 " cuts\n", moments, crash.cuts);
    assert_true(moments > 200);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(
                    whatever_is_unsynced_when_the_power_goes_nothing_acknowledged_is_lost),
    };

    return cmocka_run_group_tests(tests, setup, teardown);
}
