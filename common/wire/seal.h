/*
 * Deflate with a preset dictionary, and libsodium's sealed box.
 *
 * Source: RFC 1951 (raw deflate, no wrapper); sealed boxes as in libsodium's crypto_box_seal
 * (X25519, XSalsa20-Poly1305).
 *
 * Ownership: outputs are appended to the caller's buffers.
 * Errors: FSP_EFORMAT (does not inflate, does not open), FSP_ELIMIT (over the buffer's maximum),
 * FSP_EINVAL (no dictionary of that version), FSP_ENOMEM.
 */
#ifndef FSP_WIRE_SEAL_H
#define FSP_WIRE_SEAL_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"

#define FSP_SEAL_OVERHEAD 48 /* crypto_box_SEALBYTES */

enum fsp_rc fsp_deflate(struct fsp_buf *out, unsigned dictionary, const uint8_t *bytes,
        size_t len, struct fsp_err *err) FSP_MUST_CHECK;
/* All of bytes must be one whole stream: a cut or longer one is refused. The cap is out->max. */
enum fsp_rc fsp_inflate(struct fsp_buf *out, unsigned dictionary, const uint8_t *bytes,
        size_t len, struct fsp_err *err) FSP_MUST_CHECK;

enum fsp_rc fsp_seal(struct fsp_buf *out, const uint8_t *bytes, size_t len,
        const uint8_t box_pub[32], struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_unseal(struct fsp_buf *out, const uint8_t *bytes, size_t len,
        const uint8_t box_pub[32], const uint8_t box_secret[32],
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
