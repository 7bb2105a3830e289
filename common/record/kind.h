/*
 * The one table of record kinds and fields. It drives checking, help, the day-sheet template and
 * docs/records.md.
 *
 * Everything is static and read-only.
 */
#ifndef FSP_RECORD_KIND_H
#define FSP_RECORD_KIND_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buf.h"
#include "record/quantity.h"

#define FSP_FIELD_TEXT_MAX 200 /* bytes of a text field whose row says nothing else */

enum fsp_field_type {
    FSP_TEXT,     /* printable UTF-8 */
    FSP_WORD,     /* one of `words` */
    FSP_COUNT,    /* integer within least..most */
    FSP_NUMBER,   /* decimal text or fraction, no unit, within least..most */
    FSP_QUANTITY, /* number with unit of `dim`, within least..most (SI) */
    FSP_TIME,     /* RFC 3339 */
    FSP_ENTRY,    /* {log,index,leaf}; typed as the entry's number of this log */
    FSP_LIST,     /* list of objects with `sub` fields; typed as JSON text in a cell */
    FSP_OBJECT,   /* object: with `sub` fields, or free (amend's set) when sub is NULL */
    FSP_BYTES,    /* base64 text */
};

enum fsp_field_flag {
    FSP_REQUIRED = 1,
    FSP_AGENT = 2,    /* set by the agent, refused from outside (noted) */
    FSP_COMPUTED = 4, /* left out of the identity (shown ton-miles, factor, rules) */
    FSP_POSITIVE = 8, /* above zero */
    /* Forms beyond the type. */
    FSP_EVEN = 16,   /* an even count */
    FSP_ROPE = 32,   /* a rope's diameter: inches or millimetres only */
    FSP_GRADE = 64,  /* IPS, EIPS, EEIPS, or the wires' strength in N/mm2 */
    FSP_ZONE = 128,  /* an offset from UTC */
    FSP_TOURS = 256, /* starting times of the tours, "06:00 18:00" */
};

struct fsp_field {
    const char *name;
    enum fsp_field_type type;
    enum fsp_dim dim;
    unsigned flags;
    const char *words; /* space-separated, FSP_WORD only */
    /* FSP_COUNT, FSP_NUMBER: bounds. FSP_QUANTITY: bounds in SI, both 0: the dimension's own.
     * FSP_TEXT: most bytes, 0: FSP_FIELD_TEXT_MAX. FSP_BYTES: bytes before base64. */
    double least, most;
    const struct fsp_field *sub; /* ends with a NULL name */
    const char *says;            /* one line for help and docs */
};

struct fsp_kind {
    const char *name;
    const char *says;
    const struct fsp_field
            *fields; /* its own, without the common ones; ends with a NULL name */
};

/* An operation of `work`: which of the fields it needs. */
struct fsp_op {
    const char *name;
    const char *says;
    const char *required; /* space-separated field names */
    const char *optional; /* beyond those every work record may carry */
};

const struct fsp_kind *fsp_kind_find(const char *name);
const struct fsp_kind *fsp_kind_at(size_t i); /* NULL past the end */
const struct fsp_op *fsp_op_find(const char *name);
const struct fsp_op *fsp_op_at(size_t i);
/* True when the operation requires the field; false for op NULL. */
bool fsp_op_needs(const struct fsp_op *op, const char *field);
/* True when a work record of this operation may carry the field (common fields not meant). */
bool fsp_op_takes(const struct fsp_op *op, const char *field);
/* True when any kind has a field of that name, the common ones included. */
bool fsp_field_known(const char *name);
/* The field name of any kind (or of this kind, when not NULL) nearest to what was typed, or NULL. */
const char *fsp_field_nearest(const struct fsp_kind *kind, const char *typed);
/* True when `word` is one of the space-separated words. */
bool fsp_words_have(const char *words, const char *word);
/* Names of a field's type for people: "length", "one of groove, bare", "whole number", ... */
void fsp_field_form(const struct fsp_field *field, struct fsp_buf *buf);
/* The common fields (v kind at by tour row note noted), ends with a NULL name. */
const struct fsp_field *fsp_common_fields(void);
/* A field of the kind or a common one; NULL when it has none of that name. */
const struct fsp_field *fsp_kind_field(const struct fsp_kind *kind, const char *name);

/* Help of one kind as plain text, the CSV header of a day sheet for it, docs/records.md whole. */
void fsp_kind_help(const struct fsp_kind *kind, struct fsp_buf *buf);
void fsp_kind_template(const struct fsp_kind *kind, struct fsp_buf *buf);
void fsp_kind_markdown(struct fsp_buf *buf);

#endif
