#include "record/value_priv.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "base/clock.h"
#include "base/limits.h"
#include "base/text.h"

#define ITEMS_MAX      ((size_t)200)      /* of one list */
#define EARLIEST_S     INT64_C(631152000) /* 1990-01-01T00:00:00Z */
#define EARLIEST_TEXT  "1990-01-01"
#define LOG_NAME_MAX   64
#define ENTRY_TEXT_MAX 512
#define LEAF_LEN       32

struct fsp_quote
fsp_quote(const char *text)
{
    struct fsp_quote out = {""};
    struct fsp_buf shown;
    size_t len = strnlen(text, 40);

    fsp_buf_init(&shown, 512);
    while (len > 0 && text[len] != '\0' && ((unsigned char)text[len] & 0xC0u) == 0x80u)
        len--; /* not in the middle of a character */
    fsp_text_show(&shown, text, len);
    (void)snprintf(out.text, sizeof(out.text), "%.120s%s", fsp_buf_peek(&shown),
            text[len] != '\0' ? "..." : "");
    fsp_buf_fini(&shown);
    return out;
}

static enum fsp_rc
no_memory(struct fsp_err *err)
{
    return fsp_err_set(err, FSP_ENOMEM, "record");
}

/* The value as text; blanks around it are dropped when it comes from outside. */
static enum fsp_rc
text_of(json_t *in, bool outside, json_t **out, struct fsp_err *err)
{
    const char *text = json_string_value(in);
    size_t len = json_string_length(in);
    size_t skip;

    *out = NULL;
    if (text == NULL)
        return fsp_err_set(err, FSP_EFORMAT, "text in quotes is wanted here");
    skip = outside ? strspn(text, " \t") : 0;
    while (outside && len > skip && (text[len - 1] == ' ' || text[len - 1] == '\t'))
        len--;
    if (len == skip)
        return fsp_err_set(err, FSP_EFORMAT, "empty; leave the field out instead");
    if (skip == 0 && text[len] == '\0')
        *out = json_incref(in);
    else
        *out = json_stringn(text + skip, len - skip);
    return *out != NULL ? FSP_OK : no_memory(err);
}

static enum fsp_rc
check_tours(const char *text, struct fsp_err *err)
{
    const char *p = text;
    int last = -1;

    for (int n = 0; n < 6; n++) {
        int hour;
        int minute;

        if (strspn(p, "0123456789") != 2 || p[2] != ':' || strspn(p + 3, "0123456789") != 2)
            break;
        hour = (p[0] - '0') * 10 + (p[1] - '0');
        minute = (p[3] - '0') * 10 + (p[4] - '0');
        if (hour > 23 || minute > 59 || hour * 60 + minute <= last)
            break;
        last = hour * 60 + minute;
        p += 5;
        if (*p == '\0')
            return FSP_OK;
        if (*p++ != ' ')
            break;
    }
    return fsp_err_set(err, FSP_EFORMAT,
            "'%s' is not a list of rising times of day; write it like 06:00 18:00",
            fsp_quote(text).text);
}

/* IPS, EIPS, EEIPS, or four digits from 1570 to 2160. */
static enum fsp_rc
check_grade(const char *text, bool outside, json_t **out, struct fsp_err *err)
{
    static const char *const names[] = {"IPS", "EIPS", "EEIPS"};

    for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
        if (strcmp(text, names[i]) == 0)
            return FSP_OK;
        if (outside && strcasecmp(text, names[i]) == 0) {
            json_decref(*out);
            *out = json_string(names[i]);
            return *out != NULL ? FSP_OK : no_memory(err);
        }
    }
    if (strlen(text) == 4 && strspn(text, "0123456789") == 4 && strcmp(text, "1570") >= 0 &&
            strcmp(text, "2160") <= 0)
        return FSP_OK;
    return fsp_err_set(err, FSP_EFORMAT,
            "'%s' is no grade; write IPS, EIPS, EEIPS or the wires' strength, 1570 to 2160",
            fsp_quote(text).text);
}

static enum fsp_rc
check_text(const struct fsp_field *field, bool outside, json_t **out, struct fsp_err *err)
{
    const char *text = json_string_value(*out);
    size_t max = field->most > 0.0 ? (size_t)field->most : FSP_FIELD_TEXT_MAX;
    int minutes = 0;

    if (json_string_length(*out) > max)
        return fsp_err_set(err, FSP_ELIMIT, "%zu bytes of text; at most %zu are allowed",
                json_string_length(*out), max);
    if ((field->flags & FSP_GRADE) != 0)
        return check_grade(text, outside, out, err);
    if ((field->flags & FSP_TOURS) != 0)
        return check_tours(text, err);
    if ((field->flags & FSP_ZONE) != 0)
        return fsp_time_zone(text, &minutes, err);
    return FSP_OK;
}

#define WORDS_MAX 32

static enum fsp_rc
not_a_word(const struct fsp_field *field, const char *text, struct fsp_err *err)
{
    char copy[512];
    const char *list[WORDS_MAX];
    const char *near;
    size_t n = 0;

    (void)snprintf(copy, sizeof(copy), "%s", field->words);
    for (char *p = copy; *p != '\0' && n < WORDS_MAX;) {
        list[n++] = p;
        p += strcspn(p, " ");
        if (*p != '\0')
            *p++ = '\0';
    }
    near = fsp_text_nearest(text, list, n);
    if (near != NULL)
        return fsp_err_set(err, FSP_EFORMAT, "'%s' is not known; did you mean %s? (one of %s)",
                fsp_quote(text).text, near, field->words);
    return fsp_err_set(err, FSP_EFORMAT, "'%s' is not known; write one of %s",
            fsp_quote(text).text, field->words);
}

static enum fsp_rc
check_word(const struct fsp_field *field, bool outside, json_t **out, struct fsp_err *err)
{
    const char *text = json_string_value(*out);
    const char *p = field->words;

    if (fsp_words_have(field->words, text) && strchr(text, ' ') == NULL)
        return FSP_OK;
    while (outside && *p != '\0') {
        size_t n = strcspn(p, " ");

        if (n == strlen(text) && strncasecmp(p, text, n) == 0) {
            json_decref(*out);
            *out = json_stringn(p, n);
            return *out != NULL ? FSP_OK : no_memory(err);
        }
        p += n;
        p += strspn(p, " ");
    }
    return not_a_word(field, text, err);
}

/* `scale`: how much one of the unit is in the bounds' terms. */
static enum fsp_rc
check_range(const struct fsp_field *field, const char *text, double value,
        const struct fsp_unit *unit, struct fsp_err *err)
{
    double scale = unit != NULL ? unit->to_si : 1.0;
    const char *name = unit != NULL ? unit->name : "";

    if (unit == NULL && field->type == FSP_QUANTITY && field->dim == FSP_DIM_WORK) {
        scale = FSP_TON_MILE_J;
        name = "ton-miles";
    }
    if ((field->flags & FSP_POSITIVE) != 0 && value <= 0.0)
        return fsp_err_set(err, FSP_EFORMAT, "'%s' must be above zero", fsp_quote(text).text);
    if (field->least < field->most && (value < field->least || value > field->most))
        return fsp_err_set(err, FSP_EFORMAT,
                "'%s' is out of range; allowed is %.6g to %.6g%s%s; check number and unit",
                fsp_quote(text).text, field->least / scale, field->most / scale,
                name[0] != '\0' ? " " : "", name);
    return FSP_OK;
}

static enum fsp_rc
check_number(const struct fsp_field *field, const char *text, struct fsp_err *err)
{
    double value = 0.0;
    enum fsp_rc rc = fsp_number_parse(text, &value, err);

    return rc == FSP_OK ? check_range(field, text, value, NULL, err) : rc;
}

static enum fsp_rc
check_quantity(const struct fsp_field *field, const char *text, struct fsp_err *err)
{
    const struct fsp_unit *unit = NULL;
    double value = 0.0;
    enum fsp_rc rc = fsp_quantity_parse(text, field->dim, &value, &unit, err);

    if (rc != FSP_OK)
        return rc;
    if ((field->flags & FSP_ROPE) != 0 && strcmp(unit->name, "in") != 0 &&
            strcmp(unit->name, "mm") != 0)
        return fsp_err_set(err, FSP_EFORMAT,
                "'%s': a rope's diameter is written in in or mm, like 1-3/8in or 35mm",
                fsp_quote(text).text);
    return check_range(field, text, value, unit, err);
}

static enum fsp_rc
check_time(const struct fsp_check_context *outside, json_t **out, struct fsp_err *err)
{
    const char *text = json_string_value(*out);
    char canonical[FSP_TIME_TEXT_LEN + 1];
    int64_t utc_s = 0;
    enum fsp_rc rc;

    if (outside == NULL) {
        if (!fsp_time_is_canonical(text, &utc_s))
            return fsp_err_set(err, FSP_EFORMAT, "'%s' is not a time in the form kept here",
                    fsp_quote(text).text);
        return FSP_OK;
    }
    rc = fsp_time_parse(text, outside->zone_minutes, &utc_s, err);
    if (rc != FSP_OK)
        return rc;
    fsp_time_text(utc_s, canonical);
    if (utc_s < EARLIEST_S)
        return fsp_err_set(err, FSP_EFORMAT,
                "%s is before " EARLIEST_TEXT "; check the date, or the clock", canonical);
    if (utc_s - FSP_S_PER_DAY > outside->present_s) {
        char present[FSP_TIME_TEXT_LEN + 1];

        fsp_time_text(outside->present_s, present);
        return fsp_err_set(err, FSP_EFORMAT,
                "%s is more than 24 h after the present known here (%s); check the date, or "
                "the "
                "clock",
                canonical, present);
    }
    if (strcmp(text, canonical) == 0)
        return FSP_OK;
    json_decref(*out);
    *out = json_string(canonical);
    return *out != NULL ? FSP_OK : no_memory(err);
}

static int
base64_value(char c)
{
    if (c >= 'A' && c <= 'Z')
        return c - 'A';
    if (c >= 'a' && c <= 'z')
        return c - 'a' + 26;
    if (c >= '0' && c <= '9')
        return c - '0' + 52;
    if (c == '+')
        return 62;
    return c == '/' ? 63 : -1;
}

/* RFC 4648 section 4, with padding and without stray bits: one text for one string of bytes. */
static enum fsp_rc
check_bytes(json_t *value, size_t least, size_t most, struct fsp_err *err)
{
    const char *text = json_string_value(value);
    size_t len = text != NULL ? json_string_length(value) : 0;
    size_t pad = 0;
    size_t n;
    int last = 0;

    while (pad < 2 && len > pad && text[len - pad - 1] == '=')
        pad++;
    for (size_t i = 0; i < len - pad; i++) {
        last = base64_value(text[i]);
        if (last < 0)
            return fsp_err_set(err, FSP_EFORMAT, "not base64 (character %zu)", i + 1);
    }
    if (len == 0 || len % 4 != 0 || (pad == 1 && (last & 3) != 0) ||
            (pad == 2 && (last & 15) != 0))
        return fsp_err_set(err, FSP_EFORMAT, "not base64 with its padding");
    n = len / 4 * 3 - pad;
    if (n < least || n > most)
        return fsp_err_set(
                err, FSP_EFORMAT, "%zu bytes in base64; %zu to %zu are wanted", n, least, most);
    return FSP_OK;
}

static enum fsp_rc
check_count(const struct fsp_field *field, json_t *in, bool outside, json_t **out,
        struct fsp_err *err)
{
    const char *text = json_string_value(in);
    int64_t value = json_integer_value(in);
    uint64_t typed = 0;

    if (outside && text != NULL) {
        text += strspn(text, " \t");
        if (fsp_text_u64(text, strcspn(text, " \t"), &typed) != FSP_OK ||
                typed > (uint64_t)FSP_JSON_INT_MAX)
            return fsp_err_set(err, FSP_EFORMAT,
                    "'%s' is not a whole number from %.16g to %.16g", fsp_quote(text).text,
                    field->least, field->most);
        value = (int64_t)typed;
    } else if (!json_is_integer(in)) {
        return fsp_err_set(err, FSP_EFORMAT, "a whole number is wanted here");
    }
    if ((double)value < field->least || (double)value > field->most)
        return fsp_err_set(err, FSP_EFORMAT,
                "%" PRId64 " is out of range; allowed is %.16g to %.16g", value, field->least,
                field->most);
    if ((field->flags & FSP_EVEN) != 0 && value % 2 != 0)
        return fsp_err_set(
                err, FSP_EFORMAT, "%" PRId64 " is odd; the number of lines is even", value);
    *out = json_integer(value);
    return *out != NULL ? FSP_OK : no_memory(err);
}

/* {log,index,leaf} and nothing else. */
static enum fsp_rc
check_entry_shape(json_t *in, struct fsp_err *err)
{
    const json_t *log = json_object_get(in, "log");
    const json_t *index = json_object_get(in, "index");
    json_t *leaf = json_object_get(in, "leaf");

    if (json_object_size(in) != 3 || !json_is_string(log) || !json_is_integer(index) ||
            !json_is_string(leaf) || json_string_length(log) == 0 ||
            json_string_length(log) > LOG_NAME_MAX || json_integer_value(index) < 0)
        return fsp_err_set(err, FSP_EFORMAT,
                "an entry is named {\"log\":text,\"index\":number,\"leaf\":base64}, or by its "
                "number in this log");
    if (check_bytes(leaf, LEAF_LEN, LEAF_LEN, NULL) != FSP_OK)
        return fsp_err_set(err, FSP_EFORMAT, "leaf is not a hash of 32 bytes in base64");
    return FSP_OK;
}

/* A number of this log, named in full by the caller. */
static enum fsp_rc
resolve_entry(uint64_t index, const struct fsp_check_context *outside, json_t **out,
        struct fsp_err *err)
{
    char name[ENTRY_TEXT_MAX] = "";
    enum fsp_rc rc;

    if (outside->entry_name == NULL)
        return fsp_err_set(err, FSP_EFORMAT,
                "entry %" PRIu64 " cannot be looked up here; write {log,index,leaf}", index);
    rc = outside->entry_name(outside->ctx, index, name, err);
    if (rc == FSP_ENOTFOUND)
        return fsp_err_set(
                err, FSP_EFORMAT, "there is no entry %" PRIu64 " in this log", index);
    if (rc == FSP_OK)
        rc = fsp_json_parse(name, strnlen(name, sizeof(name)), sizeof(name), out, err);
    if (rc == FSP_OK)
        rc = check_entry_shape(*out, err);
    return rc;
}

static enum fsp_rc
check_entry(
        json_t *in, const struct fsp_check_context *outside, json_t **out, struct fsp_err *err)
{
    const char *text = json_string_value(in);
    uint64_t index = 0;
    enum fsp_rc rc;

    if (outside != NULL && json_is_integer(in) && json_integer_value(in) >= 0)
        return resolve_entry((uint64_t)json_integer_value(in), outside, out, err);
    if (outside != NULL && text != NULL) {
        text += strspn(text, " \t");
        if (fsp_text_u64(text, strcspn(text, " \t"), &index) == FSP_OK)
            return resolve_entry(index, outside, out, err);
    }
    rc = check_entry_shape(in, err);
    if (rc == FSP_OK)
        *out = json_incref(in);
    return rc;
}

/* Every type that is one text in the record. */
static enum fsp_rc
check_textual(const struct fsp_field *field, json_t *in,
        const struct fsp_check_context *outside, json_t **out, struct fsp_err *err)
{
    enum fsp_rc rc;

    if (json_is_integer(in) && (field->type == FSP_QUANTITY || field->type == FSP_NUMBER))
        return fsp_err_set(err, FSP_EFORMAT, "write it as text in quotes%s, not as a number",
                field->type == FSP_QUANTITY ? ", with its unit" : "");
    rc = text_of(in, outside != NULL, out, err);
    if (rc != FSP_OK)
        return rc;
    switch (field->type) {
    case FSP_TEXT:
        return check_text(field, outside != NULL, out, err);
    case FSP_WORD:
        return check_word(field, outside != NULL, out, err);
    case FSP_NUMBER:
        return check_number(field, json_string_value(*out), err);
    case FSP_QUANTITY:
        return check_quantity(field, json_string_value(*out), err);
    case FSP_TIME:
        return check_time(outside, out, err);
    case FSP_BYTES:
        return check_bytes(*out, (size_t)field->least, (size_t)field->most, err);
    case FSP_COUNT:
    case FSP_ENTRY:
    case FSP_LIST:
    case FSP_OBJECT:
        break;
    }
    return fsp_err_set(err, FSP_EFORMAT, "not a text");
}

static enum fsp_rc
check_scalar(const struct fsp_field *field, json_t *in, const struct fsp_check_context *outside,
        json_t **out, struct fsp_err *err)
{
    if (field->type == FSP_COUNT)
        return check_count(field, in, outside != NULL, out, err);
    if (field->type == FSP_ENTRY)
        return check_entry(in, outside, out, err);
    return check_textual(field, in, outside, out, err);
}

static const struct fsp_field *
find_sub(const struct fsp_field *sub, const char *name)
{
    for (; sub->name != NULL; sub++) {
        if (strcmp(sub->name, name) == 0)
            return sub;
    }
    return NULL;
}

static enum fsp_rc
unknown_sub(const struct fsp_field *sub, const char *name, struct fsp_err *err)
{
    const char *names[WORDS_MAX];
    const char *near;
    size_t n = 0;

    for (; sub->name != NULL && n < WORDS_MAX; sub++)
        names[n++] = sub->name;
    near = fsp_text_nearest(name, names, n);
    return fsp_err_set(err, FSP_EFORMAT, "%s: not known here%s%s%s", fsp_quote(name).text,
            near != NULL ? "; did you mean " : "", near != NULL ? near : "",
            near != NULL ? "?" : "");
}

/* The members of one object inside a record. */
static enum fsp_rc
check_members(const struct fsp_field *sub, json_t *in, const struct fsp_check_context *outside,
        json_t **out, struct fsp_err *err)
{
    const char *name;
    json_t *value;

    *out = NULL;
    if (!json_is_object(in))
        return fsp_err_set(err, FSP_EFORMAT, "an object {...} is wanted here");
    *out = json_object();
    if (*out == NULL)
        return no_memory(err);
    json_object_foreach(in, name, value)
    {
        const struct fsp_field *field = find_sub(sub, name);
        json_t *checked = NULL;
        enum fsp_rc rc;

        if (field == NULL)
            return unknown_sub(sub, name, err);
        rc = check_scalar(field, value, outside, &checked, err);
        if (rc != FSP_OK) {
            json_decref(checked);
            return fsp_err_wrap(err, rc, "%s", name);
        }
        if (json_object_set_new(*out, name, checked) != 0)
            return no_memory(err);
    }
    for (; sub->name != NULL; sub++) {
        if ((sub->flags & FSP_REQUIRED) != 0 && json_object_get(*out, sub->name) == NULL)
            return fsp_err_set(err, FSP_EFORMAT, "%s: required, not given", sub->name);
    }
    return FSP_OK;
}

static enum fsp_rc
check_list(const struct fsp_field *field, json_t *in, const struct fsp_check_context *outside,
        json_t **out, struct fsp_err *err)
{
    size_t n = json_array_size(in);

    if (!json_is_array(in) || n == 0)
        return fsp_err_set(
                err, FSP_EFORMAT, "a list [{...},...] with at least one item is wanted here");
    if (n > ITEMS_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "%zu items; at most %zu are allowed", n, ITEMS_MAX);
    *out = json_array();
    if (*out == NULL)
        return no_memory(err);
    for (size_t i = 0; i < n; i++) {
        json_t *item = NULL;
        enum fsp_rc rc = check_members(field->sub, json_array_get(in, i), outside, &item, err);

        if (rc != FSP_OK) {
            json_decref(item);
            return fsp_err_wrap(err, rc, "item %zu", i + 1);
        }
        if (json_array_append_new(*out, item) != 0)
            return no_memory(err);
    }
    return FSP_OK;
}

/* What an amendment may set one field to: whatever some kind takes under that name. */
static enum fsp_rc
check_set_member(const char *name, json_t *in, const struct fsp_check_context *outside,
        json_t **out, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_ENOTFOUND;
    const struct fsp_kind *kind;

    if (strcmp(name, "kind") == 0 || strcmp(name, "v") == 0 || strcmp(name, "noted") == 0 ||
            strcmp(name, "factor") == 0 || strcmp(name, "rules") == 0)
        return fsp_err_set(err, FSP_EFORMAT, "an amendment cannot change it");
    for (size_t i = 0; rc != FSP_OK && (kind = fsp_kind_at(i)) != NULL; i++) {
        const struct fsp_field *field = fsp_kind_field(kind, name);

        if (field == NULL || field->type == FSP_OBJECT)
            continue;
        json_decref(*out);
        *out = NULL;
        rc = field->type == FSP_LIST ? check_list(field, in, outside, out, err)
                                     : check_scalar(field, in, outside, out, err);
    }
    if (rc == FSP_ENOTFOUND) {
        const char *near = fsp_field_nearest(NULL, name);

        rc = fsp_err_set(err, FSP_EFORMAT, "no kind has such a field%s%s%s",
                near != NULL ? "; did you mean " : "", near != NULL ? near : "",
                near != NULL ? "?" : "");
    }
    return rc;
}

static enum fsp_rc
check_set(
        json_t *in, const struct fsp_check_context *outside, json_t **out, struct fsp_err *err)
{
    const char *name;
    json_t *value;

    if (!json_is_object(in) || json_object_size(in) == 0)
        return fsp_err_set(
                err, FSP_EFORMAT, "an object {\"field\":\"value\",...} is wanted here");
    *out = json_object();
    if (*out == NULL)
        return no_memory(err);
    json_object_foreach(in, name, value)
    {
        json_t *checked = NULL;
        enum fsp_rc rc = check_set_member(name, value, outside, &checked, err);

        if (rc != FSP_OK) {
            json_decref(checked);
            return fsp_err_wrap(err, rc, "%s", fsp_quote(name).text);
        }
        if (json_object_set_new(*out, name, checked) != 0)
            return no_memory(err);
    }
    return FSP_OK;
}

enum fsp_rc
fsp_value_check(const struct fsp_field *field, json_t *in,
        const struct fsp_check_context *outside, json_t **out, struct fsp_err *err)
{
    enum fsp_rc rc;

    *out = NULL;
    if (field->type == FSP_LIST)
        rc = check_list(field, in, outside, out, err);
    else if (field->type == FSP_OBJECT && field->sub != NULL)
        rc = check_members(field->sub, in, outside, out, err);
    else if (field->type == FSP_OBJECT)
        rc = check_set(in, outside, out, err);
    else
        rc = check_scalar(field, in, outside, out, err);
    if (rc != FSP_OK) {
        json_decref(*out);
        *out = NULL;
    }
    return rc;
}

enum fsp_rc
fsp_value_typed(
        const struct fsp_field *field, const char *text, json_t **out, struct fsp_err *err)
{
    size_t len = strlen(text);
    bool json = field->type == FSP_LIST || field->type == FSP_OBJECT ||
                (field->type == FSP_ENTRY && text[strspn(text, " \t")] == '{');

    *out = NULL;
    if (json)
        return fsp_json_parse(text, len, FSP_ENTRY_MAX, out, err);
    if (!fsp_text_printable(text, len))
        return fsp_err_set(err, FSP_EFORMAT,
                "'%s' holds a control or invisible character, or is not UTF-8; write it as "
                "plain text on one line",
                fsp_quote(text).text);
    *out = json_stringn(text, len);
    return *out != NULL ? FSP_OK : no_memory(err);
}
