/*
 * A growing byte buffer that is born with its maximum.
 *
 * The first failure sticks: later additions do nothing, and fsp_buf_check() reports it once at
 * the end. So writers need no check at every piece, and a buffer that overflowed is never used.
 *
 * Ownership: the struct is the caller's, data belongs to it until fsp_buf_fini() or
 * fsp_buf_steal(). data is NUL-terminated one byte past len whenever it is not NULL.
 * Units: len, cap and max in bytes (max without the NUL).
 * Errors: FSP_ELIMIT over max, FSP_ENOMEM.
 */
#ifndef FSP_BASE_BUF_H
#define FSP_BASE_BUF_H

#include <stddef.h>
#include <stdint.h>

#include "base/err.h"

struct fsp_buf {
    uint8_t *data;
    size_t len;
    size_t cap;
    size_t max;
    enum fsp_rc rc;
};

/* Start empty; nothing is allocated yet. */
void fsp_buf_init(struct fsp_buf *buf, size_t max);
/* Free the bytes; the buffer may be initialised again. */
void fsp_buf_fini(struct fsp_buf *buf);
/* Empty the buffer, keep its memory and maximum, forget a failure. */
void fsp_buf_reset(struct fsp_buf *buf);

void fsp_buf_add(struct fsp_buf *buf, const void *data, size_t len);
void fsp_buf_add_text(struct fsp_buf *buf, const char *text);
void fsp_buf_add_byte(struct fsp_buf *buf, uint8_t byte);
void fsp_buf_printf(struct fsp_buf *buf, const char *fmt, ...) FSP_PRINTF(2, 3);
void fsp_buf_add_u32le(struct fsp_buf *buf, uint32_t value);
void fsp_buf_add_u64be(struct fsp_buf *buf, uint64_t value);
/* LEB128, least significant group first. */
void fsp_buf_add_varint(struct fsp_buf *buf, uint64_t value);
/* Make room for len more bytes and return where they go (NULL after a failure); the caller then
 * adds what it wrote to buf->len itself. */
uint8_t *fsp_buf_room(struct fsp_buf *buf, size_t len);

/* The text so far, "" when empty; valid until the next addition. */
const char *fsp_buf_peek(const struct fsp_buf *buf);
/* Move the bytes out; the caller frees them. NULL when empty. */
uint8_t *fsp_buf_steal(struct fsp_buf *buf, size_t *len);
/* FSP_OK, or the failure that stuck, with `what` named in the text. */
enum fsp_rc fsp_buf_check(
        const struct fsp_buf *buf, const char *what, struct fsp_err *err) FSP_MUST_CHECK;

/* A reader over borrowed bytes; every get fails cleanly at the end. */
struct fsp_cursor {
    const uint8_t *data;
    size_t len;
    size_t pos;
};

enum fsp_rc fsp_cursor_bytes(
        struct fsp_cursor *cursor, const uint8_t **out, size_t len) FSP_MUST_CHECK;
enum fsp_rc fsp_cursor_u8(struct fsp_cursor *cursor, uint8_t *out) FSP_MUST_CHECK;
enum fsp_rc fsp_cursor_u32le(struct fsp_cursor *cursor, uint32_t *out) FSP_MUST_CHECK;
enum fsp_rc fsp_cursor_u64be(struct fsp_cursor *cursor, uint64_t *out) FSP_MUST_CHECK;
/* Refuses more than ten bytes, overflow and padding (a longer form than needed). */
enum fsp_rc fsp_cursor_varint(struct fsp_cursor *cursor, uint64_t *out) FSP_MUST_CHECK;

#endif
