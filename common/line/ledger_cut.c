/* A cut in the fold: its length, how it is judged, what it resets. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/mem.h"
#include "line/ledger_priv.h"

static bool
is_one_of(const char *reason, const char *const *words, size_t n)
{
    size_t i;

    for (i = 0; reason != NULL && i < n; i++) {
        if (strcmp(reason, words[i]) == 0)
            return true;
    }
    return false;
}

static bool
for_wear(const char *reason)
{
    static const char *const words[] = {"broken-wires", "diameter", "crossover"};

    return is_one_of(reason, words, sizeof(words) / sizeof(words[0]));
}

static bool
is_planned(const char *reason)
{
    return reason != NULL && strncmp(reason, "planned", strlen("planned")) == 0;
}

double
fsp_ledger_goal(const struct fold *fold)
{
    if (!fold->has_program || !fold->line.hung)
        return 0;
    return fold->line.first_due && !fold->line.used ? fold->program.first_j
                                                    : fold->program.later_j;
}

/* Two lengths in a note, in the rig's units. */
static void
say_lengths(struct fsp_ledger *ledger, const struct item *item, const char *what,
        double first_m, const char *between, double second_m)
{
    enum fsp_units units = fsp_ledger_units(ledger);
    struct fsp_buf buf;

    fsp_buf_init(&buf, 400);
    fsp_buf_add_text(&buf, what);
    fsp_say_length(&buf, first_m, units);
    fsp_buf_add_text(&buf, between);
    fsp_say_length(&buf, second_m, units);
    fsp_ledger_say(ledger, item, "%s", fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
}

/* Tape first, else laps by the rope's centre line; more than half a lap apart is told. */
static double
cut_length(struct fsp_ledger *ledger, const struct item *item)
{
    const struct item_cut *cut = &item->u.cut;
    const struct fold *fold = &ledger->fold;
    double lap, by_laps, length = isnan(cut->length_m) ? 0 : cut->length_m;

    if (isnan(cut->laps) || !fold->has_rig || !(fold->rig.drum_m > 0))
        return length;
    lap = fsp_cutlength_lap(fold->rig.drum_m, fold->line.hung ? fold->line.rope.diameter_m : 0);
    by_laps = cut->laps * lap;
    if (fabs(by_laps - length) > lap / 2)
        say_lengths(ledger, item, "more than half a lap apart: by the rope's centre line ",
                by_laps, ", entered ", length);
    return cut->by_laps ? by_laps : length;
}

/* Why a cut is or is not judged for repeated early cuts; NULL when it is. */
static const char *
bar(const struct fsp_cut_row *row, const struct fold *fold)
{
    if (row->planned)
        return "planned, never early";
    if (row->incomplete)
        return "not judged: the count has a gap";
    if (!(row->goal_j > 0) || !(row->programme_m > 0))
        return "not judged: no approved goal";
    if (fold->line.used && fold->line.first_due)
        return "not judged: first cut here of a used or estimated line";
    if (row->first_of_line)
        return "not judged: first cut of the line";
    if (row->first_after_goal_change)
        return "not judged: first cut after the goal changed";
    if (row->under_derate)
        return "not judged: goal derated since the cut before";
    return NULL;
}

static void
judge(struct fsp_ledger *ledger, struct fsp_cut_row *row)
{
    const char *barred = bar(row, &ledger->fold);
    bool metric = fsp_ledger_units(ledger) == FSP_UNITS_METRIC;
    double per_foot = 0, least = 0;
    double unit = metric ? 1 / FSP_TONNE_KM_J : FSP_FT_M / FSP_TON_MILE_J;

    row->eligible = barred == NULL;
    if (row->length_m > 0 && row->programme_m > 0 && row->goal_j > 0) {
        per_foot = row->served_j / row->length_m;
        least = FSP_LEDGER_EARLY * row->goal_j / row->programme_m;
        row->low = per_foot < least;
        row->early = row->for_wear && !row->incomplete && row->low;
        row->long_cut = row->for_wear && row->length_m > FSP_LEDGER_LONG * row->programme_m;
    }
    if (least > 0)
        row->why = fsp_ledger_keep(ledger, "%s%s%.2f %s served, 90 %% of goal is %.2f%s",
                barred != NULL ? barred : "", barred != NULL ? "; " : "", per_foot * unit,
                metric ? "t-km per metre" : "ton-miles per foot", least * unit,
                row->early                   ? ": early, for wear"
                : barred == NULL && row->low ? ": low, but not for wear"
                                             : "");
    else
        row->why = barred != NULL ? barred : "judged";
}

const char *
fsp_ledger_basis(const struct fold *fold)
{
    if (!fold->has_program || fold->program.basis == BASIS_UNSAID)
        return NULL;
    return fold->program.basis == BASIS_HAND ? "hand" : "counted";
}

static void
fill_rules(const struct fold *fold, struct fsp_cut_row *row)
{
    row->curve = fold->curve.n > 0 ? "programme" : "built-in";
    row->slips = fold->count.slips;
    row->below_minimum = fold->count.below_minimum;
    row->out_of_service = fold->stop.open;
    row->has_program = fold->has_program;
    if (!fold->has_program)
        return;
    row->program_log = fold->program_log;
    row->program_index = fold->program_index;
    row->goal_kind = fold->line.first_due && !fold->line.used ? "first" : "later";
    row->basis = fsp_ledger_basis(fold);
    row->credit = fold->program.credit;
}

static void
fill_row(struct fsp_ledger *ledger, const struct item *item, struct fsp_cut_row *row)
{
    struct fold *fold = &ledger->fold;
    const struct count_state *count = &fold->count;
    const struct item_cut *cut = &item->u.cut;

    memset(row, 0, sizeof(*row));
    row->log = item->log;
    row->index = item->index;
    row->at_s = item->at_s;
    row->reel = fold->line.hung ? fold->line.reel : NULL;
    row->grade = fold->line.hung ? fold->line.grade : NULL;
    row->build = fold->line.hung ? fold->line.build : NULL;
    row->rope_class = fold->line.hung ? fold->line.rope_class : NULL;
    row->core = fold->line.hung ? fold->line.core : NULL;
    row->rope_m = fold->line.hung ? fold->line.rope.diameter_m : 0;
    row->lines = fold->line.hung ? fold->line.lines : 0;
    row->well = fold->well;
    row->formation = fold->formation;
    row->reason = cut->reason != NULL ? cut->reason : "other";
    row->place = cut->place;
    row->condition = cut->condition;
    row->length_m = cut_length(ledger, item);
    row->slipped_m = count->slipped_m;
    row->ton_miles_j = count->cut_j;
    row->served_j = count->served_j;
    row->goal_j = fsp_ledger_goal(fold);
    row->programme_m = fold->has_program ? fold->program.cut_m : 0;
    row->min_factor = count->min_factor;
    row->first_of_line = fold->line.hung && fold->line.first_due && !fold->line.used;
    row->first_after_goal_change = count->goal_changed;
    row->incomplete = count->incomplete || !fold->line.hung;
    row->planned = is_planned(cut->reason);
    row->for_wear = for_wear(cut->reason);
    row->under_derate = count->derated;
    row->changed = fold->changed;
    row->beyond_slipped = row->length_m > count->slipped_m + FSP_LEDGER_CUT_BEYOND_M;
    fill_rules(fold, row);
    judge(ledger, row);
}

static void
reset_count(struct fold *fold, bool slipped)
{
    struct count_state *count = &fold->count;

    count->cut_j = 0;
    count->check_j = 0;
    count->served_j = 0;
    count->min_factor = 0;
    count->slipped_m = 0;
    count->incomplete = false;
    count->estimated_loads = false;
    count->goal_changed = false;
    count->beyond_told = false;
    count->saw_hand = false;
    count->saw_counted = false;
    count->slips = 0;
    count->below_minimum = 0;
    count->motion_j = 0;
    count->check_motion_j = 0;
    count->gap_s = 0;
    count->derated = fsp_ledger_derate(fold) < 1;
    if (slipped) {
        count->slip_j = 0;
        count->served_slip_j = 0;
        fold->slip_asked.open = false;
    }
}

void
fsp_ledger_apply_cut(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;
    void *cuts = ledger->cuts;
    double job = isnan(item->u.cut.slipped_m) ? 0 : item->u.cut.slipped_m;
    struct fsp_cut_row *row;

    if (fsp_mem_grow(&cuts, &ledger->cap_cuts, ledger->view.cuts + 1, sizeof(*row)) != 0) {
        ledger->rc = FSP_ENOMEM;
        return;
    }
    ledger->cuts = cuts;
    row = &ledger->cuts[ledger->view.cuts++];
    fold->count.slipped_m += job;
    fold->count.slips += job > 0 ? 1 : 0;
    fill_row(ledger, item, row);
    fold->changed = false;
    fold->changed_s = 0;
    if (!fold->line.hung) {
        fsp_ledger_say(ledger, item, "cut with no line hung");
        return;
    }
    if (row->beyond_slipped)
        say_lengths(ledger, item,
                "more is cut than was slipped since the cut before: ", row->length_m, " of ",
                row->slipped_m);
    fold->line.slipped_m += job;
    fold->line.cut_m += row->length_m;
    fold->line.first_due = false;
    fsp_ledger_place(fold);
    fold->stop.open = false;
    reset_count(fold, job > 0);
}
