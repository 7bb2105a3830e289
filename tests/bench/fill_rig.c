/*
 * Append N invented records to a rig's store, as day sheets of 2,000 rows: fill_rig STORE N
 * For measurements with a backlog; the store is one of farspool-rig init.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "bench/bench.h"
#include "rig/journal.h"

#define SHEET 2000

static struct fsp_record *
invent(const struct fsp_check_context *context, uint64_t i, struct fsp_err *err)
{
    struct fsp_record *record = NULL;
    char at[FSP_TIME_TEXT_LEN + 1];
    char from[24];
    char to[24];
    char load[24];
    const struct fsp_typed members[] = {{"at", at}, {"by", "driller-a"}, {"op", "drilling"},
            {"from", from}, {"to", to}, {"hookload", load}, {"tour", "day"}};

    fsp_time_text(1000000000 + (int64_t)i * 60, at);
    (void)snprintf(from, sizeof(from), "%dft", (int)(1000 + i % 9000));
    (void)snprintf(to, sizeof(to), "%dft", (int)(1090 + i % 9000));
    (void)snprintf(load, sizeof(load), "%dlb", (int)(150000 + i * 7919 % 100000));
    bench_must(fsp_check_typed("work", members, sizeof(members) / sizeof(members[0]), context,
                       &record, err),
            err);
    return record;
}

int
main(int argc, char *argv[])
{
    static struct fsp_journal_row rows[SHEET];
    struct fsp_journal *journal = NULL;
    struct fsp_check_context context;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    uint64_t n = 0;

    if (argc != 3 || fsp_text_u64(argv[2], strlen(argv[2]), &n) != FSP_OK) {
        (void)fprintf(stderr, "usage: fill_rig STORE N\n");
        return 64;
    }
    bench_must(fsp_proof_init(&err), &err);
    bench_must(fsp_journal_open(argv[1], FSP_JOURNAL_WRITE, fsp_env_system(), &journal, &err),
            &err);
    bench_must(fsp_journal_context(journal, &context, &err), &err);
    for (uint64_t i = 0; i < n; i += SHEET) {
        size_t k = n - i < SHEET ? (size_t)(n - i) : SHEET;

        for (size_t j = 0; j < k; j++)
            rows[j] = (struct fsp_journal_row){.record = invent(&context, i + j, &err)};
        bench_must(fsp_journal_take(journal, rows, k, false, &added, &err), &err);
        for (size_t j = 0; j < k; j++)
            fsp_record_free(rows[j].record);
    }
    fsp_journal_close(journal);
    return 0;
}
