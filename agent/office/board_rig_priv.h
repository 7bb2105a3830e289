/*
 * What the files of a rig's page share.
 */
#ifndef FSP_OFFICE_BOARD_RIG_PRIV_H
#define FSP_OFFICE_BOARD_RIG_PRIV_H

#include "office/board_history.h"
#include "office/board_priv.h"

/* Served since cut, cuts, inspections, wells, programmes, drill strings, notes. history NULL: the rig
 * has no log, or the store could not be read. */
void fsp_board_rig_past(struct fsp_html *html, const struct fsp_fleet_rig *rig,
        const struct fsp_history *history);
void fsp_board_rig_logs(struct fsp_html *html, const struct fsp_fleet_rig *rig);

#endif
