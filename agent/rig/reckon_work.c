/* The work of one operation. */
#include <string.h>

#include "rig/reckon_priv.h"

static void
fill_work(const struct fsp_reckon_subject *subject, const struct fsp_reckon_in *in,
        struct fsp_work_in *work, struct fsp_reckon_out *out)
{
    memset(work, 0, sizeof(*work));
    work->op = subject->op;
    work->string.pipe_nm = in->value[F_PIPE];
    work->string.stand_m = in->value[F_STAND];
    work->string.bha_n = in->value[F_BHA_WEIGHT];
    work->string.bha_m = in->value[F_BHA_LENGTH];
    work->string.block_n = in->value[F_BLOCK];
    work->string.mud_kgm3 = in->value[F_MUD];
    work->depth_m = in->value[F_DEPTH];
    work->from_m = in->value[F_FROM];
    work->to_m = in->value[F_TO];
    if (in->given[F_DRIVE])
        work->drive = fsp_reckon_says(in, F_DRIVE, "kelly") ? FSP_DRIVE_KELLY : FSP_DRIVE_TOP;
    work->reams = in->given[F_REAMS] ? (int)in->value[F_REAMS] : -1;
    work->passes = (int)in->value[F_PASSES];
    work->casing_nm = in->value[F_CASING];
    work->joint_m = in->value[F_JOINT];
    work->landing_m = in->value[F_LANDING];
    work->liner_m = in->value[F_LINER];
    work->count = in->value[F_COUNT];
    work->stroke_m = in->value[F_STROKE];
    work->up_n = in->value[F_UP];
    work->down_n = in->value[F_DOWN];
    work->multiplier = in->value[F_MULTIPLIER];
    fsp_work_assume(work, &out->assumed);
}

static bool
has_string(enum fsp_op_code op)
{
    return op != FSP_OP_CASING && op != FSP_OP_LINER && op != FSP_OP_MOVES;
}

static void
write_work(const struct fsp_work_in *work, const struct fsp_work_out *result,
        struct fsp_reckon_out *out)
{
    if (work->op != FSP_OP_MOVES)
        fsp_reckon_member(out, "buoyancy", result->buoyancy);
    fsp_reckon_member(out, "hookload_lbf", result->hookload_n / FSP_LBF_N);
    if (work->op == FSP_OP_DRILLING)
        fsp_reckon_member(out, "k", result->k);
    fsp_reckon_member(out, "megajoules", result->joules / 1e6);
    if (work->op == FSP_OP_DRILLING)
        fsp_reckon_member(out, "motion_ton_miles", result->motion_j / FSP_TON_MILE_J);
    fsp_reckon_member(out, "ton_miles", result->joules / FSP_TON_MILE_J);
    fsp_reckon_member(out, "tonne_km", result->joules / FSP_TONNE_KM_J);
}

enum fsp_rc
fsp_reckon_work(const struct fsp_reckon_subject *subject, const struct fsp_reckon_in *in,
        struct fsp_reckon_out *out, struct fsp_err *err)
{
    struct fsp_work_in work;
    struct fsp_work_out result;
    enum fsp_rc rc;

    if (in->given[F_LANDING] && !in->given[F_PIPE])
        return fsp_err_set(err, FSP_EINVAL,
                "pipe: missing; a landing string needs the drill pipe's weight");
    fill_work(subject, in, &work, out);
    if (has_string(subject->op) && !in->given[F_BHA_WEIGHT] && !in->given[F_BHA_LENGTH])
        fsp_buf_add_text(&out->assumed, "bha-weight 0, bha-length 0: an open-ended string\n");
    if (subject->op == FSP_OP_MOVES && !in->given[F_MULTIPLIER])
        fsp_buf_add_text(&out->assumed, "multiplier 1 (the house's for jarring, not given)\n");
    rc = fsp_work_reckon(&work, &result, err);
    if (rc != FSP_OK)
        return rc;
    write_work(&work, &result, out);
    fsp_say_work(&out->text, result.joules, in->units);
    fsp_buf_add_text(&out->text, " (");
    fsp_say_work(&out->text, result.joules,
            in->units == FSP_UNITS_FIELD ? FSP_UNITS_METRIC : FSP_UNITS_FIELD);
    fsp_buf_add_text(&out->text, ", ");
    fsp_say_number(&out->text, result.joules / 1e6, 1);
    fsp_buf_add_text(&out->text, " MJ)\n");
    fsp_work_formula(&work, &result, in->units, &out->text);
    fsp_buf_add_text(&out->text, "\nHighest hook load, block included: ");
    fsp_say_load(&out->text, result.hookload_n, in->units);
    fsp_buf_add_byte(&out->text, '\n');
    if (subject->op == FSP_OP_MOVES)
        fsp_buf_add_text(&out->cautions, "After jarring the line is to be inspected.\n");
    else
        fsp_buf_add_text(&out->cautions, "Measured depth overstates the load in long "
                                         "horizontal sections: prefer counted work there.\n");
    if (subject->op == FSP_OP_DRILLING)
        fsp_buf_add_text(&out->cautions,
                "The multiplier is convention, on the safe side of the block's motion; only "
                "the figure by motion is to be compared with counted work.\n");
    fsp_buf_add_text(&out->cautions, FSP_RECKON_COME_FIRST);
    return FSP_OK;
}
