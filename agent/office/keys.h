/*
 * The office's keys, as files under STORE/keys: made once, loaded by every command that signs.
 *
 *   office.key        <fleet>/office, type 0x04: cosignatures and nothing else
 *   instructions.key  <fleet>/instructions, type 0x01: invitations, answers, instructions
 *   box.key, box-*.key  what bundles are sealed for; older ones stay, so that bundles on their way
 *                     can still be opened
 *
 * Ownership: init/fini; secrets are wiped by fini.
 * Threads: read-only after load.
 * Errors: FSP_EINVAL (keys are there already), FSP_EFORMAT, FSP_ENOTFOUND, FSP_EIO, FSP_ENOMEM.
 */
#ifndef FSP_OFFICE_KEYS_H
#define FSP_OFFICE_KEYS_H

#include <stddef.h>

#include "base/clock.h"
#include "base/err.h"
#include "proof/key.h"
#include "wire/bundle.h"

#define FSP_BOX_KEYS_MAX 16

struct fsp_office_keys {
    struct fsp_skey *cosigner;
    struct fsp_skey *instructions;
    struct fsp_box_key box[FSP_BOX_KEYS_MAX]; /* [0] is the one invitations name */
    size_t n_box;
};

/* New keys, in memory. */
enum fsp_rc fsp_office_keys_make(struct fsp_office_keys *keys, const char *fleet,
        const struct fsp_env *env, struct fsp_err *err) FSP_MUST_CHECK;
/* Write them to STORE/keys (made, 0700; files 0600); never replaces one. */
enum fsp_rc fsp_office_keys_save(const struct fsp_office_keys *keys, const char *store,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_office_keys_load(
        struct fsp_office_keys *keys, const char *store, struct fsp_err *err) FSP_MUST_CHECK;
/* Wipe and empty; accepts a zeroed struct. */
void fsp_office_keys_fini(struct fsp_office_keys *keys);

#endif
