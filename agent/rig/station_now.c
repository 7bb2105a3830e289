/* The line now: what is due first, then the next cut, what the line can lift, and the rest. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "line/duty.h"
#include "line/forecast.h"
#include "line/hoist.h"
#include "line/nextcut.h"
#include "line/say.h"
#include "record/quantity.h"
#include "rig/station_priv.h"
#include "rig/word.h"

#define TEXT_MAX ((size_t)16384)

static const char *
due_class(enum fsp_due due)
{
    switch (due) {
    case FSP_DUE_OUT_OF_SERVICE:
    case FSP_DUE_OVERDUE:
        return "state stop";
    case FSP_DUE_NOW:
    case FSP_DUE_SOON:
        return "state warn";
    case FSP_DUE_NOT_YET:
        return "state good";
    case FSP_DUE_UNKNOWN:
        break;
    }
    return "state plain";
}

static void
state(struct fsp_visit *visit, const char *what, enum fsp_due due, const char *why)
{
    struct fsp_html *html = &visit->html;

    fsp_html_open(html, "p");
    fsp_html_attr(html, "class", due_class(due));
    fsp_html_text(html, what);
    fsp_html_text(html, fsp_due_text(due));
    if (why != NULL && why[0] != '\0')
        fsp_html_element(html, "small", NULL, why);
    fsp_html_close(html);
}

static void
card(struct fsp_visit *visit, const char *title)
{
    fsp_html_open(&visit->html, "section");
    fsp_html_attr(&visit->html, "class", "card");
    fsp_html_element(&visit->html, "h2", NULL, title);
}

/* A value as line/say.h says it. */
typedef void say_value(struct fsp_buf *buf, double si, enum fsp_units units);

static void
value_fact(struct fsp_visit *visit, const char *what, say_value *say, double si)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 64);
    say(&text, si, fsp_visit_units(visit));
    fsp_visit_fact(visit, what, fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

static void
length_fact(struct fsp_visit *visit, const char *what, double metres)
{
    value_fact(visit, what, fsp_say_length, metres);
}

static void
work_fact(struct fsp_visit *visit, const char *what, double joules)
{
    value_fact(visit, what, fsp_say_work, joules);
}

static void
load_fact(struct fsp_visit *visit, const char *what, double newtons)
{
    value_fact(visit, what, fsp_say_load, newtons);
}

/* --- service and line ------------------------------------------------------------------------- */

static void
served(struct fsp_visit *visit)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(visit->ledger);
    struct fsp_buf text;

    card(visit, "Service since the cut");
    fsp_buf_init(&text, 256);
    if (view->goal_j > 0) {
        double percent = 100.0 * view->served_j / view->goal_j;

        fsp_say_number(&text, percent, 1);
        fsp_buf_add_text(&text, " % of the goal");
        fsp_html_element(&visit->html, "p", "big", fsp_buf_peek(&text));
        fsp_buf_reset(&text);
        fsp_buf_printf(&text, "%.1f", percent < 100.0 ? percent : 100.0);
        fsp_html_open(&visit->html, "progress");
        fsp_html_attr(&visit->html, "max", "100");
        fsp_html_attr(&visit->html, "value", fsp_buf_peek(&text));
        fsp_html_attr(&visit->html, "aria-hidden", "true");
        fsp_html_close(&visit->html);
    } else {
        fsp_html_element(&visit->html, "p", "big", "No approved goal");
    }
    fsp_html_open(&visit->html, "dl");
    work_fact(visit, "Service counted", view->served_j);
    if (view->goal_j > 0)
        work_fact(visit, "Goal", view->goal_j);
    else if (view->suggested_j > 0)
        work_fact(visit, "A suggestion, not approved", view->suggested_j);
    work_fact(visit, "Work since the cut", view->work_since_cut_j);
    work_fact(visit, "Work since the slip", view->work_since_slip_j);
    if (view->min_factor > 0) {
        fsp_buf_reset(&text);
        fsp_say_number(&text, view->min_factor, 2);
        fsp_visit_fact(visit, "Lowest design factor since the cut", fsp_buf_peek(&text));
    }
    fsp_html_close(&visit->html);
    fsp_html_close(&visit->html);
    fsp_buf_fini(&text);
}

static void
lengths(struct fsp_visit *visit)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(visit->ledger);
    char lines[32];

    card(visit, "The line");
    if (view->reel == NULL) {
        fsp_html_element(&visit->html, "p", NULL, "No line hangs by the record.");
        fsp_html_close(&visit->html);
        return;
    }
    (void)snprintf(lines, sizeof(lines), "%d", view->lines);
    fsp_html_open(&visit->html, "dl");
    fsp_visit_fact(visit, "Reel", view->reel);
    fsp_visit_fact(visit, "Grade", view->grade == NULL ? "not known" : view->grade);
    fsp_visit_fact(visit, "Lines strung", lines);
    length_fact(visit, "In service", view->in_service_m);
    length_fact(visit, "On the reel", view->on_reel_m);
    length_fact(visit, "Slipped since the cut", view->slipped_since_cut_m);
    fsp_html_close(&visit->html);
    fsp_html_close(&visit->html);
}

/* --- the next cut ----------------------------------------------------------------------------- */

static void
next_best(struct fsp_visit *visit, const struct fsp_next_cut *next)
{
    const struct fsp_candidate *best = &next->list[0];
    struct fsp_buf text;

    fsp_buf_init(&text, 256);
    fsp_say_laps(&text, best->laps);
    fsp_buf_add_text(&text, " laps, ");
    fsp_say_length(&text, best->cut_m, fsp_visit_units(visit));
    fsp_html_element(&visit->html, "p", "big", fsp_buf_peek(&text));
    fsp_html_open(&visit->html, "dl");
    if (best->moves > 0) {
        fsp_buf_reset(&text);
        fsp_buf_printf(&text, "%d of ", best->moves);
        fsp_say_length(&text, best->slip_m, fsp_visit_units(visit));
        fsp_visit_fact(visit, "Slips until then", fsp_buf_peek(&text));
    } else {
        fsp_visit_fact(visit, "Slips until then", "none");
    }
    length_fact(visit, "Mark on the tape", best->cut_m);
    fsp_html_close(&visit->html);
    fsp_buf_fini(&text);
}

/* What the geometry needs is asked for once; the table's length stands until then. */
static void
next_cut(struct fsp_visit *visit)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(visit->ledger);
    struct fsp_next_cut *next = fsp_mem_array(1, sizeof(*next));
    struct fsp_buf assumed;
    struct fsp_buf text;

    card(visit, "Next cut");
    fsp_buf_init(&assumed, TEXT_MAX);
    fsp_buf_init(&text, TEXT_MAX);
    if (next != NULL)
        fsp_ledger_next_cut(visit->ledger, next, &assumed);
    if (next != NULL && next->n > 0) {
        next_best(visit, next);
    } else if (view->table_cut_m > 0) {
        fsp_say_laps(&text, view->table_laps);
        fsp_buf_add_text(&text, " laps, ");
        fsp_say_length(&text, view->table_cut_m, fsp_visit_units(visit));
        fsp_html_element(&visit->html, "p", "big", fsp_buf_peek(&text));
        fsp_html_element(&visit->html, "p", "dim", "by the table for mast and drum");
    } else {
        fsp_html_element(&visit->html, "p", "big", "not known");
    }
    fsp_buf_reset(&text);
    fsp_ledger_next_cut_text(visit->ledger, &text);
    if (text.len > 0)
        fsp_visit_lines(visit, fsp_buf_peek(&text), text.len);
    fsp_html_element(&visit->html, "p", "dim",
            "Check laps against the tape. Keep the dead wraps that the drum's maker asks for.");
    fsp_html_close(&visit->html);
    fsp_buf_fini(&text);
    fsp_buf_fini(&assumed);
    free(next);
}

/* --- what the line can lift ------------------------------------------------------------------- */

static void
rating(struct fsp_visit *visit, const struct fsp_ledger_view *view)
{
    struct fsp_buf text;

    if (view->lowest_rating == NULL) {
        fsp_html_element(&visit->html, "p", NULL,
                "line only; mast, block, anchor, drawworks and pipe not checked");
        return;
    }
    fsp_buf_init(&text, 256);
    fsp_buf_printf(&text, "Lowest rating given: %s, ", view->lowest_rating);
    fsp_say_load(&text, view->lowest_rating_n, fsp_visit_units(visit));
    fsp_buf_add_text(&text, " on the hook with this string-up");
    fsp_html_element(&visit->html, "p", NULL, fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

static void
lift(struct fsp_visit *visit)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(visit->ledger);

    card(visit, "Hook load by the line alone");
    if (view->findings > 0) {
        fsp_html_element(&visit->html, "p", "big", "No number: a finding is open");
    } else if (!(view->load_at_3_n > 0)) {
        fsp_html_element(&visit->html, "p", "big", "not known");
    } else {
        fsp_html_open(&visit->html, "dl");
        load_fact(visit, "Design factor 5, usual", view->load_at_5_n);
        load_fact(visit, "Design factor 3, least for drilling", view->load_at_3_n);
        fsp_html_close(&visit->html);
        fsp_html_open(&visit->html, "details");
        fsp_html_element(&visit->html, "summary", NULL, "Setting casing, stuck pipe");
        fsp_html_open(&visit->html, "dl");
        load_fact(visit, "Design factor 2",
                view->load_at_3_n * FSP_FACTOR_DRILLING / FSP_FACTOR_RARE);
        fsp_html_close(&visit->html);
        fsp_html_element(&visit->html, "p", NULL,
                "The toolpusher decides, the floor is cleared, the line is inspected after.");
        fsp_html_close(&visit->html);
    }
    rating(visit, view);
    fsp_html_close(&visit->html);
}

/* --- what to see to --------------------------------------------------------------------------- */

typedef const char *each_line(const struct fsp_ledger *ledger, size_t i);

static void
list(struct fsp_visit *visit, const char *title, each_line *line)
{
    const char *text = line(visit->ledger, 0);

    if (text == NULL)
        return;
    fsp_html_element(&visit->html, "h3", NULL, title);
    fsp_html_open(&visit->html, "ul");
    for (size_t i = 0; (text = line(visit->ledger, i)) != NULL; i++)
        fsp_html_element(&visit->html, "li", NULL, text);
    fsp_html_close(&visit->html);
}

static void
duties(struct fsp_visit *visit)
{
    const struct fsp_duty *duty = fsp_ledger_duty(visit->ledger, 0);
    struct fsp_buf text;

    if (duty == NULL)
        return;
    fsp_buf_init(&text, 1024);
    fsp_html_element(&visit->html, "h3", NULL, "Duties");
    fsp_html_open(&visit->html, "ul");
    for (size_t i = 0; (duty = fsp_ledger_duty(visit->ledger, i)) != NULL; i++) {
        fsp_buf_reset(&text);
        fsp_buf_printf(&text, "%s", duty->name);
        if (duty->suspended) {
            fsp_buf_add_text(&text, ", rests while the rig is stacked");
        } else if (duty->due_s != 0) {
            fsp_buf_add_text(&text, duty->overdue ? ", was due " : ", due ");
            fsp_visit_time(visit, duty->due_s, &text);
        }
        fsp_buf_printf(&text, ": %s", duty->why);
        fsp_html_element(
                &visit->html, "li", duty->overdue ? "fault" : NULL, fsp_buf_peek(&text));
    }
    fsp_html_close(&visit->html);
    fsp_buf_fini(&text);
}

static const char *
first_notes(const struct fsp_ledger *ledger, size_t i)
{
    enum {
        SHOWN = 12
    }; /* the newest */
    size_t n = 0;

    while (fsp_ledger_note(ledger, n) != NULL)
        n++;
    return fsp_ledger_note(ledger, n > SHOWN ? n - SHOWN + i : i);
}

static void
see_to(struct fsp_visit *visit)
{
    card(visit, "To see to");
    list(visit, "Findings open", fsp_ledger_finding);
    duties(visit);
    list(visit, "Doubts about the count", fsp_ledger_doubt);
    list(visit, "Notes", first_notes);
    list(visit, "Taken for what was not given", fsp_ledger_assumed);
    fsp_html_close(&visit->html);
}

/* --- when, and the link ----------------------------------------------------------------------- */

static void
forecast(struct fsp_visit *visit)
{
    const struct fsp_forecast *seen = fsp_ledger_forecast(visit->ledger);
    struct fsp_buf text;

    card(visit, "When");
    fsp_buf_init(&text, 128);
    if (!seen->known) {
        fsp_html_element(&visit->html, "p", NULL, seen->why);
    } else {
        fsp_html_open(&visit->html, "dl");
        fsp_visit_time(visit, seen->cut.likely_s, &text);
        fsp_visit_fact(visit, "Cut at the recent pace", fsp_buf_peek(&text));
        fsp_buf_reset(&text);
        fsp_visit_time(visit, seen->slip.likely_s, &text);
        fsp_visit_fact(visit, "Slip", fsp_buf_peek(&text));
        if (seen->cuts_left >= 0) {
            fsp_buf_reset(&text);
            fsp_buf_printf(&text, "%d", seen->cuts_left);
            fsp_visit_fact(visit, "Whole cuts on the reel", fsp_buf_peek(&text));
        }
        fsp_html_close(&visit->html);
        fsp_html_element(&visit->html, "p", "dim", "An estimate, never more.");
    }
    fsp_html_close(&visit->html);
    fsp_buf_fini(&text);
}

static void
link_card(struct fsp_visit *visit)
{
    struct fsp_journal_progress progress = {.size = 0};
    struct fsp_linkstate link = {.day = 0};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf text;

    card(visit, "The link");
    fsp_buf_init(&text, TEXT_MAX);
    if (fsp_journal_progress(visit->journal, &progress, &err) != FSP_OK ||
            fsp_linkstate_read(visit->journal, &link, &err) != FSP_OK) {
        fsp_html_element(&visit->html, "p", "fault", err.text);
    } else {
        const uint64_t pending = progress.size - progress.held + progress.older;

        fsp_html_open(&visit->html, "dl");
        fsp_buf_printf(&text, "%" PRIu64, pending);
        fsp_visit_fact(visit, "Entries the office lacks", fsp_buf_peek(&text));
        if (progress.has_oldest && visit->now_s > progress.oldest_noted_s) {
            fsp_buf_reset(&text);
            fsp_say_number(&text, (double)(visit->now_s - progress.oldest_noted_s) / 3600.0, 1);
            fsp_buf_add_text(&text, " h");
            fsp_visit_fact(visit, "The oldest waits", fsp_buf_peek(&text));
        }
        fsp_buf_reset(&text);
        fsp_visit_time(visit, progress.receipt_time_s, &text);
        fsp_visit_fact(visit, "Last receipt", fsp_buf_peek(&text));
        fsp_html_close(&visit->html);
        fsp_buf_reset(&text);
        fsp_linkstate_text(&link, &visit->station->about.budget, visit->now_s, &text);
        if (text.len > 0)
            fsp_visit_lines(visit, fsp_buf_peek(&text), text.len);
    }
    fsp_html_close(&visit->html);
    fsp_buf_fini(&text);
}

/* --- the office's word ------------------------------------------------------------------------ */

static void
word(struct fsp_visit *visit, const struct fsp_word_entry *entry)
{
    struct fsp_html *html = &visit->html;
    char text[96];

    (void)snprintf(text, sizeof(text), "Of the office, entry %" PRIu64 ": %s", entry->index,
            fsp_instruction_about_text(entry->instruction.about));
    fsp_html_open(html, "section");
    fsp_html_attr(html, "class", "card");
    fsp_html_element(html, "h2", NULL, text);
    fsp_visit_lines(visit, entry->instruction.body, entry->instruction.body_len);
    (void)snprintf(text, sizeof(text), "/enter/done?entry=%" PRIu64, entry->index);
    fsp_html_open(html, "a");
    fsp_html_attr(html, "href", text);
    fsp_html_text(html, "Answer it");
    fsp_html_close(html);
    fsp_html_close(html);
}

static void
words(struct fsp_visit *visit)
{
    struct fsp_word_entry entry = {.ordinal = -1};
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_buf note;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    while (fsp_word_next(visit->journal, &entry, &note, &err) == FSP_OK)
        if (entry.waits)
            word(visit, &entry);
    fsp_buf_fini(&note);
}

void
fsp_station_now(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer)
{
    struct fsp_visit visit;

    if (fsp_visit_begin(&visit, ctx, request, answer, FSP_STATION_ACCOUNT)) {
        const struct fsp_ledger_view *view = fsp_ledger_peek(visit.ledger);

        fsp_visit_page(&visit, "The line now", "/");
        state(&visit, "Cut: ", view->cut_due, view->cut_due_why);
        state(&visit, "Slip: ", view->slip_due, view->slip_due_why);
        words(&visit);
        fsp_html_open(&visit.html, "div");
        fsp_html_attr(&visit.html, "class", "cards");
        served(&visit);
        next_cut(&visit);
        lift(&visit);
        lengths(&visit);
        see_to(&visit);
        forecast(&visit);
        link_card(&visit);
        fsp_html_close(&visit.html);
        fsp_visit_page_end(&visit);
    }
    fsp_visit_end(&visit);
}
