/*
 * What a reel may say of its rope, which its record alone cannot know: it is held against the
 * ropes' table.
 *
 * Units: none. Threads: pure. Errors: FSP_EINVAL, the text names field, value and allowed range.
 */
#ifndef FSP_RIG_REEL_H
#define FSP_RIG_REEL_H

#include <stdbool.h>

#include "base/err.h"
#include "record/record.h"

/* Refuse a reel whose rope has no strength that is known, whose certificate is 10 % or more above
 * table or rule, or that has more strung than received; any other record is right. */
enum fsp_rc fsp_reel_check(const struct fsp_record *record, struct fsp_err *err) FSP_MUST_CHECK;
/* By how much a reel's certificate is above table or rule, in per cent, when that is more than 3;
 * otherwise 0. */
double fsp_reel_above(const struct fsp_record *record);

#endif
