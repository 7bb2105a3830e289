/* The model: a recording played on a disk of nodes, each with what is there and what is safe. */
#include "support/crashvfs.h"

#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define NAME_MOST 96

struct bytes {
    uint8_t *data;
    size_t len, cap;
};

struct entry {
    char name[NAME_MOST];
    size_t node;
};
struct names {
    struct entry *entry;
    size_t n;
};

struct node {
    bool is_dir;
    struct names now, safe;
    struct bytes bytes, safe_bytes;
    size_t *pending; /* events that wrote since the last sync */
    size_t n_pending, cap_pending;
};

/* A name given or taken, not yet safe. */
struct change {
    size_t event;
    size_t dir;
    size_t other; /* of a rename: the other folder; else dir */
    bool gives;
    char name[NAME_MOST];
    size_t node;
};

struct disk {
    size_t played; /* events */
    struct node *nodes;
    size_t n_nodes;
    size_t *of_file; /* node of an opened file */
    struct change *changes;
    size_t n_changes;
};

static void *
must(void *memory)
{
    if (memory == NULL)
        abort();
    return memory;
}

/* ---- randomness: a hash, so that one event's fate does not hang on another's ------------------ */

static uint64_t
mix(uint64_t x)
{
    x ^= x >> 30;
    x *= UINT64_C(0xbf58476d1ce4e5b9);
    x ^= x >> 27;
    x *= UINT64_C(0x94d049bb133111eb);
    return x ^ (x >> 31);
}

static uint64_t
dice(uint64_t seed, uint64_t a, uint64_t b)
{
    return mix(mix(mix(seed + UINT64_C(0x9e3779b97f4a7c15)) + a) + b);
}

/* ---- bytes and names ------------------------------------------------------------------------- */

static void
resize(struct bytes *bytes, size_t len)
{
    if (len > bytes->cap) {
        bytes->cap = len * 2 + 64;
        bytes->data = must(realloc(bytes->data, bytes->cap));
    }
    if (len > bytes->len)
        memset(bytes->data + bytes->len, 0, len - bytes->len);
    bytes->len = len;
}

static void
put(struct bytes *bytes, size_t offset, const uint8_t *data, size_t len)
{
    if (offset + len > bytes->len)
        resize(bytes, offset + len);
    if (bytes->data == NULL)
        abort(); /* nothing is put where there is no room */
    memcpy(bytes->data + offset, data, len);
}

static void
copy(struct bytes *to, const struct bytes *from)
{
    to->len = 0;
    resize(to, from->len);
    if (from->len > 0)
        memcpy(to->data, from->data, from->len);
}

static size_t
find(const struct names *names, const char *name)
{
    for (size_t i = 0; i < names->n; i++)
        if (strcmp(names->entry[i].name, name) == 0)
            return i;
    return SIZE_MAX;
}

static void
give(struct names *names, const char *name, size_t node)
{
    size_t i = find(names, name);

    if (i == SIZE_MAX) {
        i = names->n++;
        names->entry = must(realloc(names->entry, names->n * sizeof(*names->entry)));
        (void)snprintf(names->entry[i].name, NAME_MOST, "%s", name);
    }
    names->entry[i].node = node;
}

static void
take(struct names *names, const char *name)
{
    size_t i = find(names, name);

    if (i != SIZE_MAX)
        names->entry[i] = names->entry[--names->n];
}

static void
apply(struct names *names, const struct change *change)
{
    if (change->gives)
        give(names, change->name, change->node);
    else
        take(names, change->name);
}

/* ---- playing --------------------------------------------------------------------------------- */

static size_t
new_node(struct disk *disk, bool is_dir)
{
    disk->nodes = must(realloc(disk->nodes, (disk->n_nodes + 1) * sizeof(*disk->nodes)));
    memset(&disk->nodes[disk->n_nodes], 0, sizeof(*disk->nodes));
    disk->nodes[disk->n_nodes].is_dir = is_dir;
    return disk->n_nodes++;
}

/* The folder a path lies in and its last name; the root is its own. */
static size_t
parent(const struct disk *disk, const char *path, char name[NAME_MOST])
{
    size_t dir = 0;
    const char *slash;

    while ((slash = strchr(path, '/')) != NULL) {
        size_t i;
        size_t len = (size_t)(slash - path);

        if (len >= NAME_MOST)
            abort();
        memcpy(name, path, len);
        name[len] = '\0';
        i = find(&disk->nodes[dir].now, name);
        if (i == SIZE_MAX)
            abort(); /* recorded out of order */
        dir = disk->nodes[dir].now.entry[i].node;
        path = slash + 1;
    }
    (void)snprintf(name, NAME_MOST, "%s", path);
    return dir;
}

/* SIZE_MAX: not there. */
static size_t
look_up(const struct disk *disk, const char *path)
{
    char name[NAME_MOST];
    size_t dir;
    size_t i;

    if (path[0] == '\0')
        return 0;
    dir = parent(disk, path, name);
    i = find(&disk->nodes[dir].now, name);
    return i == SIZE_MAX ? SIZE_MAX : disk->nodes[dir].now.entry[i].node;
}

/* Both halves of a rename become safe together, with the sync of either folder. */
static struct change *
change(struct disk *disk, size_t event, bool gives, const char *path, size_t node)
{
    struct change *made;

    disk->changes =
            must(realloc(disk->changes, (disk->n_changes + 1) * sizeof(*disk->changes)));
    made = &disk->changes[disk->n_changes++];
    made->event = event;
    made->gives = gives;
    made->node = node;
    made->dir = parent(disk, path, made->name);
    made->other = made->dir;
    apply(&disk->nodes[made->dir].now, made);
    return made;
}

static bool
is_safe_with(const struct change *made, size_t dir)
{
    return made->dir == dir || made->other == dir;
}

static void
sync_dir(struct disk *disk, size_t dir)
{
    size_t left = 0;

    for (size_t i = 0; i < disk->n_changes; i++) {
        const struct change made = disk->changes[i];

        if (is_safe_with(&made, dir))
            apply(&disk->nodes[made.dir].safe, &made);
        else
            disk->changes[left++] = made;
    }
    disk->n_changes = left;
}

static void
sync_node(struct disk *disk, size_t i)
{
    struct node *node = &disk->nodes[i];

    if (node->is_dir) {
        sync_dir(disk, i);
        return;
    }
    if (node->n_pending > 0)
        copy(&node->safe_bytes, &node->bytes);
    node->n_pending = 0;
}

static void
play_bytes(struct disk *disk, size_t i, const struct crashvfs_event *event)
{
    struct node *node = &disk->nodes[disk->of_file[event->file]];

    if (event->kind == CRASHVFS_SIZE)
        resize(&node->bytes, (size_t)event->size);
    else
        put(&node->bytes, (size_t)event->offset, event->data, (size_t)event->size);
    if (node->n_pending == node->cap_pending) {
        node->cap_pending = node->cap_pending * 2 + 16;
        node->pending =
                must(realloc(node->pending, node->cap_pending * sizeof(*node->pending)));
    }
    node->pending[node->n_pending++] = i;
}

static void
play_names(struct disk *disk, size_t i, const struct crashvfs_event *event)
{
    size_t node = look_up(disk, event->path);
    size_t from;
    size_t to;

    switch (event->kind) {
    case CRASHVFS_OPEN:
        if (node == SIZE_MAX) {
            node = new_node(disk, event->size != 0);
            (void)change(disk, i, true, event->path, node);
        }
        disk->of_file[event->file] = node;
        break;
    case CRASHVFS_MKDIR:
        (void)change(disk, i, true, event->path, new_node(disk, true));
        break;
    case CRASHVFS_RENAME:
        from = change(disk, i, false, event->path, 0)->dir;
        to = change(disk, i, true, event->to, node)->dir;
        disk->changes[disk->n_changes - 2].other = to;
        disk->changes[disk->n_changes - 1].other = from;
        break;
    case CRASHVFS_LINK:
        (void)change(disk, i, true, event->to, node);
        break;
    case CRASHVFS_UNLINK:
        (void)change(disk, i, false, event->path, 0);
        break;
    case CRASHVFS_WRITE:
    case CRASHVFS_SIZE:
    case CRASHVFS_SYNC:
        break;
    }
}

static void
play_on(struct disk *disk, size_t to, size_t unsync)
{
    for (size_t i = disk->played; i < to; i++) {
        const struct crashvfs_event *event = crashvfs_event(i);

        if (event->kind == CRASHVFS_SYNC) {
            if (i != unsync)
                sync_node(disk, disk->of_file[event->file]);
        } else if (event->path == NULL) {
            play_bytes(disk, i, event);
        } else {
            play_names(disk, i, event);
        }
    }
    disk->played = to;
}

static void
play(struct disk *disk, size_t to, size_t unsync)
{
    size_t files = 0;

    for (size_t i = 0; i < crashvfs_events(); i++)
        if (crashvfs_event(i)->file >= files)
            files = crashvfs_event(i)->file + 1;
    memset(disk, 0, sizeof(*disk));
    disk->of_file = must(calloc(files + 1, sizeof(*disk->of_file)));
    (void)new_node(disk, true);
    play_on(disk, to, unsync);
}

static void
end(struct disk *disk)
{
    for (size_t i = 0; i < disk->n_nodes; i++) {
        free(disk->nodes[i].now.entry);
        free(disk->nodes[i].safe.entry);
        free(disk->nodes[i].bytes.data);
        free(disk->nodes[i].safe_bytes.data);
        free(disk->nodes[i].pending);
    }
    free(disk->nodes);
    free(disk->of_file);
    free(disk->changes);
}

/* Cuts mostly come in the order of their moments: the disk is kept and played on. */
static struct {
    struct disk disk;
    size_t unsync;
    bool made;
} kept;

static const struct disk *
played(const struct crashvfs_cut *cut)
{
    if (kept.made && (kept.disk.played > cut->at || kept.unsync != cut->unsync)) {
        end(&kept.disk);
        kept.made = false;
    }
    if (!kept.made)
        play(&kept.disk, 0, cut->unsync);
    kept.made = true;
    kept.unsync = cut->unsync;
    play_on(&kept.disk, cut->at, cut->unsync);
    return &kept.disk;
}

__attribute__((destructor)) static void
forget(void)
{
    if (kept.made)
        end(&kept.disk);
}

/* What is safe, to be garbled. */
static void
copy_safe(struct disk *to, const struct disk *from)
{
    memset(to, 0, sizeof(*to));
    to->n_nodes = from->n_nodes;
    to->nodes = must(calloc(from->n_nodes, sizeof(*to->nodes)));
    for (size_t i = 0; i < from->n_nodes; i++) {
        const struct names *names = &from->nodes[i].safe;

        to->nodes[i].is_dir = from->nodes[i].is_dir;
        copy(&to->nodes[i].safe_bytes, &from->nodes[i].safe_bytes);
        for (size_t k = 0; k < names->n; k++)
            give(&to->nodes[i].safe, names->entry[k].name, names->entry[k].node);
    }
}

/* ---- the power goes --------------------------------------------------------------------------- */

/* One write: of each sector that it touches, all, nothing, or junk has arrived. */
static void
garble_write(struct bytes *bytes, size_t i, uint64_t seed)
{
    const struct crashvfs_event *event = crashvfs_event(i);
    size_t offset = (size_t)event->offset;
    size_t to = offset + (size_t)event->size;

    while (offset < to) {
        size_t sector = offset / CRASHVFS_SECTOR;
        size_t stop = (sector + 1) * CRASHVFS_SECTOR < to ? (sector + 1) * CRASHVFS_SECTOR : to;
        uint64_t fate = dice(seed, i, sector) % 4;

        if (fate < 2)
            put(bytes, offset, event->data + (offset - (size_t)event->offset), stop - offset);
        for (; fate == 3 && offset < stop; offset++) {
            uint8_t junk = (uint8_t)dice(seed, i, offset);

            put(bytes, offset, &junk, 1);
        }
        offset = stop;
    }
}

static void
garble(struct disk *disk, const struct disk *from, uint64_t seed)
{
    for (size_t i = 0; i < from->n_changes; i++)
        if (dice(seed, from->changes[i].event, 1) % 2 == 0)
            apply(&disk->nodes[from->changes[i].dir].safe, &from->changes[i]);
    for (size_t n = 0; n < from->n_nodes; n++) {
        const struct node *node = &from->nodes[n];

        for (size_t k = 0; k < node->n_pending; k++) {
            size_t i = node->pending[k];

            if (crashvfs_event(i)->kind == CRASHVFS_WRITE)
                garble_write(&disk->nodes[n].safe_bytes, i, seed);
            else if (dice(seed, i, 2) % 2 == 0)
                resize(&disk->nodes[n].safe_bytes, (size_t)crashvfs_event(i)->size);
        }
    }
}

static void
write_file(const struct bytes *bytes, const char *path)
{
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);

    if (fd < 0 ||
            (bytes->len > 0 && write(fd, bytes->data, bytes->len) != (ssize_t)bytes->len) ||
            close(fd) != 0)
        abort();
}

/* As deep as the folders are. */
static void
/* NOLINTNEXTLINE(misc-no-recursion) */
write_folder(const struct disk *disk, const struct node *node, bool keep, const char *path)
{
    const struct names *names = keep ? &node->now : &node->safe;

    if (mkdir(path, 0700) != 0)
        abort();
    for (size_t i = 0; i < names->n; i++) {
        const struct node *inner = &disk->nodes[names->entry[i].node];
        char below[512];

        (void)snprintf(below, sizeof(below), "%.380s/%s", path, names->entry[i].name);
        if (inner->is_dir)
            write_folder(disk, inner, keep, below);
        else
            write_file(keep ? &inner->bytes : &inner->safe_bytes, below);
    }
}

void
crashvfs_build(const struct crashvfs_cut *cut, const char *into)
{
    const struct disk *disk = played(cut);
    struct disk garbled = {.n_nodes = 0};

    crashvfs_remove(into);
    if (cut->way == CRASHVFS_GARBLE) {
        copy_safe(&garbled, disk);
        garble(&garbled, disk, cut->seed);
        disk = &garbled;
    }
    write_folder(disk, &disk->nodes[0], cut->way == CRASHVFS_KEEP, into);
    end(&garbled);
}

/* ---- about the recording ----------------------------------------------------------------------- */

const char *
crashvfs_say(size_t event)
{
    static const char *const kinds[] = {
            "open", "write", "size", "sync", "mkdir", "rename", "link", "unlink"};
    static char text[400];
    const struct crashvfs_event *about = crashvfs_event(event);
    const char *path = about->path;

    for (size_t k = event; path == NULL && k-- > 0;)
        if (crashvfs_event(k)->kind == CRASHVFS_OPEN && crashvfs_event(k)->file == about->file)
            path = crashvfs_event(k)->path;
    (void)snprintf(text, sizeof(text), "%s %.300s", kinds[about->kind],
            path == NULL || path[0] == '\0' ? "." : path);
    return text;
}

size_t
crashvfs_synced_again(size_t sync)
{
    size_t found = CRASHVFS_NONE;
    struct disk disk;
    size_t node;

    play(&disk, crashvfs_events(), CRASHVFS_NONE);
    node = disk.of_file[crashvfs_event(sync)->file];
    for (size_t i = sync + 1; i < crashvfs_events() && found == CRASHVFS_NONE; i++)
        if (crashvfs_event(i)->kind == CRASHVFS_SYNC &&
                disk.of_file[crashvfs_event(i)->file] == node)
            found = i;
    end(&disk);
    return found;
}

bool
crashvfs_was_needed(size_t sync)
{
    struct disk disk;
    size_t node;
    bool needed = false;

    play(&disk, sync, CRASHVFS_NONE);
    node = disk.of_file[crashvfs_event(sync)->file];
    for (size_t i = 0; i < disk.n_changes; i++)
        needed = needed || is_safe_with(&disk.changes[i], node);
    needed = needed || disk.nodes[node].n_pending > 0;
    end(&disk);
    return needed;
}

/* As deep as the folders are. */
void
/* NOLINTNEXTLINE(misc-no-recursion) */
crashvfs_remove(const char *folder)
{
    DIR *dir = opendir(folder);
    const struct dirent *entry;

    if (dir == NULL)
        return;
    /* One thread reads this stream. */
    while ((entry = readdir(dir)) != NULL) { // NOLINT(concurrency-mt-unsafe)
        char path[768];

        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        (void)snprintf(path, sizeof(path), "%.500s/%s", folder, entry->d_name);
        if (entry->d_type == DT_DIR)
            crashvfs_remove(path);
        else
            (void)unlink(path);
    }
    (void)closedir(dir);
    (void)rmdir(folder);
}
