#include "web/html.h"

#include <assert.h>
#include <string.h>

#include "base/text.h"

static void
escape(struct fsp_buf *buf, const char *text, size_t len)
{
    size_t from = 0;

    for (size_t i = 0; i < len; i++) {
        const char *as = NULL;

        switch (text[i]) {
        case '&':
            as = "&amp;";
            break;
        case '<':
            as = "&lt;";
            break;
        case '>':
            as = "&gt;";
            break;
        case '"':
            as = "&quot;";
            break;
        case '\'':
            as = "&#39;";
            break;
        default:
            break;
        }
        if (as != NULL) {
            fsp_buf_add(buf, text + from, i - from);
            fsp_buf_add_text(buf, as);
            from = i + 1;
        }
    }
    fsp_buf_add(buf, text + from, len - from);
}

static void
add_shown(struct fsp_buf *buf, const void *text, size_t len)
{
    struct fsp_buf shown;

    if (fsp_text_printable(text, len)) {
        escape(buf, text, len);
        return;
    }
    fsp_buf_init(&shown, buf->max); /* a byte grows to four; the page's own maximum holds */
    fsp_text_show(&shown, text, len);
    if (shown.rc != FSP_OK && buf->rc == FSP_OK)
        buf->rc = shown.rc;
    escape(buf, fsp_buf_peek(&shown), shown.len);
    fsp_buf_fini(&shown);
}

static void
end_tag(struct fsp_html *html)
{
    if (html->in_tag)
        fsp_buf_add_byte(html->buf, '>');
    html->in_tag = false;
}

void
fsp_html_begin(struct fsp_html *html, struct fsp_buf *buf)
{
    memset(html, 0, sizeof(*html));
    html->buf = buf;
    fsp_buf_add_text(buf, "<!doctype html>\n");
}

void
fsp_html_end(struct fsp_html *html)
{
    end_tag(html);
    assert(html->depth == 0);
    fsp_buf_add_byte(html->buf, '\n');
    html->buf = NULL;
}

static void
open_any(struct fsp_html *html, const char *name)
{
    assert(html->depth < FSP_HTML_DEPTH_MAX);
    end_tag(html);
    fsp_buf_add_byte(html->buf, '<');
    fsp_buf_add_text(html->buf, name);
    html->open[html->depth++] = name;
    html->in_tag = true;
}

void
fsp_html_open(struct fsp_html *html, const char *name)
{
    assert(strcmp(name, "script") != 0 && strcmp(name, "style") != 0);
    open_any(html, name);
}

void
fsp_html_void(struct fsp_html *html, const char *name)
{
    end_tag(html);
    fsp_buf_add_byte(html->buf, '<');
    fsp_buf_add_text(html->buf, name);
    html->in_tag = true;
}

static bool
address_ok(const char *value)
{
    if (value[0] == '/')
        return value[1] != '/' && value[1] != '\\';
    return value[0] == '#' || strncmp(value, "https://", 8) == 0 ||
           strncmp(value, "http://", 7) == 0;
}

void
fsp_html_attr(struct fsp_html *html, const char *name, const char *value)
{
    bool address = strcmp(name, "href") == 0 || strcmp(name, "src") == 0 ||
                   strcmp(name, "action") == 0 || strcmp(name, "formaction") == 0;

    assert(html->in_tag);
    assert(strncmp(name, "on", 2) != 0 && strcmp(name, "style") != 0);
    if (address && !address_ok(value))
        value = "#";
    fsp_buf_add_byte(html->buf, ' ');
    fsp_buf_add_text(html->buf, name);
    fsp_buf_add_text(html->buf, "=\"");
    add_shown(html->buf, value, strlen(value));
    fsp_buf_add_byte(html->buf, '"');
}

void
fsp_html_text_n(struct fsp_html *html, const void *text, size_t len)
{
    end_tag(html);
    add_shown(html->buf, text, len);
}

void
fsp_html_text(struct fsp_html *html, const char *text)
{
    if (text != NULL)
        fsp_html_text_n(html, text, strlen(text));
}

void
fsp_html_line(struct fsp_html *html)
{
    end_tag(html);
    fsp_buf_add_byte(html->buf, '\n');
}

/* Behind these a line's end would be read as a space. */
static bool
within_line(const char *name)
{
    return strcmp(name, "a") == 0 || strcmp(name, "time") == 0 || strcmp(name, "code") == 0 ||
           strcmp(name, "strong") == 0;
}

void
fsp_html_close(struct fsp_html *html)
{
    assert(html->depth > 0);
    end_tag(html);
    html->depth--;
    fsp_buf_add_text(html->buf, "</");
    fsp_buf_add_text(html->buf, html->open[html->depth]);
    fsp_buf_add_text(html->buf, within_line(html->open[html->depth]) ? ">" : ">\n");
}

void
fsp_html_element(
        struct fsp_html *html, const char *name, const char *class_name, const char *text)
{
    fsp_html_open(html, name);
    if (class_name != NULL)
        fsp_html_attr(html, "class", class_name);
    fsp_html_text(html, text);
    fsp_html_close(html);
}

void
fsp_html_script(struct fsp_html *html, const char *src)
{
    open_any(html, "script");
    fsp_html_attr(html, "src", src);
    fsp_html_attr(html, "defer", "");
    fsp_html_close(html);
}
