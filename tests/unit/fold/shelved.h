/*
 * A rig's logs in memory with what is derived of them, and an office and inspectors that sign: what
 * the fold's tests stand on.
 */
#ifndef FSP_TESTS_FOLD_SHELVED_H
#define FSP_TESTS_FOLD_SHELVED_H

#include "support/test.h"

#include <stdbool.h>

#include "base/buf.h"
#include "base/clock.h"
#include "fold/fold.h"
#include "proof/key.h"
#include "proof/tree.h"

#define FLEET           "lantern-basin"
#define RIG             "heron"
#define AS_OF           INT64_C(1800000000)
#define SHELVED_LOGS    4
#define SHELVED_ENTRIES 2048
#define STATES_MAX      256

struct entry {
    struct fsp_buf bytes;
    uint8_t leaf[FSP_HASH_LEN];
};

struct shelved {
    struct entry *entries[SHELVED_LOGS];
    size_t n[SHELVED_LOGS];
    size_t n_logs;
    int64_t ids[SHELVED_LOGS];
    struct fsp_buf marks; /* derived; empty: none */
    struct {
        int64_t cuts, from_s;
        struct fsp_buf bytes;
    } states[STATES_MAX];
    size_t n_states;
    size_t scanned; /* entries given out */
    struct fsp_env env;
    uint64_t random;
    struct fsp_skey *office; /* instructions */
    struct fsp_skey *inspector;
    struct fsp_skey *second;
    uint64_t roster; /* version of the last */
};

struct shelved *shelved_new(uint64_t seed);
void shelved_free(struct shelved *shelved);
void shelved_store(struct shelved *shelved, struct fsp_fold_store *store);
/* Forget what is derived. */
void shelved_forget(struct shelved *shelved);

/* Append to the newest log: a checked record (members without kind and at), or bytes as they are.
 * Returns the index. */
size_t shelved_put(
        struct shelved *shelved, const char *kind, int64_t at_s, const char *members);
size_t shelved_bytes(struct shelved *shelved, const void *bytes, size_t len);
/* An inspection, signed by the key (NULL: unsigned); `as` is the inspector it names. */
size_t shelved_inspect(struct shelved *shelved, int64_t at_s, const char *decision,
        const char *as, const struct fsp_skey *key);
/* A countersignature of an entry of any log. */
size_t shelved_countersign(struct shelved *shelved, int64_t at_s, size_t log, size_t index,
        const struct fsp_skey *key);
/* An amendment; `what` is "void" or the members of set. */
size_t shelved_amend(
        struct shelved *shelved, int64_t at_s, size_t log, size_t index, const char *what);
/* The office's roster with the inspector, and the second when with_second. */
size_t shelved_roster(struct shelved *shelved, int64_t at_s, bool with_second);
/* Another log continues the rig's. */
void shelved_renew(struct shelved *shelved);

/* Rig, reel, drill string, programme. */
void shelved_open(struct shelved *shelved, int64_t at_s);

/* Fold what is there up to `sizes` (NULL: everything). */
struct fsp_fold *shelved_fold(
        struct shelved *shelved, const size_t *sizes, bool whole, size_t inspections);
/* Keep it, as a store would. */
void shelved_keep(struct shelved *shelved, const struct fsp_fold *fold);
/* Everything a fold says. */
void shelved_says(const struct fsp_fold *fold, struct fsp_buf *out);

#endif
