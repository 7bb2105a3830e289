#include "record/quantity.h"

#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "base/buf.h"
#include "base/text.h"

#define TEXT_MAX   32             /* characters of a quantity */
#define DIGITS_MAX 15             /* so that digits and power of ten are exact in a double */
#define LB_KG      0.45359237     /* exact, NIST SP 811 B.8 */
#define GAL_M3     0.003785411784 /* US gallon, exact, NIST SP 811 B.8 */

/*
 * Factors: NIST SP 811 (2008), appendix B. Weights are forces at standard gravity.
 * ppg (pounds a US gallon), SG (against 1000 kg/m3), kdaN and kip: common practice, no source.
 */
static const struct fsp_unit units[] = {
        {FSP_DIM_LENGTH, "ft", FSP_FT_M, "ft"},
        {FSP_DIM_LENGTH, "in", FSP_IN_M, "in"},
        {FSP_DIM_LENGTH, "m", 1.0, "m"},
        {FSP_DIM_LENGTH, "cm", 0.01, "cm"},
        {FSP_DIM_LENGTH, "mm", 0.001, "mm"},
        {FSP_DIM_LENGTH, "km", 1000.0, "km"},
        {FSP_DIM_LOAD, "lb", FSP_LBF_N, "lbf"},
        {FSP_DIM_LOAD, "lbf", FSP_LBF_N, "lbf"},
        {FSP_DIM_LOAD, "klb", 1000.0 * FSP_LBF_N, "1000 lbf"},
        {FSP_DIM_LOAD, "klbf", 1000.0 * FSP_LBF_N, "1000 lbf"},
        {FSP_DIM_LOAD, "kip", 1000.0 * FSP_LBF_N, "kip"},
        {FSP_DIM_LOAD, "N", 1.0, "N"},
        {FSP_DIM_LOAD, "kN", 1e3, "kN"},
        {FSP_DIM_LOAD, "MN", 1e6, "MN"},
        {FSP_DIM_LOAD, "daN", 10.0, "daN"},
        {FSP_DIM_LOAD, "kdaN", 1e4, "1000 daN"},
        {FSP_DIM_LOAD, "kg", FSP_G_MS2, "kgf"},
        {FSP_DIM_LOAD, "t", 1000.0 * FSP_G_MS2, "1000 kgf"},
        {FSP_DIM_LOAD, "tonne", 1000.0 * FSP_G_MS2, "tonne gravity"},
        {FSP_DIM_LINEAR, "lb/ft", FSP_LBF_N / FSP_FT_M, "lbf/ft"},
        {FSP_DIM_LINEAR, "lbf/ft", FSP_LBF_N / FSP_FT_M, "lbf/ft"},
        {FSP_DIM_LINEAR, "kg/m", FSP_G_MS2, "kgf/m"},
        {FSP_DIM_LINEAR, "N/m", 1.0, "N/m"},
        {FSP_DIM_LINEAR, "kN/m", 1e3, "kN/m"},
        {FSP_DIM_DENSITY, "ppg", LB_KG / GAL_M3, "lb/usgallon"},
        {FSP_DIM_DENSITY, "lb/gal", LB_KG / GAL_M3, "lb/usgallon"},
        {FSP_DIM_DENSITY, "lb/ft3", LB_KG / (FSP_FT_M * FSP_FT_M * FSP_FT_M), "lb/ft^3"},
        {FSP_DIM_DENSITY, "kg/m3", 1.0, "kg/m^3"},
        {FSP_DIM_DENSITY, "kg/L", 1e3, "kg/L"},
        {FSP_DIM_DENSITY, "g/cm3", 1e3, "g/cm^3"},
        {FSP_DIM_DENSITY, "SG", 1e3, "1000 kg/m^3"},
        {FSP_DIM_WORK, "ton-mile", FSP_TON_MILE_J, "2000 lbf mile"},
        {FSP_DIM_WORK, "ton-miles", FSP_TON_MILE_J, "2000 lbf mile"},
        {FSP_DIM_WORK, "tonne-km", FSP_TONNE_KM_J, "tonne gravity km"},
        {FSP_DIM_WORK, "t-km", FSP_TONNE_KM_J, "1000 kgf km"},
        {FSP_DIM_WORK, "MJ", 1e6, "MJ"},
        {FSP_DIM_WORK, "GJ", 1e9, "GJ"},
        {FSP_DIM_WORK, "kJ", 1e3, "kJ"},
        {FSP_DIM_TORQUE, "ft-lb", FSP_LBF_N *FSP_FT_M, "ft lbf"},
        {FSP_DIM_TORQUE, "ft-lbf", FSP_LBF_N *FSP_FT_M, "ft lbf"},
        {FSP_DIM_TORQUE, "N.m", 1.0, "N m"},
        {FSP_DIM_TORQUE, "Nm", 1.0, "N m"},
        {FSP_DIM_TORQUE, "kN.m", 1e3, "kN m"},
        {FSP_DIM_SHARE, "%", 0.01, "percent"},
};

#define UNITS_N (sizeof(units) / sizeof(units[0]))

const struct fsp_unit *
fsp_unit_at(size_t i)
{
    return i < UNITS_N ? &units[i] : NULL;
}

const char *
fsp_dim_name(enum fsp_dim dim)
{
    switch (dim) {
    case FSP_DIM_NONE:
        return "number";
    case FSP_DIM_LENGTH:
        return "length";
    case FSP_DIM_LOAD:
        return "load";
    case FSP_DIM_LINEAR:
        return "weight per length";
    case FSP_DIM_DENSITY:
        return "density";
    case FSP_DIM_WORK:
        return "work";
    case FSP_DIM_TORQUE:
        return "torque";
    case FSP_DIM_SHARE:
        return "share";
    }
    return "?";
}

void
fsp_dim_units(enum fsp_dim dim, char *out, size_t size)
{
    size_t len = 0;

    out[0] = '\0';
    for (size_t i = 0; i < UNITS_N; i++) {
        if (units[i].dim != dim)
            continue;
        len += (size_t)snprintf(
                out + len, size - len, "%s%s", len > 0 ? ", " : "", units[i].name);
        if (len >= size)
            return;
    }
}

static bool
is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* The text as it may be shown, at most 40 characters of it. */
struct shown {
    char text[176];
};

static struct shown
show(const char *text)
{
    struct shown out = {""};
    size_t len = 0;

    for (size_t i = 0; text[i] != '\0' && i < 40 && len + 5 < sizeof(out.text); i++) {
        unsigned char c = (unsigned char)text[i];

        if (c >= 0x20 && c < 0x7F)
            out.text[len++] = (char)c;
        else
            len += (size_t)snprintf(out.text + len, sizeof(out.text) - len, "\\x%02x", c);
    }
    out.text[len] = '\0';
    return out;
}

/* Digits into *value, counting them; false when there are none or too many in all. */
static bool
take_digits(const char **p, int64_t *value, int *count)
{
    const char *start = *p;

    while (is_digit(**p)) {
        if (++*count > DIGITS_MAX)
            return false;
        *value = *value * 10 + (**p - '0');
        (*p)++;
    }
    return *p > start;
}

/* n/n behind a whole number (has_whole) or alone. */
static bool
take_fraction(const char **p, bool has_whole, int64_t whole, int64_t top, double *out)
{
    int64_t bottom = 0;
    int count = 0;

    (*p)++;
    if (!take_digits(p, &bottom, &count) || bottom == 0 || bottom > 1000000 || top > 1000000 ||
            whole > 1000000)
        return false;
    if (has_whole && top >= bottom)
        return false;
    *out = (double)(whole * bottom + top) / (double)bottom;
    return true;
}

/* [-]digits[.digits] or [n-]n/n at *p; moves past it. */
static bool
take_number(const char **p, double *out)
{
    static const double tens[DIGITS_MAX + 1] = {1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8,
            1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};
    bool negative = **p == '-';
    int64_t value = 0;
    int64_t top = 0;
    int whole_n = 0;
    int count;
    const char *q;

    if (negative)
        (*p)++;
    if (!take_digits(p, &value, &whole_n))
        return false;
    count = whole_n;
    if (**p == '.') {
        (*p)++;
        if (!take_digits(p, &value, &count))
            return false;
    } else if (**p == '/') {
        return !negative && take_fraction(p, false, 0, value, out);
    } else if (**p == '-' && is_digit((*p)[1])) {
        int top_n = 0;

        q = *p + 1;
        if (negative || !take_digits(&q, &top, &top_n) || *q != '/')
            return false;
        *p = q;
        return take_fraction(p, true, value, top, out);
    }
    *out = (double)value / tens[count - whole_n];
    if (negative)
        *out = -*out;
    return true;
}

/* The whole number part, a text for what is wrong with it otherwise. */
static enum fsp_rc
parse_number(const char *text, const char **rest, double *out, struct fsp_err *err)
{
    const char *p = text;

    *out = 0.0;
    if (strlen(text) > TEXT_MAX)
        return fsp_err_set(err, FSP_EFORMAT, "'%s' is longer than %d characters",
                show(text).text, TEXT_MAX);
    if (strchr(text, ',') != NULL)
        return fsp_err_set(err, FSP_EFORMAT,
                "'%s' has a comma; write a point for decimals and nothing between thousands",
                show(text).text);
    if (!take_number(&p, out))
        return fsp_err_set(err, FSP_EFORMAT,
                "'%s' does not begin with a number like 90, 12.5 or 1-3/8 (at most 15 digits)",
                show(text).text);
    *rest = p;
    return FSP_OK;
}

enum fsp_rc
fsp_number_parse(const char *text, double *out, struct fsp_err *err)
{
    const char *rest = text;
    enum fsp_rc rc = parse_number(text, &rest, out, err);

    if (rc != FSP_OK)
        return rc;
    if (*rest != '\0') {
        *out = 0.0;
        return fsp_err_set(err, FSP_EFORMAT,
                "'%s' is not a bare number like 11.5 or 1-3/8 (no unit here)", show(text).text);
    }
    return FSP_OK;
}

/* Milli and mega differ only in their case: M-names are taken as they are written. */
static bool
unit_matches(const struct fsp_unit *unit, const char *name)
{
    if (unit->name[0] == 'M')
        return strcmp(unit->name, name) == 0;
    return strcasecmp(unit->name, name) == 0;
}

static const struct fsp_unit *
find_unit(enum fsp_dim dim, const char *name)
{
    for (size_t i = 0; i < UNITS_N; i++) {
        if (units[i].dim == dim && unit_matches(&units[i], name))
            return &units[i];
    }
    return NULL;
}

static enum fsp_rc
unknown_unit(const char *text, const char *name, enum fsp_dim dim, struct fsp_err *err)
{
    char allowed[160];

    fsp_dim_units(dim, allowed, sizeof(allowed));
    for (size_t i = 0; i < UNITS_N; i++) {
        if (unit_matches(&units[i], name))
            return fsp_err_set(err, FSP_EFORMAT,
                    "'%s' is a %s, a %s is wanted; write it with one of %s", show(text).text,
                    fsp_dim_name(units[i].dim), fsp_dim_name(dim), allowed);
    }
    return fsp_err_set(err, FSP_EFORMAT,
            "'%s' has a unit that is not known here ('%s'); write it with one of %s",
            show(text).text, show(name).text, allowed);
}

/* A number without a unit: right for work (ton-miles) and shares (fractions) only. */
static enum fsp_rc
bare_number(const char *text, enum fsp_dim dim, double *si, struct fsp_err *err)
{
    char allowed[160];

    if (dim == FSP_DIM_WORK)
        *si *= FSP_TON_MILE_J;
    if (dim == FSP_DIM_WORK || dim == FSP_DIM_SHARE || dim == FSP_DIM_NONE)
        return FSP_OK;
    *si = 0.0;
    fsp_dim_units(dim, allowed, sizeof(allowed));
    return fsp_err_set(err, FSP_EFORMAT, "'%s' has no unit; write it with one of %s",
            show(text).text, allowed);
}

enum fsp_rc
fsp_quantity_parse(const char *text, enum fsp_dim dim, double *si, const struct fsp_unit **unit,
        struct fsp_err *err)
{
    const struct fsp_unit *found = NULL;
    const char *rest = text;
    enum fsp_rc rc;

    *si = 0.0;
    if (unit != NULL)
        *unit = NULL;
    if (dim == FSP_DIM_NONE)
        return fsp_number_parse(text, si, err);
    if (dim == FSP_DIM_DENSITY && strcasecmp(text, "air") == 0)
        return FSP_OK;
    rc = parse_number(text, &rest, si, err);
    if (rc != FSP_OK)
        return rc;
    if (*rest == '\0')
        return bare_number(text, dim, si, err);
    if (*rest == ' ')
        rest++;
    found = find_unit(dim, rest);
    if (found == NULL) {
        *si = 0.0;
        return unknown_unit(text, rest, dim, err);
    }
    *si *= found->to_si;
    if (unit != NULL)
        *unit = found;
    return FSP_OK;
}
