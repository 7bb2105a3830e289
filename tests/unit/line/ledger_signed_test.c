#include "support/test.h"

#include <stdio.h>
#include <string.h>

#include "book.h"

#define SEEN "fleet=lantern-basin|rig=heron|inspector=ada|scope=monthly|reel=R-1|decision="

static size_t
put_amend(struct book *book, const char *at, size_t entry, const char *change,
        enum fsp_sig_state sig)
{
    char members[200];

    (void)snprintf(members, sizeof(members), "entry=%zu|reason=x|%s", entry, change);
    return book_put_signed(book, "amend", at, members, sig);
}

static bool
stopped(struct book *book)
{
    return book_view(book)->cut_due == FSP_DUE_OUT_OF_SERVICE;
}

static void
every_signature_that_does_not_count_is_told_in_its_words(void **state)
{
    static const struct {
        enum fsp_sig_state sig;
        const char *plain, *run;
    } rows[] = {
            {FSP_SIG_NONE, NULL, "inspection says run, but unsigned: the line stays out"},
            {FSP_SIG_GOOD, NULL, NULL},
            {FSP_SIG_BAD, "inspection: signature does not hold",
                    "says run, but signature does not hold: the line stays out"},
            {FSP_SIG_OFF_ROSTER, "inspection: signer not on the roster",
                    "says run, but signer not on the roster: the line stays out"},
            {FSP_SIG_OUT_OF_DATE, "inspection: signed outside the roster's period",
                    "says run, but signed outside the roster's period: the line stays out"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct book *book = book_new();

        book_open(book);
        book_put_signed(book, "inspection", "2026-03-05T00:00:00Z", SEEN "watch", rows[i].sig);
        assert_int_equal(book_note(book_fold(book), "inspection"), rows[i].plain != NULL);
        if (rows[i].plain != NULL)
            assert_true(book_note(book->ledger, rows[i].plain));
        book_put(book, "inspection", "2026-03-06T00:00:00Z", SEEN "cut");
        book_put_signed(book, "inspection", "2026-03-07T00:00:00Z", SEEN "run", rows[i].sig);
        assert_int_equal(stopped(book), rows[i].run != NULL);
        if (rows[i].run != NULL)
            assert_true(book_note(book->ledger, rows[i].run));
        book_free(book);
    }
}

static void
a_void_without_a_good_countersignature_is_disputed_in_its_words(void **state)
{
    (void)state;
    for (int sig = FSP_SIG_NONE; sig <= FSP_SIG_OUT_OF_DATE; sig++) {
        struct book *book = book_new();
        char says[120];
        size_t seen;

        book_open(book);
        seen = book_put(book, "inspection", "2026-03-05T00:00:00Z", SEEN "cut");
        put_amend(book, "2026-03-06T00:00:00Z", seen, "void=yes", (enum fsp_sig_state)sig);
        assert_int_equal(stopped(book), sig != FSP_SIG_GOOD);
        (void)snprintf(says, sizeof(says),
                "needs a countersignature on the roster, this is %s;",
                fsp_sig_state_text((enum fsp_sig_state)sig));
        assert_int_equal(book_note(book->ledger, says), sig != FSP_SIG_GOOD);
        book_free(book);
    }
}

/* A `run` that was withdrawn with a signature does not come back without one. */
static void
a_signed_void_is_voided_only_with_a_signature(void **state)
{
    struct book *book = book_new();
    size_t run, withdrawn, back;

    (void)state;
    book_open(book);
    book_put(book, "inspection", "2026-03-05T00:00:00Z", SEEN "cut");
    run = book_put_signed(book, "inspection", "2026-03-06T00:00:00Z", SEEN "run", FSP_SIG_GOOD);
    assert_false(stopped(book));
    withdrawn = put_amend(book, "2026-03-07T00:00:00Z", run, "void=yes", FSP_SIG_GOOD);
    assert_true(stopped(book));
    put_amend(book, "2026-03-08T00:00:00Z", withdrawn, "void=yes", FSP_SIG_NONE);
    assert_true(stopped(book));
    assert_true(book_note(book->ledger, "disputed: voiding what a signed entry voids"));
    put_amend(book, "2026-03-09T00:00:00Z", withdrawn, "set={\"reason\":\"y\"}", FSP_SIG_GOOD);
    assert_true(stopped(book));
    assert_true(book_note(book->ledger, "a signed void cannot be changed"));
    back = put_amend(book, "2026-03-10T00:00:00Z", withdrawn, "void=yes", FSP_SIG_GOOD);
    assert_false(stopped(book));
    /* And so on: what was signed is undone by what is signed. */
    put_amend(book, "2026-03-11T00:00:00Z", back, "void=yes", FSP_SIG_NONE);
    assert_false(stopped(book));
    put_amend(book, "2026-03-12T00:00:00Z", back, "void=yes", FSP_SIG_GOOD);
    assert_true(stopped(book));
    book_free(book);
}

/* Somebody agreed with a remark; made into a void afterwards it is not what was agreed with. */
static void
an_amendment_changed_after_it_was_signed_is_not_signed(void **state)
{
    struct book *book = book_new();
    size_t cut, remark;

    (void)state;
    book_open(book);
    cut = book_put(book, "inspection", "2026-03-05T00:00:00Z", SEEN "cut");
    remark = put_amend(
            book, "2026-03-06T00:00:00Z", cut, "set={\"note\":\"seen\"}", FSP_SIG_GOOD);
    assert_true(stopped(book));
    put_amend(book, "2026-03-07T00:00:00Z", remark, "set={\"void\":\"yes\"}", FSP_SIG_NONE);
    assert_true(stopped(book));
    assert_true(book_note(book->ledger, "this is amended; entry"));
    book_free(book);
}

static void
an_unsigned_void_can_be_voided_by_anybody(void **state)
{
    struct book *book = book_new();
    size_t cut, slip, voided;

    (void)state;
    book_open(book);
    cut = book_put(book, "inspection", "2026-03-05T00:00:00Z", SEEN "cut");
    voided = put_amend(book, "2026-03-06T00:00:00Z", cut, "void=yes", FSP_SIG_NONE);
    put_amend(book, "2026-03-07T00:00:00Z", voided, "void=yes", FSP_SIG_NONE);
    assert_true(stopped(book));
    assert_false(book_note(book->ledger, "disputed"));
    slip = book_put(book, "slip", "2026-03-08T00:00:00Z", "length=30ft");
    voided = put_amend(book, "2026-03-09T00:00:00Z", slip, "void=yes", FSP_SIG_GOOD);
    assert_near(feet(book_view(book)->slipped_since_cut_m), 0, 1e-9);
    put_amend(book, "2026-03-10T00:00:00Z", voided, "void=yes", FSP_SIG_NONE);
    assert_near(feet(book_view(book)->slipped_since_cut_m), 30, 1e-9);
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(every_signature_that_does_not_count_is_told_in_its_words),
            cmocka_unit_test(a_void_without_a_good_countersignature_is_disputed_in_its_words),
            cmocka_unit_test(a_signed_void_is_voided_only_with_a_signature),
            cmocka_unit_test(an_amendment_changed_after_it_was_signed_is_not_signed),
            cmocka_unit_test(an_unsigned_void_can_be_voided_by_anybody),
    };

    return cmocka_run_group_tests_name("ledger, signatures", tests, NULL, NULL);
}
