#include "line/rope.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

#include "record/quantity.h"

/* Bounds of what is believed to be a drilling line at all (house figures). */
#define LEAST_M     0.010
#define MOST_M      0.100
#define MOST_N      2.0e7
#define LEAST_GRADE 1370
#define MOST_GRADE  2400

#define ROW(name, inches, lb_ft, ips, eips, eeips)                                             \
    {                                                                                          \
        name, (inches)*FSP_IN_M, (lb_ft)*FSP_LBF_FT_NM,                                        \
        {                                                                                      \
            (ips) * FSP_LBF_N, (eips)*FSP_LBF_N, (eeips)*FSP_LBF_N                             \
        }                                                                                      \
    }

/* 6x19 class, IWRC, lb (API Spec 9A / ASTM A1023): from memory, verify against your copy. The cell
 * 1-3/8 EIPS is printed in API RP 9B, 14th edition, addendum 1. */
static const struct fsp_rope_size sizes[] = {
        ROW("7/8", 0.875, 1.42, 69200, 79600, 87600),
        ROW("1", 1.0, 1.85, 89800, 103400, 113800),
        ROW("1-1/8", 1.125, 2.34, 113000, 130000, 143000),
        ROW("1-1/4", 1.25, 2.89, 138800, 159800, 175800),
        ROW("1-3/8", 1.375, 3.50, 167000, 192000, 212000),
        ROW("1-1/2", 1.5, 4.16, 197800, 228000, 250000),
        ROW("1-5/8", 1.625, 4.88, 230000, 264000, 292000),
        ROW("1-3/4", 1.75, 5.67, 266000, 306000, 338000),
        ROW("1-7/8", 1.875, 6.50, 304000, 348000, 384000),
        ROW("2", 2.0, 7.39, 344000, 396000, 434000),
};

#define SIZES (sizeof(sizes) / sizeof(sizes[0]))

const struct fsp_rope_size *
fsp_rope_size_at(size_t i)
{
    return i < SIZES ? &sizes[i] : NULL;
}

const struct fsp_rope_size *
fsp_rope_size_find(double diameter_m)
{
    size_t i;

    for (i = 0; i < SIZES; i++) {
        if (fabs(sizes[i].diameter_m - diameter_m) <= FSP_ROPE_MATCH_M)
            return &sizes[i];
    }
    return NULL;
}

static bool
same_word(const char *text, const char *word)
{
    while (*text != 0 && toupper((unsigned char)*text) == *word) {
        text++;
        word++;
    }
    return *text == 0 && *word == 0;
}

/* 0 to 2 for a column of the table, 3 with *wire for a wire grade, -1 unknown. */
static int
read_grade(const char *grade, int *wire)
{
    static const struct {
        const char *word;
        int column;
    } words[] = {{"IPS", 0}, {"EIPS", 1}, {"XIP", 1}, {"EEIPS", 2}, {"XXIP", 2}};
    size_t i;
    int value = 0;

    for (i = 0; i < sizeof(words) / sizeof(words[0]); i++) {
        if (same_word(grade, words[i].word))
            return words[i].column;
    }
    for (i = 0; i < 4 && isdigit((unsigned char)grade[i]); i++)
        value = 10 * value + (grade[i] - '0');
    grade += i;
    if (*grade == ' ')
        grade++;
    if (i != 4 || value < LEAST_GRADE || value > MOST_GRADE)
        return -1;
    if (*grade != 0 && strcmp(grade, "N/mm2") != 0 && strcmp(grade, "MPa") != 0)
        return -1;
    *wire = value;
    return 3;
}

/* What table or rule say, 0 when they do not know. */
static double
listed(const struct fsp_rope *rope, int column, int wire)
{
    double mm = rope->diameter_m * 1000;

    if (column == 3)
        return 0.356 * mm * mm * wire;
    if (column >= 0 && rope->size != NULL)
        return rope->size->strength_n[column];
    return 0;
}

static enum fsp_rc
unknown(double diameter_m, const char *grade, int column, struct fsp_err *err)
{
    if (column < 0)
        return fsp_err_set(err, FSP_EINVAL,
                "grade: \"%.40s\" is not known; allowed: IPS, EIPS, EEIPS, a wire grade in "
                "N/mm2 "
                "such as 1960, or give the certificate's minimum breaking force as strength",
                grade == NULL ? "" : grade);
    return fsp_err_set(err, FSP_EINVAL,
            "rope: no table size within 0.2 mm of %.4g mm (%.4g in) for grade %.40s; sizes are "
            "7/8 to 2 in; for a metric rope give its wire grade (grade=1960) or the "
            "certificate's minimum breaking force as strength",
            diameter_m * 1000, diameter_m / FSP_IN_M, grade);
}

enum fsp_rc
fsp_rope_find(double diameter_m, const char *grade, double certificate_n, struct fsp_rope *out,
        struct fsp_err *err)
{
    int wire = 0;
    int column = grade == NULL || *grade == 0 ? -1 : read_grade(grade, &wire);

    memset(out, 0, sizeof(*out));
    if (!(diameter_m >= LEAST_M && diameter_m <= MOST_M))
        return fsp_err_set(err, FSP_EINVAL,
                "rope: %.4g mm is no drilling line; allowed: 10 mm to 100 mm",
                diameter_m * 1000);
    if (!(certificate_n >= 0 && certificate_n <= MOST_N))
        return fsp_err_set(err, FSP_EINVAL,
                "strength: %.4g kN is no breaking force; allowed: above 0, to 20,000 kN",
                certificate_n / 1000);
    out->diameter_m = diameter_m;
    if (column != 3)
        out->size = fsp_rope_size_find(diameter_m);
    out->matched_metric = out->size != NULL && fabs(out->size->diameter_m - diameter_m) > 1e-6;
    out->linear_nm = out->size == NULL ? 0 : out->size->linear_nm;
    out->listed_n = listed(out, column, wire);
    if (certificate_n > 0) {
        out->source = FSP_ROPE_CERTIFICATE;
        out->strength_n = certificate_n;
        out->over_listed = out->listed_n > 0 && certificate_n > out->listed_n * FSP_ROPE_OVER;
        return FSP_OK;
    }
    if (!(out->listed_n > 0))
        return unknown(diameter_m, grade, column, err);
    out->source = column == 3 ? FSP_ROPE_RULE : FSP_ROPE_TABLE;
    out->strength_n = out->listed_n;
    return FSP_OK;
}

enum fsp_rc
fsp_rope_check_certificate(const struct fsp_rope *rope, struct fsp_err *err)
{
    if (rope->source != FSP_ROPE_CERTIFICATE || !(rope->listed_n > 0) ||
            rope->strength_n < rope->listed_n * FSP_ROPE_REFUSED * (1 - 1e-9))
        return FSP_OK;
    return fsp_err_set(err, FSP_EINVAL,
            "strength: %.1f kN (%.0f lb) is %.0f %% above the %.1f kN (%.0f lb) of table or "
            "rule; allowed: less than 10 %% above, the certificate's minimum breaking force, "
            "never a test break",
            rope->strength_n / 1000, rope->strength_n / FSP_LBF_N,
            100 * (rope->strength_n / rope->listed_n - 1), rope->listed_n / 1000,
            rope->listed_n / FSP_LBF_N);
}
