/* check: verify the whole store again; exit 2 when anything does not hold. */
#include <string.h>

#include "line/say.h"
#include "office/check.h"
#include "office/cmd.h"
#include "proof/key.h"

#define EXIT_VERIFY 2

static void
say_problems_json(const struct fsp_check_report *report, struct fsp_buf *out)
{
    const char *line = fsp_buf_peek(&report->text);
    size_t n = 0;

    while (*line != '\0') {
        size_t len = strcspn(line, "\n");
        struct fsp_buf one;

        fsp_buf_init(&one, 4096);
        fsp_buf_add(&one, line, len);
        fsp_buf_add_text(out, n++ > 0 ? "," : "");
        fsp_say_json_text(out, fsp_buf_peek(&one));
        fsp_buf_fini(&one);
        line += len + 1;
    }
}

static void
say_json(const struct fsp_check_report *report, struct fsp_buf *out)
{
    bool first = true;

    fsp_buf_add_byte(out, '{');
    fsp_say_member_bool(out, &first, "good", report->problems == 0);
    fsp_say_member_count(out, &first, "entries", report->entries);
    fsp_say_member_count(out, &first, "heads", report->heads);
    fsp_say_member_count(out, &first, "forks", report->forks);
    fsp_say_member_bool(out, &first, "desk", report->desk);
    fsp_say_member_count(out, &first, "stored_states", report->states.states);
    fsp_say_member_count(out, &first, "stored_states_damaged", report->states.damaged);
    fsp_say_key(out, &first, "logs");
    fsp_buf_add_byte(out, '[');
    for (size_t i = 0; i < report->n_logs; i++) {
        const struct fsp_check_log *log = &report->logs[i];
        bool inner = true;

        fsp_buf_add_text(out, i > 0 ? ",{" : "{");
        fsp_say_member_text(out, &inner, "rig", log->log.rig);
        fsp_say_member_text(out, &inner, "origin", log->log.origin);
        fsp_say_member_count(out, &inner, "size", log->size);
        fsp_say_key(out, &inner, "root");
        fsp_buf_add_byte(out, '"');
        fsp_base64(out, log->root, sizeof(log->root));
        fsp_buf_add_byte(out, '"');
        fsp_say_member_count(out, &inner, "heads", log->heads);
        fsp_say_member_count(out, &inner, "unreadable", log->unreadable);
        fsp_buf_add_byte(out, '}');
    }
    fsp_buf_add_byte(out, ']');
    fsp_say_key(out, &first, "problems");
    fsp_buf_add_byte(out, '[');
    say_problems_json(report, out);
    fsp_buf_add_text(out, "]}\n");
}

static void
say_text(const struct fsp_check_report *report, struct fsp_buf *out)
{
    for (size_t i = 0; i < report->n_logs; i++) {
        const struct fsp_check_log *log = &report->logs[i];

        fsp_buf_printf(out, "%s: %llu entries, %llu heads", log->log.origin,
                (unsigned long long)log->size, (unsigned long long)log->heads);
        if (log->unreadable > 0)
            fsp_buf_printf(out, ", %llu entries this office cannot read",
                    (unsigned long long)log->unreadable);
        fsp_buf_add_byte(out, '\n');
    }
    if (report->forks > 0)
        fsp_buf_printf(out, "%llu contradicting heads are kept as evidence\n",
                (unsigned long long)report->forks);
    if (report->states.damaged > 0)
        fsp_buf_printf(out, "%zu stored states of accounts were damaged and thrown away\n",
                report->states.damaged);
    if (report->problems == 0)
        fsp_buf_printf(out, "good: %zu logs, %llu entries, %llu heads\n", report->n_logs,
                (unsigned long long)report->entries, (unsigned long long)report->heads);
}

static int
say(const struct fsp_check_report *report, bool json)
{
    struct fsp_buf out;
    int status;

    fsp_buf_init(&out, FSP_OFFICE_OUTPUT);
    if (json)
        say_json(report, &out);
    else
        say_text(report, &out);
    status = fsp_cmd_print(&out);
    fsp_buf_fini(&out);
    if (report->problems == 0)
        return status;
    for (const char *line = fsp_buf_peek(&report->text); *line != '\0';) {
        size_t len = strcspn(line, "\n");

        fsp_cmd_warn("%.*s", (int)len, line);
        line += len + 1;
    }
    return EXIT_VERIFY;
}

int
fsp_cmd_check(struct fsp_args *args)
{
    struct fsp_err err = {0};
    struct fsp_check_report report;
    struct fsp_office_keys keys = {0};
    struct fsp_shelf *shelf = NULL;
    const char *store = NULL;
    enum fsp_rc rc = fsp_args_rest_within(args, 0, 0, &err);
    int status;

    fsp_check_report_init(&report);
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, &err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, FSP_SHELF_READ, &shelf, &err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&keys, store, &err);
    if (rc == FSP_OK)
        rc = fsp_check_store(shelf, &keys, &report, &err);
    status = rc == FSP_OK ? say(&report, fsp_args_has(args, "json")) : fsp_cmd_fail(rc, &err);
    fsp_check_report_fini(&report);
    fsp_office_keys_fini(&keys);
    fsp_shelf_close(shelf);
    return status;
}
