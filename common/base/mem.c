#include "base/mem.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

void *
fsp_mem_array(size_t n, size_t size)
{
    return calloc(n > 0 ? n : 1, size > 0 ? size : 1);
}

int
fsp_mem_grow(void **items, size_t *cap, size_t need, size_t size)
{
    size_t wanted = *cap > 0 ? *cap : 16;
    void *grown;

    if (need <= *cap)
        return 0;
    while (wanted < need) {
        if (wanted > SIZE_MAX / 2)
            return -1;
        wanted *= 2;
    }
    if (size == 0 || wanted > SIZE_MAX / size)
        return -1;
    grown = realloc(*items, wanted * size);
    if (grown == NULL)
        return -1;
    *items = grown;
    *cap = wanted;
    return 0;
}

char *
fsp_mem_text(const void *text, size_t len)
{
    char *copy = malloc(len + 1);

    if (copy == NULL)
        return NULL;
    if (len > 0)
        memcpy(copy, text, len);
    copy[len] = '\0';
    return copy;
}
