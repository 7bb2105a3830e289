/*
 * Invariants
 *  1. Everything changes in one transaction: the office's versions, the chain, the renewal, what is
 *     appended again. Before it only heads of the old log, a new key file and its size file are made,
 *     which nobody names until then.
 *  2. No entry of ours is lost: each is in a log of the chain, appended again, or (when a person typed
 *     it again and the office has that) kept in the history that is set aside.
 *  3. No entry counts twice: the k-th of ours with an identity meets the k-th of the office's.
 *  4. The old key signs the renewal and nothing after it.
 *
 * Steps
 *  close_old      sound, key at hand: heads over all of the old log, so that it can be sent without key
 *  make_key       a new key and its size file beside the old ones
 *  in one transaction:
 *  fsp_renew_import  the hand-back (renew_import.c)
 *  settle_from    what the renewal names; what of ours is above it
 *  prove          the old key's signature, or an invitation
 *  write_chain    places and sizes; the new log is current
 *  begin_log      the renewal, then ours again
 */
#include "rig/renew.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/mem.h"
#include "base/text.h"
#include "proof/renewal.h"
#include "record/check.h"
#include "rig/head.h"
#include "rig/journal_sql.h"
#include "rig/renew_priv.h"
#include "rig/trust.h"
#include "store/logtable.h"

#define CLOSE_BYTES   ((size_t)64 * 1024) /* of entries under one head: a bundle holds them */
#define CLOSE_ENTRIES ((uint64_t)512)
#define CLOSE_ROUNDS  8

/* ---- closing the old log ------------------------------------------------------------------ */

/* Where the next head is due. */
struct closing {
    size_t bytes;
    uint64_t n;
};

static enum fsp_rc
count(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct closing *closing = ctx;

    (void)index;
    (void)bytes;
    (void)err;
    if (closing->n > 0 && (closing->bytes + len > CLOSE_BYTES || closing->n == CLOSE_ENTRIES))
        return FSP_ELIMIT;
    closing->bytes += len;
    closing->n++;
    return FSP_OK;
}

static enum fsp_rc
last_head(struct fsp_journal *journal, uint64_t *size, struct fsp_err *err)
{
    struct fsp_range range;
    struct fsp_buf note;
    enum fsp_rc rc;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = fsp_logtable_head_below(journal->db, journal->log, UINT64_MAX, &range, &note, err);
    fsp_buf_fini(&note);
    *size = rc == FSP_OK ? range.size : 0;
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static enum fsp_rc
close_old(struct fsp_journal *journal, const struct fsp_skey *skey, struct fsp_err *err)
{
    struct fsp_checkpoint head;
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_range tip;
    uint64_t signed_size = 0;
    enum fsp_rc rc = fsp_head_confirm_tip(journal, err);

    if (rc == FSP_OK)
        rc = last_head(journal, &signed_size, err);
    while (rc == FSP_OK) {
        struct closing closing = {.n = 0};

        rc = fsp_logtable_tip(journal->db, journal->log, &tip, err);
        if (rc != FSP_OK || signed_size >= tip.size)
            break;
        rc = fsp_logtable_scan(
                journal->db, journal->log, signed_size, tip.size, count, &closing, err);
        if (rc == FSP_ELIMIT) {
            fsp_err_clear(err);
            rc = FSP_OK;
        }
        signed_size += closing.n;
        if (rc == FSP_OK)
            rc = fsp_head_sign(journal, skey, signed_size, &head, sig, err);
    }
    return rc;
}

/* ---- keys --------------------------------------------------------------------------------- */

/* The key of one of the logs, when its file is here. *out NULL: it is not. */
static enum fsp_rc
find_key(const struct fsp_journal *journal, const struct fsp_vkey *vkey, struct fsp_skey **out,
        struct fsp_err *err)
{
    const char *incarnation = strrchr(vkey->name, '/');
    char tails[2][FSP_TAIL_MAX + 1] = {"", ""};
    enum fsp_rc rc = FSP_OK;

    *out = NULL;
    (void)snprintf(
            tails[1], sizeof(tails[1]), "-%.16s", incarnation == NULL ? "" : incarnation + 1);
    for (size_t i = 0; rc == FSP_OK && *out == NULL && i < 2; i++) {
        char name[sizeof(FSP_JOURNAL_KEY) + sizeof(tails)];
        char *path;

        (void)snprintf(name, sizeof(name), FSP_JOURNAL_KEY, tails[i]);
        path = fsp_file_join(journal->folder, name);
        if (path == NULL)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        if (fsp_file_exists(path))
            rc = fsp_skey_load(out, path, err);
        free(path);
        if (*out != NULL && !fsp_vkey_equal(fsp_skey_vkey(*out), vkey)) {
            fsp_skey_free(*out);
            *out = NULL;
        }
    }
    return rc;
}

struct fresh {
    struct fsp_journal_log log;
    char *key_path;
    char tail[FSP_TAIL_MAX + 1];
};

static enum fsp_rc
make_key(const struct fsp_journal *journal, struct fresh *fresh, struct fsp_err *err)
{
    const struct fsp_journal_about *about = &journal->about;
    struct fsp_checkpoint empty = {.size = 0};
    struct fsp_skey *skey = NULL;
    struct fsp_range range;
    uint8_t bytes[FSP_INCARNATION_LEN / 2];
    char name[sizeof(FSP_JOURNAL_KEY) + FSP_TAIL_MAX];
    enum fsp_rc rc;

    journal->env->random(journal->env->ctx, bytes, sizeof(bytes));
    fsp_text_hex(fresh->log.incarnation, bytes, sizeof(bytes));
    (void)snprintf(fresh->log.origin, sizeof(fresh->log.origin), "%s/%s/%s", about->fleet,
            about->rig, fresh->log.incarnation);
    (void)snprintf(fresh->tail, sizeof(fresh->tail), "-%s", fresh->log.incarnation);
    (void)snprintf(name, sizeof(name), FSP_JOURNAL_KEY, fresh->tail);
    fresh->key_path = fsp_file_join(journal->folder, name);
    if (fresh->key_path == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_skey_new(&skey, fresh->log.origin, FSP_KEY_NOTE, journal->env, err);
    if (rc == FSP_OK)
        rc = fsp_skey_save(skey, fresh->key_path, err);
    if (rc == FSP_OK) {
        fresh->log.vkey = *fsp_skey_vkey(skey);
        memcpy(empty.origin, fresh->log.origin, sizeof(empty.origin));
        fsp_range_init(&range);
        fsp_range_root(&range, empty.root);
        rc = fsp_signed_size_write(journal->folder, fresh->tail, &empty, err);
    }
    if (rc == FSP_OK)
        rc = fsp_file_sync_folder(journal->folder, err);
    fsp_skey_free(skey);
    return rc;
}

/* A renewal that came to nothing takes its own files away. */
static void
drop_key(const struct fsp_journal *journal, const struct fresh *fresh)
{
    char name[64];
    char *path;

    if (fresh->key_path != NULL)
        (void)unlink(fresh->key_path);
    (void)snprintf(name, sizeof(name), "signed-size%s", fresh->tail);
    path = fsp_file_join(journal->folder, name);
    if (path != NULL && fresh->tail[0] != '\0')
        (void)unlink(path);
    free(path);
}

/* ---- what is continued -------------------------------------------------------------------- */

/* Without a hand-back the chain stays as it is. */
static enum fsp_rc
take_chain(struct fsp_renewing *renewing, struct fsp_err *err)
{
    struct fsp_journal_log *logs = NULL;
    size_t n = 0;
    enum fsp_rc rc = fsp_journal_logs(renewing->journal, &logs, &n, err);

    renewing->first_new = INT64_MAX;
    renewing->from.size = UINT64_MAX;
    for (size_t i = 0; rc == FSP_OK && i < n; i++)
        rc = fsp_renew_add_chain(renewing, &logs[i], err);
    free(logs);
    return rc;
}

/* The last log, and from which size on: all of it when it is ours, whole and closed by its key; else
 * what the office has; else what was ever signed. What of ours is above goes into the new log. */
static enum fsp_rc
settle_from(struct fsp_renewing *renewing, bool closed, struct fsp_err *err)
{
    struct fsp_journal *journal = renewing->journal;
    struct fsp_journal_log *last;
    struct fsp_checkpoint *from = &renewing->from;
    struct fsp_checkpoint last_signed;
    struct fsp_range range;
    enum fsp_rc rc = FSP_OK;

    if (renewing->n_chain == 0)
        return fsp_err_set(err, FSP_EVERIFY, "the hand-back holds no log to continue");
    last = &renewing->chain[renewing->n_chain - 1];
    memcpy(from->origin, last->origin, sizeof(from->origin));
    if (last->id >= renewing->first_new || !last->current)
        return FSP_OK; /* the office's: from is set */
    if (closed && last->size == 0)
        return fsp_err_set(err, FSP_EINVAL,
                "nothing is entered yet, so there is nothing to continue; make another store "
                "with: farspool-rig init");
    if (closed) {
        from->size = last->size;
    } else if (from->size == UINT64_MAX) {
        rc = fsp_signed_size_read(journal->folder, journal->tail, &last_signed, err);
        from->size = last_signed.size;
    }
    if (rc == FSP_OK && from->size > last->size)
        rc = fsp_err_set(err, FSP_EFORK,
                "%s: more was signed than is stored; a hand-back of "
                "the office is needed (--hand-back FILE)",
                journal->folder);
    if (rc == FSP_OK)
        rc = fsp_head_range(journal->db, last->id, from->size, &range, err);
    if (rc != FSP_OK)
        return rc;
    fsp_range_root(&range, from->root);
    rc = fsp_renew_add_own(renewing, last->id, from->size, last->size, err);
    last->size = from->size;
    last->current = false;
    if (last->held > last->size)
        last->held = last->size;
    return rc;
}

static enum fsp_rc
prove(struct fsp_renewing *renewing, const struct fresh *fresh, struct fsp_renewal *renewal,
        struct fsp_err *err)
{
    const struct fsp_journal_log *last = &renewing->chain[renewing->n_chain - 1];
    struct fsp_skey *old_key = NULL;
    enum fsp_rc rc = find_key(renewing->journal, &last->vkey, &old_key, err);

    memset(renewal, 0, sizeof(*renewal));
    renewal->from = renewing->from;
    if (rc == FSP_OK && old_key != NULL)
        rc = fsp_renewal_sign(renewal, old_key, &fresh->log.vkey, err);
    else if (rc == FSP_OK && renewing->options->invitation == NULL)
        rc = fsp_err_set(err, FSP_EINVAL,
                "the key of %s is not here, so a new invitation of the office is needed: "
                "--invitation FILE",
                last->origin);
    fsp_skey_free(old_key);
    renewing->report->proved = renewal->has_proof;
    return rc;
}

/* ---- writing ------------------------------------------------------------------------------ */

static enum fsp_rc
free_places(struct fsp_journal *journal, struct fsp_err *err)
{
    return fsp_db_run(journal->db,
            "UPDATE chain SET ordinal = NULL, upto = ifnull(upto, ifnull((SELECT size FROM tip"
            " WHERE log = id), 0))",
            err);
}

static enum fsp_rc
place(struct fsp_renewing *renewing, size_t i, struct fsp_err *err)
{
    struct fsp_db *db = renewing->journal->db;
    struct fsp_journal_log *log = &renewing->chain[i];
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;

    log->ordinal = i;
    log->current = false;
    if (log->id >= renewing->first_new)
        return fsp_journal_add_log(db, log, err);
    rc = fsp_stmt_get(db, FSP_SQL_CHAIN_PLACE, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log->id);
    fsp_stmt_bind_int(stmt, 2, (int64_t)i);
    fsp_stmt_bind_int(stmt, 3, (int64_t)log->size);
    rc = fsp_stmt_run(stmt, err);
    return rc == FSP_OK ? fsp_journal_set_held(renewing->journal, log->id, log->held, err) : rc;
}

static enum fsp_rc
write_chain(struct fsp_renewing *renewing, struct fresh *fresh, struct fsp_err *err)
{
    const struct fsp_invitation *invitation = renewing->options->invitation;
    struct fsp_journal *journal = renewing->journal;
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = free_places(journal, err);

    for (size_t i = 0; rc == FSP_OK && i < renewing->n_chain; i++)
        rc = place(renewing, i, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(journal->db, FSP_SQL_CHAIN_NEXT, &stmt, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_step(stmt, &row, err);
    if (rc != FSP_OK)
        return rc;
    fresh->log.id = fsp_stmt_int(stmt, 0);
    fsp_stmt_reset(stmt);
    fresh->log.ordinal = renewing->n_chain;
    fresh->log.current = true;
    if (invitation != NULL)
        fsp_text_hex(fresh->log.token, invitation->token, sizeof(invitation->token));
    rc = fsp_journal_add_log(journal->db, &fresh->log, err);
    return rc == FSP_OK ? fsp_journal_refresh(journal, err) : rc;
}

struct remembering {
    struct fsp_journal *journal;
    int64_t log;
};

static enum fsp_rc
remember(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    const struct remembering *remembering = ctx;
    const struct fsp_place at = {.log = remembering->log, .index = index};

    return fsp_renew_forms(remembering->journal, &at, bytes, len, err);
}

/* Amended forms and the zone of the logs that came. */
static enum fsp_rc
remember_new(struct fsp_renewing *renewing, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < renewing->n_chain; i++) {
        struct remembering remembering = {renewing->journal, renewing->chain[i].id};

        if (renewing->chain[i].id >= renewing->first_new)
            rc = fsp_logtable_scan(renewing->journal->db, remembering.log, 0,
                    renewing->chain[i].size, remember, &remembering, err);
    }
    return rc;
}

/* ---- the new log -------------------------------------------------------------------------- */

/* The record, checked like any other that is typed. */
static enum fsp_rc
make_record(struct fsp_renewing *renewing, const struct fsp_renewal *renewal,
        struct fsp_buf *bytes, struct fsp_err *err)
{
    struct fsp_journal *journal = renewing->journal;
    char noted[FSP_TIME_TEXT_LEN + 1];
    struct fsp_check_context context;
    struct fsp_record *record = NULL;
    struct fsp_buf from;
    struct fsp_buf proof;
    struct fsp_typed members[] = {{"at", noted}, {"by", renewing->options->by},
            {"why", renewing->options->why}, {"from", ""}, {"proof", ""}};
    enum fsp_rc rc = fsp_journal_context(journal, &context, err);

    fsp_buf_init(&from, FSP_ENTRY_MAX);
    fsp_buf_init(&proof, 256);
    fsp_time_text(journal->env->utc_us(journal->env->ctx) / FSP_US_PER_S, noted);
    fsp_renewal_write_from(renewal, &from);
    if (renewal->has_proof)
        fsp_base64(&proof, renewal->proof, sizeof(renewal->proof));
    members[3].value = fsp_buf_peek(&from);
    members[4].value = fsp_buf_peek(&proof);
    if (rc == FSP_OK)
        rc = fsp_check_typed("renewal", members, 5, &context, &record, err);
    if (rc == FSP_OK)
        rc = fsp_record_set_text(record, "noted", noted, err);
    if (rc == FSP_OK) {
        fsp_record_write(record, bytes);
        rc = fsp_buf_check(bytes, "a renewal", err);
    }
    fsp_record_free(record);
    fsp_buf_fini(&proof);
    fsp_buf_fini(&from);
    return rc;
}

/* One entry of the new log, and all that is remembered of it. */
struct beginning {
    struct fsp_renewing *renewing;
    int64_t log;
    struct fsp_range range;
    int64_t own; /* where it comes from: that log of ours */
};

static enum fsp_rc
append(struct beginning *beginning, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct fsp_journal *journal = beginning->renewing->journal;
    const struct fsp_place at = {.log = beginning->log, .index = beginning->range.size};
    struct fsp_record *record = NULL;
    struct fsp_ident ident;
    enum fsp_rc rc = fsp_renew_ident(bytes, len, &ident, &record, err);

    if (rc == FSP_OK)
        rc = fsp_logtable_append(
                journal->db, beginning->log, &beginning->range, bytes, len, err);
    if (rc == FSP_OK && record != NULL)
        rc = fsp_journal_keep_ident(journal->db, &at, ident.key, ident.hash, err);
    if (rc == FSP_OK)
        rc = fsp_renew_forms(journal, &at, bytes, len, err);
    fsp_record_free(record);
    return rc;
}

/* An entry of ours stands there now: for amendments that name it, and for its --once token. */
static enum fsp_rc
keep_moved(struct beginning *beginning, uint64_t index, const uint8_t *bytes, size_t len,
        const struct fsp_place *to, struct fsp_err *err)
{
    struct fsp_db *db = beginning->renewing->journal->db;
    struct fsp_stmt *stmt = NULL;
    uint8_t leaf[FSP_HASH_LEN];
    enum fsp_rc rc = fsp_stmt_get(db, FSP_SQL_MOVED_ADD, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_leaf_hash(bytes, len, leaf);
    fsp_stmt_bind_blob(stmt, 1, leaf, sizeof(leaf));
    fsp_stmt_bind_int(stmt, 2, to->log);
    fsp_stmt_bind_int(stmt, 3, (int64_t)to->index);
    rc = fsp_stmt_run(stmt, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(db, "UPDATE once SET log = ?3, idx = ?4 WHERE log = ?1 AND idx = ?2",
                &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, beginning->own);
    fsp_stmt_bind_int(stmt, 2, (int64_t)index);
    fsp_stmt_bind_int(stmt, 3, to->log);
    fsp_stmt_bind_int(stmt, 4, (int64_t)to->index);
    return fsp_stmt_run(stmt, err);
}

/* Another entry has the same time, kind and op: a second piece of work, or the same one twice. */
static enum fsp_rc
count_doubtful(
        struct fsp_renewing *renewing, const struct fsp_ident *ident, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(renewing->journal->db, FSP_SQL_IDENT_GET, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_text(stmt, 1, ident->key);
    rc = fsp_stmt_step(stmt, &row, err);
    fsp_stmt_reset(stmt);
    renewing->report->doubtful += row ? 1 : 0;
    return rc;
}

static enum fsp_rc
again(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct beginning *beginning = ctx;
    struct fsp_renewing *renewing = beginning->renewing;
    struct fsp_renew_report *report = renewing->report;
    struct fsp_place to = {.log = beginning->log, .index = beginning->range.size};
    struct fsp_record *record = NULL;
    struct fsp_ident ident;
    enum fsp_rc rc = fsp_renew_ident(bytes, len, &ident, &record, err);

    fsp_record_free(record);
    if (rc != FSP_OK)
        return rc;
    if (fsp_renew_meet(renewing, ident.hash, &to)) {
        report->typed_again++;
        return keep_moved(beginning, index, bytes, len, &to, err);
    }
    if (report->again == 0)
        report->first_again = to.index;
    report->again++;
    rc = count_doubtful(renewing, &ident, err);
    if (rc != FSP_OK)
        return rc;
    /* Its place first: an amendment among them may name an earlier one. */
    rc = keep_moved(beginning, index, bytes, len, &to, err);
    return rc == FSP_OK ? append(beginning, bytes, len, err) : rc;
}

static enum fsp_rc
begin_log(struct fsp_renewing *renewing, const struct fsp_renewal *renewal, struct fsp_err *err)
{
    struct fsp_journal *journal = renewing->journal;
    struct beginning beginning = {.renewing = renewing, .log = journal->log};
    struct fsp_buf bytes;
    enum fsp_rc rc;

    fsp_range_init(&beginning.range);
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    rc = make_record(renewing, renewal, &bytes, err);
    if (rc == FSP_OK)
        rc = append(&beginning, bytes.data, bytes.len, err);
    for (size_t i = 0; rc == FSP_OK && i < renewing->n_own; i++) {
        const struct fsp_own *own = &renewing->own[i];

        beginning.own = own->log;
        rc = fsp_logtable_scan(
                journal->db, own->log, own->from, own->to, again, &beginning, err);
    }
    if (rc == FSP_OK)
        rc = fsp_logtable_set_tip(journal->db, journal->log, &beginning.range, err);
    fsp_buf_fini(&bytes);
    return rc;
}

/* ---- all of it ---------------------------------------------------------------------------- */

static enum fsp_rc
check_options(const struct fsp_journal *journal, const struct fsp_renew_options *options,
        struct fsp_err *err)
{
    const struct fsp_invitation *invitation = options->invitation;
    const struct fsp_journal_about *about = &journal->about;

    if (invitation != NULL && (strcmp(invitation->fleet, about->fleet) != 0 ||
                                      strcmp(invitation->rig, about->rig) != 0))
        return fsp_err_set(err, FSP_EINVAL,
                "the invitation is for rig %s of %s, this is %s of %s", invitation->rig,
                invitation->fleet, about->rig, about->fleet);
    if (options->back == NULL && journal->state != FSP_JOURNAL_SOUND)
        return fsp_err_set(err, FSP_EFORK,
                "history incomplete: %s; a hand-back of the office is needed: --hand-back FILE "
                "(there: farspool-office hand-back %s --out FILE)",
                fsp_buf_peek(&journal->why), about->rig);
    return FSP_OK;
}

static enum fsp_rc
run_transaction(
        struct fsp_renewing *renewing, struct fresh *fresh, bool closed, struct fsp_err *err)
{
    struct fsp_renew_report *report = renewing->report;
    struct fsp_renewal renewal;
    enum fsp_rc rc = renewing->options->back != NULL ? fsp_renew_import(renewing, err)
                                                     : take_chain(renewing, err);

    if (rc == FSP_OK)
        rc = settle_from(renewing, closed, err);
    if (rc == FSP_OK)
        rc = prove(renewing, fresh, &renewal, err);
    if (rc == FSP_OK)
        rc = write_chain(renewing, fresh, err);
    if (rc == FSP_OK)
        rc = remember_new(renewing, err);
    fsp_renew_sort(renewing);
    if (rc == FSP_OK)
        rc = begin_log(renewing, &renewal, err);
    if (rc == FSP_OK && renewing->options->invitation != NULL)
        rc = fsp_trust_invited(renewing->journal, renewing->options->invitation, err);
    memcpy(report->from, renewing->from.origin, sizeof(report->from));
    report->from_size = renewing->from.size;
    return rc;
}

/* Entries that another process appends between the closing heads and the transaction go into the new
 * log: `closed` is only true when there are none. */
static enum fsp_rc
try_once(struct fsp_renewing *renewing, struct fresh *fresh, bool may_close, bool *again_please,
        struct fsp_err *err)
{
    struct fsp_journal *journal = renewing->journal;
    uint64_t signed_size = 0;
    struct fsp_range tip;
    enum fsp_rc rc = fsp_db_begin(journal->db, err);

    *again_please = false;
    if (rc == FSP_OK)
        rc = fsp_logtable_tip(journal->db, journal->log, &tip, err);
    if (rc == FSP_OK)
        rc = last_head(journal, &signed_size, err);
    if (rc == FSP_OK && may_close && signed_size < tip.size) {
        *again_please = true;
        fsp_db_rollback(journal->db);
        return FSP_OK;
    }
    if (rc == FSP_OK)
        rc = run_transaction(renewing, fresh, may_close, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(journal->db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(journal->db);
    return rc;
}

static enum fsp_rc
renew(struct fsp_renewing *renewing, struct fresh *fresh, struct fsp_err *err)
{
    struct fsp_journal *journal = renewing->journal;
    struct fsp_skey *old_key = NULL;
    bool again_please = true;
    bool may_close;
    enum fsp_rc rc = find_key(journal, &journal->about.vkey, &old_key, err);

    may_close = old_key != NULL && journal->state == FSP_JOURNAL_SOUND;
    if (rc == FSP_OK)
        rc = make_key(journal, fresh, err);
    for (int i = 0; rc == FSP_OK && again_please; i++) {
        if (i == CLOSE_ROUNDS) {
            rc = fsp_err_set(err, FSP_EBUSY, "records keep coming in; try again in a moment");
            break;
        }
        if (may_close)
            rc = close_old(journal, old_key, err);
        if (rc == FSP_OK)
            rc = try_once(renewing, fresh, may_close, &again_please, err);
    }
    fsp_skey_free(old_key);
    return rc;
}

enum fsp_rc
fsp_renew(struct fsp_journal *journal, const struct fsp_renew_options *options,
        struct fsp_renew_report *report, struct fsp_err *err)
{
    struct fsp_renewing renewing = {.journal = journal, .options = options, .report = report};
    struct fresh fresh = {.key_path = NULL};
    int64_t before = journal->log;
    enum fsp_rc rc = fsp_journal_rejudge(journal, err);

    memset(report, 0, sizeof(*report));
    if (rc == FSP_OK)
        rc = check_options(journal, options, err);
    if (rc == FSP_OK)
        rc = renew(&renewing, &fresh, err);
    if (rc == FSP_OK) {
        rc = fsp_journal_rejudge(journal, err);
    } else {
        /* The transaction is undone; unless the commit's outcome is not known. */
        if (!fsp_db_broken(journal->db))
            drop_key(journal, &fresh);
        journal->log = before == journal->log ? before : 0; /* read it again at the next look */
    }
    free(fresh.key_path);
    free(renewing.chain);
    free(renewing.own);
    free(renewing.theirs);
    return rc;
}
