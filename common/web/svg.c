#include "web/svg.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define ID_MAX      40
#define NUMBER_MAX  1e6
#define DOUBLE_TEXT 320 /* the longest double in %.2f */

static void
number(struct fsp_html *html, const char *name, double value)
{
    char text[DOUBLE_TEXT];

    assert(isfinite(value) && fabs(value) < NUMBER_MAX);
    (void)snprintf(text, sizeof(text), "%.2f", value);
    fsp_html_attr(html, name, text);
}

static void
outline(struct fsp_html *html, bool filled, enum fsp_svg_stroke stroke)
{
    fsp_html_attr(html, "fill", filled ? "currentColor" : "none");
    fsp_html_attr(html, "stroke", "currentColor");
    fsp_html_attr(html, "stroke-width", stroke == FSP_SVG_THICK ? "2.5" : "1.2");
    if (stroke == FSP_SVG_DASHED)
        fsp_html_attr(html, "stroke-dasharray", "4 3");
}

static void
named(struct fsp_html *html, const struct fsp_svg *svg, const char *element, const char *text)
{
    char id[ID_MAX + 8];

    (void)snprintf(id, sizeof(id), "%s-%s", svg->id, element);
    fsp_html_open(html, element);
    fsp_html_attr(html, "id", id);
    fsp_html_text(html, text);
    fsp_html_close(html);
}

void
fsp_svg_begin(struct fsp_html *html, const struct fsp_svg *svg)
{
    char text[2 * DOUBLE_TEXT + 8];

    assert(strlen(svg->id) <= ID_MAX);
    fsp_html_open(html, "svg");
    fsp_html_attr(html, "class", "drawing");
    fsp_html_attr(html, "role", "img");
    (void)snprintf(text, sizeof(text), "0 0 %.0f %.0f", svg->width, svg->height);
    fsp_html_attr(html, "viewBox", text);
    (void)snprintf(text, sizeof(text), "%s-title %s-desc", svg->id, svg->id);
    fsp_html_attr(html, "aria-labelledby", text);
    named(html, svg, "title", svg->title);
    named(html, svg, "desc", svg->says);
}

void
fsp_svg_group(struct fsp_html *html, const char *class_name)
{
    fsp_html_open(html, "g");
    if (class_name != NULL)
        fsp_html_attr(html, "class", class_name);
}

void
fsp_svg_line(struct fsp_html *html, const double from[2], const double to[2],
        enum fsp_svg_stroke stroke)
{
    fsp_html_open(html, "line");
    number(html, "x1", from[0]);
    number(html, "y1", from[1]);
    number(html, "x2", to[0]);
    number(html, "y2", to[1]);
    outline(html, false, stroke);
    fsp_html_close(html);
}

void
fsp_svg_circle(struct fsp_html *html, const double at[2], double radius, bool filled,
        enum fsp_svg_stroke stroke)
{
    fsp_html_open(html, "circle");
    number(html, "cx", at[0]);
    number(html, "cy", at[1]);
    number(html, "r", radius);
    outline(html, filled, stroke);
    fsp_html_close(html);
}

void
fsp_svg_rect(struct fsp_html *html, const double at[2], const double size[2], bool filled,
        enum fsp_svg_stroke stroke)
{
    fsp_html_open(html, "rect");
    number(html, "x", at[0]);
    number(html, "y", at[1]);
    number(html, "width", size[0]);
    number(html, "height", size[1]);
    outline(html, filled, stroke);
    fsp_html_close(html);
}

void
fsp_svg_triangle(struct fsp_html *html, const double at[2], double radius, bool filled)
{
    char points[6 * DOUBLE_TEXT + 8];

    assert(isfinite(at[0]) && isfinite(at[1]));
    (void)snprintf(points, sizeof(points), "%.2f,%.2f %.2f,%.2f %.2f,%.2f", at[0],
            at[1] - radius, at[0] + radius, at[1] + radius, at[0] - radius, at[1] + radius);
    fsp_html_open(html, "polygon");
    fsp_html_attr(html, "points", points);
    outline(html, filled, FSP_SVG_THIN);
    fsp_html_close(html);
}

void
fsp_svg_text(struct fsp_html *html, const double at[2], const char *anchor, const char *text)
{
    fsp_html_open(html, "text");
    number(html, "x", at[0]);
    number(html, "y", at[1]);
    fsp_html_attr(html, "text-anchor", anchor);
    fsp_html_attr(html, "fill", "currentColor");
    fsp_html_text(html, text);
    fsp_html_close(html);
}
