/*
 * JSON inside this folder: strict parsing, canonical writing. Nobody outside sees jansson.
 *
 * struct fsp_record is never defined: a pointer to it is a json_t object, so that nested objects
 * can be handed out without wrappers.
 *
 * Ownership: what is parsed is a new reference; json_decref() frees it.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_ENOMEM.
 */
#ifndef FSP_RECORD_JSON_PRIV_H
#define FSP_RECORD_JSON_PRIV_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "record/record.h"

#define FSP_JSON_DEPTH   8                         /* nesting; our own records need four */
#define FSP_JSON_MEMBERS ((size_t)256)             /* of one object */
#define FSP_JSON_INT_MAX INT64_C(9007199254740991) /* 2^53 - 1, RFC 8785 (I-JSON) */

/* Parse one JSON value of objects, lists, texts, integers and booleans. Refused: duplicate and
 * non-ASCII keys, reals, nulls, integers beyond 2^53 - 1, text that is not printable. */
enum fsp_rc fsp_json_parse(const void *bytes, size_t len, size_t max, json_t **out,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Append the canonical bytes. A failure sticks in buf. */
void fsp_json_write(const json_t *json, struct fsp_buf *buf);

/* True and *utc_s when the text is a time in the one form that is stored: seconds, T and Z. */
bool fsp_time_is_canonical(const char *text, int64_t *utc_s);

/* The two faces of one pointer. */
const json_t *fsp_json_of(const struct fsp_record *record);
json_t *fsp_json_mutable(const struct fsp_record *record);
struct fsp_record *fsp_json_record(json_t *json);

#endif
