#define _GNU_SOURCE /* memmem() */
#include "office/instruct.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "proof/note.h"
#include "record/record.h"
#include "wire/answer.h"

/* An instruction's record holds this: base64 of "farspool-instruction/v1" LF. */
#define MARK "ZmFyc3Bvb2wtaW5zdHJ1Y3Rpb24vdjEK"

const char *
fsp_instruct_state_text(enum fsp_instruct_state state)
{
    switch (state) {
    case FSP_INSTRUCT_WAITING:
        return "waiting";
    case FSP_INSTRUCT_IN_LOG:
        return "in the rig's log";
    case FSP_INSTRUCT_ANSWERED:
        return "answered";
    }
    return "waiting";
}

/* ---- writing ------------------------------------------------------------------------------ */

enum fsp_rc
fsp_instruct_sign_too(struct fsp_buf *note, const struct fsp_skey *skey, struct fsp_err *err)
{
    struct fsp_note parsed;
    uint8_t sig[FSP_SIG_LEN];
    enum fsp_rc rc = fsp_note_parse(&parsed, note->data, note->len, err);

    if (rc == FSP_OK)
        rc = fsp_skey_sign(skey, parsed.text, parsed.text_len, sig, err);
    if (rc != FSP_OK)
        return rc;
    fsp_note_add_line(note, fsp_skey_vkey(skey), sig, sizeof(sig));
    return fsp_buf_check(note, "an instruction", err);
}

/* Whether it was put there before, word for word. */
static enum fsp_rc
find_same(struct fsp_shelf *shelf, const struct fsp_instruction *instruction, bool *there,
        struct fsp_err *err)
{
    struct fsp_shelf_instruction sent;
    struct fsp_buf store;
    struct fsp_buf text;
    struct fsp_note note;
    enum fsp_rc rc;

    *there = false;
    fsp_buf_init(&store, FSP_NOTE_MAX);
    fsp_buf_init(&text, FSP_NOTE_MAX);
    rc = shelf->ops->find_instruction(shelf->ctx, instruction->id, &sent, &store, err);
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = FSP_OK;
    } else if (rc == FSP_OK) {
        fsp_instruction_write(instruction, &text);
        rc = fsp_note_parse(&note, sent.note, sent.note_len, err);
        *there = rc == FSP_OK && text.rc == FSP_OK && note.text_len == text.len &&
                 memcmp(note.text, text.data, text.len) == 0;
        if (rc == FSP_OK && !*there)
            rc = fsp_err_set(err, FSP_EINVAL, "another instruction bears this id");
    }
    fsp_buf_fini(&text);
    fsp_buf_fini(&store);
    return rc;
}

enum fsp_rc
fsp_instruct_queue(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_env *env, const struct fsp_instruct *what, uint8_t *id,
        struct fsp_err *err)
{
    struct fsp_instruction text = {
            .about = what->about, .body = what->body, .body_len = what->body_len};
    struct fsp_shelf_instruction row = {.about = what->about};
    struct fsp_buf note;
    bool there = false;
    enum fsp_rc rc;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = shelf->ops->fleet(shelf->ctx, text.fleet, err);
    if (rc != FSP_OK)
        goto out;
    (void)snprintf(text.rig, sizeof(text.rig), "%s", what->rig);
    env->random(env->ctx, text.id, sizeof(text.id));
    text.made_s = env->utc_us(env->ctx) / FSP_US_PER_S;
    if (what->id != NULL) {
        memcpy(text.id, what->id, sizeof(text.id));
        text.made_s = what->made_s;
        rc = find_same(shelf, &text, &there, err);
        if (rc != FSP_OK || there)
            goto out;
    }
    rc = fsp_instruction_sign(&note, &text, keys->instructions, err);
    if (rc == FSP_OK && what->also != NULL)
        rc = fsp_instruct_sign_too(&note, what->also, err);
    if (rc != FSP_OK)
        goto out;
    memcpy(row.rig, text.rig, sizeof(row.rig));
    memcpy(row.id, text.id, sizeof(row.id));
    row.made_s = text.made_s;
    row.note = fsp_buf_peek(&note);
    row.note_len = note.len;
    rc = shelf->ops->add_instruction(shelf->ctx, &row, err);
    if (rc == FSP_OK && id != NULL)
        memcpy(id, text.id, sizeof(text.id));
out:
    fsp_buf_fini(&note);
    return rc;
}

/* ---- what came --------------------------------------------------------------------------- */

/* The entry's instruction, unverified: its text into buf, which it borrows. False when it is none. */
static bool
read_unverified(
        const uint8_t *bytes, size_t len, struct fsp_buf *buf, struct fsp_instruction *out)
{
    struct fsp_record *record = NULL;
    const char *kind;
    const char *text;
    bool good = false;

    if (memmem(bytes, len, MARK, strlen(MARK)) == NULL ||
            fsp_record_parse(bytes, len, &record, NULL) != FSP_OK)
        return false;
    kind = fsp_record_text(record, "kind");
    text = fsp_record_text(record, "bytes");
    fsp_buf_reset(buf);
    if (kind != NULL && strcmp(kind, "instruction") == 0 && text != NULL &&
            fsp_unbase64(text, strlen(text), buf) == FSP_OK && buf->rc == FSP_OK)
        good = fsp_instruction_parse(out, fsp_buf_peek(buf), buf->len, NULL) == FSP_OK;
    fsp_record_free(record);
    return good;
}

enum fsp_rc
fsp_instruct_at(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_shelf_instruction_place *place, struct fsp_instruction *out,
        struct fsp_buf *note, struct fsp_err *err)
{
    struct fsp_record *record = NULL;
    struct fsp_buf entry;
    enum fsp_rc rc;

    fsp_buf_init(&entry, FSP_ENTRY_MAX);
    rc = shelf->ops->entry(shelf->ctx, place->log, place->index, &entry, err);
    if (rc == FSP_OK && (fsp_record_parse(entry.data, entry.len, &record, NULL) != FSP_OK ||
                                fsp_instruction_of_record(out, record, keys->instructions_ever,
                                        keys->n_instructions_ever, note, NULL) != FSP_OK))
        rc = fsp_err_set(err, FSP_EFORMAT, "entry %llu is no instruction of this office",
                (unsigned long long)place->index);
    fsp_record_free(record);
    fsp_buf_fini(&entry);
    return rc;
}

/* <fleet>/<rig>/<incarnation> */
static bool
is_for(const struct fsp_instruction *instruction, const struct fsp_shelf_log *log)
{
    size_t len = strlen(instruction->fleet);

    return strncmp(log->origin, instruction->fleet, len) == 0 && log->origin[len] == '/' &&
           strcmp(log->rig, instruction->rig) == 0;
}

static bool
same_text(const struct fsp_shelf_instruction *sent, const struct fsp_instruction *came)
{
    struct fsp_note note;

    return fsp_note_parse(&note, sent->note, sent->note_len, NULL) == FSP_OK &&
           note.text_len == came->text_len &&
           memcmp(note.text, came->text, came->text_len) == 0;
}

enum fsp_rc
fsp_instruct_see(struct fsp_shelf *shelf, const struct fsp_shelf_log *log, uint64_t index,
        const struct fsp_entry_bytes *entry, struct fsp_err *err)
{
    struct fsp_shelf_instruction_place place = {.log = log->id, .index = index};
    struct fsp_shelf_instruction sent;
    struct fsp_instruction came;
    struct fsp_buf text;
    struct fsp_buf store;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&text, FSP_INSTRUCTION_TEXT_MAX);
    fsp_buf_init(&store, FSP_NOTE_MAX);
    if (!read_unverified(entry->bytes, entry->len, &text, &came) || !is_for(&came, log))
        goto out;
    memcpy(place.id, came.id, sizeof(place.id));
    rc = shelf->ops->find_instruction(shelf->ctx, came.id, &sent, &store, err);
    if (rc == FSP_OK && !same_text(&sent, &came))
        goto out;
    if (rc == FSP_OK || rc == FSP_ENOTFOUND)
        rc = shelf->ops->add_instruction_place(shelf->ctx, &place, err);
out:
    fsp_buf_fini(&store);
    fsp_buf_fini(&text);
    return rc;
}

/* ---- what goes --------------------------------------------------------------------------- */

/* The note as it was signed, and the line of today's key behind it. */
static enum fsp_rc
add_frame(const struct fsp_office_keys *keys, const struct fsp_shelf_instruction *instruction,
        struct fsp_buf *note, struct fsp_buf *frame, struct fsp_err *err)
{
    struct fsp_note parsed;
    enum fsp_rc rc;

    fsp_buf_reset(note);
    fsp_buf_reset(frame);
    fsp_buf_add(note, instruction->note, instruction->note_len);
    rc = fsp_note_parse(&parsed, instruction->note, instruction->note_len, err);
    if (rc == FSP_OK)
        rc = fsp_note_verify(&parsed, fsp_skey_vkey(keys->instructions), NULL, err);
    if (rc == FSP_ENOTFOUND)
        rc = fsp_instruct_sign_too(note, keys->instructions, err);
    if (rc == FSP_OK)
        rc = fsp_buf_check(note, "an instruction", err);
    if (rc != FSP_OK)
        return rc;
    fsp_answers_add_instruction(frame, note->data, note->len);
    return fsp_buf_check(frame, "an instruction", err);
}

enum fsp_rc
fsp_instruct_frames(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const char *rig, const uint8_t *newest, struct fsp_buf *out, struct fsp_err *err)
{
    struct fsp_shelf_wait wait = {.rig = rig, .newest = newest};
    struct fsp_shelf_instruction instruction;
    struct fsp_buf store;
    struct fsp_buf note;
    struct fsp_buf frame;
    size_t bytes = 0;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&store, FSP_NOTE_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    fsp_buf_init(&frame, FSP_NOTE_MAX);
    for (size_t n = 0; rc == FSP_OK && n < FSP_ANSWER_INSTRUCTIONS; n++) {
        rc = shelf->ops->waiting_instruction(shelf->ctx, &wait, &instruction, &store, err);
        if (rc == FSP_OK)
            rc = add_frame(keys, &instruction, &note, &frame, err);
        if (rc != FSP_OK || bytes + frame.len > FSP_ANSWER_INSTRUCTION_BYTES)
            break;
        bytes += frame.len;
        fsp_buf_add(out, frame.data, frame.len);
        wait.after = instruction.seq;
    }
    fsp_buf_fini(&frame);
    fsp_buf_fini(&note);
    fsp_buf_fini(&store);
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    return rc == FSP_OK ? fsp_buf_check(out, "instructions", err) : rc;
}

enum fsp_rc
fsp_instruct_keys_wait(
        struct fsp_shelf *shelf, const char *rig, bool *wait, struct fsp_err *err)
{
    struct fsp_shelf_wait want = {.rig = rig};
    struct fsp_shelf_instruction instruction = {.seq = 0};
    struct fsp_buf store;
    enum fsp_rc rc = FSP_OK;

    *wait = false;
    fsp_buf_init(&store, FSP_NOTE_MAX);
    while (rc == FSP_OK && !*wait) {
        want.after = instruction.seq;
        rc = shelf->ops->waiting_instruction(shelf->ctx, &want, &instruction, &store, err);
        *wait = rc == FSP_OK && instruction.about == FSP_ABOUT_KEYS;
    }
    fsp_buf_fini(&store);
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    return rc;
}
