/*
 * A page's surroundings for tests: nobody logged in, nothing behind.
 */
#ifndef FSP_TESTS_OFFICE_BOARD_SUPPORT_H
#define FSP_TESTS_OFFICE_BOARD_SUPPORT_H

#include "office/board.h"

static const struct fsp_viewer board_open_viewer = {.open = true};

/* A page of the fleet as whoever comes sees it while there is no account. */
static inline struct fsp_board_page
board_open_page(const struct fsp_fleet *fleet)
{
    return (struct fsp_board_page){
            .fleet = fleet, .viewer = &board_open_viewer, .title = "Page", .here = "/"};
}

static const struct fsp_board_fleet_ask board_all_rigs = {.page = 1};

#endif
