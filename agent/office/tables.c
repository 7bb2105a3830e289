#include "office/tables.h"

#include <string.h>

#include "office/tables_priv.h"

static const struct fsp_tables_def *const all[] = {&fsp_tables_fleet, &fsp_tables_cuts,
        &fsp_tables_early, &fsp_tables_flags, &fsp_tables_inspections, &fsp_tables_reels,
        &fsp_tables_links, &fsp_tables_logs, &fsp_tables_instructions};

const struct fsp_tables_def *
fsp_tables_at(size_t i)
{
    return i < sizeof(all) / sizeof(all[0]) ? all[i] : NULL;
}

enum fsp_rc
fsp_tables_find(const char *name, const struct fsp_tables_def **out, struct fsp_err *err)
{
    struct fsp_buf names;
    enum fsp_rc rc;

    for (size_t i = 0; (*out = fsp_tables_at(i)) != NULL; i++)
        if (strcmp((*out)->name, name) == 0)
            return FSP_OK;
    fsp_buf_init(&names, 1024);
    for (size_t i = 0; fsp_tables_at(i) != NULL; i++)
        fsp_buf_printf(&names, "%s%s", i > 0 ? ", " : "", fsp_tables_at(i)->name);
    rc = fsp_err_set(err, FSP_ENOTFOUND, "no such table; there are %s", fsp_buf_peek(&names));
    fsp_buf_fini(&names);
    return rc;
}

enum fsp_rc
fsp_tables_each(const struct fsp_tables_from *from, fsp_tables_row *row,
        struct fsp_table *table, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    if (from->rig != NULL)
        return row(from, from->rig, table, err);
    for (size_t i = 0; rc == FSP_OK && table->out->rc == FSP_OK && i < from->fleet->n; i++)
        rc = row(from, from->fleet->rigs[i], table, err);
    return rc;
}

enum fsp_rc
fsp_tables_write(const struct fsp_tables_def *def, enum fsp_table_form form,
        const struct fsp_tables_from *from, struct fsp_buf *buf, struct fsp_err *err)
{
    struct fsp_table table;
    enum fsp_rc rc;

    fsp_table_begin(&table, def->columns, def->n, form, buf);
    rc = def->fill(from, &table, err);
    fsp_table_end(&table);
    return rc;
}

/* --- docs/columns.md ------------------------------------------------------------------------- */

static const char *
cell_text(enum fsp_cell cell)
{
    switch (cell) {
    case FSP_CELL_TEXT:
        return "text";
    case FSP_CELL_NUMBER:
        return "number";
    case FSP_CELL_COUNT:
        return "whole number";
    case FSP_CELL_TIME:
        return "time";
    case FSP_CELL_YES:
        return "yes or no";
    }
    return "";
}

static void
add_table(const struct fsp_tables_def *def, struct fsp_buf *buf)
{
    fsp_buf_printf(buf,
            "\n## %s\n\n%s.\n\n| column | form | unit | says |\n|---|---|---|---|\n", def->name,
            def->what);
    for (size_t i = 0; i < def->n; i++)
        fsp_buf_printf(buf, "| `%s` | %s | %s | %s |\n", def->columns[i].name,
                cell_text(def->columns[i].cell),
                def->columns[i].unit == NULL ? "" : def->columns[i].unit,
                def->columns[i].meaning);
}

void
fsp_tables_markdown(struct fsp_buf *buf)
{
    fsp_buf_add_text(buf,
            "# The office's tables and their columns\n\n"
            "Made from the lists of columns in `agent/office/tables_*.c`; a test compares the "
            "two.\n\n"
            "Every table is given by a command and as a download, the same bytes both ways:\n\n"
            "    farspool-office fleet --table NAME --csv        # or --json; without either, "
            "text for people\n"
            "    farspool-office rig RIG --table NAME --csv      # of one rig\n"
            "    http://…/tables/NAME.csv                        # or NAME.json\n"
            "    http://…/tables/NAME.csv?rig=RIG\n\n"
            "A download is of the time of the office's view (`as_of` in `fleet`), needs the "
            "right to read pages, and is at most 16 MiB; `inspections` and `instructions` are "
            "downloaded of one rig at a time.\n\n"
            "Columns keep name, meaning, unit and place for good; new ones come behind the "
            "last. Rows stand by the rig's name.\n\n"
            "CSV is RFC 4180 in UTF-8: a header, CRLF, cells in quotes where they must be; "
            "nothing where nothing is known. JSON is a list of objects with the same names, "
            "`null` where nothing is known. Numbers are the shortest text that reads back as "
            "the same double, the same text in CSV and JSON, and the same as the rig's own "
            "`farspool-rig line --json` says; pages and text for people round them. Times are "
            "RFC 3339 with Z. Yes and no are `yes` and `no` in CSV, `true` and `false` in "
            "JSON.\n\n"
            "What people wrote may look like a formula to a spreadsheet. So in CSV a cell of "
            "a text column that begins with `=`, `+`, `-`, `@`, an apostrophe, a tab, a line "
            "break, or the full-width form of one of the first four, has one apostrophe put "
            "before it. To have the text as it was, take one leading apostrophe off every cell "
            "of a text column that begins with one. Numbers, times, yes and no are never "
            "changed. JSON needs and does none of this.\n");
    for (size_t i = 0; fsp_tables_at(i) != NULL; i++)
        add_table(fsp_tables_at(i), buf);
}
