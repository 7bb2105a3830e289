#include "web/cert.h"

#include <gnutls/gnutls.h>
#include <gnutls/x509.h>
#include <string.h>

/* 2020-01-01T00:00:00Z and 9999-12-31T23:59:59Z. */
#define VALID_FROM ((time_t)1577836800)
#define VALID_TO   ((time_t)253402300799)
#define SUBJECT    "CN=farspool"

static enum fsp_rc
failed(struct fsp_err *err, enum fsp_rc rc, const char *what, int code)
{
    if (code == GNUTLS_E_MEMORY_ERROR)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    return fsp_err_set(err, rc, "%s: %s", what, gnutls_strerror(code));
}

/* The library takes texts without const, and only reads them. FSP_ELIMIT for a long one. */
static enum fsp_rc
borrow(gnutls_datum_t *datum, const char *pem, struct fsp_err *err)
{
    const union {
        const char *text;
        unsigned char *bytes;
    } both = {.text = pem};
    size_t len = strlen(pem);

    if (len > FSP_CERT_PEM_MAX)
        return fsp_err_set(err, FSP_ELIMIT,
                "the file of a TLS key or certificate has at most %zu bytes", FSP_CERT_PEM_MAX);
    datum->data = both.bytes;
    datum->size = (unsigned)len;
    return FSP_OK;
}

/* Move a datum of the library into a buffer; wiped, for it may be a key. */
static void
move(struct fsp_buf *pem, gnutls_datum_t *datum)
{
    if (datum->data == NULL)
        return;
    /* One block, so that one wipe by the caller is enough. */
    if (fsp_buf_room(pem, FSP_CERT_PEM_MAX - pem->len - 1) != NULL)
        fsp_buf_add(pem, datum->data, datum->size);
    gnutls_memset(datum->data, 0, datum->size);
    gnutls_free(datum->data);
    datum->data = NULL;
}

static enum fsp_rc
read_key(gnutls_x509_privkey_t *key, const char *pem, struct fsp_err *err)
{
    gnutls_datum_t text = {NULL, 0};
    gnutls_ecc_curve_t curve = GNUTLS_ECC_CURVE_INVALID;
    int code;
    enum fsp_rc rc = borrow(&text, pem, err);

    *key = NULL;
    if (rc != FSP_OK)
        return rc;
    code = gnutls_x509_privkey_init(key);
    if (code < 0)
        return failed(err, FSP_ENOMEM, "TLS key", code);
    code = gnutls_x509_privkey_import2(*key, &text, GNUTLS_X509_FMT_PEM, NULL, 0);
    if (code < 0)
        return failed(err, FSP_EFORMAT, "no TLS key", code);
    code = gnutls_x509_privkey_export_ecc_raw(*key, &curve, NULL, NULL, NULL);
    if (code < 0 || curve != GNUTLS_ECC_CURVE_SECP256R1)
        return fsp_err_set(err, FSP_EFORMAT, "the TLS key is not one on the curve P-256");
    return FSP_OK;
}

enum fsp_rc
fsp_cert_key_new(struct fsp_buf *pem, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    gnutls_x509_privkey_t key = NULL;
    gnutls_datum_t text = {NULL, 0};
    int code = gnutls_x509_privkey_init(&key);

    if (code >= 0)
        code = gnutls_x509_privkey_generate(
                key, GNUTLS_PK_ECDSA, GNUTLS_CURVE_TO_BITS(GNUTLS_ECC_CURVE_SECP256R1), 0);
    if (code >= 0)
        code = gnutls_x509_privkey_export2_pkcs8(
                key, GNUTLS_X509_FMT_PEM, NULL, GNUTLS_PKCS_PLAIN, &text);
    if (code < 0)
        rc = failed(err, FSP_EIO, "cannot make a TLS key", code);
    else
        move(pem, &text);
    gnutls_x509_privkey_deinit(key);
    return rc == FSP_OK ? fsp_buf_check(pem, "TLS key", err) : rc;
}

enum fsp_rc
fsp_cert_pin(uint8_t pin[FSP_CERT_PIN_LEN], const char *key_pem, struct fsp_err *err)
{
    gnutls_x509_privkey_t key = NULL;
    size_t len = FSP_CERT_PIN_LEN;
    enum fsp_rc rc = read_key(&key, key_pem, err);

    memset(pin, 0, FSP_CERT_PIN_LEN);
    if (rc == FSP_OK) {
        int code = gnutls_x509_privkey_get_key_id(key, GNUTLS_KEYID_USE_SHA256, pin, &len);

        if (code < 0 || len != FSP_CERT_PIN_LEN)
            rc = failed(err, FSP_EIO, "the TLS key has no pin", code);
    }
    gnutls_x509_privkey_deinit(key);
    return rc;
}

enum fsp_rc
fsp_cert_issue(struct fsp_buf *pem, const char *key_pem, struct fsp_err *err)
{
    static const unsigned char serial[] = {1};
    gnutls_x509_privkey_t key = NULL;
    gnutls_x509_crt_t cert = NULL;
    gnutls_datum_t text = {NULL, 0};
    int code = 0;
    enum fsp_rc rc = read_key(&key, key_pem, err);

    if (rc != FSP_OK)
        goto out;
    code = gnutls_x509_crt_init(&cert);
    if (code >= 0)
        code = gnutls_x509_crt_set_version(cert, 1);
    if (code >= 0)
        code = gnutls_x509_crt_set_serial(cert, serial, sizeof(serial));
    if (code >= 0)
        code = gnutls_x509_crt_set_activation_time(cert, VALID_FROM);
    if (code >= 0)
        code = gnutls_x509_crt_set_expiration_time(cert, VALID_TO);
    if (code >= 0)
        code = gnutls_x509_crt_set_dn(cert, SUBJECT, NULL);
    if (code >= 0)
        code = gnutls_x509_crt_set_key(cert, key);
    if (code >= 0)
        code = gnutls_x509_crt_sign2(cert, cert, key, GNUTLS_DIG_SHA256, 0);
    if (code >= 0)
        code = gnutls_x509_crt_export2(cert, GNUTLS_X509_FMT_PEM, &text);
    if (code < 0)
        rc = failed(err, FSP_EIO, "cannot make a TLS certificate", code);
    else
        move(pem, &text);
out:
    if (cert != NULL)
        gnutls_x509_crt_deinit(cert);
    gnutls_x509_privkey_deinit(key);
    return rc == FSP_OK ? fsp_buf_check(pem, "TLS certificate", err) : rc;
}

enum fsp_rc
fsp_cert_belongs(const char *cert_pem, const char *key_pem, struct fsp_err *err)
{
    uint8_t pin[FSP_CERT_PIN_LEN];
    uint8_t other[FSP_CERT_PIN_LEN];
    gnutls_x509_crt_t cert = NULL;
    gnutls_datum_t text = {NULL, 0};
    size_t len = sizeof(other);
    int code;
    enum fsp_rc rc = fsp_cert_pin(pin, key_pem, err);

    if (rc == FSP_OK)
        rc = borrow(&text, cert_pem, err);
    if (rc != FSP_OK)
        return rc;
    code = gnutls_x509_crt_init(&cert);
    if (code < 0)
        return failed(err, FSP_ENOMEM, "TLS certificate", code);
    code = gnutls_x509_crt_import(cert, &text, GNUTLS_X509_FMT_PEM);
    if (code >= 0)
        code = gnutls_x509_crt_get_key_id(cert, GNUTLS_KEYID_USE_SHA256, other, &len);
    gnutls_x509_crt_deinit(cert);
    if (code < 0 || len != sizeof(other))
        return failed(err, FSP_EFORMAT, "no TLS certificate", code);
    if (memcmp(pin, other, sizeof(pin)) != 0)
        return fsp_err_set(err, FSP_EVERIFY, "the certificate is not of this TLS key");
    return FSP_OK;
}
