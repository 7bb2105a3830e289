/*
 * One value against one row of the table: converted from what was typed, or checked as stored.
 *
 * Ownership: *out is a new reference.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_ENOMEM; texts name the inner field only, callers put
 * "field NAME" before them.
 */
#ifndef FSP_RECORD_VALUE_PRIV_H
#define FSP_RECORD_VALUE_PRIV_H

#include "record/check.h"
#include "record/json_priv.h"
#include "record/kind.h"

/* outside NULL: the value is stored, nothing is converted. */
enum fsp_rc fsp_value_check(const struct fsp_field *field, json_t *in,
        const struct fsp_check_context *outside, json_t **out,
        struct fsp_err *err) FSP_MUST_CHECK;

/* A typed text as JSON: lists, objects and entries written as JSON are parsed, everything else is
 * a text, blanks around it dropped. */
enum fsp_rc fsp_value_typed(const struct fsp_field *field, const char *text, json_t **out,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Text made safe and short enough for a message. */
struct fsp_quote {
    char text[132];
};
struct fsp_quote fsp_quote(const char *text);

#endif
