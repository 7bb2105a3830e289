/* The logs of one store: reading the chain, and noticing that another process renewed it. */
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"
#include "rig/head.h"
#include "rig/journal_priv.h"
#include "rig/journal_sql.h"

/* ---- reading ----------------------------------------------------------------------------- */

static enum fsp_rc
copy(const struct fsp_stmt *stmt, int column, char *out, size_t size, struct fsp_err *err)
{
    const char *text = fsp_stmt_text(stmt, column);
    size_t len = text == NULL ? size : strlen(text);

    if (len >= size)
        return fsp_err_set(err, FSP_ECORRUPT, "the store's list of logs is damaged");
    memcpy(out, text, len + 1);
    return FSP_OK;
}

/* The row a statement of FSP_SQL_CHAIN stands at. */
static enum fsp_rc
read_row(const struct fsp_stmt *stmt, struct fsp_journal_log *log, struct fsp_err *err)
{
    char vkey[FSP_VKEY_MAX + 1];
    const char *slash;
    enum fsp_rc rc;

    memset(log, 0, sizeof(*log));
    log->id = fsp_stmt_int(stmt, 0);
    log->ordinal = (size_t)fsp_stmt_int(stmt, 1);
    rc = copy(stmt, 2, log->origin, sizeof(log->origin), err);
    if (rc == FSP_OK)
        rc = copy(stmt, 3, vkey, sizeof(vkey), err);
    if (rc == FSP_OK)
        rc = copy(stmt, 4, log->token, sizeof(log->token), err);
    if (rc == FSP_OK)
        rc = fsp_vkey_parse(&log->vkey, vkey, strlen(vkey), err);
    if (rc != FSP_OK)
        return rc;
    slash = strrchr(log->origin, '/');
    slash = slash == NULL ? log->origin : slash + 1;
    if (strlen(slash) >= sizeof(log->incarnation))
        return fsp_err_set(err, FSP_ECORRUPT, "the store's list of logs is damaged");
    memcpy(log->incarnation, slash, strlen(slash) + 1);
    log->current = fsp_stmt_int(stmt, 5) != 0;
    log->size = (uint64_t)fsp_stmt_int(stmt, 6);
    log->held = (uint64_t)fsp_stmt_int(stmt, 7);
    log->went_back = fsp_stmt_int(stmt, 8) != 0;
    if (log->held > log->size)
        log->held = log->size;
    return FSP_OK;
}

enum fsp_rc
fsp_journal_logs(struct fsp_journal *journal, struct fsp_journal_log **out, size_t *n,
        struct fsp_err *err)
{
    struct fsp_journal_log *logs = NULL;
    struct fsp_stmt *stmt = NULL;
    size_t cap = 0;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(journal->db, FSP_SQL_CHAIN_ALL, &stmt, err);

    *out = NULL;
    *n = 0;
    if (rc != FSP_OK)
        return rc;
    for (;;) {
        rc = fsp_stmt_step(stmt, &row, err);
        if (rc != FSP_OK || !row)
            break;
        if (fsp_mem_grow((void **)&logs, &cap, *n + 1, sizeof(*logs)) != 0)
            rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        if (rc == FSP_OK)
            rc = read_row(stmt, &logs[*n], err);
        if (rc != FSP_OK)
            break;
        logs[*n].ordinal = *n;
        (*n)++;
    }
    fsp_stmt_reset(stmt);
    if (rc == FSP_OK && (*n == 0 || !logs[*n - 1].current))
        rc = fsp_err_set(err, FSP_ECORRUPT, "the store has no current log");
    if (rc != FSP_OK) {
        free(logs);
        *n = 0;
        return rc;
    }
    *out = logs;
    return FSP_OK;
}

enum fsp_rc
fsp_journal_log(struct fsp_journal *journal, const char *name, struct fsp_journal_log *out,
        struct fsp_err *err)
{
    struct fsp_journal_log *logs = NULL;
    size_t n = 0;
    enum fsp_rc rc = fsp_journal_logs(journal, &logs, &n, err);
    size_t i = 0;

    memset(out, 0, sizeof(*out));
    if (rc != FSP_OK)
        return rc;
    while (i < n && strcmp(logs[i].origin, name) != 0 && strcmp(logs[i].incarnation, name) != 0)
        i++;
    if (i < n)
        *out = logs[i];
    else
        rc = fsp_err_set(err, FSP_ENOTFOUND, "%.300s: this store has no such log", name);
    free(logs);
    return rc;
}

int64_t
fsp_journal_current(const struct fsp_journal *journal)
{
    return journal->log;
}

/* ---- the current log --------------------------------------------------------------------- */

void
fsp_journal_tail(int64_t id, const char *incarnation, char tail[FSP_TAIL_MAX + 1])
{
    (void)snprintf(tail, FSP_TAIL_MAX + 1, "%s%s", id == FSP_RIG_LOG ? "" : "-",
            id == FSP_RIG_LOG ? "" : incarnation);
}

enum fsp_rc
fsp_journal_refresh(struct fsp_journal *journal, struct fsp_err *err)
{
    struct fsp_journal_about *about = &journal->about;
    struct fsp_journal_log log;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(journal->db, FSP_SQL_CHAIN_CURRENT, &stmt, err);

    if (rc == FSP_OK)
        rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && !row)
        rc = fsp_err_set(err, FSP_ECORRUPT, "the store has no current log");
    if (rc == FSP_OK && row && journal->log == fsp_stmt_int(stmt, 0)) {
        fsp_stmt_reset(stmt);
        return FSP_OK;
    }
    if (rc == FSP_OK)
        rc = read_row(stmt, &log, err);
    fsp_stmt_reset(stmt);
    if (rc != FSP_OK)
        return rc;
    memset(about->token, 0, sizeof(about->token));
    about->has_token = log.token[0] != '\0';
    if (about->has_token &&
            fsp_text_unhex(about->token, sizeof(about->token), log.token) != FSP_OK)
        return fsp_err_set(err, FSP_ECORRUPT, "the store's value 'token' is damaged");
    memcpy(about->origin, log.origin, sizeof(about->origin));
    memcpy(about->incarnation, log.incarnation, sizeof(about->incarnation));
    about->vkey = log.vkey;
    journal->log = log.id;
    fsp_journal_tail(log.id, log.incarnation, journal->tail);
    return FSP_OK;
}

#define SIGNED_PREFIX "signed-size-"

/* A size file of a log that signed something and is in no row of the chain. */
static enum fsp_rc
is_unknown(
        const struct fsp_journal *journal, const char *name, bool *found, struct fsp_err *err)
{
    struct fsp_checkpoint last;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc;

    if (strncmp(name, SIGNED_PREFIX, strlen(SIGNED_PREFIX)) != 0 ||
            strlen(name) != strlen(SIGNED_PREFIX) + FSP_INCARNATION_LEN)
        return FSP_OK;
    if (fsp_signed_size_read(journal->folder, name + strlen("signed-size"), &last, NULL) !=
                    FSP_OK ||
            last.size == 0)
        return FSP_OK; /* a renewal that came to nothing */
    rc = fsp_stmt_get(journal->db, "SELECT 1 FROM chain WHERE origin = ?1", &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, last.origin);
    rc = fsp_stmt_step(stmt, &row, err);
    fsp_stmt_reset(stmt);
    *found = *found || (rc == FSP_OK && !row);
    return rc;
}

enum fsp_rc
fsp_journal_find_unknown(const struct fsp_journal *journal, bool *found, struct fsp_err *err)
{
    const struct dirent *entry;
    enum fsp_rc rc = FSP_OK;
    DIR *dir = opendir(journal->folder);

    *found = false;
    if (dir == NULL)
        return fsp_err_sys(err, FSP_EIO, errno, "%s", journal->folder);
    /* One thread reads this stream. */
    while (rc == FSP_OK && (entry = readdir(dir)) != NULL) // NOLINT(concurrency-mt-unsafe)
        rc = is_unknown(journal, entry->d_name, found, err);
    (void)closedir(dir);
    return rc;
}

/* ---- changing ---------------------------------------------------------------------------- */

enum fsp_rc
fsp_journal_add_log(struct fsp_db *db, const struct fsp_journal_log *log, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    struct fsp_buf vkey;
    enum fsp_rc rc;

    fsp_buf_init(&vkey, FSP_VKEY_MAX);
    fsp_vkey_write(&log->vkey, &vkey);
    rc = fsp_buf_check(&vkey, "a verifier key", err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(db, FSP_SQL_CHAIN_ADD, &stmt, err);
    if (rc == FSP_OK) {
        fsp_stmt_bind_int(stmt, 1, log->id);
        fsp_stmt_bind_int(stmt, 2, (int64_t)log->ordinal);
        fsp_stmt_bind_text(stmt, 3, log->origin);
        fsp_stmt_bind_text(stmt, 4, fsp_buf_peek(&vkey));
        fsp_stmt_bind_text(stmt, 5, log->token);
        if (!log->current)
            fsp_stmt_bind_int(stmt, 6, (int64_t)log->size);
        fsp_stmt_bind_int(stmt, 7, (int64_t)log->held);
        rc = fsp_stmt_run(stmt, err);
    }
    fsp_buf_fini(&vkey);
    return rc;
}

enum fsp_rc
fsp_journal_set_number(
        struct fsp_db *db, const char *sql, int64_t log, uint64_t value, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(db, sql, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    fsp_stmt_bind_int(stmt, 2, (int64_t)value);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_journal_set_held(
        struct fsp_journal *journal, int64_t log, uint64_t held, struct fsp_err *err)
{
    return fsp_journal_set_number(journal->db, FSP_SQL_CHAIN_HELD, log, held, err);
}

enum fsp_rc
fsp_journal_set_went_back(
        struct fsp_journal *journal, int64_t log, bool back, struct fsp_err *err)
{
    return fsp_journal_set_number(journal->db, FSP_SQL_CHAIN_BACK, log, back ? 1 : 0, err);
}
