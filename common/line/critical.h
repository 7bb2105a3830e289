/*
 * Where the line wears at points, and which length of cut moves those points onto fresh line.
 *
 * At each pick-up the same spots of line lie on the sheaves; on the drum the same spots lie where
 * the line crosses over. Slipping moves the spots on sheaves, cutting moves the spots on the drum.
 * A length is good when a spot that was loaded does not come to lie on such a place again.
 *
 * Source: the geometry of the string-up (derived; held against a rope reeved numerically in the
 * tests). x is measured along the rope from the drum's clamp, z is the block's height above its
 * lowest place, N lines, H the height from there to the crown plus half a sheave's girth, S rope on
 * the drum at z = 0, F from drum to crown:
 *     crown sheave k = 0 (fast) .. N/2 (dead)   x = S + F + 2k H + (N - 2k) z
 *     block sheave j = 1 .. N/2                 x = S + F + (2j - 1) H + (N - 2j + 1) z
 * Along the line from its first end, y = x at the start + all slipped for sheaves and the anchor,
 * y = x + all cut for the drum. So sheaves are tested at every slip, the drum at every cut.
 * Only differences of x decide: F and S bear on sheave against drum alone, which is told and not
 * judged. Exact for the drum's first layer. No length clears everything for ever: candidates are
 * ranked, never passed. Tolerances, 3 ft and a fifth of the crossovers' spacing: house figures.
 *
 * A line that hangs has been slipped and cut by lengths of its own, perhaps with other numbers of
 * lines. Seen from the anchor, n sheaves passed lie (N - n)(H - z), a half girth and the dead line
 * before it, whatever the string-up; so where a line lay after each move is said by how far the
 * anchor lies along it (slipped + drawn - returned), by how far the clamp does (cut + cropped), and
 * by the number of lines. fsp_critical_next tests the next slip-and-cut against those places.
 *
 * Ownership: everything lies in the caller's storage.
 * Units: metres; laps are plain numbers. Threads: pure.
 * Errors: FSP_EINVAL, the text names field, found and allowed.
 */
#ifndef FSP_LINE_CRITICAL_H
#define FSP_LINE_CRITICAL_H

#include <stdbool.h>
#include <stddef.h>

#include "base/err.h"

#define FSP_CRITICAL_NEAR_M     0.9144 /* 3 ft */
#define FSP_CRITICAL_SHARE      5      /* a fifth of the crossovers' spacing */
#define FSP_CRITICAL_POINTS     64
#define FSP_CRITICAL_MOVES      256 /* slips looked back at most */
#define FSP_CRITICAL_LEFT       12  /* overlaps kept by name, the latest first */
#define FSP_CRITICAL_CANDIDATES 16
#define FSP_CRITICAL_LAYERS     6 /* house figure: a drum holds no more layers */

struct fsp_geometry {
    double drum_m;
    double rope_m; /* 0: laps by the drum's diameter alone */
    int lines;
    int crossovers;        /* a lap, 1 or 2; 0: 1 */
    double laps_per_layer; /* 0 unknown: no layer rise, one layer taken */
    double wraps_low;      /* wraps on the drum with the block at its lowest */
    double fast_m;         /* drum to crown */
    double dead_m;         /* crown to anchor; 0 unknown: the anchor left out */
    double crown_m;        /* crown above the block's lowest place */
    double pick_m[2];      /* the two pick-ups above the block's lowest place, lower first */
    double sheave_m;       /* diameter; 0: girth not counted */
};

enum fsp_point_kind {
    FSP_POINT_CROWN,
    FSP_POINT_BLOCK,
    FSP_POINT_ANCHOR,
    FSP_POINT_CROSSOVER,
    FSP_POINT_RISE, /* from the drum's first layer to the second */
};

struct fsp_point {
    enum fsp_point_kind kind;
    int number; /* crown 0 (fast) .. N/2 (dead), block 1 .. N/2; 0 otherwise */
    int pick;   /* 0 the lower pick-up, 1 the upper, -1 the same at both */
    double x_m;
};

/* A spot of line that lies on `now` after a move and lay on `before` that many slips earlier. */
struct fsp_overlap {
    struct fsp_point now, before;
    int slips_ago;
    double apart_m;
};

struct fsp_candidate {
    double laps, cut_m, slip_m;
    int moves;      /* slips to be made until the cut; 0: all has been slipped */
    int sheaves;    /* sheave on sheave, anchor with them: judged */
    int crossovers; /* crossover or rise on crossover or rise: judged, one for all of a kind */
    int mixed;      /* sheave on crossover within one cut: told, not judged */
    int tested;     /* slips looked back */
    int by_move[FSP_CRITICAL_MOVES]; /* judged, by slips ago less one */
    size_t n_left;
    struct fsp_overlap left[FSP_CRITICAL_LEFT];
    /* Of fsp_critical_next: the same length repeated from here on; slips to the first overlap
     * judged (0: none) and how many in all. */
    int again_after, again;
};

/* Where the line lay between two moves: lengths along it from its first end, less what they were
 * when it was hung. */
struct fsp_line_place {
    double anchor_m; /* slipped + drawn - returned */
    double clamp_m;  /* cut + cropped at the drum */
    int lines;
};

/* The slip-and-cut that comes next, and where the line lay until now: borrowed for the call, the
 * oldest place first, the last one where it lies. */
struct fsp_next {
    const struct fsp_line_place *places;
    size_t n_places;
    double laps;      /* the table's */
    int slips;        /* by the programme, between two cuts */
    int slips_made;   /* since the last cut */
    double slipped_m; /* in them */
};

enum fsp_rc fsp_critical_check(
        const struct fsp_geometry *geometry, double cut_m, struct fsp_err *err) FSP_MUST_CHECK;
double fsp_critical_lap(const struct fsp_geometry *geometry);
/* The sheave points and the anchor at both pick-ups, at the start; their number. */
size_t fsp_critical_points(
        const struct fsp_geometry *geometry, struct fsp_point out[static FSP_CRITICAL_POINTS]);
/* Try one length cut in that many slips (1 or more). The geometry has been checked. */
void fsp_critical_try(
        const struct fsp_geometry *geometry, double laps, int slips, struct fsp_candidate *out);
/* The half and quarter laps within two of `laps`, best first: fewest judged overlaps with the
 * latest move, then with the one before it, and so on; then fewest in all, fewest told, nearest to
 * `laps`. */
enum fsp_rc fsp_critical_rank(const struct fsp_geometry *geometry, double laps, int slips,
        struct fsp_candidate out[static FSP_CRITICAL_CANDIDATES], size_t *n,
        struct fsp_err *err) FSP_MUST_CHECK;
/* The same lengths for the next slip-and-cut of a line whose places are known; they say the number
 * of lines too. Each slip still to be made is tested against every place before it, the cut against every
 * place after a cut. Equal ones are told apart by what the same length repeated would leave.
 * Lengths shorter than what has been slipped already are left out; *n may be 0. */
enum fsp_rc fsp_critical_next(const struct fsp_geometry *geometry, const struct fsp_next *next,
        struct fsp_candidate out[static FSP_CRITICAL_CANDIDATES], size_t *n,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
