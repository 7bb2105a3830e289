/*
 * What a browser sends as names and values: query strings, bodies of forms
 * (application/x-www-form-urlencoded), cookies, and two headers that are lists.
 *
 * A route says in a table which fields it takes. Everything else is refused: a field that is not in
 * the table, one given twice, one that is too long, not UTF-8, with control or direction characters,
 * with a bad escape, or not what the table says it is. So a handler sees checked values only. A field
 * that is given empty is as one that is not given.
 *
 * Ownership: fsp_form lives in the caller's storage, init/fini; fini wipes the values, which may be
 * passwords. Tables are static. Values are borrowed until fini.
 * Threads: one form, one thread.
 * Errors: FSP_EFORMAT, FSP_ELIMIT: one line that names the field; FSP_ENOMEM.
 * Source: WHATWG URL, section 5.1 (urlencoded parsing); RFC 6265, section 4.2.1 (Cookie); RFC 9110,
 * section 12.5.3 (Accept-Encoding); read in general knowledge.
 */
#ifndef FSP_WEB_FORM_H
#define FSP_WEB_FORM_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"

#define FSP_FORM_FIELDS_MAX 48                  /* of one table */
#define FSP_FORM_MAX        ((size_t)64 * 1024) /* a query or a form's body as it was sent */
#define FSP_FORM_NAME_MAX   40                  /* bytes of a field's name */
#define FSP_CLIENT_MAX      64                  /* an address as text */

enum fsp_form_is {
    FSP_FIELD_LINE = 0, /* one line of printable UTF-8 */
    FSP_FIELD_TEXT,     /* such lines; CR LF and CR become LF */
    FSP_FIELD_NAME,     /* a fleet's or rig's name: fsp_text_name() */
    FSP_FIELD_COUNT,    /* decimal digits: fsp_text_u64() */
    FSP_FIELD_TOKEN,    /* A-Z a-z 0-9 - and _ */
    FSP_FIELD_WORD,     /* one of words */
};

struct fsp_form_field {
    const char *name; /* NULL ends the table */
    size_t max;       /* bytes of the value */
    enum fsp_form_is is;
    const char *const *words;        /* of a WORD; ends with NULL */
    bool (*good)(const char *value); /* asked besides, when not NULL */
    const char *wants;               /* what good asks for: "a day, as 2026-03-01" */
};

struct fsp_form {
    const struct fsp_form_field *fields;
    struct fsp_buf values;          /* each with a NUL behind */
    size_t at[FSP_FORM_FIELDS_MAX]; /* 1 + where the value begins; 0: not given */
};

/* Without a field. `fields` NULL takes none. */
void fsp_form_init(struct fsp_form *form, const struct fsp_form_field *fields);
void fsp_form_fini(struct fsp_form *form);
/* Read what was sent; may be called once. */
enum fsp_rc fsp_form_read(struct fsp_form *form, const void *text, size_t len,
        struct fsp_err *err) FSP_MUST_CHECK;
/* NULL when it was not given or is empty. A name that is not in the table is our own bug (assert). */
const char *fsp_form_value(const struct fsp_form *form, const char *name);

/* The value of a cookie in a Cookie header (may be NULL), copied; false when it is not there, is
 * there twice, does not fit, or is no token (A-Z a-z 0-9 - _). */
bool fsp_cookie_find(const char *header, const char *name, char *out, size_t size);
/* Whether an Accept-Encoding header (may be NULL) takes gzip. */
bool fsp_accepts_gzip(const char *header);
/* Whether an If-None-Match header (may be NULL) names the tag (without quotes). */
bool fsp_names_etag(const char *header, const char *etag);
/* The last address of an X-Forwarded-For header: what the nearest proxy saw. False when it is no
 * address. */
bool fsp_forwarded_for(const char *header, char out[static FSP_CLIENT_MAX]);

#endif
