#include "office_support.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "office/check.h"
#include "proof/tree.h"

/* The contract of struct fsp_shelf_ops. A second backend joins by one more row in `backends`; the
 * tests know nothing of SQLite. */

static const struct fsp_shelf_ops *const backends[] = {&fsp_shelf_sqlite};

struct fixture {
    char folder[64];
    const struct fsp_shelf_ops *ops;
    struct fsp_shelf *shelf;
    struct fsp_err err;
};

static void
start(struct fixture *f, const struct fsp_shelf_ops *ops)
{
    memset(f, 0, sizeof(*f));
    (void)snprintf(f->folder, sizeof(f->folder), "/tmp/fsp-shelf-XXXXXX");
    assert_non_null(mkdtemp(f->folder));
    f->ops = ops;
    assert_ok(fsp_shelf_open(ops, f->folder, FSP_SHELF_CREATE, &f->shelf, &f->err), &f->err);
}

static void
stop(struct fixture *f)
{
    fsp_shelf_close(f->shelf);
    remove_folder(f->folder);
}

static void
mark_of(uint8_t mark[FSP_MARK_LEN], uint8_t seed)
{
    memset(mark, seed, FSP_MARK_LEN);
}

/* A rig with one enrolled log, committed. */
static struct fsp_shelf_log
enrolled(struct fixture *f, const char *rig, const char *origin, uint8_t seed)
{
    struct fsp_shelf_log log;

    memset(&log, 0, sizeof(log));
    (void)snprintf(log.rig, sizeof(log.rig), "%s", rig);
    (void)snprintf(log.origin, sizeof(log.origin), "%s", origin);
    memset(log.pub, seed, sizeof(log.pub));
    mark_of(log.mark, seed);
    log.enrolled_s = START_S;
    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    assert_ok(f->ops->invite(f->shelf->ctx, rig, log.mark, START_S, &f->err), &f->err);
    assert_ok(f->ops->enrol(f->shelf->ctx, &log, &f->err), &f->err);
    assert_ok(f->ops->commit(f->shelf->ctx, &f->err), &f->err);
    return log;
}

/* A note of the right form over the range; its signature is nobody's. */
static void
head_note(const struct fsp_range *range, struct fsp_buf *note)
{
    static const uint8_t sig[FSP_SIG_LEN];
    struct fsp_skey *skey = NULL;
    struct fsp_checkpoint head = {.origin = FLEET "/heron/a1", .size = range->size};
    struct fsp_err err = {0};

    fsp_range_root(range, head.root);
    assert_ok(fsp_proof_init(&err), &err);
    assert_ok(fsp_skey_new(&skey, head.origin, FSP_KEY_NOTE, fsp_env_system(), &err), &err);
    fsp_checkpoint_write(&head, note);
    fsp_buf_add_byte(note, '\n');
    fsp_note_add_line(note, fsp_skey_vkey(skey), sig, sizeof(sig));
    fsp_skey_free(skey);
}

static void
append(struct fixture *f, int64_t log, size_t n)
{
    struct fsp_range range;
    struct fsp_buf note;
    char text[64];

    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    assert_ok(f->ops->tip(f->shelf->ctx, log, &range, &f->err), &f->err);
    for (size_t i = 0; i < n; i++) {
        struct fsp_entry_bytes entry = {.bytes = (const uint8_t *)text};

        (void)snprintf(text, sizeof(text), "entry %llu", (unsigned long long)range.size);
        entry.len = strlen(text);
        assert_ok(f->ops->append(f->shelf->ctx, log, &range, &entry, 1, &f->err), &f->err);
    }
    fsp_buf_init(&note, 1024);
    head_note(&range, &note);
    assert_ok(f->ops->add_head(f->shelf->ctx, log, &range, &note, START_S, &f->err), &f->err);
    assert_ok(f->ops->commit(f->shelf->ctx, &f->err), &f->err);
    fsp_buf_fini(&note);
}

static void
the_fleet_is_named_once(struct fixture *f)
{
    char fleet[FSP_NAME_MAX + 1];

    assert_int_equal(f->ops->fleet(f->shelf->ctx, fleet, &f->err), FSP_ENOTFOUND);
    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    assert_ok(f->ops->set_fleet(f->shelf->ctx, FLEET, &f->err), &f->err);
    assert_ok(f->ops->commit(f->shelf->ctx, &f->err), &f->err);
    assert_ok(f->ops->fleet(f->shelf->ctx, fleet, &f->err), &f->err);
    assert_string_equal(fleet, FLEET);
    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    assert_int_not_equal(f->ops->set_fleet(f->shelf->ctx, "other", &f->err), FSP_OK);
    f->ops->rollback(f->shelf->ctx);
}

static void
rigs_come_by_name_and_once(struct fixture *f)
{
    static const char *const names[] = {"plover", "heron", "whimbrel", "heron"};
    uint8_t mark[FSP_MARK_LEN];
    char rig[FSP_NAME_MAX + 1] = "";

    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    for (uint8_t i = 0; i < 4; i++) {
        mark_of(mark, i);
        assert_ok(f->ops->invite(f->shelf->ctx, names[i], mark, START_S, &f->err), &f->err);
    }
    assert_ok(f->ops->commit(f->shelf->ctx, &f->err), &f->err);
    assert_ok(f->ops->next_rig(f->shelf->ctx, rig, rig, &f->err), &f->err);
    assert_string_equal(rig, "heron");
    assert_ok(f->ops->next_rig(f->shelf->ctx, rig, rig, &f->err), &f->err);
    assert_string_equal(rig, "plover");
    assert_ok(f->ops->next_rig(f->shelf->ctx, rig, rig, &f->err), &f->err);
    assert_string_equal(rig, "whimbrel");
    assert_int_equal(f->ops->next_rig(f->shelf->ctx, rig, rig, &f->err), FSP_ENOTFOUND);
}

static void
an_invitation_key_and_origin_enrol_once(struct fixture *f)
{
    struct fsp_shelf_invitation invitation;
    struct fsp_shelf_log log = enrolled(f, "heron", FLEET "/heron/a1", 1);
    struct fsp_shelf_log again;
    uint8_t mark[FSP_MARK_LEN];

    assert_ok(f->ops->invitation(f->shelf->ctx, log.mark, &invitation, &f->err), &f->err);
    assert_true(invitation.used);
    assert_string_equal(invitation.rig, "heron");
    mark_of(mark, 99);
    assert_int_equal(
            f->ops->invitation(f->shelf->ctx, mark, &invitation, &f->err), FSP_ENOTFOUND);
    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    mark_of(mark, 2);
    assert_ok(f->ops->invite(f->shelf->ctx, "heron", mark, START_S, &f->err), &f->err);
    again = log; /* everything used */
    assert_int_equal(f->ops->enrol(f->shelf->ctx, &again, &f->err), FSP_EINVAL);
    memcpy(again.mark, mark, sizeof(mark)); /* new invitation, used origin and key */
    assert_int_equal(f->ops->enrol(f->shelf->ctx, &again, &f->err), FSP_EINVAL);
    (void)snprintf(again.origin, sizeof(again.origin), FLEET "/heron/b2"); /* used key */
    assert_int_equal(f->ops->enrol(f->shelf->ctx, &again, &f->err), FSP_EINVAL);
    memset(again.pub, 7, sizeof(again.pub));
    (void)snprintf(again.rig, sizeof(again.rig), "plover"); /* another rig's invitation */
    assert_int_equal(f->ops->enrol(f->shelf->ctx, &again, &f->err), FSP_EINVAL);
    (void)snprintf(again.rig, sizeof(again.rig), "heron");
    assert_ok(f->ops->enrol(f->shelf->ctx, &again, &f->err), &f->err);
    assert_true(again.id > log.id);
    assert_ok(f->ops->commit(f->shelf->ctx, &f->err), &f->err);
}

static void
logs_are_found_and_listed_in_order_of_enrolment(struct fixture *f)
{
    struct fsp_shelf_log one = enrolled(f, "plover", FLEET "/plover/a1", 1);
    struct fsp_shelf_log two = enrolled(f, "heron", FLEET "/heron/a1", 2);
    struct fsp_shelf_log got;

    assert_ok(f->ops->find_log(f->shelf->ctx, two.origin, &got, &f->err), &f->err);
    assert_int_equal(got.id, two.id);
    assert_string_equal(got.rig, "heron");
    assert_memory_equal(got.pub, two.pub, sizeof(got.pub));
    assert_memory_equal(got.mark, two.mark, sizeof(got.mark));
    assert_int_equal(got.enrolled_s, START_S);
    assert_int_equal(got.heard_s, 0);
    assert_int_equal(
            f->ops->find_log(f->shelf->ctx, FLEET "/heron/zz", &got, &f->err), FSP_ENOTFOUND);
    assert_ok(f->ops->next_log(f->shelf->ctx, 0, &got, &f->err), &f->err);
    assert_int_equal(got.id, one.id);
    assert_ok(f->ops->next_log(f->shelf->ctx, got.id, &got, &f->err), &f->err);
    assert_int_equal(got.id, two.id);
    assert_int_equal(f->ops->next_log(f->shelf->ctx, got.id, &got, &f->err), FSP_ENOTFOUND);
}

static enum fsp_rc
count_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    size_t *n = ctx;

    (void)bytes;
    (void)err;
    assert_true(len > 0);
    assert_true(index >= 1);
    (*n)++;
    return FSP_OK;
}

static void
entries_come_back_as_they_were(struct fixture *f)
{
    struct fsp_shelf_log log = enrolled(f, "heron", FLEET "/heron/a1", 1);
    struct fsp_range range;
    struct fsp_buf bytes;
    uint8_t(*leaves)[FSP_HASH_LEN] = NULL;
    uint8_t leaf[FSP_HASH_LEN];
    const uint64_t within[2] = {1, 4};
    size_t seen = 0;

    fsp_buf_init(&bytes, 4096);
    assert_ok(f->ops->tip(f->shelf->ctx, log.id, &range, &f->err), &f->err);
    assert_int_equal(range.size, 0);
    assert_int_equal(
            f->ops->head_below(f->shelf->ctx, log.id, UINT64_MAX, &range, &bytes, &f->err),
            FSP_ENOTFOUND);
    append(f, log.id, 3);
    append(f, log.id, 2);
    assert_ok(f->ops->tip(f->shelf->ctx, log.id, &range, &f->err), &f->err);
    assert_int_equal(range.size, 5);
    assert_ok(f->ops->entry(f->shelf->ctx, log.id, 4, &bytes, &f->err), &f->err);
    assert_string_equal(fsp_buf_peek(&bytes), "entry 4");
    assert_int_equal(f->ops->entry(f->shelf->ctx, log.id, 5, &bytes, &f->err), FSP_ENOTFOUND);
    assert_ok(
            f->ops->scan(f->shelf->ctx, log.id, within, count_entry, &seen, &f->err), &f->err);
    assert_int_equal(seen, 3);
    assert_ok(f->ops->leaves(f->shelf->ctx, log.id, 5, &leaves, &f->err), &f->err);
    fsp_leaf_hash("entry 2", 7, leaf);
    assert_memory_equal(leaves[2], leaf, sizeof(leaf));
    free(leaves);
    fsp_buf_fini(&bytes);
}

static void
heads_are_found_by_what_they_cover(struct fixture *f)
{
    struct fsp_shelf_log log = enrolled(f, "heron", FLEET "/heron/a1", 1);
    struct fsp_range range;
    struct fsp_buf bytes;
    int64_t heard_s[3] = {0};
    size_t n = 0;

    fsp_buf_init(&bytes, 4096);
    append(f, log.id, 3);
    append(f, log.id, 2);
    assert_ok(f->ops->head_below(f->shelf->ctx, log.id, 4, &range, &bytes, &f->err), &f->err);
    assert_int_equal(range.size, 3);
    assert_non_null(strstr(fsp_buf_peek(&bytes), "/heron/a1\n3\n"));
    assert_ok(
            f->ops->head_covering(f->shelf->ctx, log.id, 2, &range, &bytes, &f->err), &f->err);
    assert_int_equal(range.size, 3);
    assert_ok(
            f->ops->head_covering(f->shelf->ctx, log.id, 3, &range, &bytes, &f->err), &f->err);
    assert_int_equal(range.size, 5);
    assert_int_equal(f->ops->head_covering(f->shelf->ctx, log.id, 5, &range, &bytes, &f->err),
            FSP_ENOTFOUND);
    assert_ok(f->ops->find_log(f->shelf->ctx, log.origin, &log, &f->err), &f->err);
    assert_int_equal(log.heard_s, START_S);
    assert_ok(f->ops->heard(f->shelf->ctx, log.id, heard_s, 3, &n, &f->err), &f->err);
    assert_int_equal(n, 2);
    assert_int_equal(heard_s[1], START_S);
    assert_ok(f->ops->heard(f->shelf->ctx, log.id, heard_s, 1, &n, &f->err), &f->err);
    assert_int_equal(n, 1);
    assert_ok(f->ops->heard(f->shelf->ctx, log.id + 1, heard_s, 3, &n, &f->err), &f->err);
    assert_int_equal(n, 0);
    fsp_buf_fini(&bytes);
}

static void
what_is_rolled_back_was_never_there(struct fixture *f)
{
    struct fsp_shelf_log log = enrolled(f, "heron", FLEET "/heron/a1", 1);
    struct fsp_entry_bytes entry = {.bytes = (const uint8_t *)"x", .len = 1};
    struct fsp_range range;

    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    assert_ok(f->ops->tip(f->shelf->ctx, log.id, &range, &f->err), &f->err);
    assert_ok(f->ops->append(f->shelf->ctx, log.id, &range, &entry, 1, &f->err), &f->err);
    f->ops->rollback(f->shelf->ctx);
    f->ops->rollback(f->shelf->ctx); /* outside a transaction: nothing */
    assert_ok(f->ops->tip(f->shelf->ctx, log.id, &range, &f->err), &f->err);
    assert_int_equal(range.size, 0);
}

static void /* NOLINTNEXTLINE(readability-function-cognitive-complexity): steps; assert_ok counts */
forks_are_kept_once_and_whole(struct fixture *f)
{
    struct fsp_shelf_log log = enrolled(f, "heron", FLEET "/heron/a1", 1);
    struct fsp_shelf_fork fork = {.log = log.id,
            .seen_s = START_S,
            .size = 9,
            .has_differs = true,
            .differs = 4,
            .held = "held",
            .held_len = 4,
            .came = "came in",
            .came_len = 7,
            .entry = (const uint8_t *)"entry",
            .entry_len = 5};
    struct fsp_shelf_fork got;
    struct fsp_buf store;
    size_t n = 0;

    fsp_buf_init(&store, 4096);
    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    assert_ok(f->ops->add_fork(f->shelf->ctx, &fork, &f->err), &f->err);
    assert_ok(f->ops->add_fork(f->shelf->ctx, &fork, &f->err), &f->err);
    fork.came = "another";
    fork.has_differs = false;
    fork.entry = NULL;
    assert_ok(f->ops->add_fork(f->shelf->ctx, &fork, &f->err), &f->err);
    assert_ok(f->ops->commit(f->shelf->ctx, &f->err), &f->err);
    assert_ok(f->ops->fork_at(f->shelf->ctx, 0, &got, &store, &f->err), &f->err);
    assert_int_equal(got.log, log.id);
    assert_int_equal(got.size, 9);
    assert_true(got.has_differs);
    assert_int_equal(got.differs, 4);
    assert_memory_equal(got.held, "held", 4);
    assert_memory_equal(got.came, "came in", 7);
    assert_memory_equal(got.entry, "entry", 5);
    assert_ok(f->ops->fork_at(f->shelf->ctx, 1, &got, &store, &f->err), &f->err);
    assert_false(got.has_differs);
    assert_null(got.entry);
    assert_int_equal(f->ops->fork_at(f->shelf->ctx, 2, &got, &store, &f->err), FSP_ENOTFOUND);
    fsp_buf_fini(&store);
    assert_ok(f->ops->forks_of(f->shelf->ctx, log.id, &n, &f->err), &f->err);
    assert_int_equal(n, 2);
    assert_ok(f->ops->forks_of(f->shelf->ctx, log.id + 1, &n, &f->err), &f->err);
    assert_int_equal(n, 0);
}

static void
the_logs_of_one_rig_are_listed_alone(struct fixture *f)
{
    struct fsp_shelf_log first = enrolled(f, "heron", FLEET "/heron/a1", 1);
    struct fsp_shelf_log other = enrolled(f, "plover", FLEET "/plover/a1", 2);
    struct fsp_shelf_log second = enrolled(f, "heron", FLEET "/heron/b2", 3);
    struct fsp_shelf_log got;

    assert_ok(f->ops->next_log_of(f->shelf->ctx, "heron", 0, &got, &f->err), &f->err);
    assert_int_equal(got.id, first.id);
    assert_ok(f->ops->next_log_of(f->shelf->ctx, "heron", got.id, &got, &f->err), &f->err);
    assert_int_equal(got.id, second.id);
    assert_string_equal(got.origin, second.origin);
    assert_int_equal(
            f->ops->next_log_of(f->shelf->ctx, "heron", got.id, &got, &f->err), FSP_ENOTFOUND);
    assert_ok(f->ops->next_log_of(f->shelf->ctx, "plover", 0, &got, &f->err), &f->err);
    assert_int_equal(got.id, other.id);
    assert_int_equal(
            f->ops->next_log_of(f->shelf->ctx, "dunlin", 0, &got, &f->err), FSP_ENOTFOUND);
}

/* The stamp of heron, which must differ from the one before. */
static struct fsp_shelf_stamp
moved(struct fixture *f, const struct fsp_shelf_stamp *before)
{
    struct fsp_shelf_stamp now;

    assert_ok(f->ops->stamp(f->shelf->ctx, "heron", &now, &f->err), &f->err);
    assert_string_equal(now.rig, "heron");
    assert_memory_not_equal(&now, before, sizeof(now));
    return now;
}

static void /* NOLINTNEXTLINE(readability-function-cognitive-complexity): steps; assert_ok counts */
a_stamp_differs_when_anything_of_the_rig_does(struct fixture *f)
{
    struct fsp_shelf_stamp stamp = {.logs = 0};
    struct fsp_shelf_stamp again;
    struct fsp_shelf_fork fork = {.seen_s = START_S, .held = "h", .held_len = 1};
    struct fsp_shelf_renewal renewal = {.how = FSP_RENEWAL_INVITED, .seen_s = START_S};
    struct fsp_shelf_log log = enrolled(f, "heron", FLEET "/heron/a1", 1);
    struct fsp_shelf_log second;

    assert_int_equal(f->ops->stamp(f->shelf->ctx, "dunlin", &stamp, &f->err), FSP_ENOTFOUND);
    stamp = moved(f, &stamp);
    append(f, log.id, 3);
    stamp = moved(f, &stamp);
    assert_int_equal(stamp.entries, 3);
    assert_int_equal(stamp.heard_s, START_S);
    fork.log = log.id;
    fork.came = "came";
    fork.came_len = 4;
    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    assert_ok(f->ops->add_fork(f->shelf->ctx, &fork, &f->err), &f->err);
    assert_ok(f->ops->commit(f->shelf->ctx, &f->err), &f->err);
    stamp = moved(f, &stamp);
    second = enrolled(f, "heron", FLEET "/heron/b2", 2);
    stamp = moved(f, &stamp);
    renewal.log = second.id;
    renewal.from = log.id;
    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    assert_ok(f->ops->add_renewal(f->shelf->ctx, &renewal, &f->err), &f->err);
    assert_ok(f->ops->commit(f->shelf->ctx, &f->err), &f->err);
    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    assert_ok(f->ops->confirm_renewal(f->shelf->ctx, second.id, "keeper", START_S, &f->err),
            &f->err);
    assert_ok(f->ops->commit(f->shelf->ctx, &f->err), &f->err);
    stamp = moved(f, &stamp);
    (void)enrolled(f, "plover", FLEET "/plover/a1", 3); /* another rig is nothing to it */
    assert_ok(f->ops->stamp(f->shelf->ctx, "heron", &again, &f->err), &f->err);
    assert_memory_equal(&again, &stamp, sizeof(again));
}

struct seen_stamps {
    struct fsp_shelf_stamp items[4];
    size_t n;
};

static enum fsp_rc
see_stamp(void *ctx, const struct fsp_shelf_stamp *stamp, struct fsp_err *err)
{
    struct seen_stamps *seen = ctx;

    (void)err;
    assert_true(seen->n < 4);
    seen->items[seen->n++] = *stamp;
    return FSP_OK;
}

static void
stamps_of_every_rig_come_by_name(struct fixture *f)
{
    struct seen_stamps seen = {.n = 0};
    struct fsp_shelf_stamp one;
    uint8_t mark[FSP_MARK_LEN];
    struct fsp_shelf_log log = enrolled(f, "plover", FLEET "/plover/a1", 1);

    append(f, log.id, 2);
    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    mark_of(mark, 9);
    assert_ok(f->ops->invite(f->shelf->ctx, "dunlin", mark, START_S, &f->err), &f->err);
    assert_ok(f->ops->commit(f->shelf->ctx, &f->err), &f->err);
    assert_ok(f->ops->stamps(f->shelf->ctx, see_stamp, &seen, &f->err), &f->err);
    assert_int_equal(seen.n, 2);
    assert_string_equal(seen.items[0].rig, "dunlin"); /* invited alone: there, and empty */
    assert_int_equal(seen.items[0].logs, 0);
    assert_ok(f->ops->stamp(f->shelf->ctx, "plover", &one, &f->err), &f->err);
    assert_memory_equal(&seen.items[1], &one, sizeof(one));
}

static void
what_others_commit_changes_the_version(struct fixture *f)
{
    struct fsp_shelf_log log = enrolled(f, "heron", FLEET "/heron/a1", 1);
    struct fsp_shelf *reader = NULL;
    uint64_t before = 0;
    uint64_t after = 0;

    assert_ok(fsp_shelf_open(f->ops, f->folder, FSP_SHELF_READ, &reader, &f->err), &f->err);
    assert_ok(f->ops->version_now(reader->ctx, &before, &f->err), &f->err);
    assert_ok(f->ops->version_now(reader->ctx, &after, &f->err), &f->err);
    assert_int_equal(before, after);
    append(f, log.id, 1);
    assert_ok(f->ops->version_now(reader->ctx, &after, &f->err), &f->err);
    assert_int_not_equal(before, after);
    fsp_shelf_close(reader);
}

static void
what_a_fold_left_is_not_kept_while_somebody_writes(struct fixture *f)
{
    struct fsp_shelf *reader = NULL;

    assert_ok(fsp_shelf_open(f->ops, f->folder, FSP_SHELF_READ, &reader, &f->err), &f->err);
    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    assert_false(f->ops->keep_fold(reader->ctx, "heron", NULL));
    f->ops->rollback(f->shelf->ctx);
    assert_true(f->ops->keep_fold(reader->ctx, "heron", NULL));
    fsp_shelf_close(reader);
}

static void /* NOLINTNEXTLINE(readability-function-cognitive-complexity): steps; assert_ok counts */
a_moment_can_be_come_back_to(struct fixture *f)
{
    struct fsp_shelf_log log = enrolled(f, "heron", FLEET "/heron/a1", 1);
    struct fsp_entry_bytes entry = {.bytes = (const uint8_t *)"entry", .len = 5};
    struct fsp_range range;

    assert_ok(f->ops->begin(f->shelf->ctx, true, &f->err), &f->err);
    for (int i = 0; i < 3; i++) { /* the second is undone */
        assert_ok(f->ops->save(f->shelf->ctx, &f->err), &f->err);
        assert_ok(f->ops->tip(f->shelf->ctx, log.id, &range, &f->err), &f->err);
        assert_int_equal(range.size, i == 2 ? 1 : i);
        assert_ok(f->ops->append(f->shelf->ctx, log.id, &range, &entry, 1, &f->err), &f->err);
        if (i == 1)
            assert_ok(f->ops->undo(f->shelf->ctx, &f->err), &f->err);
        assert_ok(f->ops->unsave(f->shelf->ctx, &f->err), &f->err);
    }
    assert_ok(f->ops->commit(f->shelf->ctx, &f->err), &f->err);
    assert_ok(f->ops->tip(f->shelf->ctx, log.id, &range, &f->err), &f->err);
    assert_int_equal(range.size, 2);
    assert_int_not_equal(f->ops->undo(f->shelf->ctx, &f->err), FSP_OK); /* there is none */
}

static void
everything_is_there_after_reopening(struct fixture *f)
{
    struct fsp_shelf_log log = enrolled(f, "heron", FLEET "/heron/a1", 1);
    struct fsp_range range;

    append(f, log.id, 8);
    assert_ok(fsp_shelf_reopen(f->shelf, &f->err), &f->err);
    assert_ok(f->ops->tip(f->shelf->ctx, log.id, &range, &f->err), &f->err);
    assert_int_equal(range.size, 8);
    assert_ok(f->ops->check(f->shelf->ctx, &f->err), &f->err);
    assert_ok(f->ops->tidy(f->shelf->ctx, false, &f->err), &f->err);
    assert_ok(f->ops->tidy(f->shelf->ctx, true, &f->err), &f->err);
    assert_false(f->ops->broken(f->shelf->ctx));
}

static void
a_store_is_made_once(struct fixture *f)
{
    struct fsp_shelf *second = NULL;

    assert_int_equal(
            fsp_shelf_open(f->ops, f->folder, FSP_SHELF_CREATE, &second, &f->err), FSP_EINVAL);
    assert_null(second);
}

static void
a_reader_sees_one_state_until_it_ends(struct fixture *f)
{
    struct fsp_shelf_log log = enrolled(f, "heron", FLEET "/heron/a1", 1);
    struct fsp_range range;
    struct fsp_shelf *reader = NULL;

    append(f, log.id, 6);
    assert_ok(fsp_shelf_open(f->ops, f->folder, FSP_SHELF_READ, &reader, &f->err), &f->err);
    assert_ok(reader->ops->begin(reader->ctx, false, &f->err), &f->err);
    assert_ok(reader->ops->tip(reader->ctx, log.id, &range, &f->err), &f->err);
    assert_int_equal(range.size, 6);
    append(f, log.id, 2); /* a reader's transaction sees none of it */
    assert_ok(reader->ops->tip(reader->ctx, log.id, &range, &f->err), &f->err);
    assert_int_equal(range.size, 6);
    reader->ops->rollback(reader->ctx);
    assert_ok(reader->ops->tip(reader->ctx, log.id, &range, &f->err), &f->err);
    assert_int_equal(range.size, 8);
    fsp_shelf_close(reader);
}

static void
a_folder_without_a_store_is_not_found(struct fixture *f)
{
    char folder[64] = "/tmp/fsp-empty-XXXXXX";
    struct fsp_shelf *shelf = NULL;

    assert_non_null(mkdtemp(folder));
    assert_int_equal(
            fsp_shelf_open(f->ops, folder, FSP_SHELF_WRITE, &shelf, &f->err), FSP_ENOTFOUND);
    assert_int_equal(
            fsp_shelf_open(f->ops, folder, FSP_SHELF_READ, &shelf, &f->err), FSP_ENOTFOUND);
    assert_null(shelf);
    remove_folder(folder);
}

static void
a_backend_of_another_version_is_refused(struct fixture *f)
{
    struct fsp_shelf_ops ops = *f->ops;
    struct fsp_shelf *shelf = NULL;

    ops.version = FSP_SHELF_VERSION + 1;
    assert_int_equal(
            fsp_shelf_open(&ops, f->folder, FSP_SHELF_WRITE, &shelf, &f->err), FSP_EINVAL);
    fsp_shelf_close(NULL);
}

static void
the_contract_holds_for_every_backend(void **state)
{
    void (*const tests[])(struct fixture *) = {
            the_fleet_is_named_once,
            rigs_come_by_name_and_once,
            an_invitation_key_and_origin_enrol_once,
            logs_are_found_and_listed_in_order_of_enrolment,
            entries_come_back_as_they_were,
            heads_are_found_by_what_they_cover,
            what_is_rolled_back_was_never_there,
            forks_are_kept_once_and_whole,
            the_logs_of_one_rig_are_listed_alone,
            a_stamp_differs_when_anything_of_the_rig_does,
            stamps_of_every_rig_come_by_name,
            what_others_commit_changes_the_version,
            what_a_fold_left_is_not_kept_while_somebody_writes,
            a_moment_can_be_come_back_to,
            everything_is_there_after_reopening,
            a_store_is_made_once,
            a_reader_sees_one_state_until_it_ends,
            a_folder_without_a_store_is_not_found,
            a_backend_of_another_version_is_refused,
    };

    (void)state;
    for (size_t b = 0; b < sizeof(backends) / sizeof(backends[0]); b++)
        for (size_t t = 0; t < sizeof(tests) / sizeof(tests[0]); t++) {
            struct fixture f;

            start(&f, backends[b]);
            tests[t](&f);
            stop(&f);
        }
}

/* Change one byte of the stored entry in the file itself, as a rotten disk would. */
static void
spoil(const char *folder, const char *needle)
{
    char path[128];
    char *bytes = malloc(1 << 20);
    FILE *file;
    size_t len;
    size_t at = 0;

    assert_non_null(bytes);
    (void)snprintf(path, sizeof(path), "%s/shelf.db", folder);
    file = fopen(path, "r+b");
    assert_non_null(file);
    len = fread(bytes, 1, 1 << 20, file);
    while (at + strlen(needle) < len && memcmp(bytes + at, needle, strlen(needle)) != 0)
        at++;
    assert_true(at + strlen(needle) < len);
    assert_int_equal(fseek(file, (long)at + 2, SEEK_SET), 0);
    assert_int_equal(fputc('X', file), 'X');
    assert_int_equal(fclose(file), 0);
    free(bytes);
}

static void
check_finds_a_changed_byte(void **state)
{
    static const char needle[] = "entry-to-be-changed";
    struct office office;
    struct rig rig;
    struct fsp_check_report report;
    struct fsp_err err = {0};

    (void)state;
    office_start(&office);
    rig_start(&rig, &office, "heron", "a1");
    rig_add(&rig, "{\"first\":1}");
    rig_add(&rig, needle);
    assert_int_equal(rig_send(&rig, &office, (const uint64_t[2]){0, 2}, true, NULL), 200);
    fsp_check_report_init(&report);
    assert_ok(fsp_check_store(office.shelf, &office.keys, &report, &err), &err);
    assert_int_equal(report.problems, 0);
    assert_int_equal(report.entries, 2);
    fsp_check_report_fini(&report);

    assert_ok(office.shelf->ops->tidy(office.shelf->ctx, true, &err), &err);
    fsp_intake_free(office.intake);
    office.intake = NULL;
    fsp_shelf_close(office.shelf);
    spoil(office.folder, needle);
    assert_ok(fsp_shelf_open(
                      &fsp_shelf_sqlite, office.folder, FSP_SHELF_WRITE, &office.shelf, &err),
            &err);
    fsp_check_report_init(&report);
    assert_ok(fsp_check_store(office.shelf, &office.keys, &report, &err), &err);
    assert_int_equal(report.problems, 1);
    assert_non_null(strstr(fsp_buf_peek(&report.text), rig.origin));
    fsp_check_report_fini(&report);
    /* and a shelf that does not verify stays closed */
    assert_int_not_equal(fsp_shelf_reopen(office.shelf, &err), FSP_OK);
    assert_null(office.shelf->ctx);
    rig_stop(&rig);
    office_stop(&office);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(the_contract_holds_for_every_backend),
            cmocka_unit_test(check_finds_a_changed_byte),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
