/*
 * Whose turn it is on the link: link.lock in the store, held by whoever signs and sends.
 *
 * A sender may have hours of backlog. Between two bundles it asks fsp_turn_wanted() and gives way, so
 * that whoever waits gets its turn after one bundle. Who waits holds link.next meanwhile: one after
 * the other, and gone with its process.
 *
 * Ownership: the descriptor is the caller's, closed by fsp_file_unlock().
 * Units: milliseconds.
 * Threads: any; a lock belongs to its descriptor.
 * Errors: FSP_EBUSY when the time is over, FSP_EIO, FSP_ENOMEM.
 */
#ifndef FSP_RIG_TURN_H
#define FSP_RIG_TURN_H

#include <stdbool.h>

#include "base/err.h"

/* Most a bundle takes on a link that is down: connecting, and bytes that stop (rig/link.h). */
#define FSP_TURN_WAIT_S 90

/* Take the turn, waiting at most so long; 0: at once or not at all. *fd is -1 on failure. */
enum fsp_rc fsp_turn_take(
        const char *folder, unsigned wait_ms, int *fd, struct fsp_err *err) FSP_MUST_CHECK;

/* Somebody waits for the turn. */
bool fsp_turn_wanted(const char *folder);

/* Let who waits have the turn, and take it again after them. *fd as from fsp_turn_take(). */
enum fsp_rc fsp_turn_give(const char *folder, int *fd, struct fsp_err *err) FSP_MUST_CHECK;

#endif
