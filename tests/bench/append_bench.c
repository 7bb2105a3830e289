/*
 * Durable appends a second: the rig's journal, one record a transaction, beside bare SQLite
 * inserting the same bytes with the same pragmas, in turns of a hundred. append_bench [ROUNDS]
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench/bench.h"
#include "rig/journal.h"
#include "support/tempdir.h"

#define TURN 100

static void
make_store(struct tempdir *dir, struct fsp_journal **journal, struct fsp_err *err)
{
    const struct fsp_env *env = fsp_env_system();
    struct fsp_invitation invitation = {.fleet = "lantern-basin", .rig = "heron"};
    struct fsp_skey *cosigner = NULL;
    struct fsp_skey *instructions = NULL;
    char folder[128];

    (void)snprintf(folder, sizeof(folder), "%s/rig", dir->path);
    bench_must(fsp_proof_init(err), err);
    bench_must(
            fsp_skey_new(&cosigner, "lantern-basin/office", FSP_KEY_COSIGNER, env, err), err);
    bench_must(
            fsp_skey_new(&instructions, "lantern-basin/instructions", FSP_KEY_NOTE, env, err),
            err);
    invitation.cosigner = *fsp_skey_vkey(cosigner);
    invitation.instructions = *fsp_skey_vkey(instructions);
    invitation.box_pub[0] = 9;
    bench_must(fsp_journal_create(folder, &invitation, env, err), err);
    bench_must(fsp_journal_open(folder, FSP_JOURNAL_WRITE, env, journal, err), err);
    fsp_skey_free(cosigner);
    fsp_skey_free(instructions);
}

/* One turn through the journal, as `enter` does it: check, identity, append, commit. */
static double
turn_journal(struct fsp_journal *journal, size_t from, struct fsp_err *err)
{
    double start = bench_now();

    for (size_t i = from; i < from + TURN; i++) {
        struct fsp_journal_added added;
        struct fsp_check_context context;
        struct fsp_record *record = NULL;
        char text[300];
        int len = snprintf(text, sizeof(text),
                "{\"kind\":\"work\",\"at\":\"2026-01-%02zuT%02zu:%02zu:%02zuZ\",\"by\":"
                "\"driller-a\","
                "\"op\":\"drilling\",\"from\":\"%zuft\",\"to\":\"%zuft\",\"hookload\":"
                "\"231000lb\","
                "\"tour\":\"day\",\"reams\":1}",
                i / 86400 % 28 + 1, i / 3600 % 24, i / 60 % 60, i % 60, 4000 + i % 5000,
                4001 + i % 5000);

        bench_must(fsp_journal_context(journal, &context, err), err);
        bench_must(fsp_check_json(text, (size_t)len, &context, &record, err), err);
        bench_must(fsp_journal_enter(journal, record, NULL, false, &added, err), err);
        fsp_record_free(record);
    }
    return bench_now() - start;
}

int
main(int argc, char **argv)
{
    size_t rounds = argc > 1 ? strtoul(argv[1], NULL, 10) : 5;
    struct fsp_entry_bytes *entries = bench_invent(rounds * TURN);
    struct fsp_journal *journal = NULL;
    struct tempdir dir;
    struct fsp_err err;
    char path[128];
    sqlite3 *bare;
    double ours = 0;
    double theirs = 0;

    tempdir_make(&dir);
    (void)snprintf(path, sizeof(path), "%s/bare.db", dir.path);
    bare = bench_bare(path, "PRAGMA journal_mode=DELETE; PRAGMA synchronous=EXTRA");
    make_store(&dir, &journal, &err);
    for (size_t round = 0; round < rounds; round++) {
        double start = bench_now();

        bench_bare_insert(bare, entries, round * TURN, (round + 1) * TURN, 1);
        theirs += bench_now() - start;
        ours += turn_journal(journal, round * TURN, &err);
    }
    (void)printf("append_bare %.0f rows/s\n", (double)(rounds * TURN) / theirs);
    (void)printf("append_journal %.0f rows/s\n", (double)(rounds * TURN) / ours);
    (void)printf("append_ratio %.2f of-bare  (at least 0.8)\n", theirs / ours);
    fsp_journal_close(journal);
    (void)sqlite3_close(bare);
    bench_free(entries);
    (void)snprintf(path, sizeof(path), "rm -rf '%s'", dir.path);
    return system(path) == 0 ? 0 : 1; /* NOLINT: a folder this program made */
}
