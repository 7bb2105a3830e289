/*
 * What the link costs and what it waits for, kept in the store so that a restart does not forget it
 * and `line` can show it.
 *
 * Bytes are those of the IP level (IPv4, TCP with timestamps), as well as they can be reckoned from
 * what was sent and received: see fsp_linkstate_exchange(). Packets sent twice by TCP are not seen.
 * The day is a day of UTC by the machine's clock: it does not move with the rig's zone, and a clock
 * that jumps begins a new day's count at most.
 *
 * Ownership: values.
 * Units: bytes; times in seconds since 1970; _us microseconds.
 * Threads: as the journal.
 * Errors: those of store/db.h.
 */
#ifndef FSP_RIG_LINKSTATE_H
#define FSP_RIG_LINKSTATE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "rig/journal.h"
#include "rig/sync.h"

#define FSP_LINKSTATE_WHY_MAX 320 /* bytes of why a try brought no receipt */

/* A day's budget. */
struct fsp_budget {
    uint64_t day_bytes;       /* 0: none */
    unsigned reserve_percent; /* of it only for urgent records */
};

struct fsp_linkstate {
    int64_t day;                         /* days since 1970, UTC */
    uint64_t bytes;                      /* used on that day */
    enum fsp_sync_wait wait;             /* what sending waits for */
    int64_t next_s;                      /* when it goes on; 0: it waits for nothing */
    char why[FSP_LINKSTATE_WHY_MAX + 1]; /* of the last try; "" after a receipt */
};

/* As kept, moved to today: the bytes are 0 when they are another day's. */
enum fsp_rc fsp_linkstate_read(struct fsp_journal *journal, struct fsp_linkstate *out,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Keep it, in a transaction of its own. */
enum fsp_rc fsp_linkstate_write(struct fsp_journal *journal, const struct fsp_linkstate *state,
        struct fsp_err *err) FSP_MUST_CHECK;

/* One exchange, for the reckoning. */
struct fsp_exchange {
    size_t sent;     /* bytes of the request: bundle and headers */
    size_t received; /* bytes of the answer: body and headers */
    bool connects;   /* a new connection is opened for it, and closed some day */
    bool tls;
};
/* Bytes on the IP level. */
uint64_t fsp_linkstate_exchange(const struct fsp_exchange *exchange);

/* What the day still has, for the engine's event: left, left_urgent, day_ends_us. */
void fsp_linkstate_left(const struct fsp_linkstate *state, const struct fsp_budget *budget,
        const struct fsp_env *env, struct fsp_sync_event *event);

/* True when routine records wait for the next day. */
bool fsp_linkstate_used_up(const struct fsp_linkstate *state, const struct fsp_budget *budget);
/* "nothing", "more", "day", "link", "poll". Static. */
const char *fsp_linkstate_wait(enum fsp_sync_wait wait);
/* For `line`: a few lines of text. */
void fsp_linkstate_text(const struct fsp_linkstate *state, const struct fsp_budget *budget,
        int64_t now_s, struct fsp_buf *out);

#endif
