#include "fault/crash.h"

#include "support/test.h"

#include <malloc.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "proof/key.h"

bool
crash_long(void)
{
    const char *wish = getenv("FSP_LONG"); // NOLINT(concurrency-mt-unsafe): test only

    return wish != NULL && strcmp(wish, "1") == 0;
}

size_t
crash_action(const struct crash *crash, size_t at)
{
    size_t action = 0;

    while (action < script_actions() && crash->done[action] <= at)
        action++;
    return action;
}

/* ---- recording ---------------------------------------------------------------------------------- */

/* The model's disk, everything kept, is the real one: what lies in `real` lies in `model`. */
static void
same_files(const char *real, const char *model, const char *name)
{
    uint8_t *bytes[2] = {NULL, NULL};
    size_t len[2] = {0, 0};
    char path[2][512];
    struct fsp_err err;

    (void)snprintf(path[0], sizeof(path[0]), "%s/%s", real, name);
    (void)snprintf(path[1], sizeof(path[1]), "%s/%s", model, name);
    for (size_t i = 0; i < 2; i++)
        assert_ok(fsp_file_read(path[i], (size_t)8 * 1024 * 1024, &bytes[i], &len[i], &err),
                &err);
    if (len[0] != len[1] || memcmp(bytes[0], bytes[1], len[0]) != 0)
        fail_msg("%s: the recorder missed something", name);
    free(bytes[0]);
    free(bytes[1]);
}

static void
observe(struct crash *crash, size_t action)
{
    struct crashvfs_cut cut = {
            .at = crash->done[action], .unsync = CRASHVFS_NONE, .way = CRASHVFS_KEEP};
    struct script script;
    char wrong[600];
    char path[128];

    (void)snprintf(path, sizeof(path), "%s/seen", crash->folder);
    crashvfs_build(&cut, path);
    if (action == script_actions() - 1) {
        same_files(crash->script.root, path, "heron/journal.db");
        same_files(crash->script.root, path, "egret/journal.db");
        same_files(crash->script.root, path, "office/shelf.db");
        same_files(crash->script.root, path, "office/shelf.db-wal");
        same_files(crash->script.root, path, "heron/signed-size");
        same_files(crash->script.root, path, "heron/inbox/taken/march.csv");
    }
    script_init(&script, path);
    script.now_us = crash->script.now_us;
    script_see(&script, SCRIPT_ALL, &crash->seen[action], wrong, sizeof(wrong));
    if (wrong[0] != '\0')
        fail_msg("undisturbed, after '%s': %s", script_name(action), wrong);
    script_fini(&script);
}

/* Both ends hold the same logs: the script would show too little otherwise. */
static void
compare_ends(const struct script_seen *seen)
{
    const struct script_store *office = &seen->store[SCRIPT_OFFICE];
    size_t logs = 0;

    for (size_t rig = SCRIPT_HERON; rig <= SCRIPT_EGRET; rig++)
        for (size_t i = 0; i < seen->store[rig].n_logs; i++, logs++) {
            const struct script_log *log = &seen->store[rig].log[i];
            size_t k = 0;

            while (k < office->n_logs && strcmp(office->log[k].origin, log->origin) != 0)
                k++;
            assert_true(k < office->n_logs);
            assert_int_equal(office->log[k].size, log->size);
            assert_memory_equal(office->log[k].root, log->root, FSP_HASH_LEN);
        }
    assert_int_equal(logs, 3);
    assert_int_equal(office->n_logs, 3);
    assert_int_equal(office->instructions, 1);
}

void
crash_record(struct crash *crash)
{
    struct fsp_err err = {.rc = FSP_OK};
    char root[128];

    /* Thousands of stores are opened and closed: memory is not given back in between. */
    (void)mallopt(M_MMAP_MAX, 0); // NOLINT(concurrency-mt-unsafe): one thread
    /* NOLINTNEXTLINE(concurrency-mt-unsafe) */
    (void)mallopt(M_TRIM_THRESHOLD, 256 * 1024 * 1024);
    memset(crash, 0, sizeof(*crash));
    crash->places = SCRIPT_ALL;
    assert_ok(fsp_proof_init(&err), &err);
    (void)snprintf(crash->folder, sizeof(crash->folder), "/tmp/fsp-crash-XXXXXX");
    assert_non_null(mkdtemp(crash->folder));
    (void)snprintf(root, sizeof(root), "%s/live", crash->folder);
    assert_int_equal(mkdir(root, 0700), 0);
    script_init(&crash->script, root);
    crashvfs_begin(root);
    for (size_t i = 0; i < script_actions(); i++) {
        enum fsp_rc rc = script_run(&crash->script, i, &err);

        if (rc != FSP_OK)
            fail_msg("undisturbed, '%s': %s", script_name(i), err.text);
        crash->done[i] = crashvfs_events();
    }
    crashvfs_end();
    for (size_t i = 0; i < script_actions(); i++)
        observe(crash, i);
    compare_ends(&crash->seen[script_actions() - 1]);
}

void
crash_end(struct crash *crash)
{
    script_fini(&crash->script);
    if (crash->folder[0] != '\0')
        crashvfs_remove(crash->folder);
}

/* ---- what must hold ------------------------------------------------------------------------------ */

static const struct script_log *
find(const struct script_store *store, const char *origin)
{
    for (size_t i = 0; i < store->n_logs; i++)
        if (strcmp(store->log[i].origin, origin) == 0)
            return &store->log[i];
    return NULL;
}

/* Bundles on their way; a receipt that may have been taken ends the wait for them. */
static uint64_t
sent_least(const struct script_log *least, const struct script_store *most)
{
    const struct script_log *later = find(most, least->origin);

    return later != NULL && later->sent < least->sent ? later->sent : least->sent;
}

/* Everything acknowledged is there (least), nothing is there that was never entered (most). */
static bool
store_holds(const struct script_store *is, const struct script_store *least,
        const struct script_store *most, char *wrong, size_t size)
{
    for (size_t i = 0; i < least->n_logs; i++) {
        const struct script_log *log = find(is, least->log[i].origin);

        if (log == NULL || log->size < least->log[i].size) {
            (void)snprintf(wrong, size, "%.100s: %d entries, %d were acknowledged",
                    least->log[i].origin, log == NULL ? -1 : (int)log->size,
                    (int)least->log[i].size);
            return false;
        }
        if (log->held < least->log[i].held || log->sent < sent_least(&least->log[i], most)) {
            (void)snprintf(wrong, size, "%.100s: a receipt, or what was sent, is forgotten",
                    log->origin);
            return false;
        }
    }
    for (size_t i = 0; i < is->n_logs; i++) {
        const struct script_log *log = find(most, is->log[i].origin);

        if (log == NULL || log->size < is->log[i].size ||
                memcmp(log->leaf, is->log[i].leaf, (size_t)is->log[i].size * FSP_HASH_LEN) !=
                        0) {
            (void)snprintf(wrong, size, "%.100s holds what was not entered, or twice",
                    is->log[i].origin);
            return false;
        }
    }
    if (is->instructions < least->instructions || is->instructions > most->instructions ||
            (least->invited[0] && !is->invited[0]) || (least->invited[1] && !is->invited[1])) {
        (void)snprintf(wrong, size, "an instruction or an invitation is lost");
        return false;
    }
    return true;
}

/* What left before the power went: the rig must know each head, the office hold what it answered for. */
static bool
mail_holds(const struct crash *crash, const struct script_seen *seen, unsigned places,
        size_t acked, char *wrong, size_t size)
{
    for (size_t i = 0; i < acked; i++) {
        const struct script_mail *mail = &crash->script.mail[i];

        if ((places >> script_place(i) & 1u) == 0)
            continue;
        for (size_t k = 0; k < mail->n; k++) {
            const struct script_head *head = &mail->piece[k].head;
            const struct script_log *log = find(&seen->store[script_place(i)], head->origin);

            if (log == NULL || log->size < head->size) {
                (void)snprintf(wrong, size, "what left in '%s' is not there: %d of %d entries",
                        script_name(i), log == NULL ? -1 : (int)log->size, (int)head->size);
                return false;
            }
            if (script_place(i) != SCRIPT_OFFICE && log->signed_size < head->size) {
                (void)snprintf(wrong, size,
                        "a signature over %d entries left in '%s', the size file says %d",
                        (int)head->size, script_name(i), (int)log->signed_size);
                return false;
            }
        }
    }
    return true;
}

static bool
all_holds(const struct crash *crash, const struct script_seen *seen, unsigned places,
        size_t acked, char *wrong, size_t size)
{
    static const struct script_seen nothing;
    const struct script_seen *least = acked == 0 ? &nothing : &crash->seen[acked - 1];
    size_t last = script_actions() - 1;
    const struct script_seen *most = &crash->seen[acked < last ? acked : last];

    for (size_t i = 0; i < 1 + SCRIPT_RIGS; i++) {
        const struct script_store *is = &seen->store[i];

        if ((places >> i & 1u) == 0)
            continue;
        if (least->store[i].there && !is->there) {
            (void)snprintf(wrong, size, "a store is gone");
            return false;
        }
        if (!store_holds(is, &least->store[i], &most->store[i], wrong, size))
            return false;
        if (acked <= last && script_is_whole(acked) && is->entries != least->store[i].entries &&
                is->entries != most->store[i].entries) {
            (void)snprintf(wrong, size, "half of '%s' is there", script_name(acked));
            return false;
        }
    }
    return mail_holds(crash, seen, places, acked, wrong, size);
}

static bool
is_same(const struct script_seen *is, const struct script_seen *want, unsigned places)
{
    for (size_t i = 0; i < 1 + SCRIPT_RIGS; i++) {
        const struct script_store *a = &is->store[i];
        const struct script_store *b = &want->store[i];

        if ((places >> i & 1u) == 0)
            continue;
        if (a->there != b->there || a->n_logs != b->n_logs || a->entries != b->entries ||
                a->instructions != b->instructions)
            return false;
        for (size_t k = 0; k < a->n_logs; k++) {
            const struct script_log *log = find(b, a->log[k].origin);

            if (log == NULL || memcmp(log->root, a->log[k].root, FSP_HASH_LEN) != 0)
                return false;
        }
    }
    return true;
}

/* Within an action only its own store changes: the others are as they were at the end of the one
 * before, which is a moment of its own. */
static unsigned
places_of(const struct crash *crash, const struct crashvfs_cut *cut, size_t acked, size_t to)
{
    bool at_end = acked == script_actions() || acked < to ||
                  (acked > 0 && crash->done[acked - 1] == cut->at);

    return at_end || crash_long() ? SCRIPT_ALL : 1u << script_place(acked);
}

bool
crash_goes_on(struct crash *crash, struct script *script, size_t acked, size_t to, char *wrong,
        size_t size)
{
    unsigned places = crash->places;
    struct fsp_err err = {.rc = FSP_OK};
    struct script_seen seen;
    bool holds;

    script_see(script, places, &seen, wrong, size);
    holds = wrong[0] == '\0' && all_holds(crash, &seen, places, acked, wrong, size);
    for (size_t i = acked; holds && i <= to; i++) {
        holds = script_run(script, i, &err) == FSP_OK;
        if (!holds)
            (void)snprintf(wrong, size, "going on with '%s': %.300s", script_name(i), err.text);
    }
    if (holds && acked <= to) {
        script_see(script, places, &seen, wrong, size);
        holds = wrong[0] == '\0' && is_same(&seen, &crash->seen[to], places);
        if (!holds && wrong[0] == '\0')
            (void)snprintf(wrong, size, "after '%s' the content is not the undisturbed run's",
                    script_name(to));
    }
    return holds;
}

void
crash_restore(struct crash *crash, const struct crashvfs_cut *cut, struct script *script)
{
    char path[128];

    (void)snprintf(path, sizeof(path), "%s/cut", crash->folder);
    crashvfs_build(cut, path);
    script_init(script, path);
    script->now_us = crash->script.now_us;
    script_copy_mail(script, &crash->script, crash_action(crash, cut->at));
}

bool
crash_holds(struct crash *crash, const struct crashvfs_cut *cut, size_t to, char *wrong,
        size_t size)
{
    size_t acked = crash_action(crash, cut->at);
    struct script script;
    bool holds;

    crash->cuts++;
    crash_restore(crash, cut, &script);
    crash->places = places_of(crash, cut, acked, to);
    holds = crash_goes_on(crash, &script, acked, to, wrong, size);
    script_fini(&script);
    return holds;
}
