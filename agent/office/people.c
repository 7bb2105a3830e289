/* Accounts, sessions and the trail. Log-ins and their throttle: people_login.c. */
#include "office/people.h"

#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "office/people_priv.h"

#define HALF (FSP_TOKEN_BYTES / 2)

static const char *const role_texts[] = {"", "reader", "auditor", "engineer", "keeper"};

bool
fsp_role_may(enum fsp_role role, enum fsp_right right)
{
    switch (right) {
    case FSP_RIGHT_READ:
        return role != FSP_ROLE_NONE;
    case FSP_RIGHT_EVIDENCE:
        return role == FSP_ROLE_AUDITOR || role == FSP_ROLE_ENGINEER || role == FSP_ROLE_KEEPER;
    case FSP_RIGHT_TRAIL:
        return role == FSP_ROLE_AUDITOR || role == FSP_ROLE_KEEPER;
    case FSP_RIGHT_ACKNOWLEDGE:
    case FSP_RIGHT_INSTRUCT:
        return role == FSP_ROLE_ENGINEER || role == FSP_ROLE_KEEPER;
    case FSP_RIGHT_KEEP:
        break;
    }
    return role == FSP_ROLE_KEEPER;
}

const char *
fsp_role_text(enum fsp_role role)
{
    return role_texts[role];
}

enum fsp_role
fsp_role_of(const char *text)
{
    for (int role = FSP_ROLE_READER; role <= FSP_ROLE_KEEPER; role++)
        if (strcmp(role_texts[role], text) == 0)
            return (enum fsp_role)role;
    return FSP_ROLE_NONE;
}

/* --- statements ------------------------------------------------------------------------------- */

void
fsp_people_copy(char *out, size_t size, const char *text)
{
    const size_t len = text == NULL ? 0 : strnlen(text, size - 1);

    if (len > 0)
        memcpy(out, text, len);
    out[len] = '\0';
}

enum fsp_rc
fsp_people_run(struct fsp_desk *desk, const char *sql, const char *text, int64_t number,
        struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(fsp_desk_db(desk), sql, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, text);
    fsp_stmt_bind_int(stmt, 2, number);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_people_any(struct fsp_desk *desk, bool *any, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc =
            fsp_stmt_get(fsp_desk_db(desk), "SELECT 1 FROM account LIMIT 1", &stmt, err);

    *any = false;
    if (rc == FSP_OK)
        rc = fsp_stmt_step(stmt, any, err);
    if (rc == FSP_OK && *any)
        fsp_stmt_reset(stmt);
    return rc;
}

#define ACCOUNT                                                                                \
    "SELECT name, role, made_s, closed_s,"                                                     \
    " (SELECT max(seen_s) FROM session WHERE account = name) FROM account"

static enum fsp_rc
read_account(struct fsp_desk *desk, const char *sql, const char *name, struct fsp_account *out,
        struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(fsp_desk_db(desk), sql, &stmt, err);
    struct fsp_account account;

    memset(&account, 0, sizeof(account));
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, name);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "no such account");
    if (rc != FSP_OK)
        return rc;
    fsp_people_copy(account.name, sizeof(account.name), fsp_stmt_text(stmt, 0));
    account.role = fsp_role_of(fsp_stmt_text(stmt, 1));
    account.made_s = fsp_stmt_int(stmt, 2);
    account.closed_s = fsp_stmt_int(stmt, 3);
    account.seen_s = fsp_stmt_int(stmt, 4);
    fsp_stmt_reset(stmt);
    *out = account;
    return FSP_OK;
}

enum fsp_rc
fsp_people_find(
        struct fsp_desk *desk, const char *name, struct fsp_account *out, struct fsp_err *err)
{
    return read_account(desk, ACCOUNT " WHERE name = ?1", name, out, err);
}

enum fsp_rc
fsp_people_next(
        struct fsp_desk *desk, const char *after, struct fsp_account *out, struct fsp_err *err)
{
    return read_account(
            desk, ACCOUNT " WHERE name > ?1 ORDER BY name LIMIT 1", after, out, err);
}

/* --- the trail -------------------------------------------------------------------------------- */

enum fsp_rc
fsp_people_trail_add(struct fsp_desk *desk, const struct fsp_by *by, const char *did,
        const char *what, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    char cut[FSP_TRAIL_WHAT_MAX + 1];
    enum fsp_rc rc = fsp_stmt_get(fsp_desk_db(desk),
            "INSERT INTO trail(at_s, by, did, what) VALUES(?1, ?2, ?3, ?4)", &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_people_copy(cut, sizeof(cut), what);
    for (size_t len = strlen(cut); len > 0 && !fsp_text_printable(cut, len);
            len = strlen(cut)) {
        if (strlen(what) == len)
            return fsp_err_set(err, FSP_EINVAL, "a line of the trail must be printable");
        cut[len - 1] = '\0'; /* it was cut within a character */
    }
    fsp_stmt_bind_int(stmt, 1, by->now_s);
    fsp_stmt_bind_text(stmt, 2, by->name);
    fsp_stmt_bind_text(stmt, 3, did);
    fsp_stmt_bind_text(stmt, 4, cut);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_people_trail_next(
        struct fsp_desk *desk, int64_t before, struct fsp_trail_line *out, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(fsp_desk_db(desk),
            "SELECT id, at_s, by, did, what FROM trail WHERE id < ?1 ORDER BY id DESC LIMIT 1",
            &stmt, err);

    memset(out, 0, sizeof(*out));
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, before > 0 ? before : INT64_MAX);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "the trail goes no further");
    if (rc != FSP_OK)
        return rc;
    out->id = fsp_stmt_int(stmt, 0);
    out->at_s = fsp_stmt_int(stmt, 1);
    fsp_people_copy(out->by, sizeof(out->by), fsp_stmt_text(stmt, 2));
    fsp_people_copy(out->did, sizeof(out->did), fsp_stmt_text(stmt, 3));
    fsp_people_copy(out->what, sizeof(out->what), fsp_stmt_text(stmt, 4));
    fsp_stmt_reset(stmt);
    return FSP_OK;
}

/* --- changes of accounts ---------------------------------------------------------------------- */

/* Begin a change of an open account, `name`. */
static enum fsp_rc
begin_change(struct fsp_desk *desk, const char *name, struct fsp_account *account,
        struct fsp_err *err)
{
    enum fsp_rc rc = fsp_db_begin(fsp_desk_db(desk), err);

    if (rc != FSP_OK)
        return rc;
    rc = fsp_people_find(desk, name, account, err);
    if (rc == FSP_ENOTFOUND)
        rc = fsp_err_set(err, FSP_ENOTFOUND,
                "%s: no such account; farspool-office user list shows them", name);
    if (rc == FSP_OK && account->closed_s != 0)
        rc = fsp_err_set(err, FSP_EINVAL, "%s: this account was closed", name);
    return rc;
}

/* The trail's line, then all or nothing. */
static enum fsp_rc
end_change(struct fsp_desk *desk, enum fsp_rc rc, const struct fsp_by *by, const char *did,
        const char *what, struct fsp_err *err)
{
    if (rc == FSP_OK)
        rc = fsp_people_trail_add(desk, by, did, what, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(fsp_desk_db(desk), err);
    if (rc != FSP_OK)
        fsp_db_rollback(fsp_desk_db(desk));
    return rc;
}

static enum fsp_rc
end_sessions(struct fsp_desk *desk, const char *name, struct fsp_err *err)
{
    return fsp_people_run(
            desk, "DELETE FROM session WHERE account = ?1 AND ?2 = 0", name, 0, err);
}

static enum fsp_rc
check_new(const char *name, enum fsp_role role, struct fsp_err *err)
{
    if (!fsp_text_name(name) || strcmp(name, "command") == 0)
        return fsp_err_set(err, FSP_EINVAL,
                "'%.60s': an account's name is of a-z, 0-9 and inner hyphens, and not "
                "'command'",
                name);
    if (role == FSP_ROLE_NONE)
        return fsp_err_set(err, FSP_EINVAL, "a role is reader, auditor, engineer or keeper");
    return FSP_OK;
}

enum fsp_rc
fsp_people_add_stored(struct fsp_desk *desk, const struct fsp_by *by, const char *name,
        enum fsp_role role, const char *stored, struct fsp_err *err)
{
    char what[2 * FSP_NAME_MAX];
    struct fsp_account account;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = check_new(name, role, err);

    if (rc == FSP_OK)
        rc = fsp_db_begin(fsp_desk_db(desk), err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_people_find(desk, name, &account, err);
    if (rc == FSP_OK)
        rc = fsp_err_set(err, FSP_EINVAL,
                account.closed_s != 0
                        ? "%s: an account of this name was closed; the trail knows "
                          "it, so take another name"
                        : "%s: there is an account of this name",
                name);
    else if (rc == FSP_ENOTFOUND)
        rc = fsp_stmt_get(fsp_desk_db(desk),
                "INSERT INTO account(name, role, password, made_s) VALUES(?1, ?2, ?3, ?4)",
                &stmt, err);
    if (rc == FSP_OK) {
        fsp_stmt_bind_text(stmt, 1, name);
        fsp_stmt_bind_text(stmt, 2, fsp_role_text(role));
        fsp_stmt_bind_text(stmt, 3, stored);
        fsp_stmt_bind_int(stmt, 4, by->now_s);
        rc = fsp_stmt_run(stmt, err);
    }
    (void)snprintf(what, sizeof(what), "%s as %s", name, fsp_role_text(role));
    return end_change(desk, rc, by, "account added", what, err);
}

enum fsp_rc
fsp_people_add(struct fsp_desk *desk, const struct fsp_by *by, const char *name,
        enum fsp_role role, const char *password, struct fsp_err *err)
{
    char stored[FSP_PASSWORD_STORED];
    enum fsp_rc rc = check_new(name, role, err);

    if (rc == FSP_OK)
        rc = fsp_password_hash(password, stored, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_people_add_stored(desk, by, name, role, stored, err);
    fsp_secret_wipe(stored, sizeof(stored));
    return rc;
}

enum fsp_rc
fsp_people_set_role(struct fsp_desk *desk, const struct fsp_by *by, const char *name,
        enum fsp_role role, struct fsp_err *err)
{
    struct fsp_account account = {.role = FSP_ROLE_NONE};
    struct fsp_stmt *stmt = NULL;
    char what[2 * FSP_NAME_MAX];
    enum fsp_rc rc;

    if (role == FSP_ROLE_NONE)
        return fsp_err_set(err, FSP_EINVAL, "a role is reader, auditor, engineer or keeper");
    rc = begin_change(desk, name, &account, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(
                fsp_desk_db(desk), "UPDATE account SET role = ?2 WHERE name = ?1", &stmt, err);
    if (rc == FSP_OK) {
        fsp_stmt_bind_text(stmt, 1, name);
        fsp_stmt_bind_text(stmt, 2, fsp_role_text(role));
        rc = fsp_stmt_run(stmt, err);
    }
    if (rc == FSP_OK)
        rc = end_sessions(desk, name, err);
    (void)snprintf(what, sizeof(what), "%s from %s to %s", account.name,
            fsp_role_text(account.role), fsp_role_text(role));
    return end_change(desk, rc, by, "role changed", what, err);
}

enum fsp_rc
fsp_people_close(
        struct fsp_desk *desk, const struct fsp_by *by, const char *name, struct fsp_err *err)
{
    struct fsp_account account = {.role = FSP_ROLE_NONE};
    enum fsp_rc rc = begin_change(desk, name, &account, err);

    if (rc == FSP_OK)
        rc = fsp_people_run(desk, "UPDATE account SET closed_s = ?2 WHERE name = ?1", name,
                by->now_s > 0 ? by->now_s : 1, err);
    if (rc == FSP_OK)
        rc = end_sessions(desk, name, err);
    return end_change(desk, rc, by, "account closed", account.name, err);
}

enum fsp_rc
fsp_people_set_password(struct fsp_desk *desk, const struct fsp_by *by, const char *name,
        const char *stored, struct fsp_err *err)
{
    struct fsp_account account = {.role = FSP_ROLE_NONE};
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = begin_change(desk, name, &account, err);

    if (rc == FSP_OK)
        rc = fsp_stmt_get(fsp_desk_db(desk), "UPDATE account SET password = ?2 WHERE name = ?1",
                &stmt, err);
    if (rc == FSP_OK) {
        fsp_stmt_bind_text(stmt, 1, name);
        fsp_stmt_bind_text(stmt, 2, stored);
        rc = fsp_stmt_run(stmt, err);
    }
    if (rc == FSP_OK)
        rc = end_sessions(desk, name, err);
    if (rc == FSP_OK)
        rc = fsp_people_run(
                desk, "DELETE FROM browser WHERE account = ?1 AND ?2 = 0", name, 0, err);
    if (rc == FSP_OK)
        rc = fsp_people_run(
                desk, "DELETE FROM failure WHERE of = 'a:' || ?1 AND ?2 = 0", name, 0, err);
    return end_change(desk, rc, by, "password changed", account.name, err);
}

/* --- sessions --------------------------------------------------------------------------------- */

/* The form's secret, hidden under random bytes that go with it: what is written is never the same
 * twice, so that the size of a compressed page does not give it away. */
static void
write_form_token(const uint8_t *secret, const struct fsp_env *env, char *token)
{
    uint8_t bytes[FSP_TOKEN_BYTES];

    env->random(env->ctx, bytes, HALF);
    for (size_t i = 0; i < HALF; i++)
        bytes[HALF + i] = bytes[i] ^ secret[i];
    fsp_token_write(bytes, token);
    fsp_secret_wipe(bytes, sizeof(bytes));
}

static bool
read_form_token(const char *token, uint8_t secret[static HALF])
{
    uint8_t bytes[FSP_TOKEN_BYTES];
    const bool good = fsp_token_read(token, bytes);

    for (size_t i = 0; i < HALF; i++)
        secret[i] = bytes[i] ^ bytes[HALF + i];
    fsp_secret_wipe(bytes, sizeof(bytes));
    return good;
}

bool
fsp_people_form_good(const struct fsp_viewer *viewer, const char *sent)
{
    uint8_t own[HALF];
    uint8_t theirs[HALF];
    const bool good = sent != NULL && !viewer->open &&
                      read_form_token(viewer->form_token, own) &&
                      read_form_token(sent, theirs) && fsp_secret_equal(own, theirs, HALF);

    return good;
}

static enum fsp_rc
no_session(struct fsp_err *err)
{
    return fsp_err_set(err, FSP_EVERIFY, "no such session; log in again");
}

/* One session as it is read. */
struct session {
    int64_t now_s; /* the caller's */
    bool refresh;  /* its last use is to be written */
    uint8_t form[HALF];
};

static enum fsp_rc
read_session(struct fsp_desk *desk, const uint8_t *mark, struct session *session,
        struct fsp_viewer *viewer, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    const uint8_t *form;
    size_t len = 0;
    bool row = false;
    int64_t began_s;
    int64_t seen_s;
    enum fsp_rc rc = fsp_stmt_get(fsp_desk_db(desk),
            "SELECT account, form, began_s, seen_s, role FROM session"
            " JOIN account ON name = account WHERE mark = ?1 AND closed_s IS NULL",
            &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_blob(stmt, 1, mark, FSP_MARK_LEN);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc != FSP_OK || !row)
        return rc == FSP_OK ? no_session(err) : rc;
    fsp_people_copy(viewer->name, sizeof(viewer->name), fsp_stmt_text(stmt, 0));
    form = fsp_stmt_blob(stmt, 1, &len);
    if (form != NULL && len >= HALF)
        memcpy(session->form, form, HALF);
    began_s = fsp_stmt_int(stmt, 2);
    seen_s = fsp_stmt_int(stmt, 3);
    viewer->role = fsp_role_of(fsp_stmt_text(stmt, 4));
    fsp_stmt_reset(stmt);
    if (len < HALF)
        return fsp_err_set(err, FSP_ECORRUPT, "desk: a session without its form's secret");
    /* A clock that went back ends nothing, but for a day: it is then not to be told how old it is. */
    if (session->now_s - began_s > FSP_SESSION_MAX_S ||
            session->now_s - seen_s > FSP_SESSION_IDLE_S ||
            began_s - session->now_s > FSP_S_PER_DAY || viewer->role == FSP_ROLE_NONE)
        return no_session(err);
    session->refresh = session->now_s - seen_s >= FSP_SESSION_SEEN_S;
    return FSP_OK;
}

enum fsp_rc
fsp_people_viewer(struct fsp_desk *desk, const char *token, int64_t now_s,
        const struct fsp_env *env, struct fsp_viewer *viewer, struct fsp_err *err)
{
    struct session session = {.now_s = now_s};
    uint8_t mark[FSP_MARK_LEN];
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;

    memset(viewer, 0, sizeof(*viewer));
    fsp_token_mark(token, mark);
    rc = read_session(desk, mark, &session, viewer, err);
    if (rc == FSP_OK && session.refresh) {
        rc = fsp_stmt_get(fsp_desk_db(desk), "UPDATE session SET seen_s = ?2 WHERE mark = ?1",
                &stmt, err);
        if (rc == FSP_OK) {
            fsp_stmt_bind_blob(stmt, 1, mark, sizeof(mark));
            fsp_stmt_bind_int(stmt, 2, now_s);
            rc = fsp_stmt_run(stmt, err);
        }
    }
    if (rc == FSP_OK)
        write_form_token(session.form, env, viewer->form_token);
    else
        memset(viewer, 0, sizeof(*viewer));
    fsp_secret_wipe(&session, sizeof(session));
    return rc;
}

enum fsp_rc
fsp_people_log_out(struct fsp_desk *desk, const char *token, int64_t now_s, struct fsp_err *err)
{
    uint8_t mark[FSP_MARK_LEN];
    struct fsp_viewer viewer = {.open = false};
    struct fsp_by by = {.name = viewer.name, .now_s = now_s};
    struct session session = {.now_s = now_s};
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;

    fsp_token_mark(token, mark);
    rc = read_session(desk, mark, &session, &viewer, err);
    fsp_secret_wipe(&session, sizeof(session));
    if (rc == FSP_EVERIFY)
        return FSP_OK; /* it had ended */
    if (rc == FSP_OK)
        rc = fsp_db_begin(fsp_desk_db(desk), err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_stmt_get(fsp_desk_db(desk), "DELETE FROM session WHERE mark = ?1", &stmt, err);
    if (rc == FSP_OK) {
        fsp_stmt_bind_blob(stmt, 1, mark, sizeof(mark));
        rc = fsp_stmt_run(stmt, err);
    }
    return end_change(desk, rc, &by, "log-out", "", err);
}
