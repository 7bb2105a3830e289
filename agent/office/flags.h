/*
 * What needs a look at a rig, each with its reason, and who has looked.
 *
 * A flag is derived from the rig's account (line/flag.h), its logs and the link, again and again;
 * nothing is stored of it but that somebody acknowledged it. `mark` names the occurrence: its kind
 * and the newest evidence. Acknowledging a mark never hides another one, and so never a new
 * occurrence. Stacked rigs raise no flags of time (quiet, overdue, duties); late paperwork raises none.
 *
 * The link is quiet when nothing was heard for longer than twice the second-longest silence among
 * the rig's last 64 receipts (one long outage says nothing of its rhythm), and never before 3 days;
 * before the rhythm is known, 7 days. House figures. A rig speaks when it has something to say, so
 * its silence may be paper that is late: that is why the least is 3 days.
 *
 * Ownership: lists are the caller's storage; texts are inside; rig and desk are borrowed.
 * Units: seconds since 1970.
 * Threads: pure, but those that take a desk (desk.h).
 * Errors: FSP_EINVAL (a note or mark that cannot be), FSP_ENOTFOUND where said, those of desk.h.
 * Sources: line/review.h for what several cuts say; house figures are named beside their constants.
 */
#ifndef FSP_OFFICE_FLAGS_H
#define FSP_OFFICE_FLAGS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "base/limits.h"

#define FSP_FLAGS_MAX      24
#define FSP_FLAG_TEXT_MAX  320
#define FSP_FLAG_MARK_MAX  96
#define FSP_FLAG_NOTE_MAX  400 /* of an acknowledgement, so that a line of the trail holds it */
#define FSP_FLAGS_LINE_MAX 2800
#define FSP_FLAG_EVIDENCE  8 /* cuts, newest last */

#define FSP_FLAG_QUIET_LEAST_S   (INT64_C(3) * 86400)
#define FSP_FLAG_QUIET_UNKNOWN_S (INT64_C(7) * 86400)
#define FSP_FLAG_QUIET_TIMES     2
#define FSP_FLAG_RECEIPTS        64 /* looked at for the rhythm */

enum fsp_flag_kind {
    FSP_FLAG_FORK = 0,     /* two histories for one log */
    FSP_FLAG_RENEWAL,      /* a renewal that a keeper should confirm */
    FSP_FLAG_EARLY_WEAR,   /* repeated early cuts for wear */
    FSP_FLAG_DAMAGE,       /* repeated cuts for damage */
    FSP_FLAG_LOW_FACTOR,   /* below the minimum, and no inspection since */
    FSP_FLAG_OVERDUE,      /* cut or slip */
    FSP_FLAG_DUTY,         /* duties missed */
    FSP_FLAG_COUNTS_APART, /* hand count and sensor */
    FSP_FLAG_INCOMPLETE,   /* the history has gaps */
    FSP_FLAG_QUIET,        /* nothing heard for too long */
    FSP_FLAG_UNREADABLE,   /* entries this office cannot read */
    FSP_FLAG_WEAR_LEFT,    /* repeatedly cut with wear left */
    FSP_FLAG_PLANNED,      /* planned cuts that repeat */
    FSP_FLAG_ERRATIC,      /* ton-miles a foot scatter */
};
#define FSP_FLAG_KINDS 14

enum fsp_flag_weight {
    FSP_FLAG_STOP = 0, /* people may be hurt, or a history is in doubt */
    FSP_FLAG_WARN,
    FSP_FLAG_TELL,
};

struct fsp_flag {
    enum fsp_flag_kind kind;
    enum fsp_flag_weight weight;
    int64_t since_s;                /* of the evidence that raised it; 0: unknown */
    char mark[FSP_FLAG_MARK_MAX];   /* "kind:what", of [a-z0-9.:-] */
    char text[FSP_FLAG_TEXT_MAX];   /* words people can repeat: one line, safe to show */
    size_t cuts[FSP_FLAG_EVIDENCE]; /* rows of the rig's cuts that are the evidence */
    size_t n_cuts;
    int64_t acknowledged_s;
    char acknowledged_by[FSP_NAME_MAX + 1];
    char note[FSP_FLAG_NOTE_MAX + 1];
    bool acknowledged; /* else the three before say nothing */
};

struct fsp_fleet_rig;

/* Every flag of a rig at as_of, the gravest first; how many. None is acknowledged yet. */
size_t fsp_flags_of(const struct fsp_fleet_rig *rig, int64_t as_of_s,
        struct fsp_flag out[static FSP_FLAGS_MAX]);

/* "repeated early cuts", …: the kind in a few words, and in one word for columns. Static. */
const char *fsp_flag_kind_text(enum fsp_flag_kind kind);
const char *fsp_flag_kind_word(enum fsp_flag_kind kind);

/* The second-longest silence between receipts at these times, newest first; 0: fewer than 3. */
int64_t fsp_flags_rhythm(const int64_t *times_s, size_t n);
/* How long a rig of that rhythm (0: unknown) may be silent. */
int64_t fsp_flags_patience(int64_t rhythm_s);

/* [{"acknowledged":null,"cuts":[{"index":12,"log":0}],"kind":"early-wear","mark":…}] */
void fsp_flags_json(const struct fsp_fleet_rig *rig, const struct fsp_flag *flags, size_t n,
        struct fsp_buf *buf);
/* Their texts on one line, "; " between them; of one acknowledged by whom, when and the note. Less than
 * 4,000 bytes: what comes behind FSP_FLAGS_LINE_MAX of them is only counted. */
void fsp_flags_text(const struct fsp_flag *flags, size_t n, struct fsp_buf *buf);
/* "stop", "warn", "tell": for machines. Static. */
const char *fsp_flag_weight_word(enum fsp_flag_weight weight);

struct fsp_desk;

/* A rig's flags and what was acknowledged of them, into the caller's list; how many into *n. desk
 * NULL: nothing was acknowledged (there is no desk yet). */
enum fsp_rc fsp_flags_list(struct fsp_desk *desk, const struct fsp_fleet_rig *rig,
        struct fsp_flag out[static FSP_FLAGS_MAX], size_t *n,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Fill in what was acknowledged of these. */
enum fsp_rc fsp_flags_acknowledged(struct fsp_desk *desk, const char *rig,
        struct fsp_flag *flags, size_t n, struct fsp_err *err) FSP_MUST_CHECK;
/* Say that somebody has looked; `note` says what was found. A second time replaces the note: both stand
 * in the trail. FSP_EINVAL for a note that is empty, too long or not printable, or a mark that is
 * none. Whether the rig has such a flag is for the caller to know. */
enum fsp_rc fsp_flags_acknowledge(struct fsp_desk *desk, const char *rig, const char *mark,
        const char *by, const char *note, int64_t at_s, struct fsp_err *err) FSP_MUST_CHECK;

#endif
