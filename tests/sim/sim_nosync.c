/*
 * Syncing to disk is turned off in the simulator: it would be most of the time, and what it is for,
 * power cuts, is tests/fault's. These stand before the C library's for every part of the program.
 */
#include <unistd.h>

#define EXPORT __attribute__((visibility("default")))

/* The names of parameters are the C library's own affair.
 * NOLINTBEGIN(readability-inconsistent-declaration-parameter-name) */
EXPORT int
fsync(int fd)
{
    (void)fd;
    return 0;
}

EXPORT int
fdatasync(int fd)
{
    (void)fd;
    return 0;
}
/* NOLINTEND(readability-inconsistent-declaration-parameter-name) */
