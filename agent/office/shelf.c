#include "office/shelf.h"

#include <stdlib.h>
#include <string.h>

enum fsp_rc
fsp_shelf_open(const struct fsp_shelf_ops *ops, const char *store, enum fsp_shelf_access access,
        struct fsp_shelf **out, struct fsp_err *err)
{
    enum fsp_rc rc;
    struct fsp_shelf *shelf = NULL;

    *out = NULL;
    if (ops->version != FSP_SHELF_VERSION)
        return fsp_err_set(err, FSP_EINVAL, "shelf backend %s is of version %u, this is %u",
                ops->name, ops->version, FSP_SHELF_VERSION);
    shelf = calloc(1, sizeof(*shelf));
    if (shelf == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    shelf->ops = ops;
    shelf->access = access;
    shelf->store = strdup(store);
    if (shelf->store == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    rc = ops->open(store, access, &shelf->ctx, err);
    if (rc != FSP_OK)
        goto out;
    *out = shelf;
    shelf = NULL;
out:
    fsp_shelf_close(shelf);
    return rc;
}

void
fsp_shelf_close(struct fsp_shelf *shelf)
{
    if (shelf == NULL)
        return;
    if (shelf->ctx != NULL)
        shelf->ops->close(shelf->ctx);
    free(shelf->store);
    free(shelf);
}

enum fsp_rc
fsp_shelf_reopen(struct fsp_shelf *shelf, struct fsp_err *err)
{
    enum fsp_rc rc;
    struct fsp_shelf_log log = {0};

    if (shelf->ctx != NULL)
        shelf->ops->close(shelf->ctx);
    shelf->ctx = NULL;
    if (shelf->access == FSP_SHELF_CREATE)
        shelf->access = FSP_SHELF_WRITE;
    rc = shelf->ops->open(shelf->store, shelf->access, &shelf->ctx, err);
    if (rc != FSP_OK)
        return rc;
    rc = shelf->ops->check(shelf->ctx, err);
    while (rc == FSP_OK) {
        uint64_t size = 0;

        rc = shelf->ops->next_log(shelf->ctx, log.id, &log, err);
        if (rc == FSP_OK)
            rc = shelf->ops->verify(shelf->ctx, log.id, &size, err);
    }
    if (rc == FSP_ENOTFOUND)
        return FSP_OK;
    shelf->ops->close(shelf->ctx); /* not to be trusted: stays closed until it verifies */
    shelf->ctx = NULL;
    return rc;
}
