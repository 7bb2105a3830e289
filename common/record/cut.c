#include "record/cut.h"

#include <stdbool.h>
#include <string.h>

#include "base/limits.h"
#include "record/json_priv.h"

/* Canonical means: written again they are the same bytes. The walk below relies on it. */
static enum fsp_rc
check_canonical(const void *bytes, size_t len, struct fsp_err *err)
{
    struct fsp_buf again;
    json_t *json = NULL;
    enum fsp_rc rc = fsp_json_parse(bytes, len, FSP_ENTRY_MAX, &json, err);

    fsp_buf_init(&again, FSP_ENTRY_MAX);
    if (rc != FSP_OK)
        goto out;
    if (!json_is_object(json)) {
        rc = fsp_err_set(err, FSP_EFORMAT, "a record is one JSON object, this is not");
        goto out;
    }
    fsp_json_write(json, &again);
    if (again.rc == FSP_ENOMEM)
        rc = fsp_buf_check(&again, "JSON", err);
    else if (again.rc != FSP_OK || again.len != len || memcmp(again.data, bytes, len) != 0)
        rc = fsp_err_set(err, FSP_EFORMAT, "the bytes are not canonical JSON (RFC 8785)");
out:
    json_decref(json);
    fsp_buf_fini(&again);
    return rc;
}

/* The first byte behind the text that begins at pos with its quote. */
static size_t
skip_text(const char *bytes, size_t pos)
{
    for (pos++; bytes[pos] != '"'; pos++) {
        if (bytes[pos] == '\\')
            pos++;
    }
    return pos + 1;
}

/* The comma or brace that ends the member whose name begins at pos. */
static size_t
skip_member(const char *bytes, size_t pos)
{
    size_t depth = 0;

    for (;;) {
        char c = bytes[pos];

        if (c == '"') {
            pos = skip_text(bytes, pos);
            continue;
        }
        if (depth == 0 && (c == ',' || c == '}'))
            return pos;
        if (c == '{' || c == '[')
            depth++;
        else if (c == '}' || c == ']')
            depth--;
        pos++;
    }
}

static bool
is_named(const char *member, const char *const *names, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        size_t len = strlen(names[i]);

        if (strncmp(member + 1, names[i], len) == 0 && member[1 + len] == '"')
            return true;
    }
    return false;
}

enum fsp_rc
fsp_record_cut(const void *bytes, size_t len, const char *const *names, size_t n,
        struct fsp_buf *out, struct fsp_err *err)
{
    const char *text = bytes;
    enum fsp_rc rc = check_canonical(bytes, len, err);
    size_t before = out->len;
    size_t pos = 1;
    bool first = true;

    if (rc != FSP_OK)
        return rc;
    fsp_buf_add_byte(out, '{');
    while (text[pos] != '}') {
        size_t end = skip_member(text, pos);

        if (!is_named(text + pos, names, n)) {
            if (!first)
                fsp_buf_add_byte(out, ',');
            fsp_buf_add(out, text + pos, end - pos);
            first = false;
        }
        pos = text[end] == ',' ? end + 1 : end;
    }
    fsp_buf_add_byte(out, '}');
    rc = fsp_buf_check(out, "a record without some of its members", err);
    if (rc != FSP_OK && out->len > before) {
        out->len = before;
        out->data[before] = 0;
    }
    return rc;
}
