#include "office/cmd.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"

static const struct fsp_conf_key conf_keys[] = {
        {"office", "store", FSP_CONF_PATH, "/var/lib/farspool-office/store", 1, 1024,
                "folder of the office's store"},
        {"serve", "listen", FSP_CONF_TEXT, "127.0.0.1:8463", 1, 128,
                "address and port that takes bundles"},
        {"serve", "pages", FSP_CONF_TEXT, "127.0.0.1:8464", 1, 128,
                "address and port of the pages"},
        {"serve", "behind-proxy", FSP_CONF_BOOL, "no", 0, 0,
                "a proxy takes the browsers' TLS: cookies are Secure, and X-Forwarded-For from "
                "this "
                "machine names the client"},
        {"serve", "deadline-s", FSP_CONF_INT, "60", 5, 3600,
                "seconds a request may take, besides one for every 256 bytes it carries"},
        {"prices", "per-ft", FSP_CONF_TEXT, "", 0, 512,
                "price of a foot of line by rope size, as 1-1/4=4.10 1-3/8=5.20"},
        {"prices", "currency", FSP_CONF_TEXT, "", 0, 16, "what these prices are in"},
        {NULL, NULL, FSP_CONF_TEXT, NULL, 0, 0, NULL},
};

void
fsp_cmd_warn(const char *fmt, ...)
{
    struct fsp_buf text;
    struct fsp_buf shown;
    char raw[2 * FSP_ERR_TEXT_MAX];
    va_list args;

    va_start(args, fmt);
    (void)vsnprintf(raw, sizeof(raw), fmt, args);
    va_end(args);
    fsp_buf_init(&text, sizeof(raw) * 4);
    fsp_buf_init(&shown, sizeof(raw) * 4 + 64);
    fsp_text_show(&text, raw, strlen(raw));
    fsp_buf_printf(&shown, "farspool-office: %s\n", fsp_buf_peek(&text));
    (void)fputs(fsp_buf_peek(&shown), stderr);
    fsp_buf_fini(&text);
    fsp_buf_fini(&shown);
}

int
fsp_cmd_fail(enum fsp_rc rc, const struct fsp_err *err)
{
    fsp_cmd_warn("%s", err->text[0] == '\0' ? "failed" : err->text);
    return fsp_exit_status(rc);
}

int
fsp_cmd_print(const struct fsp_buf *buf)
{
    struct fsp_err err = {0};
    enum fsp_rc rc = fsp_buf_check(buf, "output", &err);

    if (rc == FSP_OK && buf->len > 0 && fwrite(buf->data, 1, buf->len, stdout) != buf->len)
        rc = fsp_err_sys(&err, FSP_EIO, errno, "standard output");
    if (rc == FSP_OK && fflush(stdout) != 0)
        rc = fsp_err_sys(&err, FSP_EIO, errno, "standard output");
    return rc == FSP_OK ? 0 : fsp_cmd_fail(rc, &err);
}

enum fsp_rc
fsp_cmd_conf(struct fsp_args *args, struct fsp_err *err)
{
    struct fsp_office *office = fsp_args_ctx(args);
    const char *path = fsp_args_get(args, "conf");
    enum fsp_rc rc;

    if (office->conf != NULL)
        return FSP_OK;
    rc = fsp_conf_new(conf_keys, &office->conf, err);
    if (rc != FSP_OK)
        return rc;
    if (path == NULL && !fsp_file_exists(FSP_OFFICE_CONF))
        return FSP_OK;
    return fsp_conf_load(office->conf, path == NULL ? FSP_OFFICE_CONF : path, err);
}

enum fsp_rc
fsp_cmd_store(struct fsp_args *args, const char **store, struct fsp_err *err)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    enum fsp_rc rc;

    *store = fsp_args_get(args, "store");
    if (*store != NULL)
        return FSP_OK;
    rc = fsp_cmd_conf(args, err);
    if (rc == FSP_OK)
        *store = fsp_conf_text(office->conf, "office", "store");
    return rc;
}

enum fsp_rc
fsp_cmd_shelf(struct fsp_args *args, enum fsp_shelf_access access, struct fsp_shelf **shelf,
        struct fsp_err *err)
{
    const char *store = NULL;
    enum fsp_rc rc = fsp_cmd_store(args, &store, err);

    *shelf = NULL;
    return rc == FSP_OK ? fsp_shelf_open(&fsp_shelf_sqlite, store, access, shelf, err) : rc;
}

int64_t
fsp_cmd_now_s(struct fsp_args *args)
{
    const struct fsp_office *office = fsp_args_ctx(args);

    return office->env->utc_us(office->env->ctx) / FSP_US_PER_S;
}
