/*
 * The ledger's fold, parsing apart: ledger_bench [RECORDS]; 73,000 records are ten years of a rig.
 *
 * Beside it, in the same run, the bare hashing of the same rows' bytes.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "bench/bench.h"
#include "line/ledger.h"
#include "line/state.h"
#include "proof/tree.h"
#include "record/record.h"

#define PER_DAY    20
#define BEGIN_S    INT64_C(1767225600) /* 2026-01-01T00:00:00Z */
#define RUNS       5
#define STATES_MAX 4096

struct log {
    struct fsp_ledger_entry *entries;
    struct fsp_record **records;
    char (*lines)[512];
    size_t n, cap;
    struct fsp_buf states[STATES_MAX]; /* at the cuts, the last at the end */
    size_t n_states;
    size_t bytes;
};

/* ---- an invented log ---- */

static void
put(struct log *log, int64_t at_s, const char *members)
{
    struct fsp_ledger_entry *entry = &log->entries[log->n];
    char at[FSP_TIME_TEXT_LEN + 1];
    struct fsp_err err = {.rc = FSP_OK};
    char *line = log->lines[log->n];
    int len;

    fsp_time_text(at_s, at);
    len = snprintf(line, sizeof(log->lines[0]),
            "{\"at\":\"%s\",\"by\":\"clerk\",%s,\"noted\":\"%s\",\"v\":1}", at, members, at);
    bench_must(
            fsp_record_parse((const uint8_t *)line, (size_t)len, &log->records[log->n], &err),
            &err);
    entry->record = log->records[log->n];
    entry->index = log->n;
    fsp_leaf_hash((const uint8_t *)line, (size_t)len, entry->leaf);
    log->bytes += (size_t)len;
    log->n++;
}

/* One of a day's rows: a string goes in, drills, comes out; tours, slips, cuts, inspections. */
static void
row(struct log *log, size_t i, int64_t at_s)
{
    static const char *const day[] = {
            "\"kind\":\"work\",\"op\":\"run-in\",\"from\":\"0 ft\",\"to\":\"9000 ft\"",
            "\"kind\":\"work\",\"op\":\"drilling\",\"from\":\"9000 ft\",\"to\":\"9090 ft\"",
            "\"kind\":\"work\",\"op\":\"drilling\",\"from\":\"9090 ft\",\"to\":\"9180 ft\"",
            "\"kind\":\"work\",\"op\":\"reaming\",\"from\":\"9090 ft\",\"to\":\"9180 ft\"",
            "\"kind\":\"work\",\"op\":\"short-trip\",\"from\":\"9000 ft\",\"to\":\"9180 ft\"",
            "\"kind\":\"tour\",\"tour\":\"day\",\"complete\":\"yes\",\"bit-depth\":\"9180 ft\"",
            "\"kind\":\"work\",\"op\":\"pull-out\",\"from\":\"9180 ft\",\"to\":\"0 ft\"",
            "\"kind\":\"check\",\"item\":\"crown-saver\",\"result\":\"good\"",
            "\"kind\":\"tour\",\"tour\":\"night\",\"complete\":\"yes\",\"bit-depth\":\"0 ft\"",
    };
    size_t hour = i % PER_DAY, days = i / PER_DAY;
    const char *members = day[hour % (sizeof(day) / sizeof(day[0]))];

    if (hour == 19 && days % 30 == 29)
        members = "\"kind\":\"inspection\",\"fleet\":\"lantern-basin\",\"rig\":\"heron\","
                  "\"reel\":"
                  "\"R-1\",\"inspector\":\"An Inspector\",\"scope\":\"monthly\",\"decision\":"
                  "\"run\"";
    else if (hour == 19 && days % 7 == 6)
        members = "\"kind\":\"cut\",\"length\":\"90 ft\",\"slipped\":\"30 "
                  "ft\",\"reason\":\"goal\"";
    else if (hour == 19 && days % 3 == 2)
        members = "\"kind\":\"slip\",\"length\":\"30 ft\"";
    put(log, at_s, members);
}

static struct log *
make_log(size_t n)
{
    struct log *log = fsp_mem_array(1, sizeof(*log));
    size_t i;

    if (log == NULL)
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    log->cap = n + 8;
    log->entries = fsp_mem_array(log->cap, sizeof(*log->entries));
    log->records = fsp_mem_array(log->cap, sizeof(struct fsp_record *));
    log->lines = fsp_mem_array(log->cap, sizeof(log->lines[0]));
    if (log->entries == NULL || log->records == NULL || log->lines == NULL)
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    put(log, BEGIN_S,
            "\"kind\":\"rig\",\"mast\":\"142 ft\",\"drum\":\"30 in\",\"block\":\"47000 lb\","
            "\"bearing\":\"roller\",\"drive\":\"top-drive\"");
    put(log, BEGIN_S + 60,
            "\"kind\":\"reel\",\"reel\":\"R-1\",\"rope\":\"1-3/8 in\",\"grade\":\"EIPS\","
            "\"received\":\"90000 ft\",\"strung\":\"1400 ft\",\"lines\":10");
    put(log, BEGIN_S + 120,
            "\"kind\":\"drill-string\",\"pipe\":\"19.5 lb/ft\",\"stand\":\"93 "
            "ft\",\"bha-weight\":"
            "\"60000 lb\",\"bha-length\":\"600 ft\",\"mud\":\"10 ppg\"");
    put(log, BEGIN_S + 180,
            "\"kind\":\"program\",\"cut\":\"90 ft\",\"first-goal\":\"1500 ton-miles\","
            "\"later-goal\":\"1300 ton-miles\",\"slips\":3");
    for (i = 0; log->n < n; i++)
        row(log, i, BEGIN_S + 86400 + (int64_t)i * 86400 / PER_DAY);
    return log;
}

/* ---- the measurements ---- */

static enum fsp_rc
keep(void *ctx, const struct fsp_ledger *ledger, struct fsp_err *err)
{
    struct log *log = ctx;

    if (log->n_states == STATES_MAX)
        return FSP_OK;
    fsp_buf_init(&log->states[log->n_states], FSP_STATE_MAX);
    return fsp_ledger_save(ledger, &log->states[log->n_states++], err);
}

static struct fsp_ledger *
new_ledger(void)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_ledger *ledger = NULL;

    bench_must(fsp_ledger_new(&ledger, &err), &err);
    return ledger;
}

static void
add(struct fsp_ledger *ledger, const struct log *log, size_t from, size_t to)
{
    struct fsp_err err = {.rc = FSP_OK};
    size_t i;

    for (i = from; i < to; i++)
        bench_must(fsp_ledger_add(ledger, &log->entries[i], &err), &err);
}

static double
fold(struct fsp_ledger *ledger)
{
    struct fsp_err err = {.rc = FSP_OK};
    double start = bench_now();

    bench_must(fsp_ledger_fold(ledger, BEGIN_S, &err), &err);
    return bench_now() - start;
}

static void
measure_full(struct log *log)
{
    struct fsp_ledger *ledger = new_ledger();
    double best = 1e9, typing = bench_now();
    int run;

    add(ledger, log, 0, log->n);
    typing = bench_now() - typing;
    for (run = 0; run < RUNS; run++) {
        double took = fold(ledger);

        best = took < best ? took : best;
    }
    (void)printf(
            "ledger_fold %.0f records/s  (%zu typed records in %.1f ms; at least 1000000)\n",
            (double)log->n / best, log->n, best * 1e3);
    (void)printf("ledger_type %.0f records/s  (from parsed records to typed ones)\n",
            (double)log->n / typing);
    fsp_ledger_on_cut(ledger, keep, log);
    (void)fold(ledger);
    bench_must(keep(log, ledger, NULL), &(struct fsp_err){.rc = FSP_OK});
    (void)printf("ledger_state %.1f kB  (the last of %zu)\n",
            (double)log->states[log->n_states - 1].len / 1e3, log->n_states);
    fsp_ledger_free(ledger);
}

static void
restore(struct fsp_ledger *ledger, const struct fsp_buf *state)
{
    struct fsp_err err = {.rc = FSP_OK};

    bench_must(fsp_ledger_restore(ledger, state->data, state->len, &err), &err);
}

static void
measure_one_more(struct log *log)
{
    double best = 1e9;
    int run;

    put(log, BEGIN_S + 86400 + (int64_t)log->n * 86400 / PER_DAY,
            "\"kind\":\"work\",\"op\":\"run-in\",\"from\":\"0 ft\",\"to\":\"9000 ft\"");
    for (run = 0; run < RUNS; run++) {
        double start = bench_now();
        struct fsp_ledger *ledger = new_ledger();

        restore(ledger, &log->states[log->n_states - 1]);
        add(ledger, log, log->n - 1, log->n);
        (void)fold(ledger);
        best = bench_now() - start < best ? bench_now() - start : best;
        fsp_ledger_free(ledger);
    }
    (void)printf(
            "ledger_one_more %.3f ms  (from the state at the end; at most 1)\n", best * 1e3);
}

/* An amendment of an entry a year back: from the last state before it, all that came since. */
static void
measure_amendment(struct log *log)
{
    size_t year = (size_t)365 * PER_DAY, target = log->n > year ? log->n - year : log->n / 2;
    struct fsp_state_about about = {.from_s = 0};
    struct fsp_err err = {.rc = FSP_OK};
    double best = 1e9, best_fold = 1e9;
    size_t which = log->n_states, from = 0;
    int64_t at_s = 0;
    char members[400], leaf[65];
    int run;
    size_t i;

    (void)fsp_record_time(log->records[target], "at", &at_s);
    while (which-- > 0) {
        bench_must(fsp_ledger_state_about(
                           log->states[which].data, log->states[which].len, &about, &err),
                &err);
        if (about.from_s <= at_s)
            break;
    }
    for (i = 0; i < 32; i++)
        (void)snprintf(leaf + 2 * i, 3, "%02x", log->entries[target].leaf[i]);
    (void)snprintf(members, sizeof(members),
            "\"kind\":\"amend\",\"reason\":\"mistyped\",\"entry\":{\"index\":%zu,\"leaf\":\"%"
            "s\","
            "\"log\":\"k3\"},\"set\":{\"note\":\"mended\"}",
            target, leaf);
    put(log, BEGIN_S + 86400 + (int64_t)log->n * 86400 / PER_DAY, members);
    while (which < log->n_states && from < log->n &&
            fsp_record_time(log->records[from], "at", &at_s) && at_s < about.from_s)
        from++;
    for (run = 0; run < RUNS; run++) {
        double start = bench_now(), folding;
        struct fsp_ledger *ledger = new_ledger();

        if (which < log->n_states)
            restore(ledger, &log->states[which]);
        add(ledger, log, from, log->n);
        folding = fold(ledger);
        best_fold = folding < best_fold ? folding : best_fold;
        best = bench_now() - start < best ? bench_now() - start : best;
        if (fsp_ledger_peek(ledger)->amended != 1)
            bench_must(FSP_EFORMAT, &(struct fsp_err){.text = "the amendment was not applied"});
        fsp_ledger_free(ledger);
    }
    (void)printf("ledger_amendment %.2f ms  (%zu records since the state, typing included; the "
                 "fold alone %.2f; at most 20)\n",
            best * 1e3, log->n - from, best_fold * 1e3);
}

static void
measure_hashing(const struct log *log)
{
    uint8_t leaf[FSP_HASH_LEN];
    double start = bench_now(), took;
    size_t i;

    for (i = 0; i < log->n; i++)
        fsp_leaf_hash((const uint8_t *)log->lines[i], strlen(log->lines[i]), leaf);
    took = bench_now() - start;
    (void)printf(
            "ledger_beside_sha256 %.0f records/s  (hashing the same rows, %zu bytes each)\n",
            (double)log->n / took, log->n > 0 ? log->bytes / log->n : 0);
}

int
main(int argc, char **argv)
{
    size_t n = argc > 1 ? (size_t)strtoul(argv[1], NULL, 10) : 73000;
    struct log *log;
    size_t i;

    if (n < 100 || n > 10000000) {
        (void)fprintf(stderr, "usage: ledger_bench [RECORDS]  (100 to 10,000,000)\n");
        return 64;
    }
    log = make_log(n);
    measure_full(log);
    measure_one_more(log);
    measure_amendment(log);
    measure_hashing(log);
    for (i = 0; i < log->n; i++)
        fsp_record_free(log->records[i]);
    for (i = 0; i < log->n_states; i++)
        fsp_buf_fini(&log->states[i]);
    free(log->entries);
    free(log->records);
    free(log->lines);
    free(log);
    return 0;
}
