/* Which lengths of cut move the points of wear, when the rig's geometry is known. */
#include <math.h>

#include "line/critical_say.h"
#include "line/hoist.h"
#include "rig/reckon_priv.h"

#define SHOWN      3           /* candidates in text; JSON has them all */
#define SHOWN_LEFT ((size_t)4) /* overlaps of each in text */

static double
known_or(const struct fsp_reckon_in *in, enum fsp_reckon_field field)
{
    return fsp_reckon_or(in, field, (double)NAN);
}

static void
fill(const struct fsp_reckon_in *in, struct fsp_particulars *known)
{
    *known = (struct fsp_particulars){
            .drum_m = in->value[F_DRUM],
            .rope_m = in->value[F_ROPE],
            .sheave_m = in->value[F_SHEAVE],
            .fast_m = in->value[F_FAST_LINE],
            .dead_m = in->value[F_DEAD_LINE],
            .lines = (int)in->value[F_LINES],
            .crossovers = (int)in->value[F_CROSSOVERS],
            .laps_per_layer = in->value[F_LAPS_PER_LAYER],
            .wraps_low = known_or(in, F_WRAPS_LOW),
            .crown_m = in->value[F_CROWN],
            .block_low_m = known_or(in, F_BLOCK_LOW),
            .pick_low_m = known_or(in, F_PICK_LOW),
            .pick_high_m = known_or(in, F_PICK_HIGH),
    };
}

/* "lines, crown": what the check would need; the number of them. */
static size_t
missing(const struct fsp_particulars *known, struct fsp_reckon_out *out)
{
    const char *needs[FSP_CRITICAL_NEEDS];
    size_t n = fsp_critical_needs(known, needs), i;

    fsp_say_key(&out->members, &out->first, "check_needs");
    fsp_buf_add_byte(&out->members, '[');
    for (i = 0; i < n; i++) {
        fsp_buf_printf(&out->text, "%s%s",
                i == 0 ? "The check of the critical points would need " : ", ", needs[i]);
        if (i > 0)
            fsp_buf_add_byte(&out->members, ',');
        fsp_say_json_text(&out->members, needs[i]);
    }
    fsp_buf_add_byte(&out->members, ']');
    if (n > 0)
        fsp_buf_add_text(&out->text,
                " (of the rig's particulars): without them the table stands alone\n");
    return n;
}

static enum fsp_rc
check(const struct fsp_reckon_in *in, const struct fsp_particulars *known, struct fsp_err *err)
{
    if (in->given[F_LINES] &&
            (known->lines < 2 || known->lines > FSP_HOIST_LINES_MAX || known->lines % 2 != 0))
        return fsp_err_set(err, FSP_EINVAL, "lines: found %s; allowed: an even number, 2 to %d",
                in->text[F_LINES], FSP_HOIST_LINES_MAX);
    if (in->given[F_DEAD_WRAPS] && known->wraps_low < in->value[F_DEAD_WRAPS])
        return fsp_err_set(err, FSP_EINVAL,
                "wraps-low: found %s; allowed: at least the dead wraps of the drum's maker "
                "(%s)",
                in->text[F_WRAPS_LOW], in->text[F_DEAD_WRAPS]);
    return FSP_OK;
}

enum fsp_rc
fsp_reckon_critical(const struct fsp_reckon_in *in, double laps, int slips,
        struct fsp_reckon_out *out, struct fsp_err *err)
{
    struct fsp_candidate list[FSP_CRITICAL_CANDIDATES];
    struct fsp_particulars known;
    size_t n = 0, i;
    struct fsp_geometry geometry;
    enum fsp_rc rc;

    fill(in, &known);
    rc = check(in, &known, err);
    if (rc == FSP_OK && missing(&known, out) == 0) {
        fsp_critical_geometry(&known, &geometry, &out->assumed);
        rc = fsp_critical_rank(&geometry, laps, slips, list, &n, err);
    }
    if (rc != FSP_OK)
        return rc;
    fsp_say_key(&out->members, &out->first, "candidates");
    fsp_critical_json(list, n, known.lines, &out->members);
    if (n == 0)
        return FSP_OK;
    fsp_buf_printf(&out->text,
            "Lengths by critical points, best first (half and quarter laps within 2 of the "
            "table's %.2f; the latest move counts first, then those before it):\n",
            laps);
    for (i = 0; i < n && i < SHOWN; i++)
        fsp_critical_text(i + 1, &list[i], known.lines, SHOWN_LEFT, in->units, &out->text);
    for (; i < n; i++) {
        if (fabs(list[i].laps - laps) < 1e-9) {
            fsp_buf_add_text(&out->text, "The table's own length among them:\n");
            fsp_critical_text(i + 1, &list[i], known.lines, SHOWN_LEFT, in->units, &out->text);
        }
    }
    fsp_buf_add_text(&out->cautions,
            "Nothing clears every class for ever: these are the best of those possible, exact "
            "for the drum's first layer. The goal goes with the length.\n");
    return FSP_OK;
}
