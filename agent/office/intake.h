/*
 * The intake: takes one bundle, verifies it, commits it, and only then answers.
 *
 * HTTP, courier files and the bench all come through fsp_intake_take().
 *
 * Ownership: new/free; shelf, keys and env are borrowed until free. The answer is the caller's.
 * Units: len in bytes.
 * Threads: any number may call fsp_intake_take(). They open bundles beside each other; what waits
 * is committed together by one of them, in the order it came, and each waits for that, at most
 * FSP_INTAKE_WAIT_S until its turn. From new to free the shelf is the intake's alone.
 * Errors: a bundle that is refused is no error: status and answer say so. FSP_EBUSY (the writer is
 * stuck: try later), FSP_EIO, FSP_ECORRUPT (the store cannot acknowledge), FSP_ENOMEM: there is no
 * answer and, but after a commit that failed half-way, nothing was changed.
 */
#ifndef FSP_OFFICE_INTAKE_H
#define FSP_OFFICE_INTAKE_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/clock.h"
#include "base/err.h"
#include "office/keys.h"
#include "office/shelf.h"

#define FSP_INTAKE_WAIT_S 10

struct fsp_intake;

enum fsp_rc fsp_intake_new(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        const struct fsp_env *env, struct fsp_intake **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_intake_free(struct fsp_intake *intake);
/* A newer set of the office's keys, from now on. Any thread; what was the set before must stay until
 * free, a bundle on its way may end with it. */
void fsp_intake_keys(struct fsp_intake *intake, const struct fsp_office_keys *keys);

/* Since new: new records committed, when last (monotonic; 0: never), and how. */
struct fsp_intake_stats {
    uint64_t records;
    int64_t commit_us;
    size_t waiting;   /* bundles that wait for their turn now */
    uint64_t bundles; /* that went through their turn */
    uint64_t groups;  /* in so many transactions */
};
void fsp_intake_stats(struct fsp_intake *intake, struct fsp_intake_stats *stats);

/* Told after each commit that changed something of a rig: new entries, or 0 when it was something
 * else. By whoever commits; must not wait. Before the first bundle, if at all. */
typedef void fsp_intake_grew_fn(void *ctx, const char *rig, uint64_t entries);
void fsp_intake_tell(struct fsp_intake *intake, fsp_intake_grew_fn *grew, void *ctx);

/* Take a bundle. *status 200, 409, 422: answer (born with FSP_NOTE_MAX or more, emptied first) holds
 * the signed note of wire/answer.h; 400, 403, 413: one plain line without a newline, unsigned. */
enum fsp_rc fsp_intake_take(struct fsp_intake *intake, const uint8_t *bundle, size_t len,
        int *status, struct fsp_buf *answer, struct fsp_err *err) FSP_MUST_CHECK;

#endif
