/*
 * A table of cells, written as aligned text for people or as CSV (RFC 4180) for programs.
 *
 * A cell has two texts: as shown ("1,234", "-" when unknown) and plain ("1234.0", empty).
 *
 * Ownership: init/fini in the caller's storage; columns are borrowed; cells are copied.
 * Errors: the first failure sticks and comes out of fsp_table_text/csv in the buffer's rc.
 */
#ifndef FSP_OFFICE_TABLE_H
#define FSP_OFFICE_TABLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"

struct fsp_column {
    const char *title; /* above the column in text */
    const char *name;  /* in the CSV header */
    bool right;
};

struct fsp_table {
    const struct fsp_column *columns;
    size_t n;
    struct fsp_buf store; /* shown NUL plain NUL ... */
    size_t *cells;        /* offsets into store: shown, plain */
    size_t used;
    size_t cap;
};

void fsp_table_init(struct fsp_table *table, const struct fsp_column *columns, size_t n);
void fsp_table_fini(struct fsp_table *table);

/* The next cell, row by row. NULL shows "-" and is empty in CSV. */
void fsp_table_add(struct fsp_table *table, const char *text);
/* A number with that many decimals; not known: as NULL. */
void fsp_table_number(struct fsp_table *table, bool known, double value, int decimals);
/* A time, or as NULL when it is 0. Shown by the minute. */
void fsp_table_time(struct fsp_table *table, int64_t utc_s);

void fsp_table_text(const struct fsp_table *table, struct fsp_buf *buf);
void fsp_table_csv(const struct fsp_table *table, struct fsp_buf *buf);
/* As CSV when `csv`, else as text. */
void fsp_table_write(const struct fsp_table *table, bool csv, struct fsp_buf *buf);

#endif
