/*
 * The invitation: what the office hands a rig so that it can enrol and be answered.
 *
 * A note signed by the instructions key, whose text is "farspool-invitation/v1" LF and then
 * one "key value" line each: fleet, rig, url, cosigner (vkey), instructions (vkey), box (base64 of
 * the box public key), token (base64), dictionaries (highest known), and twice pin (base64 of the
 * SHA-256 of a TLS key's SubjectPublicKeyInfo: the key in use and its spare), which an https:// url
 * needs and any other invitation may have. Unknown lines are ignored. The
 * signature guards against typing and copying errors; trust comes from how the file was handed over.
 *
 * Ownership: a value without pointers.
 */
#ifndef FSP_WIRE_INVITATION_H
#define FSP_WIRE_INVITATION_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "base/limits.h"
#include "proof/key.h"
#include "wire/bundle.h"

#define FSP_PINS    2
#define FSP_PIN_LEN 32

struct fsp_invitation {
    char fleet[FSP_NAME_MAX + 1];
    char rig[FSP_NAME_MAX + 1];
    char url[FSP_URL_MAX + 1];    /* empty: courier only */
    struct fsp_vkey cosigner;     /* <fleet>/office, type 0x04 */
    struct fsp_vkey instructions; /* <fleet>/instructions, type 0x01 */
    uint8_t box_pub[32];
    uint8_t token[FSP_TOKEN_LEN];
    bool has_pins;
    uint8_t pins[FSP_PINS][FSP_PIN_LEN];
};

enum fsp_rc fsp_invitation_sign(struct fsp_buf *buf, const struct fsp_invitation *invitation,
        const struct fsp_skey *instructions, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_invitation_read(struct fsp_invitation *invitation, const void *bytes,
        size_t len, struct fsp_err *err) FSP_MUST_CHECK;

#endif
