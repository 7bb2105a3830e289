/*
 * Fill an office's store (made by farspool-office init) with rigs whose records come from files:
 *   office_fill STORE RIGS FILE...
 * FILE holds stored entries, one a line, as tests/sim/season.py --rigs 1 --stored prints them. Rig i
 * gets those of file i modulo their number, under its own name; its head is signed and cosigned.
 * Then every account is folded once and kept, as an office that grew with it would have it. A
 * store that holds rigs already goes on where it ended.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/file.h"
#include "base/mem.h"
#include "bench/bench.h"
#include "office/fleet.h"
#include "office/keys.h"
#include "office/shelf.h"
#include "proof/note.h"

#define BATCH     ((size_t)4000)
#define RIG_FIELD "\"rig\":\"1\""

struct filling {
    struct fsp_shelf *shelf;
    struct fsp_office_keys keys;
    char fleet[FSP_NAME_MAX + 1];
};

static const uint8_t *
find_field(const struct fsp_entry_bytes *entry)
{
    const size_t field = sizeof(RIG_FIELD) - 1;
    const uint8_t *end = entry->bytes + entry->len;

    for (const uint8_t *at = entry->bytes; (size_t)(end - at) >= field; at++)
        if (*at == '"' && memcmp(at, RIG_FIELD, field) == 0)
            return at;
    return NULL;
}

/* The entry under the rig's own name, into `out`. */
static void
rename_entry(const struct fsp_entry_bytes *entry, const char *rig, struct fsp_buf *out)
{
    const size_t field = sizeof(RIG_FIELD) - 1;
    const uint8_t *at = entry->bytes;
    const uint8_t *found = find_field(entry);

    if (found == NULL) {
        fsp_buf_add(out, entry->bytes, entry->len);
        return;
    }
    fsp_buf_add(out, at, (size_t)(found - at));
    fsp_buf_printf(out, "\"rig\":\"%s\"", rig);
    found += field;
    fsp_buf_add(out, found, entry->len - (size_t)(found - at));
}

static void
append(struct filling *it, const struct fsp_shelf_log *log, struct fsp_range *range,
        const struct fsp_entry_bytes *entries, size_t n)
{
    struct fsp_entry_bytes *named = fsp_mem_array(BATCH, sizeof(*named));
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf bytes;

    fsp_buf_init(&bytes, BATCH * FSP_ENTRY_MAX);
    if (named == NULL || fsp_buf_room(&bytes, BATCH * 2048) == NULL)
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    for (size_t from = 0; from < n; from += BATCH) {
        size_t k = n - from < BATCH ? n - from : BATCH;
        size_t at = 0;

        fsp_buf_reset(&bytes);
        for (size_t i = 0; i < k; i++) {
            rename_entry(&entries[from + i], log->rig, &bytes);
            named[i].len = bytes.len - at;
            at = bytes.len;
        }
        bench_must(fsp_buf_check(&bytes, "entries", &err), &err);
        at = 0;
        for (size_t i = 0; i < k; i++) {
            named[i].bytes = bytes.data + at;
            at += named[i].len;
        }
        bench_must(
                it->shelf->ops->append(it->shelf->ctx, log->id, range, named, k, &err), &err);
    }
    fsp_buf_fini(&bytes);
    free(named);
}

/* The rig's head over all of it, cosigned. */
static void
add_head(struct filling *it, const struct fsp_shelf_log *log, const struct fsp_range *range,
        const struct fsp_skey *key, int64_t now_s)
{
    uint8_t cosignature[8 + FSP_SIG_LEN];
    struct fsp_checkpoint head = {.size = range->size};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf text;
    struct fsp_buf note;

    (void)snprintf(head.origin, sizeof(head.origin), "%s", log->origin);
    fsp_range_root(range, head.root);
    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    fsp_checkpoint_write(&head, &text);
    bench_must(fsp_note_sign(&note, text.data, text.len, key, &err), &err);
    bench_must(fsp_cosign(&head, it->keys.cosigner, (uint64_t)now_s, cosignature, &err), &err);
    fsp_note_add_line(
            &note, fsp_skey_vkey(it->keys.cosigner), cosignature, sizeof(cosignature));
    bench_must(
            it->shelf->ops->add_head(it->shelf->ctx, log->id, range, &note, now_s, &err), &err);
    fsp_buf_fini(&note);
    fsp_buf_fini(&text);
}

static void
fill(struct filling *it, const char *rig, const struct fsp_entry_bytes *entries, size_t n,
        int64_t now_s)
{
    struct fsp_shelf_log log = {.enrolled_s = now_s};
    const struct fsp_shelf_ops *ops = it->shelf->ops;
    void *ctx = it->shelf->ctx;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_skey *key = NULL;
    struct fsp_range range;

    (void)snprintf(log.rig, sizeof(log.rig), "%s", rig);
    (void)snprintf(log.origin, sizeof(log.origin), "%s/%s/0011223344556677", it->fleet, rig);
    bench_must(fsp_skey_new(&key, log.origin, FSP_KEY_NOTE, fsp_env_system(), &err), &err);
    memcpy(log.pub, fsp_skey_vkey(key)->pub, sizeof(log.pub));
    fsp_leaf_hash(log.pub, sizeof(log.pub), log.mark);
    bench_must(ops->begin(ctx, true, &err), &err);
    bench_must(ops->invite(ctx, rig, log.mark, now_s, &err), &err);
    bench_must(ops->enrol(ctx, &log, &err), &err);
    bench_must(ops->tip(ctx, log.id, &range, &err), &err);
    append(it, &log, &range, entries, n);
    add_head(it, &log, &range, key, now_s);
    bench_must(ops->commit(ctx, &err), &err);
    bench_must(ops->tidy(ctx, false, &err), &err);
    fsp_skey_free(key);
}

/* Fold the account and keep what is worth it. */
static void
fold(struct filling *it, size_t number, int64_t now_s)
{
    char rig[FSP_NAME_MAX + 1];
    const struct fsp_fleet_about about = {.as_of_s = now_s,
            .keys = it->keys.instructions_ever,
            .n_keys = it->keys.n_instructions_ever};
    struct fsp_fleet_account *account = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    (void)snprintf(rig, sizeof(rig), "rig-%04zu", number);
    bench_must(it->shelf->ops->begin(it->shelf->ctx, false, &err), &err);
    bench_must(fsp_fleet_read(it->shelf, &about, it->fleet, rig, &account, &err), &err);
    it->shelf->ops->rollback(it->shelf->ctx);
    fsp_fleet_keep(it->shelf, account);
    fsp_fleet_release(account);
    bench_must(it->shelf->ops->tidy(it->shelf->ctx, false, &err), &err);
}

int
main(int argc, char **argv)
{
    size_t rigs = argc > 3 ? strtoul(argv[2], NULL, 10) : 0;
    size_t files = argc > 3 ? (size_t)argc - 3 : 0;
    struct fsp_entry_bytes **entries = fsp_mem_array(files, sizeof(struct fsp_entry_bytes *));
    size_t *n = fsp_mem_array(files, sizeof(*n));
    int64_t now_s = fsp_env_system()->utc_us(fsp_env_system()->ctx) / FSP_US_PER_S;
    struct filling it = {.shelf = NULL};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_shelf_stamp stamp;
    double start = bench_now();
    size_t total = 0;

    if (rigs == 0 || entries == NULL || n == NULL) {
        (void)fprintf(stderr, "usage: office_fill STORE RIGS FILE...\n");
        return 64;
    }
    bench_must(fsp_proof_init(&err), &err);
    bench_must(fsp_office_keys_load(&it.keys, argv[1], &err), &err);
    bench_must(
            fsp_shelf_open(&fsp_shelf_sqlite, argv[1], FSP_SHELF_WRITE, &it.shelf, &err), &err);
    bench_must(it.shelf->ops->fleet(it.shelf->ctx, it.fleet, &err), &err);
    for (size_t i = 0; i < files; i++)
        entries[i] = bench_entries(argv[3 + i], &n[i]);
    for (size_t i = 0; i < rigs; i++) {
        char rig[FSP_NAME_MAX + 1];

        (void)snprintf(rig, sizeof(rig), "rig-%04zu", i);
        if (it.shelf->ops->stamp(it.shelf->ctx, rig, &stamp, &err) == FSP_OK)
            continue;
        fill(&it, rig, entries[i % files], n[i % files], now_s);
        total += n[i % files];
    }
    for (size_t i = 0; i < rigs; i++)
        fold(&it, i, now_s);
    bench_must(it.shelf->ops->tidy(it.shelf->ctx, true, &err), &err);
    (void)printf(
            "office_fill %zu rigs, %zu entries, %.0f s\n", rigs, total, bench_now() - start);
    for (size_t i = 0; i < files; i++)
        bench_free(entries[i]);
    fsp_shelf_close(it.shelf);
    fsp_office_keys_fini(&it.keys);
    free(n);
    free(entries);
    return 0;
}
