#include "office/hand_back.h"

#include <stdlib.h>
#include <string.h>

#include "base/mem.h"
#include "office/chain.h"
#include "proof/register.h"
#include "proof/tree.h"
#include "wire/handback.h"

struct giving {
    struct fsp_shelf *shelf;
    struct fsp_chain_log *logs;
    size_t n;
    struct fsp_buf *out; /* the file */
    struct fsp_buf rest; /* of it, behind the manifest */
    struct fsp_buf part; /* one register */
};

static enum fsp_rc
write_entry(void *ctx, uint64_t index, const uint8_t *bytes, size_t len, struct fsp_err *err)
{
    struct giving *giving = ctx;

    (void)index;
    fsp_register_write_entry(bytes, len, &giving->part);
    return fsp_buf_check(&giving->part, "a register", err);
}

static enum fsp_rc
add_register(struct giving *giving, const struct fsp_chain_log *log, struct fsp_err *err)
{
    struct fsp_shelf *shelf = giving->shelf;
    struct fsp_register_top top;
    struct fsp_range range;
    struct fsp_buf head;
    uint64_t within[2] = {0, 0};
    enum fsp_rc rc;

    memset(&top, 0, sizeof(top));
    fsp_buf_init(&head, FSP_NOTE_MAX);
    rc = shelf->ops->head_below(shelf->ctx, log->log.id, UINT64_MAX, &range, &head, err);
    if (rc == FSP_OK) {
        memcpy(top.origin, log->log.origin, sizeof(top.origin));
        fsp_range_init(&top.range);
        top.to = range.size;
        top.to_head = fsp_buf_peek(&head);
        top.to_head_len = head.len;
        within[1] = range.size;
        fsp_buf_reset(&giving->part);
        fsp_register_write_top(&top, &giving->part);
        rc = shelf->ops->scan(shelf->ctx, log->log.id, within, write_entry, giving, err);
    }
    if (rc == FSP_OK) {
        fsp_register_write_end(&giving->part);
        rc = fsp_buf_check(&giving->part, "a register", err);
    }
    if (rc == FSP_OK)
        fsp_handback_add_register(&giving->rest, giving->part.data, giving->part.len);
    fsp_buf_fini(&head);
    return rc;
}

static enum fsp_rc
add_heads(struct giving *giving, const struct fsp_chain_log *log, struct fsp_err *err)
{
    struct fsp_shelf *shelf = giving->shelf;
    struct fsp_range range = {.size = 0};
    struct fsp_buf head;
    enum fsp_rc rc = FSP_OK;

    fsp_buf_init(&head, FSP_NOTE_MAX);
    while (rc == FSP_OK) {
        rc = shelf->ops->head_covering(shelf->ctx, log->log.id, range.size, &range, &head, err);
        if (rc == FSP_OK)
            fsp_handback_add_head(&giving->rest, head.data, head.len);
    }
    if (rc == FSP_ENOTFOUND) {
        fsp_err_clear(err);
        rc = fsp_buf_check(&giving->rest, "the hand-back", err);
    }
    fsp_buf_fini(&head);
    return rc;
}

/* Size and root of each log, as the manifest names them. */
static enum fsp_rc
describe(struct giving *giving, struct fsp_handback *back, struct fsp_err *err)
{
    struct fsp_shelf *shelf = giving->shelf;
    enum fsp_rc rc = FSP_OK;

    for (size_t i = 0; rc == FSP_OK && i < giving->n; i++) {
        const struct fsp_shelf_log *log = &giving->logs[i].log;
        struct fsp_range range;

        rc = shelf->ops->tip(shelf->ctx, log->id, &range, err);
        if (rc == FSP_OK)
            rc = fsp_vkey_make(&back->logs[i].vkey, log->origin, FSP_KEY_NOTE, log->pub, err);
        back->logs[i].size = range.size;
        fsp_range_root(&range, back->logs[i].root);
    }
    return rc;
}

static enum fsp_rc
give(struct giving *giving, const char *rig, const struct fsp_office_keys *keys,
        struct fsp_err *err)
{
    struct fsp_shelf *shelf = giving->shelf;
    struct fsp_handback back = {.n = 0};
    enum fsp_rc rc = fsp_chain_load(shelf, rig, &giving->logs, &giving->n, err);

    if (rc == FSP_OK && giving->n == 0)
        rc = fsp_err_set(err, FSP_ENOTFOUND,
                "%s: nothing is held of such a rig; see: farspool-office fleet", rig);
    if (rc == FSP_OK)
        rc = shelf->ops->fleet(shelf->ctx, back.fleet, err);
    if (rc != FSP_OK)
        return rc;
    memcpy(back.rig, giving->logs[0].log.rig, sizeof(back.rig));
    back.n = giving->n;
    back.logs = fsp_mem_array(back.n, sizeof(*back.logs));
    if (back.logs == NULL)
        return fsp_err_set(err, FSP_ENOMEM, "out of memory");
    rc = describe(giving, &back, err);
    for (size_t i = 0; rc == FSP_OK && i < giving->n; i++) {
        if (back.logs[i].size == 0)
            continue;
        rc = add_register(giving, &giving->logs[i], err);
        if (rc == FSP_OK)
            rc = add_heads(giving, &giving->logs[i], err);
    }
    if (rc == FSP_OK)
        rc = fsp_handback_write(giving->out, &back, &giving->rest, keys->instructions, err);
    fsp_handback_fini(&back);
    return rc;
}

enum fsp_rc
fsp_hand_back(struct fsp_shelf *shelf, const struct fsp_office_keys *keys, const char *rig,
        struct fsp_buf *out, size_t *logs, struct fsp_err *err)
{
    struct giving giving = {.shelf = shelf, .out = out};
    enum fsp_rc rc;

    fsp_buf_init(&giving.rest, FSP_HANDBACK_MAX);
    fsp_buf_init(&giving.part, FSP_HANDBACK_MAX);
    rc = shelf->ops->begin(shelf->ctx, false, err);
    if (rc == FSP_OK) {
        rc = give(&giving, rig, keys, err);
        shelf->ops->rollback(shelf->ctx);
    }
    *logs = giving.n;
    free(giving.logs);
    fsp_buf_fini(&giving.part);
    fsp_buf_fini(&giving.rest);
    return rc;
}
