#include "office/show.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "base/text.h"
#include "line/say.h"
#include "office/flags.h"
#include "office/show_priv.h"
#include "office/tables_priv.h"
#include "proof/key.h"

/* --- small pieces ---------------------------------------------------------------------------- */

static const struct fsp_ledger_view *
view_of(const struct fsp_fleet_rig *rig)
{
    return fsp_ledger_peek(rig->ledger);
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
json_flags(struct fsp_buf *buf, bool *first, const struct fsp_fleet_rig *rig)
{
    fsp_say_key(buf, first, "flag_list");
    fsp_flags_json(rig, rig->flags, rig->n_flags, buf);
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

static void
write_table(const struct fsp_tables_def *def, enum fsp_table_form form,
        const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    const struct fsp_tables_from from = {.fleet = fleet, .rig = rig};
    enum fsp_rc rc = fsp_tables_write(def, form, &from, buf, NULL);

    if (rc != FSP_OK && buf->rc == FSP_OK)
        buf->rc = rc;
}

void
fsp_show_fleet(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    write_table(&fsp_tables_fleet, FSP_TABLE_TEXT, fleet, NULL, buf);
}

void
fsp_show_fleet_csv(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    write_table(&fsp_tables_fleet, FSP_TABLE_CSV, fleet, NULL, buf);
}

/* The table's row, and what does not fit into a row. */
static void
fleet_object(const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    bool first = false;

    fsp_buf_add_byte(buf, '{');
    fsp_tables_fleet_members(rig, buf);
    json_review(buf, &first, &rig->review);
    fsp_say_key(buf, &first, "advice");
    fsp_review_advice_json(rig->advice, rig->n_advice, buf);
    fsp_buf_add_byte(buf, '}');
}

void
fsp_show_fleet_json(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    fsp_buf_add_byte(buf, '[');
    for (size_t i = 0; i < fleet->n; i++) {
        if (i > 0)
            fsp_buf_add_text(buf, ",\n ");
        fleet_object(fleet->rigs[i], buf);
    }
    fsp_buf_add_text(buf, "]\n");
}

/* --- cuts ------------------------------------------------------------------------------------ */

void
fsp_show_rig_csv(
        const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    write_table(&fsp_tables_cuts, FSP_TABLE_CSV, fleet, rig, buf);
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
        fsp_buf_add_byte(buf, '\n');
        write_table(&fsp_tables_cuts, FSP_TABLE_TEXT, fleet, rig, buf);
    }
    if (fsp_fold_inspection(rig->fold, 0) != NULL) {
        fsp_buf_add_byte(buf, '\n');
        write_table(&fsp_tables_inspections, FSP_TABLE_TEXT, fleet, rig, buf);
    }
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
    json_flags(buf, &first, rig);
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

/* What several cuts say, besides that they were early. */
static bool
of_cuts(enum fsp_flag_kind kind)
{
    return kind == FSP_FLAG_DAMAGE || kind == FSP_FLAG_WEAR_LEFT || kind == FSP_FLAG_PLANNED ||
           kind == FSP_FLAG_ERRATIC;
}

static void
say_flag(struct fsp_buf *buf, const char *name, const struct fsp_flag *flag)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 4096);
    fsp_flags_text(flag, 1, &text);
    fsp_show_line(buf, name, fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

void
fsp_show_early(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    size_t flagged = 0;

    for (size_t i = 0; i < fleet->n; i++) {
        const struct fsp_fleet_rig *rig = fleet->rigs[i];

        if (rig->review.state != FSP_REVIEW_FLAGGED)
            continue;
        fsp_buf_add_text(buf, flagged++ > 0 ? "\n" : "");
        fsp_buf_printf(buf, "%s: ", rig->name);
        for (size_t f = 0; f < rig->n_flags; f++)
            if (rig->flags[f].kind == FSP_FLAG_EARLY_WEAR)
                fsp_flags_text(&rig->flags[f], 1, buf);
        fsp_buf_add_byte(buf, '\n');
        write_table(&fsp_tables_early, FSP_TABLE_TEXT, fleet, rig, buf);
    }
    if (flagged == 0)
        fsp_buf_add_text(buf, "No rig is flagged for repeated early cuts.\n");
    for (size_t i = 0; i < fleet->n; i++)
        for (size_t f = 0; f < fleet->rigs[i]->n_flags; f++)
            if (of_cuts(fleet->rigs[i]->flags[f].kind))
                say_flag(buf, fleet->rigs[i]->name, &fleet->rigs[i]->flags[f]);
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
        json_flags(buf, &first, rig);
        json_review(buf, &first, &rig->review);
        fsp_say_key(buf, &first, "cuts");
        fsp_buf_add_byte(buf, '[');
        for (size_t c = fsp_tables_judged_from(rig); c < rig->n_cuts; c++) {
            if (!rig->cuts[c]->eligible)
                continue;
            fsp_buf_add_text(buf, cuts++ > 0 ? ",\n  " : "\n  ");
            fsp_buf_add_byte(buf, '{');
            fsp_tables_cut_members(rig, rig->cuts[c], buf);
            fsp_buf_add_byte(buf, '}');
        }
        fsp_buf_add_text(buf, "]}");
    }
    fsp_buf_add_text(buf, "]\n");
}

void
fsp_show_early_csv(const struct fsp_fleet *fleet, struct fsp_buf *buf)
{
    write_table(&fsp_tables_early, FSP_TABLE_CSV, fleet, NULL, buf);
}
