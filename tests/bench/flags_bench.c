/*
 * Whether repeated early cuts are found, and how often they are seen where there are none:
 * flags_bench [RIGS] [SEEDS] [--check]; 1,000 rigs and 3 seeds are what the figures are given for.
 *
 * The truth is known: a worn rig cuts early for wear 9 times in 10, a sound one 3 to 10 times in 100 (each
 * its own), both 10 to 40 times a year, on three sizes of rope. Among the cuts are what rigs make
 * as well: planned ones, damage, counts with a gap, new lines. Every rig's records go through the real
 * ledger; at every cut its rows so far go through the real review, and of every tenth rig that the
 * records so far through the ledger and all flags, which must say the same.
 *
 * Three stories: rigs that are worn from their first day; rigs that wear out after a sound year; and the
 * latter with other shares of worn rigs in the fleet. Beside it in the same run: the rule without its
 * two precautions (the fleet's plain rate, flagged rigs included; no yearly limit), any early cut, and
 * 3 early of the last 4.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "bench/bench.h"
#include "line/flag.h"
#include "line/ledger.h"
#include "record/record.h"

#define BEGIN_S  INT64_C(1735689600) /* 2025-01-01T00:00:00Z */
#define YEAR     365
#define END_S    (BEGIN_S + INT64_C(2) * YEAR * FSP_S_PER_DAY)
#define YEARS    2
#define CUTS_MAX 128
#define ROWS_MAX ((size_t)8 * CUTS_MAX)
#define WITHIN   6 /* eligible cuts in which a worn rig is to be found */
#define FOUND    0.95
#define FALSELY  0.01
#define SAMPLE   10 /* every so many rigs go through ledger and flags at each cut */

struct rig {
    bool worn;
    double early;  /* share of its cuts, once it is worn when it is */
    double before; /* and before that */
    double a_year; /* cuts */
    const char *rope;
    struct fsp_record *records[ROWS_MAX];
    size_t n_records;
    size_t at_cut[CUTS_MAX]; /* records up to and with the cut */
    struct fsp_ledger *ledger;
    const struct fsp_cut_row *cuts[CUTS_MAX];
    size_t n_cuts;
};

struct story {
    size_t rigs;
    double worn; /* share of the rigs */
    int turns;   /* the day on which they are worn */
    uint64_t seed;
};

enum rule {
    RULE_OURS,
    RULE_PLAIN,
    RULE_ANY,
    RULE_THREE,
};
#define RULES 4

struct score {
    size_t worn, found;    /* within so many eligible cuts */
    size_t sound, falsely; /* in their second year */
};

static const char *const rule_names[RULES] = {
        "the rule", "without precautions", "any early cut", "3 of 4"};

/* ---- chance ---- */

static uint64_t dice;

/* splitmix64: Steele, Lea, Flood, OOPSLA 2014. */
static double
chance(void)
{
    uint64_t z = dice += UINT64_C(0x9e3779b97f4a7c15);

    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    z ^= z >> 31;
    return (double)(z >> 11) / 9007199254740992.0;
}

static double
between(double low, double high)
{
    return low + (high - low) * chance();
}

/* ---- a rig's records ---- */

static void
put(struct rig *rig, int64_t at_s, const char *members)
{
    char line[2048], at[FSP_TIME_TEXT_LEN + 1];
    struct fsp_err err = {.rc = FSP_OK};
    int len;

    if (rig->n_records == ROWS_MAX)
        return;
    fsp_time_text(at_s, at);
    len = snprintf(
            line, sizeof(line), "{\"at\":\"%s\",\"by\":\"clerk\",%s,\"v\":1}", at, members);
    bench_must(fsp_record_parse((const uint8_t *)line, (size_t)len,
                       &rig->records[rig->n_records++], &err),
            &err);
}

static void
hang(struct rig *rig, int64_t at_s, int number)
{
    char members[256];

    (void)snprintf(members, sizeof(members),
            "\"kind\":\"reel\",\"reel\":\"R-%d\",\"rope\":\"%s\",\"grade\":\"EIPS\","
            "\"received\":\"7500 ft\",\"strung\":\"1400 ft\",\"lines\":10",
            number, rig->rope);
    put(rig, at_s, members);
}

static void
begin(struct rig *rig)
{
    put(rig, BEGIN_S - 1200,
            "\"kind\":\"rig\",\"mast\":\"142 ft\",\"drum\":\"30 in\",\"block\":\"47000 lb\"");
    hang(rig, BEGIN_S - 1140, 1);
    put(rig, BEGIN_S - 1080,
            "\"kind\":\"program\",\"cut\":\"90 ft\",\"first-goal\":\"1500 ton-miles\","
            "\"later-goal\":\"1300 ton-miles\",\"slips\":3");
}

/* One stretch: work, then the cut that ends it. */
static void
cut(struct rig *rig, int64_t at_s, double early)
{
    const char *reason = "goal", *place = "";
    double served = between(0.92, 1.08) * 1300, length = between(88, 92), dealt = chance();
    char members[1024];

    if (dealt < 0.08) {
        reason = "planned-casing";
        served *= between(0.3, 0.9);
    } else if (dealt < 0.09) {
        reason = "kink";
        served *= between(0.3, 1.0);
    } else if (chance() < early) {
        reason = "broken-wires";
        place = "\"place\":\"fast-line sheave\",";
        served *= between(0.4, 0.75);
    } else if (chance() < 0.3) {
        reason = "diameter";
    }
    if (chance() < 0.03)
        put(rig, at_s - 7200, "\"kind\":\"tour\",\"tour\":\"day\",\"complete\":\"no\"");
    (void)snprintf(members, sizeof(members),
            "\"kind\":\"work\",\"op\":\"stated\",\"basis\":\"log\",\"hookload\":\"250000 lb\","
            "\"ton-miles\":\"%.1f\"",
            served * length / 90);
    put(rig, at_s - 3600, members);
    (void)snprintf(members, sizeof(members),
            "\"kind\":\"cut\",\"length\":\"%.1f ft\",\"slipped\":\"%.1f "
            "ft\",%s\"reason\":\"%s\"",
            length, length, place, reason);
    put(rig, at_s, members);
}

static void
live(struct rig *rig, int turns)
{
    double day = between(0, YEAR / rig->a_year);
    int on_reel = 0, reels = 1;

    begin(rig);
    while (day < YEARS * YEAR && rig->n_cuts < CUTS_MAX) {
        int64_t at_s = BEGIN_S + (int64_t)(day * (double)FSP_S_PER_DAY);

        cut(rig, at_s, rig->worn && day < turns ? rig->before : rig->early);
        rig->at_cut[rig->n_cuts++] = rig->n_records;
        if (++on_reel == 60) {
            hang(rig, at_s + 3600, ++reels);
            on_reel = 0;
        }
        day += between(0.5, 1.5) * YEAR / rig->a_year;
    }
}

/* The ledger of its first n records. */
static struct fsp_ledger *
fold(const struct rig *rig, size_t n)
{
    struct fsp_ledger *ledger = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    bench_must(fsp_ledger_new(&ledger, &err), &err);
    for (size_t i = 0; i < n; i++) {
        struct fsp_ledger_entry entry = {.record = rig->records[i], .index = i};

        memcpy(entry.leaf, &i, sizeof(i)); /* any leaf, each its own */
        bench_must(fsp_ledger_add(ledger, &entry, &err), &err);
    }
    bench_must(fsp_ledger_fold(ledger, END_S, &err), &err);
    return ledger;
}

static struct rig *
make_fleet(const struct story *story)
{
    static const char *const ropes[] = {"1-1/4 in", "1-3/8 in", "1-1/2 in"};
    struct rig *rigs = fsp_mem_array(story->rigs, sizeof(*rigs));

    if (rigs == NULL)
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    dice = story->seed;
    for (size_t i = 0; i < story->rigs; i++) {
        struct rig *rig = &rigs[i];

        memset(rig, 0, sizeof(*rig));
        rig->rope = ropes[i % 3];
        rig->worn = (double)i < story->worn * (double)story->rigs;
        rig->before = between(0.03, 0.10);
        rig->early = rig->worn ? 0.9 : rig->before;
        rig->a_year = between(10, 40);
        live(rig, story->turns);
        rig->ledger = fold(rig, rig->n_records);
        if (fsp_ledger_peek(rig->ledger)->cuts != rig->n_cuts) {
            (void)fprintf(stderr, "flags_bench: the ledger lost a cut\n");
            exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
        }
        for (size_t c = 0; c < rig->n_cuts; c++)
            rig->cuts[c] = fsp_ledger_cut(rig->ledger, c);
    }
    return rigs;
}

static void
free_fleet(struct rig *rigs, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        fsp_ledger_free(rigs[i].ledger);
        for (size_t r = 0; r < rigs[i].n_records; r++)
            fsp_record_free(rigs[i].records[r]);
    }
    free(rigs);
}

/* ---- the rules ---- */

struct fleet {
    const struct story *story;
    struct rig *rigs;
    struct fsp_review_rates *rates;
    const struct fsp_cut_row **by_time; /* eligible cuts of all rigs */
    size_t n;
};

static int
compare_time(const void *a, const void *b)
{
    const struct fsp_cut_row *const *x = a;
    const struct fsp_cut_row *const *y = b;

    return ((*x)->at_s > (*y)->at_s) - ((*x)->at_s < (*y)->at_s);
}

static void
weigh_fleet(struct fleet *fleet)
{
    struct fsp_err err = {.rc = FSP_OK};

    bench_must(fsp_review_rates_new(&fleet->rates, &err), &err);
    fleet->by_time = fsp_mem_array(fleet->story->rigs * CUTS_MAX, sizeof(void *));
    if (fleet->by_time == NULL)
        exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
    fleet->n = 0;
    for (size_t i = 0; i < fleet->story->rigs; i++) {
        const struct rig *rig = &fleet->rigs[i];

        bench_must(fsp_review_rates_add(fleet->rates, rig->cuts, rig->n_cuts, &err), &err);
        for (size_t c = 0; c < rig->n_cuts; c++)
            if (rig->cuts[c]->eligible)
                fleet->by_time[fleet->n++] = rig->cuts[c];
    }
    fsp_review_rates_close(fleet->rates);
    qsort(fleet->by_time, fleet->n, sizeof(void *), compare_time);
}

/* Of the year before this cut, of the other rigs on the same rope, whoever is flagged. */
static double
plain_rate(const struct fleet *fleet, const struct rig *rig, const struct fsp_cut_row *at)
{
    const int64_t from_s = at->at_s - YEAR * FSP_S_PER_DAY;
    size_t eligible = 0, early = 0, low = 0, high = fleet->n;

    while (low < high) {
        size_t middle = (low + high) / 2;

        if (fleet->by_time[middle]->at_s <= from_s)
            low = middle + 1;
        else
            high = middle;
    }
    for (; low < fleet->n && fleet->by_time[low]->at_s <= at->at_s; low++) {
        const struct fsp_cut_row *row = fleet->by_time[low];
        double apart = row->rope_m - at->rope_m;

        if (apart > 1e-4 || apart < -1e-4)
            continue;
        eligible++;
        early += row->early ? 1 : 0;
    }
    for (size_t c = 0; c < rig->n_cuts; c++) {
        const struct fsp_cut_row *row = rig->cuts[c];

        if (!row->eligible || row->at_s <= from_s || row->at_s > at->at_s)
            continue;
        eligible--;
        early -= row->early ? 1 : 0;
    }
    return eligible < FSP_REVIEW_RATE_CUTS ? 0 : (double)early / (double)eligible;
}

/* Whether the rule has flagged the rig after its n-th cut. */
static bool
says(const struct fleet *fleet, const struct rig *rig, size_t n, enum rule rule)
{
    struct fsp_review_about about = {.rates = fleet->rates};
    struct fsp_review review;
    size_t early = 0, seen = 0;

    switch (rule) {
    case RULE_OURS:
        fsp_review_judge(rig->cuts, n, &about, &review);
        return review.state == FSP_REVIEW_FLAGGED;
    case RULE_PLAIN:
    case RULE_ANY:
    case RULE_THREE:
        break;
    }
    for (size_t i = n; i-- > 0 && seen < 4;) {
        if (!rig->cuts[i]->eligible)
            continue;
        seen++;
        early += rig->cuts[i]->early ? 1 : 0;
        if (rule == RULE_ANY)
            return early > 0;
    }
    return seen == 4 && early >= 3;
}

/* The rule without its precautions keeps a flag as ours does; it looks at the newest cuts only. */
static bool
plain_says(const struct fleet *fleet, const struct rig *rig, size_t n)
{
    size_t early = 0, seen = 0;
    double rate = -1;

    for (size_t i = n; i-- > 0 && seen < FSP_REVIEW_MOST;) {
        if (!rig->cuts[i]->eligible)
            continue;
        seen++;
        early += rig->cuts[i]->early ? 1 : 0;
        if (seen < FSP_REVIEW_LEAST || early < 3)
            continue;
        if (rate < 0)
            rate = plain_rate(fleet, rig, rig->cuts[n - 1]);
        if (rate < FSP_REVIEW_RATE_FLOOR)
            rate = FSP_REVIEW_RATE_FLOOR;
        if (fsp_review_tail(seen, early, rate) <= FSP_REVIEW_TAIL)
            return true;
    }
    return false;
}

/* Through records, ledger, review and all flags at this cut: must say what the review says. */
static void
hold_flags(const struct fleet *fleet, const struct rig *rig, size_t n, bool flagged)
{
    struct fsp_line_flag flags[FSP_LINE_FLAGS_MAX];
    const struct fsp_cut_row *rows[CUTS_MAX];
    struct fsp_advice advice[FSP_ADVICE_MAX];
    struct fsp_review review;
    struct fsp_ledger *ledger = fold(rig, rig->at_cut[n - 1]);
    struct fsp_line_flags_about about = {ledger, rows, n, &review, advice, 0};
    bool found = false;
    size_t have;

    for (size_t i = 0; i < n; i++)
        rows[i] = fsp_ledger_cut(ledger, i);
    fsp_review_judge(rows, n, &(struct fsp_review_about){.rates = fleet->rates}, &review);
    about.n_advice = fsp_review_advise(rows, n, &review, advice);
    have = fsp_line_flags(&about, flags);
    for (size_t i = 0; i < have; i++)
        found = found || flags[i].kind == FSP_LINE_EARLY_WEAR;
    fsp_ledger_free(ledger);
    if (found == flagged)
        return;
    (void)fprintf(stderr, "flags_bench: seed %llu: flags and review differ\n",
            (unsigned long long)fleet->story->seed);
    exit(1); /* NOLINT(concurrency-mt-unsafe): one thread */
}

/* What a rig's cuts came to by one rule. */
static void
score_rule(const struct fleet *fleet, size_t i, enum rule rule, struct score *score)
{
    const struct rig *rig = &fleet->rigs[i];
    const int64_t from_s = BEGIN_S + fleet->story->turns * FSP_S_PER_DAY;
    bool found = false, falsely = false;
    size_t since = 0;

    for (size_t c = 0; c < rig->n_cuts; c++) {
        const struct fsp_cut_row *cut = rig->cuts[c];
        bool flagged;

        if (!cut->eligible || cut->at_s < from_s)
            continue;
        since++;
        flagged = rule == RULE_PLAIN ? plain_says(fleet, rig, c + 1)
                                     : says(fleet, rig, c + 1, rule);
        found = found || (flagged && since <= WITHIN);
        falsely = falsely || (flagged && cut->at_s < from_s + YEAR * FSP_S_PER_DAY);
        if (rule == RULE_OURS && i % SAMPLE == 0)
            hold_flags(fleet, rig, c + 1, flagged);
    }
    score->worn += rig->worn ? 1 : 0;
    score->found += rig->worn && found ? 1 : 0;
    score->sound += rig->worn ? 0 : 1;
    score->falsely += !rig->worn && falsely ? 1 : 0;
}

static void
tell(const struct story *story, size_t seeds, int rules, struct score *scores)
{
    memset(scores, 0, RULES * sizeof(*scores));
    for (size_t seed = 0; seed < seeds; seed++) {
        struct story one = *story;
        struct fleet fleet = {.story = &one};

        one.seed = story->seed + seed;
        fleet.rigs = make_fleet(&one);
        weigh_fleet(&fleet);
        for (size_t i = 0; i < one.rigs; i++)
            for (int rule = 0; rule < rules; rule++)
                score_rule(&fleet, i, (enum rule)rule, &scores[rule]);
        fsp_review_rates_free(fleet.rates);
        free(fleet.by_time);
        free_fleet(fleet.rigs, one.rigs);
    }
}

static double
share(size_t part, size_t of)
{
    return of == 0 ? 0 : (double)part / (double)of;
}

static void
print(const char *what, const struct score *scores, int rules)
{
    for (int rule = 0; rule < rules; rule++)
        (void)printf(
                "%s, %s: worn rigs flagged within %d eligible cuts %.1f %%, sound rigs flagged "
                "in a year %.2f %%\n",
                what, rule_names[rule], WITHIN,
                100 * share(scores[rule].found, scores[rule].worn),
                100 * share(scores[rule].falsely, scores[rule].sound));
}

static bool
holds(const char *what, const struct score *score)
{
    if (share(score->found, score->worn) >= FOUND &&
            share(score->falsely, score->sound) <= FALSELY)
        return true;
    (void)fprintf(stderr, "flags_bench: %s: %zu of %zu worn found, %zu of %zu sound flagged\n",
            what, score->found, score->worn, score->falsely, score->sound);
    return false;
}

static size_t
number(int argc, char **argv, int i, size_t otherwise)
{
    long value = argc > i ? strtol(argv[i], NULL, 10) : 0;

    return value > 0 ? (size_t)value : otherwise;
}

int
main(int argc, char **argv)
{
    static const double shares[] = {0, 0.01, 0.02, 0.05, 0.20, 0.50};
    bool check = argc > 1 && strcmp(argv[argc - 1], "--check") == 0;
    int rules = check ? 1 : RULES;
    size_t seeds = number(argc, argv, 2, 3);
    struct story story = {
            .rigs = number(argc, argv, 1, 1000), .worn = 0.10, .turns = YEAR, .seed = 20260301};
    struct score scores[RULES];
    bool good;

    tell(&story, seeds, rules, scores);
    print("1 rig in 10 wears out after a sound year", scores, rules);
    good = holds("worn after a year", &scores[RULE_OURS]);
    story.turns = 0;
    tell(&story, seeds, rules, scores);
    print("1 rig in 10 is worn from the start", scores, rules);
    good = holds("worn from the start", &scores[RULE_OURS]) && good;
    story.turns = YEAR;
    for (size_t i = 0; !check && i < sizeof(shares) / sizeof(shares[0]); i++) {
        char what[400];

        story.worn = shares[i];
        tell(&story, seeds, 2, scores);
        (void)snprintf(what, sizeof(what), "%.0f %% of the rigs wear out", 100 * shares[i]);
        print(what, scores, 2);
    }
    return check && !good ? 1 : 0;
}
