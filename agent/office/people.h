/*
 * Accounts of the office's people: roles, passwords, sessions, and the trail of who did what.
 *
 * Roles and what they may do:
 *   reader     sees every page and downloads every table
 *   auditor    that, and downloads evidence and sees the trail; changes nothing
 *   engineer   that of the reader, downloads evidence, acknowledges flags, writes instructions
 *   keeper     everything: keeps accounts, sees the trail
 * A password is kept as Argon2id (proof/password.h). A session is a random token; the desk keeps its
 * SHA-256 only. It ends FSP_SESSION_IDLE_S after it was last used, FSP_SESSION_MAX_S after it began,
 * with a log-out, and when the account's password or role changes or it is closed.
 *
 * Throttle. A try is counted before its password is checked, so that tries side by side cannot get
 * past it. After FSP_LOGIN_FREE failures for a name (FSP_LOGIN_FREE_ADDRESS from an address) each
 * further try waits twice as long as the one before, at most FSP_LOGIN_WAIT_MAX_S, and is refused
 * without work meanwhile; the count survives a restart and is forgotten FSP_LOGIN_FORGET_S after the
 * last failure. So that nobody can be locked out by others: whoever logged in once gets a token for the
 * browser, and with it the account is counted apart from the tries of the rest of the world. A new
 * password by a keeper forgets the count. Wrong name and wrong password are told alike and take the
 * same work.
 *
 * The trail can be added to, never changed. Refused log-ins are written at the first failure and
 * whenever their number doubles, at most FSP_TRAIL_REFUSALS a day; a name that is not an account is
 * never written, since it may be a password typed in the wrong place.
 *
 * Ownership: outputs are the caller's storage. Passwords and tokens are wiped by who holds them.
 * Units: seconds since 1970; the clock is passed in.
 * Threads: as the desk. fsp_people_try and fsp_people_tried use it, the check between them does not.
 * Errors: FSP_EVERIFY (wrong name or password, no such session, too few rights), FSP_EAGAIN (throttled:
 * *wait_s says how long), FSP_EINVAL, FSP_ENOTFOUND, those of store/db.h.
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
#include "proof/password.h"

#define FSP_SESSION_TOKEN_LEN  FSP_TOKEN_TEXT_LEN
#define FSP_SESSION_IDLE_S     (INT64_C(12) * 3600)
#define FSP_SESSION_MAX_S      (INT64_C(7) * 24 * 3600)
#define FSP_SESSION_SEEN_S     300 /* how exactly the last use is kept */
#define FSP_SESSIONS_MAX       20  /* of one account; the oldest ends */
#define FSP_BROWSERS_MAX       20  /* known ones of one account; the oldest is forgotten */
#define FSP_BROWSER_MAX_S      (INT64_C(400) * 24 * 3600)
#define FSP_LOGIN_FREE         5
#define FSP_LOGIN_FREE_ADDRESS 20
#define FSP_LOGIN_WAIT_MAX_S   900
#define FSP_LOGIN_FORGET_S     (INT64_C(24) * 3600)
#define FSP_LOGIN_ROWS_MAX     20000 /* names and addresses counted; the oldest are forgotten */
#define FSP_TRAIL_REFUSALS     100   /* lines a day */
#define FSP_TRAIL_WHAT_MAX     600   /* bytes of a line */
#define FSP_CLIENT_NAME_MAX    64

enum fsp_role {
    FSP_ROLE_NONE = 0,
    FSP_ROLE_READER,
    FSP_ROLE_AUDITOR,
    FSP_ROLE_ENGINEER,
    FSP_ROLE_KEEPER,
};
#define FSP_ROLES 4

/* What a request may ask for. */
enum fsp_right {
    FSP_RIGHT_READ = 0,
    FSP_RIGHT_EVIDENCE, /* download proofs */
    FSP_RIGHT_TRAIL,    /* see the trail */
    FSP_RIGHT_ACKNOWLEDGE,
    FSP_RIGHT_INSTRUCT,
    FSP_RIGHT_KEEP,
};

/* Who looks at a page. */
struct fsp_viewer {
    bool open; /* no account exists: everybody reads, nobody changes anything */
    char name[FSP_NAME_MAX + 1]; /* "" when open */
    enum fsp_role role;
    /* For the hidden field of every form; bound to the session, written differently each time. */
    char form_token[FSP_SESSION_TOKEN_LEN + 1];
};

bool fsp_role_may(enum fsp_role role, enum fsp_right right);
/* "reader", "auditor", "engineer", "keeper". Static. */
const char *fsp_role_text(enum fsp_role role);
enum fsp_role fsp_role_of(const char *text); /* NONE for any other word */

/* --- accounts -------------------------------------------------------------------------------- */

struct fsp_account {
    char name[FSP_NAME_MAX + 1];
    enum fsp_role role;
    int64_t made_s;
    int64_t closed_s; /* 0: open */
    int64_t seen_s;   /* of its newest session; 0: none is open */
};

/* Whether there is an account, a closed one included: then pages ask for a log-in. */
enum fsp_rc fsp_people_any(
        struct fsp_desk *desk, bool *any, struct fsp_err *err) FSP_MUST_CHECK;
/* The account; FSP_ENOTFOUND. */
enum fsp_rc fsp_people_find(struct fsp_desk *desk, const char *name, struct fsp_account *out,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The account behind that name; "" begins. FSP_ENOTFOUND at the end. */
enum fsp_rc fsp_people_next(struct fsp_desk *desk, const char *after, struct fsp_account *out,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Who changes an account, and when; goes into the trail with the change or not at all. */
struct fsp_by {
    const char *name; /* an account's, or "command" */
    int64_t now_s;
};
/* A name is as a rig's; one that was closed is not given again. Hashes (a tenth of a second). */
enum fsp_rc fsp_people_add(struct fsp_desk *desk, const struct fsp_by *by, const char *name,
        enum fsp_role role, const char *password, struct fsp_err *err) FSP_MUST_CHECK;
/* The same with a password of fsp_password_hash(), so that the desk need not wait for it. */
enum fsp_rc fsp_people_add_stored(struct fsp_desk *desk, const struct fsp_by *by,
        const char *name, enum fsp_role role, const char *stored,
        struct fsp_err *err) FSP_MUST_CHECK;
/* These end the account's sessions. */
enum fsp_rc fsp_people_set_role(struct fsp_desk *desk, const struct fsp_by *by,
        const char *name, enum fsp_role role, struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_people_close(struct fsp_desk *desk, const struct fsp_by *by, const char *name,
        struct fsp_err *err) FSP_MUST_CHECK;
/* `stored`: of fsp_password_hash(), so that the desk need not wait for it. Forgets what was counted
 * against the account, and the browsers that were known. */
enum fsp_rc fsp_people_set_password(struct fsp_desk *desk, const struct fsp_by *by,
        const char *name, const char *stored, struct fsp_err *err) FSP_MUST_CHECK;

/* --- log-in ---------------------------------------------------------------------------------- */

/* One try. The first four are the caller's; the rest is for fsp_people_tried(). */
struct fsp_login {
    const char *name;    /* as typed */
    const char *client;  /* address as text */
    const char *browser; /* token of an earlier log-in, NULL */
    int64_t now_s;
    bool known;  /* the browser belongs to that account */
    bool exists; /* such an account, and it is open */
    char stored[FSP_PASSWORD_STORED];
    char keys[2][FSP_NAME_MAX + FSP_CLIENT_NAME_MAX + 8]; /* what it is counted under */
};

/* Tokens of a log-in that was good. */
struct fsp_login_tokens {
    char session[FSP_TOKEN_TEXT_LEN + 1];
    char browser[FSP_TOKEN_TEXT_LEN + 1]; /* "" when the old one stays good */
};

/* Count the try, and say what to check the password against: login->stored, or NULL unless
 * login->exists. FSP_EAGAIN: throttled, *wait_s > 0, nothing was counted. */
enum fsp_rc fsp_people_try(struct fsp_desk *desk, struct fsp_login *login, int64_t *wait_s,
        struct fsp_err *err) FSP_MUST_CHECK;
/* How the check ended. Good: begins a session, forgets the count, FSP_OK. Else FSP_EVERIFY. */
enum fsp_rc fsp_people_tried(struct fsp_desk *desk, const struct fsp_login *login, bool good,
        const struct fsp_env *env, struct fsp_login_tokens *tokens,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The password of a viewer asked for again. Counted and throttled as a log-in; begins no session. */
enum fsp_rc fsp_people_tried_again(struct fsp_desk *desk, const struct fsp_login *login,
        bool good, struct fsp_err *err) FSP_MUST_CHECK;

/* Who the session's token belongs to; FSP_EVERIFY when there is no such session, or not any more. */
enum fsp_rc fsp_people_viewer(struct fsp_desk *desk, const char *token, int64_t now_s,
        const struct fsp_env *env, struct fsp_viewer *viewer,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Whether a form's token was made for this session. */
bool fsp_people_form_good(const struct fsp_viewer *viewer, const char *sent);
enum fsp_rc fsp_people_log_out(struct fsp_desk *desk, const char *token, int64_t now_s,
        struct fsp_err *err) FSP_MUST_CHECK;

/* --- trail ----------------------------------------------------------------------------------- */

struct fsp_trail_line {
    int64_t id;
    int64_t at_s;
    char by[FSP_NAME_MAX + 1]; /* "": nobody who is known */
    char did[32];
    char what[FSP_TRAIL_WHAT_MAX + 1];
};

enum fsp_rc fsp_people_trail_add(struct fsp_desk *desk, const struct fsp_by *by,
        const char *did, const char *what, struct fsp_err *err) FSP_MUST_CHECK;
/* The newest line older than `before` (0: the newest of all); FSP_ENOTFOUND. */
enum fsp_rc fsp_people_trail_next(struct fsp_desk *desk, int64_t before,
        struct fsp_trail_line *out, struct fsp_err *err) FSP_MUST_CHECK;

#endif
