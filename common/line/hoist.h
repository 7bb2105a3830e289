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

/* The formulas with their numbers, several lines. Loads at factor 2 are shown only when `least`,
 * the minimum of the service chosen, is below 3. */
void fsp_hoist_formula(const struct fsp_reeving *reeving, double hookload_n, double strength_n,
        double least, enum fsp_units units, struct fsp_buf *buf);

#endif
