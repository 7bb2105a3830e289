/*
 * What an auditor adds to the tree and the heads: every field of every record checked, beside hashing
 * the same bytes twice with libsodium's SHA-256; and every inspector's signature judged from the
 * records alone, beside bare verification of the same messages. signed_bench [ENTRIES]
 */
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "base/mem.h"
#include "bench/bench.h"
#include "bench/rows.h"
#include "proof/attest.h"
#include "proof/signer.h"
#include "record/check.h"

#define ROUNDS 5
#define RIG    "heron"

struct log {
    struct fsp_skey *office;
    struct rows rows;
    struct fsp_buf *bytes;
    size_t n;
    /* Of each inspection: where it stands, what it signs and with what. */
    size_t *signed_at;
    struct fsp_buf *messages;
    uint8_t (*sigs)[FSP_SIG_LEN];
    size_t n_signed;
};

static void
must_have(const void *memory)
{
    if (memory == NULL)
        bench_must(FSP_ENOMEM, &(struct fsp_err){.text = "out of memory"});
}

static void
note_signature(struct log *log, size_t i, struct fsp_err *err)
{
    struct fsp_record *record = NULL;
    const char *sig;

    bench_must(fsp_record_parse(log->bytes[i].data, log->bytes[i].len, &record, err), err);
    sig = fsp_record_text(record, "sig");
    if (sig != NULL && !fsp_record_has(record, "bytes")) {
        size_t k = log->n_signed++;

        log->signed_at[k] = i;
        fsp_buf_init(&log->messages[k], FSP_ENTRY_MAX);
        bench_must(fsp_inspection_message(
                           log->bytes[i].data, log->bytes[i].len, &log->messages[k], err),
                err);
        bench_must(fsp_unbase64_exact(sig, strlen(sig), log->sigs[k], FSP_SIG_LEN), err);
    }
    fsp_record_free(record);
}

static void
make_log(struct log *log, size_t n, struct fsp_err *err)
{
    bench_must(fsp_skey_new(&log->office, ROWS_FLEET "/instructions", FSP_KEY_NOTE,
                       fsp_env_system(), err),
            err);
    rows_init(&log->rows, RIG, log->office);
    log->n = n;
    log->n_signed = 0;
    log->bytes = fsp_mem_array(n, sizeof(*log->bytes));
    log->signed_at = fsp_mem_array(n, sizeof(*log->signed_at));
    log->messages = fsp_mem_array(n, sizeof(*log->messages));
    log->sigs = fsp_mem_array(n, sizeof(*log->sigs));
    must_have(log->bytes);
    must_have(log->signed_at);
    must_have(log->messages);
    must_have(log->sigs);
    for (size_t i = 0; i < n; i++) {
        fsp_buf_init(&log->bytes[i], FSP_ENTRY_MAX);
        rows_make(&log->rows, i, &log->bytes[i]);
        note_signature(log, i, err);
    }
}

static void
free_log(struct log *log)
{
    for (size_t i = 0; i < log->n; i++)
        fsp_buf_fini(&log->bytes[i]);
    for (size_t k = 0; k < log->n_signed; k++)
        fsp_buf_fini(&log->messages[k]);
    free(log->bytes);
    free(log->signed_at);
    free(log->messages);
    free(log->sigs);
    rows_fini(&log->rows);
    fsp_skey_free(log->office);
}

static double
check_fields(const struct log *log, struct fsp_err *err)
{
    double start = bench_now();

    for (size_t i = 0; i < log->n; i++) {
        struct fsp_record *record = NULL;

        bench_must(fsp_check_stored(log->bytes[i].data, log->bytes[i].len, &record, err), err);
        fsp_record_free(record);
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
            (void)crypto_hash_sha256(hash, log->bytes[i].data, log->bytes[i].len);
    return bench_now() - start;
}

static void
visit(const struct log *log, struct fsp_attest *attest, size_t i, bool judge)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_record *record = NULL;
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_attest_entry entry = {
            .bytes = log->bytes[i].data, .len = log->bytes[i].len, .leaf = leaf};

    bench_must(fsp_record_parse(entry.bytes, entry.len, &record, &err), &err);
    fsp_leaf_hash(entry.bytes, entry.len, leaf);
    entry.record = record;
    if (!judge)
        bench_must(fsp_attest_note(attest, &entry, &err), &err);
    else if (fsp_attest_state(attest, &entry) != FSP_SIG_GOOD)
        bench_must(fsp_err_set(&err, FSP_EVERIFY, "entry %zu is not signed", i), &err);
    fsp_record_free(record);
}

/* The roster found in the log is not what is measured: that is read once. */
static double
judge_signatures(const struct log *log, struct fsp_err *err)
{
    const struct fsp_attest_about about = {
            .fleet = ROWS_FLEET, .rig = RIG, .keys = fsp_skey_vkey(log->office), .n_keys = 1};
    struct fsp_attest *attest = NULL;
    double start;

    bench_must(fsp_attest_new(&attest, &about, err), err);
    for (size_t i = 0; i < log->n; i++)
        visit(log, attest, i, false);
    start = bench_now();
    for (size_t k = 0; k < log->n_signed; k++)
        visit(log, attest, log->signed_at[k], true);
    start = bench_now() - start;
    fsp_attest_free(attest);
    return start;
}

static double
verify_bare(const struct log *log, struct fsp_err *err)
{
    const struct fsp_vkey *vkey = fsp_skey_vkey(log->rows.inspector);
    double start = bench_now();

    for (size_t k = 0; k < log->n_signed; k++)
        if (crypto_sign_verify_detached(
                    log->sigs[k], log->messages[k].data, log->messages[k].len, vkey->pub) != 0)
            bench_must(fsp_err_set(err, FSP_EVERIFY, "a signature"), err);
    return bench_now() - start;
}

int
main(int argc, char **argv)
{
    size_t n = argc > 1 ? strtoul(argv[1], NULL, 10) : 50000;
    double fields = 0;
    double twice = 0;
    double judged = 0;
    double bare = 0;
    struct fsp_err err = {.rc = FSP_OK};
    struct log log;

    if (n < 100) {
        (void)fprintf(stderr, "usage: signed_bench [ENTRIES], 100 or more\n");
        return 64;
    }
    bench_must(fsp_proof_init(&err), &err);
    make_log(&log, n, &err);
    for (int round = 0; round < ROUNDS; round++) {
        twice += hash_twice(&log);
        fields += check_fields(&log, &err);
        bare += verify_bare(&log, &err);
        judged += judge_signatures(&log, &err);
    }
    (void)printf("field_checks %.0f entries/s\n", (double)(n * ROUNDS) / fields);
    (void)printf("field_checks_ratio %.3f of-hashing-twice\n", twice / fields);
    (void)printf("inspection_signatures %.0f signatures/s  (of %zu in %zu entries)\n",
            (double)(log.n_signed * ROUNDS) / judged, log.n_signed, n);
    (void)printf("inspection_signatures_ratio %.2f of-bare-ed25519\n", bare / judged);
    free_log(&log);
    return 0;
}
