#include "office/flags.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/text.h"
#include "line/flag.h"
#include "line/say.h"
#include "office/fleet.h"

static const struct {
    const char *word, *text;
    enum fsp_flag_weight weight;
} kinds[FSP_FLAG_KINDS] = {
        [FSP_FLAG_FORK] = {"fork", "two histories", FSP_FLAG_STOP},
        [FSP_FLAG_RENEWAL] = {"renewal", "renewal not confirmed", FSP_FLAG_WARN},
        [FSP_FLAG_EARLY_WEAR] = {"early-wear", "repeated early cuts", FSP_FLAG_WARN},
        [FSP_FLAG_DAMAGE] = {"damage", "repeated damage", FSP_FLAG_WARN},
        [FSP_FLAG_LOW_FACTOR] = {"low-factor", "low factor, not inspected", FSP_FLAG_STOP},
        [FSP_FLAG_OVERDUE] = {"overdue", "overdue", FSP_FLAG_STOP},
        [FSP_FLAG_DUTY] = {"duty", "duty missed", FSP_FLAG_WARN},
        [FSP_FLAG_COUNTS_APART] = {"counts-apart", "hand count and sensor apart",
                FSP_FLAG_WARN},
        [FSP_FLAG_INCOMPLETE] = {"incomplete", "history incomplete", FSP_FLAG_WARN},
        [FSP_FLAG_QUIET] = {"quiet", "quiet", FSP_FLAG_WARN},
        [FSP_FLAG_UNREADABLE] = {"unreadable", "unreadable entries", FSP_FLAG_WARN},
        [FSP_FLAG_WEAR_LEFT] = {"wear-left", "wear left repeatedly", FSP_FLAG_TELL},
        [FSP_FLAG_PLANNED] = {"planned", "planned cuts repeat", FSP_FLAG_TELL},
        [FSP_FLAG_ERRATIC] = {"erratic", "erratic cuts", FSP_FLAG_TELL},
};

const char *
fsp_flag_kind_text(enum fsp_flag_kind kind)
{
    return kinds[kind].text;
}

const char *
fsp_flag_kind_word(enum fsp_flag_kind kind)
{
    return kinds[kind].word;
}

const char *
fsp_flag_weight_word(enum fsp_flag_weight weight)
{
    switch (weight) {
    case FSP_FLAG_STOP:
        return "stop";
    case FSP_FLAG_WARN:
        return "warn";
    case FSP_FLAG_TELL:
        return "tell";
    }
    return "?";
}

/* ---- what raises them ---- */

struct list {
    struct fsp_flag *out;
    size_t n;
};

/* NULL when there is no room; then more forks and renewals than anybody looks at are left out. */
static struct fsp_flag *
put(struct list *list, enum fsp_flag_kind kind, int64_t since_s, const char *what)
{
    struct fsp_flag *flag;

    if (list->n == FSP_FLAGS_MAX)
        return NULL;
    flag = &list->out[list->n++];
    memset(flag, 0, sizeof(*flag));
    flag->kind = kind;
    flag->weight = kinds[kind].weight;
    flag->since_s = since_s;
    (void)snprintf(flag->mark, sizeof(flag->mark), "%s:%.*s", kinds[kind].word,
            FSP_LINE_FLAG_WHAT_MAX, what);
    return flag;
}

/* The text as it may be shown, whatever crews wrote into it. */
static void
set_text(struct fsp_flag *flag, const char *text)
{
    struct fsp_buf buf;

    fsp_buf_init(&buf, (size_t)4 * FSP_FLAG_TEXT_MAX);
    fsp_text_show(&buf, text, strlen(text));
    (void)snprintf(flag->text, sizeof(flag->text), "%s", fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
    /* Cut off, it may end within a character. */
    for (size_t len = strlen(flag->text); len > 0 && !fsp_text_printable(flag->text, len);
            len--)
        flag->text[len - 1] = '\0';
}

static enum fsp_flag_kind
kind_of(enum fsp_line_flag_kind kind)
{
    switch (kind) {
    case FSP_LINE_EARLY_WEAR:
        return FSP_FLAG_EARLY_WEAR;
    case FSP_LINE_DAMAGE:
        return FSP_FLAG_DAMAGE;
    case FSP_LINE_LOW_FACTOR:
        return FSP_FLAG_LOW_FACTOR;
    case FSP_LINE_OVERDUE_CUT:
    case FSP_LINE_OVERDUE_SLIP:
        return FSP_FLAG_OVERDUE;
    case FSP_LINE_DUTY:
        return FSP_FLAG_DUTY;
    case FSP_LINE_COUNTS_APART:
        return FSP_FLAG_COUNTS_APART;
    case FSP_LINE_INCOMPLETE:
        return FSP_FLAG_INCOMPLETE;
    case FSP_LINE_WEAR_LEFT:
        return FSP_FLAG_WEAR_LEFT;
    case FSP_LINE_PLANNED:
        return FSP_FLAG_PLANNED;
    case FSP_LINE_ERRATIC:
        return FSP_FLAG_ERRATIC;
    }
    return FSP_FLAG_ERRATIC;
}

static void
look_at_line(struct list *list, const struct fsp_fleet_rig *rig)
{
    struct fsp_line_flag found[FSP_LINE_FLAGS_MAX];
    struct fsp_line_flags_about about = {.ledger = rig->ledger,
            .rows = rig->cuts,
            .n = rig->n_cuts,
            .review = &rig->review,
            .advice = rig->advice,
            .n_advice = rig->n_advice};
    size_t n = fsp_line_flags(&about, found);

    for (size_t i = 0; i < n; i++) {
        struct fsp_flag *flag;
        char what[FSP_LINE_FLAG_WHAT_MAX + 8];
        bool slip = found[i].kind == FSP_LINE_OVERDUE_SLIP;

        (void)snprintf(what, sizeof(what), "%s%s", slip ? "slip-" : "", found[i].what);
        flag = put(list, kind_of(found[i].kind), found[i].since_s, what);
        if (flag == NULL)
            return;
        if (slip)
            flag->weight = FSP_FLAG_WARN;
        set_text(flag, found[i].text);
        for (size_t c = 0; c < found[i].n_cuts && c < FSP_FLAG_EVIDENCE; c++)
            flag->cuts[flag->n_cuts++] = found[i].cuts[c];
    }
}

static void
look_at_logs(struct list *list, const struct fsp_fleet_rig *rig)
{
    for (size_t i = 0; i < rig->n_logs; i++) {
        const struct fsp_fleet_log *log = &rig->logs[i];
        struct fsp_flag *flag = NULL;
        char what[64];

        (void)snprintf(what, sizeof(what), "%lld.%zu", (long long)log->log.id, log->forks);
        if (log->forks > 0 && !log->chain.closed)
            flag = put(list, FSP_FLAG_FORK, 0, what);
        if (flag != NULL)
            set_text(flag, "two histories for one log: keep both, ask the rig");
        if (!fsp_fleet_renewal_open(log))
            continue;
        (void)snprintf(what, sizeof(what), "%lld.%d%d%d", (long long)log->log.id,
                (int)log->chain.renewal.how, log->chain.second, log->chain.renewal.confirmed);
        flag = put(list, FSP_FLAG_RENEWAL, log->chain.renewal.seen_s, what);
        if (flag != NULL) {
            struct fsp_buf buf;

            fsp_buf_init(&buf, FSP_FLAG_TEXT_MAX - 1);
            fsp_chain_flag_text(&log->chain, &buf);
            set_text(flag, fsp_buf_peek(&buf));
            fsp_buf_fini(&buf);
            if (log->chain.second || log->chain.renewal.how == FSP_RENEWAL_UNFIT)
                flag->weight = FSP_FLAG_STOP;
        }
    }
    if (rig->unreadable > 0) {
        struct fsp_flag *flag;
        char what[32];

        (void)snprintf(what, sizeof(what), "%llu", (unsigned long long)rig->unreadable);
        flag = put(list, FSP_FLAG_UNREADABLE, 0, what);
        if (flag != NULL)
            (void)snprintf(flag->text, sizeof(flag->text),
                    "%llu entr%s this office cannot read", (unsigned long long)rig->unreadable,
                    rig->unreadable == 1 ? "y" : "ies");
    }
}

int64_t
fsp_flags_rhythm(const int64_t *times_s, size_t n)
{
    int64_t longest = 0, second = 0;

    if (n < 3)
        return 0;
    for (size_t i = 0; i + 1 < n; i++) {
        int64_t gap = times_s[i] - times_s[i + 1];

        if (gap > longest) {
            second = longest;
            longest = gap;
        } else if (gap > second) {
            second = gap;
        }
    }
    return second > 0 ? second : 1; /* known, and as good as none */
}

int64_t
fsp_flags_patience(int64_t rhythm_s)
{
    int64_t patience = FSP_FLAG_QUIET_TIMES * rhythm_s;

    if (rhythm_s == 0)
        return FSP_FLAG_QUIET_UNKNOWN_S;
    return patience > FSP_FLAG_QUIET_LEAST_S ? patience : FSP_FLAG_QUIET_LEAST_S;
}

/* "5 days 3 h" */
static void
say_span(struct fsp_buf *buf, int64_t span_s)
{
    int64_t days = span_s / FSP_S_PER_DAY, hours = span_s % FSP_S_PER_DAY / 3600;

    if (days > 0)
        fsp_buf_printf(buf, "%lld day%s", (long long)days, days == 1 ? "" : "s");
    if (days == 0 || (hours > 0 && days < 10))
        fsp_buf_printf(buf, "%s%lld h", days > 0 ? " " : "", (long long)hours);
}

static void
look_at_link(struct list *list, const struct fsp_fleet_rig *rig, int64_t as_of_s)
{
    const char *state = fsp_ledger_peek(rig->ledger)->rig_state;
    struct fsp_flag *flag;
    struct fsp_buf buf;
    char what[32];

    if (rig->heard_s == 0 || (state != NULL && strcmp(state, "stacked") == 0) ||
            as_of_s - rig->heard_s <= fsp_flags_patience(rig->rhythm_s))
        return;
    (void)snprintf(what, sizeof(what), "%lld", (long long)rig->heard_s);
    flag = put(list, FSP_FLAG_QUIET, rig->heard_s, what);
    if (flag == NULL)
        return;
    fsp_buf_init(&buf, FSP_FLAG_TEXT_MAX - 1);
    fsp_buf_add_text(&buf, "nothing heard for ");
    say_span(&buf, as_of_s - rig->heard_s);
    if (rig->rhythm_s == 0) {
        fsp_buf_add_text(&buf, "; how often it speaks is not known yet");
    } else {
        fsp_buf_add_text(&buf, "; it is seldom silent for longer than ");
        say_span(&buf, rig->rhythm_s);
    }
    set_text(flag, fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
}

static int
by_gravity(const void *left, const void *right)
{
    const struct fsp_flag *a = left, *b = right;

    if (a->weight != b->weight)
        return a->weight < b->weight ? -1 : 1;
    if (a->kind != b->kind)
        return a->kind < b->kind ? -1 : 1;
    return strcmp(a->mark, b->mark);
}

size_t
fsp_flags_of(const struct fsp_fleet_rig *rig, int64_t as_of_s,
        struct fsp_flag out[static FSP_FLAGS_MAX])
{
    struct list list = {out, 0};

    look_at_logs(&list, rig);
    look_at_link(&list, rig, as_of_s);
    look_at_line(&list, rig);
    if (list.n > 1)
        qsort(out, list.n, sizeof(*out), by_gravity);
    return list.n;
}

/* ---- shown ---- */

static void
say_acknowledged(const struct fsp_flag *flag, bool *first, struct fsp_buf *buf)
{
    bool inner = true;

    fsp_say_key(buf, first, "acknowledged");
    if (!flag->acknowledged) {
        fsp_buf_add_text(buf, "null");
        return;
    }
    fsp_buf_add_byte(buf, '{');
    fsp_say_member_time(buf, &inner, "at", flag->acknowledged_s);
    fsp_say_member_text(buf, &inner, "by", flag->acknowledged_by);
    fsp_say_member_text(buf, &inner, "note", flag->note);
    fsp_buf_add_byte(buf, '}');
}

static void
say_cuts(const struct fsp_fleet_rig *rig, const struct fsp_flag *flag, struct fsp_buf *buf)
{
    fsp_buf_add_byte(buf, '[');
    for (size_t i = 0; i < flag->n_cuts && flag->cuts[i] < rig->n_cuts; i++) {
        const struct fsp_cut_row *cut = rig->cuts[flag->cuts[i]];

        fsp_buf_printf(buf, "%s{\"index\":%llu,\"log\":%u}", i > 0 ? "," : "",
                (unsigned long long)cut->index, (unsigned)cut->log);
    }
    fsp_buf_add_byte(buf, ']');
}

void
fsp_flags_json(const struct fsp_fleet_rig *rig, const struct fsp_flag *flags, size_t n,
        struct fsp_buf *buf)
{
    fsp_buf_add_byte(buf, '[');
    for (size_t i = 0; i < n; i++) {
        bool first = true;

        fsp_buf_add_text(buf, i > 0 ? ",{" : "{");
        say_acknowledged(&flags[i], &first, buf);
        fsp_say_key(buf, &first, "cuts");
        say_cuts(rig, &flags[i], buf);
        fsp_say_member_text(buf, &first, "kind", fsp_flag_kind_word(flags[i].kind));
        fsp_say_member_text(buf, &first, "mark", flags[i].mark);
        fsp_say_member_time(buf, &first, "since", flags[i].since_s);
        fsp_say_member_text(buf, &first, "text", flags[i].text);
        fsp_say_member_text(buf, &first, "weight", fsp_flag_weight_word(flags[i].weight));
        fsp_buf_add_byte(buf, '}');
    }
    fsp_buf_add_byte(buf, ']');
}

void
fsp_flags_text(const struct fsp_flag *flags, size_t n, struct fsp_buf *buf)
{
    const size_t start = buf->len;

    for (size_t i = 0; i < n; i++) {
        char day[FSP_TIME_TEXT_LEN + 1];

        if (buf->len - start > FSP_FLAGS_LINE_MAX) {
            fsp_buf_printf(buf, "; and %zu more", n - i);
            return;
        }
        fsp_buf_add_text(buf, i > 0 ? "; " : "");
        fsp_buf_add_text(buf, flags[i].text);
        if (!flags[i].acknowledged)
            continue;
        fsp_time_text(flags[i].acknowledged_s, day);
        fsp_buf_printf(
                buf, " (seen by %s, %.10s: %s)", flags[i].acknowledged_by, day, flags[i].note);
    }
}
