#include "proof/newkeys.h"

#include <string.h>

/* "<fleet>/<end>", of that type. */
static bool
key_fits(const struct fsp_vkey *key, enum fsp_key_type type, const char *fleet, const char *end)
{
    size_t len = strlen(fleet);

    return key->type == type && strncmp(key->name, fleet, len) == 0 &&
           strcmp(key->name + len, end) == 0;
}

static bool
is_word(const char *line, size_t len, const char *word, const char **value, size_t *value_len)
{
    size_t n = strlen(word);

    if (len <= n + 1 || memcmp(line, word, n) != 0 || line[n] != ' ')
        return false;
    *value = line + n + 1;
    *value_len = len - n - 1;
    return true;
}

static bool
take_vkey(const char *value, size_t len, bool *has, struct fsp_vkey *out)
{
    if (*has || fsp_vkey_parse(out, value, len, NULL) != FSP_OK)
        return false;
    *has = true;
    return true;
}

/* False when the line is one of ours and wrong. */
static bool
take_line(struct fsp_new_keys *out, const char *fleet, const char *line, size_t len)
{
    const char *value = NULL;
    size_t value_len = 0;

    if (is_word(line, len, "cosigner", &value, &value_len))
        return take_vkey(value, value_len, &out->has_cosigner, &out->cosigner) &&
               key_fits(&out->cosigner, FSP_KEY_COSIGNER, fleet, "/office");
    if (is_word(line, len, "instructions", &value, &value_len))
        return take_vkey(value, value_len, &out->has_instructions, &out->instructions) &&
               key_fits(&out->instructions, FSP_KEY_NOTE, fleet, "/instructions");
    if (is_word(line, len, "box", &value, &value_len)) {
        bool first = !out->has_box;

        out->has_box = true;
        return first && fsp_unbase64_exact(
                                value, value_len, out->box_pub, sizeof(out->box_pub)) == FSP_OK;
    }
    if (is_word(line, len, "pin", &value, &value_len))
        return out->n_pins < FSP_NEW_PINS_MAX &&
               fsp_unbase64_exact(value, value_len, out->pins[out->n_pins++],
                       sizeof(out->pins[0])) == FSP_OK;
    return true;
}

enum fsp_rc
fsp_new_keys_read(struct fsp_new_keys *out, const char *fleet, const char *body, size_t len,
        struct fsp_err *err)
{
    const char *end = body + len;
    size_t number = 0;

    memset(out, 0, sizeof(*out));
    while (body < end) {
        const char *line_end = memchr(body, '\n', (size_t)(end - body));

        number++;
        if (line_end == NULL || !take_line(out, fleet, body, (size_t)(line_end - body))) {
            memset(out, 0, sizeof(*out));
            return fsp_err_set(err, FSP_EFORMAT,
                    "new keys: line %zu is cut short, there twice, or no key of fleet %s",
                    number, fleet);
        }
        body = line_end + 1;
    }
    if (!out->has_cosigner && !out->has_instructions && !out->has_box && out->n_pins == 0)
        return fsp_err_set(err, FSP_EFORMAT, "new keys: it names none");
    return FSP_OK;
}

static void
add_vkey(struct fsp_buf *buf, const char *word, const struct fsp_vkey *vkey)
{
    fsp_buf_printf(buf, "%s ", word);
    fsp_vkey_write(vkey, buf);
    fsp_buf_add_byte(buf, '\n');
}

static void
add_bytes(struct fsp_buf *buf, const char *word, const uint8_t *bytes, size_t len)
{
    fsp_buf_printf(buf, "%s ", word);
    fsp_base64(buf, bytes, len);
    fsp_buf_add_byte(buf, '\n');
}

void
fsp_new_keys_write(const struct fsp_new_keys *keys, struct fsp_buf *buf)
{
    if (keys->has_cosigner)
        add_vkey(buf, "cosigner", &keys->cosigner);
    if (keys->has_instructions)
        add_vkey(buf, "instructions", &keys->instructions);
    if (keys->has_box)
        add_bytes(buf, "box", keys->box_pub, sizeof(keys->box_pub));
    for (size_t i = 0; i < keys->n_pins; i++)
        add_bytes(buf, "pin", keys->pins[i], sizeof(keys->pins[i]));
}
