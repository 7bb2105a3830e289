#define _GNU_SOURCE /* memmem() */
#include "record/glance.h"

#include <stdbool.h>
#include <string.h>

#define KIND "\"kind\""

static bool
begins(const uint8_t *pos, const uint8_t *end, const char *word)
{
    const size_t len = strlen(word);

    return (size_t)(end - pos) >= len && memcmp(pos, word, len) == 0;
}

static enum fsp_glance
word_at(const uint8_t *pos, const uint8_t *end)
{
    if (begins(pos, end, "inspection\""))
        return FSP_GLANCE_INSPECTION;
    if (begins(pos, end, "countersign\""))
        return FSP_GLANCE_COUNTERSIGN;
    if (begins(pos, end, "amend\""))
        return FSP_GLANCE_AMEND;
    if (begins(pos, end, "instruction\""))
        return FSP_GLANCE_INSTRUCTION;
    return FSP_GLANCE_OTHER;
}

enum fsp_glance
fsp_glance(const uint8_t *bytes, size_t len)
{
    const uint8_t *end = bytes + len;
    const uint8_t *pos = len == 0 ? NULL : memmem(bytes, len, KIND, strlen(KIND));

    if (pos == NULL || memchr(bytes, '\\', len) != NULL)
        return FSP_GLANCE_UNSURE;
    pos += strlen(KIND);
    if (!begins(pos, end, ":\"") ||
            memmem(pos, (size_t)(end - pos), KIND, strlen(KIND)) != NULL)
        return FSP_GLANCE_UNSURE;
    return word_at(pos + 2, end);
}
