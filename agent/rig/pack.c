#include "rig/pack.h"

#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "base/mem.h"
#include "base/text.h"
#include "rig/head.h"
#include "rig/knows.h"
#include "rig/trust.h"
#include "rig/word.h"
#include "store/logtable.h"
#include "wire/bundle.h"

/* Raw bytes read per payload byte wanted: records shrink to a twentieth or so, so this is enough; and
 * how many at most for the link, whose bundles one process makes for years. */
#define RAW_PER_PAYLOAD 32
#define RAW_ONLINE      ((size_t)2 * 1024 * 1024)

struct gather {
    struct fsp_buf raw;
    size_t *end; /* where each entry ends in raw */
    size_t n;
    size_t most; /* raw bytes to read, at least one entry */
};

/* What a bundle is made of. */
struct gathered {
    struct fsp_office_knows knows;
    struct fsp_entry_bytes *entries;
    size_t n;
    struct fsp_checkpoint head;
    uint8_t sig[FSP_SIG_LEN];
};

void
fsp_packed_init(struct fsp_packed *packed)
{
    memset(packed, 0, sizeof(*packed));
    fsp_buf_init(&packed->bundle, FSP_BUNDLE_MAX);
}

void
fsp_packed_fini(struct fsp_packed *packed)
{
    fsp_buf_fini(&packed->bundle);
}

static enum fsp_rc
gather_one(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct gather *gather = ctx;

    (void)index;
    /* One more for the LF behind each entry. */
    if (gather->n > 0 && gather->raw.len + gather->n + len + 1 > gather->most)
        return FSP_ELIMIT;
    fsp_buf_add(&gather->raw, bytes, len);
    gather->end[gather->n] = gather->raw.len;
    gather->n++;
    return fsp_buf_check(&gather->raw, "a bundle's entries", err);
}

static void
point(const struct gather *gather, struct fsp_entry_bytes *entries)
{
    size_t from = 0;

    for (size_t i = 0; i < gather->n; i++) {
        entries[i].bytes = gather->raw.data + from;
        entries[i].len = gather->end[i] - from;
        from = gather->end[i];
    }
}

/* How many of the entries fit the payload: measured, cut in proportion, measured again. */
static enum fsp_rc
fit(struct gathered *gathered, size_t payload, struct fsp_err *err)
{
    size_t *n = &gathered->n;
    enum fsp_rc rc;
    size_t size;

    for (;;) {
        size_t fewer;

        rc = fsp_bundle_payload_size(
                gathered->knows.dictionary, gathered->entries, *n, &size, err);
        if (rc != FSP_OK || size <= payload || *n == 1)
            return rc;
        fewer = (size_t)((double)*n * (double)payload / (double)size);
        if (fewer >= *n)
            fewer = *n - 1;
        *n = fewer < 1 ? 1 : fewer;
    }
}

/* How the log enrols: its token, or the renewal it begins with. */
static enum fsp_rc
write_enrolment(
        const struct fsp_journal_log *log, struct fsp_bundle_head *head, struct fsp_err *err)
{
    memcpy(head->rig_pub, log->vkey.pub, sizeof(head->rig_pub));
    head->enrolment = log->token[0] != '\0';
    head->renewal = !head->enrolment;
    if (head->enrolment &&
            fsp_text_unhex(head->token, sizeof(head->token), log->token) != FSP_OK)
        return fsp_err_set(err, FSP_ECORRUPT, "the store's value 'token' is damaged");
    return FSP_OK;
}

static enum fsp_rc
seal(struct fsp_journal *journal, const struct fsp_journal_log *log,
        const struct gathered *gathered, struct fsp_packed *packed, struct fsp_err *err)
{
    struct fsp_bundle_head head = {.head = gathered->head,
            .old_size = packed->old_size,
            .dictionary = (uint8_t)gathered->knows.dictionary,
            .short_receipt = gathered->knows.short_receipt};
    struct fsp_journal_progress progress;
    struct fsp_trust trust;
    enum fsp_rc rc;

    memcpy(head.sig, gathered->sig, sizeof(head.sig));
    rc = fsp_journal_progress_of(journal, log, &progress, err);
    packed->enrolment = packed->enrolment || !progress.receipted || packed->old_size == 0;
    if (rc == FSP_OK && packed->enrolment)
        rc = write_enrolment(log, &head, err);
    if (rc == FSP_OK)
        rc = fsp_word_newest(journal, head.newest, &head.has_newest, err);
    if (rc == FSP_OK)
        rc = fsp_trust_load(journal, &trust, err);
    if (rc != FSP_OK)
        return rc;
    fsp_buf_reset(&packed->bundle);
    rc = fsp_bundle_seal(
            &packed->bundle, &head, gathered->entries, gathered->n, trust.box_pub, err);
    if (rc != FSP_OK)
        return rc;
    packed->log = log->id;
    packed->size = head.head.size;
    packed->head = head.head;
    memcpy(packed->sig, head.sig, sizeof(packed->sig));
    fsp_bundle_digest(packed->bundle.data, packed->bundle.len, packed->hash);
    return FSP_OK;
}

/* ---- which head --------------------------------------------------------------------------- */

/* The log's own signature line of a stored head. */
static enum fsp_rc
read_head(const struct fsp_journal_log *log, const struct fsp_buf *bytes,
        struct gathered *gathered, struct fsp_err *err)
{
    struct fsp_note note;
    enum fsp_rc rc = fsp_note_parse(&note, bytes->data, bytes->len, err);

    if (rc == FSP_OK)
        rc = fsp_checkpoint_parse(&gathered->head, note.text, note.text_len, err);
    if (rc == FSP_OK)
        rc = fsp_note_verify(&note, &log->vkey, NULL, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, FSP_ECORRUPT, "a stored head of %s", log->origin);
    for (size_t i = 0; i < note.lines; i++) {
        if (note.line[i].sig_len == FSP_SIG_LEN &&
                memcmp(note.line[i].id, log->vkey.id, sizeof(log->vkey.id)) == 0 &&
                note.line[i].name_len == strlen(log->vkey.name) &&
                memcmp(note.line[i].name, log->vkey.name, note.line[i].name_len) == 0)
            memcpy(gathered->sig, note.line[i].sig, FSP_SIG_LEN);
    }
    return FSP_OK;
}

/* A closed log ends its bundles at heads signed when it was open: the largest within the n entries
 * that fit, else the first one above old, whatever the payload. */
static enum fsp_rc
stored_head(struct fsp_journal *journal, const struct fsp_journal_log *log, uint64_t old,
        struct gathered *gathered, struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_range range;
    struct fsp_buf note;
    enum fsp_rc rc;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = fsp_logtable_head_below(db, log->id, old + gathered->n, &range, &note, err);
    if (rc == FSP_ENOTFOUND || (rc == FSP_OK && range.size <= old)) {
        fsp_buf_reset(&note);
        rc = fsp_logtable_head_covering(db, log->id, old, &range, &note, err);
        if (rc == FSP_ENOTFOUND || (rc == FSP_OK && range.size > log->size))
            rc = fsp_err_set(err, FSP_ECORRUPT,
                    "%s is closed and has no signed head above entry %llu; ask the office for "
                    "a "
                    "hand-back and run: farspool-rig renew",
                    log->origin, (unsigned long long)old);
    }
    if (rc == FSP_OK)
        rc = read_head(log, &note, gathered, err);
    fsp_buf_fini(&note);
    return rc;
}

/* ---- packing ------------------------------------------------------------------------------ */

/* Entries old .. to - 1 as far as they fit; the list is freed by the caller. */
static enum fsp_rc
collect(struct fsp_journal *journal, const struct fsp_journal_log *log,
        const struct fsp_pack_want *want, struct gather *gather, struct gathered *gathered,
        struct fsp_err *err)
{
    uint64_t to = log->size < want->to ? log->size : want->to;
    enum fsp_rc rc;

    if (to <= want->old)
        return fsp_err_set(err, FSP_ENOTFOUND, "nothing is pending");
    if (to - want->old > FSP_BUNDLE_ENTRIES)
        to = want->old + FSP_BUNDLE_ENTRIES;
    fsp_buf_reset(&gather->raw);
    gather->n = 0;
    gather->most = want->payload > FSP_BUNDLE_INFLATED / RAW_PER_PAYLOAD
                           ? FSP_BUNDLE_INFLATED
                           : want->payload * RAW_PER_PAYLOAD;
    if (want->online && gather->most > RAW_ONLINE)
        gather->most = RAW_ONLINE;
    free(gather->end);
    free(gathered->entries);
    gather->end = fsp_mem_array((size_t)(to - want->old), sizeof(*gather->end));
    gathered->entries = fsp_mem_array((size_t)(to - want->old), sizeof(*gathered->entries));
    if (gather->end == NULL || gathered->entries == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_logtable_scan(
            fsp_journal_db(journal), log->id, want->old, to, gather_one, gather, err);
    if (rc == FSP_ELIMIT && gather->n > 0) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    if (rc != FSP_OK)
        return rc;
    point(gather, gathered->entries);
    gathered->n = gather->n;
    return fit(gathered, want->payload, err);
}

/* A head that was signed before, of exactly that size. */
static enum fsp_rc
pack_poll(struct fsp_journal *journal, const struct fsp_journal_log *log,
        struct gathered *gathered, struct fsp_err *err)
{
    struct fsp_range range;
    struct fsp_buf note;
    enum fsp_rc rc;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = fsp_logtable_head_below(
            fsp_journal_db(journal), log->id, log->size, &range, &note, err);
    if (rc == FSP_OK && range.size != log->size)
        rc = fsp_err_set(err, FSP_ENOTFOUND, "nothing is pending");
    if (rc == FSP_OK)
        rc = read_head(log, &note, gathered, err);
    fsp_buf_fini(&note);
    return rc;
}

static enum fsp_rc
pack_closed(struct fsp_journal *journal, const struct fsp_journal_log *log,
        const struct fsp_pack_want *want, struct gather *gather, struct gathered *gathered,
        struct fsp_err *err)
{
    struct fsp_pack_want whole = {.old = want->old, .payload = FSP_BUNDLE_INFLATED};
    enum fsp_rc rc = stored_head(journal, log, want->old, gathered, err);

    if (rc == FSP_OK && gathered->head.size > want->old + gathered->n) {
        whole.to = gathered->head.size;
        rc = collect(journal, log, &whole, gather, gathered, err);
        if (rc == FSP_OK && gathered->head.size > want->old + gathered->n)
            rc = fsp_err_set(err, FSP_ELIMIT, "%s: no bundle holds entries %llu to %llu",
                    log->origin, (unsigned long long)want->old,
                    (unsigned long long)gathered->head.size);
    }
    gathered->n = rc == FSP_OK ? (size_t)(gathered->head.size - want->old) : 0;
    return rc;
}

enum fsp_rc
fsp_pack(struct fsp_journal *journal, const struct fsp_skey *skey,
        const struct fsp_pack_want *want, struct fsp_packed *packed, struct fsp_err *err)
{
    struct gathered gathered = {.n = 0};
    struct gather gather = {.n = 0};
    struct fsp_journal_log log;
    bool polls;
    enum fsp_rc rc = FSP_OK;

    packed->old_size = want->old;
    packed->enrolment = want->enrol;
    fsp_buf_init(&gather.raw, FSP_BUNDLE_INFLATED);
    if (want->log != NULL)
        log = *want->log;
    else
        rc = fsp_journal_log(journal, fsp_journal_about(journal)->origin, &log, err);
    if (rc == FSP_OK)
        rc = fsp_knows_read(journal, &gathered.knows, err);
    gathered.knows.short_receipt = gathered.knows.short_receipt && want->online;
    polls = rc == FSP_OK && want->online && log.current && want->old == log.size;
    if (polls)
        rc = pack_poll(journal, &log, &gathered, err);
    else if (rc == FSP_OK)
        rc = collect(journal, &log, want, &gather, &gathered, err);
    if (rc == FSP_OK && log.current && !polls)
        rc = fsp_head_sign(
                journal, skey, want->old + gathered.n, &gathered.head, gathered.sig, err);
    else if (rc == FSP_OK && !polls)
        rc = pack_closed(journal, &log, want, &gather, &gathered, err);
    if (rc == FSP_OK)
        rc = seal(journal, &log, &gathered, packed, err);
    free(gathered.entries);
    free(gather.end);
    fsp_buf_fini(&gather.raw);
    return rc;
}
