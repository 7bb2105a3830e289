/*
 * What show.c and show_signed.c share.
 */
#ifndef FSP_OFFICE_SHOW_PRIV_H
#define FSP_OFFICE_SHOW_PRIV_H

#include "office/show.h"

/* "name                  text", a line; NULL: unknown. */
void fsp_show_line(struct fsp_buf *buf, const char *name, const char *text);

/* Advice on the programme, open findings and the chain of logs: lines for a person. */
void fsp_show_advice(const struct fsp_fleet_rig *rig, struct fsp_buf *buf);
void fsp_show_findings(const struct fsp_fleet_rig *rig, struct fsp_buf *buf);
/* " continues …, renewal not confirmed"; nothing for a log that continues none. */
void fsp_show_renewal(
        const struct fsp_fleet_rig *rig, const struct fsp_fleet_log *log, struct fsp_buf *buf);

/* "advice", "findings", "inspections", "roster" as members of the rig's object. */
void fsp_show_signed_json(const struct fsp_fleet_rig *rig, bool *first, struct fsp_buf *buf);
/* "renewal": an object or null, of a log. */
void fsp_show_renewal_json(const struct fsp_fleet_rig *rig, const struct fsp_fleet_log *log,
        bool *first, struct fsp_buf *buf);

#endif
