/* The work of one operation. */
#include <string.h>

#include "record/record.h"
#include "rig/reckon_priv.h"

#define SECTIONS_TEXT ((size_t)8 * 1024)

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
    work->given_j = in->value[F_TON_MILES];
    fsp_work_assume(work, &out->assumed);
}

static enum fsp_rc
read_section(const struct fsp_record *one, size_t i, struct fsp_work_section *section,
        struct fsp_err *err)
{
    const char *name;
    size_t m;

    if (one == NULL || !fsp_record_si(one, "casing", FSP_DIM_LINEAR, &section->linear_nm) ||
            !fsp_record_si(one, "length", FSP_DIM_LENGTH, &section->length_m))
        return fsp_err_set(err, FSP_EFORMAT,
                "sections: number %zu has no casing (a weight per length) or no length", i + 1);
    for (m = 0; (name = fsp_record_member(one, m)) != NULL; m++) {
        if (strcmp(name, "casing") != 0 && strcmp(name, "length") != 0)
            return fsp_err_set(err, FSP_EFORMAT,
                    "sections: number %zu: found %.40s; allowed: casing, length", i + 1, name);
    }
    return FSP_OK;
}

/* Typed as in a record: [{"casing":"47lb/ft","length":"2000ft"},...], the shoe's first. */
static enum fsp_rc
read_sections(
        const char *text, struct fsp_work_section *sections, size_t *n, struct fsp_err *err)
{
    struct fsp_record *record = NULL;
    struct fsp_buf buf;
    size_t i, count = 0;
    enum fsp_rc rc;

    fsp_buf_init(&buf, SECTIONS_TEXT);
    fsp_buf_printf(&buf, "{\"sections\":%s}", text);
    rc = fsp_buf_check(&buf, "sections", err);
    if (rc == FSP_OK)
        rc = fsp_record_parse(buf.data, buf.len, &record, err);
    if (rc != FSP_OK) {
        rc = fsp_err_wrap(err, rc, "sections");
        goto out;
    }
    count = fsp_record_count(record, "sections");
    if (count < 1 || count > FSP_WORK_SECTIONS_MAX)
        rc = fsp_err_set(err, FSP_EFORMAT,
                "sections: found %zu; allowed: a list of 1 to %d, each {\"casing\":\"47lb/ft\","
                "\"length\":\"2000ft\"}",
                count, FSP_WORK_SECTIONS_MAX);
    for (i = 0; i < count && rc == FSP_OK; i++)
        rc = read_section(fsp_record_item(record, "sections", i), i, &sections[i], err);
out:
    *n = rc == FSP_OK ? count : 0;
    fsp_record_free(record);
    fsp_buf_fini(&buf);
    return rc;
}

/* What is given only in part, and what is given twice. */
static enum fsp_rc
check_parts(const struct fsp_reckon_subject *subject, const struct fsp_reckon_in *in,
        struct fsp_err *err)
{
    bool casing = subject->op == FSP_OP_CASING || subject->op == FSP_OP_LINER;

    if (in->given[F_LANDING] && !in->given[F_PIPE])
        return fsp_err_set(err, FSP_EINVAL,
                "pipe: missing; a landing string needs the drill pipe's weight");
    if (in->given[F_BHA_WEIGHT] != in->given[F_BHA_LENGTH])
        return fsp_err_set(err, FSP_EINVAL,
                "%s: missing; an assembly needs weight and length, an open-ended string "
                "neither",
                in->given[F_BHA_WEIGHT] ? "bha-length" : "bha-weight");
    if (casing && in->given[F_CASING] == in->given[F_SECTIONS])
        return fsp_err_set(err, FSP_EINVAL,
                "casing: %s; give casing (one weight) or sections (several)",
                in->given[F_CASING] ? "given with sections" : "missing");
    return FSP_OK;
}

static bool
has_string(enum fsp_op_code op)
{
    return op >= FSP_OP_ROUND_TRIP && op <= FSP_OP_CORING;
}

static void
write_work(const struct fsp_work_in *work, const struct fsp_work_out *result,
        struct fsp_reckon_out *out)
{
    if (result->buoyancy > 0)
        fsp_reckon_member(out, "buoyancy", result->buoyancy);
    if (result->hookload_n > 0)
        fsp_reckon_member(out, "hookload_lbf", result->hookload_n / FSP_LBF_N);
    if (work->op == FSP_OP_DRILLING)
        fsp_reckon_member(out, "k", result->k);
    fsp_reckon_member(out, "megajoules", result->joules / 1e6);
    if (work->op == FSP_OP_DRILLING)
        fsp_reckon_member(out, "motion_ton_miles", result->motion_j / FSP_TON_MILE_J);
    fsp_reckon_member(out, "ton_miles", result->joules / FSP_TON_MILE_J);
    fsp_reckon_member(out, "tonne_km", result->joules / FSP_TONNE_KM_J);
}

static void
say_work(const struct fsp_work_in *work, const struct fsp_work_out *result,
        enum fsp_units units, struct fsp_buf *text)
{
    fsp_say_work(text, result->joules, units);
    fsp_buf_add_text(text, " (");
    fsp_say_work(text, result->joules,
            units == FSP_UNITS_FIELD ? FSP_UNITS_METRIC : FSP_UNITS_FIELD);
    fsp_buf_add_text(text, ", ");
    fsp_say_number(text, result->joules / 1e6, 1);
    fsp_buf_add_text(text, " MJ)\n");
    fsp_work_formula(work, result, units, text);
    fsp_buf_add_byte(text, '\n');
    if (!(result->hookload_n > 0))
        return;
    fsp_buf_add_text(text, "Highest hook load, block included: ");
    fsp_say_load(text, result->hookload_n, units);
    fsp_buf_add_byte(text, '\n');
}

static void
caution_work(enum fsp_op_code op, struct fsp_reckon_out *out)
{
    bool given = op == FSP_OP_COUNTED || op == FSP_OP_STATED;

    if (op == FSP_OP_MOVES)
        fsp_buf_add_text(&out->duties,
                "after jarring: the line inspected before it works on (scope after-event)\n");
    else if (!given)
        fsp_buf_add_text(&out->cautions, "Measured depth overstates the load in long "
                                         "horizontal sections: prefer counted work there.\n");
    if (op == FSP_OP_DRILLING)
        fsp_buf_add_text(&out->cautions,
                "The multiplier is convention, on the safe side of the block's motion; only "
                "the figure by motion is to be compared with counted work.\n");
    if (given)
        fsp_buf_add_text(&out->cautions,
                "Taken as given: how it was counted or stated was not checked.\n");
    fsp_buf_add_text(&out->cautions, FSP_RECKON_COME_FIRST);
}

enum fsp_rc
fsp_reckon_work(const struct fsp_reckon_subject *subject, const struct fsp_reckon_in *in,
        struct fsp_reckon_out *out, struct fsp_err *err)
{
    struct fsp_work_section sections[FSP_WORK_SECTIONS_MAX];
    struct fsp_work_in work;
    struct fsp_work_out result;
    enum fsp_rc rc;

    rc = check_parts(subject, in, err);
    if (rc != FSP_OK)
        return rc;
    fill_work(subject, in, &work, out);
    if (has_string(subject->op) && !in->given[F_BHA_WEIGHT] && !in->given[F_BHA_LENGTH])
        fsp_buf_add_text(&out->assumed, "bha-weight 0, bha-length 0: an open-ended string\n");
    if (subject->op == FSP_OP_MOVES && !in->given[F_MULTIPLIER])
        fsp_buf_add_text(&out->assumed, "multiplier 1 (the house's for jarring, not given)\n");
    if (in->given[F_SECTIONS]) {
        rc = read_sections(in->text[F_SECTIONS], sections, &work.n_sections, err);
        work.sections = sections;
        if (rc != FSP_OK)
            return rc;
    }
    rc = fsp_work_reckon(&work, &result, err);
    if (rc != FSP_OK)
        return rc;
    write_work(&work, &result, out);
    say_work(&work, &result, in->units, &out->text);
    caution_work(subject->op, out);
    return FSP_OK;
}

static enum fsp_rc
check_trip(const struct fsp_reckon_in *in, enum fsp_reckon_field field, struct fsp_err *err)
{
    if (in->value[field] <= 1e6 * FSP_TON_MILE_J)
        return FSP_OK;
    return fsp_err_set(err, FSP_EINVAL, "%s: found %s; allowed: 0 to 1,000,000 ton-miles",
            fsp_reckon_name(field), in->text[field]);
}

static void
say_times(const char *what, double k, const struct fsp_reckon_in *in, double joules,
        struct fsp_buf *text)
{
    fsp_buf_printf(text, "%s: %.4g x (", what, k);
    fsp_say_work(text, in->value[F_DEEP], in->units);
    fsp_buf_add_text(text, " - ");
    fsp_say_work(text, in->value[F_SHALLOW], in->units);
    fsp_buf_add_text(text, ") = ");
    fsp_say_work(text, joules, in->units);
    fsp_buf_add_byte(text, '\n');
}

enum fsp_rc
fsp_reckon_trips(const struct fsp_reckon_subject *subject, const struct fsp_reckon_in *in,
        struct fsp_reckon_out *out, struct fsp_err *err)
{
    double deep = in->value[F_DEEP], shallow = in->value[F_SHALLOW], k;
    struct fsp_work_in work;
    enum fsp_rc rc = check_trip(in, F_DEEP, err);

    if (rc == FSP_OK)
        rc = check_trip(in, F_SHALLOW, err);
    if (rc == FSP_OK && deep < shallow)
        rc = fsp_err_set(err, FSP_EINVAL,
                "deep: found %s, less than shallow (%s); allowed: the round trip to the deeper "
                "depth is the greater",
                in->text[F_DEEP], in->text[F_SHALLOW]);
    if (rc == FSP_OK && in->given[F_REAMS] && in->value[F_REAMS] > 9)
        rc = fsp_err_set(
                err, FSP_EINVAL, "reams: found %s; allowed: 0 to 9", in->text[F_REAMS]);
    if (rc != FSP_OK)
        return rc;
    fill_work(subject, in, &work, out);
    work.op = FSP_OP_DRILLING;
    fsp_work_assume(&work, &out->assumed);
    k = fsp_work_drilling_k(work.drive, work.reams);
    fsp_reckon_member(
            out, "coring_ton_miles", fsp_work_coring_j(shallow, deep) / FSP_TON_MILE_J);
    fsp_reckon_member(
            out, "drilling_ton_miles", fsp_work_drilling_j(shallow, deep, k) / FSP_TON_MILE_J);
    fsp_reckon_member(out, "k", k);
    fsp_reckon_member(
            out, "short_trip_ton_miles", fsp_work_short_trip_j(shallow, deep) / FSP_TON_MILE_J);
    say_times("Short trip", 1, in, fsp_work_short_trip_j(shallow, deep), &out->text);
    say_times("Coring", 2, in, fsp_work_coring_j(shallow, deep), &out->text);
    say_times("Drilling", k, in, fsp_work_drilling_j(shallow, deep, k), &out->text);
    fsp_buf_add_text(&out->cautions, "Both trips with the same string and mud.\n");
    fsp_buf_add_text(&out->cautions, FSP_RECKON_COME_FIRST);
    return FSP_OK;
}
