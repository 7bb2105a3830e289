/*
 * The desk: what people in the office say, kept apart from what rigs say. Accounts, sessions, the
 * trail of who did what, acknowledged flags, prices. The file desk.db in the store's folder, with a
 * rollback journal and synchronous EXTRA: it shares no lock with the shelf, so that a log-in never waits
 * for the intake.
 *
 * people.h has the accounts, sessions and trail; flags.h the acknowledgements; each with its own
 * statements over fsp_desk_db().
 *
 * Ownership: open/close. The connection is the desk's.
 * Threads: one desk, one thread at a time; any number of desks and processes on one file.
 * Errors: those of store/db.h. A store without a desk gets one when it is opened for writing;
 * FSP_ENOTFOUND when it is opened for reading only.
 */
#ifndef FSP_OFFICE_DESK_H
#define FSP_OFFICE_DESK_H

#include <stdbool.h>

#include "base/err.h"
#include "store/db.h"

struct fsp_desk;

enum fsp_rc fsp_desk_open(const char *store, bool write, struct fsp_desk **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_desk_close(struct fsp_desk *desk);
struct fsp_db *fsp_desk_db(struct fsp_desk *desk);

#endif
