/*
 * Drawings inside a page: SVG elements through the escaping writer of html.h.
 *
 * Lines are drawn in the colour of the text (currentColor), so that a drawing is good in light, dark and
 * on paper; nothing is said by colour alone. Each drawing bears a title and a description in words.
 *
 * Ownership: borrows the writer for each call. Threads: as the writer.
 * Units: those of the view box, written with two decimals at most.
 * Errors: stick in the writer's buffer.
 * Source: W3C SVG 1.1 (second edition), sections 5, 9 and 10, from memory.
 */
#ifndef FSP_WEB_SVG_H
#define FSP_WEB_SVG_H

#include "web/html.h"

enum fsp_svg_stroke {
    FSP_SVG_THIN,
    FSP_SVG_THICK,
    FSP_SVG_DASHED,
};

/* Open a drawing; id names it within the page (title and description get ids made of it, so it is at
 * most 40 of a-z, 0-9 and hyphens). Closed by fsp_html_close(). */
struct fsp_svg {
    const char *id;
    const char *title;
    const char *says; /* the drawing in words */
    double width;
    double height;
};
void fsp_svg_begin(struct fsp_html *html, const struct fsp_svg *svg);
/* A group with a class (may be NULL), closed by fsp_html_close(). */
void fsp_svg_group(struct fsp_html *html, const char *class_name);

void fsp_svg_line(struct fsp_html *html, const double from[2], const double to[2],
        enum fsp_svg_stroke stroke);
void fsp_svg_circle(struct fsp_html *html, const double at[2], double radius, bool filled,
        enum fsp_svg_stroke stroke);
void fsp_svg_rect(struct fsp_html *html, const double at[2], const double size[2], bool filled,
        enum fsp_svg_stroke stroke);
/* A triangle that points up, its middle at `at`. */
void fsp_svg_triangle(struct fsp_html *html, const double at[2], double radius, bool filled);
/* anchor: "start", "middle" or "end". */
void fsp_svg_text(
        struct fsp_html *html, const double at[2], const char *anchor, const char *text);

#endif
