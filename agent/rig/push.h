/*
 * Pushing: carries out what the sync engine says, over the link, under link.lock.
 *
 * What a day used (linkstate.h) is kept before a bundle leaves and set right after its answer, so
 * that a crash forgets nothing; next try and its reason are kept when a round ends.
 *
 * Ownership: new/free; the journal is borrowed and must outlive the push.
 * Units: _us microseconds (monotonic), sizes in entries, bytes of whole bundles.
 * Threads: one push, one thread.
 * Errors: FSP_EBUSY when another process holds link.lock, FSP_EINVAL for a URL we do not speak,
 * FSP_EFORK when nothing may be sent from this store any more, our own database's. A link that is
 * down is no error of a round: it is a wait.
 */
#ifndef FSP_RIG_PUSH_H
#define FSP_RIG_PUSH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "rig/journal.h"
#include "rig/link.h"
#include "rig/linkstate.h"
#include "rig/sync.h"

struct fsp_push; /* opaque */

/* What rounds did; the caller zeroes it, rounds add to it. */
struct fsp_push_report {
    uint64_t records;
    uint64_t bundles; /* receipted */
    uint64_t bytes;   /* of all bundles sent, answered or not */
    uint64_t tries;   /* posts that got no receipt, in this and earlier rounds */
    uint64_t held;    /* what the office holds now */
    bool went_back;
    bool hopeless;          /* the last answer asks for a person, not for patience */
    char why[400];          /* why the last try brought no receipt; "" after a receipt */
    uint64_t used;          /* bytes on the link today, so far (linkstate.h) */
    bool used_up;           /* the day's budget: routine records wait, the urgent go on */
    uint64_t words;         /* instructions of the office that are entries now */
    uint64_t words_ignored; /* did not hold; they changed nothing */
    char word_why[256];     /* of the last of them */
};

/* What carries a bundle there and its answer back: as fsp_link_post(), which it is over HTTP. */
struct fsp_carrier {
    enum fsp_rc (*post)(void *ctx, const void *bytes, size_t len, struct fsp_link_reply *reply,
            struct fsp_err *err);
    void *ctx;
};

struct fsp_push_options {
    struct fsp_link_options link;
    /* Asked between two bundles, with link.ctx; true: the round ends there with REST, and the next
     * one goes on. May be NULL. */
    bool (*pause)(void *ctx);
    const struct fsp_sync_plan *plan;  /* copied; NULL: by hand, everything pending, now */
    struct fsp_budget budget;          /* counted by hand, too, but only held with a plan */
    const struct fsp_carrier *carrier; /* NULL: HTTP; else it must outlive the push */
};

enum fsp_rc fsp_push_new(struct fsp_journal *journal, const struct fsp_push_options *options,
        struct fsp_push **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_push_free(struct fsp_push *push);

/* Send until nothing is pending or a wait is due. *next is REST or WAIT; a fork is FSP_EFORK. */
enum fsp_rc fsp_push_round(struct fsp_push *push, struct fsp_push_report *report,
        struct fsp_sync_action *next, struct fsp_err *err) FSP_MUST_CHECK;

/* Take link.lock; FSP_EBUSY (exit 75) when another process of this rig is sending. */
enum fsp_rc fsp_push_lock(
        const struct fsp_journal *journal, int *fd, struct fsp_err *err) FSP_MUST_CHECK;

#endif
