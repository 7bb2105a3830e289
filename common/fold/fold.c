#include "fold/fold.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "fold/fold_priv.h"

/* ---- new and free ---- */

static enum fsp_rc
start(const struct fsp_fold_about *about, struct fsp_fold **out, struct fsp_err *err)
{
    struct fsp_fold *fold = calloc(1, sizeof(*fold));

    *out = fold;
    if (fold == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    fold->about = *about;
    if (about->worth == 0)
        fold->about.worth = FSP_FOLD_WORTH;
    fold->n_logs = about->n_logs;
    fold->logs = fsp_mem_array(about->n_logs, sizeof(*fold->logs));
    fold->parts = fsp_mem_array(about->n_logs, sizeof(*fold->parts));
    if (fold->logs == NULL || fold->parts == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    if (about->n_logs > 0)
        memcpy(fold->logs, about->logs, about->n_logs * sizeof(*fold->logs));
    fsp_fold_parts_free(fold); /* sizes */
    fsp_fold_hash(fold);
    memcpy(fold->marks.about, fold->hash, sizeof(fold->hash));
    fold->base_from_s = INT64_MIN;
    return FSP_OK;
}

/* All is new: nothing that is stored counts. Signatures judged under the same roster stay judged. */
static void
begin_anew(struct fsp_fold *fold, size_t marked, const uint8_t roster[FSP_HASH_LEN])
{
    bool same = memcmp(roster, fold->marks.roster, FSP_HASH_LEN) == 0;

    fsp_fold_parts_free(fold);
    fsp_marks_fini(&fold->before);
    if (same) {
        fold->before = fold->marks;
        fold->before.n = marked;
        fsp_marks_init(&fold->marks);
    }
    fsp_marks_fini(&fold->marks);
    memcpy(fold->marks.about, fold->hash, sizeof(fold->hash));
    fold->roster_version = 0;
    fold->fresh = 0;
    fold->reset = true;
}

static enum fsp_rc
read_all(struct fsp_fold *fold, const struct fsp_fold_store *store, struct fsp_err *err)
{
    uint8_t roster[FSP_HASH_LEN];
    size_t marked;
    enum fsp_rc rc = FSP_OK;

    if (fold->about.whole || fold->n_logs > FSP_STATE_LOGS)
        fold->reset = true;
    else
        rc = fsp_fold_load_marks(fold, store, err);
    if (rc != FSP_OK)
        return rc;
    marked = fold->marks.n;
    memcpy(roster, fold->marks.roster, sizeof(roster));
    rc = fsp_fold_read_news(fold, store, err);
    if (rc != FSP_EAGAIN)
        return rc;
    fsp_err_clear(err);
    begin_anew(fold, marked, roster);
    return fsp_fold_read_news(fold, store, err);
}

enum fsp_rc
fsp_fold_new(const struct fsp_fold_store *store, const struct fsp_fold_about *about,
        struct fsp_fold **out, struct fsp_err *err)
{
    struct fsp_fold *fold = NULL;
    enum fsp_rc rc = start(about, &fold, err);

    *out = NULL;
    if (rc == FSP_OK)
        rc = read_all(fold, store, err);
    if (rc == FSP_OK)
        rc = fsp_fold_best(fold, store, err);
    if (rc == FSP_OK)
        rc = fsp_fold_collect(fold, store, err);
    if (rc != FSP_OK) {
        fsp_fold_free(fold);
        return rc;
    }
    *out = fold;
    return FSP_OK;
}

void
fsp_fold_free(struct fsp_fold *fold)
{
    if (fold == NULL)
        return;
    fsp_ledger_free(fold->ledger);
    fsp_attest_free(fold->attest);
    fsp_fold_parts_free(fold);
    fsp_fold_shown_free(fold);
    fsp_marks_fini(&fold->marks);
    fsp_marks_fini(&fold->before);
    for (size_t i = 0; i < fold->n_kept; i++)
        fsp_buf_fini(&fold->kept[i].state);
    free(fold->kept);
    free(fold->parts);
    free(fold->logs);
    free(fold);
}

const struct fsp_ledger *
fsp_fold_ledger(const struct fsp_fold *fold)
{
    return fold->ledger;
}

uint64_t
fsp_fold_entries(const struct fsp_fold *fold)
{
    uint64_t n = 0;

    for (size_t l = 0; l < fold->n_logs; l++)
        n += fold->logs[l].size;
    return n;
}

uint64_t
fsp_fold_unreadable(const struct fsp_fold *fold)
{
    return fold->marks.unreadable;
}

size_t
fsp_fold_read(const struct fsp_fold *fold)
{
    return fold->read;
}

uint64_t
fsp_fold_roster(const struct fsp_fold *fold)
{
    return fold->roster_version;
}

/* ---- check ---- */

struct listing {
    int64_t *cuts;
    size_t n, cap;
};

static enum fsp_rc
list_one(void *ctx, int64_t cuts, int64_t from_s, struct fsp_err *err)
{
    struct listing *listing = ctx;

    (void)from_s;
    if (fsp_mem_grow((void **)&listing->cuts, &listing->cap, listing->n + 1,
                sizeof(*listing->cuts)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    listing->cuts[listing->n++] = cuts;
    return FSP_OK;
}

static bool
no_state(enum fsp_rc rc)
{
    return rc == FSP_EFORMAT || rc == FSP_ENOTFOUND || rc == FSP_ELIMIT;
}

/* One stored state against the whole. */
static enum fsp_rc
check_state(struct fsp_fold *fold, const struct fsp_fold_store *store, int64_t cuts,
        const struct fsp_buf *want, struct fsp_fold_checked *checked, struct fsp_err *err)
{
    struct fsp_ledger *ledger = NULL;
    struct fsp_buf says;
    enum fsp_rc rc = fsp_fold_from(fold, store, cuts, &ledger, err);

    if (no_state(rc))
        checked->damaged++;
    if (no_state(rc) || rc == FSP_EAGAIN) { /* EAGAIN: what came since belongs before it */
        fsp_err_clear(err);
        return FSP_OK;
    }
    if (rc != FSP_OK)
        return rc;
    checked->states++;
    fsp_buf_init(&says, want->max);
    fsp_ledger_json(ledger, &says);
    rc = fsp_buf_check(&says, "the account", err);
    if (rc == FSP_OK &&
            (says.len != want->len || memcmp(says.data, want->data, want->len) != 0))
        checked->differ++;
    fsp_buf_fini(&says);
    fsp_ledger_free(ledger);
    return rc;
}

static bool
same_mark(const struct fsp_mark *a, const struct fsp_mark *b)
{
    return a != NULL && a->kind == b->kind && a->sig == b->sig && a->at_s == b->at_s &&
           a->voids == b->voids;
}

/* The marks as they are stored against those of all entries. */
static enum fsp_rc
check_marks(struct fsp_fold *fold, const struct fsp_fold_store *store,
        struct fsp_fold_checked *checked, struct fsp_err *err)
{
    struct fsp_marks stored;
    struct fsp_buf buf;
    bool differ = false;
    enum fsp_rc rc;

    fsp_marks_init(&stored);
    fsp_buf_init(&buf, FSP_MARKS_MAX);
    rc = store->marks(store->ctx, store->owner, &buf, err);
    if (rc == FSP_OK && buf.len > 0)
        rc = fsp_marks_read(&stored, buf.data, buf.len, err);
    if (rc == FSP_EFORMAT || rc == FSP_ELIMIT)
        checked->damaged++;
    else if (rc == FSP_OK && memcmp(stored.about, fold->hash, FSP_HASH_LEN) == 0 &&
             memcmp(stored.roster, fold->marks.roster, FSP_HASH_LEN) == 0)
        for (size_t i = 0; i < stored.n; i++)
            differ = differ || !same_mark(fsp_marks_find(&fold->marks, stored.items[i].log,
                                                  stored.items[i].index),
                                       &stored.items[i]);
    checked->differ += differ ? 1 : 0;
    if (no_state(rc)) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    fsp_marks_fini(&stored);
    fsp_buf_fini(&buf);
    return rc;
}

enum fsp_rc
fsp_fold_check(const struct fsp_fold_store *store, const struct fsp_fold_about *about,
        struct fsp_fold_checked *checked, struct fsp_err *err)
{
    struct fsp_fold_about whole = *about;
    struct listing listing = {.n = 0};
    struct fsp_fold *fold = NULL;
    struct fsp_buf want;
    enum fsp_rc rc;

    memset(checked, 0, sizeof(*checked));
    whole.whole = true;
    whole.inspections = 0;
    fsp_buf_init(&want, (size_t)64 * 1024 * 1024);
    rc = store->states(store->ctx, store->owner, list_one, &listing, err);
    if (rc == FSP_OK)
        rc = fsp_fold_new(store, &whole, &fold, err);
    if (rc == FSP_OK) {
        fsp_ledger_json(fold->ledger, &want);
        rc = fsp_buf_check(&want, "the account", err);
    }
    if (rc == FSP_OK)
        rc = check_marks(fold, store, checked, err);
    for (size_t i = 0; rc == FSP_OK && i < listing.n; i++)
        rc = check_state(fold, store, listing.cuts[i], &want, checked, err);
    fsp_buf_fini(&want);
    free(listing.cuts);
    fsp_fold_free(fold);
    return rc;
}
