/*
 * The script of both ends, recorded once on the disk that loses power, and what must hold wherever
 * the power went: crash_test.c cuts it everywhere, unsync_test.c takes one sync out first.
 */
#ifndef FSP_TESTS_FAULT_CRASH_H
#define FSP_TESTS_FAULT_CRASH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "support/crashvfs.h"
#include "support/script.h"

struct crash {
    char folder[64];
    struct script script;            /* undisturbed; its mail */
    size_t done[SCRIPT_ACTIONS_MAX]; /* events when the action had returned */
    struct script_seen
            seen[SCRIPT_ACTIONS_MAX]; /* what its end left, by the model's own disk */
    unsigned places; /* stores that crash_goes_on() looks at: SCRIPT_ALL, or bits of it */
    uint64_t cuts;   /* tried so far */
};

/* Record; ends the test when the undisturbed script fails, or the model is not the real disk. */
void crash_record(struct crash *crash);
void crash_end(struct crash *crash);
/* Which action is under way before event `at`; script_actions() behind the last. */
size_t crash_action(const struct crash *crash, size_t at);
/* Cut, start again, verify, go on up to the action `to` and compare with the undisturbed run. False when
 * something does not hold; it is in `wrong`. */
bool crash_holds(struct crash *crash, const struct crashvfs_cut *cut, size_t to, char *wrong,
        size_t size);
/* The two halves of it: the disk after the cut, ready to go on; and the rest, when the first `acked`
 * actions are acknowledged. */
void crash_restore(struct crash *crash, const struct crashvfs_cut *cut, struct script *script);
bool crash_goes_on(struct crash *crash, struct script *script, size_t acked, size_t to,
        char *wrong, size_t size);
bool crash_long(void); /* FSP_LONG=1 */

#endif
