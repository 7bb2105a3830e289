/* backup: a verified copy of the store, made while it is served. */
#include <string.h>

#include "base/text.h"
#include "line/say.h"
#include "office/backup.h"
#include "office/cmd.h"

static int
say(const struct fsp_backup_about *about, const struct fsp_check_report *report, bool json)
{
    bool first = true;
    struct fsp_buf out;
    int status;

    fsp_buf_init(&out, FSP_OFFICE_OUTPUT);
    if (json) {
        fsp_buf_add_byte(&out, '{');
        fsp_say_member_bool(&out, &first, "good", true);
        fsp_say_member_text(&out, &first, "out", about->out);
        fsp_say_member_count(&out, &first, "logs", report->n_logs);
        fsp_say_member_count(&out, &first, "entries", report->entries);
        fsp_say_member_count(&out, &first, "heads", report->heads);
        fsp_say_member_bool(&out, &first, "desk", report->desk);
        fsp_say_member_bool(&out, &first, "keys", about->with_keys);
        fsp_buf_add_text(&out, "}\n");
    } else {
        fsp_text_show(&out, about->out, strlen(about->out));
        fsp_buf_printf(&out, ": good: %zu logs, %llu entries, %llu heads, %s, %s\n",
                report->n_logs, (unsigned long long)report->entries,
                (unsigned long long)report->heads, report->desk ? "the desk" : "no desk yet",
                about->with_keys ? "with the secret keys: keep it as safe as them"
                                 : "no secret keys");
    }
    status = fsp_cmd_print(&out);
    fsp_buf_fini(&out);
    return status;
}

static void
warn_problems(const struct fsp_check_report *report)
{
    for (const char *line = fsp_buf_peek(&report->text); *line != '\0';) {
        size_t len = strcspn(line, "\n");

        fsp_cmd_warn("%.*s", (int)len, line);
        line += len + 1;
    }
}

int
fsp_cmd_backup(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct fsp_office_keys keys = {0};
    struct fsp_check_report report;
    struct fsp_backup_about about = {.ops = &fsp_shelf_sqlite,
            .out = fsp_args_get(args, "out"),
            .keys = &keys,
            .with_keys = fsp_args_has(args, "with-keys")};
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, &err);
    int status;

    fsp_check_report_init(&report);
    if (rc == FSP_OK && (about.out == NULL || about.out[0] == '\0'))
        rc = fsp_err_set(&err, FSP_EINVAL, "--out DIR is needed");
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &about.store, &err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&keys, about.store, &err);
    if (rc == FSP_OK)
        rc = fsp_backup_make(&about, &report, &err);
    if (rc != FSP_OK)
        warn_problems(&report);
    status = rc == FSP_OK ? say(&about, &report, fsp_args_has(args, "json"))
                          : fsp_cmd_fail(rc, &err);
    fsp_check_report_fini(&report);
    fsp_office_keys_fini(&keys);
    return status;
}
