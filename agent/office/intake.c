/*
 * Invariants
 *  1. An answer 200 leaves only after the COMMIT that holds the entries, the head and the
 *     cosignature in it. Nor does any other answer leave before the COMMIT of its group: what it
 *     claims may rest on a bundle beside it.
 *  2. Bundles that wait are taken in one transaction, one after the other (intake_group.c). Each
 *     stands or falls alone: entries, tip, head, enrolment together, or nothing, by a savepoint.
 *  3. A head is cosigned only when its root is the root of the bytes we store, by our own
 *     recomputation, and when its size is above every size cosigned before for that log (or equal
 *     to it, and then the stored note is sent again, byte for byte, with today's line behind it when
 *     it is older than today's key).
 *  4. The cosignature's time never goes back within a log, whatever the clock does.
 *  5. An entry, once stored, never changes. Bytes that contradict it end in a fork: both heads and
 *     the entry that came are kept, the log stays as it is.
 *  6. What is inside an entry decides nothing: any bytes are an entry. One exception: the first
 *     entry of a log may be a renewal, which closes the log that it continues. Where an entry is an
 *     instruction of ours is remembered beside it.
 *  7. A closed log grows no more: what comes above its size is evidence of another copy.
 *  8. Only signed answers claim something of the store (200, 409, 422); 400, 403 and 413 are plain.
 *  9. After a failed commit none of its group is answered with a status, and nothing is
 *     acknowledged until the store was reopened and verified.
 *
 * States of one bundle, and the function that leaves each. Down to `waiting` it is with the thread
 * that brought it, beside others; then with whoever leads its group.
 *  received    open_bundle       -> opened | 400 not a bundle | 403 not for us | 413 too large
 *  opened      fsp_intake_wait   -> waiting | no answer: the writer is stuck
 *  waiting     commit_group      -> at its turn, with a savepoint
 *  at turn     find_log          -> known | enrolled (in the transaction, by token or by a proved
 *                                   renewal: intake_enrol.c) | gap: this log is not here, or the log it
 *                                   continues is not, up to where it is continued | 403
 *  known       check_signature   -> authentic | 403
 *  authentic   settle            -> old size above ours: gap
 *              compare_overlap   -> same | differing
 *  differing   weigh_difference  -> the signed head contradicts ours: fork (differs)
 *                                   | it agrees with ours, only the bytes do not: 400
 *  same        settle            -> new size above ours and another log continues it: fork (closed)
 *              extend            -> new size above ours: extended | fork (root)
 *              check_covered     -> new size at or below ours: covered | fork (root)
 *  extended    receipt           -> settled, to be kept: cosigned, 200
 *  covered     repeat_receipt    -> settled: the stored note of our newest head, 200
 *  gap         fsp_intake_gap    -> settled: back to the savepoint, 409
 *  fork        answer_fork       -> settled, to be kept: back to the savepoint, evidence, 422
 *  settled     finish_group      -> answered after the COMMIT (where anything is to be kept)
 *                                   | no answer: the commit failed
 */
#include "office/intake_priv.h"

#include <stdbool.h>
#include <string.h>

#include "base/text.h"
#include "office/instruct.h"
#include "proof/note.h"
#include "wire/answer.h"
#include "wire/dictionary.h"

#define STATUS_BAD       400
#define STATUS_TOO_LARGE 413

/* --- plain refusals -------------------------------------------------------------------------- */

enum fsp_rc
fsp_intake_refuse(const struct passage *p, int code, const char *line)
{
    *p->status = code;
    fsp_buf_reset(p->answer);
    fsp_buf_add_text(p->answer, line);
    return FSP_OK;
}

static enum fsp_rc
open_bundle(struct passage *p, const uint8_t *bytes, size_t len, struct fsp_bundle **bundle,
        struct fsp_err *err)
{
    enum fsp_rc rc = fsp_bundle_open(
            bytes, len, p->intake->keys->box, p->intake->keys->n_box, bundle, err);

    switch (rc) {
    case FSP_OK:
        return FSP_OK;
    case FSP_EFORMAT:
    case FSP_EVERIFY:
        return fsp_intake_refuse(
                p, STATUS_BAD, "not a whole, unaltered bundle; make and send it again");
    case FSP_ENOTFOUND:
        return fsp_intake_refuse(p, FSP_ANSWER_REFUSED,
                "this bundle is sealed for another office's key; check the invitation");
    case FSP_ELIMIT:
        return fsp_intake_refuse(
                p, STATUS_TOO_LARGE, "this bundle is over the limit; send smaller ones");
    case FSP_EAGAIN:
    case FSP_EINVAL:
    case FSP_ECORRUPT:
    case FSP_ENOMEM:
    case FSP_EIO:
    case FSP_EUNAVAIL:
    case FSP_EBUSY:
    case FSP_EFORK:
        break;
    }
    return rc;
}

/* The store's own limits on an entry, before any work is done. */
static bool
entries_fit(const struct fsp_entry_bytes *entries, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (entries[i].len == 0 || entries[i].len > FSP_ENTRY_MAX)
            return false;
    return true;
}

/* --- is it the rig's word -------------------------------------------------------------------- */

/* The rig's signed head as a note, into intake->note. FSP_EVERIFY is a plain 403. */
static enum fsp_rc
check_signature(struct passage *p, struct fsp_err *err)
{
    struct fsp_buf *note = &p->intake->note;
    enum fsp_rc rc;

    fsp_buf_reset(note);
    fsp_checkpoint_write(&p->head->head, note);
    rc = fsp_buf_check(note, "head", err);
    if (rc != FSP_OK)
        return rc;
    if (fsp_vkey_verify(&p->vkey, note->data, note->len, p->head->sig) != FSP_OK)
        return fsp_intake_refuse(
                p, FSP_ANSWER_REFUSED, "the head's signature is not by this log's key");
    fsp_buf_add_byte(note, '\n');
    fsp_note_add_line(note, &p->vkey, p->head->sig, FSP_SIG_LEN);
    return fsp_buf_check(note, "head", err);
}

/* --- what is new in it ----------------------------------------------------------------------- */

static enum fsp_rc
compare_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct passage *p = ctx;
    const struct fsp_entry_bytes *came = &p->entries[index - p->head->old_size];

    if (came->len == len && memcmp(came->bytes, bytes, len) == 0)
        return FSP_OK;
    p->fork = true;
    p->has_differs = true;
    p->differs = index;
    return fsp_err_set(err, FSP_EFORK, "entry %llu differs", (unsigned long long)index);
}

static enum fsp_rc
compare_overlap(struct passage *p, uint64_t to, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    const uint64_t within[2] = {p->head->old_size, to};
    enum fsp_rc rc;

    if (within[0] >= within[1])
        return FSP_OK;
    rc = shelf->ops->scan(shelf->ctx, p->log.id, within, compare_entry, p, err);
    return rc == FSP_EFORK && p->fork ? FSP_OK : rc;
}

static void
compare_root(struct passage *p, const struct fsp_range *range)
{
    uint8_t root[FSP_HASH_LEN];

    fsp_range_root(range, root);
    if (memcmp(root, p->head->head.root, sizeof(root)) != 0)
        p->fork = true;
}

/* Append what lies above ours; a root that differs is a fork (and the caller rolls back). */
static enum fsp_rc
extend(struct passage *p, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    size_t known = (size_t)(p->range.size - p->head->old_size);
    enum fsp_rc rc = shelf->ops->append(
            shelf->ctx, p->log.id, &p->range, p->entries + known, p->n - known, err);

    for (size_t i = known; rc == FSP_OK && i < p->n; i++)
        rc = fsp_instruct_see(shelf, &p->log, p->head->old_size + i, &p->entries[i], err);
    if (rc == FSP_OK)
        compare_root(p, &p->range);
    return rc;
}

static enum fsp_rc
grow(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    (void)index;
    (void)err;
    fsp_range_append(ctx, bytes, len);
    return FSP_OK;
}

enum fsp_rc
fsp_intake_range(struct passage *p, int64_t log, uint64_t size, struct fsp_range *range,
        struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    uint64_t within[2] = {0, size};
    enum fsp_rc rc =
            shelf->ops->head_below(shelf->ctx, log, size, range, &p->intake->held, err);

    if (rc == FSP_ENOTFOUND) {
        fsp_range_init(range);
        rc = FSP_OK;
    }
    within[0] = range->size;
    if (rc == FSP_OK && within[0] < within[1])
        rc = shelf->ops->scan(shelf->ctx, log, within, grow, range, err);
    return rc;
}

/* The head is at or below our size: its root must be the one our entries had then. */
static enum fsp_rc
check_covered(struct passage *p, struct fsp_err *err)
{
    struct fsp_range then = p->range;
    enum fsp_rc rc = FSP_OK;

    if (p->head->head.size != p->range.size)
        rc = fsp_intake_range(p, p->log.id, p->head->head.size, &then, err);
    if (rc == FSP_OK)
        compare_root(p, &then);
    return rc;
}

/* An entry differs, but only the head is signed. When the head agrees with our entries, the bundle
 * is not what was signed (another dictionary, a broken sender): that is no fork. */
static enum fsp_rc
weigh_difference(struct passage *p, struct fsp_err *err)
{
    struct fsp_range range = p->range;
    enum fsp_rc rc = FSP_OK;

    p->fork = false;
    if (p->head->head.size <= p->range.size) {
        rc = check_covered(p, err);
    } else {
        for (size_t i = (size_t)(range.size - p->head->old_size); i < p->n; i++)
            fsp_range_append(&range, p->entries[i].bytes, p->entries[i].len);
        compare_root(p, &range);
    }
    if (rc == FSP_OK && !p->fork)
        rc = fsp_intake_refuse(
                p, STATUS_BAD, "the entries are not those of the signed head; send it again");
    return rc;
}

/* --- answers --------------------------------------------------------------------------------- */

/* Never before the newest cosignature of this log. */
static int64_t
cosign_time(const struct passage *p)
{
    int64_t now_s = p->intake->env->utc_us(p->intake->env->ctx) / FSP_US_PER_S;

    if (now_s < p->log.heard_s)
        now_s = p->log.heard_s;
    return now_s < 0 ? 0 : now_s;
}

/* The instructions that wait for this rig, within the open transaction. */
static enum fsp_rc
gather_words(struct passage *p, struct fsp_err *err)
{
    fsp_buf_reset(&p->intake->words);
    return fsp_instruct_frames(p->intake->shelf, p->intake->keys, p->log.rig,
            p->head->has_newest ? p->head->newest : NULL, &p->intake->words, err);
}

/* What stands behind the rig's own line, when the rig can put head and line before it: it asked for
 * that, and the note is over the very head of the bundle. *out NULL: it cannot. */
static enum fsp_rc
cut_short(struct passage *p, const struct fsp_buf *note, const uint8_t **out, size_t *len,
        struct fsp_err *err)
{
    struct fsp_buf head;
    enum fsp_rc rc;

    *out = NULL;
    if (!p->head->short_receipt)
        return FSP_OK;
    fsp_buf_init(&head, FSP_NOTE_MAX);
    fsp_checkpoint_write(&p->head->head, &head);
    fsp_buf_add_byte(&head, '\n');
    fsp_note_add_line(&head, &p->vkey, p->head->sig, FSP_SIG_LEN);
    rc = fsp_buf_check(&head, "head", err);
    if (rc == FSP_OK && note->len > head.len && memcmp(note->data, head.data, head.len) == 0) {
        *out = note->data + head.len;
        *len = note->len - head.len;
    }
    fsp_buf_fini(&head);
    return rc;
}

/* The receipt alone, or with instructions behind it, and with what the office knows when the rig does
 * not show that it was told. */
static enum fsp_rc
hand_out(struct passage *p, const struct fsp_buf *note, struct fsp_err *err)
{
    const struct fsp_buf *words = &p->intake->words;
    bool told = p->head->dictionary >= FSP_DICTIONARY_NEWEST;
    const uint8_t *lines = NULL;
    size_t len = 0;
    enum fsp_rc rc = FSP_OK;

    if (words->len == 0 && told)
        rc = cut_short(p, note, &lines, &len, err);
    if (rc != FSP_OK)
        return rc;
    if (lines != NULL) {
        fsp_buf_add(p->answer, lines, len);
    } else if (words->len == 0 && told) {
        fsp_buf_add(p->answer, note->data, note->len);
    } else {
        fsp_answers_begin(p->answer);
        fsp_answers_add(p->answer, FSP_ANSWER_TAKEN, note->data, note->len);
        fsp_buf_add(p->answer, words->data, words->len);
        if (!told)
            fsp_answers_add_knows(p->answer);
    }
    *p->status = FSP_ANSWER_TAKEN;
    return fsp_buf_check(p->answer, "answer", err);
}

static enum fsp_rc
cosign(struct passage *p, const struct fsp_skey *cosigner, int64_t time_s, struct fsp_err *err)
{
    struct fsp_buf *note = &p->intake->note;
    uint8_t cosignature[8 + FSP_SIG_LEN];
    enum fsp_rc rc = fsp_cosign(&p->head->head, cosigner, (uint64_t)time_s, cosignature, err);

    if (rc != FSP_OK)
        return rc;
    fsp_note_add_line(note, fsp_skey_vkey(cosigner), cosignature, sizeof(cosignature));
    return fsp_buf_check(note, "receipt", err);
}

/* By the older keys too while the rig may know no newer one. */
static enum fsp_rc
cosign_all(struct passage *p, int64_t time_s, struct fsp_err *err)
{
    const struct fsp_office_keys *keys = p->intake->keys;
    bool wait = false;
    enum fsp_rc rc = FSP_OK;

    if (keys->n_cosigner_before > 0)
        rc = fsp_instruct_keys_wait(p->intake->shelf, p->log.rig, &wait, err);
    for (size_t i = 0; rc == FSP_OK && wait && i < keys->n_cosigner_before; i++)
        rc = cosign(p, keys->cosigner_before[i], time_s, err);
    return rc == FSP_OK ? cosign(p, keys->cosigner, time_s, err) : rc;
}

static enum fsp_rc
receipt(struct passage *p, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    struct fsp_buf *note = &p->intake->note;
    int64_t time_s = cosign_time(p);
    enum fsp_rc rc = cosign_all(p, time_s, err);

    if (rc == FSP_OK)
        rc = shelf->ops->add_head(shelf->ctx, p->log.id, &p->range, note, time_s, err);
    if (rc == FSP_OK)
        rc = gather_words(p, err);
    if (rc == FSP_OK)
        rc = hand_out(p, note, err); /* it leaves after the COMMIT */
    p->keep = rc == FSP_OK;
    return rc;
}

/* A head that was cosigned before today's key: the rig may know no other. It still is the largest
 * of this log that was seen, so today's key may say so. The stored note stays as it is. */
static enum fsp_rc
cosign_today(struct passage *p, struct fsp_buf *note, struct fsp_err *err)
{
    const struct fsp_skey *cosigner = p->intake->keys->cosigner;
    uint8_t cosignature[8 + FSP_SIG_LEN];
    struct fsp_checkpoint head;
    struct fsp_note parsed;
    enum fsp_rc rc;

    if (p->intake->keys->n_cosigner_before == 0)
        return FSP_OK;
    rc = fsp_note_parse(&parsed, note->data, note->len, err);
    if (rc == FSP_OK)
        rc = fsp_note_verify(&parsed, fsp_skey_vkey(cosigner), NULL, err);
    if (rc != FSP_ENOTFOUND)
        return rc;
    rc = fsp_checkpoint_parse(&head, parsed.text, parsed.text_len, err);
    if (rc == FSP_OK)
        rc = fsp_cosign(&head, cosigner, (uint64_t)cosign_time(p), cosignature, err);
    if (rc != FSP_OK)
        return rc;
    fsp_note_add_line(note, fsp_skey_vkey(cosigner), cosignature, sizeof(cosignature));
    return fsp_buf_check(note, "receipt", err);
}

/* Wholly known: the note of our newest head, as it was stored. FSP_ENOTFOUND when this log has
 * no head yet. */
static enum fsp_rc
repeat_receipt(struct passage *p, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    struct fsp_range range;
    enum fsp_rc rc = shelf->ops->head_below(
            shelf->ctx, p->log.id, UINT64_MAX, &range, &p->intake->held, err);

    if (rc == FSP_OK)
        rc = cosign_today(p, &p->intake->held, err);
    if (rc == FSP_OK)
        rc = gather_words(p, err);
    return rc == FSP_OK ? hand_out(p, &p->intake->held, err) : rc;
}

/* What closed the log, for the other copy that goes on with it. */
static enum fsp_rc
show_closing(const struct passage *p, struct fsp_refusal *refusal, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    const struct fsp_shelf_renewal *closing = &p->closing;
    struct fsp_shelf_log next;
    enum fsp_rc rc = shelf->ops->next_log(shelf->ctx, closing->log - 1, &next, err);

    if (rc == FSP_OK)
        rc = fsp_vkey_make(&refusal->renewed, next.origin, FSP_KEY_NOTE, next.pub, err);
    refusal->has_renewed = true;
    refusal->renewal.from.size = closing->from_size;
    memcpy(refusal->renewal.from.root, closing->from_root, FSP_HASH_LEN);
    refusal->renewal.has_proof = closing->how == FSP_RENEWAL_PROVED;
    memcpy(refusal->renewal.proof, closing->proof, FSP_SIG_LEN);
    return rc;
}

/* Sign a refusal that claims our size and shows the rig's own newest head that we hold. */
static enum fsp_rc
sign_refusal(
        struct passage *p, int status, const char *origin, uint64_t size, struct fsp_err *err)
{
    const struct fsp_office_keys *keys = p->intake->keys;
    struct fsp_refusal refusal;
    enum fsp_rc rc = FSP_OK;

    memset(&refusal, 0, sizeof(refusal));
    refusal.status = status;
    memcpy(refusal.bundle, p->digest, sizeof(refusal.bundle));
    memcpy(refusal.origin, origin, strlen(origin) + 1);
    refusal.size = size;
    refusal.has_differs = status == FSP_ANSWER_FORK && p->has_differs;
    refusal.differs = refusal.has_differs ? p->differs : 0;
    if (p->intake->held.len > 0) {
        refusal.held = (const char *)p->intake->held.data;
        refusal.held_len = p->intake->held.len;
    }
    if (status == FSP_ANSWER_FORK && p->closed && !p->has_differs)
        rc = show_closing(p, &refusal, err);
    if (rc == FSP_OK)
        rc = fsp_refusal_sign(p->answer, &refusal, keys->instructions, err);
    /* The rig may know the older keys only, and without this answer it learns of no newer one. */
    for (size_t i = 0; rc == FSP_OK && i < keys->n_instructions_before; i++)
        rc = fsp_instruct_sign_too(p->answer, keys->instructions_before[i], err);
    if (rc == FSP_OK)
        *p->status = status;
    return rc;
}

/* The newest head held of a log into intake->held (empty when there is none), and its size. */
static enum fsp_rc
load_held(struct passage *p, int64_t log, uint64_t *size, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    struct fsp_range range;
    enum fsp_rc rc =
            shelf->ops->head_below(shelf->ctx, log, UINT64_MAX, &range, &p->intake->held, err);

    *size = 0;
    if (rc == FSP_OK) {
        *size = range.size;
        return FSP_OK;
    }
    fsp_buf_reset(&p->intake->held);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

enum fsp_rc
fsp_intake_gap(struct passage *p, const char *origin, int64_t log, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    uint64_t size = 0;
    enum fsp_rc rc = load_held(p, log, &size, err);

    if (rc == FSP_OK) /* an enrolment too: it comes again with the next bundle */
        rc = shelf->ops->undo(shelf->ctx, err);
    return rc == FSP_OK ? sign_refusal(p, FSP_ANSWER_GAP, origin, size, err) : rc;
}

static enum fsp_rc
keep_fork(struct passage *p, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    struct fsp_shelf_fork fork;
    enum fsp_rc rc;

    memset(&fork, 0, sizeof(fork));
    fork.log = p->log.id;
    fork.seen_s = p->intake->env->utc_us(p->intake->env->ctx) / FSP_US_PER_S;
    fork.size = p->head->head.size;
    fork.has_differs = p->has_differs;
    fork.differs = p->differs;
    fork.held = (const char *)p->intake->held.data;
    fork.held_len = p->intake->held.len;
    fork.came = (const char *)p->intake->note.data;
    fork.came_len = p->intake->note.len;
    if (!p->has_differs && p->closed) { /* the first that the closed log does not have */
        fork.has_differs = true;
        fork.differs = p->range.size;
    }
    if (fork.has_differs) {
        fork.entry = p->entries[fork.differs - p->head->old_size].bytes;
        fork.entry_len = p->entries[fork.differs - p->head->old_size].len;
    }
    rc = shelf->ops->add_fork(shelf->ctx, &fork, err);
    p->keep = rc == FSP_OK;
    return rc;
}

/* Undo, then keep both heads. A log that would have been enrolled by this very bundle is not there
 * after that: nothing is held that could contradict, and nothing is kept. */
static enum fsp_rc
answer_fork(struct passage *p, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    uint64_t size = 0;
    enum fsp_rc rc = shelf->ops->undo(shelf->ctx, err);

    if (rc != FSP_OK)
        return rc;
    fsp_buf_reset(&p->intake->held);
    if (p->enrolled_now)
        return sign_refusal(p, FSP_ANSWER_FORK, p->head->head.origin, 0, err);
    rc = load_held(p, p->log.id, &size, err);
    if (rc == FSP_OK)
        rc = keep_fork(p, err);
    return rc == FSP_OK ? sign_refusal(p, FSP_ANSWER_FORK, p->log.origin, size, err) : rc;
}

/* --- the way through ------------------------------------------------------------------------- */

static enum fsp_rc
settle(struct passage *p, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    uint64_t ours;
    uint64_t common;
    enum fsp_rc rc = shelf->ops->tip(shelf->ctx, p->log.id, &p->range, err);

    if (rc != FSP_OK)
        return rc;
    ours = p->range.size;
    if (p->head->old_size > ours)
        return fsp_intake_gap(p, p->log.origin, p->log.id, err);
    common = p->head->head.size < ours ? p->head->head.size : ours;
    rc = compare_overlap(p, common, err);
    if (rc == FSP_OK && p->fork)
        rc = weigh_difference(p, err);
    else if (rc == FSP_OK && p->closed && p->head->head.size > ours)
        p->fork = true; /* another log continues this one: another copy is writing */
    else if (rc == FSP_OK)
        rc = p->head->head.size > ours ? extend(p, err) : check_covered(p, err);
    if (rc != FSP_OK || *p->status != 0)
        return rc;
    if (p->fork)
        return answer_fork(p, err);
    if (p->head->head.size <= ours) {
        rc = repeat_receipt(p, err);
        if (rc != FSP_ENOTFOUND || ours > 0)
            return rc; /* nothing was written */
    }
    p->records = p->range.size - ours;
    return receipt(p, err);
}

enum fsp_rc
fsp_intake_pass(struct passage *p, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_intake_find_log(p, err);

    if (rc == FSP_OK && *p->status == 0)
        rc = check_signature(p, err);
    if (rc == FSP_OK && *p->status == 0)
        rc = settle(p, err);
    return rc;
}

enum fsp_rc
fsp_intake_take(struct fsp_intake *intake, const uint8_t *bundle, size_t len, int *status,
        struct fsp_buf *answer, struct fsp_err *err)
{
    enum fsp_rc rc;
    struct fsp_bundle *opened = NULL;
    struct passage p;
    uint8_t digest[32];

    *status = 0;
    fsp_buf_reset(answer);
    memset(&p, 0, sizeof(p));
    p.intake = intake;
    p.status = status;
    p.answer = answer;
    rc = open_bundle(&p, bundle, len, &opened, err);
    if (rc != FSP_OK || *status != 0)
        goto out;
    fsp_bundle_digest(bundle, len, digest);
    p.digest = digest;
    p.head = fsp_bundle_peek_head(opened);
    p.entries = fsp_bundle_peek_entries(opened, &p.n);
    if (!entries_fit(p.entries, p.n)) {
        rc = fsp_intake_refuse(&p, STATUS_BAD, "an entry is empty or over the limit");
        goto out;
    }
    rc = fsp_intake_wait(&p, err);
out:
    fsp_bundle_free(opened);
    if (rc != FSP_OK) {
        *status = 0;
        fsp_buf_reset(answer);
    }
    return rc;
}
