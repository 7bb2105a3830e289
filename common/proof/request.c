#include "proof/request.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "proof/key.h"

#define OLD "old "

void
fsp_request_write(struct fsp_buf *buf, uint64_t old, const uint8_t (*path)[FSP_HASH_LEN],
        size_t n, const char *note, size_t note_len)
{
    fsp_buf_printf(buf, OLD "%" PRIu64 "\n", old);
    for (size_t i = 0; i < n; i++) {
        fsp_base64(buf, path[i], FSP_HASH_LEN);
        fsp_buf_add_byte(buf, '\n');
    }
    fsp_buf_add_byte(buf, '\n');
    fsp_buf_add(buf, note, note_len);
}

/* Lines up to the empty one; *pos is behind it at the end. */
static enum fsp_rc
parse_path(struct fsp_request *request, const char **pos, const char *end, struct fsp_err *err)
{
    for (size_t number = 2;; number++) {
        const char *stop = *pos == end ? NULL : memchr(*pos, '\n', (size_t)(end - *pos));
        const char *line = *pos;

        if (stop == NULL)
            return fsp_err_set(
                    err, FSP_EFORMAT, "ends before the checkpoint (a file cut short?)");
        *pos = stop + 1;
        if (stop == line)
            return FSP_OK;
        if (request->n == FSP_REQUEST_HASHES_MAX)
            return fsp_err_set(err, FSP_ELIMIT, "line %zu: over %d hashes", number,
                    FSP_REQUEST_HASHES_MAX);
        if (fsp_unbase64_exact(line, (size_t)(stop - line), request->path[request->n],
                    FSP_HASH_LEN) != FSP_OK)
            return fsp_err_set(err, FSP_EFORMAT,
                    "line %zu: no canonical base64 of a 32-byte hash", number);
        request->n++;
    }
}

static enum fsp_rc
parse_head(struct fsp_request *request, struct fsp_err *err)
{
    struct fsp_note *note = calloc(1, sizeof(*note));
    enum fsp_rc rc;

    if (note == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_note_parse(note, request->note, request->note_len, err);
    if (rc == FSP_OK)
        rc = fsp_checkpoint_parse(&request->head, note->text, note->text_len, err);
    free(note);
    return rc;
}

static enum fsp_rc
parse(struct fsp_request *request, const char *bytes, size_t len, struct fsp_err *err)
{
    const char *end = bytes + len;
    const char *stop = len == 0 ? NULL : memchr(bytes, '\n', len);
    const char *pos;
    enum fsp_rc rc;

    if (len > FSP_REQUEST_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "over %zu bytes", FSP_REQUEST_MAX);
    if (stop == NULL || (size_t)(stop - bytes) <= strlen(OLD) ||
            memcmp(bytes, OLD, strlen(OLD)) != 0 ||
            fsp_text_u64(bytes + strlen(OLD), (size_t)(stop - bytes) - strlen(OLD),
                    &request->old) != FSP_OK)
        return fsp_err_set(err, FSP_EFORMAT, "its first line is not \"old\" and a number");
    pos = stop + 1;
    rc = parse_path(request, &pos, end, err);
    if (rc != FSP_OK)
        return rc;
    request->note = pos;
    request->note_len = (size_t)(end - pos);
    rc = parse_head(request, err);
    if (rc != FSP_OK)
        return rc;
    if (request->old > request->head.size)
        return fsp_err_set(err, FSP_EFORMAT,
                "old is %" PRIu64 ", above the checkpoint's %" PRIu64, request->old,
                request->head.size);
    if ((request->old == 0 || request->old == request->head.size) && request->n > 0)
        return fsp_err_set(err, FSP_EFORMAT, "hashes where none are needed");
    return FSP_OK;
}

enum fsp_rc
fsp_request_parse(
        struct fsp_request *request, const char *bytes, size_t len, struct fsp_err *err)
{
    enum fsp_rc rc;

    memset(request, 0, sizeof(*request));
    rc = parse(request, bytes, len, err);
    if (rc == FSP_OK)
        return rc;
    memset(request, 0, sizeof(*request));
    return fsp_err_wrap(err, rc, "request");
}

enum fsp_rc
fsp_request_verify(const struct fsp_request *request, const uint8_t old_root[FSP_HASH_LEN],
        struct fsp_err *err)
{
    const struct fsp_consistency proof = {.old_size = request->old,
            .size = request->head.size,
            .old_root = old_root,
            .root = request->head.root,
            .path = (const uint8_t(*)[FSP_HASH_LEN])request->path,
            .n = request->n};

    if (request->old == 0 || fsp_tree_verify_consistency(&proof) == FSP_OK)
        return FSP_OK;
    return fsp_err_set(err, FSP_EVERIFY,
            "the log of %" PRIu64 " entries does not continue the one of %" PRIu64
            " entries that was cosigned: two histories, or a proof that was changed",
            request->head.size, request->old);
}
