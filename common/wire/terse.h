/*
 * Terse lines: what a bundle's entries become before deflate, since times, depths and counts follow
 * each other and most members repeat. docs/formats.md, section 23, says every rule; any bytes without
 * a line break come back bit for bit.
 *
 * Writer and reader keep the same state: the forms seen (sort and members of an entry) and the last
 * value of each member. They begin with the state after a preset, the dictionary's lines.
 *
 * Ownership: new/free. Entries and lines are borrowed for the call; output is appended to the
 * caller's buffer, whose maximum is the cap (a short line may stand for a long entry).
 * Units: bytes, without the LF that ends a line.
 * Threads: one state, one thread.
 * Errors: FSP_EFORMAT (no such line), FSP_ENOMEM. After a failure the state is of no use.
 */
#ifndef FSP_WIRE_TERSE_H
#define FSP_WIRE_TERSE_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"

struct fsp_terse;

/* preset: whole lines with their LF, ours; may be of length 0. */
enum fsp_rc fsp_terse_new(const uint8_t *preset, size_t len, struct fsp_terse **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_terse_free(struct fsp_terse *terse);

/* Append the line of an entry (1 byte or more, no LF in it) and an LF. The buffer's own failure is
 * the caller's to check. */
void fsp_terse_write(
        struct fsp_terse *terse, const uint8_t *entry, size_t len, struct fsp_buf *out);
/* Append the entry of a line and an LF. */
enum fsp_rc fsp_terse_read(struct fsp_terse *terse, const uint8_t *line, size_t len,
        struct fsp_buf *out, struct fsp_err *err) FSP_MUST_CHECK;

#endif
