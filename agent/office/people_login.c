/*
 * Log-ins and their throttle.
 *
 * A row of `failure` counts the tries since the last good one under a key:
 *   a:NAME     of a name, whether there is such an account or not
 *   n:ADDRESS  of an address; of IPv6, of its /64
 *   b:MARK     of a browser that once logged in to the account, in place of the two others
 * A try counts as a failure from its beginning; a good one takes its own back.
 */
#include <arpa/inet.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "office/people_priv.h"

#define HOUR_OF_DOUBT INT64_C(3600) /* a count from so far ahead is of another clock */

/* --- keys ------------------------------------------------------------------------------------- */

/* IPv6 addresses of one network are one: a client has 2^64 of them for nothing. */
static void
address_key(const char *client, char *out, size_t size)
{
    struct in6_addr six;
    char network[INET6_ADDRSTRLEN];

    if (inet_pton(AF_INET6, client, &six) == 1) {
        memset(six.s6_addr + 8, 0, 8);
        if (inet_ntop(AF_INET6, &six, network, sizeof(network)) != NULL) {
            (void)snprintf(out, size, "n:%s/64", network);
            return;
        }
    }
    (void)snprintf(out, size, "n:%.60s", client);
}

static bool
is_browser(const char *key)
{
    return key[0] == 'b';
}

static int64_t
wait_after(const char *key, int64_t times)
{
    const int64_t spare = key[0] == 'n' ? FSP_LOGIN_FREE_ADDRESS : FSP_LOGIN_FREE;
    const int64_t over = times - spare;

    if (over < 0)
        return 0;
    if (over >= 10 || (INT64_C(1) << (over + 1)) > FSP_LOGIN_WAIT_MAX_S)
        return FSP_LOGIN_WAIT_MAX_S;
    return INT64_C(1) << (over + 1);
}

static enum fsp_rc
read_count(struct fsp_desk *desk, const char *key, int64_t *times, int64_t *last_s,
        struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(
            fsp_desk_db(desk), "SELECT times, last_s FROM failure WHERE of = ?1", &stmt, err);

    *times = 0;
    *last_s = 0;
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, key);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row) {
        *times = fsp_stmt_int(stmt, 0);
        *last_s = fsp_stmt_int(stmt, 1);
        fsp_stmt_reset(stmt);
    }
    return rc;
}

/* How long a further try under this key has to wait. */
static enum fsp_rc
wait_of(struct fsp_desk *desk, const char *key, int64_t now_s, int64_t *wait_s,
        struct fsp_err *err)
{
    int64_t times = 0;
    int64_t last_s = 0;
    int64_t left;
    enum fsp_rc rc = read_count(desk, key, &times, &last_s, err);

    if (rc != FSP_OK || now_s - last_s > FSP_LOGIN_FORGET_S || last_s - now_s > HOUR_OF_DOUBT)
        return rc;
    left = last_s + wait_after(key, times) - now_s;
    if (left > *wait_s)
        *wait_s = left;
    return FSP_OK;
}

/* One more, or one less. */
static enum fsp_rc
count(struct fsp_desk *desk, const char *key, int64_t now_s, struct fsp_err *err)
{
    return fsp_people_run(desk,
            "INSERT INTO failure(of, times, last_s) VALUES(?1, 1, ?2)"
            " ON CONFLICT(of) DO UPDATE SET last_s = ?2,"
            " times = CASE WHEN ?2 - last_s > 86400 THEN 1 ELSE min(times + 1, 1000000) END",
            key, now_s, err);
}

_Static_assert(FSP_LOGIN_FORGET_S == 86400, "the statement above says it too");

/* Old counts go, and the oldest when there are too many. */
static enum fsp_rc
sweep(struct fsp_desk *desk, int64_t now_s, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_people_run(desk, "DELETE FROM failure WHERE ?1 = '' AND last_s < ?2",
            "", now_s - FSP_LOGIN_FORGET_S, err);

    if (rc == FSP_OK)
        rc = fsp_people_run(desk,
                "DELETE FROM failure WHERE ?1 = '' AND of IN (SELECT of FROM failure"
                " ORDER BY last_s DESC LIMIT -1 OFFSET ?2)",
                "", FSP_LOGIN_ROWS_MAX, err);
    return rc;
}

/* --- a try ------------------------------------------------------------------------------------ */

static enum fsp_rc
find_stored(struct fsp_desk *desk, const char *name, bool *exists,
        char stored[static FSP_PASSWORD_STORED], struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(fsp_desk_db(desk),
            "SELECT password FROM account WHERE name = ?1 AND closed_s IS NULL", &stmt, err);

    *exists = false;
    stored[0] = '\0';
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, name);
    rc = fsp_stmt_step(stmt, exists, err);
    if (rc == FSP_OK && *exists) {
        fsp_people_copy(stored, FSP_PASSWORD_STORED, fsp_stmt_text(stmt, 0));
        fsp_stmt_reset(stmt);
    }
    return rc;
}

static enum fsp_rc
find_browser(struct fsp_desk *desk, struct fsp_login *login, struct fsp_err *err)
{
    uint8_t mark[FSP_MARK_LEN];
    char hex[2 * FSP_MARK_LEN + 1];
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;

    login->known = false;
    if (login->browser == NULL || !login->exists)
        return FSP_OK;
    rc = fsp_stmt_get(fsp_desk_db(desk),
            "SELECT 1 FROM browser WHERE mark = ?1 AND account = ?2 AND made_s > ?3", &stmt,
            err);
    if (rc != FSP_OK)
        return rc;
    fsp_token_mark(login->browser, mark);
    fsp_stmt_bind_blob(stmt, 1, mark, sizeof(mark));
    fsp_stmt_bind_text(stmt, 2, login->name);
    fsp_stmt_bind_int(stmt, 3, login->now_s - FSP_BROWSER_MAX_S);
    rc = fsp_stmt_step(stmt, &login->known, err);
    if (rc == FSP_OK && login->known) {
        fsp_stmt_reset(stmt);
        fsp_text_hex(hex, mark, sizeof(mark));
        (void)snprintf(login->keys[0], sizeof(login->keys[0]), "b:%s", hex);
        login->keys[1][0] = '\0';
    }
    return rc;
}

static enum fsp_rc
count_try(struct fsp_desk *desk, struct fsp_login *login, int64_t *wait_s, struct fsp_err *err)
{
    enum fsp_rc rc = find_stored(desk, login->name, &login->exists, login->stored, err);

    (void)snprintf(login->keys[0], sizeof(login->keys[0]), "a:%.63s", login->name);
    address_key(login->client, login->keys[1], sizeof(login->keys[1]));
    if (rc == FSP_OK)
        rc = find_browser(desk, login, err);
    for (size_t i = 0; rc == FSP_OK && i < 2 && login->keys[i][0] != '\0'; i++)
        rc = wait_of(desk, login->keys[i], login->now_s, wait_s, err);
    if (rc == FSP_OK && *wait_s > 0)
        return fsp_err_set(err, FSP_EAGAIN, "too many log-ins failed; try again in %lld s",
                (long long)*wait_s);
    for (size_t i = 0; rc == FSP_OK && i < 2 && login->keys[i][0] != '\0'; i++)
        rc = count(desk, login->keys[i], login->now_s, err);
    return rc == FSP_OK ? sweep(desk, login->now_s, err) : rc;
}

enum fsp_rc
fsp_people_try(
        struct fsp_desk *desk, struct fsp_login *login, int64_t *wait_s, struct fsp_err *err)
{
    struct fsp_db *db = fsp_desk_db(desk);
    enum fsp_rc rc = fsp_db_begin(db, err);

    *wait_s = 0;
    if (rc != FSP_OK)
        return rc;
    rc = count_try(desk, login, wait_s, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
    return rc;
}

/* --- how it ended ----------------------------------------------------------------------------- */

static enum fsp_rc
refusals_today(struct fsp_desk *desk, int64_t now_s, int64_t *lines, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(fsp_desk_db(desk),
            "SELECT count(*) FROM trail WHERE did = 'refused' AND at_s > ?1", &stmt, err);

    *lines = 0;
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, now_s - FSP_S_PER_DAY);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row) {
        *lines = fsp_stmt_int(stmt, 0);
        fsp_stmt_reset(stmt);
    }
    return rc;
}

/* A line at the first failure, the second, the fourth…, and not too many a day. */
static enum fsp_rc
tell_refusal(struct fsp_desk *desk, const struct fsp_login *login, struct fsp_err *err)
{
    const struct fsp_by nobody = {.name = "", .now_s = login->now_s};
    char what[FSP_TRAIL_WHAT_MAX];
    int64_t times = 0;
    int64_t last_s = 0;
    int64_t lines = 0;
    enum fsp_rc rc = read_count(desk, login->keys[0], &times, &last_s, err);

    if (rc != FSP_OK || (times & (times - 1)) != 0)
        return rc;
    rc = refusals_today(desk, login->now_s, &lines, err);
    if (rc != FSP_OK || lines >= FSP_TRAIL_REFUSALS)
        return rc;
    (void)snprintf(what, sizeof(what), "log-in as %.63s from %.63s, failure %lld%s%s",
            login->exists ? login->name : "somebody unknown", login->client, (long long)times,
            is_browser(login->keys[0]) ? ", from a known browser" : "",
            lines == FSP_TRAIL_REFUSALS - 1 ? "; further ones of these 24 hours are not written"
                                            : "");
    return fsp_people_trail_add(desk, &nobody, "refused", what, err);
}

static enum fsp_rc
take_back(struct fsp_desk *desk, const struct fsp_login *login, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_people_run(
            desk, "DELETE FROM failure WHERE of = ?1 AND ?2 = 0", login->keys[0], 0, err);

    /* Of an address only this try: else whoever has an account could try others' for ever. */
    if (rc == FSP_OK && login->keys[1][0] != '\0')
        rc = fsp_people_run(desk,
                "UPDATE failure SET times = max(times - 1, 0) WHERE of = ?1 AND ?2 = 0",
                login->keys[1], 0, err);
    return rc;
}

static enum fsp_rc
add_session(struct fsp_desk *desk, const struct fsp_login *login, const struct fsp_env *env,
        const char *token, struct fsp_err *err)
{
    uint8_t mark[FSP_MARK_LEN];
    uint8_t form[FSP_TOKEN_BYTES];
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;

    rc = fsp_people_run(desk, "DELETE FROM session WHERE ?1 = '' AND began_s < ?2", "",
            login->now_s - FSP_SESSION_MAX_S, err);
    if (rc == FSP_OK)
        rc = fsp_people_run(desk,
                "DELETE FROM session WHERE mark IN (SELECT mark FROM session WHERE account = ?1"
                " ORDER BY seen_s DESC LIMIT -1 OFFSET ?2)",
                login->name, FSP_SESSIONS_MAX - 1, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(fsp_desk_db(desk),
                "INSERT INTO session(mark, account, form, began_s, seen_s)"
                " VALUES(?1, ?2, ?3, ?4, ?4)",
                &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_token_mark(token, mark);
    env->random(env->ctx, form, sizeof(form));
    fsp_stmt_bind_blob(stmt, 1, mark, sizeof(mark));
    fsp_stmt_bind_text(stmt, 2, login->name);
    fsp_stmt_bind_blob(stmt, 3, form, sizeof(form));
    fsp_stmt_bind_int(stmt, 4, login->now_s);
    rc = fsp_stmt_run(stmt, err);
    fsp_secret_wipe(form, sizeof(form));
    return rc;
}

static enum fsp_rc
add_browser(struct fsp_desk *desk, const struct fsp_login *login, const char *token,
        struct fsp_err *err)
{
    uint8_t mark[FSP_MARK_LEN];
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_people_run(desk,
            "DELETE FROM browser WHERE mark IN (SELECT mark FROM browser WHERE account = ?1"
            " ORDER BY made_s DESC LIMIT -1 OFFSET ?2)",
            login->name, FSP_BROWSERS_MAX - 1, err);

    if (rc == FSP_OK)
        rc = fsp_stmt_get(fsp_desk_db(desk),
                "INSERT INTO browser(mark, account, made_s) VALUES(?1, ?2, ?3)", &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_token_mark(token, mark);
    fsp_stmt_bind_blob(stmt, 1, mark, sizeof(mark));
    fsp_stmt_bind_text(stmt, 2, login->name);
    fsp_stmt_bind_int(stmt, 3, login->now_s);
    return fsp_stmt_run(stmt, err);
}

/* The password was checked against login->stored, which must still be the account's. */
static enum fsp_rc
still_good(
        struct fsp_desk *desk, const struct fsp_login *login, bool *good, struct fsp_err *err)
{
    char stored[FSP_PASSWORD_STORED];
    bool exists = false;
    enum fsp_rc rc = find_stored(desk, login->name, &exists, stored, err);

    *good = *good && login->exists && exists && strcmp(stored, login->stored) == 0;
    return rc;
}

static enum fsp_rc
begin_session(struct fsp_desk *desk, const struct fsp_login *login, const struct fsp_env *env,
        struct fsp_login_tokens *tokens, struct fsp_err *err)
{
    const struct fsp_by by = {.name = login->name, .now_s = login->now_s};
    char what[FSP_CLIENT_NAME_MAX + 16];
    enum fsp_rc rc;

    fsp_token_new(env, tokens->session);
    rc = add_session(desk, login, env, tokens->session, err);
    if (rc == FSP_OK && !login->known) {
        fsp_token_new(env, tokens->browser);
        rc = add_browser(desk, login, tokens->browser, err);
    }
    (void)snprintf(what, sizeof(what), "from %.63s", login->client);
    return rc == FSP_OK ? fsp_people_trail_add(desk, &by, "log-in", what, err) : rc;
}

/* env NULL: begins no session. */
static enum fsp_rc
end_try(struct fsp_desk *desk, const struct fsp_login *login, bool good,
        const struct fsp_env *env, struct fsp_login_tokens *tokens, struct fsp_err *err)
{
    struct fsp_db *db = fsp_desk_db(desk);
    enum fsp_rc rc = fsp_db_begin(db, err);

    if (rc != FSP_OK)
        return rc;
    rc = still_good(desk, login, &good, err);
    if (rc == FSP_OK)
        rc = good ? take_back(desk, login, err) : tell_refusal(desk, login, err);
    if (rc == FSP_OK && good && env != NULL)
        rc = begin_session(desk, login, env, tokens, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
    if (rc == FSP_OK && !good)
        rc = fsp_err_set(err, FSP_EVERIFY, "wrong name or password");
    return rc;
}

enum fsp_rc
fsp_people_tried(struct fsp_desk *desk, const struct fsp_login *login, bool good,
        const struct fsp_env *env, struct fsp_login_tokens *tokens, struct fsp_err *err)
{
    enum fsp_rc rc;

    memset(tokens, 0, sizeof(*tokens));
    rc = end_try(desk, login, good, env, tokens, err);
    if (rc != FSP_OK)
        fsp_secret_wipe(tokens, sizeof(*tokens));
    return rc;
}

enum fsp_rc
fsp_people_tried_again(
        struct fsp_desk *desk, const struct fsp_login *login, bool good, struct fsp_err *err)
{
    return end_try(desk, login, good, NULL, NULL, err);
}
