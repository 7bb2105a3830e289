#include "record/record.h"

#include <string.h>

#include "base/clock.h"
#include "base/limits.h"
#include "base/text.h"
#include "record/json_priv.h"
#include "record/kind.h"

enum fsp_rc
fsp_record_parse(const uint8_t *bytes, size_t len, struct fsp_record **out, struct fsp_err *err)
{
    json_t *json = NULL;
    enum fsp_rc rc;

    *out = NULL;
    rc = fsp_json_parse(bytes, len, FSP_ENTRY_MAX, &json, err);
    if (rc != FSP_OK)
        return rc;
    if (!json_is_object(json)) {
        json_decref(json);
        return fsp_err_set(err, FSP_EFORMAT, "a record is one JSON object, this is not");
    }
    *out = fsp_json_record(json);
    return FSP_OK;
}

enum fsp_rc
fsp_record_copy(const struct fsp_record *record, struct fsp_record **out, struct fsp_err *err)
{
    *out = fsp_json_record(json_deep_copy(fsp_json_of(record)));
    return *out != NULL ? FSP_OK : fsp_err_set(err, FSP_ENOMEM, "copy of a record");
}

void
fsp_record_free(struct fsp_record *record)
{
    if (record != NULL)
        json_decref(fsp_json_mutable(record));
}

void
fsp_record_write(const struct fsp_record *record, struct fsp_buf *buf)
{
    fsp_json_write(fsp_json_of(record), buf);
}

void
fsp_record_write_identity(const struct fsp_record *record, struct fsp_buf *buf)
{
    const char *kind_name = fsp_record_text(record, "kind");
    const char *op_name = fsp_record_text(record, "op");
    const struct fsp_kind *kind = kind_name != NULL ? fsp_kind_find(kind_name) : NULL;
    const struct fsp_op *op = op_name != NULL ? fsp_op_find(op_name) : NULL;
    json_t *copy = json_copy(fsp_json_mutable(record)); /* shallow */

    if (copy == NULL) {
        buf->rc = FSP_ENOMEM;
        return;
    }
    (void)json_object_del(copy, "noted"); /* absent is fine, here and below */
    for (const struct fsp_field *f = kind != NULL ? kind->fields : NULL;
            f != NULL && f->name != NULL; f++) {
        if ((f->flags & FSP_COMPUTED) != 0 && !fsp_op_needs(op, f->name))
            (void)json_object_del(copy, f->name);
    }
    fsp_json_write(copy, buf);
    json_decref(copy);
}

static const json_t *
member(const struct fsp_record *record, const char *field)
{
    return json_object_get(fsp_json_of(record), field);
}

const char *
fsp_record_text(const struct fsp_record *record, const char *field)
{
    return json_string_value(member(record, field));
}

bool
fsp_record_int(const struct fsp_record *record, const char *field, int64_t *out)
{
    const json_t *value = member(record, field);

    if (!json_is_integer(value))
        return false;
    *out = json_integer_value(value);
    return true;
}

bool
fsp_record_time(const struct fsp_record *record, const char *field, int64_t *out)
{
    const char *text = fsp_record_text(record, field);
    int64_t utc_s = 0;

    if (text == NULL || !fsp_time_is_canonical(text, &utc_s))
        return false;
    *out = utc_s;
    return true;
}

bool
fsp_record_si(const struct fsp_record *record, const char *field, enum fsp_dim dim, double *si)
{
    const char *text = fsp_record_text(record, field);
    double value = 0.0;

    if (text == NULL || fsp_quantity_parse(text, dim, &value, NULL, NULL) != FSP_OK)
        return false;
    *si = value;
    return true;
}

bool
fsp_record_number(const struct fsp_record *record, const char *field, double *out)
{
    const char *text = fsp_record_text(record, field);
    double value = 0.0;

    if (text == NULL || fsp_number_parse(text, &value, NULL) != FSP_OK)
        return false;
    *out = value;
    return true;
}

bool
fsp_record_has(const struct fsp_record *record, const char *field)
{
    return member(record, field) != NULL;
}

const struct fsp_record *
fsp_record_object(const struct fsp_record *record, const char *field)
{
    json_t *value = json_object_get(fsp_json_of(record), field);

    return json_is_object(value) ? fsp_json_record(value) : NULL;
}

size_t
fsp_record_count(const struct fsp_record *record, const char *field)
{
    return json_array_size(member(record, field)); /* 0 when it is no list */
}

const struct fsp_record *
fsp_record_item(const struct fsp_record *record, const char *field, size_t i)
{
    json_t *value = json_array_get(member(record, field), i);

    return json_is_object(value) ? fsp_json_record(value) : NULL;
}

const char *
fsp_record_member(const struct fsp_record *record, size_t i)
{
    json_t *json = fsp_json_mutable(record);
    const char *key;
    const char *other;
    json_t *value;

    json_object_foreach(json, key, value)
    {
        size_t rank = 0;
        void *iter;

        for (iter = json_object_iter(json); iter != NULL && rank <= i;
                iter = json_object_iter_next(json, iter)) {
            other = json_object_iter_key(iter);
            if (strcmp(other, key) < 0)
                rank++;
        }
        if (rank == i)
            return key;
    }
    return NULL;
}

enum fsp_rc
fsp_record_amend(
        struct fsp_record *record, const struct fsp_record *fields, struct fsp_err *err)
{
    json_t *json = fsp_json_mutable(record);
    json_t *copy = NULL;

    if (fsp_record_has(fields, "kind") || fsp_record_has(fields, "v"))
        return fsp_err_set(err, FSP_EINVAL,
                "an amendment cannot change kind or v; void the entry and enter it anew");
    copy = json_deep_copy(fsp_json_of(fields));
    if (copy == NULL || json_object_update(json, copy) != 0) {
        json_decref(copy);
        return fsp_err_set(err, FSP_ENOMEM, "amendment");
    }
    json_decref(copy);
    return FSP_OK;
}

enum fsp_rc
fsp_record_set_text(
        struct fsp_record *record, const char *field, const char *text, struct fsp_err *err)
{
    if (!fsp_text_printable(text, strlen(text)))
        return fsp_err_set(err, FSP_EFORMAT, "field %s: text that is not printable", field);
    if (json_object_set_new(fsp_json_mutable(record), field, json_string(text)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "field %s", field);
    return FSP_OK;
}
