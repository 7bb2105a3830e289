#include "cli/logline.h"

#include <inttypes.h>
#include <string.h>

#include "base/text.h"

void
fsp_logline_begin(struct fsp_buf *buf, const char *level, const char *event)
{
    fsp_buf_reset(buf);
    fsp_buf_printf(buf, "level=%s event=%s", level, event);
}

/* Bare: without anything that a reader of key=value would stumble over. */
static bool
is_plain(const char *text, size_t len)
{
    return len > 0 && fsp_text_printable(text, len) && strcspn(text, " \"=\\") >= len;
}

void
fsp_logline_text(struct fsp_buf *buf, const char *key, const char *text)
{
    size_t len = strnlen(text, FSP_LOGLINE_TEXT_MAX);
    size_t from = 0;

    /* Cut between characters. */
    while (text[len] != '\0' && len > 0 && ((unsigned char)text[len] & 0xC0) == 0x80)
        len--;
    if (is_plain(text, len)) {
        fsp_buf_printf(buf, " %s=%.*s", key, (int)len, text);
        return;
    }
    fsp_buf_printf(buf, " %s=\"", key);
    for (size_t i = 0; i < len; i++) {
        if (text[i] != '"' && text[i] != '\\')
            continue;
        fsp_text_show(buf, text + from, i - from);
        fsp_buf_add_byte(buf, '\\');
        fsp_buf_add_byte(buf, (uint8_t)text[i]);
        from = i + 1;
    }
    fsp_text_show(buf, text + from, len - from);
    fsp_buf_add_byte(buf, '"');
}

void
fsp_logline_u64(struct fsp_buf *buf, const char *key, uint64_t value)
{
    fsp_buf_printf(buf, " %s=%" PRIu64, key, value);
}

bool
fsp_lograte_may(struct fsp_lograte *rate, int64_t now_us)
{
    while (rate->used > 0 && now_us - rate->since_us >= rate->every_us) {
        rate->since_us += rate->every_us;
        rate->used--;
    }
    if (rate->used >= rate->most)
        return false;
    if (rate->used == 0)
        rate->since_us = now_us;
    rate->used++;
    return true;
}
