/*
 * What fleet, rig and early say: as text, JSON and CSV. Tables are those of tables.h.
 *
 * Ownership: everything is appended to the caller's buffer; the fleet is borrowed.
 * Units: as the names and headings say: ft, ton-miles. JSON members that are not known are null.
 * Errors: stick in the buffer.
 */
#ifndef FSP_OFFICE_SHOW_H
#define FSP_OFFICE_SHOW_H

#include "base/buf.h"
#include "office/fleet.h"

/* Text in the order of attention; JSON and CSV by name. */
void fsp_show_fleet(const struct fsp_fleet *fleet, struct fsp_buf *buf);
void fsp_show_fleet_json(const struct fsp_fleet *fleet, struct fsp_buf *buf);
void fsp_show_fleet_csv(const struct fsp_fleet *fleet, struct fsp_buf *buf);

void fsp_show_rig(
        const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig, struct fsp_buf *buf);
/* "ledger" is the object of fsp_ledger_json(), byte for byte what the rig itself says. */
void fsp_show_rig_json(
        const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig, struct fsp_buf *buf);
/* The rig's cuts, one a row. */
void fsp_show_rig_csv(
        const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig, struct fsp_buf *buf);

/* Rigs flagged for repeated early cuts, with the cuts that were judged. */
void fsp_show_early(const struct fsp_fleet *fleet, struct fsp_buf *buf);
void fsp_show_early_json(const struct fsp_fleet *fleet, struct fsp_buf *buf);
void fsp_show_early_csv(const struct fsp_fleet *fleet, struct fsp_buf *buf);

#endif
