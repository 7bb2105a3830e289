/*
 * A server's TLS key, and the smallest certificate that carries it.
 *
 * A rig knows the key by its pin, never by the certificate, so the certificate says nothing: X.509
 * version 1, self-signed, valid from 2020 to 9999-12-31T23:59:59Z (RFC 5280, 4.1.2.5: no good date
 * of expiry). It may be issued again at any time; the pin stays as long as the key does.
 *
 * Ownership: PEM texts go into the caller's buffers, born with FSP_CERT_PEM_MAX; a key's text is
 * secret, the caller wipes it. What is passed in is NUL-terminated PEM.
 * Threads: any.
 * Errors: FSP_EFORMAT for PEM that is none or of another kind of key; FSP_EVERIFY; FSP_ENOMEM.
 * Source: RFC 5280 (certificate), RFC 5480 (P-256 key), RFC 7469 section 2.4 (what a pin covers).
 */
#ifndef FSP_WEB_CERT_H
#define FSP_WEB_CERT_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"

#define FSP_CERT_PEM_MAX ((size_t)4096)
#define FSP_CERT_PIN_LEN 32 /* SHA-256 of the SubjectPublicKeyInfo */

/* A new P-256 key, appended as PKCS#8 PEM. */
enum fsp_rc fsp_cert_key_new(struct fsp_buf *pem, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_cert_pin(
        uint8_t pin[FSP_CERT_PIN_LEN], const char *key_pem, struct fsp_err *err) FSP_MUST_CHECK;
/* A certificate over the key, appended as PEM. */
enum fsp_rc fsp_cert_issue(
        struct fsp_buf *pem, const char *key_pem, struct fsp_err *err) FSP_MUST_CHECK;
/* FSP_EVERIFY when the certificate is another key's. */
enum fsp_rc fsp_cert_belongs(
        const char *cert_pem, const char *key_pem, struct fsp_err *err) FSP_MUST_CHECK;

#endif
