/*
 * How much line to cut: laps by mast and drum, laps to feet, slips.
 *
 * Source of the table: API RP 9B, from memory, verify against your copy; the cell for 141 to
 * 150 ft and 30 in is also common practice. One lap by the drum (pi x diameter) is common
 * practice, no source; by the rope's centre line (pi x (drum + rope)) it is derived. The half lap
 * moves a drum's crossovers onto fresh line; a drum with two crossovers a lap needs a quarter.
 *
 * Units: metres; laps are plain numbers. Threads: pure. Errors: FSP_EINVAL.
 */
#ifndef FSP_LINE_CUTLENGTH_H
#define FSP_LINE_CUTLENGTH_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"

#define FSP_CUT_ROWS    7
#define FSP_CUT_COLUMNS 14

/* The table as it is: laps, 0 where blank. */
struct fsp_cut_band {
    double over_ft; /* masts above this … */
    double to_ft;   /* … up to and with this; 0: no end */
    double laps[FSP_CUT_COLUMNS];
};

struct fsp_cutlength {
    double laps;
    double drum_lap_m;   /* pi x drum */
    double centre_lap_m; /* pi x (drum + rope); 0 when the rope is unknown */
    double drum_cut_m;   /* laps x drum lap */
    double centre_cut_m; /* laps x centre lap; 0 when the rope is unknown */
    double cut_m;        /* by the rope's centre line when known, else by the drum */
    double lap_m;        /* the lap cut_m rests on */
    bool derived;        /* no cell of the table: the row's length divided by the lap */
    size_t row;
};

const struct fsp_cut_band *fsp_cutlength_band(size_t row); /* NULL past the end */
double fsp_cutlength_column_in(size_t column); /* drum diameter, in; 0 past the end */

/* rope_m 0: unknown. crossovers a lap: 0 or 1 half laps, 2 quarter laps. */
enum fsp_rc fsp_cutlength_find(double mast_m, double drum_m, double rope_m, int crossovers,
        struct fsp_cutlength *out, struct fsp_err *err) FSP_MUST_CHECK;

/* One lap: by the rope's centre when rope_m is above 0, else by the drum. */
double fsp_cutlength_lap(double drum_m, double rope_m);

/* Laps, lap and slips with their numbers, several lines. */
void fsp_cutlength_formula(const struct fsp_cutlength *cut, double drum_m, double rope_m,
        int slips, struct fsp_buf *buf);

#endif
