#include "rig/cmd.h"
#include "rig/shown.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/file.h"
#include "base/mem.h"
#include "base/text.h"

static void
say(const char *what, const char *text)
{
    struct fsp_buf buf;

    fsp_buf_init(&buf, (size_t)FSP_ERR_TEXT_MAX * 8);
    fsp_text_show(&buf, text, strlen(text));
    (void)fprintf(stderr, "farspool-rig: %s%s\n", what,
            buf.rc == FSP_OK ? fsp_buf_peek(&buf) : "out of memory");
    fsp_buf_fini(&buf);
}

int
fsp_cmd_fail(const struct fsp_err *err, enum fsp_rc rc)
{
    say("", err->text[0] == '\0' ? "failed" : err->text);
    return fsp_exit_status(rc);
}

void
fsp_cmd_warn(const char *fmt, ...)
{
    char text[FSP_ERR_TEXT_MAX];
    va_list args;

    va_start(args, fmt);
    (void)vsnprintf(text, sizeof(text), fmt, args);
    va_end(args);
    say("warning: ", text);
}

int
fsp_cmd_out(struct fsp_buf *buf, int good)
{
    struct fsp_err err;
    enum fsp_rc rc = fsp_buf_check(buf, "the output", &err);

    if (rc == FSP_OK && buf->len > 0 && fwrite(buf->data, 1, buf->len, stdout) != buf->len)
        rc = fsp_err_set(&err, FSP_EIO, "standard output: cannot be written");
    if (fflush(stdout) != 0 && rc == FSP_OK)
        rc = fsp_err_set(&err, FSP_EIO, "standard output: cannot be written");
    fsp_buf_fini(buf);
    return rc == FSP_OK ? good : fsp_cmd_fail(&err, rc);
}

enum fsp_rc
fsp_cmd_folder(struct fsp_args *args, const char **folder, struct fsp_err *err)
{
    const struct fsp_rig *rig = fsp_args_ctx(args);

    *folder = fsp_args_get(args, "store");
    if (*folder == NULL)
        *folder = fsp_conf_text(rig->conf, "rig", "store");
    if ((*folder)[0] == '\0')
        return fsp_err_set(err, FSP_EINVAL,
                "which store? give --store DIR, or 'store' in the configuration's [rig]");
    return FSP_OK;
}

static enum fsp_rc
set_zone(struct fsp_args *args, struct fsp_journal *journal, struct fsp_err *err)
{
    const struct fsp_rig *rig = fsp_args_ctx(args);
    const char *zone = fsp_args_get(args, "zone");
    enum fsp_rc rc;
    int minutes;

    if (zone == NULL) { /* the rig's own record goes before the configuration */
        rc = fsp_journal_rig_zone(journal, &minutes, err);
        if (rc != FSP_ENOTFOUND)
            return rc;
        fsp_err_clear(err);
        zone = fsp_conf_text(rig->conf, "rig", "zone");
    }
    if (zone[0] == '\0')
        return FSP_OK;
    rc = fsp_time_zone(zone, &minutes, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, FSP_EINVAL, "zone");
    fsp_journal_set_zone(journal, minutes);
    return FSP_OK;
}

enum fsp_rc
fsp_cmd_open(struct fsp_args *args, enum fsp_journal_use use, struct fsp_journal **out,
        struct fsp_err *err)
{
    const char *folder;
    enum fsp_rc rc;

    *out = NULL;
    rc = fsp_cmd_folder(args, &folder, err);
    if (rc == FSP_OK)
        rc = fsp_journal_open(folder, use, fsp_env_system(), out, err);
    if (rc == FSP_OK) {
        fsp_journal_on_new(*out, fsp_shown_fill, NULL);
        rc = set_zone(args, *out, err);
        if (rc != FSP_OK) {
            fsp_journal_close(*out);
            *out = NULL;
        }
    }
    return rc;
}

enum fsp_rc
fsp_cmd_log(struct fsp_args *args, struct fsp_journal *journal, struct fsp_journal_log *log,
        struct fsp_err *err)
{
    const char *name = fsp_args_get(args, "log");
    enum fsp_rc rc = fsp_journal_log(
            journal, name == NULL ? fsp_journal_about(journal)->origin : name, log, err);

    return rc == FSP_ENOTFOUND ? fsp_err_wrap(err, FSP_EINVAL, "--log") : rc;
}

enum fsp_rc
fsp_cmd_keep_invitation(
        struct fsp_journal *journal, const void *bytes, size_t len, struct fsp_err *err)
{
    char name[sizeof("invitation-") + FSP_INCARNATION_LEN];
    char *path;
    enum fsp_rc rc;

    (void)snprintf(
            name, sizeof(name), "invitation-%s", fsp_journal_about(journal)->incarnation);
    path = fsp_file_join(fsp_journal_folder(journal), name);
    if (path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_file_write(path, bytes, len, 0600, err);
    free(path);
    return rc;
}

enum fsp_rc
fsp_cmd_typed(
        struct fsp_args *args, size_t from, struct fsp_cmd_typed *typed, struct fsp_err *err)
{
    size_t count = fsp_args_rest_count(args);
    size_t n = count > from ? count - from : 0;

    typed->n = 0;
    typed->items = fsp_mem_array(n, sizeof(*typed->items));
    if (typed->items == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; i < n; i++) {
        const char *word = fsp_args_rest(args, from + i);
        const char *equal = strchr(word, '=');
        char *name;

        if (equal == NULL || equal == word)
            return fsp_err_set(err, FSP_EINVAL,
                    "'%.60s': expected field=value, for example depth=4000ft", word);
        name = fsp_mem_text(word, (size_t)(equal - word));
        if (name == NULL)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        typed->items[typed->n].name = name;
        typed->items[typed->n].value = equal + 1;
        typed->n++;
    }
    return FSP_OK;
}

void
fsp_cmd_typed_free(struct fsp_cmd_typed *typed)
{
    for (size_t i = 0; i < typed->n; i++) {
        union {
            const char *peek;
            char *own;
        } name = {.peek = typed->items[i].name};

        free(name.own);
    }
    free(typed->items);
    typed->items = NULL;
    typed->n = 0;
}

void
fsp_cmd_json_text(struct fsp_buf *buf, const char *text)
{
    fsp_buf_add_byte(buf, '"');
    for (const char *c = text; *c != '\0'; c++) {
        if (*c == '"' || *c == '\\')
            fsp_buf_add_byte(buf, '\\');
        if ((unsigned char)*c < 0x20 || *c == 0x7f)
            fsp_buf_printf(buf, "\\u%04x", (unsigned)(unsigned char)*c);
        else
            fsp_buf_add(buf, c, 1);
    }
    fsp_buf_add_byte(buf, '"');
}

void
fsp_cmd_json_time(struct fsp_buf *buf, bool known, int64_t utc_s)
{
    char text[FSP_TIME_TEXT_LEN + 1];

    if (!known) {
        fsp_buf_add_text(buf, "null");
        return;
    }
    fsp_time_text(utc_s, text);
    fsp_buf_printf(buf, "\"%s\"", text);
}

const char *
fsp_cmd_plural(uint64_t n)
{
    return n == 1 ? "" : "s";
}
