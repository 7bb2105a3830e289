#include "support/test.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "rig/turn.h"

struct scene {
    char folder[32];
    enum fsp_rc rc; /* the waiter's */
    int fd;
};

static int
begin(void **state)
{
    static struct scene scene;

    scene = (struct scene){.folder = "/tmp/fsp-turn-XXXXXX", .fd = -1};
    *state = &scene;
    return mkdtemp(scene.folder) != NULL ? 0 : -1;
}

static int
end(void **state)
{
    const struct scene *scene = *state;
    static const char *const names[] = {"link.lock", "link.next"};

    for (size_t i = 0; i < 2; i++) {
        char path[64];

        (void)snprintf(path, sizeof(path), "%s/%s", scene->folder, names[i]);
        (void)unlink(path);
    }
    return rmdir(scene->folder);
}

static void
the_second_gets_it_neither_at_once_nor_within_its_time(void **state)
{
    const struct scene *scene = *state;
    struct fsp_err err = {.rc = FSP_OK};
    int first = -1;
    int second = -1;

    assert_ok(fsp_turn_take(scene->folder, 0, &first, &err), &err);
    assert_int_equal(fsp_turn_take(scene->folder, 0, &second, &err), FSP_EBUSY);
    assert_int_equal(second, -1);
    assert_int_equal(fsp_turn_take(scene->folder, 30, &second, &err), FSP_EBUSY);
    assert_int_equal(second, -1);
    assert_false(fsp_turn_wanted(scene->folder));
    fsp_file_unlock(first);
    assert_ok(fsp_turn_take(scene->folder, 0, &second, &err), &err);
    fsp_file_unlock(second);
}

static void *
wait_for_it(void *ctx)
{
    struct scene *scene = ctx;
    struct fsp_err err = {.rc = FSP_OK};

    scene->rc = fsp_turn_take(scene->folder, 60000, &scene->fd, &err);
    if (scene->rc == FSP_OK)
        fsp_file_unlock(scene->fd);
    return NULL;
}

static void
who_waits_is_seen_and_gets_it_when_the_turn_is_given(void **state)
{
    struct scene *scene = *state;
    struct fsp_err err = {.rc = FSP_OK};
    pthread_t thread;
    int mine = -1;
    int again = -1;

    assert_false(fsp_turn_wanted(scene->folder));
    assert_ok(fsp_turn_take(scene->folder, 0, &mine, &err), &err);
    assert_int_equal(pthread_create(&thread, NULL, wait_for_it, scene), 0);
    while (!fsp_turn_wanted(scene->folder)) /* the test's own limit ends it */
        ;
    assert_ok(fsp_turn_give(scene->folder, &mine, &err), &err);
    assert_int_equal(pthread_join(thread, NULL), 0);
    assert_int_equal(scene->rc, FSP_OK);
    /* It is ours again, and nobody waits. */
    assert_true(mine >= 0);
    assert_int_equal(fsp_turn_take(scene->folder, 0, &again, &err), FSP_EBUSY);
    assert_false(fsp_turn_wanted(scene->folder));
    fsp_file_unlock(mine);
}

static void
a_folder_that_is_not_there_is_named(void **state)
{
    struct fsp_err err = {.rc = FSP_OK};
    int fd = 7;

    (void)state;
    assert_int_equal(fsp_turn_take("/nonexistent/store", 1000, &fd, &err), FSP_EIO);
    assert_int_equal(fd, -1);
    assert_non_null(strstr(err.text, "/nonexistent/store"));
    assert_false(fsp_turn_wanted("/nonexistent/store"));
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, begin, end)

int
main(void)
{
    const struct CMUnitTest tests[] = {
            CASE(the_second_gets_it_neither_at_once_nor_within_its_time),
            CASE(who_waits_is_seen_and_gets_it_when_the_turn_is_given),
            CASE(a_folder_that_is_not_there_is_named),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
