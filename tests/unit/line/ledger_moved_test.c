/* Entries that a renewed log holds again, byte for byte, with another number. */
#include "unit/line/book.h"

#include "support/test.h"

#include <string.h>

#include "line/state.h"

#define AS_OF INT64_C(1800000000)

/* Move entries from `from` on into log 1, their numbers beginning with 1 behind the renewal. */
static void
renew(struct book *book, size_t from)
{
    size_t i;

    for (i = from; i < book->n; i++) {
        book->entries[i].log = 1;
        book->entries[i].index = 1 + i - from;
    }
}

static struct book *
with_a_stated_trip(size_t *work)
{
    struct book *book = book_new();

    book_open(book);
    *work = book_put(book, "work", "2026-03-02T00:00:00Z",
            "op=stated|basis=log|ton-miles=100|hookload=300klb");
    return book;
}

static double
since_cut(struct book *book)
{
    return ton_miles(book_view(book)->work_since_cut_j);
}

static void
an_amendment_finds_an_entry_that_moved_by_its_leaf(void **state)
{
    size_t work, order[16], i;
    struct book *book = with_a_stated_trip(&work);

    (void)state;
    book_put(book, "amend", "2026-03-03T00:00:00Z",
            "entry=4|reason=typo|set={\"ton-miles\":\"250\"}");
    assert_near(since_cut(book), 250, 1e-9);
    renew(book, work);
    assert_int_equal(book->entries[work].index, 1);
    assert_near(since_cut(book), 250, 1e-9);
    assert_false(book_note(book->ledger, "held"));
    for (i = 0; i < book->n; i++)
        order[i] = book->n - 1 - i;
    (void)book_fold_in(book, order, book->n);
    assert_near(ton_miles(fsp_ledger_peek(book->ledger)->work_since_cut_j), 250, 1e-9);
    /* And the voiding of an amendment that moved with it. */
    book_put(book, "amend", "2026-03-04T00:00:00Z", "entry=5|reason=no|void=yes");
    book->entries[book->n - 1].log = 1;
    book->entries[book->n - 1].index = 3;
    assert_near(since_cut(book), 100, 1e-9);
    book_free(book);
}

/* Two equal entries in the chain: the number decides where it can, else the first. */
static void
number_and_leaf_come_before_the_leaf_alone(void **state)
{
    size_t work, again;
    struct book *book = with_a_stated_trip(&work);
    struct fsp_ledger_entry *entry;

    (void)state;
    again = book_put(book, "work", "2026-03-02T00:00:00Z",
            "op=stated|basis=log|ton-miles=100|hookload=300klb");
    book_put(book, "amend", "2026-03-03T00:00:00Z",
            "entry=4|reason=typo|set={\"ton-miles\":\"250\",\"note\":\"this one\"}");
    entry = &book->entries[again];
    memcpy(entry->leaf, book->entries[work].leaf, sizeof(entry->leaf));
    entry->log = 1;
    book->entries[work].index = 9; /* the younger one bears the number named */
    entry->index = 4;
    book->entries[book->n - 1].log = 1;
    book->entries[book->n - 1].index = 5;
    assert_near(since_cut(book), 350, 1e-9);
    entry->index = 3; /* now neither does: the first in the chain, once */
    assert_near(since_cut(book), 350, 1e-9);
    assert_false(book_note(book->ledger, "held"));
    book_free(book);
}

static void
a_leaf_that_is_nowhere_holds_the_amendment(void **state)
{
    size_t work;
    struct book *book = with_a_stated_trip(&work);

    (void)state;
    book_put(book, "amend", "2026-03-03T00:00:00Z",
            "entry=4|reason=typo|set={\"ton-miles\":\"250\"}");
    book->entries[work].leaf[31] = 1;
    assert_near(since_cut(book), 100, 1e-9);
    assert_true(book_note(book->ledger, "amendment held: the entry it names (4)"));
    book_free(book);
}

/* A log renewed may hold the amendment before the entry only by an error: it is not applied. */
static void
an_amendment_never_changes_what_comes_after_it(void **state)
{
    size_t work, amend;
    struct book *book = with_a_stated_trip(&work);

    (void)state;
    amend = book_put(book, "amend", "2026-03-03T00:00:00Z",
            "entry=4|reason=typo|set={\"ton-miles\":\"250\"}");
    book->entries[work].log = 2;
    book->entries[work].index = 7;
    book->entries[amend].log = 1;
    assert_near(since_cut(book), 100, 1e-9);
    assert_true(book_note(book->ledger, "amendment of a later entry: not applied"));
    book_free(book);
}

static enum fsp_rc
from_state(const struct fsp_buf *state, const struct fsp_ledger_entry *entry)
{
    struct fsp_ledger *ledger = NULL;
    struct fsp_err err = {0};
    enum fsp_rc rc;

    assert_ok(fsp_ledger_new(&ledger, &err), &err);
    assert_ok(fsp_ledger_restore(ledger, state->data, state->len, &err), &err);
    assert_ok(fsp_ledger_add(ledger, entry, &err), &err);
    rc = fsp_ledger_fold(ledger, AS_OF, &err);
    fsp_ledger_free(ledger);
    return rc;
}

static void
a_state_that_may_hide_the_entry_is_not_used(void **state)
{
    size_t work, amend;
    struct book *book = with_a_stated_trip(&work);
    struct fsp_err err = {0};
    struct fsp_buf stored;

    (void)state;
    renew(book, work);
    (void)book_fold(book);
    fsp_buf_init(&stored, FSP_STATE_MAX);
    assert_ok(fsp_ledger_save(book->ledger, &stored, &err), &err);
    amend = book_put(book, "amend", "2026-03-03T00:00:00Z",
            "entry=4|reason=typo|set={\"ton-miles\":\"250\"}");
    book->entries[amend].log = 1;
    book->entries[amend].index = 2;
    /* Named by its old number, above what any log of the state holds under it. */
    assert_int_equal(from_state(&stored, &book->entries[amend]), FSP_EAGAIN);
    assert_near(since_cut(book), 250, 1e-9);
    fsp_buf_fini(&stored);
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(an_amendment_finds_an_entry_that_moved_by_its_leaf),
            cmocka_unit_test(number_and_leaf_come_before_the_leaf_alone),
            cmocka_unit_test(a_leaf_that_is_nowhere_holds_the_amendment),
            cmocka_unit_test(an_amendment_never_changes_what_comes_after_it),
            cmocka_unit_test(a_state_that_may_hide_the_entry_is_not_used),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
