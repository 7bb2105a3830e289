/*
 * What intake.c, intake_enrol.c and intake_group.c share.
 */
#ifndef FSP_OFFICE_INTAKE_PRIV_H
#define FSP_OFFICE_INTAKE_PRIV_H

#include <pthread.h>
#include <stdbool.h>

#include "office/intake.h"
#include "wire/answer.h"

struct fsp_intake {
    struct fsp_shelf *shelf;
    const struct fsp_office_keys *_Atomic keys; /* each use reads it once */
    const struct fsp_env *env;
    char fleet[FSP_NAME_MAX + 1];
    pthread_mutex_t mutex; /* over the queue; never held over work on the store */
    pthread_cond_t turned; /* a group was finished */
    struct passage *first; /* those that wait, in the order they came */
    struct passage *last;
    size_t waiting;
    uint64_t bundles;
    uint64_t groups;
    bool leading;             /* somebody has the store, and the scratch below */
    fsp_intake_grew_fn *grew; /* NULL: nobody is told */
    void *grew_ctx;
    _Atomic uint64_t records;
    _Atomic int64_t commit_us;
    struct fsp_buf note; /* scratch of who leads */
    struct fsp_buf held;
    struct fsp_buf words; /* frames of the instructions that wait for the rig */
};

/* One bundle on its way through the states above. */
struct passage {
    struct fsp_intake *intake;
    const uint8_t *digest; /* of the bundle */
    const struct fsp_bundle_head *head;
    const struct fsp_entry_bytes *entries;
    size_t n;
    struct fsp_shelf_log log;
    struct fsp_vkey vkey;
    struct fsp_range range; /* ours, then with what was appended */
    bool enrolled_now;      /* by this very bundle */
    bool fork;
    bool has_differs;
    uint64_t differs;
    bool closed; /* by this renewal: */
    struct fsp_shelf_renewal closing;
    int *status;
    struct fsp_buf *answer;
    bool keep;        /* what it wrote is to be committed */
    uint64_t records; /* new ones */
    enum fsp_rc rc;   /* not FSP_OK: no answer */
    struct fsp_err err;
    struct passage *next; /* in the queue */
    bool at_turn;
    bool done;
};

/* A plain answer with one line for a person. */
enum fsp_rc fsp_intake_refuse(const struct passage *p, int code, const char *line);
/* Back to the savepoint, and answer 409 about that log (0: it is not here): it is wanted from its size on. */
enum fsp_rc fsp_intake_gap(
        struct passage *p, const char *origin, int64_t log, struct fsp_err *err) FSP_MUST_CHECK;
/* The compact range that our entries of a log had at that size, which must not be above its tip. */
enum fsp_rc fsp_intake_range(struct passage *p, int64_t log, uint64_t size,
        struct fsp_range *range, struct fsp_err *err) FSP_MUST_CHECK;

/* intake_group.c: wait for its turn, go through the states, wait for the COMMIT. */
enum fsp_rc fsp_intake_wait(struct passage *p, struct fsp_err *err) FSP_MUST_CHECK;
/* intake.c: one bundle within the open transaction, from its turn until it is settled. */
enum fsp_rc fsp_intake_pass(struct passage *p, struct fsp_err *err) FSP_MUST_CHECK;

/* intake_enrol.c: the log of the bundle and its key, enrolled in the open transaction when it is
 * new. *status stays 0 when it went well. */
enum fsp_rc fsp_intake_find_log(struct passage *p, struct fsp_err *err) FSP_MUST_CHECK;

#endif
