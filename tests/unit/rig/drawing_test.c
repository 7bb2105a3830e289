#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/drawing.h"
#include "unit/line/reeved.h"

#define HALF_FT 0.501 /* lengths above 100 ft are shown in whole feet */

struct page {
    struct fsp_buf buf;
    struct fsp_html html;
};

static void
begin(struct page *page)
{
    fsp_buf_init(&page->buf, (size_t)1 << 20);
    fsp_html_begin(&page->html, &page->buf);
}

static const char *
end(struct page *page)
{
    struct fsp_err err = {0};

    fsp_html_end(&page->html);
    assert_int_equal(fsp_buf_check(&page->buf, "page", &err), FSP_OK);
    return fsp_buf_peek(&page->buf);
}

static size_t
count(const char *text, const char *word)
{
    size_t n = 0;

    for (const char *at = strstr(text, word); at != NULL; at = strstr(at + 1, word))
        n++;
    return n;
}

static struct fsp_candidate
plan_of(const struct fsp_geometry *g, double laps, int slips)
{
    struct fsp_candidate plan;

    fsp_critical_try(g, laps, slips, &plan);
    plan.moves = slips;
    return plan;
}

/* The heights of the crown, of both pick-ups and of every sheave are what the geometry says. */
static void
the_string_up_is_drawn_to_scale(void **state)
{
    struct fsp_geometry g = reeved_heron();
    const double per_m = (330.0 - 60.0) / g.crown_m;
    char low[336], high[336];
    struct page page;
    const char *text;

    (void)state;
    begin(&page);
    fsp_drawing_string_up(&page.html, &g, FSP_UNITS_FIELD);
    text = end(&page);
    (void)snprintf(low, sizeof(low), "cy=\"%.2f\"", 330.0 - g.pick_m[0] * per_m);
    (void)snprintf(high, sizeof(high), "cy=\"%.2f\"", 330.0 - g.pick_m[1] * per_m);
    assert_int_equal(count(text, "cy=\"60.00\""), (size_t)g.lines / 2 + 1);
    assert_int_equal(count(text, low), (size_t)g.lines / 2);
    assert_int_equal(count(text, high), (size_t)g.lines / 2);
    assert_non_null(strstr(text, "role=\"img\""));
    assert_non_null(
            strstr(text, "<title id=\"string-up-title\">The string-up, 10 lines</title>"));
    assert_non_null(strstr(text, "10 lines over 5 sheaves"));
    fsp_buf_fini(&page.buf);
}

static void
every_string_up_that_is_allowed_fits_the_drawing(void **state)
{
    (void)state;
    for (int lines = 2; lines <= 24; lines += 2) {
        struct fsp_geometry g = reeved_heron();
        struct page page;
        const char *text;

        g.lines = lines;
        begin(&page);
        fsp_drawing_string_up(&page.html, &g, FSP_UNITS_METRIC);
        text = end(&page);
        for (const char *at = strstr(text, "cx=\""); at != NULL; at = strstr(at + 1, "cx=\"")) {
            const double x = strtod(at + 4, NULL);

            assert_true(x >= 60.0 && x <= 700.0);
        }
        fsp_buf_fini(&page.buf);
    }
}

/* The n-th number of a table's row, in feet. */
static double
cell(const char *text, const char *row, int n)
{
    char want[96];
    const char *at;

    (void)snprintf(want, sizeof(want), "<th scope=\"row\">%s</th>", row);
    at = strstr(text, want);
    assert_non_null(at);
    for (int i = 0; i <= n; i++) {
        at = strstr(at + 1, "<td class=\"n\">");
        assert_non_null(at);
    }
    at += strlen("<td class=\"n\">");
    for (size_t used = 0; used + 1 < sizeof(want) && *at != ' '; at++)
        if (*at != ',') {
            want[used++] = *at;
            want[used] = '\0';
        }
    return strtod(want, NULL);
}

/* Against a rope that is reeved numerically and knows no formula (unit/line/reeved.h): the spots on
 * the sheaves as it lies, and after one slip. */
static void
the_table_agrees_with_a_rope_reeved_by_numbers(void **state)
{
    struct fsp_geometry g = reeved_heron();
    struct fsp_candidate plan = plan_of(&g, 11.5, 3);
    struct rope rope = {.g = &g};
    struct marks marks = {.n = 0};
    struct page page;
    const char *text;
    static const struct {
        const char *name;
        size_t sheave; /* from the drum */
        size_t pick;
    } rows[] = {{"fast-line sheave at pick-low", 0, 0}, {"fast-line sheave at pick-high", 0, 1},
            {"block sheave 1 at pick-low", 1, 0}, {"block sheave 5 at pick-high", 9, 1},
            {"crown sheave 2 at pick-high", 4, 1}, {"dead-line sheave", 10, 0}};

    (void)state;
    begin(&page);
    fsp_drawing_table(&page.html, &g, &plan, FSP_UNITS_FIELD);
    text = end(&page);
    reeved_reeve(&rope, &g);
    for (int slip = 0; slip <= plan.moves; slip++) {
        reeved_mark_sheaves(&rope, &marks);
        for (size_t r = 0; r < sizeof(rows) / sizeof(rows[0]); r++) {
            const double spot =
                    marks.y[rows[r].pick * ((size_t)g.lines + 1) + rows[r].sheave] / FSP_FT_M;

            assert_true(fabs(cell(text, rows[r].name, slip) - spot) <= HALF_FT);
        }
        rope.held += plan.slip_m; /* one slip at the anchor */
    }
    fsp_buf_fini(&page.buf);
}

/* A row for each move, the cut last; what lies on sheaves moves by each slip, the drum by the cut. */
static void
the_points_are_drawn_before_and_after_each_move(void **state)
{
    struct fsp_geometry g = reeved_heron();
    struct fsp_candidate plan = plan_of(&g, 11.5, 3);
    struct page page;
    const char *text;

    (void)state;
    begin(&page);
    fsp_drawing_points(&page.html, &g, &plan, FSP_UNITS_FIELD);
    text = end(&page);
    assert_int_equal(count(text, ">as it lies<"), 1);
    assert_int_equal(count(text, ">after slip "), 3);
    assert_int_equal(count(text, ">after the cut of "), 1);
    /* Crown sheaves in each row: two pick-ups but for the dead-line sheave; and two in the key. */
    assert_int_equal(count(text, "<polygon"), 5 * (size_t)(2 * (g.lines / 2) + 1) + 2);
    assert_int_equal(count(text, "<circle"), 5 * (size_t)g.lines + 2);
    assert_int_equal(count(text, "style="), 0);
    fsp_buf_fini(&page.buf);
}

static void
many_slips_leave_the_middle_rows_out_and_nothing_beyond_the_frame(void **state)
{
    (void)state;
    for (int round = 0; round < 100; round++) {
        struct fsp_geometry g = reeved_random_rig();
        struct fsp_candidate plan = plan_of(&g, 11.5, 1 + round % 12);
        struct page page;
        const char *text;
        size_t rows;

        begin(&page);
        fsp_drawing_points(&page.html, &g, &plan, FSP_UNITS_FIELD);
        text = end(&page);
        rows = count(text, ">after ") + count(text, ">as it lies<");
        assert_true(rows <= 8 && rows == (size_t)(plan.moves <= 6 ? plan.moves + 2 : 8));
        for (const char *at = strstr(text, " x2=\""); at != NULL; at = strstr(at + 1, " x2=\""))
            assert_true(strtod(at + 5, NULL) <= 940.01);
        fsp_buf_fini(&page.buf);
    }
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_string_up_is_drawn_to_scale),
            cmocka_unit_test(every_string_up_that_is_allowed_fits_the_drawing),
            cmocka_unit_test(the_table_agrees_with_a_rope_reeved_by_numbers),
            cmocka_unit_test(the_points_are_drawn_before_and_after_each_move),
            cmocka_unit_test(many_slips_leave_the_middle_rows_out_and_nothing_beyond_the_frame),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
