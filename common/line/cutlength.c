#include "line/cutlength.h"

#include <math.h>
#include <string.h>

#include "record/quantity.h"

#define PI 3.14159265358979323846

/* A drum within this of a column is that column; a mast within this of a band's end is in it. */
#define NEAR_IN 0.02
#define NEAR_FT 1e-6

/* What is believed to be a mast and a drum (house figures). */
#define LEAST_MAST_M 6.0
#define MOST_MAST_M  100.0
#define LEAST_DRUM_M 0.15
#define MOST_DRUM_M  3.0

static const double columns[FSP_CUT_COLUMNS] = {
        11, 13, 14, 16, 18, 20, 22, 24, 26, 28, 30, 32, 34, 36};

/* API RP 9B, laps between cuts: from memory, verify against your copy. */
static const struct fsp_cut_band bands[FSP_CUT_ROWS] = {
        {0, 72, {12.5, 11.5}},
        {72, 90, {17.5, 14.5, 12.5, 11.5}},
        {90, 119, {0, 0, 19.5, 17.5, 14.5, 12.5, 11.5, 11.5}},
        {119, 132, {0, 0, 0, 0, 17.5, 15.5, 14.5, 12.5, 12.5, 11.5}},
        {132, 140, {0, 0, 0, 0, 0, 0, 15.5, 14.5, 12.5, 11.5, 11.5}},
        {140, 150, {0, 0, 0, 0, 0, 0, 0, 0, 13.5, 12.5, 11.5, 11.5}},
        {150, 0, {0, 0, 0, 0, 0, 0, 0, 0, 0, 15.5, 14.5, 13.5, 12.5, 11.5}},
};

const struct fsp_cut_band *
fsp_cutlength_band(size_t row)
{
    return row < FSP_CUT_ROWS ? &bands[row] : NULL;
}

double
fsp_cutlength_column_in(size_t column)
{
    return column < FSP_CUT_COLUMNS ? columns[column] : 0;
}

double
fsp_cutlength_lap(double drum_m, double rope_m)
{
    return PI * (drum_m + (rope_m > 0 ? rope_m : 0));
}

/* A mast between two bands takes the higher row. */
static size_t
find_row(double mast_m)
{
    size_t row;

    for (row = 0; row + 1 < FSP_CUT_ROWS; row++) {
        if (mast_m / FSP_FT_M <= bands[row].to_ft + NEAR_FT)
            break;
    }
    return row;
}

/* The row's own length of a cut: the mean over its cells of laps times lap by the drum. */
static double
row_length_m(size_t row)
{
    double sum = 0;
    int cells = 0;
    size_t c;

    for (c = 0; c < FSP_CUT_COLUMNS; c++) {
        if (bands[row].laps[c] > 0) {
            sum += bands[row].laps[c] * fsp_cutlength_lap(columns[c] * FSP_IN_M, 0);
            cells++;
        }
    }
    return sum / cells;
}

/* To the nearest n + 1/2, or with two crossovers a lap to the nearest n + 1/4 or n + 3/4. */
static double
proper_laps(double laps, int crossovers)
{
    if (crossovers == 2)
        return floor(laps * 2) / 2 + 0.25;
    return floor(laps) + 0.5;
}

static double
table_laps(size_t row, double drum_m)
{
    size_t c;

    for (c = 0; c < FSP_CUT_COLUMNS; c++) {
        if (fabs(drum_m / FSP_IN_M - columns[c]) <= NEAR_IN)
            return bands[row].laps[c];
    }
    return 0;
}

enum fsp_rc
fsp_cutlength_find(double mast_m, double drum_m, double rope_m, int crossovers,
        struct fsp_cutlength *out, struct fsp_err *err)
{
    memset(out, 0, sizeof(*out));
    if (!(mast_m >= LEAST_MAST_M && mast_m <= MOST_MAST_M))
        return fsp_err_set(err, FSP_EINVAL,
                "mast: %.4g ft (%.4g m) is out of range; allowed: 6 m to 100 m (20 to 328 ft)",
                mast_m / FSP_FT_M, mast_m);
    if (!(drum_m >= LEAST_DRUM_M && drum_m <= MOST_DRUM_M))
        return fsp_err_set(err, FSP_EINVAL,
                "drum: %.4g in (%.4g m) is out of range; allowed: 0.15 m to 3 m (6 to 118 in)",
                drum_m / FSP_IN_M, drum_m);
    if (crossovers < 0 || crossovers > 2)
        return fsp_err_set(err, FSP_EINVAL,
                "crossovers: found %d a lap; the half and quarter laps are known for 1 and 2",
                crossovers);
    out->row = find_row(mast_m);
    out->laps = table_laps(out->row, drum_m);
    if (!(out->laps > 0) || crossovers == 2) {
        out->laps =
                proper_laps(row_length_m(out->row) / fsp_cutlength_lap(drum_m, 0), crossovers);
        out->derived = true;
    }
    out->drum_lap_m = fsp_cutlength_lap(drum_m, 0);
    out->drum_cut_m = out->laps * out->drum_lap_m;
    if (rope_m > 0) {
        out->centre_lap_m = fsp_cutlength_lap(drum_m, rope_m);
        out->centre_cut_m = out->laps * out->centre_lap_m;
    }
    out->cut_m = rope_m > 0 ? out->centre_cut_m : out->drum_cut_m;
    out->lap_m = rope_m > 0 ? out->centre_lap_m : out->drum_lap_m;
    return FSP_OK;
}
