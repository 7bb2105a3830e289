#include "support/test.h"

#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include "cli/daemon.h"

/* A datagram socket at a path, or abstract when the name begins with @. */
static int
listen_at(const char *name)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    size_t len = strlen(name);
    int fd = socket(AF_UNIX, SOCK_DGRAM, 0);

    assert_true(fd >= 0);
    assert_true(len < sizeof(address.sun_path));
    memcpy(address.sun_path, name, len);
    if (name[0] == '@')
        address.sun_path[0] = '\0';
    assert_int_equal(bind(fd, (const struct sockaddr *)&address,
                             (socklen_t)(offsetof(struct sockaddr_un, sun_path) + len)),
            0);
    return fd;
}

static void
assert_message_arrives(const char *name)
{
    struct fsp_err err;
    char text[100] = "";
    int fd = listen_at(name);

    assert_ok(fsp_daemon_notify(name, "READY=1\nSTATUS=open", &err), &err);
    assert_int_equal(recv(fd, text, sizeof(text) - 1, MSG_DONTWAIT), 19);
    assert_string_equal(text, "READY=1\nSTATUS=open");
    assert_int_equal(close(fd), 0);
}

static void
a_manager_that_takes_nothing_holds_nobody_up(void **state)
{
    struct fsp_err err = {.rc = FSP_OK};
    char name[80];
    char text[100];
    size_t sent = 0;
    int fd;

    (void)state;
    (void)snprintf(name, sizeof(name), "@fsp-daemon-full-%ld", (long)getpid());
    fd = listen_at(name);
    while (fsp_daemon_notify(name, "WATCHDOG=1", &err) == FSP_OK)
        assert_true(sent++ < 100000);
    assert_true(sent > 0);
    assert_int_equal(err.rc, FSP_EIO);
    while (recv(fd, text, sizeof(text), MSG_DONTWAIT) >= 0)
        sent--;
    assert_int_equal(sent, 0);
    assert_ok(fsp_daemon_notify(name, "READY=1", &err), &err);
    assert_int_equal(close(fd), 0);
}

static void
a_message_reaches_a_path_and_an_abstract_name(void **state)
{
    char folder[] = "/tmp/fsp-daemon-XXXXXX";
    char name[80];

    (void)state;
    assert_non_null(mkdtemp(folder));
    (void)snprintf(name, sizeof(name), "%s/notify", folder);
    assert_message_arrives(name);
    assert_int_equal(unlink(name), 0);
    assert_int_equal(rmdir(folder), 0);
    (void)snprintf(name, sizeof(name), "@fsp-daemon-test-%ld", (long)getpid());
    assert_message_arrives(name);
}

static void
nobody_listening_is_no_fault_a_bad_name_is(void **state)
{
    struct fsp_err err;
    char name[200];

    (void)state;
    assert_ok(fsp_daemon_notify(NULL, "READY=1", &err), &err);
    assert_ok(fsp_daemon_notify("", "READY=1", &err), &err);
    assert_int_equal(fsp_daemon_notify("relative", "READY=1", &err), FSP_EINVAL);
    memset(name, 'x', sizeof(name) - 1);
    name[0] = '/';
    name[sizeof(name) - 1] = '\0';
    assert_int_equal(fsp_daemon_notify(name, "READY=1", &err), FSP_EINVAL);
    assert_int_equal(fsp_daemon_notify("/nonexistent/notify", "READY=1", &err), FSP_EIO);
    assert_non_null(strstr(err.text, "/nonexistent/notify"));
}

static void
signals_become_flags(void **state)
{
    struct fsp_signals signals;
    struct pollfd poll_fd;
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_signals_init(&signals, &err), &err);
    poll_fd = (struct pollfd){signals.fd, POLLIN, 0};
    assert_int_equal(poll(&poll_fd, 1, 0), 0);
    fsp_signals_take(&signals);
    assert_false(signals.stop);
    assert_false(signals.reload);
    assert_int_equal(raise(SIGHUP), 0);
    assert_int_equal(poll(&poll_fd, 1, 0), 1);
    fsp_signals_take(&signals);
    assert_true(signals.reload);
    assert_false(signals.stop);
    assert_int_equal(raise(SIGTERM), 0);
    assert_int_equal(raise(SIGINT), 0);
    fsp_signals_take(&signals);
    assert_true(signals.stop);
    assert_int_equal(poll(&poll_fd, 1, 0), 0);
    fsp_signals_fini(&signals);
    assert_int_equal(signals.fd, -1);
}

static void
a_reload_says_when_it_began(void **state)
{
    struct fsp_err err;
    char name[80];
    char text[100] = "";
    int fd;

    (void)state;
    (void)snprintf(name, sizeof(name), "@fsp-daemon-reload-%ld", (long)getpid());
    fd = listen_at(name);
    assert_ok(fsp_daemon_reloading(name, INT64_C(1234567890123), &err), &err);
    assert_true(recv(fd, text, sizeof(text) - 1, MSG_DONTWAIT) > 0);
    assert_string_equal(text, "RELOADING=1\nMONOTONIC_USEC=1234567890123");
    assert_int_equal(close(fd), 0);
}

static void
the_watchdog_is_fed_twice_in_its_time(void **state)
{
    static const struct {
        const char *usec;
        const char *pid;
        unsigned want_ms;
    } rows[] = {
            {NULL, NULL, 15000},
            {"", NULL, 15000},
            {"junk", NULL, 15000},
            {"-1", NULL, 15000},
            {"60000000", NULL, 15000},
            {"30000000", NULL, 15000},
            {"20000000", NULL, 10000},
            {"20000000", "42", 10000},
            {"20000000", "43", 15000}, /* another process's */
            {"20000000", "x", 15000},
            {"2000", NULL, 1},
            {"1", NULL, 1},
            {"0", NULL, 1},
            {"18446744073709551615", NULL, 15000},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        unsigned got = fsp_daemon_watchdog_ms(rows[i].usec, rows[i].pid, 42, 15000);

        if (got != rows[i].want_ms)
            fail_msg("row %zu: %u", i, got);
    }
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(a_manager_that_takes_nothing_holds_nobody_up),
            cmocka_unit_test(a_message_reaches_a_path_and_an_abstract_name),
            cmocka_unit_test(nobody_listening_is_no_fault_a_bad_name_is),
            cmocka_unit_test(signals_become_flags),
            cmocka_unit_test(a_reload_says_when_it_began),
            cmocka_unit_test(the_watchdog_is_fed_twice_in_its_time),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
