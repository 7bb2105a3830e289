/*
 * Bytes bent at random from a seed: what a forger or a bad disk might do to a file.
 *
 * Ownership: the buffers are the caller's.
 */
#ifndef FSP_TESTS_SUPPORT_MUTATE_H
#define FSP_TESTS_SUPPORT_MUTATE_H

#include <stddef.h>

#include "base/buf.h"
#include "support/evidence.h"

/* 0 to n - 1; 0 for n 0. */
size_t mutate_below(struct seeded *seeded, size_t n);
/* out = in with one to three changes: a bit, a byte of some use to a forger, a cut, a piece left
 * out, repeated or copied elsewhere. in is not empty; spare is used on the way. */
void mutate(struct fsp_buf *out, struct fsp_buf *spare, const struct fsp_buf *in,
        struct seeded *seeded);

#endif
