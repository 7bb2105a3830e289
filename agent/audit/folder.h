/*
 * The names in a folder of evidence: records and registers, sorted, and what is neither.
 *
 * Ownership: list/free.
 * Errors: FSP_EIO, FSP_ELIMIT (more than FSP_FOLDER_FILES_MAX), FSP_ENOMEM.
 */
#ifndef FSP_AUDIT_FOLDER_H
#define FSP_AUDIT_FOLDER_H

#include <stdbool.h>
#include <stddef.h>

#include "base/err.h"

#define FSP_FOLDER_FILES_MAX 10000

enum fsp_folder_kind {
    FSP_FOLDER_RECORD,   /* N.record.json */
    FSP_FOLDER_REGISTER, /* *.register */
    FSP_FOLDER_ALONE,    /* a proof without its record */
    FSP_FOLDER_KNOWN,    /* policy, roster, keys, summaries, proofs with their record */
    FSP_FOLDER_OTHER,    /* not evidence */
};

struct fsp_folder_file {
    char *path; /* folder/name */
    enum fsp_folder_kind kind;
};

struct fsp_folder {
    struct fsp_folder_file *file;
    size_t n;
    size_t cap;
};

bool fsp_is_folder(const char *path);
enum fsp_rc fsp_folder_list(
        struct fsp_folder *folder, const char *path, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_folder_free(struct fsp_folder *folder);

#endif
