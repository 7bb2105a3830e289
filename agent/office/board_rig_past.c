/* A rig's past: service since the cut, cuts, inspections, wells, programmes, drill strings, logs. */
#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "line/say.h"
#include "office/board_rig_priv.h"

#define NOTES_SHOWN 30

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* --- served since cut ------------------------------------------------------------------------ */

static void
reach(struct fsp_html *html, const struct fsp_fleet_rig *rig, const struct fsp_history *history)
{
    char href[FSP_BOARD_LINK_MAX];

    if (history->since_s == INT64_MIN)
        return;
    (void)snprintf(href, sizeof(href), "/rig?name=%.128s&reach=whole#served", rig->name);
    fsp_html_open(html, "p");
    fsp_html_text(html, "Since the cut of ");
    fsp_board_time(html, history->since_s);
    fsp_html_text(html, ". ");
    fsp_board_link(html, "The whole history", href);
    fsp_html_text(html, " takes longer.");
    fsp_html_close(html);
}

static void
point(struct fsp_board_table *table, const struct fsp_fleet_rig *rig,
        const struct fsp_history_point *point)
{
    char href[FSP_BOARD_LINK_MAX];

    fsp_board_entry_href(rig->name, point->log, point->index, href);
    fsp_board_row(table);
    fsp_board_point(
            table, "served", (double)point->at_s, point->since_cut_j / FSP_TON_MILE_J, NULL);
    if (point->goal_j > 0.0)
        fsp_board_goal(table, point->goal_j / FSP_TON_MILE_J);
    if (point->cut)
        fsp_html_attr(table->html, "data-cut", "");
    fsp_board_cell_time(table, point->at_s, href);
    fsp_board_cell_number(table, true, point->since_cut_j / FSP_TON_MILE_J, 1, NULL);
    fsp_board_cell_number(table, point->goal_j > 0.0, point->goal_j / FSP_TON_MILE_J, 0, NULL);
    fsp_board_cell(table, point->cut ? "cut" : "last entry of the day");
    fsp_board_row_end(table);
}

static void
served(struct fsp_html *html, const struct fsp_fleet_rig *rig,
        const struct fsp_history *history)
{
    static const struct fsp_board_column columns[] = {{"Time", "t"},
            {"Served since cut, ton-miles", "n"}, {"Goal, ton-miles", "n"}, {"What", NULL}};
    static const struct fsp_board_plot plot = {.kind = "time",
            .table = "served-table",
            .label = "Service counted since the cut, with the goal in force and the cuts",
            .x_title = "Time",
            .y_title = "Served since cut, ton-miles"};
    struct fsp_board_table table = {.id = "served-table", .many = true};

    fsp_board_section(html, "served", "Served since cut");
    if (history->n_points == 0) {
        fsp_board_para(html, "No work has been entered.");
        return;
    }
    reach(html, rig, history);
    fsp_board_plot(html, &plot);
    fsp_board_table_begin(&table, html,
            "Service counted since the cut, at the last entry of each day and at each cut; "
            "the time leads to the entry",
            columns, COUNT(columns));
    for (size_t i = 0; i < history->n_points; i++)
        point(&table, rig, &history->points[i]);
    fsp_board_table_end(&table);
}

/* --- cuts ------------------------------------------------------------------------------------ */

static double
per_ft(double joules, double metres)
{
    return metres > 0.0 ? (joules / FSP_TON_MILE_J) / (metres / FSP_FT_M) : 0.0;
}

static const char *
series_of(const struct fsp_cut_row *cut)
{
    if (!cut->eligible)
        return "not judged";
    return cut->early ? "early for wear" : "judged, not early";
}

void
fsp_board_cut_row(struct fsp_board_table *table, const char *rig, const struct fsp_cut_row *cut)
{
    const bool goal = cut->goal_j > 0.0 && cut->programme_m > 0.0;
    char href[FSP_BOARD_LINK_MAX];
    char programme[FSP_BOARD_LINK_MAX];

    fsp_board_entry_href(rig, cut->log, cut->index, href);
    fsp_board_entry_href(rig, cut->program_log, cut->program_index, programme);
    fsp_board_row(table);
    if (cut->length_m > 0.0)
        fsp_board_point(table, series_of(cut), (double)cut->at_s,
                per_ft(cut->served_j, cut->length_m), NULL);
    if (cut->length_m > 0.0 && goal)
        fsp_board_goal(table, per_ft(cut->goal_j, cut->programme_m));
    fsp_board_cell_time(table, cut->at_s, href);
    fsp_board_cell(table, cut->reel);
    fsp_board_cell_number(table, true, cut->length_m / FSP_FT_M, 0, href);
    fsp_board_cell_number(table, true, cut->served_j / FSP_TON_MILE_J, 1, href);
    fsp_board_cell_number(
            table, cut->length_m > 0.0, per_ft(cut->served_j, cut->length_m), 2, href);
    fsp_board_cell_number(table, goal, per_ft(cut->goal_j, cut->programme_m), 2,
            cut->has_program ? programme : NULL);
    fsp_board_cell(table, cut->reason);
    fsp_board_cell(table, cut->place);
    fsp_board_cell(table, cut->condition);
    fsp_board_cell_begin(table);
    fsp_html_element(table->html, "span",
            cut->eligible && cut->early ? "state warn" : "state plain", series_of(cut));
    fsp_html_element(table->html, "span", "why", cut->why);
    fsp_board_cell_end(table);
    fsp_board_cell(table, cut->well);
    fsp_board_cell_begin(table);
    if (cut->has_program) {
        char text[48];

        (void)snprintf(text, sizeof(text), "entry %llu, %s goal",
                (unsigned long long)cut->program_index,
                cut->goal_kind == NULL ? "no" : cut->goal_kind);
        fsp_board_link(table->html, text, programme);
    } else {
        fsp_html_text(table->html, "none");
    }
    fsp_board_cell_end(table);
    fsp_board_row_end(table);
}

void
fsp_board_cuts_begin(struct fsp_board_table *table, struct fsp_html *html, const char *caption)
{
    static const struct fsp_board_column columns[] = {{"Cut", "t"}, {"Reel", NULL},
            {"Length, ft", "n"}, {"Served, ton-miles", "n"}, {"Served a foot", "n"},
            {"Goal a foot", "n"}, {"Reason", NULL}, {"Place", NULL},
            {"Condition of the line cut", NULL}, {"Judged", NULL}, {"Well", NULL},
            {"Programme in force", NULL}};

    fsp_board_table_begin(table, html, caption, columns, COUNT(columns));
}

static void
cuts(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    static const struct fsp_board_plot plot = {.kind = "time",
            .table = "cuts-table",
            .label = "Ton-miles served a foot at each cut, with the goal a foot",
            .x_title = "Time",
            .y_title = "Ton-miles a foot"};
    struct fsp_board_table table = {.id = "cuts-table", .many = true};

    fsp_board_section(html, "cuts", "Cuts");
    if (rig->n_cuts == 0) {
        fsp_board_para(html, "No cut has been entered.");
        return;
    }
    fsp_board_plot(html, &plot);
    fsp_board_cuts_begin(&table, html,
            "Every cut, the newest first; each number leads to the entry it comes from");
    for (size_t i = rig->n_cuts; i-- > 0;)
        fsp_board_cut_row(&table, rig->name, rig->cuts[i]);
    fsp_board_table_end(&table);
}

/* --- inspections ----------------------------------------------------------------------------- */

void
fsp_board_inspection_cells(
        struct fsp_board_table *table, const char *rig, const struct fsp_fold_inspection *one)
{
    const char *texts[] = {one->reel, one->scope, one->decision, one->inspector};
    char href[FSP_BOARD_LINK_MAX];

    fsp_board_entry_href(rig, one->log, one->index, href);
    fsp_board_cell_time(table, one->at_s, href);
    for (size_t i = 0; i < COUNT(texts); i++)
        fsp_board_cell(table, texts[i] == NULL ? "?" : texts[i]);
    fsp_board_cell_begin(table);
    fsp_board_sig(table->html, one->sig);
    if (fsp_fold_void_text(one->voided) != NULL)
        fsp_html_element(table->html, "span", "why", fsp_fold_void_text(one->voided));
    fsp_board_cell_end(table);
    fsp_board_cell_begin(table);
    for (size_t i = 0; i < one->n_by; i++) {
        fsp_html_text(table->html, one->by[i].signer == NULL ? "?" : one->by[i].signer);
        fsp_html_text(table->html, " ");
        fsp_board_sig(table->html, one->by[i].sig);
    }
    if (one->n_by == 0)
        fsp_html_text(table->html, "nobody");
    fsp_board_cell_end(table);
}

static void
inspections(struct fsp_html *html, const struct fsp_fleet_rig *rig, const struct fsp_fold *fold)
{
    static const struct fsp_board_column columns[] = {{"Inspected", "t"}, {"Reel", NULL},
            {"Scope", NULL}, {"Decision", NULL}, {"Inspector", NULL}, {"Signature", NULL},
            {"Countersigned by", NULL}};
    struct fsp_board_table table = {.cards = false};
    const struct fsp_fold_inspection *one;
    char href[FSP_BOARD_LINK_MAX];
    size_t shown = 0;

    fsp_board_section(html, "inspections", "Inspections");
    if (fsp_fold_inspections(fold) == 0) {
        fsp_board_para(html, "No inspection has been entered.");
        return;
    }
    fsp_board_table_begin(&table, html, "The newest inspections, and who signed them", columns,
            COUNT(columns));
    for (; (one = fsp_fold_inspection(fold, shown)) != NULL; shown++) {
        fsp_board_row(&table);
        fsp_board_inspection_cells(&table, rig->name, one);
        fsp_board_row_end(&table);
    }
    fsp_board_table_end(&table);
    if (fsp_fold_roster(fold) == 0)
        fsp_board_para(html,
                "%zu of %zu inspections. No roster of inspectors is in this rig's log: "
                "nobody's signature counts yet.",
                shown, fsp_fold_inspections(fold));
    else
        fsp_board_para(html,
                "%zu of %zu inspections, judged by version %llu of the roster in this rig's "
                "log.",
                shown, fsp_fold_inspections(fold), (unsigned long long)fsp_fold_roster(fold));
    (void)snprintf(href, sizeof(href), "/inspections?rig=%.128s", rig->name);
    fsp_html_open(html, "p");
    fsp_board_link(html, "The register of this rig", href);
    fsp_html_close(html);
}

/* --- wells, programmes, drill strings -------------------------------------------------------- */

static void
wells(struct fsp_html *html, const struct fsp_history *history)
{
    static const struct fsp_board_column columns[] = {{"Well", NULL}, {"Formation", NULL},
            {"From", "t"}, {"To", "t"}, {"Entries of work", "n"}, {"Work, ton-miles", "n"},
            {"Served, ton-miles", "n"}, {"Cuts", "n"}, {"Cut, ft", "n"}};
    struct fsp_board_table table = {.cards = false};

    fsp_board_section(html, "wells", "By well");
    if (history->n_wells == 0) {
        fsp_board_para(html, "No work has been entered.");
        return;
    }
    fsp_board_table_begin(
            &table, html, "Work, service and cuts by well", columns, COUNT(columns));
    for (size_t i = 0; i < history->n_wells; i++) {
        const struct fsp_history_well *well = &history->wells[i];

        fsp_board_row(&table);
        fsp_board_cell(&table, well->name == NULL ? "not given" : well->name);
        fsp_board_cell(&table, well->formation);
        fsp_board_cell_time(&table, well->from_s, NULL);
        fsp_board_cell_time(&table, well->to_s, NULL);
        fsp_board_cell_number(&table, true, (double)well->entries, 0, NULL);
        fsp_board_cell_number(&table, true, well->work_j / FSP_TON_MILE_J, 0, NULL);
        fsp_board_cell_number(&table, true, well->served_j / FSP_TON_MILE_J, 0, NULL);
        fsp_board_cell_number(&table, true, (double)well->cuts, 0, NULL);
        fsp_board_cell_number(&table, true, well->cut_m / FSP_FT_M, 0, NULL);
        fsp_board_row_end(&table);
    }
    fsp_board_table_end(&table);
}

static void
entries(struct fsp_board_table *table, const struct fsp_fleet_rig *rig,
        const struct fsp_history_entry *list, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        char href[FSP_BOARD_LINK_MAX];

        fsp_board_entry_href(rig->name, list[i].log, list[i].index, href);
        fsp_board_row(table);
        fsp_board_cell_time(table, list[i].at_s, href);
        for (size_t k = 0; table->at < table->n && k < FSP_HISTORY_TEXTS; k++)
            fsp_board_cell(table, list[i].texts[k]);
        if (table->at < table->n)
            fsp_board_cell_number(table, true, (double)list[i].cuts, 0, NULL);
        fsp_board_row_end(table);
    }
}

static void
programmes(struct fsp_html *html, const struct fsp_fleet_rig *rig,
        const struct fsp_history *history)
{
    static const struct fsp_board_column columns[] = {{"From", "t"}, {"Cut", "n"},
            {"First goal", "n"}, {"Later goal", "n"}, {"Slips between cuts", "n"},
            {"Basis", NULL}, {"Approved by", NULL}, {"Credit above 100 %", NULL},
            {"Cuts under it", "n"}};
    struct fsp_board_table table = {.cards = false};

    fsp_board_section(html, "programmes", "Programmes");
    if (history->n_programs == 0) {
        fsp_board_para(html, "No programme has been entered: no goal is approved.");
        return;
    }
    fsp_board_table_begin(
            &table, html, "Programmes, as entered, the oldest first", columns, COUNT(columns));
    entries(&table, rig, history->programs, history->n_programs);
    fsp_board_table_end(&table);
}

static void
strings(struct fsp_html *html, const struct fsp_fleet_rig *rig,
        const struct fsp_history *history)
{
    static const struct fsp_board_column columns[] = {{"From", "t"}, {"Pipe", "n"},
            {"Stand", "n"}, {"BHA weight", "n"}, {"BHA length", "n"}, {"Mud", "n"}};
    struct fsp_board_table table = {.cards = false};

    fsp_board_section(html, "strings", "Drill strings");
    if (history->n_strings == 0) {
        fsp_board_para(html, "No drill string was entered in this time.");
        return;
    }
    fsp_board_table_begin(&table, html, "Drill string and mud from a time on, as entered",
            columns, COUNT(columns));
    entries(&table, rig, history->strings, history->n_strings);
    fsp_board_table_end(&table);
}

static void
notes(struct fsp_html *html, const struct fsp_ledger *ledger)
{
    size_t n = 0;

    while (fsp_ledger_note(ledger, n) != NULL)
        n++;
    if (n == 0)
        return;
    fsp_board_section(html, "notes", "Notes of the account");
    fsp_html_open(html, "ul");
    fsp_html_attr(html, "class", "list");
    for (size_t i = n > NOTES_SHOWN ? n - NOTES_SHOWN : 0; i < n; i++)
        fsp_html_element(html, "li", NULL, fsp_ledger_note(ledger, i));
    fsp_html_close(html);
    if (n > NOTES_SHOWN)
        fsp_board_para(html, "The newest %d of %zu.", NOTES_SHOWN, n);
}

void
fsp_board_rig_past(struct fsp_html *html, const struct fsp_fleet_rig *rig,
        const struct fsp_history *history)
{
    if (history != NULL)
        served(html, rig, history);
    cuts(html, rig);
    inspections(html, rig, history != NULL ? history->fold : rig->fold);
    if (history != NULL) {
        wells(html, history);
        programmes(html, rig, history);
        strings(html, rig, history);
    }
    notes(html, rig->ledger);
}

/* --- logs ------------------------------------------------------------------------------------ */

void
fsp_board_rig_logs(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    static const struct fsp_board_column columns[] = {{"Log", NULL}, {"Entries", "n"},
            {"Enrolled", "t"}, {"Last heard", "t"}, {"To be looked at", NULL}};
    struct fsp_board_table table = {.cards = false};

    fsp_board_section(html, "logs", "Logs");
    if (rig->n_logs == 0) {
        fsp_board_para(html, "None yet.");
        return;
    }
    fsp_board_table_begin(
            &table, html, "The rig's logs, the first one first", columns, COUNT(columns));
    for (size_t i = 0; i < rig->n_logs; i++) {
        const struct fsp_fleet_log *log = &rig->logs[i];
        char href[FSP_BOARD_LINK_MAX];
        struct fsp_buf text;

        fsp_buf_init(&text, 1024);
        fsp_chain_flag_text(&log->chain, &text);
        if (log->forks > 0)
            fsp_buf_printf(&text, "%stwo histories, both kept", text.len > 0 ? ", " : "");
        fsp_board_entry_href(rig->name, (uint32_t)i, log->size > 0 ? log->size - 1 : 0, href);
        fsp_board_row(&table);
        fsp_board_cell(&table, log->log.origin);
        fsp_board_cell_number(&table, true, (double)log->size, 0, log->size > 0 ? href : NULL);
        fsp_board_cell_time(&table, log->log.enrolled_s, NULL);
        fsp_board_cell_time(&table, log->log.heard_s, NULL);
        fsp_board_cell(&table, text.len == 0 ? "nothing" : fsp_buf_peek(&text));
        fsp_board_row_end(&table);
        fsp_buf_fini(&text);
    }
    fsp_board_table_end(&table);
}
