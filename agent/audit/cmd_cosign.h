/*
 * The command `cosign`: a witness's key, the logs that it cosigns, and a request.
 *
 * Ownership: what is to be printed goes into the caller's buffer.
 */
#ifndef FSP_AUDIT_CMD_COSIGN_H
#define FSP_AUDIT_CMD_COSIGN_H

#include "base/buf.h"
#include "base/err.h"
#include "cli/option.h"

enum fsp_rc fsp_cmd_cosign(
        const struct fsp_args *args, struct fsp_buf *said, struct fsp_err *err) FSP_MUST_CHECK;

#endif
