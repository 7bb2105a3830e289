#include "sim/sim.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "wire/answer.h"

#define QUIET (60 * SIM_S) /* how long the rig waits for a byte */

void
sim_weather_good(struct sim *sim)
{
    sim->weather = (struct sim_weather){.rtt_us = 600000, .bytes_per_s = 32000};
}

void
sim_weather_new(struct sim *sim)
{
    struct sim_random *random = &sim->random;
    struct sim_weather *w = &sim->weather;
    unsigned bad = (unsigned)sim_within(random, 0, 3);

    sim_weather_good(sim);
    w->rtt_us = sim_within(random, 20, 1500) * 1000;
    w->bytes_per_s = sim_within(random, 500, 32000);
    w->down = sim_hit(random, 160);
    w->lose = bad * 40;
    w->cut_request = bad * 30;
    w->late = bad * 30;
    w->twice = 30 + bad * 30;
    w->busy = bad * 20;
    w->portal = bad * 15;
    w->crash = 20 + bad * 20;
    w->lose_answer = bad * 40;
    w->cut_answer = bad * 40;
    w->stale = bad * 20;
    w->power = 10;
    sim_say(sim, "link: %s, badness %u", w->down ? "down" : "up", bad);
}

static enum fsp_rc
broken(struct sim_rig *rig, int64_t after_us, const char *how, struct fsp_err *err)
{
    sim_run_until(rig->sim, rig->sim->now_us + after_us);
    rig->connected = false;
    sim_say(rig->sim, "rig%zu: %s", rig->which, how);
    return fsp_err_set(err, FSP_EUNAVAIL, "%s", how);
}

static enum fsp_rc
plain(struct sim_rig *rig, struct fsp_link_reply *reply, long status, const char *body)
{
    reply->status = status;
    fsp_buf_add_text(&reply->body, body);
    sim_say(rig->sim, "rig%zu: answered %ld", rig->which, status);
    return FSP_OK;
}

static void
send_again(struct sim_rig *rig, const void *bytes, size_t len, int64_t at_us)
{
    struct sim_parcel *parcel = sim_parcel_new(rig->sim);

    sim_parcel_add(rig->sim, parcel, 0, bytes, len);
    sim_push(rig->sim, at_us, SIM_DELIVER, rig->which, parcel);
}

static void
remember(struct sim_rig *rig, const struct fsp_link_reply *reply)
{
    struct sim_item *item = &rig->answers[sim_next(&rig->sim->random) % SIM_ANSWERS];

    free(item->bytes);
    item->bytes = malloc(reply->body.len + 1);
    if (item->bytes == NULL)
        sim_fail(rig->sim, "out of memory");
    memcpy(item->bytes, fsp_buf_peek(&reply->body), reply->body.len);
    item->len = reply->body.len;
    item->status = (int)reply->status;
}

/* Something in between repeats an older answer, of whatever bundle. */
static bool
repeat(struct sim_rig *rig, struct fsp_link_reply *reply)
{
    const struct sim_item *item = &rig->answers[sim_next(&rig->sim->random) % SIM_ANSWERS];

    if (item->bytes == NULL)
        return false;
    fsp_buf_reset(&reply->body);
    fsp_buf_add(&reply->body, item->bytes, item->len);
    reply->status = item->status;
    sim_say(rig->sim, "rig%zu: an old %d instead of the answer", rig->which, item->status);
    return true;
}

/* The request arrived. The office takes it, and the answer may or may not come back whole. */
static enum fsp_rc
answered(struct sim_rig *rig, const void *bytes, size_t len, struct fsp_link_reply *reply,
        struct fsp_err *err)
{
    struct sim *sim = rig->sim;
    const struct sim_weather w = sim->weather;
    struct fsp_journal_progress progress = {.receipt_size = 0};
    uint64_t before = sim->office.n;
    bool contradicts;

    sim_rig_absorb(rig);
    contradicts = sim_contradicts(rig);

    reply->status = sim_office_take(sim, bytes, len, &reply->body);
    if (reply->status == FSP_ANSWER_GAP)
        sim_progress(rig, &progress);
    if (sim_hit(&sim->random, w.crash)) {
        sim_office_reboot(sim);
        sim_say(sim, "office: crashed after the commit");
        return broken(rig, SIM_S, "connection reset", err);
    }
    sim_run_until(sim, sim->now_us + w.rtt_us / 2);
    if (sim_hit(&sim->random, w.lose_answer))
        return broken(rig, QUIET, "half-open: no answer", err);
    remember(rig, reply);
    if (sim_hit(&sim->random, w.cut_answer)) {
        size_t at = (size_t)sim_within(&sim->random, 0, (int64_t)reply->body.len);

        if (sim_hit(&sim->random, 500))
            return broken(rig, 0, "the answer was cut", err);
        /* A proxy that mends the length: cut without a trace. */
        reply->body.len = at;
        reply->body.data[at] = 0;
        sim_say(sim, "rig%zu: answer cut at %zu", rig->which, at);
        return FSP_OK;
    }
    if (sim_hit(&sim->random, w.stale) && repeat(rig, reply))
        return FSP_OK;
    rig->connected = true;
    /* The whole answer to this very bundle: the first contact. */
    rig->must_stop = contradicts && reply->status != FSP_ANSWER_REFUSED;
    rig->must_go_back = reply->status == FSP_ANSWER_GAP && progress.receipt_size > before;
    return FSP_OK;
}

enum fsp_rc
sim_post(void *ctx, const void *bytes, size_t len, struct fsp_link_reply *reply,
        struct fsp_err *err)
{
    struct sim_rig *rig = ctx;
    struct sim *sim = rig->sim;
    const struct sim_weather w = sim->weather;
    int64_t up_us = (int64_t)len * SIM_S / w.bytes_per_s + w.rtt_us / 2;

    sim_rig_absorb(rig);
    sim->posts++;
    if (++rig->posts > SIM_POSTS)
        sim_fail(sim, "rig%zu: a round without end", rig->which);
    fsp_buf_reset(&reply->body);
    reply->status = 0;
    reply->after_us = 0;
    reply->connects = !rig->connected;
    reply->head = 90;
    rig->kill = sim_hit(&sim->random, w.power);
    sim_say(sim, "rig%zu: sends %zu bytes", rig->which, len);
    if (w.down)
        return broken(rig, sim_within(&sim->random, 0, QUIET), "no connection", err);
    if (sim_hit(&sim->random, w.lose))
        return broken(rig, QUIET, "half-open: nothing moves", err);
    if (sim_hit(&sim->random, w.cut_request))
        return broken(rig, sim_within(&sim->random, 0, up_us), "cut while sending", err);
    if (sim_hit(&sim->random, w.late)) {
        send_again(rig, bytes, len, sim->now_us + sim_within(&sim->random, QUIET, SIM_DAY));
        return broken(rig, QUIET, "half-open: delayed on its way", err);
    }
    if (sim_hit(&sim->random, w.twice))
        send_again(rig, bytes, len,
                sim->now_us + up_us + sim_within(&sim->random, 0, 2 * SIM_HOUR));
    sim_run_until(sim, sim->now_us + up_us + (rig->connected ? 0 : w.rtt_us));
    if (sim->now_us < sim->office.down_until_us)
        return broken(rig, w.rtt_us / 2, "connection refused", err);
    if (sim_hit(&sim->random, w.busy)) {
        reply->after_us = sim_within(&sim->random, 0, 3000) * SIM_S;
        return plain(rig, reply, sim_hit(&sim->random, 500) ? 429 : 503, "later");
    }
    if (sim_hit(&sim->random, w.portal)) {
        static const int kinds[] = {200, 302, 404, 409, 413, 422};

        return plain(rig, reply,
                kinds[sim_next(&sim->random) % (sizeof(kinds) / sizeof(kinds[0]))],
                "<html>pay here</html>");
    }
    return answered(rig, bytes, len, reply, err);
}
