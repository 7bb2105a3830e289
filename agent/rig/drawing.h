/*
 * The string-up drawn from the rig's own particulars, and where its critical points lie.
 *
 * Two drawings and a table. The string-up: crown, block at both pick-up heights, drum, anchor and the line
 * between them, laid out side by side in the order in which the line passes them; heights are to
 * scale. The points: the line from its first end, once as it lies now and once after each move of the
 * planned slip and cut, with the spots that lie on sheaves at either pick-up, at the anchor, on the drum's
 * crossovers and its rise to the second layer; lengths are to scale. The table gives the same
 * lengths as numbers.
 *
 * What is drawn is what line/critical.h tests: its formulas and limits hold here.
 *
 * Ownership: borrows all for the call. Threads: pure.
 * Units: metres in; shown in feet or metres as the rig's particulars were typed.
 * Errors: stick in the writer's buffer.
 */
#ifndef FSP_RIG_DRAWING_H
#define FSP_RIG_DRAWING_H

#include "line/critical.h"
#include "line/say.h"
#include "web/svg.h"

/* The geometry has been checked (fsp_critical_check). */
void fsp_drawing_string_up(
        struct fsp_html *html, const struct fsp_geometry *geometry, enum fsp_units units);
/* The planned slip and cut; its moves (0: all has been slipped) come first, the cut last. */
void fsp_drawing_points(struct fsp_html *html, const struct fsp_geometry *geometry,
        const struct fsp_candidate *plan, enum fsp_units units);
void fsp_drawing_table(struct fsp_html *html, const struct fsp_geometry *geometry,
        const struct fsp_candidate *plan, enum fsp_units units);

#endif
