/* What an instruction says, checked before anything is signed; which programme a rig has now. */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "office/instruct.h"
#include "record/cut.h"

enum fsp_rc
fsp_instruct_message(const char *text, struct fsp_buf *body, struct fsp_err *err)
{
    const size_t all = strlen(text);

    if (strspn(text, " \n") == all)
        return fsp_err_set(err, FSP_EINVAL, "a message needs a text");
    for (size_t from = 0; from < all;) {
        const size_t len = strcspn(text + from, "\n");

        if (!fsp_text_printable(text + from, len))
            return fsp_err_set(err, FSP_EINVAL,
                    "the message holds a control or invisible character; write plain text");
        from += len + 1;
    }
    fsp_buf_add(body, text, all);
    if (text[all - 1] != '\n')
        fsp_buf_add_byte(body, '\n');
    if (body->len > FSP_MESSAGE_MAX)
        return fsp_err_set(err, FSP_EINVAL, "a message has at most %zu bytes", FSP_MESSAGE_MAX);
    return fsp_buf_check(body, "a message", err);
}

/* The fields alone, as canonical JSON on one line. */
static enum fsp_rc
write_fields(const struct fsp_record *record, struct fsp_buf *body, struct fsp_err *err)
{
    static const char *const cut[] = {"v", "kind", "at", "by"};
    struct fsp_buf bytes;
    enum fsp_rc rc;

    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_record_write(record, &bytes);
    rc = fsp_buf_check(&bytes, "a program", err);
    if (rc == FSP_OK)
        rc = fsp_record_cut(
                bytes.data, bytes.len, cut, sizeof(cut) / sizeof(cut[0]), body, err);
    fsp_buf_add_byte(body, '\n');
    fsp_buf_fini(&bytes);
    return rc == FSP_OK ? fsp_buf_check(body, "a program", err) : rc;
}

enum fsp_rc
fsp_instruct_program(const struct fsp_typed *members, size_t n, int64_t now_s,
        struct fsp_buf *body, struct fsp_err *err)
{
    static const char *const ours[] = {"v", "kind", "at", "by", "noted", "instruction"};
    struct fsp_check_context context = {.present_s = now_s};
    struct fsp_typed all[FSP_INSTRUCT_FIELDS_MAX + 2];
    char now[FSP_TIME_TEXT_LEN + 1];
    struct fsp_record *record = NULL;
    enum fsp_rc rc;

    if (n > FSP_INSTRUCT_FIELDS_MAX)
        return fsp_err_set(err, FSP_EINVAL, "more than %d fields", FSP_INSTRUCT_FIELDS_MAX);
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < sizeof(ours) / sizeof(ours[0]); k++)
            if (strcmp(members[i].name, ours[k]) == 0)
                return fsp_err_set(err, FSP_EINVAL,
                        "%s: the rig sets this when it enters the program", ours[k]);
        all[i] = members[i];
    }
    fsp_time_text(now_s, now);
    all[n] = (struct fsp_typed){"at", now};
    all[n + 1] = (struct fsp_typed){"by", "office"};
    rc = fsp_check_typed("program", all, n + 2, &context, &record, err);
    if (rc == FSP_OK)
        rc = write_fields(record, body, err);
    fsp_record_free(record);
    return rc;
}

/* --- the programme a rig has now --------------------------------------------------------------- */

struct search {
    struct fsp_instruct_now *now;
    const char *origin;
};

static enum fsp_rc
look(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    static const char mark[] = "\"kind\":\"program\"";
    const struct search *search = ctx;
    struct fsp_instruct_now *now = search->now;
    struct fsp_record *record = NULL;
    const char *kind;
    int64_t at_s = 0;
    bool there = false;

    for (size_t i = 0; !there && i + sizeof(mark) - 1 <= len; i++)
        there = bytes[i] == '"' && memcmp(bytes + i, mark, sizeof(mark) - 1) == 0;
    if (!there || fsp_record_parse(bytes, len, &record, NULL) != FSP_OK)
        return FSP_OK;
    kind = fsp_record_text(record, "kind");
    if (kind != NULL && strcmp(kind, "program") == 0 && fsp_record_time(record, "at", &at_s)) {
        now->programs++;
        if (now->program == NULL || at_s >= now->at_s) {
            fsp_record_free(now->program);
            now->program = record;
            record = NULL;
            now->at_s = at_s;
            now->index = index;
            memcpy(now->origin, search->origin, strlen(search->origin) + 1);
        }
    }
    fsp_record_free(record);
    (void)err;
    return FSP_OK;
}

/* The newest programme that was written to the rig, be it entered there by now or not. */
static enum fsp_rc
find_written(struct fsp_shelf *shelf, const char *rig, struct fsp_instruct_now *now,
        struct fsp_err *err)
{
    struct fsp_shelf_instruction sent = {.seq = 0};
    struct fsp_buf store;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&store, FSP_NOTE_MAX);
    while (rc == FSP_OK) {
        rc = shelf->ops->next_instruction(shelf->ctx, rig, sent.seq, &sent, &store, err);
        if (rc == FSP_OK && sent.about == FSP_ABOUT_PROGRAM) {
            now->written = true;
            now->made_s = sent.made_s;
            memcpy(now->id, sent.id, sizeof(now->id));
        }
    }
    fsp_buf_fini(&store);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

enum fsp_rc
fsp_instruct_now(struct fsp_shelf *shelf, const char *rig, struct fsp_instruct_now *now,
        struct fsp_err *err)
{
    struct fsp_shelf_log log = {.id = 0};
    enum fsp_rc rc = FSP_OK;

    memset(now, 0, sizeof(*now));
    while (rc == FSP_OK) {
        struct search search = {.now = now, .origin = log.origin};
        struct fsp_range range;
        uint64_t within[2] = {0, 0};

        rc = shelf->ops->next_log_of(shelf->ctx, rig, log.id, &log, err);
        if (rc != FSP_OK)
            break;
        rc = shelf->ops->tip(shelf->ctx, log.id, &range, err);
        within[1] = range.size;
        if (rc == FSP_OK && within[1] > 0)
            rc = shelf->ops->scan(shelf->ctx, log.id, within, look, &search, err);
    }
    if (rc == FSP_ENOTFOUND)
        rc = find_written(shelf, rig, now, err);
    if (rc != FSP_OK)
        fsp_instruct_now_fini(now);
    else
        fsp_err_clear(err);
    return rc;
}

void
fsp_instruct_now_fini(struct fsp_instruct_now *now)
{
    fsp_record_free(now->program);
    memset(now, 0, sizeof(*now));
}
