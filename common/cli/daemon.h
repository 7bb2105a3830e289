/*
 * What a service needs: readiness messages to the service manager, and stop and reload signals
 * as a readable descriptor.
 *
 * Source: sd_notify(3) and sd_watchdog_enabled(3), the protocol of NOTIFY_SOCKET: one datagram of lines KEY=VALUE.
 * Ownership: fsp_signals lives in the caller's storage; init/fini.
 * Threads: init before any thread is started (threads inherit the blocked signals); then the
 * main thread only.
 * Errors: FSP_EINVAL, FSP_EIO with errno.
 */
#ifndef FSP_CLI_DAEMON_H
#define FSP_CLI_DAEMON_H

#include <signal.h>
#include <stdbool.h>
#include <stdint.h>

#include "base/err.h"

#define FSP_DAEMON_WAIT_MS                                                                     \
    1000 /* for a manager whose queue is full; then the message is lost */

/* Send e.g. "READY=1", "STOPPING=1", "WATCHDOG=1". socket is the value of NOTIFY_SOCKET (a path,
 * or @name for an abstract one); NULL or "": nobody listens, nothing is sent. */
enum fsp_rc fsp_daemon_notify(
        const char *socket_name, const char *state, struct fsp_err *err) FSP_MUST_CHECK;

/* The same for a reload: "RELOADING=1" with the monotonic time that sd_notify(3) wants beside it;
 * "READY=1" ends it. */
enum fsp_rc fsp_daemon_reloading(
        const char *socket_name, int64_t monotonic_us, struct fsp_err *err) FSP_MUST_CHECK;

/* Milliseconds between two "WATCHDOG=1": half of what the manager allows, at most `most_ms`. usec and
 * pid are the values of WATCHDOG_USEC and WATCHDOG_PID (NULL when they are not there), self is our
 * process id: a watchdog that is another process's, or none, gives most_ms. */
unsigned fsp_daemon_watchdog_ms(
        const char *usec, const char *pid, uint64_t self, unsigned most_ms);

struct fsp_signals {
    int fd;      /* readable when a signal waits; for poll() */
    bool stop;   /* SIGTERM or SIGINT came */
    bool reload; /* SIGHUP came; the caller sets it back */
    sigset_t before;
};

/* Block SIGTERM, SIGINT and SIGHUP, ignore SIGPIPE, open the descriptor. */
enum fsp_rc fsp_signals_init(struct fsp_signals *signals, struct fsp_err *err) FSP_MUST_CHECK;
/* Close, and unblock what was not blocked before. */
void fsp_signals_fini(struct fsp_signals *signals);
/* Take the signals that wait into the flags; never blocks. */
void fsp_signals_take(struct fsp_signals *signals);

#endif
