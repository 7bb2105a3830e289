/*
 * The office's answers, over HTTP and in a .receipt file.
 *
 * 200: a signed note, the rig's head with its own signature line and the office's cosignature
 *      line: the receipt.
 * 409, 422: a note signed by the instructions key, whose text is
 *     farspool-answer/v1
 *     status 409
 *     bundle <lower-case hex SHA-256 of the whole bundle>
 *     origin <origin>
 *     size <entries the office holds of it>
 *     [differs <first index whose leaf differs>]
 *     [renewed <verifier key of the log that continues it>]     422: closed, nothing is added to it
 *     [renewal <size> <base64 root> [<base64 proof>]]           what it continues, and its proof
 *     <empty line>, then the rig's own signed head that the office holds (when it holds one)
 * A .receipt file: "farspool-answers/v1" LF, then frames: per answer "answer <status> <bytes>" LF,
 * bytes; behind a 200 the instructions that came with it, each "instruction <bytes>" LF, a signed
 * note (proof/instruction.h), and "knows <bytes>" LF, what the office knows beyond what every office
 * does. Over HTTP a 200 is the receipt alone, or such a file with one answer when more is to be said,
 * or the cosignatures' lines alone when the bundle asked for that and its own head is the one cosigned.
 *
 * Ownership: parsed answers borrow the bytes.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_EVERIFY.
 */
#ifndef FSP_WIRE_ANSWER_H
#define FSP_WIRE_ANSWER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "proof/key.h"
#include "proof/note.h"
#include "proof/renewal.h"

#define FSP_ANSWER_TAKEN   200
#define FSP_ANSWER_REFUSED 403 /* unsigned: unknown rig, other key, bad signature */
#define FSP_ANSWER_GAP     409 /* old size above the office's */
#define FSP_ANSWER_FORK    422 /* a leaf or root differs */

struct fsp_refusal {
    int status;
    uint8_t bundle[32]; /* SHA-256 of the bundle answered */
    char origin[FSP_ORIGIN_MAX + 1];
    uint64_t size;
    bool has_differs;
    uint64_t differs;
    bool has_renewed;           /* the log is closed: another one continues it */
    struct fsp_vkey renewed;    /* that log */
    struct fsp_renewal renewal; /* from where and by whose word; verified by nobody yet */
    const char *held;           /* the rig's signed head held, or NULL; borrowed */
    size_t held_len;
};

enum fsp_rc fsp_refusal_sign(struct fsp_buf *buf, const struct fsp_refusal *refusal,
        const struct fsp_skey *instructions, struct fsp_err *err) FSP_MUST_CHECK;
/* Parse and verify against the instructions key. */
enum fsp_rc fsp_refusal_read(struct fsp_refusal *refusal, const void *bytes, size_t len,
        const struct fsp_vkey *instructions, struct fsp_err *err) FSP_MUST_CHECK;

/* What one answer carries of instructions at most: it stays under the 64 KiB that a rig reads. */
#define FSP_ANSWER_INSTRUCTIONS      8
#define FSP_ANSWER_INSTRUCTION_BYTES ((size_t)48 * 1024)
#define FSP_ANSWER_MAX               (FSP_NOTE_MAX + FSP_ANSWER_INSTRUCTION_BYTES + 1024)

/* Frames of a .receipt file. */
void fsp_answers_begin(struct fsp_buf *buf);
void fsp_answers_add(struct fsp_buf *buf, int status, const void *bytes, size_t len);
void fsp_answers_add_instruction(struct fsp_buf *buf, const void *note, size_t len);
/* An answer as it goes over HTTP: its frames, when it is such a file itself. */
void fsp_answers_add_whole(struct fsp_buf *buf, int status, const void *bytes, size_t len);
/* Whether the bytes begin as such a file does; a note never does. */
bool fsp_answers_are(const void *bytes, size_t len);

/* What an office knows beyond version 1 of everything. */
struct fsp_office_knows {
    unsigned dictionary; /* the newest; it knows all from 1 to it */
    bool short_receipt;  /* answers with the cosignatures' lines alone when it is asked to */
};
/* A frame with what this program knows. */
void fsp_answers_add_knows(struct fsp_buf *buf);
/* What a file of answers says of it last; false when it says nothing that reads. */
bool fsp_answers_knows(const void *bytes, size_t len, struct fsp_office_knows *out);

/* Whether the bytes begin as the signature lines of a note do: as no note and no file does. */
bool fsp_cosignatures_are(const void *bytes, size_t len);

enum fsp_frame_kind {
    FSP_FRAME_UNKNOWN, /* of a later version; never handed out */
    FSP_FRAME_ANSWER,
    FSP_FRAME_INSTRUCTION,
};
struct fsp_answers_frame {
    enum fsp_frame_kind kind;
    int status;           /* of an answer */
    const uint8_t *bytes; /* borrowed from the file */
    size_t len;
};
struct fsp_answers_cursor {
    const uint8_t *bytes;
    size_t len;
    size_t pos;
};
enum fsp_rc fsp_answers_open(struct fsp_answers_cursor *cursor, const void *bytes, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Frames of unknown words are passed over. FSP_ENOTFOUND at the end. */
enum fsp_rc fsp_answers_next(struct fsp_answers_cursor *cursor, struct fsp_answers_frame *frame,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
