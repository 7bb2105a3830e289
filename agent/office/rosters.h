/*
 * The office's rosters: who may inspect and countersign, version after version, and that every rig
 * gets the newest.
 *
 * A shelf that went back learns the versions it lost from the rigs' logs, so that no version is
 * given twice.
 *
 * Ownership: a roster read is the caller's (fsp_roster_free).
 * Units: seconds since 1970.
 * Errors: FSP_ENOTFOUND (there is no roster yet), FSP_EINVAL, those of the shelf.
 */
#ifndef FSP_OFFICE_ROSTERS_H
#define FSP_OFFICE_ROSTERS_H

#include <stddef.h>

#include "base/clock.h"
#include "base/err.h"
#include "office/keys.h"
#include "office/shelf.h"
#include "proof/roster.h"

/* The newest of the shelf and of the rigs' logs, verified. FSP_ENOTFOUND. */
enum fsp_rc fsp_rosters_newest(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        struct fsp_roster **out, struct fsp_err *err) FSP_MUST_CHECK;

/* W, inside a write transaction: sign it with `signer` (NULL: the instructions key) as the version
 * behind the newest, keep it and queue it for every rig. Its version and time are set. */
enum fsp_rc fsp_rosters_issue(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_env *env, struct fsp_roster *roster, const struct fsp_skey *signer,
        struct fsp_err *err) FSP_MUST_CHECK;

/* W, inside a write transaction: the newest for one rig. Does nothing when there is none. */
enum fsp_rc fsp_rosters_send(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_env *env, const char *rig, struct fsp_err *err) FSP_MUST_CHECK;

#endif
