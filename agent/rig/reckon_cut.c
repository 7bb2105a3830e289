/* How much to cut, and what service to expect of it. */
#include "line/cutlength.h"
#include "line/goal.h"
#include "line/hoist.h"
#include "rig/reckon_priv.h"

enum fsp_rc
fsp_reckon_cut(const struct fsp_reckon_subject *subject, const struct fsp_reckon_in *in,
        struct fsp_reckon_out *out, struct fsp_err *err)
{
    int slips = in->given[F_SLIPS] ? (int)in->value[F_SLIPS] : 1;
    struct fsp_cutlength cut;
    enum fsp_rc rc;

    (void)subject;
    if (slips < 1 || slips > 50)
        return fsp_err_set(err, FSP_EINVAL, "slips: found %d; allowed: 1 to 50", slips);
    if (in->given[F_ROPE] && !(in->value[F_ROPE] >= 0.01 && in->value[F_ROPE] <= 0.1))
        return fsp_err_set(
                err, FSP_EINVAL, "rope: found %s; allowed: 10 mm to 100 mm", in->text[F_ROPE]);
    if (in->given[F_CROSSOVERS] && !(in->value[F_CROSSOVERS] >= 1))
        return fsp_err_set(err, FSP_EINVAL, "crossovers: found 0; allowed: 1 or 2 a lap");
    rc = fsp_cutlength_find(in->value[F_MAST], in->value[F_DRUM], in->value[F_ROPE],
            (int)in->value[F_CROSSOVERS], &cut, err);
    if (rc != FSP_OK)
        return rc;
    if (!in->given[F_SLIPS])
        fsp_buf_add_text(&out->assumed, "slips 1: cut at every slip (not given)\n");
    if (!in->given[F_ROPE])
        fsp_buf_add_text(&out->assumed,
                "a lap by the drum's diameter alone; with rope given, by its centre line\n");
    if (!in->given[F_CROSSOVERS])
        fsp_buf_add_text(&out->assumed, "crossovers 1 a lap (not given)\n");
    if (cut.centre_lap_m > 0)
        fsp_reckon_member(out, "cut_by_drum_ft", cut.drum_cut_m / FSP_FT_M);
    fsp_reckon_member(out, "cut_ft", cut.cut_m / FSP_FT_M);
    fsp_say_member_bool(&out->members, &out->first, "derived", cut.derived);
    fsp_reckon_member(out, "lap_ft", cut.lap_m / FSP_FT_M);
    fsp_reckon_member(out, "laps", cut.laps);
    fsp_reckon_member(out, "slip_ft", cut.cut_m / slips / FSP_FT_M);
    fsp_reckon_member(out, "slips", slips);
    fsp_cutlength_formula(&cut, in->value[F_DRUM], in->value[F_ROPE], slips, &out->text);
    rc = fsp_reckon_critical(in, cut.laps, slips, out, err);
    if (rc != FSP_OK)
        return rc;
    fsp_buf_add_text(&out->cautions, "The table is from memory of API RP 9B: verify against "
                                     "your copy. It knows mast and "
                                     "drum only, not where the critical points lie.\n");
    fsp_buf_add_text(&out->cautions, "Tape what is cut; keep the drum maker's dead wraps.\n");
    fsp_buf_add_text(&out->cautions, FSP_RECKON_COME_FIRST);
    return FSP_OK;
}

/* ---- slips ---- */

enum fsp_rc
fsp_reckon_slips(const struct fsp_reckon_subject *subject, const struct fsp_reckon_in *in,
        struct fsp_reckon_out *out, struct fsp_err *err)
{
    double cut_m = in->value[F_CUT], goal_j = in->value[F_GOAL];
    int slips = (int)in->value[F_SLIPS];

    (void)subject;
    if (!(cut_m > 0 && cut_m <= 500))
        return fsp_err_set(err, FSP_EINVAL,
                "cut: found %s; allowed: above 0, to 500 m (1,640 ft)", in->text[F_CUT]);
    if (!(goal_j > 0 && goal_j <= 100000 * FSP_TON_MILE_J))
        return fsp_err_set(err, FSP_EINVAL,
                "goal: found %s; allowed: above 0, to 100,000 ton-miles", in->text[F_GOAL]);
    if (slips < 1 || slips > 50)
        return fsp_err_set(err, FSP_EINVAL, "slips: found %d; allowed: 1 to 50", slips);
    fsp_reckon_member(out, "slip_ft", cut_m / slips / FSP_FT_M);
    fsp_reckon_member(out, "slip_ton_miles", goal_j / slips / FSP_TON_MILE_J);
    fsp_reckon_member(out, "ton_miles_per_ft", goal_j / cut_m * FSP_FT_M / FSP_TON_MILE_J);
    fsp_buf_add_text(&out->text, "A slip: ");
    fsp_say_length(&out->text, cut_m, in->units);
    fsp_buf_printf(&out->text, " / %d = ", slips);
    fsp_say_length(&out->text, cut_m / slips, in->units);
    fsp_buf_add_text(&out->text, " each ");
    fsp_say_work(&out->text, goal_j, in->units);
    fsp_buf_printf(&out->text, " / %d = ", slips);
    fsp_say_work(&out->text, goal_j / slips, in->units);
    fsp_buf_printf(&out->text, "; the cut falls on slip %d\n", slips);
    fsp_buf_add_text(&out->cautions, "A slip alone never resets the count since the cut.\n");
    fsp_buf_add_text(&out->cautions, FSP_RECKON_COME_FIRST);
    return FSP_OK;
}

/* ---- goal ---- */

enum fsp_rc
fsp_reckon_goal(const struct fsp_reckon_subject *subject, const struct fsp_reckon_in *in,
        struct fsp_reckon_out *out, struct fsp_err *err)
{
    double factor = fsp_reckon_or(in, F_FACTOR, FSP_FACTOR_USUAL), share, applied;
    enum fsp_formation formation = FSP_FORMATION_NORMAL;
    struct fsp_goal goal;
    bool beyond;
    enum fsp_rc rc;

    (void)subject;
    if (!(factor > 0 && factor <= 20))
        return fsp_err_set(err, FSP_EINVAL, "factor: found %s; allowed: above 0, to 20",
                in->text[F_FACTOR]);
    if (fsp_reckon_says(in, F_FORMATION, "soft"))
        formation = FSP_FORMATION_SOFT;
    else if (fsp_reckon_says(in, F_FORMATION, "hard"))
        formation = FSP_FORMATION_HARD;
    rc = fsp_goal_suggest(in->value[F_ROPE], in->value[F_CUT], formation, &goal, err);
    if (rc != FSP_OK)
        return rc;
    if (!in->given[F_FORMATION])
        fsp_buf_add_text(&out->assumed, "formation normal (not given)\n");
    if (!in->given[F_FACTOR])
        fsp_buf_add_text(&out->assumed, "factor 5 (not given)\n");
    share = fsp_goal_curve(NULL, factor, &beyond);
    applied = share > 1 ? 1 : share;
    if (share > 1)
        fsp_buf_add_text(
                &out->assumed, "credit above 100 % off: the goal at factor 5 is taken\n");
    fsp_reckon_member(out, "curve", share);
    fsp_reckon_member(out, "curve_applied", applied);
    fsp_reckon_member(out, "factor", factor);
    fsp_reckon_member(out, "first_ton_miles", goal.first_j * applied / FSP_TON_MILE_J);
    fsp_reckon_member(out, "first_ton_miles_at_5", goal.first_j / FSP_TON_MILE_J);
    fsp_reckon_member(out, "later_ton_miles", goal.later_j * applied / FSP_TON_MILE_J);
    fsp_reckon_member(out, "later_ton_miles_at_5", goal.later_j / FSP_TON_MILE_J);
    fsp_reckon_member(out, "ton_miles_per_ft", goal.per_metre_j * FSP_FT_M / FSP_TON_MILE_J);
    fsp_goal_formula(&goal, in->value[F_CUT], factor, applied, &out->text);
    if (beyond)
        fsp_buf_add_text(&out->cautions,
                "The factor is beyond the ends of the curve (2 to 7): its end is taken.\n");
    fsp_buf_add_text(&out->cautions,
            "A suggestion only, of low confidence: the goal is a company's setting, put in "
            "force by a programme. Inspection overrides the count.\n");
    fsp_buf_add_text(&out->cautions, FSP_RECKON_COME_FIRST);
    return FSP_OK;
}
