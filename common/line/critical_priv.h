/*
 * What critical.c and critical_next.c share.
 */
#ifndef FSP_LINE_CRITICAL_PRIV_H
#define FSP_LINE_CRITICAL_PRIV_H

#include "line/critical.h"

#define HALF_GIRTH (3.14159265358979323846 / 2)
#define EPSILON    1e-9

double fsp_critical_spacing(const struct fsp_geometry *g);
/* Rope on the drum with the block at its upper pick-up and that much slipped onto it. */
double fsp_critical_drum_rope(const struct fsp_geometry *g, double slipped_m);
/* The end of what is known of the drum: its first layer, or all that is ever on it. */
double fsp_critical_first_layer(const struct fsp_geometry *g, double slipped_m);

/* Count an overlap and keep its name; the sheaves are tried before the drum. */
void fsp_critical_judge(struct fsp_candidate *out, const struct fsp_overlap *overlap);
/* The drum after the cut against the drum as it was that far back along the line. */
void fsp_critical_meet_drum(
        const struct fsp_geometry *g, struct fsp_candidate *out, double moved_m, int slips_ago);
/* What lies on a sheave and on the drum, with so much slipped since the cut. */
void fsp_critical_mix(
        const struct fsp_geometry *g, struct fsp_candidate *out, double slipped_m);

/* The quarters of a lap to be tried round the table's; their number. */
int fsp_critical_quarters(double laps, int out[static FSP_CRITICAL_CANDIDATES]);
enum fsp_rc fsp_critical_check_laps(const struct fsp_geometry *geometry, double laps, int slips,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Put one into the list, best first. */
void fsp_critical_place(const struct fsp_candidate *one, double laps,
        struct fsp_candidate out[static FSP_CRITICAL_CANDIDATES], size_t *n);

#endif
