#include "proof/instruction.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/text.h"

#define TITLE    "farspool-instruction/v1"
#define NAME_END "/instructions"
#define ID_HEX   ((size_t)2 * FSP_INSTRUCTION_ID_LEN)

static const struct {
    const char *text;
    enum fsp_instruction_about about;
} abouts[] = {{"roster", FSP_ABOUT_ROSTER}, {"keys", FSP_ABOUT_KEYS},
        {"program", FSP_ABOUT_PROGRAM}, {"message", FSP_ABOUT_MESSAGE}};
#define ABOUTS (sizeof(abouts) / sizeof(abouts[0]))

const char *
fsp_instruction_about_text(enum fsp_instruction_about about)
{
    for (size_t i = 0; i < ABOUTS; i++)
        if (abouts[i].about == about)
            return abouts[i].text;
    return "other";
}

/* What is left of a text that is read line by line. */
struct rest {
    const char *at;
    const char *end;
};

/* The next line, without its LF; false at the end, without an LF, or when it is no text. */
static bool
take_line(struct rest *rest, const char **line, size_t *len)
{
    const char *end = rest->at < rest->end
                              ? memchr(rest->at, '\n', (size_t)(rest->end - rest->at))
                              : NULL;

    if (end == NULL || !fsp_text_printable(rest->at, (size_t)(end - rest->at)))
        return false;
    *line = rest->at;
    *len = (size_t)(end - rest->at);
    rest->at = end + 1;
    return true;
}

/* A line of the form "word value"; the value may be empty only when there is no space. */
static bool
take_value(struct rest *rest, const char *word, const char **value, size_t *len)
{
    size_t word_len = strlen(word);

    if (!take_line(rest, value, len) || *len <= word_len + 1 ||
            memcmp(*value, word, word_len) != 0 || (*value)[word_len] != ' ')
        return false;
    *value += word_len + 1;
    *len -= word_len + 1;
    return true;
}

static bool
take_name(struct rest *rest, const char *word, char out[FSP_NAME_MAX + 1])
{
    const char *value = NULL;
    size_t len = 0;

    if (!take_value(rest, word, &value, &len) || len > FSP_NAME_MAX)
        return false;
    memcpy(out, value, len);
    out[len] = '\0';
    return fsp_text_name(out);
}

static bool
take_id(struct rest *rest, uint8_t id[FSP_INSTRUCTION_ID_LEN])
{
    char hex[ID_HEX + 1];
    char again[ID_HEX + 1];
    const char *value = NULL;
    size_t len = 0;

    if (!take_value(rest, "id", &value, &len) || len != ID_HEX)
        return false;
    memcpy(hex, value, len);
    hex[len] = '\0';
    if (fsp_text_unhex(id, FSP_INSTRUCTION_ID_LEN, hex) != FSP_OK)
        return false;
    fsp_text_hex(again, id, FSP_INSTRUCTION_ID_LEN);
    return strcmp(again, hex) == 0; /* lower case only: one id, one text */
}

static bool
take_time(struct rest *rest, int64_t *out)
{
    char text[FSP_TIME_TEXT_LEN + 1];
    char again[FSP_TIME_TEXT_LEN + 1];
    const char *value = NULL;
    size_t len = 0;

    if (!take_value(rest, "made", &value, &len) || len != FSP_TIME_TEXT_LEN)
        return false;
    memcpy(text, value, len);
    text[len] = '\0';
    if (fsp_time_parse(text, NULL, out, NULL) != FSP_OK)
        return false;
    fsp_time_text(*out, again);
    return strcmp(again, text) == 0;
}

static bool
take_about(struct rest *rest, enum fsp_instruction_about *about)
{
    const char *value = NULL;
    size_t len = 0;

    if (!take_value(rest, "about", &value, &len))
        return false;
    *about = FSP_ABOUT_OTHER;
    for (size_t i = 0; i < ABOUTS; i++)
        if (len == strlen(abouts[i].text) && memcmp(value, abouts[i].text, len) == 0)
            *about = abouts[i].about;
    return true;
}

/* At least one byte, whole lines of text. */
static bool
take_body(struct rest *rest, const char **body, size_t *len)
{
    const char *line = NULL;
    size_t line_len = 0;

    *body = rest->at;
    *len = (size_t)(rest->end - rest->at);
    while (rest->at < rest->end)
        if (!take_line(rest, &line, &line_len))
            return false;
    return *len > 0;
}

static enum fsp_rc
read_text(struct fsp_instruction *out, const char *text, size_t len, struct fsp_err *err)
{
    struct rest rest = {text, text + len};
    const char *line = NULL;
    size_t line_len = 0;

    if (len > FSP_INSTRUCTION_TEXT_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "it has %zu bytes; at most %zu are allowed", len,
                FSP_INSTRUCTION_TEXT_MAX);
    if (!take_line(&rest, &line, &line_len) || line_len != strlen(TITLE) ||
            memcmp(line, TITLE, line_len) != 0)
        return fsp_err_set(err, FSP_EFORMAT, "it does not begin with " TITLE);
    if (!take_name(&rest, "fleet", out->fleet))
        return fsp_err_set(err, FSP_EFORMAT, "line 2 is not of the form 'fleet NAME'");
    if (!take_name(&rest, "rig", out->rig))
        return fsp_err_set(err, FSP_EFORMAT, "line 3 is not of the form 'rig NAME'");
    if (!take_id(&rest, out->id))
        return fsp_err_set(err, FSP_EFORMAT,
                "line 4 is not of the form 'id NUMBER' with %u digits of 0-9a-f",
                (unsigned)ID_HEX);
    if (!take_time(&rest, &out->made_s))
        return fsp_err_set(
                err, FSP_EFORMAT, "line 5 is not of the form 'made 2026-03-01T00:00:00Z'");
    if (!take_about(&rest, &out->about))
        return fsp_err_set(err, FSP_EFORMAT, "line 6 is not of the form 'about WORD'");
    if (!take_line(&rest, &line, &line_len) || line_len != 0)
        return fsp_err_set(err, FSP_EFORMAT, "line 7 is not empty");
    if (!take_body(&rest, &out->body, &out->body_len))
        return fsp_err_set(
                err, FSP_EFORMAT, "its body is empty, cut short or has characters of no text");
    out->text = text;
    out->text_len = len;
    return FSP_OK;
}

enum fsp_rc
fsp_instruction_parse(
        struct fsp_instruction *out, const char *text, size_t len, struct fsp_err *err)
{
    enum fsp_rc rc;

    memset(out, 0, sizeof(*out));
    rc = read_text(out, text, len, err);
    if (rc == FSP_OK)
        return FSP_OK;
    memset(out, 0, sizeof(*out));
    return fsp_err_wrap(err, rc, "instruction");
}

void
fsp_instruction_write(const struct fsp_instruction *instruction, struct fsp_buf *buf)
{
    char id[ID_HEX + 1];
    char made[FSP_TIME_TEXT_LEN + 1];

    fsp_text_hex(id, instruction->id, sizeof(instruction->id));
    fsp_time_text(instruction->made_s, made);
    fsp_buf_printf(buf, TITLE "\nfleet %s\nrig %s\nid %s\nmade %s\nabout %s\n\n",
            instruction->fleet, instruction->rig, id, made,
            fsp_instruction_about_text(instruction->about));
    fsp_buf_add(buf, instruction->body, instruction->body_len);
}

/* "<fleet>/instructions" of type 0x01: nobody else's word counts. */
static bool
key_fits(const struct fsp_vkey *key, const char *fleet)
{
    size_t len = strlen(fleet);

    return key->type == FSP_KEY_NOTE && strncmp(key->name, fleet, len) == 0 &&
           strcmp(key->name + len, NAME_END) == 0;
}

enum fsp_rc
fsp_instruction_sign(struct fsp_buf *buf, const struct fsp_instruction *instruction,
        const struct fsp_skey *instructions, struct fsp_err *err)
{
    struct fsp_instruction again;
    struct fsp_buf text;
    enum fsp_rc rc;

    fsp_buf_init(&text, 2 * FSP_INSTRUCTION_TEXT_MAX);
    fsp_instruction_write(instruction, &text);
    rc = fsp_buf_check(&text, "an instruction", err);
    if (rc == FSP_OK)
        rc = fsp_instruction_parse(&again, fsp_buf_peek(&text), text.len, err);
    if (rc == FSP_OK && again.about == FSP_ABOUT_OTHER)
        rc = fsp_err_set(err, FSP_EINVAL, "instruction: about nothing that has a name");
    if (rc == FSP_OK && !key_fits(fsp_skey_vkey(instructions), instruction->fleet))
        rc = fsp_err_set(err, FSP_EINVAL,
                "instruction: %s is not the instructions key of fleet %s",
                fsp_skey_vkey(instructions)->name, instruction->fleet);
    if (rc == FSP_OK)
        rc = fsp_note_sign(buf, text.data, text.len, instructions, err);
    fsp_buf_fini(&text);
    return rc;
}

static const uint8_t *
signature_of(const struct fsp_note *note, const struct fsp_vkey *key)
{
    for (size_t i = 0; i < note->lines; i++) {
        const struct fsp_note_line *line = &note->line[i];

        if (line->name_len == strlen(key->name) &&
                memcmp(line->name, key->name, line->name_len) == 0 &&
                memcmp(line->id, key->id, sizeof(line->id)) == 0)
            return line->sig;
    }
    return NULL;
}

/* The first of the keys that signed; a line of any of them that is bad spoils the note. */
static enum fsp_rc
find_signer(const struct fsp_note *note, const struct fsp_vkey *keys, size_t n_keys,
        const struct fsp_vkey **out, struct fsp_err *err)
{
    *out = NULL;
    for (size_t i = 0; i < n_keys; i++) {
        enum fsp_rc rc = fsp_note_verify(note, &keys[i], NULL, err);

        if (rc == FSP_OK && *out == NULL)
            *out = &keys[i];
        if (rc != FSP_OK && rc != FSP_ENOTFOUND)
            return rc;
    }
    return *out != NULL ? FSP_OK
                        : fsp_err_set(err, FSP_EVERIFY,
                                  "it is signed by no instructions key that counts");
}

enum fsp_rc
fsp_instruction_read(struct fsp_instruction *out, const void *note, size_t len,
        const struct fsp_vkey *keys, size_t n_keys, struct fsp_err *err)
{
    const struct fsp_vkey *signer = NULL;
    const uint8_t *sig = NULL;
    struct fsp_note parsed;
    enum fsp_rc rc;

    memset(out, 0, sizeof(*out));
    rc = fsp_note_parse(&parsed, note, len, err);
    if (rc == FSP_OK)
        rc = find_signer(&parsed, keys, n_keys, &signer, err);
    if (rc == FSP_OK)
        rc = read_text(out, parsed.text, parsed.text_len, err);
    if (rc == FSP_OK && signer != NULL && !key_fits(signer, out->fleet))
        rc = fsp_err_set(err, FSP_EVERIFY,
                "it is for fleet %s, but signed by %s, which is not that fleet's instructions "
                "key",
                out->fleet, signer->name);
    if (rc == FSP_OK && signer != NULL)
        sig = signature_of(&parsed, signer);
    if (rc == FSP_OK && sig != NULL) {
        memcpy(out->sig, sig, sizeof(out->sig));
        return FSP_OK;
    }
    memset(out, 0, sizeof(*out));
    return fsp_err_wrap(err, rc, "instruction");
}

/* The two members of the record. FSP_EFORMAT when they are not of that kind. */
static enum fsp_rc
take_members(const struct fsp_record *record, struct fsp_buf *text, uint8_t sig[FSP_SIG_LEN],
        struct fsp_err *err)
{
    const char *kind = fsp_record_text(record, "kind");
    const char *bytes = fsp_record_text(record, "bytes");
    const char *signature = fsp_record_text(record, "sig");

    if (kind == NULL || strcmp(kind, "instruction") != 0 || bytes == NULL || signature == NULL)
        return fsp_err_set(err, FSP_EFORMAT, "this is no record of an instruction");
    if (fsp_unbase64(bytes, strlen(bytes), text) != FSP_OK || text->rc != FSP_OK)
        return fsp_err_set(err, FSP_EFORMAT, "its bytes are no base64 of at most %zu bytes",
                FSP_INSTRUCTION_TEXT_MAX);
    if (fsp_unbase64_exact(signature, strlen(signature), sig, FSP_SIG_LEN) != FSP_OK)
        return fsp_err_set(
                err, FSP_EFORMAT, "its sig is no base64 of %u bytes", (unsigned)FSP_SIG_LEN);
    return FSP_OK;
}

enum fsp_rc
fsp_instruction_of_record(struct fsp_instruction *out, const struct fsp_record *record,
        const struct fsp_vkey *keys, size_t n_keys, struct fsp_buf *buf, struct fsp_err *err)
{
    const struct fsp_vkey *signer = NULL;
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_buf text;
    enum fsp_rc rc;

    memset(out, 0, sizeof(*out));
    fsp_buf_init(&text, FSP_INSTRUCTION_TEXT_MAX);
    rc = take_members(record, &text, sig, err);
    for (size_t i = 0; rc == FSP_OK && i < n_keys && signer == NULL; i++)
        if (keys[i].type == FSP_KEY_NOTE &&
                fsp_vkey_verify(&keys[i], fsp_buf_peek(&text), text.len, sig) == FSP_OK)
            signer = &keys[i];
    if (rc == FSP_OK && signer == NULL)
        rc = fsp_err_set(
                err, FSP_EVERIFY, "its signature holds for no instructions key that counts");
    if (rc == FSP_OK) {
        fsp_buf_reset(buf);
        fsp_buf_add(buf, text.data, text.len);
        fsp_buf_add_byte(buf, '\n');
        fsp_note_add_line(buf, signer, sig, sizeof(sig));
        rc = fsp_buf_check(buf, "its note", err);
    }
    if (rc == FSP_OK)
        rc = fsp_instruction_read(out, buf->data, buf->len, signer, 1, NULL);
    if (rc != FSP_OK)
        rc = fsp_err_wrap(err, rc, "instruction");
    fsp_buf_fini(&text);
    return rc;
}
