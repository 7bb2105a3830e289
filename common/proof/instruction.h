/*
 * The office's word to a rig: a signed note by <fleet>/instructions with this text.
 *
 *     farspool-instruction/v1
 *     fleet <fleet>
 *     rig <rig>
 *     id <16 lower-case hex>                 random, born with it: how it is named and known again
 *     made <time>
 *     about roster|keys|program|message
 *                                            (empty line)
 *     <body, to the end, its last line ends in LF>
 *
 * Bodies: roster, the whole signed note of roster.h; keys, "cosigner <vkey>", "instructions
 * <vkey>", "box <base64>", "pin <base64>" lines, what comes new; program, the members of a `program`
 * record as one line of canonical JSON; message, text for the crew.
 * In the rig's log it is an `instruction` record: `bytes` the text, `sig` the 64-byte signature. The
 * note is rebuilt from them byte for byte.
 *
 * Whether fleet and rig are one's own, and whether its id is new, is for the caller to ask.
 *
 * Ownership: a parsed instruction borrows the bytes.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_EVERIFY.
 */
#ifndef FSP_PROOF_INSTRUCTION_H
#define FSP_PROOF_INSTRUCTION_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "base/limits.h"
#include "proof/key.h"
#include "proof/note.h"
#include "record/record.h"

#define FSP_INSTRUCTION_TEXT_MAX ((size_t)11000) /* as the field `bytes` of the kind */
#define FSP_INSTRUCTION_ID_LEN   8

enum fsp_instruction_about {
    FSP_ABOUT_ROSTER,
    FSP_ABOUT_KEYS,
    FSP_ABOUT_PROGRAM,
    FSP_ABOUT_MESSAGE,
    FSP_ABOUT_OTHER, /* a newer office's: kept, shown, not acted upon */
};

struct fsp_instruction {
    char fleet[FSP_NAME_MAX + 1];
    char rig[FSP_NAME_MAX + 1];
    uint8_t id[FSP_INSTRUCTION_ID_LEN];
    int64_t made_s;
    enum fsp_instruction_about about;
    const char *body; /* borrowed */
    size_t body_len;
    const char *text; /* all of it, what is signed; borrowed; set by reading, not looked at by
                         writing */
    size_t text_len;
    uint8_t sig[FSP_SIG_LEN]; /* set when it was read with its signature */
};

/* The text alone; verifies nothing. */
enum fsp_rc fsp_instruction_parse(struct fsp_instruction *out, const char *text, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_instruction_write(const struct fsp_instruction *instruction, struct fsp_buf *buf);
/* The signed note, appended. */
enum fsp_rc fsp_instruction_sign(struct fsp_buf *buf, const struct fsp_instruction *instruction,
        const struct fsp_skey *instructions, struct fsp_err *err) FSP_MUST_CHECK;
/* The signed note, verified by one of the keys, which must be its fleet's; text and sig are what a
 * record keeps. A line of any of the keys that does not hold spoils the note. */
enum fsp_rc fsp_instruction_read(struct fsp_instruction *out, const void *note, size_t len,
        const struct fsp_vkey *keys, size_t n_keys, struct fsp_err *err) FSP_MUST_CHECK;
/* An `instruction` record: its note into buf (which the instruction borrows), verified the same
 * way. */
enum fsp_rc fsp_instruction_of_record(struct fsp_instruction *out,
        const struct fsp_record *record, const struct fsp_vkey *keys, size_t n_keys,
        struct fsp_buf *buf, struct fsp_err *err) FSP_MUST_CHECK;
/* "roster", "keys", "program", "message", "other". Static. */
const char *fsp_instruction_about_text(enum fsp_instruction_about about);

#endif
