/*
 * When to send, how much, and what to do about an answer: the rig's sync engine.
 *
 * Records are urgent (urgent.h) or routine. Something urgent is sent at once; routine records wait
 * until they are enough or old enough, and then all that is pending goes. A day may have a budget
 * of bytes with a reserve that only the urgent may use. With nothing pending the office is asked now
 * and then whether it has a word (a poll: a bundle without entries).
 *
 * A pure state machine. Events go in, one action comes out; it does no I/O, reads no clock and
 * verifies nothing: the caller (push.c, or a simulator) hands it facts that were verified. The
 * state table stands in sync.c.
 *
 * Ownership: struct fsp_sync is the caller's and holds no pointers.
 * Units: times are monotonic microseconds; sizes count entries; payload in bytes of the deflated
 * entries; budgets in bytes on the link (linkstate.h).
 * Threads: one machine, one thread.
 */
#ifndef FSP_RIG_SYNC_H
#define FSP_RIG_SYNC_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Engineering choices of this project. */
#define FSP_SYNC_PAYLOAD_LEAST ((size_t)3 * 1024)
#define FSP_SYNC_PAYLOAD_FIRST                                                                 \
    ((size_t)14 * 1024) /* one initial window: RFC 6928, 10 segments */
#define FSP_SYNC_PAYLOAD_GOOD ((size_t)56 * 1024) /* growth beyond it asks for a quick answer */
#define FSP_SYNC_PAYLOAD_MOST ((size_t)128 * 1024) /* 2 MiB of entries in memory: pack.c */
#define FSP_SYNC_BACKOFF_US   INT64_C(1000000)     /* first retry within this */
#define FSP_SYNC_CEILING_US   INT64_C(900000000)   /* no retry waits longer: 15 min */
#define FSP_SYNC_QUICK_US     INT64_C(2000000) /* an answer within this makes bundles grow */
#define FSP_SYNC_GAPS_MOST    4                /* 409s in a row before they only delay */
#define FSP_SYNC_BUDGET_LEAST                                                                  \
    1200 /* bytes of the smallest exchange: with less left
                                                    a budget is used up */
#define FSP_SYNC_NO_BUDGET UINT64_MAX

enum fsp_sync_state {
    FSP_SYNC_IDLE,      /* nothing pending, or not started */
    FSP_SYNC_GATHERING, /* routine records pending, neither enough nor old enough */
    FSP_SYNC_SAVING,    /* the day's budget is used up */
    FSP_SYNC_SENDING,   /* a bundle is out */
    FSP_SYNC_WAITING,   /* for a time before the next try */
    FSP_SYNC_STOPPED,   /* a person must look: fork or restored copy */
};

/* When routine records go. */
struct fsp_sync_plan {
    uint64_t enough; /* so many pending records go at once; 0 and 1: every one */
    int64_t old_us;  /* and fewer after this long */
    int64_t poll_us; /* with nothing pending the office is asked once in so long; 0: never */
};

enum fsp_sync_event_kind {
    FSP_SYNC_TICK,       /* look again: time passed, or the log grew */
    FSP_SYNC_TAKEN,      /* verified 200: the office holds `held` */
    FSP_SYNC_GAP,        /* fresh verified 409: the office holds `held`, at or below our size */
    FSP_SYNC_DELAY,      /* no answer, or one that only delays: 429, 5xx, a portal */
    FSP_SYNC_TOO_LARGE,  /* unsigned 413: shrinks the next try */
    FSP_SYNC_REFUSED,    /* unsigned 403, or an unknown status: retry at the ceiling */
    FSP_SYNC_CONTRADICT, /* verified: a fork, or this is a restored copy */
};

struct fsp_sync_event {
    enum fsp_sync_event_kind kind;
    int64_t now_us;
    uint64_t size;    /* of our log */
    uint64_t held;    /* TICK: as the store says; TAKEN and GAP: as the answer says */
    int64_t after_us; /* DELAY: the least wait the office asked for; 0: none */
    uint64_t urgent;  /* entries up to and with the newest urgent one; 0: none */
    /* Bytes the day still has, FSP_SYNC_NO_BUDGET without one. */
    uint64_t left;        /* for anything */
    uint64_t left_urgent; /* with the reserve */
    int64_t day_ends_us;  /* when a new day's budget begins */
};

enum fsp_sync_action_kind {
    FSP_SYNC_SEND, /* a bundle from `old`, about `payload` bytes, then give an answer's event */
    FSP_SYNC_WAIT, /* until `until_us`, then TICK */
    FSP_SYNC_REST, /* nothing pending */
    FSP_SYNC_STOP, /* for good, until a person acted */
};

/* What a WAIT waits for. */
enum fsp_sync_wait {
    FSP_SYNC_FOR_NOTHING, /* no WAIT */
    FSP_SYNC_FOR_MORE,    /* more records, or these to get old */
    FSP_SYNC_FOR_DAY,     /* the next day's budget */
    FSP_SYNC_FOR_LINK,    /* the next try */
    FSP_SYNC_FOR_POLL,    /* nothing is pending: the next time that the office is asked */
};

struct fsp_sync_action {
    enum fsp_sync_action_kind kind;
    enum fsp_sync_wait wait;
    uint64_t old;
    uint64_t to; /* SEND: no entry at or above it; a poll when that is `old` */
    size_t payload;
    int64_t until_us;
};

struct fsp_sync {
    enum fsp_sync_state state;
    struct fsp_sync_plan plan;
    bool by_hand;  /* all that is pending, now, whatever the budget says */
    bool draining; /* goes on until nothing is pending; so at the start, too */
    bool waits;    /* something is pending since since_us */
    bool over;     /* urgent records went beyond the reserve, last at over_us */
    int64_t since_us;
    int64_t over_us;
    uint64_t random; /* state of the jitter's generator */
    uint64_t held;
    size_t payload;
    unsigned failures; /* in a row */
    unsigned gaps;     /* in a row */
    bool polls;        /* what is out is a poll */
    bool poll_set;     /* poll_us holds */
    unsigned unheard;  /* polls in vain, in a row */
    int64_t poll_us;   /* when the office is asked next */
    int64_t sent_us;   /* when the bundle left */
    int64_t until_us;
};

/* plan NULL: by hand, everything that is pending goes now and no budget holds. */
void fsp_sync_init(struct fsp_sync *sync, uint64_t seed, const struct fsp_sync_plan *plan);
/* Take one event, say what to do next. An answer's event outside SENDING counts as a TICK. */
struct fsp_sync_action fsp_sync_step(struct fsp_sync *sync, const struct fsp_sync_event *event);

#endif
