/*
 * A drilling line reeved numerically, to hold the geometry's formulas against: nothing here knows
 * them. One rope from the drum's clamp to the anchor; spots are named by y, their length from the
 * line's first end.
 *
 * Ownership: the caller's. Units: metres. Threads: one (random numbers are seeded here). Errors: none.
 */
#ifndef FSP_UNIT_LINE_REEVED_H
#define FSP_UNIT_LINE_REEVED_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "line/critical.h"
#include "record/quantity.h"

#define FT(x)     ((x)*FSP_FT_M)
#define INCH(x)   ((x)*FSP_IN_M)
#define PI        3.14159265358979323846
#define MARKS_MAX 64

/* Moving the block moves rope between drum and blocks; what lies between clamp and anchor changes
 * by slips, cuts and changes of string-up alone. */
struct rope {
    const struct fsp_geometry *g;
    double held;    /* rope between clamp and anchor */
    double clamp_y; /* the spot at the clamp: all cut so far */
};

struct marks {
    double y[MARKS_MAX];
    size_t n;
    double anchor_y;
};

struct drum {
    double first_y, every; /* spots of crossovers: first_y + i x every, i = 0 .. n - 1 */
    int n;
    double rise_y; /* 0: none */
};

/* A mast of 142 ft, 10 lines. */
struct fsp_geometry reeved_heron(void);
struct fsp_geometry reeved_random_rig(void);
double reeved_between(double least, double most);

void reeved_reeve(struct rope *rope, const struct fsp_geometry *g);
/* Rope on the drum with the block at z. */
double reeved_on_drum(const struct rope *rope, double z);
/* Every spot that lies on a sheave at one of the pick-ups, and the anchor. */
void reeved_mark_sheaves(const struct rope *rope, struct marks *marks);
/* The crossovers of the first layer, with so much slipped onto the drum. */
void reeved_mark_drum(const struct rope *rope, double slipped_m, struct drum *drum);
/* Old spots within reach of the new ones, tried by brute force. */
int reeved_meetings(const struct marks *now, const struct marks *old, bool anchor);
int reeved_drum_meetings(const struct drum *now, const struct drum *old);

#endif
