/* The end of a fold: lengths, due states in plain words, the view. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "line/ledger_priv.h"

#define SOON    0.80 /* common practice, no source */
#define OVERDUE 1.10 /* common practice, no source */

double
fsp_ledger_in_service(const struct line_state *line)
{
    return line->strung_m + line->drawn_m + line->slipped_m - line->returned_m -
           line->cropped_m - line->cut_m;
}

double
fsp_ledger_on_reel(const struct line_state *line)
{
    return line->received_m - line->strung_m - line->drawn_m - line->slipped_m +
           line->returned_m;
}

double
fsp_ledger_present(const struct line_state *line)
{
    return line->received_m - line->cut_m - line->cropped_m;
}

static enum fsp_due
due_of(double served, double goal)
{
    double part = served / goal + 1e-9; /* 1,200 of 1,500 is 80 %, whatever the rounding */

    if (part > OVERDUE + 2e-9)
        return FSP_DUE_OVERDUE;
    if (part >= 1)
        return FSP_DUE_NOW;
    return part >= SOON ? FSP_DUE_SOON : FSP_DUE_NOT_YET;
}

/* "812.00 of 1,500 ton-miles served since the cut (54 %)" */
static const char *
served_text(struct fsp_ledger *ledger, double served, double goal, const char *since)
{
    enum fsp_units units = fsp_ledger_units(ledger);
    const char *text;
    struct fsp_buf buf;

    fsp_buf_init(&buf, 400);
    fsp_say_work(&buf, served, units);
    fsp_buf_add_text(&buf, " of ");
    fsp_say_work(&buf, goal, units);
    fsp_buf_printf(&buf, " served since the last %s (", since);
    fsp_say_number(&buf, floor(100 * served / goal), 0);
    fsp_buf_add_text(&buf, " %)");
    if (ledger->view.incomplete)
        fsp_buf_add_text(&buf, "; the count is incomplete, the true figure may be higher");
    text = fsp_ledger_keep(ledger, "%s", fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
    return text;
}

static const char *
finding_text(struct fsp_ledger *ledger, const struct finding *found, const char *lifts)
{
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(found->at_s, at);
    return fsp_ledger_keep(ledger, "inspection of %s (entry %llu) by %.60s says %s; only %s",
            at, (unsigned long long)found->index,
            found->inspector == NULL ? "?" : found->inspector,
            found->decision == NULL ? "?" : found->decision, lifts);
}

static const char *
no_goal_text(struct fsp_ledger *ledger)
{
    const struct fold *fold = &ledger->fold;
    struct fsp_ledger_view *view = &ledger->view;
    enum fsp_formation formation = FSP_FORMATION_UNSAID;
    struct fsp_goal goal;
    struct fsp_buf buf;
    const char *text;

    if (fold->formation != NULL && strcmp(fold->formation, "soft") == 0)
        formation = FSP_FORMATION_SOFT;
    else if (fold->formation != NULL && strcmp(fold->formation, "hard") == 0)
        formation = FSP_FORMATION_HARD;
    if (!(view->table_cut_m > 0) ||
            fsp_goal_suggest(view->rope_m, view->table_cut_m, formation, &goal, NULL) != FSP_OK)
        return "no approved goal; no suggestion for this rope, mast and drum";
    if (fold->formation == NULL)
        ledger->assumed |= ASSUMED_FORMATION;
    view->suggested_j = fold->line.first_due && !fold->line.used ? goal.first_j : goal.later_j;
    fsp_buf_init(&buf, 300);
    fsp_buf_add_text(&buf, "no approved goal; suggestion ");
    fsp_say_work(&buf, view->suggested_j, fsp_ledger_units(ledger));
    fsp_buf_add_text(&buf, " for a cut of ");
    fsp_say_length(&buf, view->table_cut_m, fsp_ledger_units(ledger));
    text = fsp_ledger_keep(ledger, "%s", fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
    return text;
}

static void
judge_cut_due(struct fsp_ledger *ledger)
{
    struct fsp_ledger_view *view = &ledger->view;

    if (!ledger->fold.line.hung) {
        view->cut_due_why = "no line hung";
    } else if (ledger->fold.stop.open) {
        view->cut_due = FSP_DUE_OUT_OF_SERVICE;
        view->cut_due_why = finding_text(ledger, &ledger->fold.stop,
                "a cut, a new line or a signed inspection that says run lifts it");
    } else if (!(view->goal_j > 0)) {
        view->cut_due_why = no_goal_text(ledger);
    } else {
        view->cut_due = due_of(view->served_j, view->goal_j);
        view->cut_due_why = served_text(ledger, view->served_j, view->goal_j, "cut");
    }
}

static void
judge_slip_due(struct fsp_ledger *ledger)
{
    struct fsp_ledger_view *view = &ledger->view;
    struct fold *fold = &ledger->fold;

    if (!fold->line.hung) {
        view->slip_due_why = "no line hung";
    } else if (fold->stop.open) {
        view->slip_due = FSP_DUE_OUT_OF_SERVICE;
        view->slip_due_why = view->cut_due_why;
    } else if (fold->slip_asked.open) {
        view->slip_due = FSP_DUE_NOW;
        view->slip_due_why =
                finding_text(ledger, &fold->slip_asked, "a slip or cut answers it");
    } else if (!(view->goal_j > 0)) {
        view->slip_due_why = "no approved goal";
    } else {
        if (fold->program.slips == 0)
            ledger->assumed |= ASSUMED_SLIPS;
        view->slip_due = due_of(view->served_since_slip_j, view->goal_j / view->slips);
        view->slip_due_why = served_text(
                ledger, view->served_since_slip_j, view->goal_j / view->slips, "slip");
    }
}

static void
fill_table(struct fsp_ledger *ledger)
{
    const struct fold *fold = &ledger->fold;
    struct fsp_ledger_view *view = &ledger->view;
    struct fsp_cutlength cut;

    if (!fold->has_rig || isnan(fold->rig.mast_m) || isnan(fold->rig.drum_m) ||
            fsp_cutlength_find(fold->rig.mast_m, fold->rig.drum_m, view->rope_m,
                    fold->rig.crossovers, &cut, NULL) != FSP_OK)
        return;
    view->table_cut_m = cut.cut_m;
    view->table_laps = cut.laps;
}

static void
fill_line(struct fsp_ledger *ledger)
{
    const struct fold *fold = &ledger->fold;
    const struct count_state *count = &fold->count;
    struct fsp_ledger_view *view = &ledger->view;

    view->reel = fold->line.reel;
    view->rope_m = fold->line.rope.diameter_m;
    view->grade = fold->line.grade;
    view->strength_n = fold->line.rope.strength_n;
    view->lines = fold->line.lines;
    view->estimated = (fold->line.used && fold->line.first_due) || count->estimated_loads;
    view->in_service_m = fsp_ledger_in_service(&fold->line);
    view->on_reel_m = fsp_ledger_on_reel(&fold->line);
    view->present_m = fsp_ledger_present(&fold->line);
    view->slipped_since_cut_m = count->slipped_m;
    view->work_since_slip_j = count->slip_j;
    view->work_since_cut_j = count->cut_j;
    view->work_line_j = count->line_j;
    view->check_j = count->check_j;
    view->motion_j = count->motion_j;
    view->check_motion_j = count->check_motion_j;
    view->low_unseen = fold->duties.low;
    view->low_s = fold->duties.low_s;
    view->low_log = fold->duties.low_log;
    view->low_index = fold->duties.low_index;
    view->served_j = count->served_j;
    view->served_since_slip_j = count->served_slip_j;
    view->min_factor = count->min_factor;
    view->slips_made = count->slips;
    view->below_minimum = count->below_minimum;
    fsp_ledger_fill_limits(ledger);
    view->feet_cut_line_m = fold->line.cut_m + fold->line.carried_cut_m;
}

static void
fill_tally(struct fsp_ledger *ledger)
{
    struct fsp_ledger_view *view = &ledger->view;

    view->entries = ledger->arrived.entries;
    view->late_entries = ledger->arrived.late;
    view->doubtful_clock = ledger->arrived.doubtful;
    view->unreadable = ledger->tally.unreadable + ledger->arrived.untimed;
    view->amended = ledger->tally.amended + ledger->arrived.untimed_amended;
    view->last_at_s = ledger->tally.last_at_s;
}

static int
by_entry(const void *left, const void *right)
{
    const struct note *a = left, *b = right;
    int order = (a->log > b->log) - (a->log < b->log);

    if (order == 0)
        order = (a->index > b->index) - (a->index < b->index);
    return order != 0 ? order : (a->seq > b->seq) - (a->seq < b->seq);
}

/* Those on amendments by their entries, then the fold's; the newest of all. */
static void
show_notes(struct fsp_ledger *ledger)
{
    size_t all = ledger->n_early + ledger->notes_dropped + ledger->n_notes, skip, i;
    size_t room = all < FSP_LEDGER_NOTES ? all : FSP_LEDGER_NOTES;
    void *shown = fsp_mem_array(room + 1, sizeof(char *));

    if (shown == NULL) {
        ledger->rc = FSP_ENOMEM;
        return;
    }
    ledger->shown = (const char **)shown;
    for (i = 0; i < ledger->n_early; i++)
        ledger->early[i].seq = i;
    if (ledger->n_early > 1)
        qsort(ledger->early, ledger->n_early, sizeof(ledger->early[0]), by_entry);
    skip = all > FSP_LEDGER_NOTES ? all - FSP_LEDGER_NOTES + 1 : 0;
    if (skip > 0)
        ledger->shown[ledger->n_shown++] =
                fsp_ledger_keep(ledger, "%zu older notes are not shown", skip);
    for (i = skip; i < ledger->n_early; i++)
        ledger->shown[ledger->n_shown++] = ledger->early[i].text;
    skip = skip > ledger->n_early ? skip - ledger->n_early : 0;
    skip = skip > ledger->notes_dropped ? skip - ledger->notes_dropped : 0;
    for (i = skip; i < ledger->n_notes; i++)
        ledger->shown[ledger->n_shown++] = ledger->notes[i];
}

void
fsp_ledger_close(struct fsp_ledger *ledger, int64_t as_of_s)
{
    const struct fold *fold = &ledger->fold;
    struct fsp_ledger_view *view = &ledger->view;

    ledger->assumed = fold->assumed;
    view->as_of_s = as_of_s;
    fill_tally(ledger);
    view->rig_state = fold->state;
    view->well = fold->well;
    view->metric = fold->rig.metric;
    view->basis = fsp_ledger_basis(fold);
    view->derate = fsp_ledger_derate(fold);
    view->slips = fold->has_program && fold->program.slips > 0 ? fold->program.slips : 1;
    view->programme_m = fold->has_program ? fold->program.cut_m : 0;
    view->goal_j = fsp_ledger_goal(fold);
    /* An unreadable entry without a time may belong anywhere, so also to the line now. */
    view->incomplete = fold->count.incomplete || ledger->arrived.untimed > 0;
    if (fold->count.incomplete) {
        view->gap_s = fold->count.gap_s;
        view->gap_log = fold->count.gap_log;
        view->gap_index = fold->count.gap_index;
    }
    view->changed_s = fold->changed_s;
    if (fold->line.hung)
        fill_line(ledger);
    fill_table(ledger);
    judge_cut_due(ledger);
    judge_slip_due(ledger);
    fsp_ledger_fill_findings(ledger);
    fsp_ledger_fill_doubts(ledger);
    fsp_duty_close(ledger);
    fsp_forecast_close(ledger);
    show_notes(ledger);
}
