/* The fold itself: what each kind of record does to the state. */
#include <math.h>
#include <string.h>

#include "line/ledger_priv.h"

static double
or_zero(double value)
{
    return isnan(value) ? 0 : value;
}

static void
keep(double *value, double before)
{
    if (isnan(*value))
        *value = before;
}

/* What newer particulars do not say stays as it was. */
static void
keep_rig(struct item_rig *rig, const struct item_rig *before)
{
    keep(&rig->mast_m, before->mast_m);
    keep(&rig->drum_m, before->drum_m);
    keep(&rig->block_n, before->block_n);
    keep(&rig->stand_m, before->stand_m);
    keep(&rig->crown_m, before->crown_m);
    keep(&rig->block_low_m, before->block_low_m);
    keep(&rig->pick_low_m, before->pick_low_m);
    keep(&rig->pick_high_m, before->pick_high_m);
    keep(&rig->sheave_m, before->sheave_m);
    keep(&rig->fast_m, before->fast_m);
    keep(&rig->dead_m, before->dead_m);
    keep(&rig->laps_per_layer, before->laps_per_layer);
    keep(&rig->wraps_low, before->wraps_low);
    if (rig->crossovers == 0)
        rig->crossovers = before->crossovers;
    if (rig->rolling == 0)
        rig->rolling = before->rolling;
    if (!(rig->k > 0))
        rig->k = before->k;
    if (rig->drive == FSP_DRIVE_UNSAID)
        rig->drive = before->drive;
}

void
fsp_ledger_machine_changed(struct fold *fold, const struct item *item)
{
    fold->changed = true;
    fold->changed_s = item->at_s;
}

/* A diameter that was known before: to say one for the first time changes nothing. */
static bool
is_another(double now_m, double before_m)
{
    return before_m > 0 && fabs(now_m - before_m) > FSP_LEDGER_SAME_DIAMETER_M;
}

static void
apply_rig(struct fold *fold, const struct item *item)
{
    struct item_rig before = fold->rig;

    fold->rig = item->u.rig;
    if (fold->has_rig) {
        keep_rig(&fold->rig, &before);
        if (is_another(fold->rig.drum_m, before.drum_m) ||
                is_another(fold->rig.sheave_m, before.sheave_m))
            fsp_ledger_machine_changed(fold, item);
    }
    fold->has_rig = true;
    fsp_ledger_take_ratings(fold, item);
}

void
fsp_ledger_place(struct fold *fold)
{
    const struct line_state *line = &fold->line;
    struct places *places = &fold->places;
    struct fsp_line_place now = {line->slipped_m + line->drawn_m - line->returned_m,
            line->cut_m + line->cropped_m, line->lines};

    if (places->n == FSP_CRITICAL_MOVES) {
        memmove(&places->at[0], &places->at[1], (places->n - 1) * sizeof(places->at[0]));
        places->n--;
    }
    places->at[places->n++] = now;
}

static void
start_count(struct fold *fold, const struct item_reel *reel)
{
    struct count_state *count = &fold->count;

    memset(count, 0, sizeof(*count));
    count->line_j = or_zero(reel->carried_total_j);
    count->cut_j = or_zero(reel->carried_since_cut_j);
    count->served_j = count->cut_j;
    count->slip_j = or_zero(reel->carried_since_slip_j);
    count->served_slip_j = count->slip_j;
    count->slipped_m = or_zero(reel->slipped_since_cut_m);
    count->derated = fsp_ledger_derate(fold) < 1;
}

/* More than 3 % above the table is told; what entering refuses may still stand in a log, and then
 * the line is not made to look better by it. */
static void
judge_certificate(struct fsp_ledger *ledger, const struct item *item, struct fsp_rope *rope)
{
    double above = 100 * (rope->strength_n / rope->listed_n - 1);
    struct fsp_err err = {0};

    if (!rope->over_listed)
        return;
    if (fsp_rope_check_certificate(rope, &err) == FSP_OK) {
        fsp_ledger_say(ledger, item,
                "the certificate's strength is %.1f %% above the table: is it the minimum "
                "breaking force?",
                above);
        return;
    }
    fsp_ledger_say(ledger, item,
            "the certificate's strength is %.1f %% above the table, where less than 10 %% is "
            "allowed: the table's is taken; amend the reel",
            above);
    rope->strength_n = rope->listed_n;
}

static void
apply_reel(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;
    const struct item_reel *reel = &item->u.reel;
    struct line_state *line = &fold->line;
    double certificate = isnan(reel->strength_n) ? 0 : reel->strength_n;
    struct fsp_err err = {0};

    if (line->hung)
        fsp_ledger_say(ledger, item, "a line is hung while reel %s was still hung",
                line->reel == NULL ? "?" : line->reel);
    memset(line, 0, sizeof(*line));
    line->hung = true;
    line->reel = reel->reel == NULL ? "?" : reel->reel;
    line->grade = reel->grade;
    line->build = fsp_record_text(item->record, "build");
    line->rope_class = fsp_record_text(item->record, "class");
    line->core = fsp_record_text(item->record, "core");
    line->lines = reel->lines;
    line->received_m = or_zero(reel->received_m);
    line->strung_m = or_zero(reel->strung_m);
    line->carried_cut_m = or_zero(reel->carried_cut_m);
    line->used = reel->used || reel->estimate || line->carried_cut_m > 0 ||
                 or_zero(reel->carried_total_j) > 0;
    line->first_due = true;
    if (fsp_rope_find(or_zero(reel->rope_m), reel->grade, certificate, &line->rope, &err) !=
            FSP_OK) {
        fsp_ledger_say(ledger, item, "strength unknown, no design factor: %s", err.text);
        line->rope.diameter_m = or_zero(reel->rope_m);
    }
    judge_certificate(ledger, item, &line->rope);
    if (line->rope.matched_metric && line->rope.source == FSP_ROPE_TABLE)
        fsp_ledger_say(ledger, item, "%.1f mm rope taken for the %s in of the table",
                line->rope.diameter_m * 1000, line->rope.size->name);
    if (line->strung_m > line->received_m)
        fsp_ledger_say(ledger, item, "more line strung than received");
    fold->stop.open = false;
    fold->slip_asked.open = false;
    fold->n_defects = 0;
    start_count(fold, reel);
    fold->places.n = 0;
    fsp_ledger_place(fold);
    fsp_duty_hang(fold, item);
}

static void
apply_unhang(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;
    const char *reel = item->u.text;

    if (!fold->line.hung || reel == NULL || strcmp(fold->line.reel, reel) != 0) {
        fsp_ledger_say(ledger, item, "reel %s comes off, but %s is hung",
                reel == NULL ? "?" : reel, fold->line.hung ? fold->line.reel : "none");
        if (!fold->line.hung)
            return;
    }
    memset(&fold->line, 0, sizeof(fold->line));
    fold->places.n = 0;
    fold->n_defects = 0;
    memset(&fold->count, 0, sizeof(fold->count));
    fold->stop.open = false;
    fold->slip_asked.open = false;
}

static void
apply_string_up(struct fsp_ledger *ledger, const struct item *item)
{
    const struct item_string_up *change = &item->u.string_up;
    struct line_state *line = &ledger->fold.line;

    if (!line->hung) {
        fsp_ledger_say(ledger, item, "string-up with no line hung");
        return;
    }
    if (change->lines > 0)
        line->lines = change->lines;
    line->drawn_m += or_zero(change->drawn_m);
    line->returned_m += or_zero(change->returned_m);
    line->cropped_m += or_zero(change->cropped_m);
    if (!isnan(change->wraps_low))
        ledger->fold.rig.wraps_low = change->wraps_low;
    fsp_ledger_place(&ledger->fold);
}

/* The other end is at the drum now: where the line lay says nothing of where it will. */
static void
apply_turn(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;

    fsp_ledger_say(ledger, item, "line turned end for end: inspect it thoroughly");
    fold->places.n = 0;
    if (fold->line.hung)
        fsp_ledger_place(fold);
}

static void
apply_well(struct fold *fold, const struct item *item)
{
    const char *name = item->u.text;

    if (fold->well == NULL || name == NULL || strcmp(fold->well, name) != 0)
        fold->bit_known = false;
    fold->well = name;
    fold->formation = fsp_record_text(item->record, "formation");
}

static void
apply_state(struct fold *fold, const struct item *item)
{
    fold->state = item->u.text;
    if (item->u.text != NULL && strcmp(item->u.text, "moving") == 0)
        fold->bit_known = false;
}

static void
apply_slip(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;
    double length = or_zero(item->u.slip.length_m);

    if (!fold->line.hung) {
        fsp_ledger_say(ledger, item, "slip with no line hung");
        return;
    }
    fold->line.slipped_m += length;
    fold->count.slipped_m += length;
    fold->count.slips++;
    fold->count.slip_j = 0;
    fold->count.served_slip_j = 0;
    fold->slip_asked.open = false;
    fsp_ledger_place(fold);
    if (fsp_ledger_on_reel(&fold->line) < -FSP_LEDGER_CUT_BEYOND_M)
        fsp_ledger_say(ledger, item, "more line slipped than the reel held");
}

static bool
stops(enum decision decision)
{
    return decision == DECISION_CUT || decision == DECISION_OUT || decision == DECISION_REPLACE;
}

static struct finding
found(const struct item *item)
{
    const struct item_inspection *seen = &item->u.inspection;

    return (struct finding){
            true, item->at_s, item->index, seen->inspector, seen->decision_text};
}

/* A decision against the line counts at once, signed or not; only a signed `run` lifts it. */
static void
apply_inspection(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;
    const struct item_inspection *seen = &item->u.inspection;
    const char *reel = seen->reel == NULL ? "?" : seen->reel;
    const char *says = seen->decision_text == NULL ? "?" : seen->decision_text;

    if (item->sig != FSP_SIG_NONE && item->sig != FSP_SIG_GOOD)
        fsp_ledger_say(ledger, item, "inspection: %s", fsp_sig_state_text(item->sig));
    if (!fold->line.hung || strcmp(fold->line.reel, reel) != 0) {
        if (stops(seen->decision))
            fsp_ledger_say(ledger, item, "inspection of reel %s says %s, but %s is hung", reel,
                    says, fold->line.hung ? fold->line.reel : "no line");
        return;
    }
    if (seen->defects)
        fsp_ledger_take_defects(ledger, item);
    if (stops(seen->decision)) {
        fold->stop = found(item);
        fsp_ledger_say(ledger, item, "inspection says %s: line out of service", says);
    } else if (seen->decision == DECISION_SLIP) {
        fold->slip_asked = found(item);
    } else if (seen->decision == DECISION_RUN && fold->stop.open) {
        if (item->sig == FSP_SIG_GOOD)
            fold->stop.open = false;
        else
            fsp_ledger_say(ledger, item,
                    "inspection says run, but %s: the line stays out of service",
                    fsp_sig_state_text(item->sig));
    }
}

static void
apply_adverse(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;
    const struct item_adverse *adverse = &item->u.adverse;
    double derate = isnan(adverse->derate) ? 1 : adverse->derate;

    if (!adverse->begins) {
        if (!fold->adverse[adverse->slot].open)
            fsp_ledger_say(ledger, item, "%s ends that had not begun",
                    adverse->what == NULL ? "?" : adverse->what);
        fold->adverse[adverse->slot].open = false;
        return;
    }
    if (!(derate > 0 && derate <= 1)) {
        fsp_ledger_say(ledger, item, "derate out of range: allowed above 0 to 100 %%");
        derate = 1;
    }
    fold->adverse[adverse->slot].open = true;
    fold->adverse[adverse->slot].derate = derate;
    fold->count.derated = fold->count.derated || fsp_ledger_derate(fold) < 1;
}

static bool
differs(double a, double b)
{
    return fabs(a - b) > 1e-9 * fabs(b);
}

static void
apply_program(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;
    const struct item_program *next = &item->u.program;
    struct fsp_err err = {0};

    if (!(next->cut_m > 0) || !(next->first_j > 0) || !(next->later_j > 0)) {
        fsp_ledger_say(
                ledger, item, "programme without cut, first-goal and later-goal: ignored");
        return;
    }
    if (fold->has_program && fold->program.basis != BASIS_UNSAID &&
            next->basis != BASIS_UNSAID && next->basis != fold->program.basis)
        fsp_ledger_say(
                ledger, item, "the basis of the count changes: the goal must be re-based");
    if (!fold->has_program || differs(next->cut_m, fold->program.cut_m) ||
            differs(next->first_j, fold->program.first_j) ||
            differs(next->later_j, fold->program.later_j))
        fold->count.goal_changed = true;
    fold->program = *next;
    fold->program_log = item->log;
    fold->program_index = item->index;
    fold->has_program = true;
    if (fsp_ledger_decode_curve(item->record, &fold->curve, &err) != FSP_OK)
        fsp_ledger_say(ledger, item, "the built-in curve is used: %s", err.text);
}

static void
apply_string(struct fold *fold, const struct item *item)
{
    fold->string = item->u.string;
    fold->has_string = true;
}

void
fsp_ledger_apply(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;

    fsp_pace_reach(fold, item->at_s);
    switch (item->kind) {
    case ITEM_RIG:
        apply_rig(fold, item);
        break;
    case ITEM_REEL:
        apply_reel(ledger, item);
        break;
    case ITEM_UNHANG:
        apply_unhang(ledger, item);
        break;
    case ITEM_STRING_UP:
        apply_string_up(ledger, item);
        break;
    case ITEM_WELL:
        apply_well(fold, item);
        break;
    case ITEM_STATE:
        apply_state(fold, item);
        break;
    case ITEM_TOUR:
        fsp_ledger_apply_tour(ledger, item);
        break;
    case ITEM_DRILL_STRING:
        apply_string(fold, item);
        break;
    case ITEM_WORK:
        fsp_ledger_apply_work(ledger, item);
        break;
    case ITEM_SLIP:
        apply_slip(ledger, item);
        break;
    case ITEM_CUT:
        fsp_ledger_apply_cut(ledger, item);
        break;
    case ITEM_INSPECTION:
        apply_inspection(ledger, item);
        break;
    case ITEM_ADVERSE:
        apply_adverse(ledger, item);
        break;
    case ITEM_PROGRAM:
        apply_program(ledger, item);
        break;
    case ITEM_TURN:
        apply_turn(ledger, item);
        break;
    case ITEM_UNREADABLE:
        fsp_ledger_say(ledger, item, "entry that cannot be read: count incomplete");
        fsp_ledger_gap(fold, item);
        break;
    case ITEM_CHECK:
    case ITEM_AMEND:
    case ITEM_SILENT:
        break;
    }
    fsp_duty_apply(fold, item);
}
