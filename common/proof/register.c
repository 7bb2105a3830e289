#include "proof/register.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

#define MAGIC  "farspool-register/v1"
#define ORIGIN "origin "
#define FROM   "from "
#define RANGE  "range "
#define HEAD   "head "
#define TO     "to "
#define ENTRY  "entry "
#define LEAF   "leaf "
#define END    "end"

/* The longest line: an entry with its word. */
#define LINE_MAX_LEN (sizeof(ENTRY) - 1 + FSP_ENTRY_MAX)

/* --- writing --------------------------------------------------------------------------------- */

static void
write_head(struct fsp_buf *buf, const char *note, size_t len)
{
    fsp_buf_printf(buf, HEAD "%zu\n", len);
    fsp_buf_add(buf, note, len);
}

void
fsp_register_write_top(const struct fsp_register_top *top, struct fsp_buf *buf)
{
    fsp_buf_printf(
            buf, MAGIC "\n" ORIGIN "%s\n" FROM "%" PRIu64 "\n", top->origin, top->range.size);
    if (top->range.size > 0) {
        struct fsp_buf range;

        fsp_buf_init(&range, FSP_RANGE_MAX_LEN);
        fsp_range_write(&top->range, &range);
        if (range.rc != FSP_OK && buf->rc == FSP_OK)
            buf->rc = range.rc;
        fsp_buf_add_text(buf, RANGE);
        fsp_base64(buf, range.data, range.len);
        fsp_buf_add_byte(buf, '\n');
        fsp_buf_fini(&range);
        write_head(buf, top->from_head, top->from_head_len);
    }
    fsp_buf_printf(buf, TO "%" PRIu64 "\n", top->to);
    write_head(buf, top->to_head, top->to_head_len);
}

void
fsp_register_write_entry(const void *entry, size_t len, struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, ENTRY);
    if (len > 0)
        fsp_buf_add(buf, entry, len);
    fsp_buf_add_byte(buf, '\n');
}

void
fsp_register_write_held_back(const uint8_t leaf[FSP_HASH_LEN], struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, LEAF);
    fsp_base64(buf, leaf, FSP_HASH_LEN);
    fsp_buf_add_byte(buf, '\n');
}

void
fsp_register_write_end(struct fsp_buf *buf)
{
    fsp_buf_add_text(buf, END "\n");
}

/* --- reading --------------------------------------------------------------------------------- */

/* What the next line, or the next bytes, must be. */
enum stage {
    AT_MAGIC,
    AT_ORIGIN,
    AT_FROM,
    AT_RANGE,
    AT_FROM_HEAD, /* the line that says how long it is */
    IN_FROM_HEAD, /* its bytes */
    AT_TO,
    AT_TO_HEAD,
    IN_TO_HEAD,
    AT_ENTRY,
    AT_NOTHING, /* `end` was read */
};

struct fsp_register {
    struct fsp_register_hooks hooks;
    enum stage stage;
    struct fsp_err failed; /* the first failure; rc FSP_OK while there is none */
    struct fsp_buf line;   /* a line that came in pieces */
    struct fsp_buf from_head;
    struct fsp_buf to_head;
    size_t missing; /* bytes of the head that is being read */
    struct fsp_register_top top;
    struct fsp_range range; /* of all entries so far */
    uint8_t root[FSP_HASH_LEN];
    uint64_t lines;
    uint64_t held_back;
};

enum fsp_rc
fsp_register_new(
        struct fsp_register **out, const struct fsp_register_hooks *hooks, struct fsp_err *err)
{
    struct fsp_register *reg = calloc(1, sizeof(*reg));

    *out = NULL;
    if (reg == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    reg->hooks = *hooks;
    fsp_buf_init(&reg->line, LINE_MAX_LEN);
    fsp_buf_init(&reg->from_head, FSP_NOTE_MAX);
    fsp_buf_init(&reg->to_head, FSP_NOTE_MAX);
    *out = reg;
    return FSP_OK;
}

void
fsp_register_free(struct fsp_register *reg)
{
    if (reg == NULL)
        return;
    fsp_buf_fini(&reg->line);
    fsp_buf_fini(&reg->from_head);
    fsp_buf_fini(&reg->to_head);
    free(reg);
}

/* The rest of a line behind its word; false when it begins with another. */
static bool
behind(const char *line, size_t len, const char *word, const char **rest, size_t *rest_len)
{
    const size_t n = strlen(word);

    if (len < n || memcmp(line, word, n) != 0)
        return false;
    *rest = line + n;
    *rest_len = len - n;
    return true;
}

static enum fsp_rc
bad_line(const struct fsp_register *reg, const char *what, struct fsp_err *err)
{
    return fsp_err_set(err, FSP_EFORMAT, "line %" PRIu64 ": %s", reg->lines, what);
}

static enum fsp_rc
take_number(const struct fsp_register *reg, const char *line, size_t len, const char *word,
        uint64_t *out, struct fsp_err *err)
{
    const char *rest = NULL;
    size_t rest_len = 0;

    if (!behind(line, len, word, &rest, &rest_len) ||
            fsp_text_u64(rest, rest_len, out) != FSP_OK)
        return fsp_err_set(err, FSP_EFORMAT, "line %" PRIu64 ": expected \"%s<number>\"",
                reg->lines, word);
    return FSP_OK;
}

static enum fsp_rc
take_origin(struct fsp_register *reg, const char *line, size_t len, struct fsp_err *err)
{
    const char *rest = NULL;
    size_t rest_len = 0;

    if (!behind(line, len, ORIGIN, &rest, &rest_len) || rest_len == 0 ||
            rest_len > FSP_ORIGIN_MAX || !fsp_text_printable(rest, rest_len))
        return bad_line(reg, "expected \"origin\" and the log's name", err);
    memcpy(reg->top.origin, rest, rest_len);
    reg->top.origin[rest_len] = '\0';
    return FSP_OK;
}

static enum fsp_rc
take_range(struct fsp_register *reg, const char *line, size_t len, uint64_t from,
        struct fsp_err *err)
{
    const char *rest = NULL;
    size_t rest_len = 0;
    struct fsp_buf bytes;
    enum fsp_rc rc;

    fsp_buf_init(&bytes, FSP_RANGE_MAX_LEN);
    if (!behind(line, len, RANGE, &rest, &rest_len)) {
        rc = bad_line(reg, "expected \"range\" and its base64", err);
        goto out;
    }
    rc = fsp_unbase64(rest, rest_len, &bytes);
    if (rc == FSP_ENOMEM) {
        rc = fsp_err_set(err, rc, "out of memory");
        goto out;
    }
    if (rc != FSP_OK || fsp_range_read(&reg->top.range, bytes.data, bytes.len) != FSP_OK ||
            reg->top.range.size != from)
        rc = bad_line(reg, "not the compact range of as many entries as \"from\" says", err);
out:
    fsp_buf_fini(&bytes);
    return rc;
}

static enum fsp_rc
take_head_line(struct fsp_register *reg, const char *line, size_t len, struct fsp_err *err)
{
    uint64_t bytes = 0;
    enum fsp_rc rc = take_number(reg, line, len, HEAD, &bytes, err);

    if (rc != FSP_OK)
        return rc;
    if (bytes == 0 || bytes > FSP_NOTE_MAX)
        return fsp_err_set(err, FSP_ELIMIT,
                "line %" PRIu64 ": a signed head has 1 to %zu bytes", reg->lines, FSP_NOTE_MAX);
    reg->missing = (size_t)bytes;
    return FSP_OK;
}

/* The head is a signed note of this log and of that size. Its signatures are not looked at. */
static enum fsp_rc
check_head(const struct fsp_register *reg, const struct fsp_buf *bytes, uint64_t size,
        uint8_t root[FSP_HASH_LEN], struct fsp_err *err)
{
    struct fsp_note note;
    struct fsp_checkpoint head;
    enum fsp_rc rc = fsp_note_parse(&note, bytes->data, bytes->len, err);

    if (rc == FSP_OK)
        rc = fsp_checkpoint_parse(&head, note.text, note.text_len, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "the head of %" PRIu64, size);
    if (strcmp(head.origin, reg->top.origin) != 0)
        return fsp_err_set(err, FSP_EVERIFY,
                "the head of %" PRIu64 " is of another log, %s, than the register's", size,
                head.origin);
    if (head.size != size)
        return fsp_err_set(err, FSP_EVERIFY,
                "the register says %" PRIu64 ", the head there is of %" PRIu64 " entries", size,
                head.size);
    memcpy(root, head.root, FSP_HASH_LEN);
    return FSP_OK;
}

static enum fsp_rc
end_from_head(struct fsp_register *reg, struct fsp_err *err)
{
    uint8_t said[FSP_HASH_LEN];
    uint8_t root[FSP_HASH_LEN];
    enum fsp_rc rc = check_head(reg, &reg->from_head, reg->top.range.size, said, err);

    if (rc != FSP_OK)
        return rc;
    fsp_range_root(&reg->top.range, root);
    if (memcmp(root, said, sizeof(root)) != 0)
        return fsp_err_set(err, FSP_EVERIFY,
                "the range of the first %" PRIu64 " entries is not that of the signed head of "
                "%" PRIu64,
                reg->top.range.size, reg->top.range.size);
    return FSP_OK;
}

static enum fsp_rc
end_to_head(struct fsp_register *reg, struct fsp_err *err)
{
    enum fsp_rc rc = check_head(reg, &reg->to_head, reg->top.to, reg->root, err);

    if (rc != FSP_OK)
        return rc;
    if (reg->top.range.size > 0) {
        reg->top.from_head = fsp_buf_peek(&reg->from_head);
        reg->top.from_head_len = reg->from_head.len;
    }
    reg->top.to_head = fsp_buf_peek(&reg->to_head);
    reg->top.to_head_len = reg->to_head.len;
    reg->range = reg->top.range;
    return reg->hooks.top == NULL ? FSP_OK : reg->hooks.top(reg->hooks.ctx, &reg->top, err);
}

static enum fsp_rc
take_leaf(struct fsp_register *reg, const uint8_t *bytes, size_t len,
        const uint8_t leaf[FSP_HASH_LEN], struct fsp_err *err)
{
    const uint64_t index = reg->range.size;

    if (index >= reg->top.to)
        return fsp_err_set(err, FSP_EVERIFY,
                "line %" PRIu64 ": more entries than the %" PRIu64 " that \"to\" says",
                reg->lines, reg->top.to);
    fsp_range_append_leaf(&reg->range, leaf);
    if (bytes == NULL)
        reg->held_back++;
    return reg->hooks.entry == NULL
                   ? FSP_OK
                   : reg->hooks.entry(reg->hooks.ctx, index, bytes, len, leaf, err);
}

static enum fsp_rc
take_entry_line(struct fsp_register *reg, const char *line, size_t len, struct fsp_err *err)
{
    const char *rest = NULL;
    size_t rest_len = 0;
    uint8_t leaf[FSP_HASH_LEN];

    if (behind(line, len, ENTRY, &rest, &rest_len)) {
        fsp_leaf_hash(rest, rest_len, leaf);
        return take_leaf(reg, (const uint8_t *)rest, rest_len, leaf, err);
    }
    if (behind(line, len, LEAF, &rest, &rest_len)) {
        if (fsp_unbase64_exact(rest, rest_len, leaf, sizeof(leaf)) != FSP_OK)
            return bad_line(reg, "no canonical base64 of a 32-byte leaf hash", err);
        return take_leaf(reg, NULL, 0, leaf, err);
    }
    if (len == strlen(END) && memcmp(line, END, len) == 0) {
        if (reg->range.size != reg->top.to)
            return fsp_err_set(err, FSP_EVERIFY,
                    "%" PRIu64 " entries from %" PRIu64 " on, but \"to\" says %" PRIu64
                    ": some were left out",
                    reg->range.size - reg->top.range.size, reg->top.range.size, reg->top.to);
        reg->stage = AT_NOTHING;
        return FSP_OK;
    }
    return bad_line(reg, "begins with none of entry, leaf, end", err);
}

static enum fsp_rc
take_from(struct fsp_register *reg, const char *line, size_t len, struct fsp_err *err)
{
    enum fsp_rc rc = take_number(reg, line, len, FROM, &reg->top.to, err);

    reg->stage = reg->top.to == 0 ? AT_TO : AT_RANGE;
    return rc;
}

static enum fsp_rc
take_to(struct fsp_register *reg, const char *line, size_t len, struct fsp_err *err)
{
    enum fsp_rc rc = take_number(reg, line, len, TO, &reg->top.to, err);

    reg->stage = AT_TO_HEAD;
    if (rc == FSP_OK && reg->top.to < reg->top.range.size)
        rc = bad_line(reg, "\"to\" is below \"from\"", err);
    return rc;
}

/* One whole line, without its LF. `top.to` holds "from" until the range was read. */
static enum fsp_rc
take_line(struct fsp_register *reg, const char *line, size_t len, struct fsp_err *err)
{
    switch (reg->stage) {
    case AT_MAGIC:
        reg->stage = AT_ORIGIN;
        if (len != strlen(MAGIC) || memcmp(line, MAGIC, len) != 0)
            return fsp_err_set(err, FSP_EFORMAT, "its first line is not \"" MAGIC "\"");
        return FSP_OK;
    case AT_ORIGIN:
        reg->stage = AT_FROM;
        return take_origin(reg, line, len, err);
    case AT_FROM:
        return take_from(reg, line, len, err);
    case AT_RANGE:
        reg->stage = AT_FROM_HEAD;
        return take_range(reg, line, len, reg->top.to, err);
    case AT_FROM_HEAD:
        reg->stage = IN_FROM_HEAD;
        return take_head_line(reg, line, len, err);
    case AT_TO:
        return take_to(reg, line, len, err);
    case AT_TO_HEAD:
        reg->stage = IN_TO_HEAD;
        return take_head_line(reg, line, len, err);
    case AT_ENTRY:
        return take_entry_line(reg, line, len, err);
    case IN_FROM_HEAD:
    case IN_TO_HEAD:
    case AT_NOTHING:
        break;
    }
    return fsp_err_set(err, FSP_EFORMAT, "bytes behind the end");
}

/* Bytes of a head; *pos moves past those that belong to it. */
static enum fsp_rc
take_head_bytes(struct fsp_register *reg, const char **pos, size_t len, struct fsp_err *err)
{
    struct fsp_buf *head = reg->stage == IN_FROM_HEAD ? &reg->from_head : &reg->to_head;
    const size_t n = len < reg->missing ? len : reg->missing;
    enum fsp_rc rc;

    fsp_buf_add(head, *pos, n);
    for (size_t i = 0; i < n; i++)
        if ((*pos)[i] == '\n')
            reg->lines++;
    *pos += n;
    reg->missing -= n;
    rc = fsp_buf_check(head, "a head", err);
    if (rc != FSP_OK || reg->missing > 0)
        return rc;
    if (reg->stage == IN_FROM_HEAD) {
        reg->stage = AT_TO;
        return end_from_head(reg, err);
    }
    reg->stage = AT_ENTRY;
    return end_to_head(reg, err);
}

/* Up to the next LF, or all of it when there is none. A line within the piece is not copied. */
static enum fsp_rc
take_line_bytes(struct fsp_register *reg, const char **pos, size_t len, struct fsp_err *err)
{
    const char *line = *pos;
    const char *stop = memchr(line, '\n', len);
    const size_t n = stop == NULL ? len : (size_t)(stop - line);
    enum fsp_rc rc;

    *pos += stop == NULL ? n : n + 1;
    if (n > LINE_MAX_LEN - reg->line.len)
        return fsp_err_set(err, FSP_ELIMIT, "line %" PRIu64 ": over %zu bytes", reg->lines + 1,
                LINE_MAX_LEN);
    if (stop != NULL && reg->line.len == 0) {
        reg->lines++;
        return take_line(reg, line, n, err);
    }
    fsp_buf_add(&reg->line, line, n);
    rc = fsp_buf_check(&reg->line, "a line", err);
    if (rc != FSP_OK || stop == NULL)
        return rc;
    reg->lines++;
    rc = take_line(reg, fsp_buf_peek(&reg->line), reg->line.len, err);
    fsp_buf_reset(&reg->line);
    return rc;
}

enum fsp_rc
fsp_register_feed(struct fsp_register *reg, const void *bytes, size_t len, struct fsp_err *err)
{
    const char *pos = bytes;
    const char *end = pos + len;
    struct fsp_err own = {.rc = FSP_OK};
    enum fsp_rc rc = reg->failed.rc;

    if (rc != FSP_OK)
        return fsp_err_set(err, rc, "%s", reg->failed.text);
    while (rc == FSP_OK && pos < end) {
        const size_t left = (size_t)(end - pos);

        rc = reg->stage == IN_FROM_HEAD || reg->stage == IN_TO_HEAD
                     ? take_head_bytes(reg, &pos, left, &own)
                     : take_line_bytes(reg, &pos, left, &own);
    }
    if (rc == FSP_OK)
        return FSP_OK;
    reg->failed = own;
    reg->failed.rc = rc;
    return fsp_err_set(err, rc, "%s", own.text);
}

enum fsp_rc
fsp_register_finish(struct fsp_register *reg, uint64_t *held_back, struct fsp_err *err)
{
    uint8_t root[FSP_HASH_LEN];

    if (held_back != NULL)
        *held_back = reg->held_back;
    if (reg->failed.rc != FSP_OK)
        return fsp_err_set(err, reg->failed.rc, "%s", reg->failed.text);
    if (reg->stage != AT_NOTHING || reg->line.len > 0)
        return fsp_err_set(err, FSP_EFORMAT,
                "ends behind line %" PRIu64 ", before its \"end\" (a file cut short?)",
                reg->lines);
    fsp_range_root(&reg->range, root);
    if (memcmp(root, reg->root, sizeof(root)) != 0)
        return fsp_err_set(err, FSP_EVERIFY,
                "the entries are not those of the signed head of %" PRIu64
                ": one was changed, left out, added or moved",
                reg->top.to);
    return FSP_OK;
}
