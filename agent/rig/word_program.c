/* The programme that an instruction asks for, as a command: the rig's crew look at it before it is
 * entered, and enter it as their own record. */
#include <string.h>

#include "base/text.h"
#include "rig/word.h"

/* A word of a POSIX shell, whatever is in it. */
static void
add_word(struct fsp_buf *out, const char *text, size_t len)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                "0123456789._:/+-,%";
    bool quoted = len == 0;

    for (size_t i = 0; i < len; i++)
        quoted = quoted || text[i] == '\0' || strchr(plain, text[i]) == NULL;
    if (!quoted) {
        fsp_buf_add(out, text, len);
        return;
    }
    fsp_buf_add_byte(out, '\'');
    for (size_t i = 0; i < len; i++) {
        if (text[i] == '\'')
            fsp_buf_add_text(out, "'\\''");
        else
            fsp_buf_add_byte(out, (uint8_t)text[i]);
    }
    fsp_buf_add_byte(out, '\'');
}

/* Where the value that begins at `from` ends, in canonical JSON that was parsed before. */
static size_t
value_end(const char *json, size_t len, size_t from)
{
    size_t depth = 0;
    bool text = false;

    for (size_t i = from; i < len; i++) {
        char c = json[i];

        if (text) {
            if (c == '\\')
                i++;
            else
                text = c != '"';
        } else if (c == '"') {
            text = true;
        } else if (c == '{' || c == '[') {
            depth++;
        } else if (depth > 0 && (c == '}' || c == ']')) {
            depth--;
        } else if (depth == 0 && (c == ',' || c == '}')) {
            return i;
        }
    }
    return len;
}

/* name=value for each member: a text as it is, anything else as its JSON. */
static void
add_members(struct fsp_buf *out, const struct fsp_record *record, const char *json, size_t len)
{
    size_t at = 1; /* behind the brace */
    const char *name;

    for (size_t m = 0; (name = fsp_record_member(record, m)) != NULL; m++) {
        size_t from = at + strlen(name) + 3; /* "name": */
        size_t end = value_end(json, len, from);
        const char *text = fsp_record_text(record, name);

        fsp_buf_printf(out, " %s=", name);
        if (text != NULL)
            add_word(out, text, strlen(text));
        else if (end > from)
            add_word(out, json + from, end - from);
        at = end + 1;
    }
}

enum fsp_rc
fsp_word_program_command(const struct fsp_instruction *instruction, const char *name,
        struct fsp_buf *out, struct fsp_err *err)
{
    struct fsp_record *record = NULL;
    struct fsp_buf json;
    size_t len = instruction->body_len;
    enum fsp_rc rc;

    fsp_buf_init(&json, FSP_ENTRY_MAX);
    while (len > 0 && instruction->body[len - 1] == '\n')
        len--;
    rc = fsp_record_parse((const uint8_t *)instruction->body, len, &record, err);
    if (rc == FSP_OK) {
        fsp_record_write(record, &json);
        rc = fsp_buf_check(&json, "a program", err);
    }
    if (rc == FSP_OK && (json.len != len || memcmp(json.data, instruction->body, len) != 0))
        rc = fsp_err_set(err, FSP_EFORMAT, "the program is not canonical JSON");
    if (rc == FSP_OK) {
        fsp_buf_add_text(out, "farspool-rig enter program at=TIME by=NAME");
        add_members(out, record, instruction->body, len);
        fsp_buf_add_text(out, " instruction=");
        add_word(out, name, strlen(name));
        rc = fsp_buf_check(out, "a command", err);
    }
    fsp_record_free(record);
    fsp_buf_fini(&json);
    return rc;
}

void
fsp_word_done_command(const char *name, struct fsp_buf *out)
{
    fsp_buf_add_text(out, "farspool-rig enter done at=TIME by=NAME entry=");
    add_word(out, name, strlen(name));
    fsp_buf_add_text(out, " answer=TEXT");
}
