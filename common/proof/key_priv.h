/*
 * What key.c and signer.c share of secret keys: their seed, and the check of a key file's mode.
 *
 * Ownership: seeds stand in the caller's locked memory.
 */
#ifndef FSP_PROOF_KEY_PRIV_H
#define FSP_PROOF_KEY_PRIV_H

#include <stddef.h>
#include <stdint.h>

#include "proof/key.h"

#define FSP_SEED_LEN ((size_t)32) /* RFC 8032's secret key */

/* A key from its seed, which stays the caller's. */
enum fsp_rc fsp_skey_from_seed(struct fsp_skey **out, const char *name, enum fsp_key_type type,
        const uint8_t seed[FSP_SEED_LEN], struct fsp_err *err) FSP_MUST_CHECK;
void fsp_skey_seed(const struct fsp_skey *skey, uint8_t seed[FSP_SEED_LEN]);
/* FSP_EIO with advice when group or others may read, write or run the file. */
enum fsp_rc fsp_key_file_check_mode(const char *path, struct fsp_err *err) FSP_MUST_CHECK;

#endif
