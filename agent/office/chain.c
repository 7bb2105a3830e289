#include "office/chain.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"

struct list {
    struct fsp_chain_log *items; /* in the order of enrolment */
    size_t n;
    size_t cap;
};

static enum fsp_rc
note_renewals(struct fsp_shelf *shelf, struct fsp_chain_log *item, struct fsp_err *err)
{
    struct fsp_shelf_renewal next;
    enum fsp_rc rc = shelf->ops->renewal(shelf->ctx, item->log.id, &item->renewal, err);

    item->renewed = rc == FSP_OK;
    if (item->renewed && item->renewal.from != 0) {
        rc = shelf->ops->continued(shelf->ctx, item->renewal.from, 0, &next, err);
        item->second = rc == FSP_OK && next.log != item->log.id;
    }
    if (rc != FSP_OK && rc != FSP_ENOTFOUND)
        return rc;
    rc = shelf->ops->continued(shelf->ctx, item->log.id, 0, &next, err);
    item->closed = rc == FSP_OK;
    item->closed_size = item->closed ? next.closed_size : 0;
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static enum fsp_rc
load(struct fsp_shelf *shelf, const char *rig, struct list *list, struct fsp_err *err)
{
    struct fsp_shelf_log log = {.id = 0};
    enum fsp_rc rc = FSP_OK;

    while (rc == FSP_OK) {
        rc = shelf->ops->next_log_of(shelf->ctx, rig, log.id, &log, err);
        if (rc != FSP_OK)
            continue;
        if (fsp_mem_grow(
                    (void **)&list->items, &list->cap, list->n + 1, sizeof(*list->items)) != 0)
            return fsp_err_set(err, FSP_ENOMEM, "out of memory");
        memset(&list->items[list->n], 0, sizeof(*list->items));
        list->items[list->n].log = log;
        list->n++;
    }
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = FSP_OK;
    }
    for (size_t i = 0; rc == FSP_OK && i < list->n; i++)
        rc = note_renewals(shelf, &list->items[i], err);
    return rc;
}

/* The first log not placed yet (its id is 0 then) that continues `from`; n when there is none. */
static size_t
continues(const struct list *list, int64_t from)
{
    for (size_t i = 0; i < list->n; i++)
        if (list->items[i].log.id != 0 && list->items[i].renewed &&
                list->items[i].renewal.from == from)
            return i;
    return list->n;
}

/* The first log not placed yet that continues none; n when there is none. */
static size_t
begins(const struct list *list)
{
    for (size_t i = 0; i < list->n; i++)
        if (list->items[i].log.id != 0 &&
                (!list->items[i].renewed || list->items[i].renewal.from == 0))
            return i;
    return list->n;
}

/* A log continues one that was enrolled before it, so there is no circle and every log is placed. */
static void
place(struct list *list, struct fsp_chain_log *out)
{
    size_t placed = 0;

    while (placed < list->n) {
        size_t next = list->n;

        /* Behind the deepest placed log that something continues; else the next that begins. */
        for (size_t depth = placed; next == list->n && depth > 0; depth--)
            next = continues(list, out[depth - 1].log.id);
        if (next == list->n)
            next = begins(list);
        if (next == list->n)
            break;
        out[placed++] = list->items[next];
        list->items[next].log.id = 0;
    }
}

enum fsp_rc
fsp_chain_load(struct fsp_shelf *shelf, const char *rig, struct fsp_chain_log **out, size_t *n,
        struct fsp_err *err)
{
    struct list list = {.items = NULL};
    enum fsp_rc rc = load(shelf, rig, &list, err);

    *out = NULL;
    *n = 0;
    if (rc == FSP_OK) {
        *out = fsp_mem_array(list.n, sizeof(**out));
        if (*out == NULL)
            rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
    }
    if (rc == FSP_OK && *out != NULL) {
        place(&list, *out);
        *n = list.n;
    }
    free(list.items);
    return rc;
}

void
fsp_chain_flag_text(const struct fsp_chain_log *log, struct fsp_buf *buf)
{
    const char *said = "";

    if (!log->renewed)
        return;
    if (!log->renewal.confirmed) {
        fsp_buf_add_text(buf, "renewal not confirmed");
        said = ", ";
    }
    switch (log->renewal.how) {
    case FSP_RENEWAL_PROVED:
        break;
    case FSP_RENEWAL_INVITED:
        fsp_buf_printf(buf, "%snot proved by the old key", said);
        said = ", ";
        break;
    case FSP_RENEWAL_UNFIT:
        fsp_buf_printf(buf, "%sit names a log, size or root that is not held here", said);
        said = ", ";
        break;
    }
    if (log->second)
        fsp_buf_printf(buf, "%sanother log continues the same one", said);
}
