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

#define MAGIC     "fspst"
#define MAGIC_LEN 5
#define SUM_LEN   8

struct archive {
    struct fsp_buf *out; /* writing; NULL: reading */
    struct fsp_cursor in;
    char *block; /* where texts read go: as long as the bytes, so it always fits */
    size_t used;
    bool bad;
};

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

static void
walk_u64(struct archive *a, uint64_t *value)
{
    if (a->out != NULL)
        fsp_buf_add_varint(a->out, *value);
    else if (a->bad || fsp_cursor_varint(&a->in, value) != FSP_OK) {
        a->bad = true;
        *value = 0;
    }
}

static void
walk_size(struct archive *a, size_t *value, size_t most)
{
    uint64_t wide = *value;

    walk_u64(a, &wide);
    if (wide > most) {
        a->bad = true;
        wide = 0;
    }
    *value = (size_t)wide;
}

static void
walk_i64(struct archive *a, int64_t *value)
{
    uint64_t zigzag = ((uint64_t)*value << 1) ^ (*value < 0 ? UINT64_MAX : 0);

    walk_u64(a, &zigzag);
    *value = (int64_t)(zigzag >> 1) ^ -(int64_t)(zigzag & 1);
}

/* Within 0 .. most. */
static void
walk_int(struct archive *a, int *value, int most)
{
    size_t wide = *value < 0 ? 0 : (size_t)*value;

    walk_size(a, &wide, (size_t)most);
    *value = (int)wide;
}

static void
walk_u32(struct archive *a, uint32_t *value)
{
    size_t wide = *value;

    walk_size(a, &wide, UINT32_MAX);
    *value = (uint32_t)wide;
}

static void
walk_bool(struct archive *a, bool *value)
{
    int one = *value ? 1 : 0;

    walk_int(a, &one, 1);
    *value = one == 1;
}

static void
walk_double(struct archive *a, double *value)
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

static void
walk_text(struct archive *a, const char **text)
{
    size_t len = *text == NULL ? 0 : strlen(*text) + 1;
    const uint8_t *bytes = NULL;

    if (a->out == NULL)
        len = 0;
    walk_size(a, &len, FSP_STATE_MAX);
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

/* ---- the fold ---- */

static void
walk_rig(struct archive *a, struct item_rig *rig)
{
    int drive = (int)rig->drive;

    walk_double(a, &rig->mast_m);
    walk_double(a, &rig->drum_m);
    walk_double(a, &rig->block_n);
    walk_double(a, &rig->stand_m);
    walk_int(a, &rig->crossovers, 1000000000);
    walk_int(a, &rig->rolling, 1000000000);
    walk_double(a, &rig->k);
    walk_int(a, &drive, FSP_DRIVE_TOP);
    rig->drive = (enum fsp_drive)drive;
    walk_bool(a, &rig->metric);
}

static void
walk_string(struct archive *a, struct item_string *string)
{
    walk_double(a, &string->pipe_nm);
    walk_double(a, &string->stand_m);
    walk_double(a, &string->bha_n);
    walk_double(a, &string->bha_m);
    walk_double(a, &string->mud_kgm3);
}

/* A row of the table by its place, counted from 1. */
static void
walk_size_row(struct archive *a, const struct fsp_rope_size **size)
{
    size_t place = 0, i;

    for (i = 0; a->out != NULL && *size != NULL && fsp_rope_size_at(i) != NULL; i++) {
        if (fsp_rope_size_at(i) == *size)
            place = i + 1;
    }
    walk_size(a, &place, 1000);
    if (a->out != NULL)
        return;
    *size = place == 0 ? NULL : fsp_rope_size_at(place - 1);
    a->bad = a->bad || (place != 0 && *size == NULL);
}

static void
walk_line(struct archive *a, struct line_state *line)
{
    int source = (int)line->rope.source;

    walk_bool(a, &line->hung);
    walk_text(a, &line->reel);
    walk_text(a, &line->grade);
    walk_double(a, &line->rope.diameter_m);
    walk_double(a, &line->rope.strength_n);
    walk_double(a, &line->rope.listed_n);
    walk_double(a, &line->rope.linear_nm);
    walk_int(a, &source, FSP_ROPE_CERTIFICATE);
    line->rope.source = (enum fsp_rope_source)source;
    walk_size_row(a, &line->rope.size);
    walk_bool(a, &line->rope.over_listed);
    walk_bool(a, &line->rope.matched_metric);
    walk_double(a, &line->received_m);
    walk_double(a, &line->strung_m);
    walk_double(a, &line->drawn_m);
    walk_double(a, &line->returned_m);
    walk_double(a, &line->cropped_m);
    walk_double(a, &line->slipped_m);
    walk_double(a, &line->cut_m);
    walk_double(a, &line->carried_cut_m);
    walk_int(a, &line->lines, 1000000000);
    walk_bool(a, &line->used);
    walk_bool(a, &line->first_due);
    a->bad = a->bad || (a->out == NULL && line->hung && line->reel == NULL);
}

static void
walk_count(struct archive *a, struct count_state *count)
{
    walk_double(a, &count->slip_j);
    walk_double(a, &count->cut_j);
    walk_double(a, &count->line_j);
    walk_double(a, &count->check_j);
    walk_double(a, &count->served_j);
    walk_double(a, &count->served_slip_j);
    walk_double(a, &count->min_factor);
    walk_double(a, &count->slipped_m);
    walk_bool(a, &count->incomplete);
    walk_bool(a, &count->estimated_loads);
    walk_bool(a, &count->derated);
    walk_bool(a, &count->goal_changed);
    walk_bool(a, &count->beyond_told);
    walk_bool(a, &count->saw_hand);
    walk_bool(a, &count->saw_counted);
    walk_int(a, &count->slips, 1000000000);
    walk_int(a, &count->below_minimum, 1000000000);
}

static void
walk_program(struct archive *a, struct fold *fold)
{
    int basis = (int)fold->program.basis;
    size_t i;

    walk_bool(a, &fold->has_program);
    walk_double(a, &fold->program.cut_m);
    walk_double(a, &fold->program.first_j);
    walk_double(a, &fold->program.later_j);
    walk_int(a, &fold->program.slips, 1000000000);
    walk_bool(a, &fold->program.credit);
    walk_int(a, &basis, BASIS_COUNTED);
    fold->program.basis = (enum basis)basis;
    walk_u32(a, &fold->program_log);
    walk_u64(a, &fold->program_index);
    walk_size(a, &fold->curve.n, FSP_CURVE_MAX);
    for (i = 0; i < fold->curve.n; i++) {
        walk_double(a, &fold->curve.factor[i]);
        walk_double(a, &fold->curve.share[i]);
    }
}

static void
walk_finding(struct archive *a, struct finding *found)
{
    walk_bool(a, &found->open);
    walk_i64(a, &found->at_s);
    walk_u64(a, &found->index);
    walk_text(a, &found->inspector);
    walk_text(a, &found->decision);
}

static void
walk_duties(struct archive *a, struct duty_state *duties)
{
    int i;

    for (i = 0; i < FSP_DUTY_EVENTS; i++) {
        walk_bool(a, &duties->events[i].open);
        walk_i64(a, &duties->events[i].since_s);
        walk_u64(a, &duties->events[i].index);
    }
    walk_i64(a, &duties->hung_s);
    walk_i64(a, &duties->thorough_s);
    walk_i64(a, &duties->active_s);
    walk_i64(a, &duties->worked_s);
    walk_i64(a, &duties->anchor_s);
    walk_i64(a, &duties->anchor_due_s);
    walk_i64(a, &duties->crown_s);
    walk_i64(a, &duties->crown_owed_s);
    walk_bool(a, &duties->baseline_owed);
}

static void
walk_pace(struct archive *a, struct pace *pace)
{
    size_t i;

    walk_bool(a, &pace->begun);
    walk_bool(a, &pace->worked);
    walk_i64(a, &pace->day);
    walk_double(a, &pace->today_j);
    walk_size(a, &pace->n, FSP_PACE_DAYS);
    for (i = 0; i < pace->n; i++)
        walk_double(a, &pace->day_j[i]);
}

static void
walk_ratings(struct archive *a, struct fold *fold)
{
    size_t i;

    walk_size(a, &fold->n_ratings, RATINGS_MAX);
    for (i = 0; i < fold->n_ratings; i++) {
        int part = (int)fold->ratings[i].part;

        walk_int(a, &part, FSP_PARTS - 1);
        fold->ratings[i].part = (enum fsp_part)part;
        walk_double(a, &fold->ratings[i].is.load_n);
        walk_int(a, &fold->ratings[i].is.lines, 1000000000);
    }
    walk_size(a, &fold->n_defects, DEFECTS_MAX);
    for (i = 0; i < fold->n_defects; i++) {
        walk_i64(a, &fold->defects[i].at_s);
        walk_u64(a, &fold->defects[i].index);
        walk_text(a, &fold->defects[i].place);
        walk_text(a, &fold->defects[i].what);
        walk_text(a, &fold->defects[i].by_date);
        walk_text(a, &fold->defects[i].by);
    }
}

static void
walk_fold(struct archive *a, struct fold *fold)
{
    uint64_t assumed = fold->assumed;
    int i;

    walk_bool(a, &fold->has_rig);
    walk_bool(a, &fold->has_string);
    walk_rig(a, &fold->rig);
    walk_string(a, &fold->string);
    walk_line(a, &fold->line);
    walk_count(a, &fold->count);
    walk_program(a, fold);
    for (i = 0; i < ADVERSE_SLOTS; i++) {
        walk_bool(a, &fold->adverse[i].open);
        walk_double(a, &fold->adverse[i].derate);
    }
    walk_finding(a, &fold->stop);
    walk_finding(a, &fold->slip_asked);
    walk_duties(a, &fold->duties);
    walk_pace(a, &fold->pace);
    walk_ratings(a, fold);
    walk_double(a, &fold->bit_m);
    walk_bool(a, &fold->bit_known);
    walk_bool(a, &fold->mixed_told);
    walk_text(a, &fold->well);
    walk_text(a, &fold->state);
    walk_text(a, &fold->formation);
    walk_u64(a, &assumed);
    fold->assumed = (unsigned)(assumed & UINT_MAX);
}

/* ---- what is beside it ---- */

static void
walk_cut(struct archive *a, struct fsp_cut_row *row)
{
    walk_u32(a, &row->log);
    walk_int(a, &row->lines, 1000000000);
    walk_u64(a, &row->index);
    walk_i64(a, &row->at_s);
    walk_text(a, &row->reel);
    walk_text(a, &row->reason);
    walk_text(a, &row->place);
    walk_text(a, &row->condition);
    walk_text(a, &row->grade);
    walk_text(a, &row->well);
    walk_double(a, &row->rope_m);
    walk_double(a, &row->length_m);
    walk_double(a, &row->slipped_m);
    walk_double(a, &row->ton_miles_j);
    walk_double(a, &row->served_j);
    walk_double(a, &row->goal_j);
    walk_double(a, &row->programme_m);
    walk_double(a, &row->min_factor);
    walk_bool(a, &row->first_of_line);
    walk_bool(a, &row->first_after_goal_change);
    walk_bool(a, &row->incomplete);
    walk_bool(a, &row->planned);
    walk_bool(a, &row->for_wear);
    walk_bool(a, &row->under_derate);
    walk_bool(a, &row->early);
    walk_bool(a, &row->long_cut);
    walk_bool(a, &row->beyond_slipped);
    walk_bool(a, &row->has_program);
    walk_u32(a, &row->program_log);
    walk_u64(a, &row->program_index);
    walk_text(a, &row->goal_kind);
    walk_text(a, &row->curve);
    walk_text(a, &row->basis);
    walk_bool(a, &row->credit);
    walk_int(a, &row->slips, 1000000000);
    walk_int(a, &row->below_minimum, 1000000000);
    walk_bool(a, &row->out_of_service);
    walk_bool(a, &row->eligible);
    walk_text(a, &row->why);
}

static void
walk_arrived(struct archive *a, struct arrived *arrived)
{
    size_t i;

    walk_size(a, &arrived->entries, SIZE_MAX);
    walk_size(a, &arrived->late, SIZE_MAX);
    walk_size(a, &arrived->doubtful, SIZE_MAX);
    walk_size(a, &arrived->untimed, SIZE_MAX);
    walk_size(a, &arrived->untimed_amended, SIZE_MAX);
    walk_size(a, &arrived->logs, FSP_STATE_LOGS);
    for (i = 0; i < arrived->logs; i++) {
        walk_u64(a, &arrived->size[i]);
        walk_bool(a, &arrived->has_noted[i]);
        walk_i64(a, &arrived->newest_s[i]);
    }
}

static void
walk_tally(struct archive *a, struct tally *tally)
{
    walk_size(a, &tally->amended, SIZE_MAX);
    walk_size(a, &tally->unreadable, SIZE_MAX);
    walk_i64(a, &tally->last_at_s);
    walk_i64(a, &tally->minute);
    walk_bool(a, &tally->begun);
}

static void
walk_note(struct archive *a, struct note *note)
{
    walk_text(a, &note->text);
    walk_u32(a, &note->log);
    walk_u64(a, &note->index);
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
write_notes(const struct fsp_ledger *ledger, struct archive *a)
{
    size_t from = ledger->n_notes > FSP_LEDGER_NOTES ? ledger->n_notes - FSP_LEDGER_NOTES : 0;
    size_t n = 0, i, dropped = ledger->notes_dropped + from;

    for (i = 0; i < ledger->n_early; i++)
        n += fsp_ledger_note_covered(ledger, &ledger->early[i]) ? 1 : 0;
    walk_size(a, &n, SIZE_MAX);
    for (i = 0; i < ledger->n_early; i++) {
        struct note note = ledger->early[i];

        if (fsp_ledger_note_covered(ledger, &note))
            walk_note(a, &note);
    }
    walk_size(a, &dropped, SIZE_MAX);
    n = ledger->n_notes - from;
    walk_size(a, &n, SIZE_MAX);
    for (i = from; i < ledger->n_notes; i++)
        walk_text(a, &(const char *){ledger->notes[i]});
}

enum fsp_rc
fsp_ledger_save(const struct fsp_ledger *ledger, struct fsp_buf *buf, struct fsp_err *err)
{
    struct fold fold = ledger->fold;
    struct arrived arrived = ledger->arrived;
    struct tally tally = ledger->tally;
    size_t start = buf->len, n = ledger->view.cuts, i;
    struct archive a = {.out = buf};
    uint64_t version = FSP_STATE_VERSION, rules = FSP_LEDGER_RULES, sum;

    if (ledger->rc != FSP_OK || ledger->held || arrived.logs > FSP_STATE_LOGS ||
            crossed(ledger))
        return fsp_err_set(err, FSP_EAGAIN, "state: not storable here; fold from an older one");
    fsp_buf_add(buf, MAGIC, MAGIC_LEN);
    walk_u64(&a, &version);
    walk_u64(&a, &rules);
    walk_tally(&a, &tally);
    walk_arrived(&a, &arrived);
    walk_size(&a, &n, SIZE_MAX);
    walk_fold(&a, &fold);
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
open_state(const uint8_t *bytes, size_t len, struct archive *a, struct fsp_err *err)
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
    walk_u64(a, &version);
    walk_u64(a, &rules);
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
room(struct archive *a, size_t *n, size_t size)
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
read_notes(struct archive *a, struct base *base)
{
    size_t i;

    walk_size(a, &base->n_early, SIZE_MAX);
    base->early = room(a, &base->n_early, sizeof(*base->early));
    for (i = 0; i < base->n_early; i++)
        walk_note(a, &base->early[i]);
    walk_size(a, &base->notes_dropped, SIZE_MAX);
    walk_size(a, &base->n_notes, FSP_LEDGER_NOTES);
    base->notes = room(a, &base->n_notes, sizeof(*base->notes));
    for (i = 0; i < base->n_notes; i++) {
        walk_text(a, &base->notes[i]);
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
    struct archive a = {.out = NULL};
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
    walk_size(&a, &base->n_cuts, SIZE_MAX);
    walk_fold(&a, &base->fold);
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
    struct archive a = {.out = NULL};
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
    walk_u64(&a, &about->cuts);
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
