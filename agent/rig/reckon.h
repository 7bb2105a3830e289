/*
 * `reckon WHAT field=value…`: the trade's arithmetic without a store.
 *
 * Fields are those of the records, typed the same way; a default taken is named in `assumed`. One
 * JSON object, or text that shows the formula with its numbers.
 *
 * Ownership: members are borrowed for the call.
 * Units: as typed; results say theirs in their names.
 * Threads: pure.
 * Errors: FSP_EINVAL, FSP_EFORMAT; the text names field, what was found and what is allowed. out
 * is left as it was.
 */
#ifndef FSP_RIG_RECKON_H
#define FSP_RIG_RECKON_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"
#include "record/check.h"

/* i-th thing that can be reckoned, NULL past the end; its fields, required ones first, those that
 * may be left out in brackets. Static. */
const char *fsp_reckon_what(size_t i);
const char *fsp_reckon_fields(const char *what);

enum fsp_rc fsp_reckon_run(const char *what, const struct fsp_typed *members, size_t n,
        bool json, struct fsp_buf *out, struct fsp_err *err) FSP_MUST_CHECK;

#endif
