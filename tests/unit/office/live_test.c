#include "office_support.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "board_support.h"
#include "office/board.h"
#include "office/live.h"
#include "office/show.h"

#define OUT_MAX ((size_t)4 * 1024 * 1024)
#define DAY_US  (FSP_S_PER_DAY * FSP_US_PER_S)

/* ---- an office that is followed --------------------------------------------------------------- */

/* The thread's clock, and a shelf that fails or waits when it is told to. */
static _Atomic int64_t clock_us;
static _Atomic bool tip_fails;
static char failing_rig[FSP_NAME_MAX + 1]; /* "": any. Set while nothing folds */
static _Atomic bool open_fails;
static pthread_mutex_t gate = PTHREAD_MUTEX_INITIALIZER; /* held: no fold begins */

static int64_t
tell_us(void *ctx)
{
    (void)ctx;
    return atomic_load(&clock_us);
}

static const struct fsp_env env = {.utc_us = tell_us, .monotonic_us = tell_us};

static enum fsp_rc
gated_stamp(void *ctx, const char *rig, struct fsp_shelf_stamp *out, struct fsp_err *err)
{
    enum fsp_rc rc;

    (void)pthread_mutex_lock(&gate);
    rc = fsp_shelf_sqlite.stamp(ctx, rig, out, err);
    (void)pthread_mutex_unlock(&gate);
    if (atomic_load(&tip_fails) && (failing_rig[0] == '\0' || strcmp(rig, failing_rig) == 0))
        return fsp_err_set(err, FSP_ECORRUPT, "a page that does not read");
    return rc;
}

static enum fsp_rc
failing_open(const char *store, enum fsp_shelf_access access, void **ctx, struct fsp_err *err)
{
    *ctx = NULL;
    if (atomic_load(&open_fails))
        return fsp_err_set(err, FSP_EIO, "no such disk");
    return fsp_shelf_sqlite.open(store, access, ctx, err);
}

struct followed {
    struct office office;
    struct fsp_shelf_ops ops;
    struct fsp_live *live;
};

static void
follow(struct followed *f)
{
    const struct fsp_live_about about = {.ops = &f->ops,
            .store = f->office.folder,
            .env = &env,
            .keys = fsp_skey_vkey(f->office.keys.instructions),
            .n_keys = 1};
    struct fsp_err err = {0};

    f->ops = fsp_shelf_sqlite;
    f->ops.stamp = gated_stamp;
    f->ops.open = failing_open;
    atomic_store(&clock_us, (START_S + 60 * FSP_S_PER_DAY) * FSP_US_PER_S);
    atomic_store(&tip_fails, false);
    atomic_store(&open_fails, false);
    failing_rig[0] = '\0';
    assert_ok(fsp_live_new(&about, &f->live, &err), &err);
}

static void
unfollow(struct followed *f)
{
    fsp_live_free(f->live);
    office_stop(&f->office);
}

/* ---- rigs ------------------------------------------------------------------------------------- */

static void
begin_rig(struct rig *rig, struct office *office, const char *name)
{
    rig_start(rig, office, name, "a1");
    rig_add(rig, "{\"at\":\"2026-03-01T00:00:00Z\",\"block\":\"47000lb\",\"by\":\"clerk\","
                 "\"drum\":\"30in\",\"kind\":\"rig\",\"mast\":\"142ft\",\"v\":1}");
    rig_add(rig, "{\"at\":\"2026-03-01T01:00:00Z\",\"by\":\"clerk\",\"grade\":\"EIPS\","
                 "\"kind\":\"reel\",\"lines\":10,\"received\":\"5000ft\",\"reel\":\"R-1\","
                 "\"rope\":\"1-3/8in\",\"strung\":\"1200ft\",\"v\":1}");
}

static void
add_note(struct rig *rig, int n)
{
    char json[256];

    (void)snprintf(json, sizeof(json),
            "{\"at\":\"2026-03-02T%02d:%02d:00Z\",\"by\":\"clerk\",\"kind\":\"note\","
            "\"text\":\"number %d\",\"v\":1}",
            n / 60 % 24, n % 60, n);
    rig_add(rig, json);
}

/* Send what the office lacks, as another process does: nobody tells the thread. */
static uint64_t
send_rest(struct rig *rig, struct office *office)
{
    uint64_t held = office_size(office, rig);
    uint64_t from = held == UINT64_MAX ? 0 : held;

    assert_int_equal(
            rig_send(rig, office, (const uint64_t[2]){from, rig->n}, from == 0, NULL), 200);
    return rig->n - from;
}

/* The fleet and every rig as JSON and pages. */
static void
say(const struct fsp_fleet *fleet, struct fsp_buf *out)
{
    const struct fsp_board_page page = board_open_page(fleet);

    fsp_buf_init(out, OUT_MAX);
    fsp_show_fleet_json(fleet, out);
    for (size_t i = 0; i < fleet->n; i++) {
        fsp_show_rig_json(fleet, fleet->rigs[i], out);
        fsp_board_rig(&page, fleet->rigs[i], NULL, out);
    }
    assert_int_equal(out->rc, FSP_OK);
}

/* The view says what a fleet says that is read and folded whole. */
static void
agrees(struct followed *f)
{
    const struct fsp_fleet_about about = {.as_of_s = tell_us(NULL) / FSP_US_PER_S,
            .keys = fsp_skey_vkey(f->office.keys.instructions),
            .n_keys = 1,
            .inspections = FSP_LIVE_INSPECTIONS,
            .whole = true};
    const struct fsp_fleet *view = fsp_live_hold(f->live);
    struct fsp_fleet *fleet = NULL;
    struct fsp_err err = {0};
    struct fsp_buf a;
    struct fsp_buf b;

    assert_ok(fsp_fleet_load(f->office.shelf, &about, &fleet, &err), &err);
    say(view, &a);
    say(fleet, &b);
    assert_string_equal(fsp_buf_peek(&a), fsp_buf_peek(&b));
    fsp_buf_fini(&a);
    fsp_buf_fini(&b);
    fsp_fleet_free(fleet);
    fsp_live_release(f->live, view);
}

/* ---- tests ------------------------------------------------------------------------------------ */

static void
the_first_view_fills_and_says_so(void **state)
{
    struct followed f;
    struct rig rigs[2];
    const struct fsp_fleet *view;
    struct fsp_live_lag lag;

    (void)state;
    office_start(&f.office);
    begin_rig(&rigs[0], &f.office, "heron");
    begin_rig(&rigs[1], &f.office, "plover");
    (void)send_rest(&rigs[0], &f.office);
    (void)pthread_mutex_lock(&gate);
    follow(&f);
    view = fsp_live_hold(f.live); /* at once, while nothing was folded */
    assert_int_equal(view->n, 0);
    assert_int_equal(view->waiting, 2);
    assert_string_equal(view->name, FLEET);
    assert_true(fsp_live_knows(f.live, "plover"));
    assert_false(fsp_live_knows(f.live, "dunlin"));
    fsp_live_lag(f.live, &lag);
    assert_int_equal(lag.rigs, 2);
    assert_int_equal(lag.entries, 2);
    (void)pthread_mutex_unlock(&gate);
    fsp_live_settle(f.live);
    assert_int_equal(view->n, 0); /* the held one stays */
    fsp_live_release(f.live, view);
    view = fsp_live_hold(f.live);
    assert_int_equal(view->n, 2);
    assert_int_equal(view->waiting, 0);
    fsp_live_release(f.live, view);
    agrees(&f);
    rig_stop(&rigs[0]);
    rig_stop(&rigs[1]);
    unfollow(&f);
}

static void
what_grew_lags_until_it_is_in_the_view(void **state)
{
    struct followed f;
    struct rig rig;
    const struct fsp_fleet *before;
    struct fsp_live_lag lag;

    (void)state;
    office_start(&f.office);
    begin_rig(&rig, &f.office, "heron");
    (void)send_rest(&rig, &f.office);
    follow(&f);
    fsp_live_settle(f.live);
    (void)pthread_mutex_lock(&gate);
    add_note(&rig, 1);
    add_note(&rig, 2);
    add_note(&rig, 3);
    fsp_live_grew(f.live, "heron", send_rest(&rig, &f.office));
    fsp_live_lag(f.live, &lag);
    assert_int_equal(lag.entries, 3);
    assert_int_equal(lag.rigs, 1);
    assert_int_equal(lag.oldest_us, tell_us(NULL));
    before = fsp_live_hold(f.live); /* no page waits for a fold */
    assert_int_equal(before->rigs[0]->entries, 2);
    (void)pthread_mutex_unlock(&gate);
    fsp_live_settle(f.live);
    fsp_live_lag(f.live, &lag);
    assert_int_equal(lag.entries, 0);
    assert_int_equal(lag.rigs, 0);
    assert_int_equal(lag.oldest_us, 0);
    assert_int_equal(lag.rigs_read, 1);
    assert_false(lag.failed);
    assert_int_equal(before->rigs[0]->entries, 2);
    fsp_live_release(f.live, before);
    agrees(&f);
    fsp_live_grew(f.live, "heron", 0); /* said again: nothing changed */
    fsp_live_settle(f.live);
    fsp_live_lag(f.live, &lag);
    assert_int_equal(lag.rigs, 0);
    rig_stop(&rig);
    unfollow(&f);
}

static void
what_other_processes_write_is_noticed(void **state)
{
    struct followed f;
    struct rig rigs[2];
    const struct fsp_fleet *view;
    struct fsp_shelf_log log;
    struct fsp_shelf_fork fork = {
            .seen_s = START_S, .held = "held", .held_len = 4, .came = "came", .came_len = 4};
    struct fsp_err err = {0};

    (void)state;
    office_start(&f.office);
    begin_rig(&rigs[0], &f.office, "heron");
    (void)send_rest(&rigs[0], &f.office);
    follow(&f);
    fsp_live_settle(f.live);
    begin_rig(&rigs[1], &f.office, "dunlin"); /* a new rig, before the others by name */
    fsp_live_settle(f.live);
    view = fsp_live_hold(f.live);
    assert_int_equal(view->n, 2);
    assert_string_equal(view->rigs[0]->name, "dunlin");
    assert_int_equal(view->rigs[0]->n_logs, 0);
    fsp_live_release(f.live, view);
    (void)send_rest(&rigs[1], &f.office); /* its first bundle */
    fsp_live_settle(f.live);
    agrees(&f);
    add_note(&rigs[0], 4); /* more entries */
    (void)send_rest(&rigs[0], &f.office);
    fsp_live_settle(f.live);
    agrees(&f);
    assert_ok(f.office.shelf->ops->find_log(f.office.shelf->ctx, rigs[0].origin, &log, &err),
            &err);
    fork.log = log.id;
    assert_ok(f.office.shelf->ops->begin(f.office.shelf->ctx, true, &err), &err);
    assert_ok(f.office.shelf->ops->add_fork(f.office.shelf->ctx, &fork, &err), &err);
    assert_ok(f.office.shelf->ops->commit(f.office.shelf->ctx, &err), &err);
    fsp_live_settle(f.live);
    view = fsp_live_hold(f.live);
    assert_int_equal(view->rigs[1]->open_forks, 1);
    assert_int_equal(view->rigs[1]->attention, FSP_ATTENTION_FORK);
    fsp_live_release(f.live, view);
    agrees(&f);
    rig_stop(&rigs[0]);
    rig_stop(&rigs[1]);
    unfollow(&f);
}

static void
a_renewal_and_its_confirmation_are_noticed(void **state)
{
    struct followed f;
    struct rig rig;
    struct rig second;
    const struct fsp_fleet *view;
    struct fsp_shelf_log old;
    struct fsp_shelf_log log;
    struct fsp_shelf_renewal renewal = {.how = FSP_RENEWAL_INVITED, .seen_s = START_S};
    struct fsp_shelf *shelf;
    struct fsp_err err = {0};

    (void)state;
    office_start(&f.office);
    shelf = f.office.shelf;
    begin_rig(&rig, &f.office, "heron");
    (void)send_rest(&rig, &f.office);
    follow(&f);
    fsp_live_settle(f.live);
    rig_start(&second, &f.office, "heron", "b2");
    add_note(&second, 1);
    (void)send_rest(&second, &f.office);
    assert_ok(shelf->ops->find_log(shelf->ctx, rig.origin, &old, &err), &err);
    assert_ok(shelf->ops->find_log(shelf->ctx, second.origin, &log, &err), &err);
    renewal.log = log.id;
    renewal.from = old.id;
    renewal.from_size = 2;
    renewal.closed_size = 2;
    assert_ok(shelf->ops->begin(shelf->ctx, true, &err), &err);
    assert_ok(shelf->ops->add_renewal(shelf->ctx, &renewal, &err), &err);
    assert_ok(shelf->ops->commit(shelf->ctx, &err), &err);
    fsp_live_settle(f.live);
    view = fsp_live_hold(f.live);
    assert_int_equal(view->rigs[0]->n_logs, 2);
    assert_int_equal(view->rigs[0]->renewals, 1);
    fsp_live_release(f.live, view);
    assert_ok(shelf->ops->begin(shelf->ctx, true, &err), &err);
    assert_ok(shelf->ops->confirm_renewal(shelf->ctx, log.id, "keeper", START_S, &err), &err);
    assert_ok(shelf->ops->commit(shelf->ctx, &err), &err);
    fsp_live_settle(f.live);
    view = fsp_live_hold(f.live);
    assert_int_equal(view->rigs[0]->renewals, 0);
    fsp_live_release(f.live, view);
    agrees(&f);
    rig_stop(&rig);
    rig_stop(&second);
    unfollow(&f);
}

static void
the_order_of_arrival_makes_no_difference(void **state)
{
    (void)state;
    for (int turn = 0; turn < 2; turn++) {
        struct followed f;
        struct rig logs[3];
        const char *const names[] = {"heron", "plover", "dunlin"};

        office_start(&f.office);
        for (size_t i = 0; i < 3; i++) {
            begin_rig(&logs[i], &f.office, names[i]);
            add_note(&logs[i], (int)i);
        }
        follow(&f);
        for (size_t i = 0; i < 3; i++) { /* said before, after, or not at all */
            struct rig *rig = &logs[turn == 0 ? i : 2 - i];

            if (i == 0)
                fsp_live_grew(f.live, names[turn == 0 ? 0 : 2], 3);
            (void)send_rest(rig, &f.office);
            if (i == 1)
                fsp_live_grew(f.live, "plover", 3);
        }
        fsp_live_settle(f.live);
        agrees(&f);
        for (size_t i = 0; i < 3; i++)
            rig_stop(&logs[i]);
        unfollow(&f);
    }
}

static void
a_fold_that_fails_keeps_the_view_and_is_tried_again(void **state)
{
    struct followed f;
    struct rig rigs[2];
    const struct fsp_fleet *view;
    struct fsp_live_lag lag;

    (void)state;
    office_start(&f.office);
    begin_rig(&rigs[0], &f.office, "heron");
    begin_rig(&rigs[1], &f.office, "plover");
    (void)send_rest(&rigs[0], &f.office);
    (void)send_rest(&rigs[1], &f.office);
    follow(&f);
    fsp_live_settle(f.live);
    (void)snprintf(failing_rig, sizeof(failing_rig), "heron");
    atomic_store(&tip_fails, true);
    for (size_t i = 0; i < 2; i++) {
        add_note(&rigs[i], 1);
        fsp_live_grew(f.live, i == 0 ? "heron" : "plover", send_rest(&rigs[i], &f.office));
    }
    fsp_live_settle(f.live);
    view = fsp_live_hold(f.live);
    assert_int_equal(view->rigs[0]->entries, 2); /* as it was */
    assert_int_equal(view->rigs[1]->entries, 3); /* another's failure is nothing to it */
    fsp_live_release(f.live, view);
    fsp_live_lag(f.live, &lag);
    assert_true(lag.failed);
    assert_non_null(strstr(lag.failure, "does not read"));
    assert_int_equal(lag.entries, 1);
    assert_int_equal(lag.rigs, 1);
    fsp_live_settle(f.live); /* still */
    fsp_live_lag(f.live, &lag);
    assert_true(lag.failed);
    atomic_store(&tip_fails, false);
    fsp_live_settle(f.live);
    fsp_live_lag(f.live, &lag);
    assert_false(lag.failed);
    assert_string_equal(lag.failure, "");
    assert_int_equal(lag.entries, 0);
    agrees(&f);
    rig_stop(&rigs[0]);
    rig_stop(&rigs[1]);
    unfollow(&f);
}

static void
a_store_that_cannot_be_opened_keeps_the_view(void **state)
{
    struct followed f;
    struct rig rig;
    const struct fsp_fleet *view;
    struct fsp_live_lag lag;

    (void)state;
    office_start(&f.office);
    begin_rig(&rig, &f.office, "heron");
    (void)send_rest(&rig, &f.office);
    follow(&f);
    fsp_live_settle(f.live);
    atomic_store(&tip_fails, true); /* its connection is given up */
    atomic_store(&open_fails, true);
    add_note(&rig, 1);
    fsp_live_grew(f.live, "heron", send_rest(&rig, &f.office));
    fsp_live_settle(f.live);
    fsp_live_settle(f.live);
    fsp_live_lag(f.live, &lag);
    assert_true(lag.failed);
    assert_non_null(strstr(lag.failure, "no such disk"));
    view = fsp_live_hold(f.live);
    assert_int_equal(view->rigs[0]->entries, 2);
    fsp_live_release(f.live, view);
    atomic_store(&open_fails, false);
    atomic_store(&tip_fails, false);
    fsp_live_settle(f.live);
    fsp_live_lag(f.live, &lag);
    assert_false(lag.failed);
    agrees(&f);
    rig_stop(&rig);
    unfollow(&f);
}

static void
a_store_that_is_none_is_refused(void **state)
{
    const struct fsp_live_about about = {
            .ops = &fsp_shelf_sqlite, .store = "/nonexistent/office", .env = &env};
    struct fsp_live *live = NULL;
    struct fsp_err err = {0};

    (void)state;
    assert_int_not_equal(fsp_live_new(&about, &live, &err), FSP_OK);
    assert_null(live);
    assert_true(strlen(err.text) > 0);
    fsp_live_free(NULL);
}

static void
a_rig_is_folded_again_as_its_days_pass(void **state)
{
    struct followed f;
    struct rig rig;
    const struct fsp_fleet *view;

    (void)state;
    office_start(&f.office);
    begin_rig(&rig, &f.office, "heron");
    (void)send_rest(&rig, &f.office);
    follow(&f);
    fsp_live_settle(f.live);
    atomic_fetch_add(&clock_us, FSP_LIVE_AGE_S * FSP_US_PER_S);
    fsp_live_settle(f.live);
    agrees(&f); /* as of now, though nothing was written */
    view = fsp_live_hold(f.live);
    assert_int_equal(view->rigs[0]->as_of_s, tell_us(NULL) / FSP_US_PER_S);
    fsp_live_release(f.live, view);
    rig_stop(&rig);
    unfollow(&f);
}

static void
a_view_outlives_what_made_it(void **state)
{
    struct followed f;
    struct rig rig;
    const struct fsp_fleet *view;

    (void)state;
    office_start(&f.office);
    begin_rig(&rig, &f.office, "heron");
    (void)send_rest(&rig, &f.office);
    follow(&f);
    fsp_live_settle(f.live);
    view = fsp_live_hold(f.live);
    fsp_live_free(f.live);
    assert_string_equal(view->rigs[0]->name, "heron");
    assert_int_equal(view->rigs[0]->entries, 2);
    fsp_fleet_free(view);
    rig_stop(&rig);
    office_stop(&f.office);
}

/* ---- threads ---------------------------------------------------------------------------------- */

#define READERS 3
#define BUNDLES 40

struct reading {
    struct fsp_live *live;
    _Atomic bool *stop;
    uint64_t newest; /* entries never go back */
    bool went_back;
};

static void *
read_pages(void *arg)
{
    struct reading *reading = arg;

    while (!atomic_load(reading->stop)) {
        const struct fsp_fleet *view = fsp_live_hold(reading->live);
        uint64_t entries = 0;
        struct fsp_live_lag lag;
        struct fsp_buf out;

        say(view, &out);
        fsp_buf_fini(&out);
        for (size_t i = 0; i < view->n; i++)
            entries += view->rigs[i]->entries;
        reading->went_back = reading->went_back || entries < reading->newest;
        reading->newest = entries;
        fsp_live_lag(reading->live, &lag);
        fsp_live_release(reading->live, view);
    }
    return NULL;
}

static void
pages_are_read_while_rigs_grow(void **state)
{
    struct followed f;
    struct rig rigs[4];
    static const char *const names[] = {"dunlin", "heron", "plover", "whimbrel"};
    pthread_t threads[READERS];
    struct reading readings[READERS];
    _Atomic bool stop = false;
    struct fsp_live_lag lag;

    (void)state;
    office_start(&f.office);
    for (size_t i = 0; i < 4; i++)
        begin_rig(&rigs[i], &f.office, names[i]);
    follow(&f);
    for (size_t i = 0; i < READERS; i++) {
        readings[i] = (struct reading){.live = f.live, .stop = &stop};
        assert_int_equal(pthread_create(&threads[i], NULL, read_pages, &readings[i]), 0);
    }
    for (int i = 0; i < BUNDLES; i++) {
        struct rig *rig = &rigs[i % 4];

        add_note(rig, i);
        fsp_live_grew(f.live, names[i % 4], send_rest(rig, &f.office));
    }
    fsp_live_settle(f.live);
    atomic_store(&stop, true);
    for (size_t i = 0; i < READERS; i++) {
        assert_int_equal(pthread_join(threads[i], NULL), 0);
        assert_false(readings[i].went_back);
    }
    fsp_live_lag(f.live, &lag);
    assert_int_equal(lag.entries, 0);
    assert_int_equal(lag.rigs, 0);
    agrees(&f);
    for (size_t i = 0; i < 4; i++)
        rig_stop(&rigs[i]);
    unfollow(&f);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_first_view_fills_and_says_so),
            cmocka_unit_test(what_grew_lags_until_it_is_in_the_view),
            cmocka_unit_test(what_other_processes_write_is_noticed),
            cmocka_unit_test(a_renewal_and_its_confirmation_are_noticed),
            cmocka_unit_test(the_order_of_arrival_makes_no_difference),
            cmocka_unit_test(a_fold_that_fails_keeps_the_view_and_is_tried_again),
            cmocka_unit_test(a_store_that_cannot_be_opened_keeps_the_view),
            cmocka_unit_test(a_store_that_is_none_is_refused),
            cmocka_unit_test(a_rig_is_folded_again_as_its_days_pass),
            cmocka_unit_test(a_view_outlives_what_made_it),
            cmocka_unit_test(pages_are_read_while_rigs_grow),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
