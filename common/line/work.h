/*
 * The work one operation does on the line.
 *
 * Sources: API RP 9B, rotary drilling line evaluation, and Lapeyrouse, Formulas and Calculations
 * for Drilling, Production, and Workover, for round trip, short trip, coring and drilling with a
 * kelly and one ream; buoyancy 1 - mud / 65.5 ppg from the latter. Half trip, pieces of trips,
 * casing, liner and drilling by motion are derived from the motion of the block. Drilling without
 * or with two reams, and on a top drive: from memory and common practice, verify against your
 * copy. Reaming: one pass is taken as a short trip over the interval, which is on the safe side
 * of its motion. Friction is in none of them. Measured depth overstates the load in long
 * horizontal sections: prefer counted work there.
 *
 * Ownership: sections are borrowed for the call; err and formula texts go to the caller's storage.
 * Units: metres, newtons (weights as forces), N/m, kg/m3, joules.
 * Threads: pure.
 * Errors: FSP_EINVAL, the text names the field, what was found and what is allowed.
 */
#ifndef FSP_LINE_WORK_H
#define FSP_LINE_WORK_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"
#include "line/say.h"

#define FSP_MUD_LIMIT_KGM3 (65.5 * 0.45359237 / 0.003785411784) /* 65.5 lb per US gal */

enum fsp_op_code {
    FSP_OP_NONE = 0,
    FSP_OP_ROUND_TRIP,
    FSP_OP_HALF_TRIP,
    FSP_OP_PULL_OUT,
    FSP_OP_RUN_IN,
    FSP_OP_SHORT_TRIP,
    FSP_OP_DRILLING,
    FSP_OP_REAMING,
    FSP_OP_CORING,
    FSP_OP_CASING,
    FSP_OP_LINER,
    FSP_OP_MOVES,
    FSP_OP_COUNTED,
    FSP_OP_STATED,
};

enum fsp_drive {
    FSP_DRIVE_UNSAID = 0,
    FSP_DRIVE_KELLY,
    FSP_DRIVE_TOP,
};

/* The string and what it hangs in. */
struct fsp_work_string {
    double pipe_nm; /* in air, with tool joints */
    double stand_m;
    double bha_n; /* in air */
    double bha_m;
    double mud_kgm3; /* 0: air */
    double block_n;  /* everything that moves with the block but is not string */
};

/* Casing of one weight; sections in the order they are run, the shoe's first. */
struct fsp_work_section {
    double linear_nm;
    double length_m;
};

#define FSP_WORK_SECTIONS_MAX 32

struct fsp_work_in {
    enum fsp_op_code op;
    struct fsp_work_string string;
    double depth_m;       /* round-trip, half-trip, casing, liner */
    double from_m, to_m;  /* the pieces, drilling, reaming, coring */
    enum fsp_drive drive; /* unsaid: kelly */
    int reams;            /* below 0 unsaid: 1 */
    int passes;           /* 0 unsaid: 1 */
    double casing_nm;     /* in air */
    double joint_m;
    const struct fsp_work_section *sections; /* instead of casing_nm, when n_sections > 0 */
    size_t n_sections;
    double liner_m;
    double landing_m; /* drill pipe (string.pipe_nm) the casing is landed on; 0 none */
    double count;     /* moves */
    double stroke_m, up_n, down_n;
    double multiplier; /* moves: the house's for jarring; 0 unsaid: 1 */
    double given_j;    /* counted, stated */
};

struct fsp_work_out {
    double joules;
    double motion_j;   /* drilling by motion; the same as joules otherwise */
    double buoyancy;   /* 0 where no string is in it */
    double hookload_n; /* heaviest: string or casing at its deepest, block included; 0 unknown */
    double k;          /* drilling: the convention's multiplier; 0 otherwise */
    double deep_j, shallow_j; /* round trips to the two depths, where the operation has two */
    double pipe_nm, extra_n;  /* buoyed: Wm and C */
};

/* "round-trip" … as in records; FSP_OP_NONE for others. */
enum fsp_op_code fsp_work_op(const char *name);
const char *fsp_work_op_name(enum fsp_op_code op);

double fsp_work_buoyancy(double mud_kgm3);
/* The forms that start from known trips: usable with published figures too. */
double fsp_work_round_trip_j(
        double depth_m, double stand_m, double pipe_nm, double extra_n, double block_n);
double fsp_work_short_trip_j(double shallow_j, double deep_j);
double fsp_work_coring_j(double shallow_j, double deep_j);
double fsp_work_drilling_j(double shallow_j, double deep_j, double k);
/* Kelly 2 + reams, top drive 1 + reams. */
double fsp_work_drilling_k(enum fsp_drive drive, int reams);

/* Put the stated default in place of each choice left unsaid, and say so: one line each. */
void fsp_work_assume(struct fsp_work_in *in, struct fsp_buf *assumed);

/* Check and reckon. *out is zeroed on failure. */
enum fsp_rc fsp_work_reckon(const struct fsp_work_in *in, struct fsp_work_out *out,
        struct fsp_err *err) FSP_MUST_CHECK;

/* The formula with the numbers in it, to follow on paper. */
void fsp_work_formula(const struct fsp_work_in *in, const struct fsp_work_out *out,
        enum fsp_units units, struct fsp_buf *buf);

#endif
