#include "rig/reel.h"

#include <string.h>

#include "line/rope.h"

static bool
is_reel(const struct fsp_record *record)
{
    const char *kind = fsp_record_text(record, "kind");

    return kind != NULL && strcmp(kind, "reel") == 0;
}

/* The rope of a reel, by its certificate where it gives one. */
static enum fsp_rc
find(const struct fsp_record *record, struct fsp_rope *rope, struct fsp_err *err)
{
    double diameter_m = 0, certificate_n = 0;

    (void)fsp_record_si(record, "rope", FSP_DIM_LENGTH, &diameter_m);
    if (!fsp_record_si(record, "strength", FSP_DIM_LOAD, &certificate_n))
        certificate_n = 0;
    return fsp_rope_find(
            diameter_m, fsp_record_text(record, "grade"), certificate_n, rope, err);
}

enum fsp_rc
fsp_reel_check(const struct fsp_record *record, struct fsp_err *err)
{
    double received_m = 0, strung_m = 0;
    struct fsp_rope rope;

    if (!is_reel(record))
        return FSP_OK;
    if (find(record, &rope, err) != FSP_OK)
        return fsp_err_wrap(
                err, FSP_EINVAL, "field rope: found '%s'", fsp_record_text(record, "rope"));
    if (fsp_rope_check_certificate(&rope, err) != FSP_OK)
        return fsp_err_wrap(err, FSP_EINVAL, "field strength: found '%s'",
                fsp_record_text(record, "strength"));
    if (fsp_record_si(record, "received", FSP_DIM_LENGTH, &received_m) &&
            fsp_record_si(record, "strung", FSP_DIM_LENGTH, &strung_m) && strung_m > received_m)
        return fsp_err_set(err, FSP_EINVAL,
                "field strung: found '%s'; allowed: at most what was received ('%s')",
                fsp_record_text(record, "strung"), fsp_record_text(record, "received"));
    return FSP_OK;
}

double
fsp_reel_above(const struct fsp_record *record)
{
    struct fsp_rope rope;

    return is_reel(record) && find(record, &rope, NULL) == FSP_OK && rope.over_listed
                   ? 100 * (rope.strength_n / rope.listed_n - 1)
                   : 0;
}
