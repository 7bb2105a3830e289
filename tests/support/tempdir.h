/*
 * A folder of a test's own under /tmp, removed with everything in it at the end.
 */
#ifndef FSP_TESTS_SUPPORT_TEMPDIR_H
#define FSP_TESTS_SUPPORT_TEMPDIR_H

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct tempdir {
    char path[64];
    char file[384]; /* the last path made by tempdir_file() */
};

static inline void
tempdir_make(struct tempdir *dir)
{
    (void)snprintf(dir->path, sizeof(dir->path), "/tmp/fsp-test-XXXXXX");
    if (mkdtemp(dir->path) == NULL)
        abort();
}

/* Path of a file in the folder; valid until the next call. */
static inline const char *
tempdir_file(struct tempdir *dir, const char *name)
{
    (void)snprintf(dir->file, sizeof(dir->file), "%s/%.255s", dir->path, name);
    return dir->file;
}

/* Removes plain files and the folder itself. */
static inline void
tempdir_remove(struct tempdir *dir)
{
    DIR *folder = opendir(dir->path);
    struct dirent *entry;

    if (folder == NULL)
        return;
    while ((entry = readdir(folder)) != NULL) /* NOLINT(concurrency-mt-unsafe) */
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0)
            (void)unlink(tempdir_file(dir, entry->d_name));
    (void)closedir(folder);
    (void)rmdir(dir->path);
}

#endif
