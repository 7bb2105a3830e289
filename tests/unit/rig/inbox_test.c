#include "support/test.h"

#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "base/file.h"
#include "rig/inbox.h"
#include "unit/rig/rig_fixture.h"

#define SHEET                                                                                  \
    "kind,at,by,op,depth\n"                                                                    \
    "work,2026-02-02T10:00:00Z,clerk,round-trip,4000ft\n"                                      \
    "work,2026-02-02T11:00:00Z,clerk,round-trip,4100ft\n"

struct heard {
    size_t taken;
    size_t refused;
    size_t added;
    char names[256];
};

static void
said(void *ctx, const char *name, const struct fsp_journal_added *added,
        const struct fsp_err *failed)
{
    struct heard *heard = ctx;
    size_t len = strlen(heard->names);

    (void)snprintf(heard->names + len, sizeof(heard->names) - len, "%s ", name);
    if (failed != NULL) {
        heard->refused++;
    } else {
        heard->taken++;
        heard->added += added->added;
    }
}

static void
drop(struct fixture *fixture, const char *name, const char *text)
{
    char path[256];

    (void)snprintf(path, sizeof(path), "store/inbox/%s", name);
    (void)fixture_file(fixture, path, text);
}

static bool
lies(struct fixture *fixture, const char *name)
{
    char path[256];

    (void)snprintf(path, sizeof(path), "%s/inbox/%s", fixture->folder, name);
    return fsp_file_exists(path);
}

static struct heard
round_of(struct fixture *fixture, bool all)
{
    struct heard heard = {.taken = 0};
    struct fsp_inbox_listener listener = {.said = said, .ctx = &heard};
    struct fsp_err err = {.rc = FSP_OK};

    assert_ok(fsp_inbox_round(fixture->journal, all, &listener, &err), &err);
    return heard;
}

static void
sheets_are_taken_in_the_order_of_names_and_moved(void **state)
{
    struct fixture *fixture = *state;
    struct heard heard;

    drop(fixture, "b.csv", SHEET);
    drop(fixture, "a.jsonl",
            "{\"kind\":\"work\",\"at\":\"2026-02-01T10:00:00Z\",\"by\":\"clerk\","
            "\"op\":\"round-trip\",\"depth\":\"4000 ft\"}\n");
    heard = round_of(fixture, true);
    assert_string_equal(heard.names, "a.jsonl b.csv ");
    assert_int_equal(heard.taken, 2);
    assert_int_equal(heard.added, 3);
    assert_false(lies(fixture, "a.jsonl"));
    assert_true(lies(fixture, "taken/a.jsonl"));
    assert_true(lies(fixture, "taken/b.csv"));
    assert_int_equal(round_of(fixture, true).taken, 0);
}

static void
a_refused_sheet_lies_beside_its_reason(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_err err = {.rc = FSP_OK};
    uint8_t *reason = NULL;
    struct heard heard;
    char path[256];
    size_t len;

    drop(fixture, "bad.csv", SHEET "work,2026-02-02T12:00:00Z,clerk,round-trip,1 furlong\n");
    drop(fixture, "good.csv", SHEET);
    heard = round_of(fixture, true);
    assert_int_equal(heard.refused, 1);
    assert_int_equal(heard.taken, 1);
    assert_int_equal(heard.added, 2);
    assert_true(lies(fixture, "refused/bad.csv"));
    (void)snprintf(path, sizeof(path), "%s/inbox/refused/bad.csv.reason", fixture->folder);
    assert_ok(fsp_file_read(path, 4096, &reason, &len, &err), &err);
    assert_non_null(strstr((char *)reason, "line 4"));
    assert_non_null(strstr((char *)reason, "depth"));
    free(reason);
}

static void
the_same_name_again_overwrites_nothing(void **state)
{
    struct fixture *fixture = *state;

    drop(fixture, "day.csv", SHEET);
    assert_int_equal(round_of(fixture, true).added, 2);
    drop(fixture, "day.csv", SHEET "work,2026-02-02T12:00:00Z,clerk,round-trip,4200ft\n");
    assert_int_equal(round_of(fixture, true).added, 1);
    assert_true(lies(fixture, "taken/day.csv"));
    assert_true(lies(fixture, "taken/day.csv.2"));
}

static void
a_crash_between_commit_and_move_adds_nothing_twice(void **state)
{
    struct fixture *fixture = *state;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    struct heard heard;
    char path[256];

    drop(fixture, "day.csv", SHEET);
    (void)snprintf(path, sizeof(path), "%s/inbox/day.csv", fixture->folder);
    assert_ok(fsp_inbox_take_file(fixture->journal, path, false, &added, &err), &err);
    fixture_reopen(fixture);
    heard = round_of(fixture, true);
    assert_int_equal(heard.taken, 1);
    assert_int_equal(heard.added, 0);
    assert_true(lies(fixture, "taken/day.csv"));
}

static void
hidden_partial_and_strange_files_are_left_alone(void **state)
{
    struct fixture *fixture = *state;
    char path[256];

    drop(fixture, ".day.csv", SHEET);
    drop(fixture, "day.csv.part", SHEET);
    drop(fixture, "day.tmp", SHEET);
    (void)snprintf(path, sizeof(path), "%s/inbox/link.csv", fixture->folder);
    assert_int_equal(symlink("/etc/passwd", path), 0);
    assert_int_equal(round_of(fixture, true).taken, 0);
    assert_true(lies(fixture, ".day.csv"));
    assert_true(lies(fixture, "day.csv.part"));
}

static void
a_file_still_being_written_waits_until_it_is_left_alone(void **state)
{
    struct fixture *fixture = *state;
    struct timespec times[2] = {{.tv_sec = FIXTURE_NOW_S}, {.tv_sec = FIXTURE_NOW_S}};
    char path[256];

    drop(fixture, "day.csv", SHEET);
    (void)snprintf(path, sizeof(path), "%s/inbox/day.csv", fixture->folder);
    assert_int_equal(utimensat(AT_FDCWD, path, times, 0), 0);
    assert_int_equal(round_of(fixture, false).taken, 0);
    fixture->now_us += 2 * FSP_US_PER_S;
    assert_int_equal(round_of(fixture, false).taken, 1);
}

/* When it was changed last. */
static void
touch(struct fixture *fixture, const char *name, int64_t at_s)
{
    struct timespec times[2] = {{.tv_sec = at_s}, {.tv_sec = at_s}};
    char path[256];

    (void)snprintf(path, sizeof(path), "%s/inbox/%s", fixture->folder, name);
    assert_int_equal(utimensat(AT_FDCWD, path, times, 0), 0);
}

static void
a_last_line_without_an_end_is_given_a_minute(void **state)
{
    struct fixture *fixture = *state;

    drop(fixture, "day.csv", SHEET "work,2026-02-02T12:00:00Z,clerk,round-trip,4200ft");
    drop(fixture, "empty.csv", "");
    touch(fixture, "day.csv", FIXTURE_NOW_S);
    touch(fixture, "empty.csv", FIXTURE_NOW_S);
    fixture->now_us += 59 * FSP_US_PER_S;
    assert_string_equal(round_of(fixture, false).names, "");
    fixture->now_us += FSP_US_PER_S;
    assert_string_equal(round_of(fixture, false).names, "day.csv empty.csv ");
    assert_true(lies(fixture, "taken/day.csv"));
    assert_true(lies(fixture, "refused/empty.csv.reason"));
}

static void
a_file_that_a_process_writes_waits_however_old_it_is(void **state)
{
    struct fixture *fixture = *state;
    char path[256];
    int fd;

    drop(fixture, "day.csv", SHEET);
    touch(fixture, "day.csv", FIXTURE_NOW_S - 3600);
    (void)snprintf(path, sizeof(path), "%s/inbox/day.csv", fixture->folder);
    fd = open(path, O_WRONLY);
    assert_true(fd >= 0);
    assert_int_equal(round_of(fixture, false).taken, 0);
    assert_int_equal(round_of(fixture, true).taken, 0);
    assert_int_equal(close(fd), 0);
    assert_int_equal(round_of(fixture, false).taken, 1);
}

static void
count_files(void *ctx, const char *name, const struct fsp_journal_added *added,
        const struct fsp_err *failed)
{
    (void)name;
    (void)added;
    assert_null(failed);
    ++*(int *)ctx;
}

static bool
stop_after_two(void *ctx)
{
    return *(int *)ctx >= 2;
}

static void
a_stop_ends_the_round_between_two_files(void **state)
{
    struct fixture *fixture = *state;
    int files = 0;
    struct fsp_inbox_listener listener = {
            .said = count_files, .stop = stop_after_two, .ctx = &files};
    struct fsp_err err = {.rc = FSP_OK};

    for (int i = 0; i < 5; i++) {
        char name[16];

        (void)snprintf(name, sizeof(name), "%d.csv", i);
        drop(fixture, name, SHEET);
    }
    assert_ok(fsp_inbox_round(fixture->journal, true, &listener, &err), &err);
    assert_int_equal(files, 2);
    assert_true(lies(fixture, "2.csv"));
    assert_int_equal(round_of(fixture, true).taken, 3);
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, fixture_setup, fixture_teardown)

int
main(void)
{
    const struct CMUnitTest tests[] = {
            CASE(sheets_are_taken_in_the_order_of_names_and_moved),
            CASE(a_refused_sheet_lies_beside_its_reason),
            CASE(the_same_name_again_overwrites_nothing),
            CASE(a_crash_between_commit_and_move_adds_nothing_twice),
            CASE(hidden_partial_and_strange_files_are_left_alone),
            CASE(a_file_still_being_written_waits_until_it_is_left_alone),
            CASE(a_last_line_without_an_end_is_given_a_minute),
            CASE(a_file_that_a_process_writes_waits_however_old_it_is),
            CASE(a_stop_ends_the_round_between_two_files),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
