/*
 * A small book of records for the ledger's tests: typed members in, a folded ledger out.
 *
 * Leaves are made up (they name entries, nothing verifies them here).
 */
#ifndef FSP_TESTS_LINE_BOOK_H
#define FSP_TESTS_LINE_BOOK_H

#include <stdbool.h>
#include <stddef.h>

#include "line/ledger.h"

#define BOOK_MAX 4096

struct book {
    struct fsp_ledger_entry entries[BOOK_MAX];
    struct fsp_record *records[BOOK_MAX]; /* the same, owned */
    size_t n;
    struct fsp_ledger *ledger;
};

/* An empty book; the caller frees it with book_free(). */
struct book *book_new(void);
void book_free(struct book *book);

/* Add one checked record: kind, time, "name=value|name=value". Returns its index. */
size_t book_put(struct book *book, const char *kind, const char *at, const char *members);
/* The same with a signature's state. */
size_t book_put_signed(struct book *book, const char *kind, const char *at, const char *members,
        enum fsp_sig_state sig);
/* Set the agent's clock of the entry. */
void book_noted(struct book *book, size_t index, const char *noted);
/* Rig, reel, drill string and programme of an ordinary rig: 142 ft, 30 in, 1-3/8 EIPS, 10 lines. */
void book_open(struct book *book);

/* Fold in the order put. The ledger is the book's, until the next fold. */
const struct fsp_ledger *book_fold(struct book *book);
/* Fold in another order (n indices into entries, doubles allowed). */
const struct fsp_ledger *book_fold_in(struct book *book, const size_t *order, size_t n);
const struct fsp_ledger_view *book_view(struct book *book);

/* Whether a note holds this text. */
bool book_note(const struct fsp_ledger *ledger, const char *text);

double ton_miles(double joules);
double feet(double metres);

#endif
