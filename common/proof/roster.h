/*
 * The roster: who may inspect and countersign in a fleet, from when to when. A signed note by
 * <fleet>/instructions; docs/formats.md has its text:
 *
 *     farspool-roster/v1
 *     fleet <fleet>
 *     version <n>                              rises by 1 with every roster, from 1
 *     made <time>
 *     signer <verifier key> <from> <to>|- <may> [revoked <time>]       one line a key
 *
 * A signer's key is named <fleet>/signer:<name>, type 0x01; one name may have several keys, one
 * after the other. from and to are days in UTC, both included. may: inspect, countersign, or both
 * joined by a comma.
 *
 * Ownership: new/free; lookups are peeks into the roster.
 * Units: seconds since 1970.
 * Threads: read-only after it was read.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_EVERIFY (the note is not by that key), FSP_ENOMEM.
 */
#ifndef FSP_PROOF_ROSTER_H
#define FSP_PROOF_ROSTER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "base/limits.h"
#include "proof/key.h"
#include "record/sigstate.h"

#define FSP_ROSTER_SIGNERS_MAX 64
#define FSP_ROSTER_TEXT_MAX    ((size_t)10 * 1024) /* fits into an instruction's entry */

enum fsp_roster_may {
    FSP_MAY_INSPECT = 1,
    FSP_MAY_COUNTERSIGN = 2,
};

struct fsp_roster_signer {
    struct fsp_vkey vkey;
    const char *name; /* the part of vkey.name behind "signer:" */
    int64_t from_s;   /* included */
    int64_t until_s;  /* not included; INT64_MAX: open */
    unsigned may;     /* FSP_MAY_* */
    bool revoked;
    int64_t revoked_s;
};

struct fsp_roster {
    char fleet[FSP_NAME_MAX + 1];
    uint64_t version;
    int64_t made_s;
    struct fsp_roster_signer signer[FSP_ROSTER_SIGNERS_MAX];
    size_t n;
};

/* The text, not the note around it. */
enum fsp_rc fsp_roster_parse(struct fsp_roster **out, const char *text, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_roster_free(struct fsp_roster *roster);
void fsp_roster_write(const struct fsp_roster *roster, struct fsp_buf *buf);
/* The whole signed note, verified with the office's instructions key (name and fleet must fit). */
enum fsp_rc fsp_roster_read(struct fsp_roster **out, const void *note, size_t len,
        const struct fsp_vkey *instructions, struct fsp_err *err) FSP_MUST_CHECK;

/* The key name of a signer into out (FSP_KEY_NAME_MAX + 1); name: 1 to 63 of a-z, 0-9 and inner -. */
enum fsp_rc fsp_signer_key_name(
        const char *fleet, const char *name, char *out, struct fsp_err *err) FSP_MUST_CHECK;
/* The other way: the fleet into fleet (FSP_NAME_MAX + 1), *name points into the key's name. False
 * when it is no signer's key. */
bool fsp_signer_key_parts(const struct fsp_vkey *vkey, char *fleet, const char **name);

/* What somebody signed, and when it is said to have been. */
struct fsp_signed {
    const char *name; /* the signer, as the record says */
    unsigned may;     /* what is needed: one of FSP_MAY_* */
    int64_t at_s;     /* the record's `at` */
    int64_t noted_s;  /* its `noted`; at_s when it has none */
    const void *message;
    size_t len;
    const uint8_t *sig; /* FSP_SIG_LEN bytes */
};

/* roster NULL: none is known. *who (may be NULL): the line that decided, NULL when none did. */
enum fsp_sig_state fsp_roster_judge(const struct fsp_roster *roster,
        const struct fsp_signed *what, const struct fsp_roster_signer **who);

#endif
