#define _GNU_SOURCE /* F_SETLEASE */
#include "rig/inbox.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/mem.h"
#include "base/text.h"
#include "record/sheet.h"

#define SETTLE_S  2   /* a file left alone so long is whole */
#define UNENDED_S 60  /* and one whose last line has no end, or that is empty */
#define NAME_KEPT 200 /* bytes of a name that is too long with ".reason" behind it */
#define NAME_MOST 240
#define SAME_NAME 100000u /* files of one name in taken/ or refused/ */

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

/* What a file was when it was looked at. */
struct seen {
    dev_t dev;
    ino_t ino;
    off_t size;
    struct timespec changed;
};

static bool
look_at(const char *path, struct seen *seen)
{
    struct stat st;

    if (lstat(path, &st) != 0 || !S_ISREG(st.st_mode))
        return false;
    *seen = (struct seen){st.st_dev, st.st_ino, st.st_size, st.st_mtim};
    return true;
}

static bool
is_same(const struct seen *a, const struct seen *b)
{
    return a->dev == b->dev && a->ino == b->ino && a->size == b->size &&
           a->changed.tv_sec == b->changed.tv_sec && a->changed.tv_nsec == b->changed.tv_nsec;
}

/* Some process has it open for writing. A lease says so where the file is ours and the file system
 * knows leases; else it is not known, and the time it was left alone decides. The signal that a
 * writer would cause meanwhile is one that is ignored. */
static bool
is_written(int fd)
{
    bool written = fcntl(fd, F_SETSIG, SIGURG) == 0 && fcntl(fd, F_SETLEASE, F_RDLCK) != 0 &&
                   errno == EAGAIN;

    if (!written)
        (void)fcntl(fd, F_SETLEASE, F_UNLCK); /* there may be none */
    return written;
}

/* Its last line ends. A writer that stops in the middle of one is not done. */
static bool
has_end(int fd, off_t size)
{
    char last = '\0';

    return size > 0 && pread(fd, &last, 1, size - 1) == 1 && last == '\n';
}

static bool
is_ripe(const char *folder, const char *name, bool all, int64_t now_s)
{
    char path[PATH_MAX];
    struct seen seen;
    int64_t settle_s;
    bool ripe;
    int fd;

    if (name[0] == '.' || ends_in(name, ".part") || ends_in(name, ".tmp") ||
            ends_in(name, ".reason"))
        return false;
    (void)snprintf(path, sizeof(path), "%s/%s", folder, name);
    if (!look_at(path, &seen))
        return false;
    /* A modification time ahead of the clock says nothing; such a file is taken. */
    if (!all && seen.changed.tv_sec <= now_s && seen.changed.tv_sec + SETTLE_S > now_s)
        return false;
    fd = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
    if (fd < 0)
        return true; /* why it cannot be read is said when it is taken */
    settle_s = has_end(fd, seen.size) ? SETTLE_S : UNENDED_S;
    ripe = !is_written(fd) &&
           (all || seen.changed.tv_sec > now_s || seen.changed.tv_sec + settle_s <= now_s);
    (void)close(fd); /* read only */
    return ripe;
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

/* A free place for inbox/name in inbox/sub: name, or name.2, name.3 … when that is taken. */
static enum fsp_rc
place(const char *folder, const char *sub, const char *name, char out[PATH_MAX],
        struct fsp_err *err)
{
    int keep = strlen(name) > NAME_MOST ? NAME_KEPT : NAME_MOST;
    unsigned i = 1;

    if (strlen(folder) + strlen(sub) + NAME_MAX + 2 >= PATH_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "%s: the folder's name is too long", folder);
    do {
        if (i == 1)
            (void)snprintf(out, PATH_MAX, "%s/%s/%.*s", folder, sub, keep, name);
        else
            (void)snprintf(out, PATH_MAX, "%s/%s/%.*s.%u", folder, sub, keep, name, i);
        if (!fsp_file_exists(out))
            return FSP_OK;
    } while (i++ < SAME_NAME);
    return fsp_err_set(err, FSP_ELIMIT, "%s/%s: %u files named %.60s; clear it up", folder, sub,
            SAME_NAME, name);
}

static enum fsp_rc
move(const char *folder, const char *name, const char *to, const char *state,
        struct fsp_err *err)
{
    char from[PATH_MAX];

    (void)snprintf(from, sizeof(from), "%s/%s", folder, name);
    if (rename(from, to) == 0)
        return FSP_OK;
    return fsp_err_sys(err, FSP_EIO, errno,
            "%s: %s, but it cannot be moved away: may this "
            "program write in its folder?",
            from, state);
}

/* The reason lies there before the file does: no file is ever refused without one. */
static enum fsp_rc
set_aside(const char *folder, const char *name, const struct fsp_err *why, struct fsp_err *err)
{
    char path[PATH_MAX];
    char reason[PATH_MAX + 8];
    struct fsp_buf text;
    enum fsp_rc rc = place(folder, "refused", name, path, err);

    if (rc != FSP_OK)
        return rc;
    fsp_buf_init(&text, (size_t)FSP_ERR_TEXT_MAX * 4);
    fsp_text_show(&text, why->text, strlen(why->text));
    fsp_buf_add_byte(&text, '\n');
    rc = fsp_buf_check(&text, "a reason", err);
    (void)snprintf(reason, sizeof(reason), "%s.reason", path);
    if (rc == FSP_OK)
        rc = fsp_file_write(reason, text.data, text.len, 0600, err);
    if (rc == FSP_OK)
        rc = move(folder, name, path, "refused", err);
    fsp_buf_fini(&text);
    return rc;
}

static enum fsp_rc
put_away(const char *folder, const char *name, struct fsp_err *err)
{
    char path[PATH_MAX];
    enum fsp_rc rc = place(folder, "taken", name, path, err);

    return rc == FSP_OK ? move(folder, name, path, "its rows are in the log", err) : rc;
}

/* FSP_EAGAIN: it changed or went away while it was read; what is there then is for the next round,
 * and rows that are in the log already are not added twice. */
static enum fsp_rc
take_one(struct fsp_journal *journal, const char *folder, const char *name,
        const struct fsp_inbox_listener *listener, struct fsp_err *err)
{
    struct fsp_journal_added added;
    struct fsp_err why = {.rc = FSP_OK};
    struct seen before;
    struct seen after;
    char path[PATH_MAX];
    bool refused;
    enum fsp_rc rc;

    (void)snprintf(path, sizeof(path), "%s/%s", folder, name);
    if (!look_at(path, &before))
        return FSP_EAGAIN;
    rc = fsp_inbox_take_file(journal, path, false, &added, &why);
    refused = rc == FSP_EFORMAT || rc == FSP_ELIMIT || rc == FSP_EINVAL;
    if (rc == FSP_ENOTFOUND && !look_at(path, &after))
        return FSP_EAGAIN;
    if (rc != FSP_OK && !refused)
        return fsp_err_set(err, rc, "%s", why.text);
    if (!look_at(path, &after) || !is_same(&before, &after))
        return FSP_EAGAIN;
    rc = refused ? set_aside(folder, name, &why, err) : put_away(folder, name, err);
    if (rc == FSP_OK && listener->said != NULL)
        listener->said(listener->ctx, name, refused ? NULL : &added, refused ? &why : NULL);
    return rc;
}

/* The next file would fail as this one did, or nothing more may be added. */
static bool
is_hopeless(const struct fsp_journal *journal, enum fsp_rc rc)
{
    return rc == FSP_ENOMEM || rc == FSP_ECORRUPT || rc == FSP_EFORK || rc == FSP_EBUSY ||
           fsp_db_broken(fsp_journal_db(journal));
}

static enum fsp_rc
take_all(struct fsp_journal *journal, const char *folder, const struct names *names,
        const struct fsp_inbox_listener *listener, struct fsp_err *err)
{
    struct fsp_err first = {.rc = FSP_OK};
    enum fsp_rc failed = FSP_OK;
    size_t n_failed = 0;

    for (size_t i = 0; i < names->n; i++) {
        struct fsp_err one = {.rc = FSP_OK};
        enum fsp_rc rc;

        if (listener->stop != NULL && listener->stop(listener->ctx))
            break;
        rc = take_one(journal, folder, names->items[i], listener, &one);
        if (rc == FSP_OK || rc == FSP_EAGAIN)
            continue;
        if (n_failed++ == 0) {
            failed = rc;
            first = one;
        }
        if (is_hopeless(journal, rc))
            break;
    }
    if (n_failed > 1)
        return fsp_err_set(
                err, failed, "%.400s (and %zu more files)", first.text, n_failed - 1);
    return failed == FSP_OK ? FSP_OK : fsp_err_set(err, failed, "%s", first.text);
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
    if (rc == FSP_OK)
        rc = take_all(journal, folder, &names, listener, err);
    names_free(&names);
    free(folder);
    return rc;
}
