#include "office/table.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "base/text.h"
#include "line/say.h"

#define TABLE_MAX ((size_t)64 * 1024 * 1024)
#define GAP       2 /* spaces between columns */

void
fsp_table_init(struct fsp_table *table, const struct fsp_column *columns, size_t n)
{
    memset(table, 0, sizeof(*table));
    table->columns = columns;
    table->n = n;
    fsp_buf_init(&table->store, TABLE_MAX);
}

void
fsp_table_fini(struct fsp_table *table)
{
    fsp_buf_fini(&table->store);
    free(table->cells);
    table->cells = NULL;
}

static void
add_cell(struct fsp_table *table, const char *shown, const char *plain)
{
    if (fsp_mem_grow((void **)&table->cells, &table->cap, table->used + 2,
                sizeof(*table->cells)) != 0) {
        table->store.rc = FSP_ENOMEM;
        return;
    }
    table->cells[table->used++] = table->store.len;
    fsp_text_show(&table->store, shown, strlen(shown));
    fsp_buf_add_byte(&table->store, '\0');
    table->cells[table->used++] = table->store.len;
    fsp_buf_add(&table->store, plain, strlen(plain) + 1);
}

void
fsp_table_add(struct fsp_table *table, const char *text)
{
    add_cell(table, text == NULL ? "-" : text, text == NULL ? "" : text);
}

void
fsp_table_number(struct fsp_table *table, bool known, double value, int decimals)
{
    struct fsp_buf shown;
    struct fsp_buf plain;

    if (!known) {
        fsp_table_add(table, NULL);
        return;
    }
    fsp_buf_init(&shown, 64);
    fsp_buf_init(&plain, 64);
    fsp_say_number(&shown, value, decimals);
    fsp_buf_printf(&plain, "%.*f", decimals, value);
    add_cell(table, fsp_buf_peek(&shown), fsp_buf_peek(&plain));
    fsp_buf_fini(&shown);
    fsp_buf_fini(&plain);
}

void
fsp_table_time(struct fsp_table *table, int64_t utc_s)
{
    char whole[FSP_TIME_TEXT_LEN + 1];
    char shown[FSP_TIME_TEXT_LEN + 1];

    if (utc_s == 0) {
        fsp_table_add(table, NULL);
        return;
    }
    fsp_time_text(utc_s, whole);
    memcpy(shown, whole, sizeof(shown));
    shown[10] = ' ';
    shown[16] = 'Z'; /* 2026-03-01 14:05Z */
    shown[17] = '\0';
    add_cell(table, shown, whole);
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
cell(const struct fsp_table *table, size_t row, size_t column, size_t which)
{
    return (const char *)table->store.data +
           table->cells[2 * (row * table->n + column) + which];
}

static void
pad(struct fsp_buf *buf, size_t n)
{
    for (size_t i = 0; i < n; i++)
        fsp_buf_add_byte(buf, ' ');
}

static void
write_line(const struct fsp_table *table, const size_t *widths, size_t row, bool head,
        struct fsp_buf *buf)
{
    for (size_t c = 0; c < table->n; c++) {
        const char *text = head ? table->columns[c].title : cell(table, row, c, 0);
        size_t room = widths[c] - width(text);

        if (table->columns[c].right)
            pad(buf, room);
        fsp_buf_add_text(buf, text);
        if (c + 1 < table->n)
            pad(buf, GAP + (table->columns[c].right ? 0 : room));
    }
    fsp_buf_add_byte(buf, '\n');
}

void
fsp_table_text(const struct fsp_table *table, struct fsp_buf *buf)
{
    size_t rows = table->used / (2 * table->n);
    size_t *widths = fsp_mem_array(table->n, sizeof(*widths));

    if (widths == NULL || table->store.rc != FSP_OK) {
        buf->rc = widths == NULL ? FSP_ENOMEM : table->store.rc;
        free(widths);
        return;
    }
    for (size_t c = 0; c < table->n; c++) {
        widths[c] = width(table->columns[c].title);
        for (size_t r = 0; r < rows; r++)
            if (width(cell(table, r, c, 0)) > widths[c])
                widths[c] = width(cell(table, r, c, 0));
    }
    write_line(table, widths, 0, true, buf);
    for (size_t r = 0; r < rows; r++)
        write_line(table, widths, r, false, buf);
    free(widths);
}

static void
csv_field(struct fsp_buf *buf, const char *text)
{
    if (strpbrk(text, ",\"\r\n") == NULL) {
        fsp_buf_add_text(buf, text);
        return;
    }
    fsp_buf_add_byte(buf, '"');
    for (; *text != '\0'; text++) {
        if (*text == '"')
            fsp_buf_add_byte(buf, '"');
        fsp_buf_add_byte(buf, (uint8_t)*text);
    }
    fsp_buf_add_byte(buf, '"');
}

void
fsp_table_csv(const struct fsp_table *table, struct fsp_buf *buf)
{
    size_t rows = table->used / (2 * table->n);

    if (table->store.rc != FSP_OK) {
        buf->rc = table->store.rc;
        return;
    }
    for (size_t c = 0; c < table->n; c++) {
        csv_field(buf, table->columns[c].name);
        fsp_buf_add_text(buf, c + 1 < table->n ? "," : "\r\n");
    }
    for (size_t r = 0; r < rows; r++)
        for (size_t c = 0; c < table->n; c++) {
            csv_field(buf, cell(table, r, c, 1));
            fsp_buf_add_text(buf, c + 1 < table->n ? "," : "\r\n");
        }
}

void
fsp_table_write(const struct fsp_table *table, bool csv, struct fsp_buf *buf)
{
    if (csv)
        fsp_table_csv(table, buf);
    else
        fsp_table_text(table, buf);
}
