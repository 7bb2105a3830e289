/*
 * What needs a look at a rig, each with its reason, and who has looked.
 *
 * A flag is derived from the rig's account, its logs and the link, again and again; nothing is
 * stored of it but that somebody acknowledged it. `mark` names the occurrence: its kind and the
 * newest evidence. Acknowledging a mark never hides another one, and so never a new occurrence.
 * Stacked rigs raise no flags of time (quiet, overdue duties); late paperwork raises none.
 *
 * Ownership: lists are the caller's storage; texts are inside; rig and about are borrowed.
 * Threads: pure, but fsp_flags_acknowledge and fsp_flags_acknowledged (desk.h).
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

#define FSP_FLAGS_MAX     24
#define FSP_FLAG_TEXT_MAX 320
#define FSP_FLAG_MARK_MAX 96
#define FSP_FLAG_NOTE_MAX 500 /* of an acknowledgement */
#define FSP_FLAG_EVIDENCE 8   /* cuts, newest last */

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
    char mark[FSP_FLAG_MARK_MAX];   /* printable ASCII without spaces */
    char text[FSP_FLAG_TEXT_MAX];   /* words people can repeat: one line, safe to show */
    size_t cuts[FSP_FLAG_EVIDENCE]; /* rows of the rig's cuts that are the evidence */
    size_t n_cuts;
    bool acknowledged;
    int64_t acknowledged_s;
    char acknowledged_by[FSP_NAME_MAX + 1];
    char note[FSP_FLAG_NOTE_MAX + 1];
};

struct fsp_fleet_rig;

/* Every flag of a rig at as_of, the gravest first; how many. None is acknowledged yet. */
size_t fsp_flags_of(const struct fsp_fleet_rig *rig, int64_t as_of_s,
        struct fsp_flag out[static FSP_FLAGS_MAX]);

/* "repeated early cuts", …: the kind in a few words, and in one word for columns. Static. */
const char *fsp_flag_kind_text(enum fsp_flag_kind kind);
const char *fsp_flag_kind_word(enum fsp_flag_kind kind);

struct fsp_desk;

/* Fill in what was acknowledged of these. */
enum fsp_rc fsp_flags_acknowledged(struct fsp_desk *desk, const char *rig,
        struct fsp_flag *flags, size_t n, struct fsp_err *err) FSP_MUST_CHECK;
/* Say that somebody has looked; `note` says what was found. A second time replaces the note.
 * FSP_EINVAL for an empty note or a mark that is none. */
enum fsp_rc fsp_flags_acknowledge(struct fsp_desk *desk, const char *rig, const char *mark,
        const char *by, const char *note, int64_t at_s, struct fsp_err *err) FSP_MUST_CHECK;

#endif
