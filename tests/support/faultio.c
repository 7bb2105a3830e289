/*
 * A preloaded library that makes the n-th durable step of a process fail, or kills it there.
 *
 * FSP_FAULT=CLASS:N:ACTION   CLASS: sync (fsync, fdatasync), write (write, pwrite, ftruncate),
 *                            name (rename, link, unlink), any of them
 *                            ACTION: EIO or ENOSPC (that call alone), ENOSPC+ (that call and every
 *                            later write: the disk stays full), KILL (before the call is made)
 * FSP_FAULT_SEEN=FILE        created when the step was reached, so that a test knows its end
 *
 * Steps on standard input, output and error do not count.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

#define EXPORT __attribute__((visibility("default")))

enum step {
    STEP_SYNC = 1,
    STEP_WRITE = 2,
    STEP_NAME = 4,
};

static atomic_long steps;

static unsigned
wanted_class(const char *fault)
{
    if (strncmp(fault, "sync:", 5) == 0)
        return STEP_SYNC;
    if (strncmp(fault, "write:", 6) == 0)
        return STEP_WRITE;
    if (strncmp(fault, "name:", 5) == 0)
        return STEP_NAME;
    return STEP_SYNC | STEP_WRITE | STEP_NAME;
}

static void
leave_mark(void)
{
    const char *path = getenv("FSP_FAULT_SEEN"); /* NOLINT(concurrency-mt-unsafe): test only */

    if (path != NULL)
        (void)syscall(SYS_close, syscall(SYS_open, path, O_CREAT | O_WRONLY, 0600));
}

/* errno for this step, or 0 to let it happen. Does not return when the process is to die here. */
static int
fault_here(enum step step)
{
    const char *fault = getenv("FSP_FAULT"); /* NOLINT(concurrency-mt-unsafe): test only */
    const char *number;
    const char *action;
    long at;
    long now;

    if (fault == NULL || (wanted_class(fault) & (unsigned)step) == 0)
        return 0;
    number = strchr(fault, ':');
    action = number == NULL ? NULL : strchr(number + 1, ':');
    if (action == NULL)
        return 0;
    at = strtol(number + 1, NULL, 10);
    action++;
    now = atomic_fetch_add(&steps, 1) + 1;
    if (now < at || (now > at && strcmp(action, "ENOSPC+") != 0))
        return 0;
    leave_mark();
    if (strcmp(action, "KILL") == 0)
        (void)raise(SIGKILL);
    return strncmp(action, "ENOSPC", 6) == 0 ? ENOSPC : EIO;
}

static bool
fails(enum step step)
{
    int failure = fault_here(step);

    if (failure == 0)
        return false;
    errno = failure;
    return true;
}

/* The names of parameters are the C library's own affair.
 * NOLINTBEGIN(readability-inconsistent-declaration-parameter-name) */
EXPORT int
fsync(int fd)
{
    return fails(STEP_SYNC) ? -1 : (int)syscall(SYS_fsync, fd);
}

EXPORT int
fdatasync(int fd)
{
    return fails(STEP_SYNC) ? -1 : (int)syscall(SYS_fdatasync, fd);
}

EXPORT ssize_t
write(int fd, const void *data, size_t len)
{
    if (fd > STDERR_FILENO && fails(STEP_WRITE))
        return -1;
    return (ssize_t)syscall(SYS_write, fd, data, len);
}

EXPORT ssize_t
pwrite(int fd, const void *data, size_t len, off_t offset)
{
    return fails(STEP_WRITE) ? -1 : (ssize_t)syscall(SYS_pwrite64, fd, data, len, offset);
}

EXPORT int
ftruncate(int fd, off_t len)
{
    return fails(STEP_WRITE) ? -1 : (int)syscall(SYS_ftruncate, fd, len);
}

EXPORT int
rename(const char *from, const char *to)
{
    return fails(STEP_NAME) ? -1 : (int)syscall(SYS_rename, from, to);
}

EXPORT int
link(const char *from, const char *to)
{
    return fails(STEP_NAME) ? -1 : (int)syscall(SYS_link, from, to);
}

EXPORT int
unlink(const char *path)
{
    return fails(STEP_NAME) ? -1 : (int)syscall(SYS_unlink, path);
}
/* NOLINTEND(readability-inconsistent-declaration-parameter-name) */
