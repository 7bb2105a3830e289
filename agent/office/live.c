/*
 * Invariants
 *  1. A view in place never changes; a new one takes its place as a whole.
 *  2. A rig waits from the moment it grew until a view that holds it as grown is in place: what a
 *     commit said before the fold's read transaction began is in that fold.
 *  3. Only the thread reads the store and makes views. What it shares with callers is under `mutex`,
 *     which is never held over a fold or a read of the store.
 *  4. A failure loses no view and no rig: the rig goes on waiting, and is tried again at the next look.
 *
 * States of one rig, and the function that leaves each
 *  known     look, fsp_live_grew -> waiting
 *  waiting   next_waiting        -> folding, the one that waits longest first
 *  folding   fold                -> folded | failed (it waits for the next look)
 *                                   | same: nothing of it changed, known
 *  folded    publish             -> known, in the view
 *  failed    look                -> waiting
 */
#include "office/live.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/mem.h"
#include "proof/attest.h"

#define PUBLISH_US   INT64_C(250000) /* folds of so long are put in place together */
#define KEEP_TRIES   50              /* of a millisecond each */
#define FAILURES_MAX 8 /* in one round; then the store is left alone until the next look */
#define AGE_US       (FSP_LIVE_AGE_S * FSP_US_PER_S)
/* So many looks until every rig was folded again: half of what is promised. */
#define LOOKS_FOR_ALL ((size_t)(FSP_LIVE_AGE_S * 1000 / FSP_LIVE_LOOK_MS / 2))

struct slot {
    char name[FSP_NAME_MAX + 1];
    struct fsp_fleet_account *account; /* the thread's; NULL until it was folded */
    struct fsp_shelf_stamp stamp;      /* of what the account holds */
    int64_t folded_us;
    uint64_t taken; /* of `waits`, those that the fold under way will see */
    bool whatever;  /* folded even when nothing of it changed */
    bool folded;    /* in no view yet */
    /* under the mutex */
    bool waiting;
    bool failed;    /* waits for the next look */
    bool aged;      /* waits for its age alone */
    uint64_t waits; /* entries committed and not in the view */
    int64_t since_us;
};

struct fsp_live {
    const struct fsp_shelf_ops *ops;
    char *store;
    const struct fsp_env *env;
    struct fsp_vkey keys[FSP_ATTEST_KEYS_MAX];
    _Atomic size_t n_keys; /* only grows: those below it never change */
    size_t inspections;
    char fleet[FSP_NAME_MAX + 1];
    pthread_t thread;

    /* the thread's own */
    struct fsp_shelf *shelf; /* reading; NULL after a failure */
    struct fsp_fleet_account **accounts;
    size_t accounts_cap;
    uint64_t version; /* of the store at the last look */
    bool looked;
    size_t turn;      /* the slot that is folded again next for its age */
    size_t failures;  /* in this round */
    bool unpublished; /* something was folded that no view holds */

    pthread_mutex_t mutex;
    pthread_cond_t wake;    /* the thread: something waits, or stop */
    pthread_cond_t settled; /* who waits in settle */
    struct slot **slots;    /* by name; changed by the thread alone */
    size_t n;
    size_t cap;
    const struct fsp_fleet *view;
    uint64_t unknown; /* entries of rigs that no look has seen yet */
    bool look_now;
    bool stop;
    uint64_t asked; /* calls of settle, and how many of them are answered */
    uint64_t answered;
    bool failed;
    char failure[FSP_ERR_TEXT_MAX];
};

static int64_t
now_us(const struct fsp_live *live)
{
    return live->env->monotonic_us(live->env->ctx);
}

/* --- slots ----------------------------------------------------------------------------------- */

/* Where the rig is, or where it would be. */
static size_t
place_of(const struct fsp_live *live, const char *rig, bool *there)
{
    size_t from = 0;
    size_t to = live->n;

    *there = false;
    while (from < to && !*there) {
        size_t middle = from + (to - from) / 2;
        int order = strcmp(live->slots[middle]->name, rig);

        if (order < 0)
            from = middle + 1;
        else
            to = middle;
        *there = order == 0;
    }
    return to;
}

static struct slot *
find_slot(const struct fsp_live *live, const char *rig)
{
    bool there = false;
    size_t place = place_of(live, rig, &there);

    return there ? live->slots[place] : NULL;
}

static enum fsp_rc
add_slot(struct fsp_live *live, const char *rig, struct slot **out, struct fsp_err *err)
{
    struct slot *slot = calloc(1, sizeof(*slot));
    bool there = false;
    size_t place = place_of(live, rig, &there);

    *out = slot;
    if (slot == NULL || fsp_mem_grow((void **)&live->slots, &live->cap, live->n + 1,
                                sizeof(struct slot *)) != 0) {
        free(slot);
        *out = NULL;
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    }
    memcpy(slot->name, rig, strlen(rig) + 1);
    memmove((void *)(live->slots + place + 1), (void *)(live->slots + place),
            (live->n - place) * sizeof(struct slot *));
    live->slots[place] = slot;
    live->n++;
    return FSP_OK;
}

/* Under the mutex. */
static void
let_wait(struct slot *slot, int64_t since_us)
{
    slot->failed = false;
    slot->aged = false;
    if (slot->waiting)
        return;
    slot->waiting = true;
    slot->since_us = since_us;
}

/* --- what others wrote ----------------------------------------------------------------------- */

static bool
same_stamp(const struct fsp_shelf_stamp *a, const struct fsp_shelf_stamp *b)
{
    return a->logs == b->logs && a->entries == b->entries && a->forks == b->forks &&
           a->confirmed == b->confirmed && a->heard_s == b->heard_s;
}

/* One rig of the store beside its slot; new rigs get one. */
static enum fsp_rc
see_stamp(void *ctx, const struct fsp_shelf_stamp *stamp, struct fsp_err *err)
{
    struct fsp_live *live = ctx;
    enum fsp_rc rc = FSP_OK;
    struct slot *slot;
    uint64_t grown = 0;

    (void)pthread_mutex_lock(&live->mutex);
    slot = find_slot(live, stamp->rig);
    if (slot == NULL)
        rc = add_slot(live, stamp->rig, &slot, err);
    if (rc == FSP_OK && slot != NULL &&
            (slot->account == NULL || !same_stamp(stamp, &slot->stamp))) {
        let_wait(slot, now_us(live));
        if (stamp->entries > slot->stamp.entries)
            grown = stamp->entries - slot->stamp.entries;
        if (grown > slot->waits)
            slot->waits = grown;
    }
    (void)pthread_mutex_unlock(&live->mutex);
    return rc;
}

/* Those that were folded long ago, a few at a time where there are many. What failed is tried again. */
static void
let_age(struct fsp_live *live)
{
    size_t some = live->n / LOOKS_FOR_ALL + 1;
    int64_t now = now_us(live);

    (void)pthread_mutex_lock(&live->mutex);
    for (size_t i = 0; i < live->n; i++) {
        struct slot *slot = live->slots[i];
        bool turn = (i + live->n - live->turn) % live->n < some;

        slot->failed = false;
        if (!slot->waiting && now - slot->folded_us > (turn ? AGE_US / 4 : AGE_US / 2)) {
            let_wait(slot, now);
            slot->aged = true;
        }
    }
    (void)pthread_mutex_unlock(&live->mutex);
    live->turn = live->n == 0 ? 0 : (live->turn + some) % live->n;
}

static enum fsp_rc
open_shelf(struct fsp_live *live, struct fsp_err *err)
{
    if (live->shelf != NULL)
        return FSP_OK;
    live->looked = false; /* versions are counted by connection */
    return fsp_shelf_open(live->ops, live->store, FSP_SHELF_READ, &live->shelf, err);
}

static void
close_shelf(struct fsp_live *live)
{
    fsp_shelf_close(live->shelf);
    live->shelf = NULL;
}

static enum fsp_rc
look(struct fsp_live *live, struct fsp_err *err)
{
    uint64_t version = 0;
    enum fsp_rc rc = open_shelf(live, err);

    if (rc == FSP_OK)
        rc = live->ops->version_now(live->shelf->ctx, &version, err);
    if (rc == FSP_OK && (!live->looked || version != live->version))
        rc = live->ops->stamps(live->shelf->ctx, see_stamp, live, err);
    if (rc != FSP_OK)
        return rc;
    live->looked = true;
    live->version = version;
    (void)pthread_mutex_lock(&live->mutex);
    live->unknown = 0;
    (void)pthread_mutex_unlock(&live->mutex);
    return FSP_OK;
}

/* --- folding --------------------------------------------------------------------------------- */

/* The one that waits longest, NULL when none does. What its commits said so far will be seen. */
static struct slot *
next_waiting(struct fsp_live *live)
{
    struct slot *first = NULL;

    (void)pthread_mutex_lock(&live->mutex);
    for (size_t i = 0; i < live->n && !live->stop; i++) {
        struct slot *slot = live->slots[i];

        if (!slot->waiting || slot->failed || slot->folded)
            continue;
        if (first == NULL || (first->aged && !slot->aged) ||
                (first->aged == slot->aged && slot->since_us < first->since_us))
            first = slot;
    }
    if (first != NULL)
        first->taken = first->waits;
    if (first != NULL)
        first->whatever = first->aged;
    (void)pthread_mutex_unlock(&live->mutex);
    return first;
}

/* Between two commits of the intake, when there is such a moment: what is not kept now is read again
 * with the next fold. */
static void
keep(struct fsp_live *live, const struct fsp_fleet_account *account)
{
    const struct timespec wait = {.tv_nsec = 1000000L};

    for (int i = 0; i < KEEP_TRIES && !fsp_fleet_keep(live->shelf, account); i++)
        (void)nanosleep(&wait, NULL);
}

static enum fsp_rc
read_account(struct fsp_live *live, struct slot *slot, struct fsp_fleet_account **account,
        struct fsp_shelf_stamp *stamp, struct fsp_err *err)
{
    const struct fsp_fleet_about about = {
            .as_of_s = live->env->utc_us(live->env->ctx) / FSP_US_PER_S,
            .keys = live->keys,
            .n_keys = live->n_keys,
            .inspections = live->inspections};
    enum fsp_rc rc = open_shelf(live, err);

    *account = NULL;
    if (rc == FSP_OK)
        rc = live->ops->begin(live->shelf->ctx, false, err);
    if (rc != FSP_OK)
        return rc;
    rc = live->ops->stamp(live->shelf->ctx, slot->name, stamp, err);
    if (rc == FSP_OK &&
            (slot->account == NULL || slot->whatever || !same_stamp(stamp, &slot->stamp)))
        rc = fsp_fleet_read(live->shelf, &about, live->fleet, slot->name, account, err);
    live->ops->rollback(live->shelf->ctx);
    if (rc == FSP_OK && *account != NULL)
        keep(live, *account);
    return rc;
}

/* The rig waits for the next look; all of them when it was none's failure alone. */
static void
note_failure(struct fsp_live *live, struct slot *slot, const struct fsp_err *err)
{
    close_shelf(live);
    live->failures++;
    (void)pthread_mutex_lock(&live->mutex);
    for (size_t i = 0; i < live->n; i++)
        if (live->slots[i]->waiting && (slot == NULL || slot == live->slots[i]))
            live->slots[i]->failed = true;
    live->failed = true;
    memcpy(live->failure, err->text, sizeof(live->failure));
    (void)pthread_mutex_unlock(&live->mutex);
}

/* Under the mutex: what the fold saw waits no more. */
static void
let_rest(struct fsp_live *live, struct slot *slot)
{
    slot->folded = false;
    slot->aged = false;
    slot->waits -= slot->taken;
    slot->taken = 0;
    slot->waiting = slot->waits > 0;
    slot->since_us = slot->waiting ? now_us(live) : 0;
}

static void
fold(struct fsp_live *live, struct slot *slot)
{
    struct fsp_fleet_account *account = NULL;
    struct fsp_shelf_stamp stamp;
    struct fsp_err err = {.rc = FSP_OK};

    if (read_account(live, slot, &account, &stamp, &err) != FSP_OK) {
        note_failure(live, slot, &err);
        return;
    }
    if (account == NULL) { /* as it was: a commit said so after a fold had seen it */
        (void)pthread_mutex_lock(&live->mutex);
        let_rest(live, slot);
        (void)pthread_mutex_unlock(&live->mutex);
        return;
    }
    fsp_fleet_release(slot->account);
    slot->account = account;
    slot->folded_us = now_us(live);
    (void)pthread_mutex_lock(&live->mutex);
    slot->folded = true;
    slot->stamp = stamp;
    live->unpublished = true;
    (void)pthread_mutex_unlock(&live->mutex);
}

static void
fold_some(struct fsp_live *live)
{
    int64_t until_us = now_us(live) + PUBLISH_US;
    struct slot *slot;

    live->failures = 0;
    do {
        slot = next_waiting(live);
        if (slot != NULL)
            fold(live, slot);
    } while (slot != NULL && live->failures < FAILURES_MAX && now_us(live) < until_us);
}

/* --- views ----------------------------------------------------------------------------------- */

static enum fsp_rc
make_view(struct fsp_live *live, struct fsp_fleet **out, struct fsp_err *err)
{
    struct fsp_fleet_judging what = {.name = live->fleet,
            .as_of_s = live->env->utc_us(live->env->ctx) / FSP_US_PER_S,
            .before = live->view};
    enum fsp_rc rc;

    *out = NULL;
    if (fsp_mem_grow((void **)&live->accounts, &live->accounts_cap, live->n + 1,
                sizeof(struct fsp_fleet_account *)) != 0)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; i < live->n; i++)
        if (live->slots[i]->account != NULL)
            live->accounts[what.n++] = live->slots[i]->account;
    what.accounts = live->accounts;
    rc = fsp_fleet_judge(&what, out, err);
    if (rc == FSP_OK)
        (*out)->waiting = live->n - what.n;
    return rc;
}

/* Put a new view in place: what was folded is in it. */
static void
publish(struct fsp_live *live)
{
    struct fsp_fleet *view = NULL;
    const struct fsp_fleet *old = live->view;
    struct fsp_err err = {.rc = FSP_OK};

    if (make_view(live, &view, &err) != FSP_OK) {
        note_failure(live, NULL, &err);
        return;
    }
    (void)pthread_mutex_lock(&live->mutex);
    live->view = view;
    for (size_t i = 0; i < live->n; i++)
        if (live->slots[i]->folded)
            let_rest(live, live->slots[i]);
    (void)pthread_mutex_unlock(&live->mutex);
    live->unpublished = false;
    fsp_fleet_free(old);
}

/* --- the thread ------------------------------------------------------------------------------ */

/* Under the mutex. */
static bool
anything_to_do(const struct fsp_live *live)
{
    bool any = live->stop || live->look_now || live->answered < live->asked;

    for (size_t i = 0; i < live->n && !any; i++)
        any = live->slots[i]->waiting && !live->slots[i]->failed;
    return any;
}

static bool
is_past(const struct timespec *when)
{
    struct timespec now;

    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec > when->tv_sec ||
           (now.tv_sec == when->tv_sec && now.tv_nsec >= when->tv_nsec);
}

/* Wait for something to do or for the next look. False: stop. */
static bool
wait_turn(struct fsp_live *live, const struct timespec *next, bool *look_now, uint64_t *asked)
{
    bool go;

    (void)pthread_mutex_lock(&live->mutex);
    while (!anything_to_do(live) && !is_past(next))
        (void)pthread_cond_timedwait(&live->wake, &live->mutex, next);
    *look_now = is_past(next) || live->look_now || live->answered < live->asked;
    *asked = live->asked;
    live->look_now = false;
    go = !live->stop;
    (void)pthread_mutex_unlock(&live->mutex);
    return go;
}

/* Those that waited in settle go on when nothing else waits. */
static void
answer_settle(struct fsp_live *live, uint64_t asked, bool failed)
{
    bool waiting = false;

    (void)pthread_mutex_lock(&live->mutex);
    for (size_t i = 0; i < live->n; i++) {
        waiting = waiting || (live->slots[i]->waiting && !live->slots[i]->failed);
        failed = failed || live->slots[i]->failed;
    }
    if (!failed && live->failed) {
        live->failed = false;
        live->failure[0] = '\0';
    }
    if (!waiting) {
        live->answered = asked;
        (void)pthread_cond_broadcast(&live->settled);
    }
    (void)pthread_mutex_unlock(&live->mutex);
}

static void
after_ms(struct timespec *when, long ms)
{
    (void)clock_gettime(CLOCK_MONOTONIC, when);
    when->tv_sec += ms / 1000;
    when->tv_nsec += ms % 1000 * 1000000L;
    if (when->tv_nsec >= 1000000000L) {
        when->tv_sec++;
        when->tv_nsec -= 1000000000L;
    }
}

static void *
follow(void *arg)
{
    struct fsp_live *live = arg;
    struct timespec next;
    uint64_t asked = 0;
    bool look_now = false;

    after_ms(&next, 0);
    while (wait_turn(live, &next, &look_now, &asked)) {
        struct fsp_err err = {.rc = FSP_OK};
        bool failed = false;

        if (look_now) {
            after_ms(&next, FSP_LIVE_LOOK_MS);
            failed = look(live, &err) != FSP_OK;
            if (failed)
                note_failure(live, NULL, &err);
            else
                let_age(live);
        }
        if (!failed)
            fold_some(live);
        if (!failed && live->unpublished)
            publish(live);
        answer_settle(live, asked, failed);
    }
    (void)pthread_mutex_lock(&live->mutex);
    live->answered = UINT64_MAX; /* nobody waits for ever */
    (void)pthread_cond_broadcast(&live->settled);
    (void)pthread_mutex_unlock(&live->mutex);
    return NULL;
}

/* --- for everybody --------------------------------------------------------------------------- */

void
fsp_live_grew(struct fsp_live *live, const char *rig, uint64_t entries)
{
    struct slot *slot;

    (void)pthread_mutex_lock(&live->mutex);
    slot = find_slot(live, rig);
    if (slot == NULL) {
        live->unknown += entries;
        live->look_now = true;
    } else {
        let_wait(slot, now_us(live));
        slot->waits += entries;
    }
    (void)pthread_cond_signal(&live->wake);
    (void)pthread_mutex_unlock(&live->mutex);
}

void
fsp_live_keys(struct fsp_live *live, const struct fsp_vkey *keys, size_t n_keys)
{
    size_t n = atomic_load(&live->n_keys);

    (void)pthread_mutex_lock(&live->mutex);
    for (; n < n_keys && n < FSP_ATTEST_KEYS_MAX; n++)
        live->keys[n] = keys[n];
    atomic_store(&live->n_keys, n);
    for (size_t i = 0; i < live->n; i++) {
        let_wait(live->slots[i], now_us(live));
        live->slots[i]->aged = true;
    }
    (void)pthread_cond_signal(&live->wake);
    (void)pthread_mutex_unlock(&live->mutex);
}

const struct fsp_vkey *
fsp_live_known(const struct fsp_live *live, size_t *n_keys)
{
    *n_keys = atomic_load(&live->n_keys);
    return live->keys;
}

const struct fsp_fleet *
fsp_live_hold(struct fsp_live *live)
{
    const struct fsp_fleet *view;

    (void)pthread_mutex_lock(&live->mutex);
    view = fsp_fleet_hold(live->view);
    (void)pthread_mutex_unlock(&live->mutex);
    return view;
}

void
fsp_live_release(struct fsp_live *live, const struct fsp_fleet *fleet)
{
    (void)live;
    fsp_fleet_free(fleet);
}

bool
fsp_live_knows(struct fsp_live *live, const char *rig)
{
    bool knows;

    (void)pthread_mutex_lock(&live->mutex);
    knows = find_slot(live, rig) != NULL;
    (void)pthread_mutex_unlock(&live->mutex);
    return knows;
}

void
fsp_live_lag(struct fsp_live *live, struct fsp_live_lag *lag)
{
    memset(lag, 0, sizeof(*lag));
    (void)pthread_mutex_lock(&live->mutex);
    lag->entries = live->unknown;
    lag->rigs_read = live->view->n;
    for (size_t i = 0; i < live->n; i++) {
        const struct slot *slot = live->slots[i];

        if (!slot->waiting || slot->aged)
            continue;
        lag->entries += slot->waits;
        lag->rigs++;
        if (lag->oldest_us == 0 || slot->since_us < lag->oldest_us)
            lag->oldest_us = slot->since_us;
    }
    lag->failed = live->failed;
    memcpy(lag->failure, live->failure, sizeof(lag->failure));
    (void)pthread_mutex_unlock(&live->mutex);
}

void
fsp_live_settle(struct fsp_live *live)
{
    uint64_t mine;

    (void)pthread_mutex_lock(&live->mutex);
    mine = ++live->asked;
    (void)pthread_cond_signal(&live->wake);
    while (live->answered < mine)
        (void)pthread_cond_wait(&live->settled, &live->mutex);
    (void)pthread_mutex_unlock(&live->mutex);
}

/* --- new, free ------------------------------------------------------------------------------- */

/* The locks of a new one; nothing is left behind on failure. */
static enum fsp_rc
init_locks(struct fsp_live *live, struct fsp_err *err)
{
    pthread_condattr_t attr;
    int failed = pthread_condattr_init(&attr);

    if (failed != 0)
        return fsp_err_sys(err, FSP_ENOMEM, failed, "a lock");
    (void)pthread_condattr_setclock(&attr, CLOCK_MONOTONIC);
    failed = pthread_mutex_init(&live->mutex, NULL);
    if (failed == 0) {
        failed = pthread_cond_init(&live->wake, &attr);
        if (failed != 0)
            (void)pthread_mutex_destroy(&live->mutex);
    }
    if (failed == 0) {
        failed = pthread_cond_init(&live->settled, NULL);
        if (failed != 0) {
            (void)pthread_cond_destroy(&live->wake);
            (void)pthread_mutex_destroy(&live->mutex);
        }
    }
    (void)pthread_condattr_destroy(&attr);
    return failed == 0 ? FSP_OK : fsp_err_sys(err, FSP_ENOMEM, failed, "a lock");
}

static void
let_go(struct fsp_live *live)
{
    close_shelf(live);
    fsp_fleet_free(live->view);
    for (size_t i = 0; i < live->n; i++) {
        fsp_fleet_release(live->slots[i]->account);
        free(live->slots[i]);
    }
    free((void *)live->slots);
    free((void *)live->accounts);
    free(live->store);
    free(live);
}

static void
fini_locks(struct fsp_live *live)
{
    (void)pthread_cond_destroy(&live->settled);
    (void)pthread_cond_destroy(&live->wake);
    (void)pthread_mutex_destroy(&live->mutex);
}

/* The rigs by name, and the first view, without any of them. */
static enum fsp_rc
first_view(struct fsp_live *live, struct fsp_err *err)
{
    struct fsp_fleet *view = NULL;
    enum fsp_rc rc = open_shelf(live, err);

    if (rc == FSP_OK)
        rc = live->ops->fleet(live->shelf->ctx, live->fleet, err);
    if (rc == FSP_OK)
        rc = look(live, err);
    if (rc == FSP_OK)
        rc = make_view(live, &view, err);
    live->view = view;
    return rc;
}

enum fsp_rc
fsp_live_new(const struct fsp_live_about *about, struct fsp_live **out, struct fsp_err *err)
{
    enum fsp_rc rc;
    struct fsp_live *live = calloc(1, sizeof(*live));
    bool locks = false;
    int failed;

    *out = NULL;
    if (live == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    live->ops = about->ops;
    live->env = about->env;
    live->inspections = about->inspections == 0 ? FSP_LIVE_INSPECTIONS : about->inspections;
    live->store = strdup(about->store);
    if (live->store == NULL || about->n_keys > FSP_ATTEST_KEYS_MAX) {
        rc = fsp_err_set(err, live->store == NULL ? FSP_ENOMEM : FSP_ELIMIT,
                "out of memory, or more than %d instructions keys", FSP_ATTEST_KEYS_MAX);
        goto out;
    }
    for (size_t i = 0; i < about->n_keys; i++)
        live->keys[i] = about->keys[i];
    atomic_init(&live->n_keys, about->n_keys);
    rc = init_locks(live, err);
    if (rc != FSP_OK)
        goto out;
    locks = true;
    rc = first_view(live, err);
    if (rc != FSP_OK)
        goto out;
    failed = pthread_create(&live->thread, NULL, follow, live);
    if (failed != 0) {
        rc = fsp_err_sys(err, FSP_ENOMEM, failed, "the folding thread");
        goto out;
    }
    *out = live;
    live = NULL;
out:
    if (live != NULL) {
        if (locks)
            fini_locks(live);
        let_go(live);
    }
    return rc;
}

void
fsp_live_free(struct fsp_live *live)
{
    if (live == NULL)
        return;
    (void)pthread_mutex_lock(&live->mutex);
    live->stop = true;
    (void)pthread_cond_signal(&live->wake);
    (void)pthread_mutex_unlock(&live->mutex);
    (void)pthread_join(live->thread, NULL);
    fini_locks(live);
    let_go(live);
}
