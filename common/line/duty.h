/*
 * Duties: what the line's people owe it besides slips and cuts, and what closes each.
 *
 * When: thorough inspection every 30 days and after jarring, a pull near design factor 2, a block
 * strike, raising the mast, a month idle, turning the line end for end; anchor looked at again
 * after each slip and cut, 1 to 2 h after work goes on; crown-saver tested weekly and after each
 * slip (30 CFR 250.404, offshore law, an analogue on land); baseline diameter after a new line's
 * first stretch. Common practice but for the one named. House figures: "near factor 2" is within
 * 10 %, an inspection after an event within 12 h (the next tour), the baseline within 7 days of
 * the first work. A block strike has no kind of its own: it is entered as adverse what=other.
 * While the rig is stacked the weekly and monthly duties rest; a month idle brings its own.
 *
 * Ownership: duties are the ledger's ("peek"), valid until the next fold.
 * Units: seconds since 1970. Threads: one ledger, one thread. Errors: none.
 */
#ifndef FSP_LINE_DUTY_H
#define FSP_LINE_DUTY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define FSP_DUTY_MONTH_S    (INT64_C(30) * 86400)
#define FSP_DUTY_WEEK_S     (INT64_C(7) * 86400)
#define FSP_DUTY_EVENT_S    (INT64_C(12) * 3600)
#define FSP_DUTY_ANCHOR_S   (INT64_C(2) * 3600)
#define FSP_DUTY_NEAR_SHARE 1.10 /* of factor 2 */

enum fsp_duty_kind {
    FSP_DUTY_JARRING = 0,
    FSP_DUTY_LOW_FACTOR,
    FSP_DUTY_SHOCK,
    FSP_DUTY_MAST_RAISING,
    FSP_DUTY_IDLE,
    FSP_DUTY_TURN,
    FSP_DUTY_MONTHLY,
    FSP_DUTY_ANCHOR,
    FSP_DUTY_CROWN_SAVER,
    FSP_DUTY_BASELINE,
};

#define FSP_DUTY_KINDS 10
#define FSP_DUTY_EVENTS                                                                        \
    6 /* the kinds before FSP_DUTY_MONTHLY: each an inspection after an event */

struct fsp_duty {
    enum fsp_duty_kind kind;
    const char *name;   /* static: "thorough inspection" */
    const char *why;    /* peek: one line */
    const char *closes; /* static: what closes it */
    int64_t since_s;
    int64_t due_s;  /* 0: not known yet, why says what it waits for */
    bool overdue;   /* due_s is past at as_of */
    bool suspended; /* the rig is stacked: rests until it works again */
};

struct fsp_ledger;

/* i-th duty that is open or will fall due, those due first before the others; NULL past the end. */
const struct fsp_duty *fsp_ledger_duty(const struct fsp_ledger *ledger, size_t i);
/* "after-jarring", "monthly", … for machines. Static. */
const char *fsp_duty_kind_text(enum fsp_duty_kind kind);

#endif
