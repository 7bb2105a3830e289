/* The recorder: every call that changes a file below the root is carried out and written down. */
#define _GNU_SOURCE
#include "support/crashvfs.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

#define FDS_MAX 1024

static struct {
    pthread_mutex_t lock;
    bool on;
    char root[256];
    size_t files;          /* opened so far */
    size_t of_fd[FDS_MAX]; /* its number + 1; 0: none of ours */
    struct crashvfs_event *events;
    size_t n, cap;
    uint64_t names; /* of temporary files */
} rec = {.lock = PTHREAD_MUTEX_INITIALIZER};

/* ---- writing down --------------------------------------------------------------------------- */

static void *
must(void *memory)
{
    if (memory == NULL)
        abort();
    return memory;
}

/* The path below the root; NULL when it is elsewhere or nothing is recorded. */
static const char *
below(const char *path)
{
    size_t len = strlen(rec.root);

    if (!rec.on || path == NULL || strncmp(path, rec.root, len) != 0)
        return NULL;
    if (path[len] != '/' && path[len] != '\0')
        return NULL;
    path += len;
    while (*path == '/')
        path++;
    return path;
}

static struct crashvfs_event *
add(enum crashvfs_kind kind)
{
    if (rec.n == rec.cap) {
        rec.cap = rec.cap == 0 ? 1024 : rec.cap * 2;
        rec.events = must(realloc(rec.events, rec.cap * sizeof(*rec.events)));
    }
    memset(&rec.events[rec.n], 0, sizeof(*rec.events));
    rec.events[rec.n].kind = kind;
    return &rec.events[rec.n++];
}

static void
lock(void)
{
    (void)pthread_mutex_lock(&rec.lock);
}

static void
unlock(void)
{
    (void)pthread_mutex_unlock(&rec.lock);
}

/* A change of names that went well. */
static int
named(int done, enum crashvfs_kind kind, const char *path, const char *to)
{
    int failed = errno;

    lock();
    if (done == 0 && below(path) != NULL) {
        struct crashvfs_event *event = add(kind);

        event->path = must(strdup(below(path)));
        if (to != NULL && below(to) != NULL)
            event->to = must(strdup(below(to)));
    }
    unlock();
    errno = failed;
    return done;
}

static size_t
of(int fd)
{
    return rec.on && fd >= 0 && fd < FDS_MAX ? rec.of_fd[fd] : 0;
}

static void
wrote(int fd, const void *data, size_t len, off_t offset)
{
    int failed = errno;

    lock();
    if (of(fd) != 0 && len > 0) {
        struct crashvfs_event *event = add(CRASHVFS_WRITE);

        event->file = of(fd) - 1;
        event->offset = (uint64_t)offset;
        event->size = len;
        event->data = must(malloc(len));
        memcpy(event->data, data, len);
    }
    unlock();
    errno = failed;
}

static void
sized(int fd, uint64_t size)
{
    lock();
    if (of(fd) != 0) {
        struct crashvfs_event *event = add(CRASHVFS_SIZE);

        event->file = of(fd) - 1;
        event->size = size;
    }
    unlock();
}

static int
synced(int fd)
{
    bool ours = false;

    lock();
    ours = of(fd) != 0;
    if (ours)
        add(CRASHVFS_SYNC)->file = of(fd) - 1;
    unlock();
    return ours || rec.root[0] != '\0' ? 0 : (int)syscall(SYS_fsync, fd);
}

static int
opened(int fd, const char *path, int flags)
{
    int failed = errno;
    struct stat st;

    if (fd < 0 || fd >= FDS_MAX)
        return fd;
    lock();
    rec.of_fd[fd] = 0;
    if (below(path) != NULL) {
        struct crashvfs_event *event = add(CRASHVFS_OPEN);

        event->path = must(strdup(below(path)));
        event->file = rec.files;
        event->size = fstat(fd, &st) == 0 && S_ISDIR(st.st_mode);
        rec.of_fd[fd] = ++rec.files;
    }
    unlock();
    if ((flags & O_TRUNC) != 0)
        sized(fd, 0);
    errno = failed;
    return fd;
}

/* ---- begin and end -------------------------------------------------------------------------- */

void
crashvfs_begin(const char *root)
{
    for (size_t i = 0; i < rec.n; i++) {
        free(rec.events[i].path);
        free(rec.events[i].to);
        free(rec.events[i].data);
    }
    rec.n = 0;
    rec.files = 0;
    memset(rec.of_fd, 0, sizeof(rec.of_fd));
    (void)snprintf(rec.root, sizeof(rec.root), "%s", root);
    rec.on = true;
}

void
crashvfs_end(void)
{
    rec.on = false;
}

size_t
crashvfs_events(void)
{
    return rec.n;
}

const struct crashvfs_event *
crashvfs_event(size_t i)
{
    return &rec.events[i];
}

/* ---- recordings as files -------------------------------------------------------------------- */

/* A length, then the bytes; SIZE_MAX for none. */
static void
put(FILE *out, const void *bytes, size_t len)
{
    size_t said = bytes == NULL ? SIZE_MAX : len;

    if (fwrite(&said, sizeof(said), 1, out) != 1 ||
            (bytes != NULL && len > 0 && fwrite(bytes, len, 1, out) != 1))
        abort();
}

static void *
get(FILE *in)
{
    size_t len = 0;
    uint8_t *bytes;

    if (fread(&len, sizeof(len), 1, in) != 1)
        abort();
    if (len == SIZE_MAX)
        return NULL;
    bytes = must(calloc(1, len + 1));
    if (len > 0 && fread(bytes, len, 1, in) != 1)
        abort();
    return bytes;
}

void
crashvfs_load(const char *trace)
{
    FILE *in = must(fopen(trace, "rb"));
    struct crashvfs_event read;
    size_t first = rec.files;

    while (fread(&read, sizeof(read), 1, in) == 1) {
        struct crashvfs_event *event = add(read.kind);

        *event = read;
        event->file += first;
        if (event->file >= rec.files)
            rec.files = event->file + 1;
        event->path = get(in);
        event->to = get(in);
        event->data = get(in);
    }
    (void)fclose(in);
}

__attribute__((destructor)) static void
leave(void)
{
    const char *trace = getenv("FSP_CRASH_TRACE"); // NOLINT(concurrency-mt-unsafe): test only
    FILE *out;

    if (trace == NULL || !rec.on)
        return;
    rec.on = false;
    out = must(fopen(trace, "wb"));
    for (size_t i = 0; i < rec.n; i++) {
        const struct crashvfs_event *event = &rec.events[i];

        if (fwrite(event, sizeof(*event), 1, out) != 1)
            abort();
        put(out, event->path, event->path == NULL ? 0 : strlen(event->path));
        put(out, event->to, event->to == NULL ? 0 : strlen(event->to));
        put(out, event->data, (size_t)event->size);
    }
    if (fclose(out) != 0)
        abort();
}

__attribute__((constructor)) static void
enter(void)
{
    const char *root = getenv("FSP_CRASH_ROOT"); // NOLINT(concurrency-mt-unsafe): test only

    if (root != NULL && getenv("FSP_CRASH_TRACE") != NULL) // NOLINT(concurrency-mt-unsafe)
        crashvfs_begin(root);
}

/* ---- the calls -----------------------------------------------------------------------------
 * Named by their symbols: the headers rename some of them by the size of off_t, SQLite's build may
 * have chosen the other one. */

#define STANDS_FOR(symbol) __asm__(symbol) __attribute__((visibility("default")))

static int
open_any(const char *path, int flags, unsigned mode)
{
    return opened((int)syscall(SYS_openat, AT_FDCWD, path, flags, mode), path, flags);
}

int vfs_open(const char *path, int flags, ...) STANDS_FOR("open");
int
vfs_open(const char *path, int flags, ...)
{
    unsigned mode = 0;
    va_list args;

    va_start(args, flags);
    if ((flags & O_CREAT) != 0)
        mode = va_arg(args, unsigned);
    va_end(args);
    return open_any(path, flags, mode);
}

int vfs_open64(const char *path, int flags, ...) STANDS_FOR("open64");
int
vfs_open64(const char *path, int flags, ...)
{
    unsigned mode = 0;
    va_list args;

    va_start(args, flags);
    if ((flags & O_CREAT) != 0)
        mode = va_arg(args, unsigned);
    va_end(args);
    return open_any(path, flags, mode);
}

int vfs_close(int fd) STANDS_FOR("close");
int
vfs_close(int fd)
{
    lock();
    if (fd >= 0 && fd < FDS_MAX)
        rec.of_fd[fd] = 0;
    unlock();
    return (int)syscall(SYS_close, fd);
}

/* The names are the test's own business, but never the same twice. */
static int
temporary(char *template, int (*make)(const char *path))
{
    char *end = template + strlen(template) - 6;
    int made = -1;

    for (int i = 0; i < 10000 && made < 0; i++) {
        char digits[24];

        (void)snprintf(digits, sizeof(digits), "%06llu",
                (unsigned long long)__atomic_fetch_add(&rec.names, 1, __ATOMIC_RELAXED));
        memcpy(end, digits, 6);
        made = make(template);
        if (made < 0 && errno != EEXIST)
            break;
    }
    return made;
}

static int
make_file(const char *path)
{
    return vfs_open(path, O_RDWR | O_CREAT | O_EXCL, 0600);
}

int vfs_mkdir(const char *path, mode_t mode) STANDS_FOR("mkdir");
int
vfs_mkdir(const char *path, mode_t mode)
{
    return named((int)syscall(SYS_mkdir, path, mode), CRASHVFS_MKDIR, path, NULL);
}

static int
make_folder(const char *path)
{
    return vfs_mkdir(path, 0700);
}

int vfs_mkstemp(char *template) STANDS_FOR("mkstemp");
int
vfs_mkstemp(char *template)
{
    return temporary(template, make_file);
}

int vfs_mkstemp64(char *template) STANDS_FOR("mkstemp64");
int
vfs_mkstemp64(char *template)
{
    return temporary(template, make_file);
}

char *vfs_mkdtemp(char *template) STANDS_FOR("mkdtemp");
char *
vfs_mkdtemp(char *template)
{
    return temporary(template, make_folder) == 0 ? template : NULL;
}

ssize_t vfs_write(int fd, const void *data, size_t len) STANDS_FOR("write");
ssize_t
vfs_write(int fd, const void *data, size_t len)
{
    off_t offset = of(fd) != 0 ? (off_t)syscall(SYS_lseek, fd, 0, SEEK_CUR) : 0;
    ssize_t done = (ssize_t)syscall(SYS_write, fd, data, len);

    if (done > 0)
        wrote(fd, data, (size_t)done, offset);
    return done;
}

static ssize_t
write_at(int fd, const void *data, size_t len, off_t offset)
{
    ssize_t done = (ssize_t)syscall(SYS_pwrite64, fd, data, len, offset);

    if (done > 0)
        wrote(fd, data, (size_t)done, offset);
    return done;
}

ssize_t vfs_pwrite(int fd, const void *data, size_t len, off_t offset) STANDS_FOR("pwrite");
ssize_t
vfs_pwrite(int fd, const void *data, size_t len, off_t offset)
{
    return write_at(fd, data, len, offset);
}

ssize_t vfs_pwrite64(int fd, const void *data, size_t len, off_t offset) STANDS_FOR("pwrite64");
ssize_t
vfs_pwrite64(int fd, const void *data, size_t len, off_t offset)
{
    return write_at(fd, data, len, offset);
}

static int
set_size(int fd, off_t size)
{
    int done = (int)syscall(SYS_ftruncate, fd, size);

    if (done == 0)
        sized(fd, (uint64_t)size);
    return done;
}

int vfs_ftruncate(int fd, off_t size) STANDS_FOR("ftruncate");
int
vfs_ftruncate(int fd, off_t size)
{
    return set_size(fd, size);
}

int vfs_ftruncate64(int fd, off_t size) STANDS_FOR("ftruncate64");
int
vfs_ftruncate64(int fd, off_t size)
{
    return set_size(fd, size);
}

int vfs_fsync(int fd) STANDS_FOR("fsync");
int
vfs_fsync(int fd)
{
    return synced(fd);
}

int vfs_fdatasync(int fd) STANDS_FOR("fdatasync");
int
vfs_fdatasync(int fd)
{
    return synced(fd);
}

int vfs_rename(const char *from, const char *to) STANDS_FOR("rename");
int
vfs_rename(const char *from, const char *to)
{
    return named((int)syscall(SYS_rename, from, to), CRASHVFS_RENAME, from, to);
}

int vfs_link(const char *from, const char *to) STANDS_FOR("link");
int
vfs_link(const char *from, const char *to)
{
    return named((int)syscall(SYS_link, from, to), CRASHVFS_LINK, from, to);
}

int vfs_unlink(const char *path) STANDS_FOR("unlink");
int
vfs_unlink(const char *path)
{
    return named((int)syscall(SYS_unlink, path), CRASHVFS_UNLINK, path, NULL);
}

int vfs_rmdir(const char *path) STANDS_FOR("rmdir");
int
vfs_rmdir(const char *path)
{
    return named((int)syscall(SYS_rmdir, path), CRASHVFS_UNLINK, path, NULL);
}
