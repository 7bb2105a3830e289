/*
 * Inside reckon: what was typed, what is answered, and who reckons which subject.
 *
 * Ownership: texts in the input are borrowed for the call; the answer's buffers are reckon.c's.
 * Units: input values in SI. Threads: pure. Errors: stick in the buffers.
 */
#ifndef FSP_RIG_RECKON_PRIV_H
#define FSP_RIG_RECKON_PRIV_H

#include <stdbool.h>
#include <stddef.h>

#include "base/buf.h"
#include "base/err.h"
#include "line/say.h"
#include "line/work.h"
#include "record/quantity.h"

enum fsp_reckon_field {
    F_DEPTH,
    F_FROM,
    F_TO,
    F_STAND,
    F_PIPE,
    F_BHA_WEIGHT,
    F_BHA_LENGTH,
    F_BLOCK,
    F_MUD,
    F_DRIVE,
    F_REAMS,
    F_PASSES,
    F_CASING,
    F_JOINT,
    F_SECTIONS,
    F_LANDING,
    F_LINER,
    F_COUNT,
    F_STROKE,
    F_UP,
    F_DOWN,
    F_MULTIPLIER,
    F_TON_MILES,
    F_DEEP,
    F_SHALLOW,
    F_HOOKLOAD,
    F_LINES,
    F_ROPE,
    F_GRADE,
    F_STRENGTH,
    F_BEARING,
    F_ROLLING,
    F_SHEAVE_EFFICIENCY,
    F_SERVICE,
    F_RATING_MAST,
    F_RATING_MAST_LINES,
    F_RATING_CROWN,
    F_RATING_BLOCK,
    F_RATING_HOOK,
    F_RATING_TOP_DRIVE,
    F_RATING_DRAWWORKS,
    F_RATING_ANCHOR,
    F_MAST,
    F_DRUM,
    F_SLIPS,
    F_CROSSOVERS,
    F_CROWN,
    F_BLOCK_LOW,
    F_PICK_LOW,
    F_PICK_HIGH,
    F_WRAPS_LOW,
    F_LAPS_PER_LAYER,
    F_DEAD_WRAPS,
    F_SHEAVE,
    F_FAST_LINE,
    F_DEAD_LINE,
    F_CUT,
    F_GOAL,
    F_FORMATION,
    F_FACTOR,
    FIELDS,
};

struct fsp_reckon_in {
    bool given[FIELDS];
    double value[FIELDS]; /* SI, or the number */
    const char *text[FIELDS];
    enum fsp_units units; /* metric when the first length or load typed is */
    bool units_known;
};

struct fsp_reckon_out {
    struct fsp_buf members; /* JSON members, keys as they come */
    struct fsp_buf text;
    struct fsp_buf assumed, cautions, duties; /* one line each */
    bool first;
};

struct fsp_reckon_subject {
    const char *name;
    const char *fields; /* required, then [optional] */
    enum fsp_op_code op;
    enum fsp_rc (*reckon)(const struct fsp_reckon_subject *subject,
            const struct fsp_reckon_in *in, struct fsp_reckon_out *out, struct fsp_err *err);
};

#define FSP_RECKON_COME_FIRST                                                                  \
    "Local codes, the makers' figures and licensed practice come first.\n"

/* The name a field is typed by. */
const char *fsp_reckon_name(enum fsp_reckon_field field);
void fsp_reckon_member(struct fsp_reckon_out *out, const char *key, double value);
bool fsp_reckon_says(
        const struct fsp_reckon_in *in, enum fsp_reckon_field field, const char *word);
double fsp_reckon_or(const struct fsp_reckon_in *in, enum fsp_reckon_field field, double other);
/* True for casing and stuck pipe, where the minimum factor is 2. */
bool fsp_reckon_rare(const struct fsp_reckon_in *in);

enum fsp_rc fsp_reckon_work(const struct fsp_reckon_subject *subject,
        const struct fsp_reckon_in *in, struct fsp_reckon_out *out, struct fsp_err *err);
/* Short trip, coring and drilling from two round trips already known. */
enum fsp_rc fsp_reckon_trips(const struct fsp_reckon_subject *subject,
        const struct fsp_reckon_in *in, struct fsp_reckon_out *out, struct fsp_err *err);
enum fsp_rc fsp_reckon_lift(const struct fsp_reckon_subject *subject,
        const struct fsp_reckon_in *in, struct fsp_reckon_out *out, struct fsp_err *err);
enum fsp_rc fsp_reckon_cut(const struct fsp_reckon_subject *subject,
        const struct fsp_reckon_in *in, struct fsp_reckon_out *out, struct fsp_err *err);
/* What one slip of a programme is. */
enum fsp_rc fsp_reckon_slips(const struct fsp_reckon_subject *subject,
        const struct fsp_reckon_in *in, struct fsp_reckon_out *out, struct fsp_err *err);
enum fsp_rc fsp_reckon_goal(const struct fsp_reckon_subject *subject,
        const struct fsp_reckon_in *in, struct fsp_reckon_out *out, struct fsp_err *err);
/* The candidates' ranking, as part of a cut; says what it needs when the geometry is not known. */
enum fsp_rc fsp_reckon_critical(const struct fsp_reckon_in *in, double laps, int slips,
        struct fsp_reckon_out *out, struct fsp_err *err);

#endif
