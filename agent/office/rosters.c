#include "office/rosters.h"

#include <string.h>

#include "office/instruct.h"
#include "proof/note.h"
#include "record/record.h"

/* By any instructions key there was. */
static enum fsp_rc
read_roster(struct fsp_roster **out, const struct fsp_office_keys *keys, const void *note,
        size_t len, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_ENOTFOUND;

    *out = NULL;
    for (size_t i = keys->n_instructions_ever; rc != FSP_OK && rc != FSP_ENOMEM && i-- > 0;)
        rc = fsp_roster_read(out, note, len, &keys->instructions_ever[i], err);
    return rc;
}

/* The later of two; both are taken. */
static void
take_newer(struct fsp_roster **newest, struct fsp_roster *roster)
{
    if (*newest != NULL && roster != NULL && (*newest)->version >= roster->version) {
        fsp_roster_free(roster);
    } else if (roster != NULL) {
        fsp_roster_free(*newest);
        *newest = roster;
    }
}

/* A roster that a rig's log holds and the shelf does not know; *out NULL when it is none. */
static enum fsp_rc
read_lost(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_shelf_instruction_place *place, struct fsp_roster **out,
        struct fsp_err *err)
{
    struct fsp_instruction instruction;
    struct fsp_buf note;
    enum fsp_rc rc;

    *out = NULL;
    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = fsp_instruct_at(shelf, keys, place, &instruction, &note, err);
    if (rc == FSP_OK && instruction.about == FSP_ABOUT_ROSTER &&
            read_roster(out, keys, instruction.body, instruction.body_len, err) == FSP_ENOMEM)
        rc = FSP_ENOMEM;
    fsp_buf_fini(&note);
    return rc == FSP_EFORMAT ? FSP_OK : rc;
}

static enum fsp_rc
add_lost(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        struct fsp_roster **newest, struct fsp_err *err)
{
    struct fsp_shelf_instruction_place place = {.seq = 0};
    struct fsp_shelf_instruction sent;
    struct fsp_buf store;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&store, FSP_NOTE_MAX);
    while (rc == FSP_OK) {
        struct fsp_roster *roster = NULL;

        rc = shelf->ops->next_instruction_place(shelf->ctx, place.seq, &place, err);
        if (rc != FSP_OK)
            break;
        rc = shelf->ops->find_instruction(shelf->ctx, place.id, &sent, &store, err);
        if (rc != FSP_ENOTFOUND)
            continue;
        rc = read_lost(shelf, keys, &place, &roster, err);
        take_newer(newest, roster);
    }
    fsp_buf_fini(&store);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

enum fsp_rc
fsp_rosters_newest(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        struct fsp_roster **out, struct fsp_err *err)
{
    struct fsp_roster *newest = NULL;
    struct fsp_buf note;
    enum fsp_rc rc;

    *out = NULL;
    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = shelf->ops->roster(shelf->ctx, 0, &note, err);
    if (rc == FSP_OK) {
        rc = read_roster(&newest, keys, note.data, note.len, err);
        if (rc == FSP_ENOTFOUND || rc == FSP_EVERIFY)
            rc = fsp_err_set(err, FSP_EVERIFY,
                    "the newest roster is by none of this office's keys: are the keys those of "
                    "this store?");
    } else if (rc == FSP_ENOTFOUND) {
        rc = FSP_OK;
    }
    if (rc == FSP_OK)
        rc = add_lost(shelf, keys, &newest, err);
    if (rc == FSP_OK && newest == NULL)
        rc = fsp_err_set(err, FSP_ENOTFOUND,
                "there is no roster yet; 'farspool-office roster add KEY --from DAY --may "
                "inspect' begins one");
    if (rc == FSP_OK) {
        *out = newest;
        newest = NULL;
    }
    fsp_roster_free(newest);
    fsp_buf_fini(&note);
    return rc;
}

static enum fsp_rc
queue_note(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_env *env, const char *rig, const struct fsp_buf *note,
        struct fsp_err *err)
{
    struct fsp_instruct what = {.rig = rig,
            .about = FSP_ABOUT_ROSTER,
            .body = fsp_buf_peek(note),
            .body_len = note->len};

    return fsp_instruct_queue(shelf, keys, env, &what, NULL, err);
}

static enum fsp_rc
queue_for_all(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_env *env, const struct fsp_buf *note, struct fsp_err *err)
{
    char rig[FSP_NAME_MAX + 1] = "";
    enum fsp_rc rc = FSP_OK;

    while (rc == FSP_OK) {
        rc = shelf->ops->next_rig(shelf->ctx, rig, rig, err);
        if (rc == FSP_OK)
            rc = queue_note(shelf, keys, env, rig, note, err);
    }
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

enum fsp_rc
fsp_rosters_issue(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_env *env, struct fsp_roster *roster, const struct fsp_skey *signer,
        struct fsp_err *err)
{
    struct fsp_roster *newest = NULL;
    struct fsp_roster *again = NULL;
    struct fsp_buf text;
    struct fsp_buf note;
    enum fsp_rc rc = fsp_rosters_newest(shelf, keys, &newest, err);

    fsp_buf_init(&text, 4 * FSP_ROSTER_TEXT_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    if (rc == FSP_ENOTFOUND)
        rc = FSP_OK;
    if (rc != FSP_OK)
        goto out;
    roster->version = newest == NULL ? 1 : newest->version + 1;
    roster->made_s = env->utc_us(env->ctx) / FSP_US_PER_S;
    fsp_roster_write(roster, &text);
    rc = fsp_buf_check(&text, "a roster", err);
    if (rc == FSP_OK) /* what is signed is what everybody will read */
        rc = fsp_roster_parse(&again, fsp_buf_peek(&text), text.len, err);
    if (rc == FSP_OK)
        rc = fsp_note_sign(
                &note, text.data, text.len, signer == NULL ? keys->instructions : signer, err);
    if (rc == FSP_OK)
        rc = shelf->ops->add_roster(shelf->ctx, roster->version, roster->made_s, &note, err);
    if (rc == FSP_OK)
        rc = queue_for_all(shelf, keys, env, &note, err);
out:
    fsp_roster_free(again);
    fsp_roster_free(newest);
    fsp_buf_fini(&note);
    fsp_buf_fini(&text);
    return rc;
}

enum fsp_rc
fsp_rosters_send(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_env *env, const char *rig, struct fsp_err *err)
{
    struct fsp_buf note;
    enum fsp_rc rc;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = shelf->ops->roster(shelf->ctx, 0, &note, err);
    if (rc == FSP_OK)
        rc = queue_note(shelf, keys, env, rig, &note, err);
    else if (rc == FSP_ENOTFOUND)
        rc = FSP_OK;
    fsp_buf_fini(&note);
    return rc;
}
