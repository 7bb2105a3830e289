/*
 * A fold's store over the tables of store/logtable.h and store/statetable.h.
 *
 * Ownership: database and owner are borrowed as long as the store is used.
 */
#ifndef FSP_FOLD_FOLD_DB_H
#define FSP_FOLD_FOLD_DB_H

#include "fold/fold.h"
#include "store/db.h"

/* owner: the rig's name, "" where the database holds one rig. */
void fsp_fold_store_db(struct fsp_db *db, const char *owner, struct fsp_fold_store *out);

#endif
