#include "rig/receipt.h"

#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "proof/note.h"
#include "proof/tree.h"
#include "rig/head.h"
#include "rig/journal_sql.h"
#include "rig/knows.h"
#include "rig/trust.h"
#include "rig/word.h"
#include "store/logtable.h"
#include "wire/answer.h"
#include "wire/dictionary.h"

static void
set(struct fsp_verdict *verdict, enum fsp_verdict_kind kind, const char *why)
{
    verdict->kind = kind;
    (void)snprintf(verdict->why, sizeof(verdict->why), "%s", why);
}

/* The answer does not prove what it should: only a delay. */
static void
doubt(struct fsp_verdict *verdict, const struct fsp_err *why)
{
    verdict->kind = FSP_VERDICT_DELAY;
    (void)snprintf(verdict->why, sizeof(verdict->why),
            "the answer proves nothing (%.200s): a portal or a proxy in between?", why->text);
}

/* ---- heads of ours, as others show them --------------------------------------------------- */

enum relation {
    AGREES,
    BEYOND, /* over more than is stored here */
    DIFFERS,
};

struct shown {
    struct fsp_journal_log log; /* which of ours it is about */
    struct fsp_note note;
    struct fsp_checkpoint head;
    struct fsp_range range; /* ours at that size; only when it agrees */
    enum relation relation;
};

/* One of our logs by its origin; FSP_EVERIFY into why when it is none. */
static enum fsp_rc
find_own(struct fsp_journal *journal, const char *origin, struct fsp_journal_log *log,
        struct fsp_err *why)
{
    enum fsp_rc rc = fsp_journal_log(journal, origin, log, why);

    return rc == FSP_ENOTFOUND ? fsp_err_set(why, FSP_EVERIFY, "it is about another log") : rc;
}

/* A head with our own signature. why says what is wrong; FSP_EVERIFY when it is not ours. */
static enum fsp_rc
read_own_head(struct fsp_journal *journal, const void *bytes, size_t len, struct shown *shown,
        struct fsp_err *why)
{
    enum fsp_rc rc = fsp_note_parse(&shown->note, bytes, len, why);

    if (rc == FSP_OK)
        rc = fsp_checkpoint_parse(&shown->head, shown->note.text, shown->note.text_len, why);
    if (rc == FSP_OK)
        rc = find_own(journal, shown->head.origin, &shown->log, why);
    if (rc == FSP_OK)
        rc = fsp_note_verify(&shown->note, &shown->log.vkey, NULL, why);
    if (rc == FSP_OK && shown->head.size == 0)
        rc = fsp_err_set(why, FSP_EVERIFY, "a head over nothing");
    return rc;
}

/* Set it beside what is stored. */
static enum fsp_rc
relate(struct fsp_journal *journal, struct shown *shown, struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(journal);
    uint8_t root[FSP_HASH_LEN];
    enum fsp_rc rc;

    if (shown->head.size > shown->log.size) {
        shown->relation = BEYOND;
        return FSP_OK;
    }
    rc = fsp_head_range(db, shown->log.id, shown->head.size, &shown->range, err);
    if (rc != FSP_OK)
        return rc;
    fsp_range_root(&shown->range, root);
    shown->relation = memcmp(root, shown->head.root, sizeof(root)) == 0 ? AGREES : DIFFERS;
    return FSP_OK;
}

/* Keep the head that contradicts; once. */
static enum fsp_rc
add_evidence(struct fsp_journal *journal, const struct shown *shown, const void *note,
        size_t len, struct fsp_err *err)
{
    const struct fsp_env *env = fsp_journal_env(journal);
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;
    bool row = false;

    rc = fsp_stmt_get(db, FSP_SQL_FORK_SAME, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_blob(stmt, 1, note, len);
    rc = fsp_stmt_step(stmt, &row, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_reset(stmt);
    if (row)
        return FSP_OK;
    rc = fsp_stmt_get(db, FSP_SQL_FORK_ADD, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, shown->log.id);
    fsp_stmt_bind_text(stmt, 2, shown->relation == BEYOND ? "restored" : "forked");
    fsp_stmt_bind_blob(stmt, 3, note, len);
    fsp_stmt_bind_int(stmt, 4, env->utc_us(env->ctx) / FSP_US_PER_S);
    return fsp_stmt_run(stmt, err);
}

static enum fsp_rc
contradict(struct fsp_journal *journal, const struct shown *shown, const void *note, size_t len,
        struct fsp_verdict *verdict, struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(journal);
    enum fsp_rc rc = fsp_db_begin(db, err);

    if (rc == FSP_OK)
        rc = add_evidence(journal, shown, note, len, err);
    /* It has more of a closed log than counts here: nothing of ours is left to send. */
    if (rc == FSP_OK && shown->relation == BEYOND && !shown->log.current)
        rc = fsp_journal_set_held(journal, shown->log.id, shown->log.size, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK) {
        fsp_db_rollback(db);
        return rc;
    }
    verdict->held = shown->head.size;
    if (!shown->log.current) {
        set(verdict, FSP_VERDICT_REFUSED,
                "the office holds another history of a log that is closed here; ask it for a "
                "hand-back, then run: farspool-rig renew");
        return FSP_OK;
    }
    set(verdict, FSP_VERDICT_CONTRADICT, "");
    rc = fsp_journal_rejudge(journal, err);
    if (rc == FSP_OK)
        (void)snprintf(verdict->why, sizeof(verdict->why), "history incomplete: %.250s",
                fsp_journal_state_why(journal));
    return rc;
}

/* ---- 200: the receipt --------------------------------------------------------------------- */

/* The signature line of one key as it came; everything unknown is left out. */
static void
copy_line(const struct fsp_note *note, const struct fsp_vkey *vkey, struct fsp_buf *out)
{
    for (size_t i = 0; i < note->lines; i++) {
        const struct fsp_note_line *line = &note->line[i];

        if (line->name_len == strlen(vkey->name) &&
                memcmp(line->name, vkey->name, line->name_len) == 0 &&
                memcmp(line->id, vkey->id, sizeof(line->id)) == 0) {
            fsp_note_add_line(out, vkey, line->sig, line->sig_len);
            return;
        }
    }
}

static enum fsp_rc
add_receipt_row(struct fsp_journal *journal, const struct shown *shown, int64_t time_s,
        struct fsp_err *err)
{
    const struct fsp_env *env = fsp_journal_env(journal);
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_stmt_get(db, FSP_SQL_RECEIPT_ADD, &stmt, err);

    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, shown->log.id);
    fsp_stmt_bind_int(stmt, 2, (int64_t)shown->head.size);
    fsp_stmt_bind_int(stmt, 3, time_s);
    fsp_stmt_bind_int(stmt, 4, env->utc_us(env->ctx) / FSP_US_PER_S);
    rc = fsp_stmt_run(stmt, err);
    if (rc == FSP_OK)
        rc = fsp_stmt_get(db, FSP_SQL_SENT_DROP, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_int(stmt, 1, shown->log.id);
    fsp_stmt_bind_int(stmt, 2, (int64_t)shown->head.size);
    return fsp_stmt_run(stmt, err);
}

static enum fsp_rc
keep_receipt(struct fsp_journal *journal, const struct shown *shown,
        const struct fsp_trust *trust, const struct fsp_verdict *verdict, struct fsp_err *err)
{
    const struct fsp_journal_log *log = &shown->log;
    const struct fsp_env *env = fsp_journal_env(journal);
    struct fsp_journal_progress progress;
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_buf note;
    enum fsp_rc rc;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    fsp_buf_add(&note, shown->note.text, shown->note.text_len);
    fsp_buf_add_byte(&note, '\n');
    copy_line(&shown->note, &log->vkey, &note);
    for (size_t i = 0; i < trust->n_cosigners; i++)
        copy_line(&shown->note, &trust->cosigners[i], &note);
    rc = fsp_buf_check(&note, "a receipt", err);
    if (rc == FSP_OK)
        rc = fsp_journal_progress_of(journal, log, &progress, err);
    if (rc == FSP_OK)
        rc = fsp_db_begin(db, err);
    if (rc != FSP_OK)
        goto out;
    rc = fsp_logtable_add_head(db, log->id, &shown->range, note.data, note.len,
            env->utc_us(env->ctx) / FSP_US_PER_S, err);
    if (rc == FSP_OK)
        rc = add_receipt_row(journal, shown, verdict->time_s, err);
    if (rc == FSP_OK && shown->head.size > progress.held)
        rc = fsp_journal_set_held(journal, log->id, shown->head.size, err);
    if (rc == FSP_OK && progress.went_back && shown->head.size >= progress.receipt_size)
        rc = fsp_journal_set_went_back(journal, log->id, false, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
out:
    fsp_buf_fini(&note);
    return rc;
}

static enum fsp_rc
judge_receipt(struct fsp_journal *journal, const struct fsp_answer *answer,
        struct fsp_verdict *verdict, struct fsp_err *err)
{
    const struct fsp_vkey *cosigner = NULL;
    struct shown shown = {.relation = AGREES};
    struct fsp_err why = {.rc = FSP_OK};
    struct fsp_trust trust;
    uint64_t time_s = 0;
    enum fsp_rc rc = fsp_trust_load(journal, &trust, err);

    if (rc != FSP_OK)
        return rc;
    rc = read_own_head(journal, answer->bytes, answer->len, &shown, &why);
    if (rc == FSP_OK)
        rc = fsp_trust_cosigned(&trust, &shown.note, &cosigner, &time_s, &why);
    if (rc == FSP_OK && time_s > (uint64_t)INT32_MAX * 100)
        rc = fsp_err_set(&why, FSP_EVERIFY, "its time is absurd");
    if (rc != FSP_OK) {
        doubt(verdict, &why);
        return FSP_OK;
    }
    rc = relate(journal, &shown, err);
    if (rc != FSP_OK)
        return rc;
    if (shown.relation != AGREES)
        return contradict(journal, &shown, answer->bytes, answer->len, verdict, err);
    verdict->time_s = (int64_t)time_s;
    verdict->held = shown.head.size;
    set(verdict, FSP_VERDICT_TAKEN, "");
    rc = keep_receipt(journal, &shown, &trust, verdict, err);
    if (rc == FSP_OK && answer->sent != NULL && shown.head.size < answer->sent->size)
        set(verdict, FSP_VERDICT_DELAY, "an older receipt came for a newer bundle");
    return rc;
}

/* The cosignatures' lines alone: they stand under the head just sent, which is put before them. */
static enum fsp_rc
judge_short(struct fsp_journal *journal, const struct fsp_answer *answer,
        struct fsp_verdict *verdict, struct fsp_err *err)
{
    const struct fsp_packed *sent = answer->sent;
    struct fsp_answer whole = *answer;
    struct fsp_err why = {.rc = FSP_OK};
    struct fsp_journal_log log;
    struct fsp_buf note;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    if (sent == NULL)
        rc = fsp_err_set(&why, FSP_EFORMAT, "it does not say for what it is a receipt");
    if (rc == FSP_OK)
        rc = find_own(journal, sent->head.origin, &log, &why);
    if (rc == FSP_OK) {
        fsp_checkpoint_write(&sent->head, &note);
        fsp_buf_add_byte(&note, '\n');
        fsp_note_add_line(&note, &log.vkey, sent->sig, sizeof(sent->sig));
        fsp_buf_add(&note, answer->bytes, answer->len);
        rc = fsp_buf_check(&note, "a receipt", &why);
    }
    if (rc == FSP_OK) {
        whole.bytes = fsp_buf_peek(&note);
        whole.len = note.len;
        rc = judge_receipt(journal, &whole, verdict, err);
    } else {
        doubt(verdict, &why);
        rc = FSP_OK;
    }
    fsp_buf_fini(&note);
    return rc;
}

/* ---- instructions behind it --------------------------------------------------------------- */

enum fsp_rc
fsp_receipt_word(struct fsp_journal *journal, const void *note, size_t len,
        struct fsp_verdict *verdict, struct fsp_err *err)
{
    struct fsp_word word;
    enum fsp_rc rc = fsp_word_take(journal, note, len, &word, err);

    if (rc != FSP_OK)
        return rc;
    verdict->words += word.outcome == FSP_WORD_TAKEN ? 1 : 0;
    if (word.outcome == FSP_WORD_IGNORED) {
        verdict->words_ignored++;
        (void)snprintf(verdict->word_why, sizeof(verdict->word_why), "%s", word.why);
    }
    return FSP_OK;
}

/* A file of one answer, as the office sends it when instructions wait. What is out of form behind
 * the receipt is passed over. */
static enum fsp_rc
judge_frames(struct fsp_journal *journal, const struct fsp_answer *answer,
        struct fsp_verdict *verdict, struct fsp_err *err)
{
    struct fsp_answer receipt = *answer;
    struct fsp_err why = {.rc = FSP_OK};
    struct fsp_answers_cursor cursor;
    struct fsp_answers_frame frame;
    enum fsp_rc rc = fsp_answers_open(&cursor, answer->bytes, answer->len, &why);

    if (rc == FSP_OK)
        rc = fsp_answers_next(&cursor, &frame, &why);
    if (rc == FSP_OK && (frame.kind != FSP_FRAME_ANSWER || frame.status != FSP_ANSWER_TAKEN))
        rc = fsp_err_set(&why, FSP_EFORMAT, "it does not begin with a receipt");
    if (rc != FSP_OK) {
        doubt(verdict, &why);
        return FSP_OK;
    }
    receipt.bytes = frame.bytes;
    receipt.len = frame.len;
    rc = judge_receipt(journal, &receipt, verdict, err);
    if (rc == FSP_OK && verdict->kind == FSP_VERDICT_TAKEN)
        rc = fsp_knows_hear(journal, answer->bytes, answer->len, err);
    while (rc == FSP_OK && fsp_answers_next(&cursor, &frame, &why) == FSP_OK)
        if (frame.kind == FSP_FRAME_INSTRUCTION)
            rc = fsp_receipt_word(journal, frame.bytes, frame.len, verdict, err);
    if (rc == FSP_OK && why.rc == FSP_EFORMAT) {
        verdict->words_ignored++;
        (void)snprintf(verdict->word_why, sizeof(verdict->word_why), "%.250s", why.text);
    }
    return rc;
}

/* ---- 409 and 422 -------------------------------------------------------------------------- */

static enum fsp_rc
is_fresh(struct fsp_journal *journal, const struct fsp_answer *answer,
        const struct fsp_refusal *refusal, bool *fresh, struct fsp_err *err)
{
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc;

    if (answer->sent != NULL) {
        *fresh = memcmp(refusal->bundle, answer->sent->hash, sizeof(refusal->bundle)) == 0;
        return FSP_OK;
    }
    rc = fsp_stmt_get(fsp_journal_db(journal), FSP_SQL_SENT_HAS, &stmt, err);
    if (rc != FSP_OK)
        return rc;
    fsp_stmt_bind_blob(stmt, 1, refusal->bundle, sizeof(refusal->bundle));
    rc = fsp_stmt_step(stmt, fresh, err);
    if (rc == FSP_OK)
        fsp_stmt_reset(stmt);
    return rc;
}

static enum fsp_rc
step_back(struct fsp_journal *journal, const struct fsp_refusal *refusal,
        const struct fsp_journal_log *log, struct fsp_verdict *verdict, struct fsp_err *err)
{
    struct fsp_journal_progress progress;
    struct fsp_db *db = fsp_journal_db(journal);
    enum fsp_rc rc = fsp_journal_progress_of(journal, log, &progress, err);

    if (rc != FSP_OK)
        return rc;
    if (refusal->size > progress.held) {
        set(verdict, FSP_VERDICT_DELAY, "the office claims more than it has receipted");
        return FSP_OK;
    }
    verdict->held = refusal->size;
    verdict->went_back = progress.receipted && refusal->size < progress.receipt_size;
    set(verdict, FSP_VERDICT_GAP, "");
    (void)snprintf(verdict->why, sizeof(verdict->why), "%s: it holds %llu records%s",
            verdict->went_back ? "office went back" : "the office wants earlier records first",
            (unsigned long long)refusal->size,
            verdict->went_back ? ", less than it had receipted; they are sent again" : "");
    rc = fsp_db_begin(db, err);
    if (rc == FSP_OK)
        rc = fsp_journal_set_held(journal, log->id, refusal->size, err);
    if (rc == FSP_OK && verdict->went_back)
        rc = fsp_journal_set_went_back(journal, log->id, true, err);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
    return rc;
}

/* The office says that another log continues this one. That is so when our own key signed it, and
 * no log of this store is it: another copy of this store was renewed. */
static enum fsp_rc
judge_closed(struct fsp_journal *journal, const struct fsp_answer *answer,
        const struct fsp_refusal *refusal, struct shown *shown, struct fsp_verdict *verdict,
        struct fsp_err *err)
{
    struct fsp_journal_log other;
    struct fsp_err why = {.rc = FSP_OK};
    enum fsp_rc rc = fsp_journal_log(journal, refusal->renewed.name, &other, &why);

    if (rc == FSP_OK) {
        set(verdict, FSP_VERDICT_REFUSED,
                "the office says that a log of this store is closed, at another size; ask it "
                "for "
                "a hand-back");
        return FSP_OK;
    }
    if (rc != FSP_ENOTFOUND)
        return fsp_err_set(err, rc, "%s", why.text);
    if (fsp_renewal_verify(&refusal->renewal, &shown->log.vkey, &refusal->renewed, NULL) !=
            FSP_OK) {
        set(verdict, FSP_VERDICT_REFUSED,
                "the office says that another log continues this one, by an invitation: is "
                "another PC keeping this rig's record? ask the office");
        return FSP_OK;
    }
    shown->relation = DIFFERS;
    shown->head.size = refusal->size;
    return contradict(journal, shown, answer->bytes, answer->len, verdict, err);
}

static enum fsp_rc
judge_held(struct fsp_journal *journal, const struct fsp_answer *answer,
        const struct fsp_refusal *refusal, struct fsp_verdict *verdict, struct fsp_err *err)
{
    struct shown shown = {.relation = AGREES};
    struct fsp_err why = {.rc = FSP_OK};
    enum fsp_rc rc;

    if (refusal->held == NULL) {
        set(verdict, FSP_VERDICT_REFUSED,
                "the office says that records differ but shows no head");
        return FSP_OK;
    }
    rc = read_own_head(journal, refusal->held, refusal->held_len, &shown, &why);
    if (rc != FSP_OK) {
        doubt(verdict, &why);
        return FSP_OK;
    }
    rc = relate(journal, &shown, err);
    if (rc != FSP_OK)
        return rc;
    if (shown.relation != AGREES)
        return contradict(journal, &shown, refusal->held, refusal->held_len, verdict, err);
    if (refusal->has_renewed)
        return judge_closed(journal, answer, refusal, &shown, verdict, err);
    set(verdict, FSP_VERDICT_REFUSED,
            "the office says that records differ, but the head it shows agrees with this log");
    return FSP_OK;
}

/* By one of the instructions keys that count, the newest first. */
static enum fsp_rc
read_refusal(const struct fsp_trust *trust, const struct fsp_answer *answer,
        struct fsp_refusal *refusal, struct fsp_err *why)
{
    enum fsp_rc rc = FSP_EVERIFY;

    for (size_t i = trust->n_instructions; rc != FSP_OK && i-- > 0;)
        rc = fsp_refusal_read(
                refusal, answer->bytes, answer->len, &trust->instructions[i], why);
    return rc;
}

static enum fsp_rc
judge_refusal(struct fsp_journal *journal, const struct fsp_answer *answer,
        struct fsp_verdict *verdict, struct fsp_err *err)
{
    struct fsp_journal_log log;
    struct fsp_refusal refusal;
    struct fsp_trust trust;
    struct fsp_err why = {.rc = FSP_OK};
    bool fresh = false;
    enum fsp_rc rc = fsp_trust_load(journal, &trust, err);

    if (rc != FSP_OK)
        return rc;
    rc = read_refusal(&trust, answer, &refusal, &why);
    if (rc == FSP_OK && refusal.status != answer->status)
        rc = fsp_err_set(&why, FSP_EVERIFY, "it is signed for another status");
    if (rc == FSP_OK)
        rc = find_own(journal, refusal.origin, &log, &why);
    if (rc != FSP_OK) {
        doubt(verdict, &why);
        return FSP_OK;
    }
    /* A 422 proves itself by the head it shows; a 409 must be about what was just sent. */
    if (refusal.status == FSP_ANSWER_FORK)
        return judge_held(journal, answer, &refusal, verdict, err);
    rc = is_fresh(journal, answer, &refusal, &fresh, err);
    if (rc != FSP_OK)
        return rc;
    if (!fresh) {
        set(verdict, FSP_VERDICT_DELAY, "a 409 about another bundle than the one sent");
        return FSP_OK;
    }
    return step_back(journal, &refusal, &log, verdict, err);
}

/* ---- all of them -------------------------------------------------------------------------- */

/* The office takes no such bundle. When it was told in words that not every office knows, it may be
 * another office than the one that said it knew them: the next one is plain. */
static enum fsp_rc
judge_bad(struct fsp_journal *journal, struct fsp_verdict *verdict, struct fsp_err *err)
{
    const struct fsp_office_knows plain = {.dictionary = FSP_DICTIONARY_FIRST};
    struct fsp_office_knows knows = plain;
    enum fsp_rc rc = fsp_knows_read(journal, &knows, err);

    if (rc != FSP_OK)
        return rc;
    if (knows.dictionary == plain.dictionary && !knows.short_receipt) {
        set(verdict, FSP_VERDICT_REFUSED,
                "400: the bundle arrived altered or cut, or this is not the office; is the URL "
                "right?");
        return FSP_OK;
    }
    set(verdict, FSP_VERDICT_DELAY,
            "400: the bundle arrived altered or cut, or the office has an older program now; "
            "the next one is in the oldest form");
    return fsp_knows_keep(journal, NULL, err);
}

static void
judge_unsigned(const struct fsp_answer *answer, struct fsp_verdict *verdict)
{
    long status = answer->status;

    if (status == 413) {
        set(verdict, FSP_VERDICT_TOO_LARGE, "413: smaller bundles are asked for");
    } else if (status == FSP_ANSWER_REFUSED) {
        set(verdict, FSP_VERDICT_REFUSED,
                "403: the office does not take this rig: unknown to it, or its invitation was "
                "used by another key; ask the office (invite; readmit, after a backup was put "
                "back there)");
    } else if (status == 408 || status == 429 || (status >= 500 && status <= 599)) {
        verdict->kind = FSP_VERDICT_DELAY;
        (void)snprintf(verdict->why, sizeof(verdict->why), "%ld: the office asks to try later",
                status);
    } else if (status >= 300 && status <= 399) {
        verdict->kind = FSP_VERDICT_DELAY;
        (void)snprintf(verdict->why, sizeof(verdict->why),
                "%ld: a redirect, not the office: a portal in between?", status);
    } else {
        verdict->kind = FSP_VERDICT_REFUSED;
        (void)snprintf(verdict->why, sizeof(verdict->why),
                "%ld: not an answer of the office; is the URL right?", status);
    }
}

enum fsp_rc
fsp_receipt_judge(struct fsp_journal *journal, const struct fsp_answer *answer,
        struct fsp_verdict *verdict, struct fsp_err *err)
{
    memset(verdict, 0, sizeof(*verdict));
    verdict->kind = FSP_VERDICT_DELAY;
    if (answer->status == FSP_ANSWER_TAKEN && fsp_answers_are(answer->bytes, answer->len))
        return judge_frames(journal, answer, verdict, err);
    if (answer->status == FSP_ANSWER_TAKEN && fsp_cosignatures_are(answer->bytes, answer->len))
        return judge_short(journal, answer, verdict, err);
    if (answer->status == FSP_ANSWER_TAKEN)
        return judge_receipt(journal, answer, verdict, err);
    if (answer->status == FSP_ANSWER_GAP || answer->status == FSP_ANSWER_FORK)
        return judge_refusal(journal, answer, verdict, err);
    if (answer->status == 400)
        return judge_bad(journal, verdict, err);
    judge_unsigned(answer, verdict);
    return FSP_OK;
}

enum fsp_rc
fsp_receipt_sent_of(
        struct fsp_journal *journal, const struct fsp_packed *packed, struct fsp_err *err)
{
    const struct fsp_env *env = fsp_journal_env(journal);
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_stmt *stmt = NULL;
    enum fsp_rc rc = fsp_db_begin(db, err);

    if (rc == FSP_OK)
        rc = fsp_stmt_get(db, FSP_SQL_SENT_ADD, &stmt, err);
    if (rc == FSP_OK) {
        fsp_stmt_bind_blob(stmt, 1, packed->hash, 32);
        fsp_stmt_bind_int(stmt, 2, packed->log);
        fsp_stmt_bind_int(stmt, 3, (int64_t)packed->old_size);
        fsp_stmt_bind_int(stmt, 4, (int64_t)packed->size);
        fsp_stmt_bind_int(stmt, 5, env->utc_us(env->ctx) / FSP_US_PER_S);
        rc = fsp_stmt_run(stmt, err);
    }
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, err);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
    return rc;
}

enum fsp_rc
fsp_receipt_sent(struct fsp_journal *journal, const uint8_t hash[32], uint64_t old,
        uint64_t size, struct fsp_err *err)
{
    struct fsp_packed packed = {
            .log = fsp_journal_current(journal), .old_size = old, .size = size};

    memcpy(packed.hash, hash, sizeof(packed.hash));
    return fsp_receipt_sent_of(journal, &packed, err);
}
