/* The account as one JSON object: sorted keys, units in the names. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "line/ledger_priv.h"
#include "line/nextcut.h"

static double
ton_miles(double joules)
{
    return joules / FSP_TON_MILE_J;
}

static double
feet(double metres)
{
    return metres / FSP_FT_M;
}

static void
member_time(struct fsp_buf *buf, bool *first, const char *key, int64_t at_s)
{
    char text[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(at_s, text);
    fsp_say_member_text(buf, first, key, text);
}

/* The programme's entry, by log and index; null without one. */
static void
write_program(const struct fsp_cut_row *row, bool *first, struct fsp_buf *buf)
{
    fsp_say_key(buf, first, "program");
    if (row->has_program)
        fsp_buf_printf(buf, "{\"index\":%llu,\"log\":%u}",
                (unsigned long long)row->program_index, (unsigned)row->program_log);
    else
        fsp_buf_add_text(buf, "null");
}

static void
write_cut(const struct fsp_cut_row *row, struct fsp_buf *buf)
{
    bool first = true;

    fsp_buf_add_byte(buf, '{');
    member_time(buf, &first, "at", row->at_s);
    fsp_say_member_text(buf, &first, "basis", row->basis);
    fsp_say_member_count(buf, &first, "below_minimum", (uint64_t)row->below_minimum);
    fsp_say_member_bool(buf, &first, "beyond_slipped", row->beyond_slipped);
    fsp_say_member_bool(buf, &first, "changed", row->changed);
    fsp_say_member_text(buf, &first, "condition", row->condition);
    fsp_say_member_bool(buf, &first, "credit", row->credit);
    fsp_say_member_text(buf, &first, "curve", row->curve);
    fsp_say_member_bool(buf, &first, "early", row->early);
    fsp_say_member_bool(buf, &first, "eligible", row->eligible);
    fsp_say_member_bool(buf, &first, "first_after_goal_change", row->first_after_goal_change);
    fsp_say_member_bool(buf, &first, "first_of_line", row->first_of_line);
    fsp_say_member_bool(buf, &first, "for_wear", row->for_wear);
    fsp_say_member_text(buf, &first, "goal_kind", row->goal_kind);
    fsp_say_member(buf, &first, "goal_ton_miles", ton_miles(row->goal_j));
    fsp_say_member_text(buf, &first, "grade", row->grade);
    fsp_say_member_bool(buf, &first, "incomplete", row->incomplete);
    fsp_say_member_count(buf, &first, "index", row->index);
    fsp_say_member(buf, &first, "length_ft", feet(row->length_m));
    fsp_say_member_count(buf, &first, "lines", (uint64_t)row->lines);
    fsp_say_member_count(buf, &first, "log", row->log);
    fsp_say_member_bool(buf, &first, "long", row->long_cut);
    fsp_say_member_bool(buf, &first, "low", row->low);
    fsp_say_member(buf, &first, "min_factor", row->min_factor);
    fsp_say_member_bool(buf, &first, "out_of_service", row->out_of_service);
    fsp_say_member_text(buf, &first, "place", row->place);
    fsp_say_member_bool(buf, &first, "planned", row->planned);
    write_program(row, &first, buf);
    fsp_say_member(buf, &first, "programme_ft", feet(row->programme_m));
    fsp_say_member_text(buf, &first, "reason", row->reason);
    fsp_say_member_text(buf, &first, "reel", row->reel);
    fsp_say_member(buf, &first, "rope_in", row->rope_m / FSP_IN_M);
    fsp_say_member_count(buf, &first, "rules", FSP_LEDGER_RULES);
    fsp_say_member(buf, &first, "served_ton_miles", ton_miles(row->served_j));
    fsp_say_member(buf, &first, "slipped_ft", feet(row->slipped_m));
    fsp_say_member_count(buf, &first, "slips", (uint64_t)row->slips);
    fsp_say_member(buf, &first, "ton_miles", ton_miles(row->ton_miles_j));
    fsp_say_member(buf, &first, "ton_miles_per_ft",
            row->length_m > 0 ? ton_miles(row->ton_miles_j) / feet(row->length_m) : 0);
    fsp_say_member_bool(buf, &first, "under_derate", row->under_derate);
    fsp_say_member_text(buf, &first, "well", row->well);
    fsp_say_member_text(buf, &first, "why", row->why);
    fsp_buf_add_byte(buf, '}');
}

static void
write_texts(const struct fsp_ledger *ledger,
        const char *(*peek)(const struct fsp_ledger *ledger, size_t i), struct fsp_buf *buf)
{
    const char *text;
    size_t i;

    fsp_buf_add_byte(buf, '[');
    for (i = 0; (text = peek(ledger, i)) != NULL; i++) {
        if (i > 0)
            fsp_buf_add_byte(buf, ',');
        fsp_say_json_text(buf, text);
    }
    fsp_buf_add_byte(buf, ']');
}

static void
write_cuts(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    size_t i;

    fsp_buf_add_byte(buf, '[');
    for (i = 0; i < ledger->view.cuts; i++) {
        if (i > 0)
            fsp_buf_add_byte(buf, ',');
        write_cut(&ledger->cuts[i], buf);
    }
    fsp_buf_add_byte(buf, ']');
}

static void
write_duties(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_duty *duty;
    size_t i;

    fsp_buf_add_byte(buf, '[');
    for (i = 0; (duty = fsp_ledger_duty(ledger, i)) != NULL; i++) {
        bool first = true;

        fsp_buf_add_text(buf, i > 0 ? ",{" : "{");
        fsp_say_member_text(buf, &first, "closes", duty->closes);
        fsp_say_member_time(buf, &first, "due", duty->due_s);
        fsp_say_member_text(buf, &first, "kind", fsp_duty_kind_text(duty->kind));
        fsp_say_member_text(buf, &first, "name", duty->name);
        fsp_say_member_bool(buf, &first, "overdue", duty->overdue);
        member_time(buf, &first, "since", duty->since_s);
        fsp_say_member_bool(buf, &first, "suspended", duty->suspended);
        fsp_say_member_text(buf, &first, "why", duty->why);
        fsp_buf_add_byte(buf, '}');
    }
    fsp_buf_add_byte(buf, ']');
}

/* The line's limits at factors 5 and 3 beside the lowest rating given; null where there is none. */
static void
write_lift(const struct fsp_ledger_view *view, struct fsp_buf *buf)
{
    bool first = true;

    fsp_buf_add_byte(buf, '{');
    fsp_say_member(buf, &first, "load_at_3_lbf",
            view->load_at_3_n > 0 ? view->load_at_3_n / FSP_LBF_N : ABSENT);
    fsp_say_member(buf, &first, "load_at_5_lbf",
            view->load_at_5_n > 0 ? view->load_at_5_n / FSP_LBF_N : ABSENT);
    fsp_say_member_text(buf, &first, "lowest_rating", view->lowest_rating);
    fsp_say_member(buf, &first, "lowest_rating_lbf",
            view->lowest_rating_n > 0 ? view->lowest_rating_n / FSP_LBF_N : ABSENT);
    fsp_buf_add_text(buf, ",\"says\":\"the line's limit, never the rig's\"}");
}

static void
member_day(
        struct fsp_buf *buf, bool *first, const char *key, const struct fsp_forecast_day *day)
{
    bool inner = true;

    fsp_say_key(buf, first, key);
    fsp_buf_add_byte(buf, '{');
    fsp_say_member_time(buf, &inner, "earliest", day->earliest_s);
    fsp_say_member_time(buf, &inner, "latest", day->latest_s);
    fsp_say_member_time(buf, &inner, "likely", day->likely_s);
    fsp_buf_add_byte(buf, '}');
}

static void
write_forecast(const struct fsp_forecast *forecast, struct fsp_buf *buf)
{
    bool first = true;

    fsp_buf_add_byte(buf, '{');
    if (forecast->known)
        member_day(buf, &first, "cut", &forecast->cut);
    fsp_say_member(
            buf, &first, "cuts_left", forecast->cuts_left < 0 ? ABSENT : forecast->cuts_left);
    fsp_say_member_count(buf, &first, "days", forecast->days);
    fsp_say_member_bool(buf, &first, "estimate", true);
    fsp_say_member_bool(buf, &first, "known", forecast->known);
    if (forecast->known && forecast->cuts_left >= 0)
        member_day(buf, &first, "reel", &forecast->reel);
    if (forecast->known)
        member_day(buf, &first, "slip", &forecast->slip);
    fsp_say_member(buf, &first, "ton_miles_per_day", ton_miles(forecast->pace_j));
    fsp_say_member(buf, &first, "ton_miles_per_day_fastest", ton_miles(forecast->fast_j));
    fsp_say_member(buf, &first, "ton_miles_per_day_month", ton_miles(forecast->month_j));
    fsp_say_member(buf, &first, "ton_miles_per_day_slowest", ton_miles(forecast->slow_j));
    fsp_say_member_text(buf, &first, "why_not", forecast->why);
    fsp_buf_add_byte(buf, '}');
}

/* A text of lines as a list. */
static void
write_lines(const struct fsp_buf *lines, struct fsp_buf *buf)
{
    const char *line = fsp_buf_peek(lines), *end;

    fsp_buf_add_byte(buf, '[');
    for (; (end = strchr(line, '\n')) != NULL; line = end + 1) {
        if (line != fsp_buf_peek(lines))
            fsp_buf_add_byte(buf, ',');
        fsp_say_json_piece(buf, line, (size_t)(end - line));
    }
    fsp_buf_add_byte(buf, ']');
}

static void
write_needs(const struct fsp_next_cut *next, struct fsp_buf *buf)
{
    size_t i;

    fsp_buf_add_byte(buf, '[');
    for (i = 0; i < next->n_needs; i++) {
        if (i > 0)
            fsp_buf_add_byte(buf, ',');
        fsp_say_json_text(buf, next->needs[i]);
    }
    fsp_buf_add_byte(buf, ']');
}

/* By critical points; worked out here, on demand. */
static void
write_next_cut(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    struct fsp_next_cut *next = fsp_mem_array(1, sizeof(*next));
    struct fsp_buf assumed;
    bool first = true;

    if (next == NULL) {
        buf->rc = FSP_ENOMEM;
        return;
    }
    fsp_buf_init(&assumed, 2000);
    fsp_ledger_next_cut(ledger, next, &assumed);
    fsp_buf_add_byte(buf, '{');
    fsp_say_key(buf, &first, "assumed");
    write_lines(&assumed, buf);
    fsp_say_key(buf, &first, "candidates");
    fsp_critical_json(next->list, next->n, next->lines, buf);
    fsp_say_key(buf, &first, "needs");
    write_needs(next, buf);
    fsp_say_member_count(buf, &first, "places", next->places);
    fsp_say_member(buf, &first, "table_cut_ft",
            next->table_cut_m > 0 ? feet(next->table_cut_m) : ABSENT);
    fsp_say_member(buf, &first, "table_laps", next->table_laps > 0 ? next->table_laps : ABSENT);
    fsp_say_member_text(buf, &first, "why_not", next->why_not[0] != 0 ? next->why_not : NULL);
    fsp_buf_add_byte(buf, '}');
    fsp_buf_fini(&assumed);
    free(next);
}

static void
write_head(const struct fsp_ledger *ledger, bool *first, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;

    fsp_say_member_count(buf, first, "amended", view->amended);
    member_time(buf, first, "as_of", view->as_of_s);
    fsp_say_key(buf, first, "assumed");
    write_texts(ledger, fsp_ledger_assumed, buf);
    fsp_say_member_count(buf, first, "below_minimum", (uint64_t)view->below_minimum);
    fsp_say_member_time(buf, first, "changed_at", view->changed_s);
    fsp_say_member(buf, first, "check_motion_ton_miles", ton_miles(view->check_motion_j));
    fsp_say_member(buf, first, "check_ton_miles", ton_miles(view->check_j));
    fsp_say_member_text(buf, first, "cut_due", fsp_due_text(view->cut_due));
    fsp_say_member_text(buf, first, "cut_due_why", view->cut_due_why);
    fsp_say_key(buf, first, "cuts");
    write_cuts(ledger, buf);
    fsp_say_member(buf, first, "derate", view->derate);
    fsp_say_member_count(buf, first, "doubtful_clock", view->doubtful_clock);
    fsp_say_key(buf, first, "doubts");
    write_texts(ledger, fsp_ledger_doubt, buf);
    fsp_say_key(buf, first, "duties");
    write_duties(ledger, buf);
    fsp_say_member_count(buf, first, "duties_overdue", view->duties_overdue);
    fsp_say_member_count(buf, first, "entries", view->entries);
    fsp_say_member_bool(buf, first, "estimated", view->estimated);
    fsp_say_member(buf, first, "feet_cut_line_ft", feet(view->feet_cut_line_m));
    fsp_say_key(buf, first, "findings");
    write_texts(ledger, fsp_ledger_finding, buf);
    fsp_say_key(buf, first, "forecast");
    write_forecast(&ledger->forecast, buf);
    fsp_say_member_time(buf, first, "gap_since", view->gap_s);
    fsp_say_member(buf, first, "goal_ton_miles", ton_miles(view->goal_j));
    fsp_say_member_text(buf, first, "grade", view->grade);
    fsp_say_member(buf, first, "in_service_ft", feet(view->in_service_m));
    fsp_say_member_bool(buf, first, "incomplete", view->incomplete);
}

void
fsp_ledger_json(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;
    bool first = true;

    fsp_buf_add_byte(buf, '{');
    write_head(ledger, &first, buf);
    fsp_say_member_time(buf, &first, "last_at", view->last_at_s);
    fsp_say_member_count(buf, &first, "late_entries", view->late_entries);
    fsp_say_key(buf, &first, "lift");
    write_lift(view, buf);
    fsp_say_member_count(buf, &first, "lines", (uint64_t)view->lines);
    fsp_say_member_time(buf, &first, "low_since", view->low_s);
    fsp_say_member_count(buf, &first, "low_unseen", (uint64_t)view->low_unseen);
    fsp_say_member(buf, &first, "min_factor", view->min_factor);
    fsp_say_member(buf, &first, "motion_ton_miles", ton_miles(view->motion_j));
    fsp_say_key(buf, &first, "next_cut");
    write_next_cut(ledger, buf);
    fsp_say_key(buf, &first, "notes");
    write_texts(ledger, fsp_ledger_note, buf);
    fsp_say_member(buf, &first, "on_reel_ft", feet(view->on_reel_m));
    fsp_say_member(buf, &first, "present_ft", feet(view->present_m));
    fsp_say_member(buf, &first, "programme_ft", feet(view->programme_m));
    fsp_say_member_text(buf, &first, "reel", view->reel);
    fsp_say_member_text(buf, &first, "rig_state", view->rig_state);
    fsp_say_member(buf, &first, "rope_in", view->rope_m / FSP_IN_M);
    fsp_say_member_count(buf, &first, "rules", FSP_LEDGER_RULES);
    fsp_say_member(
            buf, &first, "served_since_slip_ton_miles", ton_miles(view->served_since_slip_j));
    fsp_say_member(buf, &first, "served_ton_miles", ton_miles(view->served_j));
    fsp_say_member_text(buf, &first, "slip_due", fsp_due_text(view->slip_due));
    fsp_say_member_text(buf, &first, "slip_due_why", view->slip_due_why);
    fsp_say_member(buf, &first, "slipped_since_cut_ft", feet(view->slipped_since_cut_m));
    fsp_say_member_count(buf, &first, "slips", (uint64_t)view->slips);
    fsp_say_member_count(buf, &first, "slips_made", (uint64_t)view->slips_made);
    fsp_say_member(buf, &first, "strength_lbf", view->strength_n / FSP_LBF_N);
    fsp_say_member(buf, &first, "suggested_ton_miles", ton_miles(view->suggested_j));
    fsp_say_member(buf, &first, "table_cut_ft", feet(view->table_cut_m));
    fsp_say_member(buf, &first, "table_laps", view->table_laps);
    fsp_say_member(buf, &first, "ton_miles_line", ton_miles(view->work_line_j));
    fsp_say_member(buf, &first, "ton_miles_since_cut", ton_miles(view->work_since_cut_j));
    fsp_say_member(buf, &first, "ton_miles_since_slip", ton_miles(view->work_since_slip_j));
    fsp_say_member_count(buf, &first, "unreadable", view->unreadable);
    fsp_say_member_text(buf, &first, "well", view->well);
    fsp_buf_add_byte(buf, '}');
}
