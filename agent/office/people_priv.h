/*
 * What people.c and people_login.c share.
 */
#ifndef FSP_OFFICE_PEOPLE_PRIV_H
#define FSP_OFFICE_PEOPLE_PRIV_H

#include "office/people.h"

/* Copy as much as fits; NULL is "". */
void fsp_people_copy(char *out, size_t size, const char *text);
/* Run a statement whose first parameter is the text, the second the number. */
enum fsp_rc fsp_people_run(struct fsp_desk *desk, const char *sql, const char *text,
        int64_t number, struct fsp_err *err) FSP_MUST_CHECK;

#endif
