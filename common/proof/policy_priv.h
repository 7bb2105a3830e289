/*
 * A parsed trust file, shared by policy.c (its form) and evidence.c (its judgement).
 *
 * Ownership: one block; fsp_policy_free() frees all.
 */
#ifndef FSP_PROOF_POLICY_PRIV_H
#define FSP_PROOF_POLICY_PRIV_H

#include <stdbool.h>
#include <stddef.h>

#include "proof/evidence.h"

#define FSP_POLICY_NAMES_MAX (FSP_POLICY_KEYS_MAX + FSP_POLICY_GROUPS_MAX)

/* A name of the policy: a witness or a group of names before it. */
struct fsp_policy_name {
    char *text;
    bool used;                           /* already a member of a group */
    size_t witness;                      /* index of the witness, when need is 0 */
    size_t need;                         /* group: how many members, at least 1 */
    size_t n;                            /* group: members */
    size_t member[FSP_POLICY_NAMES_MAX]; /* indices of names */
};

struct fsp_policy {
    struct fsp_vkey log[FSP_POLICY_KEYS_MAX];
    size_t logs;
    struct fsp_vkey witness[FSP_POLICY_KEYS_MAX];
    size_t witnesses;
    struct fsp_policy_name name[FSP_POLICY_NAMES_MAX];
    size_t names;
    size_t groups;
    bool has_quorum;
    bool quorum_none;
    size_t quorum; /* index of a name */
};

/* Whether the witnesses marked in cosigned[] are enough. */
bool fsp_policy_satisfied(const struct fsp_policy *policy, const bool *cosigned);

#endif
