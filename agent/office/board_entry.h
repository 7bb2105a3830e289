/*
 * One entry of a rig's log as it is shown: its bytes, its leaf, the head that covers it, and what it
 * takes to prove it.
 *
 * Ownership: load/free. The shelf is borrowed for the call.
 * Units: entries; seconds since 1970.
 * Threads: one shelf, one thread.
 * Errors: the shelf's; FSP_ENOTFOUND (no such log or entry; for a proof: no head covers it yet).
 */
#ifndef FSP_OFFICE_BOARD_ENTRY_H
#define FSP_OFFICE_BOARD_ENTRY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "office/fleet.h"
#include "office/shelf.h"
#include "record/record.h"

#define FSP_ENTRY_COSIGNERS 8 /* shown of a head */

struct fsp_board_entry {
    uint32_t log; /* place in the chain */
    uint64_t index;
    struct fsp_buf bytes;
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_record *record; /* NULL: cannot be read */
    bool covered;              /* by a head: */
    uint64_t head_size;
    uint8_t head_root[FSP_HASH_LEN];
    struct fsp_buf note; /* as kept, with every cosignature */
    struct {
        char name[FSP_ORIGIN_MAX + 1];
        int64_t at_s;
    } cosigned[FSP_ENTRY_COSIGNERS]; /* as the lines say; nothing is verified here */
    size_t n_cosigned;
};

/* In one read transaction of its own. */
enum fsp_rc fsp_board_entry_load(struct fsp_shelf *shelf, const struct fsp_fleet_rig *rig,
        const uint64_t log_index[2], struct fsp_board_entry **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_board_entry_free(struct fsp_board_entry *entry);
/* Append its proof (tlog-proof) under the earliest head that covers it. */
enum fsp_rc fsp_board_entry_prove(struct fsp_shelf *shelf, const struct fsp_fleet_rig *rig,
        const struct fsp_board_entry *entry, struct fsp_buf *out,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
