/*
 * The office's TLS keys and certificate, as files under STORE/keys.
 *
 *   tls.key        the key that the listener uses (P-256, PKCS#8 PEM), 0600
 *   tls-spare.key  another, for the day the first is lost or seen by others, 0600
 *   tls.crt        a certificate over tls.key; says nothing, is made anew when it is not there or is
 *                  of another key
 *
 * Rigs know both keys by their pins, from the invitation. To change over to the spare key: rename
 * it to tls.key; the next command here makes a new spare, and every rig goes on without a word.
 *
 * Ownership: init by make or load, fini wipes.
 * Threads: read-only after load.
 * Errors: those of web/cert.h and base/file.h; FSP_EFORMAT for a key that others may read;
 * FSP_ENOTFOUND when this store has no TLS key.
 */
#ifndef FSP_OFFICE_TLS_H
#define FSP_OFFICE_TLS_H

#include <stdbool.h>

#include "base/buf.h"
#include "base/err.h"
#include "web/cert.h"

struct fsp_office_tls {
    struct fsp_buf key;                /* PEM, secret */
    struct fsp_buf cert;               /* PEM */
    uint8_t pins[2][FSP_CERT_PIN_LEN]; /* of the key and of the spare */
};

/* Make what is missing, load all. *made: keys were made. Never makes a key where a spare waits to be
 * renamed: that is a person's decision. STORE/keys must exist. */
enum fsp_rc fsp_office_tls_make(struct fsp_office_tls *tls, const char *store, bool *made,
        struct fsp_err *err) FSP_MUST_CHECK;
/* FSP_ENOTFOUND when neither key is there. A missing spare or certificate is made. */
enum fsp_rc fsp_office_tls_load(
        struct fsp_office_tls *tls, const char *store, struct fsp_err *err) FSP_MUST_CHECK;
/* Accepts a zeroed struct. */
void fsp_office_tls_fini(struct fsp_office_tls *tls);

#endif
