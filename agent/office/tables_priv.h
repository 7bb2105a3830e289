/*
 * The tables' definitions, each beside its rows.
 */
#ifndef FSP_OFFICE_TABLES_PRIV_H
#define FSP_OFFICE_TABLES_PRIV_H

#include "office/tables.h"

/* tables_line.c */
extern const struct fsp_tables_def fsp_tables_fleet;
extern const struct fsp_tables_def fsp_tables_cuts;
extern const struct fsp_tables_def fsp_tables_early;
extern const struct fsp_tables_def fsp_tables_reels;
/* tables_flags.c */
extern const struct fsp_tables_def fsp_tables_flags;
/* tables_log.c */
extern const struct fsp_tables_def fsp_tables_inspections;
extern const struct fsp_tables_def fsp_tables_links;
extern const struct fsp_tables_def fsp_tables_logs;
extern const struct fsp_tables_def fsp_tables_instructions;

/* "proved", "invited", "unfit". Static. */
const char *fsp_tables_renewal_text(enum fsp_renewal_how how);
/* The rig's log that this one continues; NULL when none is held. Peek. */
const struct fsp_fleet_log *fsp_tables_continued(
        const struct fsp_fleet_rig *rig, const struct fsp_fleet_log *log);

/* Calls row for from->rig, or for every rig by name. */
typedef enum fsp_rc fsp_tables_row(const struct fsp_tables_from *from,
        const struct fsp_fleet_rig *rig, struct fsp_table *table, struct fsp_err *err);
enum fsp_rc fsp_tables_each(const struct fsp_tables_from *from, fsp_tables_row *row,
        struct fsp_table *table, struct fsp_err *err) FSP_MUST_CHECK;

#endif
