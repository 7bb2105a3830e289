#include "exhibit/page.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

#define WIDTH        78
#define LINE_MAX_LEN 2048

/* Works in black and white and on paper: no colour carries a meaning. */
static const char style[] =
        "<style>"
        "body{font:11pt/1.45 serif;max-width:46em;margin:2em auto;padding:0 1em;color:#000;"
        "background:#fff}"
        "h1{font-size:1.4em;border-bottom:2px solid #000;padding-bottom:.2em}"
        "h2{font-size:1.1em;margin:1.4em 0 .3em}"
        "dl{display:grid;grid-template-columns:max-content 1fr;gap:.1em 1em;margin:.3em 0}"
        "dt{font-weight:bold}dd{margin:0;overflow-wrap:anywhere}"
        "table{border-collapse:collapse;width:100%;font-size:.92em}"
        "th,td{border:1px solid #000;padding:.2em .5em;text-align:left;vertical-align:top;"
        "overflow-wrap:anywhere}"
        "li{margin:.15em 0}"
        "@media print{body{margin:0;max-width:none;font-size:10pt}h2{break-after:avoid}"
        "tr,dd,li{break-inside:avoid}}"
        "</style>";

void
fsp_page_begin(
        struct fsp_page *page, struct fsp_buf *text, struct fsp_buf *html, const char *title)
{
    memset(page, 0, sizeof(*page));
    page->text = text;
    fsp_html_begin(&page->html, html);
    fsp_html_open(&page->html, "html");
    fsp_html_attr(&page->html, "lang", "en");
    fsp_html_open(&page->html, "head");
    fsp_html_void(&page->html, "meta");
    fsp_html_attr(&page->html, "charset", "utf-8");
    fsp_html_void(&page->html, "meta");
    fsp_html_attr(&page->html, "name", "viewport");
    fsp_html_attr(&page->html, "content", "width=device-width");
    fsp_html_element(&page->html, "title", NULL, title);
    fsp_buf_add_text(html, style); /* between elements; our own literal */
    fsp_html_close(&page->html);
    fsp_html_open(&page->html, "body");
    fsp_html_element(&page->html, "h1", NULL, title);
    fsp_text_show(text, title, strlen(title));
    fsp_buf_add_byte(text, '\n');
    for (size_t i = 0; i < strlen(title) && i < WIDTH; i++)
        fsp_buf_add_byte(text, '=');
    fsp_buf_add_byte(text, '\n');
}

/* Close the list or table that is open in the page unless it is of this kind; open it if need be. */
static void
turn_to(struct fsp_page *page, enum fsp_page_block block)
{
    if (page->block == block)
        return;
    if (page->block != FSP_PAGE_NONE)
        fsp_html_close(&page->html);
    page->block = block;
    switch (block) {
    case FSP_PAGE_POINTS:
        fsp_html_open(&page->html, "ul");
        break;
    case FSP_PAGE_VALUES:
        fsp_html_open(&page->html, "dl");
        break;
    case FSP_PAGE_TABLE:
        fsp_html_open(&page->html, "table");
        break;
    case FSP_PAGE_NONE:
        break;
    }
}

void
fsp_page_end(struct fsp_page *page)
{
    turn_to(page, FSP_PAGE_NONE);
    fsp_html_close(&page->html); /* body */
    fsp_html_close(&page->html); /* html */
    fsp_html_end(&page->html);
}

void
fsp_page_heading(struct fsp_page *page, const char *heading)
{
    turn_to(page, FSP_PAGE_NONE);
    fsp_html_element(&page->html, "h2", NULL, heading);
    fsp_buf_printf(page->text, "\n%s\n", heading);
}

/* Words of a safe text, broken into lines; `first` stands before the first line, blanks of the same
 * width before the others. A word longer than a line stands alone. */
static void
wrap(struct fsp_buf *buf, const char *first, const char *text)
{
    const size_t indent = strlen(first);
    size_t column = indent;
    bool at_start = true;

    fsp_buf_add_text(buf, first);
    while (*text != '\0') {
        const size_t word = strcspn(text, " ");

        if (!at_start && column + 1 + word > WIDTH) {
            fsp_buf_add_byte(buf, '\n');
            for (size_t i = 0; i < indent; i++)
                fsp_buf_add_byte(buf, ' ');
            column = indent;
            at_start = true;
        }
        if (!at_start) {
            fsp_buf_add_byte(buf, ' ');
            column++;
        }
        fsp_buf_add(buf, text, word);
        column += word;
        at_start = false;
        text += word;
        text += strspn(text, " ");
    }
    fsp_buf_add_byte(buf, '\n');
}

static void
wrap_shown(struct fsp_buf *buf, const char *first, const char *text)
{
    struct fsp_buf shown;

    fsp_buf_init(&shown, (size_t)4 * LINE_MAX_LEN);
    fsp_text_show(&shown, text, strlen(text));
    if (shown.rc != FSP_OK && buf->rc == FSP_OK)
        buf->rc = shown.rc;
    wrap(buf, first, fsp_buf_peek(&shown));
    fsp_buf_fini(&shown);
}

/* The formatted text; cut, never overflowing. */
static void format(char out[LINE_MAX_LEN], const char *fmt, va_list list) FSP_PRINTF(2, 0);

static void
format(char out[LINE_MAX_LEN], const char *fmt, va_list list)
{
    if (vsnprintf(out, LINE_MAX_LEN, fmt, list) < 0)
        out[0] = '\0';
}

void
fsp_page_para(struct fsp_page *page, const char *fmt, ...)
{
    char line[LINE_MAX_LEN];
    va_list list;

    va_start(list, fmt);
    format(line, fmt, list);
    va_end(list);
    turn_to(page, FSP_PAGE_NONE);
    fsp_html_element(&page->html, "p", NULL, line);
    wrap_shown(page->text, "", line);
}

void
fsp_page_point(struct fsp_page *page, const char *fmt, ...)
{
    char line[LINE_MAX_LEN];
    va_list list;

    va_start(list, fmt);
    format(line, fmt, list);
    va_end(list);
    turn_to(page, FSP_PAGE_POINTS);
    fsp_html_element(&page->html, "li", NULL, line);
    wrap_shown(page->text, "  - ", line);
}

void
fsp_page_value(struct fsp_page *page, const char *label, const char *fmt, ...)
{
    char line[LINE_MAX_LEN];
    char first[24];
    va_list list;

    va_start(list, fmt);
    format(line, fmt, list);
    va_end(list);
    turn_to(page, FSP_PAGE_VALUES);
    fsp_html_element(&page->html, "dt", NULL, label);
    fsp_html_element(&page->html, "dd", NULL, line);
    (void)snprintf(first, sizeof(first), "  %-14.20s", label);
    wrap_shown(page->text, first, line);
}

void
fsp_page_columns(struct fsp_page *page, const char *const *names)
{
    turn_to(page, FSP_PAGE_NONE);
    turn_to(page, FSP_PAGE_TABLE);
    fsp_html_open(&page->html, "tr");
    for (page->columns = 0; names[page->columns] != NULL; page->columns++)
        fsp_html_element(&page->html, "th", NULL, names[page->columns]);
    fsp_html_close(&page->html);
}

void
fsp_page_row(struct fsp_page *page, const char *const *cells)
{
    struct fsp_buf line;

    fsp_buf_init(&line, LINE_MAX_LEN - 1);
    fsp_html_open(&page->html, "tr");
    for (size_t i = 0; i < page->columns; i++) {
        fsp_html_element(&page->html, "td", NULL, cells[i]);
        if (cells[i][0] == '\0')
            continue;
        fsp_buf_add_text(&line, line.len == 0 ? "" : "; ");
        fsp_buf_add_text(&line, cells[i]);
    }
    fsp_html_close(&page->html);
    wrap_shown(page->text, "  - ", fsp_buf_peek(&line));
    if (line.rc != FSP_OK && page->text->rc == FSP_OK)
        page->text->rc = line.rc;
    fsp_buf_fini(&line);
}
