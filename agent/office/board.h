/*
 * The office's pages: today the fleet at /, its stylesheet and its picture.
 *
 * Server-rendered, works without script. Every text of a record is shown through web/html.h.
 *
 * Ownership: new/free; store and env are borrowed. Pages have one reading shelf of their own.
 * Threads: any; pages are made one after the other.
 * Errors: become answers: 503 when the store cannot be read now.
 */
#ifndef FSP_OFFICE_BOARD_H
#define FSP_OFFICE_BOARD_H

#include "base/clock.h"
#include "base/err.h"
#include "office/fleet.h"
#include "web/http.h"

struct fsp_board;

enum fsp_rc fsp_board_new(const struct fsp_shelf_ops *ops, const char *store,
        const struct fsp_env *env, struct fsp_board **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_board_free(struct fsp_board *board);

/* The routes of the pages; their context is the board. Ends with a NULL path. Static. */
const struct fsp_http_route *fsp_board_routes(void);

/* The fleet's page whole. */
void fsp_board_fleet(const struct fsp_fleet *fleet, struct fsp_buf *buf);

#endif
