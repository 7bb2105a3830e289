#include "fold/fold_db.h"

#include "store/logtable.h"
#include "store/statetable.h"

static enum fsp_rc
scan(void *ctx, int64_t log, const uint64_t within[2], fsp_fold_visit *visit, void *visit_ctx,
        struct fsp_err *err)
{
    return fsp_logtable_scan(ctx, log, within[0], within[1], visit, visit_ctx, err);
}

static enum fsp_rc
marks(void *ctx, const char *owner, struct fsp_buf *out, struct fsp_err *err)
{
    return fsp_statetable_marks(ctx, owner, out, err);
}

static enum fsp_rc
state(void *ctx, const char *owner, int64_t cuts, struct fsp_buf *out, struct fsp_err *err)
{
    return fsp_statetable_state(ctx, owner, cuts, out, err);
}

static enum fsp_rc
states(void *ctx, const char *owner, fsp_fold_each *each, void *each_ctx, struct fsp_err *err)
{
    return fsp_statetable_states(ctx, owner, each, each_ctx, err);
}

static enum fsp_rc
keep_marks(void *ctx, const char *owner, const struct fsp_buf *bytes, struct fsp_err *err)
{
    return fsp_statetable_keep_marks(ctx, owner, bytes, err);
}

static enum fsp_rc
keep_state(void *ctx, const char *owner, const int64_t cuts_from[2],
        const struct fsp_buf *bytes, struct fsp_err *err)
{
    return fsp_statetable_keep_state(ctx, owner, cuts_from, bytes, err);
}

static enum fsp_rc
drop_state(void *ctx, const char *owner, int64_t cuts, struct fsp_err *err)
{
    return fsp_statetable_drop_state(ctx, owner, cuts, err);
}

void
fsp_fold_store_db(struct fsp_db *db, const char *owner, struct fsp_fold_store *out)
{
    *out = (struct fsp_fold_store){
            .ctx = db,
            .owner = owner,
            .scan = scan,
            .marks = marks,
            .state = state,
            .states = states,
            .keep_marks = keep_marks,
            .keep_state = keep_state,
            .drop_state = drop_state,
    };
}
