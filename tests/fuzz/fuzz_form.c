/* Queries, bodies of forms, cookies and the headers that are lists: the first byte says which. */
#include <assert.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"
#include "web/form.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const char *const words[] = {"reader", "keeper", NULL};
static const struct fsp_form_field fields[] = {
        {.name = "rig", .max = 63, .is = FSP_FIELD_NAME},
        {.name = "n", .max = 20, .is = FSP_FIELD_COUNT},
        {.name = "token", .max = 43, .is = FSP_FIELD_TOKEN},
        {.name = "role", .max = 10, .is = FSP_FIELD_WORD, .words = words},
        {.name = "line", .max = 50},
        {.name = "text", .max = 500, .is = FSP_FIELD_TEXT},
        {.name = NULL},
};

/* Whatever was taken is what the table says. */
static void
read_form(const uint8_t *data, size_t size)
{
    struct fsp_form form;
    struct fsp_err err = {0};

    fsp_form_init(&form, fields);
    if (fsp_form_read(&form, data, size, &err) == FSP_OK) {
        for (size_t i = 0; fields[i].name != NULL; i++) {
            const char *value = fsp_form_value(&form, fields[i].name);

            if (value == NULL)
                continue;
            assert(strlen(value) <= fields[i].max);
            assert(fields[i].is == FSP_FIELD_TEXT || fsp_text_printable(value, strlen(value)));
            assert(fields[i].is != FSP_FIELD_NAME || fsp_text_name(value));
        }
    } else {
        assert(err.text[0] != '\0');
    }
    fsp_form_fini(&form);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char client[FSP_CLIENT_MAX];
    char cookie[44];
    char *text;

    if (size == 0)
        return 0;
    text = fsp_mem_text(data + 1, size - 1);
    if (text == NULL)
        return 0;
    switch (data[0]) {
    case 'c':
        if (fsp_cookie_find(text, "farspool", cookie, sizeof(cookie)))
            assert(cookie[0] != '\0');
        break;
    case 'h':
        (void)fsp_accepts_gzip(text);
        (void)fsp_names_etag(text, "00000000-1");
        if (fsp_forwarded_for(text, client))
            assert(client[0] != '\0');
        break;
    default:
        read_form(data + 1, size - 1);
        break;
    }
    free(text);
    return 0;
}
