/*
 * Invariants
 *  1. The log only grows: an entry, once committed, is never changed, moved or removed.
 *  2. Entry, identity row, --once token and tip change in one transaction, or none does. The tip
 *     is read inside it (BEGIN IMMEDIATE), so two appending processes cannot take one index.
 *  3. Appending reads no key and takes no lock file.
 *  4. A signature leaves only after its head is committed and signed-size is on disk (head.c), so
 *     signed-size >= every size that anybody outside was ever shown; and while the store is whole,
 *     size of the log >= signed-size.
 *  5. `held` moves up only by a verified receipt, and down only by a fresh signed 409
 *     (receipt.c). Nothing is deleted when it is receipted.
 *  6. A store that is not sound appends nothing and signs nothing; reading goes on.
 *  7. One identity key ("at kind op") holds different identities only when a person said so
 *     (--also, or rows of one file told apart by `tour` or `row`).
 *
 * States of a store
 *  from        event                                              to         by
 *  (nothing)   init: folder built beside, renamed                 sound      fsp_journal_create
 *  sound       entry, day sheet                                   sound      fsp_journal_take, _enter
 *  sound       head signed                                        sound      fsp_head_sign
 *  sound       receipt, fresh 409                                 sound      fsp_receipt_judge
 *  sound       signed-size missing, another's, or above the log   restored   fsp_journal_rejudge
 *  sound       a receipt of ours for more than is stored          restored   fsp_receipt_judge
 *  sound       a head of ours, at or below our size, other root   forked     fsp_receipt_judge
 *  any         renewal: another log is current                    sound      fsp_renew
 */
#include "rig/journal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "proof/note.h"
#include "proof/tree.h"
#include "rig/head.h"
#include "rig/journal_priv.h"
#include "rig/journal_sql.h"
#include "rig/word_sql.h"
#include "store/logtable.h"
#include "store/statetable.h"

#define APPLICATION_ID 0x46535052 /* "FSPR" */
#define VALUE_MAX      ((size_t)2048)

static const struct fsp_migration steps[] = {
        {fsp_logtable_sql},
        {FSP_RIG_TABLES},
        {FSP_RIG_CHAIN},
        {fsp_statetable_sql},
        {FSP_RIG_WORD},
};

const struct fsp_db_schema fsp_journal_schema = {
        .application_id = APPLICATION_ID,
        .what = "rig store",
        .steps = steps,
        .n = sizeof(steps) / sizeof(steps[0]),
};

enum fsp_rc
fsp_journal_meta(struct fsp_db *db, const char *key, struct fsp_buf *out, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;
    bool row = false;

    rc = fsp_stmt_get(db, FSP_SQL_META_GET, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, key);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc != FSP_OK)
        return rc;
    if (!row)
        return fsp_err_set(err, FSP_ENOTFOUND, "the store has no value '%s'", key);
    fsp_buf_add_text(out, fsp_stmt_text(stmt, 0));
    fsp_stmt_reset(stmt);
    return fsp_buf_check(out, key, err);
}

enum fsp_rc
fsp_journal_set_meta(struct fsp_db *db, const char *key, const char *value, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(db, FSP_SQL_META_SET, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, key);
    fsp_stmt_bind_text(stmt, 2, value);
    return fsp_stmt_run(stmt, err);
}

enum fsp_rc
fsp_journal_set_meta_u64(
        struct fsp_db *db, const char *key, uint64_t value, struct fsp_err *err)
{
    char text[24];

    (void)snprintf(text, sizeof(text), "%llu", (unsigned long long)value);
    return fsp_journal_set_meta(db, key, text, err);
}

/* A number of the meta table; 0 when it is not there. */
static enum fsp_rc
meta_u64(struct fsp_db *db, const char *key, uint64_t *out, struct fsp_err *err)
{
    struct fsp_buf buf;
    enum fsp_rc rc;

    *out = 0;
    fsp_buf_init(&buf, VALUE_MAX);
    rc = fsp_journal_meta(db, key, &buf, err);
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = FSP_OK;
    } else if (rc == FSP_OK && fsp_text_u64(fsp_buf_peek(&buf), buf.len, out) != FSP_OK) {
        rc = fsp_err_set(err, FSP_ECORRUPT, "the store's value '%s' is no number", key);
    }
    fsp_buf_fini(&buf);
    return rc;
}

/* ---- opening ----------------------------------------------------------------------------- */

static enum fsp_rc
get_text(struct fsp_db *db, const char *key, char *out, size_t size, struct fsp_err *err)
{
    struct fsp_buf buf;
    enum fsp_rc rc;

    fsp_buf_init(&buf, VALUE_MAX);
    rc = fsp_journal_meta(db, key, &buf, err);
    if (rc == FSP_OK && buf.len >= size)
        rc = fsp_err_set(err, FSP_ECORRUPT, "the store's value '%s' is too long", key);
    if (rc == FSP_OK)
        memcpy(out, fsp_buf_peek(&buf), buf.len + 1);
    fsp_buf_fini(&buf);
    return rc;
}

static enum fsp_rc
get_vkey(struct fsp_db *db, const char *key, struct fsp_vkey *vkey, struct fsp_err *err)
{
    char text[FSP_VKEY_MAX + 1];
    enum fsp_rc rc = get_text(db, key, text, sizeof(text), err);

    if (rc == FSP_OK)
        rc = fsp_vkey_parse(vkey, text, strlen(text), err);
    return rc;
}

static enum fsp_rc
get_hex(struct fsp_db *db, const char *key, uint8_t *out, size_t len, struct fsp_err *err)
{
    char text[65];
    enum fsp_rc rc = get_text(db, key, text, sizeof(text), err);

    if (rc == FSP_OK && fsp_text_unhex(out, len, text) != FSP_OK)
        rc = fsp_err_set(err, FSP_ECORRUPT, "the store's value '%s' is damaged", key);
    return rc;
}

/* Stores of before TLS have none. */
static enum fsp_rc
get_pins(struct fsp_db *db, struct fsp_journal_about *about, struct fsp_err *err)
{
    enum fsp_rc rc = get_hex(db, "pin", about->pins[0], FSP_PIN_LEN, err);

    about->has_pins = rc == FSP_OK;
    if (rc == FSP_OK)
        return get_hex(db, "pin-spare", about->pins[1], FSP_PIN_LEN, err);
    if (rc != FSP_ENOTFOUND)
        return rc;
    fsp_err_clear(err);
    return FSP_OK;
}

static enum fsp_rc
read_about(struct fsp_db *db, struct fsp_journal_about *about, struct fsp_err *err)
{
    const struct {
        const char *key;
        char *out;
        size_t size;
    } texts[] = {
            {"fleet", about->fleet, sizeof(about->fleet)},
            {"rig", about->rig, sizeof(about->rig)},
            {"url", about->url, sizeof(about->url)},
    };
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < sizeof(texts) / sizeof(texts[0]); i++)
        rc = get_text(db, texts[i].key, texts[i].out, texts[i].size, err);
    if (rc == FSP_OK)
        rc = get_vkey(db, "cosigner", &about->cosigner, err);
    if (rc == FSP_OK)
        rc = get_vkey(db, "instructions", &about->instructions, err);
    if (rc == FSP_OK)
        rc = get_hex(db, "box", about->box_pub, sizeof(about->box_pub), err);
    if (rc == FSP_OK)
        rc = get_pins(db, about, err);
    return rc;
}

enum fsp_rc
fsp_journal_open(const char *folder, enum fsp_journal_use use, const struct fsp_env *env,
        struct fsp_journal **out, struct fsp_err *err)
{
    struct fsp_journal *journal = calloc(1, sizeof(*journal));
    char *path = fsp_file_join(folder, FSP_JOURNAL_DB);
    enum fsp_rc rc = FSP_OK;

    *out = NULL;
    if (journal != NULL) {
        fsp_buf_init(&journal->why, FSP_ERR_TEXT_MAX);
        journal->env = env;
        journal->folder = strdup(folder);
    }
    if (journal == NULL || path == NULL || journal->folder == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    if (!fsp_file_exists(path)) {
        rc = fsp_err_set(err, FSP_ENOTFOUND,
                "no store there; make one with: farspool-rig init --store %s --invitation FILE",
                folder);
        goto out;
    }
    rc = fsp_db_open(path, use == FSP_JOURNAL_WRITE ? FSP_DB_RIG : FSP_DB_READ, false,
            &fsp_journal_schema, &journal->db, err);
    if (rc == FSP_OK)
        rc = read_about(journal->db, &journal->about, err);
    if (rc == FSP_OK)
        rc = fsp_journal_refresh(journal, err);
    if (rc == FSP_OK)
        rc = fsp_journal_rejudge(journal, err);
    if (rc != FSP_OK)
        goto out;
    *out = journal;
    journal = NULL;
out:
    fsp_journal_close(journal);
    free(path);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", folder);
}

void
fsp_journal_close(struct fsp_journal *journal)
{
    if (journal == NULL)
        return;
    fsp_db_close(journal->db);
    fsp_buf_fini(&journal->why);
    free(journal->folder);
    free(journal);
}

const struct fsp_journal_about *
fsp_journal_about(const struct fsp_journal *journal)
{
    return &journal->about;
}

enum fsp_journal_state
fsp_journal_state(const struct fsp_journal *journal)
{
    return journal->state;
}

const char *
fsp_journal_state_why(const struct fsp_journal *journal)
{
    return fsp_buf_peek(&journal->why);
}

const char *
fsp_journal_state_text(enum fsp_journal_state state)
{
    switch (state) {
    case FSP_JOURNAL_SOUND:
        return "sound";
    case FSP_JOURNAL_RESTORED:
        return "restored";
    case FSP_JOURNAL_FORKED:
        return "forked";
    }
    return "unknown";
}

struct fsp_db *
fsp_journal_db(const struct fsp_journal *journal)
{
    return journal->db;
}

const struct fsp_env *
fsp_journal_env(const struct fsp_journal *journal)
{
    return journal->env;
}

const char *
fsp_journal_folder(const struct fsp_journal *journal)
{
    return journal->folder;
}

void
fsp_journal_set_zone(struct fsp_journal *journal, int zone_minutes)
{
    journal->has_zone = true;
    journal->zone_minutes = zone_minutes;
}

enum fsp_rc
fsp_journal_key(const struct fsp_journal *journal, struct fsp_skey **out, struct fsp_err *err)
{
    char name[sizeof(FSP_JOURNAL_KEY) + sizeof(journal->tail)];
    char *path;
    enum fsp_rc rc;

    (void)snprintf(name, sizeof(name), FSP_JOURNAL_KEY, journal->tail);
    path = fsp_file_join(journal->folder, name);
    *out = NULL;
    if (path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_skey_load(out, path, err);
    if (rc == FSP_ENOTFOUND)
        rc = fsp_err_set(err, rc,
                "%s: the key of this log is not there; if it is lost, ask the office for an "
                "invitation, then run: farspool-rig renew --why TEXT --invitation FILE",
                path);
    if (rc == FSP_OK && !fsp_vkey_equal(fsp_skey_vkey(*out), &journal->about.vkey)) {
        fsp_skey_free(*out);
        *out = NULL;
        rc = fsp_err_set(err, FSP_EVERIFY, "%s: is not the key of this log (%s)", path,
                journal->about.origin);
    }
    free(path);
    return rc;
}

/* ---- state ------------------------------------------------------------------------------- */

static void
set_state(struct fsp_journal *journal, enum fsp_journal_state state, const char *why)
{
    journal->state = state;
    fsp_buf_reset(&journal->why);
    fsp_buf_add_text(&journal->why, why);
}

/* A verdict of the office's that was kept: ours contradicts, or is behind. */
static enum fsp_rc
judge_forks(struct fsp_journal *journal, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;
    bool row = false;

    rc = fsp_stmt_get(journal->db, FSP_SQL_FORK_FIRST, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, journal->log);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc != FSP_OK || !row)
        return rc;
    if (strncmp(fsp_stmt_text(stmt, 0), "restored", 8) == 0)
        set_state(journal, FSP_JOURNAL_RESTORED,
                "the office holds more of this log than is stored here: restored copy");
    else
        set_state(journal, FSP_JOURNAL_FORKED,
                "a head signed by this rig's key contradicts what is stored here: another copy "
                "of this store has been writing");
    fsp_stmt_reset(stmt);
    return FSP_OK;
}

static enum fsp_rc
judge_signed_size(struct fsp_journal *journal, struct fsp_err *err)
{
    struct fsp_checkpoint last;
    struct fsp_range range;
    uint8_t root[FSP_HASH_LEN];
    enum fsp_rc rc = fsp_signed_size_read(journal->folder, journal->tail, &last, err);

    if (rc == FSP_ENOTFOUND || rc == FSP_EFORMAT) {
        fsp_err_clear(err);
        set_state(journal, FSP_JOURNAL_RESTORED,
                "the file signed-size is missing or damaged: cannot tell a restored copy");
        return FSP_OK;
    }
    if (rc != FSP_OK)
        return rc;
    if (strcmp(last.origin, journal->about.origin) != 0) {
        set_state(journal, FSP_JOURNAL_RESTORED, "the file signed-size is another log's");
        return FSP_OK;
    }
    rc = fsp_logtable_tip(journal->db, journal->log, &range, err);
    if (rc != FSP_OK)
        return rc;
    if (range.size < last.size) {
        char why[160];

        (void)snprintf(why, sizeof(why),
                "%llu records were signed once but only %llu are stored: restored copy",
                (unsigned long long)last.size, (unsigned long long)range.size);
        set_state(journal, FSP_JOURNAL_RESTORED, why);
        return FSP_OK;
    }
    rc = fsp_head_range(journal->db, journal->log, last.size, &range, err);
    if (rc != FSP_OK)
        return rc;
    fsp_range_root(&range, root);
    if (memcmp(root, last.root, sizeof(root)) != 0)
        set_state(journal, FSP_JOURNAL_FORKED,
                "what is stored differs from what was signed last: restored copy that went on");
    return FSP_OK;
}

enum fsp_rc
fsp_journal_rejudge(struct fsp_journal *journal, struct fsp_err *err)
{
    bool unknown = false;
    enum fsp_rc rc;

    /* Another process may be appending: signed-size is read before the tip, so a sound log is
     * never seen as shorter than it. */
    set_state(journal, FSP_JOURNAL_SOUND, "");
    rc = fsp_journal_refresh(journal, err);
    if (rc == FSP_OK)
        rc = judge_forks(journal, err);
    if (rc == FSP_OK && journal->state == FSP_JOURNAL_SOUND)
        rc = judge_signed_size(journal, err);
    if (rc == FSP_OK && journal->state == FSP_JOURNAL_SOUND)
        rc = fsp_journal_find_unknown(journal, &unknown, err);
    if (unknown)
        set_state(journal, FSP_JOURNAL_RESTORED,
                "a later log of this store was signed, but the database does not know it: "
                "restored copy");
    return rc;
}

/* ---- times and progress ------------------------------------------------------------------ */

static enum fsp_rc
noted_of(struct fsp_db *db, const struct fsp_place *place, bool *has, int64_t *noted_s,
        struct fsp_err *err)
{
    struct fsp_record *record = NULL;
    struct fsp_buf bytes;
    enum fsp_rc rc;

    *has = false;
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    rc = fsp_logtable_get(db, place->log, place->index, &bytes, err);
    if (rc == FSP_OK && fsp_record_parse(bytes.data, bytes.len, &record, NULL) == FSP_OK)
        *has = fsp_record_time(record, "noted", noted_s);
    fsp_record_free(record);
    fsp_buf_fini(&bytes);
    return rc;
}

enum fsp_rc
fsp_journal_times(
        struct fsp_journal *journal, int64_t *noted_s, int64_t *receipt_s, struct fsp_err *err)
{
    struct fsp_place last = {.log = journal->log};
    struct fsp_stmt *stmt = NULL;
    struct fsp_range range;
    uint64_t stored = 0;
    int64_t last_s = 0;
    enum fsp_rc rc;
    bool has = false;
    bool row = false;

    *noted_s = 0;
    *receipt_s = 0;
    rc = fsp_logtable_tip(journal->db, journal->log, &range, err);
    last.index = range.size - 1;
    if (rc == FSP_OK && range.size > 0)
        rc = noted_of(journal->db, &last, &has, &last_s, err);
    if (rc == FSP_OK)
        rc = meta_u64(journal->db, "noted", &stored, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(journal->db, FSP_SQL_RECEIPT_TIME, &stmt, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_step(stmt, &row, err);
    if (rc != FSP_OK)
        return rc;
    *receipt_s = fsp_stmt_int(stmt, 0);
    fsp_stmt_reset(stmt);
    *noted_s = (int64_t)stored;
    if (has && last_s > *noted_s)
        *noted_s = last_s;
    return FSP_OK;
}

enum fsp_rc
fsp_journal_present(struct fsp_journal *journal, int64_t *present_s, struct fsp_err *err)
{
    int64_t noted_s;
    int64_t receipt_s;
    enum fsp_rc rc = fsp_journal_times(journal, &noted_s, &receipt_s, err);

    *present_s = journal->env->utc_us(journal->env->ctx) / FSP_US_PER_S;
    if (noted_s > *present_s)
        *present_s = noted_s;
    if (receipt_s > *present_s)
        *present_s = receipt_s;
    return rc;
}

static enum fsp_rc
last_receipt(struct fsp_db *db, int64_t log, struct fsp_journal_progress *progress,
        struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;

    rc = fsp_stmt_get(db, FSP_SQL_RECEIPT_LAST, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log);
    rc = fsp_stmt_step(stmt, &progress->receipted, err);
    if (rc != FSP_OK || !progress->receipted)
        return rc;
    progress->receipt_size = (uint64_t)fsp_stmt_int(stmt, 0);
    progress->receipt_time_s = fsp_stmt_int(stmt, 1);
    fsp_stmt_reset(stmt);
    return FSP_OK;
}

enum fsp_rc
fsp_journal_progress_of(struct fsp_journal *journal, const struct fsp_journal_log *log,
        struct fsp_journal_progress *progress, struct fsp_err *err)
{
    struct fsp_place oldest = {.log = log->id, .index = log->held};
    enum fsp_rc rc;

    memset(progress, 0, sizeof(*progress));
    progress->size = log->size;
    progress->held = log->held;
    progress->went_back = log->went_back;
    rc = last_receipt(journal->db, log->id, progress, err);
    if (rc == FSP_OK && log->held < log->size)
        rc = noted_of(
                journal->db, &oldest, &progress->has_oldest, &progress->oldest_noted_s, err);
    return rc;
}

/* The current log's, then what the closed ones add. */
static enum fsp_rc
read_progress(struct fsp_journal *journal, const struct fsp_journal_log *logs, size_t n,
        struct fsp_journal_progress *progress, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_journal_progress_of(journal, &logs[n - 1], progress, err);

    for (size_t i = n - 1; rc == FSP_OK && i-- > 0;) {
        struct fsp_journal_progress one;

        rc = fsp_journal_progress_of(journal, &logs[i], &one, err);
        if (rc != FSP_OK)
            break;
        progress->older += one.size - one.held;
        progress->went_back = progress->went_back || one.went_back;
        if (one.receipt_time_s > progress->receipt_time_s)
            progress->receipt_time_s = one.receipt_time_s;
        if (one.has_oldest) {
            progress->has_oldest = true;
            progress->oldest_noted_s = one.oldest_noted_s;
        }
    }
    return rc;
}

enum fsp_rc
fsp_journal_progress(
        struct fsp_journal *journal, struct fsp_journal_progress *progress, struct fsp_err *err)
{
    struct fsp_journal_log *logs = NULL;
    size_t n = 0;
    enum fsp_rc rc;

    memset(progress, 0, sizeof(*progress));
    rc = fsp_db_begin_read(journal->db, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_journal_logs(journal, &logs, &n, err);
    if (rc == FSP_OK)
        rc = read_progress(journal, logs, n, progress, err);
    free(logs);
    fsp_db_rollback(journal->db);
    return rc;
}

enum fsp_rc
fsp_journal_sending(
        struct fsp_journal *journal, struct fsp_journal_log *out, struct fsp_err *err)
{
    struct fsp_journal_log *logs = NULL;
    size_t n = 0;
    size_t i = 0;
    enum fsp_rc rc = fsp_journal_logs(journal, &logs, &n, err);

    memset(out, 0, sizeof(*out));
    if (rc != FSP_OK)
        return rc;
    while (i + 1 < n && logs[i].held >= logs[i].size)
        i++;
    *out = logs[i];
    free(logs);
    return FSP_OK;
}

/* ---- what a check of typed records needs -------------------------------------------------- */

static enum fsp_rc
entry_name(void *ctx, uint64_t index, char *out, struct fsp_err *err)
{
    struct fsp_journal *journal = ctx;
    uint8_t leaf[FSP_HASH_LEN];
    struct fsp_range range;
    struct fsp_buf bytes;
    struct fsp_buf text;
    enum fsp_rc rc;

    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    fsp_buf_init(&text, 511);
    rc = fsp_logtable_tip(journal->db, journal->log, &range, err);
    if (rc != FSP_OK)
        goto out;
    if (index >= range.size) {
        rc = fsp_err_set(err, FSP_ENOTFOUND,
                "there is no entry %llu; this log has %llu (0 is the first), see: print",
                (unsigned long long)index, (unsigned long long)range.size);
        goto out;
    }
    rc = fsp_logtable_get(journal->db, journal->log, index, &bytes, err);
    if (rc != FSP_OK)
        goto out;
    fsp_leaf_hash(bytes.data, bytes.len, leaf);
    fsp_buf_printf(&text, "{\"index\":%llu,\"leaf\":\"", (unsigned long long)index);
    fsp_base64(&text, leaf, sizeof(leaf));
    fsp_buf_printf(&text, "\",\"log\":\"%s\"}", journal->about.incarnation);
    rc = fsp_buf_check(&text, "an entry's name", err);
    if (rc == FSP_OK)
        memcpy(out, fsp_buf_peek(&text), text.len + 1);
out:
    fsp_buf_fini(&text);
    fsp_buf_fini(&bytes);
    return rc;
}

enum fsp_rc
fsp_journal_rig_zone(struct fsp_journal *journal, int *zone_minutes, struct fsp_err *err)
{
    struct fsp_buf text;
    enum fsp_rc rc;

    fsp_buf_init(&text, 16);
    rc = fsp_journal_meta(journal->db, "zone", &text, err);
    if (rc == FSP_OK)
        rc = fsp_time_zone(fsp_buf_peek(&text), zone_minutes, err);
    fsp_buf_fini(&text);
    return rc;
}

enum fsp_rc
fsp_journal_context(
        struct fsp_journal *journal, struct fsp_check_context *context, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    memset(context, 0, sizeof(*context));
    if (!journal->has_zone) /* looked up each time: another process may enter the rig */
        rc = fsp_journal_rig_zone(journal, &journal->zone_minutes, err);
    if (rc == FSP_OK)
        context->zone_minutes = &journal->zone_minutes;
    else if (rc != FSP_ENOTFOUND)
        return rc;
    fsp_err_clear(err);
    context->entry_name = entry_name;
    context->ctx = journal;
    return fsp_journal_present(journal, &context->present_s, err);
}
