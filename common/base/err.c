#include "base/err.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* A text that was cut must not end inside a UTF-8 character. */
static void
trim_partial_utf8(char *text)
{
    size_t len = strlen(text);
    size_t tail = 0;

    while (tail < len && tail < 4 && ((unsigned char)text[len - 1 - tail] & 0xC0u) == 0x80u)
        tail++;
    if (tail < len && ((unsigned char)text[len - 1 - tail] & 0xC0u) == 0xC0u) {
        unsigned lead = (unsigned char)text[len - 1 - tail];
        size_t want = lead >= 0xF0u ? 3 : lead >= 0xE0u ? 2 : 1;

        if (tail < want)
            text[len - 1 - tail] = '\0';
    }
}

enum fsp_rc
fsp_err_set(struct fsp_err *err, enum fsp_rc rc, const char *fmt, ...)
{
    va_list args;

    if (err == NULL)
        return rc;
    err->rc = rc;
    err->os_errno = 0;
    va_start(args, fmt);
    (void)vsnprintf(err->text, sizeof(err->text), fmt, args);
    va_end(args);
    trim_partial_utf8(err->text);
    return rc;
}

enum fsp_rc
fsp_err_sys(struct fsp_err *err, enum fsp_rc rc, int os_errno, const char *fmt, ...)
{
    char reason[128];
    va_list args;
    size_t used;

    if (err == NULL)
        return rc;
    err->rc = rc;
    err->os_errno = os_errno;
    va_start(args, fmt);
    (void)vsnprintf(err->text, sizeof(err->text), fmt, args);
    va_end(args);
    if (strerror_r(os_errno, reason, sizeof(reason)) != 0)
        (void)snprintf(reason, sizeof(reason), "system error %d", os_errno);
    used = strlen(err->text);
    (void)snprintf(err->text + used, sizeof(err->text) - used, ": %s", reason);
    trim_partial_utf8(err->text);
    return rc;
}

enum fsp_rc
fsp_err_wrap(struct fsp_err *err, enum fsp_rc rc, const char *fmt, ...)
{
    char old[FSP_ERR_TEXT_MAX];
    va_list args;
    size_t used;

    if (err == NULL)
        return rc;
    memcpy(old, err->text, sizeof(old));
    va_start(args, fmt);
    (void)vsnprintf(err->text, sizeof(err->text), fmt, args);
    va_end(args);
    used = strlen(err->text);
    (void)snprintf(err->text + used, sizeof(err->text) - used, ": %s", old);
    trim_partial_utf8(err->text);
    if (err->rc == FSP_OK)
        err->rc = rc;
    return err->rc;
}

void
fsp_err_clear(struct fsp_err *err)
{
    if (err == NULL)
        return;
    err->rc = FSP_OK;
    err->os_errno = 0;
    err->text[0] = '\0';
}
