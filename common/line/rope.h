/*
 * What a drilling line of a size and grade holds and weighs.
 *
 * Strength comes from the table (6x19 class, IWRC, API Spec 9A / ASTM A1023: from memory, verify
 * against your copy), from the metric rule 0.356 d^2 R (ISO 2408, IWRC: from memory, verify
 * against your copy), or from the reel's certificate, which overrides both with its minimum
 * breaking force; a test break is never passed here. All of it means sound line.
 *
 * Ownership: texts in struct fsp_rope are static.
 * Units: metres, newtons, newtons per metre; a grade R is in N/mm2.
 * Threads: pure.
 * Errors: FSP_EINVAL, the text says what is known and what to give instead.
 */
#ifndef FSP_LINE_ROPE_H
#define FSP_LINE_ROPE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/err.h"

/* A diameter within this of a table size is that size; nothing is ever rounded to the nearest. */
#define FSP_ROPE_MATCH_M 0.0002
/* A certificate more than this above the table or rule draws a warning, … */
#define FSP_ROPE_OVER 1.03
/* … and from here on it is refused: a test break, another rope or another unit (house figure). */
#define FSP_ROPE_REFUSED 1.10

/* One row of the table. Strengths in newtons for IPS, EIPS, EEIPS. */
struct fsp_rope_size {
    const char *name; /* "1-3/8" */
    double diameter_m;
    double linear_nm;
    double strength_n[3];
};

enum fsp_rope_source {
    FSP_ROPE_TABLE,
    FSP_ROPE_RULE,
    FSP_ROPE_CERTIFICATE,
};

struct fsp_rope {
    double diameter_m; /* as given */
    double strength_n;
    double listed_n;  /* by table or rule; 0 when neither knows this rope */
    double linear_nm; /* 0 when the table does not know it */
    enum fsp_rope_source source;
    const struct fsp_rope_size *size; /* the table row matched, else NULL */
    bool over_listed;                 /* certificate more than 3 % above table or rule */
    bool matched_metric; /* not the table's diameter exactly: say which size it was taken for */
};

/* i-th size, NULL past the end. Static. */
const struct fsp_rope_size *fsp_rope_size_at(size_t i);
/* The size within FSP_ROPE_MATCH_M, else NULL. */
const struct fsp_rope_size *fsp_rope_size_find(double diameter_m);

/* Strength and weight. grade: IPS, EIPS (XIP), EEIPS (XXIP), or a wire grade in N/mm2 such as
 * 1960, which is always judged by the rule. certificate_n 0: none. grade may be NULL when there is
 * a certificate. */
enum fsp_rc fsp_rope_find(double diameter_m, const char *grade, double certificate_n,
        struct fsp_rope *out, struct fsp_err *err) FSP_MUST_CHECK;

/* Refuse a certificate FSP_ROPE_REFUSED or more of what table or rule say of the grade. A record
 * already in the log is folded all the same, with a warning. */
enum fsp_rc fsp_rope_check_certificate(
        const struct fsp_rope *rope, struct fsp_err *err) FSP_MUST_CHECK;

#endif
