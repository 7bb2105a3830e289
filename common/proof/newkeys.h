/*
 * What an instruction about keys says: the office's new keys, one "word value" line each.
 *
 *     cosigner <verifier key>        <fleet>/office, type 0x04: receipts bear its line from now on
 *     instructions <verifier key>    <fleet>/instructions, type 0x01: signs from now on
 *     box <base64>                   32 bytes: what bundles are sealed for from now on
 *     pin <base64>                   32 bytes, up to 4 lines: the TLS keys that count from now on
 *
 * The first three stand at most once; lines of other words are passed over; one of these is there.
 * Who signed it and whether that counts is instruction.h's matter.
 *
 * Ownership: a value without pointers.
 * Errors: FSP_EFORMAT, FSP_ELIMIT.
 */
#ifndef FSP_PROOF_NEWKEYS_H
#define FSP_PROOF_NEWKEYS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "proof/key.h"

#define FSP_NEW_PINS_MAX 4

struct fsp_new_keys {
    bool has_cosigner;
    struct fsp_vkey cosigner;
    bool has_instructions;
    struct fsp_vkey instructions;
    bool has_box;
    uint8_t box_pub[32];
    size_t n_pins;
    uint8_t pins[FSP_NEW_PINS_MAX][32];
};

enum fsp_rc fsp_new_keys_read(struct fsp_new_keys *out, const char *fleet, const char *body,
        size_t len, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_new_keys_write(const struct fsp_new_keys *keys, struct fsp_buf *buf);

#endif
