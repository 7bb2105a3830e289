/*
 * The office's pages: fleet, rig, line life, early cuts, inspections, links, an entry, and what they
 * are made of (stylesheet, scripts, picture).
 *
 * Server-rendered, works without script. Every text of a record is shown through web/html.h. Numbers
 * are those of the view of the fleet (live.h) or of a fold of the page's own (board_history.h); none
 * is made here. Every number of a cut, an inspection or a programme leads to the entry it comes from.
 *
 * Ownership: new/free; what `about` points to is borrowed until free. Pages that read the store have
 * one shelf of their own.
 * Threads: any; what reads the store is made one after the other.
 * Errors: become answers: 400 for a value that is none, 404 for a rig or an entry that is not there,
 * 503 when the store cannot be read now.
 */
#ifndef FSP_OFFICE_BOARD_H
#define FSP_OFFICE_BOARD_H

#include "base/clock.h"
#include "base/err.h"
#include "office/desk.h"
#include "office/flags.h"
#include "office/fleet.h"
#include "office/gate.h"
#include "office/live.h"
#include "web/http.h"

struct fsp_board;

struct fsp_board_about {
    const struct fsp_shelf_ops *ops;
    const char *store;
    const struct fsp_env *env;
    struct fsp_live *live;
    struct fsp_gate *gate; /* NULL: whoever comes reads, nobody changes */
    const char
            *prices; /* of a foot of line by rope size: "1-1/4=4.10 1-3/8=5.20"; NULL: none */
    const char *currency; /* "USD"; NULL: none */
};

enum fsp_rc fsp_board_new(const struct fsp_board_about *about, struct fsp_board **out,
        struct fsp_err *err) FSP_MUST_CHECK;
void fsp_board_free(struct fsp_board *board);

/* The routes of the pages; their context is the board. Ends with a NULL path. Static. */
const struct fsp_http_route *fsp_board_routes(void);

/* --- what every page is made from ------------------------------------------------------------ */

struct fsp_board_page {
    const struct fsp_fleet *fleet;
    const struct fsp_viewer *viewer;
    struct fsp_desk *desk;          /* who looked at which flag; NULL: not known */
    const struct fsp_live_lag *lag; /* NULL: nothing is behind */
    int64_t lag_s;                  /* how long the oldest of it waits */
    const char *title;              /* "Fleet", the rig's name */
    const char *here;               /* its place in the navigation: "/", "/early"; NULL: none */
    bool plots;                     /* the scripts are needed */
};

/* --- GET /: the fleet ------------------------------------------------------------------------ */

#define FSP_BOARD_FLEET_PAGE ((size_t)100) /* rigs */
#define FSP_BOARD_FIND_MAX   60

struct fsp_board_fleet_ask {
    const char *flag; /* fsp_flag_kind_word(); NULL: all */
    const char *find; /* in name, reel, well; NULL: all */
    size_t page;      /* from 1 */
};
void fsp_board_fleet(const struct fsp_board_page *page, const struct fsp_board_fleet_ask *ask,
        struct fsp_buf *buf);

/* --- GET /rig: one rig ----------------------------------------------------------------------- */

struct fsp_history; /* office/board_history.h */

/* history NULL: the rig has no log, or the store could not be read. */
void fsp_board_rig(const struct fsp_board_page *page, const struct fsp_fleet_rig *rig,
        const struct fsp_history *history, struct fsp_buf *buf);

/* --- GET /early, /line-life, /inspections, /links, /entry ------------------------------------- */

void fsp_board_early(const struct fsp_board_page *page, struct fsp_buf *buf);

struct fsp_board_life_ask {
    unsigned days;      /* cuts of so many days; 0: all */
    const char *prices; /* as in struct fsp_board_about */
    const char *currency;
};
/* FSP_EINVAL names the price that is none. NULL and "" are no prices. */
enum fsp_rc fsp_board_prices(const char *prices, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_board_life(const struct fsp_board_page *page, const struct fsp_board_life_ask *ask,
        struct fsp_buf *buf);

#define FSP_BOARD_INSPECTIONS_PAGE ((size_t)100)
#define FSP_BOARD_INSPECTIONS_MAX  ((size_t)5000) /* of one rig, when it is asked for */
struct fsp_board_inspections_ask {
    const char *rig;       /* NULL: every rig; so the others */
    const char *decision;  /* one of fsp_board_decisions */
    const char *signature; /* one of fsp_board_signatures */
    int64_t from_s;        /* begin of the first day; 0: not given */
    int64_t to_s;          /* begin of the last day */
    size_t page;           /* from 1 */
};
/* End with NULL. */
extern const char *const fsp_board_decisions[];
extern const char *const fsp_board_signatures[];
/* rig NULL: those that the view holds of every rig; else those of this rig alone. */
void fsp_board_inspections(const struct fsp_board_page *page,
        const struct fsp_board_inspections_ask *ask, const struct fsp_fleet_rig *rig,
        struct fsp_buf *buf);

void fsp_board_links(const struct fsp_board_page *page, struct fsp_buf *buf);

struct fsp_board_entry; /* office/board_entry.h */
void fsp_board_entry(const struct fsp_board_page *page, const struct fsp_fleet_rig *rig,
        const struct fsp_board_entry *entry, struct fsp_buf *buf);

#endif
