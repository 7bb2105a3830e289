#include "wire/lines.h"

#include <string.h>

#include "base/text.h"

#define LINE_MAX_BYTES 2000

enum fsp_rc
fsp_lines_next(struct fsp_lines *lines, struct fsp_line *line)
{
    const char *start = lines->text + lines->pos;
    size_t left = lines->len - lines->pos;
    const char *end;
    const char *space;
    size_t len;

    if (left == 0)
        return FSP_ENOTFOUND;
    end = memchr(start, '\n', left);
    if (end == NULL)
        return FSP_EFORMAT;
    len = (size_t)(end - start);
    if (len > LINE_MAX_BYTES || !fsp_text_printable(start, len))
        return FSP_EFORMAT;
    space = memchr(start, ' ', len);
    line->key = start;
    line->key_len = space == NULL ? len : (size_t)(space - start);
    line->value = space == NULL ? end : space + 1;
    line->value_len = (size_t)(end - line->value);
    lines->pos += len + 1;
    return FSP_OK;
}

bool
fsp_line_is(const struct fsp_line *line, const char *key)
{
    return line->key_len == strlen(key) && memcmp(line->key, key, line->key_len) == 0;
}

enum fsp_rc
fsp_line_copy(const struct fsp_line *line, char *out, size_t size)
{
    out[0] = '\0';
    if (line->value_len >= size)
        return FSP_ELIMIT;
    memcpy(out, line->value, line->value_len);
    out[line->value_len] = '\0';
    return FSP_OK;
}
