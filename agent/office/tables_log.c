/* Tables of what came and how: inspections with their signatures, links, logs, instructions. */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "office/instruct.h"
#include "office/tables_priv.h"
#include "record/sigstate.h"

#define COUNT_OF(array) (sizeof(array) / sizeof((array)[0]))

/* --- inspections ----------------------------------------------------------------------------- */

static const struct fsp_column inspection_columns[] = {
        {"RIG", "rig", FSP_CELL_TEXT, 0, NULL, "the rig's name"},
        {"INSPECTED", "at", FSP_CELL_TIME, 0, NULL, "when the line was examined"},
        {NULL, "log", FSP_CELL_COUNT, 0, NULL,
                "the rig's log that holds the entry, in the order of `logs`, from 0"},
        {NULL, "index", FSP_CELL_COUNT, 0, NULL, "the entry's number in that log"},
        {"REEL", "reel", FSP_CELL_TEXT, 0, NULL, "the line that was examined"},
        {"SCOPE", "scope", FSP_CELL_TEXT, 0, NULL,
                "tour, monthly, slip-cut, after-event or before-use"},
        {"DECISION", "decision", FSP_CELL_TEXT, 0, NULL,
                "run, watch, slip, cut, out-of-service or replace"},
        {"INSPECTOR", "inspector", FSP_CELL_TEXT, 0, NULL, "the name entered"},
        {"SIGNATURE", "signature", FSP_CELL_TEXT, 0, NULL,
                "state of the inspector's signature by the roster"},
        {"COUNTERSIGNED BY", "countersigned_by", FSP_CELL_TEXT, 0, NULL,
                "name and state of each countersignature, with a semicolon between"},
        {"VOID", "void", FSP_CELL_TEXT, 0, NULL,
                "voided, or disputed: voided without a countersignature, it still counts"},
};

/* "b-fell (signed); …" */
static void
countersigned(const struct fsp_fold_inspection *one, struct fsp_buf *buf)
{
    for (size_t i = 0; i < one->n_by; i++)
        fsp_buf_printf(buf, "%s%s (%s)", i > 0 ? "; " : "",
                one->by[i].signer == NULL ? "?" : one->by[i].signer,
                fsp_sig_state_text(one->by[i].sig));
}

static enum fsp_rc
inspection_rows(const struct fsp_tables_from *from, const struct fsp_fleet_rig *rig,
        struct fsp_table *table, struct fsp_err *err)
{
    const struct fsp_fold_inspection *one;

    (void)from;
    (void)err;
    for (size_t i = 0; (one = fsp_fold_inspection(rig->fold, i)) != NULL; i++) {
        struct fsp_buf by;

        fsp_buf_init(&by, 65536);
        countersigned(one, &by);
        fsp_table_text(table, "rig", rig->name);
        fsp_table_time(table, "at", one->at_s);
        fsp_table_count(table, "log", true, one->log);
        fsp_table_count(table, "index", true, one->index);
        fsp_table_text(table, "reel", one->reel);
        fsp_table_text(table, "scope", one->scope);
        fsp_table_text(table, "decision", one->decision);
        fsp_table_text(table, "inspector", one->inspector);
        fsp_table_text(table, "signature", fsp_sig_state_text(one->sig));
        fsp_table_text(table, "countersigned_by", by.len == 0 ? NULL : fsp_buf_peek(&by));
        fsp_table_text(table, "void", fsp_fold_void_text(one->voided));
        fsp_buf_fini(&by);
    }
    return FSP_OK;
}

static enum fsp_rc
inspection_fill(
        const struct fsp_tables_from *from, struct fsp_table *table, struct fsp_err *err)
{
    return fsp_tables_each(from, inspection_rows, table, err);
}

const struct fsp_tables_def fsp_tables_inspections = {.name = "inspections",
        .what = "Inspections with the state of their signatures, the newest of a rig first",
        .columns = inspection_columns,
        .n = COUNT_OF(inspection_columns),
        .inspections = true,
        .of_one = true,
        .fill = inspection_fill};

/* --- links ----------------------------------------------------------------------------------- */

static const struct fsp_column link_columns[] = {
        {"RIG", "rig", FSP_CELL_TEXT, 0, NULL, "the rig's name"},
        {"LAST HEARD", "last_heard", FSP_CELL_TIME, 0, NULL,
                "when the office last cosigned a head of the rig"},
        {"HOURS AGO", "heard_hours", FSP_CELL_NUMBER, 1, "h",
                "from then to the time that the table is of"},
        {"LAST RECORD", "last_record", FSP_CELL_TIME, 0, NULL,
                "when the newest record says that it happened"},
        {NULL, "record_hours", FSP_CELL_NUMBER, 1, "h",
                "from then to the time that the table is of"},
        {"STATE", "rig_state", FSP_CELL_TEXT, 0, NULL,
                "working, moving, stacked, …: a stacked rig may be quiet"},
        {"LOGS", "logs", FSP_CELL_COUNT, 0, NULL, "logs enrolled"},
        {"ENTRIES", "entries", FSP_CELL_COUNT, 0, NULL, "entries held, of all logs"},
        {"UNREADABLE", "unreadable", FSP_CELL_COUNT, 0, NULL, "of them, not readable here"},
        {NULL, "late_entries", FSP_CELL_COUNT, 0, NULL,
                "entered more than 24 h after they happened"},
        {NULL, "doubtful_clock", FSP_CELL_COUNT, 0, NULL,
                "entries whose rig clock stood behind one before"},
        {"FORKS", "forks", FSP_CELL_COUNT, 0, NULL, "heads kept that contradict a log"},
        {NULL, "open_forks", FSP_CELL_COUNT, 0, NULL,
                "of them, of logs that no renewal closed"},
        {"RENEWALS OPEN", "renewals_open", FSP_CELL_COUNT, 0, NULL,
                "renewals that a keeper should look at"},
};

static void
hours(struct fsp_table *table, const char *name, int64_t as_of_s, int64_t at_s)
{
    fsp_table_number(table, name, at_s != 0, (double)(as_of_s - at_s) / 3600.0);
}

static enum fsp_rc
link_row(const struct fsp_tables_from *from, const struct fsp_fleet_rig *rig,
        struct fsp_table *table, struct fsp_err *err)
{
    const struct fsp_ledger_view *view = fsp_ledger_peek(rig->ledger);
    int64_t as_of_s = from->fleet->as_of_s;

    (void)err;
    fsp_table_text(table, "rig", rig->name);
    fsp_table_time(table, "last_heard", rig->heard_s);
    hours(table, "heard_hours", as_of_s, rig->heard_s);
    fsp_table_time(table, "last_record", view->last_at_s);
    hours(table, "record_hours", as_of_s, view->last_at_s);
    fsp_table_text(table, "rig_state", view->rig_state);
    fsp_table_count(table, "logs", true, rig->n_logs);
    fsp_table_count(table, "entries", true, rig->entries);
    fsp_table_count(table, "unreadable", true, rig->unreadable);
    fsp_table_count(table, "late_entries", true, view->late_entries);
    fsp_table_count(table, "doubtful_clock", true, view->doubtful_clock);
    fsp_table_count(table, "forks", true, rig->forks);
    fsp_table_count(table, "open_forks", true, rig->open_forks);
    fsp_table_count(table, "renewals_open", true, rig->renewals);
    return FSP_OK;
}

static enum fsp_rc
link_fill(const struct fsp_tables_from *from, struct fsp_table *table, struct fsp_err *err)
{
    return fsp_tables_each(from, link_row, table, err);
}

const struct fsp_tables_def fsp_tables_links = {.name = "links",
        .what = "How each rig's records reach the office, one row a rig",
        .columns = link_columns,
        .n = COUNT_OF(link_columns),
        .fill = link_fill};

/* --- logs ------------------------------------------------------------------------------------ */

static const struct fsp_column log_columns[] = {
        {"RIG", "rig", FSP_CELL_TEXT, 0, NULL, "the rig's name"},
        {"LOG", "log", FSP_CELL_COUNT, 0, NULL, "place in the chain of renewals, from 0"},
        {"ORIGIN", "origin", FSP_CELL_TEXT, 0, NULL, "the log's name: fleet/rig/incarnation"},
        {"CURRENT", "current", FSP_CELL_YES, 0, NULL, "the rig's newest log"},
        {"SIZE", "size", FSP_CELL_COUNT, 0, NULL, "entries held"},
        {"ROOT", "root", FSP_CELL_TEXT, 0, NULL, "root over them (RFC 6962), base64"},
        {NULL, "enrolled", FSP_CELL_TIME, 0, NULL, "when the office first took it"},
        {"LAST HEARD", "last_heard", FSP_CELL_TIME, 0, NULL,
                "when the office last cosigned a head of it"},
        {"FORKS", "forks", FSP_CELL_COUNT, 0, NULL, "heads kept that contradict it"},
        {NULL, "continues", FSP_CELL_TEXT, 0, NULL, "origin of the log that it continues"},
        {NULL, "continues_from", FSP_CELL_COUNT, 0, NULL, "from this entry on"},
        {NULL, "renewal", FSP_CELL_TEXT, 0, NULL,
                ("proved by the old key, invited, or unfit: it names what is not held; nothing "
                 "for a log that continues none")},
        {NULL, "renewal_seen", FSP_CELL_TIME, 0, NULL, "when the renewal came"},
        {NULL, "second", FSP_CELL_YES, 0, NULL, "another log continued the same one before"},
        {NULL, "confirmed", FSP_CELL_YES, 0, NULL, "a keeper said that the renewal is right"},
        {NULL, "confirmed_by", FSP_CELL_TEXT, 0, NULL, "who"},
        {NULL, "closed", FSP_CELL_YES, 0, NULL, "a later log continues this one"},
};

const char *
fsp_tables_renewal_text(enum fsp_renewal_how how)
{
    switch (how) {
    case FSP_RENEWAL_PROVED:
        return "proved";
    case FSP_RENEWAL_INVITED:
        return "invited";
    case FSP_RENEWAL_UNFIT:
        return "unfit";
    }
    return "?";
}

const struct fsp_fleet_log *
fsp_tables_continued(const struct fsp_fleet_rig *rig, const struct fsp_fleet_log *log)
{
    for (size_t i = 0; log->chain.renewed && i < rig->n_logs; i++)
        if (rig->logs[i].log.id == log->chain.renewal.from)
            return &rig->logs[i];
    return NULL;
}

static void
log_row(struct fsp_table *table, const struct fsp_fleet_rig *rig, size_t i)
{
    const struct fsp_fleet_log *log = &rig->logs[i];
    const struct fsp_fleet_log *before = fsp_tables_continued(rig, log);
    const struct fsp_shelf_renewal *renewal = log->chain.renewed ? &log->chain.renewal : NULL;
    struct fsp_buf root;

    fsp_buf_init(&root, 64);
    fsp_base64(&root, log->root, sizeof(log->root));
    fsp_table_text(table, "rig", rig->name);
    fsp_table_count(table, "log", true, i);
    fsp_table_text(table, "origin", log->log.origin);
    fsp_table_yes(table, "current", i + 1 == rig->n_logs);
    fsp_table_count(table, "size", true, log->size);
    fsp_table_text(table, "root", fsp_buf_peek(&root));
    fsp_table_time(table, "enrolled", log->log.enrolled_s);
    fsp_table_time(table, "last_heard", log->log.heard_s);
    fsp_table_count(table, "forks", true, log->forks);
    fsp_table_text(table, "continues", before == NULL ? NULL : before->log.origin);
    fsp_table_count(
            table, "continues_from", before != NULL, renewal == NULL ? 0 : renewal->from_size);
    fsp_table_text(
            table, "renewal", renewal == NULL ? NULL : fsp_tables_renewal_text(renewal->how));
    fsp_table_time(table, "renewal_seen", renewal == NULL ? 0 : renewal->seen_s);
    fsp_table_yes(table, "second", renewal != NULL && log->chain.second);
    fsp_table_yes(table, "confirmed", renewal != NULL && renewal->confirmed);
    fsp_table_text(table, "confirmed_by",
            renewal != NULL && renewal->confirmed ? renewal->confirmed_by : NULL);
    fsp_table_yes(table, "closed", log->chain.closed);
    fsp_buf_fini(&root);
}

static enum fsp_rc
log_rows(const struct fsp_tables_from *from, const struct fsp_fleet_rig *rig,
        struct fsp_table *table, struct fsp_err *err)
{
    (void)from;
    (void)err;
    for (size_t i = 0; i < rig->n_logs; i++)
        log_row(table, rig, i);
    return FSP_OK;
}

static enum fsp_rc
log_fill(const struct fsp_tables_from *from, struct fsp_table *table, struct fsp_err *err)
{
    return fsp_tables_each(from, log_rows, table, err);
}

const struct fsp_tables_def fsp_tables_logs = {.name = "logs",
        .what = "Every log of every rig, in the order in which the account reads them",
        .columns = log_columns,
        .n = COUNT_OF(log_columns),
        .fill = log_fill};

/* --- instructions ---------------------------------------------------------------------------- */

static const struct fsp_column instruction_columns[] = {
        {"RIG", "rig", FSP_CELL_TEXT, 0, NULL, "the rig's name"},
        {"ID", "id", FSP_CELL_TEXT, 0, NULL, "the instruction's id, hexadecimal"},
        {"MADE", "made", FSP_CELL_TIME, 0, NULL, "when it was signed"},
        {"ABOUT", "about", FSP_CELL_TEXT, 0, NULL, "program, message, roster or keys"},
        {"STATE", "state", FSP_CELL_TEXT, 0, NULL,
                ("waiting, in the rig's log, or answered, as far as the rig's records are held "
                 "here")},
        {NULL, "lost", FSP_CELL_YES, 0, NULL,
                ("not known to this shelf but from the rig's log: it was sent before the shelf "
                 "went back")},
        {NULL, "log", FSP_CELL_TEXT, 0, NULL, "origin of the log that holds it"},
        {NULL, "entry", FSP_CELL_COUNT, 0, NULL, "its entry there"},
        {NULL, "answer_log", FSP_CELL_TEXT, 0, NULL, "origin of the log with the answer"},
        {NULL, "answer_entry", FSP_CELL_COUNT, 0, NULL, "the answer's entry"},
        {NULL, "answered_by_program", FSP_CELL_YES, 0, NULL,
                "the answer is the programme that it asked for"},
        {"ANSWER", "answer", FSP_CELL_TEXT, 0, NULL, "the answer in words"},
        {"TEXT", "body", FSP_CELL_TEXT, 0, NULL, "what was written, as it was signed"},
};

static void
instruction_row(struct fsp_table *table, const char *rig, const struct fsp_instruct_item *item)
{
    char hex[2 * FSP_INSTRUCTION_ID_LEN + 1];
    bool held = item->state != FSP_INSTRUCT_WAITING;
    bool answered = item->state == FSP_INSTRUCT_ANSWERED;

    fsp_text_hex(hex, item->id, sizeof(item->id));
    fsp_table_text(table, "rig", rig);
    fsp_table_text(table, "id", hex);
    fsp_table_time(table, "made", item->made_s);
    fsp_table_text(table, "about", fsp_instruction_about_text(item->about));
    fsp_table_text(table, "state", fsp_instruct_state_text(item->state));
    fsp_table_yes(table, "lost", item->lost);
    fsp_table_text(table, "log", held ? item->origin : NULL);
    fsp_table_count(table, "entry", held, item->index);
    fsp_table_text(table, "answer_log", answered ? item->by_origin : NULL);
    fsp_table_count(table, "answer_entry", answered, item->by_index);
    fsp_table_yes(table, "answered_by_program", item->by_program);
    fsp_table_text(table, "answer", item->answer);
    fsp_table_text(table, "body", item->body);
}

void
fsp_tables_instruction_list(const char *rig, const struct fsp_instruct_list *list,
        enum fsp_table_form form, struct fsp_buf *buf)
{
    struct fsp_table table;

    fsp_table_begin(&table, instruction_columns, COUNT_OF(instruction_columns), form, buf);
    for (size_t i = 0; i < list->n; i++)
        instruction_row(&table, rig, &list->items[i]);
    fsp_table_end(&table);
}

static enum fsp_rc
instruction_rows(const struct fsp_tables_from *from, const struct fsp_fleet_rig *rig,
        struct fsp_table *table, struct fsp_err *err)
{
    struct fsp_instruct_list list;
    enum fsp_rc rc;

    if (from->shelf == NULL || from->keys == NULL)
        return fsp_err_set(err, FSP_EINVAL, "instructions: they are read from the shelf");
    rc = from->shelf->ops->begin(from->shelf->ctx, false, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_instruct_list(from->shelf, from->keys, rig->name, &list, err);
    from->shelf->ops->rollback(from->shelf->ctx);
    for (size_t i = 0; rc == FSP_OK && i < list.n; i++)
        instruction_row(table, rig->name, &list.items[i]);
    fsp_instruct_list_free(&list);
    return rc;
}

static enum fsp_rc
instruction_fill(
        const struct fsp_tables_from *from, struct fsp_table *table, struct fsp_err *err)
{
    return fsp_tables_each(from, instruction_rows, table, err);
}

const struct fsp_tables_def fsp_tables_instructions = {.name = "instructions",
        .what = "What the office wrote to the rigs and what became of it, as it was written",
        .columns = instruction_columns,
        .n = COUNT_OF(instruction_columns),
        .of_one = true,
        .fill = instruction_fill};
