/*
 * farspool-audit verify on a register of a whole log (tree and head signatures) beside hashing the
 * same bytes twice with libsodium's SHA-256, both as processes' time; checking fields and inspectors'
 * signatures as rows of their own; the auditor's memory on it; and the proof of one record out of a
 * million: its size, and what is spent on it. verify_bench AUDIT [ENTRIES [RECORDS]]
 */
#include <fcntl.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "base/mem.h"
#include "bench/bench.h"
#include "proof/note.h"
#include "proof/register.h"
#include "proof/tree.h"
#include "support/evidence.h"
#include "support/signedlog.h"
#include "support/tempdir.h"

#define ROUNDS 3
#define SPAWNS 20
#define SIGNED 20000 /* inspections of the register whose signatures are measured */
#define PIECE  ((size_t)256 * 1024)

static void
save(const char *folder, const char *name, const struct fsp_buf *bytes)
{
    char path[192];
    FILE *file;

    (void)snprintf(path, sizeof(path), "%s/%s", folder, name);
    file = fopen(path, "wb");
    if (file == NULL || fwrite(bytes->data, 1, bytes->len, file) != bytes->len ||
            fclose(file) != 0) {
        perror(path);
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    }
}

/* Run a program with `verify path` and maybe one option, output thrown away; what it used. */
static void
run_program(const char *program, const char *path, const char *option, struct rusage *used)
{
    int status = -1;
    pid_t pid = fork();

    if (pid == 0) {
        int null = open("/dev/null", O_WRONLY | O_CLOEXEC);

        if (null >= 0 && dup2(null, STDOUT_FILENO) >= 0)
            (void)execl(program, program, "verify", path, option, (char *)NULL);
        _exit(127);
    }
    if (pid < 0 || wait4(pid, &status, 0, used) != pid || status != 0) {
        (void)fprintf(stderr, "bench: %s verify %s: status %d\n", program, path, status);
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    }
}

static double
milliseconds(const struct timeval *time)
{
    return 1e3 * (double)time->tv_sec + 1e-3 * (double)time->tv_usec;
}

static int
by_size(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;

    return (x > y) - (x < y);
}

/* The median of the process time of SPAWNS runs, ms; the most memory of one, KiB. */
static double
process_time(const char *program, const char *record, long *most_kib)
{
    double spent[SPAWNS];

    *most_kib = 0;
    for (size_t i = 0; i < SPAWNS; i++) {
        struct rusage used;

        run_program(program, record, NULL, &used);
        spent[i] = milliseconds(&used.ru_utime) + milliseconds(&used.ru_stime);
        *most_kib = used.ru_maxrss > *most_kib ? used.ru_maxrss : *most_kib;
    }
    qsort(spent, SPAWNS, sizeof(spent[0]), by_size);
    return (spent[SPAWNS / 2 - 1] + spent[SPAWNS / 2]) / 2;
}

/* The least of ROUNDS runs, s: what disturbs only adds. */
static double
least_time(const char *audit, const char *path, const char *option, long *most_kib)
{
    double least = 0;

    for (int round = 0; round < ROUNDS; round++) {
        struct rusage used;
        double spent;

        run_program(audit, path, option, &used);
        spent = 1e-3 * (milliseconds(&used.ru_utime) + milliseconds(&used.ru_stime));
        least = round == 0 || spent < least ? spent : least;
        if (most_kib != NULL && used.ru_maxrss > *most_kib)
            *most_kib = used.ru_maxrss;
    }
    return least;
}

/* A log of invented records and its register; `signed_too`: inspections by one key instead, with the
 * roster that lists it as the first entry. */
struct roll {
    struct fsp_skey *log;
    struct fsp_skey *office;
    struct fsp_range range;
    FILE *file;
    struct fsp_buf body; /* entry lines, until they are written */
};

static void
roll_flush(struct roll *roll, bool all)
{
    if (roll->body.len < PIECE && !all)
        return;
    if (fwrite(roll->body.data, 1, roll->body.len, roll->file) != roll->body.len) {
        perror("bench: register");
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    }
    fsp_buf_reset(&roll->body);
}

/* The top with the head of all n entries, which are then written by the caller. */
static void
roll_begin(struct roll *roll, const char *folder, struct fsp_err *err)
{
    struct fsp_register_top top = {.origin = EVIDENCE_ORIGIN, .to = roll->range.size};
    struct fsp_checkpoint head = {.origin = EVIDENCE_ORIGIN, .size = roll->range.size};
    uint8_t line[8 + FSP_SIG_LEN];
    struct fsp_buf text;
    struct fsp_buf note;
    char path[192];

    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    fsp_range_root(&roll->range, head.root);
    fsp_checkpoint_write(&head, &text);
    bench_must(fsp_note_sign(&note, text.data, text.len, roll->log, err), err);
    bench_must(fsp_cosign(&head, roll->office, EVIDENCE_TIME_S, line, err), err);
    fsp_note_add_line(&note, fsp_skey_vkey(roll->office), line, sizeof(line));
    top.to_head = fsp_buf_peek(&note);
    top.to_head_len = note.len;
    fsp_register_write_top(&top, &roll->body);
    (void)snprintf(path, sizeof(path), "%s/all.register", folder);
    roll->file = fopen(path, "wb");
    if (roll->file == NULL) {
        perror(path);
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    }
    fsp_buf_reset(&text);
    fsp_policy_write(&text, fsp_skey_vkey(roll->log), fsp_skey_vkey(roll->office));
    save(folder, "trust.tlog-policy", &text);
    fsp_buf_fini(&text);
    fsp_buf_fini(&note);
}

static void
roll_end(struct roll *roll)
{
    fsp_register_write_end(&roll->body);
    roll_flush(roll, true);
    if (fclose(roll->file) != 0)
        perror("bench: register");
    fsp_buf_fini(&roll->body);
    fsp_skey_free(roll->log);
    fsp_skey_free(roll->office);
}

static void
roll_keys(struct roll *roll, struct fsp_err *err)
{
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);

    memset(roll, 0, sizeof(*roll));
    fsp_range_init(&roll->range);
    fsp_buf_init(&roll->body, 4 * PIECE);
    bench_must(fsp_skey_new(&roll->log, EVIDENCE_ORIGIN, FSP_KEY_NOTE, &env, err), err);
    bench_must(fsp_skey_new(&roll->office, "lantern-basin/office", FSP_KEY_COSIGNER, &env, err),
            err);
}

/* The process time of hashing every entry twice, the least of ROUNDS, s. */
static double
hash_twice(const struct fsp_entry_bytes *entries, size_t n)
{
    double least = 0;

    for (int round = 0; round < ROUNDS; round++) {
        clock_t start = clock();
        uint8_t hash[crypto_hash_sha256_BYTES];
        double spent;

        for (int turn = 0; turn < 2; turn++)
            for (size_t i = 0; i < n; i++)
                (void)crypto_hash_sha256(hash, entries[i].bytes, entries[i].len);
        spent = (double)(clock() - start) / CLOCKS_PER_SEC;
        least = round == 0 || spent < least ? spent : least;
    }
    return least;
}

static void
remove_folder(const char *folder)
{
    char command[192];

    (void)snprintf(command, sizeof(command), "rm -rf '%s'", folder);
    if (system(command) != 0) /* NOLINT: a folder this program made */
        perror("bench: rm");
}

static double
write_whole_log(const char *folder, size_t n, struct fsp_err *err)
{
    struct fsp_entry_bytes *entries = bench_invent(n);
    struct roll roll;

    roll_keys(&roll, err);
    for (size_t i = 0; i < n; i++)
        fsp_range_append(&roll.range, entries[i].bytes, entries[i].len);
    roll_begin(&roll, folder, err);
    for (size_t i = 0; i < n; i++) {
        fsp_register_write_entry(entries[i].bytes, entries[i].len, &roll.body);
        roll_flush(&roll, false);
    }
    roll_end(&roll);
    return hash_twice(entries, n);
}

/* Write the register in a process of its own, so that this one stays small: a child's memory counts
 * what it had before it became the auditor. What hashing twice took there. */
static double
write_apart(const char *folder, size_t n, struct fsp_err *err)
{
    int ends[2] = {-1, -1};
    double spent = 0;
    int status = -1;
    pid_t pid = pipe(ends) == 0 ? fork() : -1;

    if (pid == 0) {
        spent = write_whole_log(folder, n, err);
        _exit(write(ends[1], &spent, sizeof(spent)) == (ssize_t)sizeof(spent) ? 0 : 1);
    }
    if (pid < 0 || read(ends[0], &spent, sizeof(spent)) != (ssize_t)sizeof(spent) ||
            waitpid(pid, &status, 0) != pid || status != 0) {
        (void)fprintf(stderr, "bench: the register was not written\n");
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    }
    (void)close(ends[0]);
    (void)close(ends[1]);
    return spent;
}

static void
bench_whole_log(const char *audit, size_t n, struct fsp_err *err)
{
    struct tempdir dir;
    char path[192];
    long most_kib = 0;
    double theirs;
    double ours;
    double fields;

    tempdir_make(&dir);
    theirs = write_apart(dir.path, n, err);
    (void)snprintf(path, sizeof(path), "%s/all.register", dir.path);
    ours = least_time(audit, path, NULL, &most_kib);
    fields = least_time(audit, path, "--fields", NULL);
    (void)printf("verify_log %.0f entries/s (%zu entries)\n", (double)n / ours, n);
    (void)printf("verify_hash_twice %.0f entries/s\n", (double)n / theirs);
    (void)printf("verify_log_ratio %.2f of-hashing-twice  (at least 0.7)\n", theirs / ours);
    (void)printf("verify_log_memory %.1f MiB  (under 16)\n", (double)most_kib / 1024);
    (void)printf("verify_fields %.0f entries/s on top of that\n",
            (double)n / (fields > ours ? fields - ours : 1e-9));
    remove_folder(dir.path);
}

static void
bench_signatures(const char *audit, struct fsp_err *err)
{
    static struct signedlog log;
    struct tempdir dir;
    struct roll roll;
    char path[192];
    double spent;

    tempdir_make(&dir);
    signedlog_make(&log);
    (void)signedlog_roster(&log, 1, "");
    (void)signedlog_inspect(&log, log.ada, "ada", "2026-03-01T02:00:00Z");
    roll_keys(&roll, err);
    fsp_range_append(&roll.range, log.entry[0].data, log.entry[0].len);
    for (size_t i = 0; i < SIGNED; i++)
        fsp_range_append(&roll.range, log.entry[1].data, log.entry[1].len);
    roll_begin(&roll, dir.path, err);
    signedlog_save_trust(&log, dir.path, true);
    fsp_register_write_entry(log.entry[0].data, log.entry[0].len, &roll.body);
    for (size_t i = 0; i < SIGNED; i++) {
        fsp_register_write_entry(log.entry[1].data, log.entry[1].len, &roll.body);
        roll_flush(&roll, false);
    }
    roll_end(&roll);
    (void)snprintf(path, sizeof(path), "%s/all.register", dir.path);
    spent = least_time(audit, path, "--need-signature", NULL);
    (void)printf("verify_signatures %.0f inspections/s, all signed\n", SIGNED / spent);
    signedlog_free(&log);
    remove_folder(dir.path);
}

static void
bench_one_record(const char *audit, size_t records, struct fsp_err *err)
{
    const struct evidence_plan plan = {
            .size = records, .index = records / 3, .witnesses = 1, .time_s = EVIDENCE_TIME_S};
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    struct evidence evidence;
    struct tempdir dir;
    char record[192];
    long most_kib = 0;

    tempdir_make(&dir);
    evidence_init(&evidence);
    bench_must(evidence_make(&evidence, &plan, &env, err), err);
    save(dir.path, "1.record.json", &evidence.record);
    save(dir.path, "1.tlog-proof", &evidence.proof);
    save(dir.path, "trust.tlog-policy", &evidence.policy);
    (void)snprintf(record, sizeof(record), "%s/1.record.json", dir.path);
    (void)printf("proof_size %zu bytes  (under 1400)\n", evidence.proof.len);
    (void)printf("process_of_nothing %.2f ms\n", process_time("/bin/true", record, &most_kib));
    (void)printf("proof_verify %.2f ms  (under 5)\n", process_time(audit, record, &most_kib));
    (void)printf("proof_verify_memory %.1f MiB  (under 16)\n", (double)most_kib / 1024);
    evidence_fini(&evidence);
    remove_folder(dir.path);
}

int
main(int argc, char **argv)
{
    size_t entries = argc > 2 ? strtoul(argv[2], NULL, 10) : 1000000;
    size_t records = argc > 3 ? strtoul(argv[3], NULL, 10) : 1000000;
    struct fsp_err err;

    if (argc < 2 || entries == 0 || records == 0) {
        (void)fprintf(stderr, "usage: verify_bench AUDIT [ENTRIES [RECORDS]]\n");
        return 64;
    }
    bench_must(fsp_proof_init(&err), &err);
    bench_one_record(argv[1], records, &err);
    bench_whole_log(argv[1], entries, &err);
    bench_signatures(argv[1], &err);
    return 0;
}
