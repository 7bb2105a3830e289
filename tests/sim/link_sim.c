/*
 * link_sim: histories of a rig and an office on a virtual link, by seed.
 *   link_sim --check                1,000 histories; with FSP_LONG=1 100,000; on all cores
 *   link_sim --seeds N [--from S]   N histories, from seed S (1) on
 *   link_sim --seed S [--trace]     one of them, told as it happens
 */
#define _XOPEN_SOURCE 700 /* nftw() */
#include "sim/sim.h"

#include <ftw.h>
#include <inttypes.h>
#include <malloc.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "proof/key.h"

#define LEAK_MOST ((size_t)256 * 1024) /* bytes in use more than after the first history */
#define RSS_MOST  ((long)64 * 1024)    /* KiB */
#define CALM_MOST (90 * SIM_DAY)       /* whatever waits for a day's budget arrives by then */

/* ---- libsodium's own randomness, seeded ----------------------------------------------------- */

static struct sim_random sealing;

static const char *
sealing_name(void)
{
    return "simulated";
}

static uint32_t
sealing_u32(void)
{
    return (uint32_t)(sim_next(&sealing) >> 32);
}

static void
sealing_bytes(void *const out, const size_t len)
{
    uint8_t *bytes = out;

    for (size_t i = 0; i < len; i++)
        bytes[i] = (uint8_t)(sim_next(&sealing) >> 56);
}

static struct randombytes_implementation seeded = {
        .implementation_name = sealing_name, .random = sealing_u32, .buf = sealing_bytes};

/* ---- what happens --------------------------------------------------------------------------- */

static void
jump_clock(struct sim *sim, struct sim_rig *rig)
{
    bool at_office = sim_hit(&sim->random, 500);
    struct sim_side *side = at_office ? &sim->office.side : &rig->side;
    int64_t years = sim_within(&sim->random, -20, 20);

    side->shift_us = sim_hit(&sim->random, 300)
                             ? sim_within(&sim->random, -2 * SIM_DAY, 2 * SIM_DAY)
                             : years * 365 * SIM_DAY;
    sim_say(sim, "%s: clock off by %" PRId64 " s", at_office ? "office" : "rig",
            side->shift_us / SIM_S);
}

/* A courier's file at the office: its last bundle may be cut; the answers go back, or not. */
static void
bring(struct sim *sim, const struct sim_event *event)
{
    const struct sim_parcel *parcel = event->parcel;
    struct sim_parcel *answers = sim_parcel_new(sim);
    struct fsp_buf answer;

    fsp_buf_init(&answer, FSP_LINK_REPLY_MAX);
    for (size_t i = 0; i < parcel->n; i++) {
        size_t len = parcel->items[i].len;
        int status;

        if (i + 1 == parcel->n && !sim->calm && sim_hit(&sim->random, 100))
            len = (size_t)sim_within(&sim->random, 0, (int64_t)len - 1);
        status = sim_office_take(sim, parcel->items[i].bytes, len, &answer);
        sim_parcel_add(sim, answers, status, fsp_buf_peek(&answer), answer.len);
    }
    for (unsigned copies = sim_hit(&sim->random, 200) ? 2 : 1; copies > 0; copies--)
        if (!sim_hit(&sim->random, 200))
            sim_push(sim, sim->now_us + sim_within(&sim->random, SIM_HOUR, 30 * SIM_HOUR),
                    SIM_RETURN, event->rig, sim_parcel_copy(sim, answers));
    sim_parcel_free(answers);
    fsp_buf_fini(&answer);
}

static void
deliver(struct sim *sim, const struct sim_event *event)
{
    struct fsp_buf answer;

    fsp_buf_init(&answer, FSP_LINK_REPLY_MAX);
    sim_say(sim, "link: a request arrives late");
    (void)sim_office_take(
            sim, event->parcel->items[0].bytes, event->parcel->items[0].len, &answer);
    fsp_buf_fini(&answer);
}

static void
become_calm(struct sim *sim)
{
    sim->calm = true;
    sim_weather_good(sim);
    sim->office.down_until_us = 0;
    sim_say(sim, "calm: everything must arrive now");
    for (size_t i = 0; i < SIM_RIGS; i++) {
        struct sim_rig *rig = &sim->rigs[i];

        if (!rig->there || rig->stopped)
            continue;
        /* Something to send, so that there is a contact whatever was lost. */
        sim_rig_enter_one(rig);
        if (!rig->busy)
            sim_rig_want(rig, sim->now_us);
    }
}

static void
snapshot_rig(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;

    sim_rig_reboot(rig);
    sim_snapshot_take(sim, &rig->snapshot, rig->folder);
    rig->snapshot.size = rig->n;
    sim_say(sim, "rig%zu: snapshot at %" PRIu64, rig->which, rig->n);
}

/* With the rig's own process between two rounds. */
static void
with_rig(struct sim *sim, const struct sim_event *event)
{
    struct sim_rig *rig = &sim->rigs[event->rig];

    if (rig->stopped || !rig->there)
        return;
    if (event->kind == SIM_ROUND && event->at_us >= rig->round_us)
        sim_rig_round(rig);
    else if (event->kind == SIM_CARRY)
        sim_rig_carry(rig);
    else if (event->kind == SIM_REBOOT_RIG)
        sim_rig_reboot(rig);
    else if (event->kind == SIM_SNAPSHOT_RIG)
        snapshot_rig(rig);
    else if (event->kind == SIM_RESTORE_RIG)
        sim_rig_restore(rig);
}

static void
happen(struct sim *sim, struct sim_event *event)
{
    struct sim_rig *rig = &sim->rigs[event->rig];

    switch (event->kind) {
    case SIM_ENTER:
        if (rig->there && !rig->stopped)
            sim_rig_enter(rig);
        break;
    case SIM_ROUND:
    case SIM_CARRY:
    case SIM_REBOOT_RIG:
    case SIM_SNAPSHOT_RIG:
    case SIM_RESTORE_RIG:
        with_rig(sim, event);
        break;
    case SIM_BRING:
        bring(sim, event);
        break;
    case SIM_RETURN:
        if (!rig->stopped)
            sim_rig_return(rig, event->parcel);
        break;
    case SIM_DELIVER:
        deliver(sim, event);
        break;
    case SIM_INSTRUCT:
        sim_office_instruct(sim);
        break;
    case SIM_CLOCK:
        jump_clock(sim, rig);
        break;
    case SIM_REBOOT_OFFICE:
        sim_office_reboot(sim);
        sim->office.down_until_us = sim->now_us + sim_within(&sim->random, 0, SIM_HOUR);
        break;
    case SIM_CLONE_RIG:
        sim_rig_clone(sim);
        break;
    case SIM_SNAPSHOT_OFFICE:
        sim_office_snapshot(sim);
        break;
    case SIM_RESTORE_OFFICE:
        sim_office_restore(sim);
        break;
    case SIM_LINK:
        sim_weather_new(sim);
        break;
    case SIM_CALM:
        become_calm(sim);
        break;
    }
}

/* A rig's own process does one thing at a time; entering and receipts are other processes'. */
static bool
must_wait(const struct sim *sim, const struct sim_event *event)
{
    switch (event->kind) {
    case SIM_ROUND:
    case SIM_CARRY:
    case SIM_REBOOT_RIG:
    case SIM_SNAPSHOT_RIG:
    case SIM_RESTORE_RIG:
        return sim->rigs[event->rig].busy;
    case SIM_CLONE_RIG:
        return sim->rigs[0].busy;
    case SIM_BRING:
        return sim->now_us < sim->office.down_until_us;
    case SIM_ENTER:
    case SIM_RETURN:
    case SIM_DELIVER:
    case SIM_INSTRUCT:
    case SIM_CLOCK:
    case SIM_REBOOT_OFFICE:
    case SIM_SNAPSHOT_OFFICE:
    case SIM_RESTORE_OFFICE:
    case SIM_LINK:
    case SIM_CALM:
        return false;
    }
    return false;
}

// NOLINTNEXTLINE(misc-no-recursion): a flight runs the events in it; at most one flight a rig.
void
sim_run_until(struct sim *sim, int64_t at_us)
{
    struct sim_event event;

    while (sim_pop(sim, at_us, &event)) {
        if (event.at_us > sim->now_us)
            sim->now_us = event.at_us;
        if (must_wait(sim, &event)) {
            int64_t later_us = (at_us > sim->now_us ? at_us : sim->now_us) + SIM_S;

            if (event.kind == SIM_ROUND)
                sim->rigs[event.rig].round_us = later_us;
            sim_push(sim, later_us, event.kind, event.rig, event.parcel);
            continue;
        }
        happen(sim, &event);
        sim_parcel_free(event.parcel);
    }
    if (at_us > sim->now_us)
        sim->now_us = at_us;
}

/* ---- a history ------------------------------------------------------------------------------ */

static void
scatter(struct sim *sim, enum sim_kind kind, size_t rig, int64_t n, int64_t span_us)
{
    for (int64_t i = 0; i < n; i++)
        sim_push(sim, sim_within(&sim->random, 0, span_us), kind, rig, NULL);
}

/* Take it in the first half, go back to it in the second. */
static void
go_back_in_time(struct sim *sim, enum sim_kind take, enum sim_kind put, int64_t span_us)
{
    int64_t at_us = sim_within(&sim->random, 0, span_us / 2);

    sim_push(sim, at_us, take, 0, NULL);
    sim_push(sim, sim_within(&sim->random, at_us + 1, span_us), put, 0, NULL);
}

static void
plan_history(struct sim *sim, int64_t span_us)
{
    struct sim_random *random = &sim->random;

    scatter(sim, SIM_ENTER, 0, sim_within(random, 6, 22), span_us);
    scatter(sim, SIM_LINK, 0, sim_within(random, 4, 20), span_us);
    scatter(sim, SIM_REBOOT_RIG, 0, sim_within(random, 0, 3), span_us);
    scatter(sim, SIM_REBOOT_OFFICE, 0, sim_within(random, 0, 3), span_us);
    scatter(sim, SIM_INSTRUCT, 0, sim_within(random, 0, 3), span_us);
    scatter(sim, SIM_CLOCK, 0, sim_within(random, 0, 2), span_us);
    scatter(sim, SIM_CARRY, 0, sim_hit(random, 500) ? sim_within(random, 1, 4) : 0, span_us);
    switch (sim->history) {
    case SIM_PLAIN:
        break;
    case SIM_RESTORED:
        go_back_in_time(sim, SIM_SNAPSHOT_RIG, SIM_RESTORE_RIG, span_us);
        break;
    case SIM_CLONED:
        sim_push(sim, sim_within(random, 0, span_us), SIM_CLONE_RIG, 0, NULL);
        scatter(sim, SIM_ENTER, 1, sim_within(random, 0, 20), span_us);
        scatter(sim, SIM_CARRY, 1, sim_within(random, 0, 2), span_us);
        break;
    case SIM_ROLLED_BACK:
        go_back_in_time(sim, SIM_SNAPSHOT_OFFICE, SIM_RESTORE_OFFICE, span_us);
        break;
    }
    sim_push(sim, span_us + 1, SIM_CALM, 0, NULL);
}

static enum sim_history
choose_history(struct sim *sim)
{
    int64_t draw = sim_within(&sim->random, 0, 99);

    return draw < 50   ? SIM_PLAIN
           : draw < 65 ? SIM_RESTORED
           : draw < 80 ? SIM_CLONED
                       : SIM_ROLLED_BACK;
}

static void
live(struct sim *sim)
{
    int64_t span_us = sim_within(&sim->random, SIM_HOUR, 36 * SIM_HOUR);

    /* One in thirty goes on for weeks. */
    if (sim_hit(&sim->random, 33))
        span_us *= 14;
    sim->history = choose_history(sim);
    sim_weather_good(sim);
    sim_office_start(sim);
    sim_rig_start(sim, 0);
    plan_history(sim, span_us);
    sim_run_until(sim, span_us + 1);
    while (sim->n_events > 0 || sim_check_waits(sim)) {
        int64_t next_us = sim->now_us + SIM_HOUR;

        if (sim->now_us > span_us + CALM_MOST)
            sim_fail(sim, "the link is good, and records still wait");
        if (sim->n_events == 0)
            sim_fail(sim, "records wait, and nobody wants to send them");
        sim_run_until(sim, next_us);
    }
    sim_check_end(sim);
    /* A rig that had to stop goes on with a new log; so does one whose key is changed. */
    if ((sim->history == SIM_RESTORED && sim->rigs[0].stopped) ||
            (sim->history == SIM_PLAIN && sim_hit(&sim->random, 150)))
        sim_renew(&sim->rigs[0]);
}

static int
remove_one(const char *path, const struct stat *st, int kind, struct FTW *at)
{
    (void)st;
    (void)kind;
    (void)at;
    return remove(path);
}

struct totals {
    uint64_t posts, receipts, stops, gaps, parcels, renewals;
    int64_t virtual_us;
};

static void
one_history(uint64_t seed, bool trace, const char *folder, struct totals *totals)
{
    struct sim *sim = calloc(1, sizeof(*sim));
    struct fsp_err err = {.rc = FSP_OK};

    if (sim == NULL)
        exit(1); // NOLINT(concurrency-mt-unsafe): one thread
    sim->seed = seed;
    sim->trace = trace;
    sim->random.state = seed * UINT64_C(0x9e3779b97f4a7c15) + 1;
    sealing.state = seed * 3 + 1;
    (void)sim_next(&sim->random);
    (void)snprintf(sim->folder, sizeof(sim->folder), "%.80s/s", folder);
    sim_must(sim, fsp_file_folder(sim->folder, 0700, &err), &err, "folder");
    live(sim);
    for (size_t i = 0; i < SIM_RIGS; i++)
        sim_rig_stop(&sim->rigs[i]);
    sim_office_stop(sim);
    fsp_office_keys_fini(&sim->office.keys);
    sim_snapshot_free(&sim->office.snapshot);
    for (size_t i = 0; i < sim->n_events; i++)
        sim_parcel_free(sim->events[i].parcel);
    free(sim->events);
    totals->posts += sim->posts;
    totals->receipts += sim->receipts;
    totals->stops += sim->stops;
    totals->gaps += sim->gaps;
    totals->parcels += sim->parcels;
    totals->renewals += sim->renewals;
    totals->virtual_us += sim->now_us;
    /* NOLINTNEXTLINE(concurrency-mt-unsafe): one thread */
    (void)nftw(sim->folder, remove_one, 8, FTW_DEPTH | FTW_PHYS);
    free(sim);
}

/* Memory that one history leaves behind would grow with the next. */
static void
check_memory(uint64_t seed, size_t *first)
{
    struct rusage usage = {.ru_maxrss = 0};
    size_t used = mallinfo2().uordblks;

    if (*first == 0)
        *first = used;
    (void)getrusage(RUSAGE_SELF, &usage);
    if (used <= *first + LEAK_MOST && usage.ru_maxrss <= RSS_MOST)
        return;
    (void)fprintf(stderr,
            "link_sim: after seed %" PRIu64 ": %zu bytes in use (%zu at first), %ld KiB "
            "resident\n",
            seed, used, *first, usage.ru_maxrss);
    exit(1); // NOLINT(concurrency-mt-unsafe): one thread
}

static bool
number_after(int argc, char *argv[], const char *option, uint64_t *out)
{
    for (int i = 1; i + 1 < argc; i++)
        if (strcmp(argv[i], option) == 0)
            return fsp_text_u64(argv[i + 1], strlen(argv[i + 1]), out) == FSP_OK;
    return false;
}

/* Every step-th history from the first on, in this process. */
static int
run(const uint64_t within[2], uint64_t step, bool trace)
{
    /* Where memory is a file system there is one; any folder will do. */
    char folder[64] = "/dev/shm/fsp-sim-XXXXXX";
    struct totals totals = {.posts = 0};
    uint64_t n = 0;
    size_t memory = 0;

    if (mkdtemp(folder) == NULL) {
        (void)snprintf(folder, sizeof(folder), "/tmp/fsp-sim-XXXXXX");
        if (mkdtemp(folder) == NULL)
            return 1;
    }
    for (uint64_t seed = within[0]; seed < within[1]; seed += step, n++) {
        one_history(seed, trace, folder, &totals);
        check_memory(seed, &memory);
    }
    (void)rmdir(folder);
    (void)printf("%" PRIu64 " histories, %" PRId64 " virtual days: %" PRIu64 " posts, %" PRIu64
                 " receipts, %" PRIu64 " offices gone back, %" PRIu64
                 " stores stopped, %" PRIu64 " renewed, %" PRIu64 " courier's files\n",
            n, totals.virtual_us / SIM_DAY, totals.posts, totals.receipts, totals.gaps,
            totals.stops, totals.renewals, totals.parcels);
    return fflush(stdout) == 0 ? 0 : 1;
}

/* The same on all cores: the histories have nothing in common. */
static int
check(void)
{
    const char *wish = getenv("FSP_LONG"); // NOLINT(concurrency-mt-unsafe): one thread
    uint64_t n = wish != NULL && strcmp(wish, "1") == 0 ? 100000 : 1000;
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    uint64_t jobs = cores < 1 ? 1 : cores > 64 ? 64 : (uint64_t)cores;
    int status = 0;
    int failed = 0;

    for (uint64_t i = 0; i < jobs; i++) {
        const uint64_t within[2] = {1 + i, 1 + n};
        pid_t pid = fork();

        if (pid < 0)
            return 1;
        if (pid == 0)
            exit(run(within, jobs, false)); // NOLINT(concurrency-mt-unsafe): one thread
    }
    while (wait(&status) > 0)
        failed |= status;
    return failed == 0 ? 0 : 1;
}

int
main(int argc, char *argv[])
{
    bool trace = argc > 1 && strcmp(argv[argc - 1], "--trace") == 0;
    struct fsp_err err = {.rc = FSP_OK};
    uint64_t within[2] = {1, 1};
    uint64_t n = 1;

    if (randombytes_set_implementation(&seeded) != 0 || fsp_proof_init(&err) != FSP_OK)
        return 1;
    if (argc == 2 && strcmp(argv[1], "--check") == 0)
        return check();
    if (!number_after(argc, argv, "--seed", &within[0]) &&
            !number_after(argc, argv, "--seeds", &n)) {
        (void)fprintf(stderr,
                "usage: link_sim --check | --seeds N [--from S] | --seed S [--trace]\n");
        return 64;
    }
    (void)number_after(argc, argv, "--from", &within[0]);
    within[1] = within[0] + n;
    return run(within, 1, trace);
}
