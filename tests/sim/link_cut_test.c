#include "support/test.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/file.h"
#include "office/intake.h"
#include "office/shelf.h"
#include "rig/push.h"
#include "store/logtable.h"
#include "unit/rig/rig_fixture.h"

/*
 * The real push over a real connection to the real intake, and the connection cut at every byte: of
 * the request, then of the answer. The office is a child process; what it is told and what it saw is
 * in memory that both share.
 */
#define REQUEST_MAX ((size_t)65536)
#define WHOLE       SIZE_MAX

struct shared {
    size_t cut_request; /* the connection ends after so many bytes came; WHOLE: it does not */
    size_t cut_answer;  /* or after so many of the answer left */
    size_t request_len; /* of the last whole one */
    size_t answer_len;
    unsigned taken; /* requests that reached the intake */
    uint64_t size;  /* entries the office holds */
};

struct town {
    pid_t pid;
    struct shared *shared;
    struct fsp_push *push;
};

/* ---- the office's child --------------------------------------------------------------------- */

struct child {
    struct fixture *fixture;
    struct shared *shared;
    struct fsp_office_keys keys;
    struct fsp_shelf *shelf;
    struct fsp_intake *intake;
};

static bool
open_office(struct child *child)
{
    struct fixture *fixture = child->fixture;
    char folder[128];
    uint8_t mark[FSP_MARK_LEN];
    void *ctx;

    (void)snprintf(folder, sizeof(folder), "%s/copy", fixture->parent);
    child->keys = (struct fsp_office_keys){.cosigner = fixture->cosigner,
            .instructions = fixture->instructions,
            .box = {fixture->box},
            .n_box = 1};
    fsp_leaf_hash(fixture->invitation.token, FSP_TOKEN_LEN, mark);
    if (fsp_file_folder(folder, 0700, NULL) != FSP_OK ||
            fsp_shelf_open(&fsp_shelf_sqlite, folder, FSP_SHELF_CREATE, &child->shelf, NULL) !=
                    FSP_OK)
        return false;
    ctx = child->shelf->ctx;
    return child->shelf->ops->begin(ctx, true, NULL) == FSP_OK &&
           child->shelf->ops->set_fleet(ctx, "lantern-basin", NULL) == FSP_OK &&
           child->shelf->ops->invite(ctx, "heron", mark, FIXTURE_NOW_S, NULL) == FSP_OK &&
           child->shelf->ops->commit(ctx, NULL) == FSP_OK &&
           fsp_intake_new(child->shelf, &child->keys, &fixture->env, &child->intake, NULL) ==
                   FSP_OK;
}

/* Bytes of the body that are wanted behind the headers; 0 while those are not whole. */
static size_t
whole_request(const char *bytes)
{
    const char *end = strstr(bytes, "\r\n\r\n");
    const char *length = strstr(bytes, "Content-Length: ");

    if (end == NULL || length == NULL)
        return 0;
    return (size_t)(end - bytes) + 4 + strtoul(length + 16, NULL, 10);
}

/* The request's length, or 0 when it was cut. */
static size_t
read_request(int fd, char *bytes, size_t cut)
{
    size_t len = 0;

    for (;;) {
        size_t most = REQUEST_MAX - 1 - len;
        ssize_t n;

        if (cut != WHOLE && most > cut - len)
            most = cut - len;
        if (most == 0)
            return 0;
        n = read(fd, bytes + len, most);
        if (n <= 0)
            return 0;
        len += (size_t)n;
        bytes[len] = '\0';
        if (whole_request(bytes) == len)
            return len;
    }
}

static void
count(struct child *child)
{
    struct fsp_shelf_log log;
    struct fsp_range range;
    void *ctx = child->shelf->ctx;

    if (child->shelf->ops->find_log(ctx, fsp_journal_about(child->fixture->journal)->origin,
                &log, NULL) == FSP_OK &&
            child->shelf->ops->tip(ctx, log.id, &range, NULL) == FSP_OK)
        child->shared->size = range.size;
}

static void
answer_one(struct child *child, int fd)
{
    static char bytes[REQUEST_MAX];
    struct shared *shared = child->shared;
    size_t len = read_request(fd, bytes, shared->cut_request);
    const char *body = len == 0 ? NULL : strstr(bytes, "\r\n\r\n") + 4;
    struct fsp_buf answer;
    struct fsp_buf out;
    int status = 0;

    if (body == NULL)
        return;
    fsp_buf_init(&answer, FSP_LINK_REPLY_MAX);
    fsp_buf_init(&out, FSP_LINK_REPLY_MAX);
    if (fsp_intake_take(child->intake, (const uint8_t *)body, len - (size_t)(body - bytes),
                &status, &answer, NULL) == FSP_OK) {
        fsp_buf_printf(
                &out, "HTTP/1.1 %d Answer\r\nContent-Length: %zu\r\n\r\n", status, answer.len);
        fsp_buf_add(&out, answer.data, answer.len);
        shared->request_len = len;
        shared->answer_len = out.len;
        shared->taken++;
        count(child);
        len = out.len < shared->cut_answer ? out.len : shared->cut_answer;
        if (len > 0 && write(fd, out.data, len) != (ssize_t)len)
            _exit(1);
    }
    fsp_buf_fini(&answer);
    fsp_buf_fini(&out);
}

static void
serve(struct child *child, int listener)
{
    if (!open_office(child))
        _exit(1);
    for (;;) {
        int fd = accept(listener, NULL, NULL);

        if (fd < 0)
            _exit(1);
        answer_one(child, fd);
        (void)close(fd);
    }
}

/* ---- the rig -------------------------------------------------------------------------------- */

static void
set_url(struct fixture *fixture, unsigned port)
{
    struct fsp_db *db = fsp_journal_db(fixture->journal);
    struct fsp_err err = {.rc = FSP_OK};
    char url[64];

    (void)snprintf(url, sizeof(url), "http://127.0.0.1:%u", port);
    assert_ok(fsp_db_begin(db, &err), &err);
    assert_ok(fsp_journal_set_meta(db, "url", url, &err), &err);
    assert_ok(fsp_db_commit(db, &err), &err);
    fixture_reopen(fixture);
}

static void
town_begin(struct town *town, struct fixture *fixture)
{
    struct sockaddr_in address = {
            .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    struct fsp_push_options options = {.link = {.quiet_s = 5}};
    socklen_t len = sizeof(address);
    int listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    struct fsp_err err = {.rc = FSP_OK};
    struct child child = {.fixture = fixture};

    town->shared = mmap(NULL, sizeof(*town->shared), PROT_READ | PROT_WRITE,
            MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    assert_true(town->shared != MAP_FAILED);
    *town->shared = (struct shared){.cut_request = WHOLE, .cut_answer = WHOLE};
    child.shared = town->shared;
    assert_true(listener >= 0);
    assert_int_equal(bind(listener, (struct sockaddr *)&address, sizeof(address)), 0);
    assert_int_equal(listen(listener, 8), 0);
    assert_int_equal(getsockname(listener, (struct sockaddr *)&address, &len), 0);
    town->pid = fork();
    assert_true(town->pid >= 0);
    if (town->pid == 0) {
        (void)signal(SIGPIPE, SIG_IGN);
        (void)alarm(300); /* never outlives a broken test for long */
        serve(&child, listener);
    }
    (void)close(listener);
    set_url(fixture, ntohs(address.sin_port));
    assert_ok(fsp_push_new(fixture->journal, &options, &town->push, &err), &err);
}

static void
town_end(struct town *town)
{
    fsp_push_free(town->push);
    (void)kill(town->pid, SIGKILL);
    (void)waitpid(town->pid, NULL, 0);
    (void)munmap(town->shared, sizeof(*town->shared));
}

/* One round; what it came to. The clock is then at its next try. */
static enum fsp_sync_action_kind
one_round(struct town *town, struct fixture *fixture, struct fsp_push_report *report)
{
    struct fsp_sync_action next = {.kind = FSP_SYNC_REST};
    struct fsp_err err = {.rc = FSP_OK};

    *report = (struct fsp_push_report){.records = 0};
    assert_ok(fsp_push_round(town->push, report, &next, &err), &err);
    if (next.kind == FSP_SYNC_WAIT)
        fixture->now_us = next.until_us;
    return next.kind;
}

static uint64_t
held_of(struct fixture *fixture)
{
    struct fsp_journal_progress progress;
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_journal_progress(fixture->journal, &progress, &err), &err);
    return progress.held;
}

/* A whole push first: the log is enrolled, and the lengths of a push of one record are known. */
static void
settle_in(struct town *town, struct fixture *fixture)
{
    struct fsp_push_report report;

    town_begin(town, fixture);
    for (int i = 0; i < 2; i++) {
        fixture_fill(fixture, 1);
        assert_int_equal(one_round(town, fixture, &report), FSP_SYNC_REST);
    }
    assert_int_equal(town->shared->size, 2);
    assert_int_equal(town->shared->taken, 2);
    fixture_fill(fixture, 1);
}

/* After all the cuts: the record is there once, on both ends. */
static void
settle_up(struct town *town, struct fixture *fixture)
{
    struct fsp_push_report report;
    struct fsp_err err = {.rc = FSP_OK};
    uint64_t size = 0;

    town->shared->cut_request = WHOLE;
    town->shared->cut_answer = WHOLE;
    assert_int_equal(one_round(town, fixture, &report), FSP_SYNC_REST);
    assert_int_equal(town->shared->size, 3);
    assert_int_equal(held_of(fixture), 3);
    assert_ok(fsp_logtable_verify(fsp_journal_db(fixture->journal),
                      fsp_journal_current(fixture->journal), &size, &err),
            &err);
    assert_int_equal(size, 3);
    town_end(town);
}

static void
a_request_cut_at_any_byte_reaches_nobody_and_is_sent_again(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_push_report report;
    struct town town;
    size_t len;

    settle_in(&town, fixture);
    len = town.shared->request_len;
    assert_in_range(len, 200, 2000);
    for (size_t at = 0; at < len; at++) {
        town.shared->cut_request = at;
        assert_int_equal(one_round(&town, fixture, &report), FSP_SYNC_WAIT);
        assert_int_equal(report.bundles, 0);
        assert_string_not_equal(report.why, "");
        assert_int_equal(held_of(fixture), 2);
        assert_int_equal(town.shared->taken, 2);
    }
    settle_up(&town, fixture);
}

static void
an_answer_cut_at_any_byte_moves_nothing_and_is_asked_for_again(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_push_report report;
    struct town town;
    size_t len;

    settle_in(&town, fixture);
    len = town.shared->answer_len;
    assert_in_range(len, 100, 2000);
    for (size_t at = 0; at < len; at++) {
        town.shared->cut_answer = at;
        assert_int_equal(one_round(&town, fixture, &report), FSP_SYNC_WAIT);
        assert_int_equal(report.bundles, 0);
        assert_int_equal(held_of(fixture), 2);
        /* Taken with the first, known ever after. */
        assert_int_equal(town.shared->size, 3);
    }
    assert_int_equal(town.shared->taken, 2 + len);
    settle_up(&town, fixture);
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)

int
main(void)
{
    const struct CMUnitTest tests[] = {
            CASE(a_request_cut_at_any_byte_reaches_nobody_and_is_sent_again),
            CASE(an_answer_cut_at_any_byte_moves_nothing_and_is_asked_for_again),
    };
    struct fsp_err err = {.rc = FSP_OK};

    if (fsp_link_global(&err) != FSP_OK)
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
