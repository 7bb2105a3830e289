#include <stdio.h>
#include <string.h>

#include "record/kind.h"
#include "record/kind_priv.h"

/* A bound as people read it: no digits that say nothing. */
static void
add_bounds(struct fsp_buf *buf, double least, double most, const char *unit)
{
    fsp_buf_printf(
            buf, " from %.10g to %.10g%s%s", least, most, unit[0] != '\0' ? " " : "", unit);
}

static const char *
si_unit(enum fsp_dim dim)
{
    switch (dim) {
    case FSP_DIM_LENGTH:
        return "m";
    case FSP_DIM_LOAD:
        return "N";
    case FSP_DIM_LINEAR:
        return "N/m";
    case FSP_DIM_DENSITY:
        return "kg/m3";
    case FSP_DIM_WORK:
        return "J";
    case FSP_DIM_TORQUE:
        return "N.m";
    case FSP_DIM_NONE:
    case FSP_DIM_SHARE:
        return "";
    }
    return "";
}

static void
add_words(struct fsp_buf *buf, const char *words)
{
    const char *p = words;

    while (*p != '\0') {
        size_t n = strcspn(p, " ");

        fsp_buf_add(buf, p, n);
        p += n;
        p += strspn(p, " ");
        if (*p != '\0')
            fsp_buf_add_text(buf, ", ");
    }
}

static void
add_sub(struct fsp_buf *buf, const struct fsp_field *sub)
{
    fsp_buf_add_text(buf, " (");
    for (; sub->name != NULL; sub++)
        fsp_buf_printf(buf, "%s%s%s", sub->name, (sub->flags & FSP_REQUIRED) != 0 ? "*" : "",
                sub[1].name != NULL ? " " : "");
    fsp_buf_add_text(buf, ")");
}

static void
quantity_form(const struct fsp_field *field, struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, fsp_dim_name(field->dim));
    if ((field->flags & FSP_POSITIVE) != 0)
        fsp_buf_add_text(buf, " above zero,");
    if (field->least < field->most)
        add_bounds(buf, field->least, field->most, si_unit(field->dim));
}

static void
text_form(const struct fsp_field *field, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "text, at most %d bytes",
            field->most > 0.0 ? (int)field->most : FSP_FIELD_TEXT_MAX);
}

void
fsp_field_form(const struct fsp_field *field, struct fsp_buf *buf)
{
    switch (field->type) {
    case FSP_TEXT:
        text_form(field, buf);
        return;
    case FSP_WORD:
        fsp_buf_add_text(buf, "one of ");
        add_words(buf, field->words);
        return;
    case FSP_COUNT:
        fsp_buf_add_text(
                buf, (field->flags & FSP_EVEN) != 0 ? "even whole number" : "whole number");
        add_bounds(buf, field->least, field->most, "");
        return;
    case FSP_NUMBER:
        fsp_buf_add_text(buf, "number without unit,");
        add_bounds(buf, field->least, field->most, "");
        return;
    case FSP_QUANTITY:
        quantity_form(field, buf);
        return;
    case FSP_TIME:
        fsp_buf_add_text(buf, "time, as 2026-03-01T14:05:00Z");
        return;
    case FSP_ENTRY:
        fsp_buf_add_text(buf, "an entry: its number in this log, or {log,index,leaf}");
        return;
    case FSP_LIST:
        fsp_buf_add_text(buf, "list, each");
        add_sub(buf, field->sub);
        return;
    case FSP_OBJECT:
        fsp_buf_add_text(buf, field->sub != NULL ? "object" : "object of fields");
        if (field->sub != NULL)
            add_sub(buf, field->sub);
        return;
    case FSP_BYTES:
        fsp_buf_add_text(buf, "base64");
        return;
    }
}

static void
help_field(const struct fsp_field *field, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "  %s%s", field->name, (field->flags & FSP_REQUIRED) != 0 ? "*" : "");
    for (size_t n = strlen(field->name); n < 20; n++)
        fsp_buf_add_byte(buf, ' ');
    fsp_buf_printf(buf, "%s: ", field->says);
    fsp_field_form(field, buf);
    fsp_buf_add_text(buf, "\n");
}

static void
help_ops(struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, "\noperations, with the fields each needs (and may carry):\n");
    for (size_t i = 0; i < fsp_table_ops_n; i++) {
        const struct fsp_op *op = &fsp_table_ops[i];

        fsp_buf_printf(buf, "  %-12s%s: %s", op->name, op->says, op->required);
        if (op->optional[0] != '\0')
            fsp_buf_printf(buf, " (%s)", op->optional);
        fsp_buf_add_text(buf, "\n");
    }
}

void
fsp_kind_help(const struct fsp_kind *kind, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "%s: %s\n\nfields (* required):\n", kind->name, kind->says);
    for (const struct fsp_field *f = kind->fields; f->name != NULL; f++)
        help_field(f, buf);
    fsp_buf_add_text(buf, "\nfields of every kind:\n");
    for (const struct fsp_field *f = fsp_table_common; f->name != NULL; f++) {
        if ((f->flags & FSP_AGENT) == 0)
            help_field(f, buf);
    }
    if (strcmp(kind->name, "work") == 0)
        help_ops(buf);
}

/* A field that a day sheet has a column for. */
static bool
has_column(const struct fsp_kind *kind, const struct fsp_field *field, bool common)
{
    if ((field->flags & FSP_AGENT) != 0 || strcmp(field->name, "v") == 0)
        return false;
    if (common)
        return fsp_kind_field(kind, field->name) == field; /* its own field comes later */
    if ((field->flags & FSP_COMPUTED) == 0)
        return true;
    for (size_t i = 0; i < fsp_table_ops_n; i++) {
        if (fsp_op_needs(&fsp_table_ops[i], field->name))
            return true;
    }
    return false;
}

void
fsp_kind_template(const struct fsp_kind *kind, struct fsp_buf *buf)
{
    const char *gap = "";

    for (const struct fsp_field *f = fsp_table_common; f->name != NULL; f++) {
        if (!has_column(kind, f, true))
            continue;
        fsp_buf_printf(buf, "%s%s", gap, f->name);
        gap = ",";
    }
    for (const struct fsp_field *f = kind->fields; f->name != NULL; f++) {
        if (has_column(kind, f, false))
            fsp_buf_printf(buf, "%s%s", gap, f->name);
    }
    fsp_buf_add_text(buf, "\r\n");
}

static void
markdown_row(const struct fsp_field *field, const char *in, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "| `%s%s`%s | %s%s%s | ", in, field->name,
            (field->flags & FSP_REQUIRED) != 0 ? " *" : "", field->says,
            (field->flags & FSP_AGENT) != 0 ? " (set by the agent)" : "",
            (field->flags & FSP_COMPUTED) != 0 ? " (worked out)" : "");
    fsp_field_form(field, buf);
    fsp_buf_add_text(buf, " |\n");
}

static void
markdown_fields(const struct fsp_field *fields, struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, "| field | says | form |\n|---|---|---|\n");
    for (const struct fsp_field *f = fields; f->name != NULL; f++) {
        char in[40];

        markdown_row(f, "", buf);
        if (f->sub == NULL)
            continue;
        (void)snprintf(in, sizeof(in), "%s.", f->name);
        for (const struct fsp_field *sub = f->sub; sub->name != NULL; sub++)
            markdown_row(sub, in, buf);
    }
    fsp_buf_add_text(buf, "\n");
}

static void
markdown_units(struct fsp_buf *buf)
{
    static const enum fsp_dim dims[] = {FSP_DIM_LENGTH, FSP_DIM_LOAD, FSP_DIM_LINEAR,
            FSP_DIM_DENSITY, FSP_DIM_WORK, FSP_DIM_TORQUE, FSP_DIM_SHARE};

    fsp_buf_add_text(buf, "## Units\n\n| dimension | units |\n|---|---|\n");
    for (size_t i = 0; i < sizeof(dims) / sizeof(dims[0]); i++) {
        char units[160];

        fsp_dim_units(dims[i], units, sizeof(units));
        fsp_buf_printf(buf, "| %s | %s%s |\n", fsp_dim_name(dims[i]), units,
                dims[i] == FSP_DIM_WORK      ? "; without unit: ton-miles"
                : dims[i] == FSP_DIM_SHARE   ? "; without unit: a fraction"
                : dims[i] == FSP_DIM_DENSITY ? "; the word air"
                                             : "");
    }
    fsp_buf_add_text(buf,
            "\nLetter case does not matter, but MN and MJ are written so: a small m would be "
            "milli.\n");
}

static const char intro[] =
        "# The records: kinds and fields\n\n"
        "Made from the table in `common/record/kind_table.c`; a test compares the two. `*` "
        "means "
        "required.\n\n"
        "A record is one line of canonical JSON (RFC 8785), at most 16 KiB, without a newline: "
        "objects, lists, texts, whole numbers; ASCII names. A quantity is text as it was "
        "typed: "
        "`[-]digits[.digits]` or `[n-]n/n`, at most one space, a unit. Times are kept as RFC "
        "3339 "
        "seconds with Z. In a day sheet (CSV, RFC 4180) the columns have the fields' names, an "
        "empty cell means not given, and a list is written as JSON in its cell. A line break "
        "inside a cell is kept as one space.\n\n"
        "Two rows are the same when their canonical bytes are, without `noted` and what the "
        "program worked out itself.\n\n"
        "Bounds are there to catch a wrong unit or a slipped point; they are not limits of a "
        "standard.\n\n";

void
fsp_kind_markdown(struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, intro);
    markdown_units(buf);
    fsp_buf_add_text(buf, "\n## Fields of every kind\n\n");
    markdown_fields(fsp_table_common, buf);
    for (size_t i = 0; i < fsp_table_kinds_n; i++) {
        fsp_buf_printf(buf, "## %s: %s\n\n", fsp_table_kinds[i].name, fsp_table_kinds[i].says);
        markdown_fields(fsp_table_kinds[i].fields, buf);
    }
    fsp_buf_add_text(buf,
            "## Operations of work\n\n| op | says | needs | may carry |\n|---|---|---|---|\n");
    for (size_t i = 0; i < fsp_table_ops_n; i++)
        fsp_buf_printf(buf, "| `%s` | %s | %s | %s |\n", fsp_table_ops[i].name,
                fsp_table_ops[i].says, fsp_table_ops[i].required, fsp_table_ops[i].optional);
    fsp_buf_add_text(buf,
            "\nWith sections, casing may be left out.\n"
            "\nEvery operation may also carry pipe, stand, bha-weight, bha-length, mud, "
            "hookload, pull, service and when.\n");
}
