/*
 * The crew's page: the line now, the next cut, what is ahead, and forms to enter records, served on
 * this machine.
 *
 * Server-rendered, works without script, nothing comes from elsewhere. Every request opens the journal
 * for itself, so that pages, commands and the sync work side by side; an entry is answered once it
 * is durable, and a form that is sent twice adds once. Only requests that name this machine
 * (localhost, 127.0.0.1, [::1]) are answered, and a change needs the token that only our own forms
 * bear: another page in the same browser can neither read nor write.
 *
 * Inspections are entered here like all else, unsigned; to sign one there is `enter --signer`.
 *
 * Ownership: start/stop; what `about` points to is borrowed until stop.
 * Threads: start and stop belong to one thread; pages are made in threads of their own.
 * Errors: FSP_EINVAL (an address that is not loopback), FSP_EUNAVAIL (cannot listen there), FSP_ENOMEM.
 */
#ifndef FSP_RIG_STATION_H
#define FSP_RIG_STATION_H

#include "base/clock.h"
#include "base/err.h"
#include "rig/linkstate.h"

struct fsp_station; /* opaque */

struct fsp_station_about {
    const char *store;
    const char *listen; /* 127.0.0.1:8465; port 0 picks one */
    const struct fsp_env *env;
    struct fsp_budget budget; /* as configured, to be shown */
};

enum fsp_rc fsp_station_start(const struct fsp_station_about *about, struct fsp_station **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_station_stop(struct fsp_station *station); /* accepts NULL */
/* Peek, until stop. */
const char *fsp_station_url(const struct fsp_station *station);

#endif
