/*
 * A document of headings, paragraphs, points and labelled values, written as text of 78 columns and
 * as a page of HTML to print, both at once. Text comes from records and may hold anything: it is
 * made safe here.
 *
 * Ownership: a page borrows its two buffers until end.
 * Threads: one page, one thread.
 * Errors: stick in the buffers.
 */
#ifndef FSP_EXHIBIT_PAGE_H
#define FSP_EXHIBIT_PAGE_H

#include <stdbool.h>

#include "base/buf.h"
#include "base/err.h"
#include "web/html.h"

enum fsp_page_block {
    FSP_PAGE_NONE,
    FSP_PAGE_POINTS,
    FSP_PAGE_VALUES,
    FSP_PAGE_TABLE,
};

struct fsp_page {
    struct fsp_buf *text;
    struct fsp_html html;
    enum fsp_page_block block; /* what is open in the page */
    size_t columns;            /* of the table that is open */
};

void fsp_page_begin(
        struct fsp_page *page, struct fsp_buf *text, struct fsp_buf *html, const char *title);
void fsp_page_end(struct fsp_page *page);
void fsp_page_heading(struct fsp_page *page, const char *heading);
void fsp_page_para(struct fsp_page *page, const char *fmt, ...) FSP_PRINTF(2, 3);
/* One of a list. */
void fsp_page_point(struct fsp_page *page, const char *fmt, ...) FSP_PRINTF(2, 3);
/* "label: value", one of a list. */
void fsp_page_value(struct fsp_page *page, const char *label, const char *fmt, ...)
        FSP_PRINTF(3, 4);
/* A table's head, then its rows of as many cells; NULL ends either list. */
void fsp_page_columns(struct fsp_page *page, const char *const *names);
void fsp_page_row(struct fsp_page *page, const char *const *cells);

#endif
