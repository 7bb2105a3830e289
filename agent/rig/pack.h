/*
 * Making one bundle: the entries the office lacks, as many as fit, under a new signed head.
 *
 * Ownership: struct fsp_packed is the caller's, init/fini; it may be packed again.
 * Units: payload is the deflated entries, in bytes; sizes count entries.
 * Threads: as the journal; the caller holds link.lock.
 * Errors: FSP_ENOTFOUND when nothing is above `old` (but see fsp_pack()); those of head.h and wire/bundle.h.
 */
#ifndef FSP_RIG_PACK_H
#define FSP_RIG_PACK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "proof/key.h"
#include "proof/note.h"
#include "rig/journal.h"

/* What a courier's bundle may carry: room is left for header and seal. */
#define FSP_PACK_PAYLOAD_MOST (FSP_BUNDLE_MAX - (size_t)4096)

struct fsp_packed {
    struct fsp_buf bundle; /* fsp_packed_init() .. fsp_packed_fini() */
    int64_t log;
    uint64_t old_size;
    uint64_t size;
    bool enrolment;
    uint8_t hash[32];           /* SHA-256 of it */
    struct fsp_checkpoint head; /* that it ends at, */
    uint8_t sig[FSP_SIG_LEN];   /* and the log's signature of it */
};

void fsp_packed_init(struct fsp_packed *packed);
void fsp_packed_fini(struct fsp_packed *packed);

/* What a bundle is to hold: entries old .. to - 1 (to UINT64_MAX: all), about `payload` bytes of them
 * and at least one. */
struct fsp_pack_want {
    const struct fsp_journal_log *log; /* NULL: the current one */
    uint64_t old;
    uint64_t to;
    size_t payload;
    bool enrol; /* carry the enrolment again: the office may not know this log any more */
    bool online; /* the answer comes at once: a short receipt will do, when the office knows it */
};

/* Seal it into packed. Online, with `old` the size of the current log, it is a poll: no entries, and the
 * head of that size, signed before. The head is durable when this returns FSP_OK. Until the first receipt, and
 * from entry 0, the bundle carries the enrolment anyway. A closed log needs no key (skey may be
 * NULL then): its bundle ends at a head that was signed when it was open. */
enum fsp_rc fsp_pack(struct fsp_journal *journal, const struct fsp_skey *skey,
        const struct fsp_pack_want *want, struct fsp_packed *packed,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
