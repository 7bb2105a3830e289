/* GET /line-life: what a foot of line served, by rope, grade and formation; each rig a point. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "line/rope.h"
#include "line/say.h"
#include "line/spread.h"
#include "office/board_priv.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* Line of one size, grade and make, cut in one formation. Texts are borrowed from the rows. */
struct key {
    double rope_m;
    const char *grade, *formation, *build, *rope_class, *core;
};

struct sum {
    struct key key;
    const struct fsp_fleet_rig *rig; /* NULL: of all rigs */
    size_t cuts;
    double cut_m;
    double work_j;
    double served_j;
    double wear_left_m;
};

struct sums {
    struct sum *items;
    size_t n, cap;
};

struct life {
    struct sums groups;
    struct sums rigs; /* one of each rig and group */
    struct {
        struct key key;
        double per_ft;
    } * values; /* of each cut */
    size_t n_values, cap_values;
    size_t incomplete; /* cuts left out */
    bool no_memory;
};

/* --- gathering ------------------------------------------------------------------------------- */

static bool
same_text(const char *a, const char *b)
{
    return a == b || (a != NULL && b != NULL && strcmp(a, b) == 0);
}

static bool
same_key(const struct key *a, const struct key *b)
{
    double apart = a->rope_m - b->rope_m;

    return apart <= FSP_ROPE_MATCH_M && -apart <= FSP_ROPE_MATCH_M &&
           same_text(a->grade, b->grade) && same_text(a->formation, b->formation) &&
           same_text(a->build, b->build) && same_text(a->rope_class, b->rope_class) &&
           same_text(a->core, b->core);
}

static double
per_ft(double joules, double metres)
{
    return metres > 0.0 ? (joules / FSP_TON_MILE_J) / (metres / FSP_FT_M) : 0.0;
}

static void
add_to(struct life *life, struct sums *sums, const struct fsp_fleet_rig *rig,
        const struct key *key, const struct fsp_cut_row *cut)
{
    struct sum *sum = NULL;

    for (size_t i = sums->n; sum == NULL && i-- > 0;)
        if (sums->items[i].rig == rig && same_key(&sums->items[i].key, key))
            sum = &sums->items[i];
    if (sum == NULL) {
        void *items = sums->items;

        if (fsp_mem_grow(&items, &sums->cap, sums->n + 1, sizeof(*sum)) != 0) {
            life->no_memory = true;
            return;
        }
        sums->items = items;
        sum = &sums->items[sums->n++];
        *sum = (struct sum){.key = *key, .rig = rig};
    }
    sum->cuts++;
    sum->cut_m += cut->length_m;
    sum->work_j += cut->ton_miles_j;
    sum->served_j += cut->served_j;
    if (cut->condition != NULL && strcmp(cut->condition, "wear-left") == 0)
        sum->wear_left_m += cut->length_m;
}

static void
add_cut(struct life *life, const struct fsp_fleet_rig *rig, const struct fsp_cut_row *cut)
{
    const struct key key = {
            cut->rope_m, cut->grade, cut->formation, cut->build, cut->rope_class, cut->core};
    void *values = life->values;

    if (cut->incomplete || !(cut->length_m > 0.0) || cut->reel == NULL) {
        life->incomplete++;
        return;
    }
    if (fsp_mem_grow(&values, &life->cap_values, life->n_values + 1, sizeof(life->values[0])) !=
            0) {
        life->no_memory = true;
        return;
    }
    life->values = values;
    life->values[life->n_values].key = key;
    life->values[life->n_values++].per_ft = per_ft(cut->ton_miles_j, cut->length_m);
    add_to(life, &life->groups, NULL, &key, cut);
    add_to(life, &life->rigs, rig, &key, cut);
}

static void
gather(struct life *life, const struct fsp_fleet *fleet, unsigned days)
{
    const int64_t from_s =
            days == 0 ? INT64_MIN : fleet->as_of_s - (int64_t)days * FSP_S_PER_DAY;

    for (size_t r = 0; r < fleet->n; r++) {
        const struct fsp_fleet_rig *rig = fleet->rigs[r];

        for (size_t i = rig->n_cuts; i-- > 0 && rig->cuts[i]->at_s >= from_s;)
            add_cut(life, rig, rig->cuts[i]);
    }
}

/* --- words ----------------------------------------------------------------------------------- */

static void
key_text(const struct key *key, struct fsp_buf *buf)
{
    fsp_board_rope(key->rope_m, key->grade, buf);
}

static void
make_text(const struct key *key, struct fsp_buf *buf)
{
    const char *parts[] = {key->build, key->rope_class, key->core};

    for (size_t i = 0; i < COUNT(parts); i++)
        if (parts[i] != NULL)
            fsp_buf_printf(buf, "%s%.60s", buf->len > 0 ? ", " : "", parts[i]);
}

/* A foot of this rope costs so much: "1-1/4=4.10 1-3/8=5.20"; 0: not given. */
static double
price_of(const char *prices, double rope_m)
{
    const struct fsp_rope_size *size = fsp_rope_size_find(rope_m);

    while (prices != NULL && size != NULL && *prices != '\0') {
        const size_t len = strcspn(prices, " ");
        const size_t name = strcspn(prices, "= ");

        if (name == strlen(size->name) && prices[name] == '=' &&
                memcmp(prices, size->name, name) == 0)
            return strtod(prices + name + 1, NULL);
        prices += len;
        prices += strspn(prices, " ");
    }
    return 0.0;
}

enum fsp_rc
fsp_board_prices(const char *prices, struct fsp_err *err)
{
    while (prices != NULL && *prices != '\0') {
        const int len = (int)strcspn(prices, " ");
        const char *equals = memchr(prices, '=', (size_t)len);
        char *end = NULL;
        bool known = false;

        for (size_t i = 0; equals != NULL && fsp_rope_size_at(i) != NULL; i++) {
            const char *name = fsp_rope_size_at(i)->name;

            known = known || (strlen(name) == (size_t)(equals - prices) &&
                                     memcmp(prices, name, strlen(name)) == 0);
        }
        if (!known || !(strtod(equals + 1, &end) > 0.0) || end != prices + len)
            return fsp_err_set(err, FSP_EINVAL,
                    "prices per-ft: '%.*s': write SIZE=PRICE, a size of the table in inches, "
                    "as "
                    "1-3/8=5.20",
                    len, prices);
        prices += len;
        prices += strspn(prices, " ");
    }
    return FSP_OK;
}

static void
cell_money(struct fsp_board_table *table, const struct fsp_board_life_ask *ask, double metres,
        double price)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 96);
    if (price > 0.0) {
        fsp_say_number(&text, metres / FSP_FT_M * price, 0);
        if (ask->currency != NULL)
            fsp_buf_printf(&text, " %.16s", ask->currency);
    }
    fsp_board_cell(table, fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

/* --- tables ---------------------------------------------------------------------------------- */

static size_t
values_of(const struct life *life, const struct key *key, double *out)
{
    size_t n = 0;

    for (size_t i = 0; i < life->n_values; i++)
        if (same_key(&life->values[i].key, key))
            out[n++] = life->values[i].per_ft;
    return n;
}

static size_t
rigs_of(const struct life *life, const struct key *key, double *out)
{
    size_t n = 0;

    for (size_t i = 0; i < life->rigs.n; i++)
        if (same_key(&life->rigs.items[i].key, key)) {
            if (out != NULL)
                out[n] = per_ft(life->rigs.items[i].work_j, life->rigs.items[i].cut_m);
            n++;
        }
    return n;
}

static void
group_row(struct fsp_board_table *table, const struct fsp_board_life_ask *ask,
        const struct life *life, const struct sum *sum, double *scratch)
{
    struct fsp_spread spread;
    struct fsp_buf text;

    fsp_spread(scratch, values_of(life, &sum->key, scratch), &spread);
    fsp_buf_init(&text, 256);
    key_text(&sum->key, &text);
    fsp_board_row(table);
    fsp_board_cell(table, fsp_buf_peek(&text));
    fsp_board_cell(table, sum->key.formation == NULL ? "not given" : sum->key.formation);
    fsp_buf_reset(&text);
    make_text(&sum->key, &text);
    fsp_board_cell(table, text.len == 0 ? "not given" : fsp_buf_peek(&text));
    fsp_board_cell_number(table, true, (double)rigs_of(life, &sum->key, NULL), 0, NULL);
    fsp_board_cell_number(table, true, (double)sum->cuts, 0, NULL);
    fsp_board_cell_number(table, true, sum->cut_m / FSP_FT_M, 0, NULL);
    fsp_board_cell_number(table, true, spread.least, 2, NULL);
    fsp_board_cell_number(table, true, spread.low, 2, NULL);
    fsp_board_cell_number(table, true, spread.middle, 2, NULL);
    fsp_board_cell_number(table, true, spread.high, 2, NULL);
    fsp_board_cell_number(table, true, spread.most, 2, NULL);
    fsp_board_cell_number(table, true, sum->wear_left_m / FSP_FT_M, 0, NULL);
    cell_money(table, ask, sum->wear_left_m, price_of(ask->prices, sum->key.rope_m));
    fsp_board_row_end(table);
    fsp_buf_fini(&text);
}

static void
groups(struct fsp_html *html, const struct fsp_board_life_ask *ask, const struct life *life,
        double *scratch)
{
    static const struct fsp_board_column columns[] = {{"Rope and grade", NULL},
            {"Formation", NULL}, {"Build, class, core", NULL}, {"Rigs", "n"}, {"Cuts", "n"},
            {"Cut, ft", "n"}, {"Least", "n"}, {"Lower quarter", "n"}, {"Middle", "n"},
            {"Upper quarter", "n"}, {"Most", "n"}, {"Cut with wear left, ft", "n"},
            {"Its price", "n"}};
    struct fsp_board_table table = {.cards = false};

    fsp_board_section(html, "ropes", "By rope, grade and formation");
    fsp_board_table_begin(&table, html,
            "Ton-miles a foot cut, over the cuts of each kind of line", columns,
            COUNT(columns));
    for (size_t i = 0; i < life->groups.n; i++)
        group_row(&table, ask, life, &life->groups.items[i], scratch);
    fsp_board_table_end(&table);
    fsp_board_para(html,
            "Build, class and core as entered with the reel; the reel's record names no maker. "
            "Quarters are of the cuts: half of them lie between the lower and the upper one.");
}

static void
rig_row(struct fsp_board_table *table, const struct fsp_board_life_ask *ask,
        const struct life *life, const struct sum *sum, double *scratch)
{
    const double value = per_ft(sum->work_j, sum->cut_m);
    char href[FSP_BOARD_LINK_MAX + 8];
    struct fsp_spread spread;
    struct fsp_buf text;
    int apart;

    fsp_spread(scratch, rigs_of(life, &sum->key, scratch), &spread);
    apart = fsp_spread_apart(&spread, value);
    fsp_board_rig_href(sum->rig->name, href);
    strcat(href, "#cuts"); /* NOLINT(clang-analyzer-security.insecureAPI.strcpy): it has room */
    fsp_buf_init(&text, 256);
    key_text(&sum->key, &text);
    fsp_board_row(table);
    fsp_board_point(table, fsp_buf_peek(&text), (double)sum->cuts, value, sum->rig->name);
    if (apart != 0)
        fsp_html_attr(table->html, "data-apart", "");
    fsp_board_cell_link(table, sum->rig->name, href);
    fsp_board_cell(table, fsp_buf_peek(&text));
    fsp_board_cell(table, sum->key.formation == NULL ? "not given" : sum->key.formation);
    fsp_board_cell_number(table, true, (double)sum->cuts, 0, href);
    fsp_board_cell_number(table, true, sum->cut_m / FSP_FT_M, 0, NULL);
    fsp_board_cell_number(table, true, value, 2, href);
    fsp_board_cell_number(table, true, per_ft(sum->served_j, sum->cut_m), 2, href);
    fsp_board_cell_begin(table);
    if (apart != 0)
        fsp_html_element(table->html, "span", "state warn",
                apart < 0 ? "stands apart, low" : "stands apart, high");
    else
        fsp_html_text(table->html, spread.n < FSP_SPREAD_LEAST ? "too few rigs to say" : "no");
    fsp_board_cell_end(table);
    fsp_board_cell_number(table, true, sum->wear_left_m / FSP_FT_M, 0, NULL);
    cell_money(table, ask, sum->wear_left_m, price_of(ask->prices, sum->key.rope_m));
    fsp_board_row_end(table);
    fsp_buf_fini(&text);
}

static void
rigs(struct fsp_html *html, const struct fsp_board_life_ask *ask, const struct life *life,
        double *scratch)
{
    static const struct fsp_board_column columns[] = {{"Rig", NULL}, {"Rope and grade", NULL},
            {"Formation", NULL}, {"Cuts", "n"}, {"Cut, ft", "n"}, {"Ton-miles a foot", "n"},
            {"Served a foot", "n"}, {"Stands apart", NULL}, {"Cut with wear left, ft", "n"},
            {"Its price", "n"}};
    static const struct fsp_board_plot plot = {.kind = "number",
            .table = "life-table",
            .label = "Ton-miles a foot cut of each rig, by kind of line",
            .x_title = "Cuts in this time",
            .y_title = "Ton-miles a foot"};
    struct fsp_board_table table = {.id = "life-table"};

    fsp_board_section(html, "rigs", "By rig");
    fsp_board_plot(html, &plot);
    fsp_board_table_begin(&table, html, "Ton-miles a foot cut, each rig and kind of line",
            columns, COUNT(columns));
    for (size_t i = 0; i < life->rigs.n; i++)
        rig_row(&table, ask, life, &life->rigs.items[i], scratch);
    fsp_board_table_end(&table);
    fsp_board_para(html,
            "A rig stands apart when it is beyond the middle half of the rigs on the same kind "
            "of line by more than one and a half times that half's width; with fewer than %zu "
            "rigs nothing is said.",
            FSP_SPREAD_LEAST);
}

/* --- the page -------------------------------------------------------------------------------- */

static void
filter(struct fsp_html *html, const struct fsp_board_life_ask *ask)
{
    static const struct fsp_html_choice choices[] = {
            {"90", "90 days"}, {"365", "12 months"}, {"0", "all there is"}};
    char days[16];
    const struct fsp_html_control control = {.name = "days", .label = "Cuts of", .value = days};

    (void)snprintf(days, sizeof(days), "%u", ask->days);
    fsp_html_search(html, "/line-life");
    fsp_html_attr(html, "role", "search");
    fsp_html_select(html, &control, choices, COUNT(choices));
    fsp_html_button(html, "Show", NULL, NULL);
    fsp_html_close(html);
}

static void
wear_left(struct fsp_html *html, const struct fsp_board_life_ask *ask, const struct life *life)
{
    double metres = 0.0;
    double money = 0.0;
    struct fsp_buf text;

    for (size_t i = 0; i < life->groups.n; i++) {
        const struct sum *sum = &life->groups.items[i];

        metres += sum->wear_left_m;
        money += sum->wear_left_m / FSP_FT_M * price_of(ask->prices, sum->key.rope_m);
    }
    fsp_buf_init(&text, 512);
    fsp_say_length(&text, metres, FSP_UNITS_FIELD);
    fsp_buf_add_text(&text, " were cut with wear left, by the condition of the line cut.");
    if (money > 0.0) {
        fsp_buf_add_text(&text, " At the prices given that is ");
        fsp_say_number(&text, money, 0);
        fsp_buf_printf(&text, "%s%.16s.", ask->currency == NULL ? "" : " ",
                ask->currency == NULL ? "" : ask->currency);
    } else {
        fsp_buf_add_text(&text, " No price of a foot is given for it (per-ft under "
                                "[prices] in the configuration).");
    }
    fsp_html_element(html, "p", NULL, fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

void
fsp_board_life(const struct fsp_board_page *page, const struct fsp_board_life_ask *ask,
        struct fsp_buf *buf)
{
    struct life life = {.n_values = 0};
    double *scratch;
    struct fsp_html html;

    gather(&life, page->fleet, ask->days);
    scratch = fsp_mem_array(life.n_values + life.rigs.n + 1, sizeof(*scratch));
    if (scratch == NULL || life.no_memory) {
        buf->rc = FSP_ENOMEM;
        goto out;
    }
    fsp_html_begin(&html, buf);
    fsp_board_begin(&html, page);
    fsp_board_caution(&html);
    filter(&html, ask);
    if (life.n_values == 0) {
        fsp_board_para(&html, "No cut with a whole count in this time.");
    } else {
        fsp_board_para(&html,
                "%zu cuts; %zu more are left out, their count has a gap or their "
                "line is not known.",
                life.n_values, life.incomplete);
        wear_left(&html, ask, &life);
        groups(&html, ask, &life, scratch);
        rigs(&html, ask, &life, scratch);
    }
    fsp_board_end(&html);
    fsp_html_end(&html);
out:
    free(scratch);
    free(life.values);
    free(life.groups.items);
    free(life.rigs.items);
}
