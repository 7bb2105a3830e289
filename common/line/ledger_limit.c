/* What the account says about lifting: loads by the line, the lowest rating given, findings open. */
#include <math.h>
#include <string.h>

#include "base/clock.h"
#include "line/ledger_priv.h"

/* ---- ratings ---- */

void
fsp_ledger_take_ratings(struct fold *fold, const struct item *item)
{
    size_t n = fsp_record_count(item->record, "ratings"), i;

    if (n == 0)
        return;
    fold->n_ratings = 0;
    for (i = 0; i < n && fold->n_ratings < RATINGS_MAX; i++) {
        const struct fsp_record *one = fsp_record_item(item->record, "ratings", i);
        struct rating *rating = &fold->ratings[fold->n_ratings];
        const char *word = one == NULL ? NULL : fsp_record_text(one, "part");
        int64_t lines = 0;
        int part;

        memset(rating, 0, sizeof(*rating));
        if (word == NULL || !fsp_record_si(one, "load", FSP_DIM_LOAD, &rating->is.load_n))
            continue;
        if (fsp_record_int(one, "lines", &lines) && lines > 0 && lines <= FSP_HOIST_LINES_MAX)
            rating->is.lines = (int)lines;
        for (part = 0; part < FSP_PARTS; part++) {
            if (strcmp(word, fsp_hoist_part((enum fsp_part)part)) == 0) {
                rating->part = (enum fsp_part)part;
                fold->n_ratings++;
                break;
            }
        }
    }
}

/* One rating a part: the one stated for this string-up, else the one that bears least. */
static void
choose(const struct fold *fold, const struct fsp_reeving *reeving,
        struct fsp_rating out[static FSP_PARTS])
{
    int part;
    size_t i;

    for (part = 0; part < FSP_PARTS; part++) {
        double least = 0;

        memset(&out[part], 0, sizeof(out[part]));
        for (i = 0; i < fold->n_ratings; i++) {
            const struct fsp_rating *is = &fold->ratings[i].is;
            double rated;

            if ((int)fold->ratings[i].part != part)
                continue;
            rated = fsp_hoist_rated(reeving, (enum fsp_part)part, is);
            if (is->lines == reeving->lines) {
                out[part] = *is;
                break;
            }
            if (rated > 0 && (!(least > 0) || rated < least)) {
                least = rated;
                out[part] = *is;
            }
        }
    }
}

void
fsp_ledger_fill_limits(struct fsp_ledger *ledger)
{
    const struct fold *fold = &ledger->fold;
    struct fsp_ledger_view *view = &ledger->view;
    struct fsp_rating ratings[FSP_PARTS];
    struct fsp_reeving reeving;
    enum fsp_part part;

    fsp_ledger_reeving(fold, &reeving);
    if (fsp_hoist_check(&reeving, NULL) != FSP_OK)
        return;
    choose(fold, &reeving, ratings);
    part = fsp_hoist_lowest(&reeving, ratings, &view->lowest_rating_n);
    if (part != FSP_PARTS)
        view->lowest_rating = fsp_hoist_part(part);
    else
        view->lowest_rating_n = 0;
    if (fold->stop.open || fold->n_defects > 0 || !(fold->line.rope.strength_n > 0))
        return; /* strength means sound line */
    view->load_at_5_n =
            fsp_hoist_load_at(&reeving, fold->line.rope.strength_n, FSP_FACTOR_USUAL);
    view->load_at_3_n =
            fsp_hoist_load_at(&reeving, fold->line.rope.strength_n, FSP_FACTOR_DRILLING);
}

/* ---- findings ---- */

static bool
same(const char *a, const char *b)
{
    return a != NULL && b != NULL && strcmp(a, b) == 0;
}

static char
lower(char c)
{
    return (char)(c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c);
}

static bool
holds(const char *text, const char *word)
{
    for (; *text != 0; text++) {
        size_t i = 0;

        while (word[i] != 0 && lower(text[i]) == word[i])
            i++;
        if (word[i] == 0)
            return true;
    }
    return false;
}

static bool
names(const char *text, const char *const *words, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (holds(text, words[i]))
            return true;
    return false;
}

/* Whether a defect was closed by changing the machine that the line runs over: `closed` says so. */
static bool
changed_machine(const struct fsp_record *defect)
{
    static const char *const parts[] = {"sheave", "drum", "lagging", "groove"};
    static const char *const done[] = {"changed", "replaced", "renewed", "regrooved", "new "};
    const char *closed = defect == NULL ? NULL : fsp_record_text(defect, "closed");

    return closed != NULL && names(closed, parts, sizeof(parts) / sizeof(parts[0])) &&
           names(closed, done, sizeof(done) / sizeof(done[0]));
}

static void
take_changes(struct fold *fold, const struct item *item)
{
    size_t n = fsp_record_count(item->record, "defects"), i;

    for (i = 0; i < n; i++)
        if (changed_machine(fsp_record_item(item->record, "defects", i)))
            fsp_ledger_machine_changed(fold, item);
}

/* A defect is known by its place and its words; a later inspection that gives `closed` ends it. */
void
fsp_ledger_take_defects(struct fsp_ledger *ledger, const struct item *item)
{
    struct fold *fold = &ledger->fold;
    size_t n = fsp_record_count(item->record, "defects"), i, at;

    take_changes(fold, item);
    for (i = 0; i < n; i++) {
        const struct fsp_record *one = fsp_record_item(item->record, "defects", i);
        const char *place = one == NULL ? NULL : fsp_record_text(one, "place");
        const char *what = one == NULL ? NULL : fsp_record_text(one, "what");

        if (place == NULL || what == NULL)
            continue;
        for (at = 0; at < fold->n_defects; at++) {
            if (same(fold->defects[at].place, place) && same(fold->defects[at].what, what))
                break;
        }
        if (fsp_record_has(one, "closed")) {
            if (at < fold->n_defects)
                memmove(&fold->defects[at], &fold->defects[at + 1],
                        (--fold->n_defects - at) * sizeof(fold->defects[0]));
            continue;
        }
        if (at == DEFECTS_MAX) {
            fsp_ledger_say(ledger, item,
                    "more than %d defects are open: this one is not listed", DEFECTS_MAX);
            continue;
        }
        if (at == fold->n_defects) {
            fold->n_defects++;
            fold->defects[at].at_s = item->at_s;
            fold->defects[at].index = item->index;
            fold->defects[at].place = place;
            fold->defects[at].what = what;
        }
        fold->defects[at].by_date = fsp_record_text(one, "by-date");
        fold->defects[at].by = fsp_record_text(one, "by");
    }
}

static const char *
defect_text(struct fsp_ledger *ledger, const struct defect *defect)
{
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(defect->at_s, at);
    return fsp_ledger_keep(ledger,
            "%.120s: %.200s (inspection of %.10s, entry %llu)%s%.60s%s%.60s", defect->place,
            defect->what, at, (unsigned long long)defect->index,
            defect->by_date == NULL ? "" : "; to be mended by ",
            defect->by_date == NULL ? "" : defect->by_date, defect->by == NULL ? "" : "; by ",
            defect->by == NULL ? "" : defect->by);
}

void
fsp_ledger_fill_findings(struct fsp_ledger *ledger)
{
    const struct fold *fold = &ledger->fold;
    struct fsp_ledger_view *view = &ledger->view;
    size_t i;

    if (fold->stop.open)
        ledger->findings[view->findings++] = view->cut_due_why;
    for (i = 0; i < fold->n_defects; i++)
        ledger->findings[view->findings++] = defect_text(ledger, &fold->defects[i]);
}

const char *
fsp_ledger_finding(const struct fsp_ledger *ledger, size_t i)
{
    return i < ledger->view.findings ? ledger->findings[i] : NULL;
}

/* ---- doubts ---- */

static void
doubt(struct fsp_ledger *ledger, const char *text)
{
    if (ledger->n_doubts < DOUBTS_MAX)
        ledger->doubts[ledger->n_doubts++] = text;
}

static const char *
plural(size_t n)
{
    return n == 1 ? "y" : "ies";
}

void
fsp_ledger_fill_doubts(struct fsp_ledger *ledger)
{
    const struct fsp_ledger_view *view = &ledger->view;
    const struct fold *fold = &ledger->fold;

    ledger->n_doubts = 0;
    if (view->incomplete)
        doubt(ledger,
                "INCOMPLETE: work since the cut is missing from the count; the true figure "
                "may be higher");
    if (fold->line.hung && fold->line.used && fold->line.first_due)
        doubt(ledger, "estimated: the line came used; what it did before rests on what was "
                      "entered with it, until its first cut here");
    if (fold->line.hung && fold->count.estimated_loads)
        doubt(ledger, "estimated: hook loads not entered are worked out from string and block");
    if (view->late_entries > 0)
        doubt(ledger,
                fsp_ledger_keep(ledger, "late: %zu entr%s made more than 24 h after the event",
                        view->late_entries, plural(view->late_entries)));
    if (view->doubtful_clock > 0)
        doubt(ledger,
                fsp_ledger_keep(ledger,
                        "clock doubtful: %zu entr%s made while the clock was behind or ahead",
                        view->doubtful_clock, plural(view->doubtful_clock)));
    if (view->unreadable > 0)
        doubt(ledger, fsp_ledger_keep(ledger, "unreadable: %zu entr%s cannot be read",
                              view->unreadable, plural(view->unreadable)));
    if (view->amended > 0)
        doubt(ledger, fsp_ledger_keep(ledger, "amended: %zu entr%s corrected afterwards",
                              view->amended, plural(view->amended)));
    if (view->derate < 1)
        doubt(ledger,
                fsp_ledger_keep(ledger,
                        "derated: adverse conditions leave %.0f %% of the goal while they "
                        "last",
                        100 * view->derate));
}

const char *
fsp_ledger_doubt(const struct fsp_ledger *ledger, size_t i)
{
    return i < ledger->n_doubts ? ledger->doubts[i] : NULL;
}
