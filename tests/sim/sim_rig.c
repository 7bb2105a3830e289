#include "sim/sim.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "proof/tree.h"
#include "record/check.h"
#include "rig/head.h"
#include "rig/pack.h"
#include "rig/receipt.h"
#include "store/logtable.h"

#define SHEET_MOST 6

/* ---- the store ------------------------------------------------------------------------------ */

void
sim_rig_open(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    struct fsp_err err = {.rc = FSP_OK};

    sim_must(sim,
            fsp_journal_open(
                    rig->folder, FSP_JOURNAL_WRITE, &rig->side.env, &rig->journal, &err),
            &err, "open the rig's store");
}

static void
shut(struct sim_rig *rig)
{
    fsp_push_free(rig->push);
    fsp_journal_close(rig->journal);
    rig->push = NULL;
    rig->journal = NULL;
    rig->connected = false;
}

static void
begin_side(struct sim *sim, size_t which)
{
    struct sim_rig *rig = &sim->rigs[which];

    rig->sim = sim;
    rig->which = which;
    rig->there = true;
    rig->round_us = INT64_MAX;
    rig->carrier = (struct fsp_carrier){.post = sim_post, .ctx = rig};
    (void)snprintf(rig->folder, sizeof(rig->folder), "%s/rig%zu", sim->folder, which);
    sim_side_init(&rig->side, sim, (sim->seed * 5 + which) ^ 0x1216);
}

void
sim_rig_start(struct sim *sim, size_t which)
{
    struct sim_rig *rig = &sim->rigs[which];
    struct fsp_err err = {.rc = FSP_OK};

    begin_side(sim, which);
    sim_must(sim, fsp_journal_create(rig->folder, &sim->invitation, &rig->side.env, &err), &err,
            "init");
    sim_rig_open(rig);
    (void)snprintf(
            sim->origin, sizeof(sim->origin), "%s", fsp_journal_about(rig->journal)->origin);
    /* How this rig is run. */
    rig->by_hand = sim_hit(&sim->random, 250);
    rig->plan = (struct fsp_sync_plan){.enough = (uint64_t)sim_within(&sim->random, 1, 20),
            .old_us = sim_within(&sim->random, 0, 1800) * SIM_S};
    if (sim_hit(&sim->random, 500))
        rig->plan.poll_us = sim_within(&sim->random, 1, 24) * SIM_HOUR;
    if (sim_hit(&sim->random, 300))
        rig->budget = (struct fsp_budget){
                .day_bytes = (uint64_t)sim_within(&sim->random, 20000, 100000),
                .reserve_percent = (unsigned)sim_within(&sim->random, 0, 60)};
}

void
sim_rig_stop(struct sim_rig *rig)
{
    shut(rig);
    for (size_t i = 0; i < SIM_ANSWERS; i++) {
        free(rig->answers[i].bytes);
        rig->answers[i].bytes = NULL;
    }
    sim_snapshot_free(&rig->snapshot);
}

void
sim_rig_reboot(struct sim_rig *rig)
{
    sim_say(rig->sim, "rig%zu: reboot", rig->which);
    shut(rig);
    sim_rig_open(rig);
    rig->kill = false;
    rig->tries = 0; /* a new process begins its backoff anew */
    sim_rig_want(rig, rig->sim->now_us + SIM_S);
}

void
sim_rig_restore(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    struct fsp_journal_progress progress;
    bool alone = sim_hit(&sim->random, 300);

    if (!rig->snapshot.taken)
        return;
    shut(rig);
    /* The database alone: signed-size stays and tells at once. */
    sim_snapshot_put(sim, &rig->snapshot, rig->folder, alone ? "journal.db" : NULL);
    sim_say(sim, "rig%zu: RESTORED from %" PRIu64 " to %" PRIu64 "%s", rig->which, rig->n,
            rig->snapshot.size, alone ? " (the database alone)" : "");
    rig->n = rig->snapshot.size;
    sim_rig_open(rig);
    sim_progress(rig, &progress);
    rig->acked = progress.held;
    sim_rig_want(rig, sim->now_us + SIM_S);
}

void
sim_rig_clone(struct sim *sim)
{
    struct sim_rig *from = &sim->rigs[0];
    struct sim_rig *to = &sim->rigs[1];
    struct fsp_err err = {.rc = FSP_OK};
    struct sim_snapshot copy = {.taken = false};

    if (to->there || from->stopped)
        return;
    shut(from);
    sim_snapshot_take(sim, &copy, from->folder);
    sim_rig_open(from);
    begin_side(sim, 1);
    sim_must(sim, fsp_file_folder(to->folder, 0700, &err), &err, "folder");
    sim_snapshot_put(sim, &copy, to->folder, NULL);
    sim_snapshot_free(&copy);
    to->plan = from->plan;
    to->n = from->n;
    to->acked = from->acked;
    memcpy(to->leaf, from->leaf, sizeof(to->leaf));
    memcpy(to->id, from->id, sizeof(to->id));
    sim_rig_open(to);
    sim_say(sim, "rig0: CLONED at %" PRIu64, from->n);
    sim_rig_want(to, sim->now_us + SIM_S);
    sim_rig_want(from, sim->now_us + SIM_S);
}

/* ---- entering ------------------------------------------------------------------------------- */

/* A record is wholly given by its number: entered again, it is the same. */
static struct fsp_record *
make_record(struct sim_rig *rig, uint32_t id)
{
    struct sim *sim = rig->sim;
    struct sim_random random = {.state = sim->seed * 977 + (uint64_t)id * 2 + 1};
    struct fsp_check_context context;
    struct fsp_record *record = NULL;
    struct fsp_err err = {.rc = FSP_OK};
    char at[FSP_TIME_TEXT_LEN + 1];
    char depth[24];
    char note[240];
    size_t len = (size_t)sim_within(&random, 0, sizeof(note) - 1);
    bool cut = id % 9 == 4;
    struct fsp_typed cuts[] = {
            {"at", at}, {"by", "clerk"}, {"length", depth}, {"reason", "goal"}, {"note", note}};
    struct fsp_typed works[] = {{"at", at}, {"by", "clerk"}, {"op", "round-trip"},
            {"depth", depth}, {"note", note}};

    fsp_time_text(sim->records[id].at_s, at);
    (void)snprintf(depth, sizeof(depth), "%dft", cut ? 60 + (int)(id % 60) : 1000 + (int)id);
    for (size_t i = 0; i < len; i++)
        note[i] = (char)('a' + sim_within(&random, 0, 25));
    (void)snprintf(note + len, sizeof(note) - len, "%s", "");
    if (len == 0)
        (void)snprintf(note, sizeof(note), "x");
    sim_must(sim, fsp_journal_context(rig->journal, &context, &err), &err, "context");
    sim_must(sim,
            fsp_check_typed(
                    cut ? "cut" : "work", cut ? cuts : works, 5, &context, &record, &err),
            &err, "record");
    return record;
}

/* A new record's number. It happens a while ago by the rig's own best time. */
static uint32_t
new_record(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    struct fsp_err err = {.rc = FSP_OK};
    uint32_t id = sim->n_records;
    int64_t present_s = 0;

    if (id == SIM_ENTRIES_MAX)
        sim_fail(sim, "more records than the simulator keeps");
    sim_must(sim, fsp_journal_present(rig->journal, &present_s, &err), &err, "present");
    sim->records[id].at_s = SIM_START_S - 365 * FSP_S_PER_DAY + (int64_t)id * 60;
    if (sim->records[id].at_s > present_s)
        sim->records[id].at_s = present_s - (int64_t)id;
    sim->n_records++;
    return id;
}

/* Which instruction an entry is; fails when it is none. */
static uint32_t
word_of(struct sim_rig *rig, uint64_t index, const struct fsp_buf *bytes)
{
    struct fsp_record *record = NULL;
    const char *text = NULL;
    const char *word = NULL;
    struct fsp_buf note;
    uint32_t id = 0;

    fsp_buf_init(&note, FSP_ENTRY_MAX);
    if (fsp_record_parse(bytes->data, bytes->len, &record, NULL) == FSP_OK)
        text = fsp_record_text(record, "bytes");
    if (text != NULL && fsp_unbase64(text, strlen(text), &note) == FSP_OK)
        word = strstr(fsp_buf_peek(&note), "word-");
    if (word == NULL)
        sim_fail(rig->sim, "rig%zu: entry %" PRIu64 " appeared by itself", rig->which, index);
    else
        id = (uint32_t)strtoul(word + 5, NULL, 10) + SIM_WORDS;
    fsp_record_free(record);
    fsp_buf_fini(&note);
    return id;
}

static void
keep(struct sim_rig *rig, uint64_t index, const struct fsp_buf *bytes, uint32_t id)
{
    if (index >= SIM_ENTRIES_MAX)
        sim_fail(rig->sim, "more entries than the simulator keeps");
    fsp_leaf_hash(bytes->data, bytes->len, rig->leaf[index]);
    rig->id[index] = id;
    rig->n = index + 1;
}

static void
read_entry(struct sim_rig *rig, uint64_t index, struct fsp_buf *bytes)
{
    struct fsp_err err = {.rc = FSP_OK};

    fsp_buf_reset(bytes);
    sim_must(rig->sim,
            fsp_logtable_get(fsp_journal_db(rig->journal), fsp_journal_current(rig->journal),
                    index, bytes, &err),
            &err, "get");
}

void
sim_rig_absorb(struct sim_rig *rig)
{
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_range tip;
    struct fsp_buf bytes;

    if (rig->sim->renewed)
        return;
    sim_must(rig->sim,
            fsp_logtable_tip(fsp_journal_db(rig->journal), fsp_journal_current(rig->journal),
                    &tip, &err),
            &err, "tip");
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    while (rig->n < tip.size) {
        uint64_t index = rig->n;
        uint32_t id;

        read_entry(rig, index, &bytes);
        id = word_of(rig, index, &bytes);
        for (uint64_t i = 0; i < index; i++)
            if (rig->id[i] == id)
                sim_fail(rig->sim, "rig%zu: instruction %u is doubled", rig->which,
                        id - SIM_WORDS);
        keep(rig, index, &bytes, id);
        sim_say(rig->sim, "rig%zu: instruction %u is entry %" PRIu64, rig->which,
                id - SIM_WORDS, index);
    }
    fsp_buf_fini(&bytes);
}

/* The crew was told that entry `index` is there: from now on it has to be. */
static void
acknowledge(struct sim_rig *rig, uint64_t index, uint32_t id)
{
    struct sim *sim = rig->sim;
    struct fsp_buf bytes;

    if (index != rig->n || index >= SIM_ENTRIES_MAX)
        sim_fail(sim, "rig%zu: entry %" PRIu64 " was appended, %" PRIu64 " was expected",
                rig->which, index, rig->n);
    fsp_buf_init(&bytes, FSP_ENTRY_MAX);
    read_entry(rig, index, &bytes);
    keep(rig, index, &bytes, id);
    fsp_buf_fini(&bytes);
}

/* Only a store that is rightly stopped may refuse. */
static bool
refused(struct sim_rig *rig, enum fsp_rc rc, const struct fsp_err *err)
{
    if (rc == FSP_OK)
        return false;
    if (rc != FSP_EFORK)
        sim_must(rig->sim, rc, err, "enter");
    sim_check_stop(rig);
    return true;
}

void
sim_rig_enter_one(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    uint32_t id;
    char once[32];
    bool twice = sim_hit(&sim->random, 150);

    sim_rig_absorb(rig);
    id = new_record(rig);
    (void)snprintf(once, sizeof(once), "form-%u", id);
    for (int i = 0; i < (twice ? 2 : 1); i++) {
        struct fsp_record *record = make_record(rig, id);
        enum fsp_rc rc = fsp_journal_enter(rig->journal, record, once, true, &added, &err);

        fsp_record_free(record);
        if (refused(rig, rc, &err))
            return;
        if (i == 0)
            acknowledge(rig, added.first, id);
        else if (!added.known || added.first != rig->n - 1)
            sim_fail(sim, "rig%zu: the same form was taken for another", rig->which);
    }
}

/* A day sheet: rows that are there already are skipped. */
static void
take_sheet(struct sim_rig *rig, const uint32_t *ids, size_t n, size_t fresh)
{
    struct sim *sim = rig->sim;
    struct fsp_journal_row rows[SHEET_MOST] = {{.record = NULL}};
    struct fsp_journal_added added;
    struct fsp_err err = {.rc = FSP_OK};
    enum fsp_rc rc;

    for (size_t i = 0; i < n; i++)
        rows[i] = (struct fsp_journal_row){.record = make_record(rig, ids[i]), .line = i + 2};
    rc = fsp_journal_take(rig->journal, rows, n, true, &added, &err);
    for (size_t i = 0; i < n; i++)
        fsp_record_free(rows[i].record);
    if (refused(rig, rc, &err))
        return;
    if (added.added != fresh || added.skipped != n - fresh)
        sim_fail(sim, "rig%zu: a sheet of %zu new and %zu known rows added %zu, skipped %zu",
                rig->which, fresh, n - fresh, added.added, added.skipped);
    for (size_t i = 0; i < fresh; i++)
        acknowledge(rig, added.first + i, ids[n - fresh + i]);
}

void
sim_rig_enter(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    uint32_t ids[SHEET_MOST] = {0};
    size_t fresh = (size_t)sim_within(&sim->random, 0, SHEET_MOST / 2);
    size_t known = (size_t)sim_within(&sim->random, 0, SHEET_MOST / 2);
    size_t n = 0;

    sim_rig_absorb(rig);
    if (sim_hit(&sim->random, 600)) {
        sim_rig_enter_one(rig);
    } else {
        for (uint64_t i = rig->n; i > 0 && n < known; i--)
            if (rig->id[i - 1] < SIM_WORDS)
                ids[n++] = rig->id[i - 1];
        known = n;
        while (n < known + fresh)
            ids[n++] = new_record(rig);
        if (n > 0)
            take_sheet(rig, ids, n, fresh);
    }
    if (rig->stopped)
        return;
    sim_say(sim, "rig%zu: holds %" PRIu64, rig->which, rig->n);
    if (!rig->busy)
        sim_rig_want(rig, sim->now_us + sim_within(&sim->random, 0, 30) * SIM_S);
}

/* ---- pushing -------------------------------------------------------------------------------- */

void
sim_rig_want(struct sim_rig *rig, int64_t at_us)
{
    if (rig->stopped || at_us >= rig->round_us)
        return;
    rig->round_us = at_us;
    sim_push(rig->sim, at_us, SIM_ROUND, rig->which, NULL);
}

void
sim_rig_round(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    struct fsp_push_options options = {.plan = rig->by_hand ? NULL : &rig->plan,
            .budget = rig->budget,
            .carrier = &rig->carrier};
    struct fsp_push_report report = {.records = 0};
    struct fsp_sync_action next = {.kind = FSP_SYNC_REST};
    struct fsp_err err = {.rc = FSP_OK};
    enum fsp_rc rc;

    rig->round_us = INT64_MAX;
    if (rig->push == NULL)
        sim_must(sim, fsp_push_new(rig->journal, &options, &rig->push, &err), &err, "push");
    rig->busy = true;
    rig->posts = 0;
    rc = fsp_push_round(rig->push, &report, &next, &err);
    rig->busy = false;
    sim_rig_absorb(rig);
    sim_check_round(rig, rc, &report, &next, &err);
    if (rig->stopped)
        return;
    if (rig->kill)
        sim_rig_reboot(rig);
    else if (next.kind == FSP_SYNC_WAIT && !(sim->calm && next.wait == FSP_SYNC_FOR_POLL))
        sim_rig_want(rig, next.until_us > sim->now_us ? next.until_us : sim->now_us);
}

/* ---- the courier ---------------------------------------------------------------------------- */

static void
load(struct sim_rig *rig, const struct fsp_skey *skey, struct sim_parcel *parcel)
{
    struct sim *sim = rig->sim;
    struct fsp_journal_progress progress;
    struct fsp_pack_want want = {.to = UINT64_MAX, .enrol = true};
    struct fsp_packed packed;
    struct fsp_err err = {.rc = FSP_OK};

    /* Small bundles, so that a file holds several. */
    want.payload = (size_t)sim_within(&sim->random, 200, 8000);
    sim_must(sim, fsp_head_confirm_tip(rig->journal, &err), &err, "confirm");
    sim_progress(rig, &progress);
    want.old = progress.held;
    fsp_packed_init(&packed);
    while (want.old < progress.size && parcel->n < SIM_PARCEL) {
        sim_must(sim, fsp_pack(rig->journal, skey, &want, &packed, &err), &err, "carry");
        sim_must(sim,
                fsp_receipt_sent(rig->journal, packed.hash, packed.old_size, packed.size, &err),
                &err, "sent");
        sim_parcel_add(sim, parcel, 0, packed.bundle.data, packed.bundle.len);
        want.old = packed.size;
    }
    fsp_packed_fini(&packed);
}

void
sim_rig_carry(struct sim_rig *rig)
{
    struct sim *sim = rig->sim;
    struct fsp_skey *skey = NULL;
    struct sim_parcel *parcel;
    struct fsp_err err = {.rc = FSP_OK};
    int lock = -1;

    if (rig->stopped || fsp_journal_rejudge(rig->journal, &err) != FSP_OK ||
            fsp_journal_state(rig->journal) != FSP_JOURNAL_SOUND)
        return;
    sim_must(sim, fsp_push_lock(rig->journal, &lock, &err), &err, "link.lock");
    sim_must(sim, fsp_journal_key(rig->journal, &skey, &err), &err, "key");
    parcel = sim_parcel_new(sim);
    load(rig, skey, parcel);
    fsp_skey_free(skey);
    fsp_file_unlock(lock);
    sim_say(sim, "rig%zu: a courier takes %zu bundles", rig->which, parcel->n);
    sim->parcels++;
    for (unsigned copies = sim_hit(&sim->random, 200) ? 2 : 1; copies > 0; copies--)
        if (!sim_hit(&sim->random, 150))
            sim_push(sim, sim->now_us + sim_within(&sim->random, SIM_HOUR, 30 * SIM_HOUR),
                    SIM_BRING, rig->which, sim_parcel_copy(sim, parcel));
    sim_parcel_free(parcel);
}

void
sim_rig_return(struct sim_rig *rig, const struct sim_parcel *parcel)
{
    struct sim *sim = rig->sim;
    struct fsp_err err = {.rc = FSP_OK};

    for (size_t i = 0; i < parcel->n && !rig->stopped; i++) {
        struct fsp_answer answer = {.status = parcel->items[i].status,
                .bytes = parcel->items[i].bytes,
                .len = parcel->items[i].len};
        struct fsp_verdict verdict;

        sim_must(sim, fsp_receipt_judge(rig->journal, &answer, &verdict, &err), &err, "judge");
        sim_rig_absorb(rig);
        sim_say(sim, "rig%zu: by courier %ld: verdict %d, %" PRIu64 " %s", rig->which,
                answer.status, (int)verdict.kind, verdict.held, verdict.why);
        if (verdict.kind == FSP_VERDICT_CONTRADICT)
            sim_check_stop(rig);
        else if (verdict.kind == FSP_VERDICT_TAKEN && verdict.held > rig->n)
            sim_fail(sim, "rig%zu: a receipt for %" PRIu64 " of %" PRIu64, rig->which,
                    verdict.held, rig->n);
    }
    if (!rig->busy)
        sim_rig_want(rig, sim->now_us + 30 * SIM_S);
}
