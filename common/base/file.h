/*
 * Whole files: read with a limit, written durably or not at all.
 *
 * Ownership: what is read is the caller's to free(); it is NUL-terminated one past len.
 * Errors: FSP_ENOTFOUND, FSP_ELIMIT, FSP_EIO (with errno), FSP_ENOMEM; the text names the path.
 */
#ifndef FSP_BASE_FILE_H
#define FSP_BASE_FILE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"

/* Read all of path ("-" is standard input), at most max bytes. */
enum fsp_rc fsp_file_read(const char *path, size_t max, uint8_t **out, size_t *len,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Replace path by these bytes: a new file beside it, fsync, rename, fsync of the folder. Either
 * the old or the new content is there after a power cut. mode as in open(2). */
enum fsp_rc fsp_file_write(const char *path, const void *data, size_t len, unsigned mode,
        struct fsp_err *err) FSP_MUST_CHECK;

/* The same, but refuses with FSP_EINVAL when path exists. */
enum fsp_rc fsp_file_create(const char *path, const void *data, size_t len, unsigned mode,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Make the folder (its parent must exist); an existing folder is fine. */
enum fsp_rc fsp_file_folder(
        const char *path, unsigned mode, struct fsp_err *err) FSP_MUST_CHECK;

/* Make the folder's own entries durable. */
enum fsp_rc fsp_file_sync_folder(const char *path, struct fsp_err *err) FSP_MUST_CHECK;

bool fsp_file_exists(const char *path);

/* "folder/name" in new memory, NULL when out of memory. */
char *fsp_file_join(const char *folder, const char *name);

/* Take an exclusive flock on path (created, mode 0600). *fd is -1 on failure. FSP_EBUSY when
 * another process holds it and wait is false. */
enum fsp_rc fsp_file_lock(
        const char *path, bool wait, int *fd, struct fsp_err *err) FSP_MUST_CHECK;
/* Release; accepts -1. */
void fsp_file_unlock(int fd);

#endif
