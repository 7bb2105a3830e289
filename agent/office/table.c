#include "office/table.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "base/text.h"
#include "line/say.h"

#define TABLE_MAX ((size_t)64 * 1024 * 1024) /* of text for people */
#define GAP       2                          /* spaces between columns */

static bool
is_right(const struct fsp_column *column)
{
    return column->cell == FSP_CELL_NUMBER || column->cell == FSP_CELL_COUNT;
}

/* --- CSV ------------------------------------------------------------------------------------- */

/* What a spreadsheet may take for the beginning of a formula, and the mark that says so. */
static bool
is_odd_start(const char *text)
{
    static const char *const wide[] = {
            "\xef\xbc\x9d", "\xef\xbc\x8b", "\xef\xbc\x8d", "\xef\xbc\xa0"};

    if (text[0] != '\0' && strchr("=+-@'\t\r\n", text[0]) != NULL)
        return true;
    for (size_t i = 0; i < sizeof(wide) / sizeof(wide[0]); i++)
        if (strncmp(text, wide[i], 3) == 0)
            return true;
    return false;
}

static void
csv_field(struct fsp_buf *buf, const char *text, bool guard)
{
    const char *mark = guard && is_odd_start(text) ? "'" : "";

    if (strpbrk(text, ",\"\r\n") == NULL) {
        fsp_buf_add_text(buf, mark);
        fsp_buf_add_text(buf, text);
        return;
    }
    fsp_buf_add_byte(buf, '"');
    fsp_buf_add_text(buf, mark);
    for (; *text != '\0'; text++) {
        if (*text == '"')
            fsp_buf_add_byte(buf, '"');
        fsp_buf_add_byte(buf, (uint8_t)*text);
    }
    fsp_buf_add_byte(buf, '"');
}

static void
csv_header(const struct fsp_table *table)
{
    for (size_t c = 0; c < table->n; c++) {
        csv_field(table->out, table->columns[c].name, false);
        fsp_buf_add_text(table->out, c + 1 < table->n ? "," : "\r\n");
    }
}

/* --- text ------------------------------------------------------------------------------------ */

static void
keep_cell(struct fsp_table *table, const char *shown)
{
    if (fsp_mem_grow((void **)&table->cells, &table->cap, table->used + 1,
                sizeof(*table->cells)) != 0) {
        table->store.rc = FSP_ENOMEM;
        return;
    }
    table->cells[table->used++] = table->store.len;
    fsp_text_show(&table->store, shown, strlen(shown));
    fsp_buf_add_byte(&table->store, '\0');
}

/* Characters, not bytes: continuation bytes of UTF-8 take no room. */
static size_t
width(const char *text)
{
    size_t n = 0;

    for (; *text != '\0'; text++)
        if (((unsigned char)*text & 0xC0u) != 0x80u)
            n++;
    return n;
}

static const char *
cell(const struct fsp_table *table, size_t row, size_t shown, size_t shown_n)
{
    return (const char *)table->store.data + table->cells[row * shown_n + shown];
}

static void
pad(struct fsp_buf *buf, size_t n)
{
    for (size_t i = 0; i < n; i++)
        fsp_buf_add_byte(buf, ' ');
}

struct shown {
    const struct fsp_column *const *columns;
    const size_t *widths;
    size_t n;
};

static void
write_line(const struct fsp_table *table, const struct shown *shown, size_t row, bool head)
{
    for (size_t c = 0; c < shown->n; c++) {
        const char *text = head ? shown->columns[c]->title : cell(table, row, c, shown->n);
        size_t room = shown->widths[c] - width(text);
        bool right = is_right(shown->columns[c]);

        if (right)
            pad(table->out, room);
        fsp_buf_add_text(table->out, text);
        if (c + 1 < shown->n)
            pad(table->out, GAP + (right ? 0 : room));
    }
    fsp_buf_add_byte(table->out, '\n');
}

static void
write_text(const struct fsp_table *table)
{
    const struct fsp_column **columns =
            fsp_mem_array(table->n, sizeof(const struct fsp_column *));
    size_t *widths = fsp_mem_array(table->n, sizeof(*widths));
    struct shown shown = {.columns = columns, .widths = widths};

    if (columns == NULL || widths == NULL || table->store.rc != FSP_OK) {
        table->out->rc = table->store.rc != FSP_OK ? table->store.rc : FSP_ENOMEM;
        goto out;
    }
    for (size_t c = 0; c < table->n; c++)
        if (table->columns[c].title != NULL)
            columns[shown.n++] = &table->columns[c];
    for (size_t c = 0; c < shown.n; c++) {
        widths[c] = width(columns[c]->title);
        for (size_t r = 0; r < table->rows; r++)
            if (width(cell(table, r, c, shown.n)) > widths[c])
                widths[c] = width(cell(table, r, c, shown.n));
    }
    write_line(table, &shown, 0, true);
    for (size_t r = 0; r < table->rows; r++)
        write_line(table, &shown, r, false);
out:
    free(columns);
    free(widths);
}

/* --- cells ----------------------------------------------------------------------------------- */

void
fsp_table_begin(struct fsp_table *table, const struct fsp_column *columns, size_t n,
        enum fsp_table_form form, struct fsp_buf *out)
{
    memset(table, 0, sizeof(*table));
    table->columns = columns;
    table->n = n;
    table->form = form;
    table->out = out;
    fsp_buf_init(&table->store, TABLE_MAX);
    if (form == FSP_TABLE_CSV)
        csv_header(table);
    else if (form == FSP_TABLE_JSON)
        fsp_buf_add_byte(out, '[');
}

void
fsp_table_end(struct fsp_table *table)
{
    assert(table->column == 0);
    if (table->form == FSP_TABLE_TEXT)
        write_text(table);
    else if (table->form == FSP_TABLE_JSON)
        fsp_buf_add_text(table->out, "]\n");
    fsp_buf_fini(&table->store);
    free(table->cells);
    table->cells = NULL;
}

/* What stands before the next cell. */
static const struct fsp_column *
next(struct fsp_table *table, const char *name, enum fsp_cell kind)
{
    const struct fsp_column *column = &table->columns[table->column];
    bool first = table->column == 0;

    assert(strcmp(column->name, name) == 0 && column->cell == kind);
    if (first)
        table->rows++;
    switch (table->form) {
    case FSP_TABLE_TEXT:
        break;
    case FSP_TABLE_CSV:
        if (!first)
            fsp_buf_add_byte(table->out, ',');
        break;
    case FSP_TABLE_JSON:
        if (first)
            fsp_buf_add_text(table->out, table->rows > 1 ? ",\n {" : "{");
        fsp_say_key(table->out, &first, name);
        break;
    case FSP_TABLE_MEMBERS:
        fsp_say_key(table->out, &first, name);
        break;
    }
    return column;
}

static void
done(struct fsp_table *table)
{
    if (++table->column < table->n)
        return;
    table->column = 0;
    if (table->form == FSP_TABLE_CSV)
        fsp_buf_add_text(table->out, "\r\n");
    else if (table->form == FSP_TABLE_JSON)
        fsp_buf_add_byte(table->out, '}');
}

/* A cell whose CSV and JSON are the same text; NULL: not known. */
static void
plain(struct fsp_table *table, const struct fsp_column *column, const char *shown,
        const char *text)
{
    if (table->form == FSP_TABLE_TEXT && column->title != NULL)
        keep_cell(table, shown == NULL ? "-" : shown);
    else if (table->form == FSP_TABLE_CSV)
        fsp_buf_add_text(table->out, text == NULL ? "" : text);
    else if (table->form != FSP_TABLE_TEXT)
        fsp_buf_add_text(table->out, text == NULL ? "null" : text);
    done(table);
}

void
fsp_table_text(struct fsp_table *table, const char *name, const char *text)
{
    const struct fsp_column *column = next(table, name, FSP_CELL_TEXT);

    if (table->form == FSP_TABLE_TEXT && column->title != NULL)
        keep_cell(table, text == NULL ? "-" : text);
    else if (table->form == FSP_TABLE_CSV && text != NULL)
        csv_field(table->out, text, true);
    else if (table->form == FSP_TABLE_JSON || table->form == FSP_TABLE_MEMBERS)
        fsp_say_json_text(table->out, text);
    done(table);
}

void
fsp_table_number(struct fsp_table *table, const char *name, bool known, double value)
{
    const struct fsp_column *column = next(table, name, FSP_CELL_NUMBER);
    struct fsp_buf text;

    if (!known || !isfinite(value)) {
        plain(table, column, NULL, NULL);
        return;
    }
    fsp_buf_init(&text, 512);
    if (table->form == FSP_TABLE_TEXT)
        fsp_say_number(&text, value, column->decimals);
    else
        fsp_say_json_number(&text, value);
    plain(table, column, fsp_buf_peek(&text), fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

void
fsp_table_count(struct fsp_table *table, const char *name, bool known, uint64_t value)
{
    const struct fsp_column *column = next(table, name, FSP_CELL_COUNT);
    struct fsp_buf text;

    if (!known) {
        plain(table, column, NULL, NULL);
        return;
    }
    fsp_buf_init(&text, 64);
    if (table->form == FSP_TABLE_TEXT)
        fsp_say_number(&text, (double)value, 0);
    else
        fsp_buf_printf(&text, "%llu", (unsigned long long)value);
    plain(table, column, fsp_buf_peek(&text), fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

void
fsp_table_time(struct fsp_table *table, const char *name, int64_t utc_s)
{
    const struct fsp_column *column = next(table, name, FSP_CELL_TIME);
    char text[FSP_TIME_TEXT_LEN + 3];

    if (utc_s == 0) {
        plain(table, column, NULL, NULL);
        return;
    }
    if (table->form == FSP_TABLE_TEXT) {
        fsp_time_text(utc_s, text);
        text[10] = ' ';
        text[16] = 'Z'; /* 2026-03-01 14:05Z */
        text[17] = '\0';
    } else if (table->form == FSP_TABLE_CSV) {
        fsp_time_text(utc_s, text);
    } else {
        text[0] = '"';
        fsp_time_text(utc_s, text + 1);
        memcpy(text + 1 + FSP_TIME_TEXT_LEN, "\"", 2);
    }
    plain(table, column, text, text);
}

void
fsp_table_yes(struct fsp_table *table, const char *name, bool yes)
{
    const struct fsp_column *column = next(table, name, FSP_CELL_YES);
    const char *word = yes ? "yes" : "no";

    if (table->form == FSP_TABLE_JSON || table->form == FSP_TABLE_MEMBERS)
        word = yes ? "true" : "false";
    plain(table, column, word, word);
}
