/* GET /rig: one rig's line now: what is due and why, forecast, flags, findings, duties, logs. */
#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "line/duty.h"
#include "line/forecast.h"
#include "line/say.h"
#include "office/board_rig_priv.h"

/* --- the line now ---------------------------------------------------------------------------- */

static void
term(struct fsp_html *html, const char *name)
{
    fsp_html_element(html, "dt", NULL, name);
    fsp_html_open(html, "dd");
}

static void
said(struct fsp_html *html, const char *name, const char *text)
{
    term(html, name);
    fsp_html_text(html, text == NULL || text[0] == '\0' ? "unknown" : text);
    fsp_html_close(html);
}

static void
due(struct fsp_html *html, const char *name, enum fsp_due due, const char *why)
{
    term(html, name);
    fsp_board_due(html, due, why);
    fsp_html_close(html);
}

static void
line_now(struct fsp_html *html, const struct fsp_ledger_view *view)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 512);
    term(html, "Line");
    if (view->reel == NULL) {
        fsp_html_text(html, "no line is hung");
        fsp_html_close(html);
        fsp_buf_fini(&text);
        return;
    }
    fsp_html_text(html, "reel ");
    fsp_html_text(html, view->reel);
    fsp_buf_add_text(&text, ", ");
    fsp_board_rope(view->rope_m, view->grade, &text);
    fsp_buf_printf(&text, ", %d lines strung", view->lines);
    if (view->estimated)
        fsp_buf_add_text(&text, ", estimated");
    fsp_html_text(html, fsp_buf_peek(&text));
    fsp_html_close(html);
    fsp_buf_reset(&text);
    fsp_say_length(&text, view->in_service_m, FSP_UNITS_FIELD);
    fsp_buf_add_text(&text, " in service, ");
    fsp_say_length(&text, view->on_reel_m, FSP_UNITS_FIELD);
    fsp_buf_add_text(&text, " on the reel, ");
    fsp_say_length(&text, view->feet_cut_line_m, FSP_UNITS_FIELD);
    fsp_buf_add_text(&text, " cut from it so far");
    said(html, "Length", fsp_buf_peek(&text));
    fsp_buf_reset(&text);
    fsp_say_work(&text, view->work_since_cut_j, FSP_UNITS_FIELD);
    fsp_buf_add_text(&text, " since the cut, ");
    fsp_say_work(&text, view->work_since_slip_j, FSP_UNITS_FIELD);
    fsp_buf_add_text(&text, " since the slip, ");
    fsp_say_work(&text, view->work_line_j, FSP_UNITS_FIELD);
    fsp_buf_add_text(&text, " on this line");
    said(html, "Work", fsp_buf_peek(&text));
    fsp_buf_reset(&text);
    if (view->min_factor > 0.0)
        fsp_say_number(&text, view->min_factor, 2);
    if (view->below_minimum > 0)
        fsp_buf_printf(&text, ", %d operations below the minimum of their service",
                view->below_minimum);
    said(html, "Lowest design factor since the cut", fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

static void
day_range(struct fsp_html *html, const char *name, const struct fsp_forecast_day *day,
        const char *none)
{
    term(html, name);
    if (day->likely_s == FSP_FORECAST_NONE) {
        fsp_html_text(html, none);
    } else {
        fsp_html_text(html, "about ");
        fsp_board_time(html, day->likely_s);
        fsp_html_open(html, "span");
        fsp_html_attr(html, "class", "why");
        if (day->earliest_s != FSP_FORECAST_NONE) {
            fsp_html_text(html, "at the fastest week ");
            fsp_board_time(html, day->earliest_s);
        }
        if (day->latest_s != FSP_FORECAST_NONE) {
            fsp_html_text(html, ", at the slowest ");
            fsp_board_time(html, day->latest_s);
        }
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

static void
forecast(struct fsp_html *html, const struct fsp_ledger *ledger)
{
    const struct fsp_forecast *forecast = fsp_ledger_forecast(ledger);
    struct fsp_buf text;

    if (forecast == NULL || !forecast->known) {
        said(html, "Forecast",
                forecast == NULL || forecast->why == NULL ? "not known" : forecast->why);
        return;
    }
    day_range(html, "Next slip due", &forecast->slip, "cannot be said");
    day_range(html, "Next cut due", &forecast->cut, "cannot be said");
    day_range(html, "Reel ends", &forecast->reel, "cannot be said");
    fsp_buf_init(&text, 256);
    if (forecast->cuts_left >= 0)
        fsp_buf_printf(&text, "%d, by the programme's length", forecast->cuts_left);
    said(html, "Cuts left on the reel", fsp_buf_peek(&text));
    fsp_buf_reset(&text);
    fsp_say_work(&text, forecast->pace_j, FSP_UNITS_FIELD);
    fsp_buf_printf(&text, " a day, an estimate over %zu days%s", forecast->days,
            forecast->stacked ? ", those before it was stacked" : "");
    said(html, "Pace", fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

static void
account(struct fsp_html *html, const struct fsp_board_page *page,
        const struct fsp_fleet_rig *rig)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(rig->ledger);

    fsp_board_section(html, "now", "The line now");
    fsp_html_open(html, "dl");
    due(html, "Cut", view->cut_due, view->cut_due_why);
    due(html, "Slip", view->slip_due, view->slip_due_why);
    term(html, "Served of goal");
    fsp_board_served(html, view);
    fsp_html_close(html);
    line_now(html, view);
    said(html, "Rig", view->rig_state);
    said(html, "Well", view->well);
    forecast(html, rig->ledger);
    term(html, "Newest record");
    fsp_board_time(html, view->last_at_s);
    fsp_html_close(html);
    term(html, "Last heard");
    fsp_board_time(html, rig->heard_s);
    if (rig->heard_s != 0) {
        struct fsp_buf text;

        fsp_buf_init(&text, 64);
        fsp_buf_add_text(&text, ", ");
        fsp_board_age(page->fleet->as_of_s - rig->heard_s, &text);
        fsp_buf_add_text(&text, " ago");
        fsp_html_text(html, fsp_buf_peek(&text));
        fsp_buf_fini(&text);
    }
    fsp_html_close(html);
    fsp_html_close(html);
}

/* --- flags ----------------------------------------------------------------------------------- */

static void
evidence(struct fsp_html *html, const struct fsp_fleet_rig *rig, const struct fsp_flag *flag)
{
    if (flag->n_cuts == 0)
        return;
    fsp_html_open(html, "span");
    fsp_html_attr(html, "class", "why");
    fsp_html_text(html, "Evidence: ");
    for (size_t i = 0; i < flag->n_cuts; i++) {
        const struct fsp_cut_row *cut =
                flag->cuts[i] < rig->n_cuts ? rig->cuts[flag->cuts[i]] : NULL;
        char href[FSP_BOARD_LINK_MAX];
        char text[FSP_TIME_TEXT_LEN + 1];

        if (cut == NULL)
            continue;
        fsp_time_text(cut->at_s, text);
        text[10] = '\0';
        fsp_board_entry_href(rig->name, cut->log, cut->index, href);
        fsp_html_text(html, i > 0 ? ", cut of " : "cut of ");
        fsp_board_link(html, text, href);
    }
    fsp_html_close(html);
}

/* Several of them stand on the page: each control is inside its label. */
static void
acknowledge(struct fsp_html *html, const struct fsp_board_page *page,
        const struct fsp_fleet_rig *rig, const struct fsp_flag *flag)
{
    char base[24]; /* whether somebody else acknowledged it meanwhile */
    char max[16];

    if (page->viewer->open || !fsp_role_may(page->viewer->role, FSP_RIGHT_ACKNOWLEDGE))
        return;
    fsp_html_form(html, "/acknowledge", page->viewer->form_token);
    fsp_html_hidden(html, "rig", rig->name);
    fsp_html_hidden(html, "mark", flag->mark);
    (void)snprintf(base, sizeof(base), "%lld", (long long)flag->acknowledged_s);
    fsp_html_hidden(html, "base", base);
    fsp_html_open(html, "label");
    fsp_html_attr(html, "class", "control");
    fsp_html_element(html, "span", "hint",
            flag->acknowledged ? "Say anew what you found" : "You have looked: what you found");
    fsp_html_void(html, "input");
    fsp_html_attr(html, "name", "note");
    fsp_html_attr(html, "required", "");
    (void)snprintf(max, sizeof(max), "%d", FSP_FLAG_NOTE_MAX);
    fsp_html_attr(html, "maxlength", max);
    fsp_html_attr(html, "size", "40");
    fsp_html_close(html);
    fsp_html_button(html, "Acknowledge", NULL, NULL);
    fsp_html_close(html);
}

static void
flag(struct fsp_html *html, const struct fsp_board_page *page, const struct fsp_fleet_rig *rig,
        const struct fsp_flag *flag)
{
    fsp_html_open(html, "li");
    fsp_board_flag(html, flag);
    if (flag->since_s != 0) {
        fsp_html_open(html, "span");
        fsp_html_attr(html, "class", "why");
        fsp_html_text(html, "Since ");
        fsp_board_time(html, flag->since_s);
        fsp_html_close(html);
    }
    evidence(html, rig, flag);
    acknowledge(html, page, rig, flag);
    fsp_html_close(html);
}

static void
flags(struct fsp_html *html, const struct fsp_board_page *page, const struct fsp_fleet_rig *rig)
{
    struct fsp_flag list[FSP_FLAGS_MAX];
    const size_t n = fsp_board_flag_list(page, rig, list);

    fsp_board_section(html, "flags", "Flags");
    if (rig->n_logs == 0)
        fsp_board_para(html, "Invited, never heard.");
    else if (n == 0)
        fsp_board_para(html, "None.");
    if (n == 0)
        return;
    fsp_html_open(html, "ul");
    fsp_html_attr(html, "class", "list");
    for (size_t i = 0; i < n; i++)
        flag(html, page, rig, &list[i]);
    fsp_html_close(html);
}

/* --- findings, duties, doubts, advice -------------------------------------------------------- */

static void
findings(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    enum fsp_sig_state state;

    if (!fsp_fold_finding_sig(rig->fold, 0, &state))
        return;
    fsp_board_section(html, "findings", "Open findings");
    fsp_html_open(html, "ul");
    fsp_html_attr(html, "class", "list");
    for (size_t i = 0; fsp_fold_finding_sig(rig->fold, i, &state); i++) {
        fsp_html_open(html, "li");
        fsp_html_text(html, fsp_ledger_finding(rig->ledger, i));
        fsp_html_text(html, " ");
        fsp_board_sig(html, state);
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

static void
duties(struct fsp_html *html, const struct fsp_ledger *ledger)
{
    static const struct fsp_board_column columns[] = {
            {"Duty", NULL}, {"Due", "t"}, {"State", NULL}, {"Why", NULL}, {"Closed by", NULL}};
    struct fsp_board_table table = {.cards = false};
    const struct fsp_duty *duty;

    if (fsp_ledger_duty(ledger, 0) == NULL)
        return;
    fsp_board_section(html, "duties", "Duties");
    fsp_board_table_begin(&table, html, "Duties, those due first", columns,
            sizeof(columns) / sizeof(columns[0]));
    for (size_t i = 0; (duty = fsp_ledger_duty(ledger, i)) != NULL; i++) {
        fsp_board_row(&table);
        fsp_board_cell(&table, duty->name);
        if (duty->due_s == 0)
            fsp_board_cell(&table, "not known yet");
        else
            fsp_board_cell_time(&table, duty->due_s, NULL);
        fsp_board_cell_begin(&table);
        if (duty->suspended)
            fsp_html_element(html, "span", "state plain", "rests");
        else
            fsp_html_element(html, "span", duty->overdue ? "state stop" : "state plain",
                    duty->overdue ? "overdue" : "open");
        fsp_board_cell_end(&table);
        fsp_board_cell(&table, duty->why);
        fsp_board_cell(&table, duty->closes);
        fsp_board_row_end(&table);
    }
    fsp_board_table_end(&table);
}

static void
doubts(struct fsp_html *html, const struct fsp_ledger *ledger)
{
    if (fsp_ledger_doubt(ledger, 0) == NULL && fsp_ledger_assumed(ledger, 0) == NULL)
        return;
    fsp_board_section(html, "doubts", "Doubts about the count");
    fsp_html_open(html, "ul");
    fsp_html_attr(html, "class", "list");
    for (size_t i = 0; fsp_ledger_doubt(ledger, i) != NULL; i++)
        fsp_html_element(html, "li", NULL, fsp_ledger_doubt(ledger, i));
    for (size_t i = 0; fsp_ledger_assumed(ledger, i) != NULL; i++) {
        fsp_html_open(html, "li");
        fsp_html_text(html, "Assumed: ");
        fsp_html_text(html, fsp_ledger_assumed(ledger, i));
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

static void
advice(struct fsp_html *html, const struct fsp_board_page *page,
        const struct fsp_fleet_rig *rig)
{
    fsp_board_section(html, "advice", "Advice on the programme");
    if (rig->n_advice == 0)
        fsp_board_para(
                html, "None: it takes %zu cuts in a row that say the same.", FSP_ADVICE_CUTS);
    fsp_html_open(html, "ul");
    fsp_html_attr(html, "class", "list");
    for (size_t i = 0; i < rig->n_advice; i++) {
        const struct fsp_advice *one = &rig->advice[i];

        fsp_html_open(html, "li");
        fsp_html_element(html, "span", "state plain", fsp_advice_text(one->kind));
        fsp_html_text(html, " ");
        fsp_html_text(html, one->text);
        if (one->followed != FSP_FOLLOWED_UNKNOWN) {
            fsp_html_text(html, " It followed ");
            fsp_html_text(html, fsp_followed_text(one->followed));
            fsp_html_text(html, ".");
        }
        fsp_html_close(html);
    }
    if (!page->viewer->open && fsp_role_may(page->viewer->role, FSP_RIGHT_INSTRUCT)) {
        char href[FSP_BOARD_LINK_MAX];

        (void)snprintf(href, sizeof(href), "/instruct?rig=%.128s", rig->name);
        fsp_html_open(html, "li");
        fsp_board_link(html, "Write an instruction to this rig", href);
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

/* --- the page -------------------------------------------------------------------------------- */

static void
contents(struct fsp_html *html)
{
    static const char *const places[][2] = {{"#now", "The line now"}, {"#flags", "Flags"},
            {"#advice", "Advice"}, {"#served", "Served since cut"}, {"#cuts", "Cuts"},
            {"#inspections", "Inspections"}, {"#wells", "By well"},
            {"#programmes", "Programmes"}, {"#strings", "Drill strings"}, {"#logs", "Logs"}};

    fsp_html_open(html, "nav");
    fsp_html_attr(html, "class", "contents");
    fsp_html_attr(html, "aria-label", "On this page");
    fsp_html_open(html, "ul");
    for (size_t i = 0; i < sizeof(places) / sizeof(places[0]); i++) {
        fsp_html_open(html, "li");
        fsp_board_link(html, places[i][1], places[i][0]);
        fsp_html_close(html);
    }
    fsp_html_close(html);
    fsp_html_close(html);
}

void
fsp_board_rig(const struct fsp_board_page *page, const struct fsp_fleet_rig *rig,
        const struct fsp_history *history, struct fsp_buf *buf)
{
    struct fsp_html html;

    fsp_html_begin(&html, buf);
    fsp_board_begin(&html, page);
    fsp_board_caution(&html);
    contents(&html);
    account(&html, page, rig);
    findings(&html, rig);
    flags(&html, page, rig);
    advice(&html, page, rig);
    duties(&html, rig->ledger);
    doubts(&html, rig->ledger);
    fsp_board_rig_past(&html, rig, history);
    fsp_board_rig_logs(&html, rig);
    fsp_board_end(&html);
    fsp_html_end(&html);
}
