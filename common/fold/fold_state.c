/*
 * Stored states: written with what must be read beside them, chosen, begun from, thinned out.
 *
 * Form: magic, version, basis (marks.h), the number of logs and per log the lowest index of an entry
 * at or after the state's from_s, length of the ledger's state, sum of all this; then that state
 * (line/state.h), which is closed by a sum of its own.
 */
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "fold/fold_priv.h"

#define MAGIC     "fspfd"
#define MAGIC_LEN 5
#define VERSION   1
#define BLOB_MAX  (FSP_STATE_MAX + 1024)
#define LEAN      32 /* times what is worth keeping: so much read is not kept in memory */
#define SPACING   8  /* cuts: so many of the newest are kept, then every second, fourth, … */

/* ---- form ---- */

struct stored {
    const uint8_t *state; /* into the bytes */
    size_t len;
    uint64_t low[FSP_STATE_LOGS];
    struct fsp_state_about about;
};

static void
write_stored(const struct fsp_fold *fold, const struct fsp_kept *kept, struct fsp_buf *buf)
{
    uint8_t basis[FSP_BASIS_LEN];
    size_t start = buf->len;

    fsp_marks_basis(&fold->marks, basis);
    fsp_buf_add(buf, MAGIC, MAGIC_LEN);
    fsp_buf_add_varint(buf, VERSION);
    fsp_buf_add(buf, basis, sizeof(basis));
    fsp_buf_add_varint(buf, fold->n_logs);
    for (size_t l = 0; l < fold->n_logs; l++)
        fsp_buf_add_varint(buf, kept->low[l]);
    fsp_buf_add_varint(buf, kept->state.len);
    fsp_sum_close(buf, start);
    fsp_buf_add(buf, kept->state.data, kept->state.len);
}

static bool
read_lows(struct fsp_cursor *in, size_t n, struct stored *out)
{
    for (size_t l = 0; l < n; l++)
        if (fsp_cursor_varint(in, &out->low[l]) != FSP_OK)
            return false;
    return true;
}

/* A state that these marks may be used with. */
static enum fsp_rc
read_stored(const struct fsp_fold *fold, const struct fsp_buf *buf, struct stored *out,
        struct fsp_err *err)
{
    struct fsp_cursor in = {buf->data, buf->len, MAGIC_LEN};
    uint8_t basis[FSP_BASIS_LEN];
    const uint8_t *bytes = NULL;
    uint64_t version = 0;
    uint64_t n = 0;
    uint64_t len = 0;
    enum fsp_rc rc;

    memset(out, 0, sizeof(*out));
    fsp_marks_basis(&fold->marks, basis);
    if (buf->len < MAGIC_LEN || memcmp(buf->data, MAGIC, MAGIC_LEN) != 0 ||
            fsp_cursor_varint(&in, &version) != FSP_OK || version != VERSION ||
            fsp_cursor_bytes(&in, &bytes, sizeof(basis)) != FSP_OK)
        return fsp_err_set(err, FSP_EFORMAT, "state: damaged, or of another version");
    if (fsp_cursor_varint(&in, &n) != FSP_OK || n > fold->n_logs || n > FSP_STATE_LOGS ||
            !read_lows(&in, (size_t)n, out) || fsp_cursor_varint(&in, &len) != FSP_OK ||
            len > in.len || in.len - in.pos != FSP_SUM_LEN + len ||
            !fsp_sum_holds(in.data, in.pos + FSP_SUM_LEN))
        return fsp_err_set(err, FSP_EFORMAT, "state: damaged");
    if (memcmp(bytes, basis, sizeof(basis)) != 0)
        return fsp_err_set(err, FSP_EFORMAT, "state: of other rules or another roster");
    in.pos += FSP_SUM_LEN;
    out->state = in.data + in.pos;
    out->len = (size_t)len;
    rc = fsp_ledger_state_about(out->state, out->len, &out->about, err);
    for (size_t l = 0; rc == FSP_OK && l < out->about.logs; l++)
        if (l >= n || out->about.size[l] > fold->parts[l].size)
            rc = fsp_err_set(err, FSP_EFORMAT, "state: of another history");
    return rc;
}

/* ---- folding from one ---- */

static enum fsp_rc
add_seen(struct fsp_ledger *ledger, uint32_t log, const struct fsp_seen *seen,
        enum fsp_sig_state sig, struct fsp_err *err)
{
    struct fsp_ledger_entry entry = {
            .record = seen->record, .log = log, .index = seen->index, .sig = sig};

    memcpy(entry.leaf, seen->leaf, sizeof(entry.leaf));
    return fsp_ledger_add(ledger, &entry, err);
}

static enum fsp_rc
add_from(const struct fsp_fold *fold, struct fsp_ledger *ledger, uint32_t log, uint64_t low,
        struct fsp_err *err)
{
    const struct fsp_part *part = &fold->parts[log];
    enum fsp_rc rc = FSP_OK;

    for (uint64_t i = low; rc == FSP_OK && i < part->size; i++)
        rc = add_seen(ledger, log, &part->items[i - part->first],
                part->items[i - part->first].sig, err);
    return rc;
}

/* Amendments of later logs below their low: their entry may be in an earlier log. */
static enum fsp_rc
add_amendments(struct fsp_fold *fold, const struct fsp_fold_store *store,
        struct fsp_ledger *ledger, const uint64_t *low, struct fsp_err *err)
{
    bool earlier = false;
    uint32_t log = 0;
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < fold->marks.n; i++) {
        const struct fsp_mark *mark = &fold->marks.items[i];
        struct fsp_seen *seen = NULL;

        for (; log < mark->log; log++)
            earlier = earlier || low[log] < fold->parts[log].size;
        if (mark->kind != FSP_MARK_AMEND || !earlier || mark->index >= low[mark->log])
            continue;
        rc = fsp_fold_read_one(fold, store, mark->log, mark->index, &seen, err);
        if (rc == FSP_OK && seen != NULL)
            rc = add_seen(ledger, mark->log, seen, mark->sig, err);
    }
    return rc;
}

static enum fsp_rc keep_cut(void *ctx, const struct fsp_ledger *ledger, struct fsp_err *err);

/* From the state's bytes, or from nothing. lows as the state says, 0 without one. */
static enum fsp_rc
fold_with(struct fsp_fold *fold, const struct fsp_fold_store *store,
        const struct stored *stored, struct fsp_ledger **out, struct fsp_err *err)
{
    static const uint64_t none[FSP_STATE_LOGS] = {0};
    const uint64_t *low = stored == NULL ? none : stored->low;
    struct fsp_ledger *ledger = NULL;
    enum fsp_rc rc = fsp_ledger_new(&ledger, err);

    if (rc == FSP_OK && stored != NULL)
        rc = fsp_ledger_restore(ledger, stored->state, stored->len, err);
    for (uint32_t l = 0; rc == FSP_OK && l < fold->n_logs; l++) {
        rc = fsp_fold_read_down(fold, store, l, stored == NULL ? 0 : low[l], err);
        if (rc == FSP_OK)
            rc = add_from(fold, ledger, l, stored == NULL ? 0 : low[l], err);
    }
    if (rc == FSP_OK && stored != NULL)
        rc = add_amendments(fold, store, ledger, low, err);
    fold->storing = fold->read >= fold->about.worth && fold->n_logs <= FSP_STATE_LOGS &&
                    !fold->about.whole;
    if (rc == FSP_OK && fold->storing && !fold->lean)
        fsp_ledger_on_cut(ledger, keep_cut, fold);
    if (rc == FSP_OK) {
        if (!fold->lean) {
            if (fold->about.on_step != NULL)
                fold->about.on_step(fold->about.on_step_ctx, NULL);
            fsp_ledger_on_work(ledger, fold->about.on_work, fold->about.on_work_ctx);
            fsp_ledger_on_step(ledger, fold->about.on_step, fold->about.on_step_ctx);
        }
        rc = fsp_ledger_fold(ledger, fold->about.as_of_s, err);
        fsp_ledger_on_work(ledger, NULL, NULL);
        fsp_ledger_on_step(ledger, NULL, NULL);
        fsp_ledger_on_cut(ledger, NULL, NULL);
    }
    if (rc != FSP_OK) {
        fsp_ledger_free(ledger);
        ledger = NULL;
    }
    *out = ledger;
    return rc;
}

enum fsp_rc
fsp_fold_from(struct fsp_fold *fold, const struct fsp_fold_store *store, int64_t cuts,
        struct fsp_ledger **out, struct fsp_err *err)
{
    struct stored stored;
    struct fsp_buf buf;
    enum fsp_rc rc;

    *out = NULL;
    fsp_buf_init(&buf, BLOB_MAX);
    rc = store->state(store->ctx, store->owner, cuts, &buf, err);
    if (rc == FSP_OK)
        rc = read_stored(fold, &buf, &stored, err);
    if (rc == FSP_OK)
        rc = fold_with(fold, store, &stored, out, err);
    if (rc == FSP_OK)
        fold->base_from_s = stored.about.from_s;
    fsp_buf_fini(&buf);
    return rc;
}

/* ---- choosing one ---- */

struct choice {
    int64_t cuts[FSP_FOLD_TRIES];
    size_t n;
    int64_t before_s; /* what is new begins here */
};

static enum fsp_rc
choose(void *ctx, int64_t cuts, int64_t from_s, struct fsp_err *err)
{
    struct choice *choice = ctx;

    (void)err;
    if (from_s <= choice->before_s && choice->n < FSP_FOLD_TRIES)
        choice->cuts[choice->n++] = cuts;
    return FSP_OK;
}

static void
reach(struct choice *choice, const struct fsp_seen *seen)
{
    if (seen->has_at && seen->at_s < choice->before_s)
        choice->before_s = seen->at_s;
}

/* An amendment reaches back to its entry, and to where it moves it. */
static enum fsp_rc
reach_amended(struct fsp_fold *fold, const struct fsp_fold_store *store, uint32_t log,
        const struct fsp_seen *seen, struct choice *choice, struct fsp_err *err)
{
    const struct fsp_mark *mark = fsp_marks_find(&fold->marks, log, seen->index);
    const struct fsp_record *set = fsp_record_object(seen->record, "set");
    int64_t at_s = 0;
    enum fsp_rc rc = FSP_OK;

    if (set != NULL && fsp_record_time(set, "at", &at_s) && at_s < choice->before_s)
        choice->before_s = at_s;
    while (rc == FSP_OK && mark != NULL && mark->aimed) {
        struct fsp_seen *to = NULL;
        const struct fsp_mark *next =
                fsp_marks_find(&fold->marks, mark->to_log, mark->to_index);

        rc = fsp_fold_read_one(fold, store, mark->to_log, mark->to_index, &to, err);
        if (rc == FSP_OK && to != NULL)
            reach(choice, to);
        /* Only backwards, so that it ends. */
        if (next == NULL || next->kind != FSP_MARK_AMEND || next->log > mark->log ||
                (next->log == mark->log && next->index >= mark->index))
            break;
        mark = next;
    }
    return rc;
}

static enum fsp_rc
reach_back(struct fsp_fold *fold, const struct fsp_fold_store *store, struct choice *choice,
        struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    for (uint32_t l = 0; rc == FSP_OK && l < fold->n_logs; l++) {
        const struct fsp_part *part = &fold->parts[l];

        for (uint64_t i = part->marked; rc == FSP_OK && i < part->size; i++) {
            const struct fsp_seen *seen = &part->items[i - part->first];
            const char *kind =
                    seen->record == NULL ? NULL : fsp_record_text(seen->record, "kind");

            reach(choice, seen);
            if (kind != NULL && strcmp(kind, "amend") == 0)
                rc = reach_amended(fold, store, l, seen, choice, err);
        }
    }
    return rc;
}

static void
forget_kept(struct fsp_fold *fold)
{
    while (fold->n_kept > 0)
        fsp_buf_fini(&fold->kept[--fold->n_kept].state);
}

static enum fsp_rc add_end(struct fsp_fold *fold, struct fsp_err *err);
static void find_lows(struct fsp_fold *fold);

/* Begin once more, from the end: what was read for it need not stay in memory with the account. */
static enum fsp_rc
lighten(struct fsp_fold *fold, const struct fsp_fold_store *store, struct fsp_err *err)
{
    const struct fsp_kept *end = fold->n_kept == 0 ? NULL : &fold->kept[fold->n_kept - 1];
    struct stored stored = {.state = NULL};
    struct fsp_part *parts = NULL;
    struct fsp_part *heavy = fold->parts;
    struct fsp_ledger *ledger = NULL;
    size_t read = fold->read;
    enum fsp_rc rc;

    if (end == NULL || end->cuts != FSP_FOLD_END || read < LEAN * fold->about.worth)
        return FSP_OK;
    parts = fsp_mem_array(fold->n_logs, sizeof(*parts));
    if (parts == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t l = 0; l < fold->n_logs; l++)
        parts[l] = (struct fsp_part){.first = fold->logs[l].size,
                .size = fold->logs[l].size,
                .marked = heavy[l].marked};
    stored.state = end->state.data;
    stored.len = end->state.len;
    memcpy(stored.low, end->low, sizeof(stored.low));
    fold->parts = parts;
    fold->lean = true;
    rc = fold_with(fold, store, &stored, &ledger, err);
    fold->lean = false;
    fold->read = read;
    if (rc == FSP_OK) {
        fsp_ledger_free(fold->ledger);
        fold->ledger = ledger;
        fold->parts = heavy;
    }
    fsp_fold_parts_free(fold); /* of the two, what is not needed */
    free(fold->parts);
    fold->parts = rc == FSP_OK ? parts : heavy;
    if (rc == FSP_EAGAIN || rc == FSP_EFORMAT) { /* the account is there all the same */
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    return rc;
}

enum fsp_rc
fsp_fold_best(struct fsp_fold *fold, const struct fsp_fold_store *store, struct fsp_err *err)
{
    struct choice choice = {.before_s = fold->about.reach ? fold->about.since_s : INT64_MAX};
    enum fsp_rc rc = FSP_OK;

    fold->base_from_s = INT64_MIN;
    if (!fold->reset && fold->n_logs <= FSP_STATE_LOGS) {
        rc = reach_back(fold, store, &choice, err);
        if (rc == FSP_OK)
            rc = store->states(store->ctx, store->owner, choose, &choice, err);
    }
    for (size_t i = 0; rc == FSP_OK && fold->ledger == NULL && i < choice.n; i++) {
        rc = fsp_fold_from(fold, store, choice.cuts[i], &fold->ledger, err);
        if (rc != FSP_OK)
            forget_kept(fold);
        if (rc == FSP_EAGAIN || rc == FSP_EFORMAT || rc == FSP_ENOTFOUND || rc == FSP_ELIMIT) {
            fsp_err_clear(err);
            rc = FSP_OK;
        }
    }
    if (rc == FSP_OK && fold->ledger == NULL)
        rc = fold_with(fold, store, NULL, &fold->ledger, err);
    if (rc == FSP_OK && fold->storing)
        rc = add_end(fold, err);
    if (rc != FSP_OK)
        return rc;
    find_lows(fold);
    return lighten(fold, store, err);
}

/* ---- keeping ---- */

/* Whether the state of so many cuts is kept when there are `now`: a rule of the number alone, so
 * that what is thinned out once stays so. */
static bool
spaced(int64_t cuts, int64_t now)
{
    int64_t step = 1;
    int64_t reach = SPACING;

    while (now - cuts >= reach) {
        step *= 2;
        reach += SPACING * step;
    }
    return cuts % step == 0;
}

/* State of the ledger's fold, as the next of those kept; none where it cannot be stored. */
static enum fsp_rc
keep(struct fsp_fold *fold, const struct fsp_ledger *ledger, bool end, struct fsp_err *err)
{
    struct fsp_state_about about;
    struct fsp_kept *kept;
    enum fsp_rc rc;

    if (fsp_mem_grow((void **)&fold->kept, &fold->cap_kept, fold->n_kept + 1, sizeof(*kept)) !=
            0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    kept = &fold->kept[fold->n_kept];
    memset(kept, 0, sizeof(*kept));
    fsp_buf_init(&kept->state, FSP_STATE_MAX);
    rc = fsp_ledger_save(ledger, &kept->state, err);
    if (rc == FSP_OK)
        rc = fsp_ledger_state_about(kept->state.data, kept->state.len, &about, err);
    if (rc != FSP_OK || about.from_s == INT64_MIN) {
        fsp_buf_fini(&kept->state);
        if (rc == FSP_EAGAIN || rc == FSP_ELIMIT || rc == FSP_OK) {
            fsp_err_clear(err);
            return FSP_OK;
        }
        return rc;
    }
    kept->from_s = about.from_s;
    kept->cuts = end ? FSP_FOLD_END : (int64_t)about.cuts;
    fold->n_kept++;
    return FSP_OK;
}

static void
thin_kept(struct fsp_fold *fold)
{
    int64_t now = fold->n_kept == 0 ? 0 : fold->kept[fold->n_kept - 1].cuts;
    size_t n = 0;

    for (size_t i = 0; i < fold->n_kept; i++) {
        if (spaced(fold->kept[i].cuts, now))
            fold->kept[n++] = fold->kept[i];
        else
            fsp_buf_fini(&fold->kept[i].state);
    }
    fold->n_kept = n;
}

static enum fsp_rc
keep_cut(void *ctx, const struct fsp_ledger *ledger, struct fsp_err *err)
{
    struct fsp_fold *fold = ctx;
    enum fsp_rc rc = keep(fold, ledger, false, err);

    if (rc == FSP_OK)
        thin_kept(fold);
    return rc;
}

static enum fsp_rc
add_end(struct fsp_fold *fold, struct fsp_err *err)
{
    return keep(fold, fold->ledger, true, err);
}

/* The last of the states kept, which rise in from_s, whose from_s is at or before the time. */
static size_t
covering(const struct fsp_fold *fold, int64_t at_s)
{
    size_t low = 0;
    size_t high = fold->n_kept;

    while (low < high) {
        size_t middle = low + (high - low) / 2;

        if (fold->kept[middle].from_s <= at_s)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* Per state and log the lowest index of what is at or after it. What was not read is before the
 * state begun from, so before all of these. */
static void
find_lows(struct fsp_fold *fold)
{
    for (size_t k = 0; k < fold->n_kept; k++)
        for (size_t l = 0; l < fold->n_logs; l++)
            fold->kept[k].low[l] = fold->parts[l].size;
    for (size_t l = 0; fold->n_kept > 0 && l < fold->n_logs; l++) {
        const struct fsp_part *part = &fold->parts[l];

        for (size_t i = 0; i < part->n; i++) {
            const struct fsp_seen *seen = &part->items[i];
            size_t k = seen->has_at ? covering(fold, seen->at_s) : 0;

            if (k > 0 && seen->index < fold->kept[k - 1].low[l])
                fold->kept[k - 1].low[l] = seen->index;
        }
        for (size_t k = fold->n_kept - 1; k-- > 0;)
            if (fold->kept[k + 1].low[l] < fold->kept[k].low[l])
                fold->kept[k].low[l] = fold->kept[k + 1].low[l];
    }
}

bool
fsp_fold_worth(const struct fsp_fold *fold)
{
    return fold->storing && (fold->n_kept > 0 || fold->fresh >= fold->about.worth);
}

/* Marks that another process kept meanwhile, and that know more. */
static enum fsp_rc
is_newer(const struct fsp_fold *fold, const struct fsp_fold_store *store, bool *newer,
        struct fsp_err *err)
{
    struct fsp_marks marks;
    struct fsp_buf buf;
    enum fsp_rc rc;

    *newer = false;
    fsp_marks_init(&marks);
    fsp_buf_init(&buf, FSP_MARKS_MAX);
    rc = store->marks(store->ctx, store->owner, &buf, err);
    if (rc == FSP_OK)
        rc = fsp_marks_read(&marks, buf.data, buf.len, err);
    if (rc == FSP_OK && memcmp(marks.about, fold->hash, FSP_HASH_LEN) == 0) {
        *newer = marks.n_logs > fold->marks.n_logs;
        for (size_t l = 0; l < marks.n_logs && l < fold->marks.n_logs; l++)
            *newer = *newer || (marks.logs[l].id == fold->marks.logs[l].id &&
                                       marks.logs[l].size > fold->marks.logs[l].size);
    }
    if (rc == FSP_ENOTFOUND || rc == FSP_EFORMAT || rc == FSP_ELIMIT) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    fsp_marks_fini(&marks);
    fsp_buf_fini(&buf);
    return rc;
}

struct sweep {
    int64_t *cuts;
    size_t n, cap;
    int64_t from_s; /* what is later than this goes */
    int64_t now;
};

static enum fsp_rc
sweep_one(void *ctx, int64_t cuts, int64_t from_s, struct fsp_err *err)
{
    struct sweep *sweep = ctx;

    if (from_s <= sweep->from_s && (cuts == FSP_FOLD_END || spaced(cuts, sweep->now)))
        return FSP_OK;
    if (fsp_mem_grow((void **)&sweep->cuts, &sweep->cap, sweep->n + 1, sizeof(*sweep->cuts)) !=
            0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    sweep->cuts[sweep->n++] = cuts;
    return FSP_OK;
}

static enum fsp_rc
sweep(const struct fsp_fold_store *store, struct sweep *what, struct fsp_err *err)
{
    enum fsp_rc rc = store->states(store->ctx, store->owner, sweep_one, what, err);

    for (size_t i = 0; rc == FSP_OK && i < what->n; i++)
        rc = store->drop_state(store->ctx, store->owner, what->cuts[i], err);
    free(what->cuts);
    return rc;
}

static enum fsp_rc
put(const struct fsp_fold *fold, const struct fsp_fold_store *store, struct fsp_err *err)
{
    struct fsp_buf buf;
    enum fsp_rc rc;

    fsp_buf_init(&buf, FSP_MARKS_MAX);
    fsp_marks_write(&fold->marks, &buf);
    rc = fsp_buf_check(&buf, "the marks", err);
    if (rc == FSP_OK)
        rc = store->keep_marks(store->ctx, store->owner, &buf, err);
    fsp_buf_fini(&buf);
    for (size_t i = 0; rc == FSP_OK && i < fold->n_kept; i++) {
        const int64_t cuts_from[2] = {fold->kept[i].cuts, fold->kept[i].from_s};

        fsp_buf_init(&buf, BLOB_MAX);
        write_stored(fold, &fold->kept[i], &buf);
        rc = fsp_buf_check(&buf, "a state", err);
        if (rc == FSP_OK)
            rc = store->keep_state(store->ctx, store->owner, cuts_from, &buf, err);
        fsp_buf_fini(&buf);
    }
    return rc;
}

enum fsp_rc
fsp_fold_keep(
        const struct fsp_fold *fold, const struct fsp_fold_store *store, struct fsp_err *err)
{
    struct sweep what = {
            .from_s = fold->base_from_s, .now = (int64_t)fsp_ledger_peek(fold->ledger)->cuts};
    bool newer = false;
    enum fsp_rc rc = is_newer(fold, store, &newer, err);

    if (rc != FSP_OK || newer)
        return rc;
    rc = sweep(store, &what, err);
    return rc == FSP_OK ? put(fold, store, err) : rc;
}

enum fsp_rc
fsp_fold_forget(const struct fsp_fold_store *store, struct fsp_err *err)
{
    static const struct fsp_buf nothing = {.data = NULL};
    struct sweep what = {.from_s = INT64_MIN};
    enum fsp_rc rc = sweep(store, &what, err);

    return rc == FSP_OK ? store->keep_marks(store->ctx, store->owner, &nothing, err) : rc;
}
