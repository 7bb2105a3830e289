/*
 * The office's pages: the fleet at /, a rig at /rig?name=NAME, the stylesheet and the picture.
 *
 * Server-rendered, works without script. Every text of a record is shown through web/html.h.
 *
 * Pages are made of the newest view (live.h) and never read the store.
 *
 * Ownership: new/free; what `about` points to is borrowed.
 * Threads: any.
 * Errors: become answers: 503 for a rig that is not in a view yet.
 */
#ifndef FSP_OFFICE_BOARD_H
#define FSP_OFFICE_BOARD_H

#include "base/clock.h"
#include "base/err.h"
#include "office/fleet.h"
#include "office/live.h"
#include "web/http.h"

struct fsp_board;

struct fsp_board_about {
    const struct fsp_shelf_ops *ops;
    const char *store;
    const struct fsp_env *env;
    const struct fsp_vkey *keys; /* the office's instructions keys */
    size_t n_keys;
    struct fsp_live *live;
};

enum fsp_rc fsp_board_new(const struct fsp_board_about *about, struct fsp_board **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_board_free(struct fsp_board *board);

/* The routes of the pages; their context is the board. Ends with a NULL path. Static. */
const struct fsp_http_route *fsp_board_routes(void);

/* The fleet's page whole, and a rig's. */
void fsp_board_fleet(const struct fsp_fleet *fleet, struct fsp_buf *buf);
void fsp_board_rig(
        const struct fsp_fleet *fleet, const struct fsp_fleet_rig *rig, struct fsp_buf *buf);

#endif
