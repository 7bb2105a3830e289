#include "office/fleet.h"

#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "office/flags.h"

/* One rig folded, never changed afterwards; judged rigs refer to it. */
struct fsp_fleet_account {
    _Atomic size_t holds;
    struct fsp_fleet_rig rig; /* all but what is judged */
};

/* One rig beside the others: its account's fields, and the judgement. */
struct fsp_fleet_judged {
    _Atomic size_t holds;
    struct fleet_rates *rates; /* held */
    struct fsp_flag *flags;
    struct fsp_fleet_rig rig;
};

/* The base rates of a fleet; shared as long as no rig's cuts change. */
struct fleet_rates {
    _Atomic size_t holds;
    uint64_t sum; /* of all rigs' cuts */
    struct fsp_review_rates *rates;
};

struct fsp_fleet_counted {
    _Atomic size_t holds;
    struct fleet_rates *rates; /* held */
    struct fsp_fleet fleet;
};

/* --- one rig --------------------------------------------------------------------------------- */

/* Of the newest log that was heard often enough; logs come in their order. */
static enum fsp_rc
read_rhythm(
        struct fsp_shelf *shelf, int64_t log, struct fsp_fleet_rig *rig, struct fsp_err *err)
{
    int64_t times_s[FSP_FLAG_RECEIPTS];
    int64_t rhythm_s;
    size_t n = 0;
    enum fsp_rc rc = shelf->ops->heard(shelf->ctx, log, times_s, FSP_FLAG_RECEIPTS, &n, err);

    if (rc != FSP_OK)
        return rc;
    rhythm_s = fsp_flags_rhythm(times_s, n);
    if (rhythm_s != 0)
        rig->rhythm_s = rhythm_s;
    return FSP_OK;
}

static enum fsp_rc
read_log(struct fsp_shelf *shelf, struct fsp_fleet_rig *rig, const struct fsp_chain_log *chain,
        struct fsp_fold_log *fold, struct fsp_err *err)
{
    struct fsp_fleet_log *mine = &rig->logs[rig->n_logs];
    struct fsp_range range;
    enum fsp_rc rc = shelf->ops->tip(shelf->ctx, chain->log.id, &range, err);

    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "%s", chain->log.origin);
    mine->log = chain->log;
    mine->chain = *chain;
    mine->size = range.size;
    fsp_range_root(&range, mine->root);
    rc = read_rhythm(shelf, chain->log.id, rig, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "%s", chain->log.origin);
    rc = shelf->ops->forks_of(shelf->ctx, chain->log.id, &mine->forks, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "%s", chain->log.origin);
    rig->forks += mine->forks;
    if (!chain->closed)
        rig->open_forks += mine->forks;
    if (chain->log.heard_s > rig->heard_s)
        rig->heard_s = chain->log.heard_s;
    if (fsp_fleet_renewal_open(mine)) {
        rig->renewals++;
        rig->renewals_odd =
                rig->renewals_odd || chain->second || chain->renewal.how == FSP_RENEWAL_UNFIT;
    }
    *fold = (struct fsp_fold_log){chain->log.id, range.size};
    rig->n_logs++;
    return FSP_OK;
}

static enum fsp_rc
read_logs(struct fsp_shelf *shelf, struct fsp_fleet_rig *rig, struct fsp_fold_log **out,
        struct fsp_err *err)
{
    struct fsp_chain_log *chain = NULL;
    size_t n = 0;
    enum fsp_rc rc = fsp_chain_load(shelf, rig->name, &chain, &n, err);

    *out = NULL;
    if (rc != FSP_OK)
        return rc;
    rig->logs = fsp_mem_array(n, sizeof(*rig->logs));
    *out = fsp_mem_array(n, sizeof(**out));
    if (rig->logs == NULL || *out == NULL)
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; rc == FSP_OK && i < n; i++)
        rc = read_log(shelf, rig, &chain[i], &(*out)[i], err);
    free(chain);
    return rc;
}

/* What differs whenever a review may: FNV-1a over what a review reads of the cuts. */
static uint64_t
mix(uint64_t sum, const void *bytes, size_t len)
{
    const uint8_t *byte = bytes;

    for (size_t i = 0; i < len; i++)
        sum = (sum ^ byte[i]) * UINT64_C(1099511628211);
    return sum;
}

static uint64_t
sum_of(const struct fsp_fleet_rig *rig)
{
    uint64_t sum = mix(UINT64_C(14695981039346656037), rig->name, strlen(rig->name));

    for (size_t i = 0; i < rig->n_cuts; i++) {
        const struct fsp_cut_row *cut = rig->cuts[i];
        const uint8_t says[4] = {cut->eligible, cut->early, cut->low, cut->changed};

        sum = mix(sum, says, sizeof(says));
        sum = mix(sum, &cut->at_s, sizeof(cut->at_s));
        sum = mix(sum, &cut->rope_m, sizeof(cut->rope_m));
    }
    return sum;
}

static enum fsp_rc
list_cuts(struct fsp_fleet_rig *rig, struct fsp_err *err)
{
    rig->ledger = fsp_fold_ledger(rig->fold);
    rig->entries = fsp_fold_entries(rig->fold);
    rig->unreadable = fsp_fold_unreadable(rig->fold);
    rig->n_cuts = fsp_ledger_peek(rig->ledger)->cuts;
    rig->cuts = fsp_mem_array(rig->n_cuts, sizeof(void *));
    if (rig->cuts == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; i < rig->n_cuts; i++)
        rig->cuts[i] = fsp_ledger_cut(rig->ledger, i);
    rig->cuts_sum = sum_of(rig);
    return FSP_OK;
}

static enum fsp_rc
read_rig(struct fsp_shelf *shelf, const struct fsp_fleet_about *about, const char *fleet,
        struct fsp_fleet_rig *rig, struct fsp_err *err)
{
    struct fsp_fold_about what = {.fleet = fleet,
            .rig = rig->name,
            .keys = about->keys,
            .n_keys = about->n_keys,
            .as_of_s = about->as_of_s,
            .whole = about->whole};
    struct fsp_fold_store store;
    struct fsp_fold_log *logs = NULL;
    enum fsp_rc rc = read_logs(shelf, rig, &logs, err);

    what.logs = logs;
    what.n_logs = rig->n_logs;
    if (about->rig == NULL || strcmp(about->rig, rig->name) == 0)
        what.inspections = about->inspections;
    shelf->ops->fold_store(shelf->ctx, rig->name, &store);
    if (rc == FSP_OK)
        rc = fsp_fold_new(&store, &what, &rig->fold, err);
    if (rc == FSP_OK)
        rc = list_cuts(rig, err);
    free(logs);
    return rc == FSP_OK ? rc : fsp_err_wrap(err, rc, "%s", rig->name);
}

enum fsp_rc
fsp_fleet_read(struct fsp_shelf *shelf, const struct fsp_fleet_about *about, const char *fleet,
        const char *rig, struct fsp_fleet_account **out, struct fsp_err *err)
{
    struct fsp_fleet_account *account = calloc(1, sizeof(*account));
    size_t len = strlen(rig);
    enum fsp_rc rc;

    *out = NULL;
    if (account == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    atomic_init(&account->holds, 1);
    account->rig.account = account;
    account->rig.as_of_s = about->as_of_s;
    if (len >= sizeof(account->rig.name)) {
        rc = fsp_err_set(err, FSP_EINVAL, "a rig's name that is too long");
        goto out;
    }
    memcpy(account->rig.name, rig, len + 1);
    rc = read_rig(shelf, about, fleet, &account->rig, err);
    if (rc != FSP_OK)
        goto out;
    *out = account;
    account = NULL;
out:
    fsp_fleet_release(account);
    return rc;
}

void
fsp_fleet_release(struct fsp_fleet_account *account)
{
    if (account == NULL || atomic_fetch_sub(&account->holds, 1) != 1)
        return;
    fsp_fold_free(account->rig.fold);
    free(account->rig.cuts);
    free(account->rig.logs);
    free(account);
}

const struct fsp_fleet_rig *
fsp_fleet_peek(const struct fsp_fleet_account *account)
{
    return &account->rig;
}

bool
fsp_fleet_keep(struct fsp_shelf *shelf, const struct fsp_fleet_account *account)
{
    if (!fsp_fold_worth(account->rig.fold))
        return true;
    return shelf->ops->keep_fold(shelf->ctx, account->rig.name, account->rig.fold);
}

/* --- beside the others ----------------------------------------------------------------------- */

static void
release_rates(struct fleet_rates *rates)
{
    if (rates == NULL || atomic_fetch_sub(&rates->holds, 1) != 1)
        return;
    fsp_review_rates_free(rates->rates);
    free(rates);
}

/* The rates of these accounts; those of `before` when all cuts are the same. */
static enum fsp_rc
rates_of(const struct fsp_fleet_judging *what, struct fleet_rates **out, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    uint64_t sum = 0;
    struct fleet_rates *rates = what->before == NULL ? NULL : what->before->counted->rates;

    for (size_t i = 0; i < what->n; i++)
        sum += what->accounts[i]->rig.cuts_sum; /* in any order */
    if (rates != NULL && rates->sum == sum) {
        atomic_fetch_add(&rates->holds, 1);
        *out = rates;
        return FSP_OK;
    }
    rates = calloc(1, sizeof(*rates));
    if (rates == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    atomic_init(&rates->holds, 1);
    rates->sum = sum;
    rc = fsp_review_rates_new(&rates->rates, err);
    for (size_t i = 0; rc == FSP_OK && i < what->n; i++)
        rc = fsp_review_rates_add(
                rates->rates, what->accounts[i]->rig.cuts, what->accounts[i]->rig.n_cuts, err);
    if (rc != FSP_OK) {
        release_rates(rates);
        return rc;
    }
    fsp_review_rates_close(rates->rates);
    *out = rates;
    return FSP_OK;
}

static enum fsp_attention
attention(const struct fsp_fleet_rig *rig)
{
    enum fsp_due due = fsp_ledger_peek(rig->ledger)->cut_due;
    enum fsp_due slip = fsp_ledger_peek(rig->ledger)->slip_due;

    if (due == FSP_DUE_OUT_OF_SERVICE)
        return FSP_ATTENTION_OUT_OF_SERVICE;
    if (rig->open_forks > 0 || rig->renewals_odd)
        return FSP_ATTENTION_FORK;
    if (due == FSP_DUE_OVERDUE)
        return FSP_ATTENTION_OVERDUE;
    if (due == FSP_DUE_NOW || slip == FSP_DUE_NOW || slip == FSP_DUE_OVERDUE)
        return FSP_ATTENTION_DUE;
    if (rig->review.state == FSP_REVIEW_FLAGGED)
        return FSP_ATTENTION_EARLY_CUTS;
    if (rig->n_flags > 0 || rig->n_advice > 0)
        return FSP_ATTENTION_OTHER_FLAG;
    if (due == FSP_DUE_SOON)
        return FSP_ATTENTION_SOON;
    return due == FSP_DUE_UNKNOWN ? FSP_ATTENTION_UNKNOWN : FSP_ATTENTION_NONE;
}

static void
release_judged(struct fsp_fleet_judged *judged)
{
    if (judged == NULL || atomic_fetch_sub(&judged->holds, 1) != 1)
        return;
    fsp_fleet_release(judged->rig.account);
    release_rates(judged->rates);
    free(judged->flags);
    free(judged);
}

static enum fsp_rc
keep_flags(struct fsp_fleet_judged *judged, struct fsp_err *err)
{
    struct fsp_fleet_rig *rig = &judged->rig;
    struct fsp_flag found[FSP_FLAGS_MAX];

    rig->n_flags = fsp_flags_of(rig, rig->as_of_s, found);
    judged->flags = fsp_mem_array(rig->n_flags, sizeof(*judged->flags));
    if (judged->flags == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    memcpy(judged->flags, found, rig->n_flags * sizeof(*found));
    rig->flags = judged->flags;
    return FSP_OK;
}

/* At the rate of the other rigs on this size of rope. */
static enum fsp_rc
judge(struct fsp_fleet_judged *judged, struct fsp_err *err)
{
    struct fsp_fleet_rig *rig = &judged->rig;
    struct fsp_review_about about = {.rates = judged->rates->rates,
            .changed = fsp_ledger_peek(rig->ledger)->changed_s != 0};

    fsp_review_judge(rig->cuts, rig->n_cuts, &about, &rig->review);
    rig->n_advice = fsp_review_advise(rig->cuts, rig->n_cuts, &rig->review, rig->advice);
    if (keep_flags(judged, err) != FSP_OK)
        return FSP_ENOMEM;
    rig->attention = attention(rig);
    return FSP_OK;
}

/* The rig as it was judged before, when nothing changed; else judged anew. */
static enum fsp_rc
judge_rig(struct fsp_fleet_account *account, struct fleet_rates *rates,
        const struct fsp_fleet *before, const struct fsp_fleet_rig **out, struct fsp_err *err)
{
    const struct fsp_fleet_rig *old =
            before == NULL ? NULL : fsp_fleet_find(before, account->rig.name);
    struct fsp_fleet_judged *judged = old == NULL ? NULL : old->judged;

    if (judged != NULL && old->account == account && judged->rates == rates) {
        atomic_fetch_add(&judged->holds, 1);
        *out = &judged->rig;
        return FSP_OK;
    }
    judged = calloc(1, sizeof(*judged));
    if (judged == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    atomic_init(&judged->holds, 1);
    atomic_fetch_add(&account->holds, 1);
    atomic_fetch_add(&rates->holds, 1);
    judged->rig = account->rig;
    judged->rig.judged = judged;
    judged->rates = rates;
    if (judge(judged, err) != FSP_OK) {
        release_judged(judged);
        return FSP_ENOMEM;
    }
    *out = &judged->rig;
    return FSP_OK;
}

enum fsp_rc
fsp_fleet_judge(
        const struct fsp_fleet_judging *what, struct fsp_fleet **out, struct fsp_err *err)
{
    enum fsp_rc rc;
    struct fsp_fleet_counted *counted = calloc(1, sizeof(*counted));
    struct fsp_fleet *fleet = NULL;

    *out = NULL;
    if (counted == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    atomic_init(&counted->holds, 1);
    fleet = &counted->fleet;
    fleet->counted = counted;
    fleet->as_of_s = what->as_of_s;
    (void)strncpy(fleet->name, what->name, sizeof(fleet->name) - 1);
    fleet->rigs = fsp_mem_array(what->n, sizeof(const struct fsp_fleet_rig *));
    if (fleet->rigs == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    fleet->n = what->n;
    rc = rates_of(what, &counted->rates, err);
    for (size_t i = 0; rc == FSP_OK && i < what->n; i++)
        rc = judge_rig(what->accounts[i], counted->rates, what->before, &fleet->rigs[i], err);
    if (rc != FSP_OK)
        goto out;
    *out = fleet;
    fleet = NULL;
    counted = NULL;
out:
    if (fleet != NULL)
        fsp_fleet_free(fleet);
    else
        free(counted);
    return rc;
}

enum fsp_rc
fsp_fleet_seen(struct fsp_fleet *fleet, struct fsp_desk *desk, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < fleet->n; i++) {
        const struct fsp_fleet_rig *rig = fleet->rigs[i];

        rc = fsp_flags_acknowledged(desk, rig->name, rig->judged->flags, rig->n_flags, err);
    }
    return rc;
}

const struct fsp_fleet *
fsp_fleet_hold(const struct fsp_fleet *fleet)
{
    atomic_fetch_add(&fleet->counted->holds, 1);
    return fleet;
}

void
fsp_fleet_free(const struct fsp_fleet *fleet)
{
    if (fleet == NULL || atomic_fetch_sub(&fleet->counted->holds, 1) != 1)
        return;
    for (size_t i = 0; fleet->rigs != NULL && i < fleet->n; i++)
        if (fleet->rigs[i] != NULL)
            release_judged(fleet->rigs[i]->judged);
    free(fleet->rigs);
    release_rates(fleet->counted->rates);
    free(fleet->counted);
}

/* --- the whole fleet ------------------------------------------------------------------------- */

struct accounts {
    struct fsp_fleet_account **items;
    size_t n;
    size_t cap;
    char fleet[FSP_NAME_MAX + 1];
};

static enum fsp_rc
read_rigs(struct fsp_shelf *shelf, const struct fsp_fleet_about *about,
        struct accounts *accounts, struct fsp_err *err)
{
    char name[FSP_NAME_MAX + 1] = "";
    enum fsp_rc rc = shelf->ops->fleet(shelf->ctx, accounts->fleet, err);

    while (rc == FSP_OK) {
        rc = shelf->ops->next_rig(shelf->ctx, name, name, err);
        if (rc != FSP_OK)
            break;
        if (fsp_mem_grow((void **)&accounts->items, &accounts->cap, accounts->n + 1,
                    sizeof(struct fsp_fleet_account *)) != 0)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        rc = fsp_fleet_read(
                shelf, about, accounts->fleet, name, &accounts->items[accounts->n], err);
        if (rc != FSP_OK)
            return rc;
        accounts->n++;
    }
    if (rc != FSP_ENOTFOUND)
        return rc;
    fsp_err_clear(err);
    return FSP_OK;
}

enum fsp_rc
fsp_fleet_load(struct fsp_shelf *shelf, const struct fsp_fleet_about *about,
        struct fsp_fleet **out, struct fsp_err *err)
{
    struct accounts accounts = {.items = NULL};
    struct fsp_fleet_judging what = {.as_of_s = about->as_of_s};
    enum fsp_rc rc;

    *out = NULL;
    rc = shelf->ops->begin(shelf->ctx, false, err);
    if (rc != FSP_OK)
        return rc;
    rc = read_rigs(shelf, about, &accounts, err);
    shelf->ops->rollback(shelf->ctx); /* nothing was written */
    what.name = accounts.fleet;
    what.accounts = accounts.items;
    what.n = accounts.n;
    if (rc == FSP_OK) /* one rig at a time, so that intake never waits long */
        for (size_t i = 0; i < accounts.n; i++)
            (void)fsp_fleet_keep(shelf, accounts.items[i]);
    if (rc == FSP_OK)
        rc = fsp_fleet_judge(&what, out, err);
    for (size_t i = 0; i < accounts.n; i++)
        fsp_fleet_release(accounts.items[i]);
    free((void *)accounts.items);
    return rc;
}

static int
compare_name(const void *key, const void *item)
{
    const struct fsp_fleet_rig *const *rig = item;

    return strcmp(key, (*rig)->name);
}

const struct fsp_fleet_rig *
fsp_fleet_find(const struct fsp_fleet *fleet, const char *name)
{
    const struct fsp_fleet_rig **found =
            fleet->n == 0 ? NULL
                          : bsearch(name, (const void *)fleet->rigs, fleet->n,
                                    sizeof(const struct fsp_fleet_rig *), compare_name);

    return found == NULL ? NULL : *found;
}

static int
compare_attention(const void *a, const void *b)
{
    const struct fsp_fleet_rig *const *x = a;
    const struct fsp_fleet_rig *const *y = b;

    if ((*x)->attention != (*y)->attention)
        return (*x)->attention < (*y)->attention ? -1 : 1;
    return strcmp((*x)->name, (*y)->name);
}

void
fsp_fleet_by_attention(const struct fsp_fleet *fleet, const struct fsp_fleet_rig **out)
{
    for (size_t i = 0; i < fleet->n; i++)
        out[i] = fleet->rigs[i];
    if (fleet->n > 1)
        qsort((void *)out, fleet->n, sizeof(const struct fsp_fleet_rig *), compare_attention);
}

const struct fsp_fleet_log *
fsp_fleet_current(const struct fsp_fleet_rig *rig)
{
    return rig->n_logs == 0 ? NULL : &rig->logs[rig->n_logs - 1];
}

bool
fsp_fleet_renewal_open(const struct fsp_fleet_log *log)
{
    return log->chain.renewed && (!log->chain.renewal.confirmed || log->chain.second ||
                                         log->chain.renewal.how == FSP_RENEWAL_UNFIT);
}

static void
add_flag(struct fsp_buf *buf, size_t start, const char *text)
{
    if (buf->len > start)
        fsp_buf_add_text(buf, "; ");
    fsp_buf_add_text(buf, text);
}

void
fsp_fleet_flag_text(const struct fsp_fleet_rig *rig, struct fsp_buf *buf)
{
    size_t start = buf->len;

    if (rig->n_logs == 0)
        add_flag(buf, start, "invited, never heard");
    if (rig->n_flags > 0) {
        add_flag(buf, start, "");
        fsp_flags_text(rig->flags, rig->n_flags, buf);
    }
    for (size_t i = 0; i < rig->n_advice; i++) {
        add_flag(buf, start, "advice: ");
        fsp_buf_add_text(buf, fsp_advice_text(rig->advice[i].kind));
    }
}
