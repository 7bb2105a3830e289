#include "cli/secret.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <sys/select.h>
#include <sys/types.h>
#include <termios.h>
#include <unistd.h>

static enum fsp_rc
too_long(const struct fsp_secret_wish *wish, struct fsp_err *err)
{
    return fsp_err_set(
            err, FSP_ELIMIT, "a %s has at most %zu bytes", wish->what, wish->size - 2);
}

/* One line into out, byte by byte, so that nothing behind it is swallowed and no copy is left in a
 * buffer. A line's end, LF or CR LF, does not belong to it. */
static enum fsp_rc
read_line(int fd, const struct fsp_secret_wish *wish, char *out, struct fsp_err *err)
{
    const size_t most = wish->size - 2;
    size_t len = 0;

    for (;;) {
        char c = '\0';
        ssize_t n = read(fd, &c, 1);

        if (n < 0)
            return errno == EINTR ? fsp_err_set(err, FSP_EIO, "interrupted")
                                  : fsp_err_sys(err, FSP_EIO, errno, "read");
        if (n == 0 || c == '\n')
            break;
        if (c == '\0')
            return fsp_err_set(err, FSP_EFORMAT, "a %s has no zero bytes", wish->what);
        if (len > most)
            return too_long(wish, err);
        out[len++] = c;
        out[len] = '\0';
    }
    if (len > 0 && out[len - 1] == '\r')
        out[--len] = '\0';
    if (len == 0)
        return fsp_err_set(err, FSP_EINVAL, "the %s is empty", wish->what);
    return len <= most ? FSP_OK : too_long(wish, err);
}

static enum fsp_rc
read_from(const struct fsp_secret_wish *wish, char *out, struct fsp_err *err)
{
    const char *path = wish->from;
    bool is_stdin = strcmp(path, "-") == 0;
    int fd = is_stdin ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC);
    enum fsp_rc rc;

    if (fd < 0)
        return fsp_err_sys(err, errno == ENOENT ? FSP_ENOTFOUND : FSP_EIO, errno, "%s", path);
    rc = read_line(fd, wish, out, err);
    if (!is_stdin)
        (void)close(fd);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", is_stdin ? "standard input" : path);
}

/* Signals that would leave the terminal without echo: noted here, sent again afterwards. */
static const int caught[] = {SIGINT, SIGTERM, SIGHUP, SIGQUIT};
#define CAUGHT (sizeof(caught) / sizeof(caught[0]))
static volatile sig_atomic_t came;

static void
note_signal(int number)
{
    came = number;
}

/* Until the terminal has a line or one of the caught signals comes, which are blocked but here. */
static enum fsp_rc
wait_for_line(const sigset_t *mask, struct fsp_err *err)
{
    fd_set ready;

    FD_ZERO(&ready);
    FD_SET(STDIN_FILENO, &ready);
    if (pselect(STDIN_FILENO + 1, &ready, NULL, NULL, NULL, mask) > 0)
        return FSP_OK;
    return came != 0 ? fsp_err_set(err, FSP_EIO, "interrupted")
                     : fsp_err_sys(err, FSP_EIO, errno, "the terminal");
}

/* With the echo off; whoever sees the prompt may type. */
static enum fsp_rc
ask_silently(const struct fsp_secret_wish *wish, const char *prompt, const sigset_t *mask,
        char *out, struct fsp_err *err)
{
    struct termios usual;
    struct termios silent;
    enum fsp_rc rc;

    if (tcgetattr(STDIN_FILENO, &usual) != 0)
        return fsp_err_sys(err, FSP_EIO, errno, "the terminal");
    silent = usual;
    silent.c_lflag &= ~(tcflag_t)ECHO;
    silent.c_lflag |= ECHONL | ICANON;
    if (tcsetattr(STDIN_FILENO, TCSAFLUSH, &silent) != 0)
        return fsp_err_sys(err, FSP_EIO, errno, "the terminal");
    (void)fputs(prompt, stderr);
    (void)fflush(stderr);
    rc = wait_for_line(mask, err);
    if (rc == FSP_OK)
        rc = read_line(STDIN_FILENO, wish, out, err);
    (void)tcsetattr(STDIN_FILENO, TCSAFLUSH, &usual);
    return rc;
}

static enum fsp_rc
ask(const struct fsp_secret_wish *wish, const char *prompt, char *out, struct fsp_err *err)
{
    struct sigaction quiet = {.sa_handler = note_signal};
    struct sigaction before[CAUGHT];
    sigset_t block;
    sigset_t mask;
    enum fsp_rc rc;

    came = 0;
    (void)sigemptyset(&quiet.sa_mask);
    (void)sigemptyset(&block);
    for (size_t i = 0; i < CAUGHT; i++)
        (void)sigaddset(&block, caught[i]);
    if (pthread_sigmask(SIG_BLOCK, &block, &mask) != 0)
        return fsp_err_sys(err, FSP_EIO, errno, "signals");
    for (size_t i = 0; i < CAUGHT; i++)
        (void)sigaction(caught[i], &quiet, &before[i]);
    rc = ask_silently(wish, prompt, &mask, out, err);
    for (size_t i = 0; i < CAUGHT; i++)
        (void)sigaction(caught[i], &before[i], NULL);
    if (came != 0) {
        (void)fputs("\n", stderr);
        (void)raise((int)came);
    }
    (void)pthread_sigmask(SIG_SETMASK, &mask, NULL); /* what came meanwhile is sent now */
    return rc;
}

enum fsp_rc
fsp_secret_get(const struct fsp_secret_wish *wish, char *out, char *again, struct fsp_err *err)
{
    enum fsp_rc rc;

    memset(out, 0, wish->size);
    if (wish->from != NULL)
        return read_from(wish, out, err);
    if (isatty(STDIN_FILENO) != 1)
        return fsp_err_set(err, FSP_EINVAL,
                "a %s is needed and standard input is no terminal; give --%s FILE", wish->what,
                wish->option);
    rc = ask(wish, wish->prompt, out, err);
    if (again == NULL || rc != FSP_OK)
        return rc;
    memset(again, 0, wish->size);
    rc = ask(wish, "the same again: ", again, err);
    if (rc == FSP_OK && strcmp(out, again) != 0)
        rc = fsp_err_set(
                err, FSP_EINVAL, "the two %ss differ; nothing was written", wish->what);
    return rc;
}
