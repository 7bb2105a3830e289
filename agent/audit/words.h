/*
 * What an entry may be, found without parsing it: a register of a million entries holds few that an
 * auditor asks about, and only those are worth parsing.
 *
 * An entry that is canonical JSON shows its kind as "kind":"word". Whatever could hide one (an escape,
 * white space, a second member of that name) makes the answer FSP_WORD_UNSURE: parse it.
 *
 * Threads: pure.
 */
#ifndef FSP_AUDIT_WORDS_H
#define FSP_AUDIT_WORDS_H

#include <stddef.h>
#include <stdint.h>

enum fsp_word {
    FSP_WORD_OTHER, /* of none of the kinds below */
    FSP_WORD_INSPECTION,
    FSP_WORD_COUNTERSIGN,
    FSP_WORD_AMEND,
    FSP_WORD_INSTRUCTION,
    FSP_WORD_UNSURE,
};

enum fsp_word fsp_word_of(const uint8_t *bytes, size_t len);

#endif
