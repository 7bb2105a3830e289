/*
 * The link simulator: a rig (or a rig and its clone) and an office on virtual clocks and a virtual link.
 *
 * Journal, packing, receipts, sync engine and push are the rig's own; intake and shelf are the
 * office's. Only clocks, randomness and the link are not real, and nothing is synced to disk (that is
 * tests/fault's). Everything that happens hangs on the seed.
 *
 * A history is a heap of events in virtual time. A flight (one post) runs the events that fall into
 * it, so records are entered, couriers arrive and offices crash while a bundle is on its way.
 *
 * Files: sim_world (clocks, events, stores), sim_office, sim_rig, sim_link (the post), sim_renew,
 * sim_check (what must hold), link_sim (histories, options).
 * Errors: what must hold and does not ends the program: sim_fail() prints the seed.
 */
#ifndef FSP_TESTS_SIM_H
#define FSP_TESTS_SIM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/clock.h"
#include "base/err.h"
#include "office/intake.h"
#include "office/keys.h"
#include "office/shelf.h"
#include "rig/journal.h"
#include "rig/push.h"

#define SIM_START_S     INT64_C(1772323200) /* 2026-03-01T00:00:00Z */
#define SIM_S           INT64_C(1000000)
#define SIM_HOUR        (3600 * SIM_S)
#define SIM_DAY         (24 * SIM_HOUR)
#define SIM_ENTRIES_MAX 2048
#define SIM_RIGS        2
#define SIM_ANSWERS     8 /* kept for a cache in between that repeats them */
#define SIM_FILES       12
#define SIM_PARCEL      24 /* bundles of one courier's file */
#define SIM_TRIES       60 /* an hour in vain; the first ten come quickly, later ones every 7.5 min */
#define SIM_POSTS       500                  /* of one round */
#define SIM_WORDS       UINT32_C(0x40000000) /* ids of instructions among those of records */
#define SIM_FLEET       "lantern-basin"

/* ---- randomness and time ------------------------------------------------------------------- */

struct sim_random {
    uint64_t state;
};
uint64_t sim_next(struct sim_random *random);
/* least .. most */
int64_t sim_within(struct sim_random *random, int64_t least, int64_t most);
bool sim_hit(struct sim_random *random, unsigned per_mille);

struct sim;

/* A side's own clock: true time, shifted; its own generator. */
struct sim_side {
    struct sim *sim;
    int64_t shift_us;
    struct sim_random random;
    struct fsp_env env;
};

/* ---- stores as files ----------------------------------------------------------------------- */

struct sim_file {
    char name[64];
    uint8_t *bytes;
    size_t len;
};
struct sim_snapshot {
    bool taken;
    size_t n;
    struct sim_file files[SIM_FILES];
    uint64_t size; /* entries then */
};
void sim_snapshot_take(struct sim *sim, struct sim_snapshot *snapshot, const char *folder);
/* Put its files into the folder; others go, unless only one is asked for. */
void sim_snapshot_put(struct sim *sim, const struct sim_snapshot *snapshot, const char *folder,
        const char *only);
void sim_snapshot_free(struct sim_snapshot *snapshot);

/* ---- events -------------------------------------------------------------------------------- */

enum sim_kind {
    SIM_ENTER,    /* records are entered, or a day sheet comes (again) */
    SIM_ROUND,    /* the rig looks at what is to be sent */
    SIM_CARRY,    /* a courier takes a file */
    SIM_BRING,    /* and brings it to the office */
    SIM_RETURN,   /* and the answers back */
    SIM_DELIVER,  /* a request arrives late, or once more */
    SIM_INSTRUCT, /* the office has a word for the rig */
    SIM_CLOCK,    /* a clock jumps */
    SIM_REBOOT_RIG,
    SIM_REBOOT_OFFICE,
    SIM_SNAPSHOT_RIG,
    SIM_RESTORE_RIG,
    SIM_CLONE_RIG,
    SIM_SNAPSHOT_OFFICE,
    SIM_RESTORE_OFFICE,
    SIM_LINK, /* the weather changes */
    SIM_CALM, /* the end: a good link, and everything must arrive */
};

struct sim_item {
    int status; /* of an answer */
    size_t len;
    uint8_t *bytes;
};
/* A courier's file, or one request. */
struct sim_parcel {
    size_t n;
    struct sim_item items[SIM_PARCEL];
};
struct sim_parcel *sim_parcel_new(struct sim *sim);
struct sim_parcel *sim_parcel_copy(struct sim *sim, const struct sim_parcel *parcel);
void sim_parcel_add(
        struct sim *sim, struct sim_parcel *parcel, int status, const void *bytes, size_t len);
void sim_parcel_free(struct sim_parcel *parcel);

struct sim_event {
    int64_t at_us;
    uint64_t order; /* of events at the same time */
    enum sim_kind kind;
    size_t rig;
    struct sim_parcel *parcel; /* the event's own */
};

/* ---- both ends ----------------------------------------------------------------------------- */

typedef uint8_t sim_leaf[32];

/* What was entered: enough to enter the same again. */
struct sim_record {
    int64_t at_s;
};

struct sim_rig {
    struct sim *sim;
    size_t which;
    char folder[128];
    struct sim_side side;
    struct fsp_journal *journal;
    struct fsp_push *push;
    struct fsp_carrier carrier;
    struct fsp_sync_plan plan;
    struct fsp_budget budget;
    bool by_hand;
    bool there; /* the clone is not, before it is made */
    bool busy;  /* a bundle is on its way */
    bool connected;
    bool stopped;     /* rightly: sim_check saw to it */
    bool kill;        /* the power goes before the answer is judged */
    int64_t round_us; /* of the round that is wanted; INT64_MAX: none */
    uint64_t n;       /* entries acknowledged to the crew */
    sim_leaf leaf[SIM_ENTRIES_MAX];
    uint32_t id[SIM_ENTRIES_MAX]; /* which of sim->records each entry is */
    uint64_t acked;               /* most the office receipted */
    struct sim_item answers[SIM_ANSWERS];
    struct sim_snapshot snapshot;
    int64_t hour_us; /* the hour that tries are counted in */
    unsigned posts;  /* of this round */
    unsigned tries;  /* in it, without a receipt in between */
    /* What the answer under way must lead to. */
    bool must_stop;
    bool must_go_back;
};

struct sim_office {
    struct sim *sim;
    char folder[128];
    struct sim_side side;
    struct fsp_office_keys keys;
    struct fsp_shelf *shelf;
    struct fsp_intake *intake;
    int64_t down_until_us;
    bool rolled_back; /* since then a rig may know more than is held */
    uint64_t n;
    sim_leaf leaf[SIM_ENTRIES_MAX];
    struct sim_snapshot snapshot;
};

/* Chances of what can happen to one post, per mille; and the weather. */
struct sim_weather {
    bool down;
    int64_t rtt_us;
    int64_t bytes_per_s;
    unsigned lose, cut_request, late, twice, busy, portal, crash, lose_answer, cut_answer,
            stale, power;
};

enum sim_history {
    SIM_PLAIN,
    SIM_RESTORED,
    SIM_CLONED,
    SIM_ROLLED_BACK,
};

struct sim {
    uint64_t seed;
    bool trace;
    struct sim_random random;
    char folder[96];
    int64_t now_us; /* true time since the start */
    struct sim_event *events;
    size_t n_events, cap_events;
    uint64_t order;
    enum sim_history history;
    struct sim_weather weather;
    bool calm;
    bool renewed; /* the rig has a chain of logs now */
    struct sim_rig rigs[SIM_RIGS];
    struct sim_office office;
    char origin[FSP_ORIGIN_MAX + 1];
    struct fsp_invitation invitation;
    struct sim_record records[SIM_ENTRIES_MAX];
    uint32_t n_records;
    uint32_t n_words; /* instructions queued */
    /* What happened, for the summary. */
    uint64_t posts, receipts, stops, gaps, parcels, renewals;
};

/* ---- sim_world.c --------------------------------------------------------------------------- */

void sim_fail(const struct sim *sim, const char *fmt, ...) FSP_PRINTF(2, 3)
        __attribute__((noreturn));
void sim_say(const struct sim *sim, const char *fmt, ...) FSP_PRINTF(2, 3);
void sim_must(
        const struct sim *sim, enum fsp_rc rc, const struct fsp_err *err, const char *what);
void sim_side_init(struct sim_side *side, struct sim *sim, uint64_t seed);
void sim_push(struct sim *sim, int64_t at_us, enum sim_kind kind, size_t rig,
        struct sim_parcel *parcel);
bool sim_pop(struct sim *sim, int64_t until_us, struct sim_event *event);
/* Let everything happen that falls before; the clock stands there afterwards, or later. */
void sim_run_until(struct sim *sim, int64_t at_us);

/* ---- sim_office.c -------------------------------------------------------------------------- */

void sim_office_start(struct sim *sim);
void sim_office_stop(struct sim *sim);
void sim_office_reboot(struct sim *sim);
void sim_office_snapshot(struct sim *sim);
void sim_office_restore(struct sim *sim);
void sim_office_instruct(struct sim *sim);
/* One bundle to the intake; the status. */
int sim_office_take(struct sim *sim, const uint8_t *bytes, size_t len, struct fsp_buf *answer);
/* Entries the office holds of the log. */
uint64_t sim_office_size(struct sim *sim);

/* ---- sim_rig.c ----------------------------------------------------------------------------- */

void sim_rig_start(struct sim *sim, size_t which);
void sim_rig_stop(struct sim_rig *rig);
void sim_rig_open(struct sim_rig *rig);
void sim_rig_reboot(struct sim_rig *rig);
/* Enter 1 record, or `n` as a sheet; again: records that are there. */
void sim_rig_enter(struct sim_rig *rig);
void sim_rig_enter_one(struct sim_rig *rig);
void sim_rig_round(struct sim_rig *rig);
void sim_rig_want(struct sim_rig *rig, int64_t at_us);
void sim_rig_carry(struct sim_rig *rig);
void sim_rig_return(struct sim_rig *rig, const struct sim_parcel *parcel);
void sim_rig_restore(struct sim_rig *rig);
void sim_rig_clone(struct sim *sim);
/* Entries that the rig's own process appended: instructions, each once. */
void sim_rig_absorb(struct sim_rig *rig);

/* ---- sim_renew.c --------------------------------------------------------------------------- */

/* After the end of a history: the rig begins a new log, with the office's hand-back when it had to
 * stop, and sends it; nothing may be lost by it, and nothing doubled. */
void sim_renew(struct sim_rig *rig);

/* ---- sim_link.c ---------------------------------------------------------------------------- */

enum fsp_rc sim_post(void *ctx, const void *bytes, size_t len, struct fsp_link_reply *reply,
        struct fsp_err *err);
void sim_weather_new(struct sim *sim);
void sim_weather_good(struct sim *sim);

/* ---- sim_check.c --------------------------------------------------------------------------- */

void sim_progress(struct sim_rig *rig, struct fsp_journal_progress *progress);
/* The rig's log and the office's cannot both be one history. */
bool sim_contradicts(const struct sim_rig *rig);
void sim_check_round(struct sim_rig *rig, enum fsp_rc rc, const struct fsp_push_report *report,
        const struct fsp_sync_action *next, const struct fsp_err *err);
/* A push or a receipt says that this store must stop. */
void sim_check_stop(struct sim_rig *rig);
/* Something is left to wait for. */
bool sim_check_waits(struct sim *sim);
void sim_check_end(struct sim *sim);

#endif
