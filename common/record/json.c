#include "record/json_priv.h"

#include <string.h>

#include "base/clock.h"
#include "base/text.h"

const json_t *
fsp_json_of(const struct fsp_record *record)
{
    return (const json_t *)record;
}

json_t *
fsp_json_mutable(const struct fsp_record *record)
{
    union {
        const struct fsp_record *in;
        json_t *out;
    } pointer = {record}; /* jansson's iterators want no const */

    return pointer.out;
}

struct fsp_record *
fsp_json_record(json_t *json)
{
    return (struct fsp_record *)json;
}

bool
fsp_time_is_canonical(const char *text, int64_t *utc_s)
{
    if (strlen(text) != FSP_TIME_TEXT_LEN || text[10] != 'T' ||
            text[FSP_TIME_TEXT_LEN - 1] != 'Z')
        return false;
    return fsp_time_parse(text, NULL, utc_s, NULL) == FSP_OK;
}

/* Where an iterative walk stands in one object or list. */
struct frame {
    json_t *node;
    void *iter;
    size_t next;
};

static enum fsp_rc
check_text(const char *name, const json_t *node, struct fsp_err *err)
{
    if (fsp_text_printable(json_string_value(node), json_string_length(node)))
        return FSP_OK;
    return fsp_err_set(err, FSP_EFORMAT,
            "field %s holds a control or invisible character; write it as plain text on one "
            "line",
            name);
}

static enum fsp_rc
check_key(const char *key, struct fsp_err *err)
{
    size_t len = strlen(key);

    if (len == 0 || len > 64)
        return fsp_err_set(
                err, FSP_EFORMAT, "a name of %zu characters; names have 1 to 64", len);
    for (size_t i = 0; i < len; i++) {
        if (key[i] <= 0x20 || key[i] >= 0x7F)
            return fsp_err_set(err, FSP_EFORMAT, "a name that is not plain ASCII letters");
    }
    return FSP_OK;
}

static enum fsp_rc
check_node(const char *name, json_t *node, struct fsp_err *err)
{
    switch (json_typeof(node)) {
    case JSON_OBJECT:
        if (json_object_size(node) > FSP_JSON_MEMBERS)
            return fsp_err_set(
                    err, FSP_ELIMIT, "field %s: more than %zu members", name, FSP_JSON_MEMBERS);
        return FSP_OK;
    case JSON_ARRAY:
    case JSON_TRUE:
    case JSON_FALSE:
        return FSP_OK;
    case JSON_STRING:
        return check_text(name, node, err);
    case JSON_INTEGER:
        if (json_integer_value(node) > FSP_JSON_INT_MAX ||
                json_integer_value(node) < -FSP_JSON_INT_MAX)
            return fsp_err_set(err, FSP_ELIMIT, "field %s: a number beyond 2^53 - 1", name);
        return FSP_OK;
    case JSON_REAL:
        return fsp_err_set(err, FSP_EFORMAT,
                "field %s: a number with decimals; write it in quotes, with its unit", name);
    case JSON_NULL:
        return fsp_err_set(
                err, FSP_EFORMAT, "field %s: null; leave out what is not known", name);
    }
    return fsp_err_set(err, FSP_EFORMAT, "field %s", name);
}

/* The next child of the frame, NULL at its end. */
static json_t *
next_child(struct frame *frame, const char **name, enum fsp_rc *rc, struct fsp_err *err)
{
    json_t *child = NULL;

    if (json_is_array(frame->node))
        return json_array_get(frame->node, frame->next++);
    frame->iter = frame->next++ == 0 ? json_object_iter(frame->node)
                                     : json_object_iter_next(frame->node, frame->iter);
    if (frame->iter != NULL) {
        *name = json_object_iter_key(frame->iter);
        child = json_object_iter_value(frame->iter);
        *rc = check_key(*name, err);
    }
    return child;
}

static enum fsp_rc
check_tree(json_t *root, struct fsp_err *err)
{
    struct frame stack[FSP_JSON_DEPTH];
    const char *name = "(whole)";
    enum fsp_rc rc = check_node(name, root, err);
    size_t depth = 0;

    if (rc != FSP_OK || (!json_is_object(root) && !json_is_array(root)))
        return rc;
    stack[depth++] = (struct frame){root, NULL, 0};
    while (depth > 0) {
        json_t *child = next_child(&stack[depth - 1], &name, &rc, err);

        if (child == NULL) {
            depth--;
            continue;
        }
        if (rc == FSP_OK)
            rc = check_node(name, child, err);
        if (rc != FSP_OK)
            return rc;
        if (!json_is_object(child) && !json_is_array(child))
            continue;
        if (depth == FSP_JSON_DEPTH)
            return fsp_err_set(
                    err, FSP_ELIMIT, "field %s: nested deeper than %d", name, FSP_JSON_DEPTH);
        stack[depth++] = (struct frame){child, NULL, 0};
    }
    return FSP_OK;
}

/* jansson's words, made safe to show: they quote the input. */
static enum fsp_rc
parse_error(const json_error_t *error, struct fsp_err *err)
{
    struct fsp_buf text;
    enum fsp_rc rc;

    if (json_error_code(error) == json_error_out_of_memory)
        return fsp_err_set(err, FSP_ENOMEM, "JSON");
    fsp_buf_init(&text, 1024);
    fsp_text_show(&text, error->text, strnlen(error->text, sizeof(error->text)));
    rc = fsp_err_set(err, FSP_EFORMAT, "not JSON at character %d: %.200s",
            error->position > 0 ? error->position : error->column, fsp_buf_peek(&text));
    fsp_buf_fini(&text);
    return rc;
}

enum fsp_rc
fsp_json_parse(const void *bytes, size_t len, size_t max, json_t **out, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    json_error_t error;
    json_t *json = NULL;

    *out = NULL;
    if (len > max)
        return fsp_err_set(err, FSP_ELIMIT, "%zu bytes; at most %zu are allowed", len, max);
    json = json_loadb(bytes, len, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &error);
    if (json == NULL)
        return parse_error(&error, err);
    rc = check_tree(json, err);
    if (rc != FSP_OK)
        goto out;
    *out = json;
    json = NULL;
out:
    json_decref(json);
    return rc;
}

static int
dump_piece(const char *piece, size_t size, void *data)
{
    struct fsp_buf *buf = data;

    fsp_buf_add(buf, piece, size);
    return buf->rc == FSP_OK ? 0 : -1;
}

void
fsp_json_write(const json_t *json, struct fsp_buf *buf)
{
    int failed = json_dump_callback(
            json, dump_piece, buf, JSON_SORT_KEYS | JSON_COMPACT | JSON_ENCODE_ANY);

    if (failed != 0 && buf->rc == FSP_OK)
        buf->rc = FSP_ENOMEM; /* jansson's own memory; every other failure is the buffer's */
}
