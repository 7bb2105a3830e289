#include "line/work.h"

#include <math.h>
#include <string.h>

#include "record/quantity.h"

/* What is still believed (house figures; no rig comes near). */
#define MOST_DEPTH_M 15000.0
#define MOST_LINEAR  20000.0
#define MOST_LOAD_N  2.0e7
#define MOST_STAND_M 60.0
#define MOST_COUNT   1.0e6
#define MOST_GIVEN_J 1.0e14

static const char *const op_names[] = {
        [FSP_OP_NONE] = "",
        [FSP_OP_ROUND_TRIP] = "round-trip",
        [FSP_OP_HALF_TRIP] = "half-trip",
        [FSP_OP_PULL_OUT] = "pull-out",
        [FSP_OP_RUN_IN] = "run-in",
        [FSP_OP_SHORT_TRIP] = "short-trip",
        [FSP_OP_DRILLING] = "drilling",
        [FSP_OP_REAMING] = "reaming",
        [FSP_OP_CORING] = "coring",
        [FSP_OP_CASING] = "casing",
        [FSP_OP_LINER] = "liner",
        [FSP_OP_MOVES] = "moves",
        [FSP_OP_COUNTED] = "counted",
        [FSP_OP_STATED] = "stated",
};

enum fsp_op_code
fsp_work_op(const char *name)
{
    int op;

    for (op = FSP_OP_ROUND_TRIP; name != NULL && op <= FSP_OP_STATED; op++) {
        if (strcmp(op_names[op], name) == 0)
            return (enum fsp_op_code)op;
    }
    return FSP_OP_NONE;
}

const char *
fsp_work_op_name(enum fsp_op_code op)
{
    return op_names[op];
}

double
fsp_work_buoyancy(double mud_kgm3)
{
    return 1 - mud_kgm3 / FSP_MUD_LIMIT_KGM3;
}

double
fsp_work_round_trip_j(
        double depth_m, double stand_m, double pipe_nm, double extra_n, double block_n)
{
    return depth_m * (stand_m + depth_m) * pipe_nm + 4 * depth_m * (block_n + extra_n / 2);
}

double
fsp_work_short_trip_j(double shallow_j, double deep_j)
{
    return fabs(deep_j - shallow_j);
}

double
fsp_work_coring_j(double shallow_j, double deep_j)
{
    return 2 * fabs(deep_j - shallow_j);
}

double
fsp_work_drilling_j(double shallow_j, double deep_j, double k)
{
    return k * fabs(deep_j - shallow_j);
}

double
fsp_work_drilling_k(enum fsp_drive drive, int reams)
{
    return (drive == FSP_DRIVE_TOP ? 1 : 2) + reams;
}

void
fsp_work_assume(struct fsp_work_in *in, struct fsp_buf *assumed)
{
    if (in->op == FSP_OP_DRILLING && in->drive == FSP_DRIVE_UNSAID) {
        in->drive = FSP_DRIVE_KELLY;
        fsp_buf_add_text(assumed, "drive kelly (not given)\n");
    }
    if (in->op == FSP_OP_DRILLING && in->reams < 0) {
        in->reams = 1;
        fsp_buf_add_text(assumed, "reams 1 (not given)\n");
    }
    if (in->op == FSP_OP_REAMING && in->passes == 0) {
        in->passes = 1;
        fsp_buf_add_text(assumed, "passes 1 (not given)\n");
    }
    if (in->op == FSP_OP_MOVES && !(in->multiplier > 0))
        in->multiplier = 1;
}

/* ---- checks ---- */

/* A unit of each system, for messages. */
struct measure {
    double si_a, si_b;
    const char *unit_a, *unit_b;
};

static const struct measure by_length = {1, FSP_FT_M, "m", "ft"};
static const struct measure by_load = {1000, FSP_LBF_N, "kN", "lb"};
static const struct measure by_linear = {FSP_G_MS2, FSP_LBF_FT_NM, "kg/m", "lb/ft"};
static const struct measure by_density = {1, FSP_MUD_LIMIT_KGM3 / 65.5, "kg/m3", "ppg"};
static const struct measure by_work = {FSP_TONNE_KM_J, FSP_TON_MILE_J, "t-km", "ton-miles"};

struct limit {
    const struct measure *measure;
    bool above; /* above 0, not just from it */
    double most;
    const char *allowed;
};

static const struct limit depths = {
        &by_length, false, MOST_DEPTH_M, "0 to 15,000 m (49,212 ft)"};
static const struct limit lengths = {
        &by_length, true, MOST_DEPTH_M, "above 0, to 15,000 m (49,212 ft)"};
static const struct limit pieces = {
        &by_length, true, MOST_STAND_M, "above 0, to 60 m (197 ft)"};
static const struct limit linears = {
        &by_linear, true, MOST_LINEAR, "above 0, to 2,039 kg/m (1,370 lb/ft)"};
static const struct limit loads = {
        &by_load, true, MOST_LOAD_N, "above 0, to 20,000 kN (4,496,000 lb)"};
static const struct limit loads_or_none = {
        &by_load, false, MOST_LOAD_N, "0 to 20,000 kN (4,496,000 lb)"};
static const struct limit muds = {&by_density, false, 3600, "air, or to 3,600 kg/m3 (30 ppg)"};
static const struct limit works = {
        &by_work, false, MOST_GIVEN_J, "0 to 10,197,162 t-km (6,984,490 ton-miles)"};

static enum fsp_rc
within(const char *field, double value, const struct limit *limit, struct fsp_err *err)
{
    const struct measure *m = limit->measure;

    if ((limit->above ? value > 0 : value >= 0) && value <= limit->most)
        return FSP_OK;
    if (isnan(value))
        return fsp_err_set(err, FSP_EINVAL, "%s: missing; allowed: %s", field, limit->allowed);
    return fsp_err_set(err, FSP_EINVAL, "%s: found %.7g %s (%.7g %s); allowed: %s", field,
            value / m->si_a, m->unit_a, value / m->si_b, m->unit_b, limit->allowed);
}

static enum fsp_rc
check_depth(
        const struct fsp_work_in *in, const char *field, double depth_m, struct fsp_err *err)
{
    if (within(field, depth_m, &depths, err) != FSP_OK)
        return FSP_EINVAL;
    /* Out of the hole (0) is right; between 0 and the assembly's length the formula fails. */
    if (depth_m > 0 && depth_m < in->string.bha_m)
        return fsp_err_set(err, FSP_EINVAL,
                "%s: %.0f ft is less than the assembly's length of %.0f ft, where the formula "
                "fails; allowed: 0 (out of the hole) or at least the assembly's length",
                field, depth_m / FSP_FT_M, in->string.bha_m / FSP_FT_M);
    return FSP_OK;
}

static enum fsp_rc
check_mud(const struct fsp_work_in *in, struct fsp_err *err)
{
    if (within("block", in->string.block_n, &loads, err) != FSP_OK)
        return FSP_EINVAL;
    return within("mud", in->string.mud_kgm3, &muds, err);
}

static enum fsp_rc
check_string(const struct fsp_work_in *in, struct fsp_err *err)
{
    const struct fsp_work_string *s = &in->string;

    if (check_mud(in, err) != FSP_OK || within("pipe", s->pipe_nm, &linears, err) != FSP_OK ||
            within("stand", s->stand_m, &pieces, err) != FSP_OK ||
            within("bha-weight", s->bha_n, &loads_or_none, err) != FSP_OK)
        return FSP_EINVAL;
    return within("bha-length", s->bha_m, &depths, err);
}

static enum fsp_rc
check_sections(const struct fsp_work_in *in, double run_m, struct fsp_err *err)
{
    double sum = in->landing_m;
    size_t i;

    if (in->n_sections == 0)
        return within("casing", in->casing_nm, &linears, err);
    if (in->n_sections > FSP_WORK_SECTIONS_MAX)
        return fsp_err_set(err, FSP_EINVAL, "sections: found %zu; allowed: 1 to %d",
                in->n_sections, FSP_WORK_SECTIONS_MAX);
    for (i = 0; i < in->n_sections; i++) {
        if (within("casing", in->sections[i].linear_nm, &linears, err) != FSP_OK ||
                within("length", in->sections[i].length_m, &lengths, err) != FSP_OK)
            return fsp_err_wrap(err, FSP_EINVAL, "sections, number %zu", i + 1);
        sum += in->sections[i].length_m;
    }
    if (fabs(sum - run_m) > 1.0)
        return fsp_err_set(err, FSP_EINVAL,
                "sections: they add up to %.0f ft, %.0f ft are run; allowed: within 3 ft of it",
                sum / FSP_FT_M, run_m / FSP_FT_M);
    return FSP_OK;
}

static enum fsp_rc
check_casing(const struct fsp_work_in *in, struct fsp_err *err)
{
    double most = in->op == FSP_OP_LINER ? in->liner_m : in->depth_m;

    if (check_mud(in, err) != FSP_OK || within("depth", in->depth_m, &lengths, err) != FSP_OK ||
            within("joint", in->joint_m, &pieces, err) != FSP_OK)
        return FSP_EINVAL;
    if (within("landing-string", in->landing_m, &depths, err) != FSP_OK)
        return FSP_EINVAL;
    if (in->landing_m > most)
        return fsp_err_set(err, FSP_EINVAL,
                "landing-string: found %.7g m (%.7g ft); allowed: 0 to the depth (%.7g m)",
                in->landing_m, in->landing_m / FSP_FT_M, most);
    if (in->landing_m > 0 && !(in->string.pipe_nm > 0 && in->string.pipe_nm <= MOST_LINEAR))
        return fsp_err_set(
                err, FSP_EINVAL, "pipe: a landing string needs the drill pipe's weight");
    return check_sections(in, most, err);
}

static enum fsp_rc
check_liner(const struct fsp_work_in *in, struct fsp_err *err)
{
    struct fsp_work_in pipe = *in;

    pipe.string.bha_n = 0;
    pipe.string.bha_m = 0;
    if (within("liner-length", in->liner_m, &lengths, err) != FSP_OK ||
            within("depth", in->depth_m, &lengths, err) != FSP_OK)
        return FSP_EINVAL;
    if (in->liner_m > in->depth_m)
        return fsp_err_set(err, FSP_EINVAL,
                "liner-length: found %.7g m (%.7g ft); allowed: above 0, to the depth (%.7g m)",
                in->liner_m, in->liner_m / FSP_FT_M, in->depth_m);
    return check_casing(in, err) != FSP_OK ? FSP_EINVAL : check_string(&pipe, err);
}

static enum fsp_rc
check_moves(const struct fsp_work_in *in, struct fsp_err *err)
{
    if (isnan(in->count) || isnan(in->multiplier))
        return fsp_err_set(
                err, FSP_EINVAL, "%s: missing", isnan(in->count) ? "count" : "multiplier");
    if (!(in->count >= 1 && in->count <= MOST_COUNT))
        return fsp_err_set(
                err, FSP_EINVAL, "count: found %.7g; allowed: 1 to 1,000,000", in->count);
    if (within("stroke", in->stroke_m, &pieces, err) != FSP_OK ||
            within("up", in->up_n, &loads, err) != FSP_OK)
        return FSP_EINVAL;
    if (!(in->multiplier >= 0 && in->multiplier <= 10))
        return fsp_err_set(err, FSP_EINVAL, "multiplier: found %.7g; allowed: above 0, to 10",
                in->multiplier);
    return within("down", in->down_n, &loads_or_none, err);
}

static enum fsp_rc
check_pieces(const struct fsp_work_in *in, struct fsp_err *err)
{
    if (check_string(in, err) != FSP_OK || check_depth(in, "from", in->from_m, err) != FSP_OK ||
            check_depth(in, "to", in->to_m, err) != FSP_OK)
        return FSP_EINVAL;
    if (in->op == FSP_OP_DRILLING && (in->reams < -1 || in->reams > 9))
        return fsp_err_set(err, FSP_EINVAL, "reams: found %d; allowed: 0 to 9", in->reams);
    if (in->op == FSP_OP_REAMING && (in->passes < 0 || in->passes > 99))
        return fsp_err_set(err, FSP_EINVAL, "passes: found %d; allowed: 1 to 99", in->passes);
    if (in->op == FSP_OP_PULL_OUT && in->from_m < in->to_m)
        return fsp_err_set(err, FSP_EINVAL,
                "from: a pull-out starts at the deeper depth (found %.7g m to %.7g m); swap "
                "from and to, "
                "or use run-in",
                in->from_m, in->to_m);
    if ((in->op == FSP_OP_RUN_IN || in->op == FSP_OP_DRILLING || in->op == FSP_OP_CORING) &&
            in->from_m > in->to_m)
        return fsp_err_set(err, FSP_EINVAL,
                "from: %s ends at the deeper depth (found %.7g m to %.7g m); swap from and to",
                op_names[in->op], in->from_m, in->to_m);
    return FSP_OK;
}

/* ---- reckoning ---- */

static double
round_trip_to(const struct fsp_work_in *in, const struct fsp_work_out *out, double depth_m)
{
    return fsp_work_round_trip_j(
            depth_m, in->string.stand_m, out->pipe_nm, out->extra_n, in->string.block_n);
}

static void
buoy(const struct fsp_work_in *in, struct fsp_work_out *out)
{
    const struct fsp_work_string *s = &in->string;

    out->buoyancy = fsp_work_buoyancy(s->mud_kgm3);
    out->pipe_nm = s->pipe_nm * out->buoyancy;
    out->extra_n = (s->bha_n - s->pipe_nm * s->bha_m) * out->buoyancy;
}

static double
hung(const struct fsp_work_in *in, const struct fsp_work_out *out, double depth_m)
{
    return (depth_m > 0 ? out->pipe_nm * depth_m + out->extra_n : 0) + in->string.block_n;
}

static void
reckon_trip(const struct fsp_work_in *in, struct fsp_work_out *out)
{
    buoy(in, out);
    out->deep_j = round_trip_to(in, out, in->depth_m);
    out->joules = in->op == FSP_OP_HALF_TRIP ? out->deep_j / 2 : out->deep_j;
    out->hookload_n = hung(in, out, in->depth_m);
}

static void
reckon_drilling(const struct fsp_work_in *in, struct fsp_work_out *out)
{
    int reams = in->reams < 0 ? 1 : in->reams;
    double once = fsp_work_short_trip_j(out->shallow_j, out->deep_j);
    double length = fabs(in->to_m - in->from_m);

    out->k = fsp_work_drilling_k(in->drive, reams);
    out->joules = out->k * once;
    /* By motion. Top drive: the empty block goes up, string and block go down. Kelly: string and
     * block down, up and, with the next joint, down again, the empty block three ways. Each ream:
     * string and block up and down. */
    out->motion_j = (in->drive == FSP_DRIVE_TOP ? 0.5 : 1.5) * once +
                    reams * (once - 2 * in->string.block_n * length);
}

static void
reckon_pieces(const struct fsp_work_in *in, struct fsp_work_out *out)
{
    double deep = in->from_m > in->to_m ? in->from_m : in->to_m;
    double shallow = in->from_m > in->to_m ? in->to_m : in->from_m;
    double once;

    buoy(in, out);
    out->deep_j = round_trip_to(in, out, deep);
    out->shallow_j = round_trip_to(in, out, shallow);
    out->hookload_n = hung(in, out, deep);
    once = fsp_work_short_trip_j(out->shallow_j, out->deep_j);
    if (in->op == FSP_OP_DRILLING)
        reckon_drilling(in, out);
    else if (in->op == FSP_OP_CORING)
        out->joules = fsp_work_coring_j(out->shallow_j, out->deep_j);
    else if (in->op == FSP_OP_REAMING)
        out->joules = (in->passes == 0 ? 1 : in->passes) * once;
    else
        out->joules = in->op == FSP_OP_SHORT_TRIP ? once : once / 2;
}

/* Run `length` of pipe of one weight under what hangs already: the load of each piece counts from
 * the moment it is made up, the empty block goes up, the loaded one down. */
static double
run_one_way(double hanging_n, double linear_nm, double length_m, double piece_m, double block_n)
{
    return length_m * hanging_n + length_m * (piece_m + length_m) * linear_nm / 2 +
           2 * length_m * block_n;
}

/* Casing or the liner proper; leaves its buoyed weight in *weight_n. */
static double
run_casing(const struct fsp_work_in *in, double buoyancy, double length_m, double *weight_n)
{
    double joules = 0;
    size_t i;

    *weight_n = 0;
    if (in->n_sections == 0) {
        *weight_n = in->casing_nm * buoyancy * length_m;
        return run_one_way(
                0, in->casing_nm * buoyancy, length_m, in->joint_m, in->string.block_n);
    }
    for (i = 0; i < in->n_sections; i++) {
        double linear = in->sections[i].linear_nm * buoyancy;

        joules += run_one_way(
                *weight_n, linear, in->sections[i].length_m, in->joint_m, in->string.block_n);
        *weight_n += linear * in->sections[i].length_m;
    }
    return joules;
}

static void
reckon_casing(const struct fsp_work_in *in, struct fsp_work_out *out)
{
    double piece = in->string.stand_m > 0 ? in->string.stand_m : in->joint_m;
    double weight;

    out->buoyancy = fsp_work_buoyancy(in->string.mud_kgm3);
    out->joules = run_casing(in, out->buoyancy, in->depth_m - in->landing_m, &weight);
    if (in->landing_m > 0) {
        double linear = in->string.pipe_nm * out->buoyancy;

        out->joules += run_one_way(weight, linear, in->landing_m, piece, in->string.block_n);
        weight += linear * in->landing_m;
    }
    out->hookload_n = weight + in->string.block_n;
}

static void
reckon_liner(const struct fsp_work_in *in, struct fsp_work_out *out)
{
    double weight;

    out->buoyancy = fsp_work_buoyancy(in->string.mud_kgm3);
    out->pipe_nm = in->string.pipe_nm * out->buoyancy;
    out->joules = run_casing(in, out->buoyancy, in->liner_m, &weight);
    out->extra_n = weight - out->pipe_nm * in->liner_m;
    /* From the liner's length on it is a half trip with the liner as the assembly. */
    out->deep_j = round_trip_to(in, out, in->depth_m);
    out->shallow_j = round_trip_to(in, out, in->liner_m);
    out->joules += (out->deep_j - out->shallow_j) / 2;
    out->hookload_n = hung(in, out, in->depth_m);
}

static void
reckon_moves(const struct fsp_work_in *in, struct fsp_work_out *out)
{
    out->joules = in->count * in->stroke_m * (in->up_n + in->down_n) *
                  (in->multiplier > 0 ? in->multiplier : 1);
    out->hookload_n = in->up_n > in->down_n ? in->up_n : in->down_n;
}

static enum fsp_rc
check_in(const struct fsp_work_in *in, struct fsp_err *err)
{
    switch (in->op) {
    case FSP_OP_ROUND_TRIP:
    case FSP_OP_HALF_TRIP:
        return check_string(in, err) != FSP_OK ? FSP_EINVAL
                                               : check_depth(in, "depth", in->depth_m, err);
    case FSP_OP_PULL_OUT:
    case FSP_OP_RUN_IN:
    case FSP_OP_SHORT_TRIP:
    case FSP_OP_DRILLING:
    case FSP_OP_REAMING:
    case FSP_OP_CORING:
        return check_pieces(in, err);
    case FSP_OP_CASING:
        return check_casing(in, err);
    case FSP_OP_LINER:
        return check_liner(in, err);
    case FSP_OP_MOVES:
        return check_moves(in, err);
    case FSP_OP_COUNTED:
    case FSP_OP_STATED:
        return within("ton-miles", in->given_j, &works, err);
    case FSP_OP_NONE:
        break;
    }
    return fsp_err_set(err, FSP_EINVAL, "op: unknown operation");
}

enum fsp_rc
fsp_work_reckon(const struct fsp_work_in *in, struct fsp_work_out *out, struct fsp_err *err)
{
    enum fsp_rc rc;

    memset(out, 0, sizeof(*out));
    rc = check_in(in, err);
    if (rc != FSP_OK)
        return rc;
    switch (in->op) {
    case FSP_OP_ROUND_TRIP:
    case FSP_OP_HALF_TRIP:
        reckon_trip(in, out);
        break;
    case FSP_OP_PULL_OUT:
    case FSP_OP_RUN_IN:
    case FSP_OP_SHORT_TRIP:
    case FSP_OP_DRILLING:
    case FSP_OP_REAMING:
    case FSP_OP_CORING:
        reckon_pieces(in, out);
        break;
    case FSP_OP_CASING:
        reckon_casing(in, out);
        break;
    case FSP_OP_LINER:
        reckon_liner(in, out);
        break;
    case FSP_OP_MOVES:
        reckon_moves(in, out);
        break;
    case FSP_OP_COUNTED:
    case FSP_OP_STATED:
    case FSP_OP_NONE:
        out->joules = in->given_j;
        break;
    }
    if (in->op != FSP_OP_DRILLING)
        out->motion_j = out->joules;
    return FSP_OK;
}
