/*
 * One record as a value: parsed from its canonical bytes, read through typed accessors.
 *
 * A record is one line of canonical JSON (RFC 8785; objects, arrays, strings, integers,
 * booleans). The only place that knows jansson's types is this folder.
 *
 * Ownership: new/free; texts are borrowed ("peek") until the record is freed.
 * Units: accessors that end in _si return SI: metres, newtons (a weight is its force),
 * newtons per metre, kg/m3, joules; fractions for per cent.
 * Threads: one record, one thread at a time.
 * Errors: FSP_EFORMAT, FSP_ELIMIT, FSP_ENOMEM.
 */
#ifndef FSP_RECORD_RECORD_H
#define FSP_RECORD_RECORD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "record/quantity.h"

struct fsp_record; /* an object, top-level or nested */

/* Parse stored bytes strictly: one JSON object, duplicate keys, reals, nulls, control characters
 * and more than FSP_ENTRY_MAX bytes refused. Does not check kinds or fields (check.h does). */
enum fsp_rc fsp_record_parse(const uint8_t *bytes, size_t len, struct fsp_record **out,
        struct fsp_err *err) FSP_MUST_CHECK;
/* A deep copy, for amendments. */
enum fsp_rc fsp_record_copy(const struct fsp_record *record, struct fsp_record **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_record_free(struct fsp_record *record);

/* Append the canonical bytes. */
void fsp_record_write(const struct fsp_record *record, struct fsp_buf *buf);
/* Append canonical bytes without `noted` and the computed fields: what identity is made of. */
void fsp_record_write_identity(const struct fsp_record *record, struct fsp_buf *buf);

/* The member's text; NULL when absent or no string. Peek. */
const char *fsp_record_text(const struct fsp_record *record, const char *field);
/* True and *out when the member is an integer. */
bool fsp_record_int(const struct fsp_record *record, const char *field, int64_t *out);
/* True and *out (seconds since 1970) when the member is a canonical time. */
bool fsp_record_time(const struct fsp_record *record, const char *field, int64_t *out);
/* True and *si when the member is a quantity of that dimension (see quantity.h). */
bool fsp_record_si(
        const struct fsp_record *record, const char *field, enum fsp_dim dim, double *si);
/* True and *out when the member is decimal text without unit (laps, factors), n/n included. */
bool fsp_record_number(const struct fsp_record *record, const char *field, double *out);
bool fsp_record_has(const struct fsp_record *record, const char *field);
/* A nested object: peek, NULL when absent. Valid until the outer record is freed. */
const struct fsp_record *fsp_record_object(const struct fsp_record *record, const char *field);
/* Items of a list member (0 when absent); item i as object, or NULL. Peek. */
size_t fsp_record_count(const struct fsp_record *record, const char *field);
const struct fsp_record *fsp_record_item(
        const struct fsp_record *record, const char *field, size_t i);
/* Name of the i-th member in canonical order, NULL past the end. Peek. */
const char *fsp_record_member(const struct fsp_record *record, size_t i);

/* Set every member of `fields` in the record (an amendment); kind is refused. */
enum fsp_rc fsp_record_amend(struct fsp_record *record, const struct fsp_record *fields,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Set one string member. */
enum fsp_rc fsp_record_set_text(struct fsp_record *record, const char *field, const char *text,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
