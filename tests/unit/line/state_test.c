#include "unit/line/book.h"

#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "line/state.h"

#define AS_OF     INT64_C(1800000000)
#define HISTORIES ((size_t)60)
#define KEPT_MAX  64

/* xorshift, seeded, so that a failure can be repeated. */
static uint32_t seed_now;

static uint32_t
dice(uint32_t sides)
{
    seed_now ^= seed_now << 13;
    seed_now ^= seed_now >> 17;
    seed_now ^= seed_now << 5;
    return seed_now % sides;
}

/* ---- a random history with every kind of record that counts ---- */

static const char *
random_work(char *out, size_t size)
{
    static const char *const when[] = {"", "", "", "|when=before", "|when=after"};
    unsigned from = 3000 + dice(90) * 100;

    switch (dice(6)) {
    case 0:
        (void)snprintf(out, size, "op=drilling|from=%uft|to=%uft", from, from + 300);
        break;
    case 1:
        (void)snprintf(
                out, size, "op=moves|count=%u|stroke=20ft|up=300klb|down=200klb", 1 + dice(50));
        break;
    case 2:
        (void)snprintf(out, size,
                "op=counted|begin=2026-01-01T00:00:00Z|"
                "end=2026-01-01T06:00:00Z|ton-miles=%u|source=feed|gaps=%u",
                10 + dice(90), dice(4) == 0 ? 5U : 0U);
        break;
    case 3:
        (void)snprintf(out, size, "op=pull-out|from=%uft|to=0ft|hookload=%uklb", from,
                150 + dice(300));
        break;
    default:
        (void)snprintf(out, size, "op=round-trip|depth=%uft|pull=%uklb%s", from,
                200 + dice(550), when[dice(5)]);
        break;
    }
    return out;
}

static void
random_amend(struct book *book, const char *at)
{
    static const char *const sets[] = {"void=yes", "set={\"hookload\":\"250klb\"}",
            "set={\"length\":\"60ft\"}", "set={\"note\":\"mended\"}"};
    char members[200], moved[64];
    uint32_t target = dice((uint32_t)book->n);
    const char *what = sets[dice(4)];

    if (dice(5) == 0) {
        (void)snprintf(moved, sizeof(moved), "set={\"at\":\"2026-03-%02uT%02u:00:00Z\"}",
                1 + dice(28), dice(24));
        what = moved;
    }
    (void)snprintf(members, sizeof(members), "entry=%u|reason=mistyped|%s", target, what);
    book_put_signed(book, "amend", at, members, dice(2) == 0 ? FSP_SIG_GOOD : FSP_SIG_NONE);
}

static void
random_other(struct book *book, const char *at)
{
    static const char *const lists[][2] = {
            {"state", "state=stacked"},
            {"state", "state=working"},
            {"state", "state=moving"},
            {"well", "well=LB-1|formation=hard"},
            {"well", "well=LB-2"},
            {"tour", "tour=day|complete=yes|bit-depth=9300ft"},
            {"tour", "tour=night|complete=no"},
            {"adverse", "what=deviation|state=begins|derate=80%"},
            {"adverse", "what=deviation|state=ends"},
            {"adverse", "what=jarring|state=begins"},
            {"check", "item=crown-saver|result=good"},
            {"check", "item=anchor|result=good"},
            {"turn", "reel=R-1"},
            {"string-up", "lines=12|drawn=280ft"},
            {"string-up", "lines=10|returned=280ft"},
            {"program",
                    "cut=95ft|first-goal=1600ton-miles|later-goal=1400ton-miles|basis=hand"},
            {"program", "cut=90ft|first-goal=1500ton-miles|later-goal=1300ton-miles|slips=2|"
                        "credit-above=on|basis=counted"},
            {"drill-string",
                    "pipe=22lb/ft|stand=93ft|bha-weight=70000lb|bha-length=700ft|mud=11ppg"},
            {"rig", "mast=142ft|drum=30in|block=50000lb|bearing=plain|ratings="
                    "[{\"part\":\"hook\",\"load\":\"400klb\"}]"},
            {"rig", "mast=142ft|drum=32in|block=50000lb"},
            {"unhang", "reel=R-1"},
            {"reel", "reel=R-2|rope=1-3/8in|grade=EIPS|received=4000ft|strung=1400ft|lines=10|"
                     "state=used|carried-total=900"},
            {"reel", "reel=R-1|rope=35mm|grade=1960|received=1500m|strung=430m|lines=10|class="
                     "6x19|"
                     "build=6x26WS|core=IWRC"},
    };
    static const char *const decisions[] = {
            "run", "run", "watch", "slip", "cut", "out-of-service"};
    uint32_t pick = dice(30);
    char members[400];

    if (pick < sizeof(lists) / sizeof(lists[0])) {
        book_put(book, lists[pick][0], at, lists[pick][1]);
        return;
    }
    (void)snprintf(members, sizeof(members),
            "fleet=lantern-basin|rig=heron|reel=R-1|inspector=An "
            "Inspector|scope=%s|decision=%s%s",
            dice(2) == 0 ? "tour" : "monthly", decisions[dice(6)],
            dice(3) == 0 ? "|defects=[{\"place\":\"anchor\",\"what\":\"worn\"}]" : "");
    book_put_signed(
            book, "inspection", at, members, dice(2) == 0 ? FSP_SIG_GOOD : FSP_SIG_NONE);
}

static void
random_record(struct book *book, const char *at)
{
    char members[300];
    uint32_t pick = dice(20);
    size_t index = book->n;

    if (pick < 9) {
        book_put(book, "work", at, random_work(members, sizeof(members)));
    } else if (pick < 11) {
        book_put(book, "slip", at, "length=30ft");
    } else if (pick < 13) {
        (void)snprintf(members, sizeof(members),
                "length=%uft|slipped=%uft|reason=%s|condition=%s", 80 + dice(40), dice(2) * 60,
                dice(2) == 0 ? "goal" : "broken-wires", dice(2) == 0 ? "wear-left" : "normal");
        book_put(book, "cut", at, members);
    } else if (pick < 15) {
        random_amend(book, at);
    } else if (pick < 16 && dice(4) == 0) {
        book->entries[book->n].index = book->n; /* cannot be read */
        book->entries[book->n].leaf[0] = 0xee;
        book->entries[book->n].leaf[1] = (uint8_t)book->n;
        book->n++;
        return;
    } else {
        random_other(book, at);
    }
    if (dice(10) == 0)
        book_noted(book, index, "2026-03-15T00:00:00Z");
}

/* Mostly in the order of time, some late, many sharing minutes. */
static struct book *
history(uint32_t seed, size_t n)
{
    struct book *book = book_new();
    unsigned hour = 0;
    char at[32];
    size_t i;

    seed_now = seed * 2654435761U + 1;
    book_open(book);
    for (i = 0; i < n; i++) {
        unsigned h = hour;

        hour += dice(9);
        if (dice(12) == 0)
            h = dice(hour + 1);
        (void)snprintf(at, sizeof(at), "2026-03-%02uT%02u:%02u:00Z", 2 + h / 24 % 27, h % 24,
                dice(3) == 0 ? dice(60) : 0);
        random_record(book, at);
        if (seed % 3 == 0 && i > n / 2)
            book->entries[book->n - 1].log = 1; /* a renewal continues the log */
    }
    return book;
}

/* ---- folding ---- */

struct kept {
    struct fsp_buf states[KEPT_MAX];
    size_t n;
};

static enum fsp_rc
keep(void *ctx, const struct fsp_ledger *ledger, struct fsp_err *err)
{
    struct kept *kept = ctx;
    enum fsp_rc rc;

    if (kept->n == KEPT_MAX)
        return FSP_OK;
    fsp_buf_init(&kept->states[kept->n], FSP_STATE_MAX);
    rc = fsp_ledger_save(ledger, &kept->states[kept->n], err);
    if (rc == FSP_OK) {
        kept->n++;
        return FSP_OK;
    }
    fsp_buf_fini(&kept->states[kept->n]);
    return rc == FSP_EAGAIN ? FSP_OK : rc;
}

static void
forget(struct kept *kept)
{
    while (kept->n > 0)
        fsp_buf_fini(&kept->states[--kept->n]);
}

/* Everything a ledger says, and its state. */
static void
say_all(const struct fsp_ledger *ledger, struct fsp_buf *says)
{
    struct fsp_err err = {0};

    fsp_ledger_json(ledger, says);
    fsp_ledger_text(ledger, says);
    if (fsp_ledger_save(ledger, says, &err) != FSP_OK)
        fsp_buf_add_text(says, err.text);
}

/* Fold the first n entries; states at the cuts and at the end into kept. */
static void
fold_all(const struct book *book, size_t n, struct kept *kept, struct fsp_buf *says)
{
    struct fsp_ledger *ledger = NULL;
    struct fsp_err err = {0};
    size_t i;

    assert_ok(fsp_ledger_new(&ledger, &err), &err);
    fsp_ledger_on_cut(ledger, keep, kept);
    for (i = 0; i < n; i++)
        assert_ok(fsp_ledger_add(ledger, &book->entries[i], &err), &err);
    assert_ok(fsp_ledger_fold(ledger, AS_OF, &err), &err);
    assert_ok(keep(kept, ledger, &err), &err);
    if (says != NULL) {
        say_all(ledger, says);
    }
    fsp_ledger_free(ledger);
}

static bool
wanted(const struct fsp_ledger_entry *entry, const struct fsp_state_about *about)
{
    const char *kind = entry->record == NULL ? NULL : fsp_record_text(entry->record, "kind");
    int64_t at_s = 0;

    if (entry->log >= about->logs || entry->index >= about->size[entry->log] ||
            (kind != NULL && strcmp(kind, "amend") == 0))
        return true;
    return entry->record != NULL && fsp_record_time(entry->record, "at", &at_s) &&
           at_s >= about->from_s;
}

/* Restore, add what is wanted (or everything), fold. */
static enum fsp_rc
fold_from(const struct book *book, const struct fsp_buf *state, bool everything,
        struct fsp_buf *says)
{
    struct fsp_ledger *ledger = NULL;
    struct fsp_state_about about;
    struct fsp_err err = {0};
    enum fsp_rc rc;
    size_t i;

    assert_ok(fsp_ledger_new(&ledger, &err), &err);
    assert_ok(fsp_ledger_restore(ledger, state->data, state->len, &err), &err);
    assert_ok(fsp_ledger_state_about(state->data, state->len, &about, &err), &err);
    for (i = 0; i < book->n; i++) {
        if (everything || wanted(&book->entries[i], &about))
            assert_ok(fsp_ledger_add(ledger, &book->entries[i], &err), &err);
    }
    rc = fsp_ledger_fold(ledger, AS_OF, &err);
    if (rc == FSP_OK) {
        say_all(ledger, says);
        assert_ok(fsp_ledger_fold(ledger, AS_OF, &err), &err); /* and once more: no change */
    }
    fsp_ledger_free(ledger);
    return rc;
}

static void
same(uint32_t seed, size_t which, const struct fsp_buf *a, const struct fsp_buf *b)
{
    size_t i = 0;

    if (a->len == b->len && memcmp(a->data, b->data, a->len) == 0)
        return;
    while (i < a->len && i < b->len && a->data[i] == b->data[i])
        i++;
    fail_msg("seed %u, state %zu: from byte %zu\n%.300s\n---- instead of\n%.300s",
            (unsigned)seed, which, i, (const char *)a->data + (i > 100 ? i - 100 : 0),
            (const char *)b->data + (i > 100 ? i - 100 : 0));
}

static void
from_every_stored_point_the_fold_equals_the_full_one_to_the_bit(void **state)
{
    static struct kept kept;
    struct fsp_buf whole, part;
    uint32_t seed;
    size_t i, compared = 0;

    (void)state;
    for (seed = 1; seed <= HISTORIES; seed++) {
        struct book *book = history(seed, 40 + seed * 3);

        fsp_buf_init(&whole, FSP_STATE_MAX);
        fold_all(book, book->n, &kept, &whole);
        for (i = 0; i < kept.n; i++) {
            fsp_buf_init(&part, FSP_STATE_MAX);
            assert_int_equal(fold_from(book, &kept.states[i], i % 2 == 0, &part), FSP_OK);
            same(seed, i, &part, &whole);
            compared++;
            fsp_buf_fini(&part);
        }
        forget(&kept);
        fsp_buf_fini(&whole);
        book_free(book);
    }
    assert_true(compared > 3 * HISTORIES);
}

/* States of what had arrived by then; what arrives later is in order, late, or amends. */
static void
what_arrives_later_gives_the_same_or_asks_for_an_older_state(void **state)
{
    static struct kept kept;
    struct fsp_buf whole, part;
    size_t i, good = 0, older = 0;
    uint32_t seed;

    (void)state;
    for (seed = 101; seed <= 100 + HISTORIES; seed++) {
        struct book *book = history(seed, 60 + seed % 50);
        size_t then = book->n / 2 + dice((uint32_t)book->n / 2);
        struct kept none = {.n = KEPT_MAX};

        fsp_buf_init(&whole, FSP_STATE_MAX);
        fold_all(book, book->n, &none, &whole);
        fold_all(book, then, &kept, NULL);
        for (i = 0; i < kept.n; i++) {
            fsp_buf_init(&part, FSP_STATE_MAX);
            if (fold_from(book, &kept.states[i], i % 2 == 0, &part) == FSP_OK) {
                same(seed, i, &part, &whole);
                good++;
            } else {
                older++;
            }
            fsp_buf_fini(&part);
        }
        forget(&kept);
        fsp_buf_fini(&whole);
        book_free(book);
    }
    assert_true(good > HISTORIES / 2);
    assert_true(older > HISTORIES / 2);
}

static void
one_more_record_in_order_needs_only_the_end_state_and_itself(void **state)
{
    static struct kept kept;
    struct book *book = book_new();
    struct fsp_buf whole, part;
    struct kept none = {.n = KEPT_MAX};
    struct fsp_ledger *ledger = NULL;
    struct fsp_err err = {0};
    size_t i, last;

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=9000ft");
    book_put(book, "cut", "2026-03-03T00:00:00Z", "length=90ft|slipped=90ft|reason=goal");
    fold_all(book, book->n, &kept, NULL);
    assert_int_equal(kept.n, 2);
    last = book_put(book, "work", "2026-03-04T00:00:00Z", "op=round-trip|depth=9100ft");
    fsp_buf_init(&whole, FSP_STATE_MAX);
    fsp_buf_init(&part, FSP_STATE_MAX);
    fold_all(book, book->n, &none, &whole);
    assert_ok(fsp_ledger_new(&ledger, &err), &err);
    assert_ok(fsp_ledger_restore(ledger, kept.states[1].data, kept.states[1].len, &err), &err);
    assert_ok(fsp_ledger_add(ledger, &book->entries[last], &err), &err);
    assert_ok(fsp_ledger_fold(ledger, AS_OF, &err), &err);
    fsp_ledger_json(ledger, &part);
    assert_memory_equal(part.data, whole.data, part.len);
    /* Restoring into a ledger that has entries is refused. */
    assert_int_equal(fsp_ledger_restore(ledger, kept.states[0].data, kept.states[0].len, &err),
            FSP_EINVAL);
    fsp_ledger_free(ledger);
    for (i = 0; i < 2; i++) {
        struct fsp_state_about about;

        assert_ok(fsp_ledger_state_about(kept.states[i].data, kept.states[i].len, &about, &err),
                &err);
        assert_int_equal(about.logs, 1);
        assert_int_equal(about.size[0], 6);
        assert_int_equal(about.cuts, 1);
        assert_int_equal(about.from_s, INT64_C(1772496060)); /* 2026-03-03T00:01:00Z */
    }
    forget(&kept);
    fsp_buf_fini(&whole);
    fsp_buf_fini(&part);
    book_free(book);
}

static void
a_late_entry_and_a_late_amendment_ask_for_an_older_state(void **state)
{
    static struct kept kept;
    struct book *book = book_new();
    struct fsp_buf part;

    (void)state;
    book_open(book);
    book_put(book, "work", "2026-03-02T00:00:00Z", "op=round-trip|depth=9000ft");
    book_put(book, "cut", "2026-03-03T00:00:00Z", "length=90ft|slipped=90ft|reason=goal");
    book_put(book, "work", "2026-03-05T00:00:00Z", "op=round-trip|depth=9000ft");
    fold_all(book, book->n, &kept, NULL);
    fsp_buf_init(&part, FSP_STATE_MAX);
    book_put(book, "amend", "2026-03-06T00:00:00Z",
            "entry=6|reason=mistyped|set={\"depth\":\"9200ft\"}");
    assert_int_equal(fold_from(book, &kept.states[1], false, &part), FSP_EAGAIN);
    assert_int_equal(fold_from(book, &kept.states[0], false, &part), FSP_OK);
    book->n--;
    fsp_record_free(book->records[book->n]);
    book->records[book->n] = NULL;
    book_put(book, "work", "2026-03-04T00:00:00Z", "op=round-trip|depth=9000ft");
    assert_int_equal(fold_from(book, &kept.states[1], true, &part), FSP_EAGAIN);
    assert_int_equal(fold_from(book, &kept.states[0], true, &part), FSP_OK);
    fsp_buf_fini(&part);
    forget(&kept);
    book_free(book);
}

static void
a_state_of_other_rules_or_damaged_is_refused_and_leaves_the_ledger_new(void **state)
{
    static struct kept kept;
    struct book *book = history(7, 80);
    struct fsp_ledger *ledger = NULL;
    struct fsp_state_about about;
    struct fsp_err err = {0};
    struct fsp_buf *one;
    size_t i;

    (void)state;
    fold_all(book, book->n, &kept, NULL);
    one = &kept.states[kept.n - 1];
    assert_ok(fsp_ledger_new(&ledger, &err), &err);
    for (i = 0; i < one->len; i++) {
        one->data[i] ^= 0x41;
        assert_int_equal(fsp_ledger_restore(ledger, one->data, one->len, &err), FSP_EFORMAT);
        one->data[i] ^= 0x41;
    }
    for (i = 0; i < one->len; i += 7)
        assert_int_equal(fsp_ledger_state_about(one->data, i, &about, &err), FSP_EFORMAT);
    assert_ok(fsp_ledger_restore(ledger, one->data, one->len, &err), &err);
    assert_ok(fsp_ledger_restore(ledger, one->data, one->len, &err), &err);
    fsp_ledger_free(ledger);
    forget(&kept);
    book_free(book);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(from_every_stored_point_the_fold_equals_the_full_one_to_the_bit),
            cmocka_unit_test(what_arrives_later_gives_the_same_or_asks_for_an_older_state),
            cmocka_unit_test(one_more_record_in_order_needs_only_the_end_state_and_itself),
            cmocka_unit_test(a_late_entry_and_a_late_amendment_ask_for_an_older_state),
            cmocka_unit_test(
                    a_state_of_other_rules_or_damaged_is_refused_and_leaves_the_ledger_new),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
