/*
 * An office in a temporary folder with a settable clock, and rigs as bare as can be: a key, entries
 * in memory, and bundles made of them as a rig makes them.
 */
#ifndef FSP_TESTS_OFFICE_SUPPORT_H
#define FSP_TESTS_OFFICE_SUPPORT_H

#include "support/test.h"

#include <stdbool.h>

#include "base/buf.h"
#include "base/clock.h"
#include "office/intake.h"
#include "office/keys.h"
#include "office/shelf.h"
#include "proof/note.h"
#include "wire/answer.h"
#include "wire/bundle.h"

#define FLEET       "lantern-basin"
#define START_S     INT64_C(1772323200) /* 2026-03-01T00:00:00Z */
#define ENTRIES_MAX 256

struct office {
    char folder[64];
    int64_t now_us;
    uint64_t seed;
    struct fsp_env env;
    struct fsp_office_keys keys;
    struct fsp_shelf *shelf;
    struct fsp_intake *intake;
};

struct rig {
    char origin[FSP_ORIGIN_MAX + 1];
    uint8_t token[FSP_TOKEN_LEN];
    bool by_renewal; /* it enrols by its first entry */
    bool untold;     /* of what the office knows: its bundles are in the first form */
    bool short_receipt;
    struct fsp_skey *skey;
    char *entries[ENTRIES_MAX];
    size_t n;
    const char *instead; /* what a bundle carries for entry `at`, the head being honest */
    size_t at;
    const uint8_t *newest; /* id of the newest instruction in its log; NULL: it names none */
};

void office_start(struct office *office);
void office_stop(struct office *office);
/* A token for the rig's next log. */
void office_invite(struct office *office, const char *rig, uint8_t token[FSP_TOKEN_LEN]);
/* How many entries the shelf holds of the rig's log; UINT64_MAX when it has no such log. */
uint64_t office_size(struct office *office, const struct rig *rig);
/* Remove a folder and all in it. */
void remove_folder(const char *folder);

/* A rig named `name` with a log `incarnation`, invited by the office. */
void rig_start(
        struct rig *rig, struct office *office, const char *name, const char *incarnation);
void rig_stop(struct rig *rig);
/* Append an entry (copied). */
void rig_add(struct rig *rig, const char *entry);
/* n entries that differ from each other. */
void rig_add_many(struct rig *rig, size_t n);

/* A bundle of entries from..to - 1 with the head of `to`. */
void rig_bundle(const struct rig *rig, const struct office *office, uint64_t from, uint64_t to,
        bool enrolment, struct fsp_buf *out);
/* Make the bundle and take it; the status. answer may be NULL. */
int rig_send(const struct rig *rig, struct office *office, const uint64_t within[2],
        bool enrolment, struct fsp_buf *answer);
/* The receipt must be a note of the rig's log, signed by rig and office; its size, and the
 * cosignature's time when time_s is not NULL. */
uint64_t receipt_size(const struct fsp_buf *answer, const struct rig *rig,
        const struct office *office, uint64_t *time_s);

#endif
