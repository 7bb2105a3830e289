#include "line/forecast.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "line/ledger_priv.h"

#define DAY_S      INT64_C(86400)
#define DAYS_AHEAD 36500.0 /* beyond a hundred years there is no day worth naming */
#define WEEK       7

/* ---- the pace, day by day ---- */

static int64_t
day_of(int64_t at_s)
{
    int64_t day = at_s / DAY_S;

    return at_s % DAY_S < 0 ? day - 1 : day;
}

static bool
is_stacked(const struct fold *fold)
{
    return fold->state != NULL && strcmp(fold->state, "stacked") == 0;
}

static void
push(struct pace *pace, double served_j)
{
    if (pace->n == FSP_PACE_DAYS) {
        memmove(&pace->day_j[0], &pace->day_j[1], (FSP_PACE_DAYS - 1) * sizeof(double));
        pace->n--;
    }
    pace->day_j[pace->n++] = served_j;
}

/* Called before an item is applied: the days up to its own are over, in the state so far. */
void
fsp_pace_reach(struct fold *fold, int64_t at_s)
{
    struct pace *pace = &fold->pace;
    int64_t day = day_of(at_s), i;
    bool stacked = is_stacked(fold);

    if (!pace->begun || day <= pace->day)
        return;
    if (!stacked || pace->worked)
        push(pace, pace->today_j);
    for (i = pace->day + 1; !stacked && i < day && i - pace->day <= FSP_PACE_DAYS; i++)
        push(pace, 0);
    pace->day = day;
    pace->today_j = 0;
    pace->worked = false;
}

/* Days before the first work say nothing of the pace. */
void
fsp_pace_add(struct fold *fold, int64_t at_s, double served_j)
{
    struct pace *pace = &fold->pace;

    if (!pace->begun) {
        pace->begun = true;
        pace->day = day_of(at_s);
    }
    pace->today_j += served_j;
    pace->worked = true;
}

static double
mean(const struct pace *pace, size_t from, size_t n)
{
    double sum = 0;
    size_t i;

    for (i = from; i < from + n; i++)
        sum += pace->day_j[i];
    return sum / (double)n;
}

/* ---- the forecast ---- */

static int64_t
ahead(int64_t from_s, double work_j, double pace_j)
{
    double days;

    if (!(work_j > 0))
        return from_s;
    if (!(pace_j > 0))
        return FSP_FORECAST_NONE;
    days = work_j / pace_j;
    return days > DAYS_AHEAD ? FSP_FORECAST_NONE : from_s + (int64_t)(days * (double)DAY_S);
}

static void
fill_day(const struct fsp_forecast *forecast, int64_t from_s, double work_j,
        struct fsp_forecast_day *out)
{
    out->likely_s = ahead(from_s, work_j, forecast->pace_j);
    out->earliest_s = ahead(from_s, work_j, forecast->fast_j);
    out->latest_s = ahead(from_s, work_j, forecast->slow_j);
}

static void
fill_pace(const struct pace *pace, struct fsp_forecast *out)
{
    size_t recent = pace->n < FSP_PACE_RECENT ? pace->n : FSP_PACE_RECENT;
    size_t week = pace->n >= WEEK + 2 ? WEEK : pace->n - 2, i;

    out->days = recent;
    out->pace_j = mean(pace, pace->n - recent, recent);
    out->month_j = mean(pace, 0, pace->n);
    out->slow_j = out->pace_j;
    out->fast_j = out->pace_j;
    for (i = 0; i + week <= pace->n; i++) {
        double one = mean(pace, i, week);

        out->slow_j = one < out->slow_j ? one : out->slow_j;
        out->fast_j = one > out->fast_j ? one : out->fast_j;
    }
}

/* Full cuts the reel still gives; what was slipped and not yet cut counts to the next one. */
static int
cuts_left(const struct fsp_ledger_view *view)
{
    double line = view->on_reel_m + view->slipped_since_cut_m;

    if (!(view->programme_m > 0))
        return -1;
    return line > 0 ? (int)floor(line / view->programme_m + 1e-9) : 0;
}

void
fsp_forecast_close(struct fsp_ledger *ledger)
{
    const struct fold *fold = &ledger->fold;
    const struct fsp_ledger_view *view = &ledger->view;
    struct fsp_forecast *out = &ledger->forecast;
    double left, slip_left, more;

    memset(out, 0, sizeof(*out));
    out->cuts_left = fold->line.hung ? cuts_left(view) : -1;
    out->stacked = is_stacked(fold);
    if (!fold->line.hung)
        out->why = "no line hung";
    else if (fold->pace.n < FSP_PACE_LEAST)
        out->why = "fewer than 5 whole days on record";
    else if (out->stacked)
        out->why = "the rig is stacked";
    if (fold->pace.n >= FSP_PACE_LEAST)
        fill_pace(&fold->pace, out);
    if (out->why == NULL && !(view->goal_j > 0))
        out->why = "no approved goal";
    if (out->why == NULL && !(out->fast_j > 0))
        out->why = "no work in the last days on record";
    out->known = out->why == NULL;
    if (!out->known)
        return;
    left = view->goal_j - view->served_j;
    slip_left = view->goal_j / view->slips - view->served_since_slip_j;
    fill_day(out, view->last_at_s, left, &out->cut);
    fill_day(out, view->last_at_s, slip_left < left ? slip_left : left, &out->slip);
    more = (left > 0 ? left : 0) + out->cuts_left * fold->program.later_j;
    if (out->cuts_left >= 0)
        fill_day(out, view->last_at_s, more, &out->reel);
}

const struct fsp_forecast *
fsp_ledger_forecast(const struct fsp_ledger *ledger)
{
    return &ledger->forecast;
}

/* ---- will it make it? ---- */

struct planner {
    struct fsp_ledger *scratch; /* a copy of the fold that the jobs are tried on */
    double goal_j;              /* of the cut the served work counts to */
    double served_j;            /* since the last cut, planned ones included */
    double later_j;
    int slips;
    struct fsp_plan *plan;
};

static enum fsp_rc
refuse(const struct fsp_ledger *ledger, struct fsp_err *err)
{
    if (!ledger->fold.line.hung)
        return fsp_err_set(err, FSP_EINVAL, "jobs: no line is hung; enter a reel first");
    if (ledger->fold.stop.open)
        return fsp_err_set(
                err, FSP_EINVAL, "jobs: the line is out of service, no job is covered");
    if (!(ledger->view.goal_j > 0))
        return fsp_err_set(err, FSP_EINVAL,
                "jobs: no approved goal to measure them by; enter a program first");
    return FSP_OK;
}

/* Apply one job to the scratch fold and see what it adds. */
static enum fsp_rc
try_job(struct planner *planner, const struct fsp_record *job, size_t number,
        struct fsp_job_row *row, struct fsp_err *err)
{
    struct fold *fold = &planner->scratch->fold;
    struct item item;
    enum fsp_rc rc;

    memset(&item, 0, sizeof(item));
    item.record = job;
    item.original = job;
    fsp_ledger_decode(&item);
    if (item.kind != ITEM_WORK)
        return fsp_err_set(
                err, FSP_EINVAL, "job %zu: expected a work record with its time", number);
    rc = fsp_ledger_try_work(planner->scratch, &item, &row->work_j, &row->factor, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "job %zu", number);
    row->served_j = fsp_ledger_serve(fold, row->work_j, row->factor);
    return FSP_OK;
}

/* Slips that the programme puts into what is served from `before` to `after`. */
static int
slips_due(const struct planner *planner, double before_j, double after_j)
{
    double step = planner->goal_j / planner->slips;
    int before = (int)floor(before_j / step + 1e-9), after = (int)floor(after_j / step + 1e-9);

    after = after < planner->slips ? after : planner->slips;
    return after > before ? after - before : 0;
}

static void
place_job(struct planner *planner, size_t i, struct fsp_job_row *row)
{
    struct fsp_plan *plan = planner->plan;
    bool first = plan->cuts == 0;

    row->more_than_a_goal = row->served_j > planner->later_j * (1 + 1e-9);
    if (planner->served_j > 0 &&
            planner->served_j + row->served_j > planner->goal_j * (1 + 1e-9)) {
        row->cut_before = true;
        if (first) {
            plan->first_cut = i;
            plan->first_slip =
                    (int)ceil(planner->served_j / (planner->goal_j / planner->slips) - 1e-9);
            if (plan->first_slip > planner->slips)
                plan->first_slip = planner->slips;
        }
        plan->cuts++;
        planner->served_j = 0;
        planner->goal_j = planner->later_j;
    }
    row->covered = plan->cuts == 0 && !(row->served_j > plan->left_j * (1 + 1e-9));
    row->slip_before = slips_due(planner, planner->served_j, planner->served_j + row->served_j);
    planner->served_j += row->served_j;
    row->after_j = planner->served_j;
    plan->covered += row->covered ? 1 : 0;
}

static void
say_job(const struct planner *planner, struct fsp_job_row *row, const struct fsp_record *job)
{
    enum fsp_units units = fsp_ledger_units(planner->scratch);
    const char *op = fsp_record_text(job, "op");
    struct fsp_buf buf;

    fsp_buf_init(&buf, 400);
    fsp_buf_printf(&buf, "%.20s ", op == NULL ? "?" : op);
    fsp_say_work(&buf, row->work_j, units);
    fsp_buf_add_text(&buf, ", counts ");
    fsp_say_work(&buf, row->served_j, units);
    if (row->more_than_a_goal)
        fsp_buf_add_text(&buf, "; more than a whole goal: a cut falls within it");
    (void)snprintf(row->text, sizeof(row->text), "%s", fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
}

static void
say_plan(struct fsp_plan *plan, size_t n, enum fsp_units units, bool incomplete)
{
    struct fsp_buf buf;

    fsp_buf_init(&buf, 600);
    if (plan->will_make_it) {
        fsp_buf_printf(&buf, "yes: %zu job%s fit%s into the ", n, n == 1 ? "" : "s",
                n == 1 ? "s" : "");
        fsp_say_work(&buf, plan->left_j, units);
        fsp_buf_add_text(&buf, " left before the cut");
    } else if (plan->cuts == 0) {
        fsp_buf_printf(&buf, "no: job %zu alone is more than the ", plan->covered + 1);
        fsp_say_work(&buf, plan->goal_j, units);
        fsp_buf_add_text(&buf, " between two cuts; a cut falls within it");
    } else if (plan->covered == 0) {
        fsp_buf_add_text(&buf, "no: cut first; ");
        fsp_say_work(&buf, plan->left_j > 0 ? plan->left_j : 0, units);
        fsp_buf_add_text(&buf, " are left and the first job needs more");
    } else {
        fsp_buf_printf(&buf, "no: the first %zu of %zu jobs fit into the ", plan->covered, n);
        fsp_say_work(&buf, plan->left_j, units);
        fsp_buf_printf(&buf, " left; best cut before job %zu", plan->first_cut + 1);
        if (plan->first_slip > 0)
            fsp_buf_printf(&buf, ", at slip %d since the last cut", plan->first_slip);
    }
    (void)snprintf(plan->text, sizeof(plan->text), "%s (an estimate; %s)", fsp_buf_peek(&buf),
            incomplete ? "the count is incomplete, less may be left"
                       : "inspection overrides it");
    fsp_buf_fini(&buf);
}

enum fsp_rc
fsp_forecast_jobs(const struct fsp_ledger *ledger, const struct fsp_record *const *jobs,
        size_t n, struct fsp_job_row *rows, struct fsp_plan *plan, struct fsp_err *err)
{
    struct planner planner = {.plan = plan};
    enum fsp_rc rc = refuse(ledger, err);
    size_t i;

    memset(plan, 0, sizeof(*plan));
    if (rc == FSP_OK && (n == 0 || n > FSP_JOBS_MAX))
        rc = fsp_err_set(err, FSP_EINVAL, "jobs: %zu; allowed: 1 to %d", n, FSP_JOBS_MAX);
    if (rc == FSP_OK)
        rc = fsp_ledger_new(&planner.scratch, err);
    if (rc != FSP_OK)
        return rc;
    planner.scratch->fold = ledger->fold;
    planner.scratch->mute = true;
    planner.goal_j = ledger->view.goal_j;
    planner.later_j = ledger->fold.program.later_j;
    planner.served_j = ledger->view.served_j;
    planner.slips = ledger->view.slips;
    plan->left_j = ledger->view.goal_j - ledger->view.served_j;
    plan->goal_j = planner.later_j;
    plan->first_cut = n;
    memset(rows, 0, n * sizeof(*rows));
    for (i = 0; i < n && rc == FSP_OK; i++) {
        rc = try_job(&planner, jobs[i], i + 1, &rows[i], err);
        if (rc != FSP_OK)
            break;
        place_job(&planner, i, &rows[i]);
        say_job(&planner, &rows[i], jobs[i]);
    }
    if (rc == FSP_OK) {
        plan->will_make_it = plan->covered == n;
        say_plan(plan, n, fsp_ledger_units(ledger), ledger->view.incomplete);
    }
    fsp_ledger_free(planner.scratch);
    return rc;
}

static double
ton_miles(double joules)
{
    return joules / FSP_TON_MILE_J;
}

void
fsp_forecast_jobs_json(const struct fsp_plan *plan, const struct fsp_job_row *rows, size_t n,
        struct fsp_buf *buf)
{
    bool first = true;
    size_t i;

    fsp_buf_add_byte(buf, '{');
    fsp_say_member_count(buf, &first, "covered", plan->covered);
    fsp_say_member_count(buf, &first, "cuts", plan->cuts);
    fsp_say_member_bool(buf, &first, "estimate", true);
    fsp_say_member_count(buf, &first, "first_cut_before", plan->first_cut + 1);
    fsp_say_member_count(buf, &first, "first_cut_slip", (uint64_t)plan->first_slip);
    fsp_say_key(buf, &first, "jobs");
    fsp_buf_add_byte(buf, '[');
    for (i = 0; i < n; i++) {
        bool one = true;

        fsp_buf_add_text(buf, i > 0 ? ",{" : "{");
        fsp_say_member(buf, &one, "after_ton_miles", ton_miles(rows[i].after_j));
        fsp_say_member_bool(buf, &one, "covered", rows[i].covered);
        fsp_say_member_bool(buf, &one, "cut_before", rows[i].cut_before);
        fsp_say_member(
                buf, &one, "design_factor", rows[i].factor > 0 ? rows[i].factor : ABSENT);
        fsp_say_member_bool(buf, &one, "more_than_a_goal", rows[i].more_than_a_goal);
        fsp_say_member(buf, &one, "served_ton_miles", ton_miles(rows[i].served_j));
        fsp_say_member_count(buf, &one, "slips", (uint64_t)rows[i].slip_before);
        fsp_say_member_text(buf, &one, "text", rows[i].text);
        fsp_say_member(buf, &one, "ton_miles", ton_miles(rows[i].work_j));
        fsp_buf_add_byte(buf, '}');
    }
    fsp_buf_add_byte(buf, ']');
    fsp_say_member(buf, &first, "left_ton_miles", ton_miles(plan->left_j));
    fsp_say_member_text(buf, &first, "text", plan->text);
    fsp_say_member_bool(buf, &first, "will_make_it", plan->will_make_it);
    fsp_buf_add_byte(buf, '}');
}

void
fsp_forecast_jobs_text(const struct fsp_plan *plan, const struct fsp_job_row *rows, size_t n,
        struct fsp_buf *buf)
{
    size_t i;

    fsp_buf_printf(buf, "Will it make it?  %s\n", plan->text);
    for (i = 0; i < n; i++) {
        if (rows[i].cut_before)
            fsp_buf_add_text(buf, "      -- cut here --\n");
        fsp_buf_printf(buf, "  %2zu  %s  %s%s\n", i + 1, rows[i].covered ? "yes" : "no ",
                rows[i].text, rows[i].slip_before > 0 ? "; slip falls due" : "");
    }
}
