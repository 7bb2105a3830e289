#include "record/kind.h"

#include <string.h>

#include "base/text.h"
#include "record/kind_priv.h"

#define NAMES_MAX 512

/* What a work record of any operation may carry. */
static const char always_work[] =
        "op pipe stand bha-weight bha-length mud hookload pull service "
        "when ton-miles factor rules";

const struct fsp_kind *
fsp_kind_at(size_t i)
{
    return i < fsp_table_kinds_n ? &fsp_table_kinds[i] : NULL;
}

const struct fsp_kind *
fsp_kind_find(const char *name)
{
    for (size_t i = 0; i < fsp_table_kinds_n; i++) {
        if (strcmp(fsp_table_kinds[i].name, name) == 0)
            return &fsp_table_kinds[i];
    }
    return NULL;
}

const struct fsp_op *
fsp_op_at(size_t i)
{
    return i < fsp_table_ops_n ? &fsp_table_ops[i] : NULL;
}

const struct fsp_op *
fsp_op_find(const char *name)
{
    for (size_t i = 0; i < fsp_table_ops_n; i++) {
        if (strcmp(fsp_table_ops[i].name, name) == 0)
            return &fsp_table_ops[i];
    }
    return NULL;
}

bool
fsp_words_have(const char *words, const char *word)
{
    size_t len = strlen(word);
    const char *p = words;

    while (*p != '\0') {
        size_t n = strcspn(p, " ");

        if (n == len && memcmp(p, word, n) == 0)
            return true;
        p += n;
        p += strspn(p, " ");
    }
    return false;
}

bool
fsp_op_needs(const struct fsp_op *op, const char *field)
{
    return op != NULL && fsp_words_have(op->required, field);
}

bool
fsp_op_takes(const struct fsp_op *op, const char *field)
{
    return fsp_words_have(op->required, field) || fsp_words_have(op->optional, field) ||
           fsp_words_have(always_work, field);
}

const struct fsp_field *
fsp_common_fields(void)
{
    return fsp_table_common;
}

static const struct fsp_field *
find_field(const struct fsp_field *fields, const char *name)
{
    for (; fields->name != NULL; fields++) {
        if (fields->name[0] == name[0] && strcmp(fields->name, name) == 0)
            return fields;
    }
    return NULL;
}

const struct fsp_field *
fsp_kind_field(const struct fsp_kind *kind, const char *name)
{
    const struct fsp_field *field = find_field(kind->fields, name);

    return field != NULL ? field : find_field(fsp_table_common, name);
}

bool
fsp_field_known(const char *name)
{
    for (size_t i = 0; i < fsp_table_kinds_n; i++) {
        if (find_field(fsp_table_kinds[i].fields, name) != NULL)
            return true;
    }
    return find_field(fsp_table_common, name) != NULL;
}

static void
collect_names(const struct fsp_field *fields, const char **names, size_t *n)
{
    for (; fields->name != NULL && *n < NAMES_MAX; fields++)
        names[(*n)++] = fields->name;
}

const char *
fsp_field_nearest(const struct fsp_kind *kind, const char *typed)
{
    const char *names[NAMES_MAX];
    size_t n = 0;

    for (size_t i = 0; i < fsp_table_kinds_n; i++) {
        if (kind == NULL || kind == &fsp_table_kinds[i])
            collect_names(fsp_table_kinds[i].fields, names, &n);
    }
    collect_names(fsp_table_common, names, &n);
    return fsp_text_nearest(typed, names, n);
}
