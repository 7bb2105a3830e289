/* The account for a person: one screen, the answer first. */
#include <ctype.h>
#include <string.h>

#include "base/clock.h"
#include "base/text.h"
#include "line/ledger_priv.h"

#define NOTES_SHOWN 8

static void
show(struct fsp_buf *buf, const char *text)
{
    if (text != NULL)
        fsp_text_show(buf, text, strlen(text));
}

static void
answer(struct fsp_buf *buf, const char *what, enum fsp_due due, const char *why)
{
    const char *word = fsp_due_text(due);

    fsp_buf_printf(buf, "%-5s", what);
    for (; *word != 0; word++)
        fsp_buf_add_byte(buf, (uint8_t)toupper((unsigned char)*word));
    fsp_buf_add_text(buf, " - ");
    show(buf, why);
    fsp_buf_add_byte(buf, '\n');
}

static void
head(const struct fsp_ledger_view *view, struct fsp_buf *buf)
{
    char at[FSP_TIME_TEXT_LEN + 1];

    if (view->reel == NULL) {
        fsp_buf_add_text(buf, "No line hung\n");
    } else {
        const struct fsp_rope_size *size = fsp_rope_size_find(view->rope_m);

        fsp_buf_add_text(buf, "Line ");
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
        fsp_buf_add_byte(buf, '\n');
    }
    if (view->last_at_s != 0) {
        fsp_time_text(view->last_at_s, at);
        fsp_buf_printf(buf, "As recorded up to %s, %zu entries\n", at, view->entries);
    }
    fsp_buf_add_byte(buf, '\n');
}

static void
figures(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;
    enum fsp_units units = fsp_ledger_units(ledger);

    fsp_buf_add_text(buf, "\nWork     since slip ");
    fsp_say_work(buf, view->work_since_slip_j, units);
    fsp_buf_add_text(buf, ", since cut ");
    fsp_say_work(buf, view->work_since_cut_j, units);
    fsp_buf_add_text(buf, ", on this line ");
    fsp_say_work(buf, view->work_line_j, units);
    fsp_buf_add_text(buf, "\nLengths  in service ");
    fsp_say_length(buf, view->in_service_m, units);
    fsp_buf_add_text(buf, ", on the reel ");
    fsp_say_length(buf, view->on_reel_m, units);
    fsp_buf_add_text(buf, ", slipped since the cut ");
    fsp_say_length(buf, view->slipped_since_cut_m, units);
    fsp_buf_add_text(buf, "\nNext cut ");
    if (view->programme_m > 0) {
        fsp_buf_add_text(buf, "programme ");
        fsp_say_length(buf, view->programme_m, units);
        fsp_buf_printf(buf, " with %d slip%s", view->slips, view->slips == 1 ? "" : "s");
    } else {
        fsp_buf_add_text(buf, "no programme");
    }
    if (view->table_cut_m > 0) {
        fsp_buf_add_text(buf, "; table ");
        fsp_say_number(buf, view->table_laps, 2);
        fsp_buf_add_text(buf, " laps, ");
        fsp_say_length(buf, view->table_cut_m, units);
    }
    fsp_buf_add_text(buf, "\nFactor   lowest on the fast line since the cut: ");
    fsp_say_number(buf, view->min_factor > 0 ? view->min_factor : 1e30, 2);
    fsp_buf_add_text(buf, "\n");
}

static void
doubts(const struct fsp_ledger_view *view, struct fsp_buf *buf)
{
    if (view->incomplete)
        fsp_buf_add_text(buf, "Count    INCOMPLETE: work is missing from it, see the notes\n");
    if (view->estimated)
        fsp_buf_add_text(
                buf, "Count    estimated: hook loads not entered, or a line that came used\n");
    if (view->derate < 1) {
        fsp_buf_add_text(buf, "Derate   adverse conditions leave ");
        fsp_say_number(buf, 100 * view->derate, 0);
        fsp_buf_add_text(buf, " % of the goal\n");
    }
    if (view->late_entries + view->doubtful_clock + view->unreadable + view->amended > 0)
        fsp_buf_printf(buf,
                "Records  %zu late, %zu with a doubtful clock, %zu unreadable, %zu "
                "amended\n",
                view->late_entries, view->doubtful_clock, view->unreadable, view->amended);
}

static void
duties(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_duty *duty;
    char at[FSP_TIME_TEXT_LEN + 1];
    size_t i;

    for (i = 0; (duty = fsp_ledger_duty(ledger, i)) != NULL; i++) {
        fsp_buf_printf(buf, "%s%s", i == 0 ? "Duties   " : "         ", duty->name);
        if (duty->suspended) {
            fsp_buf_add_text(buf, " rests while stacked");
        } else if (duty->due_s != 0) {
            fsp_time_text(duty->due_s, at);
            fsp_buf_printf(buf, " %s %.16s", duty->overdue ? "OVERDUE since" : "by", at);
        }
        fsp_buf_add_text(buf, ": ");
        show(buf, duty->why);
        fsp_buf_add_byte(buf, '\n');
    }
}

static void
last_cut(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_cut_row *row;
    char at[FSP_TIME_TEXT_LEN + 1];

    if (ledger->view.cuts == 0)
        return;
    row = &ledger->cuts[ledger->view.cuts - 1];
    fsp_time_text(row->at_s, at);
    fsp_buf_printf(buf, "Last cut %s, ", at);
    fsp_say_length(buf, row->length_m, fsp_ledger_units(ledger));
    fsp_buf_add_text(buf, ", ");
    show(buf, row->reason);
    fsp_buf_add_text(buf, ": ");
    show(buf, row->why);
    fsp_buf_add_byte(buf, '\n');
}

static void
lists(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    size_t have = ledger->n_shown, i;
    size_t from = have > NOTES_SHOWN ? have - NOTES_SHOWN : 0;
    const char *text;

    for (i = 0; (text = fsp_ledger_assumed(ledger, i)) != NULL; i++)
        fsp_buf_printf(buf, "%s%s\n", i == 0 ? "\nAssumed\n  " : "  ", text);
    if (have > 0)
        fsp_buf_printf(buf, "\nNotes (the newest %zu of %zu)\n", have - from, have);
    for (i = from; i < have; i++) {
        fsp_buf_add_text(buf, "  ");
        show(buf, fsp_ledger_note(ledger, i));
        fsp_buf_add_byte(buf, '\n');
    }
}

void
fsp_ledger_text(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;

    head(view, buf);
    answer(buf, "CUT", view->cut_due, view->cut_due_why);
    answer(buf, "SLIP", view->slip_due, view->slip_due_why);
    if (view->reel != NULL)
        figures(ledger, buf);
    doubts(view, buf);
    duties(ledger, buf);
    last_cut(ledger, buf);
    lists(ledger, buf);
    fsp_buf_add_text(buf,
            "\nThis is the line's limit, never the rig's: line only; mast, block, anchor, "
            "drawworks and pipe\nnot checked. Inspection overrides the count. Local codes, the "
            "makers' figures and licensed practice\ncome first.\n");
}
