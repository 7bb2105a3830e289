/*
 * The public half of the office's keys, for those who only prove and show: the secret seeds behind
 * them in the same files are not read.
 *
 * Ownership: a value.
 * Errors: FSP_ENOTFOUND (no keys here), FSP_EFORMAT, FSP_ELIMIT, FSP_EIO.
 */
#ifndef FSP_OFFICE_PUBLIC_H
#define FSP_OFFICE_PUBLIC_H

#include <stddef.h>

#include "base/err.h"
#include "proof/attest.h"
#include "proof/key.h"

struct fsp_office_public {
    struct fsp_vkey
            cosigner[FSP_ATTEST_KEYS_MAX]; /* today's first, then the older, newest first */
    size_t cosigners;
    struct fsp_vkey instructions[FSP_ATTEST_KEYS_MAX];
    size_t n_instructions;
};

enum fsp_rc fsp_office_public_load(
        struct fsp_office_public *keys, const char *store, struct fsp_err *err) FSP_MUST_CHECK;

#endif
