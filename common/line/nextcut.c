#include "line/nextcut.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "line/ledger_priv.h"

/* A length of the rig's particulars; 0 when not given. */
static double
given(const struct fold *fold, double value)
{
    return fold->has_rig && !isnan(value) ? value : 0;
}

static double
maybe(const struct fold *fold, double value)
{
    return fold->has_rig ? value : ABSENT;
}

static void
fill_particulars(const struct fold *fold, struct fsp_particulars *known)
{
    const struct item_rig *rig = &fold->rig;

    *known = (struct fsp_particulars){
            .drum_m = given(fold, rig->drum_m),
            .rope_m = fold->line.rope.diameter_m,
            .sheave_m = given(fold, rig->sheave_m),
            .fast_m = given(fold, rig->fast_m),
            .dead_m = given(fold, rig->dead_m),
            .lines = fold->line.lines,
            .crossovers = rig->crossovers,
            .laps_per_layer = given(fold, rig->laps_per_layer),
            .wraps_low = maybe(fold, rig->wraps_low),
            .crown_m = given(fold, rig->crown_m),
            .block_low_m = maybe(fold, rig->block_low_m),
            .pick_low_m = maybe(fold, rig->pick_low_m),
            .pick_high_m = maybe(fold, rig->pick_high_m),
    };
}

static void
find_needs(
        const struct fold *fold, const struct fsp_particulars *known, struct fsp_next_cut *out)
{
    if (!fold->line.hung)
        out->needs[out->n_needs++] = "reel";
    if (!(given(fold, fold->rig.mast_m) > 0))
        out->needs[out->n_needs++] = "mast";
    out->n_needs += fsp_critical_needs(known, out->needs + out->n_needs);
}

static void
refuse(struct fsp_next_cut *out, const char *text)
{
    (void)snprintf(out->why_not, sizeof(out->why_not), "%s", text);
}

static bool
find_table(const struct fold *fold, struct fsp_next_cut *out)
{
    struct fsp_cutlength cut;
    struct fsp_err err = {0};

    if (fsp_cutlength_find(fold->rig.mast_m, fold->rig.drum_m, fold->line.rope.diameter_m,
                fold->rig.crossovers, &cut, &err) != FSP_OK) {
        refuse(out, err.text);
        return false;
    }
    out->table_laps = cut.laps;
    out->table_cut_m = cut.cut_m;
    return true;
}

bool
fsp_ledger_geometry(
        const struct fsp_ledger *ledger, struct fsp_geometry *out, struct fsp_buf *assumed)
{
    const struct fold *fold = &ledger->fold;
    const char *needs[FSP_CRITICAL_NEEDS];
    struct fsp_particulars known;
    struct fsp_err err = {0};

    memset(out, 0, sizeof(*out));
    fill_particulars(fold, &known);
    if (!fold->line.hung || fsp_critical_needs(&known, needs) > 0)
        return false;
    fsp_critical_geometry(&known, out, assumed);
    return fsp_critical_check(out, fsp_critical_lap(out), &err) == FSP_OK;
}

void
fsp_ledger_next_cut(
        const struct fsp_ledger *ledger, struct fsp_next_cut *out, struct fsp_buf *assumed)
{
    const struct fold *fold = &ledger->fold;
    const struct fsp_ledger_view *view = &ledger->view;
    struct fsp_particulars known;
    struct fsp_geometry geometry;
    struct fsp_next next;
    struct fsp_err err = {0};

    memset(out, 0, sizeof(*out));
    out->places = fold->places.n;
    out->lines = fold->line.lines;
    fill_particulars(fold, &known);
    find_needs(fold, &known, out);
    if (out->n_needs > 0 || !find_table(fold, out))
        return;
    fsp_critical_geometry(&known, &geometry, assumed);
    next = (struct fsp_next){fold->places.at, fold->places.n, out->table_laps, view->slips,
            view->slips_made, view->slipped_since_cut_m};
    if (fsp_critical_next(&geometry, &next, out->list, &out->n, &err) != FSP_OK)
        refuse(out, err.text);
    else if (out->n == 0)
        refuse(out, "more has been slipped since the cut than any length near the table's");
}

/* ---- text ---- */

#define SHOWN 2 /* candidates beside the table's own */

/* "table 11.5 laps, 94.5 ft; " */
static void
say_table(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    const struct fsp_ledger_view *view = &ledger->view;

    if (!(view->table_cut_m > 0)) {
        fsp_buf_add_text(buf, "no table for this mast and drum; ");
        return;
    }
    fsp_buf_add_text(buf, "table ");
    fsp_say_laps(buf, view->table_laps);
    fsp_buf_add_text(buf, " laps, ");
    fsp_say_length(buf, view->table_cut_m, fsp_ledger_units(ledger));
    fsp_buf_add_text(buf, "; ");
}

static void
say_needs(const struct fsp_next_cut *next, struct fsp_buf *buf)
{
    size_t i;

    fsp_buf_add_text(buf, "the check of the critical points needs ");
    for (i = 0; i < next->n_needs; i++)
        fsp_buf_printf(buf, "%s%s", i == 0 ? "" : ", ", next->needs[i]);
    fsp_buf_add_text(buf, " of the rig\n");
}

/* The best ones and the table's own. */
static void
say_list(const struct fsp_next_cut *next, enum fsp_units units, struct fsp_buf *buf)
{
    size_t i;

    fsp_buf_add_text(buf,
            "best where this line lay; what each leaves (sheave on sheave, crossover "
            "on crossover, slips back):\n");
    for (i = 0; i < next->n; i++) {
        if (i >= SHOWN && fabs(next->list[i].laps - next->table_laps) > 1e-9)
            continue;
        fsp_buf_add_text(buf, "         ");
        fsp_critical_brief(i + 1, &next->list[i], units, buf);
        fsp_buf_add_byte(buf, '\n');
    }
}

void
fsp_ledger_next_cut_text(const struct fsp_ledger *ledger, struct fsp_buf *buf)
{
    struct fsp_next_cut *next = fsp_mem_array(1, sizeof(*next));
    struct fsp_buf assumed;

    if (next == NULL) {
        buf->rc = FSP_ENOMEM;
        return;
    }
    fsp_buf_init(&assumed, 2000);
    fsp_ledger_next_cut(ledger, next, &assumed);
    fsp_buf_add_text(buf, "Points   ");
    say_table(ledger, buf);
    if (next->n_needs > 0)
        say_needs(next, buf);
    else if (next->n > 0)
        say_list(next, fsp_ledger_units(ledger), buf);
    else
        fsp_buf_printf(buf, "critical points not checked: %s\n", next->why_not);
    fsp_buf_fini(&assumed);
    free(next);
}
