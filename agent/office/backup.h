/*
 * A backup of the office's store, made while it is served.
 *
 * A folder with the shelf and, when people said anything yet, the desk, each as it stood at one
 * moment; the keys only when they are asked for. It is made under another name beside where it is to
 * be, read again and verified (integrity, every log's tree, every head), and only then given its
 * name. So whatever has the name is whole; what was cut short has a name that ends in ".part-" and
 * six letters, and can be deleted.
 *
 * Only reading locks are held: rigs are answered meanwhile. The shelf's write-ahead log is not folded
 * in as long as the copying lasts.
 *
 * Ownership: everything is borrowed for the call; the report is the caller's, with what was verified.
 * Threads: one.
 * Errors: FSP_EINVAL (`out` is there), FSP_EVERIFY (the copy does not hold: the store is damaged; see
 * the report), those of shelf, desk and files. After any failure nothing is left behind.
 */
#ifndef FSP_OFFICE_BACKUP_H
#define FSP_OFFICE_BACKUP_H

#include <stdbool.h>

#include "base/err.h"
#include "office/check.h"
#include "office/keys.h"
#include "office/shelf.h"

struct fsp_backup_about {
    const struct fsp_shelf_ops *ops;
    const char *store;
    const char *out; /* a folder that is not there yet; its parent is */
    const struct fsp_office_keys *keys;
    bool with_keys;
};

enum fsp_rc fsp_backup_make(const struct fsp_backup_about *about,
        struct fsp_check_report *report, struct fsp_err *err) FSP_MUST_CHECK;

#endif
