/* What the line can lift. */
#include <string.h>

#include "line/hoist.h"
#include "line/rope.h"
#include "rig/reckon_priv.h"

#define MOST_LOAD_N 2.0e7 /* house figure; no rig comes near */

static enum fsp_rc
find_rope(const struct fsp_reckon_in *in, struct fsp_rope *rope, struct fsp_reckon_out *out,
        struct fsp_err *err)
{
    enum fsp_rc rc;

    if (!in->given[F_ROPE] && in->given[F_STRENGTH]) {
        memset(rope, 0, sizeof(*rope));
        rope->strength_n = in->value[F_STRENGTH];
        rope->source = FSP_ROPE_CERTIFICATE;
        if (!(rope->strength_n > 0 && rope->strength_n <= MOST_LOAD_N))
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
    if (rc == FSP_OK)
        rc = fsp_rope_check_certificate(rope, err);
    if (rc != FSP_OK)
        return rc;
    if (rope->matched_metric && rope->source == FSP_ROPE_TABLE)
        fsp_buf_printf(&out->assumed, "rope %s taken for the %s in of the table\n",
                in->text[F_ROPE], rope->size->name);
    return FSP_OK;
}

static enum fsp_rc
fill_reeving(const struct fsp_reckon_in *in, struct fsp_reeving *reeving,
        struct fsp_reckon_out *out, struct fsp_err *err)
{
    reeving->lines = (int)in->value[F_LINES];
    reeving->rolling = (int)in->value[F_ROLLING];
    reeving->k =
            fsp_reckon_says(in, F_BEARING, "plain") ? FSP_HOIST_K_PLAIN : FSP_HOIST_K_ROLLER;
    if (in->given[F_SHEAVE_EFFICIENCY]) {
        double share = in->value[F_SHEAVE_EFFICIENCY];

        if (in->given[F_BEARING])
            return fsp_err_set(
                    err, FSP_EINVAL, "bearing: given with sheave-efficiency; give one of them");
        if (!(share > 0.5 && share < 1))
            return fsp_err_set(err, FSP_EINVAL,
                    "sheave-efficiency: found %s; allowed: above 0.5, below 1",
                    in->text[F_SHEAVE_EFFICIENCY]);
        reeving->k = 1 / share;
    } else if (!in->given[F_BEARING]) {
        fsp_buf_add_text(&out->assumed, "bearing roller (not given)\n");
    }
    if (!in->given[F_ROLLING])
        fsp_buf_add_text(&out->assumed, "rolling sheaves as many as lines (not given)\n");
    return fsp_hoist_check(reeving, err);
}

/* What was asked, made of the fields. */
struct lift {
    struct fsp_hoist_plan plan;
    struct fsp_reeving reeving;
    struct fsp_rope rope;
    struct fsp_hoist hoist;
    struct fsp_rating ratings[FSP_PARTS];
    enum fsp_part lowest;
    double lowest_n; /* as hook load */
};

static const enum fsp_reckon_field rating_fields[FSP_PARTS] = {
        [FSP_PART_MAST] = F_RATING_MAST,
        [FSP_PART_CROWN] = F_RATING_CROWN,
        [FSP_PART_BLOCK] = F_RATING_BLOCK,
        [FSP_PART_HOOK] = F_RATING_HOOK,
        [FSP_PART_TOP_DRIVE] = F_RATING_TOP_DRIVE,
        [FSP_PART_DRAWWORKS] = F_RATING_DRAWWORKS,
        [FSP_PART_ANCHOR] = F_RATING_ANCHOR,
};

static enum fsp_rc
fill_rating(const struct fsp_reckon_in *in, enum fsp_part part, struct lift *lift,
        struct fsp_err *err)
{
    enum fsp_reckon_field field = rating_fields[part];
    double load_n = in->value[field];

    if (!in->given[field])
        return FSP_OK;
    if (!(load_n > 0 && load_n <= MOST_LOAD_N))
        return fsp_err_set(err, FSP_EINVAL, "%s: found %s; allowed: above 0, to 20,000 kN",
                fsp_reckon_name(field), in->text[field]);
    /* A part rated by a pull on the line would never be the lowest if a hook load was typed. */
    if ((part == FSP_PART_DRAWWORKS || part == FSP_PART_ANCHOR) &&
            load_n > lift->rope.strength_n)
        return fsp_err_set(err, FSP_EINVAL,
                "%s: found %s, more than the line breaks at (%.0f lb); allowed: the pull %s, "
                "not a hook load",
                fsp_reckon_name(field), in->text[field], lift->rope.strength_n / FSP_LBF_N,
                fsp_hoist_part_pull(part));
    lift->ratings[part].load_n = load_n;
    return FSP_OK;
}

static enum fsp_rc
fill_ratings(const struct fsp_reckon_in *in, struct lift *lift, struct fsp_reckon_out *out,
        struct fsp_err *err)
{
    int stated = (int)in->value[F_RATING_MAST_LINES], part;
    enum fsp_rc rc = FSP_OK;

    for (part = 0; part < FSP_PARTS && rc == FSP_OK; part++)
        rc = fill_rating(in, (enum fsp_part)part, lift, err);
    if (rc != FSP_OK)
        return rc;
    if (in->given[F_RATING_MAST_LINES]) {
        if (!in->given[F_RATING_MAST])
            return fsp_err_set(err, FSP_EINVAL,
                    "rating-mast: missing; rating-mast-lines says what it is stated for");
        if (stated < 2 || stated > FSP_HOIST_LINES_MAX || stated % 2 != 0)
            return fsp_err_set(err, FSP_EINVAL,
                    "rating-mast-lines: found %d; allowed: an even number, 2 to %d", stated,
                    FSP_HOIST_LINES_MAX);
        lift->ratings[FSP_PART_MAST].lines = stated;
    } else if (in->given[F_RATING_MAST]) {
        fsp_buf_printf(&out->assumed,
                "rating-mast-lines %d: the mast's rating taken as stated for the lines "
                "strung\n",
                lift->reeving.lines);
    }
    lift->lowest = fsp_hoist_lowest(&lift->reeving, lift->ratings, &lift->lowest_n);
    return FSP_OK;
}

/* Below 3 needs a service that is allowed to go there, and says how else the load could be had. */
static enum fsp_rc
check_service(const struct lift *lift, bool rare, enum fsp_units units, struct fsp_err *err)
{
    struct fsp_buf most;
    int lines;
    enum fsp_rc rc;

    if (rare || lift->hoist.design_factor >= FSP_FACTOR_DRILLING)
        return FSP_OK;
    lines = fsp_hoist_lines_needed(
            &lift->reeving, lift->plan.hookload_n, lift->plan.strength_n, FSP_FACTOR_DRILLING);
    fsp_buf_init(&most, 80);
    fsp_say_load(&most,
            fsp_hoist_load_at(&lift->reeving, lift->plan.strength_n, FSP_FACTOR_DRILLING),
            units);
    if (lines > 0)
        fsp_buf_printf(&most, "; %d lines would keep 3", lines);
    rc = fsp_err_set(err, FSP_EINVAL,
            "service: the hook load leaves a factor below 3, the minimum for drilling; the "
            "line "
            "keeps 3 to %s; for setting casing or stuck pipe say service=casing or "
            "service=stuck-pipe",
            fsp_buf_peek(&most));
    fsp_buf_fini(&most);
    return rc;
}

static enum fsp_rc
fill_lift(const struct fsp_reckon_in *in, struct lift *lift, struct fsp_reckon_out *out,
        struct fsp_err *err)
{
    bool rare = fsp_reckon_rare(in);
    enum fsp_rc rc;

    memset(lift, 0, sizeof(*lift));
    lift->plan.hookload_n = in->value[F_HOOKLOAD];
    lift->plan.least = rare ? FSP_FACTOR_RARE : FSP_FACTOR_DRILLING;
    lift->plan.wanted = fsp_reckon_or(in, F_FACTOR, lift->plan.least);
    if (!(lift->plan.hookload_n > 0 && lift->plan.hookload_n <= MOST_LOAD_N))
        return fsp_err_set(err, FSP_EINVAL,
                "hookload: found %s; allowed: above 0, to 20,000 kN (4,496,000 lb)",
                in->text[F_HOOKLOAD]);
    if (!(lift->plan.wanted >= lift->plan.least && lift->plan.wanted <= 20))
        return fsp_err_set(err, FSP_EINVAL,
                "factor: found %s; allowed: %.0f to 20 for this service%s", in->text[F_FACTOR],
                lift->plan.least,
                rare ? "" : "; below 3 say service=casing or service=stuck-pipe");
    rc = find_rope(in, &lift->rope, out, err);
    if (rc == FSP_OK)
        rc = fill_reeving(in, &lift->reeving, out, err);
    if (rc != FSP_OK)
        return rc;
    if (!in->given[F_SERVICE])
        fsp_buf_add_text(&out->assumed, "service drilling, minimum factor 3 (not given)\n");
    lift->plan.strength_n = lift->rope.strength_n;
    fsp_hoist_load(&lift->reeving, lift->plan.hookload_n, lift->rope.strength_n, &lift->hoist);
    rc = check_service(lift, rare, in->units, err);
    return rc == FSP_OK ? fill_ratings(in, lift, out, err) : rc;
}

/* ---- JSON ---- */

static void
write_ratings(const struct lift *lift, struct fsp_reckon_out *out)
{
    bool first = true;
    int part;

    fsp_say_member_text(&out->members, &out->first, "lowest_rating",
            lift->lowest == FSP_PARTS ? NULL : fsp_hoist_part(lift->lowest));
    if (lift->lowest != FSP_PARTS)
        fsp_reckon_member(out, "lowest_rating_lbf", lift->lowest_n / FSP_LBF_N);
    fsp_say_key(&out->members, &out->first, "not_checked");
    fsp_buf_add_byte(&out->members, '[');
    for (part = 0; part < FSP_PARTS; part++) {
        if (lift->ratings[part].load_n > 0)
            continue;
        if (!first)
            fsp_buf_add_byte(&out->members, ',');
        first = false;
        fsp_say_json_text(&out->members, fsp_hoist_part((enum fsp_part)part));
    }
    fsp_buf_add_byte(&out->members, ']');
}

static void
write_needed(const struct lift *lift, struct fsp_reckon_out *out)
{
    int needed = fsp_hoist_lines_needed(
            &lift->reeving, lift->plan.hookload_n, lift->plan.strength_n, lift->plan.wanted);

    fsp_say_key(&out->members, &out->first, "lines_needed");
    if (needed > 0)
        fsp_buf_printf(&out->members, "%d", needed);
    else
        fsp_buf_add_text(&out->members, "null");
    fsp_reckon_member(out, "lines_needed_for", lift->plan.wanted);
}

static void
write_lift(const struct fsp_reckon_in *in, const struct lift *lift, struct fsp_reckon_out *out)
{
    static const char *const sources[] = {
            [FSP_ROPE_TABLE] = "table",
            [FSP_ROPE_RULE] = "rule",
            [FSP_ROPE_CERTIFICATE] = "certificate",
    };
    const struct fsp_hoist *hoist = &lift->hoist;
    const struct fsp_reeving *reeving = &lift->reeving;
    double strength = lift->plan.strength_n;

    fsp_reckon_member(out, "dead_line_lbf", hoist->dead_line_n / FSP_LBF_N);
    fsp_reckon_member(out, "derrick_load_lbf", hoist->derrick_n / FSP_LBF_N);
    fsp_reckon_member(out, "derrick_load_static_lbf", hoist->derrick_static_n / FSP_LBF_N);
    fsp_reckon_member(out, "design_factor", hoist->design_factor);
    fsp_reckon_member(out, "design_factor_static", hoist->design_factor_static);
    fsp_reckon_member(out, "efficiency", hoist->efficiency);
    fsp_reckon_member(out, "fast_line_factor", hoist->fast_factor);
    fsp_reckon_member(out, "fast_line_lbf", hoist->fast_line_n / FSP_LBF_N);
    fsp_reckon_member(out, "hookload_lbf", lift->plan.hookload_n / FSP_LBF_N);
    write_needed(lift, out);
    fsp_reckon_member(out, "mechanical_advantage", reeving->lines * hoist->efficiency);
    if (fsp_reckon_rare(in))
        fsp_reckon_member(
                out, "load_at_2_lbf", fsp_hoist_load_at(reeving, strength, 2) / FSP_LBF_N);
    fsp_reckon_member(
            out, "load_at_3_lbf", fsp_hoist_load_at(reeving, strength, 3) / FSP_LBF_N);
    fsp_reckon_member(
            out, "load_at_5_lbf", fsp_hoist_load_at(reeving, strength, 5) / FSP_LBF_N);
    write_ratings(lift, out);
    fsp_say_member_text(&out->members, &out->first, "service",
            in->given[F_SERVICE] ? in->text[F_SERVICE] : "drilling");
    fsp_reckon_member(out, "static_line_lbf", hoist->static_line_n / FSP_LBF_N);
    fsp_reckon_member(out, "strength_lbf", strength / FSP_LBF_N);
    fsp_say_member_text(
            &out->members, &out->first, "strength_source", sources[lift->rope.source]);
}

/* ---- text, cautions, duties ---- */

static void
say_ratings(const struct lift *lift, enum fsp_units units, struct fsp_buf *text)
{
    int part;

    for (part = 0; part < FSP_PARTS; part++) {
        const struct fsp_rating *rating = &lift->ratings[part];
        const char *pull = fsp_hoist_part_pull((enum fsp_part)part);

        if (!(rating->load_n > 0))
            continue;
        fsp_buf_printf(text, "Rating of the %s: ", fsp_hoist_part((enum fsp_part)part));
        fsp_say_load(text, rating->load_n, units);
        if (rating->lines > 0)
            fsp_buf_printf(text, " for %d lines", rating->lines);
        if (*pull != 0 || rating->lines > lift->reeving.lines) {
            fsp_buf_printf(text, "%s%s = ", *pull != 0 ? " " : "", pull);
            fsp_say_load(
                    text, fsp_hoist_rated(&lift->reeving, (enum fsp_part)part, rating), units);
            fsp_buf_printf(text, " on the hook with %d lines", lift->reeving.lines);
        }
        fsp_buf_add_byte(text, '\n');
    }
    if (lift->lowest == FSP_PARTS)
        return;
    fsp_buf_printf(text, "Lowest rating given: %s, ", fsp_hoist_part(lift->lowest));
    fsp_say_load(text, lift->lowest_n, units);
    fsp_buf_add_text(text, " on the hook\n");
}

static void
say_strength(const struct lift *lift, enum fsp_units units, struct fsp_buf *text)
{
    fsp_buf_add_text(text, "Strength ");
    fsp_say_load(text, lift->rope.strength_n, units);
    switch (lift->rope.source) {
    case FSP_ROPE_TABLE:
        fsp_buf_printf(text,
                ": %s in of the table (from memory of API Spec 9A / ASTM A1023: verify against "
                "your copy)\n",
                lift->rope.size == NULL ? "?" : lift->rope.size->name);
        break;
    case FSP_ROPE_RULE:
        fsp_buf_printf(text,
                ": 0.356 x d^2 x R, d = %.4g mm (from memory of ISO 2408: verify against your "
                "copy)\n",
                lift->rope.diameter_m * 1000);
        break;
    case FSP_ROPE_CERTIFICATE:
        fsp_buf_add_text(text, ": the certificate's minimum, as given");
        if (lift->rope.listed_n > 0) {
            fsp_buf_add_text(text, "; table or rule say ");
            fsp_say_load(text, lift->rope.listed_n, units);
        }
        fsp_buf_add_byte(text, '\n');
        break;
    }
}

/* Which parts were not held against the pull. */
static void
caution_parts(const struct lift *lift, struct fsp_buf *cautions)
{
    const char *between = "";
    int part;

    if (lift->lowest == FSP_PARTS) {
        fsp_buf_add_text(cautions,
                "This is the line's limit, never the rig's: line only; mast, block, anchor, "
                "drawworks and pipe not checked.\n");
        return;
    }
    fsp_buf_add_text(
            cautions, "The figures are the line's limit, never the rig's; not checked: ");
    for (part = 0; part < FSP_PARTS; part++) {
        if (lift->ratings[part].load_n > 0)
            continue;
        fsp_buf_printf(cautions, "%s%s", between, fsp_hoist_part((enum fsp_part)part));
        between = ", ";
    }
    fsp_buf_printf(cautions, "%spipe.\n", between);
}

static void
caution_ratings(const struct lift *lift, struct fsp_buf *cautions)
{
    const struct fsp_rating *mast = &lift->ratings[FSP_PART_MAST];
    double least_n = fsp_hoist_load_at(&lift->reeving, lift->plan.strength_n, lift->plan.least);

    if (lift->lowest == FSP_PARTS)
        return;
    if (lift->plan.hookload_n > lift->lowest_n)
        fsp_buf_printf(cautions, "ABOVE THE RATING of the %s: do not pull this.\n",
                fsp_hoist_part(lift->lowest));
    else if (least_n > lift->lowest_n)
        fsp_buf_printf(cautions,
                "The %s comes before the line: its rating lies below the load at factor "
                "%.0f.\n",
                fsp_hoist_part(lift->lowest), lift->plan.least);
    if (mast->load_n > 0)
        fsp_buf_add_text(cautions, "A mast's rating is for a stated number of lines; more "
                                   "lines never raise it.\n");
    if (mast->lines > lift->reeving.lines)
        fsp_buf_printf(cautions,
                "The mast is rated for %d lines: taken down to the same derrick load on %d; "
                "the "
                "maker's own figure comes first.\n",
                mast->lines, lift->reeving.lines);
}

static void
caution_lift(const struct lift *lift, struct fsp_reckon_out *out)
{
    double factor = lift->hoist.design_factor;

    caution_parts(lift, &out->cautions);
    caution_ratings(lift, &out->cautions);
    if (lift->rope.over_listed)
        fsp_buf_add_text(&out->cautions,
                "The strength given is more than 3 % above the table: is it the certificate's "
                "minimum breaking force?\n");
    if (factor < FSP_FACTOR_RARE)
        fsp_buf_add_text(&out->cautions, "BELOW 2: under the minimum for any service.\n");
    if (factor < FSP_FACTOR_DRILLING)
        fsp_buf_add_text(&out->cautions,
                "Below 3: the toolpusher decides, the floor is cleared, the line is inspected "
                "afterwards.\n");
    if (factor > FSP_FACTOR_BENDING)
        fsp_buf_add_text(&out->cautions,
                "Above 7 the line wears by bending faster than ton-miles tell.\n");
    fsp_buf_add_text(&out->cautions,
            "Strength means sound line: no figure holds while a finding is open.\n");
    fsp_buf_add_text(&out->cautions, FSP_RECKON_COME_FIRST);
}

static void
duties_of(const struct fsp_reckon_in *in, const struct lift *lift, struct fsp_buf *duties)
{
    double factor = lift->hoist.design_factor;

    if (factor <= FSP_FACTOR_NEAR)
        fsp_buf_add_text(duties,
                "a pull near factor 2: thorough inspection of the line in writing before it "
                "works on (scope after-event)\n");
    else if (factor < FSP_FACTOR_DRILLING)
        fsp_buf_add_text(duties,
                "a pull below factor 3: the line inspected after it (scope after-event)\n");
    if (fsp_reckon_says(in, F_SERVICE, "stuck-pipe"))
        fsp_buf_add_text(duties, "after jarring: the line inspected (scope after-event); enter "
                                 "the moves as work, "
                                 "op moves\n");
}

enum fsp_rc
fsp_reckon_lift(const struct fsp_reckon_subject *subject, const struct fsp_reckon_in *in,
        struct fsp_reckon_out *out, struct fsp_err *err)
{
    struct lift lift;
    enum fsp_rc rc = fill_lift(in, &lift, out, err);

    (void)subject;
    if (rc != FSP_OK)
        return rc;
    write_lift(in, &lift, out);
    fsp_hoist_formula(&lift.reeving, &lift.plan, in->units, &out->text);
    say_strength(&lift, in->units, &out->text);
    say_ratings(&lift, in->units, &out->text);
    caution_lift(&lift, out);
    duties_of(in, &lift, &out->duties);
    return FSP_OK;
}
