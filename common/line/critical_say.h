/*
 * The check of the critical points for people and programs: what it needs, and what it found.
 *
 * Ownership: texts go to the caller's buffers; names are static.
 * Units: metres in; feet in JSON, as its names say.
 * Threads: pure. Errors: those of the buffers stick in them.
 */
#ifndef FSP_LINE_CRITICAL_SAY_H
#define FSP_LINE_CRITICAL_SAY_H

#include <stddef.h>

#include "base/buf.h"
#include "line/critical.h"
#include "line/say.h"

#define FSP_CRITICAL_NEEDS 6

/* A rig's particulars as they are known: 0 for a count or length not given, NAN for a height, a
 * number of wraps or of laps not given. */
struct fsp_particulars {
    double drum_m, rope_m, sheave_m, fast_m, dead_m;
    int lines, crossovers;
    double laps_per_layer, wraps_low;
    double crown_m, block_low_m, pick_low_m, pick_high_m; /* above the floor */
};

/* The fields without which there is no check, by name; their number, 0 when it can be made. */
size_t fsp_critical_needs(
        const struct fsp_particulars *known, const char *out[static FSP_CRITICAL_NEEDS]);
/* The geometry, complete; what was taken for what is not given, one line each into assumed. */
void fsp_critical_geometry(
        const struct fsp_particulars *known, struct fsp_geometry *out, struct fsp_buf *assumed);

/* "block sheave 2 at pick-low", "fast-line sheave at pick-high", "crossovers". */
void fsp_critical_name(const struct fsp_point *point, int lines, struct fsp_buf *buf);

/* The candidates as a JSON list, best first. */
void fsp_critical_json(
        const struct fsp_candidate *list, size_t n, int lines, struct fsp_buf *buf);
/* One candidate: a line with its figures, then up to `left` of what it leaves, one line each. */
void fsp_critical_text(size_t rank, const struct fsp_candidate *one, int lines, size_t left,
        enum fsp_units units, struct fsp_buf *buf);
/* "1. 10.5 laps 86.2 ft, slip 2 x 27.4 ft: 18 sheave, 2 crossover, 2 back": what it leaves, and how
 * many slips back the nearest lies; no line end. */
void fsp_critical_brief(size_t rank, const struct fsp_candidate *one, enum fsp_units units,
        struct fsp_buf *buf);

#endif
