/* GET /early: rigs flagged for repeated early cuts, with the evidence cut by cut. */
#include <stdio.h>
#include <string.h>

#include "line/say.h"
#include "office/board_priv.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* Index of the first cut of the window that the review judged. */
static size_t
window_start(const struct fsp_fleet_rig *rig)
{
    size_t left = rig->review.window;
    size_t i = rig->n_cuts;

    while (i > 0 && left > 0) {
        i--;
        if (rig->cuts[i]->eligible)
            left--;
    }
    return i;
}

static void
chance(struct fsp_html *html, const struct fsp_review *review)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 512);
    if (review->tail > 0.0 && review->tail < 1.0) {
        fsp_buf_add_text(&text, "Chance alone: 1 in ");
        fsp_say_number(&text, 1.0 / review->tail, 0);
        fsp_buf_add_text(&text, ", at ");
        fsp_say_number(&text, 100.0 * review->rate, 1);
        fsp_buf_add_text(&text,
                " % early cuts, the rate of the fleet's other rigs on this size of rope over "
                "twelve months, never below 3 %.");
    }
    fsp_html_element(html, "p", NULL, fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

static void
look_first(struct fsp_html *html, const struct fsp_fleet_rig *rig)
{
    fsp_html_element(html, "h3", NULL, "What to look at first");
    fsp_html_open(html, "ul");
    fsp_html_attr(html, "class", "list");
    if (rig->review.place != NULL) {
        fsp_html_open(html, "li");
        fsp_html_text(html, "Most of them were cut for wear at: ");
        fsp_html_text(html, rig->review.place);
        fsp_html_close(html);
    }
    for (size_t i = 0; i < rig->n_advice; i++) {
        fsp_html_open(html, "li");
        fsp_html_text(html, rig->advice[i].text);
        if (rig->advice[i].followed != FSP_FOLLOWED_UNKNOWN) {
            fsp_html_text(html, " It followed ");
            fsp_html_text(html, fsp_followed_text(rig->advice[i].followed));
            fsp_html_text(html, ".");
        }
        fsp_html_close(html);
    }
    if (rig->review.place == NULL && rig->n_advice == 0)
        fsp_html_element(html, "li", NULL,
                "The cuts name no place that they share: the rope and its certificate, "
                "sheaves and drum, then the counting.");
    fsp_html_close(html);
}

static void
flagged(struct fsp_html *html, const struct fsp_board_page *page,
        const struct fsp_fleet_rig *rig)
{
    struct fsp_flag flags[FSP_FLAGS_MAX];
    const size_t n = fsp_board_flag_list(page, rig, flags);
    struct fsp_board_table table = {.cards = false};
    char href[FSP_BOARD_LINK_MAX];
    char caption[128];

    fsp_html_open(html, "h2");
    fsp_html_attr(html, "id", rig->name);
    fsp_board_rig_href(rig->name, href);
    fsp_board_link(html, rig->name, href);
    fsp_html_close(html);
    fsp_html_open(html, "p");
    fsp_html_element(html, "strong", NULL, rig->review.text);
    fsp_html_close(html);
    for (size_t i = 0; i < n; i++)
        if (flags[i].kind == FSP_FLAG_EARLY_WEAR && flags[i].acknowledged) {
            fsp_html_open(html, "p");
            fsp_board_flag(html, &flags[i]);
            fsp_html_close(html);
        }
    chance(html, &rig->review);
    look_first(html, rig);
    (void)snprintf(caption, sizeof(caption), "The cuts of %.64s that were judged, oldest first",
            rig->name);
    fsp_board_cuts_begin(&table, html, caption);
    for (size_t i = window_start(rig); i < rig->n_cuts; i++)
        if (rig->cuts[i]->eligible)
            fsp_board_cut_row(&table, rig->name, rig->cuts[i]);
    fsp_board_table_end(&table);
}

/* What else several cuts in a row say. */
static void
others(struct fsp_html *html, const struct fsp_fleet *fleet)
{
    static const struct fsp_board_column columns[] = {{"Rig", NULL},
            {"Repeated early cuts", NULL}, {"Eligible cuts", "n"},
            {"Early of those judged", "n"}, {"Besides", NULL}};
    struct fsp_board_table table = {.cards = true};

    fsp_board_section(html, "others", "The other rigs");
    fsp_board_para(html,
            "Judged over the last %d to %d eligible cuts: not the first of a line, not the "
            "first after a change of goal, not incomplete, planned, or under an open derate. "
            "Below %d a rig is watched.",
            FSP_REVIEW_LEAST, FSP_REVIEW_MOST, FSP_REVIEW_LEAST);
    fsp_board_table_begin(&table, html, "Rigs that are not flagged", columns, COUNT(columns));
    for (size_t i = 0; i < fleet->n; i++) {
        const struct fsp_fleet_rig *rig = fleet->rigs[i];
        char href[FSP_BOARD_LINK_MAX];

        if (rig->review.state == FSP_REVIEW_FLAGGED)
            continue;
        fsp_board_rig_href(rig->name, href);
        fsp_board_row(&table);
        fsp_board_cell_link(&table, rig->name, href);
        fsp_board_cell(&table, fsp_review_state_text(rig->review.state));
        fsp_board_cell_number(&table, true, (double)rig->review.eligible, 0, NULL);
        fsp_board_cell_number(
                &table, rig->review.window > 0, (double)rig->review.early, 0, NULL);
        fsp_board_cell_begin(&table);
        if (rig->review.wear_left)
            fsp_html_element(html, "span", "why", rig->review.wear_left_text);
        if (rig->review.planned_repeat)
            fsp_html_element(html, "span", "why", rig->review.planned_text);
        fsp_board_cell_end(&table);
        fsp_board_row_end(&table);
    }
    fsp_board_table_end(&table);
}

void
fsp_board_early(const struct fsp_board_page *page, struct fsp_buf *buf)
{
    const struct fsp_fleet *fleet = page->fleet;
    struct fsp_html html;
    size_t n = 0;

    for (size_t i = 0; i < fleet->n; i++)
        n += fleet->rigs[i]->review.state == FSP_REVIEW_FLAGGED ? 1 : 0;
    fsp_html_begin(&html, buf);
    fsp_board_begin(&html, page);
    fsp_board_caution(&html);
    if (n == 0)
        fsp_board_para(&html, "No rig keeps cutting early.");
    else
        fsp_board_para(&html,
                "%zu of %zu rigs %s cutting early for wear. Inspect the line before anything "
                "is "
                "changed.",
                n, fleet->n, n == 1 ? "keeps" : "keep");
    for (size_t i = 0; i < fleet->n; i++)
        if (fleet->rigs[i]->review.state == FSP_REVIEW_FLAGGED)
            flagged(&html, page, fleet->rigs[i]);
    others(&html, fleet);
    fsp_board_end(&html);
    fsp_html_end(&html);
}
