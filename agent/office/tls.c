#include "office/tls.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/file.h"

#define KEY   "keys/tls.key"
#define SPARE "keys/tls-spare.key"
#define CERT  "keys/tls.crt"

/* The three paths. */
struct places {
    char *key;
    char *spare;
    char *cert;
};

static enum fsp_rc
places_init(struct places *places, const char *store, struct fsp_err *err)
{
    places->key = fsp_file_join(store, KEY);
    places->spare = fsp_file_join(store, SPARE);
    places->cert = fsp_file_join(store, CERT);
    return places->key == NULL || places->spare == NULL || places->cert == NULL
                   ? fsp_err_set(err, FSP_ENOMEM, "out of memory")
                   : FSP_OK;
}

static void
places_fini(struct places *places)
{
    free(places->key);
    free(places->spare);
    free(places->cert);
}

static void
wipe(struct fsp_buf *buf)
{
    if (buf->data != NULL)
        explicit_bzero(buf->data, buf->cap);
    fsp_buf_fini(buf);
}

static enum fsp_rc
read_pem(struct fsp_buf *pem, const char *path, bool secret, struct fsp_err *err)
{
    struct stat st;
    uint8_t *text = NULL;
    size_t len = 0;
    enum fsp_rc rc = fsp_file_read(path, FSP_CERT_PEM_MAX, &text, &len, err);

    if (rc != FSP_OK)
        return rc;
    if (stat(path, &st) != 0)
        rc = fsp_err_sys(err, FSP_EIO, errno, "%s", path);
    else if (secret && (st.st_mode & (S_IRWXG | S_IRWXO)) != 0)
        rc = fsp_err_set(
                err, FSP_EFORMAT, "%s: others may read this secret key; chmod 600 it", path);
    else if (memchr(text, 0, len) != NULL)
        rc = fsp_err_set(err, FSP_EFORMAT, "%s: no PEM text", path);
    else if (fsp_buf_room(pem, len + 1) != NULL) /* one block, so that one wipe is enough */
        fsp_buf_add(pem, text, len);
    explicit_bzero(text, len);
    free(text);
    return rc == FSP_OK ? fsp_buf_check(pem, path, err) : rc;
}

static enum fsp_rc
make_key(const char *path, struct fsp_err *err)
{
    struct fsp_buf pem;
    enum fsp_rc rc;

    fsp_buf_init(&pem, FSP_CERT_PEM_MAX);
    rc = fsp_cert_key_new(&pem, err);
    if (rc == FSP_OK)
        rc = fsp_file_create(path, pem.data, pem.len, 0600, err);
    wipe(&pem);
    return rc;
}

/* The pin of the key in a file; the key itself into pem when that is not NULL. */
static enum fsp_rc
read_key(const char *path, uint8_t pin[FSP_CERT_PIN_LEN], struct fsp_buf *pem,
        struct fsp_err *err)
{
    struct fsp_buf text;
    enum fsp_rc rc;

    fsp_buf_init(&text, FSP_CERT_PEM_MAX + 1);
    rc = read_pem(&text, path, true, err);
    if (rc == FSP_OK)
        rc = fsp_cert_pin(pin, fsp_buf_peek(&text), err);
    if (rc == FSP_OK && pem != NULL) {
        *pem = text;
        return FSP_OK;
    }
    wipe(&text);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", path);
}

/* The certificate in the file, or a new one when it is not there, none, or of another key. */
static enum fsp_rc
ready_cert(struct fsp_office_tls *tls, const char *path, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_ENOTFOUND;

    if (fsp_file_exists(path)) {
        rc = read_pem(&tls->cert, path, false, err);
        if (rc == FSP_OK)
            rc = fsp_cert_belongs(fsp_buf_peek(&tls->cert), fsp_buf_peek(&tls->key), err);
    }
    if (rc == FSP_OK || rc == FSP_ENOMEM || rc == FSP_EIO)
        return rc;
    fsp_buf_reset(&tls->cert);
    rc = fsp_cert_issue(&tls->cert, fsp_buf_peek(&tls->key), err);
    if (rc == FSP_OK)
        rc = fsp_file_write(path, tls->cert.data, tls->cert.len, 0600, err);
    return rc;
}

static enum fsp_rc
load(struct fsp_office_tls *tls, const struct places *places, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    if (!fsp_file_exists(places->key))
        return fsp_err_set(err, FSP_EINVAL,
                "%s is missing, its spare is there; to go on with the spare, rename it to that",
                places->key);
    if (!fsp_file_exists(places->spare))
        rc = make_key(places->spare, err);
    if (rc == FSP_OK)
        rc = read_key(places->key, tls->pins[0], &tls->key, err);
    if (rc == FSP_OK)
        rc = read_key(places->spare, tls->pins[1], NULL, err);
    if (rc == FSP_OK && memcmp(tls->pins[0], tls->pins[1], sizeof(tls->pins[0])) == 0)
        rc = fsp_err_set(err, FSP_EFORMAT,
                "%s is the same key as the one in use; remove it, a new one is made",
                places->spare);
    return rc == FSP_OK ? ready_cert(tls, places->cert, err) : rc;
}

static enum fsp_rc
ready(struct fsp_office_tls *tls, const char *store, bool *made, struct fsp_err *err)
{
    struct places places;
    enum fsp_rc rc = places_init(&places, store, err);

    memset(tls, 0, sizeof(*tls));
    fsp_buf_init(&tls->key, FSP_CERT_PEM_MAX + 1);
    fsp_buf_init(&tls->cert, FSP_CERT_PEM_MAX + 1);
    if (rc == FSP_OK && !fsp_file_exists(places.key) && !fsp_file_exists(places.spare)) {
        if (made == NULL) {
            rc = fsp_err_set(err, FSP_ENOTFOUND,
                    "%s: no TLS key yet; an invitation with an https:// address makes it",
                    store);
            goto out;
        }
        rc = make_key(places.key, err);
        *made = rc == FSP_OK;
    }
    if (rc == FSP_OK)
        rc = load(tls, &places, err);
out:
    places_fini(&places);
    if (rc != FSP_OK)
        fsp_office_tls_fini(tls);
    return rc;
}

enum fsp_rc
fsp_office_tls_make(
        struct fsp_office_tls *tls, const char *store, bool *made, struct fsp_err *err)
{
    *made = false;
    return ready(tls, store, made, err);
}

enum fsp_rc
fsp_office_tls_load(struct fsp_office_tls *tls, const char *store, struct fsp_err *err)
{
    return ready(tls, store, NULL, err);
}

void
fsp_office_tls_fini(struct fsp_office_tls *tls)
{
    wipe(&tls->key);
    fsp_buf_fini(&tls->cert);
    memset(tls, 0, sizeof(*tls));
}
