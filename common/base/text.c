#include "base/text.h"

#include <string.h>

#include "base/limits.h"

/* Length of the UTF-8 character at text and its code point; 0 when it is not one. */
static size_t
utf8_char(const uint8_t *text, size_t len, uint32_t *code)
{
    static const uint32_t least[5] = {0, 0, 0x80, 0x800, 0x10000};
    size_t n = 0;
    uint32_t value = 0;

    if (text[0] < 0x80u) {
        *code = text[0];
        return 1;
    }
    if (text[0] >= 0xC2u && text[0] <= 0xDFu) {
        n = 2;
        value = text[0] & 0x1Fu;
    } else if ((text[0] & 0xF0u) == 0xE0u) {
        n = 3;
        value = text[0] & 0x0Fu;
    } else if (text[0] >= 0xF0u && text[0] <= 0xF4u) {
        n = 4;
        value = text[0] & 0x07u;
    }
    if (n == 0 || n > len)
        return 0;
    for (size_t i = 1; i < n; i++) {
        if ((text[i] & 0xC0u) != 0x80u)
            return 0;
        value = value << 6 | (text[i] & 0x3Fu);
    }
    if (value < least[n] || value > 0x10FFFFu || (value >= 0xD800u && value <= 0xDFFFu))
        return 0;
    *code = value;
    return n;
}

static bool
code_is_shown(uint32_t code)
{
    if (code < 0x20u || (code >= 0x7Fu && code <= 0x9Fu))
        return false;
    if (code == 0x061Cu || code == 0x200Eu || code == 0x200Fu)
        return false;
    if (code >= 0x2028u && code <= 0x202Eu)
        return false;
    if (code >= 0x2066u && code <= 0x2069u)
        return false;
    return code != 0xFEFFu;
}

bool
fsp_text_printable(const void *text, size_t len)
{
    const uint8_t *bytes = text;
    size_t pos = 0;

    while (pos < len) {
        uint32_t code = 0;
        size_t n = utf8_char(bytes + pos, len - pos, &code);

        if (n == 0 || !code_is_shown(code))
            return false;
        pos += n;
    }
    return true;
}

void
fsp_text_show(struct fsp_buf *buf, const void *text, size_t len)
{
    const uint8_t *bytes = text;
    size_t pos = 0;

    while (pos < len) {
        uint32_t code = 0;
        size_t n = utf8_char(bytes + pos, len - pos, &code);

        if (n > 0 && code_is_shown(code)) {
            fsp_buf_add(buf, bytes + pos, n);
            pos += n;
            continue;
        }
        if (n == 0)
            n = 1;
        for (size_t i = 0; i < n; i++)
            fsp_buf_printf(buf, "\\x%02x", (unsigned)bytes[pos + i]);
        pos += n;
    }
}

void
fsp_text_hex(char *out, const uint8_t *bytes, size_t len)
{
    static const char digits[] = "0123456789abcdef";

    for (size_t i = 0; i < len; i++) {
        out[2 * i] = digits[bytes[i] >> 4];
        out[2 * i + 1] = digits[bytes[i] & 0x0Fu];
    }
    out[2 * len] = '\0';
}

int
fsp_text_hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return -1;
}

enum fsp_rc
fsp_text_unhex(uint8_t *out, size_t len, const char *text)
{
    if (strlen(text) != 2 * len)
        return FSP_EFORMAT;
    for (size_t i = 0; i < len; i++) {
        int high = fsp_text_hex_digit(text[2 * i]);
        int low = fsp_text_hex_digit(text[2 * i + 1]);

        if (high < 0 || low < 0)
            return FSP_EFORMAT;
        out[i] = (uint8_t)(high * 16 + low);
    }
    return FSP_OK;
}

bool
fsp_text_name(const char *name)
{
    size_t len = strlen(name);

    if (len == 0 || len > FSP_NAME_MAX || name[0] == '-' || name[len - 1] == '-')
        return false;
    return strspn(name, "abcdefghijklmnopqrstuvwxyz0123456789-") == len;
}

enum fsp_rc
fsp_text_u64(const char *text, size_t len, uint64_t *out)
{
    uint64_t value = 0;

    *out = 0;
    if (len == 0 || len > 20 || (len > 1 && text[0] == '0'))
        return FSP_EFORMAT;
    for (size_t i = 0; i < len; i++) {
        unsigned digit;

        if (text[i] < '0' || text[i] > '9')
            return FSP_EFORMAT;
        digit = (unsigned)(text[i] - '0');
        if (value > (UINT64_MAX - digit) / 10)
            return FSP_EFORMAT;
        value = value * 10 + digit;
    }
    *out = value;
    return FSP_OK;
}

#define NEAR_MAX 32

/* Levenshtein distance of two words of at most NEAR_MAX characters. */
static size_t
edits(const char *a, const char *b)
{
    size_t row[NEAR_MAX + 1];
    size_t len_b = strlen(b);

    for (size_t j = 0; j <= len_b; j++)
        row[j] = j;
    for (size_t i = 1; a[i - 1] != '\0'; i++) {
        size_t diagonal = row[0];

        row[0] = i;
        for (size_t j = 1; j <= len_b; j++) {
            size_t best = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);

            diagonal = row[j];
            if (row[j] + 1 < best)
                best = row[j] + 1;
            if (row[j - 1] + 1 < best)
                best = row[j - 1] + 1;
            row[j] = best;
        }
    }
    return row[len_b];
}

const char *
fsp_text_nearest(const char *word, const char *const *words, size_t n)
{
    const char *best = NULL;
    size_t best_edits = 0;
    size_t len = strlen(word);

    if (len > NEAR_MAX)
        return NULL;
    for (size_t i = 0; i < n; i++) {
        size_t distance;

        if (strlen(words[i]) > NEAR_MAX)
            continue;
        distance = edits(word, words[i]);
        if (distance * 2 <= len + 1 && (best == NULL || distance < best_edits)) {
            best = words[i];
            best_edits = distance;
        }
    }
    return best;
}
