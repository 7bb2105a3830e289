/*
 * A writer of HTML that escapes by context: elements, attributes, text.
 *
 * Names of elements and attributes are our own literals; everything else may be hostile. Text and
 * attribute values first go through fsp_text_show(), so control and direction characters appear as
 * \xHH, then every character HTML gives a meaning is escaped. Raw markup cannot be written, so
 * neither scripts nor inline styles can.
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
/* Close the innermost element. */
void fsp_html_close(struct fsp_html *html);
/* Open, give the class (NULL: none), write the text, close. */
void fsp_html_element(
        struct fsp_html *html, const char *name, const char *class_name, const char *text);

#endif
