/* Work in the fold: defaults, gaps in the bit's depth, design factor, service counted. */
#include <math.h>
#include <string.h>

#include "line/ledger_priv.h"

double
fsp_ledger_derate(const struct fold *fold)
{
    double share = 1;
    int i;

    for (i = 0; i < ADVERSE_SLOTS; i++) {
        if (fold->adverse[i].open)
            share *= fold->adverse[i].derate;
    }
    return share;
}

void
fsp_ledger_gap(struct fold *fold, const struct item *item)
{
    struct count_state *count = &fold->count;

    if (!count->incomplete)
        count->gap_s = item->at_s;
    count->incomplete = true;
    count->gap_log = item->log;
    count->gap_index = item->index;
}

/* A gap makes the count since the cut incomplete, and says so with both depths. */
static void
gap(struct fsp_ledger *ledger, const struct item *item, const char *what, double depth_m)
{
    struct fold *fold = &ledger->fold;
    enum fsp_units units = fsp_ledger_units(ledger);
    struct fsp_buf buf;

    fsp_buf_init(&buf, 200);
    fsp_buf_add_text(&buf, "last entry left the bit at ");
    fsp_say_length(&buf, fold->bit_m, units);
    fsp_buf_printf(&buf, ", %s at ", what);
    fsp_say_length(&buf, depth_m, units);
    fsp_ledger_say(ledger, item, "%s: count incomplete", fsp_buf_peek(&buf));
    fsp_ledger_gap(fold, item);
    fsp_buf_fini(&buf);
}

static void
expect_bit(struct fsp_ledger *ledger, const struct item *item, const char *what, double depth_m)
{
    struct fold *fold = &ledger->fold;

    if (fold->bit_known && fabs(fold->bit_m - depth_m) > FSP_LEDGER_DEPTH_SAME_M)
        gap(ledger, item, what, depth_m);
}

static void
leave_bit(struct fold *fold, double depth_m)
{
    fold->bit_known = !isnan(depth_m);
    fold->bit_m = fold->bit_known ? depth_m : 0;
}

/* A half trip goes out from its depth or in to it: whichever fits where the bit is. */
static void
follow_half_trip(struct fsp_ledger *ledger, const struct item *item, double depth_m)
{
    struct fold *fold = &ledger->fold;

    if (!fold->bit_known) {
        leave_bit(fold, ABSENT);
    } else if (fabs(fold->bit_m) <= FSP_LEDGER_DEPTH_SAME_M) {
        leave_bit(fold, depth_m);
    } else {
        expect_bit(ledger, item, "this one starts", depth_m);
        leave_bit(fold, 0);
    }
}

static void
follow_reaming(struct fsp_ledger *ledger, const struct item *item, const struct item_work *w)
{
    struct fold *fold = &ledger->fold;
    double deep = fmax(w->from_m, w->to_m), shallow = fmin(w->from_m, w->to_m);

    if (fold->bit_known && (fold->bit_m > deep + FSP_LEDGER_DEPTH_SAME_M ||
                                   fold->bit_m < shallow - FSP_LEDGER_DEPTH_SAME_M))
        gap(ledger, item, "this one starts", w->from_m);
    leave_bit(fold, w->to_m);
}

static void
follow_bit(struct fsp_ledger *ledger, const struct item *item)
{
    const struct item_work *w = &item->u.work;
    struct fold *fold = &ledger->fold;
    double deep = fmax(w->from_m, w->to_m);

    switch (w->op) {
    case FSP_OP_ROUND_TRIP:
        expect_bit(ledger, item, "this one starts", w->depth_m);
        leave_bit(fold, w->depth_m);
        break;
    case FSP_OP_HALF_TRIP:
        follow_half_trip(ledger, item, w->depth_m);
        break;
    case FSP_OP_PULL_OUT:
    case FSP_OP_RUN_IN:
    case FSP_OP_DRILLING:
    case FSP_OP_CORING:
        expect_bit(ledger, item, "this one starts", w->from_m);
        leave_bit(fold, w->to_m);
        break;
    case FSP_OP_SHORT_TRIP:
        expect_bit(ledger, item, "this one starts", deep);
        leave_bit(fold, deep);
        break;
    case FSP_OP_REAMING:
        follow_reaming(ledger, item, w);
        break;
    case FSP_OP_CASING:
    case FSP_OP_LINER:
        expect_bit(ledger, item, "this one starts", 0);
        leave_bit(fold, w->op == FSP_OP_CASING ? 0 : ABSENT);
        break;
    case FSP_OP_COUNTED:
    case FSP_OP_STATED:
        leave_bit(fold, ABSENT);
        break;
    case FSP_OP_MOVES:
    case FSP_OP_NONE:
        break;
    }
}

void
fsp_ledger_apply_tour(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;

    if (!isnan(item->u.tour.bit_m)) {
        expect_bit(ledger, item, "the tour ends with it", item->u.tour.bit_m);
        leave_bit(fold, item->u.tour.bit_m);
    }
    if (item->u.tour.incomplete) {
        fsp_ledger_say(ledger, item, "the tour's entries are not complete: count incomplete");
        fsp_ledger_gap(fold, item);
    }
}

static double
first_of(double own, double standing)
{
    return isnan(own) ? standing : own;
}

static double
zero_if_absent(double value)
{
    return isnan(value) ? 0 : value;
}

static bool
needs_string(enum fsp_op_code op)
{
    return op != FSP_OP_CASING && op != FSP_OP_MOVES && op != FSP_OP_COUNTED &&
           op != FSP_OP_STATED;
}

static void
fill_choices(struct fold *fold, const struct item_work *w, struct fsp_work_in *in)
{
    in->drive = w->drive != FSP_DRIVE_UNSAID ? w->drive : fold->rig.drive;
    in->reams = w->reams;
    in->passes = w->passes > 0 ? w->passes : 0;
    if (in->op == FSP_OP_DRILLING && in->drive == FSP_DRIVE_UNSAID) {
        in->drive = FSP_DRIVE_KELLY;
        fold->assumed |= ASSUMED_DRIVE;
    }
    if (in->op == FSP_OP_DRILLING && in->reams < 0) {
        in->reams = 1;
        fold->assumed |= ASSUMED_REAMS;
    }
    if (in->op == FSP_OP_REAMING && in->passes == 0) {
        in->passes = 1;
        fold->assumed |= ASSUMED_PASSES;
    }
    if (in->op == FSP_OP_MOVES) {
        in->multiplier = isnan(w->multiplier) ? 1 : w->multiplier;
        fold->assumed |= isnan(w->multiplier) ? ASSUMED_MULTIPLIER : 0U;
    }
}

/* The work's own fields first, then the drill string's, then the rig's. */
static void
fill_in(struct fold *fold, const struct item_work *w, struct fsp_work_in *in)
{
    const struct item_string *standing = &fold->string;
    double stand = first_of(w->string.stand_m, fold->has_string ? standing->stand_m : ABSENT);

    memset(in, 0, sizeof(*in));
    in->op = w->op;
    in->string.pipe_nm = w->string.pipe_nm;
    in->string.bha_n = w->string.bha_n;
    in->string.bha_m = w->string.bha_m;
    in->string.mud_kgm3 = w->string.mud_kgm3;
    if (fold->has_string) {
        in->string.pipe_nm = first_of(in->string.pipe_nm, standing->pipe_nm);
        in->string.bha_n = first_of(in->string.bha_n, standing->bha_n);
        in->string.bha_m = first_of(in->string.bha_m, standing->bha_m);
        in->string.mud_kgm3 = first_of(in->string.mud_kgm3, standing->mud_kgm3);
    }
    in->string.pipe_nm = zero_if_absent(in->string.pipe_nm);
    in->string.stand_m =
            zero_if_absent(fold->has_rig ? first_of(stand, fold->rig.stand_m) : stand);
    in->string.block_n = fold->has_rig ? fold->rig.block_n : ABSENT;
    in->depth_m = w->depth_m;
    in->from_m = w->from_m;
    in->to_m = w->to_m;
    in->casing_nm = zero_if_absent(w->casing_nm);
    in->joint_m = zero_if_absent(w->joint_m);
    in->landing_m = zero_if_absent(w->landing_m);
    in->liner_m = zero_if_absent(w->liner_m);
    in->count = w->count;
    in->stroke_m = w->stroke_m;
    in->up_n = w->up_n;
    in->down_n = w->down_n;
    in->given_j = w->given_j;
    fill_choices(fold, w, in);
}

/* Casing by sections, read from the record: rare, so not part of the typed item. */
static enum fsp_rc
fill_sections(const struct item *item, struct fsp_work_in *in,
        struct fsp_work_section *sections, struct fsp_err *err)
{
    size_t n = fsp_record_count(item->record, "sections"), i;

    if (n > FSP_WORK_SECTIONS_MAX)
        return fsp_err_set(
                err, FSP_ELIMIT, "sections: found %zu; at most %d", n, FSP_WORK_SECTIONS_MAX);
    for (i = 0; i < n; i++) {
        const struct fsp_record *one = fsp_record_item(item->record, "sections", i);

        if (one == NULL ||
                !fsp_record_si(one, "casing", FSP_DIM_LINEAR, &sections[i].linear_nm) ||
                !fsp_record_si(one, "length", FSP_DIM_LENGTH, &sections[i].length_m))
            return fsp_err_set(err, FSP_EFORMAT, "sections: number %zu cannot be read", i + 1);
    }
    in->sections = sections;
    in->n_sections = n;
    return FSP_OK;
}

/* One operation with everything that was put into it. */
struct reckoning {
    struct fsp_work_in in;
    struct fsp_work_out out;
    struct fsp_work_section sections[FSP_WORK_SECTIONS_MAX];
};

static enum fsp_rc
reckon(struct fold *fold, const struct item *item, struct reckoning *of, struct fsp_err *err)
{
    const struct item_work *w = &item->u.work;
    struct fsp_work_in *in = &of->in;

    fill_in(fold, w, in);
    if (w->op != FSP_OP_COUNTED && w->op != FSP_OP_STATED && w->op != FSP_OP_MOVES) {
        if (isnan(in->string.block_n))
            return fsp_err_set(err, FSP_EINVAL, "block: no rig particulars before it");
        if (isnan(in->string.mud_kgm3) || (needs_string(w->op) && in->string.pipe_nm <= 0))
            return fsp_err_set(err, FSP_EINVAL, "pipe, mud: no drill string before it");
        in->string.bha_n = zero_if_absent(in->string.bha_n);
        in->string.bha_m = zero_if_absent(in->string.bha_m);
    }
    if ((w->op == FSP_OP_CASING || w->op == FSP_OP_LINER) &&
            fill_sections(item, in, of->sections, err) != FSP_OK)
        return FSP_EINVAL;
    return fsp_work_reckon(in, &of->out, err);
}

void
fsp_ledger_reeving(const struct fold *fold, struct fsp_reeving *reeving)
{
    reeving->lines = fold->line.lines;
    /* A number of rolling sheaves that cannot belong to this string-up gives way to the usual. */
    reeving->rolling = fold->rig.rolling <= fold->line.lines + 2 ? fold->rig.rolling : 0;
    reeving->k = fold->rig.k > 0 ? fold->rig.k : FSP_HOIST_K_ROLLER;
}

static double
factor_at(struct fold *fold, double hookload_n)
{
    struct fsp_reeving reeving;
    struct fsp_hoist hoist;

    fsp_ledger_reeving(fold, &reeving);
    if (!(fold->rig.k > 0))
        fold->assumed |= ASSUMED_BEARING;
    if (!(hookload_n > 0) || !(fold->line.rope.strength_n > 0) ||
            fsp_hoist_check(&reeving, NULL) != FSP_OK)
        return 0;
    fsp_hoist_load(&reeving, hookload_n, fold->line.rope.strength_n, &hoist);
    return hoist.design_factor;
}

static void
note_low(struct fold *fold, const struct item *item)
{
    struct duty_state *duties = &fold->duties;

    fold->count.below_minimum++;
    if (duties->low++ == 0)
        duties->low_s = item->at_s;
    duties->low_log = item->log;
    duties->low_index = item->index;
}

static void
judge_limit(struct fsp_ledger *ledger, const struct item *item, double factor)
{
    const struct item_work *w = &item->u.work;

    if (factor > 0 && factor < w->least) {
        note_low(&ledger->fold, item);
        fsp_ledger_say(ledger, item,
                "fast-line design factor %.2f, below the minimum of %.0f for %s: inspect the "
                "line",
                factor, w->least,
                w->least < FSP_FACTOR_DRILLING ? "casing and stuck pipe" : "drilling");
    }
}

/* The design factor this work is counted at; *lowest: of the operation itself, 0 unknown. */
static double
rate_work(struct fsp_ledger *ledger, const struct item *item, const struct fsp_work_out *out,
        double *least)
{
    struct fold *fold = &ledger->fold;
    struct count_state *count = &fold->count;
    const struct item_work *w = &item->u.work;
    double hookload = w->hookload_n, usual, lowest;

    if (isnan(hookload)) {
        hookload = out->hookload_n;
        if (hookload > 0 && w->op != FSP_OP_MOVES) {
            count->estimated_loads = true;
            fold->assumed |= ASSUMED_HOOKLOAD;
        }
    }
    usual = factor_at(fold, hookload);
    lowest = usual;
    if (!isnan(w->pull_n)) {
        double pulled = factor_at(fold, w->pull_n);

        lowest = pulled > 0 && (!(usual > 0) || pulled < usual) ? pulled : usual;
    }
    *least = lowest;
    judge_limit(ledger, item, lowest);
    fsp_duty_low_factor(fold, item, lowest);
    if (lowest > 0 && (!(count->min_factor > 0) || lowest < count->min_factor))
        count->min_factor = lowest;
    if (!(usual > 0)) {
        count->estimated_loads = true;
        fold->assumed |= ASSUMED_FACTOR;
        usual = count->min_factor > 0 ? count->min_factor : FSP_FACTOR_USUAL;
    }
    return usual;
}

static double
share_at(const struct fold *fold, double factor, bool *beyond)
{
    bool credit = fold->has_program && fold->program.credit;
    double share = fsp_goal_curve(&fold->curve, factor, beyond);

    *beyond = *beyond && (share < 1 || credit);
    return share > 1 && !credit ? 1 : share;
}

/* Work over the share of the goal that its factor and conditions leave. */
double
fsp_ledger_serve(const struct fold *fold, double joules, double factor)
{
    bool beyond = false;
    double share = share_at(fold, factor, &beyond);

    return joules / (share * fsp_ledger_derate(fold));
}

static double
serve(struct fsp_ledger *ledger, const struct item *item, double joules, double factor)
{
    struct fold *fold = &ledger->fold;
    bool beyond = false;

    (void)share_at(fold, factor, &beyond);
    if (beyond && !fold->count.beyond_told) {
        fold->count.beyond_told = true;
        fsp_ledger_say(ledger, item,
                "design factor %.2f is beyond the ends of the service curve: its end is taken",
                factor);
    }
    return fsp_ledger_serve(fold, joules, factor);
}

/* Whether what was shown, rounded to 2 decimals, is more than 0.1 % off. */
static bool
shown_differs(double shown, double is)
{
    return fabs(shown - is) > fmax(FSP_LEDGER_SHOWN_DIFFERS * is, FSP_LEDGER_SHOWN_ROUNDED);
}

static void
compare_shown(struct fsp_ledger *ledger, const struct item *item, double joules, double factor)
{
    const struct item_work *w = &item->u.work;
    double shown = w->given_j / FSP_TON_MILE_J, is = joules / FSP_TON_MILE_J;
    const char *now = item->touched ? "as amended it is" : "the rules in force give";

    if (w->op != FSP_OP_COUNTED && w->op != FSP_OP_STATED && !isnan(shown) &&
            shown_differs(shown, is))
        fsp_ledger_say(
                ledger, item, "%.2f ton-miles were shown on entry, %s %.2f", shown, now, is);
    if (!isnan(w->shown_factor) && factor > 0 && shown_differs(w->shown_factor, factor))
        fsp_ledger_say(ledger, item, "design factor %.2f was shown on entry, %s %.2f",
                w->shown_factor, now, factor);
}

/* Tell who asked (shown.h) what this work is, or why it cannot be reckoned. */
static void
tell(const struct fsp_ledger *ledger, const struct item *item, const struct reckoning *of,
        double factor, const char *why)
{
    struct fsp_ledger_work work = {
            .log = item->log,
            .index = item->index,
            .why = why,
            .work_j = of->out.joules,
            .factor = factor,
            .in = &of->in,
            .out = &of->out,
            .units = fsp_ledger_units(ledger),
    };

    if (ledger->on_work != NULL)
        ledger->on_work(ledger->on_work_ctx, &work);
}

void
fsp_ledger_on_work(struct fsp_ledger *ledger, fsp_ledger_work_fn fn, void *ctx)
{
    ledger->on_work = fn;
    ledger->on_work_ctx = ctx;
}

/* Whether this work's basis is the one in force; the other is a check and counts nothing. */
static bool
counts(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;
    bool counted = item->u.work.op == FSP_OP_COUNTED;

    if (item->u.work.op == FSP_OP_STATED)
        return true;
    fold->count.saw_counted = fold->count.saw_counted || counted;
    fold->count.saw_hand = fold->count.saw_hand || !counted;
    if (fold->program.basis != BASIS_UNSAID)
        return counted == (fold->program.basis == BASIS_COUNTED);
    if (fold->count.saw_counted && fold->count.saw_hand && !fold->mixed_told) {
        fold->mixed_told = true;
        fsp_ledger_say(ledger, item,
                "hand and counted work with no basis in force: both are counted; a programme "
                "with basis=hand or basis=counted decides");
    }
    return true;
}

void
fsp_ledger_apply_work(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;
    struct count_state *count = &fold->count;
    const struct item_work *w = &item->u.work;
    struct reckoning of;
    struct fsp_err err = {0};
    double factor, lowest = 0, served;

    memset(&of.out, 0, sizeof(of.out));
    follow_bit(ledger, item);
    if (!fold->line.hung) {
        fsp_ledger_say(ledger, item, "work with no line hung: not counted on any line");
        memset(&of.in, 0, sizeof(of.in));
        tell(ledger, item, &of, 0, "no line is hung");
        return;
    }
    if (reckon(fold, item, &of, &err) != FSP_OK) {
        fsp_ledger_say(ledger, item, "work not counted, count incomplete: %s", err.text);
        tell(ledger, item, &of, 0, err.text);
        fsp_ledger_gap(fold, item);
        return;
    }
    if (w->gaps > 0) {
        fsp_ledger_say(ledger, item,
                "%d minutes of the counted time have no data: count incomplete", w->gaps);
        fsp_ledger_gap(fold, item);
    }
    factor = rate_work(ledger, item, &of.out, &lowest);
    compare_shown(ledger, item, of.out.joules, lowest);
    tell(ledger, item, &of, lowest, NULL);
    if (!counts(ledger, item)) {
        count->check_j += of.out.joules;
        count->check_motion_j += of.out.motion_j;
        return;
    }
    served = serve(ledger, item, of.out.joules, factor);
    count->slip_j += of.out.joules;
    count->cut_j += of.out.joules;
    count->motion_j += of.out.motion_j;
    count->line_j += of.out.joules;
    count->served_j += served;
    count->served_slip_j += served;
    fsp_pace_add(fold, item->at_s, served);
}

enum fsp_rc
fsp_ledger_try_work(struct fsp_ledger *ledger, const struct item *item, double *work_j,
        double *factor, struct fsp_err *err)
{
    struct reckoning of;
    double lowest;
    enum fsp_rc rc = reckon(&ledger->fold, item, &of, err);

    if (rc != FSP_OK)
        return rc;
    *work_j = of.out.joules;
    *factor = rate_work(ledger, item, &of.out, &lowest);
    return FSP_OK;
}
