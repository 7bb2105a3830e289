#include "office/public.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"

#define TAG "farspool-key/v1 "

/* The line up to the space behind the verifier key, byte by byte: what follows is the seed. */
static enum fsp_rc
read_words(int fd, char *out, size_t max, size_t *len, struct fsp_err *err)
{
    size_t spaces = 0;

    *len = 0;
    while (*len < max) {
        ssize_t n = read(fd, out + *len, 1);

        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return fsp_err_sys(err, FSP_EIO, errno, "cannot be read");
        if (n == 0)
            break;
        if (out[*len] == ' ' && ++spaces == 2)
            return FSP_OK;
        (*len)++;
    }
    return fsp_err_set(err, FSP_EFORMAT, "not a key file");
}

static enum fsp_rc
peek(struct fsp_vkey *vkey, const char *path, enum fsp_key_type type, struct fsp_err *err)
{
    const size_t tag = strlen(TAG);
    char line[sizeof(TAG) + FSP_VKEY_MAX];
    size_t len = 0;
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    enum fsp_rc rc;

    if (fd < 0)
        return fsp_err_sys(err, errno == ENOENT ? FSP_ENOTFOUND : FSP_EIO, errno, "%s", path);
    rc = read_words(fd, line, sizeof(line), &len, err);
    (void)close(fd); /* read only */
    if (rc == FSP_OK && (len <= tag || memcmp(line, TAG, tag) != 0))
        rc = fsp_err_set(err, FSP_EFORMAT, "not a key file");
    if (rc == FSP_OK)
        rc = fsp_vkey_parse(vkey, line + tag, len - tag, err);
    if (rc == FSP_OK && vkey->type != type)
        rc = fsp_err_set(err, FSP_EFORMAT, "a key of another kind");
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", path);
}

/* WHAT.key, then WHAT-N.key downwards from the highest there is. */
static enum fsp_rc
load_kind(struct fsp_vkey *keys, size_t *n, const char *folder, const char *what,
        enum fsp_key_type type, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    size_t before = 0;
    char name[64];

    *n = 0;
    for (;;) {
        char *path;
        bool there;

        (void)snprintf(name, sizeof(name), "%s-%zu.key", what, before + 1);
        path = fsp_file_join(folder, name);
        if (path == NULL)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        there = fsp_file_exists(path);
        free(path);
        if (!there)
            break;
        before++;
    }
    if (before + 1 > FSP_ATTEST_KEYS_MAX)
        return fsp_err_set(
                err, FSP_ELIMIT, "%s: more than %d %s keys", folder, FSP_ATTEST_KEYS_MAX, what);
    for (size_t i = before + 1; rc == FSP_OK && i-- > 0;) {
        char *path;

        if (i == before)
            (void)snprintf(name, sizeof(name), "%s.key", what);
        else
            (void)snprintf(name, sizeof(name), "%s-%zu.key", what, i + 1);
        path = fsp_file_join(folder, name);
        rc = path == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                          : peek(&keys[*n], path, type, err);
        free(path);
        if (rc == FSP_OK)
            (*n)++;
    }
    return rc;
}

enum fsp_rc
fsp_office_public_load(struct fsp_office_public *keys, const char *store, struct fsp_err *err)
{
    char *folder = fsp_file_join(store, "keys");
    enum fsp_rc rc = folder == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory") : FSP_OK;

    memset(keys, 0, sizeof(*keys));
    if (rc == FSP_OK)
        rc = load_kind(
                keys->cosigner, &keys->cosigners, folder, "office", FSP_KEY_COSIGNER, err);
    if (rc == FSP_OK)
        rc = load_kind(keys->instructions, &keys->n_instructions, folder, "instructions",
                FSP_KEY_NOTE, err);
    free(folder);
    return rc;
}
