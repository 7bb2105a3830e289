#include "office/backup.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "office/desk.h"
#include "store/copy.h"

#define KEYS         "keys"
#define DESK         "desk.db"
#define PART         ".part-XXXXXX"
#define KEY_FILE_MAX ((size_t)64 * 1024)

static enum fsp_rc
no_memory(struct fsp_err *err)
{
    (void)fsp_err_set(err, FSP_ENOMEM, "out of memory");
    return FSP_ENOMEM;
}

/* --- removing -------------------------------------------------------------------------------- */

/* The plain files in a folder, then the folder. Best effort: it is on the way out of a failure. */
static void
remove_folder(const char *folder)
{
    DIR *dir = opendir(folder);
    const struct dirent *item;

    if (dir == NULL)
        return;
    while ((item = readdir(dir)) != NULL) { /* NOLINT(concurrency-mt-unsafe): own stream */
        char *path = fsp_file_join(folder, item->d_name);

        if (path != NULL && strcmp(item->d_name, ".") != 0 && strcmp(item->d_name, "..") != 0)
            (void)unlink(path);
        free(path);
    }
    (void)closedir(dir);
    (void)rmdir(folder);
}

static void
remove_part(const char *part)
{
    char *keys = fsp_file_join(part, KEYS);

    if (keys != NULL)
        remove_folder(keys);
    free(keys);
    remove_folder(part);
}

/* --- copying --------------------------------------------------------------------------------- */

static enum fsp_rc
copy_shelf(const struct fsp_backup_about *about, const char *part, struct fsp_err *err)
{
    struct fsp_shelf *shelf = NULL;
    enum fsp_rc rc = fsp_shelf_open(about->ops, about->store, FSP_SHELF_READ, &shelf, err);

    if (rc == FSP_OK)
        rc = shelf->ops->copy(shelf->ctx, part, err);
    fsp_shelf_close(shelf);
    return rc;
}

static enum fsp_rc
copy_desk(const struct fsp_backup_about *about, const char *part, struct fsp_err *err)
{
    struct fsp_desk *desk = NULL;
    char *path = fsp_file_join(part, DESK);
    enum fsp_rc rc =
            path == NULL ? no_memory(err) : fsp_desk_open(about->store, false, &desk, err);

    if (rc == FSP_OK) {
        rc = fsp_db_copy(fsp_desk_db(desk), path, err);
        if (rc == FSP_OK && chmod(path, 0600) != 0)
            rc = fsp_err_sys(err, FSP_EIO, errno, "%s", path);
        fsp_desk_close(desk);
    } else if (rc == FSP_ENOTFOUND) {
        rc = FSP_OK; /* nobody said anything yet */
    }
    free(path);
    return rc;
}

static enum fsp_rc
copy_key(const char *from, const char *to, const char *name, struct fsp_err *err)
{
    char *source = fsp_file_join(from, name);
    char *target = fsp_file_join(to, name);
    struct stat st;
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc = FSP_OK;

    if (source == NULL || target == NULL)
        rc = no_memory(err);
    else if (lstat(source, &st) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "%s", source);
    else if (S_ISREG(st.st_mode))
        rc = fsp_file_read(source, KEY_FILE_MAX, &bytes, &len, err);
    if (rc == FSP_OK && bytes != NULL)
        rc = fsp_file_create(target, bytes, len, st.st_mode & 0777, err);
    if (bytes != NULL)
        explicit_bzero(bytes, len);
    free(bytes);
    free(target);
    free(source);
    return rc;
}

static enum fsp_rc
copy_keys(const struct fsp_backup_about *about, const char *part, struct fsp_err *err)
{
    char *from = fsp_file_join(about->store, KEYS);
    char *to = fsp_file_join(part, KEYS);
    const struct dirent *item;
    DIR *dir = NULL;
    enum fsp_rc rc = from == NULL || to == NULL ? no_memory(err) : FSP_OK;

    if (rc == FSP_OK)
        rc = fsp_file_folder(to, 0700, err);
    if (rc == FSP_OK) {
        dir = opendir(from);
        if (dir == NULL)
            rc = fsp_err_sys(err, FSP_EIO, errno, "%s", from);
    }
    while (rc == FSP_OK && dir != NULL &&
            (item = readdir(dir)) != NULL) /* NOLINT(concurrency-mt-unsafe): own stream */
        if (item->d_name[0] != '.')
            rc = copy_key(from, to, item->d_name, err);
    if (dir != NULL)
        (void)closedir(dir); /* read only */
    if (rc == FSP_OK)
        rc = fsp_file_sync_folder(to, err);
    free(to);
    free(from);
    return rc;
}

/* --- verifying ------------------------------------------------------------------------------- */

static enum fsp_rc
verify(const struct fsp_backup_about *about, const char *part, struct fsp_check_report *report,
        struct fsp_err *err)
{
    struct fsp_shelf *shelf = NULL;
    enum fsp_rc rc = fsp_shelf_open(about->ops, part, FSP_SHELF_READ, &shelf, err);

    report->leave_states = true; /* derived: a fold checks them whenever it reads them */
    if (rc == FSP_OK)
        rc = fsp_check_store(shelf, about->keys, report, err);
    fsp_shelf_close(shelf);
    if (rc == FSP_OK && report->problems > 0)
        rc = fsp_err_set(err, FSP_EVERIFY,
                "the copy does not hold, nothing is kept of it: run farspool-office check on "
                "the store");
    return rc;
}

static enum fsp_rc
make(const struct fsp_backup_about *about, const char *part, struct fsp_check_report *report,
        struct fsp_err *err)
{
    enum fsp_rc rc = copy_shelf(about, part, err);

    if (rc == FSP_OK)
        rc = copy_desk(about, part, err);
    if (rc == FSP_OK && about->with_keys)
        rc = copy_keys(about, part, err);
    if (rc == FSP_OK)
        rc = verify(about, part, report, err);
    if (rc == FSP_OK)
        rc = fsp_file_sync_folder(part, err);
    return rc;
}

/* Give it its name, durably. */
static enum fsp_rc
finish(const char *part, const char *out, struct fsp_err *err)
{
    char *parent = strdup(out);
    char *slash = parent == NULL ? NULL : strrchr(parent, '/');
    enum fsp_rc rc = FSP_OK;

    if (parent == NULL)
        return no_memory(err);
    if (fsp_file_exists(out))
        rc = fsp_err_set(err, FSP_EINVAL, "%s: it is there already", out);
    else if (rename(part, out) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "%s", out);
    if (rc == FSP_OK) {
        if (slash == parent)
            slash[1] = '\0';
        else if (slash != NULL)
            *slash = '\0';
        rc = fsp_file_sync_folder(slash == NULL ? "." : parent, err);
        if (rc != FSP_OK && rename(out, part) != 0) /* not sure to last: not good */
            remove_part(out);
    }
    free(parent);
    return rc;
}

enum fsp_rc
fsp_backup_make(const struct fsp_backup_about *about, struct fsp_check_report *report,
        struct fsp_err *err)
{
    size_t len = strlen(about->out);
    char *out = NULL;
    char *part = NULL;
    enum fsp_rc rc = FSP_OK;

    while (len > 1 && about->out[len - 1] == '/')
        len--;
    out = strndup(about->out, len);
    part = malloc(len + sizeof(PART));
    if (out == NULL || part == NULL) {
        rc = no_memory(err);
        goto out;
    }
    if (len == 0 || fsp_file_exists(out)) {
        rc = fsp_err_set(err, FSP_EINVAL,
                "%s: it is there already; a backup never replaces anything", out);
        goto out;
    }
    memcpy(part, out, len);
    memcpy(part + len, PART, sizeof(PART));
    if (mkdtemp(part) == NULL) {
        rc = fsp_err_sys(err, FSP_EIO, errno, "%s", part);
        goto out;
    }
    rc = make(about, part, report, err);
    if (rc == FSP_OK)
        rc = finish(part, out, err);
    if (rc != FSP_OK)
        remove_part(part);
out:
    free(part);
    free(out);
    return rc;
}
