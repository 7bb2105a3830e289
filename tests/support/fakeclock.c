/*
 * A preloaded library that shifts the wall clock of a process, so that a test can run a program on
 * a machine whose clock is wrong. Nothing in the programs knows of it.
 *
 * FSP_CLOCK_SHIFT=SECONDS   added to CLOCK_REALTIME (and time, gettimeofday); may be negative
 */
#define _GNU_SOURCE
#include <stdlib.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

#define EXPORT __attribute__((visibility("default")))

static long
shift_s(void)
{
    /* NOLINTNEXTLINE(concurrency-mt-unsafe): nothing here changes the environment. */
    const char *text = getenv("FSP_CLOCK_SHIFT");

    return text != NULL ? strtol(text, NULL, 10) : 0;
}

/* The names of parameters are the C library's own affair.
 * NOLINTBEGIN(readability-inconsistent-declaration-parameter-name) */
EXPORT int
clock_gettime(clockid_t clock, struct timespec *now)
{
    int rc = (int)syscall(SYS_clock_gettime, clock, now);

    if (rc == 0 && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE))
        now->tv_sec += shift_s();
    return rc;
}

EXPORT int
gettimeofday(struct timeval *restrict now, void *restrict zone)
{
    struct timespec ts = {0};

    (void)zone;
    if (clock_gettime(CLOCK_REALTIME, &ts) != 0)
        return -1;
    now->tv_sec = ts.tv_sec;
    now->tv_usec = ts.tv_nsec / 1000;
    return 0;
}

EXPORT time_t
time(time_t *now)
{
    struct timespec ts = {0};

    (void)clock_gettime(CLOCK_REALTIME, &ts);
    if (now != NULL)
        *now = ts.tv_sec;
    return ts.tv_sec;
}
/* NOLINTEND(readability-inconsistent-declaration-parameter-name) */
