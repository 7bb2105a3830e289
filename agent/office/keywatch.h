/*
 * The office's keys while a service runs: another process may have let one follow another
 * (`keys renew`).
 *
 * A look costs one stat(2) of STORE/keys. When that folder changed, all keys are read again: a whole
 * set or none. What was handed out stays as it is until free, so that whoever signs with an older set
 * may end what it began; there are no more sets than keys are kept.
 *
 * Ownership: new/free; sets are the watch's.
 * Threads: look belongs to one thread; a set handed out is read-only.
 * Errors: those of office/keys.h; the set before it holds.
 */
#ifndef FSP_OFFICE_KEYWATCH_H
#define FSP_OFFICE_KEYWATCH_H

#include <stdbool.h>

#include "base/err.h"
#include "office/keys.h"

#define FSP_KEYWATCH_LOOK_MS 5000u /* how often a service looks */

struct fsp_keywatch;

/* Reads the keys. */
enum fsp_rc fsp_keywatch_new(
        const char *store, struct fsp_keywatch **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_keywatch_free(struct fsp_keywatch *watch);

/* The newest set. Peek, until free. */
const struct fsp_office_keys *fsp_keywatch_keys(const struct fsp_keywatch *watch);

/* *changed: there is a newer set than at the last look. */
enum fsp_rc fsp_keywatch_look(
        struct fsp_keywatch *watch, bool *changed, struct fsp_err *err) FSP_MUST_CHECK;

#endif
