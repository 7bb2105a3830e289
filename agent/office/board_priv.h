/*
 * What the pages share: the frame of every page, tables, cells, links to where numbers come from.
 *
 * A page is written from top to bottom into one buffer; nothing here reads a store. Every text of a
 * record goes through web/html.h.
 */
#ifndef FSP_OFFICE_BOARD_PRIV_H
#define FSP_OFFICE_BOARD_PRIV_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "office/board.h"
#include "web/html.h"

#define FSP_BOARD_LINK_MAX 384

/* --- the frame ------------------------------------------------------------------------------- */

/* Everything down to the open <main> with its heading, and from its end on. */
void fsp_board_begin(struct fsp_html *html, const struct fsp_board_page *page);
void fsp_board_end(struct fsp_html *html);
/* Where a number could hurt: the line's limit never the rig's, makers and local codes first. */
void fsp_board_caution(struct fsp_html *html);
/* A heading that links may lead to; id is a word. */
void fsp_board_section(struct fsp_html *html, const char *id, const char *title);
void fsp_board_para(struct fsp_html *html, const char *fmt, ...) FSP_PRINTF(2, 3);

/* --- tables ---------------------------------------------------------------------------------- */

/* A class of "n" is for numbers, "t" for times. */
struct fsp_board_column {
    const char *title;
    const char *class_name;
};

/* A table in a region that scrolls by itself where it must. The caller sets cards and id first. */
struct fsp_board_table {
    struct fsp_html *html;
    const struct fsp_board_column *columns;
    size_t n;
    size_t at;      /* the cell that comes next */
    bool cards;     /* on a narrow screen every row is a card */
    bool many;      /* rows, so that the region is no higher than a screen */
    const char *id; /* NULL: none */
};
void fsp_board_table_begin(struct fsp_board_table *table, struct fsp_html *html,
        const char *caption, const struct fsp_board_column *columns, size_t n);
void fsp_board_table_end(struct fsp_board_table *table);
/* Attributes may follow: a point of a plot. */
void fsp_board_row(struct fsp_board_table *table);
void fsp_board_row_end(struct fsp_board_table *table);
/* A cell is opened, filled and closed; the first of a row heads it. */
void fsp_board_cell_begin(struct fsp_board_table *table);
void fsp_board_cell_end(struct fsp_board_table *table);
/* NULL or "": a dash. */
void fsp_board_cell(struct fsp_board_table *table, const char *text);
void fsp_board_cell_link(struct fsp_board_table *table, const char *text, const char *href);
/* By fsp_say_number(), a dash when not known; href may be NULL. */
void fsp_board_cell_number(struct fsp_board_table *table, bool known, double value,
        int decimals, const char *href);
/* Seconds since 1970; 0: never. href may be NULL. */
void fsp_board_cell_time(struct fsp_board_table *table, int64_t utc_s, const char *href);

/* --- pieces ---------------------------------------------------------------------------------- */

void fsp_board_link(struct fsp_html *html, const char *text, const char *href);
void fsp_board_time(struct fsp_html *html, int64_t utc_s);
/* "state stop", "state warn", "state good", "state plain". Static. */
const char *fsp_board_due_class(enum fsp_due due);
const char *fsp_board_sig_class(enum fsp_sig_state sig);
void fsp_board_due(struct fsp_html *html, enum fsp_due due, const char *why);
void fsp_board_sig(struct fsp_html *html, enum fsp_sig_state sig);
/* Served against goal: the share, a bar, both numbers. */
void fsp_board_served(struct fsp_html *html, const struct fsp_ledger_view *view);
/* A flag in words, with its reason and who looked at it. */
void fsp_board_flag(struct fsp_html *html, const struct fsp_flag *flag);
/* The rig's flags with what was acknowledged of them; how many. */
size_t fsp_board_flag_list(const struct fsp_board_page *page, const struct fsp_fleet_rig *rig,
        struct fsp_flag out[static FSP_FLAGS_MAX]);
/* All of them as a list. */
void fsp_board_rig_flags(struct fsp_html *html, const struct fsp_board_page *page,
        const struct fsp_fleet_rig *rig);
/* Cuts: the table's head, a row of one, with its points for a plot by time. */
void fsp_board_cuts_begin(
        struct fsp_board_table *table, struct fsp_html *html, const char *caption);
void fsp_board_cut_row(
        struct fsp_board_table *table, const char *rig, const struct fsp_cut_row *cut);
/* Seven cells of an inspection: when, reel, scope, decision, inspector, signature, countersigned. */
void fsp_board_inspection_cells(
        struct fsp_board_table *table, const char *rig, const struct fsp_fold_inspection *one);
/* "1-3/8 in EIPS". */
void fsp_board_rope(double rope_m, const char *grade, struct fsp_buf *buf);
/* "3 h", "12 days". */
void fsp_board_age(int64_t seconds, struct fsp_buf *buf);

/* Addresses. Names of rigs are of a-z, 0-9 and hyphens. */
void fsp_board_rig_href(const char *rig, char out[static FSP_BOARD_LINK_MAX]);
void fsp_board_entry_href(
        const char *rig, uint32_t log, uint64_t index, char out[static FSP_BOARD_LINK_MAX]);

/* Append "&name=value", the value escaped (RFC 3986, unreserved characters stay); NULL: nothing. */
void fsp_board_query(struct fsp_buf *buf, const char *name, const char *value);

/* "2026-03-01", the begin of that day in UTC; false and 0 when it is none. */
bool fsp_board_day(const char *text, int64_t *day_s);
/* The command that writes the entry's evidence into a folder. */
void fsp_board_prove(
        struct fsp_html *html, const struct fsp_fleet_rig *rig, uint32_t log, uint64_t index);
/* "record" and "proof" to download, for those who may. */
void fsp_board_evidence_links(struct fsp_html *html, const struct fsp_board_page *page,
        const char *rig, uint32_t log, uint64_t index);

/* --- plots ----------------------------------------------------------------------------------- */

/*
 * A place for a plot, drawn by pages/board.js from the rows of the table with this id: those that
 * bear data-x, data-y, data-series (and data-name). Without script it stays hidden and the table says
 * all.
 */
struct fsp_board_plot {
    const char *kind;    /* "time": x is seconds since 1970; "number" */
    const char *table;   /* id of the table */
    const char *label;   /* read out in its place */
    const char *x_title; /* of the axes */
    const char *y_title;
};
void fsp_board_plot(struct fsp_html *html, const struct fsp_board_plot *plot);
/* Attributes of the row just begun. name may be NULL. */
void fsp_board_point(struct fsp_board_table *table, const char *series, double x, double y,
        const char *name);
/* The goal that stands beside the point. */
void fsp_board_goal(struct fsp_board_table *table, double goal);

/* --- tables to download (board_tables.c) ------------------------------------------------------ */

const struct fsp_board_about *fsp_board_about_of(const struct fsp_board *board); /* peek */
/* GET /tables/NAME.csv and .json, of one rig with ?rig=NAME. ctx is the board. */
void fsp_board_table_download(
        void *ctx, const struct fsp_http_request *request, struct fsp_http_answer *answer);

#endif
