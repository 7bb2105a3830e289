#include "sim/sim.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/file.h"
#include "office/instruct.h"
#include "proof/tree.h"

static void
invite(struct sim *sim)
{
    struct sim_office *office = &sim->office;
    struct fsp_shelf *shelf = office->shelf;
    struct fsp_invitation *invitation = &sim->invitation;
    struct fsp_err err = {.rc = FSP_OK};
    uint8_t mark[FSP_MARK_LEN];

    memset(invitation, 0, sizeof(*invitation));
    (void)snprintf(invitation->fleet, sizeof(invitation->fleet), "%s", SIM_FLEET);
    (void)snprintf(invitation->rig, sizeof(invitation->rig), "heron");
    (void)snprintf(invitation->url, sizeof(invitation->url), "http://office.invalid");
    invitation->cosigner = *fsp_skey_vkey(office->keys.cosigner);
    invitation->instructions = *fsp_skey_vkey(office->keys.instructions);
    memcpy(invitation->box_pub, office->keys.box[0].pub, sizeof(invitation->box_pub));
    office->side.env.random(&office->side, invitation->token, sizeof(invitation->token));
    fsp_leaf_hash(invitation->token, sizeof(invitation->token), mark);
    sim_must(sim, shelf->ops->begin(shelf->ctx, true, &err), &err, "begin");
    sim_must(sim, shelf->ops->set_fleet(shelf->ctx, SIM_FLEET, &err), &err, "set_fleet");
    sim_must(sim, shelf->ops->invite(shelf->ctx, "heron", mark, SIM_START_S, &err), &err,
            "invite");
    sim_must(sim, shelf->ops->commit(shelf->ctx, &err), &err, "commit");
}

static void
open_intake(struct sim *sim)
{
    struct sim_office *office = &sim->office;
    struct fsp_err err = {.rc = FSP_OK};

    sim_must(sim,
            fsp_intake_new(
                    office->shelf, &office->keys, &office->side.env, &office->intake, &err),
            &err, "intake");
}

static void
open_shelf(struct sim *sim, enum fsp_shelf_access access)
{
    struct sim_office *office = &sim->office;
    struct fsp_err err = {.rc = FSP_OK};

    sim_must(sim,
            fsp_shelf_open(&fsp_shelf_sqlite, office->folder, access, &office->shelf, &err),
            &err, "shelf");
}

void
sim_office_stop(struct sim *sim)
{
    fsp_intake_free(sim->office.intake);
    fsp_shelf_close(sim->office.shelf);
    sim->office.intake = NULL;
    sim->office.shelf = NULL;
}

void
sim_office_start(struct sim *sim)
{
    struct sim_office *office = &sim->office;
    struct fsp_err err = {.rc = FSP_OK};

    office->sim = sim;
    (void)snprintf(office->folder, sizeof(office->folder), "%s/office", sim->folder);
    sim_side_init(&office->side, sim, sim->seed ^ 0xff1ce);
    sim_must(sim, fsp_file_folder(office->folder, 0700, &err), &err, "folder");
    sim_must(sim, fsp_office_keys_make(&office->keys, SIM_FLEET, &office->side.env, &err), &err,
            "keys");
    open_shelf(sim, FSP_SHELF_CREATE);
    invite(sim);
    open_intake(sim);
}

void
sim_office_reboot(struct sim *sim)
{
    sim_office_stop(sim);
    open_shelf(sim, FSP_SHELF_WRITE);
    open_intake(sim);
}

void
sim_office_snapshot(struct sim *sim)
{
    struct sim_office *office = &sim->office;

    sim_office_stop(sim);
    sim_snapshot_take(sim, &office->snapshot, office->folder);
    open_shelf(sim, FSP_SHELF_WRITE);
    open_intake(sim);
    office->snapshot.size = office->n;
    sim_say(sim, "office: snapshot at %" PRIu64, office->n);
}

void
sim_office_restore(struct sim *sim)
{
    struct sim_office *office = &sim->office;

    if (!office->snapshot.taken)
        return;
    sim_office_stop(sim);
    sim_snapshot_put(sim, &office->snapshot, office->folder, NULL);
    open_shelf(sim, FSP_SHELF_WRITE);
    open_intake(sim);
    sim_say(sim, "office: ROLLED BACK from %" PRIu64 " to %" PRIu64, office->n,
            office->snapshot.size);
    office->rolled_back = true;
    office->n = office->snapshot.size;
    if (sim_office_size(sim) != office->n)
        sim_fail(sim, "the office's snapshot holds %" PRIu64 ", not %" PRIu64,
                sim_office_size(sim), office->n);
}

void
sim_office_instruct(struct sim *sim)
{
    struct sim_office *office = &sim->office;
    struct fsp_shelf *shelf = office->shelf;
    struct fsp_err err = {.rc = FSP_OK};
    char body[64];
    struct fsp_instruct what = {.rig = "heron", .about = FSP_ABOUT_MESSAGE, .body = body};

    what.body_len = (size_t)snprintf(body, sizeof(body), "word-%u-end\n", sim->n_words);
    sim_must(sim, shelf->ops->begin(shelf->ctx, true, &err), &err, "begin");
    sim_must(sim,
            fsp_instruct_queue(shelf, &office->keys, &office->side.env, &what, NULL, &err),
            &err, "instruct");
    sim_must(sim, shelf->ops->commit(shelf->ctx, &err), &err, "commit");
    sim_say(sim, "office: instruction %u", sim->n_words);
    sim->n_words++;
}

static bool
find(struct sim *sim, struct fsp_shelf_log *log)
{
    struct fsp_shelf *shelf = sim->office.shelf;
    struct fsp_err err = {.rc = FSP_OK};
    enum fsp_rc rc = shelf->ops->find_log(shelf->ctx, sim->origin, log, &err);

    if (rc != FSP_OK && rc != FSP_ENOTFOUND)
        sim_must(sim, rc, &err, "find_log");
    return rc == FSP_OK;
}

uint64_t
sim_office_size(struct sim *sim)
{
    struct fsp_shelf *shelf = sim->office.shelf;
    struct fsp_err err = {.rc = FSP_OK};
    struct fsp_shelf_log log;
    struct fsp_range range;

    if (!find(sim, &log))
        return 0;
    sim_must(sim, shelf->ops->tip(shelf->ctx, log.id, &range, &err), &err, "tip");
    return range.size;
}

static enum fsp_rc
learn(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct sim_office *office = ctx;

    if (index >= SIM_ENTRIES_MAX)
        return fsp_err_set(err, FSP_ELIMIT, "more entries than the simulator keeps");
    fsp_leaf_hash(bytes, len, office->leaf[index]);
    return FSP_OK;
}

/* What came is learnt from the shelf, not from the bundle. It may only have grown. */
static void
learn_new(struct sim *sim)
{
    struct sim_office *office = &sim->office;
    struct fsp_shelf *shelf = office->shelf;
    struct fsp_err err = {.rc = FSP_OK};
    uint64_t within[2] = {office->n, sim_office_size(sim)};
    struct fsp_shelf_log log;

    if (within[1] < within[0])
        sim_fail(sim, "the office holds %" PRIu64 " after %" PRIu64, within[1], within[0]);
    if (within[0] == within[1] || !find(sim, &log))
        return;
    sim_must(sim, shelf->ops->scan(shelf->ctx, log.id, within, learn, office, &err), &err,
            "scan");
    office->n = within[1];
}

int
sim_office_take(struct sim *sim, const uint8_t *bytes, size_t len, struct fsp_buf *answer)
{
    struct fsp_err err = {.rc = FSP_OK};
    int status = 0;

    sim_must(sim, fsp_intake_take(sim->office.intake, bytes, len, &status, answer, &err), &err,
            "intake");
    if (!sim->renewed)
        learn_new(sim);
    sim_say(sim, "office: %zu bytes: %d, holds %" PRIu64, len, status, sim->office.n);
    return status;
}
