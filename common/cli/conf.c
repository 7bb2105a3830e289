#include "cli/conf.h"

#include <assert.h>
#include <ini.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/limits.h"
#include "base/mem.h"
#include "base/text.h"

#define KEYS_MAX ((size_t)256)

struct value {
    char *text;
    bool given;
};

struct fsp_conf {
    const struct fsp_conf_key *keys;
    size_t n;
    struct value *values;
};

static void
free_values(struct value *values, size_t n)
{
    for (size_t i = 0; values != NULL && i < n; i++)
        free(values[i].text);
    free(values);
}

/* Every key at its fallback; NULL when out of memory. */
static struct value *
fallbacks(const struct fsp_conf_key *keys, size_t n)
{
    struct value *values = fsp_mem_array(n, sizeof(*values));

    for (size_t i = 0; values != NULL && i < n; i++) {
        values[i].text = fsp_mem_text(keys[i].fallback, strlen(keys[i].fallback));
        if (values[i].text == NULL) {
            free_values(values, n);
            values = NULL;
        }
    }
    return values;
}

enum fsp_rc
fsp_conf_new(const struct fsp_conf_key *keys, struct fsp_conf **out, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    struct fsp_conf *conf = NULL;

    *out = NULL;
    conf = fsp_mem_array(1, sizeof(*conf));
    if (conf == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "configuration");
        goto out;
    }
    conf->keys = keys;
    while (keys[conf->n].section != NULL)
        conf->n++;
    assert(conf->n <= KEYS_MAX); /* our own table */
    conf->values = fallbacks(keys, conf->n);
    if (conf->values == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "configuration");
        goto out;
    }
    *out = conf;
    conf = NULL;
out:
    fsp_conf_free(conf);
    return rc;
}

void
fsp_conf_free(struct fsp_conf *conf)
{
    if (conf == NULL)
        return;
    free_values(conf->values, conf->n);
    free(conf);
}

static bool
parse_int(const char *text, int64_t *out)
{
    bool negative = text[0] == '-';
    const char *digits = negative ? text + 1 : text;
    uint64_t value = 0;

    if (fsp_text_u64(digits, strlen(digits), &value) != FSP_OK || value > INT64_MAX)
        return false;
    *out = negative ? -(int64_t)value : (int64_t)value;
    return true;
}

/* A text to be shown in an error. */
static void
show(const char *text, char *out, size_t size)
{
    struct fsp_buf buf;

    fsp_buf_init(&buf, 1024);
    fsp_text_show(&buf, text, strnlen(text, 60));
    (void)snprintf(out, size, "%s", fsp_buf_peek(&buf));
    fsp_buf_fini(&buf);
}

static enum fsp_rc
check_value(const struct fsp_conf_key *key, const char *value, struct fsp_err *err)
{
    int64_t number = 0;
    size_t len = strlen(value);
    char shown[260];

    show(value, shown, sizeof(shown));
    if (!fsp_text_printable(value, len))
        return fsp_err_set(err, FSP_EFORMAT, "a control or invisible character in '%s'", shown);
    switch (key->type) {
    case FSP_CONF_INT:
        if (parse_int(value, &number) && number >= key->least && number <= key->most)
            return FSP_OK;
        return fsp_err_set(err, FSP_EFORMAT,
                "'%s' is not a whole number from %" PRId64 " to %" PRId64, shown, key->least,
                key->most);
    case FSP_CONF_BOOL:
        if (strcmp(value, "yes") == 0 || strcmp(value, "no") == 0)
            return FSP_OK;
        return fsp_err_set(err, FSP_EFORMAT, "'%s' is neither yes nor no", shown);
    case FSP_CONF_PATH:
        if (value[0] == '/' || (len == 0 && key->least == 0))
            return FSP_OK;
        return fsp_err_set(err, FSP_EFORMAT,
                "'%s' is not an absolute path (one that begins with /)", shown);
    case FSP_CONF_TEXT:
        if (len >= (size_t)key->least && len <= (size_t)key->most)
            return FSP_OK;
        return fsp_err_set(err, FSP_EFORMAT,
                "%zu characters; %" PRId64 " to %" PRId64 " are allowed", len, key->least,
                key->most);
    }
    return fsp_err_set(err, FSP_EFORMAT, "'%s'", shown);
}

/* One reading of a file. inih goes on after a fault; the first one is kept. */
struct reading {
    const struct fsp_conf *conf;
    struct value *values;
    const char *text;
    size_t len;
    size_t pos;
    int line; /* the one handed out last */
    int fault_line;
    enum fsp_rc rc;
    struct fsp_err *err;
};

/* inih's fgets(): one line of the text. A line that does not fit is a fault of the file. */
static char *
next_line(char *out, int size, void *stream)
{
    struct reading *reading = stream;
    const char *start = reading->text + reading->pos;
    size_t left = reading->len - reading->pos;
    const char *end = memchr(start, '\n', left);
    size_t len = end != NULL ? (size_t)(end - start) + 1 : left;

    if (left == 0 || reading->rc != FSP_OK)
        return NULL;
    reading->line++;
    if (len > FSP_CONF_LINE_MAX || len >= (size_t)size) {
        reading->fault_line = reading->line;
        reading->rc = fsp_err_set(
                reading->err, FSP_ELIMIT, "longer than %d characters", FSP_CONF_LINE_MAX);
        return NULL;
    }
    memcpy(out, start, len);
    out[len] = '\0';
    reading->pos += len;
    return out;
}

static enum fsp_rc
unknown_key(
        const struct fsp_conf *conf, const char *section, const char *name, struct fsp_err *err)
{
    const char *names[KEYS_MAX];
    const char *near;
    char shown[260];
    size_t n = 0;

    for (size_t i = 0; i < conf->n; i++) {
        if (strcmp(conf->keys[i].section, section) == 0)
            names[n++] = conf->keys[i].name;
    }
    if (n == 0) {
        for (size_t i = 0; i < conf->n; i++)
            names[n++] = conf->keys[i].section;
        near = fsp_text_nearest(section, names, n);
        show(section, shown, sizeof(shown));
        return fsp_err_set(err, FSP_EFORMAT, "unknown section [%s]%s%s%s", shown,
                near != NULL ? "; did you mean [" : "", near != NULL ? near : "",
                near != NULL ? "]?" : "");
    }
    near = fsp_text_nearest(name, names, n);
    show(name, shown, sizeof(shown));
    return fsp_err_set(err, FSP_EFORMAT, "unknown key '%s' in [%s]%s%s%s", shown, section,
            near != NULL ? "; did you mean " : "", near != NULL ? near : "",
            near != NULL ? "?" : "");
}

static enum fsp_rc
take_key(struct reading *reading, const char *section, const char *name, const char *value)
{
    const struct fsp_conf *conf = reading->conf;
    enum fsp_rc rc;

    for (size_t i = 0; i < conf->n; i++) {
        const struct fsp_conf_key *key = &conf->keys[i];
        char *copy;

        if (strcmp(key->section, section) != 0 || strcmp(key->name, name) != 0)
            continue;
        rc = reading->values[i].given
                     ? fsp_err_set(reading->err, FSP_EFORMAT,
                               "given twice (an indented line continues the one above)")
                     : check_value(key, value, reading->err);
        if (rc != FSP_OK)
            return fsp_err_wrap(reading->err, rc, "%s in [%s]", name, section);
        copy = fsp_mem_text(value, strlen(value));
        if (copy == NULL)
            return fsp_err_set(reading->err, FSP_ENOMEM, "configuration");
        free(reading->values[i].text);
        reading->values[i].text = copy;
        reading->values[i].given = true;
        return FSP_OK;
    }
    return unknown_key(conf, section, name, reading->err);
}

static int
handle(void *user, const char *section, const char *name, const char *value)
{
    struct reading *reading = user;

    if (reading->rc != FSP_OK)
        return 0;
    reading->rc = take_key(reading, section, name, value != NULL ? value : "");
    if (reading->rc == FSP_OK)
        return 1;
    reading->fault_line = reading->line;
    return 0;
}

/* inih says only in which line its first fault was. */
static enum fsp_rc
judge(const struct reading *reading, int first_fault, struct fsp_err *err)
{
    if (first_fault == -2)
        return fsp_err_set(err, FSP_ENOMEM, "configuration");
    if (first_fault > 0 && (reading->rc == FSP_OK || first_fault < reading->fault_line))
        return fsp_err_set(
                err, FSP_EFORMAT, "line %d: neither [section] nor key = value", first_fault);
    if (reading->rc != FSP_OK)
        return fsp_err_wrap(err, reading->rc, "line %d", reading->fault_line);
    return FSP_OK;
}

enum fsp_rc
fsp_conf_parse(struct fsp_conf *conf, const char *text, size_t len, const char *path,
        struct fsp_err *err)
{
    struct fsp_err own = {FSP_OK, 0, ""};
    struct reading reading = {conf, NULL, text, len, 0, 0, 0, FSP_OK, err != NULL ? err : &own};
    enum fsp_rc rc;

    if (memchr(text, '\0', len) != NULL)
        return fsp_err_set(err, FSP_EFORMAT, "%s: a zero byte; this is no text file", path);
    reading.values = fallbacks(conf->keys, conf->n);
    if (reading.values == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "configuration");
    rc = judge(&reading, ini_parse_stream(next_line, &reading, handle, &reading), reading.err);
    if (rc != FSP_OK) {
        free_values(reading.values, conf->n);
        return fsp_err_wrap(err, rc, "%s", path);
    }
    free_values(conf->values, conf->n);
    conf->values = reading.values;
    return FSP_OK;
}

enum fsp_rc
fsp_conf_load(struct fsp_conf *conf, const char *path, struct fsp_err *err)
{
    uint8_t *bytes = NULL;
    size_t len = 0;
    enum fsp_rc rc = fsp_file_read(path, FSP_CONF_MAX, &bytes, &len, err);

    if (rc == FSP_OK)
        rc = fsp_conf_parse(conf, bytes != NULL ? (const char *)bytes : "", len, path, err);
    free(bytes);
    return rc;
}

static bool
is_live(const struct fsp_conf_key *key, const char *const *live)
{
    size_t n = strlen(key->section);

    for (size_t i = 0; live[i] != NULL; i++)
        if (strncmp(live[i], key->section, n) == 0 && live[i][n] == '.' &&
                strcmp(live[i] + n + 1, key->name) == 0)
            return true;
    return false;
}

static void
name_key(struct fsp_buf *buf, const struct fsp_conf_key *key)
{
    fsp_buf_printf(buf, "%s%s.%s", buf->len > 0 ? "," : "", key->section, key->name);
}

enum fsp_rc
fsp_conf_reload(struct fsp_conf *conf, const char *path, const char *const *live,
        struct fsp_buf *taken, struct fsp_buf *held, struct fsp_err *err)
{
    struct fsp_conf *fresh = NULL;
    enum fsp_rc rc = fsp_conf_new(conf->keys, &fresh, err);

    fsp_buf_reset(taken);
    fsp_buf_reset(held);
    if (rc == FSP_OK && fresh != NULL)
        rc = fsp_conf_load(fresh, path, err);
    for (size_t i = 0; rc == FSP_OK && fresh != NULL && i < conf->n; i++) {
        struct value before = conf->values[i];

        if (strcmp(before.text, fresh->values[i].text) == 0)
            continue;
        if (!is_live(&conf->keys[i], live)) {
            name_key(held, &conf->keys[i]);
            continue;
        }
        name_key(taken, &conf->keys[i]);
        conf->values[i] = fresh->values[i];
        fresh->values[i] = before;
    }
    fsp_conf_free(fresh);
    return rc;
}

static const char *
value_of(const struct fsp_conf *conf, const char *section, const char *name)
{
    for (size_t i = 0; i < conf->n; i++) {
        if (strcmp(conf->keys[i].section, section) == 0 &&
                strcmp(conf->keys[i].name, name) == 0)
            return conf->values[i].text;
    }
    assert(false); /* not in the table: our own bug */
    return "";
}

const char *
fsp_conf_text(const struct fsp_conf *conf, const char *section, const char *name)
{
    return value_of(conf, section, name);
}

int64_t
fsp_conf_int(const struct fsp_conf *conf, const char *section, const char *name)
{
    int64_t value = 0;

    (void)parse_int(value_of(conf, section, name), &value); /* checked when it was read */
    return value;
}

bool
fsp_conf_bool(const struct fsp_conf *conf, const char *section, const char *name)
{
    return strcmp(value_of(conf, section, name), "yes") == 0;
}

static void
print_says(const struct fsp_conf_key *key, struct fsp_buf *buf)
{
    fsp_buf_printf(buf, "# %s", key->says);
    switch (key->type) {
    case FSP_CONF_INT:
        fsp_buf_printf(buf, " (%" PRId64 " to %" PRId64 ")", key->least, key->most);
        break;
    case FSP_CONF_BOOL:
        fsp_buf_add_text(buf, " (yes or no)");
        break;
    case FSP_CONF_PATH:
        fsp_buf_add_text(buf, " (absolute path)");
        break;
    case FSP_CONF_TEXT:
        break;
    }
    fsp_buf_add_text(buf, "\n");
}

void
fsp_conf_print(const struct fsp_conf *conf, bool says, struct fsp_buf *buf)
{
    const char *section = "";

    for (size_t i = 0; i < conf->n; i++) {
        const struct fsp_conf_key *key = &conf->keys[i];

        if (strcmp(section, key->section) != 0)
            fsp_buf_printf(buf, "%s[%s]\n", i > 0 ? "\n" : "", key->section);
        section = key->section;
        if (says)
            print_says(key, buf);
        fsp_buf_printf(buf, "%s = %s\n", key->name, conf->values[i].text);
    }
}
