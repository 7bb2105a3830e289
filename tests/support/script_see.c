/* What the stores of a script hold, by the programs' own checks and by a tree of the test's own. */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <sodium.h>

#include "base/file.h"
#include "office/check.h"
#include "office/instruct.h"
#include "office/keys.h"
#include "office/shelf.h"
#include "rig/head.h"
#include "rig/journal.h"
#include "rig/verify.h"
#include "store/logtable.h"
#include "support/script.h"

static const char *const places[] = {"office", "heron", "egret"};

struct complaint {
    char *text;
    size_t size;
    const char *place;
};

static void complain(struct complaint *complaint, const char *fmt, ...) FSP_PRINTF(2, 3);
static void
complain(struct complaint *complaint, const char *fmt, ...)
{
    size_t len = strlen(complaint->text);
    va_list args;

    if (len > 0) /* the first is the cause */
        return;
    len = (size_t)snprintf(complaint->text, complaint->size, "%s: ", complaint->place);
    va_start(args, fmt);
    (void)vsnprintf(complaint->text + len, complaint->size - len, fmt, args);
    va_end(args);
}

/* RFC 6962, section 2.1, from its words: pairs of nodes, level by level, an odd one goes up as it is. */
static void
model_root(const struct script_log *log, uint8_t root[FSP_HASH_LEN])
{
    uint8_t level[SCRIPT_ENTRIES][FSP_HASH_LEN];
    size_t n = (size_t)log->size;

    memcpy(level, log->leaf, sizeof(level));
    while (n > 1) {
        size_t up = 0;

        for (size_t i = 0; i < n; i += 2, up++) {
            uint8_t node[1 + 2 * FSP_HASH_LEN] = {1};

            if (i + 1 == n) {
                memmove(level[up], level[i], FSP_HASH_LEN);
                continue;
            }
            memcpy(node + 1, level[i], FSP_HASH_LEN);
            memcpy(node + 1 + FSP_HASH_LEN, level[i + 1], FSP_HASH_LEN);
            (void)crypto_hash_sha256(level[up], node, sizeof(node));
        }
        n = up;
    }
    if (n == 0)
        (void)crypto_hash_sha256(root, NULL, 0);
    else
        memcpy(root, level[0], FSP_HASH_LEN);
}

static enum fsp_rc
add_leaf(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct script_log *log = ctx;
    crypto_hash_sha256_state state;
    const uint8_t zero = 0;

    if (index >= SCRIPT_ENTRIES)
        return fsp_err_set(err, FSP_ELIMIT, "more entries than the script keeps");
    (void)crypto_hash_sha256_init(&state);
    (void)crypto_hash_sha256_update(&state, &zero, 1);
    (void)crypto_hash_sha256_update(&state, bytes, len);
    (void)crypto_hash_sha256_final(&state, log->leaf[index]);
    log->size = index + 1;
    return FSP_OK;
}

/* ---- a rig --------------------------------------------------------------------------------------- */

static void
say(void *ctx, const char *problem)
{
    complain(ctx, "check: %s", problem);
}

/* The key of the current log is there and is its own. */
static void
see_key(struct fsp_journal *journal, struct complaint *complaint)
{
    struct fsp_skey *skey = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    if (fsp_journal_key(journal, &skey, &err) != FSP_OK)
        complain(complaint, "%s", err.text);
    else if (!fsp_vkey_equal(fsp_skey_vkey(skey), &fsp_journal_about(journal)->vkey))
        complain(complaint, "the key is another log's");
    fsp_skey_free(skey);
}

static uint64_t
sent_of(struct fsp_journal *journal, int64_t log, struct complaint *complaint)
{
    struct fsp_stmt *stmt = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    uint64_t n = 0;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(
            fsp_journal_db(journal), "SELECT count(*) FROM sent WHERE log = ?1", &stmt, &err);

    if (rc == FSP_OK) {
        fsp_stmt_bind_int(stmt, 1, log);
        rc = fsp_stmt_step(stmt, &row, &err);
    }
    if (rc != FSP_OK)
        complain(complaint, "%s", err.text);
    else
        n = (uint64_t)fsp_stmt_int(stmt, 0);
    if (stmt != NULL)
        fsp_stmt_reset(stmt);
    return n;
}

static void
read_rig_log(struct fsp_journal *journal, const struct fsp_journal_log *from,
        struct script_log *log, struct complaint *complaint)
{
    struct fsp_checkpoint head;
    struct fsp_err err = {.rc = FSP_OK};
    char tail[64];

    (void)snprintf(log->origin, sizeof(log->origin), "%s", from->origin);
    (void)snprintf(tail, sizeof(tail), "-%s", from->incarnation);
    if (fsp_logtable_scan(fsp_journal_db(journal), from->id, 0, from->size, add_leaf, log,
                &err) != FSP_OK)
        complain(complaint, "%s", err.text);
    if (fsp_signed_size_read(fsp_journal_folder(journal), from->ordinal == 0 ? "" : tail, &head,
                &err) != FSP_OK)
        complain(complaint, "%s", err.text);
    log->signed_size = head.size;
    log->held = from->held;
    log->sent = sent_of(journal, from->id, complaint);
    model_root(log, log->root);
}

static void
see_rig(struct script *script, const char *path, struct script_store *store,
        struct complaint *complaint)
{
    struct fsp_verify_report report = {.say = say, .ctx = complaint};
    struct fsp_journal_log *logs = NULL;
    struct fsp_journal *journal = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    size_t n = 0;
    enum fsp_rc rc = fsp_journal_open(path, FSP_JOURNAL_WRITE, &script->env, &journal, &err);

    if (rc == FSP_OK && fsp_journal_state(journal) != FSP_JOURNAL_SOUND)
        complain(complaint, "%s", fsp_journal_state_why(journal));
    if (rc == FSP_OK)
        see_key(journal, complaint);
    for (size_t i = 0; i < 2; i++) {
        char inbox[320];

        (void)snprintf(
                inbox, sizeof(inbox), "%.250s/inbox/%s", path, i == 0 ? "taken" : "refused");
        if (!fsp_file_exists(inbox))
            complain(complaint, "%s is gone", inbox);
    }
    if (rc == FSP_OK)
        rc = fsp_verify(journal, &report, &err);
    if (rc == FSP_OK)
        rc = fsp_journal_logs(journal, &logs, &n, &err);
    if (rc == FSP_OK && n > SCRIPT_LOGS)
        rc = fsp_err_set(&err, FSP_ELIMIT, "%zu logs", n);
    for (size_t i = 0; rc == FSP_OK && i < n; i++) {
        read_rig_log(journal, &logs[i], &store->log[i], complaint);
        store->entries += store->log[i].size;
    }
    store->n_logs = n;
    if (rc != FSP_OK)
        complain(complaint, "%s", err.text);
    else if (memcmp(report.root, store->log[n - 1].root, FSP_HASH_LEN) != 0)
        complain(complaint, "the root is not the model's");
    free(logs);
    fsp_journal_close(journal);
}

/* ---- the office ---------------------------------------------------------------------------------- */

static void
read_office_log(struct fsp_shelf *shelf, const struct fsp_check_log *from,
        struct script_log *log, struct complaint *complaint)
{
    const uint64_t within[2] = {0, from->size};
    struct fsp_err err = {.rc = FSP_OK};

    (void)snprintf(log->origin, sizeof(log->origin), "%s", from->log.origin);
    if (shelf->ops->scan(shelf->ctx, from->log.id, within, add_leaf, log, &err) != FSP_OK)
        complain(complaint, "%s", err.text);
    model_root(log, log->root);
    if (memcmp(from->root, log->root, FSP_HASH_LEN) != 0)
        complain(complaint, "the root of %s is not the model's", log->origin);
}

static void
see_words(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        struct script_store *store, struct complaint *complaint)
{
    struct fsp_instruct_list list = {0};
    struct fsp_shelf_invitation known;
    struct fsp_err err = {.rc = FSP_OK};
    enum fsp_rc rc = shelf->ops->begin(shelf->ctx, false, &err);

    for (int rig = 0; rc == FSP_OK && rig < SCRIPT_RIGS; rig++) {
        uint8_t token[FSP_TOKEN_LEN];
        uint8_t mark[FSP_MARK_LEN];

        for (size_t i = 0; i < FSP_TOKEN_LEN; i++)
            token[i] = (uint8_t)(17 * rig + (int)i);
        fsp_leaf_hash(token, sizeof(token), mark);
        store->invited[rig] = shelf->ops->invitation(shelf->ctx, mark, &known, NULL) == FSP_OK;
    }
    if (rc == FSP_OK && store->invited[0])
        rc = fsp_instruct_list(shelf, keys, "heron", &list, &err);
    shelf->ops->rollback(shelf->ctx);
    if (rc != FSP_OK)
        complain(complaint, "instructions: %s", err.text);
    for (size_t i = 0; i < list.n; i++)
        if (list.items[i].lost)
            complain(complaint, "an instruction was sent and is lost");
    store->instructions = list.n;
    fsp_instruct_list_free(&list);
}

static void
see_office(const char *path, struct script_store *store, struct complaint *complaint)
{
    struct fsp_office_keys keys = {0};
    struct fsp_check_report report;
    struct fsp_shelf *shelf = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    enum fsp_rc rc;

    fsp_check_report_init(&report);
    rc = fsp_shelf_open(&fsp_shelf_sqlite, path, FSP_SHELF_WRITE, &shelf, &err);
    if (rc == FSP_OK)
        rc = fsp_office_keys_load(&keys, path, &err);
    if (rc == FSP_OK)
        rc = fsp_check_store(shelf, &keys, &report, &err);
    if (rc == FSP_OK && report.n_logs > SCRIPT_LOGS)
        rc = fsp_err_set(&err, FSP_ELIMIT, "%zu logs", report.n_logs);
    if (rc == FSP_OK && report.problems > 0)
        complain(complaint, "check: %.200s", fsp_buf_peek(&report.text));
    if (rc == FSP_OK && report.forks > 0)
        complain(complaint, "a fork is kept");
    for (size_t i = 0; rc == FSP_OK && i < report.n_logs; i++) {
        read_office_log(shelf, &report.logs[i], &store->log[i], complaint);
        store->entries += store->log[i].size;
    }
    store->n_logs = rc == FSP_OK ? report.n_logs : 0;
    if (rc == FSP_OK)
        see_words(shelf, &keys, store, complaint);
    else
        complain(complaint, "%s", err.text);
    fsp_check_report_fini(&report);
    fsp_office_keys_fini(&keys);
    fsp_shelf_close(shelf);
}

void
script_see(struct script *script, unsigned wanted, struct script_seen *seen, char *wrong,
        size_t size)
{
    struct complaint complaint = {.text = wrong, .size = size};

    memset(seen, 0, sizeof(*seen));
    wrong[0] = '\0';
    for (size_t i = 0; i < 1 + SCRIPT_RIGS; i++) {
        char path[256];

        if ((wanted >> i & 1u) == 0)
            continue;
        (void)snprintf(path, sizeof(path), "%s/%s", script->root, places[i]);
        complaint.place = places[i];
        seen->store[i].there = fsp_file_exists(path);
        if (seen->store[i].there && i == 0)
            see_office(path, &seen->store[i], &complaint);
        else if (seen->store[i].there)
            see_rig(script, path, &seen->store[i], &complaint);
    }
}
