#include "unit/line/reeved.h"

#include <math.h>

struct fsp_geometry
reeved_heron(void)
{
    struct fsp_geometry g = {.lines = 10, .crossovers = 1};

    g.drum_m = INCH(30);
    g.rope_m = INCH(1.375);
    g.wraps_low = 14;
    g.laps_per_layer = 38;
    g.fast_m = FT(150);
    g.dead_m = FT(150);
    g.crown_m = FT(142);
    g.pick_m[0] = FT(6);
    g.pick_m[1] = FT(97);
    g.sheave_m = FT(4.5);
    return g;
}

/* Walk from drum to anchor with the block at z: lengths from the drum to each sheave's first
 * contact and to the anchor. Returns the whole way. */
static double
walk(const struct fsp_geometry *g, double z, double *to_sheave)
{
    double way = g->fast_m, leg = g->crown_m - z, girth = PI * g->sheave_m / 2;
    int passed;

    for (passed = 0; passed <= g->lines; passed++) {
        to_sheave[passed] = way;
        way += girth;
        if (passed < g->lines)
            way += leg;
    }
    return way + g->dead_m;
}

void
reeved_reeve(struct rope *rope, const struct fsp_geometry *g)
{
    double to[MARKS_MAX] = {0};

    rope->g = g;
    rope->clamp_y = 0;
    rope->held = g->wraps_low * PI * (g->drum_m + g->rope_m) + walk(g, 0, to);
}

double
reeved_on_drum(const struct rope *rope, double z)
{
    double to[MARKS_MAX] = {0};

    return rope->held - walk(rope->g, z, to);
}

void
reeved_mark_sheaves(const struct rope *rope, struct marks *marks)
{
    double to[MARKS_MAX] = {0}, drum;
    int pick, n;

    marks->n = 0;
    for (pick = 0; pick < 2; pick++) {
        drum = reeved_on_drum(rope, rope->g->pick_m[pick]);
        (void)walk(rope->g, rope->g->pick_m[pick], to);
        for (n = 0; n <= rope->g->lines; n++) {
            if (pick == 1 && n == rope->g->lines)
                continue; /* the dead-line sheave sees the same spot at both */
            marks->y[marks->n++] = rope->clamp_y + drum + to[n];
        }
    }
    marks->anchor_y = rope->clamp_y + rope->held;
}

static uint32_t seed = 20260401;

double
reeved_between(double least, double most)
{
    seed = seed * 1664525U + 1013904223U;
    return least + (most - least) * (double)(seed >> 8) / 16777216.0;
}

struct fsp_geometry
reeved_random_rig(void)
{
    struct fsp_geometry g = {
            .lines = 2 * (int)reeved_between(2, 8), .crossovers = (int)reeved_between(1, 3)};

    g.drum_m = reeved_between(0.4, 0.95);
    g.rope_m = reeved_between(0.022, 0.05);
    g.wraps_low = floor(reeved_between(8, 25));
    g.laps_per_layer = reeved_between(0, 1) < 0.3 ? 0 : floor(reeved_between(30, 50)) + 0.37;
    g.crown_m = reeved_between(25, 55);
    g.fast_m = g.crown_m * reeved_between(1, 1.2);
    g.dead_m = reeved_between(0, 1) < 0.3 ? 0 : g.crown_m;
    g.pick_m[0] = reeved_between(0, 3);
    g.pick_m[1] = g.crown_m * reeved_between(0.5, 0.8);
    g.sheave_m = reeved_between(0.8, 1.6);
    return g;
}

int
reeved_meetings(const struct marks *now, const struct marks *old, bool anchor)
{
    size_t i, j;
    int met = 0;

    for (i = 0; i < now->n; i++) {
        for (j = 0; j < old->n; j++)
            met += fabs(now->y[i] - old->y[j]) <= FT(3) ? 1 : 0;
        if (anchor)
            met += fabs(now->y[i] - old->anchor_y) <= FT(3) ? 1 : 0;
    }
    return met;
}

void
reeved_mark_drum(const struct rope *rope, double slipped_m, struct drum *drum)
{
    const struct fsp_geometry *g = rope->g;
    double lap = PI * (g->drum_m + g->rope_m);
    double rope_m = reeved_on_drum(rope, g->pick_m[1]) + slipped_m;

    drum->every = lap / g->crossovers;
    drum->first_y = rope->clamp_y + drum->every;
    drum->rise_y = 0;
    if (g->laps_per_layer > 0 && g->laps_per_layer * lap < rope_m) {
        rope_m = g->laps_per_layer * lap;
        drum->rise_y = rope->clamp_y + rope_m;
    }
    drum->n = (int)floor(rope_m / drum->every + 1e-9);
}

int
reeved_drum_meetings(const struct drum *now, const struct drum *old)
{
    double near = now->every / 5 + 1e-9;
    bool cross = false, rise = false;
    int i, j;

    for (i = 0; i < now->n; i++) {
        double y = now->first_y + i * now->every;

        for (j = 0; j < old->n; j++)
            cross = cross || fabs(y - (old->first_y + j * old->every)) <= near;
        rise = rise || (old->rise_y > 0 && fabs(y - old->rise_y) <= near);
    }
    return (cross ? 1 : 0) + (rise ? 1 : 0);
}
