/*
 * A writer of HTML that escapes by context: elements, attributes, text.
 *
 * Names of elements and attributes are our own literals; everything else may be hostile. Text and
 * attribute values first go through fsp_text_show(), so control and direction characters appear as
 * \xHH, then every character HTML gives a meaning is escaped. Raw markup cannot be written, so
 * neither inline scripts nor styles can.
 *
 * Ownership: fsp_html lives in the caller's storage and borrows the buffer until fsp_html_end().
 * Threads: one writer, one thread.
 * Errors: stick in the buffer; elements that are closed wrongly are our own bugs (assert).
 * Source: WHATWG HTML, sections 13.1.2 (elements) and 13.3 (escaping), read in general knowledge.
 */
#ifndef FSP_WEB_HTML_H
#define FSP_WEB_HTML_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"

#define FSP_HTML_DEPTH_MAX 32

struct fsp_html {
    struct fsp_buf *buf;
    const char *open[FSP_HTML_DEPTH_MAX];
    size_t depth;
    bool in_tag; /* the start tag still takes attributes */
};

/* Write the doctype and start. */
void fsp_html_begin(struct fsp_html *html, struct fsp_buf *buf);
/* Every element must be closed by now. */
void fsp_html_end(struct fsp_html *html);

/* Open an element; attributes may follow at once. script and style are refused (assert). */
void fsp_html_open(struct fsp_html *html, const char *name);
/* An element without content (meta, link, br, col). Attributes may follow. */
void fsp_html_void(struct fsp_html *html, const char *name);
/* An attribute of the tag just opened. href and src take only addresses that begin with "/" (one),
 * "#", "https://" or "http://"; any other is written as "#". on… and style are refused (assert). */
void fsp_html_attr(struct fsp_html *html, const char *name, const char *value);
/* Text; NULL is nothing. */
void fsp_html_text(struct fsp_html *html, const char *text);
void fsp_html_text_n(struct fsp_html *html, const void *text, size_t len);
/* A line's end, for textarea and pre. */
void fsp_html_line(struct fsp_html *html);
/* Close the innermost element. */
void fsp_html_close(struct fsp_html *html);
/* Open, give the class (NULL: none), write the text, close. */
void fsp_html_element(
        struct fsp_html *html, const char *name, const char *class_name, const char *text);

/* --- forms ----------------------------------------------------------------------------------- */

/* A form that posts to a page of our own; with a token (may be NULL) as hidden field `form`. Closed by
 * fsp_html_close(). */
void fsp_html_form(struct fsp_html *html, const char *action, const char *token);
/* A form that asks a page by its query (GET). */
void fsp_html_search(struct fsp_html *html, const char *action);
/* value: one line; an end of a line in it would be shown as an escape. */
void fsp_html_hidden(struct fsp_html *html, const char *name, const char *value);
/* The same of several lines. */
void fsp_html_hidden_lines(struct fsp_html *html, const char *name, const char *value);

/* One labelled control. The label stands for it by its id. */
struct fsp_html_control {
    const char *name;
    const char *id; /* where the name is not one of its kind on the page; NULL: the name */
    const char *label;
    const char *value;        /* shown in it; NULL: empty. Never that of a password */
    const char *type;         /* "text", "password", "date", "number"…; NULL: text */
    const char *autocomplete; /* "username", "current-password", "off"…; NULL: not said */
    const char *hint;         /* under the label, read with it; NULL */
    const char *fault;        /* what is wrong with the value, read with it; NULL */
    size_t max;               /* characters; 0: not said */
    bool needed;
    bool first; /* takes the focus when the page opens */
};
void fsp_html_input(struct fsp_html *html, const struct fsp_html_control *control);
void fsp_html_textarea(
        struct fsp_html *html, const struct fsp_html_control *control, unsigned rows);
/* values and texts of the choices, n of them; a NULL text shows the value. The control's value is the
 * one chosen. */
struct fsp_html_choice {
    const char *value;
    const char *text;
};
void fsp_html_select(struct fsp_html *html, const struct fsp_html_control *control,
        const struct fsp_html_choice *choices, size_t n);
/* A tick box with its label behind; sends "yes". */
void fsp_html_check(struct fsp_html *html, const char *name, const char *label, bool ticked);
/* A button that sends the form; name and value may be NULL. */
void fsp_html_button(
        struct fsp_html *html, const char *text, const char *name, const char *value);
/* A script of our own, run after the page is there. The one way to a script element. */
void fsp_html_script(struct fsp_html *html, const char *src);

#endif
