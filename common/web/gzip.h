/*
 * gzip for answers: pages, tables and our own assets. The other place that knows zlib is wire.
 *
 * Ownership: outputs are the caller's buffers, appended to within their maximum.
 * Threads: any.
 * Errors: FSP_ENOMEM; FSP_ELIMIT over the buffer's maximum; FSP_EFORMAT.
 * Source: RFC 1952 (gzip), RFC 1951 (deflate).
 */
#ifndef FSP_WEB_GZIP_H
#define FSP_WEB_GZIP_H

#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"

/* One gzip member, without name and time: the same bytes give the same bytes. */
enum fsp_rc fsp_gzip(
        struct fsp_buf *out, const void *bytes, size_t len, struct fsp_err *err) FSP_MUST_CHECK;
/* One whole gzip member back. */
enum fsp_rc fsp_gunzip(
        struct fsp_buf *out, const void *bytes, size_t len, struct fsp_err *err) FSP_MUST_CHECK;

#endif
