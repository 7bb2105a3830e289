/*
 * Loads in the string-up: fast line, dead line, derrick, and what factor the line is left with.
 *
 * Sources: API RP 9B, figure 1 (efficiency with K = 1.04 roller, 1.09 plain bearings, S rolling
 * sheaves) and 2.3.3 (design factor = nominal strength over fast-line tension); the static form is
 * common practice, no source. Minimum factors 3 (drilling) and 2 (setting casing, stuck pipe and
 * other infrequent pulls): API RP 9B table 2 before its 2020 addendum, from memory, verify against
 * your copy. It is always the line's limit, never the rig's.
 *
 * Units: newtons. Threads: pure. Errors: FSP_EINVAL.
 */
#ifndef FSP_LINE_HOIST_H
#define FSP_LINE_HOIST_H

#include <stdbool.h>

#include "base/err.h"
#include "line/say.h"

#define FSP_HOIST_K_ROLLER  1.04
#define FSP_HOIST_K_PLAIN   1.09
#define FSP_HOIST_LINES_MAX 24 /* house figure */

#define FSP_FACTOR_USUAL    5.0 /* common practice, no source */
#define FSP_FACTOR_DRILLING 3.0
#define FSP_FACTOR_RARE     2.0
#define FSP_FACTOR_NEAR     2.2 /* house figure: a pull at or under it was near 2 */
#define FSP_FACTOR_BENDING  7.0 /* above it bending wears more; common practice, no source */

/* The minimum design factor of an operation, in a record's words; NULL: not said. FSP_FACTOR_RARE for
 * the services casing and stuck-pipe, and for the ops casing and liner when no service is said; else
 * FSP_FACTOR_DRILLING. */
double fsp_hoist_least(const char *service, const char *op);

struct fsp_reeving {
    int lines;   /* even */
    int rolling; /* sheaves that roll; 0: as many as lines, the usual reeving */
    double k;    /* FSP_HOIST_K_… or one over a sheave's efficiency */
};

struct fsp_hoist {
    double efficiency;
    double fast_factor; /* 1 / (lines x efficiency) */
    double fast_line_n;
    double dead_line_n;      /* while raising */
    double static_line_n;    /* in each line, nothing moving */
    double derrick_static_n; /* W (N + 2) / N */
    double derrick_n;        /* while raising: load + fast line + dead line */
    double design_factor;    /* strength / fast line; 0 when strength or load is 0 */
    double design_factor_static;
};

/* Even lines from 2 to FSP_HOIST_LINES_MAX, k above 1, rolling within 0 .. lines + 2. */
enum fsp_rc fsp_hoist_check(
        const struct fsp_reeving *reeving, struct fsp_err *err) FSP_MUST_CHECK;
double fsp_hoist_efficiency(const struct fsp_reeving *reeving);
/* Everything at one hook load (block included). strength_n 0: unknown. */
void fsp_hoist_load(const struct fsp_reeving *reeving, double hookload_n, double strength_n,
        struct fsp_hoist *out);
/* The hook load that leaves this factor on the fast line. */
double fsp_hoist_load_at(const struct fsp_reeving *reeving, double strength_n, double factor);
/* The fewest lines that leave at least this factor, each with its usual reeving (the extra of
 * `rolling` over `lines` kept); 0 when FSP_HOIST_LINES_MAX are not enough. */
int fsp_hoist_lines_needed(
        const struct fsp_reeving *reeving, double hookload_n, double strength_n, double factor);

/* What else in the rig bears the load, each rated in its own way: mast, block, hook and top drive
 * by the hook load; the crown by what its sheaves bear while raising (hook load, fast line and dead
 * line); the drawworks by the pull on the fast line; the anchor by the pull of the dead line at
 * rest (common practice, no source; hold the maker's plate against it). */
enum fsp_part {
    FSP_PART_MAST,
    FSP_PART_CROWN,
    FSP_PART_BLOCK,
    FSP_PART_HOOK,
    FSP_PART_TOP_DRIVE,
    FSP_PART_DRAWWORKS,
    FSP_PART_ANCHOR,
    FSP_PARTS,
};

struct fsp_rating {
    double load_n; /* 0: not given */
    int lines;     /* mast: the number of lines it is stated for; 0: not stated */
};

/* "mast" … as in records; "" past the end. */
const char *fsp_hoist_part(enum fsp_part part);
/* "on the fast line", … where the part is not rated by the hook load, else "". */
const char *fsp_hoist_part_pull(enum fsp_part part);
/* The hook load at which this string-up brings the part to its rating; 0 when not given. A mast
 * rated for more lines than are strung is taken down to the same derrick load (derived); one rated
 * for fewer is never taken up. */
double fsp_hoist_rated(
        const struct fsp_reeving *reeving, enum fsp_part part, const struct fsp_rating *rating);
/* The part whose rating comes first; FSP_PARTS when none is given. */
enum fsp_part fsp_hoist_lowest(const struct fsp_reeving *reeving,
        const struct fsp_rating ratings[static FSP_PARTS], double *hookload_n);

/* A planned pull. */
struct fsp_hoist_plan {
    double hookload_n;
    double strength_n;
    double least;  /* the minimum of the service chosen */
    double wanted; /* the factor to be kept */
};

/* The formulas with their numbers, several lines. The load at factor 2 is shown only when the
 * minimum of the service chosen is below 3. */
void fsp_hoist_formula(const struct fsp_reeving *reeving, const struct fsp_hoist_plan *plan,
        enum fsp_units units, struct fsp_buf *buf);

#endif
