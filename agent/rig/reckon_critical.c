/* Which lengths of cut move the points of wear, when the rig's geometry is known. */
#include <string.h>

#include "line/critical.h"
#include "rig/reckon_priv.h"

#define SHOWN      3 /* candidates in text; JSON has them all */
#define SHOWN_LEFT 4 /* overlaps of each in text */

static const enum fsp_reckon_field needed[] = {
        F_LINES, F_CROWN, F_PICK_LOW, F_PICK_HIGH, F_WRAPS_LOW};

#define NEEDED (sizeof(needed) / sizeof(needed[0]))

/* "lines, crown": what the check would need; the number of them. */
static size_t
missing(const struct fsp_reckon_in *in, struct fsp_reckon_out *out)
{
    const char *between = "The check of the critical points would need ";
    bool first = true;
    size_t i, n = 0;

    fsp_say_key(&out->members, &out->first, "check_needs");
    fsp_buf_add_byte(&out->members, '[');
    for (i = 0; i < NEEDED; i++) {
        if (in->given[needed[i]])
            continue;
        fsp_buf_printf(&out->text, "%s%s", between, fsp_reckon_name(needed[i]));
        if (!first)
            fsp_buf_add_byte(&out->members, ',');
        fsp_say_json_text(&out->members, fsp_reckon_name(needed[i]));
        first = false;
        between = ", ";
        n++;
    }
    fsp_buf_add_byte(&out->members, ']');
    if (n > 0)
        fsp_buf_add_text(&out->text,
                " (of the rig's particulars): without them the table stands alone\n");
    return n;
}

static enum fsp_rc
fill_geometry(const struct fsp_reckon_in *in, struct fsp_geometry *g,
        struct fsp_reckon_out *out, struct fsp_err *err)
{
    memset(g, 0, sizeof(*g));
    if (in->given[F_DEAD_WRAPS] && in->value[F_WRAPS_LOW] < in->value[F_DEAD_WRAPS])
        return fsp_err_set(err, FSP_EINVAL,
                "wraps-low: found %s; allowed: at least the dead wraps of the drum's maker "
                "(%s)",
                in->text[F_WRAPS_LOW], in->text[F_DEAD_WRAPS]);
    g->drum_m = in->value[F_DRUM];
    g->rope_m = in->value[F_ROPE];
    g->lines = (int)in->value[F_LINES];
    g->crossovers = (int)in->value[F_CROSSOVERS];
    g->laps_per_layer = in->value[F_LAPS_PER_LAYER];
    g->wraps_low = in->value[F_WRAPS_LOW];
    g->sheave_m = in->value[F_SHEAVE];
    g->crown_m = in->value[F_CROWN] - in->value[F_PICK_LOW];
    g->pick_m[0] = 0;
    g->pick_m[1] = in->value[F_PICK_HIGH] - in->value[F_PICK_LOW];
    g->fast_m = fsp_reckon_or(in, F_FAST_LINE, in->value[F_CROWN]);
    g->dead_m = fsp_reckon_or(in, F_DEAD_LINE, in->value[F_CROWN]);
    fsp_buf_add_text(
            &out->assumed, "wraps-low counted with the block at pick-low, its lowest place\n");
    if (!in->given[F_FAST_LINE])
        fsp_buf_add_text(&out->assumed,
                "fast-line as long as the crown is high (bears on sheave against drum only)\n");
    if (!in->given[F_DEAD_LINE])
        fsp_buf_add_text(&out->assumed, "dead-line as long as the crown is high\n");
    if (!in->given[F_SHEAVE])
        fsp_buf_add_text(&out->assumed, "sheave not given: its girth left out\n");
    if (!in->given[F_LAPS_PER_LAYER])
        fsp_buf_add_text(
                &out->assumed, "laps-per-layer not given: no layer rise, one layer taken\n");
    return FSP_OK;
}

/* ---- points by name ---- */

static void
name_point(const struct fsp_point *point, int lines, struct fsp_buf *buf)
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
    name_point(point, lines, &name);
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
    fsp_say_key(buf, &first, "nearest_slips_ago");
    if (one->n_left > 0)
        fsp_say_json_number(buf, one->left[0].slips_ago);
    else
        fsp_say_json_text(buf, NULL);
    fsp_say_member(buf, &first, "sheave_on_crossover", one->mixed);
    fsp_say_member(buf, &first, "sheave_on_sheave", one->sheaves);
    fsp_say_member(buf, &first, "slip_ft", one->slip_m / FSP_FT_M);
    fsp_say_member(buf, &first, "slips_looked_back", one->tested);
    fsp_buf_add_byte(buf, '}');
}

/* ---- text ---- */

static void
say_left(const struct fsp_candidate *one, int lines, enum fsp_units units, struct fsp_buf *text)
{
    size_t i;

    for (i = 0; i < one->n_left && i < SHOWN_LEFT; i++) {
        const struct fsp_overlap *left = &one->left[i];

        fsp_buf_printf(
                text, "     %d slip%s ago: ", left->slips_ago, left->slips_ago == 1 ? "" : "s");
        name_point(&left->now, lines, text);
        fsp_buf_add_text(text, " where the ");
        name_point(&left->before, lines, text);
        fsp_buf_add_text(text, left->before.kind == FSP_POINT_CROSSOVER ? " were, " : " was, ");
        fsp_say_length(text, left->apart_m < 0 ? -left->apart_m : left->apart_m, units);
        fsp_buf_add_text(text, " apart\n");
    }
}

static void
say_candidate(size_t rank, const struct fsp_candidate *one, int lines, enum fsp_units units,
        struct fsp_buf *text)
{
    fsp_buf_printf(text, "  %zu. %.2f laps = ", rank, one->laps);
    fsp_say_length(text, one->cut_m, units);
    fsp_buf_add_text(text, ", ");
    fsp_say_length(text, one->slip_m, units);
    fsp_buf_printf(text,
            " a slip; leaves %d sheave on sheave, %d crossover on crossover (told: %d sheave "
            "on "
            "crossover)\n",
            one->sheaves, one->crossovers, one->mixed);
    say_left(one, lines, units, text);
}

enum fsp_rc
fsp_reckon_critical(const struct fsp_reckon_in *in, double laps, int slips,
        struct fsp_reckon_out *out, struct fsp_err *err)
{
    struct fsp_candidate list[FSP_CRITICAL_CANDIDATES];
    struct fsp_geometry geometry;
    size_t n = 0, i;
    enum fsp_rc rc = FSP_OK;

    if (missing(in, out) == 0) {
        rc = fill_geometry(in, &geometry, out, err);
        if (rc == FSP_OK)
            rc = fsp_critical_rank(&geometry, laps, slips, list, &n, err);
    }
    if (rc != FSP_OK)
        return rc;
    fsp_say_key(&out->members, &out->first, "candidates");
    fsp_buf_add_byte(&out->members, '[');
    for (i = 0; i < n; i++) {
        if (i > 0)
            fsp_buf_add_byte(&out->members, ',');
        write_candidate(&list[i], geometry.lines, &out->members);
    }
    fsp_buf_add_byte(&out->members, ']');
    if (n == 0)
        return FSP_OK;
    fsp_buf_printf(&out->text,
            "Lengths by critical points, best first (half and quarter laps within 2 of the "
            "table's %.2f; the latest move counts first, then those before it):\n",
            laps);
    for (i = 0; i < n && i < SHOWN; i++)
        say_candidate(i + 1, &list[i], geometry.lines, in->units, &out->text);
    for (; i < n; i++) {
        if (list[i].laps - laps < 1e-9 && laps - list[i].laps < 1e-9) {
            fsp_buf_add_text(&out->text, "The table's own length among them:\n");
            say_candidate(i + 1, &list[i], geometry.lines, in->units, &out->text);
        }
    }
    fsp_buf_add_text(&out->cautions,
            "Nothing clears every class for ever: these are the best of those possible, exact "
            "for the drum's first layer. The goal goes with the length.\n");
    return FSP_OK;
}
