/* The account for a person at 3 a.m.: one screen, the answer first. */
#include <ctype.h>
#include <math.h>
#include <string.h>

#include "base/clock.h"
#include "base/text.h"
#include "line/ledger_priv.h"
#include "line/nextcut.h"

#define NOTES_SHOWN  4
#define DUTIES_SHOWN 4
#define DATE_LEN     10
#define YEAR_LEN     5 /* "2026-" */
#define WIDTH        80
#define INDENT       9

static void
show(struct fsp_buf *buf, const char *text)
{
    if (text != NULL)
        fsp_text_show(buf, text, strlen(text));
}

/* Each line begins with a word of its own, or with room for one. */
static void
word(struct fsp_buf *buf, const char *text)
{
    fsp_buf_printf(buf, "%-*s", INDENT, text);
}

static void
minute(struct fsp_buf *buf, int64_t at_s)
{
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(at_s, at);
    fsp_buf_printf(buf, "%.10s %.5sZ", at, at + DATE_LEN + 1);
}

static void
upper(struct fsp_buf *buf, const char *text)
{
    for (; *text != 0; text++)
        fsp_buf_add_byte(buf, (uint8_t)toupper((unsigned char)*text));
}

/* "03-26", with the year before it when it is not that of the newest record. */
static void
day(const struct fsp_ledger *ledger, int64_t at_s, struct fsp_buf *buf)
{
    char at[FSP_TIME_TEXT_LEN + 1], now[FSP_TIME_TEXT_LEN + 1];

    if (at_s == FSP_FORECAST_NONE) {
        fsp_buf_add_text(buf, "no end");
        return;
    }
    fsp_time_text(at_s, at);
    fsp_time_text(ledger->view.last_at_s, now);
    if (memcmp(at, now, YEAR_LEN) == 0)
        fsp_buf_add(buf, at + YEAR_LEN, DATE_LEN - YEAR_LEN);
    else
        fsp_buf_add(buf, at, DATE_LEN);
}

static void
clock_of(int64_t at_s, struct fsp_buf *buf)
{
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(at_s, at);
    fsp_buf_printf(buf, " %.5sZ", at + DATE_LEN + 1);
}

/* "; estimate 03-26 (03-20 to 04-02)" */
static void
about(const struct fsp_ledger *ledger, const struct fsp_forecast_day *when, struct fsp_buf *buf)
{
    if (!ledger->forecast.known || when->likely_s <= ledger->view.last_at_s)
        return; /* cannot be said, or due already */
    fsp_buf_add_text(buf, "; estimate ");
    day(ledger, when->likely_s, buf);
    if (when->earliest_s / 86400 != when->likely_s / 86400 ||
            when->latest_s / 86400 != when->likely_s / 86400) {
        fsp_buf_add_text(buf, " (");
        day(ledger, when->earliest_s, buf);
        fsp_buf_add_text(buf, " to ");
        day(ledger, when->latest_s, buf);
        fsp_buf_add_byte(buf, ')');
    }
}

static bool
counts_down(enum fsp_due due, double goal_j)
{
    return goal_j > 0 && due != FSP_DUE_UNKNOWN && due != FSP_DUE_OUT_OF_SERVICE;
}

/* A figure of work by itself: no more digits than count. */
static void
work_figure(double joules, enum fsp_units units, struct fsp_buf *buf)
{
    double value = joules / (units == FSP_UNITS_METRIC ? FSP_TONNE_KM_J : FSP_TON_MILE_J);

    fsp_say_number(buf, value, fabs(value) >= 100 ? 0 : 1);
}

static const char *
work_unit(enum fsp_units units)
{
    return units == FSP_UNITS_METRIC ? "t-km" : "ton-miles";
}

/* "1,190 of 1,500 ton-miles left" or "12.0 ton-miles over the goal of 1,500". */
static void
remaining(double served_j, double goal_j, enum fsp_units units, struct fsp_buf *buf)
{
    double left = goal_j - served_j;

    work_figure(fabs(left), units, buf);
    if (left >= 0) {
        fsp_buf_add_text(buf, " of ");
        work_figure(goal_j, units, buf);
        fsp_buf_printf(buf, " %s left", work_unit(units));
    } else {
        fsp_buf_printf(buf, " %s over the goal of ", work_unit(units));
        work_figure(goal_j, units, buf);
    }
}

static void
cut_line(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;

    word(buf, "CUT");
    upper(buf, fsp_due_text(view->cut_due));
    fsp_buf_add_text(buf, ": ");
    if (!counts_down(view->cut_due, view->goal_j)) {
        show(buf, view->cut_due_why);
    } else {
        remaining(view->served_j, view->goal_j, fsp_ledger_units(ledger), buf);
        about(ledger, &ledger->forecast.cut, buf);
        if (view->incomplete)
            fsp_buf_add_text(buf, "; the count is INCOMPLETE, less may be left");
    }
    fsp_buf_add_byte(buf, '\n');
}

static void
slip_line(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;
    enum fsp_units units = fsp_ledger_units(ledger);

    word(buf, "SLIP");
    upper(buf, fsp_due_text(view->slip_due));
    fsp_buf_add_text(buf, ": ");
    if (view->slip_due == FSP_DUE_OUT_OF_SERVICE) {
        fsp_buf_add_text(buf, "as for the cut");
    } else if (!counts_down(view->slip_due, view->goal_j) || ledger->fold.slip_asked.open) {
        show(buf, view->slip_due_why);
    } else {
        remaining(view->served_since_slip_j, view->goal_j / view->slips, units, buf);
        about(ledger, &ledger->forecast.slip, buf);
    }
    fsp_buf_add_byte(buf, '\n');
}

/* How much: by tape, and in laps of the rope's centre line. */
static void
amount_line(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;
    enum fsp_units units = fsp_ledger_units(ledger);
    double drum = ledger->fold.has_rig ? ledger->fold.rig.drum_m : 0;
    double lap = drum > 0 ? fsp_cutlength_lap(drum, view->rope_m) : 0;

    word(buf, "HOW MUCH");
    if (view->programme_m > 0) {
        fsp_buf_add_text(buf, "cut ");
        fsp_say_length(buf, view->programme_m, units);
        fsp_buf_add_text(buf, " by tape");
        if (lap > 0) {
            fsp_buf_add_text(buf, " (");
            fsp_say_laps(buf, view->programme_m / lap);
            fsp_buf_add_text(buf, " laps of ");
            fsp_say_length(buf, lap, units);
            fsp_buf_add_byte(buf, ')');
        }
        fsp_buf_add_text(buf, ", slip ");
        fsp_say_length(buf, view->programme_m / view->slips, units);
        fsp_buf_printf(buf, ", %d of %d made", view->slips_made, view->slips);
    } else {
        fsp_buf_add_text(buf, "no programme");
    }
    fsp_buf_add_byte(buf, '\n');
}

/* The line's limit, never the rig's; nothing while a finding is open. */
static void
lift_lines(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;
    enum fsp_units units = fsp_ledger_units(ledger);

    word(buf, "LIFT");
    if (view->findings > 0) {
        fsp_buf_add_text(buf, "no figure while a finding is open: strength means sound line\n");
        return;
    }
    if (!(view->load_at_5_n > 0)) {
        fsp_buf_add_text(buf, "unknown: the line's strength or string-up is not known\n");
        return;
    }
    fsp_say_load(buf, view->load_at_5_n, units);
    fsp_buf_add_text(buf, " at factor 5, ");
    fsp_say_load(buf, view->load_at_3_n, units);
    fsp_buf_add_text(buf, " at 3: the line's limit, never the rig's; ");
    if (view->lowest_rating == NULL) {
        fsp_buf_add_text(
                buf, "line only; mast, block, anchor, drawworks and pipe not checked\n");
        return;
    }
    fsp_buf_printf(buf, "lowest rating given: %s, ", view->lowest_rating);
    fsp_say_load(buf, view->lowest_rating_n, units);
    fsp_buf_add_text(buf, "; the rest not checked\n");
}

static void
line_line(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;
    const struct fsp_rope_size *size = fsp_rope_size_find(view->rope_m);

    word(buf, "Line");
    show(buf, view->reel);
    fsp_buf_add_text(buf, ", ");
    if (view->metric || size == NULL) {
        fsp_say_number(buf, view->rope_m * 1000, 1);
        fsp_buf_add_text(buf, " mm ");
    } else {
        fsp_buf_printf(buf, "%s in ", size->name);
    }
    show(buf, view->grade);
    fsp_buf_printf(buf, ", %d lines", view->lines);
    if (view->well != NULL) {
        fsp_buf_add_text(buf, ", on ");
        show(buf, view->well);
    }
    if (view->rig_state != NULL) {
        fsp_buf_add_text(buf, ", ");
        show(buf, view->rig_state);
    }
    fsp_buf_add_byte(buf, '\n');
}

static void
figures(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;
    const struct fsp_forecast *forecast = &ledger->forecast;
    enum fsp_units units = fsp_ledger_units(ledger);

    word(buf, "Lengths");
    fsp_buf_add_text(buf, "in service ");
    fsp_say_length(buf, view->in_service_m, units);
    fsp_buf_add_text(buf, ", slipped ");
    fsp_say_length(buf, view->slipped_since_cut_m, units);
    fsp_buf_add_text(buf, ", on the reel ");
    fsp_say_length(buf, view->on_reel_m, units);
    if (forecast->cuts_left >= 0)
        fsp_buf_printf(
                buf, " (%d cut%s)", forecast->cuts_left, forecast->cuts_left == 1 ? "" : "s");
    fsp_buf_add_byte(buf, '\n');
    word(buf, "Work");
    fsp_buf_add_text(buf, "since slip ");
    work_figure(view->work_since_slip_j, units, buf);
    fsp_buf_add_text(buf, ", cut ");
    work_figure(view->work_since_cut_j, units, buf);
    fsp_buf_add_text(buf, ", line ");
    work_figure(view->work_line_j, units, buf);
    fsp_buf_printf(buf, " %s; ", work_unit(units));
    if (view->min_factor > 0) {
        fsp_buf_add_text(buf, "lowest factor ");
        fsp_say_number(buf, view->min_factor, 2);
    } else {
        fsp_buf_add_text(buf, "no factor known");
    }
    if (view->below_minimum > 0)
        fsp_buf_printf(buf, "; %d operation%s BELOW the minimum of their service",
                view->below_minimum, view->below_minimum == 1 ? "" : "s");
    fsp_buf_add_byte(buf, '\n');
}

static void
last_cut(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_cut_row *row;

    if (ledger->view.cuts == 0)
        return;
    row = &ledger->cuts[ledger->view.cuts - 1];
    word(buf, "Last cut");
    minute(buf, row->at_s);
    fsp_buf_add_text(buf, ", ");
    fsp_say_length(buf, row->length_m, fsp_ledger_units(ledger));
    fsp_buf_add_text(buf, ", ");
    show(buf, row->reason);
    fsp_buf_add_text(buf, ": ");
    show(buf, row->why);
    fsp_buf_add_byte(buf, '\n');
}

static void
duties(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_duty *duty;
    size_t i;

    for (i = 0; (duty = fsp_ledger_duty(ledger, i)) != NULL && i < DUTIES_SHOWN; i++) {
        word(buf, i == 0 ? "Duties" : "");
        fsp_buf_add_text(buf, duty->name);
        if (duty->suspended) {
            fsp_buf_add_text(buf, ", rests while the rig is stacked");
        } else if (duty->due_s != 0) {
            fsp_buf_add_text(buf, duty->overdue ? " OVERDUE since " : " by ");
            day(ledger, duty->due_s, buf);
            clock_of(duty->due_s, buf);
        }
        fsp_buf_add_text(buf, ": ");
        show(buf, duty->why);
        fsp_buf_add_byte(buf, '\n');
    }
    if (ledger->view.duties > DUTIES_SHOWN)
        fsp_buf_printf(buf, "         and %zu more\n", ledger->view.duties - DUTIES_SHOWN);
}

static void
texts(const struct fsp_ledger *ledger, const char *name,
        const char *(*peek)(const struct fsp_ledger *ledger, size_t i), struct fsp_buf *buf)
{
    const char *text;
    size_t i;

    for (i = 0; (text = peek(ledger, i)) != NULL; i++) {
        word(buf, i == 0 ? name : "");
        show(buf, text);
        fsp_buf_add_byte(buf, '\n');
    }
}

/* What the count rests on: in one paragraph each. */
static void
count_lines(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const char *text;
    size_t i;

    word(buf, "Count");
    fsp_buf_printf(buf, "%zu entries up to ", ledger->view.entries);
    minute(buf, ledger->view.last_at_s);
    for (i = 0; (text = fsp_ledger_doubt(ledger, i)) != NULL; i++) {
        fsp_buf_add_text(buf, "; ");
        show(buf, text);
    }
    fsp_buf_add_byte(buf, '\n');
    for (i = 0; (text = fsp_ledger_assumed(ledger, i)) != NULL; i++) {
        if (i == 0)
            word(buf, "Assumed");
        else
            fsp_buf_add_text(buf, "; ");
        show(buf, text);
    }
    if (i > 0)
        fsp_buf_add_byte(buf, '\n');
}

static void
notes(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    size_t have = ledger->n_shown, from = have > NOTES_SHOWN ? have - NOTES_SHOWN : 0, i;

    for (i = from; i < have; i++) {
        word(buf, i == from ? "Notes" : "");
        show(buf, fsp_ledger_note(ledger, i));
        fsp_buf_add_byte(buf, '\n');
    }
    if (from > 0)
        fsp_buf_printf(buf, "         and %zu older notes\n", from);
}

/* Several things can ask for the same inspection. */
static bool
named_before(const struct fsp_ledger *ledger, size_t i)
{
    const char *name = fsp_ledger_duty(ledger, i)->name;
    size_t k;

    for (k = 0; k < i; k++) {
        if (strcmp(fsp_ledger_duty(ledger, k)->name, name) == 0)
            return true;
    }
    return false;
}

/* One line a driller can read out at the change of tour. */
static void
handover(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;
    const struct fsp_duty *duty;
    size_t i;

    word(buf, "Handover");
    fsp_buf_add_text(buf, "line ");
    show(buf, view->reel);
    fsp_buf_printf(buf, ": cut %s", fsp_due_text(view->cut_due));
    if (counts_down(view->cut_due, view->goal_j)) {
        double left = view->goal_j - view->served_j;

        fsp_buf_add_text(buf, ", ");
        work_figure(fabs(left), fsp_ledger_units(ledger), buf);
        fsp_buf_printf(buf, " %s %s", work_unit(fsp_ledger_units(ledger)),
                left >= 0 ? "left" : "over");
        if (view->incomplete)
            fsp_buf_add_text(buf, " on an incomplete count");
    }
    fsp_buf_printf(buf, "; slip %s", fsp_due_text(view->slip_due));
    if (view->findings > 0)
        fsp_buf_printf(
                buf, "; %zu finding%s open", view->findings, view->findings == 1 ? "" : "s");
    for (i = 0; (duty = fsp_ledger_duty(ledger, i)) != NULL && duty->overdue; i++) {
        if (!named_before(ledger, i))
            fsp_buf_printf(buf, "%s%s", i == 0 ? "; overdue: " : ", ", duty->name);
    }
    if (view->derate < 1)
        fsp_buf_add_text(buf, "; goal derated");
    fsp_buf_add_text(buf, ".\n");
}

/* The finding that took the line out of service is the answer already. */
static const char *
defect(const struct fsp_ledger *ledger, size_t i)
{
    return fsp_ledger_finding(ledger, i + (ledger->fold.stop.open ? 1 : 0));
}

static void
write_all(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    bool hung = ledger->view.reel != NULL;

    cut_line(ledger, buf);
    slip_line(ledger, buf);
    if (hung) {
        amount_line(ledger, buf);
        fsp_ledger_next_cut_text(ledger, buf);
        lift_lines(ledger, buf);
    }
    texts(ledger, "FINDING", defect, buf);
    if (hung) {
        line_line(ledger, buf);
        figures(ledger, buf);
    } else {
        fsp_buf_printf(buf, "No line hung: enter rig and reel first; %zu entries\n",
                ledger->view.entries);
    }
    last_cut(ledger, buf);
    duties(ledger, buf);
    count_lines(ledger, buf);
    notes(ledger, buf);
    if (hung)
        handover(ledger, buf);
    fsp_buf_add_text(buf, "Visual inspection overrides the count, always; codes and makers' "
                          "figures first.\n");
}

/* Break one line at spaces, what follows under the first column of its text. */
static void
wrap(struct fsp_buf *buf, const char *line, size_t len)
{
    size_t room = WIDTH;

    while (len > room) {
        size_t end = room;

        while (end > room / 2 && line[end] != ' ')
            end--;
        if (line[end] != ' ')
            break; /* one long word: as it is */
        fsp_buf_add(buf, line, end);
        fsp_buf_printf(buf, "\n%*s", INDENT, "");
        line += end + 1;
        len -= end + 1;
        room = WIDTH - INDENT;
    }
    fsp_buf_add(buf, line, len);
    fsp_buf_add_byte(buf, '\n');
}

void
fsp_ledger_text(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const char *line, *end;
    struct fsp_buf all;

    fsp_buf_init(&all, buf->max);
    write_all(ledger, &all);
    for (line = fsp_buf_peek(&all); (end = strchr(line, '\n')) != NULL; line = end + 1)
        wrap(buf, line, (size_t)(end - line));
    if (all.rc != FSP_OK)
        buf->rc = all.rc;
    fsp_buf_fini(&all);
}
