/*
 * A copy of a database as it stands at one moment, while others go on writing it.
 *
 * The pages are copied as they are within one read of the source (SQLite's online backup), so that
 * the copy holds every transaction whole or not at all, and none that came later. The copy is one file,
 * without a write-ahead log, durable when the call returns. A copy that was cut short opens as an
 * empty database, never as half of one.
 *
 * Ownership: the source stays the caller's; nothing is kept open.
 * Threads: as the source's connection; outside a transaction of its.
 * Errors: those of db.h; FSP_EINVAL when path exists. After a failure the file may be there: the
 * caller removes it, with "-journal" beside it.
 */
#ifndef FSP_STORE_COPY_H
#define FSP_STORE_COPY_H

#include "base/err.h"
#include "store/db.h"

enum fsp_rc fsp_db_copy(
        struct fsp_db *from, const char *path, struct fsp_err *err) FSP_MUST_CHECK;

#endif
