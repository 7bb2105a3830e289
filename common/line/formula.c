/* The formulas of work.h written out with their numbers, in either unit system. */
#include <math.h>

#include "line/work.h"
#include "record/quantity.h"

struct scale {
    double length, linear, load, work;
    const char *work_name;
    bool metric;
};

static const struct scale scales[] = {
        [FSP_UNITS_FIELD] = {FSP_FT_M, FSP_LBF_FT_NM, FSP_LBF_N, FSP_TON_MILE_J, "ton-miles",
                false},
        [FSP_UNITS_METRIC] = {1, FSP_G_MS2, FSP_G_MS2, FSP_TONNE_KM_J, "t-km", true},
};

/* A number with only the decimals it needs, at most `decimals`. */
static void
num(struct fsp_buf *buf, double value, int decimals)
{
    double scale = 1;
    int d;

    for (d = 0; d < decimals; d++) {
        if (fabs(value * scale - round(value * scale)) < 1e-6 * scale)
            break;
        scale *= 10;
    }
    fsp_say_number(buf, value, d);
}

/* D x (Ls + D) x W / 10,560,000 + D x (M + C/2) / 2,640,000 = result */
static void
trip(struct fsp_buf *buf, const struct scale *u, const struct fsp_work_in *in,
        const struct fsp_work_out *out, double depth_m)
{
    double d = depth_m / u->length;

    fsp_buf_add_text(buf, u->metric ? "[" : "");
    num(buf, d, 2);
    fsp_buf_add_text(buf, " x (");
    num(buf, in->string.stand_m / u->length, 2);
    fsp_buf_add_text(buf, " + ");
    num(buf, d, 2);
    fsp_buf_add_text(buf, ") x ");
    num(buf, out->pipe_nm / u->linear, 4);
    fsp_buf_add_text(buf, u->metric ? " + 4 x " : " / 10,560,000 + ");
    num(buf, d, 2);
    fsp_buf_add_text(buf, " x (");
    num(buf, in->string.block_n / u->load, 1);
    fsp_buf_add_text(buf, " + ");
    num(buf, out->extra_n / u->load, 1);
    fsp_buf_add_text(buf, u->metric ? " / 2)] / 1,000,000 = " : " / 2) / 2,640,000 = ");
    num(buf,
            fsp_work_round_trip_j(depth_m, in->string.stand_m, out->pipe_nm, out->extra_n,
                    in->string.block_n) /
                    u->work,
            3);
}

static void
result(struct fsp_buf *buf, const struct scale *u, const struct fsp_work_out *out)
{
    fsp_buf_add_text(buf, " = ");
    fsp_say_number(buf, out->joules / u->work, 2);
    fsp_buf_printf(buf, " %s", u->work_name);
}

static void
legend(struct fsp_buf *buf, const struct scale *u, const struct fsp_work_in *in,
        const struct fsp_work_out *out)
{
    fsp_buf_add_text(buf, "buoyancy = ");
    num(buf, out->buoyancy, 4);
    fsp_buf_add_text(buf, "; Wm = ");
    num(buf, in->string.pipe_nm / u->linear, 3);
    fsp_buf_add_text(buf, " x ");
    num(buf, out->buoyancy, 4);
    fsp_buf_add_text(buf, " = ");
    num(buf, out->pipe_nm / u->linear, 4);
    fsp_buf_add_text(buf, u->metric ? " kg/m; C = (" : " lb/ft; C = (");
    num(buf, in->string.bha_n / u->load, 1);
    fsp_buf_add_text(buf, " - ");
    num(buf, in->string.pipe_nm / u->linear, 3);
    fsp_buf_add_text(buf, " x ");
    num(buf, in->string.bha_m / u->length, 2);
    fsp_buf_add_text(buf, ") x ");
    num(buf, out->buoyancy, 4);
    fsp_buf_add_text(buf, " = ");
    num(buf, out->extra_n / u->load, 1);
    fsp_buf_add_text(buf, u->metric ? " kg; " : " lb; ");
}

static void
two_trips(struct fsp_buf *buf, const struct scale *u, const struct fsp_work_in *in,
        const struct fsp_work_out *out)
{
    double deep = in->from_m > in->to_m ? in->from_m : in->to_m;
    double shallow = in->from_m > in->to_m ? in->to_m : in->from_m;

    legend(buf, u, in, out);
    fsp_buf_add_text(buf, "trip to the deeper depth ");
    trip(buf, u, in, out, deep);
    fsp_buf_add_text(buf, "; to the shallower ");
    trip(buf, u, in, out, shallow);
    fsp_buf_printf(buf, "; %s: ", fsp_work_op_name(in->op));
    if (in->op == FSP_OP_DRILLING)
        num(buf, out->k, 2);
    else if (in->op == FSP_OP_CORING)
        fsp_buf_add_text(buf, "2");
    else if (in->op == FSP_OP_REAMING)
        num(buf, in->passes == 0 ? 1 : in->passes, 0);
    else
        fsp_buf_add_text(buf, in->op == FSP_OP_SHORT_TRIP ? "1" : "1/2");
    fsp_buf_add_text(buf, " x (");
    num(buf, out->deep_j / u->work, 3);
    fsp_buf_add_text(buf, " - ");
    num(buf, out->shallow_j / u->work, 3);
    fsp_buf_add_text(buf, ")");
    result(buf, u, out);
    if (in->op == FSP_OP_DRILLING) {
        fsp_buf_add_text(buf, "; by motion ");
        fsp_say_number(buf, out->motion_j / u->work, 2);
    }
}

static void
casing_run(struct fsp_buf *buf, const struct scale *u, const struct fsp_work_in *in,
        const struct fsp_work_out *out, double length_m)
{
    double d = length_m / u->length;

    fsp_buf_add_text(buf, "1/2 x [");
    num(buf, d, 2);
    fsp_buf_add_text(buf, " x (");
    num(buf, in->joint_m / u->length, 2);
    fsp_buf_add_text(buf, " + ");
    num(buf, d, 2);
    fsp_buf_add_text(buf, ") x ");
    num(buf, in->casing_nm * out->buoyancy / u->linear, 4);
    fsp_buf_add_text(buf, u->metric ? " + 4 x " : " / 10,560,000 + ");
    num(buf, d, 2);
    fsp_buf_add_text(buf, " x ");
    num(buf, in->string.block_n / u->load, 1);
    fsp_buf_add_text(buf, u->metric ? "] / 1,000,000" : " / 2,640,000]");
}

/* [L x H + L x (p + L) x w / 2 + 2 x L x M]: pipe run under the weight H of what hangs. */
static void
run(struct fsp_buf *buf, const struct scale *u, const struct fsp_work_in *in, double hanging_n,
        const struct fsp_work_section *piece, double piece_m)
{
    double l = piece->length_m / u->length;

    fsp_buf_add_byte(buf, '[');
    num(buf, l, 2);
    fsp_buf_add_text(buf, " x ");
    num(buf, hanging_n / u->load, 1);
    fsp_buf_add_text(buf, " + ");
    num(buf, l, 2);
    fsp_buf_add_text(buf, " x (");
    num(buf, piece_m / u->length, 2);
    fsp_buf_add_text(buf, " + ");
    num(buf, l, 2);
    fsp_buf_add_text(buf, ") x ");
    num(buf, piece->linear_nm / u->linear, 4);
    fsp_buf_add_text(buf, " / 2 + 2 x ");
    num(buf, l, 2);
    fsp_buf_add_text(buf, " x ");
    num(buf, in->string.block_n / u->load, 1);
    fsp_buf_add_text(buf, u->metric ? "] / 1,000,000" : "] / 10,560,000");
}

/* Casing or the liner proper; the buoyed weight of it. */
static double
casing_proper(struct fsp_buf *buf, const struct scale *u, const struct fsp_work_in *in,
        const struct fsp_work_out *out, double length_m)
{
    double hanging = 0;
    size_t i;

    if (in->n_sections == 0) {
        casing_run(buf, u, in, out, length_m);
        return in->casing_nm * out->buoyancy * length_m;
    }
    for (i = 0; i < in->n_sections; i++) {
        struct fsp_work_section buoyed = in->sections[i];

        buoyed.linear_nm *= out->buoyancy;
        fsp_buf_add_text(buf, i > 0 ? " + " : "");
        run(buf, u, in, hanging, &buoyed, in->joint_m);
        hanging += buoyed.linear_nm * buoyed.length_m;
    }
    return hanging;
}

static void
casing(struct fsp_buf *buf, const struct scale *u, const struct fsp_work_in *in,
        const struct fsp_work_out *out)
{
    double length_m = in->op == FSP_OP_LINER ? in->liner_m : in->depth_m - in->landing_m;
    double hanging;

    fsp_buf_add_text(buf, "buoyancy = ");
    num(buf, out->buoyancy, 4);
    fsp_buf_add_text(buf, "; ");
    hanging = casing_proper(buf, u, in, out, length_m);
    if (in->op == FSP_OP_LINER) {
        fsp_buf_add_text(buf, " + 1/2 x (");
        num(buf, out->deep_j / u->work, 3);
        fsp_buf_add_text(buf, " - ");
        num(buf, out->shallow_j / u->work, 3);
        fsp_buf_add_text(buf, "), trips on drill pipe with Wm = ");
        num(buf, out->pipe_nm / u->linear, 4);
        fsp_buf_add_text(buf, ", C = ");
        num(buf, out->extra_n / u->load, 1);
    } else if (in->landing_m > 0) {
        struct fsp_work_section pipe = {in->string.pipe_nm * out->buoyancy, in->landing_m};

        fsp_buf_add_text(buf, " + on the landing string ");
        run(buf, u, in, hanging, &pipe,
                in->string.stand_m > 0 ? in->string.stand_m : in->joint_m);
    }
    result(buf, u, out);
}

static void
moves(struct fsp_buf *buf, const struct scale *u, const struct fsp_work_in *in,
        const struct fsp_work_out *out)
{
    num(buf, in->count, 0);
    fsp_buf_add_text(buf, " x ");
    num(buf, in->stroke_m / u->length, 2);
    fsp_buf_add_text(buf, " x (");
    num(buf, in->up_n / u->load, 1);
    fsp_buf_add_text(buf, " + ");
    num(buf, in->down_n / u->load, 1);
    fsp_buf_add_text(buf, u->metric ? ") / 1,000,000" : ") / 10,560,000");
    if (in->multiplier > 0 && fabs(in->multiplier - 1) > 1e-12) {
        fsp_buf_add_text(buf, " x ");
        num(buf, in->multiplier, 3);
    }
    result(buf, u, out);
}

void
fsp_work_formula(const struct fsp_work_in *in, const struct fsp_work_out *out,
        enum fsp_units units, struct fsp_buf *buf)
{
    const struct scale *u = &scales[units];

    switch (in->op) {
    case FSP_OP_ROUND_TRIP:
    case FSP_OP_HALF_TRIP:
        legend(buf, u, in, out);
        fsp_buf_add_text(buf, "round trip ");
        trip(buf, u, in, out, in->depth_m);
        if (in->op == FSP_OP_HALF_TRIP)
            fsp_buf_add_text(buf, "; half trip: 1/2 of it");
        result(buf, u, out);
        break;
    case FSP_OP_PULL_OUT:
    case FSP_OP_RUN_IN:
    case FSP_OP_SHORT_TRIP:
    case FSP_OP_DRILLING:
    case FSP_OP_REAMING:
    case FSP_OP_CORING:
        two_trips(buf, u, in, out);
        break;
    case FSP_OP_CASING:
    case FSP_OP_LINER:
        casing(buf, u, in, out);
        break;
    case FSP_OP_MOVES:
        moves(buf, u, in, out);
        break;
    case FSP_OP_COUNTED:
    case FSP_OP_STATED:
        fsp_buf_printf(buf, "%s", fsp_work_op_name(in->op));
        result(buf, u, out);
        break;
    case FSP_OP_NONE:
        break;
    }
}
