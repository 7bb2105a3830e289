/*
 * A script of real actions at both ends, for the tests that cut power or fail allocations: an office,
 * two rigs, couriers between them. Each action opens its store, does one thing as the command of that
 * name does, and closes it; what it lets out (bundles, answers, an acknowledgement) counts when the
 * action returned FSP_OK.
 *
 * Clock and randomness hang on the action alone, so an action done again makes the same entries, and a
 * script that was interrupted ends with the same content as one that was not.
 *
 * Ownership: init/fini; a script's mail is its own, copied by script_copy_mail().
 * Errors: those of the actions, in err.
 */
#ifndef FSP_TESTS_SUPPORT_SCRIPT_H
#define FSP_TESTS_SUPPORT_SCRIPT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/clock.h"
#include "base/err.h"
#include "base/limits.h"
#include "proof/tree.h"
#include "wire/bundle.h"

#define SCRIPT_ACTIONS_MAX 40
#define SCRIPT_RIGS        2
#define SCRIPT_PIECES      4 /* bundles or answers of one action */
#define SCRIPT_ENTRIES     64
#define SCRIPT_LOGS        4

/* A head whose signature left, or that the office answered for. */
struct script_head {
    char origin[FSP_ORIGIN_MAX + 1];
    uint64_t size;
    uint8_t root[FSP_HASH_LEN];
};
struct script_piece {
    uint8_t *bytes;
    size_t len;
    int status; /* of an answer */
    struct script_head head;
};
struct script_mail {
    size_t n;
    struct script_piece piece[SCRIPT_PIECES];
};

struct script {
    char root[160];
    int64_t now_us;
    uint64_t random;
    struct fsp_env env;
    struct script_mail mail[SCRIPT_ACTIONS_MAX];
};

enum script_place {
    SCRIPT_OFFICE,
    SCRIPT_HERON,
    SCRIPT_EGRET
};

void script_init(struct script *script, const char *root);
void script_fini(struct script *script);
/* What the first n actions of `from` let out. */
void script_copy_mail(struct script *script, const struct script *from, size_t n);
size_t script_actions(void);
const char *script_name(size_t action);
enum script_place script_place(size_t action);
/* Whether its entries come all or not at all. */
bool script_is_whole(size_t action);
/* Whether an earlier action does the same with other data. */
bool script_is_repeat(size_t action);
/* Do it, or do it again. */
enum fsp_rc script_run(struct script *script, size_t action, struct fsp_err *err);

/* What the stores hold, read and verified by the programs' own checks. */
struct script_log {
    char origin[FSP_ORIGIN_MAX + 1];
    uint64_t size;
    uint8_t leaf[SCRIPT_ENTRIES][FSP_HASH_LEN];
    uint8_t root[FSP_HASH_LEN];
    uint64_t signed_size; /* a rig's: what its size file says */
    uint64_t held;        /* a rig's: what it knows the office to hold */
    uint64_t sent;        /* a rig's: bundles whose answer it waits for */
};
struct script_store {
    bool there;
    size_t n_logs;
    struct script_log log[SCRIPT_LOGS];
    uint64_t entries;      /* of all its logs */
    uint64_t instructions; /* the office's: written to heron */
    bool invited[SCRIPT_RIGS];
};
struct script_seen {
    struct script_store store[1 + SCRIPT_RIGS];
};
#define SCRIPT_ALL 7u /* a bit for each place: 1 << SCRIPT_OFFICE and so on */
/* An empty text when all is well; else what is wrong with a store that is there. Of the other places
 * nothing is said: they stay empty. */
void script_see(struct script *script, unsigned wanted, struct script_seen *seen, char *wrong,
        size_t size);

#endif
