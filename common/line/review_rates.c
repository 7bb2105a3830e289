/*
 * How often a fleet cuts early for wear, on every day of its history.
 *
 * A cut comes in on its day and goes out 365 days later, or on the day its rig is flagged. So the rate of a
 * day is a running sum of what came and went, by size of rope.
 */
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "line/review_priv.h"
#include "line/rope.h"

#define DAYS ((size_t)60000) /* from 1970 on; what lies beyond counts at the end */

struct day {
    int32_t eligible;
    int32_t early;
};

struct rope {
    double rope_m;
    struct day *days; /* [DAYS]: comes and goes; sums once closed */
};

struct fsp_review_rates {
    struct rope ropes[FSP_REVIEW_ROPES];
    size_t n;
    size_t first; /* days in use */
    size_t last;
    bool failed;
};

static size_t
day_of(int64_t at_s)
{
    int64_t day = at_s < 0 ? 0 : at_s / FSP_S_PER_DAY;

    return day >= (int64_t)DAYS ? DAYS - 1 : (size_t)day;
}

static bool
same_rope(double a, double b)
{
    return a - b <= FSP_ROPE_MATCH_M && b - a <= FSP_ROPE_MATCH_M;
}

/* ---- when a rig's cuts come and go ---- */

struct sink {
    void (*take)(void *ctx, const struct fsp_cut_row *row, size_t day, int sign);
    void *ctx;
};

static void
come(const struct sink *sink, const struct fsp_cut_row *row)
{
    sink->take(sink->ctx, row, day_of(row->at_s), 1);
    sink->take(sink->ctx, row, day_of(row->at_s) + FSP_REVIEW_RATE_DAYS, -1);
}

/* It goes now and not when its year is over. */
static void
go(const struct sink *sink, const struct fsp_cut_row *row, size_t day)
{
    sink->take(sink->ctx, row, day, -1);
    sink->take(sink->ctx, row, day_of(row->at_s) + FSP_REVIEW_RATE_DAYS, 1);
}

static void
walk(const struct fsp_cut_row *const *rows, size_t n, const struct sink *sink)
{
    struct fsp_review_watch watch;
    size_t gone = 0, i, k; /* rows before `gone` are out for good */

    memset(&watch, 0, sizeof(watch));
    for (i = 0; i < n; i++) {
        struct fsp_review_window window;
        size_t day = day_of(rows[i]->at_s);

        if (rows[i]->changed)
            fsp_review_watch_change(&watch);
        if (!rows[i]->eligible)
            continue;
        fsp_review_watch_cut(&watch, rows[i]);
        if (watch.open) {
            gone = i + 1;
            (void)fsp_review_watch_close(&watch);
            continue;
        }
        come(sink, rows[i]);
        if (!fsp_review_watch_worth(&watch))
            continue;
        window = fsp_review_watch_pick(&watch, FSP_REVIEW_RATE_FLOOR);
        watch.open = fsp_review_window_says(&window, 0);
        for (k = i + 1; watch.open && k-- > gone;) {
            if (day_of(rows[k]->at_s) + FSP_REVIEW_RATE_DAYS <= day)
                break;
            if (rows[k]->eligible)
                go(sink, rows[k], day);
        }
        if (watch.open)
            gone = i + 1;
    }
}

/* ---- the fleet ---- */

enum fsp_rc
fsp_review_rates_new(struct fsp_review_rates **out, struct fsp_err *err)
{
    *out = calloc(1, sizeof(**out));
    if (*out == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    (*out)->first = DAYS;
    return FSP_OK;
}

void
fsp_review_rates_free(struct fsp_review_rates *rates)
{
    if (rates == NULL)
        return;
    for (size_t i = 0; i < rates->n; i++)
        free(rates->ropes[i].days);
    free(rates);
}

static const struct rope *
find(const struct fsp_review_rates *rates, double rope_m)
{
    for (size_t i = 0; i < rates->n; i++)
        if (same_rope(rates->ropes[i].rope_m, rope_m))
            return &rates->ropes[i];
    return NULL;
}

static void
take(void *ctx, const struct fsp_cut_row *row, size_t day, int sign)
{
    struct fsp_review_rates *rates = ctx;
    const struct rope *rope = find(rates, row->rope_m);

    if (day >= DAYS || !(row->rope_m > 0))
        return;
    if (rope == NULL && rates->n < FSP_REVIEW_ROPES) {
        rates->ropes[rates->n].days = calloc(DAYS, sizeof(struct day));
        rates->ropes[rates->n].rope_m = row->rope_m;
        rates->failed = rates->failed || rates->ropes[rates->n].days == NULL;
        rope = &rates->ropes[rates->n];
        rates->n += rope->days != NULL ? 1 : 0;
    }
    if (rope == NULL || rope->days == NULL)
        return;
    rope->days[day].eligible += sign;
    rope->days[day].early += row->early ? sign : 0;
    rates->first = day < rates->first ? day : rates->first;
    rates->last = day > rates->last ? day : rates->last;
}

enum fsp_rc
fsp_review_rates_add(struct fsp_review_rates *rates, const struct fsp_cut_row *const *rows,
        size_t n, struct fsp_err *err)
{
    walk(rows, n, &(struct sink){take, rates});
    return rates->failed ? fsp_err_set(err, FSP_ENOMEM, "out of memory") : FSP_OK;
}

void
fsp_review_rates_close(struct fsp_review_rates *rates)
{
    for (size_t i = 0; i < rates->n; i++) {
        struct day *days = rates->ropes[i].days;

        for (size_t day = rates->first; day + 1 <= rates->last; day++) {
            days[day + 1].eligible += days[day].eligible;
            days[day + 1].early += days[day].early;
        }
    }
}

struct own {
    double rope_m;
    size_t day;
    struct day sum;
};

static void
take_own(void *ctx, const struct fsp_cut_row *row, size_t day, int sign)
{
    struct own *own = ctx;

    if (day > own->day || !same_rope(row->rope_m, own->rope_m))
        return;
    own->sum.eligible += sign;
    own->sum.early += row->early ? sign : 0;
}

struct fsp_review_rate
fsp_review_rates_at(const struct fsp_review_rates *rates, double rope_m, int64_t at_s,
        const struct fsp_cut_row *const *rows, size_t n)
{
    const struct rope *rope = rope_m > 0 ? find(rates, rope_m) : NULL;
    struct own own = {rope_m, day_of(at_s), {0, 0}};
    struct day sum;
    size_t day = own.day < rates->last ? own.day : rates->last;

    if (rope == NULL || own.day < rates->first)
        return (struct fsp_review_rate){0, 0};
    walk(rows, n, &(struct sink){take_own, &own});
    sum.eligible = rope->days[day].eligible - own.sum.eligible;
    sum.early = rope->days[day].early - own.sum.early;
    return (struct fsp_review_rate){
            sum.eligible > 0 ? (size_t)sum.eligible : 0, sum.early > 0 ? (size_t)sum.early : 0};
}
