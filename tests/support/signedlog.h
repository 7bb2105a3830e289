/*
 * A log in which persons sign, made from fixed seeds: a roster in an instruction, signed and unsigned
 * inspections, countersignatures, amendments; every head signed by the rig and cosigned by the
 * office. Written out as pairs and registers.
 *
 * Ownership: make/free. Failures end the test.
 */
#ifndef FSP_TESTS_SUPPORT_SIGNEDLOG_H
#define FSP_TESTS_SUPPORT_SIGNEDLOG_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "proof/key.h"
#include "proof/tree.h"
#include "support/evidence.h"

#define SIGNEDLOG_MAX 64

struct signedlog {
    struct fsp_skey *log;
    struct fsp_skey *office;
    struct fsp_skey *instructions;
    struct fsp_skey *ada; /* may inspect */
    struct fsp_skey *ben; /* may countersign */
    struct fsp_skey *eve; /* on no roster */
    struct fsp_buf roster;
    struct fsp_buf entry[SIGNEDLOG_MAX];
    uint8_t leaf[SIGNEDLOG_MAX][FSP_HASH_LEN];
    struct fsp_range range[SIGNEDLOG_MAX + 1];
    struct fsp_buf head[SIGNEDLOG_MAX + 1];
    uint64_t head_s; /* when the office cosigns */
    size_t n;
};

void signedlog_make(struct signedlog *log);
void signedlog_free(struct signedlog *log);

/* Sign and cosign the head of the first `size` entries again, by range[size]. */
void signedlog_sign(struct signedlog *log, size_t size);

/* Append the canonical bytes of this JSON; its number. */
size_t signedlog_put(struct signedlog *log, const char *json);
/* An inspection at a time; key NULL: unsigned; else signed by it as `inspector`. */
size_t signedlog_inspect(struct signedlog *log, const struct fsp_skey *key,
        const char *inspector, const char *at);
/* The same with its signature's first byte altered. */
size_t signedlog_inspect_badly(struct signedlog *log);
size_t signedlog_countersign(
        struct signedlog *log, const struct fsp_skey *key, const char *signer, size_t entry);
size_t signedlog_amend(struct signedlog *log, size_t entry, bool voids);
/* The roster so far (`more` lines behind ada's and ben's, or ""), signed, as entry of the log. */
size_t signedlog_roster(struct signedlog *log, unsigned version, const char *more);

/* Files into a folder. */
void signedlog_save_pair(const struct signedlog *log, const char *folder, size_t index);
void signedlog_register(const struct signedlog *log, size_t from, size_t to, uint64_t held_back,
        struct fsp_buf *buf);
void signedlog_save(const char *folder, const char *name, const struct fsp_buf *buf);
/* Policy, and with the roster also roster.note and instructions.vkey. */
void signedlog_save_trust(const struct signedlog *log, const char *folder, bool roster);

#endif
