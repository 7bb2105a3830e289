#include "rig/pack.h"

#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "base/mem.h"
#include "rig/head.h"
#include "store/logtable.h"
#include "wire/bundle.h"

/* Raw bytes read per payload byte wanted: records deflate by about 8, so this is enough. */
#define RAW_PER_PAYLOAD 16

struct gather {
    struct fsp_buf raw;
    size_t *end; /* where each entry ends in raw */
    size_t n;
    size_t most; /* raw bytes to read, at least one entry */
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
fit(const struct fsp_entry_bytes *entries, size_t *n, size_t payload, struct fsp_err *err)
{
    enum fsp_rc rc;
    size_t size;

    for (;;) {
        size_t fewer;

        rc = fsp_bundle_payload_size(entries, *n, &size, err);
        if (rc != FSP_OK || size <= payload || *n == 1)
            return rc;
        fewer = (size_t)((double)*n * (double)payload / (double)size);
        if (fewer >= *n)
            fewer = *n - 1;
        *n = fewer < 1 ? 1 : fewer;
    }
}

static enum fsp_rc
seal(struct fsp_journal *journal, const struct fsp_skey *skey,
        const struct fsp_entry_bytes *entries, size_t n, struct fsp_packed *packed,
        struct fsp_err *err)
{
    const struct fsp_journal_about *about = fsp_journal_about(journal);
    struct fsp_journal_progress progress;
    struct fsp_bundle_head head = {.old_size = packed->old_size};
    enum fsp_rc rc;

    rc = fsp_journal_progress(journal, &progress, err);
    if (rc == FSP_OK)
        rc = fsp_head_sign(journal, skey, packed->old_size + n, &head.head, head.sig, err);
    if (rc != FSP_OK)
        return rc;
    head.enrolment = packed->enrolment || !progress.receipted || packed->old_size == 0;
    packed->enrolment = head.enrolment;
    if (head.enrolment) {
        memcpy(head.rig_pub, about->vkey.pub, sizeof(head.rig_pub));
        memcpy(head.token, about->token, sizeof(head.token));
    }
    fsp_buf_reset(&packed->bundle);
    rc = fsp_bundle_seal(&packed->bundle, &head, entries, n, about->box_pub, err);
    if (rc != FSP_OK)
        return rc;
    packed->size = head.head.size;
    fsp_bundle_digest(packed->bundle.data, packed->bundle.len, packed->hash);
    return FSP_OK;
}

enum fsp_rc
fsp_pack(struct fsp_journal *journal, const struct fsp_skey *skey,
        const struct fsp_pack_want *want, struct fsp_packed *packed, struct fsp_err *err)
{
    struct fsp_db *db = fsp_journal_db(journal);
    struct fsp_entry_bytes *entries = NULL;
    struct gather gather = {.n = 0};
    struct fsp_range tip;
    uint64_t old = want->old;
    uint64_t to;
    enum fsp_rc rc;
    size_t n;

    packed->old_size = old;
    packed->enrolment = want->enrol;
    gather.most = want->payload > FSP_BUNDLE_INFLATED / RAW_PER_PAYLOAD
                          ? FSP_BUNDLE_INFLATED
                          : want->payload * RAW_PER_PAYLOAD;
    fsp_buf_init(&gather.raw, FSP_BUNDLE_INFLATED);
    rc = fsp_logtable_tip(db, FSP_RIG_LOG, &tip, err);
    if (rc != FSP_OK)
        goto out;
    to = tip.size < want->to ? tip.size : want->to;
    if (to <= old) {
        rc = fsp_err_set(err, FSP_ENOTFOUND, "nothing is pending");
        goto out;
    }
    if (to - old > FSP_BUNDLE_ENTRIES)
        to = old + FSP_BUNDLE_ENTRIES;
    gather.end = fsp_mem_array((size_t)(to - old), sizeof(*gather.end));
    entries = fsp_mem_array((size_t)(to - old), sizeof(*entries));
    if (gather.end == NULL || entries == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    rc = fsp_logtable_scan(db, FSP_RIG_LOG, old, to, gather_one, &gather, err);
    if (rc == FSP_ELIMIT && gather.n > 0) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    if (rc != FSP_OK)
        goto out;
    point(&gather, entries);
    n = gather.n;
    rc = fit(entries, &n, want->payload, err);
    if (rc == FSP_OK)
        rc = seal(journal, skey, entries, n, packed, err);
out:
    free(entries);
    free(gather.end);
    fsp_buf_fini(&gather.raw);
    return rc;
}
