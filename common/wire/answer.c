#include "wire/answer.h"

#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "wire/dictionary.h"
#include "wire/lines.h"

#define REFUSAL_TITLE "farspool-answer/v1"
#define ANSWERS_TITLE "farspool-answers/v1\n"
#define SIGNATURE     "\xe2\x80\x94 " /* what a note's signature line begins with */

static void
write_renewed(const struct fsp_refusal *refusal, struct fsp_buf *text)
{
    const struct fsp_renewal *renewal = &refusal->renewal;

    fsp_buf_add_text(text, "renewed ");
    fsp_vkey_write(&refusal->renewed, text);
    fsp_buf_printf(text, "\nrenewal %llu ", (unsigned long long)renewal->from.size);
    fsp_base64(text, renewal->from.root, sizeof(renewal->from.root));
    if (renewal->has_proof) {
        fsp_buf_add_byte(text, ' ');
        fsp_base64(text, renewal->proof, sizeof(renewal->proof));
    }
    fsp_buf_add_byte(text, '\n');
}

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
    if (refusal->has_renewed)
        write_renewed(refusal, &text);
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

/* "<size> <root> [<proof>]" */
static enum fsp_rc
read_renewal(const struct fsp_line *line, struct fsp_renewal *renewal)
{
    const char *end = line->value + line->value_len;
    const char *root = memchr(line->value, ' ', line->value_len);
    const char *proof;
    size_t root_len;

    if (root == NULL || fsp_text_u64(line->value, (size_t)(root - line->value),
                                &renewal->from.size) != FSP_OK)
        return FSP_EFORMAT;
    root++;
    proof = memchr(root, ' ', (size_t)(end - root));
    root_len = (size_t)((proof == NULL ? end : proof) - root);
    if (fsp_unbase64_exact(root, root_len, renewal->from.root, sizeof(renewal->from.root)) !=
            FSP_OK)
        return FSP_EFORMAT;
    renewal->has_proof = proof != NULL;
    if (proof == NULL)
        return FSP_OK;
    proof++;
    return fsp_unbase64_exact(
            proof, (size_t)(end - proof), renewal->proof, sizeof(renewal->proof));
}

/* Bits of the lines that an answer must have, each once. */
enum seen {
    SEEN_STATUS = 1,
    SEEN_BUNDLE = 2,
    SEEN_ORIGIN = 4,
    SEEN_SIZE = 8,
    SEEN_DIFFERS = 16,
    SEEN_RENEWED = 32,
    SEEN_RENEWAL = 64,
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
    if (fsp_line_is(line, "renewed")) {
        *bit = SEEN_RENEWED;
        return fsp_vkey_parse(&refusal->renewed, line->value, line->value_len, NULL);
    }
    if (fsp_line_is(line, "renewal")) {
        *bit = SEEN_RENEWAL;
        return read_renewal(line, &refusal->renewal);
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
    if ((seen & SEEN_NEEDED) != SEEN_NEEDED ||
            ((seen & SEEN_RENEWED) == 0) != ((seen & SEEN_RENEWAL) == 0))
        return FSP_EFORMAT;
    refusal->has_renewed = (seen & SEEN_RENEWED) != 0;
    if (refusal->has_renewed)
        memcpy(refusal->renewal.from.origin, refusal->origin, sizeof(refusal->origin));
    return FSP_OK;
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

void
fsp_answers_add_instruction(struct fsp_buf *buf, const void *note, size_t len)
{
    fsp_buf_printf(buf, "instruction %zu\n", len);
    fsp_buf_add(buf, note, len);
}

bool
fsp_answers_are(const void *bytes, size_t len)
{
    return len >= strlen(ANSWERS_TITLE) &&
           memcmp(bytes, ANSWERS_TITLE, strlen(ANSWERS_TITLE)) == 0;
}

void
fsp_answers_add_whole(struct fsp_buf *buf, int status, const void *bytes, size_t len)
{
    size_t title = strlen(ANSWERS_TITLE);

    if (status == FSP_ANSWER_TAKEN && fsp_answers_are(bytes, len))
        fsp_buf_add(buf, (const uint8_t *)bytes + title, len - title);
    else
        fsp_answers_add(buf, status, bytes, len);
}

enum fsp_rc
fsp_answers_open(
        struct fsp_answers_cursor *cursor, const void *bytes, size_t len, struct fsp_err *err)
{
    size_t title = strlen(ANSWERS_TITLE);

    cursor->bytes = bytes;
    cursor->len = len;
    cursor->pos = title;
    if (!fsp_answers_are(bytes, len)) {
        cursor->len = 0;
        cursor->pos = 0;
        return fsp_err_set(err, FSP_EFORMAT,
                "this is no file of answers (it does not begin with farspool-answers/v1)");
    }
    return FSP_OK;
}

/* "answer <status> <bytes>", "instruction <bytes>", or "<word> ... <bytes>" of a later version. */
static enum fsp_rc
read_frame(const struct fsp_line *line, struct fsp_answers_frame *frame)
{
    const char *end = line->value + line->value_len;
    const char *last = end; /* where the last word begins */
    uint64_t code = 0;
    uint64_t size = 0;

    while (last > line->value && last[-1] != ' ')
        last--;
    if (line->key_len == 0 || fsp_text_u64(last, (size_t)(end - last), &size) != FSP_OK ||
            size > FSP_NOTE_MAX)
        return FSP_EFORMAT;
    frame->len = (size_t)size;
    frame->kind = FSP_FRAME_UNKNOWN;
    if (fsp_line_is(line, "instruction")) {
        frame->kind = FSP_FRAME_INSTRUCTION;
        return last == line->value ? FSP_OK : FSP_EFORMAT;
    }
    if (!fsp_line_is(line, "answer"))
        return FSP_OK;
    if (last == line->value ||
            fsp_text_u64(line->value, (size_t)(last - line->value) - 1, &code) != FSP_OK ||
            code < 100 || code > 599)
        return FSP_EFORMAT;
    frame->kind = FSP_FRAME_ANSWER;
    frame->status = (int)code;
    return FSP_OK;
}

/* The next frame, whatever its word; the word's line too. */
static enum fsp_rc
any_frame(struct fsp_answers_cursor *cursor, struct fsp_line *line,
        struct fsp_answers_frame *frame, struct fsp_err *err)
{
    struct fsp_lines lines = {(const char *)cursor->bytes, cursor->len, cursor->pos};
    enum fsp_rc rc = fsp_lines_next(&lines, line);

    memset(frame, 0, sizeof(*frame));
    if (rc == FSP_ENOTFOUND)
        return fsp_err_set(err, FSP_ENOTFOUND, "no more answers");
    if (rc != FSP_OK || read_frame(line, frame) != FSP_OK) {
        memset(frame, 0, sizeof(*frame));
        return fsp_err_set(err, FSP_EFORMAT, "the file of answers was altered or cut");
    }
    if (frame->len > cursor->len - lines.pos) {
        memset(frame, 0, sizeof(*frame));
        return fsp_err_set(err, FSP_EFORMAT, "the file of answers was cut short");
    }
    frame->bytes = cursor->bytes + lines.pos;
    cursor->pos = lines.pos + frame->len;
    return FSP_OK;
}

enum fsp_rc
fsp_answers_next(
        struct fsp_answers_cursor *cursor, struct fsp_answers_frame *frame, struct fsp_err *err)
{
    struct fsp_line line;
    enum fsp_rc rc;

    do {
        rc = any_frame(cursor, &line, frame, err);
    } while (rc == FSP_OK && frame->kind == FSP_FRAME_UNKNOWN);
    return rc;
}

/* ---- what the office knows ---------------------------------------------------------------- */

void
fsp_answers_add_knows(struct fsp_buf *buf)
{
    char text[64];
    int len = snprintf(
            text, sizeof(text), "dictionary %d\nshort-receipt yes\n", FSP_DICTIONARY_NEWEST);

    fsp_buf_printf(buf, "knows %d\n%s", len, text);
}

static bool
read_knows(const struct fsp_answers_frame *frame, struct fsp_office_knows *out)
{
    struct fsp_lines lines = {(const char *)frame->bytes, frame->len, 0};
    struct fsp_office_knows knows = {.dictionary = 0};
    struct fsp_line line;
    uint64_t number = 0;

    while (fsp_lines_next(&lines, &line) == FSP_OK) {
        if (fsp_line_is(&line, "dictionary") && read_u64(&line, &number) == FSP_OK &&
                number <= UINT8_MAX)
            knows.dictionary = (unsigned)number;
        if (fsp_line_is(&line, "short-receipt"))
            knows.short_receipt = line.value_len == 3 && memcmp(line.value, "yes", 3) == 0;
    }
    if (knows.dictionary == 0)
        return false;
    *out = knows;
    return true;
}

bool
fsp_answers_knows(const void *bytes, size_t len, struct fsp_office_knows *out)
{
    struct fsp_answers_cursor cursor;
    struct fsp_answers_frame frame;
    struct fsp_line line;
    bool said = false;

    *out = (struct fsp_office_knows){.dictionary = 0};
    if (fsp_answers_open(&cursor, bytes, len, NULL) != FSP_OK)
        return false;
    while (any_frame(&cursor, &line, &frame, NULL) == FSP_OK)
        if (fsp_line_is(&line, "knows") && read_knows(&frame, out))
            said = true;
    return said;
}

bool
fsp_cosignatures_are(const void *bytes, size_t len)
{
    return len >= strlen(SIGNATURE) && memcmp(bytes, SIGNATURE, strlen(SIGNATURE)) == 0;
}
