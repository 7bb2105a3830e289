/*
 * The reserve: a file of the store that only holds room, so that on a full disk what waits can still be
 * signed, sent and receipted, and the office hears of it.
 *
 * It is given up when a sender finds the disk full, and made again when there is room enough.
 *
 * Ownership: folder is borrowed.
 * Units: bytes.
 * Threads: of one process at a time: the caller is about to send.
 * Errors: none: without a reserve everything goes on as it would.
 */
#ifndef FSP_RIG_RESERVE_H
#define FSP_RIG_RESERVE_H

#include <stdbool.h>
#include <stddef.h>

#define FSP_RESERVE_NAME  "reserve"
#define FSP_RESERVE_BYTES ((size_t)512 * 1024)
#define FSP_RESERVE_LEAST ((size_t)256 * 1024)      /* free bytes below which it is given up */
#define FSP_RESERVE_ROOM  ((size_t)4 * 1024 * 1024) /* free bytes above which it is made */

/* True when it was given up just now. */
bool fsp_reserve_tend(const char *folder);

#endif
