/*
 * The office's word to its rigs: written, signed and queued here, sent by the intake behind a
 * receipt, known again in the rigs' logs.
 *
 * An instruction waits until an entry of the rig's log bears its text. What the office once sent and
 * lost (a shelf restored from yesterday) comes back with the rig's log: it is listed as `lost`.
 *
 * Ownership: lists are new/free; what is written goes into the caller's buffers.
 * Units: seconds since 1970.
 * Threads: as the shelf.
 * Errors: FSP_EINVAL (not to be signed), FSP_ENOTFOUND (no such rig), those of the shelf.
 */
#ifndef FSP_OFFICE_INSTRUCT_H
#define FSP_OFFICE_INSTRUCT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/clock.h"
#include "base/err.h"
#include "office/keys.h"
#include "office/shelf.h"
#include "proof/instruction.h"
#include "record/check.h"
#include "record/record.h"

#define FSP_MESSAGE_MAX ((size_t)4000) /* bytes of a message for the crew */

/* What a rig is to be told. */
struct fsp_instruct {
    const char *rig;
    enum fsp_instruction_about about;
    const char *body;
    size_t body_len;
    const struct fsp_skey *also; /* signs too, behind the instructions key; NULL */
    const uint8_t *id; /* FSP_INSTRUCTION_ID_LEN bytes it was shown with; NULL: a new one */
    int64_t made_s;    /* with id: the time it was shown with */
};

/* Bodies, appended to body (born with FSP_NOTE_MAX), checked as the rig will check them; FSP_EINVAL says
 * what to mend. text: lines for the crew. members: the fields of a `program` record without those that
 * the rig sets. */
#define FSP_INSTRUCT_FIELDS_MAX 64
enum fsp_rc fsp_instruct_message(
        const char *text, struct fsp_buf *body, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_instruct_program(const struct fsp_typed *members, size_t n, int64_t now_s,
        struct fsp_buf *body, struct fsp_err *err) FSP_MUST_CHECK;

/* The newest programme in the rig's logs as it was entered (by its time; amendments are not looked at),
 * and the newest one that was written to it. */
struct fsp_instruct_now {
    uint64_t programs;          /* entries */
    struct fsp_record *program; /* NULL: none yet */
    char origin[FSP_ORIGIN_MAX + 1];
    uint64_t index;
    int64_t at_s;
    bool written;
    uint8_t id[FSP_INSTRUCTION_ID_LEN];
    int64_t made_s;
};
/* Inside a transaction. Reads the rig's logs. */
enum fsp_rc fsp_instruct_now(struct fsp_shelf *shelf, const char *rig,
        struct fsp_instruct_now *now, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_instruct_now_fini(struct fsp_instruct_now *now);

/* W, inside a write transaction: sign it and put it at the end of the rig's. id: FSP_INSTRUCTION_ID_LEN
 * bytes, may be NULL. What has its id already and says the same is there already, and not put there
 * again; another text under that id is FSP_EINVAL. */
enum fsp_rc fsp_instruct_queue(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_env *env, const struct fsp_instruct *what, uint8_t *id,
        struct fsp_err *err) FSP_MUST_CHECK;

/* W, inside a write transaction: an entry came; when it is an instruction to this rig, remember
 * where. One that bears the id of another text is none. */
enum fsp_rc fsp_instruct_see(struct fsp_shelf *shelf, const struct fsp_shelf_log *log,
        uint64_t index, const struct fsp_entry_bytes *entry,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Frames of those that wait for the rig, within what one answer may carry, appended to out. newest:
 * as in struct fsp_shelf_wait. The current instructions key's line is added where it lacks: a rig
 * that was invited since knows no other. */
enum fsp_rc fsp_instruct_frames(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const char *rig, const uint8_t *newest, struct fsp_buf *out,
        struct fsp_err *err) FSP_MUST_CHECK;

/* The instruction in a rig's log at `place`, verified by any instructions key there was; it borrows note
 * (born with FSP_NOTE_MAX). FSP_EFORMAT when it is none of ours. */
enum fsp_rc fsp_instruct_at(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_shelf_instruction_place *place, struct fsp_instruction *out,
        struct fsp_buf *note, struct fsp_err *err) FSP_MUST_CHECK;

/* The signature line of a key behind those of a note. */
enum fsp_rc fsp_instruct_sign_too(
        struct fsp_buf *note, const struct fsp_skey *skey, struct fsp_err *err) FSP_MUST_CHECK;

/* Whether news of keys still waits for the rig: it may know only the older ones. */
enum fsp_rc fsp_instruct_keys_wait(struct fsp_shelf *shelf, const char *rig, bool *wait,
        struct fsp_err *err) FSP_MUST_CHECK;

enum fsp_instruct_state {
    FSP_INSTRUCT_WAITING,  /* in no log of the rig that is held here */
    FSP_INSTRUCT_IN_LOG,   /* the rig has it: entry `index` */
    FSP_INSTRUCT_ANSWERED, /* by entry `by_index`: a done, or the program it asked for */
};

struct fsp_instruct_item {
    bool lost; /* by our own key, but not on this shelf: it was sent before the shelf went back */
    enum fsp_instruct_state state;
    uint8_t id[FSP_INSTRUCTION_ID_LEN];
    enum fsp_instruction_about about;
    int64_t made_s;
    char *body; /* belongs to the list */
    size_t body_len;
    char origin[FSP_ORIGIN_MAX + 1]; /* of the log that holds it */
    uint64_t index;
    char by_origin[FSP_ORIGIN_MAX + 1];
    uint64_t by_index;
    bool by_program; /* answered by a program that names it */
    char *answer;    /* of the done; NULL without one; belongs to the list */
    uint8_t leaf[FSP_HASH_LEN];
};

struct fsp_instruct_list {
    struct fsp_instruct_item *items; /* as they were written; lost ones behind */
    size_t n;
    size_t cap;
};

/* Everything that was ever written to the rig, inside a transaction. Reads the rig's logs. */
enum fsp_rc fsp_instruct_list(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const char *rig, struct fsp_instruct_list *list, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_instruct_list_free(struct fsp_instruct_list *list);
/* "waiting", "in the rig's log", "answered". Static. */
const char *fsp_instruct_state_text(enum fsp_instruct_state state);

#endif
