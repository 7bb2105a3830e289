#include "rig/inbox.h"

#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/file.h"
#include "base/mem.h"
#include "base/text.h"
#include "record/sheet.h"

#define SETTLE_S 2

/* ---- one file ---------------------------------------------------------------------------- */

struct rows {
    struct fsp_journal_row *items;
    size_t n;
    size_t cap;
};

static void
rows_free(struct rows *rows)
{
    for (size_t i = 0; i < rows->n; i++)
        fsp_record_free(rows->items[i].record);
    free(rows->items);
}

static enum fsp_rc
read_rows(struct fsp_sheet *sheet, const struct fsp_check_context *context, struct rows *rows,
        struct fsp_err *err)
{
    for (;;) {
        struct fsp_record *record = NULL;
        size_t line = 0;
        enum fsp_rc rc = fsp_sheet_next(sheet, context, &record, &line, err);

        if (rc == FSP_ENOTFOUND && record == NULL) {
            fsp_err_clear(err);
            return FSP_OK;
        }
        if (rc != FSP_OK)
            return rc;
        if (fsp_mem_grow((void **)&rows->items, &rows->cap, rows->n + 1,
                    sizeof(*rows->items)) != 0) {
            fsp_record_free(record);
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        }
        rows->items[rows->n].record = record;
        rows->items[rows->n].line = line;
        rows->n++;
    }
}

enum fsp_rc
fsp_inbox_take_file(struct fsp_journal *journal, const char *path, bool also,
        struct fsp_journal_added *added, struct fsp_err *err)
{
    struct fsp_check_context context;
    struct fsp_sheet *sheet = NULL;
    struct rows rows = {.items = NULL};
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc;

    memset(added, 0, sizeof(*added));
    rc = fsp_file_read(path, FSP_SHEET_MAX, &bytes, &len, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_journal_context(journal, &context, err);
    if (rc == FSP_OK)
        rc = fsp_sheet_new(bytes, len, fsp_sheet_guess(bytes, len), &sheet, err);
    if (rc == FSP_OK)
        rc = read_rows(sheet, &context, &rows, err);
    if (rc == FSP_OK && rows.n == 0)
        rc = fsp_err_set(err, FSP_EFORMAT, "holds no rows; is it the right file?");
    if (rc == FSP_OK)
        rc = fsp_journal_take(journal, rows.items, rows.n, also, added, err);
    if (rc != FSP_OK)
        rc = fsp_err_wrap(err, rc, "%s", path);
    fsp_sheet_free(sheet);
    rows_free(&rows);
    free(bytes);
    return rc;
}

/* ---- the folder -------------------------------------------------------------------------- */

struct names {
    char **items;
    size_t n;
    size_t cap;
};

static void
names_free(struct names *names)
{
    for (size_t i = 0; i < names->n; i++)
        free(names->items[i]);
    free(names->items);
}

static int
by_name(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static bool
ends_in(const char *name, const char *tail)
{
    size_t n = strlen(name);
    size_t t = strlen(tail);

    return n >= t && strcmp(name + n - t, tail) == 0;
}

static bool
is_ripe(const char *folder, const char *name, bool all, int64_t now_s)
{
    char path[PATH_MAX];
    struct stat st;

    if (name[0] == '.' || ends_in(name, ".part") || ends_in(name, ".tmp"))
        return false;
    (void)snprintf(path, sizeof(path), "%s/%s", folder, name);
    if (lstat(path, &st) != 0 || !S_ISREG(st.st_mode))
        return false;
    /* A modification time ahead of the clock says nothing; such a file is taken. */
    return all || st.st_mtime > now_s || st.st_mtime + SETTLE_S <= now_s;
}

static enum fsp_rc
list(const char *folder, bool all, int64_t now_s, struct names *names, struct fsp_err *err)
{
    DIR *dir = opendir(folder);
    const struct dirent *entry;
    enum fsp_rc rc = FSP_OK;

    if (dir == NULL)
        return fsp_err_sys(err, FSP_EIO, errno, "%s", folder);
    /* One thread reads this stream. */
    while (rc == FSP_OK && (entry = readdir(dir)) != NULL) { // NOLINT(concurrency-mt-unsafe)
        char *copy;

        if (!is_ripe(folder, entry->d_name, all, now_s))
            continue;
        copy = strdup(entry->d_name);
        if (copy == NULL || fsp_mem_grow((void **)&names->items, &names->cap, names->n + 1,
                                    sizeof(*names->items)) != 0) {
            free(copy);
            rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
            break;
        }
        names->items[names->n++] = copy;
    }
    (void)closedir(dir);
    if (names->n > 1)
        qsort(names->items, names->n, sizeof(*names->items), by_name);
    return rc;
}

/* Move inbox/name to inbox/sub/name, or name.2, name.3 … when that is taken. out: the new path. */
static enum fsp_rc
move_aside(const char *folder, const char *sub, const char *name, char out[PATH_MAX],
        struct fsp_err *err)
{
    char from[PATH_MAX];
    int n = snprintf(from, sizeof(from), "%s/%s", folder, name);

    if (n < 0 || (size_t)n + 32 >= sizeof(from))
        return fsp_err_set(err, FSP_ELIMIT, "%s: the name is too long", name);
    (void)snprintf(out, PATH_MAX, "%s/%s/%s", folder, sub, name);
    for (unsigned i = 2; fsp_file_exists(out) && i < 100000; i++)
        (void)snprintf(out, PATH_MAX, "%s/%s/%s.%u", folder, sub, name, i);
    if (rename(from, out) != 0)
        return fsp_err_sys(err, FSP_EIO, errno, "%s: cannot be moved to %s/", from, sub);
    return FSP_OK;
}

static enum fsp_rc
set_aside(const char *folder, const char *name, const struct fsp_err *why, struct fsp_err *err)
{
    char path[PATH_MAX];
    char reason[PATH_MAX + 8];
    struct fsp_buf text;
    enum fsp_rc rc = move_aside(folder, "refused", name, path, err);

    if (rc != FSP_OK)
        return rc;
    fsp_buf_init(&text, (size_t)FSP_ERR_TEXT_MAX * 4);
    fsp_text_show(&text, why->text, strlen(why->text));
    fsp_buf_add_byte(&text, '\n');
    rc = fsp_buf_check(&text, "a reason", err);
    (void)snprintf(reason, sizeof(reason), "%s.reason", path);
    if (rc == FSP_OK)
        rc = fsp_file_write(reason, text.data, text.len, 0600, err);
    fsp_buf_fini(&text);
    return rc;
}

static enum fsp_rc
take_one(struct fsp_journal *journal, const char *folder, const char *name,
        const struct fsp_inbox_listener *listener, struct fsp_err *err)
{
    struct fsp_journal_added added;
    struct fsp_err why = {.rc = FSP_OK};
    char path[PATH_MAX];
    enum fsp_rc rc;

    (void)snprintf(path, sizeof(path), "%s/%s", folder, name);
    rc = fsp_inbox_take_file(journal, path, false, &added, &why);
    if (rc == FSP_EFORMAT || rc == FSP_ELIMIT || rc == FSP_EINVAL) {
        rc = set_aside(folder, name, &why, err);
        if (listener->said != NULL)
            listener->said(listener->ctx, name, NULL, &why);
        return rc;
    }
    if (rc != FSP_OK)
        return fsp_err_set(err, rc, "%s", why.text);
    rc = move_aside(folder, "taken", name, path, err);
    if (listener->said != NULL)
        listener->said(listener->ctx, name, &added, NULL);
    return rc;
}

enum fsp_rc
fsp_inbox_round(struct fsp_journal *journal, bool all,
        const struct fsp_inbox_listener *listener, struct fsp_err *err)
{
    const struct fsp_env *env = fsp_journal_env(journal);
    char *folder = fsp_file_join(fsp_journal_folder(journal), "inbox");
    struct names names = {.items = NULL};
    enum fsp_rc rc;

    if (folder == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = list(folder, all, env->utc_us(env->ctx) / FSP_US_PER_S, &names, err);
    for (size_t i = 0; rc == FSP_OK && i < names.n; i++)
        rc = take_one(journal, folder, names.items[i], listener, err);
    names_free(&names);
    free(folder);
    return rc;
}
