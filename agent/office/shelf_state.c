/* What is derived of the logs: stored states of the accounts, kept beside the shelf's own tables. */
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "fold/fold_db.h"
#include "office/shelf_sqlite_priv.h"

void
fsp_shelf_fold_store(void *ctx, const char *rig, struct fsp_fold_store *out)
{
    struct sqlite_shelf *shelf = ctx;

    fsp_fold_store_db(shelf->db, rig, out);
}

static enum fsp_rc
keep(struct fsp_db *db, const char *rig, const struct fsp_fold *fold)
{
    struct fsp_fold_store store;
    enum fsp_rc rc = fsp_db_begin(db, NULL);

    fsp_fold_store_db(db, rig, &store);
    if (rc == FSP_OK)
        rc = fold == NULL ? fsp_fold_forget(&store, NULL) : fsp_fold_keep(fold, &store, NULL);
    if (rc == FSP_OK)
        rc = fsp_db_commit(db, NULL);
    if (rc != FSP_OK)
        fsp_db_rollback(db);
    return rc;
}

/* Under the store's lock, as every writer; when somebody holds it, nothing is kept this time. */
bool
fsp_shelf_keep_fold(void *ctx, const char *rig, const struct fsp_fold *fold)
{
    const struct sqlite_shelf *shelf = ctx;
    struct fsp_db *db = NULL;
    int lock = -1;
    enum fsp_rc rc = fsp_file_lock(shelf->lock_path, false, &lock, NULL);

    if (rc != FSP_OK)
        return rc != FSP_EBUSY;
    if (fsp_db_open(shelf->path, FSP_DB_OFFICE, false, &fsp_shelf_schema, &db, NULL) == FSP_OK)
        (void)keep(db, rig, fold); /* best effort: whoever folds next reads more */
    fsp_db_close(db);
    fsp_file_unlock(lock);
    return true;
}
