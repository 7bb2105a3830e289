#include "sim/sim.h"

#include <dirent.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/mem.h"

#define FILE_MAX ((size_t)64 * 1024 * 1024)

/* ---- saying --------------------------------------------------------------------------------- */

static void
print_time(const struct sim *sim, FILE *to)
{
    int64_t ms = sim->now_us / 1000;

    (void)fprintf(to, "[%3" PRId64 "d %02d:%02d:%02d.%03d] ", ms / 86400000,
            (int)(ms / 3600000 % 24), (int)(ms / 60000 % 60), (int)(ms / 1000 % 60),
            (int)(ms % 1000));
}

void
sim_say(const struct sim *sim, const char *fmt, ...)
{
    va_list args;

    if (!sim->trace)
        return;
    print_time(sim, stdout);
    va_start(args, fmt);
    (void)vprintf(fmt, args);
    va_end(args);
    (void)putchar('\n');
}

void
sim_fail(const struct sim *sim, const char *fmt, ...)
{
    va_list args;

    (void)fflush(stdout);
    (void)fprintf(stderr, "link_sim: seed %" PRIu64 ": ", sim->seed);
    print_time(sim, stderr);
    va_start(args, fmt);
    (void)vfprintf(stderr, fmt, args);
    va_end(args);
    (void)fprintf(stderr,
            "\nlink_sim: again: link_sim --seed %" PRIu64 " --trace; the stores are in %s\n",
            sim->seed, sim->folder);
    /* One thread. */
    exit(1); // NOLINT(concurrency-mt-unsafe)
}

void
sim_must(const struct sim *sim, enum fsp_rc rc, const struct fsp_err *err, const char *what)
{
    if (rc != FSP_OK)
        sim_fail(sim, "%s: rc %d: %s", what, (int)rc, err->text);
}

/* ---- randomness and clocks ------------------------------------------------------------------ */

/* xorshift64*: only has to be the same everywhere. */
uint64_t
sim_next(struct sim_random *random)
{
    random->state ^= random->state >> 12;
    random->state ^= random->state << 25;
    random->state ^= random->state >> 27;
    return random->state * UINT64_C(2685821657736338717);
}

int64_t
sim_within(struct sim_random *random, int64_t least, int64_t most)
{
    return least + (int64_t)((sim_next(random) >> 1) % (uint64_t)(most - least + 1));
}

bool
sim_hit(struct sim_random *random, unsigned per_mille)
{
    return per_mille > 0 && sim_next(random) % 1000 < per_mille;
}

static int64_t
utc_us(void *ctx)
{
    const struct sim_side *side = ctx;

    return SIM_START_S * SIM_S + side->sim->now_us + side->shift_us;
}

static int64_t
monotonic_us(void *ctx)
{
    const struct sim_side *side = ctx;

    return side->sim->now_us;
}

static void
random_bytes(void *ctx, void *out, size_t len)
{
    struct sim_side *side = ctx;
    uint8_t *bytes = out;

    for (size_t i = 0; i < len; i++)
        bytes[i] = (uint8_t)(sim_next(&side->random) >> 56);
}

void
sim_side_init(struct sim_side *side, struct sim *sim, uint64_t seed)
{
    side->sim = sim;
    side->shift_us = 0;
    side->random.state = seed * 2 + 1;
    (void)sim_next(&side->random);
    side->env = (struct fsp_env){.utc_us = utc_us,
            .monotonic_us = monotonic_us,
            .random = random_bytes,
            .ctx = side};
}

/* ---- stores as files ------------------------------------------------------------------------ */

static void
path_of(char *out, size_t size, const char *folder, const char *name)
{
    (void)snprintf(out, size, "%.150s/%.100s", folder, name);
}

/* The next plain file of the folder; NULL at its end. */
static const char *
next_file(DIR *dir, const char *folder, char *path, size_t size)
{
    const struct dirent *entry;

    /* One thread reads this stream. */
    while ((entry = readdir(dir)) != NULL) { // NOLINT(concurrency-mt-unsafe)
        if (entry->d_type != DT_REG)
            continue;
        path_of(path, size, folder, entry->d_name);
        return entry->d_name;
    }
    return NULL;
}

void
sim_snapshot_free(struct sim_snapshot *snapshot)
{
    for (size_t i = 0; i < snapshot->n; i++)
        free(snapshot->files[i].bytes);
    memset(snapshot, 0, sizeof(*snapshot));
}

void
sim_snapshot_take(struct sim *sim, struct sim_snapshot *snapshot, const char *folder)
{
    struct fsp_err err = {.rc = FSP_OK};
    char path[256];
    const char *name;
    DIR *dir = opendir(folder);

    sim_snapshot_free(snapshot);
    if (dir == NULL)
        sim_fail(sim, "%s: cannot be read", folder);
    while ((name = next_file(dir, folder, path, sizeof(path))) != NULL) {
        struct sim_file *file = &snapshot->files[snapshot->n++];

        if (snapshot->n == SIM_FILES)
            sim_fail(sim, "%s: too many files", folder);
        (void)snprintf(file->name, sizeof(file->name), "%.60s", name);
        sim_must(sim, fsp_file_read(path, FILE_MAX, &file->bytes, &file->len, &err), &err,
                "snapshot");
    }
    (void)closedir(dir);
    snapshot->taken = true;
}

static void
empty_folder(struct sim *sim, const char *folder)
{
    char path[256];
    DIR *dir = opendir(folder);

    if (dir == NULL)
        sim_fail(sim, "%s: cannot be read", folder);
    while (next_file(dir, folder, path, sizeof(path)) != NULL)
        (void)unlink(path);
    (void)closedir(dir);
}

void
sim_snapshot_put(struct sim *sim, const struct sim_snapshot *snapshot, const char *folder,
        const char *only)
{
    struct fsp_err err = {.rc = FSP_OK};
    char path[256];

    if (only == NULL)
        empty_folder(sim, folder);
    for (size_t i = 0; i < snapshot->n; i++) {
        const struct sim_file *file = &snapshot->files[i];

        if (only != NULL && strcmp(only, file->name) != 0)
            continue;
        path_of(path, sizeof(path), folder, file->name);
        sim_must(
                sim, fsp_file_write(path, file->bytes, file->len, 0600, &err), &err, "restore");
    }
}

/* ---- parcels -------------------------------------------------------------------------------- */

struct sim_parcel *
sim_parcel_new(struct sim *sim)
{
    struct sim_parcel *parcel = calloc(1, sizeof(*parcel));

    if (parcel == NULL)
        sim_fail(sim, "out of memory");
    return parcel;
}

void
sim_parcel_add(
        struct sim *sim, struct sim_parcel *parcel, int status, const void *bytes, size_t len)
{
    struct sim_item *item = &parcel->items[parcel->n];

    if (parcel->n == SIM_PARCEL)
        sim_fail(sim, "a courier's file of more than %d", SIM_PARCEL);
    item->bytes = malloc(len + 1);
    if (item->bytes == NULL)
        sim_fail(sim, "out of memory");
    if (len > 0)
        memcpy(item->bytes, bytes, len);
    item->len = len;
    item->status = status;
    parcel->n++;
}

struct sim_parcel *
sim_parcel_copy(struct sim *sim, const struct sim_parcel *parcel)
{
    struct sim_parcel *copy = sim_parcel_new(sim);

    for (size_t i = 0; i < parcel->n; i++)
        sim_parcel_add(sim, copy, parcel->items[i].status, parcel->items[i].bytes,
                parcel->items[i].len);
    return copy;
}

void
sim_parcel_free(struct sim_parcel *parcel)
{
    if (parcel == NULL)
        return;
    for (size_t i = 0; i < parcel->n; i++)
        free(parcel->items[i].bytes);
    free(parcel);
}

/* ---- events --------------------------------------------------------------------------------- */

void
sim_push(struct sim *sim, int64_t at_us, enum sim_kind kind, size_t rig,
        struct sim_parcel *parcel)
{
    if (fsp_mem_grow((void **)&sim->events, &sim->cap_events, sim->n_events + 1,
                sizeof(*sim->events)) != 0)
        sim_fail(sim, "out of memory");
    sim->events[sim->n_events++] = (struct sim_event){
            .at_us = at_us, .order = sim->order++, .kind = kind, .rig = rig, .parcel = parcel};
}

/* The earliest at or before until_us. There are few at any time: a walk will do. */
bool
sim_pop(struct sim *sim, int64_t until_us, struct sim_event *event)
{
    size_t best = sim->n_events;

    for (size_t i = 0; i < sim->n_events; i++) {
        const struct sim_event *e = &sim->events[i];

        if (e->at_us > until_us)
            continue;
        if (best == sim->n_events || e->at_us < sim->events[best].at_us ||
                (e->at_us == sim->events[best].at_us && e->order < sim->events[best].order))
            best = i;
    }
    if (best == sim->n_events)
        return false;
    *event = sim->events[best];
    sim->events[best] = sim->events[--sim->n_events];
    return true;
}
