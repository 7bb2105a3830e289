#include "office/check.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "base/text.h"
#include "office/chain.h"
#include "office/desk.h"
#include "proof/note.h"
#include "record/check.h"

#define REPORT_MAX ((size_t)4 * 1024 * 1024)

void
fsp_check_report_init(struct fsp_check_report *report)
{
    memset(report, 0, sizeof(*report));
    fsp_buf_init(&report->text, REPORT_MAX);
}

void
fsp_check_report_fini(struct fsp_check_report *report)
{
    free(report->logs);
    report->logs = NULL;
    fsp_buf_fini(&report->text);
}

static void
problem(struct fsp_check_report *report, const char *where, const char *what)
{
    report->problems++;
    fsp_text_show(&report->text, where, strlen(where));
    fsp_buf_add_text(&report->text, ": ");
    fsp_text_show(&report->text, what, strlen(what));
    fsp_buf_add_byte(&report->text, '\n');
}

/* What stops the check, as against what it finds. */
static bool
stops(enum fsp_rc rc)
{
    return rc == FSP_ENOMEM || rc == FSP_EBUSY;
}

/* By today's key or one before it; and by none of them badly. */
static enum fsp_rc
is_cosigned(
        const struct fsp_note *note, const struct fsp_office_keys *keys, struct fsp_err *err)
{
    enum fsp_rc rc = fsp_note_verify(note, fsp_skey_vkey(keys->cosigner), NULL, err);
    bool found = rc == FSP_OK;

    for (size_t i = 0; (rc == FSP_OK || rc == FSP_ENOTFOUND) && i < keys->n_cosigner_before;
            i++) {
        rc = fsp_note_verify(note, fsp_skey_vkey(keys->cosigner_before[i]), NULL, err);
        found = found || rc == FSP_OK;
    }
    return rc == FSP_ENOTFOUND && found ? FSP_OK : rc;
}

static enum fsp_rc
judge_head(const struct fsp_check_log *log, const struct fsp_office_keys *keys,
        const struct fsp_range *range, const struct fsp_buf *bytes, struct fsp_err *err)
{
    struct fsp_note *note = calloc(1, sizeof(*note));
    struct fsp_checkpoint head;
    struct fsp_vkey vkey;
    uint8_t root[FSP_HASH_LEN];
    enum fsp_rc rc;

    if (note == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = fsp_vkey_make(&vkey, log->log.origin, FSP_KEY_NOTE, log->log.pub, err);
    if (rc == FSP_OK)
        rc = fsp_note_parse(note, bytes->data, bytes->len, err);
    if (rc == FSP_OK)
        rc = fsp_checkpoint_parse(&head, note->text, note->text_len, err);
    if (rc == FSP_OK) {
        fsp_range_root(range, root);
        if (strcmp(head.origin, log->log.origin) != 0 || head.size != range->size ||
                memcmp(head.root, root, sizeof(root)) != 0)
            rc = fsp_err_set(err, FSP_EVERIFY, "it says something else than its range");
    }
    if (rc == FSP_OK)
        rc = fsp_note_verify(note, &vkey, NULL, err);
    if (rc == FSP_OK)
        rc = is_cosigned(note, keys, err);
    free(note);
    return rc;
}

/* Every head from the newest down. */
static enum fsp_rc
check_heads(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        struct fsp_check_log *log, struct fsp_check_report *report, struct fsp_err *err)
{
    uint64_t below = UINT64_MAX;
    struct fsp_buf note;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&note, FSP_NOTE_MAX);
    for (;;) {
        struct fsp_range range;

        rc = shelf->ops->head_below(shelf->ctx, log->log.id, below, &range, &note, err);
        if (rc != FSP_OK)
            break;
        log->heads++;
        rc = judge_head(log, keys, &range, &note, err);
        if (stops(rc))
            break;
        if (rc != FSP_OK) {
            (void)fsp_err_wrap(err, rc, "head of %llu", (unsigned long long)range.size);
            problem(report, log->log.origin, err->text);
        }
        if (range.size == 0) {
            rc = FSP_ENOTFOUND;
            break;
        }
        below = range.size - 1;
    }
    fsp_buf_fini(&note);
    if (rc == FSP_ENOTFOUND && log->heads == 0 && log->size > 0)
        problem(report, log->log.origin, "it holds entries that no head covers");
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static enum fsp_rc
try_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct fsp_check_log *log = ctx;
    struct fsp_record *record = NULL;
    enum fsp_rc rc = fsp_check_stored(bytes, len, &record, NULL);

    (void)index;
    fsp_record_free(record);
    if (rc == FSP_ENOMEM)
        return fsp_err_set(err, rc, "out of memory");
    if (rc != FSP_OK)
        log->unreadable++;
    return FSP_OK;
}

static enum fsp_rc
check_log(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        struct fsp_check_log *log, struct fsp_check_report *report, struct fsp_err *err)
{
    struct fsp_range tip;
    struct fsp_range newest;
    struct fsp_buf note;
    uint64_t within[2] = {0, 0};
    enum fsp_rc rc = shelf->ops->verify(shelf->ctx, log->log.id, &within[1], err);

    if (stops(rc))
        return rc;
    if (rc != FSP_OK)
        problem(report, log->log.origin, err->text);
    rc = shelf->ops->tip(shelf->ctx, log->log.id, &tip, err);
    if (rc != FSP_OK) {
        problem(report, log->log.origin, err->text);
        return stops(rc) ? rc : FSP_OK;
    }
    log->size = tip.size;
    fsp_range_root(&tip, log->root);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    rc = shelf->ops->head_below(shelf->ctx, log->log.id, UINT64_MAX, &newest, &note, err);
    fsp_buf_fini(&note);
    if (rc == FSP_OK && newest.size != tip.size)
        problem(report, log->log.origin, "the newest cosigned head does not cover all entries");
    rc = check_heads(shelf, keys, log, report, err);
    within[1] = tip.size;
    if (rc == FSP_OK && tip.size > 0) {
        rc = shelf->ops->scan(shelf->ctx, log->log.id, within, try_entry, log, err);
        if (rc != FSP_OK && !stops(rc)) {
            problem(report, log->log.origin, err->text);
            rc = FSP_OK;
        }
    }
    return rc;
}

static enum fsp_rc
count_forks(struct fsp_shelf *shelf, struct fsp_check_report *report, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    struct fsp_buf store;

    fsp_buf_init(&store, 2 * FSP_NOTE_MAX + FSP_ENTRY_MAX);
    for (;;) {
        struct fsp_shelf_fork fork;

        rc = shelf->ops->fork_at(shelf->ctx, report->forks, &fork, &store, err);
        if (rc != FSP_OK)
            break;
        report->forks++;
    }
    fsp_buf_fini(&store);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static enum fsp_rc
check_logs(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        struct fsp_check_report *report, struct fsp_err *err)
{
    struct fsp_shelf_log log = {0};
    enum fsp_rc rc;

    for (;;) {
        struct fsp_check_log *logs;

        rc = shelf->ops->next_log(shelf->ctx, log.id, &log, err);
        if (rc != FSP_OK)
            return rc == FSP_ENOTFOUND ? FSP_OK : rc;
        logs = realloc(report->logs, (report->n_logs + 1) * sizeof(*logs));
        if (logs == NULL)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        report->logs = logs;
        logs = &logs[report->n_logs++];
        memset(logs, 0, sizeof(*logs));
        logs->log = log;
        rc = check_log(shelf, keys, logs, report, err);
        if (rc != FSP_OK)
            return rc;
        report->entries += logs->size;
        report->heads += logs->heads;
    }
}

/* --- stored states ------------------------------------------------------------------------- */

static enum fsp_rc
check_states(struct fsp_shelf *shelf, const struct fsp_office_keys *keys, const char *fleet,
        const char *rig, struct fsp_fold_checked *checked, struct fsp_err *err)
{
    struct fsp_fold_about about = {.fleet = fleet,
            .rig = rig,
            .keys = keys->instructions_ever,
            .n_keys = keys->n_instructions_ever};
    struct fsp_chain_log *chain = NULL;
    struct fsp_fold_log *logs = NULL;
    struct fsp_fold_store store;
    size_t n = 0;
    enum fsp_rc rc = fsp_chain_load(shelf, rig, &chain, &n, err);

    logs = rc == FSP_OK ? fsp_mem_array(n, sizeof(*logs)) : NULL;
    if (rc == FSP_OK && logs == NULL)
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
    for (size_t i = 0; rc == FSP_OK && logs != NULL && i < n; i++) {
        struct fsp_range range;

        rc = shelf->ops->tip(shelf->ctx, chain[i].log.id, &range, err);
        logs[i] = (struct fsp_fold_log){chain[i].log.id, range.size};
    }
    about.logs = logs;
    about.n_logs = n;
    shelf->ops->fold_store(shelf->ctx, rig, &store);
    if (rc == FSP_OK)
        rc = fsp_fold_check(&store, &about, checked, err);
    free(logs);
    free(chain);
    return rc;
}

/* Each rig in a read transaction of its own; what does not hold is thrown away after it. */
static enum fsp_rc
check_rigs(struct fsp_shelf *shelf, const struct fsp_office_keys *keys, const char *fleet,
        struct fsp_check_report *report, struct fsp_err *err)
{
    char rig[FSP_NAME_MAX + 1] = "";
    enum fsp_rc rc = FSP_OK;

    while (rc == FSP_OK) {
        struct fsp_fold_checked checked = {.states = 0};

        rc = shelf->ops->begin(shelf->ctx, false, err);
        if (rc != FSP_OK)
            return rc;
        rc = shelf->ops->next_rig(shelf->ctx, rig, rig, err);
        if (rc == FSP_OK)
            rc = check_states(shelf, keys, fleet, rig, &checked, err);
        shelf->ops->rollback(shelf->ctx);
        report->states.states += checked.states;
        report->states.damaged += checked.damaged;
        report->states.differ += checked.differ;
        if (checked.differ > 0)
            problem(report, rig,
                    "a stored state of its account gave another result than all entries do; it "
                    "was thrown away, look at the account again");
        if (checked.damaged + checked.differ > 0)
            shelf->ops->keep_fold(shelf->ctx, rig, NULL);
    }
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    return rc;
}

/* What people said is kept apart, and checked beside. */
static enum fsp_rc
check_desk(const char *store, struct fsp_check_report *report, struct fsp_err *err)
{
    struct fsp_desk *desk = NULL;
    enum fsp_rc rc = fsp_desk_open(store, false, &desk, err);

    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        return FSP_OK;
    }
    report->desk = true;
    if (rc == FSP_OK)
        rc = fsp_db_check(fsp_desk_db(desk), err);
    fsp_desk_close(desk);
    if (rc != FSP_OK && !stops(rc)) {
        problem(report, "desk.db", err->text);
        rc = FSP_OK;
    }
    return rc;
}

enum fsp_rc
fsp_check_store(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        struct fsp_check_report *report, struct fsp_err *err)
{
    char fleet[FSP_NAME_MAX + 1];
    enum fsp_rc rc = shelf->ops->begin(shelf->ctx, false, err);

    if (rc != FSP_OK)
        return rc;
    rc = shelf->ops->check(shelf->ctx, err);
    if (rc != FSP_OK && !stops(rc)) {
        problem(report, shelf->store, err->text);
        rc = FSP_OK;
    }
    if (rc == FSP_OK)
        rc = shelf->ops->fleet(shelf->ctx, fleet, err);
    if (rc == FSP_OK &&
            (strncmp(fsp_skey_vkey(keys->cosigner)->name, fleet, strlen(fleet)) != 0 ||
                    strcmp(fsp_skey_vkey(keys->cosigner)->name + strlen(fleet), "/office") !=
                            0))
        problem(report, "keys/office.key", "it is another fleet's key");
    if (rc == FSP_OK)
        rc = check_logs(shelf, keys, report, err);
    if (rc == FSP_OK)
        rc = count_forks(shelf, report, err);
    shelf->ops->rollback(shelf->ctx);
    if (rc == FSP_OK)
        rc = check_desk(shelf->store, report, err);
    if (rc == FSP_OK && report->problems == 0 && !report->leave_states)
        rc = check_rigs(shelf, keys, fleet, report, err);
    return rc == FSP_OK ? fsp_buf_check(&report->text, "the report", err) : rc;
}
