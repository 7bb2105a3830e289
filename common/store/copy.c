#include "store/copy.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "store/db_priv.h"

#define BUSY_TIMEOUT_MS 5000

/* What was copied is read again from the disk, not from memory, where the system lets us. */
static enum fsp_rc
settle(const char *path, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    int fd = open(path, O_RDONLY | O_CLOEXEC);

    if (fd < 0)
        return fsp_err_sys(err, FSP_EIO, errno, "%s", path);
    if (fsync(fd) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "%s: fsync", path);
    else
        (void)posix_fadvise(fd, 0, 0, POSIX_FADV_DONTNEED); /* advice only */
    (void)close(fd);                                        /* read only */
    return rc;
}

static enum fsp_rc
copy_pages(struct fsp_db *from, struct fsp_db *to, struct fsp_err *err)
{
    sqlite3_backup *backup = sqlite3_backup_init(to->handle, "main", from->handle, "main");
    enum fsp_rc rc = FSP_OK;
    int step;
    int end;

    if (backup == NULL)
        return fsp_db_fail(to, sqlite3_errcode(to->handle), "copy", err);
    step = sqlite3_backup_step(backup, -1);
    end = sqlite3_backup_finish(backup);
    if (step != SQLITE_DONE)
        rc = fsp_db_fail(to, step, "copy", err);
    else if (end != SQLITE_OK)
        rc = fsp_db_fail(to, end, "copy", err);
    if (rc == FSP_OK) /* the pages say that there is a write-ahead log; this file has none */
        rc = fsp_db_run(to, "PRAGMA journal_mode=DELETE", err);
    return rc;
}

enum fsp_rc
fsp_db_copy(struct fsp_db *from, const char *path, struct fsp_err *err)
{
    struct fsp_db to = {.mode = FSP_DB_RIG};
    enum fsp_rc rc = FSP_OK;
    int sqlite_rc;

    if (fsp_file_exists(path))
        return fsp_err_set(err, FSP_EINVAL, "%s: there is a file already", path);
    to.path = strdup(path);
    if (to.path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "%s: out of memory", path);
    sqlite_rc = sqlite3_open_v2(path, &to.handle,
            SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX, NULL);
    if (sqlite_rc != SQLITE_OK)
        rc = fsp_db_fail(&to, sqlite_rc, "make", err);
    if (rc == FSP_OK) {
        (void)sqlite3_extended_result_codes(to.handle, 1);
        (void)sqlite3_busy_timeout(to.handle, BUSY_TIMEOUT_MS);
        rc = fsp_db_run(&to, "PRAGMA synchronous=FULL", err);
    }
    if (rc == FSP_OK)
        rc = copy_pages(from, &to, err);
    sqlite_rc = sqlite3_close(to.handle);
    if (rc == FSP_OK && sqlite_rc != SQLITE_OK)
        rc = fsp_err_set(err, FSP_EIO, "%s: could not be closed", path);
    free(to.path);
    return rc == FSP_OK ? settle(path, err) : rc;
}
