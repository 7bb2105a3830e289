/*
 * The line's account: a pure fold of a rig's records, the same to the bit on rig and office.
 *
 * Records are ordered by (at, tour, row, ordinal of the log, index) after amendments, so any
 * order of arrival gives the same result. The ledger verifies nothing and reads no clock: each
 * record comes with its signature's state, and as_of is given.
 *
 * Sources of the rules: docs of this folder's modules. Early per foot (below 90 % of goal per
 * programme foot, for wear) and long (over 1.25 programme lengths, for wear): derived, this
 * project's. Bit depths that agree within 0.5 m are the same depth; a cut is beyond what was
 * slipped when it is more than 0.3 m longer: house figures.
 *
 * Ownership: new/free; records are borrowed until the ledger is freed; views are the ledger's
 * ("peek"), valid until the next fold.
 * Units: SI in the view (metres, joules, newtons); names say which. JSON names say theirs.
 * Threads: one ledger, one thread.
 * Errors: FSP_ENOMEM, FSP_ELIMIT. Odd records never fail the fold: they become notes.
 */
#ifndef FSP_LINE_LEDGER_H
#define FSP_LINE_LEDGER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/buf.h"
#include "base/err.h"
#include "record/record.h"
#include "record/sigstate.h"

#define FSP_LEDGER_NOTES ((size_t)500)

/* Version of the rules; part of the JSON, raised whenever a number can change. */
#define FSP_LEDGER_RULES 2

/* One entry of a log, as the caller knows it. record NULL: kept but not readable. */
struct fsp_ledger_entry {
    const struct fsp_record *record;
    uint32_t log;     /* ordinal in the rig's chain of renewals, from 0 */
    uint64_t index;   /* in that log */
    uint8_t leaf[32]; /* its leaf hash; amend and because name entries by it */
    enum fsp_sig_state sig;
};

enum fsp_due {
    FSP_DUE_UNKNOWN = 0, /* no line, or no approved goal */
    FSP_DUE_NOT_YET,
    FSP_DUE_SOON,           /* 80 % of the goal served: common practice, no source */
    FSP_DUE_NOW,            /* 100 % */
    FSP_DUE_OVERDUE,        /* above 110 %: common practice, no source */
    FSP_DUE_OUT_OF_SERVICE, /* by inspection; only a cut, a reel or a signed "run" lifts it */
};

/* One cut as the ledger judged it. */
struct fsp_cut_row {
    uint32_t log;
    int lines; /* string-up then */
    uint64_t index;
    int64_t at_s;
    const char *reel;      /* peek */
    const char *reason;    /* peek */
    const char *place;     /* peek, NULL when not given */
    const char *condition; /* peek, NULL when not given */
    const char *grade;     /* peek */
    const char *well;      /* peek, NULL when not known */
    const char *formation; /* of that well at the cut; peek, NULL when not given */
    const char *build; /* of the reel, as entered; peek, NULL when not given; so the next two */
    const char *rope_class;
    const char *core;
    double rope_m; /* nominal diameter of the line */
    double length_m;
    double slipped_m;   /* slipped since the cut before, the job's own included */
    double ton_miles_j; /* work since the cut before */
    double served_j;    /* counted against the goal: work over the curve, derates included */
    double goal_j;      /* in force then; 0 when none was */
    double programme_m; /* cut length of the programme; 0 when none */
    double min_factor;  /* lowest fast-line design factor since the cut before; 0 unknown */
    bool first_of_line;
    bool first_after_goal_change;
    bool incomplete; /* the count has a gap */
    bool planned;
    bool for_wear;
    bool under_derate;
    bool early;    /* per foot below 90 % of goal, for wear: see trade sources in cut rules */
    bool long_cut; /* over 1.25 programme lengths, for wear */
    bool beyond_slipped; /* more than was slipped since the cut before (and in the job) */
    bool low;            /* per foot below 90 % of goal, for whatever reason it was cut */
    bool changed;        /* a sheave or the drum was changed since the cut before */
    /* The rules the cut was judged by. */
    bool has_program;
    uint32_t program_log; /* the programme's entry */
    uint64_t program_index;
    const char *goal_kind; /* "first", "later"; NULL without a programme. Static */
    const char *curve;     /* "built-in" or "programme". Static */
    const char *basis;     /* "hand", "counted"; NULL when the programme does not say. Static */
    bool credit;           /* service above 100 % was credited */
    int slips;             /* made since the cut before */
    int below_minimum;     /* operations below the minimum factor of their service */
    bool out_of_service;   /* an inspection had taken the line out of service */
    bool eligible;         /* may be judged for repeated early cuts */
    const char *why;       /* peek: one line, why early or not, or why not judged */
};

/* The account at as_of. 0 or NULL where unknown. */
struct fsp_ledger_view {
    int64_t as_of_s;
    size_t entries;
    size_t unreadable;
    size_t amended;
    size_t late_entries;
    size_t doubtful_clock;
    const char *rig_state; /* working, moving, … peek */
    const char *well;      /* peek */
    const char *reel;      /* the line hung now; NULL when none. peek */
    double rope_m;         /* nominal diameter */
    const char *grade;     /* peek */
    double strength_n;     /* table, rule, or the certificate's minimum */
    int lines;             /* string-up */
    bool estimated;   /* a used or estimated line before its first cut, or estimated loads */
    bool incomplete;  /* the count since the cut has a gap */
    int64_t gap_s;    /* the first of them; 0: none, or its time is not known */
    uint32_t gap_log; /* the entry that showed the newest */
    uint64_t gap_index;
    int64_t changed_s; /* a sheave or the drum was changed after the newest cut; 0: not */
    double in_service_m;
    double on_reel_m;
    double present_m;
    double slipped_since_cut_m;
    double work_since_slip_j;
    double work_since_cut_j;
    double work_line_j;
    double check_j; /* work of the basis not in force since the cut: a check, not counted */
    /* The same two by motion (drilling without its multiplier): only these are compared. What a
     * used line carried is not in them. */
    double motion_j;
    double check_motion_j;
    double served_j;
    double served_since_slip_j;
    double goal_j;
    double programme_m;
    double table_cut_m; /* cut length from mast and drum */
    double table_laps;
    double suggested_j;     /* a suggestion for the next cut's goal while none is approved */
    int slips;              /* between two cuts, by programme; 1 when it says nothing */
    double min_factor;      /* lowest fast-line design factor since the cut */
    double feet_cut_line_m; /* cut from this line so far, before it came here included */
    double derate;     /* share of the goal left while adverse conditions last; 1 when none */
    bool metric;       /* the rig's particulars were entered in metres */
    const char *basis; /* the count in force: "hand", "counted"; NULL when none is. Static */
    enum fsp_due cut_due;
    enum fsp_due slip_due;
    const char *cut_due_why;  /* peek, one line */
    const char *slip_due_why; /* peek */
    int64_t last_at_s;        /* `at` of the newest record folded */
    size_t cuts;
    /* By the line only, at design factors 5 and 3; 0 when unknown or while a finding is open. */
    double load_at_5_n;
    double load_at_3_n;
    double lowest_rating_n;    /* as a hook load with this string-up; 0: no rating given */
    const char *lowest_rating; /* its part; NULL when none. Static */
    int slips_made;            /* since the cut */
    int below_minimum;         /* operations since the cut below the minimum of their service */
    int low_unseen;            /* of this line, with no thorough inspection after */
    int64_t low_s;             /* the first of those; 0: none */
    uint32_t low_log;          /* the newest of those */
    uint64_t low_index;
    size_t findings; /* open: the line out of service, defects not closed */
    size_t duties;   /* duty.h */
    size_t duties_overdue;
};

struct fsp_ledger; /* opaque */

enum fsp_rc fsp_ledger_new(struct fsp_ledger **out, struct fsp_err *err) FSP_MUST_CHECK;
void fsp_ledger_free(struct fsp_ledger *ledger);
/* Any order. */
enum fsp_rc fsp_ledger_add(struct fsp_ledger *ledger, const struct fsp_ledger_entry *entry,
        struct fsp_err *err) FSP_MUST_CHECK;
/* Sort, amend and fold everything added so far, records after as_of included. */
enum fsp_rc fsp_ledger_fold(
        struct fsp_ledger *ledger, int64_t as_of_s, struct fsp_err *err) FSP_MUST_CHECK;

const struct fsp_ledger_view *fsp_ledger_peek(const struct fsp_ledger *ledger);
/* i-th cut of the rig, oldest first; all reels. */
const struct fsp_cut_row *fsp_ledger_cut(const struct fsp_ledger *ledger, size_t i);
/* i-th note (gap, doubt, flagged record, open finding): one line, in the order of the fold; NULL
 * past the end. Beyond FSP_LEDGER_NOTES the older ones are dropped and counted in the first. */
const char *fsp_ledger_note(const struct fsp_ledger *ledger, size_t i);
/* i-th open finding, in words; NULL past the end. */
const char *fsp_ledger_finding(const struct fsp_ledger *ledger, size_t i);
/* i-th doubt about the count: incomplete, estimated, late, clock doubtful, unreadable, amended,
 * derated, each in words; NULL past the end. */
const char *fsp_ledger_doubt(const struct fsp_ledger *ledger, size_t i);
/* i-th default taken, in words: one line, static; NULL past the end. */
const char *fsp_ledger_assumed(const struct fsp_ledger *ledger, size_t i);

/* The whole account as one JSON object (sorted keys, shortest round-trip doubles, units in the
 * names: ton_miles_since_cut, served_ton_miles, goal_ton_miles, in_service_ft, …, cuts: [...],
 * notes: [...]). Same records and as_of give the same bytes everywhere. */
void fsp_ledger_json(const struct fsp_ledger *ledger, struct fsp_buf *buf);

/* The account for a person at 3 a.m.: one screen, the answer first. */
void fsp_ledger_text(const struct fsp_ledger *ledger, struct fsp_buf *buf);

/* "not yet", "soon", "due", "overdue", "out of service", "unknown". Static. */
const char *fsp_due_text(enum fsp_due due);

#endif
