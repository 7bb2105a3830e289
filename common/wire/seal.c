#include "wire/seal.h"

#include <sodium.h>
#include <stdbool.h>
#include <zlib.h>

#include "base/limits.h"
#include "wire/dictionary.h"

#define RAW_WINDOW (-15) /* raw deflate, 32 KiB window */
#define MEM_LEVEL  9
#define CHUNK      ((size_t)64 * 1024)

static enum fsp_rc
know_dictionary(unsigned version, const uint8_t **bytes, size_t *len, struct fsp_err *err)
{
    *bytes = fsp_dictionary(version, len);
    if (*bytes == NULL)
        return fsp_err_set(err, FSP_EFORMAT,
                "dictionary %u is not known here (this program knows up to %d)", version,
                FSP_DICTIONARY_NEWEST);
    if (*len > FSP_DICTIONARY_PRESET) {
        *bytes += *len - FSP_DICTIONARY_PRESET;
        *len = FSP_DICTIONARY_PRESET;
    }
    return FSP_OK;
}

/* zlib takes its input through a pointer that is not const but does not write there. */
static void
set_input(z_stream *stream, const uint8_t *bytes, size_t len)
{
    union {
        const uint8_t *in;
        Bytef *out;
    } input = {.in = bytes};

    stream->next_in = input.out;
    stream->avail_in = (uInt)len;
}

enum fsp_rc
fsp_deflate(struct fsp_buf *out, unsigned dictionary, const uint8_t *bytes, size_t len,
        struct fsp_err *err)
{
    const uint8_t *preset;
    size_t preset_len;
    z_stream stream = {0};
    enum fsp_rc rc = know_dictionary(dictionary, &preset, &preset_len, err);
    size_t bound;
    uint8_t *room;

    if (rc != FSP_OK)
        return rc;
    if (len > FSP_TERSE_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "%zu bytes are too many to deflate at once", len);
    if (deflateInit2(&stream, Z_BEST_COMPRESSION, Z_DEFLATED, RAW_WINDOW, MEM_LEVEL,
                Z_DEFAULT_STRATEGY) != Z_OK)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory for deflate");
    if (preset_len > 0 && deflateSetDictionary(&stream, preset, (uInt)preset_len) != Z_OK) {
        rc = fsp_err_set(err, FSP_EINVAL, "dictionary %u cannot be set", dictionary);
        goto out;
    }
    bound = deflateBound(&stream, (uLong)len);
    room = fsp_buf_room(out, bound);
    if (room == NULL) {
        rc = fsp_buf_check(out, "a deflated bundle", err);
        goto out;
    }
    set_input(&stream, bytes, len);
    stream.next_out = room;
    stream.avail_out = (uInt)bound;
    if (deflate(&stream, Z_FINISH) != Z_STREAM_END) {
        rc = fsp_err_set(err, FSP_EINVAL, "deflate did not end");
        goto out;
    }
    out->len += bound - stream.avail_out;
out:
    (void)deflateEnd(&stream);
    return rc;
}

/* One step of inflate into a fresh chunk; *done at the stream's end. */
static enum fsp_rc
inflate_chunk(z_stream *stream, struct fsp_buf *out, bool *done, struct fsp_err *err)
{
    size_t left = out->max - out->len;
    size_t want = left < CHUNK ? left : CHUNK;
    uint8_t last;
    uint8_t *room = want > 0 ? fsp_buf_room(out, want) : &last;
    uInt before_in = stream->avail_in;
    size_t got;
    int rc;

    if (room == NULL)
        return fsp_buf_check(out, "an inflated bundle", err);
    stream->next_out = room;
    stream->avail_out = (uInt)(want > 0 ? want : 1);
    rc = inflate(stream, Z_NO_FLUSH);
    got = (want > 0 ? want : 1) - stream->avail_out;
    if (rc != Z_OK && rc != Z_STREAM_END && rc != Z_BUF_ERROR)
        return fsp_err_set(err, FSP_EFORMAT, "the entries do not inflate: altered or cut");
    if (want == 0 && got > 0)
        return fsp_err_set(
                err, FSP_ELIMIT, "inflates to more than the limit of %zu bytes", out->max);
    if (want > 0)
        out->len += got;
    *done = rc == Z_STREAM_END;
    if (!*done && got == 0 && stream->avail_in == before_in)
        return fsp_err_set(err, FSP_EFORMAT, "the entries end too early: the bundle was cut");
    return FSP_OK;
}

enum fsp_rc
fsp_inflate(struct fsp_buf *out, unsigned dictionary, const uint8_t *bytes, size_t len,
        struct fsp_err *err)
{
    const uint8_t *preset;
    size_t preset_len;
    z_stream stream = {0};
    bool done = false;
    enum fsp_rc rc = know_dictionary(dictionary, &preset, &preset_len, err);

    if (rc != FSP_OK)
        return rc;
    if (len > FSP_BUNDLE_INFLATED)
        return fsp_err_set(err, FSP_ELIMIT, "%zu bytes are too many to inflate at once", len);
    if (inflateInit2(&stream, RAW_WINDOW) != Z_OK)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory for inflate");
    if (preset_len > 0 && inflateSetDictionary(&stream, preset, (uInt)preset_len) != Z_OK) {
        rc = fsp_err_set(err, FSP_EINVAL, "dictionary %u cannot be set", dictionary);
        goto out;
    }
    set_input(&stream, bytes, len);
    while (rc == FSP_OK && !done)
        rc = inflate_chunk(&stream, out, &done, err);
    if (rc == FSP_OK && stream.avail_in > 0)
        rc = fsp_err_set(err, FSP_EFORMAT,
                "%u bytes follow the entries: the bundle was altered", stream.avail_in);
out:
    (void)inflateEnd(&stream);
    return rc;
}

enum fsp_rc
fsp_seal(struct fsp_buf *out, const uint8_t *bytes, size_t len, const uint8_t box_pub[32],
        struct fsp_err *err)
{
    uint8_t *room = fsp_buf_room(out, len + FSP_SEAL_OVERHEAD);

    if (room == NULL)
        return fsp_buf_check(out, "a sealed bundle", err);
    if (crypto_box_seal(room, bytes, len, box_pub) != 0)
        return fsp_err_set(err, FSP_EINVAL, "the office's box key cannot be used");
    out->len += len + FSP_SEAL_OVERHEAD;
    return FSP_OK;
}

enum fsp_rc
fsp_unseal(struct fsp_buf *out, const uint8_t *bytes, size_t len, const uint8_t box_pub[32],
        const uint8_t box_secret[32], struct fsp_err *err)
{
    uint8_t *room;

    if (len < FSP_SEAL_OVERHEAD)
        return fsp_err_set(err, FSP_EFORMAT, "the sealed box was cut short");
    room = fsp_buf_room(out, len - FSP_SEAL_OVERHEAD);
    if (room == NULL)
        return fsp_buf_check(out, "an opened bundle", err);
    if (crypto_box_seal_open(room, bytes, len, box_pub, box_secret) != 0)
        return fsp_err_set(err, FSP_EFORMAT,
                "the sealed box does not open: the bundle was altered or cut on its way");
    out->len += len - FSP_SEAL_OVERHEAD;
    return FSP_OK;
}
