/*
 * Quantities as people type them: a number, at most one space, a unit.
 *
 * Source of the factors: exact definitions in NIST SP 811 (2008), appendix B; the oil-field names
 * are common practice. Dimensions and the units they know are one table (fsp_unit_at()).
 *
 * Units: everything converts to SI double here and nowhere else.
 * Errors: FSP_EFORMAT with a text that says what was found and what is allowed.
 */
#ifndef FSP_RECORD_QUANTITY_H
#define FSP_RECORD_QUANTITY_H

#include <stdbool.h>
#include <stddef.h>

#include "base/err.h"

#define FSP_G_MS2 9.80665         /* standard gravity, exact */
#define FSP_FT_M  0.3048          /* exact */
#define FSP_IN_M  0.0254          /* exact */
#define FSP_LBF_N 4.4482216152605 /* 0.45359237 kg x g, exact */
#define FSP_TON_MILE_J                                                                         \
    (10560000.0 * FSP_LBF_N * FSP_FT_M) /* 2,000 lbf x 5,280 ft, 14.317438 MJ */
#define FSP_TONNE_KM_J 9806650.0        /* 1000 kg x g x 1000 m, exact */
#define FSP_LBF_FT_NM  (FSP_LBF_N / FSP_FT_M)

enum fsp_dim {
    FSP_DIM_NONE = 0, /* bare decimal or fraction */
    FSP_DIM_LENGTH,   /* m: ft in m cm mm km */
    FSP_DIM_LOAD,   /* N: lb lbf klb klbf kip N kN MN daN kdaN kg t tonne (weights as forces) */
    FSP_DIM_LINEAR, /* N/m: lb/ft kg/m N/m kN/m */
    FSP_DIM_DENSITY, /* kg/m3: ppg lb/gal lb/ft3 kg/m3 kg/L g/cm3 SG; the word air is 0 */
    FSP_DIM_WORK,    /* J: ton-mile(s) tonne-km t-km MJ GJ kJ; bare = ton-miles */
    FSP_DIM_TORQUE,  /* N m: ft-lb ft-lbf N.m Nm kN.m */
    FSP_DIM_SHARE,   /* fraction: 80% or 0.8 */
};

struct fsp_unit {
    enum fsp_dim dim;
    const char *name; /* as typed; letter case matters only in names that begin with M (mega) */
    double to_si;
    const char *gnu; /* the same unit in GNU units' language, for the outside check */
};

/* i-th row of the table, NULL past the end. Static. */
const struct fsp_unit *fsp_unit_at(size_t i);
/* "length", "load", … Static. */
const char *fsp_dim_name(enum fsp_dim dim);
/* "ft, in, m, cm, mm, km" into out (NUL-terminated, cut when too small). */
void fsp_dim_units(enum fsp_dim dim, char *out, size_t size);

/* [-]digits[.digits] or [n-]n/n, at most one space, unit. At most 32 characters. Decimal comma and
 * thousands comma are refused with advice. On success *si, and unit (may be NULL) the row used
 * (NULL for bare numbers and air). */
enum fsp_rc fsp_quantity_parse(const char *text, enum fsp_dim dim, double *si,
        const struct fsp_unit **unit, struct fsp_err *err) FSP_MUST_CHECK;

/* Bare decimal or fraction, no unit. */
enum fsp_rc fsp_number_parse(const char *text, double *out, struct fsp_err *err) FSP_MUST_CHECK;

#endif
