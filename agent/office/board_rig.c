/* One rig's page: what is due and why, findings, advice, inspections and who signed them, logs. */
#include <string.h>

#include "base/clock.h"
#include "line/say.h"
#include "office/board_priv.h"

/* --- what is due ----------------------------------------------------------------------------- */

static void
term(struct fsp_html *html, const char *name)
{
    fsp_html_element(html, "dt", NULL, name);
    fsp_html_open(html, "dd");
}

static void
due(struct fsp_html *html, const char *name, enum fsp_due due, const char *why)
{
    term(html, name);
    fsp_html_element(html, "span", fsp_board_state_class(due), fsp_due_text(due));
    if (why != NULL && why[0] != '\0')
        fsp_html_element(html, "span", "why", why);
    fsp_html_close(html);
}

static void
work(struct fsp_html *html, const char *name, bool known, double joules)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 64);
    if (known)
        fsp_say_work(&text, joules, FSP_UNITS_FIELD);
    else
        fsp_buf_add_text(&text, "unknown");
    term(html, name);
    fsp_html_text(html, fsp_buf_peek(&text));
    fsp_html_close(html);
    fsp_buf_fini(&text);
}

static void
heard(struct fsp_html *html, const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig)
{
    int64_t ago_s = fleet->as_of_s > rig->heard_s ? fleet->as_of_s - rig->heard_s : 0;
    struct fsp_buf text;

    fsp_buf_init(&text, 64);
    if (rig->heard_s == 0)
        fsp_buf_add_text(&text, "never");
    else if (ago_s < 2 * FSP_S_PER_DAY)
        fsp_buf_printf(&text, "%.1f h ago", (double)ago_s / 3600.0);
    else
        fsp_buf_printf(&text, "%lld days ago", (long long)(ago_s / FSP_S_PER_DAY));
    term(html, "Last heard");
    fsp_html_text(html, fsp_buf_peek(&text));
    fsp_html_close(html);
    fsp_buf_fini(&text);
}

static void
account(struct fsp_html *html, const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(rig->ledger);

    fsp_html_open(html, "dl");
    due(html, "Cut", view->cut_due, view->cut_due_why);
    due(html, "Slip", view->slip_due, view->slip_due_why);
    term(html, "Reel");
    fsp_html_text(html, view->reel == NULL ? "no line is hung" : view->reel);
    fsp_html_close(html);
    work(html, "Since the cut", view->reel != NULL, view->work_since_cut_j);
    work(html, "Served", view->reel != NULL, view->served_j);
    work(html, "Goal", view->goal_j > 0.0, view->goal_j);
    heard(html, fleet, rig);
    term(html, "Flags");
    fsp_board_flags(html, rig);
    fsp_html_close(html);
    fsp_html_close(html);
}

/* --- signatures ------------------------------------------------------------------------------ */

static const char *
sig_class(enum fsp_sig_state sig)
{
    switch (sig) {
    case FSP_SIG_GOOD:
        return "state good";
    case FSP_SIG_BAD:
        return "state stop";
    case FSP_SIG_OFF_ROSTER:
    case FSP_SIG_OUT_OF_DATE:
        return "state warn";
    case FSP_SIG_NONE:
        break;
    }
    return "state plain";
}

static void
sig(struct fsp_html *html, enum fsp_sig_state state)
{
    fsp_html_element(html, "span", sig_class(state), fsp_sig_state_text(state));
}

static void
findings(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    enum fsp_sig_state state;

    if (!fsp_fold_finding_sig(rig->fold, 0, &state))
        return;
    fsp_html_element(html, "h2", NULL, "Open findings");
    fsp_html_open(html, "ul");
    for (size_t i = 0; fsp_fold_finding_sig(rig->fold, i, &state); i++) {
        fsp_html_open(html, "li");
        fsp_html_text(html, fsp_ledger_finding(rig->ledger, i));
        fsp_html_text(html, " ");
        sig(html, state);
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

static void
inspection(struct fsp_html *html, const struct fsp_fold_inspection *one)
{
    const char *texts[] = {one->reel, one->scope, one->decision, one->inspector};

    fsp_html_open(html, "tr");
    fsp_board_time(html, one->at_s);
    for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++)
        fsp_html_element(html, "td", NULL, texts[i] == NULL ? "?" : texts[i]);
    fsp_html_open(html, "td");
    sig(html, one->sig);
    if (fsp_fold_void_text(one->voided) != NULL)
        fsp_html_element(html, "span", "why", fsp_fold_void_text(one->voided));
    fsp_html_close(html);
    fsp_html_open(html, "td");
    for (size_t i = 0; i < one->n_by; i++) {
        fsp_html_text(html, one->by[i].signer == NULL ? "?" : one->by[i].signer);
        fsp_html_text(html, " ");
        sig(html, one->by[i].sig);
    }
    if (one->n_by == 0)
        fsp_html_text(html, "nobody");
    fsp_html_close(html);
    fsp_html_close(html);
}

static void
inspections(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    static const struct fsp_board_column columns[] = {{"Inspected", NULL}, {"Reel", NULL},
            {"Scope", NULL}, {"Decision", NULL}, {"Inspector", NULL}, {"Signature", NULL},
            {"Countersigned by", NULL}};
    const struct fsp_fold_inspection *one;
    size_t shown = 0;
    struct fsp_buf text;

    fsp_html_element(html, "h2", NULL, "Inspections");
    if (fsp_fold_inspections(rig->fold) == 0) {
        fsp_html_element(html, "p", NULL, "No inspection has been entered.");
        return;
    }
    fsp_board_table(html, "The newest inspections, and who signed them", columns,
            sizeof(columns) / sizeof(columns[0]));
    for (; (one = fsp_fold_inspection(rig->fold, shown)) != NULL; shown++)
        inspection(html, one);
    fsp_board_table_end(html);
    fsp_buf_init(&text, 256);
    fsp_buf_printf(&text, "%zu of %zu inspections.", shown, fsp_fold_inspections(rig->fold));
    if (fsp_fold_roster(rig->fold) == 0)
        fsp_buf_add_text(&text, " No roster of inspectors is in this rig's log: nobody's "
                                "signature counts yet.");
    else
        fsp_buf_printf(&text, " Judged by version %llu of the roster in this rig's log.",
                (unsigned long long)fsp_fold_roster(rig->fold));
    fsp_html_element(html, "p", NULL, fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

/* --- advice and logs ------------------------------------------------------------------------- */

static void
advice(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    if (rig->n_advice == 0)
        return;
    fsp_html_element(html, "h2", NULL, "Advice on the programme");
    fsp_html_open(html, "ul");
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
    fsp_html_close(html);
}

static void
logs(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    static const struct fsp_board_column columns[] = {{"Log", NULL}, {"Entries", "n"},
            {"Enrolled", NULL}, {"Last heard", NULL}, {"To be looked at", NULL}};

    fsp_html_element(html, "h2", NULL, "Logs");
    fsp_board_table(html, "The rig's logs, the first one first", columns,
            sizeof(columns) / sizeof(columns[0]));
    for (size_t i = 0; i < rig->n_logs; i++) {
        const struct fsp_fleet_log *log = &rig->logs[i];
        struct fsp_buf text;

        fsp_buf_init(&text, 1024);
        fsp_chain_flag_text(&log->chain, &text);
        if (log->forks > 0)
            fsp_buf_printf(&text, "%stwo histories, both kept", text.len > 0 ? ", " : "");
        fsp_html_open(html, "tr");
        fsp_html_element(html, "td", NULL, log->log.origin);
        fsp_board_number(html, true, (double)log->size, 0);
        fsp_board_time(html, log->log.enrolled_s);
        fsp_board_time(html, log->log.heard_s);
        fsp_html_element(html, "td", NULL, text.len == 0 ? "nothing" : fsp_buf_peek(&text));
        fsp_html_close(html);
        fsp_buf_fini(&text);
    }
    fsp_board_table_end(html);
}

void
fsp_board_rig(
        const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    struct fsp_html html;

    fsp_html_begin(&html, buf);
    fsp_board_begin(&html, fleet, rig->name);
    account(&html, fleet, rig);
    findings(&html, rig);
    advice(&html, rig);
    inspections(&html, rig);
    if (rig->n_logs > 0)
        logs(&html, rig);
    fsp_board_end(&html);
    fsp_html_end(&html);
}
