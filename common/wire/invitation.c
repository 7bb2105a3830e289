#include "wire/invitation.h"

#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "wire/dictionary.h"
#include "wire/lines.h"

#define TITLE "farspool-invitation/v1"

static void
add_base64_line(struct fsp_buf *text, const char *key, const void *bytes, size_t len)
{
    fsp_buf_printf(text, "%s ", key);
    fsp_base64(text, bytes, len);
    fsp_buf_add_byte(text, '\n');
}

static void
add_vkey_line(struct fsp_buf *text, const char *key, const struct fsp_vkey *vkey)
{
    fsp_buf_printf(text, "%s ", key);
    fsp_vkey_write(vkey, text);
    fsp_buf_add_byte(text, '\n');
}

/* http:// or https://, a host, no spaces, no user name in it. */
static bool
url_ok(const char *url)
{
    size_t len = strlen(url);
    const char *host;

    if (len == 0)
        return true;
    if (strncmp(url, "http://", 7) == 0)
        host = url + 7;
    else if (strncmp(url, "https://", 8) == 0)
        host = url + 8;
    else
        return false;
    for (size_t i = 0; i < len; i++)
        if (url[i] <= 0x20 || url[i] >= 0x7f)
            return false;
    return *host != '\0' && *host != '/' && strpbrk(url, "@\"<>\\") == NULL;
}

/* Over TLS the pins are the only trust there is. */
static bool
pins_ok(const struct fsp_invitation *invitation)
{
    if (invitation->has_pins)
        return memcmp(invitation->pins[0], invitation->pins[1], FSP_PIN_LEN) != 0;
    return strncmp(invitation->url, "https://", 8) != 0;
}

/* "<fleet>/office" and "<fleet>/instructions": else an invitation could mix two fleets. */
static bool
key_names_ok(const struct fsp_invitation *invitation)
{
    char name[FSP_NAME_MAX + sizeof("/instructions")];

    (void)snprintf(name, sizeof(name), "%s/office", invitation->fleet);
    if (strcmp(invitation->cosigner.name, name) != 0)
        return false;
    (void)snprintf(name, sizeof(name), "%s/instructions", invitation->fleet);
    return strcmp(invitation->instructions.name, name) == 0;
}

enum fsp_rc
fsp_invitation_sign(struct fsp_buf *buf, const struct fsp_invitation *invitation,
        const struct fsp_skey *instructions, struct fsp_err *err)
{
    struct fsp_buf text;
    enum fsp_rc rc;

    if (!fsp_text_name(invitation->fleet) || !fsp_text_name(invitation->rig))
        return fsp_err_set(err, FSP_EINVAL,
                "names of fleet and rig have 1 to %zu of a-z, 0-9 and '-'", FSP_NAME_MAX);
    if (!url_ok(invitation->url))
        return fsp_err_set(err, FSP_EINVAL,
                "the address must be http:// or https:// and a host, without a user name");
    if (!key_names_ok(invitation))
        return fsp_err_set(
                err, FSP_EINVAL, "the keys are not those of fleet %s", invitation->fleet);
    if (!pins_ok(invitation))
        return fsp_err_set(
                err, FSP_EINVAL, "an https:// address needs the pins of two TLS keys");
    fsp_buf_init(&text, FSP_INVITATION_MAX);
    fsp_buf_printf(&text, "%s\nfleet %s\nrig %s\n", TITLE, invitation->fleet, invitation->rig);
    if (invitation->url[0] != '\0')
        fsp_buf_printf(&text, "url %s\n", invitation->url);
    add_vkey_line(&text, "cosigner", &invitation->cosigner);
    add_vkey_line(&text, "instructions", &invitation->instructions);
    add_base64_line(&text, "box", invitation->box_pub, sizeof(invitation->box_pub));
    add_base64_line(&text, "token", invitation->token, sizeof(invitation->token));
    fsp_buf_printf(&text, "dictionaries %d\n", FSP_DICTIONARY_NEWEST);
    for (size_t i = 0; invitation->has_pins && i < FSP_PINS; i++)
        add_base64_line(&text, "pin", invitation->pins[i], FSP_PIN_LEN);
    rc = fsp_buf_check(&text, "an invitation", err);
    if (rc == FSP_OK)
        rc = fsp_note_sign(buf, text.data, text.len, instructions, err);
    fsp_buf_fini(&text);
    return rc;
}

enum seen {
    SEEN_FLEET = 1,
    SEEN_RIG = 2,
    SEEN_URL = 4,
    SEEN_COSIGNER = 8,
    SEEN_INSTRUCTIONS = 16,
    SEEN_BOX = 32,
    SEEN_TOKEN = 64,
    SEEN_PIN = 128,  /* the first */
    SEEN_PINS = 256, /* both */
    SEEN_NEEDED =
            SEEN_FLEET | SEEN_RIG | SEEN_COSIGNER | SEEN_INSTRUCTIONS | SEEN_BOX | SEEN_TOKEN,
};

static enum fsp_rc
read_name(const struct fsp_line *line, char *out)
{
    enum fsp_rc rc = fsp_line_copy(line, out, FSP_NAME_MAX + 1);

    return rc == FSP_OK && fsp_text_name(out) ? FSP_OK : FSP_EFORMAT;
}

static enum fsp_rc
read_url(const struct fsp_line *line, char *out)
{
    enum fsp_rc rc = fsp_line_copy(line, out, FSP_URL_MAX + 1);

    return rc == FSP_OK && url_ok(out) ? FSP_OK : FSP_EFORMAT;
}

static enum fsp_rc
read_vkey(const struct fsp_line *line, enum fsp_key_type type, struct fsp_vkey *out)
{
    enum fsp_rc rc = fsp_vkey_parse(out, line->value, line->value_len, NULL);

    return rc == FSP_OK && out->type == type ? FSP_OK : FSP_EFORMAT;
}

/* The two pins, one line each, in this order. */
static enum fsp_rc
read_pin(struct fsp_invitation *invitation, const struct fsp_line *line, unsigned which)
{
    uint8_t *pin = invitation->pins[which == SEEN_PIN ? 0 : 1];

    invitation->has_pins = which == SEEN_PINS;
    return fsp_unbase64_exact(line->value, line->value_len, pin, FSP_PIN_LEN);
}

static enum fsp_rc
read_line(struct fsp_invitation *invitation, const struct fsp_line *line, unsigned seen,
        unsigned *bit)
{
    static const struct {
        const char *key;
        unsigned bit;
    } keys[] = {{"fleet", SEEN_FLEET}, {"rig", SEEN_RIG}, {"url", SEEN_URL},
            {"cosigner", SEEN_COSIGNER}, {"instructions", SEEN_INSTRUCTIONS}, {"box", SEEN_BOX},
            {"token", SEEN_TOKEN}, {"pin", SEEN_PIN}};

    *bit = 0;
    for (size_t i = 0; i < sizeof(keys) / sizeof(keys[0]); i++)
        if (fsp_line_is(line, keys[i].key))
            *bit = keys[i].bit;
    if (*bit == SEEN_PIN && (seen & SEEN_PIN) != 0)
        *bit = SEEN_PINS;
    switch (*bit) {
    case SEEN_FLEET:
        return read_name(line, invitation->fleet);
    case SEEN_RIG:
        return read_name(line, invitation->rig);
    case SEEN_URL:
        return read_url(line, invitation->url);
    case SEEN_COSIGNER:
        return read_vkey(line, FSP_KEY_COSIGNER, &invitation->cosigner);
    case SEEN_INSTRUCTIONS:
        return read_vkey(line, FSP_KEY_NOTE, &invitation->instructions);
    case SEEN_BOX:
        return fsp_unbase64_exact(
                line->value, line->value_len, invitation->box_pub, sizeof(invitation->box_pub));
    case SEEN_TOKEN:
        return fsp_unbase64_exact(
                line->value, line->value_len, invitation->token, sizeof(invitation->token));
    case SEEN_PIN:
    case SEEN_PINS:
        return read_pin(invitation, line, *bit);
    default:
        return FSP_OK; /* lines of later versions */
    }
}

static enum fsp_rc
read_text(struct fsp_invitation *invitation, const char *text, size_t len, struct fsp_err *err)
{
    struct fsp_lines lines = {text, len, 0};
    struct fsp_line line;
    unsigned seen = 0;
    unsigned bit = 0;
    enum fsp_rc rc = fsp_lines_next(&lines, &line);

    if (rc != FSP_OK || !fsp_line_is(&line, TITLE) || line.value_len > 0)
        return fsp_err_set(err, FSP_EFORMAT, "this is no invitation of a Farspool office");
    for (;;) {
        rc = fsp_lines_next(&lines, &line);
        if (rc == FSP_ENOTFOUND)
            break;
        if (rc != FSP_OK)
            return fsp_err_set(err, FSP_EFORMAT, "it has a line that is no text");
        if (read_line(invitation, &line, seen, &bit) != FSP_OK || (seen & bit) != 0)
            return fsp_err_set(err, FSP_EFORMAT, "its line '%.*s' is wrong or there twice",
                    (int)line.key_len, line.key);
        seen |= bit;
    }
    if ((seen & SEEN_NEEDED) != SEEN_NEEDED)
        return fsp_err_set(err, FSP_EFORMAT, "it is not complete: ask the office for it again");
    if (((seen & SEEN_PIN) != 0 && !invitation->has_pins) || !pins_ok(invitation))
        return fsp_err_set(err, FSP_EFORMAT,
                "it needs the pins of two different TLS keys: ask the office for it again");
    if (!key_names_ok(invitation))
        return fsp_err_set(
                err, FSP_EFORMAT, "its keys are not those of fleet %s", invitation->fleet);
    return FSP_OK;
}

enum fsp_rc
fsp_invitation_read(
        struct fsp_invitation *invitation, const void *bytes, size_t len, struct fsp_err *err)
{
    struct fsp_note note;
    enum fsp_rc rc;

    memset(invitation, 0, sizeof(*invitation));
    if (len > FSP_INVITATION_MAX)
        return fsp_err_set(
                err, FSP_ELIMIT, "an invitation has at most %zu bytes", FSP_INVITATION_MAX);
    rc = fsp_note_parse(&note, bytes, len, err);
    if (rc == FSP_OK)
        rc = read_text(invitation, note.text, note.text_len, err);
    if (rc == FSP_OK)
        rc = fsp_note_verify(&note, &invitation->instructions, NULL, err);
    if (rc == FSP_ENOTFOUND)
        rc = fsp_err_set(err, FSP_EVERIFY, "it is not signed by the key it names");
    if (rc != FSP_OK) {
        memset(invitation, 0, sizeof(*invitation));
        return fsp_err_wrap(err, rc, "invitation");
    }
    return FSP_OK;
}
