#include "rig/drawing.h"

#include <stdio.h>

#include "line/critical_say.h"
#include "record/quantity.h"

/* --- the string-up ---------------------------------------------------------------------------- */

/* Places in the view box of the string-up, in its own units. */
#define UP_WIDTH   760.0
#define UP_HEIGHT  470.0
#define CROWN_Y    60.0
#define LOWEST_Y   330.0 /* the block's lowest place */
#define FLOOR_Y    420.0 /* drum and anchor: not to scale */
#define DRUM_X     60.0
#define ANCHOR_X   700.0
#define FIRST_X    150.0 /* the fast-line sheave */
#define LAST_X     610.0 /* the dead-line sheave */
#define SHEAVE_R   14.0
#define SMALL_R    9.0 /* with many lines */
#define MANY_LINES 14
#define TEXT_DOWN  4.0 /* from a text's middle to its base line */
#define SCALE_X    20.0

struct up {
    const struct fsp_geometry *geometry;
    enum fsp_units units;
    double step; /* between neighbouring sheaves along the line */
    double radius;
};

static double
sheave_at(const struct up *up, int n)
{
    return FIRST_X + n * up->step;
}

static double
block_y(const struct up *up, int pick)
{
    const struct fsp_geometry *g = up->geometry;

    return LOWEST_Y - (LOWEST_Y - CROWN_Y) * g->pick_m[pick] / g->crown_m;
}

static void
say_height(struct fsp_buf *text, const char *what, double metres, enum fsp_units units)
{
    fsp_buf_reset(text);
    fsp_buf_printf(text, "%s ", what);
    fsp_say_length(text, metres, units);
}

/* Even places along the line are sheaves of the crown, odd ones of the block. */
static void
draw_sheaves(struct fsp_html *html, const struct up *up)
{
    char name[16];

    for (int n = 0; n <= up->geometry->lines; n++) {
        const double x = sheave_at(up, n);

        if (n % 2 == 0) {
            fsp_svg_circle(html, (double[2]){x, CROWN_Y}, up->radius, false, FSP_SVG_THICK);
            (void)snprintf(name, sizeof(name), "%d", n / 2);
            fsp_svg_text(html, (double[2]){x, CROWN_Y + TEXT_DOWN}, "middle", name);
            continue;
        }
        fsp_svg_circle(html, (double[2]){x, block_y(up, 1)}, up->radius, false, FSP_SVG_DASHED);
        fsp_svg_circle(html, (double[2]){x, block_y(up, 0)}, up->radius, false, FSP_SVG_THICK);
        (void)snprintf(name, sizeof(name), "%d", (n + 1) / 2);
        fsp_svg_text(html, (double[2]){x, block_y(up, 0) + TEXT_DOWN}, "middle", name);
    }
}

/* The N lines, then the fast line down to the drum and the dead line down to the anchor. */
static void
draw_lines(struct fsp_html *html, const struct up *up)
{
    const int lines = up->geometry->lines;
    const double low = block_y(up, 0);

    for (int n = 0; n < lines; n++) {
        const bool down = n % 2 == 0; /* from crown to block */
        const double left[2] = {sheave_at(up, n) + up->radius, down ? CROWN_Y : low};
        const double right[2] = {sheave_at(up, n + 1) - up->radius, down ? low : CROWN_Y};

        fsp_svg_line(html, left, right, FSP_SVG_THIN);
    }
    fsp_svg_line(html, (double[2]){sheave_at(up, 0) - up->radius, CROWN_Y},
            (double[2]){DRUM_X + 2 * SHEAVE_R, FLOOR_Y}, FSP_SVG_THICK);
    fsp_svg_line(html, (double[2]){sheave_at(up, lines) + up->radius, CROWN_Y},
            (double[2]){ANCHOR_X, FLOOR_Y - SHEAVE_R}, FSP_SVG_THICK);
}

static void
draw_ends(struct fsp_html *html)
{
    fsp_svg_circle(html, (double[2]){DRUM_X, FLOOR_Y}, 2 * SHEAVE_R, false, FSP_SVG_THICK);
    fsp_svg_circle(html, (double[2]){DRUM_X, FLOOR_Y}, SHEAVE_R, false, FSP_SVG_THIN);
    fsp_svg_text(html, (double[2]){DRUM_X, FLOOR_Y + 2 * SHEAVE_R + 16}, "middle", "drum");
    fsp_svg_rect(html, (double[2]){ANCHOR_X - SHEAVE_R, FLOOR_Y - SHEAVE_R},
            (double[2]){2 * SHEAVE_R, 2 * SHEAVE_R}, false, FSP_SVG_THICK);
    fsp_svg_text(html, (double[2]){ANCHOR_X, FLOOR_Y + 2 * SHEAVE_R + 16}, "middle", "anchor");
    fsp_svg_text(html, (double[2]){FIRST_X, CROWN_Y - 32}, "middle", "fast-line sheave");
    fsp_svg_text(html, (double[2]){LAST_X, CROWN_Y - 32}, "middle", "dead-line sheave");
}

/* Heights on a scale at the left, and one level line for each. */
static void
draw_heights(struct fsp_html *html, const struct up *up)
{
    const struct fsp_geometry *g = up->geometry;
    const struct {
        const char *what;
        double metres;
        double y;
    } marks[] = {{"crown", g->crown_m, CROWN_Y}, {"pick-high", g->pick_m[1], block_y(up, 1)},
            {"pick-low", g->pick_m[0], block_y(up, 0)}};
    double above = 0;
    struct fsp_buf text;

    fsp_buf_init(&text, 80);
    for (size_t i = 0; i < sizeof(marks) / sizeof(marks[0]); i++) {
        double y = marks[i].y - 4;

        if (i > 0 && y < above + 16) /* two heights that lie close */
            y = above + 16;
        above = y;
        say_height(&text, marks[i].what, marks[i].metres, up->units);
        fsp_svg_line(html, (double[2]){SCALE_X, marks[i].y},
                (double[2]){FIRST_X - 30, marks[i].y}, FSP_SVG_DASHED);
        fsp_svg_text(html, (double[2]){SCALE_X, y}, "start", fsp_buf_peek(&text));
    }
    fsp_buf_fini(&text);
}

void
fsp_drawing_string_up(
        struct fsp_html *html, const struct fsp_geometry *geometry, enum fsp_units units)
{
    const struct up up = {.geometry = geometry,
            .units = units,
            .step = (LAST_X - FIRST_X) / geometry->lines,
            .radius = geometry->lines > MANY_LINES ? SMALL_R : SHEAVE_R};
    struct fsp_svg svg = {.id = "string-up", .width = UP_WIDTH, .height = UP_HEIGHT};
    struct fsp_buf title;
    struct fsp_buf says;

    fsp_buf_init(&title, 80);
    fsp_buf_init(&says, 1024);
    fsp_buf_printf(&title, "The string-up, %d lines", geometry->lines);
    fsp_buf_printf(&says,
            "From the drum at the left the fast line goes up to the fast-line sheave of the "
            "crown, then down and up between crown and block, %d lines over %d sheaves of the "
            "block, and from the dead-line sheave down to the anchor at the right. The block "
            "is drawn at the lower pick-up, ",
            geometry->lines, geometry->lines / 2);
    fsp_say_length(&says, geometry->pick_m[0], units);
    fsp_buf_add_text(&says, " above its lowest place, and dashed at the upper, ");
    fsp_say_length(&says, geometry->pick_m[1], units);
    fsp_buf_add_text(&says, "; the crown lies ");
    fsp_say_length(&says, geometry->crown_m, units);
    fsp_buf_add_text(&says, " above it. Drum and anchor are not to scale.");
    svg.title = fsp_buf_peek(&title);
    svg.says = fsp_buf_peek(&says);
    fsp_svg_begin(html, &svg);
    draw_heights(html, &up);
    draw_lines(html, &up);
    draw_sheaves(html, &up);
    draw_ends(html);
    fsp_html_close(html);
    fsp_buf_fini(&says);
    fsp_buf_fini(&title);
}

/* --- the points ------------------------------------------------------------------------------- */

#define STRIP_WIDTH 960.0
#define STRIP_LEFT  20.0
#define STRIP_RIGHT 940.0
#define ROW_FIRST_Y 44.0
#define ROW_HEIGHT  62.0
#define MARK_R      5.0
#define TICK        8.0
#define ROWS_MAX    8 /* as it lies, the first slips, the last one, the cut */
#define KEY_HEIGHT  34.0

/* Where the line lies after some of the moves. */
struct row {
    int slip;         /* number of slips made; -1: the cut is made, too */
    double slipped_m; /* since now */
    double cut_m;
};

/* The rows that are drawn: with many slips the middle ones are left out. */
static size_t
list_rows(const struct fsp_candidate *plan, struct row rows[static ROWS_MAX])
{
    size_t n = 0;

    for (int slip = 0; slip <= plan->moves; slip++)
        if (slip < ROWS_MAX - 2 || slip == plan->moves)
            rows[n++] = (struct row){slip, slip * plan->slip_m, 0};
    rows[n++] = (struct row){-1, plan->moves * plan->slip_m, plan->cut_m};
    return n;
}

static void
say_row(struct fsp_buf *text, const struct fsp_candidate *plan, const struct row *row,
        enum fsp_units units)
{
    fsp_buf_reset(text);
    if (row->slip == 0) {
        fsp_buf_add_text(text, "as it lies");
    } else if (row->slip > 0) {
        fsp_buf_printf(text, "after slip %d of %d, ", row->slip, plan->moves);
        fsp_say_length(text, row->slipped_m, units);
        fsp_buf_add_text(text, " slipped");
    } else {
        fsp_buf_add_text(text, "after the cut of ");
        fsp_say_length(text, row->cut_m, units);
    }
}

struct strip {
    const struct fsp_geometry *geometry;
    double per_m; /* units of the view box */
};

static double
strip_x(const struct strip *strip, double y_m)
{
    return STRIP_LEFT + y_m * strip->per_m;
}

/* Crossovers on the drum's first layer, and its rise to the second. */
static void
draw_drum(struct fsp_html *html, const struct strip *strip, const struct row *row, double y)
{
    const struct fsp_geometry *g = strip->geometry;
    const double lap = fsp_critical_lap(g);
    const double spacing = lap / (g->crossovers == 2 ? 2 : 1);
    const double rope =
            g->wraps_low * lap + g->lines * g->pick_m[1] + row->slipped_m - row->cut_m;
    const double layer = g->laps_per_layer * lap;
    const double end = layer > 0 && layer < rope ? layer : rope;

    for (int i = 0; i * spacing < end; i++) {
        const double x = strip_x(strip, row->cut_m + i * spacing);

        fsp_svg_line(html, (double[2]){x, y}, (double[2]){x, y + TICK}, FSP_SVG_THIN);
    }
    if (end < rope) {
        const double x = strip_x(strip, row->cut_m + layer);

        fsp_svg_line(
                html, (double[2]){x, y - TICK}, (double[2]){x, y + 2 * TICK}, FSP_SVG_THICK);
    }
}

static void
draw_point(struct fsp_html *html, const struct fsp_point *point, double x, double y)
{
    const bool lower = point->pick != 1;

    switch (point->kind) {
    case FSP_POINT_CROWN:
        fsp_svg_triangle(html, (double[2]){x, y - TICK}, MARK_R, lower);
        break;
    case FSP_POINT_BLOCK:
        fsp_svg_circle(html, (double[2]){x, y - TICK}, MARK_R, lower, FSP_SVG_THIN);
        break;
    case FSP_POINT_ANCHOR:
        fsp_svg_rect(html, (double[2]){x - MARK_R, y - TICK - MARK_R},
                (double[2]){2 * MARK_R, 2 * MARK_R}, true, FSP_SVG_THIN);
        break;
    case FSP_POINT_CROSSOVER:
    case FSP_POINT_RISE:
        break; /* draw_drum() */
    }
}

static void
draw_row(struct fsp_html *html, const struct strip *strip, const struct row *row, double y,
        const char *name)
{
    struct fsp_point points[FSP_CRITICAL_POINTS];
    const size_t n = fsp_critical_points(strip->geometry, points);

    fsp_svg_text(html, (double[2]){STRIP_LEFT, y - 20}, "start", name);
    fsp_svg_line(html, (double[2]){strip_x(strip, row->cut_m), y},
            (double[2]){strip_x(strip, points[n - 1].x_m + row->slipped_m), y}, FSP_SVG_THICK);
    draw_drum(html, strip, row, y);
    for (size_t i = 0; i < n; i++)
        draw_point(html, &points[i], strip_x(strip, points[i].x_m + row->slipped_m), y);
}

static void
draw_key(struct fsp_html *html, double y)
{
    const struct {
        struct fsp_point point;
        const char *text;
    } keys[] = {
            {{.kind = FSP_POINT_CROWN}, "crown sheave, pick-low"},
            {{.kind = FSP_POINT_CROWN, .pick = 1}, "pick-high"},
            {{.kind = FSP_POINT_BLOCK}, "block sheave, pick-low"},
            {{.kind = FSP_POINT_BLOCK, .pick = 1}, "pick-high"},
            {{.kind = FSP_POINT_ANCHOR}, "anchor"},
    };
    static const double places[] = {STRIP_LEFT + 8, 210, 310, 490, 590};

    for (size_t i = 0; i < sizeof(keys) / sizeof(keys[0]); i++) {
        draw_point(html, &keys[i].point, places[i], y + TICK);
        fsp_svg_text(html, (double[2]){places[i] + 12, y + TEXT_DOWN}, "start", keys[i].text);
    }
    fsp_svg_line(html, (double[2]){680, y - 4}, (double[2]){680, y + 4}, FSP_SVG_THIN);
    fsp_svg_text(html, (double[2]){690, y + TEXT_DOWN}, "start", "crossover");
    fsp_svg_line(html, (double[2]){790, y - TICK}, (double[2]){790, y + TICK}, FSP_SVG_THICK);
    fsp_svg_text(html, (double[2]){800, y + TEXT_DOWN}, "start", "rise to 2nd layer");
}

static void
say_points(struct fsp_buf *says, const struct fsp_candidate *plan, enum fsp_units units)
{
    fsp_buf_add_text(says, "The line laid out from its first end, in rows: as it lies now, ");
    if (plan->moves > 0) {
        fsp_buf_printf(says, "after each of %d slips of ", plan->moves);
        fsp_say_length(says, plan->slip_m, units);
        fsp_buf_add_text(says, ", ");
    }
    fsp_buf_add_text(says, "and after the cut of ");
    fsp_say_length(says, plan->cut_m, units);
    fsp_buf_add_text(says,
            ". A spot that lies under a mark in one row should lie under none in a later one. "
            "The table gives every place as a number.");
}

void
fsp_drawing_points(struct fsp_html *html, const struct fsp_geometry *geometry,
        const struct fsp_candidate *plan, enum fsp_units units)
{
    struct fsp_point points[FSP_CRITICAL_POINTS];
    const size_t n_points = fsp_critical_points(geometry, points);
    struct row rows[ROWS_MAX];
    const size_t n = list_rows(plan, rows);
    const double whole = points[n_points - 1].x_m + plan->moves * plan->slip_m;
    const struct strip strip = {geometry, (STRIP_RIGHT - STRIP_LEFT) / whole};
    struct fsp_svg svg = {.id = "points",
            .title = "Where the line wears, before and after the planned slip and cut",
            .width = STRIP_WIDTH,
            .height = ROW_FIRST_Y + (double)n * ROW_HEIGHT + KEY_HEIGHT};
    struct fsp_buf text;

    fsp_buf_init(&text, 1024);
    say_points(&text, plan, units);
    svg.says = fsp_buf_peek(&text);
    fsp_svg_begin(html, &svg);
    for (size_t i = 0; i < n; i++) {
        say_row(&text, plan, &rows[i], units);
        draw_row(html, &strip, &rows[i], ROW_FIRST_Y + (double)i * ROW_HEIGHT,
                fsp_buf_peek(&text));
    }
    draw_key(html, ROW_FIRST_Y + (double)n * ROW_HEIGHT);
    fsp_html_close(html);
    fsp_buf_fini(&text);
}

/* --- the table -------------------------------------------------------------------------------- */

static void
number_cell(struct fsp_html *html, struct fsp_buf *text, double metres, enum fsp_units units)
{
    fsp_buf_reset(text);
    fsp_say_length(text, metres, units);
    fsp_html_element(html, "td", "n", fsp_buf_peek(text));
}

void
fsp_drawing_table(struct fsp_html *html, const struct fsp_geometry *geometry,
        const struct fsp_candidate *plan, enum fsp_units units)
{
    struct fsp_point points[FSP_CRITICAL_POINTS];
    const size_t n_points = fsp_critical_points(geometry, points);
    struct row rows[ROWS_MAX];
    const size_t n = list_rows(plan, rows) - 1; /* the cut moves no spot on a sheave */
    struct fsp_buf text;

    fsp_buf_init(&text, 256);
    fsp_html_open(html, "table");
    fsp_html_element(html, "caption", NULL,
            "Line from its first end to the spot that lies on each sheave");
    fsp_html_open(html, "tr");
    fsp_html_open(html, "th");
    fsp_html_attr(html, "scope", "col");
    fsp_html_text(html, "Place");
    fsp_html_close(html);
    for (size_t i = 0; i < n; i++) {
        say_row(&text, plan, &rows[i], units);
        fsp_html_open(html, "th");
        fsp_html_attr(html, "scope", "col");
        fsp_html_text(html, fsp_buf_peek(&text));
        fsp_html_close(html);
    }
    fsp_html_close(html);
    for (size_t p = 0; p < n_points; p++) {
        fsp_html_open(html, "tr");
        fsp_buf_reset(&text);
        fsp_critical_name(&points[p], geometry->lines, &text);
        fsp_html_open(html, "th");
        fsp_html_attr(html, "scope", "row");
        fsp_html_text(html, fsp_buf_peek(&text));
        fsp_html_close(html);
        for (size_t i = 0; i < n; i++)
            number_cell(html, &text, points[p].x_m + rows[i].slipped_m, units);
        fsp_html_close(html);
    }
    fsp_html_close(html);
    fsp_buf_fini(&text);
}
