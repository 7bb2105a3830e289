/* What became of the instructions of one rig, found in its logs. */
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "office/instruct.h"
#include "record/record.h"

void
fsp_instruct_list_free(struct fsp_instruct_list *list)
{
    for (size_t i = 0; i < list->n; i++) {
        free(list->items[i].body);
        free(list->items[i].answer);
    }
    free(list->items);
    memset(list, 0, sizeof(*list));
}

/* One more item with the instruction's text. */
static enum fsp_rc
add(struct fsp_instruct_list *list, const struct fsp_instruction *instruction,
        struct fsp_err *err)
{
    struct fsp_instruct_item *item;

    if (fsp_mem_grow((void **)&list->items, &list->cap, list->n + 1, sizeof(*list->items)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    item = &list->items[list->n];
    memset(item, 0, sizeof(*item));
    memcpy(item->id, instruction->id, sizeof(item->id));
    item->about = instruction->about;
    item->made_s = instruction->made_s;
    item->body = fsp_mem_text(instruction->body, instruction->body_len);
    item->body_len = instruction->body_len;
    if (item->body == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    list->n++;
    return FSP_OK;
}

static enum fsp_rc
find_log(struct fsp_shelf *shelf, int64_t id, struct fsp_shelf_log *log, struct fsp_err *err)
{
    enum fsp_rc rc = shelf->ops->next_log(shelf->ctx, id - 1, log, err);

    return rc == FSP_ENOTFOUND ? fsp_err_set(err, FSP_ECORRUPT, "the store lacks a log") : rc;
}

/* The item stands in that entry. */
static enum fsp_rc
set_place(struct fsp_shelf *shelf, struct fsp_instruct_item *item,
        const struct fsp_shelf_instruction_place *place, struct fsp_err *err)
{
    struct fsp_shelf_log log;
    struct fsp_buf entry;
    enum fsp_rc rc = find_log(shelf, place->log, &log, err);

    fsp_buf_init(&entry, FSP_ENTRY_MAX);
    if (rc == FSP_OK)
        rc = shelf->ops->entry(shelf->ctx, place->log, place->index, &entry, err);
    if (rc == FSP_OK) {
        item->state = FSP_INSTRUCT_IN_LOG;
        memcpy(item->origin, log.origin, sizeof(item->origin));
        item->index = place->index;
        fsp_leaf_hash(entry.data, entry.len, item->leaf);
    }
    fsp_buf_fini(&entry);
    return rc;
}

static enum fsp_rc
add_sent(struct fsp_shelf *shelf, const char *rig, struct fsp_instruct_list *list,
        struct fsp_err *err)
{
    struct fsp_shelf_instruction sent = {.seq = 0};
    struct fsp_buf store;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&store, FSP_NOTE_MAX);
    while (rc == FSP_OK) {
        struct fsp_shelf_instruction_place place;
        struct fsp_instruction instruction;
        struct fsp_note note;

        rc = shelf->ops->next_instruction(shelf->ctx, rig, sent.seq, &sent, &store, err);
        if (rc != FSP_OK)
            break;
        rc = fsp_note_parse(&note, sent.note, sent.note_len, err);
        if (rc == FSP_OK)
            rc = fsp_instruction_parse(&instruction, note.text, note.text_len, err);
        if (rc == FSP_OK)
            rc = add(list, &instruction, err);
        if (rc != FSP_OK)
            break;
        rc = shelf->ops->instruction_place(shelf->ctx, rig, sent.id, &place, err);
        if (rc == FSP_OK)
            rc = set_place(shelf, &list->items[list->n - 1], &place, err);
        else if (rc == FSP_ENOTFOUND)
            rc = FSP_OK;
    }
    fsp_buf_fini(&store);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static bool
is_listed(const struct fsp_instruct_list *list, const uint8_t *id)
{
    for (size_t i = 0; i < list->n; i++)
        if (memcmp(list->items[i].id, id, FSP_INSTRUCTION_ID_LEN) == 0)
            return true;
    return false;
}

/* An instruction in the rig's log that this shelf does not know, if it is our own. */
static enum fsp_rc
add_if_ours(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_shelf_instruction_place *place, struct fsp_instruct_list *list,
        struct fsp_err *err)
{
    struct fsp_instruction instruction;
    struct fsp_buf note;
    enum fsp_rc rc;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = fsp_instruct_at(shelf, keys, place, &instruction, &note, err);
    if (rc == FSP_OK)
        rc = add(list, &instruction, err);
    if (rc == FSP_OK) {
        list->items[list->n - 1].lost = true;
        rc = set_place(shelf, &list->items[list->n - 1], place, err);
    }
    fsp_buf_fini(&note);
    return rc == FSP_EFORMAT ? FSP_OK : rc;
}

static enum fsp_rc
add_lost(struct fsp_shelf *shelf, const struct fsp_office_keys *keys, const char *rig,
        struct fsp_instruct_list *list, struct fsp_err *err)
{
    struct fsp_shelf_instruction_place place = {.seq = 0};
    enum fsp_rc rc = FSP_OK;

    while (rc == FSP_OK) {
        struct fsp_shelf_log log;

        rc = shelf->ops->next_instruction_place(shelf->ctx, place.seq, &place, err);
        if (rc != FSP_OK)
            break;
        rc = find_log(shelf, place.log, &log, err);
        if (rc == FSP_OK && strcmp(log.rig, rig) == 0 && !is_listed(list, place.id))
            rc = add_if_ours(shelf, keys, &place, list, err);
    }
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

/* ---- answers ----------------------------------------------------------------------------- */

struct search {
    struct fsp_instruct_list *list;
    const char *origin;
};

/* A done names the instruction as its `entry`, a program as its `instruction`. */
static const struct fsp_record *
named_by(const struct fsp_record *record, bool *by_program)
{
    const char *kind = fsp_record_text(record, "kind");

    *by_program = kind != NULL && strcmp(kind, "program") == 0;
    if (*by_program)
        return fsp_record_object(record, "instruction");
    return kind != NULL && strcmp(kind, "done") == 0 ? fsp_record_object(record, "entry")
                                                     : NULL;
}

static enum fsp_rc
answer(struct fsp_instruct_item *item, const struct search *search, uint64_t index,
        const struct fsp_record *record, struct fsp_err *err)
{
    const char *text = fsp_record_text(record, "answer");

    item->state = FSP_INSTRUCT_ANSWERED;
    memcpy(item->by_origin, search->origin, strlen(search->origin) + 1);
    item->by_index = index;
    if (text == NULL)
        return FSP_OK;
    free(item->answer);
    item->answer = fsp_mem_text(text, strlen(text));
    return item->answer != NULL ? FSP_OK : fsp_err_set(err, FSP_ENOMEM, "out of memory");
}

static bool
may_answer(const uint8_t *bytes, size_t len)
{
    static const char *const kinds[] = {"\"kind\":\"done\"", "\"kind\":\"program\""};

    for (size_t k = 0; k < 2; k++) {
        size_t n = strlen(kinds[k]);

        for (size_t i = 0; i + n <= len; i++)
            if (bytes[i] == '"' && memcmp(bytes + i, kinds[k], n) == 0)
                return true;
    }
    return false;
}

static enum fsp_rc
look(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    const struct search *search = ctx;
    struct fsp_record *record = NULL;
    const struct fsp_record *entry = NULL;
    uint8_t leaf[FSP_HASH_LEN];
    bool by_program = false;
    const char *text;
    enum fsp_rc rc = FSP_OK;

    if (!may_answer(bytes, len) || fsp_record_parse(bytes, len, &record, NULL) != FSP_OK)
        return FSP_OK;
    entry = named_by(record, &by_program);
    text = entry != NULL ? fsp_record_text(entry, "leaf") : NULL;
    if (text == NULL || fsp_unbase64_exact(text, strlen(text), leaf, sizeof(leaf)) != FSP_OK)
        goto out;
    for (size_t i = 0; rc == FSP_OK && i < search->list->n; i++) {
        struct fsp_instruct_item *item = &search->list->items[i];

        if (item->state == FSP_INSTRUCT_WAITING || memcmp(item->leaf, leaf, sizeof(leaf)) != 0)
            continue;
        item->by_program = item->by_program || by_program;
        rc = answer(item, search, index, record, err);
    }
out:
    fsp_record_free(record);
    return rc;
}

static enum fsp_rc
add_answers(struct fsp_shelf *shelf, const char *rig, struct fsp_instruct_list *list,
        struct fsp_err *err)
{
    struct fsp_shelf_log log = {.id = 0};
    enum fsp_rc rc = FSP_OK;

    while (rc == FSP_OK) {
        struct search search = {.list = list, .origin = log.origin};
        struct fsp_range range;
        uint64_t within[2] = {0, 0};

        rc = shelf->ops->next_log(shelf->ctx, log.id, &log, err);
        if (rc != FSP_OK)
            break;
        if (strcmp(log.rig, rig) != 0)
            continue;
        rc = shelf->ops->tip(shelf->ctx, log.id, &range, err);
        within[1] = range.size;
        if (rc == FSP_OK && within[1] > 0)
            rc = shelf->ops->scan(shelf->ctx, log.id, within, look, &search, err);
    }
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

enum fsp_rc
fsp_instruct_list(struct fsp_shelf *shelf, const struct fsp_office_keys *keys, const char *rig,
        struct fsp_instruct_list *list, struct fsp_err *err)
{
    enum fsp_rc rc;

    memset(list, 0, sizeof(*list));
    rc = add_sent(shelf, rig, list, err);
    if (rc == FSP_OK)
        rc = add_lost(shelf, keys, rig, list, err);
    if (rc == FSP_OK && list->n > 0)
        rc = add_answers(shelf, rig, list, err);
    if (rc != FSP_OK)
        fsp_instruct_list_free(list);
    else
        fsp_err_clear(err);
    return rc;
}
