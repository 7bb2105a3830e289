/*
 * The n-th allocation of each action fails, whoever makes it: ours, SQLite's, libcurl's, the C
 * library's. The action says so in one line and keeps nothing half, or does without; done again, it
 * brings the undisturbed content.
 */
#include "fault/crash.h"

#include "support/test.h"

#include <errno.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#define POINTS 28 /* of each action; with FSP_LONG=1 every n */

/* ---- the allocator --------------------------------------------------------------------------- */

static atomic_long counted; /* allocations since it was armed */
static atomic_long failing; /* this one fails; 0: none */

static bool
fails(void)
{
    long at = atomic_load(&failing);

    if (at == 0 || atomic_fetch_add(&counted, 1) + 1 != at)
        return false;
    errno = ENOMEM;
    return true;
}

#define STANDS_FOR(symbol) __asm__(symbol) __attribute__((visibility("default")))

void *libc_malloc(size_t size) __asm__("__libc_malloc");
void *libc_calloc(size_t n, size_t size) __asm__("__libc_calloc");
void *libc_realloc(void *old, size_t size) __asm__("__libc_realloc");

void *nth_malloc(size_t size) STANDS_FOR("malloc");
void *
nth_malloc(size_t size)
{
    return fails() ? NULL : libc_malloc(size);
}

void *nth_calloc(size_t n, size_t size) STANDS_FOR("calloc");
void *
nth_calloc(size_t n, size_t size)
{
    return fails() ? NULL : libc_calloc(n, size);
}

void *nth_realloc(void *old, size_t size) STANDS_FOR("realloc");
void *
nth_realloc(void *old, size_t size)
{
    return fails() ? NULL : libc_realloc(old, size);
}

/* ---- the test --------------------------------------------------------------------------------- */

static struct crash crash;
static size_t silent; /* failures that an action did without */

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
restore(size_t action, struct script *script)
{
    struct crashvfs_cut cut = {.at = action == 0 ? 0 : crash.done[action - 1],
            .unsync = CRASHVFS_NONE,
            .way = CRASHVFS_KEEP};

    crash_restore(&crash, &cut, script);
}

/* Do it with the n-th allocation failing. */
static enum fsp_rc
run_failing(struct script *script, size_t action, long n, struct fsp_err *err)
{
    enum fsp_rc rc;

    atomic_store(&counted, 0);
    atomic_store(&failing, n);
    rc = script_run(script, action, err);
    atomic_store(&failing, 0);
    return rc;
}

static void
fail_nth(size_t action, long n)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct script script;
    char wrong[600];
    enum fsp_rc rc;

    restore(action, &script);
    rc = run_failing(&script, action, n, &err);
    if (rc == FSP_OK)
        silent++;
    else if (err.text[0] == '\0' || strchr(err.text, '\n') != NULL)
        fail_msg("'%s', allocation %ld: rc %d says '%s'", script_name(action), n, (int)rc,
                err.text);
    if (!crash_goes_on(&crash, &script, rc == FSP_OK ? action + 1 : action, action, wrong,
                sizeof(wrong)))
        fail_msg("'%s', allocation %ld failed (rc %d, %s): %s", script_name(action), n, (int)rc,
                err.text, wrong);
    if (rc == FSP_OK) {
        struct script_seen seen;

        script_see(&script, SCRIPT_ALL, &seen, wrong, sizeof(wrong));
        for (size_t i = 0; i < 1 + SCRIPT_RIGS; i++)
            assert_int_equal(seen.store[i].entries, crash.seen[action].store[i].entries);
    }
    script_fini(&script);
}

/* How many there are when none fails. */
static long
count(size_t action)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct script script;

    restore(action, &script);
    assert_ok(run_failing(&script, action, -1, &err), &err);
    script_fini(&script);
    return atomic_load(&counted);
}

static void
whichever_allocation_fails_nothing_is_lost_and_again_is_good(void **state)
{
    size_t tried = 0;

    (void)state;
    for (size_t action = 0; action < script_actions(); action++) {
        long all = count(action);
        long step = crash_long() || all < POINTS ? 1 : all / POINTS;

        assert_true(all > 50);
        for (long n = 1 + (crash_long() ? 0 : (long)action % step); n <= all; n += step) {
            fail_nth(action, n);
            tried++;
        }
    }
    print_message("%zu allocations failed, %zu of them were done without\n", tried, silent);
    assert_true(silent < tried / 2);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(whichever_allocation_fails_nothing_is_lost_and_again_is_good),
    };

    return cmocka_run_group_tests(tests, setup, teardown);
}
