/*
 * What board.c and board_rig.c share: the frame of every page, and cells.
 */
#ifndef FSP_OFFICE_BOARD_PRIV_H
#define FSP_OFFICE_BOARD_PRIV_H

#include "office/board.h"
#include "web/html.h"

/* Everything down to the open <main>, and from its end on. `of` NULL: the fleet as a whole. */
void fsp_board_begin(struct fsp_html *html, const struct fsp_fleet *fleet, const char *of);
void fsp_board_end(struct fsp_html *html);

/* A table in a region that scrolls: caption and columns; a class of "n" is for numbers. */
struct fsp_board_column {
    const char *title;
    const char *class_name;
};
void fsp_board_table(struct fsp_html *html, const char *caption,
        const struct fsp_board_column *columns, size_t n);
void fsp_board_table_end(struct fsp_html *html);

const char *fsp_board_state_class(enum fsp_due due);
void fsp_board_number(struct fsp_html *html, bool known, double value, int decimals);
void fsp_board_time(struct fsp_html *html, int64_t utc_s);
void fsp_board_flags(struct fsp_html *html, const struct fsp_fleet_rig *rig);

#endif
