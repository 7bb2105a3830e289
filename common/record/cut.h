/*
 * Top-level members cut out of a record's canonical bytes: what a person's signature covers.
 *
 * The bytes that stay are those that came in, never encoded again. For `noted` and `sig` the
 * result is the same as that of jq -cS 'del(.noted,.sig)'.
 *
 * Ownership: nothing is kept; the result is appended to the caller's buffer, which stays as it was
 * on failure.
 * Threads: pure.
 * Errors: FSP_EFORMAT for bytes that are not the canonical JSON (RFC 8785) of one object,
 * FSP_ELIMIT above FSP_ENTRY_MAX or the buffer's maximum, FSP_ENOMEM.
 */
#ifndef FSP_RECORD_CUT_H
#define FSP_RECORD_CUT_H

#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"

/* names: n of them; one that is not there is no fault. */
enum fsp_rc fsp_record_cut(const void *bytes, size_t len, const char *const *names, size_t n,
        struct fsp_buf *out, struct fsp_err *err) FSP_MUST_CHECK;

#endif
