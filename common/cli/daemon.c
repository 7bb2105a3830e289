#include "cli/daemon.h"

#include <errno.h>
#include <inttypes.h>
#include <poll.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>
#include <sys/signalfd.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include "base/text.h"

/* A manager that takes nothing holds nobody up for long: its socket keeps ten messages. */
static enum fsp_rc
send_state(int fd, const char *state, const char *socket_name, struct fsp_err *err)
{
    struct pollfd room = {.fd = fd, .events = POLLOUT};
    const size_t len = strlen(state);

    if (send(fd, state, len, MSG_NOSIGNAL | MSG_DONTWAIT) >= 0)
        return FSP_OK;
    if (errno == EAGAIN && poll(&room, 1, FSP_DAEMON_WAIT_MS) >= 0 &&
            send(fd, state, len, MSG_NOSIGNAL | MSG_DONTWAIT) >= 0)
        return FSP_OK;
    return fsp_err_sys(err, FSP_EIO, errno, "notify %s", socket_name);
}

enum fsp_rc
fsp_daemon_notify(const char *socket_name, const char *state, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    struct sockaddr_un address;
    socklen_t address_len;
    size_t len;
    int fd = -1;

    if (socket_name == NULL || socket_name[0] == '\0')
        return FSP_OK;
    len = strlen(socket_name);
    if ((socket_name[0] != '/' && socket_name[0] != '@') || len >= sizeof(address.sun_path))
        return fsp_err_set(err, FSP_EINVAL,
                "NOTIFY_SOCKET is neither a path nor an @name of at most %zu characters",
                sizeof(address.sun_path) - 1);
    memset(&address, 0, sizeof(address));
    address.sun_family = AF_UNIX;
    memcpy(address.sun_path, socket_name, len);
    if (socket_name[0] == '@')
        address.sun_path[0] = '\0';
    address_len = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + len);
    fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (fd < 0)
        return fsp_err_sys(err, FSP_EIO, errno, "notify: socket");
    if (connect(fd, (const struct sockaddr *)&address, address_len) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "notify %s", socket_name);
    if (rc == FSP_OK)
        rc = send_state(fd, state, socket_name, err);
    (void)close(fd); /* a datagram is gone or it failed above */
    return rc;
}

enum fsp_rc
fsp_daemon_reloading(const char *socket_name, int64_t monotonic_us, struct fsp_err *err)
{
    char state[64];

    (void)snprintf(state, sizeof(state), "RELOADING=1\nMONOTONIC_USEC=%" PRId64, monotonic_us);
    return fsp_daemon_notify(socket_name, state, err);
}

unsigned
fsp_daemon_watchdog_ms(const char *usec, const char *pid, uint64_t self, unsigned most_ms)
{
    uint64_t us = 0;
    uint64_t whose = 0;

    if (usec == NULL || fsp_text_u64(usec, strlen(usec), &us) != FSP_OK)
        return most_ms;
    if (pid != NULL && (fsp_text_u64(pid, strlen(pid), &whose) != FSP_OK || whose != self))
        return most_ms;
    if (us / 2000 >= most_ms)
        return most_ms;
    return us < 2000 ? 1 : (unsigned)(us / 2000);
}

enum fsp_rc
fsp_signals_init(struct fsp_signals *signals, struct fsp_err *err)
{
    sigset_t set;
    int failed;

    memset(signals, 0, sizeof(*signals));
    signals->fd = -1;
    (void)sigemptyset(&set);
    (void)sigaddset(&set, SIGTERM);
    (void)sigaddset(&set, SIGINT);
    (void)sigaddset(&set, SIGHUP);
    failed = pthread_sigmask(SIG_BLOCK, &set, &signals->before);
    if (failed != 0)
        return fsp_err_sys(err, FSP_EIO, failed, "block signals");
    if (signal(SIGPIPE, SIG_IGN) == SIG_ERR)
        return fsp_err_sys(err, FSP_EIO, errno, "ignore SIGPIPE");
    signals->fd = signalfd(-1, &set, SFD_NONBLOCK | SFD_CLOEXEC);
    if (signals->fd < 0) {
        enum fsp_rc rc = fsp_err_sys(err, FSP_EIO, errno, "signalfd");

        fsp_signals_fini(signals);
        return rc;
    }
    return FSP_OK;
}

void
fsp_signals_fini(struct fsp_signals *signals)
{
    if (signals->fd >= 0)
        (void)close(signals->fd);
    signals->fd = -1;
    (void)pthread_sigmask(SIG_SETMASK, &signals->before, NULL);
}

void
fsp_signals_take(struct fsp_signals *signals)
{
    struct signalfd_siginfo info;

    while (read(signals->fd, &info, sizeof(info)) == (ssize_t)sizeof(info)) {
        if (info.ssi_signo == (uint32_t)SIGHUP)
            signals->reload = true;
        else
            signals->stop = true;
    }
}
