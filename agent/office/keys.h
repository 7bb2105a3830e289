/*
 * The office's keys, as files under STORE/keys, loaded by every command that signs.
 *
 *   office.key        <fleet>/office, type 0x04: cosignatures and nothing else
 *   instructions.key  <fleet>/instructions, type 0x01: invitations, answers, instructions
 *   box.key, box-*.key  what bundles are sealed for; older ones stay, so that bundles on their way
 *                     can still be opened
 *   office-N.key, instructions-N.key   those that were followed by others, N from 1
 *   next-WHAT.key     made to follow, but not yet in use
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
#include "proof/attest.h"
#include "proof/key.h"
#include "wire/bundle.h"

#define FSP_BOX_KEYS_MAX    16
#define FSP_KEYS_BEFORE_MAX (FSP_ATTEST_KEYS_MAX - 1) /* followed by others, of each kind */

struct fsp_office_keys {
    struct fsp_skey *cosigner;
    struct fsp_skey *instructions;
    /* Followed by others, oldest first: receipts bear their lines while a rig may know no other. */
    struct fsp_skey *cosigner_before[FSP_KEYS_BEFORE_MAX];
    size_t n_cosigner_before;
    struct fsp_skey *instructions_before[FSP_KEYS_BEFORE_MAX];
    size_t n_instructions_before;
    /* Every instructions key there was, oldest first, today's last: what any of them signed counts. */
    struct fsp_vkey instructions_ever[FSP_ATTEST_KEYS_MAX];
    size_t n_instructions_ever;
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
/* A key that is to follow; box: of the box key, skey is NULL then. */
enum fsp_office_key {
    FSP_OFFICE_COSIGNER,
    FSP_OFFICE_INSTRUCTIONS,
    FSP_OFFICE_BOX,
};
struct fsp_office_next {
    struct fsp_skey *skey;
    struct fsp_box_key box;
};
/* Made and kept on disk, or the one that an interrupted renewal made. FSP_ELIMIT when there were as
 * many as are kept. */
enum fsp_rc fsp_office_keys_next(const struct fsp_office_keys *keys, const char *store,
        enum fsp_office_key which, const struct fsp_env *env, struct fsp_office_next *next,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_office_next_fini(struct fsp_office_next *next);
/* Put it into use: the old one stays under its number. Done twice it does nothing. Load again. */
enum fsp_rc fsp_office_keys_change(
        const char *store, enum fsp_office_key which, struct fsp_err *err) FSP_MUST_CHECK;
/* "cosigner", "instructions", "box". Static. */
const char *fsp_office_key_text(enum fsp_office_key which);

/* Wipe and empty; accepts a zeroed struct. */
void fsp_office_keys_fini(struct fsp_office_keys *keys);

#endif
