/* From a record to a typed item, once, when it is added or amended. */
#include <math.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "line/ledger_priv.h"

static const struct {
    const char *name;
    enum item_kind kind;
} kinds[] = {
        {"work", ITEM_WORK},
        {"tour", ITEM_TOUR},
        {"rig", ITEM_RIG},
        {"reel", ITEM_REEL},
        {"unhang", ITEM_UNHANG},
        {"turn", ITEM_TURN},
        {"string-up", ITEM_STRING_UP},
        {"well", ITEM_WELL},
        {"state", ITEM_STATE},
        {"drill-string", ITEM_DRILL_STRING},
        {"slip", ITEM_SLIP},
        {"cut", ITEM_CUT},
        {"inspection", ITEM_INSPECTION},
        {"adverse", ITEM_ADVERSE},
        {"program", ITEM_PROGRAM},
        {"amend", ITEM_AMEND},
        {"check", ITEM_CHECK},
        {"countersign", ITEM_SILENT},
        {"renewal", ITEM_SILENT},
        {"instruction", ITEM_SILENT},
        {"done", ITEM_SILENT},
};

static double
si(const struct fsp_record *record, const char *field, enum fsp_dim dim)
{
    double value = ABSENT;

    return fsp_record_si(record, field, dim, &value) && isfinite(value) ? value : ABSENT;
}

static double
length(const struct fsp_record *record, const char *field)
{
    return si(record, field, FSP_DIM_LENGTH);
}

static double
load(const struct fsp_record *record, const char *field)
{
    return si(record, field, FSP_DIM_LOAD);
}

static double
joules(const struct fsp_record *record, const char *field)
{
    return si(record, field, FSP_DIM_WORK);
}

static double
plain(const struct fsp_record *record, const char *field)
{
    double value = ABSENT;

    return fsp_record_number(record, field, &value) && isfinite(value) ? value : ABSENT;
}

static int
count(const struct fsp_record *record, const char *field, int absent)
{
    int64_t value = 0;

    if (!fsp_record_int(record, field, &value) || value < 0 || value > 100000000)
        return absent;
    return (int)value;
}

static bool
is(const struct fsp_record *record, const char *field, const char *word)
{
    const char *text = fsp_record_text(record, field);

    return text != NULL && strcmp(text, word) == 0;
}

static enum fsp_drive
drive(const struct fsp_record *record)
{
    if (is(record, "drive", "top-drive"))
        return FSP_DRIVE_TOP;
    return is(record, "drive", "kelly") ? FSP_DRIVE_KELLY : FSP_DRIVE_UNSAID;
}

static void
decode_string(const struct fsp_record *r, struct item_string *out)
{
    out->pipe_nm = si(r, "pipe", FSP_DIM_LINEAR);
    out->stand_m = length(r, "stand");
    out->bha_n = load(r, "bha-weight");
    out->bha_m = length(r, "bha-length");
    out->mud_kgm3 = si(r, "mud", FSP_DIM_DENSITY);
}

static void
decode_rig(const struct fsp_record *r, struct item_rig *out)
{
    const char *mast = fsp_record_text(r, "mast");
    const struct fsp_unit *unit = NULL;
    double metres;

    out->mast_m = length(r, "mast");
    out->drum_m = length(r, "drum");
    out->block_n = load(r, "block");
    out->stand_m = length(r, "stand");
    out->crown_m = length(r, "crown");
    out->block_low_m = length(r, "block-low");
    out->pick_low_m = length(r, "pick-low");
    out->pick_high_m = length(r, "pick-high");
    out->sheave_m = length(r, "sheave");
    out->fast_m = length(r, "fast-line");
    out->dead_m = length(r, "dead-line");
    out->laps_per_layer = plain(r, "laps-per-layer");
    out->wraps_low = plain(r, "wraps-low");
    out->crossovers = count(r, "crossovers", 0);
    out->rolling = count(r, "rolling", 0);
    if (fsp_record_has(r, "bearing"))
        out->k = is(r, "bearing", "plain") ? FSP_HOIST_K_PLAIN : FSP_HOIST_K_ROLLER;
    out->drive = drive(r);
    if (mast != NULL &&
            fsp_quantity_parse(mast, FSP_DIM_LENGTH, &metres, &unit, NULL) == FSP_OK &&
            unit != NULL)
        out->metric = strcmp(unit->name, "ft") != 0 && strcmp(unit->name, "in") != 0;
}

static void
decode_reel(const struct fsp_record *r, struct item_reel *out)
{
    out->reel = fsp_record_text(r, "reel");
    out->grade = fsp_record_text(r, "grade");
    out->rope_m = length(r, "rope");
    out->received_m = length(r, "received");
    out->strung_m = length(r, "strung");
    out->strength_n = load(r, "strength");
    out->carried_total_j = joules(r, "carried-total");
    out->carried_cut_m = length(r, "carried-cut");
    out->carried_since_cut_j = joules(r, "carried-since-cut");
    out->carried_since_slip_j = joules(r, "carried-since-slip");
    out->slipped_since_cut_m = length(r, "slipped-since-cut");
    out->lines = count(r, "lines", 0);
    out->used = is(r, "state", "used");
    out->estimate = is(r, "carried-basis", "estimate");
    out->has_baseline = fsp_record_has(r, "baseline");
}

/* begin and end are times and say nothing to the fold; source neither. */
static void
decode_work(const struct fsp_record *r, struct item_work *out)
{
    decode_string(r, &out->string);
    out->op = fsp_work_op(fsp_record_text(r, "op"));
    out->drive = drive(r);
    if (is(r, "when", "before"))
        out->when = WHEN_BEFORE;
    else if (is(r, "when", "after"))
        out->when = WHEN_AFTER;
    out->reams = count(r, "reams", -1);
    out->passes = count(r, "passes", -1);
    out->gaps = count(r, "gaps", 0);
    out->least = fsp_hoist_least(fsp_record_text(r, "service"), fsp_record_text(r, "op"));
    out->depth_m = length(r, "depth");
    out->from_m = length(r, "from");
    out->to_m = length(r, "to");
    out->casing_nm = si(r, "casing", FSP_DIM_LINEAR);
    out->joint_m = length(r, "joint");
    out->landing_m = length(r, "landing-string");
    out->liner_m = length(r, "liner-length");
    out->count = count(r, "count", 0);
    out->stroke_m = length(r, "stroke");
    out->up_n = load(r, "up");
    out->down_n = load(r, "down");
    out->multiplier = plain(r, "multiplier");
    out->given_j = joules(r, "ton-miles");
    out->hookload_n = load(r, "hookload");
    out->pull_n = load(r, "pull");
    out->shown_factor = plain(r, "factor");
}

/* A result in free words: one that begins with fail, not or no says that the test did not pass. */
static bool
passed(const struct fsp_record *r)
{
    static const char *const bad[] = {"fail", "not", "no "};
    const char *text = fsp_record_text(r, "result");
    size_t i;

    for (i = 0; text != NULL && i < sizeof(bad) / sizeof(bad[0]); i++) {
        if (strncasecmp(text, bad[i], strlen(bad[i])) == 0)
            return false;
    }
    return text != NULL && strcasecmp(text, "no") != 0;
}

/* The crown-saver among the checks made after a slip or cut, under either way of writing it. */
static bool
crown_tested(const struct fsp_record *r)
{
    size_t n = fsp_record_count(r, "checks"), i;

    for (i = 0; i < n; i++) {
        const struct fsp_record *one = fsp_record_item(r, "checks", i);

        if (one != NULL && passed(one) &&
                (is(one, "item", "crown-saver") || is(one, "item", "crown saver")))
            return true;
    }
    return false;
}

static void
decode_cut(const struct fsp_record *r, struct item_cut *out)
{
    out->reason = fsp_record_text(r, "reason");
    out->place = fsp_record_text(r, "place");
    out->condition = fsp_record_text(r, "condition");
    out->length_m = length(r, "length");
    out->slipped_m = length(r, "slipped");
    out->by_laps = is(r, "measured", "laps");
    out->crown_tested = crown_tested(r);
    out->laps = plain(r, "laps");
}

static void
decode_inspection(const struct fsp_record *r, struct item_inspection *out)
{
    static const struct {
        const char *word;
        enum decision decision;
    } words[] = {{"run", DECISION_RUN}, {"watch", DECISION_WATCH}, {"slip", DECISION_SLIP},
            {"cut", DECISION_CUT}, {"out-of-service", DECISION_OUT},
            {"replace", DECISION_REPLACE}};
    size_t i;

    out->reel = fsp_record_text(r, "reel");
    out->inspector = fsp_record_text(r, "inspector");
    out->decision_text = fsp_record_text(r, "decision");
    out->thorough = fsp_record_has(r, "scope") && !is(r, "scope", "tour");
    out->defects = fsp_record_count(r, "defects") > 0;
    for (i = 0; i < fsp_record_count(r, "places"); i++) {
        const struct fsp_record *place = fsp_record_item(r, "places", i);

        out->baseline = out->baseline || (place != NULL && fsp_record_has(place, "baseline"));
    }
    for (i = 0; i < sizeof(words) / sizeof(words[0]); i++) {
        if (is(r, "decision", words[i].word))
            out->decision = words[i].decision;
    }
}

static void
decode_adverse(const struct fsp_record *r, struct item_adverse *out)
{
    static const char *const words[ADVERSE_SLOTS] = {
            "other", "bit-chatter", "deviation", "stuck-pipe", "jarring"};
    int i;

    out->what = fsp_record_text(r, "what");
    out->begins = is(r, "state", "begins");
    out->derate = si(r, "derate", FSP_DIM_SHARE);
    for (i = 0; i < ADVERSE_SLOTS; i++) {
        if (is(r, "what", words[i]))
            out->slot = i;
    }
}

static void
decode_program(const struct fsp_record *r, struct item_program *out)
{
    out->cut_m = length(r, "cut");
    out->first_j = joules(r, "first-goal");
    out->later_j = joules(r, "later-goal");
    out->slips = count(r, "slips", 0);
    out->credit = is(r, "credit-above", "on");
    if (is(r, "basis", "counted"))
        out->basis = BASIS_COUNTED;
    else if (is(r, "basis", "hand"))
        out->basis = BASIS_HAND;
}

static int
base64_digit(char c)
{
    static const char digits[] =
            "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    const char *at = c == 0 ? NULL : strchr(digits, c);

    return at == NULL ? -1 : (int)(at - digits);
}

/* 32 bytes as 64 hexadecimal digits or 44 characters of base64. */
static bool
read_leaf(const char *text, uint8_t out[32])
{
    uint32_t bits = 0;
    size_t have = 0, n = 0, i;

    if (text == NULL)
        return false;
    if (strlen(text) == 64)
        return fsp_text_unhex(out, 32, text) == FSP_OK;
    if (strlen(text) != 44 || text[43] != '=')
        return false;
    for (i = 0; i < 43; i++) {
        int digit = base64_digit(text[i]);

        if (digit < 0)
            return false;
        bits = bits << 6 | (uint32_t)digit;
        have += 6;
        if (have >= 8) {
            have -= 8;
            out[n++] = (uint8_t)(bits >> have & 0xff);
        }
    }
    return n == 32 && (bits & ((1U << have) - 1)) == 0; /* canonical: no bits left over */
}

static void
decode_amend(const struct fsp_record *r, struct item_amend *out)
{
    const struct fsp_record *entry = fsp_record_object(r, "entry");

    out->voids = is(r, "void", "yes");
    out->sets = fsp_record_object(r, "set") != NULL;
    if (entry != NULL && fsp_record_int(entry, "index", &out->index) && out->index >= 0)
        out->named = read_leaf(fsp_record_text(entry, "leaf"), out->leaf);
}

enum fsp_rc
fsp_ledger_decode_curve(
        const struct fsp_record *record, struct fsp_curve *curve, struct fsp_err *err)
{
    size_t n = fsp_record_count(record, "curve"), i;
    enum fsp_rc rc;

    memset(curve, 0, sizeof(*curve));
    if (n == 0)
        return FSP_OK;
    if (n > FSP_CURVE_MAX)
        return fsp_err_set(
                err, FSP_ELIMIT, "curve: %zu points; allowed: 2 to %d", n, FSP_CURVE_MAX);
    for (i = 0; i < n; i++) {
        const struct fsp_record *point = fsp_record_item(record, "curve", i);

        if (point == NULL || !fsp_record_number(point, "factor", &curve->factor[i]) ||
                !fsp_record_si(point, "share", FSP_DIM_SHARE, &curve->share[i])) {
            curve->n = 0;
            return fsp_err_set(err, FSP_EFORMAT, "curve: point %zu cannot be read", i + 1);
        }
    }
    curve->n = n;
    rc = fsp_goal_curve_sort(curve, err);
    if (rc != FSP_OK)
        curve->n = 0;
    return rc;
}

static void
decode_tour(const struct fsp_record *r, struct item_tour *out)
{
    out->bit_m = length(r, "bit-depth");
    out->incomplete = is(r, "complete", "no");
}

static void
decode_string_up(const struct fsp_record *r, struct item_string_up *out)
{
    out->lines = count(r, "lines", 0);
    out->drawn_m = length(r, "drawn");
    out->returned_m = length(r, "returned");
    out->cropped_m = length(r, "cropped");
    out->wraps_low = plain(r, "wraps-low");
}

static void
decode_body(struct item *item)
{
    const struct fsp_record *r = item->record;

    switch (item->kind) {
    case ITEM_RIG:
        decode_rig(r, &item->u.rig);
        break;
    case ITEM_REEL:
        decode_reel(r, &item->u.reel);
        break;
    case ITEM_UNHANG:
    case ITEM_TURN:
        item->u.text = fsp_record_text(r, "reel");
        break;
    case ITEM_WELL:
        item->u.text = fsp_record_text(r, "well");
        break;
    case ITEM_STATE:
        item->u.text = fsp_record_text(r, "state");
        break;
    case ITEM_STRING_UP:
        decode_string_up(r, &item->u.string_up);
        break;
    case ITEM_TOUR:
        decode_tour(r, &item->u.tour);
        break;
    case ITEM_DRILL_STRING:
        decode_string(r, &item->u.string);
        break;
    case ITEM_WORK:
        decode_work(r, &item->u.work);
        break;
    case ITEM_SLIP:
        item->u.slip.length_m = length(r, "length");
        item->u.slip.crown_tested = crown_tested(r);
        break;
    case ITEM_CUT:
        decode_cut(r, &item->u.cut);
        break;
    case ITEM_INSPECTION:
        decode_inspection(r, &item->u.inspection);
        break;
    case ITEM_ADVERSE:
        decode_adverse(r, &item->u.adverse);
        break;
    case ITEM_PROGRAM:
        decode_program(r, &item->u.program);
        break;
    case ITEM_CHECK:
        if (!passed(r))
            break;
        if (is(r, "item", "crown-saver"))
            item->u.check = CHECK_CROWN_SAVER;
        else if (is(r, "item", "anchor"))
            item->u.check = CHECK_ANCHOR;
        break;
    case ITEM_AMEND:
        decode_amend(r, &item->u.amend);
        break;
    case ITEM_UNREADABLE:
    case ITEM_SILENT:
        break;
    }
}

void
fsp_ledger_decode(struct item *item)
{
    const char *name;
    size_t i;

    item->kind = ITEM_UNREADABLE;
    memset(&item->u, 0, sizeof(item->u));
    if (item->record == NULL)
        return;
    item->has_at = fsp_record_time(item->record, "at", &item->at_s);
    item->has_noted = fsp_record_time(item->record, "noted", &item->noted_s);
    item->tour = fsp_record_text(item->record, "tour");
    if (!fsp_record_int(item->record, "row", &item->row))
        item->row = 0;
    name = fsp_record_text(item->record, "kind");
    for (i = 0; item->has_at && name != NULL && i < sizeof(kinds) / sizeof(kinds[0]); i++) {
        if (strcmp(name, kinds[i].name) == 0) {
            item->kind = kinds[i].kind;
            break;
        }
    }
    decode_body(item);
}
