#include "rig/reel.h"

#include <string.h>

#include "line/rope.h"

/* The rope of a reel that gives a certificate; false for every other record. */
static bool
find(const struct fsp_record *record, struct fsp_rope *rope)
{
    const char *kind = fsp_record_text(record, "kind");
    double diameter_m = 0, certificate_n = 0;

    return kind != NULL && strcmp(kind, "reel") == 0 &&
           fsp_record_si(record, "strength", FSP_DIM_LOAD, &certificate_n) &&
           fsp_record_si(record, "rope", FSP_DIM_LENGTH, &diameter_m) &&
           fsp_rope_find(diameter_m, fsp_record_text(record, "grade"), certificate_n, rope,
                   NULL) == FSP_OK;
}

enum fsp_rc
fsp_reel_check(const struct fsp_record *record, struct fsp_err *err)
{
    struct fsp_rope rope;

    if (!find(record, &rope) || fsp_rope_check_certificate(&rope, err) == FSP_OK)
        return FSP_OK;
    return fsp_err_wrap(
            err, FSP_EINVAL, "field strength: found '%s'", fsp_record_text(record, "strength"));
}

double
fsp_reel_above(const struct fsp_record *record)
{
    struct fsp_rope rope;

    return find(record, &rope) && rope.over_listed ? 100 * (rope.strength_n / rope.listed_n - 1)
                                                   : 0;
}
