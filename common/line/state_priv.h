/*
 * What state.c and state_fold.c share: pieces that write a value, or read it, by the same call.
 */
#ifndef FSP_LINE_STATE_PRIV_H
#define FSP_LINE_STATE_PRIV_H

#include "base/buf.h"
#include "line/ledger_priv.h"

struct fsp_archive {
    struct fsp_buf *out; /* writing; NULL: reading */
    struct fsp_cursor in;
    char *block; /* where texts read go: as long as the bytes, so it always fits */
    size_t used;
    bool bad;
};

void fsp_state_u64(struct fsp_archive *a, uint64_t *value);
void fsp_state_size(struct fsp_archive *a, size_t *value, size_t most);
void fsp_state_i64(struct fsp_archive *a, int64_t *value);
/* Within 0 .. most. */
void fsp_state_int(struct fsp_archive *a, int *value, int most);
void fsp_state_u32(struct fsp_archive *a, uint32_t *value);
void fsp_state_bool(struct fsp_archive *a, bool *value);
void fsp_state_double(struct fsp_archive *a, double *value);
void fsp_state_text(struct fsp_archive *a, const char **text);
/* The whole fold. */
void fsp_state_fold(struct fsp_archive *a, struct fold *fold);

#endif
