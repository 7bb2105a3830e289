/*
 * What an entry may be, found without parsing it: a register of a million entries holds few that an
 * auditor asks about, and only those are worth parsing.
 *
 * An entry that is canonical JSON shows its kind as "kind":"word". Whatever could hide one (an escape,
 * white space, a second member of that name) makes the answer FSP_GLANCE_UNSURE: parse it.
 *
 * Threads: pure.
 */
#ifndef FSP_RECORD_GLANCE_H
#define FSP_RECORD_GLANCE_H

#include <stddef.h>
#include <stdint.h>

enum fsp_glance {
    FSP_GLANCE_OTHER, /* of none of the kinds below */
    FSP_GLANCE_INSPECTION,
    FSP_GLANCE_COUNTERSIGN,
    FSP_GLANCE_AMEND,
    FSP_GLANCE_INSTRUCTION,
    FSP_GLANCE_UNSURE,
};

enum fsp_glance fsp_glance(const uint8_t *bytes, size_t len);

#endif
