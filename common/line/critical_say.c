#include "line/critical_say.h"

#include <math.h>
#include <string.h>

#include "record/quantity.h"

/* ---- what is known ---- */

size_t
fsp_critical_needs(
        const struct fsp_particulars *known, const char *out[static FSP_CRITICAL_NEEDS])
{
    const struct {
        const char *name;
        bool given;
    } fields[FSP_CRITICAL_NEEDS] = {
            {"drum", known->drum_m > 0},
            {"lines", known->lines > 0},
            {"crown", known->crown_m > 0},
            {"pick-low", !isnan(known->pick_low_m)},
            {"pick-high", !isnan(known->pick_high_m)},
            {"wraps-low", !isnan(known->wraps_low)},
    };
    size_t n = 0, i;

    for (i = 0; i < FSP_CRITICAL_NEEDS; i++) {
        if (!fields[i].given)
            out[n++] = fields[i].name;
    }
    return n;
}

void
fsp_critical_geometry(
        const struct fsp_particulars *known, struct fsp_geometry *out, struct fsp_buf *assumed)
{
    double low = isnan(known->block_low_m) ? known->pick_low_m : known->block_low_m;

    memset(out, 0, sizeof(*out));
    out->drum_m = known->drum_m;
    out->rope_m = known->rope_m;
    out->lines = known->lines;
    out->crossovers = known->crossovers;
    out->laps_per_layer = known->laps_per_layer > 0 ? known->laps_per_layer : 0;
    out->wraps_low = known->wraps_low;
    out->sheave_m = known->sheave_m;
    out->crown_m = known->crown_m - low;
    out->pick_m[0] = known->pick_low_m - low;
    out->pick_m[1] = known->pick_high_m - low;
    out->fast_m = known->fast_m > 0 ? known->fast_m : known->crown_m;
    out->dead_m = known->dead_m > 0 ? known->dead_m : known->crown_m;
    if (isnan(known->block_low_m))
        fsp_buf_add_text(assumed,
                "block-low not given: wraps-low counted with the block at pick-low, its lowest "
                "place\n");
    if (!(known->fast_m > 0))
        fsp_buf_add_text(assumed,
                "fast-line not given: as long as the crown is high (bears on sheave against "
                "drum only)\n");
    if (!(known->dead_m > 0))
        fsp_buf_add_text(assumed, "dead-line not given: as long as the crown is high\n");
    if (!(known->sheave_m > 0))
        fsp_buf_add_text(assumed, "sheave not given: its girth left out\n");
    if (!(known->laps_per_layer > 0))
        fsp_buf_add_text(assumed, "laps-per-layer not given: no layer rise, one layer taken\n");
}

/* ---- points by name ---- */

void
fsp_critical_name(const struct fsp_point *point, int lines, struct fsp_buf *buf)
{
    switch (point->kind) {
    case FSP_POINT_CROWN:
        if (point->number == 0)
            fsp_buf_add_text(buf, "fast-line sheave");
        else if (point->number == lines / 2)
            fsp_buf_add_text(buf, "dead-line sheave");
        else
            fsp_buf_printf(buf, "crown sheave %d", point->number);
        break;
    case FSP_POINT_BLOCK:
        fsp_buf_printf(buf, "block sheave %d", point->number);
        break;
    case FSP_POINT_ANCHOR:
        fsp_buf_add_text(buf, "anchor");
        break;
    case FSP_POINT_CROSSOVER:
        fsp_buf_add_text(buf, "crossovers");
        break;
    case FSP_POINT_RISE:
        fsp_buf_add_text(buf, "layer rise");
        break;
    }
    if (point->pick >= 0)
        fsp_buf_printf(buf, " at %s", point->pick == 0 ? "pick-low" : "pick-high");
}

static void
member_point(struct fsp_buf *buf, bool *first, const char *key, const struct fsp_point *point,
        int lines)
{
    struct fsp_buf name;

    fsp_buf_init(&name, 80);
    fsp_critical_name(point, lines, &name);
    fsp_say_member_text(buf, first, key, fsp_buf_peek(&name));
    fsp_buf_fini(&name);
}

/* ---- JSON ---- */

static void
write_left(const struct fsp_candidate *one, int lines, struct fsp_buf *buf)
{
    size_t i;

    fsp_buf_add_byte(buf, '[');
    for (i = 0; i < one->n_left; i++) {
        const struct fsp_overlap *left = &one->left[i];
        bool first = true;

        fsp_buf_add_text(buf, i > 0 ? ",{" : "{");
        fsp_say_member(buf, &first, "apart_ft", left->apart_m / FSP_FT_M);
        member_point(buf, &first, "before", &left->before, lines);
        member_point(buf, &first, "now", &left->now, lines);
        fsp_say_member(buf, &first, "slips_ago", left->slips_ago);
        fsp_buf_add_byte(buf, '}');
    }
    fsp_buf_add_byte(buf, ']');
}

/* A number of slips, null for none. */
static void
member_slips(struct fsp_buf *buf, bool *first, const char *key, int slips)
{
    fsp_say_key(buf, first, key);
    if (slips > 0)
        fsp_say_json_number(buf, slips);
    else
        fsp_say_json_text(buf, NULL);
}

static void
write_candidate(const struct fsp_candidate *one, int lines, struct fsp_buf *buf)
{
    bool first = true;

    fsp_buf_add_byte(buf, '{');
    fsp_say_member(buf, &first, "crossover_on_crossover", one->crossovers);
    fsp_say_member(buf, &first, "cut_ft", one->cut_m / FSP_FT_M);
    fsp_say_member(buf, &first, "laps", one->laps);
    fsp_say_key(buf, &first, "leaves");
    write_left(one, lines, buf);
    member_slips(
            buf, &first, "nearest_slips_ago", one->n_left > 0 ? one->left[0].slips_ago : 0);
    if (one->again > 0) {
        fsp_say_member(buf, &first, "repeated_leaves", one->again);
        member_slips(buf, &first, "repeated_meets_after_slips", one->again_after);
    }
    fsp_say_member(buf, &first, "sheave_on_crossover", one->mixed);
    fsp_say_member(buf, &first, "sheave_on_sheave", one->sheaves);
    fsp_say_member(buf, &first, "slip_ft", one->slip_m / FSP_FT_M);
    fsp_say_member(buf, &first, "slips_looked_back", one->tested);
    fsp_say_member(buf, &first, "slips_to_make", one->moves);
    fsp_buf_add_byte(buf, '}');
}

void
fsp_critical_json(const struct fsp_candidate *list, size_t n, int lines, struct fsp_buf *buf)
{
    size_t i;

    fsp_buf_add_byte(buf, '[');
    for (i = 0; i < n; i++) {
        if (i > 0)
            fsp_buf_add_byte(buf, ',');
        write_candidate(&list[i], lines, buf);
    }
    fsp_buf_add_byte(buf, ']');
}

/* ---- text ---- */

static void
say_left(const struct fsp_overlap *left, int lines, enum fsp_units units, struct fsp_buf *text)
{
    fsp_buf_printf(
            text, "     %d slip%s ago: ", left->slips_ago, left->slips_ago == 1 ? "" : "s");
    fsp_critical_name(&left->now, lines, text);
    fsp_buf_add_text(text, " where the ");
    fsp_critical_name(&left->before, lines, text);
    fsp_buf_add_text(text, left->before.kind == FSP_POINT_CROSSOVER ? " were, " : " was, ");
    fsp_say_length(text, fabs(left->apart_m), units);
    fsp_buf_add_text(text, " apart\n");
}

void
fsp_critical_text(size_t rank, const struct fsp_candidate *one, int lines, size_t left,
        enum fsp_units units, struct fsp_buf *buf)
{
    size_t i;

    fsp_buf_printf(buf, "  %zu. %.2f laps = ", rank, one->laps);
    fsp_say_length(buf, one->cut_m, units);
    fsp_buf_add_text(buf, ", ");
    fsp_say_length(buf, one->slip_m, units);
    fsp_buf_printf(buf,
            " a slip; leaves %d sheave on sheave, %d crossover on crossover (told: %d sheave "
            "on crossover)\n",
            one->sheaves, one->crossovers, one->mixed);
    for (i = 0; i < one->n_left && i < left; i++)
        say_left(&one->left[i], lines, units, buf);
}

void
fsp_critical_brief(
        size_t rank, const struct fsp_candidate *one, enum fsp_units units, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "%zu. ", rank);
    fsp_say_laps(buf, one->laps);
    fsp_buf_add_text(buf, " laps ");
    fsp_say_length(buf, one->cut_m, units);
    if (one->moves > 0) {
        fsp_buf_add_text(buf, ", slip ");
        if (one->moves > 1)
            fsp_buf_printf(buf, "%d x ", one->moves);
        fsp_say_length(buf, one->slip_m, units);
    }
    if (one->n_left == 0)
        fsp_buf_add_text(buf, ": nothing");
    else
        fsp_buf_printf(buf, ": %d sheave, %d crossover, %d back", one->sheaves, one->crossovers,
                one->left[0].slips_ago);
}
