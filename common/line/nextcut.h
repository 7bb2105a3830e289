/*
 * The next slip-and-cut by critical points, from where the line lay since it was hung.
 *
 * Worked out when it is asked for, never in the fold. Source and limits: critical.h.
 *
 * Ownership: everything in the caller's storage; names are static. Large: keep it off the stack.
 * Units: metres; laps are plain numbers. Threads: as the ledger. Errors: why_not says it.
 */
#ifndef FSP_LINE_NEXTCUT_H
#define FSP_LINE_NEXTCUT_H

#include <stdbool.h>

#include "base/buf.h"
#include "line/critical.h"
#include "line/critical_say.h"

struct fsp_ledger;

#define FSP_NEXT_CUT_NEEDS (FSP_CRITICAL_NEEDS + 2) /* mast, and a reel that hangs */

struct fsp_next_cut {
    double table_laps, table_cut_m; /* 0: no table for this mast and drum */
    size_t n;                       /* candidates, best first; 0: see needs and why_not */
    struct fsp_candidate list[FSP_CRITICAL_CANDIDATES];
    size_t n_needs; /* fields without which there is no check */
    const char *needs[FSP_NEXT_CUT_NEEDS];
    size_t places; /* the line lay in since it was hung, as recorded */
    int lines;
    char why_not[FSP_ERR_TEXT_MAX]; /* "" when needs or candidates say it all */
};

/* The geometry as the line hangs now, as it is drawn; false when the particulars do not suffice (the
 * needs of fsp_ledger_next_cut say which are missing). */
bool fsp_ledger_geometry(
        const struct fsp_ledger *ledger, struct fsp_geometry *out, struct fsp_buf *assumed);
/* assumed gets one line for each particular taken for one not given. */
void fsp_ledger_next_cut(
        const struct fsp_ledger *ledger, struct fsp_next_cut *out, struct fsp_buf *assumed);
/* For a person: the best lengths and the table's, or what the check would need. */
void fsp_ledger_next_cut_text(const struct fsp_ledger *ledger, struct fsp_buf *buf);

#endif
