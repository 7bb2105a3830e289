/* Bundles that wait, committed together. The invariants and states are those of intake.c.
 *
 * Threads that bring bundles open them beside each other and put them into the queue. Whoever finds
 * nobody leading leads: takes what waits, in the order it came, through one transaction, and gives
 * everybody his answer after the COMMIT. While one group is being committed the next one gathers. */
#include <errno.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "office/intake_priv.h"

#define GROUP_BUNDLES 64     /* in one transaction */
#define GROUP_ENTRIES 16384u /* no more are begun on above it */

struct group {
    struct passage *items[GROUP_BUNDLES];
    size_t n;
};

/* --- one group ------------------------------------------------------------------------------- */

/* After a failed commit the store is not believed until it verifies. */
static enum fsp_rc
trust_shelf(struct fsp_intake *intake, struct fsp_err *err)
{
    struct fsp_shelf *shelf = intake->shelf;
    enum fsp_rc rc;

    if (shelf->ctx != NULL && !shelf->ops->broken(shelf->ctx))
        return FSP_OK;
    rc = fsp_shelf_reopen(shelf, err);
    if (rc != FSP_OK)
        return fsp_err_wrap(err, rc, "the store failed and does not verify");
    return FSP_OK;
}

/* One bundle at its turn. What it wrote stays only if it is to be kept. A result that is not FSP_OK:
 * the transaction is lost, and all of the group with it. */
static enum fsp_rc
take_turn(struct passage *p, struct fsp_err *err)
{
    struct fsp_shelf *shelf = p->intake->shelf;
    enum fsp_rc rc = shelf->ops->save(shelf->ctx, err);

    if (rc != FSP_OK)
        return rc;
    p->rc = fsp_intake_pass(p, &p->err);
    if (p->rc != FSP_OK)
        p->keep = false;
    if (!p->keep)
        rc = shelf->ops->undo(shelf->ctx, err);
    if (rc == FSP_OK)
        rc = shelf->ops->unsave(shelf->ctx, err);
    return rc;
}

/* All of them, then the COMMIT when anything is to be kept. */
static enum fsp_rc
commit_group(struct fsp_intake *intake, const struct group *group, struct fsp_err *err)
{
    struct fsp_shelf *shelf = intake->shelf;
    bool keep = false;
    enum fsp_rc rc = trust_shelf(intake, err);

    if (rc == FSP_OK)
        rc = shelf->ops->begin(shelf->ctx, true, err);
    if (rc != FSP_OK)
        return rc;
    for (size_t i = 0; rc == FSP_OK && i < group->n; i++) {
        rc = take_turn(group->items[i], err);
        keep = keep || group->items[i]->keep;
    }
    if (rc == FSP_OK && keep)
        rc = shelf->ops->commit(shelf->ctx, err);
    shelf->ops->rollback(shelf->ctx); /* no-op after a commit */
    return rc;
}

static void
count_commit(struct fsp_intake *intake, const struct passage *p)
{
    if (p->records > 0) {
        atomic_fetch_add(&intake->records, p->records);
        atomic_store(&intake->commit_us, intake->env->monotonic_us(intake->env->ctx));
    }
    if (intake->grew != NULL)
        intake->grew(intake->grew_ctx, p->log.rig, p->records);
}

/* Only now may answers leave. */
static void
finish_group(struct fsp_intake *intake, const struct group *group, enum fsp_rc rc,
        const struct fsp_err *err)
{
    bool taken = false;

    for (size_t i = 0; i < group->n; i++) {
        struct passage *p = group->items[i];

        if (rc != FSP_OK) {
            p->rc = rc;
            p->err = *err;
        } else if (p->keep) {
            taken = true;
            count_commit(intake, p);
        }
    }
    /* Housekeeping: a reader in its way must not turn a receipt into a failure. */
    if (taken)
        (void)intake->shelf->ops->tidy(intake->shelf->ctx, false, NULL);
}

/* --- the queue ------------------------------------------------------------------------------- */

/* Under the mutex: the next group, in the order they came. */
static void
gather(struct fsp_intake *intake, struct group *group)
{
    size_t entries = 0;

    group->n = 0;
    while (intake->first != NULL && group->n < GROUP_BUNDLES && entries < GROUP_ENTRIES) {
        struct passage *p = intake->first;

        intake->first = p->next;
        p->next = NULL;
        p->at_turn = true;
        entries += p->n;
        group->items[group->n++] = p;
    }
    if (intake->first == NULL)
        intake->last = NULL;
    intake->waiting -= group->n;
    intake->bundles += group->n;
    intake->groups++;
}

/* Called and returns under the mutex, which is not held over the work. */
static void
lead(struct fsp_intake *intake)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct group group;
    enum fsp_rc rc;

    intake->leading = true;
    gather(intake, &group);
    (void)pthread_mutex_unlock(&intake->mutex);
    rc = commit_group(intake, &group, &err);
    finish_group(intake, &group, rc, &err);
    (void)pthread_mutex_lock(&intake->mutex);
    for (size_t i = 0; i < group.n; i++)
        group.items[i]->done = true;
    intake->leading = false;
    (void)pthread_cond_broadcast(&intake->turned);
}

/* Under the mutex: it waited too long and goes without an answer. */
static void
leave_queue(struct fsp_intake *intake, const struct passage *p)
{
    struct passage **link = &intake->first;
    struct passage *before = NULL;

    while (*link != p) {
        before = *link;
        link = &(*link)->next;
    }
    *link = p->next;
    if (intake->last == p)
        intake->last = before;
    intake->waiting--;
}

static void
join_queue(struct fsp_intake *intake, struct passage *p)
{
    p->next = NULL;
    if (intake->last == NULL)
        intake->first = p;
    else
        intake->last->next = p;
    intake->last = p;
    intake->waiting++;
}

enum fsp_rc
fsp_intake_wait(struct passage *p, struct fsp_err *err)
{
    struct fsp_intake *intake = p->intake;
    struct timespec until;
    enum fsp_rc rc = FSP_OK;

    (void)clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_sec += FSP_INTAKE_WAIT_S;
    (void)pthread_mutex_lock(&intake->mutex);
    join_queue(intake, p);
    while (!p->done && rc == FSP_OK) {
        if (!intake->leading) {
            lead(intake);
        } else if (pthread_cond_timedwait(&intake->turned, &intake->mutex, &until) ==
                           ETIMEDOUT &&
                   !p->done && !p->at_turn) {
            leave_queue(intake, p);
            rc = fsp_err_set(err, FSP_EBUSY, "the writer is busy; try again");
        }
    }
    (void)pthread_mutex_unlock(&intake->mutex);
    if (rc == FSP_OK && p->rc != FSP_OK) {
        rc = p->rc;
        if (err != NULL)
            *err = p->err;
    }
    return rc;
}

/* --- new, free ------------------------------------------------------------------------------- */

void
fsp_intake_tell(struct fsp_intake *intake, fsp_intake_grew_fn *grew, void *ctx)
{
    intake->grew = grew;
    intake->grew_ctx = ctx;
}

void
fsp_intake_keys(struct fsp_intake *intake, const struct fsp_office_keys *keys)
{
    atomic_store(&intake->keys, keys);
}

void
fsp_intake_stats(struct fsp_intake *intake, struct fsp_intake_stats *stats)
{
    stats->records = atomic_load(&intake->records);
    stats->commit_us = atomic_load(&intake->commit_us);
    (void)pthread_mutex_lock(&intake->mutex);
    stats->waiting = intake->waiting;
    stats->bundles = intake->bundles;
    stats->groups = intake->groups;
    (void)pthread_mutex_unlock(&intake->mutex);
}

static enum fsp_rc
init_locks(struct fsp_intake *intake, struct fsp_err *err)
{
    pthread_condattr_t attr;
    int failed = pthread_condattr_init(&attr);

    if (failed != 0)
        return fsp_err_sys(err, FSP_ENOMEM, failed, "a lock");
    (void)pthread_condattr_setclock(&attr, CLOCK_MONOTONIC);
    failed = pthread_mutex_init(&intake->mutex, NULL);
    if (failed == 0) {
        failed = pthread_cond_init(&intake->turned, &attr);
        if (failed != 0)
            (void)pthread_mutex_destroy(&intake->mutex);
    }
    (void)pthread_condattr_destroy(&attr);
    return failed == 0 ? FSP_OK : fsp_err_sys(err, FSP_ENOMEM, failed, "a lock");
}

enum fsp_rc
fsp_intake_new(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_env *env, struct fsp_intake **out, struct fsp_err *err)
{
    enum fsp_rc rc;
    struct fsp_intake *intake = calloc(1, sizeof(*intake));

    *out = NULL;
    if (intake == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    intake->shelf = shelf;
    atomic_init(&intake->keys, keys);
    intake->env = env;
    fsp_buf_init(&intake->note, FSP_NOTE_MAX);
    fsp_buf_init(&intake->held, FSP_NOTE_MAX);
    fsp_buf_init(&intake->words, FSP_NOTE_MAX);
    rc = shelf->ops->fleet(shelf->ctx, intake->fleet, err);
    if (rc == FSP_OK)
        rc = init_locks(intake, err);
    if (rc != FSP_OK) {
        free(intake);
        return rc;
    }
    *out = intake;
    return FSP_OK;
}

void
fsp_intake_free(struct fsp_intake *intake)
{
    if (intake == NULL)
        return;
    fsp_buf_fini(&intake->note);
    fsp_buf_fini(&intake->held);
    fsp_buf_fini(&intake->words);
    (void)pthread_cond_destroy(&intake->turned);
    (void)pthread_mutex_destroy(&intake->mutex);
    free(intake);
}
