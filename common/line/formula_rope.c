/* The formulas of hoist.h, cutlength.h and goal.h written out with their numbers. */
#include <math.h>

#include "line/cutlength.h"
#include "line/goal.h"
#include "line/hoist.h"
#include "line/say.h"
#include "record/quantity.h"

static void
load(struct fsp_buf *buf, const char *label, double newtons, enum fsp_units units)
{
    fsp_buf_add_text(buf, label);
    fsp_say_load(buf, newtons, units);
}

/* The usual operating value, the minima, and what was asked for when it is none of them. */
static void
loads_at(const struct fsp_reeving *reeving, const struct fsp_hoist_plan *plan,
        enum fsp_units units, struct fsp_buf *buf)
{
    load(buf, "\nHook load at factor 5: ", fsp_hoist_load_at(reeving, plan->strength_n, 5),
            units);
    load(buf, ", at 3: ", fsp_hoist_load_at(reeving, plan->strength_n, 3), units);
    if (plan->least < FSP_FACTOR_DRILLING)
        load(buf, ", at 2: ", fsp_hoist_load_at(reeving, plan->strength_n, 2), units);
    if (fabs(plan->wanted - 5) > 1e-9 && fabs(plan->wanted - 3) > 1e-9 &&
            fabs(plan->wanted - 2) > 1e-9) {
        fsp_buf_printf(buf, ", at %.4g: ", plan->wanted);
        fsp_say_load(buf, fsp_hoist_load_at(reeving, plan->strength_n, plan->wanted), units);
    }
    fsp_buf_add_text(buf, " (strength / factor x N x efficiency)\n");
}

void
fsp_hoist_formula(const struct fsp_reeving *reeving, const struct fsp_hoist_plan *plan,
        enum fsp_units units, struct fsp_buf *buf)
{
    int needed =
            fsp_hoist_lines_needed(reeving, plan->hookload_n, plan->strength_n, plan->wanted);
    struct fsp_hoist hoist;

    fsp_hoist_load(reeving, plan->hookload_n, plan->strength_n, &hoist);
    fsp_buf_printf(buf, "Design factor %.2f on the fast line (%.2f static)",
            hoist.design_factor, hoist.design_factor_static);
    load(buf, " at ", plan->hookload_n, units);
    fsp_buf_printf(buf, " on %d lines\n", reeving->lines);
    fsp_buf_printf(buf,
            "Efficiency = (K^N - 1) / (K^S x N x (K - 1)) with K = %.4g, N = %d, S = %d: "
            "%.4f\n",
            reeving->k, reeving->lines,
            reeving->rolling > 0 ? reeving->rolling : reeving->lines, hoist.efficiency);
    load(buf, "Fast line = ", plan->hookload_n, units);
    fsp_buf_printf(buf, " / (%d x %.4f)", reeving->lines, hoist.efficiency);
    load(buf, " = ", hoist.fast_line_n, units);
    load(buf, "\nFactor = ", plan->strength_n, units);
    load(buf, " / ", hoist.fast_line_n, units);
    fsp_buf_printf(buf, " = %.3f", hoist.design_factor);
    load(buf, "\nStatic factor = ", plan->strength_n, units);
    fsp_buf_printf(buf, " x %d", reeving->lines);
    load(buf, " / ", plan->hookload_n, units);
    fsp_buf_printf(buf, " = %.3f", hoist.design_factor_static);
    load(buf, "\nStatic line ", hoist.static_line_n, units);
    load(buf, ", dead line while raising ", hoist.dead_line_n, units);
    load(buf, "\nDerrick ", hoist.derrick_static_n, units);
    load(buf, " static (W (N + 2) / N), while raising ", hoist.derrick_n, units);
    loads_at(reeving, plan, units, buf);
    if (needed > 0)
        fsp_buf_printf(buf,
                "Lines needed for factor %.4g: %d; more lines never raise the mast's rating\n",
                plan->wanted, needed);
    else
        fsp_buf_printf(buf, "No number of lines up to %d leaves factor %.4g\n",
                FSP_HOIST_LINES_MAX, plan->wanted);
}

void
fsp_cutlength_formula(const struct fsp_cutlength *cut, double drum_m, double rope_m, int slips,
        struct fsp_buf *buf)
{
    fsp_say_number(buf, cut->laps, 2);
    fsp_buf_add_text(buf, " laps x ");
    fsp_say_number(buf, cut->lap_m / FSP_IN_M, 2);
    fsp_buf_add_text(buf, " in a lap = ");
    fsp_say_number(buf, cut->cut_m / FSP_FT_M, 1);
    fsp_buf_add_text(buf, " ft (");
    fsp_say_number(buf, cut->cut_m, 2);
    fsp_buf_printf(buf, " m), in %d slip%s of ", slips, slips == 1 ? "" : "s");
    fsp_say_number(buf, cut->cut_m / slips / FSP_FT_M, 1);
    fsp_buf_add_text(buf, " ft\nOne lap by the drum: pi x ");
    fsp_say_number(buf, drum_m / FSP_IN_M, 2);
    fsp_buf_add_text(buf, " in");
    if (cut->centre_lap_m > 0) {
        fsp_buf_add_text(buf, "; by the rope's centre line: pi x (");
        fsp_say_number(buf, drum_m / FSP_IN_M, 2);
        fsp_buf_add_text(buf, " + ");
        fsp_say_number(buf, rope_m / FSP_IN_M, 3);
        fsp_buf_add_text(buf, ") in; by the drum the cut would be ");
        fsp_say_number(buf, cut->drum_cut_m / FSP_FT_M, 1);
        fsp_buf_add_text(buf, " ft");
    }
    fsp_buf_add_text(buf,
            cut->derived
                    ? "\nDerived: no cell of the table; its row's length divided by the lap\n"
                    : "\nA cell of the table by mast and drum\n");
}

static void
both(struct fsp_buf *buf, double joules)
{
    fsp_say_work(buf, joules, FSP_UNITS_FIELD);
    fsp_buf_add_text(buf, " (");
    fsp_say_work(buf, joules, FSP_UNITS_METRIC);
    fsp_buf_add_text(buf, ")");
}

void
fsp_goal_formula(const struct fsp_goal *goal, double cut_m, double factor, double share,
        struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, "First cut of a new line ");
    both(buf, goal->first_j * share);
    fsp_buf_add_text(buf, ", later cuts ");
    both(buf, goal->later_j * share);
    fsp_buf_add_text(buf, "\nAt factor 5: ");
    fsp_say_number(buf, goal->per_metre_j * FSP_FT_M / FSP_TON_MILE_J, 3);
    fsp_buf_add_text(buf, " ton-miles per foot x ");
    fsp_say_number(buf, cut_m / FSP_FT_M, 1);
    fsp_buf_add_text(buf, " ft = ");
    fsp_say_work(buf, goal->first_j, FSP_UNITS_FIELD);
    fsp_buf_add_text(buf, ", later ");
    fsp_say_work(buf, goal->later_j, FSP_UNITS_FIELD);
    fsp_buf_add_text(buf, "; x ");
    fsp_say_number(buf, share, 3);
    fsp_buf_add_text(buf, " at factor ");
    fsp_say_number(buf, factor, 2);
    fsp_buf_printf(buf, "\nSource: %s\n",
            goal->by_sheet ? "a rope maker's light-duty sheet (the lower of two)"
                           : "ton-miles per foot by size, from memory (the lower of two)");
}
