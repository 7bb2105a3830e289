#include "rig/reckon.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "line/cutlength.h"
#include "line/goal.h"
#include "line/hoist.h"
#include "line/rope.h"
#include "line/say.h"
#include "line/work.h"

#define TEXT_MAX     ((size_t)16 * 1024)
#define CAUTIONS_MAX 8

enum field {
    F_DEPTH,
    F_FROM,
    F_TO,
    F_STAND,
    F_PIPE,
    F_BHA_WEIGHT,
    F_BHA_LENGTH,
    F_BLOCK,
    F_MUD,
    F_DRIVE,
    F_REAMS,
    F_PASSES,
    F_CASING,
    F_JOINT,
    F_LANDING,
    F_LINER,
    F_COUNT,
    F_STROKE,
    F_UP,
    F_DOWN,
    F_MULTIPLIER,
    F_HOOKLOAD,
    F_LINES,
    F_ROPE,
    F_GRADE,
    F_STRENGTH,
    F_BEARING,
    F_ROLLING,
    F_SERVICE,
    F_RATING,
    F_MAST,
    F_DRUM,
    F_SLIPS,
    F_CROSSOVERS,
    F_CUT,
    F_FORMATION,
    F_FACTOR,
    FIELDS,
};

enum form {
    FORM_QUANTITY,
    FORM_COUNT,
    FORM_NUMBER,
    FORM_WORD,
};

static const struct {
    const char *name;
    enum form form;
    enum fsp_dim dim;
    const char *words;
} fields[FIELDS] = {
        [F_DEPTH] = {"depth", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_FROM] = {"from", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_TO] = {"to", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_STAND] = {"stand", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_PIPE] = {"pipe", FORM_QUANTITY, FSP_DIM_LINEAR, NULL},
        [F_BHA_WEIGHT] = {"bha-weight", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_BHA_LENGTH] = {"bha-length", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_BLOCK] = {"block", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_MUD] = {"mud", FORM_QUANTITY, FSP_DIM_DENSITY, NULL},
        [F_DRIVE] = {"drive", FORM_WORD, FSP_DIM_NONE, "kelly top-drive"},
        [F_REAMS] = {"reams", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_PASSES] = {"passes", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_CASING] = {"casing", FORM_QUANTITY, FSP_DIM_LINEAR, NULL},
        [F_JOINT] = {"joint", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_LANDING] = {"landing-string", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_LINER] = {"liner-length", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_COUNT] = {"count", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_STROKE] = {"stroke", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_UP] = {"up", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_DOWN] = {"down", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_MULTIPLIER] = {"multiplier", FORM_NUMBER, FSP_DIM_NONE, NULL},
        [F_HOOKLOAD] = {"hookload", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_LINES] = {"lines", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_ROPE] = {"rope", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_GRADE] = {"grade", FORM_WORD, FSP_DIM_NONE, NULL},
        [F_STRENGTH] = {"strength", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_BEARING] = {"bearing", FORM_WORD, FSP_DIM_NONE, "roller plain"},
        [F_ROLLING] = {"rolling", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_SERVICE] = {"service", FORM_WORD, FSP_DIM_NONE, "drilling casing stuck-pipe"},
        [F_RATING] = {"rating", FORM_QUANTITY, FSP_DIM_LOAD, NULL},
        [F_MAST] = {"mast", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_DRUM] = {"drum", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_SLIPS] = {"slips", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_CROSSOVERS] = {"crossovers", FORM_COUNT, FSP_DIM_NONE, NULL},
        [F_CUT] = {"cut", FORM_QUANTITY, FSP_DIM_LENGTH, NULL},
        [F_FORMATION] = {"formation", FORM_WORD, FSP_DIM_NONE, "soft normal hard"},
        [F_FACTOR] = {"factor", FORM_NUMBER, FSP_DIM_NONE, NULL},
};

struct input {
    bool given[FIELDS];
    double value[FIELDS]; /* SI, or the number */
    const char *text[FIELDS];
    enum fsp_units units; /* metric when the first length typed is */
    bool units_known;
};

struct answer {
    struct fsp_buf members; /* JSON members, keys as they come */
    struct fsp_buf text;
    struct fsp_buf assumed; /* one line each */
    const char *cautions[CAUTIONS_MAX];
    size_t n_cautions;
    bool first;
};

struct subject {
    const char *name;
    const char *fields; /* required, then [optional] */
    enum fsp_op_code op;
    enum fsp_rc (*reckon)(const struct subject *subject, const struct input *in,
            struct answer *out, struct fsp_err *err);
};

#define STRING_FIELDS "stand pipe block mud [bha-weight] [bha-length]"

static const char line_only[] = "This is the line's limit, never the rig's: line only; mast, "
                                "block, anchor, drawworks and "
                                "pipe not checked.";
static const char come_first[] =
        "Local codes, the makers' figures and licensed practice come first.";
static const char horizontal[] =
        "Measured depth overstates the load in long horizontal sections: prefer counted work "
        "there.";

static void
caution(struct answer *out, const char *text)
{
    if (out->n_cautions < CAUTIONS_MAX)
        out->cautions[out->n_cautions++] = text;
}

static void
member(struct answer *out, const char *key, double value)
{
    fsp_say_member(&out->members, &out->first, key, value);
}

static bool
says(const struct input *in, enum field field, const char *word)
{
    return in->given[field] && strcmp(in->text[field], word) == 0;
}

static double
given_or(const struct input *in, enum field field, double other)
{
    return in->given[field] ? in->value[field] : other;
}

/* ---- work ---- */

static void
fill_work(const struct subject *subject, const struct input *in, struct fsp_work_in *work,
        struct answer *out)
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
        work->drive = says(in, F_DRIVE, "kelly") ? FSP_DRIVE_KELLY : FSP_DRIVE_TOP;
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
write_work(
        const struct fsp_work_in *work, const struct fsp_work_out *result, struct answer *out)
{
    if (work->op != FSP_OP_MOVES)
        member(out, "buoyancy", result->buoyancy);
    member(out, "hookload_lbf", result->hookload_n / FSP_LBF_N);
    if (work->op == FSP_OP_DRILLING)
        member(out, "k", result->k);
    member(out, "megajoules", result->joules / 1e6);
    if (work->op == FSP_OP_DRILLING)
        member(out, "motion_ton_miles", result->motion_j / FSP_TON_MILE_J);
    member(out, "ton_miles", result->joules / FSP_TON_MILE_J);
    member(out, "tonne_km", result->joules / FSP_TONNE_KM_J);
}

static enum fsp_rc
reckon_work(const struct subject *subject, const struct input *in, struct answer *out,
        struct fsp_err *err)
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
        caution(out, "After jarring the line is to be inspected.");
    else
        caution(out, horizontal);
    if (subject->op == FSP_OP_DRILLING)
        caution(out,
                "The multiplier is convention, on the safe side of the block's motion; only "
                "the figure by motion is to be compared with counted work.");
    caution(out, come_first);
    return FSP_OK;
}

/* ---- lift ---- */

static enum fsp_rc
find_rope(
        const struct input *in, struct fsp_rope *rope, struct answer *out, struct fsp_err *err)
{
    enum fsp_rc rc;

    if (!in->given[F_ROPE] && in->given[F_STRENGTH]) {
        memset(rope, 0, sizeof(*rope));
        rope->strength_n = in->value[F_STRENGTH];
        rope->source = FSP_ROPE_CERTIFICATE;
        if (!(rope->strength_n > 0 && rope->strength_n <= 2e7))
            return fsp_err_set(err, FSP_EINVAL, "strength: %s; allowed: above 0, to 20,000 kN",
                    in->text[F_STRENGTH]);
        return FSP_OK;
    }
    if (!in->given[F_ROPE] || (!in->given[F_GRADE] && !in->given[F_STRENGTH]))
        return fsp_err_set(err, FSP_EINVAL,
                "rope: missing; give rope and grade, or strength (the certificate's minimum)");
    if (in->given[F_STRENGTH] && !(in->value[F_STRENGTH] > 0))
        return fsp_err_set(
                err, FSP_EINVAL, "strength: %s; allowed: above 0", in->text[F_STRENGTH]);
    rc = fsp_rope_find(in->value[F_ROPE], in->text[F_GRADE], in->value[F_STRENGTH], rope, err);
    if (rc != FSP_OK)
        return rc;
    if (rope->over_listed)
        caution(out, "The strength given is more than 3 % above the table: is it the "
                     "certificate's minimum breaking force?");
    if (rope->matched_metric && rope->source == FSP_ROPE_TABLE)
        fsp_buf_printf(&out->assumed, "rope %s taken for the %s in of the table\n",
                in->text[F_ROPE], rope->size->name);
    return FSP_OK;
}

static enum fsp_rc
fill_reeving(const struct input *in, struct fsp_reeving *reeving, struct answer *out,
        struct fsp_err *err)
{
    reeving->lines = (int)in->value[F_LINES];
    reeving->rolling = (int)in->value[F_ROLLING];
    reeving->k = says(in, F_BEARING, "plain") ? FSP_HOIST_K_PLAIN : FSP_HOIST_K_ROLLER;
    if (!in->given[F_BEARING])
        fsp_buf_add_text(&out->assumed, "bearing roller (not given)\n");
    if (!in->given[F_ROLLING])
        fsp_buf_add_text(&out->assumed, "rolling sheaves as many as lines (not given)\n");
    return fsp_hoist_check(reeving, err);
}

static void
write_lift(const struct input *in, const struct fsp_reeving *reeving,
        const struct fsp_rope *rope, const struct fsp_hoist *hoist, struct answer *out)
{
    bool rare = says(in, F_SERVICE, "casing") || says(in, F_SERVICE, "stuck-pipe");
    double least = rare ? FSP_FACTOR_RARE : FSP_FACTOR_DRILLING;
    int needed =
            fsp_hoist_lines_needed(reeving, in->value[F_HOOKLOAD], rope->strength_n, least);

    member(out, "dead_line_lbf", hoist->dead_line_n / FSP_LBF_N);
    member(out, "derrick_load_lbf", hoist->derrick_n / FSP_LBF_N);
    member(out, "derrick_load_static_lbf", hoist->derrick_static_n / FSP_LBF_N);
    member(out, "design_factor", hoist->design_factor);
    member(out, "design_factor_static", hoist->design_factor_static);
    member(out, "efficiency", hoist->efficiency);
    member(out, "fast_line_factor", hoist->fast_factor);
    member(out, "fast_line_lbf", hoist->fast_line_n / FSP_LBF_N);
    member(out, "hookload_lbf", in->value[F_HOOKLOAD] / FSP_LBF_N);
    fsp_say_key(&out->members, &out->first, "lines_needed");
    if (needed > 0)
        fsp_buf_printf(&out->members, "%d", needed);
    else
        fsp_buf_add_text(&out->members, "null");
    if (rare)
        member(out, "load_at_2_lbf",
                fsp_hoist_load_at(reeving, rope->strength_n, 2) / FSP_LBF_N);
    member(out, "load_at_3_lbf", fsp_hoist_load_at(reeving, rope->strength_n, 3) / FSP_LBF_N);
    member(out, "load_at_5_lbf", fsp_hoist_load_at(reeving, rope->strength_n, 5) / FSP_LBF_N);
    if (in->given[F_RATING])
        member(out, "rating_lbf", in->value[F_RATING] / FSP_LBF_N);
    fsp_say_member_text(&out->members, &out->first, "service",
            in->given[F_SERVICE] ? in->text[F_SERVICE] : "drilling");
    member(out, "static_line_lbf", hoist->static_line_n / FSP_LBF_N);
    member(out, "strength_lbf", rope->strength_n / FSP_LBF_N);
}

static void
caution_lift(const struct input *in, const struct fsp_hoist *hoist, struct answer *out)
{
    if (in->given[F_RATING]) {
        if (in->value[F_HOOKLOAD] > in->value[F_RATING])
            caution(out, "The hook load is above the rating given: the line is not the limit.");
        caution(out, "This is the line's limit, never the rig's: what other parts bear was not "
                     "checked, and a mast's rating is for a stated number of lines.");
    } else {
        caution(out, line_only);
    }
    if (hoist->design_factor < FSP_FACTOR_RARE)
        caution(out, "BELOW 2: under the minimum for any service.");
    if (hoist->design_factor < FSP_FACTOR_DRILLING)
        caution(out,
                "Below 3: the toolpusher decides, the floor is cleared, the line is inspected "
                "afterwards.");
    if (hoist->design_factor > 7)
        caution(out, "Above 7 the line wears by bending faster than ton-miles tell.");
    caution(out, "Strength means sound line.");
    caution(out, come_first);
}

static enum fsp_rc
reckon_lift(const struct subject *subject, const struct input *in, struct answer *out,
        struct fsp_err *err)
{
    bool rare = says(in, F_SERVICE, "casing") || says(in, F_SERVICE, "stuck-pipe");
    struct fsp_rope rope;
    struct fsp_reeving reeving;
    struct fsp_hoist hoist;
    enum fsp_rc rc;

    (void)subject;
    if (!(in->value[F_HOOKLOAD] > 0 && in->value[F_HOOKLOAD] <= 2e7))
        return fsp_err_set(err, FSP_EINVAL,
                "hookload: found %s; allowed: above 0, to 20,000 kN (4,496,000 lb)",
                in->text[F_HOOKLOAD]);
    rc = find_rope(in, &rope, out, err);
    if (rc == FSP_OK)
        rc = fill_reeving(in, &reeving, out, err);
    if (rc != FSP_OK)
        return rc;
    if (!in->given[F_SERVICE])
        fsp_buf_add_text(&out->assumed, "service drilling, minimum factor 3 (not given)\n");
    fsp_hoist_load(&reeving, in->value[F_HOOKLOAD], rope.strength_n, &hoist);
    if (hoist.design_factor < FSP_FACTOR_DRILLING && !rare)
        return fsp_err_set(err, FSP_EINVAL,
                "service: the load leaves a design factor below 3, the minimum for drilling "
                "(%d "
                "lines would keep 3; 0: none); for setting casing or stuck pipe say "
                "service=casing or service=stuck-pipe",
                fsp_hoist_lines_needed(
                        &reeving, in->value[F_HOOKLOAD], rope.strength_n, FSP_FACTOR_DRILLING));
    write_lift(in, &reeving, &rope, &hoist, out);
    fsp_hoist_formula(&reeving, in->value[F_HOOKLOAD], rope.strength_n,
            rare ? FSP_FACTOR_RARE : FSP_FACTOR_DRILLING, in->units, &out->text);
    if (in->given[F_RATING]) {
        fsp_buf_add_text(&out->text, "Lowest rating given: ");
        fsp_say_load(&out->text, in->value[F_RATING], in->units);
        fsp_buf_add_byte(&out->text, '\n');
    }
    caution_lift(in, &hoist, out);
    return FSP_OK;
}

/* ---- cut ---- */

static enum fsp_rc
reckon_cut(const struct subject *subject, const struct input *in, struct answer *out,
        struct fsp_err *err)
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
        member(out, "cut_by_drum_ft", cut.drum_cut_m / FSP_FT_M);
    member(out, "cut_ft", cut.cut_m / FSP_FT_M);
    fsp_say_member_bool(&out->members, &out->first, "derived", cut.derived);
    member(out, "lap_ft", cut.lap_m / FSP_FT_M);
    member(out, "laps", cut.laps);
    member(out, "slip_ft", cut.cut_m / slips / FSP_FT_M);
    member(out, "slips", slips);
    fsp_cutlength_formula(&cut, in->value[F_DRUM], in->value[F_ROPE], slips, &out->text);
    caution(out,
            "The table is from memory of API RP 9B: verify against your copy. It knows mast "
            "and drum only, not where the critical points lie.");
    caution(out, "Tape what is cut; keep the drum maker's dead wraps.");
    caution(out, come_first);
    return FSP_OK;
}

/* ---- goal ---- */

static enum fsp_rc
reckon_goal(const struct subject *subject, const struct input *in, struct answer *out,
        struct fsp_err *err)
{
    double factor = given_or(in, F_FACTOR, FSP_FACTOR_USUAL), share, applied;
    enum fsp_formation formation = FSP_FORMATION_NORMAL;
    struct fsp_goal goal;
    bool beyond;
    enum fsp_rc rc;

    (void)subject;
    if (!(factor > 0 && factor <= 20))
        return fsp_err_set(err, FSP_EINVAL, "factor: found %s; allowed: above 0, to 20",
                in->text[F_FACTOR]);
    if (says(in, F_FORMATION, "soft"))
        formation = FSP_FORMATION_SOFT;
    else if (says(in, F_FORMATION, "hard"))
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
    member(out, "curve", share);
    member(out, "curve_applied", applied);
    member(out, "factor", factor);
    member(out, "first_ton_miles", goal.first_j * applied / FSP_TON_MILE_J);
    member(out, "first_ton_miles_at_5", goal.first_j / FSP_TON_MILE_J);
    member(out, "later_ton_miles", goal.later_j * applied / FSP_TON_MILE_J);
    member(out, "later_ton_miles_at_5", goal.later_j / FSP_TON_MILE_J);
    member(out, "ton_miles_per_ft", goal.per_metre_j * FSP_FT_M / FSP_TON_MILE_J);
    fsp_goal_formula(&goal, in->value[F_CUT], factor, applied, &out->text);
    if (beyond)
        caution(out, "The factor is beyond the ends of the curve (2 to 7): its end is taken.");
    caution(out,
            "A suggestion only, of low confidence: the goal is a company's setting, put in "
            "force by a programme. Inspection overrides the count.");
    caution(out, come_first);
    return FSP_OK;
}

/* ---- the table of subjects, input and output ---- */

static const struct subject subjects[] = {
        {"round-trip", "depth " STRING_FIELDS, FSP_OP_ROUND_TRIP, reckon_work},
        {"half-trip", "depth " STRING_FIELDS, FSP_OP_HALF_TRIP, reckon_work},
        {"pull-out", "from to " STRING_FIELDS, FSP_OP_PULL_OUT, reckon_work},
        {"run-in", "from to " STRING_FIELDS, FSP_OP_RUN_IN, reckon_work},
        {"short-trip", "from to " STRING_FIELDS, FSP_OP_SHORT_TRIP, reckon_work},
        {"coring", "from to " STRING_FIELDS, FSP_OP_CORING, reckon_work},
        {"drilling", "from to " STRING_FIELDS " [drive] [reams]", FSP_OP_DRILLING, reckon_work},
        {"reaming", "from to " STRING_FIELDS " [passes]", FSP_OP_REAMING, reckon_work},
        {"casing", "depth casing joint block mud [landing-string] [pipe] [stand]",
                FSP_OP_CASING, reckon_work},
        {"liner", "depth casing joint liner-length stand pipe block mud", FSP_OP_LINER,
                reckon_work},
        {"moves", "count stroke up down [multiplier]", FSP_OP_MOVES, reckon_work},
        {"lift",
                "hookload lines [rope] [grade] [strength] [bearing] [rolling] [service] "
                "[rating]",
                FSP_OP_NONE, reckon_lift},
        {"cut", "mast drum [rope] [slips] [crossovers]", FSP_OP_NONE, reckon_cut},
        {"goal", "rope cut [formation] [factor]", FSP_OP_NONE, reckon_goal},
};

#define SUBJECTS (sizeof(subjects) / sizeof(subjects[0]))

const char *
fsp_reckon_what(size_t i)
{
    return i < SUBJECTS ? subjects[i].name : NULL;
}

static const struct subject *
find_subject(const char *what)
{
    size_t i;

    for (i = 0; what != NULL && i < SUBJECTS; i++) {
        if (strcmp(subjects[i].name, what) == 0)
            return &subjects[i];
    }
    return NULL;
}

const char *
fsp_reckon_fields(const char *what)
{
    const struct subject *subject = find_subject(what);

    return subject == NULL ? NULL : subject->fields;
}

/* 0: the subject does not take it, 1: optional, 2: required. */
static int
takes(const char *list, const char *name)
{
    size_t len = strlen(name);
    const char *at = list;

    while (*at != 0) {
        size_t n = strcspn(at, " ");
        bool optional = *at == '[';

        if (n == len + (optional ? 2 : 0) && strncmp(at + (optional ? 1 : 0), name, len) == 0)
            return optional ? 1 : 2;
        at += n;
        at += strspn(at, " ");
    }
    return 0;
}

static bool
word_in(const char *list, const char *word)
{
    return strchr(word, ' ') == NULL && takes(list, word) == 2;
}

static enum fsp_rc
read_count(const char *text, double *out, struct fsp_err *err)
{
    uint64_t value;

    if (fsp_text_u64(text, strlen(text), &value) != FSP_OK || value > 1000000)
        return fsp_err_set(err, FSP_EFORMAT,
                "found \"%.40s\"; allowed: a whole number to 1,000,000", text);
    *out = (double)value;
    return FSP_OK;
}

static enum fsp_rc
read_value(struct input *in, enum field field, const char *text, struct fsp_err *err)
{
    const struct fsp_unit *unit = NULL;
    enum fsp_rc rc = FSP_OK;

    switch (fields[field].form) {
    case FORM_QUANTITY:
        rc = fsp_quantity_parse(text, fields[field].dim, &in->value[field], &unit, err);
        if (rc == FSP_OK && in->value[field] < 0)
            rc = fsp_err_set(err, FSP_EFORMAT, "found \"%.40s\"; allowed: not below 0", text);
        break;
    case FORM_COUNT:
        rc = read_count(text, &in->value[field], err);
        break;
    case FORM_NUMBER:
        rc = fsp_number_parse(text, &in->value[field], err);
        break;
    case FORM_WORD:
        if (fields[field].words != NULL && !word_in(fields[field].words, text))
            rc = fsp_err_set(err, FSP_EFORMAT, "found \"%.40s\"; allowed: %s", text,
                    fields[field].words);
        break;
    }
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "%s", fields[field].name);
    if (unit != NULL &&
            (fields[field].dim == FSP_DIM_LENGTH || fields[field].dim == FSP_DIM_LOAD) &&
            field != F_ROPE && field != F_DRUM && !in->units_known) {
        bool american = strcmp(unit->name, "ft") == 0 || strcmp(unit->name, "in") == 0 ||
                        strstr(unit->name, "lb") != NULL || strcmp(unit->name, "kip") == 0;

        in->units = american ? FSP_UNITS_FIELD : FSP_UNITS_METRIC;
        in->units_known = true;
    }
    in->given[field] = true;
    in->text[field] = text;
    return FSP_OK;
}

static enum fsp_rc
unknown_field(const struct subject *subject, const char *name, struct fsp_err *err)
{
    const char *names[FIELDS];
    const char *near;
    size_t n = 0, i;

    for (i = 0; i < FIELDS; i++) {
        if (takes(subject->fields, fields[i].name) != 0)
            names[n++] = fields[i].name;
    }
    near = fsp_text_nearest(name, names, n);
    return fsp_err_set(err, FSP_EINVAL, "%.40s: %s does not take this field%s%s%s; fields: %s",
            name, subject->name, near != NULL ? " (did you mean " : "",
            near != NULL ? near : "", near != NULL ? "?)" : "", subject->fields);
}

static enum fsp_rc
read_member(const struct subject *subject, const struct fsp_typed *typed, struct input *in,
        struct fsp_err *err)
{
    size_t i;

    if (!fsp_text_printable(typed->name, strlen(typed->name)) ||
            !fsp_text_printable(typed->value, strlen(typed->value)))
        return fsp_err_set(err, FSP_EFORMAT, "a field has characters that cannot be shown");
    for (i = 0; i < FIELDS; i++) {
        if (strcmp(fields[i].name, typed->name) == 0)
            break;
    }
    if (i == FIELDS || takes(subject->fields, typed->name) == 0)
        return unknown_field(subject, typed->name, err);
    if (in->given[i])
        return fsp_err_set(err, FSP_EINVAL, "%s: given twice", typed->name);
    if (*typed->value == 0)
        return FSP_OK; /* empty is "not given" */
    return read_value(in, (enum field)i, typed->value, err);
}

static enum fsp_rc
read_input(const struct subject *subject, const struct fsp_typed *members, size_t n,
        struct input *in, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    size_t i;

    memset(in, 0, sizeof(*in));
    for (i = 0; i < n && rc == FSP_OK; i++)
        rc = read_member(subject, &members[i], in, err);
    for (i = 0; i < FIELDS && rc == FSP_OK; i++) {
        if (takes(subject->fields, fields[i].name) == 2 && !in->given[i])
            rc = fsp_err_set(err, FSP_EINVAL, "%s: missing; %s needs: %s", fields[i].name,
                    subject->name, subject->fields);
    }
    return rc;
}

/* The i-th line of a text that ends each with LF; its length, 0 past the end. */
static size_t
line_at(const char *text, size_t i, const char **line)
{
    while (i-- > 0 && *text != 0)
        text += strcspn(text, "\n") + 1;
    *line = text;
    return strcspn(text, "\n");
}

static void
write_json(const struct answer *answer, struct fsp_buf *out)
{
    const char *line;
    size_t i, len;

    fsp_buf_add_text(out, "{\"assumed\":[");
    for (i = 0; (len = line_at(fsp_buf_peek(&answer->assumed), i, &line)) > 0; i++) {
        if (i > 0)
            fsp_buf_add_byte(out, ',');
        fsp_say_json_piece(out, line, len);
    }
    fsp_buf_add_text(out, "],");
    fsp_buf_add(out, answer->members.data, answer->members.len);
    fsp_buf_add_text(out, ",\"cautions\":[");
    for (i = 0; i < answer->n_cautions; i++) {
        if (i > 0)
            fsp_buf_add_byte(out, ',');
        fsp_say_json_text(out, answer->cautions[i]);
    }
    fsp_buf_add_text(out, "],\"formula\":");
    fsp_say_json_text(out, fsp_buf_peek(&answer->text));
    fsp_buf_add_text(out, "}\n");
}

static void
write_text(const struct answer *answer, struct fsp_buf *out)
{
    const char *line;
    size_t i, len;

    fsp_buf_add(out, answer->text.data, answer->text.len);
    for (i = 0; (len = line_at(fsp_buf_peek(&answer->assumed), i, &line)) > 0; i++)
        fsp_buf_printf(out, "Assumed: %.*s\n", (int)len, line);
    for (i = 0; i < answer->n_cautions; i++)
        fsp_buf_printf(out, "Caution: %s\n", answer->cautions[i]);
}

enum fsp_rc
fsp_reckon_run(const char *what, const struct fsp_typed *members, size_t n, bool json,
        struct fsp_buf *out, struct fsp_err *err)
{
    const struct subject *subject = find_subject(what);
    struct answer answer = {.first = true};
    struct input in;
    enum fsp_rc rc;

    fsp_buf_init(&answer.members, TEXT_MAX);
    fsp_buf_init(&answer.text, TEXT_MAX);
    fsp_buf_init(&answer.assumed, TEXT_MAX);
    if (subject == NULL) {
        rc = fsp_err_set(err, FSP_EINVAL,
                "%.40s: cannot be reckoned; allowed: round-trip half-trip pull-out run-in "
                "short-trip coring drilling reaming casing liner moves lift cut goal",
                what == NULL ? "(nothing)" : what);
        goto out;
    }
    rc = read_input(subject, members, n, &in, err);
    if (rc == FSP_OK)
        rc = subject->reckon(subject, &in, &answer, err);
    if (rc == FSP_OK)
        rc = fsp_buf_check(&answer.members, "members", err);
    if (rc == FSP_OK)
        rc = fsp_buf_check(&answer.text, "text", err);
    if (rc == FSP_OK)
        rc = fsp_buf_check(&answer.assumed, "assumed", err);
    if (rc != FSP_OK)
        goto out;
    if (json)
        write_json(&answer, out);
    else
        write_text(&answer, out);
    rc = fsp_buf_check(out, "reckon", err);
out:
    fsp_buf_fini(&answer.members);
    fsp_buf_fini(&answer.text);
    fsp_buf_fini(&answer.assumed);
    return rc;
}
