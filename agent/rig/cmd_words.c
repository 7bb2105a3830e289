/* What of the office's instructions waits for the crew, for line and check. */
#include <inttypes.h>
#include <string.h>

#include "base/text.h"
#include "rig/cmd.h"
#include "rig/word.h"

#define COMMAND_MAX (2 * FSP_ENTRY_MAX)

/* Visit those that wait. */
typedef enum fsp_rc visit_word(struct fsp_journal *journal, const struct fsp_word_entry *entry,
        struct fsp_buf *out, struct fsp_err *err);

static enum fsp_rc
each(struct fsp_journal *journal, visit_word *visit, struct fsp_buf *out, size_t *n,
        struct fsp_err *err)
{
    struct fsp_word_entry entry = {.ordinal = -1};
    struct fsp_buf note;
    enum fsp_rc rc = FSP_OK;

    *n = 0;
    fsp_buf_init(&note, FSP_NOTE_MAX);
    while (rc == FSP_OK) {
        rc = fsp_word_next(journal, &entry, &note, err);
        if (rc != FSP_OK || !entry.waits)
            continue;
        if (visit != NULL)
            rc = visit(journal, &entry, out, err);
        (*n)++;
    }
    fsp_buf_fini(&note);
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    return rc;
}

/* The lines of a body, each behind the indent. */
static void
show_body(const struct fsp_instruction *instruction, struct fsp_buf *out)
{
    const char *at = instruction->body;
    const char *end = at + instruction->body_len;

    while (at < end) {
        const char *line_end = memchr(at, '\n', (size_t)(end - at));
        size_t len = (size_t)((line_end == NULL ? end : line_end) - at);

        fsp_buf_add_text(out, "    ");
        fsp_text_show(out, at, len);
        fsp_buf_add_byte(out, '\n');
        at += len + 1;
    }
}

/* The ready command of a program; one that asks for no program is shown as it came. */
static bool
program_command(const struct fsp_word_entry *entry, const char *name, struct fsp_buf *command)
{
    return entry->instruction.about == FSP_ABOUT_PROGRAM &&
           fsp_word_program_command(&entry->instruction, name, command, NULL) == FSP_OK;
}

static enum fsp_rc
show_text(struct fsp_journal *journal, const struct fsp_word_entry *entry, struct fsp_buf *out,
        struct fsp_err *err)
{
    const struct fsp_instruction *instruction = &entry->instruction;
    char made[FSP_TIME_TEXT_LEN + 1];
    struct fsp_buf command;
    struct fsp_buf name;

    fsp_buf_init(&command, COMMAND_MAX);
    fsp_buf_init(&name, 512);
    fsp_word_name(journal, entry, &name);
    fsp_time_text(instruction->made_s, made);
    fsp_buf_printf(out, "instruction of the office, entry %" PRIu64 ", %s, %s:\n", entry->index,
            made, fsp_instruction_about_text(instruction->about));
    if (program_command(entry, fsp_buf_peek(&name), &command)) {
        fsp_buf_add_text(out, "  to put this programme into force:\n    ");
        fsp_text_show(out, fsp_buf_peek(&command), command.len);
        fsp_buf_add_byte(out, '\n');
    } else {
        show_body(instruction, out);
    }
    fsp_buf_reset(&command);
    fsp_word_done_command(fsp_buf_peek(&name), &command);
    fsp_buf_printf(out, "  to answer: %s\n", fsp_buf_peek(&command));
    fsp_buf_fini(&name);
    fsp_buf_fini(&command);
    return fsp_buf_check(out, "the output", err);
}

static enum fsp_rc
show_json(struct fsp_journal *journal, const struct fsp_word_entry *entry, struct fsp_buf *out,
        struct fsp_err *err)
{
    const struct fsp_instruction *instruction = &entry->instruction;
    char hex[2 * FSP_INSTRUCTION_ID_LEN + 1];
    struct fsp_buf text;

    fsp_buf_init(&text, COMMAND_MAX);
    fsp_text_hex(hex, instruction->id, sizeof(instruction->id));
    if (out->data[out->len - 1] != '[')
        fsp_buf_add_byte(out, ',');
    fsp_buf_printf(out,
            "{\"about\":\"%s\",\"command\":", fsp_instruction_about_text(instruction->about));
    {
        struct fsp_buf name;

        fsp_buf_init(&name, 512);
        fsp_word_name(journal, entry, &name);
        if (program_command(entry, fsp_buf_peek(&name), &text))
            fsp_cmd_json_text(out, fsp_buf_peek(&text));
        else
            fsp_buf_add_text(out, "null");
        fsp_buf_fini(&name);
    }
    fsp_buf_printf(out, ",\"entry\":%" PRIu64 ",\"id\":\"%s\",\"made\":", entry->index, hex);
    fsp_cmd_json_time(out, true, instruction->made_s);
    fsp_buf_add_text(out, ",\"origin\":");
    fsp_cmd_json_text(out, entry->origin);
    fsp_buf_add_text(out, ",\"text\":");
    fsp_buf_reset(&text);
    fsp_buf_add(&text, instruction->body, instruction->body_len);
    fsp_cmd_json_text(out, fsp_buf_peek(&text));
    fsp_buf_add_byte(out, '}');
    fsp_buf_fini(&text);
    return fsp_buf_check(out, "the output", err);
}

enum fsp_rc
fsp_cmd_words_text(struct fsp_journal *journal, struct fsp_buf *out, struct fsp_err *err)
{
    size_t n = 0;

    return each(journal, show_text, out, &n, err);
}

enum fsp_rc
fsp_cmd_words_json(struct fsp_journal *journal, struct fsp_buf *out, struct fsp_err *err)
{
    size_t n = 0;
    enum fsp_rc rc;

    fsp_buf_add_byte(out, '[');
    rc = each(journal, show_json, out, &n, err);
    fsp_buf_add_byte(out, ']');
    return rc;
}

enum fsp_rc
fsp_cmd_words_count(struct fsp_journal *journal, size_t *n, struct fsp_err *err)
{
    return each(journal, NULL, NULL, n, err);
}
