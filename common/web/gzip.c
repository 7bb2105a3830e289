#include "web/gzip.h"

#include <assert.h>
#include <limits.h>
#include <stdint.h>
#include <string.h>

#define ZLIB_CONST
#include <zlib.h>

#define GZIP_BITS (15 + 16) /* the greatest window, with a gzip header (zlib.h) */
#define LEVEL     5         /* a page of 150 kB in a few ms; house figure */
#define MEMORY    8
#define CHUNK     ((size_t)16 * 1024)

/* Drive one stream to its end into out. step: deflate or inflate with its flush. */
static enum fsp_rc
drive(z_stream *stream, int (*step)(z_stream *stream), struct fsp_buf *out)
{
    int code = Z_OK;

    while (code == Z_OK) {
        const size_t left = out->max - out->len;
        const size_t room = left < CHUNK ? left : CHUNK;
        uint8_t *to = room > 0 ? fsp_buf_room(out, room) : NULL;

        if (room == 0)
            return FSP_ELIMIT;
        if (to == NULL)
            return FSP_ENOMEM;
        stream->next_out = to;
        stream->avail_out = (unsigned)room;
        code = step(stream);
        out->len += room - stream->avail_out;
        if (code == Z_OK && stream->avail_out > 0 && stream->avail_in == 0)
            return FSP_EFORMAT; /* cut short */
    }
    if (code == Z_STREAM_END)
        return stream->avail_in == 0 ? FSP_OK : FSP_EFORMAT;
    return code == Z_MEM_ERROR ? FSP_ENOMEM : FSP_EFORMAT;
}

static int
step_deflate(z_stream *stream)
{
    return deflate(stream, Z_FINISH);
}

static int
step_inflate(z_stream *stream)
{
    return inflate(stream, Z_NO_FLUSH);
}

static enum fsp_rc
told(enum fsp_rc rc, struct fsp_err *err)
{
    if (rc == FSP_OK)
        return FSP_OK;
    return fsp_err_set(err, rc,
            rc == FSP_ENOMEM ? "out of memory"
                             : (rc == FSP_ELIMIT ? "gzip: larger than its maximum"
                                                 : "gzip: not one whole member"));
}

enum fsp_rc
fsp_gzip(struct fsp_buf *out, const void *bytes, size_t len, struct fsp_err *err)
{
    z_stream stream;
    enum fsp_rc rc;

    memset(&stream, 0, sizeof(stream));
    if (len > UINT_MAX)
        return told(FSP_ELIMIT, err);
    if (deflateInit2(&stream, LEVEL, Z_DEFLATED, GZIP_BITS, MEMORY, Z_DEFAULT_STRATEGY) != Z_OK)
        return told(FSP_ENOMEM, err);
    stream.next_in = bytes;
    stream.avail_in = (unsigned)len;
    rc = drive(&stream, step_deflate, out);
    (void)deflateEnd(&stream);
    return told(rc, err);
}

enum fsp_rc
fsp_gunzip(struct fsp_buf *out, const void *bytes, size_t len, struct fsp_err *err)
{
    z_stream stream;
    enum fsp_rc rc;

    memset(&stream, 0, sizeof(stream));
    if (len > UINT_MAX)
        return told(FSP_ELIMIT, err);
    if (inflateInit2(&stream, GZIP_BITS) != Z_OK)
        return told(FSP_ENOMEM, err);
    stream.next_in = bytes;
    stream.avail_in = (unsigned)len;
    rc = drive(&stream, step_inflate, out);
    (void)inflateEnd(&stream);
    return told(rc, err);
}
