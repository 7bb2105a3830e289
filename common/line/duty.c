#include "line/duty.h"

#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "line/ledger_priv.h"

#define THOROUGH "thorough inspection"
#define BY_INSPECTION                                                                          \
    "an inspection of this reel with scope monthly, slip-cut, after-event or before-use"

static const struct {
    const char *word, *name, *closes;
} kinds[FSP_DUTY_KINDS] = {
        [FSP_DUTY_JARRING] = {"after-jarring", THOROUGH, BY_INSPECTION},
        [FSP_DUTY_LOW_FACTOR] = {"after-low-factor", THOROUGH, BY_INSPECTION},
        [FSP_DUTY_SHOCK] = {"after-shock", THOROUGH, BY_INSPECTION},
        [FSP_DUTY_MAST_RAISING] = {"after-mast-raising", THOROUGH, BY_INSPECTION},
        [FSP_DUTY_IDLE] = {"after-idle", THOROUGH, BY_INSPECTION},
        [FSP_DUTY_TURN] = {"after-turn", THOROUGH, BY_INSPECTION},
        [FSP_DUTY_MONTHLY] = {"monthly", THOROUGH, BY_INSPECTION},
        [FSP_DUTY_ANCHOR] = {"anchor", "anchor re-check", "a check with item=anchor"},
        [FSP_DUTY_CROWN_SAVER] = {"crown-saver", "crown-saver test",
                "a check with item=crown-saver, or one among the slip's or cut's checks"},
        [FSP_DUTY_BASELINE] = {"baseline", "baseline diameter",
                "an inspection that gives a place's baseline"},
};

const char *
fsp_duty_kind_text(enum fsp_duty_kind kind)
{
    return kinds[kind].word;
}

/* ---- the fold ---- */

static void
event(struct fold *fold, enum fsp_duty_kind kind, const struct item *item)
{
    struct duty_event *open = &fold->duties.events[kind];

    if (!fold->line.hung || open->open)
        return; /* the oldest is what it is owed since */
    open->open = true;
    open->since_s = item->at_s;
    open->index = item->index;
}

void
fsp_duty_hang(struct fold *fold, const struct item *item)
{
    struct duty_state *duties = &fold->duties;
    int64_t crown_s = duties->crown_s;

    memset(duties, 0, sizeof(*duties));
    duties->crown_s = crown_s; /* the device is the rig's, not the line's */
    duties->hung_s = item->at_s;
    duties->thorough_s = item->at_s;
    duties->active_s = item->at_s;
    duties->baseline_owed = !fold->line.used && !item->u.reel.has_baseline;
}

void
fsp_duty_low_factor(struct fold *fold, const struct item *item, double factor)
{
    if (factor > 0 && factor <= FSP_DUTY_NEAR_SHARE * FSP_FACTOR_RARE)
        event(fold, FSP_DUTY_LOW_FACTOR, item);
}

/* Work after a month of nothing; moving or raising the mast is not work of the line's. */
static void
activity(struct fold *fold, const struct item *item)
{
    struct duty_state *duties = &fold->duties;

    if (duties->active_s != 0 && item->at_s - duties->active_s >= FSP_DUTY_MONTH_S)
        event(fold, FSP_DUTY_IDLE, item);
    duties->active_s = item->at_s;
}

static void
after_work(struct fold *fold, const struct item *item)
{
    struct duty_state *duties = &fold->duties;

    activity(fold, item);
    if (item->u.work.op == FSP_OP_MOVES)
        event(fold, FSP_DUTY_JARRING, item);
    if (duties->baseline_owed && duties->worked_s == 0)
        duties->worked_s = item->at_s;
    if (duties->anchor_s != 0 && duties->anchor_due_s == 0)
        duties->anchor_due_s = item->at_s + FSP_DUTY_ANCHOR_S;
}

static void
after_slip(struct fold *fold, const struct item *item, bool crown_tested)
{
    struct duty_state *duties = &fold->duties;

    duties->anchor_s = item->at_s;
    duties->anchor_due_s = 0;
    if (crown_tested) {
        duties->crown_s = item->at_s;
        duties->crown_owed_s = 0;
    } else {
        duties->crown_owed_s = item->at_s;
    }
}

static void
after_check(struct fold *fold, const struct item *item)
{
    struct duty_state *duties = &fold->duties;

    if (item->u.check == CHECK_CROWN_SAVER) {
        duties->crown_s = item->at_s;
        duties->crown_owed_s = 0;
    } else if (item->u.check == CHECK_ANCHOR) {
        duties->anchor_s = 0;
        duties->anchor_due_s = 0;
    }
}

static void
after_inspection(struct fold *fold, const struct item *item)
{
    const struct item_inspection *seen = &item->u.inspection;
    struct duty_state *duties = &fold->duties;

    if (!fold->line.hung || seen->reel == NULL || strcmp(seen->reel, fold->line.reel) != 0)
        return;
    if (seen->baseline)
        duties->baseline_owed = false;
    if (!seen->thorough)
        return;
    duties->thorough_s = item->at_s;
    memset(duties->events, 0, sizeof(duties->events));
    duties->low = 0;
    duties->low_s = 0;
}

void
fsp_duty_apply(struct fold *fold, const struct item *item)
{
    if (!fold->line.hung) {
        if (item->kind == ITEM_CHECK)
            after_check(fold, item);
        return;
    }
    if (item->kind == ITEM_WORK)
        after_work(fold, item);
    else if (item->kind == ITEM_SLIP)
        after_slip(fold, item, item->u.slip.crown_tested);
    else if (item->kind == ITEM_CUT)
        after_slip(fold, item, item->u.cut.crown_tested);
    else if (item->kind == ITEM_CHECK)
        after_check(fold, item);
    else if (item->kind == ITEM_INSPECTION)
        after_inspection(fold, item);
    else if (item->kind == ITEM_TURN)
        event(fold, FSP_DUTY_TURN, item);
    else if (item->kind == ITEM_STATE && item->u.text != NULL &&
             strcmp(item->u.text, "mast-raising") == 0)
        event(fold, FSP_DUTY_MAST_RAISING, item);
    else if (item->kind == ITEM_STATE && item->u.text != NULL &&
             strcmp(item->u.text, "working") == 0)
        activity(fold, item);
    else if (item->kind == ITEM_ADVERSE && item->u.adverse.begins &&
             item->u.adverse.slot == ADVERSE_JARRING)
        event(fold, FSP_DUTY_JARRING, item);
    else if (item->kind == ITEM_ADVERSE && item->u.adverse.begins &&
             item->u.adverse.slot == ADVERSE_OTHER)
        event(fold, FSP_DUTY_SHOCK, item);
}

/* ---- the list ---- */

static struct fsp_duty *
put(struct fsp_ledger *ledger, enum fsp_duty_kind kind, int64_t since_s, int64_t due_s)
{
    struct fsp_duty *duty = &ledger->duties[ledger->view.duties++];

    memset(duty, 0, sizeof(*duty));
    duty->kind = kind;
    duty->name = kinds[kind].name;
    duty->closes = kinds[kind].closes;
    duty->since_s = since_s;
    duty->due_s = due_s;
    duty->overdue = due_s != 0 && due_s < ledger->view.as_of_s;
    return duty;
}

static void
rest(struct fsp_duty *duty, bool stacked)
{
    duty->suspended = stacked;
    duty->overdue = duty->overdue && !stacked;
}

static const char *
event_why(struct fsp_ledger *ledger, enum fsp_duty_kind kind, const struct duty_event *at)
{
    static const char *const words[FSP_DUTY_EVENTS] = {
            [FSP_DUTY_JARRING] = "jarring or working the pipe",
            [FSP_DUTY_LOW_FACTOR] = "a pull near design factor 2",
            [FSP_DUTY_SHOCK] = "a block strike or other adverse event",
            [FSP_DUTY_MAST_RAISING] = "the mast was raised or lowered on this line",
            [FSP_DUTY_IDLE] = "work began after a month idle",
            [FSP_DUTY_TURN] = "the line was turned end for end",
    };
    char text[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(at->since_s, text);
    return fsp_ledger_keep(
            ledger, "%s, %s (entry %llu)", words[kind], text, (unsigned long long)at->index);
}

static void
list_events(struct fsp_ledger *ledger)
{
    const struct duty_state *duties = &ledger->fold.duties;
    int kind;

    for (kind = 0; kind < FSP_DUTY_EVENTS; kind++) {
        const struct duty_event *at = &duties->events[kind];

        if (at->open)
            put(ledger, (enum fsp_duty_kind)kind, at->since_s, at->since_s + FSP_DUTY_EVENT_S)
                    ->why = event_why(ledger, (enum fsp_duty_kind)kind, at);
    }
    /* Idle now: nothing is overdue, but the line is to be seen before it works again. */
    if (!duties->events[FSP_DUTY_IDLE].open &&
            ledger->view.as_of_s - duties->active_s >= FSP_DUTY_MONTH_S)
        put(ledger, FSP_DUTY_IDLE, duties->active_s, 0)->why =
                "no work recorded for a month: before the line works again";
}

static void
list_standing(struct fsp_ledger *ledger, bool stacked)
{
    const struct duty_state *duties = &ledger->fold.duties;
    struct fsp_duty *duty = put(ledger, FSP_DUTY_MONTHLY, duties->thorough_s,
            duties->thorough_s + FSP_DUTY_MONTH_S);

    duty->why = duties->thorough_s == duties->hung_s ? "every 30 days, from when it was hung"
                                                     : "every 30 days, from the last one";
    rest(duty, stacked);
    if (duties->crown_owed_s != 0) {
        duty = put(ledger, FSP_DUTY_CROWN_SAVER, duties->crown_owed_s, duties->crown_owed_s);
        duty->why = "after each slip and cut, before hoisting goes on";
    } else {
        int64_t from_s = duties->crown_s != 0 ? duties->crown_s : duties->hung_s;

        duty = put(ledger, FSP_DUTY_CROWN_SAVER, from_s, from_s + FSP_DUTY_WEEK_S);
        duty->why = duties->crown_s != 0 ? "weekly, from the last one"
                                         : "weekly; none is recorded yet";
    }
    rest(duty, stacked);
    if (duties->anchor_s != 0)
        put(ledger, FSP_DUTY_ANCHOR, duties->anchor_s, duties->anchor_due_s)->why =
                duties->anchor_due_s != 0 ? "work has gone on since the slip or cut"
                                          : "after a slip or cut, 1 to 2 h after work goes on";
    if (duties->baseline_owed && duties->worked_s != 0)
        put(ledger, FSP_DUTY_BASELINE, duties->worked_s, duties->worked_s + FSP_DUTY_WEEK_S)
                ->why = "a new line after its first stretch: later diameters are judged by it";
}

/* Owed now first, the longest owed before the others; then what comes, soonest first. */
static int
by_urgency(const void *left, const void *right)
{
    const struct fsp_duty *a = left, *b = right;
    int order = (b->overdue ? 1 : 0) - (a->overdue ? 1 : 0);

    if (order == 0)
        order = (a->suspended ? 1 : 0) - (b->suspended ? 1 : 0);
    if (order == 0)
        order = (a->due_s == 0 ? 1 : 0) - (b->due_s == 0 ? 1 : 0);
    if (order == 0)
        order = (a->due_s > b->due_s) - (a->due_s < b->due_s);
    return order != 0 ? order : (int)a->kind - (int)b->kind;
}

void
fsp_duty_close(struct fsp_ledger *ledger)
{
    const char *state = ledger->fold.state;
    struct fsp_ledger_view *view = &ledger->view;
    size_t i;

    view->duties = 0;
    view->duties_overdue = 0;
    if (!ledger->fold.line.hung)
        return;
    list_events(ledger);
    list_standing(ledger, state != NULL && strcmp(state, "stacked") == 0);
    qsort(ledger->duties, view->duties, sizeof(ledger->duties[0]), by_urgency);
    for (i = 0; i < view->duties; i++)
        view->duties_overdue += ledger->duties[i].overdue ? 1 : 0;
}

const struct fsp_duty *
fsp_ledger_duty(const struct fsp_ledger *ledger, size_t i)
{
    return i < ledger->view.duties ? &ledger->duties[i] : NULL;
}
