#include "record/sheet.h"

#include <stdlib.h>
#include <string.h>

#include "base/buf.h"
#include "base/limits.h"
#include "base/mem.h"
#include "base/text.h"
#include "record/kind.h"
#include "record/value_priv.h"

#define CELL_NAME_MAX ((size_t)64)

struct fsp_sheet {
    const uint8_t *bytes;
    size_t len;
    size_t pos;
    size_t line; /* of the next byte, from 1 */
    size_t rows;
    enum fsp_sheet_form form;
    char **columns; /* names, in the header's order */
    size_t columns_n;
    size_t kind_column;
    struct fsp_buf cells; /* the row's cells, each with its NUL */
    size_t *starts;       /* where each begins in cells */
    size_t starts_cap;
    size_t cells_n;
    struct fsp_typed *members; /* one for each column */
};

enum fsp_sheet_form
fsp_sheet_guess(const uint8_t *bytes, size_t len)
{
    size_t i = 0;

    if (len >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0)
        i = 3;
    while (i < len &&
            (bytes[i] == ' ' || bytes[i] == '\t' || bytes[i] == '\r' || bytes[i] == '\n'))
        i++;
    return i < len && bytes[i] == '{' ? FSP_SHEET_JSONL : FSP_SHEET_CSV;
}

/* One row being cut into cells. */
struct scan {
    struct fsp_sheet *sheet;
    size_t first_line;
    size_t first_pos;
    struct fsp_err *err;
};

static enum fsp_rc
no_memory(struct fsp_err *err)
{
    return fsp_err_set(err, FSP_ENOMEM, "day sheet");
}

static enum fsp_rc
start_cell(struct scan *scan)
{
    struct fsp_sheet *sheet = scan->sheet;
    void *starts = sheet->starts;

    if (sheet->cells_n == FSP_SHEET_COLUMNS_MAX)
        return fsp_err_set(scan->err, FSP_ELIMIT, "line %zu: more than %zu columns",
                scan->first_line, FSP_SHEET_COLUMNS_MAX);
    if (fsp_mem_grow(&starts, &sheet->starts_cap, sheet->cells_n + 1, sizeof(*sheet->starts)) !=
            0)
        return no_memory(scan->err);
    sheet->starts = starts;
    sheet->starts[sheet->cells_n++] = sheet->cells.len;
    return FSP_OK;
}

static enum fsp_rc
check_line_length(const struct scan *scan)
{
    if (scan->sheet->pos - scan->first_pos <= FSP_SHEET_LINE_MAX)
        return FSP_OK;
    return fsp_err_set(scan->err, FSP_ELIMIT,
            "line %zu: longer than %zu bytes; a quote that is never closed?", scan->first_line,
            FSP_SHEET_LINE_MAX);
}

/* A line's end, CRLF or LF, at the position; moves past it. */
static bool
take_line_end(struct fsp_sheet *sheet)
{
    if (sheet->bytes[sheet->pos] == '\r' && sheet->pos + 1 < sheet->len &&
            sheet->bytes[sheet->pos + 1] == '\n')
        sheet->pos++;
    if (sheet->bytes[sheet->pos] != '\n')
        return false;
    sheet->pos++;
    sheet->line++;
    return true;
}

/* Behind the opening quote, up to and with the closing one. A line break becomes one space. */
static enum fsp_rc
take_quoted(struct scan *scan)
{
    struct fsp_sheet *sheet = scan->sheet;

    while (sheet->pos < sheet->len) {
        uint8_t c = sheet->bytes[sheet->pos];
        enum fsp_rc rc = check_line_length(scan);

        if (rc != FSP_OK)
            return rc;
        if (take_line_end(sheet)) {
            fsp_buf_add_byte(&sheet->cells, ' ');
            continue;
        }
        sheet->pos++;
        if (c != '"') {
            fsp_buf_add_byte(&sheet->cells, c);
            continue;
        }
        if (sheet->pos == sheet->len || sheet->bytes[sheet->pos] != '"')
            return FSP_OK;
        sheet->pos++;
        fsp_buf_add_byte(&sheet->cells, '"');
    }
    return fsp_err_set(scan->err, FSP_EFORMAT, "line %zu: a quote is opened and never closed",
            scan->first_line);
}

static enum fsp_rc
take_plain(struct scan *scan)
{
    struct fsp_sheet *sheet = scan->sheet;
    size_t start = sheet->pos;

    while (sheet->pos < sheet->len && sheet->bytes[sheet->pos] != ',' &&
            sheet->bytes[sheet->pos] != '\n') {
        if (sheet->bytes[sheet->pos] == '"')
            return fsp_err_set(scan->err, FSP_EFORMAT,
                    "line %zu, cell %zu: a quote inside a cell; put the whole cell in quotes "
                    "and double those inside",
                    scan->first_line, sheet->cells_n);
        sheet->pos++;
        if (sheet->pos - scan->first_pos > FSP_SHEET_LINE_MAX)
            return check_line_length(scan);
    }
    if (sheet->pos < sheet->len && sheet->bytes[sheet->pos] == '\n' && sheet->pos > start &&
            sheet->bytes[sheet->pos - 1] == '\r')
        sheet->pos--; /* CRLF ends the row, it is not the cell's */
    fsp_buf_add(&sheet->cells, sheet->bytes + start, sheet->pos - start);
    return FSP_OK;
}

/* Cut the next row into NUL-ended cells. A row over several lines counts its first. */
static enum fsp_rc
take_row(struct scan *scan)
{
    struct fsp_sheet *sheet = scan->sheet;

    scan->first_line = sheet->line;
    scan->first_pos = sheet->pos;
    fsp_buf_reset(&sheet->cells);
    sheet->cells_n = 0;
    for (;;) {
        bool quoted = sheet->pos < sheet->len && sheet->bytes[sheet->pos] == '"';
        enum fsp_rc rc = start_cell(scan);

        if (rc == FSP_OK && quoted)
            sheet->pos++;
        if (rc == FSP_OK)
            rc = quoted ? take_quoted(scan) : take_plain(scan);
        if (rc != FSP_OK)
            return rc;
        fsp_buf_add_byte(&sheet->cells, '\0');
        if (sheet->pos == sheet->len || take_line_end(sheet))
            return fsp_buf_check(&sheet->cells, "a row", scan->err);
        if (sheet->bytes[sheet->pos] != ',')
            return fsp_err_set(scan->err, FSP_EFORMAT,
                    "line %zu, cell %zu: something follows the closing quote; write a comma or "
                    "double the quotes inside",
                    scan->first_line, sheet->cells_n);
        sheet->pos++;
    }
}

/* The i-th cell of the row without blanks around it. Valid until the next row. */
static char *
cell(const struct fsp_sheet *sheet, size_t i)
{
    char *text = (char *)sheet->cells.data + sheet->starts[i];
    size_t len;

    text += strspn(text, " \t");
    len = strlen(text);
    while (len > 0 && (text[len - 1] == ' ' || text[len - 1] == '\t'))
        text[--len] = '\0';
    return text;
}

/* A cell that holds a NUL would be cut short unseen. */
static enum fsp_rc
check_nul(const struct scan *scan)
{
    const struct fsp_sheet *sheet = scan->sheet;

    if (memchr(sheet->bytes + scan->first_pos, '\0', sheet->pos - scan->first_pos) == NULL)
        return FSP_OK;
    return fsp_err_set(scan->err, FSP_EFORMAT,
            "line %zu: a zero byte; save the sheet as CSV in UTF-8", scan->first_line);
}

static bool
row_is_blank(const struct fsp_sheet *sheet)
{
    for (size_t i = 0; i < sheet->cells_n; i++) {
        if (cell(sheet, i)[0] != '\0')
            return false;
    }
    return true;
}

static enum fsp_rc
check_column(const struct fsp_sheet *sheet, size_t i, size_t line, struct fsp_err *err)
{
    const char *name = sheet->columns[i];
    const char *near;

    if (name[0] == '\0')
        return fsp_err_set(err, FSP_EFORMAT, "line %zu: column %zu has no name", line, i + 1);
    for (size_t k = 0; k < i; k++) {
        if (strcmp(sheet->columns[k], name) == 0)
            return fsp_err_set(err, FSP_EFORMAT, "line %zu: column %s is named twice", line,
                    fsp_quote(name).text);
    }
    if (fsp_field_known(name))
        return FSP_OK;
    near = fsp_field_nearest(NULL, name);
    return fsp_err_set(err, FSP_EFORMAT, "line %zu: column '%s' is no field of any kind%s%s%s",
            line, fsp_quote(name).text, near != NULL ? "; did you mean " : "",
            near != NULL ? near : "", near != NULL ? "?" : "");
}

/* A header that is one cell but holds another separator. */
static enum fsp_rc
check_separator(const struct fsp_sheet *sheet, size_t line, struct fsp_err *err)
{
    const char *text = cell(sheet, 0);

    if (sheet->cells_n > 1)
        return FSP_OK;
    if (strchr(text, ';') != NULL || strchr(text, '\t') != NULL)
        return fsp_err_set(err, FSP_EFORMAT,
                "line %zu: columns are parted by %s; save the sheet as CSV with commas, and "
                "with points for decimals",
                line, strchr(text, ';') != NULL ? "semicolons" : "tabs");
    return FSP_OK;
}

static enum fsp_rc
take_header(struct fsp_sheet *sheet, struct fsp_err *err)
{
    struct scan scan = {sheet, 1, 0, err};
    enum fsp_rc rc = FSP_OK;

    do {
        if (sheet->pos == sheet->len)
            return fsp_err_set(err, FSP_EFORMAT,
                    "line %zu: the sheet is empty; its first line names the columns",
                    sheet->line);
        rc = take_row(&scan);
        if (rc == FSP_OK)
            rc = check_nul(&scan);
        if (rc != FSP_OK)
            return rc;
    } while (row_is_blank(sheet));
    rc = check_separator(sheet, scan.first_line, err);
    if (rc != FSP_OK)
        return rc;
    sheet->columns = fsp_mem_array(sheet->cells_n, sizeof(*sheet->columns));
    sheet->members = fsp_mem_array(sheet->cells_n, sizeof(*sheet->members));
    if (sheet->columns == NULL || sheet->members == NULL)
        return no_memory(err);
    sheet->kind_column = SIZE_MAX;
    for (size_t i = 0; i < sheet->cells_n; i++) {
        const char *name = cell(sheet, i);

        sheet->columns[i] = fsp_mem_text(name, strnlen(name, CELL_NAME_MAX));
        if (sheet->columns[i] == NULL)
            return no_memory(err);
        sheet->columns_n++;
        rc = check_column(sheet, i, scan.first_line, err);
        if (rc != FSP_OK)
            return rc;
        if (strcmp(name, "kind") == 0)
            sheet->kind_column = i;
    }
    if (sheet->kind_column == SIZE_MAX)
        return fsp_err_set(
                err, FSP_EFORMAT, "line %zu: there is no column named kind", scan.first_line);
    return FSP_OK;
}

enum fsp_rc
fsp_sheet_new(const uint8_t *bytes, size_t len, enum fsp_sheet_form form,
        struct fsp_sheet **out, struct fsp_err *err)
{
    struct fsp_sheet *sheet = NULL;
    enum fsp_rc rc = FSP_OK;

    *out = NULL;
    if (len > FSP_SHEET_MAX)
        return fsp_err_set(
                err, FSP_ELIMIT, "%zu bytes; a day sheet has at most %zu", len, FSP_SHEET_MAX);
    if (len >= 2 && (memcmp(bytes, "\xFF\xFE", 2) == 0 || memcmp(bytes, "\xFE\xFF", 2) == 0))
        return fsp_err_set(
                err, FSP_EFORMAT, "line 1: written as UTF-16; save the sheet as CSV in UTF-8");
    sheet = fsp_mem_array(1, sizeof(*sheet));
    if (sheet == NULL)
        return no_memory(err);
    sheet->bytes = bytes;
    sheet->len = len;
    sheet->line = 1;
    sheet->form = form;
    fsp_buf_init(&sheet->cells, 2 * FSP_SHEET_LINE_MAX);
    if (len >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0)
        sheet->pos = 3;
    if (form == FSP_SHEET_CSV)
        rc = take_header(sheet, err);
    if (rc == FSP_OK) {
        *out = sheet;
        sheet = NULL;
    }
    fsp_sheet_free(sheet);
    return rc;
}

void
fsp_sheet_free(struct fsp_sheet *sheet)
{
    if (sheet == NULL)
        return;
    for (size_t i = 0; i < sheet->columns_n; i++)
        free(sheet->columns[i]);
    free(sheet->columns);
    free(sheet->members);
    free(sheet->starts);
    fsp_buf_fini(&sheet->cells);
    free(sheet);
}

/* "line 7, field mud: ..." for a field's fault, "line 7: ..." for another. */
static enum fsp_rc
name_line(enum fsp_rc rc, size_t line, struct fsp_err *err)
{
    char text[FSP_ERR_TEXT_MAX];

    if (rc == FSP_OK || err == NULL)
        return rc;
    if (strncmp(err->text, "field ", 6) != 0)
        return fsp_err_wrap(err, rc, "line %zu", line);
    memcpy(text, err->text, sizeof(text));
    return fsp_err_set(err, rc, "line %zu, %s", line, text);
}

static enum fsp_rc
count_row(struct fsp_sheet *sheet, size_t line, struct fsp_err *err)
{
    if (++sheet->rows <= FSP_SHEET_ROWS_MAX)
        return FSP_OK;
    return fsp_err_set(err, FSP_ELIMIT, "line %zu: more than %zu rows; take it in parts", line,
            FSP_SHEET_ROWS_MAX);
}

static enum fsp_rc
next_csv(struct fsp_sheet *sheet, const struct fsp_check_context *context,
        struct fsp_record **out, size_t *line, struct fsp_err *err)
{
    struct scan scan = {sheet, 1, 0, err};
    size_t n = 0;
    enum fsp_rc rc;

    do {
        if (sheet->pos == sheet->len)
            return FSP_ENOTFOUND;
        rc = take_row(&scan);
        *line = scan.first_line;
        if (rc == FSP_OK)
            rc = check_nul(&scan);
        if (rc != FSP_OK)
            return rc;
    } while (row_is_blank(sheet));
    rc = count_row(sheet, *line, err);
    if (rc != FSP_OK)
        return rc;
    if (sheet->cells_n != sheet->columns_n)
        return fsp_err_set(err, FSP_EFORMAT, "line %zu: %zu cells, the header names %zu%s",
                *line, sheet->cells_n, sheet->columns_n,
                sheet->cells_n > sheet->columns_n
                        ? "; a comma in a cell without quotes, or as decimal point?"
                        : "");
    for (size_t i = 0; i < sheet->columns_n; i++) {
        const char *value = cell(sheet, i);

        if (value[0] != '\0')
            sheet->members[n++] = (struct fsp_typed){sheet->columns[i], value};
    }
    return name_line(fsp_check_typed(NULL, sheet->members, n, context, out, err), *line, err);
}

static enum fsp_rc
next_jsonl(struct fsp_sheet *sheet, const struct fsp_check_context *context,
        struct fsp_record **out, size_t *line, struct fsp_err *err)
{
    const uint8_t *start;
    const uint8_t *end;
    size_t len;
    size_t blanks;
    enum fsp_rc rc;

    do {
        if (sheet->pos == sheet->len)
            return FSP_ENOTFOUND;
        start = sheet->bytes + sheet->pos;
        end = memchr(start, '\n', sheet->len - sheet->pos);
        len = end != NULL ? (size_t)(end - start) : sheet->len - sheet->pos;
        sheet->pos += len + (end != NULL ? 1 : 0);
        *line = sheet->line++;
        blanks = 0;
        while (blanks < len &&
                (start[blanks] == ' ' || start[blanks] == '\t' || start[blanks] == '\r'))
            blanks++;
    } while (blanks == len);
    rc = count_row(sheet, *line, err);
    if (rc != FSP_OK)
        return rc;
    if (len > FSP_SHEET_LINE_MAX)
        return fsp_err_set(
                err, FSP_ELIMIT, "line %zu: longer than %zu bytes", *line, FSP_SHEET_LINE_MAX);
    return name_line(fsp_check_json((const char *)start, len, context, out, err), *line, err);
}

enum fsp_rc
fsp_sheet_next(struct fsp_sheet *sheet, const struct fsp_check_context *context,
        struct fsp_record **out, size_t *line, struct fsp_err *err)
{
    *out = NULL;
    *line = sheet->line;
    if (sheet->form == FSP_SHEET_JSONL)
        return next_jsonl(sheet, context, out, line, err);
    return next_csv(sheet, context, out, line, err);
}
