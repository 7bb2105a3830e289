/*
 * The fleet folded from stored states, and pages of a held view:
 * fleet_bench [RIGS [RECORDS]]; 50 rigs of 20,000 by default.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/mem.h"
#include "bench/bench.h"
#include "bench/rows.h"
#include "office/board.h"
#include "office/fleet.h"
#include "office/keys.h"
#include "office/live.h"
#include "support/tempdir.h"

static void
append(struct fsp_shelf *shelf, const struct rows *rows, int64_t log, size_t from, size_t to)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_range range;
    struct fsp_buf entry;

    fsp_buf_init(&entry, FSP_ENTRY_MAX);
    bench_must(shelf->ops->begin(shelf->ctx, true, &err), &err);
    bench_must(shelf->ops->tip(shelf->ctx, log, &range, &err), &err);
    for (size_t i = from; i < to; i++) {
        struct fsp_entry_bytes one;

        rows_make(rows, i, &entry);
        one.bytes = entry.data;
        one.len = entry.len;
        bench_must(shelf->ops->append(shelf->ctx, log, &range, &one, 1, &err), &err);
    }
    bench_must(shelf->ops->commit(shelf->ctx, &err), &err);
    bench_must(shelf->ops->tidy(shelf->ctx, false, &err), &err);
    fsp_buf_fini(&entry);
}

static int64_t
enrol(struct fsp_shelf *shelf, const char *rig, size_t number)
{
    struct fsp_shelf_log log = {.enrolled_s = ROWS_BEGIN_S};
    struct fsp_err err = {.rc = FSP_OK};

    (void)snprintf(log.rig, sizeof(log.rig), "%s", rig);
    (void)snprintf(log.origin, sizeof(log.origin), ROWS_FLEET "/%s/0011223344556677", rig);
    fsp_leaf_hash(&number, sizeof(number), log.pub);
    fsp_leaf_hash(log.pub, sizeof(log.pub), log.mark);
    bench_must(shelf->ops->begin(shelf->ctx, true, &err), &err);
    bench_must(shelf->ops->invite(shelf->ctx, rig, log.mark, ROWS_BEGIN_S, &err), &err);
    bench_must(shelf->ops->enrol(shelf->ctx, &log, &err), &err);
    bench_must(shelf->ops->commit(shelf->ctx, &err), &err);
    return log.id;
}

static double
html_of(const struct fsp_fleet *fleet)
{
    static const struct fsp_viewer viewer;
    static const struct fsp_board_fleet_ask all = {.page = 1};
    const struct fsp_board_page page = {
            .fleet = fleet, .viewer = &viewer, .title = "Fleet", .here = "/"};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf html;
    double start = bench_now();

    fsp_buf_init(&html, (size_t)16 * 1024 * 1024);
    fsp_board_fleet(&page, &all, &html);
    bench_must(html.rc, &err);
    start = bench_now() - start;
    fsp_buf_fini(&html);
    return 1e3 * start;
}

/* Milliseconds of one page by a fold of its own, and the entries that were read for it. */
static double
page(struct fsp_shelf *shelf, const struct fsp_office_keys *keys, bool whole, size_t *read)
{
    const struct fsp_fleet_about about = {.as_of_s = ROWS_BEGIN_S,
            .keys = fsp_skey_vkey(keys->instructions),
            .n_keys = 1,
            .whole = whole};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_fleet *fleet = NULL;
    double start = bench_now();

    bench_must(fsp_fleet_load(shelf, &about, &fleet, &err), &err);
    (void)html_of(fleet);
    *read = 0;
    for (size_t i = 0; i < fleet->n; i++)
        *read += fsp_fold_read(fleet->rigs[i]->fold);
    start = bench_now() - start;
    fsp_fleet_free(fleet);
    return 1e3 * start;
}

/* The service's start: until the first view is there, until every rig is in it, and its pages. */
static void
live_pages(const char *store, const struct fsp_office_keys *keys)
{
    const struct fsp_live_about about = {.ops = &fsp_shelf_sqlite,
            .store = store,
            .env = fsp_env_system(),
            .keys = fsp_skey_vkey(keys->instructions),
            .n_keys = 1};
    struct fsp_err err = {.rc = FSP_OK};
    const struct fsp_fleet *view;
    struct fsp_live *live = NULL;
    double start = bench_now();
    double first;

    bench_must(fsp_live_new(&about, &live, &err), &err);
    first = bench_now() - start;
    fsp_live_settle(live);
    (void)printf("fleet_live_first_view %.1f ms\n", 1e3 * first);
    (void)printf("fleet_live_filled %.0f ms\n", 1e3 * (bench_now() - start));
    view = fsp_live_hold(live);
    (void)html_of(view);
    (void)printf("fleet_live_page %.2f ms  (%zu rigs)\n", html_of(view), view->n);
    fsp_live_release(live, view);
    fsp_live_free(live);
}

int
main(int argc, char **argv)
{
    size_t rigs = argc > 1 ? strtoul(argv[1], NULL, 10) : 50;
    size_t records = argc > 2 ? strtoul(argv[2], NULL, 10) : 20000;
    struct rows *rows = fsp_mem_array(rigs, sizeof(*rows));
    char(*names)[32] = fsp_mem_array(rigs, sizeof(*names));
    struct fsp_office_keys keys = {0};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_shelf *shelf = NULL;
    struct tempdir dir;
    char command[200];
    char store[160];
    size_t read = 0;
    double took;

    if (rows == NULL || names == NULL || rigs < 1 || records < 100)
        return 64;
    tempdir_make(&dir);
    (void)snprintf(store, sizeof(store), "%s/office", dir.path);
    bench_must(fsp_proof_init(&err), &err);
    bench_must(fsp_file_folder(store, 0700, &err), &err);
    bench_must(fsp_office_keys_make(&keys, ROWS_FLEET, fsp_env_system(), &err), &err);
    bench_must(fsp_shelf_open(&fsp_shelf_sqlite, store, FSP_SHELF_CREATE, &shelf, &err), &err);
    bench_must(shelf->ops->begin(shelf->ctx, true, &err), &err);
    bench_must(shelf->ops->set_fleet(shelf->ctx, ROWS_FLEET, &err), &err);
    bench_must(shelf->ops->commit(shelf->ctx, &err), &err);
    for (size_t i = 0; i < rigs; i++) {
        (void)snprintf(names[i], sizeof(names[i]), "rig-%zu", i);
        rows_init(&rows[i], names[i], keys.instructions);
        append(shelf, &rows[i], enrol(shelf, names[i], i), 0, records);
    }
    took = page(shelf, &keys, false, &read);
    (void)printf("fleet_page_first %.0f ms  (%zu rigs, %zu entries read)\n", took, rigs, read);
    append(shelf, &rows[0], 1, records, records + 1);
    took = page(shelf, &keys, false, &read);
    (void)printf("fleet_page_one_more %.1f ms  (%zu entries read)\n", took, read);
    live_pages(store, &keys);
    took = page(shelf, &keys, true, &read);
    (void)printf("fleet_page_whole %.0f ms  (%zu entries read)\n", took, read);
    for (size_t i = 0; i < rigs; i++)
        rows_fini(&rows[i]);
    fsp_shelf_close(shelf);
    fsp_office_keys_fini(&keys);
    free(rows);
    free(names);
    (void)snprintf(command, sizeof(command), "rm -rf '%s'", dir.path);
    if (system(command) != 0) /* NOLINT: a folder this program made */
        perror("bench: rm");
    return 0;
}
