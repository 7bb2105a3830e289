#include "support/test.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"

static int fail_fsync;
static int fsyncs;
static ssize_t write_at_most = -1;

int __real_fsync(int fd);
int __wrap_fsync(int fd);
ssize_t __real_write(int fd, const void *data, size_t len);
ssize_t __wrap_write(int fd, const void *data, size_t len);

int
__wrap_fsync(int fd)
{
    fsyncs++;
    if (fail_fsync == fsyncs) {
        errno = EIO;
        return -1;
    }
    return __real_fsync(fd);
}

ssize_t
__wrap_write(int fd, const void *data, size_t len)
{
    if (write_at_most == 0) {
        errno = ENOSPC;
        return -1;
    }
    if (write_at_most > 0 && (size_t)write_at_most < len)
        len = (size_t)write_at_most;
    return __real_write(fd, data, len);
}

struct folder {
    char path[64];
    char *file;
};

static int
setup(void **state)
{
    struct folder *folder = calloc(1, sizeof(*folder));

    if (folder == NULL)
        return -1;
    (void)snprintf(folder->path, sizeof(folder->path), "/tmp/fsp-file-XXXXXX");
    if (mkdtemp(folder->path) == NULL)
        return -1;
    folder->file = fsp_file_join(folder->path, "value");
    fail_fsync = 0;
    fsyncs = 0;
    write_at_most = -1;
    *state = folder;
    return 0;
}

static int
teardown(void **state)
{
    struct folder *folder = *state;

    (void)unlink(folder->file);
    if (rmdir(folder->path) != 0)
        fail_msg("%s: something was left behind", folder->path);
    free(folder->file);
    free(folder);
    return 0;
}

static void
assert_content(const char *path, const char *want)
{
    struct fsp_err err;
    uint8_t *data;
    size_t len;

    assert_ok(fsp_file_read(path, 100, &data, &len, &err), &err);
    assert_string_equal((const char *)data, want);
    assert_int_equal(len, strlen(want));
    free(data);
}

static void
a_written_file_is_read_back_with_its_mode(void **state)
{
    struct folder *folder = *state;
    struct fsp_err err;
    struct stat st;

    assert_ok(fsp_file_write(folder->file, "one", 3, 0600, &err), &err);
    assert_content(folder->file, "one");
    assert_int_equal(stat(folder->file, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
    assert_ok(fsp_file_write(folder->file, "two", 3, 0600, &err), &err);
    assert_content(folder->file, "two");
}

static void
the_file_and_its_folder_are_synced_before_success(void **state)
{
    struct folder *folder = *state;
    struct fsp_err err;

    assert_ok(fsp_file_write(folder->file, "one", 3, 0600, &err), &err);
    assert_int_equal(fsyncs, 2);
    for (int n = 1; n <= 2; n++) {
        fsyncs = 0;
        fail_fsync = n;
        assert_int_equal(fsp_file_write(folder->file, "new", 3, 0600, &err), FSP_EIO);
        assert_int_equal(err.os_errno, EIO);
    }
}

static void
a_full_disk_keeps_the_old_content(void **state)
{
    struct folder *folder = *state;
    struct fsp_err err;

    assert_ok(fsp_file_write(folder->file, "old", 3, 0600, &err), &err);
    write_at_most = 0;
    assert_int_equal(fsp_file_write(folder->file, "newer", 5, 0600, &err), FSP_EIO);
    assert_int_equal(err.os_errno, ENOSPC);
    assert_content(folder->file, "old");
    write_at_most = 1; /* short writes are carried on */
    assert_ok(fsp_file_write(folder->file, "newer", 5, 0600, &err), &err);
    assert_content(folder->file, "newer");
}

static void
create_never_replaces(void **state)
{
    struct folder *folder = *state;
    struct fsp_err err;

    assert_ok(fsp_file_create(folder->file, "one", 3, 0600, &err), &err);
    assert_int_equal(fsp_file_create(folder->file, "two", 3, 0600, &err), FSP_EINVAL);
    assert_content(folder->file, "one");
}

static void
the_limit_is_exact(void **state)
{
    struct folder *folder = *state;
    struct fsp_err err;
    uint8_t *data;
    size_t len;

    assert_ok(fsp_file_write(folder->file, "12345", 5, 0600, &err), &err);
    assert_ok(fsp_file_read(folder->file, 5, &data, &len, &err), &err);
    free(data);
    assert_int_equal(fsp_file_read(folder->file, 4, &data, &len, &err), FSP_ELIMIT);
    assert_null(data);
    assert_int_equal(fsp_file_read("/nonexistent/x", 4, &data, &len, &err), FSP_ENOTFOUND);
}

static void
a_held_lock_is_busy_and_free_after_unlock(void **state)
{
    struct folder *folder = *state;
    struct fsp_err err;
    int first;
    int second;

    assert_ok(fsp_file_lock(folder->file, false, &first, &err), &err);
    assert_int_equal(fsp_file_lock(folder->file, false, &second, &err), FSP_EBUSY);
    assert_int_equal(second, -1);
    fsp_file_unlock(first);
    assert_ok(fsp_file_lock(folder->file, false, &second, &err), &err);
    fsp_file_unlock(second);
    fsp_file_unlock(-1);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test_setup_teardown(
                    a_written_file_is_read_back_with_its_mode, setup, teardown),
            cmocka_unit_test_setup_teardown(
                    the_file_and_its_folder_are_synced_before_success, setup, teardown),
            cmocka_unit_test_setup_teardown(a_full_disk_keeps_the_old_content, setup, teardown),
            cmocka_unit_test_setup_teardown(create_never_replaces, setup, teardown),
            cmocka_unit_test_setup_teardown(the_limit_is_exact, setup, teardown),
            cmocka_unit_test_setup_teardown(
                    a_held_lock_is_busy_and_free_after_unlock, setup, teardown),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
