/*
 * What the pages are made of besides themselves, embedded gzip'd at build (scripts/cmake/Embed.cmake):
 * stylesheet, script and picture are our own (pages/), Chart.js is the distribution's
 * (docs/licences.md).
 *
 * Ownership: static. Threads: any.
 */
#ifndef FSP_OFFICE_BOARD_ASSETS_H
#define FSP_OFFICE_BOARD_ASSETS_H

#include "web/http.h"

extern const struct fsp_http_asset fsp_asset_style;
extern const struct fsp_http_asset fsp_asset_board;
extern const struct fsp_http_asset fsp_asset_picture;
extern const struct fsp_http_asset fsp_asset_chart;

#endif
