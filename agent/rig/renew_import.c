/*
 * Taking the hand-back: the office's version of each log, verified entry by entry, set beside ours.
 *
 *  office's and ours                              what becomes of them
 *  the same, or ours is longer                    ours stays; what is above goes on as it was
 *  the office's is longer                         the office's takes the place; ours is its beginning
 *  they differ from some entry on                 the office's takes the place; ours is set aside, its
 *                                                 entries from there on are appended again
 *  a log that is not here                         taken
 *  a log of ours that the office does not have    stays, behind; set aside when it continues what is no
 *                                                 longer in the chain, its entries appended again
 */
#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "proof/note.h"
#include "proof/register.h"
#include "proof/renewal.h"
#include "rig/head.h"
#include "rig/journal_sql.h"
#include "rig/renew_priv.h"
#include "store/logtable.h"

/* One log on its way in. */
struct taking {
    struct fsp_renewing *renewing;
    const struct fsp_handback_log *theirs;
    const struct fsp_journal_log *ours; /* NULL: none of this name */
    uint64_t ours_stored;               /* entries stored of ours, counted or not */
    bool last;                          /* of the hand-back */
    int64_t log;                        /* the id it gets */
    struct fsp_range range;             /* over what came */
    uint64_t common;                    /* entries that are the same from the first on */
    bool apart;                         /* they differ at `common` */
    struct fsp_range common_range;
    size_t head_pos;
    struct fsp_checkpoint head; /* the next head to come */
    const uint8_t *head_note;
    size_t head_len;
};

/* ---- heads ------------------------------------------------------------------------------- */

/* The next head of the file: ours by its signature. head_note NULL at the end. */
static enum fsp_rc
next_head(struct taking *taking, struct fsp_err *err)
{
    struct fsp_note note;
    uint64_t before = taking->head.size;
    enum fsp_rc rc = fsp_handback_head(
            taking->theirs, &taking->head_pos, &taking->head_note, &taking->head_len);

    if (rc == FSP_ENOTFOUND)
        return FSP_OK;
    if (rc == FSP_OK)
        rc = fsp_note_parse(&note, taking->head_note, taking->head_len, err);
    if (rc == FSP_OK)
        rc = fsp_checkpoint_parse(&taking->head, note.text, note.text_len, err);
    if (rc == FSP_OK && (strcmp(taking->head.origin, taking->theirs->vkey.name) != 0 ||
                                taking->head.size <= before))
        rc = fsp_err_set(err, FSP_EFORMAT, "the heads of the hand-back are out of order");
    if (rc == FSP_OK)
        rc = fsp_note_verify(&note, &taking->theirs->vkey, NULL, err);
    if (rc == FSP_ENOTFOUND)
        rc = fsp_err_set(err, FSP_EVERIFY, "a head of the hand-back is not signed by its log");
    return rc;
}

static enum fsp_rc
add_receipt(struct taking *taking, uint64_t time_s, struct fsp_err *err)
{
    const struct fsp_env *env = taking->renewing->journal->env;
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc =
            fsp_stmt_get(taking->renewing->journal->db, FSP_SQL_RECEIPT_ADD, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, taking->log);
    fsp_stmt_bind_int(stmt, 2, (int64_t)taking->head.size);
    fsp_stmt_bind_int(stmt, 3, (int64_t)time_s);
    fsp_stmt_bind_int(stmt, 4, env->utc_us(env->ctx) / FSP_US_PER_S);
    return fsp_stmt_run(stmt, err);
}

/* The entries so far are those of the head: keep it, and as a receipt when the office's key of today
 * cosigned it. */
static enum fsp_rc
take_head(struct taking *taking, struct fsp_err *err)
{
    const struct fsp_journal *journal = taking->renewing->journal;
    const struct fsp_env *env = journal->env;
    uint8_t root[FSP_HASH_LEN];
    struct fsp_note note;
    uint64_t time_s = 0;
    enum fsp_rc rc;

    fsp_range_root(&taking->range, root);
    if (memcmp(root, taking->head.root, sizeof(root)) != 0)
        return fsp_err_set(err, FSP_EVERIFY,
                "the hand-back's entries are not those of its signed head over %llu records",
                (unsigned long long)taking->head.size);
    rc = fsp_logtable_add_head(journal->db, taking->log, &taking->range, taking->head_note,
            taking->head_len, env->utc_us(env->ctx) / FSP_US_PER_S, err);
    if (rc == FSP_OK)
        rc = fsp_note_parse(&note, taking->head_note, taking->head_len, err);
    if (rc != FSP_OK)
        return rc;
    rc = fsp_note_verify(&note, &journal->about.cosigner, &time_s, err);
    if (rc == FSP_OK)
        rc = add_receipt(taking, time_s, err);
    else if (rc == FSP_ENOTFOUND)
        rc = FSP_OK; /* by an earlier key of the office */
    return rc == FSP_OK ? next_head(taking, err) : rc;
}

/* ---- entries ----------------------------------------------------------------------------- */

enum fsp_rc
fsp_renew_ident(const uint8_t *bytes, size_t len, struct fsp_ident *ident,
        struct fsp_record **record, struct fsp_err *err)
{
    uint8_t leaf[FSP_HASH_LEN];
    enum fsp_rc rc = fsp_record_parse(bytes, len, record, err);

    ident->key[0] = '\0';
    if (rc == FSP_OK && (fsp_record_text(*record, "at") == NULL ||
                                fsp_record_text(*record, "kind") == NULL)) {
        fsp_record_free(*record);
        *record = NULL;
        rc = FSP_EFORMAT;
    }
    if (rc == FSP_OK)
        return fsp_journal_ident(*record, ident, err);
    *record = NULL;
    if (rc == FSP_ENOMEM)
        return rc;
    fsp_err_clear(err);
    fsp_leaf_hash(bytes, len, leaf);
    memcpy(ident->hash, leaf, sizeof(ident->hash));
    return FSP_OK;
}

enum fsp_rc
fsp_renew_forms(struct fsp_journal *journal, const struct fsp_place *place,
        const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct fsp_record *record = NULL;
    struct fsp_ident ident;
    enum fsp_rc rc = fsp_renew_ident(bytes, len, &ident, &record, err);

    if (rc == FSP_OK && record != NULL)
        rc = fsp_journal_keep_zone(journal->db, record, err);
    if (rc == FSP_OK && record != NULL) {
        rc = fsp_journal_note_amendment(journal, record, place, err);
        /* It is an entry already, whatever its amendment is worth: nothing to remember then. */
        if (rc == FSP_EFORMAT || rc == FSP_ELIMIT || rc == FSP_EINVAL) {
            fsp_err_clear(err);
            rc = FSP_OK;
        }
    }
    if (rc == FSP_OK && record != NULL)
        rc = fsp_journal_note_word(journal, record, place, err);
    fsp_record_free(record);
    return rc;
}

/* Its identity: for day sheets, and when it is above the last common entry for ours. */
static enum fsp_rc
identify(struct taking *taking, const struct fsp_place *place, const uint8_t *bytes, size_t len,
        struct fsp_err *err)
{
    struct fsp_renewing *renewing = taking->renewing;
    struct fsp_record *record = NULL;
    struct fsp_ident ident;
    struct fsp_theirs *one;
    enum fsp_rc rc = fsp_renew_ident(bytes, len, &ident, &record, err);

    if (rc == FSP_OK && record != NULL)
        rc = fsp_journal_keep_ident(renewing->journal->db, place, ident.key, ident.hash, err);
    fsp_record_free(record);
    if (rc != FSP_OK || taking->common > place->index)
        return rc;
    if (fsp_mem_grow((void **)&renewing->theirs, &renewing->cap_theirs, renewing->n_theirs + 1,
                sizeof(*renewing->theirs)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    one = &renewing->theirs[renewing->n_theirs++];
    memcpy(one->hash, ident.hash, sizeof(one->hash));
    one->place = *place;
    one->met = false;
    return FSP_OK;
}

/* Is ours the same at that index? Only asked while all before were. */
static enum fsp_rc
compare(struct taking *taking, uint64_t index, const uint8_t *bytes, size_t len,
        struct fsp_err *err)
{
    struct fsp_buf ours;
    enum fsp_rc rc = FSP_OK;

    if (taking->apart || taking->ours == NULL || index >= taking->ours_stored)
        return FSP_OK;
    fsp_buf_init(&ours, FSP_ENTRY_MAX);
    rc = fsp_logtable_get(taking->renewing->journal->db, taking->ours->id, index, &ours, err);
    if (rc == FSP_OK && ours.len == len && memcmp(ours.data, bytes, len) == 0)
        taking->common = index + 1;
    else
        taking->apart = true;
    if (rc == FSP_ENOTFOUND || rc == FSP_ECORRUPT) { /* gone from our store: not the same */
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    fsp_buf_fini(&ours);
    return rc;
}

static enum fsp_rc
on_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len,
        const uint8_t leaf[FSP_HASH_LEN], struct fsp_err *err)
{
    struct taking *taking = ctx;
    struct fsp_journal *journal = taking->renewing->journal;
    const struct fsp_place place = {.log = taking->log, .index = index};
    enum fsp_rc rc;

    (void)leaf;
    if (bytes == NULL)
        return fsp_err_set(err, FSP_EVERIFY, "entry %llu is held back in the hand-back",
                (unsigned long long)index);
    rc = compare(taking, index, bytes, len, err);
    if (rc == FSP_OK)
        rc = fsp_logtable_append(journal->db, taking->log, &taking->range, bytes, len, err);
    if (rc == FSP_OK && taking->common == index + 1)
        taking->common_range = taking->range;
    if (rc == FSP_OK)
        rc = identify(taking, &place, bytes, len, err);
    if (rc == FSP_OK && taking->head_note != NULL && taking->head.size == index + 1)
        rc = take_head(taking, err);
    return rc;
}

static enum fsp_rc
on_top(void *ctx, const struct fsp_register_top *top, struct fsp_err *err)
{
    const struct taking *taking = ctx;

    if (strcmp(top->origin, taking->theirs->vkey.name) != 0 || top->range.size != 0 ||
            top->to != taking->theirs->size)
        return fsp_err_set(
                err, FSP_EVERIFY, "a register of the hand-back is not the one it announces");
    return FSP_OK;
}

static enum fsp_rc
read_register(struct taking *taking, struct fsp_err *err)
{
    const struct fsp_register_hooks hooks = {.top = on_top, .entry = on_entry, .ctx = taking};
    struct fsp_register *reg = NULL;
    uint8_t root[FSP_HASH_LEN];
    enum fsp_rc rc = next_head(taking, err);

    if (rc == FSP_OK)
        rc = fsp_register_new(&reg, &hooks, err);
    if (rc == FSP_OK)
        rc = fsp_register_feed(reg, taking->theirs->reg, taking->theirs->reg_len, err);
    if (rc == FSP_OK)
        rc = fsp_register_finish(reg, NULL, err);
    fsp_register_free(reg);
    fsp_range_root(&taking->range, root);
    if (rc == FSP_OK && (taking->range.size != taking->theirs->size ||
                                memcmp(root, taking->theirs->root, sizeof(root)) != 0))
        rc = fsp_err_set(err, FSP_EVERIFY,
                "the hand-back's entries of %s are not those its manifest names",
                taking->theirs->vkey.name);
    if (rc == FSP_OK && (taking->head_note != NULL || taking->head.size != taking->range.size))
        rc = fsp_err_set(err, FSP_EVERIFY,
                "the hand-back's heads of %s do not end with its entries",
                taking->theirs->vkey.name);
    return rc;
}

/* ---- the chain --------------------------------------------------------------------------- */

enum fsp_rc
fsp_renew_add_chain(
        struct fsp_renewing *renewing, const struct fsp_journal_log *log, struct fsp_err *err)
{
    if (fsp_mem_grow((void **)&renewing->chain, &renewing->cap_chain, renewing->n_chain + 1,
                sizeof(*renewing->chain)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    renewing->chain[renewing->n_chain++] = *log;
    return FSP_OK;
}

enum fsp_rc
fsp_renew_add_own(struct fsp_renewing *renewing, int64_t log, uint64_t from, uint64_t to,
        struct fsp_err *err)
{
    if (from >= to)
        return FSP_OK;
    if (fsp_mem_grow((void **)&renewing->own, &renewing->cap_own, renewing->n_own + 1,
                sizeof(*renewing->own)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    renewing->own[renewing->n_own++] = (struct fsp_own){log, from, to};
    return FSP_OK;
}

/* --once tokens of the entries that are common name the office's copy of them. */
static enum fsp_rc
move_tokens(struct taking *taking, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(taking->renewing->journal->db,
            "UPDATE once SET log = ?1 WHERE log = ?2 AND idx < ?3", &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, taking->log);
    fsp_stmt_bind_int(stmt, 2, taking->ours->id);
    fsp_stmt_bind_int(stmt, 3, (int64_t)taking->common);
    return fsp_stmt_run(stmt, err);
}

/* The office's version takes its place in the chain. */
static enum fsp_rc
replace(struct taking *taking, struct fsp_err *err)
{
    struct fsp_renewing *renewing = taking->renewing;
    struct fsp_journal_log log = {.id = taking->log,
            .vkey = taking->theirs->vkey,
            .size = taking->theirs->size,
            .held = taking->theirs->size};
    const char *slash = strrchr(log.vkey.name, '/');
    enum fsp_rc rc;

    memcpy(log.origin, log.vkey.name, sizeof(log.origin));
    slash = slash == NULL ? log.origin : slash + 1;
    if (strlen(slash) >= sizeof(log.incarnation))
        return fsp_err_set(err, FSP_EFORMAT, "the hand-back names a log '%.100s'", log.origin);
    memcpy(log.incarnation, slash, strlen(slash) + 1);
    if (taking->ours != NULL)
        memcpy(log.token, taking->ours->token, sizeof(log.token));
    renewing->report->taken_back += taking->theirs->size - taking->common;
    rc = fsp_logtable_set_tip(renewing->journal->db, taking->log, &taking->range, err);
    if (rc == FSP_OK)
        rc = fsp_renew_add_chain(renewing, &log, err);
    if (rc == FSP_OK && taking->ours != NULL)
        rc = move_tokens(taking, err);
    if (rc == FSP_OK && taking->ours != NULL) {
        renewing->report->set_aside = taking->ours_stored > taking->common;
        rc = fsp_renew_add_own(
                renewing, taking->ours->id, taking->common, taking->ours->size, err);
    }
    /* The renewal names the last size that both histories have. */
    renewing->from.size = taking->theirs->size;
    memcpy(renewing->from.root, taking->theirs->root, sizeof(renewing->from.root));
    if (taking->ours != NULL) {
        renewing->from.size = taking->common;
        fsp_range_root(&taking->common_range, renewing->from.root);
    }
    return rc;
}

/* Nothing of the office's is missing here. When it has a later log, ours was closed there: what is
 * above is appended again. */
static enum fsp_rc
keep_ours(struct taking *taking, struct fsp_err *err)
{
    struct fsp_renewing *renewing = taking->renewing;
    struct fsp_journal_log log = *taking->ours;
    enum fsp_rc rc = FSP_OK;

    if (log.held < taking->theirs->size)
        log.held = taking->theirs->size;
    renewing->from.size = taking->common;
    fsp_range_root(&taking->common_range, renewing->from.root);
    if (log.current && !taking->last) {
        rc = fsp_renew_add_own(renewing, log.id, taking->common, log.size, err);
        log.size = taking->common;
        log.current = false;
    }
    return rc == FSP_OK ? fsp_renew_add_chain(renewing, &log, err) : rc;
}

static enum fsp_rc
find_ours(struct taking *taking, const struct fsp_journal_log *logs, size_t n,
        struct fsp_err *err)
{
    struct fsp_range tip;
    enum fsp_rc rc;

    for (size_t i = 0; i < n; i++) {
        if (strcmp(logs[i].origin, taking->theirs->vkey.name) != 0)
            continue;
        if (!fsp_vkey_equal(&logs[i].vkey, &taking->theirs->vkey))
            return fsp_err_set(
                    err, FSP_EVERIFY, "the hand-back names another key for %s", logs[i].origin);
        taking->ours = &logs[i];
        rc = fsp_logtable_tip(taking->renewing->journal->db, taking->ours->id, &tip, err);
        taking->ours_stored = tip.size;
        return rc;
    }
    return FSP_OK;
}

/* Undone entries of a copy that is not needed: the same is here. */
static enum fsp_rc
take_one(struct taking *taking, struct fsp_err *err)
{
    struct fsp_db *db = taking->renewing->journal->db;
    bool here;
    enum fsp_rc rc = fsp_db_run(db, "SAVEPOINT take_back", err);

    if (rc != FSP_OK)
        return rc;
    fsp_range_init(&taking->range);
    fsp_range_init(&taking->common_range);
    rc = taking->theirs->size == 0 ? FSP_OK : read_register(taking, err);
    if (rc != FSP_OK)
        return rc; /* the whole transaction is rolled back */
    here = taking->ours != NULL && taking->common == taking->theirs->size;
    if (!here) {
        rc = replace(taking, err);
        return rc == FSP_OK ? fsp_db_run(db, "RELEASE take_back", err) : rc;
    }
    rc = fsp_db_run(db, "ROLLBACK TO take_back", err);
    if (rc == FSP_OK)
        rc = fsp_db_run(db, "RELEASE take_back", err);
    return rc == FSP_OK ? keep_ours(taking, err) : rc;
}

static enum fsp_rc
next_id(struct fsp_db *db, int64_t *id, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(db, FSP_SQL_CHAIN_NEXT, &stmt, err);

    if (rc == FSP_OK)
        rc = fsp_stmt_step(stmt, &row, err);
    if (rc == FSP_OK && row)
        *id = fsp_stmt_int(stmt, 0);
    fsp_stmt_reset(stmt);
    return rc;
}

/* A log of ours that the office does not have. */
static bool
is_given(const struct fsp_handback *back, const struct fsp_journal_log *log)
{
    for (size_t i = 0; i < back->n; i++)
        if (strcmp(back->logs[i].vkey.name, log->origin) == 0)
            return true;
    return false;
}

/* The size of a head kept as evidence; 0 when it is another kind of note. */
static uint64_t
shown_size(const uint8_t *bytes, size_t len)
{
    struct fsp_checkpoint head = {.size = 0};
    struct fsp_note note;

    if (fsp_note_parse(&note, bytes, len, NULL) != FSP_OK ||
            fsp_checkpoint_parse(&head, note.text, note.text_len, NULL) != FSP_OK)
        return 0;
    return head.size;
}

/* A hand-back from before what the office has shown already would leave records out. */
static enum fsp_rc
check_age(struct fsp_renewing *renewing, const struct fsp_journal_log *log, uint64_t given,
        struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    bool row = false;
    enum fsp_rc rc = fsp_stmt_get(
            renewing->journal->db, "SELECT note FROM fork WHERE log = ?1", &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, log->id);
    rc = fsp_stmt_step(stmt, &row, err);
    while (rc == FSP_OK && row) {
        size_t len = 0;
        const uint8_t *note = fsp_stmt_blob(stmt, 0, &len);
        unsigned long long shown = shown_size(note, len);

        if (shown > given) {
            rc = fsp_err_set(err, FSP_EVERIFY,
                    "the hand-back holds %llu records of %s, the office has shown %llu: it is "
                    "from before; ask for a new one",
                    (unsigned long long)given, log->origin, shown);
            break;
        }
        rc = fsp_stmt_step(stmt, &row, err);
    }
    fsp_stmt_reset(stmt);
    return rc;
}

/* Does this log of ours continue what is in the chain now? The office's version of the log it names
 * may be another history, and then the office can never take it. */
static enum fsp_rc
still_continues(const struct fsp_renewing *renewing, const struct fsp_journal_log *ours,
        bool *does, struct fsp_err *err)
{
    struct fsp_db *db = renewing->journal->db;
    struct fsp_renewal renewal;
    struct fsp_range range;
    struct fsp_buf first;
    uint8_t root[FSP_HASH_LEN];
    enum fsp_rc rc;

    *does = true;
    fsp_buf_init(&first, FSP_ENTRY_MAX);
    rc = fsp_logtable_get(db, ours->id, 0, &first, err);
    if (rc != FSP_OK || fsp_renewal_read(&renewal, first.data, first.len, NULL) != FSP_OK)
        goto out; /* a rig's first log continues none */
    *does = false;
    for (size_t i = 0; rc == FSP_OK && i < renewing->n_chain; i++) {
        const struct fsp_journal_log *log = &renewing->chain[i];

        if (strcmp(log->origin, renewal.from.origin) != 0 || log->size < renewal.from.size)
            continue;
        rc = fsp_head_range(db, log->id, renewal.from.size, &range, err);
        fsp_range_root(&range, root);
        *does = rc == FSP_OK && memcmp(root, renewal.from.root, sizeof(root)) == 0;
    }
out:
    fsp_buf_fini(&first);
    return rc;
}

/* A log of ours that the office does not have: it stays, behind; or, when it continues what is no
 * longer in the chain, it is set aside and what was entered in it is appended again. */
static enum fsp_rc
keep_behind(
        struct fsp_renewing *renewing, const struct fsp_journal_log *ours, struct fsp_err *err)
{
    bool does = false;
    enum fsp_rc rc = still_continues(renewing, ours, &does, err);

    if (rc != FSP_OK)
        return rc;
    if (!does) {
        renewing->report->set_aside = true;
        return fsp_renew_add_own(renewing, ours->id, 1, ours->size, err);
    }
    renewing->from.size =
            UINT64_MAX; /* nothing of it is there: the whole, or what was signed */
    return fsp_renew_add_chain(renewing, ours, err);
}

enum fsp_rc
fsp_renew_import(struct fsp_renewing *renewing, struct fsp_err *err)
{
    const struct fsp_handback *back = renewing->options->back;
    struct fsp_journal *journal = renewing->journal;
    struct fsp_journal_log *logs = NULL;
    int64_t id = 0;
    size_t n = 0;
    enum fsp_rc rc = fsp_journal_logs(journal, &logs, &n, err);

    if (rc == FSP_OK && (strcmp(back->fleet, journal->about.fleet) != 0 ||
                                strcmp(back->rig, journal->about.rig) != 0))
        rc = fsp_err_set(err, FSP_EVERIFY, "the hand-back is of rig %s of %s, this is %s of %s",
                back->rig, back->fleet, journal->about.rig, journal->about.fleet);
    if (rc == FSP_OK)
        rc = next_id(journal->db, &id, err);
    renewing->first_new = id;
    for (size_t i = 0; rc == FSP_OK && i < back->n; i++) {
        struct taking taking = {.renewing = renewing,
                .theirs = &back->logs[i],
                .last = i + 1 == back->n,
                .log = id + (int64_t)i};

        rc = find_ours(&taking, logs, n, err);
        if (rc == FSP_OK && taking.ours != NULL)
            rc = check_age(renewing, taking.ours, back->logs[i].size, err);
        if (rc == FSP_OK)
            rc = take_one(&taking, err);
    }
    for (size_t i = 0; rc == FSP_OK && i < n; i++) {
        if (is_given(back, &logs[i]) || (logs[i].current && logs[i].size == 0))
            continue; /* nothing is in it: a new PC's log, or one that was just begun */
        rc = keep_behind(renewing, &logs[i], err);
    }
    free(logs);
    return rc;
}

/* ---- what was typed again ---------------------------------------------------------------- */

static int
by_hash(const void *left, const void *right)
{
    const struct fsp_theirs *a = left;
    const struct fsp_theirs *b = right;
    int order = memcmp(a->hash, b->hash, FSP_IDENT_LEN);

    if (order == 0)
        order = a->place.log < b->place.log ? -1 : a->place.log > b->place.log;
    if (order == 0)
        order = a->place.index < b->place.index ? -1 : a->place.index > b->place.index;
    return order;
}

void
fsp_renew_sort(struct fsp_renewing *renewing)
{
    if (renewing->n_theirs > 1)
        qsort(renewing->theirs, renewing->n_theirs, sizeof(*renewing->theirs), by_hash);
}

bool
fsp_renew_meet(struct fsp_renewing *renewing, const uint8_t hash[FSP_IDENT_LEN],
        struct fsp_place *place)
{
    size_t from = 0;
    size_t to = renewing->n_theirs;

    while (from < to) {
        size_t middle = from + (to - from) / 2;

        if (memcmp(renewing->theirs[middle].hash, hash, FSP_IDENT_LEN) < 0)
            from = middle + 1;
        else
            to = middle;
    }
    for (; from < renewing->n_theirs &&
            memcmp(renewing->theirs[from].hash, hash, FSP_IDENT_LEN) == 0;
            from++) {
        if (renewing->theirs[from].met)
            continue;
        renewing->theirs[from].met = true;
        *place = renewing->theirs[from].place;
        return true;
    }
    return false;
}
