/*
 * Amendments: linked to their targets, finished from the newest back, then applied to the entries.
 *
 * An amendment only names entries before it, so when amendments are walked from the end of the
 * log, everything that corrects one has been finished before it is used itself.
 */
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "line/ledger_priv.h"

static int
compare_u64(uint64_t a, uint64_t b)
{
    return (a > b) - (a < b);
}

static int
by_log(const void *left, const void *right)
{
    const struct item *a = *(struct item *const *)left, *b = *(struct item *const *)right;
    int order = compare_u64(a->log, b->log);

    if (order == 0)
        order = compare_u64(a->index, b->index);
    return order != 0 ? order : memcmp(a->leaf, b->leaf, sizeof(a->leaf));
}

static int
by_leaf(const void *left, const void *right)
{
    const struct item *a = *(struct item *const *)left, *b = *(struct item *const *)right;
    int order = memcmp(a->leaf, b->leaf, sizeof(a->leaf));

    if (order == 0)
        order = compare_u64(a->index, b->index);
    return order != 0 ? order : compare_u64(a->log, b->log);
}

/* Sort by log and index; one entry given twice counts once, two at one place are told. */
static void
drop_doubles(struct fsp_ledger *ledger, struct item **list, size_t *n)
{
    size_t kept = 0, i;

    qsort(list, *n, sizeof(struct item *), by_log);
    for (i = 0; i < *n; i++) {
        if (kept > 0 && by_log(&list[kept - 1], &list[i]) == 0) {
            if (list[i]->sig == FSP_SIG_GOOD)
                list[kept - 1]->sig = FSP_SIG_GOOD;
            continue;
        }
        if (kept > 0 && list[kept - 1]->log == list[i]->log &&
                list[kept - 1]->index == list[i]->index)
            fsp_ledger_say(ledger, list[i], "two different entries have this number");
        list[kept++] = list[i];
    }
    *n = kept;
}

static struct item *
find_target(struct item **leaves, size_t n, const struct item_amend *amend)
{
    size_t low = 0, high = n;
    struct item key, *probe = &key;

    memset(&key, 0, sizeof(key));
    memcpy(key.leaf, amend->leaf, sizeof(key.leaf));
    key.index = (uint64_t)amend->index;
    while (low < high) {
        size_t middle = low + (high - low) / 2;

        if (by_leaf(&leaves[middle], &probe) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    if (low < n && leaves[low]->index == key.index &&
            memcmp(leaves[low]->leaf, key.leaf, sizeof(key.leaf)) == 0)
        return leaves[low];
    return NULL;
}

/* list in log order: links end up in log order too. */
static void
link_all(struct fsp_ledger *ledger, struct item **list, size_t n, struct item **leaves)
{
    size_t i;

    for (i = 0; i < n; i++) {
        struct item *amend = list[i], *target;

        if (amend->kind != ITEM_AMEND)
            continue;
        if (!amend->u.amend.named) {
            fsp_ledger_say(ledger, amend, "amendment that names no entry: not applied");
            continue;
        }
        target = find_target(leaves, n, &amend->u.amend);
        if (target == NULL) {
            fsp_ledger_say(ledger, amend,
                    "amendment held: the entry it names (%lld) has not arrived",
                    (long long)amend->u.amend.index);
            continue;
        }
        if (by_log(&target, &amend) >= 0) {
            fsp_ledger_say(ledger, amend, "amendment of a later entry: not applied");
            continue;
        }
        if (target->amends_last == NULL)
            target->amends = amend;
        else
            target->amends_last->next_amend = amend;
        target->amends_last = amend;
    }
}

static void
apply_void(struct fsp_ledger *ledger, struct item *item, const struct item *amend)
{
    bool guarded = item->kind == ITEM_INSPECTION || item->kind == ITEM_ADVERSE;

    if (guarded && amend->sig != FSP_SIG_GOOD) {
        fsp_ledger_say(ledger, amend,
                "disputed: voiding %s needs a signature on the roster; entry %llu still counts",
                item->kind == ITEM_ADVERSE ? "an adverse condition" : "an inspection",
                (unsigned long long)item->index);
        return;
    }
    item->voided = true;
    item->touched = true;
}

static void
apply_set(struct fsp_ledger *ledger, struct item *item, const struct item *amend)
{
    const struct fsp_record *set = fsp_record_object(amend->record, "set");
    struct fsp_err err = {0};

    if (set == NULL)
        return;
    if (item->kind == ITEM_INSPECTION) {
        fsp_ledger_say(ledger, amend,
                "an amendment cannot change an inspection: entry %llu stands as it was",
                (unsigned long long)item->index);
        return;
    }
    if (item->kind == ITEM_AMEND && fsp_record_has(set, "entry")) {
        fsp_ledger_say(ledger, amend,
                "an amendment's entry cannot be changed: void it and enter it anew");
        return;
    }
    if (item->record == NULL || fsp_record_has(set, "kind")) {
        fsp_ledger_say(ledger, amend, "amendment that cannot be applied to entry %llu",
                (unsigned long long)item->index);
        return;
    }
    if (item->own == NULL && fsp_record_copy(item->record, &item->own, &err) != FSP_OK) {
        ledger->rc = FSP_ENOMEM;
        return;
    }
    item->record = item->own;
    if (fsp_record_amend(item->own, set, &err) == FSP_ENOMEM)
        ledger->rc = FSP_ENOMEM;
    else if (err.rc != FSP_OK)
        fsp_ledger_say(ledger, amend, "amendment not applied: %s", err.text);
    else
        item->touched = true;
}

static void
finish(struct fsp_ledger *ledger, struct item *item)
{
    struct item *amend;

    for (amend = item->amends; amend != NULL; amend = amend->next_amend) {
        if (amend->voided)
            continue;
        if (amend->u.amend.voids)
            apply_void(ledger, item, amend);
        apply_set(ledger, item, amend);
    }
    if (item->own != NULL)
        fsp_ledger_decode(item);
}

/* Late papers and clocks that went back, in log order. Each log has a clock of its own: which of two
 * logs is the earlier one may hang on which arrived first, and no count may hang on that. */
static void
check_clocks(struct fsp_ledger *ledger, struct item *const *list, size_t n)
{
    int64_t newest = INT64_MIN;
    size_t i;

    for (i = 0; i < n; i++) {
        const struct item *item = list[i];

        if (i > 0 && item->log != list[i - 1]->log)
            newest = INT64_MIN;
        if (!item->has_noted || !item->has_at)
            continue;
        if (item->noted_s < newest || item->at_s - item->noted_s > FSP_LEDGER_LATE_S)
            ledger->view.doubtful_clock++;
        else if (item->noted_s - item->at_s > FSP_LEDGER_LATE_S)
            ledger->view.late_entries++;
        if (item->noted_s > newest)
            newest = item->noted_s;
    }
}

static void
take_order(struct fsp_ledger *ledger, struct item **list, size_t n)
{
    size_t i;

    for (i = 0; i < n; i++) {
        if (list[i]->kind != ITEM_AMEND && list[i]->touched)
            ledger->view.amended++;
        if (list[i]->kind == ITEM_UNREADABLE && !list[i]->voided) {
            ledger->view.unreadable++;
            if (!list[i]->has_at)
                fsp_ledger_say(ledger, list[i], "entry that cannot be read");
        }
        if (list[i]->voided || !list[i]->has_at)
            continue;
        ledger->order[ledger->n_order++] = list[i];
    }
}

void
fsp_ledger_amend(struct fsp_ledger *ledger)
{
    size_t n = ledger->n_items, i;
    struct item **list = fsp_mem_array(n + 1, sizeof(struct item *));
    struct item **leaves = fsp_mem_array(n + 1, sizeof(struct item *));

    ledger->order = fsp_mem_array(n + 1, sizeof(struct item *));
    if (list == NULL || leaves == NULL || ledger->order == NULL) {
        ledger->rc = FSP_ENOMEM;
        goto out;
    }
    for (i = 0; i < n; i++)
        list[i] = &ledger->items[i];
    drop_doubles(ledger, list, &n);
    ledger->view.entries = n;
    if (n > 0)
        memcpy(leaves, list, n * sizeof(struct item *));
    qsort(leaves, n, sizeof(struct item *), by_leaf);
    check_clocks(ledger, list, n);
    link_all(ledger, list, n, leaves);
    for (i = n; i-- > 0;) {
        if (list[i]->kind == ITEM_AMEND)
            finish(ledger, list[i]);
    }
    for (i = 0; i < n; i++) {
        if (list[i]->kind != ITEM_AMEND)
            finish(ledger, list[i]);
    }
    take_order(ledger, list, n);
out:
    free(leaves);
    free(list);
}
