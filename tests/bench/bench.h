/*
 * What the benches share: time, entries from a file, bare SQLite beside which they are measured.
 */
#ifndef FSP_TESTS_BENCH_BENCH_H
#define FSP_TESTS_BENCH_BENCH_H

#include <sqlite3.h>
#include <stddef.h>

#include "wire/bundle.h"

/* Seconds on the monotonic clock. */
double bench_now(void);

/* End the program with a line when rc is not FSP_OK. */
void bench_must(enum fsp_rc rc, const struct fsp_err *err);

/* Lines of a file as entries. The memory lives until the program ends. */
struct fsp_entry_bytes *bench_entries(const char *path, size_t *n);
/* n invented entries of about the size of a day sheet's row. */
struct fsp_entry_bytes *bench_invent(size_t n);
/* Entries of either kind with their bytes. */
void bench_free(struct fsp_entry_bytes *entries);

/* A bare database with the store's table entry(log, idx, bytes), without its triggers, and the given
 * pragmas. */
sqlite3 *bench_bare(const char *path, const char *pragmas);
/* Insert entries from..to-1, `per` a transaction. */
void bench_bare_insert(
        sqlite3 *db, const struct fsp_entry_bytes *entries, size_t from, size_t to, size_t per);

#endif
