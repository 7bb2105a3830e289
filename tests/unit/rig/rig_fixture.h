/*
 * A rig's store in a folder of its own, on a clock and a generator that the test sets, and the
 * office's keys to answer with.
 */
#ifndef FSP_TESTS_UNIT_RIG_FIXTURE_H
#define FSP_TESTS_UNIT_RIG_FIXTURE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/clock.h"
#include "proof/key.h"
#include "rig/journal.h"
#include "wire/bundle.h"

#define FIXTURE_NOW_S INT64_C(1772323200) /* 2026-03-01T00:00:00Z */

struct fixture {
    char parent[64];
    char folder[96];
    int64_t now_us; /* what the wall clock says */
    uint64_t random;
    struct fsp_env env;
    struct fsp_skey *cosigner;
    struct fsp_skey *instructions;
    struct fsp_box_key box;
    struct fsp_invitation invitation;
    struct fsp_journal *journal;
};

int fixture_setup(void **state);
int fixture_teardown(void **state);
void fixture_reopen(struct fixture *fixture);
/* A drilling or tripping record at second `at` of 2026-02-01 (a CSV row would read the same). */
struct fsp_record *fixture_record(struct fixture *fixture, int at, const char *depth);
/* Enter n different records. */
void fixture_fill(struct fixture *fixture, int n);
/* Write text to a file of the parent folder; the path is static until the next call. */
const char *fixture_file(struct fixture *fixture, const char *name, const char *text);
/* Take a sheet of that text. */
enum fsp_rc fixture_take(struct fixture *fixture, const char *text, bool also,
        struct fsp_journal_added *added, struct fsp_err *err);
/* Entries of the log. */
uint64_t fixture_size(struct fixture *fixture);

/* A sheet of round trips, each at a minute of one hour. */
#define HEADER "kind,at,by,op,depth,row\n"
#define ROW(minute, depth, row)                                                                \
    "work,2026-02-02T10:" minute ":00Z,clerk,round-trip," depth "," row "\n"

/* rm -r of a folder without following links. */
void fixture_remove(const char *folder);

#endif
