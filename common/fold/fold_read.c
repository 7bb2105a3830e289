/* Reading entries, judging their signatures, marking what must be known of them again. */
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"
#include "fold/fold_priv.h"
#include "record/check.h"
#include "record/kind.h"

#define MARKS_RULES "farspool-marks/v1"

static enum fsp_rc
no_memory(struct fsp_err *err)
{
    return fsp_err_set(err, FSP_ENOMEM, "out of memory");
}

static bool
is_kind(const struct fsp_record *record, const char *name)
{
    const char *kind = record == NULL ? NULL : fsp_record_text(record, "kind");

    return kind != NULL && strcmp(kind, name) == 0;
}

/* ---- what everything derived is made under ---- */

/* A newer program reads entries that this one cannot: its marks are of another kind table. */
static void
add_field(struct fsp_buf *buf, const struct fsp_field *field)
{
    const int32_t numbers[] = {
            (int32_t)field->type, (int32_t)field->flags, (int32_t)field->dim};

    fsp_buf_add(buf, field->name, strlen(field->name) + 1);
    fsp_buf_add(buf, numbers, sizeof(numbers));
    fsp_buf_add(buf, &field->least, sizeof(field->least));
    fsp_buf_add(buf, &field->most, sizeof(field->most));
    fsp_buf_add_text(buf, field->words == NULL ? "" : field->words);
    fsp_buf_add_byte(buf, '\n');
}

static void
add_fields(struct fsp_buf *buf, const struct fsp_field *field)
{
    for (; field != NULL && field->name != NULL; field++) {
        add_field(buf, field);
        for (const struct fsp_field *sub = field->sub; sub != NULL && sub->name != NULL; sub++)
            add_field(buf, sub);
    }
}

void
fsp_fold_hash(struct fsp_fold *fold)
{
    const struct fsp_fold_about *about = &fold->about;
    struct fsp_buf buf;

    fsp_buf_init(&buf, (size_t)1024 * 1024);
    fsp_buf_printf(&buf, MARKS_RULES " %d %d %d\n%s\n%s\n", FSP_MARKS_VERSION,
            FSP_STATE_VERSION, FSP_LEDGER_RULES, about->fleet, about->rig);
    for (size_t i = 0; i < about->n_keys; i++) {
        fsp_vkey_write(&about->keys[i], &buf);
        fsp_buf_add_byte(&buf, '\n');
    }
    for (size_t i = 0; fsp_kind_at(i) != NULL; i++) {
        fsp_buf_add_text(&buf, fsp_kind_at(i)->name);
        add_fields(&buf, fsp_kind_at(i)->fields);
        fsp_buf_add_byte(&buf, '\n');
    }
    for (size_t i = 0; fsp_op_at(i) != NULL; i++)
        fsp_buf_printf(&buf, "%s %s %s\n", fsp_op_at(i)->name, fsp_op_at(i)->required,
                fsp_op_at(i)->optional);
    fsp_leaf_hash(buf.data, buf.len, fold->hash);
    fsp_buf_fini(&buf);
}

/* ---- entries ---- */

static void
seen_free(struct fsp_seen *seen)
{
    fsp_record_free(seen->record);
    free(seen->bytes);
}

void
fsp_fold_parts_free(struct fsp_fold *fold)
{
    for (size_t l = 0; fold->parts != NULL && l < fold->n_logs; l++) {
        struct fsp_part *part = &fold->parts[l];

        for (size_t i = 0; i < part->n; i++)
            seen_free(&part->items[i]);
        for (size_t i = 0; i < part->n_single; i++)
            seen_free(&part->single[i]);
        free(part->items);
        free(part->single);
        memset(part, 0, sizeof(*part));
        part->first = part->size = fold->logs[l].size;
    }
}

static enum fsp_rc
take(struct fsp_seen *seen, uint64_t index, const uint8_t *bytes, size_t len,
        struct fsp_err *err)
{
    enum fsp_rc rc;

    memset(seen, 0, sizeof(*seen));
    seen->index = index;
    fsp_leaf_hash(bytes, len, seen->leaf);
    rc = fsp_check_stored(bytes, len, &seen->record, NULL);
    if (rc == FSP_ENOMEM)
        return no_memory(err);
    if (rc != FSP_OK) {
        fsp_record_free(seen->record);
        seen->record = NULL;
        return FSP_OK;
    }
    seen->has_at = fsp_record_time(seen->record, "at", &seen->at_s);
    return FSP_OK;
}

struct reading {
    struct fsp_fold *fold;
    struct fsp_seen *out; /* one a call, in order */
    size_t n;
    uint32_t log;
    bool note; /* to the attest, and keep the bytes of what is signed */
};

static enum fsp_rc
note_roster(struct fsp_fold *fold, uint32_t log, uint64_t index)
{
    uint8_t hash[FSP_HASH_LEN];
    size_t len = 0;
    const char *note = fsp_attest_roster_note(fold->attest, &len);
    const struct fsp_roster *roster = fsp_attest_roster(fold->attest);

    if (note == NULL || roster == NULL)
        return FSP_OK;
    fold->roster_version = roster->version;
    fsp_leaf_hash(note, len, hash);
    if (fold->marks.has_roster && memcmp(hash, fold->marks.roster, sizeof(hash)) == 0)
        return FSP_OK;
    memcpy(fold->marks.roster, hash, sizeof(hash));
    fold->marks.has_roster = true;
    fold->marks.roster_log = log;
    fold->marks.roster_index = index;
    return FSP_OK;
}

static enum fsp_rc
note(struct fsp_fold *fold, uint32_t log, struct fsp_seen *seen, const uint8_t *bytes,
        size_t len, struct fsp_err *err)
{
    const struct fsp_attest_entry entry = {seen->record, bytes, len, seen->leaf};
    enum fsp_rc rc = fsp_attest_note(fold->attest, &entry, err);

    if (rc == FSP_OK && is_kind(seen->record, "instruction"))
        rc = note_roster(fold, log, seen->index);
    if (rc != FSP_OK ||
            !(is_kind(seen->record, "inspection") || is_kind(seen->record, "countersign")))
        return rc;
    free(seen->bytes);
    seen->bytes = (uint8_t *)fsp_mem_text(bytes, len);
    seen->len = len;
    return seen->bytes == NULL ? no_memory(err) : FSP_OK;
}

static enum fsp_rc
visit(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct reading *reading = ctx;
    struct fsp_seen *seen = &reading->out[reading->n];
    enum fsp_rc rc = take(seen, index, bytes, len, err);

    if (rc != FSP_OK)
        return rc;
    reading->n++;
    reading->fold->read++;
    return reading->note ? note(reading->fold, reading->log, seen, bytes, len, err) : FSP_OK;
}

static enum fsp_sig_state
marked_sig(const struct fsp_marks *marks, uint32_t log, uint64_t index)
{
    const struct fsp_mark *mark = fsp_marks_find(marks, log, index);

    return mark == NULL ? FSP_SIG_NONE : mark->sig;
}

enum fsp_rc
fsp_fold_read_down(struct fsp_fold *fold, const struct fsp_fold_store *store, uint32_t log,
        uint64_t low, struct fsp_err *err)
{
    struct fsp_part *part = &fold->parts[log];
    struct reading reading = {.fold = fold, .log = log};
    uint64_t within[2] = {low, part->first};
    size_t more;
    enum fsp_rc rc;

    if (low >= part->first)
        return FSP_OK;
    more = (size_t)(part->first - low);
    if (fsp_mem_grow((void **)&part->items, &part->cap, part->n + more, sizeof(*part->items)) !=
            0)
        return no_memory(err);
    reading.out = fsp_mem_array(more, sizeof(*reading.out));
    if (reading.out == NULL)
        return no_memory(err);
    rc = store->scan(store->ctx, fold->logs[log].id, within, visit, &reading, err);
    if (rc == FSP_OK && reading.n != more)
        rc = fsp_err_set(err, FSP_ECORRUPT, "entries of the log are missing");
    for (size_t i = 0; i < reading.n; i++) {
        if (rc == FSP_OK)
            reading.out[i].sig = marked_sig(&fold->marks, log, reading.out[i].index);
        else
            seen_free(&reading.out[i]);
    }
    if (rc == FSP_OK) {
        if (part->n > 0)
            memmove(part->items + more, part->items, part->n * sizeof(*part->items));
        memcpy(part->items, reading.out, more * sizeof(*part->items));
        part->n += more;
        part->first = low;
    }
    free(reading.out);
    return rc;
}

static struct fsp_seen *
find_single(const struct fsp_part *part, uint64_t index)
{
    for (size_t i = 0; i < part->n_single; i++)
        if (part->single[i].index == index)
            return &part->single[i];
    return NULL;
}

static enum fsp_rc
read_single(struct fsp_fold *fold, const struct fsp_fold_store *store, uint32_t log,
        uint64_t index, bool as_news, struct fsp_err *err)
{
    struct fsp_part *part = &fold->parts[log];
    struct reading reading = {.fold = fold, .log = log, .note = as_news};
    const uint64_t within[2] = {index, index + 1};
    enum fsp_rc rc;

    if (fsp_mem_grow((void **)&part->single, &part->cap_single, part->n_single + 1,
                sizeof(*part->single)) != 0)
        return no_memory(err);
    reading.out = &part->single[part->n_single];
    rc = store->scan(store->ctx, fold->logs[log].id, within, visit, &reading, err);
    part->n_single += reading.n;
    return rc;
}

enum fsp_rc
fsp_fold_read_one(struct fsp_fold *fold, const struct fsp_fold_store *store, uint32_t log,
        uint64_t index, struct fsp_seen **out, struct fsp_err *err)
{
    struct fsp_part *part = &fold->parts[log];
    enum fsp_rc rc = FSP_OK;

    *out = NULL;
    if (index >= part->size)
        return FSP_OK;
    if (index >= part->first) {
        *out = &part->items[index - part->first];
        return FSP_OK;
    }
    *out = find_single(part, index);
    if (*out == NULL) {
        rc = read_single(fold, store, log, index, false, err);
        *out = find_single(part, index);
    }
    return rc;
}

/* ---- marks that are there ---- */

/* They are of these logs when each begins the same: by name, not longer, the same last leaf. */
static enum fsp_rc
judge_logs(struct fsp_fold *fold, const struct fsp_fold_store *store, bool *fits,
        struct fsp_err *err)
{
    const struct fsp_marks *marks = &fold->marks;
    enum fsp_rc rc = FSP_OK;

    *fits = marks->n_logs <= fold->n_logs;
    for (uint32_t l = 0; rc == FSP_OK && *fits && l < marks->n_logs; l++) {
        struct fsp_seen *last = NULL;

        *fits = marks->logs[l].id == fold->logs[l].id &&
                marks->logs[l].size <= fold->logs[l].size;
        if (!*fits || marks->logs[l].size == 0)
            continue;
        rc = fsp_fold_read_one(fold, store, l, marks->logs[l].size - 1, &last, err);
        *fits = rc == FSP_OK && last != NULL &&
                memcmp(last->leaf, marks->logs[l].last, FSP_HASH_LEN) == 0;
    }
    return rc;
}

enum fsp_rc
fsp_fold_load_marks(
        struct fsp_fold *fold, const struct fsp_fold_store *store, struct fsp_err *err)
{
    struct fsp_buf buf;
    bool fits = false;
    enum fsp_rc rc;

    fsp_buf_init(&buf, FSP_MARKS_MAX);
    rc = store->marks(store->ctx, store->owner, &buf, err);
    if (rc == FSP_OK)
        rc = fsp_marks_read(&fold->marks, buf.data, buf.len, err);
    if (rc == FSP_OK && memcmp(fold->marks.about, fold->hash, FSP_HASH_LEN) == 0)
        rc = judge_logs(fold, store, &fits, err);
    fsp_buf_fini(&buf);
    if (rc == FSP_ENOTFOUND || rc == FSP_EFORMAT || rc == FSP_ELIMIT) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    if (!fits) {
        fsp_marks_fini(&fold->marks);
        memcpy(fold->marks.about, fold->hash, FSP_HASH_LEN);
        fold->reset = true;
    }
    return rc;
}

/* ---- what is new ---- */

bool
fsp_fold_named(const struct fsp_record *record, uint64_t *index, uint8_t leaf[32])
{
    const struct fsp_record *entry = fsp_record_object(record, "entry");
    const char *text = entry == NULL ? NULL : fsp_record_text(entry, "leaf");
    int64_t number = 0;

    if (text == NULL || !fsp_record_int(entry, "index", &number) || number < 0)
        return false;
    *index = (uint64_t)number;
    if (strlen(text) == 64)
        return fsp_text_unhex(leaf, FSP_HASH_LEN, text) == FSP_OK;
    return fsp_unbase64_exact(text, strlen(text), leaf, FSP_HASH_LEN) == FSP_OK;
}

/* Find the entry named: the first in the order of the chain. */
static enum fsp_rc
aim(struct fsp_fold *fold, const struct fsp_fold_store *store, const struct fsp_seen *seen,
        struct fsp_mark *mark, struct fsp_err *err)
{
    uint8_t leaf[FSP_HASH_LEN];
    uint64_t index = 0;
    enum fsp_rc rc = FSP_OK;

    if (!fsp_fold_named(seen->record, &index, leaf))
        return FSP_OK;
    for (uint32_t l = 0; rc == FSP_OK && l < fold->n_logs && !mark->aimed; l++) {
        struct fsp_seen *to = NULL;

        rc = fsp_fold_read_one(fold, store, l, index, &to, err);
        if (rc != FSP_OK || to == NULL || memcmp(to->leaf, leaf, sizeof(leaf)) != 0)
            continue;
        mark->aimed = true;
        mark->to_log = l;
        mark->to_index = index;
        mark->personal =
                is_kind(to->record, "inspection") || is_kind(to->record, "countersign");
    }
    return rc;
}

/* What was marked without its entry may have it now; what countersigns anything but an inspection
 * must be known to the attest. */
static enum fsp_rc
recall(struct fsp_fold *fold, const struct fsp_fold_store *store, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    if (fold->marks.has_roster) {
        uint32_t log = fold->marks.roster_log;

        if (log >= fold->n_logs || fold->marks.roster_index >= fold->parts[log].size)
            return fsp_err_set(err, FSP_EAGAIN, "the roster's entry is not there");
        rc = read_single(fold, store, log, fold->marks.roster_index, true, err);
    }
    for (size_t i = 0; rc == FSP_OK && i < fold->marks.n; i++) {
        const struct fsp_mark *mark = &fold->marks.items[i];

        if (mark->kind == FSP_MARK_COUNTERSIGN && !(mark->aimed && mark->personal))
            rc = read_single(fold, store, mark->log, mark->index, true, err);
    }
    return rc;
}

static enum fsp_rc
aim_again(struct fsp_fold *fold, const struct fsp_fold_store *store, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < fold->marks.n; i++) {
        struct fsp_mark *mark = &fold->marks.items[i];
        struct fsp_seen *seen = NULL;

        if (mark->aimed || mark->index >= fold->parts[mark->log].marked ||
                !(mark->kind == FSP_MARK_COUNTERSIGN || mark->kind == FSP_MARK_AMEND))
            continue;
        rc = fsp_fold_read_one(fold, store, mark->log, mark->index, &seen, err);
        if (rc == FSP_OK && seen != NULL && seen->record != NULL)
            rc = aim(fold, store, seen, mark, err);
    }
    return rc;
}

static enum fsp_sig_state
judge(struct fsp_fold *fold, uint32_t log, const struct fsp_seen *seen)
{
    const struct fsp_attest_entry entry = {seen->record, seen->bytes, seen->len, seen->leaf};
    const struct fsp_mark *known;

    if (seen->record == NULL)
        return FSP_SIG_NONE;
    known = fsp_marks_find(&fold->before, log, seen->index);
    if (known != NULL &&
            (known->kind == FSP_MARK_INSPECTION || known->kind == FSP_MARK_COUNTERSIGN))
        return known->sig;
    return fsp_attest_state(fold->attest, &entry);
}

static enum fsp_mark_kind
mark_kind(const struct fsp_record *record)
{
    if (is_kind(record, "inspection"))
        return FSP_MARK_INSPECTION;
    if (is_kind(record, "countersign"))
        return FSP_MARK_COUNTERSIGN;
    return is_kind(record, "amend") ? FSP_MARK_AMEND : FSP_MARK_OTHER;
}

/* An entry that was folded before gets another standing by this countersignature, or may get it:
 * it is the leaf alone that a countersignature signs. */
static bool
reaches_back(const struct fsp_fold *fold, const struct fsp_mark *mark)
{
    if (mark->kind != FSP_MARK_COUNTERSIGN || fold->marks.n_logs == 0 ||
            (mark->aimed && mark->personal))
        return false;
    return !mark->aimed || mark->to_index < fold->parts[mark->to_log].marked;
}

static enum fsp_rc
mark_one(struct fsp_fold *fold, const struct fsp_fold_store *store, uint32_t log,
        uint64_t index, struct fsp_err *err)
{
    struct fsp_seen *seen = &fold->parts[log].items[index - fold->parts[log].first];
    struct fsp_mark mark = {.log = log, .index = index, .at_s = seen->at_s};
    const char *text;
    enum fsp_rc rc = FSP_OK;

    seen->sig = judge(fold, log, seen);
    free(seen->bytes);
    seen->bytes = NULL;
    if (seen->record == NULL) {
        fold->marks.unreadable++;
        return FSP_OK;
    }
    mark.kind = mark_kind(seen->record);
    mark.sig = seen->sig;
    if (mark.kind == FSP_MARK_OTHER && mark.sig == FSP_SIG_NONE)
        return FSP_OK;
    if (mark.kind == FSP_MARK_AMEND || mark.kind == FSP_MARK_COUNTERSIGN) {
        text = fsp_record_text(seen->record, "void");
        mark.voids = text != NULL && strcmp(text, "yes") == 0;
        rc = aim(fold, store, seen, &mark, err);
    }
    if (rc == FSP_OK && reaches_back(fold, &mark))
        return fsp_err_set(err, FSP_EAGAIN, "an older entry was countersigned");
    return rc == FSP_OK ? fsp_marks_add(&fold->marks, &mark, err) : rc;
}

static enum fsp_rc
mark_log(struct fsp_fold *fold, const struct fsp_fold_store *store, uint32_t log,
        struct fsp_err *err)
{
    const struct fsp_part *part = &fold->parts[log];
    enum fsp_rc rc = FSP_OK;

    for (uint64_t i = part->marked; rc == FSP_OK && i < part->size; i++)
        rc = mark_one(fold, store, log, i, err);
    return rc;
}

/* Read what is not marked into its part. */
static enum fsp_rc
read_log(struct fsp_fold *fold, const struct fsp_fold_store *store, uint32_t log,
        struct fsp_err *err)
{
    struct fsp_part *part = &fold->parts[log];
    struct reading reading = {.fold = fold, .log = log, .note = true};
    uint64_t within[2];
    enum fsp_rc rc;

    part->size = fold->logs[log].size;
    part->marked = log < fold->marks.n_logs ? fold->marks.logs[log].size : 0;
    part->first = part->marked;
    within[0] = part->first;
    within[1] = part->size;
    if (within[0] == within[1])
        return FSP_OK;
    if (fsp_mem_grow((void **)&part->items, &part->cap, (size_t)(part->size - part->first),
                sizeof(*part->items)) != 0)
        return no_memory(err);
    reading.out = part->items;
    rc = store->scan(store->ctx, fold->logs[log].id, within, visit, &reading, err);
    part->n = reading.n;
    fold->fresh += reading.n;
    if (rc == FSP_OK && reading.n != part->size - part->first)
        rc = fsp_err_set(err, FSP_ECORRUPT, "entries of the log are missing");
    return rc;
}

static void
remember_logs(struct fsp_fold *fold)
{
    if (fold->n_logs > FSP_STATE_LOGS)
        return;
    for (size_t l = 0; l < fold->n_logs; l++) {
        const struct fsp_part *part = &fold->parts[l];
        struct fsp_marks_log *log = &fold->marks.logs[l];

        log->id = fold->logs[l].id;
        log->size = part->size;
        if (part->n > 0)
            memcpy(log->last, part->items[part->n - 1].leaf, FSP_HASH_LEN);
    }
    fold->marks.n_logs = fold->n_logs;
}

enum fsp_rc
fsp_fold_read_news(
        struct fsp_fold *fold, const struct fsp_fold_store *store, struct fsp_err *err)
{
    const struct fsp_attest_about about = {
            fold->about.fleet, fold->about.rig, fold->about.keys, fold->about.n_keys};
    uint8_t roster[FSP_HASH_LEN];
    bool had = fold->marks.has_roster;
    enum fsp_rc rc;

    memcpy(roster, fold->marks.roster, sizeof(roster));
    fsp_attest_free(fold->attest);
    fold->attest = NULL;
    rc = fsp_attest_new(&fold->attest, &about, err);
    if (rc == FSP_OK)
        rc = recall(fold, store, err);
    for (uint32_t l = 0; rc == FSP_OK && l < fold->n_logs; l++)
        rc = read_log(fold, store, l, err);
    if (rc == FSP_OK && had && fsp_attest_roster(fold->attest) == NULL)
        memset(fold->marks.roster, 0, sizeof(fold->marks.roster));
    if (rc == FSP_OK && had && memcmp(roster, fold->marks.roster, sizeof(roster)) != 0)
        rc = fsp_err_set(err, FSP_EAGAIN, "the roster changed");
    if (rc == FSP_OK && !had && fold->marks.has_roster && fold->marks.n_logs > 0)
        rc = fsp_err_set(err, FSP_EAGAIN, "the first roster came");
    for (uint32_t l = 0; rc == FSP_OK && l < fold->n_logs; l++)
        rc = mark_log(fold, store, l, err);
    if (rc == FSP_OK) {
        fsp_marks_sort(&fold->marks);
        rc = aim_again(fold, store, err);
    }
    if (rc == FSP_OK)
        remember_logs(fold);
    return rc;
}
