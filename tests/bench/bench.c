#include "bench/bench.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/file.h"
#include "base/mem.h"

double
bench_now(void)
{
    struct timespec now = {0, 0};

    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

void
bench_must(enum fsp_rc rc, const struct fsp_err *err)
{
    if (rc == FSP_OK)
        return;
    (void)fprintf(stderr, "bench: %s\n", err->text);
    exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
}

static void
must_sqlite(int rc, sqlite3 *db)
{
    if (rc == SQLITE_OK || rc == SQLITE_DONE)
        return;
    (void)fprintf(stderr, "bench: bare SQLite: %s\n", sqlite3_errmsg(db));
    exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
}

struct fsp_entry_bytes *
bench_entries(const char *path, size_t *n)
{
    struct fsp_entry_bytes *entries = NULL;
    struct fsp_err err;
    uint8_t *bytes = NULL;
    size_t cap = 0;
    size_t len = 0;
    void *grown;

    *n = 0;
    bench_must(fsp_file_read(path, (size_t)64 * 1024 * 1024, &bytes, &len, &err), &err);
    for (size_t pos = 0; pos < len;) {
        const uint8_t *end = memchr(bytes + pos, '\n', len - pos);
        size_t line = end == NULL ? len - pos : (size_t)(end - bytes) - pos;

        grown = entries;
        if (fsp_mem_grow(&grown, &cap, *n + 1, sizeof(*entries)) != 0)
            exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
        entries = grown;
        entries[*n].bytes = bytes + pos;
        entries[*n].len = line;
        (*n)++;
        pos += line + 1;
    }
    return entries;
}

struct fsp_entry_bytes *
bench_invent(size_t n)
{
    struct fsp_entry_bytes *entries = fsp_mem_array(n, sizeof(*entries));
    char *text = fsp_mem_array(n, 256);

    if (entries == NULL || text == NULL)
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    for (size_t i = 0; i < n; i++) {
        char *line = text + i * 256;
        int len = snprintf(line, 256,
                "{\"at\":\"2026-%02zu-%02zuT%02zu:%02zu:00Z\",\"by\":\"driller-a\","
                "\"from\":\"%zuft\",\"hookload\":\"%zu000lb\",\"kind\":\"work\","
                "\"noted\":\"2026-%02zu-%02zuT23:15:05Z\",\"op\":\"drilling\",\"reams\":1,"
                "\"to\":\"%zuft\",\"tour\":\"day\",\"v\":1}",
                i / 28 % 12 + 1, i % 28 + 1, i % 24, i * 7 % 60, 4000 + i % 6000, 180 + i % 90,
                i / 28 % 12 + 1, i % 28 + 1, 4090 + i % 6000);

        entries[i].bytes = (const uint8_t *)line;
        entries[i].len = (size_t)len;
    }
    return entries;
}

void
bench_free(struct fsp_entry_bytes *entries)
{
    union {
        const uint8_t *read;
        void *owned;
    } bytes; /* one block, and the first entry stands at its start */

    if (entries == NULL)
        return;
    bytes.read = entries[0].bytes;
    free(bytes.owned);
    free(entries);
}

sqlite3 *
bench_bare(const char *path, const char *pragmas)
{
    sqlite3 *db = NULL;

    must_sqlite(sqlite3_open(path, &db), db);
    must_sqlite(sqlite3_exec(db, pragmas, NULL, NULL, NULL), db);
    must_sqlite(sqlite3_exec(db,
                        "CREATE TABLE entry(log INTEGER NOT NULL, idx INTEGER NOT NULL,"
                        " bytes BLOB NOT NULL, PRIMARY KEY(log, idx)) STRICT, WITHOUT ROWID",
                        NULL, NULL, NULL),
            db);
    return db;
}

void
bench_bare_insert(
        sqlite3 *db, const struct fsp_entry_bytes *entries, size_t from, size_t to, size_t per)
{
    sqlite3_stmt *stmt = NULL;

    must_sqlite(
            sqlite3_prepare_v2(db, "INSERT INTO entry VALUES(1, ?1, ?2)", -1, &stmt, NULL), db);
    for (size_t i = from; i < to; i++) {
        if ((i - from) % per == 0)
            must_sqlite(sqlite3_exec(db, "BEGIN IMMEDIATE", NULL, NULL, NULL), db);
        (void)sqlite3_bind_int64(stmt, 1, (sqlite3_int64)i);
        (void)sqlite3_bind_blob64(stmt, 2, entries[i].bytes, entries[i].len, SQLITE_STATIC);
        must_sqlite(sqlite3_step(stmt), db);
        must_sqlite(sqlite3_reset(stmt), db);
        if ((i - from) % per == per - 1 || i + 1 == to)
            must_sqlite(sqlite3_exec(db, "COMMIT", NULL, NULL, NULL), db);
    }
    must_sqlite(sqlite3_finalize(stmt), db);
}
