/*
 * A preloaded library that makes the n-th durable step of a process fail, or kills it there.
 *
 * FSP_FAULT=CLASS:N:ACTION   CLASS: sync (fsync, fdatasync), write (write, pwrite, ftruncate),
 *                            name (rename, link, unlink), any of these; link (connect, send, recv
 *                            and their like on sockets)
 *                            ACTION: EIO, ENOSPC or RESET (that call alone), ENOSPC+ (that call and
 *                            every later write: the disk stays full), KILL (before the call is made)
 * FSP_FAULT_SEEN=FILE        created when the step was reached, so that a test knows its end
 *
 * Writes to anything but plain files do not count, nor do steps on standard input, output and error.
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
#include <sys/sendfile.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

#define EXPORT __attribute__((visibility("default")))

enum step {
    STEP_SYNC = 1,
    STEP_WRITE = 2,
    STEP_NAME = 4,
    STEP_LINK = 8,
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
    if (strncmp(fault, "link:", 5) == 0)
        return STEP_LINK;
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
    if (strcmp(action, "RESET") == 0)
        return ECONNRESET;
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

static bool
is_file(int fd)
{
    struct stat st;

    return fd > STDERR_FILENO && fstat(fd, &st) == 0 && S_ISREG(st.st_mode);
}

EXPORT ssize_t
write(int fd, const void *data, size_t len)
{
    if (is_file(fd) && fails(STEP_WRITE))
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

/* Named by its symbol: the header's own type for the address is a union. */
int fault_connect(int fd, const void *to, socklen_t len) __asm__("connect") EXPORT;
int
fault_connect(int fd, const void *to, socklen_t len)
{
    return fails(STEP_LINK) ? -1 : (int)syscall(SYS_connect, fd, to, len);
}

EXPORT ssize_t
send(int fd, const void *data, size_t len, int flags)
{
    return fails(STEP_LINK) ? -1 : (ssize_t)syscall(SYS_sendto, fd, data, len, flags, NULL, 0);
}

/* Likewise: a fortified build has an inline one. */
ssize_t fault_recv(int fd, void *data, size_t len, int flags) __asm__("recv") EXPORT;
ssize_t
fault_recv(int fd, void *data, size_t len, int flags)
{
    return fails(STEP_LINK) ? -1
                            : (ssize_t)syscall(SYS_recvfrom, fd, data, len, flags, NULL, NULL);
}

EXPORT ssize_t
sendmsg(int fd, const struct msghdr *message, int flags)
{
    return fails(STEP_LINK) ? -1 : (ssize_t)syscall(SYS_sendmsg, fd, message, flags);
}

EXPORT ssize_t
recvmsg(int fd, struct msghdr *message, int flags)
{
    return fails(STEP_LINK) ? -1 : (ssize_t)syscall(SYS_recvmsg, fd, message, flags);
}

EXPORT ssize_t
sendfile(int out, int in, off_t *offset, size_t len)
{
    return fails(STEP_LINK) ? -1 : (ssize_t)syscall(SYS_sendfile, out, in, offset, len);
}
/* NOLINTEND(readability-inconsistent-declaration-parameter-name) */
