/*
 * The office's receipt path (opened, hashed, durable, cosigned) beside bare SQLite bulk insert of the
 * same rows in the same table, 1,000 a transaction, WAL and synchronous=FULL, in turns.
 * intake_bench [BUNDLES [ENTRIES]]
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/mem.h"
#include "bench/bench.h"
#include "office/intake.h"
#include "support/tempdir.h"

struct rig {
    struct fsp_skey *key;
    struct fsp_range range;
    uint8_t token[FSP_TOKEN_LEN];
    char origin[64];
};

/* The next bundle of `n` entries, as a rig would send it. */
static void
next_bundle(struct rig *rig, const struct fsp_entry_bytes *entries, size_t n,
        const uint8_t box_pub[32], struct fsp_buf *out)
{
    struct fsp_bundle_head head = {
            .old_size = rig->range.size, .enrolment = rig->range.size == 0};
    struct fsp_buf text;
    struct fsp_err err;

    for (size_t i = 0; i < n; i++)
        fsp_range_append(&rig->range, entries[i].bytes, entries[i].len);
    (void)snprintf(head.head.origin, sizeof(head.head.origin), "%s", rig->origin);
    head.head.size = rig->range.size;
    fsp_range_root(&rig->range, head.head.root);
    memcpy(head.rig_pub, fsp_skey_vkey(rig->key)->pub, sizeof(head.rig_pub));
    memcpy(head.token, rig->token, sizeof(head.token));
    fsp_buf_init(&text, 1000);
    fsp_checkpoint_write(&head.head, &text);
    bench_must(fsp_skey_sign(rig->key, text.data, text.len, head.sig, &err), &err);
    fsp_buf_fini(&text);
    fsp_buf_init(out, FSP_BUNDLE_MAX);
    bench_must(fsp_bundle_seal(out, &head, entries, n, box_pub, &err), &err);
}

static void
make_office(const char *store, struct fsp_office_keys *keys, struct fsp_shelf **shelf,
        struct rig *rig)
{
    const struct fsp_env *env = fsp_env_system();
    uint8_t mark[FSP_MARK_LEN];
    struct fsp_err err;

    bench_must(fsp_proof_init(&err), &err);
    bench_must(fsp_file_folder(store, 0700, &err), &err);
    bench_must(fsp_office_keys_make(keys, "lantern-basin", env, &err), &err);
    bench_must(fsp_shelf_open(&fsp_shelf_sqlite, store, FSP_SHELF_CREATE, shelf, &err), &err);
    env->random(env->ctx, rig->token, sizeof(rig->token));
    fsp_leaf_hash(rig->token, sizeof(rig->token), mark);
    bench_must((*shelf)->ops->begin((*shelf)->ctx, true, &err), &err);
    bench_must((*shelf)->ops->set_fleet((*shelf)->ctx, "lantern-basin", &err), &err);
    bench_must((*shelf)->ops->invite((*shelf)->ctx, "heron", mark, 1, &err), &err);
    bench_must((*shelf)->ops->commit((*shelf)->ctx, &err), &err);
    (void)snprintf(rig->origin, sizeof(rig->origin), "lantern-basin/heron/0011223344556677");
    bench_must(fsp_skey_new(&rig->key, rig->origin, FSP_KEY_NOTE, env, &err), &err);
    fsp_range_init(&rig->range);
}

int
main(int argc, char **argv)
{
    size_t bundles = argc > 1 ? strtoul(argv[1], NULL, 10) : 40;
    size_t per = argc > 2 ? strtoul(argv[2], NULL, 10) : 4000;
    struct fsp_entry_bytes *entries = bench_invent(bundles * per);
    struct fsp_buf *sealed = fsp_mem_array(bundles, sizeof(*sealed));
    struct fsp_office_keys keys = {0};
    struct fsp_shelf *shelf = NULL;
    struct fsp_intake *intake = NULL;
    struct rig rig = {0};
    struct tempdir dir;
    struct fsp_buf answer;
    struct fsp_err err;
    char path[128];
    sqlite3 *bare;
    double ours = 0;
    double theirs = 0;

    if (sealed == NULL)
        return 1;
    tempdir_make(&dir);
    (void)snprintf(path, sizeof(path), "%s/bare.db", dir.path);
    bare = bench_bare(path,
            "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA wal_autocheckpoint=0");
    (void)snprintf(path, sizeof(path), "%s/office", dir.path);
    make_office(path, &keys, &shelf, &rig);
    bench_must(fsp_intake_new(shelf, &keys, fsp_env_system(), &intake, &err), &err);
    for (size_t i = 0; i < bundles; i++)
        next_bundle(&rig, entries + i * per, per, keys.box[0].pub, &sealed[i]);
    fsp_buf_init(&answer, FSP_NOTE_MAX);
    for (size_t i = 0; i < bundles; i++) {
        double start = bench_now();
        int status = 0;

        bench_bare_insert(bare, entries, i * per, (i + 1) * per, 1000);
        theirs += bench_now() - start;
        start = bench_now();
        bench_must(
                fsp_intake_take(intake, sealed[i].data, sealed[i].len, &status, &answer, &err),
                &err);
        ours += bench_now() - start;
        if (status != 200) {
            (void)fprintf(stderr, "bench: answered %d %s\n", status, fsp_buf_peek(&answer));
            return 1;
        }
    }
    (void)printf("intake_bare_bulk %.0f rows/s\n", (double)(bundles * per) / theirs);
    (void)printf("intake_receipt_path %.0f rows/s\n", (double)(bundles * per) / ours);
    (void)printf("intake_ratio %.2f of-bare  (at least 0.4)\n", theirs / ours);
    fsp_buf_fini(&answer);
    fsp_intake_free(intake);
    fsp_shelf_close(shelf);
    fsp_office_keys_fini(&keys);
    (void)sqlite3_close(bare);
    for (size_t i = 0; i < bundles; i++)
        fsp_buf_fini(&sealed[i]);
    free(sealed);
    fsp_skey_free(rig.key);
    bench_free(entries);
    (void)snprintf(path, sizeof(path), "rm -rf '%s'", dir.path);
    return system(path) == 0 ? 0 : 1; /* NOLINT: a folder this program made */
}
