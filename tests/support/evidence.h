/*
 * Evidence made from a seed, for the tests of the verifiers: a log of invented records, its head
 * signed by a rig's key and cosigned by witnesses.
 *
 * Ownership: init/fini; buffers and keys belong to the struct.
 */
#ifndef FSP_TESTS_SUPPORT_EVIDENCE_H
#define FSP_TESTS_SUPPORT_EVIDENCE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/clock.h"
#include "base/err.h"
#include "proof/evidence.h"
#include "proof/key.h"

#define EVIDENCE_ORIGIN        "lantern-basin/heron/5e1f3a90c2d47b86"
#define EVIDENCE_TIME_S        UINT64_C(1772352000) /* 2026-03-01T08:00:00Z */
#define EVIDENCE_WITNESSES_MAX 8

/* Bytes that count up from `next`: the first key's seed is 00 01 .. 1f, the second's 20 .. 3f. */
struct counting {
    uint8_t next;
};
struct fsp_env evidence_counting_env(struct counting *counting);

/* Pseudo-random bytes from a seed. */
struct seeded {
    uint64_t state;
};
struct fsp_env evidence_seeded_env(struct seeded *seeded);
uint64_t evidence_random(struct seeded *seeded);

struct evidence {
    struct fsp_buf record;
    struct fsp_buf proof;
    struct fsp_buf policy;
    struct fsp_buf note; /* the checkpoint with its signature lines */
    struct fsp_checkpoint head;
    struct fsp_skey *log;
    struct fsp_skey *witness[EVIDENCE_WITNESSES_MAX];
    size_t witnesses;
};

struct evidence_plan {
    const char *const *entries; /* NULL: invented records, an inspection at `index` */
    size_t size;
    size_t index;
    size_t witnesses; /* 1: "quorum office"; more: a group that needs all but one */
    uint64_t time_s;
};

void evidence_init(struct evidence *evidence);
enum fsp_rc evidence_make(struct evidence *evidence, const struct evidence_plan *plan,
        const struct fsp_env *env, struct fsp_err *err) FSP_MUST_CHECK;
void evidence_fini(struct evidence *evidence);
/* The worked example of docs/formats.md: three entries, entry 1 proved, keys from counted seeds. */
enum fsp_rc evidence_example(
        struct evidence *evidence, size_t *index, struct fsp_err *err) FSP_MUST_CHECK;

/* The invented record number i of a log (the inspection when asked for), appended. */
void evidence_record(struct fsp_buf *buf, size_t i, bool inspection);

#endif
