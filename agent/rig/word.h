/*
 * The office's word in the rig's log: instructions taken from answers, once each, whether they are
 * answered, and what they ask for.
 *
 * An instruction is verified on its own (key, fleet, rig, form) and appended as an `instruction`
 * entry; one that does not hold is ignored. Which entries are instructions is remembered in the
 * transaction that appends them, so that nothing here reads the log from its beginning.
 *
 * Ownership: a shown instruction borrows from the caller's buffer.
 * Threads: as the journal.
 * Errors: those of the journal. A bad instruction is an outcome, never an error.
 */
#ifndef FSP_RIG_WORD_H
#define FSP_RIG_WORD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "proof/instruction.h"
#include "rig/journal.h"

enum fsp_word_outcome {
    FSP_WORD_TAKEN,   /* it is an entry of the log now */
    FSP_WORD_KNOWN,   /* it was one */
    FSP_WORD_IGNORED, /* not for us, not by our office, or no entry may be added: why says so */
};

struct fsp_word {
    enum fsp_word_outcome outcome;
    enum fsp_instruction_about about; /* taken or known */
    uint64_t index;                   /* taken: the entry */
    char why[256];                    /* ignored */
};

/* A signed note as an answer brought it. */
enum fsp_rc fsp_word_take(struct fsp_journal *journal, const void *note, size_t len,
        struct fsp_word *out, struct fsp_err *err) FSP_MUST_CHECK;

/* The id of the newest instruction in the log, for a bundle's header; false: there is none. */
enum fsp_rc fsp_word_newest(struct fsp_journal *journal, uint8_t id[FSP_INSTRUCTION_ID_LEN],
        bool *found, struct fsp_err *err) FSP_MUST_CHECK;

/* An instruction of the log. */
struct fsp_word_entry {
    int64_t ordinal; /* of its log in the chain */
    uint64_t index;
    char origin[FSP_ORIGIN_MAX + 1];
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_instruction instruction; /* borrows from the buffer */
    bool waits;                         /* somebody of the crew should answer it */
    bool answered;
    char by_origin[FSP_ORIGIN_MAX + 1];
    uint64_t by_index;
};
/* The one behind entry (all zero with ordinal -1: the first of all), in the order of the log; buf
 * holds its note. FSP_ENOTFOUND at the end. */
enum fsp_rc fsp_word_next(struct fsp_journal *journal, struct fsp_word_entry *entry,
        struct fsp_buf *buf, struct fsp_err *err) FSP_MUST_CHECK;

/* How a record of the current log names it: its number, or {index,leaf,log} when it stands in an
 * older log. */
void fsp_word_name(const struct fsp_journal *journal, const struct fsp_word_entry *entry,
        struct fsp_buf *out);

/* The command that enters the program an instruction asks for, ready to be run in a shell; name is
 * the instruction's. */
enum fsp_rc fsp_word_program_command(const struct fsp_instruction *instruction,
        const char *name, struct fsp_buf *out, struct fsp_err *err) FSP_MUST_CHECK;
/* The command that answers it. */
void fsp_word_done_command(const char *name, struct fsp_buf *out);

#endif
