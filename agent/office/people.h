/*
 * Accounts of the office's people: roles, passwords, sessions, and the trail of who did what.
 *
 * Roles, each with what the one before may do:
 *   reader     sees every page and downloads every table
 *   engineer   acknowledges flags, writes instructions
 *   keeper     keeps accounts, invites and readmits rigs, confirms renewals
 *   auditor    sees every page, the trail, and downloads evidence; changes nothing (apart from the order)
 * A password is kept as Argon2id of libsodium (crypto_pwhash_str; passes and memory below). A session is
 * a random token; the desk keeps its SHA-256 only. Log-in is throttled by account and by address: after
 * FSP_LOGIN_FREE failures each further try waits twice as long as the one before, at most
 * FSP_LOGIN_WAIT_MAX_S; the count survives a restart. Wrong name and wrong password are told alike and
 * take the same work.
 *
 * Ownership: outputs are the caller's storage. Passwords and tokens are wiped by who holds them.
 * Units: seconds since 1970; the clock is passed in.
 * Threads: as the desk.
 * Errors: FSP_EVERIFY (wrong name or password, no such session, too few rights), FSP_EAGAIN (throttled:
 * *wait_s says how long), FSP_EINVAL, FSP_ENOTFOUND, those of store/db.h.
 * Source: RFC 9106 section 4, second recommended option (3 passes, 64 MiB).
 */
#ifndef FSP_OFFICE_PEOPLE_H
#define FSP_OFFICE_PEOPLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/clock.h"
#include "base/err.h"
#include "base/limits.h"
#include "office/desk.h"

#define FSP_PASSWORD_MIN      10  /* characters */
#define FSP_PASSWORD_MAX      256 /* bytes */
#define FSP_SESSION_TOKEN_LEN 43  /* base64url of 32 bytes, without padding */
#define FSP_SESSION_IDLE_S    (12 * 3600)
#define FSP_SESSION_MAX_S     (7 * 24 * 3600)
#define FSP_LOGIN_FREE        5
#define FSP_LOGIN_WAIT_MAX_S  900

enum fsp_role {
    FSP_ROLE_NONE = 0,
    FSP_ROLE_READER,
    FSP_ROLE_AUDITOR,
    FSP_ROLE_ENGINEER,
    FSP_ROLE_KEEPER,
};

/* What a request may ask for. */
enum fsp_right {
    FSP_RIGHT_READ = 0,
    FSP_RIGHT_EVIDENCE, /* download proofs, see the trail */
    FSP_RIGHT_ACKNOWLEDGE,
    FSP_RIGHT_INSTRUCT,
    FSP_RIGHT_KEEP,
};

/* Who looks at a page. */
struct fsp_viewer {
    bool open; /* no account exists: everybody reads, nobody changes anything */
    char name[FSP_NAME_MAX + 1]; /* "" when open */
    enum fsp_role role;
    char form_token[FSP_SESSION_TOKEN_LEN +
                    1]; /* for the hidden field of every form; bound to the session */
};

bool fsp_role_may(enum fsp_role role, enum fsp_right right);
/* "reader", "auditor", "engineer", "keeper". Static. */
const char *fsp_role_text(enum fsp_role role);
enum fsp_role fsp_role_of(const char *text); /* NONE for any other word */

#endif
