/* Tables of the line's account: the fleet, cuts, early cuts, reels. */
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "line/forecast.h"
#include "line/say.h"
#include "office/tables_priv.h"

#define COUNT_OF(array) (sizeof(array) / sizeof((array)[0]))

static const struct fsp_ledger_view *
view_of(const struct fsp_fleet_rig *rig)
{
    return fsp_ledger_peek(rig->ledger);
}

static double
feet(double metres)
{
    return metres / FSP_FT_M;
}

static double
ton_miles(double joules)
{
    return joules / FSP_TON_MILE_J;
}

static double
per_ft(double joules, double metres)
{
    return metres > 0.0 ? ton_miles(joules) / feet(metres) : 0.0;
}

/* --- fleet ----------------------------------------------------------------------------------- */

static const struct fsp_column fleet_columns[] = {
        {"RIG", "rig", FSP_CELL_TEXT, 0, NULL, "the rig's name"},
        {NULL, "as_of", FSP_CELL_TIME, 0, NULL, "what is due and late is said as of then"},
        {NULL, "reel", FSP_CELL_TEXT, 0, NULL, "the line hung now"},
        {NULL, "rope_in", FSP_CELL_NUMBER, 4, "in", "nominal diameter of the line"},
        {NULL, "grade", FSP_CELL_TEXT, 0, NULL, "the line's grade as entered"},
        {NULL, "lines", FSP_CELL_COUNT, 0, NULL, "lines strung"},
        {"IN SERVICE ft", "in_service_ft", FSP_CELL_NUMBER, 0, "ft",
                "line between drum and anchor"},
        {NULL, "on_reel_ft", FSP_CELL_NUMBER, 0, "ft", "line left on the storage reel"},
        {"TON-MILES SINCE CUT", "ton_miles_since_cut", FSP_CELL_NUMBER, 1, "ton-miles",
                "work since the last cut"},
        {NULL, "ton_miles_since_slip", FSP_CELL_NUMBER, 1, "ton-miles",
                "work since the last slip or cut"},
        {NULL, "ton_miles_line", FSP_CELL_NUMBER, 1, "ton-miles",
                "work of this line so far, what it had done before it came here included"},
        {NULL, "served_ton_miles", FSP_CELL_NUMBER, 1, "ton-miles",
                "service counted against the goal since the last cut"},
        {"GOAL", "goal_ton_miles", FSP_CELL_NUMBER, 0, "ton-miles",
                "goal in force; nothing while none is approved"},
        {"SERVED %", "served_percent", FSP_CELL_NUMBER, 1, "%", "service counted, of the goal"},
        {"CUT", "due", FSP_CELL_TEXT, 0, NULL,
                ("whether the cut is due: not yet, soon, due, overdue, out of service or "
                 "unknown")},
        {NULL, "due_reason", FSP_CELL_TEXT, 0, NULL, "why, in words"},
        {NULL, "slip_due", FSP_CELL_TEXT, 0, NULL,
                "whether the slip is due, in the same words"},
        {NULL, "slip_due_reason", FSP_CELL_TEXT, 0, NULL, "why, in words"},
        {"LOWEST FACTOR", "lowest_design_factor", FSP_CELL_NUMBER, 2, NULL,
                "lowest design factor of the fast line since the last cut"},
        {NULL, "derate", FSP_CELL_NUMBER, 2, NULL,
                "share of the goal left while adverse conditions last; 1 when none do"},
        {NULL, "incomplete", FSP_CELL_YES, 0, NULL, "the count since the cut has a gap"},
        {NULL, "estimated", FSP_CELL_YES, 0, NULL,
                "the count rests on an estimate: a used line before its first cut, or loads"},
        {NULL, "duties_overdue", FSP_CELL_COUNT, 0, NULL, "duties whose time is past"},
        {NULL, "findings", FSP_CELL_COUNT, 0, NULL, "findings of inspections that are open"},
        {NULL, "cut_forecast", FSP_CELL_TIME, 0, NULL,
                "day the next cut is likely to fall due at the recent pace; an estimate"},
        {NULL, "cuts_left", FSP_CELL_COUNT, 0, NULL, "whole programme cuts left on the reel"},
        {NULL, "rig_state", FSP_CELL_TEXT, 0, NULL, "working, moving, stacked, …"},
        {NULL, "well", FSP_CELL_TEXT, 0, NULL, "the well as entered"},
        {NULL, "cuts", FSP_CELL_COUNT, 0, NULL, "cuts of the rig on record, of all reels"},
        {NULL, "early_state", FSP_CELL_TEXT, 0, NULL,
                "repeated early cuts: watching, clear, flagged or closed"},
        {NULL, "early_eligible", FSP_CELL_COUNT, 0, NULL, "cuts that may be judged for it"},
        {NULL, "early_window", FSP_CELL_COUNT, 0, NULL, "of them, the newest that were judged"},
        {NULL, "early_cuts", FSP_CELL_COUNT, 0, NULL, "of those, early for wear"},
        {NULL, "early_rate", FSP_CELL_NUMBER, 4, NULL,
                "early cuts per eligible cut of the other rigs, at least 0.03"},
        {NULL, "early_chance", FSP_CELL_NUMBER, 6, NULL,
                "so many or more by chance alone at that rate: the exact binomial tail"},
        {NULL, "early_place", FSP_CELL_TEXT, 0, NULL, "where most of the early cuts were"},
        {NULL, "early_text", FSP_CELL_TEXT, 0, NULL, "the same in words"},
        {"LAST RECORD", "last_record", FSP_CELL_TIME, 0, NULL,
                "when the newest record says that it happened"},
        {"LAST HEARD", "last_heard", FSP_CELL_TIME, 0, NULL,
                "when the office last cosigned a head of the rig"},
        {NULL, "entries", FSP_CELL_COUNT, 0, NULL, "entries held, of all logs"},
        {NULL, "unreadable", FSP_CELL_COUNT, 0, NULL, "of them, not readable here"},
        {NULL, "forks", FSP_CELL_COUNT, 0, NULL, "heads kept that contradict a log"},
        {NULL, "renewals_open", FSP_CELL_COUNT, 0, NULL,
                "renewals that a keeper should look at"},
        {NULL, "origin", FSP_CELL_TEXT, 0, NULL, "origin of the current log"},
        {NULL, "size", FSP_CELL_COUNT, 0, NULL, "its entries"},
        {NULL, "root", FSP_CELL_TEXT, 0, NULL, "its root (RFC 6962), base64"},
        {"FLAGS", "flags", FSP_CELL_TEXT, 0, NULL, "what needs a look, in words"},
};

static void
fleet_state(struct fsp_table *table, const struct fsp_ledger_view *view)
{
    bool hung = view->reel != NULL;
    bool goal = view->goal_j > 0.0;

    fsp_table_text(table, "reel", view->reel);
    fsp_table_number(table, "rope_in", hung && view->rope_m > 0.0, view->rope_m / FSP_IN_M);
    fsp_table_text(table, "grade", hung ? view->grade : NULL);
    fsp_table_count(table, "lines", hung && view->lines > 0, (uint64_t)view->lines);
    fsp_table_number(table, "in_service_ft", hung, feet(view->in_service_m));
    fsp_table_number(table, "on_reel_ft", hung, feet(view->on_reel_m));
    fsp_table_number(table, "ton_miles_since_cut", hung, ton_miles(view->work_since_cut_j));
    fsp_table_number(table, "ton_miles_since_slip", hung, ton_miles(view->work_since_slip_j));
    fsp_table_number(table, "ton_miles_line", hung, ton_miles(view->work_line_j));
    fsp_table_number(table, "served_ton_miles", hung, ton_miles(view->served_j));
    fsp_table_number(table, "goal_ton_miles", goal, ton_miles(view->goal_j));
    fsp_table_number(
            table, "served_percent", goal, goal ? 100.0 * view->served_j / view->goal_j : 0.0);
    fsp_table_text(table, "due", fsp_due_text(view->cut_due));
    fsp_table_text(table, "due_reason", view->cut_due_why);
    fsp_table_text(table, "slip_due", fsp_due_text(view->slip_due));
    fsp_table_text(table, "slip_due_reason", view->slip_due_why);
    fsp_table_number(table, "lowest_design_factor", view->min_factor > 0.0, view->min_factor);
    fsp_table_number(table, "derate", hung, view->derate);
    fsp_table_yes(table, "incomplete", view->incomplete);
    fsp_table_yes(table, "estimated", view->estimated);
    fsp_table_count(table, "duties_overdue", true, view->duties_overdue);
    fsp_table_count(table, "findings", true, view->findings);
}

static void
fleet_forecast(struct fsp_table *table, const struct fsp_fleet_rig *rig)
{
    const struct fsp_ledger_view *view = view_of(rig);
    const struct fsp_forecast *forecast = fsp_ledger_forecast(rig->ledger);

    fsp_table_time(table, "cut_forecast", forecast->known ? forecast->cut.likely_s : 0);
    fsp_table_count(
            table, "cuts_left", forecast->cuts_left >= 0, (uint64_t)forecast->cuts_left);
    fsp_table_text(table, "rig_state", view->rig_state);
    fsp_table_text(table, "well", view->well);
    fsp_table_count(table, "cuts", true, view->cuts);
}

static void
fleet_review(struct fsp_table *table, const struct fsp_review *review)
{
    fsp_table_text(table, "early_state", fsp_review_state_text(review->state));
    fsp_table_count(table, "early_eligible", true, review->eligible);
    fsp_table_count(table, "early_window", true, review->window);
    fsp_table_count(table, "early_cuts", true, review->early);
    fsp_table_number(table, "early_rate", true, review->rate);
    fsp_table_number(table, "early_chance", true, review->tail);
    fsp_table_text(table, "early_place", review->place);
    fsp_table_text(table, "early_text", review->text);
}

static void
fleet_row(struct fsp_table *table, const struct fsp_fleet_rig *rig)
{
    const struct fsp_fleet_log *log = fsp_fleet_current(rig);
    struct fsp_buf text;

    fsp_table_text(table, "rig", rig->name);
    fsp_table_time(table, "as_of", rig->as_of_s);
    fleet_state(table, view_of(rig));
    fleet_forecast(table, rig);
    fleet_review(table, &rig->review);
    fsp_table_time(table, "last_record", view_of(rig)->last_at_s);
    fsp_table_time(table, "last_heard", rig->heard_s);
    fsp_table_count(table, "entries", true, rig->entries);
    fsp_table_count(table, "unreadable", true, rig->unreadable);
    fsp_table_count(table, "forks", true, rig->forks);
    fsp_table_count(table, "renewals_open", true, rig->renewals);
    fsp_table_text(table, "origin", log == NULL ? NULL : log->log.origin);
    fsp_table_count(table, "size", true, log == NULL ? 0 : log->size);
    fsp_buf_init(&text, 8192);
    if (log != NULL)
        fsp_base64(&text, log->root, sizeof(log->root));
    fsp_table_text(table, "root", log == NULL ? NULL : fsp_buf_peek(&text));
    fsp_buf_reset(&text);
    fsp_fleet_flag_text(rig, &text);
    fsp_table_text(table, "flags", text.len == 0 ? NULL : fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

/* People read what needs attention first; programs sort as they like. */
static enum fsp_rc
fleet_fill(const struct fsp_tables_from *from, struct fsp_table *table, struct fsp_err *err)
{
    const struct fsp_fleet *fleet = from->fleet;
    const struct fsp_fleet_rig **order;

    if (from->rig != NULL) {
        fleet_row(table, from->rig);
        return FSP_OK;
    }
    order = fsp_mem_array(fleet->n, sizeof(const struct fsp_fleet_rig *));
    if (order == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    if (table->form == FSP_TABLE_TEXT)
        fsp_fleet_by_attention(fleet, order);
    for (size_t i = 0; i < fleet->n; i++)
        fleet_row(table, table->form == FSP_TABLE_TEXT ? order[i] : fleet->rigs[i]);
    free(order);
    return FSP_OK;
}

void
fsp_tables_fleet_members(const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    struct fsp_table table;

    fsp_table_begin(&table, fleet_columns, COUNT_OF(fleet_columns), FSP_TABLE_MEMBERS, buf);
    fleet_row(&table, rig);
    fsp_table_end(&table);
}

const struct fsp_tables_def fsp_tables_fleet = {.name = "fleet",
        .what = "Every rig's line as it stands, one row a rig",
        .columns = fleet_columns,
        .n = COUNT_OF(fleet_columns),
        .fill = fleet_fill};

/* --- cuts ------------------------------------------------------------------------------------ */

static const struct fsp_column cut_columns[] = {
        {"RIG", "rig", FSP_CELL_TEXT, 0, NULL, "the rig's name"},
        {"DATE", "at", FSP_CELL_TIME, 0, NULL, "when the cut was made"},
        {NULL, "log", FSP_CELL_COUNT, 0, NULL,
                "the rig's log that holds the entry, in the order of `logs`, from 0"},
        {NULL, "index", FSP_CELL_COUNT, 0, NULL, "the entry's number in that log"},
        {"REEL", "reel", FSP_CELL_TEXT, 0, NULL, "the line that was cut"},
        {"CUT ft", "cut_ft", FSP_CELL_NUMBER, 0, "ft", "length cut"},
        {NULL, "slipped_ft", FSP_CELL_NUMBER, 0, "ft",
                "slipped since the cut before, in the job itself too"},
        {NULL, "programme_ft", FSP_CELL_NUMBER, 0, "ft",
                "cut length of the programme in force"},
        {NULL, "ton_miles", FSP_CELL_NUMBER, 1, "ton-miles", "work since the cut before"},
        {"SERVED", "served_ton_miles", FSP_CELL_NUMBER, 1, "ton-miles",
                "service counted against the goal since the cut before"},
        {NULL, "goal_ton_miles", FSP_CELL_NUMBER, 0, "ton-miles",
                "goal in force; nothing when none was"},
        {NULL, "ton_miles_per_ft", FSP_CELL_NUMBER, 2, "ton-miles/ft", "work per foot cut"},
        {"PER ft", "served_per_ft", FSP_CELL_NUMBER, 2, "ton-miles/ft", "service per foot cut"},
        {"GOAL PER ft", "goal_per_ft", FSP_CELL_NUMBER, 2, "ton-miles/ft",
                "goal per foot of the programme's cut"},
        {NULL, "lowest_design_factor", FSP_CELL_NUMBER, 2, NULL,
                "lowest design factor of the fast line since the cut before"},
        {"REASON", "reason", FSP_CELL_TEXT, 0, NULL, "the reason entered"},
        {"PLACE", "place", FSP_CELL_TEXT, 0, NULL, "where the line was worn or damaged"},
        {"CONDITION", "condition", FSP_CELL_TEXT, 0, NULL,
                "condition of the piece cut: wear-left, normal or worn-out"},
        {"EARLY", "early", FSP_CELL_YES, 0, NULL,
                "for wear below 90 % of the goal per programme foot"},
        {NULL, "long", FSP_CELL_YES, 0, NULL, "for wear over 1.25 programme lengths"},
        {NULL, "eligible", FSP_CELL_YES, 0, NULL, "may be judged for repeated early cuts"},
        {NULL, "for_wear", FSP_CELL_YES, 0, NULL, "the reason is wear"},
        {NULL, "planned", FSP_CELL_YES, 0, NULL, "the reason is a plan"},
        {NULL, "incomplete", FSP_CELL_YES, 0, NULL, "the count had a gap"},
        {NULL, "first_of_line", FSP_CELL_YES, 0, NULL, "first cut of this line"},
        {NULL, "first_after_goal_change", FSP_CELL_YES, 0, NULL,
                "first cut after another goal"},
        {NULL, "under_derate", FSP_CELL_YES, 0, NULL, "adverse conditions lasted"},
        {NULL, "beyond_slipped", FSP_CELL_YES, 0, NULL, "longer than what was slipped"},
        {NULL, "out_of_service", FSP_CELL_YES, 0, NULL,
                "an inspection had taken the line out of service"},
        {"WHY", "why", FSP_CELL_TEXT, 0, NULL, "why early or not, or why not judged, in words"},
        {NULL, "slips", FSP_CELL_COUNT, 0, NULL, "slips since the cut before"},
        {NULL, "below_minimum", FSP_CELL_COUNT, 0, NULL,
                "operations below the minimum design factor of their service"},
        {NULL, "lines", FSP_CELL_COUNT, 0, NULL, "lines strung then"},
        {NULL, "rope_in", FSP_CELL_NUMBER, 4, "in", "nominal diameter of the line"},
        {NULL, "grade", FSP_CELL_TEXT, 0, NULL, "grade as entered"},
        {NULL, "build", FSP_CELL_TEXT, 0, NULL, "the rope's build as entered"},
        {NULL, "class", FSP_CELL_TEXT, 0, NULL, "the rope's class as entered"},
        {NULL, "core", FSP_CELL_TEXT, 0, NULL, "the rope's core as entered"},
        {NULL, "well", FSP_CELL_TEXT, 0, NULL, "the well as entered"},
        {NULL, "formation", FSP_CELL_TEXT, 0, NULL, "soft, normal or hard, as entered"},
        {NULL, "basis", FSP_CELL_TEXT, 0, NULL, "hand or counted, by the programme"},
        {NULL, "curve", FSP_CELL_TEXT, 0, NULL,
                "where the service curve came from: built-in or programme"},
        {NULL, "goal_kind", FSP_CELL_TEXT, 0, NULL, "first or later, by the programme"},
        {NULL, "program_log", FSP_CELL_COUNT, 0, NULL, "log of the programme in force"},
        {"PROGRAMME", "program_entry", FSP_CELL_COUNT, 0, NULL,
                "its entry; an instruction that asked for it is named there"},
};

static void
cut_judged(struct fsp_table *table, const struct fsp_cut_row *cut)
{
    fsp_table_yes(table, "early", cut->early);
    fsp_table_yes(table, "long", cut->long_cut);
    fsp_table_yes(table, "eligible", cut->eligible);
    fsp_table_yes(table, "for_wear", cut->for_wear);
    fsp_table_yes(table, "planned", cut->planned);
    fsp_table_yes(table, "incomplete", cut->incomplete);
    fsp_table_yes(table, "first_of_line", cut->first_of_line);
    fsp_table_yes(table, "first_after_goal_change", cut->first_after_goal_change);
    fsp_table_yes(table, "under_derate", cut->under_derate);
    fsp_table_yes(table, "beyond_slipped", cut->beyond_slipped);
    fsp_table_yes(table, "out_of_service", cut->out_of_service);
    fsp_table_text(table, "why", cut->why);
}

static void
cut_about(struct fsp_table *table, const struct fsp_cut_row *cut)
{
    fsp_table_count(table, "slips", true, (uint64_t)cut->slips);
    fsp_table_count(table, "below_minimum", true, (uint64_t)cut->below_minimum);
    fsp_table_count(table, "lines", cut->lines > 0, (uint64_t)cut->lines);
    fsp_table_number(table, "rope_in", cut->rope_m > 0.0, cut->rope_m / FSP_IN_M);
    fsp_table_text(table, "grade", cut->grade);
    fsp_table_text(table, "build", cut->build);
    fsp_table_text(table, "class", cut->rope_class);
    fsp_table_text(table, "core", cut->core);
    fsp_table_text(table, "well", cut->well);
    fsp_table_text(table, "formation", cut->formation);
    fsp_table_text(table, "basis", cut->basis);
    fsp_table_text(table, "curve", cut->curve);
    fsp_table_text(table, "goal_kind", cut->goal_kind);
    fsp_table_count(table, "program_log", cut->has_program, cut->program_log);
    fsp_table_count(table, "program_entry", cut->has_program, cut->program_index);
}

static void
cut_row(struct fsp_table *table, const struct fsp_fleet_rig *rig, const struct fsp_cut_row *cut)
{
    bool goal = cut->goal_j > 0.0;
    bool long_enough = cut->length_m > 0.0;

    fsp_table_text(table, "rig", rig->name);
    fsp_table_time(table, "at", cut->at_s);
    fsp_table_count(table, "log", true, cut->log);
    fsp_table_count(table, "index", true, cut->index);
    fsp_table_text(table, "reel", cut->reel);
    fsp_table_number(table, "cut_ft", true, feet(cut->length_m));
    fsp_table_number(table, "slipped_ft", true, feet(cut->slipped_m));
    fsp_table_number(table, "programme_ft", cut->programme_m > 0.0, feet(cut->programme_m));
    fsp_table_number(table, "ton_miles", true, ton_miles(cut->ton_miles_j));
    fsp_table_number(table, "served_ton_miles", true, ton_miles(cut->served_j));
    fsp_table_number(table, "goal_ton_miles", goal, ton_miles(cut->goal_j));
    fsp_table_number(
            table, "ton_miles_per_ft", long_enough, per_ft(cut->ton_miles_j, cut->length_m));
    fsp_table_number(table, "served_per_ft", long_enough, per_ft(cut->served_j, cut->length_m));
    fsp_table_number(table, "goal_per_ft", goal && cut->programme_m > 0.0,
            per_ft(cut->goal_j, cut->programme_m));
    fsp_table_number(table, "lowest_design_factor", cut->min_factor > 0.0, cut->min_factor);
    fsp_table_text(table, "reason", cut->reason);
    fsp_table_text(table, "place", cut->place);
    fsp_table_text(table, "condition", cut->condition);
    cut_judged(table, cut);
    cut_about(table, cut);
}

static enum fsp_rc
cut_rows(const struct fsp_tables_from *from, const struct fsp_fleet_rig *rig,
        struct fsp_table *table, struct fsp_err *err)
{
    (void)from;
    (void)err;
    for (size_t i = 0; i < rig->n_cuts; i++)
        cut_row(table, rig, rig->cuts[i]);
    return FSP_OK;
}

static enum fsp_rc
cut_fill(const struct fsp_tables_from *from, struct fsp_table *table, struct fsp_err *err)
{
    return fsp_tables_each(from, cut_rows, table, err);
}

void
fsp_tables_cut_members(
        const struct fsp_fleet_rig *rig, const struct fsp_cut_row *cut, struct fsp_buf *buf)
{
    struct fsp_table table;

    fsp_table_begin(&table, cut_columns, COUNT_OF(cut_columns), FSP_TABLE_MEMBERS, buf);
    cut_row(&table, rig, cut);
    fsp_table_end(&table);
}

const struct fsp_tables_def fsp_tables_cuts = {.name = "cuts",
        .what = "Every cut as the account judged it, the oldest of a rig first",
        .columns = cut_columns,
        .n = COUNT_OF(cut_columns),
        .fill = cut_fill};

/* --- early ----------------------------------------------------------------------------------- */

size_t
fsp_tables_judged_from(const struct fsp_fleet_rig *rig)
{
    size_t left = rig->review.window;
    size_t i = rig->n_cuts;

    while (i > 0 && left > 0) {
        i--;
        if (rig->cuts[i]->eligible)
            left--;
    }
    return i;
}

static enum fsp_rc
early_rows(const struct fsp_tables_from *from, const struct fsp_fleet_rig *rig,
        struct fsp_table *table, struct fsp_err *err)
{
    (void)from;
    (void)err;
    if (rig->review.state != FSP_REVIEW_FLAGGED)
        return FSP_OK;
    for (size_t i = fsp_tables_judged_from(rig); i < rig->n_cuts; i++)
        if (rig->cuts[i]->eligible)
            cut_row(table, rig, rig->cuts[i]);
    return FSP_OK;
}

static enum fsp_rc
early_fill(const struct fsp_tables_from *from, struct fsp_table *table, struct fsp_err *err)
{
    return fsp_tables_each(from, early_rows, table, err);
}

const struct fsp_tables_def fsp_tables_early = {.name = "early",
        .what = "The cuts that were judged, of rigs flagged for repeated early cuts: columns "
                "as in `cuts`; the judgement itself is in `fleet`",
        .columns = cut_columns,
        .n = COUNT_OF(cut_columns),
        .fill = early_fill};

/* --- reels ----------------------------------------------------------------------------------- */

static const struct fsp_column reel_columns[] = {
        {"RIG", "rig", FSP_CELL_TEXT, 0, NULL, "the rig's name"},
        {"REEL", "reel", FSP_CELL_TEXT, 0, NULL, "the line"},
        {"HUNG", "hung", FSP_CELL_YES, 0, NULL, "it hangs on the rig now"},
        {"ROPE in", "rope_in", FSP_CELL_NUMBER, 3, "in", "nominal diameter"},
        {"GRADE", "grade", FSP_CELL_TEXT, 0, NULL, "grade as entered"},
        {NULL, "build", FSP_CELL_TEXT, 0, NULL, "the rope's build as entered"},
        {NULL, "class", FSP_CELL_TEXT, 0, NULL, "the rope's class as entered"},
        {NULL, "core", FSP_CELL_TEXT, 0, NULL, "the rope's core as entered"},
        {NULL, "first_cut", FSP_CELL_TIME, 0, NULL, "its first cut on this rig"},
        {"LAST CUT", "last_cut", FSP_CELL_TIME, 0, NULL, "its newest cut on this rig"},
        {"CUTS", "cuts", FSP_CELL_COUNT, 0, NULL, "its cuts on this rig"},
        {"CUT ft", "cut_ft", FSP_CELL_NUMBER, 0, "ft", "feet cut from it on this rig"},
        {NULL, "cut_wear_left_ft", FSP_CELL_NUMBER, 0, "ft",
                "of them, with condition wear-left"},
        {NULL, "cut_worn_out_ft", FSP_CELL_NUMBER, 0, "ft", "of them, with condition worn-out"},
        {"TON-MILES", "ton_miles", FSP_CELL_NUMBER, 1, "ton-miles",
                "work up to its newest cut"},
        {NULL, "served_ton_miles", FSP_CELL_NUMBER, 1, "ton-miles",
                "service counted up to its newest cut"},
        {"PER ft", "ton_miles_per_ft", FSP_CELL_NUMBER, 2, "ton-miles/ft",
                "work up to its newest cut, for each foot cut"},
        {NULL, "served_per_ft", FSP_CELL_NUMBER, 2, "ton-miles/ft", "service, the same way"},
        {"EARLY", "early_cuts", FSP_CELL_COUNT, 0, NULL, "early cuts, for wear"},
        {NULL, "wear_left_cuts", FSP_CELL_COUNT, 0, NULL, "cuts with condition wear-left"},
        {NULL, "planned_cuts", FSP_CELL_COUNT, 0, NULL, "cuts by plan"},
        {NULL, "incomplete_cuts", FSP_CELL_COUNT, 0, NULL,
                "cuts whose count has a gap: the work may be more than is said"},
        {NULL, "in_service_ft", FSP_CELL_NUMBER, 0, "ft", "line between drum and anchor now"},
        {NULL, "on_reel_ft", FSP_CELL_NUMBER, 0, "ft", "line left on the reel now"},
};

struct reel {
    const char *name;
    const struct fsp_cut_row *last; /* NULL: none cut yet */
    int64_t first_s;
    size_t cuts;
    size_t early;
    size_t wear_left;
    size_t planned;
    size_t incomplete;
    double cut_m;
    double wear_left_m;
    double worn_out_m;
    double work_j;
    double served_j;
};

static struct reel *
reel_of(struct reel *reels, size_t *n, const char *name)
{
    for (size_t i = 0; i < *n; i++)
        if (strcmp(reels[i].name, name) == 0)
            return &reels[i];
    reels[*n].name = name;
    return &reels[(*n)++];
}

static void
reel_add(struct reel *reel, const struct fsp_cut_row *cut)
{
    bool wear_left = cut->condition != NULL && strcmp(cut->condition, "wear-left") == 0;
    bool worn_out = cut->condition != NULL && strcmp(cut->condition, "worn-out") == 0;

    if (reel->last == NULL)
        reel->first_s = cut->at_s;
    reel->last = cut;
    reel->cuts++;
    reel->early += cut->early ? 1 : 0;
    reel->wear_left += wear_left ? 1 : 0;
    reel->planned += cut->planned ? 1 : 0;
    reel->incomplete += cut->incomplete ? 1 : 0;
    reel->cut_m += cut->length_m;
    reel->wear_left_m += wear_left ? cut->length_m : 0.0;
    reel->worn_out_m += worn_out ? cut->length_m : 0.0;
    reel->work_j += cut->ton_miles_j;
    reel->served_j += cut->served_j;
}

static void
reel_row(struct fsp_table *table, const struct fsp_fleet_rig *rig, const struct reel *reel)
{
    const struct fsp_ledger_view *view = view_of(rig);
    const struct fsp_cut_row *last = reel->last;
    bool hung = view->reel != NULL && strcmp(view->reel, reel->name) == 0;
    double rope_m = last != NULL ? last->rope_m : view->rope_m;

    fsp_table_text(table, "rig", rig->name);
    fsp_table_text(table, "reel", reel->name);
    fsp_table_yes(table, "hung", hung);
    fsp_table_number(table, "rope_in", rope_m > 0.0, rope_m / FSP_IN_M);
    fsp_table_text(table, "grade", last != NULL ? last->grade : view->grade);
    fsp_table_text(table, "build", last != NULL ? last->build : NULL);
    fsp_table_text(table, "class", last != NULL ? last->rope_class : NULL);
    fsp_table_text(table, "core", last != NULL ? last->core : NULL);
    fsp_table_time(table, "first_cut", reel->first_s);
    fsp_table_time(table, "last_cut", last != NULL ? last->at_s : 0);
    fsp_table_count(table, "cuts", true, reel->cuts);
    fsp_table_number(table, "cut_ft", true, feet(reel->cut_m));
    fsp_table_number(table, "cut_wear_left_ft", true, feet(reel->wear_left_m));
    fsp_table_number(table, "cut_worn_out_ft", true, feet(reel->worn_out_m));
    fsp_table_number(table, "ton_miles", true, ton_miles(reel->work_j));
    fsp_table_number(table, "served_ton_miles", true, ton_miles(reel->served_j));
    fsp_table_number(
            table, "ton_miles_per_ft", reel->cut_m > 0.0, per_ft(reel->work_j, reel->cut_m));
    fsp_table_number(
            table, "served_per_ft", reel->cut_m > 0.0, per_ft(reel->served_j, reel->cut_m));
    fsp_table_count(table, "early_cuts", true, reel->early);
    fsp_table_count(table, "wear_left_cuts", true, reel->wear_left);
    fsp_table_count(table, "planned_cuts", true, reel->planned);
    fsp_table_count(table, "incomplete_cuts", true, reel->incomplete);
    fsp_table_number(table, "in_service_ft", hung, feet(view->in_service_m));
    fsp_table_number(table, "on_reel_ft", hung, feet(view->on_reel_m));
}

static enum fsp_rc
reel_rows(const struct fsp_tables_from *from, const struct fsp_fleet_rig *rig,
        struct fsp_table *table, struct fsp_err *err)
{
    const char *hung = view_of(rig)->reel;
    struct reel *reels = calloc(rig->n_cuts + 1, sizeof(*reels));
    size_t n = 0;

    (void)from;
    if (reels == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; i < rig->n_cuts; i++)
        if (rig->cuts[i]->reel != NULL)
            reel_add(reel_of(reels, &n, rig->cuts[i]->reel), rig->cuts[i]);
    if (hung != NULL)
        (void)reel_of(reels, &n, hung);
    for (size_t i = 0; i < n; i++)
        reel_row(table, rig, &reels[i]);
    free(reels);
    return FSP_OK;
}

static enum fsp_rc
reel_fill(const struct fsp_tables_from *from, struct fsp_table *table, struct fsp_err *err)
{
    return fsp_tables_each(from, reel_rows, table, err);
}

const struct fsp_tables_def fsp_tables_reels = {.name = "reels",
        .what = "Line life: every reel that was cut on a rig, and the one that hangs; in the "
                "order of their first cuts",
        .columns = reel_columns,
        .n = COUNT_OF(reel_columns),
        .fill = reel_fill};
