/*
 * The same walk over the state writes and reads it, so that both ends agree by construction.
 *
 * Form: magic, version, rules, body, FNV-1a of all before it. Integers are LEB128 (signed ones
 * zigzag), doubles their eight bytes, little-endian; a text is its length plus one and its bytes, 0
 * for NULL.
 */
#include "line/state.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "line/ledger_priv.h"
#include "line/state_priv.h"

#define MAGIC     "fspst"
#define MAGIC_LEN 5
#define SUM_LEN   8

static uint64_t
sum_of(const uint8_t *bytes, size_t len)
{
    uint64_t sum = UINT64_C(14695981039346656037);
    size_t i;

    for (i = 0; i < len; i++)
        sum = (sum ^ bytes[i]) * UINT64_C(1099511628211);
    return sum;
}

/* ---- pieces ---- */

void
fsp_state_u64(struct fsp_archive *a, uint64_t *value)
{
    if (a->out != NULL)
        fsp_buf_add_varint(a->out, *value);
    else if (a->bad || fsp_cursor_varint(&a->in, value) != FSP_OK) {
        a->bad = true;
        *value = 0;
    }
}

void
fsp_state_size(struct fsp_archive *a, size_t *value, size_t most)
{
    uint64_t wide = *value;

    fsp_state_u64(a, &wide);
    if (wide > most) {
        a->bad = true;
        wide = 0;
    }
    *value = (size_t)wide;
}

void
fsp_state_i64(struct fsp_archive *a, int64_t *value)
{
    uint64_t zigzag = ((uint64_t)*value << 1) ^ (*value < 0 ? UINT64_MAX : 0);

    fsp_state_u64(a, &zigzag);
    *value = (int64_t)(zigzag >> 1) ^ -(int64_t)(zigzag & 1);
}

/* Within 0 .. most. */
void
fsp_state_int(struct fsp_archive *a, int *value, int most)
{
    size_t wide = *value < 0 ? 0 : (size_t)*value;

    fsp_state_size(a, &wide, (size_t)most);
    *value = (int)wide;
}

void
fsp_state_u32(struct fsp_archive *a, uint32_t *value)
{
    size_t wide = *value;

    fsp_state_size(a, &wide, UINT32_MAX);
    *value = (uint32_t)wide;
}

void
fsp_state_bool(struct fsp_archive *a, bool *value)
{
    int one = *value ? 1 : 0;

    fsp_state_int(a, &one, 1);
    *value = one == 1;
}

void
fsp_state_double(struct fsp_archive *a, double *value)
{
    const uint8_t *bytes = NULL;
    uint64_t bits = 0;
    int i;

    if (a->out != NULL) {
        memcpy(&bits, value, sizeof(bits));
        fsp_buf_add_u32le(a->out, (uint32_t)(bits & UINT32_MAX));
        fsp_buf_add_u32le(a->out, (uint32_t)(bits >> 32));
        return;
    }
    if (a->bad || fsp_cursor_bytes(&a->in, &bytes, sizeof(bits)) != FSP_OK) {
        a->bad = true;
        *value = 0;
        return;
    }
    for (i = 0; i < 8; i++)
        bits |= (uint64_t)bytes[i] << (8 * i);
    memcpy(value, &bits, sizeof(bits));
}

void
fsp_state_text(struct fsp_archive *a, const char **text)
{
    size_t len = *text == NULL ? 0 : strlen(*text) + 1;
    const uint8_t *bytes = NULL;

    if (a->out == NULL)
        len = 0;
    fsp_state_size(a, &len, FSP_STATE_MAX);
    if (a->out != NULL) {
        if (len > 1)
            fsp_buf_add(a->out, *text, len - 1);
        return;
    }
    *text = NULL;
    if (a->bad || len == 0)
        return;
    if (fsp_cursor_bytes(&a->in, &bytes, len - 1) != FSP_OK ||
            memchr(bytes, 0, len - 1) != NULL) {
        a->bad = true;
        return;
    }
    memcpy(a->block + a->used, bytes, len - 1);
    a->block[a->used + len - 1] = 0;
    *text = a->block + a->used;
    a->used += len;
}

/* ---- what is beside it ---- */

static void
walk_cut(struct fsp_archive *a, struct fsp_cut_row *row)
{
    fsp_state_u32(a, &row->log);
    fsp_state_int(a, &row->lines, 1000000000);
    fsp_state_u64(a, &row->index);
    fsp_state_i64(a, &row->at_s);
    fsp_state_text(a, &row->reel);
    fsp_state_text(a, &row->reason);
    fsp_state_text(a, &row->place);
    fsp_state_text(a, &row->condition);
    fsp_state_text(a, &row->grade);
    fsp_state_text(a, &row->well);
    fsp_state_text(a, &row->formation);
    fsp_state_text(a, &row->build);
    fsp_state_text(a, &row->rope_class);
    fsp_state_text(a, &row->core);
    fsp_state_double(a, &row->rope_m);
    fsp_state_double(a, &row->length_m);
    fsp_state_double(a, &row->slipped_m);
    fsp_state_double(a, &row->ton_miles_j);
    fsp_state_double(a, &row->served_j);
    fsp_state_double(a, &row->goal_j);
    fsp_state_double(a, &row->programme_m);
    fsp_state_double(a, &row->min_factor);
    fsp_state_bool(a, &row->first_of_line);
    fsp_state_bool(a, &row->first_after_goal_change);
    fsp_state_bool(a, &row->incomplete);
    fsp_state_bool(a, &row->planned);
    fsp_state_bool(a, &row->for_wear);
    fsp_state_bool(a, &row->under_derate);
    fsp_state_bool(a, &row->early);
    fsp_state_bool(a, &row->long_cut);
    fsp_state_bool(a, &row->beyond_slipped);
    fsp_state_bool(a, &row->low);
    fsp_state_bool(a, &row->changed);
    fsp_state_bool(a, &row->has_program);
    fsp_state_u32(a, &row->program_log);
    fsp_state_u64(a, &row->program_index);
    fsp_state_text(a, &row->goal_kind);
    fsp_state_text(a, &row->curve);
    fsp_state_text(a, &row->basis);
    fsp_state_bool(a, &row->credit);
    fsp_state_int(a, &row->slips, 1000000000);
    fsp_state_int(a, &row->below_minimum, 1000000000);
    fsp_state_bool(a, &row->out_of_service);
    fsp_state_bool(a, &row->eligible);
    fsp_state_text(a, &row->why);
}

static void
walk_arrived(struct fsp_archive *a, struct arrived *arrived)
{
    size_t i;

    fsp_state_size(a, &arrived->entries, SIZE_MAX);
    fsp_state_size(a, &arrived->late, SIZE_MAX);
    fsp_state_size(a, &arrived->doubtful, SIZE_MAX);
    fsp_state_size(a, &arrived->untimed, SIZE_MAX);
    fsp_state_size(a, &arrived->untimed_amended, SIZE_MAX);
    fsp_state_size(a, &arrived->logs, FSP_STATE_LOGS);
    for (i = 0; i < arrived->logs; i++) {
        fsp_state_u64(a, &arrived->size[i]);
        fsp_state_bool(a, &arrived->has_noted[i]);
        fsp_state_i64(a, &arrived->newest_s[i]);
    }
}

static void
walk_tally(struct fsp_archive *a, struct tally *tally)
{
    fsp_state_size(a, &tally->amended, SIZE_MAX);
    fsp_state_size(a, &tally->unreadable, SIZE_MAX);
    fsp_state_i64(a, &tally->last_at_s);
    fsp_state_i64(a, &tally->minute);
    fsp_state_bool(a, &tally->begun);
}

static void
walk_note(struct fsp_archive *a, struct note *note)
{
    fsp_state_text(a, &note->text);
    fsp_state_u32(a, &note->log);
    fsp_state_u64(a, &note->index);
    a->bad = a->bad || (a->out == NULL && note->text == NULL);
}

/* ---- save ---- */

static bool
crossed(const struct fsp_ledger *ledger)
{
    size_t i;

    if (ledger->n_moves > MOVES_MAX)
        return ledger->folding;
    for (i = 0; i < ledger->n_moves; i++) {
        if (ledger->moves[i].from <= ledger->tally.minute &&
                ledger->moves[i].to > ledger->tally.minute)
            return true;
    }
    return false;
}

static void
write_notes(const struct fsp_ledger *ledger, struct fsp_archive *a)
{
    size_t from = ledger->n_notes > FSP_LEDGER_NOTES ? ledger->n_notes - FSP_LEDGER_NOTES : 0;
    size_t n = 0, i, dropped = ledger->notes_dropped + from;

    for (i = 0; i < ledger->n_early; i++)
        n += fsp_ledger_note_covered(ledger, &ledger->early[i]) ? 1 : 0;
    fsp_state_size(a, &n, SIZE_MAX);
    for (i = 0; i < ledger->n_early; i++) {
        struct note note = ledger->early[i];

        if (fsp_ledger_note_covered(ledger, &note))
            walk_note(a, &note);
    }
    fsp_state_size(a, &dropped, SIZE_MAX);
    n = ledger->n_notes - from;
    fsp_state_size(a, &n, SIZE_MAX);
    for (i = from; i < ledger->n_notes; i++)
        fsp_state_text(a, &(const char *){ledger->notes[i]});
}

enum fsp_rc
fsp_ledger_save(const struct fsp_ledger *ledger, struct fsp_buf *buf, struct fsp_err *err)
{
    struct fold fold = ledger->fold;
    struct arrived arrived = ledger->arrived;
    struct tally tally = ledger->tally;
    size_t start = buf->len, n = ledger->view.cuts, i;
    struct fsp_archive a = {.out = buf};
    uint64_t version = FSP_STATE_VERSION, rules = FSP_LEDGER_RULES, sum;

    if (ledger->rc != FSP_OK || ledger->held || arrived.logs > FSP_STATE_LOGS ||
            crossed(ledger))
        return fsp_err_set(err, FSP_EAGAIN, "state: not storable here; fold from an older one");
    fsp_buf_add(buf, MAGIC, MAGIC_LEN);
    fsp_state_u64(&a, &version);
    fsp_state_u64(&a, &rules);
    walk_tally(&a, &tally);
    walk_arrived(&a, &arrived);
    fsp_state_size(&a, &n, SIZE_MAX);
    fsp_state_fold(&a, &fold);
    for (i = 0; i < n; i++)
        walk_cut(&a, &ledger->cuts[i]);
    write_notes(ledger, &a);
    if (fsp_buf_check(buf, "state", err) != FSP_OK)
        return buf->rc;
    if (a.bad || buf->len - start > FSP_STATE_MAX - SUM_LEN)
        return fsp_err_set(err, FSP_ELIMIT, "state: larger than %zu bytes", FSP_STATE_MAX);
    sum = sum_of(buf->data + start, buf->len - start);
    fsp_buf_add_u64be(buf, sum);
    return fsp_buf_check(buf, "state", err);
}

/* ---- restore ---- */

static enum fsp_rc
damaged(struct fsp_err *err)
{
    return fsp_err_set(err, FSP_EFORMAT, "state: damaged; fold every entry instead");
}

/* The frame: magic, versions, sum. The body is left under the cursor. */
static enum fsp_rc
open_state(const uint8_t *bytes, size_t len, struct fsp_archive *a, struct fsp_err *err)
{
    uint64_t sum = 0, version = 0, rules = 0;
    struct fsp_cursor tail = {bytes, len, 0};

    if (len < MAGIC_LEN + SUM_LEN || len > FSP_STATE_MAX ||
            memcmp(bytes, MAGIC, MAGIC_LEN) != 0)
        return damaged(err);
    tail.pos = len - SUM_LEN;
    if (fsp_cursor_u64be(&tail, &sum) != FSP_OK || sum != sum_of(bytes, len - SUM_LEN))
        return damaged(err);
    a->in = (struct fsp_cursor){bytes, len - SUM_LEN, MAGIC_LEN};
    fsp_state_u64(a, &version);
    fsp_state_u64(a, &rules);
    if (a->bad || version != FSP_STATE_VERSION || rules != FSP_LEDGER_RULES)
        return fsp_err_set(err, FSP_EFORMAT,
                "state: of version %llu and rules %llu, this program has %d and %d; fold every "
                "entry instead",
                (unsigned long long)version, (unsigned long long)rules, FSP_STATE_VERSION,
                FSP_LEDGER_RULES);
    return FSP_OK;
}

/* Zeroed room for n items of which each takes at least one byte of what is left. */
static void *
room(struct fsp_archive *a, size_t *n, size_t size)
{
    void *items;

    if (a->bad || *n > a->in.len - a->in.pos) {
        a->bad = true;
        *n = 0;
    }
    items = fsp_mem_array(*n + 1, size);
    if (items == NULL)
        *n = 0;
    return items;
}

static void
read_notes(struct fsp_archive *a, struct base *base)
{
    size_t i;

    fsp_state_size(a, &base->n_early, SIZE_MAX);
    base->early = room(a, &base->n_early, sizeof(*base->early));
    for (i = 0; i < base->n_early; i++)
        walk_note(a, &base->early[i]);
    fsp_state_size(a, &base->notes_dropped, SIZE_MAX);
    fsp_state_size(a, &base->n_notes, FSP_LEDGER_NOTES);
    base->notes = room(a, &base->n_notes, sizeof(*base->notes));
    for (i = 0; i < base->n_notes; i++) {
        fsp_state_text(a, &base->notes[i]);
        a->bad = a->bad || base->notes[i] == NULL;
    }
}

void
fsp_ledger_base_free(struct base *base)
{
    free(base->cuts);
    free(base->early);
    free(base->notes);
    free(base->block);
    memset(base, 0, sizeof(*base));
}

static enum fsp_rc
read_base(const uint8_t *bytes, size_t len, struct base *base, struct fsp_err *err)
{
    struct fsp_archive a = {.out = NULL};
    enum fsp_rc rc = open_state(bytes, len, &a, err);
    size_t i;

    memset(base, 0, sizeof(*base));
    if (rc != FSP_OK)
        return rc;
    base->block = fsp_mem_array(len, 1);
    if (base->block == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "state of %zu bytes", len);
    a.block = base->block;
    walk_tally(&a, &base->tally);
    walk_arrived(&a, &base->arrived);
    fsp_state_size(&a, &base->n_cuts, SIZE_MAX);
    fsp_state_fold(&a, &base->fold);
    base->cuts = room(&a, &base->n_cuts, sizeof(*base->cuts));
    for (i = 0; i < base->n_cuts; i++)
        walk_cut(&a, &base->cuts[i]);
    read_notes(&a, base);
    if (base->cuts == NULL || base->early == NULL || base->notes == NULL)
        rc = fsp_err_set(err, FSP_ENOMEM, "state of %zu bytes", len);
    else if (a.bad || a.in.pos != a.in.len)
        rc = damaged(err);
    base->set = rc == FSP_OK;
    if (rc != FSP_OK)
        fsp_ledger_base_free(base);
    return rc;
}

enum fsp_rc
fsp_ledger_restore(
        struct fsp_ledger *ledger, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct base base;
    enum fsp_rc rc;

    if (ledger->n_items > 0)
        return fsp_err_set(err, FSP_EINVAL, "state: restored into a ledger that is not empty");
    rc = read_base(bytes, len, &base, err);
    if (rc != FSP_OK)
        return rc;
    fsp_ledger_base_free(&ledger->base);
    ledger->base = base;
    return FSP_OK;
}

enum fsp_rc
fsp_ledger_state_about(
        const uint8_t *bytes, size_t len, struct fsp_state_about *about, struct fsp_err *err)
{
    struct fsp_archive a = {.out = NULL};
    enum fsp_rc rc = open_state(bytes, len, &a, err);
    struct arrived arrived;
    struct tally tally;
    size_t i;

    memset(about, 0, sizeof(*about));
    memset(&arrived, 0, sizeof(arrived));
    memset(&tally, 0, sizeof(tally));
    if (rc != FSP_OK)
        return rc;
    walk_tally(&a, &tally);
    walk_arrived(&a, &arrived);
    fsp_state_u64(&a, &about->cuts);
    if (a.bad)
        return damaged(err);
    about->from_s = tally.begun ? (tally.minute + 1) * 60 : INT64_MIN;
    about->logs = arrived.logs;
    for (i = 0; i < arrived.logs; i++)
        about->size[i] = arrived.size[i];
    return FSP_OK;
}

void
fsp_ledger_on_cut(struct fsp_ledger *ledger, fsp_ledger_cut_fn fn, void *ctx)
{
    ledger->on_cut = fn;
    ledger->on_cut_ctx = ctx;
}
