/*
 * The hand-back: everything held of one rig, as the file that wire/handback.h describes, for the rig
 * that lost it.
 *
 * Ownership: out is the caller's, born with FSP_HANDBACK_MAX; shelf and keys are borrowed.
 * Threads: as the shelf.
 * Errors: FSP_ENOTFOUND when nothing is held of such a rig; those of the shelf.
 */
#ifndef FSP_OFFICE_HAND_BACK_H
#define FSP_OFFICE_HAND_BACK_H

#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"
#include "office/keys.h"
#include "office/shelf.h"

/* Appended to out; *logs says how many it holds. Reads one moment of the shelf. */
enum fsp_rc fsp_hand_back(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const char *rig, struct fsp_buf *out, size_t *logs, struct fsp_err *err) FSP_MUST_CHECK;

#endif
