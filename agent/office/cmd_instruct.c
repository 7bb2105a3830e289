/* instruct: a message or a programme for a rig, and what became of those before. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "line/say.h"
#include "office/cmd.h"
#include "office/instruct.h"
#include "office/tables.h"

struct instructing {
    struct fsp_office_keys keys;
    struct fsp_shelf *shelf;
    struct fsp_buf body;
    struct fsp_buf out;
};

/* ---- what is written ----------------------------------------------------------------------- */

/* The words as one text. */
static enum fsp_rc
message_body(struct fsp_args *args, struct fsp_buf *body, struct fsp_err *err)
{
    struct fsp_buf text;
    enum fsp_rc rc;

    fsp_buf_init(&text, 2 * FSP_NOTE_MAX);
    for (size_t i = 2; i < fsp_args_rest_count(args); i++)
        fsp_buf_printf(&text, "%s%s", i > 2 ? " " : "", fsp_args_rest(args, i));
    rc = fsp_buf_check(&text, "a message", err);
    if (rc == FSP_OK)
        rc = fsp_instruct_message(fsp_buf_peek(&text), body, err);
    fsp_buf_fini(&text);
    return rc;
}

/* field=value words as members; the names are cut off in place of the copy that owns them. */
static enum fsp_rc
read_members(char *const *words, size_t n, struct fsp_typed *members, struct fsp_err *err)
{
    for (size_t i = 0; i < n; i++) {
        char *equals = words[i] == NULL ? NULL : strchr(words[i], '=');

        if (words[i] == NULL)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        if (equals == NULL || equals == words[i])
            return fsp_err_set(
                    err, FSP_EINVAL, "'%.60s': a program is made of field=value", words[i]);
        *equals = '\0';
        members[i].name = words[i];
        members[i].value = equals + 1;
    }
    return FSP_OK;
}

static enum fsp_rc
program_body(struct fsp_args *args, struct fsp_buf *body, struct fsp_err *err)
{
    struct fsp_typed members[FSP_INSTRUCT_FIELDS_MAX];
    char *words[FSP_INSTRUCT_FIELDS_MAX] = {NULL};
    size_t n = fsp_args_rest_count(args) - 2;
    enum fsp_rc rc = FSP_OK;

    if (n > FSP_INSTRUCT_FIELDS_MAX)
        return fsp_err_set(err, FSP_EINVAL, "more than %d fields", FSP_INSTRUCT_FIELDS_MAX);
    for (size_t i = 0; rc == FSP_OK && i < n; i++) {
        words[i] = strdup(fsp_args_rest(args, i + 2));
        if (words[i] == NULL)
            rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
    }
    if (rc == FSP_OK)
        rc = read_members(words, n, members, err);
    if (rc == FSP_OK)
        rc = fsp_instruct_program(members, n, fsp_cmd_now_s(args), body, err);
    for (size_t i = 0; i < n; i++)
        free(words[i]);
    return rc;
}

static enum fsp_rc
write_one(struct fsp_args *args, struct instructing *it, struct fsp_err *err)
{
    const struct fsp_office *office = fsp_args_ctx(args);
    const char *what = fsp_args_rest(args, 1);
    struct fsp_instruct instruct = {.rig = fsp_args_rest(args, 0)};
    uint8_t id[FSP_INSTRUCTION_ID_LEN];
    char hex[2 * FSP_INSTRUCTION_ID_LEN + 1];
    enum fsp_rc rc;

    if (strcmp(what, "message") == 0) {
        instruct.about = FSP_ABOUT_MESSAGE;
        rc = message_body(args, &it->body, err);
    } else if (strcmp(what, "program") == 0) {
        instruct.about = FSP_ABOUT_PROGRAM;
        rc = program_body(args, &it->body, err);
    } else {
        rc = fsp_err_set(err, FSP_EINVAL,
                "'%.60s': a rig is told a 'message' TEXT or a 'program' field=value...", what);
    }
    if (rc != FSP_OK)
        return rc;
    instruct.body = fsp_buf_peek(&it->body);
    instruct.body_len = it->body.len;
    rc = it->shelf->ops->begin(it->shelf->ctx, true, err);
    if (rc == FSP_OK)
        rc = fsp_instruct_queue(it->shelf, &it->keys, office->env, &instruct, id, err);
    if (rc == FSP_OK)
        rc = it->shelf->ops->commit(it->shelf->ctx, err);
    else
        it->shelf->ops->rollback(it->shelf->ctx);
    if (rc != FSP_OK)
        return rc;
    fsp_text_hex(hex, id, sizeof(id));
    if (fsp_args_has(args, "json"))
        fsp_buf_printf(&it->out, "{\"id\":\"%s\"}\n", hex);
    else
        fsp_buf_printf(&it->out,
                "instruction %s waits for %s; it goes behind the next receipt\n", hex,
                instruct.rig);
    return FSP_OK;
}

/* ---- what is listed ------------------------------------------------------------------------ */

/* What it says, on one line. */
static void
say_body(const struct fsp_instruct_item *item, struct fsp_buf *out)
{
    size_t len = item->body_len;

    if (item->about == FSP_ABOUT_ROSTER) {
        const char *version = strstr(item->body, "\nversion ");

        if (version != NULL)
            fsp_buf_printf(out, "version %.*s", (int)strcspn(version + 9, "\n"), version + 9);
        return;
    }
    while (len > 0 && item->body[len - 1] == '\n')
        len--;
    for (size_t i = 0; i < len; i++)
        fsp_buf_add_byte(out, item->body[i] == '\n' ? ' ' : (uint8_t)item->body[i]);
}

static void
say_state(const struct fsp_instruct_item *item, struct fsp_buf *out)
{
    switch (item->state) {
    case FSP_INSTRUCT_WAITING:
        fsp_buf_add_text(out, "waiting");
        break;
    case FSP_INSTRUCT_IN_LOG:
        fsp_buf_printf(out, "in the rig's log (entry %" PRIu64 ")", item->index);
        break;
    case FSP_INSTRUCT_ANSWERED:
        fsp_buf_printf(out, "answered (%s entry %" PRIu64 "%s%s)",
                item->by_program ? "program" : "done", item->by_index,
                item->answer == NULL ? "" : ": ", item->answer == NULL ? "" : item->answer);
        break;
    }
    if (item->lost)
        fsp_buf_add_text(out, "; lost here, known from the rig's log");
}

/* For people; programs get the table of tables.h. */
static void
list_text(const struct fsp_instruct_list *list, struct fsp_buf *out)
{
    static const struct fsp_column columns[] = {FSP_COLUMN_TEXT("id", "id"),
            FSP_COLUMN_TIME("made", "made"), FSP_COLUMN_TEXT("about", "about"),
            FSP_COLUMN_TEXT("state", "state"), FSP_COLUMN_TEXT("text", "text")};
    struct fsp_table table;
    struct fsp_buf cell;

    fsp_buf_init(&cell, FSP_NOTE_MAX);
    fsp_table_begin(&table, columns, sizeof(columns) / sizeof(columns[0]), FSP_TABLE_TEXT, out);
    for (size_t i = 0; i < list->n; i++) {
        const struct fsp_instruct_item *item = &list->items[i];
        char hex[2 * FSP_INSTRUCTION_ID_LEN + 1];

        fsp_text_hex(hex, item->id, sizeof(item->id));
        fsp_table_text(&table, "id", hex);
        fsp_table_time(&table, "made", item->made_s);
        fsp_table_text(&table, "about", fsp_instruction_about_text(item->about));
        fsp_buf_reset(&cell);
        say_state(item, &cell);
        fsp_table_text(&table, "state", fsp_buf_peek(&cell));
        fsp_buf_reset(&cell);
        say_body(item, &cell);
        fsp_table_text(&table, "text", fsp_buf_peek(&cell));
    }
    fsp_table_end(&table);
    fsp_buf_fini(&cell);
}

static enum fsp_rc
is_rig(struct fsp_shelf *shelf, const char *rig, struct fsp_err *err)
{
    char name[FSP_NAME_MAX + 1] = "";
    enum fsp_rc rc = FSP_OK;

    while (rc == FSP_OK) {
        rc = shelf->ops->next_rig(shelf->ctx, name, name, err);
        if (rc == FSP_OK && strcmp(name, rig) == 0)
            return FSP_OK;
    }
    return rc == FSP_ENOTFOUND
                   ? fsp_err_set(err, FSP_ENOTFOUND,
                             "%s: no such rig; farspool-office fleet lists them", rig)
                   : rc;
}

static enum fsp_rc
list_all(struct fsp_args *args, struct instructing *it, struct fsp_err *err)
{
    const char *rig = fsp_args_rest(args, 0);
    struct fsp_instruct_list list = {.n = 0};
    enum fsp_rc rc = it->shelf->ops->begin(it->shelf->ctx, false, err);

    if (rc == FSP_OK)
        rc = is_rig(it->shelf, rig, err);
    if (rc == FSP_OK)
        rc = fsp_instruct_list(it->shelf, &it->keys, rig, &list, err);
    it->shelf->ops->rollback(it->shelf->ctx);
    if (rc != FSP_OK)
        return rc;
    if (fsp_args_has(args, "json"))
        fsp_tables_instruction_list(rig, &list, FSP_TABLE_JSON, &it->out);
    else if (fsp_args_has(args, "csv"))
        fsp_tables_instruction_list(rig, &list, FSP_TABLE_CSV, &it->out);
    else if (list.n > 0)
        list_text(&list, &it->out);
    else
        fsp_buf_printf(&it->out, "nothing was ever written to %s\n", rig);
    fsp_instruct_list_free(&list);
    return FSP_OK;
}

int
fsp_cmd_instruct(struct fsp_args *args)
{
    struct instructing it = {.shelf = NULL};
    struct fsp_err err = {0};
    const char *store = NULL;
    bool writes = fsp_args_rest_count(args) > 1;
    enum fsp_rc rc = fsp_args_rest_within(args, 1, SIZE_MAX, &err);
    int status;

    fsp_buf_init(&it.body, 2 * FSP_NOTE_MAX);
    fsp_buf_init(&it.out, FSP_OFFICE_OUTPUT);
    if (rc == FSP_OK && fsp_args_has(args, "json") && fsp_args_has(args, "csv"))
        rc = fsp_err_set(&err, FSP_EINVAL, "--json and --csv: give one of them");
    if (rc == FSP_OK)
        rc = fsp_cmd_store(args, &store, &err);
    if (rc == FSP_OK)
        rc = fsp_cmd_shelf(args, writes ? FSP_SHELF_WRITE : FSP_SHELF_READ, &it.shelf, &err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&it.keys, store, &err);
    if (rc == FSP_OK)
        rc = writes ? write_one(args, &it, &err) : list_all(args, &it, &err);
    status = rc == FSP_OK ? fsp_cmd_print(&it.out) : fsp_cmd_fail(rc, &err);
    fsp_office_keys_fini(&it.keys);
    fsp_shelf_close(it.shelf);
    fsp_buf_fini(&it.out);
    fsp_buf_fini(&it.body);
    return status;
}
