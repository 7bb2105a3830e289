/*
 * What intake costs beside bare SQLite bulk insert of the same rows in the same table, 1,000 a
 * transaction, WAL and synchronous=FULL:
 *  - the receipt path (opened, hashed, durable, cosigned), in turns with the bare insert;
 *  - the same, and read and folded behind it until nothing lags;
 *  - a fleet that comes back at once over loopback: all served, in what time, how many told to wait.
 * intake_bench [BUNDLES [ENTRIES [RIGS]]]
 */
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include "base/file.h"
#include "base/mem.h"
#include "bench/bench.h"
#include "bench/rows.h"
#include "office/intake.h"
#include "office/live.h"
#include "support/tempdir.h"
#include "web/http.h"

#define FOLDED_RIGS 8
#define STORM_ROWS  20 /* entries that each rig of the storm brings */

struct rig {
    struct fsp_skey *key;
    struct fsp_range range;
    uint8_t token[FSP_TOKEN_LEN];
    char name[32];
    char origin[96];
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

struct office {
    struct fsp_office_keys keys;
    struct fsp_shelf *shelf;
    struct fsp_intake *intake;
    struct rig *rigs;
    size_t n;
};

/* A store in which n rigs are invited, and their keys. */
static void
make_office(const char *store, struct office *office, size_t n)
{
    const struct fsp_env *env = fsp_env_system();
    struct fsp_shelf *shelf;
    struct fsp_err err;

    bench_must(fsp_proof_init(&err), &err);
    bench_must(fsp_file_folder(store, 0700, &err), &err);
    bench_must(fsp_office_keys_make(&office->keys, ROWS_FLEET, env, &err), &err);
    bench_must(fsp_shelf_open(&fsp_shelf_sqlite, store, FSP_SHELF_CREATE, &shelf, &err), &err);
    office->shelf = shelf;
    office->n = n;
    office->rigs = fsp_mem_array(n, sizeof(*office->rigs));
    bench_must(office->rigs == NULL ? FSP_ENOMEM : FSP_OK, &err);
    bench_must(shelf->ops->begin(shelf->ctx, true, &err), &err);
    bench_must(shelf->ops->set_fleet(shelf->ctx, ROWS_FLEET, &err), &err);
    for (size_t i = 0; i < n; i++) {
        struct rig *rig = &office->rigs[i];
        uint8_t mark[FSP_MARK_LEN];

        (void)snprintf(rig->name, sizeof(rig->name), "rig-%zu", i);
        (void)snprintf(
                rig->origin, sizeof(rig->origin), ROWS_FLEET "/%s/0011223344556677", rig->name);
        env->random(env->ctx, rig->token, sizeof(rig->token));
        fsp_leaf_hash(rig->token, sizeof(rig->token), mark);
        bench_must(shelf->ops->invite(shelf->ctx, rig->name, mark, 1, &err), &err);
        bench_must(fsp_skey_new(&rig->key, rig->origin, FSP_KEY_NOTE, env, &err), &err);
        fsp_range_init(&rig->range);
    }
    bench_must(shelf->ops->commit(shelf->ctx, &err), &err);
    bench_must(fsp_intake_new(shelf, &office->keys, env, &office->intake, &err), &err);
}

static void
end_office(struct office *office)
{
    fsp_intake_free(office->intake);
    fsp_shelf_close(office->shelf);
    fsp_office_keys_fini(&office->keys);
    for (size_t i = 0; i < office->n; i++)
        fsp_skey_free(office->rigs[i].key);
    free(office->rigs);
}

static void
take(struct office *office, const struct fsp_buf *bundle)
{
    struct fsp_buf answer;
    struct fsp_err err;
    int status = 0;

    fsp_buf_init(&answer, FSP_NOTE_MAX);
    bench_must(
            fsp_intake_take(office->intake, bundle->data, bundle->len, &status, &answer, &err),
            &err);
    if (status != 200) {
        (void)fprintf(stderr, "bench: answered %d %s\n", status, fsp_buf_peek(&answer));
        exit(1); /* NOLINT(concurrency-mt-unsafe) */
    }
    fsp_buf_fini(&answer);
}

static sqlite3 *
open_bare(const struct tempdir *dir, const char *name)
{
    char path[160];

    (void)snprintf(path, sizeof(path), "%s/%s.db", dir->path, name);
    return bench_bare(path,
            "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA wal_autocheckpoint=0");
}

/* ---- the receipt path ------------------------------------------------------------------------- */

static void
receipt_path(const struct tempdir *dir, size_t bundles, size_t per)
{
    struct fsp_entry_bytes *entries = bench_invent(bundles * per);
    struct office office = {.n = 0};
    struct fsp_buf sealed;
    char store[160];
    sqlite3 *bare = open_bare(dir, "bare");
    double ours = 0;
    double theirs = 0;

    (void)snprintf(store, sizeof(store), "%s/office", dir->path);
    make_office(store, &office, 1);
    for (size_t i = 0; i < bundles; i++) {
        double start;

        next_bundle(&office.rigs[0], entries + i * per, per, office.keys.box[0].pub, &sealed);
        start = bench_now();
        bench_bare_insert(bare, entries, i * per, (i + 1) * per, 1000);
        theirs += bench_now() - start;
        start = bench_now();
        take(&office, &sealed);
        ours += bench_now() - start;
        fsp_buf_fini(&sealed);
    }
    (void)printf("intake_bare_bulk %.0f rows/s\n", (double)(bundles * per) / theirs);
    (void)printf("intake_receipt_path %.0f rows/s\n", (double)(bundles * per) / ours);
    (void)printf("intake_ratio %.2f of-bare  (at least 0.45)\n", theirs / ours);
    end_office(&office);
    (void)sqlite3_close(bare);
    bench_free(entries);
}

/* ---- read and folded behind it ---------------------------------------------------------------- */

/* n rows of a rig from its `from`-th on; texts are freed. */
static void
make_rows(const struct rows *rows, size_t from, size_t n, struct fsp_entry_bytes *out,
        char **texts)
{
    struct fsp_err err;
    struct fsp_buf one;

    fsp_buf_init(&one, FSP_ENTRY_MAX);
    for (size_t i = 0; i < n; i++) {
        rows_make(rows, from + i, &one);
        texts[i] = fsp_mem_text(one.data, one.len);
        bench_must(texts[i] == NULL ? FSP_ENOMEM : FSP_OK, &err);
        out[i].bytes = (const uint8_t *)texts[i];
        out[i].len = one.len;
    }
    fsp_buf_fini(&one);
}

static void
grew(void *ctx, const char *rig, uint64_t entries)
{
    fsp_live_grew(ctx, rig, entries);
}

static struct fsp_live *
start_live(const struct office *office, const char *store)
{
    const struct fsp_live_about about = {.ops = &fsp_shelf_sqlite,
            .store = store,
            .env = fsp_env_system(),
            .keys = fsp_skey_vkey(office->keys.instructions),
            .n_keys = 1};
    struct fsp_live *live = NULL;
    struct fsp_err err;

    bench_must(fsp_live_new(&about, &live, &err), &err);
    fsp_live_settle(live);
    return live;
}

/* Bundles of several rigs in turn, as they come; sealed before the clock starts. */
static void
folded_behind(const struct tempdir *dir, size_t bundles, size_t per)
{
    struct office office = {.n = 0};
    struct rows rows[FOLDED_RIGS];
    struct fsp_entry_bytes *entries = fsp_mem_array(bundles * per, sizeof(*entries));
    char **texts = fsp_mem_array(bundles * per, sizeof(char *));
    struct fsp_buf *sealed = fsp_mem_array(bundles, sizeof(*sealed));
    sqlite3 *bare = open_bare(dir, "bare-folded");
    struct fsp_live *live = NULL;
    struct fsp_live_lag lag;
    struct fsp_err err;
    char store[160];
    double theirs = 0;
    double start;
    double ours;

    bench_must(sealed == NULL || entries == NULL || texts == NULL ? FSP_ENOMEM : FSP_OK, &err);
    (void)snprintf(store, sizeof(store), "%s/folded", dir->path);
    make_office(store, &office, FOLDED_RIGS);
    for (size_t i = 0; i < FOLDED_RIGS; i++)
        rows_init(&rows[i], office.rigs[i].name, office.keys.instructions);
    for (size_t i = 0; i < bundles; i++) {
        struct rig *rig = &office.rigs[i % FOLDED_RIGS];
        struct fsp_entry_bytes *mine = entries + i * per;

        make_rows(&rows[i % FOLDED_RIGS], (size_t)rig->range.size, per, mine, texts + i * per);
        next_bundle(rig, mine, per, office.keys.box[0].pub, &sealed[i]);
        start = bench_now();
        bench_bare_insert(bare, entries, i * per, (i + 1) * per, 1000);
        theirs += bench_now() - start;
    }
    live = start_live(&office, store);
    fsp_intake_tell(office.intake, grew, live);
    start = bench_now();
    for (size_t i = 0; i < bundles; i++)
        take(&office, &sealed[i]);
    fsp_live_settle(live);
    ours = bench_now() - start;
    fsp_live_lag(live, &lag);
    if (lag.entries != 0 || lag.failed)
        (void)fprintf(stderr, "bench: still lags %llu %s\n", (unsigned long long)lag.entries,
                lag.failure);
    (void)printf("intake_folded_behind %.0f rows/s\n", (double)(bundles * per) / ours);
    (void)printf("intake_folded_ratio %.2f of-bare  (at least 0.2)\n", theirs / ours);
    fsp_live_free(live);
    for (size_t i = 0; i < bundles * per; i++)
        free(texts[i]);
    free((void *)texts);
    free(entries);
    for (size_t i = 0; i < FOLDED_RIGS; i++)
        rows_fini(&rows[i]);
    for (size_t i = 0; i < bundles; i++)
        fsp_buf_fini(&sealed[i]);
    free(sealed);
    end_office(&office);
    (void)sqlite3_close(bare);
}

/* ---- a fleet that comes back at once ---------------------------------------------------------- */

static void
handle_bundle(void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct office *office = ctx;
    struct fsp_err err;
    int status = 0;

    if (fsp_intake_take(office->intake, request->body, request->len, &status, &answer->body,
                &err) != FSP_OK)
        status = 503;
    answer->status = status;
}

static int
send_bundle(const char *url, const struct fsp_buf *bundle)
{
    struct sockaddr_in to = {.sin_family = AF_INET};
    const char *port = strrchr(url, ':');
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    char head[160];
    int len;

    to.sin_port = htons((uint16_t)strtoul(port + 1, NULL, 10));
    to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    len = snprintf(head, sizeof(head),
            "POST /bundle HTTP/1.1\r\nHost: o\r\nContent-Length: %zu\r\n\r\n", bundle->len);
    if (fd < 0 || connect(fd, (const struct sockaddr *)&to, sizeof(to)) != 0 ||
            send(fd, head, (size_t)len, MSG_NOSIGNAL) != len ||
            send(fd, bundle->data, bundle->len, MSG_NOSIGNAL) != (ssize_t)bundle->len) {
        perror("bench: connect or send");
        exit(1); /* NOLINT(concurrency-mt-unsafe) */
    }
    return fd;
}

/* The status, and the seconds to wait when there are any. */
static int
hear(int fd, unsigned *wait_s)
{
    char text[4096];
    size_t len = 0;
    const char *after;

    while (len < sizeof(text) - 1) {
        ssize_t got = recv(fd, text + len, sizeof(text) - 1 - len, 0);

        if (got <= 0)
            break;
        len += (size_t)got;
        text[len] = '\0';
        if (strstr(text, "\r\n\r\n") != NULL)
            break;
    }
    text[len] = '\0';
    (void)close(fd);
    after = strstr(text, "Retry-After: ");
    *wait_s = after == NULL ? 0 : (unsigned)strtoul(after + 13, NULL, 10);
    return strncmp(text, "HTTP/1.1 ", 9) == 0 ? (int)strtol(text + 9, NULL, 10) : 0;
}

/* Everybody sends at once and waits for his answer; who is told to wait comes again. */
static void
storm(const struct tempdir *dir, size_t rigs)
{
    static const struct fsp_http_route routes[] = {
            {.method = "POST",
                    .path = "/bundle",
                    .body_max = FSP_BUNDLE_MAX,
                    .handle = handle_bundle},
            {.path = NULL},
    };
    struct office office = {.n = 0};
    struct fsp_http_options options = {.listen = "127.0.0.1:0",
            .bare = true,
            .routes = routes,
            .ctx = &office,
            .env = fsp_env_system(),
            .workers = 16, /* as serve has */
            .connections = 2048,
            .queue_max = 1024};
    struct fsp_entry_bytes *entries = bench_invent(STORM_ROWS);
    struct fsp_buf *sealed = fsp_mem_array(rigs, sizeof(*sealed));
    int *fds = fsp_mem_array(rigs, sizeof(*fds));
    struct fsp_intake_stats stats;
    struct fsp_http *http = NULL;
    struct fsp_err err;
    char store[160];
    size_t served = 0;
    size_t told = 0;
    double start;

    bench_must(sealed == NULL || fds == NULL ? FSP_ENOMEM : FSP_OK, &err);
    (void)snprintf(store, sizeof(store), "%s/storm", dir->path);
    make_office(store, &office, rigs);
    for (size_t i = 0; i < rigs; i++)
        next_bundle(&office.rigs[i], entries, STORM_ROWS, office.keys.box[0].pub, &sealed[i]);
    bench_must(fsp_http_start(&options, &http, &err), &err);
    start = bench_now();
    for (size_t i = 0; i < rigs; i++)
        fds[i] = send_bundle(fsp_http_url(http), &sealed[i]);
    for (size_t i = 0; i < rigs; i++) {
        unsigned wait_s = 0;
        int status = hear(fds[i], &wait_s);

        while (status == 429 || status == 503) {
            const struct timespec wait = {.tv_sec = wait_s};

            told++;
            (void)nanosleep(&wait, NULL);
            status = hear(send_bundle(fsp_http_url(http), &sealed[i]), &wait_s);
        }
        served += status == 200;
    }
    (void)printf("intake_storm %zu of %zu rigs served in %.2f s, %zu told to come again\n",
            served, rigs, bench_now() - start, told);
    fsp_http_stop(http);
    fsp_intake_stats(office.intake, &stats);
    (void)printf("intake_storm_group %.1f bundles a commit\n",
            (double)stats.bundles / (double)stats.groups);
    for (size_t i = 0; i < rigs; i++)
        fsp_buf_fini(&sealed[i]);
    free(sealed);
    free(fds);
    bench_free(entries);
    end_office(&office);
    if (served != rigs)
        exit(1); /* NOLINT(concurrency-mt-unsafe) */
}

int
main(int argc, char **argv)
{
    size_t bundles = argc > 1 ? strtoul(argv[1], NULL, 10) : 40;
    size_t per = argc > 2 ? strtoul(argv[2], NULL, 10) : 4000;
    size_t rigs = argc > 3 ? strtoul(argv[3], NULL, 10) : 1000;
    struct rlimit files = {.rlim_cur = 4096, .rlim_max = 4096};
    struct tempdir dir;
    char command[160];

    if (getrlimit(RLIMIT_NOFILE, &files) == 0) {
        files.rlim_cur = files.rlim_max < 4096 ? files.rlim_max : 4096;
        (void)setrlimit(RLIMIT_NOFILE, &files);
    }
    tempdir_make(&dir);
    receipt_path(&dir, bundles, per);
    folded_behind(&dir, bundles, per);
    storm(&dir, rigs);
    (void)snprintf(command, sizeof(command), "rm -rf '%s'", dir.path);
    return system(command) == 0 ? 0 : 1; /* NOLINT: a folder this program made */
}
