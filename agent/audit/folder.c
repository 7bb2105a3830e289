#include "audit/folder.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "audit/trust.h"
#include "base/buf.h"
#include "base/file.h"
#include "base/mem.h"

#define RECORD_TAIL   ".record.json"
#define PROOF_TAIL    ".tlog-proof"
#define REGISTER_TAIL ".register"

bool
fsp_is_folder(const char *path)
{
    struct stat st;

    return stat(path, &st) == 0 && S_ISDIR(st.st_mode);
}

void
fsp_folder_free(struct fsp_folder *folder)
{
    for (size_t i = 0; i < folder->n; i++)
        free(folder->file[i].path);
    free(folder->file);
    memset(folder, 0, sizeof(*folder));
}

static bool
ends_with(const char *text, const char *tail)
{
    const size_t len = strlen(text);
    const size_t tail_len = strlen(tail);

    return len > tail_len && strcmp(text + len - tail_len, tail) == 0;
}

/* A proof whose record is gone would else be passed over in silence. */
static enum fsp_folder_kind
kind_of_proof(const char *path)
{
    const size_t stem = strlen(path) - strlen(PROOF_TAIL);
    enum fsp_folder_kind kind = FSP_FOLDER_ALONE;
    struct fsp_buf record;

    fsp_buf_init(&record, FSP_AUDIT_PATH_MAX);
    fsp_buf_add(&record, path, stem);
    fsp_buf_add_text(&record, RECORD_TAIL);
    if (record.rc == FSP_OK && fsp_file_exists(fsp_buf_peek(&record)))
        kind = FSP_FOLDER_KNOWN;
    fsp_buf_fini(&record);
    return kind;
}

static enum fsp_folder_kind
kind_of(const char *name, const char *path)
{
    static const char *const known[] = {FSP_AUDIT_POLICY, FSP_AUDIT_ROSTER,
            FSP_AUDIT_INSTRUCTIONS, "summary.txt", "summary.html"};

    if (ends_with(name, RECORD_TAIL))
        return FSP_FOLDER_RECORD;
    if (ends_with(name, REGISTER_TAIL))
        return FSP_FOLDER_REGISTER;
    if (ends_with(name, PROOF_TAIL))
        return kind_of_proof(path);
    for (size_t i = 0; i < sizeof(known) / sizeof(known[0]); i++)
        if (strcmp(name, known[i]) == 0)
            return FSP_FOLDER_KNOWN;
    return FSP_FOLDER_OTHER;
}

/* By number where names begin with one, so that entry 9 comes before entry 10. */
static int
by_name(const void *a, const void *b)
{
    const char *left = ((const struct fsp_folder_file *)a)->path;
    const char *right = ((const struct fsp_folder_file *)b)->path;
    const char *left_name = strrchr(left, '/');
    const char *right_name = strrchr(right, '/');
    const size_t left_digits = left_name == NULL ? 0 : strspn(left_name + 1, "0123456789");
    const size_t right_digits = right_name == NULL ? 0 : strspn(right_name + 1, "0123456789");

    if (left_digits != right_digits && left_digits > 0 && right_digits > 0)
        return left_digits < right_digits ? -1 : 1;
    return strcmp(left, right);
}

static enum fsp_rc
add(struct fsp_folder *folder, const char *path, const char *name, struct fsp_err *err)
{
    struct fsp_folder_file *file;

    if (folder->n == FSP_FOLDER_FILES_MAX)
        return fsp_err_set(
                err, FSP_ELIMIT, "%s: more than %d files", path, FSP_FOLDER_FILES_MAX);
    if (fsp_mem_grow((void **)&folder->file, &folder->cap, folder->n + 1,
                sizeof(*folder->file)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    file = &folder->file[folder->n];
    file->path = fsp_file_join(path, name);
    if (file->path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    file->kind = kind_of(name, file->path);
    folder->n++;
    return FSP_OK;
}

enum fsp_rc
fsp_folder_list(struct fsp_folder *folder, const char *path, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    DIR *dir = opendir(path);

    memset(folder, 0, sizeof(*folder));
    if (dir == NULL)
        return fsp_err_sys(err, FSP_EIO, errno, "%s", path);
    while (rc == FSP_OK) {
        const struct dirent *item;

        errno = 0;
        item = readdir(dir); /* NOLINT(concurrency-mt-unsafe): own stream */
        if (item == NULL && errno != 0)
            rc = fsp_err_sys(err, FSP_EIO, errno, "%s", path);
        if (item == NULL)
            break;
        if (item->d_name[0] != '.')
            rc = add(folder, path, item->d_name, err);
    }
    (void)closedir(dir); /* read only */
    if (rc != FSP_OK)
        fsp_folder_free(folder);
    else if (folder->n > 0)
        qsort(folder->file, folder->n, sizeof(*folder->file), by_name);
    return rc;
}
