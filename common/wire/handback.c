#include "wire/handback.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"
#include "proof/note.h"
#include "wire/bundle.h"
#include "wire/lines.h"

#define TITLE "farspool-hand-back/v1"

/* ---- writing ----------------------------------------------------------------------------- */

static void
write_manifest(struct fsp_buf *text, const struct fsp_handback *back)
{
    char hex[2 * sizeof(back->rest) + 1];

    fsp_text_hex(hex, back->rest, sizeof(back->rest));
    fsp_buf_printf(text, TITLE "\nfleet %s\nrig %s\nrest %s\n", back->fleet, back->rig, hex);
    for (size_t i = 0; i < back->n; i++) {
        fsp_buf_add_text(text, "log ");
        fsp_vkey_write(&back->logs[i].vkey, text);
        fsp_buf_printf(text, " %llu ", (unsigned long long)back->logs[i].size);
        fsp_base64(text, back->logs[i].root, sizeof(back->logs[i].root));
        fsp_buf_add_byte(text, '\n');
    }
}

void
fsp_handback_add_register(struct fsp_buf *rest, const void *reg, size_t len)
{
    fsp_buf_printf(rest, "register %zu\n", len);
    fsp_buf_add(rest, reg, len);
}

void
fsp_handback_add_head(struct fsp_buf *rest, const void *note, size_t len)
{
    fsp_buf_printf(rest, "head %zu\n", len);
    fsp_buf_add(rest, note, len);
}

enum fsp_rc
fsp_handback_write(struct fsp_buf *out, struct fsp_handback *back, struct fsp_buf *rest,
        const struct fsp_skey *instructions, struct fsp_err *err)
{
    struct fsp_buf text;
    struct fsp_buf note;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    fsp_buf_add_text(rest, "end\n");
    if (back->n > FSP_HANDBACK_LOGS)
        rc = fsp_err_set(err, FSP_ELIMIT, "more than %zu logs", FSP_HANDBACK_LOGS);
    if (rc == FSP_OK)
        rc = fsp_buf_check(rest, "the hand-back", err);
    if (rc == FSP_OK) {
        fsp_bundle_digest(rest->data, rest->len, back->rest);
        write_manifest(&text, back);
        rc = fsp_buf_check(&text, "a hand-back's manifest", err);
    }
    if (rc == FSP_OK)
        rc = fsp_note_sign(&note, text.data, text.len, instructions, err);
    if (rc == FSP_OK) {
        fsp_buf_printf(out, TITLE "\nmanifest %zu\n", note.len);
        fsp_buf_add(out, note.data, note.len);
        fsp_buf_add(out, rest->data, rest->len);
        rc = fsp_buf_check(out, "the hand-back", err);
    }
    fsp_buf_fini(&note);
    fsp_buf_fini(&text);
    return rc;
}

/* ---- reading ----------------------------------------------------------------------------- */

struct reader {
    const uint8_t *bytes;
    size_t len;
    size_t pos;
};

static enum fsp_rc
bad(struct fsp_err *err)
{
    return fsp_err_set(err, FSP_EFORMAT,
            "this is no whole hand-back: it was altered or cut; copy it again");
}

/* The line at the position without its LF, at most 63 bytes; *pos moves behind it. */
static enum fsp_rc
read_line(const uint8_t *bytes, size_t len, size_t *pos, char out[64])
{
    size_t left = len - *pos;
    const uint8_t *end = memchr(bytes + *pos, '\n', left < 64 ? left : 64);
    size_t n = end == NULL ? 0 : (size_t)(end - (bytes + *pos));

    if (end == NULL || n > 63)
        return FSP_EFORMAT;
    memcpy(out, bytes + *pos, n);
    out[n] = '\0';
    *pos += n + 1;
    return FSP_OK;
}

/* "word <bytes>" and that many bytes. FSP_ENOTFOUND and nothing moved when another word stands. */
static enum fsp_rc
read_frame(struct reader *reader, const char *word, const uint8_t **bytes, size_t *len)
{
    size_t pos = reader->pos;
    size_t word_len = strlen(word);
    char line[64];
    uint64_t n = 0;

    if (read_line(reader->bytes, reader->len, &pos, line) != FSP_OK)
        return FSP_EFORMAT;
    if (strncmp(line, word, word_len) != 0 || line[word_len] != ' ')
        return FSP_ENOTFOUND;
    if (fsp_text_u64(line + word_len + 1, strlen(line + word_len + 1), &n) != FSP_OK ||
            n == 0 || n > reader->len - pos)
        return FSP_EFORMAT;
    *bytes = reader->bytes + pos;
    *len = (size_t)n;
    reader->pos = pos + (size_t)n;
    return FSP_OK;
}

/* "<verifier key> <size> <root>" */
static enum fsp_rc
read_log(const struct fsp_line *line, struct fsp_handback_log *log)
{
    const char *end = line->value + line->value_len;
    const char *size = memchr(line->value, ' ', line->value_len);
    const char *root = size == NULL ? NULL : memchr(size + 1, ' ', (size_t)(end - size - 1));

    if (root == NULL)
        return FSP_EFORMAT;
    if (fsp_vkey_parse(&log->vkey, line->value, (size_t)(size - line->value), NULL) != FSP_OK ||
            log->vkey.type != FSP_KEY_NOTE ||
            fsp_text_u64(size + 1, (size_t)(root - size - 1), &log->size) != FSP_OK ||
            log->size > INT64_MAX)
        return FSP_EFORMAT;
    return fsp_unbase64_exact(root + 1, (size_t)(end - root - 1), log->root, sizeof(log->root));
}

static enum fsp_rc
add_log(struct fsp_handback *back, const struct fsp_line *line, size_t *cap)
{
    struct fsp_handback_log *log;

    if (back->n == FSP_HANDBACK_LOGS)
        return FSP_ELIMIT;
    if (fsp_mem_grow((void **)&back->logs, cap, back->n + 1, sizeof(*back->logs)) != 0)
        return FSP_ENOMEM;
    log = &back->logs[back->n];
    memset(log, 0, sizeof(*log));
    back->n++;
    return read_log(line, log);
}

static enum fsp_rc
read_rest(const struct fsp_line *line, uint8_t rest[32])
{
    char hex[65];

    if (fsp_line_copy(line, hex, sizeof(hex)) != FSP_OK)
        return FSP_EFORMAT;
    return fsp_text_unhex(rest, 32, hex);
}

static enum fsp_rc
read_manifest(struct fsp_handback *back, const char *text, size_t len)
{
    struct fsp_lines lines = {text, len, 0};
    struct fsp_line line;
    size_t cap = 0;
    enum fsp_rc rc = fsp_lines_next(&lines, &line);

    if (rc != FSP_OK || !fsp_line_is(&line, TITLE) || line.value_len > 0)
        return FSP_EFORMAT;
    for (;;) {
        rc = fsp_lines_next(&lines, &line);
        if (rc == FSP_ENOTFOUND)
            break;
        if (rc == FSP_OK && fsp_line_is(&line, "fleet"))
            rc = fsp_line_copy(&line, back->fleet, sizeof(back->fleet));
        else if (rc == FSP_OK && fsp_line_is(&line, "rig"))
            rc = fsp_line_copy(&line, back->rig, sizeof(back->rig));
        else if (rc == FSP_OK && fsp_line_is(&line, "rest"))
            rc = read_rest(&line, back->rest);
        else if (rc == FSP_OK && fsp_line_is(&line, "log"))
            rc = add_log(back, &line, &cap);
        if (rc != FSP_OK)
            return rc;
    }
    return back->fleet[0] != '\0' && back->rig[0] != '\0' ? FSP_OK : FSP_EFORMAT;
}

static enum fsp_rc
verify_manifest(struct fsp_handback *back, const uint8_t *bytes, size_t len,
        const struct fsp_vkey *instructions, struct fsp_err *err)
{
    struct fsp_note note;
    enum fsp_rc rc = fsp_note_parse(&note, bytes, len, err);

    if (rc == FSP_OK)
        rc = fsp_note_verify(&note, instructions, NULL, err);
    if (rc == FSP_ENOTFOUND)
        rc = fsp_err_set(err, FSP_EVERIFY,
                "not signed by the instructions key of this rig's office: whose hand-back is "
                "it?");
    if (rc == FSP_OK) {
        rc = read_manifest(back, note.text, note.text_len);
        if (rc != FSP_OK && rc != FSP_ENOMEM)
            rc = bad(err);
    }
    return rc;
}

/* Register and heads of one log. */
static enum fsp_rc
read_parts(struct reader *reader, struct fsp_handback_log *log)
{
    const uint8_t *bytes;
    size_t len;
    enum fsp_rc rc;

    if (log->size == 0)
        return FSP_OK;
    if (read_frame(reader, "register", &log->reg, &log->reg_len) != FSP_OK)
        return FSP_EFORMAT;
    log->heads = reader->bytes + reader->pos;
    do {
        rc = read_frame(reader, "head", &bytes, &len);
    } while (rc == FSP_OK);
    log->heads_len = (size_t)(reader->bytes + reader->pos - log->heads);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

enum fsp_rc
fsp_handback_read(struct fsp_handback *back, const void *bytes, size_t len,
        const struct fsp_vkey *instructions, struct fsp_err *err)
{
    struct reader reader = {bytes, len, 0};
    const uint8_t *manifest = NULL;
    size_t manifest_len = 0;
    uint8_t digest[32];
    char line[64];
    enum fsp_rc rc = FSP_OK;

    memset(back, 0, sizeof(*back));
    if (read_line(reader.bytes, len, &reader.pos, line) != FSP_OK || strcmp(line, TITLE) != 0)
        return fsp_err_set(
                err, FSP_EFORMAT, "this is no hand-back (it does not begin with " TITLE ")");
    if (read_frame(&reader, "manifest", &manifest, &manifest_len) != FSP_OK)
        return bad(err);
    rc = verify_manifest(back, manifest, manifest_len, instructions, err);
    if (rc == FSP_OK) {
        fsp_bundle_digest(reader.bytes + reader.pos, len - reader.pos, digest);
        if (memcmp(digest, back->rest, sizeof(digest)) != 0)
            rc = bad(err);
    }
    for (size_t i = 0; rc == FSP_OK && i < back->n; i++)
        if (read_parts(&reader, &back->logs[i]) != FSP_OK)
            rc = bad(err);
    if (rc == FSP_OK && (read_line(reader.bytes, len, &reader.pos, line) != FSP_OK ||
                                strcmp(line, "end") != 0 || reader.pos != len))
        rc = bad(err);
    if (rc != FSP_OK)
        fsp_handback_fini(back);
    return rc;
}

void
fsp_handback_fini(struct fsp_handback *back)
{
    free(back->logs);
    memset(back, 0, sizeof(*back));
}

enum fsp_rc
fsp_handback_head(
        const struct fsp_handback_log *log, size_t *pos, const uint8_t **note, size_t *len)
{
    struct reader reader = {log->heads, log->heads_len, *pos};
    enum fsp_rc rc;

    *note = NULL;
    *len = 0;
    if (*pos >= log->heads_len)
        return FSP_ENOTFOUND;
    rc = read_frame(&reader, "head", note, len);
    *pos = reader.pos;
    return rc;
}
