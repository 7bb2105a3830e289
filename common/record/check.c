#include "record/check.h"

#include <assert.h>
#include <string.h>

#include "base/limits.h"
#include "base/text.h"
#include "record/kind.h"
#include "record/value_priv.h"

#define NOTED_ROOM  ((size_t)128)  /* what the agent adds: noted and computed fields */
#define SURELY_FITS ((size_t)6000) /* typed bytes that cannot reach the limit, escaped or not */
#define KINDS_MAX   64

static const struct fsp_check_context no_context = {NULL, INT64_MAX, NULL, NULL};

static enum fsp_rc
unknown_kind(const char *name, struct fsp_err *err)
{
    const char *names[KINDS_MAX];
    const struct fsp_kind *kind;
    const char *near;
    size_t n = 0;

    for (size_t i = 0; n < KINDS_MAX && (kind = fsp_kind_at(i)) != NULL; i++)
        names[n++] = kind->name;
    near = fsp_text_nearest(name, names, n);
    if (near != NULL)
        return fsp_err_set(err, FSP_EFORMAT, "field kind: '%s' is not known; did you mean %s?",
                fsp_quote(name).text, near);
    return fsp_err_set(err, FSP_EFORMAT,
            "field kind: '%s' is not known; write one of rig, reel, work, slip, cut, "
            "inspection and the others of docs/records.md",
            fsp_quote(name).text);
}

static enum fsp_rc
find_kind(const char *name, const struct fsp_kind **out, struct fsp_err *err)
{
    *out = name != NULL ? fsp_kind_find(name) : NULL;
    if (*out != NULL)
        return FSP_OK;
    if (name == NULL)
        (void)fsp_err_set(err, FSP_EFORMAT, "field kind: required, not given");
    else
        (void)unknown_kind(name, err);
    return FSP_EFORMAT;
}

static enum fsp_rc
unknown_field(const struct fsp_kind *kind, const char *name, struct fsp_err *err)
{
    const char *near;

    if (fsp_field_known(name))
        return fsp_err_set(
                err, FSP_EFORMAT, "field %s: kind %s does not take it", name, kind->name);
    near = fsp_field_nearest(kind, name);
    if (near == NULL)
        near = fsp_field_nearest(NULL, name);
    return fsp_err_set(err, FSP_EFORMAT, "field %s: not known in kind %s%s%s%s",
            fsp_quote(name).text, kind->name, near != NULL ? "; did you mean " : "",
            near != NULL ? near : "", near != NULL ? "?" : "");
}

/* What is set by the program itself, unless the operation asks for it. Judged when op is known. */
static enum fsp_rc
check_origin(const struct fsp_kind *kind, const json_t *json, const struct fsp_op *op,
        struct fsp_err *err)
{
    for (const struct fsp_field *f = kind->fields; f->name != NULL; f++) {
        if ((f->flags & FSP_COMPUTED) == 0 || json_object_get(json, f->name) == NULL ||
                fsp_op_needs(op, f->name))
            continue;
        return fsp_err_set(err, FSP_EFORMAT,
                "field %s: worked out by the program, not taken from outside; op stated or "
                "counted takes ton-miles",
                f->name);
    }
    return FSP_OK;
}

static enum fsp_rc
missing(const struct fsp_kind *kind, const char *name, struct fsp_err *err)
{
    return fsp_err_set(
            err, FSP_EFORMAT, "field %s: required by kind %s, not given", name, kind->name);
}

static enum fsp_rc
check_required(const struct fsp_kind *kind, const json_t *json, struct fsp_err *err)
{
    for (const struct fsp_field *f = fsp_common_fields(); f->name != NULL; f++) {
        if ((f->flags & FSP_REQUIRED) != 0 && json_object_get(json, f->name) == NULL)
            return missing(kind, f->name, err);
    }
    for (const struct fsp_field *f = kind->fields; f->name != NULL; f++) {
        if ((f->flags & FSP_REQUIRED) != 0 && json_object_get(json, f->name) == NULL)
            return missing(kind, f->name, err);
    }
    return FSP_OK;
}

/* Casing by sections says its weights there. */
static bool
in_sections(const json_t *json, const char *name)
{
    return strcmp(name, "casing") == 0 && json_object_get(json, "sections") != NULL;
}

/* The operation's own fields: those it needs are there, those it does not take are not. */
static enum fsp_rc
check_op_fields(
        const struct fsp_kind *kind, json_t *json, const struct fsp_op *op, struct fsp_err *err)
{
    char name[32];
    const char *p = op->required;

    while (*p != '\0') {
        size_t n = strcspn(p, " ");

        assert(n < sizeof(name)); /* our own table */
        memcpy(name, p, n);
        name[n] = '\0';
        if (json_object_get(json, name) == NULL && !in_sections(json, name))
            return fsp_err_set(err, FSP_EFORMAT, "field %s: required by op %s, not given%s",
                    name, op->name,
                    strcmp(name, "casing") == 0 ? "; sections will do as well" : "");
        p += n;
        p += strspn(p, " ");
    }
    for (void *iter = json_object_iter(json); iter != NULL;
            iter = json_object_iter_next(json, iter)) {
        const char *key = json_object_iter_key(iter);
        const struct fsp_field *field = fsp_kind_field(kind, key);
        const struct fsp_field *common = fsp_common_fields();

        while (common->name != NULL && common != field)
            common++;
        if (common->name == NULL && !fsp_op_takes(op, key))
            return fsp_err_set(
                    err, FSP_EFORMAT, "field %s: op %s does not take it", key, op->name);
    }
    return FSP_OK;
}

/* Depths of a string that holds an assembly: at least its length, or 0 (out of the hole). */
static enum fsp_rc
check_depths(const struct fsp_record *record, struct fsp_err *err)
{
    static const char *const names[] = {"from", "to", "depth"};
    double bha_m = 0.0;

    if (!fsp_record_si(record, "bha-length", FSP_DIM_LENGTH, &bha_m))
        return FSP_OK;
    for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++) {
        double depth_m = 0.0;

        if (fsp_record_si(record, names[i], FSP_DIM_LENGTH, &depth_m) && depth_m > 0.0 &&
                depth_m < bha_m)
            return fsp_err_set(err, FSP_EFORMAT,
                    "field %s: '%s' is less than the bottom-hole assembly (%s); 0 means out of "
                    "the hole",
                    names[i], fsp_record_text(record, names[i]),
                    fsp_record_text(record, "bha-length"));
    }
    return FSP_OK;
}

/* From and to in the order the operation's name says. */
static enum fsp_rc
check_direction(const struct fsp_record *record, const struct fsp_op *op, struct fsp_err *err)
{
    double from_m = 0.0;
    double to_m = 0.0;
    bool up = strcmp(op->name, "pull-out") == 0;
    bool down = fsp_words_have("run-in drilling coring", op->name);

    if ((!up && !down) || !fsp_record_si(record, "from", FSP_DIM_LENGTH, &from_m) ||
            !fsp_record_si(record, "to", FSP_DIM_LENGTH, &to_m))
        return FSP_OK;
    if ((up && to_m > from_m) || (down && to_m < from_m))
        return fsp_err_set(err, FSP_EFORMAT,
                "field to: op %s ends %s than it starts, '%s' is %s", op->name,
                up ? "no deeper" : "no shallower", fsp_record_text(record, "to"),
                up ? "deeper; from and to changed over?"
                   : "shallower; from and to changed over?");
    return FSP_OK;
}

static enum fsp_rc
check_work(const struct fsp_record *record, const struct fsp_op *op, struct fsp_err *err)
{
    int64_t begin_s = 0;
    int64_t end_s = 0;
    enum fsp_rc rc = FSP_OK;

    if (!fsp_words_have("casing liner", op->name))
        rc = check_depths(record, err);
    if (rc == FSP_OK)
        rc = check_direction(record, op, err);
    if (rc == FSP_OK && fsp_record_time(record, "begin", &begin_s) &&
            fsp_record_time(record, "end", &end_s) && end_s < begin_s)
        rc = fsp_err_set(err, FSP_EFORMAT, "field end: '%s' is before begin ('%s')",
                fsp_record_text(record, "end"), fsp_record_text(record, "begin"));
    return rc;
}

/* Rules between the fields of one record. */
static enum fsp_rc
check_together(
        const struct fsp_kind *kind, const struct fsp_record *record, struct fsp_err *err)
{
    const char *reason = fsp_record_text(record, "reason");
    bool set = fsp_record_has(record, "set");

    if (strcmp(kind->name, "cut") == 0 && reason != NULL && strcmp(reason, "other") == 0 &&
            !fsp_record_has(record, "note"))
        return fsp_err_set(err, FSP_EFORMAT, "field note: required when reason is other");
    if (strcmp(kind->name, "amend") == 0 && set == fsp_record_has(record, "void"))
        return fsp_err_set(err, FSP_EFORMAT,
                set ? "field void: an amendment sets fields or voids the entry, not both"
                    : "field set: required by kind amend (or void=yes), not given");
    return FSP_OK;
}

/* Everything that needs the whole record. */
static enum fsp_rc
check_whole(const struct fsp_kind *kind, json_t *json, bool outside, struct fsp_err *err)
{
    const char *op_name = json_string_value(json_object_get(json, "op"));
    const struct fsp_op *op = op_name != NULL ? fsp_op_find(op_name) : NULL;
    enum fsp_rc rc = check_required(kind, json, err);

    if (rc == FSP_OK && outside)
        rc = check_origin(kind, json, op, err);
    if (rc == FSP_OK && op != NULL)
        rc = check_op_fields(kind, json, op, err);
    if (rc == FSP_OK && op != NULL)
        rc = check_work(fsp_json_record(json), op, err);
    if (rc == FSP_OK)
        rc = check_together(kind, fsp_json_record(json), err);
    return rc;
}

/* One member from outside into the record. */
static enum fsp_rc
add_member(json_t *json, const struct fsp_field *field, json_t *in,
        const struct fsp_check_context *context, struct fsp_err *err)
{
    json_t *value = NULL;
    enum fsp_rc rc;

    if ((field->flags & FSP_AGENT) != 0)
        return fsp_err_set(err, FSP_EFORMAT,
                "field %s: set by the program, not taken from outside", field->name);
    if (json_object_get(json, field->name) != NULL)
        return fsp_err_set(err, FSP_EFORMAT, "field %s: given twice", field->name);
    rc = fsp_value_check(field, in, context, &value, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "field %s", field->name);
    if (json_object_set_new_nocheck(json, field->name, value) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "record");
    return FSP_OK;
}

static enum fsp_rc
start_record(const struct fsp_kind *kind, json_t **json, struct fsp_err *err)
{
    *json = json_object();
    if (*json == NULL || json_object_set_new(*json, "kind", json_string(kind->name)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "record");
    return FSP_OK;
}

/* Add v, judge the whole, and see that it fits with what the agent will add. */
static enum fsp_rc
finish_record(const struct fsp_kind *kind, json_t *json, size_t typed, struct fsp_err *err)
{
    struct fsp_buf buf;
    enum fsp_rc rc;

    if (json_object_get(json, "v") == NULL &&
            json_object_set_new(json, "v", json_integer(1)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "record");
    rc = check_whole(kind, json, true, err);
    if (rc != FSP_OK || typed < SURELY_FITS)
        return rc;
    fsp_buf_init(&buf, FSP_ENTRY_MAX - NOTED_ROOM);
    fsp_json_write(json, &buf);
    rc = fsp_buf_check(&buf, "the record", err);
    fsp_buf_fini(&buf);
    return rc;
}

static bool
is_given(const char *value)
{
    return value != NULL && value[strspn(value, " \t")] != '\0';
}

static const char *
typed_kind(const char *kind, const struct fsp_typed *members, size_t n, struct fsp_err *err)
{
    const char *found = kind;

    for (size_t i = 0; i < n; i++) {
        if (strcmp(members[i].name, "kind") != 0 || !is_given(members[i].value))
            continue;
        if (found != NULL && strcmp(found, members[i].value) != 0) {
            (void)fsp_err_set(err, FSP_EFORMAT, "field kind: '%s' and '%s' are both given",
                    fsp_quote(found).text, fsp_quote(members[i].value).text);
            return "";
        }
        found = members[i].value;
    }
    return found;
}

/* One typed member; an empty one is "not given", but its name must be right all the same. */
static enum fsp_rc
add_typed(const struct fsp_kind *kind, json_t *json, const struct fsp_typed *member,
        const struct fsp_check_context *context, struct fsp_err *err)
{
    const struct fsp_field *field;
    json_t *in = NULL;
    enum fsp_rc rc;

    if (strcmp(member->name, "kind") == 0)
        return FSP_OK;
    if (!is_given(member->value))
        return fsp_field_known(member->name) ? FSP_OK : unknown_field(kind, member->name, err);
    field = fsp_kind_field(kind, member->name);
    if (field == NULL)
        return unknown_field(kind, member->name, err);
    rc = fsp_value_typed(field, member->value, &in, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "field %s", field->name);
    rc = add_member(json, field, in, context, err);
    json_decref(in);
    return rc;
}

enum fsp_rc
fsp_check_typed(const char *kind, const struct fsp_typed *members, size_t n,
        const struct fsp_check_context *context, struct fsp_record **out, struct fsp_err *err)
{
    const struct fsp_kind *row = NULL;
    json_t *json = NULL;
    size_t typed = 0;
    enum fsp_rc rc;

    *out = NULL;
    if (context == NULL)
        context = &no_context;
    kind = typed_kind(kind, members, n, err);
    if (kind != NULL && kind[0] == '\0')
        return FSP_EFORMAT;
    rc = find_kind(kind, &row, err);
    if (rc == FSP_OK)
        rc = start_record(row, &json, err);
    for (size_t i = 0; i < n && rc == FSP_OK; i++) {
        rc = add_typed(row, json, &members[i], context, err);
        typed += is_given(members[i].value) ? strlen(members[i].value) + 32 : 0;
    }
    if (rc == FSP_OK)
        rc = finish_record(row, json, typed, err);
    if (rc == FSP_OK) {
        *out = fsp_json_record(json);
        json = NULL;
    }
    json_decref(json);
    return rc;
}

/* Every member of an object from outside. */
static enum fsp_rc
add_all(const struct fsp_kind *kind, json_t *json, json_t *in,
        const struct fsp_check_context *context, struct fsp_err *err)
{
    const char *name;
    json_t *value;

    json_object_foreach(in, name, value)
    {
        const struct fsp_field *field = fsp_kind_field(kind, name);
        const char *text = json_string_value(value);
        enum fsp_rc rc;

        if (strcmp(name, "kind") == 0)
            continue;
        if (text != NULL && !is_given(text) && fsp_field_known(name))
            continue;
        if (field == NULL)
            return unknown_field(kind, name, err);
        rc = add_member(json, field, value, context, err);
        if (rc != FSP_OK)
            return rc;
    }
    return FSP_OK;
}

enum fsp_rc
fsp_check_json(const char *text, size_t len, const struct fsp_check_context *context,
        struct fsp_record **out, struct fsp_err *err)
{
    const struct fsp_kind *kind = NULL;
    json_t *in = NULL;
    json_t *json = NULL;
    enum fsp_rc rc;

    *out = NULL;
    rc = fsp_json_parse(text, len, FSP_SHEET_LINE_MAX, &in, err);
    if (rc != FSP_OK)
        goto out;
    if (!json_is_object(in)) {
        rc = fsp_err_set(err, FSP_EFORMAT, "a record is one JSON object {...}, this is not");
        goto out;
    }
    rc = find_kind(json_string_value(json_object_get(in, "kind")), &kind, err);
    if (rc == FSP_OK)
        rc = start_record(kind, &json, err);
    if (rc == FSP_OK)
        rc = add_all(kind, json, in, context != NULL ? context : &no_context, err);
    if (rc == FSP_OK)
        rc = finish_record(kind, json, len, err);
    if (rc == FSP_OK) {
        *out = fsp_json_record(json);
        json = NULL;
    }
out:
    json_decref(in);
    json_decref(json);
    return rc;
}

/* The bytes must be exactly what the parsed record is written as. */
static enum fsp_rc
check_canonical(const json_t *json, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct fsp_buf buf;
    enum fsp_rc rc;

    fsp_buf_init(&buf, FSP_ENTRY_MAX * 2);
    fsp_json_write(json, &buf);
    rc = fsp_buf_check(&buf, "canonical bytes", err);
    if (rc == FSP_OK && (buf.len != len || memcmp(buf.data, bytes, len) != 0))
        rc = fsp_err_set(
                err, FSP_EFORMAT, "not in canonical form (RFC 8785: sorted names, no blanks)");
    fsp_buf_fini(&buf);
    return rc;
}

static enum fsp_rc
check_stored_members(const struct fsp_kind *kind, json_t *json, struct fsp_err *err)
{
    const char *name;
    json_t *value;

    json_object_foreach(json, name, value)
    {
        const struct fsp_field *field = fsp_kind_field(kind, name);
        json_t *same = NULL;
        enum fsp_rc rc;

        if (field == NULL)
            return unknown_field(kind, name, err);
        rc = fsp_value_check(field, value, NULL, &same, err);
        json_decref(same);
        if (rc != FSP_OK)
            return fsp_err_wrap(err, rc, "field %s", name);
    }
    return FSP_OK;
}

enum fsp_rc
fsp_check_stored(const uint8_t *bytes, size_t len, struct fsp_record **out, struct fsp_err *err)
{
    const struct fsp_kind *kind = NULL;
    struct fsp_record *record = NULL;
    json_t *json = NULL;
    enum fsp_rc rc;

    *out = NULL;
    rc = fsp_record_parse(bytes, len, &record, err);
    if (rc != FSP_OK)
        return rc;
    json = fsp_json_mutable(record);
    rc = check_canonical(json, bytes, len, err);
    if (rc == FSP_OK)
        rc = find_kind(fsp_record_text(record, "kind"), &kind, err);
    if (rc == FSP_OK)
        rc = check_stored_members(kind, json, err);
    if (rc == FSP_OK)
        rc = check_whole(kind, json, false, err);
    if (rc == FSP_OK) {
        *out = record;
        record = NULL;
    }
    fsp_record_free(record);
    return rc;
}
