/*
 * `farspool-rig line` on the log of ten years: account_bench PROGRAM [RECORDS]; 73,000 by default.
 *
 * Process time of the command from stored states, beside that of the same program when it only prints
 * its version: what starting it costs. In-process: a fold of every entry, and one from the states.
 */
#include <fcntl.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/file.h"
#include "bench/bench.h"
#include "bench/rows.h"
#include "rig/account.h"
#include "store/logtable.h"
#include "support/tempdir.h"

#define SPAWNS 15

extern char **environ;

static void
make_store(
        const char *folder, const struct rows *rows, const struct fsp_skey *cosigner, size_t n)
{
    struct fsp_invitation invitation = {.url = ""};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_journal *journal = NULL;
    struct fsp_range range;
    struct fsp_buf entry;
    struct fsp_db *db;

    (void)snprintf(invitation.fleet, sizeof(invitation.fleet), "%s", ROWS_FLEET);
    (void)snprintf(invitation.rig, sizeof(invitation.rig), "%s", rows->rig);
    invitation.cosigner = *fsp_skey_vkey(cosigner);
    invitation.instructions = *fsp_skey_vkey(rows->office);
    bench_must(fsp_journal_create(folder, &invitation, fsp_env_system(), &err), &err);
    bench_must(fsp_journal_open(folder, FSP_JOURNAL_WRITE, fsp_env_system(), &journal, &err),
            &err);
    db = fsp_journal_db(journal);
    fsp_buf_init(&entry, FSP_ENTRY_MAX);
    bench_must(fsp_db_begin(db, &err), &err);
    bench_must(fsp_logtable_tip(db, FSP_RIG_LOG, &range, &err), &err);
    for (size_t i = 0; i < n; i++) {
        rows_make(rows, i, &entry);
        bench_must(fsp_logtable_append(db, FSP_RIG_LOG, &range, entry.data, entry.len, &err),
                &err);
    }
    bench_must(fsp_logtable_set_tip(db, FSP_RIG_LOG, &range, &err), &err);
    bench_must(fsp_db_commit(db, &err), &err);
    fsp_buf_fini(&entry);
    fsp_journal_close(journal);
}

/* Milliseconds of one account, and the entries it read. */
static double
account(const char *folder, size_t *read)
{
    struct fsp_journal *journal = NULL;
    struct fsp_account *account = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    double start = bench_now();

    bench_must(
            fsp_journal_open(folder, FSP_JOURNAL_READ, fsp_env_system(), &journal, &err), &err);
    bench_must(fsp_account_new(journal, ROWS_BEGIN_S, &account, &err), &err);
    *read = fsp_fold_read(fsp_account_fold(account));
    if (fsp_fold_roster(fsp_account_fold(account)) != 1 ||
            fsp_fold_unreadable(fsp_account_fold(account)) != 0)
        bench_must(FSP_EFORMAT, &(struct fsp_err){.text = "the invented log does not hold"});
    fsp_account_free(account);
    fsp_journal_close(journal);
    return 1e3 * (bench_now() - start);
}

static int
by_size(const void *left, const void *right)
{
    const double *a = left;
    const double *b = right;

    return (*a > *b) - (*a < *b);
}

/* Median of user and system time, ms. */
static double
process_time(char *const *words)
{
    posix_spawn_file_actions_t quiet;
    double spent[SPAWNS];

    (void)posix_spawn_file_actions_init(&quiet);
    (void)posix_spawn_file_actions_addopen(&quiet, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
    for (int i = 0; i < SPAWNS; i++) {
        struct rusage used;
        int status = 0;
        pid_t pid = 0;

        /* Not fork(): what that costs a grown process is not the rig's. */
        if (posix_spawn(&pid, words[0], &quiet, NULL, words, environ) != 0 ||
                wait4(pid, &status, 0, &used) != pid || status != 0) {
            (void)fprintf(stderr, "bench: %s %s: failed\n", words[0], words[1]);
            exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
        }
        spent[i] = 1e3 * (double)(used.ru_utime.tv_sec + used.ru_stime.tv_sec) +
                   1e-3 * (double)(used.ru_utime.tv_usec + used.ru_stime.tv_usec);
    }
    (void)posix_spawn_file_actions_destroy(&quiet);
    qsort(spent, SPAWNS, sizeof(spent[0]), by_size);
    return spent[SPAWNS / 2];
}

int
main(int argc, char **argv)
{
    size_t n = argc > 2 ? strtoul(argv[2], NULL, 10) : 73000;
    struct fsp_skey *office = NULL;
    struct fsp_skey *cosigner = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    struct rows rows = {.rig = "heron"};
    struct tempdir dir;
    char folder[160];
    char version[] = "--version";
    char line[] = "line";
    char store[] = "--store";
    char command[200];
    size_t read = 0;
    double whole;

    if (argc < 2 || n < 100) {
        (void)fprintf(stderr, "usage: account_bench FARSPOOL-RIG [RECORDS]\n");
        return 64;
    }
    tempdir_make(&dir);
    (void)snprintf(folder, sizeof(folder), "%s/rig", dir.path);
    bench_must(fsp_proof_init(&err), &err);
    bench_must(fsp_skey_new(&office, ROWS_FLEET "/instructions", FSP_KEY_NOTE, fsp_env_system(),
                       &err),
            &err);
    bench_must(fsp_skey_new(&cosigner, ROWS_FLEET "/office", FSP_KEY_COSIGNER, fsp_env_system(),
                       &err),
            &err);
    rows_init(&rows, "heron", office);
    make_store(folder, &rows, cosigner, n);
    whole = account(folder, &read);
    (void)printf(
            "account_whole %.0f ms  (%zu entries read, every signature judged)\n", whole, read);
    (void)printf("account_from_state %.2f ms", account(folder, &read));
    (void)printf("  (%zu entries read)\n", read);
    (void)printf("process_of_version %.1f ms  (what starting the program costs)\n",
            process_time((char *[]){argv[1], version, NULL}));
    (void)printf("process_of_line %.1f ms  (goal: under 20)\n",
            process_time((char *[]){argv[1], line, store, folder, NULL}));
    rows_fini(&rows);
    fsp_skey_free(office);
    fsp_skey_free(cosigner);
    (void)snprintf(command, sizeof(command), "rm -rf '%s'", dir.path);
    if (system(command) != 0) /* NOLINT: a folder this program made */
        perror("bench: rm");
    return 0;
}
