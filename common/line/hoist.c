#include "line/hoist.h"

#include <math.h>
#include <string.h>

/* K^n by plain multiplication: the same bits on every machine, which pow() does not promise. */
static double
power(double k, int n)
{
    double value = 1;
    int i;

    for (i = 0; i < n; i++)
        value *= k;
    return value;
}

static int
rolling_sheaves(const struct fsp_reeving *reeving)
{
    return reeving->rolling > 0 ? reeving->rolling : reeving->lines;
}

enum fsp_rc
fsp_hoist_check(const struct fsp_reeving *reeving, struct fsp_err *err)
{
    if (reeving->lines < 2 || reeving->lines > FSP_HOIST_LINES_MAX || reeving->lines % 2 != 0)
        return fsp_err_set(err, FSP_EINVAL, "lines: found %d; allowed: an even number, 2 to %d",
                reeving->lines, FSP_HOIST_LINES_MAX);
    if (reeving->rolling < 0 || reeving->rolling > reeving->lines + 2)
        return fsp_err_set(err, FSP_EINVAL,
                "rolling: found %d; allowed: 1 to %d sheaves for %d lines", reeving->rolling,
                reeving->lines + 2, reeving->lines);
    if (!(reeving->k > 1 && reeving->k < 2))
        return fsp_err_set(
                err, FSP_EINVAL, "bearing: sheave friction %.4g; allowed: 1 to 2", reeving->k);
    return FSP_OK;
}

double
fsp_hoist_efficiency(const struct fsp_reeving *reeving)
{
    int n = reeving->lines;

    return (power(reeving->k, n) - 1) /
           (power(reeving->k, rolling_sheaves(reeving)) * n * (reeving->k - 1));
}

void
fsp_hoist_load(const struct fsp_reeving *reeving, double hookload_n, double strength_n,
        struct fsp_hoist *out)
{
    double n = reeving->lines;

    memset(out, 0, sizeof(*out));
    out->efficiency = fsp_hoist_efficiency(reeving);
    out->fast_factor = 1 / (n * out->efficiency);
    out->fast_line_n = hookload_n / (n * out->efficiency);
    out->dead_line_n = out->fast_line_n / power(reeving->k, rolling_sheaves(reeving));
    out->static_line_n = hookload_n / n;
    out->derrick_static_n = hookload_n * (n + 2) / n;
    out->derrick_n = hookload_n + out->fast_line_n + out->dead_line_n;
    if (strength_n > 0 && hookload_n > 0) {
        out->design_factor = strength_n / out->fast_line_n;
        out->design_factor_static = strength_n * n / hookload_n;
    }
}

double
fsp_hoist_load_at(const struct fsp_reeving *reeving, double strength_n, double factor)
{
    return strength_n / factor * reeving->lines * fsp_hoist_efficiency(reeving);
}

int
fsp_hoist_lines_needed(
        const struct fsp_reeving *reeving, double hookload_n, double strength_n, double factor)
{
    struct fsp_reeving other = *reeving;
    int extra = reeving->rolling > 0 ? reeving->rolling - reeving->lines : 0;

    for (other.lines = 2; other.lines <= FSP_HOIST_LINES_MAX; other.lines += 2) {
        other.rolling = other.lines + extra;
        if (other.rolling < 1)
            other.rolling = 1;
        if (fsp_hoist_load_at(&other, strength_n, factor) >= hookload_n)
            return other.lines;
    }
    return 0;
}

static const struct {
    const char *name, *pull;
} parts[] = {
        [FSP_PART_MAST] = {"mast", ""},
        [FSP_PART_CROWN] = {"crown", "on the crown, fast and dead line with it"},
        [FSP_PART_BLOCK] = {"block", ""},
        [FSP_PART_HOOK] = {"hook", ""},
        [FSP_PART_TOP_DRIVE] = {"top-drive", ""},
        [FSP_PART_DRAWWORKS] = {"drawworks", "on the fast line"},
        [FSP_PART_ANCHOR] = {"anchor", "on the dead line at rest"},
        [FSP_PARTS] = {"", ""},
};

static bool
is_one_of(const char *word, const char *a, const char *b)
{
    return word != NULL && (strcmp(word, a) == 0 || strcmp(word, b) == 0);
}

double
fsp_hoist_least(const char *service, const char *op)
{
    bool rare = service != NULL ? is_one_of(service, "casing", "stuck-pipe")
                                : is_one_of(op, "casing", "liner");

    return rare ? FSP_FACTOR_RARE : FSP_FACTOR_DRILLING;
}

const char *
fsp_hoist_part(enum fsp_part part)
{
    return parts[part].name;
}

const char *
fsp_hoist_part_pull(enum fsp_part part)
{
    return parts[part].pull;
}

double
fsp_hoist_rated(
        const struct fsp_reeving *reeving, enum fsp_part part, const struct fsp_rating *rating)
{
    double n = reeving->lines, stated = rating->lines;
    struct fsp_hoist unit;

    if (!(rating->load_n > 0))
        return 0;
    fsp_hoist_load(reeving, 1, 0, &unit);
    switch (part) {
    case FSP_PART_MAST:
        if (rating->lines > reeving->lines)
            return rating->load_n * ((stated + 2) / stated) / ((n + 2) / n);
        break;
    case FSP_PART_CROWN:
        return rating->load_n / unit.derrick_n;
    case FSP_PART_DRAWWORKS:
        return rating->load_n / unit.fast_line_n;
    case FSP_PART_ANCHOR:
        return rating->load_n / unit.static_line_n;
    case FSP_PART_BLOCK:
    case FSP_PART_HOOK:
    case FSP_PART_TOP_DRIVE:
    case FSP_PARTS:
        break;
    }
    return rating->load_n;
}

enum fsp_part
fsp_hoist_lowest(const struct fsp_reeving *reeving,
        const struct fsp_rating ratings[static FSP_PARTS], double *hookload_n)
{
    enum fsp_part lowest = FSP_PARTS;
    int part;

    *hookload_n = 0;
    for (part = 0; part < FSP_PARTS; part++) {
        double load = fsp_hoist_rated(reeving, (enum fsp_part)part, &ratings[part]);

        if (load > 0 && (lowest == FSP_PARTS || load < *hookload_n)) {
            lowest = (enum fsp_part)part;
            *hookload_n = load;
        }
    }
    return lowest;
}
