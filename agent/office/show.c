#include "office/show.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "base/text.h"
#include "line/say.h"
#include "office/show_priv.h"
#include "office/table.h"
#include "proof/key.h"

/* --- small pieces ---------------------------------------------------------------------------- */

static const struct fsp_ledger_view *
view_of(const struct fsp_fleet_rig *rig)
{
    return fsp_ledger_peek(rig->ledger);
}

/* A value in `unit`, null when it is not known. */
static void
json_known(struct fsp_buf *buf, bool *first, const char *key, bool known, double value)
{
    fsp_say_key(buf, first, key);
    if (known)
        fsp_say_json_number(buf, value);
    else
        fsp_buf_add_text(buf, "null");
}

static void
json_base64(struct fsp_buf *buf, bool *first, const char *key, const uint8_t *bytes, size_t len)
{
    fsp_say_key(buf, first, key);
    fsp_buf_add_byte(buf, '"');
    fsp_base64(buf, bytes, len);
    fsp_buf_add_byte(buf, '"');
}

static void
json_current(struct fsp_buf *buf, bool *first, const struct fsp_fleet_log *log)
{
    if (log == NULL) {
        fsp_say_member_count(buf, first, "size", 0);
        fsp_say_member_text(buf, first, "root", NULL);
        fsp_say_member_text(buf, first, "origin", NULL);
        return;
    }
    fsp_say_member_count(buf, first, "size", log->size);
    json_base64(buf, first, "root", log->root, sizeof(log->root));
    fsp_say_member_text(buf, first, "origin", log->log.origin);
}

static void
json_review(struct fsp_buf *buf, bool *first, const struct fsp_review *review)
{
    bool inner = true;

    fsp_say_key(buf, first, "early_cuts");
    fsp_buf_add_byte(buf, '{');
    fsp_say_member_text(buf, &inner, "state", fsp_review_state_text(review->state));
    fsp_say_member_bool(buf, &inner, "flagged", review->state == FSP_REVIEW_FLAGGED);
    fsp_say_member_text(buf, &inner, "text", review->text);
    fsp_say_member_count(buf, &inner, "eligible", review->eligible);
    fsp_say_member_count(buf, &inner, "early", review->early);
    fsp_say_member_count(buf, &inner, "window", review->window);
    fsp_say_member(buf, &inner, "rate", review->rate);
    fsp_say_member(buf, &inner, "tail", review->tail);
    fsp_say_member_text(buf, &inner, "place", review->place);
    fsp_buf_add_byte(buf, '}');
}

/* --- fleet ----------------------------------------------------------------------------------- */

static const struct fsp_column fleet_columns[] = {
        {"RIG", "rig", false},
        {"IN SERVICE ft", "in_service_ft", true},
        {"TON-MILES SINCE CUT", "ton_miles_since_cut", true},
        {"GOAL", "goal_ton_miles", true},
        {"SERVED %", "served_percent", true},
        {"CUT", "due", false},
        {"LOWEST FACTOR", "lowest_design_factor", true},
        {"LAST RECORD", "last_record", false},
        {"LAST HEARD", "last_heard", false},
        {"FLAGS", "flags", false},
};
#define FLEET_COLUMNS (sizeof(fleet_columns) / sizeof(fleet_columns[0]))

static void
fleet_row(struct fsp_table *table, const struct fsp_fleet_rig *rig)
{
    const struct fsp_ledger_view *view = view_of(rig);
    bool hung = view->reel != NULL;
    struct fsp_buf flags;

    fsp_buf_init(&flags, 4096);
    fsp_fleet_flag_text(rig, &flags);
    fsp_table_add(table, rig->name);
    fsp_table_number(table, hung, view->in_service_m / FSP_FT_M, 0);
    fsp_table_number(table, hung, view->work_since_cut_j / FSP_TON_MILE_J, 1);
    fsp_table_number(table, view->goal_j > 0.0, view->goal_j / FSP_TON_MILE_J, 0);
    fsp_table_number(table, view->goal_j > 0.0,
            view->goal_j > 0.0 ? 100.0 * view->served_j / view->goal_j : 0.0, 1);
    fsp_table_add(table, fsp_due_text(view->cut_due));
    fsp_table_number(table, view->min_factor > 0.0, view->min_factor, 2);
    fsp_table_time(table, view->last_at_s);
    fsp_table_time(table, rig->heard_s);
    fsp_table_add(table, flags.len == 0 ? NULL : fsp_buf_peek(&flags));
    fsp_buf_fini(&flags);
}

void
fsp_show_fleet(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    struct fsp_table table;
    const struct fsp_fleet_rig **order =
            fsp_mem_array(fleet->n, sizeof(const struct fsp_fleet_rig *));

    if (order == NULL) {
        buf->rc = FSP_ENOMEM;
        return;
    }
    fsp_fleet_by_attention(fleet, order);
    fsp_table_init(&table, fleet_columns, FLEET_COLUMNS);
    for (size_t i = 0; i < fleet->n; i++)
        fleet_row(&table, order[i]);
    fsp_table_text(&table, buf);
    fsp_table_fini(&table);
    free(order);
}

void
fsp_show_fleet_csv(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    struct fsp_table table;

    fsp_table_init(&table, fleet_columns, FLEET_COLUMNS);
    for (size_t i = 0; i < fleet->n; i++)
        fleet_row(&table, fleet->rigs[i]);
    fsp_table_csv(&table, buf);
    fsp_table_fini(&table);
}

static void
fleet_object(
        const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = view_of(rig);
    bool hung = view->reel != NULL;
    bool first = true;
    struct fsp_buf flags;

    fsp_buf_init(&flags, 4096);
    fsp_fleet_flag_text(rig, &flags);
    fsp_buf_add_byte(buf, '{');
    fsp_say_member_text(buf, &first, "rig", rig->name);
    fsp_say_member_time(buf, &first, "as_of", fleet->as_of_s);
    json_current(buf, &first, fsp_fleet_current(rig));
    fsp_say_member_count(buf, &first, "entries", rig->entries);
    fsp_say_member_count(buf, &first, "unreadable", rig->unreadable);
    fsp_say_member_count(buf, &first, "forks", rig->forks);
    fsp_say_member_time(buf, &first, "last_record", view->last_at_s);
    fsp_say_member_time(buf, &first, "last_heard", rig->heard_s);
    fsp_say_member_text(buf, &first, "reel", view->reel);
    json_known(buf, &first, "in_service_ft", hung, view->in_service_m / FSP_FT_M);
    json_known(
            buf, &first, "ton_miles_since_cut", hung, view->work_since_cut_j / FSP_TON_MILE_J);
    json_known(buf, &first, "served_ton_miles", hung, view->served_j / FSP_TON_MILE_J);
    json_known(
            buf, &first, "goal_ton_miles", view->goal_j > 0.0, view->goal_j / FSP_TON_MILE_J);
    json_known(buf, &first, "served_percent", view->goal_j > 0.0,
            view->goal_j > 0.0 ? 100.0 * view->served_j / view->goal_j : 0.0);
    json_known(buf, &first, "lowest_design_factor", view->min_factor > 0.0, view->min_factor);
    fsp_say_member_text(buf, &first, "due", fsp_due_text(view->cut_due));
    fsp_say_member_text(buf, &first, "due_reason", view->cut_due_why);
    fsp_say_member_text(buf, &first, "slip_due", fsp_due_text(view->slip_due));
    fsp_say_member_text(buf, &first, "slip_due_reason", view->slip_due_why);
    fsp_say_member_bool(buf, &first, "incomplete", view->incomplete);
    json_review(buf, &first, &rig->review);
    fsp_say_key(buf, &first, "advice");
    fsp_review_advice_json(rig->advice, rig->n_advice, buf);
    fsp_say_member_count(buf, &first, "renewals_open", rig->renewals);
    fsp_say_member_text(buf, &first, "flags", fsp_buf_peek(&flags));
    fsp_buf_add_byte(buf, '}');
    fsp_buf_fini(&flags);
}

void
fsp_show_fleet_json(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    fsp_buf_add_byte(buf, '[');
    for (size_t i = 0; i < fleet->n; i++) {
        if (i > 0)
            fsp_buf_add_text(buf, ",\n ");
        fleet_object(fleet, fleet->rigs[i], buf);
    }
    fsp_buf_add_text(buf, "]\n");
}

/* --- cuts ------------------------------------------------------------------------------------ */

static const struct fsp_column cut_columns[] = {
        {"RIG", "rig", false},
        {"DATE", "at", false},
        {"REEL", "reel", false},
        {"CUT ft", "cut_ft", true},
        {"SERVED", "served_ton_miles", true},
        {"PER ft", "served_per_ft", true},
        {"GOAL PER ft", "goal_per_ft", true},
        {"REASON", "reason", false},
        {"PLACE", "place", false},
        {"CONDITION", "condition", false},
        {"EARLY", "early", false},
        {"WHY", "why", false},
        {"PROGRAMME", "program_entry", true},
};
#define CUT_COLUMNS (sizeof(cut_columns) / sizeof(cut_columns[0]))

static double
per_ft(double joules, double metres)
{
    return metres > 0.0 ? (joules / FSP_TON_MILE_J) / (metres / FSP_FT_M) : 0.0;
}

static void
cut_row(struct fsp_table *table, const char *rig, const struct fsp_cut_row *cut)
{
    fsp_table_add(table, rig);
    fsp_table_time(table, cut->at_s);
    fsp_table_add(table, cut->reel);
    fsp_table_number(table, true, cut->length_m / FSP_FT_M, 0);
    fsp_table_number(table, true, cut->served_j / FSP_TON_MILE_J, 1);
    fsp_table_number(table, cut->length_m > 0.0, per_ft(cut->served_j, cut->length_m), 2);
    fsp_table_number(table, cut->goal_j > 0.0 && cut->programme_m > 0.0,
            per_ft(cut->goal_j, cut->programme_m), 2);
    fsp_table_add(table, cut->reason);
    fsp_table_add(table, cut->place);
    fsp_table_add(table, cut->condition);
    fsp_table_add(table, cut->early ? "yes" : "no");
    fsp_table_add(table, cut->why);
    /* The entry of the programme in force; an instruction that asked for it is named there. */
    fsp_table_number(table, cut->has_program, (double)cut->program_index, 0);
}

static void
cut_object(const struct fsp_cut_row *cut, struct fsp_buf *buf)
{
    bool first = true;

    fsp_buf_add_byte(buf, '{');
    fsp_say_member_time(buf, &first, "at", cut->at_s);
    fsp_say_member_count(buf, &first, "log", cut->log);
    fsp_say_member_count(buf, &first, "index", cut->index);
    fsp_say_member_text(buf, &first, "reel", cut->reel);
    fsp_say_member(buf, &first, "cut_ft", cut->length_m / FSP_FT_M);
    fsp_say_member(buf, &first, "ton_miles", cut->ton_miles_j / FSP_TON_MILE_J);
    fsp_say_member(buf, &first, "served_ton_miles", cut->served_j / FSP_TON_MILE_J);
    json_known(buf, &first, "goal_ton_miles", cut->goal_j > 0.0, cut->goal_j / FSP_TON_MILE_J);
    json_known(buf, &first, "served_per_ft", cut->length_m > 0.0,
            per_ft(cut->served_j, cut->length_m));
    json_known(buf, &first, "goal_per_ft", cut->goal_j > 0.0 && cut->programme_m > 0.0,
            per_ft(cut->goal_j, cut->programme_m));
    json_known(buf, &first, "lowest_design_factor", cut->min_factor > 0.0, cut->min_factor);
    fsp_say_member_text(buf, &first, "reason", cut->reason);
    fsp_say_member_text(buf, &first, "place", cut->place);
    fsp_say_member_text(buf, &first, "condition", cut->condition);
    fsp_say_member_bool(buf, &first, "early", cut->early);
    fsp_say_member_bool(buf, &first, "eligible", cut->eligible);
    fsp_say_member_text(buf, &first, "why", cut->why);
    json_known(buf, &first, "program_log", cut->has_program, cut->program_log);
    json_known(buf, &first, "program_entry", cut->has_program, (double)cut->program_index);
    fsp_buf_add_byte(buf, '}');
}

void
fsp_show_rig_csv(const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    struct fsp_table table;

    fsp_table_init(&table, cut_columns, CUT_COLUMNS);
    for (size_t i = 0; i < rig->n_cuts; i++)
        cut_row(&table, rig->name, rig->cuts[i]);
    fsp_table_csv(&table, buf);
    fsp_table_fini(&table);
}

/* Index of the first cut of the window that the review judged. */
static size_t
window_start(const struct fsp_fleet_rig *rig)
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

static void
judged_rows(struct fsp_table *table, const struct fsp_fleet_rig *rig)
{
    for (size_t i = window_start(rig); i < rig->n_cuts; i++)
        if (rig->cuts[i]->eligible)
            cut_row(table, rig->name, rig->cuts[i]);
}

/* --- rig ------------------------------------------------------------------------------------- */

void
fsp_show_line(struct fsp_buf *buf, const char *name, const char *text)
{
    fsp_buf_printf(buf, "%-22s", name);
    if (text == NULL)
        fsp_buf_add_text(buf, "unknown");
    else
        fsp_text_show(buf, text, strlen(text));
    fsp_buf_add_byte(buf, '\n');
}

static void
say_time(struct fsp_buf *buf, const char *name, int64_t utc_s)
{
    char text[FSP_TIME_TEXT_LEN + 1];

    if (utc_s != 0)
        fsp_time_text(utc_s, text);
    fsp_show_line(buf, name, utc_s == 0 ? "never" : text);
}

static void
say_work(struct fsp_buf *buf, const char *name, bool known, double joules)
{
    fsp_buf_printf(buf, "%-22s", name);
    if (known)
        fsp_say_work(buf, joules, FSP_UNITS_FIELD);
    else
        fsp_buf_add_text(buf, "unknown");
    fsp_buf_add_byte(buf, '\n');
}

static void
say_due(struct fsp_buf *buf, const char *name, enum fsp_due due, const char *why)
{
    fsp_buf_printf(buf, "%-22s%s", name, fsp_due_text(due));
    if (why != NULL && why[0] != '\0') {
        fsp_buf_add_text(buf, ": ");
        fsp_text_show(buf, why, strlen(why));
    }
    fsp_buf_add_byte(buf, '\n');
}

static void
say_account(const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = view_of(rig);
    bool hung = view->reel != NULL;

    fsp_show_line(buf, "reel", hung ? view->reel : "no line is hung");
    if (hung) {
        fsp_buf_printf(buf, "%-22s", "line in service");
        fsp_say_length(buf, view->in_service_m, FSP_UNITS_FIELD);
        fsp_buf_printf(buf, "\n%-22s", "on the reel");
        fsp_say_length(buf, view->on_reel_m, FSP_UNITS_FIELD);
        fsp_buf_add_byte(buf, '\n');
    }
    say_work(buf, "since the cut", hung, view->work_since_cut_j);
    say_work(buf, "served", hung, view->served_j);
    say_work(buf, "goal", view->goal_j > 0.0, view->goal_j);
    say_due(buf, "cut", view->cut_due, view->cut_due_why);
    say_due(buf, "slip", view->slip_due, view->slip_due_why);
    fsp_buf_printf(buf, "%-22s", "lowest design factor");
    if (view->min_factor > 0.0)
        fsp_say_number(buf, view->min_factor, 2);
    else
        fsp_buf_add_text(buf, "unknown");
    fsp_buf_add_byte(buf, '\n');
    say_time(buf, "last record", view->last_at_s);
    if (view->incomplete)
        fsp_show_line(buf, "count", "incomplete, see the notes");
}

void
fsp_show_rig(
        const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    struct fsp_buf flags;

    fsp_buf_init(&flags, 4096);
    fsp_fleet_flag_text(rig, &flags);
    fsp_buf_printf(buf, "%s/%s\n", fleet->name, rig->name);
    say_account(rig, buf);
    say_time(buf, "last heard", rig->heard_s);
    fsp_show_line(buf, "early cuts", rig->review.text);
    if (flags.len > 0)
        fsp_show_line(buf, "flags", fsp_buf_peek(&flags));
    for (size_t i = 0; i < rig->n_logs; i++) {
        const struct fsp_fleet_log *log = &rig->logs[i];

        fsp_buf_printf(buf, "%-22s%s, %llu entries, root ",
                i + 1 == rig->n_logs ? "log" : "earlier log", log->log.origin,
                (unsigned long long)log->size);
        fsp_base64(buf, log->root, sizeof(log->root));
        fsp_show_renewal(rig, log, buf);
        fsp_buf_add_byte(buf, '\n');
    }
    fsp_show_findings(rig, buf);
    fsp_show_advice(rig, buf);
    for (size_t i = 0; fsp_ledger_note(rig->ledger, i) != NULL; i++)
        fsp_show_line(buf, "note", fsp_ledger_note(rig->ledger, i));
    if (rig->n_cuts > 0) {
        struct fsp_table table;

        fsp_buf_add_byte(buf, '\n');
        fsp_table_init(&table, cut_columns, CUT_COLUMNS);
        for (size_t i = 0; i < rig->n_cuts; i++)
            cut_row(&table, rig->name, rig->cuts[i]);
        fsp_table_text(&table, buf);
        fsp_table_fini(&table);
    }
    fsp_show_inspections(rig, buf);
    fsp_buf_fini(&flags);
}

void
fsp_show_rig_json(
        const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    bool first = true;
    struct fsp_buf flags;

    fsp_buf_init(&flags, 4096);
    fsp_fleet_flag_text(rig, &flags);
    fsp_buf_add_byte(buf, '{');
    fsp_say_member_text(buf, &first, "rig", rig->name);
    fsp_say_member_text(buf, &first, "fleet", fleet->name);
    fsp_say_member_time(buf, &first, "as_of", fleet->as_of_s);
    json_current(buf, &first, fsp_fleet_current(rig));
    fsp_say_member_time(buf, &first, "last_heard", rig->heard_s);
    fsp_say_member_count(buf, &first, "entries", rig->entries);
    fsp_say_member_count(buf, &first, "unreadable", rig->unreadable);
    fsp_say_member_count(buf, &first, "forks", rig->forks);
    fsp_say_member_text(buf, &first, "flags", fsp_buf_peek(&flags));
    json_review(buf, &first, &rig->review);
    fsp_show_signed_json(rig, &first, buf);
    fsp_say_key(buf, &first, "logs");
    fsp_buf_add_byte(buf, '[');
    for (size_t i = 0; i < rig->n_logs; i++) {
        const struct fsp_fleet_log *log = &rig->logs[i];
        bool inner = true;

        fsp_buf_add_text(buf, i > 0 ? ",{" : "{");
        fsp_say_member_text(buf, &inner, "origin", log->log.origin);
        fsp_say_member_count(buf, &inner, "size", log->size);
        json_base64(buf, &inner, "root", log->root, sizeof(log->root));
        fsp_say_member_time(buf, &inner, "enrolled", log->log.enrolled_s);
        fsp_say_member_time(buf, &inner, "last_heard", log->log.heard_s);
        fsp_say_member_count(buf, &inner, "forks", log->forks);
        fsp_show_renewal_json(rig, log, &inner, buf);
        fsp_buf_add_byte(buf, '}');
    }
    fsp_buf_add_byte(buf, ']');
    fsp_say_key(buf, &first, "ledger");
    fsp_ledger_json(rig->ledger, buf);
    fsp_buf_add_text(buf, "}\n");
    fsp_buf_fini(&flags);
}

/* --- early ----------------------------------------------------------------------------------- */

void
fsp_show_early(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    size_t flagged = 0;

    for (size_t i = 0; i < fleet->n; i++) {
        const struct fsp_fleet_rig *rig = fleet->rigs[i];
        struct fsp_table table;

        if (rig->review.state != FSP_REVIEW_FLAGGED)
            continue;
        fsp_buf_add_text(buf, flagged++ > 0 ? "\n" : "");
        fsp_buf_printf(buf, "%s: ", rig->name);
        fsp_text_show(buf, rig->review.text, strlen(rig->review.text));
        fsp_buf_add_byte(buf, '\n');
        fsp_table_init(&table, cut_columns, CUT_COLUMNS);
        judged_rows(&table, rig);
        fsp_table_text(&table, buf);
        fsp_table_fini(&table);
    }
    if (flagged == 0)
        fsp_buf_add_text(buf, "No rig is flagged for repeated early cuts.\n");
    for (size_t i = 0; i < fleet->n; i++) {
        const struct fsp_review *review = &fleet->rigs[i]->review;

        if (review->wear_left)
            fsp_show_line(buf, fleet->rigs[i]->name, review->wear_left_text);
        if (review->planned_repeat)
            fsp_show_line(buf, fleet->rigs[i]->name, review->planned_text);
    }
}

void
fsp_show_early_json(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    size_t flagged = 0;

    fsp_buf_add_byte(buf, '[');
    for (size_t i = 0; i < fleet->n; i++) {
        const struct fsp_fleet_rig *rig = fleet->rigs[i];
        bool first = true;
        size_t cuts = 0;

        if (rig->review.state != FSP_REVIEW_FLAGGED)
            continue;
        fsp_buf_add_text(buf, flagged++ > 0 ? ",\n {" : "{");
        fsp_say_member_text(buf, &first, "rig", rig->name);
        fsp_say_member_time(buf, &first, "as_of", fleet->as_of_s);
        fsp_say_member_text(buf, &first, "text", rig->review.text);
        json_review(buf, &first, &rig->review);
        fsp_say_key(buf, &first, "cuts");
        fsp_buf_add_byte(buf, '[');
        for (size_t c = window_start(rig); c < rig->n_cuts; c++) {
            if (!rig->cuts[c]->eligible)
                continue;
            fsp_buf_add_text(buf, cuts++ > 0 ? ",\n  " : "\n  ");
            cut_object(rig->cuts[c], buf);
        }
        fsp_buf_add_text(buf, "]}");
    }
    fsp_buf_add_text(buf, "]\n");
}

void
fsp_show_early_csv(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    struct fsp_table table;

    fsp_table_init(&table, cut_columns, CUT_COLUMNS);
    for (size_t i = 0; i < fleet->n; i++)
        if (fleet->rigs[i]->review.state == FSP_REVIEW_FLAGGED)
            judged_rows(&table, fleet->rigs[i]);
    fsp_table_csv(&table, buf);
    fsp_table_fini(&table);
}
