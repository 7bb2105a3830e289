#include "proof/note.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

#define DASH       "\xe2\x80\x94 " /* em dash and space: how a signature line begins */
#define DASH_LEN   ((size_t)4)
#define ID_LEN     ((size_t)4)
#define TIME_LEN   ((size_t)8)
#define COSIG_LEN  (TIME_LEN + FSP_SIG_LEN)
#define COSIG_HEAD "cosignature/v1\n"
#define HEAD_MAX   (FSP_ORIGIN_MAX + 1 + 20 + 1 + 44 + 1) /* a checkpoint's text */

/* The first empty line from the end: where the text's final LF is followed by one more. */
static const char *
last_empty_line(const char *bytes, size_t len)
{
    for (size_t pos = len; pos >= 2; pos--)
        if (bytes[pos - 1] == '\n' && bytes[pos - 2] == '\n')
            return bytes + pos - 1;
    return NULL;
}

/* Every line printable: stricter than the standard, which only bars bytes below 0x20. */
static bool
lines_are_printable(const char *text, size_t len)
{
    while (len > 0) {
        const char *end = memchr(text, '\n', len);
        size_t line_len = end == NULL ? len : (size_t)(end - text);

        if (!fsp_text_printable(text, line_len))
            return false;
        if (end == NULL)
            return true;
        text = end + 1;
        len -= line_len + 1;
    }
    return true;
}

/* One signature line without its LF. *used counts the bytes of note->decoded. */
static enum fsp_rc
parse_line(
        struct fsp_note *note, const char *text, size_t len, size_t *used, struct fsp_err *err)
{
    struct fsp_note_line *line = &note->line[note->lines];
    const char *space;
    struct fsp_buf decoded;
    enum fsp_rc rc = FSP_OK;

    if (len < DASH_LEN || memcmp(text, DASH, DASH_LEN) != 0)
        return fsp_err_set(err, FSP_EFORMAT, "does not begin with a dash and a space");
    text += DASH_LEN;
    len -= DASH_LEN;
    space = memchr(text, ' ', len);
    if (space == NULL || !fsp_key_name_ok(text, (size_t)(space - text)))
        return fsp_err_set(err, FSP_EFORMAT, "names no key");
    line->name = text;
    line->name_len = (size_t)(space - text);
    len -= line->name_len + 1;
    fsp_buf_init(&decoded, sizeof(note->decoded));
    rc = fsp_unbase64(space + 1, len, &decoded);
    if (rc == FSP_ENOMEM) {
        rc = fsp_err_set(err, rc, "out of memory");
    } else if (rc == FSP_ELIMIT || decoded.len > sizeof(note->decoded) - *used) {
        rc = fsp_err_set(err, FSP_ELIMIT, "signatures are too long");
    } else if (rc != FSP_OK || decoded.len <= ID_LEN) {
        rc = fsp_err_set(err, FSP_EFORMAT,
                "its signature is no canonical base64 of an id and "
                "a signature");
    } else {
        memcpy(note->decoded + *used, decoded.data, decoded.len);
        memcpy(line->id, decoded.data, ID_LEN);
        line->sig = note->decoded + *used + ID_LEN;
        line->sig_len = decoded.len - ID_LEN;
        *used += decoded.len;
        note->lines++;
    }
    fsp_buf_fini(&decoded);
    return rc;
}

enum fsp_rc
fsp_note_parse(struct fsp_note *note, const void *bytes, size_t len, struct fsp_err *err)
{
    const char *text = bytes;
    const char *gap;
    const char *pos;
    size_t used = 0;

    memset(note, 0, sizeof(*note));
    if (len > FSP_NOTE_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "signed note: over %zu bytes", FSP_NOTE_MAX);
    if (len == 0 || text[len - 1] != '\n')
        return fsp_err_set(err, FSP_EFORMAT, "signed note: does not end in a newline");
    gap = last_empty_line(text, len);
    if (gap == NULL)
        return fsp_err_set(
                err, FSP_EFORMAT, "signed note: no empty line between text and signatures");
    if (!lines_are_printable(text, len))
        return fsp_err_set(
                err, FSP_EFORMAT, "signed note: has control characters or is no UTF-8");
    pos = gap + 1;
    if (pos == text + len)
        return fsp_err_set(err, FSP_EFORMAT, "signed note: has no signature line");
    while (pos < text + len) {
        const char *end = memchr(pos, '\n', (size_t)(text + len - pos));
        enum fsp_rc rc;

        if (end == NULL)
            return fsp_err_set(err, FSP_EFORMAT, "signed note: a line without end");
        if (note->lines == FSP_NOTE_LINES_MAX)
            return fsp_err_set(err, FSP_ELIMIT, "signed note: over %zu signature lines",
                    FSP_NOTE_LINES_MAX);
        rc = parse_line(note, pos, (size_t)(end - pos), &used, err);
        if (rc != FSP_OK)
            return fsp_err_wrap(err, rc, "signed note: signature line %zu", note->lines + 1);
        pos = end + 1;
    }
    note->text = text;
    note->text_len = (size_t)(gap - text);
    return FSP_OK;
}

/* What a cosigner signs over the checkpoint's text. */
static void
cosigned_message(struct fsp_buf *buf, uint64_t time_s, const char *text, size_t len)
{
    fsp_buf_init(buf, FSP_NOTE_MAX + 64);
    fsp_buf_printf(buf, COSIG_HEAD "time %llu\n", (unsigned long long)time_s);
    fsp_buf_add(buf, text, len);
}

static enum fsp_rc
verify_cosignature(const struct fsp_note *note, const struct fsp_note_line *line,
        const struct fsp_vkey *vkey, uint64_t *time_s, struct fsp_err *err)
{
    struct fsp_buf message;
    struct fsp_checkpoint head;
    enum fsp_rc rc;

    *time_s = 0;
    if (line->sig_len != COSIG_LEN)
        return fsp_err_set(err, FSP_EVERIFY, "the cosignature of %s has %zu bytes, not %zu",
                vkey->name, line->sig_len, COSIG_LEN);
    rc = fsp_checkpoint_parse(&head, note->text, note->text_len, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "cosigned by %s", vkey->name);
    for (size_t i = 0; i < TIME_LEN; i++)
        *time_s = *time_s << 8 | line->sig[i];
    cosigned_message(&message, *time_s, note->text, note->text_len);
    rc = fsp_buf_check(&message, "a cosigned message", err);
    if (rc != FSP_OK)
        goto out;
    rc = *time_s > INT64_MAX
                 ? FSP_EVERIFY
                 : fsp_vkey_verify(vkey, message.data, message.len, line->sig + TIME_LEN);
    if (rc != FSP_OK)
        rc = fsp_err_set(err, rc, "the cosignature of %s is not good", vkey->name);
out:
    fsp_buf_fini(&message);
    return rc;
}

static enum fsp_rc
verify_signature(const struct fsp_note *note, const struct fsp_note_line *line,
        const struct fsp_vkey *vkey, struct fsp_err *err)
{
    if (line->sig_len != FSP_SIG_LEN ||
            fsp_vkey_verify(vkey, note->text, note->text_len, line->sig) != FSP_OK)
        return fsp_err_set(err, FSP_EVERIFY, "the signature of %s is not good", vkey->name);
    return FSP_OK;
}

static bool
line_names(const struct fsp_note_line *line, const struct fsp_vkey *vkey)
{
    return line->name_len == strlen(vkey->name) &&
           memcmp(line->name, vkey->name, line->name_len) == 0 &&
           memcmp(line->id, vkey->id, ID_LEN) == 0;
}

enum fsp_rc
fsp_note_verify(const struct fsp_note *note, const struct fsp_vkey *vkey, uint64_t *time_s,
        struct fsp_err *err)
{
    uint64_t earliest = 0;
    bool found = false;

    if (time_s != NULL)
        *time_s = 0;
    for (size_t i = 0; i < note->lines; i++) {
        uint64_t line_s = 0;
        enum fsp_rc rc;

        if (!line_names(&note->line[i], vkey))
            continue;
        rc = vkey->type == FSP_KEY_COSIGNER
                     ? verify_cosignature(note, &note->line[i], vkey, &line_s, err)
                     : verify_signature(note, &note->line[i], vkey, err);
        if (rc != FSP_OK)
            return rc;
        if (!found || line_s < earliest)
            earliest = line_s;
        found = true;
    }
    if (!found)
        return fsp_err_set(err, FSP_ENOTFOUND, "no signature line of %s", vkey->name);
    if (time_s != NULL)
        *time_s = earliest;
    return FSP_OK;
}

enum fsp_rc
fsp_note_sign(struct fsp_buf *buf, const void *text, size_t len, const struct fsp_skey *skey,
        struct fsp_err *err)
{
    const struct fsp_vkey *vkey = fsp_skey_vkey(skey);
    const char *chars = text;
    uint8_t sig[FSP_SIG_LEN];
    enum fsp_rc rc;

    if (vkey->type != FSP_KEY_NOTE)
        return fsp_err_set(err, FSP_EINVAL, "%s only cosigns, it signs no notes", vkey->name);
    if (len == 0 || chars[len - 1] != '\n' || !lines_are_printable(chars, len))
        return fsp_err_set(err, FSP_EINVAL, "a note's text is printable lines that end in LF");
    rc = fsp_skey_sign(skey, text, len, sig, err);
    if (rc != FSP_OK)
        return rc;
    fsp_buf_add(buf, text, len);
    fsp_buf_add_byte(buf, '\n');
    fsp_note_add_line(buf, vkey, sig, sizeof(sig));
    return fsp_buf_check(buf, "a signed note", err);
}

void
fsp_note_add_line(
        struct fsp_buf *buf, const struct fsp_vkey *vkey, const uint8_t *sig, size_t len)
{
    uint8_t raw[ID_LEN + COSIG_LEN];

    if (len > COSIG_LEN) {
        if (buf->rc == FSP_OK)
            buf->rc = FSP_EINVAL;
        return;
    }
    memcpy(raw, vkey->id, ID_LEN);
    memcpy(raw + ID_LEN, sig, len);
    fsp_buf_printf(buf, DASH "%s ", vkey->name);
    fsp_base64(buf, raw, ID_LEN + len);
    fsp_buf_add_byte(buf, '\n');
}

void
fsp_checkpoint_write(const struct fsp_checkpoint *head, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "%s\n%llu\n", head->origin, (unsigned long long)head->size);
    fsp_base64(buf, head->root, sizeof(head->root));
    fsp_buf_add_byte(buf, '\n');
}

/* Cut one line off the front; false when there is none that ends in LF. */
static bool
take_line(const char **text, size_t *len, const char **line, size_t *line_len)
{
    const char *end = *len == 0 ? NULL : memchr(*text, '\n', *len);

    if (end == NULL)
        return false;
    *line = *text;
    *line_len = (size_t)(end - *text);
    *len -= *line_len + 1;
    *text = end + 1;
    return true;
}

enum fsp_rc
fsp_checkpoint_parse(
        struct fsp_checkpoint *head, const char *text, size_t len, struct fsp_err *err)
{
    struct fsp_checkpoint got = {.size = 0};
    const char *line;
    size_t line_len;

    memset(head, 0, sizeof(*head));
    if (!take_line(&text, &len, &line, &line_len) || !fsp_key_name_ok(line, line_len))
        return fsp_err_set(err, FSP_EFORMAT, "checkpoint: its first line is no origin");
    memcpy(got.origin, line, line_len);
    if (!take_line(&text, &len, &line, &line_len) ||
            fsp_text_u64(line, line_len, &got.size) != FSP_OK)
        return fsp_err_set(err, FSP_EFORMAT, "checkpoint: its second line is no size");
    if (!take_line(&text, &len, &line, &line_len) ||
            fsp_unbase64_exact(line, line_len, got.root, sizeof(got.root)) != FSP_OK)
        return fsp_err_set(
                err, FSP_EFORMAT, "checkpoint: its third line is no base64 of 32 bytes");
    if (len != 0)
        return fsp_err_set(
                err, FSP_EFORMAT, "checkpoint: has extension lines, which are not taken here");
    *head = got;
    return FSP_OK;
}

enum fsp_rc
fsp_cosign(const struct fsp_checkpoint *head, const struct fsp_skey *cosigner, uint64_t time_s,
        uint8_t out[8 + FSP_SIG_LEN], struct fsp_err *err)
{
    const struct fsp_vkey *vkey = fsp_skey_vkey(cosigner);
    struct fsp_buf text;
    struct fsp_buf message;
    enum fsp_rc rc;

    if (vkey->type != FSP_KEY_COSIGNER || time_s > INT64_MAX)
        return fsp_err_set(
                err, FSP_EINVAL, "%s cannot cosign (wrong type of key, or time)", vkey->name);
    fsp_buf_init(&text, HEAD_MAX);
    fsp_checkpoint_write(head, &text);
    cosigned_message(&message, time_s, fsp_buf_peek(&text), text.len);
    rc = fsp_buf_check(&text, "a checkpoint", err);
    if (rc == FSP_OK)
        rc = fsp_buf_check(&message, "a cosigned message", err);
    if (rc != FSP_OK)
        goto out;
    for (size_t i = 0; i < TIME_LEN; i++)
        out[i] = (uint8_t)(time_s >> (8 * (TIME_LEN - 1 - i)));
    rc = fsp_skey_sign(cosigner, message.data, message.len, out + TIME_LEN, err);
out:
    fsp_buf_fini(&text);
    fsp_buf_fini(&message);
    return rc;
}
