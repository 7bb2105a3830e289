/*
 * Show a file of evidence, whatever its bytes, without harm to the terminal. Nothing is verified.
 */
#ifndef FSP_AUDIT_SHOW_H
#define FSP_AUDIT_SHOW_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"

#define FSP_SHOW_MAX ((size_t)1024 * 1024) /* bytes of a file that show reads */

/* Append what the bytes are (record, proof, policy, roster, instruction, head, register, request,
 * key or none of these), what they say, and the bytes line by line, made safe. Of a file with a
 * secret key only the public half is told. */
void fsp_show(struct fsp_buf *buf, const uint8_t *bytes, size_t len);

#endif
