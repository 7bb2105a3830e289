/*
 * The office's tables for other programs, each with its columns, for command and download alike.
 *
 * One list of columns a table says name, unit, meaning and print; CSV header, JSON keys, text and
 * docs/columns.md are made from it. Columns are never renamed, given another meaning or put in
 * another order; new ones come behind the last. Rows stand by the rig's name, then as the table
 * says.
 *
 * Ownership: everything in `from` is borrowed; output is appended to the caller's buffer.
 * Threads: one shelf, one desk, one thread.
 * Errors: FSP_ENOTFOUND (no such table), FSP_EINVAL (the table needs what `from` lacks), those of
 * shelf and desk. Others stick in the buffer.
 */
#ifndef FSP_OFFICE_TABLES_H
#define FSP_OFFICE_TABLES_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"
#include "office/desk.h"
#include "office/fleet.h"
#include "office/keys.h"
#include "office/shelf.h"
#include "office/table.h"

struct fsp_tables_from {
    const struct fsp_fleet *fleet;
    const struct fsp_fleet_rig *rig;    /* of this rig alone; NULL: of all */
    struct fsp_desk *desk;              /* who acknowledged flags; NULL: nobody is named */
    struct fsp_shelf *shelf;            /* instructions only */
    const struct fsp_office_keys *keys; /* instructions only */
};

struct fsp_tables_def {
    const char *name; /* "cuts" */
    const char *what; /* a sentence without its full stop */
    const struct fsp_column *columns;
    size_t n;
    bool inspections; /* the fleet must hold every rig's, or the rig's */
    bool of_one;      /* costs a reading of the rig's logs: downloads give it of one rig only */
    enum fsp_rc (*fill)(
            const struct fsp_tables_from *from, struct fsp_table *table, struct fsp_err *err);
};

/* i-th table; NULL past the end. Static. */
const struct fsp_tables_def *fsp_tables_at(size_t i);
/* FSP_ENOTFOUND names those there are. */
enum fsp_rc fsp_tables_find(const char *name, const struct fsp_tables_def **out,
        struct fsp_err *err) FSP_MUST_CHECK;
enum fsp_rc fsp_tables_write(const struct fsp_tables_def *def, enum fsp_table_form form,
        const struct fsp_tables_from *from, struct fsp_buf *buf,
        struct fsp_err *err) FSP_MUST_CHECK;
/* docs/columns.md whole. */
void fsp_tables_markdown(struct fsp_buf *buf);

/* ---- single rows, for answers that hold more than a table ---- */

/* The rig's row of `fleet` as members of an object that the caller opened and closes. */
void fsp_tables_fleet_members(const struct fsp_fleet_rig *rig, struct fsp_buf *buf);
/* The cut's row of `cuts`, the same way. */
void fsp_tables_cut_members(
        const struct fsp_fleet_rig *rig, const struct fsp_cut_row *cut, struct fsp_buf *buf);

struct fsp_instruct_list;
/* The table `instructions` of a list that was read already. */
void fsp_tables_instruction_list(const char *rig, const struct fsp_instruct_list *list,
        enum fsp_table_form form, struct fsp_buf *buf);

/* Index of the oldest cut that the review of the rig's early cuts looked at. */
size_t fsp_tables_judged_from(const struct fsp_fleet_rig *rig);

#endif
