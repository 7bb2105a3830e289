/*
 * Verification of a whole log (every entry into the tree, every head's signature and root) beside
 * hashing the same bytes twice with libsodium's SHA-256; and the proof of one record out of a
 * million: its size, and what farspool-audit spends on it. verify_bench AUDIT [ENTRIES [RECORDS]]
 */
#include <fcntl.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/mem.h"
#include "bench/bench.h"
#include "proof/note.h"
#include "proof/tree.h"
#include "support/evidence.h"
#include "support/tempdir.h"

#define HEAD_EVERY 500
#define ROUNDS     5
#define SPAWNS     20

/* A log in memory: entries and its signed heads, one behind every HEAD_EVERY entries. */
struct log {
    struct fsp_entry_bytes *entries;
    size_t n;
    struct fsp_buf *heads;
    size_t n_heads;
    struct fsp_skey *key;
};

static void
make_log(struct log *log, size_t n, struct fsp_err *err)
{
    struct counting counting = {0};
    struct fsp_env env = evidence_counting_env(&counting);
    struct fsp_checkpoint head = {.origin = EVIDENCE_ORIGIN};
    struct fsp_range range;
    struct fsp_buf text;

    log->entries = bench_invent(n);
    log->n = n;
    log->n_heads = 0;
    log->heads = fsp_mem_array(n / HEAD_EVERY + 1, sizeof(*log->heads));
    if (log->heads == NULL)
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    bench_must(fsp_skey_new(&log->key, EVIDENCE_ORIGIN, FSP_KEY_NOTE, &env, err), err);
    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_range_init(&range);
    for (size_t i = 0; i < n; i++) {
        fsp_range_append(&range, log->entries[i].bytes, log->entries[i].len);
        if (range.size % HEAD_EVERY != 0)
            continue;
        head.size = range.size;
        fsp_range_root(&range, head.root);
        fsp_buf_reset(&text);
        fsp_checkpoint_write(&head, &text);
        fsp_buf_init(&log->heads[log->n_heads], FSP_NOTE_MAX);
        bench_must(fsp_note_sign(&log->heads[log->n_heads], text.data, text.len, log->key, err),
                err);
        log->n_heads++;
    }
    fsp_buf_fini(&text);
}

/* One head: its form, its signature, its size and root. */
static void
verify_head(const struct log *log, const struct fsp_buf *bytes, const struct fsp_range *range,
        struct fsp_err *err)
{
    static struct fsp_note note;
    struct fsp_checkpoint head;
    uint8_t root[FSP_HASH_LEN];

    bench_must(fsp_note_parse(&note, bytes->data, bytes->len, err), err);
    bench_must(fsp_note_verify(&note, fsp_skey_vkey(log->key), NULL, err), err);
    bench_must(fsp_checkpoint_parse(&head, note.text, note.text_len, err), err);
    fsp_range_root(range, root);
    if (head.size != range->size || memcmp(head.root, root, sizeof(root)) != 0)
        bench_must(fsp_err_set(err, FSP_EVERIFY, "a head differs"), err);
}

static double
verify_log(const struct log *log, struct fsp_err *err)
{
    double start = bench_now();
    struct fsp_range range;

    fsp_range_init(&range);
    for (size_t i = 0; i < log->n; i++) {
        fsp_range_append(&range, log->entries[i].bytes, log->entries[i].len);
        if (range.size % HEAD_EVERY == 0)
            verify_head(log, &log->heads[range.size / HEAD_EVERY - 1], &range, err);
    }
    return bench_now() - start;
}

static double
hash_twice(const struct log *log)
{
    double start = bench_now();
    uint8_t hash[crypto_hash_sha256_BYTES];

    for (int turn = 0; turn < 2; turn++)
        for (size_t i = 0; i < log->n; i++)
            (void)crypto_hash_sha256(hash, log->entries[i].bytes, log->entries[i].len);
    return bench_now() - start;
}

static void
bench_whole_log(size_t n, struct fsp_err *err)
{
    struct log log;
    double ours = 0;
    double theirs = 0;

    make_log(&log, n, err);
    for (int round = 0; round < ROUNDS; round++) {
        theirs += hash_twice(&log);
        ours += verify_log(&log, err);
    }
    (void)printf("verify_log %.0f entries/s\n", (double)(n * ROUNDS) / ours);
    (void)printf("verify_hash_twice %.0f entries/s\n", (double)(n * ROUNDS) / theirs);
    (void)printf("verify_log_ratio %.2f of-hashing-twice  (at least 0.7)\n", theirs / ours);
    for (size_t i = 0; i < log.n_heads; i++)
        fsp_buf_fini(&log.heads[i]);
    free(log.heads);
    fsp_skey_free(log.key);
}

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

/* Run a program with `verify record`, output thrown away; what it used. */
static void
run_program(const char *program, const char *record, struct rusage *used)
{
    int status = -1;
    pid_t pid = fork();

    if (pid == 0) {
        int null = open("/dev/null", O_WRONLY | O_CLOEXEC);

        if (null >= 0 && dup2(null, STDOUT_FILENO) >= 0)
            (void)execl(program, program, "verify", record, (char *)NULL);
        _exit(127);
    }
    if (pid < 0 || wait4(pid, &status, 0, used) != pid || status != 0) {
        (void)fprintf(stderr, "bench: %s verify %s: status %d\n", program, record, status);
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

        run_program(program, record, &used);
        spent[i] = milliseconds(&used.ru_utime) + milliseconds(&used.ru_stime);
        *most_kib = used.ru_maxrss > *most_kib ? used.ru_maxrss : *most_kib;
    }
    qsort(spent, SPAWNS, sizeof(spent[0]), by_size);
    return (spent[SPAWNS / 2 - 1] + spent[SPAWNS / 2]) / 2;
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
    (void)snprintf(record, sizeof(record), "rm -rf '%s'", dir.path);
    if (system(record) != 0) /* NOLINT: a folder this program made */
        perror("bench: rm");
}

int
main(int argc, char **argv)
{
    size_t entries = argc > 2 ? strtoul(argv[2], NULL, 10) : 100000;
    size_t records = argc > 3 ? strtoul(argv[3], NULL, 10) : 1000000;
    struct fsp_err err;

    if (argc < 2 || entries == 0 || records == 0) {
        (void)fprintf(stderr, "usage: verify_bench AUDIT [ENTRIES [RECORDS]]\n");
        return 64;
    }
    bench_must(fsp_proof_init(&err), &err);
    /* First: what fork() of a grown process costs is not the auditor's. */
    bench_one_record(argv[1], records, &err);
    bench_whole_log(entries, &err);
    return 0;
}
