/*
 * Day sheets as files: CSV (RFC 4180) or JSON lines, read row by row from memory.
 *
 * CSV: first line names the columns (the field names); a byte-order mark, CRLF and quotes are
 * understood; semicolons and tabs as separators are refused with advice. Blank lines are skipped.
 * Every row needs a kind: a `kind` column. A cell that is empty is "not given". A line break inside
 * a quoted cell becomes one space, since records hold no control characters.
 *
 * Ownership: the sheet borrows the file's bytes until it is freed; rows are the sheet's, valid until
 * the next call.
 * Errors: FSP_EFORMAT, FSP_ELIMIT (line, column and row limits of base/limits.h), texts begin with
 * "line N".
 */
#ifndef FSP_RECORD_SHEET_H
#define FSP_RECORD_SHEET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "record/check.h"

enum fsp_sheet_form {
    FSP_SHEET_CSV,
    FSP_SHEET_JSONL,
};

struct fsp_sheet; /* opaque */

/* Guess the form: JSON lines when the first character that is no space is '{'. */
enum fsp_sheet_form fsp_sheet_guess(const uint8_t *bytes, size_t len);
enum fsp_rc fsp_sheet_new(const uint8_t *bytes, size_t len, enum fsp_sheet_form form,
        struct fsp_sheet **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_sheet_free(struct fsp_sheet *sheet);

/* The next row as a checked record. FSP_ENOTFOUND at the end. *line is the row's first line,
 * counted from 1. The text of a failure names line, field, found and allowed. */
enum fsp_rc fsp_sheet_next(struct fsp_sheet *sheet, const struct fsp_check_context *context,
        struct fsp_record **out, size_t *line, struct fsp_err *err) FSP_MUST_CHECK;

#endif
