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

/* By what an amendment names: index, then leaf. */
static int
compare_name(uint64_t index, const uint8_t *leaf, const struct item_amend *amend)
{
    int order = compare_u64(index, (uint64_t)amend->index);

    return order != 0 ? order : memcmp(leaf, amend->leaf, sizeof(amend->leaf));
}

static int
by_leaf(const void *left, const void *right)
{
    const struct item *a = *(struct item *const *)left, *b = *(struct item *const *)right;

    return memcmp(a->u.amend.leaf, b->u.amend.leaf, sizeof(a->u.amend.leaf));
}

static int
by_name(const void *left, const void *right)
{
    const struct item *a = *(struct item *const *)left, *b = *(struct item *const *)right;

    return compare_name((uint64_t)a->u.amend.index, a->u.amend.leaf, &b->u.amend);
}

/* Sort by log and index; one entry given twice counts once, two at one place are told. */
static void
drop_doubles(struct fsp_ledger *ledger, struct item **list, size_t *n)
{
    size_t kept = 0, i;

    if (fsp_ledger_sort(list, *n, by_log) != FSP_OK)
        ledger->rc = FSP_ENOMEM;
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

/* Tell each amendment its target. names: the amendments by what they name; there are few, so it is
 * the entries that are walked. The first entry in log order wins. */
static void
find_targets(struct item *const *list, size_t n, struct item *const *names, size_t n_names)
{
    size_t i;

    for (i = 0; i < n && n_names > 0; i++) {
        size_t low = 0, high = n_names;

        while (low < high) {
            size_t middle = low + (high - low) / 2;

            if (compare_name(list[i]->index, list[i]->leaf, &names[middle]->u.amend) > 0)
                low = middle + 1;
            else
                high = middle;
        }
        for (; low < n_names &&
                compare_name(list[i]->index, list[i]->leaf, &names[low]->u.amend) == 0;
                low++) {
            if (names[low]->target == NULL)
                names[low]->target = list[i];
        }
    }
}

/* The same for amendments of entries that a later log holds again, byte for byte but with another
 * number: by leaf alone, the first in the chain. A state restored may hide the entry that is meant
 * or an earlier equal one, so there it takes a full fold. */
static void
find_moved(struct fsp_ledger *ledger, struct item *const *list, size_t n, struct item **names,
        size_t n_names)
{
    size_t n_left = 0, i;

    for (i = 0; i < n_names; i++) {
        if (names[i]->target == NULL)
            names[n_left++] = names[i];
    }
    if (n_left > 1)
        qsort(names, n_left, sizeof(struct item *), by_leaf);
    for (i = 0; i < n && n_left > 0; i++) {
        size_t low = 0, high = n_left;

        while (low < high) {
            size_t middle = low + (high - low) / 2;

            if (memcmp(list[i]->leaf, names[middle]->u.amend.leaf, sizeof(list[i]->leaf)) > 0)
                low = middle + 1;
            else
                high = middle;
        }
        for (; low < n_left &&
                memcmp(list[i]->leaf, names[low]->u.amend.leaf, sizeof(list[i]->leaf)) == 0;
                low++) {
            if (ledger->base.set)
                ledger->rc = FSP_EAGAIN;
            if (names[low]->target == NULL)
                names[low]->target = list[i];
        }
    }
}

/* The entry named is not among those added: within the state, not there yet, or never. */
static void
miss(struct fsp_ledger *ledger, struct item *amend)
{
    if (ledger->base.set && amend->old)
        return; /* it has been applied there */
    if (ledger->base.set) {
        ledger->rc = FSP_EAGAIN;
        return;
    }
    ledger->held = true;
    fsp_ledger_say(ledger, amend, "amendment held: the entry it names (%lld) has not arrived",
            (long long)amend->u.amend.index);
}

static void
link_one(struct fsp_ledger *ledger, struct item *amend)
{
    struct item *target = amend->target;

    if (!amend->u.amend.named) {
        fsp_ledger_say(ledger, amend, "amendment that names no entry: not applied");
        return;
    }
    if (target == NULL) {
        miss(ledger, amend);
        return;
    }
    if (by_log(&target, &amend) >= 0) {
        amend->target = NULL;
        fsp_ledger_say(ledger, amend, "amendment of a later entry: not applied");
        return;
    }
    /* What an earlier amendment did cannot be taken out of a state. */
    if (!amend->old && target->old && target->kind == ITEM_AMEND)
        ledger->rc = FSP_EAGAIN;
    if (target->amends_last == NULL)
        target->amends = amend;
    else
        target->amends_last->next_amend = amend;
    target->amends_last = amend;
}

/* list in log order: links end up in log order too. */
static void
link_all(struct fsp_ledger *ledger, struct item **list, size_t n, struct item **names)
{
    size_t n_names = 0, i;

    for (i = 0; i < n; i++) {
        if (list[i]->kind == ITEM_AMEND && list[i]->u.amend.named)
            names[n_names++] = list[i];
    }
    if (n_names > 1)
        qsort(names, n_names, sizeof(struct item *), by_name);
    find_targets(list, n, names, n_names);
    find_moved(ledger, list, n, names, n_names);
    for (i = 0; i < n; i++) {
        if (list[i]->kind == ITEM_AMEND)
            link_one(ledger, list[i]);
    }
}

/* Signed on the roster, and as it was signed: an amended amendment is not what anybody agreed with. */
static bool
in_force(const struct item *amend)
{
    return amend->sig == FSP_SIG_GOOD && amend->own == NULL;
}

/* What only a signature takes out: an inspection, an adverse condition, and the signed word that took
 * one of these out. */
static bool
guarded(const struct item *item)
{
    while (item->kind == ITEM_AMEND && item->u.amend.voids && in_force(item) &&
            item->target != NULL)
        item = item->target;
    return item->kind == ITEM_INSPECTION || item->kind == ITEM_ADVERSE;
}

static const char *
name_guarded(const struct item *item)
{
    if (item->kind == ITEM_AMEND)
        return "what a signed entry voids";
    return item->kind == ITEM_ADVERSE ? "an adverse condition" : "an inspection";
}

static void
apply_void(struct fsp_ledger *ledger, struct item *item, const struct item *amend)
{
    if (guarded(item) && !in_force(amend)) {
        fsp_ledger_say(ledger, amend,
                "disputed: voiding %s needs a countersignature on the roster, this is %s; "
                "entry "
                "%llu still counts",
                name_guarded(item),
                amend->own != NULL ? "amended" : fsp_sig_state_text(amend->sig),
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
    if (item->kind == ITEM_AMEND && guarded(item)) {
        fsp_ledger_say(ledger, amend,
                "a signed void cannot be changed: entry %llu stands as it was",
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

/* ---- what had arrived, and what a state holds already ---- */

static void
mark_old(struct fsp_ledger *ledger, struct item *const *list, size_t n)
{
    struct arrived *arrived = &ledger->arrived;
    size_t i;

    for (i = 0; i < n; i++) {
        struct item *item = list[i];

        item->old = ledger->base.set && item->log < ledger->base.arrived.logs &&
                    item->index < ledger->base.arrived.size[item->log];
        if (!item->old)
            arrived->entries++;
        if (item->log + (size_t)1 > arrived->logs)
            arrived->logs = item->log + (size_t)1;
        if (item->log < FSP_STATE_LOGS && item->index + 1 > arrived->size[item->log])
            arrived->size[item->log] = item->index + 1;
    }
}

/* Late papers and clocks that went back, in log order. Each log has a clock of its own: which of two
 * logs is the earlier one may hang on which arrived first, and no count may hang on that. */
static void
check_clocks(struct fsp_ledger *ledger, struct item *const *list, size_t n)
{
    struct arrived *arrived = &ledger->arrived;
    int64_t newest = INT64_MIN;
    size_t i;

    for (i = 0; i < n; i++) {
        const struct item *item = list[i];
        bool kept = item->log < FSP_STATE_LOGS;

        if (i == 0 || item->log != list[i - 1]->log)
            newest = kept && arrived->has_noted[item->log] ? arrived->newest_s[item->log]
                                                           : INT64_MIN;
        if (item->old || !item->has_noted || !item->has_at)
            continue;
        if (item->noted_s < newest || item->at_s - item->noted_s > FSP_LEDGER_LATE_S)
            arrived->doubtful++;
        else if (item->noted_s - item->at_s > FSP_LEDGER_LATE_S)
            arrived->late++;
        if (item->noted_s > newest)
            newest = item->noted_s;
        if (kept) {
            arrived->has_noted[item->log] = true;
            arrived->newest_s[item->log] = newest;
        }
    }
}

static bool
sets_time(const struct item *amend)
{
    const struct fsp_record *set = fsp_record_object(amend->record, "set");

    return set != NULL && fsp_record_has(set, "at");
}

/* Whether the restored state, which ends at its minute, may hold this entry in another form. */
static void
check_old(struct fsp_ledger *ledger, struct item *item)
{
    int64_t minute = ledger->base.tally.minute;
    bool news = false, moved = false, within;
    const struct item *amend;

    within = item->has_at && fsp_ledger_minute(item->at_s) <= minute;
    if (!item->old) {
        if (within)
            ledger->rc = FSP_EAGAIN;
        return;
    }
    item->covered = within || !item->has_at;
    for (amend = item->amends; amend != NULL; amend = amend->next_amend) {
        news = news || !amend->old;
        moved = moved || sets_time(amend);
    }
    if (news && (item->covered || moved || fsp_ledger_minute(item->added_at_s) <= minute))
        ledger->rc = FSP_EAGAIN;
}

static void
remember_move(struct fsp_ledger *ledger, const struct item *item)
{
    int64_t from = fsp_ledger_minute(item->added_at_s), to = fsp_ledger_minute(item->at_s);

    if (item->own == NULL || !item->has_at || from >= to)
        return;
    if (ledger->n_moves < MOVES_MAX)
        ledger->moves[ledger->n_moves] = (struct time_move){from, to};
    ledger->n_moves++;
}

static void
take_order(struct fsp_ledger *ledger, struct item **list, size_t n)
{
    size_t i;

    for (i = 0; i < n; i++) {
        struct item *item = list[i];

        if (ledger->base.set && ledger->base.tally.begun)
            check_old(ledger, item);
        else if (ledger->base.set)
            item->covered = item->old && !item->has_at;
        remember_move(ledger, item);
        if (item->covered)
            continue;
        if (item->has_at) {
            ledger->order[ledger->n_order++] = item;
            continue;
        }
        if (item->touched && item->kind != ITEM_AMEND)
            ledger->arrived.untimed_amended++;
        if (item->kind == ITEM_UNREADABLE && !item->voided) {
            ledger->arrived.untimed++;
            fsp_ledger_say(ledger, item, "entry that cannot be read");
        }
    }
}

/* The entry that an early note is about in the end. */
static const struct item *
root_of(const struct note *note)
{
    const struct item *root = note->about;

    while (root->kind == ITEM_AMEND && root->target != NULL)
        root = root->target;
    return root;
}

bool
fsp_ledger_note_covered(const struct fsp_ledger *ledger, const struct note *note)
{
    const struct item *root;

    if (note->about == NULL)
        return true;
    root = root_of(note);
    return root->kind == ITEM_AMEND || !root->has_at || root->covered ||
           fsp_ledger_minute(root->at_s) <= ledger->tally.minute;
}

/* What the state has said already is not said again. */
static void
drop_said(struct fsp_ledger *ledger)
{
    size_t kept = ledger->base.n_early, i;

    for (i = kept; i < ledger->n_early; i++) {
        const struct item *root = root_of(&ledger->early[i]);

        if (root->covered || (root->kind == ITEM_AMEND && root->old))
            continue;
        ledger->early[kept++] = ledger->early[i];
    }
    ledger->n_early = kept;
}

void
fsp_ledger_amend(struct fsp_ledger *ledger)
{
    size_t n = ledger->n_items, i;
    struct item **list = fsp_mem_array(n + 1, sizeof(struct item *));
    struct item **names = fsp_mem_array(n + 1, sizeof(struct item *));

    ledger->order = fsp_mem_array(n + 1, sizeof(struct item *));
    if (list == NULL || names == NULL || ledger->order == NULL) {
        ledger->rc = FSP_ENOMEM;
        goto out;
    }
    for (i = 0; i < n; i++)
        list[i] = &ledger->items[i];
    drop_doubles(ledger, list, &n);
    mark_old(ledger, list, n);
    check_clocks(ledger, list, n);
    link_all(ledger, list, n, names);
    for (i = n; i-- > 0;) {
        if (list[i]->kind == ITEM_AMEND)
            finish(ledger, list[i]);
    }
    for (i = 0; i < n; i++) {
        if (list[i]->kind != ITEM_AMEND)
            finish(ledger, list[i]);
    }
    take_order(ledger, list, n);
    if (ledger->base.set)
        drop_said(ledger);
out:
    free(names);
    free(list);
}
