/*
 * The one error enum, and the text that travels with it.
 *
 * Each code means an action for the caller: retry, refuse, stop. The text is one line for a
 * person: what, where, what to do.
 *
 * Ownership: struct fsp_err lives in the caller's storage and holds no pointers; every err
 * parameter may be NULL.
 * Threads: one fsp_err, one thread.
 */
#ifndef FSP_BASE_ERR_H
#define FSP_BASE_ERR_H

#define FSP_ERR_TEXT_MAX 512

#define FSP_MUST_CHECK   __attribute__((warn_unused_result))
#define FSP_PRINTF(f, a) __attribute__((format(printf, f, a)))

enum fsp_rc {
    FSP_OK = 0,
    FSP_EAGAIN,   /* transient: retry later, nothing was changed */
    FSP_EINVAL,   /* the caller passed something it may not (usage) */
    FSP_EFORMAT,  /* input from outside does not parse */
    FSP_ELIMIT,   /* input from outside is over a stated limit */
    FSP_ECORRUPT, /* stored data contradicts itself: stop, never repair */
    FSP_ENOMEM,
    FSP_EIO,
    FSP_ENOTFOUND, /* what was asked for is not there */
    FSP_EVERIFY,   /* a signature, hash or proof does not hold: exit 2 */
    FSP_EUNAVAIL,  /* the other side cannot be had now: exit 69 */
    FSP_EBUSY,     /* somebody else is at it: exit 75 */
    FSP_EFORK,     /* two histories for one log */
};

struct fsp_err {
    enum fsp_rc rc;
    int os_errno;                /* errno at the failure, or 0 */
    char text[FSP_ERR_TEXT_MAX]; /* one line, cut at a character's boundary when too long */
};

/* Record a failure and return rc, so that "return fsp_err_set(...)" reads well. */
enum fsp_rc fsp_err_set(struct fsp_err *err, enum fsp_rc rc, const char *fmt, ...)
        FSP_PRINTF(3, 4);

/* The same, with ": " and the system's words for os_errno behind the text. */
enum fsp_rc fsp_err_sys(struct fsp_err *err, enum fsp_rc rc, int os_errno, const char *fmt, ...)
        FSP_PRINTF(4, 5);

/* Put "prefix: " before the text already there. Returns err->rc, or rc when err is NULL. */
enum fsp_rc fsp_err_wrap(struct fsp_err *err, enum fsp_rc rc, const char *fmt, ...)
        FSP_PRINTF(3, 4);

/* Back to "no error". */
void fsp_err_clear(struct fsp_err *err);

#endif
