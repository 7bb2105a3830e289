#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/buf.h"

#define CHUNK ((size_t)64 * 1024)

static enum fsp_rc
read_all(int fd, struct fsp_buf *buf, struct fsp_err *err)
{
    for (;;) {
        /* One byte over the maximum is asked for, so that "too large" is seen as such. */
        size_t left = buf->max - buf->len;
        size_t want = left < CHUNK ? left : CHUNK;
        uint8_t *room;
        uint8_t extra;
        ssize_t n;

        if (want == 0) {
            n = read(fd, &extra, 1);
            if (n == 0)
                return FSP_OK;
            if (n > 0)
                return fsp_err_set(
                        err, FSP_ELIMIT, "larger than the limit of %zu bytes", buf->max);
        } else {
            room = fsp_buf_room(buf, want);
            if (room == NULL)
                return fsp_buf_check(buf, "a file", err);
            n = read(fd, room, want);
            if (n == 0)
                return FSP_OK;
        }
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return fsp_err_sys(err, FSP_EIO, errno, "read");
        buf->len += (size_t)n;
        buf->data[buf->len] = 0;
    }
}

enum fsp_rc
fsp_file_read(const char *path, size_t max, uint8_t **out, size_t *len, struct fsp_err *err)
{
    struct fsp_buf buf;
    enum fsp_rc rc = FSP_OK;
    bool is_stdin = strcmp(path, "-") == 0;
    int fd = STDIN_FILENO;

    *out = NULL;
    *len = 0;
    fsp_buf_init(&buf, max);
    if (!is_stdin) {
        fd = open(path, O_RDONLY | O_CLOEXEC);
        if (fd < 0)
            return fsp_err_sys(
                    err, errno == ENOENT ? FSP_ENOTFOUND : FSP_EIO, errno, "%s", path);
    }
    rc = read_all(fd, &buf, err);
    if (rc != FSP_OK)
        goto out;
    if (buf.data == NULL && fsp_buf_room(&buf, 0) == NULL) {
        rc = fsp_buf_check(&buf, "a file", err);
        goto out;
    }
    buf.data[buf.len] = 0;
    *out = fsp_buf_steal(&buf, len);
out:
    fsp_buf_fini(&buf);
    if (!is_stdin)
        (void)close(fd);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", is_stdin ? "standard input" : path);
}

static enum fsp_rc
write_all(int fd, const void *data, size_t len, struct fsp_err *err)
{
    const uint8_t *bytes = data;
    size_t done = 0;

    while (done < len) {
        ssize_t n = write(fd, bytes + done, len - done);

        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return fsp_err_sys(err, FSP_EIO, errno, "write");
        done += (size_t)n;
    }
    if (fsync(fd) != 0)
        return fsp_err_sys(err, FSP_EIO, errno, "fsync");
    return FSP_OK;
}

enum fsp_rc
fsp_file_sync_folder(const char *path, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    int fd = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);

    if (fd < 0)
        return fsp_err_sys(err, FSP_EIO, errno, "%s", path);
    if (fsync(fd) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "%s: fsync", path);
    (void)close(fd);
    return rc;
}

static enum fsp_rc
sync_parent(const char *path, struct fsp_err *err)
{
    const char *slash = strrchr(path, '/');
    char *folder;
    enum fsp_rc rc;

    if (slash == NULL)
        return fsp_file_sync_folder(".", err);
    if (slash == path)
        return fsp_file_sync_folder("/", err);
    folder = strndup(path, (size_t)(slash - path));
    if (folder == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_file_sync_folder(folder, err);
    free(folder);
    return rc;
}

static enum fsp_rc
write_beside(const char *path, const void *data, size_t len, unsigned mode, bool replace,
        struct fsp_err *err)
{
    static const char tail[] = ".XXXXXX";
    size_t path_len = strlen(path);
    char *beside = malloc(path_len + sizeof(tail));
    enum fsp_rc rc;
    int fd = -1;

    if (beside == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    memcpy(beside, path, path_len);
    memcpy(beside + path_len, tail, sizeof(tail));
    fd = mkstemp(beside);
    if (fd < 0) {
        rc = fsp_err_sys(err, FSP_EIO, errno, "create a file beside it");
        free(beside);
        return rc;
    }
    rc = write_all(fd, data, len, err);
    if (rc == FSP_OK && fchmod(fd, (mode_t)mode) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "chmod");
    if (close(fd) != 0 && rc == FSP_OK)
        rc = fsp_err_sys(err, FSP_EIO, errno, "close");
    if (rc == FSP_OK && replace && rename(beside, path) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "rename");
    if (rc == FSP_OK && !replace && link(beside, path) != 0)
        rc = errno == EEXIST
                     ? fsp_err_set(err, FSP_EINVAL, "exists already; it is not replaced")
                     : fsp_err_sys(err, FSP_EIO, errno, "link");
    if (rc != FSP_OK || !replace)
        (void)unlink(beside);
    free(beside);
    return rc == FSP_OK ? sync_parent(path, err) : rc;
}

enum fsp_rc
fsp_file_write(
        const char *path, const void *data, size_t len, unsigned mode, struct fsp_err *err)
{
    enum fsp_rc rc = write_beside(path, data, len, mode, true, err);

    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", path);
}

enum fsp_rc
fsp_file_create(
        const char *path, const void *data, size_t len, unsigned mode, struct fsp_err *err)
{
    enum fsp_rc rc = write_beside(path, data, len, mode, false, err);

    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", path);
}

enum fsp_rc
fsp_file_folder(const char *path, unsigned mode, struct fsp_err *err)
{
    struct stat st;

    if (mkdir(path, (mode_t)mode) == 0)
        return sync_parent(path, err);
    if (errno == EEXIST && stat(path, &st) == 0 && S_ISDIR(st.st_mode))
        return FSP_OK;
    return fsp_err_sys(err, FSP_EIO, errno, "%s: make the folder", path);
}

bool
fsp_file_exists(const char *path)
{
    struct stat st;

    return stat(path, &st) == 0;
}

char *
fsp_file_join(const char *folder, const char *name)
{
    char *path = malloc(strlen(folder) + strlen(name) + 2);

    if (path == NULL)
        return NULL;
    (void)stpcpy(stpcpy(stpcpy(path, folder), "/"), name);
    return path;
}

enum fsp_rc
fsp_file_lock(const char *path, bool wait, int *fd, struct fsp_err *err)
{
    *fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (*fd < 0)
        return fsp_err_sys(err, FSP_EIO, errno, "%s", path);
    for (;;) {
        int failed;

        if (flock(*fd, LOCK_EX | (wait ? 0 : LOCK_NB)) == 0)
            return FSP_OK;
        failed = errno;
        if (failed == EINTR)
            continue;
        (void)close(*fd);
        *fd = -1;
        if (failed == EWOULDBLOCK)
            return fsp_err_set(err, FSP_EBUSY, "%s is held by another process", path);
        return fsp_err_sys(err, FSP_EIO, failed, "%s: flock", path);
    }
}

void
fsp_file_unlock(int fd)
{
    if (fd >= 0)
        (void)close(fd);
}
