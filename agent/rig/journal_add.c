/* Adding records: the matching of rows with entries, and the one transaction of every append. The
 * invariants are those of journal.c. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"
#include "proof/tree.h"
#include "rig/journal_priv.h"
#include "rig/journal_sql.h"
#include "rig/reel.h"
#include "store/logtable.h"

#define NOTED_LAG 3600 /* seconds the stored latest `noted` may lag behind the entries */

/* One row on its way in. */
struct item {
    struct fsp_record *record;
    size_t line;
    size_t place; /* in the file, for a stable order */
    char *key;
    char *tour; /* tour and row: what tells two rows of one file apart */
    uint8_t hash[FSP_IDENT_LEN];
    bool known;
};

/* An entry that has the same key, as it was written or as an amendment left it. */
struct held {
    uint8_t hash[FSP_IDENT_LEN];
    struct fsp_place place;
    bool met; /* a row of the file equals it */
};

struct held_list {
    struct held *items;
    size_t n;
    size_t cap;
    bool corrected; /* some entry is there in more than one form */
};

/* ---- identity ---------------------------------------------------------------------------- */

/* Records that the programs make themselves: typed by hand they would claim what is not so. */
static enum fsp_rc
refuse_made(const struct fsp_record *record, struct fsp_err *err)
{
    const char *kind = fsp_record_text(record, "kind");

    if (kind == NULL || strcmp(kind, "renewal") != 0)
        return FSP_OK;
    return fsp_err_set(err, FSP_EFORMAT,
            "a renewal is not entered by hand; it is made by: farspool-rig renew --why TEXT");
}

static enum fsp_rc
identify(struct item *item, struct fsp_err *err)
{
    const char *tour = fsp_record_text(item->record, "tour");
    struct fsp_ident ident;
    struct fsp_buf buf;
    int64_t row;
    enum fsp_rc rc = refuse_made(item->record, err);

    if (rc == FSP_OK)
        rc = fsp_journal_ident(item->record, &ident, err);
    if (rc != FSP_OK)
        return rc;
    memcpy(item->hash, ident.hash, sizeof(item->hash));
    item->key = fsp_mem_text(ident.key, strlen(ident.key));
    fsp_buf_init(&buf, FSP_ENTRY_MAX);
    fsp_buf_add_text(&buf, tour == NULL ? "" : tour);
    if (fsp_record_int(item->record, "row", &row))
        fsp_buf_printf(&buf, "\n%lld", (long long)row);
    rc = fsp_buf_check(&buf, "a record", err);
    if (rc == FSP_OK)
        item->tour = fsp_mem_text(fsp_buf_peek(&buf), buf.len);
    if (rc == FSP_OK && (item->key == NULL || item->tour == NULL))
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
    fsp_buf_fini(&buf);
    return rc;
}

/* By key, then what tells rows apart, then identity, then place: equal rows stand together. */
static int
by_key(const void *left, const void *right)
{
    const struct item *a = *(const struct item *const *)left;
    const struct item *b = *(const struct item *const *)right;
    int order = strcmp(a->key, b->key);

    if (order == 0)
        order = strcmp(a->tour, b->tour);
    if (order == 0)
        order = memcmp(a->hash, b->hash, FSP_IDENT_LEN);
    if (order == 0)
        order = a->place < b->place ? -1 : 1;
    return order;
}

static bool
before(const struct fsp_place *a, const struct fsp_place *b)
{
    return a->log == b->log ? a->index < b->index : a->log < b->log;
}

static bool
same_place(const struct fsp_place *a, const struct fsp_place *b)
{
    return a->log == b->log && a->index == b->index;
}

static int
by_hash(const void *left, const void *right)
{
    const struct held *a = left;
    const struct held *b = right;
    int order = memcmp(a->hash, b->hash, FSP_IDENT_LEN);

    if (order == 0)
        order = before(&a->place, &b->place) ? -1 : 1;
    return order;
}

/* The entries with this key, sorted by identity, then index. */
static enum fsp_rc
load_held(struct fsp_db *db, const char *key, struct held_list *list, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;
    bool row = false;

    list->n = 0;
    list->corrected = false;
    rc = fsp_stmt_get(db, FSP_SQL_IDENT_GET, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, key);
    for (;;) {
        const uint8_t *hash;
        size_t len;

        rc = fsp_stmt_step(stmt, &row, err);
        if (rc != FSP_OK)
            return rc;
        if (!row)
            break;
        if (fsp_mem_grow((void **)&list->items, &list->cap, list->n + 1,
                    sizeof(*list->items)) != 0) {
            rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
            break;
        }
        hash = fsp_stmt_blob(stmt, 0, &len);
        if (len != FSP_IDENT_LEN) {
            rc = fsp_err_set(err, FSP_ECORRUPT, "an identity is damaged; run: check");
            break;
        }
        memcpy(list->items[list->n].hash, hash, FSP_IDENT_LEN);
        list->items[list->n].place.log = fsp_stmt_int(stmt, 3);
        list->items[list->n].place.index = (uint64_t)fsp_stmt_int(stmt, 1);
        list->items[list->n].met = false;
        list->corrected = list->corrected || fsp_stmt_int(stmt, 2) != 0;
        list->n++;
    }
    fsp_stmt_reset(stmt);
    if (rc == FSP_OK && list->n > 1)
        qsort(list->items, list->n, sizeof(*list->items), by_hash);
    return rc;
}

/* ---- a file's rows against the log ------------------------------------------------------- */

static void
say_line(const struct item *item, char *out, size_t size)
{
    if (item->line == 0)
        (void)snprintf(out, size, "this record");
    else
        (void)snprintf(out, size, "line %zu", item->line);
}

static enum fsp_rc
refuse_entry(const struct fsp_journal *journal, const struct item *item,
        const struct fsp_place *place, struct fsp_err *err)
{
    unsigned long long index = place->index;
    char line[40];

    say_line(item, line, sizeof(line));
    if (place->log != journal->log)
        return fsp_err_set(err, FSP_EFORMAT,
                "%s: an entry of an earlier log has the same time, kind and op (%s) but "
                "differs "
                "otherwise (find it with: print --log, number %llu); if this corrects it, "
                "amend "
                "it by its whole name {log,index,leaf}, if it is another piece of work, give "
                "--also",
                line, item->key, index);
    return fsp_err_set(err, FSP_EFORMAT,
            "%s: entry %llu has the same time, kind and op (%s) but differs otherwise; if it "
            "corrects that entry, amend it (enter amend entry=%llu reason=... "
            "'set={\"FIELD\":\"VALUE\"}'), if it is another "
            "piece of work, give --also",
            line, index, item->key, index);
}

/* An entry is met once, in whichever of its forms. */
static bool
entry_is_met(const struct held_list *list, const struct held *item)
{
    if (item->met || !list->corrected)
        return item->met;
    for (size_t i = 0; i < list->n; i++)
        if (list->items[i].met && same_place(&list->items[i].place, &item->place))
            return true;
    return false;
}

/* The first of the entries that no row of the group equals; NULL when each is met. */
static const struct held *
unmet(const struct held_list *list)
{
    const struct held *first = NULL;

    for (size_t i = 0; i < list->n; i++) {
        const struct held *item = &list->items[i];

        if (!entry_is_met(list, item) && (first == NULL || before(&item->place, &first->place)))
            first = item;
    }
    return first;
}

/* Where entries of this identity begin in the sorted list. */
static size_t
lower_bound(const struct held_list *list, const uint8_t *hash)
{
    size_t from = 0;
    size_t to = list->n;

    while (from < to) {
        size_t middle = from + (to - from) / 2;

        if (memcmp(list->items[middle].hash, hash, FSP_IDENT_LEN) < 0)
            from = middle + 1;
        else
            to = middle;
    }
    return from;
}

/* Entries of this identity that no other form met before; they are marked as met. */
static size_t
meet(struct held_list *list, const uint8_t *hash)
{
    size_t met = 0;

    for (size_t i = lower_bound(list, hash);
            i < list->n && memcmp(list->items[i].hash, hash, FSP_IDENT_LEN) == 0; i++) {
        if (entry_is_met(list, &list->items[i]))
            continue;
        list->items[i].met = true;
        met++;
    }
    return met;
}

/* The k-th of a run of identical rows is the k-th identical entry. */
static void
mark_known(struct held_list *list, struct item *const *group, size_t n)
{
    size_t held = 0;

    for (size_t k = 0; k < n; k++) {
        if (k == 0 || memcmp(group[k]->hash, group[k - 1]->hash, FSP_IDENT_LEN) != 0)
            held = meet(list, group[k]->hash);
        group[k]->known = held > 0;
        held -= held > 0;
    }
}

/* Rows of one file with one key: distinct only by tour or row. */
static enum fsp_rc
judge_rows(struct item *const *group, size_t n, struct fsp_err *err)
{
    for (size_t k = 1; k < n; k++) {
        const struct item *a = group[k - 1];
        const struct item *b = group[k];

        if (a->known && b->known)
            continue;
        if (strcmp(a->tour, b->tour) != 0 || memcmp(a->hash, b->hash, FSP_IDENT_LEN) == 0)
            continue;
        return fsp_err_set(err, FSP_EFORMAT,
                "lines %zu and %zu: the same time, kind and op (%s) but different otherwise; "
                "take out the wrong one, or tell them apart by 'row', or give --also",
                a->place < b->place ? a->line : b->line,
                a->place < b->place ? b->line : a->line, a->key);
    }
    return FSP_OK;
}

static enum fsp_rc
judge_group(const struct fsp_journal *journal, struct held_list *list,
        struct item *const *group, size_t n, bool also, struct fsp_err *err)
{
    const struct held *alone;
    size_t first = n;

    mark_known(list, group, n);
    for (size_t k = 0; k < n; k++) {
        if (!group[k]->known && (first == n || group[k]->place < group[first]->place))
            first = k;
    }
    if (also || first == n)
        return FSP_OK;
    alone = unmet(list);
    if (alone != NULL)
        return refuse_entry(journal, group[first], &alone->place, err);
    return judge_rows(group, n, err);
}

static enum fsp_rc
match_rows(struct fsp_journal *journal, struct item *items, size_t n, bool also,
        struct fsp_err *err)
{
    struct held_list list = {.items = NULL};
    struct item **order = fsp_mem_array(n, sizeof(void *)); /* pointers to the items */
    enum fsp_rc rc = FSP_OK;
    size_t from = 0;

    if (order == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; i < n; i++)
        order[i] = &items[i];
    qsort(order, n, sizeof(void *), by_key);
    while (rc == FSP_OK && from < n) {
        size_t to = from + 1;

        while (to < n && strcmp(order[to]->key, order[from]->key) == 0)
            to++;
        rc = load_held(journal->db, order[from]->key, &list, err);
        if (rc == FSP_OK)
            rc = judge_group(journal, &list, order + from, to - from, also, err);
        from = to;
    }
    free(list.items);
    free(order);
    return rc;
}

/* ---- appending --------------------------------------------------------------------------- */

struct batch {
    struct fsp_journal *journal;
    struct fsp_range range;
    char noted[FSP_TIME_TEXT_LEN + 1];
    struct fsp_buf bytes;
};

static enum fsp_rc
append_item(struct batch *batch, const struct item *item, struct fsp_err *err)
{
    struct fsp_db *db = batch->journal->db;
    const struct fsp_place place = {.log = batch->journal->log, .index = batch->range.size};
    enum fsp_rc rc;

    rc = fsp_reel_check(item->record, err);
    if (rc == FSP_OK)
        rc = fsp_journal_note_amendment(batch->journal, item->record, &place, err);
    if (rc == FSP_OK)
        rc = fsp_journal_keep_zone(db, item->record, err);
    if (rc == FSP_OK)
        rc = fsp_record_set_text(item->record, "noted", batch->noted, err);
    if (rc != FSP_OK)
        return rc;
    fsp_buf_reset(&batch->bytes);
    fsp_record_write(item->record, &batch->bytes);
    rc = fsp_buf_check(&batch->bytes, "a record", err);
    if (rc == FSP_OK)
        rc = fsp_logtable_append(
                db, place.log, &batch->range, batch->bytes.data, batch->bytes.len, err);
    if (rc == FSP_OK)
        rc = fsp_journal_keep_ident(db, &place, item->key, item->hash, err);
    if (rc == FSP_OK)
        rc = fsp_journal_note_word(batch->journal, item->record, &place, err);
    return rc;
}

/* Keep the latest `noted`, at most NOTED_LAG behind; most appends leave it alone. */
static enum fsp_rc
keep_noted(struct fsp_journal *journal, int64_t now_s, struct fsp_err *err)
{
    struct fsp_buf buf;
    uint64_t stored = 0;
    enum fsp_rc rc;

    if (now_s <= 0)
        return FSP_OK;
    fsp_buf_init(&buf, 64);
    rc = fsp_journal_meta(journal->db, "noted", &buf, err);
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = FSP_OK;
    } else if (rc == FSP_OK) {
        rc = fsp_text_u64(fsp_buf_peek(&buf), buf.len, &stored);
    }
    fsp_buf_fini(&buf);
    if (rc == FSP_OK && (uint64_t)now_s > stored + NOTED_LAG)
        rc = fsp_journal_set_meta_u64(journal->db, "noted", (uint64_t)now_s, err);
    return rc;
}

void
fsp_journal_on_new(struct fsp_journal *journal, fsp_journal_new *fn, void *ctx)
{
    journal->on_new = fn;
    journal->on_new_ctx = ctx;
}

/* Whoever wants to add to the new records does it now. */
static enum fsp_rc
tell_new(struct fsp_journal *journal, const struct item *items, size_t n, struct fsp_err *err)
{
    struct fsp_record **fresh;
    size_t count = 0;

    if (journal->on_new == NULL)
        return FSP_OK;
    fresh = fsp_mem_array(n, sizeof(struct fsp_record *));
    if (fresh == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; i < n; i++) {
        if (!items[i].known)
            fresh[count++] = items[i].record;
    }
    if (count > 0)
        journal->on_new(journal, journal->on_new_ctx, fresh, count);
    free(fresh);
    return FSP_OK;
}

/* Inside the transaction: everything that is not known yet, in the file's order. */
static enum fsp_rc
append_new(struct fsp_journal *journal, const struct item *items, size_t n,
        struct fsp_journal_added *added, struct fsp_err *err)
{
    struct batch batch = {.journal = journal};
    int64_t now_s = journal->env->utc_us(journal->env->ctx) / FSP_US_PER_S;
    int64_t noted_s;
    int64_t receipt_s;
    enum fsp_rc rc;

    fsp_buf_init(&batch.bytes, FSP_ENTRY_MAX);
    fsp_time_text(now_s, batch.noted);
    rc = fsp_journal_times(journal, &noted_s, &receipt_s, err);
    if (rc == FSP_OK)
        rc = tell_new(journal, items, n, err);
    if (rc == FSP_OK)
        rc = fsp_logtable_tip(journal->db, journal->log, &batch.range, err);
    if (rc != FSP_OK)
        goto out;
    added->first = batch.range.size;
    added->clock_doubtful = now_s < noted_s || now_s < receipt_s;
    for (size_t i = 0; rc == FSP_OK && i < n; i++) {
        if (items[i].known) {
            added->skipped++;
            continue;
        }
        rc = append_item(&batch, &items[i], err);
        added->added++;
        if (rc != FSP_OK && items[i].line != 0)
            rc = fsp_err_wrap(err, rc, "line %zu", items[i].line);
    }
    if (rc == FSP_OK && added->added > 0)
        rc = fsp_logtable_set_tip(journal->db, journal->log, &batch.range, err);
    if (rc == FSP_OK && added->added > 0)
        rc = keep_noted(journal, now_s, err);
out:
    fsp_buf_fini(&batch.bytes);
    return rc;
}

/* Inside the transaction: another process may have renewed the log since this one looked. */
static enum fsp_rc
begin(struct fsp_journal *journal, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_db_begin(journal->db, err);

    return rc == FSP_OK ? fsp_journal_refresh(journal, err) : rc;
}

static enum fsp_rc
may_append(struct fsp_journal *journal, struct fsp_err *err)
{
    if (journal->state == FSP_JOURNAL_SOUND)
        return FSP_OK;
    return fsp_err_set(err, FSP_EFORK,
            "%s: history incomplete: %s; nothing is added to this log, keep the day sheets; "
            "ask the "
            "office for a hand-back, then: farspool-rig renew",
            journal->folder, fsp_buf_peek(&journal->why));
}

static void
items_free(struct item *items, size_t n)
{
    for (size_t i = 0; items != NULL && i < n; i++) {
        free(items[i].key);
        free(items[i].tour);
    }
    free(items);
}

enum fsp_rc
fsp_journal_take(struct fsp_journal *journal, const struct fsp_journal_row *rows, size_t n,
        bool also, struct fsp_journal_added *added, struct fsp_err *err)
{
    struct item *items = NULL;
    enum fsp_rc rc;

    memset(added, 0, sizeof(*added));
    rc = may_append(journal, err);
    if (rc != FSP_OK)
        return rc;
    items = fsp_mem_array(n, sizeof(*items));
    if (items == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; rc == FSP_OK && i < n; i++) {
        items[i].record = rows[i].record;
        items[i].line = rows[i].line;
        items[i].place = i;
        rc = identify(&items[i], err);
    }
    if (rc == FSP_OK)
        rc = begin(journal, err);
    if (rc == FSP_OK)
        rc = match_rows(journal, items, n, also, err);
    if (rc == FSP_OK)
        rc = append_new(journal, items, n, added, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(journal->db, err);
    if (rc != FSP_OK) {
        fsp_db_rollback(journal->db);
        memset(added, 0, sizeof(*added));
    }
    items_free(items, n);
    return rc;
}

/* ---- one record -------------------------------------------------------------------------- */

/* Has the token been used? Then *known, and by the same record, else it is refused. */
static enum fsp_rc
find_once(struct fsp_db *db, const char *once, const struct item *item,
        struct fsp_journal_added *added, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    const uint8_t *hash;
    size_t len;
    enum fsp_rc rc;
    bool row = false;

    rc = fsp_stmt_get(db, FSP_SQL_ONCE_GET, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, once);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc != FSP_OK || !row)
        return rc;
    added->known = true;
    added->skipped = 1;
    added->first = (uint64_t)fsp_stmt_int(stmt, 0);
    hash = fsp_stmt_blob(stmt, 1, &len);
    if (len != FSP_IDENT_LEN || memcmp(hash, item->hash, FSP_IDENT_LEN) != 0)
        rc = fsp_err_set(err, FSP_EINVAL,
                "--once %s: was used for entry %llu, which differs from this record; use a new "
                "token for each record",
                once, (unsigned long long)added->first);
    fsp_stmt_reset(stmt);
    return rc;
}

static enum fsp_rc
keep_once(const struct fsp_journal *journal, const char *once, const struct item *item,
        uint64_t index, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(journal->db, FSP_SQL_ONCE_ADD, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, once);
    fsp_stmt_bind_int(stmt, 2, journal->log);
    fsp_stmt_bind_int(stmt, 3, (int64_t)index);
    fsp_stmt_bind_blob(stmt, 4, item->hash, FSP_IDENT_LEN);
    return fsp_stmt_run(stmt, err);
}

/* An identical entry is named, not refused: to enter one thing twice is legal, and said. */
static enum fsp_rc
compare_one(struct fsp_journal *journal, const struct item *item, bool also,
        struct fsp_journal_added *added, struct fsp_err *err)
{
    struct held_list list = {.items = NULL};
    enum fsp_rc rc = load_held(journal->db, item->key, &list, err);
    size_t first;

    if (rc != FSP_OK)
        goto out;
    first = lower_bound(&list, item->hash);
    if (meet(&list, item->hash) > 0) {
        added->has_twin = true;
        added->twin = list.items[first].place.index;
    } else if (!also && list.n > 0) {
        rc = refuse_entry(journal, item, &unmet(&list)->place, err);
    }
out:
    free(list.items);
    return rc;
}

static enum fsp_rc
enter_one(struct fsp_journal *journal, const struct item *item, const char *once, bool also,
        struct fsp_journal_added *added, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    if (once != NULL)
        rc = find_once(journal->db, once, item, added, err);
    if (rc != FSP_OK || added->known)
        return rc;
    rc = compare_one(journal, item, also, added, err);
    if (rc == FSP_OK)
        rc = append_new(journal, item, 1, added, err);
    if (rc == FSP_OK && once != NULL)
        rc = keep_once(journal, once, item, added->first, err);
    return rc;
}

struct wish {
    bool also;
    bool keep;
};

/* Everything that an append does; kept only when `keep`. */
static enum fsp_rc
append_one(struct fsp_journal *journal, struct item *item, const char *once,
        const struct wish *wish, struct fsp_journal_added *added, struct fsp_err *err)
{
    enum fsp_rc rc = identify(item, err);

    if (rc == FSP_OK)
        rc = begin(journal, err);
    if (rc == FSP_OK)
        rc = enter_one(journal, item, once, wish->also, added, err);
    if (rc == FSP_OK && wish->keep)
        rc = fsp_db_commit(journal->db, err);
    if (rc != FSP_OK || !wish->keep)
        fsp_db_rollback(journal->db);
    if (rc != FSP_OK)
        memset(added, 0, sizeof(*added));
    return rc;
}

static enum fsp_rc
add_alone(struct fsp_journal *journal, struct fsp_record *record, const char *once,
        const struct wish *wish, struct fsp_journal_added *added, struct fsp_err *err)
{
    struct item item = {.record = record};
    enum fsp_rc rc;

    memset(added, 0, sizeof(*added));
    if (once != NULL && (once[0] == '\0' || strlen(once) > FSP_ONCE_MAX ||
                                !fsp_text_printable(once, strlen(once))))
        return fsp_err_set(err, FSP_EINVAL,
                "--once: a token is 1 to %d bytes of printable text", FSP_ONCE_MAX);
    rc = may_append(journal, err);
    if (rc == FSP_OK)
        rc = append_one(journal, &item, once, wish, added, err);
    free(item.key);
    free(item.tour);
    return rc;
}

enum fsp_rc
fsp_journal_try(struct fsp_journal *journal, struct fsp_record *record, const char *once,
        bool also, struct fsp_journal_added *added, struct fsp_err *err)
{
    const struct wish wish = {.also = also, .keep = false};

    return add_alone(journal, record, once, &wish, added, err);
}

enum fsp_rc
fsp_journal_enter(struct fsp_journal *journal, struct fsp_record *record, const char *once,
        bool also, struct fsp_journal_added *added, struct fsp_err *err)
{
    const struct wish wish = {.also = also, .keep = true};

    return add_alone(journal, record, once, &wish, added, err);
}
