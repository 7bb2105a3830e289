#include "office_support.h"

#include <errno.h>
#include <pthread.h>
#include <sched.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

/* Bundles that are brought at once and committed together: who is answered what, and what is kept. */

#define MANY 12

/* ---- a shelf that waits or fails when it is told to ------------------------------------------- */

static pthread_mutex_t gate = PTHREAD_MUTEX_INITIALIZER; /* held: no transaction begins */
static _Atomic unsigned commits;
static _Atomic bool commit_fails;
static _Atomic bool undo_fails;
static _Atomic int64_t tip_fails; /* of this log; 0: of none */
static _Atomic bool waits_end;    /* every timed wait has run out */

int __real_pthread_cond_timedwait(/* NOLINT(bugprone-reserved-identifier) */
        pthread_cond_t *cond, pthread_mutex_t *mutex, const struct timespec *until);
int __wrap_pthread_cond_timedwait(/* NOLINT(bugprone-reserved-identifier) */
        pthread_cond_t *cond, pthread_mutex_t *mutex, const struct timespec *until);

int
__wrap_pthread_cond_timedwait(/* NOLINT(bugprone-reserved-identifier) */
        pthread_cond_t *cond, pthread_mutex_t *mutex, const struct timespec *until)
{
    if (atomic_load(&waits_end)) {
        (void)pthread_mutex_unlock(mutex); /* as a wait does */
        (void)sched_yield();
        (void)pthread_mutex_lock(mutex);
        return ETIMEDOUT;
    }
    return __real_pthread_cond_timedwait(cond, mutex, until);
}

static enum fsp_rc
gated_begin(void *ctx, bool write, struct fsp_err *err)
{
    (void)pthread_mutex_lock(&gate);
    (void)pthread_mutex_unlock(&gate);
    return fsp_shelf_sqlite.begin(ctx, write, err);
}

static enum fsp_rc
failing_commit(void *ctx, struct fsp_err *err)
{
    if (atomic_load(&commit_fails))
        return fsp_err_set(err, FSP_EIO, "the disk failed");
    atomic_fetch_add(&commits, 1);
    return fsp_shelf_sqlite.commit(ctx, err);
}

static enum fsp_rc
failing_undo(void *ctx, struct fsp_err *err)
{
    if (atomic_load(&undo_fails))
        return fsp_err_set(err, FSP_EIO, "the transaction is gone");
    return fsp_shelf_sqlite.undo(ctx, err);
}

static enum fsp_rc
failing_tip(void *ctx, int64_t log, struct fsp_range *range, struct fsp_err *err)
{
    if (log == atomic_load(&tip_fails))
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    return fsp_shelf_sqlite.tip(ctx, log, range, err);
}

/* ---- an office with rigs that bring bundles at once ------------------------------------------- */

struct bringing {
    struct office *office;
    struct fsp_buf bundle;
    pthread_t thread;
    enum fsp_rc rc;
    struct fsp_err err;
    int status;
    struct fsp_buf answer;
};

struct fixture {
    struct office office;
    struct fsp_shelf_ops ops;
    struct rig rigs[MANY];
    char names[MANY][32];
    struct bringing bringing[MANY];
    size_t n; /* rigs */
    uint64_t told[MANY];
    unsigned tellings;
};

static void
told(void *ctx, const char *rig, uint64_t entries)
{
    struct fixture *f = ctx;

    for (size_t i = 0; i < f->n; i++)
        if (strcmp(rig, f->names[i]) == 0)
            f->told[i] += entries;
    f->tellings++;
}

static void
start(struct fixture *f, size_t n)
{
    memset(f, 0, sizeof(*f));
    atomic_store(&commits, 0);
    atomic_store(&commit_fails, false);
    atomic_store(&undo_fails, false);
    atomic_store(&tip_fails, 0);
    atomic_store(&waits_end, false);
    office_start(&f->office);
    f->ops = fsp_shelf_sqlite;
    f->ops.begin = gated_begin;
    f->ops.commit = failing_commit;
    f->ops.undo = failing_undo;
    f->ops.tip = failing_tip;
    f->n = n;
    for (size_t i = 0; i < n; i++) {
        (void)snprintf(f->names[i], sizeof(f->names[i]), "rig-%02zu", i);
        rig_start(&f->rigs[i], &f->office, f->names[i], "a1");
        rig_add_many(&f->rigs[i], 8);
        assert_int_equal(
                rig_send(&f->rigs[i], &f->office, (const uint64_t[2]){0, 4}, true, NULL), 200);
    }
    f->office.shelf->ops = &f->ops;
    fsp_intake_tell(f->office.intake, told, f);
}

static void
stop(struct fixture *f)
{
    for (size_t i = 0; i < f->n; i++)
        rig_stop(&f->rigs[i]);
    office_stop(&f->office);
}

static void *
bring(void *arg)
{
    struct bringing *b = arg;

    b->rc = fsp_intake_take(
            b->office->intake, b->bundle.data, b->bundle.len, &b->status, &b->answer, &b->err);
    return NULL;
}

static size_t
waiting(struct fixture *f)
{
    struct fsp_intake_stats stats;

    fsp_intake_stats(f->office.intake, &stats);
    return stats.waiting;
}

static uint64_t
groups(struct fixture *f)
{
    struct fsp_intake_stats stats;

    fsp_intake_stats(f->office.intake, &stats);
    return stats.groups;
}

/* Entries within of a rig, as its n-th bundle. */
static void
pack(struct fixture *f, size_t n, const struct rig *rig, const uint64_t within[2])
{
    struct bringing *b = &f->bringing[n];

    memset(b, 0, sizeof(*b));
    b->office = &f->office;
    fsp_buf_init(&b->bundle, FSP_BUNDLE_MAX);
    fsp_buf_init(&b->answer, FSP_NOTE_MAX);
    rig_bundle(rig, &f->office, within[0], within[1], within[0] == 0, &b->bundle);
}

/* Bring n bundles, in this order, so that all but the first are one group. */
static void
bring_together(struct fixture *f, size_t n)
{
    uint64_t before = groups(f);

    (void)pthread_mutex_lock(&gate);
    for (size_t i = 0; i < n; i++) {
        assert_int_equal(
                pthread_create(&f->bringing[i].thread, NULL, bring, &f->bringing[i]), 0);
        while (waiting(f) < i ||
                groups(f) == before) /* the first leads, and waits at the gate */
            (void)sched_yield();
    }
    (void)pthread_mutex_unlock(&gate);
    for (size_t i = 0; i < n; i++)
        assert_int_equal(pthread_join(f->bringing[i].thread, NULL), 0);
}

static void
unpack(struct fixture *f, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        fsp_buf_fini(&f->bringing[i].bundle);
        fsp_buf_fini(&f->bringing[i].answer);
    }
}

static const uint64_t rest[2] = {4, 8};

/* ---- tests ------------------------------------------------------------------------------------ */

static void
what_waits_is_committed_together_and_each_gets_its_receipt(void **state)
{
    struct fixture f;
    struct fsp_intake_stats stats;

    (void)state;
    start(&f, MANY);
    for (size_t i = 0; i < MANY; i++)
        pack(&f, i, &f.rigs[i], rest);
    bring_together(&f, MANY);
    assert_int_equal(atomic_load(&commits), 2); /* the first, and all that waited meanwhile */
    for (size_t i = 0; i < MANY; i++) {
        struct bringing *b = &f.bringing[i];

        assert_ok(b->rc, &b->err);
        assert_int_equal(b->status, 200);
        assert_int_equal(receipt_size(&b->answer, &f.rigs[i], &f.office, NULL), 8);
        assert_int_equal(office_size(&f.office, &f.rigs[i]), 8);
        assert_int_equal(f.told[i], 4);
    }
    fsp_intake_stats(f.office.intake, &stats);
    assert_int_equal(stats.records, MANY * 8);
    assert_int_equal(stats.bundles, MANY * 2);
    assert_int_equal(stats.groups, MANY + 2);
    assert_int_equal(stats.waiting, 0);
    unpack(&f, MANY);
    stop(&f);
}

static void
one_that_is_refused_takes_no_other_with_it(void **state)
{
    struct fixture f;
    struct rig forger;
    struct rig stranger;
    struct rig new_one;
    struct fsp_skey *key;
    size_t forks = 0;
    struct fsp_shelf_log log;
    struct fsp_err err = {0};

    (void)state;
    start(&f, 6);
    pack(&f, 0, &f.rigs[0], rest);
    pack(&f, 1, &f.rigs[1], rest);
    pack(&f, 2, &f.rigs[2], (const uint64_t[2]){6, 8}); /* a gap */
    free(f.rigs[3].entries[2]);                         /* another history */
    f.rigs[3].entries[2] = strdup("{\"another\":\"history\"}");
    pack(&f, 3, &f.rigs[3], (const uint64_t[2]){2, 8});
    forger = f.rigs[4]; /* another key */
    key = f.rigs[5].skey;
    forger.skey = key;
    pack(&f, 4, &forger, rest);
    pack(&f, 5, &f.rigs[5], rest);
    rig_start(&stranger, &f.office, "rig-90", "a1"); /* a token nobody gave out */
    memset(stranger.token, 7, sizeof(stranger.token));
    rig_add_many(&stranger, 2);
    pack(&f, 6, &stranger, (const uint64_t[2]){0, 2});
    rig_start(&new_one, &f.office, "rig-91", "a1"); /* enrols */
    rig_add_many(&new_one, 2);
    pack(&f, 7, &new_one, (const uint64_t[2]){0, 2});
    atomic_store(&commits, 0);
    bring_together(&f, 8);
    assert_int_equal(atomic_load(&commits), 2);
    for (size_t i = 0; i < 8; i++)
        assert_ok(f.bringing[i].rc, &f.bringing[i].err);
    assert_int_equal(f.bringing[1].status, 200);
    assert_int_equal(f.bringing[2].status, 409);
    assert_int_equal(f.bringing[3].status, 422);
    assert_int_equal(f.bringing[4].status, 403);
    assert_int_equal(f.bringing[5].status, 200);
    assert_int_equal(f.bringing[6].status, 403);
    assert_int_equal(f.bringing[7].status, 200);
    assert_int_equal(office_size(&f.office, &f.rigs[1]), 8);
    assert_int_equal(office_size(&f.office, &f.rigs[2]), 4);
    assert_int_equal(office_size(&f.office, &f.rigs[3]), 4);
    assert_int_equal(office_size(&f.office, &f.rigs[4]), 4);
    assert_int_equal(office_size(&f.office, &f.rigs[5]), 8);
    assert_int_equal(office_size(&f.office, &stranger), UINT64_MAX);
    assert_int_equal(office_size(&f.office, &new_one), 2);
    assert_ok(f.ops.find_log(f.office.shelf->ctx, f.rigs[3].origin, &log, &err), &err);
    assert_ok(f.ops.forks_of(f.office.shelf->ctx, log.id, &forks, &err), &err);
    assert_int_equal(forks, 1);
    unpack(&f, 8);
    rig_stop(&stranger);
    rig_stop(&new_one);
    stop(&f);
}

static void
one_that_fails_takes_no_other_with_it(void **state)
{
    struct fixture f;
    struct fsp_shelf_log log;
    struct fsp_err err = {0};

    (void)state;
    start(&f, 4);
    for (size_t i = 0; i < 4; i++)
        pack(&f, i, &f.rigs[i], rest);
    assert_ok(f.ops.find_log(f.office.shelf->ctx, f.rigs[2].origin, &log, &err), &err);
    atomic_store(&tip_fails, log.id);
    bring_together(&f, 4);
    atomic_store(&tip_fails, 0);
    for (size_t i = 0; i < 4; i++) {
        const struct bringing *b = &f.bringing[i];

        assert_int_equal(b->rc, i == 2 ? FSP_ENOMEM : FSP_OK);
        assert_int_equal(b->status, i == 2 ? 0 : 200);
        assert_int_equal(office_size(&f.office, &f.rigs[i]), i == 2 ? 4 : 8);
        assert_int_equal(f.told[i], i == 2 ? 0 : 4);
    }
    assert_int_equal(f.bringing[2].answer.len, 0);
    assert_string_equal(f.bringing[2].err.text, "out of memory");
    unpack(&f, 4);
    stop(&f);
}

static void
bundles_of_one_log_follow_each_other_in_a_group(void **state)
{
    static const uint64_t steps[5][2] = {{4, 8}, {8, 10}, {8, 12}, {14, 16}, {12, 14}};
    static const int statuses[5] = {200, 200, 200, 409, 200};
    struct fixture f;
    struct fsp_refusal refusal;
    struct fsp_err err = {0};

    (void)state;
    start(&f, 1);
    rig_add_many(&f.rigs[0], 8);
    for (size_t i = 0; i < 5; i++)
        pack(&f, i, &f.rigs[0], steps[i]);
    bring_together(&f, 5);
    for (size_t i = 0; i < 5; i++) {
        assert_ok(f.bringing[i].rc, &f.bringing[i].err);
        assert_int_equal(f.bringing[i].status, statuses[i]);
    }
    assert_ok(fsp_refusal_read(&refusal, f.bringing[3].answer.data, f.bringing[3].answer.len,
                      fsp_skey_vkey(f.office.keys.instructions), &err),
            &err);
    assert_int_equal(refusal.size, 12);
    assert_int_equal(office_size(&f.office, &f.rigs[0]), 14);
    unpack(&f, 5);
    stop(&f);
}

/* All of a group go without an answer, and can come again. */
static void
none_is_answered(struct fixture *f, size_t from, size_t n, enum fsp_rc rc)
{
    for (size_t i = from; i < n; i++) {
        assert_int_equal(f->bringing[i].rc, rc);
        assert_int_equal(f->bringing[i].status, 0);
        assert_int_equal(f->bringing[i].answer.len, 0);
        assert_true(strlen(f->bringing[i].err.text) > 0);
        assert_int_equal(office_size(&f->office, &f->rigs[i]), 4);
        assert_int_equal(f->told[i], 0);
    }
}

static void
a_failed_commit_answers_none_of_the_group(void **state)
{
    struct fixture f;

    (void)state;
    start(&f, 5);
    for (size_t i = 0; i < 5;
            i++) /* the last one would be told of a gap, were it not for the others */
        pack(&f, i, &f.rigs[i], i == 4 ? (const uint64_t[2]){6, 8} : rest);
    atomic_store(&commit_fails, true);
    bring_together(&f, 5);
    none_is_answered(&f, 0, 5, FSP_EIO);
    assert_int_equal(f.tellings, 0);
    atomic_store(&commit_fails, false);
    for (size_t i = 0; i < 4; i++)
        assert_int_equal(rig_send(&f.rigs[i], &f.office, rest, false, NULL), 200);
    unpack(&f, 5);
    stop(&f);
}

static void
a_lost_transaction_answers_none_of_the_group(void **state)
{
    struct fixture f;

    (void)state;
    start(&f, 4);
    for (size_t i = 0; i < 4; i++) /* the third has to be undone */
        pack(&f, i, &f.rigs[i], i == 2 ? (const uint64_t[2]){6, 8} : rest);
    atomic_store(&undo_fails, true);
    bring_together(&f, 4);
    assert_int_equal(f.bringing[0].status, 200); /* a group of its own */
    none_is_answered(&f, 1, 4, FSP_EIO);
    atomic_store(&undo_fails, false);
    for (size_t i = 1; i < 4; i++)
        assert_int_equal(rig_send(&f.rigs[i], &f.office, rest, false, NULL), 200);
    unpack(&f, 4);
    stop(&f);
}

static void
who_waits_too_long_goes_without_an_answer_and_nothing_is_kept(void **state)
{
    struct fixture f;

    (void)state;
    start(&f, 3);
    for (size_t i = 0; i < 3; i++)
        pack(&f, i, &f.rigs[i], rest);
    (void)pthread_mutex_lock(&gate);
    assert_int_equal(pthread_create(&f.bringing[0].thread, NULL, bring, &f.bringing[0]), 0);
    while (groups(&f) == 3)
        (void)sched_yield();
    atomic_store(&waits_end, true);
    for (size_t i = 1; i < 3; i++) {
        (void)bring(&f.bringing[i]);
        assert_int_equal(f.bringing[i].rc, FSP_EBUSY);
        assert_int_equal(f.bringing[i].status, 0);
    }
    assert_int_equal(waiting(&f), 0);
    atomic_store(&waits_end, false);
    (void)pthread_mutex_unlock(&gate);
    assert_int_equal(pthread_join(f.bringing[0].thread, NULL), 0);
    assert_int_equal(f.bringing[0].status, 200);
    for (size_t i = 1; i < 3; i++) {
        assert_int_equal(office_size(&f.office, &f.rigs[i]), 4);
        assert_int_equal(rig_send(&f.rigs[i], &f.office, rest, false, NULL), 200);
    }
    unpack(&f, 3);
    stop(&f);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(what_waits_is_committed_together_and_each_gets_its_receipt),
            cmocka_unit_test(one_that_is_refused_takes_no_other_with_it),
            cmocka_unit_test(one_that_fails_takes_no_other_with_it),
            cmocka_unit_test(bundles_of_one_log_follow_each_other_in_a_group),
            cmocka_unit_test(a_failed_commit_answers_none_of_the_group),
            cmocka_unit_test(a_lost_transaction_answers_none_of_the_group),
            cmocka_unit_test(who_waits_too_long_goes_without_an_answer_and_nothing_is_kept),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
