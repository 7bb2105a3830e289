#include "web/form.h"

#include <arpa/inet.h>
#include <assert.h>
#include <stdint.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"

void
fsp_form_init(struct fsp_form *form, const struct fsp_form_field *fields)
{
    memset(form, 0, sizeof(*form));
    form->fields = fields;
    fsp_buf_init(&form->values, FSP_FORM_MAX + FSP_FORM_FIELDS_MAX);
}

void
fsp_form_fini(struct fsp_form *form)
{
    if (form->values.data != NULL)
        explicit_bzero(form->values.data, form->values.cap);
    fsp_buf_fini(&form->values);
    memset(form->at, 0, sizeof(form->at));
}

/* Decode into out (room for len); false for a bad escape or a zero byte. */
static bool
decode(const uint8_t *text, size_t len, uint8_t *out, size_t *out_len)
{
    size_t n = 0;

    for (size_t i = 0; i < len; i++) {
        uint8_t c = text[i];

        if (c == '+') {
            c = ' ';
        } else if (c == '%') {
            const int high = i + 2 < len ? fsp_text_hex_digit((char)text[i + 1]) : -1;
            const int low = i + 2 < len ? fsp_text_hex_digit((char)text[i + 2]) : -1;

            if (high < 0 || low < 0)
                return false;
            c = (uint8_t)(high * 16 + low);
            i += 2;
        }
        if (c == 0)
            return false;
        out[n++] = c;
    }
    *out_len = n;
    return true;
}

static bool
is_token(const char *value)
{
    for (const char *c = value; *c != '\0'; c++)
        if (!((*c >= 'a' && *c <= 'z') || (*c >= 'A' && *c <= 'Z') ||
                    (*c >= '0' && *c <= '9') || *c == '-' || *c == '_'))
            return false;
    return true;
}

static bool
is_word(const char *const *words, const char *value)
{
    for (; words != NULL && *words != NULL; words++)
        if (strcmp(*words, value) == 0)
            return true;
    return false;
}

/* CR LF and CR become LF, in place; then every line must be printable. */
static bool
make_lines(char *value, size_t *len)
{
    size_t n = 0;

    for (size_t i = 0; i < *len; i++) {
        char c = value[i];

        if (c == '\r') {
            c = '\n';
            if (i + 1 < *len && value[i + 1] == '\n')
                i++;
        }
        value[n++] = c;
    }
    value[n] = '\0';
    *len = n;
    for (size_t from = 0; from <= n;) {
        const size_t line = strcspn(value + from, "\n");

        /* a tab is what people paste; it shows as a space */
        for (size_t i = from; i < from + line; i++)
            if (value[i] == '\t')
                value[i] = ' ';
        if (!fsp_text_printable(value + from, line))
            return false;
        from += line + 1;
    }
    return true;
}

/* What is wrong with a value that is not empty; NULL: nothing. It may be made shorter. */
static const char *
fault_of(const struct fsp_form_field *field, char *value, size_t *len)
{
    uint64_t number = 0;

    if (field->is == FSP_FIELD_TEXT) {
        if (!make_lines(value, len))
            return "holds a control or invisible character, or is not UTF-8";
    } else if (!fsp_text_printable(value, *len)) {
        return "holds a control or invisible character, or is not UTF-8";
    }
    switch (field->is) {
    case FSP_FIELD_LINE:
    case FSP_FIELD_TEXT:
        break;
    case FSP_FIELD_NAME:
        if (!fsp_text_name(value))
            return "is no name: a-z, 0-9 and inner hyphens";
        break;
    case FSP_FIELD_COUNT:
        if (fsp_text_u64(value, *len, &number) != FSP_OK)
            return "is no whole number";
        break;
    case FSP_FIELD_TOKEN:
        if (!is_token(value))
            return "is no token";
        break;
    case FSP_FIELD_WORD:
        if (!is_word(field->words, value))
            return "is none of the words it may be";
        break;
    }
    if (field->good != NULL && !field->good(value))
        return field->wants;
    return NULL;
}

/* The index in the table; FSP_FORM_FIELDS_MAX when it is not there. */
static size_t
find(const struct fsp_form_field *fields, const char *name, size_t len)
{
    for (size_t i = 0; fields != NULL && fields[i].name != NULL; i++) {
        assert(i < FSP_FORM_FIELDS_MAX && strlen(fields[i].name) <= FSP_FORM_NAME_MAX);
        if (strlen(fields[i].name) == len && memcmp(fields[i].name, name, len) == 0)
            return i;
    }
    return FSP_FORM_FIELDS_MAX;
}

static enum fsp_rc
take_value(
        struct fsp_form *form, size_t i, const uint8_t *text, size_t len, struct fsp_err *err)
{
    const struct fsp_form_field *field = &form->fields[i];
    const size_t start = form->values.len;
    size_t value_len = 0;
    const char *fault = NULL;
    char *value;

    if (form->at[i] != 0)
        return fsp_err_set(err, FSP_EFORMAT, "%s: is given twice", field->name);
    value = (char *)fsp_buf_room(&form->values, len + 1);
    if (value == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    if (!decode(text, len, (uint8_t *)value, &value_len))
        return fsp_err_set(err, FSP_EFORMAT, "%s: is not encoded as a form is", field->name);
    value[value_len] = '\0';
    if (value_len > 0)
        fault = fault_of(field, value, &value_len);
    if (value_len > field->max)
        return fsp_err_set(
                err, FSP_ELIMIT, "%s: is longer than %zu bytes", field->name, field->max);
    if (fault != NULL)
        return fsp_err_set(err, FSP_EFORMAT, "%s: %s", field->name, fault);
    form->values.len = start + value_len + 1;
    form->at[i] = start + 1;
    return FSP_OK;
}

static enum fsp_rc
take_pair(struct fsp_form *form, const uint8_t *text, size_t len, struct fsp_err *err)
{
    const uint8_t *equals = memchr(text, '=', len);
    const size_t name_len = equals == NULL ? len : (size_t)(equals - text);
    uint8_t name[3 * FSP_FORM_NAME_MAX];
    size_t decoded = 0;
    size_t i = FSP_FORM_FIELDS_MAX;

    if (name_len <= sizeof(name) && decode(text, name_len, name, &decoded))
        i = find(form->fields, (const char *)name, decoded);
    if (i == FSP_FORM_FIELDS_MAX)
        return fsp_err_set(err, FSP_EFORMAT, "'%.*s': this address takes no such field",
                (int)(decoded < FSP_FORM_NAME_MAX ? decoded : FSP_FORM_NAME_MAX),
                (const char *)name);
    if (equals == NULL)
        return take_value(form, i, text, 0, err);
    return take_value(form, i, equals + 1, len - name_len - 1, err);
}

enum fsp_rc
fsp_form_read(struct fsp_form *form, const void *text, size_t len, struct fsp_err *err)
{
    const uint8_t *bytes = text;
    enum fsp_rc rc = FSP_OK;

    if (len > FSP_FORM_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "a form has at most %zu bytes", FSP_FORM_MAX);
    if (len > 0 && fsp_buf_room(&form->values, len + FSP_FORM_FIELDS_MAX) == NULL)
        return fsp_err_set(
                err, FSP_ENOMEM, "out of memory"); /* at once: no copy stays behind */
    for (size_t from = 0; rc == FSP_OK && from < len;) {
        const uint8_t *end = memchr(bytes + from, '&', len - from);
        const size_t n = end == NULL ? len - from : (size_t)(end - bytes) - from;

        if (n > 0)
            rc = take_pair(form, bytes + from, n, err);
        from += n + 1;
    }
    return rc;
}

const char *
fsp_form_value(const struct fsp_form *form, const char *name)
{
    const size_t i = find(form->fields, name, strlen(name));
    const char *value;

    assert(i < FSP_FORM_FIELDS_MAX);
    if (form->at[i] == 0)
        return NULL;
    value = (const char *)form->values.data + form->at[i] - 1;
    return value[0] == '\0' ? NULL : value;
}

/* --- headers --------------------------------------------------------------------------------- */

/* The next item of a list, without the white space round it; false at the end. */
static bool
next_item(const char **at, char separator, const char **item, size_t *len)
{
    const char separators[] = {separator, '\0'};
    const char *from = *at;
    size_t n;

    if (from == NULL)
        return false;
    n = strcspn(from, separators);
    *at = from[n] == '\0' ? NULL : from + n + 1;
    while (n > 0 && (*from == ' ' || *from == '\t')) {
        from++;
        n--;
    }
    while (n > 0 && (from[n - 1] == ' ' || from[n - 1] == '\t'))
        n--;
    *item = from;
    *len = n;
    return true;
}

bool
fsp_cookie_find(const char *header, const char *name, char *out, size_t size)
{
    const size_t name_len = strlen(name);
    const char *item = NULL;
    size_t len = 0;
    unsigned times = 0;

    assert(size > 0);
    out[0] = '\0';
    while (next_item(&header, ';', &item, &len)) {
        if (len <= name_len || strncmp(item, name, name_len) != 0 || item[name_len] != '=')
            continue;
        times++;
        if (len - name_len - 1 >= size)
            return false;
        memcpy(out, item + name_len + 1, len - name_len - 1);
        out[len - name_len - 1] = '\0';
    }
    if (times == 1 && out[0] != '\0' && is_token(out))
        return true;
    out[0] = '\0';
    return false;
}

/* Whether the parameters behind a coding say that it is not wanted: q=0, q=0.0… */
static bool
is_refused(const char *parameters, size_t len)
{
    for (size_t i = 0; i + 2 < len; i++) {
        if ((parameters[i] != 'q' && parameters[i] != 'Q') || parameters[i + 1] != '=')
            continue;
        for (i += 2; i < len; i++)
            if (parameters[i] != '0' && parameters[i] != '.')
                return false;
        return true;
    }
    return false;
}

bool
fsp_accepts_gzip(const char *header)
{
    const char *item = NULL;
    size_t len = 0;

    while (next_item(&header, ',', &item, &len)) {
        size_t name = 0;

        while (name < len && item[name] != ';' && item[name] != ' ')
            name++;
        if (name == 4 && strncasecmp(item, "gzip", 4) == 0)
            return !is_refused(item + name, len - name);
    }
    return false;
}

bool
fsp_names_etag(const char *header, const char *etag)
{
    const size_t want = strlen(etag);
    const char *item = NULL;
    size_t len = 0;

    while (next_item(&header, ',', &item, &len)) {
        if (len == 1 && item[0] == '*')
            return true;
        if (len > 2 && item[0] == 'W' && item[1] == '/') {
            item += 2;
            len -= 2;
        }
        if (len == want + 2 && item[0] == '"' && item[len - 1] == '"' &&
                memcmp(item + 1, etag, want) == 0)
            return true;
    }
    return false;
}

bool
fsp_forwarded_for(const char *header, char out[static FSP_CLIENT_MAX])
{
    const char *item = NULL;
    const char *last = NULL;
    struct in_addr four;
    struct in6_addr six;
    size_t len = 0;
    size_t last_len = 0;

    out[0] = '\0';
    while (next_item(&header, ',', &item, &len)) {
        last = item;
        last_len = len;
    }
    if (last == NULL || last_len == 0 || last_len >= FSP_CLIENT_MAX)
        return false;
    memcpy(out, last, last_len);
    out[last_len] = '\0';
    if (inet_pton(AF_INET, out, &four) == 1 || inet_pton(AF_INET6, out, &six) == 1)
        return true;
    out[0] = '\0';
    return false;
}
