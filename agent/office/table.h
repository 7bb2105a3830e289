/*
 * A table of cells, written as aligned text for people, as CSV (RFC 4180) or as JSON for programs.
 *
 * Columns say name, unit, meaning and how a cell is printed, once for all forms. CSV and JSON carry the
 * same text for a number: the shortest that reads back as the same double, never rounded; text for
 * people is rounded to the column's decimals and leaves out columns without a title.
 *
 * CSV: UTF-8, a header, CRLF, empty where nothing is known. A cell of text (never a number, time or
 * yes/no) that a spreadsheet could take for a formula, or that begins with an apostrophe, is written
 * with one apostrophe before it: it begins with one of = + - @ ' TAB CR LF or the full-width forms of
 * the first four (U+FF1D, U+FF0B, U+FF0D, U+FF20). A reader takes one leading apostrophe off every cell
 * of text and has the text as it was.
 * JSON: a list of objects, a member for every column, null where nothing is known.
 *
 * Ownership: begin/end in the caller's storage; columns and out are borrowed until end; cells are
 * copied.
 * Errors: stick in out. A cell that is not the next column's is our own bug (assert).
 * Sources: RFC 4180; the apostrophe: common practice, no source.
 */
#ifndef FSP_OFFICE_TABLE_H
#define FSP_OFFICE_TABLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"

enum fsp_cell {
    FSP_CELL_TEXT = 0, /* from outside or ours */
    FSP_CELL_NUMBER,   /* a double */
    FSP_CELL_COUNT,    /* a whole number */
    FSP_CELL_TIME,     /* RFC 3339 with Z; by the minute for people */
    FSP_CELL_YES,      /* yes or no; true or false in JSON */
};

struct fsp_column {
    const char *title; /* above the column in text; NULL: not in text */
    const char *name;  /* in the CSV header, and the JSON key: never changed once published */
    enum fsp_cell cell;
    int decimals;        /* of a number in text */
    const char *unit;    /* "ft", "ton-miles"; NULL: none */
    const char *meaning; /* one sentence for docs/columns.md, without its full stop */
};

/* A column of words that is described elsewhere. */
#define FSP_COLUMN_TEXT(title, name)                                                           \
    {                                                                                          \
        title, name, FSP_CELL_TEXT, 0, NULL, NULL                                              \
    }
#define FSP_COLUMN_TIME(title, name)                                                           \
    {                                                                                          \
        title, name, FSP_CELL_TIME, 0, NULL, NULL                                              \
    }

enum fsp_table_form {
    FSP_TABLE_TEXT = 0,
    FSP_TABLE_CSV,
    FSP_TABLE_JSON,
    FSP_TABLE_MEMBERS, /* one row as members of an object that the caller opened and closes */
};

struct fsp_table {
    const struct fsp_column *columns;
    size_t n;
    enum fsp_table_form form;
    struct fsp_buf *out;
    size_t column;        /* the next cell's */
    size_t rows;          /* begun */
    struct fsp_buf store; /* text only: shown NUL shown NUL ... */
    size_t *cells;        /* offsets into store */
    size_t used;
    size_t cap;
};

/* CSV writes its header at once. */
void fsp_table_begin(struct fsp_table *table, const struct fsp_column *columns, size_t n,
        enum fsp_table_form form, struct fsp_buf *out);
/* Write what is left and free. Rows are whole by now. */
void fsp_table_end(struct fsp_table *table);

/* The next cell, row by row; name is the column's. NULL: not known. */
void fsp_table_text(struct fsp_table *table, const char *name, const char *text);
void fsp_table_number(struct fsp_table *table, const char *name, bool known, double value);
void fsp_table_count(struct fsp_table *table, const char *name, bool known, uint64_t value);
/* 0: not known. */
void fsp_table_time(struct fsp_table *table, const char *name, int64_t utc_s);
void fsp_table_yes(struct fsp_table *table, const char *name, bool yes);

#endif
