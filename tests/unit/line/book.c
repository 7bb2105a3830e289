#include "unit/line/book.h"

#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "record/check.h"

#define MEMBERS_MAX 40

static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/* A made-up leaf: the index in its first three bytes, so that its base64 is quickly written. */
static void
make_leaf(size_t index, uint8_t leaf[32])
{
    memset(leaf, 0, 32);
    leaf[0] = (uint8_t)(index >> 16);
    leaf[1] = (uint8_t)(index >> 8);
    leaf[2] = (uint8_t)index;
}

static enum fsp_rc
name_entry(void *ctx, uint64_t index, char *out, struct fsp_err *err)
{
    (void)ctx;
    (void)err;
    (void)snprintf(out, 512,
            "{\"index\":%u,\"leaf\":\"%c%c%c%cAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\","
            "\"log\":\"k3\"}",
            (unsigned)index, digits[index >> 18 & 63], digits[index >> 12 & 63],
            digits[index >> 6 & 63], digits[index & 63]);
    return FSP_OK;
}

static const int zone = 0;
static const struct fsp_check_context context = {&zone, INT64_C(4000000000), name_entry, NULL};

struct book *
book_new(void)
{
    struct book *book = calloc(1, sizeof(*book));

    assert_non_null(book);
    return book;
}

void
book_free(struct book *book)
{
    size_t i;

    fsp_ledger_free(book->ledger);
    for (i = 0; i < book->n; i++)
        fsp_record_free(book->records[i]);
    free(book);
}

size_t
book_put_signed(struct book *book, const char *kind, const char *at, const char *members,
        enum fsp_sig_state sig)
{
    struct fsp_typed typed[MEMBERS_MAX] = {{"at", at}, {"by", "clerk"}};
    struct fsp_ledger_entry *entry = &book->entries[book->n];
    struct fsp_record *record = NULL;
    struct fsp_err err = {0};
    char copy[4096];
    size_t n = 2;
    char *piece, *rest = copy;

    assert_true(book->n < BOOK_MAX);
    (void)snprintf(copy, sizeof(copy), "%s", members);
    while (*rest != 0) {
        char *equals;

        piece = rest;
        rest += strcspn(rest, "|");
        if (*rest != 0)
            *rest++ = 0;
        equals = strchr(piece, '=');
        assert_non_null(equals);
        assert_true(n < MEMBERS_MAX);
        *equals = 0;
        typed[n].name = piece;
        typed[n++].value = equals + 1;
    }
    assert_ok(fsp_check_typed(kind, typed, n, &context, &record, &err), &err);
    entry->record = record;
    book->records[book->n] = record;
    entry->index = book->n;
    entry->sig = sig;
    make_leaf(book->n, entry->leaf);
    return book->n++;
}

size_t
book_put(struct book *book, const char *kind, const char *at, const char *members)
{
    return book_put_signed(book, kind, at, members, FSP_SIG_NONE);
}

void
book_noted(struct book *book, size_t index, const char *noted)
{
    struct fsp_err err = {0};

    assert_ok(fsp_record_set_text(book->records[index], "noted", noted, &err), &err);
}

void
book_open(struct book *book)
{
    book_put(book, "rig", "2026-03-01T00:00:00Z",
            "mast=142ft|drum=30in|block=47000lb|bearing=roller|drive=top-drive");
    book_put(book, "reel", "2026-03-01T00:01:00Z",
            "reel=R-1|rope=1-3/8in|grade=EIPS|received=5000ft|strung=1400ft|lines=10");
    book_put(book, "drill-string", "2026-03-01T00:02:00Z",
            "pipe=19.5lb/ft|stand=93ft|bha-weight=60000lb|bha-length=600ft|mud=10ppg");
    book_put(book, "program", "2026-03-01T00:03:00Z",
            "cut=90ft|first-goal=1500ton-miles|later-goal=1300ton-miles|slips=3");
}

const struct fsp_ledger *
book_fold_in(struct book *book, const size_t *order, size_t n)
{
    struct fsp_err err = {0};
    size_t i;

    fsp_ledger_free(book->ledger);
    book->ledger = NULL;
    assert_ok(fsp_ledger_new(&book->ledger, &err), &err);
    for (i = 0; i < n; i++)
        assert_ok(fsp_ledger_add(
                          book->ledger, &book->entries[order == NULL ? i : order[i]], &err),
                &err);
    assert_ok(fsp_ledger_fold(book->ledger, INT64_C(1800000000), &err), &err);
    return book->ledger;
}

const struct fsp_ledger *
book_fold(struct book *book)
{
    return book_fold_in(book, NULL, book->n);
}

const struct fsp_ledger_view *
book_view(struct book *book)
{
    return fsp_ledger_peek(book_fold(book));
}

bool
book_note(const struct fsp_ledger *ledger, const char *text)
{
    const char *note;
    size_t i;

    for (i = 0; (note = fsp_ledger_note(ledger, i)) != NULL; i++) {
        if (strstr(note, text) != NULL)
            return true;
    }
    return false;
}

double
ton_miles(double joules)
{
    return joules / FSP_TON_MILE_J;
}

double
feet(double metres)
{
    return metres / FSP_FT_M;
}
