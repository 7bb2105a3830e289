/*
 * A register: the entries of a log between two heads, complete, as one file that is read line by
 * line. It proves that nothing between the heads is missing, altered or in another order; an entry
 * that is held back stands there as its leaf hash and is seen to be held back.
 *
 *     farspool-register/v1
 *     origin <origin>
 *     from <n>                            entries below it are not here
 *     range <base64>                      compact range of the first n entries; left out when n = 0
 *     head <bytes> LF <signed head of n>  left out when n = 0
 *     to <m>
 *     head <bytes> LF <signed head of m>
 *     entry <bytes of an entry>           n .. m - 1 in order, one line each,
 *     leaf <base64 of its leaf hash>      or this where it is held back
 *     end
 *
 * A register from 0 is a whole log. Used for an auditor (farspool-audit verify) and for what the
 * office hands back to a rig.
 *
 * Ownership: readers and writers are the caller's; visited bytes are borrowed for the call.
 * Units: bytes, entries. Memory: one line, whatever the log's size.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_EVERIFY (the heads and the entries do not agree).
 */
#ifndef FSP_PROOF_REGISTER_H
#define FSP_PROOF_REGISTER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "base/limits.h"
#include "proof/note.h"
#include "proof/tree.h"

/* What stands before the first entry. */
struct fsp_register_top {
    char origin[FSP_ORIGIN_MAX + 1];
    struct fsp_range range; /* of the first range.size entries */
    uint64_t to;
    const char *from_head; /* NULL when range.size is 0 */
    size_t from_head_len;
    const char *to_head;
    size_t to_head_len;
};

void fsp_register_write_top(const struct fsp_register_top *top, struct fsp_buf *buf);
void fsp_register_write_entry(const void *entry, size_t len, struct fsp_buf *buf);
void fsp_register_write_held_back(const uint8_t leaf[FSP_HASH_LEN], struct fsp_buf *buf);
void fsp_register_write_end(struct fsp_buf *buf);

/* Bytes come in pieces of any size. */
struct fsp_register; /* opaque */
struct fsp_register_hooks {
    /* The top was read and the heads' forms hold and agree with range and sizes; the caller judges
     * the signatures (evidence.h). Returning anything but FSP_OK ends the reading with it. */
    enum fsp_rc (*top)(void *ctx, const struct fsp_register_top *top, struct fsp_err *err);
    /* bytes NULL: held back. */
    enum fsp_rc (*entry)(void *ctx, uint64_t index, const uint8_t *bytes, size_t len,
            const uint8_t leaf[FSP_HASH_LEN], struct fsp_err *err);
    void *ctx;
};
enum fsp_rc fsp_register_new(struct fsp_register **out, const struct fsp_register_hooks *hooks,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_register_feed(struct fsp_register *reg, const void *bytes, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
/* All bytes came: the `end` line was there, nothing after it, and the root is that of `to`'s head.
 * Only after FSP_OK here is anything proved. *held_back (may be NULL) counts those. */
enum fsp_rc fsp_register_finish(
        struct fsp_register *reg, uint64_t *held_back, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_register_free(struct fsp_register *reg);

#endif
