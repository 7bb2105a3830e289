/*
 * From what a person typed to canonical bytes: form, fields, units, sizes, times.
 *
 * One clear message per fault: field, what was found, what is allowed. Callers add file and line.
 * Rules that need the log's history (duplicates of identity, entry names, missing defaults) belong
 * to the journal and the ledger.
 *
 * Ownership: out records are the caller's to free.
 * Threads: pure; the context is only read.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_ENOMEM.
 */
#ifndef FSP_RECORD_CHECK_H
#define FSP_RECORD_CHECK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "record/record.h"

/* What a check needs to know of its surroundings. */
struct fsp_check_context {
    const int *zone_minutes; /* the rig's zone, NULL when unknown */
    int64_t present_s;       /* best-known present; a time more than 24 h after it is refused */
    /* Name an entry of this log by its number; FSP_ENOTFOUND when there is none. NULL: typed
     * numbers are refused, only whole {log,index,leaf} objects are taken. out holds the JSON text
     * of the object, at most 512 bytes with NUL. */
    enum fsp_rc (*entry_name)(void *ctx, uint64_t index, char *out, struct fsp_err *err);
    void *ctx;
};

/* One typed member. `value` is text as typed, before any conversion. */
struct fsp_typed {
    const char *name;
    const char *value;
};

/* Build a checked record from typed members (enter, CSV). Empty values are "not given".
 * `kind` may be NULL when a member named kind is present. `v` is added. */
enum fsp_rc fsp_check_typed(const char *kind, const struct fsp_typed *members, size_t n,
        const struct fsp_check_context *context, struct fsp_record **out,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Build a checked record from one JSON object as text (JSON lines). `v` is added when absent;
 * values may be JSON strings or, for counts, integers. */
enum fsp_rc fsp_check_json(const char *text, size_t len,
        const struct fsp_check_context *context, struct fsp_record **out,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Check a stored record's form (known kind, fields, types; canonical bytes when `bytes` given).
 * Used by check and by the office's reader; a failure there flags, never drops. */
enum fsp_rc fsp_check_stored(const uint8_t *bytes, size_t len, struct fsp_record **out,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
