#include "base/buf.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FIRST_CAP 256

void
fsp_buf_init(struct fsp_buf *buf, size_t max)
{
    memset(buf, 0, sizeof(*buf));
    buf->max = max;
}

void
fsp_buf_fini(struct fsp_buf *buf)
{
    size_t max = buf->max;

    free(buf->data);
    fsp_buf_init(buf, max);
}

void
fsp_buf_reset(struct fsp_buf *buf)
{
    buf->len = 0;
    buf->rc = FSP_OK;
    if (buf->data != NULL)
        buf->data[0] = 0;
}

uint8_t *
fsp_buf_room(struct fsp_buf *buf, size_t len)
{
    size_t cap = buf->cap;
    uint8_t *grown;

    if (buf->rc != FSP_OK)
        return NULL;
    if (len > buf->max || buf->len > buf->max - len) {
        buf->rc = FSP_ELIMIT;
        return NULL;
    }
    if (buf->data == NULL || buf->len + len > cap) {
        if (cap < FIRST_CAP)
            cap = FIRST_CAP;
        while (cap < buf->len + len)
            cap *= 2;
        if (cap > buf->max)
            cap = buf->max;
        grown = realloc(buf->data, cap + 1);
        if (grown == NULL) {
            buf->rc = FSP_ENOMEM;
            return NULL;
        }
        buf->data = grown;
        buf->cap = cap;
    }
    buf->data[buf->len + len] = 0;
    return buf->data + buf->len;
}

void
fsp_buf_add(struct fsp_buf *buf, const void *data, size_t len)
{
    uint8_t *room = fsp_buf_room(buf, len);

    if (room == NULL)
        return;
    if (len > 0)
        memcpy(room, data, len);
    buf->len += len;
}

void
fsp_buf_add_text(struct fsp_buf *buf, const char *text)
{
    fsp_buf_add(buf, text, strlen(text));
}

void
fsp_buf_add_byte(struct fsp_buf *buf, uint8_t byte)
{
    fsp_buf_add(buf, &byte, 1);
}

void
fsp_buf_printf(struct fsp_buf *buf, const char *fmt, ...)
{
    va_list args;
    uint8_t *room;
    int need;

    va_start(args, fmt);
    need = vsnprintf(NULL, 0, fmt, args);
    va_end(args);
    if (need < 0) {
        if (buf->rc == FSP_OK)
            buf->rc = FSP_EINVAL;
        return;
    }
    room = fsp_buf_room(buf, (size_t)need);
    if (room == NULL)
        return;
    va_start(args, fmt);
    (void)vsnprintf((char *)room, (size_t)need + 1, fmt, args);
    va_end(args);
    buf->len += (size_t)need;
}

void
fsp_buf_add_u32le(struct fsp_buf *buf, uint32_t value)
{
    uint8_t bytes[4];

    for (size_t i = 0; i < sizeof(bytes); i++)
        bytes[i] = (uint8_t)(value >> (8 * i));
    fsp_buf_add(buf, bytes, sizeof(bytes));
}

void
fsp_buf_add_u64be(struct fsp_buf *buf, uint64_t value)
{
    uint8_t bytes[8];

    for (size_t i = 0; i < sizeof(bytes); i++)
        bytes[i] = (uint8_t)(value >> (8 * (7 - i)));
    fsp_buf_add(buf, bytes, sizeof(bytes));
}

void
fsp_buf_add_varint(struct fsp_buf *buf, uint64_t value)
{
    while (value >= 0x80) {
        fsp_buf_add_byte(buf, (uint8_t)(value | 0x80));
        value >>= 7;
    }
    fsp_buf_add_byte(buf, (uint8_t)value);
}

const char *
fsp_buf_peek(const struct fsp_buf *buf)
{
    return buf->data == NULL ? "" : (const char *)buf->data;
}

uint8_t *
fsp_buf_steal(struct fsp_buf *buf, size_t *len)
{
    uint8_t *data = buf->data;

    if (len != NULL)
        *len = buf->len;
    fsp_buf_init(buf, buf->max);
    return data;
}

enum fsp_rc
fsp_buf_check(const struct fsp_buf *buf, const char *what, struct fsp_err *err)
{
    switch (buf->rc) {
    case FSP_OK:
        return FSP_OK;
    case FSP_ELIMIT:
        return fsp_err_set(
                err, FSP_ELIMIT, "%s is over its limit of %zu bytes", what, buf->max);
    case FSP_ENOMEM:
        return fsp_err_set(err, FSP_ENOMEM, "out of memory for %s", what);
    case FSP_EAGAIN:
    case FSP_EINVAL:
    case FSP_EFORMAT:
    case FSP_ECORRUPT:
    case FSP_EIO:
    case FSP_ENOTFOUND:
    case FSP_EVERIFY:
    case FSP_EUNAVAIL:
    case FSP_EBUSY:
    case FSP_EFORK:
        break;
    }
    return fsp_err_set(err, buf->rc, "%s could not be written", what);
}

enum fsp_rc
fsp_cursor_bytes(struct fsp_cursor *cursor, const uint8_t **out, size_t len)
{
    *out = NULL;
    if (len > cursor->len - cursor->pos)
        return FSP_EFORMAT;
    *out = cursor->data + cursor->pos;
    cursor->pos += len;
    return FSP_OK;
}

enum fsp_rc
fsp_cursor_u8(struct fsp_cursor *cursor, uint8_t *out)
{
    const uint8_t *bytes;
    enum fsp_rc rc = fsp_cursor_bytes(cursor, &bytes, 1);

    *out = rc == FSP_OK ? bytes[0] : 0;
    return rc;
}

enum fsp_rc
fsp_cursor_u32le(struct fsp_cursor *cursor, uint32_t *out)
{
    const uint8_t *bytes;
    enum fsp_rc rc = fsp_cursor_bytes(cursor, &bytes, 4);

    *out = 0;
    for (size_t i = 0; rc == FSP_OK && i < 4; i++)
        *out |= (uint32_t)bytes[i] << (8 * i);
    return rc;
}

enum fsp_rc
fsp_cursor_u64be(struct fsp_cursor *cursor, uint64_t *out)
{
    const uint8_t *bytes;
    enum fsp_rc rc = fsp_cursor_bytes(cursor, &bytes, 8);

    *out = 0;
    for (size_t i = 0; rc == FSP_OK && i < 8; i++)
        *out = *out << 8 | bytes[i];
    return rc;
}

enum fsp_rc
fsp_cursor_varint(struct fsp_cursor *cursor, uint64_t *out)
{
    uint64_t value = 0;
    uint8_t byte = 0;

    *out = 0;
    for (unsigned shift = 0; shift < 64; shift += 7) {
        if (fsp_cursor_u8(cursor, &byte) != FSP_OK)
            return FSP_EFORMAT;
        if (shift == 63 && byte > 1)
            return FSP_EFORMAT;
        value |= (uint64_t)(byte & 0x7Fu) << shift;
        if ((byte & 0x80u) == 0) {
            if (byte == 0 && shift > 0)
                return FSP_EFORMAT;
            *out = value;
            return FSP_OK;
        }
    }
    return FSP_EFORMAT;
}
