#include "wire/answer.h"

#include <string.h>

#include "base/text.h"
#include "wire/lines.h"

#define REFUSAL_TITLE "farspool-answer/v1"
#define ANSWERS_TITLE "farspool-answers/v1\n"

enum fsp_rc
fsp_refusal_sign(struct fsp_buf *buf, const struct fsp_refusal *refusal,
        const struct fsp_skey *instructions, struct fsp_err *err)
{
    char hex[2 * sizeof(refusal->bundle) + 1];
    struct fsp_buf text;
    enum fsp_rc rc;

    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_text_hex(hex, refusal->bundle, sizeof(refusal->bundle));
    fsp_buf_printf(&text, "%s\nstatus %d\nbundle %s\norigin %s\nsize %llu\n", REFUSAL_TITLE,
            refusal->status, hex, refusal->origin, (unsigned long long)refusal->size);
    if (refusal->has_differs)
        fsp_buf_printf(&text, "differs %llu\n", (unsigned long long)refusal->differs);
    if (refusal->held != NULL) {
        fsp_buf_add_byte(&text, '\n');
        fsp_buf_add(&text, refusal->held, refusal->held_len);
    }
    rc = fsp_buf_check(&text, "an answer", err);
    if (rc == FSP_OK)
        rc = fsp_note_sign(buf, text.data, text.len, instructions, err);
    fsp_buf_fini(&text);
    return rc;
}

static enum fsp_rc
read_u64(const struct fsp_line *line, uint64_t *out)
{
    return fsp_text_u64(line->value, line->value_len, out);
}

static enum fsp_rc
read_status(const struct fsp_line *line, int *status)
{
    uint64_t value = 0;
    enum fsp_rc rc = read_u64(line, &value);

    if (rc != FSP_OK || (value != FSP_ANSWER_GAP && value != FSP_ANSWER_FORK))
        return FSP_EFORMAT;
    *status = (int)value;
    return FSP_OK;
}

static enum fsp_rc
read_digest(const struct fsp_line *line, uint8_t out[32])
{
    char hex[65];

    if (fsp_line_copy(line, hex, sizeof(hex)) != FSP_OK)
        return FSP_EFORMAT;
    return fsp_text_unhex(out, 32, hex);
}

/* Bits of the lines that an answer must have, each once. */
enum seen {
    SEEN_STATUS = 1,
    SEEN_BUNDLE = 2,
    SEEN_ORIGIN = 4,
    SEEN_SIZE = 8,
    SEEN_DIFFERS = 16,
    SEEN_NEEDED = SEEN_STATUS | SEEN_BUNDLE | SEEN_ORIGIN | SEEN_SIZE,
};

static enum fsp_rc
read_line(struct fsp_refusal *refusal, const struct fsp_line *line, unsigned *bit)
{
    *bit = 0;
    if (fsp_line_is(line, "status")) {
        *bit = SEEN_STATUS;
        return read_status(line, &refusal->status);
    }
    if (fsp_line_is(line, "bundle")) {
        *bit = SEEN_BUNDLE;
        return read_digest(line, refusal->bundle);
    }
    if (fsp_line_is(line, "origin")) {
        *bit = SEEN_ORIGIN;
        return fsp_line_copy(line, refusal->origin, sizeof(refusal->origin));
    }
    if (fsp_line_is(line, "size")) {
        *bit = SEEN_SIZE;
        return read_u64(line, &refusal->size);
    }
    if (fsp_line_is(line, "differs")) {
        *bit = SEEN_DIFFERS;
        refusal->has_differs = true;
        return read_u64(line, &refusal->differs);
    }
    return FSP_OK; /* lines of later versions */
}

static enum fsp_rc
read_text(struct fsp_refusal *refusal, const char *text, size_t len)
{
    struct fsp_lines lines = {text, len, 0};
    struct fsp_line line;
    unsigned seen = 0;
    unsigned bit = 0;
    enum fsp_rc rc = fsp_lines_next(&lines, &line);

    if (rc != FSP_OK || !fsp_line_is(&line, REFUSAL_TITLE) || line.value_len > 0)
        return FSP_EFORMAT;
    for (;;) {
        rc = fsp_lines_next(&lines, &line);
        if (rc == FSP_ENOTFOUND)
            break;
        if (rc != FSP_OK)
            return FSP_EFORMAT;
        if (line.key_len == 0) {
            refusal->held = text + lines.pos;
            refusal->held_len = len - lines.pos;
            break;
        }
        if (read_line(refusal, &line, &bit) != FSP_OK || (seen & bit) != 0)
            return FSP_EFORMAT;
        seen |= bit;
    }
    return (seen & SEEN_NEEDED) == SEEN_NEEDED ? FSP_OK : FSP_EFORMAT;
}

enum fsp_rc
fsp_refusal_read(struct fsp_refusal *refusal, const void *bytes, size_t len,
        const struct fsp_vkey *instructions, struct fsp_err *err)
{
    struct fsp_note note;
    enum fsp_rc rc;

    memset(refusal, 0, sizeof(*refusal));
    rc = fsp_note_parse(&note, bytes, len, err);
    if (rc == FSP_OK)
        rc = fsp_note_verify(&note, instructions, NULL, err);
    if (rc == FSP_ENOTFOUND)
        rc = fsp_err_set(err, FSP_EVERIFY, "not signed by the office's instructions key");
    if (rc == FSP_OK && read_text(refusal, note.text, note.text_len) != FSP_OK)
        rc = fsp_err_set(err, FSP_EFORMAT, "signed by the office, but no answer");
    if (rc != FSP_OK)
        memset(refusal, 0, sizeof(*refusal));
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "answer");
}

void
fsp_answers_begin(struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, ANSWERS_TITLE);
}

void
fsp_answers_add(struct fsp_buf *buf, int status, const void *bytes, size_t len)
{
    fsp_buf_printf(buf, "answer %d %zu\n", status, len);
    fsp_buf_add(buf, bytes, len);
}

enum fsp_rc
fsp_answers_open(
        struct fsp_answers_cursor *cursor, const void *bytes, size_t len, struct fsp_err *err)
{
    size_t title = strlen(ANSWERS_TITLE);

    cursor->bytes = bytes;
    cursor->len = len;
    cursor->pos = title;
    if (len < title || memcmp(bytes, ANSWERS_TITLE, title) != 0) {
        cursor->len = 0;
        cursor->pos = 0;
        return fsp_err_set(err, FSP_EFORMAT,
                "this is no file of answers (it does not begin with farspool-answers/v1)");
    }
    return FSP_OK;
}

enum fsp_rc
fsp_answers_next(struct fsp_answers_cursor *cursor, int *status, const uint8_t **bytes,
        size_t *len, struct fsp_err *err)
{
    struct fsp_lines lines = {(const char *)cursor->bytes, cursor->len, cursor->pos};
    struct fsp_line line;
    uint64_t code = 0;
    uint64_t size = 0;
    const char *space;
    enum fsp_rc rc = fsp_lines_next(&lines, &line);

    *status = 0;
    *bytes = NULL;
    *len = 0;
    if (rc == FSP_ENOTFOUND)
        return fsp_err_set(err, FSP_ENOTFOUND, "no more answers");
    if (rc != FSP_OK || !fsp_line_is(&line, "answer"))
        return fsp_err_set(err, FSP_EFORMAT, "the file of answers was altered or cut");
    space = memchr(line.value, ' ', line.value_len);
    if (space == NULL ||
            fsp_text_u64(line.value, (size_t)(space - line.value), &code) != FSP_OK ||
            fsp_text_u64(space + 1, line.value_len - (size_t)(space - line.value) - 1, &size) !=
                    FSP_OK ||
            code < 100 || code > 599 || size > FSP_NOTE_MAX)
        return fsp_err_set(err, FSP_EFORMAT, "the file of answers was altered");
    if (size > cursor->len - lines.pos)
        return fsp_err_set(err, FSP_EFORMAT, "the file of answers was cut short");
    *status = (int)code;
    *bytes = cursor->bytes + lines.pos;
    *len = (size_t)size;
    cursor->pos = lines.pos + (size_t)size;
    return FSP_OK;
}
