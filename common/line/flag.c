#include "line/flag.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "line/duty.h"
#include "line/say.h"
#include "record/quantity.h"

struct list {
    const struct fsp_line_flags_about *about;
    const struct fsp_ledger_view *view;
    struct fsp_line_flag *out;
    size_t n;
};

/* A flag to be filled in; NULL when there is no room, which the bounds of the kinds exclude. */
static struct fsp_line_flag *
raise_flag(struct list *list, enum fsp_line_flag_kind kind, int64_t since_s)
{
    struct fsp_line_flag *flag;

    if (list->n == FSP_LINE_FLAGS_MAX)
        return NULL;
    flag = &list->out[list->n++];
    memset(flag, 0, sizeof(*flag));
    flag->kind = kind;
    flag->since_s = since_s;
    return flag;
}

static void
add_cut(struct fsp_line_flag *flag, size_t row)
{
    if (flag->n_cuts == FSP_LINE_FLAG_CUTS)
        memmove(&flag->cuts[0], &flag->cuts[1], --flag->n_cuts * sizeof(flag->cuts[0]));
    flag->cuts[flag->n_cuts++] = row;
}

static void
set_text(struct fsp_line_flag *flag, const char *text)
{
    size_t len = strlen(text);

    if (len >= sizeof(flag->text))
        len = sizeof(flag->text) - 1;
    memcpy(flag->text, text, len);
    flag->text[len] = '\0';
}

static void
name_row(struct fsp_line_flag *flag, const struct fsp_cut_row *row)
{
    (void)snprintf(flag->what, sizeof(flag->what), "%u.%llu", (unsigned)row->log,
            (unsigned long long)row->index);
}

/* The stretch that runs since the newest cut of the line that hangs: another one after each. */
static void
name_stretch(const struct list *list, struct fsp_line_flag *flag, const char *more)
{
    const struct fsp_line_flags_about *about = list->about;
    const struct fsp_cut_row *last = about->n == 0 ? NULL : about->rows[about->n - 1];
    const char *reel = list->view->reel == NULL ? "" : list->view->reel;
    uint32_t sum = UINT32_C(2166136261);

    for (; *reel != 0; reel++)
        sum = (sum ^ (uint8_t)*reel) * UINT32_C(16777619);
    (void)snprintf(flag->what, sizeof(flag->what), "%u.%llu.%08x%s",
            last == NULL ? 0 : (unsigned)last->log,
            last == NULL ? 0 : (unsigned long long)last->index, (unsigned)sum, more);
}

static bool
is_stacked(const struct list *list)
{
    return list->view->rig_state != NULL && strcmp(list->view->rig_state, "stacked") == 0;
}

/* ---- several cuts ---- */

static void
look_early(struct list *list)
{
    const struct fsp_review *review = list->about->review;
    const struct fsp_cut_row *const *rows = list->about->rows;
    struct fsp_line_flag *flag;
    size_t left = review->window + review->since, i = list->about->n;

    if (review->state != FSP_REVIEW_FLAGGED)
        return;
    flag = raise_flag(list, FSP_LINE_EARLY_WEAR, review->flagged_s);
    if (flag == NULL)
        return;
    while (i > 0 && left > 0)
        left -= rows[--i]->eligible ? 1 : 0;
    for (; i < list->about->n; i++)
        if (rows[i]->eligible)
            add_cut(flag, i);
    set_text(flag, review->text);
    if (review->last != NULL)
        name_row(flag, review->last);
}

static const char *const damages[] = {
        "kink", "crush", "corrosion", "shock", "spooling", "jarring"};
#define DAMAGES (sizeof(damages) / sizeof(damages[0]))

/* Which of the damages; DAMAGES when it is none. */
static size_t
damage_of(const struct fsp_cut_row *row)
{
    size_t i = 0;

    while (i < DAMAGES && (row->reason == NULL || strcmp(row->reason, damages[i]) != 0))
        i++;
    return i;
}

static void
say_damage(struct fsp_line_flag *flag, size_t damaged, size_t seen, const size_t *times)
{
    struct fsp_buf buf;
    const char *comma = "";
    size_t i;

    fsp_buf_init(&buf, FSP_LINE_FLAG_TEXT_MAX - 1);
    fsp_buf_printf(&buf, "%zu of the last %zu cuts for damage: ", damaged, seen);
    for (i = 0; i < DAMAGES; i++) {
        if (times[i] == 0)
            continue;
        fsp_buf_printf(&buf, "%s%s", comma, damages[i]);
        if (times[i] > 1)
            fsp_buf_printf(&buf, " %zu times", times[i]);
        comma = ", ";
    }
    fsp_buf_add_text(&buf,
            "; no goal helps against it: look at how the line is spooled, reeved "
            "and handled");
    set_text(flag, fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
}

static void
look_damage(struct list *list)
{
    const struct fsp_cut_row *const *rows = list->about->rows;
    size_t times[DAMAGES + 1] = {0}, n = list->about->n, seen = 0, from = n, most = 0, i;
    size_t damaged = 0, newest = n, oldest = n;
    struct fsp_line_flag *flag;

    if (list->view->changed_s != 0)
        return;
    while (from > 0 && seen < FSP_FLAG_DAMAGE_CUTS) {
        size_t which = damage_of(rows[--from]);

        seen++;
        if (which < DAMAGES) {
            newest = damaged == 0 ? from : newest;
            oldest = from;
            damaged++;
            most = ++times[which] > most ? times[which] : most;
        }
        if (rows[from]->changed)
            break;
    }
    if (damaged == 0 || n - 1 - newest >= FSP_FLAG_DAMAGE_CLOSE ||
            (damaged < FSP_FLAG_DAMAGE_ANY && most < FSP_FLAG_DAMAGE_SAME))
        return;
    flag = raise_flag(list, FSP_LINE_DAMAGE, rows[oldest]->at_s);
    if (flag == NULL)
        return;
    for (i = from; i < n; i++)
        if (damage_of(rows[i]) < DAMAGES)
            add_cut(flag, i);
    name_row(flag, rows[newest]);
    say_damage(flag, damaged, seen, times);
}

/* The newest `run` cuts that are, or are not, planned. */
static void
add_run(struct list *list, struct fsp_line_flag *flag, size_t run, bool planned)
{
    const struct fsp_cut_row *const *rows = list->about->rows;
    size_t i = list->about->n;

    while (i > 0 && run > 0)
        run -= rows[--i]->planned == planned ? 1 : 0;
    for (; i < list->about->n; i++) {
        if (rows[i]->planned != planned)
            continue;
        if (flag->n_cuts == 0)
            flag->since_s = rows[i]->at_s;
        add_cut(flag, i);
        name_row(flag, rows[i]);
    }
}

static void
look_runs(struct list *list)
{
    const struct fsp_review *review = list->about->review;
    struct fsp_line_flag *flag;

    if (review->wear_left) {
        flag = raise_flag(list, FSP_LINE_WEAR_LEFT, 0);
        if (flag != NULL) {
            set_text(flag, review->wear_left_text);
            add_run(list, flag, review->wear_left_run, false);
        }
    }
    if (review->planned_repeat) {
        flag = raise_flag(list, FSP_LINE_PLANNED, 0);
        if (flag != NULL) {
            set_text(flag, review->planned_text);
            add_run(list, flag, review->planned_run, true);
        }
    }
}

static void
look_erratic(struct list *list)
{
    const struct fsp_line_flags_about *about = list->about;
    size_t i, row;

    for (i = 0; i < about->n_advice; i++) {
        struct fsp_line_flag *flag;
        size_t left = about->advice[i].cuts;

        if (about->advice[i].kind != FSP_ADVICE_ERRATIC)
            continue;
        flag = raise_flag(list, FSP_LINE_ERRATIC, 0);
        if (flag == NULL)
            return;
        set_text(flag, about->advice[i].text);
        for (row = about->n; row > 0 && left > 0;)
            left -= about->rows[--row]->eligible ? 1 : 0;
        for (; row < about->n; row++) {
            if (!about->rows[row]->eligible)
                continue;
            if (flag->n_cuts == 0)
                flag->since_s = about->rows[row]->at_s;
            add_cut(flag, row);
            name_row(flag, about->rows[row]);
        }
    }
}

/* ---- the line as it hangs ---- */

static void
look_low(struct list *list)
{
    const struct fsp_ledger_view *view = list->view;
    char day[FSP_TIME_TEXT_LEN + 1];
    struct fsp_line_flag *flag;

    if (view->low_unseen == 0 || view->as_of_s - view->low_s <= FSP_DUTY_EVENT_S)
        return;
    flag = raise_flag(list, FSP_LINE_LOW_FACTOR, view->low_s);
    if (flag == NULL)
        return;
    fsp_time_text(view->low_s, day);
    (void)snprintf(flag->what, sizeof(flag->what), "%u.%llu", (unsigned)view->low_log,
            (unsigned long long)view->low_index);
    (void)snprintf(flag->text, sizeof(flag->text),
            "%d operation%s below the minimum design factor since %.10s and no thorough "
            "inspection of the line after: inspect it before it lifts again",
            view->low_unseen, view->low_unseen == 1 ? "" : "s", day);
}

static void
look_due(struct list *list)
{
    const struct fsp_ledger_view *view = list->view;
    struct fsp_line_flag *flag;
    char slips[16];

    if (is_stacked(list))
        return;
    if (view->cut_due == FSP_DUE_OVERDUE) {
        flag = raise_flag(list, FSP_LINE_OVERDUE_CUT, 0);
        if (flag != NULL) {
            name_stretch(list, flag, "");
            (void)snprintf(flag->text, sizeof(flag->text), "cut overdue: %.280s",
                    view->cut_due_why == NULL ? "" : view->cut_due_why);
        }
    }
    if (view->slip_due == FSP_DUE_OVERDUE) {
        flag = raise_flag(list, FSP_LINE_OVERDUE_SLIP, 0);
        if (flag != NULL) {
            (void)snprintf(slips, sizeof(slips), ".%d", view->slips_made);
            name_stretch(list, flag, slips);
            (void)snprintf(flag->text, sizeof(flag->text), "slip overdue: %.280s",
                    view->slip_due_why == NULL ? "" : view->slip_due_why);
        }
    }
}

/* One flag a duty. That after a low factor is said by the flag for it. */
static void
look_duties(struct list *list)
{
    const struct fsp_ledger_view *view = list->view;
    const struct fsp_duty *duty;
    size_t i;

    if (is_stacked(list))
        return;
    for (i = 0; (duty = fsp_ledger_duty(list->about->ledger, i)) != NULL; i++) {
        struct fsp_line_flag *flag;
        char day[FSP_TIME_TEXT_LEN + 1];

        if (!duty->overdue || duty->suspended ||
                view->last_at_s - duty->due_s <= FSP_FLAG_LATE_S ||
                (duty->kind == FSP_DUTY_LOW_FACTOR && view->low_unseen > 0))
            continue;
        flag = raise_flag(list, FSP_LINE_DUTY, duty->due_s);
        if (flag == NULL)
            return;
        fsp_time_text(duty->due_s, day);
        (void)snprintf(flag->what, sizeof(flag->what), "%s.%lld",
                fsp_duty_kind_text(duty->kind), (long long)duty->since_s);
        (void)snprintf(flag->text, sizeof(flag->text), "%s missed, due since %.10s: %.160s",
                duty->name, day, duty->why);
    }
}

static void
look_counts(struct list *list)
{
    const struct fsp_ledger_view *view = list->view;
    double force = view->motion_j / FSP_TON_MILE_J;
    double check = view->check_motion_j / FSP_TON_MILE_J;
    bool hand = view->basis != NULL && strcmp(view->basis, "hand") == 0;
    struct fsp_line_flag *flag;
    struct fsp_buf buf;

    if (view->basis == NULL || view->incomplete || force < FSP_FLAG_APART_LEAST ||
            check < FSP_FLAG_APART_LEAST || fabs(check - force) <= FSP_FLAG_APART * force)
        return;
    flag = raise_flag(list, FSP_LINE_COUNTS_APART, 0);
    if (flag == NULL)
        return;
    name_stretch(list, flag, "");
    fsp_buf_init(&buf, FSP_LINE_FLAG_TEXT_MAX - 1);
    fsp_buf_printf(&buf, "since the cut the %s says ", hand ? "hand count" : "sensor");
    fsp_say_number(&buf, force, 0);
    fsp_buf_printf(&buf, " ton-miles by motion and is in force, the %s says ",
            hand ? "sensor" : "hand count");
    fsp_say_number(&buf, check, 0);
    fsp_buf_add_text(&buf, ": ");
    fsp_say_number(&buf, 100 * fabs(check - force) / force, 0);
    fsp_buf_add_text(&buf,
            " % apart (house figure: 15); look for work not written down, and at "
            "the sensor's zero");
    set_text(flag, fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
}

static void
look_gaps(struct list *list)
{
    const struct fsp_ledger_view *view = list->view;
    struct fsp_line_flag *flag;
    char day[FSP_TIME_TEXT_LEN + 1];

    if (!view->incomplete ||
            (view->gap_s != 0 && view->last_at_s - view->gap_s <= FSP_FLAG_LATE_S))
        return;
    flag = raise_flag(list, FSP_LINE_INCOMPLETE, view->gap_s);
    if (flag == NULL)
        return;
    if (view->gap_s == 0) {
        (void)snprintf(flag->what, sizeof(flag->what), "untimed");
        set_text(flag,
                "the count is incomplete: an entry that cannot be read may belong to this "
                "line; the true figure may be higher");
        return;
    }
    fsp_time_text(view->gap_s, day);
    (void)snprintf(flag->what, sizeof(flag->what), "%u.%llu", (unsigned)view->gap_log,
            (unsigned long long)view->gap_index);
    (void)snprintf(flag->text, sizeof(flag->text),
            "the count since the cut has gaps, the first of %.10s, the newest shown by entry "
            "%llu: "
            "work is missing, the true figure may be higher",
            day, (unsigned long long)view->gap_index);
}

size_t
fsp_line_flags(const struct fsp_line_flags_about *about,
        struct fsp_line_flag out[static FSP_LINE_FLAGS_MAX])
{
    struct list list = {about, fsp_ledger_peek(about->ledger), out, 0};

    look_early(&list);
    look_damage(&list);
    look_low(&list);
    look_due(&list);
    look_duties(&list);
    look_counts(&list);
    look_gaps(&list);
    look_runs(&list);
    look_erratic(&list);
    return list.n;
}
