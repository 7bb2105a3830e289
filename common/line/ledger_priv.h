/*
 * The ledger's insides, shared by its files: typed items, the state of the fold.
 *
 * Absent numbers are NAN in items; the state uses 0 or flags.
 */
#ifndef FSP_LINE_LEDGER_PRIV_H
#define FSP_LINE_LEDGER_PRIV_H

#include <math.h>

#include "line/critical.h"
#include "line/cutlength.h"
#include "line/duty.h"
#include "line/forecast.h"
#include "line/goal.h"
#include "line/hoist.h"
#include "line/ledger.h"
#include "line/rope.h"
#include "line/say.h"
#include "line/shown.h"
#include "line/state.h"
#include "line/steps.h"
#include "line/work.h"

#define ABSENT ((double)NAN)

#define FSP_LEDGER_DEPTH_SAME_M    0.5
#define FSP_LEDGER_CUT_BEYOND_M    0.3
#define FSP_LEDGER_LATE_S          INT64_C(86400)
#define FSP_LEDGER_SAME_DIAMETER_M 0.001
#define FSP_LEDGER_EARLY           0.90
#define FSP_LEDGER_LONG            1.25
#define FSP_LEDGER_SHOWN_DIFFERS   0.001
#define FSP_LEDGER_SHOWN_ROUNDED   0.0051

enum item_kind {
    ITEM_UNREADABLE = 0,
    ITEM_RIG,
    ITEM_REEL,
    ITEM_UNHANG,
    ITEM_TURN,
    ITEM_STRING_UP,
    ITEM_WELL,
    ITEM_STATE,
    ITEM_TOUR,
    ITEM_DRILL_STRING,
    ITEM_WORK,
    ITEM_SLIP,
    ITEM_CUT,
    ITEM_INSPECTION,
    ITEM_ADVERSE,
    ITEM_PROGRAM,
    ITEM_AMEND,
    ITEM_CHECK,
    ITEM_SILENT, /* known kinds that change no number */
};

enum decision {
    DECISION_NONE = 0,
    DECISION_RUN,
    DECISION_WATCH,
    DECISION_SLIP,
    DECISION_CUT,
    DECISION_OUT,
    DECISION_REPLACE,
};

enum basis {
    BASIS_UNSAID = 0,
    BASIS_HAND,
    BASIS_COUNTED,
};

enum when {
    WHEN_UNSAID = 0,
    WHEN_BEFORE,
    WHEN_AFTER,
};

enum check {
    CHECK_OTHER = 0,
    CHECK_CROWN_SAVER,
    CHECK_ANCHOR,
};

struct item_string {
    double pipe_nm, stand_m, bha_n, bha_m, mud_kgm3;
};

struct item_rig {
    double mast_m, drum_m, block_n, stand_m;
    double crown_m, block_low_m, pick_low_m, pick_high_m; /* above the floor */
    double sheave_m, fast_m, dead_m, laps_per_layer, wraps_low;
    int crossovers, rolling; /* 0 absent */
    double k;                /* 0 absent */
    enum fsp_drive drive;
    bool metric;
};

struct item_reel {
    const char *reel, *grade;
    double rope_m, received_m, strung_m, strength_n;
    double carried_total_j, carried_cut_m, carried_since_cut_j, carried_since_slip_j;
    double slipped_since_cut_m;
    int lines;
    bool used, estimate, has_baseline;
};

struct item_string_up {
    double drawn_m, returned_m, cropped_m, wraps_low;
    int lines;
};

struct item_tour {
    double bit_m;
    bool incomplete;
};

struct item_work {
    struct item_string string;
    enum fsp_op_code op;
    enum fsp_drive drive;
    enum when when;
    int reams, passes; /* below 0 absent */
    int gaps;
    double least; /* design factor of its service, or of its op */
    double depth_m, from_m, to_m;
    double casing_nm, joint_m, landing_m, liner_m;
    double count, stroke_m, up_n, down_n, multiplier;
    double given_j;      /* ton-miles: an input of counted and stated, else as shown on entry */
    double shown_factor; /* as shown on entry */
    double hookload_n, pull_n;
};

struct item_cut {
    const char *reason, *place, *condition;
    double length_m, laps, slipped_m;
    bool by_laps, crown_tested;
};

struct item_slip {
    double length_m;
    bool crown_tested;
};

struct item_inspection {
    const char *reel, *inspector, *decision_text;
    enum decision decision;
    bool thorough; /* any scope but tour */
    bool baseline; /* a place gives it */
    bool defects;
};

struct item_adverse {
    const char *what;
    double derate;
    int slot;
    bool begins;
};

struct item_program {
    double cut_m, first_j, later_j;
    int slips;
    bool credit;
    enum basis basis;
};

struct item_amend {
    int64_t index;
    uint8_t leaf[32];
    bool named; /* the entry could be read */
    bool voids;
    bool sets;
};

struct item {
    const struct fsp_record *record;   /* as it counts now */
    const struct fsp_record *original; /* as added */
    struct fsp_record *own;            /* an amended copy, freed with the fold */
    const char *tour;
    int64_t at_s, noted_s, row;
    uint64_t index;
    uint32_t log;
    enum item_kind kind;
    enum fsp_sig_state sig;
    uint8_t leaf[32];
    int64_t added_at_s; /* `at` as added */
    bool has_at, has_noted, voided, touched;
    bool old;            /* had arrived when the state restored was stored */
    bool covered;        /* and is folded into it */
    struct item *target; /* of an amendment, once it is found */
    struct item *amends; /* first amendment of this entry, in log order */
    struct item *amends_last;
    struct item *next_amend; /* the next amendment of the same entry */
    union {
        struct item_rig rig;
        struct item_reel reel;
        const char *text; /* unhang, turn: reel; well: name; state: word */
        struct item_string_up string_up;
        struct item_tour tour;
        struct item_string string;
        struct item_work work;
        struct item_slip slip;
        enum check check;
        struct item_cut cut;
        struct item_inspection inspection;
        struct item_adverse adverse;
        struct item_program program;
        struct item_amend amend;
    } u;
};

enum {
    ASSUMED_BEARING = 1,
    ASSUMED_DRIVE = 2,
    ASSUMED_REAMS = 4,
    ASSUMED_PASSES = 8,
    ASSUMED_HOOKLOAD = 16,
    ASSUMED_SLIPS = 32,
    ASSUMED_FACTOR = 64,
    ASSUMED_FORMATION = 128,
    ASSUMED_MULTIPLIER = 256,
};

#define ADVERSE_SLOTS   5
#define ADVERSE_OTHER   0
#define ADVERSE_JARRING 4

struct duty_event {
    bool open;
    int64_t since_s;
    uint64_t index;
};

/* Times are 0 when there is none. */
struct duty_state {
    struct duty_event events[FSP_DUTY_EVENTS];
    int64_t hung_s, thorough_s; /* hung; last thorough inspection, else hung */
    int64_t active_s;           /* last work, or state working, or hung */
    int64_t worked_s;           /* first work of a new line */
    int64_t anchor_s, anchor_due_s;
    int64_t crown_s, crown_owed_s; /* last test; slip or cut it was not tested after */
    bool baseline_owed;
    int low;          /* operations below the minimum factor, not inspected after */
    int64_t low_s;    /* the first */
    uint32_t low_log; /* the newest */
    uint64_t low_index;
};

struct line_state {
    bool hung;
    const char *reel, *grade;
    const char *build, *rope_class, *core; /* as entered, NULL when not */
    struct fsp_rope rope;
    double received_m, strung_m, drawn_m, returned_m, cropped_m, slipped_m, cut_m;
    double carried_cut_m;
    int lines;
    bool used;      /* used or estimated: no first-cut allowance */
    bool first_due; /* no cut of this line on this rig yet */
};

struct count_state {
    double slip_j, cut_j, line_j, check_j;
    double served_j, served_slip_j;
    double min_factor;
    double slipped_m;
    bool incomplete, estimated_loads, derated, goal_changed, beyond_told;
    bool saw_hand, saw_counted;
    int slips;                       /* since the cut */
    int below_minimum;               /* operations below the minimum factor of their service */
    double motion_j, check_motion_j; /* what cut_j and check_j are by motion */
    int64_t gap_s;                   /* the first gap */
    uint32_t gap_log;                /* the newest */
    uint64_t gap_index;
};

/* Service counted a day: whole days, oldest first, and the day that runs. */
struct pace {
    int64_t day;
    double day_j[FSP_PACE_DAYS], today_j;
    size_t n;
    bool begun, worked;
};

#define RATINGS_MAX 16
#define DEFECTS_MAX 16
#define DOUBTS_MAX  8

struct rating {
    enum fsp_part part;
    struct fsp_rating is;
};

/* An open defect of an inspection; by_date and by may be NULL. */
struct defect {
    int64_t at_s;
    uint64_t index;
    const char *place, *what, *by_date, *by;
};

/* Where the line lay since it was hung, after each slip, cut and change of string-up: the oldest are
 * forgotten first. */
struct places {
    size_t n;
    struct fsp_line_place at[FSP_CRITICAL_MOVES];
};

/* An inspection's decision that stands. */
struct finding {
    bool open;
    int64_t at_s;
    uint64_t index;
    const char *inspector, *decision;
};

struct fold {
    struct item_rig rig;
    struct item_string string;
    bool has_rig, has_string;
    struct line_state line;
    struct count_state count;
    struct item_program program;
    bool has_program;
    struct fsp_curve curve;
    struct {
        bool open;
        double derate; /* 1 when none was given */
    } adverse[ADVERSE_SLOTS];
    struct finding stop; /* inspection that took the line out of service */
    struct finding slip_asked;
    struct duty_state duties;
    struct pace pace;
    struct places places;
    struct rating ratings[RATINGS_MAX];
    size_t n_ratings;
    struct defect defects[DEFECTS_MAX];
    size_t n_defects;
    uint64_t program_index;
    uint32_t program_log;
    double bit_m;
    bool bit_known;
    bool mixed_told;
    bool changed; /* a sheave or the drum, since the newest cut */
    int64_t changed_s;
    const char *well, *state, *formation;
    unsigned assumed;
};

#define MOVES_MAX 64

/* What had arrived, whatever its time. */
struct arrived {
    size_t entries, late, doubtful;
    size_t untimed; /* cannot be read and has no time, not voided */
    size_t untimed_amended;
    size_t logs;
    uint64_t size[FSP_STATE_LOGS]; /* highest index + 1 */
    bool has_noted[FSP_STATE_LOGS];
    int64_t newest_s[FSP_STATE_LOGS]; /* newest `noted` */
};

/* What was folded so far: every entry up to and with this minute. */
struct tally {
    size_t amended, unreadable;
    int64_t last_at_s, minute;
    bool begun;
};

/* A note made before the fold, while amendments are applied. */
struct note {
    const char *text;
    const struct item *about; /* NULL: from the state restored */
    size_t seq;
    uint32_t log;
    uint64_t index;
};

/* An entry whose time was amended: from and to which minute. */
struct time_move {
    int64_t from, to;
};

/* A state restored: where the fold begins. */
struct base {
    bool set;
    struct fold fold;
    struct tally tally;
    struct arrived arrived;
    struct fsp_cut_row *cuts;
    size_t n_cuts;
    struct note *early;
    size_t n_early;
    const char **notes;
    size_t n_notes, notes_dropped;
    char *block; /* the texts */
};

struct fsp_ledger {
    struct item *items; /* as added, never changed by a fold but for the links */
    size_t n_items, cap_items;

    /* of the last fold */
    struct item **order; /* n_order items, sorted */
    size_t n_order;
    struct fold fold;
    struct fsp_ledger_view view;
    struct fsp_duty duties[FSP_DUTY_KINDS];
    const char *findings[DEFECTS_MAX + 1];
    const char *doubts[DOUBTS_MAX];
    size_t n_doubts;
    struct fsp_cut_row *cuts;
    size_t cap_cuts;
    char **texts; /* everything said, freed together */
    size_t n_texts, cap_texts;
    const char **notes; /* of the fold */
    size_t n_notes, cap_notes, notes_dropped;
    struct note *early;
    size_t n_early, cap_early;
    const char **shown; /* early ones first, the newest FSP_LEDGER_NOTES */
    size_t n_shown;
    struct tally tally;
    struct arrived arrived;
    struct time_move moves[MOVES_MAX];
    size_t n_moves;
    unsigned assumed; /* the fold's and those of the view */
    bool amending, folding;
    bool held; /* an amendment waits for its entry */
    struct base base;
    fsp_ledger_cut_fn on_cut;
    void *on_cut_ctx;
    fsp_ledger_work_fn on_work;
    void *on_work_ctx;
    fsp_ledger_step_fn on_step;
    void *on_step_ctx;
    struct fsp_forecast forecast;
    bool mute;      /* nothing is said: a trial on a copy */
    enum fsp_rc rc; /* sticks: out of memory while folding */
};

/* The minute of a time, rounded down. */
int64_t fsp_ledger_minute(int64_t at_s);
/* Sort pointers to items that are nearly in order already. */
enum fsp_rc fsp_ledger_sort(struct item **list, size_t n,
        int (*compare)(const void *left, const void *right)) FSP_MUST_CHECK;
/* Whether an early note is about what the fold has passed. */
bool fsp_ledger_note_covered(const struct fsp_ledger *ledger, const struct note *note);
void fsp_ledger_base_free(struct base *base);

/* Type a record; kind ITEM_UNREADABLE when it cannot be. */
void fsp_ledger_decode(struct item *item);
/* The curve of a program record into *curve (n 0 when it has none or a bad one). */
enum fsp_rc fsp_ledger_decode_curve(const struct fsp_record *record, struct fsp_curve *curve,
        struct fsp_err *err) FSP_MUST_CHECK;

/* Drop doubles, link amendments, apply them; fills order with what is left, unsorted. */
void fsp_ledger_amend(struct fsp_ledger *ledger);

/* Keep a formatted text until the next fold; "" when out of memory. */
const char *fsp_ledger_keep(struct fsp_ledger *ledger, const char *fmt, ...) FSP_PRINTF(2, 3);
/* A note about an item (NULL: about the whole). */
void fsp_ledger_say(struct fsp_ledger *ledger, const struct item *item, const char *fmt, ...)
        FSP_PRINTF(3, 4);

enum fsp_units fsp_ledger_units(const struct fsp_ledger *ledger);

/* Apply one item of its kind to the state. */
void fsp_ledger_apply_work(struct fsp_ledger *ledger, const struct item *item);
void fsp_ledger_apply_tour(struct fsp_ledger *ledger, const struct item *item);
void fsp_ledger_apply_cut(struct fsp_ledger *ledger, const struct item *item);
void fsp_ledger_apply(struct fsp_ledger *ledger, const struct item *item);
/* The count since the cut is incomplete; this entry shows it. */
void fsp_ledger_gap(struct fold *fold, const struct item *item);
/* The machine that the line runs over is another one from here on. */
void fsp_ledger_machine_changed(struct fold *fold, const struct item *item);
/* Note where the line lies, when it has moved. */
void fsp_ledger_place(struct fold *fold);
/* "hand", "counted"; NULL when the programme does not say or there is none. Static. */
const char *fsp_ledger_basis(const struct fold *fold);
/* The goal the next cut is measured by; 0 when none is approved. */
double fsp_ledger_goal(const struct fold *fold);
/* Share left by the adverse conditions that are open; 1 when none. */
double fsp_ledger_derate(const struct fold *fold);
/* What a job would do: its work and the factor it is counted at. The fold keeps its defaults only. */
enum fsp_rc fsp_ledger_try_work(struct fsp_ledger *ledger, const struct item *item,
        double *work_j, double *factor, struct fsp_err *err) FSP_MUST_CHECK;
/* Service counted for work at a factor, derates included. */
double fsp_ledger_serve(const struct fold *fold, double joules, double factor);
/* The pace of service: a new day may have begun; work was counted; the forecast at the end. */
void fsp_pace_reach(struct fold *fold, int64_t at_s);
void fsp_pace_add(struct fold *fold, int64_t at_s, double served_j);
void fsp_forecast_close(struct fsp_ledger *ledger);
/* The string-up as it is, the defaults put in. */
void fsp_ledger_reeving(const struct fold *fold, struct fsp_reeving *reeving);
/* Ratings, defects and doubts: from the record into the state, from the state into the view. */
void fsp_ledger_take_ratings(struct fold *fold, const struct item *item);
void fsp_ledger_take_defects(struct fsp_ledger *ledger, const struct item *item);
void fsp_ledger_fill_limits(struct fsp_ledger *ledger);
void fsp_ledger_fill_findings(struct fsp_ledger *ledger);
void fsp_ledger_fill_doubts(struct fsp_ledger *ledger);
/* Duties: a line is hung; a factor was seen; any item after it was applied; the list at the end. */
void fsp_duty_hang(struct fold *fold, const struct item *item);
void fsp_duty_low_factor(struct fold *fold, const struct item *item, double factor);
void fsp_duty_apply(struct fold *fold, const struct item *item);
void fsp_duty_close(struct fsp_ledger *ledger);
/* Fill the view from the state. */
void fsp_ledger_close(struct fsp_ledger *ledger, int64_t as_of_s);

/* Lengths in and on the reel (trade rules of lengths). */
double fsp_ledger_in_service(const struct line_state *line);
double fsp_ledger_on_reel(const struct line_state *line);
double fsp_ledger_present(const struct line_state *line);

#endif
