/*
 * Verify a whole office store again, from the stored bytes alone.
 *
 * The shelf's file and its views, the desk's file when there is one. Per log: the tree over all entries against tip and heads, every head's rig signature and
 * cosignature, and how many entries this office cannot read (which is no fault of the store). Per
 * rig: the stored states of its account against a fold of every entry.
 * Everything wrong is listed; the check goes on after it.
 *
 * Ownership: the report is init/fini by the caller.
 * Threads: one shelf, one thread.
 * Errors: only what keeps the check from running at all; what it finds is in the report.
 */
#ifndef FSP_OFFICE_CHECK_H
#define FSP_OFFICE_CHECK_H

#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "fold/fold.h"
#include "office/keys.h"
#include "office/shelf.h"

struct fsp_check_log {
    struct fsp_shelf_log log;
    uint64_t size;
    uint8_t root[FSP_HASH_LEN];
    uint64_t heads;
    uint64_t unreadable;
};

struct fsp_check_report {
    struct fsp_check_log *logs;
    size_t n_logs;
    uint64_t entries;
    uint64_t heads;
    uint64_t forks;                 /* kept as evidence */
    struct fsp_fold_checked states; /* of all rigs' accounts; damaged ones are thrown away */
    bool leave_states;              /* set by the caller: the stored states are not looked at */
    bool desk;                      /* there is one, and it was checked */
    size_t problems;                /* lines in text */
    struct fsp_buf text;            /* one problem a line, already safe to show */
};

void fsp_check_report_init(struct fsp_check_report *report);
void fsp_check_report_fini(struct fsp_check_report *report);

enum fsp_rc fsp_check_store(struct fsp_shelf *shelf, const struct fsp_office_keys *keys,
        struct fsp_check_report *report, struct fsp_err *err) FSP_MUST_CHECK;

#endif
